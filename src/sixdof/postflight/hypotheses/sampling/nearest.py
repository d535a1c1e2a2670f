"""The scores of one hypothesis that agree best with the evidence, by flying: finite differences and Gauss-Newton steps.

Of eighty scores a fit to a few hundred flights knows each slope to some tenths of a standard deviation, and eighty such errors add up to several. One
flight a score, flown with the same noise as the point it departs from, knows them to a per cent.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from sixdof.postflight.hypotheses.sampling.proposal import Linear, best_point

APART = 0.25  # of a score, between the flights of a difference: within a draw's reach, and far beyond rounding
STEEPEST = 40.0  # standard deviations of a residual per score: beyond, an event has come or gone between the two flights
SHARES = (1.0, 0.6, 0.3, 0.1)  # of a step that are tried
TURNS = 3  # at most
SETTLED = 2.0  # a step that gains no more of the sum of squares is the last
AROUND = 24  # flights about the point found, that say how well straight lines hold there

Misses = Callable[[np.ndarray, bool], np.ndarray]


def nearest(misses: Misses, start: np.ndarray) -> tuple[np.ndarray, Linear]:
    """Return the scores (d,) where they and what flights miss the evidence by are least together, and straight lines that hold about there.

    misses : (scores (n, d), same) -> (n, m), in standard deviations; `same` flies all with the same noise. start : (d,).
    """
    point, value = start, misses(start[None, :], True)[0]
    for _ in range(TURNS):
        lines = _lines_at(misses, point, value)
        aim = best_point(lines)
        tried = np.array([point + share * (aim - point) for share in SHARES])
        values = misses(tried, True)
        squares = np.sum(values**2, axis=1) + np.sum(tried**2, axis=1)
        best, before = int(np.argmin(squares)), float(value @ value + point @ point)
        if squares[best] >= before - SETTLED:
            break
        point, value = tried[best], values[best]
    return point, _loosened(misses, point, lines)


def _lines_at(misses: Misses, point: np.ndarray, value: np.ndarray) -> Linear:
    """Return straight lines that touch the residuals at a point; forward differences, or none where an event lies between."""
    moved = misses(point + APART * np.eye(point.size), True)
    slope = ((moved - value) / APART).T
    slope = np.where(np.abs(slope) <= STEEPEST, slope, 0.0)
    return Linear(value - slope @ point, slope, np.zeros((value.size, value.size)))


def _loosened(misses: Misses, point: np.ndarray, lines: Linear) -> Linear:
    """Return straight lines with what flights about the point leave of them: their curvature and the noise, and where that lies on the mean."""
    d = point.size
    covariance = np.linalg.inv(np.eye(d) + lines.slope.T @ lines.slope)
    drawn = best_point(lines) + np.random.default_rng(d).standard_normal((AROUND, d)) @ np.linalg.cholesky(covariance).T
    left = misses(drawn, False) - (lines.offset + drawn @ lines.slope.T)
    middle = np.median(left, axis=0)
    spread = np.minimum(np.std(left, axis=0), 3.0 * np.median(np.abs(left - middle), axis=0) + 0.1)  # one flight gone elsewhere makes no width
    return Linear(lines.offset + middle, lines.slope, np.diag(spread**2))
