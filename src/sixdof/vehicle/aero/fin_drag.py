"""Axial force of the fins but for friction: edges, thickness, the junction with the body, the slot of a hinged fin.

Everything is a force per dynamic pressure ("drag area", m^2) of the whole set, at zero incidence and deflection.
"""

from __future__ import annotations

import math

import numpy as np

from sixdof.vehicle.aero import pressure as pressure
from sixdof.vehicle.aero.blend import TRANSONIC, bridge, smoothstep
from sixdof.vehicle.geometry import FinSet

EDGE_SLOW = 0.65  # mean over stagnation pressure of a square leading edge, subsonic (Hoerner 1965, ch. 3, from memory)
ROUND_SUPERSONIC = 2.0 / 3.0  # the same of a half-round one, modified Newtonian flow: int cos^2 over its height
ROUND_TRAILING = 0.5  # base drag left behind a rounded trailing edge (common practice)
SHAFT_DRAG = 1.2  # of the shaft that crosses the slot, taken as a cylinder as wide as the fin is thick (ours)


def sweep_of(fin: FinSet) -> float:
    """Return the sweep (rad) of the straight line from the root's leading edge through the mean chord's."""
    return math.atan2(fin.x_mac_le, fin.y_mac)


def thickness_drag(mach, thickness_ratio: float, section: str, sweep: float = 0.0) -> np.ndarray:
    """Return a section's wave drag on the fin's area over `mach` > 1; `sweep` (rad) is the leading edge's.

    Double wedge 4 (t/c)^2/beta, biconvex 16/3 (t/c)^2/beta (Ackeret 1925); 1/tan(sweep) in place of 1/beta where the
    leading edge is inside the Mach cone (USAF DATCOM 4.1.5.1, from memory). "airfoil" is taken
    as biconvex, the others have flat faces and none.
    """
    factor = {"double-wedge": 4.0, "airfoil": 16.0 / 3.0}.get(section, 0.0)
    relieved = 1.0 / max(math.tan(abs(sweep)), 1e-9)
    return factor * thickness_ratio**2 * np.minimum(1.0 / np.sqrt(np.square(mach) - 1.0), relieved)


def leading_edge(mach, section: str, sweep: float) -> np.ndarray:
    """Return the pressure coefficient of a leading edge on its frontal area, over `mach`; sharp ones have none.

    Flat: 0.65 (subsonic) to 0.9 of the stagnation pressure. Rounded: none (leading-edge suction, M < 0.8) to 2/3 of it.
    Both times cos^2 of the sweep: only the flow across the edge is stopped (R. T. Jones's independence principle).
    """
    slow, fast = {"flat": (EDGE_SLOW, pressure.FACE_FAST), "rounded": (0.0, ROUND_SUPERSONIC)}.get(section, (0.0, 0.0))
    return (slow + (fast - slow) * smoothstep(mach, *TRANSONIC)) * pressure.stagnation(mach) * math.cos(sweep) ** 2


def edges(mach, fin: FinSet, section: str | None = None) -> np.ndarray:
    """Return the drag area of a set's leading and trailing edges over `mach`; `section` in place of the fin's own.

    The trailing edge is a base as wide as the fin is thick: all of it if flat, half if rounded, none if sharp.
    """
    section = section or fin.part.section
    frontal = fin.part.count * fin.part.thickness * fin.span
    behind = {"flat": 1.0, "rounded": ROUND_TRAILING}.get(section, 0.0) * pressure.base_pressure(mach)
    return frontal * (leading_edge(mach, section, sweep_of(fin)) + behind)


def wave(mach, fin: FinSet) -> np.ndarray:
    """Return the wave drag area of a set's thickness over `mach`: 0 to Mach 0.8, a cubic to `thickness_drag` at 1.2."""
    ratio, sweep = fin.part.thickness / fin.mac, sweep_of(fin)
    section_drag = bridge(mach, np.zeros_like, lambda m: thickness_drag(m, ratio, fin.part.section, sweep))
    return fin.part.count * fin.area * section_drag


def junctions(mach, fin: FinSet) -> np.ndarray:
    """Return the drag area that a set's corners with the body add, over `mach`.

    t^2 (0.75 t/c - 0.0003 (c/t)^2) for each panel, none where that is negative (the corner's slower flow rubs less):
    Hoerner 1965, ch. 8, from memory, a factor of 2; thin fins have none.
    """
    ratio = fin.part.thickness / fin.root_chord
    one = fin.part.thickness**2 * max(0.75 * ratio - 3e-4 / ratio**2, 0.0)
    return np.full(np.shape(mach), fin.part.count * one)


def slots(mach, fin: FinSet) -> np.ndarray:
    """Return the drag area of the slots at the roots of hinged fins over `mach`: 1.2 of shaft width times slot (ours).

    The shaft is taken as wide as the fin is thick. Drag of a gap is known to a factor of 2 at best.
    """
    return np.full(np.shape(mach), SHAFT_DRAG * fin.part.count * fin.part.thickness * fin.part.root_gap)
