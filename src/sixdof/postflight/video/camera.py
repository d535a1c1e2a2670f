"""`camera`: where a camera stood, what its lens and picture are, where it looked, and when its frames were taken."""

from __future__ import annotations

import json
import math
import tomllib
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.files.table_csv import read_text
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.postflight.video.asking import amount, pair, place_of, several, whole
from sixdof.postflight.video.landmarks import Landmarks, Solved, landmarks_of, solve
from sixdof.postflight.video.view import ERRORS, View, pointing_of, rotation_of, sights

POINTING = ("bearing", "elevation", "roll")
PIXEL_ERROR = 2.0  # px, of a landmark read off a frame, where none is given (this project's guess)
FOCAL_ERROR = 0.01  # share, of a focal length from a data sheet or a field of view, where none is given (this project's guess)
SHARP = 60.0  # deg: a bearing's own error is told below this elevation alone


def camera(
    file: str | Path | None = None,
    *,
    place: Any = None,
    place_error: Any = 0.0,
    picture: Any = None,
    field_of_view: float | str | None = None,
    focal_length: float | str | None = None,
    sensor_width: float | str | None = None,
    focal_error: float | str | None = None,
    centre: Any = None,
    k1: float = 0.0,
    k2: float = 0.0,
    bearing: float | str | None = None,
    elevation: float | str | None = None,
    roll: float | str = 0.0,
    pointing_error: Any = None,
    landmarks: Mapping[str, Any] | None = None,
    pixel_error: float = PIXEL_ERROR,
    frame_rate: float | str | None = None,
    liftoff_frame: float | None = None,
    liftoff_error: float | str | None = None,
    dropped: Mapping[Any, int] | None = None,
    readout: float | str = 0.0,
    mission: Mission | None = None,
) -> xr.Dataset:
    """Describe a camera that stood still: its place, lens, picture and pointing, each with its error, and the times of its frames.

    The pointing is given, or solved from landmarks: places that are known and the pixels at which they are seen. Two give the three angles of a
    pointing, three or more the focal length too; what they then miss by is told. Pixels count right and down from the upper left corner; bearings
    are from true north; roll is positive where the camera was turned clockwise as its user saw it.

    Parameters
    ----------
    file : a TOML file with these arguments as its keys; what is given beside it counts instead
    place : of the lens: (east, north, height) of the launch point, m or text, or {"latitude", "longitude", "height" or "altitude"} with a mission
    place_error : standard deviation, m, one for all directions or (east, north, height)
    picture : (width, height) of a frame, px
    field_of_view : across the width of the picture, rad or "62 deg"; or focal_length and sensor_width, m or "4.3 mm" (of the part of the sensor that the
        video uses). May be left out with three landmarks or more
    focal_error : standard deviation of the focal length as a share; 1 %
    centre : pixel on the lens's axis, the picture's middle where None
    k1, k2 : radial distortion, of the squared and fourth power of the distance from the centre over the focal length
    bearing, elevation, roll : of the axis, rad or text
    pointing_error : standard deviations of the three, one for all or (bearing, elevation, roll), rad or text; needed with a given pointing
    landmarks : {name: {"place": as above, "pixel": (x, y), "place_error": m, "pixel_error": px}} in place of bearing and elevation. With a mission
        "rail foot" and "rail tip" need no place
    pixel_error : standard deviation of reading a landmark, px; 2
    frame_rate : frames a second, Hz
    liftoff_frame : the frame, between frames if need be, at which the vehicle begins to move; liftoff_error : its standard deviation, s; one frame
    dropped : {frame: count}: after that frame so many are missing in the file
    readout : s, for the picture's rows from the first to the last, of a rolling shutter. A frame's time is that of its middle row
    mission : for latitudes and the rail's places

    Returns
    -------
    Dataset
        `place` (axis) m, `pointing` and `pointing_error` (angle) rad, `focal_length` px, `focal_length_error` px, `field_of_view` (side) rad, `picture`,
        `centre` (side) px, `distortion` (term), `error_covariance` (error, error_other) of turns about its axes (rad), place (m) and focal length (share),
        and of landmarks their `landmark_place`, `landmark_pixel` and `landmark_residual`. Attributes hold the times of frames.

    Raises
    ------
    ValueError, MissionError
        In one sentence, for what is no camera, and for landmarks of which no pointing can be made.

    Examples
    --------
    >>> lens = dict(place=(200.0, 0.0, 1.5), picture=(1920, 1080), field_of_view="60 deg", frame_rate=60.0, liftoff_frame=30)
    >>> seen = sixdof.postflight.camera(**lens, bearing="270 deg", elevation="20 deg", pointing_error="1 deg")
    >>> round(float(seen.focal_length))
    1663
    """
    given = {name: value for name, value in locals().items() if name not in ("file", "mission")}
    if mission is not None:
        check_mission(mission, "camera")
    if file is not None:
        usual = {"place_error": 0.0, "k1": 0.0, "k2": 0.0, "roll": 0.0, "pixel_error": PIXEL_ERROR, "readout": 0.0}
        own = {name: value for name, value in given.items() if value is not None and not (name in usual and value == usual[name])}
        given = given | _read(file, list(given)) | own
    return _made(given, mission)


