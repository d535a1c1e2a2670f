"""The launch-day card: what to set, what to weigh, what to expect, how much wind is too much, and whether to go in the wind measured now."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.ensemble.request import whole
from sixdof.mission.files.incoming import check_ordinary
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.study.launch_card.contents import Now, card_dataset
from sixdof.study.launch_card.measured_wind import HAND, MeasuredWind, ReferenceWind, at_reference, measured_wind
from sixdof.study.launch_card.remedy import Change, Condition, Trial, changes
from sixdof.study.launch_card.verdict import NO_GO, Judged, decision, judged
from sixdof.study.launch_card.weighing import weighings
from sixdof.study.reading.result import outcomes
from sixdof.study.sweep.sweep import fly_conditions
from sixdof.study.variants.criteria import Criterion, check_names, criteria_of
from sixdof.study.variants.vary import NAMES
from sixdof.study.wind_limit.air import wind_mission, with_sounding
from sixdof.study.wind_limit.allowed import need_limits
from sixdof.study.wind_limit.climb import cut_short, ended_at, events_needed, time_needed
from sixdof.study.wind_limit.practice import wanted_of
from sixdof.study.wind_limit.wind_limit import wind_limit

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}(?:[ T]\d{2}:\d{2})?")
LIMIT_FLIGHTS = 60  # at most, of each wind that the limits are looked for with: 59 tell a limit "in 95 % of flights" from below
MOST_FLIGHTS = 100_000
WINDS, TOLERANCE = 4, 0.3  # of that search, m/s: coarser than its own, for the card is made while people wait
_HEAD = 4000  # bytes of a sounding that are searched for its date


def launch_card(
    mission: Mission,
    criteria: str | Criterion | Iterable[str | Criterion] | None = None,
    *,
    sounding: str | Path | None = None,
    wind: str | None = None,
    field: str | Path | float | None = None,
    flights: int = 100,
    seed: int = 0,
    directions: int = 8,
    limits: xr.Dataset | None = None,
    threads: int | None = None,
    progress: bool = True,
) -> xr.Dataset:
    """Return the card of a launch day: settings, weights to check, margins, wind limits, expected numbers, and go or no-go.

    The flights are those that `wind_limit` flies: with turbulence that grows with the wind, and without what [[failure]] lets go wrong by chance, so that
    the numbers are those of a flight that goes right.

    Parameters
    ----------
    mission : a stack or a single stage, guided or passive.
    criteria : what has to hold, as for `compare`; None: those of `sixdof.preflight.wind_criteria`, common practice.
    sounding : path of this morning's air (CSV or netCDF), in place of the mission's air and wind; see [air.sounding].
    wind : the wind measured now at the rail, such as "5 m/s from 250 deg at 2 m" (2 m if no height is named). It is brought to the mission's reference
        height by the mission's own profile and flown in place of the wind that [disperse] draws. None: the card leaves room for it, and its numbers
        are those of the winds the mission draws.
    field : where everything has to land, one criterion more: a GeoJSON file as `sixdof.preflight.landing` takes it, or a radius about the rail
        such as "600 m"; anywhere if omitted.
    flights, seed : of the ensembles. Of 100, one may miss a criterion "in 95 % of flights" and it counts as surely held (90 %), five as just held.
    directions : how many directions the wind limits are told for; 0 leaves them out.
    limits : what `wind_limit` returned for this mission and this air before, so that it is not looked for again; with the criteria of it where none are given.
    threads, progress : as in `sixdof.disperse`.

    Returns
    -------
    Dataset
        `decision` (a flag: -1 no wind measured, 0 go, 1 marginal, 2 no-go), and along their own dims: settings, weighings (kg, m), margins, expected
        numbers (quantity, share 5, 50, 95 %), ceilings (m), criteria with what they have to spare, wind limits (direction), and of a no-go the changes
        that were tried, the smallest that helps first. `sixdof.report` makes a page of it, `sixdof.plot.plot_launch_card` one sheet to print.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission, a criterion, a wind or a number of flights.
    MissionError
        For a sounding that cannot be read.

    Examples
    --------
    >>> card = sixdof.preflight.launch_card(
    ...     mission, "tilt at burnout < 15 deg in 95 % of flights", wind="2 m/s from 255 deg", flights=40, directions=0, progress=False
    ... )
    >>> int(card.decision), round(float(card.wind_factor), 2)
    (1, 1.29)
    """
    check_mission(mission, "launch_card")
    day = wind_mission(mission if sounding is None else with_sounding(mission, sounding), "grows", False)
    options = {"flights": whole(flights, "flights", 1, MOST_FLIGHTS), "seed": seed, "threads": threads, "progress": progress}
    criteria = _of_limits(limits, criteria, field) if limits is not None else criteria
    wanted = wanted_of(day, criteria, field)
    if not wanted:
        raise ValueError('launch_card needs criteria: without one there is no go or no-go; give some, such as "lean at burnout < 15 deg in 95 % of flights"')
    check_names(wanted, _names(day))
    measured = None if wind is None else measured_wind(wind)
    reference = at_reference(day, measured) if measured is not None else _unmeasured(day)
    own = {"wind.speed": reference.speed, "wind.blows_from": reference.blows_from} if measured is not None else {}
    ensemble = fly_conditions(day, [own], who="launch_card", **options).isel(condition=0, drop=True)
    found = judged(wanted, ensemble)
    if limits is None and directions:
        limits = wind_limit(day, wanted, directions=directions, winds=WINDS, tolerance=TOLERANCE, **options | {"flights": min(flights, LIMIT_FLIGHTS)})
    now = Now(measured, reference, _changes(day, wanted, found, ensemble, reference, options) if measured is not None and decision(found) == NO_GO else ())
    weighed = weighings(day, lambda: _moving(day, ensemble, options))
    card = card_dataset(day, ensemble, weighed, found, now, limits)
    return card.assign_attrs(_about(day, ensemble, now, sounding, flights, seed))


def _names(mission: Mission) -> dict[str, list[str]]:
    """Return the names of bodies, events, rules ... that a criterion may speak of, by dim."""
    points = [str(number) for number in range(1, len(mission.guidance.waypoint) + 1)]
    return {dim: list(names(mission)) for dim, names in NAMES.items()} | {"waypoint_number": points}


def _unmeasured(mission: Mission) -> ReferenceWind:
    """Return the factor that a wind measured by hand would take, without a wind; NaN where the mission's wind is calm below."""
    try:
        return at_reference(mission, MeasuredWind(math.nan, 0.0, HAND))
    except ValueError as error:
        return ReferenceWind(math.nan, math.nan, math.nan, math.nan, str(error), HAND)


