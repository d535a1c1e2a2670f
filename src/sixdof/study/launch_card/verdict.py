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
CONFIDENCE = 0.9  # with which a criterion counts as surely held
_ROUNDING = 1e-9  # a share of flights met up to this is met: 0.95 * 60 flights is 57


class Judged(NamedTuple):
    """One criterion on the flights of one wind.

    share : of the flights that hold it. value : the outcome at the share asked for: so many of the flights are no worse, in `unit`; NaN where
    no so many have one. spare : how far that is from the limit, positive where it is held, in `unit` (angles: rad). verdict : of
    `sixdof.stats.judge`; more : flights that would decide it at the rate so far. Of flags and own functions value and spare are shares.
    """

    criterion: Criterion
    share: float
    value: float
    spare: float
    unit: str
    verdict: str
    more: float

    @property
    def holds(self) -> bool:
        """Whether the share asked for of the flights flown holds it."""
        return self.share >= self.criterion.share - _ROUNDING

    @property
    def slack(self) -> float:
        """How far it is from its limit, over the size of that limit: what a root is looked for in; -1 where too few flights have a value."""
        if not math.isfinite(self.spare):
            return -1.0
        limit = self.criterion.limit
        return self.spare / (abs(limit) if limit else 1.0)


def judged(criteria: Sequence[Criterion], flights: xr.Dataset) -> list[Judged]:
    """Return each criterion judged on an ensemble."""
    return [_judged(one, flights) for one in criteria]


def _judged(one: Criterion, flights: xr.Dataset) -> Judged:
    holds, _ = one.holds(flights)
    share, told = float(np.mean(holds)), judge(holds, one.share, CONFIDENCE)
    verdict, more = told.verdict, float(told.more_flights_at_this_rate)
    if one.limit is None:
        return Judged(one, share, share, share - one.share, "1", verdict, more)
    ranked = ranks.judged([one], flights, CONFIDENCE)  # as the wind limits count flights
    value, spare = (float(number) if math.isfinite(number) else math.nan for number in (ranked.value[0], ranked.slack[0, ranks.ASKED]))
    return Judged(one, share, value, spare, one.subject.variable.units, verdict, more)


def decision(found: Sequence[Judged]) -> str:
    """Return "go" (every criterion held, each surely), "marginal" (held by the flights flown, too few to be sure of each) or "no-go"."""
    if not all(one.holds for one in found):
        return NO_GO
    return GO if all(one.verdict == PASS for one in found) else MARGINAL


def failing(found: Sequence[Judged]) -> Judged | None:
    """Return the criterion that is missed by most, over the size of its limit; None where all are held."""
    missed = [one for one in found if not one.holds]
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
