"""Branches of trigger windows: which there are, how probable, and the rare ones flown."""

from __future__ import annotations

import numpy as np
import pytest

import sixdof
from sixdof.study.landing.strata import strata_of
from sixdof.study.recovery.triggers.branches import branches_of
from sixdof.study.recovery.triggers.outcomes import full_height
from sixdof.study.recovery.triggers.triggers import actions_of, with_a_timer
from sixdof.workshop import trigger_windows


@pytest.fixture(scope="module")
def stack():
    return sixdof.load_mission("configs/two-stage.toml")


@pytest.fixture(scope="module")
def sampler():
    return sixdof.load_mission("configs/sampler.toml")


def outcomes(found, branch, action):
    words = found.outcome.attrs["flag_meanings"].split()
    return [words[k] for k in found.outcome.sel(branch=branch, action=action).values]


def test_actions__and_what_backs_up_what(stack):
    found = {one.name: one for one in actions_of(stack, stack)}
    assert list(found) == ["separate drayhorse", "ignite whinchat", "deploy drogue", "deploy main", "deploy booster main"]
    assert [one.name for one in found["separate drayhorse"].backups] == ["part, backup"] and found["separate drayhorse"].first.name == "part"
    assert [(one.how, one.setting) for one in found["deploy drogue"].triggers] == [("sensed", 0.0), ("timer", 23.0), ("grain", 17.0)]
    assert not found["deploy main"].backups and not found["ignite whinchat"].backups


def test_branches__are_the_failures_with_their_probabilities_and_what_else_may_happen(stack):
    every = {one.name: one for one in branches_of(stack, actions_of(stack, stack))}
    weights = strata_of(stack).weights
    assert list(every)[:7] == ["nominal", *(one.name for one in stack.failure)]
    assert np.allclose([one.weight for one in list(every.values())[:7]], weights[:7])
    rest = {name for name, one in every.items() if np.isnan(one.weight)}
    assert {"canopy_lost: drogue", "late_apogee: drayhorse", "short burn: whinchat", "bigger motor: drayhorse", "trigger lost: separate drayhorse"} < rest
    assert "no_ignition: whinchat" not in rest  # the mission has it
    assert every["bigger motor: drayhorse"].what == "mesa-j-slow in drayhorse"
    assert every["bigger motor: whinchat"].settings == {"motor.impulse of whinchat": 1.25}  # none of the others fits its mount
    for one in every.values():
        assert sum(failure.probability for failure in one.mission.failure) == (1.0 if ": " in one.name and one.name.split(":")[0] in KINDS else 0.0)


def test_an_apogee_that_is_always_late__makes_no_trigger_sound(sampler):
    late = sampler.add("failure", {"kind": "late_apogee", "of": "thistledown", "probability": 1.0, "late_by": "2 s"})
    actions = actions_of(late, late)
    assert all(one.fails(actions[0]) for one in branches_of(late, actions))
    assert not branches_of(sampler, actions)[0].fails(actions[0]) and not branches_of(late, actions)[0].fails(actions[1])


KINDS = ("no_ignition", "no_separation", "late_apogee", "no_deployment", "harness_breaks", "canopy_lost")


def test_a_booster_that_stays_on__has_its_canopy_out_by_a_timer_on_the_way_up(stack):
    found = trigger_windows(stack, 2, branches=["no_separation: drayhorse", "no_ignition: whinchat"], seed=4, progress=False)
    assert outcomes(found, "no_separation: drayhorse", "deploy booster main") == ["beats"] * 2
    assert outcomes(found, "no_ignition: whinchat", "deploy booster main") == ["primary"] * 2
    assert outcomes(found, "no_ignition: whinchat", "ignite whinchat") == ["in_vain"] * 2
    assert outcomes(found, "no_separation: drayhorse", "ignite whinchat") == ["nothing"] * 2
    grain = found.trigger_time.sel(branch="no_ignition: whinchat", trigger="deploy drogue: motor delay")
    assert np.isnan(grain).all()  # a motor that never burns ejects nothing
    early = found.earliest_of_flight.sel(trigger="deploy drogue: backup")
    assert (early.sel(branch="no_ignition: whinchat") < early.sel(branch="nominal") - 3.0).all()
    share = found.beats_overall.sel(action="deploy booster main").values
    separate = next(failure.probability for failure in stack.failure if failure.kind == "no_separation")
    flown = strata_of(stack).weights[[0, 1, 2]].sum()
    assert share[0] == pytest.approx(strata_of(stack).weights[2] / flown) and share[0] == pytest.approx(separate, rel=0.1)
    assert share[1] < share[0] < share[2]


