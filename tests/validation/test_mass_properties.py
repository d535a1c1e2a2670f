"""Mass properties against closed forms of handbooks.

Source of all numbers: shared/reference/mass_properties.md (values of density 1, computed there from the closed forms
and equal to 30-digit quadrature), its companion barrowman.md for the noses' centres of pressure, and NASA/TM-2015-218675
for the brick (published, second-hand).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from sixdof.mission.tables import Fins, Nose, Stage, Transition, Tube
from sixdof.vehicle.geometry import fin_outline, stage_segments
from sixdof.vehicle.solids import Lump, combine, cylinder, fin_panel, grain_inertia, on_axis, parallel_axis, revolution

PRINTED = 1e-12  # relative: the reference prints 13 digits
PRINTED_10 = 1e-9  # relative: the reference prints about 10 digits
THIN = 1e-4  # m: wall of the shells; the surface forms omit terms of wall/R
THIN_ERROR = 2.0 * THIN / 0.03  # relative: two such terms (r and r^2) at the smallest radius of the frustum


def solid(part, wall: float | None = None):
    return revolution(stage_segments(Stage(name="alone", part=(part,)))[0], wall)


def cone() -> Nose:
    return Nose(shape="cone", length=0.3, diameter=0.1, mass=1.0)


def frustum() -> Transition:
    return Transition(length=0.3, fore_diameter=0.06, aft_diameter=0.1, mass=1.0)


def ogive(length: float, radius: float) -> Nose:
    return Nose(shape="tangent-ogive", length=length, diameter=2.0 * radius, mass=1.0)


# ---------------------------------------------------------------- bodies, table "Bodies"


@pytest.mark.parametrize(
    ("part", "volume", "centroid", "roll", "transverse"),
    [
        (cone(), 7.853981633974e-4, 0.225, 5.890486225481e-7, 2.945243112740e-6),
        (frustum(), 1.539380400259e-3, 0.1744897959184, 1.358110504147e-6, 1.148966025789e-5),
        (ogive(0.3, 0.05), 1.266564658974e-3, 0.2056929546888, 1.208822192172e-6, 5.796906169443e-6),
    ],
    ids=["cone", "frustum", "tangent ogive"],
)
def test_solid__matches_the_closed_form(part, volume, centroid, roll, transverse):
    assert solid(part) == pytest.approx((volume, centroid, roll, transverse), rel=PRINTED)


@pytest.mark.parametrize(
    ("part", "slant", "area", "centroid", "roll", "transverse"),
    [
        (cone(), math.hypot(0.3, 0.05), 0.04777390519679, 0.2, 5.971738149599e-5, 2.687282167319e-4),
        (frustum(), math.hypot(0.3, 0.02), 0.07556558953845, 0.1625, 1.284615022154e-4, 6.191655492807e-4),
    ],
    ids=["cone", "frustum"],
)
def test_shell__tends_to_the_surface_form(part, slant, area, centroid, roll, transverse):
    thickness = THIN * 0.3 / slant  # the wall is measured normal to the axis, a surface's thickness normal to itself
    got = np.array(solid(part, THIN)) / [thickness, 1.0, thickness, thickness]
    np.testing.assert_allclose(got, (area, centroid, roll, transverse), rtol=THIN_ERROR)


def test_shell__tangent_ogive_between_two_parallel_arcs():
    # an inner arc about the same centre (0.875 m beyond the axis) is everywhere THIN below the outer one
    below = 0.925 - 0.05
    inner_length = math.sqrt((0.925 - THIN) ** 2 - below**2)
    outer, inner = solid(ogive(0.3, 0.05)), solid(ogive(inner_length, 0.05 - THIN))
    volume = outer.volume - inner.volume
    starts = 0.3 - inner_length  # both end at the base
    centroid = (outer.volume * outer.centroid - inner.volume * (starts + inner.centroid)) / volume
    about_tip = outer.transverse + outer.volume * outer.centroid**2 - inner.transverse - inner.volume * (starts + inner.centroid) ** 2
    # area, centroid, roll and transverse inertia of the surface, from the closed forms under the table
    rho, length, c, phi = 0.925, 0.3, 0.875, math.asin(0.3 / 0.925)
    j1, j2 = 0.5 * (length * c + rho**2 * phi), rho**2 * length - length**3 / 3.0
    area = 2.0 * math.pi * rho * (length - c * phi)
    back = 2.0 * math.pi * rho * (0.5 * length**2 - c * (rho - c)) / area
    roll = 2.0 * math.pi * rho * (j2 - 3.0 * c * j1 + 3.0 * c**2 * length - c**3 * phi)
    pitch = 0.5 * roll - area * back**2
    pitch += 2.0 * math.pi * rho * (length**3 / 3.0 - c * 0.5 * (rho**2 * phi - length * c))
    got = np.array([volume, (outer.roll - inner.roll), about_tip - volume * centroid**2]) / THIN
    np.testing.assert_allclose(got, (area, roll, pitch), rtol=THIN_ERROR)
    assert centroid == pytest.approx(length - back, rel=THIN_ERROR)


def test_tube__solid_wall_and_thin_wall():
    tube = Tube(length=1.0, diameter=0.1, wall_thickness=0.002, mass=1.0)
    volume, centroid, roll, transverse = solid(tube, tube.wall_thickness)
    assert 1700.0 * volume == pytest.approx(1.046778672176, rel=PRINTED)
    assert centroid == pytest.approx(0.5, rel=PRINTED)
    assert 1700.0 * roll == pytest.approx(0.002514362370567, rel=1e-11)  # a difference of solids 12 times as heavy
    assert 1700.0 * transverse == pytest.approx(0.08848873719996, rel=1e-11)
    thick = cylinder(1.046778672176, 1.0, 0.05, 0.048)
    assert thick == pytest.approx((0.002514362370567, 0.08848873719996), rel=PRINTED)
    thin = cylinder(1.046778672176, 1.0, 0.049, 0.049)
    assert thin == pytest.approx((0.002513315591895, 0.08848821381062), rel=PRINTED)


# ---------------------------------------------------------------- fins


def test_fin__trapezoid_matches_the_closed_forms():
    part = Fins(count=4, station=0.0, root_chord=0.12, tip_chord=0.06, semispan=0.1, tip_offset=0.05, thickness=0.003, density=1800.0)
    mass = 1800.0 * 0.009 * 0.003
    assert mass == pytest.approx(0.0486, rel=PRINTED)
    fin = fin_panel(mass, fin_outline(part), 0.003, 0.0, 0.0, 0.0)  # stands along +z, so y_bar is its z
    np.testing.assert_allclose(fin.place, [0.06888888888889, 0.0, 0.04444444444444], rtol=PRINTED, atol=1e-15)
    assert fin.inertia[0, 0] == pytest.approx(3.903645e-5, rel=PRINTED)
    assert fin.inertia[2, 2] == pytest.approx(3.804645e-5, rel=PRINTED)
    # int x y dm = 7.8e-6 with x AFT; the tensor's element is -sum m x z with x FORWARD
    assert fin.inertia[0, 2] == pytest.approx(7.8e-6, rel=PRINTED)
    thickness = mass * 0.003**2 / 12.0
    # a flat plate's moments about axes in its plane add up to that about its normal
    flat = fin.inertia[0, 0] + fin.inertia[2, 2] - 2.0 * thickness
    assert fin.inertia[1, 1] == pytest.approx(flat, rel=PRINTED)
    # the moments about the root's leading edge: int y^2 dA 2.5e-5, int x^2 dA 4.975e-5, int x y dA 2.9e-5
    per_area = 1800.0 * 0.003
    about_root = fin.inertia + parallel_axis(mass, (-fin.place[0], 0.0, fin.place[2]))
    assert (about_root[0, 0] - thickness) / per_area == pytest.approx(2.5e-5, rel=PRINTED)
    assert (about_root[2, 2] - thickness) / per_area == pytest.approx(4.975e-5, rel=PRINTED)
    assert about_root[0, 2] / per_area == pytest.approx(2.9e-5, rel=PRINTED)


# ---------------------------------------------------------------- adding up


def test_parallel_axis__tensor():
    wanted = [[0.1, 0.06, -0.12], [0.06, 0.26, 0.04], [-0.12, 0.04, 0.2]]
    np.testing.assert_allclose(parallel_axis(2.0, (0.3, -0.1, 0.2)), wanted, rtol=PRINTED)


def test_combine__two_bodies_on_the_axis():
    both = combine([on_axis(1.0, 0.2, 0.0, 0.02), on_axis(3.0, 1.1, 0.0, 0.05)])
    assert both.mass == 4.0
    np.testing.assert_allclose(both.place, [0.875, 0.0, 0.0], rtol=PRINTED)
    assert both.inertia[1, 1] == pytest.approx(0.6775, rel=PRINTED)


def test_plate__brick_of_the_nasa_check_cases():
    # 8 x 4 x 2.25 in of 0.155404754 slug; the table's values in slug ft^2: a plate 2.25 in thick is a brick
    outline = np.array([(0.0, 0.0), (0.0, 4.0), (8.0, 4.0), (8.0, 0.0)]) / 12.0
    brick = fin_panel(0.155404754, outline, 2.25 / 12.0, 0.0, 0.0, 0.0)
    wanted = [0.001894220273, 0.007194664537, 0.006211018995]  # along 8, 2.25 and 4 in
    np.testing.assert_allclose(np.diag(brick.inertia), wanted, rtol=PRINTED_10)
    np.testing.assert_allclose(brick.inertia - np.diag(np.diag(brick.inertia)), 0.0, atol=1e-18)


# ---------------------------------------------------------------- propellant, table "BATES grain"

BATES = [  # w, mass, Ix; 4 grains of D 0.049, d 0.018, L 0.085, density 1750
    (0.0, 0.970606831299, 3.306129519112e-4),
    (0.002, 0.8536798943251, 3.07858311891e-4),
    (0.005, 0.6667441358622, 2.654475090901e-4),
    (0.010, 0.341989849279, 1.643688713097e-4),
]


def test_grain__unburnt_stack_of_four():
    mass = 1750.0 * 0.25 * math.pi * (0.049**2 - 0.018**2) * 0.085
    roll_a, roll_b, pitch_a, pitch_b = grain_inertia(mass, 0.085, 0.0245, 0.009)
    each = np.diag([roll_a + roll_b, pitch_a + pitch_b, pitch_a + pitch_b])
    stack = combine(Lump(mass, np.array([x, 0.0, 0.0]), each) for x in (-0.132, -0.044, 0.044, 0.132))
    assert stack.mass == pytest.approx(BATES[0][1], rel=PRINTED)
    assert stack.inertia[0, 0] == pytest.approx(BATES[0][2], rel=PRINTED)
    assert stack.inertia[1, 1] == pytest.approx(0.01014516679927, rel=PRINTED)


@pytest.mark.parametrize(("regression", "mass", "roll"), BATES)
def test_grain__radius_of_gyration_in_roll_while_the_bore_burns(regression, mass, roll):
    # our grain keeps its length, the table's burns at its ends too: only roll inertia over mass is the same physics
    bore = 0.018 + 2.0 * regression
    unburnt = (0.049**2 - bore**2) / (0.049**2 - 0.018**2)
    roll_a, roll_b, _, _ = grain_inertia(1.0, 0.34, 0.0245, 0.009)
    assert (roll_a * unburnt + roll_b * unburnt**2) / unburnt == pytest.approx(roll / mass, rel=PRINTED)


# ---------------------------------------------------------------- nose volumes: X_cp = L - V/A (barrowman.md)


@pytest.mark.parametrize(
    ("numbers", "share"),
    [
        ({"shape": "cone"}, 2.0 / 3.0),
        ({"shape": "parabola", "fullness": 1.0}, 7.0 / 15.0),
        ({"shape": "power", "exponent": 0.5}, 0.5),
        ({"shape": "power", "exponent": 0.75}, 0.6),
        ({"shape": "ellipsoid"}, 1.0 / 3.0),
        ({"shape": "haack", "haack_c": 0.0}, 0.5),
        ({"shape": "haack", "haack_c": 1.0 / 3.0}, 0.4375),
    ],
    ids=str,
)
def test_nose_volume__by_profile(numbers, share):
    nose = Nose(length=0.3, diameter=0.1, mass=1.0, **numbers)
    assert 1.0 - solid(nose).volume / (math.pi * 0.05**2 * 0.3) == pytest.approx(share, rel=PRINTED)


@pytest.mark.parametrize(("fineness", "share"), [(1.5, 0.450037), (2, 0.457240), (3, 0.462453), (4, 0.464292), (5, 0.465145), (6, 0.465610), (8, 0.466072)])
def test_nose_volume__tangent_ogive_by_fineness(fineness, share):
    got = 1.0 - solid(ogive(0.1 * fineness, 0.05)).volume / (math.pi * 0.05**2 * 0.1 * fineness)
    assert got == pytest.approx(share, abs=6e-7)  # printed to six decimals
