"""What an observer writes down at one moment: rows of the log, events, running extremes of a flight."""

from __future__ import annotations

from math import acos, atan2, inf, isnan, nan, sqrt

from sixdof._jit import helper, kernel
from sixdof.core.algebra import cell, clip, conjugate, lerp, matrix_of, multiply, norm
from sixdof.core.columns import FinRow, MotorRow, PanelColumn, SeenColumn, Tally
from sixdof.core.computer.columns import Switch
from sixdof.core.computer.tick import estimate_errors, sensed_attitude, sensed_frame, sensed_goal, sensed_velocity, tilt_angles
from sixdof.core.forces.stability import static_margin
from sixdof.core.layout import (
    D_PITCH,
    D_ROLL,
    D_YAW,
    L_ATTITUDE_ERROR,
    L_CG,
    L_DRAG_AREA,
    L_EAST,
    L_ERROR,
    L_EST_EAST,
    L_EST_QW,
    L_FX,
    L_FY,
    L_FZ,
    L_GOAL_PITCH,
    L_GOAL_ROLL,
    L_GOAL_YAW,
    L_HEIGHT,
    L_INCIDENCE,
    L_INCIDENCE_PITCH,
    L_INCIDENCE_YAW,
    L_JOINT,
    L_MACH,
    L_MARGIN,
    L_MASS,
    L_MODE,
    L_NORTH,
    L_P,
    L_PHASE,
    L_PITCH_DEMAND,
    L_POSITION_ERROR,
    L_PRESSURE,
    L_Q,
    L_QW,
    L_QX,
    L_QY,
    L_QZ,
    L_R,
    L_ROLL,
    L_ROLL_DEMAND,
    L_SPEED,
    L_THRUST,
    L_TILT,
    L_TILT_PITCH,
    L_TILT_YAW,
    L_TIME,
    L_UP,
    L_VE,
    L_VELOCITY_ERROR,
    L_VN,
    L_VU,
    L_WAYPOINT,
    L_WIND_EAST,
    L_WIND_NORTH,
    L_YAW_DEMAND,
    LOG_COLUMNS,
    S_EAST,
    S_HEIGHT,
    S_QW,
    S_SATURATED,
    S_WAYPOINT,
    X_ATTITUDE_ERROR,
    X_ERROR_BOOST,
    X_ERROR_COAST,
    X_ERROR_MAX,
    X_ERROR_RMS,
    X_HINGE,
    X_LOAD_FACTOR,
    X_MAX_FORCE,
    X_MAX_INCIDENCE,
    X_MAX_MACH,
    X_MAX_PRESSURE,
    X_MAX_SPEED,
    X_MAX_TILT,
    X_MIN_MARGIN,
    X_POSITION_ERROR,
    X_RATE_SHARE,
    X_REVERSALS,
    X_ROLL_ERROR_MAX,
    X_ROLL_RMS,
    X_SATURATION,
    X_SERVO_ENERGY,
    X_SERVO_TRAVEL,
    X_TIME_INCIDENCE,
    X_TIME_MACH,
    X_TIME_REYNOLDS,
    X_TIME_STALLED,
    X_TIME_TRANSONIC,
    X_VELOCITY_ERROR,
)
from sixdof.core.motion import FREE, PIVOT

PIECE = Tally.TICKS_BEFORE - Tally.TICKS  # columns from a piece of the fall to the piece before it
QUIET_RATE = 0.02  # rad/s: a body rate must pass it on the other side to count as a reversal
NEAR_LIMIT = 0.99  # of the servo's rate limit
GRAVITY = 9.80665

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
def incidence_of(load):
    """Return the angle between the body axis and the velocity through the air, rad."""
    return atan2(sqrt(load.velocity.y * load.velocity.y + load.velocity.z * load.velocity.z), load.velocity.x)


@helper
def lean(load):
    """Return the nose's angle from the local vertical, rad."""
    m = load.matrix
    return acos(clip(m.xx * load.up.x + m.yx * load.up.y + m.zx * load.up.z, -1.0, 1.0))


