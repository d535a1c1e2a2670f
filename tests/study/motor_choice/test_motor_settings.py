"""Settings that depend on a motor, against the instants of the flights and against limits worked out here."""

from __future__ import annotations

import math

import numpy as np
import pytest

import sixdof
from sixdof.study.motor_choice.settings import STATES, settings_of, without_timers
from sixdof.study.reading.result import event_values


def judged(mission, path, flights=4):
    ds = sixdof.disperse(mission, flights, seed=2, tracks="none", progress=False)
    return next(one for one in settings_of(mission, ds) if one.path == path), ds


def after_liftoff(ds, event):
    return event_values(ds, event) - event_values(ds, "liftoff")


@pytest.fixture(scope="module")
def opened(plain):
    """When the streamer is deployed at the sensed apogee in four flights without timers, s after liftoff."""
    ds = sixdof.disperse(without_timers(plain), 4, seed=2, tracks="none", progress=False)
    return event_values(ds, "deployment streamer") - event_values(ds, "liftoff")


@pytest.mark.parametrize(("behind", "state"), [(-0.1, "too early"), (0.1, "ok"), (4.9, "ok"), (5.1, "too late")])
def test_backup__against_when_the_canopies_open(plain, opened, behind, state):
    """From just behind the latest opening to 5 s behind it; too late, it would be right 1 s behind it, rounded up to half a second."""
    mission = plain.change({"recovery.streamer.backup_time": float(opened.max()) + behind})
    found, _ = judged(mission, "recovery.streamer.backup_time")
    assert found.state == state
    if state == "too late":
        assert 1.0 <= found.right - opened.max() <= 1.5 and found.right % 0.5 == 0.0


def test_delay_grain__leaves_room_for_its_scatter(plain):
    """The right delay less 20 %, and less 1.5 s, still comes behind the latest opening, counted from burnout; it is a whole number of seconds."""
    calm = sixdof.disperse(without_timers(plain), 4, seed=2, tracks="none", progress=False)
    latest = (event_values(calm, "apogee") - event_values(calm, "burnout")).max()
    found = next(one for one in settings_of(plain.change({"recovery.streamer.motor_delay": "10 s"}), calm) if one.path == "recovery.streamer.motor_delay")
    assert found.state == "too early" and found.share == 1.0 and found.right == int(found.right)
    assert 0.8 * found.right > latest and found.right - 1.5 > latest and 0.8 * (found.right - 2.0) < latest + 1.0


def test_height__above_the_apogee_and_too_near_the_ground(plain):
    slow = plain.change({"solver.time_limit": "600 s"})
    high, ds = judged(slow.change({"recovery.canopy.height": "3.5 km"}), "recovery.canopy.height")
    assert high.state == "too high" and high.share == 1.0
    assert 50.0 <= float(ds.apogee_height.min()) - high.right < 60.0 + 1e-9
    low, ds = judged(slow.change({"recovery.canopy.height": "25 m"}), "recovery.canopy.height")
    assert low.state == "too low" and low.right > 25.0
    again, ds = judged(slow.change({"recovery.canopy.height": low.right}), "recovery.canopy.height")
    assert again.state == "ok"
    full = event_values(ds, "line stretch canopy", "height") + 0.5 * event_values(ds, "line stretch canopy", "velocity_up")
    assert (full >= 30.0 - 1e-9).all()


def test_height__under_an_apogee_too_low_for_any_is_none(plain):
    low, ds = judged(plain.change({"stage.0.part.altimeter and beacon.mass": "9 kg", "disperse": {}, "correlation": []}), "recovery.canopy.height", 1)
    assert 0.0 < float(ds.apogee_height.max()) < 80.0 and STATES.index(low.state) != 0 and math.isnan(low.right)


def test_fins__live_on_the_rail(demo_mission):
    early = demo_mission.change({"rule.fins on.delay": "0 s"})
    found, ds = judged(early, "rule.fins on.delay")
    assert found.state == "too early" and found.share == 1.0
    assert found.right == pytest.approx(np.ceil(10.0 * (after_liftoff(ds, "rail_departure").max() + 0.1)) / 10.0)


def test_without_timers__leaves_what_they_back_up(stack_mission):
    calm = without_timers(stack_mission)
    assert [rule.name for rule in calm.rule] == ["part", "fins on", "light", "to the waypoints", "fins off"]
    assert all(entry.backup_time is None and entry.motor_delay is None for entry in calm.recovery)
