"""The derivatives that people see against the kernel itself: finite differences in the tunnel."""

from __future__ import annotations

import math

import numpy as np
import pytest
from tunnel import coefficients

from sixdof.core.types import FIN_DW, FIN_ROLL_DIRECT, PANEL_Y
from sixdof.mission.schema import Fins, Mission, Nose, Stage, Transition, Tube
from sixdof.vehicle.aero import aero_table
from sixdof.vehicle.derivatives import at_mach, derivatives
from sixdof.vehicle.geometry import shape_of

SMALL = 1e-5  # rad, and of the reduced rates: what is not linear is smaller than the tolerance
LINEAR = 1e-4  # relative: viscous cross-flow at SMALL incidence is some 1e-5 of the slope
CG = 0.6


def _aero(*fins):
    parts = (
        Nose(mass=0.1, length=0.3, diameter=0.1),
        Tube(mass=0.1, length=0.7, diameter=0.1),
        Transition(mass=0.1, length=0.1, fore_diameter=0.1, aft_diameter=0.08),
    )
    return aero_table(
        Mission.model_construct(motor={}, stage=(Stage.model_construct(name="one", part=(*parts, *fins)),)), [0]
    )


def _fins(**change):
    given = dict(count=4, station=0.8, root_chord=0.15, tip_chord=0.08, span=0.1, sweep=0.05, thickness=0.003)
    return Fins(mass=0.1, **{**given, **change})


@pytest.fixture(scope="module")
def aero():
    return _aero(_fins(count=3, phase=0.3), _fins(station=0.35, count=4, span=0.05, root_chord=0.08))


@pytest.mark.parametrize("mach", [0.31, 0.95, 1.63])
@pytest.mark.parametrize("roll", [0.0, 0.7])
def test_slope_and_centre__as_the_kernel_flies(aero, mach, roll):
    found = derivatives(aero, [mach], CG)
    force = coefficients(aero, mach, SMALL, roll=roll, cg=CG)
    normal = -(force[1] * math.sin(roll) + force[2] * math.cos(roll)) / SMALL
    pitch = (force[4] * math.cos(roll) - force[5] * math.sin(roll)) / SMALL
    assert normal == pytest.approx(found.slope[0], rel=LINEAR)
    assert pitch == pytest.approx((CG - found.centre[0]) / aero.length * found.slope[0], rel=10 * LINEAR)
    assert found.slope[0] == pytest.approx(found.body_slope[0] + found.fin_slope[:, 0].sum(), rel=1e-12)


@pytest.mark.parametrize("mach", [0.31, 1.63])
def test_damping__as_the_kernel_flies(aero, mach):
    found = derivatives(aero, [mach], CG)
    pitching = coefficients(aero, mach, rates=(0.0, SMALL, 0.0), cg=CG)[4] / SMALL
    rolling = coefficients(aero, mach, rates=(SMALL, 0.0, 0.0), cg=CG)[3] / SMALL
    assert pitching == pytest.approx(found.pitch_damping[0], rel=10 * LINEAR)
    assert rolling == pytest.approx(found.fin_roll_damping[:, 0].sum(), rel=10 * LINEAR)
    assert pitching < 0.0 and rolling < 0.0


def test_roll_forcing__as_the_kernel_flies(aero):
    found = derivatives(aero, [0.31], CG)
    assert coefficients(aero, 0.31, cant=SMALL)[3] / SMALL == pytest.approx(
        found.fin_roll_forcing[:, 0].sum(), rel=LINEAR
    )


def test_forcing__barrowman_times_the_interference_factor():
    """N slope y k_W(B)/d (Barrowman 1967; NACA 1307), and what of it a lattice leaves."""
    aero = _aero(_fins())
    found = derivatives(aero, [0.0], CG)
    forcing = 4 * aero.fin[0, 0, 0] * aero.panel[0, PANEL_Y] * aero.fin[0, 0, FIN_DW] / aero.length
    forcing *= aero.fin[0, 0, FIN_ROLL_DIRECT]
    assert found.fin_roll_forcing[0, 0] == pytest.approx(forcing, rel=1e-12)


def test_at_mach__holds_beyond_the_table(aero):
    np.testing.assert_allclose(at_mach(aero, aero.body, [0.0, 9.0]), aero.body[[0, -1]])


def test_two_panels__mean_over_the_roll_angle():
    aero = _aero(_fins(count=2))
    slope = derivatives(aero, [0.3], CG).slope[0]
    rolled = [
        -(f[1] * math.sin(a) + f[2] * math.cos(a)) / SMALL
        for a in (0.0, math.pi / 4, math.pi / 2, 3 * math.pi / 4)
        for f in [coefficients(aero, 0.3, SMALL, roll=a)]
    ]
    assert np.mean(rolled) == pytest.approx(slope, rel=LINEAR) and np.ptp(rolled) > 1.0


def test_fins_on_a_cone__stand_off_the_local_radius():
    """A panel on a boattail: its centroid's distance from the axis is the cone's radius there and y from the surface."""
    tail = _fins(station=1.0, root_chord=0.1, tip_chord=0.1, sweep=0.0, span=0.05)
    parts = (
        Nose(mass=0.1, length=0.3, diameter=0.1),
        Tube(mass=0.1, length=0.7, diameter=0.1),
        Transition(mass=0.1, length=0.1, fore_diameter=0.1, aft_diameter=0.08),
    )
    fin = shape_of([Stage.model_construct(name="one", part=(*parts, tail))]).fins[0]
    assert fin.body_radius == pytest.approx(0.045) and fin.area == pytest.approx(0.005)
    swept = shape_of([Stage.model_construct(name="one", part=(*parts, tail.model_copy(update={"sweep": 0.04})))]).fins[
        0
    ]
    assert swept.body_radius == pytest.approx(0.045 - 0.1 * 0.02)  # its centroid is 20 mm further aft
