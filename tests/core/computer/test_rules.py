"""The flight computer's sequence on given readings: what it notices, which rule fires when, which waits or gives up.

No physics: a bench with scripted readings, 100 ticks a second (drivers.Sequence). A burn pushes with 60 m/s^2, a coast pulls
with -3 m/s^2. Times are those of ticks, exact but for the rounding of their sums.
"""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
from drivers import Sequence

from sixdof.core import types as ct
from sixdof.core.columns import StageColumn
from sixdof.core.computer.columns import MOST_BURNS, Noticed, RuleState, Switch
from sixdof.core.types import ACTION_IGNITE

TICKS, PERIOD = 1000, 0.01
TIME = PERIOD * np.arange(TICKS)
TICK = 1e-9  # s: rounding of sums of periods
LIFTOFF = 0.5  # s: first tick of the push
ARMED, FIRED, ACTED, GIVEN_UP = RuleState.ARMED, RuleState.FIRED, RuleState.ACTED, RuleState.GIVEN_UP
ENABLE, DEPLOY, SEPARATE, LIGHT = ct.ACTION_ENABLE, ct.ACTION_DEPLOY, ct.ACTION_SEPARATE, ACTION_IGNITE


def burns(*spans):
    """Return the force along the axis (m/s^2) of burns over [start, end) on a pad at 1 g, coasting between them."""
    force = np.where(spans[0][0] - TICK > TIME, models.G0, -3.0)
    for start, end in spans:
        force[(start - TICK <= TIME) & (end - TICK > TIME)] = 60.0
    return force


FLIGHT = {
    "force": burns((LIFTOFF, 2.0), (3.0, 4.0)),
    "height": np.interp(TIME, [LIFTOFF, 5.0, 9.9], [0.0, 450.0, 0.0]),
    "climb": np.interp(TIME, [LIFTOFF, 2.0, 5.0, 9.9], [0.0, 200.0, 0.0, -60.0]),
}


def run(*rules, **options):
    return Sequence(rules, ticks=TICKS, **(FLIGHT | options))


def row_of(trigger, **options):
    """Return the state of one rule that makes the fins live, and the sequence."""
    limits = {k: options.pop(k) for k in list(options) if k in ("threshold", "order", "delay") or k in LIMITS}
    found = run(models.rule(trigger, ENABLE, **limits), **options)
    return found.rules[0], found


LIMITS = ("tilt_below", "speed_above", "speed_below", "height_above", "height_below", "booster", "after", "before", "timeout")


def first(condition):
    """Return the time of the first tick of a condition (ticks,)."""
    return TIME[np.flatnonzero(condition)[0]]


# ------------------------------------------------------------------ triggers


@pytest.mark.parametrize(
    "trigger, options, when",
    [
        (ct.TRIGGER_TIME, {"threshold": 0.125}, 0.13),  # the tick after
        (ct.TRIGGER_LIFTOFF, {}, LIFTOFF),
        (ct.TRIGGER_RAIL, {}, first(FLIGHT["height"] > 2.0)),  # as far from the foot as the aft guide runs
        (ct.TRIGGER_BURNOUT, {}, 2.0),
        (ct.TRIGGER_BURNOUT, {"order": 1}, 4.0),
        (ct.TRIGGER_IGNITION, {}, LIFTOFF),
        (ct.TRIGGER_IGNITION, {"order": 1}, 3.0),
        (ct.TRIGGER_APOGEE, {}, 5.01),  # the climb rate is below zero a tick after it was zero
        (ct.TRIGGER_CLIMBING, {"threshold": 100.0}, first(FLIGHT["height"] >= 100.0)),
        (ct.TRIGGER_FALLING, {"threshold": 100.0}, first((TIME > 5.0) & (FLIGHT["height"] <= 100.0))),
    ],
)
def test_trigger__at_the_tick_that_shows_it(trigger, options, when):
    row, _ = row_of(trigger, **options)
    assert (row[ARMED], row[FIRED]) == (pytest.approx(when, abs=TICK), pytest.approx(when, abs=TICK))
    assert (row[ACTED], row[GIVEN_UP]) == (1.0, -1.0)


