"""The pinhole camera against formulas of the drawing board: similar triangles, horizon, plumb lines, a camera that is rolled; and its inverse."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from sixdof.postflight.video.view import View, across, angles_of, pointing_of, project, rotation_of, sight_slopes, sights, turned

SIZE = np.array([1920.0, 1080.0])
DEG = math.pi / 180.0


def looking(bearing=0.0, elevation=0.0, roll=0.0, focal=1500.0, k1=0.0, k2=0.0, place=(0.0, 0.0, 0.0)) -> View:
    return View(rotation_of(bearing, elevation, roll), np.array(place), focal, 0.5 * SIZE, SIZE, k1, k2, np.zeros((7, 7)))


pointings = st.tuples(st.floats(0.0, 6.28), st.floats(-1.4, 1.4), st.floats(-3.1, 3.1))


@pytest.mark.parametrize(
    ("place", "pixel"),
    [
        ((0.0, 100.0, 0.0), (960.0, 540.0)),  # on the axis
        ((10.0, 100.0, 0.0), (960.0 + 150.0, 540.0)),  # 10 m to the right at 100 m: 1500 x 0.1
        ((0.0, 100.0, 20.0), (960.0, 540.0 - 300.0)),  # 20 m up: 1500 x 0.2 upwards
        ((10.0, 200.0, 20.0), (960.0 + 75.0, 540.0 - 150.0)),  # twice as far, half as large
    ],
)
def test_place__is_seen_by_similar_triangles(place, pixel):
    assert project(looking(), np.array(place)) == pytest.approx(pixel)


def test_place__behind_the_camera_is_not_seen():
    assert np.isnan(project(looking(), np.array([1.0, -5.0, 0.0]))).all() and np.isnan(project(looking(), np.array([3.0, 0.0, 1.0]))).all()


def test_tilted_camera__sees_by_the_sum_of_angles():
    """A point at elevation e in the vertical plane of the axis at elevation a: y = -f tan(e - a), whatever its distance."""
    for far, elevation in ((50.0, 35.0), (400.0, 12.0)):
        place = far * np.array([math.sin(2.0) * math.cos(elevation * DEG), math.cos(2.0) * math.cos(elevation * DEG), math.sin(elevation * DEG)])
        x, y = project(looking(2.0, 20.0 * DEG), place)
        assert (x, y) == pytest.approx((960.0, 540.0 - 1500.0 * math.tan((elevation - 20.0) * DEG)))


@given(st.floats(0.0, 6.28), st.floats(-0.9, 0.9), st.floats(-0.5, 0.5))
@settings(max_examples=30, deadline=None)
def test_horizon__is_a_level_line_below_the_centre(bearing, elevation, aside):
    """Every level direction lies f tan(elevation) below the picture's centre, at x = f tan(aside)/cos(elevation)."""
    way = np.array([math.sin(bearing + aside), math.cos(bearing + aside), 0.0])
    x, y = project(looking(bearing, elevation), way * 1e4)
    assert y - 540.0 == pytest.approx(1500.0 * math.tan(elevation), abs=1e-6)
    assert x - 960.0 == pytest.approx(1500.0 * math.tan(aside) / math.cos(elevation), abs=1e-6)


def test_plumb_lines__meet_at_the_zenith_of_a_tilted_camera():
    """Verticals run together where straight up is seen: f/tan(elevation) above the centre."""
    view = looking(0.3, 50.0 * DEG)
    vanish = np.array([960.0, 540.0 - 1500.0 / math.tan(50.0 * DEG)])
    for foot in ((40.0, 90.0), (-10.0, 60.0)):
        low, high = project(view, np.array([[*foot, 30.0], [*foot, 90.0]]))
        to_vanish, line = vanish - low, high - low
        assert abs(to_vanish[0] * line[1] - to_vanish[1] * line[0]) < 1e-6 * np.linalg.norm(to_vanish) * np.linalg.norm(line)


