"""Angles and errors of pixels: hand-made places seen by the formulas of trigonometry, errors of many tries, tables of frames."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr

import sixdof
from sixdof.postflight.video.camera import camera, view_of
from sixdof.postflight.video.from_video import from_video
from sixdof.postflight.video.view import project

LENS = {"picture": (3840, 2160), "field_of_view": "60 deg", "frame_rate": 60.0, "liftoff_frame": 10}


def stand(place=(0.0, -200.0, 0.0), bearing="0 deg", elevation="20 deg", roll=0.0, **more):
    return camera(place=place, bearing=bearing, elevation=elevation, roll=roll, **LENS | {"pointing_error": 0.0, "focal_error": 0.0} | more)


def table(seen, nose, tail, first=10, noise=0.0, seed=0):
    """Return the table of a body whose ends are at places (n, 3), frame by frame."""
    view, random = view_of(seen), np.random.default_rng(seed)
    pixel = np.concatenate([project(view, nose), project(view, tail)], axis=1)
    pixel = pixel + noise * random.standard_normal(pixel.shape)
    names = ("nose_x", "nose_y", "tail_x", "tail_y")
    return {"frame": first + np.arange(len(pixel))} | dict(zip(names, pixel.T, strict=True))


def rising(count, lean, path, speed=60.0, start=30.0, length=2.0, north=0.0):
    """Return nose and tail of a body that flies up in the east-up plane, its axis and its path leaned to the east, rad."""
    way, axis = (np.array([math.sin(one), 0.0, math.cos(one)]) for one in (path, lean))
    middle = np.array([0.0, north, start]) + way * speed / 60.0 * np.arange(count)[:, None]
    return middle + 0.5 * length * axis, middle - 0.5 * length * axis


def test_readings__of_a_body_square_to_the_sight_are_its_own():
    """From the south, far off and level: what leans to the east is seen to lean as much to the right; and the distance is the body's length over its angle."""
    seen = stand((0.0, -1000.0, 30.0), elevation="0 deg", field_of_view="20 deg")
    found = from_video(seen, table(seen, *rising(7, 0.10, 0.04)), length=2.0)
    assert found["apparent_lean"].values == pytest.approx(0.10, abs=2e-4) and found["apparent_path"].values == pytest.approx(0.04, abs=2e-4)
    assert found["apparent_incidence"].values == pytest.approx(0.06, abs=2e-4) and found["incidence_seen"].values == pytest.approx(0.06, abs=2e-4)
    assert found["distance_most"].values == pytest.approx(1000.0, rel=1e-3) and found["distance"].values == pytest.approx(1000.0, rel=1e-3)
    height = 30.0 + np.arange(7.0) * math.cos(0.04)
    assert found["elevation"].values == pytest.approx(np.arctan((height - 30.0) / 1000.0), abs=1e-6)
    assert found["time"].values == pytest.approx(np.arange(7) / 60.0) and (found["amplification"].values < 1.01).all()


@pytest.mark.parametrize(("bearing", "elevation", "roll"), [("0 deg", "20 deg", 0.0), ("8 deg", "31 deg", 0.3), ("352 deg", "12 deg", -1.0)])
def test_readings__do_not_depend_on_where_the_camera_points(bearing, elevation, roll):
    plain, other = stand(elevation="16 deg"), stand(bearing=bearing, elevation=elevation, roll=roll, k1=-0.05)
    body = rising(5, 0.2, 0.1)
    one, two = (from_video(seen, table(seen, *body)) for seen in (plain, other))
    for name in ("bearing", "elevation", "apparent_lean", "apparent_path", "apparent_size"):
        gone = (one[name] - two[name] + math.pi) % (2.0 * math.pi) - math.pi
        assert np.abs(gone).max() < 1e-6, name


def test_lean__of_a_body_that_leans_across_the_sight_by_its_elevation():
    """Second statement: axis (sin t, 0, cos t) seen at bearing 0, elevation e: tan(apparent) = tan t/cos e; the least true lean is t where it leans across."""
    seen = stand((0.0, -100.0, 0.0), elevation="60 deg")
    nose, tail = rising(3, 0.15, 0.0, start=180.0, length=0.02)
    found = from_video(seen, table(seen, nose, tail))
    elevation = math.atan2(181.0, 100.0)
    assert float(found["apparent_lean"][1]) == pytest.approx(math.atan(math.tan(0.15) / math.cos(elevation)), rel=1e-4)
    least = math.asin(math.cos(elevation) * math.sin(math.atan(math.tan(0.15) / math.cos(elevation))))
    assert float(found["lean_across"][1]) == pytest.approx(least, rel=1e-4) and least < 0.15  # it may be nearer to upright, tilted along the sight


