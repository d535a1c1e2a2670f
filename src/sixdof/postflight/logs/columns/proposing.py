"""A column map proposed from the header of a log: what its names and units most probably mean."""

from __future__ import annotations

import re
from typing import Any, NamedTuple

import numpy as np
import tomli_w

from sixdof.postflight.logs.columns.names import FINS, FLAGS, KNOWN
from sixdof.postflight.logs.columns.table_file import RawTable, bare_name, raw_table
from sixdof.postflight.logs.columns.units import is_unit


class Taken(NamedTuple):
    """What one column was taken for. what : a reading, its part in brackets, or clock, counter. why : in words."""

    heading: str
    what: str
    unit: str
    why: str


class ColumnMap(dict):
    """A column map as tables (a dictionary, to be changed as you like); printed it is the TOML file. taken, left : what was made of each column."""

    def __init__(self, tables: dict[str, Any], taken: tuple[Taken, ...] = (), left: tuple[str, ...] = (), source: str = ""):
        super().__init__(tables)
        self.taken, self.left, self.source = taken, left, source

    def __str__(self) -> str:
        return tomli_w.dumps(self)


_X, _Y, _Z = r"[_ ]?x", r"[_ ]?y", r"[_ ]?z"
_FORCE, _GYRO, _MAG = (
    r"(a|acc|accel|acceleration|specific[_ ]force|imu[_ ]?a)",
    r"(g|w|gyro|gyr|rate|body[_ ]rate|omega|imu[_ ]?g)",
    r"(m|mag|magnetic[_ ]field|field)",
)
_FIX = r"(gps|gnss|sat|fix|receiver)"
# what a name may mean, the more particular ones first: pattern of the whole name, reading, part
_NAMES: tuple[tuple[str, str, int], ...] = (
    *((_FORCE + axis, "specific_force", k) for k, axis in enumerate((_X, _Y, _Z))),
    *((_GYRO + axis, "body_rate", k) for k, axis in enumerate((_X, _Y, _Z))),
    *((_MAG + axis, "magnetic_field", k) for k, axis in enumerate((_X, _Y, _Z))),
    *((rf"{name}[_ ]rate", "body_rate", k) for k, name in enumerate(("roll", "pitch", "yaw"))),
    (r"(a|acc|accel|acceleration|axial[_ ]accel(eration)?)", "specific_force", 0),
    *((rf"(q|quat|quaternion|attitude)[_ ]?({part})", "attitude", k) for k, part in enumerate(("w|0", "x|1", "y|2", "z|3"))),
    *((rf"({_FIX}[_ ]?)?(v|vel|velocity|speed)[_ ]?{part}", "velocity", k) for k, part in enumerate(("e(ast)?", "n(orth)?", "u(p)?"))),
    (r"(climb([_ ]rate)?|vertical[_ ](speed|velocity)|v[_ ]?speed|velocity|vel|v|vz|baro[_ ](speed|velocity|vel))", "velocity", 2),
    (rf"({_FIX}[_ ]?)?lat(itude)?", "latitude", 0),
    (rf"({_FIX}[_ ]?)?(lon|lng|long|longitude)", "longitude", 0),
    (rf"{_FIX}[_ ]?(alt|altitude|height|elev|elevation)|(alt|altitude|height)[_ ]?(msl|asl)", "altitude", 0),
    (rf"({_FIX}[_ ]?)?east(ing)?", "east", 0),
    (rf"({_FIX}[_ ]?)?north(ing)?", "north", 0),
    (r"(p|press|pressure|baro([_ ]?(p|press|pressure))?|static[_ ]pressure|barometer)", "pressure", 0),
    (r"(baro|barometer|alt|altitude|height|h|agl|(baro[_ ])?(alt|altitude|height)([_ ]?(agl|baro))?)", "height", 0),
    (r"(temp|temperature|t[_ ]air|baro[_ ]temp(erature)?)", "temperature", 0),
    (r"tilt([_ ]angle)?", "tilt", 0),
    (r"roll([_ ]angle)?", "roll", 0),
    (r"air[_ ]?speed", "airspeed", 0),
    (r"mach([_ ]number)?", "mach", 0),
    (r"(flight[_ ])?(phase|state)", "phase", 0),
    (r"(guidance[_ ])?mode", "guidance_mode", 0),
)
_FIN = re.compile(r"(fin|servo)[_ ]?(cmd|command|commanded|angle)?[_ ]?([1-9])[_ ]?(cmd|command|commanded|angle)?")
_SECOND = re.compile(r"(rx|received|receive|gateway|host|ground)[_ ]?(time|clock|t|at)?")
_CLOCK = re.compile(r"(time|t|clock|timestamp|time[_ ]?stamp|elapsed([_ ]time)?|uptime|millis|micros|flight[_ ]time|ms|us|seconds|sec|date|datetime)")
_COUNTER = re.compile(r"(n|no|nr|count|counter|seq|sequence|packet|pkt|packet[_ ]?(no|nr|number|count|counter|id)|sample|frame|index)")
_UNIT_IN_CLOCK = {"millis": "ms", "ms": "ms", "micros": "us", "us": "us", "seconds": "s", "sec": "s"}


