"""Wind: the direction it comes FROM, profiles, and what a draw does to the table."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sixdof.mission.schema import Air, Mission, Site, Wind
from sixdof.world.wind import components, shape, unit_wind, wind_at, wind_draw

ROUNDING = 1e-12
angles = st.floats(-6.28, 6.28)
speeds = st.floats(0.0, 60.0)


def mission(**wind):
    # only the site and the air matter here: the rest of a mission is left unmade
    return Mission.model_construct(site=Site(latitude=0.6), air=Air(wind=Wind(**wind)))


def applied(row, scale, cosine, sine):
    """What the kernel does with one row of the wind table."""
    east, north = row
    return scale * (east * cosine + north * sine), scale * (north * cosine - east * sine)


@pytest.mark.parametrize(
    "degrees, east, north", [(0.0, 0.0, -1.0), (90.0, -1.0, 0.0), (180.0, 0.0, 1.0), (270.0, 1.0, 0.0)]
)
def test_components__a_wind_from_a_side_moves_to_the_other(degrees, east, north):
    assert components(1.0, np.deg2rad(degrees)) == pytest.approx((east, north), abs=ROUNDING)


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