def test_errors_of_reading__are_the_scatter_of_many_at_once():
    """500 readings of the same five frames, one behind the other: the scatter in the middle ones is the error (500 tries tell 3.2 %; three of these)."""
    seen = stand(elevation="16 deg", roll=0.2, k1=-0.05)
    nose, tail = rising(5, 0.2, 0.1, length=3.0)
    pixels = table(seen, np.tile(nose, (500, 1)), np.tile(tail, (500, 1)), noise=1.0, seed=4)
    pixels["frame"] = (np.arange(5) + 1000 * np.arange(500)[:, None]).ravel()
    found = from_video(seen, pixels, pixel_error=1.0, length=3.0).isel(frame=slice(2, None, 5))
    for name in ("bearing", "elevation", "apparent_lean", "apparent_path", "apparent_incidence", "lean_across", "distance"):
        values = found[name].values
        values = (values + math.pi) % (2.0 * math.pi) - math.pi if name == "bearing" else values
        assert np.std(values) == pytest.approx(np.median(found[f"{name}_error"].values), rel=0.1), name


@pytest.mark.slow
def test_errors_of_reading__are_the_scatter_of_many():
    """400 readings of the same frames: the scatter of every angle in the middle frame is its error (400 tries tell 3.5 %; three of these)."""
    seen = stand(elevation="16 deg", roll=0.2, k1=-0.05)
    body = rising(5, 0.2, 0.1, length=3.0)
    tries = [from_video(seen, table(seen, *body, noise=1.0, seed=k), pixel_error=1.0, length=3.0) for k in range(400)]
    for name in ("bearing", "elevation", "apparent_lean", "apparent_path", "apparent_incidence", "lean_across", "distance"):
        for frame in (0, 2):
            values = np.array([float(one[name][frame]) for one in tries])
            values = (values + math.pi) % (2.0 * math.pi) - math.pi if name == "bearing" else values
            error = np.median([float(one[f"{name}_error"][frame]) for one in tries])
            assert np.std(values) == pytest.approx(error, rel=0.11), (name, frame)


@pytest.mark.slow
def test_errors_of_the_camera__are_the_scatter_of_many_cameras():
    """300 cameras that point and zoom otherwise by their errors, the same pixels: what all frames have in common."""
    sd = {"pointing_error": ("1 deg", "0.5 deg", "2 deg"), "focal_error": "2 %"}
    seen = stand(elevation="16 deg", **sd)
    pixels, random = table(seen, *rising(5, 0.2, 0.1, length=3.0)), np.random.default_rng(1)
    found = from_video(seen, pixels, pixel_error=1e-6)
    tries = []
    for _ in range(300):
        b, e, r, f = np.radians([1.0, 0.5, 2.0, 0.0]) * random.standard_normal(4) + [0.0, math.radians(16.0), 0.0, 0.02 * random.standard_normal()]
        view = 2.0 * math.atan(math.tan(math.radians(30.0)) / math.exp(f))
        tries.append(from_video(stand(bearing=b, elevation=e, roll=r, field_of_view=view), pixels, pixel_error=1e-6))
    for name in ("bearing", "elevation", "apparent_lean", "apparent_path"):
        values = np.array([float(one[name][2]) for one in tries])
        values = (values + math.pi) % (2.0 * math.pi) - math.pi
        assert np.std(values) == pytest.approx(float(found[f"{name}_error"][2]), rel=0.13), name
    assert float(found["apparent_incidence_error"].max()) < 0.003  # roll and pointing turn body and path alike


def test_rolling_shutter__is_taken_out():
    """A body that runs through the picture to the right is seen leaning by its speed in the picture times the readout; put upright again."""
    seen = stand(elevation="16 deg", readout=0.02)
    way = np.array([1.0, 0.0, 0.0])
    middle = np.array([-20.0, 0.0, 60.0]) + way * np.arange(6)[:, None]
    tall = np.array([0.0, 0.0, 3.0])
    pixels = table(seen, middle + tall, middle - tall)
    fast = np.gradient(pixels["nose_x"]) * 60.0
    for name in ("nose", "tail"):
        pixels[f"{name}_x"] = pixels[f"{name}_x"] + fast * 0.02 * (pixels[f"{name}_y"] / 2160.0 - 0.5)
    crooked = from_video(stand(elevation="16 deg"), pixels)
    assert np.abs(crooked["apparent_lean"].values[1:-1]).min() > 0.005
    assert np.abs(from_video(seen, pixels)["apparent_lean"].values[1:-1]).max() < 2e-4


def test_one_point__tells_bearings_and_path_alone():
    seen = stand(elevation="16 deg")
    pixels = table(seen, *rising(5, 0.2, 0.1, length=0.001))
    found = from_video(seen, {"frame": pixels["frame"], "x": pixels["nose_x"], "y": pixels["nose_y"]})
    assert "apparent_lean" not in found and "verdict" not in found and found.sizes["point"] == 1
    assert "One point tells no lean" in sixdof.report(found)


# ---------------------------------------------------------------- tables of frames


