"""Single formulas of the aerodynamics: joins, cross-flow, fin planforms, stall, pressures."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import PchipInterpolator
from scipy.special import ellipe

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Nose, Stage, Transition, Tube
from sixdof.vehicle.aero import fin as aero_fin
from sixdof.vehicle.aero import friction as aero_friction
from sixdof.vehicle.aero import pressure as aero_pressure
from sixdof.vehicle.aero.blend import bridge, mach_grid, monotone, smoothstep
from sixdof.vehicle.aero.cross_flow import cross_flow_drag
from sixdof.vehicle.aero.drag import drag_breakdown
from sixdof.vehicle.aero.fin_drag import edges, wave
from sixdof.vehicle.geometry import FinSet, shape_of

MACH = mach_grid()
DIFFERENCE = 1e-3  # absolute error of the one-sided differences that give a bridge its end slopes


def _stage(*parts) -> Stage:
    return Stage.model_construct(name="one", part=parts)


def _fin(**change) -> FinSet:
    given_fin = dict(count=4, station=0.5, root_chord=0.2, tip_chord=0.2, semispan=0.1, thickness=0.004)
    body = Nose(mass=0.1, length=0.3, diameter=0.1), Tube(mass=0.1, length=0.6, diameter=0.1)
    return shape_of([_stage(*body, Fins(mass=0.1, **{**given_fin, **change}))]).fins[0]


def test_smoothstep__ends_and_middle():
    assert smoothstep(np.array([-1.0, 2.0, 3.0, 4.0, 9.0]), 2.0, 4.0).tolist() == [0.0, 0.0, 0.5, 1.0, 1.0]


def test_bridge__keeps_values_and_slopes():
    mach = np.array([0.5, 0.8, 0.8 + 1e-5, 1.2 - 1e-5, 1.2, 2.0])
    found = bridge(mach, lambda m: m**2, lambda m: 3.0 - m)
    assert found[[0, 1, 4, 5]] == pytest.approx([0.25, 0.64, 1.8, 1.0], rel=1e-12)
    assert (found[2] - found[1]) / 1e-5 == pytest.approx(1.6, abs=DIFFERENCE)
    assert (found[4] - found[3]) / 1e-5 == pytest.approx(-1.0, abs=DIFFERENCE)


def test_cross_flow__published_numbers():
    """Jorgensen 1973: Cdn 1.2 at low cross-flow Mach, eta 0.68 at l/d 10, 0.69 +/- 0.03 at 12, 1 beyond Mach 1."""
    assert cross_flow_drag(0.0, 10.0) == pytest.approx(1.2 * 0.68)
    assert cross_flow_drag(0.2, 12.0) == pytest.approx(1.2 * 0.69, rel=0.02)
    assert cross_flow_drag(1.5, 12.0) == pytest.approx(1.5, abs=0.1)  # what it is remembered to; Stanton (1929) has less
    assert cross_flow_drag(0.0, 20.0) == pytest.approx(1.2 * 0.74)


def test_taper_weight__exact_planforms():
    assert aero_fin.taper_weight(_fin()) == pytest.approx(0.0, abs=1e-12)
    delta = _fin(tip_chord=0.0, tip_offset=0.2)
    assert aero_fin.taper_weight(delta) == pytest.approx(1.0)
    backwards = _fin(tip_chord=0.0, tip_offset=0.0)  # the same delta flown trailing edge first
    assert aero_fin.taper_weight(backwards) == pytest.approx(1.0)


def test_slope__delta_and_its_reverse_are_equal_in_supersonic_flow():
    fast = MACH[MACH >= 1.2]
    ahead = aero_fin.panel_slope(fast, _fin(tip_chord=0.0, tip_offset=0.2), 0.01)
    np.testing.assert_allclose(ahead, aero_fin.panel_slope(fast, _fin(tip_chord=0.0, tip_offset=0.0), 0.01), rtol=1e-9)


@given(st.floats(0.02, 20.0), st.floats(0.0, 1.0))
def test_slope__supersonic_load_grows_with_span_and_never_beats_the_plate(b, weight):
    load = (1 - weight) * aero_fin.rectangle_load(b) + weight * aero_fin.triangle_load(b)
    wider = (1 - weight) * aero_fin.rectangle_load(1.01 * b) + weight * aero_fin.triangle_load(1.01 * b)
    assert 0 < b * load <= 1.01 * b * wider * (1 + 1e-12) and b * load <= 4.0 + 1e-12  # a wide delta's is 4 exactly


def test_slope__rectangle_joins_smoothly_at_one():
    below, at, above = aero_fin.rectangle_load(np.array([1 - 1e-6, 1.0, 1 + 1e-6]))
    assert at == pytest.approx(2.0, rel=1e-12)
    assert abs(above - 2 * at + below) < 1e-11  # equal slopes on both sides leave the second difference


def test_centre__delta_acts_at_its_centroid_in_supersonic_flow():
    fin = _fin(tip_chord=0.0, tip_offset=0.2)
    centre = aero_fin.centre_station(np.array([0.3, 2.0, 5.0]), fin)
    assert centre[0] == pytest.approx(0.5 + 0.5 * 0.2)  # quarter of 2/3 behind 1/3
    assert centre[1:] == pytest.approx([0.5 + 2 / 3 * 0.2] * 2)


@given(st.floats(0.05, 0.3), st.floats(0.0, 0.3), st.floats(0.0, 0.3), st.floats(0.03, 0.3))
def test_centre__moves_aft_between_quarter_and_half_chord(root, tip, sweep, span):
    fin = _fin(root_chord=root, tip_chord=tip, tip_offset=sweep, semispan=span)
    share = (aero_fin.centre_station(MACH, fin) - fin.x0 - fin.x_mac_le) / fin.mac
    # the cubic between may pass either end by a hundredth of a chord
    assert share.min() > 0.24 and share.max() < 0.51


def test_chord_moment__rectangle_from_the_axis():
    fin = _fin(root_chord=0.2, tip_chord=0.2, semispan=0.1)
    exact = 0.2 * (0.15**3 - 0.05**3) / 3
    assert aero_fin.chord_moment(fin, 2) == pytest.approx(exact, rel=1e-12)
    assert aero_fin.roll_arm(fin) == pytest.approx(exact / (0.2 * (0.15**2 - 0.05**2) / 2), rel=1e-12)


def test_chord_moment__ellipse():
    """int c y dy from the axis = area (r + 4 s/(3 pi)) for half an ellipse."""
    fin = _fin(outline="ellipse", tip_chord=None)
    exact = math.pi / 4 * 0.2 * 0.1 * (0.05 + 4 * 0.1 / (3 * math.pi))
    assert aero_fin.chord_moment(fin, 1) == pytest.approx(exact, rel=1e-5)  # the outline is a polygon


def test_stall__low_ratio_holds_longer_and_supersonic_longest():
    slow = np.degrees(np.arcsin([aero_fin.stall_sine(0.3, ratio) for ratio in (0.5, 1.0, 2.0, 4.0, 8.0)]))
    assert np.all(np.diff(slow) < 0)
    assert 25 < slow[1] < 30 and 16 < slow[2] < 24 and 12 < slow[4] < 16  # the stated +/-4 deg of thin plates
    assert np.all(np.diff(aero_fin.stall_sine(MACH, 2.0)) >= 0)


def test_wetted_area__cone_and_cylinder():
    parts = Nose(mass=0.1, shape="cone", length=0.4, diameter=0.1), Tube(mass=0.1, length=0.5, diameter=0.1)
    cone, tube = shape_of([_stage(*parts)]).segments
    assert aero_friction.wetted_area(cone) == pytest.approx(math.pi * 0.05 * math.hypot(0.4, 0.05), rel=1e-9)
    assert aero_friction.wetted_area(tube) == pytest.approx(math.pi * 0.1 * 0.5, rel=1e-12)


def test_wetted_area__hemisphere():
    ball = shape_of([_stage(Nose(mass=0.1, shape="ellipsoid", length=0.05, diameter=0.1))]).segments[0]
    assert aero_friction.wetted_area(ball) == pytest.approx(2 * math.pi * 0.05**2, rel=1e-4)


def test_friction__each_stage_with_its_own_finish():
    fore = _stage(Nose(mass=0.1, length=0.3, diameter=0.1), Tube(mass=0.1, length=0.5, diameter=0.1))
    smooth = fore.model_copy(update={"roughness": 0.0})
    rough = _stage(Tube(mass=0.1, length=0.8, diameter=0.1)).model_copy(update={"roughness": 5e-4})
    stages = [smooth, rough]
    items = aero_friction.surfaces(shape_of(stages), stages)
    assert [item.roughness for item in items] == [0.0, 5e-4]
    assert [item.length for item in items] == pytest.approx([1.6, 1.6])
    drag = [float(aero_friction.friction([item], 0.3, 1e7, 0.01)) / item.area for item in items]
    assert drag[1] > 1.5 * drag[0]


NOSE_DRAG = dict(length=0.3, diameter=0.1)


def _nose_drag(mach: float, **shape) -> float:
    parts = Nose(mass=0.1, **{**NOSE_DRAG, **shape}), Tube(mass=0.1, length=0.5, diameter=0.1)
    vehicle = Mission.model_construct(motor={}, stage=(_stage(*parts),))
    return float(drag_breakdown(vehicle, [0], [mach])["nose and shoulders"][0])


def test_nose__good_shapes_cost_nothing_subsonic_and_blunt_ones_most_supersonic():
    assert _nose_drag(0.5, shape="tangent-ogive") < 1e-4
    assert _nose_drag(0.5, shape="cone", length=0.05) > 0.3  # 45 deg: half of a flat face
    assert _nose_drag(2.0, shape="haack") < 1.2 * _nose_drag(2.0, shape="cone")
    assert _nose_drag(2.0, shape="ellipsoid") > 1.3 * _nose_drag(2.0, shape="cone")


def test_nose__slender_power_three_quarters_beats_the_cone():
    """Least-drag noses of given length and diameter have exponents near 3/4 (hypersonic theory, Eggers 1957)."""
    assert _nose_drag(3.0, shape="power", exponent=0.75) < _nose_drag(3.0, shape="cone")


def test_surface_pressure__continuous_and_ends_at_stagnation():
    angle = np.radians(np.linspace(0.0, 90.0, 901))
    found = aero_pressure.surface_pressure(2.0, angle)
    assert np.all(np.diff(found) > 0) and np.max(np.diff(found)) < 0.01
    assert found[-1] == pytest.approx(float(aero_pressure.stagnation(2.0)), rel=1e-12)


def test_boattail__between_nothing_and_a_base():
    gentle = aero_pressure.narrowing(MACH, 0.2, 0.05, 0.04)  # 2.9 deg
    steep = aero_pressure.narrowing(MACH, 0.005, 0.05, 0.04)  # 63 deg
    base = aero_pressure.base_pressure(MACH) * math.pi * (0.05**2 - 0.04**2)
    assert np.all(gentle[MACH < 0.8] == 0) and np.all(gentle <= base)
    np.testing.assert_allclose(steep, base, rtol=1e-12)


def test_outline__backwards_twice_is_the_same_body():
    parts = (
        Nose(mass=0.1, length=0.3, diameter=0.08),
        Tube(mass=0.1, length=0.4, diameter=0.1),
        Transition(mass=0.1, length=0.1, fore_diameter=0.1, aft_diameter=0.06),
    )
    pieces = aero_pressure.outline(shape_of([_stage(*parts)]).segments)
    twice = aero_pressure.reversed_outline(aero_pressure.reversed_outline(pieces))
    # the base, a face ahead when flown backwards, comes back as a last step down to the axis
    assert len(twice) == len(pieces) + 1 and twice[-1][1][-1] == 0.0
    for (x, r), (x2, r2) in zip(pieces, twice):
        np.testing.assert_allclose(np.r_[x, r], np.r_[x2, r2], atol=1e-12)


def _fin_pressure(**change):
    return edges(MACH, _fin(**change)) + wave(MACH, _fin(**change))


@pytest.mark.parametrize("section", ["flat", "rounded", "double-wedge", "airfoil"])
def test_fin_pressure__thicker_is_worse(section):
    thin, thick = (_fin_pressure(section=section, thickness=t) for t in (0.002, 0.004))
    assert np.all(thick >= thin) and np.all(thick[MACH > 0.9] > thin[MACH > 0.9])


def test_fin_pressure__sharp_sections_cost_nothing_subsonic_and_square_ones_most():
    slow = MACH <= 0.8
    drag = {name: _fin_pressure(section=name) for name in ("flat", "rounded", "double-wedge", "airfoil")}
    assert np.all(drag["double-wedge"][slow] == 0) and np.all(drag["airfoil"][slow] == 0)
    assert np.all(drag["flat"] > drag["rounded"]) and np.all(drag["rounded"] > drag["airfoil"])


def test_monotone__is_the_curve_of_an_independent_library():
    rng = np.random.default_rng(3)
    for trial in range(40):
        at = np.cumsum(rng.uniform(0.1, 2.0, rng.integers(3, 12)))
        values = rng.normal(size=at.size) if trial % 2 else np.cumsum(rng.uniform(0.0, 1.0, at.size))
        x = np.append(rng.uniform(at[0], at[-1], 50), at)
        np.testing.assert_allclose(monotone(x, at, values), PchipInterpolator(at, values)(x), rtol=1e-13, atol=1e-13)


def test_elliptic_e__is_that_of_an_independent_library():
    complement = np.array([0.0, 1e-12, 1e-6, 1e-3, 0.1, 0.3, 0.5, 0.9, 0.999, 1.0])
    np.testing.assert_allclose(aero_fin.elliptic_e(complement), ellipe(1.0 - complement**2), rtol=1e-14)  # at 0 the mean ends at the least number it takes
