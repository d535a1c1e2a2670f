"""Numbers to compare a flight with: speeds, times, heights and places, each with the range of its ensemble."""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins
from sixdof.study.reading.page import bearing_of
from sixdof.study.reading.result import QUANTILES, came_down, event_values, fact, meaningful, outcomes, pieces
from sixdof.study.uncertainty.statistics import quantile_interval

BEARING = "deg true"  # unit of bearings
TIME = "time of "  # what the names of times begin with
_DEG = math.degrees(1.0)
CEILINGS = (0.95, 0.99)  # shares of the flights that stay below the heights named for a waiver
CONFIDENCE = 0.9  # of the bound of a ceiling


class Expected(NamedTuple):
    """One number of a flight: what it is, its unit as shown, decimals, and its values in the flights (flights,), NaN where a flight has none."""

    name: str
    unit: str
    decimals: int
    values: np.ndarray

    def quantiles(self) -> np.ndarray:
        """Return the quantiles 5, 50 and 95 % over the flights that have the number, (3,); NaN where none has."""
        known = self.values[np.isfinite(self.values)]
        return np.quantile(known, QUANTILES) if known.size else np.full(len(QUANTILES), np.nan)


def expected_numbers(mission: Mission, flights: xr.Dataset) -> list[Expected]:
    """Return the numbers that a flight is compared with, in the order of the flight; what no flight has is left out."""
    rows = [
        Expected("rail exit speed", "m/s", 1, outcomes(flights, "rail_departure_speed")),
        *_times(mission, flights),
        Expected("apogee above ground", "m", 0, outcomes(flights, "apogee_height")),
        Expected("largest Mach number", "", 2, outcomes(flights, "mach_max")),
        *_landings(flights),
    ]
    return [row for row in rows if np.isfinite(row.values).any()]


def _times(mission: Mission, flights: xr.Dataset) -> Iterator[Expected]:
    """Yield when things happen, s after ignition, in the order in which they do in the middle of the flights."""
    front, aft = mission.stage[0].name, mission.stage[-1].name
    staged = len(mission.stage) > 1
    names = {"burnout": f"burnout {aft}" if staged else "burnout", "apogee": f"apogee {front}" if staged else "apogee"}
    for stage in mission.stage[1:]:
        names[f"separation {stage.name}"] = f"separation {stage.name}"
    for stage in mission.stage[:-1]:
        names |= {f"{what} {stage.name}": f"{what} {stage.name}" for what in ("ignition", "burnout")}
    for event in (str(name) for name in flights["event"].values):
        if event.startswith("deployment "):
            names[event] = f"{event.removeprefix('deployment ')} out"
    rows = [Expected(f"{TIME}{text}", "s", 1, _moment(flights, event)) for event, text in names.items()]
    rows += [Expected(f"{TIME}{flights['body'].values[k]} down", "s", 0, _landing(flights, k, "time")) for k in _down(mission, flights)]
    rows = [row for row in rows if np.isfinite(row.values).any()]
    yield from sorted(rows, key=lambda row: float(np.nanmedian(row.values)))


def _moment(flights: xr.Dataset, event: str) -> np.ndarray:
    """Return the time of an event in every flight, of the first body that it happens to, s; NaN where it does not."""
    each = [event_values(flights, event, body=k) for k in range(flights.sizes["body"])]
    found = each[0]
    for other in each[1:]:
        found = np.where(np.isfinite(found), found, other)
    return np.where(meaningful(flights), found, np.nan)


def _down(mission: Mission, flights: xr.Dataset) -> list[int]:
    """Return the numbers of the stages that land by themselves in the usual flight: what a broken harness lets go is left out."""
    return [k for k in pieces(flights) if k < len(mission.stage)]


def _landing(flights: xr.Dataset, k: int, name: str) -> np.ndarray:
    return np.where(came_down(flights, k), fact(flights, f"body_landing_{name}", k), np.nan)


