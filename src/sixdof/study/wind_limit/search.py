"""Rounds of flights that close in on the first failure of every case: a grid of winds, then the limits, then the ends of their intervals."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from sixdof.study.wind_limit.first_failure import Flown, next_wind
from sixdof.study.wind_limit.ranks import ASKED, FAILS, SHOWN, Judged

# takes (case, wind) pairs and returns what was judged at each
Fly = Callable[[list[tuple[int, float]]], list[Judged]]
ENDS_WIDER = 2.5  # brackets of the ends of an interval, in tolerances of the limit: the interval itself is wider than that by far
MOST_ROUNDS = 14  # the last ones halve: 20 m/s becomes a centimetre a second
HARDLY = 0.1  # share of the flights: what wind takes less of has no part in the wind


def fly_grid(fly: Fly, cases: int, grid: Sequence[float], need: np.ndarray, flights: int) -> list[Flown]:
    """Return every case flown at every wind of a grid; need : (criteria, levels) of the flights that must hold."""
    flown = [Flown(need, flights) for _ in range(cases)]
    _fly(fly, flown, [(case, float(wind)) for wind in grid for case in range(cases)])
    return flown


def put_aside(flown: list[Flown]) -> None:
    """Take out of the limit the criteria that fail in calm in every case, and that the highest wind makes hardly worse; never all of them."""
    fails = np.all([~one.holds(ASKED)[0] for one in flown], axis=0)
    lost = np.max([one.share[0] - one.share[-1] for one in flown], axis=0)
    active = ~(fails & (lost < HARDLY))
    for one in flown:
        one.active = active if active.any() else one.active


def refine(fly: Fly, flown: list[Flown], tolerance: float, ends: bool = True) -> None:
    """Narrow the bracket of every limit to `tolerance`, m/s, and those of the ends of its interval to ENDS_WIDER of it.

    Each round flies one more wind of every case whose bracket is still too wide, all of them in one call of `fly`.
    """
    _refine(fly, flown, (ASKED,), tolerance)
    if ends:
        _refine(fly, flown, (SHOWN, FAILS), ENDS_WIDER * tolerance)


def _fly(fly: Fly, flown: list[Flown], points: list[tuple[int, float]]) -> None:
    for (case, wind), what in zip(points, fly(points), strict=True):
        flown[case].add(wind, what)


def _refine(fly: Fly, flown: list[Flown], levels: tuple[int, ...], tolerance: float) -> None:
    for rounds in range(MOST_ROUNDS):
        wanted = [(case, _next(one, levels, tolerance, rounds)) for case, one in enumerate(flown)]
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