def test_table__of_a_file_is_that_of_columns(tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text(
        "# invented\ntime (ms); nose_x; nose_y; tail_x; tail_y; error\n100; 960; 400; 961; 450; 0.5\n150; 960; 300; 962; 350;\n200; ; ; 962; 250; 1\n"
    )
    found = from_video(stand(), path, pixel_error=2.0)
    assert found["time"].values == pytest.approx([0.1, 0.15, 0.2]) and found["pixel_error"].values == pytest.approx([0.5, 2.0, 1.0])
    assert np.isnan(found["apparent_lean"].values).tolist() == [False, False, True]
    columns = {"time": [0.1, 0.15, 0.2], "nose_x": [960, 960, np.nan], "nose_y": [400, 300, np.nan], "tail_x": [961, 962, 962], "tail_y": [450, 350, 250]}
    same = from_video(stand(), xr.Dataset({name: ("frame", values) for name, values in columns.items()}))
    assert same["bearing"].values[:2] == pytest.approx(found["bearing"].values[:2])


def test_dropped_frames__count_in_time_and_are_noticed():
    seen = stand(elevation="16 deg")
    pixels = table(seen, *rising(9, 0.0, 0.0, speed=120.0))
    short = {name: np.delete(values, [4]) for name, values in pixels.items()}
    short["frame"] = pixels["frame"][:-1]  # the file does not know that one is missing
    found = from_video(seen, short)
    assert "after frame 13 the body moves 2.0 times as far" in str(found["finding"].values[0]) and "dropped={13: 1}" in sixdof.report(found)
    mended = from_video(stand(elevation="16 deg", dropped={13: 1}), short)
    assert "finding" not in mended and mended["time"].values == pytest.approx(np.delete(np.arange(9), 4) / 60.0)


ROW = "31, 958, 402, 957, 466\n32, 958, 380, 957, 440\n"
HEAD = "frame, nose_x, nose_y, tail_x, tail_y\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEAD, "holds no frames"),
        ("frame, nose_x, nose_y, tail_x\n31, 958, 402, 957\n", "there is no column tail_y"),
        ("nose_x, nose_y, tail_x, tail_y\n1, 2, 3, 4\n5, 6, 7, 8\n", "there is no column frame"),
        (HEAD + "31, 958, 4o2, 957, 466\n", 'line 2: column nose_y: "4o2" is not a number'),
        (HEAD + ROW + "32, 950, 380, 957, 440\n", "two lines are of the same moment"),
        (HEAD + "31, 958, 402, 957, 466\n", "two or more are needed"),
        ("time (kg), x, y\n1, 2, 3\n2, 3, 4\n", "column time: unit"),
        ("frame, x, x, y\n1, 2, 3, 4\n2, 3, 4, 5\n", "the column x is there 2 times"),
        ("frame, x, y, error\n1, 2, 3, 0\n2, 3, 4, 1\n", "must be above 0"),
        (HEAD + "31, 958, 402, , 466\n32, 958, 380, 957, 440\n33, , 370, 957, 430\n", "both read in 1 of the frames"),
        (HEAD + "31, 958, inf, 957, 466\n", "is no pixel, frame or time"),
    ],
)
def test_table__bad_input_is_one_sentence(text, words, tmp_path):
    path = tmp_path / "frames.csv"
    path.write_text(text)
    with pytest.raises(ValueError) as caught:
        from_video(stand(), path)
    assert words in str(caught.value) and str(path) in str(caught.value) and "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("seen", "frames", "options", "words"),
    [
        (3, {}, {}, "needs what sixdof.postflight.camera returned"),
        (None, 3, {}, "frames must be the path of a CSV"),
        (None, {"frame": [1, 2], "xx": [1, 2]}, {}, 'there is no column "xx"'),
        (None, {"frame": [1, 2], "x": [1, 2], "y": [1]}, {}, "all of one length"),
        (None, {"frame": [1, 2], "x": [1, 2], "y": [1, 2]}, {"pixel_error": 0.0}, "pixel_error"),
        (None, {"frame": [1, 2], "x": [1, 2], "y": [1, 2]}, {"balance": 1.5}, "balance"),
        (None, {"frame": [1, 2], "x": [1, 2], "y": [1, 2]}, {"wanted": "2 kg"}, "wanted"),
        (None, {"frame": [1, 2], "x": [1, 2], "y": [1, 2]}, {"window": 0}, "window"),
        ("no rate", {"frame": [1, 2], "x": [1, 2], "y": [1, 2]}, {}, "the camera has no frame_rate"),
    ],
)
def test_from_video__bad_input_is_one_sentence(seen, frames, options, words):
    own = {None: stand(), "no rate": stand(frame_rate=None)}.get(seen, seen)
    with pytest.raises(ValueError) as caught:
        from_video(own, frames, **options)
    assert words in str(caught.value) and "\n" not in str(caught.value)
