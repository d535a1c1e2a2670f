"""Pixels read off frames: a table of nose and tail, or of one point, and the time of each frame since liftoff.

A CSV has a first line that names its columns, then a line a frame:

    frame, nose_x, nose_y, tail_x, tail_y, error
    31, 958.5, 402.0, 957.0, 466.5, 0.8

`frame` counts as the video does, or `time (s)` is since liftoff; `x, y` stand in place of the four where only one point can be read; `error` (px, one
standard deviation of a coordinate) may be left out. A cell left empty was not seen. Lines that begin with # are comments.
"""

from __future__ import annotations

import csv
import json
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.files.table_csv import read_text
from sixdof.mission.units import QuantityError, converter, shown

BOTH, ONE = ("nose_x", "nose_y", "tail_x", "tail_y"), ("x", "y")
KNOWN = ("frame", "time", *BOTH, *ONE, "error")
MOST = 100_000  # frames
LEAP = 1.6  # of the motion in a frame before and after: more looks as if frames were lost
EXAMPLE = "frame, nose_x, nose_y, tail_x, tail_y"


class Frames(NamedTuple):
    """What was read. number : of the frame, NaN where times are given, (n,). time : s since liftoff, rising, (n,).

    points : ("nose", "tail") or ("point",). pixel : (n, points, 2), NaN where not seen. error : px, (n,). notes : what was found.
    """

    number: np.ndarray
    time: np.ndarray
    points: tuple[str, ...]
    pixel: np.ndarray
    error: np.ndarray
    notes: tuple[str, ...]


def frames_in(given: Any, camera: xr.Dataset, pixel_error: float, who: str) -> Frames:
    """Return what was read off the frames, in the order of time.

    given : path of a CSV, a Dataset, or {"frame": [...], "nose_x": [...], ...}. pixel_error : px, where the table has no `error`.

    Raises ValueError or MissionError, in one sentence, for what is no such table, for times that cannot be told, and for two lines of one frame.
    """
    columns, where = _columns(given, who)
    points = _points(columns, where)
    names = BOTH if len(points) == 2 else ONE
    pixel = np.stack([columns[name] for name in names], axis=1).reshape(-1, len(points), 2)
    pixel = np.where(np.isfinite(pixel).all(axis=2, keepdims=True), pixel, np.nan)
    number, time = _times(columns, camera, where)
    error = np.where(np.isfinite(columns["error"]), columns["error"], pixel_error) if "error" in columns else np.full(time.size, float(pixel_error))
    if not (error > 0.0).all():
        raise ValueError(f"{where}: column error: {float(error.min()):g} px must be above 0; write the standard deviation of one reading")
    seen = np.isfinite(pixel).all(axis=2).any(axis=1) & np.isfinite(time)
    if np.count_nonzero(seen) < 2:
        raise ValueError(f"{where}: {np.count_nonzero(seen)} frame was read; two or more are needed" if seen.any() else f"{where}: no frame was read")
    whole = int(np.count_nonzero(np.isfinite(pixel).all(axis=(1, 2)) & seen))
    if whole < 2:
        raise ValueError(f"{where}: nose and tail are both read in {whole} of the frames; two or more are needed, or give x, y of a single point")
    order = np.argsort(time[seen], kind="stable")
    number, time, pixel, error = (values[seen][order] for values in (number, time, pixel, error))
    if (np.diff(time) <= 0.0).any():
        k = int(np.argmin(np.diff(time)))
        raise ValueError(f"{where}: two lines are of the same moment, {time[k]:.3f} s after liftoff; write a line a frame")
    return Frames(number, time, points, pixel, error, tuple(_leaps(number, time, pixel)))


def _points(columns: Mapping[str, np.ndarray], where: str) -> tuple[str, ...]:
    if set(BOTH) <= set(columns) and np.isfinite(columns["nose_x"]).any() and np.isfinite(columns["tail_x"]).any():
        return ("nose", "tail")
    if set(ONE) <= set(columns):
        return ("point",)
    missing = [name for name in BOTH if name not in columns] if set(BOTH) & set(columns) else list(BOTH)
    if not missing:
        raise ValueError(f"{where}: nose and tail are never both read; give x, y for a single point")
    raise ValueError(f"{where}: there is no column {missing[0]}; write a first line such as {EXAMPLE}, or frame, x, y for one point")