def _landings(flights: xr.Dataset) -> Iterator[Expected]:
    """Yield how far from the rail, and on which bearing about the mean place, each stage lands."""
    stages = flights.sizes.get("joint", 0) + 1
    for k in (k for k in pieces(flights) if k < stages):
        name = f"{flights['body'].values[k]} lands" if stages > 1 else "lands"
        east, north = _landing(flights, k, "east"), _landing(flights, k, "north")
        yield Expected(f"{name} at", "m", 0, np.hypot(east, north))
        if np.isfinite(east).any():
            yield Expected(f"{name} on", BEARING, 0, bearings(east, north))


def bearings(east: np.ndarray, north: np.ndarray) -> np.ndarray:
    """Return bearings of places from the rail, deg (flights,), counted within half a turn of the bearing of their mean place.

    So that a cloud about north has bearings such as -5 to 12 deg, not 2 and 358.
    """
    middle = bearing_of(float(np.nanmean(east)), float(np.nanmean(north)))
    own = np.degrees(np.arctan2(east, north))
    return middle + (own - middle + 180.0) % 360.0 - 180.0


class Ceiling(NamedTuple):
    """A height that a share of the flights stays below, m above ground, and the upper bound of it (NaN: too few flights to name one)."""

    share: float
    height: float
    bound: float


def ceilings(flights: xr.Dataset) -> list[Ceiling]:
    """Return the heights that 95 % and 99 % of the flights stay below, with their upper bounds (order statistics, 90 %)."""
    heights = outcomes(flights, "apogee_height")
    heights = heights[np.isfinite(heights)]
    if not heights.size:
        return []
    found = quantile_interval(heights, CEILINGS, CONFIDENCE)
    bounds = [float(high) if math.isfinite(high) else math.nan for high in found.high]
    return [Ceiling(share, float(np.quantile(heights, share)), bound) for share, bound in zip(CEILINGS, bounds, strict=True)]


class Margin(NamedTuple):
    """A margin: what it is, its unit, decimals, its quantiles over the flights (three numbers), or one value of the nominal flight and NaN beside it."""

    name: str
    unit: str
    decimals: int
    low: float
    middle: float
    high: float


def static_margins(mission: Mission, flights: xr.Dataset) -> list[Margin]:
    """Return the static margin at departure, at burnouts and at its smallest over the flights, calibres."""
    staged = len(mission.stage) > 1
    events = {"burnout": f"at burnout of {mission.stage[-1].name}" if staged else "at burnout"}
    for stage in reversed(mission.stage[:-1]):
        events |= {f"ignition {stage.name}": f"at ignition of {stage.name}", f"burnout {stage.name}": f"at burnout of {stage.name}"}
    rows = {"at departure": outcomes(flights, "rail_departure_margin")}
    rows |= {text: np.where(meaningful(flights), event_values(flights, event, "static_margin"), np.nan) for event, text in events.items()}
    rows["least in the climb"] = outcomes(flights, "static_margin_min")
    found = [Expected(f"static margin {text}", "calibres", 1, values) for text, values in rows.items()]
    return [Margin(row.name, row.unit, row.decimals, *row.quantiles()) for row in found if np.isfinite(row.values).any()]


def loop_margins(mission: Mission) -> list[Margin]:
    """Return the least gain and phase margins of each channel over the nominal flight, broken at the actuator; none for a vehicle that steers nothing."""
    from sixdof.study.loops.linear import linearise
    from sixdof.study.loops.margins import margins

    if not any(isinstance(part, Fins) and part.control for stage in mission.stage for part in stage.part):
        return []
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # of points at kinks of tables: of all points the least margin is told
            found = margins(linearise(mission, points=POINTS), broken_at="actuator")
    except ValueError:  # no demand turns it, or it is never live
        return []
    used = found.incidence.values <= math.radians(15.0)
    rows = []
    for channel in (str(name) for name in found["channel"].values):
        own = found.sel(channel=channel, broken_at="actuator").isel(point=used)
        gain = float(np.minimum(own.gain_margin_db, own.gain_reduction_db).min())
        rows.append(Margin(f"{channel} loop, gain", "dB", 1, math.nan, gain, math.nan))
        rows.append(Margin(f"{channel} loop, phase", "deg", 0, math.nan, float(own.phase_margin.min()) * _DEG, math.nan))
    return rows


POINTS = 12  # of a nominal flight at which its loops are judged
