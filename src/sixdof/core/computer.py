"""The flight computer at one tick: sensed values -> guidance -> control -> mixer -> fin commands, and the event rules.

Trigonometry is allowed here: this runs once a tick, not once a derivative. Sensed values are the truth in this version.
"""

from __future__ import annotations

from math import acos, asin, atan2, inf

from sixdof._jit import helper, kernel
from sixdof.core.algebra import clip, conjugate, matrix_of, multiply, tilt_quaternion
from sixdof.core.layout import (
    G_HIGH, G_LIMIT, G_LOW, G_PITCH, G_PRESSURE, G_ROLL, G_YAW, S_EAST, S_ENABLED, S_FRAME_W, S_FRAME_X, S_FRAME_Y,
    S_FRAME_Z, S_FX, S_FY, S_FZ, S_GOAL_W, S_GOAL_X, S_GOAL_Y, S_GOAL_Z, S_HEIGHT, S_LIFTOFF, S_NORTH, S_P, S_PERIOD,
    S_PRESSURE, S_Q, S_QW, S_QX, S_QY, S_QZ, S_R, S_TIME, S_VE, S_VN, S_VU,
)  # fmt: skip
from sixdof.core.types import (
    ACTION_DEPLOY, ACTION_DISABLE, ACTION_ENABLE, RULE_ACTION, RULE_DELAY, RULE_SPEED_ABOVE, RULE_SPEED_BELOW, RULE_TARGET,
    RULE_THRESHOLD, RULE_TILT_BELOW, RULE_TRIGGER, TRIGGER_APOGEE, TRIGGER_BURNOUT, TRIGGER_CLIMBING, TRIGGER_FALLING,
    TRIGGER_LIFTOFF, TRIGGER_RAIL, TRIGGER_TIME, Quat,
)  # fmt: skip

LIFTOFF_FORCE = 20.0  # specific force along the axis that counts as liftoff, m/s^2 (about 2 g, common practice)

# what the computer has noticed so far: times, -1 before
N_LIFTOFF, N_RAIL, N_BURNOUT, N_APOGEE, N_LAST_HEIGHT = range(5)
NOTICE_SIZE = 5
# state of one rule
R_ARMED, R_FIRED = range(2)


@helper
def sensed_goal(sensed):
    return Quat(sensed[S_GOAL_W], sensed[S_GOAL_X], sensed[S_GOAL_Y], sensed[S_GOAL_Z])


@helper
def sensed_attitude(sensed):
    return Quat(sensed[S_QW], sensed[S_QX], sensed[S_QY], sensed[S_QZ])


@helper
def sensed_frame(sensed):
    return Quat(sensed[S_FRAME_W], sensed[S_FRAME_X], sensed[S_FRAME_Y], sensed[S_FRAME_Z])


@kernel
def sense(t, s, force, density, frame, period, enabled, notice, sensed):
    """Fill `sensed` from the truth. force: specific force in body axes, m/s^2; density: of the height, kg/m^3."""
    sensed[S_TIME] = t
    sensed[S_LIFTOFF] = t - notice[N_LIFTOFF] if notice[N_LIFTOFF] >= 0.0 else -1.0
    sensed[S_EAST], sensed[S_NORTH], sensed[S_HEIGHT] = s.r.x, s.r.y, s.r.z
    sensed[S_VE], sensed[S_VN], sensed[S_VU] = s.v.x, s.v.y, s.v.z
    sensed[S_QW], sensed[S_QX], sensed[S_QY], sensed[S_QZ] = s.q.w, s.q.x, s.q.y, s.q.z
    sensed[S_P], sensed[S_Q], sensed[S_R] = s.w.x, s.w.y, s.w.z
    sensed[S_FX], sensed[S_FY], sensed[S_FZ] = force.x, force.y, force.z
    sensed[S_PRESSURE] = 0.5 * density * (s.v.x * s.v.x + s.v.y * s.v.y + s.v.z * s.v.z)
    sensed[S_FRAME_W], sensed[S_FRAME_X], sensed[S_FRAME_Y], sensed[S_FRAME_Z] = frame.w, frame.x, frame.y, frame.z
    sensed[S_PERIOD] = period
    sensed[S_ENABLED] = enabled


