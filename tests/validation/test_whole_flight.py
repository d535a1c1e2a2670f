"""The compiled flight against the same flight written a second time in numpy and scipy (tests/independent_*.py).

Pure reference: DOP853 at a relative tolerance of 1e-12, restarted at every tick, thrust break and change of an
actuator's regime. The kernel's RK4 at two steps a tick is held to what its steps leave: each tolerance is some two to
five times the difference measured, which goes down with the step.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from drivers import Flown
from independent_flight import fly_plainly
from side_by_side import differences

from sixdof.core import types as ct
from sixdof.core.columns import CanopyColumn
from sixdof.core.computer.columns import RuleColumn
from sixdof.core.layout import Ending, Log, Outcome
from sixdof.core.leg.work import make_work
from sixdof.draws.packed import kernel_draw, one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.flight.model import build_model
from sixdof.flight.plan import Plan

NEAR_GROUND = 1e-4  # m: the wind's profile is steep there for the long steps under a canopy
SMOOTH = 1e-5  # m: RK4 over ticks of 10 ms in two steps, kinks of the tables crossed unmarked
PURE, FAST = 1e-12, 1e-9
LIMITS = {"mild": 1e-2, "stops": 1e-4}  # m: steps do not end where an actuator meets a limit; a second-order error
BRIEF = 2.5  # s: rail, burn, burnout, the controller's first second
LANDING = 0.05  # m/s: the last 6 cm of the wind's profile fall into one step of 50 ms


@pytest.fixture(scope="module")
def demo(demo_mission):
    return demo_mission, build_model(demo_mission)._replace(log_every=1)


def drawn(mission, number):
    return kernel_draw(mission, one_draw(pack_draws(mission, draw_table(mission, 7, number, 1)), 0))


def canopies_and_delays(mission, number):
    """Return this flight's canopies and delays of rules: as its Plan prepares them, and from the table of draws by hand."""
    table = draw_table(mission, 7, number, 1)
    plan, model = Plan(mission), build_model(mission)
    work = make_work(model)
    plan.prepare(work, one_draw(pack_draws(mission, table), 0))
    canopy, rules = model.canopy.copy(), model.computer.rules
    canopy[:, CanopyColumn.DRAG_AREA] *= table["canopy.drag"].values[0]
    late = table["canopy.delay"].values[0][rules[:, RuleColumn.TARGET].astype(int)]
    delays = rules[:, RuleColumn.DELAY] + np.where(rules[:, RuleColumn.ACTION] == ct.ACTION_DEPLOY, late, 0.0)
    assert np.all(late > 0.0) and np.all(canopy != model.canopy, axis=0)[CanopyColumn.DRAG_AREA]
    return (work.canopy, work.rule_delay), (canopy, delays)


def frictionless(model):
    return model._replace(rail=model.rail._replace(friction=0.0))


def brief(model):
    return model._replace(time_limit=BRIEF)


def check(found, position):
    """Hold a flight's differences to `position` (m) and what goes with it."""
    assert found["time"] == found["phase"] == 0.0
    assert found["position"] < position
    assert found["velocity"] < position  # m/s: errors of velocity last about a second of the pitch oscillation
    assert found["nose"] < 0.1 * position  # rad, at about ten times the rate of their growth into velocity
    assert found["rates"] < 10.0 * position  # rad/s: ten oscillations' worth of radians a second
    assert found["fins"] < 2.0 * position  # rad: gains turn rad of attitude into rad of fin
    assert found["liftoff time"] < 1e-6 and found["rail_departure time"] < 1e-7  # s
    if "apogee at" in found:
        assert found["apogee time"] < 1e-6 + 0.1 * position  # s
        assert found["apogee at"] < position


@pytest.mark.slow  # the burn with everything drawn, canopies and failures stay below; half a minute of plain Python
def test_to_apogee__nominal(demo):
    mission, model = demo
    found, _, _ = differences(model, kernel_draw(mission), rtol=FAST)
    assert "apogee at" in found
    check(found, SMOOTH)


