"""The US Standard Atmosphere 1976 up to 80 km, and the same column through a site's measured temperature and pressure.

Source of every constant and formula: "U.S. Standard Atmosphere, 1976", NOAA-S/T 76-1562 / NASA-TM-X-74335. Equation
numbers are the standard's.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.constants import G0
from sixdof.mission.checks.air import MOST_TEMPERATURE_OFFSET, PRESSURE_RATIO_LIMITS
from sixdof.mission.errors import Fault, MissionError

EARTH_RADIUS = 6_356_766.0  # r0 of the standard, m
MOLAR_MASS = 28.9644  # M0, kg/kmol
GAS_CONSTANT = 8314.32 / MOLAR_MASS  # R = R*/M0, J/(kg K): the standard's own values, not today's R*
GAMMA = 1.4
SUTHERLAND_BETA = 1.458e-6  # kg/(s m K^(1/2))
SUTHERLAND_S = 110.4  # K
SEA_LEVEL_PRESSURE = 101_325.0  # Pa

# geopotential height of each layer's base (m), temperature there (K), lapse above it (K/m): table 4 of the standard
LAYER_BASE = np.array([0.0, 11e3, 20e3, 32e3, 47e3, 51e3, 71e3])
LAYER_LAPSE = np.array([-6.5e-3, 0.0, 1.0e-3, 2.8e-3, 0.0, -2.8e-3, -2.0e-3])
LAYER_TEMPERATURE = 288.15 + np.concatenate(([0.0], np.cumsum(LAYER_LAPSE[:-1] * np.diff(LAYER_BASE))))

LOWEST, HIGHEST = -5_000.0, 80_000.0  # geometric altitude, m; above 80 km air is no longer mixed to one molar mass


class Atmosphere(NamedTuple):
    """Air at given altitudes, arrays of one shape: K, Pa, kg/m^3, m/s, Pa s."""

    temperature: np.ndarray
    pressure: np.ndarray
    density: np.ndarray
    sound: np.ndarray
    viscosity: np.ndarray


def geopotential(altitude):
    """Return the geopotential height (m) of a geometric altitude above mean sea level (m), eq. 18."""
    altitude = np.asarray(altitude, dtype=float)
    return EARTH_RADIUS * altitude / (EARTH_RADIUS + altitude)


def geometric(height):
    """Return the geometric altitude (m) of a geopotential height (m), eq. 19."""
    height = np.asarray(height, dtype=float)
    return EARTH_RADIUS * height / (EARTH_RADIUS - height)


def standard(altitude) -> Atmosphere:
    """Return the standard atmosphere at geometric altitudes above mean sea level (m, any shape).

    Valid from -5 km to 80 km; the lowest layer goes on below sea level. Raises ValueError outside.
    """
    return _air(_checked(altitude), 0.0, 0.0, SEA_LEVEL_PRESSURE)


def at_site(altitude, site_altitude: float, temperature: float | None = None, pressure: float | None = None) -> Atmosphere:
    """Return the air at geometric altitudes (m) over a site whose temperature (K) and station pressure (Pa) are known.

    The measured temperature shifts the whole standard column by one constant, T(z) = T_std(z) + dT with
    dT = temperature - T_std(site_altitude): lapse rates stay the standard's. The pressure follows by exact hydrostatic
    integration of that column, up and down from the site's pressure; density is p/(R T). What is omitted is the
    standard's at the site. Raises ValueError for altitudes outside -5..80 km, MissionError (a
    ValueError too) for readings no weather explains.

    Examples
    --------
    >>> round(float(sixdof.aero.at_site(0.0, 0.0).density), 3)
    1.225
    """
    altitude = _checked(altitude)
    offset = _site_offset(site_altitude, temperature)
    return _air(altitude, offset, float(geopotential(site_altitude)), site_pressure(site_altitude, pressure))


def density_altitude(density):
    """Return the geopotential altitude (m) at which the standard atmosphere has a density (kg/m^3, any shape).

    The inverse of eqs. 33a, 33b and 42 in closed form. Raises ValueError for densities of more than the standard's at -5 km or
    less than that at 71 km.
    """
    density = np.asarray(density, dtype=float)
    bases = standard(geometric(LAYER_BASE)).density
    limit = float(standard(LOWEST).density)
    if not np.all((density >= bases[-1]) & (density <= limit)):
        raise ValueError(f"density must be {bases[-1]:.2g} to {limit:.3g} kg/m^3, the standard's from 71 km down to -5 km")
    layer = np.clip(np.searchsorted(-bases, -density, side="right") - 1, 0, LAYER_BASE.size - 2)
    ratio, t, lapse = density / bases[layer], LAYER_TEMPERATURE[layer], LAYER_LAPSE[layer]
    isothermal = lapse == 0.0
    slope = np.where(isothermal, 1.0, lapse)
    rise = t * (ratio ** (-1.0 / (1.0 + G0 / (GAS_CONSTANT * slope))) - 1.0) / slope
    return LAYER_BASE[layer] + np.where(isothermal, -GAS_CONSTANT * t / G0 * np.log(ratio), rise)


def site_pressure(site_altitude: float, pressure: float | None = None) -> float:
    """Return the pressure (Pa) at a site (m): as measured there, or the standard's. Raises MissionError if no weather explains it."""
    usual = float(standard(site_altitude).pressure)
    base = usual if pressure is None else pressure
    if not is_weather(base, usual):
        message = f"{pressure:g} Pa is not a pressure of the site, where the standard is {usual:.0f} Pa"
        hint = "give the pressure measured at the site, not the one reduced to sea level"
        raise MissionError([Fault("", "air.pressure", pressure, message, hint)])
    return base


