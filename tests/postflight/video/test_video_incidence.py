"""What a true incidence looks like: the closed form of a cone seen along a sight, against the cone itself turned in space; bounds and verdicts."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

import sixdof
from sixdof.postflight.video.camera import camera, view_of
from sixdof.postflight.video.from_video import from_video
from sixdof.postflight.video.incidence import apparent_most, apparent_of, least_lean, least_lean_sure, standard_deviations, steepest, told
from sixdof.postflight.video.view import across, project

DEG = math.pi / 180.0


def seen_along(sight, way, axis):
    """Return the angle between the pictures of a path and of a body, by throwing both onto the plane square to the sight: rad, not signed."""
    flat = [one - sight * (one @ sight) for one in (way, axis)]
    cosine = flat[0] @ flat[1] / np.linalg.norm(flat[0]) / np.linalg.norm(flat[1])
    return math.acos(max(-1.0, min(1.0, float(cosine))))


def body(way, true, azimuth, sight):
    """Return an axis at an angle from the path, turned by an azimuth about it from where the sight goes on."""
    first = sight - way * (sight @ way)
    first = first / np.linalg.norm(first)
    return way * math.cos(true) + (first * math.cos(azimuth) + np.cross(way, first) * math.sin(azimuth)) * math.sin(true)


@given(st.floats(0.001, 1.2), st.floats(-3.1, 3.1), st.floats(0.02, 3.1), st.integers(0, 10**6))
@settings(max_examples=40, deadline=None)
def test_apparent_angle__is_that_of_the_body_thrown_onto_the_picture(true, azimuth, to_path, seed):
    way = np.random.default_rng(seed).normal(size=3)
    way = way / np.linalg.norm(way)
    other = np.cross(way, [0.3, 0.5, 0.8])
    sight = way * math.cos(to_path) + other / np.linalg.norm(other) * math.sin(to_path)
    axis = body(way, true, azimuth, sight)
    assume(np.linalg.norm(np.cross(axis, sight)) > 1e-2)  # along the sight it has no picture
    wanted = seen_along(sight, way, axis)
    assert abs(float(apparent_of(true, azimuth, to_path))) == pytest.approx(wanted, abs=1e-5)


@pytest.mark.parametrize(("true", "to_path"), [(0.6, 3.5), (2.0, 30.0), (5.0, 80.0), (1.0, 178.0)])
def test_widest_apparent_angle__is_that_of_the_cone_turned_round(true, to_path):
    azimuth = np.linspace(-math.pi, math.pi, 200_001)
    widest = np.abs(apparent_of(true * DEG, azimuth, to_path * DEG)).max()
    assert float(apparent_most(true * DEG, to_path * DEG)) == pytest.approx(widest, rel=1e-6)


def test_nearly_under_the_camera__six_tenths_of_a_degree_look_like_ten():
    """sin g = sin 0.6 deg/sin 10 deg: a sight within 3.457 deg of the path. A camera 30 m off looks so at a rocket that rises straight up to 496.6 m."""
    to_path = math.asin(math.sin(0.6 * DEG) / math.sin(10.0 * DEG))
    assert to_path / DEG == pytest.approx(3.457, abs=5e-4)
    assert float(apparent_most(0.6 * DEG, to_path)) / DEG == pytest.approx(10.0)
    assert 30.0 / math.tan(to_path) == pytest.approx(496.6, abs=0.1)
    assert float(apparent_most(5.0 * DEG, to_path)) == math.pi  # the sight lies within the cone: it may appear at any angle


def test_nearly_under_the_camera__in_pixels():
    """The same through a picture: a body rising straight, tilted by 0.6 deg square to the sight, from 30 m off, at 496.6 m. Read without error: 10 deg."""
    seen = camera(place=(-30.0, 0.0, 0.0), picture=(4000, 4000), field_of_view="20 deg", bearing="90 deg", elevation="86 deg", pointing_error="0.1 deg")
    axis = np.array([0.0, -math.sin(0.6 * DEG), math.cos(0.6 * DEG)])  # to the south, on the right of who looks east
    middle = np.array([0.0, 0.0, 496.6]) + np.array([0.0, 0.0, 2.0]) * np.arange(-2, 3)[:, None]
    pixel = np.concatenate([project(view_of(seen), middle + end * axis) for end in (0.01, -0.01)], axis=1)
    columns = {"time": np.arange(5) / 60.0} | dict(zip(("nose_x", "nose_y", "tail_x", "tail_y"), pixel.T, strict=True))
    found = from_video(seen, columns, pixel_error=1e-4)
    at = found.isel(frame=2)
    apparent = float(np.arctan2(np.sin(0.6 * DEG), np.cos(0.6 * DEG) * math.sin(math.atan2(30.0, 496.6))))
    assert float(at["apparent_incidence"]) == pytest.approx(apparent, rel=2e-3) and apparent / DEG == pytest.approx(9.85, abs=0.01)
    assert float(at["amplification"]) == pytest.approx(1.0 / math.sin(math.atan2(30.0, 496.6)), rel=1e-3)
    assert float(at["incidence_seen"]) / DEG == pytest.approx(0.6, abs=0.01)
    assert str(at["verdict"].values) == "only its sign"  # 5 deg of error in the path's direction: the factor is not known
    assert "a true 0.6 deg looks like 10 deg" in " ".join(sixdof.report(found).split())


@given(st.floats(0.002, 0.5), st.floats(-3.1, 3.1), st.floats(0.05, 3.0))
@settings(max_examples=40, deadline=None)
def test_least_true_angle__is_never_above_the_true_one(true, azimuth, to_path):
    apparent = float(apparent_of(true, azimuth, to_path))
    way, sight = np.array([[0.0, 0.0, 1.0]]), np.array([[math.sin(to_path), 0.0, math.cos(to_path)]])
    found = told(np.array([apparent]), np.zeros(1), sight, way, 0.0, 0.03, 0.9)
    assert found.least[0] <= true + 1e-6 and found.seen[0] == pytest.approx(found.least[0])


def test_share_of_planes__holds_less_than_the_upper_bound():
    """All planes alike: 90 % of them lie below the bound (20,000 azimuths; small angles, so that the cone is a disc)."""
    azimuth = (np.arange(20_000) + 0.5) / 20_000 * 2.0 * math.pi
    to_path = 1.0
    way = np.tile([0.0, 0.0, 1.0], (azimuth.size, 1))
    sight = np.tile([math.sin(to_path), 0.0, math.cos(to_path)], (azimuth.size, 1))
    found = told(apparent_of(0.01, azimuth, to_path), np.zeros(azimuth.size), sight, way, 0.0, 0.03, 0.9)
    assert np.mean(found.most >= 0.01) == pytest.approx(0.9, abs=0.01)


def test_bounds__hold_for_all_frames_together():
    """Straight flights read with noise: in 95 % of videos of 50 frames none claims an incidence. 400 videos tell 1.1 %; three of these."""
    random = np.random.default_rng(3)
    way, sight = np.tile([0.0, 0.0, 1.0], (50, 1)), np.tile([1.0, 0.0, 0.0], (50, 1))
    claims = []
    for _ in range(400):
        found = told(0.02 * random.standard_normal(50), np.full(50, 0.02), sight, way, 0.0, 0.03, 0.9, standard_deviations(50))
        claims.append(bool((found.least > 0.0).any()))
    assert np.mean(claims) == pytest.approx(0.05, abs=0.034)


def test_verdicts__follow_the_errors():
    way = np.tile([0.0, 0.0, 1.0], (4, 1))
    to_path = np.array([70.0, 4.0, 70.0, 70.0]) * DEG
    sight = np.stack([np.sin(to_path), np.zeros(4), np.cos(to_path)], axis=1)
    error = np.array([0.5, 3.0, 2.0, 40.0]) * DEG
    found = told(np.zeros(4), error, sight, way, 3.0 * DEG, 2.0 * DEG, 0.9)
    assert found.verdict.tolist() == ["usable", "only its sign", "tells nothing", "tells nothing"]
    assert found.detectable[:3] == pytest.approx(np.arcsin(np.sin(to_path[:3]) * np.sin(2.0 * error[:3])))
    assert found.amplification_error[1] == pytest.approx(3.0 * DEG * math.cos(to_path[1]) / math.sin(to_path[1]) ** 2)


@given(st.floats(-1.5, 1.5), st.floats(0.0, 1.5), st.floats(0.0, 6.2))
@settings(max_examples=40, deadline=None)
def test_steepest_direction__is_the_nearest_to_the_vertical_of_all_that_look_so(angle, elevation, bearing):
    """Second statement: directions that look so are mixtures of the sight and of what is seen; none of 2,000 is nearer to up."""
    sight = np.array([[math.sin(bearing) * math.cos(elevation), math.cos(bearing) * math.cos(elevation), math.sin(elevation)]])
    right, plumb = across(sight)
    found = steepest(sight, right, plumb, np.array([angle]))[0]
    seen = right[0] * math.sin(angle) + plumb[0] * math.cos(angle)
    mixed = np.linspace(-1.0, 1.0, 2001)[:, None] * math.pi / 2
    others = np.sin(mixed) * sight[0] + np.cos(mixed) * seen
    assert found[2] >= others[:, 2].max() - 1e-9 and found @ np.cross(sight[0], seen) == pytest.approx(0.0, abs=1e-9)
    assert math.acos(min(1.0, found[2])) == pytest.approx(abs(float(least_lean(np.array(elevation), np.array(angle)))), abs=1e-6)


def test_sure_lean__is_the_least_within_the_error():
    elevation, apparent, error = np.array(0.5), np.array([0.3, 0.3, 2.0, 3.0]), np.array([0.1, 0.2, 0.2, 0.2])
    found = least_lean_sure(elevation, apparent, error, 2.0)
    wanted = [math.asin(math.cos(0.5) * math.sin(0.1)), 0.0, math.asin(math.cos(0.5) * math.sin(2.4)), 0.0]
    assert found == pytest.approx(wanted)
