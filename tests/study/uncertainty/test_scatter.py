"""Where flights come down: ellipse, contours and circles against computed values of the statistics they rest on."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from hypothesis import given
from hypothesis import strategies as st
from results_by_hand import ensemble_by_hand

from sixdof.results.status import Status
from sixdof.study.uncertainty.scatter import containment, radius
from sixdof.study.uncertainty.scatter_region import ellipse_factor, rank

# Covariance example: eigenvalues and angle, computed with mpmath 1.4.1 and scipy 1.17.1
COVARIANCE = np.array([[10000.0, 1500.0], [1500.0, 2500.0]])  # m^2
SIGMAS = 101.43408503, 47.02261578  # m
ANGLE_DEG = 10.900704743
SEMI_AXES_95 = 248.28496015, 115.09945874  # m, with the factor of a known covariance
PRINTED = 1e-9  # relative: the digits printed above
# Factor of the 95 % ellipse for one new point (V. Chew, 1966), F quantile from scipy 1.17.1
FACTORS = {10: 3.322040189, 30: 2.673951337, 100: 2.510749987, 1000: 2.453879056}
# Radii holding 50 and 95 % about the aim, numerical integral by mpmath 1.4.1: sigmas, bias ->
# (CEP, R95); sqrt(-2 ln(1 - p)) for (1, 1)
RADII = {
    ((1.0, 1.0), 0.0): (1.177410022516, 2.447746830681),
    ((100.0, 80.0), 0.0): (105.769258225, 223.028728565),
    ((100.0, 10.0), 0.0): (68.1985088272, 196.252959676),
    ((100.0, 100.0), 50.0): (125.158018612, 259.166065145),
    ((100.0, 100.0), 100.0): (147.547909179, 293.976255334),
}
SAMPLE = 100_000
SIGMA_BAND = 5.0  # standard errors; the seed is fixed, so this fails on a wrong formula and not by chance


def exact_sample(n: int, covariance, mean=(0.0, 0.0)):
    """A sample whose own mean and covariance are exactly those asked for."""
    rows = np.random.default_rng(1).normal(size=(n, 2))
    rows -= rows.mean(axis=0)
    rows = rows @ np.linalg.inv(np.linalg.cholesky(np.cov(rows, rowvar=False))).T
    return rows @ np.linalg.cholesky(covariance).T + mean


@pytest.mark.parametrize("n", FACTORS)
def test_ellipse_factor__one_new_point(n):
    assert ellipse_factor(n, 0.95) == pytest.approx(FACTORS[n], rel=PRINTED)


def test_ellipse_factor__tends_to_that_of_a_known_covariance():
    assert ellipse_factor(10_000_000, 0.95) == pytest.approx(2.447746830681, rel=1e-6)  # the difference falls as 1/n


@pytest.mark.parametrize("n", [10, 100])
def test_containment__principal_axes_of_a_known_covariance(demo_mission, n):
    e = containment(ensemble_by_hand(demo_mission, exact_sample(n, COVARIANCE, (300.0, -40.0))))
    assert (float(e.sigma_major), float(e.sigma_minor)) == pytest.approx(SIGMAS, rel=PRINTED)
    assert math.degrees(float(e.angle)) == pytest.approx(ANGLE_DEG, rel=PRINTED)
    assert (float(e.centre_x), float(e.centre_y)) == pytest.approx((300.0, -40.0), rel=1e-12)
    known = 2.447746830681  # factor of a known covariance, 95 %
    axes = np.array([float(e.semi_major), float(e.semi_minor)]) * known / FACTORS[n]
    assert axes == pytest.approx(SEMI_AXES_95, rel=PRINTED)
    assert (int(e.used), int(e.dropped)) == (n, 0)


@given(st.floats(-math.pi, math.pi), st.floats(1.5, 20.0))
def test_containment__turns_with_the_places(angle, ratio):
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    e = containment(_bare(exact_sample(20, np.diag([ratio**2, 1.0])) @ turn.T))
    assert math.sin(float(e.angle) - angle) == pytest.approx(0.0, abs=1e-6)  # an axis: equal up to half a turn
    assert -0.5 * math.pi < float(e.angle) <= 0.5 * math.pi
    assert float(e.semi_major / e.semi_minor) == pytest.approx(ratio, rel=1e-9)


def _bare(places):
    n = len(places)
    columns = {"landing_east": places[:, 0], "landing_north": places[:, 1], "status": np.zeros(n, dtype=np.int8)}
    return xr.Dataset({name: ("flight", values) for name, values in columns.items()})


def test_containment__holds_new_points_as_often_as_it_says():
    rng = np.random.default_rng(4)
    inside, trials, n = 0, 2000, 10
    for _ in range(trials):
        rows = rng.normal(size=(n + 1, 2)) * (3.0, 1.0)
        e = containment(_bare(rows[:n]), 0.9)
        c, s = math.cos(float(e.angle)), math.sin(float(e.angle))
        d = rows[n] - (float(e.centre_x), float(e.centre_y))
        u, v = (d[0] * c + d[1] * s) / float(e.semi_major), (-d[0] * s + d[1] * c) / float(e.semi_minor)
        inside += u * u + v * v <= 1.0
    error = math.sqrt(0.9 * 0.1 / trials)
    assert abs(inside / trials - 0.9) < SIGMA_BAND * error


@pytest.mark.parametrize(("case", "wanted"), RADII.items())
def test_radius__exact_values_within_sampling_error(case, wanted):
    sigmas, bias = case
    rows = np.random.default_rng(2).normal(size=(SAMPLE, 2)) * sigmas + (bias, 0.0)
    ds = _bare(rows)
    distance = np.hypot(*rows.T)
    for share, exact in zip((0.5, 0.95), wanted, strict=True):
        # standard error of a sample quantile: sqrt(p (1 - p)/n) over the density there, taken from the sample
        step = 0.02 * exact
        density = np.mean(np.abs(distance - exact) < step) / (2.0 * step)
        error = math.sqrt(share * (1.0 - share) / SAMPLE) / density
        assert abs(radius(ds, share, about=(0.0, 0.0)) - exact) < SIGMA_BAND * error


def test_radius__is_an_order_statistic():
    ds = _bare(np.column_stack([np.arange(1.0, 101.0), np.zeros(100)]))
    assert radius(ds, 0.5, about=(0.0, 0.0)) == 50.0
    assert radius(ds, 0.55, about=(0.0, 0.0)) == 55.0
    assert radius(ds, 0.951, about=(0.0, 0.0)) == 96.0


def test_radius__about_the_mean_where_no_aim_is_given():
    rows = exact_sample(50, np.eye(2), (1000.0, 2000.0))
    assert radius(_bare(rows)) == pytest.approx(radius(_bare(rows - (1000.0, 2000.0)), about=(0.0, 0.0)), rel=1e-9)


@given(st.integers(1, 500), st.floats(0.01, 0.99))
def test_rank__is_the_smallest_that_holds_the_share(n, share):
    k = rank(share, n)
    assert 1 <= k <= n and k / n >= share - 1e-9 and (k == 1 or (k - 1) / n < share)


def test_scatter__failed_flights_are_dropped_and_counted(demo_mission):
    rows = exact_sample(12, COVARIANCE)
    ds = ensemble_by_hand(demo_mission, np.vstack([rows, [[np.nan, np.nan], [1e9, 1e9]]]))
    ds["status"].values[-2:] = Status.OUT_OF_TIME, Status.DIVERGED
    e = containment(ds)
    assert (int(e.used), int(e.dropped)) == (12, 2)
    assert float(e.sigma_major) == pytest.approx(SIGMAS[0], rel=PRINTED)
    assert radius(ds, 0.95) < 1e4


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda ds: containment(ds.isel(flight=slice(0, 2))), "at least 3 flights"),
        (lambda ds: containment(ds, 95.0), "share = 95.0 must lie between 0 and 1"),
        (lambda ds: containment(ds.isel(flight=0)), "takes an ensemble"),
        (lambda ds: containment(ds, x="landing_eats"), "did you mean 'landing_east'"),
        (lambda ds: radius(ds, about=(1.0,)), "two numbers"),
        (lambda ds: radius(ds.assign(landing_east=np.nan * ds["landing_east"])), "at least one flight"),
    ],
)
def test_scatter__says_what_is_wrong(call, words):
    ds = _bare(exact_sample(12, COVARIANCE))
    with pytest.raises(ValueError, match=words.replace("(", r"\(")):
        call(ds)
