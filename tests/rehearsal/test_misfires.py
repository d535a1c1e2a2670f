"""Each thing that can misfire in a rehearsal, made to happen by a profile made by hand, and said in one sentence."""

from __future__ import annotations

import numpy as np
import pytest
from rehearsed import FIRST_END, leaning, profile
from staged import RULES, stack

import sixdof

PART, LIGHT = RULES
OFF = {"name": "fins off", "when": "apogee", "action": "disable_fins"}


def rehearse(demo, rules=RULES, columns=None, *, failures=(), fail=(), changes=None, joint=None, **options):
    mission = stack(demo, rules=rules, failures=failures, changes=changes, joint=joint)
    return sixdof.rehearse(mission, profile() if columns is None else columns, failures=fail, **options)


def said(ds):
    return ds["misfire"].values.tolist()


def waited(ds, rule):
    return str(ds["rule_waited"].sel(rule=rule).values)


def test_sound__says_nothing(demo_mission):
    assert said(rehearse(demo_mission)) == []


# ---------------------------------------------------------------- rules that never fire


def test_never__trigger_not_sensed(demo_mission):
    rules = [
        *RULES,
        {"name": "late", "when": "time", "threshold": 50.0, "action": "disable_fins"},
        {"name": "high", "when": "climbing_through", "threshold": 900.0, "action": "disable_fins"},
        {"name": "second", "when": "burnout", "stage": "thistledown", "action": "guide_hold"},
    ]
    columns = profile()
    columns["specific_force_x"][columns["time"] > FIRST_END] = -5.0  # the second motor does not burn
    found = said(rehearse(demo_mission, rules, columns))
    assert "late never fires: the script ends at 40.00 s, before 50.00 s" in found
    assert "high never fires: the sensed height never reaches 900 m and is 480.1 m at most" in found
    assert "second never fires: the burnout of thistledown is never sensed, of 1 ignition and 1 burnout sensed" in found
    assert len(found) == 3


def test_never__nothing_after_apogee(demo_mission):
    found = said(rehearse(demo_mission, [*RULES, OFF], profile(end=25.0)))
    # 480.1 m - 20 m/s 12.5 s
    want = "deploy main: falling through never fires: after apogee the sensed height never falls to 150 m and is 230.1 m at least"
    assert found == [want, "main is never deployed"]
    found = said(rehearse(demo_mission, [*RULES, OFF], profile(end=12.0)))
    assert "fins off never fires: apogee is never sensed" in found and "drogue is never deployed" in found


def test_never__held_by_a_condition_to_the_end(demo_mission):
    ds = rehearse(demo_mission, [PART, {**LIGHT, "speed_above": 41.0}])
    # due 0.3 s after the separation at 2.51 s
    assert said(ds)[0].startswith("light never fires: due at 2.81 s, it is held by a speed of 40.0 m/s, not above 41 m/s (until 40.00 s)")
    assert said(ds)[1:] == ["thistledown is never ignited"]


def test_never__gives_up(demo_mission):
    tilt = leaning(np.full(4001, 0.7))
    ds = rehearse(demo_mission, [PART, {**LIGHT, "tilt_below": 0.5, "timeout": 1.0}], profile(**tilt))
    text = "light gives up at 3.81 s, held by a tilt of 40.1 deg, not below 28.65 deg (until 3.81 s)"  # 0.7 rad, 0.5 rad
    assert said(ds) == [text, "thistledown is never ignited"]
    assert float(ds["rule_given_up"].sel(rule="light")) == pytest.approx(3.81)


def test_never__due_after_the_end(demo_mission):
    late = {"name": "late", "when": "burnout", "delay": 60.0, "action": "disable_fins"}
    assert "late never fires: it is due at 62.00 s, after the script's end at 40.00 s" in said(rehearse(demo_mission, [*RULES, late]))


def test_never__a_backup_that_was_not_needed_is_no_misfire(demo_mission):
    recovery = [entry.model_dump() for entry in demo_mission.recovery]
    recovery[0]["backup_time"] = 60.0
    ds = rehearse(demo_mission, changes={"recovery": recovery})
    assert said(ds) == []
    text = "deploy drogue: backup is due at 60.50 s, after the script's end at 40.00 s, and another did it"
    assert ds["remark"].values.tolist() == [text]


