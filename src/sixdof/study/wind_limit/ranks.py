"""How many of the flights must hold a criterion, and by how much the flight that decides holds it.

"In 95 % of flights" asks for ceil(0.95 n) of n flights. What the true share is, n flights tell between two numbers: the quantile of all
flights lies between two order statistics (see `sixdof.stats.quantile_interval`), so a criterion is shown to hold where the upper one holds,
and shown to fail where the lower one fails. Three numbers of flights, three LEVELS, and each is a function of the wind with a root.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr
from scipy.stats import binom

from sixdof.study.variants.criteria import Criterion

FAILS, ASKED, SHOWN = 0, 1, 2  # levels: fewer hold than this and it is shown to fail; as asked; so many hold that it is shown to hold
LEVELS = (FAILS, ASKED, SHOWN)
_ROUNDING = 1e-9  # of a number of flights: 0.95 * 60 is 57


class Judged(NamedTuple):
    """Criteria at one wind.

    holding : (criteria,) flights that hold. slack : (criteria, levels) by how much the deciding flight holds, in the criterion's unit;
    of flags and functions in flights. Negative where it fails. value : (criteria,) the outcome at the asked share, NaN of flags.
    """

    holding: np.ndarray
    slack: np.ndarray
    value: np.ndarray


def flights_to_hold(flights: int, share: float, confidence: float) -> tuple[int, int, int]:
    """Return how many of the flights must hold, by level; 0: any do, flights + 1: no number of these flights shows it.

    The k-th smallest of n values lies at or below the true quantile with probability P[Bin(n, share) >= k] (H. A. David & H. N. Nagaraja,
    2003, Order Statistics, section 7.1). Each of the two outer levels errs with at most (1 - confidence)/2.
    """
    miss = 0.5 * (1.0 - confidence)
    below = int(binom.ppf(miss, flights, share))
    above = int(binom.ppf(1.0 - miss, flights, share)) + 1
    return below, math.ceil(share * flights - _ROUNDING), above


def judged(criteria: list[Criterion], ensemble: xr.Dataset, confidence: float) -> Judged:
    """Return what flights of one wind say of each criterion."""
    holding, slack, value = [], [], []
    for one in criteria:
        holds, _ = one.holds(ensemble)
        need = flights_to_hold(len(holds), one.share, confidence)
        holding.append(int(np.sum(holds)))
        badness = _badness(one, ensemble)
        if badness is None:
            slack.append([holding[-1] - k + 0.5 for k in need])
            value.append(math.nan)
        else:
            ordered = np.concatenate([[-math.inf], np.sort(badness), [math.inf]])
            slack.append([_sign(one) * one.limit - ordered[k] for k in need])
            value.append(_sign(one) * ordered[need[ASKED]])
    return Judged(np.array(holding), np.array(slack, dtype=float), np.array(value, dtype=float))


def _sign(one: Criterion) -> float:
    return -1.0 if one.relation.startswith(">") else 1.0


def _badness(one: Criterion, ensemble: xr.Dataset) -> np.ndarray | None:
    """Return the outcome of every flight so that more is worse, infinite where a flight has none; None for a flag or a function."""
    if one.limit is None:
        return None
    values = _sign(one) * one.subject.array(ensemble).values
    return np.where(np.isnan(values), math.inf, values)
