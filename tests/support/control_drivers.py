"""Drivers of the flight computer's parts for tests: control law, mixer, servo chain, sensors, estimator, waypoints."""

from __future__ import annotations

import math

import numpy as np

from sixdof._jit import kernel
from sixdof.core.actuator import ISSUED, fail_fins, issue, keep_fins, move_fins, pick_targets, switch_delay, with_play
from sixdof.core.columns import FIN_ROWS, MOTOR_ROWS, FinRow
from sixdof.core.computer.columns import ERROR_COLUMNS, ESTIMATE_COLUMNS, EstimateColumn
from sixdof.core.computer.control import attitude_error, pid
from sixdof.core.computer.estimator import Estimator, align, estimate
from sixdof.core.computer.guidance import Guidance, aim, attitude_of_direction, slewed, watch_waypoints
from sixdof.core.computer.sensors import HISTORY, Chance, Inertial, draw_constants, fix_due, read_barometer, read_gnss, read_inertial, remember
from sixdof.core.types import Quat, Vec3

SWITCH = 1e-9  # s: two moments closer than this are one


def vec(values) -> Vec3:
    """Return a Vec3 of three numbers."""
    return Vec3(*(float(v) for v in values))


def quat(values) -> Quat:
    """Return a Quat of four numbers, scalar first."""
    return Quat(*(float(v) for v in values))


def chance(seed=1, flight=0) -> Chance:
    """Return a seed and a flight as the kernels take them."""
    return Chance(np.uint64(seed), np.uint64(flight))


# ---------------------------------------------------------------- control


@kernel
def _pid(errors, rates, goal_rates, gain, gains, held, memory, period, out):
    for k in range(errors.shape[0]):
        demand = pid(errors[k], rates[k], goal_rates[k], gain[0], gain[1], gain[2], gain[3], 1.0, held[k], gains, memory, 0, period)
        out[k, 0], out[k, 1], out[k, 2] = demand, memory[0], memory[1]


def run_pid(errors, gains, *, p=0.0, i=0.0, d=0.0, rates=None, goal_rates=None, held=None, period=0.01):
    """Return (samples, 3): demand, integral, derivative of one channel of the built-in law over a row of errors."""
    errors = np.array(errors, dtype=float)
    out = np.empty((errors.size, 3))
    rates, goal_rates, held = (np.zeros_like(errors) if v is None else np.array(v, dtype=float) for v in (rates, goal_rates, held))
    _pid(errors, rates, goal_rates, np.array([p, i, d, 0.0]), gains, held, np.zeros(9), period, out)
    return out


@kernel
def _error(sensed, out):
    out[0], out[1], out[2] = attitude_error(sensed)


def error_of(sensed):
    """Return the three attitude errors the built-in law sees."""
    out = np.empty(3)
    _error(sensed, out)
    return out


# ---------------------------------------------------------------- servos


@kernel
def _chain(commands, servo, period, steps, hinge, failure, issued, targets, centring, state, fins, motors, out, angles):
    row = 0
    for tick in range(commands.shape[0]):
        t = tick * period
        issue(t, commands[tick], issued, np.int64(tick), servo)
        fail_fins(t, failure, state, fins)
        late = switch_delay(servo, period)[1]
        switched = late <= 0.0
        pick_targets(issued, np.int64(tick), np.int64(0 if switched else 1), servo, period, centring, targets)
        for k in range(steps):
            end = t + (k + 1) * period / steps
            now = t + k * period / steps
            if not switched and tick * period + late < end - SWITCH:
                h = tick * period + late - now
                if h > SWITCH:
                    move_fins(fins, motors, targets, state, hinge, servo, h)
                    keep_fins(fins, motors)
                    now += h
                pick_targets(issued, np.int64(tick), np.int64(0), servo, period, centring, targets)
                switched = True
            move_fins(fins, motors, targets, state, hinge, servo, end - now)
            keep_fins(fins, motors)
            if not switched and tick * period + late < end + SWITCH:
                pick_targets(issued, np.int64(tick), np.int64(0), servo, period, centring, targets)
                switched = True
            for i in range(angles.shape[1]):
                out[row, i], angles[row, i] = fins[0, i], motors[0, i]
            row += 1


def servo_chain(commands, servo, *, period=0.01, steps=2, hinge=0.0, failure=None, centring=0.0):
    """Return (times, fin angles, motor angles, carried) of servos driven by commands (ticks, fins), `steps` a tick.

    hinge : moment on every fin, N m. failure : (fins, 2), kind and time. carried : share of its load each fin carries at the end.
    """
    commands = np.array(commands, dtype=float).reshape(len(commands), -1)
    ticks, n = commands.shape
    fins, motors = np.zeros((FIN_ROWS, n)), np.zeros((MOTOR_ROWS, n))
    fins[FinRow.CARRIED] = 1.0
    out, angles = np.empty((ticks * steps, n)), np.empty((ticks * steps, n))
    failure = np.zeros((n, 2)) if failure is None else np.array(failure, dtype=float)
    _chain(
        commands,
        servo,
        period,
        steps,
        np.full(n, float(hinge)),
        failure,
        np.zeros((ISSUED, n)),
        np.zeros(n),
        np.full(n, float(centring)),
        np.zeros(n),
        fins,
        motors,
        out,
        angles,
    )
    return period / steps * np.arange(1, ticks * steps + 1), out, angles, fins[FinRow.CARRIED].copy()