@helper
def profile_at(profile, t):
    """Return (tilt_pitch, tilt_yaw, roll) of the profile at t, straight lines between rows, held beyond both ends."""
    n = profile.shape[0]
    if t <= profile[0, 0]:
        return profile[0, 1], profile[0, 2], profile[0, 3]
    for i in range(n - 1):
        if t < profile[i + 1, 0]:
            f = (t - profile[i, 0]) / (profile[i + 1, 0] - profile[i, 0])
            return (
                profile[i, 1] + f * (profile[i + 1, 1] - profile[i, 1]),
                profile[i, 2] + f * (profile[i + 1, 2] - profile[i, 2]),
                profile[i, 3] + f * (profile[i + 1, 3] - profile[i, 3]),
            )
    return profile[n - 1, 1], profile[n - 1, 2], profile[n - 1, 3]


@kernel
def attitude_guidance(sensed, profile):
    """Write the goal attitude of the profile into `sensed`; return its (tilt_pitch, tilt_yaw, roll)."""
    pitch, yaw, roll = profile_at(profile, sensed[S_LIFTOFF])
    goal = multiply(sensed_frame(sensed), tilt_quaternion(pitch, yaw, roll))
    sensed[S_GOAL_W], sensed[S_GOAL_X], sensed[S_GOAL_Y], sensed[S_GOAL_Z] = goal.w, goal.x, goal.y, goal.z
    return pitch, yaw, roll


@helper
def _pid(gains, first, error, rate, memory, slot, scale, period):
    """Return one channel's demand: P on the attitude error, I with its part of the demand limited, D on the body rate."""
    limit = gains[G_LIMIT]
    memory[slot] = clip(memory[slot] + gains[first + 1] * error * period, -limit, limit)
    return scale * (gains[first] * error + memory[slot] - gains[first + 2] * rate)


@kernel
def attitude_control(t, sensed, memory, gains, command):
    """The built-in control law: quaternion attitude error and body rates -> roll, pitch, yaw demands (rad of fin).

    The error is twice the vector part of the quaternion from the actual to the wanted attitude, the short way round:
    the small-angle error about each body axis, and never singular. Gains are multiplied by pressure/q within limits.
    """
    if sensed[S_ENABLED] < 0.5:
        memory[0] = memory[1] = memory[2] = 0.0
        command[0] = command[1] = command[2] = 0.0
        return
    e = multiply(conjugate(sensed_attitude(sensed)), sensed_goal(sensed))
    k = 2.0 if e.w >= 0.0 else -2.0
    scale = 1.0
    if gains[G_PRESSURE] > 0.0:
        scale = clip(gains[G_PRESSURE] / max(sensed[S_PRESSURE], 1.0), gains[G_LOW], gains[G_HIGH])
    period = sensed[S_PERIOD]
    command[0] = _pid(gains, G_ROLL, k * e.x, sensed[S_P], memory, 0, scale, period)
    command[1] = _pid(gains, G_PITCH, k * e.y, sensed[S_Q], memory, 1, scale, period)
    command[2] = _pid(gains, G_YAW, k * e.z, sensed[S_R], memory, 2, scale, period)


@kernel
def mix(command, mixer, travel, fins):
    """Fill the fin commands from the demands, limited to the travel; return 1 if any was limited, else 0."""
    limited = 0.0
    for i in range(fins.shape[0]):
        wanted = mixer[i, 0] * command[0] + mixer[i, 1] * command[1] + mixer[i, 2] * command[2]
        fins[i] = clip(wanted, -travel, travel)
        if fins[i] != wanted:
            limited = 1.0
    return limited


