"""Files of readings: read, checked, every fault one sentence with file and key."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, ValidationError

from sixdof.mission.errors import Fault, MissionError, Problem, suggestion
from sixdof.mission.explain.keys import KeyPage
from sixdof.mission.explain.walk import all_tables, as_toml
from sixdof.mission.files.table_csv import read_text
from sixdof.mission.units import shown
from sixdof.study.as_built.tables import Readings

KINDS = ("bifilar", "trifilar", "compound")


def readings_of(source: str | Path | Mapping[str, Any]) -> Readings:
    """Return the readings of a file from the workshop: what scales, swings, fins and thrust line showed, each with its error.

    Parameters
    ----------
    source : path of a TOML file, or its tables as a dictionary. Units as in a mission file; `configs/whinchat-readings.toml` is an example with every
        table but the trifilar one; `readings_keys` explains them.

    Returns
    -------
    Readings
        Frozen; SI. `readings.model_dump()` gives the tables.

    Raises
    ------
    TypeError
        For what is neither.
    MissionError
        If the file cannot be read or has faults: one sentence each, with the file and the key.

    Examples
    --------
    >>> readings = sixdof.workshop.readings_of("configs/whinchat-readings.toml")
    >>> [stage.name for stage in readings.stage]
    ['whinchat']
    """
    if isinstance(source, Readings):
        return source
    if isinstance(source, Mapping):
        return _checked(dict(source), "")
    if not isinstance(source, (str, PathLike)):
        raise TypeError(f"readings_of: source must be the path of a file of readings, not {shown(source)}")
    return readings_in(read_text(source), str(source))


def readings_keys():
    """Return the keys of a file of readings as a page: each with unit, default, range, choices, meaning and an example.

    Returns
    -------
    KeyPage
        `print` it, or leave it as the last line of a notebook's cell.

    Examples
    --------
    >>> "support_error" in str(sixdof.workshop.readings_keys())
    True
    """
    return KeyPage(all_tables(Readings))


def readings_in(text: str, file: str = "") -> Readings:
    """Return the readings written in a text (TOML). file : for the sentences about faults. Raises MissionError."""
    try:
        tables = tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        message = f"is not valid TOML: {' '.join(str(error).split())}"
        raise MissionError([Fault(file, "", None, message, "check quotes, brackets and = there", "" if file else "the text")]) from None
    return _checked(tables, file)


def _checked(tables: dict[str, Any], file: str) -> Readings:
    try:
        return Readings.model_validate(tables)
    except ValidationError as error:
        faults = [replace(problem.at(tables), file=file) for problem in _problems(error)]
    raise MissionError(faults)


def _problems(error: ValidationError) -> Iterator[Problem]:
    """Yield what pydantic found as problems in the words of the file."""
    for item in error.errors(include_url=False):
        loc, kind, context = _without_kind(item["loc"]), item["type"], item.get("ctx", {})
        if kind == "problems":
            yield from (Problem(loc + one.loc, one.value, one.message, one.hint) for one in context["problems"])
            continue
        value = None if kind == "missing" else item.get("input")
        if kind == "quantity":
            yield Problem(loc, value, context["message"], context["hint"])
        elif kind == "missing":
            yield Problem(loc, None, "missing", _how_to_add(item["loc"]))
        elif kind == "extra_forbidden":
            owner = _table_at(item["loc"][:-1])
            yield Problem(loc, value, "unknown key", suggestion(str(loc[-1]), tuple(owner.model_fields), "valid keys") if owner else "remove it")
        elif kind.startswith("union_tag"):
            yield Problem((*loc, "kind"), None, "there is no such kind of swing", f"kinds: {', '.join(KINDS)}")
        elif kind == "literal_error":
            yield Problem(loc, value, f"{shown(value)} is not one of the choices", f"choices: {context['expected']}")
        else:
            yield Problem(loc, value, f"{shown(value)} is not what belongs there", _how_to_add(item["loc"]))


def _without_kind(loc: tuple) -> tuple:
    """Return a path as the user wrote it: pydantic puts the kind of a swing behind its number."""
    return loc[:4] + loc[5:] if len(loc) > 4 and loc[2] == "swing" else loc


def _how_to_add(loc: tuple) -> str:
    owner = _table_at(loc[:-1])
    field = owner.model_fields.get(loc[-1]) if owner is not None else None
    if field is None or not field.examples:
        return f"write {loc[-1] if isinstance(loc[-1], str) else 'an entry'} as in configs/whinchat-readings.toml"
    return f"write {loc[-1]} = {as_toml(field.examples[0])}"


def _table_at(loc: tuple) -> type[BaseModel] | None:
    """Return the class of the table at a path as pydantic gives it."""
    kinds: list[Any] = [Readings]
    for step in loc:
        if isinstance(step, int):
            continue
        tagged = [kind for kind in kinds if "kind" in kind.model_fields and kind.model_fields["kind"].default == step]
        kinds = tagged or [inner for kind in kinds if step in kind.model_fields for inner in _tables_in(kind.model_fields[step].annotation)]
    return kinds[0] if len(kinds) == 1 else None


def _tables_in(annotation: Any) -> Iterator[type[BaseModel]]:
    if get_origin(annotation) is Annotated:
        yield from _tables_in(get_args(annotation)[0])
    elif isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    else:
        for inner in get_args(annotation):
            yield from _tables_in(inner)
