"""The mission file as a JSON schema (draft 2020-12), from which an editor completes keys and shows what they mean."""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter

from sixdof.mission.explain.keys import facts
from sixdof.mission.explain.walk import PLACED, KeyTable, all_tables
from sixdof.mission.mission import Mission
from sixdof.mission.placing import WORDS
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.mission.units import Length

DIALECT = "https://json-schema.org/draft/2020-12/schema"
# keys that may be the path of a file of numbers instead of the table or list itself
FILES = {
    "Motor": ("thrust_curve",),
    "Fins": ("panel_curve", "roll_damping_curve", "roll_forcing_curve"),
    "Measured": ("drag_curve", "drag_curve_powered", "axial_curve", "body_curve"),
    "Air": ("sounding",),
    "Wind": ("table", "member"),
}
# a station by another part of the stage
_BY_PART = {
    "type": "object",
    "properties": {
        **{word: {"type": "string", "description": "name, or kind, of another part of the stage"} for word in WORDS},
        "gap": {"$ref": "#/$defs/Gap"},
    },
    "oneOf": [{"required": [word]} for word in WORDS],
    "additionalProperties": False,
}
_SPREADS = {"anyOf": [{"$ref": "#/$defs/Spread"}, {"$ref": "#/$defs/Spreads"}]}


def json_schema() -> dict[str, Any]:
    """Return the JSON schema of the mission file.

    Quantities are numbers in SI or text with a unit; whether a unit has the right dimension, and whether tables fit together, only
    loading the mission tells. An editor with support for TOML finds the schema by a comment at the head of the mission file:

        #:schema sixdof.schema.json

    Examples
    --------
    >>> "rail" in sixdof.parts.json_schema()["properties"]
    True
    """
    schema = Mission.model_json_schema()
    tables = {table.kind.__name__: table for table in all_tables()}
    for name, entry in (*schema["$defs"].items(), ("Mission", schema)):
        if name in tables:
            _explain(entry, tables[name])
        for key in FILES.get(name, ()):
            entry["properties"][key] = _or(entry["properties"][key], {"type": "string"})
        for key in PLACED if name != "Mission" else ():
            if key in entry["properties"]:
                entry["properties"][key] = _or(entry["properties"][key], _BY_PART)
    schema["$defs"]["Gap"] = TypeAdapter(Length).json_schema()
    _kinds_needed(schema)
    _names_of_spreads(schema)
    return {"$schema": DIALECT, **_clean(schema), "title": "sixdof mission file"}


def _explain(entry: dict, table: KeyTable) -> None:
    """Put the meanings of a table and of its keys, with unit, range and default, into its schema."""
    entry["description"] = table.about
    for key in table.keys:
        entry["properties"][key.name]["description"] = f"{key.meaning} ({facts(key)})".strip()


def _or(entry: dict, other: dict) -> dict:
    """Return the schema of a key that may hold something else as well."""
    outer = {key: entry.pop(key) for key in ("description", "examples", "default") if key in entry}
    options = entry.pop("anyOf", None) or [entry]
    return {"anyOf": [*options, other], **outer}


def _kinds_needed(schema: dict) -> None:
    """Let every part say its kind: the classes fill it in, a file cannot leave it out."""
    for entry in schema["$defs"].values():
        if "const" in entry.get("properties", {}).get("kind", {}):
            entry["required"] = ["kind", *(key for key in entry.get("required", ()) if key != "kind")]


def _names_of_spreads(schema: dict) -> None:
    """Let `[disperse]` complete its names: `wind.speed` without quotes is a table in a table to TOML, and so is any path."""
    groups: dict[str, dict] = {}
    for item in DISPERSIBLE.values():
        group, _, name = item.name.partition(".")
        spread = {"$ref": "#/$defs/Spread", "description": item.doc}
        groups.setdefault(group, {"type": "object", "properties": {}, "additionalProperties": _SPREADS})["properties"][name] = spread
    schema["$defs"]["Spreads"] = {"type": "object", "additionalProperties": _SPREADS}
    schema["properties"]["disperse"] |= {"type": "object", "properties": groups, "additionalProperties": _SPREADS}


def _clean(node: Any, *, names: bool = False) -> Any:
    """Return the schema without what TOML cannot hold (null) and without titles. names : whether the keys of `node` are those of the mission file."""
    if isinstance(node, list):
        return [_clean(one) for one in node]
    if not isinstance(node, dict):
        return node
    if names:
        return {key: _clean(value) for key, value in node.items()}
    options = [one for one in node.get("anyOf", ()) if one != {"type": "null"}]
    if "anyOf" in node and len(options) < len(node["anyOf"]) and len(options) == 1:
        node = {**options[0], **{key: value for key, value in node.items() if key != "anyOf"}}
    elif "anyOf" in node:
        node = {**node, "anyOf": options}
    kept = {key: value for key, value in node.items() if key not in ("title", "discriminator") and not (key == "default" and value is None)}
    return {
        key: value if key in ("examples", "default", "enum", "const") else _clean(value, names=key in ("properties", "$defs")) for key, value in kept.items()
    }
