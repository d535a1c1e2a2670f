"""What servo, law, mixer, guidance and failures can do, each in a flight by the kernel and by the reference.

Pure reference as in test_whole_flight.py. The fins are live for the last second of a flight of 1.5 s in which thrust
and wind keep them busy. Tolerances are two to five times the difference measured at the default step.
"""

from __future__ import annotations

import models
import numpy as np
import pytest
from drivers import Flown
from independent_flight import CANOPY, HOLD, ON_RAIL
from models import thrust
from side_by_side import differences

from sixdof.core import layout as la
from sixdof.core.actuator import DEAD, STUCK
from sixdof.core.columns import CanopyColumn
from sixdof.core.computer import guidance as gu
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, Gain, RuleColumn
from sixdof.core.layout import Ending, Event, Log, Outcome
from sixdof.core.types import (
    ACTION_DEPLOY,
    ACTION_DISABLE,
    ACTION_ENABLE,
    ACTION_GUIDE,
    TRIGGER_APOGEE,
    TRIGGER_BURNOUT,
    TRIGGER_CLIMBING,
    TRIGGER_EJECTION,
    TRIGGER_FALLING,
    TRIGGER_IGNITION,
    TRIGGER_LIFTOFF,
    TRIGGER_RAIL,
    TRIGGER_TIME,
)
from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model

SMOOTH = 2e-6  # m: RK4 in two steps a tick, kinks of the tables crossed unmarked
STOPPED = 3e-4  # m: servos meet stops inside steps; 1e-4, 3e-5 and 4e-6 were measured at 2, 8 and 32 steps a tick
SHORT = 1.5  # s
REFERENCE = 1e-9


@pytest.fixture(scope="module")
def demo(demo_mission):
    model = build_model(demo_mission)._replace(log_every=1, time_limit=SHORT)
    return model, kernel_draw(demo_mission)._replace(tilt_y=0.004, wind_scale=1.5, gain_pitch=1.2)


def with_computer(model, **parts):
    return model._replace(computer=model.computer._replace(**parts))


def with_gains(model, **parts):
    gains = model.computer.gains.copy()
    for name, value in parts.items():
        gains[Gain[name]] = value
    return with_computer(model, gains=gains)


def assert_same(model, draw, position):
    found, plain, flown = differences(model, draw, rtol=REFERENCE)
    assert found["time"] == found["phase"] == 0.0
    assert found["position"] < position and found["velocity"] < 10.0 * position
    return plain, flown


SERVOS = {
    "delay of part of a tick": ({"delay": 0.007}, SMOOTH),
    "delay of two ticks and a half": ({"delay": 0.025}, SMOOTH),
    "play": ({"backlash": 0.01}, 1e-4),  # steps do not end where the play is taken up: a second-order error
    "steps of the command": ({"dead_band": 0.005, "resolution": 0.002}, SMOOTH),
    "load": ({"stall_torque": 0.15}, 5e-3),  # the limit of speed, met inside a step, moves with the load
}


@pytest.mark.parametrize("name", [pytest.param(name, marks=pytest.mark.slow) if name == "delay of part of a tick" else name for name in SERVOS])
def test_servo__as_the_reference(demo, name):
    model, draw = demo
    parts, position = SERVOS[name]
    if name == "load":
        draw = draw._replace(servo_rate=0.12, gain_pitch=1.6, gain_yaw=1.6, wind_scale=2.0)
    changed = model._replace(servo=model.servo._replace(**parts))
    _, flown = assert_same(changed, draw, position)
    assert not np.array_equal(flown.log, Flown(model, draw).log)


LAWS = {
    "filter": ({"FILTER": 0.02}, SMOOTH),
    # starts with a kick, which meets the servos' limits
    "rate of the error": ({"FILTER": 0.05, "ON_ERROR": 1.0, "DEMAND_LIMIT": 0.05}, 3.0 * SMOOTH),
    "cascade": ({"CASCADE": 1.0, "RATE_LIMIT": 0.5, "DEMAND_LIMIT": 0.1}, SMOOTH),
}


