"""Measured coefficients in place of the build-up, as far as the kernel."""

from __future__ import annotations

import numpy as np
import pytest
from tunnel import coefficients

from sixdof.core import types as t
from sixdof.mission.schema import BodyCurve, PanelCurve
from sixdof.vehicle.aero import aero_table, component_table
from sixdof.vehicle.derivatives import derivatives
from sixdof.vehicle.geometry import shape_of

SMALL = 1e-5  # rad
PANEL = PanelCurve(mach=(0.0, 1.0, 2.0), slope=(2.0, 3.0, 2.5), centre=(0.02, 0.03, 0.035))
BODY = BodyCurve(mach=(0.0, 2.0), slope=(2.2, 2.8), centre=(0.2, 0.4))


@pytest.fixture(scope="module")
def measured(demo_mission):
    changes = {
        "stage.0.measured.body_curve": BODY.model_dump(),
        "stage.0.part.tail.panel_curve": PANEL.model_dump(),
    }
    return demo_mission.change(changes)


def test_panel__slope_on_its_own_area_and_centre_from_its_root(measured):
    shape, aero = shape_of(measured.stage), aero_table(measured, [0])
    fin = shape.fins[0]
    row = [0, 25, 50, 100, 250]
    expected = np.array([2.0, 2.5, 3.0, 2.5, 2.5]) * fin.area / shape.area
    assert aero.fin[row, 0, t.FIN_SLOPE] == pytest.approx(expected, rel=1e-12)
    assert aero.fin[row, 0, t.FIN_X] - fin.x0 == pytest.approx([0.02, 0.025, 0.03, 0.035, 0.035], rel=1e-9)


def test_body__slope_and_centre_with_the_build_ups_spread(measured, demo_mission):
    aero, built = aero_table(measured, [0]), aero_table(demo_mission, [0])
    s0, s1, s2 = aero.body[50, [t.BODY_S0, t.BODY_S1, t.BODY_S2]]
    assert (s0, s1 / s0) == pytest.approx((2.5, 0.3), rel=1e-12)
    b0, b1, b2 = built.body[50, [t.BODY_S0, t.BODY_S1, t.BODY_S2]]
    assert s2 / s0 - (s1 / s0) ** 2 == pytest.approx(b2 / b0 - (b1 / b0) ** 2, rel=1e-9)


def test_body__the_kernel_flies_it(measured):
    aero = aero_table(measured, [0])
    found = derivatives(aero, [1.0], 0.5)
    assert found.body_slope[0] == pytest.approx(2.5, rel=1e-12)
    assert -coefficients(aero, 1.0, SMALL)[2] / SMALL == pytest.approx(found.slope[0], rel=1e-4)


def test_components__name_the_measurement(measured):
    names = [name for name, *_ in component_table(measured, [0], 0.3)]
    assert names == ["body, measured", "tail", "total"]
