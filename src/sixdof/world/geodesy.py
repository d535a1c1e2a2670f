"""Places on the ellipsoid: latitude, longitude and height from Cartesian coordinates, and those of where a flight comes down."""

from __future__ import annotations

import numpy as np

from sixdof.mission.tables import Site
from sixdof.world.build import globe_at
from sixdof.world.gravity import ECCENTRICITY_SQUARED, FLATTENING, SEMI_MAJOR, SEMI_MINOR

ROUNDS = 4  # of the fixed point of `geodetic`: each gains five digits near the ground
ARC_ROUNDS = 6  # of the arc's length below: each gains five digits or more
UP_ROUNDS = 8  # of the third coordinate: each gains a factor 2 (R/d)^2 at a distance d from the launch point, 1e7 at 2 km


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


def place_on_earth(site: Site, east, north, height):
    """Return geodetic latitude and longitude (degrees, east positive, -180 to 180) of places known by a flight's coordinates.

    On the round Earth (`site.earth` "wgs84") east and north (m) are world axes at the launch point, and height (m, above the ground
    there) is along the local vertical: exact. On the flat one they are taken as a distance along the ground and a true bearing
    at the launch point; the height is not used. Arrays of one shape, or scalars; NaN gives NaN.
    """
    east, north, height = np.broadcast_arrays(*(np.asarray(each, dtype=float) for each in (east, north, height)))
    if site.earth == "wgs84":
        latitude, longitude = _below(site, east, north, site.altitude + height)
    else:
        latitude, longitude = _along_ground(site, east, north)
    return np.degrees(latitude), (np.degrees(longitude) + 180.0) % 360.0 - 180.0


def _below(site: Site, east, north, height):
    """Return latitude and longitude (rad) where world coordinates east and north go with a height above the ellipsoid."""
    globe = globe_at(site.latitude, site.longitude, site.altitude)
    turn, origin = np.array(globe.turn).reshape(3, 3), np.array(globe.origin)
    up = height - site.altitude
    for _ in range(UP_ROUNDS):
        latitude, longitude, found = geodetic(origin + np.stack([east, north, up], axis=-1) @ turn.T)
        up = up + height - found
    return latitude, longitude


def _along_ground(site: Site, east, north):
    """Return latitude and longitude (rad) of a place so far along the ground, at the site's altitude.

    The way is reduced to the ellipsoid, each component by its own radius of curvature, then the geodesic is solved by T. Vincenty
    (1975), Direct and inverse solutions of geodesics on the ellipsoid with application of nested equations, Survey Review 176.
    """
    prime = SEMI_MAJOR / np.sqrt(1.0 - ECCENTRICITY_SQUARED * np.sin(site.latitude) ** 2)
    meridian = prime**3 * (1.0 - ECCENTRICITY_SQUARED) / SEMI_MAJOR**2
    east, north = east * prime / (prime + site.altitude), north * meridian / (meridian + site.altitude)
    length, bearing = np.hypot(east, north), np.arctan2(east, north)
    sine, cosine = np.sin(bearing), np.cos(bearing)
    reduced = np.arctan2((1.0 - FLATTENING) * np.sin(site.latitude), np.cos(site.latitude))
    su, cu = np.sin(reduced), np.cos(reduced)
    start = np.arctan2(su, cu * cosine)  # arc from the equator to the launch point
    slant = cu * sine  # sine of the geodesic's bearing on the equator
    squared = 1.0 - slant**2
    u2 = squared * (SEMI_MAJOR**2 - SEMI_MINOR**2) / SEMI_MINOR**2
    a = 1.0 + u2 / 16384.0 * (4096.0 + u2 * (-768.0 + u2 * (320.0 - 175.0 * u2)))
    b = u2 / 1024.0 * (256.0 + u2 * (-128.0 + u2 * (74.0 - 47.0 * u2)))
    arc = plain = length / (SEMI_MINOR * a)
    for _ in range(ARC_ROUNDS):
        middle = np.cos(2.0 * start + arc)
        swing = b / 6.0 * middle * (4.0 * np.sin(arc) ** 2 - 3.0) * (4.0 * middle**2 - 3.0)
        arc = plain + b * np.sin(arc) * (middle + 0.25 * b * (np.cos(arc) * (2.0 * middle**2 - 1.0) - swing))
    s, c = np.sin(arc), np.cos(arc)
    fore = su * s - cu * c * cosine
    latitude = np.arctan2(su * c + cu * s * cosine, (1.0 - FLATTENING) * np.hypot(slant, fore))
    on_sphere = np.arctan2(s * sine, cu * c - su * s * cosine)
    k = FLATTENING / 16.0 * squared * (4.0 + FLATTENING * (4.0 - 3.0 * squared))
    drift = arc + k * s * (middle + k * c * (2.0 * middle**2 - 1.0))
    return latitude, site.longitude + on_sphere - (1.0 - k) * FLATTENING * slant * drift
