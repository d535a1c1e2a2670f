"""Windows of triggers on the demo: each end flown again with another setting, closed forms, order statistics, what the page says."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom

import sixdof
from sixdof.study.motor_choice.facts import DELAY_SCATTER
from sixdof.study.recovery.triggers.ends import Window, advice, least_setting, most_setting, window_of
from sixdof.study.recovery.triggers.flights import smallest_gap
from sixdof.study.recovery.triggers.search import FINE, search_last
from sixdof.study.recovery.triggers.text import early_and_late
from sixdof.workshop import trigger_windows

FLIGHTS, SEED = 5, 3
BACKUP, LOST, BIGGER, LATE = "deploy drogue: backup", "trigger lost: deploy drogue", "bigger motor: thistledown", "late_apogee: thistledown"
TICK = 0.01  # s, the demo's autopilot runs at 100 Hz


@pytest.fixture(scope="module")
def mission():
    return sixdof.load_mission("configs/sampler.toml")


@pytest.fixture(scope="module")
def windows(mission):
    return trigger_windows(mission, FLIGHTS, branches=[LOST, BIGGER], seed=SEED, progress=False)


def flown(mission, flights=FLIGHTS, seed=SEED):
    return sixdof.disperse(mission, flights, seed=seed, progress=False)


def acted(ds, rule):
    return ds["rule_acted"].sel(rule=rule).values > 0


def test_earliest__is_the_setting_up_to_which_a_flown_backup_beats_apogee(mission, windows):
    earliest = windows.earliest_of_flight.sel(branch="nominal", trigger=BACKUP).values
    for setting in (*np.sort(earliest)[[0, 2, 4]], np.sort(earliest)[3] + 0.5 * TICK, 16.0):
        again = flown(mission.change({"recovery.drogue.backup_time": float(setting)}))
        assert np.array_equal(acted(again, BACKUP), setting <= earliest + 1e-9)


def test_latest__is_the_last_moment_at_which_a_flown_backup_has_the_drogue_out_before_the_main(mission, windows):
    latest = windows.latest_of_flight.sel(branch=LOST, trigger=BACKUP).values
    alone = mission.change({"recovery.drogue.delay": 1e4})
    assert np.ptp(latest) > 0.5
    for setting in np.sort(latest)[[0, 3]] + np.array([[0.5], [-0.05]]):
        for one in setting:
            again = flown(alone.change({"recovery.drogue.backup_time": float(one)}))
            drogue, main = (again.event_time.isel(body=0).sel(event=f"deployment {name}").values for name in ("drogue", "main"))
            clear = (one < latest - 0.02) | (one > latest + 0.45)  # a tick of the computer; 2 % of some 20 s
            assert clear.sum() > 2 and np.array_equal((drogue < main)[clear], (one < latest)[clear])


def test_would_be_times__are_those_of_flights_with_the_changed_setting(mission, windows):
    for setting in (13.5, 18.0, 25.0):
        changed = mission.change({"recovery.drogue.backup_time": setting})
        told = trigger_windows(changed, FLIGHTS, branches=[], seed=SEED, progress=False)
        again = flown(changed)
        fired, due = again.rule_fired.sel(rule=BACKUP).values, told.trigger_time.sel(branch="nominal", trigger=BACKUP).values
        assert np.allclose(fired, due, atol=1e-12)
        before = windows.trigger_time.sel(branch="nominal", trigger=BACKUP).values + setting - 16.0  # as the first setting's flights tell it
        assert (np.abs(fired - before) <= 5.0 * TICK + 1e-9).all()  # the computer looks every fifth tick in a quiet descent


def test_bigger_motor__is_the_other_motor_of_the_mission_that_fits(mission, windows):
    place = next(k for k, part in enumerate(mission.stage[0].part) if part.kind == "mount")
    again = flown(mission.change({f"stage.0.part.{place}.motor": "playa-i", "recovery.drogue.backup_time": 60.0}))
    assert np.array_equal(again.rule_fired.sel(rule="deploy drogue: apogee").values, windows.primary_time.sel(branch=BIGGER, action="deploy drogue").values)
    assert str(windows.branch_what.sel(branch=BIGGER).values) == "playa-i in thistledown"


def test_a_backup_that_comes_first__is_told_with_when_the_primary_would_have_come(mission):
    early = mission.change({"recovery.drogue.backup_time": 10.5})
    found = trigger_windows(early, FLIGHTS, branches=[], seed=SEED, progress=False)
    again = flown(mission.change({"recovery.drogue.backup_time": 60.0}))
    assert np.array_equal(found.primary_time.sel(branch="nominal", action="deploy drogue").values, again.rule_fired.sel(rule="deploy drogue: apogee").values)
    first = again.rule_fired.sel(rule="deploy drogue: apogee").values
    beats = flown(early).rule_fired.sel(rule=BACKUP).values < first
    assert found.beats.sel(branch="nominal", action="deploy drogue") == beats.mean() > 0.5
    assert "beats a sound trigger in" in sixdof.report(found)


def test_the_setting_advised__keeps_its_promise_on_other_flights(mission, windows):
    take = float(windows.advised.sel(trigger=BACKUP))
    advised = mission.change({"recovery.drogue.backup_time": take})
    place = next(k for k, part in enumerate(mission.stage[0].part) if part.kind == "mount")
    assert not acted(flown(advised, 30, seed=77), BACKUP).any()
    assert not acted(flown(advised.change({f"stage.0.part.{place}.motor": "playa-i"}), 30, seed=77), BACKUP).any()
    lost = flown(advised.change({"recovery.drogue.delay": 1e4}), 30, seed=77)
    assert acted(lost, BACKUP).all() and (lost.landing_ground_speed.values < 10.0).all()


def test_apogee_of_a_closed_form__vertical_without_drag(mission):
    """Thrust over a mass that falls with it, then a throw: the trigger comes at its apogee, the debounce and the delay later, the window begins there."""
    changes = {
        "rail.elevation": "90 deg",
        "rail.friction": 0.0,
        "air.wind": {"profile": "uniform", "speed": 0.0, "blows_from": 0.0},
        "disperse": {"aero.drag": {"kind": "discrete", "values": [0.0]}, "aero.normal_force": {"kind": "discrete", "values": [0.0]}},
        "recovery.drogue.delay": 0.0,
        "rule": [],
        "autopilot.profile": {"time": ["0 s"], "tilt_pitch": ["0 deg"]},
    }
    straight = mission.change(changes)
    found = trigger_windows(straight, 2, branches=[], seed=1, progress=False)
    motor, g = straight.motor["playa-h"], 9.7994  # WGS-84 normal gravity at 38 deg and 1550 m
    total = float(sixdof.fly(straight).mass.values[0])
    time, force = (np.array(v, dtype=float) for v in (motor.thrust_curve.time, motor.thrust_curve.thrust))
    t = np.linspace(0.0, time[-1], 200_001)
    f = np.interp(t, time, force)
    burnt = np.concatenate([[0.0], np.cumsum(0.5 * (f[1:] + f[:-1]) * np.diff(t))])
    f = f + (101325.0 - 87600.0) * np.pi / 4.0 * motor.nozzle_exit_diameter**2 * (f > 0.0)
    up = f / (total - motor.propellant_mass * burnt / burnt[-1]) - g
    up[(t < 0.2) & (up < 0.0)] = 0.0  # it stands on the rail
    speed = np.sum(0.5 * (up[1:] + up[:-1]) * np.diff(t))
    apogee = time[-1] + speed / g
    assert np.allclose(found.reference_time.sel(branch="nominal", action="deploy drogue"), apogee, atol=0.03)  # s: gravity with height, pressure with height


def test_bounds__are_those_of_order_statistics():
    rng = np.random.default_rng(0)
    values = rng.normal(20.0, 1.0, 59)
    assert least_setting(values, 0.95, 0.95)[1] == values.max()  # Wilks: 59 flights for 95/95, 58 are too few
    assert least_setting(values[:58], 0.95, 0.95)[1] == np.inf
    assert most_setting(values, 0.95, 0.95)[1] == values.min() and most_setting(values[:58], 0.95, 0.95)[1] == -np.inf
    many = np.sort(rng.normal(20.0, 1.0, 300))
    k = next(k for k in range(1, 301) if binom.cdf(k - 1, 300, 0.9) >= 0.9)  # P[k-th smallest >= 90 % quantile] = P[Bin(300, 0.9) <= k - 1]
    assert least_setting(many, 0.9, 0.9)[1] == many[k - 1]
    assert most_setting(many, 0.9, 0.9)[1] == many[300 - k]


def test_bounds__hold_as_often_as_they_say():
    rng = np.random.default_rng(1)
    hits = [np.mean(least_setting(rng.exponential(size=100), 0.9, 0.9)[1] >= -np.log(0.1)) for _ in range(600)]
    assert 0.87 < np.mean(hits) < 0.97  # at least 90 %; three standard errors of 600 are 4 %


def test_a_flight_that_nothing_saves__is_below_all_that_something_does():
    some = np.array([5.0] * 99 + [-np.inf])
    assert most_setting(some, 0.95, 0.9) == (5.0, 5.0)
    assert most_setting(some, 0.99, 0.9)[0] == -np.inf
    assert np.isnan(most_setting(np.full(3, np.nan), 0.99, 0.9)).all()


def test_window__of_all_branches_and_what_is_advised():
    window = window_of(np.array([12.0, 16.0, np.nan]), np.array([np.nan, 30.0, 22.0]))
    assert window == Window(16.0, 22.0, 1, 2)
    assert advice(window, "timer", 1.0) == 17.0
    assert advice(window, "timer", 8.0) == 19.0  # no room for so much: the middle
    assert [advice(window, "timer", 1.0, now) for now in (17.5, 16.5, 21.5)] == [17.5, 17.0, 17.0]  # what has room stays as it is set
    grain = advice(Window(10.0, 30.0, 0, 1), "grain", 1.0)
    assert grain == 13.0 and grain - max(DELAY_SCATTER[0], DELAY_SCATTER[1] * grain) >= 10.0
    assert np.isnan(advice(Window(16.0, 15.0, 0, 1), "timer", 1.0))
    assert window_of(np.full(2, np.nan), np.full(2, np.nan)) == pytest.approx((np.nan, np.inf, -1, -1), nan_ok=True)


def test_conflict__names_the_two_branches(windows):
    clash = windows.copy(deep=True)
    clash.window_begin.loc[{"trigger": BACKUP}] = 25.0
    clash.window_end.loc[{"trigger": BACKUP}] = 21.0
    text = " ".join(sixdof.report(clash).split())
    assert f'No backup_time of drogue satisfies all branches: it would have to be 25.1 s or more in "{BIGGER}", and 21.0 s or less in "{LOST}"' in text


def test_shares_of_a_setting__count_the_flights_beyond_the_ends(windows):
    one = windows.sel(trigger=BACKUP)
    earliest = one.earliest_of_flight.sel(branch="nominal").values
    early, late = early_and_late(one, float(np.sort(earliest)[-2]))
    assert early[0] == 2 / FLIGHTS and np.isnan(late[0])
    assert early_and_late(one, 1e3)[1][list(one.branch.values).index(LOST)] == 1.0


def test_heights__at_which_a_canopy_is_full_are_the_lowest_of_all_branches(mission, windows):
    low = mission.change({"recovery.main.height": "40 m"})
    found = trigger_windows(low, FLIGHTS, branches=[], seed=SEED, progress=False)
    events = flown(low)
    stretch, sink = (events[f"event_{name}"].isel(body=0).sel(event="line stretch main").values for name in ("height", "velocity_up"))
    part = next(one for one in mission.stage[0].part if one.name == "main")
    lowest = (stretch + sink * part.fill_time).min()
    assert 0.0 < lowest < 30.0
    assert f'height of main = 40 m: full at {lowest:.0f} m or more, at the lowest in "nominal"; raise it by' in " ".join(sixdof.report(found).split())
    page = " ".join(sixdof.report(windows).split())
    assert "raise it by" not in page and "nothing there breaks by load, however late or early: canopy drogue, canopy main." in page
    assert (found.outcome.sel(action="deploy main") == 5).any()  # too low: misses


def test_search__finds_the_last_good_moment_to_its_tolerance():
    rng = np.random.default_rng(2)
    begin, end = rng.uniform(0.0, 5.0, 50), rng.uniform(20.0, 90.0, 50)
    last = rng.uniform(begin - 2.0, end)
    found = search_last(lambda at, which: at <= last[which], begin, end, 0.1)
    assert np.array_equal(np.isneginf(found), last < begin)
    known = last >= begin
    assert (found[known] <= last[known]).all() and (last[known] - found[known] <= np.maximum(0.1, FINE * (found - begin)[known])).all()


def test_gap__is_the_smallest_of_all_pairs():
    times = np.array([[3.0, 9.0, 8.5], [1.0, np.nan, 4.0], [np.nan, 2.0, np.nan]])
    assert np.allclose(smallest_gap(times), [0.5, 3.0, np.nan], equal_nan=True)
    assert np.isnan(smallest_gap(times[:, :1])).all()
