"""Water vapour in air: how much there is, and how much lighter the air is for it. Ideal gases."""

from __future__ import annotations

import numpy as np

from sixdof.world.atmosphere import GAS_CONSTANT, MOLAR_MASS

VAPOUR_MOLAR_MASS = 18.01528  # kg/kmol
EPSILON = VAPOUR_MOLAR_MASS / MOLAR_MASS


def saturation_pressure(temperature):
    """Return the pressure (Pa) of saturated vapour over plane liquid water at a temperature (K).

    The Magnus form of Sonntag (1990), as in WMO-No. 8, Guide to Instruments and Methods of Observation (2008), part I,
    annex 4.B; -45 to 60 degC. Below, the little vapour there is makes no difference to the air's density.
    """
    celsius = np.asarray(temperature, dtype=float) - 273.15
    return 611.2 * np.exp(17.62 * celsius / (243.12 + celsius))


def vapour_of_relative_humidity(relative_humidity, temperature, pressure):
    """Return the mole share of vapour from relative humidity over water (share), temperature (K) and pressure (Pa)."""
    return np.asarray(relative_humidity) * saturation_pressure(temperature) / pressure


def vapour_of_dew_point(dew_point, pressure):
    """Return the mole share of vapour from the dew point (K) and pressure (Pa)."""
    return saturation_pressure(dew_point) / pressure


def vapour_of_specific_humidity(specific_humidity):
    """Return the mole share of vapour from the mass of vapour in a mass of moist air (share)."""
    q = np.asarray(specific_humidity, dtype=float)
    return q / (EPSILON + (1.0 - EPSILON) * q)


def virtual_temperature(temperature, vapour):
    """Return the temperature (K) at which dry air is as dense as moist air of a temperature (K) and a mole share of vapour."""
    return temperature / (1.0 - (1.0 - EPSILON) * np.asarray(vapour))


def moist_density(pressure, temperature, vapour):
    """Return the density (kg/m^3) of air of a pressure (Pa), temperature (K) and mole share of vapour.

    Ideal gas, without the enhancement of saturation by the air: together they err by less than 7e-4 (against CIPM-2007, 0 to 30 degC,
    60 to 105 kPa).
    """
    return pressure / (GAS_CONSTANT * virtual_temperature(temperature, vapour))
