"""Whole curves among drawn ones: how far each leaves the others, ranked; and how many independent instants a curve is worth.

The log and the flights are one pool of curves. If the model holds they are exchangeable, so whatever is computed of every curve by the same rule,
symmetric in the pool, ranks the log's anywhere with equal probability: p = (b + 1)/(n + 1) of the b flights that go as far or farther
(A. C. Davison & D. V. Hinkley, 1997, Bootstrap Methods and their Application, section 4.2). Correlation along a curve and between variables needs no model.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

LEAST_SPREAD = 1e-6  # of a variable's largest value: below it the flights agree, and there is nothing to standardise by
LITTLE_SPREAD = 0.01  # of the spread that a variable reaches (nine tenths of its instants below): with less, a log tells of its clock and its steps alone


class Pool(NamedTuple):
    """Curves standardised together. z (1 + flights, channels, instants): the log first; NaN where the log or a flight has no value."""

    z: np.ndarray
    mean: np.ndarray  # (channels, instants) of the flights
    spread: np.ndarray  # (channels, instants) standard deviation of the flights; NaN where nothing is compared


def fewest(known: np.ndarray) -> np.ndarray:
    """Return how many flights must have a value at an instant for the log to be compared there, (channels, 1), of known values (flights, channels, instants).

    All that have any in the channel: whatever happens to the log must happen to the flights, and each flight's curve ends at a time of its own. Up to the
    first end of any of them the log is one of many; up to its own end it is the only one that is never cut.
    """
    return np.maximum(known.any(axis=-1).sum(axis=0), max(len(known) // 2, 3))[:, None]


def pooled(logged: np.ndarray, drawn: np.ndarray) -> Pool:
    """Return log (channels, instants) and flights (flights, channels, instants) standardised by mean and deviation of them all.

    Instants at which not every flight that has the channel has a value, or they hardly differ, are left out.
    """
    known = np.isfinite(drawn)
    count = known.sum(axis=0)
    mean, spread = _moments(drawn, known, count)
    size = np.nanmax(np.where(np.isfinite(mean), np.abs(mean), 0.0), axis=-1, keepdims=True)
    use = np.isfinite(logged) & (count >= fewest(known)) & (spread > LEAST_SPREAD * size) & (spread > 0.0)
    reached = np.array([np.quantile(row[there], 0.9) if there.any() else 0.0 for row, there in zip(spread, use, strict=True)])
    use &= spread > LITTLE_SPREAD * reached[:, None]
    values = np.concatenate([logged[None], drawn])
    there = np.isfinite(values) & use
    middle, deviation = _moments(values, there, there.sum(axis=0))
    with np.errstate(invalid="ignore", divide="ignore"):
        z = np.where(there, (values - middle) / deviation, np.nan)
    return Pool(z, np.where(use, mean, np.nan), np.where(use, spread, np.nan))


def _moments(values: np.ndarray, known: np.ndarray, count: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and standard deviation (n - 1) of the known values of each column."""
    filled = np.where(known, values, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        mean = filled.sum(axis=0) / count
        squares = np.where(known, values - mean, 0.0)
        return np.where(count > 0, mean, np.nan), np.sqrt((squares * squares).sum(axis=0) / (count - 1))


def departure(z: np.ndarray, which: np.ndarray | None = None) -> np.ndarray:
    """Return how far every curve leaves the pool in chosen instants, (curves, channels); -inf for a curve without a value there.

    The larger of two, each standardised over the pool: the largest deviation, which sees what is short, and the root mean square, which sees what is
    small and lasts.

    z : (curves, channels, instants). which : bool (instants,) or (channels, instants); None: all.
    """
    there = np.isfinite(z) if which is None else np.isfinite(z) & which
    size = np.abs(np.where(there, z, 0.0))
    count = there.sum(axis=-1)
    largest = size.max(axis=-1, initial=0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        root = np.sqrt((size * size).sum(axis=-1) / count)
    far = np.maximum(_standard(largest, count > 0), _standard(root, count > 0))
    return np.where(count > 0, far, -np.inf)


def _standard(values: np.ndarray, known: np.ndarray) -> np.ndarray:
    mean, deviation = _moments(values, known, known.sum(axis=0))
    with np.errstate(invalid="ignore", divide="ignore"):
        out = (values - mean) / deviation
    return np.where(np.isfinite(out), out, 0.0)


def rank_p(departures: np.ndarray) -> np.ndarray:
    """Return (b + 1)/(n + 1) of the first curve's departure among all, axis 0; NaN where the log has none."""
    first = departures[:1]
    p = (departures >= first).sum(axis=0) / len(departures)
    return np.where(np.isfinite(first[0]), p, np.nan)


def adjusted_p(departures: np.ndarray) -> np.ndarray:
    """Return for each of many tests of the same curves the p of the largest of all being as far (P. H. Westfall & S. S. Young, 1993, the single step).

    departures : (curves, ...); the result has the other dims.
    """
    top = departures.reshape(len(departures), -1).max(axis=1)
    first = departures[0]
    p = (top[(slice(None), *[None] * first.ndim)] >= first[None]).sum(axis=0) / len(departures)
    return np.where(np.isfinite(first), p, np.nan)


def effective_instants(z: np.ndarray) -> np.ndarray:
    """Return the number of independent instants that each channel's mean over time is worth, (channels,), from curves (flights, channels, instants).

    The variance of a value over that of a curve's mean: N over the sum of all autocorrelations, taken over the flights rather than along one curve. Of a
    long AR(1) process of correlation r from an instant to the next it is N (1 - r)/(1 + r) (G. V. Bayley & J. M. Hammersley, 1946, J. R. Stat. Soc. Suppl. 8,
    184-197). Between 1 and the number of instants; NaN without any.
    """
    there = np.isfinite(z)
    count = there.sum(axis=-1)
    filled = np.where(there, z, 0.0)
    with np.errstate(invalid="ignore", divide="ignore"):
        means = filled.sum(axis=-1) / count
        # a flight without a value at some instants counts for what it has
        variance = np.where(there, filled * filled, 0.0).sum(axis=(0, 2)) / there.sum(axis=(0, 2))
        of_mean = np.nansum(means * means, axis=0) / (count > 0).sum(axis=0)
        return np.clip(variance / of_mean, 1.0, count.max(axis=0, initial=1))
