"""The adaptive sampler against closed forms: flights that are straight lines of their scores, so that evidence and posterior are normal."""

from __future__ import annotations

import numpy as np
import pytest
from plain_flights import Line, Observed

from sixdof.postflight.hypotheses.sampling.proposal import Normal, Proposal, prior
from sixdof.postflight.hypotheses.sampling.sampler import Sampler, sample

HOW = {"flights": 100, "enough": 60.0, "rounds": 8}


def first_of(columns: int) -> list[float]:
    return [1.0, *[0.0] * (columns - 1)]


@pytest.mark.parametrize("columns", [1, 60])
@pytest.mark.parametrize("m", [0.0, 2.0, 4.0, 6.0])
def test_evidence__of_a_number_m_standard_deviations_out(m, columns):
    """Error 0.3 of a spread of 1: mean of ten runs within three of their own standard errors, none off by four of its own."""
    line, target = Line(first_of(columns)), Observed(m, 0.3)
    off, own = [], []
    for seed in range(10):
        line.flown = 0
        found = sample(line, target, columns, seed=seed, **HOW)
        assert found.enough and found.effective >= 60.0
        off.append(found.evidence.log - line.log_evidence(m, 0.3))
        own.append(found.evidence.relative_error)
    assert abs(np.mean(off)) < 3.0 * np.mean(own) / np.sqrt(10.0) + 0.01  # an adaptive estimate has a bias of the order of its variance
    assert np.max(np.abs(off) / own) < 4.5


def test_plain_weights__fail_where_the_adaptive_ones_do_not():
    """Four standard deviations out, with an error of 0.1, some 3 of 10^5 flights of the prior come near."""
    line, target = Line(first_of(20)), Observed(4.0, 0.1)
    plain = sample(line, target, 20, flights=400, enough=30.0, rounds=1, seed=3)
    assert not plain.enough and plain.effective < 3.0
    line.flown = 0
    found = sample(line, target, 20, flights=100, enough=30.0, rounds=4, seed=3)
    assert found.enough and found.evidence.log == pytest.approx(line.log_evidence(4.0, 0.1), abs=4.0 * found.evidence.relative_error)


@pytest.fixture(scope="module")
def many():
    """Five numbers of eighty scores, of which they feel twelve, observed with an error of a tenth of their spread."""
    rng = np.random.default_rng(0)
    slope = np.zeros((5, 80))
    slope[:, :12] = 3.0 * rng.standard_normal((5, 12))
    line = Line(slope)
    y = 1.5 * line(rng.standard_normal((1, 80)), 0)[0]
    line.flown = 0
    return line, y


def test_posterior__of_many_scores(many):
    """Means and spreads of what the numbers feel, against the conjugate ones."""
    line, y = many
    found = sample(line, Observed(y, 1.0), 80, seed=5, **HOW)
    mean, covariance = line.posterior(y, 1.0)
    own = found.weights @ found.scores
    spread = np.sqrt(np.diag(covariance))
    assert found.enough
    assert np.max(np.abs(own - mean) / (spread / np.sqrt(found.effective))) < 4.0
    assert found.evidence.log == pytest.approx(line.log_evidence(y, 1.0), abs=4.0 * found.evidence.relative_error)


def test_same_seed__same_bits(many):
    line, y = many
    runs = []
    for seed in (5, 5, 6):
        line.flown = 0
        runs.append(sample(line, Observed(y, 1.0), 80, flights=60, enough=40.0, rounds=3, seed=seed))
    assert np.array_equal(runs[0].scores, runs[1].scores) and np.array_equal(runs[0].log_ratio, runs[1].log_ratio)
    assert not np.array_equal(runs[0].scores[:5], runs[2].scores[:5])


