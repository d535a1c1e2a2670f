"""Least squares with priors, noise and colour, against closed forms and a certified regression; no flight is flown."""

from __future__ import annotations

import math

import numpy as np
import pytest
from fits import block_of, fitted, no_prior, normal_prior
from scipy.stats import binom, chi2

from sixdof.postflight.estimation.flown_noise import flown_moves, mean_square, row_scales
from sixdof.postflight.estimation.noise import colour_of, whiteness
from sixdof.postflight.estimation.problem import Block, sure_of
from sixdof.postflight.estimation.solver import Settings, State, solved, stands_still, start_of
from sixdof.postflight.estimation.uncertainty import bound_of, directions_of, known_of

# NIST Statistical Reference Datasets, nonlinear regression, Misra1a (D. Misra, 1978): volume y over pressure x, y = b1 (1 - exp(-b2 x)) + e
MISRA = [(10.07, 77.6), (14.73, 114.9), (17.94, 141.1), (23.93, 190.8), (29.61, 239.9), (35.18, 289.0), (40.02, 332.8), (44.82, 378.4), (50.76, 434.8)]
MISRA += [(55.05, 477.3), (61.01, 536.8), (66.40, 593.1), (75.47, 689.1), (81.78, 760.0)]
CERTIFIED = np.array([2.3894212918e02, 5.5015643181e-04])
CERTIFIED_SD = np.array([2.7070075241e00, 7.2668688436e-06])
CERTIFIED_RESIDUAL_SD = 1.0187876330e-01


def test_fit__of_the_certified_regression():
    """From NIST's far start (500, 0.0001); six digits are asked for, the slopes are differences. Its standard deviation is the bound with 12 degrees."""
    y, x = np.array(MISRA).T
    scale = np.array([500.0, 1e-4])  # z is the logarithm over the start

    def model(z):
        return scale[0] * np.exp(z[0]) * -np.expm1(-scale[1] * np.exp(z[1]) * x)

    state, point, known = fitted(model, [block_of(y, count=2)], no_prior(2), robust=False, step=1e-4, close=1e-7)
    found = scale * np.exp(state.z)
    np.testing.assert_allclose(found, CERTIFIED, rtol=1e-6)
    np.testing.assert_allclose(known.bound * found, CERTIFIED_SD, rtol=1e-5)
    np.testing.assert_allclose(point.noise[0], CERTIFIED_RESIDUAL_SD, rtol=1e-6)


# ---------------------------------------------------------------- the linear case


def line(count: int = 60):
    time = np.linspace(0.0, 3.0, count)
    return np.column_stack([np.ones(count), time])


def test_fit__of_a_line_with_priors_is_the_posterior_in_closed_form():
    design, noise = line(), 0.4
    y = design @ [0.7, -0.3] + noise * np.random.default_rng(1).standard_normal(60)
    state, _, known = fitted(lambda z: design @ z, [block_of(y, noise, 2)], normal_prior(2), robust=False)
    inverse = np.linalg.inv(design.T @ design / noise**2 + np.eye(2))
    np.testing.assert_allclose(state.z, inverse @ design.T @ y / noise**2, atol=1e-5)
    np.testing.assert_allclose(known.white, inverse, rtol=1e-7)
    np.testing.assert_allclose(known.bound, np.sqrt(np.diag(np.linalg.inv(design.T @ design / noise**2))), rtol=1e-7)


def test_fit__scatter_of_estimates_is_the_cramer_rao_bound():
    """150 realisations: their sum of squares over the bound's covariance is chi-square with 300 degrees; intervals of 90 % cover as often as they say."""
    design, noise, true, count = line(), 0.5, np.array([1.2, -0.4]), 150
    rng = np.random.default_rng(7)
    squares, inside = 0.0, 0
    for _ in range(count):
        y = design @ true + noise * rng.standard_normal(60)
        state, _, known = fitted(lambda z: design @ z, [block_of(y, noise, 2)], no_prior(2), robust=False, close=0.01)
        miss = state.z - true
        squares += miss @ np.linalg.solve(known.white, miss)
        inside += np.sum(np.abs(miss) < 1.6449 * np.sqrt(np.diag(known.white)))
    assert chi2.ppf(0.001, 2 * count) < squares < chi2.ppf(0.999, 2 * count)
    assert abs(inside / (2 * count) - 0.9) < 3.3 * math.sqrt(0.09 / count)  # the two parameters of a fit go together: half as many count


