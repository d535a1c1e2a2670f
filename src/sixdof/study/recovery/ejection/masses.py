"""Which mass of powder shears the strongest pins and leaves the harness whole: the window, and what to take.

The lower end is exact: the force of the shut bay is pins at their largest strength plus friction, and the coupler comes out. The upper ends are those at which
the snatch, which goes with the impulse, passes a share of the harness's drawn strength, or all of it, in as many flights as may; the opening load is no
part of them.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.flight.harness import Ejector
from sixdof.mission.mission import Mission
from sixdof.study.recovery.ejection.harness_loads import HarnessLoads
from sixdof.vehicle.charge import Ejection, gauge_pressure, pin_forces

MARGIN = 1.5  # times the least mass: what is taken where the harness allows it (a project choice; common practice tests on the ground and adds)
NARROW = 1.2  # times the least mass: a window narrower than this has no margin at either end
LARGEST = 50.0  # times the least mass: nothing beyond is looked at
STEPS = 41


class Masses(NamedTuple):
    """Masses of powder, kg: the least that shears the strongest pins and opens the bay; the largest whose snatch stays below a share of the strength in
    enough flights, and that which breaks the harness in more than may be; what to take, as far as can be that which is written."""

    least: float
    largest: float
    breaking: float
    advised: float


def unit_snatch(mission: Mission, number: int, loads: HarnessLoads, stiffness: np.ndarray, impulse: np.ndarray) -> np.ndarray:
    """Return the snatch (N) in each flight of an impulse of 1 N s before its draw, (flights,): sqrt(k/mu), with drawn stiffness and factor on the impulse."""
    harness = mission.harness[number]
    rate = harness.stiffness / harness.length * stiffness
    return impulse * np.sqrt(rate * (loads.fore + loads.aft) / (loads.fore * loads.aft)) * np.where(np.isfinite(loads.peak), 1.0, np.nan)


def largest_impulse(unit: np.ndarray, strength: np.ndarray, share: float, load_share: float = 1.0) -> float:
    """Return the largest impulse (N s) whose snatch stays below a share of the strength in a share of the flights; NaN without flights."""
    allowed = np.sort((load_share * strength / unit)[np.isfinite(unit)])[::-1]
    return float(allowed[min(math.ceil(share * allowed.size - 1e-9), allowed.size) - 1]) if allowed.size else math.nan


def masses_of(ejector: Ejector, safe: float, breaking: float) -> Masses:
    """Return the masses of a charge. safe, breaking : impulses (N s) of `largest_impulse`."""
    least, written = _least(ejector), ejector.charge.mass
    if math.isinf(least):
        return Masses(least, math.nan, math.nan, math.nan)
    largest, broken = (_with_impulse(ejector, least, impulse) for impulse in (safe, breaking))
    if largest >= NARROW * least:
        right = NARROW * least <= written <= largest
        return Masses(least, largest, broken, written if right else min(MARGIN * least, math.sqrt(least * largest)))
    return Masses(least, largest, broken, min(max(written, NARROW * least), MARGIN * least))  # of a harness that bears it


def _least(ejector: Ejector) -> float:
    charge, bay = ejector.charge, ejector.bay
    shears = (pin_forces(charge)[1] + charge.friction) / (bay.area * gauge_pressure(charge, bay)) * charge.mass
    start = max(shears * (1.0 + 1e-9), 1e-3 * charge.mass)
    return start if ejector.fire(start).parted else _root(lambda mass: ejector.fire(mass).parted, start, LARGEST * max(start, charge.mass))


def _with_impulse(ejector: Ejector, least: float, impulse: float) -> float:
    """Return the mass with an impulse, NaN where it is less than the least mass makes or none is known."""
    if not impulse > ejector.fire(least).impulse:
        return math.nan
    return _root(lambda mass: ejector.fire(mass).impulse >= impulse, least, LARGEST * least)


def _root(holds, low: float, high: float) -> float:
    """Return the least value from which on something holds, to some 1e-5 of itself, by bisection; inf where it does not even at `high`."""
    if not holds(high):
        return math.inf
    for _ in range(18):
        middle = math.sqrt(low * high)
        low, high = (low, middle) if holds(middle) else (middle, high)
    return high


def mass_grid(asked: tuple[float, ...] | None, masses: Masses, written: float) -> np.ndarray:
    """Return the masses (kg) that are looked at: as asked (two: from the first to the second), else all that matters, evenly by their logarithms."""
    if asked is not None:
        return np.geomspace(*asked, STEPS) if len(asked) == 2 else np.array(asked)
    known = [mass for mass in (masses.least, masses.largest, masses.breaking, written) if math.isfinite(mass)]
    return np.geomspace(0.4 * min(known), max(min(1.3 * max(known), 8.0 * written), 2.0 * written), STEPS)


def held(ejection: Ejection) -> float:
    """Return the share of pins, their strengths evenly spread between low and high, that hold an ejection's force."""
    low, high = ejection.pins
    spare = ejection.force - ejection.friction
    return float(np.clip((high - spare) / (high - low), 0.0, 1.0)) if high > low else float(spare <= high)
