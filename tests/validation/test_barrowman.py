"""Subsonic normal force against Barrowman's method.

Sources: J. S. Barrowman, The Practical Calculation of the Aerodynamic Characteristics of Slender Finned Vehicles, M.S.
thesis, Catholic University of America, 1967; J. S. and J. A. Barrowman, NARAM-8 R&D, 1966; F. W. Diederich, NACA TN
2335, 1951. The numbers of the worked example, of Diederich's table and of the noses' centres were evaluated from their
formulas by hand and quadrature, apart from this library.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from sixdof.core.columns import FinColumn, PanelColumn
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Nose, Stage, Transition, Tube
from sixdof.vehicle.aero.body import attached_share, slender_moments
from sixdof.vehicle.aero.fin import chord_moment, subsonic_slope
from sixdof.vehicle.aero.table import aero_table, centre_of_pressure, component_table
from sixdof.vehicle.geometry import shape_of

PRINTED = 1e-6  # relative: the worked example is printed to 7 digits or more
NOSE_CONSTANT = 1e-4  # m: the example takes 0.466 L for the ogive; its exact 0.46402 L moves the total by 6.5e-5 m
DIAMETER = 0.066
AREA = 0.25 * math.pi * DIAMETER**2


def _mission(*parts) -> Mission:
    # a vehicle is enough for the aerodynamics: rail, site and motor are not read
    return Mission.model_construct(motor={}, stage=(Stage.model_construct(name="one", part=parts),))


def _example() -> Mission:
    outline = dict(root_chord=0.14, tip_chord=0.06, semispan=0.08, tip_offset=0.07)
    fins = Fins(mass=0.1, count=4, station=0.86, thickness=0.003, **outline)
    nose = Nose(mass=0.1, length=0.25, diameter=DIAMETER)
    return _mission(nose, Tube(mass=0.1, length=0.75, diameter=DIAMETER), fins)


def test_fins__worked_example_slope_and_centre():
    table = aero_table(_example(), [0])
    assert table.fin[0, 0, FinColumn.SLOPE] == pytest.approx(5.0766336, rel=PRINTED)
    assert 4 / 2 * table.fin[0, 0, FinColumn.SLOPE] == pytest.approx(10.153267, rel=PRINTED)
    assert table.fin[0, 0, FinColumn.X] == pytest.approx(0.86 + 0.0566667, abs=1e-7)  # X_f printed to 1e-7 m


def test_fins__worked_example_geometry_of_roll():
    table = aero_table(_example(), [0])
    fin = shape_of(_example().stage).fins[0]
    assert chord_moment(fin, 2) == pytest.approx(4.066933e-5, rel=PRINTED)
    assert table.panel[0, PanelColumn.AREA] == pytest.approx(0.008, rel=PRINTED)
    assert table.panel[0, PanelColumn.Y] == pytest.approx(0.033 + 0.03466667, rel=PRINTED)


def test_roll__worked_example_forcing_damping_and_steady_spin():
    table = aero_table(_example(), [0])
    slope, arm, arm_roll = table.fin[0, 0, FinColumn.SLOPE], table.panel[0, PanelColumn.Y], table.panel[0, PanelColumn.Y_ROLL]
    forcing = 4 * slope * arm / DIAMETER
    damping = -4 * slope * arm * arm_roll * 2 / DIAMETER**2  # per p d/(2V)
    assert forcing == pytest.approx(20.81933, rel=PRINTED)
    assert damping == pytest.approx(-47.39745, rel=PRINTED)
    assert -forcing / damping == pytest.approx(0.4392499, rel=PRINTED)
    section = 2 * math.pi * table.panel[0, PanelColumn.AREA] / AREA  # a strip's slope instead of the panel's
    assert -4 * section * arm * arm_roll * 2 / DIAMETER**2 == pytest.approx(-137.1738, rel=PRINTED)


def test_total__worked_example_with_its_own_interference_factor():
    """Barrowman's K = 1 + r/(s + r) in place of NACA 1307's factors, which are larger (they also load the body)."""
    table = aero_table(_example(), [0])
    rows = {name: values for name, *values in component_table(_example(), [0], 0.0)}
    fins = 1.292035 * 4 / 2 * table.fin[0, 0, FinColumn.SLOPE]
    assert fins == pytest.approx(13.118381, rel=PRINTED)
    assert rows["nose"][0] == pytest.approx(2.0, rel=1e-12)  # exact in slender-body theory
    assert rows["nose"][0] + fins == pytest.approx(15.118381, rel=PRINTED)
    centre = (2.0 * rows["nose"][1] + fins * table.fin[0, 0, FinColumn.X]) / 15.118381
    assert centre == pytest.approx(0.810813, abs=NOSE_CONSTANT)
    printed = (2.0 * 0.1165 + fins * table.fin[0, 0, FinColumn.X]) / 15.118381
    assert printed == pytest.approx(0.810813, abs=5e-7)  # printed to 1e-6 m


def test_total__factor_is_slender_theory_instead_of_a_straight_line():
    """The table's own total uses (1 + x)^2 on the fins, x = r/(r + s): more than Barrowman's, further aft."""
    slope, centre = centre_of_pressure(aero_table(_example(), [0]), 0.0)
    x = 0.033 / 0.113
    assert slope == pytest.approx(2.0 + 10.153267 * (1 + x) ** 2, rel=PRINTED)
    assert centre > 0.810813


@pytest.mark.parametrize("mach, slope", [(0, 5.076634), (0.3, 5.132535), (0.5, 5.237958), (0.7, 5.412923), (0.8, 5.534520)])
def test_fin_slope__diederich_table(mach, slope):
    """AR 1.6, cos(mid-chord sweep) 0.93632918: the fin of the worked example on the area of its body."""
    found = subsonic_slope(mach, 0.08, 0.008, math.acos(0.93632918)) / AREA
    assert found == pytest.approx(slope, rel=PRINTED)
    row = aero_table(_example(), [0]).fin[round(50 * mach), 0, FinColumn.SLOPE]
    assert row == pytest.approx(slope, rel=PRINTED)


def test_fin_slope__ends_at_the_slender_wing():
    """At Mach 1 a panel is half of R. T. Jones's wing, CL = pi AR/2 (NACA Report 835, 1946): pi span^2."""
    assert subsonic_slope(1.0, 0.08, 0.008, 0.3) == pytest.approx(math.pi * 0.08**2, rel=1e-12)


