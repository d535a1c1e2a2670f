"""The JSON schema of the mission file: what loads is valid by it, and what editors can see is marked."""

from __future__ import annotations

import copy
import tomllib
from pathlib import Path

import pytest
from jsonschema import Draft202012Validator

from sixdof.mission.explain.json_schema import json_schema
from sixdof.mission.explain.templates import TEMPLATES, new_mission
from sixdof.mission.explain.walk import all_tables

ROOT = Path(__file__).parents[2]
SHIPPED = [*(path for path in sorted(ROOT.glob("configs/*.toml")) if "readings" not in path.name), *sorted(ROOT.glob("tests/vehicles/*.toml"))]


@pytest.fixture(scope="module")
def schema():
    return json_schema()


@pytest.fixture(scope="module")
def validator(schema):
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_schema__every_shipped_mission_is_valid(validator, path):
    assert [error.message for error in validator.iter_errors(tomllib.loads(path.read_text()))] == []


@pytest.mark.parametrize("kind", TEMPLATES)
def test_schema__every_template_is_valid(validator, kind):
    assert [error.message for error in validator.iter_errors(tomllib.loads(new_mission(kind)))] == []


def test_schema__what_python_writes_is_valid(validator, demo_mission):
    assert list(validator.iter_errors(tomllib.loads(demo_mission.to_toml()))) == []


def test_schema__stations_by_another_part(validator):
    tables = tomllib.loads((ROOT / "configs/sampler.toml").read_text())
    part = next(part for part in tables["stage"][0]["part"] if part["kind"] == "mount")
    for station, sound in (({"flush_aft": "airframe"}, True), ({"aft_of": "nose", "gap": "2 cm"}, True), ({"behind": "nose"}, False), ({}, False)):
        part["station"] = station
        assert validator.is_valid(tables) == sound


def faulty(tables, path, value):
    tables = copy.deepcopy(tables)
    node = tables
    for step in path[:-1]:
        node = node[step]
    if value is None:
        del node[path[-1]]
    else:
        node[path[-1]] = value
    return tables


@pytest.mark.parametrize(
    "path, value",
    [
        (("rial",), {"length": "3 m"}),
        (("rail",), None),
        (("rail", "length"), None),
        (("rail", "elevatoin"), "86 deg"),
        (("rail", "length"), "3"),  # text without a unit
        (("rail", "length"), "three metres"),
        (("rail", "length"), "1,5 m"),
        (("rail", "length"), -3.0),
        (("rail", "elevation"), 86),  # in rad: beyond vertical
        (("rail", "length"), True),
        (("site", "earth"), "round"),
        (("stage", 0, "part", 0, "kind"), "noze"),
        (("stage", 0, "part", 0, "kind"), None),
        (("stage", 0, "part", 0, "material"), "petgg"),
        (("stage", 0, "part", 3, "count"), 3.5),
        (("stage", 0, "part", 3, "control"), "yes"),
        (("autopilot", "gain_scale_limits"), [0.4]),
        (("autopilot", "pitch"), 0.3),
        (("rule", 0, "action"), "explode"),
        (("record", "rate"), []),
        (("disperse", "wind", "speed"), {"sdd": 0.1}),
        (("title",), 5),
        (("stage", 0, "part", 3, "station"), {"aft_off": "airframe"}),
        (("stage", 0, "part", 3, "station"), {"aft_of": "airframe", "fore_of": "airframe"}),
    ],
)
def test_schema__marks_faults(validator, demo_path, path, value):
    tables = tomllib.loads(demo_path.read_text())
    assert list(validator.iter_errors(tables)) == []
    assert list(validator.iter_errors(faulty(tables, path, value)))


def test_schema__a_station_by_another_part_is_valid(validator, demo_path):
    tables = faulty(tomllib.loads(demo_path.read_text()), ("stage", 0, "part", 3, "station"), {"flush_aft": "airframe", "gap": "-10 mm"})
    assert list(validator.iter_errors(tables)) == []
    assert list(validator.iter_errors(faulty(tables, ("stage", 0, "part", 3, "station", "gap"), "10")))


def test_schema__completes_and_explains_every_key(schema):
    entries = schema["$defs"] | {"Mission": schema}
    for table in all_tables():
        properties = entries[table.kind.__name__]["properties"]
        assert list(properties) == [key.name for key in table.keys]
        assert all(key.meaning in properties[key.name]["description"] for key in table.keys), table.name
    assert "wind" in schema["properties"]["disperse"]["properties"]


def test_schema__examples_are_valid_by_it(schema):
    entries = schema["$defs"] | {"Mission": schema}
    for table in all_tables():
        for key in table.keys:
            if "table" not in key.kind:
                own = {**entries[table.kind.__name__]["properties"][key.name], "$defs": schema["$defs"]}
                Draft202012Validator(own).validate(tomllib.loads(key.example)[key.name])
