"""From pydantic's errors to faults: one sentence each, in the words of the mission file."""

from __future__ import annotations

import re
import types
from collections.abc import Iterator
from typing import Annotated, Any, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError

from sixdof.mission.errors import Problem, suggestion
from sixdof.mission.place import child
from sixdof.mission.tables.mission import MissionTables
from sixdof.mission.units import example, shown

KINDS = ("nose", "tube", "transition", "fins", "rail_guide", "mass", "mount", "parachute")

_TYPES = {  # of pydantic's error types: what the value is not, and what to write
    "string_type": ("text", 'write text in quotes, such as "main"'),
    "int_type": ("a whole number", "write a number such as 4, without quotes, decimals or unit"),
    "bool_type": ("true or false", "write true or false, without quotes"),
    "tuple_type": ("a list", "write [..., ...]"),
    "dict_type": ("a table", "write a table"),
    "model_type": ("a table", "write a table"),
    "model_attributes_type": ("a table", "write a table"),
}
_LISTS = ("stage", "rule", "recovery", "part", "harness", "failure", "gust", "member", "correlation")


def problems_from(error: ValidationError, root: Any) -> Iterator[Problem]:
    """Yield the problems in a ValidationError of Mission. `root` is the dictionary of tables that was validated."""
    for item in error.errors(include_url=False):
        full = tuple(item["loc"])
        loc = _without_kind(full)
        kind, context = item["type"], item.get("ctx", {})
        if kind == "problems":
            for problem in context["problems"]:
                yield Problem(loc + problem.loc, problem.value, problem.message, problem.hint)
            continue
        value = None if kind == "missing" else item.get("input")
        if kind.startswith("union_tag"):
            loc, value = (*loc, "kind"), child(value, "kind")
        yield Problem(loc, value, *_sentence(kind, context, value, full, item["msg"]))


def _without_kind(loc: tuple) -> tuple:
    """Return the path as the user wrote it: pydantic puts the kind of a part behind its number."""
    if len(loc) > 4 and loc[0] == "stage" and loc[2] == "part":
        return loc[:4] + loc[5:]
    return loc


def _sentence(kind: str, context: dict, value: Any, loc: tuple, text: str) -> tuple[str, str]:
    """Return message and hint for one of pydantic's errors."""
    if kind == "quantity":
        return context["message"], context["hint"]
    if kind == "extra_forbidden":
        return "unknown key", suggestion(loc[-1], _keys(loc[:-1]), "valid keys")
    if kind == "missing":
        return "missing", _how_to_add(loc)
    if kind == "union_tag_not_found":
        return "missing", f"kinds: {', '.join(KINDS)}"
    if kind == "union_tag_invalid":
        return f"there is no part of kind {shown(value)}", suggestion(value, KINDS, "kinds")
    if kind == "literal_error":
        options = tuple(re.findall(r"'([^']*)'", context["expected"]))
        return f"{shown(value)} is not one of the choices", suggestion(value, options, "choices")
    if kind in _TYPES:
        what, hint = _TYPES[kind]
        return f"{shown(value)} is not {what}", _table_hint(loc) or hint
    if kind in ("greater_than_equal", "less_than_equal"):
        limit = context.get("ge", context.get("le"))
        return f"{shown(value)} must be at {'least' if 'ge' in context else 'most'} {limit}", "write a whole number"
    if kind == "too_long":
        return f"there are {context['actual_length']} entries", f"write {context['max_length']}"
    return text, ""


def _table_hint(loc: tuple) -> str:
    """Return how the table at `loc` is written, "" where it is not a table."""
    if loc[0] == "disperse" and len(loc) == 2:
        return "write e.g. { sd = 0.02 }"
    names = [step for step in _without_kind(loc) if isinstance(step, str)]
    kind = _type_at(loc)
    if names and names[-1] in _LISTS and len(names) <= 3:
        return f"write [[{'.'.join(names)}]]"
    is_table = isinstance(kind, type) and issubclass(kind, BaseModel)
    return f"write a table [{'.'.join(names)}]" if is_table or loc in (("motor",), ("disperse",)) else ""


def _how_to_add(loc: tuple) -> str:
    """Return how to add what is missing at `loc`."""
    key = loc[-1]
    if isinstance(key, int):
        return "write every entry"
    if loc == ("motor",):
        return "add a table [motor.NAME]"
    if hint := _table_hint(loc):
        return hint.replace("write", "add", 1)
    kind = _type_at(loc)
    if kind is str:
        return f'add {key} = "..."'
    if kind is int:
        return f"add {key} = 4"
    unit = _unit_at(loc)
    return f"add {key} = {example(unit)}" if unit else f"add {key}"


# ---------------------------------------------------------------- walking the classes


def _keys(loc: tuple) -> tuple[str, ...]:
    kind = _type_at(loc)
    return tuple(kind.model_fields) if isinstance(kind, type) and issubclass(kind, BaseModel) else ()


def _bare(kind: Any) -> Any:
    """Return a type without Annotated and without `| None`."""
    if get_origin(kind) is Annotated:
        return _bare(get_args(kind)[0])
    if get_origin(kind) in (Union, types.UnionType):
        options = [option for option in get_args(kind) if option is not type(None)]
        return _bare(options[0]) if len(options) == 1 else kind
    return kind


def _type_at(loc: tuple) -> Any:
    """Return the declared type at a path as pydantic gives it (None where there is none)."""
    kind: Any = MissionTables
    for step in loc:
        kind = _step(kind, step)
    return kind


def _step(kind: Any, step: Any) -> Any:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        field = kind.model_fields.get(step)
        return None if field is None else _bare(field.annotation)
    origin, inner = get_origin(kind), get_args(kind)
    if origin is tuple:
        return _bare(inner[0] if inner[-1] is Ellipsis else inner[min(step, len(inner) - 1)])
    if origin is dict:
        return _bare(inner[1])
    if origin in (Union, types.UnionType):
        return next((part for part in inner if part.model_fields["kind"].default == step), None)
    return None


def _unit_at(loc: tuple) -> str | None:
    """Return the unit of the quantity at a path, None where it is not one."""
    owner = _type_at(loc[:-1])
    if not (isinstance(owner, type) and issubclass(owner, BaseModel)) or loc[-1] not in owner.model_fields:
        return None
    field = owner.model_fields[loc[-1]]
    return next((note for note in field.metadata if isinstance(note, str)), None)
