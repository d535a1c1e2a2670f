"""A mission with some values changed, and a mission as text."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

from sixdof.mission.disperse import joined
from sixdof.mission.dispersible import DISPERSIBLE
from sixdof.mission.errors import Fault, MissionError, suggestion
from sixdof.mission.load import checked_mission
from sixdof.mission.place import failure_name
from sixdof.mission.schema import Mission

_NAMES = {
    "stage": ("name",), "part": ("name", "kind"), "rule": ("name",), "recovery": ("canopy",), "cord": ("canopy",),
    "failure": ("kind: of",), "member": ("name",),
}  # fmt: skip


def changed(mission: Mission, changes: dict[str, Any]) -> Mission:
    """Return a new mission with the values at the dotted paths of `changes` replaced (see `Mission.change`).

    Raises
    ------
    MissionError
        If paths lead nowhere (all of them are named), or the new mission has faults.
    """
    data = _mutable(mission.model_dump())
    faults = []
    for path, value in changes.items():
        try:
            _put(data, path, value)
        except _NoPath as error:
            faults.append(Fault("", path, value, str(error), error.hint))
    if faults:
        raise MissionError(faults)
    return checked_mission(data, Path("."), "")


class _NoPath(Exception):
    def __init__(self, message: str, hint: str):
        super().__init__(message)
        self.hint = hint


def _mutable(node: Any) -> Any:
    if isinstance(node, dict):
        return {key: _mutable(value) for key, value in node.items()}
    return [_mutable(value) for value in node] if isinstance(node, (list, tuple)) else node


def _put(data: dict[str, Any], path: str, value: Any) -> None:
    """Set the value at a dotted path, making optional tables on the way where they were left out."""
    steps = re.sub(r"\[(\d+)\]", r".\1", path).split(".")
    node: Any = data
    table = ""
    while True:
        key, steps = _next(node, steps, table)
        if not steps:
            node[key] = joined(value) if table == "" and key == "disperse" else value
            return
        if isinstance(node, dict) and node.get(key) is None:
            node[key] = {}
        if isinstance(node[key], (dict, list)):
            node, table = node[key], key if isinstance(key, str) else ""
        else:
            raise _NoPath(f'"{key}" is a value, not a table', f'leave out ".{".".join(steps)}"')


def _next(node: Any, steps: list[str], table: str) -> tuple[Any, list[str]]:
    """Return the key or number that the first of `steps` mean in `node`, and the steps left over."""
    if isinstance(node, list):
        return _number(node, steps[0], table), steps[1:]
    for end in range(len(steps), 0, -1):  # names of motors and of spreads may hold points
        key = ".".join(steps[:end])
        if key in node or (table == "disperse" and key in DISPERSIBLE):
            return key, steps[end:]
    if table == "motor" and len(steps) == 1 or not node:
        return steps[0], steps[1:]
    options = tuple(DISPERSIBLE) if table == "disperse" else tuple(node)
    word = ".".join(steps) if table == "disperse" else steps[0]
    raise _NoPath(f'there is no "{word}"', suggestion(word, options, "valid keys"))


def _number(entries: list, step: str, table: str) -> int:
    """Return the index an entry of a list goes by: its number, its name, or the kind that only it has."""
    if step.isdecimal():
        if int(step) < len(entries):
            return int(step)
        raise _NoPath(f'there is no {table} {step}', f"there are {len(entries)}, counted from 0")
    for key in _NAMES.get(table, ()):
        found = [i for i, entry in enumerate(entries) if isinstance(entry, dict) and _name(entry, key) == step]
        if len(found) == 1:
            return found[0]
        if found:
            numbers = ", ".join(str(i) for i in found)
            raise _NoPath(f'there are {len(found)} entries "{step}"', f"say which by number: {numbers}")
    names = [_name(entry, key) for key in _NAMES.get(table, ()) for entry in entries if isinstance(entry, dict)]
    known = tuple(dict.fromkeys(name for name in names if name))
    raise _NoPath(f'there is no {table or "entry"} "{step}"', suggestion(step, known, "known are"))


def _name(entry: dict, key: str) -> Any:
    return failure_name(entry.get("kind"), entry.get("of")) if key == "kind: of" else entry.get(key)


# ---------------------------------------------------------------- as text


def toml_of(mission: Mission) -> str:
    """Return the mission as TOML text: every value, defaults too, in SI and to the last bit, curves inline."""
    import tomli_w

    text = tomli_w.dumps(_filled(mission.model_dump()))
    # an array of plain numbers goes on one line: the text is for people too
    return re.sub(r"\[\n((?:\s*[-+0-9.einfa]+,\n)+)\s*\]", lambda found: f"[{_one_line(found[1])}]", text)


def _one_line(entries: str) -> str:
    return ", ".join(entry.strip().rstrip(",") for entry in entries.splitlines())


def _filled(node: Any) -> Any:
    """Return the tables without what was left out: TOML has no word for nothing, and empty text says nothing."""
    if isinstance(node, dict):
        filled = {key: _filled(value) for key, value in node.items()}
        return {key: value for key, value in filled.items() if value not in (None, "", [], {})}
    return [_filled(value) for value in node] if isinstance(node, (list, tuple)) else node
