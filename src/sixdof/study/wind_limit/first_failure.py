"""Where, with rising wind, criteria fail for the first time: the root of what was flown, its bracket, and the wind to fly next."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.study.wind_limit.ranks import Judged

FOUND, NOT_IN_CALM, BEYOND = 0, 1, 2  # `limit_kind`: a root; fails at the lowest wind; holds at all winds
STALLED = 3  # rounds without a root after which a bracket is halved, whatever the interpolation says


class Crossing(NamedTuple):
    """The first failure. low, high : winds flown, it holds at the one and fails at the other. at : between them. criterion : that fails, -1: none."""

    kind: int
    low: float
    high: float
    at: float
    criterion: int


class Flown:
    """What was flown from one direction: winds (m,), rising, with what was judged there."""

    def __init__(self, need: np.ndarray, flights: int) -> None:
        """need : (criteria, levels) of the flights that must hold."""
        self.need, self.flights = need, flights
        self.winds = np.empty(0)
        self._judged: list[Judged] = []

    def add(self, wind: float, what: Judged) -> None:
        """Put what was judged at one more wind in its place."""
        place = int(np.searchsorted(self.winds, wind))
        self.winds = np.insert(self.winds, place, wind)
        self._judged.insert(place, what)

    @property
    def holding(self) -> np.ndarray:
        """Return the flights that hold, (winds, criteria)."""
        return np.array([one.holding for one in self._judged])

    @property
    def share(self) -> np.ndarray:
        """Return the share of the flights that hold, (winds, criteria)."""
        return self.holding / self.flights

    @property
    def value(self) -> np.ndarray:
        """Return the outcomes at the asked shares, (winds, criteria)."""
        return np.array([one.value for one in self._judged])

    def holds(self, level: int) -> np.ndarray:
        """Return whether enough flights hold, bool (winds, criteria)."""
        return self.holding >= self.need[:, level]

    def crossing(self, level: int, criterion: int | None = None) -> Crossing:
        """Return the first failure of one criterion, or of whichever fails first (None)."""
        which = np.arange(len(self.need)) if criterion is None else np.array([criterion])
        holds, slack = self.holds(level)[:, which], np.array([one.slack[which, level] for one in self._judged])
        found = first_failure(self.winds, holds, slack)
        return found if found.criterion < 0 else found._replace(criterion=int(which[found.criterion]))

    def holds_again(self, level: int) -> float:
        """Return the lowest wind flown above the first failure at which all criteria hold again, NaN for none."""
        holds = self.holds(level).all(axis=1)
        again = holds & (np.cumsum(~holds) > 0)
        return float(self.winds[again.argmax()]) if again.any() else math.nan


def first_failure(winds: np.ndarray, holds: np.ndarray, slack: np.ndarray) -> Crossing:
    """Return where criteria fail first; holds, slack : (winds, criteria).

    Between the last wind at which all hold and the next, slack is taken as linear; the criterion whose root is lowest binds. Where a slack is not
    finite (the flight that decides has no value) the middle is taken.
    """
    fails = ~holds.all(axis=1)
    if not fails.any():
        return Crossing(BEYOND, float(winds[-1]), math.inf, float(winds[-1]), -1)
    k = int(fails.argmax())
    those = np.flatnonzero(~holds[k])
    if k == 0:
        return Crossing(NOT_IN_CALM, float(winds[0]), float(winds[0]), float(winds[0]), int(those[0]))
    low, high = float(winds[k - 1]), float(winds[k])
    roots = [_root(low, high, slack[k - 1, c], slack[k, c]) for c in those]
    best = int(np.argmin(roots))
    return Crossing(FOUND, low, high, roots[best], int(those[best]))


def _root(low: float, high: float, before: float, after: float) -> float:
    if not (math.isfinite(before) and math.isfinite(after) and before > after):
        return 0.5 * (low + high)
    return low + (high - low) * min(max(before / (before - after), 0.0), 1.0)


def next_wind(found: Crossing, tolerance: float, rounds: int) -> float | None:
    """Return the wind to fly next to narrow a bracket, None where it is narrow enough; rounds : how many were flown for it already.

    A little below the interpolated root, so that it holds there; then a tolerance above what holds, or below what fails, which closes the bracket
    where the interpolation is right. Where it is not for some rounds (a jump), halves.
    """
    width = found.high - found.low
    if found.kind != FOUND or width <= tolerance * (1.0 + 1e-9):
        return None
    if rounds >= STALLED or width <= 2.0 * tolerance:
        return found.low + 0.5 * width
    wanted = found.at - 0.5 * tolerance
    if found.at - found.low <= tolerance:
        wanted = found.low + tolerance
    elif found.high - found.at <= tolerance:
        wanted = found.high - tolerance
    return min(max(wanted, found.low + tolerance), found.high - tolerance)
