"""From readings to newtons: points of a calibration and the straight line through them, with its error."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from sixdof.mission.files.table_csv import read_known
from sixdof.mission.units import QuantityError, parse, shown

BENT = 4.0  # times its errors squared, a mean beyond which points lie on no straight line


class Calibration(NamedTuple):
    """force = slope reading + offset. share : standard deviation of the slope over itself. points : (n, 3) reading, N, N. notes : what to know of it."""

    slope: float
    offset: float
    share: float
    points: np.ndarray
    notes: tuple[str, ...]


def calibration_of(given: Any, counts: bool) -> Calibration:
    """Return the calibration that `static_firing` was given.

    given : None (readings are N, their error not known), the standard deviation of the scale as a share ("0.5 %"), points
    [(reading, force), ...] or [(reading, force, error of the force), ...], or the path of a CSV with columns reading, force, error.
    counts : whether the log holds counts, which need points.

    Raises ValueError, or MissionError for a file, in one sentence.
    """
    none = np.empty((0, 3))
    if given is None or isinstance(given, float | int) or (isinstance(given, str) and "%" in given):
        if counts:
            raise ValueError("static_firing: the log holds counts; give a calibration of two points or more: [(reading, force, error), ...]")
        if given is None:
            return Calibration(1.0, 0.0, 0.0, none, ("no calibration is given: the readings are taken as N without an error of their scale",))
        return Calibration(1.0, 0.0, _share(given), none, ())
    points = _from_file(given) if isinstance(given, str | Path) else _points(given)
    return _line(points)


def _share(given: Any) -> float:
    try:
        found = parse(given, "1")
    except QuantityError as error:
        raise ValueError(f"static_firing: calibration: {error}") from None
    if not 0.0 <= found < 0.5:
        raise ValueError(f'static_firing: calibration: {shown(given)} is no error of a scale; write, for example, "0.5 %", or points')
    return found


def _from_file(path: str | Path) -> np.ndarray:
    known = {"reading": "1", "force": "N", "error": "N"}
    columns = read_known(path, known, {"reading": ("counts", "raw", "adc"), "force": ("load", "f"), "error": ("force_error", "sd")}).columns
    if "reading" not in columns or "force" not in columns:
        raise ValueError(f'{path}: a calibration needs the columns reading and force; write a first line such as "reading, force (N), error (N)"')
    rows = len(columns["reading"])
    return np.column_stack([columns["reading"], columns["force"], columns.get("error", np.zeros(rows))])


def _points(given: Any) -> np.ndarray:
    form = 'calibration must be points, [(reading, force, error), ...], such as [(8200, "0 N", "0.1 N"), (91500, "49 N", "0.1 N")]'
    if not isinstance(given, Sequence | np.ndarray) or not all(isinstance(one, Sequence | np.ndarray) and len(one) in (2, 3) for one in given):
        raise ValueError(f"static_firing: {form}, not {shown(given)}")
    try:
        return np.array([[float(one[0]), parse(_bare(one[1]), "N"), parse(_bare(one[2]), "N") if len(one) == 3 else 0.0] for one in given])
    except QuantityError as error:
        raise ValueError(f"static_firing: calibration: {error}") from None
    except (TypeError, ValueError):
        raise ValueError(f"static_firing: {form}") from None


def _bare(value: Any) -> Any:
    return float(value) if isinstance(value, np.generic) else value


def _line(points: np.ndarray) -> Calibration:
    """Return the straight line of least squares, weighted by the errors where all points have one."""
    reading, force, error = points.T if len(points) else np.empty((3, 0))
    if len(points) < 2 or np.ptp(reading) == 0.0:
        raise ValueError("static_firing: calibration: two different readings or more are needed, one without load and one near the largest thrust")
    if (error < 0.0).any() or not np.isfinite(points).all():
        raise ValueError("static_firing: calibration: an error is below zero, or a number is not finite")
    known = bool((error > 0.0).all())
    weight = 1.0 / error**2 if known else np.ones(len(points))
    middle = weight @ reading / weight.sum()
    spread = weight @ (reading - middle) ** 2
    slope = float(weight @ ((reading - middle) * force) / spread)
    offset = float(weight @ force / weight.sum() - slope * middle)
    if slope == 0.0:
        raise ValueError("static_firing: calibration: all forces are the same; load the cell to near the largest thrust")
    free, misfit = len(points) - 2, float(weight @ (force - slope * reading - offset) ** 2)
    notes = _said(free, known, misfit)
    scatter = misfit / free if free else 0.0
    variance = (max(scatter, 1.0) if known else scatter) / spread
    return Calibration(slope, offset, math.sqrt(variance) / abs(slope), points, tuple(notes))


def _said(free: int, known: bool, misfit: float) -> list[str]:
    if not free and not known:
        return ["two points of calibration without errors say nothing of their own error: it is left out"]
    if known and free and misfit / free > BENT:
        return [f"the points of the calibration miss their straight line by {math.sqrt(misfit / free):.1f} times their errors: the error is raised by that"]
    return []