@pytest.mark.parametrize("name", LAWS)
def test_law__as_the_reference(demo, name):
    parts, position = LAWS[name]
    assert_same(with_gains(demo[0], **parts), demo[1], position)


@pytest.mark.parametrize("over, values", [(1.0, (500.0, 2e3, 6e3)), (2.0, (0.05, 0.15, 0.25))])
@pytest.mark.parametrize("booster", [0.0, 1.0])
def test_schedule__as_the_reference(demo, over, values, booster):
    """Three rows over dynamic pressure or Mach number, another set of them with a booster."""
    model, draw = demo
    g = model.computer.gains
    head, row = g[:GAIN_HEAD].copy(), g[GAIN_HEAD : GAIN_HEAD + GAIN_ROW]
    head[[Gain.OVER, Gain.ROWS, Gain.PRESSURE]] = over, 3.0, 0.0
    rows = [np.r_[at, k * row[1:]] for k in (0.7, 1.0) for at, k in zip(values, (1.6 * k, 0.8 * k, 0.5 * k))]
    assert_same(with_computer(model, gains=np.concatenate([head, *rows]), booster=booster), draw, SMOOTH)


def test_mixer__first_things_first(demo):
    """Canted fins ask for roll and a leaning thrust for pitch, together more than there is."""
    model, draw = demo
    model = model._replace(servo=model.servo._replace(travel=0.08))
    draw = draw._replace(gain_roll=2.0, gain_pitch=1.5, cant=0.03, tilt_y=0.01)
    commands = []
    for first in (0, 1):
        plain, flown = assert_same(with_computer(model, roll_first=first), draw, STOPPED)
        assert flown.summary[Outcome.SATURATION_SHARE] > 0.0
        assert np.abs(plain["command"]).max() == pytest.approx(0.08, rel=1e-12)
        commands.append(plain["command"])
    assert np.abs(commands[0] - commands[1]).max() > 1e-3


def test_guidance__smooth_slewed_and_fed_forward(demo):
    model, draw = demo
    guidance = model.computer.guidance
    profile = np.array([[0.0, 0.0, 0.0, 0.0], [0.5, 0.05, -0.02, 0.0], [1.0, 0.05, 0.05, 0.4], [1.3, 0.0, 0.0, 0.4]])
    gains = model.computer.gains.copy()
    gains[GAIN_HEAD + 4 : GAIN_HEAD + GAIN_ROW : 4] = 0.1  # f of every channel
    guidance = guidance._replace(profile=profile, smooth=1, slew=0.3, feed_rate=1)
    assert_same(with_computer(model, guidance=guidance, gains=gains), draw, SMOOTH)


def test_guidance__over_height_then_held(demo):
    model, draw = demo
    profile = np.array([[5.0, 0.0, 0.0, 0.0], [40.0, 0.05, -0.02, 0.1]])
    rules = np.array([models.rule(TRIGGER_LIFTOFF, ACTION_ENABLE, delay=0.4), models.rule(TRIGGER_LIFTOFF, ACTION_GUIDE, delay=0.9, target=2)])
    guidance = model.computer.guidance._replace(profile=profile, over=int(gu.BY_HEIGHT))
    _, flown = assert_same(with_computer(model, guidance=guidance, rules=rules), draw, SMOOTH)
    goal = flown.log[flown.log[:, Log.TIME] > 1.0][:, Log.COMMANDED_PITCH]
    assert np.ptp(goal) < 1e-12 and flown.log[-1, Log.GUIDANCE_MODE] == gu.HOLD_DIRECTION