@pytest.mark.slow
def test_a_separation_by_the_backup_alone__is_flown_and_has_an_end(stack):
    name = "trigger lost: separate drayhorse"
    found = trigger_windows(stack, 2, branches=[name], seed=4, progress=False)
    assert outcomes(found, name, "separate drayhorse") == ["backup"] * 2
    last = found.latest_of_flight.sel(branch=name, trigger="part, backup").values
    alone = stack.change({"failure": [], "rule.part.delay": "100 s"})
    for k, one in enumerate(last):
        climb = []
        for more in (-0.05, 0.6):
            ds = sixdof.disperse(alone.change({"rule.1.delay": float(one + more)}), 2, seed=4, progress=False)
            climb.append(float(ds.event_velocity_up.sel(event="ignition whinchat").isel(body=0, flight=k)))
        assert climb[0] > 0.0 and not climb[1] > 0.0  # the motor lights after apogee, or not at all


def test_flights_that_never_leave_the_rail__are_refused(sampler):
    heavy = {"kind": "mass", "name": "lead", "mass": "40 kg", "station": "500 mm"}
    with pytest.raises(ValueError, match="none of 2 flights without a failure leaves the rail"):
        trigger_windows(sampler.add("stage.0.part", heavy), 2, branches=[], progress=False)


@pytest.mark.slow
def test_a_branch_that_never_leaves_the_rail__is_told(sampler):
    found = trigger_windows(sampler, 2, branches={"heavy": {"stage.0.measured": {"mass": "45 kg"}}}, progress=False)
    assert not found.left_rail.sel(branch="heavy").any() and np.isnan(found.beats.sel(branch="heavy")).all()
    assert any(line.split()[:1] == ["heavy"] and "no flight leaves the rail" in line for line in sixdof.report(found).splitlines())


def test_a_mission_without_a_backup__is_told_which_would_be_right(sampler):
    bare = sampler.change({"recovery.drogue.backup_time": None})
    found = trigger_windows(bare, 2, branches=["trigger lost: deploy drogue"], seed=3, progress=False)
    full = trigger_windows(sampler, 2, branches=["trigger lost: deploy drogue"], seed=3, progress=False)
    own, whole = (one.sel(trigger="deploy drogue: backup") for one in (found, full))
    for name in ("window_begin", "window_end"):
        assert float(own[name]) == float(whole[name])
    assert 1.0 <= float(own.advised) - float(own.window_begin) < 1.11  # the margin, and a tenth of a second to round to
    assert float(whole.advised) == sampler.recovery[0].backup_time  # which has room at both ends, and stays
    page = " ".join(sixdof.report(found).split())
    assert "backup_time of drogue is not set: it would be right from" in page and 'Nothing backs up "deploy drogue: apogee"' in page
    assert outcomes(found, "trigger lost: deploy drogue", "deploy drogue") == ["nothing"] * 2


@pytest.mark.slow
def test_a_canopy_that_a_delay_from_burnout_deploys__has_a_window_about_apogee():
    slender = sixdof.load_mission("tests/vehicles/slender.toml")
    off = {"recovery.streamer.backup_time": None, "recovery.streamer.motor_delay": None}
    mission = slender.remove("failure.1").change(
        {"recovery.streamer.when": "burnout", "recovery.streamer.delay": "17 s", "stage.0.part.streamer.strength": "60 N"} | off
    )
    found = trigger_windows(mission, 3, branches=[], seed=1, progress=False)
    name = "deploy streamer: burnout"
    first, last = (found[f"{end}_of_flight"].sel(branch="nominal", trigger=name).values for end in ("earliest", "latest"))
    counted = found.trigger_time.sel(branch="nominal", trigger=name).values - 17.0
    apogee = found.reference_time.sel(branch="nominal", action="deploy streamer").values
    assert (counted + first < apogee).all() and (apogee < counted + last).all()
    for k in range(3):
        torn = []
        for setting in (first[k] - 0.7, first[k] + 0.1, last[k] - 0.1, last[k] + 0.7):
            ds = sixdof.disperse(mission.change({"recovery.streamer.delay": float(setting)}), 3, seed=1, progress=False)
            torn.append(bool(ds.failure_happened.sel(failure="canopy_lost: streamer").values[k]))
        assert torn == [True, False, False, True]
    page = " ".join(sixdof.report(found).split())
    assert "delay of streamer = 17 s is right in all branches" in page and "time alone deploys" in page


