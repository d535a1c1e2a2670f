"""Words of the last version's mission files: read once more with a sentence that says today's, and never beside today's."""

from __future__ import annotations

import re
import warnings
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

import sixdof
from sixdof.draws.given import draws_of
from sixdof.draws.table import draw_table
from sixdof.mission.errors import MissionError
from sixdof.mission.former import CHOICES, DISPERSED, KEYS, current_name, current_path, first_name
from sixdof.mission.load import load_mission, loads_mission, stored_mission

CONFIGS = Path(__file__).parents[2] / "configs"
RENAMED = [(table, old, new) for table, keys in KEYS.items() for old, new in keys.items()]
WORDS = [(table, key, old, new) for (table, key), words in CHOICES.items() for old, new in words.items()]
SPAN = "stage.whinchat.part.tail.span"  # the path of the last version
# what the two-stage demo leaves out, so that every renamed key is in the file
EXTRA = {
    "stage.whinchat.part.main.reefing_ratio": 0.3,
    "stage.whinchat.part.main.reefing_time": 2.0,
    "stage.drayhorse.part.booster fins.section": "double-wedge",
}


@pytest.fixture(scope="module")
def mission():
    return load_mission(CONFIGS / "two-stage.toml").change(EXTRA)


@pytest.fixture(scope="module")
def text(mission):
    return mission.to_toml()


def in_old_words(text: str, table: str, pattern: str, old: str) -> str:
    """Return TOML with what `pattern` matches in tables whose header ends in `table` replaced by `old`."""
    out, at = [], ""
    for line in text.split("\n"):
        header = re.fullmatch(r"\[+([^\]]+)\]+", line)
        at = header[1].split(".")[-1] if header else at
        out.append(re.sub(pattern, old, line) if at == table and not header else line)
    return "\n".join(out)


def read(written: str):
    """Return the mission of a text, and what was said on the way."""
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        mission = loads_mission(written)
    assert all(each.category is FutureWarning and each.filename == __file__ for each in said)
    return mission, [str(each.message) for each in said]


def faults(call) -> str:
    with pytest.raises(MissionError) as caught:
        call()
    return str(caught.value)


# ---------------------------------------------------------------- in a file


@pytest.mark.parametrize("table, old, new", [each for each in RENAMED if each[0]])
def test_key__is_read_with_one_sentence(table, old, new, mission, text):
    written = in_old_words(text, table, rf"^{new} = ", f"{old} = ")
    assert written != text
    found, said = read(written)
    assert found == mission
    assert len(said) == 1 and f'key {old}: "{old}" is called "{new}" now' in said[0].replace(f"{table}.{old}", old).replace("sensors.", "")
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert stored_mission(written) == mission  # what a result of the last version holds is read without a word


@pytest.mark.parametrize("table, key, old, new", WORDS)
def test_choice__is_read_with_one_sentence(table, key, old, new, mission, text):
    written = text.replace(f'{key} = "{new}"', f'{key} = "{old}"')
    assert written != text
    found, said = read(written)
    assert found == mission
    assert len(said) == 1 and f'key {key}: "{old}" is called "{new}" now' in said[0]


def test_table__of_cords_is_read_with_its_dispersed_names(mission, text):
    written = (
        text.replace("[[harness]]", "[[cord]]")
        .replace("[harness.charge]", "[cord.charge]")
        .replace('"harness.', '"cord.')
        .replace("cord.tumbling_drag", "cord.loose_drag")
    )
    found, said = read(written)
    assert found == mission
    assert sorted(re.search(r'("[a-z_.]+") is called', each)[1] for each in said) == ['"cord"', '"cord.loose_drag"', '"cord.stiffness"', '"cord.strength"']


def test_file__of_the_last_version_is_named_in_the_sentence(tmp_path):
    path = tmp_path / "old.toml"
    path.write_text((CONFIGS / "sampler.toml").read_text().replace("motors/", f"{CONFIGS}/motors/").replace("wall_thickness = ", "wall = "))
    with pytest.warns(FutureWarning) as said:
        assert load_mission(path).stage == load_mission(CONFIGS / "sampler.toml").stage
    (sentence,) = (str(each.message) for each in said)
    start = f'{path}: stage "thistledown", part nose, key wall: "wall" is called "wall_thickness" now (and 3 more); '
    assert sentence == start + "the old word is read for one more version"


@pytest.mark.parametrize("table, old, new", [each for each in RENAMED if each[0]])
def test_key__beside_its_new_one_is_a_fault(table, old, new, text):
    written = in_old_words(text, table, rf"^({new} = .*)$", rf"\1\n{old} = 0.001")
    said = faults(lambda: loads_mission(written))
    assert f'is the old word for "{new}", which is given too; keep "{new}"' in said


def test_tables__under_both_names_are_a_fault(text):
    assert 'key cord: is the old word for "harness", which is given too' in faults(lambda: loads_mission(text + '\n[[cord]]\ncanopy = "main"\n'))


# ---------------------------------------------------------------- in Python


