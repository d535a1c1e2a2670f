"""The default step against ever shorter ones: what the documents claim of it."""

from __future__ import annotations

import numpy as np
import pytest

import sixdof
from sixdof.study.verification.accuracy import APOGEE, ATTITUDE, EVENTS, step_study, step_text

SMOOTH = {"servo.dead_band": 0.0, "servo.backlash": 0.0}


@pytest.fixture(scope="module")
def cases(demo_mission, stack_mission):
    return {
        "one stage": demo_mission,
        "no control, no wind": demo_mission.change({"rule": (), "air.wind.speed": 0.0}),
        "turbulence": demo_mission.change({"air.turbulence": {"wind_at_20_ft": "7 m/s"}}),
        "round Earth": demo_mission.change({"site.earth": "wgs84"}),
        "two stages": stack_mission.change(SMOOTH),
    }


@pytest.mark.parametrize("case", ["one stage", "no control, no wind", "turbulence", "round Earth", "two stages"])
def test_default_step__keeps_to_its_bounds(cases, case):
    default = cases[case].solver.steps_per_tick
    ds = step_study(cases[case], (default,))
    assert abs(float(ds.apogee_error[0])) < APOGEE
    assert float(ds.attitude_error[0]) < ATTITUDE
    assert float(ds.event_error[0]) < EVENTS


def test_one_step_a_tick__as_good_as_two_once_were(cases):
    """The clean fourth order is shown in tests/validation/test_order_of_convergence.py; here corners of tables are left: 5e-6 m at one step a
    tick (5e-5 with fins that knew nothing of their way inside a step), of second order.
    """
    ds = step_study(cases["two stages"], (1, 2))
    assert abs(float(ds.apogee_error[0])) < 2e-5
    assert float(ds.order[0]) > 1.5
    assert "order" in step_text(ds)


def test_dead_band__is_not_resolved_by_the_step(stack_mission):
    """A dead band decides by a threshold at a tick: which side a command falls on is a matter of rounding, and the step does not help."""
    rough = step_study(stack_mission, (2, 16))
    smooth = step_study(stack_mission.change(SMOOTH), (2, 16))
    assert float(rough.attitude_error.min()) > 100.0 * float(smooth.attitude_error.max())


def test_tolerance__shortens_the_steps_it_must(demo_mission):
    finest = sixdof.fly(demo_mission.change({"solver.steps_per_tick": 64}))
    loose, tight = (sixdof.fly(demo_mission.change({"solver.tolerance": value})) for value in ("1 m", 1e-9))
    once = sixdof.fly(demo_mission.change({"solver.steps_per_tick": 1}))
    # a step a tick errs by less than a metre; what differs is the step on which liftoff is found
    assert float(loose.apogee_height) == pytest.approx(float(once.apogee_height), abs=1e-8)
    assert abs(float(tight.apogee_height - finest.apogee_height)) < 5e-6
    assert not np.array_equal(tight["attitude"].values[:200], loose["attitude"].values[:200])
