"""The flight that linear models are taken along: one draw of a mission, flown, and its moments at chosen points."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from sixdof.draws.drawn import drawn_mission
from sixdof.draws.flight_draw import FlightDraw
from sixdof.flight.laws import bind
from sixdof.flight.model import log_rows
from sixdof.flight.plan import Plan, plan_of
from sixdof.flight.runner import FlightRunner
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results.facts import Flown
from sixdof.results.names import event_names
from sixdof.results.status import Status
from sixdof.study.probes.columns import FREE, POINT_COLUMNS, Draw, Log, Model, PointColumn, Sensed
from sixdof.study.probes.columns import layout as ly

MOST_POINTS = 10_000  # of a flight
FLOW_SPEED = 20.0  # m/s: slower, fins are idle (as in study.control_metrics)
_AXIS = (Log.Q_W, Log.Q_X, Log.Q_Y, Log.Q_Z)


class Moments(NamedTuple):
    """Moments of free flight of the front body, rows in the order of time.

    row : (n, POINT_COLUMNS + 2 controls). leg : (n,) number of the pair in `legs`. log : (n, LOG_COLUMNS). sensed : (n, SENSED),
    what the flight computer knew. legs : (model, draw) of each body that flew.
    """

    row: np.ndarray
    leg: np.ndarray
    log: np.ndarray
    sensed: np.ndarray
    legs: list[tuple[Model, Draw]]


class Track(NamedTuple):
    """One flown draw: the mission with the draw's paths, its tables, and the log of its front body, a row a tick."""

    mission: Mission
    plan: Plan
    draw: FlightDraw
    log: np.ndarray
    joined: np.ndarray  # (rows,) stages that fly together
    lit: np.ndarray  # (rows,) when the burning motor was lit, ly.NOT_IGNITED before
    fins: int


def fly_track(mission: Mission, draw: FlightDraw, who: str) -> Track:
    """Fly one draw and keep the log of its front body. Raises ValueError for a flight that never left the rail or diverged."""
    flown_mission = drawn_mission(mission, draw.path)
    made = plan_of if flown_mission is mission else Plan
    plan = made(flown_mission, log_rate=mission.autopilot.rate)
    whole = plan.model(0, plan.count - 1)
    runner = FlightRunner(plan, bind(None, None), log_rows(whole))
    flown = runner.run(draw, log_others=False)
    if flown.status in (Status.NO_LIFTOFF, Status.DIVERGED) or not len(flown.logs[0]):
        raise ValueError(f"{who}: there is nothing to linearise about: {Status(flown.status).sentence}")
    return track_of(flown_mission, plan, draw, flown)


def track_of(mission: Mission, plan: Plan, draw: FlightDraw, flown: Flown) -> Track:
    """Return the track of a flown draw. mission, plan : those of the draw's own paths."""
    log, events = flown.logs[0].copy(), flown.events[0]
    time, names = log[:, Log.TIME], event_names(mission)
    joined, lit = np.full(len(time), plan.count), np.zeros(len(time))
    for k in range(plan.count - 1, 0, -1):
        # a joint that parts at a tick parts behind the row of that tick; a comparison with NaN is false
        later = time > flown.joint[k - 1, 0]
        start = events[names.index(f"ignition {mission.stage[k - 1].name}"), 0]
        joined[later], lit[later] = k, ly.NOT_IGNITED
        lit[later & (time >= start)] = start
    return Track(mission, plan, draw, log, joined, lit, plan.model(0, plan.count - 1).computer.mixer.shape[0])


def usable(track: Track) -> np.ndarray:
    """Return which rows can be linearised: free flight, climbing, fast enough for fins to work, bool (rows,)."""
    log = track.log
    climbing = log[:, Log.VELOCITY_UP] > 0.0
    return (log[:, Log.PHASE] == FREE) & climbing & (log[:, Log.AIRSPEED] > FLOW_SPEED)


def live(track: Track) -> np.ndarray:
    """Return which rows are usable and have the control fins live, bool (rows,); all usable ones where they never are."""
    rows = usable(track)
    enabled = rows & (_sensed(track)[:, Sensed.ENABLED] > 0.5)
    return enabled if enabled.any() else rows


def _sensed(track: Track) -> np.ndarray:
    return track.log[:, ly.LOG_COLUMNS + 3 * track.fins :]


