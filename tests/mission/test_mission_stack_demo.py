"""The two-stage demo does what its file and the documents say."""

from __future__ import annotations

import math

import numpy as np

import sixdof
from sixdof.core.layout import Ending
from sixdof.results.status import Descent
from sixdof.study.reading.result import event_values
from sixdof.vehicle.describe import balance
from sixdof.vehicle.motor import motor_facts

WIND_RATIO = 4.0  # rail departure speed over wind (common practice)
LEAST_THRUST = 5.0  # over weight at liftoff (common practice)


def test_stack__is_stable_and_strong_enough(stack_mission):
    for stages in ([0, 1], [0]):
        state = balance(stack_mission, stages)
        assert min(state.margin_loaded, state.margin_burnt) >= 1.0 and state.margin_loaded <= 3.5  # usual, or a little over it
    mounts = [part for part in stack_mission.stage[1].part if part.kind == "mount"]
    thrust = sum(motor_facts(stack_mission.motor[mount.motor]).average_thrust * mount.count for mount in mounts)
    assert thrust > LEAST_THRUST * 9.81 * balance(stack_mission, [0, 1]).loaded.mass


def test_stack_flight__stages_captures_and_comes_down_under_canopies(stack_flight):
    ds = stack_flight
    assert float(ds.rail_departure_speed) > WIND_RATIO * 4.0
    assert ds["separation_cause"].values.tolist() == [1.0] and ds["recontact"].values.tolist() == [0.0]
    lit, parted = (event_values(ds, name)[0] for name in ("ignition whinchat", "separation drayhorse"))
    assert lit > parted and math.degrees(event_values(ds, "ignition whinchat", "tilt")[0]) < 5.0
    assert int(ds.waypoints_captured) == 2 and float(ds.mach_max) < 0.8
    down = ds["descent"].values[:2]
    assert (down == Descent.UNDER_CANOPY).all() and str(ds["branch"].values) == "nominal"


def test_stack__fins_wait_for_the_booster_to_go(stack_mission, stack_flight):
    live = event_values(stack_flight, "fins_enabled")[0]
    assert live > event_values(stack_flight, "separation drayhorse")[0]
    early = sixdof.fly(stack_mission.change({"rule.fins on.booster": None}))
    assert event_values(early, "fins_enabled")[0] < event_values(early, "separation drayhorse")[0]


def test_stack_failures__each_has_its_branch(stack_mission):
    stuck = sixdof.fly(stack_mission, failures=["no_separation: drayhorse"])
    assert str(stuck["branch"].values) == "no_separation: drayhorse"
    assert np.isnan(event_values(stuck, "ignition whinchat")[0])  # the light is inhibited while the booster is there
    cold = sixdof.fly(stack_mission, failures=["no_ignition: whinchat"])
    assert float(cold.apogee_height) < 0.6 * 1700.0 and int(cold.status) == Ending.LANDED
