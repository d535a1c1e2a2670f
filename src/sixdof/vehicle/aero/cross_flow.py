"""Viscous cross-flow on the body: drag of a cylinder over the Mach and the Reynolds number of the cross flow."""

from __future__ import annotations

import math

import numpy as np

from sixdof.vehicle.aero.blend import mach_grid, smoothstep
from sixdof.vehicle.aero.friction import root_grid
from sixdof.vehicle.geometry import Shape, planform

# cross-flow drag of a long circular cylinder over the cross-flow Mach number, subcritical Reynolds number
# L. H. Jorgensen, NASA TN D-6996, 1973, and NASA TR R-474, 1977 (from memory, +/-0.1; +/-0.2 near Mach 1); from Mach 1.2
# to 3 laid lower within that, 3 to 6 %, through the total forces that T. E. Stanton measured (ARC R&M 1210, 1929)
CROSS_MACH = (0.0, 0.3, 0.4, 0.6, 0.8, 0.9, 1.0, 1.2, 1.5, 2.0, 3.0, 4.0)
CROSS_DRAG = (1.20, 1.20, 1.25, 1.40, 1.70, 1.80, 1.80, 1.62, 1.43, 1.29, 1.24, 1.22)

# drag of a finite cylinder over that of an endless one (Goldstein 1938, as used by Allen and Perkins, NACA Report 1048,
# 1951; from memory, +/-0.03; the two shortest from Hoerner, Fluid-Dynamic Drag, 1965, ch. 3, from memory)
LENGTH_RATIO = (1.0, 2.0, 5.0, 10.0, 20.0, 40.0)
LENGTH_FACTOR = (0.53, 0.57, 0.62, 0.68, 0.74, 0.82)

# the drag crisis: a smooth cylinder's drag falls between these Reynolds numbers on its diameter, and partly comes back
# by RECOVERED_AT (Hoerner 1965, ch. 3; from memory; supercritical values of 0.3 to 0.7 are quoted, and the axial flow
# of a body at incidence and its roughness move the fall by a factor of 2 either way)
CRISIS = (2e5, 5e5)
RECOVERED_AT = 4e6
SUPERCRITICAL, RECOVERED = 0.4, 0.65
NO_CRISIS = (0.3, 0.5)  # cross-flow Mach numbers over which shocks, which separate the flow at once, take it away


def length_factor(slenderness: float) -> float:
    """Return eta, the finite body's cross-flow drag over the endless cylinder's, below cross-flow Mach 0.5.

    Straight lines in the logarithm of length/diameter, held beyond 1 and 40.
    """
    return float(np.interp(math.log(max(slenderness, 1e-9)), np.log(LENGTH_RATIO), LENGTH_FACTOR))


def cylinder_drag(mach, reynolds=0.0) -> np.ndarray:
    """Return Cdc of an endless cylinder over the cross flow's Mach number and Reynolds number on its diameter.

    1.2 subcritical, down to 0.4 between Re 2e5 and 5e5, up again to 0.65 at 4e6 (smooth steps in log Re); the fall fades
    out from cross-flow Mach 0.3 to 0.5.
    """
    level = np.log10(np.maximum(reynolds, 1.0))
    fallen = smoothstep(level, *np.log10(CRISIS))
    beyond = SUPERCRITICAL + (RECOVERED - SUPERCRITICAL) * smoothstep(level, math.log10(CRISIS[1]), math.log10(RECOVERED_AT))
    lost = fallen * (1.0 - beyond / CROSS_DRAG[0]) * (1.0 - smoothstep(mach, *NO_CRISIS))
    return np.interp(mach, CROSS_MACH, CROSS_DRAG) * (1.0 - lost)


def cross_flow_drag(mach, slenderness: float, reynolds=0.0) -> np.ndarray:
    """Return eta Cdc over the CROSS-FLOW Mach and Reynolds numbers, for a body of length/diameter `slenderness`.

    Allen and Perkins, NACA Report 1048, 1951; Jorgensen 1973. eta goes to 1 between cross-flow Mach 0.5 and 1, where no
    base pressure reaches round the ends.
    """
    eta = length_factor(slenderness)
    return cylinder_drag(mach, reynolds) * (eta + (1.0 - eta) * smoothstep(mach, 0.5, 1.0))


def cross_table(shape: Shape) -> np.ndarray:
    """Return eta Cdc (n, k): rows over cross-flow Mach as `mach_grid`, columns over the fourth root of the cross flow's
    unit Reynolds number (1/m) as the friction table's.

    The Reynolds number is on the body's mean diameter (planform area over length). The largest change between
    neighbouring columns is 0.15 for a body of 75 mm, 0.21 for one of 0.3 m; between rows 0.09.
    """
    diameter = planform(shape)[0] / shape.length
    reynolds = root_grid()[None, :] ** 4 * diameter
    return np.ascontiguousarray(cross_flow_drag(mach_grid()[:, None], shape.length / shape.diameter, reynolds))
