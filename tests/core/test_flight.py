"""What `fly` promises apart from physics: events located, statuses, rules, the same bits whatever is logged."""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
from drivers import Flown
from independent_vehicle import warmed_air

from sixdof.core import layout as la
from sixdof.core import types as ct
from sixdof.core.craft import dispersed_air
from sixdof.ensemble.draws import kernel_draw
from sixdof.model import build_model

LOCATED = 1e-6  # s
GAS_CONSTANT, HEAT_RATIO = 287.05307, 1.4


def rocket(*, steps=2, rules=(), **parts):
    """A small stable vehicle on a vertical rail, thrust 500 N for 1 s, drag, one canopy."""
    options = {
        "aero": models.aero(ca=0.4), "thrust": models.thrust((0.0, 1.0), (500.0, 500.0), propellant=0.0),
        "canopy": np.array([[2.0, 0.5]]), "tumble_area": 0.05, "time_limit": 100.0,
    }  # fmt: skip
    model = models.model(**{**options, **parts}, steps_per_tick=steps)
    table = np.array(rules, dtype=float).reshape(-1, ct.RULE_COLUMNS)
    return model._replace(computer=model.computer._replace(rules=table))


def rule(trigger, action, *, threshold=0.0, delay=0.0, target=0, tilt=math.inf, above=-math.inf, below=math.inf):
    return trigger, threshold, delay, action, target, tilt, above, below


DEPLOY_AT_APOGEE = rule(ct.TRIGGER_APOGEE, ct.ACTION_DEPLOY)


# ------------------------------------------------------------------ events


@pytest.mark.parametrize("steps", [3, 7])
def test_events__located_whatever_the_step(steps):
    coarse, other = Flown(rocket(), models.draw()), Flown(rocket(steps=steps), models.draw())
    for event in (la.E_LIFTOFF, la.E_FORE_GUIDE, la.E_RAIL, la.E_BURNOUT, la.E_APOGEE, la.E_LANDING):
        assert other.events[event, 0] == pytest.approx(coarse.events[event, 0], abs=LOCATED)


def test_liftoff__when_a_rising_thrust_carries_the_weight():
    """8 kg under 1,000 N/s: m g/1,000 = 0.0784532 s, no tick and no step."""
    flown = Flown(rocket(thrust=models.thrust((0.0, 0.5, 1.0), (0.0, 500.0, 500.0))), models.draw())
    assert flown.events[la.E_LIFTOFF, 0] == pytest.approx(8.0 * models.G0 / 1000.0, abs=1e-9)


def test_burnout__at_the_last_break_point():
    flown = Flown(rocket(thrust=models.thrust((0.0, 0.9137), (500.0, 500.0))), models.draw())
    assert flown.events[la.E_BURNOUT, 0] == pytest.approx(0.9137, abs=1e-12)


def test_apogee__climb_is_over_and_height_is_largest():
    flown = Flown(rocket(), models.draw())
    assert abs(flown.events[la.E_APOGEE, 6]) < 1e-9  # m/s
    assert flown.log[:, la.L_HEIGHT].max() <= flown.summary[la.X_APOGEE]
    assert (
        flown.summary[la.X_APOGEE] - flown.log[:, la.L_HEIGHT].max() < 0.5 * models.G0 * 0.01**2
    )  # within a tick of it


def test_landing__on_the_ground():
    for rules in ((), (DEPLOY_AT_APOGEE,)):
        flown = Flown(rocket(rules=rules), models.draw())
        assert flown.status == la.LANDED_OK
        assert abs(flown.events[la.E_LANDING, 3]) < 1e-8  # m
        assert flown.events[la.E_LANDING, 0] == flown.end


# ------------------------------------------------------------------ how a flight may end


def test_status__nan_ends_the_flight():
    air = np.repeat(models.world().air[:1], 50, axis=0)
    air[20:, ct.AIR_DENSITY] = np.nan
    world = models.world()._replace(air=air, air_z0=-100.0, air_per_metre=0.1)  # no air data above 90 m
    flown = Flown(rocket(world=world), models.draw())
    assert flown.status == la.DIVERGED
    assert flown.end < 5.0 and math.isnan(flown.summary[la.X_APOGEE])


