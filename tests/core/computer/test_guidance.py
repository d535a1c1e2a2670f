"""Built-in guidance: waypoints captured, passed, timed out; limits; slew; no singularity at the vertical."""

from __future__ import annotations

import math

import numpy as np
import pytest
from control_drivers import aimed, goal_towards, guidance, slewed_goal, watched
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

import sixdof
from sixdof.core.algebra import launch_frame

PERIOD = 0.01
POINT = (30.0, 0.0, 300.0, 10.0, 5.0)  # east, north, height, radius, time-out
ROUNDING = 1e-9
FRAME = launch_frame(1.3)


def straight(start, velocity, seconds):
    t = PERIOD * np.arange(round(seconds / PERIOD) + 1)
    return t, np.asarray(start) + np.outer(t, velocity), np.tile(np.asarray(velocity, dtype=float), (t.size, 1))


def angle(a, b):
    return math.atan2(np.linalg.norm(np.cross(a, b)), np.dot(a, b))


# ---------------------------------------------------------------- what becomes of a waypoint


def test_waypoint__captured_at_its_radius_with_the_miss_still_to_come():
    """Passing 6 m beside it: captured where the distance is 10 m, 8 m before the closest approach; the miss is 6 m."""
    passed, index = watched(*straight((36.0, 0.0, 200.0), (0.0, 0.0, 50.0), 4.0), guidance([POINT]))
    assert passed[0, 0] == pytest.approx((100.0 - 8.0) / 50.0, abs=PERIOD)
    assert passed[0, 1] == pytest.approx(6.0, abs=1e-9)
    assert index[-1] == 1.0


def test_waypoint__passed_outside_its_radius():
    passed, _ = watched(*straight((47.0, 0.0, 200.0), (0.0, 0.0, 50.0), 4.0), guidance([POINT]))
    assert passed[0, 0] == pytest.approx(2.0 + PERIOD, abs=PERIOD + 1e-9)  # the tick after the closest approach
    assert passed[0, 1] == pytest.approx(17.0, abs=1e-9)


def test_waypoint__given_up_after_its_time():
    passed, _ = watched(*straight((30.0, 0.0, 0.0), (0.0, 0.0, 20.0), 6.0), guidance([POINT]))
    assert passed[0, 0] == pytest.approx(5.0 + PERIOD, abs=PERIOD)
    assert passed[0, 1] == pytest.approx(300.0 - 20.0 * passed[0, 0], abs=1e-6)


def test_waypoints__one_after_the_other():
    second = (30.0, 0.0, 400.0, 5.0, 60.0)
    passed, index = watched(*straight((30.0, 0.0, 200.0), (0.0, 0.0, 50.0), 6.0), guidance([POINT, second]))
    assert np.diff(passed[:, 0]) == pytest.approx([(395.0 - 290.0) / 50.0], abs=2 * PERIOD)
    assert passed[:, 1] == pytest.approx([0.0, 0.0], abs=1e-9)
    assert sorted(set(index)) == [0.0, 1.0, 2.0]


# ---------------------------------------------------------------- where the nose points


def test_aim__straight_at_a_waypoint_ahead():
    """Flying at it, with the fall on the way made up for: 0.5 g (d/v)^2 above it."""
    u = aimed((0.0, 0.0, 300.0), (100.0, 0.0, 0.0), guidance([(200.0, 0.0, 300.0, 5.0, 60.0)], lead=0.0))
    assert u == pytest.approx(np.array([200.0, 0.0, 0.5 * 9.80665 * 4.0]) / math.hypot(200.0, 0.5 * 9.80665 * 4.0), abs=1e-12)


def test_aim__leans_beyond_the_line_of_sight():
    """`lead` times the angle between velocity and line of sight, to small angles, on the side that turns the velocity."""
    point, off = (0.0, 0.0, 5000.0, 5.0, 60.0), 0.01
    velocity = 1000.0 * np.array([math.sin(off), 0.0, math.cos(off)])
    for lead in (0.0, 1.0, 2.5):
        u = aimed((0.0, 0.0, 0.0), velocity, guidance([point], lead=lead))
        assert math.atan2(u[0], u[2]) == pytest.approx(-lead * off, abs=2e-4)  # the unit vectors' sum, second order