@pytest.mark.parametrize(
    "trigger, order", [(ct.TRIGGER_BURNOUT, 2), (ct.TRIGGER_IGNITION, 2), (ct.TRIGGER_SEPARATION, 0), (ct.TRIGGER_EJECTION, 0), (ct.TRIGGER_NEVER, 0)]
)
def test_trigger__that_does_not_come(trigger, order):
    row, found = row_of(trigger, order=order)
    assert list(row) == [-1.0] * 4 and not found.live.any()


def test_trigger__separations_in_their_order():
    """Two boosters leave at 2.5 s and 4.5 s: break-wires count what is left."""
    attached = np.where(TIME < 2.5 - TICK, 2.0, np.where(TIME < 4.5 - TICK, 1.0, 0.0))
    for order, when in ((0, 2.5), (1, 4.5)):
        row, _ = row_of(ct.TRIGGER_SEPARATION, order=order, attached=attached)
        assert row[FIRED] == pytest.approx(when, abs=TICK)


def test_trigger__both_boosters_at_once_are_both_separations():
    """The joint between the boosters holds: one parting takes both away, and both are gone."""
    attached = np.where(TIME < 2.5 - TICK, 2.0, 0.0)
    for order in (0, 1):
        row, _ = row_of(ct.TRIGGER_SEPARATION, order=order, attached=attached)
        assert row[FIRED] == pytest.approx(2.5, abs=TICK)


def test_trigger__motor_delay_counts_from_the_true_burnout_of_its_stage():
    """Stage 1 burns out at 1.234 s and stage 0 at 3.9 s, whatever is sensed."""
    for stage, when in ((1, 1.24), (0, 3.9)):
        row, _ = row_of(ct.TRIGGER_EJECTION, order=stage, delay=0.5, burnt=(3.9, 1.234))
        assert row[ARMED] == pytest.approx(when, abs=TICK) and row[FIRED] == pytest.approx(when + 0.5, abs=TICK)


def test_trigger__nothing_of_a_flight_before_liftoff():
    """A bump of 15 m/s^2 on the pad is none; a height gained is, without any push."""
    waits = {"force": np.where((TIME > 1.0) & (TIME < 1.2), 15.0, models.G0), "height": np.zeros(TICKS), "climb": -1.0}
    for trigger in (ct.TRIGGER_LIFTOFF, ct.TRIGGER_BURNOUT, ct.TRIGGER_APOGEE, ct.TRIGGER_IGNITION):
        assert row_of(trigger, **waits)[0][ARMED] == -1.0
    raised = waits | {"height": 6.0}  # the pad stands above the point that heights count from
    assert row_of(ct.TRIGGER_CLIMBING, threshold=5.0, **raised)[0][ARMED] == -1.0
    lifted = waits | {"height": np.where(TIME < 2.0 - TICK, 0.0, 10.5)}
    assert row_of(ct.TRIGGER_LIFTOFF, **lifted)[0][FIRED] == pytest.approx(2.0, abs=TICK)
    keen = models.detection(liftoff_specific_force=14.0)
    assert row_of(ct.TRIGGER_LIFTOFF, detection=keen, **waits)[0][FIRED] == pytest.approx(1.01)


# ------------------------------------------------------------------ burns


def test_burns__more_than_are_told_apart_are_left_out():
    spans = [(LIFTOFF + 0.5 * k, LIFTOFF + 0.5 * k + 0.2) for k in range(11)]
    found = run(force=burns(*spans))
    ends = found.notice[Noticed.BURNOUT : Noticed.BURNOUT + MOST_BURNS]
    assert ends == pytest.approx([end for _, end in spans[:MOST_BURNS]], abs=TICK)
    starts = found.notice[Noticed.IGNITION : Noticed.IGNITION + MOST_BURNS]
    assert starts == pytest.approx([start for start, _ in spans[:MOST_BURNS]], abs=TICK)