def _made(given: dict[str, Any], mission: Mission | None) -> xr.Dataset:
    """Return the camera of the call's arguments."""
    for name in ("place", "picture"):
        if given[name] is None:
            raise ValueError(f"camera: {name} is missing; give {'(east, north, height) of the lens in m' if name == 'place' else '(width, height) in px'}")
    size = pair(given["picture"], "camera: picture", "its width and height in px", least=16.0, most=1e5)
    centre = 0.5 * size if given["centre"] is None else pair(given["centre"], "camera: centre", "a pixel")
    where = place_of(given["place"], "camera: place", mission)
    off = several(given["place_error"], "m", "camera: place_error", 3, "one standard deviation or three: east, north, height", least=0.0)
    focal, focal_error = _focal(given, size)
    k1, k2 = (amount(given[name], "1", f"camera: {name}") for name in ("k1", "k2"))
    view = View(np.eye(3), where, focal, centre, size, k1, k2, np.zeros((7, 7)))
    if given["landmarks"] is None:
        view = _pointed(view, given, off, focal_error)
        return _dataset(view, given, mission)
    if given["bearing"] is not None or given["elevation"] is not None or given["pointing_error"] is not None:
        raise ValueError("camera: give a pointing or landmarks to solve it from, not both: they are two truths")
    error = amount(given["pixel_error"], "1", "camera: pixel_error", least=0.0, above=True)
    known = landmarks_of(given["landmarks"], error, mission)
    solved = solve(view, known, off, focal_error)
    return _dataset(solved.view, given, mission, known, solved)


def _focal(given: dict[str, Any], size: np.ndarray) -> tuple[float, float]:
    """Return the focal length, px, and its standard deviation as a share; infinite where it is to be solved."""
    wide, long, sensor = given["field_of_view"], given["focal_length"], given["sensor_width"]
    if wide is not None and (long is not None or sensor is not None):
        raise ValueError("camera: give field_of_view, or focal_length and sensor_width, not both: they are two truths")
    if (long is None) != (sensor is None):
        raise ValueError("camera: focal_length and sensor_width go together: the lens, and the width of sensor that the video uses")
    error = FOCAL_ERROR if given["focal_error"] is None else amount(given["focal_error"], "1", "camera: focal_error", least=0.0, most=0.5)
    if wide is not None:
        angle = amount(wide, "rad", "camera: field_of_view", least=0.0, most=math.radians(170.0), above=True)
        return 0.5 * size[0] / math.tan(0.5 * angle), error
    if long is not None:
        lens, width = (amount(value, "m", f"camera: {name}", least=0.0, above=True) for name, value in (("focal_length", long), ("sensor_width", sensor)))
        return lens / width * size[0], error
    if given["landmarks"] is None:
        raise ValueError("camera: field_of_view is missing, or focal_length and sensor_width")
    return float(size[0]), math.inf


