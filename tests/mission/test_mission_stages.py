"""Staging, event rules, recovery and failures: their faults, what is sound, and `change` on every path of them."""

from __future__ import annotations

import tomllib

import pytest
from fault_cases_stages import BOOSTER, DROP, FINS_ON, HOLD, HOLDING, LIGHT, LIGHT_WHEN, NO_DROP, ONE_STAGE, STACK, STAGES, WINDOW, failure, rule
from hypothesis import given, settings
from hypothesis import strategies as st
from sound_mission import TEXT

from sixdof.mission.checks.rules import LIFTOFF_WITHIN, Staging
from sixdof.mission.errors import MissionError
from sixdof.mission.load import build_mission, loads_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Detection, Failure, Ignition, Joint, Parachute


def replaced(*pairs: tuple[str, str]) -> str:
    """Return the text of the two stages with `new` in the place of the first `old` of each pair."""
    text = STACK
    for old, new in pairs:
        assert old in text, f"the base text no longer holds {old!r}"
        text = text.replace(old, new, 1)
    return text


@pytest.mark.parametrize("name", STAGES)
def test_fault__says_where_what_and_what_would_be_right(name):
    *pairs, key, message, hint = STAGES[name]
    with pytest.raises(MissionError) as caught:
        loads_mission(replaced(*pairs))
    found = {fault.key: fault for fault in caught.value.faults}
    assert key in found, str(caught.value)
    assert message in found[key].message and hint in found[key].hint
    assert str(found[key]).count("\n") == 0


def test_fault__names_harness_and_failure():
    with pytest.raises(MissionError) as caught:
        loads_mission(replaced(('separation_station = "0.5 m"', "separation_station = 2"), ('probability = "5 %"', "probability = 2")))
    assert 'failure "no_ignition: dart", key probability: 2 must be at most 1' in str(caught.value)
    with pytest.raises(MissionError, match='harness "main", key separation_station: 2 m does not separate stage "dart" in two'):
        loads_mission(replaced(('separation_station = "0.5 m"', "separation_station = 2")))


# ---------------------------------------------------------------- what is sound

SOUND = {
    "as it stands": (),
    "by a hold alone": ((NO_DROP, ""),),
    "by a rule alone": ((HOLD, ""),),
    "no way to part, and nothing that waits for it": (
        (HOLD, ""),
        (NO_DROP, ""),
        (LIGHT_WHEN, 'when = "liftoff"'),
        ('booster = "separated"', 'booster = "attached"'),
        ('when = "separation"\ndelay = "3 s"', 'when = "apogee"'),
    ),
    "slip fit": ((HOLD, "retention_force = 0"),),
    "two rules light one stage": (rule(f'when = "apogee"\n{LIGHT}'),),
    "opposite actions at different moments": (rule('when = "liftoff"\ndelay = "0.5 s"\naction = "disable_fins"'),),
    "opposite actions under different conditions": (
        (FINS_ON, FINS_ON + '\nbooster = "separated"'),
        rule('when = "liftoff"\ndelay = "0.4 s"\naction = "disable_fins"\nbooster = "attached"'),
    ),
    "the same action twice": (rule(FINS_ON),),
    "a window that opens while it waits": ((FINS_ON, FINS_ON + '\nafter = "2 s"\ntimeout = "1.7 s"'),),
    "a window that a slow liftoff leaves open": (rule('when = "time"\nthreshold = 4.4\nbefore = 4\naction = "disable_fins"'),),
    "burnout of a stage that a rule lights": ((HOLDING, HOLDING.replace("ignition", "burnout")),),
    "barometric apogee": (("[servo]", '[detection]\napogee = "barometer"\napogee_drop = "5 m"\n[servo]'),),
    "every condition": ((WINDOW, WINDOW + "\nspeed_above = 20\nspeed_below = 90\nheight_below = 900"),),
    "reefed": (('name = "small"', 'name = "small"\nreefing_ratio = 0.3\nreefing_time = "4 s"\nstrength = "500 N"'),),
    "separation fails": (failure("no_separation", "booster"),),
    "canopies fail": (failure("no_deployment", "small"), ("[[failure]]", '[[failure]]\nkind = "canopy_lost"\nof = "small"\nprobability = 1\n[[failure]]')),
    "late apogee of the altimeter of a booster": (
        ('when = "separation"\ndelay = "3 s"', 'when = "apogee"'),
        (failure("late_apogee", "booster")[0], failure("late_apogee", "booster")[1] + "\nlate_by = 1"),
    ),
    "late apogee of the flight computer": (('[[recovery]]\ncanopy = "main"\nwhen = "apogee"\n', ""), rule('when = "apogee"\naction = "disable_fins"')),
}


