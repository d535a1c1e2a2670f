"""What differs between two ensembles, in words."""

from __future__ import annotations

import json
from collections.abc import Iterator

MOST_DIFFERENCES = 5  # said of two missions that are not the same


def differences(written: dict, now: dict) -> list[str]:
    """Say what differs between the identities of two ensembles."""
    found = []
    for key in dict.fromkeys((*written, *now)):
        a, b = written.get(key, "nothing"), now.get(key, "nothing")
        if a == b:
            continue
        found += mission_differences(a, b) if key == "mission" else [f"{key} is {a} there, {b} now"]
    return found


def mission_differences(there: str, now: str) -> list[str]:
    """Say in which values two missions, as TOML text, differ: the first few."""
    import tomllib

    a, b = (dict(_leaves(tomllib.loads(text))) for text in (there, now))
    paths = [path for path in dict.fromkeys((*a, *b)) if a.get(path) != b.get(path)]
    said = [f"{path} is {_shown(a.get(path))} there, {_shown(b.get(path))} now" for path in paths[:MOST_DIFFERENCES]]
    return said + ([f"and {len(paths) - MOST_DIFFERENCES} more"] if len(paths) > MOST_DIFFERENCES else [])


def _leaves(node, path: str = "") -> Iterator[tuple[str, object]]:
    if isinstance(node, dict):
        for key, value in node.items():
            yield from _leaves(value, f"{path}.{key}" if path else key)
    elif isinstance(node, list) and node and isinstance(node[0], dict):
        for i, value in enumerate(node):
            yield from _leaves(value, f"{path}[{value.get('name', i) if isinstance(value, dict) else i}]")
    else:
        yield path, node


def _shown(value) -> str:
    text = "omitted" if value is None else json.dumps(value)
    return text if len(text) < 60 else text[:57] + "..."
