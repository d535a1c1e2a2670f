"""Intervals, Wilks' numbers and verdicts against published and computed tables, and against how often they hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from results_by_hand import ensemble_by_hand
from scipy.stats import binom, binomtest

from sixdof.results.status import Status
from sixdof.study.uncertainty.claims import FAIL, PASS, UNDECIDED, coverage_shown, flights_needed, judge, normal_tolerance_factor
from sixdof.study.uncertainty.convergence import precise_enough, running
from sixdof.study.uncertainty.statistics import conditional, deviation_interval, mean_interval, quantile_interval, share_interval

PRINTED = 1e-9  # relative: the digits printed in the tables below
# Fewest runs, coverage % / confidence % -> one side with 0, 1, ... failures; two sides. S. S. Wilks (1941, 1942); computed
# from P[Bin(N, g) <= N - r] >= b with scipy 1.17.1; one-sided 95/95 and 99/95 are also published
WILKS = {
    (90, 90): ((22, 38, 52, 65, 78), (38, 65, 91)),
    (90, 95): ((29, 46, 61, 76, 89), (46, 76, 103)),
    (95, 90): ((45, 77, 105, 132, 158), (77, 132, 184)),
    (95, 95): ((59, 93, 124, 153, 181, 208, 234, 260, 286, 311), (93, 153, 208)),
    (95, 99): ((90, 130, 165, 198, 229), (130, 198, 259)),
    (99, 90): ((230, 388, 531, 667, 798), (388, 667, 926)),
    (99, 95): ((299, 473, 628, 773, 913), (473, 773, 1049)),
    (99, 99): ((459, 662, 838, 1001, 1157), (662, 1001, 1307)),
    (99.73, 90): ((852, 1440, 1970, 2473, 2959), (1440, 2473, 3433)),
    (99.73, 95): ((1109, 1756, 2330, 2870, 3388), (1756, 2870, 3891)),
    (99.865, 90): ((1705, 2880, 3941, 4947, 5920, 6868, 7800, 8717, 9624, 10521), (2880, 4947, 6868)),
    (99.9, 95): ((2995, 4742, 6294, 7752, 9151), (4742, 7752, 10511)),
}
# Clopper & Pearson (1934), computed with scipy 1.17.1 and mpmath: (hits, flights, confidence) -> two-sided, one-sided ends
CLOPPER_PEARSON = {
    (0, 10, 0.95): ((0.0, 0.3084971078), (0.0, 0.2588655509)),
    (0, 59, 0.95): ((0.0, 0.0606089010), (0.0, 0.0495076099)),
    (0, 100, 0.95): ((0.0, 0.0362166926), (0.0, 0.0295130496)),
    (1, 100, 0.95): ((0.0002531460, 0.0544593854), (0.0005128014, 0.0465598115)),
    (5, 100, 0.95): ((0.0164318792, 0.1128349111), (0.0199055637, 0.1022533776)),
    (8, 10, 0.95): ((0.4439045377, 0.9747892737), (0.4930986989, 0.9632285621)),
    (10, 10, 0.95): ((0.6915028922, 1.0), (0.7411344491, 1.0)),
    (95, 100, 0.95): ((0.8871650889, 0.9835681208), (0.8977466224, 0.9800944363)),
    (980, 1000, 0.95): ((0.9692799673, 0.9877417320), (0.9710698771, 0.9867069945)),
    (995, 1000, 0.90): ((0.9895159231, 0.9980278469), (0.9907451419, 0.9975654988)),
}
TEN_DIGITS = 6e-11  # absolute: shares above are printed to ten decimals
# One-sided normal tolerance factor k(95/95), noncentral t by scipy 1.17.1
TOLERANCE = {10: 2.910963413, 30: 2.219837532, 59: 2.025887179, 100: 1.926538851}
# Relative 95 % band of a standard deviation, chi-square
DEVIATION = {100: (0.878, 1.162), 1000: (0.958, 1.046)}
# Standard errors that a share of simulated ensembles may miss by; seeds are fixed: this fails on a wrong formula, not by chance
SIGMA_BAND = 4.0
SHARES = st.floats(0.01, 0.99)
CONFIDENCES = st.floats(0.5, 0.999)
VALUES = st.lists(st.floats(-1e6, 1e6), max_size=60)


# ---------------------------------------------------------------- how many flights a claim takes


@pytest.mark.parametrize(("claim", "wanted"), WILKS.items())
def test_flights_needed__wilks(claim, wanted):
    coverage, confidence = (percent / 100.0 for percent in claim)
    for sides, numbers in zip((1, 2), wanted, strict=True):
        assert tuple(flights_needed(coverage, confidence, k, sides) for k in range(len(numbers))) == numbers


@given(st.floats(0.5, 0.9999), CONFIDENCES, st.integers(0, 20))
def test_flights_needed__is_the_fewest_that_show_the_coverage(coverage, confidence, failures):
    n = flights_needed(coverage, confidence, failures)
    assert coverage_shown(n, failures, confidence) >= coverage * (1.0 - PRINTED)
    if n - 1 >= failures:
        assert coverage_shown(n - 1, failures, confidence) < coverage * (1.0 + PRINTED)


def test_flights_needed__rounding_does_not_ask_for_one_more():
    assert flights_needed(0.9, 0.19) == 2  # 1 - 0.9^2 is 0.19, but not as floats
    assert flights_needed(0.5, 0.875) == 3


def test_flights_needed__high_coverage():
    # one failure-free: ln(1 - b)/ln(g), closed form
    assert flights_needed(0.9999, 0.99) == math.ceil(math.log(0.01) / math.log(0.9999))
    assert flights_needed(0.999999, 0.9) == math.ceil(math.log(0.1) / math.log(0.999999))
    n = flights_needed(0.999999, 0.99, 100)
    assert binom.cdf(100, n, 1e-6) <= 0.01 * (1.0 + 1e-6) and binom.cdf(100, n - 1, 1e-6) > 0.01 * (1.0 - 1e-6)


def test_coverage_shown__rule_of_one_extreme():
    assert coverage_shown(59, 0, 0.95) == pytest.approx(0.05 ** (1.0 / 59.0), rel=1e-12)
    assert coverage_shown(0, 0, 0.9) == 0.0
    assert coverage_shown(5, 5, 0.9) == 0.0


@pytest.mark.parametrize("n", TOLERANCE)
def test_normal_tolerance_factor__95_95(n):
    assert normal_tolerance_factor(n, 0.95, 0.95) == pytest.approx(TOLERANCE[n], rel=PRINTED)


# ---------------------------------------------------------------- shares


@pytest.mark.parametrize(("case", "wanted"), CLOPPER_PEARSON.items())
def test_share_interval__clopper_pearson(case, wanted):
    both, (lower, upper) = wanted
    found = share_interval(*case)
    assert found.estimate == case[0] / case[1]
    assert found[1:] == pytest.approx(both, abs=TEN_DIGITS)
    assert share_interval(*case, side="lower")[1:] == pytest.approx((lower, 1.0), abs=TEN_DIGITS)
    assert share_interval(*case, side="upper")[1:] == pytest.approx((0.0, upper), abs=TEN_DIGITS)


@given(st.integers(0, 200), st.integers(1, 200), CONFIDENCES)
def test_share_interval__agrees_with_scipy(hits, flights, confidence):
    hits = min(hits, flights)
    theirs = binomtest(hits, flights).proportion_ci(confidence, "exact")
    # scipy finds its ends by another function
    assert share_interval(hits, flights, confidence)[1:] == pytest.approx((theirs.low, theirs.high), rel=1e-7, abs=1e-9)


def test_share_interval__of_arrays_and_of_no_flights():
    found = share_interval(np.array([0, 5, 0]), np.array([0, 100, 10]), 0.95)
    assert np.isnan(found.estimate[0]) and (found.low[0], found.high[0]) == (0.0, 1.0)
    assert found.high[1:] == pytest.approx([0.1128349111, 0.3084971078], abs=TEN_DIGITS)


# ---------------------------------------------------------------- quantiles, means, deviations


def test_quantile_interval__order_statistics_by_hand():
    # P[Bin(10, 1/2) <= 1] = 11/1024, <= 2 is 56/1024: with 5 % to miss on each side the ends are the 2nd and the 9th
    assert quantile_interval(np.arange(1.0, 11.0), 0.5, 0.9) == (5.5, 2.0, 9.0)
    assert quantile_interval(np.arange(1.0, 11.0), 0.5, 0.9, "lower") == (5.5, 3.0, math.inf)  # 5.5 % > 5 %, < 10 %


@pytest.mark.parametrize(("n", "bounded"), [(58, False), (59, True)])
def test_quantile_interval__upper_bound_of_95_percent_begins_at_wilks_59(n, bounded):
    _, low, high = quantile_interval(np.arange(float(n)), 0.95, 0.95, "upper")
    assert low == -math.inf and high == (n - 1.0 if bounded else math.inf)
    _, low, high = quantile_interval(-np.arange(float(n)), 0.05, 0.95, "lower")
    assert high == math.inf and low == (1.0 - n if bounded else -math.inf)


@pytest.mark.parametrize("side", ["both", "lower", "upper"])
@pytest.mark.parametrize(("n", "q", "confidence"), [(20, 0.5, 0.9), (100, 0.9, 0.95), (35, 0.2, 0.68), (300, 0.99, 0.9)])
def test_quantile_interval__holds_at_least_as_often_as_it_says_and_not_much_more(n, q, confidence, side):
    """Exact, from the binomial: on uniform values the ends are order statistics, found again by their rank."""
    _, low, high = quantile_interval(np.arange(1.0, n + 1.0), q, confidence, side)
    below, above = max(low, 0.0), min(high, n + 1.0)
    holds = binom.cdf(above - 1.0, n, q) - (binom.cdf(below - 1.0, n, q) if below else 0.0)
    assert holds >= confidence
    # moving either end inwards by one order statistic would miss too often on that side
    miss = (1.0 - confidence) / (2.0 if side == "both" else 1.0)
    assert side == "upper" or below == n or binom.cdf(below, n, q) > miss
    assert side == "lower" or binom.sf(above - 2.0, n, q) > miss


def test_quantile_interval__holds_in_simulated_ensembles():
    rng, trials, n, q = np.random.default_rng(7), 2000, 80, 0.8
    truth = math.sqrt(-2.0 * math.log(1.0 - q))  # Rayleigh
    held = [low <= truth <= high for _, low, high in (quantile_interval(rng.rayleigh(size=n), q) for _ in range(trials))]
    # at least 90 %; how much more is known from the binomial
    _, low, high = quantile_interval(np.arange(1.0, n + 1.0), q)
    exact = binom.cdf(high - 1.0, n, q) - binom.cdf(low - 1.0, n, q)
    assert exact >= 0.9
    assert abs(np.mean(held) - exact) < SIGMA_BAND * math.sqrt(exact * (1.0 - exact) / trials)


@pytest.mark.parametrize(("interval", "truth"), [(lambda v: mean_interval(v, 0.9), 3.0), (lambda v: deviation_interval(v, 0.9), 2.0)])
def test_mean_and_deviation_interval__hold_in_simulated_ensembles(interval, truth):
    rng, trials = np.random.default_rng(8), 2000
    held = [low <= truth <= high for _, low, high in (interval(rng.normal(3.0, 2.0, 8)) for _ in range(trials))]
    assert abs(np.mean(held) - 0.9) < SIGMA_BAND * math.sqrt(0.09 / trials)


@pytest.mark.parametrize(("n", "band"), DEVIATION.items())
def test_deviation_interval__chi_square(n, band):
    estimate, low, high = deviation_interval(np.random.default_rng(1).normal(size=n), 0.95)
    assert (low / estimate, high / estimate) == pytest.approx(band, abs=5e-4)  # three decimals printed


@given(VALUES, st.lists(SHARES, min_size=2, max_size=5).map(sorted), CONFIDENCES)
def test_quantile_interval__rises_with_q(values, q, confidence):
    found = quantile_interval(values, q, confidence)
    for end in found if values else found[1:]:
        assert ((end[1:] >= end[:-1]) | np.isclose(end[1:], end[:-1], rtol=1e-9)).all()  # interpolation rounds
    if values:
        assert (found.low <= found.estimate).all() and (found.estimate <= found.high).all()


@given(VALUES, SHARES, st.lists(CONFIDENCES, min_size=2, max_size=2).map(sorted))
def test_intervals__widen_with_confidence(values, q, confidences):
    for interval in (lambda c: quantile_interval(values, q, c), lambda c: share_interval(len(values) // 3, len(values), c)):
        narrow, wide = (interval(c) for c in confidences)
        assert wide.low <= narrow.low + 1e-12 and narrow.high <= wide.high + 1e-12


@given(st.lists(st.sampled_from([1.0, 2.0, 3.0]), min_size=1, max_size=50), SHARES)
def test_quantile_interval__ties_stay_among_the_values(values, q):
    _, low, high = quantile_interval(values, q)
    assert {low, high} <= {1.0, 2.0, 3.0, -math.inf, math.inf} and low <= high


@pytest.mark.parametrize("values", [[], [math.nan, math.nan]])
def test_intervals__of_nothing_know_nothing(values):
    assert str(quantile_interval(values, 0.5)) == "Interval(estimate=nan, low=-inf, high=inf)"
    assert str(mean_interval(values)) == "Interval(estimate=nan, low=-inf, high=inf)"
    assert str(deviation_interval(values)) == "Interval(estimate=nan, low=0.0, high=inf)"
    assert quantile_interval(values, [0.1, 0.9]).low.tolist() == [-math.inf] * 2


def test_quantile_interval__of_few_flights_estimates_the_largest():
    assert quantile_interval([1.0, 2.0], 0.99, 0.9) == (2.0, 2.0, math.inf)  # both lie below it with 0.99^2 > 95 %


def test_intervals__of_one_flight_and_of_flights_without_a_value():
    assert quantile_interval([4.0], 0.5) == (4.0, -math.inf, math.inf)
    assert mean_interval([4.0, math.nan]) == (4.0, -math.inf, math.inf)
    known, gaps = np.arange(30.0), np.full(60, np.nan)
    gaps[::2] = known
    assert quantile_interval(gaps, 0.4) == quantile_interval(known, 0.4)
    assert mean_interval(xr.DataArray(gaps, dims="flight")) == mean_interval(known)


# ---------------------------------------------------------------- convergence


def test_running__ends_with_the_interval_of_all():
    values = xr.DataArray(np.random.default_rng(2).normal(size=500), dims="flight", attrs={"units": "m", "long_name": "apogee"})
    values[::7] = np.nan
    ds = running(values, "quantile", q=0.9, points=20)
    assert len(ds["flights"]) <= 20 and ds["flights"].values[[0, -1]].tolist() == [1, 428]
    assert int(ds["dropped"]) == 72
    assert tuple(float(ds[end][-1]) for end in ("estimate", "low", "high")) == quantile_interval(values, 0.9)
    first = values.values[~np.isnan(values.values)][: int(ds["flights"][8])]
    assert tuple(float(ds[end][8]) for end in ("estimate", "low", "high")) == quantile_interval(first, 0.9)
    assert ds["low"].attrs == {"units": "m", "long_name": "apogee, 90 % quantile, lower bound"}


@pytest.mark.parametrize("statistic", ["mean", "deviation", "share"])
def test_running__shrinks_as_one_over_the_root_of_flights(statistic):
    values = np.random.default_rng(3).normal(size=40_000)
    ds = running(values > 0.0 if statistic == "share" else values, statistic, points=300)
    half = 0.5 * (ds["high"] - ds["low"])
    ratio = float(half.sel(flights=400, method="nearest") / half[-1])
    n = float(ds["flights"].sel(flights=400, method="nearest"))
    assert ratio == pytest.approx(math.sqrt(40_000 / n), rel=0.1)  # scatter of a deviation from 400 values: 3.5 %


def test_precise_enough__turns_true_where_the_interval_is_short_enough():
    values = np.random.default_rng(4).normal(size=2000)
    mean, low, high = mean_interval(values)
    half = high - mean
    assert precise_enough(values, 1.001 * half) and not precise_enough(values, 0.999 * half)
    _, low, high = (estimate, *_) = quantile_interval(values, 0.95)
    longer = max(high - estimate, estimate - low)
    assert precise_enough(values, 1.001 * longer, statistic="quantile", q=0.95)
    assert not precise_enough(values, 0.999 * longer, statistic="quantile", q=0.95)
    assert not precise_enough(values[:20], 1e9, statistic="quantile", q=0.99)  # nothing bounds it
    assert precise_enough(np.ones(300), 0.01, statistic="share")


def test_precise_enough__few_equal_values_end_nothing():
    assert not precise_enough(np.ones(29), 1.0)
    assert precise_enough(np.ones(30), 1.0)
    assert not precise_enough([], 1.0, least=0)


# ---------------------------------------------------------------- verdicts


def flown(n, failures):
    return np.arange(n) >= failures


def test_judge__passes_from_wilks_numbers_on():
    for failures, n in enumerate(WILKS[99, 90][0]):
        assert judge(flown(n, failures)).verdict == PASS
        before = judge(flown(n - 1, failures))
        assert (before.verdict, before.more_flights) == (UNDECIDED, 1)


@given(st.integers(0, 400), st.integers(0, 400), st.floats(0.05, 0.999), CONFIDENCES)
def test_judge__verdict_goes_with_the_bounds(n, failures, share, confidence):
    found = judge(flown(n, min(failures, n)), share, confidence)
    # both are the same inequality, solved for the share or not: equal up to rounding
    if found.verdict == PASS:
        assert found.low >= share * (1.0 - 1e-9)
    if found.verdict == FAIL:
        assert found.high < share * (1.0 + 1e-9)
    if found.verdict == UNDECIDED:
        assert found.low < share * (1.0 + 1e-9) and found.high >= share * (1.0 - 1e-9)
        assert found.more_flights > 0
    assert found.low <= found.high + 1e-12
    assert found.flights == n and (n == 0) == math.isnan(found.share)


@given(st.integers(1, 300), st.integers(0, 10), st.floats(0.5, 0.99))
def test_judge__so_many_more_flights_decide(n, failures, share):
    failures = min(failures, n)
    found = judge(flown(n, failures), share)
    if found.verdict == UNDECIDED:
        assert judge(flown(n + found.more_flights, failures), share).verdict == PASS
        assert judge(flown(n + found.more_flights - 1, failures), share).verdict == UNDECIDED
        assert found.more_flights_at_this_rate >= 1
        assert failures or found.more_flights_at_this_rate == found.more_flights


@pytest.mark.parametrize(("n", "failures", "verdict"), [(500, 1, PASS), (40, 2, FAIL), (1000, 9, PASS), (300, 4, FAIL)])
def test_judge__flights_at_the_observed_rate_decide(n, failures, verdict):
    rate = failures / n
    start = judge(flown(n, failures))
    if start.verdict != UNDECIDED:
        assert (start.verdict, start.more_flights, start.more_flights_at_this_rate) == (verdict, 0, 0)
        return
    total = n + start.more_flights_at_this_rate
    # a whole number of failures lies up to half of one away: take the next total at which the rate gives one
    multiple = math.ceil(total / n) * n
    assert judge(flown(multiple, round(rate * multiple))).verdict == verdict
    multiple = math.floor((total - 1) / n) * n
    assert judge(flown(multiple, round(rate * multiple))).verdict == UNDECIDED


def test_judge__at_the_very_limit_no_number_decides():
    found = judge(flown(100, 1))
    assert (found.verdict, found.more_flights, found.more_flights_at_this_rate) == (UNDECIDED, 288, math.inf)


@pytest.mark.parametrize("n", [50, 230, 400, 1000, 3000])
def test_judge__errs_no_more_often_than_it_says(n):
    """Exact, summed over the binomial, for a vehicle at the very limit: both errors are largest there."""
    chance = binom.pmf(np.arange(n + 1), n, 0.01)
    verdicts = np.array([judge(flown(n, k)).verdict if chance[k] > 1e-12 else UNDECIDED for k in range(n + 1)])
    assert chance[verdicts == PASS].sum() <= 0.1 and chance[verdicts == FAIL].sum() <= 0.1


@pytest.mark.parametrize(("confidence", "wanted"), [(0.9, (0.25, 0.27)), (0.97, (0.08, 0.10))])
def test_judge__looking_again_and_again_errs_as_its_docstring_says(confidence, wanted):
    """Exact: the chance of each number of failures is carried from look to look, and leaves when something is decided."""
    every, alive, passed, failed = 100, np.ones(1), 0.0, 0.0
    step = binom.pmf(np.arange(every + 1), every, 0.01)
    for n in range(every, 2001, every):
        alive = np.convolve(alive, step)
        found = np.array([judge(flown(n, k), 0.99, confidence).verdict if p > 1e-9 else FAIL for k, p in enumerate(alive)])
        passed, failed = passed + alive[found == PASS].sum(), failed + alive[found == FAIL].sum()
        alive[found != UNDECIDED] = 0.0
    assert (passed, failed) == pytest.approx(wanted, abs=0.005)  # two decimals printed


def test_judge__leaves_out_and_counts_nan():
    found = judge([1.0, 0.0, math.nan, 1.0], 0.9)
    assert (found.flights, found.failures, found.dropped) == (3, 1, 1)
    assert judge([]).more_flights == judge([]).more_flights_at_this_rate == 230
    assert judge([math.nan]).verdict == UNDECIDED


# ---------------------------------------------------------------- groups


@pytest.fixture
def grouped(demo_mission):
    ds = ensemble_by_hand(demo_mission, np.zeros((60, 2)), points=0)
    ds["apogee_height"].values[:] = np.arange(60.0)
    ds["branch"].values[:] = "nominal"
    ds["branch"] = ds["branch"].astype(object)
    ds["branch"].values[50:] = "no chute"
    ds["status"].values[[3, 59]] = Status.DIVERGED, Status.OUT_OF_TIME
    return ds


def test_conditional__quantiles_of_each_branch(grouped):
    found = conditional(grouped, "apogee_height", q=(0.2, 0.5))
    assert found["group"].values.tolist() == ["nominal", "no chute"]
    assert (found["flights"].values.tolist(), found["used"].values.tolist()) == ([50, 10], [49, 10])
    chute = quantile_interval(np.arange(50.0, 60.0), [0.2, 0.5])
    for end in ("estimate", "low", "high"):
        assert found[end].sel(group="no chute").values.tolist() == getattr(chute, end).tolist()
    assert found["estimate"].attrs["units"] == "m"


def test_conditional__by_status_a_failed_group_has_its_size_and_no_value(grouped):
    found = conditional(grouped, "apogee_height", by="status", q=0.5)
    assert found["group"].values.tolist()[0] == "landed" and set(found["group"].values[1:]) == {"diverged", "out_of_time"}
    one = found.sel(group="diverged")
    assert (int(one["flights"]), int(one["used"])) == (1, 0)
    assert np.isnan(one["estimate"].item()) and one["high"].item() == math.inf
    assert found.sel(group="out_of_time")["estimate"].item() == 59.0


# ---------------------------------------------------------------- bad input


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: quantile_interval([1.0], 1.0), "q = 1.0 must lie between 0 and 1"),
        (lambda: quantile_interval([1.0], 0.5, 90), "confidence = 90 must lie between 0 and 1"),
        (lambda: quantile_interval([1.0], 0.5, side="left"), "side = 'left' must be one of both, lower, upper"),
        (lambda: quantile_interval([[1.0]], 0.5), "have 2 dimensions"),
        (lambda: quantile_interval([1.0, math.inf], 0.5), "1 are infinite"),
        (lambda: share_interval(5, 4), "0 <= hits <= flights"),
        (lambda: share_interval(0.5, 4), "whole numbers"),
        (lambda: flights_needed(95, 0.9), "coverage = 95"),
        (lambda: flights_needed(0.95, 0.9, -1), "failures = -1 must be a whole number"),
        (lambda: flights_needed(0.95, 0.9, sides=3), "sides = 3 must be 1"),
        (lambda: coverage_shown(4, 5, 0.9), "0 <= failures <= flights"),
        (lambda: normal_tolerance_factor(1, 0.9, 0.9), "2 or more"),
        (lambda: running([math.nan]), "none of 1 has one"),
        (lambda: running([1.0], "median"), "must be one of mean, deviation, quantile, share"),
        (lambda: running([1.0], "quantile"), "q goes with statistic quantile"),
        (lambda: running([1.0], "mean", q=0.5), "q goes with statistic quantile"),
        (lambda: running([2.0], "share"), "True or False"),
        (lambda: running([2.0], points=0), "points = 0"),
        (lambda: precise_enough([2.0], 0.0), "half_width = 0.0 must be above 0"),
        (lambda: judge([2.0]), "finds other numbers"),
        (lambda: judge([True], confidence=0.4), "confidence = 0.4 must be at least 0.5"),
        (lambda: judge([True], share=1.0), "share = 1.0"),
    ],
)
def test_statistics__says_what_is_wrong(call, words):
    with pytest.raises(ValueError) as error:
        call()
    assert words in str(error.value)


def test_conditional__says_what_is_wrong(grouped):
    with pytest.raises(ValueError, match="by = 'colour' must be branch or status"):
        conditional(grouped, "apogee_height", by="colour")
    with pytest.raises(ValueError, match="did you mean 'apogee_height'"):
        conditional(grouped, "apogee_heigth")
    with pytest.raises(ValueError, match="one number per flight"):
        conditional(grouped, "event_time")
