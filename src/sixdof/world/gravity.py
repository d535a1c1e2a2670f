"""Normal gravity of the WGS-84 ellipsoid: gravitation and centrifugal acceleration along the local vertical."""

from __future__ import annotations

import numpy as np

# NIMA TR8350.2 (third edition, amendment 1), tables 3.1 to 3.4. The first, 1984 set differs in gravity's 7th digit.
SEMI_MAJOR = 6_378_137.0  # a, m
FLATTENING = 1.0 / 298.257223563
SEMI_MINOR = SEMI_MAJOR * (1.0 - FLATTENING)
GM = 3.986004418e14  # m^3/s^2
EARTH_RATE = 7.292115e-5  # rad/s
J2 = 0.00108262982  # second zonal harmonic (NASA/TM-2015-218675, table 73)
EQUATOR = 9.7803253359  # normal gravity at the equator, m/s^2
POLE = 9.8321849378  # at the poles, m/s^2
ECCENTRICITY_SQUARED = FLATTENING * (2.0 - FLATTENING)
SOMIGLIANA = SEMI_MINOR * POLE / (SEMI_MAJOR * EQUATOR) - 1.0  # k
RATIO = EARTH_RATE**2 * SEMI_MAJOR**2 * SEMI_MINOR / GM  # m: centrifugal against gravitation at the equator


def normal_gravity(latitude, height):
    """Return normal gravity (m/s^2, positive down) at geodetic latitude (rad) and height above the ellipsoid (m).

    Somigliana's closed form on the ellipsoid (TR8350.2 eq. 4-1) and the series to second order in height (eq. 4-3): the
    omitted term is below 1e-6 of gravity at 40 km. Height above mean sea level serves as well: they differ by less
    than 110 m, 3.5e-5 of gravity.
    """
    sine2 = np.sin(latitude) ** 2
    surface = EQUATOR * (1.0 + SOMIGLIANA * sine2) / np.sqrt(1.0 - ECCENTRICITY_SQUARED * sine2)
    relative = np.asarray(height, dtype=float) / SEMI_MAJOR
    first = 2.0 * (1.0 + FLATTENING + RATIO - 2.0 * FLATTENING * sine2)
    return surface * (1.0 - first * relative + 3.0 * relative**2)
