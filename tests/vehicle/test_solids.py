"""Solids: walls, parallel axes, fins in a ring, grains."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mass_samples import segment_of

from sixdof.mission.tables import Fins, Nose, Transition, Tube
from sixdof.vehicle.geometry import fin_outline, ring_angles
from sixdof.vehicle.solids import Lump, combine, cylinder, fin_panel, grain_inertia, on_axis, parallel_axis, revolution

ROUNDING = 1e-12  # relative: sums of a hundred terms in float64
WALL_ROUNDING = 1e-10  # relative: a wall is the difference of two solids up to a hundred times its own volume
SLICES = 20000  # of the midpoint rule, which errs by about 1e-8 at a kink


def sliced(segment, wall: float) -> np.ndarray:
    """Return volume, first, second and radial fourth moment of a walled body by plain slicing."""
    x = segment.x0 + segment.length * (np.arange(SLICES) + 0.5) / SLICES
    outer = segment.radius(x)
    inner = np.maximum(outer - wall, 0.0)
    ring = math.pi * (outer**2 - inner**2) * segment.length / SLICES
    return np.array([ring.sum(), ring @ x, ring @ x**2, ring @ (outer**2 + inner**2)])


@pytest.mark.parametrize("wall", [0.0005, 0.004, 0.034, 0.05])
@pytest.mark.parametrize(
    "part",
    [
        Tube(length=0.4, diameter=0.1, mass=1.0),
        Transition(length=0.2, fore_diameter=0.06, aft_diameter=0.1, mass=1.0),
        Transition(length=0.2, fore_diameter=0.1, aft_diameter=0.06, mass=1.0),
        Nose(shape="cone", length=0.3, diameter=0.1, mass=1.0),
        Nose(shape="tangent-ogive", length=0.3, diameter=0.1, mass=1.0),
        Nose(shape="ellipsoid", length=0.3, diameter=0.1, mass=1.0),
        Nose(shape="power", length=0.3, diameter=0.1, exponent=0.4, mass=1.0),
        Nose(shape="haack", length=0.3, diameter=0.1, mass=1.0),
    ],
    ids=lambda part: getattr(part, "shape", part.kind),
)
def test_revolution__walls_match_slicing(part, wall):
    got = revolution(segment_of(part), wall)
    volume, first, second, fourth = sliced(segment_of(part), wall)
    slicing = 2e-6  # relative: the midpoint rule at a square-root tip, r^2 ~ x with a wall ~ sqrt(x)
    assert got.volume == pytest.approx(volume, rel=slicing)
    assert got.centroid == pytest.approx(first / volume, rel=slicing)
    assert got.roll == pytest.approx(0.5 * fourth, rel=slicing)
    transverse = 0.25 * fourth + second - first**2 / volume
    assert got.transverse == pytest.approx(transverse, rel=2e-5)  # the difference of two near numbers


def test_revolution__cone_by_formula_and_by_quadrature_agree():
    cone = revolution(segment_of(Nose(shape="cone", length=0.3, diameter=0.1, mass=1.0)), 0.003)
    power = revolution(segment_of(Nose(shape="power", exponent=1.0, length=0.3, diameter=0.1, mass=1.0)), 0.003)
    np.testing.assert_allclose(cone, power, rtol=WALL_ROUNDING)


def test_revolution__a_wall_thicker_than_the_radius_is_solid():
    segment = segment_of(Nose(length=0.3, diameter=0.1, mass=1.0))
    assert revolution(segment, 0.05) == revolution(segment)


@given(st.sampled_from([0.0, 0.4, 2.5]), st.floats(-2.0, 2.0), st.floats(-2.0, 2.0))
def test_combine__moves_with_the_bodies(shift, y, z):
    bodies = [on_axis(1.0, 0.2, 0.01, 0.02), Lump(3.0, np.array([1.1, 0.1, -0.2]), np.diag([0.02, 0.05, 0.04]))]
    moved = [Lump(lump.mass, lump.place + [shift, y, z], lump.inertia) for lump in bodies]
    here, there = combine(bodies), combine(moved)
    np.testing.assert_allclose(there.place, here.place + [shift, y, z], atol=1e-14)
    np.testing.assert_allclose(there.inertia, here.inertia, atol=1e-13)


def test_combine__product_sign_of_a_mass_aft_and_on_plus_z():
    both = combine([on_axis(1.0, 0.0, 0.1, 0.1), Lump(1.0, np.array([1.0, 0.0, 0.4]), np.zeros((3, 3)))])
    # about the middle: two masses at (x, z) = (0.5, -0.2) and (-0.5, 0.2), x forward: J_xz = -sum m x z = 0.2
    assert both.inertia[0, 2] == pytest.approx(0.2, rel=ROUNDING)


def test_combine__nothing_is_nothing():
    assert combine([]).mass == 0.0


def test_parallel_axis__is_the_definition():
    got = parallel_axis(2.0, (0.3, -0.1, 0.2))
    assert got[0, 1] == pytest.approx(-2.0 * 0.3 * -0.1, rel=ROUNDING)
    assert got[1, 1] == pytest.approx(2.0 * (0.3**2 + 0.2**2), rel=ROUNDING)


OUTLINE = fin_outline(Fins(count=4, station=0.0, root_chord=0.12, tip_chord=0.06, semispan=0.1, tip_offset=0.05, thickness=0.003, mass=0.2))


@pytest.mark.parametrize("count", [3, 4, 5, 8])
def test_fins__a_ring_of_three_or_more_is_axisymmetric(count):
    ring = combine(fin_panel(0.05, OUTLINE, 0.003, 0.9, 0.04, angle) for angle in ring_angles(count, 0.37))
    np.testing.assert_allclose(ring.place[1:], 0.0, atol=1e-15)
    assert ring.inertia[1, 1] == pytest.approx(ring.inertia[2, 2], rel=ROUNDING)
    np.testing.assert_allclose(ring.inertia - np.diag(np.diag(ring.inertia)), 0.0, atol=1e-16)


def test_fins__two_in_a_plane_are_not():
    pair = combine(fin_panel(0.05, OUTLINE, 0.003, 0.9, 0.04, angle) for angle in ring_angles(2, 0.0))
    assert pair.inertia[1, 1] > pair.inertia[2, 2]  # they stand along z


@given(st.floats(-7.0, 7.0))
def test_fins__a_panel_turned_is_the_tensor_turned(angle):
    base, turned = (fin_panel(0.05, OUTLINE, 0.003, 0.9, 0.04, each) for each in (0.0, angle))
    c, s = math.cos(angle), math.sin(angle)
    about_x = np.array([[1.0, 0.0, 0.0], [0.0, c, -s], [0.0, s, c]])
    np.testing.assert_allclose(turned.inertia, about_x @ base.inertia @ about_x.T, atol=1e-17)
    np.testing.assert_allclose(turned.place[1:], about_x[1:, 1:] @ base.place[1:], atol=1e-16)


def test_fins__outline_drawn_the_other_way_round_is_the_same():
    one, other = (fin_panel(0.05, points, 0.003, 0.9, 0.04, 0.3) for points in (OUTLINE, OUTLINE[::-1]))
    np.testing.assert_allclose(other.inertia, one.inertia, rtol=1e-9, atol=1e-18)


@given(st.floats(0.0, 1.0), st.floats(0.0, 0.9))
def test_grain__is_a_tube_of_the_bore_it_has(unburnt, share):
    mass, length, outer = 1.3, 0.4, 0.03
    roll_a, roll_b, pitch_a, pitch_b = grain_inertia(mass, length, outer, share * outer)
    inner = math.sqrt(outer**2 - (1.0 - share**2) * outer**2 * unburnt)
    roll, pitch = cylinder(mass * unburnt, length, outer, inner)
    assert roll_a * unburnt + roll_b * unburnt**2 == pytest.approx(roll, rel=ROUNDING, abs=1e-300)
    assert pitch_a * unburnt + pitch_b * unburnt**2 == pytest.approx(pitch, rel=ROUNDING, abs=1e-300)
