"""Motor facts, the thrust table of a stage, and scaling."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from mass_samples import booster, mission, motor, sustainer

from sixdof.mission.tables import Mount
from sixdof.vehicle.motor import STEP, break_points, motor_class, motor_facts, no_thrust, running_impulse, scaled, thrust_table

ROUNDING = 1e-12  # relative: sums of a few terms in float64


def test_facts__of_a_trapezoid_are_the_closed_forms():
    # up in 0.1 s to 300 N, falling to 250 N at 1.0 s, to zero at 1.4 s
    found = motor_facts(motor())
    total = 0.5 * 300.0 * 0.1 + 0.5 * 550.0 * 0.9 + 0.5 * 250.0 * 0.4
    assert found.total_impulse == pytest.approx(total, rel=ROUNDING)
    assert found.peak_thrust == 300.0
    # 5 % of the peak is 15 N: reached at 0.1 15/300 = 0.005 s, left at 1.4 - 0.4 15/250 = 1.376 s
    assert found.burn_time == pytest.approx(1.376 - 0.005, rel=ROUNDING)
    cut = 0.5 * 15.0 * 0.005 + 0.5 * 15.0 * 0.024
    assert found.average_thrust == pytest.approx((total - cut) / 1.371, rel=ROUNDING)
    assert found.specific_impulse == pytest.approx(total / (0.16 * 9.80665), rel=ROUNDING)
    assert found.class_letter == "H" and found.loaded_mass == pytest.approx(0.30, rel=ROUNDING)
    assert found.class_limits == (160.0, 320.0)


def test_facts__of_a_block_have_no_tail():
    found = motor_facts(motor(time=(0.0, 2.0), thrust=(50.0, 50.0)))
    assert found.burn_time == pytest.approx(2.0, abs=2.0 * STEP)
    assert found.average_thrust == pytest.approx(50.0, rel=1e-6)  # the microsecond in which it falls to zero


@pytest.mark.parametrize(
    ("impulse", "letter"),
    [
        # NFPA 1125 as in shared/reference/parachutes_flutter_safety.md, section 3: lower limits stand 0.01 N s above
        (0.3126, "1/4A"),
        (0.625, "1/4A"),
        (0.626, "1/2A"),
        (1.25, "1/2A"),
        (1.26, "A"),
        (2.50, "A"),
        (2.51, "B"),
        (5.0, "B"),
        (5.01, "C"),
        (10.0, "C"),
        (10.01, "D"),
        (20.0, "D"),
        (20.01, "E"),
        (40.0, "E"),
        (40.01, "F"),
        (80.0, "F"),
        (80.01, "G"),
        (160.0, "G"),
        (160.01, "H"),
        (320.0, "H"),
        (320.01, "I"),
        (640.0, "I"),
        (640.01, "J"),
        (1280.0, "J"),
        (1280.01, "K"),
        (2560.0, "K"),
        (2560.01, "L"),
        (5120.0, "L"),
        (5120.01, "M"),
        (10240.0, "M"),
        (10240.01, "N"),
        (20480.0, "N"),
        (20480.01, "O"),
        (40960.0, "O"),
        (0.1, "1/8A"),
    ],
)
def test_motor_class__at_the_limits(impulse, letter):
    assert motor_class(impulse)[0] == letter


def test_motor_class__limits_and_beyond_the_alphabet():
    assert motor_class(240.0) == ("H", (160.0, 320.0)) and motor_class(320.0) == ("H", (160.0, 320.0))
    assert motor_class(1.5) == ("A", (1.25, 2.5)) and motor_class(0.1) == ("1/8A", (0.0, 0.3125))
    assert motor_class(1.25 * 2.0**26)[0] == "Z"
    assert motor_class(1.25 * 2.0**26 + 1.0)[0] == "AA"


def test_break_points__start_at_zero_time_and_end_at_zero_thrust():
    late = motor(time=(0.1, 0.5), thrust=(400.0, 400.0))
    time, force = break_points(late.thrust_curve)
    np.testing.assert_allclose(time, [0.0, 0.1, 0.5, 0.5 + STEP], rtol=ROUNDING)
    np.testing.assert_array_equal(force, [0.0, 400.0, 400.0, 0.0])
    whole = motor()
    np.testing.assert_array_equal(break_points(whole.thrust_curve)[0], whole.thrust_curve.time)


def test_break_points__a_recording_that_goes_on_after_the_burn_ends_with_it():
    """A load cell's trace clipped at zero: what it writes after the burn is noise, and the burn ends where thrust first is zero."""
    noisy = motor(time=(0.0, 0.1, 1.0, 1.4, 5.0, 5.1, 5.2, 60.0), thrust=(0.0, 250.0, 230.0, 0.0, 0.0, 2.0, 0.0, 0.0))
    time, force = break_points(noisy.thrust_curve)
    np.testing.assert_array_equal(time, [0.0, 0.1, 1.0, 1.4])
    np.testing.assert_array_equal(force, [0.0, 250.0, 230.0, 0.0])
    # a second pulse is none of that
    twice = motor(time=(0.0, 0.1, 1.0, 1.4, 5.0, 5.1, 5.2), thrust=(0.0, 250.0, 230.0, 0.0, 0.0, 200.0, 0.0))
    np.testing.assert_array_equal(break_points(twice.thrust_curve)[0], twice.thrust_curve.time)


