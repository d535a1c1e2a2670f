"""`from_video`: pixels read off frames turned into angles with errors, and which frames can tell an incidence."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from sixdof.flight.fly import fly
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.postflight.video.asking import amount, whole
from sixdof.postflight.video.camera import need_camera, view_of
from sixdof.postflight.video.flown import Flown, flown_at
from sixdof.postflight.video.frames import Frames, frames_in
from sixdof.postflight.video.incidence import Told, least_lean, least_lean_sure, standard_deviations, steepest, told
from sixdof.postflight.video.readings import WINDOW, Reading, read, upright, window_of
from sixdof.postflight.video.view import View
from sixdof.study.uncertainty.statistics import check_share

PIXEL_ERROR = 1.0  # px, of nose or tail read off a frame, where none is given (this project's guess)
PATH_ERRORS = (math.radians(5.0), math.radians(2.0))  # of the path's direction: taken as steep as it may be, and of a flight (this project's guesses)
WORDS = {
    "bearing": "bearing of the line of sight, from true north",
    "elevation": "elevation of the line of sight",
    "apparent_lean": "body's line against the plumb line as seen, positive to the right",
    "apparent_path": "path against the plumb line as seen, positive to the right",
    "apparent_incidence": "body's line against the path as seen, positive to the right",
    "apparent_size": "angle between nose and tail",
}


def from_video(
    camera: xr.Dataset,
    frames: str | Path | xr.Dataset | dict[str, Any],
    *,
    length: float | str | None = None,
    flight: xr.Dataset | Mission | None = None,
    pixel_error: float = PIXEL_ERROR,
    balance: float = 0.5,
    window: int = WINDOW,
    path_error: float | str | None = None,
    wanted: float | str = "2 deg",
    planes: float = 0.9,
) -> xr.Dataset:
    """Turn pixels read off the frames of a video into bearings, leans and paths with errors, and say which frames can tell an incidence at all.

    Nothing looks at a picture: you read the pixels of nose and tail, or of one point, off the frames. What is seen of an incidence is what the camera's
    place makes of it: nearly under the flight a true 0.6 deg looks like 10, and a body that stands off its path towards the camera or away
    from it shows nothing. Each frame gets the factor, its error and a verdict: "usable", "only its sign" or "tells nothing".

    Parameters
    ----------
    camera : what `camera` returned
    frames : path of a CSV with the columns frame (or time, s since liftoff), nose_x, nose_y, tail_x, tail_y, or x, y, and error (px) if it differs from
        frame to frame; or those columns as a Dataset or a dictionary. A cell left empty was not seen
    length : of the body from nose to tail, m or text, for distances; taken from the flight where there is one
    flight : a flight of `sixdof.fly` that the path's direction is taken from, or a mission, which is flown for it; None: the steepest path that
        appears as the one seen
    pixel_error : standard deviation of one reading, px, where the table has none
    balance : share of the body ahead of the point whose path is taken; 0.5 the middle; best the centre of mass
    window : frames on each side that a path is read from; more of them are less noise and less detail
    path_error : standard deviation of the path's true direction, rad or text; 5 deg, and 2 deg with a flight
    wanted : the true incidence, rad or text, that a frame must be able to show to be of use
    planes : share of the planes, all taken as equally likely, that the upper bound of the incidence covers

    Returns
    -------
    Dataset
        Along `frame`: `time` (s since liftoff), `bearing`, `elevation`, `apparent_lean`, `apparent_path`, `apparent_incidence`, `apparent_size` (rad), each
        with
        `_error` (standard deviation of all), `_error_reading` (of the pixels alone) and `_error_camera` (of the camera, common to all frames);
        `lean_across`, the least true lean (`lean_least` is sure for all frames together in 95 % of cases); `distance` where the body leans no more than it
        must, `distance_most` where it lies across the sight (m);
        `angle_to_path`, `amplification`, `incidence_seen` (what of it is square to the sight), `incidence_least` and `incidence_most` (bounds that
        hold for all frames together in 95 % of cases), `incidence_detectable` and `verdict`; `pixel` (frame, point, side).

    Raises
    ------
    ValueError, MissionError
        In one sentence, for what is no camera or no table of frames.

    Examples
    --------
    >>> lens = dict(place=(200.0, 0.0, 1.5), picture=(1920, 1080), field_of_view="60 deg", frame_rate=60.0, liftoff_frame=30)
    >>> seen = sixdof.postflight.camera(**lens, bearing="270 deg", elevation="20 deg", pointing_error="1 deg")
    >>> table = {"frame": [90, 92, 94], "nose_x": [960, 960, 961], "nose_y": [700, 620, 538], "tail_x": [958, 957, 958], "tail_y": [712, 632, 550]}
    >>> video = sixdof.postflight.from_video(seen, table, length="1.4 m")
    >>> video.verdict.values.tolist()
    ['tells nothing', 'tells nothing', 'tells nothing']
    """
    need_camera(camera, "from_video")
    error = amount(pixel_error, "1", "from_video: pixel_error", least=0.0, above=True)
    share = amount(balance, "1", "from_video: balance", least=0.0, most=1.0)
    reach = whole(window, "from_video: window", 1)
    worth = amount(wanted, "rad", "from_video: wanted", least=0.0, above=True)
    covered = amount(planes, "1", "from_video: planes", least=0.0, above=True)
    check_share(covered, "from_video: planes")
    off = PATH_ERRORS[flight is not None] if path_error is None else amount(path_error, "rad", "from_video: path_error", least=0.0)
    found, view = frames_in(frames, camera, error, "from_video"), view_of(camera)
    pixel = upright(found.pixel, found.time, float(camera.attrs["readout"]), float(view.size[1]))
    seen = np.isfinite(pixel).all(axis=(1, 2))
    reading = read(view, pixel, found.error, window_of(found.time, seen, reach), share)
    flown = _flown(flight, found.time)
    long = flown.length if flown is not None else np.full(found.time.size, math.nan)
    long = long if length is None else np.full(found.time.size, amount(length, "m", "from_video: length", least=0.0, above=True))
    way = steepest(reading.sight, reading.right, reading.plumb, reading.value["apparent_path"]) if flown is None else _ways(flown)
    said = told(
        reading.value["apparent_incidence"], reading.error["apparent_incidence"], reading.sight, way, off, worth, covered, standard_deviations(found.time.size)
    )
    both = len(found.points) == 2
    entries = _angles(reading, view, both) | (_body(reading, long, view) | _incidence(said) if both else {}) | _pixels(found, pixel, view.size)
    ds = xr.Dataset(entries, {"frame": ("frame", _numbers(found), {"long_name": "number of the frame"}), "point": list(found.points), "side": ["x", "y"]})
    ds["time"] = ("frame", found.time, {"units": "s", "long_name": "time since liftoff"})
    if found.notes:
        ds["finding"] = ("finding", list(found.notes))
    return _attributed(
        ds, camera, {"pixel_error": error, "balance": share, "window": reach, "wanted": worth, "planes": covered, "path_from": _path_from(flight)}
    )


def _attributed(ds: xr.Dataset, camera: xr.Dataset, own: dict[str, Any]) -> xr.Dataset:
    """Return the readings with what is said of them and of the camera they came from."""
    kept = {name: camera.attrs[name] for name in ("title", "frame_rate", "liftoff_error", "readout", "pointed_by") if name in camera.attrs}
    place = {f"camera_{name}": float(value) for name, value in zip(("east", "north", "height"), camera["place"].values, strict=True)}
    return ds.assign_attrs(kind="video", **kept, **place, camera_place_error=float(np.linalg.norm(camera["place_error"].values)), **own)


def _path_from(flight: Any) -> str:
    return "steepest" if flight is None else "flight"


def _numbers(found: Frames) -> np.ndarray:
    """Return the numbers of the frames, counted from 0 where the table has times alone."""
    return found.number if np.isfinite(found.number).all() else np.arange(found.time.size, dtype=float)


def _flown(flight: Any, time: np.ndarray) -> Flown | None:
    if flight is None:
        return None
    if isinstance(flight, Mission):
        flight = fly(flight)
    if not isinstance(flight, xr.Dataset):
        raise TypeError(f"from_video: flight must be a flight of sixdof.fly or a mission, not {shown(flight)}")
    return flown_at(flight, time, "from_video")


def _ways(flown: Flown) -> np.ndarray:
    with np.errstate(divide="ignore", invalid="ignore"):
        return flown.velocity / np.linalg.norm(flown.velocity, axis=1, keepdims=True)


def _angles(reading: Reading, view: View, both: bool) -> dict[str, Any]:
    """Return the angles with their errors: of reading, of the camera, of both."""
    entries: dict[str, Any] = {}
    for name, text in WORDS.items():
        if not both and name not in ("bearing", "elevation", "apparent_path"):
            continue
        common = np.sqrt(np.maximum(np.einsum("ni,ij,nj->n", reading.camera[name], view.covariance, reading.camera[name]), 0.0))
        own = reading.error[name]
        entries[name] = ("frame", reading.value[name], {"units": "rad", "long_name": text})
        for what, values, words in (("", np.hypot(own, common), ""), ("_reading", own, " by the pixels"), ("_camera", common, " by the camera, common to all")):
            entries[f"{name}_error{what}"] = ("frame", values, {"units": "rad", "long_name": f"standard deviation{words}: {text}"})
    entries["sight_rate"] = ("frame", reading.rate, {"units": "rad/s", "long_name": "rate at which the line of sight turns"})
    return entries


def _body(reading: Reading, length: np.ndarray, view: View) -> dict[str, Any]:
    """Return the least lean, and distances by the body's length, with errors."""
    value, error = reading.value, reading.error
    lean, elevation, size = value["apparent_lean"], value["elevation"], value["apparent_size"]
    across = least_lean(elevation, lean)
    shrunk = np.sqrt(np.maximum(1.0 - np.einsum("ni,ni->n", steepest(reading.sight, reading.right, reading.plumb, lean), reading.sight) ** 2, 0.0))
    roll = np.sqrt(np.maximum(np.einsum("ni,ij,nj->n", reading.camera["apparent_lean"], view.covariance, reading.camera["apparent_lean"]), 0.0))
    with np.errstate(divide="ignore", invalid="ignore"):
        slope, bend = np.abs(np.cos(elevation) * np.cos(lean)) / np.cos(across), math.sqrt(0.5) * np.abs(np.sin(across)) / np.cos(across)
        own = np.hypot(slope * error["apparent_lean"], bend * np.minimum(error["apparent_lean"], 1.0) ** 2)
        most = length / (2.0 * np.tan(0.5 * size))
        share = np.hypot(error["apparent_size"] / size, math.sqrt(view.covariance[6, 6]))
    units = {"units": "m"}
    least = least_lean_sure(elevation, lean, np.hypot(error["apparent_lean"], roll), standard_deviations(lean.size))
    return {
        "lean_least": ("frame", least, {"units": "rad", "long_name": "least true lean from the vertical, sure for all frames together"}),
        "lean_across": ("frame", across, {"units": "rad", "long_name": "least true lean from the vertical, signed: positive to the right as seen"}),
        "lean_across_error": ("frame", np.hypot(own, slope * roll), {"units": "rad", "long_name": "standard deviation of the least true lean"}),
        "lean_across_error_reading": ("frame", own, {"units": "rad", "long_name": "standard deviation of it by the pixels"}),
        "distance": ("frame", most * shrunk, units | {"long_name": "distance by the body's length, if it leans no more than it must"}),
        "distance_error": ("frame", most * shrunk * share, units | {"long_name": "standard deviation of that distance by pixels and lens"}),
        "distance_most": ("frame", most, units | {"long_name": "largest distance by the body's length: across the line of sight"}),
    }