def column_map(log: Any) -> ColumnMap:
    """Return a column map proposed from the header of a log: names such as "baro (ft)", "ax_g" or "time [ms]" say what a column is and its unit.

    Look at it before you trust it: `sixdof.report` of it says what was taken for what, `print` of it is a TOML file to be changed: sensors' axes and
    places, limits, errors and the meaning of states are in no header.

    Parameters
    ----------
    log : path of a CSV or Parquet file, or a table of columns

    Returns
    -------
    ColumnMap
        A dictionary of the map's tables, for `read_log`.

    Raises
    ------
    TypeError, MissionError
        For what is no log.
    ValueError
        Where no column looks like a clock.

    Examples
    --------
    >>> proposed = sixdof.postflight.column_map({"time (ms)": [0.0, 20.0], "baro (ft)": [0.0, 1.0], "ax_g": [1.0, 1.0]})
    >>> proposed["read"]["height"]
    {'column': 'baro (ft)', 'unit': 'ft'}
    """
    raw = log if isinstance(log, RawTable) else raw_table(log, "column_map")
    parts: dict[str, dict[int, tuple[str, str]]] = {}
    tables: dict[str, Any] = {}
    taken: list[Taken] = []
    for heading in raw.columns:
        found = _of_rows(raw, heading, tables)
        if found is None:
            found = _reading(raw, heading, parts)
        if found is not None:
            taken.append(found)
    if "clock" not in tables:
        raise ValueError(f"column_map: no column of {raw.source} looks like a clock (time, t, ms ...); the columns are {', '.join(list(raw.columns)[:12])}")
    read = {name: _table(name, found) for name, found in sorted(parts.items(), key=lambda one: list(KNOWN).index(one[0]))}
    known = {one.heading for one in taken}
    left = tuple(heading for heading in raw.columns if heading not in known)
    return ColumnMap(tables | {"read": read}, tuple(taken), left, raw.source)


def _of_rows(raw: RawTable, heading: str, tables: dict[str, Any]) -> Taken | None:
    """Take a column for a clock or the counter, the first of each."""
    name, unit = _name_and_unit(heading, "s")
    values = raw.columns[heading]
    number = values.dtype.kind == "f"
    if "second_clock" not in tables and _SECOND.fullmatch(name):
        unit, why = _clock_unit(name, unit, values)
        tables["second_clock"] = {"column": heading, "unit": unit}
        return Taken(heading, "second_clock", unit, why)
    if "clock" not in tables and _CLOCK.fullmatch(name):
        unit, why = _clock_unit(name, unit, values)
        tables["clock"] = {"column": heading, "unit": unit}
        return Taken(heading, "clock", unit, why)
    if "counter" not in tables and number and _COUNTER.fullmatch(bare_name(heading)[0].strip().lower()):
        tables["counter"] = {"column": heading}
        return Taken(heading, "counter", "", "by its name")
    return None