def test_contradicting_numbers__both_ways_of_explaining_them_are_found():
    """The same number read as 2 and as -2, with errors of 0.1: one of both is gross. The sum of both ways in closed form."""
    line = Line([[1.0], [1.0]])
    target = Observed([2.0, -2.0], 0.1, gross=0.05)
    found = sample(line, target, 1, flights=200, enough=100.0, rounds=10, seed=2)
    x = np.linspace(-8.0, 8.0, 160_001)
    exact = np.log(np.sum(np.exp(target.log_likelihood(np.stack([x, x], axis=1)) - 0.5 * x**2)) * (x[1] - x[0]) / np.sqrt(2.0 * np.pi))
    assert found.evidence.log == pytest.approx(exact, abs=4.0 * found.evidence.relative_error) and found.evidence.relative_error < 0.25
    assert found.weights @ (found.scores[:, 0] > 0.0) == pytest.approx(0.5, abs=0.2)


def test_far_evidence__is_looked_for_though_gross_errors_explain_it():
    """All flights of the prior are equally far off: their weights are even, worth all of them, and say nothing."""
    line, target = Line(first_of(10)), Observed(4.5, 0.05, gross=1e-9)
    sampler = Sampler(line, target, 10, enough=50.0, seed=1)
    first = sampler.step(100)
    assert first.effective > 50.0 and not first.enough
    for _ in range(4):
        found = sampler.step(100)
    assert found.evidence.log == pytest.approx(line.log_evidence(4.5, 0.05), abs=0.3)
    hopeless = Sampler(line := Line(first_of(10)), Observed(60.0, 0.05, gross=1e-9), 10, enough=50.0, seed=1)
    assert hopeless.step(100).enough and line.flown == 100


def test_flights_without_a_number__are_no_flights_near_the_evidence():
    """Half of the flights have no such number: half of the evidence of those that have."""

    class Some(Line):
        def __call__(self, scores, first):
            numbers = super().__call__(scores, first)
            return np.where(scores[:, 1:2] > 0.0, numbers, np.nan)

    class Known(Observed):
        def log_likelihood(self, numbers):
            return np.where(np.isfinite(numbers[:, 0]), super().log_likelihood(np.nan_to_num(numbers)), -np.inf)

    line = Some(first_of(6))
    found = sample(line, Known(2.0, 0.3), 6, flights=200, enough=100.0, rounds=6, seed=1)
    assert found.evidence.log == pytest.approx(line.log_evidence(2.0, 0.3) - np.log(2.0), abs=4.0 * found.evidence.relative_error)


def test_proposal__draws_from_its_own_density():
    """Means of prior over density are 1; so are those of density over prior, of flights of the prior (importance weights of either have mean 1)."""
    rng = np.random.default_rng(1)
    basis = np.linalg.qr(rng.standard_normal((5, 2)))[0]
    parts = (Normal(0.3, np.array([1.0, 0.0]), 0.5 * np.eye(2)), Normal(0.7, np.array([-0.5, 0.8]), np.array([[0.6, 0.2], [0.2, 0.9]])))
    proposal = Proposal(basis, parts)
    inverse = np.exp(-proposal.log_over_prior(proposal.draw(40_000, rng)))
    assert inverse.mean() == pytest.approx(1.0, abs=4.0 * inverse.std() / 200.0) and inverse.max() < 1.0 / 0.149
    ahead = np.exp(proposal.log_over_prior(rng.standard_normal((40_000, 5))))
    assert ahead.mean() == pytest.approx(1.0, abs=4.0 * ahead.std() / 200.0)


def test_prior__is_drawn_where_there_is_nothing_to_move_along():
    assert prior(3).draw(2, np.random.default_rng(0)).shape == (2, 3) and not prior(3).log_over_prior(np.ones((2, 3))).any()
    line = Line(np.zeros((1, 4)))
    found = sample(line, Observed(1.0, 1.0), 4, flights=20, enough=100.0, rounds=3, seed=0)
    assert not found.enough and found.effective == pytest.approx(60.0)  # all alike: no more than were flown, and it says so
