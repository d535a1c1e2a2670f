"""What `fly` promises apart from physics: events located, statuses, rules, the same bits whatever is logged."""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
from drivers import Flown, opening_loads
from independent_vehicle import warmed_air

from sixdof._jit import lend
from sixdof.core import layout as la
from sixdof.core import types as ct
from sixdof.core.columns import AirColumn, CanopyColumn, Handover, StageColumn
from sixdof.core.computer.columns import RULE_COLUMNS, RuleColumn, RuleState
from sixdof.core.constants import CANOPY, FREE
from sixdof.core.layout import Ending, Event, Log, Outcome
from sixdof.core.leg.drawing import dispersed_air
from sixdof.core.leg.work import make_events, make_log, make_summary, make_work
from sixdof.core.types import ACTION_IGNITE
from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model

LOCATED = 1e-6  # s
GAS_CONSTANT, HEAT_RATIO = 287.05307, 1.4


def rocket(*, steps=2, rules=(), **parts):
    """A small stable vehicle on a vertical rail, thrust 500 N for 1 s, drag, one canopy."""
    options = {
        "aero": models.aero(ca=0.4),
        "thrust": models.thrust((0.0, 1.0), (500.0, 500.0), propellant=0.0),
        "canopy": np.array([models.canopy(2.0, 0.5)]),
        "tumble_area": 0.05,
        "time_limit": 100.0,
    }
    model = models.model(**{**options, **parts}, steps_per_tick=steps)
    table = np.array(rules, dtype=float).reshape(-1, RULE_COLUMNS)
    return model._replace(computer=model.computer._replace(rules=table))


DEPLOY_AT_APOGEE = models.rule(ct.TRIGGER_APOGEE, ct.ACTION_DEPLOY)


# ------------------------------------------------------------------ events


@pytest.mark.parametrize("steps", [3, 7])
def test_events__located_whatever_the_step(steps):
    coarse, other = Flown(rocket(), models.draw()), Flown(rocket(steps=steps), models.draw())
    for event in (Event.LIFTOFF, Event.FORE_GUIDE_LEAVES, Event.RAIL_DEPARTURE, Event.BURNOUT, Event.APOGEE, Event.LANDING):
        assert other.events[event, 0] == pytest.approx(coarse.events[event, 0], abs=LOCATED)


def test_liftoff__when_a_rising_thrust_carries_the_weight():
    """8 kg under 1,000 N/s: m g/1,000 = 0.0784532 s, no tick and no step."""
    flown = Flown(rocket(thrust=models.thrust((0.0, 0.5, 1.0), (0.0, 500.0, 500.0))), models.draw())
    assert flown.events[Event.LIFTOFF, 0] == pytest.approx(8.0 * models.G0 / 1000.0, abs=1e-9)


@pytest.mark.parametrize("grain_x", [0.4, 1.0, 1.9])
def test_rail__guides_leave_by_the_bodys_way_not_the_centre_of_masss(grain_x):
    """No air, T - m g with m falling evenly: x = c [t + (m/m') ln(m/m0)] - g t^2/2, c = T/m', wherever the grain lies.

    The centre of mass walks up to 1 cm inside the body meanwhile.
    """
    grain = [2.0, grain_x, 0.0, 0.0, 4e-4, 2e-4, 0.01, 2e-3]
    mass, thrust = models.mass(grains=[grain]), models.thrust((0.0, 2.0), (500.0, 500.0), propellant=2.0)
    flown = Flown(rocket(world=models.world(density=0.0), mass=mass, thrust=thrust), models.draw())
    for event, way in ((Event.FORE_GUIDE_LEAVES, 1.0), (Event.RAIL_DEPARTURE, 2.0)):  # models.model's rail
        t = flown.events[event, 0]
        left = 10.0 - t
        assert 500.0 * (t + left * np.log(left / 10.0)) - 0.5 * models.G0 * t**2 == pytest.approx(way, abs=1e-7)  # m: the step's


def test_burnout__at_the_last_break_point():
    flown = Flown(rocket(thrust=models.thrust((0.0, 0.9137), (500.0, 500.0))), models.draw())
    assert flown.events[Event.BURNOUT, 0] == pytest.approx(0.9137, abs=1e-12)