def _of_limits(limits: xr.Dataset, criteria, field):
    """Return the criteria of wind limits that were found before. Raises ValueError for what is no such limits, and for limits of other criteria."""
    need_limits(limits, "launch_card: limits")
    if field is not None:
        raise ValueError("launch_card: limits were found for their own criteria; find them with the landing among these, and leave field out")
    own = [str(name) for name in limits["criterion"].values]
    if criteria is not None and [str(one) for one in criteria_of(criteria)] != own:
        raise ValueError(f"launch_card: limits were found for other criteria ({'; '.join(own)}); leave criteria out, or limits")
    return own if criteria is None else criteria


def _changes(mission: Mission, criteria: Sequence[Criterion], found: Sequence[Judged], flights: xr.Dataset, reference, options: dict) -> list[Change]:
    """Return what turns the no into a yes. flights : of the card, whose draws every trial flies, no longer than the criteria need (`wind_limit.climb`)."""
    events = events_needed(criteria)
    needed = {name for one in criteria if one.subject is not None for name in one.subject.needs} | ({"event_time"} if events else set())
    keep = None if any(one.subject is None for one in criteria) else sorted(needed)
    limit = time_needed(flights, events) if events else math.inf

    def flown(own: Mission, conditions: list[Condition]) -> list[xr.Dataset]:
        ds = fly_conditions(own, conditions, keep=keep, who="launch_card", **options)
        return [ds.isel(condition=k, drop=True) for k in range(len(conditions))]

    def fly(trials: Sequence[Trial]) -> list[list[Judged]]:
        results: dict[int, list[Judged]] = {}
        for number in dict.fromkeys(id(own) for own, _ in trials):  # trials of one mission share its tables
            which = [k for k, (own, _) in enumerate(trials) if id(own) == number]
            own = trials[which[0]][0]
            short = ended_at(own, limit)
            for k, ds in zip(which, flown(short or own, [trials[k][1] for k in which]), strict=True):
                late = short is not None and cut_short(ds, events).any()
                results[k] = judged(criteria, flown(own, [trials[k][1]])[0] if late else ds)
        return [results[k] for k in range(len(trials))]

    return changes(mission, reference, found, fly)


