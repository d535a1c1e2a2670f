"""Missions built, changed and written in Python."""

from __future__ import annotations

import math
import pickle
import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError
from sound_mission import TEXT

from sixdof.mission import tables as schema
from sixdof.mission.disperse import with_flat_names
from sixdof.mission.errors import MissionError
from sixdof.mission.load import build_mission, loads_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.mission.tables.materials import MATERIALS


@pytest.fixture
def mission(text):
    return loads_mission(text)


def tables(mission) -> dict:
    return {name: getattr(mission, name) for name in type(mission).model_fields}


def test_mission__values_are_si(mission):
    assert mission.rail.length == 3.0
    assert mission.site.latitude == math.radians(38.0)
    assert mission.stage[0].part[2].semispan == 0.06
    assert mission.autopilot.profile.roll == (0.0, 0.0)
    assert mission.disperse["motor.impulse"].sd == 0.02
    assert mission.disperse["wind.speed"].high == pytest.approx(12.0 * 0.44704, rel=4e-16)  # mph, exact by definition
    assert list(mission.disperse) == ["wind.speed", "motor.impulse"]  # the order of the registry


def test_threshold__takes_the_unit_of_its_trigger(broken):
    for when, written, value in (("time", "900 ms", 0.9), ("falling_through", "500 ft", 152.4)):
        rule = loads_mission(broken(('when = "liftoff"', f'when = "{when}"\nthreshold = "{written}"'))).rule[0]
        assert rule.threshold == value


def test_disperse__names_with_and_without_quotes(text, broken):
    quoted = broken(("motor.impulse =", '"motor.impulse" ='))
    assert loads_mission(quoted) == loads_mission(text)
    assert with_flat_names({"a": {"b": {"sd": 1}}, "c.d": {"sd": 1}}) == {"a.b": {"sd": 1}, "c.d": {"sd": 1}}


def test_dispersible__names_units_and_roles():
    assert len(DISPERSIBLE) == 47
    for name, item in DISPERSIBLE.items():
        assert item.name == name and item.doc
        assert (item.unit == "1") == (item.role == "factor" or item.whole)
        assert item.neutral == {"factor": 1.0, "offset": 0.0, "value": None}[item.role]
    groups = {
        "motor": "stage",
        "vehicle": "stage",
        "aero": "stage",
        "ignition": "stage",
        "joint": "joint",
        "rule": "rule",
        "harness": "harness",
        "canopy": "canopy",
    }
    for name, item in DISPERSIBLE.items():
        assert item.each == ("fin" if name == "servo.centring" else groups.get(name.partition(".")[0], ""))
    assert all(100.0 < density < 10000.0 for density in MATERIALS.values())


# ---------------------------------------------------------------- built in Python


def test_build__from_classes_and_dictionaries(mission):
    same = build_mission(**tables(mission))
    assert same == mission
    mixed = tables(mission) | {"site": {"latitude": "38 deg"}, "rail": schema.Rail(length="3 m", elevation="86 deg")}
    assert build_mission(**mixed) == mission
    assert Mission(**mixed) == mission


def test_build__faults_are_sentences(mission):
    with pytest.raises(MissionError) as caught:
        build_mission(**tables(mission) | {"rail": {"length": "10 cm", "elevatoin": 1}, "motr": {}})
    assert [str(fault) for fault in caught.value.faults] == [
        'rail, key elevatoin: unknown key; did you mean "elevation"?',
        'key motr: unknown key; did you mean "motor"?',
    ]
    with pytest.raises(MissionError, match="rail, key length: 0.1 m is not longer than the guides are apart, 0.4 m"):
        build_mission(**tables(mission) | {"rail": schema.Rail(length="10 cm")})


def test_classes__run_their_checks_and_say_them(mission):
    outline = {"root_chord": 0.1, "tip_chord": 0.05, "semispan": 0.05, "thickness": 0.002}
    with pytest.raises(ValidationError, match="key hinge: missing; a control fin needs the place of its hinge"):
        schema.Fins(count=3, station=0.5, mass=0.1, control=True, **outline)
    with pytest.raises(ValidationError, match='"95 deg" must be at most 90 deg'):
        schema.Site(latitude="95 deg")
    with pytest.raises(MissionError, match='recovery "x", key canopy: there is no parachute "x"'):
        Mission(**tables(mission) | {"recovery": (schema.Recovery(canopy="x"),)})
    with pytest.raises(AttributeError, match="Rail.length cannot be set: a mission is frozen; mission.change"):
        mission.rail.length = 4.0


def test_mission_error__survives_a_process_border(mission):
    with pytest.raises(MissionError) as caught:
        mission.change({"rail.length": "x"})
    again = pickle.loads(pickle.dumps(caught.value))
    assert again.faults == caught.value.faults and str(again) == str(caught.value)


# ---------------------------------------------------------------- change