NOSES = [
    (dict(shape="cone"), 2 / 3),
    (dict(shape="parabola", fullness=1.0), 7 / 15),
    (dict(shape="power", exponent=0.5), 1 / 2),
    (dict(shape="power", exponent=0.75), 0.6),
    (dict(shape="ellipsoid"), 1 / 3),
    (dict(shape="haack", haack_c=0.0), 1 / 2),
    (dict(shape="haack", haack_c=1 / 3), 0.4375),
]
EXACT = 1e-9  # the quadrature reaches rounding; the closed forms are exact


def _nose_centre(length: float, **shape) -> tuple[float, float]:
    moments = slender_moments(shape_of(_mission(Nose(mass=0.1, length=length, diameter=0.1, **shape)).stage))
    return moments[0], moments[1] / moments[0] / length


@pytest.mark.parametrize("shape, share", NOSES)
def test_nose__slender_slope_and_centre(shape, share):
    slope, centre = _nose_centre(0.4, **shape)
    assert slope == pytest.approx(2.0, rel=EXACT)
    assert centre == pytest.approx(share, rel=EXACT)


OGIVES = [(1.5, 0.450037), (2, 0.457240), (3, 0.462453), (4, 0.464292), (5, 0.465145), (6, 0.465610), (8, 0.466072)]


@pytest.mark.parametrize("fineness, share", OGIVES)
def test_nose__tangent_ogive_by_fineness(fineness, share):
    """Exact volumes of revolution, printed to 1e-6; Barrowman's constant 0.466 is the limit of a slender one."""
    assert _nose_centre(0.1 * fineness, shape="tangent-ogive")[1] == pytest.approx(share, abs=6e-7)
    assert _nose_centre(0.1 * fineness, shape="tangent-ogive")[1] == pytest.approx(0.466, rel=0.036)  # 3.5 % at 1.5


@pytest.mark.parametrize("fore, aft", [(0.05, 0.08), (0.08, 0.05)])
def test_transition__conical_shoulder_and_boattail(fore, aft):
    """CN = 2[(dR/d)^2 - (dF/d)^2] at (L/3)[1 + (1 - dF/dR)/(1 - (dF/dR)^2)] from its own front (Barrowman; exact)."""
    nose = Nose(mass=0.1, length=0.2, diameter=fore)
    rows = component_table(_mission(nose, Transition(mass=0.1, length=0.1, fore_diameter=fore, aft_diameter=aft)), [0])
    largest = max(fore, aft)
    kept = 1.0 if aft > fore else attached_share(math.atan2(0.5 * (fore - aft), 0.1))  # ours: he keeps all of it
    assert rows[1][1] == pytest.approx(kept * 2 * (aft**2 - fore**2) / largest**2, rel=EXACT)
    ratio = fore / aft
    assert rows[1][2] == pytest.approx(0.2 + 0.1 / 3 * (1 + (1 - ratio) / (1 - ratio**2)), rel=EXACT)


def test_body__second_moment_of_a_cone():
    """dCN/dx = 2 S'(x)/A = 4 x/L^2 on a cone: S2 = int 4 x^3/L^2 = L^2; the cylinder behind it adds nothing."""
    cone = Nose(mass=0.1, shape="cone", length=0.3, diameter=0.1)
    shape = shape_of(_mission(cone, Tube(mass=0.1, length=1.0, diameter=0.1)).stage)
    np.testing.assert_allclose(slender_moments(shape), [2.0, 0.4, 0.09], rtol=EXACT)
