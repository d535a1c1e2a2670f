"""Places on the ellipsoid against PROJ (pyproj: C. F. F. Karney 2013, Algorithms for geodesics, J. Geodesy 87, and EPSG:4978/4979)."""

from __future__ import annotations

import numpy as np
import pytest
from earths import ELLIPSOID, cartesian, local_axes, somewhere

from sixdof.mission.tables import Site
from sixdof.world.geodesy import geodetic, place_on_earth

ROUNDING = 1e-8  # m: ten units in the last place of the Earth's radius, three of 180 deg
GEODESIC = 1e-6  # m: Vincenty's series; 1 cm was asked for
RANGE = 20_000.0  # m
RADIUS = 6.4e6  # m, from angles to distances


def error(latitude, longitude, latitude0, longitude0):
    """Distance on the ground between places (rad), m; a difference of longitudes counts by the parallel's radius."""
    turned = (np.asarray(longitude) - longitude0 + np.pi) % (2.0 * np.pi) - np.pi
    return RADIUS * np.hypot(np.asarray(latitude) - latitude0, np.cos(latitude0) * turned)


def test_geodetic__all_over_the_globe():
    latitude, longitude, height = somewhere(4000)
    found = geodetic(cartesian(latitude, longitude, height))
    assert error(*found[:2], latitude, longitude).max() < ROUNDING
    assert np.abs(found[2] - height).max() < ROUNDING


def test_geodetic__far_above_and_deep_below():
    """A satellite's height, and 100 km under the ground: PROJ's way there is exact, its way back errs by 0.3 m."""
    for low, high in ((4e5, 3.6e7), (-1e5, -1e4)):
        latitude, longitude, height = somewhere(500, lowest=low, highest=high)
        place = cartesian(latitude, longitude, height)
        found = geodetic(place)
        assert error(*found[:2], latitude, longitude).max() < ROUNDING
        assert np.abs(found[2] - height).max() < 10.0 * ROUNDING


def test_geodetic__of_a_sphere_and_of_one_place():
    latitude, longitude, height = geodetic([3.0, 4.0, 12.0], a=10.0, e2=0.0)
    assert (float(latitude), float(longitude)) == pytest.approx((np.arctan2(12.0, 5.0), np.arctan2(4.0, 3.0)), abs=1e-15)
    assert float(height) == pytest.approx(3.0, abs=1e-14)


@pytest.mark.parametrize("latitude", [-90.0, -51.7, 0.0, 0.01, 38.0, 89.99])
@pytest.mark.parametrize("longitude", [-179.99, -117.0, 0.0, 180.0])
def test_flat__is_a_geodesic(latitude, longitude):
    rng = np.random.default_rng(5)
    distance, bearing = rng.uniform(0.0, RANGE, 200), rng.uniform(-np.pi, np.pi, 200)
    site = Site(latitude=np.radians(latitude), longitude=np.radians(longitude))
    found = place_on_earth(site, distance * np.sin(bearing), distance * np.cos(bearing), 0.0)
    start = np.full(200, longitude), np.full(200, latitude)
    lon, lat, _ = ELLIPSOID.fwd(*start, np.degrees(bearing), distance)
    assert ELLIPSOID.inv(lon, lat, found[1], found[0])[2].max() < GEODESIC
    assert (found[1] >= -180.0).all() and (found[1] <= 180.0).all()


@pytest.mark.parametrize("bearing", [0.0, 40.0, 90.0, 215.0])
def test_flat__distances_are_along_the_ground_at_the_sites_altitude(bearing):
    """The way at that altitude, in chords of 20 m (1e-13 short), is as long as the flight's distance."""
    altitude, start = 3000.0, (np.radians(-33.0), np.radians(20.0))
    site = Site(latitude=start[0], longitude=start[1], altitude=altitude)
    turn = np.radians(bearing)
    lat, lon = place_on_earth(site, RANGE * np.sin(turn), RANGE * np.cos(turn), 0.0)
    between = np.radians(ELLIPSOID.npts(20.0, -33.0, float(lon), float(lat), 999, initial_idx=0, terminus_idx=0))
    way = cartesian(between[:, 1], between[:, 0], altitude)
    length = np.linalg.norm(np.diff(way, axis=0), axis=1).sum()
    # its radius of curvature is that at the start: 20 km on it differs by 1e-4 at most, of the reduction of 9.4 m
    assert length == pytest.approx(RANGE, abs=2e-3)
    assert ELLIPSOID.inv(20.0, -33.0, float(lon), float(lat))[0] % 360.0 == pytest.approx(bearing, abs=1e-4)  # it is true at altitude


@pytest.mark.parametrize(("reach", "limit"), [(RANGE, ROUNDING), (5e5, ROUNDING)])
def test_wgs84__is_exact(reach, limit):
    """Places at the ground, above and below it, turned into the launch point's axes, are found again."""
    launch = np.radians(38.0), np.radians(179.95), 1250.0  # the date line is near
    rng = np.random.default_rng(8)
    lon, lat, _ = ELLIPSOID.fwd(np.full(300, 179.95), np.full(300, 38.0), rng.uniform(0, 360, 300), rng.uniform(0, reach, 300))
    height = rng.uniform(-300.0, 30_000.0, 300)
    seen = (cartesian(np.radians(lat), np.radians(lon), 1250.0 + height) - cartesian(*launch)) @ local_axes(*launch[:2]).T
    site = Site(latitude=launch[0], longitude=launch[1], altitude=launch[2], earth="wgs84")
    found = np.radians(place_on_earth(site, seen[:, 0], seen[:, 1], height))
    assert error(*found, np.radians(lat), np.radians(lon)).max() < limit


@pytest.mark.parametrize("earth", ["flat", "wgs84"])
def test_place__of_nothing_is_nothing_and_shapes_stay(earth):
    site = Site(latitude=0.6, longitude=-2.0, altitude=1250.0, earth=earth)
    latitude, longitude = place_on_earth(site, [[0.0, np.nan, 5.0]], [[0.0, 3.0, np.nan]], 0.0)
    assert latitude.shape == longitude.shape == (1, 3)
    assert (latitude[0, 0], longitude[0, 0]) == pytest.approx(np.degrees([0.6, -2.0]), abs=1e-13)
    assert np.isnan(latitude[0, 1:]).all() and np.isnan(longitude[0, 1:]).all()


def test_earths__agree_close_to_the_launch_point():
    """On the ground within 2 km: a tangent plane is short of the ground by a sixth of d (d/R)^2, 3e-5 m."""
    rng = np.random.default_rng(2)
    east, north = rng.uniform(-1400.0, 1400.0, (2, 100))
    places = [np.radians(place_on_earth(Site(latitude=-0.8, longitude=1.0, altitude=2000.0, earth=earth), east, north, 0.0)) for earth in ("flat", "wgs84")]
    assert error(*places[0], *places[1]).max() < 1e-4