def test_fit__two_logs_share_some_parameters_and_have_others_of_their_own():
    """A slope of both, an offset of each: the normal equations written out."""
    design = line(40)
    rng = np.random.default_rng(3)
    y = [design @ [0.5, 1.0] + 0.1 * rng.standard_normal(40), design @ [-2.0, 1.0] + 0.1 * rng.standard_normal(40)]
    blocks = [Block("a", y[0][:, None], np.array([0.1]), np.array([0, 1])), Block("b", y[1][:, None], np.array([0.1]), np.array([0, 2]))]
    functions = [lambda z: z[1] + z[0] * design[:, 1], lambda z: z[2] + z[0] * design[:, 1]]
    state, _, known = fitted(functions, blocks, no_prior(3), robust=False)
    whole = np.zeros((80, 3))
    whole[:40, [1, 0]], whole[40:, [2, 0]] = design, design
    np.testing.assert_allclose(state.z, np.linalg.lstsq(whole, np.concatenate(y), rcond=None)[0], atol=1e-6)
    np.testing.assert_allclose(known.white, 0.01 * np.linalg.inv(whole.T @ whole), rtol=1e-6)


# ---------------------------------------------------------------- drag of a coast in closed form


def coast(time, drag, v0=95.0, terminal=110.0, g=9.80665):
    """Return the speed of a body coasting straight up in air that does not thin: v_t tan(atan(v0/v_t) - g t/v_t), with v_t^2 falling as drag rises."""
    v = terminal / np.sqrt(drag)
    return v * np.tan(np.arctan(v0 / v) - g * time / v)


def test_fit__drag_of_a_coast():
    """Drag and the speed at burnout from the speed of a coast; the bound is that of the closed form's own derivatives, by complex steps."""
    time, noise = np.linspace(0.0, 6.0, 121), 0.3
    y = coast(time, 1.17) + noise * np.random.default_rng(11).standard_normal(121)

    def model(z):
        return coast(time, 1.0 + 0.1 * z[0], 95.0 + 2.0 * z[1])

    state, point, known = fitted(model, [block_of(y, count=2)], no_prior(2), robust=False, close=1e-5)
    at, step = (1.0 + 0.1 * state.z[0], 95.0 + 2.0 * state.z[1]), 1e-30
    slopes = np.column_stack([coast(time, at[0] + 1j * step, at[1]).imag / step, coast(time, at[0], at[1] + 1j * step).imag / step])
    bound = np.sqrt(np.diag(np.linalg.inv(slopes.T @ slopes))) * point.noise[0][0]
    np.testing.assert_allclose(known.bound * [0.1, 2.0], bound, rtol=1e-4)
    assert abs(at[0] - 1.17) < 3.0 * bound[0] and abs(at[1] - 95.0) < 3.0 * bound[1]
    assert abs(point.noise[0][0] / noise - 1.0) < 3.0 / math.sqrt(2.0 * 119)  # three standard errors of a standard deviation


# ---------------------------------------------------------------- noise, its colour, outliers


def ar1(rng, count: int, rho: float) -> np.ndarray:
    e = rng.standard_normal(count) * math.sqrt(1.0 - rho**2)
    out = np.empty(count)
    out[0] = rng.standard_normal()
    for k in range(1, count):
        out[k] = rho * out[k - 1] + e[k]
    return out


def test_colour__of_noise_of_first_order_is_known_in_closed_form():
    """(1 + rho)/(1 - rho) samples are worth one: 9 at rho = 0.8; white noise stays at one."""
    rng = np.random.default_rng(5)
    found = [colour_of(ar1(rng, 4000, 0.8))[0] for _ in range(20)]
    assert abs(np.mean(found) - 9.0) < 1.0  # its scatter of one series is some 1.3, cut sums lean low
    assert np.mean([colour_of(rng.standard_normal(1000))[0] for _ in range(50)]) < 1.1
    assert whiteness(ar1(rng, 400, 0.8)) < 1e-6


