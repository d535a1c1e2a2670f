"""One fin panel: slope of its normal force, where that force acts, where it stalls.

A panel counts as half of the wing that it makes with its mirror image in the body; `ratio` AR = 2 span^2/area is that
wing's.
"""

from __future__ import annotations

import math

import numpy as np

from sixdof.vehicle.aero.blend import bridge, smoothstep
from sixdof.vehicle.geometry import FinSet, polygon_area

# flat plate across the stream, ratio 1..5: 1.17-1.2 (Hoerner, Fluid-Dynamic Drag, 1965, ch. 3, from memory)
SLOW_PLATE, FAST_PLATE = 1.2, 1.7  # normal force of a separated panel at 90 deg below Mach 0.6 and above 1.6: plates of aspect ratio 1 to 4
# (Hoerner 1965), and about the stagnation pressure behind a normal shock less a vacuum share (common practice)
CROWDING = {5: 0.948, 6: 0.913, 7: 0.854, 8: 0.81}  # share of a panel's slope kept (common practice, from memory)
SUPERSONIC_STALL = math.sin(math.radians(35.0))  # no suction left to lose: nearly linear to here (common practice)


# ---------------------------------------------------------------- slope of the normal force


def subsonic_slope(mach, span: float, area: float, midchord_sweep: float) -> np.ndarray:
    """Return area x CN_alpha (m^2/rad) of one panel below Mach 1.

    F. W. Diederich, NACA TN 2335, 1951, with the section slope 2 pi/beta, which is then
    2 pi span^2/(1 + sqrt(1 + (beta span^2/(area cos sweep))^2)): Barrowman's (1967) fin at M = 0, pi span^2 at M = 1.
    """
    beta = np.sqrt(np.maximum(1.0 - np.asarray(mach, dtype=float) ** 2, 0.0))
    slender = beta * span**2 / (area * math.cos(midchord_sweep))
    return 2.0 * math.pi * span**2 / (1.0 + np.sqrt(1.0 + slender**2))


def rectangle_load(b) -> np.ndarray:
    """Return CL_alpha/AR of a rectangular wing in supersonic flow over b = beta AR.

    Linear theory (4 - 2/b)/b for b >= 1. Below, where the tips' Mach cones cross the whole wing, the parabola 2 - (2 -
    pi/2)(1 - b)^2, which has linear theory's value and slope at b = 1 and ends at the slender wing's pi/2 (R. T. Jones,
    NACA Report 835, 1946) at b = 0; the parabola is ours.
    """
    b = np.asarray(b, dtype=float)
    wide = np.maximum(b, 1.0)
    return np.where(b >= 1.0, (4.0 - 2.0 / wide) / wide, 2.0 - (2.0 - 0.5 * math.pi) * (1.0 - b) ** 2)


def triangle_load(b) -> np.ndarray:
    """Return CL_alpha/AR of a delta wing in supersonic flow over b = beta AR.

    Linear theory: (pi/2)/E(k), k^2 = 1 - (b/4)^2 with its leading edge inside the Mach cone (H. J. Stewart 1946),
    4/b outside it (b >= 4).
    """
    b = np.asarray(b, dtype=float)
    return np.where(b < 4.0, 0.5 * math.pi / elliptic_e(np.minimum(0.25 * b, 1.0)), 4.0 / np.maximum(b, 4.0))


def elliptic_e(complement) -> np.ndarray:
    """Return the complete elliptic integral of the second kind E over the complementary modulus sqrt(1 - k^2), 0 to 1.

    By the arithmetic-geometric mean (Abramowitz and Stegun 1964, 17.6.3 and 17.6.4): E is a quarter of the ellipse with the axes
    1 and `complement`.
    """
    complement = np.maximum(complement, 1e-30)  # a flat ellipse: E = 1
    a, g, share = np.ones_like(complement), complement, 0.5 * (1.0 - complement**2)
    for n in range(12):  # digits double each time
        a, g, c = 0.5 * (a + g), np.sqrt(a * g), 0.5 * (a - g)
        share = share + 2.0**n * c**2
    return 0.5 * math.pi / a * (1.0 - share)


def taper_weight(fin: FinSet) -> float:
    """Return 0 for a panel that loads like a rectangle in supersonic flow, 1 for one that loads like a triangle.

    AR tan(sweep)/4, the parameter of linear theory's charts (0 and 1 for the two exact solutions), of the more swept
    edge: by the reverse-flow theorem (Brown 1950; Ursell and Ward 1950) a planform flown backwards has the same slope.
    The edges are straight lines from the root's through those of the mean aerodynamic chord. That the load between the
    two solutions is linear in it is ours.
    """
    leading = fin.x_mac_le / fin.y_mac
    trailing = (fin.x_mac_le + fin.mac - fin.root_chord) / fin.y_mac
    return min(max(0.25 * fin.aspect_ratio * max(leading, -trailing), 0.0), 1.0)


def supersonic_slope(mach, span: float, area: float, weight: float) -> np.ndarray:
    """Return area x CN_alpha (m^2/rad) of one panel above Mach 1: `weight` of the triangle's, the rest rectangle's."""
    ratio = 2.0 * span**2 / area
    b = ratio * np.sqrt(np.maximum(np.asarray(mach, dtype=float) ** 2 - 1.0, 0.0))
    return area * ratio * ((1.0 - weight) * rectangle_load(b) + weight * triangle_load(b))


