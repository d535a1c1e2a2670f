"""Soundings: what the column is at, between and beyond its levels, and what cannot be."""

from __future__ import annotations

import numpy as np
import pytest

from sixdof.core.columns import AirColumn
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Air, Site, Sounding
from sixdof.world.atmosphere import G0, GAMMA, GAS_CONSTANT, geometric, geopotential, standard
from sixdof.world.build import world_table
from sixdof.world.humidity import saturation_pressure
from sixdof.world.sounding import air_over, level_altitudes

ROUNDING = 1e-12
SITE = 1400.0
ALTITUDE = np.array([1100.0, 1400.0, 2000.0, 3500.0, 6000.0, 9000.0, 14_000.0])
TEMPERATURE = np.array([301.0, 297.0, 293.0, 280.0, 262.0, 240.0, 210.0])
HUMIDITY = np.array([0.45, 0.5, 0.6, 0.7, 0.3, 0.2, 0.02])
ABOVE = np.linspace(SITE, 40_000.0, 1501)


def mission(site=SITE, site_pressure=None, **sounding):
    lists = {name: tuple(map(float, values)) for name, values in sounding.items()}
    air = Air(pressure=site_pressure, sounding=Sounding(**lists))
    return Mission.model_construct(site=Site(latitude=0.6, altitude=site), air=air, disperse={})


def moist(**more):
    return mission(**({"altitude": ALTITUDE, "temperature": TEMPERATURE, "relative_humidity": HUMIDITY} | more))


# ---------------------------------------------------------------- at the levels, and between


def standard_levels():
    """Levels of the standard atmosphere, those at which its lapse changes among them: linear in geopotential height between."""
    height = np.array([-1000.0, 900.0, 1400.0, 3000.0, 11_000.0, 15_000.0, 20_000.0, 32_000.0])
    air = standard(geometric(height))
    return height, air


WAYS = {
    "altitude": lambda height: {"altitude": geometric(height)},
    "geopotential height": lambda height: {"geopotential_height": height},
    "height": lambda height: {"height": geometric(height) - SITE},
}


@pytest.mark.parametrize("way", WAYS.values(), ids=WAYS)
@pytest.mark.parametrize("with_pressure", [True, False])
def test_air_over__of_the_standards_levels_is_the_standard(way, with_pressure):
    height, air = standard_levels()
    own = {"pressure": air.pressure} if with_pressure else {}
    altitude = np.linspace(-4000.0, 70_000.0, 991)  # far beyond the levels too: there it goes on as the standard
    found, vapour = air_over(mission(temperature=air.temperature, **way(height), **own), altitude)
    assert not vapour.any()
    for name, got, expected in zip(found._fields, found, standard(altitude)):
        np.testing.assert_allclose(got, expected, rtol=1e-11, err_msg=name)


@pytest.mark.parametrize("site", [1400.0, 700.0, -300.0])
def test_level_altitudes__of_levels_over_pressure_alone_are_the_standards(site):
    height, air = standard_levels()
    m = mission(site, float(standard(site).pressure), pressure=air.pressure, temperature=air.temperature)
    np.testing.assert_allclose(level_altitudes(m, m.air.sounding), geometric(height), atol=1e-7)


def test_level_altitudes__thickness_is_the_hypsometric_equation():
    """Z2 - Z1 = R Tv/g0 ln(p1/p2) (AMS Glossary of Meteorology, "hypsometric equation"), Tv = T/(1 - e/p (1 - 0.622))."""
    m = mission(0.0, 100_000.0, pressure=(100_000.0, 50_000.0), temperature=(270.0, 270.0))
    low, high = geopotential(level_altitudes(m, m.air.sounding))
    assert (low, high) == pytest.approx((0.0, 287.0528 * 270.0 / 9.80665 * np.log(2.0)), rel=1e-6)
    pair = {"pressure": (100_000.0, 99_000.0), "temperature": (300.0, 300.0), "dew_point": (298.0, 298.0)}
    damp = mission(0.0, 100_000.0, **pair)
    low, high = geopotential(level_altitudes(damp, damp.air.sounding))
    e = 3142.0  # Pa, saturated at 24.85 degC (to 3e-3)
    tv = 300.0 / (1.0 - e / 99_500.0 * (1.0 - 0.62198))
    assert high - low == pytest.approx(287.0528 * tv / 9.80665 * np.log(100.0 / 99.0), rel=1e-4)


