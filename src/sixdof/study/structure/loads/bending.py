"""Axial force, shear and bending moment along what flies together, in flight: under inertia relief, over whole drawn flights and their branches."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.results.names import event_names
from sixdof.study.probes.columns import Log, Sensed
from sixdof.study.probes.columns import layout as ly
from sixdof.study.structure.loads.bending_air import Along, air_along
from sixdof.study.structure.loads.bending_beam import Beam, beam_of, motor_section, reacted
from sixdof.study.structure.loads.bending_dataset import POINTS, bending_dataset
from sixdof.study.structure.loads.bending_drag import drag_ahead
from sixdof.study.structure.loads.bending_flights import FAILING, FLIGHTS, OneFlight, asked_flights, each_one, flew
from sixdof.study.structure.loads.bending_instants import Instants, aft_instants, free_rows, instants_of
from sixdof.study.structure.loads.bending_mass import Spread, spread_of
from sixdof.study.structure.loads.bending_sections import joints_of, stressed, walls_at
from sixdof.vehicle.mounting import placed_motors

NEAR_RAIL = 1.0  # s after departure that count as leaving the rail


class Peak(NamedTuple):
    """An instant: time, s; Mach number; incidence, rad; dynamic pressure, Pa; height, m; number in WHEN; 1 with live fins."""

    time: float
    mach: float
    incidence: float
    pressure: float
    height: float
    when: float
    live: float


class Bent(NamedTuple):
    """What bends the stages first .. last in one flight.

    station : (POINTS,) m. moment, shear, compression : (POINTS,) largest over time, N m and N. at_peak : (POINTS, 3) moment, shear and compression at the
    instant of the largest moment. moment_max, station_max : N m, m. sources : (SOURCES,) shares of it. joint_moment : {joint: (moment, Peak)}.
    parts : {part: (share of what it carries, stress, buckles, Peak)}. history : (rows, 4) time, largest moment along the body, dynamic pressure, incidence.
    """

    stages: tuple[int, int]
    station: np.ndarray
    moment: np.ndarray
    shear: np.ndarray
    compression: np.ndarray
    at_peak: np.ndarray
    moment_max: float
    station_max: float
    peak: Peak
    sources: np.ndarray
    joints: dict[str, tuple[float, Peak]]
    parts: dict[str, tuple[float, float, bool, Peak]]
    history: np.ndarray


def bending(
    mission: Mission | xr.Dataset,
    flights: int = FLIGHTS,
    *,
    seed: int = 0,
    failing: int = FAILING,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Return axial force, shear and bending moment along what flies together, in drawn flights, at every tick of free flight.

    Under inertia relief: the loads of the air by station (slender body, cross flow, every panel with deflection and carry-over), all of them
    the kernel's own and adding up to its force and moment, and the motor's, against the mass as drawn times the acceleration that it has there. Both
    planes; sizes are those of the vector. No bending of the axis, no vibration: a load that comes on suddenly may make up to twice of it.

    Parameters
    ----------
    mission : Mission, or an ensemble as `sixdof.disperse` returns it, whose flights are then flown again.
    flights : how many flights are drawn, 0, 1, ... of `seed`.
    failing : so many flights more with each failure of the mission made certain alone; they stand behind the drawn ones (`forced` = 1) and are
        in no quantile.
    threads, progress, guidance, control : as in `sixdof.disperse`.

    Returns
    -------
    Dataset
        Dims flight, configuration (what flies together, front stage first, then each stage behind it by itself once it has separated), point (along
        it, `station`), joint, part, share, source. Of each flight and configuration `bending_moment`, `shear_force`, `compression` (flight,
        configuration, point): the largest over time; `bending_band` (share, ..): quantiles over the drawn flights. `moment_max` with
        `moment_station`, `moment_time`, `moment_mach`, `moment_incidence`, `moment_pressure`, `moment_when`, `moment_live`, and
        `moment_source` (.., source), what makes it. `joint_moment` (flight, joint) with its time, Mach and incidence, `joint_share` of
        `joint_strength`, `joint_required`: 1.5 times the 95 % quantile. `wall_share` (flight, part) of strength or buckling, with its time
        and Mach, `wall_stress`, `wall_buckles`. Of the fastest drawn flight `history_..` over `row` and `along_..` at its worst instants.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission or an ensemble, or no number of flights, and where no flight leaves the rail.
    MissionError, LawError
        As `sixdof.fly`.

    Examples
    --------
    >>> found = sixdof.workshop.bending(mission, 3)
    >>> bool((found.moment_max > 0.0).all())
    True
    """
    asked = asked_flights("bending", mission, flights, seed, failing, (guidance, control))
    found = each_one(
        asked,
        lambda one: (one.number, one.branch, one.forced, fastest(one), bent_flight(one)),
        threads=threads,
        progress=progress,
        guidance=guidance,
        control=control,
    )
    return bending_dataset("bending", asked.mission, asked.seed, found)


def fastest(one: OneFlight) -> float:
    """Return a flight's largest airspeed, m/s."""
    return float(np.nanmax(one.track.log[:, Log.AIRSPEED])) if len(one.track.log) else math.nan


def bent_flight(one: OneFlight) -> list[Bent]:
    """Return what bends every configuration of a flight: those that its front stage flew in, and every stage behind it by itself."""
    if not flew(one):
        return []
    front = list(instants_of(one.track, free_rows(one.track.log)))
    aft = [aft_instants(one.plan, one.draw, one.flown, stage) for stage in range(1, one.plan.count)]
    return [_bent(one, at) for at in [*front, *aft] if at is not None]


