"""Nose profiles: radius against length. One function a family; the base's radius is `base`, m."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from sixdof.mission.tables import Nose


def named(part) -> str:
    """Return how a message calls a part of the mission: its kind and, if it has one, its name."""
    return f'{part.kind} "{part.name}"' if part.name else f"the {part.kind}"


def nose_radius(nose: Nose, share) -> np.ndarray:
    """Return the outer radius (m) of a nose at `share` = x/length (0 tip .. 1 base).

    Profiles: circular arcs, ellipse, parabola R (2 s - K s^2)/(2 - K), power R s^n, and the least-drag family of
    W. Haack, Lilienthal-Gesellschaft Bericht 139, 1941: r = R sqrt((t - sin(2t)/2 + C sin^3 t)/pi), cos t = 1 - 2 s.

    Raises
    ------
    ValueError
        If an ogive is shorter than half its diameter: no arc runs from the tip to the base then.
    """
    s = np.asarray(share, dtype=float)
    return _PROFILES[nose.shape](nose, s, 0.5 * nose.diameter)


def _cone(nose: Nose, s: np.ndarray, base: float) -> np.ndarray:
    return base * s


def _ellipsoid(nose: Nose, s: np.ndarray, base: float) -> np.ndarray:
    return base * np.sqrt(s * (2.0 - s))


def _parabola(nose: Nose, s: np.ndarray, base: float) -> np.ndarray:
    return base * (2.0 * s - nose.fullness * s**2) / (2.0 - nose.fullness)


def _power(nose: Nose, s: np.ndarray, base: float) -> np.ndarray:
    return base * s**nose.exponent


def _haack(nose: Nose, s: np.ndarray, base: float) -> np.ndarray:
    angle = 2.0 * np.arcsin(np.sqrt(s))
    inside = angle - 0.5 * np.sin(2.0 * angle) + nose.haack_c * np.sin(angle) ** 3
    return base * np.sqrt(np.maximum(inside, 0.0) / math.pi)


def _ogive(nose: Nose, s: np.ndarray, base: float) -> np.ndarray:
    """Return the radius of an arc through tip and base rim; the tangent one meets the body without a corner."""
    length = nose.length
    tangent = (base**2 + length**2) / (2.0 * base)
    arc = tangent if nose.shape == "tangent-ogive" else nose.ogive_radius
    if length < base:
        raise ValueError(f"{named(nose)}: an ogive needs a length of at least half its diameter, {base:g} m")
    half_chord = 0.5 * math.hypot(length, base)
    lean = math.acos(min(half_chord / arc, 1.0)) - math.atan2(base, length)
    below = max(arc * math.sin(lean), 0.0)  # how far the arc's centre is beyond the axis
    # (rho^2 - (xc - x)^2)^(1/2) - below, without the loss of digits that the difference has near the tip
    rise = s * length * (2.0 * arc * math.cos(lean) - s * length)
    return rise / np.maximum(np.sqrt(below**2 + rise) + below, 1e-300)


_PROFILES: dict[str, Callable[[Nose, np.ndarray, float], np.ndarray]] = {
    "cone": _cone,
    "tangent-ogive": _ogive,
    "secant-ogive": _ogive,
    "ellipsoid": _ellipsoid,
    "parabola": _parabola,
    "power": _power,
    "haack": _haack,
}