def is_weather(pressure: float, usual: float) -> bool:
    """Tell whether a pressure (Pa) can be found where the standard is `usual` (Pa)."""
    low, high = PRESSURE_RATIO_LIMITS
    return low * usual <= pressure <= high * usual


def _checked(altitude) -> np.ndarray:
    altitude = np.asarray(altitude, dtype=float)
    if not np.all((altitude >= LOWEST) & (altitude <= HIGHEST)):
        raise ValueError("altitude lies outside the standard atmosphere of -5 km to 80 km above mean sea level")
    return altitude


def _site_offset(site_altitude: float, temperature: float | None) -> float:
    """Return the offset of a site's temperature (K) from the standard's, or raise if the reading is impossible."""
    usual = float(standard(site_altitude).temperature)
    offset = 0.0 if temperature is None else temperature - usual
    if not abs(offset) <= MOST_TEMPERATURE_OFFSET:
        message = f"{temperature:g} K is not a temperature of the site, where the standard is {usual:.1f} K"
        raise MissionError([Fault("", "air.temperature", temperature, message, 'write it with its unit, such as "24 degC"')])
    return offset


def _air(altitude: np.ndarray, offset: float, base_height: float, base_pressure: float) -> Atmosphere:
    """Return the air of the standard column shifted by `offset` (K), through `base_pressure` at `base_height`."""
    height = geopotential(altitude)
    temperature = standard_temperature(height) + offset
    pressure = base_pressure * np.exp(_log_pressure(height, offset) - _log_pressure(np.asarray(base_height), offset))
    return of_gas(temperature, pressure, temperature)


def of_gas(temperature, pressure, virtual) -> Atmosphere:
    """Return air from temperature (K), pressure (Pa) and virtual temperature (K; the temperature itself where the air is dry)."""
    density = pressure / (GAS_CONSTANT * virtual)  # eq. 42
    sound = np.sqrt(GAMMA * GAS_CONSTANT * virtual)  # eq. 50
    viscosity = SUTHERLAND_BETA * temperature**1.5 / (temperature + SUTHERLAND_S)  # eq. 51
    return Atmosphere(temperature, pressure, density, sound, viscosity)


def _layer(height: np.ndarray) -> np.ndarray:
    return np.clip(np.searchsorted(LAYER_BASE, height, side="right") - 1, 0, None)


def standard_temperature(height) -> np.ndarray:
    """Return the standard temperature (K) over geopotential height (m), eq. 23."""
    height = np.asarray(height, dtype=float)
    layer = _layer(height)
    return LAYER_TEMPERATURE[layer] + LAYER_LAPSE[layer] * (height - LAYER_BASE[layer])


def _log_pressure(height: np.ndarray, offset: float) -> np.ndarray:
    """Return ln(p/p(0)) over geopotential height (m) of the column shifted by `offset` (K), eqs. 33a and 33b."""
    rises = np.append(np.diff(LAYER_BASE), 0.0)
    bases = np.concatenate(([0.0], np.cumsum(_rise(rises, LAYER_TEMPERATURE + offset, LAYER_LAPSE))[:-1]))
    layer = _layer(height)
    return bases[layer] + _rise(height - LAYER_BASE[layer], LAYER_TEMPERATURE[layer] + offset, LAYER_LAPSE[layer])


def _rise(dh: np.ndarray, base_temperature: np.ndarray, lapse: np.ndarray) -> np.ndarray:
    """Return the change of ln p over a rise dh (m) from a layer's base: -(g0/R) times the integral of dh/T."""
    isothermal = lapse == 0.0
    slope = np.where(isothermal, 1.0, lapse)  # 1 is never used: it keeps the unused branch finite
    with_lapse = np.log1p(slope * np.where(isothermal, 0.0, dh) / base_temperature) / slope
    return -G0 / GAS_CONSTANT * np.where(isothermal, dh / base_temperature, with_lapse)
