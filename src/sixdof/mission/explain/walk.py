"""The tables and keys of the mission file, found by walking its classes: nothing about them is written down twice."""

from __future__ import annotations

import inspect
import json
import math
import types
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from typing import Annotated, Any, Literal, NamedTuple, Union, get_args, get_origin

from annotated_types import Ge, Le
from pydantic.fields import FieldInfo

from sixdof.mission.mission import Mission
from sixdof.mission.tables.base import Table
from sixdof.mission.units import Limits

ROOT = "mission"  # what the keys at the head of the file go by
NEEDED = "needed"
PLACED = ("station", "separation_station")  # keys that may say a place by another part instead
# units in which people read small and large values of a unit: (from this size on, name, size)
_READ = {
    "m": ((1.0, "m", 1.0), (1e-3, "mm", 1e-3), (0.0, "um", 1e-6)),
    "s": ((1.0, "s", 1.0), (0.0, "ms", 1e-3)),
    "N": ((1e3, "kN", 1e3), (0.0, "N", 1.0)),
    "Pa": ((1e3, "kPa", 1e3), (0.0, "Pa", 1.0)),
    "rad": ((0.0, "deg", math.pi / 180.0),),
    "rad/s": ((0.0, "deg/s", math.pi / 180.0),),
}


@dataclass(frozen=True)
class Key:
    """A key of a table. kind : what its value is; unit : of a bare number, "" where there is none; default : "needed" where there is none;
    choices : the words it may be; example : the line as it may stand in a file."""

    name: str
    kind: str
    unit: str
    default: str
    limits: str
    choices: tuple[str, ...]
    meaning: str
    example: str


@dataclass(frozen=True)
class KeyTable:
    """A table of the mission file. kind : its class; name : its dotted path; heading : how it begins in a file; places, headings : all of them."""

    kind: type[Table]
    name: str
    heading: str
    about: str
    keys: tuple[Key, ...]
    places: tuple[str, ...]
    headings: tuple[str, ...]

    @property
    def meaning(self) -> str:
        """The first sentence about it."""
        return self.about.split("\n\n")[0].replace("\n", " ").split(". ")[0].rstrip(".") + "."


@dataclass(frozen=True)
class Form:
    """What a value is: in words, with unit, limits and choices; table : the class of a table, or the classes of the kinds of part."""

    kind: str
    unit: str = ""
    limits: str = ""
    choices: tuple[str, ...] = ()
    table: tuple[type[Table], ...] = ()


# ---------------------------------------------------------------- from annotations to words


def form_of(annotation: Any, notes: tuple = ()) -> Form:
    """Return what values of an annotated type are. notes : what stands beside it in `Annotated`."""
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return form_of(inner[0], inner[1:])
    if origin in (Union, types.UnionType):
        return _of_union([one for one in inner if one is not types.NoneType], notes)
    if origin is tuple:
        return _of_tuple(inner)
    if origin is Literal:
        return Form("text", choices=tuple(str(one) for one in inner))
    if origin is dict:
        return Form("tables by name", table=form_of(inner[1]).table)
    if isinstance(annotation, type) and issubclass(annotation, Table):
        return Form("table", table=(annotation,))
    if annotation is float:
        unit = next((note for note in notes if isinstance(note, str)), "")
        return Form("number", unit, _limits(next((note for note in notes if isinstance(note, Limits)), Limits()), unit))
    if annotation is int:
        least, most = (next((getattr(note, name) for note in notes if isinstance(note, kind)), None) for kind, name in ((Ge, "ge"), (Le, "le")))
        return Form("whole number", limits=_limits(Limits(None, least, most), "1"))
    return Form({str: "text", bool: "true or false"}[annotation])


def _of_union(options: list, notes: tuple) -> Form:
    if len(options) == 1:
        return form_of(options[0], notes)
    forms = [form_of(one) for one in options]
    if all(form.table for form in forms):
        return Form("table", table=tuple(table for form in forms for table in form.table))
    return Form("number or text", "unit of the quantity")


def _of_tuple(inner: tuple) -> Form:
    if inner[-1] is not Ellipsis:
        units = [form_of(one).unit for one in inner]
        return Form(f"[{', '.join(readable(unit) or 'number' for unit in units)}]", limits=form_of(inner[0]).limits if len(set(inner)) == 1 else "")
    each = form_of(inner[0])
    if each.table:
        return Form("list of tables", table=each.table)
    return Form("list of numbers" if each.kind == "number" else f"list of {each.kind}", each.unit, each.limits, each.choices)