@pytest.mark.parametrize("debounce, when", [(0.0, 1.0), (0.05, 1.25), (0.05 + 1e-6, 2.06), (0.2, 2.2), (math.inf, -1.0)])
def test_burnout__only_after_its_debounce(debounce, when):
    """A gap of one tick at 1.0 s, one of 60 ms (0 to 50 ms after its first tick) at 1.2 s, then the end at 2.0 s."""
    force = burns((LIFTOFF, 2.0))
    force[(np.abs(TIME - 1.0) < TICK) | ((TIME > 1.2 - TICK) & (TIME < 1.26 - TICK))] = -3.0
    row, _ = row_of(ct.TRIGGER_BURNOUT, force=force, detection=models.detection(burnout_debounce=debounce))
    assert row[FIRED] == pytest.approx(when, abs=TICK)


@pytest.mark.parametrize("limit, when", [(0.0, 2.0), (30.0, 1.51), (-5.0, -1.0)])
def test_burnout__by_the_force_asked_for(limit, when):
    """The thrust tails off from 60 m/s^2 at 1.0 s to nothing at 2.0 s; drag alone pulls with 3."""
    force = np.where(TIME < 2.0 - TICK, np.interp(TIME, [1.0, 2.0], [60.0, 0.0]), -3.0)
    force[TIME < LIFTOFF - TICK] = models.G0
    row, _ = row_of(ct.TRIGGER_BURNOUT, force=force, detection=models.detection(burnout_specific_force=limit))
    assert row[FIRED] == pytest.approx(when, abs=TICK)


def test_ignition__of_the_next_motor_by_its_own_force():
    force = burns((LIFTOFF, 2.0), (3.0, 4.0)) * np.where(TIME > 2.5, 0.5, 1.0)  # the second pushes with 30 m/s^2
    for limit, when in ((29.0, 3.0), (31.0, -1.0)):
        row, _ = row_of(ct.TRIGGER_IGNITION, order=1, force=force, detection=models.detection(ignition_specific_force=limit))
        assert row[FIRED] == pytest.approx(when, abs=TICK)


@pytest.mark.parametrize("push, when", [(4.5, 4.5), (6.0, -1.0)])
def test_ignition__none_is_noticed_after_apogee(push, when):
    """At 5 s the climb ends: a push along the nose half a second before is a motor, one a second later a canopy that opens."""
    row, _ = row_of(ct.TRIGGER_IGNITION, order=1, force=burns((LIFTOFF, 2.0), (push, push + 0.4)))
    assert row[FIRED] == pytest.approx(when, abs=TICK)


# ------------------------------------------------------------------ apogee


def test_apogee__climb_rate_with_debounce():
    """A gust turns the climb rate for 30 ms at 3 s; then it stays below zero from 5.01 s on."""
    climb = FLIGHT["climb"].copy()
    climb[(TIME > 3.0 - TICK) & (TIME < 3.03 - TICK)] = -1.0
    for debounce, when in ((0.0, 3.0), (0.02, 3.02), (0.04, 5.05), (0.5, 5.51)):
        row, _ = row_of(ct.TRIGGER_APOGEE, climb=climb, detection=models.detection(apogee_debounce=debounce))
        assert row[FIRED] == pytest.approx(when, abs=TICK)


BARO = np.interp(TIME, [LIFTOFF, 5.0, 10.0], [0.0, 450.0, 400.0])  # falls at 10 m/s from 5 s on


