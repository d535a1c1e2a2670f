"""Circles, ellipses and contours around scattered places against exact values, closed forms and how often they hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from matplotlib.path import Path
from scipy.stats import gaussian_kde

from sixdof.study.uncertainty.scatter_region import circular_error, containment_contour, containment_ellipse, ellipse_factor, normal_circular_error

PRINTED = 1e-9  # relative: the digits printed below
# Rayleigh: sqrt(-2 ln(1 - p)), in closed form
RAYLEIGH = {0.5: 1.177410022515, 0.9: 2.145966026289, 0.95: 2.447746830681, 0.99: 3.034854258770, 0.997: 3.408560690472}
# (sigma x, sigma y), bias -> CEP and R95, numerical integral by mpmath 1.4.1
RADII = {
    ((1.0, 1.0), 0.0): (1.177410022516, 2.447746830681),
    ((100.0, 80.0), 0.0): (105.769258225, 223.028728565),
    ((100.0, 10.0), 0.0): (68.1985088272, 196.252959676),
    ((100.0, 100.0), 50.0): (125.158018612, 259.166065145),
    ((100.0, 100.0), 100.0): (147.547909179, 293.976255334),
}
# Factors of the 95 % ellipse: for one new point (V. Chew, 1966), for the mean (H. Hotelling, 1931); F by scipy 1.17.1
NEXT = {10: 3.322040189, 30: 2.673951337, 100: 2.510749987, 1000: 2.453879056}
MEAN = {10: 1.001632804, 30: 0.480255838, 100: 0.249828961, 1000: 0.077559699}
# Principal axes of a covariance, computed with mpmath 1.4.1; 95 % semi-axes and area for a known covariance
COVARIANCE = np.array([[10000.0, 1500.0], [1500.0, 2500.0]])  # m^2
SEMI_AXES, ANGLE_DEG, AREA = (248.28496015, 115.09945874), 10.900704743, 89778.75261602826
SIGMA_BAND = 4.0  # standard errors; seeds are fixed: this fails on a wrong formula, not by chance


def exact_sample(n, covariance, mean=(0.0, 0.0)):
    """East and north of a sample whose own mean and covariance are exactly those asked for."""
    rows = np.random.default_rng(1).normal(size=(n, 2))
    rows -= rows.mean(axis=0)
    rows = rows @ np.linalg.inv(np.linalg.cholesky(np.cov(rows, rowvar=False))).T
    return (rows @ np.linalg.cholesky(covariance).T + mean).T


# ---------------------------------------------------------------- circles


@pytest.mark.parametrize(("case", "wanted"), RADII.items())
def test_normal_circular_error__elliptical_and_biased(case, wanted):
    sigmas, bias = case
    for share, exact in zip((0.5, 0.95), wanted, strict=True):
        assert normal_circular_error(np.diag(np.square(sigmas)), (bias, 0.0), share) == pytest.approx(exact, rel=PRINTED)


@pytest.mark.parametrize(("share", "k"), RAYLEIGH.items())
def test_normal_circular_error__rayleigh(share, k):
    assert normal_circular_error(np.eye(2), share=share) == pytest.approx(k, rel=PRINTED)
    assert ellipse_factor(10, share, "normal") == pytest.approx(k, rel=PRINTED)


@given(st.floats(-3.0, 0.0), st.floats(-3.0, 3.0), st.floats(0.0, 6.3), st.floats(0.01, 0.99))
def test_normal_circular_error__turns_and_scales(thin, far, angle, share):
    turn = np.array([[math.cos(angle), -math.sin(angle)], [math.sin(angle), math.cos(angle)]])
    covariance, bias = np.diag([1.0, 10.0 ** (2.0 * thin)]), np.array([10.0**far, 0.3])
    straight = normal_circular_error(covariance, bias, share)
    turned = normal_circular_error(100.0 * turn @ covariance @ turn.T, 10.0 * turn @ bias, share)
    assert turned == pytest.approx(10.0 * straight, rel=1e-7)  # eigenvectors of a thin covariance round


def test_normal_circular_error__far_aim_sees_a_distance_with_one_deviation():
    # at a bias of 1e4 deviations the circle is straight: half of the places lie nearer than the mean, up to s^2/(2 b)
    assert normal_circular_error(np.eye(2), (1e4, 0.0)) == pytest.approx(1e4 + 0.5e-4, abs=1e-6)


def test_circular_error__interval_holds_the_exact_radius():
    rng, trials, n = np.random.default_rng(5), 1000, 40
    exact = normal_circular_error(np.diag([100.0**2, 40.0**2]), (30.0, 0.0), 0.5)
    held = 0
    for _ in range(trials):
        found = circular_error(*(rng.normal(size=(2, n)) * [[100.0], [40.0]] + [[30.0], [0.0]]), about=(0.0, 0.0))
        held += found.low <= exact <= found.high
    assert 0.9 - SIGMA_BAND * math.sqrt(0.09 / trials) < held / trials < 0.97  # discrete: 91.9 % or so by the binomial


def test_circular_error__order_statistics_and_places_missing():
    east = np.r_[np.arange(1.0, 101.0), math.nan]
    found = circular_error(east, np.zeros(101), 0.95, about=(0.0, 0.0))
    assert (found.estimate, found.low, found.high) == (95.0, 91.0, 99.0)  # P[Bin(100, 0.95) <= 90], ... <= 98
    assert circular_error(east, np.zeros(101), 0.99, about=(0.0, 0.0)).high == math.inf
    assert circular_error([5.0], [5.0]) == (0.0, 0.0, math.inf)  # about itself; an unknown lower end is the centre


# ---------------------------------------------------------------- ellipse


@pytest.mark.parametrize(("kind", "factors"), [("next", NEXT), ("mean", MEAN)])
def test_ellipse_factor__finite_samples(kind, factors):
    for n, factor in factors.items():
        assert ellipse_factor(n, 0.95, kind) == pytest.approx(factor, rel=2e-9)  # ten digits, fewer of small ones


def test_containment_ellipse__of_a_known_covariance():
    e = containment_ellipse(*exact_sample(50, COVARIANCE, (300.0, -40.0)), 0.95, "normal")
    assert (float(e.semi_major), float(e.semi_minor)) == pytest.approx(SEMI_AXES, rel=PRINTED)
    assert float(e.area) == pytest.approx(AREA, rel=PRINTED)
    assert math.degrees(float(e.angle)) == pytest.approx(ANGLE_DEG, rel=PRINTED)
    assert (float(e.centre_x), float(e.centre_y)) == pytest.approx((300.0, -40.0), rel=1e-12)
    assert (int(e.used), int(e.dropped)) == (50, 0)


def test_containment_ellipse__of_the_mean_holds_it_as_often_as_it_says():
    rng, trials, n, inside = np.random.default_rng(6), 2000, 8, 0
    for _ in range(trials):
        e = containment_ellipse(*(rng.normal(size=(2, n)) * [[3.0], [1.0]]), 0.8, "mean")
        c, s = math.cos(float(e.angle)), math.sin(float(e.angle))
        east, north = -float(e.centre_x), -float(e.centre_y)
        u, v = (east * c + north * s) / float(e.semi_major), (-east * s + north * c) / float(e.semi_minor)
        inside += u * u + v * v <= 1.0
    assert abs(inside / trials - 0.8) < SIGMA_BAND * math.sqrt(0.16 / trials)


def test_containment_ellipse__without_width_on_a_line_and_at_one_place():
    line = containment_ellipse(np.arange(10.0), 2.0 * np.arange(10.0))
    assert float(line.semi_minor) == pytest.approx(0.0, abs=1e-6) and math.tan(float(line.angle)) == pytest.approx(2.0)
    assert float(containment_ellipse(np.ones(5), np.ones(5)).semi_major) == 0.0


# ---------------------------------------------------------------- contour


def inside(region, east, north):
    """Return how many polygons' interiors a place lies in, even-odd: 1 in the region, 0 in a hole or outside."""
    rows = np.column_stack([east, north])
    return sum(Path(p).contains_points(rows).astype(int) for p in region.polygons) % 2 == 1


