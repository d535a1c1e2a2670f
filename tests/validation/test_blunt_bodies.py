"""Drag of cylinders across and along the flow and of plates, against measurements and tables.

Across, Mach 0.26 to 2.04: T. E. Stanton, ARC R&M 1210, 1929 (second-hand: atrettel/sheardata, E1929001, CC-BY-4.0), endless
cylinders at Re 1.8e4 to 2.3e4. He printed k_D on rho V^2: CD = 2 k_D. Both of his methods stand here, total force and pressures
summed; they differ by 3 to 17 %. Finite cylinders across, flat-faced cylinders end-on, plates: F. M. White, Fluid
Mechanics, table 7.3 (from memory, sure of the digits).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from tunnel import coefficients

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Stage, Tube
from sixdof.vehicle.aero.cross_flow import cross_flow_drag, cylinder_drag, length_factor
from sixdof.vehicle.aero.fin import plate_normal
from sixdof.vehicle.aero.table import aero_table

# Mach, Reynolds number, CD by total force, CD by pressures
STANTON = [
    (0.255, 21500, 1.160, 1.192),
    (0.426, 22800, 1.122, 1.330),
    (0.695, 19000, 1.580, 1.512),
    (1.42, 18300, 1.484, 1.348),
    (1.73, 21800, 1.360, 1.222),
    (2.04, 22000, 1.272, 1.230),
]
METHODS = 0.05  # a third of what his two methods differ by at most
FINITE = [(1, 0.533), (2, 0.567), (3, 0.600), (5, 0.617), (10, 0.683), (20, 0.758), (40, 0.817)]  # L/d, CD over 1.20
END_ON = [(1, 0.90), (2, 0.85), (4, 0.87), (8, 0.99)]  # L/d, CD on the face


@pytest.mark.parametrize("mach, reynolds, total, pressures", STANTON)
def test_stanton__endless_cylinder_across(mach, reynolds, total, pressures):
    """Within 5 % of the total force; of the pressures in the second series, whose total lies off the curve of the others."""
    measured = pressures if mach == 0.426 else total
    assert cylinder_drag(mach, reynolds) == pytest.approx(measured, rel=METHODS)


@pytest.mark.parametrize("slenderness, factor", FINITE)
def test_white__finite_cylinder_across(slenderness, factor):
    assert length_factor(slenderness) == pytest.approx(factor, rel=0.03)  # +/-0.03 is what the factor is known to
    assert cross_flow_drag(0.1, slenderness, 2e4) == pytest.approx(1.2 * factor, rel=0.03)


@pytest.mark.parametrize("slenderness, drag", END_ON)
@pytest.mark.parametrize("incidence", [0.0, math.pi])
def test_white__flat_faced_cylinder_end_on(slenderness, drag, incidence):
    """Either end ahead; 8 %: one face pressure and one base pressure for all lengths."""
    tube = Tube(mass=1.0, length=0.1 * slenderness, diameter=0.1)
    stage = Stage.model_construct(name="one", part=(tube,), roughness=2e-5)
    aero = aero_table(Mission.model_construct(motor={}, stage=(stage,)), [0])
    assert abs(coefficients(aero, 0.1, incidence)[0]) == pytest.approx(drag, rel=0.08)


def test_white__plate_across():
    """Plates of 1 to 5 widths: 1.18 to 1.2."""
    assert plate_normal(np.array([0.0, 0.3])) == pytest.approx(1.19, abs=0.02)
