"""The aerodynamic tables as a whole: layout, limits, continuity, reports."""

from __future__ import annotations

import math
import time

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sixdof.core import types as t
from sixdof.core.columns import BODY_COLUMNS, FIN_COLUMNS, PANEL_COLUMNS, BodyColumn, FinColumn, PanelColumn
from sixdof.mission.mission import Mission
from sixdof.mission.tables import BodyCurve, DragCurve, Fins, Measured, Motor, Mount, Nose, RailGuide, Stage, Transition, Tube
from sixdof.vehicle.aero.table import DOWNWASH, aero_table, centre_of_pressure, component_table, drag_breakdown

D = 0.1
# largest change of a column between rows 0.02 Mach apart, share of its largest value: 0.081 (axial force, blunt nose),
# 0.078 (carry-over without afterbody just above Mach 1), 0.046 (a panel's slope) among 400 random vehicles
JUMP = 0.1
# the roll factors join two theories between Mach 0.8 and 1.2: 0.101 for 8 long narrow fins on a slender body, the most that was found
ROLL_JUMP = 0.15


def _fins(**change) -> Fins:
    given = dict(count=4, station=0.9, root_chord=0.2, tip_chord=0.1, semispan=0.1, tip_offset=0.1, thickness=0.004)
    return Fins(mass=0.1, **{**given, **change})


def _stage(*parts, **more) -> Stage:
    return Stage.model_construct(**{"name": "one", "part": parts, **more})


def _mission(*stages, motor=None) -> Mission:
    # a vehicle is enough for the aerodynamics: rail and site are not read
    return Mission.model_construct(motor=motor or {}, stage=stages)


def _body() -> tuple:
    return Nose(mass=0.1, length=0.4, diameter=D), Tube(mass=0.1, length=0.7, diameter=D)


def _plain(*fins) -> Mission:
    return _mission(_stage(*_body(), *(fins or (_fins(),)), RailGuide(mass=0.1, station=0.5), RailGuide(mass=0.1, station=1.0)))


def _rows(aero: t.Aero):
    control = aero.panel[:, PanelColumn.HINGE]
    return [aero.body, aero.fin, aero.friction, aero.panel[:, : PanelColumn.HINGE], control[~np.isnan(control)]]


def test_table__layout():
    aero = aero_table(_plain(_fins(), _fins(station=0.4, count=3, semispan=0.04)), [0])
    assert aero.body.shape == (251, BODY_COLUMNS) and aero.fin.shape == (251, 2, FIN_COLUMNS)
    assert aero.friction.shape == (251, 66) and aero.panel.shape == (7, PANEL_COLUMNS)
    assert aero.per_mach == 50 and (aero.friction.shape[1] - 1) / aero.per_root == 130
    for array in (aero.body, aero.fin, aero.friction, aero.panel):
        assert array.dtype == np.float64 and array.flags.c_contiguous
    assert aero.area == pytest.approx(math.pi * D**2 / 4, rel=1e-12) and aero.length == D


def test_table__without_fins():
    aero = aero_table(_mission(_stage(*_body())), [0])
    assert aero.fin.shape == (251, 0, FIN_COLUMNS) and aero.panel.shape == (0, PANEL_COLUMNS)
    slope = centre_of_pressure(aero, [0.0, 0.8, 3.0])[0]
    assert slope[:2] == pytest.approx([2.0, 2.0], rel=1e-9) and 2.0 < slope[2] < 3.0  # the nose alone, then more


