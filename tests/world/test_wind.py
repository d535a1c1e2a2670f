"""Wind: the direction it comes FROM, profiles, and what a draw does to the table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Air, Site, Sounding, Wind, WindMember
from sixdof.world.build import wind_rows, world_table
from sixdof.world.report import speed_and_direction
from sixdof.world.wind import components, mean_wind, shape, turned, unit_wind, wind_at, wind_draw

ROUNDING = 1e-12
angles = st.floats(-6.28, 6.28)
speeds = st.floats(0.0, 60.0)


def mission(**wind):
    # only the site and the air matter here: the rest of a mission is left unmade
    return Mission.model_construct(site=Site(latitude=0.6), air=Air(wind=Wind(**wind)), disperse={})


def applied(row, scale, cosine, sine):
    """What the kernel does with one row of the wind table."""
    east, north = row
    return scale * (east * cosine + north * sine), scale * (north * cosine - east * sine)


@pytest.mark.parametrize("degrees, east, north", [(0.0, 0.0, -1.0), (90.0, -1.0, 0.0), (180.0, 0.0, 1.0), (270.0, 1.0, 0.0)])
def test_components__a_wind_from_a_side_moves_to_the_other(degrees, east, north):
    assert components(1.0, np.deg2rad(degrees)) == pytest.approx((east, north), abs=ROUNDING)


@given(speeds, angles)
def test_components__are_a_turned_arrow(speed, blows_from):
    """Independent of the sines: an arrow to the north (the plane's imaginary axis) turned clockwise points to where it comes from."""
    arrow = speed * 1j * np.exp(-1j * blows_from)
    assert components(speed, blows_from) == pytest.approx((-arrow.real, -arrow.imag), abs=1e-12)


@pytest.mark.parametrize(
    "compass, east, north",
    [  # a wind of 10 m/s from each point of the compass rose, by the triangle of 30, 60 and 90 deg and that of 45
        (30.0, -5.0, -8.660254037844386),
        (60.0, -8.660254037844386, -5.0),
        (135.0, -7.0710678118654755, 7.0710678118654755),
        (210.0, 5.0, 8.660254037844386),
        (315.0, 7.0710678118654755, -7.0710678118654755),
    ],
)
def test_components__of_the_compass_rose(compass, east, north):
    assert components(10.0, np.deg2rad(compass)) == pytest.approx((east, north), abs=1e-12)


@given(st.floats(0.1, 60.0), st.floats(0.0, 6.28))
def test_speed_and_direction__undo_the_components(speed, blows_from):
    found = speed_and_direction(np.array(components(speed, blows_from)))
    assert float(found[0]) == pytest.approx(speed, rel=ROUNDING)
    assert np.angle(np.exp(1j * (float(found[1]) - blows_from))) == pytest.approx(0.0, abs=1e-12)


def test_wind_at__west_wind_of_the_mission_file_blows_east():
    east, north = wind_at(Wind(speed="5 m/s", blows_from="270 deg"), 100.0)
    assert (east, north) == pytest.approx((5.0, 0.0), abs=ROUNDING)


@given(speeds, angles)
def test_components__going_against_the_wind_is_heading_for_where_it_comes_from(speed, blows_from):
    east, north = components(speed, blows_from)
    assert np.hypot(east, north) == pytest.approx(speed, rel=ROUNDING)
    assert -(east * np.sin(blows_from) + north * np.cos(blows_from)) == pytest.approx(speed, rel=ROUNDING)


@pytest.mark.parametrize("profile", ["uniform", "power", "log"])
def test_shape__is_one_at_the_reference_height(profile):
    assert shape(Wind(profile=profile, reference_height=6.0), 6.0) == pytest.approx(1.0, rel=ROUNDING)


@pytest.mark.parametrize("profile", ["power", "log"])
def test_shape__is_zero_on_the_ground_grows_and_is_held_above_top(profile):
    got = shape(Wind(profile=profile, top=500.0), [-1.0, 0.0, 1.0, 10.0, 499.0, 500.0, 5000.0])
    assert got[0] == got[1] == 0.0
    assert np.all(np.diff(got[1:6]) > 0.0)
    assert got[6] == got[5]


def test_shape__log_below_the_roughness_is_zero():
    assert np.all(shape(Wind(profile="log", roughness=0.5), [0.0, 0.2, 0.5]) == 0.0)


def test_shape__of_a_table_is_an_error():
    with pytest.raises(ValueError, match="no shape apart from its speeds"):
        shape(Wind(profile="table", table=((0.0, 4.0, 0.0),)), 5.0)


def test_wind_at__table_interpolates_components_and_holds_its_ends():
    wind = Wind(profile="table", table=((10.0, 4.0, 0.0), (110.0, 4.0, np.pi / 2)))
    got = wind_at(wind, [0.0, 10.0, 60.0, 110.0, 9000.0])
    # half way between a north and an east wind: a north-east wind of 4/sqrt(2), not of 4
    np.testing.assert_allclose(got, [[0, -4], [0, -4], [-2, -2], [-4, 0], [-4, 0]], atol=ROUNDING)


# ---------------------------------------------------------------- veer


@pytest.mark.parametrize("profile", ["uniform", "power", "log"])
def test_turned__clockwise_from_the_reference_height_to_the_top(profile):
    wind = Wind(profile=profile, speed=5.0, blows_from="350 deg", veer="30 deg/km", reference_height=10.0, top="1.01 km")
    got = np.rad2deg(turned(wind, [0.0, 10.0, 510.0, 1010.0, 5000.0]))
    np.testing.assert_allclose(got, [350.0, 350.0, 365.0, 380.0, 380.0])
    east, north = wind_at(wind, 1010.0)  # from 020: air moves to the south-south-west
    assert east < 0.0 and north < 0.0 and np.rad2deg(np.arctan2(-east, -north)) == pytest.approx(20.0)
    assert np.hypot(east, north) == pytest.approx(5.0 * float(shape(wind, 1010.0)), rel=ROUNDING)


def test_turned__a_negative_veer_backs_and_none_changes_nothing():
    assert turned(Wind(veer="-10 deg/km", top="3 km"), 1010.0) == pytest.approx(np.deg2rad(-10.0), rel=1e-12)
    plain = Wind(profile="power", speed=3.0, blows_from=1.0)
    np.testing.assert_array_equal(turned(plain, [0.0, 50.0, 9e3]), np.ones(3))


def test_wind_draw__turns_a_veering_wind_as_a_whole():
    m = mission(profile="power", speed=4.0, blows_from=0.3, veer="25 deg/km")
    row = applied(unit_wind(m.air.wind, 700.0), *wind_draw(m, 6.0, 1.1))
    expected = wind_at(Wind(profile="power", speed=6.0, blows_from=1.1, veer="25 deg/km"), 700.0)
    assert row == pytest.approx(tuple(expected), rel=1e-12)


def test_world_table__of_a_veering_wind_is_close_between_rows():
    m = mission(profile="log", speed=4.0, blows_from=0.3, veer="60 deg/km")
    world, height = world_table(m), np.geomspace(1.0, 3000.0, 2000)
    place = np.sqrt(height) * world.wind_per_root
    got = np.stack([np.interp(place, np.arange(len(world.wind[0])), world.wind[0, :, k]) for k in (0, 1)], axis=-1)
    np.testing.assert_allclose(got, unit_wind(m.air.wind, height), atol=0.012)  # at the kink at `top`: rows 8 m apart turn by 1 deg


# ---------------------------------------------------------------- level by level

HEIGHT = (20.0, 500.0, 2000.0)
EAST, NORTH = (4.0, 0.0, -6.0), (-1.0, 8.0, 2.0)


def levels(site=0.0, **more):
    return {"altitude": tuple(site + h for h in HEIGHT), "east": EAST, "north": NORTH} | more


def forecast(*members, site=700.0, **air):
    own = {"wind": Wind(profile="members", member=members)} if members else {}
    return Mission.model_construct(site=Site(latitude=0.6, altitude=site), air=Air(**own, **air), disperse={})


def test_mean_wind__of_members_interpolates_components_and_holds_the_ends():
    m = forecast(WindMember(**levels(700.0)), WindMember(**levels(700.0, east=(1.0, 1.0, 1.0))))
    got = mean_wind(m, [0.0, 20.0, 260.0, 2000.0, 9000.0])
    np.testing.assert_allclose(got, [[4, -1], [4, -1], [2, 3.5], [-6, 2], [-6, 2]], atol=ROUNDING)
    assert tuple(mean_wind(m, 20.0, 1)) == pytest.approx((1.0, -1.0))


def test_mean_wind__heights_above_the_ground_and_speeds_say_the_same():
    speed, blows_from = speed_and_direction(np.stack([EAST, NORTH], axis=-1))
    other = WindMember(height=HEIGHT, speed=tuple(map(float, speed)), blows_from=tuple(map(float, blows_from)))
    m = forecast(WindMember(**levels(700.0)), other)
    height = np.linspace(0.0, 3000.0, 301)
    np.testing.assert_allclose(mean_wind(m, height, 1), mean_wind(m, height, 0), atol=1e-12)


def test_mean_wind__of_a_sounding_stands_in_place_of_the_profile():
    m = forecast(sounding=Sounding(temperature=(280.0, 277.0, 268.0), **levels(700.0)))
    assert tuple(mean_wind(m, 500.0)) == pytest.approx((0.0, 8.0), abs=ROUNDING)
    without = levels(700.0, east=(), north=())
    m = forecast(sounding=Sounding(temperature=(280.0, 277.0, 268.0), **without), wind=Wind(speed=5.0, blows_from="90 deg"))
    assert tuple(mean_wind(m, 500.0)) == pytest.approx((-5.0, 0.0), abs=ROUNDING)


def test_wind_rows__hold_the_member_as_it_is_and_the_world_all_of_them():
    m = forecast(WindMember(**levels(700.0)), WindMember(**levels(700.0, east=(1.0, 2.0, 3.0))))
    row = int(np.sqrt(400.0) * world_table(m).wind_per_root)
    np.testing.assert_array_equal(world_table(m).wind, [wind_rows(m, 0), wind_rows(m, 1)])
    np.testing.assert_allclose(wind_rows(m, 1)[row], mean_wind(m, 400.0, 1), rtol=ROUNDING)
    assert wind_draw(m) == (1.0, 1.0, 0.0)
    with pytest.raises(ValueError, match="no single speed and direction"):
        wind_draw(m, speed=3.0)


def test_wind_draw__nominal_gives_the_mission_s_own_wind():
    m = mission(profile="power", speed=7.0, blows_from=1.0)
    row = applied(unit_wind(m.air.wind, 40.0), *wind_draw(m))
    assert row == pytest.approx(tuple(wind_at(m.air.wind, 40.0)), rel=ROUNDING)


@given(speeds, angles, speeds, angles, st.floats(0.0, 3000.0))
def test_wind_draw__gives_the_wind_of_the_drawn_speed_and_direction(speed, blows_from, drawn, drawn_from, height):
    m = mission(profile="log", speed=speed, blows_from=blows_from)
    row = applied(unit_wind(m.air.wind, height), *wind_draw(m, drawn, drawn_from))
    expected = wind_at(Wind(profile="log", speed=drawn, blows_from=drawn_from), height)
    assert row == pytest.approx(tuple(expected), abs=1e-10)  # sines of angles of 6 rad, speeds to 140 m/s aloft


def test_wind_draw__zero_nominal_speed_can_be_dispersed():
    m = mission(speed=0.0, blows_from=0.0)
    assert wind_draw(m)[0] == 0.0
    east, north = applied(unit_wind(m.air.wind, 5.0), *wind_draw(m, 3.0, np.pi / 2))
    assert (east, north) == pytest.approx((-3.0, 0.0), abs=ROUNDING)


def test_wind_draw__turns_clockwise_on_the_compass():
    m = mission(speed=1.0, blows_from=0.0)
    east, north = applied((0.0, -1.0), *wind_draw(m, None, np.deg2rad(30.0)))  # from 030: towards 210
    assert np.rad2deg(np.arctan2(-east, -north)) == pytest.approx(30.0)


def test_wind_draw__of_a_table_leaves_its_rows_alone():
    m = mission(profile="table", table=((0.0, 4.0, 0.0), (100.0, 8.0, 0.5)))
    assert applied((3.0, -2.0), *wind_draw(m)) == (3.0, -2.0)


@pytest.mark.parametrize("drawn", [{"speed": 3.0}, {"blows_from": 0.1}])
def test_wind_draw__speed_or_direction_of_a_table_is_an_error(drawn):
    with pytest.raises(ValueError, match="no single speed and direction"):
        wind_draw(mission(profile="table", table=((0.0, 4.0, 0.0),)), **drawn)


def test_wind_draw__takes_arrays_of_flights():
    m = mission(speed=2.0)
    scale, cosine, sine = wind_draw(m, np.array([1.0, 2.0]), np.array([0.0, np.pi]))
    np.testing.assert_allclose(scale, [1.0, 2.0])
    np.testing.assert_allclose(cosine, [1.0, -1.0])
    np.testing.assert_allclose(sine, [0.0, 0.0], atol=ROUNDING)