CONDITIONS = {
    "height_above": (200.0, "a height of 92.5 m, not above 200 m (until 5.49 s)", 5.50),  # 40 (t - 0.5) + 0.1 >= 200
    "height_below": (80.0, "a height of 92.5 m, not below 80 m (until 32.50 s)", 32.51),  # 480.1 - 20 (t - 12.5) <= 80
    "speed_below": (30.0, "a speed of 40.0 m/s, not below 30 m/s (until 12.50 s)", 12.51),
    "after": (5.0, "less than 5 s since liftoff (until 5.49 s)", 5.50),
}


@pytest.mark.parametrize("name", CONDITIONS)
def test_waits__what_held_it_and_until_when(demo_mission, name):
    value, text, fires = CONDITIONS[name]
    ds = rehearse(demo_mission, [PART, {**LIGHT, name: value}])
    assert waited(ds, "light") == text
    assert float(ds["rule_fired"].sel(rule="light")) == pytest.approx(fires)
    assert any(f"light is due at 2.81 s and waits until {fires:.2f} s, held by {text}" == each for each in ds["remark"].values)


def test_waits__each_condition_in_turn(demo_mission):
    """The nose leans until 6 s and the booster is on until 4 s: both are named, each with its own end."""
    time = profile()["time"]
    tilt = leaning(np.where(time < 6.0, 0.7, 0.05))
    light = {**LIGHT, "when": "burnout", "tilt_below": 0.5}
    ds = rehearse(demo_mission, [PART, light], profile(booster=(time < 4.0).astype(float), **tilt))
    assert waited(ds, "light") == "the booster attached (until 3.99 s), a tilt of 40.1 deg, not below 28.65 deg (until 5.99 s)"


@pytest.mark.parametrize("closing", [1.0, 3.0])
def test_waits__the_window_closes(demo_mission, closing):
    ds = rehearse(demo_mission, [PART, {**LIGHT, "speed_above": 45.0, "before": 2.5 + closing}])
    # liftoff at 0.5 s: the first tick beyond the window
    assert float(ds["rule_given_up"].sel(rule="light")) == pytest.approx(3.01 + closing)
    assert f"more than {2.5 + closing:g} s since liftoff (from {3.01 + closing:.2f} s at {3.01 + closing:.2f} s)" in waited(ds, "light")


@pytest.mark.parametrize(
    "conditions",
    [
        {"tilt_below": 0.4},
        {"speed_above": 20.0, "speed_below": 35.0},
        {"height_above": 90.0, "height_below": 300.0},
        {"after": 3.0, "before": 30.0},
        {"booster": "separated"},
        {"booster": "attached", "timeout": 2.0},
        {"tilt_below": 0.4, "after": 9.0},
    ],
)
def test_waits__the_kernel_agrees(demo_mission, conditions):
    """A rule fires at the first tick at which none of its conditions is named as holding it, and not before."""
    rng = np.random.default_rng(7)
    time = profile()["time"]
    tilt = np.interp(time, np.arange(0.0, 41.0), rng.uniform(0.1, 0.8, 41))
    up = np.interp(time, np.arange(0.0, 41.0), rng.uniform(-40.0, 40.0, 41))
    columns = profile(velocity_up=up, booster=(time < 7.0).astype(float), **leaning(tilt))
    rule = {"name": "it", "when": "liftoff", "delay": 1.0, "action": "enable_fins", **conditions}
    ds = rehearse(demo_mission, [*RULES, rule], columns)
    due = float(ds["rule_due"].sel(rule="it"))
    fired, given_up = (float(ds[f"rule_{what}"].sel(rule="it")) for what in ("fired", "given_up"))
    assert due == pytest.approx(1.5)
    assert bool(waited(ds, "it")) == (not fired == pytest.approx(due))
    if np.isfinite(fired) and fired > due + 1e-9:
        # the last condition to hold held at the tick before
        assert f"until {fired - 0.01:.2f} s)" in waited(ds, "it") or f"at {fired - 0.01:.2f} s)" in waited(ds, "it")
    elif np.isfinite(given_up):
        assert f"{given_up:.2f} s)" in waited(ds, "it")