def test_air_over__at_the_levels_is_what_was_measured():
    found, vapour = air_over(moist(), ALTITUDE)
    np.testing.assert_allclose(found.temperature, TEMPERATURE, rtol=ROUNDING)
    np.testing.assert_allclose(vapour * found.pressure / saturation_pressure(TEMPERATURE), HUMIDITY, rtol=1e-9)


def test_air_over__between_levels_temperature_is_linear_in_geopotential_height():
    low, high = geopotential(ALTITUDE[2:4])
    found, _ = air_over(moist(), geometric(low + np.array([0.25, 0.5]) * (high - low)))
    np.testing.assert_allclose(found.temperature, [293.0 - 0.25 * 13.0, 293.0 - 0.5 * 13.0], rtol=ROUNDING)


OWN_PRESSURE = np.array([88_600.0, 85_600.0, 79_900.0, 66_900.0, 48_700.0, 32_400.0, 14_900.0])  # of such a column, to 1 % or so


@pytest.mark.parametrize("made", [moist, lambda: moist(pressure=OWN_PRESSURE)])
def test_air_over__is_in_hydrostatic_balance(made):
    """dp/dH = -g0 rho by central differences, density from partial pressures: dry air and vapour apart (R = 287.053, 461.515)."""
    height = geopotential(ABOVE)
    half = 2.0
    m = made()
    up, down = (air_over(m, geometric(height + sign * half))[0].pressure for sign in (1.0, -1.0))
    here, vapour = air_over(m, ABOVE)
    density = here.pressure * ((1.0 - vapour) / GAS_CONSTANT + vapour / (8314.32 / 18.01528)) / here.temperature
    np.testing.assert_allclose(here.density, density, rtol=1e-5)  # between nodes 100 m apart virtual temperature is linear
    balance = -(up - down) / (2.0 * half * G0 * density)
    # a kink of temperature at a level: 10 K/km over 4 m of 250 K
    np.testing.assert_allclose(balance, 1.0, rtol=1.5e-4)
    assert np.median(np.abs(balance - 1.0)) < 1e-6


def test_air_over__humid_air_is_lighter_and_carries_sound_faster():
    damp, dry = (air_over(m, SITE)[0] for m in (moist(), moist(relative_humidity=())))
    assert float(damp.pressure) == pytest.approx(float(dry.pressure), rel=ROUNDING)
    # half of 2958 Pa (saturation at 23.85 degC, CIPM-2007) in 85.6 kPa, each molecule of vapour 0.378 lighter than one of air
    assert float(damp.density / dry.density) == pytest.approx(1.0 - 0.378 * 0.5 * 2958.0 / 85_602.0, abs=3e-5)
    assert float(damp.sound / dry.sound) ** 2 == pytest.approx(float(dry.density / damp.density), rel=1e-12)


# ---------------------------------------------------------------- what pressure it hangs on


def test_air_over__pressure_hangs_on_the_site_without_own_pressures():
    assert float(air_over(moist(), SITE)[0].pressure) == pytest.approx(float(standard(SITE).pressure), rel=ROUNDING)
    assert float(air_over(moist(site_pressure=86_100.0), SITE)[0].pressure) == pytest.approx(86_100.0, rel=ROUNDING)


def test_air_over__pressure_hangs_on_the_level_nearest_to_the_site():
    own = air_over(moist(), ALTITUDE)[0].pressure * (1.0 + 0.004 * np.arange(7))  # instruments disagree with the law a little
    m = moist(pressure=own, site=1900.0)
    assert float(air_over(m, 2000.0)[0].pressure) == pytest.approx(own[2], rel=ROUNDING)


# ---------------------------------------------------------------- beyond the levels


def test_air_over__beyond_the_levels_is_the_standard_shifted():
    found, _ = air_over(moist(), [200.0, 1100.0, 14_000.0, 30_000.0])
    usual = standard([200.0, 1100.0, 14_000.0, 30_000.0]).temperature
    shift = found.temperature - usual
    np.testing.assert_allclose(shift[0], shift[1], rtol=1e-9)
    np.testing.assert_allclose(shift[2], shift[3], rtol=1e-9)
    step, _ = air_over(moist(), [1100.0 - 1e-6, 1100.0, 14_000.0, 14_000.0 + 1e-6])
    for values in step[:4]:
        np.testing.assert_allclose(values[[0, 2]], values[[1, 3]], rtol=1e-8)


