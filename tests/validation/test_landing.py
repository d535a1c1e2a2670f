"""Where it lands, against what others say.

Geodesics and bearings: pyproj's Geod (C. F. F. Karney, 2013, Algorithms for geodesics, J. Geodesy 87, 43-55) on WGS-84. Intervals: C. J. Clopper &
E. S. Pearson (1934), by the binomial distribution itself. The descent to a slope: the closed form with the velocity of the event table. The map of a
flown demo: RFC 7946 and OGC 07-147r2.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from landing_by_hand import assert_rfc_7946, grid_of
from pyproj import Geod
from strangers import stranger

import sixdof
from sixdof.preflight import landing, landing_geojson, landing_kml
from sixdof.study.landing.field import field_of, in_metres
from sixdof.study.landing.terrain import ground_height, terrain_of
from sixdof.world.geodesy import place_on_earth

WGS84 = Geod(ellps="WGS84")
FIELD = Path(__file__).parents[2] / "configs" / "lake-orrin-field.geojson"


@pytest.mark.parametrize("name", ["demo", "slender"])
def test_metres__are_pyprojs_distances_and_bearings(demo_mission, name):
    """Places on the ground by their degrees: distance from the rail along the geodesic, lifted to the site's altitude, and its bearing there."""
    mission = demo_mission if name == "demo" else stranger(name)
    site = mission.site
    latitude, longitude = math.degrees(site.latitude), math.degrees(site.longitude)
    distance, bearing = np.array([30.0, 800.0, 3000.0, 20000.0]), np.array([10.0, 130.0, 255.0, 340.0])
    there = WGS84.fwd([longitude] * 4, [latitude] * 4, bearing, distance)
    east, north = in_metres(site, there[1], there[0])
    lifted = distance * (1.0 + site.altitude / 6.37e6)
    # a chord and a plane on the round Earth, a distance along the ground on the flat one: they differ by d^3/(24 R^2), 8 mm at 20 km
    assert np.hypot(east, north) == pytest.approx(lifted, rel=4e-6)  # the radius of curvature is 6.36 to 6.39e6 m
    turn = (np.degrees(np.arctan2(east, north)) - bearing + 180.0) % 360.0 - 180.0
    # a lift by h over the two radii of curvature, 0.3 to 0.5 % apart, turns a bearing by h (1/M - 1/N) sin 2b/2 = 3e-7 rad
    assert np.abs(turn).max() < 3e-5  # deg


def test_distance_from_people__is_pyprojs(stack_mission):
    """From each corner of the demo's access road to places that are nearest to it."""
    field = field_of(FIELD, stack_mission.site)
    longitude, latitude = next(one.coordinates for one in field.features if one.kind == "LineString")[0]
    away = WGS84.fwd(longitude, latitude, 240.0, 350.0)  # on from the road's end
    east, north = in_metres(stack_mission.site, away[1], away[0])
    assert float(field.from_people(east, north)) == pytest.approx(350.0 * (1.0 + 1250.0 / 6.37e6), abs=2e-3)  # lifted by 69 mm


@pytest.mark.parametrize("name", ["stack", pytest.param("canard", marks=pytest.mark.slow), "slender"])
def test_slope__is_met_where_the_closed_form_says(stack_mission, name):
    """Flights of every vehicle over a plane that rises to the north-east: t = (a e + b n)/(vz - a vx - b vy) from the flat landing on."""
    mission = stack_mission if name == "stack" else stranger(name)
    flights = sixdof.disperse(mission, 12, seed=4, tracks="none", progress=False)
    a, b = 0.03, 0.02
    grid = grid_of(mission.site, lambda e, n: a * e + b * n, step=4e-3, base=300.0)
    over, flat = landing(flights, terrain=grid), landing(flights)
    event = flights.sel(event="landing")
    vx, vy, vz = (event[f"event_velocity_{way}"].values for way in ("east", "north", "up"))
    east, north = flat["landing_east"].values, flat["landing_north"].values
    time = (a * east + b * north) / (vz - a * vx - b * vy)
    assert np.isfinite(time).any() and np.nanmax(np.abs(time)) > 0.5
    for found, expected in ((over["landing_east"], east + vx * time), (over["landing_north"], north + vy * time), (over["landing_height"], vz * time)):
        known = np.isfinite(expected)
        assert (np.isfinite(found.values) == known).all()
        assert np.abs(found.values - expected)[known].max() < 0.15  # m: the plane is bent in degrees, by so much at the grid's ends
    terrain = terrain_of(grid, mission.site)
    height = ground_height(terrain, mission.site, over["landing_east"].values[known], over["landing_north"].values[known])
    assert np.abs(height - over["landing_height"].values[known]).max() < 1e-3