def _limits(limits: Limits, unit: str) -> str:
    if limits.least is not None and limits.most is not None:
        return f"{spelled(limits.least, unit)} to {spelled(limits.most, unit)}"
    parts = [("more than", limits.above), ("at least", limits.least), ("at most", limits.most)]
    return ", ".join(f"{word} {spelled(limit, unit) if limit else '0'}" for word, limit in parts if limit is not None)


def readable(unit: str) -> str:
    """Return a unit as people write it, "" for a pure number."""
    return "" if unit == "1" else unit.replace("/Hz**0.5", "/sqrt(Hz)").replace("**", "^")


def spelled(number: float, unit: str) -> str:
    """Return a number in SI with a unit that people read."""
    for least, name, size in _READ.get(unit, ()):
        if abs(number) >= least and number:
            return f"{number / size:.4g} {name}"
    name = {"rad": "deg", "rad/s": "deg/s"}.get(unit, readable(unit))
    return f"{number:.6g} {name}".rstrip()


def as_toml(value: Any) -> str:
    """Return a value as it stands in a mission file, on one line."""
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{key} = {as_toml(one)}' for key, one in value.items())} }}"
    if isinstance(value, (list, tuple)):
        return f"[{', '.join(as_toml(one) for one in value)}]"
    return json.dumps(value, ensure_ascii=False)


# ---------------------------------------------------------------- tables and keys


class _Place(NamedTuple):
    """Where a table stands: the dotted path it goes by, the same as a heading in a file has it, and that heading."""

    name: str
    written: str
    heading: str


_AT_HEAD = _Place(ROOT, "", "at the head of the file")


def _key(name: str, info: FieldInfo, place: _Place) -> Key:
    """Return what a field of a table's class says of its key."""
    form = form_of(info.annotation, tuple(info.metadata))
    extra = info.json_schema_extra if isinstance(info.json_schema_extra, dict) else {}
    inside = _inside(place, name, form) if form.table else [place]
    example = f"{name} = {as_toml(info.examples[0])}" if info.examples else inside[0].heading.split(" ")[0] if form.table else ""
    kinds = tuple(one.name.rpartition(".")[2] for one in inside) if len(inside) > 1 else form.choices
    choices = tuple(extra.get("enum", kinds))
    default = NEEDED if name == "kind" and "kind =" in place.heading else _default(info, form)  # of a part: only its class fills it in
    return Key(name, form.kind, extra.get("unit", readable(form.unit)), default, form.limits, choices, info.description or "", example)


def _default(info: FieldInfo, form: Form) -> str:
    if info.is_required():
        return NEEDED
    value = info.default
    if form.table or value is None or value == () or value == "":
        return ""
    if form.kind == "text":
        return f'"{value}"'
    if isinstance(value, tuple):
        return f"[{', '.join(spelled(one, form.unit) for one in value)}]"
    return as_toml(value) if isinstance(value, bool) or form.kind == "whole number" else spelled(value, form.unit)


def _inside(place: _Place, name: str, form: Form) -> list[_Place]:
    """Return where the tables stand that a key holds."""
    path, written = (f"{ahead}.{name}" if ahead and ahead != ROOT else name for ahead in (place.name, place.written))
    if form.kind == "tables by name" and written != "disperse":
        return [_Place(path, f"{written}.NAME", f"[{written}.NAME]")]
    if len(form.table) > 1:
        kinds = [table.model_fields["kind"].default for table in form.table]
        return [_Place(f"{path}.{kind}", written, f'[[{written}]] kind = "{kind}"') for kind in kinds]
    return [_Place(path, written, f"[[{written}]]" if form.kind == "list of tables" else f"[{written}]")]


def _walk(kind: type[Table], place: _Place) -> Iterator[tuple[type[Table], _Place]]:
    """Yield a table's class and where it stands, and those of all tables in it."""
    yield kind, place
    for name, info in kind.model_fields.items():
        form = form_of(info.annotation, tuple(info.metadata))
        for table, inner in zip(form.table, _inside(place, name, form) if form.table else ()):
            yield from _walk(table, inner)


@cache
def all_tables(file: type[Table] = Mission) -> tuple[KeyTable, ...]:
    """Return every table of the mission file, or of another kind of file, in the order of the file, one that may stand at several places once."""
    found: dict[type[Table], list[_Place]] = {}
    for kind, place in _walk(file, _AT_HEAD):
        found.setdefault(kind, []).append(place)
    return tuple(_table(kind, places) for kind, places in found.items())


def _table(kind: type[Table], places: list[_Place]) -> KeyTable:
    keys = tuple(_key(name, info, places[0]) for name, info in kind.model_fields.items())
    about = inspect.cleandoc(kind.__doc__ or "").split("\n\nRaises\n")[0]
    return KeyTable(kind, places[0].name, places[0].heading, about, keys, tuple(place.name for place in places), tuple(place.heading for place in places))