@pytest.mark.parametrize("name", SOUND)
def test_sound__and_the_same_after_a_round_trip(name):
    mission = loads_mission(replaced(*SOUND[name]))
    assert loads_mission(mission.to_toml()) == mission


def test_defaults__say_nothing_new_about_a_single_stage():
    mission = loads_mission(TEXT)
    assert mission.stage[0].joint == Joint(impulse=0.0, retention_force=None, delay=0.0) and mission.stage[0].ignition == Ignition()
    assert (mission.harness, mission.failure, mission.detection) == ((), (), Detection())
    assert mission.rule[0].stage == "" and mission.recovery[0].motor_delay is None
    assert loads_mission(mission.to_toml()) == mission  # which writes the empty joint of its front stage


def test_unstaged__two_stages_that_nothing_stages_are_sound():
    """A stack described for its aerodynamics or mass alone."""
    bare = BOOSTER.partition("[[harness]]")[0].replace(HOLD, "")
    assert len(loads_mission(TEXT + bare).stage) == 2


def test_values__are_si():
    mission = loads_mission(STACK)
    assert mission.stage[1].joint == Joint(impulse=2.0, retention_force=40.0, delay=0.02)
    assert (mission.harness[0].strength, mission.harness[0].stiffness, mission.harness[0].canopy_on) == (900.0, 10e3, "fore")
    assert [failure.name for failure in mission.failure] == ["no_ignition: dart", "late_apogee: dart", "harness_breaks: main"]
    assert mission.failure[0] == Failure(kind="no_ignition", of="dart", probability=0.05)
    lit = mission.rule[2]
    assert (lit.height_above, lit.booster, lit.after, lit.before, lit.timeout) == (80.0, "separated", 1.0, 6.0, 2.0)
    imperial = loads_mission(replaced(('"2 N*s"', '"1 lbf*s"'))).stage[1].joint.impulse
    assert imperial == pytest.approx(0.45359237 * 9.80665, rel=4e-16)  # pound and gravity are exact by definition
    canopy = Parachute(name="c", mass=0.1, station=0.5, diameter=1.0)
    assert (canopy.deployment_delay, canopy.opening_force_coefficient, canopy.strength, canopy.reefing_ratio) == (0.0, 1.7, None, None)


# ---------------------------------------------------------------- what can happen to the stages

UPPER = 'when = "burnout"\nstage = "dart"\naction = "separate"'


@pytest.mark.parametrize(
    ("pairs", "lit", "separable"),
    [
        ((), {"dart", "booster"}, {"booster"}),
        (((HOLD, ""),), {"dart", "booster"}, {"booster"}),
        (((HOLD, ""), (DROP, 'when = "liftoff"\naction = "separate"\ntarget = "booster"')), {"dart", "booster"}, {"booster"}),
    ],
)
def test_staging__follows_the_rules(pairs, lit, separable):
    staging = Staging(loads_mission(replaced(*pairs)))
    assert (staging.lit, staging.separable) == (lit, separable)


def test_staging__rules_that_wait_for_each_other_never_come():
    with pytest.raises(MissionError) as caught:
        loads_mission(replaced((HOLD, ""), (DROP, UPPER)))  # the dart lights once it is alone, which its burnout makes it
    keys = {fault.key for fault in caught.value.faults}
    assert {"rule[1].stage", "rule[2].stage", "rule[3].stage", "stage[0].part"} <= keys


