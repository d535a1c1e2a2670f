"""One stage of a stack as a mission of its own: the tables that remain, and what was omitted."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from sixdof.mission.checks.within import CONDITIONS
from sixdof.mission.edit import mutable
from sixdof.mission.errors import Fault, MissionError, suggestion
from sixdof.mission.paths import path_item, steps_of
from sixdof.mission.place import brief, failure_name
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.mission.tables.mission import MissionTables
from sixdof.mission.units import shown

_OF_STACK = ("drag_curve", "drag_curve_powered", "axial_curve", "body_curve")  # measured with the stages in front on top
_LISTS = ("rule", "recovery", "harness", "failure", "correlation")


def alone(mission: MissionTables, stage: str) -> tuple[dict[str, Any], list[str]]:
    """Return the tables of one stage alone and, in words, what was omitted so far; `drop` goes on from there.

    Raises MissionError for a stage that the mission does not have.
    """
    names = [each.name for each in mission.stage]
    if stage not in names:
        raise MissionError([Fault("", "only", stage, f"there is no stage {shown(stage)}", suggestion(str(stage), names, "stages"))])
    data = mutable(mission.model_dump())
    if len(names) == 1:
        return data, []
    number = names.index(stage)
    left_out = [f"stage {shown(name)}" for name in names if name != stage]
    data["disperse"], data["correlation"] = _renamed(mission, number, left_out)
    data["stage"] = [data["stage"][number]]
    _stage_alone(data["stage"][0], number, left_out)
    _canopies_alone(data, left_out)
    _computer_alone(data, left_out)
    _draws_alone(data)
    return data, left_out


def _stage_alone(stage: dict, number: int, left_out: list[str]) -> None:
    """Take away what ties a stage to the others."""
    stage.pop("joint")
    stage.pop("ignition")  # the clock starts with it
    measured = stage.get("measured") or {}
    curves = [key for key in _OF_STACK if number and measured.get(key) is not None]
    for key in curves:
        measured[key] = None
        left_out.append(f"measured.{key} (of the stack)")


def _computer_alone(data: dict, left_out: list[str]) -> None:
    """Take away what the flight computer knows of boosters: gains with one, and that rules wait for it to have separated."""
    if data["autopilot"].get("with_booster") is not None:
        data["autopilot"]["with_booster"] = None
        left_out.append("autopilot.with_booster")
    for rule in data["rule"]:
        if rule["booster"] == "separated" and rule["action"] not in ("ignite", "separate"):  # as it always is now
            rule["booster"] = None
            if not any(rule.get(key) is not None for key in CONDITIONS):
                rule["timeout"] = None
            left_out.append(f'the condition booster of rule "{brief(rule["name"])}"')


def _canopies_alone(data: dict, left_out: list[str]) -> None:
    """Take away what brings the other stages down, and what is drawn for joints and the like where none is left."""
    own = {part["name"] for part in data["stage"][0]["part"] if part["kind"] == "parachute"}
    for key in ("recovery", "harness"):
        left_out += [f"{key} {shown(entry['canopy'])}" for entry in data[key] if entry["canopy"] not in own]
        data[key] = [entry for entry in data[key] if entry["canopy"] in own]
    none_left = ["joint."] + ["ignition."] + ["harness."] * (not data["harness"]) + ["canopy."] * (not own)
    gone = [name for name in data["disperse"] if name.startswith(tuple(none_left))]
    left_out += [f"disperse {shown(name)}" for name in gone]
    data["disperse"] = {name: spread for name, spread in data["disperse"].items() if name not in gone}
    data["correlation"] = [group for group in data["correlation"] if not set(gone) & set(group["of"])]


def _draws_alone(data: dict) -> None:
    """Take away what is said of the draws of single stages, canopies ... that are gone."""
    stage = data["stage"][0]
    left = {stage["name"], *(part["name"] for part in stage["part"] if part["kind"] == "parachute"), *(rule["name"] for rule in data["rule"])}
    for spread in data["disperse"].values():
        spread["of"] = {name: own for name, own in spread["of"].items() if name in left or name.isdecimal()}
    data["correlation"] = [group for group in data["correlation"] if not group["only"] or left & set(group["only"])]
    for group in data["correlation"]:
        group["only"] = [name for name in group["only"] if name in left]


def _renamed(mission: MissionTables, number: int, left_out: list[str]) -> tuple[dict, list]:
    """Return spreads and correlations without paths into other stages, and entries of lists by name: their numbers change."""
    names = {name: _by_name(mission, name) for name in mission.disperse if name not in DISPERSIBLE}
    gone = {name for name in names if steps_of(name)[0] == "stage" and path_item(mission, name).loc[1] != number}
    left_out += [f"disperse {shown(name)}" for name in gone]
    dump = mutable(mission.model_dump(include={"disperse", "correlation"}))
    spreads = {names.get(name, name): spread for name, spread in dump["disperse"].items() if name not in gone}
    groups = [{**group, "of": [names.get(name, name) for name in group["of"]]} for group in dump["correlation"] if not gone & set(group["of"])]
    if len(groups) < len(dump["correlation"]):
        left_out.append("correlations of these")
    return spreads, groups


def _by_name(mission: MissionTables, name: str) -> str:
    steps = steps_of(name)
    if steps[0] not in ("stage", "rule", "recovery", "harness") or not steps[1].isdecimal():
        return name
    entry = getattr(mission, steps[0])[int(steps[1])]
    called = getattr(entry, "name", "") or getattr(entry, "canopy", "")
    return ".".join([steps[0], called, *steps[2:]]) if called else name


def drop(data: dict, faults: Iterable[Fault], left_out: list[str]) -> bool:
    """Take rules, recoveries, harnesses, failures and spreads with faults out of the tables; return whether there were any.

    The whole mission was sound: what is wrong with one of these now is that it belongs to a stage that is gone.
    """
    entries, spreads = set(), set()
    for fault in faults:
        if found := re.match(rf"({'|'.join(_LISTS)})\[(\d+)\]", fault.key):
            entries.add((found[1], int(found[2])))
        spreads |= {name for name in data["disperse"] if f"{fault.key}.".startswith(f"disperse.{name}.")}
    left_out += [f"{key} {shown(_called(key, data[key][number]))}" for key, number in sorted(entries)]
    for key, number in sorted(entries, reverse=True):
        del data[key][number]
    for name in spreads:
        del data["disperse"][name]
        left_out.append(f"disperse {shown(name)}")
    return bool(entries or spreads)


def _called(key: str, entry: dict) -> str:
    if key == "failure":
        return failure_name(entry["kind"], entry["of"])
    return entry.get("name") or entry.get("canopy") or entry.get("when") or ", ".join(entry.get("of", ()))