places = st.tuples(st.floats(-300.0, 300.0), st.floats(-300.0, 300.0), st.floats(1.0, 900.0))
speeds = st.tuples(*(st.floats(-120.0, 120.0) for _ in range(3)))


@given(place=places, velocity=speeds, lead=st.floats(0.0, 4.0), pressure=st.floats(1.0, 2e4))
@settings(deadline=None)
def test_aim__keeps_within_tilt_incidence_and_load(place, velocity, lead, pressure):
    """The tilt limit holds always; incidence and load (slope q incidence) where the tilt limit leaves them alone."""
    assume(np.linalg.norm(velocity) > 6.0)
    incidence, tilt, load, slope = 0.15, 0.6, 30.0, 0.05
    plan = guidance([POINT], lead=lead, most_incidence=incidence, most_tilt=tilt, most_load=load, load_slope=slope)
    u = aimed(place, velocity, plan, pressure=pressure)
    assert np.linalg.norm(u) == pytest.approx(1.0, abs=ROUNDING)
    assert angle(u, (0.0, 0.0, 1.0)) <= tilt + 1e-7
    free = guidance([POINT], lead=lead, most_incidence=incidence, most_load=load, load_slope=slope)
    off = angle(aimed(place, velocity, free, pressure=pressure), velocity)
    assert off <= min(incidence, load / (slope * pressure)) + 1e-7


@given(place=places, velocity=speeds)
@settings(deadline=None)
def test_aim__is_a_direction_wherever_the_vehicle_is(place, velocity):
    """On the waypoint, at rest, flying away from it: still a unit vector."""
    for p, v in ((place, velocity), (POINT[:3], velocity), (place, (0.0, 0.0, 0.0))):
        u = aimed(p, v, guidance([POINT], most_tilt=0.7, most_incidence=0.2, lead=2.0))
        assert np.linalg.norm(u) == pytest.approx(1.0, abs=ROUNDING)


def test_aim__flying_straight_away_from_it():
    u = aimed((30.0, 0.0, 500.0), (0.0, 0.0, 100.0), guidance([POINT], most_incidence=0.2, lead=0.0))
    assert np.linalg.norm(u) == pytest.approx(1.0, abs=ROUNDING)


# ---------------------------------------------------------------- the goal attitude


@given(lean=st.floats(0.0, 1.4), towards=st.floats(-math.pi, math.pi), roll=st.floats(-3.0, 3.0))
@settings(deadline=None)
def test_goal__points_the_nose_there(lean, towards, roll):
    u = np.array([math.sin(lean) * math.sin(towards), math.sin(lean) * math.cos(towards), math.cos(lean)])
    q = goal_towards(u, FRAME, roll)
    assert np.linalg.norm(q) == pytest.approx(1.0, abs=1e-12)
    assert Rotation.from_quat(q, scalar_first=True).apply([1.0, 0.0, 0.0]) == pytest.approx(u, abs=1e-12)


@given(lean=st.floats(1e-9, 1e-4), towards=st.floats(-math.pi, math.pi), other=st.floats(-math.pi, math.pi))
@settings(deadline=None)
def test_goal__does_not_jump_at_the_vertical(lean, towards, other):
    """Two directions near the vertical, on any sides of it, have goals no further apart than the directions."""

    def goal(azimuth):
        u = (math.sin(lean) * math.sin(azimuth), math.sin(lean) * math.cos(azimuth), math.cos(lean))
        return Rotation.from_quat(goal_towards(u, FRAME), scalar_first=True)

    assert (goal(towards).inv() * goal(other)).magnitude() <= 2.0 * lean * (1.0 + 1e-3) + 1e-9


@given(seed=st.integers(0, 10**6), most=st.floats(0.0, 1.0))
@settings(deadline=None)
def test_slew__turns_by_no_more_and_the_short_way(seed, most):
    last, goal = Rotation.random(2, random_state=seed)
    found = Rotation.from_quat(slewed_goal(goal.as_quat(scalar_first=True), last.as_quat(scalar_first=True), most), scalar_first=True)
    whole = (last.inv() * goal).magnitude()
    assert (last.inv() * found).magnitude() == pytest.approx(min(most, whole), abs=1e-7)
    assert (found.inv() * goal).magnitude() == pytest.approx(max(whole - most, 0.0), abs=1e-7)