def test_window__of_a_time_since_ignition_allows_for_the_time_to_liftoff():
    text = 'when = "time"\nbefore = 4\naction = "disable_fins"\nthreshold = '
    assert loads_mission(replaced(rule(f"{text}{3.9 + LIFTOFF_WITHIN}"))).rule[0].before == 4.0
    with pytest.raises(MissionError, match="before the rule's threshold and delay can be over"):
        loads_mission(replaced(rule(f"{text}{4.0 + LIFTOFF_WITHIN}")))


def test_separation__left_out_is_the_only_one_of_two_stages():
    with pytest.raises(MissionError, match="no booster is attached"):
        loads_mission(replaced((LIGHT_WHEN, 'when = "separation"'), ('booster = "separated"', 'booster = "attached"')))


# ---------------------------------------------------------------- change

CHANGES = {
    "stage.booster.joint.retention_force": "20 N",
    "stage.1.joint.impulse": "3 N*s",
    "stage.booster.joint.delay": "0.1 s",
    "stage.dart.ignition.delay": "0.2 s",
    "stage.booster.part.small.deployment_delay": "0.5 s",
    "stage.booster.part.small.opening_force_coefficient": 1.4,
    "stage.booster.part.small.strength": "500 N",
    "harness.main.length": "6 m",
    "harness.0.canopy_on": "aft",
    "harness.main.stiffness": "14 kN",
    "harness.main.tumbling_drag": 0.7,
    "stage.dart.hanging_drag": 0.6,
    "detection.liftoff_specific_force": "30 m/s^2",
    "detection.burnout_debounce": "0.1 s",
    "rule.light dart.delay": "2 s",
    "rule.light dart.height_below": "2 km",
    "rule.drop.target": "booster",
    "rule.drop.timeout": "1 s",
    "recovery.small.motor_delay": "6 s",
    "failure.no_ignition: dart.probability": "10 %",
    "failure.late_apogee: dart.late_by": "3 s",
    "failure.2.kind": "canopy_lost",
    "failure": [{"kind": "canopy_lost", "of": "small", "probability": 0.1}],
    "disperse.joint.tilt_y.sd": "1 deg",
    "disperse.harness.strength.sd": "10 %",
    "disperse.rule.delay.sd": "10 ms",
}


@pytest.mark.parametrize("path", CHANGES)
def test_change__reaches_every_table(path):
    mission = loads_mission(STACK)
    changed = mission.change({path: CHANGES[path]})
    assert changed != mission
    assert loads_mission(changed.to_toml()) == changed


def test_change__of_a_failure_that_is_not_there_names_those_that_are():
    with pytest.raises(MissionError) as caught:
        loads_mission(STACK).change({"failure.no_ignition: drat.probability": 0.5})
    assert 'no failure "no_ignition: drat"' in str(caught.value) and '"no_ignition: dart"?' in str(caught.value)


def test_change__removes_a_stage_only_with_what_names_it():
    assert ONE_STAGE[0] in STACK
    with pytest.raises(MissionError, match="none to separate"):
        mission = loads_mission(STACK)
        mission.change({"stage": [mission.stage[0]], "recovery": [mission.recovery[0]]})


# ---------------------------------------------------------------- damage

ODD = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-3, 10**20),
    st.floats(),
    st.just([]),
    st.just({}),
    st.just([{}]),
    st.just([[]]),
    st.sampled_from(["", "dart", "booster", "main", "separate", "ignite", "burnout", "5 s", "no_deployment"]),
)


@settings(max_examples=200, deadline=None)
@given(st.data())
def test_stack__odd_values_anywhere_give_a_mission_or_sentences(data):
    tables = tomllib.loads(STACK)
    node, key = tables, data.draw(st.sampled_from(["stage", "rule", "recovery", "harness", "failure"]))
    while isinstance(node[key], (dict, list)) and node[key] and data.draw(st.sampled_from([True, True, True, False])):
        node = node[key]
        key = data.draw(st.sampled_from(sorted(node)) if isinstance(node, dict) else st.integers(0, len(node) - 1))
    node[key] = data.draw(ODD)
    try:
        mission = build_mission(**tables)
        assert isinstance(mission, Mission) and loads_mission(mission.to_toml()) == mission
    except MissionError as error:
        assert all(fault.message and "Input should" not in str(fault) for fault in error.faults)