def sections_of(one: OneFlight, at: Instants, stations: np.ndarray) -> tuple[Beam, Along, Spread]:
    """Return the section loads at instants ahead of stations (n,), m, and what they are made of."""
    shape, stages = one.plan.shape(at.first, at.last), (at.first, at.last)
    air = air_along(at, shape, stations)
    spread = spread_of(one.mission, stages, shape, one.draw, stations)
    drag = drag_ahead(one.mission, range(at.first, at.last + 1), shape, stations, np.linalg.norm(at.air, axis=1) / at.sound)
    return beam_of(at, air, drag, spread, stations, mount_station(one.mission, stages, shape)), air, spread


def mount_station(mission: Mission, stages: tuple[int, int], shape) -> float:
    """Return where the motors of the last stage push its airframe: the aft end of their mounts, m."""
    motors = placed_motors(mission, range(stages[0], stages[1] + 1), shape)[-1]
    return min(max((placed.aft for placed in motors), default=shape.length), shape.length)


def _bent(one: OneFlight, at: Instants) -> Bent:
    shape = one.plan.shape(at.first, at.last)
    even = np.linspace(0.0, shape.length, POINTS)
    joints = [j for j in joints_of(one.mission) if at.first + (j.kind == "stage") <= j.stage <= at.last]
    places = np.array([shape.stage_x0[j.stage - at.first] + j.station for j in joints])
    stations = np.unique(np.concatenate([even, places]))
    beam, air, spread = sections_of(one, at, stations)
    moment, on = beam.moment, np.searchsorted(stations, even)
    row, worst = np.unravel_index(np.argmax(moment), moment.shape)
    log = (one.track.log if at.first == 0 else one.flown.logs[at.first])[at.row]
    held = {j.name: int(np.searchsorted(stations, place)) for j, place in zip(joints, places)}
    joint_rows = {name: int(np.argmax(moment[:, k])) for name, k in held.items()}
    return Bent(
        (at.first, at.last),
        even,
        moment[:, on].max(axis=0),
        beam.shear[:, on].max(axis=0),
        beam.compression[:, on].max(axis=0),
        np.column_stack([moment[row, on], beam.shear[row, on], beam.compression[row, on]]),
        float(moment[row, worst]),
        float(stations[worst]),
        _peak(one, at.first, log, int(row)),
        _sources(one, at, int(row), int(worst), stations, beam, air, spread),
        {name: (float(moment[k, held[name]]), _peak(one, at.first, log, k)) for name, k in joint_rows.items()},
        _parts(one, at.first, shape, stations, beam, log),
        np.column_stack([log[:, Log.TIME], moment.max(axis=1), log[:, Log.DYNAMIC_PRESSURE], log[:, Log.INCIDENCE]]),
    )


def _peak(one: OneFlight, body: int, log: np.ndarray, row: int) -> Peak:
    names, events = event_names(one.mission), one.flown.events[body]
    time = log[row, Log.TIME]
    departure, apogee = events[names.index("rail_departure"), 0], events[names.index("apogee"), 0]
    when = 2.0 if log[row, Log.THRUST] <= 0.0 else 1.0
    when = 0.0 if time < departure + NEAR_RAIL else 3.0 if time > apogee else when
    live = body == 0 and log[row, ly.LOG_COLUMNS + 3 * one.track.fins + Sensed.ENABLED] > 0.5 and one.track.fins > 0
    values = log[row, [Log.MACH, Log.INCIDENCE, Log.DYNAMIC_PRESSURE, Log.HEIGHT]]
    return Peak(float(time), *map(float, values), when, float(live))


def _sources(one: OneFlight, at: Instants, row: int, worst: int, stations: np.ndarray, beam: Beam, air: Along, spread: Spread) -> np.ndarray:
    """Return the shares (SOURCES,) of the largest moment: each system of loads with the acceleration that it alone gives the body."""
    here = at._replace(**{name: value[[row]] for name, value in at._asdict().items() if isinstance(value, np.ndarray)})
    shape = one.plan.shape(at.first, at.last)
    neutral = air_along(here, shape, stations, np.zeros_like(here.fins))
    flown = Along(type(air.section)(*(part[[row]] for part in air.section)), air.load[[row]], air.panels[[row]])
    still = reacted(neutral.load[:, :3], neutral.section, here, spread, stations)
    all_air = reacted(flown.load[:, :3], flown.section, here, spread, stations)
    motor = reacted(here.push, motor_section(here, stations), here, spread, stations)
    whole = np.array([beam.moment_y[row, worst], beam.moment_z[row, worst]])
    along = whole / np.linalg.norm(whole) ** 2

    def share(part: Beam) -> float:
        return float(along @ [part.moment_y[0, worst], part.moment_z[0, worst]])

    shares = [share(still), share(all_air) - share(still), share(motor)]
    return np.array([*shares, 1.0 - sum(shares)])


def _parts(one: OneFlight, first: int, shape, stations: np.ndarray, beam: Beam, log: np.ndarray) -> dict[str, tuple[float, float, bool, Peak]]:
    walls = walls_at(one.mission, shape, stations, first)
    found = {}
    result = stressed(walls, beam.moment, beam.compression)
    for number, name in enumerate(walls.names):
        here = (walls.part == number) & np.isfinite(walls.modulus)
        if not here.any():
            continue
        stress, share = result.stress[:, here], result.share[:, here]
        told = share if np.isfinite(share).any() else stress
        place = np.unravel_index(np.nanargmax(told), told.shape)
        found[name] = (float(share[place]), float(stress.max()), bool(result.buckles[:, here][place]), _peak(one, first, log, int(place[0])))
    return found
