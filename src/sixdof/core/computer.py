"""The flight computer at one tick: sensors -> estimate -> event rules -> guidance -> control -> mixer -> commands to the servos.

Trigonometry is allowed here: this runs once a tick, not once a derivative. Guidance and control are the built-in laws or whatever
stands at the address of a law of the user's own.
"""

from __future__ import annotations

from math import acos, asin, atan2, inf, sqrt

from sixdof._jit import call_law, helper, kernel
from sixdof.core.actuator import issue
from sixdof.core.algebra import clip, conjugate, matrix_of, multiply, norm, sub
from sixdof.core.control import built_in_control, mix
from sixdof.core.estimator import E_AGE, E_BARO, E_FIX, E_LAG, E_MX, E_QW, E_VX, E_X, estimate
from sixdof.core.guidance import M_INDEX, built_in_guidance
from sixdof.core.layout import (
    D_DEPLOY, D_DIRECT, D_ENABLE, D_FIN, D_PITCH, D_ROLL, D_YAW, GOAL_SIZE, S_BARO, S_BOOSTER, S_EAST, S_ENABLED, S_FIELD_X, S_FIX_AGE, S_FIX_EAST,
    S_FRAME_W, S_FX, S_GOAL_P, S_GOAL_W, S_HEIGHT, S_LIFTOFF, S_MACH, S_MODE, S_NORTH, S_P, S_PERIOD, S_PRESSURE, S_QW, S_QX,
    S_QY, S_QZ, S_SATURATED, S_TIME, S_VE, S_VN, S_VU, S_WAYPOINT,
)  # fmt: skip
from sixdof.core.loads import air_at
from sixdof.core.sensors import (
    C_ACCELEROMETER, C_GYRO, GYRO, ACCELEROMETER, read_barometer, read_gnss, read_inertial, read_magnetometer, remember,
)  # fmt: skip
from sixdof.core.types import (
    ACTION_DEPLOY, ACTION_DISABLE, ACTION_ENABLE, ACTION_GUIDE, RULE_ACTION, RULE_DELAY, RULE_SPEED_ABOVE, RULE_SPEED_BELOW,
    RULE_TARGET, RULE_THRESHOLD, RULE_TILT_BELOW, RULE_TRIGGER, TRIGGER_APOGEE, TRIGGER_BURNOUT, TRIGGER_CLIMBING,
    TRIGGER_FALLING, TRIGGER_LIFTOFF, TRIGGER_RAIL, TRIGGER_TIME, Quat, Vec3,
)  # fmt: skip

LIFTOFF_FORCE = 20.0  # specific force along the axis that counts as liftoff, m/s^2 (about 2 g, common practice)
LIFTOFF_HEIGHT = 10.0  # m: liftoff is also noticed by the height gained

# what the computer has noticed so far: times, -1 before
N_LIFTOFF, N_RAIL, N_BURNOUT, N_APOGEE = range(4)
NOTICE_SIZE = 4
# state of one rule
R_ARMED, R_FIRED = range(2)
# switches: fins live, guidance mode, which of the user's laws failed (1 guidance, 2 control) and with what status
SW_FINS, SW_MODE, SW_FAILED, SW_STATUS = range(4)
SWITCHES = 4


@helper
def sensed_goal(sensed):
    return Quat(sensed[S_GOAL_W], sensed[S_GOAL_W + 1], sensed[S_GOAL_W + 2], sensed[S_GOAL_W + 3])


@helper
def sensed_attitude(sensed):
    return Quat(sensed[S_QW], sensed[S_QX], sensed[S_QY], sensed[S_QZ])


@helper
def sensed_frame(sensed):
    return Quat(sensed[S_FRAME_W], sensed[S_FRAME_W + 1], sensed[S_FRAME_W + 2], sensed[S_FRAME_W + 3])


@helper
def sensed_place(sensed):
    return Vec3(sensed[S_EAST], sensed[S_NORTH], sensed[S_HEIGHT])


@helper
def sensed_velocity(sensed):
    return Vec3(sensed[S_VE], sensed[S_VN], sensed[S_VU])


@helper
def _put(a, i, v):
    a[i], a[i + 1], a[i + 2] = v.x, v.y, v.z


@helper
def _put4(a, i, q):
    a[i], a[i + 1], a[i + 2], a[i + 3] = q.w, q.x, q.y, q.z


