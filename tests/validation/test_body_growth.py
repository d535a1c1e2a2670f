"""Growth of the body's normal force with Mach against first-order linear theory (tests/support/independent_crossflow.py)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from independent_crossflow import cone_cylinder, ogive_cylinder, slope_of

from sixdof.mission.tables import Nose, Stage, Transition, Tube
from sixdof.vehicle.aero.blend import mach_grid
from sixdof.vehicle.aero.body import body_moments, slender_moments
from sixdof.vehicle.geometry import Shape, shape_of

SLOPE_BAND = 0.35  # 1/rad: one law for cones and ogives, which differ by up to 0.5; tests and theory differ by as much
CENTRE_BAND = 0.8  # diameters; the worst is an ogive of 5 diameters with 10 behind it at Mach 3
DISCRETE = 0.02  # of the marching theory with 80 stations along the nose


def _shape(kind: str, f: float, behind: float, *more) -> Shape:
    parts = Nose(mass=0.1, shape=kind, length=f, diameter=1.0), Tube(mass=0.1, length=behind, diameter=1.0), *more
    return shape_of([Stage.model_construct(name="one", part=parts)])


def test_linear_theory__slender_limit():
    """The independent theory itself: 2 at two thirds of the cone as beta goes to 0."""
    slope, centre = slope_of(1.0005, *cone_cylinder(8.0, 0.001))
    assert slope == pytest.approx(2.0, abs=DISCRETE) and centre == pytest.approx(2.0 / 3.0 * 8.0, rel=DISCRETE)


@pytest.mark.parametrize("kind, body", [("cone", cone_cylinder), ("tangent-ogive", ogive_cylinder)])
@pytest.mark.parametrize("f, behind, mach", [(3, 2, 1.5), (3, 4, 1.5), (3, 4, 2.0), (3, 10, 2.0), (5, 4, 2.0), (5, 10, 3.0)])
def test_growth__within_the_band_of_linear_theory(kind, body, f, behind, mach):
    slope, centre = slope_of(mach, *body(float(f), float(behind)))
    s0, s1, _ = body_moments(_shape(kind, f, behind), np.array([mach]))[0]
    assert s0 == pytest.approx(slope, abs=SLOPE_BAND)
    assert s1 / s0 == pytest.approx(centre, abs=CENTRE_BAND)


def test_growth__nothing_below_mach_08_and_bounded_above():
    moments = body_moments(_shape("tangent-ogive", 3, 8), mach_grid())
    slow = mach_grid() <= 0.8
    np.testing.assert_allclose(moments[slow], np.broadcast_to(slender_moments(_shape("tangent-ogive", 3, 8)), (slow.sum(), 3)))
    assert moments[:, 0].max() < 3.0 and np.abs(np.diff(moments[:, 0])).max() < 0.02


def test_growth__moments_belong_to_one_distribution():
    """S0 S2 >= S1^2 where all slopes are positive: no negative spread about the centre."""
    s0, s1, s2 = body_moments(_shape("tangent-ogive", 3, 8), mach_grid()).T
    assert np.all(s0 * s2 >= s1**2)


def test_boattail__keeps_part_of_slender_theory_until_it_separates():
    tail = [Transition(mass=0.1, length=length, fore_diameter=1.0, aft_diameter=0.6) for length in (2.0, 0.1)]
    gentle, steep = (body_moments(_shape("cone", 3, 4, part), np.zeros(1))[0, 0] for part in tail)
    lost = 2.0 * (1.0 - 0.36)
    assert gentle == pytest.approx(2.0 - 0.6 * lost, abs=1e-9)  # 5.7 deg; 0.6 is common practice
    assert steep == pytest.approx(2.0, abs=1e-9)  # 63 deg


def test_shoulder__is_slender_theory_exactly():
    flare = Transition(mass=0.1, length=1.0, fore_diameter=1.0, aft_diameter=1.5)
    assert body_moments(_shape("cone", 3, 4, flare), np.zeros(1))[0, 0] == pytest.approx(2.0, rel=1e-12)
    assert math.isclose(_shape("cone", 3, 4, flare).diameter, 1.5)
