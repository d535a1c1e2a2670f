"""What an observer writes down at one moment: rows of the log, events, running extremes of a flight."""

from __future__ import annotations

from math import inf, isnan, nan

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import conjugate, dot, matrix_of, multiply, norm, put_vector
from sixdof.core.body import Body
from sixdof.core.columns import FinRow, MotorRow, PanelColumn, SeenColumn, Tally, WindColumn
from sixdof.core.computer.columns import Switch
from sixdof.core.computer.reading import estimate_errors, sensed_attitude, sensed_command, sensed_frame, sensed_velocity, tilt_angles
from sixdof.core.constants import FREE, G0, PIVOT
from sixdof.core.forces.loads import Loads
from sixdof.core.forces.stability import static_margin
from sixdof.core.lanes import acos, atan2, cell, clip, larger, lerp, like, opposite, select, smaller, some, sqrt
from sixdof.core.layout import LOG_COLUMNS, Demand, EventColumn, Log, Outcome, Sensed
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.leg.work import Work
from sixdof.core.types import Leg, Quat, Servo, State, Vec3

PIECE = Tally.TICKS_BEFORE - Tally.TICKS  # columns from a piece of the fall to the piece before it
QUIET_RATE = 0.02  # rad/s: a body rate must pass it on the other side to count as a reversal
NEAR_LIMIT = 0.99  # of the servo's rate limit

FLOW_SPEED = 20.0  # below this airspeed incidence says little (pad, apogee) and is left out of the extremes, m/s
MACH_LIMIT = 0.8  # beyond these the aerodynamic model is less sure; the time spent there is counted
INCIDENCE_LIMIT = 0.2617993877991494  # 15 deg
SONIC_LIMIT = 1.2  # between the two Mach numbers the tables are a bridge, not a theory
STALL_LIMIT = 0.5  # weight of separated flow on any panel
LOW_REYNOLDS, HIGH_REYNOLDS = 5e5, 1e8  # on the body's length: below it is laminar or mixed, beyond nothing was checked
FALL_SPEED = 5.0  # m/s: below it a falling body is hardly moved by the air
CRISIS_REYNOLDS = 1e5  # of the cross flow on the diameter: the drag crisis may have begun (see vehicle/aero/cross_flow.py)
LEAN_HEIGHT = 10.0  # m: the height at which winds are measured and forecast (WMO-No. 8)
FALL_PIECE = 1.5  # s: how a body comes down is judged by its last one or two pieces of the fall of that length


@helper
def incidence_of(load: Loads) -> float:
    """Return the angle between the body axis and the velocity through the air, rad."""
    return atan2(sqrt(load.velocity.y * load.velocity.y + load.velocity.z * load.velocity.z), load.velocity.x)


@helper
def tilt_of(load: Loads) -> float:
    """Return the nose's angle from the local vertical, rad."""
    m = load.matrix
    return acos(clip(m.xx * load.up.x + m.yx * load.up.y + m.zx * load.up.z, -1.0, 1.0))


@helper
def upwind(drawn: DrawnModel) -> Vec3:
    """Return the horizontal unit vector towards where the mean wind at 10 m comes from; in calm air by the direction written, of none from the north."""
    i, f = cell(sqrt(LEAN_HEIGHT) * drawn.world.wind_per_root, drawn.wind.table.shape[0])
    east, north = lerp(drawn.wind.table, i, f, WindColumn.EAST), lerp(drawn.wind.table, i, f, WindColumn.NORTH)
    speed = sqrt(east * east + north * north)
    e, n = (east / speed, north / speed) if speed > 0.0 else (0.0, -1.0)
    return Vec3(-(drawn.wind.cos * e + drawn.wind.sin * n), -(drawn.wind.cos * n - drawn.wind.sin * e), 0.0)


@helper
def angle_upwind(along: Vec3, up: Vec3, wind: Vec3) -> float:
    """Return the angle of a direction from the local vertical in the plane of `up` and `wind`, rad, positive towards `wind`; 0 for no direction."""
    rise, tilted = dot(along, up), dot(wind, up)  # over a round Earth the wind's direction at the rail is not level everywhere
    return atan2(dot(along, wind) - rise * tilted, rise)


