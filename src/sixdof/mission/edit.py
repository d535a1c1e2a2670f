"""A mission with some values changed, and a mission as text."""

from __future__ import annotations

import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from sixdof.mission.disperse import joined
from sixdof.mission.errors import Fault, MissionError
from sixdof.mission.load import checked_mission
from sixdof.mission.paths import NewTable, NoPath, next_step, steps_of
from sixdof.mission.schema import Mission
from sixdof.mission.units import shown


def changed(mission: Mission, changes: dict[str, Any]) -> Mission:
    """Return a new mission with the values at the dotted paths of `changes` replaced (see `Mission.change`).

    Raises
    ------
    MissionError
        If paths lead nowhere (all of them are named), or the new mission has faults.
    """
    if not isinstance(changes, Mapping):
        raise TypeError(f'change: changes must be a dictionary such as {{"rail.length": "3 m"}}, not {shown(changes)}')
    data = _mutable(mission.model_dump())
    faults = []
    for path, value in changes.items():
        if not isinstance(path, str):
            hint = 'write a dotted path such as "rail.length"'
            faults.append(Fault("", "change", path, f"{shown(path)} is no path of a value", hint))
            continue
        try:
            _put(data, path, value)
        except NoPath as error:
            faults.append(Fault("", path, value, str(error), error.hint))
    if faults:
        raise MissionError(faults)
    return checked_mission(data, Path("."), "")


def _mutable(node: Any) -> Any:
    if isinstance(node, dict):
        return {key: _mutable(value) for key, value in node.items()}
    return [_mutable(value) for value in node] if isinstance(node, (list, tuple)) else node


def _put(data: dict[str, Any], path: str, value: Any) -> None:
    """Set the value at a dotted path, making optional tables on the way where they were left out."""
    steps = steps_of(path)
    node: Any = data
    table = ""
    while True:
        key, steps = next_step(node, steps, table)
        if not steps:
            node[key] = joined(value) if table == "" and key == "disperse" else value
            return
        if isinstance(node, dict) and node.get(key) is None:
            node[key] = NewTable()
        if isinstance(node[key], (dict, list)):
            node, table = node[key], key if isinstance(key, str) else ""
        else:
            raise NoPath(f'"{key}" is a value, not a table', f'leave out ".{".".join(steps)}"')


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
