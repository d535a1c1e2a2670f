"""Quantile functions of the spreads against scipy.stats, and draws that lie where they may."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from sixdof.draws import spreads
from sixdof.draws.sampling import uniforms
from sixdof.draws.spreads import quantile
from sixdof.mission.tables import Spread

SEED = 20_241
SAMPLE = 20_000
UNLIKELY = 1e-4  # p-value of a fixed-seed test: right draws gave more when these tests were written
NOMINAL = 3.0
U = np.array([2.0**-53, 1e-9, 0.01, 0.3, 3.0 / 7.0, 0.5, 0.9, 1.0 - 1e-9, 1.0 - 2.0**-53])
MEASURED = tuple(sorted(stats.gamma(2.0).rvs(37, random_state=5).tolist()))


def cut_lognormal(median, log_sd, low, high):
    """The distribution of exp(x), x normal and cut: scipy's truncnorm of the logarithm."""
    a, b = ((math.log(cut / median)) / log_sd if cut > 0.0 else -math.inf for cut in (low, high))
    return stats.truncnorm(a, b, math.log(median), log_sd)


CONTINUOUS = [
    (Spread(sd=0.2), stats.norm(NOMINAL, 0.2)),
    (Spread(sd=2.0, low=1.0, high=4.0), stats.truncnorm(-1.0, 0.5, NOMINAL, 2.0)),
    (Spread(kind="uniform", low=-2.0, high=5.0), stats.uniform(-2.0, 7.0)),
    (Spread(kind="triangular", low=-2.0, mode=1.0, high=5.0), stats.triang(3.0 / 7.0, -2.0, 7.0)),
    (Spread(kind="lognormal", log_sd=0.4), stats.lognorm(0.4, scale=NOMINAL)),
    (Spread(kind="lognormal", log_sd=1.5, median=0.02), stats.lognorm(1.5, scale=0.02)),
]


@pytest.mark.parametrize("spread, expected", CONTINUOUS)
def test_continuous__quantile_and_draws_are_those_of_scipy(spread, expected):
    np.testing.assert_allclose(quantile(spread, U, NOMINAL), expected.ppf(U), rtol=1e-9, atol=1e-7)  # ends: scipy's own triangular
    draws = quantile(spread, uniforms(SEED, 0, SAMPLE, [("aero.cp", 0)])[:, 0], NOMINAL)
    assert stats.kstest(draws, expected.cdf).pvalue > UNLIKELY


@pytest.mark.parametrize("low, high", [(2.0, 5.0), (0.0, 4.0), (-3.0, 4.0), (2.5, math.inf), (3.5, 3.6)])
def test_lognormal__cut_is_the_normal_of_its_logarithm_cut(low, high):
    spread = Spread(kind="lognormal", log_sd=0.4, low=low, high=None if math.isinf(high) else high)
    expected = cut_lognormal(NOMINAL, 0.4, low, high)
    # beyond, scipy's quantile loses what is left of 1 - u: 0.05 standard deviations at u = 1 - 1e-16, where ours is that of mpmath at 40 digits
    inner = U[U < 1.0 - 1e-6]
    np.testing.assert_allclose(quantile(spread, inner, NOMINAL), np.exp(expected.ppf(inner)), rtol=1e-9)
    draws = quantile(spread, uniforms(SEED, 0, SAMPLE, [("aero.cp", 0)])[:, 0], NOMINAL)
    assert stats.kstest(np.log(draws), expected.cdf).pvalue > UNLIKELY
    assert draws.min() >= low and draws.max() <= high


def test_lognormal__without_width_is_its_median():
    np.testing.assert_array_equal(quantile(Spread(kind="lognormal", log_sd=0.0), U, NOMINAL), np.full(U.shape, NOMINAL))


def test_lognormal__least_cuts_as_low_does():
    cut = quantile(Spread(kind="lognormal", log_sd=0.4), U, NOMINAL, 2.0)
    np.testing.assert_array_equal(cut, quantile(Spread(kind="lognormal", log_sd=0.4, low=2.0), U, NOMINAL))
    np.testing.assert_array_equal(quantile(Spread(kind="lognormal", log_sd=0.4), U, NOMINAL, 0.0), quantile(Spread(kind="lognormal", log_sd=0.4), U, NOMINAL))


