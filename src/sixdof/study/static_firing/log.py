"""Raw logs of a load cell: read, and made fit to be worked on. What was put right is said; what cannot be is one sentence."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np

from sixdof.mission.errors import MissionError
from sixdof.mission.files.table_csv import read_columns, read_known
from sixdof.mission.units import QuantityError, converter, shown

TIME_NAMES = ("t", "seconds")
FORCE_NAMES = ("thrust", "f", "load", "reading")
COUNT_NAMES = ("count", "raw", "adc")
LEAST_SAMPLES = 50
GAP = 3.5  # median steps: a longer one has lost samples
DISORDER = 5.0  # median steps: stamps out of order by no more are put in order, by more the logger began anew


class RawLog(NamedTuple):
    """A log in order. time : s, rising. reading : N, or counts where `counts`. step : s, the median. resolution : s, of the stamps, 0 if it cannot be told.

    gaps : (n, 2), the ends of stretches without samples, s. notes : what was put right.
    """

    name: str
    time: np.ndarray
    reading: np.ndarray
    counts: bool
    step: float
    resolution: float
    gaps: np.ndarray
    notes: tuple[str, ...]


def logs_of(logs: Any) -> dict[str, Any]:
    """Return name -> path or (time, reading) of what `static_firing` was given. Raises ValueError for anything else."""
    if isinstance(logs, str | Path):
        logs = [logs]
    if isinstance(logs, Mapping):
        found = {str(name): one for name, one in logs.items()}
    elif isinstance(logs, Sequence) and logs and all(isinstance(one, str | Path) for one in logs):
        found = {Path(one).stem: one for one in logs}
        if len(found) < len(logs):
            raise ValueError("static_firing: two logs have the same name; give a dictionary of names and paths")
    else:
        raise ValueError(f'static_firing: logs must be a path, a list of paths, or {{"name": (time, reading)}}, not {shown(logs)}')
    if not found:
        raise ValueError("static_firing: there is no log")
    return found


def read_log(name: str, given: Any, units: Sequence[str] | None) -> RawLog:
    """Return one log in order. given : path of a CSV, or (time, reading). units : of time and reading where no header says them, ("ms", "lbf").

    Raises ValueError, or MissionError for a file, in one sentence, for what is no log.
    """
    if isinstance(given, str | Path):
        time, reading, counts = _read(given, units)
    else:
        time, reading, counts = _arrays(name, given, units)
    return ordered(name, time, reading, counts)


def _read(path: str | Path, units: Sequence[str] | None) -> tuple[np.ndarray, np.ndarray, bool]:
    of_time, of_reading, counts = _units(units)
    names = {"time": TIME_NAMES, "force": FORCE_NAMES, "counts": COUNT_NAMES}
    try:
        found = read_known(path, {"time": of_time, "force": "N" if counts else of_reading, "counts": "1"}, names).columns
    except MissionError as error:
        if "the header names no known column" not in str(error):
            raise
        time, reading = read_columns(path, (("time", of_time), ("force", "1" if counts else of_reading)))  # no header
        return _si(time, of_time, "s"), np.array(reading) if counts else _si(reading, of_reading, "N"), counts
    if "time" not in found or len(found) < 2:
        raise ValueError(f'{path}: a log needs the columns time and force (or counts); write a first line such as "time (ms), force (N)"')
    if counts and "counts" not in found:
        raise ValueError(f"{path}: units says counts, and the header names a force; write counts in the header")
    if counts or "force" not in found:
        return _si(found["time"], of_time, "s"), np.array(found["counts"]), True
    return _si(found["time"], of_time, "s"), _si(found["force"], of_reading, "N"), False


def _units(units: Sequence[str] | None) -> tuple[str, str, bool]:
    if units is None:
        return "s", "N", False
    if isinstance(units, str) or len(units) != 2 or not all(isinstance(one, str) for one in units):
        raise ValueError('static_firing: units must be two words, of time and of the reading, such as ("ms", "lbf") or ("s", "counts")')
    for word, unit, example in ((units[0], "s", "ms"), *([] if units[1] == "counts" else [(units[1], "N", "lbf")])):
        try:
            converter(word, unit)
        except QuantityError as error:
            raise ValueError(f'static_firing: units: "{word}" {error.message}; write, for example, "{example}"') from None
    return units[0], units[1], units[1] == "counts"


def _si(values: Sequence[float], written: str, unit: str) -> np.ndarray:
    """Return values in the SI unit; a unit with a zero of its own converts number by number."""
    if written == unit:
        return np.array(values, dtype=float)
    convert = converter(written, unit)
    return np.array([convert(float(one)) for one in values])


def _arrays(name: str, given: Any, units: Sequence[str] | None) -> tuple[np.ndarray, np.ndarray, bool]:
    try:
        time, reading = (np.array(one, dtype=float) for one in given)
    except (TypeError, ValueError):
        raise ValueError(f"static_firing: log {name}: give a path, or two lists of numbers, times and readings") from None
    if time.ndim != 1 or time.shape != reading.shape:
        raise ValueError(f"static_firing: log {name}: {time.size} times and {reading.size} readings; each reading needs its time")
    if not (np.isfinite(time).all() and np.isfinite(reading).all()):
        raise ValueError(f"static_firing: log {name}: a time or a reading is not a finite number; leave such samples out")
    of_time, of_reading, counts = _units(units)
    return _si(time, of_time, "s"), reading if counts else _si(reading, of_reading, "N"), counts


def ordered(name: str, time: np.ndarray, reading: np.ndarray, counts: bool) -> RawLog:
    """Return a log with rising times: stamps out of order sorted, equal ones averaged, gaps told."""
    if time.size < LEAST_SAMPLES:
        raise ValueError(f"static_firing: log {name}: {time.size} samples are too few; a log needs {LEAST_SAMPLES} or more, before, during and after the burn")
    notes, resolution = [], _resolution(time)
    steps = np.diff(time)
    if not (steps > 0.0).any():
        raise ValueError(f"static_firing: log {name}: its times do not rise; is the first column the time?")
    usual = float(np.median(steps[steps > 0.0]))
    if back := int((steps < 0.0).sum()):
        worst = int(np.argmin(steps))
        if -steps[worst] > DISORDER * usual:
            raise ValueError(
                f"static_firing: log {name}: the time falls from {time[worst]:.4g} s to {time[worst + 1]:.4g} s at sample {worst + 2}; cut it there"
            )
        order = np.argsort(time, kind="stable")
        time, reading = time[order], reading[order]
        notes.append(f"{back} samples stood out of order and were put in order")
    time, reading, twice = _averaged(time, reading)
    if twice:
        notes.append(f"{twice} samples had the time of another and were averaged with it")
    step = float(np.median(np.diff(time)))
    long = np.flatnonzero(np.diff(time) > GAP * step)
    gaps = np.column_stack([time[long], time[long + 1]])
    if long.size:
        lost = float((gaps[:, 1] - gaps[:, 0]).sum())
        notes.append(f"{long.size} gap{'s' if long.size > 1 else ''} without samples, {1e3 * lost:.0f} ms together, bridged by straight lines")
    return RawLog(name, time, reading, counts, step, resolution, gaps, tuple(notes))


def _averaged(time: np.ndarray, reading: np.ndarray) -> tuple[np.ndarray, np.ndarray, int]:
    unique, where, count = np.unique(time, return_inverse=True, return_counts=True)
    return unique, np.bincount(where, reading) / count, int(time.size - unique.size)


def _resolution(time: np.ndarray) -> float:
    """Return the decimal step that all stamps are multiples of, s, 0 for none: how coarsely they are written."""
    for digits in range(1, 7):
        if np.abs(time - np.round(time, digits)).max() < 1e-3 * 10.0**-digits:
            return 10.0**-digits
    return 0.0
