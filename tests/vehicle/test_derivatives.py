"""The derivatives that people see against the kernel itself, finite differences in the tunnel; damping against closed forms too."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from tunnel import coefficients

import sixdof
from sixdof.core.columns import FinColumn, PanelColumn
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Nose, Stage, Transition, Tube
from sixdof.vehicle.aero.table import aero_table
from sixdof.vehicle.derivatives import at_mach, derivatives
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.stability import pitch_damping, with_slopes

SMALL = 1e-6  # rad, and of the reduced rates: what is not linear is smaller than the tolerance
LINEAR = 1e-4  # relative: vortices that have moved at SMALL incidence; viscous cross-flow is some 1e-6 of the slope
CG = 0.6


def _aero(*fins):
    parts = (
        Nose(mass=0.1, length=0.3, diameter=0.1),
        Tube(mass=0.1, length=0.7, diameter=0.1),
        Transition(mass=0.1, length=0.1, fore_diameter=0.1, aft_diameter=0.08),
    )
    return _table(*parts, *fins)


def _table(*parts):
    return aero_table(Mission.model_construct(motor={}, stage=(Stage.model_construct(name="one", part=parts),)), [0])


def _fins(**change):
    given = dict(count=4, station=0.8, root_chord=0.15, tip_chord=0.08, semispan=0.1, tip_offset=0.05, thickness=0.003)
    return Fins(mass=0.1, **{**given, **change})


@pytest.fixture(scope="module")
def aero():
    return _aero(_fins(count=3, clocking=0.3), _fins(station=0.35, count=4, semispan=0.05, root_chord=0.08))


@pytest.fixture(scope="module")
def alone(aero):
    """The same without vortices: every set alone."""
    return with_slopes(aero._replace(wake_pair=aero.wake_pair[:0], wake=aero.wake[:0]))


@pytest.mark.parametrize("mach", [0.31, 0.95, 1.63])
@pytest.mark.parametrize("behind", [True, False])
def test_slope_and_centre__as_the_kernel_flies(aero, alone, mach, behind):
    """In the plane of the foremost centre of pressure: three fins behind four are held a little better in some planes than in others."""
    aero = aero if behind else alone
    found = derivatives(aero, [mach], CG)
    roll = math.atan2(found.plane.side[0], found.plane.down[0])
    force = coefficients(aero, mach, SMALL, roll=roll, cg=CG)
    normal = -(force[1] * math.sin(roll) + force[2] * math.cos(roll)) / SMALL
    pitch = (force[4] * math.cos(roll) - force[5] * math.sin(roll)) / SMALL
    assert normal == pytest.approx(found.slope[0], rel=LINEAR)
    assert pitch == pytest.approx((CG - found.centre[0]) / aero.length * found.slope[0], abs=10 * LINEAR * found.slope[0])
    parts = found.body_slope[0] + found.fin_slope[:, 0].sum() + found.downwash_slope[0]
    assert found.slope[0] == pytest.approx(parts, rel=LINEAR)
    assert (found.downwash_slope[0] < -0.3) if behind else found.downwash_slope[0] == 0.0


@pytest.mark.parametrize("mach", [0.31, 1.63])
def test_damping__as_the_kernel_flies(aero, alone, mach):
    """Pitch damping is that of the whole, roll damping that of each set alone."""
    found = derivatives(aero, [mach], CG)
    pitching = coefficients(aero, mach, rates=(0.0, SMALL, 0.0), cg=CG)[4] / SMALL
    rolling = coefficients(alone, mach, rates=(SMALL, 0.0, 0.0), cg=CG)[3] / SMALL
    assert pitching == pytest.approx(found.pitch_damping[0], rel=10 * LINEAR)
    # fins ahead of the centre of mass lift the other way as it pitches: what they shed pushes the tail further
    assert pitching < 1.05 * coefficients(alone, mach, rates=(0.0, SMALL, 0.0), cg=CG)[4] / SMALL
    assert rolling == pytest.approx(found.fin_roll_damping[:, 0].sum(), rel=10 * LINEAR)
    assert pitching < 0.0 and rolling < 0.0


@pytest.mark.parametrize("cg", [0.1, 0.6])
def test_damping__of_a_cone_and_cylinder_in_closed_form(cg):
    """Pitching, every slice meets its own cross wind q (x - cg), and dCN/dx = 2 S'(x)/A = 4 x/L^2 on a cone (Munk 1924; Barrowman 1967).

    C_m_q = -2/d^2 int dCN/dx (x - cg)^2 dx = -2/d^2 (L^2 - 8/3 L cg + 2 cg^2); C_Z_q = 2/d int dCN/dx (cg - x) dx = 4/d (cg - 2/3 L).
    """
    length, diameter = 0.3, 0.1
    aero = _table(Nose(mass=0.1, shape="cone", length=length, diameter=diameter), Tube(mass=0.1, length=0.7, diameter=diameter))
    aero = aero._replace(cross=np.zeros_like(aero.cross))  # viscous cross-flow goes with the square of the rate
    moment = -2.0 / diameter**2 * (length**2 - 8.0 / 3.0 * length * cg + 2.0 * cg**2)
    force = 4.0 / diameter * (cg - 2.0 / 3.0 * length)
    pitching = coefficients(aero, 0.31, rates=(0.0, SMALL, 0.0), cg=cg) / SMALL
    yawing = coefficients(aero, 0.31, rates=(0.0, 0.0, SMALL), cg=cg) / SMALL
    exact = 1e-9  # relative: linear in the rate but for rounding, whichever the rate
    np.testing.assert_allclose(pitching[[2, 4]], [force, moment], rtol=exact)
    np.testing.assert_allclose(yawing[[1, 5]], [-force, moment], rtol=exact)
    assert pitch_damping(aero, [0.31], cg)[0] == pytest.approx(moment, rel=1e-6)


def test_damping__of_fins_as_their_slope_times_the_square_of_their_arm():
    """C_m_q = -2/d^2 N/2 CN_panel (cg - x) (K_W (cg - x) + K_B (cg - x_B)) is what fins add: incidence by the panel's arm, N/2 face it."""
    parts = (Nose(mass=0.1, shape="cone", length=0.3, diameter=0.1), Tube(mass=0.1, length=0.7, diameter=0.1))
    aero, body = _table(*parts, _fins()), _table(*parts)
    slope, x, on_panel, on_body, x_body = at_mach(aero, aero.fin, [0.31])[0, 0, [FinColumn.SLOPE, FinColumn.X, FinColumn.KW, FinColumn.KB, FinColumn.XB]]
    moment = -2.0 / 0.1**2 * 2.0 * slope * (CG - x) * (on_panel * (CG - x) + on_body * (CG - x_body))
    finned, bare = (coefficients(one, 0.31, rates=(0.0, SMALL, 0.0), cg=CG)[4] / SMALL for one in (aero, body))
    assert finned - bare == pytest.approx(moment, rel=LINEAR)


