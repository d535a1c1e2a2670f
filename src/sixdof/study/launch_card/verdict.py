"""Go or no-go: criteria judged on the flights of one wind, and by how much each is held or missed."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.study.uncertainty.claims import PASS, judge
from sixdof.study.variants.criteria import Criterion
from sixdof.study.wind_limit import ranks

GO, MARGINAL, NO_GO = "go", "marginal", "no-go"
DECISIONS = (GO, MARGINAL, NO_GO)
CONFIDENCE = 0.9  # with which a criterion counts as surely held: of one side, so that
BOTH_SIDES = 2.0 * CONFIDENCE - 1.0  # is that of an interval with such an end
_ROUNDING = 1e-9  # a share of flights met up to this is met: 0.95 * 60 flights is 57


class Judged(NamedTuple):
    """One criterion on the flights of one wind.

    share : of the flights that hold it. value : the outcome at the share asked for: so many of the flights are no worse, in `unit`; NaN where
    no so many have one. spare : how far that is from the limit, positive where it is held, in `unit` (angles: rad). verdict : of
    `sixdof.stats.judge`; more : flights that would decide it at the rate so far. room : as spare, of the flight that decides whether it is surely
    held; of that for the share asked for where so few flights can show nothing (`tells`). Of flags and own functions value and spare are shares,
    and room counts flights.
    """

    criterion: Criterion
    share: float
    value: float
    spare: float
    unit: str
    verdict: str
    more: float
    room: float
    tells: bool

    @property
    def holds(self) -> bool:
        """Whether the share asked for of the flights flown holds it."""
        return self.share >= self.criterion.share - _ROUNDING

    @property
    def enough(self) -> bool:
        """Whether a go asks for no more: surely held, or just held where so few flights could never show it."""
        return self.verdict == PASS if self.tells else self.holds

    @property
    def slack(self) -> float:
        """The room over the size of the limit: what a root is looked for in; -1 where too few flights have a value."""
        if not math.isfinite(self.room):
            return -1.0
        return self.room / (abs(self.criterion.limit) if self.criterion.limit else 1.0)


def judged(criteria: Sequence[Criterion], flights: xr.Dataset) -> list[Judged]:
    """Return each criterion judged on an ensemble."""
    return [_judged(one, flights) for one in criteria]


def _judged(one: Criterion, flights: xr.Dataset) -> Judged:
    holds, _ = one.holds(flights)
    share, told = float(np.mean(holds)), judge(holds, one.share, CONFIDENCE)
    ranked = ranks.judged([one], flights, BOTH_SIDES)  # as the wind limits count flights
    tells = ranks.flights_to_hold(len(holds), one.share, BOTH_SIDES)[ranks.SHOWN] <= len(holds)
    room = _known(ranked.slack[0, ranks.SHOWN if tells else ranks.ASKED])
    value, spare, unit = _known(ranked.value[0]), _known(ranked.slack[0, ranks.ASKED]), "1"
    if one.limit is None:
        value, spare = share, share - one.share
    else:
        unit = one.subject.variable.units
    return Judged(one, share, value, spare, unit, told.verdict, float(told.more_flights_at_this_rate), room, tells)


def _known(number: float) -> float:
    return float(number) if math.isfinite(number) else math.nan


def decision(found: Sequence[Judged]) -> str:
    """Return "go" (every criterion held, each surely), "marginal" (held by the flights flown, too few to be sure of each) or "no-go"."""
    if not all(one.holds for one in found):
        return NO_GO
    return GO if all(one.verdict == PASS for one in found) else MARGINAL


def failing(found: Sequence[Judged]) -> Judged | None:
    """Return the criterion that lacks most for a go, over the size of its limit; None where none lacks anything."""
    missed = [one for one in found if not one.enough]
    return min(missed, key=lambda one: one.slack) if missed else None


def quantity(value: float, unit: str, *, signed: bool = False) -> str:
    """Return a value as a card says it: "12.3 deg", "61 %", "1.83 calibres"."""
    if not math.isfinite(value):
        return "no value"
    if unit == "rad":
        value, unit = math.degrees(value), "deg"
    sign = "+" if signed else ""
    if unit == "1":
        return f"{value:{sign}.2f}"
    return f"{value:{sign}.0f} {unit}" if abs(value) >= 100.0 else f"{value:{sign}.1f} {unit}"
