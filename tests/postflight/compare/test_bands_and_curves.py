"""A log among drawn curves, by closed forms: bands that hold what they claim, ranks and p's that are uniform, independent instants of an AR(1) process."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.signal import lfilter
from scipy.stats import kstest, rankdata

from sixdof.postflight.compare import bands
from sixdof.postflight.compare.curves import adjusted_p, departure, effective_instants, pooled, rank_p
from sixdof.postflight.compare.segments import Segment
from sixdof.postflight.compare.weighing import covered_in

RHO = 0.9


def ar1(rng, curves: int, instants: int, rho: float = RHO) -> np.ndarray:
    """Return stationary AR(1) curves of variance 1, (curves, instants)."""
    noise = rng.standard_normal((curves, instants)) * np.sqrt(1.0 - rho**2)
    noise[:, 0] /= np.sqrt(1.0 - rho**2)
    return lfilter([1.0], [1.0, -rho], noise, axis=1)


@pytest.mark.parametrize("flights", [23, 60, 199])
def test_band__claims_what_a_further_flight_has(flights):
    """A further value of the same kind lies inside as often as `claimed` says: counted over many, of a skew distribution."""
    rng = np.random.default_rng(1)
    values = rng.exponential(size=(flights + 1, 40_000))
    edges = bands.band(values[1:])
    for level in (0.5, 0.8, 0.9):
        low, high = (edges[np.argmin(np.abs(np.array(bands.SHARES) - share))] for share in (0.5 - 0.5 * level, 0.5 + 0.5 * level))
        says = float(bands.claimed(np.array(flights + 1), level))
        assert level <= says < level + 2.0 / flights
        assert np.mean((values[0] > low) & (values[0] < high)) == pytest.approx(says, abs=4.0 * 0.5 / 200.0)  # four standard errors


def test_band__of_too_few_flights_has_no_ends():
    edges = bands.band(np.arange(30.0)[:, None])
    assert np.isnan(edges[[0, -1]]).all() and edges[4] == pytest.approx(14.5)  # 95 % needs 39


def test_ranks__are_scipys_with_ties_and_gaps():
    rng = np.random.default_rng(2)
    pool = rng.integers(0, 6, size=(9, 5)).astype(float)
    pool[3, 1] = np.nan
    rank, count = bands.ranks(pool)
    np.testing.assert_array_equal(rank[:, 0], rankdata(pool[:, 0]))
    np.testing.assert_array_equal(rank[~np.isnan(pool[:, 1]), 1], rankdata(pool[~np.isnan(pool[:, 1]), 1]))
    assert np.isnan(rank[3, 1]) and count.tolist() == [9, 8, 9, 9, 9]


def test_effective_instants__of_an_ar1_process():
    """N (1 - r)/(1 + r) for many instants; the exact sum over all pairs for the number there are."""
    count, curves = 400, 6000
    lags = np.arange(1, count)
    exact = count / (1.0 + 2.0 * np.sum((1.0 - lags / count) * RHO**lags))
    assert exact == pytest.approx(count * (1.0 - RHO) / (1.0 + RHO), rel=0.03)
    found = effective_instants(ar1(np.random.default_rng(3), curves, count)[:, None, :])
    assert found[0] == pytest.approx(exact, rel=0.08)  # four standard errors of a variance of 6000 means


def test_effective_instants__of_curves_that_stand_together_is_one():
    level = np.random.default_rng(4).standard_normal((500, 1, 1))
    assert effective_instants(np.broadcast_to(level, (500, 1, 50)))[0] == pytest.approx(1.0)


def many_pools(count: int = 400, flights: int = 49, instants: int = 60):
    """Yield pools of two channels, a log first that is one of its flights: heavy tails, correlated along time and with each other."""
    rng = np.random.default_rng(5)
    for _ in range(count):
        first = ar1(rng, flights + 1, instants)
        second = 0.6 * first + 0.8 * ar1(rng, flights + 1, instants) ** 3
        curves = np.stack([first, second], axis=1)
        yield pooled(curves[0], curves[1:])


def test_whole_curve__p_is_uniform_where_the_model_is_true():
    p_one, p_all, least, ranks = [], [], [], []
    for pool in many_pools():
        far = departure(pool.z)
        p_one.append(rank_p(far)[1])
        p_all.append(float(rank_p(far.max(axis=1, keepdims=True))[0]))
        least.append(np.nanmin(adjusted_p(far)))
        rank, _ = bands.ranks(pool.z)
        ranks.append(rank[0, 0, 30])
    steps = np.random.default_rng(6).random((3, len(p_one))) / 50.0  # p's are multiples of 1/50: spread over their steps they are uniform
    for values, step in zip((p_one, p_all, least), steps, strict=True):
        assert kstest(np.array(values) - step, "uniform").pvalue > 0.01
    assert kstest((np.array(ranks) - np.random.default_rng(7).random(len(ranks))) / 50.0, "uniform").pvalue > 0.01


def test_coverage__is_on_the_mean_what_is_claimed_and_its_ends_hold_nine_in_ten():
    whole = [Segment("part", "whole flight", np.ones(60, dtype=bool))]
    cover, held = [], []
    for pool in many_pools(150):
        rank, count = bands.ranks(pool.z)
        found = covered_in(pool.z, rank, count, whole)
        cover.append(found["coverage"][:, 0])
        held.append((found["coverage"] >= found["coverage_low"] - 1e-12) & (found["coverage"] <= found["coverage_high"] + 1e-12))
        says = found["coverage_claimed"][0, 0]
    deviation = np.std(cover, axis=0) / np.sqrt(150.0)
    assert (np.abs(np.mean(cover, axis=0) - says) < 4.0 * deviation).all()
    assert (np.mean(held, axis=0) > 0.8).all()


def test_whole_curve__finds_a_shift_that_no_instant_shows():
    """0.7 of a standard deviation at every instant of a white process: seen by the root mean square, far below any band's edge."""
    rng = np.random.default_rng(8)
    pool = pooled(rng.standard_normal((1, 400)) + 0.7, rng.standard_normal((99, 1, 400)))
    assert rank_p(departure(pool.z))[0] == pytest.approx(0.01)
    assert np.nanmax(np.abs(pool.z[0])) < np.nanmax(np.abs(pool.z[1:]))