def test_roll_forcing__as_the_kernel_flies(alone):
    found = derivatives(alone, [0.31], CG)
    assert coefficients(alone, 0.31, cant=SMALL)[3] / SMALL == pytest.approx(found.fin_roll_forcing[:, 0].sum(), rel=LINEAR)


def test_forcing__barrowman_times_the_interference_factor():
    """N slope y k_W(B)/d (Barrowman 1967; NACA 1307), and what of it a lattice leaves."""
    aero = _aero(_fins())
    found = derivatives(aero, [0.0], CG)
    forcing = 4 * aero.fin[0, 0, 0] * aero.panel[0, PanelColumn.Y] * aero.fin[0, 0, FinColumn.DW] / aero.length
    forcing *= aero.fin[0, 0, FinColumn.ROLL_DIRECT]
    assert found.fin_roll_forcing[0, 0] == pytest.approx(forcing, rel=1e-12)


def test_at_mach__holds_beyond_the_table(aero):
    np.testing.assert_allclose(at_mach(aero, aero.body, [0.0, 9.0]), aero.body[[0, -1]])


def test_two_panels__least_over_the_roll_angle():
    aero = _aero(_fins(count=2, clocking=0.4))
    found = derivatives(aero, [0.3], CG)
    rolled = {}
    for roll in np.arange(0.0, math.pi, math.pi / 90):
        f = coefficients(aero, 0.3, SMALL, roll=roll, cg=0.0)
        normal = -(f[1] * math.sin(roll) + f[2] * math.cos(roll))
        moment = f[4] * math.cos(roll) - f[5] * math.sin(roll)
        rolled[-moment / normal * aero.length] = normal / SMALL
    assert found.centre[0] == pytest.approx(min(rolled), abs=2e-3) and found.plane.aft[0] == pytest.approx(max(rolled), abs=2e-3)
    assert found.slope[0] == pytest.approx(rolled[min(rolled)], rel=1e-2) == pytest.approx(found.body_slope[0], rel=1e-2)
    # the plane in which the fins do nothing is that through them: the cross flow runs along the span of fin 1, (-sin, cos) in y and z
    assert abs(found.plane.down[0] * math.sin(0.4) + found.plane.side[0] * math.cos(0.4)) < 1e-6