STEPPED = [
    (Spread(kind="discrete", values=(4.0, 1.0, 2.5)), {1.0: 1 / 3, 2.5: 1 / 3, 4.0: 1 / 3}),
    (Spread(kind="discrete", values=(4.0, 1.0, 2.5), weights=(1.0, 5.0, 2.0)), {1.0: 5 / 8, 2.5: 2 / 8, 4.0: 1 / 8}),
    (Spread(kind="bernoulli", value=9.0, probability=0.2), {NOMINAL: 0.8, 9.0: 0.2}),
    (Spread(kind="bernoulli", value=1.0, probability=0.2), {1.0: 0.2, NOMINAL: 0.8}),
    (Spread(kind="empirical", values=MEASURED), dict.fromkeys(MEASURED, 1 / len(MEASURED))),
]


@pytest.mark.parametrize("spread, expected", STEPPED)
def test_stepped__quantile_and_shares_are_those_of_the_distribution(spread, expected):
    ranks = stats.rv_discrete(values=(np.arange(len(expected)), list(expected.values())))
    values = np.array(list(expected))
    u = np.random.default_rng(3).uniform(size=2000)
    np.testing.assert_array_equal(quantile(spread, u, NOMINAL), values[ranks.ppf(u).astype(int)])
    draws = quantile(spread, uniforms(SEED, 0, SAMPLE, [("aero.cp", 0)])[:, 0], NOMINAL)
    found, counts = np.unique(draws, return_counts=True)
    np.testing.assert_array_equal(found, values)  # nothing but the values themselves, bit for bit
    assert stats.chisquare(counts, SAMPLE * np.array(list(expected.values()))).pvalue > UNLIKELY


def test_empirical__n_evenly_spread_numbers_draw_each_value_once():
    u = (np.arange(len(MEASURED)) + 0.5) / len(MEASURED)
    np.testing.assert_array_equal(quantile(Spread(kind="empirical", values=MEASURED), u, NOMINAL), MEASURED)


@pytest.mark.parametrize("weights", [(0.0, 1.0, 0.0), (0.0, 0.1 + 0.2, 0.0)])
def test_discrete__a_value_of_no_weight_is_never_drawn(weights):
    spread = Spread(kind="discrete", values=(1.0, 2.0, 3.0), weights=weights)
    np.testing.assert_array_equal(quantile(spread, U, NOMINAL), np.full(U.shape, 2.0))


@pytest.mark.parametrize("probability, drawn", [(0.0, NOMINAL), (1.0, 7.0)])
def test_bernoulli__never_and_always(probability, drawn):
    np.testing.assert_array_equal(quantile(Spread(kind="bernoulli", value=7.0, probability=probability), U, NOMINAL), np.full(U.shape, drawn))


inside = st.floats(1e-15, 1.0 - 1e-15)
ANY = [row[0] for row in CONTINUOUS + STEPPED]


@settings(deadline=None)
@given(st.sampled_from(ANY), inside, inside)
def test_quantile__rises_with_its_share(spread, one, other):
    """What a copula relies on: more is more."""
    low, high = quantile(spread, np.sort([one, other]), NOMINAL)
    assert low <= high


@settings(deadline=None)
@given(
    st.sampled_from(["normal", "lognormal"]),
    st.floats(0.01, 50.0),
    st.floats(1e-3, 20.0),
    st.floats(-5.0, 40.0),
    st.floats(1e-3, 30.0),
    st.lists(inside, min_size=1, max_size=5),
)
def test_cut__draws_lie_between_low_and_high(kind, centre, width, low, span, u):
    """Also where the cut is far out in a tail."""
    high = max(low + span, 0.01)
    keys = {"sd": width} if kind == "normal" else {"log_sd": min(width, 3.0)}
    draws = quantile(Spread(kind=kind, low=min(low, high - 1e-3), high=high, **keys), u, centre)
    assert np.all((draws >= min(low, high - 1e-3)) & (draws <= high))


@pytest.mark.parametrize(("a", "b"), [(-2.0, 2.0), (-2.67, 3.33), (1.0, 6.0), (-8.0, -5.0), (5.0, 8.0), (-0.1, 0.1), (-25.0, -20.0), (31.0, 33.0)])
def test_cut_normal__is_scipys(a, b):
    """Against scipy.stats.truncnorm, which works with logarithms: rounding of the probabilities, 1e-16, over the density of the scores."""
    u = np.linspace(0.001, 0.999, 999)
    np.testing.assert_allclose(spreads._cut_scores(u, a, b), stats.truncnorm.ppf(u, a, b), rtol=0.0, atol=1e-13)
