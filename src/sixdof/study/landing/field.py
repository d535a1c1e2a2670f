"""A field in metres about the rail: where pieces may land, where not, where people are, the waiver's circle."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from sixdof.mission.tables import Site
from sixdof.study.landing.geojson import Feature, read_features
from sixdof.world.geodesy import place_on_earth
from sixdof.world.gravity import ECCENTRICITY_SQUARED, SEMI_MAJOR

if TYPE_CHECKING:
    from shapely import Geometry

FAR = 200e3  # m from the rail; a field farther away is another one
EDGE = 500.0  # m: an edge straight in longitude and latitude is off a straight one on the ground by 4 mm at 38 deg
ROUNDS = 8  # of `in_metres`: each gains three digits or more within `FAR`


@dataclass(frozen=True)
class Waiver:
    """A waiver's circle: centre east and north of the rail, radius and ceiling above the launch point, m."""

    east: float
    north: float
    radius: float
    ceiling: float = math.inf


@dataclass(frozen=True)
class Field:
    """What a flight must keep to, in metres east and north of the rail; None for what there is not. features : as they were given, in degrees."""

    features: tuple[Feature, ...] = ()
    inside: Geometry | None = None
    no_go: Geometry | None = None
    people: Geometry | None = None
    waivers: tuple[Waiver, ...] = ()

    def holds_rail(self) -> bool:
        """Return whether the rail stands in the field and in no no-go area; True where there is neither."""
        return bool(self.in_field(0.0, 0.0)) and not bool(self.in_no_go(0.0, 0.0))

    def in_field(self, east, north) -> np.ndarray:
        """Return for places (m) whether they are in the field, its border included; True everywhere without one. NaN: False."""
        return _within(self.inside, east, north, True)

    def in_no_go(self, east, north) -> np.ndarray:
        """Return for places (m) whether they are in a no-go area, its border included. NaN: False."""
        return _within(self.no_go, east, north, False)

    def in_waiver(self, east, north, height) -> np.ndarray:
        """Return for places (m) whether a waiver's circle holds them, up to its ceiling; True everywhere without one. NaN: True."""
        if not self.waivers:
            return np.ones(np.shape(east), dtype=bool)
        held = [(np.hypot(east - one.east, north - one.north) <= one.radius) & ~(height > one.ceiling) for one in self.waivers]
        return np.any(held, axis=0) | ~np.isfinite(east + north)

    def from_people(self, east, north) -> np.ndarray:
        """Return the distance of places (m) from the nearest people, m: 0 inside an area of them, NaN without any."""
        import shapely

        east, north = np.broadcast_arrays(np.asarray(east, dtype=float), np.asarray(north, dtype=float))
        out = np.full(east.shape, np.nan)
        known = np.isfinite(east + north)
        if self.people is not None and known.any():
            shapely.prepare(self.people)
            out[known] = shapely.distance(self.people, shapely.points(east[known], north[known]))
        return out


def _within(area, east, north, without: bool) -> np.ndarray:
    import shapely

    east, north = np.broadcast_arrays(np.asarray(east, dtype=float), np.asarray(north, dtype=float))
    known = np.isfinite(east + north)
    if area is None:
        return known & without
    shapely.prepare(area)
    return known & shapely.intersects_xy(area, np.where(known, east, 0.0), np.where(known, north, 0.0))


def field_of(given: Any, site: Site, who: str = "landing") -> Field:
    """Return the field of a GeoJSON file, text or dictionary about the rail of a site; without one (None) a field that forbids nothing.

    Raises ValueError as `read_features`, and for a field that lies farther than 200 km from the rail; TypeError for anything else.
    """
    if isinstance(given, Field):
        return given
    if given is None:
        return Field()
    import shapely

    features = given if isinstance(given, tuple) else read_features(given, who)
    shapes = {role: [_shape(one, site, who) for one in features if one.role == role] for role in ("field", "no_go", "people", "waiver")}
    joined = {role: shapely.union_all(found) if found else None for role, found in shapes.items()}
    circles = [one for one in features if one.role == "waiver"]
    waivers = tuple(Waiver(point.x, point.y, one.radius, one.ceiling) for point, one in zip(shapes["waiver"], circles, strict=True))
    return Field(features, joined["field"], joined["no_go"], joined["people"], waivers)


def _shape(one: Feature, site: Site, who: str):
    """Return a feature's geometry in metres, its edges straight in degrees."""
    import shapely

    shape = shapely.geometry.shape({"type": one.kind, "coordinates": one.coordinates})
    longitudes, latitudes = shapely.get_coordinates(shape).T
    farthest = float(np.max(_about(site, latitudes, longitudes)))
    if farthest > FAR:
        called = f"the {one.role} {one.name!r}" if one.name else f"a {one.role}"
        raise ValueError(
            f"{who}: {called} lies {farthest / 1e3:.0f} km from the rail at {math.degrees(site.latitude):.4f}, {math.degrees(site.longitude):.4f}; "
            "give the field of this site, positions as longitude, latitude"
        )
    fine = shapely.segmentize(shape, EDGE / 111e3)  # degrees of latitude to a metre; of longitude they are shorter
    return shapely.transform(fine, lambda at: np.column_stack(in_metres(site, at[:, 1], at[:, 0])))


def _about(site: Site, latitudes, longitudes) -> np.ndarray:
    """Return distances from the rail, m, on a sphere."""
    here, there = site.latitude, np.radians(latitudes)
    half = np.sin(0.5 * (there - here)) ** 2 + math.cos(here) * np.cos(there) * np.sin(0.5 * (np.radians(longitudes) - site.longitude)) ** 2
    return 2.0 * SEMI_MAJOR * np.arcsin(np.sqrt(np.minimum(half, 1.0)))


def in_metres(site: Site, latitude, longitude) -> tuple[np.ndarray, np.ndarray]:
    """Return metres east and north of the rail of places on the ground (degrees): the inverse of `place_on_earth` at the launch point's height.

    Found by repeating it with the radii of curvature at the site, to a micrometre within `FAR` or so; not at the poles.
    """
    latitude, longitude = np.broadcast_arrays(np.asarray(latitude, dtype=float), np.asarray(longitude, dtype=float))
    bent = 1.0 - ECCENTRICITY_SQUARED * math.sin(site.latitude) ** 2
    prime = SEMI_MAJOR / math.sqrt(bent)
    meridian = prime * (1.0 - ECCENTRICITY_SQUARED) / bent
    east, north = np.zeros(latitude.shape), np.zeros(latitude.shape)
    for _ in range(ROUNDS):
        found_latitude, found_longitude = place_on_earth(site, east, north, np.zeros(latitude.shape))
        turn = (longitude - found_longitude + 180.0) % 360.0 - 180.0
        east = east + np.radians(turn) * (prime + site.altitude) * np.cos(np.radians(latitude))
        north = north + np.radians(latitude - found_latitude) * (meridian + site.altitude)
    return east, north
