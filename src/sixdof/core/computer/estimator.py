"""The built-in estimator of attitude and position, such as small flight computers run.

Attitude: gyros integrated from the rail (no correction in flight unless a magnetometer is fitted: accelerometers read no gravity
in free flight). Position: accelerometers turned into world axes and integrated, pulled towards barometer and GNSS by fixed gains.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import (
    add,
    cross,
    fill,
    matrix_of,
    multiply,
    normalised,
    put_quaternion,
    put_vector,
    quaternion_at,
    quaternion_rate,
    scale,
    select_quaternion,
    select_vector,
    sub,
    to_body,
    to_world,
    vector_at,
)
from sixdof.core.computer.columns import ErrorColumn, EstimateColumn
from sixdof.core.computer.sensors import Chance
from sixdof.core.constants import G0
from sixdof.core.lanes import select, some
from sixdof.core.random import normal
from sixdof.core.types import Quat, Vec3

ALIGNMENT = np.uint64(112)  # random stream of the heading error on the rail


class Estimator(NamedTuple):
    heading: float  # sd of the heading error when the computer is aligned on the rail, rad
    baro_position: float  # share of a barometer's difference that moves the height, a sample
    baro_velocity: float  # and the climb rate, 1/s
    gnss_position: float  # share of a fix's difference that moves the position
    gnss_velocity: float  # and the velocity
    magnetic: float  # share of a magnetometer's angle that turns the attitude, a tick


@kernel
def align(state: np.ndarray, q: Quat, r: Vec3, estimator: Estimator, constants: np.ndarray, chance: Chance) -> None:
    """Start the estimate on the rail: levelled by the accelerometers (their bias tilts it), heading set by handover, position known."""
    m = matrix_of(q)
    bias = vector_at(constants, ErrorColumn.ACCELEROMETER)
    b = to_world(m, scale(bias, 1.0 / G0))
    heading = estimator.heading * normal(chance.seed, chance.flight, ALIGNMENT, np.uint64(0))
    # the small turn about east and north that makes the reading, up plus the bias, look straight up; the heading about up
    turn = Quat(1.0, 0.5 * b.y, -0.5 * b.x, 0.5 * heading)
    e = normalised(multiply(turn, q))
    fill(state, 0.0)
    put_quaternion(state, EstimateColumn.ATTITUDE, e)
    put_vector(state, EstimateColumn.POSITION, r)
    state[EstimateColumn.BARO_LAG] = state[EstimateColumn.BARO] = r.z  # the barometer has settled long before
    state[EstimateColumn.FIX_AGE] = -1.0


@helper
def _turned(q: Quat, mean: Vec3, w: Vec3, state: np.ndarray, period: float) -> Quat:
    """Return the attitude a tick on: the exact turn at the mean rate, to second order, and its coning term (Bortz 1971)."""
    cone = scale(cross(vector_at(state, EstimateColumn.RATE), w), period * period / 12.0)
    turn = add(scale(mean, period), cone)
    d = quaternion_rate(q, turn)
    angle2 = turn.x * turn.x + turn.y * turn.y + turn.z * turn.z
    c = 1.0 - angle2 / 8.0 * (1.0 - angle2 / 48.0)
    k = 1.0 - angle2 / 24.0 * (1.0 - angle2 / 80.0)
    return normalised(Quat(c * q.w + k * d.w, c * q.x + k * d.x, c * q.y + k * d.y, c * q.z + k * d.z))


@kernel
def estimate(
    state: np.ndarray,
    rate: Vec3,
    force: Vec3,
    baro: float,
    fresh_baro: int,
    fresh_fix: float,
    magnet: Vec3,
    latency: float,
    estimator: Estimator,
    earth_rate: Vec3,
    moving: bool,
    period: float,
    fitted: int,
    field: Vec3,
) -> None:
    """Advance the estimate by one tick.

    rate, force, magnet : readings, body axes. baro : reading, m. fresh_baro, fresh_fix : 1 if this tick brought one, else 0. moving :
    not held on the rail (there position and velocity are known). latency : age of a fix when it arrives, s.
    """
    q = quaternion_at(state, EstimateColumn.ATTITUDE)
    m = matrix_of(q)
    w = sub(rate, to_body(m, earth_rate))
    mean = scale(add(w, vector_at(state, EstimateColumn.RATE)), 0.5)
    if fitted > 0:
        # the field's measured direction against the expected one turns the attitude about the axis between them
        mean = add(mean, scale(cross(magnet, to_body(m, field)), estimator.magnetic / period))
    q = select_quaternion(moving, _turned(q, mean, w, state, period), q)
    put_vector(state, EstimateColumn.RATE, w)
    put_quaternion(state, EstimateColumn.ATTITUDE, q)

    felt = to_world(matrix_of(q), force)
    a = Vec3(felt.x, felt.y, felt.z - G0)
    last = vector_at(state, EstimateColumn.ACCELERATION)
    put_vector(state, EstimateColumn.ACCELERATION, a)
    v = vector_at(state, EstimateColumn.VELOCITY)
    dv = scale(add(a, last), 0.5 * period)
    r = add(vector_at(state, EstimateColumn.POSITION), scale(add(v, scale(dv, 0.5)), period))
    v = add(v, dv)
    if fresh_baro > 0:
        gap = baro - r.z
        r = Vec3(r.x, r.y, r.z + estimator.baro_position * gap)
        v = Vec3(v.x, v.y, v.z + estimator.baro_velocity * gap)
    if some(fresh_fix > 0.0):
        fix_v = vector_at(state, EstimateColumn.FIX + 3)
        # the way since the fix, flown at a steady acceleration: v latency less half of what the speed has gained meanwhile
        place = add(vector_at(state, EstimateColumn.FIX), scale(sub(v, scale(a, 0.5 * latency)), latency))
        r = add(r, scale(sub(place, r), fresh_fix * estimator.gnss_position))
        v = add(v, scale(sub(add(fix_v, scale(a, latency)), v), fresh_fix * estimator.gnss_velocity))
    put_vector(state, EstimateColumn.POSITION, select_vector(moving, r, vector_at(state, EstimateColumn.POSITION)))
    put_vector(state, EstimateColumn.VELOCITY, select_vector(moving, v, vector_at(state, EstimateColumn.VELOCITY)))
    state[EstimateColumn.BARO] = baro
    put_vector(state, EstimateColumn.MAGNET, magnet)
    age = state[EstimateColumn.FIX_AGE]
    state[EstimateColumn.FIX_AGE] = select(fresh_fix > 0.0, latency, select(age >= 0.0, age + period, age))
