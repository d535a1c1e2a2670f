"""Normal force of the body without fins: the slender-body part as moments along the axis, and viscous cross-flow."""

from __future__ import annotations

import math

import numpy as np

from sixdof.vehicle.aero_blend import smoothstep
from sixdof.vehicle.geometry import Segment, Shape

# cross-flow drag of a long circular cylinder over the cross-flow Mach number, subcritical Reynolds number
# L. H. Jorgensen, NASA TN D-6996, 1973, and NASA TR R-474, 1977 (from memory, +/-0.1; +/-0.2 near Mach 1)
CROSS_MACH = (0.0, 0.3, 0.4, 0.6, 0.8, 0.9, 1.0, 1.2, 1.5, 2.0, 3.0, 4.0)
CROSS_DRAG = (1.20, 1.20, 1.25, 1.40, 1.70, 1.80, 1.80, 1.70, 1.50, 1.37, 1.28, 1.22)

# drag of a finite cylinder over that of an endless one (Goldstein 1938, as used by Allen and Perkins, NACA Report 1048,
# 1951; from memory, +/-0.03; the two shortest from Hoerner, Fluid-Dynamic Drag, 1965, ch. 3, from memory)
LENGTH_RATIO = (1.0, 2.0, 5.0, 10.0, 20.0, 40.0)
LENGTH_FACTOR = (0.53, 0.57, 0.62, 0.68, 0.74, 0.82)


def segment_moments(segment: Segment) -> np.ndarray:
    """Return (3,): the integrals of S'(x) x^k dx over one segment, k = 0, 1, 2; S the cross-section, x the station (m).

    By parts: int S' x^k = [S x^k] - k int S x^(k-1), so no slope of the profile (infinite at a blunt tip) is needed.
    """
    x, weight = segment.quadrature()
    section = math.pi * segment.radius(x) ** 2
    powers = np.arange(3)
    ends = math.pi * (segment.r1**2 * segment.x1**powers - segment.r0**2 * segment.x0**powers)
    return ends - np.array([0.0, np.sum(weight * section), 2.0 * np.sum(weight * section * x)])


def step_moments(station: float, before: float, after: float) -> np.ndarray:
    """Return (3,): the same integrals over a sudden change of radius from `before` to `after` (m) at one station."""
    return math.pi * (after**2 - before**2) * station ** np.arange(3)


def slender_moments(shape: Shape) -> np.ndarray:
    """Return (3,): S0, S1, S2 = sum of CN_alpha_i x_i^k on the reference area, 1/rad, m/rad, m^2/rad.

    Slender-body theory, dCN/dx = 2 S'(x)/A (Munk 1924; Barrowman 1967): a nose has 2 A_b/A at L - V/A_b, a boattail the
    negative of what a nose of its change of section would have, a cylinder nothing. A blunt fore end counts as a step
    there, which leaves the total at twice the base area. The growth of a nose-cylinder's slope with Mach (some 15 per
    cent of the vehicle's at supersonic speed) and the loss of a boattail's in separated flow are left out.
    """
    moments = np.zeros(3)
    before = 0.0
    for segment in shape.segments:
        moments += step_moments(segment.x0, before, segment.r0) + segment_moments(segment)
        before = segment.r1
    return 2.0 / shape.area * moments


def cross_flow_drag(mach, slenderness: float) -> np.ndarray:
    """Return eta Cdc over the CROSS-FLOW Mach number, for a body of length/diameter `slenderness`.

    Allen and Perkins, NACA Report 1048, 1951; Jorgensen 1973. eta is the finite-length factor, straight lines in the
    logarithm of the slenderness, and goes to 1 between cross-flow Mach 0.5 and 1, where no base pressure reaches round.
    """
    mach = np.asarray(mach, dtype=float)
    eta = np.interp(math.log(max(slenderness, 1e-9)), np.log(LENGTH_RATIO), LENGTH_FACTOR)
    return np.interp(mach, CROSS_MACH, CROSS_DRAG) * (eta + (1.0 - eta) * smoothstep(mach, 0.5, 1.0))