PULSES = thrust((0.0, 0.4, 0.401, 0.7, 0.701, 1.1, 1.101), (120.0, 120.0, 0.0, 0.0, 120.0, 120.0, 0.0), propellant=0.1)
RULES = {
    "burns and their delays": [
        models.rule(TRIGGER_BURNOUT, ACTION_ENABLE, delay=0.05),
        models.rule(TRIGGER_IGNITION, ACTION_DISABLE, order=1),
        models.rule(TRIGGER_BURNOUT, ACTION_ENABLE, order=1, height_above=25.0),
        models.rule(TRIGGER_EJECTION, ACTION_GUIDE, delay=0.033, target=2),
    ],
    "conditions": [
        models.rule(TRIGGER_LIFTOFF, ACTION_ENABLE, speed_above=15.0),
        models.rule(TRIGGER_RAIL, ACTION_GUIDE, target=2, after=0.8, tilt_below=0.3),
        models.rule(TRIGGER_CLIMBING, ACTION_DISABLE, threshold=5.0, height_above=12.0, speed_below=100.0, booster=0.0),
        models.rule(TRIGGER_TIME, ACTION_ENABLE, threshold=0.9, before=1.3),
        models.rule(TRIGGER_TIME, ACTION_ENABLE, threshold=1.2),
        models.rule(TRIGGER_LIFTOFF, ACTION_DISABLE, booster=1.0),
    ],
    "timeout": [
        models.rule(TRIGGER_LIFTOFF, ACTION_ENABLE, speed_above=25.0, timeout=0.2),
        models.rule(TRIGGER_RAIL, ACTION_ENABLE, height_above=10.0, timeout=2.0),
        models.rule(TRIGGER_BURNOUT, ACTION_DISABLE, height_above=100.0, before=1.05),
    ],
}


@pytest.mark.parametrize("name", RULES)
def test_rules__as_the_reference(demo, name):
    """Two pulses of thrust; when every rule was armed, fired, acted and gave up."""
    model, draw = demo
    computer = {"rules": np.array(RULES[name]), "detection": models.detection(burnout_debounce=0.02)}
    plain, flown = assert_same(with_computer(model._replace(thrust=PULSES), **computer), draw, SMOOTH)
    np.testing.assert_allclose(flown.rules, plain["rules"], rtol=0.0, atol=1e-9)  # s
    fired, given_up = (plain["rules"][:, k] >= 0.0 for k in (1, 3))
    assert fired.any() and not (fired & given_up).any()
    assert given_up.any() == (name == "timeout")


OPENINGS = {
    "filled at once": [models.canopy(0.4), models.canopy(2.0, wait=0.21)],
    "waits": [models.canopy(0.4, 0.1, wait=0.137), models.canopy(2.0, 0.35, wait=0.21)],
    "reefed": [models.canopy(0.4, 0.1), models.canopy(2.0, 0.3, wait=0.05, reef_share=0.15, reef_time=1.234)],
}
FALLING_STEPS = 5e-5  # m: RK4 in steps of a tenth of the slowing-down time, cut where canopies begin and end to fill
SWINGING_STEPS = 3e-5  # rad: RK4 in steps of a quarter of a radian of the swing
NEAR_GROUND = 1e-4  # m, as in test_whole_flight.py: the wind's profile is steep there


@pytest.mark.parametrize("name", [*(pytest.param(name, marks=pytest.mark.slow) for name in ("filled at once", "waits")), "reefed"])
def test_canopies__as_the_reference(demo, name):
    """A low flight to the ground: the first canopy after an apogee by barometer, the second at 35 m, each with a delay."""
    model, draw = demo
    low = thrust((0.0, 0.9, 0.901), (120.0, 120.0, 0.0), propellant=0.1)
    rules = np.array(
        [
            models.rule(TRIGGER_APOGEE, ACTION_DEPLOY),
            models.rule(TRIGGER_FALLING, ACTION_DEPLOY, threshold=35.0, target=1),
            models.rule(TRIGGER_LIFTOFF, ACTION_DEPLOY, delay=9.0),
        ]
    )
    model = model._replace(thrust=low, canopy=np.array(OPENINGS[name]), time_limit=60.0)
    notices = models.detection(by_barometer=1, apogee_drop=1.0, apogee_debounce=0.05)
    model = with_computer(model, rules=rules, detection=notices)
    tables = model.canopy.copy(), rules[:, RuleColumn.DELAY] + [0.11, 0.07, 0.0]
    tables[0][:, CanopyColumn.DRAG_AREA] *= [1.1, 0.93]
    found, plain, flown = differences(model, draw, rtol=REFERENCE, until="ground", tables=tables)
    assert found["time"] == found["phase"] == 0.0 and flown.status == Ending.LANDED
    assert found["position"] < FALLING_STEPS and found["velocity"] < 2.0 * FALLING_STEPS
    assert found["nose"] < SWINGING_STEPS and found["rates"] < 10.0 * SWINGING_STEPS  # swings of 3 to 8 rad/s
    assert found["canopy 0 time"] == found["canopy 1 time"] == 0.0
    assert found["stretch 0 time"] == found["stretch 1 time"] == 0.0
    assert found["landing at"] < 2.0 * NEAR_GROUND
    np.testing.assert_allclose(flown.rules, plain["rules"], rtol=0.0, atol=1e-9)
    assert list(flown.rules[:, 2]) == [1.0, 1.0, 0.0]