def test_apogee__climb_is_over_and_height_is_largest():
    flown = Flown(rocket(), models.draw())
    assert abs(flown.events[Event.APOGEE, 6]) < 1e-9  # m/s
    assert flown.log[:, Log.HEIGHT].max() <= flown.summary[Outcome.APOGEE_HEIGHT]
    assert flown.summary[Outcome.APOGEE_HEIGHT] - flown.log[:, Log.HEIGHT].max() < 0.5 * models.G0 * 0.01**2  # within a tick of it


def test_landing__on_the_ground():
    for rules in ((), (DEPLOY_AT_APOGEE,)):
        flown = Flown(rocket(rules=rules), models.draw())
        assert flown.status == Ending.LANDED
        assert abs(flown.events[Event.LANDING, 3]) < 1e-8  # m
        assert flown.events[Event.LANDING, 0] == flown.end


# ------------------------------------------------------------------ how a flight may end


def test_status__nan_ends_the_flight():
    air = np.repeat(models.world().air[:1], 50, axis=0)
    air[20:, AirColumn.DENSITY] = np.nan
    world = models.world()._replace(air=air, air_z0=-100.0, air_per_metre=0.1)  # no air data above 90 m
    flown = Flown(rocket(world=world), models.draw())
    assert flown.status == Ending.DIVERGED
    assert flown.end < 5.0 and math.isnan(flown.summary[Outcome.APOGEE_HEIGHT])


def test_status__too_weak_to_lift_off():
    flown = Flown(rocket(thrust=models.thrust((0.0, 1.0), (70.0, 70.0))), models.draw())
    assert flown.status == Ending.NO_LIFTOFF
    assert np.isnan(np.delete(flown.events, Event.BURNOUT, axis=0)).all() and math.isnan(flown.summary[Outcome.APOGEE_HEIGHT])


def test_status__out_of_time_and_above_the_air():
    assert Flown(rocket(time_limit=1.0), models.draw()).status == Ending.OUT_OF_TIME
    low = models.world()._replace(air_z0=-50.0, air_per_metre=0.01)  # two rows: up to 50 m
    assert Flown(rocket(world=low), models.draw()).status == Ending.ABOVE_AIR


def test_thrust_fades_on_the_rail__stops_and_goes_on():
    """A motor that hesitates: the vehicle stands still on the rail where it is and leaves with the second push."""
    curve = models.thrust((0.0, 0.1, 0.11, 0.5, 0.51, 1.5), (200.0, 200.0, 0.0, 0.0, 500.0, 500.0))
    flown = Flown(rocket(thrust=curve), models.draw())
    waiting = flown.log[(flown.log[:, Log.TIME] > 0.4) & (flown.log[:, Log.TIME] < 0.5)]
    assert np.all(waiting[:, Log.VELOCITY_UP] == 0.0) and np.all(waiting[:, Log.PHASE] == 0.0)
    assert flown.status == Ending.LANDED and flown.events[Event.RAIL_DEPARTURE, 0] > 0.5


# ------------------------------------------------------------------ rules


def test_rules__fire_in_order_of_their_triggers():
    rules = [
        models.rule(ct.TRIGGER_FALLING, ct.ACTION_DEPLOY, threshold=50.0),
        models.rule(ct.TRIGGER_BURNOUT, ct.ACTION_DISABLE),
        models.rule(ct.TRIGGER_CLIMBING, ct.ACTION_ENABLE, threshold=20.0),
    ]
    flown = Flown(rocket(rules=rules), models.draw())
    fired = flown.rules[:, RuleState.FIRED]
    assert 0.0 < fired[2] < fired[1] < flown.events[Event.APOGEE, 0] < fired[0]
    assert flown.opened[0] == fired[0]
    opened = flown.events[len(la.EVENTS)]
    assert 50.0 - 0.06 * 60.0 < opened[3] <= 50.0  # the tick after falling through, at most 60 m/s
    assert flown.events[Event.FINS_ENABLED, 3] >= 20.0


@pytest.mark.parametrize("delay", [0.0, 0.25, 1.0])
def test_rules__delay_counts_from_the_trigger(delay):
    flown = Flown(rocket(rules=[models.rule(ct.TRIGGER_APOGEE, ct.ACTION_DEPLOY, delay=delay)]), models.draw())
    noticed = math.ceil(flown.events[Event.APOGEE, 0] / 0.01) * 0.01
    assert flown.opened[0] == pytest.approx(noticed + delay, abs=1e-9)


