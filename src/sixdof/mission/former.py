"""Keys of the last version's mission files: each is read for one version more, with a sentence that says what it is called now."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import replace
from typing import Any

from sixdof.mission.errors import Fault, Problem, warn
from sixdof.mission.paths import steps_of
from sixdof.mission.place import place_of
from sixdof.mission.units import shown

KEYS: dict[str, dict[str, str]] = {  # table ("": the mission itself) -> key then -> key now
    "": {"cord": "harness"},
    "part": {
        "span": "semispan",
        "sweep": "tip_offset",
        "phase": "clocking",
        "wall": "wall_thickness",
        "overhang": "protrusion",
        "opening_factor": "opening_force_coefficient",
        "opening_delay": "deployment_delay",
        "reef_share": "reefing_ratio",
        "reef_time": "reefing_time",
    },
    "joint": {"hold": "retention_force"},
    "harness": {"parts_at": "separation_station", "loose_drag": "tumbling_drag"},
    "rule": {"patience": "timeout"},
    "servo": {"travel": "deflection_limit"},
    "receiver": {"force_limit": "specific_force_limit"},
    "detection": {"liftoff_force": "liftoff_specific_force", "ignition_force": "ignition_specific_force", "burnout_force": "burnout_specific_force"},
    "guidance": {"past_last": "after_last", "floor": "minimum_height", "feed_rate": "rate_feedforward"},
    "autopilot": {"gain_pressure": "gain_reference_q"},
}
CHOICES: dict[tuple[str, str], dict[str, str]] = {  # (table, key) -> word then -> word now
    ("part", "kind"): {"guide": "rail_guide", "point": "mass"},
    ("part", "section"): {"wedge": "double-wedge"},
    ("rule", "action"): {"light": "ignite"},
    ("rule", "booster"): {"gone": "separated"},
    ("failure", "kind"): {"no_canopy": "no_deployment", "cord_parts": "harness_breaks"},
}
DISPERSED: dict[str, str] = {  # names of [disperse]
    "cord.strength": "harness.strength",
    "cord.stiffness": "harness.stiffness",
    "cord.loose_drag": "harness.tumbling_drag",
}
_LISTS = ("stage", "part", "rule", "recovery", "harness", "failure")  # whose entries a path names next


class Renaming:
    """What was renamed on the way in: `faults` (both words given) and the sentences of `warn`."""

    def __init__(self, file: str = ""):
        self.file = file
        self.faults: list[Fault] = []
        self._places: dict[tuple[str, str], list[str]] = {}

    def note(self, old: str, new: str, place: str) -> None:
        """Note that `old` stood at a place and is `new` now."""
        self._places.setdefault((old, new), []).append(place)

    def warn(self) -> None:
        """Say what was renamed, a FutureWarning for each word, at the line outside of this package that the call came from."""
        for (old, new), places in self._places.items():
            more = f" (and {len(places) - 1} more)" if len(places) > 1 else ""
            where = f"{self.file}: {places[0]}" if self.file else places[0]
            text = f'{where}: {shown(old)} is called "{new}" now{more}; the old word is read for one more version'
            warn(text, FutureWarning)


def rename(tables: dict[str, Any], file: str = "") -> Renaming:
    """Put today's words into the tables of a mission (plain dictionaries and lists, changed in place) and return what was renamed."""
    found = Renaming(file)
    _keys(found, tables, tables, (), "")
    for table, loc, node in _tables_of(tables):
        _keys(found, tables, node, loc, table)
        for key in [key for owner, key in CHOICES if owner == table and isinstance(node.get(key), str)]:
            new = CHOICES[table, key].get(node[key])
            if new is not None:
                found.note(node[key], new, place_of(tables, (*loc, key)))
                node[key] = new
    _names(found, tables)
    return found


def _tables_of(tables: dict[str, Any]) -> Iterator[tuple[str, tuple, dict]]:
    """Yield (kind of table, place, the table) of every table that has had other words."""
    for key in ("servo", "detection", "guidance", "autopilot"):
        yield from _one(tables, key, (), key)
    for _, loc, sensors in _one(tables, "sensors", (), "sensors"):
        yield from _one(sensors, "receiver", loc, "receiver")
    for key in ("harness", "rule", "failure"):
        yield from _entries(tables, key, ())
    for _, loc, stage in _entries(tables, "stage", ()):
        yield from _one(stage, "joint", loc, "joint")
        yield from _entries(stage, "part", loc)


def _one(node: dict, key: str, loc: tuple, table: str) -> Iterator[tuple[str, tuple, dict]]:
    if isinstance(node.get(key), dict):
        yield table, (*loc, key), node[key]


def _entries(node: dict, key: str, loc: tuple) -> Iterator[tuple[str, tuple, dict]]:
    entries = node.get(key)
    for i, entry in enumerate(entries if isinstance(entries, list) else ()):
        if isinstance(entry, dict):
            yield key, (*loc, key, i), entry


