"""Straight-line fits of an ensemble and of its bootstrap resamples, all at once.

Intervals are percentiles of a bootstrap of flights (B. Efron, 1979, Ann. Statist. 7, 1-26), moved so that the resamples' mean lies on
the estimate. They take flights as drawn at random: for Latin hypercube and Sobol' draws they are wider than need be.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr
from scipy.stats import rankdata

from sixdof.study.uncertainty.inputs import about_mean, is_direction, varies

CONFIDENCE, RESAMPLES = 0.9, 500
ENDS = ("", "_low", "_high")
DEPENDENT = 1e-10  # eigenvalue of a Gram matrix, over the largest, below which columns depend on each other
CHUNK = 4_000_000  # numbers held at once


class Fit(NamedTuple):
    """Straight-line fits, standardised; in front of every shape stands the resample (0: the flights as they are)."""

    slope: np.ndarray  # (columns, outcomes)
    correlation: np.ndarray  # of the columns, (columns, columns)
    inverse: np.ndarray  # of `correlation`
    r_squared: np.ndarray  # (outcomes,)
    scale: np.ndarray  # standard deviation of outcome over that of column, (columns, outcomes), 1 in row 0


def resampled(n: int, resamples: int, seed: int) -> np.ndarray:
    """Return how often each of n flights is in each resample, (1 + resamples, n); row 0 is the sample itself."""
    rng = np.random.default_rng(seed)
    rows = [np.bincount(rng.integers(n, size=n), minlength=n) for _ in range(resamples)]
    return np.array([np.ones(n, dtype=np.uint8), *rows], dtype=np.uint8)


def resampled_sums(counts: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return the sums of values (numbers, n) over each resample, (1 + resamples, numbers)."""
    return np.array([values @ row.astype(float) for row in counts])


def _means(counts: np.ndarray, x: np.ndarray, y: np.ndarray):
    """Return resampled means of x, y, all x x, all x y and y y: (r, k), (r, q), (r, k, k), (r, k, q), (r, q)."""
    n, k, q = *x.shape, y.shape[1]
    upper = np.triu_indices(k)
    ends = np.cumsum([k, q, len(upper[0]), k * q])
    total = np.zeros((len(counts), ends[-1] + q))
    rows = max(1, CHUNK // total.shape[1])
    for i in range(0, n, rows):
        a, b = x[i : i + rows], y[i : i + rows]
        crossed = (a[:, :, None] * b[:, None, :]).reshape(len(a), k * q)
        total += counts[:, i : i + rows].astype(float) @ np.hstack([a, b, a[:, upper[0]] * a[:, upper[1]], crossed, b * b])
    mean_x, mean_y, half, crossed, squares = np.split(total / n, ends, axis=1)
    xx = np.empty((len(counts), k, k))
    xx[:, upper[0], upper[1]] = half
    xx[:, upper[1], upper[0]] = half
    return mean_x, mean_y, xx, crossed.reshape(-1, k, q), squares


def fits(x: np.ndarray, y: np.ndarray, counts: np.ndarray) -> Fit:
    """Fit every outcome y (n, q) by the columns x (n, k), in each resample."""
    x, y = ((a - a.mean(axis=0)) / a.std(axis=0) for a in (x, y))  # for the rounding of the sums only
    mean_x, mean_y, xx, xy, yy = _means(counts, x, y)
    xx = xx - mean_x[:, :, None] * mean_x[:, None, :]
    xy = xy - mean_x[:, :, None] * mean_y[:, None, :]
    sd_x, sd_y = _root(np.einsum("rkk->rk", xx)), _root(yy - mean_y**2)
    correlation = xx / (sd_x[:, :, None] * sd_x[:, None, :])
    np.einsum("rkk->rk", correlation)[...] = 1.0  # a column may be constant in a resample: then it explains nothing
    to_outcome = xy / (sd_x[:, :, None] * sd_y[:, None, :])
    inverse = np.linalg.inv(correlation)
    slope = inverse @ to_outcome
    r_squared = np.clip(np.einsum("rkq,rkq->rq", slope, to_outcome), 0.0, 1.0)
    return Fit(slope, correlation, inverse, r_squared, sd_y[:, None, :] / sd_x[:, :, None])


def _root(variance: np.ndarray) -> np.ndarray:
    """Return standard deviations; infinite where there is no variance, so that what is divided by them vanishes."""
    return np.where(variance > 1e-12, np.sqrt(np.maximum(variance, 0.0)), np.inf)


def columns_of(inputs: xr.Dataset, ranks: bool) -> tuple[np.ndarray, list[list[int]]]:
    """Return the columns of a regression, (flights, columns), and which of them each input has: a direction has two."""
    columns, parts = [], []
    for variable in inputs.data_vars.values():
        own = [variable.values]
        if is_direction(variable):
            angle, _ = about_mean(variable.values)
            own = [part for part in (np.sin(angle), np.cos(angle)) if varies(part)]
        parts.append(list(range(len(columns), len(columns) + len(own))))
        columns += own
    matrix = np.column_stack(columns)
    return (rankdata(matrix, axis=0) if ranks else matrix), parts


def bootstrap_interval(values: np.ndarray, confidence: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return estimate, low and high of what stands along resamples (axis 0, the estimate first)."""
    tails = np.quantile(values[1:], [0.5 - 0.5 * confidence, 0.5 + 0.5 * confidence], axis=0)
    low, high = tails + values[0] - values[1:].mean(axis=0)
    return values[0], low, high


def check_bootstrap(confidence: float, resamples: int, seed: int) -> None:
    if not 0.0 < confidence < 1.0:
        raise ValueError(f"confidence = {confidence!r} must lie between 0 and 1, such as 0.9")
    if resamples < 20:
        raise ValueError(f"resamples = {resamples!r} must be 20 or more, such as {RESAMPLES}")
    if seed < 0:
        raise ValueError(f"seed = {seed!r} must be 0 or more")


def regressed(x: np.ndarray, y: np.ndarray, names, parts, options, who: str) -> Fit:
    """Check that columns can be told apart by these flights, and fit them (see `fits`)."""
    n, k = x.shape
    if n < 2 * (k + 1):  # a resample holds 63 % of the flights
        least = 2 * (k + 1)
        raise ValueError(f"{who} needs at least {least} flights with a value for {len(names)} inputs, and has {n}; fly more")
    stuck = [name for name, own in zip(names, parts, strict=True) if not all(varies(x[:, c]) for c in own)]
    if stuck:
        raise ValueError(f"{who}: {stuck[0]} is the same in all flights with a value of the outcome; drop it from the result")
    correlation = np.atleast_2d(np.corrcoef(x, rowvar=False))
    if np.linalg.cond(correlation) > 1e10:
        owner = [name for name, own in zip(names, parts, strict=True) for _ in own]
        a, b = np.unravel_index(np.argmax(np.abs(correlation - np.eye(k))), (k, k))
        pair = f"{owner[a]} and {owner[b]}"
        raise ValueError(f"{who} cannot tell inputs apart that depend on each other, such as {pair}; drop one")
    return fits(x, y, resampled(n, options[1], options[2]))


def end_name(text: str, name: str) -> str:
    return text + (", low end" if name.endswith("_low") else ", high end" if name.endswith("_high") else "")
