"""Every fault of a mission file: the sentence, where it sits, and what would be right."""

from __future__ import annotations

import math

import pytest
from fault_cases import MOTOR_CURVE, TABLES, VALUES
from fault_cases_across import ACROSS, FIRST_GUIDE, SECOND_SET
from fault_cases_air import SITE_AND_AIR
from fault_cases_draws import DRAWS
from fault_cases_limits import LIMITS

from sixdof.mission.checks.across import faults_of
from sixdof.mission.errors import MissionError
from sixdof.mission.load import load_mission, loads_mission

CASES = [(name, *case) for cases in (VALUES, TABLES, ACROSS, SITE_AND_AIR, DRAWS, LIMITS) for name, case in cases.items()]


def faults(text: str):
    """Return the faults of a mission's text, which must have some."""
    with pytest.raises(MissionError) as caught:
        loads_mission(text)
    return caught.value.faults


@pytest.mark.parametrize(("name", "old", "new", "key", "message", "hint"), CASES, ids=[case[0] for case in CASES])
def test_fault__says_where_what_and_what_would_be_right(broken, tmp_path, name, old, new, key, message, hint):
    file = tmp_path / "demo.toml"
    file.write_text(broken((old, new)))
    with pytest.raises(MissionError) as caught:
        load_mission(file)
    found = {fault.key: fault for fault in caught.value.faults}
    assert key in found, str(caught.value)
    fault = found[key]
    assert fault.file == str(file)
    assert message in fault.message
    assert hint in fault.hint
    assert str(fault).startswith(f"{file}: ") and str(fault).count("\n") == 0
    assert str(fault) in str(caught.value).split("\n")


WEAK = (MOTOR_CURVE, "{ time = [0, 1], thrust = [100, 100] }")
SIXTY_GRAMS = ('propellant_mass = "120 g"', 'propellant_mass = "60 g"')
LONG_CASE = ('length = "200 mm"', 'length = "1 m"')
LONG_MOUNT = ('motor = "D240"', 'motor = "D240"\nprotrusion = "75 cm"')


def test_fault__a_thin_grain_is_one_only_where_its_length_is_given(broken):
    without = ('grain_length = "120 mm"\n', "")
    assert faults_of(loads_mission(broken(SIXTY_GRAMS, LONG_CASE, LONG_MOUNT, WEAK, without))) == []
    given = ('grain_length = "120 mm"', 'grain_length = "90 cm"')
    (fault,) = faults(broken(SIXTY_GRAMS, LONG_CASE, LONG_MOUNT, WEAK, given))
    assert fault.key == "motor.D240.propellant_mass" and "kg/m^3" in fault.message


def test_fault__none_where_fins_stand_close_but_fit(broken):
    assert loads_mission(broken(("count = 4", "count = 16"))).stage[0].part[2].count == 16


SENTENCES = [
    ("root_chord", "root_chrd", 'stage "dart", part fins "tail", key root_chrd: unknown key; did you mean "root_chord"?'),
    ('motor = "D240"', 'motor = "D24"', 'stage "dart", part mount, key motor: there is no motor "D24"; did you mean "D240"?'),
    (
        'station = "1.1 m"',
        'station = "9 m"',
        "stage \"dart\", part[4] rail_guide, key station: 9 m is not on the stage's body, 0 to 1.25 m; stations count aft from the stage's fore end",
    ),
    ('canopy = "main"', 'canopy = "mian"', 'recovery "mian", key canopy: there is no parachute "mian"; did you mean "main"?'),
    ('delay = "0.4 s"', 'delay = "0.4 m"', 'rule "fins on", key delay: "0.4 m" has the wrong unit; expected a quantity such as "0.3 s"'),
    ('speed = "4 m/s"', 'sped = "4 m/s"', 'air.wind, key sped: unknown key; did you mean "speed"?'),
    ("title", "titel", 'key titel: unknown key; did you mean "title"?'),
    ('sd = "2 %"', 'sd = "2 m"', 'disperse "motor.impulse", key sd: "2 m" has the wrong unit; expected a quantity such as "2 %" or 0.02'),
]


@pytest.mark.parametrize(("old", "new", "sentence"), SENTENCES)
def test_fault__the_whole_sentence(broken, tmp_path, monkeypatch, old, new, sentence):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "demo.toml").write_text(broken((old, new)))
    with pytest.raises(MissionError) as caught:
        load_mission("demo.toml")
    assert f"demo.toml: {sentence}" in str(caught.value).split("\n")


def test_faults__all_of_them_together(broken):
    wide_bore = ('bore_diameter = "10 mm"', "bore_diameter = 1")
    text = broken(("title", "titel"), ('"3 m"', '"3 kg"'), ("root_chord", "root_chrd"), wide_bore)
    keys = [fault.key for fault in faults(text)]
    assert keys == ["rail.length", "motor.D240.bore_diameter", "stage[0].part[2].root_chrd", "titel"]


