"""The built-in estimator of attitude and position, such as small flight computers run.

Attitude: gyros integrated from the rail (no correction in flight unless a magnetometer is fitted: accelerometers read no gravity
in free flight). Position: accelerometers turned into world axes and integrated, pulled towards barometer and GNSS by fixed gains.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import add, cross, fill, matrix_of, multiply, normalised, quaternion_rate, scale, sub, to_body, to_world
from sixdof.core.computer.sensors import C_ACCELEROMETER
from sixdof.core.random import normal
from sixdof.core.types import Quat, Vec3

ALIGNMENT = np.uint64(112)  # random stream of the heading error on the rail
GRAVITY = 9.80665  # the computer's own idea of gravity, m/s^2


class Estimator(NamedTuple):
    heading: float  # sd of the heading error when the computer is aligned on the rail, rad
    baro_position: float  # share of a barometer's difference that moves the height, a sample
    baro_velocity: float  # and the climb rate, 1/s
    gnss_position: float  # share of a fix's difference that moves the position
    gnss_velocity: float  # and the velocity
    magnetic: float  # share of a magnetometer's angle that turns the attitude, a tick


# the state of the estimator, an array: attitude, position, velocity, last rate and acceleration, barometer lag, fix, its age
E_QW, E_QX, E_QY, E_QZ, E_X, E_Y, E_Z, E_VX, E_VY, E_VZ, E_PX, E_PY, E_PZ, E_AX, E_AY, E_AZ, E_LAG, E_BARO = (np.int64(i) for i in range(18))
E_FIX, E_AGE, E_MX, E_GYRO = np.int64(18), np.int64(24), np.int64(25), np.int64(28)  # E_GYRO: six numbers, sensors.lagged_rate
ESTIMATE_SIZE = 34


@helper
def _vec(a, i):
    return Vec3(a[i], a[i + 1], a[i + 2])


@helper
def _put(a, i, v):
    a[i], a[i + 1], a[i + 2] = v.x, v.y, v.z


@kernel
def align(state, q, r, estimator, constants, chance):
    """Start the estimate on the rail: levelled by the accelerometers (their bias tilts it), heading set by hand, position known."""
    m = matrix_of(q)
    bias = Vec3(constants[C_ACCELEROMETER], constants[C_ACCELEROMETER + 1], constants[C_ACCELEROMETER + 2])
    b = to_world(m, scale(bias, 1.0 / GRAVITY))
    heading = estimator.heading * normal(chance.seed, chance.flight, ALIGNMENT, np.uint64(0))
    # the small turn about east and north that makes the reading, up plus the bias, look straight up; the heading about up
    turn = Quat(1.0, 0.5 * b.y, -0.5 * b.x, 0.5 * heading)
    e = normalised(multiply(turn, q))
    fill(state, 0.0)
    state[E_QW], state[E_QX], state[E_QY], state[E_QZ] = e.w, e.x, e.y, e.z
    _put(state, E_X, r)
    state[E_LAG] = state[E_BARO] = r.z  # the barometer has settled long before
    state[E_AGE] = -1.0


@kernel
def estimate(state, rate, force, baro, fresh_baro, fresh_fix, magnet, latency, estimator, earth_rate, moving, period, fitted, field):
    """Advance the estimate by one tick.

    rate, force, magnet : readings, body axes. baro : reading, m. fresh_* : 1 if this tick brought one. moving : 0 while held on
    the rail (position and velocity are known then). latency : age of a fix when it arrives, s.
    """
    q = Quat(state[E_QW], state[E_QX], state[E_QY], state[E_QZ])
    m = matrix_of(q)
    w = sub(rate, to_body(m, earth_rate))
    mean = scale(add(w, _vec(state, E_PX)), 0.5)
    if fitted > 0:
        # the field's measured direction against the expected one turns the attitude about the axis between them
        mean = add(mean, scale(cross(magnet, to_body(m, field)), estimator.magnetic / period))
    if moving > 0:
        # exact turn at the mean rate of the tick, to second order, and its coning term (Bortz 1971)
        cone = scale(cross(_vec(state, E_PX), w), period * period / 12.0)
        turn = add(scale(mean, period), cone)
        d = quaternion_rate(q, turn)
        angle2 = turn.x * turn.x + turn.y * turn.y + turn.z * turn.z
        c = 1.0 - angle2 / 8.0 * (1.0 - angle2 / 48.0)
        k = 1.0 - angle2 / 24.0 * (1.0 - angle2 / 80.0)
        q = normalised(Quat(c * q.w + k * d.w, c * q.x + k * d.x, c * q.y + k * d.y, c * q.z + k * d.z))
    _put(state, E_PX, w)
    state[E_QW], state[E_QX], state[E_QY], state[E_QZ] = q.w, q.x, q.y, q.z

    felt = to_world(matrix_of(q), force)
    a = Vec3(felt.x, felt.y, felt.z - GRAVITY)
    last = _vec(state, E_AX)
    _put(state, E_AX, a)
    if moving > 0:
        v = _vec(state, E_VX)
        dv = scale(add(a, last), 0.5 * period)
        r = add(_vec(state, E_X), scale(add(v, scale(dv, 0.5)), period))
        v = add(v, dv)
        if fresh_baro > 0:
            gap = baro - r.z
            r = Vec3(r.x, r.y, r.z + estimator.baro_position * gap)
            v = Vec3(v.x, v.y, v.z + estimator.baro_velocity * gap)
        if fresh_fix > 0:
            fix_v = _vec(state, E_FIX + 3)
            # the way since the fix, flown at a steady acceleration: v latency less half of what the speed has gained meanwhile
            place = add(_vec(state, E_FIX), scale(sub(v, scale(a, 0.5 * latency)), latency))
            r = add(r, scale(sub(place, r), estimator.gnss_position))
            v = add(v, scale(sub(add(fix_v, scale(a, latency)), v), estimator.gnss_velocity))
        _put(state, E_X, r)
        _put(state, E_VX, v)
    state[E_BARO] = baro
    _put(state, E_MX, magnet)
    if fresh_fix > 0:
        state[E_AGE] = latency
    elif state[E_AGE] >= 0.0:
        state[E_AGE] += period
