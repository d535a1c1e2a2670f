"""`frames_of`: the pixels that a simulated flight would be read at, for trying a camera's place before the day and for checks."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.draws.numbers import check_numbers
from sixdof.mission.units import shown
from sixdof.postflight.video.asking import amount
from sixdof.postflight.video.camera import need_camera, view_of
from sixdof.postflight.video.flown import flown_at
from sixdof.postflight.video.frames import BOTH, frame_times
from sixdof.postflight.video.view import in_picture, project

DECIMALS = 2  # of a pixel in a file


def frames_of(
    flight: xr.Dataset, camera: xr.Dataset, frames, *, pixel_error: float = 0.0, seed: int = 0, out: str | Path | None = None, overwrite: bool = False
) -> xr.Dataset:
    """Return what would be read off a video of a simulated flight: nose and tail in the camera's picture, in the form that `from_video` takes.

    To try where a camera should stand before the day: what would it see, and could it tell what is asked?

    Parameters
    ----------
    flight : a flight with its timeline, as `sixdof.fly` returns it
    camera : what `camera` returned, with frame_rate and liftoff_frame
    frames : numbers of the frames, such as range(0, 400, 5)
    pixel_error : standard deviation of the noise laid on every coordinate, px
    seed : of that noise
    out : a CSV to write; overwrite : replace it

    Returns
    -------
    Dataset
        `nose_x`, `nose_y`, `tail_x`, `tail_y` (px), `error` (px) along `frame`; without the frames in which nose or tail is out of the picture.

    Raises
    ------
    ValueError
        In one sentence, where nothing is seen in any frame, and for arguments that are none.

    Examples
    --------
    >>> lens = dict(place=(200.0, 0.0, 1.5), picture=(1920, 1080), field_of_view="60 deg", frame_rate=60.0, liftoff_frame=30)
    >>> seen = sixdof.postflight.camera(**lens, bearing="270 deg", elevation="20 deg", pointing_error="1 deg")
    >>> table = sixdof.postflight.frames_of(flight, seen, range(30, 200, 10))
    >>> table.nose_x.dims
    ('frame',)
    """
    need_camera(camera, "frames_of")
    if out is not None and not isinstance(out, (str, Path)):
        raise TypeError(f"frames_of: out must be the path of a file, not {shown(out)}")
    check_numbers("frames_of", None, seed)
    noise = amount(pixel_error, "1", "frames_of: pixel_error", least=0.0)
    number = _numbers(frames)
    if not np.isfinite([camera.attrs["frame_rate"], camera.attrs["liftoff_frame"]]).all():
        raise ValueError("frames_of: the camera has no frame_rate or no liftoff_frame; give both to camera")
    view = view_of(camera)
    pixel = _exposed(flight, camera, number)
    pixel = pixel + noise * np.random.default_rng(seed).standard_normal(pixel.shape)
    use = in_picture(view, pixel).all(axis=1)
    if not use.any():
        raise ValueError("frames_of: nose and tail are in the picture in none of these frames; point the camera elsewhere, or take other frames")
    columns = dict(zip(BOTH, pixel[use].reshape(-1, 4).T, strict=True)) | {"error": np.full(np.count_nonzero(use), max(noise, 10.0**-DECIMALS))}
    ds = xr.Dataset({name: ("frame", values, {"units": "px"}) for name, values in columns.items()}, {"frame": number[use]})
    ds = ds.assign_attrs(source="simulated", title=str(flight.attrs.get("title", "")))
    if out is not None:
        _write(ds, Path(out), overwrite)
    return ds


def _numbers(frames) -> np.ndarray:
    try:
        found = np.atleast_1d(np.asarray(frames, dtype=float))
    except (TypeError, ValueError):
        found = np.array([np.nan])
    if found.ndim != 1 or not found.size or not np.isfinite(found).all():
        raise ValueError(f"frames_of: frames = {shown(frames)} must be numbers of frames, such as range(0, 400, 5)")
    return found


def _exposed(flight: xr.Dataset, camera: xr.Dataset, number: np.ndarray) -> np.ndarray:
    """Return the pixels of nose and tail, (n, 2, 2), each at the time at which a rolling shutter takes its row."""
    view, readout = view_of(camera), float(camera.attrs["readout"])
    time = frame_times(number, camera)
    late = np.zeros((time.size, 2))
    for _ in range(4 if readout else 1):  # the row depends on the time and the time on the row; each round gains a factor of pixels a frame over rows
        ends = [flown_at(flight, time + late[:, k], "frames_of") for k in range(2)]
        pixel = np.stack([project(view, ends[0].nose), project(view, ends[1].tail)], axis=1)
        late = readout * np.nan_to_num(pixel[:, :, 1] / view.size[1] - 0.5)
    return pixel


def _write(ds: xr.Dataset, path: Path, overwrite: bool) -> None:
    if path.exists() and not overwrite:
        raise ValueError(f"frames_of: {path} exists; give another name, or overwrite=True")
    lines = ["# pixels of nose and tail of a simulated flight, right and down from the upper left corner", ", ".join(("frame", *BOTH, "error"))]
    for row in zip(ds["frame"].values, *(ds[name].values for name in (*BOTH, "error")), strict=True):
        lines.append(f"{row[0]:g}, " + ", ".join(f"{value:.{DECIMALS}f}" for value in row[1:]))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