# ---------------------------------------------------------------- actions nobody takes


def test_nobody__a_canopy_without_a_rule(demo_mission):
    recovery = [entry.model_dump() for entry in demo_mission.recovery][:1]
    assert said(rehearse(demo_mission, changes={"recovery": recovery})) == ["main is never deployed, and no rule would"]


def test_nobody__a_charge_that_fails(demo_mission):
    failures = [{"kind": "no_deployment", "of": "drogue", "probability": 0.1}]
    found = said(rehearse(demo_mission, failures=failures, fail=["no_deployment: drogue"]))
    assert found == ["drogue is never deployed: deploy drogue: apogee fires its charge at 13.01 s, and it fails"]


def test_nobody__an_igniter_that_fails(demo_mission):
    failures = [{"kind": "no_ignition", "of": "thistledown", "probability": 0.1}]
    found = said(rehearse(demo_mission, failures=failures, fail="no_ignition: thistledown"))
    assert found == ["thistledown is commanded to ignite at 2.81 s and does not: its ignition fails"]


def test_nobody__a_stage_that_stays(demo_mission):
    failures = [{"kind": "no_separation", "of": "booster", "probability": 0.1}]
    ds = rehearse(demo_mission, failures=failures, fail=["no_separation: booster"])
    assert said(ds) == [
        "booster is commanded to separate at 2.50 s and does not: its separation fails",
        "light never fires: the separation of booster is never sensed",
        "thistledown is never ignited",
    ]
    ds = rehearse(demo_mission, columns=profile(booster=lambda t: np.ones_like(t)))
    assert "booster is commanded to separate at 2.50 s, and its break-wires never tell that it has" in said(ds)
    ds = rehearse(demo_mission, [{**PART, "speed_above": 45.0}, LIGHT])
    assert "booster is never separated" in said(ds)


def test_failure__late_apogee_delays_the_drogue(demo_mission):
    failures = [{"kind": "late_apogee", "of": "thistledown", "probability": 0.1, "late_by": 1.5}]
    ds = rehearse(demo_mission, failures=failures, fail=["late_apogee: thistledown"])
    assert float(ds["rule_fired"].sel(rule="deploy drogue: apogee")) == pytest.approx(13.01 + 1.5)


# ---------------------------------------------------------------- actions at the wrong moment


def test_lit__with_the_booster_attached(demo_mission):
    light = {key: value for key, value in LIGHT.items() if key != "booster"} | {"when": "burnout"}
    found = said(rehearse(demo_mission, [{**PART, "delay": 1.0}, light]))
    assert found == ["thistledown is ignited at 2.30 s while booster is still attached"]


@pytest.mark.parametrize(("degrees", "count"), [(29.0, 0), (31.0, 1)])
def test_lit__leaning(demo_mission, degrees, count):
    found = said(rehearse(demo_mission, columns=profile(**leaning(np.full(4001, np.radians(degrees))))))
    assert len(found) == count
    if count:
        assert found[0].startswith("thistledown is ignited at 2.81 s at a sensed tilt of 31.0 deg (common practice")


def test_parted__while_a_burn_is_sensed(demo_mission):
    early = {"name": "part", "when": "time", "threshold": 1.5, "action": "separate"}
    assert said(rehearse(demo_mission, [early, LIGHT])) == ["booster separates at 1.51 s while a burn is still sensed"]


def test_parted__without_a_command_is_told(demo_mission):
    hold = {**PART, "delay": 5.0}
    ds = rehearse(demo_mission, [hold, LIGHT], profile(booster=lambda t: (t < 2.1).astype(float)), joint={"retention_force": 0.0})
    assert "booster has separated at 2.10 s without a command" in ds["remark"].values


