"""Sensors: what the flight computer is told of the truth. Bias, noise, scale, misalignment, range, lag, latency, drop-out.

Noise is a function of (seed, flight, stream, tick): nothing is remembered, and any flight can be flown again alone.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import Matrix, add, cross, put_vector, scale, select_vector, to_body, vector_at
from sixdof.core.computer.columns import ErrorColumn, FixColumn
from sixdof.core.lanes import clip, exp, select, sqrt
from sixdof.core.random import normal
from sixdof.core.types import Vec3

HISTORY = 256  # ticks of truth kept for the latency of GNSS
# streams of the random numbers (those from 2^31 on belong to the table of draws)
GYRO, ACCELEROMETER, MAGNETOMETER, BAROMETER, GNSS = (np.uint64(16 * i) for i in range(1, 6))
CONSTANT = np.uint64(8)  # added to a stream: errors that stay for the whole flight


class Inertial(NamedTuple):
    """A triad of rate gyros (rad/s) or accelerometers (m/s^2). Standard deviations are those of one axis from flight to flight."""

    bias: float  # sd of the constant error
    noise: float  # density, unit/sqrt(Hz): the random-walk coefficient N of IEEE Std 952; a sample at rate f has the sd N sqrt(f)
    scale: float  # sd of the scale factor's error
    misalignment: float  # sd of each small angle between the sensing axes and the body's, rad
    range: float  # readings are cut there


class Barometer(NamedTuple):
    bias: float  # sd of the constant error, m
    noise: float  # sd of a sample, m
    lag: float  # time constant, s
    every: int  # ticks a sample


class Gnss(NamedTuple):
    position: float  # sd of a sample, m
    velocity: float  # sd of a sample, m/s
    latency: int  # ticks
    every: int  # ticks a fix, 0 without a receiver
    specific_force_limit: float  # specific force beyond which the receiver loses lock, m/s^2
    speed_limit: float  # speed over the ground beyond which it gives no fix, m/s


class Magnetometer(NamedTuple):
    bias: float  # sd of the constant error, of the field's strength
    noise: float  # sd of a sample, of the field's strength
    field: Vec3  # direction of the Earth's field, world axes, unit vector
    fitted: int


class Sensors(NamedTuple):
    """All sensors of the flight computer; ideal = 1: the computer is told the truth."""

    ideal: int
    gyro: Inertial
    accelerometer: Inertial
    magnetometer: Magnetometer
    barometer: Barometer
    gnss: Gnss
    gyro_lag: float = 0.0  # time constant of the rate gyros, s


class Chance(NamedTuple):
    """Which random numbers a flight uses."""

    seed: np.uint64
    flight: np.uint64


@helper
def _normal3(chance: Chance, stream: np.uint64, index: int) -> Vec3:
    """Return three independent standard normal numbers."""
    i = np.uint64(index)
    return Vec3(
        normal(chance.seed, chance.flight, stream, i),
        normal(chance.seed, chance.flight, stream + np.uint64(1), i),
        normal(chance.seed, chance.flight, stream + np.uint64(2), i),
    )


@kernel
def draw_constants(sensors: Sensors, chance: Chance, constants: np.ndarray) -> None:
    """Fill the array of a flight's constant errors: bias, scale error and misalignment of each triad, and so on."""
    for first, stream, triad in ((ErrorColumn.GYRO, GYRO, sensors.gyro), (ErrorColumn.ACCELEROMETER, ACCELEROMETER, sensors.accelerometer)):
        for k in range(3):
            v = _normal3(chance, stream + CONSTANT, k)
            sd = triad.bias if k == 0 else (triad.scale if k == 1 else triad.misalignment)
            put_vector(constants, first + 3 * k, scale(v, sd))
    v = _normal3(chance, MAGNETOMETER + CONSTANT, 0)
    sd = sensors.magnetometer.bias
    put_vector(constants, ErrorColumn.MAGNETOMETER, scale(v, sd))
    constants[ErrorColumn.BAROMETER] = sensors.barometer.bias * normal(chance.seed, chance.flight, BAROMETER + CONSTANT, np.uint64(0))