@pytest.mark.parametrize(
    "old, new, value",
    [
        ("stage.whinchat.part.tail.span", "stage.whinchat.part.tail.semispan", 0.05),
        ("stage.0.part.tail.sweep", "stage.0.part.tail.tip_offset", 0.03),
        ("stage[0].part[3].phase", "stage[0].part[3].clocking", 0.1),
        ("stage.drayhorse.joint.hold", "stage.drayhorse.joint.retention_force", 350.0),
        ("cord.drogue.parts_at", "harness.drogue.separation_station", 0.71),
        ("cord.0.loose_drag", "harness.0.tumbling_drag", 0.9),
        ("failure.cord_parts: drogue.probability", "failure.harness_breaks: drogue.probability", 0.1),
        ("failure.no_canopy: main.probability", "failure.no_deployment: main.probability", 0.1),
        ("rule.light.patience", "rule.light.timeout", 2.0),
        ("servo.travel", "servo.deflection_limit", 0.2),
        ("sensors.receiver.force_limit", "sensors.receiver.specific_force_limit", 90.0),
        ("detection.liftoff_force", "detection.liftoff_specific_force", 25.0),
        ("guidance.floor", "guidance.minimum_height", 40.0),
        ("autopilot.gain_pressure", "autopilot.gain_reference_q", 4e3),
        ("disperse.cord.strength.sd", "disperse.harness.strength.sd", 0.1),
    ],
)
def test_change__takes_paths_of_the_last_version(old, new, value, mission):
    assert current_path(old) == new.replace("stage[0].part[3]", "stage.0.part.3")
    with pytest.warns(FutureWarning, match=f'is called "{re.escape(current_path(old))}" now') as said:
        assert mission.change({old: value}) == mission.change({new: value})
    assert len(said) == 1 and said[0].filename == __file__


def test_change__with_both_words_is_a_fault(mission):
    said = faults(lambda: mission.change({"servo.travel": 0.2, "servo.deflection_limit": 0.1}))
    assert said == 'servo.travel: is the old word for "servo.deflection_limit", which is given too; keep "servo.deflection_limit"'


def test_add__takes_a_part_of_the_last_version(mission):
    part = {"name": "ballast", "mass": "50 g", "station": "300 mm"}
    with pytest.warns(FutureWarning, match='"point" is called "mass" now'):
        found = mission.add("stage.whinchat.part", {"kind": "point", **part})
    assert found == mission.add("stage.whinchat.part", {"kind": "mass", **part})
    with pytest.warns(FutureWarning, match='"cord.drogue" is called "harness.drogue" now'):
        assert mission.change({"failure": [], "disperse": {}}).remove("cord.drogue").harness == mission.harness[1:]


def test_part__called_as_a_kind_was_keeps_its_name(mission):
    named = mission.change({"stage.0.part.servos.name": "point"})
    changed = named.change({"stage.0.part.point.mass": 0.2, "disperse": {"stage.0.part.point.mass": {"sd": "5 g"}}})
    assert next(part for part in changed.stage[0].part if part.name == "point").mass == 0.2
    assert list(changed.disperse) == ["stage.0.part.point.mass"]


# ---------------------------------------------------------------- draws and results


def test_stream__of_a_renamed_name_is_that_of_its_first_name():
    """crc32 of the names of the last version, by hand: draws of a seed stay what they were."""
    for old, new in [*DISPERSED.items(), (SPAN, SPAN.replace("span", "semispan")), ("harness.drogue.length", "harness.drogue.length")]:
        assert current_name(old) == new and first_name(new) == old.replace("harness.drogue", "cord.drogue")
    assert first_name("failure harness_breaks: drogue") == "failure cord_parts: drogue"
    assert first_name("failure no_deployment: part 1") == "failure no_canopy: part 1"
    for same in ("wind.speed", "stage.0.part.tail.root_chord", "failure no_ignition: whinchat", "servo.rate_limit"):
        assert first_name(same) == same == current_name(same)


def test_dispersed__names_and_paths_of_the_last_version(mission):
    spreads = {"cord.strength": {"sd": 0.08}, SPAN: {"sd": "1 mm"}}
    pair = [{"of": ["cord.strength", "cord.stiffness"], "coefficient": 0.3}]
    with pytest.warns(FutureWarning) as said:
        old = mission.change({"disperse": spreads | {"cord.stiffness": {"sd": 0.2}}, "correlation": pair})
    assert len(said) == 3
    assert list(old.disperse) == ["harness.strength", "harness.stiffness", SPAN.replace("span", "semispan")]
    assert old.correlation[0].of == ("harness.strength", "harness.stiffness")


def test_rows__of_an_ensemble_of_the_last_version(mission):
    """What an older version wrote: its words in the mission, the inputs, their dim and their attribute."""
    today = mission.change({"disperse": {"harness.strength": {"sd": 0.08}, SPAN.replace("span", "semispan"): {"sd": "1 mm"}}, "correlation": []})
    table = draw_table(today, 7, 0, 5)
    text = (
        today.to_toml()
        .replace("[[harness]]", "[[cord]]")
        .replace("[harness.charge]", "[cord.charge]")
        .replace('"harness.strength"', '"cord.strength"')
        .replace("tail.semispan", "tail.span")
    )
    text = in_old_words(text, "harness", "^separation_station", "parts_at").replace("no_deployment", "no_canopy").replace("harness_breaks", "cord_parts")
    named = ["no_ignition: whinchat", "no_separation: drayhorse", "late_apogee: whinchat", "no_canopy: main", "no_canopy: booster main", "cord_parts: drogue"]
    old = xr.Dataset(
        {
            "cord_strength": (("flight", "cord"), table["harness.strength"].values),
            "stage_whinchat_part_tail_span": (("flight",), table[SPAN.replace("span", "semispan")].values, {"disperses": SPAN}),
            "failure_drawn": (("flight", "failure"), table["failure_drawn"].values),
        },
        {"flight": np.arange(5), "cord": ["drogue", "booster main"], "failure": named},
        {"seed": "7", "mission": text},
    )
    found = draws_of(old, stored_mission(text))
    for name in table.data_vars:
        np.testing.assert_array_equal(found[name].values, table[name].values)
    assert sixdof.Mission is type(stored_mission(text))