def test_rules__each_flight_has_its_own_delays():
    """Work.rule_delay counts, not the table's own; each rule has its own."""
    rules = [DEPLOY_AT_APOGEE, models.rule(ct.TRIGGER_TIME, ct.ACTION_ENABLE, threshold=0.5, delay=0.3)]
    model = rocket(rules=rules)
    flown = Flown(model, models.draw(), tables=(model.canopy, [0.5, 0.0]))
    noticed = math.ceil(flown.events[Event.APOGEE, 0] / 0.01) * 0.01
    assert flown.opened[0] == pytest.approx(noticed + 0.5, abs=1e-9)
    assert flown.rules[1, RuleState.FIRED] == pytest.approx(0.5)


def test_rules__inhibits_hold_until_they_lift():
    held = Flown(rocket(rules=[models.rule(ct.TRIGGER_LIFTOFF, ct.ACTION_ENABLE, speed_above=30.0)]), models.draw())
    before = held.log[held.log[:, Log.TIME] < held.rules[0, RuleState.FIRED] - 1e-9][-1, Log.VELOCITY_UP]
    assert held.events[Event.FINS_ENABLED, 6] >= 30.0 > before
    slow = Flown(rocket(rules=[models.rule(ct.TRIGGER_BURNOUT, ct.ACTION_DEPLOY, speed_below=20.0)]), models.draw())
    assert slow.summary[Outcome.OPENING_AIRSPEED] <= 20.0
    never = Flown(rocket(rules=[models.rule(ct.TRIGGER_LIFTOFF, ct.ACTION_ENABLE, tilt_below=-1.0)]), models.draw())
    assert never.rules[0, RuleState.FIRED] == -1.0 and np.isnan(never.events[Event.FINS_ENABLED]).all()


def test_rules__first_of_two_opens_the_canopy():
    rules = [DEPLOY_AT_APOGEE, models.rule(ct.TRIGGER_TIME, ct.ACTION_DEPLOY, threshold=15.0)]
    flown = Flown(rocket(rules=rules), models.draw())
    assert flown.opened[0] == flown.rules[0, RuleState.FIRED] < flown.rules[1, RuleState.FIRED]
    assert list(flown.rules[:, RuleState.ACTED]) == [1.0, 0.0]


def test_rules__pyrotechnic_delay_counts_from_the_true_burnout():
    """The motor's own delay needs no sensing: 1 s after the last break point of its curve, at the tick after."""
    model = rocket(rules=[models.rule(ct.TRIGGER_EJECTION, ct.ACTION_DEPLOY, delay=1.0)], thrust=models.thrust((0.0, 0.9137), (500.0, 500.0)))
    model = model._replace(computer=model.computer._replace(detection=models.detection(burnout_specific_force=-math.inf)))
    flown = Flown(model, models.draw())
    assert flown.opened[0] == pytest.approx(0.92 + 1.0, abs=1e-9)


# ------------------------------------------------------------------ canopies of one flight


def test_canopy__no_drag_before_line_stretch():
    """Released at apogee with 0.7 s to line stretch: until then it flies on free; then canopy and airframe come in as one square of time.

    The airframe begins with the drag area it flew with: CA = 0.4 on pi d^2/4, falling along its axis.
    """
    model = rocket(rules=[DEPLOY_AT_APOGEE], canopy=np.array([models.canopy(2.0, 0.5, wait=0.7)]))
    flown = Flown(model, models.draw())
    since, phase = flown.log[:, Log.TIME] - flown.opened[0], flown.log[:, Log.PHASE]
    area = flown.log[:, Log.DRAG_AREA]
    waiting = (since >= 0.0) & (since < 0.7 - 1e-9)
    assert waiting.sum() == 70 and (phase[waiting] == FREE).all() and (area[waiting] == 0.0).all()
    filling = (since > 0.7 - 1e-9) & (since < 1.2)
    before, fill = 0.4 * models.aero().area, (since[filling] - 0.7) / 0.5
    assert area[filling] == pytest.approx(before + (2.0 + 0.05 - before) * fill**2, rel=1e-9)
    late = (since > 1.2 + 1e-9) & (phase == CANOPY)
    assert late.sum() > 10 and np.all(area[late] == pytest.approx(2.05, rel=1e-12))
    released, stretched = flown.events[len(la.EVENTS) : len(la.EVENTS) + 2, 0]
    assert (released, stretched) == pytest.approx((flown.opened[0], flown.opened[0] + 0.7), abs=1e-9)


