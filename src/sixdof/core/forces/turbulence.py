"""Gusts felt along the flight path: Dryden turbulence and discrete 1-cosine gusts, advanced once a tick.

A frozen field is flown through at the airspeed (Taylor's hypothesis), so what a tick feels depends on the way through the air since
the last. Each component along world east, north and up is a mixture of two processes of the same variance and scale: the longitudinal
one where the path runs along it, the transverse one where it runs across, weighted by the squares of the path's direction cosine and
sine: a vertical climb feels the transverse horizontal components and the longitudinal vertical one, as a level flight the reverse.
"""

from __future__ import annotations

from math import pi

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import put_vector
from sixdof.core.columns import FinRow, GustColumn, TurbulenceColumn
from sixdof.core.computer.sensors import Chance
from sixdof.core.lanes import clip, cos, exp, expm1, larger, like, select, sqrt
from sixdof.core.random import normal
from sixdof.core.types import Vec3, World

FOOT = 0.3048
LOWEST, LOW, HIGH = 10.0 * FOOT, 1000.0 * FOOT, 2000.0 * FOOT  # m: the model's layers (MIL-F-8785C, 3.7)
LENGTH_ALOFT = 1750.0 * FOOT
STREAM = np.uint64(16 * 6)  # of the random numbers


@kernel
def scales(height: float, w20: float, aloft: float) -> tuple[float, float, float, float]:
    """Return (sigma level, sigma up, length level, length up), m/s and m: MIL-F-8785C, low altitude and above.

    w20 : wind at 20 ft above ground, m/s. aloft : sigma from 2000 ft up, m/s. Linear between 1000 and 2000 ft.
    """
    h = clip(height, LOWEST, LOW) / FOOT
    shape = 0.177 + 0.000823 * h
    up = 0.1 * w20
    level = up / shape**0.4
    length_up, length = h * FOOT, h * FOOT / shape**1.2
    f = clip((height - LOW) / (HIGH - LOW), 0.0, 1.0)
    return (level + f * (aloft - level), up + f * (aloft - up), length + f * (LENGTH_ALOFT - length), length_up + f * (LENGTH_ALOFT - length_up))


@helper
def longitudinal(state: float, h: float, x: float) -> float:
    """Return the process of spectrum (2L/pi)/(1 + (L Om)^2), unit variance, h lengths further on; x : a normal number. Exact."""
    fall = exp(-h)
    return state * fall + sqrt(-expm1(-2.0 * h)) * x


@kernel
def transverse(p: float, q: float, h: float, x: float, y: float) -> tuple[float, float]:
    """Return the two states of the process of spectrum (L/pi) (1 + 3 (L Om)^2)/(1 + (L Om)^2)^2 h lengths further on. Exact.

    dp = -p ds + sqrt(2) dW, dq = (p - q) ds: its value is (sqrt(3) p + (1 - sqrt(3)) q)/sqrt(2), of unit variance.
    """
    fall = exp(-h)
    fall2 = fall * fall
    vp = -expm1(-2.0 * h)
    short = h < 1e-3  # series: the differences would cancel
    vpq = select(short, h * h * (1.0 - 4.0 / 3.0 * h + h * h), 0.5 * (1.0 - (1.0 + 2.0 * h) * fall2))
    vq = select(short, 2.0 / 3.0 * h * h * h * (1.0 - 1.5 * h + 1.2 * h * h), 0.5 - fall2 * (h * h + h + 0.5))
    sp = sqrt(vp)
    along = vpq / select(sp > 0.0, sp, 1.0)  # vpq is zero where sp is
    rest = sqrt(larger(vq - along * along, 0.0))
    return p * fall + sp * x, (q + h * p) * fall + along * x + rest * y


@helper
def transverse_value(p: float, q: float) -> float:
    return (1.7320508075688772 * p - 0.7320508075688772 * q) * 0.7071067811865476


