"""Column maps: from a file, a dictionary or a proposal; every fault one sentence with file and key."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import ValidationError

from sixdof.mission.errors import Fault, MissionError, Problem, suggestion
from sixdof.mission.files.table_csv import read_text
from sixdof.mission.unit_names import NoProduct, UnknownUnit
from sixdof.mission.units import QuantityError, shown
from sixdof.postflight.logs.columns.names import FLAGS, KNOWN
from sixdof.postflight.logs.columns.tables import Clock, ColumnMapTables, Counter, Ground, Reading
from sixdof.postflight.logs.columns.units import amount, amount_of_error, spelled

_CLASSES = {"clock": Clock, "second_clock": Clock, "counter": Counter, "ground": Ground}
_EXAMPLE = '[clock] column = "t"  unit = "ms"; [read.height] column = "baro"  unit = "ft"'


def tables_of(source: Any, who: str = "read_log") -> ColumnMapTables:
    """Return a column map, checked. source : path of a TOML file, its tables as a dictionary, or a proposal of `column_map`.

    Raises
    ------
    TypeError
        For anything else.
    MissionError
        If the file cannot be read or has faults: one sentence each.
    """
    if isinstance(source, ColumnMapTables):
        return source
    if isinstance(source, Mapping):
        return _checked(dict(source), "")
    if not isinstance(source, (str, PathLike)):
        raise TypeError(f"{who}: columns must be the path of a column map (TOML), its tables as a dictionary, or what column_map proposes, not {shown(source)}")
    text, file = read_text(Path(source)), str(source)
    try:
        return _checked(tomllib.loads(text), file)
    except (tomllib.TOMLDecodeError, RecursionError) as error:
        message = f"is not valid TOML: {' '.join(str(error).split())}"
        raise MissionError([Fault(file, "", None, message, f"a column map is, for example, {_EXAMPLE}")]) from None


def _checked(tables: dict[str, Any], file: str) -> ColumnMapTables:
    try:
        found = ColumnMapTables.model_validate(tables)
    except ValidationError as error:
        raise MissionError([replace(one.at(tables), file=file or "the column map") for one in _problems(error)]) from None
    faults = [replace(one.at(tables), file=file or "the column map") for one in _of_units(found)]
    if faults:
        raise MissionError(faults)
    return found


def _problems(error: ValidationError) -> Iterator[Problem]:
    """Yield what pydantic found in the words of the file."""
    for item in error.errors(include_url=False):
        loc, kind, context = tuple(item["loc"]), item["type"], item.get("ctx", {})
        value = None if kind == "missing" else item.get("input")
        if kind == "problems":
            yield from (Problem(loc + one.loc, one.value, one.message, one.hint) for one in context["problems"])
        elif kind == "quantity":
            yield Problem(loc, value, context["message"], context["hint"])
        elif kind == "missing":
            yield Problem(loc, None, "missing", f"a column map is, for example, {_EXAMPLE}")
        elif kind == "extra_forbidden":
            yield Problem(loc, value, "unknown key", suggestion(str(loc[-1]), tuple(_owner(loc).model_fields), "valid keys"))
        elif kind == "literal_error":
            yield Problem(loc, value, f"{shown(value)} is not one of the choices", f"choices: {context['expected']}")
        else:
            yield Problem(loc, value, f"{shown(value)} is not what belongs there", f"a column map is, for example, {_EXAMPLE}")


def _owner(loc: tuple):
    return ColumnMapTables if len(loc) == 1 else Reading if loc[0] == "read" else _CLASSES.get(loc[0], ColumnMapTables)


def si_of(name: str, one: Reading) -> str:
    """Return the SI unit of a reading's columns: an attitude of three is angles."""
    return "rad" if name == "attitude" and len(one.columns) == 3 else KNOWN[name].unit


def error_of(name: str, one: Reading) -> float | None:
    """Return the standard deviation that a map states of a reading, SI; of latitude and longitude in metres. Raises QuantityError for anything else."""
    if one.error is None:
        return None
    if name not in ("latitude", "longitude"):
        return amount_of_error(one.error, si_of(name, one))
    return amount_of_error(one.error, "m")


def _of_units(table: ColumnMapTables) -> Iterator[Problem]:
    """Yield units, axes, limits, errors and states that cannot be."""
    for place, clock in (("clock", table.clock), ("second_clock", table.second_clock)):
        if clock is not None and clock.unit != "text":
            yield from _unit((place, "unit"), clock.unit, "s")
    for name, one in table.read.items():
        unit = si_of(name, one)
        if one.unit and name not in ("magnetic_field", *FLAGS):
            yield from _unit(("read", name, "unit"), one.unit, unit)
        for key, si_amount in (("error", error_of), ("limit", lambda name, one: amount(one.limit, unit))):
            if getattr(one, key) is not None:
                try:
                    si_amount(name, one)
                except QuantityError as error:
                    yield Problem(("read", name, key), getattr(one, key), error.message, error.hint)
        try:
            axes_matrix(one.axes)
        except ValueError as error:
            yield Problem(("read", name, "axes"), one.axes, *str(error).split("; ", 1))
        yield from _states(name, one)


def _unit(loc: tuple, written: str, unit: str) -> Iterator[Problem]:
    from sixdof.mission.units import converter, example

    try:
        converter(spelled(written, unit), unit)
    except QuantityError as error:
        yield Problem(loc, written, f"{shown(written)} {error.message}", error.hint)
    except (UnknownUnit, NoProduct):
        yield Problem(loc, written, f"{shown(written)} is no unit", f"expected a unit such as that of {example(unit)}")


def _states(name: str, one: Reading) -> Iterator[Problem]:
    words = FLAGS.get(name, ())
    for text, meaning in one.states.items():
        if meaning not in words and not (isinstance(meaning, int) and 0 <= meaning < len(words)):
            yield Problem(("read", name, "states", text), meaning, f"{shown(meaning)} is no {name}", f"choices: {', '.join(words)}, or 0 to {len(words) - 1}")


_AXIS = re.compile(r"([+-])([xyz])")


def axes_matrix(text: str) -> np.ndarray:
    """Return the matrix (3, 3) that takes a vector from the sensor's axes to the body's, of a text such as "+y -x +z".

    Raises
    ------
    ValueError
        For what does not name three axes, each once, that are a right-handed set.
    """
    found = _AXIS.findall(text.lower())
    hint = 'write body x, y and z by the sensor\'s axes, such as "+y -x +z"'
    if len(found) != 3 or len({axis for _, axis in found}) != 3 or not re.fullmatch(r"(\s*[+-][xyz][\s,]*){3}", text.lower()):
        raise ValueError(f"{shown(text)} does not name each axis of the sensor once; {hint}")
    matrix = np.zeros((3, 3))
    for row, (sign, axis) in enumerate(found):
        matrix[row, "xyz".index(axis)] = 1.0 if sign == "+" else -1.0
    if np.linalg.det(matrix) < 0.0:
        raise ValueError(f"{shown(text)} is a mirror image, not a turned sensor; turn the sign of one axis, or two axes round")
    return matrix


def to_body(one: Reading) -> np.ndarray:
    """Return the matrix (3, 3) from the sensor's axes to the body's: the axes as named, then the turn about the roll axis."""
    s, c = np.sin(one.turned), np.cos(one.turned)
    return np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]]) @ axes_matrix(one.axes)
