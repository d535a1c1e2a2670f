"""Differences between variants flight by flight: what flying on the same draws is good for."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr
from scipy.stats import t

from sixdof.mission.errors import suggestion
from sixdof.mission.units import shown
from sixdof.study.uncertainty.statistics import check_share, mean_interval, quantile_interval, share_interval
from sixdof.study.variants.judging import ensembles, names_in
from sixdof.study.variants.subjects import Subject, need_names, subject
from sixdof.study.variants.vary import need_comparison


def outcome_by_variant(ds: xr.Dataset, outcome: str | Subject, who: str) -> tuple[Subject, xr.DataArray]:
    """Return an outcome of every variant and flight of a comparison, (variant, flight), and its subject; NaN where there is none.

    Raises ValueError for what is not an outcome, or a flag.
    """
    need_comparison(ds, who)
    of = subject(outcome) if isinstance(outcome, str) else outcome
    if of.variable.flags:
        raise ValueError(f"{who} takes an outcome that is a number, and {of} is a flag")
    need_names(of, names_in(ds))
    arrays = [of.array(ensemble) for ensemble in ensembles(ds).values()]
    return of, xr.concat(arrays, ds["variant"], combine_attrs="override")


def paired(ds: xr.Dataset, outcome: str, *, baseline: str | None = None, confidence: float = 0.9) -> xr.Dataset:
    """Return how an outcome of each variant differs from the baseline's, flight by flight, with intervals.

    Parameters
    ----------
    ds : what `compare` returned
    outcome : such as "apogee_height", "tilt at burnout", "landing" (its distance from the rail) or "landing_ground_speed of booster"; see
        `sixdof.stats.criterion`
    baseline : name of a variant; None the first
    confidence : of every interval by itself

    Returns
    -------
    Dataset
        Dim variant, the baseline omitted; a difference is the variant's value less the baseline's in the same flight.
        `mean`, `mean_low`, `mean_high`: Student's t interval of the differences (W. S. Gosset, "Student", 1908, Biometrika 6, 1-25).
        `median`, `median_low`, `median_high`: between order statistics, for any distribution (see `quantile_interval`).
        `larger`, `larger_low`, `larger_high`: share of pairs in which the variant's value is the larger one (Clopper-Pearson).
        `pairs`, `dropped`: flights used, and those omitted because one of the two has no value.
        `narrowing`: half width of the interval of the mean for two independent ensembles of as many flights (B. L. Welch, 1947,
        Biometrika 34, 28-35) over that of the pairs; its square is how many times more flights those would need. NaN where differences
        do not vary.

    Raises
    ------
    ValueError
        For what is not a comparison, an unknown outcome or variant, a flag, or fewer than two variants.

    Examples
    --------
    >>> difference = sixdof.stats.paired(compared, "rail_departure_speed")
    >>> bool(difference["mean"].sel(variant="long rail").item() > 0.0)
    True
    """
    of, values = outcome_by_variant(ds, outcome, "paired")
    check_share(confidence, "confidence")
    names = [str(name) for name in values["variant"].values]
    base = names[0] if baseline is None else baseline
    if base not in names:
        raise ValueError(f"paired: there is no variant {shown(base)}; {suggestion(base, names, 'variants')}")
    if len(names) < 2:
        raise ValueError("paired needs two variants or more, and this comparison has one")
    others = [name for name in names if name != base]
    found = [pair_up(values.sel(variant=name).values, values.sel(variant=base).values, confidence) for name in others]
    texts = {"mean": "mean difference", "median": "median difference", "larger": "share of flights with the larger value"}
    ends = {"": "", "_low": ", lower bound", "_high": ", upper bound"}
    units = {"mean": values.attrs["units"], "median": values.attrs["units"], "larger": "1"}
    entries = {
        stem + end: _entry([getattr(f, stem + end) for f in found], f"{text} of {of} to {base}{ends[end]}", units[stem])
        for stem, text in texts.items()
        for end in ends
    }
    entries["pairs"] = _entry([f.pairs for f in found], "flights in which both have a value", "1")
    entries["dropped"] = _entry([f.dropped for f in found], "flights in which one has no value", "1")
    entries["narrowing"] = _entry([f.narrowing for f in found], "half width of independent ensembles over that of the pairs", "1")
    coords = {"variant": ("variant", others, dict(ds["variant"].attrs))}
    attrs = {"outcome": str(of), "baseline": base, "confidence": confidence, "title": ds.attrs.get("title", "")}
    return xr.Dataset(entries, coords, attrs)


class Pairs(NamedTuple):
    """What `pair_up` found; fields as in `paired`."""

    mean: float
    mean_low: float
    mean_high: float
    median: float
    median_low: float
    median_high: float
    larger: float
    larger_low: float
    larger_high: float
    pairs: int
    dropped: int
    narrowing: float


def pair_up(values: np.ndarray, base: np.ndarray, confidence: float) -> Pairs:
    """Return the statistics of values - base, both (flights,), NaN where a flight has none."""
    both = np.isfinite(values) & np.isfinite(base)
    difference = values[both] - base[both]
    mean = mean_interval(difference, confidence)
    median = quantile_interval(difference, 0.5, confidence)
    larger = share_interval(int(np.sum(difference > 0.0)), int(both.sum()), confidence)
    half = 0.5 * (mean.high - mean.low)
    narrowing = welch_half_width(values[both], base[both], confidence) / half if 0.0 < half < math.inf else math.nan
    return Pairs(*mean, *median, *larger, int(both.sum()), int(np.sum(~both)), narrowing)


def welch_half_width(a: np.ndarray, b: np.ndarray, confidence: float) -> float:
    """Return half the interval of the difference of two means, as if the samples were independent (B. L. Welch, 1947)."""
    parts = np.array([a.var(ddof=1) / len(a), b.var(ddof=1) / len(b)])
    freedom = parts.sum() ** 2 / np.sum(parts**2 / np.array([len(a) - 1, len(b) - 1]))
    return float(t.ppf(0.5 + 0.5 * confidence, freedom) * math.sqrt(parts.sum()))


def _entry(values, text: str, units: str):
    return "variant", np.array(values), {"units": units, "long_name": text}
