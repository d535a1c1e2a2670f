"""A thrust curve of few points that keeps the impulse."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.vehicle.motor import running_impulse

POINTS = 24  # at most
TOLERANCE = 0.01  # of the largest thrust, that straight lines may miss before another point is put in
STAMP = 4  # decimals of a point's time, s


class ThinCurve(NamedTuple):
    """time : s from 0, force : N, zero at both ends. largest, rms : by how much it misses the curve it was made of, over the largest thrust."""

    time: np.ndarray
    force: np.ndarray
    largest: float
    rms: float


def thinned(time: np.ndarray, force: np.ndarray, impulse: float, points: int = POINTS) -> ThinCurve:
    """Return a curve of at most `points` points, with just the impulse asked for, N s.

    Points are put where straight lines miss the curve most; then their forces are those of least squares under the condition that the impulse is kept, none
    below zero.
    """
    time = time - time[0]
    knots = _placed(time, force, points)
    at = np.round(time[knots], STAMP)
    at = at[np.append(True, np.diff(at) > 0.0)]
    heights = _fitted(time, force, at, impulse)
    missed = np.interp(time, at, heights) - force
    inner = missed[1:-1]
    peak = float(force.max())
    return ThinCurve(at, heights, float(np.abs(inner).max() / peak), float(np.sqrt(np.mean(inner**2)) / peak))


def _placed(time: np.ndarray, force: np.ndarray, points: int) -> list[int]:
    """Return the samples at which the curve gets points, ends and peak among them."""
    ended = force.copy()
    ended[[0, -1]] = 0.0
    knots = [0, int(np.argmax(force)), time.size - 1]
    while len(knots) < points:
        missed = np.abs(np.interp(time, time[knots], ended[knots]) - ended)
        missed[knots] = 0.0
        worst = int(np.argmax(missed))
        if missed[worst] <= TOLERANCE * force.max():
            break
        knots = sorted({*knots, worst})
    return knots


def _fitted(time: np.ndarray, force: np.ndarray, at: np.ndarray, impulse: float) -> np.ndarray:
    """Return forces (n,) at times (n,): least squares with the impulse kept (one multiplier), ends at zero; what would be below zero is zero."""
    free = np.arange(1, at.size - 1)
    while True:
        hats = np.column_stack([np.interp(time, at, np.eye(at.size)[k]) for k in free])
        area = np.array([0.5 * (at[k + 1] - at[k - 1]) for k in free])
        equations = np.block([[hats.T @ hats, area[:, None]], [area[None, :], np.zeros((1, 1))]])
        found = np.linalg.lstsq(equations, np.append(hats.T @ force, impulse), rcond=None)[0][:-1]
        if (found >= 0.0).all():
            break
        free = free[found >= 0.0]
        if not free.size:  # noise alone: the curve itself, what is above zero of it
            free = np.arange(1, at.size - 1)
            found = np.maximum(np.interp(at[free], time, force), 1e-12)
            break
    heights = np.zeros(at.size)
    heights[free] = found
    return heights * (impulse / running_impulse(at, heights)[-1])