@helper
def nose_error(q: Quat, commanded: Quat) -> tuple[float, float]:
    """Return (angle between the nose and where it should point, roll error) of an attitude against the commanded one, rad."""
    e = multiply(conjugate(q), commanded)
    m = matrix_of(e)
    k = select(e.w >= 0.0, 2.0, -2.0)
    return acos(clip(m.xx, -1.0, 1.0)), k * e.x


@helper
def joint_force(leg: Leg, drawn: DrawnModel, load: Loads, force: Vec3) -> float:
    """Return the push of the aft joint on the stages ahead of it (N, negative: it is pulled apart); NaN without a joint.

    What accelerates the fore stages less what the air does to them: the axial force of the fore stages as they stand in the stack.
    """
    if not some(drawn.fore_mass > 0.0):
        return like(nan, load.mach)
    i, f = cell(load.mach * drawn.aero.per_mach, leg.fore_axial.shape[0])
    air = load.pressure * drawn.aero.area * lerp(leg.fore_axial, i, f, 0) * drawn.drag
    push = drawn.fore_mass * force.x + select(load.velocity.x >= 0.0, air, -air)
    return select(drawn.fore_mass > 0.0, push, nan)


@kernel
def write_log(
    row: np.ndarray, t: float, phase: int, s: State, body: Body, drawn: DrawnModel, load: Loads, force: Vec3, frame: Quat, area: float, leg: Leg, work: Work
) -> None:
    """Fill one row of the log: layout.Log, fin angles, fin commands, hinge moments, then everything sensed (layout.Sensed)."""
    pitch, yaw, roll, _ = tilt_angles(frame, s.q)
    tilt = tilt_of(load)
    commanded = sensed_command(work.sensed)
    commanded_pitch, commanded_yaw, commanded_roll, _ = tilt_angles(frame, commanded)
    row[Log.TIME], row[Log.PHASE] = t, phase
    row[Log.EAST], row[Log.NORTH], row[Log.HEIGHT] = s.r.x, s.r.y, load.height
    row[Log.VELOCITY_EAST], row[Log.VELOCITY_NORTH], row[Log.VELOCITY_UP] = s.v.x, s.v.y, s.v.z
    row[Log.Q_W], row[Log.Q_X], row[Log.Q_Y], row[Log.Q_Z] = s.q.w, s.q.x, s.q.y, s.q.z
    row[Log.RATE_X], row[Log.RATE_Y], row[Log.RATE_Z] = s.w.x, s.w.y, s.w.z
    row[Log.TILT_PITCH], row[Log.TILT_YAW], row[Log.ROLL], row[Log.TILT] = pitch, yaw, roll, tilt
    row[Log.COMMANDED_PITCH], row[Log.COMMANDED_YAW], row[Log.COMMANDED_ROLL] = commanded_pitch, commanded_yaw, commanded_roll
    row[Log.TILT_ERROR], _ = nose_error(s.q, commanded)
    row[Log.AIRSPEED], row[Log.MACH], row[Log.DYNAMIC_PRESSURE] = load.air_speed, load.mach, load.pressure
    row[Log.INCIDENCE] = incidence_of(load)
    row[Log.INCIDENCE_PITCH] = atan2(load.velocity.z, load.velocity.x)
    row[Log.INCIDENCE_YAW] = atan2(load.velocity.y, load.velocity.x)
    row[Log.STATIC_MARGIN] = static_margin(drawn, load.mach, body.cg)
    row[Log.THRUST], row[Log.MASS], row[Log.CG] = body.thrust, body.mass, body.cg.x
    row[Log.SPECIFIC_FORCE_X], row[Log.SPECIFIC_FORCE_Y], row[Log.SPECIFIC_FORCE_Z] = force.x, force.y, force.z
    row[Log.WIND_EAST], row[Log.WIND_NORTH], row[Log.DRAG_AREA] = load.wind.x, load.wind.y, area
    row[Log.UP] = s.r.z
    row[Log.JOINT_FORCE] = joint_force(leg, drawn, load, force) if phase == FREE else nan
    row[Log.GUIDANCE_MODE], row[Log.WAYPOINT] = work.switches[Switch.MODE], work.sensed[Sensed.WAYPOINT]
    for i in range(3):
        row[Log.ESTIMATED_EAST + i] = work.sensed[Sensed.EAST + i]
    for i in range(4):
        row[Log.ESTIMATED_Q_W + i] = work.sensed[Sensed.Q_W + i]
    row[Log.ATTITUDE_ERROR], row[Log.POSITION_ERROR], row[Log.VELOCITY_ERROR] = estimate_errors(work.sensed, s, load.height)
    row[Log.ROLL_DEMAND], row[Log.PITCH_DEMAND], row[Log.YAW_DEMAND] = work.command[Demand.ROLL], work.command[Demand.PITCH], work.command[Demand.YAW]
    n = work.fin_command.shape[0]
    for i in range(n):
        row[LOG_COLUMNS + i] = work.fins[FinRow.START, i]
        row[LOG_COLUMNS + n + i] = work.fin_command[i]
        row[LOG_COLUMNS + 2 * n + i] = work.hinge[i]
    for i in range(work.sensed.shape[0]):
        row[LOG_COLUMNS + 3 * n + i] = work.sensed[i]


