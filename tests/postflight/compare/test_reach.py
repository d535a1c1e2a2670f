"""Instants, stretches and how far a model holds: hand-made curves, told apart by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sixdof.postflight.compare.channels import Channel, made_straight
from sixdof.postflight.compare.instants import thinned
from sixdof.postflight.compare.scalars import burnouts, scalars_of
from sixdof.postflight.compare.segments import Going, going_of, segments_of
from sixdof.postflight.compare.validity import INCIDENCE_EDGES, MACH_EDGES, over_map, reach

COUNT = 240


def going(mach: np.ndarray, incidence: float = 3.0) -> Going:
    time = np.linspace(0.0, 10.0, mach.size)
    codes = np.zeros(mach.size)
    return Going(time, np.ones(mach.size, dtype=bool), mach, np.full(mach.size, math.radians(incidence)), 340.0 * mach, codes + 3.0, codes, codes.astype(int))


def curves(wrong_above: float, mach: np.ndarray) -> np.ndarray:
    """Return standardised curves, the log first: a flight like the others up to a Mach number, four standard deviations off above."""
    z = np.random.default_rng(4).standard_normal((80, 1, mach.size))
    z[0, 0, mach > wrong_above] += 4.0
    return z


def test_reach__ends_where_the_log_leaves_the_flights():
    mach = np.linspace(0.1, 1.05, COUNT)
    found = reach(curves(0.9, mach), mach, going(mach).in_the_air, MACH_EDGES, 0.05)
    assert found.data == pytest.approx(1.05) and found.holds == pytest.approx(0.9)


def test_reach__never_goes_beyond_the_data():
    mach = np.linspace(0.1, 0.73, COUNT)
    found = reach(curves(9.9, mach), mach, going(mach).in_the_air, MACH_EDGES, 0.05)
    assert found.holds == found.data == pytest.approx(0.73)


def test_reach__is_nowhere_for_a_log_that_is_off_from_the_start():
    mach = np.linspace(0.1, 0.73, COUNT)
    found = reach(curves(0.0, mach), mach, going(mach).in_the_air, MACH_EDGES, 0.05)
    assert math.isnan(found.holds) and found.data == pytest.approx(0.73)


def test_map__counts_instants_by_mach_number_and_incidence():
    mach = np.concatenate([np.full(30, 0.3), np.full(20, 0.85)])
    z = curves(0.8, mach)
    found = over_map(z, np.abs(z[0]) < 1.64, going(mach, 7.0))
    i, j = np.searchsorted(MACH_EDGES, [0.3, 0.85], side="right") - 1
    angle = INCIDENCE_EDGES.index(5.0)
    assert found["instants"][i, angle] == 30 and found["instants"][j, angle] == 20 and found["instants"].sum() == 50
    assert found["p_value"][j, angle] < 0.05 <= found["p_value"][i, angle]
    assert np.isnan(found["p_value"]).sum() == found["p_value"].size - 2


def test_segments__of_two_stages_hold_both_burns_and_both_coasts():
    mach = np.full(10, 0.5)
    one = going(mach)._replace(burning=np.array([1, 1, 1, 0, 0, 2, 2, 0, 0, 0]))
    found = {segment.name: segment.which.nonzero()[0].tolist() for segment in segments_of(one, ["booster", "sustainer"])}
    assert found["booster burns"] == [0, 1, 2] and found["sustainer burns"] == [5, 6]
    assert found["coast behind booster"] == [3, 4] and found["coast behind sustainer"] == [7, 8, 9]
    assert "Mach 0.8 to 1.2" not in found and len(found["Mach below 0.8"]) == 10


def test_going__is_the_logs_own_where_it_says_so():
    flights = [{"mach": np.array([0.2, 0.4]), "phase": np.array([1.0, 3.0])}, {"mach": np.array([0.3, np.nan]), "phase": np.array([1.0, 3.0])}] * 2
    found = going_of(np.array([0.0, 1.0]), {"mach": np.array([0.9, np.nan])}, flights, np.array([[1, 0]] * 4), 5.0)
    assert found.mach.tolist() == [0.9, 0.4] and found.phase.tolist() == [1.0, 3.0] and found.burning.tolist() == [1, 0]


def test_instants__keep_a_slow_sensor_beside_a_fast_one():
    time = np.arange(-1.0, 60.0, 0.01)
    fast, slow = np.ones(time.size, dtype=bool), np.arange(time.size) % 100 == 0
    rows = thinned(time, [fast, slow], 60, 12.0)
    assert (time[rows] >= 0.0).all() and slow[rows].sum() >= 60 * 0.9
    assert 60 <= rows.size <= 120 and (time[rows] <= 12.0).sum() > 40


def test_round_angles__are_compared_across_the_half_turn():
    roll = Channel("", "roll", "", "rad", "roll", "", np.nan, True)
    rng = np.random.default_rng(4)
    drawn = np.angle(np.exp(1j * (np.pi + 0.1 * rng.standard_normal((50, 1, 3)))))
    drawn[:, 0, 2] = rng.uniform(-np.pi, np.pi, 50)
    logged = np.array([[-np.pi + 0.05, np.pi - 0.05, 0.0]])
    made_straight(logged, drawn, [roll])
    assert np.abs(logged[0, :2] - drawn[:, 0, :2].mean(axis=0)).max() < 0.12 and drawn[:, 0, :2].std() < 0.15
    assert np.isnan(logged[0, 2])  # the flights point all round


def test_burnouts__are_where_the_push_ends():
    time = np.linspace(0.0, 6.0, 601)
    force = np.interp(time, [0.0, 0.01, 1.0, 1.02, 2.5, 2.51, 4.0, 4.02, 6.0], [9.8, 80.0, 80.0, -10.0, -5.0, 50.0, 50.0, -8.0, -3.0])
    closed = [1.0 + 0.02 * 80.0 / 90.0, 4.0 + 0.02 * 50.0 / 58.0]
    np.testing.assert_allclose(burnouts(time, force), closed, atol=0.01)
    found = scalars_of(time, {"specific_force[x]": force, "height": 100.0 - (time - 3.0) ** 2}, ["booster", "sustainer"], 6.0)
    assert found["apogee_height"] == pytest.approx(100.0) and found["apogee_time"] == pytest.approx(3.0)
    assert [found[f"burnout_time[{one}]"] for one in ("booster", "sustainer")] == pytest.approx(closed, abs=0.01)