def test_covariance__counts_the_colour_of_the_residuals():
    """A mean in noise of first order: its variance is sigma^2/n (1 + rho)/(1 - rho), nine times that of white-noise theory; estimates scatter so."""
    rng, count, rho = np.random.default_rng(8), 1000, 0.8
    estimates, sds, whites = [], [], []
    for _ in range(60):
        y = 0.5 + 0.2 * ar1(rng, count, rho)
        state, point, known = fitted(lambda z: np.full(count, z[0]), [block_of(y)], no_prior(1), robust=False, close=0.01)
        estimates.append(state.z[0])
        sds.append(math.sqrt(known.covariance[0, 0]))
        whites.append(point.noise[0][0] / math.sqrt(count))
    exact = 0.2 / math.sqrt(count) * math.sqrt((1.0 + rho) / (1.0 - rho))
    assert abs(np.mean(sds) / exact - 1.0) < 0.12
    assert np.mean(whites) < 0.4 * exact  # what white-noise theory promises
    assert chi2.ppf(0.001, 60) < np.sum((np.array(estimates) - 0.5) ** 2) / exact**2 < chi2.ppf(0.999, 60)


def test_covariance__columns_that_say_the_same_count_once():
    """Two columns with the same errors know no more than one: the correlations between columns are counted."""
    rng, y = np.random.default_rng(2), None
    y = 0.3 + 0.1 * rng.standard_normal(500)
    one = fitted(lambda z: np.full(500, z[0]), [block_of(y, 0.1)], no_prior(1), robust=False)[2]
    both = fitted(lambda z: np.full((500, 2), z[0]), [block_of(np.column_stack([y, y]), 0.1)], no_prior(1), robust=False)[2]
    assert abs(both.covariance[0, 0] / one.covariance[0, 0] - 1.0) < 0.02
    np.testing.assert_allclose(both.white, one.white / 2.0, rtol=0.02)


def test_flown_noise__of_a_line_is_known_in_closed_form():
    """A common noise looks like the line itself and leaves no residual. Its moves are those of as many refits; with it the covariance is that of theory.

    The second statement stacks the prior under the readings and solves by orthogonal factors; the covariance is G S' W (noise^2 + u u') W S G + G G.
    """
    design, noise, size = line(), 0.2, np.array([0.9, -1.4, 0.3, 2.1])
    common = design @ [0.6, 0.3]
    y = design @ [0.7, -0.3] + noise * np.random.default_rng(5).standard_normal(60)
    block = block_of(y, noise, 2)
    state, point, known = fitted(lambda z: design @ z, [block], normal_prior(2), robust=False)
    noisy = [(design @ state.z + 0.05 * one * common)[:, None] for one in size]
    found = flown_moves([block], point, state.colour, known.white, [noisy])
    stacked = np.vstack([design / noise, np.eye(2)])
    first, *others = (np.linalg.lstsq(stacked, np.append((y + 0.05 * one * common) / noise, [0.0, 0.0]), rcond=None)[0] for one in (0.0, *size))
    np.testing.assert_allclose(found, np.array(others) - first, atol=1e-6)
    v = known.white @ design.T @ common * 0.05 / noise**2
    np.testing.assert_allclose(mean_square(found), np.mean(size**2) * np.outer(v, v), rtol=1e-5)
    whole = known_of([block], normal_prior(2), point, state.colour, np.ones(2, dtype=bool), mean_square(found))
    np.testing.assert_allclose(whole.covariance, known.covariance + mean_square(found))