@kernel
def write_event(row: np.ndarray, t: float, s: State, body: Body, drawn: DrawnModel, load: Loads, frame: Quat, sensed: np.ndarray) -> None:
    """Fill one row of the event table (layout.EventColumn), unless it has happened before; sensed: as of the last tick."""
    if not isnan(row[EventColumn.TIME]):
        return
    row[EventColumn.TIME] = t
    row[EventColumn.EAST], row[EventColumn.NORTH], row[EventColumn.HEIGHT] = s.r.x, s.r.y, load.height
    put_vector(row, EventColumn.VELOCITY_EAST, s.v)
    row[EventColumn.AIRSPEED], row[EventColumn.MACH], row[EventColumn.DYNAMIC_PRESSURE] = load.air_speed, load.mach, load.pressure
    row[EventColumn.TILT] = tilt_of(load)
    row[EventColumn.INCIDENCE] = incidence_of(load)
    row[EventColumn.STATIC_MARGIN] = static_margin(drawn, load.mach, body.cg)
    row[EventColumn.SENSED_HEIGHT], row[EventColumn.SENSED_SPEED] = sensed[Sensed.HEIGHT], norm(sensed_velocity(sensed))
    _, _, _, row[EventColumn.SENSED_TILT] = tilt_angles(sensed_frame(sensed), sensed_attitude(sensed))
    wind, m = upwind(drawn), load.matrix
    row[EventColumn.LEAN] = angle_upwind(Vec3(m.xx, m.yx, m.zx), load.up, wind)
    row[EventColumn.PATH_LEAN] = angle_upwind(s.v, load.up, wind)


@kernel
def watch(
    summary: np.ndarray,
    phase: int,
    climbing: bool,
    t: float,
    s: State,
    body: Body,
    drawn: DrawnModel,
    load: Loads,
    force: Vec3,
    frame: Quat,
    period: float,
    events: np.ndarray,
    work: Work,
) -> None:
    """Update the running extremes and sums of a flight at one tick."""
    summary[Outcome.AIRSPEED_MAX] = larger(summary[Outcome.AIRSPEED_MAX], load.air_speed)
    summary[Outcome.MACH_MAX] = larger(summary[Outcome.MACH_MAX], load.mach)
    summary[Outcome.DYNAMIC_PRESSURE_MAX] = larger(summary[Outcome.DYNAMIC_PRESSURE_MAX], load.pressure)
    fast = load.mach > MACH_LIMIT
    _spend(summary, Outcome.TIME_ABOVE_MACH_08, period, fast)
    _spend(summary, Outcome.TIME_TRANSONIC, period, fast & (load.mach < SONIC_LIMIT))
    if phase != FREE and phase != PIVOT:
        return
    summary[Outcome.SPECIFIC_FORCE_MAX] = larger(summary[Outcome.SPECIFIC_FORCE_MAX], norm(force))
    falling = opposite(climbing)
    if some(falling):
        _watch_fall(work.tally, drawn, load, period, falling)
    if some(climbing):
        attitude, place, velocity = estimate_errors(work.sensed, s, load.height)
        _most(summary, Outcome.ATTITUDE_ERROR_MAX, attitude, climbing)
        _most(summary, Outcome.POSITION_ERROR_MAX, place, climbing)
        _most(summary, Outcome.VELOCITY_ERROR_MAX, velocity, climbing)
        flying = climbing & (load.air_speed > FLOW_SPEED)
        if some(flying):
            _watch_flow(summary, body, drawn, load, force, period, work.seen, flying)
            live = flying & (work.switches[Switch.FINS] > 0.5)
            if some(live):
                _watch_control(summary, s, body.burning > 0.5, work, live)