@pytest.mark.parametrize("wait", [0.0, 0.137])
def test_canopy_in_the_climb__as_the_reference(demo, wait):
    """Thrown out at 40 m/s with the nose against the wind: it flies on, and is turned over within a tenth of a second."""
    model, draw = demo
    rules = np.array([models.rule(TRIGGER_LIFTOFF, ACTION_DEPLOY, delay=0.9)])
    model = with_computer(model._replace(canopy=np.array([models.canopy(0.5, 0.2, wait=wait)]), time_limit=2.0), rules=rules)
    found, plain, flown = differences(model, draw, rtol=REFERENCE)
    turned = plain["phase"] == CANOPY
    assert np.abs(plain["state"][turned, 15:18]).max() > 5.0  # rad/s
    assert found["time"] == found["phase"] == found["stretch 0 time"] == 0.0 and plain["event"]["stretch 0"][1][5] > 30.0
    assert found["position"] < FALLING_STEPS and found["velocity"] < 2.0 * FALLING_STEPS
    assert found["nose"] < SWINGING_STEPS * 10.0 and found["rates"] < 300.0 * SWINGING_STEPS


FAILURES = {"stuck": (STUCK, SMOOTH), "dead": (DEAD, SMOOTH)}


@pytest.mark.parametrize("name", FAILURES)
def test_failure__as_the_reference(demo, name):
    model, draw = demo
    kind, position = FAILURES[name]
    failure = np.zeros_like(model.computer.failure)
    failure[1] = kind, 0.9
    _, flown = assert_same(with_computer(model, failure=failure), draw, position)
    held = flown.log[flown.log[:, Log.TIME] > 0.91][:, la.LOG_COLUMNS + 1]
    assert np.ptp(held) == 0.0


def test_slip__thrust_that_fades_on_the_rail(demo):
    """The vehicle comes to rest on the rail, waits, and leaves with the second push."""
    model, draw = demo
    curve = thrust((0.0, 0.1, 0.11, 0.5, 0.51, 1.5), (60.0, 60.0, 0.0, 0.0, 120.0, 120.0), propellant=0.1)
    # liftoff is found to 1e-7 s on a straight line between steps
    plain, flown = assert_same(model._replace(thrust=curve), draw, 1e-5)
    waits = plain["phase"] == HOLD
    assert (waits & (plain["time"] > 0.3)).any() and (plain["phase"] == ON_RAIL).any()
    assert not np.isnan(flown.events[Event.RAIL_DEPARTURE, 0])


def test_slip__half_off_the_rail_ends_the_flight(demo):
    model, draw = demo
    model = model._replace(rail=model.rail._replace(fore_travel=0.3), time_limit=3.0)
    curve = thrust((0.0, 0.25, 0.26, 3.0), (45.0, 45.0, 0.0, 0.0), propellant=0.1)
    plain, flown = assert_same(model._replace(thrust=curve), draw, SMOOTH)
    assert flown.status == Ending.NO_LIFTOFF and plain["end"] == "no liftoff"
    assert not np.isnan(flown.events[Event.FORE_GUIDE_LEAVES, 0]) and np.isnan(flown.events[Event.RAIL_DEPARTURE, 0])
    assert flown.end == pytest.approx(plain["time"][-1], abs=model.computer.period)