@pytest.mark.parametrize("drop, debounce, when", [(3.05, 0.0, 5.31), (3.05, 0.1, 5.41), (20.05, 0.0, 7.01), (60.0, 0.0, -1.0)])
def test_apogee__by_barometer_after_a_drop(drop, debounce, when):
    """At 10 m/s 3.05 m below the highest reading take 0.305 s; the climb rate says nothing here."""
    how = models.detection(by_barometer=1, apogee_drop=drop, apogee_debounce=debounce)
    row, _ = row_of(ct.TRIGGER_APOGEE, baro=BARO, climb=100.0, detection=how)
    assert row[FIRED] == pytest.approx(when, abs=TICK)


def test_apogee__a_barometer_spike_needs_its_debounce():
    """A pressure wave at 2 s reads 50 m low for 40 ms; upward ones set a new highest reading and are not forgotten."""
    dip = BARO - np.where((TIME > 2.0 - TICK) & (TIME < 2.04 - TICK), 50.0, 0.0)
    for debounce, when in ((0.0, 2.0), (0.05, 5.36)):
        how = models.detection(by_barometer=1, apogee_drop=3.05, apogee_debounce=debounce)
        assert row_of(ct.TRIGGER_APOGEE, baro=dip, detection=how)[0][FIRED] == pytest.approx(when, abs=TICK)
    spike = BARO + np.where(np.abs(TIME - 2.0) < TICK, 40.0, 0.0)
    how = models.detection(by_barometer=1, apogee_drop=3.05)
    assert row_of(ct.TRIGGER_APOGEE, baro=spike, detection=how)[0][FIRED] == pytest.approx(2.01, abs=TICK)


def test_apogee__not_before_the_rail_is_left():
    """Half way up the rail the barometer jumps down by 6 m: no apogee there, though liftoff is noticed."""
    height = np.where(TIME < 3.0 - TICK, 1.0, FLIGHT["height"])
    baro = np.where(TIME < 1.0 - TICK, 9.0, np.where(TIME < 3.0 - TICK, 3.0, BARO))
    how = models.detection(by_barometer=1, apogee_drop=3.05)
    row, _ = row_of(ct.TRIGGER_APOGEE, height=height, baro=baro, detection=how)
    assert row[FIRED] == pytest.approx(5.31, abs=TICK)


# ------------------------------------------------------------------ inhibits


@pytest.mark.parametrize(
    "limits, when",
    [
        ({"height_above": 100.0}, first(FLIGHT["height"] >= 100.0)),
        ({"height_below": 300.0}, first((TIME > 4.0) & (FLIGHT["height"] <= 300.0))),
        ({"height_above": 100.0, "height_below": 90.0}, -1.0),
        ({"speed_above": 100.0}, first(FLIGHT["climb"] >= 100.0)),
        ({"speed_below": 50.0}, first((TIME > 4.0) & (FLIGHT["climb"] <= 50.0))),
        ({"after": 1.505}, LIFTOFF + 1.51),
        ({"booster": 0.0}, 2.5),
        ({"tilt_below": 0.1}, 3.7),
    ],
)
def test_inhibit__holds_until_it_lifts(limits, when):
    """The trigger comes at liftoff or, where that is too soon, at 4 s; the fins go live when the condition holds."""
    late = "height_below" in limits or "speed_below" in limits
    trigger = {"threshold": 4.0} if late else {"threshold": LIFTOFF}
    lean = np.where(TIME < 3.7 - TICK, 0.11, 0.09)
    row, found = row_of(ct.TRIGGER_TIME, **trigger, **limits, lean=lean, attached=np.where(TIME < 2.5 - TICK, 1.0, 0.0))
    assert row[ARMED] == pytest.approx(trigger["threshold"], abs=TICK)
    assert row[FIRED] == pytest.approx(when, abs=TICK) and row[GIVEN_UP] == -1.0
    assert np.array_equal(found.live, (when - TICK < TIME) & (when > 0.0))


