"""How much wind: the largest mean wind from each direction for which all criteria hold, with an interval and the criterion that binds."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.reading.practice import SAFETY_CODE_WIND
from sixdof.study.sweep.conditions import reference_height
from sixdof.study.uncertainty.statistics import check_share
from sixdof.study.variants.comparison import all_names
from sixdof.study.variants.criteria import Criterion, check_names
from sixdof.study.wind_limit.air import share_at, wind_as_written, wind_mission
from sixdof.study.wind_limit.flights import DOUBTS, WindFlights
from sixdof.study.wind_limit.practice import wanted_of
from sixdof.study.wind_limit.ranks import flights_to_hold
from sixdof.study.wind_limit.search import fly_grid, refine
from sixdof.study.wind_limit.table import limits_of

GIVEN, PRACTICE = "given", "common practice"
MOST_WIND = 60.0  # m/s
ANEMOMETER = 2.0  # m, where a hand-held one is


class Asked(NamedTuple):
    """What is asked of a search, checked. need : (criteria, levels). grid : winds, m/s, rising from calm."""

    criteria: list[Criterion]
    source: str
    need: np.ndarray
    grid: np.ndarray
    tolerance: float


def wind_limit(
    mission: Mission,
    criteria: str | Criterion | Iterable[str | Criterion] | None = None,
    *,
    directions: int | Sequence[float | str] = 8,
    flights: int = 60,
    seed: int = 0,
    highest: float | str = SAFETY_CODE_WIND,
    confidence: float = 0.9,
    turbulence: str = "grows",
    failures: bool = False,
    field: str | Path | float | None = None,
    winds: int = 5,
    tolerance: float | str = 0.2,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Return the largest mean wind from each direction for which all criteria hold.

    The same drawn flights (same scatter, same noise) are flown at a grid of winds from calm up; from each direction the first failure with rising
    wind is then closed in on, by the outcome of the flight that decides: with "in 95 % of flights" that is the 57th best of 60. Winds are told at
    `air.wind.reference_height`, 10 m if omitted, and at 10 m where a sounding or a table tells the wind level by level; how the wind changes
    with height (shear, veer) is the mission's, scaled and turned as a whole. What the mission disperses of the mean wind is put aside:
    every flight has the wind asked for.

    The interval holds the wind at which the true share of all flights falls to the one asked for, with the confidence, where outcomes get worse
    steadily with wind: at its lower end so many of the flights hold that the criterion is shown to hold, at its upper end so few that it is shown to
    fail (order statistics, see `sixdof.stats.quantile_interval`). It is about the draws, not about errors of the model. Too few flights show
    nothing from below: the lower end is 0 then (59 flights are enough for 95 % with 90 %).

    Parameters
    ----------
    criteria : text, Criterion or several, as in `compare`; None: those of common practice (`wind_criteria`).
    directions : how many, evenly round the compass from north, or a list of those the wind comes FROM ("255 deg", or rad)
    flights : at each wind from each direction
    seed : of the draws and the noise
    highest : wind up to which is looked, m/s or text; 20 mph, beyond which safety codes launch nothing
    confidence : of each interval
    turbulence : "grows" (Dryden, its strength from each flight's own mean wind, also where the mission has none), "as written" or "none".
        Discrete gusts of the mission are flown as they are.
    failures : True draws the mission's `[[failure]]` entries too; their rates do not change with wind. Certain ones always happen.
    field : where everything has to land, one criterion more: a GeoJSON file, or a radius round the rail within which every stage has to, m or text
    winds : how many winds the grid has, from calm to `highest`: what fails and holds again between two of them is not seen
    tolerance : m/s or text; the limit lies between two winds flown that are not farther apart
    threads, progress, guidance, control : as in `sixdof.disperse`

    Returns
    -------
    Dataset
        `limit` (direction), m/s, with `limit_low`, `limit_high`; `limit_kind`, a flag: found, not_in_calm (fails in calm already: 0), beyond_highest
        (all hold up to `highest`: a bound). `binds` (direction): number of the criterion that fails first, -1 for none. `resolution` (direction): how far
        the two winds flown are apart that the limit lies between. `holds_again` (direction): lowest wind flown above the limit at which all hold again,
        NaN for none. `criterion_limit`, `_low`, `_high` (direction, criterion): of each alone, infinite where it holds throughout; read between the
        winds flown, so less sharp where it does not bind. `wind` (direction, point): all winds flown; `share`, `value` (direction, point, criterion):
        of flights that hold, and the outcome at the share asked for, NaN for a flag. `required`, `bound` (criterion): the share asked for, and what
        the outcome is held against, in `value_units`.

    Raises
    ------
    ValueError, TypeError, MissionError
        For criteria, directions or numbers that cannot be, for a sounding that is calm at 10 m, and as `sixdof.disperse`.

    Examples
    --------
    >>> found = sixdof.preflight.wind_limit(mission, "tilt_max < 8 deg in 50 % of flights", directions=["270 deg"], flights=4, winds=3, progress=False)
    >>> bool((found.limit_low <= found.limit).all() and (found.limit <= found.limit_high).all())
    True
    """
    blows_from = directions_of(directions)
    flown_mission, asked = prepared(mission, criteria, flights, highest, confidence, turbulence, failures, field, winds, tolerance)
    how = {"seed": seed, "threads": threads, "progress": progress, "guidance": guidance, "control": control}
    fly = WindFlights(flown_mission, asked.criteria, [{"wind.blows_from": float(one)} for one in blows_from], flights, confidence, **how)
    flown = fly_grid(fly, len(blows_from), asked.grid, asked.need, flights)
    refine(fly, flown, asked.tolerance)
    return with_attributes(limits_of(flown, blows_from, asked.criteria), fly, asked, turbulence, mission)


