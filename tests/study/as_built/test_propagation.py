"""Errors of measurements: against the formula for two scales written out, against numpy's own draws, and a mean of readings against GUM."""

from __future__ import annotations

import math

import numpy as np
import pytest

from sixdof.study.as_built.propagation import Input, mean_of, propagate, unexplained


def scales(at):
    mass = at["fore"] + at["aft"]
    return {"mass": mass, "cg": (at["fore"] * at["x1"] + at["aft"] * at["x2"]) / mass}


FORE, AFT, X1, X2 = 1.2, 0.7, 0.3, 1.1
LOAD, STATION = 0.002, 0.0015


def inputs(load=LOAD, station=STATION):
    return {"fore": Input(FORE, load), "aft": Input(AFT, load), "x1": Input(X1, station), "x2": Input(X2, station)}


def test_propagate__two_scales_by_hand():
    """d cg/d R = (x - cg)/m, d cg/d x = R/m: variances and covariance as they stand in any textbook."""
    mass = FORE + AFT
    cg = (FORE * X1 + AFT * X2) / mass
    found = propagate(scales, inputs())
    assert found.value == pytest.approx([mass, cg], rel=1e-14)
    var_cg = LOAD**2 * ((X1 - cg) ** 2 + (X2 - cg) ** 2) / mass**2 + STATION**2 * (FORE**2 + AFT**2) / mass**2
    both = LOAD**2 * ((X1 - cg) + (X2 - cg)) / mass
    assert found.covariance == pytest.approx(np.array([[2.0 * LOAD**2, both], [both, var_cg]]), rel=1e-6)
    share = dict(zip(found.inputs, found.budget[1]))
    assert share["x1"] == pytest.approx(STATION**2 * FORE**2 / mass**2 / var_cg, rel=1e-6)
    assert found.budget.sum(axis=1) == pytest.approx([1.0, 1.0], rel=1e-12)


def test_propagate__as_numpy_draws_it():
    rng = np.random.default_rng(8)
    n = 200_000
    at = {name: rng.normal(one.value, one.sd, n) for name, one in inputs(0.02, 0.01).items()}
    drawn, found = scales(at), propagate(scales, inputs(0.02, 0.01))
    assert found.sd == pytest.approx([drawn["mass"].std(), drawn["cg"].std()], rel=0.01)  # an sd of so many is known to 0.2 %; second order is 0.1 %
    correlation = found.covariance[0, 1] / np.prod(found.sd)
    assert correlation == pytest.approx(np.corrcoef(drawn["mass"], drawn["cg"])[0, 1], abs=0.01)
    assert found.drawn == pytest.approx(found.sd, rel=0.03)


def test_propagate__draws_tell_what_is_not_linear():
    """The square of what is about zero has no first order: the draws say sd sqrt(2) s^2."""
    found = propagate(lambda at: {"y": at["x"] ** 2}, {"x": Input(0.0, 0.1)})
    assert found.sd[0] == pytest.approx(0.0, abs=1e-12)
    assert found.drawn[0] == pytest.approx(math.sqrt(2.0) * 0.01, rel=0.05)


def test_mean_of__readings_and_display():
    """GUM: of n readings s/sqrt(n), and the step of the display, uniform, which repeated readings share."""
    found = mean_of([1.0, 1.0, 1.0, 1.0], 0.002, 0.001)
    assert found == Input(1.0, pytest.approx(math.sqrt(0.002**2 / 4.0 + 0.001**2 / 12.0)))
    assert mean_of([1.0], 0.002).sd == 0.002


def test_unexplained__scatter_is_rare_where_there_is_none():
    rng = np.random.default_rng(2)
    found = [unexplained(rng.normal(5.0, 0.01, 4), 0.01) is not None for _ in range(2000)]
    assert np.mean(found) == pytest.approx(0.01, abs=0.008)  # one in a hundred by chance, three standard deviations of 2000
    assert unexplained([1.0, 1.2, 0.9], 0.01) == pytest.approx(np.std([1.0, 1.2, 0.9], ddof=1))
    assert unexplained([1.0], 0.0) is None
    assert mean_of([1.0, 1.2, 0.9], 0.01).sd == pytest.approx(np.std([1.0, 1.2, 0.9], ddof=1) / math.sqrt(3.0))