def test_canopy__reefed_until_it_is_disreefed():
    """A fifth of the area for 3 s after line stretch, then the rest fills as the fifth did."""
    row = models.canopy(2.0, 0.5, reef_share=0.2, reef_time=3.0)
    flown = Flown(rocket(rules=[DEPLOY_AT_APOGEE], canopy=np.array([row])), models.draw())
    since = flown.log[:, Log.TIME] - flown.opened[0]
    area = flown.log[:, Log.DRAG_AREA] - 0.05
    reefed = (since > 0.5 + 1e-9) & (since < 3.0 + 1e-9)
    assert reefed.sum() > 10 and area[reefed] == pytest.approx(0.4, rel=1e-12)
    filling = (since > 3.0 + 1e-9) & (since < 3.5)
    assert area[filling] == pytest.approx(2.0 * (0.2 + 0.8 * ((since[filling] - 3.0) / 0.5) ** 2), rel=1e-9)


def test_canopy__filled_at_once_is_full_from_its_release():
    """Without a filling time the area is there at the instant of release: the fall's first step counts it."""
    sharp = Flown(rocket(rules=[DEPLOY_AT_APOGEE], canopy=np.array([models.canopy(2.0)])), models.draw())
    row = sharp.log[sharp.log[:, Log.TIME] >= sharp.opened[0] - 1e-9][0]
    assert row[Log.PHASE] == CANOPY and row[Log.DRAG_AREA] == 2.05


@pytest.mark.parametrize("reef", [{}, {"reef_share": 0.25, "reef_time": 2.0}])
def test_opening_load__at_infinite_mass_peaks_at_the_factor_times_the_drag(reef):
    """Knacke (1992): F = CdS q Cx; reefed, first the reefed share of it. Full, the pull is the drag alone."""
    row = models.canopy(3.0, 0.4, wait=0.2, factor=1.7, **reef)
    steady = 3.0 * 500.0
    t = np.array([1.0, 1.2, 1.4, 1.6, 1.7, 3.2, 3.4, 3.6, 3.7])
    pull = opening_loads(row, 1.0, t, 500.0) / steady
    if reef:
        expected = 1.7 * np.array([0.0, 0.0, 0.0625, 0.25, 0.25, 0.25, 0.4375, 1.0, 0.0])
        expected[-1] = 1.0
    else:
        expected = np.array([0.0, 0.0, 1.7 * 0.25, 1.7, 1.0, 1.0, 1.0, 1.0, 1.0])
    assert pull == pytest.approx(expected, rel=1e-9)


def fast_opening(**row):
    """A canopy released while the vehicle climbs at some 50 m/s, its factor 1.5."""
    rules = [models.rule(ct.TRIGGER_BURNOUT, ct.ACTION_DEPLOY)]
    return Flown(rocket(rules=rules, canopy=np.array([models.canopy(2.0, 0.5, factor=1.5, **row)])), models.draw())


def test_canopy__largest_load_is_that_of_its_own_track():
    """q CdS of the log, times the factor while it fills; the log has every fifth tick of it, the kernel each step."""
    flown = fast_opening()
    since = flown.log[:, Log.TIME] - flown.opened[0]
    under = since >= 0.0
    factor = np.where(since[under] <= 0.5, 1.5, 1.0)
    pull = factor * flown.log[under, Log.DYNAMIC_PRESSURE] * (flown.log[under, Log.DRAG_AREA] - 0.05)
    assert 0.95 < pull.max() / flown.work.pull[0] <= 1.0 + 1e-9


def test_canopy__beyond_its_strength_is_lost():
    whole = fast_opening()
    load = whole.work.pull[0]
    stood, broke = fast_opening(strength=1.001 * load), fast_opening(strength=0.5 * load)
    assert np.array_equal(stood.events, whole.events, equal_nan=True)
    assert broke.opened[0] == ct.LOST and broke.work.pull[0] > 0.5 * load
    assert broke.summary[Outcome.LANDING_GROUND_SPEED] > 2.0 * whole.summary[Outcome.LANDING_GROUND_SPEED]
    assert broke.log[-2, Log.DRAG_AREA] == 0.05  # what is left tumbles down