def pick_rows(track: Track, who: str, at=None, mach=None, dynamic_pressure=None, points: int = 30) -> np.ndarray:
    """Return the rows nearest to the times `at`, or where Mach or dynamic pressure pass values, or `points` of the live stretch.

    Raises
    ------
    ValueError
        For what is not a number, a time outside free flight, or a Mach number or pressure that the flight never passes.
    """
    rows = np.flatnonzero(usable(track))
    if not rows.size:
        raise ValueError(f"{who}: the flight is never free, climbing and faster than {FLOW_SPEED:g} m/s: there is nothing to linearise about")
    time = track.log[:, Log.TIME]
    if at is not None:
        return np.unique([_row_at(t, rows, time, who) for t in _numbers(at, "at", who)])
    for name, values, column in (("mach", mach, Log.MACH), ("dynamic_pressure", dynamic_pressure, Log.DYNAMIC_PRESSURE)):
        if values is not None:
            along = np.flatnonzero(live(track))
            return np.unique(np.concatenate([_passes(v, along, track.log[:, column], name, who) for v in _numbers(values, name, who)]))
    if isinstance(points, bool) or not isinstance(points, (int, np.integer)) or not 1 <= points <= MOST_POINTS:
        raise ValueError(f"{who}: points = {shown(points)} must be a whole number from 1 up, {MOST_POINTS} at most")
    along = np.flatnonzero(live(track))
    return along[np.unique(np.round(np.linspace(0, len(along) - 1, points)).astype(int))]


def _numbers(values, name: str, who: str) -> list[float]:
    """Return what a person gave, a number or several, as a list."""
    try:
        found = np.atleast_1d(np.asarray(values, dtype=float))
    except (TypeError, ValueError):
        found = np.array([np.nan])
    if found.ndim != 1 or not found.size or not np.isfinite(found).all():
        raise ValueError(f"{who}: {name} = {shown(values)} must be a number or a row of numbers, such as {name}=0.5 or {name}=[0.5, 2]")
    return found.tolist()


def _row_at(t: float, rows: np.ndarray, time: np.ndarray, who: str) -> int:
    first, last = time[rows[0]], time[rows[-1]]
    if not first - 0.05 <= t <= last + 0.05:  # a person reads times off a figure
        raise ValueError(f"{who}: at = {t:g} s is outside the free climb faster than {FLOW_SPEED:g} m/s, {first:.2f} s to {last:.2f} s")
    return int(rows[np.abs(time[rows] - t).argmin()])


def _passes(value: float, rows: np.ndarray, values: np.ndarray, name: str, who: str) -> np.ndarray:
    """Return the rows at which a quantity passes a value, upwards and downwards."""
    side = np.sign(values[rows] - value)
    hits = np.flatnonzero(side[1:] != side[:-1])
    if not hits.size:
        low, high = values[rows].min(), values[rows].max()
        raise ValueError(f"{who}: {name} = {value:g} is never passed: with live fins this flight has {low:.4g} to {high:.4g}")
    nearer = np.abs(values[rows[hits + 1]] - value) < np.abs(values[rows[hits]] - value)
    return rows[hits + nearer]


def moments_at(track: Track, rows: Sequence[int]) -> Moments:
    """Return the moments of a flown draw at rows of its log."""
    log, fins = track.log[rows], track.fins
    row = np.zeros((len(rows), POINT_COLUMNS + 2 * fins))
    row[:, PointColumn.TIME], row[:, PointColumn.IGNITED] = log[:, Log.TIME], track.lit[rows]
    row[:, PointColumn.POSITION : PointColumn.POSITION + 3] = log[:, [Log.EAST, Log.NORTH, Log.UP]]
    row[:, PointColumn.VELOCITY : PointColumn.VELOCITY + 3] = log[:, [Log.VELOCITY_EAST, Log.VELOCITY_NORTH, Log.VELOCITY_UP]]
    row[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4] = log[:, list(_AXIS)]
    row[:, PointColumn.RATE : PointColumn.RATE + 3] = log[:, [Log.RATE_X, Log.RATE_Y, Log.RATE_Z]]
    row[:, POINT_COLUMNS : POINT_COLUMNS + fins] = np.nan_to_num(log[:, ly.LOG_COLUMNS : ly.LOG_COLUMNS + fins])
    row[:, POINT_COLUMNS + fins :] = _carried(track, row[:, PointColumn.TIME])
    sizes = sorted(set(track.joined[rows].tolist()))
    legs = [track.plan.segment(0, n - 1, track.draw) for n in sizes]
    return Moments(row, np.searchsorted(sizes, track.joined[rows]), log, _sensed(track)[rows], legs)


def _carried(track: Track, time: np.ndarray) -> np.ndarray:
    """Return the share of its load each fin carries at times, (n, fins): 0 for a dead one."""
    out = np.ones((len(time), track.fins))
    for failure in track.mission.servo.failure:
        if failure.kind == "dead" and failure.fin <= track.fins:
            out[time >= failure.time, failure.fin - 1] = 0.0
    return out


def moving(track: Track, time: np.ndarray) -> np.ndarray:
    """Return which fins still answer their servos at times, 1 or 0, (n, fins)."""
    out = np.ones((len(time), track.fins))
    for failure in track.mission.servo.failure:
        if failure.fin <= track.fins:
            out[time >= failure.time, failure.fin - 1] = 0.0
    return out