def test_released__before_apogee_and_too_fast(demo_mission):
    early = {"name": "early", "when": "burnout", "delay": 1.0, "action": "deploy", "target": "drogue"}
    assert said(rehearse(demo_mission, [*RULES, early])) == [
        "drogue is deployed at 3.00 s, before apogee is noticed, at 12.51 s",
        "drogue is deployed at 3.00 s at a sensed speed of 40.0 m/s, more than 30 m/s (a project threshold)",
    ]


def test_fins__on_the_rail(demo_mission):
    on = {"name": "fins on", "when": "liftoff", "action": "enable_fins"}
    ds = rehearse(demo_mission, [*RULES, on, OFF])
    left = float(ds["rail_departure_noticed"])
    assert said(ds) == [f"the fins are enabled at 0.50 s while still on the rail, which it leaves at {left:.2f} s by what is sensed"]
    on = {**on, "when": "rail_departure"}
    assert said(rehearse(demo_mission, [*RULES, on, OFF])) == []


# ---------------------------------------------------------------- order


def test_order__a_burn_that_chuffs_is_taken_for_the_next_stage(demo_mission):
    """The booster's burn breaks off for 0.1 s: its real end is counted as the sustainer's."""
    columns = profile()
    columns["specific_force_x"][100:110] = -5.0
    steer = {"name": "steer", "when": "burnout", "stage": "thistledown", "action": "guide_hold"}
    found = said(rehearse(demo_mission, [{**PART, "delay": 1.6}, LIGHT, steer], columns))
    # burnouts at 1.00 s and 2.00 s; the light is commanded at 2.60 s + one tick + 0.3 s
    want = "steer fires on the burnout of thistledown, taken for sensed at 2.00 s, before it is commanded to be ignited at 2.91 s"
    assert found == [want]
    debounced = {"detection": {"burnout_debounce": 0.2}}
    assert said(rehearse(demo_mission, [{**PART, "delay": 0.4}, LIGHT, steer], columns, changes=debounced)) == []


def test_order__a_separation_before_its_command(demo_mission):
    found = said(rehearse(demo_mission, columns=profile(booster=lambda t: (t < 2.1).astype(float))))
    assert found == ["light fires on the separation of booster, taken for sensed at 2.10 s, before it is commanded to be separated at 2.50 s"]


def test_order__a_backup_that_comes_first(demo_mission):
    recovery = [entry.model_dump() for entry in demo_mission.recovery]
    recovery[0]["backup_time"] = 12.3
    ds = rehearse(demo_mission, changes={"recovery": recovery})
    assert said(ds) == ["deploy drogue: backup fires at 12.80 s, before what it backs up, deploy drogue: apogee, at 13.01 s"]
    assert "deploy drogue: apogee fires at 13.01 s without effect: deploy drogue: backup did it at 12.80 s" in ds["remark"].values


# ---------------------------------------------------------------- windows


def test_expect__windows(demo_mission):
    expect = {"part": (2.5, 2.5), "light": (2.0, 2.5), "deploy drogue: backup": None}
    ds = rehearse(demo_mission, expect=expect)
    assert said(ds) == ["light fires at 2.81 s, and is expected between 2.00 s and 2.50 s", "deploy drogue: backup fires at 16.50 s, and it must not"]
    assert ds["rule_earliest"].sel(rule=["part", "light"]).values.tolist() == [2.5, 2.0]
    assert np.isnan(ds["rule_latest"].sel(rule="deploy drogue: backup"))


def test_expect__a_rule_that_must_not_fire_and_does_not_is_right(demo_mission):
    abort = {"name": "abort", "when": "falling_through", "threshold": 100.0, "speed_above": 40.0, "action": "deploy", "target": "main"}
    assert any(text.startswith("abort never fires") for text in said(rehearse(demo_mission, [*RULES, abort])))
    assert said(rehearse(demo_mission, [*RULES, abort], expect={"abort": None})) == []


def test_expect__never_fired(demo_mission):
    found = said(rehearse(demo_mission, columns=profile(end=25.0), expect={"deploy main: falling through": (20.0, 24.0)}))
    assert "deploy main: falling through is expected between 20.00 s and 24.00 s, and never fires" in found
