"""What an observer writes down at one moment: rows of the log, events, running extremes of a flight."""

from __future__ import annotations

from math import acos, atan2, inf, isnan, nan, sqrt

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import conjugate, matrix_of, multiply, norm, put_vector
from sixdof.core.body import Body
from sixdof.core.columns import FinRow, MotorRow, PanelColumn, SeenColumn, Tally
from sixdof.core.computer.columns import Switch
from sixdof.core.computer.tick import estimate_errors, sensed_attitude, sensed_command, sensed_frame, sensed_velocity, tilt_angles
from sixdof.core.constants import FREE, G0, PIVOT
from sixdof.core.forces.loads import Loads
from sixdof.core.forces.stability import static_margin
from sixdof.core.lanes import cell, clip, lerp
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
FALL_PIECE = 1.5  # s: how a body comes down is judged by its last one or two pieces of the fall of that length


@helper
def incidence_of(load: Loads) -> float:
    """Return the angle between the body axis and the velocity through the air, rad."""
    return atan2(sqrt(load.velocity.y * load.velocity.y + load.velocity.z * load.velocity.z), load.velocity.x)


@helper
def lean(load: Loads) -> float:
    """Return the nose's angle from the local vertical, rad."""
    m = load.matrix
    return acos(clip(m.xx * load.up.x + m.yx * load.up.y + m.zx * load.up.z, -1.0, 1.0))


@helper
def nose_error(q: Quat, commanded: Quat) -> tuple[float, float]:
    """Return (angle between the nose and where it should point, roll error) of an attitude against the commanded one, rad."""
    e = multiply(conjugate(q), commanded)
    m = matrix_of(e)
    k = 2.0 if e.w >= 0.0 else -2.0
    return acos(clip(m.xx, -1.0, 1.0)), k * e.x


@helper
def joint_force(leg: Leg, drawn: DrawnModel, load: Loads, force: Vec3) -> float:
    """Return the push of the aft joint on the stages ahead of it (N, negative: it is pulled apart); NaN without a joint.

    What accelerates the fore stages less what the air does to them: the axial force of the fore stages as they stand in the stack.
    """
    if drawn.fore_mass <= 0.0:
        return nan
    i, f = cell(load.mach * drawn.aero.per_mach, leg.fore_axial.shape[0])
    air = load.pressure * drawn.aero.area * lerp(leg.fore_axial, i, f, 0) * drawn.drag
    return drawn.fore_mass * force.x + (air if load.velocity.x >= 0.0 else -air)


@kernel
def write_log(
    row: np.ndarray, t: float, phase: int, s: State, body: Body, drawn: DrawnModel, load: Loads, force: Vec3, frame: Quat, area: float, leg: Leg, work: Work
) -> None:
    """Fill one row of the log: layout.Log, fin angles, fin commands, hinge moments, then everything sensed (layout.Sensed)."""
    pitch, yaw, roll, _ = tilt_angles(frame, s.q)
    tilt = lean(load)
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
    row[EventColumn.TILT] = lean(load)
    row[EventColumn.INCIDENCE] = incidence_of(load)
    row[EventColumn.STATIC_MARGIN] = static_margin(drawn, load.mach, body.cg)
    row[EventColumn.SENSED_HEIGHT], row[EventColumn.SENSED_SPEED] = sensed[Sensed.HEIGHT], norm(sensed_velocity(sensed))
    _, _, _, row[EventColumn.SENSED_TILT] = tilt_angles(sensed_frame(sensed), sensed_attitude(sensed))


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
    summary[Outcome.AIRSPEED_MAX] = max(summary[Outcome.AIRSPEED_MAX], load.air_speed)
    summary[Outcome.MACH_MAX] = max(summary[Outcome.MACH_MAX], load.mach)
    summary[Outcome.DYNAMIC_PRESSURE_MAX] = max(summary[Outcome.DYNAMIC_PRESSURE_MAX], load.pressure)
    if load.mach > MACH_LIMIT:
        summary[Outcome.TIME_ABOVE_MACH_08] += period
        if load.mach < SONIC_LIMIT:
            summary[Outcome.TIME_TRANSONIC] += period
    if phase != FREE and phase != PIVOT:
        return
    summary[Outcome.SPECIFIC_FORCE_MAX] = max(summary[Outcome.SPECIFIC_FORCE_MAX], norm(force))
    if not climbing:
        _watch_fall(work.tally, drawn, load, period)
        return
    attitude, place, velocity = estimate_errors(work.sensed, s, load.height)
    summary[Outcome.ATTITUDE_ERROR_MAX] = max(summary[Outcome.ATTITUDE_ERROR_MAX], attitude)
    summary[Outcome.POSITION_ERROR_MAX] = max(summary[Outcome.POSITION_ERROR_MAX], place)
    summary[Outcome.VELOCITY_ERROR_MAX] = max(summary[Outcome.VELOCITY_ERROR_MAX], velocity)
    if load.air_speed > FLOW_SPEED:
        _watch_flow(summary, s, body, drawn, load, force, frame, period, work.seen)
        if work.switches[Switch.FINS] > 0.5:
            _watch_control(summary, s, body.burning > 0.5, work)


