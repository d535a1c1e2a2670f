"""Simulated flights in a camera's picture: read back, laid beside a video, swings against the linear models of the vehicle."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

import sixdof
from sixdof.postflight.video.camera import camera
from sixdof.postflight.video.flown import flown_at, stage_lengths

VEHICLES = Path(__file__).parents[2] / "vehicles"
LENS = {"picture": (3840, 2160), "field_of_view": "50 deg", "frame_rate": 60.0, "liftoff_frame": 30.0, "liftoff_error": "5 ms"}


def stand(**more):
    return camera(place=(100.0, -60.0, 1.5), place_error=0.3, bearing="-59 deg", elevation="25 deg", pointing_error="0.3 deg", **LENS | more)


@pytest.fixture(scope="module")
def band(demo_ensemble):
    """A flight of the demo's ensemble as a video, among eleven others."""
    flights = demo_ensemble.isel(flight=slice(12))
    flight = sixdof.refly(flights, 5)
    table = sixdof.postflight.frames_of(flight, stand(), range(60, 180, 2), pixel_error=0.7, seed=3)
    video = sixdof.postflight.from_video(stand(), table, flight=flight)
    return sixdof.postflight.video_band(flights, stand(), video, progress=False), flight, flights


def test_nose_and_tail__lie_on_the_axis_a_body_s_length_apart(demo_flight, demo_mission):
    """Second statement: tilt and heading of the axis by the flight's own tilt, the body's length by its parts, the centre of mass between."""
    time = np.linspace(0.2, 8.0, 30)
    found = flown_at(demo_flight, time, "test")
    axis = found.nose - found.tail
    assert (
        np.linalg.norm(axis, axis=1)
        == pytest.approx(stage_lengths(demo_mission)[0])
        == pytest.approx(float(sum(p.length for p in demo_mission.stage[0].part if p.kind in ("nose", "tube"))))
    )
    liftoff = float(demo_flight["event_time"].sel(event="liftoff")[0])
    tilt = np.interp(time + liftoff, demo_flight["time"], demo_flight["tilt"])
    assert np.arccos(axis[:, 2] / np.linalg.norm(axis, axis=1)) == pytest.approx(tilt, abs=2e-3)
    cg = np.interp(time + liftoff, demo_flight["time"], demo_flight["cg"])
    assert np.linalg.norm(found.nose - found.centre, axis=1) == pytest.approx(cg, abs=1e-6)


@pytest.mark.slow
def test_length__is_the_stack_s_until_it_parts():
    """By hand-made stages: the joint of the flight parts, then the front body alone is there."""
    mission = sixdof.load_mission(Path(__file__).parents[3] / "configs" / "two-stage.toml")
    flight = sixdof.fly(mission)
    parts = float(flight["separation_time"][0]) - float(flight["event_time"].sel(event="liftoff")[0])
    found = flown_at(flight, np.array([parts - 0.2, parts + 0.2]), "test")
    own = stage_lengths(mission)
    assert found.length == pytest.approx([sum(own), own[0]]) and np.linalg.norm(found.nose - found.tail, axis=1) == pytest.approx(found.length)


def test_flight__is_read_back_within_its_errors(band):
    """Bearing and elevation of the middle of the body, its lean and its path as seen, by trigonometry from the flight itself."""
    video, flight, _ = band
    found = flown_at(flight, video["time"].values, "test")
    nose, tail = (one - np.array([100.0, -60.0, 1.5]) for one in (found.nose, found.tail))
    middle = 0.5 * (nose + tail)
    bearing = np.arctan2(middle[:, 0], middle[:, 1])
    for name, wanted in (("bearing", bearing), ("elevation", np.arctan2(middle[:, 2], np.hypot(middle[:, 0], middle[:, 1])))):
        off = (video[name].values - wanted + math.pi) % (2.0 * math.pi) - math.pi
        assert np.abs(off / video[f"{name}_error_reading"].values).max() < 4.0, name  # 24 frames: the largest of so many normal numbers is below 4
    elevation = video["elevation"].values
    right, plumb = (np.stack(one, axis=1) for one in _across(bearing, elevation))
    for name, way in (("apparent_lean", nose - tail), ("apparent_path", found.velocity)):
        wanted = np.arctan2(np.sum(way * right, axis=1), np.sum(way * plumb, axis=1))
        off = (video[name].values - wanted + math.pi) % (2.0 * math.pi) - math.pi
        assert np.abs(off / video[f"{name}_error_reading"].values).max() < 4.0, name


