"""Rare failures: flights flown with a failure made certain, weighted by how probable it is, and what interval such a share has.

A failure of 1 % happens in two of two hundred flights, which says nothing of where its pieces land. So an ensemble may be flown in strata: the
flights in which no failure was drawn, those of each failure alone, and those of two or more. Their probabilities are exact, for failures are
drawn independently of each other and of all else. A failure that the mission makes certain is in every stratum, and counts in none.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr
from scipy.stats import beta

from sixdof.mission.mission import Mission
from sixdof.study.sweep.sweep import fly_drawn
from sixdof.study.uncertainty.statistics import Interval, check_share, share_interval

NONE, SEVERAL = "none drawn", "two or more drawn"
CELLS = 2**15  # of the grid on which the spreads of strata are added up
BEYOND = 1e-9  # probability above the grid


class Strata(NamedTuple):
    """names (strata,): no failure, each failure alone, two or more; weights (strata,): their probabilities, which add up to 1."""

    names: tuple[str, ...]
    weights: np.ndarray


def uncertain(mission: Mission) -> list[int]:
    """Return the numbers of the failures that may happen or not: of the others nothing is to be told apart."""
    return [k for k, failure in enumerate(mission.failure) if failure.probability < 1.0]


def strata_of(mission: Mission) -> Strata:
    """Return the strata of a mission's failures; of a mission without failures one, of weight 1."""
    open_to = uncertain(mission)
    probabilities = np.array([mission.failure[k].probability for k in open_to])
    names = (NONE, *(mission.failure[k].name for k in open_to), SEVERAL)
    none = float(np.prod(1.0 - probabilities))
    others = [float(np.prod(np.delete(1.0 - probabilities, k))) for k in range(len(probabilities))]
    alone = [p * other for p, other in zip(probabilities, others, strict=True)]
    weights = np.array([none, *alone, max(1.0 - none - sum(alone), 0.0)])
    return Strata(names, weights) if len(probabilities) > 1 else Strata(names[:-1], weights[:-1])


def stratum_of(ds: xr.Dataset, mission: Mission) -> np.ndarray:
    """Return the number of each flight's stratum, (flights,): by the failures drawn, not by those that came to happen."""
    open_to = uncertain(mission)
    if not open_to:
        return np.zeros(ds.sizes["flight"], dtype=int)
    drawn = ds["failure_drawn"].sel(failure=[mission.failure[k].name for k in open_to]).values > 0
    count = drawn.sum(axis=1)
    return np.where(count == 0, 0, np.where(count == 1, drawn.argmax(axis=1) + 1, len(open_to) + 1))


def certain(mission: Mission, number: int) -> Mission:
    """Return a mission whose failure of this number (from 0) is drawn in every flight, and of the others only what is certain already."""
    return mission.change({f"failure.{k}.probability": float(k == number) for k in uncertain(mission)} | {f"failure.{number}.probability": 1.0})


def fly_failing(mission: Mission, flights: int, *, first: int, **how) -> list[xr.Dataset]:
    """Return an ensemble of `flights` for each failure that may happen alone, made certain; numbered from `first` on, so that no draw comes twice.

    how : seed, threads, client, progress and laws, as `fly_drawn` takes them.
    """
    found: list[xr.Dataset] = []
    weights = strata_of(mission).weights
    for stratum, k in enumerate(uncertain(mission), start=1):
        if weights[stratum] > 0.0:
            found.append(fly_drawn(certain(mission, k), flights, first=first + len(found) * flights, **how))
    return found


def weighted_share(hits: Sequence[int], flights: Sequence[int], weights: Sequence[float], confidence: float = 0.9) -> Interval:
    """Return the share of all flights in which something happens, from strata of exactly known weights, with an interval.

    The estimate is the sum of w_i hits_i / n_i. The ends are those of the sum of w_i p_i where each p_i is spread as its Clopper-Pearson bounds say,
    beta(x_i, n_i - x_i + 1) for the lower end and beta(x_i + 1, n_i - x_i) for the upper one (M. P. Fay, M. A. Proschan & E. Brittain, 2015, Combining
    one-sample confidence procedures for inference in the two-sample case, Biometrics 71, 146-156): of one stratum it is `share_interval`. A stratum of
    which nothing was flown counts with its whole weight as not happening in the lower end and as happening in the upper one, and as the others
    in the estimate.

    hits, flights : (strata,) whole numbers. weights : (strata,), adding up to 1.

    Raises
    ------
    ValueError
        For counts that are none, weights that do not add up to 1, and a confidence outside 0..1.
    """
    hits, flights, weights = np.asarray(hits), np.asarray(flights), np.asarray(weights, dtype=float)
    check_share(confidence, "confidence")
    if not (hits.shape == flights.shape == weights.shape) or (weights < 0.0).any() or not math.isclose(weights.sum(), 1.0, abs_tol=1e-9):
        raise ValueError("weighted_share takes hits, flights and weights of the same strata, and weights that add up to 1")
    each = share_interval(hits, flights, confidence).estimate
    flown = (flights > 0) & (weights > 0.0)
    if not flown.any():
        return Interval(math.nan, 0.0, 1.0)
    estimate = float(np.sum(weights[flown] * each[flown]) / weights[flown].sum())
    miss = 0.5 * (1.0 - confidence)
    low = [(w, x, n - x + 1) for w, x, n in zip(weights, hits, flights) if w > 0.0 and x > 0]
    high = [(w, x + 1, n - x) for w, x, n in zip(weights, hits, flights) if w > 0.0 and x < n]
    certain = float(weights[hits == flights].sum())  # all of them, or nothing flown: nothing bounds these from above
    return Interval(estimate, _sum_quantile(low, miss, 0.0), min(certain + _sum_quantile(high, 1.0 - miss, 1.0), 1.0))


def _sum_quantile(parts: list[tuple[float, int, int]], share: float, up: float) -> float:
    """Return a quantile of the sum of weighted beta variables (weight, a, b), by convolution on a grid.

    up : 1 takes every part at the upper edge of its cell, 0 at the lower one, so that an end errs outwards, by some 1e-5 of itself.
    """
    if not parts:
        return 0.0
    if len(parts) == 1:
        weight, a, b = parts[0]
        return float(weight * beta.ppf(share, a, b))
    top = sum(weight * beta.isf(BEYOND, a, b) for weight, a, b in parts)
    step, product = top / CELLS, 1.0
    for weight, a, b in parts:
        below = beta.cdf(step * np.arange(1, CELLS + 1) / weight, a, b)
        below[-1] = 1.0
        product = product * np.fft.rfft(np.diff(below, prepend=0.0), 2 * CELLS)
    reached = np.cumsum(np.fft.irfft(product))
    return float(step * (np.searchsorted(reached, share) + up * len(parts)))


def strata_share(which: np.ndarray, stratum: np.ndarray, weights: np.ndarray, confidence: float) -> Interval:
    """Return the `weighted_share` of flights (bool) of strata (numbers)."""
    counted = [np.bincount(one, minlength=len(weights)) for one in (stratum[which], stratum)]
    return weighted_share(*counted, weights, confidence)
