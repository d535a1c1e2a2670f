"""The mass table: what adds up, what a measurement overrides, and that the result is the mass of a body."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from mass_samples import booster, mission, motor, sustainer

from sixdof.core.columns import GRAIN_COLUMNS, GrainColumn
from sixdof.mission.tables import Fins, Measured, Mount, Nose, PointMass, RailGuide, Stage, Transition, Tube
from sixdof.mission.tables.materials import MATERIALS
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe, grain_rows, mass_at, mass_table, part_masses, stage_lumps, table_of
from sixdof.vehicle.mounting import grain_size, placed_motors
from sixdof.vehicle.solids import Lump, combine

ROUNDING = 1e-11  # relative: sums of dozens of terms in float64
TENSOR_ROUNDING = 1e-15  # kg m^2 beside moments of about 1


def is_a_body(inertia: np.ndarray) -> bool:
    """Tell whether a tensor is symmetric, positive definite, and no principal moment exceeds the other two's sum."""
    principal = np.linalg.eigvalsh(inertia)
    symmetric = np.abs(inertia - inertia.T).max() <= TENSOR_ROUNDING
    return bool(symmetric and principal[0] > 0.0 and principal[2] <= (principal[0] + principal[1]) * (1.0 + ROUNDING))


# ---------------------------------------------------------------- the sum of the parts


def test_mass_table__is_the_sum_of_its_parts():
    demo = mission(sustainer(), booster())
    rows = part_masses(demo, (0, 1))
    table = mass_table(demo, (0, 1))
    mass, centre, _ = mass_at(table, 1.0)
    assert mass == pytest.approx(sum(row.mass for row in rows), rel=ROUNDING)
    assert centre[0] == pytest.approx(sum(row.mass * row.station for row in rows) / mass, rel=ROUNDING)
    dry = sum(row.mass for row in rows if row.kind != "propellant" or row.stage == 0)  # the upper motor is not lit
    assert table.dry == pytest.approx(dry, rel=ROUNDING)
    assert mass_at(table, 0.0)[0] == pytest.approx(dry, rel=ROUNDING)


def test_part_masses__density_and_material_come_from_geometry():
    tube = Tube(name="t", length=0.5, diameter=0.08, wall_thickness=0.002, material="aluminium")
    chords = {"root_chord": 0.1, "tip_chord": 0.1}
    extra = Fins(name="f", count=3, station=1.1, semispan=0.05, thickness=0.004, density=500.0, **chords)
    joined = Transition(length=0.05, fore_diameter=0.066, aft_diameter=0.08, wall_thickness=0.001, mass=0.02)
    rows = {row.name: row for row in part_masses(mission(sustainer(joined, tube, extra)), (0,))}
    assert rows["t"].mass == pytest.approx(MATERIALS["aluminium"] * math.pi * (0.04**2 - 0.038**2) * 0.5, rel=ROUNDING)
    assert rows["t"].station == pytest.approx(1.15 + 0.25, rel=ROUNDING)
    assert rows["f"].mass == pytest.approx(500.0 * 3 * 0.005 * 0.004, rel=ROUNDING)
    assert rows["mount"].mass == pytest.approx(900.0 * math.pi * (0.02025**2 - 0.01925**2) * 0.24, rel=ROUNDING)


def test_mass_table__stack_of_stages_is_the_two_put_together():
    demo = mission(sustainer(), booster())
    both = mass_at(mass_table(demo, (0, 1)), 1.0)
    upper, lower = mass_at(mass_table(demo, (0,)), 1.0), mass_at(mass_table(demo, (1,)), 1.0)
    assert both[0] == pytest.approx(upper[0] + lower[0], rel=ROUNDING)
    # stations of the booster alone start at its own fore end, 1.10 m behind the nose tip
    moved = lower[1] + [1.10, 0.0, 0.0]
    np.testing.assert_allclose(both[1], (upper[0] * upper[1] + lower[0] * moved) / both[0], rtol=1e-10, atol=1e-15)
    apart = upper[0] * lower[0] / both[0] * (moved[0] - upper[1][0]) ** 2
    assert both[2][1, 1] == pytest.approx(upper[2][1, 1] + lower[2][1, 1] + apart, rel=1e-5)  # battery stands off axis