# a column that ends warm at 2 km goes on to a warm tropopause, of 234 K: saturated there it holds 9e-4
@pytest.mark.parametrize("cut, left", [(3, 1e-3), (7, 2e-5)])
def test_air_over__vapour_above_the_highest_level_never_grows_nor_saturates(cut, left):
    m = moist(altitude=ALTITUDE[:cut], temperature=TEMPERATURE[:cut], relative_humidity=HUMIDITY[:cut])
    found, vapour = air_over(m, ABOVE)
    above = ALTITUDE[cut - 1] < ABOVE
    assert np.all(np.diff(vapour[above]) <= 0.0)
    assert np.all((vapour * found.pressure / saturation_pressure(found.temperature))[above] < 1.05)  # linear between nodes
    assert vapour[above][-1] < left


def test_air_over__vapour_below_the_lowest_level_is_held():
    _, vapour = air_over(moist(), [300.0, 1100.0])
    assert vapour[0] == pytest.approx(vapour[1], rel=ROUNDING)


# ---------------------------------------------------------------- the kernel's table


def test_world_table__holds_the_soundings_air():
    world = world_table(moist())
    row = world.air[int((600.0 - world.air_z0) * world.air_per_metre)]
    air, _ = air_over(moist(), 2000.0)
    assert row[AirColumn.DENSITY] == pytest.approx(float(air.density), rel=ROUNDING)
    assert row[AirColumn.PRESSURE] == pytest.approx(float(air.pressure), rel=ROUNDING)
    assert row[AirColumn.SOUND] == pytest.approx(float(air.sound), rel=ROUNDING)
    # what a drawn temperature works on: density, pressure and sound of one ideal gas
    np.testing.assert_allclose(world.air[:, AirColumn.PRESSURE] * GAMMA, world.air[:, AirColumn.DENSITY] * world.air[:, AirColumn.SOUND] ** 2, rtol=ROUNDING)


def test_world_table__a_kernel_that_warms_the_sounding_agrees_with_a_warmer_sounding():
    from sixdof.core.leg.drawing import dispersed_air

    world = world_table(moist(relative_humidity=()))
    rows = np.zeros_like(world.air)
    dispersed_air(world, 4.0, 1.0, rows)
    warmer = world_table(moist(relative_humidity=(), temperature=TEMPERATURE + 4.0)).air
    np.testing.assert_allclose(rows[:, AirColumn.PRESSURE], warmer[:, AirColumn.PRESSURE], rtol=2e-5)  # hydrostatics by rows of 20 m
    np.testing.assert_allclose(rows[:, AirColumn.DENSITY], warmer[:, AirColumn.DENSITY], rtol=2e-5)


# ---------------------------------------------------------------- what cannot be


def test_air_over__temperature_that_no_weather_explains():
    with pytest.raises(ValueError, match=r"air.sounding: 310.0 K is not a temperature at 14000 m .* 216.6 K"):
        air_over(moist(temperature=[*TEMPERATURE[:-1], 310.0]), SITE)


def test_air_over__heights_in_feet_do_not_fit_their_pressures():
    own = air_over(moist(), ALTITUDE)[0].pressure
    with pytest.raises(ValueError, match="do not fit together: at .* check the units"):
        air_over(moist(pressure=own, altitude=ALTITUDE / 0.3048, temperature=np.full(7, 270.0), site=4500.0), 4500.0)


def test_air_over__heights_above_the_ground_given_as_altitudes():
    own = air_over(moist(), ALTITUDE)[0].pressure
    with pytest.raises(ValueError, match="Pa at the site, where the standard is .* from mean sea level"):
        air_over(moist(pressure=own, altitude=ALTITUDE + SITE), SITE)


def test_level_altitudes__that_do_not_reach_the_site():
    m = mission(4200.0, 60_000.0, pressure=(90_000.0, 80_000.0), temperature=(280.0, 275.0))
    with pytest.raises(ValueError, match="up to 80000 Pa, do not reach the site, whose pressure is 60000 Pa"):
        air_over(m, 4300.0)


@pytest.mark.parametrize("altitude", [-5001.0, 80_001.0, np.nan])
def test_air_over__outside_is_an_error(altitude):
    with pytest.raises(ValueError, match="-5 km to 80 km"):
        air_over(moist(), [SITE, altitude])


def test_air_over__without_a_sounding_is_the_site_s_air():
    m = Mission.model_construct(site=Site(latitude=0.6, altitude=SITE), air=Air(temperature=300.0, pressure=86_000.0))
    air, vapour = air_over(m, SITE)
    assert (float(air.temperature), float(air.pressure), float(vapour)) == pytest.approx((300.0, 86_000.0, 0.0))