def test_thrust_table__ring_of_equal_motors():
    demo = mission(sustainer(), booster(count=3))
    alone, ring = thrust_table(demo, 0, (0,)), thrust_table(demo, 1, (0, 1))
    np.testing.assert_allclose(ring.force, 3.0 * alone.force, rtol=ROUNDING)
    np.testing.assert_array_equal(ring.time, alone.time)
    np.testing.assert_allclose(ring.impulse, alone.impulse, rtol=ROUNDING)
    assert ring.total_impulse == pytest.approx(3.0 * alone.total_impulse, rel=ROUNDING)
    assert ring.propellant == pytest.approx(0.48, rel=ROUNDING)
    assert ring.exit_x == pytest.approx(1.64, rel=ROUNDING) and alone.exit_x == pytest.approx(1.10, rel=ROUNDING)
    assert ring.exit_area == pytest.approx(3.0 * math.pi * 0.008**2, rel=ROUNDING)
    assert ring.exit_radius == pytest.approx(0.008, rel=ROUNDING)
    assert ring.reference_pressure == pytest.approx(101325.0, rel=ROUNDING)


def test_thrust_table__of_a_lower_stage_alone_counts_from_its_own_fore_end():
    assert thrust_table(mission(sustainer(), booster()), 1, (1,)).exit_x == pytest.approx(0.54, rel=ROUNDING)


def test_thrust_table__different_motors_are_summed_at_all_break_points():
    slow = motor(time=(0.0, 0.3, 2.0), thrust=(100.0, 80.0, 0.0), nozzle_exit_diameter=0.008, reference_pressure=9e4)
    second = Mount(motor="slow", station=0.58, length=0.24, inner_diameter=0.0385, mass=0.03)
    demo = mission(sustainer(second), slow=slow)
    table = thrust_table(demo, 0, (0,))
    parts = [motor().thrust_curve, slow.thrust_curve]
    np.testing.assert_array_equal(table.time, [0.0, 0.1, 0.3, 1.0, 1.4, 2.0])
    for t in np.linspace(0.0, 2.0, 41):
        wanted = sum(np.interp(t, part.time, part.thrust) for part in parts)
        assert np.interp(t, table.time, table.force) == pytest.approx(wanted, rel=ROUNDING, abs=1e-12)
    shares = np.array([motor_facts(motor()).total_impulse, motor_facts(slow).total_impulse])
    assert table.total_impulse == pytest.approx(shares.sum(), rel=ROUNDING)
    assert table.exit_x == pytest.approx(shares @ [1.10, 0.82] / shares.sum(), rel=ROUNDING)
    # (p_ref - p) A of both nozzles together, at any p: here at none
    push = math.pi * (0.008**2 * 101325.0 + 0.004**2 * 9e4)
    assert table.reference_pressure * table.exit_area == pytest.approx(push, rel=ROUNDING)


def test_thrust_table__stage_without_a_motor_is_told():
    glider = sustainer()
    parts = tuple(part for part in glider.part if part.kind != "mount")
    demo = mission(glider.model_copy(update={"part": parts}), booster())
    with pytest.raises(ValueError, match='stage "sustainer" has no motor'):
        thrust_table(demo, 0, (0,))


def test_no_thrust__is_a_curve_that_pushes_and_burns_nothing():
    table = no_thrust(0.7)
    assert not table.force.any() and table.propellant == 0.0 and table.exit_area == 0.0
    assert table.exit_x == 0.7 and table.total_impulse > 0.0  # the kernel divides by it
    assert np.all(np.diff(table.time) > 0.0)
    assert all(array.flags.c_contiguous and array.dtype == np.float64 for array in table[:3])


CURVES = st.lists(st.tuples(st.floats(1e-3, 0.2), st.floats(0.0, 500.0)), min_size=2, max_size=12).filter(
    lambda points: sum(force for _, force in points) > 1.0
)


@given(CURVES)
def test_thrust_table__impulse_runs_from_zero_to_one_and_time_rises(points):
    gaps, forces = zip(*points)
    time = np.cumsum(gaps)
    propellant = float(running_impulse(time, np.array(forces))[-1]) / (9.80665 * 150.0)  # a mission takes 50 to 400 s of specific impulse
    demo = mission(sustainer(), **{"H-demo": motor(time=tuple(time), thrust=forces, propellant_mass=propellant)})
    table = thrust_table(demo, 0, (0,))
    assert table.time[0] == 0.0 and table.force[-1] == 0.0
    assert np.all(np.diff(table.time) > 0.0) and np.all(np.diff(table.impulse) >= 0.0)
    assert table.impulse[0] == 0.0 and table.impulse[-1] == 1.0
    assert table.total_impulse == pytest.approx(running_impulse(table.time, table.force)[-1], rel=ROUNDING)
    assert all(array.flags.c_contiguous and array.dtype == np.float64 for array in table[:3])


@given(st.floats(0.5, 2.0), st.floats(0.5, 2.0))
def test_scaled__impulse_and_duration_are_exact_and_the_shape_stays(impulse_factor, burn_factor):
    table = thrust_table(mission(), 0, (0,))
    other = scaled(table, impulse_factor, burn_factor)
    assert other.total_impulse == pytest.approx(impulse_factor * table.total_impulse, rel=ROUNDING)
    assert running_impulse(other.time, other.force)[-1] == pytest.approx(other.total_impulse, rel=ROUNDING)
    assert other.time[-1] == pytest.approx(burn_factor * table.time[-1], rel=ROUNDING)
    np.testing.assert_array_equal(other.impulse, table.impulse)
    np.testing.assert_allclose(other.force / other.force.max(), table.force / table.force.max(), rtol=1e-12)


@pytest.mark.parametrize("factors", [(0.0, 1.0), (1.0, -1.0), (math.nan, 1.0)])
def test_scaled__bad_factor_is_told(factors):
    with pytest.raises(ValueError, match="must both be more than 0"):
        scaled(thrust_table(mission(), 0, (0,)), *factors)