def _pointed(view: View, given: dict[str, Any], off: np.ndarray, focal_error: float) -> View:
    """Return the camera with the pointing that was given and its covariance."""
    if given["bearing"] is None or given["elevation"] is None or given["pointing_error"] is None:
        raise ValueError("camera: give bearing, elevation and pointing_error of its axis, or landmarks to solve them from")
    limits = {"bearing": {}, "elevation": {"least": -0.5 * math.pi, "most": 0.5 * math.pi}, "roll": {"least": -math.pi, "most": math.pi}}
    b, e, r = (amount(given[name], "rad", f"camera: {name}", **limits[name]) for name in POINTING)
    sd = several(given["pointing_error"], "rad", "camera: pointing_error", 3, "one standard deviation or three: bearing, elevation, roll", least=0.0)
    rotation = rotation_of(b, e, r)
    turns = rotation @ _axes_of(b, e, rotation).T  # columns: what each angle turns the camera by, in its own axes
    covariance = np.zeros((len(ERRORS), len(ERRORS)))
    covariance[:3, :3] = turns @ np.diag(np.square(sd)) @ turns.T
    covariance[3:6, 3:6] = np.diag(np.square(off))
    covariance[6, 6] = focal_error**2
    return view._replace(rotation=rotation, covariance=covariance)


def _axes_of(bearing: float, elevation: float, rotation: np.ndarray) -> np.ndarray:
    """Return the axes, as rows in world axes, about which bearing, elevation and roll turn a camera to the right hand."""
    level = np.array([math.cos(bearing), -math.sin(bearing), 0.0])
    return np.array([[0.0, 0.0, -1.0], level, rotation[2]])


def pointing_errors(view: View) -> np.ndarray:
    """Return the standard deviations of bearing, elevation and roll, rad, (3,); NaN of bearing and roll for an axis near the zenith, where they are one."""
    b, e, _ = pointing_of(view.rotation)
    turns = view.rotation @ _axes_of(b, e, view.rotation).T
    if abs(math.cos(e)) < math.cos(math.radians(89.9)):
        return np.array([math.nan, math.sqrt(max(float(np.trace(view.covariance[:2, :2])) / 2.0, 0.0)), math.nan])
    back = np.linalg.inv(turns)
    return np.sqrt(np.maximum(np.diag(back @ view.covariance[:3, :3] @ back.T), 0.0))


# ---------------------------------------------------------------- as a Dataset, and back


def _dataset(view: View, given: dict[str, Any], mission: Mission | None, known: Landmarks | None = None, solved: Solved | None = None) -> xr.Dataset:
    middle = np.array([[0.0, 0.5], [1.0, 0.5], [0.5, 0.0], [0.5, 1.0]]) * view.size
    left, right, top, bottom = sights(view, middle)
    wide = [math.acos(min(1.0, float(left @ right))), math.acos(min(1.0, float(top @ bottom)))]
    share = math.sqrt(view.covariance[6, 6])
    entries = {
        "place": ("axis", view.place, {"units": "m", "long_name": "place of the lens: east, north, above the ground at the launch point"}),
        "place_error": ("axis", np.sqrt(np.diag(view.covariance)[3:6]), {"units": "m", "long_name": "standard deviation of the lens's place"}),
        "pointing": ("angle", np.array(pointing_of(view.rotation)), {"units": "rad", "long_name": "pointing of the camera's axis"}),
        "pointing_error": ("angle", pointing_errors(view), {"units": "rad", "long_name": "standard deviation of the pointing"}),
        "rotation": (("camera_axis", "axis"), view.rotation, {"units": "1", "long_name": "the camera's axes x right, y down, z forward in world axes"}),
        "focal_length": ((), view.focal, {"units": "px", "long_name": "focal length"}),
        "focal_length_error": ((), view.focal * share, {"units": "px", "long_name": "standard deviation of the focal length"}),
        "field_of_view": ("side", wide, {"units": "rad", "long_name": "field of view across the picture's middle"}),
        "picture": ("side", view.size, {"units": "px", "long_name": "width and height of the picture"}),
        "centre": ("side", view.centre, {"units": "px", "long_name": "pixel on the lens's axis"}),
        "distortion": ("term", [view.k1, view.k2], {"units": "1", "long_name": "radial distortion"}),
        "error_covariance": (("error", "error_other"), view.covariance, {"units": "1", "long_name": "covariance of what the camera may be wrong by, SI"}),
    }
    if known is not None and solved is not None:
        entries |= {
            "landmark_place": (("landmark", "axis"), known.place, {"units": "m", "long_name": "place of the landmark: east, north, up"}),
            "landmark_pixel": (("landmark", "side"), known.pixel, {"units": "px", "long_name": "pixel at which the landmark was read"}),
            "landmark_residual": (("landmark", "side"), solved.residual, {"units": "px", "long_name": "pixel read less pixel seen by the solved camera"}),
            "landmark_pixel_error": ("landmark", known.pixel_error, {"units": "px", "long_name": "standard deviation of the reading of the landmark"}),
        }
    coords = {"axis": list("xyz"), "angle": list(POINTING), "side": ["x", "y"], "term": ["k1", "k2"], "camera_axis": list("xyz")}
    coords |= {"error": list(ERRORS), "error_other": list(ERRORS)} | ({} if known is None else {"landmark": list(known.names)})
    ds = xr.Dataset(entries, coords)
    ds.attrs = {"kind": "camera", "pointed_by": "given" if known is None else "landmarks", **_times(given)}
    if solved is not None:
        ds.attrs |= {"landmark_chance": solved.chance, "focal_solved": int(math.isinf(_focal(given, view.size)[1]))}
    return ds if mission is None else ds.assign_attrs(title=mission.title, mission=mission.to_toml())


