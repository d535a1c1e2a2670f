"""How effort is best spread over cells: Koopman's allocation, for every concave law of detection."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq

from sixdof.postflight.search.detection import LAWS, Law


class Allocation(NamedTuple):
    """Coverage of every cell (cells,), and the probability that it finds what lies in one of them. worth : of one more cell swept, at the end."""

    coverage: np.ndarray
    found: float
    worth: float


def optimal_allocation(probability: np.ndarray, effort: float, law: Law = LAWS["random"], spent: np.ndarray | None = None) -> Allocation:
    """Return where to spend `effort` (cells swept: sweep width times length over the area of a cell) so that the probability of finding is largest.

    Lagrange multipliers (B. O. Koopman, 1957, The theory of search III, Operations Research 5, 613-626; L. D. Stone, 1975, Theory of Optimal Search,
    theorem 2.1.2 and 2.2.4): at the best, one more of effort brings the same everywhere it is spent, and no more anywhere else. With a concave law no
    plan of the same effort finds more, so this is the bound that every plan on the ground is held against.

    Parameters
    ----------
    probability : (cells,) that it lies in each, all of the same area
    effort : 0 or more
    law : of detection
    spent : (cells,) coverage by the same law that is there already; None: none
    """
    p = np.asarray(probability, dtype=float).ravel()
    before = np.zeros(p.size) if spent is None else np.asarray(spent, dtype=float).ravel()
    live = p > 0.0
    if not effort > 0.0 or not live.any():
        return Allocation(np.zeros(p.size), 0.0, float("nan"))
    if law is LAWS["definite range"]:
        return _fullest_first(p, effort, before)
    first = np.log(p[live])
    already = before[live]

    def added(worth: float) -> np.ndarray:
        yields = np.exp(np.minimum(worth - first, 0.0))
        return np.maximum(law.effort(yields) - already, 0.0)

    high, low = first.max(), first.max() - 1.0
    while added(low).sum() < effort:
        low = high - 2.0 * (high - low)
    worth = brentq(lambda one: added(one).sum() - effort, low, high, xtol=1e-13, rtol=1e-14) if added(low).sum() > effort else low
    coverage = np.zeros(p.size)
    coverage[live] = added(worth)
    found = float(np.sum(p * (law.probability(before + coverage) - law.probability(before))))
    return Allocation(coverage, found, float(np.exp(worth)))


def _fullest_first(p: np.ndarray, effort: float, before: np.ndarray) -> Allocation:
    """Under definite range every cell is swept once, the fullest first; the last one in part."""
    order = np.argsort(-p, kind="stable")
    room = np.maximum(1.0 - before[order], 0.0)
    filled = np.minimum(room, np.maximum(effort - (np.cumsum(room) - room), 0.0))
    coverage = np.zeros(p.size)
    coverage[order] = filled
    last = np.flatnonzero(filled > 0.0)
    return Allocation(coverage, float(p @ coverage), float(p[order[last[-1]]]) if last.size else float("nan"))