def test_triggers__of_a_single_rule_and_a_single_canopy(sampler):
    """Draws of one thing alone have no dim of their own."""
    one = sampler.remove("recovery.main", "rule.1").change({"recovery.drogue.delay": "0 s"})
    one = one.remove(f"stage.0.part.{next(k for k, part in enumerate(one.stage[0].part) if part.name == 'main')}")
    found = trigger_windows(one, 2, branches=["trigger lost: deploy drogue"], progress=False)
    assert list(found.action.values) == ["deploy drogue"] and np.isfinite(found.latest_of_flight.sel(branch="trigger lost: deploy drogue")).any()


def test_timer_that_is_added__leaves_the_flights_as_they_are(sampler):
    bare = sampler.change({"recovery.drogue.backup_time": None})
    with_one = with_a_timer(bare)
    first, second = (sixdof.disperse(mission, 3, seed=1, progress=False) for mission in (bare, with_one))
    assert np.array_equal(first.landing_east.values, second.landing_east.values)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"branches": ["no such"]}, 'there is no branch "no such"'),
        ({"branches": "nominal"}, "branches must be a list of names"),
        ({"flights": 1}, "flights"),
        ({"share": 1.5}, "share"),
        ({"load_share": 0.0}, "load_share = 0"),
        ({"margin": "3 m"}, "margin"),
        ({"tolerance": -1.0}, "must not be less than 0"),
    ],
)
def test_bad_input__gets_a_sentence(sampler, change, message):
    with pytest.raises((ValueError, TypeError), match=message):
        trigger_windows(sampler, **({"flights": 2, "progress": False} | change))


def test_a_mission_that_triggers_nothing__is_refused(sampler):
    with pytest.raises(ValueError, match="nothing is deployed, separated or lit"):
        trigger_windows(sampler.change({"recovery": []}), 2, progress=False)


@pytest.mark.slow
def test_height_at_which_a_canopy_is_full__is_bounded_from_below_and_close_where_it_brakes_hard():
    """Needlegrass without its streamer meets the canopy at 130 m/s: it is full far above what a fall at that speed leaves."""
    slender = sixdof.load_mission("tests/vehicles/slender.toml").remove("failure.1", "failure.0")
    never = {"recovery.streamer.when": "burnout", "recovery.streamer.delay": "10000 s", "recovery.streamer.backup_time": None}
    mission = slender.change(never | {"recovery.streamer.motor_delay": None, "record.rate": "200 Hz"})
    action = next(one for one in actions_of(mission, mission) if one.name == "deploy canopy")
    ds = sixdof.disperse(mission, 4, seed=1, progress=False)
    told = full_height(ds, action, mission)
    for number in range(4):
        flight = sixdof.refly(ds, number)
        begun = float(flight.event_time.isel(body=0).sel(event="line stretch canopy"))
        part = next(one for one in mission.stage[0].part if one.name == "canopy")
        true = float(np.interp(begun + part.fill_time, flight.time, flight.height))
        assert told[number] <= true + 0.1 and true - told[number] < 12.0


@pytest.mark.slow
def test_the_last_setting__keeps_its_promise_on_other_flights():
    """A weak streamer: up to the bound, 9 of 10 flights in which apogee is not sensed keep it; well beyond, they do not."""
    slender = sixdof.load_mission("tests/vehicles/slender.toml").remove("failure.1", "failure.0")
    mission = slender.change({"stage.0.part.streamer.strength": "60 N", "recovery.streamer.motor_delay": None})
    name = "trigger lost: deploy streamer"
    found = trigger_windows(mission, 40, branches=[name], seed=1, share=0.9, progress=False)
    bound = float(found.latest_bound.sel(branch=name, trigger="deploy streamer: backup"))
    kept = []
    for setting in (bound, bound + 3.0):
        ds = sixdof.disperse(mission.change({"recovery.streamer.delay": "10000 s", "recovery.streamer.backup_time": setting}), 60, seed=9, progress=False)
        kept.append(float(1.0 - (ds.failure_happened.sel(failure="canopy_lost: streamer") > 0).mean()))
    assert kept[0] >= 0.9 - 2.0 * np.sqrt(0.09 / 60) and kept[1] < 0.5