def test_flown_noise__intervals_hold_where_quiet_ones_do_not():
    """A mean of 50 readings that all share an error of 0.5: quiet intervals of 90 % hold in some 15 %, with 16 noisy flights as often as they say."""
    rng, trials, inside = np.random.default_rng(12), 100, np.zeros(2)
    for _ in range(trials):
        y = 0.5 * rng.standard_normal() + 0.3 * rng.standard_normal(50)
        block = block_of(y, 0.3)
        state, point, known = fitted(lambda z: np.full(50, z[0]), [block], no_prior(1), robust=False)
        noisy = [np.full((50, 1), state.z[0] + 0.5 * one) for one in rng.standard_normal(16)]
        flown = mean_square(flown_moves([block], point, state.colour, known.white, [noisy]))
        inside += [abs(state.z[0]) < 1.645 * math.sqrt(variance) for variance in (known.covariance[0, 0], known.covariance[0, 0] + flown[0, 0])]
    assert inside[0] < 0.3 * trials
    assert binom.ppf(0.001, trials, 0.88) <= inside[1] <= binom.ppf(0.999, trials, 0.9)  # of Student's t with 16 degrees 1.645 hold 88 %


def test_row_scales__are_the_errors_of_both_together():
    """Flights that scatter by 0.3 in the later half, beside a stated error of 0.4: 0.5 there, 1.25 times; not stated, the middle scatter is it."""
    sides, late = np.array([1.0, -1.0, 1.0, -1.0]), (np.arange(40) >= 20) * 0.3
    noisy = [7.0 + one * np.column_stack([late, np.full(40, 0.2), np.zeros(40)]) for one in sides]
    found = row_scales(np.full((40, 3), 7.0), noisy, np.array([0.4, np.nan, np.nan]))
    np.testing.assert_allclose(found[:18, 0], 1.0)
    np.testing.assert_allclose(found[22:, 0], 1.25)
    np.testing.assert_allclose(found[:, 1:], [[np.sqrt(2.0), 1.0]] * 40)
    np.testing.assert_array_equal(row_scales(np.full((40, 3), 7.0), [], np.full(3, np.nan)), np.ones((40, 3)))


def test_slopes__of_rough_flights_are_no_information():
    """Of flights that differ by chance alone, less than a third of the differences' square is left; a smooth one keeps all, one with chance on it its own."""
    below, base, above = 0.3 * np.random.default_rng(3).standard_normal((3, 400, 2))
    chance = sure_of((above - below) / 0.4, (above + below - 2.0 * base) / 0.4)
    assert np.mean(chance**2) < np.mean(((above - below) / 0.4) ** 2) / 3.0
    smooth = np.full((400, 2), 2.0)
    np.testing.assert_array_equal(sure_of(smooth, np.zeros((400, 2))), smooth)
    whole = sure_of(smooth + 0.1 * (above - below), 0.1 * (above + below - 2.0 * base))
    assert abs(np.mean(whole) - 2.0) < 0.02


def test_turns__that_go_nowhere_end_a_round():
    """Costs that stand still under steps that stay as long; not where steps shrink, nor where the cost still falls."""
    assert stands_still([(9.0, 5.0), (5.001, 0.8), (5.0, 0.7), (5.0, 0.8), (5.0, 0.75)])
    assert not stands_still([(5.0, 0.8), (5.0, 0.1), (5.0, 0.01), (5.0, 1e-3)])
    assert not stands_still([(5.3, 0.8), (5.2, 0.8), (5.1, 0.8), (5.0, 0.8)]) and not stands_still([(5.0, 0.8)] * 3)


def test_noise__a_stated_error_holds_until_residuals_are_larger_by_more_than_chance():
    design, rng = line(200), np.random.default_rng(4)
    small = fitted(lambda z: design @ z, [block_of(design @ [1.0, 1.0] + 0.1 * rng.standard_normal(200), 0.1, 2)], no_prior(2))[1]
    large = fitted(lambda z: design @ z, [block_of(design @ [1.0, 1.0] + 0.3 * rng.standard_normal(200), 0.1, 2)], no_prior(2))[1]
    assert small.noise[0][0] == 0.1
    assert abs(large.noise[0][0] / 0.3 - 1.0) < 0.16  # three standard errors: 3/sqrt(2 198)


