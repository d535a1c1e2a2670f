"""The files of numbers that a mission names: found, read, and their numbers put in the place of their paths."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

from sixdof.mission.disperse import with_flat_names
from sixdof.mission.errors import Fault, MissionError, nearest_word
from sixdof.mission.files import curves
from sixdof.mission.files.incoming import FileFault, check_ordinary
from sixdof.mission.files.level_files import read_members, read_sounding
from sixdof.mission.files.sample_files import read_values
from sixdof.mission.files.table_csv import read_columns
from sixdof.mission.former import rename
from sixdof.mission.place import key_of, place_of
from sixdof.mission.placing import placed
from sixdof.mission.tables.spread import Spread

DEEPEST = 30  # levels of tables and lists; a mission has seven


def with_numbers(data: dict[str, Any], folder: Path | None, file: str) -> tuple[dict[str, Any], list[Fault]]:
    """Return the tables with every path of a file of numbers replaced by its numbers, and the faults of those files."""
    try:
        tables, faults = _copied(data), []
    except _TooDeep:
        hint = f"a mission has {DEEPEST} levels of tables at most"
        raise MissionError([Fault(file, "", None, "are too deeply nested", hint, "the tables")]) from None
    if "disperse" in tables:
        tables["disperse"] = with_flat_names(tables["disperse"])
    found = rename(tables, file)
    if folder is not None:  # a result keeps the words it was written with
        found.warn()
    faults += found.faults + placed(tables, file) + _read_spreads(tables, folder, file)
    for loc, source in _curve_places(tables):
        node = tables
        for step in loc[:-1]:
            node = node[step]
        try:
            node[loc[-1]] = source.read(_found(tables, loc, node[loc[-1]], folder, file))
        except MissionError as error:
            faults += [replace(fault, key=key_of(loc)) for fault in error.faults]
            node[loc[-1]] = source.stand_in  # so that other checks still run
    return tables, faults


def _read_spreads(tables: dict[str, Any], folder: Path | None, file: str) -> list[Fault]:
    """Put the numbers of files into the empirical spreads of `tables`, and return the faults of those files."""
    faults: list[Fault] = []
    spreads = tables.get("disperse")
    if not isinstance(spreads, dict):
        return faults
    for name, spread in spreads.items():
        written = spread.model_dump(exclude_unset=True) if isinstance(spread, Spread) else spread
        if not isinstance(written, dict) or not all(written.get(key) and isinstance(written[key], str) for key in ("data", "column")):
            continue  # what is missing is a fault of the table's own
        loc = ("disperse", name, "data")
        try:
            values, unit = read_values(_found(tables, loc, written["data"], folder, file), written["column"])
        except MissionError as error:
            faults += [replace(fault, key=key_of(loc)) for fault in error.faults]
            continue
        rest = {key: entry for key, entry in written.items() if key not in ("data", "column")}
        spreads[name] = {"values": values, "unit": unit, **rest}
    return faults


class _Source(NamedTuple):
    """How a kind of file is read, and what stands in the place of a broken one."""

    read: Callable[[Path], Any]
    stand_in: Any


def _curve(curve: curves.Curve) -> _Source:
    stand_in = ((0.0, 1.0), (1.0, 1.0), (0.0, 0.0))[: len(curve.columns)]  # rising, positive, on any panel
    return _Source(lambda path: _tables_of(curve, read_columns(path, curve.columns, curve.flaws)), _tables_of(curve, stand_in))


_HIGH = {"altitude": [0.0, 1e5]}  # above any site
_SOUNDING = _Source(read_sounding, {**_HIGH, "temperature": [288.0, 288.0]})
_MEMBERS = _Source(read_members, [{**_HIGH, "east": [1.0, 1.0], "north": [0.0, 0.0]}])


class _TooDeep(Exception):
    """Tables within tables without an end: a damaged file, or a dictionary that holds itself."""


def _copied(node: Any, levels: int = DEEPEST) -> Any:
    """Return a copy of dictionaries and lists, so that the caller's own stay as they are."""
    if levels < 0:
        raise _TooDeep
    if isinstance(node, dict):
        return {key: _copied(value, levels - 1) for key, value in node.items()}
    return [_copied(value, levels - 1) for value in node] if isinstance(node, (list, tuple)) else node


_OF_FINS = {"panel_curve": curves.PANEL, "roll_damping_curve": curves.ROLL_DAMPING, "roll_forcing_curve": curves.ROLL_FORCING}


def _curve_places(tables: dict[str, Any]):
    """Return (path, source) of every key that may hold the path of a file of numbers and does hold text."""
    places = [(("air", "wind", "table"), curves.WIND)]
    motors, stages = tables.get("motor"), tables.get("stage")
    places += [(("motor", name, "thrust_curve"), curves.THRUST) for name in motors] if isinstance(motors, dict) else []
    for i in range(len(stages) if isinstance(stages, list) else 0):
        places += [(("stage", i, "measured", key), curves.DRAG) for key in ("drag_curve", "drag_curve_powered")]
        places.append((("stage", i, "measured", "body_curve"), curves.BODY))
        places.append((("stage", i, "measured", "axial_curve"), curves.AXIAL))
        parts = _written(tables, ("stage", i, "part"))
        count = len(parts) if isinstance(parts, list) else 0
        places += [(("stage", i, "part", j, key), curve) for j in range(count) for key, curve in _OF_FINS.items()]
    found = [(loc, _curve(curve)) for loc, curve in places]
    found += [(("air", "sounding"), _SOUNDING), (("air", "wind", "member"), _MEMBERS)]
    return [(loc, source) for loc, source in found if isinstance(_written(tables, loc), str)]


def _written(node: Any, loc: tuple) -> Any:
    for step in loc:
        if isinstance(node, dict):
            node = node.get(step)
        elif isinstance(node, list) and isinstance(step, int):
            node = node[step]
        else:
            return None
    return node


def _tables_of(curve: curves.Curve, columns) -> Any:
    if curve is curves.WIND:
        return [list(row) for row in zip(*columns)]
    return {name: values for (name, _), values in zip(curve.columns, columns)}


def _found(tables, loc: tuple, written: str, folder: Path | None, file: str) -> Path:
    """Return the path of a file that a mission names. Raises MissionError if it is not there, or none may be named."""
    if folder is None:
        hint = "a result holds the numbers of its files, not their names"
        raise MissionError([Fault(file, key_of(loc), written, "names a file, and none is read from here", hint, place_of(tables, loc))])
    path = folder / written
    if not _is_file(path):
        raise MissionError([_no_file(tables, loc, written, folder, file)])
    try:
        check_ordinary(path)
    except FileFault as fault:
        raise MissionError([Fault(str(path), key_of(loc), None, fault.message, fault.hint)]) from None
    return path


def _is_file(path: Path) -> bool:
    try:
        return path.exists()
    except (OSError, ValueError):  # a name too long, or with a zero byte
        return False


def _no_file(tables, loc: tuple, written: str, folder: Path, file: str) -> Fault:
    try:
        pattern = f"*{Path(written).suffix or '.csv'}"
        known = [found.relative_to(folder).as_posix() for found in (folder / written).parent.glob(pattern)]
    except (OSError, ValueError):
        known = []
    near = nearest_word(written, known)
    hint = f'did you mean "{near}"?' if near else "paths count from the folder of the mission file"
    return Fault(file, key_of(loc), written, f'there is no file "{written}"', hint, place_of(tables, loc))