def _incidence(said: Told) -> dict[str, Any]:
    rows = {
        "angle_to_path": (said.to_path, "rad", "angle between the line of sight and the path"),
        "angle_to_path_error": (said.to_path_error, "rad", "standard deviation of that angle"),
        "amplification": (said.amplification, "1", "factor by which a small incidence square to the sight looks larger"),
        "amplification_error": (said.amplification_error, "1", "standard deviation of that factor"),
        "incidence_seen": (said.seen, "rad", "angle between body and path as far as it is square to the sight"),
        "incidence_seen_error": (said.seen_error, "rad", "standard deviation of that angle"),
        "incidence_least": (said.least, "rad", "least true angle between body and path, sure for all frames together"),
        "incidence_most": (said.most, "rad", "true angle below which it stays for the share of planes, sure for all frames together"),
        "incidence_detectable": (said.detectable, "rad", "true angle, square to the sight, that would be seen with two standard deviations"),
    }
    entries: dict[str, Any] = {name: ("frame", values, {"units": units, "long_name": text}) for name, (values, units, text) in rows.items()}
    return entries | {"verdict": ("frame", said.verdict.astype(str), {"long_name": "what the frame can tell of an incidence"})}


def _pixels(found: Frames, pixel: np.ndarray, size: np.ndarray) -> dict[str, Any]:
    return {
        "pixel": (("frame", "point", "side"), pixel, {"units": "px", "long_name": "pixel at the frame's own time"}),
        "picture": ("side", size, {"units": "px", "long_name": "width and height of the picture"}),
        "pixel_error": ("frame", found.error, {"units": "px", "long_name": "standard deviation of a reading"}),
    }


def need_video(ds: Any, who: str) -> None:
    """Raise ValueError for what `from_video` did not return."""
    if not isinstance(ds, xr.Dataset) or ds.attrs.get("kind") not in ("video", "video band"):
        raise ValueError(f"{who} needs what sixdof.postflight.from_video returned, not {'another Dataset' if isinstance(ds, xr.Dataset) else shown(ds)}")
