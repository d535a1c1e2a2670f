"""Probabilities and posteriors that are as often right as they say, over many simulated cases.

Simulation-based calibration: S. Talts, M. Betancourt, D. Simpson, A. Vehtari & A. Gelman 2018, Validating Bayesian inference algorithms with simulation-based
calibration, arXiv:1804.06788: the rank of the truth among posterior draws is uniform.
The weighted share of flights below the truth takes the place of the rank.
"""

from __future__ import annotations

import numpy as np
import pytest
from plain_flights import Line, Observed
from scipy.stats import chi2, kstest

from sixdof.postflight.hypotheses.sampling.sampler import sample
from sixdof.postflight.hypotheses.sampling.weights import mean_of, normalised, probabilities

CASES = 300
ROUNDS = pytest.mark.parametrize("flights, rounds", [(400, 1), pytest.param(80, 4, marks=pytest.mark.slow)], ids=["plain", "adaptive"])


def below(values: np.ndarray, weights: np.ndarray, truth: float, rng: np.random.Generator) -> float:
    """Return the weighted share below the truth, with a draw between the two values that enclose it."""
    order = np.argsort(values)
    shares = np.concatenate([[0.0], np.cumsum(weights[order]), [1.0]])
    k = int(np.searchsorted(values[order], truth))
    return float(shares[k] + rng.random() * max(shares[k + 1] - shares[k], 0.0)) if k < len(values) else float(1.0 - rng.random() * weights[order[-1]])


@ROUNDS
def test_ranks__are_uniform(flights, rounds):
    """Three scores of two numbers; a fifth of the readings is gross. Kolmogorov-Smirnov and ten bins, at 1 in 1,000 each."""
    rng, line, ranks = np.random.default_rng(8), Line([[2.0, 1.0, 0.0], [0.0, 1.0, 1.0]]), []
    for case in range(CASES):
        truth = rng.standard_normal(3)
        numbers = line.slope @ truth
        wrong = rng.random(2) < 0.2
        y = np.where(wrong, rng.uniform(-20.0, 20.0, 2), numbers + 0.3 * rng.standard_normal(2))
        line.flown = 0
        found = sample(line, Observed(y, 0.3, gross=0.2, width=40.0), 3, flights=flights, enough=80.0, rounds=rounds, seed=case)
        ranks.append(below(found.scores[:, 0], found.weights, truth[0], rng))
    assert kstest(ranks, "uniform").pvalue > 1e-3
    counts = np.histogram(ranks, 10, (0.0, 1.0))[0]
    assert chi2.sf(np.sum((counts - CASES / 10.0) ** 2) / (CASES / 10.0), 9) > 1e-3


@ROUNDS
def test_probabilities__are_those_with_which_hypotheses_are_right(flights, rounds):
    """Three hypotheses that shift and widen one number. Of all that is said to have p, the share p is true: binned, and by a score of mean 0."""
    rng = np.random.default_rng(9)
    offsets, priors = (0.0, 1.5, -3.0), np.array([0.6, 0.3, 0.1])
    slopes = ([1.0, 0.0], [1.0, 1.0], [0.5, 0.0])
    said, was = [], []
    for case in range(400):
        truth = int(rng.choice(3, p=priors))
        y = offsets[truth] + float(np.dot(slopes[truth], rng.standard_normal(2))) + 0.4 * rng.standard_normal()
        how = {"flights": flights, "enough": 80.0, "rounds": rounds, "seed": case}
        found = [sample(Line([slope], offset), Observed(y, 0.4), 2, **how) for slope, offset in zip(slopes, offsets)]
        said.append(probabilities(priors, [one.evidence for one in found])[0])
        was.append(np.arange(3) == truth)
    said, was = np.array(said).ravel(), np.array(was).ravel()
    score = np.sum(was - said) / np.sqrt(np.sum(said * (1.0 - said)))
    assert abs(score) < 3.3
    for low, high in ((0.0, 0.1), (0.1, 0.3), (0.3, 0.6), (0.6, 0.9), (0.9, 1.01)):
        some = (said >= low) & (said < high)
        assert some.sum() > 20
        spread = np.sqrt(np.sum(said[some] * (1.0 - said[some])))
        assert abs(np.sum(was[some] - said[some])) < 3.3 * spread + 1.0


def test_plain_weights_of_few_draws__are_overconfident_where_the_evidence_is_far():
    """What the rounds are for: of a number four standard deviations out, plain weights give an interval that misses the conjugate mean."""
    line, target = Line([[1.0]]), Observed(4.0, 0.2)
    mean, covariance = line.posterior(4.0, 0.2)
    scores = np.random.default_rng(1).standard_normal((200, 1))
    log = target.log_likelihood(scores)
    plain = float(normalised(log) @ scores[:, 0])
    assert abs(plain - mean[0]) > 3.0 * np.sqrt(covariance[0, 0]) and mean_of(log).log < line.log_evidence(4.0, 0.2) - 3.0
    found = sample(line, target, 1, flights=100, enough=60.0, rounds=5, seed=1)
    assert found.weights @ found.scores[:, 0] == pytest.approx(mean[0], abs=4.0 * np.sqrt(covariance[0, 0] / found.effective))
