"""A flight's log rehearsed: the computer fires on it what it fired in flight, whatever the units and axes of the log."""

from __future__ import annotations

import numpy as np
import pytest

import sixdof


@pytest.fixture(scope="module")
def logged(demo_flight, tmp_path_factory):
    path = tmp_path_factory.mktemp("rehearsed") / "log.csv"
    sixdof.postflight.log_of(demo_flight, path, units={"specific_force": "g", "pressure": "hPa", "body_rate": "deg/s"}, axes="-z +y +x", clock="ms")
    return path


@pytest.fixture(scope="module")
def lead(demo_flight):
    return float(demo_flight["event_time"].sel(event="liftoff").squeeze())


def test_rehearsal_of_a_log__fires_what_the_flight_fired(logged, lead, demo_mission):
    bench = sixdof.rehearse(demo_mission)
    told = sixdof.rehearse(demo_mission, logged, columns=f"{logged}.toml", lead=lead)
    tick = 1.0 / demo_mission.autopilot.rate
    # liftoff is known to 3 ms, so rules fire on the same tick or a tick beside it
    np.testing.assert_allclose(told["rule_fired"].values, bench["rule_fired"].values, atol=1.01 * tick)
    assert list(told["misfire"].values) == list(bench["misfire"].values) == []
    assert told.attrs["script"] == str(logged)


def test_rehearsal_of_a_log__takes_a_dataset_and_shifts_by_the_lead(logged, demo_mission):
    log = sixdof.postflight.read_log(logged, f"{logged}.toml", demo_mission)
    early, late = (sixdof.rehearse(demo_mission, log, lead=lead) for lead in (0.0, "0.5 s"))
    known = np.isfinite(early["rule_fired"].values)
    np.testing.assert_allclose((late["rule_fired"] - early["rule_fired"]).values[known], 0.5, atol=0.0201)
    assert early["time"].values[0] < 0.0201


def test_rehearsal_of_a_log__fills_what_it_lacks(logged, demo_mission):
    log = sixdof.postflight.read_log(logged, f"{logged}.toml", demo_mission)
    bench = sixdof.rehearse(demo_mission, log[["height", "specific_force"]].assign_attrs(log.attrs))
    assert bench["liftoff_noticed"] < 0.1 and abs(float(bench["apogee_noticed"]) - 11.2) < 0.5
    assert "specific_force" not in " ".join(bench["misfire"].values)


@pytest.mark.parametrize(
    ("script", "said", "how"),
    [
        (None, "there is no log that they are about", {"columns": {}}),
        ("log", "must be 0 s or more", {"lead": -1.0}),
        ("log", "lead: ", {"lead": "3 kg"}),
        ("empty", "holds nothing that a flight computer reads", {}),
    ],
)
def test_rehearsal_of_a_log__refuses_in_one_sentence(script, said, how, logged, demo_mission):
    log = sixdof.postflight.read_log(logged, f"{logged}.toml", demo_mission)
    given = {"log": log, "empty": log[["phase"]].assign_attrs(log.attrs)}.get(script)
    with pytest.raises(ValueError, match=said):
        sixdof.rehearse(demo_mission, given, **how)


def test_rehearsal_of_a_log__refuses_that_of_another_stage(stack_mission, logged):
    log = sixdof.postflight.read_log(logged, f"{logged}.toml").assign_attrs(stage=stack_mission.stage[1].name)
    with pytest.raises(ValueError, match="this is what the computer of"):
        sixdof.rehearse(stack_mission, log)
