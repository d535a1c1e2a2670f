"""Smooth joins between the speed ranges, and the Mach grid of every aerodynamic table."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

PER_MACH = 50.0  # rows a Mach number: 0.02 apart
MACH_TOP = 5.0  # the kernel holds the last row beyond
TRANSONIC = (0.8, 1.2)  # subsonic theory below, supersonic theory above, a join between
_STEP = 1e-4  # of the one-sided differences that give the slopes at a join's ends


def mach_grid() -> np.ndarray:
    """Return the Mach numbers (251,) of the tables' rows: 0, 0.02 .. 5."""
    return np.arange(int(round(MACH_TOP * PER_MACH)) + 1) / PER_MACH


def smoothstep(x, low: float, high: float) -> np.ndarray:
    """Return 0 below `low`, 1 above `high` and the cubic 3 t^2 - 2 t^3 between, level at both ends."""
    t = np.clip((np.asarray(x, dtype=float) - low) / (high - low), 0.0, 1.0)
    return t * t * (3.0 - 2.0 * t)


def bridge(mach, below: Callable, above: Callable, low: float = TRANSONIC[0], high: float = TRANSONIC[1]) -> np.ndarray:
    """Return `below(mach)` up to `low`, `above(mach)` from `high`, between them the cubic with their values and slopes.

    Hermite's cubic; both functions take and return arrays and are only called on their own side.
    """
    mach = np.asarray(mach, dtype=float)
    f0, before = below(np.array([low, low - _STEP]))
    f1, after = above(np.array([high, high + _STEP]))
    width = high - low
    d0, d1 = (f0 - before) / _STEP * width, (after - f1) / _STEP * width
    t = np.clip((mach - low) / width, 0.0, 1.0)
    u = 1.0 - t
    cubic = (1.0 + 2.0 * t) * u**2 * f0 + t * u**2 * d0 + t**2 * (3.0 - 2.0 * t) * f1 - t**2 * u * d1
    outside = np.where(mach <= low, below(np.minimum(mach, low)), above(np.maximum(mach, high)))
    return np.where((mach > low) & (mach < high), cubic, outside)


def monotone(x, at: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return a curve through `values` (n,) at `at` (n >= 3, increasing), taken at `x`: cubics that overshoot no value.

    Slopes at the points are harmonic means of those beside them, 0 where these differ in sign (F. N. Fritsch and J. Butland 1984,
    with the weights of unequal spacing); at the ends those of a parabola, kept from overshooting.
    """
    x = np.asarray(x, dtype=float)
    width = np.diff(at)
    rise = np.diff(values) / width
    slopes = np.zeros(len(at))
    before, after = width[1:] + 2.0 * width[:-1], 2.0 * width[1:] + width[:-1]
    rising = rise[:-1] * rise[1:] > 0.0
    slopes[1:-1][rising] = (before + after)[rising] / (after[rising] / rise[:-1][rising] + before[rising] / rise[1:][rising])
    slopes[0], slopes[-1] = _end_slope(width[:2], rise[:2]), _end_slope(width[:-3:-1], rise[:-3:-1])
    k = np.clip(np.searchsorted(at, x, side="right") - 1, 0, len(width) - 1)
    t = (x - at[k]) / width[k]
    u = 1.0 - t
    return (1.0 + 2.0 * t) * u**2 * values[k] + t**2 * (3.0 - 2.0 * t) * values[k + 1] + t * u * width[k] * (u * slopes[k] - t * slopes[k + 1])


def _end_slope(width, rise) -> float:
    """Return the slope at an end, from the two intervals next to it, the nearer first."""
    slope = ((2.0 * width[0] + width[1]) * rise[0] - width[0] * rise[1]) / (width[0] + width[1])
    if slope * rise[0] <= 0.0:
        return 0.0
    return 3.0 * rise[0] if rise[0] * rise[1] < 0.0 and abs(slope) > 3.0 * abs(rise[0]) else slope