def test_faults__across_tables_together(broken):
    text = broken(('canopy = "main"', 'canopy = "x"'), ('motor = "D240"', 'motor = "x"'), ('"1.15 m"', '"3 m"'))
    keys = {fault.key for fault in faults(text)}
    assert keys == {"recovery[0].canopy", "stage[0].part[6].motor", "stage[0].part[2].station"}


BOOSTER = """
[[stage]]
name = "booster"
[[stage.part]]
kind = "transition"
length = "100 mm"
fore_diameter = "75 mm"
aft_diameter = "100 mm"
mass = "80 g"
[[stage.part]]
kind = "tube"
length = "500 mm"
diameter = "100 mm"
mass = "300 g"
[[stage.part]]
kind = "mount"
motor = "D240"
station = "340 mm"
length = "260 mm"
inner_diameter = "39 mm"
mass = "50 g"
"""
IN_BOOSTER = [
    ('"booster"', '"dart"', "stage[1].name", 'another stage "dart"'),
    ('fore_diameter = "75 mm"', 'fore_diameter = "7 cm"', "stage[1].part[0].fore_diameter", 'meet the tube "airframe"'),
    ('station = "340 mm"', 'station = "1 m"', "stage[1].part[2].station", "0 to 0.6 m"),
    ('mass = "80 g"', 'mass = "80 g"\nwall_thickness = "4 cm"', "stage[1].part[0].wall_thickness", "its narrow end"),
    ('kind = "tube"', 'kind = "nose"', "stage[1].part[1].kind", "behind another body"),
]


@pytest.mark.parametrize(("old", "new", "key", "message"), IN_BOOSTER)
def test_stages__each_has_its_own_stations_and_names(text, old, new, key, message):
    assert len(loads_mission(text + BOOSTER).stage) == 2
    found = {fault.key: fault.message for fault in faults(text + BOOSTER.replace(old, new, 1))}
    assert message in found[key]


def test_stages__each_has_a_body(text):
    bare = '[[stage]]\nname = "empty"\npart = []\n'
    assert "the stage has no body" in str(MissionError(faults(text + bare)))


def test_parachutes__no_two_of_one_name(broken):
    twin = '[[stage.part]]\nkind = "parachute"\nname = "main"\nmass = 0.1\nstation = 0.5\ndiameter = 0.3\n\n[servo]'
    (fault,) = faults(broken(("[servo]", twin)))
    assert fault.key == "stage[0].part[8].name" and fault.hint == "rename one"


def test_mounts__a_vehicle_needs_one(text):
    start = text.index('[[stage.part]]\nkind = "mount"')
    end = text.index('[[stage.part]]\nkind = "parachute"')
    (fault,) = faults(text[:start] + text[end:])
    assert "no stage has a motor mount" in fault.message and "names a motor" in fault.hint


def test_stage__none_at_all(text):
    start, end = text.index("[[stage]]"), text.index("[servo]")
    (fault,) = faults(text[:start] + text[end:])
    assert (fault.key, fault.message, fault.hint) == ("stage", "missing", "add [[stage]]")
    (fault,) = faults("stage = []\n" + text[:start] + text[end:])
    assert (fault.key, fault.message) == ("stage", "there is no stage")


def test_second_set__is_sound_between_the_panels_or_elsewhere(broken):
    turned = SECOND_SET.replace("count = 4", 'count = 4\nclocking = "45 deg"')
    ahead = SECOND_SET.replace('"1.2 m"', '"0.9 m"')
    for second in (turned, ahead):
        assert len(loads_mission(broken((FIRST_GUIDE, second))).stage[0].part) == 9
    assert math.isclose(loads_mission(broken((FIRST_GUIDE, turned))).stage[0].part[3].clocking, math.pi / 4)


@pytest.mark.parametrize(
    ("raw", "message", "hint"),
    [
        (b"[rail\nlength = 3\n", "is not valid TOML", "brackets"),
        (b"a = 1\na = 2\n", "is not valid TOML", "line 2"),
        (b"\xff\xfe[\0r\0", "line 1: is not UTF-8 text", "UTF-8"),
        (b"title = '\0'\n", "holds bytes that are not text", "plain text file"),
        (b"a = " + b"[" * 3000, "is not valid TOML", "brackets"),
        (b"a = " + b"9" * 5000, "is not valid TOML", "brackets"),
    ],
)
def test_file__that_is_no_toml(tmp_path, raw, message, hint):
    file = tmp_path / "demo.toml"
    file.write_bytes(raw)
    with pytest.raises(MissionError) as caught:
        load_mission(file)
    (fault,) = caught.value.faults
    assert fault.file == str(file)
    assert message in fault.message
    assert hint in str(fault)
    assert "\n" not in str(fault)


def test_file__that_is_not_there_or_a_folder(tmp_path):
    for path, message in ((tmp_path / "demo.toml", "there is no such file"), (tmp_path, "is a folder")):
        with pytest.raises(MissionError) as caught:
            load_mission(path)
        assert str(caught.value).startswith(f"{path}: {message}; ")
