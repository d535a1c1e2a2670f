"""Axial pressure force of the body: parts that widen, parts that narrow, the base. All at zero incidence.

Everything is a force per dynamic pressure ("drag area", m^2) until the caller divides by its reference area.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sixdof.mission.tables import Nose
from sixdof.vehicle.aero.blend import TRANSONIC, bridge, smoothstep
from sixdof.vehicle.geometry import Segment

# mean over stagnation pressure of a flat face: with base and friction, cylinders end-on of 1 to 8 diameters then have the drag of
# F. M. White, Fluid Mechanics, table 7.3 (from memory), within 7 %; supersonic: common practice
FACE_SLOW, FACE_FAST = 0.76, 0.9
CONE_FROM = 1.3  # Mach number from which the attached-shock fit is used
CONE_LIMIT = math.radians(20.0)  # half-angle to which it is
SEPARATION = (math.radians(8.0), math.radians(30.0))  # boattail angles: attached below, a base beyond (common practice)
EXPANSION_FULL = math.tan(math.radians(15.0))  # a supersonic boattail this steep has base pressure (common practice)


def stagnation(mach) -> np.ndarray:
    """Return the pressure coefficient where the air is stopped: isentropic below Mach 1, behind a normal shock above.

    NACA Report 1135, 1953, eqs. 44 and 100 (Rayleigh), gamma 1.4.
    """
    m2 = np.square(np.asarray(mach, dtype=float))
    slow = np.where(m2 > 1e-4, ((1.0 + 0.2 * m2) ** 3.5 - 1.0) / np.maximum(0.7 * m2, 7e-5), 1.0 + 0.25 * m2)
    fast = np.maximum(m2, 1.0)
    ratio = (1.2 * fast) ** 3.5 * (2.4 / (2.8 * fast - 0.4)) ** 2.5
    return np.where(m2 > 1.0, (ratio - 1.0) / (0.7 * fast), slow)


def flat_face(mach) -> np.ndarray:
    """Return the pressure coefficient of a flat face across the stream: 0.76 (subsonic) to 0.9 of stagnation."""
    return (FACE_SLOW + (FACE_FAST - FACE_SLOW) * smoothstep(mach, *TRANSONIC)) * stagnation(mach)


def base_pressure(mach) -> np.ndarray:
    """Return the drag coefficient of a blunt base on its own area, motor off: 0.12 + 0.13 M^2 to Mach 1, 0.25/M above.

    E. L. Fleeman, Tactical Missile Design (from memory, +/-30 %).
    """
    mach = np.asarray(mach, dtype=float)
    return np.where(mach < 1.0, 0.12 + 0.13 * mach**2, 0.25 / np.maximum(mach, 1.0))


def cone_pressure(mach, half_angle) -> np.ndarray:
    """Return the surface pressure coefficient of a cone, = its wave drag on the base area, for an attached shock.

    (0.083 + 0.096/M^2)(half-angle/10 deg)^1.69 (Bonney, Engineering Supersonic Aerodynamics, 1950, from memory); within
    2.5 % of Taylor and Maccoll at Mach 1.5-2 and 7.5-10 deg, 6 % at Mach 2 and 20 deg, 12 % at Mach 4.
    """
    return (0.083 + 0.096 / np.square(mach)) * (np.degrees(half_angle) / 10.0) ** 1.69


def surface_pressure(mach, angle) -> np.ndarray:
    """Return the pressure coefficient of a surface at `angle` (rad) to the stream, Mach 1.3 and more; they broadcast.

    Tangent-cone method up to 20 deg; beyond, modified Newtonian flow Cp0 sin^2 (L. Lees 1955) plus the difference at 20
    deg fading with cos^2 (ours), which ends at the stagnation pressure.
    """
    newton = stagnation(mach) * np.sin(angle) ** 2
    at_limit = cone_pressure(mach, CONE_LIMIT) - stagnation(mach) * math.sin(CONE_LIMIT) ** 2
    steep = newton + at_limit * (np.cos(angle) / math.cos(CONE_LIMIT)) ** 2
    return np.where(angle <= CONE_LIMIT, cone_pressure(mach, np.maximum(angle, 0.0)), steep)


def widening(mach, x: np.ndarray, r: np.ndarray) -> np.ndarray:
    """Return the drag area (m^2) over `mach` of a part whose radius `r` grows over stations `x` (polyline, aftwards).

    Above 1.3: `surface_pressure` at each piece's own angle (tangent cones; for an ogive some 20 % over the cone of its
    length and diameter). Below 0.8: 0.76 sin^2 of the angle at its aft rim times the stagnation pressure (ours: between
    nothing for a nose that meets the body smoothly and a flat face's). A cubic between. A blunt tip costs nothing
    subsonic. A step is a flat face at every Mach number.
    """
    ring = math.pi * np.diff(r**2)
    if x[-1] == x[0]:
        return flat_face(mach) * ring.sum()
    angle = np.arctan2(np.diff(r), np.diff(x))
    rim = FACE_SLOW * math.sin(angle[-1]) ** 2 * math.pi * (r[-1] ** 2 - r[0] ** 2)
    return bridge(mach, lambda m: rim * stagnation(m), lambda m: surface_pressure(m[:, None], angle) @ ring, TRANSONIC[0], CONE_FROM)


def separated_share(angle: float) -> float:
    """Return 0 for a boattail on which the flow stays attached, 1 where it separates, by its angle (rad)."""
    return float(smoothstep(angle, *SEPARATION))


def base_share(segments: Sequence[Segment]) -> float:
    """Return the base's suction behind a boattail over that of a cylinder's base.

    The flow turned inwards raises the base's pressure: the suction goes with the base's diameter over that ahead of the
    boattail while the flow on it is attached (Hoerner 1965, ch. 3, and USAF DATCOM 4.2.3.1 have the drag on the BODY's
    area going with the cube of that ratio; from memory, here at all Mach numbers).
    """
    last = segments[-1]
    if last.r1 >= last.r0:
        return 1.0
    angle = math.atan2(last.r0 - last.r1, last.length)
    return 1.0 - (1.0 - last.r1 / last.r0) * (1.0 - separated_share(angle))


def narrowing(mach, length: float, fore: float, aft: float) -> np.ndarray:
    """Return the drag area (m^2) over `mach` of a part that narrows from radius `fore` to `aft` in `length`.

    A share of the base pressure on the area that it loses: subsonic none below 8 deg (attached) to all of it beyond 30
    deg (separated); supersonic tan(angle)/tan(15 deg), at most 1, an expansion bounded by the base's. Common practice,
    +/-50 %.
    """
    angle = math.atan2(fore - aft, length)
    slow = separated_share(angle)
    fast = max(slow, min(math.tan(min(angle, 1.5)) / EXPANSION_FULL, 1.0))
    share = slow + (fast - slow) * smoothstep(mach, *TRANSONIC)
    return share * base_pressure(mach) * math.pi * (fore**2 - aft**2)


def outline(segments: Sequence[Segment]) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return the body as polylines (x, r), fore to aft: one per segment, and one of no length at every sudden step."""
    pieces, before = [], 0.0
    turn = 0.5 * (1.0 - np.cos(np.linspace(0.0, math.pi, 65)))
    for segment in segments:
        if abs(segment.r0 - before) > 1e-6:
            pieces.append((np.full(2, segment.x0), np.array([before, segment.r0])))
        share = turn if isinstance(segment.part, Nose) else np.array([0.0, 1.0])
        x = segment.x0 + segment.length * share
        pieces.append((x, segment.radius(x)))
        before = segment.r1
    return pieces


def reversed_outline(pieces: Sequence[tuple[np.ndarray, np.ndarray]]) -> list[tuple[np.ndarray, np.ndarray]]:
    """Return the same body flying backwards: its base becomes a flat face ahead, a blunt nose its base."""
    end, aft = pieces[-1][0][-1], pieces[-1][1][-1]
    face = [(np.zeros(2), np.array([0.0, aft]))] if aft > 1e-6 else []
    return face + [(end - x[::-1], r[::-1]) for x, r in reversed(pieces)]


def fore_body(mach, pieces) -> np.ndarray:
    """Return the drag area (m^2) of every piece that widens."""
    return sum((widening(mach, x, r) for x, r in pieces if r[-1] > r[0]), np.zeros(np.shape(mach)))


def aft_body(mach, pieces) -> np.ndarray:
    """Return the drag area (m^2) of every piece that narrows; a step inwards is a base of its own."""
    tapers = (narrowing(mach, x[-1] - x[0], r[0], r[-1]) for x, r in pieces if r[-1] < r[0])
    return sum(tapers, np.zeros(np.shape(mach)))