def test_rolled_camera__turns_the_picture_the_other_way():
    """Clockwise by 90 deg: its right side is down, so that what is up is seen on the left, and what is right is seen up."""
    view = looking(roll=90.0 * DEG)
    assert project(view, np.array([0.0, 100.0, 10.0])) == pytest.approx((960.0 - 150.0, 540.0))
    assert project(view, np.array([10.0, 100.0, 0.0])) == pytest.approx((960.0, 540.0 - 150.0))


def test_distortion__is_brown_s_polynomial():
    view = looking(k1=-0.2, k2=0.05)
    radius = math.hypot(0.3, 0.1)
    factor = 1.0 - 0.2 * radius**2 + 0.05 * radius**4
    assert project(view, np.array([30.0, 100.0, 10.0])) == pytest.approx((960.0 + 1500.0 * 0.3 * factor, 540.0 - 1500.0 * 0.1 * factor))


@given(pointings, st.floats(-0.15, 0.1), st.floats(0.0, 0.03), st.integers(0, 10**6))
@settings(max_examples=40, deadline=None)
def test_pixels__come_back_from_the_places_they_look_at(pointing, k1, k2, seed):
    random = np.random.default_rng(seed)
    view = looking(*pointing, k1=k1, k2=k2, place=random.normal(size=3) * 50.0)
    pixel = random.uniform(0.0, 1.0, (8, 2)) * SIZE
    way = sights(view, pixel)
    assert np.linalg.norm(way, axis=1) == pytest.approx(1.0)
    assert project(view, view.place + way * random.uniform(1.0, 3000.0, (8, 1))) == pytest.approx(pixel, abs=1e-6)


@given(pointings, st.floats(-0.15, 0.1), st.integers(0, 10**6))
@settings(max_examples=25, deadline=None)
def test_slopes_of_sights__are_differences_of_sights(pointing, k1, seed):
    view = looking(*pointing, k1=k1)
    pixel = np.random.default_rng(seed).uniform(0.0, 1.0, (5, 2)) * SIZE
    slopes = sight_slopes(view, pixel)
    for side in range(2):
        step = 1e-3 * np.eye(2)[side]
        assert slopes[..., side] == pytest.approx((sights(view, pixel + step) - sights(view, pixel - step)) / 2e-3, abs=1e-10)


@given(pointings)
@settings(max_examples=40, deadline=None)
def test_pointing__comes_back_from_its_axes(pointing):
    rotation = rotation_of(*pointing)
    assert rotation @ rotation.T == pytest.approx(np.eye(3), abs=1e-12) and np.linalg.det(rotation) == pytest.approx(1.0)
    assert np.cross(rotation[0], rotation[1]) == pytest.approx(rotation[2], abs=1e-12)  # x right, y down, z forward: right-handed
    assert rotation_of(*pointing_of(rotation)) == pytest.approx(rotation, abs=1e-12)


def test_turn__about_each_axis_is_that_of_a_right_hand():
    """About x (to the right): the axis rises by the right hand's rule about the right; about y (down): it goes to the right; about z it rolls clockwise."""
    rotation = rotation_of(0.5, 0.2, 0.0)
    for turn, wanted in (((0.01, 0.0, 0.0), (0.5, 0.21, 0.0)), ((0.0, 0.0, 0.01), (0.5, 0.2, 0.01))):
        assert pointing_of(turned(rotation, np.array(turn))) == pytest.approx(wanted, abs=1e-12)
    assert pointing_of(turned(rotation_of(0.5, 0.0, 0.0), np.array([0.0, 0.01, 0.0])))[0] == pytest.approx(0.51, abs=1e-12)


def test_bearing_and_elevation__are_those_of_the_compass():
    bearing, elevation = angles_of(np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 1.0], [-1.0, 0.0, 0.0], [0.0, -2.0, -2.0]]))
    assert np.degrees(bearing) == pytest.approx([0.0, 90.0, 270.0, 180.0]) and np.degrees(elevation) == pytest.approx([0.0, 45.0, 0.0, -45.0])
    right, plumb = across(np.array([[0.0, 1.0, 0.0]]))
    assert right[0] == pytest.approx((1.0, 0.0, 0.0)) and plumb[0] == pytest.approx((0.0, 0.0, 1.0))
