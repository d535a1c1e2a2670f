"""Files of readings: what is wrong is said in one sentence, with file and key; keys explain themselves."""

from __future__ import annotations

from pathlib import Path

import pytest

import sixdof
from sixdof.mission.errors import MissionError
from sixdof.study.as_built.readings import readings_in, readings_keys, readings_of
from sixdof.study.as_built.tables import Bifilar, Compound, Readings, Scales, Trifilar

DEMO = Path(__file__).parents[3] / "configs/whinchat-readings.toml"
TEXT = DEMO.read_text()
# old text, new text, place, message, hint
FAULTS = {
    "no unit": ('time_error = "0.1 s"\namplitude = "6.5 deg"', 'time_error = "0.1"\namplitude = "6.5 deg"', 'swing[0], key time_error: "0.1" has no unit'),
    "wrong unit": ('aft_support = "1.15 m"', 'aft_support = "1.15 kg"', 'stage "whinchat", scales, key aft_support: "1.15 kg" has the wrong unit'),
    "a key that is none": ('resolution = "1 g"', 'resolutoin = "1 g"', 'key resolutoin: unknown key; did you mean "resolution"?'),
    "missing": ('resolution = "1 g"', "", 'key resolution: missing; write resolution = "1 g"'),
    "missing in a swing": ("swings = 40\n", "", "swing[2], key swings: missing; write swings = 20"),
    "no such swing": ('kind = "compound"', 'kind = "quadrifilar"', "swing[1], key kind: there is no such kind of swing; kinds: bifilar, trifilar, compound"),
    "supports turned round": ('fore_support = "400 mm"', 'fore_support = "1.4 m"', "key aft_support: is not behind the fore support by ten times"),
    "tare and reading exchanged": (
        'fore_tare = "35 g"',
        'fore_tare = "2 kg"',
        "key fore: 1.123 kg is less than the tare, 2 kg; check which of the two is which",
    ),
    "strings of roll for pitch": ('fore_string = "350 mm"', 'spacing = "350 mm"', "key fore_string: missing: a bifilar swing about pitch needs it"),
    "roll on a pivot": ('kind = "compound"\nabout = "pitch"', 'kind = "compound"\nabout = "roll"', "key about: a pivot on the axis gives pitch or yaw"),
    "no run": ('times = ["35.58 s", "35.66 s", "35.52 s"]', "times = []", "swing[2], key times: there is no run"),
    "aboard and not there": ('motors = "cases"', 'motors = "cases"\naboard = ["rod"]', 'key aboard: there is no [[stage.aboard]] "rod"; known are: none'),
    "motors half in": ('motors = "cases"', 'motors = "half"', "key motors: \"half\" is not one of the choices; choices: 'out', 'cases' or 'loaded'"),
    "a panel without reading": ('["0.0 deg", "0.1 deg"]]', "[]]", "fins[0], key panels[3]: there is no reading of the panel"),
    "no stage": (TEXT[TEXT.index("[[stage]]") :], "", "key stage: missing"),
    "not TOML": ("swings = 40", "swings = forty", "is not valid TOML"),
}


@pytest.mark.parametrize("name", FAULTS)
def test_fault__is_one_sentence(name, tmp_path):
    old, new, wanted = FAULTS[name]
    assert TEXT.count(old) == 1
    path = tmp_path / "readings.toml"
    path.write_text(TEXT.replace(old, new))
    with pytest.raises(MissionError) as caught:
        readings_of(path)
    said = [str(fault) for fault in caught.value.faults]
    assert any(one.startswith(f"{path}: ") and wanted in one for one in said), said
    assert all("\n" not in one for one in said)


def test_fault__of_a_stage_that_swings_and_was_not_weighed():
    start, end = TEXT.index("[stage.scales]"), TEXT.index("# on two rollers")
    with pytest.raises(MissionError, match=r"key scales: missing: a swing needs mass and centre of mass; weigh the stage on two scales first"):
        readings_in(TEXT[:start] + TEXT[end:])


def test_readings__of_a_file_a_dictionary_and_themselves():
    one = readings_of(DEMO)
    assert readings_of(one) is one
    assert readings_of({"stage": [one.stage[0].model_dump(exclude_none=True)], "title": one.title, "gravity": 9.8}) == one
    with pytest.raises(TypeError, match="readings_of: source must be the path of a file of readings, not 3"):
        readings_of(3)
    with pytest.raises(MissionError, match="there is no such file"):
        readings_of("nowhere.toml")


def test_keys__explain_every_key_by_its_class():
    page = str(readings_keys())
    for kind in (Readings, Scales, Bifilar, Trifilar, Compound):
        for name, field in kind.model_fields.items():
            assert field.description and (name in page)
    assert '[[stage.swing]] kind = "trifilar"' in page and "aft_of" not in page


def test_examples__of_all_keys_are_readings():
    """What stands as an example in the keys makes tables that are read."""
    for kind in (Scales, Trifilar, Compound):
        kind.model_validate({name: field.examples[0] for name, field in kind.model_fields.items() if field.examples})
    both = {name: field.examples[0] for name, field in Bifilar.model_fields.items() if field.examples and "spacing" not in name}
    assert Bifilar.model_validate(both).length == 1.5


def test_demo__says_that_it_is_invented(stack_mission):
    assert "Everything in this file is invented" in TEXT
    page = sixdof.report(sixdof.workshop.as_built(stack_mission, DEMO))
    flat = " ".join(page.split())
    assert "Mass of whinchat: 41.1 g more than the parts, 2.2 sd of guess and measurement together" in flat
    assert "Not measured: drayhorse" in flat and "not a clearance to fly" in flat
    assert "calibration of the scale 58 %" in flat
    assert max(map(len, page.splitlines())) <= 125