def _clock_unit(name: str, unit: str, values: np.ndarray) -> tuple[str, str]:
    """Return the unit of a clock and how it is known: its heading, its name, words, or the size of its steps."""
    if values.dtype.kind != "f":
        return "text", "by its name; its cells are words"
    if unit or name in _UNIT_IN_CLOCK:
        return unit or _UNIT_IN_CLOCK[name], "by its name and unit"
    steps = np.diff(values[np.isfinite(values)])
    steps = steps[steps > 0.0]
    whole = bool((values[np.isfinite(values)] % 1.0 == 0.0).all())
    usual = float(np.median(steps)) if steps.size else 1.0
    guess = "us" if whole and usual >= 1000.0 else "ms" if whole and usual >= 2.0 else "s"
    return guess, f"by its name; no unit in the header, steps of {usual:.3g} look like {guess}"


def _name_and_unit(heading: str, unit: str) -> tuple[str, str]:
    """Return the name in small letters and the unit of a heading, "" for none; "alt_ft" has one too."""
    name, written = bare_name(heading)
    name = name.strip().lower()
    if written and is_unit(written, unit):
        return name, written
    stem, _, last = name.replace(" ", "_").rpartition("_")
    if not written and stem and is_unit(last, unit):
        return stem, last
    return name, ""


def _reading(raw: RawTable, heading: str, parts: dict[str, dict[int, tuple[str, str]]]) -> Taken | None:
    """Take a column for a reading that is not taken yet; None where its name says nothing, or its unit is of something else."""
    written = bare_name(heading)[1]
    fin = _fin(heading)
    for pattern, what, part in [*([fin] if fin else []), *_NAMES]:
        unit = KNOWN[what].unit
        name, own = _name_and_unit(heading, "deg" if what in ("latitude", "longitude") else unit)
        if part in parts.get(what, {}) or not re.fullmatch(pattern, name):
            continue
        if written and not own and what not in ("magnetic_field", *FLAGS, "latitude", "longitude"):
            continue  # a unit of another dimension: "baro (hPa)" is no height
        if not _fits(raw.columns[heading], what):
            continue
        own = own or {"latitude": "deg", "longitude": "deg"}.get(what, "")
        parts.setdefault(what, {})[part] = heading, own
        several = KNOWN[what].parts > 1 or what in FINS
        label = f"{what} ({part + 1 if what in FINS or what == 'attitude' else _part_name(what, part)})" if several else what
        plain = "" if own or what in FLAGS or unit == "1" else f"; no unit in the header: taken as {unit}"
        return Taken(heading, label, own, f"by its name{' and unit' if written and own else ''}{plain}")
    return None


def _fits(values: np.ndarray, what: str) -> bool:
    """Tell whether a column's cells can be such a reading; states must be those of the timeline, for only the user knows what others mean."""
    if what not in FLAGS:
        return values.dtype.kind == "f"
    if values.dtype.kind == "f":
        known = values[np.isfinite(values)]
        return bool(known.size and (known % 1.0 == 0.0).all() and known.min() >= 0.0 and known.max() < len(FLAGS[what]))
    return {str(value).strip().lower() for value in values} - {""} <= set(FLAGS[what])


def _part_name(what: str, part: int) -> str:
    return ("east", "north", "up")[part] if what == "velocity" else "xyz"[part]


def _fin(heading: str) -> tuple[str, str, int] | None:
    name = _name_and_unit(heading, "rad")[0]
    found = _FIN.fullmatch(name)
    if found is None:
        return None
    commanded = any(word and word.startswith("c") for word in (found[2], found[4]))
    return re.escape(name), "fin_command" if commanded else "fin_angle", int(found[3]) - 1


def _table(name: str, found: dict[int, tuple[str, str]]) -> dict[str, Any]:
    """Return the table of a reading of a column map."""
    units = [unit for _, unit in found.values() if unit]
    unit = {"unit": units[0]} if units and name != "magnetic_field" else {}
    if name in FINS:
        return {"columns": [found[k][0] for k in sorted(found)]} | unit
    if KNOWN[name].parts == 1:
        return {"column": found[0][0]} | unit
    return {"columns": [found[k][0] if k in found else "" for k in range(KNOWN[name].parts)]} | unit
