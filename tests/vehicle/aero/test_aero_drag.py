"""The axial force's build-up: single parts, and its sum against what the kernel flies."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tunnel import VISCOSITY, coefficients, unit_reynolds
from two_stages import on_booster

from sixdof.mission.tables import DragCurve, Fins, Measured, Nose, Stage, Transition, Tube
from sixdof.vehicle.aero import fin_drag as aero_fin_drag
from sixdof.vehicle.aero import pressure as aero_pressure
from sixdof.vehicle.aero.drag import fore_axial
from sixdof.vehicle.aero.table import aero_table, drag_breakdown
from sixdof.vehicle.geometry import FinSet, shape_of

ROUNDING = 1e-9
ON_COLUMN = 60.0  # fourth root of a unit Reynolds number that is a column of the friction table
BETWEEN = 3e-3  # relative: the kernel takes friction straight between columns


def _fin(**change) -> FinSet:
    given_fin = dict(count=4, station=0.5, root_chord=0.2, tip_chord=0.2, semispan=0.1, thickness=0.004)
    body = Nose(mass=0.1, length=0.3, diameter=0.1), Tube(mass=0.1, length=0.6, diameter=0.1)
    stage = Stage.model_construct(name="one", part=(*body, Fins(mass=0.1, **{**given_fin, **change})))
    return shape_of([stage]).fins[0]


@pytest.mark.parametrize("stages", [[0], [0, 1]])
@pytest.mark.parametrize("mach", [0.3, 0.9, 1.1, 2.0])
@pytest.mark.parametrize("burning", [0.0, 1.0])
def test_sum__is_what_the_kernel_flies(demo_mission, stages, mach, burning):
    mission = on_booster(demo_mission)
    viscosity = unit_reynolds(mach) * VISCOSITY / ON_COLUMN**4
    found = coefficients(aero_table(mission, stages), mach, burning=burning, viscosity=viscosity)
    parts = drag_breakdown(mission, stages, [mach], ON_COLUMN**4)
    assert -found[0] == pytest.approx(parts["total"][0] + burning * parts["base, burning"][0], rel=ROUNDING)
    named = [value for name, value in parts.items() if name not in ("total", "base, burning")]
    assert np.sum(named) == pytest.approx(parts["total"][0], rel=ROUNDING)


@pytest.mark.parametrize("mach", [0.315, 0.6, 1.87])
def test_sum__between_the_rows_and_columns(demo_mission, mach):
    found = coefficients(aero_table(demo_mission, [0]), mach)
    parts = drag_breakdown(demo_mission, [0], [mach], unit_reynolds(mach))
    assert -found[0] == pytest.approx(parts["total"][0], rel=BETWEEN)


def test_measured__holds_for_the_stages_it_was_measured_with(demo_mission):
    """The sustainer's curve is its own: not the stack's, whose curve would be the booster's."""
    mission = on_booster(demo_mission)
    curve = Measured(drag_curve=DragCurve(mach=(0.0, 3.0), coefficient=(0.5, 0.5)))
    upper = mission.model_copy(update={"stage": (mission.stage[0].model_copy(update={"measured": curve}), mission.stage[1])})
    lower = mission.model_copy(update={"stage": (mission.stage[0], mission.stage[1].model_copy(update={"measured": curve}))})
    assert "measured" in drag_breakdown(upper, [0], [0.3]) and "measured" not in drag_breakdown(upper, [0, 1], [0.3])
    assert "measured" in drag_breakdown(lower, [0, 1], [0.3]) and "measured" not in drag_breakdown(lower, [1], [0.3])
    assert -coefficients(aero_table(lower, [0, 1]), 0.7)[0] == pytest.approx(0.5, rel=ROUNDING)


@pytest.mark.parametrize("mach", [0.3, 0.95, 1.6])
def test_fore_axial__is_the_fore_stage_without_its_base(demo_mission, mach):
    """A 0.1 mm ring behind the sustainer leaves it as it was alone, its base covered; measured curves do not count."""
    body = 2.0 * max(segment.r1 for segment in shape_of(demo_mission.stage).segments)
    ring = Stage(name="ring", part=(Tube(length=1e-4, diameter=body, mass=0.1),))
    measured = Measured(drag_curve=DragCurve(mach=(0.0, 3.0), coefficient=(0.5, 0.5)))
    mission = demo_mission.model_copy(update={"stage": (demo_mission.stage[0], ring.model_copy(update={"measured": measured}))})
    parts = drag_breakdown(demo_mission, [0], [mach])
    # friction of the body is that of its whole length: 0.1 mm in 1.5 m changes it by 1e-5 of it
    assert fore_axial(mission, [0, 1], np.array([mach]))[0] == pytest.approx(parts["total"][0] - parts["base"][0], rel=1e-4)