@kernel
def read_inertial(truth: Vec3, sensor: Inertial, constants: np.ndarray, first: int, stream: np.uint64, chance: Chance, tick: int, period: float) -> Vec3:
    """Return what an inertial triad reads of a body-axis vector at a tick; its constant errors stand from `first` on."""
    bias, growth, lean = vector_at(constants, first), vector_at(constants, first + 3), vector_at(constants, first + 6)
    turned = add(truth, cross(lean, truth))
    noise = scale(_normal3(chance, stream, tick), sensor.noise * sqrt(1.0 / period))
    x = turned.x * (1.0 + growth.x) + bias.x + noise.x
    y = turned.y * (1.0 + growth.y) + bias.y + noise.y
    z = turned.z * (1.0 + growth.z) + bias.z + noise.z
    return Vec3(clip(x, -sensor.range, sensor.range), clip(y, -sensor.range, sensor.range), clip(z, -sensor.range, sensor.range))


@kernel
def lagged_rate(rate: Vec3, lag: float, step: float, state: np.ndarray) -> Vec3:
    """Return body rates behind a first-order lag; state (6,): what the lag has reached, and the rates of the last tick.

    Exact for rates that go linearly from tick to tick.
    """
    if lag <= 0.0:
        return rate
    e = exp(-step / lag)
    new = 1.0 - lag / step * (1.0 - e)
    old = 1.0 - e - new
    reached, last = vector_at(state, 0), vector_at(state, 3)
    out = Vec3(e * reached.x + old * last.x + new * rate.x, e * reached.y + old * last.y + new * rate.y, e * reached.z + old * last.z + new * rate.z)
    put_vector(state, 0, out)
    put_vector(state, 3, rate)
    return out


@kernel
def read_barometer(height: float, lagged: float, sensor: Barometer, constants: np.ndarray, chance: Chance, tick: int, step: float) -> tuple[float, float]:
    """Return (the lagged height now, the reading): a first-order lag on the true height, then bias and noise."""
    share = 1.0 if sensor.lag <= 0.0 else 1.0 - exp(-step / sensor.lag)
    lagged += share * (height - lagged)
    noise = sensor.noise * normal(chance.seed, chance.flight, BAROMETER, np.uint64(tick))
    return lagged, lagged + constants[ErrorColumn.BAROMETER] + noise


@kernel
def read_magnetometer(matrix: Matrix, sensor: Magnetometer, constants: np.ndarray, chance: Chance, tick: int) -> Vec3:
    """Return the field in body axes, in units of its strength."""
    truth = to_body(matrix, sensor.field)
    bias = vector_at(constants, ErrorColumn.MAGNETOMETER)
    return add(add(truth, bias), scale(_normal3(chance, MAGNETOMETER, tick), sensor.noise))


@kernel
def remember(history: np.ndarray, tick: int, r: Vec3, v: Vec3) -> None:
    """Keep the truth of a tick for a fix that will be told later; r : east, north, height above ground, as receivers tell it."""
    row = history[tick % HISTORY]
    put_vector(row, FixColumn.EAST, r)
    put_vector(row, FixColumn.VELOCITY_EAST, v)


@kernel
def fix_due(tick: int, stride: int, sensor: Gnss) -> bool:
    """Return whether the receiver tells a fix at this tick, if it has lock."""
    return sensor.every > 0 and tick >= sensor.latency and tick // sensor.every != (tick - stride) // sensor.every


@kernel
def read_gnss(history: np.ndarray, tick: int, sensor: Gnss, chance: Chance, force: float, speed: float, fix: np.ndarray) -> float:
    """Fill `fix` (6,) with position and velocity of `latency` ticks ago, at a tick when one is due; return 1 with lock, 0 without: `fix` stays."""
    locked = (force <= sensor.specific_force_limit) & (speed <= sensor.speed_limit)
    row = history[(tick - sensor.latency) % HISTORY]
    a = _normal3(chance, GNSS, tick)
    b = _normal3(chance, GNSS + np.uint64(3), tick)
    r, v = vector_at(row, FixColumn.EAST), vector_at(row, FixColumn.VELOCITY_EAST)
    place = Vec3(r.x + sensor.position * a.x, r.y + sensor.position * a.y, r.z + sensor.position * a.z)
    way = Vec3(v.x + sensor.velocity * b.x, v.y + sensor.velocity * b.y, v.z + sensor.velocity * b.z)
    put_vector(fix, FixColumn.EAST, select_vector(locked, place, vector_at(fix, FixColumn.EAST)))
    put_vector(fix, FixColumn.VELOCITY_EAST, select_vector(locked, way, vector_at(fix, FixColumn.VELOCITY_EAST)))
    return select(locked, 1.0, 0.0)
