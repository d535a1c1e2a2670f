"""Landing places as GeoJSON and KML: what the standards ask for, on maps of several pieces, with holes, across the date line."""

from __future__ import annotations

import json
import math
import xml.etree.ElementTree as tree

import numpy as np
import pytest
import shapely
from landing_by_hand import a_field, assert_rfc_7946, box, feature, flown, positions, scattered

from sixdof.plot.preflight.landing import BODIES
from sixdof.preflight import landing, landing_geojson, landing_kml
from sixdof.study.landing import kml
from sixdof.study.landing.export import nested as nested_rings
from sixdof.study.landing.geojson import read_features

KML = "{http://www.opengis.net/kml/2.2}"


@pytest.fixture(scope="module")
def found(demo_mission):
    """Two heaps of landing places, with a field that has a hole, people and a waiver."""
    site = demo_mission.site
    hole = [box(site, -900, -900, 900, 900), box(site, -100, 300, 100, 500)[::-1]]
    more = [feature("Polygon", hole, role="no_go", name="salt <works> & pond"), feature("Point", [-117.0, 38.001], role="people", name="camp")]
    more.append(feature("Point", [-117.0, 38.0], role="waiver", radius="2 km"))
    places = np.concatenate([scattered(150, 1), scattered(150, 2) + (1500.0, 0.0)])
    return landing(flown(demo_mission, places), field=a_field(site, *more))


def test_geojson__is_what_the_standard_asks_for(found):
    text = landing_geojson(found)
    written = assert_rfc_7946(text)
    roles = [each["properties"]["role"] for each in written["features"]]
    assert roles == ["field", "no_go", "people", "waiver", "waiver_circle", "rail", "contour", "contour", "contour", "contour", "mean_landing_place"]
    contours = [each for each in written["features"] if each["properties"]["role"] == "contour"]
    assert [each["properties"]["share"] for each in contours] == [0.99, 0.95, 0.9, 0.5]
    assert contours[-1]["geometry"]["type"] == "MultiPolygon"  # two heaps
    assert written["features"][5]["geometry"]["coordinates"] == [-117.0, 38.0]


def test_geojson__contours_hold_their_share_of_the_places(found):
    """Counted in degrees, by shapely's own areas, from the file."""
    written = json.loads(landing_geojson(found))
    at = shapely.points(found.landing_longitude.values[:, 0], found.landing_latitude.values[:, 0])
    for each in written["features"]:
        if each["properties"]["role"] == "contour":
            inside = shapely.contains(shapely.geometry.shape(each["geometry"]), at).mean()
            assert inside == pytest.approx(each["properties"]["share"], abs=1.0 / 150.0 + 1e-9)  # a place or two lie on the border itself
            assert each["properties"]["flights"] == 300 and each["properties"]["branch"] == "all"


def test_geojson__area_of_the_waiver_and_of_the_field(found):
    """A circle of 2 km drawn with 72 corners has 0.99873 of its area; on a plane of metres per degree at the rail."""
    written = json.loads(landing_geojson(found))
    metres = math.cos(math.radians(38.0)) * 6387496.0 * 6360889.0 * math.radians(1.0) ** 2  # m^2 per square degree, at 1250 m
    area = {each["properties"]["role"]: shapely.geometry.shape(each["geometry"]).area * metres for each in written["features"]}
    assert area["waiver_circle"] == pytest.approx(math.pi * 2000.0**2 * math.sin(2.0 * math.pi / 72) / (2.0 * math.pi / 72), rel=2e-3)
    assert area["field"] == pytest.approx(2000.0**2, rel=2e-3)
    assert area["no_go"] == pytest.approx(1800.0**2 - 200.0**2, rel=2e-3)


def test_geojson__single_landing_places(found):
    written = assert_rfc_7946(landing_geojson(found, places=7))
    single = next(each for each in written["features"] if each["properties"]["role"] == "landing_places")
    expected = np.column_stack([found.landing_longitude.values[:7, 0], found.landing_latitude.values[:7, 0]])
    assert single["geometry"]["type"] == "MultiPoint" and np.allclose(single["geometry"]["coordinates"], expected, atol=1e-7)
    with pytest.raises(ValueError, match="must be a number of landing places"):
        landing_geojson(found, places=-1)