def test_outliers__pull_no_harder_than_three_standard_deviations():
    """A twentieth of the readings is 5 off: the mean moves by 0.25, the robust one by no more than 3 sigma a reading."""
    rng = np.random.default_rng(6)
    y = 0.1 * rng.standard_normal(400)
    y[100:120] += 5.0
    plain = fitted(lambda z: np.full(400, z[0]), [block_of(y, 0.1)], no_prior(1), robust=False)[0]
    state, point, _ = fitted(lambda z: np.full(400, z[0]), [block_of(y, 0.1)], no_prior(1))
    assert plain.z[0] == pytest.approx(y.mean(), abs=1e-6)
    assert abs(state.z[0]) < 0.4 * plain.z[0]
    assert (point.weights[0][100:120] < 0.9).all() and np.mean(point.weights[0][:100]) > 0.99


# ---------------------------------------------------------------- what cannot be separated


def test_directions__of_two_parameters_of_which_only_the_difference_is_seen():
    """y depends on z0 - z1 alone: along (1, 1) the data see nothing, along (1, -1) twice n/sigma^2, in units of the prior."""
    time = np.linspace(1.0, 2.0, 50)
    y = 0.4 * time + 0.1 * np.random.default_rng(9).standard_normal(50)
    _, _, known = fitted(lambda z: time * (z[0] - z[1]), [block_of(y, 0.1, 2)], normal_prior(2), robust=False)
    np.testing.assert_allclose(known.information, [0.0, 2.0 * np.sum(time**2) / 0.01], rtol=1e-6, atol=1e-6)
    np.testing.assert_allclose(known.directions[0], np.full(2, math.sqrt(0.5)), rtol=1e-6)
    assert np.isinf(known.bound).all()


def test_directions__what_was_not_asked_for_is_integrated_out():
    """y = z0 + z1 with a prior on z1: the data's information of z0 is 1/(sigma^2/n + 1), the prior's width of z1 counts as noise of all readings."""
    y = 0.2 * np.random.default_rng(10).standard_normal(30)
    blocks, prior = [block_of(y, 0.2, 2)], normal_prior(2)
    _, point, known = fitted(lambda z: np.full(30, z[0] + z[1]), blocks, prior, asked=[True, False], robust=False)
    np.testing.assert_allclose(known.information, [1.0 / (0.04 / 30.0 + 1.0)], rtol=1e-6)
    np.testing.assert_allclose(bound_of(blocks, point, prior, np.array([True, False]))[0], math.sqrt(0.04 / 30.0 + 1.0), rtol=1e-6)
    assert directions_of(known.white, prior, np.array([True, False]))[0].shape == (1, 1)


# ---------------------------------------------------------------- the way there


def test_fit__stays_within_its_cuts():
    state, _, _ = fitted(lambda z: np.full(30, z[0]), [block_of(np.full(30, -2.0), 0.1)], no_prior(1)._replace(low=np.array([-0.5])), robust=False)
    assert state.z[0] == -0.5


def test_fit__goes_on_from_any_turn_to_the_same_bits():
    y, x = np.array(MISRA).T
    blocks = [block_of(y, count=2)]

    def model(asked):
        return [(500.0 * np.exp(z[0]) * -np.expm1(-1e-4 * np.exp(z[1]) * x))[:, None] for _, z in asked]

    turns: list[State] = []
    how = Settings(step=1e-3)
    end, _ = solved(model, blocks, no_prior(2), start_of(blocks, np.zeros(2), how), how, lambda state, point: turns.append(state))
    assert len(turns) > 5
    for middle in (turns[1], turns[len(turns) // 2], turns[-1]):
        again, _ = solved(model, blocks, no_prior(2), middle, Settings(step=1e-3))
        assert np.array_equal(again.z, end.z) and again.history == end.history


def test_fit__samples_that_a_flight_does_not_answer_are_left_out():
    """A flight that ends sooner the larger its parameter: what both sides answer counts."""
    time = np.linspace(0.0, 4.0, 81)

    def model(z):
        return np.where(time < 3.5 - 0.1 * z[0], (1.0 + 0.1 * z[0]) * time, np.nan)

    y = np.where(time < 3.3, 1.2 * time, np.nan)
    state, point, _ = fitted(model, [block_of(y, 0.01)], no_prior(1), robust=False, step=0.1)
    assert state.z[0] == pytest.approx(2.0, abs=0.02)
    assert np.isfinite(point.slopes[0].residual).sum() < 67
