"""Rare failures flown for themselves: exact weights, and the interval of a weighted share."""

from __future__ import annotations

from itertools import product

import numpy as np
import pytest
from scipy.stats import binom

import sixdof
from sixdof.study.landing.strata import NONE, SEVERAL, certain, fly_failing, strata_of, stratum_of, weighted_share
from sixdof.study.uncertainty.statistics import share_interval

# Clopper-Pearson limits computed with scipy 1.17.1 and mpmath 1.4.1: hits, flights, confidence -> ends
CLOPPER_PEARSON = {
    (0, 59, 0.95): (0.0, 0.0606089010),
    (1, 100, 0.95): (0.0002531460, 0.0544593854),
    (8, 10, 0.95): (0.4439045377, 0.9747892737),
    (995, 1000, 0.90): (0.9895159231, 0.9980278469),
    (10, 10, 0.95): (0.6915028922, 1.0),
}


def test_weights__are_those_of_all_combinations(stack_mission):
    """Against the sum over every way in which the failures may be drawn."""
    p = [failure.probability for failure in stack_mission.failure]
    expected = np.zeros(len(p) + 2)
    for drawn in product((False, True), repeat=len(p)):
        count = sum(drawn)
        expected[0 if count == 0 else drawn.index(True) + 1 if count == 1 else -1] += np.prod([q if one else 1.0 - q for q, one in zip(p, drawn)])
    strata = strata_of(stack_mission)
    assert strata.names[0] == NONE and strata.names[-1] == SEVERAL and strata.names[1:-1] == tuple(failure.name for failure in stack_mission.failure)
    assert strata.weights == pytest.approx(expected, rel=1e-12)


def test_weights__of_none_and_of_one_failure(demo_mission, stack_mission):
    assert strata_of(demo_mission).weights.tolist() == [1.0]
    one = stack_mission.change({"failure": [stack_mission.failure[0].model_dump()]})
    assert strata_of(one).weights == pytest.approx([0.98, 0.02])


def test_stratum__goes_by_what_was_drawn(stack_mission):
    likely = stack_mission.change({f"failure.{k}.probability": 0.3 for k in range(len(stack_mission.failure))})
    ds = sixdof.disperse(likely, 40, seed=2, tracks="none", progress=False)
    drawn = ds["failure_drawn"].sel(failure=[failure.name for failure in likely.failure]).values
    found = stratum_of(ds, likely)
    for flight, number in enumerate(found):
        names = [failure.name for failure, one in zip(likely.failure, drawn[flight]) if one]
        assert strata_of(likely).names[number] == (NONE if not names else names[0] if len(names) == 1 else SEVERAL)
    assert len(set(found)) > 3  # the test says something


def test_flights__with_one_failure_made_certain_are_others_than_those_drawn(stack_mission):
    two = stack_mission.change({f"failure.{k}.probability": 0.0 for k in range(2, len(stack_mission.failure))})
    found = fly_failing(two, 3, first=100, seed=1, progress=False)
    assert [ds["flight"].values.tolist() for ds in found] == [[100, 101, 102], [103, 104, 105]]  # what cannot happen is not flown
    for k, ds in enumerate(found):
        assert (stratum_of(ds, two) == k + 1).all()
        assert [failure.probability for failure in certain(two, k).failure] == [float(j == k) for j in range(len(two.failure))]


@pytest.mark.parametrize("case", CLOPPER_PEARSON, ids=str)
def test_interval__of_one_stratum_is_that_of_clopper_and_pearson(case):
    hits, flights, confidence = case
    found = weighted_share([hits], [flights], [1.0], confidence)
    assert (found.low, found.high) == pytest.approx(CLOPPER_PEARSON[case], abs=1e-9)
    assert found.estimate == hits / flights