# ---------------------------------------------------------------- weights of a mission that does not disperse them

_MASS_STEP, _SHIFT_STEP, _FEW = 1.02, 0.005, 20  # factor and m by which mass and balance point are moved, and the flights that are


def _moving(mission: Mission, ensemble: xr.Dataset, options: dict) -> tuple[tuple[float, str], tuple[float, str]]:
    """Return the share of dry mass and the shift of the balance point (m) that move the apogee and the margin at departure by their standard deviations.

    Or by 1 % and a tenth of a calibre, where the outcomes hardly vary: nobody weighs and balances more closely than that tells.
    """
    conditions = [{}, {"vehicle.mass": _MASS_STEP}, {"vehicle.cg": _SHIFT_STEP}]
    few = options | {"flights": min(_FEW, options["flights"])}
    ds = fly_conditions(mission, conditions, keep=["apogee_height", "rail_departure_margin"], who="launch_card", **few)
    apogee, margin = (outcomes(ensemble, name) for name in ("apogee_height", "rail_departure_margin"))
    by_mass = max(float(np.nanstd(apogee)), 0.01 * float(np.nanmean(apogee))) / _slope(ds, "apogee_height", 1, _MASS_STEP - 1.0)
    by_shift = max(float(np.nanstd(margin)), 0.1) / _slope(ds, "rail_departure_margin", 2, _SHIFT_STEP)
    return (by_mass, "the apogee by its own sd, or 1 %"), (by_shift, "the static margin at departure by its own sd, or 0.1 calibre")


def _slope(ds: xr.Dataset, name: str, k: int, step: float) -> float:
    """Return how fast an outcome moves with what condition k changes; NaN where it does not move."""
    before, after = (outcomes(ds.isel(condition=which), name) for which in (0, k))
    slope = abs(float(np.nanmean(after - before))) / step
    return slope if slope > 0.0 else math.nan


# ---------------------------------------------------------------- what the card says of itself


def _about(mission: Mission, ensemble: xr.Dataset, now: Now, sounding, flights: int, seed: int) -> dict:
    about = {
        "title": mission.title or mission.stage[0].name,
        "site": mission.site.name,
        "source": ensemble.attrs.get("source", "source unknown"),
        "seed": seed,
        "flights": flights,
        "wind_law": now.reference.law,
        "rail_azimuth": mission.rail.azimuth,
        "site_altitude": mission.site.altitude,
        "guided": int(any(part.kind == "fins" and part.control for stage in mission.stage for part in stage.part)),
        "mission": mission.to_toml(),
    }
    return about | ({} if sounding is None else {"sounding": Path(sounding).name, "sounding_date": sounding_date(sounding)})


def sounding_date(path: str | Path) -> str:
    """Return when a sounding was taken: the first date (2031-05-04 06:00) in the head of a text file, else when the file was written (UTC)."""
    check_ordinary(path)
    with open(path, "rb") as file:
        found = _DATE.search(file.read(_HEAD).decode("utf-8", "replace"))
    if found is not None:
        return found[0].replace("T", " ")
    return f"file of {datetime.fromtimestamp(Path(path).stat().st_mtime, UTC):%Y-%m-%d %H:%M} UTC"