@kernel
def notice_phases(sensed, aft_travel, notice):
    """Update what the computer has noticed (liftoff, rail, burnout, apogee) from sensed values alone."""
    t = sensed[S_TIME]
    if notice[N_LIFTOFF] < 0.0:
        if sensed[S_FX] > LIFTOFF_FORCE or sensed[S_HEIGHT] > 10.0:
            notice[N_LIFTOFF] = t
        return
    e, n, h = sensed[S_EAST], sensed[S_NORTH], sensed[S_HEIGHT]
    if notice[N_RAIL] < 0.0 and e * e + n * n + h * h > aft_travel * aft_travel:
        notice[N_RAIL] = t
    if notice[N_BURNOUT] < 0.0 and sensed[S_FX] < 0.0:
        notice[N_BURNOUT] = t
    if notice[N_APOGEE] < 0.0 and sensed[S_VU] < 0.0:
        notice[N_APOGEE] = t


@helper
def _triggered(trigger, threshold, sensed, notice):
    if trigger == TRIGGER_TIME:
        return sensed[S_TIME] >= threshold
    if trigger == TRIGGER_LIFTOFF:
        return notice[N_LIFTOFF] >= 0.0
    if trigger == TRIGGER_RAIL:
        return notice[N_RAIL] >= 0.0
    if trigger == TRIGGER_BURNOUT:
        return notice[N_BURNOUT] >= 0.0
    if trigger == TRIGGER_APOGEE:
        return notice[N_APOGEE] >= 0.0
    if trigger == TRIGGER_CLIMBING:
        return notice[N_LIFTOFF] >= 0.0 and sensed[S_HEIGHT] >= threshold
    if trigger == TRIGGER_FALLING:
        return notice[N_APOGEE] >= 0.0 and sensed[S_HEIGHT] <= threshold
    return False


@kernel
def tilt_angles(frame, q):
    """Return (tilt_pitch, tilt_yaw, roll, tilt) of an attitude in the launch frame; tilt is the nose's angle from the vertical."""
    m = matrix_of(multiply(conjugate(frame), q))
    return (
        asin(clip(m.zx, -1.0, 1.0)),  # theta = -asin(m_zx), tilt_pitch = -theta
        atan2(m.yx, m.xx),
        atan2(m.zy, m.zz),
        acos(clip(m.xx, -1.0, 1.0)),
    )


@kernel
def run_rules(rules, state, sensed, notice, extra_delay, switches, opened):
    """Fire the rules that are due. switches[0]: fins enabled; opened[c]: time canopy c was released, -1 before."""
    t = sensed[S_TIME]
    _, _, _, tilt = tilt_angles(sensed_frame(sensed), sensed_attitude(sensed))
    speed2 = sensed[S_VE] ** 2 + sensed[S_VN] ** 2 + sensed[S_VU] ** 2
    for i in range(rules.shape[0]):
        if state[i, R_FIRED] >= 0.0:
            continue
        if state[i, R_ARMED] < 0.0:
            if not _triggered(int(rules[i, RULE_TRIGGER]), rules[i, RULE_THRESHOLD], sensed, notice):
                continue
            state[i, R_ARMED] = t
        action = int(rules[i, RULE_ACTION])
        delay = rules[i, RULE_DELAY]
        if action == ACTION_DEPLOY:
            delay += extra_delay
        if t < state[i, R_ARMED] + delay - 1e-9:
            continue
        low, high = max(rules[i, RULE_SPEED_ABOVE], 0.0), rules[i, RULE_SPEED_BELOW]
        if tilt > rules[i, RULE_TILT_BELOW] or speed2 < low * low or (high < inf and speed2 > high * high):
            continue
        state[i, R_FIRED] = t
        if action == ACTION_ENABLE:
            switches[0] = 1.0
        elif action == ACTION_DISABLE:
            switches[0] = 0.0
        elif opened[int(rules[i, RULE_TARGET])] < 0.0:
            opened[int(rules[i, RULE_TARGET])] = t
