"""Causes of a residual, in worlds that are linear by construction: what is planted is found, amounts come out as far off as their errors say."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import chi2, kstest

from sixdof.postflight.compare.causes import LEAST_GAIN, Cause, Explainer, implausible
from sixdof.postflight.compare.channels import Channel
from sixdof.postflight.compare.patterns import Inputs, Pattern, outside_patterns, unit_of_scale
from sixdof.postflight.compare.segments import Going

FLIGHTS, INPUTS, CELLS = 240, 8, 120
RNG = np.random.default_rng(1)
TIME = np.linspace(0.0, 1.0, CELLS)
TRUE = np.array([np.cos((k + 1) * np.pi * TIME) for k in range(INPUTS)]) / np.sqrt(INPUTS)


def inputs(x: np.ndarray) -> Inputs:
    names = [f"input {k}" for k in range(INPUTS)]
    return Inputs(names, x, np.zeros(INPUTS), np.ones(INPUTS), ["1"] * INPUTS, ["factor"] * INPUTS)


@pytest.fixture(scope="module")
def explainer() -> Explainer:
    x = RNG.standard_normal((FLIGHTS, INPUTS))
    return Explainer(inputs(x), x @ TRUE + 0.4 * RNG.standard_normal((FLIGHTS, CELLS)))


def further(count: int, **moved: float) -> tuple[np.ndarray, np.ndarray]:
    """Return draws and residuals of further flights; moved : number of an input -> its score."""
    x = RNG.standard_normal((count, INPUTS))
    for k, score in moved.items():
        x[:, int(k[1:])] = score
    return x, x @ TRUE + 0.4 * RNG.standard_normal((count, CELLS))


def test_cause__that_is_planted_comes_first(explainer):
    _, residuals = further(20, _3=4.5)
    first = [explainer.causes(residual, explainer.input_patterns())[0] for residual in residuals]
    assert all(cause.pattern.name == "input 3" for cause in first)
    errors = np.array([(cause.amount - 4.5) / cause.error for cause in first if cause.gain >= LEAST_GAIN])
    assert errors.size > 14 and abs(errors.mean()) < 1.0  # the mean of twenty, each of about one


def test_causes__are_found_one_after_the_other(explainer):
    _, residuals = further(1, _1=8.0, _6=-9.0)
    found = explainer.causes(residuals[0], explainer.input_patterns())
    assert {cause.pattern.name for cause in found[:2]} == {"input 1", "input 6"}
    amounts = {cause.pattern.name: cause.amount for cause in found}
    assert amounts["input 1"] == pytest.approx(8.0, abs=0.7) and amounts["input 6"] == pytest.approx(-9.0, abs=0.7)
    assert len(explainer.told()) == INPUTS  # what was freed for it is forgotten


def test_gain__of_a_true_model_is_chi_square(explainer):
    """Of one pattern that has nothing to do with it: one degree of freedom. Slopes that were fitted make it a little larger."""
    _, residuals = further(400)
    other = Pattern("sensor", "other", "1", np.sin(37.0 * TIME) + 0.3)
    gains = np.array([explainer.causes(residual, [other])[0].gain for residual in residuals])
    assert kstest(gains, chi2(1).cdf).statistic < 0.12
    assert np.mean(gains > LEAST_GAIN) < 0.01


def test_told__is_the_posterior_of_a_straight_line(explainer):
    """Second statement: 1/sqrt(1 + |b|^2/r^2) for patterns at right angles to each other."""
    closed = 1.0 / np.sqrt(1.0 + (TRUE**2).sum(axis=1) / 0.4**2)
    np.testing.assert_allclose(explainer.told(), closed, rtol=0.25)


def test_implausible__is_the_tail_of_a_normal_draw():
    cause = Cause(Pattern("input", "drag", "sd", TIME), 16.0, 2.0, 0.3, "")
    assert implausible(cause) == pytest.approx(0.0455, abs=1e-4)
    assert np.isnan(implausible(cause._replace(pattern=Pattern("clock", "clock", "s", TIME))))


# ---------------------------------------------------------------- outside the inputs


def channel(name: str, source: str = "") -> Channel:
    return Channel("", name, "", "m", name, source, np.nan, False)


def going(time: np.ndarray, mach: np.ndarray) -> Going:
    climbing = np.ones(time.size, dtype=bool)
    return Going(time, climbing, mach, np.zeros(time.size), 340.0 * mach, np.full(time.size, 3.0), np.zeros(time.size), np.zeros(time.size, dtype=int))


def test_clock_offset__moves_a_curve_by_its_slope():
    """A curve read 0.02 s late is the curve less 0.02 s times its slope."""
    time = np.linspace(0.0, 4.0, 81)
    mean, spread = np.array([30.0 * time**2]), np.full((1, 81), 5.0)
    patterns = {
        one.name: one for one in outside_patterns(time, mean, mean, spread, [channel("height")], going(time, 0.3 * time / 4.0), np.ones((1, 81), dtype=bool))
    }
    late = (30.0 * (time - 0.02) ** 2 - mean[0]) / 5.0
    offset = next(one for name, one in patterns.items() if "offset" in name)
    np.testing.assert_allclose(0.02 * offset.values[1:-1], late[1:-1], atol=0.003)  # 30 * 0.02^2 / 5
    assert not any("static port" in name for name in patterns)


def test_pressure_error__of_a_barometer_is_a_share_of_the_velocity_head():
    time = np.linspace(0.0, 4.0, 81)
    mach = 1.4 * time / 4.0
    cells = np.ones((1, 81), dtype=bool)
    patterns = outside_patterns(time, np.array([time]), np.array([time]), np.ones((1, 81)), [channel("height", "barometer")], going(time, mach), cells)
    everywhere, transonic = (one for one in patterns if one.kind == "pressure")
    np.testing.assert_allclose(everywhere.values[40], -((340.0 * 0.7) ** 2) / (2.0 * 9.80665))
    assert set(np.flatnonzero(transonic.values)) == set(np.flatnonzero((mach >= 0.8) & (mach <= 1.2)))


@pytest.mark.parametrize(
    "factor, units, words",
    [
        (3.2808, "m", "values are in ft and were read as m"),
        (0.3048, "m", "values are in m and were read as ft"),
        (0.102, "m/s^2", "values are in g and were read as m/s^2"),
        (57.3, "rad/s", "values are in degrees/s and were read as rad/s"),
        (-1.0, "m", "the sign is turned"),
        (3.6, "m", ""),
        (1.1, "m", ""),
    ],
)
def test_unit__is_told_by_its_factor(factor, units, words):
    assert unit_of_scale(factor - 1.0, 0.001, units) == words


def test_unit__is_named_within_two_errors_of_its_factor():
    assert unit_of_scale(2.35, 0.05, "m").startswith("values are in ft") and not unit_of_scale(2.35, 0.01, "m")
    assert unit_of_scale(2.45, 0.2, "m/s") == "values are in ft/s and were read as m/s, or values are in km/h and were read as m/s"


def test_scale__of_a_log_that_deviates_is_its_factor(explainer):
    """(1 + s)(mean + deviation), read back: amounts come out as far off as their errors say."""
    mean, (_, residuals) = 20.0 * (1.0 + TIME), further(60)
    off = []
    for residual in residuals:
        logged = 3.2808 * (mean + residual)
        scale = Pattern("sensor", "height, its scale", "1", mean, 0, "m", logged)
        cause = explainer.causes(logged - mean, [scale])[0]
        off.append((cause.amount - 2.2808) / cause.error)
        np.testing.assert_allclose(logged - mean - cause.put, logged / (1.0 + cause.amount) - mean, atol=1e-9)
    assert abs(np.mean(off)) < 0.5 and 0.7 < np.std(off) < 1.4  # sixty of about one: standard errors 0.13 and 0.09
