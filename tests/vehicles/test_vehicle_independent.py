"""Vehicles nobody tuned against the flight written a second time in numpy and scipy (tests/independent_*.py), as test_whole_flight.py does it.

That flight is over the flat Earth, without gusts, turbulence, sensors and waypoints; odd fin counts, canards whose vortices reach the tail,
shear, veer, a southern site and azimuths beyond 180 deg are in it. Of the three stages the first leg flies: the stack to its parting.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from side_by_side import differences

from sixdof.core.layout import Log
from sixdof.draws.packed import kernel_draw, one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.flight.model import build_model

PLAIN = {"site.earth": "flat", "air.gust": [], "air.turbulence": None, "sensors": None}
BRIEF = {"slender": 1.4, "canard": 0.9, "stack": 0.6}  # s: through Mach 1; the fins' first 0.4 s; off the rail
LONG = {"slender": 2.5, "canard": 1.45, "stack": 1.6}  # s: burnout and a second; before the rule for waypoints; before the first parting
SPEED = {"slender": 300.0, "canard": 100.0, "stack": 80.0}  # m/s that they have at BRIEF
# m: RK4 over ticks of 10 and 8 ms in two steps, kinks of the tables crossed unmarked at 430 m/s; the canards' play is taken up inside steps
POSITION = {"slender": 5e-5, "canard": 1e-4, "stack": 1e-6}
SPINNING = 2e-4  # m, with eight steps a tick: at 42 rad/s the slender one errs by 6.7, 0.42 and 0.026 mm with 2, 4 and 8


def plain_model(missions, name, until):
    """Return a mission without what the reference lacks, nor dispersed paths, which would make other models; and its model."""
    kept = {key: spread for key, spread in missions[name].disperse.items() if not key.startswith(("stage.", "turbulence."))}
    mission = missions[name].change(PLAIN | {"failure": [], "disperse": kept})
    model = build_model(mission)
    return mission, model._replace(log_every=1, time_limit=until, rail=model.rail._replace(friction=0.0))


def assert_same(model, draw, position, **options):
    found, plain, flown = differences(model, draw, rtol=1e-9, **options)
    assert found["time"] == found["phase"] == 0.0
    assert found["position"] < position and found["velocity"] < 10.0 * position
    assert found["nose"] < position and found["fins"] < 2.0 * position
    assert found["liftoff time"] < 1e-6 and found["rail_departure time"] < 1e-6
    return plain, flown


@pytest.mark.parametrize("name", [pytest.param(name, marks=pytest.mark.slow) if name == "canard" else name for name in BRIEF])
def test_boost__as_the_reference(missions, name):
    mission, model = plain_model(missions, name, BRIEF[name])
    plain, flown = assert_same(model, kernel_draw(mission), POSITION[name])
    assert flown.log[-1, Log.AIRSPEED] > SPEED[name] and flown.log[-1, Log.EAST] < 0.0
    if name == "canard":
        assert np.degrees(np.abs(plain["fins"])).max() > 0.3  # they steer


@pytest.mark.slow
@pytest.mark.parametrize("name", BRIEF)
def test_boost__everything_drawn(missions, name):
    """Cant, tilted thrust, masses off the axis: odd fins roll, and rolling couples everything."""
    mission, model = plain_model(missions, name, LONG[name])
    draw = kernel_draw(mission, one_draw(pack_draws(mission, draw_table(mission, 7, 2, 1)), 0))._replace(cant=0.004, tilt_y=0.002, tilt_z=-0.0015)
    model = model._replace(computer=model.computer._replace(steps_per_tick=8))
    plain, _ = assert_same(model, draw, SPINNING)
    assert np.abs(plain["state"][:, 15]).max() > 0.5  # rad/s of roll


@pytest.mark.slow
def test_to_apogee__slender(missions):
    mission, model = plain_model(missions, "slender", 60.0)
    found, plain, _ = differences(model, kernel_draw(mission), rtol=1e-11)
    assert found["apogee at"] < 5e-3 and found["apogee time"] < 1e-4
    nose = plain["event"]["apogee"][1]
    assert math.hypot(nose[0], nose[1]) > 100.0