def test_mass_table__battery_off_the_axis_makes_the_products():
    table = mass_table(mission(), (0,))
    without = tuple(part for part in sustainer().part if part.name != "battery")
    plain = mass_table(mission(Stage(name="plain", part=without)), (0,))
    for field in ("cg_y", "cg_z", "ixy", "ixz", "iyz"):
        assert getattr(plain, field) == pytest.approx(0.0, abs=TENSOR_ROUNDING)
    # 0.1 kg at y 0.012, z -0.008; both masses' products about the common centre: J_ab = -mu a b, mu = m1 m2/(m1 + m2)
    mu = 0.1 * plain.dry / (0.1 + plain.dry)
    ahead = plain.cg_x - 0.45
    assert table.ixy == pytest.approx(-mu * ahead * 0.012, rel=1e-9)
    assert table.ixz == pytest.approx(mu * ahead * 0.008, rel=1e-9)
    assert table.iyz == pytest.approx(mu * 0.012 * 0.008, rel=1e-9)
    assert table.cg_y == pytest.approx(0.1 * 0.012 / table.dry, rel=ROUNDING)


# ---------------------------------------------------------------- motors


def test_grain_rows__sit_in_their_mounts():
    demo = mission(sustainer(), booster())
    table, upper = mass_table(demo, (0, 1)), mass_table(demo, (0,))
    assert upper.grain.shape == (1, GRAIN_COLUMNS) and table.grain.shape == (3, GRAIN_COLUMNS)
    assert upper.grain.flags.c_contiguous and table.grain.flags.c_contiguous
    np.testing.assert_array_equal(np.r_[upper.grain[:, GrainColumn.MASS], table.grain[:, GrainColumn.MASS]], 0.16)
    # mount aft end 0.85 + 0.24, protrusion 0.01, motor 0.24 long with the grain in its middle
    assert upper.grain[0, GrainColumn.X] == pytest.approx(1.10 - 0.12, rel=ROUNDING)
    np.testing.assert_allclose(table.grain[:, GrainColumn.X], 1.10 + 0.54 - 0.12, rtol=ROUNDING)
    angle = 0.3 + 2.0 * math.pi / 3.0 * np.arange(3)  # clockwise from +z seen from behind, where y is right, z down
    np.testing.assert_allclose(table.grain[:, GrainColumn.Y], -0.026 * np.sin(angle), rtol=1e-9)
    np.testing.assert_allclose(table.grain[:, GrainColumn.Z], 0.026 * np.cos(angle), rtol=1e-9)
    assert mass_at(table, 1.0)[1][2] == pytest.approx(-0.1 * 0.008 / mass_at(table, 1.0)[0], rel=1e-9)  # battery only


def test_grain_size__given_and_left_out():
    assert grain_size(motor()) == pytest.approx((0.9 * 0.24, 0.12, 0.5 * 0.95 * 0.038, 0.005), rel=ROUNDING)
    assert grain_size(motor(grain_length=0.1, grain_station=0.03))[:2] == pytest.approx((0.1, 0.08), rel=ROUNDING)
    assert grain_size(motor(grain_station=0.14))[:2] == pytest.approx((0.1, 0.19), rel=ROUNDING)