def crowding(count: int) -> float:
    """Return the share of a panel's slope that is left among `count` fins: 1 to four, then less.

    Common practice, from memory; beyond eight the whole set keeps the force of eight (ours).
    """
    return 1.0 if count <= 4 else CROWDING.get(count, CROWDING[8] * 8.0 / count)


def panel_slope(mach, fin: FinSet, reference: float, count: int | None = None) -> np.ndarray:
    """Return CN_alpha (1/rad, on the area `reference`) of one panel of `count` (the set's, if omitted) over `mach`; a cubic
    joins 0.8 to 1.2.

    Accuracy: some 5 % below Mach 0.8 and above 1.4, 15 % between (ours, from the spread of the theories joined).
    """
    weight = taper_weight(fin)
    area_slope = bridge(mach, lambda m: subsonic_slope(m, fin.span, fin.area, fin.midchord_sweep), lambda m: supersonic_slope(m, fin.span, fin.area, weight))
    return area_slope * crowding(fin.part.count if count is None else count) / reference


# ---------------------------------------------------------------- where it acts


def rectangle_centre(b) -> np.ndarray:
    """Return the centre of pressure of a rectangular wing in chords over b = beta AR.

    Linear theory [1/2 - 1/(3 b)]/[1 - 1/(2 b)] for b >= 1; below, 1/4 + b^4/12, which has the same value and slope at b
    = 1 and starts at the subsonic quarter-chord (ours).
    """
    b = np.asarray(b, dtype=float)
    wide = np.maximum(b, 1.0)
    return np.where(b >= 1.0, (0.5 - 1.0 / (3.0 * wide)) / (1.0 - 0.5 / wide), 0.25 + np.minimum(b, 1.0) ** 4 / 12.0)


def centre_station(mach, fin: FinSet) -> np.ndarray:
    """Return the station (m) of a panel's centre of pressure over `mach`.

    Below 0.8 the quarter-chord of the mean aerodynamic chord (Barrowman 1967); above 1.2 linear theory's rectangle,
    going with `taper_weight` to the triangle's half-chord (its centroid, at every b); a cubic between.
    """
    weight = taper_weight(fin)

    def supersonic(m):
        b = fin.aspect_ratio * np.sqrt(np.maximum(m**2 - 1.0, 0.0))
        return (1.0 - weight) * rectangle_centre(b) + weight * 0.5

    share = bridge(mach, lambda m: np.full(np.shape(m), 0.25), supersonic)
    return fin.x0 + fin.x_mac_le + fin.mac * share


def backward_station(mach, fin: FinSet) -> np.ndarray:
    """Return the station (m) of a panel's centre of pressure flying trailing edge first, over `mach`.

    `centre_station` of the panel turned round: the mean aerodynamic chord stays where it is, and `taper_weight` knows
    no sense. The slope is the same by the reverse-flow theorem (Brown 1950; Ursell and Ward 1950).
    """
    return 2.0 * (fin.x0 + fin.x_mac_le) + fin.mac - centre_station(mach, fin)


def plate_normal(mach) -> np.ndarray:
    """Return the normal-force coefficient (on its own area) of a panel set square to the flow, over the Mach number."""
    return SLOW_PLATE + (FAST_PLATE - SLOW_PLATE) * smoothstep(mach, 0.6, 1.6)


def area_centre(fin: FinSet) -> float:
    """Return the station (m) of the panel's area centroid, where a stalled panel's load acts."""
    return fin.x0 + polygon_area(fin.points)[1]


def roll_arm(fin: FinSet) -> float:
    """Return int c y^2 dy/int c y dy (m), y from the body AXIS: the arm where a roll rate makes the mean incidence.

    Strip theory: its product with the centroid's arm int c y dy/area is the damping integral int c y^2 dy/area
    (Barrowman 1967).
    """
    chord2 = chord_moment(fin, 2)
    return chord2 / chord_moment(fin, 1)


def chord_moment(fin: FinSet, power: int) -> float:
    """Return int c y^power dy of a panel, m^(2 + power), y from the body axis; exact for straight edges."""
    levels = np.unique(fin.points[:, 1])
    gap = np.diff(levels)[:, None]
    node, weight = np.polynomial.legendre.leggauss(3)
    y = levels[:-1, None] + 0.5 * gap * (1.0 + node)
    return float(np.sum(0.5 * gap * weight * fin.chord(y) * (y + fin.body_radius) ** power))


# ---------------------------------------------------------------- stall


def stall_sine(mach, ratio: float) -> np.ndarray:
    """Return the sine of the incidence where a panel begins to stall, over `mach`.

    13 deg + 20 deg/(1 + (AR/1.5)^2) at low speed: thin plates of ratio 1 hold to some 25-30 deg, of 2 to 20 deg, of 4
    and more to 13-16 deg (low-speed tests of low-aspect-ratio plates; Hoerner and Borst, Fluid-Dynamic Lift, 1975, ch.
    17, from memory; the formula is ours, +/-4 deg). Between Mach 0.9 and 1.5 it goes to 35 deg.
    """
    slow = math.sin(math.radians(13.0 + 20.0 / (1.0 + (ratio / 1.5) ** 2)))
    return slow + (SUPERSONIC_STALL - slow) * smoothstep(mach, 0.9, 1.5)
