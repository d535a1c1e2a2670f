"""What is shown of landing places on other people's maps: one list of things, written as GeoJSON (RFC 7946) or KML 2.2."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.tables import Site
from sixdof.study.landing.field import field_of
from sixdof.study.landing.geojson import as_feature, collection, feature, read_features
from sixdof.study.landing.groups import ALL, SHARES, contours, places_in
from sixdof.study.reading.result import mission_of, need_table, plural
from sixdof.world.geodesy import place_on_earth

CIRCLE = 72  # corners of a waiver's circle
SAYS = "A calculation, not a clearance to fly."


class Shown(NamedTuple):
    """One thing of a map: a feature as GeoJSON has it, and the style it is drawn in: "contour", "rail", "field" ... and a body's number."""

    feature: dict
    style: str
    body: int = 0


def shown_features(
    ds: xr.Dataset, branches: Sequence[str] = (ALL,), shares: Sequence[float] = SHARES, places: int = 0, who: str = "landing_geojson"
) -> list[Shown]:
    """Return what is shown of what `landing` returned: the field, the waiver, the rail, each body's contours and mean landing place, single places.

    Raises ValueError for another Dataset, and for branches that it does not have.
    """
    need_table(ds, who, "preflight.landing", "flight_branch", "contour_area")
    known = [str(name) for name in ds["branch"].values]
    if not isinstance(places, int) or isinstance(places, bool) or places < 0:
        raise ValueError(f"{who}: places = {places!r} must be a number of landing places, 0 or more")
    for name in branches:
        if name not in known:
            raise ValueError(f"{who}: there is no branch {name!r}; it is one of {', '.join(known)}")
    site = mission_of(ds, who).site
    return [*_given(ds, site), *_rail(site), *(one for branch in branches for one in _landing_places(ds, site, branch, shares, places))]


def _given(ds: xr.Dataset, site: Site) -> list[Shown]:
    out = []
    for one in read_features(ds.attrs["field"], "landing") if "field" in ds.attrs else ():
        out.append(Shown(as_feature(one), one.role))
    waivers = [(one.east, one.north, one.radius) for one in field_of(ds.attrs.get("field"), site).waivers]
    waivers += [(0.0, 0.0, ds.attrs["waiver_radius"])] if "waiver_radius" in ds.attrs else []
    for east, north, radius in waivers:
        turn = np.linspace(0.0, 2.0 * math.pi, CIRCLE + 1)
        ring = np.column_stack([east + radius * np.cos(turn), north + radius * np.sin(turn)])
        out += areas_of([[ring]], site, "waiver", name=f"waiver, {radius:g} m", role="waiver_circle", radius=float(radius))
    return out


def _rail(site: Site) -> list[Shown]:
    place = [math.degrees(site.longitude), math.degrees(site.latitude)]
    return [Shown(feature("Point", place, name="rail", role="rail"), "rail")]


def _landing_places(ds: xr.Dataset, site: Site, branch: str, shares: Sequence[float], places: int) -> list[Shown]:
    out = []
    for k, body in enumerate(map(str, ds["body"].values)):
        one = ds.sel(body=body, branch=branch)
        if not int(one.landed):
            continue
        of = {"body": body, "branch": branch, "flights": int(one.landed)}
        for share, region in sorted(contours(ds, body, branch, shares).items(), reverse=True):  # the small ones are drawn over the large ones
            name = f"{body}, {branch}: {100.0 * share:g} % of landing places"
            out += areas_of(nested(region.polygons), site, "contour", k, name=name, role="contour", share=float(share), **of)
        if places:
            single = degrees_of(places_in(ds, branch, body)[:places], site)
            out.append(Shown(feature("MultiPoint", single, name=f"{body}, {branch}: {len(single)} landing places", role="landing_places", **of), "place", k))
        mean = degrees_of(np.array([[float(one.mean_east), float(one.mean_north)]]), site)[0]
        name = f"{body}, {branch}: mean landing place of {plural(int(one.landed))}"
        out.append(Shown(feature("Point", mean, name=name, role="mean_landing_place", **of), "mean", k))
    return out


