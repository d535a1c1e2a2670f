"""Heights from pressures, and east and north from latitudes and longitudes."""

from __future__ import annotations

import math

import numpy as np

from sixdof.core.constants import G0
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Site
from sixdof.postflight.logs.columns.tables import Ground
from sixdof.world.atmosphere import EARTH_RADIUS, HIGHEST, LOWEST, Atmosphere, at_site, standard
from sixdof.world.geodesy import place_on_earth
from sixdof.world.sounding import air_over

FAR = 200e3  # m from the rail: a place farther off is of another site
ROUNDS = 6  # of Newton's method; each doubles the digits
STEP = 100.0  # m of the table that it starts from
LIKELY = 2_000.0, 110_000.0  # Pa: a barometer on a small rocket reads no other pressure


def heights(pressure: np.ndarray, ground: float, mission: Mission | None, given: Ground) -> np.ndarray:
    """Return heights above the ground (m) at which the air has so many times the pressure at the ground (Pa).

    The air is the mission's. Where the map gives the day's temperature (which goes before the mission's), or without a mission, it is the standard
    atmosphere through the ground's pressure, its temperature shifted to the one given.
    NaN for pressures that no flight meets.
    """
    base, air = _column(ground, mission, given)
    reference = float(air(np.array(base)).pressure)
    altitude = np.arange(max(LOWEST, base - 2_000.0), min(HIGHEST, base + 40_000.0), STEP)
    good = np.isfinite(pressure) & (pressure > LIKELY[0]) & (pressure < LIKELY[1])
    wanted = np.log(pressure[good] / ground)
    z = np.interp(-wanted, -np.log(air(altitude).pressure / reference), altitude)
    for _ in range(ROUNDS):
        here = air(z)
        gravity = G0 * (EARTH_RADIUS / (EARTH_RADIUS + z)) ** 2
        z = np.clip(z + (np.log(here.pressure / reference) - wanted) * here.pressure / (here.density * gravity), LOWEST, HIGHEST)
    out = np.full(pressure.shape, np.nan)
    out[good] = z - base
    return out


def _column(ground: float, mission: Mission | None, given: Ground):
    """Return the altitude of the ground and the function from altitudes to air."""
    if mission is not None and given.temperature is None:
        return mission.site.altitude, lambda altitude: air_over(mission, altitude)[0]
    base = _standard_altitude(ground) if mission is None else mission.site.altitude

    def air(altitude: np.ndarray) -> Atmosphere:
        return at_site(altitude, base, given.temperature, ground)

    return base, air


def _standard_altitude(pressure: float) -> float:
    """Return the altitude (m) at which the standard atmosphere has a pressure (Pa)."""
    altitude = np.arange(LOWEST, 30_000.0, STEP)
    z = float(np.interp(-math.log(pressure), -np.log(standard(altitude).pressure), altitude))
    for _ in range(ROUNDS):
        here = standard(z)
        gravity = G0 * (EARTH_RADIUS / (EARTH_RADIUS + z)) ** 2
        z += float(np.log(here.pressure / pressure) * here.pressure / (here.density * gravity))
    return z


def site_of(mission: Mission | None, given: Ground, latitude: float, longitude: float, altitude: float) -> Site:
    """Return where the rail stands: what the map gives, else the mission, else the log's own fix at rest (rad, rad, m)."""
    earth = "flat" if mission is None else mission.site.earth
    known = (latitude, longitude, altitude) if mission is None else (mission.site.latitude, mission.site.longitude, mission.site.altitude)
    own = (given.latitude, given.longitude, given.altitude)
    lat, lon, alt = (usual if one is None else one for one, usual in zip(own, known))
    return Site(latitude=float(lat), longitude=float(lon), altitude=float(alt), earth=earth)


def local_places(site: Site, latitude: np.ndarray, longitude: np.ndarray, height: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return east and north (m) of latitudes and longitudes (rad): the inverse of `world.geodesy.place_on_earth`, by Newton's method.

    height : above the ground at the launch point, m; it counts on the round Earth only. A place far beyond the others is left as a rough one: a fix before
    the receiver knew where it was.

    Raises ValueError where most places are far from the rail.
    """
    good = np.isfinite(latitude) & np.isfinite(longitude)
    height = np.where(np.isfinite(height), height, 0.0)[good]
    lat, lon = latitude[good], longitude[good]
    radius = 6_371_000.0
    turn = (lon - site.longitude + math.pi) % (2.0 * math.pi) - math.pi
    east, north = radius * math.cos(site.latitude) * turn, radius * (lat - site.latitude)
    away = np.hypot(east, north)
    if away.size and np.median(away) > FAR:
        where = f"{math.degrees(site.latitude):.4f}, {math.degrees(site.longitude):.4f}"
        raise ValueError(
            f"latitude, longitude: the log's places lie {np.median(away) / 1e3:.0f} km from the rail at {where} deg; "
            "take the mission that was flown there, or say their unit"
        )
    for _ in range(ROUNDS):
        here = _radians(site, east, north, height)
        with_east, with_north = _radians(site, east + 1.0, north, height), _radians(site, east, north + 1.0, height)
        miss = lat - here[0], (lon - here[1] + math.pi) % (2.0 * math.pi) - math.pi
        a, b = with_east[0] - here[0], with_north[0] - here[0]
        c, d = with_east[1] - here[1], with_north[1] - here[1]
        whole = a * d - b * c
        with np.errstate(invalid="ignore", divide="ignore"):
            step_east, step_north = (d * miss[0] - b * miss[1]) / whole, (a * miss[1] - c * miss[0]) / whole
        east, north = np.where(away < FAR, east + step_east, east), np.where(away < FAR, north + step_north, north)
    out = np.full((2, latitude.size), np.nan)
    out[:, good] = east, north
    return out[0], out[1]


def _radians(site: Site, east, north, height) -> tuple[np.ndarray, np.ndarray]:
    latitude, longitude = place_on_earth(site, east, north, height)
    return np.radians(latitude), np.radians(longitude)
