"""Rounds of flights that close in on the first failure of every case: a grid of winds, then the limits, then the ends of their intervals."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from sixdof.study.wind_limit.first_failure import Flown, next_wind
from sixdof.study.wind_limit.ranks import ASKED, FAILS, SHOWN, Judged

# takes (case, wind) pairs and returns what was judged at each
Fly = Callable[[list[tuple[int, float]]], list[Judged]]
Which = Callable[[list[Flown]], list[int]]
ENDS_WIDER = 4.0  # brackets of the ends of an interval, in tolerances of the limit: read between their ends, the flights make the interval wider
MOST_ROUNDS = 14  # the last ones halve: 20 m/s becomes a centimetre a second


def fly_grid(fly: Fly, cases: int, grid: Sequence[float], need: np.ndarray, flights: int) -> list[Flown]:
    """Return every case flown at every wind of a grid; need : (criteria, levels) of the flights that must hold."""
    flown = [Flown(need, flights) for _ in range(cases)]
    for winds in (grid[:1], grid[1:]):  # calm by itself: flights in it tell `fly` how long flights must be
        _fly(fly, flown, [(case, float(wind)) for wind in winds for case in range(cases)])
    return flown


def refine(fly: Fly, flown: list[Flown], tolerance: float) -> None:
    """Narrow the bracket of every limit to `tolerance`, m/s, and those of the ends of its interval to ENDS_WIDER of it."""
    close_in(fly, flown, (ASKED,), tolerance)
    close_in(fly, flown, (SHOWN, FAILS), ENDS_WIDER * tolerance)


def _fly(fly: Fly, flown: list[Flown], points: list[tuple[int, float]]) -> None:
    for (case, wind), what in zip(points, fly(points), strict=True):
        flown[case].add(wind, what)


def close_in(fly: Fly, flown: list[Flown], levels: tuple[int, ...], tolerance: float, which: Which | None = None) -> None:
    """Narrow the brackets of some levels to `tolerance`, m/s, of all cases or of those that `which` names before each round.

    Each round flies one more wind of every case whose bracket is still too wide, all of them in one call of `fly`.
    """
    for rounds in range(MOST_ROUNDS):
        cases = range(len(flown)) if which is None else which(flown)
        wanted = [(case, _next(flown[case], levels, tolerance, rounds)) for case in cases]
        points = [(case, wind) for case, winds in wanted for wind in winds]
        if not points:
            return
        _fly(fly, flown, points)


def _next(one: Flown, levels: tuple[int, ...], tolerance: float, rounds: int) -> list[float]:
    """Return the winds to fly next of one case, one for each level whose bracket is too wide; of two that are near each other the first."""
    found: list[float] = []
    for level in levels:
        wind = next_wind(one.crossing(level), tolerance, rounds)
        if wind is not None and all(abs(wind - other) > 0.5 * tolerance for other in found):
            found.append(wind)
    return found
