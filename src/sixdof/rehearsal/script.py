"""What a rehearsed flight computer senses: columns made by hand or a recording, brought to its ticks."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.core.algebra import launch_frame
from sixdof.core.computer.rehearsal import OWN_WIRES
from sixdof.core.constants import G0
from sixdof.core.layout import SENSED
from sixdof.core.leg.drawing import rail_attitude
from sixdof.mission.errors import Fault, MissionError, suggestion
from sixdof.mission.files.table_csv import read_columns, read_text
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results.dataset import open_result
from sixdof.results.registry import READING_UNITS
from sixdof.results.retired import now_called

_FRAME = ("frame_w", "frame_x", "frame_y", "frame_z")
_ATTITUDE = ("q_w", "q_x", "q_y", "q_z")
_PLACE, _VELOCITY = ("east", "north", "height"), ("velocity_east", "velocity_north", "velocity_up")
# what the computer computes by itself: a script may hold it, but it is not read
OWN = (
    "time_since_liftoff",
    "dynamic_pressure",
    "mach",
    *_FRAME,
    "commanded_w",
    "commanded_x",
    "commanded_y",
    "commanded_z",
    "commanded_rate_x",
    "commanded_rate_y",
    "commanded_rate_z",
    "period",
    "enabled",
    "saturated",
    "mode",
    "waypoint",
)
READ = tuple(name for name in SENSED if name not in OWN)
# between two rows of a script these stay at the earlier one
HELD = ("booster", *(name for name in SENSED if name.startswith("fix_")))
SOON = 1e-9  # s: rounding of sums of times


SCRIPT = "script"  # Script.source of what is not a file
FLIGHT = ""  # Script.of: a result of `sixdof.fly`


def unit_of(name: str) -> str:
    """Return the unit of a reading."""
    return READING_UNITS[SENSED.index(name)]


class Script(NamedTuple):
    """A script as it was given, checked.

    columns : SI, by name. source : what to call it in a fault. of : whose computer sensed it where it is a recording: the name
    of a stage, FLIGHT for a result of `sixdof.fly`; None where it was made by hand.
    """

    columns: dict[str, np.ndarray]
    source: str
    of: str | None = None

    @property
    def origin(self) -> str:
        """Return where it came from, in words."""
        if self.source != SCRIPT:
            return self.source
        return "columns given in Python" if self.of is None else "a result of sixdof.fly" if self.of == FLIGHT else "a rehearsal"


# ---------------------------------------------------------------- reading what the user gave


def read_script(script) -> Script:
    """Return a script, read and checked; see `sixdof.rehearse` for what it may be.

    Raises
    ------
    ValueError, MissionError
        For what cannot be read, a column of unknown name, no column `time`, times that do not rise, a value that is not a finite
        number: one sentence each.
    """
    source, of = SCRIPT, None
    if isinstance(script, (str, Path)):
        source = str(script)
        if Path(script).suffix.lower() == ".nc":
            script = _opened(script)
    if isinstance(script, (str, Path)):
        columns = _from_csv(script)
    elif isinstance(script, xr.Dataset):
        columns = _from_dataset(script, source)
        of = str(script.attrs.get("stage", FLIGHT)) if "sensed" in script else None
    elif isinstance(script, Mapping) or hasattr(type(script), "keys"):  # a pandas table has keys
        columns = {name: script[name] for name in list(script.keys())}
    else:
        raise ValueError(f"script must be a table of columns, a Dataset, or the path of a CSV or netCDF file, not {type(script).__name__}")
    columns = {name: _numbers(name, values, source) for name, values in columns.items() if _known(name, source)}
    return checked_script(Script(columns, source, of))


def checked_script(script: Script) -> Script:
    """Return a script. Raises ValueError for the first thing that is wrong with its columns."""
    _check(script.columns, script.source)
    return script


def _opened(path: str | Path) -> xr.Dataset:
    if not Path(path).is_file():
        raise ValueError(f"{path}: there is no such file; check the name and the folder")
    try:
        return open_result(path)
    except (OSError, ValueError):
        raise ValueError(f"{path}: this is not a netCDF file; give a result of sixdof.fly, or a CSV file") from None


def _known(name, source: str) -> bool:
    """Return whether a column is to be read; raise for a name that a sensed array does not have."""
    if not isinstance(name, str) or name not in SENSED:
        raise ValueError(f"{source}: {'; '.join(_unknown(name))}")
    return name in READ


def _unknown(name) -> tuple[str, str]:
    """Return what is wrong with the name of a column, and the hint."""
    return f"{shown(name)} is nothing a flight computer senses", now_called(name) or suggestion(name, READ, "columns")


def _numbers(name: str, values, source: str) -> np.ndarray:
    try:
        column = np.array(values, dtype=float)
    except (TypeError, ValueError, OverflowError):
        raise ValueError(f"{source}: {name} holds something that is not a number; give numbers in SI units") from None
    if column.ndim != 1:
        raise ValueError(f"{source}: {name} has {column.ndim} dimensions; give one value per row")
    return column


def _from_dataset(ds: xr.Dataset, source: str) -> dict[str, np.ndarray]:
    """Return the columns of a Dataset: its variable `sensed` (time, reading), or else variables named like readings."""
    if "flight" in ds.dims:
        hint = "fly one of its flights again with sixdof.fly(mission, flight=number, seed=seed)"
        raise ValueError(f"{source}: this is an ensemble; {hint}")
    if "sensed" not in ds:
        return {str(name): v.values for name, v in ds.variables.items()}
    if {"time", "reading"} != set(ds["sensed"].dims) or not {"time", "reading"} <= set(ds.coords):
        raise ValueError(f"{source}: its variable sensed must go along (time, reading), with both as coordinates, as sixdof.fly returns it")
    values = ds["sensed"].transpose("time", "reading").values
    columns = {str(name): values[:, i] for i, name in enumerate(ds["reading"].values)}
    return columns | {"time": ds["time"].values}


def _from_csv(path: str | Path) -> dict[str, np.ndarray]:
    """Return the columns of a CSV file with a header of names and units (see `mission.table_csv`)."""
    lines = ((number, line.partition("#")[0].strip()) for number, line in enumerate(read_text(path).split("\n"), start=1))
    number, header = next(((number, line) for number, line in lines if line), (None, ""))
    names = _names_in(header)
    if any(re.fullmatch(r"[-+.\d].*", name) for name in names):
        hint = "name each column in the first line, with its unit: time (s), height (m)"
        raise MissionError([Fault(str(path), "", None, "the columns have no names", hint, f"line {number}")])
    unknown = [name for name in names if name not in SENSED]
    if unknown:
        raise MissionError(Fault(str(path), "", None, *_unknown(name), f"line {number}") for name in unknown)
    wanted = [(name, unit_of(name)) for name in dict.fromkeys(["time", *names]) if name in READ]
    return {name: np.array(values) for (name, _), values in zip(wanted, read_columns(path, wanted), strict=True)}


def _names_in(header: str) -> list[str]:
    """Return the names in a header without their units."""
    bare = re.sub(r"\([^)]*\)|\[[^\]]*\]", " ", header)
    mark = next((mark for mark in ";\t," if mark in bare), None)
    cells = (cell.strip().strip('"').strip().lower() for cell in bare.split(mark))
    return [re.sub(r"\s+", "_", cell) for cell in cells if cell]


def _check(columns: dict[str, np.ndarray], source: str) -> None:
    """Raise ValueError for the first thing that is wrong with the columns of a script."""
    if "time" not in columns:
        raise ValueError(f"{source}: there is no column time; give the seconds since ignition of every row")
    time = columns["time"]
    if len(time) < 2:
        raise ValueError(f"{source}: there are {len(time)} rows, and it takes two or more")
    for name, values in columns.items():
        if len(values) != len(time):
            raise ValueError(f"{source}: {name} has {len(values)} values and time has {len(time)}; give one of each a row")
        bad = np.flatnonzero(~np.isfinite(values))
        if bad.size:
            where = f"at {time[bad[0]]:g} s" if name != "time" else f"in row {bad[0] + 1}"
            raise ValueError(f"{source}: {name} is {values[bad[0]]:g} {where}; leave such rows out, or fill them in")
    back = np.flatnonzero(np.diff(time) <= 0.0)
    if back.size:
        i = int(back[0])
        raise ValueError(f"{source}: time goes from {time[i]:g} s to {time[i + 1]:g} s in row {i + 2}; it must rise with every row")
    if time[0] < 0.0:
        raise ValueError(f"{source}: time begins at {time[0]:g} s; it counts from ignition, so leave what is earlier out")
    wires = columns.get("booster", np.zeros(1))
    if not ((wires == np.round(wires)) & (wires >= OWN_WIRES)).all():
        raise ValueError(f"{source}: booster must be the number of stages attached behind, 0 (gone) or -1 (as commanded) in every row")
    _check_attitude(columns, source)


def _check_attitude(columns: dict[str, np.ndarray], source: str) -> None:
    given = [name for name in _ATTITUDE if name in columns]
    if 0 < len(given) < 4:
        missing = next(name for name in _ATTITUDE if name not in columns)
        raise ValueError(f"{source}: there is no column {missing}; an attitude takes {', '.join(_ATTITUDE)}, or none of them")
    if given:
        length = np.linalg.norm([columns[name] for name in _ATTITUDE], axis=0)
        if (length < 0.5).any():  # a quaternion is of length 1; half of it is not a rounding error
            time = columns["time"][int(np.argmin(length))]
            raise ValueError(f"{source}: the quaternion q_w .. q_z at {time:g} s has the length {length.min():g}, and it must be 1")


# ---------------------------------------------------------------- on the computer's ticks


def on_ticks(mission: Mission, script: Script) -> np.ndarray:
    """Return the rows (ticks, SENSED) of a script on the ticks k/autopilot.rate within its times, what it omits filled in.

    Raises
    ------
    ValueError
        If it holds less than two ticks or ends after solver.time_limit.
    """
    columns, source, _ = script
    given, period = columns["time"], 1.0 / mission.autopilot.rate
    if given[-1] > mission.solver.time_limit:
        limit = f"solver.time_limit = {mission.solver.time_limit:g} s"
        raise ValueError(f"{source}: time goes on to {given[-1]:g} s, after {limit}; end it earlier, or raise the limit")
    first, last = math.ceil((given[0] - SOON) / period), math.floor((given[-1] + SOON) / period)
    if last <= first:
        length = f"{given[-1] - given[0]:g} s"
        raise ValueError(f"{source}: it lasts {length}, less than two ticks of the flight computer, {period:g} s each")
    time = np.arange(first, last + 1) * period
    before = np.searchsorted(given, time + SOON, side="right") - 1
    known = {name: values[before] if name in HELD else np.interp(time, given, values) for name, values in columns.items()}
    if "q_w" in columns:
        known |= dict(zip(_ATTITUDE, _turning(time, given, np.stack([columns[name] for name in _ATTITUDE]))))
    known["time"] = time
    _fill(known, mission)
    rows = np.zeros((len(time), len(SENSED)))
    for name, values in known.items():
        rows[:, SENSED.index(name)] = values
    rows[:, [SENSED.index(name) for name in _FRAME]] = launch_frame(mission.rail.azimuth)
    return rows


def _turning(time: np.ndarray, given: np.ndarray, q: np.ndarray) -> np.ndarray:
    """Return quaternions (4, ticks) between those given (4, rows): q and -q are one attitude, so signs are made to follow on."""
    flips = np.where((q[:, 1:] * q[:, :-1]).sum(axis=0) < 0.0, -1.0, 1.0)
    q = q * np.append(1.0, np.cumprod(flips))
    between = np.stack([np.interp(time, given, part) for part in q])
    return between / np.linalg.norm(between, axis=0)


def _fill(known: dict[str, np.ndarray], mission: Mission) -> None:
    """Fill in what a script omits: from what it holds, or else what a vehicle at rest on the rail senses."""
    time = known["time"]
    if "height" not in known:
        if "baro_height" in known:
            known["height"] = known["baro_height"]
        elif "velocity_up" in known:
            mean = 0.5 * (known["velocity_up"][1:] + known["velocity_up"][:-1])
            known["height"] = np.append(0.0, np.cumsum(mean * np.diff(time)))
    rest = dict(zip(_ATTITUDE, rail_attitude(mission.rail.elevation, mission.rail.azimuth)))
    level, up = math.cos(mission.rail.elevation), math.sin(mission.rail.elevation)
    # leaning by `level` the vehicle's z axis, which faces downrange, points below the horizon
    rest |= {"specific_force_x": G0 * up, "specific_force_z": -G0 * level, "booster": OWN_WIRES}
    for name in _PLACE:
        known.setdefault(name, np.zeros_like(time))
    for name, place in zip(_VELOCITY, _PLACE):
        if name not in known:
            known[name] = np.gradient(known[place], time)
    known.setdefault("baro_height", known["height"])
    for name in (*_PLACE, *_VELOCITY):
        known.setdefault(f"fix_{name}", known[name])
    for name in READ:
        known.setdefault(name, np.full_like(time, rest.get(name, 0.0)))
