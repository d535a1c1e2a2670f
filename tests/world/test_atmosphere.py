"""Air over a site with measured temperature and pressure."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from sixdof.world.atmosphere import G0, GAMMA, GAS_CONSTANT, HIGHEST, LAYER_BASE, LOWEST, at_site, geometric, geopotential, standard

ROUNDING = 1e-12  # a few hundred float64 operations
INTEGRATION = 1e-8  # tolerance of the numerical hydrostatic integration


def test_at_site__without_readings_is_the_standard():
    altitude = np.linspace(-1000.0, 60_000.0, 301)
    for got, expected in zip(at_site(altitude, 1400.0), standard(altitude)):
        np.testing.assert_allclose(got, expected, rtol=ROUNDING)


@given(st.floats(-400.0, 5000.0), st.floats(-40.0, 40.0), st.floats(0.92, 1.05))
def test_at_site__returns_the_readings_at_the_site(altitude, offset, factor):
    usual = standard(altitude)
    temperature, pressure = float(usual.temperature) + offset, float(usual.pressure) * factor
    air = at_site(altitude, altitude, temperature, pressure)
    assert float(air.temperature) == pytest.approx(temperature, rel=ROUNDING)
    assert float(air.pressure) == pytest.approx(pressure, rel=ROUNDING)
    assert float(air.density) == pytest.approx(pressure / (GAS_CONSTANT * temperature), rel=ROUNDING)
    assert float(air.sound) == pytest.approx(np.sqrt(GAMMA * GAS_CONSTANT * temperature), rel=ROUNDING)


def test_at_site__shifts_temperature_by_one_constant():
    altitude = np.linspace(0.0, 40_000.0, 101)
    air = at_site(altitude, 1400.0, temperature=305.0)
    shift = air.temperature - standard(altitude).temperature
    np.testing.assert_allclose(shift, 305.0 - float(standard(1400.0).temperature), rtol=1e-10)


@pytest.mark.parametrize("temperature, pressure", [(305.0, 86_000.0), (255.0, 84_000.0), (None, 85_000.0), (305.0, None)])
def test_at_site__pressure_is_the_hydrostatic_integral(temperature, pressure):
    site, top = 1400.0, 60_000.0
    start = float(at_site(site, site, temperature, pressure).pressure)

    def slope(height, log_p):
        return [-G0 / (GAS_CONSTANT * float(at_site(geometric(height), site, temperature, pressure).temperature))]

    # pieces between the kinks of temperature, so that the integrator keeps its order
    stops = [float(geopotential(site)), *LAYER_BASE[(site < LAYER_BASE) & (top > LAYER_BASE)], float(geopotential(top))]
    log_p = np.log(start)
    for low, high in zip(stops, stops[1:]):
        log_p = solve_ivp(slope, (low, high), [log_p], rtol=1e-11, atol=1e-12).y[0, -1]
        got = float(at_site(geometric(high), site, temperature, pressure).pressure)
        assert got == pytest.approx(np.exp(log_p), rel=INTEGRATION)


def test_at_site__warm_air_is_thinner_at_the_site_and_its_pressure_falls_more_slowly():
    warm, cold = (at_site([1400.0, 8000.0], 1400.0, t, 86_000.0) for t in (305.0, 265.0))
    assert warm.density[0] < cold.density[0]
    assert warm.pressure[1] > cold.pressure[1]


def test_geopotential__and_back():
    altitude = np.linspace(LOWEST, HIGHEST, 101)
    np.testing.assert_allclose(geometric(geopotential(altitude)), altitude, rtol=ROUNDING, atol=1e-9)


@pytest.mark.parametrize("altitude", [LOWEST - 1.0, HIGHEST + 1.0, np.nan])
def test_standard__outside_is_an_error(altitude):
    with pytest.raises(ValueError, match="-5 km to 80 km"):
        standard([0.0, altitude])


def test_at_site__temperature_without_its_unit_is_an_error():
    with pytest.raises(ValueError, match=r"air.temperature: 24 K .* degC"):
        at_site(0.0, 0.0, temperature=24.0)


def test_at_site__pressure_reduced_to_sea_level_is_an_error():
    with pytest.raises(ValueError, match=r"air.pressure: 101300 Pa .* sea level"):
        at_site(1400.0, 1400.0, pressure=101_300.0)