def _across(bearing, elevation):
    right = (np.cos(bearing), -np.sin(bearing), 0.0 * bearing)
    return right, (-np.sin(bearing) * np.sin(elevation), -np.cos(bearing) * np.sin(elevation), np.cos(elevation))


def test_band__holds_the_flight_that_was_filmed(band):
    video, _, flights = band
    assert video.sizes["flight"] == 12 and np.argmin(video["misfit"].values) == 5 == np.argmax(video["log_likelihood"].values)
    assert float(video["misfit"].min()) == pytest.approx(1.0, abs=0.35)  # 48 numbers, chi^2: 10 %; three of these
    assert not video["outside"].sel(quantity="bearing").values.any() and (video["video_rank"].values > 0.07).all()
    low, middle, high = video["band"].sel(quantity="elevation").values
    assert (low <= middle).all() and (middle <= high).all()
    assert video["flown"].sel(quantity="elevation", flight=5).values == pytest.approx(video["elevation"].values, abs=5e-3)
    page = " ".join(sixdof.report(video).split())
    assert "12 flights are too few to say that the video is none of them" in page and "Nearest is flight 5" in page and "nan" not in page


def test_likelihood__is_that_of_the_whole_covariance(band):
    """The constant of the covariance is the same for all flights: what is left is half of the misfit's square times its numbers."""
    video, _, flights = band
    misfit, ranks = video["misfit"].values, np.argsort(video["misfit"].values)
    assert (np.diff(video["log_likelihood"].values[ranks]) < 0.0).all()
    expected = -0.5 * np.square(misfit) * 2.0 * video.sizes["frame"]
    assert video["log_likelihood"].values - video["log_likelihood"].values[0] == pytest.approx(expected - expected[0], rel=1e-9, abs=1e-6)


@pytest.mark.slow
def test_weights__move_the_band(band):
    video, _, flights = band
    columns = _columns(video)
    weight = np.zeros(12)
    weight[7] = 1.0
    found = sixdof.postflight.video_band(flights.assign(weight=("flight", weight)), stand(), columns, progress=False)
    assert found["band"].sel(quantity="elevation").values == pytest.approx(np.tile(found["flown"].sel(quantity="elevation", flight=7).values, (3, 1)))
    with pytest.raises(ValueError, match="weight must hold numbers"):
        sixdof.postflight.video_band(flights.assign(weight=("flight", weight - 1.0)), stand(), columns, progress=False)


def test_other_flight__is_told_as_none_of_these(band):
    """The same pixels through a camera that points 6 deg elsewhere, and says that it is sure."""
    video, _, flights = band
    columns = _columns(video)
    wrong = camera(place=(100.0, -60.0, 1.5), bearing="-53 deg", elevation="25 deg", pointing_error="0.1 deg", **LENS)
    found = sixdof.postflight.video_band(flights, wrong, columns, progress=False)
    assert float(found["video_rank"].sel(quantity="bearing")) == pytest.approx(1.0 / 13.0) and found["outside"].sel(quantity="bearing").values.all()
    many = found.assign(video_rank=("quantity", [0.004, 0.5, 0.5, 0.5, 0.5]))  # as among 250 flights
    assert "NOT ONE OF THESE FLIGHTS by its bearing" in sixdof.report(many)


def test_one_flight__is_laid_beside(band):
    video, flight, _ = band
    found = sixdof.postflight.video_band(flight, stand(), _columns(video), pixel_error=0.7, flight=flight)
    assert found.sizes["flight"] == 1 and float(found["misfit"][0]) == pytest.approx(float(video["misfit"].sel(flight=5)), rel=1e-3)
    assert "One flight was laid beside it" in sixdof.report(found)


def _columns(video):
    pixel = {f"{end}_{side}": video["pixel"].sel(point=end, side=side).values for end in ("nose", "tail") for side in "xy"}
    return {"time": video["time"].values} | pixel