def nested(rings: list[np.ndarray]) -> list[list[np.ndarray]]:
    """Return polygons as [outline, hole, ...] of the rings of a contour, which run anticlockwise round places and clockwise round holes."""
    import shapely

    signed = [(shapely.LinearRing(ring).is_ccw, ring) for ring in rings]
    polygons = [[ring] for outer, ring in signed if outer]
    for hole in (ring for outer, ring in signed if not outer):
        around = [own for own in polygons if shapely.Polygon(own[0]).contains(shapely.Point(hole[0]))]
        if around:
            min(around, key=lambda own: shapely.Polygon(own[0]).area).append(hole)
    return polygons


def degrees_of(places: np.ndarray, site: Site) -> np.ndarray:
    latitude, longitude = place_on_earth(site, places[:, 0], places[:, 1], np.zeros(len(places)))
    return np.column_stack([longitude, latitude])


def areas_of(polygons: list[list[np.ndarray]], site: Site, style: str, number: int = 0, **properties) -> list[Shown]:
    """Return polygons (m) as one feature in degrees, cut at the date line where they cross it (RFC 7946, 3.1.9)."""
    import shapely

    about = math.degrees(site.longitude)
    rings = [[degrees_of(ring, site) for ring in polygon] for polygon in polygons]
    for ring in (ring for polygon in rings for ring in polygon):
        ring[:, 0] = about + (ring[:, 0] - about + 180.0) % 360.0 - 180.0
        ring[-1] = ring[0]
    areas = shapely.MultiPolygon([(polygon[0], polygon[1:]) for polygon in rings])
    pieces = [shapely.transform(part, lambda at, k=k: at - [360.0 * k, 0.0]) for k in (-1, 0, 1) if not (part := _cut(areas, k)).is_empty]
    flat = [polygon for piece in pieces for polygon in getattr(piece, "geoms", [piece]) if polygon.geom_type == "Polygon"]
    coordinates = [[np.asarray(ring.coords) for ring in (polygon.exterior, *polygon.interiors)] for polygon in flat]
    kind = "Polygon" if len(coordinates) == 1 else "MultiPolygon"
    return [Shown(feature(kind, coordinates[0] if kind == "Polygon" else coordinates, **properties), style, number)] if coordinates else []


def _cut(areas, turn: int):
    """Return the part of areas between longitudes -180 and 180 deg and `turn` turns more; as it is where all of it is there."""
    import shapely

    west, _, east, _ = areas.bounds
    low, high = 360.0 * turn - 180.0, 360.0 * turn + 180.0
    if low <= west and east <= high:
        return areas
    return shapely.Polygon() if east <= low or west >= high else shapely.intersection(areas.buffer(0.0), shapely.box(low, -90.0, high, 90.0))


def landing_geojson(
    ds: xr.Dataset,
    path: str | Path | None = None,
    *,
    branches: Sequence[str] = (ALL,),
    shares: Sequence[float] = SHARES,
    places: int = 0,
    overwrite: bool = False,
) -> str:
    """Return what `landing` found as GeoJSON (RFC 7946), and write it: field, waiver, rail, each body's contours and mean landing place.

    Positions are longitude and latitude in degrees, seven decimals; `role`, `body`, `branch`, `share`, `flights` are properties.

    Parameters
    ----------
    path : a file to write, or None
    branches : whose contours are written; those of all flights as drawn
    shares : of the landing places inside each contour
    places : so many single landing places of each body are written too
    overwrite : replace the file if it exists

    Raises
    ------
    ValueError
        For what `landing` did not return, and branches that it does not hold.
    FileExistsError
        For a file that exists, if overwrite is not set.

    Examples
    --------
    >>> found = sixdof.preflight.landing(flights)
    >>> sixdof.preflight.landing_geojson(found)[:30]
    '{"type": "FeatureCollection", '
    """
    text = collection([one.feature for one in shown_features(ds, branches, shares, places, "landing_geojson")])
    return written(text, path, overwrite)


def written(text: str, path: str | Path | None, overwrite: bool) -> str:
    """Write a text where a path is given, and return it. Raises FileExistsError for a file that is there and may not be replaced."""
    if path is not None:
        if Path(path).exists() and not overwrite:
            raise FileExistsError(f"{path} exists; give another name, or overwrite it")
        Path(path).write_text(text, encoding="utf-8")
    return text