@settings(max_examples=40, deadline=None)
@given(
    st.sampled_from(["flat", "rounded", "double-wedge", "airfoil"]),
    st.sampled_from(["cone", "tangent-ogive", "ellipsoid", "power", "haack"]),
    st.integers(2, 16),
    st.floats(0.02, 0.4),
    st.floats(0.0, 0.3),
    st.floats(-0.1, 0.3),
    st.floats(0.02, 0.3),
)
def test_table__finite_positive_and_continuous_for_any_fin(section, nose, count, root, tip, sweep, span):
    fins = _fins(section=section, count=count, root_chord=root, tip_chord=tip, tip_offset=sweep, semispan=span, station=0.7)
    parts = (Nose(mass=0.1, shape=nose, length=0.3, diameter=D), Tube(mass=0.1, length=0.7, diameter=D))
    tail = Transition(mass=0.1, length=0.1, fore_diameter=D, aft_diameter=0.07)
    aero = aero_table(_mission(_stage(*parts, tail, fins)), [0])
    assert all(np.isfinite(rows).all() for rows in _rows(aero))
    assert (aero.fin[:, 0, FinColumn.SLOPE] > 0).all() and (aero.friction > 0).all() and (aero.body[:, BodyColumn.CA] > 0).all()
    assert (aero.body[:, BodyColumn.CA] + aero.body[:, BodyColumn.CA_BURN] >= 0).all()
    allowed = np.full(FIN_COLUMNS, JUMP)
    allowed[[FinColumn.ROLL_DAMP, FinColumn.ROLL_DIRECT]] = ROLL_JUMP
    for columns, jump in ((aero.fin[:, 0, :], allowed), (aero.body, JUMP)):
        assert (np.abs(np.diff(columns, axis=0)).max(axis=0) <= jump * np.abs(columns).max(axis=0)).all()


def test_table__total_slope_moves_by_less_than_three_percent_a_row():
    slope, centre = centre_of_pressure(aero_table(_plain(), [0]), np.arange(251) / 50)
    assert np.max(np.abs(np.diff(slope)) / slope[1:]) < 0.03
    assert np.max(np.abs(np.diff(centre))) < 0.05 * D


def test_table__carried_load_stays_on_the_body():
    aero = aero_table(_plain(_fins(station=1.0, tip_offset=0.3)), [0])  # the tip reaches behind the base at 1.1 m
    assert aero.fin[:, 0, FinColumn.XB].max() <= 1.1


def test_table__quick():
    mission = _plain(_fins(), _fins(station=0.4, count=4, semispan=0.04))
    aero_table(mission, [0])
    start = time.perf_counter()
    aero_table(mission, [0])
    assert time.perf_counter() - start < 0.2


def test_panels__angles_cant_and_actuators():
    fixed = _fins(count=3, clocking=0.5, cant=0.01)
    moving = _fins(count=4, station=0.5, semispan=0.05, control=True, hinge=0.08)
    panel = aero_table(_plain(fixed, moving), [0]).panel
    angle = 0.5 + 2 * math.pi / 3
    # from front to back: what the moving set sheds must be known before the other one feels it, wherever it stands in the file
    assert panel[5, PanelColumn.SIN] == pytest.approx(math.sin(angle)) and panel[5, PanelColumn.COS] == pytest.approx(math.cos(angle))
    assert panel[:, PanelColumn.CONTROL].tolist() == [0, 1, 2, 3, -1, -1, -1]
    assert panel[:, PanelColumn.SET].tolist() == [1] * 4 + [0] * 3
    assert (panel[4:, PanelColumn.CANT] == 0.01).all() and np.isnan(panel[4:, PanelColumn.HINGE]).all()
    assert panel[:4, PanelColumn.HINGE] == pytest.approx(0.58)


def test_stack__slope_is_that_of_the_whole_outside():
    fore = _stage(*_body(), _fins())
    shoulder = Transition(mass=0.1, length=0.05, fore_diameter=D, aft_diameter=0.14)
    aft = _stage(shoulder, Tube(mass=0.1, length=0.6, diameter=0.14))
    mission = _mission(fore, aft)
    both = aero_table(mission, [0, 1])
    assert both.length == 0.14
    assert both.body[0, BodyColumn.S0] == pytest.approx(2.0)  # twice the base area on itself
    alone = aero_table(mission, [1])
    assert alone.body[0, BodyColumn.S0] == pytest.approx(2.0)  # a blunt fore end counts as a step
    assert alone.body[0, BodyColumn.CA] > both.body[0, BodyColumn.CA]  # its flat front


def test_components__sum_to_the_tables_total():
    mission = _plain(_fins(), _fins(station=0.4, count=3, semispan=0.04))
    rows = component_table(mission, [0], mach=0.5)
    slope, centre = centre_of_pressure(aero_table(mission, [0]), 0.5)
    assert [row[0] for row in rows] == ["nose", "fins", "fins", DOWNWASH, "total"]
    assert rows[-1][1] == pytest.approx(slope, rel=1e-9) == pytest.approx(sum(row[1] for row in rows[:-1]))
    assert rows[-1][2] == pytest.approx(float(centre), rel=1e-9)