def test_canopy__that_fails_leaves_the_vehicle_falling_free():
    model = rocket(rules=[DEPLOY_AT_APOGEE])
    failed = model.canopy.copy()
    failed[0, CanopyColumn.FAILS] = 1.0
    flown = Flown(model, models.draw(), tables=(failed, model.computer.rules[:, RuleColumn.DELAY]))
    assert flown.rules[0, RuleState.FIRED] > 0.0 and flown.opened[0] == ct.FAILED
    assert np.isnan(flown.events[len(la.EVENTS)]).all()
    assert np.array_equal(flown.summary, Flown(rocket(), models.draw()).summary, equal_nan=True)


# ------------------------------------------------------------------ legs


PARTING = len(la.EVENTS) + 2 + 2  # row of the parting: release and line stretch of one canopy, then ignition and burnout of the front stage
SEPARATE = models.rule(ct.TRIGGER_BURNOUT, ct.ACTION_SEPARATE, target=1)


def stack(rules, *, hold=math.inf, **parts):
    """The rocket as a stack of two stages. Half of its mass and a quarter of its drag are ahead of the joint."""
    leg = models.alone()._replace(stages=2, last=1, separation_row=PARTING, retention_force=hold, fore_axial=np.full((2, 1), 0.1), fore_mass=4.0)
    return rocket(rules=rules, leg=leg, **parts)


@pytest.mark.parametrize("delay", [0.0, 0.137, 0.2])
def test_leg__ends_at_the_parting_that_was_commanded(delay):
    flown = Flown(stack([SEPARATE]), models.draw(), stage={(1, StageColumn.SEPARATION_DELAY): delay})
    assert flown.status == Ending.SEPARATED and flown.end == pytest.approx(flown.rules[0, RuleState.FIRED] + delay, abs=1e-12)
    hand = flown.work.handover
    assert list(hand[[Handover.GOES_ON, Handover.CAUSE, Handover.WHICH, Handover.TIME]]) == [1.0, la.BY_COMMAND, 1.0, flown.end]
    assert flown.events[PARTING, 0] == flown.end and np.isnan(flown.events[Event.LANDING]).all()


def test_leg__joint_that_does_not_let_go():
    flown = Flown(stack([SEPARATE]), models.draw(), stage={(1, StageColumn.NO_SEPARATION): 1.0})
    assert flown.rules[0, RuleState.FIRED] > 0.0 and flown.status == Ending.LANDED
    assert np.isnan(flown.events[PARTING]).all() and flown.work.handover[Handover.GOES_ON] == 0.0


@pytest.mark.parametrize("holds", [0.0, 1.0])
def test_leg__parts_by_the_motor_ahead_if_that_lights_first(holds):
    """Lit before the joint is told to let go, the upper motor's gas parts it, whether or not it would have let go."""
    light = models.rule(ct.TRIGGER_BURNOUT, ACTION_IGNITE, delay=0.1, target=0)
    late = models.rule(ct.TRIGGER_BURNOUT, ct.ACTION_SEPARATE, delay=0.5, target=1)
    stage = {(1, StageColumn.NO_SEPARATION): holds, (0, StageColumn.IGNITION_DELAY): 0.083}
    flown = Flown(stack([late, light]), models.draw(), stage=stage)
    assert flown.status == Ending.SEPARATED and flown.work.handover[Handover.CAUSE] == la.BY_UPPER_MOTOR
    assert flown.end == pytest.approx(flown.rules[1, RuleState.FIRED] + 0.083, abs=1e-12)


@pytest.mark.parametrize("hold, parts, noted", [(0.0, True, True), (1.0, True, True), (3.0, False, False), (math.inf, False, True)])
def test_leg__joint_slips_as_soon_as_drag_pulls_it_apart(hold, parts, noted):
    """Half of the mass has a quarter of the drag D: a coasting stack pulls D/4 at its joint, 1.3 N after burnout here.

    Where a joint holds whatever comes, the event says from when on drag alone would part it.
    """
    flown = Flown(stack([], hold=hold), models.draw())
    coasts = (flown.log[:, Log.PHASE] == FREE) & (flown.log[:, Log.THRUST] == 0.0) & (flown.log[:, Log.VELOCITY_UP] > 1.0)
    drag = 0.4 * flown.log[coasts, Log.DYNAMIC_PRESSURE] * models.aero().area
    assert -flown.log[coasts, Log.JOINT_FORCE] == pytest.approx(0.25 * drag, rel=1e-9)
    assert 1.0 < 0.25 * drag[0] < 3.0
    assert (flown.status == Ending.SEPARATED, bool(np.isfinite(flown.events[Event.DRAG_SEPARATION, 0]))) == (parts, noted)
    if parts:
        assert flown.work.handover[Handover.CAUSE] == la.BY_DRAG
        assert flown.end == pytest.approx(flown.events[Event.BURNOUT, 0], abs=0.01 + 1e-9)  # the first tick after it


