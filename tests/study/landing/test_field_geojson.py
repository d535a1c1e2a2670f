"""A field read from GeoJSON: what it must hold, areas and places by hand, each fault in one sentence."""

from __future__ import annotations

import json
import math

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from sixdof.study.landing.field import field_of, in_metres
from sixdof.study.landing.geojson import as_feature, read_features

ORIGIN = (-117.0, 38.0)  # longitude, latitude of the demo's rail
DEGREE = 1e-3  # of longitude or latitude: a side of the squares below
# metres per degree at 38 deg north on WGS-84, from its radii of curvature there (6362315.5 m meridian, 6386246.0 m prime vertical), at 1250 m altitude
NORTH, EAST = math.radians(1.0) * (6359639.0 + 1250.0), math.radians(1.0) * (6386246.0 + 1250.0) * math.cos(math.radians(38.0))
CLOSE = 2e-3  # relative: the metres per degree above are those at the rail, and rounded


def square(west: float, south: float, side: float = 1.0) -> list:
    """A closed ring, in thousandths of a degree from the rail, anticlockwise."""
    x, y = (np.array(sides) * DEGREE * side for sides in ((0, 1, 1, 0, 0), (0, 0, 1, 1, 0)))
    return np.column_stack([ORIGIN[0] + west * DEGREE + x, ORIGIN[1] + south * DEGREE + y]).tolist()