def test_mass_table__only_the_aft_stage_burns():
    """Burnt out, a stack is its loaded upper stage and its empty booster: in mass, in balance and in inertia."""
    demo = mission(sustainer(), booster())
    burnt = mass_at(mass_table(demo, (0, 1)), 0.0)
    assert burnt[0] == pytest.approx(mass_at(mass_table(demo, (0, 1)), 1.0)[0] - 3 * 0.16, rel=ROUNDING)
    upper, lower = (Lump(*mass_at(mass_table(demo, (k,)), unburnt)) for k, unburnt in ((0, 1.0), (1, 0.0)))
    both = combine([upper, Lump(lower.mass, lower.place + [1.10, 0.0, 0.0], lower.inertia)])
    assert burnt[0] == pytest.approx(both.mass, rel=ROUNDING)
    np.testing.assert_allclose(burnt[1], both.place, rtol=1e-10, atol=TENSOR_ROUNDING)
    np.testing.assert_allclose(burnt[2], both.inertia, rtol=1e-10, atol=TENSOR_ROUNDING)
    assert burnt[1][0] < mass_at(mass_table(demo, (0, 1)), 1.0)[1][0]  # what has gone was aft


def test_stage_lumps__unlit_grains_stand_last_and_make_the_table():
    """Each stage: its airframe, its cases, and, but for the aft stage, its full grains."""
    demo = mission(sustainer(), booster())
    lumps = stage_lumps(demo, (0, 1))
    assert [len(each) for each in lumps] == [3, 4]
    case, grain = lumps[0][1:]
    assert (case.mass, grain.mass) == (0.14, 0.16) and grain.place[0] == pytest.approx(1.10 - 0.12, rel=ROUNDING)
    loaded = mass_at(table_of([Lump(1e-9, grain.place, np.zeros((3, 3)))], grain_rows(demo, (0,))), 1.0)
    np.testing.assert_allclose(np.diag(grain.inertia), np.diag(loaded[2]), rtol=1e-7)  # beside a speck of dry mass
    whole = combine(lump for each in lumps for lump in each)
    assert mass_table(demo, (0, 1)).dry == pytest.approx(whole.mass, rel=ROUNDING)


def test_grain_rows__stage_without_a_motor_has_none():
    parts = tuple(part for part in booster().part if part.kind != "mount")
    demo = mission(sustainer(), Stage(name="spacer", part=parts))
    assert grain_rows(demo, (0, 1)).shape == (0, GRAIN_COLUMNS)
    assert mass_at(mass_table(demo, (0, 1)), 0.0)[0] == mass_at(mass_table(demo, (0, 1)), 1.0)[0]


def test_placed_motors__case_of_the_same_motor_in_two_mounts():
    demo = mission(sustainer(), booster(count=1))
    first, second = (each[0] for each in placed_motors(demo, (0, 1)))
    assert (first.fore, first.aft) == pytest.approx((0.86, 1.10), rel=ROUNDING)
    assert (second.fore, second.aft) == pytest.approx((1.40, 1.64), rel=ROUNDING)


# ---------------------------------------------------------------- measurements


def test_measured__totals_without_motors_are_exactly_those_measured():
    numbers = {"mass": 1.75, "cg": 0.61, "inertia_roll": 0.0021, "inertia_pitch": 0.16, "inertia_yaw": 0.161}
    stage = sustainer(measured=Measured(**numbers))
    shape = shape_of([stage])
    lump, built = airframe(shape, 0, stage), airframe(shape, 0, sustainer())
    assert lump.mass == 1.75 and lump.place[0] == 0.61
    np.testing.assert_array_equal(np.diag(lump.inertia), [0.0021, 0.16, 0.161])
    np.testing.assert_array_equal(lump.place[1:], built.place[1:])
    assert lump.inertia[0, 1] == pytest.approx(built.inertia[0, 1] * 1.75 / built.mass, rel=ROUNDING)
    demo = mission(stage)
    assert mass_at(mass_table(demo, (0,)), 1.0)[0] == pytest.approx(1.75 + 0.16 + 0.14, rel=ROUNDING)


def test_measured__each_overrides_alone():
    shape, built = shape_of([sustainer()]), airframe(shape_of([sustainer()]), 0, sustainer())
    heavier = airframe(shape, 0, sustainer(measured=Measured(mass=2.0 * built.mass)))
    np.testing.assert_allclose(heavier.inertia, 2.0 * built.inertia, rtol=ROUNDING)
    np.testing.assert_array_equal(heavier.place, built.place)
    moved = airframe(shape, 0, sustainer(measured=Measured(cg=0.5)))
    assert moved.mass == built.mass and moved.place[0] == 0.5
    np.testing.assert_array_equal(moved.inertia, built.inertia)


