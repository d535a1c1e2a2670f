"""The tables of a mission with values changed, parts, rules or stages added and removed, and a mission as text."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

from sixdof.mission.disperse import with_flat_names
from sixdof.mission.errors import Fault, MissionError, warn
from sixdof.mission.former import Renaming, current_path, current_paths, part_names
from sixdof.mission.paths import NewTable, NoPath, next_step, steps_of
from sixdof.mission.stations import BODIES, ROUNDING, Stretch, called, lengths, move, stretches
from sixdof.mission.tables.base import Table
from sixdof.mission.tables.mission import MissionTables
from sixdof.mission.units import shown

NAMED = ("stage", "part", "rule", "recovery", "harness", "waypoint")  # lists whose entries others may refer to by name


def changed(mission: MissionTables, changes: dict[str, Any], shift: bool | None = None) -> dict[str, Any]:
    """Return the tables of a mission with the values at the dotted paths of `changes` replaced (see `Mission.change`).

    Raises
    ------
    MissionError
        If paths lead nowhere (all of them are named).
    """
    if not isinstance(changes, Mapping):
        raise TypeError(f'change: changes must be a dictionary such as {{"rail.length": "3 m"}}, not {shown(changes)}')
    _check_shift("change", shift)

    def edit(data: dict) -> None:
        named, found = current_paths(changes, part_names(data), "change")
        found.warn()
        faults = found.faults
        for path, value in named.items():
            if not isinstance(path, str):
                hint = 'write a dotted path such as "rail.length"'
                faults.append(Fault("", "change", path, f"{shown(path)} is not a path of a value", hint))
                continue
            try:
                _put(data, path, value)
            except NoPath as error:
                faults.append(Fault("", path, value, str(error), error.hint))
        if faults:
            raise MissionError(faults)
        before = mutable(mission.model_dump(include={"stage"}))["stage"]
        if isinstance(data.get("stage"), list) and all(isinstance(each, dict) and isinstance(each.get("part"), list) for each in data["stage"]):
            move(data, before, list(stretches(before, data["stage"])), shift, "change")

    return _edited(mission, edit)


def added(mission: MissionTables, where: str, table: Any, after: Any, before: Any, shift: bool | None) -> dict[str, Any]:
    """Return the tables of a mission with one more entry in a list of tables (see `Mission.add`)."""
    _check_shift("add", shift)
    entry = _entry_of("add", table)
    for name, beside in (("after", after), ("before", before)):
        if isinstance(beside, bool) or not isinstance(beside, (str, int, type(None))):
            raise TypeError(f"add: {name} must be the name or the number of an entry, not {shown(beside)}")

    def edit(data: dict) -> None:
        entries, loc = _list_at(data, where)
        if after is not None and before is not None:
            raise NoPath("after and before are both given", "say one of the two")
        beside = after if before is None else before
        place = len(entries)
        if beside is not None:
            place = next_step(entries, [str(beside)], loc[-1])[0] + (before is None)
        stretched = _stretch_of(data, loc, place, entry, 1.0)
        stages = mutable(data["stage"])
        move(data, stages, [stretched] if stretched else [], shift, "add")
        entries.insert(place, entry)
        _warn_measured(data, loc, "add")

    return _edited(mission, _named("add", where, edit))


def replaced(mission: MissionTables, path: str, table: Any, shift: bool | None) -> dict[str, Any]:
    """Return the tables of a mission with another entry in the place of one of a list of tables (see `Mission.replace`)."""
    _check_shift("replace", shift)
    new = _entry_of("replace", table)

    def edit(data: dict) -> None:
        loc = _loc_of(data, path)
        node: Any = data
        for step in loc[:-1]:
            node = node[step]
        if not isinstance(node, list):
            raise NoPath(f'"{path}" is not an entry of a list of tables', "change() writes single tables and values")
        old, place = node[loc[-1]], loc[-1]
        kept = {key: old[key] for key in ("name", "canopy") if old.get(key) and key not in new}
        entry = (kept if loc[-2] in NAMED else {}) | new
        move(data, mutable(data["stage"]), _stretched(data, loc, old, entry), shift, "replace")
        node[place] = entry
        _warn_measured(data, loc[:-1], "replace")

    return _edited(mission, _named("replace", path, edit))


def _stretched(data: dict, loc: tuple, old: dict, new: dict) -> list[Stretch]:
    """Return what a part in the place of another means for the stations of its stage."""
    if loc[:1] != ("stage",) or loc[-2:-1] != ("part",):
        return []
    was, now = lengths([old])[0], lengths([new])[0]
    if abs(now - was) <= ROUNDING:
        return []
    fore = sum(lengths(data["stage"][loc[1]]["part"][: loc[-1]]))
    what = f"{called(new)} is {abs(now - was):g} m {'longer' if now > was else 'shorter'} than what it replaces"
    return [Stretch(loc[1], fore + 0.5 * was, now - was, what)]


def _entry_of(who: str, table: Any) -> dict:
    """Return an entry of a list as a dictionary. Raises TypeError."""
    entry = mutable(table.model_dump(exclude_unset=True)) if isinstance(table, Table) else table
    if not isinstance(entry, Mapping):
        raise TypeError(f'{who}: table must be a table such as {{"kind": "tube", "length": "20 cm"}}, not {shown(table)}')
    return ({"kind": table.kind} if isinstance(table, Table) and hasattr(table, "kind") else {}) | dict(entry)


def removed(mission: MissionTables, paths: tuple[str, ...], shift: bool | None) -> dict[str, Any]:
    """Return the tables of a mission without the entries or tables at some paths (see `Mission.remove`)."""
    _check_shift("remove", shift)
    if not paths:
        raise ValueError('remove: name what goes, such as mission.remove("part.ballast")')

    def edit(data: dict) -> None:
        found = []
        for path in paths:
            _named("remove", path, lambda data: found.append(_loc_of(data, path)))(data)
        for loc in sorted(found, key=lambda loc: [(isinstance(step, str), step) for step in loc], reverse=True):
            _take_out(data, loc, shift)

    return _edited(mission, edit)


def _edited(mission: MissionTables, edit: Callable[[dict], None]) -> dict[str, Any]:
    data = mutable(mission.model_dump())
    edit(data)
    return data


def _named(who: str, path: str, edit: Callable[[dict], None]) -> Callable[[dict], None]:
    """Return `edit` with what leads nowhere told as a fault of `path`."""

    def named(data: dict) -> None:
        if not isinstance(path, str):
            raise MissionError([Fault("", who, path, f"{shown(path)} is not a path", 'write a dotted path such as "recovery"')])
        try:
            edit(data)
        except NoPath as error:
            raise MissionError([Fault("", path, None, str(error), error.hint)]) from None

    return named


def _check_shift(who: str, shift: Any) -> None:
    if shift is not None and not isinstance(shift, bool):
        raise TypeError(f"{who}: shift = {shown(shift)} must be True, False or None")


def _take_out(data: dict, loc: tuple, shift: bool | None) -> None:
    """Take an entry out of its list, or let a key be as if it had never been written."""
    node: Any = data
    for step in loc[:-1]:
        node = node[step]
    if isinstance(node, dict):
        node.pop(loc[-1], None)
        return
    entry = node[loc[-1]]
    stretched = _stretch_of(data, loc[:-1], loc[-1], entry, -1.0)
    if stretched:
        fore = stretched.start + stretched.by
        inside = [part for part in node if part.get("station") is not None and fore - ROUNDING <= part["station"] < stretched.start - ROUNDING]
        if inside:
            message = f"{called(entry)} holds {', '.join(called(part) for part in inside)}"
            raise MissionError([Fault("", ".".join(map(str, loc)), None, message, "remove them in the same call, or move them first")])
    node.pop(loc[-1])
    move(data, mutable(data["stage"]), [stretched] if stretched else [], shift, "remove")
    _warn_measured(data, loc[:-1], "remove")


def _stretch_of(data: dict, loc: tuple, place: int, entry: Mapping, sign: float) -> Stretch | None:
    """Return what an entry of a list means for the stations of its stage; None for anything but a part of a body."""
    if loc[:1] != ("stage",) or loc[-1:] != ("part",) or entry.get("kind") not in BODIES:
        return None
    length = lengths([dict(entry)])[0]
    fore = sum(lengths(data["stage"][loc[1]]["part"][:place]))
    if sign > 0.0:
        return Stretch(loc[1], fore, length, f"{called(dict(entry))} adds {length:g} m")
    return Stretch(loc[1], fore + length, -length, f"without {called(dict(entry))} the body is {length:g} m shorter")


def _warn_measured(data: dict, loc: tuple, who: str) -> None:
    """Measurements of the finished stage stand in place of its parts: what was added weighs nothing then."""
    if loc[:1] != ("stage",) or loc[-1:] != ("part",):
        return
    stage = data["stage"][loc[1]]
    known = [key for key in ("mass", "cg", "inertia_roll", "inertia_pitch", "inertia_yaw") if (stage.get("measured") or {}).get(key) is not None]
    if known:
        text = f'{who}: stage "{stage.get("name")}" keeps its measured {", ".join(known)}, which stand in place of its parts: measure it again'
        warn(text)


def mutable(node: Any) -> Any:
    """Return a copy of tables in which lists are lists and can be changed."""
    if isinstance(node, dict):
        return {key: mutable(value) for key, value in node.items()}
    return [mutable(value) for value in node] if isinstance(node, (list, tuple)) else node


def _steps(data: dict, path: str) -> list[str]:
    """Return the steps of a path from the mission; "part" is that of the stage, where there is one stage."""
    new = current_path(path, part_names(data))
    if new != path:
        found = Renaming()
        found.note(path, new, "path")
        found.warn()
    steps = steps_of(new)
    if steps[0] not in data:
        _say_where(data, steps)
    if steps[0] != "part":
        return steps
    stages = _tables(data.get("stage"))
    if len(stages) > 1:
        names = ", ".join(f'"stage.{stage.get("name")}.part"' for stage in stages)
        raise NoPath("there are several stages", f"say whose part: {names}")
    return ["stage", "0", *steps]


def _tables(node: Any) -> list[dict]:
    """Return the tables of a list; changes made before in the same call may have put anything in its place."""
    return [each for each in node if isinstance(each, dict)] if isinstance(node, (list, tuple)) else []


def _say_where(data: dict, steps: list[str]) -> None:
    """Raise NoPath, with the whole path, where the first of `steps` is the bare name of a part or a stage."""
    stages = _tables(data.get("stage"))
    for stage in stages if steps[0] else ():  # parts without a name have the name ""
        of_stage = "part" if len(stages) == 1 else f"stage.{stage.get('name')}.part"
        parts = [part.get("name") for part in _tables(stage.get("part"))]
        ahead = "stage" if stage.get("name") == steps[0] else of_stage if steps[0] in parts else ""
        if ahead:
            raise NoPath(f'there is no "{steps[0]}"', f'write "{".".join([ahead, *steps])}"')


def _loc_of(data: dict, path: str) -> tuple:
    """Return the place a path leads to. Raises NoPath."""
    steps, node, table, loc = _steps(data, path), data, "", ()
    while True:
        key, steps = next_step(node, steps, table)
        loc += (key,)
        if isinstance(node, dict) and key not in node:
            raise NoPath(f'there is no "{key}"', f"it has {', '.join(node) or 'nothing'}")
        if not steps:
            return loc
        if not isinstance(node[key], (dict, list)):
            raise NoPath(f'"{key}" is not a table', f'omit ".{".".join(steps)}"')
        node, table = node[key], key if isinstance(key, str) else ""


def _list_at(data: dict, where: str) -> tuple[list, tuple]:
    """Return the list of tables at a path, and its place."""
    loc = _loc_of(data, where)
    node: Any = data
    for step in loc:
        node = node[step]
    if not isinstance(node, list):
        raise NoPath(f'"{where}" is not a list of tables', 'add to "part", "stage.NAME.part", "recovery", "rule", "stage" ...; change() writes single tables')
    return node, loc


def _put(data: dict[str, Any], path: str, value: Any) -> None:
    """Set the value at a dotted path, making optional tables on the way where they were omitted; None omits a key again."""
    steps = _steps(data, path)
    node: Any = data
    table = ""
    while True:
        key, steps = next_step(node, steps, table)
        if not steps and value is None:
            if isinstance(node, list):
                raise NoPath("an entry of a list cannot be omitted by None", f'write mission.remove("{path}")')
            node.pop(key, None)
            return
        if not steps:
            node[key] = with_flat_names(value) if table == "" and key == "disperse" else value
            return
        if isinstance(node, dict) and node.get(key) is None:
            node[key] = NewTable()
        if isinstance(node[key], (dict, list)):
            node, table = node[key], key if isinstance(key, str) else ""
        else:
            raise NoPath(f'"{key}" is a value, not a table', f'omit ".{".".join(steps)}"')


# ---------------------------------------------------------------- as text


def toml_of(mission: MissionTables) -> str:
    """Return the mission as TOML text: every value, defaults too, in SI and to the last bit, curves inline."""
    import tomli_w

    text = tomli_w.dumps(_filled(mission.model_dump()))
    # an array of plain numbers goes on one line: the text is meant to be read
    return re.sub(r"\[\n((?:\s*[-+0-9.einfa]+,\n)+)\s*\]", lambda found: f"[{_one_line(found[1])}]", text)


def _one_line(entries: str) -> str:
    return ", ".join(entry.strip().rstrip(",") for entry in entries.splitlines())


def _filled(node: Any) -> Any:
    """Return the tables without omitted values: TOML has no null, and empty text says nothing."""
    if isinstance(node, dict):
        filled = {key: _filled(value) for key, value in node.items()}
        return {key: value for key, value in filled.items() if value not in (None, "", [], {})}
    return [_filled(value) for value in node] if isinstance(node, (list, tuple)) else node