def test_interval__by_the_binomial_distribution(demo_mission, demo_ensemble):
    """Each end is the probability at which so many flights, or more, or fewer, come in 5 % of ensembles: summed up term by term."""
    east = float(np.median(demo_ensemble.landing_east))
    corners = [(-5000.0, -5000.0), (east, -5000.0), (east, 5000.0), (-5000.0, 5000.0)]
    places = np.array([*corners, corners[0]])
    latitude, longitude = place_on_earth(demo_mission.site, places[:, 0], places[:, 1], 0.0 * places[:, 0])
    found = landing(demo_ensemble, field={"type": "Polygon", "coordinates": [np.column_stack([longitude, latitude]).tolist()]})
    n, hits = 40, int(found.exceeding.item())
    assert hits == int((demo_ensemble.landing_east > east).sum())

    def at_least(k, p):
        return sum(math.comb(n, i) * p**i * (1.0 - p) ** (n - i) for i in range(k, n + 1))

    assert at_least(hits, float(found.probability_low.item())) == pytest.approx(0.05, rel=1e-9)
    assert 1.0 - at_least(hits + 1, float(found.probability_high.item())) == pytest.approx(0.05, rel=1e-9)


def test_maps__of_a_flown_demo_are_valid(stack_mission, tmp_path):
    from fastkml.validator import validate

    found = landing(stack_mission, 25, field=FIELD, people_distance="100 m", failing=4, seed=1, progress=False)
    written = assert_rfc_7946(landing_geojson(found, branches=["all", "no_ignition: whinchat"]))
    bodies = {each["properties"].get("body") for each in written["features"]}
    assert bodies >= {None, "whinchat", "drayhorse"}
    landing_kml(found, tmp_path / "demo.kml", branches=["all", "no_ignition: whinchat"])
    assert validate(file_to_validate=tmp_path / "demo.kml")


@pytest.mark.parametrize("name", ["stack", pytest.param("canard", marks=pytest.mark.slow), "slender"])
def test_landing__of_vehicles_nobody_tuned(name, tmp_path):
    """Southern sites, the round Earth, three stages: the page, the files; the mean landing place is that of the flights by pyproj."""
    from fastkml.validator import validate

    mission = stranger(name)
    found = landing(mission, 6, waiver="4 km", ceiling="3 km", seed=2, progress=False)
    assert "How probable it is that" in sixdof.report(found)
    landing_kml(found, tmp_path / "there.kml")
    assert validate(file_to_validate=tmp_path / "there.kml")
    written = assert_rfc_7946(landing_geojson(found))
    body = str(found["body"].values[0])
    mean = next(each for each in written["features"] if each["properties"]["role"] == "mean_landing_place" and each["properties"]["body"] == body)
    bearing, _, distance = WGS84.inv(math.degrees(mission.site.longitude), math.degrees(mission.site.latitude), *mean["geometry"]["coordinates"])
    one = found.sel(body=body, branch="all")
    away = math.hypot(float(one.mean_east), float(one.mean_north))
    assert distance * (1.0 + mission.site.altitude / 6.37e6) == pytest.approx(away, rel=1e-5, abs=0.02)  # seven decimals are a centimetre
    assert math.degrees(math.atan2(float(one.mean_east), float(one.mean_north))) == pytest.approx(bearing, abs=0.005)
