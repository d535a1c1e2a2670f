"""How far the model holds: over Mach number and incidence of the climb, never beyond what the log itself reached."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.postflight.compare.curves import departure, rank_p
from sixdof.postflight.compare.segments import Going

MACH_EDGES = (0.0, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0, 1.1, 1.2, 1.5, 2.0, 3.0, math.inf)
INCIDENCE_EDGES = (0.0, 2.0, 5.0, 10.0, 15.0, 30.0, 180.0)  # deg
LEAST_INSTANTS = 3  # of a cell of the map


class Reach(NamedTuple):
    """Up to where a log has data, and up to where the model holds there; NaN for nowhere."""

    data: float
    holds: float


def data_reach(values: np.ndarray, there: np.ndarray) -> float:
    """Return the largest value that a log reached where it is compared, NaN for none."""
    known = values[there & np.isfinite(values)]
    return float(known.max()) if known.size else math.nan


def reach(z: np.ndarray, values: np.ndarray, air: np.ndarray, edges: tuple[float, ...], alpha: float) -> Reach:
    """Return how far along a quantity the model holds, of standardised curves (curves, channels, instants), the log first.

    All of it is tested first. Where that fails, everything below an edge is tested together, edge by edge upwards; the first test that fails ends it, so
    that p's of the nested stretches need no correction. What holds is never said beyond the log's largest value.

    values : (instants,) Mach number, or incidence in deg. air : bool (instants,), those that count.
    """
    there = air & np.isfinite(z[0]).any(axis=0)
    top = data_reach(values, there)
    if not math.isfinite(top):
        return Reach(math.nan, math.nan)
    if together(z, there) >= alpha:
        return Reach(top, top)
    held = math.nan
    for edge in edges[1:]:
        below = there & (values < edge)
        if below.sum() >= LEAST_INSTANTS:
            if together(z, below) < alpha:
                return Reach(top, held)
            held = min(edge, top)
        if edge > top:
            break
    return Reach(top, held)


def together(z: np.ndarray, which: np.ndarray) -> float:
    """Return the p of all channels together in some instants: that of the largest departure of any."""
    p = rank_p(departure(z, which).max(axis=1, keepdims=True))
    return float(p[0])


def over_map(z: np.ndarray, inside: np.ndarray, going: Going) -> dict[str, np.ndarray]:
    """Return instants, share of values inside the 90 % band and p, each (Mach number, incidence), of the cells of the map; NaN where there is no data.

    inside : bool (channels, instants), of the log.
    """
    air, angle = going.in_the_air, np.degrees(going.incidence)
    shape = len(MACH_EDGES) - 1, len(INCIDENCE_EDGES) - 1
    found = {"instants": np.zeros(shape, dtype=int), "inside": np.full(shape, np.nan), "p_value": np.full(shape, np.nan)}
    known = np.isfinite(z[0])
    for i in range(shape[0]):
        for j in range(shape[1]):
            mach = (going.mach >= MACH_EDGES[i]) & (going.mach < MACH_EDGES[i + 1])
            which = air & mach & (angle >= INCIDENCE_EDGES[j]) & (angle < INCIDENCE_EDGES[j + 1]) & known.any(axis=0)
            found["instants"][i, j] = which.sum()
            if which.sum() >= LEAST_INSTANTS:
                found["inside"][i, j] = inside[:, which][known[:, which]].mean()
                found["p_value"][i, j] = together(z, which)
    return found