@pytest.mark.parametrize("delay", [0.0, 0.137])
def test_leg__taken_up_again_goes_on_as_if_nothing_had_been(delay):
    """Handed on to a body that is the same as before, the two legs are the flight without a parting."""
    from sixdof.core.flight import fly as fl

    rules = [SEPARATE, DEPLOY_AT_APOGEE]
    whole = Flown(stack(rules), models.draw(), stage={(1, StageColumn.NO_SEPARATION): 1.0})
    legs = Flown(stack(rules), models.draw(), stage={(1, StageColumn.SEPARATION_DELAY): delay})
    model = rocket(rules=rules, leg=models.alone()._replace(stages=2, separation_row=PARTING))
    rows = make_log(model, 20000)
    status, end, n = fl.fly(lend(model), lend(models.draw()), lend(legs.work), rows, legs.events, legs.summary)
    assert legs.status == Ending.SEPARATED and status == Ending.LANDED
    log = np.concatenate([legs.log, rows[:n]])
    assert log.shape == whole.log.shape and np.array_equal(log[:-1, Log.TIME], whole.log[:-1, Log.TIME])
    # at a tick not even the steps differ; between ticks there is one more, and RK4's own error with it
    near = 0.0 if delay == 0.0 else 1e-7
    state = slice(Log.EAST, Log.RATE_Z + 1)
    assert np.abs(log[:, state] - whole.log[:, state]).max() <= near
    named = [Outcome.APOGEE_HEIGHT, Outcome.APOGEE_TIME, Outcome.AIRSPEED_MAX, Outcome.LANDING_GROUND_SPEED, Outcome.FLIGHT_TIME]
    assert np.abs(legs.summary[named] - whole.summary[named]).max() <= near


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
        assert np.array_equal(common, other.log, equal_nan=True) and len(common) > 100  # no joint: its force is NaN


def test_work__nothing_is_left_over_from_the_flight_before(demo_mission):
    from sixdof.core.flight import fly as fl

    model, draw = build_model(demo_mission), kernel_draw(demo_mission)
    work, log = make_work(model), make_log(model, 0)
    events, first, second = make_events(model), make_summary(), make_summary()
    fl.fly(lend(model), lend(draw), lend(work), log, events, first)
    fl.fly(lend(model), lend(draw._replace(impulse=0.8, temperature=10.0)), lend(work), log, events, second)
    assert not np.array_equal(first, second)
    fl.fly(lend(model), lend(draw), lend(work), log, events, second)
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
    assert rows[ground, AirColumn.PRESSURE] == world.air[ground, AirColumn.PRESSURE] * factor
    kelvin = (rows[:, AirColumn.SOUND] ** 2 - world.air[:, AirColumn.SOUND] ** 2) / (HEAT_RATIO * GAS_CONSTANT)
    assert kelvin == pytest.approx(offset, abs=1e-9)
    # dp/dz over rho g as in the table it came from: 1 but for the standard atmosphere's gravity, 0.07 % off
    clear = np.abs(np.diff(world.air[:, AirColumn.SOUND], 2)) < 1e-4  # away from the corners of the temperature profile
    assert balance(rows, world)[clear] == pytest.approx(balance(world.air, world)[clear], rel=1e-6)
    assert balance(rows, world)[clear] == pytest.approx(1.0, abs=1e-3)


def balance(rows, world):
    """Return -dp/dz / (rho g) by central differences, 1 in air at rest."""
    slope = (rows[2:, AirColumn.PRESSURE] - rows[:-2, AirColumn.PRESSURE]) * world.air_per_metre / 2.0
    return -slope / (rows[1:-1, AirColumn.DENSITY] * rows[1:-1, AirColumn.GRAVITY])


def test_dispersed_air__nominal_is_untouched(demo_mission):
    world = build_model(demo_mission).world
    rows = np.empty_like(world.air)
    dispersed_air(world, 0.0, 1.0, rows)
    assert rows == pytest.approx(world.air, rel=1e-13)