def test_inhibit__booster_attached_is_gone_for_good():
    attached = np.where(TIME < 2.5 - TICK, 1.0, 0.0)
    for delay, fires in ((0.0, True), (1.0, False)):
        row, _ = row_of(ct.TRIGGER_BURNOUT, booster=1.0, delay=delay, attached=attached)
        assert (row[FIRED] >= 0.0) == fires and row[GIVEN_UP] == -1.0


def test_inhibit__is_looked_at_when_the_delay_is_over():
    """Too fast at burnout, slow enough 2.2 s later: a delay of 2.5 s costs nothing more, one of 2 s waits on."""
    slow = first((TIME > 2.0) & (FLIGHT["climb"] <= 60.0))
    for delay, when in ((2.5, 4.5), (2.0, slow)):
        row, _ = row_of(ct.TRIGGER_BURNOUT, delay=delay, speed_below=60.0)
        assert 4.0 < slow < 4.2 and row[FIRED] == pytest.approx(when, abs=TICK)


# ------------------------------------------------------------------ windows, timeout


def test_window__before_and_after_count_from_liftoff():
    for limits, when in (({"before": 1.5}, 2.0), ({"before": 1.495}, -1.0), ({"after": 1.5}, 2.0), ({"after": 1.505}, 2.01)):
        row, _ = row_of(ct.TRIGGER_BURNOUT, **limits)
        assert row[FIRED] == pytest.approx(when, abs=TICK), limits


def test_window__that_has_closed_is_given_up():
    """Armed in time but held by the speed: it gives up at the first tick past the window, not at the condition later."""
    row, found = row_of(ct.TRIGGER_BURNOUT, speed_below=60.0, before=2.0)
    assert (row[FIRED], row[ACTED]) == (-1.0, -1.0)
    assert row[GIVEN_UP] == pytest.approx(LIFTOFF + 2.01, abs=TICK) and not found.live.any()


def test_window__without_a_liftoff_nothing_is_late_or_early():
    """On the pad there is no time since liftoff: a window that must have begun holds back, one that may have ended does not."""
    pad = {"force": models.G0, "height": 0.0, "climb": 0.0}
    assert row_of(ct.TRIGGER_TIME, threshold=1.0, after=0.0, **pad)[0][FIRED] == -1.0
    assert row_of(ct.TRIGGER_TIME, threshold=1.0, before=5.0, **pad)[0][FIRED] == pytest.approx(1.0)


@pytest.mark.parametrize("timeout, fired, given_up", [(0.0, -1.0, 2.0), (0.5, -1.0, 2.5), (2.0, -1.0, 4.0), (2.2, 4.1, -1.0), (math.inf, 4.1, -1.0)])
def test_patience__waits_so_long_for_an_inhibit(timeout, fired, given_up):
    """Burnout at 2 s; the vehicle is slower than 60 m/s from 4.1 s on."""
    row, _ = row_of(ct.TRIGGER_BURNOUT, speed_below=60.0, timeout=timeout)
    assert row[FIRED] == pytest.approx(fired, abs=TICK) and row[GIVEN_UP] == pytest.approx(given_up, abs=TICK)
    assert row[ARMED] == pytest.approx(2.0, abs=TICK) and row[ACTED] == (1.0 if fired > 0.0 else -1.0)


def test_patience__counts_from_the_end_of_the_delay():
    row, _ = row_of(ct.TRIGGER_BURNOUT, delay=1.0, speed_below=10.0, timeout=0.5)
    assert row[GIVEN_UP] == pytest.approx(3.5, abs=TICK)


def test_patience__costs_nothing_where_nothing_holds():
    row, _ = row_of(ct.TRIGGER_BURNOUT, speed_above=10.0, timeout=0.0)
    assert row[FIRED] == pytest.approx(2.0, abs=TICK)


# ------------------------------------------------------------------ actions, redundant triggers