def _times(columns: Mapping[str, np.ndarray], camera: xr.Dataset, where: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the numbers of frames and their times since liftoff."""
    if "time" in columns:
        return columns.get("frame", np.full(columns["time"].size, np.nan)), columns["time"]
    if "frame" not in columns:
        raise ValueError(f"{where}: there is no column frame, nor time; write a first line such as {EXAMPLE}")
    rate, start = (float(camera.attrs[name]) for name in ("frame_rate", "liftoff_frame"))
    if not (math.isfinite(rate) and math.isfinite(start)):
        raise ValueError(f"{where}: frames are by number, and the camera has no frame_rate or no liftoff_frame; give both to camera, or a column time (s)")
    return columns["frame"], frame_times(columns["frame"], camera)


def frame_times(number: np.ndarray, camera: xr.Dataset) -> np.ndarray:
    """Return the times of frames, s since liftoff: those that are missing in the file count too."""
    lost = {int(frame): int(count) for frame, count in json.loads(camera.attrs["dropped"]).items()}
    start = float(camera.attrs["liftoff_frame"])

    def counted(values: np.ndarray) -> np.ndarray:
        return values + sum(count * (values > frame) for frame, count in lost.items())

    return (counted(np.asarray(number, dtype=float)) - float(counted(np.array(start)))) / float(camera.attrs["frame_rate"])


def _leaps(number: np.ndarray, time: np.ndarray, pixel: np.ndarray):
    """Yield where the body moves further from one frame to the next than before and after: frames that may be missing in the file."""
    middle = np.nanmean(np.where(np.isfinite(pixel), pixel, np.nan), axis=1)
    if time.size < 4 or not np.isfinite(middle).all():
        return
    pace = np.linalg.norm(np.diff(middle, axis=0), axis=1) / np.diff(time)
    for k in range(1, pace.size - 1):
        usual = max(pace[k - 1], pace[k + 1])
        if pace[k] > LEAP * usual > 0.0 and min(pace[k - 1], pace[k + 1]) > 0.6 * usual and pace[k] * (time[k + 1] - time[k]) > 6.0:
            name = f"frame {number[k]:g}" if math.isfinite(number[k]) else f"{time[k]:.3f} s"
            missing = max(1, round(pace[k] / (0.5 * (pace[k - 1] + pace[k + 1])) - 1.0))
            yield (
                f"after {name} the body moves {pace[k] / (0.5 * (pace[k - 1] + pace[k + 1])):.1f} times as far as in the frames beside it: some "
                f"{missing} may be "
                f"missing there; if so say so by dropped={{{f'{number[k]:g}' if math.isfinite(number[k]) else 'FRAME'}: {missing}}}"
            )


# ---------------------------------------------------------------- the table


def _columns(given: Any, who: str) -> tuple[dict[str, np.ndarray], str]:
    """Return the known columns as arrays of one length, and what to call the table."""
    if isinstance(given, (str, Path)):
        return _read(Path(given)), str(given)
    if isinstance(given, xr.Dataset):
        found = {name: given[name].values for name in KNOWN if name in given.variables}
    elif isinstance(given, Mapping):
        unknown = [name for name in given if name not in KNOWN]
        if unknown:
            raise ValueError(f"{who}: frames: there is no column {shown(str(unknown[0]))}; the columns are {', '.join(KNOWN)}")
        found = dict(given)
    else:
        raise ValueError(f"{who}: frames must be the path of a CSV, a Dataset, or a table of columns, not {shown(given)}")
    try:
        columns = {name: np.atleast_1d(np.asarray(values, dtype=float)) for name, values in found.items()}
    except (TypeError, ValueError):
        raise ValueError(f"{who}: frames: a column holds what is no number") from None
    if not columns:
        raise ValueError(f"{who}: frames holds none of the columns {', '.join(KNOWN)}")
    sizes = {values.shape for values in columns.values()}
    if len(sizes) != 1 or len(next(iter(sizes))) != 1:
        raise ValueError(f"{who}: frames: its columns must be rows of numbers, all of one length")
    return columns, f"{who}: frames"


def _read(path: Path) -> dict[str, np.ndarray]:
    lines = [(k, text.strip()) for k, text in enumerate(read_text(path).split("\n"), start=1) if text.strip() and not text.strip().startswith("#")]
    if len(lines) < 2:
        raise ValueError(f"{path}: holds no frames; write a first line such as {EXAMPLE}, then a line a frame")
    if len(lines) > MOST:
        raise ValueError(f"{path}: holds {len(lines)} lines, more than the {MOST} frames that are read; check which file it is")
    mark = next((mark for mark in ";\t," if mark in lines[0][1]), ",")
    head = [_heading(cell, path) for cell in next(csv.reader([lines[0][1]], delimiter=mark))]
    names = [name for name, _ in head]
    for name in KNOWN:
        if names.count(name) > 1:
            raise ValueError(f"{path}: the column {name} is there {names.count(name)} times; leave it once")
    columns: dict[str, list[float]] = {name: [] for name in names if name in KNOWN}
    for line, text in lines[1:]:
        cells = next(csv.reader([text], delimiter=mark))
        for k, (name, factor) in enumerate(head):
            if name in columns:
                columns[name].append(_number(cells[k] if k < len(cells) else "", f"{path}: line {line}: column {name}") * factor)
    return {name: np.array(values) for name, values in columns.items()}


def _heading(cell: str, path: Path) -> tuple[str, float]:
    """Return the name of a column and what makes its numbers s or px."""
    found = re.fullmatch(r"\s*([^(\[]*?)\s*(?:[(\[]([^)\]]*)[)\]])?\s*", cell)
    name, unit = (found[1].lower().replace(" ", "_"), (found[2] or "").strip()) if found else (cell, "")
    if name != "time" or unit in ("", "s"):
        return name, 1.0
    try:
        return name, converter(unit, "s")(1.0)
    except QuantityError as error:
        raise ValueError(f"{path}: column time: unit {shown(unit)} {error.message}; {error.hint}") from None


def _number(cell: str, where: str) -> float:
    if cell.strip() in ("", "-"):
        return math.nan
    try:
        value = float(cell)
    except ValueError:
        raise ValueError(f"{where}: {shown(cell.strip())} is not a number; leave a cell empty where nothing was seen") from None
    if math.isinf(value) or abs(value) > 1e7:
        raise ValueError(f"{where}: {cell.strip()} is no pixel, frame or time; check the number")
    return value
