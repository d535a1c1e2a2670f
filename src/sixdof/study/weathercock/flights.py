"""The flights that the study of the turn is made of: one mission and its changes, always the same draws, followed to the end of the climb."""

from __future__ import annotations

import math
import sys
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.reading.result import meaningful
from sixdof.study.sweep.sweep import fly_conditions
from sixdof.study.variants.criteria import Criterion
from sixdof.study.weathercock.asked import attained, excess, needed

FINEST = 0.05  # m/s: how closely a wind is found


@dataclass
class Flights:
    """How flights are flown and what is asked of them.

    short : the mission to the end of its climb. events : of the climb. criteria : asked for. count, seed : of the draws. options : laws and
    threads, as arguments of `fly_conditions`. base : the condition that causes and cures are looked at under. flown : how many
    flights so far. progress : whether to say what is flown.
    """

    short: Mission
    events: list[str]
    criteria: list[Criterion]
    count: int
    seed: int
    options: Mapping[str, Any]
    base: dict[str, Any] = field(default_factory=dict)
    flown: int = 0
    progress: bool = False

    def say(self, text: str) -> None:
        """Say what is flown next, where progress is wanted."""
        if self.progress:
            print(f"sixdof: {text}", file=sys.stderr)

    def fly(self, mission: Mission, conditions: Sequence[Mapping[str, Any]], count: int | None = None) -> xr.Dataset:
        """Fly drawn flights of a (shortened) mission under conditions, dims condition and flight."""
        count = self.count if count is None else count
        self.flown += count * len(conditions)
        return fly_conditions(mission, conditions, count, seed=self.seed, keep=needed(self.criteria), progress=False, who="weathercock", **self.options)

    def excesses(self, ds: xr.Dataset) -> np.ndarray:
        """Return by how much the criteria are missed under each condition (conditions,), as a share of the limit."""
        return np.array([excess(self.criteria, ds.isel(condition=k)) for k in range(ds.sizes["condition"])])

    def worst(self, ds: xr.Dataset, condition: int = 0) -> float:
        """Return the value that the first criterion's share of the flights keeps, in its own unit."""
        one = self.criteria[0]
        return attained(one, one.subject.array(ds.isel(condition=condition)).values)

    def missed(self, mission: Mission) -> tuple[float, xr.Dataset]:
        """Fly a mission under the condition that causes and cures are looked at; return by how much it misses, and the flights."""
        ds = self.fly(mission, [self.base])
        return float(self.excesses(ds)[0]), ds.isel(condition=0)


def angles(ds: xr.Dataset, name: str, events: Sequence[str]) -> np.ndarray:
    """Return lean or path lean of the front body at events (..., flight, events), rad; NaN of flights whose outcomes mean nothing."""
    values = ds[f"event_{name}"].isel(body=0).sel(event=list(events)).values
    return np.where(meaningful(ds)[..., None] if ds["status"].ndim == 1 else _meant(ds)[..., None], values, np.nan)


def _meant(ds: xr.Dataset) -> np.ndarray:
    flat = ds[["status"]].stack(all=ds["status"].dims)
    return meaningful(flat).reshape(ds["status"].shape)


def turns(ds: xr.Dataset, name: str, events: Sequence[str]) -> np.ndarray:
    """Return the turn into the wind since the rail (..., flight, events), rad: lean or path lean at events less the rail's own lean."""
    return angles(ds, name, events) - angles(ds, "lean", ["liftoff"])


def middle(values, axis: int = -1, quantile: float | None = None):
    """Return the mean of values that are there, or a quantile of them, along an axis; NaN where none is, without a warning."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        return np.nanmean(values, axis=axis) if quantile is None else np.nanquantile(values, quantile, axis=axis)


def largest_wind(excess_at: Callable[[float], float], winds: Sequence[float], found: Sequence[float]) -> float:
    """Return the largest wind (m/s) up to which the criteria hold, from 0 on: -inf where they do not even in the least wind tried, inf where they do in all.

    found : by how much they are missed at `winds`. Between the last that holds and the first that does not a root is looked for by halving.
    """
    missed = [k for k, value in enumerate(found) if not value <= 0.0]
    if not missed:
        return math.inf
    if missed[0] == 0:
        return -math.inf
    low, high = winds[missed[0] - 1], winds[missed[0]]
    while high - low > FINEST:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if excess_at(middle) <= 0.0 else (low, middle)
    return low


def crossing(x: np.ndarray, excesses: np.ndarray) -> float:
    """Return from which x on (rising) excesses (n,) stay at 0 or below, straight lines between; -inf where all do, inf where the last does not."""
    missed = np.flatnonzero(~(excesses <= 0.0))
    if not missed.size:
        return -math.inf
    k = int(missed[-1])
    if k == len(x) - 1:
        return math.inf
    if not math.isfinite(excesses[k]):
        return float(x[k + 1])
    return float(x[k] + (x[k + 1] - x[k]) * excesses[k] / (excesses[k] - excesses[k + 1]))
