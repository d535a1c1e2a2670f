"""Places on the ellipsoid: latitude, longitude and height from Cartesian coordinates, and those of a landing."""

from __future__ import annotations

import numpy as np

from sixdof.world.gravity import ECCENTRICITY_SQUARED, SEMI_MAJOR

ROUNDS = 4  # of the fixed point below: each gains five digits near the ground


def geodetic(place, a: float = SEMI_MAJOR, e2: float = ECCENTRICITY_SQUARED):
    """Return geodetic latitude, longitude (rad) and height above the ellipsoid (m) of Earth-fixed Cartesian places (..., 3), m.

    Bowring (1976), repeated until it stands: B. R. Bowring, Transformation from spatial to geographical coordinates, Survey
    Review 181.
    """
    x, y, z = np.moveaxis(np.asarray(place, dtype=float), -1, 0)
    p = np.hypot(x, y)
    flat = np.sqrt(1.0 - e2)
    b, more = a * flat, e2 / (1.0 - e2)
    reduced = np.arctan2(z * a, p * b)
    for _ in range(ROUNDS):
        latitude = np.arctan2(z + more * b * np.sin(reduced) ** 3, p - e2 * a * np.cos(reduced) ** 3)
        reduced = np.arctan2(flat * np.sin(latitude), np.cos(latitude))
    sine, cosine = np.sin(latitude), np.cos(latitude)
    height = p * cosine + z * sine - a * np.sqrt(1.0 - e2 * sine**2)
    return latitude, np.arctan2(y, x), height