def test_fins_on_a_cone__stand_off_the_local_radius():
    """A panel on a boattail: its centroid's distance from the axis is the cone's radius there and y from the surface."""
    tail = _fins(station=1.0, root_chord=0.1, tip_chord=0.1, tip_offset=0.0, semispan=0.05)
    parts = (
        Nose(mass=0.1, length=0.3, diameter=0.1),
        Tube(mass=0.1, length=0.7, diameter=0.1),
        Transition(mass=0.1, length=0.1, fore_diameter=0.1, aft_diameter=0.08),
    )
    fin = shape_of([Stage.model_construct(name="one", part=(*parts, tail))]).fins[0]
    assert fin.body_radius == pytest.approx(0.045) and fin.area == pytest.approx(0.005)
    swept = shape_of([Stage.model_construct(name="one", part=(*parts, tail.model_copy(update={"tip_offset": 0.04})))]).fins[0]
    assert swept.body_radius == pytest.approx(0.045 - 0.1 * 0.02)  # its centroid is 20 mm further aft


def test_derivatives__of_a_vehicle_without_fins():
    """Slender theory: a nose has the slope 2 whatever its shape (Munk 1924), and there is nothing to sum over fins."""
    mission = sixdof.load_mission(Path(__file__).parents[1] / "vehicles" / "slender.toml")
    bare = mission.change({"stage.0.part": [part for part in mission.stage[0].part if part.kind != "fins"]})
    found = sixdof.aero.stability_against_mach(bare)
    assert float(found.slope.sel(mach=0.0)) == pytest.approx(2.0, rel=1e-6)
    assert found.fin_slope.shape == (0, found.mach.size)


def test_damping_factor__scales_every_moment_of_turning_and_nothing_else(aero):
    rates = (2e-5, 3e-5, -1e-5)
    still, turning = coefficients(aero, 0.5, cg=CG), coefficients(aero, 0.5, rates=rates, cg=CG)
    assert coefficients(aero, 0.5, 0.05, cg=CG, damping=3.0) == pytest.approx(coefficients(aero, 0.5, 0.05, cg=CG), rel=1e-12)
    thrice = coefficients(aero, 0.5, rates=rates, cg=CG, damping=3.0)
    linear = 3.0 * (turning - still)  # what is of second order in the rates is a thousandth of it
    assert (thrice - still)[3:] == pytest.approx(linear[3:], rel=5e-3)
    assert coefficients(aero, 0.5, rates=rates, cg=CG, damping=0.0) == pytest.approx(still, abs=1e-15)


def test_control_force_factor__scales_what_the_deflection_makes_and_no_cant():
    aero = _aero(_fins(count=4, control=True, hinge=0.07))
    fins = np.array([2e-3, 2e-3, 2e-3, 2e-3])
    full, half = (coefficients(aero, 0.5, fins=fins, cg=CG, control_force=factor)[3] for factor in (1.0, 0.5))
    assert half == pytest.approx(0.5 * full, rel=1e-4)  # a deflection of 2e-3 rad is linear to its square
    assert coefficients(aero, 0.5, cant=2e-3, cg=CG, control_force=0.5)[3] == pytest.approx(full, rel=1e-4)
