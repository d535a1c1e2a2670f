"""Drivers of the kernel's gusts for tests, and what the Dryden model promises of them, written down from the standard."""

from __future__ import annotations

import math

import models
import numpy as np

from sixdof._jit import kernel
from sixdof.core.columns import GUST_COLUMNS, TURBULENCE_COLUMNS, GustColumn, TurbulenceColumn
from sixdof.core.computer.sensors import Chance
from sixdof.core.forces.turbulence import advance_gust, arrive, blow, longitudinal, scales, start_turbulence, transverse, transverse_value
from sixdof.core.types import Turbulence, Vec3

FOOT, KNOT = 0.3048, 1852.0 / 3600.0


def world(*, turbulence=True, aloft=-1.0, gusts=()):
    """A world with turbulence and discrete gusts (dicts of east, north, up, start, length, rise)."""
    rows = np.zeros((len(gusts), GUST_COLUMNS))
    columns = {
        "east": GustColumn.EAST,
        "north": GustColumn.NORTH,
        "up": GustColumn.UP,
        "start": GustColumn.START,
        "length": GustColumn.LENGTH,
        "rise": GustColumn.KIND,
    }
    for row, gust in zip(rows, gusts):
        for name, value in gust.items():
            row[columns[name]] = value
    return models.world()._replace(turbulence=Turbulence(1 if turbulence else 0, aloft), gusts=rows)


@kernel
def _ride(state, around, w20, height, climb, speed, way, seconds, chance, out):
    start_turbulence(state, chance)
    for i in range(out.shape[0]):
        advance_gust(state, around, w20, height, climb, speed, way, seconds, i, chance)
        for k in range(3):
            out[i, k] = state[TurbulenceColumn.NEXT + k]


def ride(count, *, height, w20=10.0, way=(0.0, 0.0, 1.0), speed=50.0, seconds=0.01, climb=0.0, seed=1, flight=0, around=None):
    """Return the gusts (count, 3), east, north, up (m/s), of a flight through the air along `way` that never changes height."""
    out, state = np.empty((count, 3)), np.zeros(TURBULENCE_COLUMNS)
    way = np.array(way, dtype=float) / np.linalg.norm(way)
    chance = Chance(np.uint64(seed), np.uint64(flight))
    _ride(state, around or world(), w20, float(height), float(climb), float(speed), Vec3(*way), float(seconds), chance, out)
    return out


def steps(heights, shares, *, around, climb, seed=3):
    """Return gusts (ticks, steps, 3 rows start/middle/end, 3 components) of steps that run between `shares` of each tick."""
    out = np.empty((len(heights), len(shares) - 1, 3, 3))
    state, chance = np.zeros(TURBULENCE_COLUMNS), Chance(np.uint64(seed), np.uint64(0))
    _fill(state, chance)
    _steps(state, around, np.asarray(heights, dtype=float), float(climb), chance, np.asarray(shares, dtype=float), np.zeros((3, 3)), out)
    return out


@kernel
def _beginnings(state, seed, out):
    for i in range(out.shape[0]):
        start_turbulence(state, Chance(seed, np.uint64(i)))
        for k in range(out.shape[1]):
            out[i, k] = state[k]


def beginnings(count, *, seed=1):
    """Return the states (count, 9) in which flights 0, 1, ... of a seed begin."""
    out = np.empty((count, int(TurbulenceColumn.NOW)))
    _beginnings(np.zeros(TURBULENCE_COLUMNS), np.uint64(seed), out)
    return out


@kernel
def _fill(state, chance):
    start_turbulence(state, chance)


@kernel
def _steps(state, around, heights, climb, chance, shares, gust, out):
    for i in range(heights.shape[0]):
        arrive(state)
        advance_gust(state, around, 5.0, heights[i], climb, 30.0, Vec3(0.0, 0.0, 1.0), 0.01, i, chance)
        for k in range(shares.shape[0] - 1):
            blow(gust, state, shares[k], shares[k + 1])
            for a in range(3):
                for b in range(3):
                    out[i, k, a, b] = gust[a, b]


@kernel
def _scales(heights, w20, aloft, out):
    for i in range(heights.shape[0]):
        out[i, 0], out[i, 1], out[i, 2], out[i, 3] = scales(heights[i], w20, aloft)


def scales_at(heights, w20, aloft=-1.0):
    """Return sigma level, sigma up, length level, length up, each (n,), m/s and m, by the kernel."""
    heights = np.atleast_1d(np.asarray(heights, dtype=float))
    out = np.empty((len(heights), 4))
    _scales(heights, float(w20), float(0.1 * w20 if aloft < 0.0 else aloft), out)
    return out.T


@kernel
def _moves(h, out):
    # the maps are linear: columns of p, q and of the two normal numbers
    for k in range(4):
        a, b, x, y = 1.0 if k == 0 else 0.0, 1.0 if k == 1 else 0.0, 1.0 if k == 2 else 0.0, 1.0 if k == 3 else 0.0
        out[0, k], out[1, k] = transverse(a, b, h, x, y)
    out[2, 0], out[2, 1] = longitudinal(1.0, h, 0.0), longitudinal(0.0, h, 1.0)
    out[2, 2], out[2, 3] = transverse_value(1.0, 0.0), transverse_value(0.0, 1.0)


class Move:
    """A move of h lengths by the kernel: of the transverse states (2, 2) with its noise (2, 2), of the longitudinal one."""

    def __init__(self, h):
        out = np.empty((3, 4))
        _moves(float(h), out)
        self.carry, self.noise = out[:2, :2], out[:2, 2:]
        self.spread = self.noise @ self.noise.T
        self.fall, self.kick = out[2, :2]
        self.value = out[2, 2:]


# ---------------------------------------------------------------- what the standard says


def correlation_along(x):
    """Autocorrelation of the longitudinal component a distance of x lengths on."""
    return np.exp(-np.abs(x))


def correlation_across(x):
    """Autocorrelation of the transverse components."""
    return np.exp(-np.abs(x)) * (1.0 - 0.5 * np.abs(x))


def spectrum_along(number, sigma, length):
    """Phi_u of MIL-F-8785C (1980), sec. 3.7.2, over the spatial frequency (rad/m): its integral from 0 is sigma^2."""
    return sigma**2 * 2.0 * length / math.pi / (1.0 + (length * number) ** 2)


def spectrum_across(number, sigma, length):
    """Phi_v and Phi_w."""
    return sigma**2 * length / math.pi * (1.0 + 3.0 * (length * number) ** 2) / (1.0 + (length * number) ** 2) ** 2
