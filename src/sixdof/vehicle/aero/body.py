"""Normal force of the body without fins: its slope as moments along the axis, nose first over Mach, and base first."""

from __future__ import annotations

import math

import numpy as np

from sixdof.mission.tables import Nose, Tube
from sixdof.vehicle.aero.blend import TRANSONIC, bridge
from sixdof.vehicle.aero.pressure import separated_share
from sixdof.vehicle.geometry import Segment, Shape

BOATTAIL_KEPT = 0.6  # of slender theory's force on an attached boattail (common practice, from memory, +/-0.2)
SLENDEST_BLUNT = 1.5  # length/diameter of a nose below which bluntness takes away from the growth with Mach (ours)
CENTRE_BEHIND = 1.3  # the grown force acts (beta - 1.3) diameters behind the nose (fitted, see `growth`)


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
    """Return (3,): slender theory's S0, S1, S2 = sum of CN_alpha_i x_i^k on the reference area, 1/rad, m/rad, m^2/rad.

    dCN/dx = 2 S'(x)/A (Munk 1924; Barrowman 1967): a nose has 2 A_b/A at L - V/A_b, a boattail the negative of what a
    nose of its change of section would have, a cylinder nothing; a step is all of its change at one station.
    `body_moments` starts from it.
    """
    return 2.0 / shape.area * sum((moments for _, moments, _ in _pieces(shape)), np.zeros(3))


def _pieces(shape: Shape):
    """Yield (name, moments (3,) of S'(x), angle (rad) by which it narrows, 0 if it does not) along the body."""
    before = 0.0
    for segment in shape.segments:
        if abs(segment.r0 - before) > 1e-9:
            angle = 0.5 * math.pi if segment.r0 < before else 0.0
            yield "steps of diameter", step_moments(segment.x0, before, segment.r0), angle
        angle = max(math.atan2(segment.r0 - segment.r1, segment.length), 0.0)
        yield segment.part.name or segment.part.kind, segment_moments(segment), angle
        before = segment.r1


def attached_share(angle: float) -> float:
    """Return how much of slender theory's negative force a boattail of this angle (rad) keeps.

    The boundary layer thickens and leaves it: 0.6 while it stays attached, none where it separates (from 8 to 30 deg, as
    for its drag). Common practice; tests of boattailed bodies give 0.4 to 0.8 (from memory).
    """
    return BOATTAIL_KEPT * (1.0 - separated_share(angle))


def body_components(shape: Shape, mach) -> list[tuple[str, np.ndarray]]:
    """Return (name, moments (n, 3)) of every piece of the body that has a normal force, over `mach` (n,).

    Moments are those of `slender_moments`. A blunt fore end counts as a step there.
    """
    mach = np.asarray(mach, dtype=float)
    steps, rows = np.zeros(3), []
    for name, moments, angle in _pieces(shape):
        found = 2.0 / shape.area * moments * (attached_share(angle) if angle > 0.0 else 1.0)
        if name == "steps of diameter":
            steps += found
        elif np.abs(found[0]) > 1e-9:
            rows.append((name, np.broadcast_to(found, (mach.size, 3))))
    if abs(steps[0]) > 1e-9:
        rows.append(("steps of diameter", np.broadcast_to(steps, (mach.size, 3))))
    grown = growth(shape, mach)
    return rows + [("body behind the nose", grown)] if grown.any() else rows


def body_moments(shape: Shape, mach) -> np.ndarray:
    """Return S0, S1, S2 (n, 3) of the body over `mach` (n,): slender theory, boattails reduced, growth with Mach."""
    return sum((moments for _, moments in body_components(shape, mach)), np.zeros((np.size(mach), 3)))


def backward_moments(shape: Shape) -> np.ndarray:
    """Return (3,): S0, S1, S2 of the body flying base first, at every Mach number; about the nose tip, as nose first.

    L. H. Jorgensen, NASA TR R-474, 1977: beyond 90 deg, with a' = 180 deg - a, the potential part is (A_b/A) sin 2a'
    cos(a'/2) and its moment about x_m, nose up, -[V - A_b x_m]/(A d) sin 2a' cos(a'/2): a force 2 A_b/A at V/A_b. By
    slender theory a body in axial flow of either sense has the couple of its displaced volume about the nose tip, S1 =
    2 V/A and S2 = (4/A) int S x dx; the flow that has left the nose (every part that narrows, seen from the base) does
    not take the base's force off again, so S0 is 2/A times all sections gained. Were the nose without any load, the
    centre would be the base itself; were its flow attached to the tip, no force would be left, and the same couple.
    Sections gained are never less than any section, so S0 S2 >= S1^2: this force takes energy from every motion.
    """
    segments, before = shape.segments, 0.0
    gained, volume = segments[-1].r1 ** 2, np.zeros(2)
    for segment in segments:
        gained += max(before**2 - segment.r0**2, 0.0) + max(segment.r0**2 - segment.r1**2, 0.0)
        x, weight = segment.quadrature()
        section = weight * math.pi * segment.radius(x) ** 2
        volume += [np.sum(section), 2.0 * np.sum(section * x)]
        before = segment.r1
    return 2.0 / shape.area * np.array([math.pi * gained, *volume])


def growth(shape: Shape, mach) -> np.ndarray:
    """Return the moments (n, 3) that nose and cylinder gain over slender theory at supersonic speed, over `mach` (n,).

    Slope on the nose's base area: tanh(0.9 beta/f) (1 - exp(-2 f_A/beta)), f and f_A the nose's and the cylinder's
    length over the diameter; it acts (beta - 1.3) diameters behind the nose. Nothing below Mach 0.8, a cubic to 1.2.
    The form and the numbers are ours, laid between cones and tangent ogives with cylinders of 2, 4 and 10 diameters in
    first-order linear theory of the cross flow (H. S. Tsien 1938; M. D. Van Dyke 1951), worked out in
    tests/support/independent_crossflow.py: within 0.35 of the slope and 0.8 diameters of the whole body's centre for f 3 to 5. Ogive-cylinders of f 2 to 3
    then have slopes of 2.5 to 2.9 at Mach 2, as tunnels find (from memory). Left out: the same behind a flare.
    """
    gained = np.zeros((np.size(mach), 3))
    nose = shape.segments[0]
    if not isinstance(nose.part, Nose):
        return gained
    diameter = 2.0 * nose.r1
    behind = cylinder_behind(shape)
    f, f_a = nose.length / diameter, behind / diameter

    def slope(m):
        beta = np.sqrt(m**2 - 1.0)
        return np.tanh(0.9 * beta / f) * (1.0 - np.exp(-2.0 * f_a / beta))

    blunt = min(f / SLENDEST_BLUNT, 1.0)
    force = bridge(mach, np.zeros_like, slope) * blunt * math.pi * nose.r1**2 / shape.area
    beta = np.sqrt(np.maximum(mach, TRANSONIC[1]) ** 2 - 1.0)
    centre = nose.x1 + np.clip((beta - CENTRE_BEHIND) * diameter, -0.5 * nose.length, behind)
    return force[:, None] * centre[:, None] ** np.arange(3)


def cylinder_behind(shape: Shape) -> float:
    """Return the length (m) of the cylinder behind the nose, as far as its diameter stays."""
    end = shape.segments[0].x1
    for segment in shape.segments[1:]:
        if not isinstance(segment.part, Tube) or abs(segment.r0 - shape.segments[0].r1) > 1e-6:
            break
        end = segment.x1
    return end - shape.segments[0].x1