# ---------------------------------------------------------------- whole flights


@pytest.fixture(scope="module")
def mission(demo_path):
    return sixdof.load_mission(demo_path.with_name("waypoints.toml"))


def test_flight__captures_both_waypoints_of_the_demo(mission):
    ds = sixdof.fly(mission)
    assert float(ds.waypoints_captured) == 2.0 and float(ds.waypoint_miss_max) < 5.0
    burnout = float(ds.event_time.sel(event="burnout").isel(body=0))
    assert (ds.waypoint_time.values > burnout).all()  # steered without thrust
    assert ds.waypoint_number.values.tolist() == [1, 2]
    first, last = ds.waypoint_time.values
    flown_to = [ds.waypoint.sel(time=slice(*stretch)) for stretch in ((0.0, first - 0.03), (last + 0.03, None))]
    assert [set(each.values) for each in flown_to] == [{1.0}, {3.0}]  # before the first, behind the last
    modes = ds.guidance_mode.values
    assert set(modes) == {0.0, 1.0} and float(ds.time[int(modes.argmax())]) == pytest.approx(burnout + 0.2, abs=0.05)


def test_flight__keeps_within_the_tilt_limit_on_the_way(mission):
    ds = sixdof.fly(mission.change({"guidance.tilt_limit": "12 deg"}))
    steered = ds.sel(time=slice(2.0, float(ds.waypoint_time[0])))
    frame_tilt = np.arccos(np.cos(steered.commanded_pitch.values) * np.cos(steered.commanded_yaw.values))
    assert np.degrees(frame_tilt).max() <= 12.0 + 1e-6


def test_flight__a_waypoint_out_of_reach_is_passed(mission):
    far = mission.change({"guidance.waypoint.0.east": "-200 m", "guidance.waypoint.1.timeout": "1 s"})
    ds = sixdof.fly(far)
    assert float(ds.waypoint_miss[0]) > 50.0 and float(ds.waypoints_captured) < 2.0
    assert np.isfinite(ds.waypoint_time.values).all()


@pytest.mark.parametrize("after_last", ["hold", "upright", "profile"])
def test_flight__past_the_last_waypoint(mission, after_last):
    ds = sixdof.fly(mission.change({"guidance.after_last": after_last, "guidance.slew_limit": None}))
    after = ds.sel(time=slice(float(ds.waypoint_time[1]) + 0.05, float(ds.apogee_time) - 0.1))
    assert np.ptp(after.commanded_pitch.values) < 1e-9
    if after_last == "hold":
        assert float(after.commanded_pitch[0]) > math.radians(10.0)
    else:
        assert np.abs(after.commanded_pitch.values).max() < 1e-9  # upright, as the demo's profile is


def test_flight__hold_by_rule_keeps_the_attitude_of_that_moment(demo_mission):
    rules = [r.model_dump() for r in demo_mission.rule]
    rules.append({"when": "time", "threshold": "3 s", "action": "guide_hold"})
    ds = sixdof.fly(demo_mission.change({"rule": rules}))
    held = ds.sel(time=slice(3.05, float(ds.apogee_time)))
    assert np.ptp(held.commanded_pitch.values) < 1e-9
    assert float(held.commanded_pitch[0]) == pytest.approx(float(ds.tilt_pitch.sel(time=3.0, method="nearest")), abs=1e-3)


def test_flight__straight_up_from_a_vertical_rail(demo_mission):
    """Where Euler angles of a vertical body are worst nothing happens: without wind no fin moves more than the Earth's turn asks."""
    still = {"rail.elevation": "90 deg", "air.wind.speed": 0.0, "autopilot.profile": {"time": [0.0]}}
    ds = sixdof.fly(demo_mission.change(still))
    up = ds.sel(time=slice(0.5, float(ds.apogee_time) - 1.0))
    assert np.degrees(up.tilt.values).max() < 0.1 and np.degrees(np.abs(up.fin_angle.values)).max() < 0.2
    assert np.isfinite(up.tilt_error.values).all()
