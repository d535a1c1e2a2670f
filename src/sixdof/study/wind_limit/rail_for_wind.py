"""Which elevation and azimuth of the rail allow most wind, and how much more than the rail as written."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.reading.practice import SAFETY_CODE_WIND
from sixdof.study.variants.criteria import Criterion
from sixdof.study.wind_limit.air import wind_as_written
from sixdof.study.wind_limit.first_failure import Flown
from sixdof.study.wind_limit.flights import WindFlights
from sixdof.study.wind_limit.ranks import ASKED
from sixdof.study.wind_limit.search import close_in, fly_grid
from sixdof.study.wind_limit.table import limit_entries
from sixdof.study.wind_limit.wind_limit import directions_of, prepared, with_attributes

ELEVATIONS = tuple(math.radians(angle) for angle in (88.0, 86.0, 84.0, 82.0, 80.0))
_SAME = 1e-9  # rad
_DIMS = ("direction", "rail_elevation", "rail_azimuth")


def rail_for_wind(
    mission: Mission,
    criteria: str | Criterion | Iterable[str | Criterion] | None = None,
    *,
    directions: int | Sequence[float | str] | None = None,
    elevations: Sequence[float | str] | None = None,
    azimuths: Sequence[float | str] | None = None,
    flights: int = 40,
    seed: int = 0,
    highest: float | str = SAFETY_CODE_WIND,
    confidence: float = 0.9,
    turbulence: str = "grows",
    failures: bool = False,
    field: str | Path | float | None = None,
    winds: int = 4,
    tolerance: float | str = 0.25,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Return how much wind each setting of the rail allows, and the best one for each direction of the wind.

    Each setting has a limit as `wind_limit` finds it, on the same drawn flights; only the settings that can be best are closed in on, the others are
    read between the winds of the grid. Of settings that differ by less than `tolerance` the one that turns the rail least is taken, so the rail stays as
    written where nothing is gained. What is drawn about the rail's angles stays.

    Parameters
    ----------
    criteria, flights, seed, highest, confidence, turbulence, failures, field, winds, tolerance, threads, progress, guidance, control
        As in `wind_limit`. A criterion on the landing belongs to them: leaning the rail moves where it lands.
    directions : as in `wind_limit`; None: that of the mission's own wind, or of its sounding at 10 m
    elevations : of the rail, text or rad; None: 88, 86, 84, 82 and 80 deg
    azimuths : that the rail leans towards, text or rad true; None: into each wind and away from it, and as written

    Returns
    -------
    Dataset
        `limit`, `limit_low`, `limit_high`, `limit_kind`, `binds`, `resolution`, `holds_again` (direction, rail_elevation, rail_azimuth) as in
        `wind_limit`; `limit_as_written` (direction); `best_elevation`, `best_azimuth` (rad), `best_limit`, `gain` (direction), the gain against the rail
        as written, m/s; `most_limit`, `most_elevation`, `most_azimuth` (direction): the setting that allows most, however far it turns the rail.
        `all_round_elevation`, `all_round_azimuth`, `all_round_limit`, `all_round_as_written`: the setting whose least limit over all directions is
        largest, and that of the rail as written.

    Raises
    ------
    ValueError, TypeError, MissionError
        As `wind_limit`, and for angles that no rail has.

    Examples
    --------
    >>> one = {"directions": ["270 deg"], "elevations": ["80 deg"], "azimuths": ["270 deg"], "flights": 4, "winds": 2, "progress": False}
    >>> found = sixdof.preflight.rail_for_wind(mission, "rail_departure_incidence < 12 deg in 50 % of flights", **one)
    >>> bool(found.gain >= 0.0)
    True
    """
    flown_mission, asked = prepared(mission, criteria, flights, highest, confidence, turbulence, failures, field, winds, tolerance)
    blows_from = directions_of([wind_as_written(mission)[1]] if directions is None else directions)
    written = float(mission.rail.elevation), float(mission.rail.azimuth)
    up = np.array(ELEVATIONS if elevations is None else _angles(elevations, "elevations"))
    if not ((up > 0.0) & (up <= 0.5 * math.pi + _SAME)).all():
        raise ValueError(f"rail_for_wind: elevations: {math.degrees(max(up, key=abs)):g} deg is not an elevation of a rail, above 0 and at most 90 deg")
    towards = _towards(blows_from, written[1]) if azimuths is None else np.array(_angles(azimuths, "azimuths")) % (2.0 * math.pi)
    settings = [written, *((float(e), float(a)) for e in up for a in towards)]
    cases = [{"wind.blows_from": float(one), "rail.elevation": e, "rail.azimuth": a} for one in blows_from for e, a in settings]
    how = {"seed": seed, "threads": threads, "progress": progress, "guidance": guidance, "control": control}
    fly = WindFlights(flown_mission, asked.criteria, cases, flights, confidence, **how)
    flown = fly_grid(fly, len(cases), asked.grid, asked.need, flights)
    close_in(fly, flown, (ASKED,), asked.tolerance, lambda all_of_them: _in_the_running(all_of_them, len(settings)))
    ds = _table(flown, blows_from, up, towards, [str(one) for one in asked.criteria])
    return with_attributes(_with_best(ds, flown, settings, asked.tolerance), fly, asked, turbulence, mission)


