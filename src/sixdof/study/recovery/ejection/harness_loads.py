"""What a harness carries in every flight, over its strength, and what another strength, length or stiffness would make of it.

The snatch is the kernel's: the ejection throws the pieces apart at v, the harness stops them as a spring of rate k = stiffness/length, F = v sqrt(k mu) with
mu = m1 m2/(m1 + m2). So it goes with the square root of stiffness over length. The opening load that goes through the harness is the canopy's times
the share of the mass that hangs by it; of that neither length nor stiffness changes anything. Tensile strength is what the mission says; knots, stitching
and edges take a third and more off the webbing's own (common practice).
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.results.names import canopy_names
from sixdof.study.reading.result import drawn_factor, fact, mission_of
from sixdof.study.recovery.zipper import piece_masses

FACTORS = np.round(np.geomspace(0.25, 4.0, 25), 4)  # on strength, length and stiffness


class HarnessLoads(NamedTuple):
    """Loads of one harness, each (flights,), N: snatch, its part of the opening load, the larger of the two, and its strength as drawn.

    NaN where its canopy was not deployed. fore, aft : masses of the pieces, kg.
    """

    snatch: np.ndarray
    opening: np.ndarray
    peak: np.ndarray
    strength: np.ndarray
    fore: np.ndarray
    aft: np.ndarray

    @property
    def share(self) -> np.ndarray:
        """The peak load over the strength, (flights,)."""
        return self.peak / self.strength


def harness_names(mission: Mission) -> list[str]:
    """Return what the harnesses of a mission go by: their canopies."""
    return [harness.canopy for harness in mission.harness]


def loads_of(ds: xr.Dataset, mission: Mission, number: int) -> HarnessLoads:
    """Return what one harness carries in the flights of an ensemble. mission : whose strength counts; that of `ds` may be of unbreakable harnesses."""
    harness = mission.harness[number]
    canopy = canopy_names(mission).index(harness.canopy)
    out = np.isfinite(fact(ds, "deployment_airspeed", canopy))
    fore, aft = piece_masses(ds, mission, harness)
    loose = aft if harness.canopy_on == "fore" else fore
    snatch = np.where(out, fact(ds, "snatch_load", canopy), np.nan)
    opening = np.where(out, fact(ds, "opening_load", canopy) * loose / (fore + aft), np.nan)
    strength = harness.strength * drawn_factor(ds, "harness_strength", "harness", harness.canopy)
    return HarnessLoads(snatch, opening, np.fmax(snatch, opening), strength, fore, aft)


def harness_load_share(ds: xr.Dataset) -> xr.DataArray:
    """Return the peak load of every harness over its strength, (flight, harness); a harness that broke at its snatch never felt the opening.

    Raises ValueError for a mission without a harness.
    """
    mission = mission_of(ds, "harness_load_share")
    if not mission.harness:
        raise ValueError("the mission has no [[harness]] whose load could be told")
    rows = np.stack([loads_of(ds, mission, h).share for h in range(len(mission.harness))], axis=-1)
    return xr.DataArray(rows, {"harness": harness_names(mission)}, ("flight", "harness"))


# ---------------------------------------------------------------- another harness


def broken_share(loads: HarnessLoads, *, strength=1.0, length=1.0, stiffness=1.0) -> float:
    """Return the share of the flights (with its canopy out) in which a harness breaks, with factors on its strength, length and stiffness; NaN for none."""
    known = np.isfinite(loads.peak)
    peak = np.fmax(loads.snatch[known] * math.sqrt(stiffness / length), loads.opening[known])
    return float(np.mean(peak > strength * loads.strength[known])) if known.any() else math.nan


def needed_factors(loads: HarnessLoads, share: float) -> dict[str, float]:
    """Return the least factor on strength and length, and the largest on stiffness, alone, with which the harness holds in a share of the flights.

    inf (of stiffness 0) where it would not help: the opening load alone breaks it. NaN where its canopy is never out.
    """
    known = np.isfinite(loads.peak)
    if not known.any():
        return dict.fromkeys(("strength", "length", "stiffness"), math.nan)
    snatch, opening, strength = loads.snatch[known], loads.opening[known], loads.strength[known]
    by_length = np.where(np.nan_to_num(opening) > strength, math.inf, (np.nan_to_num(snatch) / strength) ** 2)
    length = _holding(by_length, share)
    return {"strength": _holding(loads.peak[known] / strength, share), "length": length, "stiffness": 1.0 / length if length > 0.0 else math.inf}


def _holding(needed: np.ndarray, share: float) -> float:
    """Return the least of values that a share of all values does not pass."""
    rows = np.sort(needed)
    return float(rows[min(math.ceil(share * rows.size - 1e-9), rows.size) - 1])