def test_acted__the_first_of_redundant_triggers_does_it():
    """Apogee, a timer and the motor's delay for one canopy: all fire, the earliest acts."""
    rules = [
        models.rule(ct.TRIGGER_LIFTOFF, DEPLOY, delay=7.0),
        models.rule(ct.TRIGGER_APOGEE, DEPLOY),
        models.rule(ct.TRIGGER_EJECTION, DEPLOY, order=0, delay=2.0),
    ]
    found = run(*rules, burnt=(4.0,))
    assert found.rules[:, FIRED] == pytest.approx([7.5, 5.01, 6.0], abs=TICK)
    assert list(found.rules[:, ACTED]) == [0.0, 1.0, 0.0]
    assert found.opened[0] == pytest.approx(5.01, abs=TICK)


def test_acted__fins_and_modes_that_are_so_already():
    enable, disable = (models.rule(ct.TRIGGER_TIME, a, threshold=t) for a, t in ((ENABLE, 1.0), (ct.ACTION_DISABLE, 3.0)))
    guide = models.rule(ct.TRIGGER_TIME, ct.ACTION_GUIDE, threshold=1.0, target=2)
    found = run(
        enable,
        models.rule(ct.TRIGGER_TIME, ENABLE, threshold=2.0),
        disable,
        guide,
        models.rule(ct.TRIGGER_TIME, ct.ACTION_GUIDE, threshold=2.0, target=2),
        models.rule(ct.TRIGGER_TIME, ct.ACTION_DISABLE, threshold=4.0),
    )
    assert list(found.rules[:, ACTED]) == [1.0, 0.0, 1.0, 1.0, 0.0, 0.0]
    assert np.array_equal(found.live, (TIME > 1.0 - TICK) & (TIME < 3.0 - TICK))
    assert found.work.switches[Switch.MODE] == 2.0


def test_act__parts_and_lights_the_stage_it_names_once():
    orders = (SEPARATE, 2.0, 2), (LIGHT, 3.0, 1), (SEPARATE, 4.0, 2), (LIGHT, 5.0, 1)
    rules = [models.rule(ct.TRIGGER_TIME, action, threshold=t, target=stage) for action, t, stage in orders]
    found = run(*rules)
    assert list(found.rules[:, ACTED]) == [1.0, 1.0, 0.0, 0.0]
    assert found.stage[:, StageColumn.SEPARATE] == pytest.approx([-1.0, -1.0, 2.0])
    assert found.stage[:, StageColumn.IGNITE] == pytest.approx([-1.0, 3.0, -1.0])


def test_act__each_canopy_by_its_own_rule_and_none_twice():
    rules = [models.rule(ct.TRIGGER_TIME, DEPLOY, threshold=t, target=c) for t, c in ((2.0, 1), (3.0, 0), (4.0, 1))]
    found = run(*rules, canopies=2)
    assert found.opened == pytest.approx([3.0, 2.0]) and list(found.rules[:, ACTED]) == [1.0, 1.0, 0.0]


def test_act__canopy_that_fails_stays_packed():
    found = run(models.rule(ct.TRIGGER_APOGEE, DEPLOY), fails=(0,))
    assert found.rules[0, FIRED] == pytest.approx(5.01, abs=TICK) and found.opened[0] == ct.FAILED


def test_rule__fires_once():
    """Its condition comes and goes; it has fired and does not fire again."""
    centre = models.rule(ct.TRIGGER_TIME, ct.ACTION_DISABLE, threshold=3.0)
    found = run(models.rule(ct.TRIGGER_CLIMBING, ENABLE, threshold=50.0), centre)
    up = first(FLIGHT["height"] >= 50.0)
    assert np.array_equal(found.live, (up - TICK < TIME) & (TIME < 3.0 - TICK))


def test_delays__are_those_of_the_flight():
    found = run(models.rule(ct.TRIGGER_BURNOUT, ENABLE, delay=1.0), delays=[0.25])
    assert found.rules[0, FIRED] == pytest.approx(2.25, abs=TICK)
