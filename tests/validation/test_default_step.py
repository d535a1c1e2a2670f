"""The default step on every demo: 0.05 m of apogee, 0.01 deg of attitude up to it, 0.1 ms of every event, against 16 steps a tick.

The reference is the same kernel: that it is right is shown against an independent integration in tests/validation/test_whole_flight.py.
"""

from __future__ import annotations

import pytest
from step_errors import BOUNDS, HEAVIER, REFERENCE, Demo, largest, within

DRAWN = 20
DEMOS = "sampler", "waypoints", "two-stage"


@pytest.fixture(scope="module")
def demo(demo_path):
    """Return Demo(mission, flights, changes of its servo) of a demo's name."""
    return lambda name, count, **servo: Demo(demo_path.parent / f"{name}.toml", count, **servo)


def default_step(demo):
    return demo.errors(demo.fly(demo.mission.solver.steps_per_tick), demo.fly(REFERENCE))


def test_waypoints__play_taken_up_inside_steps_leaves_no_error(demo):
    """Three samples of a fin's motion in a step know nothing of its start inside it: they put 5 of these 21 flights out of bounds, one by 0.8 deg."""
    assert all(within(error) for error in default_step(demo("waypoints", DRAWN)))


@pytest.mark.slow
@pytest.mark.parametrize("name", DEMOS)
def test_default_step__keeps_to_its_bounds_on_every_demo(demo, name):
    """Where a dead band decides otherwise in one of two flights, they are two flights: see the next test."""
    flown = default_step(demo(name, DRAWN))
    assert all(within(error) for error in flown if not error.parted)
    assert name == "two-stage" or not any(error.parted for error in flown)
    assert largest(flown).apogee < BOUNDS[0]


@pytest.mark.slow
@pytest.mark.parametrize("name", DEMOS)
def test_default_step__keeps_to_its_bounds_without_thresholds(demo, name):
    """Play, limits, delay and load as they are; only the dead band, a threshold at a tick, is left out."""
    assert all(within(error) for error in default_step(demo(name, DRAWN, dead_band=0.0)))


@pytest.mark.slow
def test_two_stages__some_micrograms_part_them_as_well(demo):
    """What is left of the two-stage demo's attitudes is no error of the step: at one and the same step 30 micrograms make as much."""
    flights = demo("two-stage", DRAWN)
    moved = flights.errors(flights.fly(REFERENCE, HEAVIER), flights.fly(REFERENCE))
    assert any(error.parted for error in moved)
    assert largest(moved).attitude > 10.0 * BOUNDS[1]