def test_behind_the_camera__nothing_is_seen(demo_flight, band):
    away = camera(place=(100.0, -60.0, 1.5), bearing="121 deg", elevation="25 deg", pointing_error="0.3 deg", **LENS)
    with pytest.raises(ValueError, match="in the picture in none of these frames"):
        sixdof.postflight.frames_of(demo_flight, away, range(60, 180, 6))
    found = sixdof.postflight.video_band(demo_flight, away, {"frame": [60, 66, 72], "x": [1.0, 2.0, 3.0], "y": [5.0, 6.0, 7.0]})
    assert (
        np.isnan(found["flown_pixel"].values).all()
        and float(found["in_picture"].max()) == 0.0
        and np.isfinite(found["flown"].sel(quantity="bearing").values).all()
    )


def test_flights__that_are_over_are_no_band(demo_flight):
    late = {"time": [5000.0, 5001.0, 5002.0], "x": [960.0, 961.0, 962.0], "y": [700.0, 620.0, 540.0]}
    with pytest.raises(ValueError, match="none of these flights is still going on"):
        sixdof.postflight.video_band(demo_flight, stand(), late)


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"frames": "abc"}, "must be numbers of frames"),
        ({"frames": [[1, 2]]}, "must be numbers of frames"),
        ({"pixel_error": -1.0}, "pixel_error"),
        ({"seed": -1}, "seed"),
    ],
)
def test_frames_of__bad_input_is_one_sentence(demo_flight, options, words):
    with pytest.raises(ValueError) as caught:
        sixdof.postflight.frames_of(demo_flight, stand(), **{"frames": [90]} | options)
    assert words in str(caught.value) and "\n" not in str(caught.value)


def test_sightings__weigh_what_the_camera_is_worth(band):
    video, _, _ = band
    found = sixdof.postflight.sightings_of(video, 4, body="thistledown")
    assert len(found) == 4 and {one["kind"] for one in found} == {"sighting"} and found[0]["from_east"] == 100.0 and found[0]["eye_height"] == 1.5
    common = float(video["bearing_error_camera"][0])
    assert sum(1.0 / one["bearing_error"] ** 2 for one in found) <= 1.0 / common**2
    assert found[0]["time_error"] == pytest.approx(2.0 * 0.005)


def test_sightings__are_evidence_as_it_is_read(band):
    found = sixdof.postflight.read_evidence(sixdof.postflight.sightings_of(band[0], 3, body="thistledown"))
    assert len(found.evidence) == 3 and found.evidence[0].bearing == pytest.approx(float(band[0]["bearing"][0]))


def test_frames_file__is_read_as_it_was_written(demo_flight, tmp_path):
    path = tmp_path / "frames.csv"
    table = sixdof.postflight.frames_of(demo_flight, stand(), range(60, 180, 12), pixel_error=0.5, seed=1, out=path)
    one, two = (sixdof.postflight.from_video(stand(), each) for each in (table, path))
    assert one["bearing"].values == pytest.approx(two["bearing"].values, abs=1e-5) and one["pixel_error"].values == pytest.approx(two["pixel_error"].values)
    with pytest.raises(ValueError, match="exists"):
        sixdof.postflight.frames_of(demo_flight, stand(), range(60, 180, 12), out=path)


def test_swing__of_a_vehicle_s_own_incidence_has_its_own_restoring_moment():
    """A passive rocket after its rail: the linear models' frequency, from 2 to 10 Hz over the stretch, runs through as many cycles as the incidence does."""
    mission = sixdof.load_mission(VEHICLES / "slender.toml")
    flight = sixdof.fly(mission)
    liftoff = float(flight["event_time"].sel(event="liftoff")[0])
    time = np.arange(0.3, 1.2, 1.0 / 60.0)
    values = np.interp(time + liftoff, flight["time"], flight["incidence_pitch"])
    found = sixdof.postflight.swing_of((time, values), mission=mission)
    assert found.attrs["verdict"] == "consistent" and float(found["restoring_ratio"]) == pytest.approx(1.0, abs=0.08)
    assert "CONSISTENT with the mission's" in sixdof.report(found)
    slow = sixdof.postflight.swing_of((time, np.interp(0.3 + 0.7 * (time - 0.3) + liftoff, flight["time"], flight["incidence_pitch"])), mission=mission)
    assert slow.attrs["verdict"] != "consistent" and float(slow["restoring_ratio"]) < 0.75
    with pytest.raises(ValueError, match="free, climbing and faster"):
        sixdof.postflight.swing_of((time + 100.0, values), mission=mission)
