"""The scores nearest to the evidence: against conjugate means of straight lines, and where flights bend, against scipy's own minimiser."""

from __future__ import annotations

import numpy as np
import pytest
from plain_flights import Line, Observed
from scipy.optimize import minimize

from sixdof.postflight.hypotheses.sampling.nearest import APART, nearest
from sixdof.postflight.hypotheses.sampling.sampler import Sampler


class Bent:
    """Five numbers of sixty scores that bend by a third within a spread, with noise; every flight of it counted."""

    def __init__(self, noise: float = 0.0):
        rng = np.random.default_rng(4)
        self.slope = np.zeros((5, 60))
        self.slope[:, :15] = 3.0 * rng.standard_normal((5, 15))
        self.noise, self.flown, self.rng = noise, 0, np.random.default_rng(8)

    def numbers(self, scores):
        line = scores @ self.slope.T
        return line + 0.03 * line**2

    def __call__(self, scores, first):
        self.flown += len(scores)
        return self.numbers(scores) + self.noise * self.rng.standard_normal((len(scores), 5))

    def probe(self, scores, same):
        self.flown += len(scores)
        own = self.rng.standard_normal((1 if same else len(scores), 5))
        return self.numbers(scores) + (0.0 if same else self.noise) * own


def test_nearest__of_straight_lines_is_the_conjugate_mean():
    line = Line(np.random.default_rng(1).standard_normal((3, 12)))
    y, sd = np.array([6.0, -4.0, 2.0]), np.array([0.5, 1.0, 0.2])
    mean, covariance = line.posterior(y, sd)
    found, lines = nearest(lambda scores, same: (y - scores @ line.slope.T) / sd, np.zeros(12))
    assert found == pytest.approx(mean, abs=1e-9)
    assert lines.slope == pytest.approx(-line.slope / sd[:, None], abs=1e-9) and np.diag(lines.rest) == pytest.approx(0.0, abs=1e-9)


def test_nearest__of_flights_that_bend_is_where_a_minimiser_ends():
    bent = Bent()
    y = bent.numbers(1.4 * np.random.default_rng(2).standard_normal((1, 60)))[0]
    found, _ = nearest(lambda scores, same: y - bent.numbers(scores), 0.3 * np.random.default_rng(3).standard_normal(60))

    def square(s):
        return float(np.sum((y - bent.numbers(s[None])[0]) ** 2) + s @ s)

    least = min(minimize(square, start, method="L-BFGS-B", options={"maxiter": 500}).fun for start in (found, np.zeros(60)))
    assert square(found) < least + 1.0  # forward differences of APART take the bend for slope: a hundredth of the sum of squares


def test_nearest__an_event_between_two_flights_makes_no_slope():
    def misses(scores, same):
        jump = np.where(scores[:, 1] > 0.1, 500.0, 0.0)  # comes or goes within a difference
        return np.stack([3.0 * scores[:, 0] - 6.0, jump], axis=1)

    assert APART > 0.1
    found, _ = nearest(misses, np.zeros(2))
    assert found == pytest.approx([1.8, 0.0], abs=0.02)  # 6 * 3/(1 + 9)


def test_sampler__with_probes_needs_few_flights_of_many_scores():
    """Without them, as many flights drawn are worth less than half: sixty slopes out of a hundred flights are rough."""
    truth = 1.4 * np.random.default_rng(2).standard_normal((1, 60))
    sizes = {}
    for name in ("probed", "drawn"):
        bent = Bent(noise=0.5)
        target = Observed(bent.numbers(truth)[0], 1.0)
        sampler = Sampler(bent, target, 60, enough=1e9, seed=1, probe=bent.probe if name == "probed" else None)
        for _ in range(4):
            found = sampler.step(100)
        sizes[name] = found.effective
        if name == "probed":
            misses = np.abs(found.weights @ (bent.numbers(found.scores)) - target.y)
            assert np.all(misses < 3.0)  # three errors of the evidence
    assert sizes["probed"] > 30.0 and sizes["probed"] > 2.0 * sizes["drawn"], sizes