@kernel
def measure(tick, stride, s, force, matrix, computer, chance, work):
    """Read the sensors of a tick, advance the estimate, and fill `sensed` with readings and estimate."""
    sensors, state, constants = computer.sensors, work.estimate, work.constants
    step = stride * computer.period
    gyro = read_inertial(s.w, sensors.gyro, constants, C_GYRO, GYRO, chance, tick, computer.period)
    felt = read_inertial(
        force, sensors.accelerometer, constants, C_ACCELEROMETER, ACCELEROMETER, chance, tick, computer.period
    )
    state[E_LAG], baro = read_barometer(s.r.z, state[E_LAG], sensors.barometer, constants, chance, tick, step)
    magnet = Vec3(0.0, 0.0, 0.0)
    if sensors.magnetometer.fitted > 0:
        magnet = read_magnetometer(matrix, sensors.magnetometer, constants, chance, tick)
    fix = read_gnss(
        work.history, tick, stride, sensors.gnss, chance, norm(force), norm(s.v), state[E_FIX : E_FIX + 6]
    )
    every = sensors.barometer.every
    fresh = 1 if tick // every > (tick - stride) // every else 0
    if fresh == 0:
        baro = state[E_BARO]
    moving = 1 if work.notice[N_LIFTOFF] >= 0.0 or felt.x > LIFTOFF_FORCE else 0
    estimate(
        state, gyro, felt, baro, fresh, fix, magnet, sensors.gnss.latency * computer.period, computer.estimator,
        computer.earth_rate, moving, step, sensors.magnetometer.fitted, sensors.magnetometer.field,
    )  # fmt: skip
    sensed = work.sensed
    for i in range(3):
        sensed[S_EAST + i] = state[E_X + i]
        sensed[S_VE + i] = state[E_VX + i]
        sensed[S_FIELD_X + i] = state[E_MX + i]
    for i in range(4):
        sensed[S_QW + i] = state[E_QW + i]
    for i in range(6):
        sensed[S_FIX_EAST + i] = state[E_FIX + i]
    _put(sensed, S_P, gyro)
    _put(sensed, S_FX, felt)
    sensed[S_BARO], sensed[S_FIX_AGE] = baro, state[E_AGE]


@kernel
def tell_truth(s, force, sensed):
    """Fill `sensed` with the truth: ideal sensors and estimator."""
    _put(sensed, S_EAST, s.r)
    _put(sensed, S_VE, s.v)
    _put4(sensed, S_QW, s.q)
    _put(sensed, S_P, s.w)
    _put(sensed, S_FX, force)
    sensed[S_BARO], sensed[S_FIX_AGE] = s.r.z, 0.0
    _put(sensed, S_FIX_EAST, s.r)
    _put(sensed, S_FIX_EAST + 3, s.v)


@kernel
def sense(t, tick, stride, s, force, matrix, model, frame, chance, work):
    """Fill `sensed` with everything but the goal."""
    computer, sensed = model.computer, work.sensed
    if computer.sensors.ideal > 0:
        tell_truth(s, force, sensed)
    else:
        for k in range(tick - stride + 1, tick + 1):
            remember(work.history, k, s.r, s.v)
        measure(tick, stride, s, force, matrix, computer, chance, work)
    sensed[S_TIME] = t
    air = air_at(model.world, sensed[S_HEIGHT])
    speed2 = sensed[S_VE] ** 2 + sensed[S_VN] ** 2 + sensed[S_VU] ** 2
    sensed[S_PRESSURE] = 0.5 * air.density * speed2
    sensed[S_MACH] = sqrt(speed2) / air.sound
    _put4(sensed, S_FRAME_W, frame)
    sensed[S_PERIOD] = stride * computer.period


@kernel
def notice_phases(sensed, aft_travel, notice):
    """Update what the computer has noticed (liftoff, rail, burnout, apogee) from sensed values alone."""
    t = sensed[S_TIME]
    if notice[N_LIFTOFF] < 0.0:
        if sensed[S_FX] > LIFTOFF_FORCE or sensed[S_HEIGHT] > LIFTOFF_HEIGHT:
            notice[N_LIFTOFF] = t
        else:
            return
    e, n, h = sensed[S_EAST], sensed[S_NORTH], sensed[S_HEIGHT]
    if notice[N_RAIL] < 0.0 and e * e + n * n + h * h > aft_travel * aft_travel:
        notice[N_RAIL] = t
    if notice[N_BURNOUT] < 0.0 and sensed[S_FX] < 0.0:
        notice[N_BURNOUT] = t
    if notice[N_APOGEE] < 0.0 and sensed[S_VU] < 0.0 and notice[N_RAIL] >= 0.0:
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
    """Fire the rules that are due. switches: SW_*; opened[c]: time canopy c was released, -1 before."""
    t = sensed[S_TIME]
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
        if t < state[i, R_ARMED] + delay - 1e-9 or _inhibited(rules[i], sensed):
            continue
        state[i, R_FIRED] = t
        target = int(rules[i, RULE_TARGET])
        if action == ACTION_ENABLE:
            switches[SW_FINS] = 1.0
        elif action == ACTION_DISABLE:
            switches[SW_FINS] = 0.0
        elif action == ACTION_GUIDE:
            switches[SW_MODE] = rules[i, RULE_TARGET]
        elif opened[target] < 0.0:
            opened[target] = t


@helper
def _inhibited(rule, sensed):
    low, high = max(rule[RULE_SPEED_ABOVE], 0.0), rule[RULE_SPEED_BELOW]
    speed2 = sensed[S_VE] ** 2 + sensed[S_VN] ** 2 + sensed[S_VU] ** 2
    if speed2 < low * low or (high < inf and speed2 > high * high):
        return True
    if rule[RULE_TILT_BELOW] < inf:
        return tilt_angles(sensed_frame(sensed), sensed_attitude(sensed))[3] > rule[RULE_TILT_BELOW]
    return False


