"""What is said of air and wind in words."""

from __future__ import annotations

import re

import numpy as np
import pytest

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Air, AirTurbulence, Gust, Rail, Site, Sounding, Wind, WindMember
from sixdof.world.report import air_lines, rail_top


def mission(altitude=0.0, elevation="90 deg", **air):
    return Mission.model_construct(site=Site(latitude=0.6, altitude=altitude), air=Air(**air), rail=Rail(length=3.0, elevation=elevation), disperse={})


def numbers(line: str) -> list[str]:
    """The entries of a row of the wind's table, behind its words."""
    return re.split(r" {2,}", re.sub(r"\(.*\)", "", line).strip())[1:]  # columns stand two characters apart


def row(lines: list[str], start: str) -> list[str]:
    return numbers(next(line for line in lines if line.strip().startswith(start)))


def test_site__of_the_standard_is_the_standards_table():
    """1.2250 kg/m^3, 1013.25 hPa and 15 degC at sea level; 1.0581 kg/m^3 at 1500 m geometric (USSA-1976, table I)."""
    line = air_lines(mission())[1]
    assert "15.0 degC, 1013.2" in line and "density 1.2250 kg/m^3, density altitude 0 m" in line
    assert "density 1.0581 kg/m^3, density altitude 1500 m" in air_lines(mission(1500.0))[1]  # geopotential: 1499.6 m


def test_site__hot_air_stands_higher():
    line = air_lines(mission(1250.0, temperature="35 degC"))[1]
    assert 2000.0 < float(re.search(r"density altitude (\d+) m", line)[1]) < 2600.0


def test_site__of_a_sounding_says_how_damp_it_is():
    sounding = Sounding(altitude=(0.0, 5000.0), temperature=(290.0, 262.0), relative_humidity=(0.62, 0.2))
    assert "Air of the sounding" in air_lines(mission(sounding=sounding))[1]
    assert "humidity 62 %" in air_lines(mission(sounding=sounding))[1]


def test_rail_top__of_a_leaning_rail():
    assert rail_top(mission(elevation="30 deg")) == pytest.approx(1.5)


def test_wind__at_the_rails_top_and_aloft():
    lines = air_lines(mission(wind=Wind(profile="power", exponent=0.5, speed=6.0, blows_from="270 deg", veer="10 deg/km", top="2 km")))
    assert row(lines, "height") == ["3", "10", "100", "300", "1000", "3000"]
    speeds = [6.0 * np.sqrt(h / 10.0) for h in (3.0, 10.0, 100.0, 300.0, 1000.0, 2000.0)]
    assert row(lines, "speed") == [f"{speed:.1f}" for speed in speeds]
    assert row(lines, "comes from") == ["270", "270", "271", "273", "280", "290"]


def test_wind__calm_comes_from_nowhere_and_north_is_0():
    assert set(row(air_lines(mission()), "comes from")) == {"-"}
    assert set(row(air_lines(mission(wind=Wind(speed=3.0, blows_from="359.8 deg"))), "comes from")) == {"0"}


def test_wind__of_members_says_how_far_they_spread():
    members = tuple(WindMember(name=f"run {k}", height=(0.0, 5e3), east=(k, k), north=(0.0, 0.0)) for k in (4.0, 2.0, 9.0))
    lines = air_lines(mission(wind=Wind(profile="members", member=members)))
    assert 'Mean wind, member 0 of 3, "run 4.0"' in lines
    assert set(row(lines, "speed m/s, least")) == {"2.0"} and set(row(lines, "speed m/s, most")) == {"9.0"}
    assert set(row(lines, "speed m/s  ")) == {"4.0"}


def test_turbulence_and_gusts():
    gusts = (Gust(speed=5.0, blows_from="45 deg", upward=-2.0, height=100.0, length=50.0), Gust(upward=3.0, height=9.0, length=1.0, shape="rise"))
    lines = air_lines(mission(turbulence=AirTurbulence(wind_at_20_ft="30 knot", aloft=2.0), gust=gusts))
    assert "15.4 m/s at 20 ft; vertical standard deviation 1.54 m/s up to 1000 ft, 2.00 m/s from 2000 ft" in lines[-3]
    assert lines[-2] == "Gust: 5.0 m/s from 45 deg and 2.0 m/s downwards, 100 to 150 m above ground"
    assert lines[-1] == "Gust: 3.0 m/s upwards, 9 to 10 m above ground, which stays"
    own = air_lines(mission(turbulence=AirTurbulence(), wind=Wind(speed=4.0)))[-1]
    assert "4.0 m/s at 20 ft (the mean wind there)" in own and "0.40 m/s from 2000 ft" in own