@kernel
def start_turbulence(state: np.ndarray, chance: Chance) -> None:
    """Fill the state before a flight with a draw of the stationary processes: E p^2 = 1, E pq = E q^2 = 1/2."""
    for i in range(state.shape[0]):
        state[i] = 0.0
    for c in range(3):
        first = np.uint64(3 * c)
        state[3 * c] = normal(chance.seed, chance.flight, STREAM, first)
        state[3 * c + 1] = normal(chance.seed, chance.flight, STREAM, first + np.uint64(1))
        state[3 * c + 2] = 0.5 * state[3 * c + 1] + 0.5 * normal(chance.seed, chance.flight, STREAM, first + np.uint64(2))


@helper
def _discrete(row: np.ndarray, height: float) -> float:
    """Return the share of its speed that a 1-cosine gust has at a height: a pulse over its length, or a rise that stays."""
    x = (height - row[GustColumn.START]) / row[GustColumn.LENGTH]
    turns = 2.0 if row[GustColumn.KIND] < 0.5 else 1.0
    return 0.5 * (1.0 - cos(turns * pi * clip(x, 0.0, 1.0)))


@kernel
def arrive(state: np.ndarray) -> None:
    """Make the gust that was worked out for this tick the present one."""
    for i in range(3):
        state[TurbulenceColumn.NOW + i] = state[TurbulenceColumn.NEXT + i]


@kernel
def advance_gust(
    state: np.ndarray, world: World, w20: float, height: float, climb: float, speed: float, way: Vec3, seconds: float, tick: int, chance: Chance
) -> None:
    """Work out the gust of the next tick from the state of the processes at this one.

    w20 : wind at 20 ft, m/s. height : above ground, m, and its rate. speed : through the air, m/s. way : direction of the path
    through the air, world axes. seconds : to the next tick.
    """
    zero = like(0.0, height)
    gust = Vec3(zero, zero, zero)
    ahead = height + climb * seconds
    turbulence = world.turbulence
    if turbulence.on > 0:
        aloft = turbulence.aloft if turbulence.aloft >= 0.0 else 0.1 * w20
        level, up, length, length_up = scales(ahead, w20, aloft)
        gust = Vec3(
            level * _component(state, 0, speed * seconds / length, way.x, tick, chance),
            level * _component(state, 1, speed * seconds / length, way.y, tick, chance),
            up * _component(state, 2, speed * seconds / length_up, way.z, tick, chance),
        )
    for i in range(world.gusts.shape[0]):
        row = world.gusts[i]
        k = _discrete(row, ahead)
        gust = Vec3(gust.x + k * row[GustColumn.EAST], gust.y + k * row[GustColumn.NORTH], gust.z + k * row[GustColumn.UP])
    put_vector(state, TurbulenceColumn.NEXT, gust)


@kernel
def _component(state: np.ndarray, c: int, h: float, cosine: float, tick: int, chance: Chance) -> float:
    """Return one component of unit variance, its processes h lengths further on."""
    first = np.uint64(9 * (tick + 1) + 3 * c)
    i = 3 * c
    x = normal(chance.seed, chance.flight, STREAM, first)
    y = normal(chance.seed, chance.flight, STREAM, first + np.uint64(1))
    z = normal(chance.seed, chance.flight, STREAM, first + np.uint64(2))
    state[i] = longitudinal(state[i], h, x)
    state[i + 1], state[i + 2] = transverse(state[i + 1], state[i + 2], h, y, z)
    c2 = clip(cosine * cosine, 0.0, 1.0)
    return sqrt(c2) * state[i] + sqrt(1.0 - c2) * transverse_value(state[i + 1], state[i + 2])


@kernel
def blow(gust: np.ndarray, state: np.ndarray, a: float, b: float) -> None:
    """Fill the gust at the start, middle and end of a step that runs from the share a to the share b of a tick."""
    for i in range(3):
        now, change = state[TurbulenceColumn.NOW + i], state[TurbulenceColumn.NEXT + i] - state[TurbulenceColumn.NOW + i]
        gust[FinRow.START, i] = now + a * change
        gust[FinRow.MIDDLE, i] = now + 0.5 * (a + b) * change
        gust[FinRow.END, i] = now + b * change