def ring(n):
    rng = np.random.default_rng(9)
    angle = rng.uniform(0.0, 2.0 * math.pi, n)
    return (500.0 + rng.normal(0.0, 20.0, n)) * np.array([np.cos(angle), np.sin(angle)])


def blobs(n):
    return np.random.default_rng(10).normal(size=(2, n)) * 20.0 + np.where(np.arange(n) % 3, 0.0, [[900.0], [400.0]])


@pytest.mark.parametrize("share", [0.1, 0.5, 0.95, 0.999])
@pytest.mark.parametrize(
    "places", [exact_sample(400, COVARIANCE), ring(1000), blobs(600), exact_sample(5, COVARIANCE)], ids=["normal", "ring", "blobs", "five"]
)
def test_containment_contour__holds_its_share_inside_closed_polygons(places, share):
    region = containment_contour(*places, share)
    n = places.shape[1]
    # the contour passes through one place, and cuts grid cells by chords: that moves more to the other side where many have
    # nearly the same density, as along the ring, whose kernels are wider than itself
    assert abs(inside(region, *places).mean() - share) <= 1.0 / n + 0.005
    assert share <= region.share <= share + 1.0 / n + 1e-9
    assert all((p[0] == p[-1]).all() for p in region.polygons)
    assert region.area > 0.0