@helper
def nose_error(q, goal):
    """Return (angle between the nose and where it should point, roll error) of an attitude against its goal, rad."""
    e = multiply(conjugate(q), goal)
    m = matrix_of(e)
    k = 2.0 if e.w >= 0.0 else -2.0
    return acos(clip(m.xx, -1.0, 1.0)), k * e.x


@helper
def joint_force(leg, aero, load, force, drag):
    """Return the push of the aft joint on the stages ahead of it (N, negative: it is pulled apart); NaN without a joint.

    What accelerates the fore stages less what the air does to them: the axial force of the fore stages as they stand in the stack.
    """
    if leg.fore_mass <= 0.0:
        return nan
    i, f = cell(load.mach * aero.per_mach, leg.fore_axial.shape[0])
    air = load.pressure * aero.area * lerp(leg.fore_axial, i, f, 0) * drag
    return leg.fore_mass * force.x + (air if load.velocity.x >= 0.0 else -air)


@kernel
def write_log(row, t, phase, s, body, craft, load, force, frame, area, leg, work):
    """Fill one row of the log: layout.LOG, fin angles, fin commands, hinge moments, then everything sensed (layout.SENSED)."""
    pitch, yaw, roll, _ = tilt_angles(frame, s.q)
    tilt = lean(load)
    goal = sensed_goal(work.sensed)
    goal_pitch, goal_yaw, goal_roll, _ = tilt_angles(frame, goal)
    row[L_TIME], row[L_PHASE] = t, phase
    row[L_EAST], row[L_NORTH], row[L_HEIGHT] = s.r.x, s.r.y, load.height
    row[L_VE], row[L_VN], row[L_VU] = s.v.x, s.v.y, s.v.z
    row[L_QW], row[L_QX], row[L_QY], row[L_QZ] = s.q.w, s.q.x, s.q.y, s.q.z
    row[L_P], row[L_Q], row[L_R] = s.w.x, s.w.y, s.w.z
    row[L_TILT_PITCH], row[L_TILT_YAW], row[L_ROLL], row[L_TILT] = pitch, yaw, roll, tilt
    row[L_GOAL_PITCH], row[L_GOAL_YAW], row[L_GOAL_ROLL] = goal_pitch, goal_yaw, goal_roll
    row[L_ERROR] = nose_error(s.q, goal)[0]
    row[L_SPEED], row[L_MACH], row[L_PRESSURE] = load.air_speed, load.mach, load.pressure
    row[L_INCIDENCE] = incidence_of(load)
    row[L_INCIDENCE_PITCH] = atan2(load.velocity.z, load.velocity.x)
    row[L_INCIDENCE_YAW] = atan2(load.velocity.y, load.velocity.x)
    row[L_MARGIN] = static_margin(craft, load.mach, body.cg)
    row[L_THRUST], row[L_MASS], row[L_CG] = body.thrust, body.mass, body.cg.x
    row[L_FX], row[L_FY], row[L_FZ] = force.x, force.y, force.z
    row[L_WIND_EAST], row[L_WIND_NORTH], row[L_DRAG_AREA] = load.wind.x, load.wind.y, area
    row[L_UP] = s.r.z
    row[L_JOINT] = joint_force(leg, craft.aero, load, force, craft.drag) if phase == FREE else nan
    row[L_MODE], row[L_WAYPOINT] = work.switches[Switch.MODE], work.sensed[S_WAYPOINT]
    for i in range(3):
        row[L_EST_EAST + i] = work.sensed[S_EAST + i]
    for i in range(4):
        row[L_EST_QW + i] = work.sensed[S_QW + i]
    row[L_ATTITUDE_ERROR], row[L_POSITION_ERROR], row[L_VELOCITY_ERROR] = estimate_errors(work.sensed, s, load.height)
    row[L_ROLL_DEMAND], row[L_PITCH_DEMAND], row[L_YAW_DEMAND] = work.command[D_ROLL], work.command[D_PITCH], work.command[D_YAW]
    n = work.fin_command.shape[0]
    for i in range(n):
        row[LOG_COLUMNS + i] = work.fins[FinRow.START, i]
        row[LOG_COLUMNS + n + i] = work.fin_command[i]
        row[LOG_COLUMNS + 2 * n + i] = work.hinge[i]
    for i in range(work.sensed.shape[0]):
        row[LOG_COLUMNS + 3 * n + i] = work.sensed[i]