def test_fore_axial__takes_nothing_from_the_booster(demo_mission):
    """The booster's fins and guide are no part of it, and the whole stack has more."""
    mission, mach = on_booster(demo_mission), np.array([0.4])
    parts = drag_breakdown(mission, [0, 1], mach)
    bare = mission.model_copy(
        update={
            "stage": (
                mission.stage[0],
                mission.stage[1].model_copy(update={"part": tuple(part for part in mission.stage[1].part if part.kind not in ("fins", "guide"))}),
            )
        }
    )
    stack = drag_breakdown(bare, [0, 1], mach)
    ahead = fore_axial(mission, [0, 1], mach)
    np.testing.assert_array_equal(ahead, fore_axial(bare, [0, 1], mach))
    assert 0.0 < ahead[0] < stack["total"][0] - stack["base"][0] < parts["total"][0]


def test_wave__sweep_relieves_it_inside_the_mach_cone():
    """USAF DATCOM 4.1.5.1: K (t/c)^2/beta, and K (t/c)^2/tan(sweep) where that is less."""
    straight, swept = (aero_fin_drag.thickness_drag(1.2, 0.05, "double-wedge", sweep) for sweep in (0.0, math.radians(60.0)))
    assert straight == pytest.approx(4 * 0.05**2 / math.sqrt(0.44), rel=1e-12)
    assert swept == pytest.approx(4 * 0.05**2 / math.sqrt(3.0), rel=1e-12)
    assert aero_fin_drag.thickness_drag(3.0, 0.05, "double-wedge", math.radians(60.0)) == aero_fin_drag.thickness_drag(3.0, 0.05, "double-wedge")


def test_junctions__none_for_thin_fins_some_for_thick_ones():
    """t^2 (0.75 t/c - 0.0003 (c/t)^2) a panel (Hoerner 1965, ch. 8): 0 below t/c 0.0737."""
    thin, thick = (aero_fin_drag.junctions(np.zeros(1), _fin(thickness=t))[0] for t in (0.004, 0.02))
    assert thin == 0.0
    assert thick == pytest.approx(4 * 0.02**2 * (0.75 * 0.1 - 3e-4 * 100), rel=1e-9)


def test_slots__grow_with_the_gap():
    none, some = (aero_fin_drag.slots(np.zeros(1), _fin(root_gap=gap))[0] for gap in (0.0, 0.001))
    assert none == 0.0 and some == pytest.approx(4 * 1.2 * 0.004 * 0.001)


def test_base__boattail_raises_its_pressure():
    def shape(aft, length=0.2):
        tail = Transition(mass=0.1, length=length, fore_diameter=0.1, aft_diameter=aft)
        return shape_of([Stage.model_construct(name="one", part=(Nose(mass=0.1, length=0.3, diameter=0.1), tail))])

    assert aero_pressure.base_share(shape(0.08).segments) == pytest.approx(0.8)  # attached: the diameters' ratio
    assert aero_pressure.base_share(shape(0.08, 0.01).segments) == pytest.approx(1.0)  # 45 deg: separated before it
    assert aero_pressure.base_share(shape(0.12).segments) == 1.0


@settings(max_examples=30, deadline=None)
@given(
    st.sampled_from(["flat", "rounded", "double-wedge", "airfoil"]), st.floats(0.001, 0.02), st.floats(0.0, 0.3), st.floats(0.0, 0.005), st.floats(0.03, 0.2)
)
def test_fins__every_part_is_finite_and_no_thrust(section, thickness, sweep, gap, span):
    fin, mach = _fin(section=section, thickness=thickness, tip_offset=sweep, root_gap=gap, semispan=span), np.arange(251) / 50
    for part in (aero_fin_drag.edges, aero_fin_drag.wave, aero_fin_drag.junctions, aero_fin_drag.slots):
        area = part(mach, fin)
        assert np.isfinite(area).all() and (area >= 0.0).all()