@kernel
def _play(motor, play, out):
    fin = 0.0
    for i in range(motor.shape[0]):
        fin = with_play(fin, motor[i], play)
        out[i] = fin


def play_of(motor, play):
    """Return the fin's angles (n,) behind a play for a row of the motor's angles."""
    out = np.empty_like(motor)
    _play(np.ascontiguousarray(motor, dtype=float), play, out)
    return out


# ---------------------------------------------------------------- sensors


def triad(**values) -> Inertial:
    """Return an ideal inertial triad but for `values`."""
    return Inertial(**({"bias": 0.0, "noise": 0.0, "scale": 0.0, "misalignment": 0.0, "range": math.inf} | values))


@kernel
def _inertial(truth, sensor, constants, first, stream, chance, period, out):
    for k in range(out.shape[0]):
        v = read_inertial(Vec3(truth[0], truth[1], truth[2]), sensor, constants, first, stream, chance, np.int64(k), period)
        out[k, 0], out[k, 1], out[k, 2] = v.x, v.y, v.z


def readings(truth, sensor, *, first, stream, count=1, period=0.01, constants=None, chance=chance()):
    """Return (count, 3) readings of a constant truth."""
    out = np.empty((count, 3))
    constants = np.zeros(ERROR_COLUMNS) if constants is None else constants
    _inertial(np.array(truth, dtype=float), sensor, constants, first, stream, chance, period, out)
    return out


def constants_of(sensors, chance):
    """Return the constant errors of one flight."""
    out = np.zeros(ERROR_COLUMNS)
    draw_constants(sensors, chance, out)
    return out


@kernel
def _baro(heights, sensor, constants, chance, step, out):
    lagged = heights[0]
    for k in range(heights.shape[0]):
        lagged, out[k] = read_barometer(heights[k], lagged, sensor, constants, chance, np.int64(k), step)


def barometer(heights, sensor, *, step=0.01, constants=None, chance=chance()):
    """Return the readings (n,) of a barometer that begins at rest at the first height."""
    heights = np.array(heights, dtype=float)
    out = np.empty_like(heights)
    _baro(heights, sensor, np.zeros(ERROR_COLUMNS) if constants is None else constants, chance, step, out)
    return out


@kernel
def _fixes(places, sensor, chance, force, speed, history, fix, out):
    for k in range(places.shape[0]):
        p = places[k]
        remember(history, np.int64(k), Vec3(p[0], p[1], p[2]), Vec3(p[3], p[4], p[5]))
        out[k, 0] = 0.0
        if fix_due(np.int64(k), np.int64(1), sensor):
            out[k, 0] = read_gnss(history, np.int64(k), sensor, chance, force[k], speed[k], fix)
        for i in range(6):
            out[k, 1 + i] = fix[i]


def fixes(places, sensor, *, force=0.0, speed=0.0, chance=chance()):
    """Return (ticks, 7): whether there was a fix, and the last fix, for places (ticks, 6) of position and velocity."""
    places = np.ascontiguousarray(places, dtype=float)
    n = len(places)
    out = np.empty((n, 7))
    force, speed = (np.broadcast_to(np.asarray(v, dtype=float), n).copy() for v in (force, speed))
    _fixes(places, sensor, chance, force, speed, np.zeros((HISTORY, 6)), np.zeros(6), out)
    return out


# ---------------------------------------------------------------- estimator


def estimator(**values) -> Estimator:
    """Return an estimator without aiding but for `values`."""
    keys = ("heading", "baro_position", "baro_velocity", "gnss_position", "gnss_velocity", "magnetic")
    return Estimator(**(dict.fromkeys(keys, 0.0) | values))


@kernel
def _estimate(rates, forces, heights, fresh, fixes, fixed, latency, magnets, estimator, earth, period, fitted, field, state, out):
    for k in range(rates.shape[0]):
        w, f, m = rates[k], forces[k], magnets[k]
        if fixed[k] > 0:
            for i in range(6):
                state[EstimateColumn.FIX + i] = fixes[k, i]
        estimate(
            state,
            Vec3(w[0], w[1], w[2]),
            Vec3(f[0], f[1], f[2]),
            heights[k],
            fresh[k],
            float(fixed[k]),
            Vec3(m[0], m[1], m[2]),
            latency,
            estimator,
            earth,
            True,
            period,
            fitted,
            field,
        )
        for i in range(out.shape[1]):
            out[k, i] = state[i]


