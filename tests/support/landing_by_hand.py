"""Landing places written by hand, fields and grids about a rail, and what RFC 7946 asks of a file."""

from __future__ import annotations

import json
import math
import re

import numpy as np
import pytest
import shapely
import xarray as xr
from results_by_hand import ensemble_by_hand

from sixdof.study.landing.field import in_metres
from sixdof.world.geodesy import place_on_earth

REACH = 0.05  # degrees about the rail that a grid goes: some 5 km


def flown(mission, places, apogee=500.0) -> xr.Dataset:
    """An ensemble of one body that comes down at `places` (n, 2), m."""
    places = np.asarray(places, dtype=float)
    ds = ensemble_by_hand(mission, places)
    ds["body_landing_east"].values[:, 0], ds["body_landing_north"].values[:, 0] = places.T
    for name, own in (("event_height", apogee), ("event_east", 0.0), ("event_north", 0.0)):
        ds[name].values[:] = own
    return ds


def ring(site, *corners) -> list:
    """A closed ring through places in m, in degrees."""
    east, north = np.array([*corners, corners[0]], dtype=float).T
    latitude, longitude = place_on_earth(site, east, north, 0.0 * east)
    return [[float(a), float(b)] for a, b in zip([*longitude[:-1], longitude[0]], [*latitude[:-1], latitude[0]])]


def box(site, west, south, east, north) -> list:
    return ring(site, (west, south), (east, south), (east, north), (west, north))


def feature(kind, coordinates, **properties) -> dict:
    return {"type": "Feature", "geometry": {"type": kind, "coordinates": coordinates}, "properties": properties}


def a_field(site, *more) -> dict:
    """A kilometre to each side of the rail, and whatever else."""
    return {"type": "FeatureCollection", "features": [feature("Polygon", [box(site, -1000, -1000, 1000, 1000)], role="field"), *more]}


def scattered(n: int, seed: int = 0) -> np.ndarray:
    return np.random.default_rng(seed).normal(size=(n, 2)) * (200.0, 60.0) + (150.0, -50.0)


def grid_of(site, height, step: float = 2e-3, base: float = 1250.0) -> xr.DataArray:
    """A grid about a site whose height (m above `base`) is a function of metres east and north."""
    latitude = math.degrees(site.latitude) + np.arange(-REACH, REACH + 1e-9, step)
    longitude = math.degrees(site.longitude) + np.arange(-REACH, REACH + 1e-9, step)
    places = np.meshgrid(latitude, longitude, indexing="ij")
    east, north = in_metres(site, *places)
    return xr.DataArray(base + height(east, north), {"latitude": latitude, "longitude": longitude}, ("latitude", "longitude"), attrs={"units": "m"})


def positions(geometry):
    """Yield every ring or chain of positions of a geometry."""
    kind, coordinates = geometry["type"], geometry["coordinates"]
    if kind == "Point":
        yield [coordinates]
    elif kind in ("LineString", "MultiPoint"):
        yield coordinates
    elif kind == "Polygon":
        yield from coordinates
    else:
        for each in coordinates:
            yield from positions({"type": kind.removeprefix("Multi"), "coordinates": each})


def polygons(found) -> list:
    """Return every polygon of a FeatureCollection, as lists of rings."""
    out = []
    for each in found["features"]:
        geometry = each["geometry"]
        out += [geometry["coordinates"]] if geometry["type"] == "Polygon" else geometry["coordinates"] if geometry["type"] == "MultiPolygon" else []
    return out


def assert_rfc_7946(text: str) -> dict:
    """Hold what RFC 7946 says of a FeatureCollection: 3 (members), 3.1.1 (positions), 3.1.6 (rings), 4 (no crs), 3.1.9 (date line), 11.2 (digits)."""
    found = json.loads(text, parse_constant=lambda name: pytest.fail(f"{name} is no JSON"))
    assert found["type"] == "FeatureCollection" and set(found) == {"type", "features"}
    for each in found["features"]:
        assert set(each) == {"type", "geometry", "properties"} and each["type"] == "Feature"
        for chain in positions(each["geometry"]):
            assert all(len(position) == 2 and abs(position[0]) <= 180.0 and abs(position[1]) <= 90.0 for position in chain)
            assert np.ptp(np.array(chain)[:, 0]) < 180.0
    for rings in polygons(found):
        assert shapely.Polygon(rings[0], rings[1:]).is_valid
        for k, ring in enumerate(rings):
            assert len(ring) >= 4 and ring[0] == ring[-1]
            assert shapely.LinearRing(ring).is_ccw == (k == 0)
    assert max(len(digits) for digits in re.findall(r"-?\d+\.(\d+)[,\]]", text)) <= 7
    return found