def prepared(mission: Mission, criteria, flights, highest, confidence, turbulence, failures, field, winds, tolerance) -> tuple[Mission, Asked]:
    """Return the mission that is flown and what is asked of the search; every argument checked as `wind_limit` says."""
    check_mission(mission, "wind_limit")
    check_share(confidence, "confidence")
    top, close = _speed(highest, "highest", MOST_WIND), _speed(tolerance, "tolerance", 5.0)
    for name, value, least in (("flights", flights, 2), ("winds", winds, 2)):
        if isinstance(value, bool) or not isinstance(value, int | np.integer) or value < least:
            raise ValueError(f"wind_limit: {name} = {shown(value)} must be a whole number, {least} or more")
    wanted = wanted_of(mission, criteria, field)
    if not wanted:
        raise ValueError('wind_limit needs criteria; give some, such as ["lean at burnout < 10 deg in 95 % of flights"], or None for common practice')
    flown = wind_mission(mission, turbulence, failures)
    check_names(wanted, all_names([flown]))
    need = np.array([flights_to_hold(flights, one.share, confidence) for one in wanted])
    return flown, Asked(wanted, PRACTICE if criteria is None else GIVEN, need, np.linspace(0.0, top, winds), close)


def _speed(value, name: str, most: float) -> float:
    try:
        speed = parse(value, "m/s")
    except QuantityError as error:
        raise ValueError(f"wind_limit: {name}: {error}") from None
    if not 0.0 < speed <= most:
        raise ValueError(f'wind_limit: {name} = {shown(value)} must be above 0 and at most {most:g} m/s; write, for example, "8 m/s"')
    return speed


def directions_of(directions: int | Sequence[float | str]) -> np.ndarray:
    """Return directions that the wind comes from, rad true, 0 to 2 pi. Raises ValueError for none, twice the same, or what is no direction."""
    if isinstance(directions, int | np.integer) and not isinstance(directions, bool):
        if not 1 <= directions <= 360:
            raise ValueError(f"wind_limit: directions = {directions} must be 1 to 360 in number, or a list of directions")
        return np.arange(directions) * (2.0 * math.pi / directions)
    if isinstance(directions, str | bool | float) or not isinstance(directions, Iterable):
        raise ValueError(f'wind_limit: directions = {shown(directions)} must be a number of directions, or a list such as ["255 deg", "300 deg"]')
    try:
        found = [parse(one.item() if isinstance(one, np.generic) else one, "rad") % (2.0 * math.pi) for one in directions]
    except QuantityError as error:
        raise ValueError(f"wind_limit: directions: {error}") from None
    if not found or len(set(found)) < len(found):
        raise ValueError("wind_limit: directions are one or more, each a different one")
    return np.array(found)


def with_attributes(ds: xr.Dataset, fly: WindFlights, asked: Asked, turbulence: str, mission: Mission) -> xr.Dataset:
    """Return limits with what they rest on."""
    speed, blows_from = wind_as_written(mission)
    known = {name: fly.attrs[name] for name in ("title", "source", "mission", "seed") if name in fly.attrs}
    own: dict[str, Any] = {
        "flights": fly.flights,
        "confidence": fly.confidence,
        "highest": float(asked.grid[-1]),
        "tolerance": asked.tolerance,
        "turbulence": turbulence,
        "reference_height": reference_height(mission),
        "share_at_2_m": share_at(mission, ANEMOMETER),
        "level_by_level": int(not mission.air.one_wind),
        "wind_speed": speed,
        "wind_blows_from": blows_from,
        "rail_elevation": float(mission.rail.elevation),
        "rail_azimuth": float(mission.rail.azimuth),
        "criteria_source": asked.source,
    }
    return ds.assign_attrs(known | own | {name: float(most) for name, most in zip(DOUBTS, fly.doubts, strict=True)} | ds.attrs)