def _times(given: dict[str, Any]) -> dict[str, Any]:
    """Return the attributes that say when frames were taken."""
    rate = math.nan if given["frame_rate"] is None else amount(given["frame_rate"], "Hz", "camera: frame_rate", least=0.0, above=True)
    start = math.nan if given["liftoff_frame"] is None else amount(given["liftoff_frame"], "1", "camera: liftoff_frame")
    error = (
        (1.0 / rate if math.isfinite(rate) else 0.0)
        if given["liftoff_error"] is None
        else amount(given["liftoff_error"], "s", "camera: liftoff_error", least=0.0)
    )
    readout = amount(given["readout"], "s", "camera: readout", least=0.0, most=1.0)
    lost = given["dropped"] or {}
    if not isinstance(lost, Mapping):
        raise ValueError(f"camera: dropped = {shown(lost)} must be {{frame: number of frames missing after it}}")
    try:
        counts = {str(int(frame)): whole(count, f"camera: dropped after frame {frame}", 1) for frame, count in lost.items()}
    except (TypeError, ValueError) as error_of:
        raise ValueError(str(error_of) if "camera" in str(error_of) else f"camera: dropped = {shown(lost)} must be {{frame: count}} of whole numbers") from None
    return {"frame_rate": rate, "liftoff_frame": start, "liftoff_error": error, "readout": readout, "dropped": json.dumps(counts)}


def need_camera(ds: Any, who: str) -> None:
    """Raise ValueError for what `camera` did not return."""
    if not isinstance(ds, xr.Dataset) or "error_covariance" not in ds or ds.attrs.get("kind") != "camera":
        raise ValueError(f"{who} needs what sixdof.postflight.camera returned, not {shown(ds) if not isinstance(ds, xr.Dataset) else 'another Dataset'}")


def view_of(ds: xr.Dataset) -> View:
    """Return the camera of a Dataset as geometry."""
    k1, k2 = (float(one) for one in ds["distortion"].values)
    return View(
        ds["rotation"].values, ds["place"].values, float(ds["focal_length"]), ds["centre"].values, ds["picture"].values, k1, k2, ds["error_covariance"].values
    )


def _read(file: str | Path, known: list[str]) -> dict[str, Any]:
    """Return the arguments that a TOML file holds. Raises ValueError, MissionError for a file that is none."""
    if not isinstance(file, (str, Path)):
        raise ValueError(f"camera: {shown(file)} is not the path of a file; give its place and lens by name, such as place=(200.0, 0.0, 1.5)")
    try:
        tables = tomllib.loads(read_text(file))
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        raise ValueError(f"{file}: is not valid TOML: {' '.join(str(error).split())}; check quotes, brackets and = there") from None
    for key in tables:
        if key not in known:
            raise ValueError(f"{file}: {key}: unknown key; {suggestion(key, tuple(known), 'valid keys')}")
    return tables