def test_containment_contour__large_sample_has_the_area_of_the_normal_ellipse():
    region = containment_contour(*exact_sample(200_000, COVARIANCE), 0.95)
    # kernels of n^(-1/6) = 0.13 deviations widen the level a little; the area scatters as the root of 1/n
    assert region.area == pytest.approx(AREA, rel=0.01)
    assert len(region.polygons) == 1


def test_containment_contour__area_takes_off_the_hole_of_a_ring():
    places = ring(4000)
    region = containment_contour(*places, 0.9)
    grid = np.linspace(-900.0, 900.0, 601)
    east, north = (axis.ravel() for axis in np.meshgrid(grid, grid))
    counted = inside(region, east, north).sum() * (grid[1] - grid[0]) ** 2
    assert not inside(region, [0.0], [0.0])[0]
    assert region.area == pytest.approx(counted, rel=0.01)  # cells of 3 m along borders of some 6 km


def test_containment_contour__is_the_level_of_the_exact_kernel_density():
    places = exact_sample(300, COVARIANCE)
    kernel = gaussian_kde(places)
    level = np.sort(kernel(places))[::-1][math.ceil(0.8 * 300) - 1]
    for polygon in containment_contour(*places, 0.8).polygons:
        # cells of an eighth of a kernel: linear sharing and cutting are good to a few (1/8)^2/8
        assert kernel(polygon.T) == pytest.approx(level, rel=0.01)


def test_containment_contour__places_missing_are_counted():
    east, north = exact_sample(50, COVARIANCE)
    whole, gaps = containment_contour(east, north), containment_contour(np.r_[east, math.nan], np.r_[north, 0.0])
    assert (gaps.used, gaps.dropped, gaps.area) == (50, 1, whole.area)


def test_containment_contour__one_far_outlier_does_not_swell_the_grid():
    east, north = exact_sample(20_000, COVARIANCE)
    east[0] = 1e7
    assert containment_contour(east, north, 0.5).used == 20_000


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: containment_contour([1.0, 2.0], [1.0, 5.0]), "at least 3 flights with a place, and this result has 2"),
        (lambda: containment_contour(np.full(9, 7.0), np.full(9, -3.0)), "all came down at the same one"),
        (lambda: containment_contour(np.arange(9.0) / 7.0, np.arange(9.0) / 3.0), "do not all lie on one line"),
        (lambda: containment_contour([], []), "this result has 0"),
        (lambda: containment_contour(*exact_sample(9, COVARIANCE), 95), "share = 95 must lie between 0 and 1"),
        (lambda: containment_ellipse([1.0, 2.0], [1.0, 5.0]), "at least 3 flights"),
        (lambda: containment_ellipse(*exact_sample(9, COVARIANCE), 0.9, "new"), "kind = 'new' must be one of normal, next, mean"),
        (lambda: containment_ellipse([1.0, 2.0], [1.0]), "east and north of the same flights"),
        (lambda: containment_ellipse([1.0, math.inf], [1.0, 2.0]), "1 are infinite"),
        (lambda: ellipse_factor(2, 0.9), "n = 2 must be 3 or more"),
        (lambda: circular_error([math.nan], [1.0]), "at least one flight that came down"),
        (lambda: circular_error([1.0], [1.0], about=(1.0,)), "two numbers"),
        (lambda: normal_circular_error(np.diag([1.0, 0.0])), "scatter in every direction"),
        (lambda: normal_circular_error(np.array([[1.0, 0.5], [0.0, 1.0]])), "symmetric covariance"),
        (lambda: normal_circular_error([1.0, 2.0]), "shape (2, 2)"),
    ],
)
def test_scatter_region__says_what_is_wrong(call, words):
    with pytest.raises(ValueError) as error:
        call()
    assert words in str(error.value)