@helper
def _most(row: np.ndarray, i: int, x: float, where: bool) -> None:
    """Raise an entry to x where a condition holds."""
    row[i] = select(where, larger(row[i], x), row[i])


@helper
def _spend(row: np.ndarray, i: int, x: float, where: bool) -> None:
    """Add x (s, a tick, a square ..) to an entry where a condition holds."""
    row[i] += select(where, x, 0.0)


@kernel
def _watch_flow(summary: np.ndarray, body: Body, drawn: DrawnModel, load: Loads, force: Vec3, period: float, seen: np.ndarray, flying: bool) -> None:
    a = incidence_of(load)
    _most(summary, Outcome.INCIDENCE_MAX, a, flying)
    _most(summary, Outcome.TILT_MAX, tilt_of(load), flying)
    margin = smaller(summary[Outcome.STATIC_MARGIN_MIN], static_margin(drawn, load.mach, body.cg))
    summary[Outcome.STATIC_MARGIN_MIN] = select(flying, margin, summary[Outcome.STATIC_MARGIN_MIN])
    _most(summary, Outcome.LOAD_FACTOR_MAX, sqrt(force.y * force.y + force.z * force.z) / G0, flying)
    _spend(summary, Outcome.TIME_BEYOND_INCIDENCE, period, flying & (a > INCIDENCE_LIMIT))
    _spend(summary, Outcome.TIME_BEYOND_REYNOLDS, period, flying & _unsure_of(load.reynolds * drawn.rail.base_x))
    stalled = like(0.0, a)
    for p in range(seen.shape[0]):
        stalled = larger(stalled, seen[p, SeenColumn.STALL])
        if drawn.aero.panel[p, PanelColumn.CONTROL] >= 0.0:
            _most(summary, Outcome.HINGE_MOMENT_MAX, abs(seen[p, SeenColumn.HINGE]), flying)
    _spend(summary, Outcome.TIME_STALLED, period, flying & (stalled > STALL_LIMIT))


@helper
def _unsure_of(reynolds: float) -> bool:
    """Return whether a Reynolds number on the body's length lies where nothing was checked."""
    return (reynolds <= LOW_REYNOLDS) | (reynolds >= HIGH_REYNOLDS)


@kernel
def _watch_fall(tally: np.ndarray, drawn: DrawnModel, load: Loads, period: float, falling: bool) -> None:
    """Note how a body falls without a canopy: time beyond the model's limits, and incidence over the last seconds."""
    a = incidence_of(load)
    over = falling & (tally[Tally.TICKS] * period >= FALL_PIECE)
    for i in range(Tally.TICKS, Tally.TICKS + PIECE):
        tally[i + PIECE] = select(over, tally[i], tally[i + PIECE])
        tally[i] = select(over, 0.0, tally[i])
    least = select(tally[Tally.TICKS] == 0.0, a, smaller(tally[Tally.LEAST], a))
    tally[Tally.LEAST] = select(falling, least, tally[Tally.LEAST])
    _most(tally, Tally.MOST, a, falling)
    _spend(tally, Tally.TICKS, 1.0, falling)
    _spend(tally, Tally.INCIDENCE, a, falling)
    moved = falling & (load.air_speed >= FALL_SPEED)
    _spend(tally, Tally.FALL_INCIDENCE, period, moved & (a > INCIDENCE_LIMIT))
    _spend(tally, Tally.FALL_MACH, period, moved & (load.mach > MACH_LIMIT))
    _spend(tally, Tally.FALL_REYNOLDS, period, moved & _unsure_of(load.reynolds * drawn.rail.base_x))
    crisis = load.reynolds * load.cross_speed * drawn.aero.length > CRISIS_REYNOLDS * load.air_speed
    _spend(tally, Tally.FALL_CRISIS, period, moved & crisis)