def test_status__too_weak_to_lift_off():
    flown = Flown(rocket(thrust=models.thrust((0.0, 1.0), (70.0, 70.0))), models.draw())
    assert flown.status == la.NO_LIFTOFF
    assert np.isnan(np.delete(flown.events, la.E_BURNOUT, axis=0)).all() and math.isnan(flown.summary[la.X_APOGEE])


def test_status__out_of_time_and_above_the_air():
    assert Flown(rocket(time_limit=1.0), models.draw()).status == la.OUT_OF_TIME
    low = models.world()._replace(air_z0=-50.0, air_per_metre=0.01)  # two rows: up to 50 m
    assert Flown(rocket(world=low), models.draw()).status == la.ABOVE_AIR


def test_thrust_fades_on_the_rail__stops_and_goes_on():
    """A motor that hesitates: the vehicle stands still on the rail where it is and leaves with the second push."""
    curve = models.thrust((0.0, 0.1, 0.11, 0.5, 0.51, 1.5), (200.0, 200.0, 0.0, 0.0, 500.0, 500.0))
    flown = Flown(rocket(thrust=curve), models.draw())
    waiting = flown.log[(flown.log[:, la.L_TIME] > 0.4) & (flown.log[:, la.L_TIME] < 0.5)]
    assert np.all(waiting[:, la.L_VU] == 0.0) and np.all(waiting[:, la.L_PHASE] == 0.0)
    assert flown.status == la.LANDED_OK and flown.events[la.E_RAIL, 0] > 0.5


# ------------------------------------------------------------------ rules


def test_rules__fire_in_order_of_their_triggers():
    rules = [
        rule(ct.TRIGGER_FALLING, ct.ACTION_DEPLOY, threshold=50.0),
        rule(ct.TRIGGER_BURNOUT, ct.ACTION_DISABLE),
        rule(ct.TRIGGER_CLIMBING, ct.ACTION_ENABLE, threshold=20.0),
    ]
    flown = Flown(rocket(rules=rules), models.draw())
    fired = flown.rules[:, 1]
    assert 0.0 < fired[2] < fired[1] < flown.events[la.E_APOGEE, 0] < fired[0]
    assert flown.opened[0] == fired[0]
    opened = flown.events[len(la.EVENTS)]
    assert 50.0 - 0.06 * 60.0 < opened[3] <= 50.0  # the tick after falling through, at most 60 m/s
    assert flown.events[la.E_ENABLED, 3] >= 20.0


@pytest.mark.parametrize("delay", [0.0, 0.25, 1.0])
def test_rules__delay_counts_from_the_trigger(delay):
    flown = Flown(rocket(rules=[rule(ct.TRIGGER_APOGEE, ct.ACTION_DEPLOY, delay=delay)]), models.draw(canopy_delay=0.5))
    noticed = math.ceil(flown.events[la.E_APOGEE, 0] / 0.01) * 0.01
    assert flown.opened[0] == pytest.approx(noticed + delay + 0.5, abs=1e-9)


def test_rules__draws_delay_canopies_only():
    flown = Flown(rocket(rules=[rule(ct.TRIGGER_TIME, ct.ACTION_ENABLE, threshold=0.5)]), models.draw(canopy_delay=0.5))
    assert flown.rules[0, 1] == pytest.approx(0.5)


def test_rules__inhibits_hold_until_they_lift():
    held = Flown(rocket(rules=[rule(ct.TRIGGER_LIFTOFF, ct.ACTION_ENABLE, above=30.0)]), models.draw())
    assert (
        held.events[la.E_ENABLED, 6] >= 30.0 > held.log[held.log[:, la.L_TIME] < held.rules[0, 1] - 1e-9][-1, la.L_VU]
    )
    slow = Flown(rocket(rules=[rule(ct.TRIGGER_BURNOUT, ct.ACTION_DEPLOY, below=20.0)]), models.draw())
    assert slow.summary[la.X_OPENING_SPEED] <= 20.0
    never = Flown(rocket(rules=[rule(ct.TRIGGER_LIFTOFF, ct.ACTION_ENABLE, tilt=-1.0)]), models.draw())
    assert never.rules[0, 1] == -1.0 and np.isnan(never.events[la.E_ENABLED]).all()


