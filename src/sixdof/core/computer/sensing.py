"""The sensors at one tick: readings, the estimate made of them, and what laws and rules see of both."""

from __future__ import annotations

import numpy as np

from sixdof._jit import kernel
from sixdof.core.algebra import Matrix, norm, put_quaternion, put_vector
from sixdof.core.computer.columns import ErrorColumn, EstimateColumn, Noticed
from sixdof.core.computer.estimator import estimate
from sixdof.core.computer.sensors import (
    ACCELEROMETER,
    GYRO,
    Chance,
    fix_due,
    lagged_rate,
    read_barometer,
    read_gnss,
    read_inertial,
    read_magnetometer,
    remember,
)
from sixdof.core.forces.loads import air_at, height_of
from sixdof.core.lanes import like, sqrt
from sixdof.core.layout import Sensed
from sixdof.core.leg.work import Work
from sixdof.core.types import Computer, Model, Quat, State, Vec3


@kernel
def measure(tick: int, stride: int, s: State, height: float, force: Vec3, matrix: Matrix, computer: Computer, chance: Chance, work: Work) -> None:
    """Read the sensors of a tick, advance the estimate, and fill `sensed` with readings and estimate."""
    sensors, state, constants = computer.sensors, work.estimate, work.constants
    step = stride * computer.period
    rate = lagged_rate(s.w, sensors.gyro_lag, step, state[EstimateColumn.GYRO : EstimateColumn.GYRO + 6])
    gyro = read_inertial(rate, sensors.gyro, constants, ErrorColumn.GYRO, GYRO, chance, tick, computer.period)
    felt = read_inertial(force, sensors.accelerometer, constants, ErrorColumn.ACCELEROMETER, ACCELEROMETER, chance, tick, computer.period)
    state[EstimateColumn.BARO_LAG], baro = read_barometer(height, state[EstimateColumn.BARO_LAG], sensors.barometer, constants, chance, tick, step)
    zero = like(0.0, baro)
    magnet = Vec3(zero, zero, zero)
    if sensors.magnetometer.fitted > 0:
        magnet = read_magnetometer(matrix, sensors.magnetometer, constants, chance, tick)
    fix = like(0.0, baro)
    if fix_due(tick, stride, sensors.gnss):
        fix = read_gnss(work.history, tick, sensors.gnss, chance, norm(force), norm(s.v), state[EstimateColumn.FIX : EstimateColumn.FIX + 6])
    every = sensors.barometer.every
    fresh = 1 if tick // every > (tick - stride) // every else 0
    if fresh == 0:
        baro = state[EstimateColumn.BARO]
    moving = (work.notice[Noticed.LIFTOFF] >= 0.0) | (felt.x > computer.detection.liftoff_specific_force)
    estimate(
        state,
        gyro,
        felt,
        baro,
        fresh,
        fix,
        magnet,
        sensors.gnss.latency * computer.period,
        computer.estimator,
        computer.earth_rate,
        moving,
        step,
        sensors.magnetometer.fitted,
        sensors.magnetometer.field,
    )
    sensed = work.sensed
    for i in range(3):
        sensed[Sensed.EAST + i] = state[EstimateColumn.POSITION + i]
        sensed[Sensed.VELOCITY_EAST + i] = state[EstimateColumn.VELOCITY + i]
        sensed[Sensed.FIELD_X + i] = state[EstimateColumn.MAGNET + i]
    for i in range(4):
        sensed[Sensed.Q_W + i] = state[EstimateColumn.ATTITUDE + i]
    for i in range(6):
        sensed[Sensed.FIX_EAST + i] = state[EstimateColumn.FIX + i]
    put_vector(sensed, Sensed.RATE_X, gyro)
    put_vector(sensed, Sensed.SPECIFIC_FORCE_X, felt)
    sensed[Sensed.BARO_HEIGHT], sensed[Sensed.FIX_AGE] = baro, state[EstimateColumn.FIX_AGE]


@kernel
def tell_truth(s: State, height: float, force: Vec3, sensed: np.ndarray) -> None:
    """Fill `sensed` with the truth: ideal sensors and estimator."""
    place = Vec3(s.r.x, s.r.y, height)
    put_vector(sensed, Sensed.EAST, place)
    put_vector(sensed, Sensed.VELOCITY_EAST, s.v)
    put_quaternion(sensed, Sensed.Q_W, s.q)
    put_vector(sensed, Sensed.RATE_X, s.w)
    put_vector(sensed, Sensed.SPECIFIC_FORCE_X, force)
    sensed[Sensed.BARO_HEIGHT], sensed[Sensed.FIX_AGE] = height, 0.0
    put_vector(sensed, Sensed.FIX_EAST, place)
    put_vector(sensed, Sensed.FIX_EAST + 3, s.v)


@kernel
def sense(t: float, tick: int, stride: int, s: State, force: Vec3, matrix: Matrix, model: Model, frame: Quat, chance: Chance, work: Work) -> None:
    """Fill `sensed` with everything but the commanded."""
    computer, sensed = model.computer, work.sensed
    height = height_of(model.world, s.r)
    if computer.sensors.ideal > 0:
        tell_truth(s, height, force, sensed)
    else:
        for k in range(tick - stride + 1, tick + 1):
            remember(work.history, k, Vec3(s.r.x, s.r.y, height), s.v)
        measure(tick, stride, s, height, force, matrix, computer, chance, work)
    sensed[Sensed.TIME] = t
    air = air_at(model.world, sensed[Sensed.HEIGHT])
    speed2 = sensed[Sensed.VELOCITY_EAST] ** 2 + sensed[Sensed.VELOCITY_NORTH] ** 2 + sensed[Sensed.VELOCITY_UP] ** 2
    sensed[Sensed.DYNAMIC_PRESSURE] = 0.5 * air.density * speed2
    sensed[Sensed.MACH] = sqrt(speed2) / air.sound
    put_quaternion(sensed, Sensed.FRAME_W, frame)
    sensed[Sensed.PERIOD] = stride * computer.period
