"""Where a fault sits: the dotted key as the user wrote it, and the same place in words."""

from __future__ import annotations

from collections.abc import Mapping

_NAMED = {"stage": "name", "rule": "name", "recovery": "canopy", "harness": "canopy"}  # lists of tables, and the key that names an entry

MOST_NAME = 60  # characters


def key_of(loc: tuple) -> str:
    """Return the dotted key of a path: `("stage", 0, "name")` -> `stage[0].name`."""
    text = ""
    for step in loc:
        text += f"[{step}]" if isinstance(step, int) else f".{step}" if text else str(step)
    return text


def brief(name: object) -> str:
    """Return a name as it stands in a sentence: cut where it is very long."""
    text = str(name)
    return text if len(text) <= MOST_NAME else f"{text[: MOST_NAME - 4]} ..."


def failure_name(kind: object, of: object) -> str:
    """Return what a failure is called everywhere, `no_ignition: booster`."""
    return f"{kind}: {of}"


def child(node, step):
    """Return the entry `step` of a dictionary, a list or a mission table, or None where there is no such entry."""
    if isinstance(node, Mapping):
        return node.get(step)
    if isinstance(step, int):
        return node[step] if isinstance(node, (list, tuple)) and 0 <= step < len(node) else None
    return getattr(node, step, None) if isinstance(step, str) else None


def place_of(root, loc: tuple) -> str:
    """Return the place in words: `stage "dart", part fins "tail", key root_chord`.

    root : what `loc` starts from, a mission or the raw dictionary of one (names are looked up in it).
    """
    words: list[str] = []
    node, rest = root, list(loc)
    if rest[:2] == ["guidance", "waypoint"]:
        node, rest = child(root, "guidance"), rest[1:]
    while len(rest) >= 2 and (word := _entry(node, rest[0], rest[1])):
        words.append(word)
        node, rest = child(child(node, rest[0]), rest[1]), rest[2:]
    last = max((i for i, step in enumerate(rest) if isinstance(step, str)), default=None)
    if last is not None:
        if last:
            words.append(_brief_key(rest[:last]))
        words.append(f"key {_brief_key(rest[last:])}")
    return ", ".join(words)


def _brief_key(steps: list) -> str:
    return key_of(tuple(brief(step) if isinstance(step, str) else step for step in steps))


def _entry(node, table, step) -> str | None:
    """Return the words for one entry of a list or dictionary of tables, None where `table` is not one of these."""
    if table in ("motor", "disperse") and isinstance(step, str):
        return f'{table} "{brief(step)}"'
    if not isinstance(step, int):
        return None
    entry = child(child(node, table), step)
    if table in _NAMED:
        name = child(entry, _NAMED[table])
        return f'{table} "{brief(name)}"' if isinstance(name, str) and name else f"{table}[{step}]"
    if table == "failure":
        name = failure_name(child(entry, "kind"), child(entry, "of"))
        return f'failure "{brief(name)}"' if child(entry, "of") else f"failure[{step}]"
    if table == "waypoint":  # counted as fins are
        return f'waypoint "{brief(child(entry, "name"))}"' if child(entry, "name") else f"waypoint {step + 1}"
    if table == "part":
        return _part(child(node, "part"), step, entry)
    return None


def _part(parts, step: int, entry) -> str:
    kind, name = child(entry, "kind"), child(entry, "name")
    if not isinstance(kind, str):
        return f"part[{step}]"
    if isinstance(name, str) and name:
        return f'part {brief(kind)} "{brief(name)}"'
    alone = sum(child(part, "kind") == kind for part in parts) == 1
    return f"part {brief(kind)}" if alone else f"part[{step}] {brief(kind)}"