def test_log__that_ends_as_it_lands_is_called_off_no_more_often():
    """Bodies falling at rates of their own, each known until it lands: at its last instant the log is on the ground, and no other is."""
    rng, time = np.random.default_rng(10), np.linspace(0.0, 1.4, 60)
    p = []
    for _ in range(200):
        height = 1.0 - (1.0 + 0.1 * rng.standard_normal((60, 1))) * time + 0.01 * rng.standard_normal((60, 1))
        curves = np.where(height > 0.0, height, np.nan)[:, None, :]
        p.append(rank_p(departure(pooled(curves[0], curves[1:]).z))[0])
    assert np.mean(np.array(p) < 0.1) < 0.17  # 0.1, four standard errors of 200
    assert kstest(np.array(p) - rng.random(200) / 60.0, "uniform").pvalue > 0.01


def test_pool__leaves_out_where_flights_agree_or_have_landed():
    rng = np.random.default_rng(9)
    drawn = rng.standard_normal((40, 1, 6))
    drawn[:, 0, 0] = 3.0
    drawn[:, 0, 1] *= 1e-4
    drawn[:30, 0, 5] = np.nan
    pool = pooled(np.array([[0.0, 0.0, 0.0, np.nan, 0.0, 0.0]]), drawn)
    assert np.isfinite(pool.z[0, 0]).tolist() == [False, False, True, False, True, False]
    assert np.isfinite(pool.spread[0]).tolist() == [False, False, True, False, True, False]


def test_pool__ends_where_the_first_flight_does():
    """One flight of forty is down from the tenth instant on: nothing is compared there, though the log and thirty-nine flights go on."""
    rng = np.random.default_rng(6)
    drawn, logged = rng.standard_normal((40, 1, 15)), rng.standard_normal((1, 15))
    drawn[7, 0, 10:] = np.nan
    pool = pooled(logged, drawn)
    assert np.isfinite(pool.z[:, 0, :10]).all() and np.isnan(pool.z[:, 0, 10:]).all() and np.isnan(pool.spread[0, 10:]).all()
