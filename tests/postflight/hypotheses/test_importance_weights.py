"""Effective sizes, mean likelihoods and probabilities against limits in closed form and conjugate posteriors.

The limits are those of the reference table of this project (bayes_ess_checks.csv): of weights N(m, 1)/N(0, 1) the effective share goes to exp(-m^2), of
N(0, s^2)/N(0, 1) to s sqrt(2 - s^2), both from E[w]^2/E[w^2] by completing the square.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import norm

from sixdof.postflight.hypotheses.sampling.weights import Mean, effective_size, mean_of, normalised, pooled_log_ratio, probabilities

SHIFTED = [(0.5, 0.778800783), (1.0, 0.367879441), (1.5, 0.105399225), (2.0, 0.018315639)]
SCALED = [(0.5, 0.661437828), (0.8, 0.932952303), (1.2, 0.897997773)]
MANY = 400_000


@pytest.fixture(scope="module")
def draws():
    return np.random.default_rng(20).standard_normal(MANY)


@pytest.mark.parametrize("m, share", SHIFTED)
def test_effective_size__of_a_shifted_target(m, share, draws):
    """The mean of w^2 has the relative standard deviation exp(2 m^2)/sqrt(N), for few draws are near 2 m: a hundredth at m = 1, and no limit at m = 2."""
    found = effective_size(norm.logpdf(draws, m) - norm.logpdf(draws)) / MANY
    scatter = np.exp(2.0 * m**2) / np.sqrt(MANY)
    assert found == pytest.approx(share, rel=min(4.0 * scatter, 0.3))


@pytest.mark.parametrize("s, share", SCALED)
def test_effective_size__of_a_scaled_target(s, share, draws):
    found = effective_size(norm.logpdf(draws, 0.0, s) - norm.logpdf(draws)) / MANY
    assert found == pytest.approx(share, rel=0.01)  # at s = 1.2 the fourth moment of the weights is infinite: it converges slowly


def test_effective_size__of_equal_and_impossible_weights():
    assert effective_size(np.zeros(7)) == pytest.approx(7.0) and effective_size(np.full(7, -np.inf)) == 0.0
    assert effective_size(np.array([-1e5, -2e5, -1e5])) == pytest.approx(2.0)
    assert normalised(np.full(4, -np.inf)) == pytest.approx([0.25] * 4)


@pytest.mark.parametrize(
    "prior, observed, sd, mean, spread", [((0.0, 1.0), [1.0], 0.5, 0.8, 0.447213595), ((10.0, 2.0), [9.0, 9.0, 9.0], 1.0, 9.076923077, 0.554700196)]
)
def test_weights__give_the_conjugate_posterior(prior, observed, sd, mean, spread, draws):
    theta = prior[0] + prior[1] * draws
    log = sum(norm.logpdf(y, theta, sd) for y in observed)
    weights = normalised(log)
    error = spread / np.sqrt(effective_size(log))
    assert weights @ theta == pytest.approx(mean, abs=4.0 * error)
    assert np.sqrt(weights @ (theta - mean) ** 2) == pytest.approx(spread, abs=4.0 * error)


def test_mean_of__has_the_error_of_a_mean(draws):
    """Of exp(draws): mean e^0.5, variance (e - 1) e."""
    found = mean_of(draws)
    assert found.relative_error == pytest.approx(np.sqrt((np.e - 1.0) / MANY), rel=0.05)
    assert found.log == pytest.approx(0.5, abs=4.0 * found.relative_error)
    assert mean_of(np.full(3, -np.inf)) == Mean(-np.inf, np.inf)


def test_mean_of__of_rounds_counts_the_scatter_within_them():
    values = np.log(np.array([1.0, 1.0, 5.0, 5.0]))
    assert mean_of(values, np.array([0, 0, 1, 1])).relative_error == 0.0
    assert mean_of(values).relative_error > 0.0


def test_pooled_ratio__is_that_of_the_mixture():
    """Two rounds of 30 and 10, from N(0, 1) and N(2, 0.5^2): the density is 3/4 of one and 1/4 of the other."""
    x = np.linspace(-3.0, 4.0, 9)
    logs = [np.zeros(9), norm.logpdf(x, 2.0, 0.5) - norm.logpdf(x)]
    expected = norm.pdf(x) / (0.75 * norm.pdf(x) + 0.25 * norm.pdf(x, 2.0, 0.5))
    np.testing.assert_allclose(np.exp(pooled_log_ratio(logs, [30, 10])), expected, rtol=1e-12)


def test_probabilities__errors_are_those_of_a_bootstrap():
    rng = np.random.default_rng(4)
    logs = [rng.normal(-1.0, 1.0, 400), rng.normal(-2.0, 1.5, 400), rng.normal(-4.0, 0.5, 400)]
    priors = np.array([0.2, 0.5, 0.3])
    p, error = probabilities(priors, [mean_of(each) for each in logs])
    again = np.array([probabilities(priors, [mean_of(rng.choice(each, each.size)) for each in logs])[0] for _ in range(600)])
    assert p.sum() == pytest.approx(1.0)
    np.testing.assert_allclose(again.std(axis=0), error, rtol=0.12)  # 600 resamples: 3 %, and the delta method's own curvature


def test_probabilities__of_exact_means_are_bayes_rule():
    p, error = probabilities(np.array([1.0, 3.0]), [Mean(np.log(0.6), 0.0), Mean(np.log(0.1), 0.0)])
    assert p == pytest.approx([0.6 / 0.9, 0.3 / 0.9]) and error == pytest.approx([0.0, 0.0])