def feature(kind: str, coordinates, **properties) -> dict:
    return {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": coordinates}}


def collection(*features: dict) -> dict:
    return {"type": "FeatureCollection", "features": list(features)}


def test_metres__go_there_and_back(demo_mission):
    for mission in (demo_mission, demo_mission.change({"site.earth": "wgs84", "site.latitude": "-62 deg", "site.longitude": "179.99 deg"})):
        degrees = math.degrees(mission.site.latitude), math.degrees(mission.site.longitude)
        assert np.allclose(in_metres(mission.site, *degrees), 0.0, atol=1e-6)
        east, north = in_metres(mission.site, degrees[0] + 0.01, degrees[1] + 0.02)  # over the date line in the second
        bent = math.sqrt(1.0 - 6.69437999014e-3 * math.sin(mission.site.latitude) ** 2)
        assert east == pytest.approx(math.radians(0.02) * 6378137.0 / bent * math.cos(mission.site.latitude), rel=1e-3)
        assert north > 0.0


def test_field__area_of_a_square_with_a_hole(demo_mission):
    field = field_of(feature("Polygon", [square(-1, -1, 2.0), square(-0.5, -0.5)]), demo_mission.site)
    assert field.inside.area == pytest.approx((4.0 - 1.0) * DEGREE**2 * NORTH * EAST, rel=CLOSE)


@pytest.mark.parametrize(
    ("place", "inside"),
    [((0.0, 0.0), False), ((-0.75, 0.0), True), ((0.0, 0.9), True), ((1.1, 0.0), False), ((1.0, 0.3), True), ((3.5, 3.5), True), ((2.5, 3.5), False)],
    ids=["in the hole", "beside it", "above it", "outside", "on the border", "in the other polygon", "between the two"],
)
def test_field__places_by_hand(demo_mission, place, inside):
    rings = [[square(-1, -1, 2.0), square(-0.5, -0.5)], [square(3, 3)]]
    field = field_of(collection(feature("MultiPolygon", rings, role="field")), demo_mission.site)
    east, north = in_metres(demo_mission.site, ORIGIN[1] + place[1] * DEGREE, ORIGIN[0] + place[0] * DEGREE)
    nudge = 1e-6 if inside else 0.0  # m: a border is as exact as the coordinates are
    assert bool(field.in_field(east - nudge, north)) is inside
    assert not field.in_field(math.nan, north)


def test_field__edges_are_straight_in_longitude_and_latitude(demo_mission):
    """RFC 7946, 3.1.1: on the ground an edge along a parallel bows: half way of 20 km by L^2 tan(latitude)/(8 R) = 6.1 m towards the pole's side."""
    low = [[-117.114, 38.0], [-116.886, 38.0], [-116.886, 38.1], [-117.114, 38.1], [-117.114, 38.0]]
    field = field_of({"type": "Polygon", "coordinates": [low]}, demo_mission.site)
    _, corner = in_metres(demo_mission.site, 38.0, -116.886)
    bow = (0.228 * EAST) ** 2 * math.tan(math.radians(38.0)) / (8.0 * 6.37e6)
    assert corner == pytest.approx(bow, rel=0.01) and bow > 6.0  # the corners lie north of the rail's plane of east
    assert bool(field.in_field(0.0, 0.5)) and not bool(field.in_field(0.0, -0.5))


def test_people__distance_by_hand(demo_mission):
    road = [[ORIGIN[0] + 2 * DEGREE, ORIGIN[1] - 5 * DEGREE], [ORIGIN[0] + 2 * DEGREE, ORIGIN[1] + 5 * DEGREE]]
    camp = [ORIGIN[0] - 1 * DEGREE, ORIGIN[1]]
    given = collection(feature("LineString", road, role="people"), feature("Point", camp, role="people"), feature("Polygon", [square(4, 4)], role="people"))
    field = field_of(given, demo_mission.site)
    assert float(field.from_people(0.0, 0.0)) == pytest.approx(DEGREE * EAST, rel=CLOSE)  # the camp
    assert float(field.from_people(1.5 * DEGREE * EAST, 0.0)) == pytest.approx(0.5 * DEGREE * EAST, rel=CLOSE)  # the road
    assert float(field.from_people(4.5 * DEGREE * EAST, 4.5 * DEGREE * NORTH)) == 0.0  # among them
    assert math.isnan(field.from_people(math.nan, 0.0))


def test_waiver__holds_circle_and_ceiling(demo_mission):
    field = field_of(collection(feature("Point", list(ORIGIN), role="waiver", radius="1 km", ceiling="500 m")), demo_mission.site)
    held = field.in_waiver(np.array([0.0, 990.0, 1010.0, 0.0, np.nan]), np.zeros(5), np.array([499.0, 0.0, 0.0, 501.0, 0.0]))
    assert held.tolist() == [True, True, False, False, True]


def test_rail__stands_in_the_field_or_not(demo_mission):
    around = feature("Polygon", [square(-1, -1, 2.0)])
    assert field_of(around, demo_mission.site).holds_rail()
    assert not field_of(feature("Polygon", [square(1, 1)]), demo_mission.site).holds_rail()
    assert not field_of(collection(around, feature("Polygon", [square(-0.5, -0.5)], role="no_go")), demo_mission.site).holds_rail()


def test_features__are_written_as_they_were_read(tmp_path):
    given = collection(feature("Polygon", [square(0, 0)], role="no_go", name="pond"), feature("Point", list(ORIGIN), role="waiver", radius=900, ceiling="1 km"))
    path = tmp_path / "field.geojson"
    path.write_text("\ufeff" + json.dumps(given), encoding="utf-8")
    features = read_features(path)
    again = read_features(collection(*map(as_feature, features)))
    assert [(one.role, one.name, one.radius) for one in again[1:]] == [("waiver", "", 900.0)] and again[1].ceiling == 1000.0
    assert np.allclose(again[0].coordinates, features[0].coordinates, atol=1e-7)  # seven decimals


def test_heights_and_unlocated_features__are_left_out():
    ring = [[*position, 1200.0] for position in square(0, 0)]
    features = read_features(collection({"type": "Feature", "properties": None, "geometry": None}, feature("Polygon", [ring])))
    assert len(features) == 1 and len(features[0].coordinates[0][0]) == 2


# ---------------------------------------------------------------- what is wrong

CROSSED = [[-117.0, 38.0], [-116.9, 38.1], [-116.9, 38.0], [-117.0, 38.1], [-117.0, 38.0]]
FAULTS = {
    "no JSON": ("{", "is no JSON: line 1"),
    "no GeoJSON": ({"lake": 1}, "is no GeoJSON, for it has no type"),
    "another type": ({"type": "Topology", "objects": {}}, "is no geometry of GeoJSON"),
    "no features": ({"type": "FeatureCollection"}, "without a list of features"),
    "empty": (collection(), "holds no feature with a geometry"),
    "crs": ({"type": "FeatureCollection", "crs": {"properties": {"name": "EPSG:32611"}}, "features": []}, "which RFC 7946 has not"),
    "metres": (feature("Polygon", [[[500000.0, 4205000.0]] * 4]), "look like projected coordinates"),
    "latitude first": (feature("Polygon", [[[38.0, -117.0], [38.1, -117.0], [38.1, -117.1], [38.0, -117.0]]]), "latitude stands first"),
    "open": (feature("Polygon", [square(0, 0)[:-1]], name="lake bed"), r"the feature \(lake bed\): a ring is open"),
    "short": (feature("Polygon", [[[0.0, 0.0], [1.0, 0.0], [0.0, 0.0]]]), "a closed ring has 4 or more"),
    "crossing": (feature("Polygon", [CROSSED]), "is not simple .self-intersection"),
    "a line of a polygon": (feature("Polygon", [[[0.0, 0.0], [1.0, 0.0], [0.5, 0.0], [0.0, 0.0]]]), "is not simple|has no area"),
    "hole outside": (feature("Polygon", [square(0, 0), square(3, 3)]), "is not simple"),
    "role": (feature("Polygon", [square(0, 0)], role="nogo"), 'role "nogo" is none'),
    "line without a role": (feature("LineString", square(0, 0)), "has no role"),
    "line as field": (feature("LineString", square(0, 0), role="field"), "a LineString is no field"),
    "waiver without radius": (feature("Point", list(ORIGIN), role="waiver"), "needs a radius"),
    "waiver with a strange radius": (feature("Point", list(ORIGIN), role="waiver", radius="wide"), "radius ="),
    "waiver as area": (feature("Polygon", [square(0, 0)], role="waiver", radius=1.0), "is no waiver's centre"),
    "position": (feature("Polygon", [[["a", "b"]] * 4]), "the position"),
    "infinite": (feature("Point", [math.inf, 0.0], role="people"), "the position"),
    "no coordinates": (feature("Polygon", None), "its coordinates are"),
    "feature of no type": (collection({"geometry": None}), "feature 1 has the type"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_field__says_what_is_wrong(name):
    given, words = FAULTS[name]
    with pytest.raises(ValueError, match=words) as caught:
        read_features(given)
    assert "\n" not in str(caught.value)


LEAVES = st.none() | st.booleans() | st.integers(-200, 200) | st.floats() | st.text(max_size=8) | st.sampled_from(["Polygon", "Feature", "field", "Point"])
KEYS = st.sampled_from(["type", "features", "geometry", "coordinates", "properties", "role", "radius", "geometries", "name", "crs"])
ANYTHING = st.recursive(LEAVES, lambda inner: st.lists(inner, max_size=5) | st.dictionaries(KEYS, inner, max_size=5), max_leaves=20)
ROUGHLY = st.fixed_dictionaries({"type": st.sampled_from(["Polygon", "MultiPolygon", "Point", "Feature", "FeatureCollection", "GeometryCollection"])}).flatmap(
    lambda head: st.dictionaries(KEYS, ANYTHING, max_size=5).map(lambda more: more | head)
)


@settings(max_examples=80, deadline=None, suppress_health_check=list(HealthCheck))
@given(ROUGHLY | st.dictionaries(KEYS, ANYTHING, max_size=5))
def test_field__anything_is_read_or_answered_in_one_sentence(given_json):
    try:
        assert all(one.role for one in read_features(given_json))
    except (ValueError, TypeError) as error:
        assert type(error) in (ValueError, TypeError) and "field" in str(error) and "\n" not in str(error).strip()


def test_field__far_away_is_another_one(demo_mission):
    with pytest.raises(ValueError, match="km from the rail .*longitude, latitude"):
        field_of({"type": "Polygon", "coordinates": [[[7.0, 51.0], [7.1, 51.0], [7.1, 51.1], [7.0, 51.0]]]}, demo_mission.site)


def test_field__a_file_that_is_not_there_or_a_number(tmp_path):
    with pytest.raises(FileNotFoundError, match="cannot be read"):
        read_features(tmp_path / "none.geojson")
    with pytest.raises(TypeError, match="must be a GeoJSON file"):
        read_features(3)
    (tmp_path / "binary.geojson").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ValueError, match="is no text in UTF-8"):
        read_features(tmp_path / "binary.geojson")
