"""The decision: which motors meet the criteria, which of them is preferred, and why each of the others lost."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import xarray as xr

from sixdof.results.status import Status
from sixdof.study.motor_choice.preference import Wish, ranked
from sixdof.study.motor_choice.words import number_text
from sixdof.study.uncertainty.claims import FAIL, PASS
from sixdof.study.variants.criteria import Criterion, percent
from sixdof.study.variants.judging import VERDICTS

# what became of a motor; its flag is the place in this row
BEST, MEETS, OPEN, FAILS, UNFIT, UNKNOWN = "best", "meets_all", "undecided", "fails", "does_not_fit", "not_known"
STANDINGS = (BEST, MEETS, OPEN, FAILS, UNFIT, UNKNOWN)


def standing_of(verdicts: np.ndarray) -> str:
    """Return what the verdicts (criteria,) of a motor come to, flags of `VERDICTS`: meets all (of none, too), is undecided, or fails."""
    words = [VERDICTS[int(v)] for v in verdicts]
    return FAILS if FAIL in words else MEETS if all(word == PASS for word in words) else OPEN


def held_on_rail(ds: xr.Dataset) -> float:
    """Return the share of flights that do not leave the rail: a motor that leaves any there fails, whatever is asked of it."""
    return float(np.mean(ds["status"].values == Status.NO_LIFTOFF))


def best_of(standings: Sequence[str], values: np.ndarray, wishes: Sequence[Wish]) -> int | None:
    """Return the number of the best motor, None where there is none.

    The best is the most preferred of those that meet all criteria; where none does, of those that fail none. Without a preference only one
    that stands alone is the best.

    values : (motors, wishes), NaN where a motor has none.
    """
    for standing in (MEETS, OPEN):
        rows = [k for k, word in enumerate(standings) if word == standing]
        if len(rows) == 1:
            return rows[0]
        if rows:
            return rows[ranked(values[rows], wishes)[0]] if wishes else None
    return None


def values_of(ensembles: Mapping[str, xr.Dataset], numbers: Mapping[str, Mapping[str, float]], wishes: Sequence[Wish]) -> np.ndarray:
    """Return what each motor is worth by each wish, (motors, wishes): medians of outcomes, numbers as they are, NaN for none."""
    rows = [[_value(ds, numbers, name, wish) for wish in wishes] for name, ds in ensembles.items()]
    return np.array(rows, dtype=float).reshape(len(ensembles), len(wishes))


def _value(ds: xr.Dataset, numbers: Mapping[str, Mapping[str, float]], name: str, wish: Wish) -> float:
    if wish.subject is None:
        return float(numbers[wish.what].get(name, math.nan))
    values = wish.subject.array(ds).values
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else math.nan


# ---------------------------------------------------------------- why a motor lost


def shortfall(one: Criterion, ds: xr.Dataset) -> str:
    """Return in words by how much an ensemble misses a criterion: the value that the share asked for keeps, and its distance from the limit; "" for words."""
    if one.subject is None or one.limit is None:
        return ""
    values = one.subject.array(ds).values
    values = values[np.isfinite(values)]
    if not values.size:
        return "no flight has a value"
    above = one.relation in (">", ">=")
    reached = float(np.quantile(values, 1.0 - one.share if above else one.share))
    off = one.limit - reached if above else reached - one.limit
    if off <= 0.0:
        return "flights without a value count as not meeting it"
    units = one.subject.variable.units
    keep = "exceed" if above else "stay within"
    return f"{percent(one.share)} of the flights {keep} {number_text(reached, units)}, {number_text(off, units)} too {'little' if above else 'much'}"


def lost_by_preference(k: int, best: int, values: np.ndarray, wishes: Sequence[Wish], each: Sequence[tuple[str, xr.Dataset]], units: Sequence[str]) -> str:
    """Return why motor k, that meets as much as the best, is not the best. each : (name, ensemble) of the motors."""
    for j, wish in enumerate(wishes):
        mine, theirs = values[k, j], values[best, j]
        if math.isfinite(mine) and math.isclose(mine, theirs, rel_tol=1e-9):
            continue
        if not math.isfinite(mine):
            return f"has no {wish.what}"
        less = "less" if mine < theirs else "more"
        said = f"{wish.what} {number_text(mine, units[j])}, {number_text(abs(mine - theirs), units[j])} {less} than {each[best][0]}"
        return said if wish.subject is None else f"{said} ({less} in {_same_flights(wish, each[k][1], each[best][1], less):.0f} % of the same flights)"
    return f"as good as {each[best][0]} by the preference, which comes first in the folder"


def _same_flights(wish: Wish, mine: xr.Dataset, theirs: xr.Dataset, less: str) -> float:
    """Return in how many of the flights that both have an outcome is less (or more), per cent."""
    difference = wish.subject.array(mine).values - wish.subject.array(theirs).values
    known = difference[np.isfinite(difference)]
    return 100.0 * float(np.mean(known < 0.0 if less == "less" else known > 0.0)) if known.size else 0.0
