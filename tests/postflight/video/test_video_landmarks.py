"""Pointings solved from landmarks, against cameras that are known; their errors against many tries; sentences for bad input."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import sixdof
from sixdof.postflight.video.camera import camera, view_of
from sixdof.postflight.video.view import project, rotation_of, sights

LENS = {"place": (120.0, -40.0, 2.0), "picture": (1920, 1080), "frame_rate": 60.0, "liftoff_frame": 30}
POINTED = {"bearing": "285 deg", "elevation": "15 deg", "pointing_error": "1 deg"}


def known_camera(bearing, elevation, roll, field=1.0):
    return camera(**LENS, field_of_view=field, bearing=bearing, elevation=elevation, roll=roll, pointing_error=0.01)


def landmarks(seen, pixels, far, noise=0.0, seed=0, **more):
    """Return landmarks that a known camera sees at pixels, so far away, read with noise."""
    view = view_of(seen)
    pixels, random = np.asarray(pixels, dtype=float), np.random.default_rng(seed)
    places = view.place + sights(view, pixels) * np.asarray(far)[:, None]
    read = pixels + noise * random.standard_normal(pixels.shape)
    return {f"mark {k}": {"place": tuple(place), "pixel": tuple(pixel), **more} for k, (place, pixel) in enumerate(zip(places, read, strict=True))}


@given(st.floats(0.0, 6.28), st.floats(-1.5, 1.5), st.floats(-3.0, 3.0), st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_two_landmarks__give_the_pointing_of_any_camera(bearing, elevation, roll, seed):
    seen, random = known_camera(bearing, elevation, roll), np.random.default_rng(seed)
    pixels = np.array([[200.0, 300.0], [1600.0, 800.0]]) + random.uniform(-150.0, 150.0, (2, 2))
    found = camera(**LENS, field_of_view=1.0, focal_error=0.0, landmarks=landmarks(seen, pixels, random.uniform(20.0, 800.0, 2)))
    assert found["rotation"].values == pytest.approx(rotation_of(bearing, elevation, roll), abs=1e-6)
    assert np.abs(found["landmark_residual"].values).max() < 1e-3


def test_three_landmarks__give_the_focal_length_too():
    seen = known_camera(5.0, 0.2, 0.05, field=0.8)
    marks = landmarks(seen, [[200.0, 900.0], [1000.0, 200.0], [1700.0, 850.0]], [50.0, 300.0, 120.0])
    found = camera(**LENS, landmarks=marks)
    assert float(found["focal_length"]) == pytest.approx(960.0 / math.tan(0.4), rel=1e-6)
    assert found["rotation"].values == pytest.approx(seen["rotation"].values, abs=1e-6) and found.attrs["focal_solved"]
    assert "The focal length was solved from the landmarks too" in sixdof.report(found)


@pytest.mark.slow
def test_errors_of_a_solved_pointing__are_the_scatter_of_many():
    """200 readings of four landmarks with 2 px: the scatter of each angle is its error, within the 10 % that 200 tries tell (three of 5 %)."""
    seen = known_camera(5.0, 0.2, 0.0)
    pixels = [[150.0, 900.0], [1000.0, 200.0], [1700.0, 850.0], [500.0, 500.0]]
    found = [camera(**LENS, field_of_view=1.0, landmarks=landmarks(seen, pixels, [80.0, 300.0, 120.0, 60.0], 2.0, k)) for k in range(200)]
    spread = np.std([one["pointing"].values for one in found], axis=0)
    assert spread == pytest.approx(np.median([one["pointing_error"].values for one in found], axis=0), rel=0.2)


def test_place_error__shows_in_the_pointing_by_similar_triangles():
    """Landmarks at 100 m, and a camera whose place is known to 1 m: a bearing from it is known to no better than 1 in 100."""
    seen = known_camera(0.0, 0.0, 0.0)
    marks = landmarks(seen, [[900.0, 540.0], [1020.0, 540.0], [960.0, 600.0]], [100.0, 100.0, 100.0])
    found = camera(**LENS, field_of_view=1.0, focal_error=0.0, place_error=1.0, pixel_error=1.0, landmarks=marks)
    assert float(found["pointing_error"].sel(angle="bearing")) == pytest.approx(0.01, rel=0.05)


def test_landmarks__that_do_not_fit_are_named_and_make_errors_larger():
    seen = known_camera(5.0, 0.2, 0.0)
    marks = landmarks(seen, [[150.0, 900.0], [1000.0, 200.0], [1700.0, 850.0], [500.0, 500.0]], [80.0, 300.0, 120.0, 60.0])
    good = camera(**LENS, field_of_view=1.0, landmarks=marks)
    wrong = marks | {"mark 1": marks["mark 1"] | {"pixel": (1100.0, 200.0)}}
    bad = camera(**LENS, field_of_view=1.0, focal_error=0.0, landmarks=wrong)
    page = " ".join(sixdof.report(bad).split())
    assert "THE LANDMARKS DO NOT FIT" in page and "Look at mark 1 first" in page and "They fit" in sixdof.report(good)
    assert (bad["pointing_error"].values > 3.0 * good["pointing_error"].values).all()


def test_rail__is_a_pair_of_landmarks_that_the_mission_places(demo_mission):
    rail, view = demo_mission.rail, view_of(known_camera("288 deg", "2 deg", 0.0))
    tip = rail.length * np.array(
        [math.sin(rail.azimuth) * math.cos(rail.elevation), math.cos(rail.azimuth) * math.cos(rail.elevation), math.sin(rail.elevation)]
    )
    marks = {name: {"pixel": tuple(project(view, place))} for name, place in (("rail foot", np.zeros(3)), ("rail tip", tip))}
    found = camera(**LENS, field_of_view=1.0, mission=demo_mission, landmarks=marks)
    assert found["rotation"].values == pytest.approx(view.rotation, abs=1e-5)
    assert float(found["pointing_error"].sel(angle="roll")) > 5.0 * float(found["pointing_error"].sel(angle="elevation"))  # a short base tells little roll


def test_place_on_the_map__is_that_in_metres(demo_mission):
    """The inverse, by degrees of latitude at the site: 1 arc second north is 30.83 m at 38 deg (series of the meridian), at 1250 m altitude 2e-4 more."""
    north = demo_mission.site.latitude + math.radians(1.0 / 3600.0)
    place = {"latitude": north, "longitude": demo_mission.site.longitude, "altitude": "1260 m"}
    found = camera(**LENS | {"place": place}, field_of_view=1.0, **POINTED, mission=demo_mission)
    assert found["place"].values == pytest.approx((0.0, 30.83 * (1.0 + 1250.0 / 6.37e6), 10.0), abs=0.02)


def test_file__says_what_the_call_says(tmp_path):
    path = tmp_path / "camera.toml"
    path.write_text(
        'place = [120.0, "-40 m", 2.0]\npicture = [1920, 1080]\nfocal_length = "4.3 mm"\nsensor_width = "5.6 mm"\nbearing = "285 deg"\nelevation = "15 deg"\n'
        'pointing_error = "1 deg"\nframe_rate = "60 Hz"\nliftoff_frame = 30\ndropped = { 40 = 2 }\n'
    )
    found = camera(path, liftoff_frame=31)
    assert float(found["focal_length"]) == pytest.approx(4.3 / 5.6 * 1920.0) and found.attrs["liftoff_frame"] == 31 and found.attrs["dropped"] == '{"40": 2}'
    path.write_text("plaice = [1, 2, 3]\n")
    with pytest.raises(ValueError, match=r"plaice: unknown key; did you mean .*place"):
        camera(path)


@pytest.mark.slow
def test_camera__survives_a_file(tmp_path):
    seen = known_camera(5.0, 0.2, 0.1)
    found = sixdof.open_result(sixdof.save(seen, tmp_path / "camera.nc"))
    assert view_of(found).rotation == pytest.approx(view_of(seen).rotation) and found.attrs["dropped"] == "{}"


MARKS = {"mast": {"place": (0.0, 0.0, 0.0), "pixel": (100, 200)}, "barn": {"place": (0.0, 50.0, 0.0), "pixel": (900, 200)}}


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"place": None}, "place is missing"),
        ({"place": (1.0, 2.0)}, "must be (east, north, height)"),
        ({"place": (1e6, 0.0, 0.0)}, "lies 1000 km from the rail"),
        ({"place": {"latitude": "38 deg", "longitude": "-117 deg"}}, "needs the mission"),
        ({"picture": (1920,)}, "its width and height"),
        ({"field_of_view": None}, "field_of_view is missing"),
        ({"field_of_view": "200 deg"}, "is above"),
        ({"focal_length": "4 mm"}, "not both"),
        ({"pointing_error": None}, "give bearing, elevation and pointing_error"),
        ({"elevation": "95 deg"}, "elevation"),
        ({"landmarks": MARKS}, "not both: they are two truths"),
        ({"dropped": {"x": 2}}, "dropped"),
        ({"readout": "3 s"}, "readout"),
        ({"place_error": (1.0, 2.0)}, "one standard deviation or three"),
    ],
)
def test_camera__bad_input_is_one_sentence(change, words):
    with pytest.raises(ValueError) as caught:
        camera(**LENS | {"field_of_view": "60 deg"} | POINTED | change)
    assert words in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("marks", "lens", "words"),
    [
        ({"mast": MARKS["mast"]}, {"field_of_view": 1.0}, "two or more"),
        (MARKS, {}, "not the focal length too"),
        (MARKS | {"barn": {"pixel": (1, 2)}}, {"field_of_view": 1.0}, "has no place"),
        (MARKS | {"barn": {"place": (0, 50, 0)}}, {"field_of_view": 1.0}, "place and pixel"),
        (MARKS | {"barn": MARKS["barn"] | {"wide": 3}}, {"field_of_view": 1.0}, 'no key "wide"'),
        (MARKS | {"barn": MARKS["barn"] | {"place": (0.0, 0.1, 0.0)}}, {"field_of_view": 1.0}, "take some further apart"),
        (MARKS | {"barn": MARKS["barn"] | {"place": LENS["place"]}}, {"field_of_view": 1.0}, "stands where the camera stands"),
    ],
)
def test_landmarks__bad_input_is_one_sentence(marks, lens, words):
    with pytest.raises(ValueError) as caught:
        camera(**LENS, **lens, landmarks=marks)
    assert words in str(caught.value) and "\n" not in str(caught.value)
