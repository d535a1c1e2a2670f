"""The root with its interval, on outcomes whose first failure is known in closed form; no flights."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binom, norm

from sixdof.study.uncertainty.statistics import quantile_interval
from sixdof.study.wind_limit.first_failure import BEYOND, FOUND, NOT_IN_CALM, Flown
from sixdof.study.wind_limit.ranks import ASKED, FAILS, SHOWN, Judged, flights_to_hold
from sixdof.study.wind_limit.search import fly_grid, refine

TOLERANCE = 0.2  # m/s


def judged_by_hand(outcome, limit, share, confidence):
    """What flights say of "outcome < limit", by counting and sorting."""
    ordered = [-math.inf, *sorted(math.inf if math.isnan(value) else value for value in outcome), math.inf]
    need = flights_to_hold(len(outcome), share, confidence)
    return int(np.sum(outcome < limit)), [limit - ordered[k] for k in need], ordered[need[ASKED]]


class StandIn:
    """Flies nothing: outcomes are functions of the wind, (criteria) of wind -> (flights,), each held below its limit."""

    def __init__(self, outcomes, limits, shares, confidence=0.9):
        self.outcomes, self.limits, self.shares, self.confidence, self.flown = outcomes, limits, shares, confidence, 0
        flights = len(outcomes[0](0.0))
        self.flights = flights
        self.need = np.array([flights_to_hold(flights, share, confidence) for share in shares])

    def __call__(self, points):
        self.flown += len(points)
        return [self._at(wind) for _, wind in points]

    def _at(self, wind):
        rows = [judged_by_hand(f(wind), c, s, self.confidence) for f, c, s in zip(self.outcomes, self.limits, self.shares, strict=True)]
        return Judged(*(np.array([row[k] for row in rows], dtype=float) for k in range(3)))

    def search(self, highest=10.0, winds=5, tolerance=TOLERANCE):
        (one,) = flown = fly_grid(self, 1, np.linspace(0.0, highest, winds), self.need, self.flights)
        refine(self, flown, tolerance)
        return one


def straight(slopes):
    return lambda wind: np.asarray(slopes) * wind


SLOPES = np.linspace(0.8, 1.2, 60)  # of outcomes that are straight lines: flight i fails beyond the wind limit/slope


# ---------------------------------------------------------------- how many must hold


@pytest.mark.parametrize(("flights", "share"), [(60, 0.95), (40, 0.9), (200, 0.99), (25, 0.5)])
def test_flights_to_hold__outer_levels_err_by_the_binomial_tail(flights, share):
    below, asked, above = flights_to_hold(flights, share, 0.9)
    assert asked == math.ceil(round(share * flights, 6)) and below <= asked <= above
    assert binom.sf(above - 1, flights, share) <= 0.05 and binom.sf(above - 2, flights, share) > 0.05
    assert binom.cdf(below - 1, flights, share) <= 0.05 and binom.cdf(below, flights, share) > 0.05


def test_flights_to_hold__are_the_order_statistics_of_the_interval_of_a_quantile():
    values = np.random.default_rng(3).normal(size=200)
    below, _, above = flights_to_hold(200, 0.9, 0.9)
    found, ordered = quantile_interval(values, 0.9, 0.9), np.sort(values)
    assert (found.low, found.high) == (ordered[below - 1], ordered[above - 1])


def test_flights_to_hold__fewer_than_59_show_nothing_of_95_per_cent():
    assert [flights_to_hold(n, 0.95, 0.9)[SHOWN] > n for n in (40, 58, 59, 60)] == [True, True, False, False]


# ---------------------------------------------------------------- roots


def test_search__root_and_ends_of_straight_lines_are_those_of_the_deciding_flights():
    stand = StandIn([straight(SLOPES)], [6.0], [0.95])
    one = stand.search()
    below, asked, above = flights_to_hold(60, 0.95, 0.9)
    for level, rank in ((FAILS, below), (ASKED, asked), (SHOWN, above)):
        assert one.crossing(level).at == pytest.approx(6.0 / SLOPES[rank - 1], abs=1e-9)  # a straight line is met at once
    found = one.crossing(ASKED)
    assert found.kind == FOUND and found.high - found.low <= TOLERANCE + 1e-9
    assert stand.flown <= 9  # five of the grid, two for the limit, one or two for the ends


def test_search__curved_outcome_within_the_bracket_it_promises():
    incidence = StandIn([lambda wind: np.arctan(SLOPES * wind / 20.0)], [math.radians(15.0)], [0.95])
    one = incidence.search()
    truth = 20.0 * math.tan(math.radians(15.0)) / SLOPES[56]
    found = one.crossing(ASKED)
    assert found.low <= truth <= found.high and abs(found.at - truth) < 0.02


def test_search__lowest_root_of_several_criteria_binds():
    one = StandIn([straight(SLOPES), straight(2.0 * SLOPES)], [9.0, 9.0], [0.95, 0.95]).search()
    assert one.crossing(ASKED).criterion == 1 and one.crossing(ASKED).at == pytest.approx(4.5 / SLOPES[56], abs=1e-9)
    assert one.crossing(ASKED, 0).at == pytest.approx(9.0 / SLOPES[56], rel=0.01)


def test_search__jump_is_bracketed_by_halves():
    """Every flight loses its value beyond 3.3 m/s, such as an event that is not reached any more."""
    one = StandIn([lambda wind: np.full(60, math.nan if wind > 3.3 else 0.5)], [1.0], [0.95]).search()
    found = one.crossing(ASKED)
    assert found.low <= 3.3 <= found.high and found.high - found.low <= TOLERANCE


def test_search__holds_up_to_the_highest_is_a_bound():
    found = StandIn([straight(SLOPES)], [1e9], [0.95]).search().crossing(ASKED)
    assert (found.kind, found.at, found.criterion) == (BEYOND, 10.0, -1) and math.isinf(found.high)


def test_search__fails_in_calm_already():
    found = StandIn([straight(SLOPES), lambda wind: np.ones(60)], [6.0, 0.5], [0.95, 0.95]).search().crossing(ASKED)
    assert (found.kind, found.at, found.criterion) == (NOT_IN_CALM, 0.0, 1)


def test_search__of_what_fails_and_holds_again_the_first_failure_counts():
    hump = StandIn([lambda wind: SLOPES * (9.0 - (wind - 5.0) ** 2)], [6.0], [0.95])
    one = hump.search()
    assert one.crossing(ASKED).at == pytest.approx(5.0 - math.sqrt(9.0 - 6.0 / SLOPES[56]), abs=TOLERANCE)
    assert 5.0 + math.sqrt(9.0 - 6.0 / SLOPES[56]) <= one.holds_again(ASKED) <= 7.5  # the next wind of the grid above, or one flown for an end


def test_search__few_flights_have_no_lower_end():
    one = StandIn([straight(SLOPES[:20])], [6.0], [0.95]).search()
    assert one.crossing(SHOWN).at == 0.0 and one.crossing(SHOWN).kind == NOT_IN_CALM and one.crossing(ASKED).at > 4.0


def test_flown__keeps_winds_in_order_whatever_order_they_come_in():
    one = Flown(np.array([[1, 2, 3]]), 3)
    for wind, holding in ((5.0, 1), (0.0, 3), (2.0, 2)):
        one.add(wind, Judged(np.array([holding]), np.array([[holding - 0.5, holding - 1.5, holding - 2.5]]), np.array([math.nan])))
    assert one.winds.tolist() == [0.0, 2.0, 5.0] and one.holding[:, 0].tolist() == [3, 2, 1]


# ---------------------------------------------------------------- the interval


def test_interval__holds_the_true_limit_as_often_as_it_says():
    """Flight i fails beyond limit/slope_i with normal slopes: the true limit is limit over the slopes' 95 % quantile. 250 ensembles of 60."""
    random, truth, held = np.random.default_rng(5), 6.0 / norm.ppf(0.95, 1.0, 0.12), []
    for _ in range(250):
        one = StandIn([straight(random.normal(1.0, 0.12, 60))], [6.0], [0.95]).search()
        held.append((one.crossing(SHOWN).at <= truth, truth <= one.crossing(FAILS).at))
    low, high = np.mean(held, axis=0)
    assert low >= 0.95 - 0.036 and high >= 0.95 - 0.036  # each end by itself 95 % or more, less 2.6 standard errors of 250
    assert np.mean(np.all(held, axis=1)) <= 0.99  # and not by being needlessly wide