def _keys(found: Renaming, root: dict, node: dict, loc: tuple, table: str) -> None:
    known = KEYS.get(table, {})
    for old in [key for key in node if key in known]:
        _move(found, root, node, loc, old, known[old])


def _move(found: Renaming, root: dict, node: dict, loc: tuple, old: str, new: str) -> None:
    """Give the entry `old` of a table its name of today, in its place among the others."""
    place = place_of(root, (*loc, old))
    if new in node:
        fault = Problem((*loc, old), node[old], f'is the old word for "{new}", which is given too', f'keep "{new}"').at(root)
        found.faults.append(replace(fault, file=found.file))
        del node[old]
        return
    found.note(old, new, place)
    entries = [(new if key == old else key, value) for key, value in node.items()]
    node.clear()
    node.update(entries)


def _names(found: Renaming, tables: dict[str, Any]) -> None:
    """Rename what `[disperse]` and `[[correlation]]` name."""
    parts = part_names(tables)
    spreads = tables.get("disperse")
    if isinstance(spreads, dict):
        for old in [name for name in spreads if isinstance(name, str) and current_name(name, parts) != name]:
            _move(found, tables, spreads, ("disperse",), old, current_name(old, parts))
    for _, loc, group in _entries(tables, "correlation", ()):
        names = group.get("of")
        for k, name in enumerate(names if isinstance(names, list) else ()):
            if isinstance(name, str) and (new := current_name(name, parts)) != name:
                found.note(name, new, place_of(tables, (*loc, "of")))
                names[k] = new


def part_names(tables: dict[str, Any]) -> set[str]:
    """Return the names of the parts of a mission's tables."""
    stages = [stage for _, _, stage in _entries(tables, "stage", ())]
    return {str(part.get("name", "")) for stage in stages for _, _, part in _entries(stage, "part", ())}


# ---------------------------------------------------------------- names and paths


def current_name(name: str, parts: Collection[str] = ()) -> str:
    """Return what a name of `[disperse]`, a path among them, is today. parts : as for `current_path`."""
    return DISPERSED.get(name) or current_path(name, parts)


def current_path(path: str, parts: Collection[str] = ()) -> str:
    """Return a dotted path into a mission in the words of today: `part.tail.span` as `part.tail.semispan`; others come back as they are.

    parts : names of the mission's parts; a part that is called "guide" is not taken for one of that kind.
    """
    steps = steps_of(path)
    if steps[0] == "disperse" and len(steps) > 1:
        return f"disperse.{_spread(steps[1:], parts)}"
    new = _walk(steps, KEYS, lambda table, step: step if step in parts else _entry(table, step))
    return path if new == steps else ".".join(new)


def current_paths(paths: Mapping[str, Any], parts: Collection[str], who: str) -> tuple[dict[str, Any], Renaming]:
    """Return paths with their values, in the words of today, and what was renamed. who : where they stand, for the sentence."""
    found, out = Renaming(), {}
    for path, value in paths.items():
        new = current_path(path, parts) if isinstance(path, str) else path
        if new != path and new in paths:
            found.faults.append(Fault("", path, value, f'is the old word for "{new}", which is given too', f'keep "{new}"'))
        elif new != path:
            found.note(path, new, who)
        out[new] = value
    return out, found


def first_name(name: str) -> str:
    """Return what a name was when its random stream was made from it (a name of `[disperse]`, or "failure KIND: OF"): streams stay for good."""
    if name.startswith("failure "):
        kind, colon, of = name.removeprefix("failure ").partition(": ")
        return f"failure {_KINDS_THEN.get(kind, kind)}{colon}{of}"
    return _NAMES_THEN.get(name) or ".".join(_walk(steps_of(name), _KEYS_THEN, lambda table, step: step))


_KEYS_THEN = {table: {new: old for old, new in keys.items()} for table, keys in KEYS.items()}
_NAMES_THEN = {new: old for old, new in DISPERSED.items()}
_KINDS_THEN = {new: old for old, new in CHOICES["failure", "kind"].items()}


def _walk(steps: list[str], keys: dict[str, dict[str, str]], entry: Callable[[str, str], str]) -> list[str]:
    """Return the steps of a path, keys renamed by their table and entries of lists by `entry(table, step)`."""
    out, table, expects_entry = [], "", False
    for step in steps:
        if expects_entry:
            out.append(entry(table, step))
            expects_entry = False
            continue
        out.append(keys.get(table, {}).get(step, step))
        table = KEYS[""].get(step, step)
        expects_entry = table in _LISTS
    return out


def _entry(table: str, step: str) -> str:
    kinds = CHOICES.get((table, "kind"), {})
    kind, colon, of = step.partition(": ")  # a failure goes by kind and what it befalls
    return f"{kinds.get(kind, kind)}{colon}{of}"


def _spread(steps: list[str], parts: Collection[str]) -> str:
    """Return the name of a spread, and its key behind it if there is one."""
    name = ".".join(steps[:2])
    return ".".join([DISPERSED[name], *steps[2:]]) if name in DISPERSED else current_path(".".join(steps), parts)