@kernel
def steer(t, model, frame, work):
    """Run guidance and leave its goal in `sensed`; return 0, or 1 if a law of the user's own failed."""
    sensed, guidance = work.sensed, model.computer.guidance
    if work.laws[0] != 0:
        failed = call_law(work.laws[0], t, sensed, work.guidance_memory, work.guidance_gains, work.goal)
        for i in range(GOAL_SIZE):
            sensed[S_GOAL_W + i] = work.goal[i]
        return failed
    goal = built_in_guidance(
        t, sensed[S_LIFTOFF], sensed_place(sensed), sensed_velocity(sensed), sensed_attitude(sensed), frame,
        sensed[S_PRESSURE], int(work.switches[SW_MODE]), work.guidance_memory, guidance, work.passed, model.computer.period,
    )  # fmt: skip
    sensed[S_WAYPOINT] = work.guidance_memory[M_INDEX]
    if sensed[S_LIFTOFF] >= 0.0 and guidance.feed_rate > 0:
        # the goal's own turning rate, from its change since the last tick
        e = multiply(conjugate(sensed_goal(sensed)), goal)
        k = 2.0 / model.computer.period if e.w >= 0.0 else -2.0 / model.computer.period
        _put(sensed, S_GOAL_P, Vec3(k * e.x, k * e.y, k * e.z))
    _put4(sensed, S_GOAL_W, goal)
    return 0


@kernel
def control(t, tick, model, craft, work):
    """Run the control law, mix its demands and issue commands to the servos; return 0, or 1 if a law failed."""
    sensed, command, failed = work.sensed, work.command, 0
    if work.laws[1] != 0:
        failed = call_law(work.laws[1], t, sensed, work.memory, work.gains, command)
        if command[D_ENABLE] > 0.0:
            work.switches[SW_FINS] = 1.0
        elif command[D_ENABLE] < 0.0:
            work.switches[SW_FINS] = 0.0
        canopy = int(command[D_DEPLOY]) - 1
        if 0 <= canopy < work.opened.shape[0] and work.opened[canopy] < 0.0:
            work.opened[canopy] = t
        if work.switches[SW_FINS] < 0.5:
            command[D_ROLL] = command[D_PITCH] = command[D_YAW] = 0.0
    else:
        built_in_control(t, sensed, work.memory, work.gains, command)
    limited = 0.0
    if command[D_DIRECT] > 0.0 and work.switches[SW_FINS] > 0.5:
        for i in range(work.fin_command.shape[0]):
            wanted = command[D_FIN + i] if D_FIN + i < command.shape[0] else 0.0
            work.fin_command[i] = clip(wanted, -craft.servo.travel, craft.servo.travel)
            if work.fin_command[i] != wanted:
                limited = 1.0
    else:
        limited = mix(command, model.computer.mixer, craft.servo.travel, model.computer.roll_first, work.fin_command)
    sensed[S_SATURATED] = limited
    issue(t, work.fin_command, work.issued, tick, craft.servo)
    return failed


@kernel
def run_tick(t, tick, stride, s, force, matrix, craft, frame, model, draw, chance, work):
    """Run the flight computer once; return 0, or 1 if a law of the user's own failed.

    stride : ticks since the last run (more than one under a canopy). force : specific force, body axes, m/s^2. matrix : body ->
    world.
    """
    sensed = work.sensed
    sense(t, tick, stride, s, force, matrix, model, frame, chance, work)
    notice_phases(sensed, craft.rail.aft_travel, work.notice)
    sensed[S_LIFTOFF] = t - work.notice[N_LIFTOFF] if work.notice[N_LIFTOFF] >= 0.0 else -1.0
    run_rules(model.computer.rules, work.rules, sensed, work.notice, draw.canopy_delay, work.switches, work.opened)
    sensed[S_ENABLED], sensed[S_MODE] = work.switches[SW_FINS], work.switches[SW_MODE]
    sensed[S_BOOSTER] = model.computer.booster
    status = steer(t, model, frame, work)
    if status != 0:
        work.switches[SW_FAILED], work.switches[SW_STATUS] = 1.0, float(status)
        return 1
    status = control(t, tick, model, craft, work)
    if status != 0:
        work.switches[SW_FAILED], work.switches[SW_STATUS] = 2.0, float(status)
        return 1
    return 0


@helper
def estimate_errors(sensed, s):
    """Return (attitude, position, velocity) error of the estimate: rad, m, m/s."""
    e = multiply(conjugate(s.q), sensed_attitude(sensed))
    angle = 2.0 * asin(clip(sqrt(e.x * e.x + e.y * e.y + e.z * e.z), 0.0, 1.0))
    return angle, norm(sub(sensed_place(sensed), s.r)), norm(sub(sensed_velocity(sensed), s.v))