def test_components__steps_are_named():
    parts = Nose(mass=0.1, length=0.3, diameter=0.08), Tube(mass=0.1, length=0.5, diameter=D)
    rows = component_table(_mission(_stage(*parts)), [0])
    assert [row[0] for row in rows] == ["nose", "steps of diameter", "total"]
    assert rows[1][1] == pytest.approx(2 * (1 - 0.8**2)) and rows[1][2] == pytest.approx(0.3)


def test_centre_of_pressure__no_slope_gives_nan():
    none = Measured(body_curve=BodyCurve(mach=(0.0, 1.0), slope=(0.0, 0.0), centre=(0.3, 0.3)))
    slope, centre = centre_of_pressure(aero_table(_mission(_stage(*_body(), measured=none)), [0]), 0.3)
    assert slope == 0.0 and np.isnan(centre)


def test_more_fins__crowded_ones_lose_slope():
    def slope(count):
        return aero_table(_plain(_fins(count=count)), [0]).fin[0, 0, FinColumn.SLOPE]

    one = slope(4)
    assert slope(3) == one and slope(2) == one
    assert slope(6) == pytest.approx(0.913 * one) and slope(8) == pytest.approx(0.81 * one)
    assert 16 * slope(16) == pytest.approx(8 * slope(8))


MEASURED = Measured(drag_curve=DragCurve(mach=(0.0, 1.0, 2.0), coefficient=(0.4, 0.6, 0.5)))
POWERED = DragCurve(mach=(0.0, 2.0), coefficient=(0.35, 0.45))


def test_measured__curve_replaces_the_total():
    built = aero_table(_plain(), [0])
    aero = aero_table(_mission(_stage(*_body(), _fins(), measured=MEASURED)), [0])
    assert (aero.friction == 0).all()
    assert aero.body[[0, 25, 75, 250], BodyColumn.CA] == pytest.approx([0.4, 0.5, 0.55, 0.5])  # held beyond Mach 2
    assert (aero.body[:, BodyColumn.CA_BURN] == built.body[:, BodyColumn.CA_BURN]).all()


def test_measured__powered_curve_gives_the_change_while_burning():
    both = MEASURED.model_copy(update={"drag_curve_powered": POWERED})
    aero = aero_table(_mission(_stage(*_body(), _fins(), measured=both)), [0])
    assert aero.body[[0, 50], BodyColumn.CA_BURN] == pytest.approx([-0.05, -0.2])


def _motor(exit_diameter: float) -> Motor:
    return Motor.model_construct(nozzle_exit_diameter=exit_diameter)


def _mounted(exit_diameter: float) -> t.Aero:
    mount = Mount(mass=0.1, motor="m", station=0.8, length=0.3, inner_diameter=0.054)
    return aero_table(_mission(_stage(*_body(), _fins(), mount), motor={"m": _motor(exit_diameter)}), [0])


def test_burning__jet_fills_part_of_the_base():
    body = _mounted(0.05).body
    assert body[100, BodyColumn.CA_BURN] == pytest.approx(-0.125 * 0.25)  # base drag 0.25/M on a quarter of the area
    assert (_mounted(0.0).body[:, BodyColumn.CA_BURN] == 0).all()
    assert _mounted(0.2).body[100, BodyColumn.CA_BURN] == pytest.approx(-0.125)  # never more than the base


def test_breakdown__parts_sum_to_the_table():
    mission = _plain()
    mach = np.array([0.3, 0.9, 1.1, 2.0])
    parts = drag_breakdown(mission, [0], mach, unit_reynolds=40.0**4)
    aero = aero_table(mission, [0])
    row = np.rint(mach * 50).astype(int)
    assert parts["total"] == pytest.approx(aero.body[row, BodyColumn.CA] + aero.friction[row, 20], rel=1e-12)
    assert all((value >= 0).all() for name, value in parts.items() if name != "base, burning")


def test_breakdown__measured_curve_is_shown_beside_the_build_up():
    mission = _mission(_stage(*_body(), _fins(), measured=MEASURED))
    assert drag_breakdown(mission, [0], [0.5])["measured"] == pytest.approx(0.5)