def estimates(
    rates,
    forces,
    *,
    start=(1.0, 0.0, 0.0, 0.0),
    aids=None,
    period=0.01,
    heights=None,
    magnets=None,
    fixes=None,
    latency=0.0,
    field=(0.0, 1.0, 0.0),
    earth=(0.0, 0.0, 0.0),
):
    """Return the estimator's states (ticks, ESTIMATE_COLUMNS), moving all the time, from rest at the origin.

    rates, forces : (ticks, 3) readings. heights : barometer, every tick, if given. magnets : magnetometer, if given. fixes : (ticks, 6)
    of position and velocity as they arrive, `latency` old; a row of NaN brings none.
    """
    rates, forces = np.ascontiguousarray(rates, dtype=float), np.ascontiguousarray(forces, dtype=float)
    n = len(rates)
    state, out = np.zeros(ESTIMATE_COLUMNS), np.empty((n, ESTIMATE_COLUMNS))
    state[:4] = start
    fresh = np.full(n, 0 if heights is None else 1, dtype=np.int64)
    heights = np.zeros(n) if heights is None else np.array(heights, dtype=float)
    fitted = np.int64(0 if magnets is None else 1)
    magnets = np.zeros((n, 3)) if magnets is None else np.ascontiguousarray(magnets, dtype=float)
    fixes = np.full((n, 6), math.nan) if fixes is None else np.ascontiguousarray(fixes, dtype=float)
    fixed = np.isfinite(fixes).all(axis=1).astype(np.int64)
    _estimate(rates, forces, heights, fresh, fixes, fixed, float(latency), magnets, aids or estimator(), vec(earth), period, fitted, vec(field), state, out)
    return out


@kernel
def _align(state, q, r, estimator, constants, chance):
    align(state, q, r, estimator, constants, chance)


def aligned(q, constants, *, heading=0.0, chance=chance()):
    """Return the estimated attitude (4,) on the rail."""
    state = np.zeros(ESTIMATE_COLUMNS)
    _align(state, quat(q), Vec3(0.0, 0.0, 0.0), estimator(heading=heading), constants, chance)
    return state[:4].copy()


# ---------------------------------------------------------------- guidance


def guidance(points=(), **values) -> Guidance:
    """Return guidance to waypoints (rows of layout WP_*) without limits but for `values`."""
    base = {
        "profile": np.zeros((1, 4)),
        "over": 0,
        "smooth": 0,
        "slew": math.inf,
        "waypoint": np.ascontiguousarray(np.array(points, dtype=float).reshape(-1, 5)),
        "lead": 1.0,
        "most_incidence": math.inf,
        "most_tilt": math.pi,
        "most_load": math.inf,
        "load_slope": 0.0,
        "past_last": 0,
        "start_mode": 1,
        "feed_rate": 0,
    }
    return Guidance(**(base | values))


@kernel
def _aim(r, v, nose, pressure, guidance, out):
    u = aim(r, v, nose, pressure, 0, guidance)
    out[0], out[1], out[2] = u.x, u.y, u.z


def aimed(place, velocity, guidance, *, nose=(0.0, 0.0, 1.0), pressure=2000.0):
    """Return the direction (3,) in which the nose should point."""
    out = np.empty(3)
    _aim(vec(place), vec(velocity), vec(nose), pressure, guidance, out)
    return out


@kernel
def _watch(times, places, velocities, memory, guidance, passed, index):
    for k in range(times.shape[0]):
        p, v = places[k], velocities[k]
        watch_waypoints(times[k], Vec3(p[0], p[1], p[2]), Vec3(v[0], v[1], v[2]), memory, guidance, passed)
        index[k] = memory[0]


def watched(times, places, velocities, guidance):
    """Return (passed (waypoints, 2), number of the current waypoint at each time) along a path."""
    memory = np.zeros(64)
    memory[2] = math.inf
    passed, index = np.full((len(guidance.waypoint), 2), math.nan), np.empty(len(times))
    arrays = (np.ascontiguousarray(a, dtype=float) for a in (times, places, velocities))
    _watch(*arrays, memory, guidance, passed, index)
    return passed, index


@kernel
def _goal(u, frame, roll, out):
    q = attitude_of_direction(u, frame, roll)
    out[0], out[1], out[2], out[3] = q.w, q.x, q.y, q.z


def goal_towards(direction, frame, roll=0.0):
    """Return the goal attitude (4,) that points the nose along a unit vector."""
    out = np.empty(4)
    _goal(vec(direction), quat(frame), roll, out)
    return out


@kernel
def _slewed(goal, last, most, out):
    q = slewed(goal, last, most)
    out[0], out[1], out[2], out[3] = q.w, q.x, q.y, q.z


def slewed_goal(goal, last, most):
    """Return the goal (4,) after at most an angle `most` from the last one."""
    out = np.empty(4)
    _slewed(quat(goal), quat(last), most, out)
    return out