@kernel
def write_event(row, t, s, body, craft, load, frame, sensed):
    """Fill one row of the event table (layout.EVENT_COLUMNS), unless it has happened before; sensed: as of the last tick."""
    if not isnan(row[0]):
        return
    row[0] = t
    row[1], row[2], row[3] = s.r.x, s.r.y, load.height
    row[4], row[5], row[6] = s.v.x, s.v.y, s.v.z
    row[7], row[8], row[9] = load.air_speed, load.mach, load.pressure
    row[10] = lean(load)
    row[11] = incidence_of(load)
    row[12] = static_margin(craft, load.mach, body.cg)
    row[13], row[14] = sensed[S_HEIGHT], norm(sensed_velocity(sensed))
    row[15] = tilt_angles(sensed_frame(sensed), sensed_attitude(sensed))[3]


@kernel
def watch(summary, phase, climbing, t, s, body, craft, load, force, frame, period, events, work):
    """Update the running extremes and sums of a flight at one tick."""
    summary[X_MAX_SPEED] = max(summary[X_MAX_SPEED], load.air_speed)
    summary[X_MAX_MACH] = max(summary[X_MAX_MACH], load.mach)
    summary[X_MAX_PRESSURE] = max(summary[X_MAX_PRESSURE], load.pressure)
    if load.mach > MACH_LIMIT:
        summary[X_TIME_MACH] += period
        if load.mach < SONIC_LIMIT:
            summary[X_TIME_TRANSONIC] += period
    if phase != FREE and phase != PIVOT:
        return
    summary[X_MAX_FORCE] = max(summary[X_MAX_FORCE], norm(force))
    if not climbing:
        _watch_fall(work.tally, craft, load, period)
        return
    attitude, place, velocity = estimate_errors(work.sensed, s, load.height)
    summary[X_ATTITUDE_ERROR] = max(summary[X_ATTITUDE_ERROR], attitude)
    summary[X_POSITION_ERROR] = max(summary[X_POSITION_ERROR], place)
    summary[X_VELOCITY_ERROR] = max(summary[X_VELOCITY_ERROR], velocity)
    if load.air_speed > FLOW_SPEED:
        _watch_flow(summary, s, body, craft, load, force, frame, period)
        if work.switches[Switch.FINS] > 0.5:
            _watch_control(summary, s, body.burning > 0.5, work)


@kernel
def _watch_flow(summary, s, body, craft, load, force, frame, period):
    a = incidence_of(load)
    summary[X_MAX_INCIDENCE] = max(summary[X_MAX_INCIDENCE], a)
    summary[X_MAX_TILT] = max(summary[X_MAX_TILT], lean(load))
    summary[X_MIN_MARGIN] = min(summary[X_MIN_MARGIN], static_margin(craft, load.mach, body.cg))
    summary[X_LOAD_FACTOR] = max(summary[X_LOAD_FACTOR], sqrt(force.y * force.y + force.z * force.z) / GRAVITY)
    if a > INCIDENCE_LIMIT:
        summary[X_TIME_INCIDENCE] += period
    if not (LOW_REYNOLDS < load.reynolds * craft.rail.base_x < HIGH_REYNOLDS):
        summary[X_TIME_REYNOLDS] += period
    stalled = 0.0
    for p in range(craft.seen.shape[0]):
        stalled = max(stalled, craft.seen[p, SeenColumn.STALL])
        if craft.aero.panel[p, PanelColumn.CONTROL] >= 0.0:
            summary[X_HINGE] = max(summary[X_HINGE], abs(craft.seen[p, SeenColumn.HINGE]))
    if stalled > STALL_LIMIT:
        summary[X_TIME_STALLED] += period


