"""Over a hundred lost flights whose truth is known, what is claimed of them is right as often as it claims to be; and the demo is one of them."""

from __future__ import annotations

from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
import pytest
from scipy.stats import binom
from support.lost_calibration import ASKED, PRIORS, case

pytestmark = pytest.mark.slow
FLIGHTS = 100
RARE = 0.002  # probability at which a count is taken for no chance: some ten counts are looked at


@pytest.fixture(scope="module")
def cases():
    """All flights: some 30 s of CPU each, on two cores."""
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as pool:
        return list(pool.map(case, range(FLIGHTS)))


@pytest.mark.parametrize("name", ASKED)
def test_intervals__hold_the_true_parameter_as_often_as_they_claim(cases, name):
    """Of 90 %."""
    truth, _, _, low, high = np.array([one["parameters"][name] for one in cases]).T
    inside = int(np.sum((low <= truth) & (truth <= high)))
    assert binom.ppf(RARE, FLIGHTS, 0.9) <= inside <= binom.ppf(1.0 - RARE, FLIGHTS, 0.9), inside


@pytest.mark.parametrize("name", PRIORS)
def test_hypotheses__happen_as_often_as_their_probabilities_add_up_to(cases, name):
    """Three standard deviations of a sum of coins with these probabilities."""
    p = np.array([one["probability"][name] for one in cases])
    happened = np.array([one["hypothesis"] == name for one in cases])
    assert abs(happened.sum() - p.sum()) < 3.0 * np.sqrt(np.sum(p * (1.0 - p)))


def test_hypotheses__are_as_sharp_as_they_claim(cases):
    """Brier's score against what it is on the mean if the probabilities are right, p (1 - p); and better than the priors alone."""
    p = np.array([[one["probability"][name] for name in PRIORS] for one in cases])
    y = np.array([[one["hypothesis"] == name for name in PRIORS] for one in cases])
    score, claimed = np.sum((p - y) ** 2, axis=1), np.sum(p * (1.0 - p), axis=1)
    assert abs(np.mean(score - claimed)) < 3.0 * np.std(score - claimed) / np.sqrt(FLIGHTS)
    prior = np.array(list(PRIORS.values()))
    assert score.mean() < np.sum((prior - y) ** 2, axis=1).mean()


@pytest.mark.parametrize("share", [0.5, 0.9])
def test_areas__hold_the_body_at_least_as_often_as_they_claim(cases, share):
    """Kernels make areas wider than the flights', never narrower: so only too few count."""
    inside = int(np.sum(np.array([one["rank"] for one in cases]) <= share))
    assert inside >= binom.ppf(RARE, FLIGHTS, share), inside
