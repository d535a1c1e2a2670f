"""Moist air against published formulas: density by CIPM-2007, vapour pressure, density altitude.

CIPM-2007: A. Picard, R. S. Davis, M. Glaeser, K. Fujii (2008), Revised formula for the density of moist air, Metrologia 45, 149-155,
eqs. 1 to 3 and appendix A; accurate to 2.2e-5 for 15 to 27 degC and 600 to 1100 hPa. Its constants were taken from a public program
that quotes the paper, not from the paper's own print.
Triple point of water: 611.657 Pa at 273.16 K (IAPWS R7-97).
Density altitude: the U.S. National Weather Service's formula for a station, DA = 145442.16 ft (1 - (17.326 P/(459.67 + T))^0.235), P in
inches of mercury, T (virtual) in degF; rounded constants.
"""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest

from sixdof.world.atmosphere import GAS_CONSTANT, density_altitude, geometric, standard
from sixdof.world.humidity import moist_density, saturation_pressure, vapour_of_dew_point, vapour_of_relative_humidity, vapour_of_specific_humidity

COMPRESSIBILITY = 7e-4  # the real gas is denser than the ideal one by up to 6e-4 at 0 degC, and holds today's CO2 (4e-5)
LIGHTER = 1e-4  # of density, what humidity takes away: 3.1e-3 of the vapour pressure, which is 4 % of the air at most
MAGNUS = 3.5e-3  # of vapour pressure, 0 to 35 degC: what the Magnus form lacks, mostly the enhancement of saturation by air (f = 1.004)


def cipm_2007(t: float, p: float, h: float) -> float:
    """Density (kg/m^3) from degC, Pa and relative humidity (share), with 400 ppm of carbon dioxide."""
    kelvin = t + 273.15
    saturated = math.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * t**2
    x = h * enhancement * saturated / p
    first = 1.58123e-6 - 2.9331e-8 * t + 1.1043e-10 * t**2 + (5.707e-6 - 2.051e-8 * t) * x + (1.9898e-4 - 2.376e-6 * t) * x**2
    z = 1.0 - p / kelvin * first + (p / kelvin) ** 2 * (1.83e-11 - 0.765e-8 * x**2)
    return 3.483740e-3 * p / (z * kelvin) * (1.0 - 0.3780 * x)


def ours(t: float, p: float, h: float) -> float:
    return float(moist_density(p, t + 273.15, vapour_of_relative_humidity(h, t + 273.15, p)))


CASES = list(itertools.product((0.0, 10.0, 15.0, 20.0, 27.0, 35.0), (60e3, 80e3, 101_325.0), (0.0, 0.3, 0.6, 1.0)))


@pytest.mark.parametrize("t, p, h", CASES)
def test_moist_density__against_cipm_2007(t, p, h):
    assert ours(t, p, h) == pytest.approx(cipm_2007(t, p, h), rel=COMPRESSIBILITY)
    assert ours(t, p, h) / ours(t, p, 0.0) == pytest.approx(cipm_2007(t, p, h) / cipm_2007(t, p, 0.0), rel=LIGHTER)


def test_moist_density__humidity_matters_more_than_the_limits_above():
    """At 35 degC and 60 kPa saturated air is 3.5 % lighter: 350 times LIGHTER."""
    assert 1.0 - ours(35.0, 60e3, 1.0) / ours(35.0, 60e3, 0.0) == pytest.approx(0.0353, abs=5e-4)


def test_saturation__against_the_triple_point():
    assert float(saturation_pressure(273.16)) == pytest.approx(611.657, rel=2e-4)  # Magnus: 611.2 Pa at 0 degC, four digits


@pytest.mark.parametrize("t", [0.0, 5.0, 10.0, 20.0, 30.0, 35.0])
def test_saturation__against_cipm_2007(t):
    kelvin = t + 273.15
    published = math.exp(1.2378847e-5 * kelvin**2 - 1.9121316e-2 * kelvin + 33.93711047 - 6.3431645e3 / kelvin)
    assert float(saturation_pressure(kelvin)) == pytest.approx(published, rel=MAGNUS)


@pytest.mark.parametrize("t, p, h", [case for case in CASES if case[2] > 0.0])
def test_humidities__three_ways_to_say_the_same(t, p, h):
    """Partial densities: dry air of R = 287.053, vapour of R = 461.52 J/(kg K) (universal constant over 18.01528)."""
    vapour = h * float(saturation_pressure(t + 273.15))
    dry, wet = (p - vapour) / (GAS_CONSTANT * (t + 273.15)), vapour / (8314.32 / 18.01528 * (t + 273.15))
    assert ours(t, p, h) == pytest.approx(dry + wet, rel=1e-12)
    share = float(vapour_of_relative_humidity(h, t + 273.15, p))
    assert float(vapour_of_specific_humidity(wet / (dry + wet))) == pytest.approx(share, rel=1e-12)
    # dew point: the Magnus form solved for temperature
    log = math.log(vapour / 611.2)
    dew_point = 243.12 * log / (17.62 - log) + 273.15
    assert float(vapour_of_dew_point(dew_point, p)) == pytest.approx(share, rel=1e-10)


@pytest.mark.parametrize("height", [-4000.0, 0.0, 1500.0, 10_999.0, 11_000.0, 15_000.0, 20_000.0, 25_000.0, 40_000.0, 49_000.0, 60_000.0])
def test_density_altitude__is_the_inverse_of_the_standard(height):
    density = float(standard(geometric(height)).density)
    assert float(density_altitude(density)) == pytest.approx(height, abs=1e-6)  # rounding of density times 8 km


@pytest.mark.parametrize("celsius, inches", [(15.0, 29.92), (35.0, 26.0), (-20.0, 28.0), (24.0, 25.87), (40.0, 22.0)])
def test_density_altitude__against_the_weather_services_formula(celsius, inches):
    kelvin, pascal = celsius + 273.15, inches * 3386.389
    feet = 145_442.16 * (1.0 - (17.326 * inches / (459.67 + celsius * 1.8 + 32.0)) ** 0.235)
    found = float(density_altitude(pascal / (GAS_CONSTANT * kelvin)))
    assert found == pytest.approx(feet * 0.3048, abs=6.0)  # m: its 17.326 is 5e-4 off 518.67/29.9213, which shifts all by 5 m


@pytest.mark.parametrize("density", [3.0, 1e-5, np.nan])
def test_density_altitude__beyond_the_standard_is_an_error(density):
    with pytest.raises(ValueError, match="density must be"):
        density_altitude(density)