@kernel
def _watch_fall(tally, craft, load, period):
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
    if not (LOW_REYNOLDS < load.reynolds * craft.rail.base_x < HIGH_REYNOLDS):
        tally[Tally.FALL_REYNOLDS] += period
    if load.reynolds * load.cross_speed * craft.aero.length > CRISIS_REYNOLDS * load.air_speed:
        tally[Tally.FALL_CRISIS] += period


@kernel
def _watch_control(summary, s, boosting, work):
    tally = work.tally
    nose, roll = nose_error(s.q, sensed_goal(work.sensed))
    if boosting:
        tally[Tally.BOOST] += nose * nose
        tally[Tally.BOOST_TICKS] += 1.0
    else:
        tally[Tally.COAST] += nose * nose
        tally[Tally.COAST_TICKS] += 1.0
    tally[Tally.ROLL] += roll * roll
    tally[Tally.LIVE] += 1.0
    tally[Tally.CUT] += work.sensed[S_SATURATED]
    tally[Tally.SIGN_PITCH] = _reversal(s.w.y, tally[Tally.SIGN_PITCH], tally)
    tally[Tally.SIGN_YAW] = _reversal(s.w.z, tally[Tally.SIGN_YAW], tally)
    summary[X_ERROR_MAX] = max(summary[X_ERROR_MAX], nose)
    summary[X_ROLL_ERROR_MAX] = max(summary[X_ROLL_ERROR_MAX], abs(roll))


@helper
def _reversal(rate, sign, tally):
    """Return the side a body rate was last clearly on, and count its changes."""
    now = 1.0 if rate > QUIET_RATE else (-1.0 if rate < -QUIET_RATE else sign)
    if now * sign < 0.0:
        tally[Tally.REVERSALS] += 1.0
    return now


@kernel
def watch_servos(work, servo, h):
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
def _mean(total, count):
    return total / count if count > 0.0 else nan


def last_incidence(tally):
    """Return (mean, least, largest) incidence over the last 1.5 to 3 s of a fall without a canopy, rad; NaN without one."""
    ticks, before = tally[Tally.TICKS], tally[Tally.TICKS_BEFORE]
    if ticks + before == 0.0:
        return nan, nan, nan
    pieces = [first for first, count in ((0, ticks), (PIECE, before)) if count > 0.0]
    mean = (tally[Tally.INCIDENCE] + tally[Tally.INCIDENCE_BEFORE]) / (ticks + before)
    return mean, min(tally[Tally.LEAST + p] for p in pieces), max(tally[Tally.MOST + p] for p in pieces)


@kernel
def finish(summary, work):
    """Turn the running sums into outcomes at the end of a flight; what had no live tick is NaN."""
    tally = work.tally
    summary[X_ERROR_BOOST] = sqrt(_mean(tally[Tally.BOOST], tally[Tally.BOOST_TICKS]))
    summary[X_ERROR_COAST] = sqrt(_mean(tally[Tally.COAST], tally[Tally.COAST_TICKS]))
    summary[X_ERROR_RMS] = sqrt(_mean(tally[Tally.BOOST] + tally[Tally.COAST], tally[Tally.LIVE]))
    summary[X_ROLL_RMS] = sqrt(_mean(tally[Tally.ROLL], tally[Tally.LIVE]))
    summary[X_SATURATION] = _mean(tally[Tally.CUT], tally[Tally.LIVE])
    summary[X_REVERSALS] = tally[Tally.REVERSALS]
    summary[X_RATE_SHARE] = _mean(tally[Tally.AT_RATE], tally[Tally.MOVING])
    summary[X_SERVO_TRAVEL], summary[X_SERVO_ENERGY] = tally[Tally.TRAVEL], tally[Tally.ENERGY]
    if tally[Tally.LIVE] == 0.0:
        summary[X_ERROR_MAX] = summary[X_ROLL_ERROR_MAX] = nan
    if summary[X_MIN_MARGIN] == inf:
        summary[X_MIN_MARGIN] = nan