@kernel
def _watch_flow(summary: np.ndarray, s: State, body: Body, drawn: DrawnModel, load: Loads, force: Vec3, frame: Quat, period: float, seen: np.ndarray) -> None:
    a = incidence_of(load)
    summary[Outcome.INCIDENCE_MAX] = max(summary[Outcome.INCIDENCE_MAX], a)
    summary[Outcome.TILT_MAX] = max(summary[Outcome.TILT_MAX], lean(load))
    summary[Outcome.STATIC_MARGIN_MIN] = min(summary[Outcome.STATIC_MARGIN_MIN], static_margin(drawn, load.mach, body.cg))
    summary[Outcome.LOAD_FACTOR_MAX] = max(summary[Outcome.LOAD_FACTOR_MAX], sqrt(force.y * force.y + force.z * force.z) / G0)
    if a > INCIDENCE_LIMIT:
        summary[Outcome.TIME_BEYOND_INCIDENCE] += period
    if not (LOW_REYNOLDS < load.reynolds * drawn.rail.base_x < HIGH_REYNOLDS):
        summary[Outcome.TIME_BEYOND_REYNOLDS] += period
    stalled = 0.0
    for p in range(seen.shape[0]):
        stalled = max(stalled, seen[p, SeenColumn.STALL])
        if drawn.aero.panel[p, PanelColumn.CONTROL] >= 0.0:
            summary[Outcome.HINGE_MOMENT_MAX] = max(summary[Outcome.HINGE_MOMENT_MAX], abs(seen[p, SeenColumn.HINGE]))
    if stalled > STALL_LIMIT:
        summary[Outcome.TIME_STALLED] += period


@kernel
def _watch_fall(tally: np.ndarray, drawn: DrawnModel, load: Loads, period: float) -> None:
    """Note how a body falls without a canopy: time beyond the model's limits, and incidence over the last seconds."""
    a = incidence_of(load)
    if tally[Tally.TICKS] * period >= FALL_PIECE:
        for i in range(Tally.TICKS, Tally.TICKS + PIECE):
            tally[i + PIECE] = tally[i]
            tally[i] = 0.0
    tally[Tally.LEAST] = a if tally[Tally.TICKS] == 0.0 else min(tally[Tally.LEAST], a)
    tally[Tally.MOST] = max(tally[Tally.MOST], a)
    tally[Tally.TICKS] += 1.0
    tally[Tally.INCIDENCE] += a
    if load.air_speed < FALL_SPEED:
        return
    if a > INCIDENCE_LIMIT:
        tally[Tally.FALL_INCIDENCE] += period
    if load.mach > MACH_LIMIT:
        tally[Tally.FALL_MACH] += period
    if not (LOW_REYNOLDS < load.reynolds * drawn.rail.base_x < HIGH_REYNOLDS):
        tally[Tally.FALL_REYNOLDS] += period
    if load.reynolds * load.cross_speed * drawn.aero.length > CRISIS_REYNOLDS * load.air_speed:
        tally[Tally.FALL_CRISIS] += period


@kernel
def _watch_control(summary: np.ndarray, s: State, boosting: bool, work: Work) -> None:
    tally = work.tally
    nose, roll = nose_error(s.q, sensed_command(work.sensed))
    if boosting:
        tally[Tally.BOOST] += nose * nose
        tally[Tally.BOOST_TICKS] += 1.0
    else:
        tally[Tally.COAST] += nose * nose
        tally[Tally.COAST_TICKS] += 1.0
    tally[Tally.ROLL] += roll * roll
    tally[Tally.LIVE] += 1.0
    tally[Tally.CUT] += work.sensed[Sensed.SATURATED]
    tally[Tally.SIGN_PITCH] = _reversal(s.w.y, tally[Tally.SIGN_PITCH], tally)
    tally[Tally.SIGN_YAW] = _reversal(s.w.z, tally[Tally.SIGN_YAW], tally)
    summary[Outcome.TILT_ERROR_MAX] = max(summary[Outcome.TILT_ERROR_MAX], nose)
    summary[Outcome.ROLL_ERROR_MAX] = max(summary[Outcome.ROLL_ERROR_MAX], abs(roll))


@helper
def _reversal(rate: float, sign: float, tally: np.ndarray) -> float:
    """Return the side a body rate was last clearly on, and count its changes."""
    now = 1.0 if rate > QUIET_RATE else (-1.0 if rate < -QUIET_RATE else sign)
    if now * sign < 0.0:
        tally[Tally.REVERSALS] += 1.0
    return now


@kernel
def watch_servos(work: Work, servo: Servo, h: float) -> None:
    """Add up what the servos do in one step: travel, work against the air, time at the rate limit."""
    tally = work.tally
    if work.switches[Switch.FINS] < 0.5:
        return
    for i in range(work.fin_command.shape[0]):
        moved = abs(work.fins[FinRow.END, i] - work.fins[FinRow.START, i])
        tally[Tally.TRAVEL] += moved
        tally[Tally.ENERGY] += moved * abs(work.hinge[i])
        tally[Tally.MOVING] += h
        if abs(work.motors[MotorRow.RATE_END, i]) >= NEAR_LIMIT * servo.rate_limit:
            tally[Tally.AT_RATE] += h


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
