"""Nose profiles, fin planforms and the stack."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mass_samples import booster, segment_of, sustainer
from scipy.integrate import quad

from sixdof.mission.tables import Fins, Nose, Stage, Tube
from sixdof.vehicle.geometry import outward, planform, ring_angles, shape_of

ROUNDING = 1e-12  # relative: a few hundred operations in float64
QUAD_ERROR = 1e-9  # relative: what adaptive quadrature reaches at a profile's square-root or power end
POLYGON_ERROR = 4e-6  # relative: the ellipse is a polygon of quarter degrees, pi^2/(6 720^2) short in area


def nose(**numbers) -> Nose:
    return Nose(mass=0.1, **numbers)


def tube(length: float, diameter: float) -> Tube:
    return Tube(length=length, diameter=diameter, mass=0.1)


NOSES = [
    nose(shape="cone", length=0.3, diameter=0.1),
    nose(shape="tangent-ogive", length=0.3, diameter=0.1),
    nose(shape="tangent-ogive", length=0.05, diameter=0.1),
    nose(shape="secant-ogive", length=0.3, diameter=0.1, ogive_radius=2.0),
    nose(shape="ellipsoid", length=0.3, diameter=0.1),
    nose(shape="parabola", length=0.3, diameter=0.1, fullness=1.0),
    nose(shape="parabola", length=0.3, diameter=0.1, fullness=0.5),
    nose(shape="power", length=0.3, diameter=0.1, exponent=0.5),
    nose(shape="power", length=0.3, diameter=0.1, exponent=0.2),
    nose(shape="haack", length=0.3, diameter=0.1, haack_c=0.0),
    nose(shape="haack", length=0.3, diameter=0.1, haack_c=1.0 / 3.0),
]


def fins(**numbers) -> Fins:
    return Fins(**{"thickness": 0.003, "mass": 0.2, **numbers})


WORKED = fins(count=4, station=0.86, root_chord=0.14, tip_chord=0.06, semispan=0.08, tip_offset=0.07)


def fins_on_tube(part: Fins):
    return shape_of([Stage(name="a", part=(tube(1.0, 0.066), part))]).fins[0]


@pytest.mark.parametrize("part", NOSES, ids=lambda part: f"{part.shape}-{part.length}")
def test_nose__starts_at_the_tip_widens_and_meets_its_base(part):
    segment = segment_of(part)
    radius = segment.radius(np.linspace(0.0, part.length, 501))
    assert radius[0] == 0.0
    assert radius[-1] == pytest.approx(0.05, rel=ROUNDING)
    assert np.all(np.diff(radius) >= -1e-15)
    assert segment.radius(-1.0) == 0.0 and segment.radius(9.0) == pytest.approx(0.05, rel=ROUNDING)


@pytest.mark.parametrize("part", NOSES, ids=lambda part: f"{part.shape}-{part.length}")
@pytest.mark.parametrize("fore", [0.0, 1e-4, 0.02])
def test_quadrature__matches_adaptive_quadrature(part, fore):
    segment = segment_of(part)
    x, weight = segment.quadrature(fore)
    for power in (1, 2, 4):
        # x = L sin^2(t): removes the ends' square roots for the adaptive rule as well
        def integrand(t):
            station = part.length * math.sin(t) ** 2
            return float(segment.radius(station)) ** power * station * part.length * math.sin(2.0 * t)

        start = math.asin(math.sqrt(fore / part.length))
        wanted = quad(integrand, start, 0.5 * math.pi, epsabs=0.0, epsrel=1e-11, limit=400)[0]
        assert weight @ (segment.radius(x) ** power * x) == pytest.approx(wanted, rel=QUAD_ERROR)


def test_ogives__are_arcs_and_the_flattest_secant_is_a_cone():
    x = np.linspace(0.0, 0.3, 40)
    tangent = segment_of(nose(shape="tangent-ogive", length=0.3, diameter=0.1)).radius(x)
    np.testing.assert_allclose(np.hypot(0.3 - x, tangent + 0.875), 0.925, rtol=ROUNDING)  # rho = (R^2 + L^2)/(2 R)
    same = nose(shape="secant-ogive", length=0.3, diameter=0.1, ogive_radius=0.925)
    np.testing.assert_allclose(segment_of(same).radius(x), tangent, rtol=1e-9, atol=1e-15)
    flat = nose(shape="secant-ogive", length=0.3, diameter=0.1, ogive_radius=1e6)
    # the arc of radius rho rises L^2/(8 rho) = 1e-8 m above its chord
    np.testing.assert_allclose(segment_of(flat).radius(x), 0.05 * x / 0.3, atol=2e-8)


def test_fins__trapezoid_matches_the_closed_forms():
    fin = fins_on_tube(WORKED)
    # barrowman.md, worked example: area 0.008, y_MA 0.03466667, X_f 0.0566667 (quarter chord of the mean chord), AR 1.6
    assert fin.area == pytest.approx(0.008, rel=ROUNDING)
    assert fin.y_mac == pytest.approx(0.034666666666666665, rel=ROUNDING)
    assert fin.x_mac_le + 0.25 * fin.mac == pytest.approx(0.17 / 3.0, rel=ROUNDING)
    assert fin.aspect_ratio == pytest.approx(1.6, rel=ROUNDING)
    assert math.cos(fin.midchord_sweep) == pytest.approx(0.93632918, abs=5e-9)  # printed to 8 digits
    assert fin.mean_chord == pytest.approx(0.1, rel=ROUNDING)
    assert fin.body_radius == 0.033 and fin.x0 == 0.86 and (fin.root_chord, fin.span) == (0.14, 0.08)
    np.testing.assert_allclose(fin.chord([0.0, 0.04, 0.08, 0.2]), [0.14, 0.10, 0.06, 0.06], rtol=1e-9)
    np.testing.assert_allclose(fin.leading_edge([0.0, 0.04, 0.08]), [0.0, 0.035, 0.07], rtol=1e-9, atol=1e-15)


def test_fins__polygon_of_the_trapezoid_is_the_trapezoid():
    points = ((0.0, 0.0), (0.035, 0.04), (0.07, 0.08), (0.13, 0.08), (0.14, 0.0))
    polygon = fins_on_tube(fins(count=4, station=0.86, outline="polygon", points=points))
    fin = fins_on_tube(WORKED)
    for name in ("area", "root_chord", "span", "mac", "y_mac", "x_mac_le", "midchord_sweep", "aspect_ratio"):
        assert getattr(polygon, name) == pytest.approx(getattr(fin, name), rel=1e-9), name


def test_fins__ellipse_matches_the_closed_forms():
    fin = fins_on_tube(fins(count=3, station=0.5, outline="ellipse", root_chord=0.14, semispan=0.08))
    assert fin.area == pytest.approx(math.pi * 0.14 * 0.08 / 4.0, rel=POLYGON_ERROR)
    assert fin.mac == pytest.approx(8.0 * 0.14 / (3.0 * math.pi), rel=POLYGON_ERROR)
    assert fin.y_mac == pytest.approx(4.0 * 0.08 / (3.0 * math.pi), rel=POLYGON_ERROR)
    assert fin.midchord_sweep == pytest.approx(0.0, abs=1e-12)
    y = np.array([0.0, 0.03, 0.06])
    np.testing.assert_allclose(fin.chord(y), 0.14 * np.sqrt(1.0 - (y / 0.08) ** 2), rtol=1e-4)  # chords of the polygon


def test_fins__triangle_has_no_tip():
    fin = fins_on_tube(fins(count=4, station=0.5, root_chord=0.1, tip_chord=0.0, semispan=0.1, tip_offset=0.1, thickness=0.002))
    assert fin.points.shape == (3, 2)
    assert fin.mac == pytest.approx(2.0 / 3.0 * 0.1, rel=ROUNDING)
    assert fin.y_mac == pytest.approx(0.1 / 3.0, rel=ROUNDING)


@given(st.floats(0.02, 0.3), st.floats(0.0, 0.3), st.floats(0.01, 0.2), st.floats(-0.1, 0.3))
def test_fins__area_is_the_integral_of_the_chord(root, tip, span, sweep):
    fin = fins_on_tube(fins(count=3, station=0.3, root_chord=root, tip_chord=tip, semispan=span, tip_offset=sweep, thickness=0.002))
    y = (np.arange(400) + 0.5) / 400.0 * span
    assert np.sum(fin.chord(y)) * span / 400.0 == pytest.approx(fin.area, rel=1e-9)  # the midpoint rule is exact here
    assert fin.mean_chord - 1e-12 <= fin.mac <= max(root, tip) + 1e-12
    assert 0.0 < fin.y_mac < span


def test_ring__goes_clockwise_from_plus_z_seen_from_behind():
    y, z = outward(ring_angles(4, 0.0))
    np.testing.assert_allclose(z, [1.0, 0.0, -1.0, 0.0], atol=1e-15)
    # from behind, y is right and z is down: clockwise from below is to the left
    np.testing.assert_allclose(y, [0.0, -1.0, 0.0, 1.0], atol=1e-15)


def test_stack__stations_run_on_from_stage_to_stage():
    shape = shape_of([sustainer(), booster()])
    np.testing.assert_allclose(shape.stage_x0, (0.0, 1.10), rtol=ROUNDING)
    assert shape.length == pytest.approx(1.66, rel=ROUNDING)
    assert shape.diameter == 0.10 and shape.area == pytest.approx(math.pi * 0.0025, rel=ROUNDING)
    assert [fin.stage for fin in shape.fins] == [0, 1]
    assert shape.fins[1].x0 == pytest.approx(1.48, rel=ROUNDING) and shape.fins[1].body_radius == 0.05
    np.testing.assert_allclose(shape.radius([-0.1, 0.5, 1.13, 1.5, 1.7]), [0.0, 0.033, 0.0415, 0.05, 0.0], rtol=1e-12)


def test_radius__at_a_step_is_the_aft_part_s():
    shape = shape_of([Stage(name="a", part=(tube(1.0, 0.06), tube(1.0, 0.08)))])
    assert shape.radius(1.0) == 0.04


def test_planform__of_cone_and_cylinder():
    parts = (nose(shape="cone", length=0.3, diameter=0.1), tube(0.7, 0.1))
    area, first, second = planform(shape_of([Stage(name="a", part=parts)]))
    assert area == pytest.approx(0.3 * 0.05 + 0.07, rel=ROUNDING)
    assert first == pytest.approx(0.015 * 0.2 + 0.07 * 0.65, rel=ROUNDING)
    cone, cylinder = 0.1 / 0.3 * 0.3**4 / 4.0, 0.1 * (1.0 - 0.3**3) / 3.0
    assert second == pytest.approx(cone + cylinder, rel=ROUNDING)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda: segment_of(nose(shape="tangent-ogive", length=0.04, diameter=0.1)), "at least half its diameter"),
        (lambda: shape_of([Stage(name="empty", part=())]), "has no body"),
    ],
)
def test_shape__bad_input_is_told(make, words):
    with pytest.raises(ValueError, match=words):
        make()