@kernel
def _watch_control(summary: np.ndarray, s: State, boosting: bool, work: Work, live: bool) -> None:
    tally = work.tally
    nose, roll = nose_error(s.q, sensed_command(work.sensed))
    coasting = opposite(boosting)
    _spend(tally, Tally.BOOST, nose * nose, live & boosting)
    _spend(tally, Tally.BOOST_TICKS, 1.0, live & boosting)
    _spend(tally, Tally.COAST, nose * nose, live & coasting)
    _spend(tally, Tally.COAST_TICKS, 1.0, live & coasting)
    _spend(tally, Tally.ROLL, roll * roll, live)
    _spend(tally, Tally.LIVE, 1.0, live)
    _spend(tally, Tally.CUT, work.sensed[Sensed.SATURATED], live)
    _watch_reversal(s.w.y, tally, Tally.SIGN_PITCH, live)
    _watch_reversal(s.w.z, tally, Tally.SIGN_YAW, live)
    _most(summary, Outcome.TILT_ERROR_MAX, nose, live)
    _most(summary, Outcome.ROLL_ERROR_MAX, abs(roll), live)


@helper
def _watch_reversal(rate: float, tally: np.ndarray, side: int, live: bool) -> None:
    """Note the side a body rate was last clearly on, and count its changes."""
    last = tally[side]
    now = select(rate > QUIET_RATE, 1.0, select(rate < -QUIET_RATE, -1.0, last))
    _spend(tally, Tally.REVERSALS, 1.0, live & (now * last < 0.0))
    tally[side] = select(live, now, last)


@kernel
def watch_servos(work: Work, servo: Servo, h: float) -> None:
    """Add up what the servos do in one step: travel, work against the air, time at the rate limit."""
    tally = work.tally
    live = work.switches[Switch.FINS] >= 0.5
    if some(live):
        for i in range(work.fin_command.shape[0]):
            moved = abs(work.fins[FinRow.NEXT, i] - work.fins[FinRow.START, i])
            _spend(tally, Tally.TRAVEL, moved, live)
            _spend(tally, Tally.ENERGY, moved * abs(work.hinge[i]), live)
            _spend(tally, Tally.MOVING, h, live)
            _spend(tally, Tally.AT_RATE, h, live & (abs(work.motors[MotorRow.RATE_END, i]) >= NEAR_LIMIT * servo.rate_limit))


@helper
def _mean(total: float, count: float) -> float:
    return total / count if count > 0.0 else nan


@kernel
def finish_watch(summary: np.ndarray, work: Work) -> None:
    """Turn the running sums into outcomes at the end of a flight; what had no live tick is NaN."""
    tally = work.tally
    summary[Outcome.TILT_ERROR_BOOST_RMS] = sqrt(_mean(tally[Tally.BOOST], tally[Tally.BOOST_TICKS]))
    summary[Outcome.TILT_ERROR_COAST_RMS] = sqrt(_mean(tally[Tally.COAST], tally[Tally.COAST_TICKS]))
    summary[Outcome.TILT_ERROR_RMS] = sqrt(_mean(tally[Tally.BOOST] + tally[Tally.COAST], tally[Tally.LIVE]))
    summary[Outcome.ROLL_ERROR_RMS] = sqrt(_mean(tally[Tally.ROLL], tally[Tally.LIVE]))
    summary[Outcome.SATURATION_SHARE] = _mean(tally[Tally.CUT], tally[Tally.LIVE])
    summary[Outcome.RATE_REVERSALS] = tally[Tally.REVERSALS]
    summary[Outcome.RATE_LIMIT_SHARE] = _mean(tally[Tally.AT_RATE], tally[Tally.MOVING])
    summary[Outcome.FIN_TRAVEL_TOTAL], summary[Outcome.SERVO_ENERGY] = tally[Tally.TRAVEL], tally[Tally.ENERGY]
    if tally[Tally.LIVE] == 0.0:
        summary[Outcome.TILT_ERROR_MAX] = summary[Outcome.ROLL_ERROR_MAX] = nan
    if summary[Outcome.STATIC_MARGIN_MIN] == inf:
        summary[Outcome.STATIC_MARGIN_MIN] = nan
