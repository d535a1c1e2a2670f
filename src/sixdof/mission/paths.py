"""Dotted paths into a mission, such as `stage.thistledown.part.tail.semispan`: where they lead, and what number stands there."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, TypeAdapter, ValidationError

from sixdof.mission.errors import suggestion
from sixdof.mission.place import child, failure_name, key_of, place_of
from sixdof.mission.tables.dispersible import DISPERSIBLE, Dispersible
from sixdof.mission.tables.mission import MissionTables
from sixdof.mission.tables.spread import Spread
from sixdof.mission.units import QuantityError, checked

_NAMES = {
    "stage": ("name",),
    "part": ("name", "kind"),
    "rule": ("name",),
    "recovery": ("canopy",),
    "harness": ("canopy",),
    "failure": ("kind: of",),
    "member": ("name",),
    "waypoint": ("name",),
}
UNFLOWN = ("title", "failure", "disperse", "correlation", "record", "solver")  # what says how flights are drawn, kept and integrated
# quantities that have a draw of their own, which needs no tables made anew
_SHORTER = {"air.wind.speed": "wind.speed", "air.wind.blows_from": "wind.blows_from", "air.turbulence.wind_at_20_ft": "turbulence.wind_at_20_ft"}


class NoPath(Exception):
    """A path that leads nowhere, or to nothing that can be used: what is wrong, and `hint`, what would be right."""

    def __init__(self, message: str, hint: str):
        super().__init__(message)
        self.hint = hint


def steps_of(path: str) -> list[str]:
    """Return the steps of a dotted path; `stage[0]` is `stage.0`."""
    return re.sub(r"\[(\d+)\]", r".\1", path).split(".")


class NewTable(dict):
    """A table that was omitted and is being written: it takes any key, and the checks of the mission judge it."""


def next_step(node: Any, steps: list[str], table: str) -> tuple[Any, list[str]]:
    """Return the key or number that the first of `steps` mean in `node`, and the steps left over.

    node : a dictionary of keys or a list of entries, the content of a table called `table`. Raises NoPath.
    """
    if isinstance(node, list):
        return _number(node, steps[0], table), steps[1:]
    for end in range(len(steps), 0, -1):  # names of motors and of spreads may hold points
        key = ".".join(steps[:end])
        if key in node or (table == "disperse" and key in DISPERSIBLE):
            return key, steps[end:]
    if table == "disperse" and is_path(".".join(steps)):
        return _spread_name(steps)
    if table == "motor" and len(steps) == 1 or not node or isinstance(node, NewTable):
        return steps[0], steps[1:]
    options = tuple(DISPERSIBLE) if table == "disperse" else tuple(node)
    word = ".".join(steps) if table == "disperse" else steps[0]
    raise NoPath(f'there is no "{word}"', suggestion(word, options, "valid keys"))


def _spread_name(steps: list[str]) -> tuple[str, list[str]]:
    """Return the path that a new spread disperses, and the key of the spread behind it, if there is one."""
    count = len(steps) - (steps[-1] in Spread.model_fields)
    return ".".join(steps[:count]), steps[count:]


def _number(entries: list, step: str, table: str) -> int:
    """Return the index an entry of a list goes by: its number, its name, or the kind that only it has."""
    if step.isdecimal():
        if int(step) < len(entries):
            return int(step)
        raise NoPath(f"there is no {table} {step}", f"there are {len(entries)}, counted from 0")
    for key in _NAMES.get(table, ()):
        found = [i for i, entry in enumerate(entries) if _name(entry, key) == step]
        if len(found) == 1:
            return found[0]
        if found:
            numbers = ", ".join(str(i) for i in found)
            raise NoPath(f'there are {len(found)} entries "{step}"', f"say which by number: {numbers}")
    names = [_name(entry, key) for key in _NAMES.get(table, ()) for entry in entries]
    known = tuple(dict.fromkeys(name for name in names if name))
    raise NoPath(f'there is no {table or "entry"} "{step}"', suggestion(step, known, "known are"))


def _name(entry: Any, key: str) -> Any:
    return failure_name(child(entry, "kind"), child(entry, "of")) if key == "kind: of" else child(entry, key)


# ---------------------------------------------------------------- numbers that can be dispersed


@dataclass(frozen=True)
class PathItem(Dispersible):
    """A number of the mission that a path leads to, as something to disperse.

    loc : its place, keys and indices from the mission. own : the mission's own value (None where it has none). check : from
    what a user wrote to SI; raises QuantityError where the mission could not hold it.
    """

    loc: tuple = ()
    own: float | None = None
    check: Callable[[Any], float] = float


def is_path(name: str) -> bool:
    """Tell whether a name begins like a path into the mission, whether or not it leads anywhere."""
    return steps_of(name)[0] in MissionTables.model_fields


def path_item(root: Any, path: str) -> PathItem:
    """Return the number at a dotted path of `root`, a mission or the dictionary of its tables, as something to disperse.

    Raises
    ------
    NoPath
        If the path leads nowhere, or to something that cannot be dispersed: only numbers with decimals can, one by one.
    """
    if path in _SHORTER:
        raise NoPath("the number has a name of its own", f'write "{_SHORTER[path]}"')
    if steps_of(path)[0] in UNFLOWN:
        raise NoPath(f'"{steps_of(path)[0]}" is nothing that flies', "disperse numbers of the vehicle, the air, the site or the computer")
    owner, loc, value = _leaf(root, path)
    unit, check = _quantity(owner, loc[-1])
    if unit is None:
        raise NoPath("it is not a number with decimals", _numbers_in(value) or "give the path of a quantity, such as a length")
    return PathItem(path, unit, "value", place_of(root, loc), loc=loc, own=value, check=check)


def _leaf(root: Any, path: str) -> tuple[Any, tuple, Any]:
    """Return the table that holds what the path leads to, its place, and its value."""
    node, table, loc, steps = root, "", (), steps_of(path)
    while True:
        key, steps = next_step(_entries(node), steps, table)
        value = child(node, key)
        if isinstance(key, str) and key not in _entries(node):
            raise NoPath(f'there is no "{key}"', suggestion(key, tuple(_entries(node)), "valid keys"))
        loc += (key,)
        if not steps:
            return node, loc, value
        if value is None:
            raise NoPath(f'the mission has no "{key_of(loc)}"', "add it, then disperse numbers of it")
        if not isinstance(value, (BaseModel, Mapping, tuple, list)):
            raise NoPath(f'"{key}" is a value, not a table', f'omit ".{".".join(steps)}"')
        node, table = value, key if isinstance(key, str) else ""


def _entries(node: Any) -> dict | list:
    return list(node) if isinstance(node, (tuple, list)) else dict(node)


def _numbers_in(table: Any) -> str:
    """Return the hint that names the quantities of a table, "" where it is not one."""
    if not isinstance(table, BaseModel):
        return ""
    keys = [key for key in type(table).model_fields if _quantity(table, key)[0] is not None]
    return f"numbers in it: {', '.join(keys)}" if keys else ""


def _quantity(owner: Any, key: Any) -> tuple[str | None, Callable[[Any], float]]:
    """Return unit and check of the quantity `key` of a table; no unit where it is not a quantity."""
    if not isinstance(owner, BaseModel):
        return None, float
    if key == "threshold" and hasattr(owner, "when"):  # of a rule: a time or a height
        unit = "s" if owner.when == "time" else "m"
        return unit, lambda value: _or_sentence(lambda: checked(value, unit, least=0.0))
    unit, adapter = _declared(type(owner), key)
    return unit, lambda value: _or_sentence(lambda: adapter.validate_python(value))


@cache
def _declared(kind: type[BaseModel], key: str) -> tuple[str | None, TypeAdapter | None]:
    """Return unit and validator of a field that `units.quantity` made, with or without `| None`."""
    field = kind.model_fields[key]
    notes = [(field.annotation, tuple(field.metadata))]
    notes += [(get_args(one)[0], get_args(one)[1:]) for one in get_args(field.annotation) if get_origin(one) is Annotated]
    for bare, metadata in notes:
        unit = next((note for note in metadata if isinstance(note, str)), None)
        if bare is float and unit is not None:
            return unit, TypeAdapter(Annotated[(float, *metadata)])
    return None, None


def _or_sentence(validate: Callable[[], float]) -> float:
    from pydantic_core import PydanticCustomError

    try:
        return validate()
    except ValidationError as error:
        context = error.errors()[0]["ctx"]
    except PydanticCustomError as error:
        context = error.context
    raise QuantityError(context["message"], context["hint"])
