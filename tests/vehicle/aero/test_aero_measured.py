"""Measured coefficients in place of the build-up, as far as the kernel."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr
from tunnel import coefficients
from two_stages import on_booster

from sixdof.core.columns import FIN_COLUMNS, BodyColumn, FinColumn
from sixdof.mission.load import loads_mission
from sixdof.mission.tables import BodyCurve, PanelCurve
from sixdof.study.aero.tunnel import wind_tunnel
from sixdof.vehicle.aero.table import aero_table, component_table
from sixdof.vehicle.derivatives import derivatives
from sixdof.vehicle.geometry import shape_of

SMALL = 1e-5  # rad
PANEL = PanelCurve(mach=(0.0, 1.0, 2.0), slope=(2.0, 3.0, 2.5), centre=(0.02, 0.03, 0.035))
BODY = BodyCurve(mach=(0.0, 2.0), slope=(2.2, 2.8), centre=(0.2, 0.4))


@pytest.fixture(scope="module")
def measured(demo_mission):
    changes = {"stage.0.measured.body_curve": BODY.model_dump(), "stage.0.part.tail.panel_curve": PANEL.model_dump()}
    return demo_mission.change(changes)


def test_panel__slope_on_its_own_area_and_centre_from_its_root(measured):
    shape, aero = shape_of(measured.stage), aero_table(measured, [0])
    fin = shape.fins[0]
    row = [0, 25, 50, 100, 250]
    expected = np.array([2.0, 2.5, 3.0, 2.5, 2.5]) * fin.area / shape.area
    assert aero.fin[row, 0, FinColumn.SLOPE] == pytest.approx(expected, rel=1e-12)
    assert aero.fin[row, 0, FinColumn.X] - fin.x0 == pytest.approx([0.02, 0.025, 0.03, 0.035, 0.035], rel=1e-9)


DAMPING = {"mach": [0.0, 1.0, 2.0], "damping": [-3.0, -5.0, -4.0]}
FORCING = {"mach": [0.0, 2.0], "forcing": [4.0, 8.0]}


@pytest.mark.parametrize("with_panel", [False, True])
def test_roll__the_kernel_gives_the_curves_back(demo_mission, with_panel):
    """On area and length of the body at the fins: the demo's own; a measured panel makes no difference."""
    changes = {"stage.0.part.tail.roll_damping_curve": DAMPING, "stage.0.part.tail.roll_forcing_curve": FORCING}
    panel = {"stage.0.part.tail.panel_curve": PANEL.model_dump()} if with_panel else {}
    aero = aero_table(demo_mission.change(changes | panel), [0])
    for mach, damping, forcing in ((0.5, -4.0, 5.0), (1.0, -5.0, 6.0), (1.5, -4.5, 7.0), (3.0, -4.0, 8.0)):
        assert coefficients(aero, mach, rates=(SMALL, 0.0, 0.0))[3] / SMALL == pytest.approx(damping, rel=1e-4)
        assert coefficients(aero, mach, cant=SMALL)[3] / SMALL == pytest.approx(forcing, rel=1e-4)
        found = derivatives(aero, [mach], 0.5)
        assert (found.fin_roll_damping[0, 0], found.fin_roll_forcing[0, 0]) == pytest.approx((damping, forcing), rel=1e-9)


def test_roll__one_curve_leaves_the_other_to_theory(demo_mission):
    built = aero_table(demo_mission, [0]).fin
    for key, curve, kept in (("damping", DAMPING, FinColumn.ROLL_DIRECT), ("forcing", FORCING, FinColumn.ROLL_DAMP)):
        fin = aero_table(demo_mission.change({f"stage.0.part.tail.roll_{key}_curve": curve}), [0]).fin
        changed = {FinColumn.ROLL_DAMP, FinColumn.ROLL_DIRECT} - {kept}
        for column in range(FIN_COLUMNS):
            assert np.array_equal(fin[..., column], built[..., column]) == (column not in changed)


def test_roll__measured_on_the_body_at_the_fins_whatever_flies_with_it(demo_mission):
    """On a wider booster the reference is the booster's, the set's moment stays."""
    changed = demo_mission.change({"stage.0.part.tail.roll_damping_curve": DAMPING})
    alone, stack = aero_table(changed, [0]), aero_table(on_booster(changed), [0, 1])
    assert stack.length > 1.05 * alone.length
    moments = [derivatives(a, [0.5], 0.5).fin_roll_damping[0, 0] * a.area * a.length**2 for a in (alone, stack)]
    assert moments[0] == pytest.approx(moments[1], rel=1e-12)