def dispersed(mission):
    """Wind, air, misaligned and offset thrust, off-axis cg, cant, centring, gains, mass, drag: all off nominal."""
    draw = drawn(mission, 3)._replace(tilt_y=0.004, tilt_z=-0.003, cg_y=0.001, cg_z=-0.0015, wind_scale=1.5)
    assert draw.temperature != 0.0 and draw.pressure != 1.0 and np.any(draw.centring != 0.0)
    return draw


@pytest.mark.slow
def test_burn__no_friction(demo):
    mission, model = demo
    found, _, _ = differences(brief(frictionless(model)), kernel_draw(mission), rtol=1e-10)
    check(found, SMOOTH)


def test_burn__everything_dispersed(demo):
    mission, model = demo
    found, _, _ = differences(brief(frictionless(model)), dispersed(mission), rtol=1e-10)
    check(found, SMOOTH)


@pytest.mark.parametrize("name", [pytest.param("mild", marks=pytest.mark.slow), "stops"])
def test_burn__actuators_at_their_limits(demo, name):
    mission, model = demo
    model = brief(frictionless(model))
    draw = drawn(mission, 3)._replace(servo_rate=0.12, gain_pitch=1.6, gain_yaw=1.6, wind_scale=2.0, tilt_y=0.005)
    if name == "stops":
        # targets beyond the stop come from centring: the mixer itself asks for no more than the travel
        model = model._replace(servo=model.servo._replace(travel=0.04))
        draw = draw._replace(servo_rate=1.0, centring=np.array([0.02, -0.02, 0.02, -0.02]))
    found, plain, _ = differences(model, draw, rtol=FAST)
    swing = np.abs(np.diff(plain["fins"], axis=0)).max() / model.computer.period
    if name == "stops":
        assert np.abs(plain["fins"]).max() == pytest.approx(0.04, rel=1e-12)
    else:
        assert swing == pytest.approx(0.12 * model.servo.rate_limit, rel=1e-9)  # a whole tick at full speed
    assert found["position"] < LIMITS[name]


@pytest.mark.slow
def test_steps__differences_shrink(demo):
    """Twice and four times the steps bring the kernel closer to the reference, about as the fourth power would."""
    mission, model = demo
    model = brief(frictionless(model))
    draw = drawn(mission, 4)._replace(cant=0.02, gain_pitch=0.0, gain_yaw=0.0, gain_roll=0.0, offset_y=0.002)  # spinning
    plain = fly_plainly(model, draw, rtol=1e-11, atol=1e-11)
    off = []
    for steps in (2, 4, 8):
        flown = Flown(model._replace(computer=model.computer._replace(steps_per_tick=steps)), draw)
        off.append(np.abs(flown.log[-1, Log.EAST : Log.VELOCITY_UP + 1] - plain["state"][-1, :6]).max())
    assert off[1] < off[0] / 6.0 and off[2] < off[1] / 6.0


@pytest.mark.slow
def test_to_apogee__everything_dispersed(demo):
    mission, model = demo
    found, _, _ = differences(frictionless(model), dispersed(mission), rtol=PURE)
    check(found, 5.0 * SMOOTH)


@pytest.mark.slow
@pytest.mark.parametrize("number", [None, 0, 1])
def test_to_the_ground__pure_reference(demo, number):
    mission, model = demo
    draw, tables, by_hand = kernel_draw(mission), None, None
    if number is not None:
        draw, (tables, by_hand) = drawn(mission, number), canopies_and_delays(mission, number)
    found, plain, flown = differences(model, draw, rtol=PURE, until="ground", tables=tables, plain_tables=by_hand)
    check(found, NEAR_GROUND)
    assert flown.status == Ending.LANDED and len(plain["event"]) == 7
    assert found["landing time"] < 1e-4 and found["landing at"] < 2.0 * NEAR_GROUND
    assert found["landing velocity"] < LANDING
    assert math.isclose(flown.summary[Outcome.APOGEE_HEIGHT], plain["event"]["apogee"][1][2], abs_tol=SMOOTH)