def test_geojson__what_was_given_is_read_again(found, tmp_path):
    path = tmp_path / "out.geojson"
    text = landing_geojson(found, path)
    given = {"type": "FeatureCollection", "features": [each for each in json.loads(text)["features"] if each["properties"]["role"] in ("field", "people")]}
    assert [one.role for one in read_features(given)] == ["field", "people"]
    with pytest.raises(FileExistsError, match="exists; give another name"):
        landing_geojson(found, path)
    assert landing_geojson(found, path, overwrite=True) == path.read_text(encoding="utf-8")


def test_contours__with_a_hole_are_nested():
    """A ring of places has a hole in its density; a heap within the hole is a polygon of its own."""
    circle = np.linspace(0.0, 2.0 * math.pi, 60)
    round_ring = np.column_stack([np.cos(circle), np.sin(circle)])
    outline, hole, heap = 10.0 * round_ring, 6.0 * round_ring[::-1], 2.0 * round_ring
    nested = nested_rings([hole, outline, heap])
    assert sorted(len(rings) for rings in nested) == [1, 2]
    assert sum(shapely.Polygon(rings[0], rings[1:]).area for rings in nested) == pytest.approx(math.pi * (100.0 - 36.0 + 4.0), rel=0.01)


@pytest.mark.parametrize("longitude", ["179.999 deg", "-179.999 deg"])
def test_date_line__cuts_what_crosses_it(demo_mission, longitude):
    """A site beside the date line: polygons come in two parts, each within -180 to 180 deg, which together hold what the whole did."""
    mission = demo_mission.change({"site.longitude": longitude})
    here = landing(flown(mission, scattered(200)))
    there = assert_rfc_7946(landing_geojson(here))
    plain = json.loads(landing_geojson(landing(flown(demo_mission, scattered(200)))))
    for cut, whole in zip(there["features"], plain["features"], strict=True):
        one, other = shapely.geometry.shape(cut["geometry"]), shapely.geometry.shape(whole["geometry"])
        if cut["properties"]["role"] == "contour" and cut["properties"]["share"] > 0.9:
            assert cut["geometry"]["type"] == "MultiPolygon" and one.area == pytest.approx(other.area, rel=1e-4)


# ---------------------------------------------------------------- KML


def test_kml__is_valid_by_the_schema(found, tmp_path):
    """OGC 07-147r2's own XML schema, as the library fastkml carries it."""
    from fastkml.validator import validate

    path = tmp_path / "landing.kml"
    text = landing_kml(found, path, places=20)
    assert validate(file_to_validate=path)
    path.write_text(text.replace("<tessellate>1</tessellate>", "<tessellate>flat</tessellate>", 1))
    with pytest.raises(AssertionError):  # the validator sees a fault
        validate(file_to_validate=path)


def test_kml__holds_what_the_geojson_holds(found):
    root = tree.fromstring(landing_kml(found).encode())
    marks = list(root.iter(f"{KML}Placemark"))
    written = {each["properties"].get("name") or each["properties"]["role"]: each["geometry"] for each in json.loads(landing_geojson(found))["features"]}
    assert {mark.find(f"{KML}name").text for mark in marks} == set(written)
    assert "salt <works> & pond" in written
    styles = {style.get("id") for style in root.iter(f"{KML}Style")}
    for mark in marks:
        assert mark.find(f"{KML}styleUrl").text.removeprefix("#") in styles
        texts = [each.text for each in mark.iter(f"{KML}coordinates")]
        chains = [[list(map(float, position.split(","))) for position in text.split()] for text in texts]
        assert chains == [list(map(list, chain)) for chain in positions(written[mark.find(f"{KML}name").text])]
    holes = [mark for mark in marks if mark.find(f".//{KML}innerBoundaryIs") is not None]
    assert "salt <works> & pond" in {mark.find(f"{KML}name").text for mark in holes}


def test_kml__colours_are_those_of_the_figure(found):
    """A colour of KML is opacity, blue, green, red."""
    assert tuple(f"#{colour}" for colour in kml.COLOURS) == BODIES
    root = tree.fromstring(landing_kml(found).encode())
    line = next(style for style in root.iter(f"{KML}Style") if style.get("id") == "contour-0").find(f"{KML}LineStyle/{KML}color").text
    assert line == "ff8c4203" and BODIES[0] == "#03428c"