def test_measured__cg_of_a_booster_counts_from_its_own_fore_end():
    stage = Stage(name="booster", part=booster().part, measured=Measured(cg=0.3))
    assert airframe(shape_of([sustainer(), stage]), 1, stage).place[0] == pytest.approx(1.40, rel=ROUNDING)


def test_measured__impossible_inertia_is_told():
    stage = sustainer(measured=Measured(inertia_roll=5.0))
    with pytest.raises(ValueError, match='stage "sustainer".*of no body'):
        mass_table(mission(stage), (0,))


# ---------------------------------------------------------------- any vehicle

LENGTH = st.floats(0.02, 1.0)
DIAMETER = st.floats(0.03, 0.3)


@st.composite
def vehicles(draw):
    diameter, aft = draw(DIAMETER), draw(DIAMETER)
    wall = draw(st.sampled_from([None, 0.001, 0.002]))
    shape = draw(st.sampled_from(["cone", "tangent-ogive", "ellipsoid", "parabola", "power", "haack"]))
    nose = Nose(shape=shape, length=diameter * draw(st.floats(0.6, 6.0)), diameter=diameter, wall_thickness=wall, density=1200.0)
    tube = Tube(length=0.3 + draw(LENGTH), diameter=diameter, wall_thickness=wall, mass=draw(st.floats(0.05, 5.0)))
    tail = Transition(length=draw(LENGTH), fore_diameter=diameter, aft_diameter=aft, wall_thickness=wall, density=900.0)
    chord = draw(st.floats(0.05, 0.2))
    fins = Fins(
        count=draw(st.integers(2, 8)),
        station=nose.length + 0.01,
        root_chord=chord,
        tip_chord=draw(st.floats(0.0, 0.2)),
        semispan=draw(st.floats(0.02, 0.3)),
        tip_offset=draw(st.floats(-0.1, 0.3)),
        thickness=0.002,
        density=1800.0,
        clocking=draw(st.floats(-3.0, 3.0)),
    )
    point = PointMass(
        mass=draw(st.floats(0.01, 3.0)),
        station=draw(st.floats(0.0, 1.0)) * (nose.length + tube.length),
        offset_y=draw(st.floats(-0.01, 0.01)),
        offset_z=draw(st.floats(-0.01, 0.01)),
    )
    guides = RailGuide(station=nose.length, mass=0.002), RailGuide(station=nose.length + 0.2, density=900.0)
    mount = Mount(motor="small", station=nose.length, length=0.2, inner_diameter=0.018, density=900.0)
    return Stage(name="any", part=(nose, tube, tail, fins, point, *guides, mount))


@settings(max_examples=60, deadline=None)
@given(vehicles(), st.floats(0.0, 1.0))
def test_mass__of_any_vehicle_is_that_of_a_body(stage, unburnt):
    small = motor(
        length=0.07, diameter=0.018, bore_diameter=0.004, propellant_mass=0.02, case_mass=0.015, nozzle_exit_diameter=0.006, thrust=(0.0, 30.0, 20.0, 0.0)
    )
    demo = mission(stage, small=small)
    shape = shape_of(demo.stage)
    table = mass_table(demo, (0,))
    mass, centre, inertia = mass_at(table, unburnt)
    assert mass == pytest.approx(table.dry + 0.02 * unburnt, rel=ROUNDING)
    # a swept fin may stand out behind the body
    end = max([shape.length, *(fin.x0 + fin.points[:, 0].max() for fin in shape.fins)])
    assert 0.0 < centre[0] < end
    assert math.hypot(centre[1], centre[2]) < 0.5 * shape.diameter
    assert is_a_body(inertia)
    assert is_a_body(mass_at(table, 0.0)[2])
    assert all(isinstance(value, float) for value in table[:-1])