def test_body__slope_and_centre_with_the_build_ups_spread(measured, demo_mission):
    aero, built = aero_table(measured, [0]), aero_table(demo_mission, [0])
    s0, s1, s2 = aero.body[50, [BodyColumn.S0, BodyColumn.S1, BodyColumn.S2]]
    assert (s0, s1 / s0) == pytest.approx((2.5, 0.3), rel=1e-12)
    b0, b1, b2 = built.body[50, [BodyColumn.S0, BodyColumn.S1, BodyColumn.S2]]
    assert s2 / s0 - (s1 / s0) ** 2 == pytest.approx(b2 / b0 - (b1 / b0) ** 2, rel=1e-9)


def test_body__the_kernel_flies_it(measured):
    aero = aero_table(measured, [0])
    found = derivatives(aero, [1.0], 0.5)
    assert found.body_slope[0] == pytest.approx(2.5, rel=1e-12)
    assert -coefficients(aero, 1.0, SMALL)[2] / SMALL == pytest.approx(found.slope[0], rel=1e-4)


def test_components__name_the_measurement(measured):
    names = [name for name, *_ in component_table(measured, [0], 0.3)]
    assert names == ["body, measured", "tail", "total"]


# ---------------------------------------------------------------- axial force over incidence

MACH, ANGLE = (0.3, 1.0, 2.0), (0.0, 10.0, 20.0, 40.0, 60.0, 80.0)
AXIAL = np.array([[0.4, 0.41, 0.42, 0.3, 0.1, -0.05], [0.6, 0.6, 0.65, 0.5, 0.2, 0.01], [0.5, 0.52, 0.5, 0.4, 0.2, 0.1]])
TABLE = 1.5e-3  # absolute: 0.5 % steps in the sine, straight lines between; largest at 80 deg, where a step is 1.7 deg


@pytest.fixture(scope="module")
def inclined(demo_path, tmp_path_factory):
    """The demo with a CSV of its axial force over Mach and incidence, its points in no order."""
    folder = tmp_path_factory.mktemp("axial")
    points = [f"{a}, {m}, {c}" for m, row in zip(MACH, AXIAL) for a, c in zip(ANGLE, row)]
    (folder / "axial.csv").write_text("\n".join(["incidence (deg), mach, coefficient", *points[::-1]]))
    text = demo_path.read_text().replace('"motors/', f'"{demo_path.parent}/motors/').replace('root_gap = "0.5 mm"', "")
    name = 'name = "thistledown"'
    return loads_mission(text.replace(name, f'{name}\nmeasured = {{ axial_curve = "axial.csv" }}'), folder)


def test_axial__the_kernel_gives_the_csv_back(inclined):
    mach, incidence = xr.DataArray(list(MACH), dims="mach"), xr.DataArray(np.radians(ANGLE), dims="incidence")
    flow = wind_tunnel(inclined, mach=mach, incidence=incidence, roll=0.4)
    np.testing.assert_allclose(-flow.C_X.transpose("mach", "incidence"), AXIAL, atol=TABLE)


def test_axial__straight_between_mach_numbers_and_reynolds_does_not_matter(inclined):
    for altitude in (0.0, 8000.0):
        flow = wind_tunnel(inclined, mach=0.65, incidence=np.radians(20.0), altitude=altitude)
        assert -float(flow.C_X) == pytest.approx(0.5 * (0.42 + 0.65), abs=TABLE)


def test_axial__falls_to_nothing_at_90_deg_and_backwards_keeps_its_sign(inclined):
    near, there, beyond = (wind_tunnel(inclined, mach=0.3, incidence=np.radians(a)).C_X for a in (85.0, 90.0, 100.0))
    assert float(there) == pytest.approx(0.0, abs=1e-12)
    factor = (np.cos(np.radians(85.0)) / np.cos(np.radians(80.0))) ** 2
    assert -float(near) == pytest.approx(-0.05 * factor, rel=0.05)
    assert np.isfinite(float(beyond))


def test_axial__only_at_small_incidence_holds_its_factor(demo_mission):
    curve = {"mach": [0.5, 0.5], "incidence": [0.0, "10 deg"], "coefficient": [0.4, 0.42]}
    mission = demo_mission.change({"stage.0.measured.axial_curve": curve, "stage.0.part.tail.root_gap": 0.0})
    flow = wind_tunnel(mission, mach=1.5, incidence=np.radians(40.0))
    expected = 0.42 * (np.cos(np.radians(40.0)) / np.cos(np.radians(10.0))) ** 2
    assert -float(flow.C_X) == pytest.approx(expected, abs=TABLE)


def test_axial__nothing_measured_is_jorgensens_square_of_the_cosine(demo_mission):
    assert (aero_table(demo_mission, [0]).axial_shape == 1.0).all()
