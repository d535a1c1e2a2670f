"""How sure numbers from a limited number of flights are: intervals for quantiles, shares, means, and by group.

Values are one number per flight, an array or a DataArray along `flight`. NaN means that a flight has no such value: it is
omitted, never counted as good or bad. Take outcomes of an ensemble with `study.reading.outcomes`, which omits
flights that failed. A confidence says how often such an interval, over many ensembles, holds the truth; it covers the
chance of the draws alone, not errors of the model.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr
from scipy.stats import beta, binom, chi2, t

from sixdof.results.status import Status
from sixdof.study.reading.result import QUANTILES, branches, need_ensemble, outcomes

SIDES = ("both", "lower", "upper")


class Interval(NamedTuple):
    """An estimate and the ends of its confidence interval; low and high are infinite where nothing bounds them."""

    estimate: float | np.ndarray
    low: float | np.ndarray
    high: float | np.ndarray


def check_share(value, name: str = "share") -> None:
    """Raise ValueError unless all of `value` lie between 0 and 1, both excluded."""
    numbers = np.asarray(value, dtype=float)
    if not ((numbers > 0.0) & (numbers < 1.0)).all():
        raise ValueError(f"{name} = {value!r} must lie between 0 and 1, such as 0.95")


def known_values(values, who: str) -> tuple[np.ndarray, int]:
    """Return the values that are not NaN, (n,), and how many flights have none; `who` asks.

    Raises ValueError for values that are not one number per flight, or infinite.
    """
    numbers = np.asarray(values, dtype=float)
    if numbers.ndim != 1:
        raise ValueError(f"{who} takes one number per flight, and these values have {numbers.ndim} dimensions; select one first")
    if np.isinf(numbers).any():
        raise ValueError(f"{who} takes finite values, NaN where a flight has none, and {np.isinf(numbers).sum()} are infinite")
    known = numbers[~np.isnan(numbers)]
    return known, len(numbers) - len(known)


# ---------------------------------------------------------------- intervals


def quantile_interval(values, q, confidence: float = 0.9, side: str = "both") -> Interval:
    """Return quantiles of one number per flight with intervals between order statistics; no distribution is assumed.

    The k-th smallest of n values lies at or below the true q-quantile with probability P[Bin(n, q) >= k], whatever the
    distribution (H. A. David & H. N. Nagaraja, 2003, Order Statistics, section 7.1). The ends are the closest order
    statistics that miss with at most (1 - confidence)/2 each, so the interval holds the truth at least that often, ties
    or not. Estimates interpolate between order statistics (numpy's default) and stay within the interval: of a few flights
    the 99 % quantile is the largest value.

    Parameters
    ----------
    values : (flights,), NaN where a flight has none
    q : quantile, between 0 and 1; a number, or an array of any shape
    side : "both", or "lower" or "upper" for one bound that holds with `confidence` alone, the other being infinite

    Returns
    -------
    Interval
        Shaped as q, floats for a number. low is -inf and high is inf where the flights are too few for a bound
        (an upper bound of the 95 % quantile with confidence 95 % takes 59, see `flights_needed`); estimate NaN for none.

    Examples
    --------
    >>> middle = sixdof.stats.quantile_interval(flights.apogee_height, 0.5)
    >>> bool(middle.low < middle.estimate < middle.high)
    True
    """
    check_share(q, "q")
    known, _ = known_values(values, "quantile_interval")
    miss_low, miss_high = _misses(confidence, side)
    n, shares = len(known), np.asarray(q, dtype=float)
    ordered = np.concatenate([[-math.inf], np.sort(known), [math.inf]])  # order statistics 0 and n + 1 bound nothing
    below = binom.ppf(miss_low, n, shares).astype(int) if miss_low else np.zeros(shares.shape, dtype=int)
    above = binom.ppf(1.0 - miss_high, n, shares).astype(int) + 1 if miss_high else np.full(shares.shape, n + 1)
    estimate = np.quantile(known, shares) if n else np.full(shares.shape, np.nan)
    return _interval(np.clip(estimate, ordered[below], ordered[above]), ordered[below], ordered[above])


def share_interval(hits, flights, confidence: float = 0.9, side: str = "both") -> Interval:
    """Return the share hits/flights with its exact interval (C. J. Clopper & E. S. Pearson, 1934, Biometrika 26, 404-413).

    It holds the true probability at least as often as `confidence` says. `side` "lower" or "upper" gives one bound that
    holds with `confidence` alone; the other end is 1 or 0. Counts may be arrays; of no flights nothing is known: NaN, 0, 1.

    Examples
    --------
    >>> none_failed = sixdof.stats.share_interval(59, 59, 0.95, side="lower")
    >>> round(float(none_failed.low), 2)
    0.95
    """
    hits, flights = np.broadcast_arrays(np.asarray(hits), np.asarray(flights))
    whole = np.issubdtype(hits.dtype, np.integer) and np.issubdtype(flights.dtype, np.integer)
    if not whole or not ((hits >= 0) & (hits <= flights)).all():
        raise ValueError("share_interval takes whole numbers with 0 <= hits <= flights")
    miss_low, miss_high = _misses(confidence, side)
    low, high, estimate = np.zeros(hits.shape), np.ones(hits.shape), np.full(hits.shape, np.nan)
    np.divide(hits, flights, out=estimate, where=flights > 0)
    if miss_low:
        low = np.where(hits > 0, beta.ppf(miss_low, np.maximum(hits, 1), flights - hits + 1), 0.0)
    if miss_high:
        high = np.where(hits < flights, beta.ppf(1.0 - miss_high, hits + 1, np.maximum(flights - hits, 1)), 1.0)
    return _interval(estimate, low, high)


def mean_interval(values, confidence: float = 0.9) -> Interval:
    """Return the mean of one number per flight with Student's t interval: exact for normal values, good for many flights.

    confidence : of the interval, 0 to 1.

    Examples
    --------
    >>> mean = sixdof.stats.mean_interval([1.0, 2.0, 3.0], 0.9)
    >>> float(mean.estimate)
    2.0
    """
    check_share(confidence, "confidence")
    known, _ = known_values(values, "mean_interval")
    n = len(known)
    if n < 2:
        return Interval(float(known[0]) if n else math.nan, -math.inf, math.inf)
    mean, half = known.mean(), t.ppf(0.5 + 0.5 * confidence, n - 1) * known.std(ddof=1) / math.sqrt(n)
    return _interval(mean, mean - half, mean + half)


def deviation_interval(values, confidence: float = 0.9) -> Interval:
    """Return the standard deviation of one number per flight with its chi-square interval, which holds for normal values only.

    confidence : of the interval, 0 to 1.

    Examples
    --------
    >>> float(sixdof.stats.deviation_interval([1.0, 2.0, 3.0]).estimate)
    1.0
    """
    check_share(confidence, "confidence")
    known, _ = known_values(values, "deviation_interval")
    n = len(known)
    if n < 2:
        return Interval(math.nan, 0.0, math.inf)
    deviation, miss = known.std(ddof=1), 0.5 * (1.0 - confidence)
    low, high = (deviation * math.sqrt((n - 1) / chi2.ppf(p, n - 1)) for p in (1.0 - miss, miss))
    return _interval(deviation, low, high)


def _misses(confidence, side) -> tuple[float, float]:
    """Return with what probability the lower and the upper bound may miss; 0 where there is no such bound."""
    check_share(confidence, "confidence")
    if side not in SIDES:
        raise ValueError(f"side = {side!r} must be one of {', '.join(SIDES)}")
    miss = 1.0 - confidence
    return {"both": (0.5 * miss, 0.5 * miss), "lower": (miss, 0.0), "upper": (0.0, miss)}[side]


def _interval(*ends) -> Interval:
    return Interval(*(float(end) if np.ndim(end) == 0 else np.asarray(end, dtype=float) for end in ends))


# ---------------------------------------------------------------- groups of an ensemble


def conditional(ds: xr.Dataset, name: str, by: str = "branch", q: Sequence[float] = QUANTILES, confidence: float = 0.9) -> xr.Dataset:
    """Return quantiles of an outcome in each group of an ensemble's flights, with their intervals.

    Parameters
    ----------
    by : "branch" (the failures that happened, or "nominal") or "status" (how the flight ended)
    q : shares of the group's flights below

    Returns
    -------
    Dataset
        estimate, low, high (group, share) in the units of the outcome; flights (group), the group's size, and used
        (group), those of it that have the outcome. The largest group comes first. Bounds are infinite and estimates NaN
        where a group is too small (see `quantile_interval`).

    Raises
    ------
    ValueError
        For a result that is not an ensemble, an outcome that it does not hold or that is not one number per flight, another `by`,
        or a share or confidence outside 0..1.

    Examples
    --------
    >>> groups = sixdof.stats.conditional(flights, "apogee_height", q=[0.5])
    >>> sorted(groups.dims)
    ['group', 'share']
    """
    need_ensemble(ds, "conditional", name, "status")
    if ds[name].dims != ("flight",):
        raise ValueError(f"conditional takes one number per flight, and {name} has dims {', '.join(ds[name].dims)}")
    groups, values = _groups(ds, by), outcomes(ds, name)
    shares = np.atleast_1d(np.asarray(q, dtype=float))
    found = [quantile_interval(values[which], shares, confidence) for which in groups.values()]
    units, text = ds[name].attrs.get("units", "1"), ds[name].attrs.get("long_name", name)
    ends = {"estimate": text, "low": f"{text}, lower bound", "high": f"{text}, upper bound"}
    entries = {
        end: (("group", "share"), np.array([getattr(f, end) for f in found]), {"units": units, "long_name": long_name}) for end, long_name in ends.items()
    }
    sizes = [int(which.sum()) for which in groups.values()]
    used = [int(np.isfinite(values[which]).sum()) for which in groups.values()]
    entries["flights"] = ("group", sizes, {"units": "1", "long_name": "flights of the group"})
    entries["used"] = ("group", used, {"units": "1", "long_name": "flights of the group that have the outcome"})
    coords = {
        "group": ("group", list(groups), {"long_name": by}),
        "share": ("share", shares, {"units": "1", "long_name": "share of the group's flights below"}),
    }
    return xr.Dataset(entries, coords, attrs={"outcome": name, "by": by, "confidence": confidence})


def _groups(ds, by) -> dict[str, np.ndarray]:
    """Return which flights belong to each group, bool (flights,), the largest group first."""
    if by == "branch":
        need_ensemble(ds, "conditional", "branch")
        return branches(ds)
    if by != "status":
        raise ValueError(f"by = {by!r} must be branch or status")
    ends = {s.name.lower(): ds["status"].values == s for s in Status}
    return dict(sorted(((key, which) for key, which in ends.items() if which.any()), key=lambda pair: -pair[1].sum()))