def _angles(written: Sequence[float | str], name: str) -> list[float]:
    if isinstance(written, str) or not isinstance(written, Iterable):
        raise ValueError(f'rail_for_wind: {name} must be a list of angles such as ["88 deg", "84 deg"], not {shown(written)}')
    try:
        found = [parse(one.item() if isinstance(one, np.generic) else one, "rad") for one in written]
    except QuantityError as error:
        raise ValueError(f"rail_for_wind: {name}: {error}") from None
    if not found or len(set(found)) < len(found):
        raise ValueError(f"rail_for_wind: {name} are one or more, each a different one")
    return found


def _towards(blows_from: np.ndarray, written: float) -> np.ndarray:
    """Return azimuths to try: into each wind, away from it, and as written; those within rounding of each other once."""
    found: list[float] = []
    for angle in (*blows_from, *(blows_from + math.pi), written):
        angle = float(angle) % (2.0 * math.pi)
        if all(abs(math.remainder(angle - other, 2.0 * math.pi)) > _SAME for other in found):
            found.append(angle)
    return np.array(sorted(found))


def _in_the_running(flown: list[Flown], settings: int) -> list[int]:
    """Return the cases that can be the best of their direction, and the rail as written, the first of each."""
    found = []
    for start in range(0, len(flown), settings):
        here = [one.crossing(ASKED) for one in flown[start : start + settings]]
        best = max(one.low for one in here)
        found += [start + k for k, one in enumerate(here) if k == 0 or one.high > best]
    return found


def _table(flown: list[Flown], blows_from: np.ndarray, up: np.ndarray, towards: np.ndarray, criteria: list[str]) -> xr.Dataset:
    size = 1 + up.size * towards.size
    settings = [one for k, one in enumerate(flown) if k % size]
    entries = limit_entries(settings, _DIMS, (blows_from.size, up.size, towards.size))
    coords = {
        "direction": ("direction", blows_from, {"units": "rad", "long_name": "direction the mean wind comes from, true"}),
        "rail_elevation": ("rail_elevation", up, {"units": "rad", "long_name": "elevation of the rail"}),
        "rail_azimuth": ("rail_azimuth", towards, {"units": "rad", "long_name": "azimuth of the rail, true"}),
        "criterion": ("criterion", criteria, {"long_name": "criterion"}),
    }
    return xr.Dataset(entries, coords, {"criteria": "\n".join(criteria)})


def _with_best(ds: xr.Dataset, flown: list[Flown], settings: list[tuple[float, float]], tolerance: float) -> xr.Dataset:
    """Return the table with the best setting of each direction, and the one that is best all round."""
    limits = np.array([one.crossing(ASKED).at for one in flown]).reshape(-1, len(settings))
    turned = np.array([_turned(settings[0], one) for one in settings])
    best = [_least_turned(row, turned, tolerance) for row in limits]
    rows = np.arange(len(best))
    all_round = limits.min(axis=0)
    most = limits.argmax(axis=1)
    round_best = _least_turned(all_round, turned, tolerance)
    by_direction = {
        "limit_as_written": (limits[:, 0], "m/s", "largest mean wind for which all criteria hold, rail as written"),
        "best_limit": (limits[rows, best], "m/s", "largest mean wind for which all criteria hold, best rail"),
        "best_elevation": (np.array(settings)[best, 0], "rad", "elevation of the best rail: turned least of those that allow most but for the tolerance"),
        "best_azimuth": (np.array(settings)[best, 1], "rad", "azimuth of the best rail, true"),
        "most_limit": (limits[rows, most], "m/s", "largest mean wind for which all criteria hold, of all rails"),
        "most_elevation": (np.array(settings)[most, 0], "rad", "elevation of the rail that allows most wind, however far turned"),
        "most_azimuth": (np.array(settings)[most, 1], "rad", "azimuth of the rail that allows most wind, true"),
        "gain": (limits[rows, best] - limits[:, 0], "m/s", "wind that the best rail allows more than the rail as written"),
    }
    overall = {
        "all_round_elevation": (settings[round_best][0], "rad", "elevation of the rail whose least limit over the directions is largest"),
        "all_round_azimuth": (settings[round_best][1], "rad", "azimuth of the rail whose least limit over the directions is largest, true"),
        "all_round_limit": (all_round[round_best], "m/s", "its least limit over the directions"),
        "all_round_as_written": (all_round[0], "m/s", "least limit over the directions, rail as written"),
    }
    entries = {name: ("direction", values, {"units": units, "long_name": text}) for name, (values, units, text) in by_direction.items()}
    return ds.assign(entries | {name: ((), value, {"units": units, "long_name": text}) for name, (value, units, text) in overall.items()})


def _turned(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Return the angle between two rails, rad; a setting is (elevation, azimuth)."""
    (up, towards), (other_up, other_towards) = one, other
    cosine = math.sin(up) * math.sin(other_up) + math.cos(up) * math.cos(other_up) * math.cos(towards - other_towards)
    return math.acos(min(max(cosine, -1.0), 1.0))


def _least_turned(limits: np.ndarray, turned: np.ndarray, tolerance: float) -> int:
    """Return the setting that turns the rail least, of those whose limit is the largest but for the tolerance."""
    good = np.flatnonzero(limits >= limits.max() - tolerance)
    return int(good[np.argmin(turned[good])])