def test_rules__first_of_two_opens_the_canopy():
    rules = [DEPLOY_AT_APOGEE, rule(ct.TRIGGER_TIME, ct.ACTION_DEPLOY, threshold=15.0)]
    flown = Flown(rocket(rules=rules), models.draw())
    assert flown.opened[0] == flown.rules[0, 1] < flown.rules[1, 1]


# ------------------------------------------------------------------ logging changes nothing


@pytest.mark.parametrize("every, rows", [(1, 0), (7, 20000), (1, 100)])
def test_log__same_bits(demo_mission, every, rows):
    model, draw = build_model(demo_mission), kernel_draw(demo_mission)
    full = Flown(model._replace(log_every=1), draw)
    other = Flown(model._replace(log_every=every), draw, rows=rows)
    assert np.array_equal(full.summary, other.summary, equal_nan=True)
    assert np.array_equal(full.events, other.events, equal_nan=True)
    if every > 1:
        common = full.log[np.isin(full.log[:, 0], other.log[:, 0])]
        assert np.array_equal(common, other.log) and len(common) > 100


def test_work__nothing_is_left_over_from_the_flight_before(demo_mission):
    from sixdof.core import flight as fl

    model, draw = build_model(demo_mission), kernel_draw(demo_mission)
    work, log = fl.make_work(model), fl.make_log(model, 0)
    events, first, second = fl.make_events(model), fl.make_summary(), fl.make_summary()
    fl.fly(model, draw, work, log, events, first)
    fl.fly(model, draw._replace(impulse=0.8, temperature=10.0), work, log, events, second)
    assert not np.array_equal(first, second)
    fl.fly(model, draw, work, log, events, second)
    assert np.array_equal(first, second, equal_nan=True)


# ------------------------------------------------------------------ dispersed air


@pytest.mark.parametrize("offset, factor", [(10.0, 1.0), (-15.0, 0.97), (0.0, 1.02)])
def test_dispersed_air__hydrostatic_and_a_gas(demo_mission, offset, factor):
    world = build_model(demo_mission).world
    rows = np.empty_like(world.air)
    dispersed_air(world, offset, factor, rows)
    # against the layer integral done exactly; the kernel takes each layer's mean temperature, (20 m)^2 off
    assert rows == pytest.approx(warmed_air(world, offset, factor), rel=1e-7)
    ground = int(round(-world.air_z0 * world.air_per_metre))
    assert rows[ground, ct.AIR_PRESSURE] == world.air[ground, ct.AIR_PRESSURE] * factor
    kelvin = (rows[:, ct.AIR_SOUND] ** 2 - world.air[:, ct.AIR_SOUND] ** 2) / (HEAT_RATIO * GAS_CONSTANT)
    assert kelvin == pytest.approx(offset, abs=1e-9)
    # dp/dz over rho g as in the table it came from: 1 but for the standard atmosphere's gravity, 0.07 % off
    clear = np.abs(np.diff(world.air[:, ct.AIR_SOUND], 2)) < 1e-4  # away from the corners of the temperature profile
    assert balance(rows, world)[clear] == pytest.approx(balance(world.air, world)[clear], rel=1e-6)
    assert balance(rows, world)[clear] == pytest.approx(1.0, abs=1e-3)


def balance(rows, world):
    """Return -dp/dz / (rho g) by central differences, 1 in air at rest."""
    slope = (rows[2:, ct.AIR_PRESSURE] - rows[:-2, ct.AIR_PRESSURE]) * world.air_per_metre / 2.0
    return -slope / (rows[1:-1, ct.AIR_DENSITY] * rows[1:-1, ct.AIR_GRAVITY])


def test_dispersed_air__nominal_is_untouched(demo_mission):
    world = build_model(demo_mission).world
    rows = np.empty_like(world.air)
    dispersed_air(world, 0.0, 1.0, rows)
    assert rows == pytest.approx(world.air, rel=1e-13)