def test_interval__of_equal_strata_by_hand():
    """Two strata of weight 1/2 without a hit: the upper end is where the sum of two independent beta(1, n + 1)/2 is below with 95 %.

    With u = 1 - p the density of p is (n + 1) u^n; P(p1 + p2 > 2t) of two of them is integrated by Gauss-Legendre here.
    """
    n = 20
    nodes, weights = np.polynomial.legendre.leggauss(200)

    def above(t):
        p = t * (nodes + 1.0)  # of the first, over 0 .. 2 t; beyond it the sum is above whatever the second is
        inner = np.sum(t * weights * n * (1.0 - p) ** (n - 1) * (1.0 - (2.0 * t - p)) ** n)
        return inner + (1.0 - 2.0 * t) ** n

    found = weighted_share([0, 0], [n, n], [0.5, 0.5], 0.9)
    assert found.low == 0.0 and found.estimate == 0.0
    assert above(found.high) == pytest.approx(0.05, rel=5e-3)  # a density's slope makes 50 of the grid's 1e-4
    assert above(found.high) <= 0.05 * (1.0 + 1e-6)  # outwards


@pytest.mark.parametrize(("weights", "flights"), [((0.5, 0.5), (9, 6)), ((0.95, 0.05), (12, 5))], ids=str)
def test_interval__holds_the_truth_as_often_as_it_says(weights, flights):
    """Over every outcome of two strata: the probability that an end misses is at most 5 % at any true shares."""
    found = {hits: weighted_share(hits, flights, weights, 0.9) for hits in product(range(flights[0] + 1), range(flights[1] + 1))}
    for p in product((0.02, 0.1, 0.3, 0.6, 0.9), repeat=2):
        truth = float(np.dot(weights, p))
        chance = {hits: binom.pmf(hits[0], flights[0], p[0]) * binom.pmf(hits[1], flights[1], p[1]) for hits in found}
        above = sum(chance[hits] for hits, one in found.items() if one.high < truth)
        below = sum(chance[hits] for hits, one in found.items() if one.low > truth)
        assert above <= 0.05 and below <= 0.05


def test_interval__a_stratum_that_was_not_flown_bounds_nothing():
    flown, both = weighted_share([3], [60], [1.0]), weighted_share([3, 0], [60, 0], [0.96, 0.04])
    assert both.estimate == pytest.approx(flown.estimate)
    assert both.low == pytest.approx(0.96 * flown.low) and both.high == pytest.approx(0.96 * flown.high + 0.04)
    nothing = weighted_share([0], [0], [1.0])
    assert np.isnan(nothing.estimate) and (nothing.low, nothing.high) == (0.0, 1.0)


def test_interval__is_narrower_where_the_failure_is_what_leaves():
    """200 flights as drawn, 1 % of them with a failure in which half leave: 1 hit of 2. With 60 flights of that failure the share is known far better."""
    drawn = share_interval(1, 200, 0.9)
    more = weighted_share([0, 31], [198, 62], [0.99, 0.01], 0.9)
    assert more.estimate == pytest.approx(0.005)
    assert more.high < drawn.high and more.low > 5.0 * drawn.low
    assert more.low > 0.0035  # its own share is 0.39 to 0.61


@pytest.mark.parametrize(
    ("hits", "flights", "weights", "words"),
    [([1], [2], [0.9], "add up to 1"), ([1, 1], [2], [1.0], "same strata"), ([3], [2], [1.0], "hits <= flights"), ([0.5], [2], [1.0], "whole numbers")],
)
def test_interval__says_what_is_wrong(hits, flights, weights, words):
    with pytest.raises(ValueError, match=words):
        weighted_share(hits, flights, weights)


def test_flights__of_a_mission_with_a_certain_failure_are_still_told_apart_by_the_others(stack_mission):
    """A failure made certain is in every flight: the weights of the others stay those of the mission without it, and they are flown with it."""
    first, second, third = stack_mission.change({f"failure.{k}.probability": p for k, p in enumerate((1.0, 0.1, 0.3))}).failure[:3]
    sure = stack_mission.change({"failure": [one.model_dump() for one in (first, second, third)]})
    assert strata_of(sure).names == (NONE, second.name, third.name, SEVERAL)
    assert strata_of(sure).weights == pytest.approx([0.63, 0.07, 0.27, 0.03])
    found = fly_failing(sure, 2, first=10, seed=1, progress=False)
    assert [stratum_of(ds, sure).tolist() for ds in found] == [[1, 1], [2, 2]]
    assert all((ds["failure_drawn"].sel(failure=first.name) > 0).all() for ds in found)