@pytest.mark.parametrize(
    ("path", "value", "get", "wanted"),
    [
        ("rail.length", "4 m", lambda m: m.rail.length, 4.0),
        ("title", "new", lambda m: m.title, "new"),
        ("stage.0.part.tail.semispan", "70 mm", lambda m: m.stage[0].part[2].semispan, 0.07),
        ("stage.dart.part.2.semispan", "70 mm", lambda m: m.stage[0].part[2].semispan, 0.07),
        ("stage[0].part[2].semispan", "70 mm", lambda m: m.stage[0].part[2].semispan, 0.07),
        ("stage.dart.part.nose.length", 0.3, lambda m: m.stage[0].part[0].length, 0.3),
        ("motor.D240.propellant_mass", 0.11, lambda m: m.motor["D240"].propellant_mass, 0.11),
        ("motor.D240.thrust_curve.thrust.1", 240.0, lambda m: m.motor["D240"].thrust_curve.thrust[1], 240.0),
        ("air.temperature", "20 degC", lambda m: m.air.temperature, 293.15),
        ("stage.dart.measured.cg", "0.7 m", lambda m: m.stage[0].measured.cg, 0.7),
        ("stage.dart.measured.drag_curve", {"mach": [0, 1], "coefficient": [0.4, 0.6]}, lambda m: m.stage[0].measured.drag_curve.coefficient, (0.4, 0.6)),
        ("disperse.motor.impulse.sd", "3 %", lambda m: m.disperse["motor.impulse"].sd, 0.03),
        ("disperse.aero.drag", {"sd": 0.1}, lambda m: m.disperse["aero.drag"].sd, 0.1),
        ("disperse.aero.drag.sd", 0.1, lambda m: m.disperse["aero.drag"].sd, 0.1),
        ("disperse", {"aero": {"drag": {"sd": 0.1}}}, lambda m: list(m.disperse), ["aero.drag"]),
        ("rule.fins on.delay", "1 s", lambda m: m.rule[0].delay, 1.0),
        ("recovery.main.delay", "1 s", lambda m: m.recovery[0].delay, 1.0),
        ("autopilot.pitch.p", 0.5, lambda m: m.autopilot.pitch.p, 0.5),
        ("rail", schema.Rail(length=5.0), lambda m: m.rail.length, 5.0),
    ],
)
def test_change__gives_a_new_mission(mission, path, value, get, wanted):
    before = mission.model_dump()
    changed = mission.change({path: value}, shift=False)
    assert get(changed) == wanted
    assert mission.model_dump() == before
    assert loads_mission(changed.to_toml()) == changed


def test_change__a_new_motor_with_a_point_in_its_name(mission):
    motor = mission.motor["D240"].model_copy(update={"propellant_mass": 0.11})
    changed = mission.change({"motor.E1": motor, "stage.dart.part.mount.motor": "E1"})
    assert changed.motor["E1"] == motor
    dotted = build_mission(**tables(mission) | {"motor": {"D240": motor, "E1.5": motor}})
    assert dotted.change({"motor.E1.5.propellant_mass": "100 g"}).motor["E1.5"].propellant_mass == 0.1


@pytest.mark.parametrize(
    ("path", "message", "hint"),
    [
        ("rail.lenght", 'there is no "lenght"', 'did you mean "length"?'),
        ("rial.length", 'there is no "rial"', 'did you mean "rail"?'),
        ("stage.drat.name", 'there is no stage "drat"', 'did you mean "dart"?'),
        ("stage.3.name", "there is no stage 3", "there are 1, counted from 0"),
        ("stage.0.part.tial.semispan", 'there is no part "tial"', 'did you mean "tail"?'),
        ("stage.0.part.rail_guide.station", 'there are 2 entries "rail_guide"', "say which by number: 3, 4"),
        ("motor.D24.length", 'there is no "D24"', 'did you mean "D240"?'),
        ("disperse.aero.darg.sd", 'there is no "aero.darg.sd"', 'did you mean "aero.drag"?'),
        ("rail.length.x", '"length" is a value, not a table', 'omit ".x"'),
        ("stage.0.measured.cgg", "unknown key", 'did you mean "cg"?'),
        ("", 'there is no ""', "valid keys: title"),
    ],
)
def test_change__a_path_that_leads_nowhere(mission, path, message, hint):
    with pytest.raises(MissionError) as caught:
        mission.change({path: 1.0})
    fault = caught.value.faults[0]
    assert message in fault.message and hint in fault.hint
    assert fault.key in (path, path.replace("stage.0", "stage[0]"))


def test_change__new_values_are_checked(mission):
    with pytest.raises(MissionError, match="rail, key length: 0.2 m is not longer than the guides are apart"):
        mission.change({"rail.length": "20 cm"})
    with pytest.raises(MissionError) as caught:
        mission.change({"rail.x": 1, "sight.latitude": 1})
    assert [fault.key for fault in caught.value.faults] == ["rail.x", "sight.latitude"]


# ---------------------------------------------------------------- text


def test_to_toml__loads_as_an_equal_mission(mission):
    text = mission.to_toml()
    assert loads_mission(text) == mission
    assert loads_mission(text).to_toml() == text
    assert "time = [0.0, 0.1, 1.0, 1.2]" in text
    assert tomllib.loads(text)["solver"]["time_limit"] == mission.solver.time_limit  # defaults are written too


@given(
    length=st.floats(0.5, 1e3),
    azimuth=st.floats(-6.0, 6.0),
    title=st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=30),
    thrust=st.lists(st.floats(1.0, 300.0), min_size=2, max_size=20),
)
def test_to_toml__any_floats_and_text_come_back(length, azimuth, title, thrust):
    impulse = 0.05 * (sum(thrust) - 0.5 * (thrust[0] + thrust[-1]))
    time = [0.05 * i * 150.0 / impulse for i in range(len(thrust))]  # 150 N s: a mission takes 50 to 400 s of specific impulse
    mission = loads_mission(TEXT).change(
        {
            "title": title,
            "rail.length": length,
            "rail.azimuth": azimuth,
            "motor.D240.thrust_curve": {"time": time, "thrust": thrust},
            "disperse.aero.cp.sd": length,
        }
    )
    assert loads_mission(mission.to_toml()) == mission


def test_change__several_values_of_a_table_that_was_left_out(demo_mission):
    dip, declination = 1.1, 0.2
    changed = demo_mission.change({"sensors.magnetometer.dip": dip, "sensors.magnetometer.declination": declination})
    assert (changed.sensors.magnetometer.dip, changed.sensors.magnetometer.declination) == (dip, declination)
