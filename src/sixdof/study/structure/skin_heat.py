"""Heat from the air to a skin: recovery temperature and film coefficient of a plate, a cone, a blunt tip and a leading edge."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.world.atmosphere import GAMMA, GAS_CONSTANT, SUTHERLAND_BETA, SUTHERLAND_S

PRANDTL = 0.71  # of air, 200 to 500 K
SPECIFIC_HEAT = GAMMA * GAS_CONSTANT / (GAMMA - 1.0)  # of air at constant pressure, J/(kg K)
TRANSITION = 5e5  # Reynolds number on the distance from the tip above which a layer counts as turbulent: common practice for a smooth plate
CONE_LAMINAR, CONE_TURBULENT = math.sqrt(3.0), 1.15  # film of a cone over that of a plate at the same distance (E. R. van Driest, 1952; Eckert 1956)
STEFAN_BOLTZMANN = 5.670374419e-8  # W/(m^2 K^4)
SUBSONIC, SUPERSONIC = 0.8, 1.2  # Mach numbers between which the velocity gradient at a stagnation point goes straight from one form to the other


class Film(NamedTuple):
    """Film coefficient (W/(m^2 K)) and recovery temperature (K)."""

    coefficient: np.ndarray
    recovery: np.ndarray


def viscosity(temperature) -> np.ndarray:
    """Return the viscosity of air, kg/(m s): Sutherland's (US Standard Atmosphere 1976, eq. 51)."""
    return SUTHERLAND_BETA * temperature**1.5 / (temperature + SUTHERLAND_S)


def recovery_temperature(temperature, mach, factor) -> np.ndarray:
    """Return T (1 + r (gamma - 1)/2 M^2), K: what an insulated skin comes to. factor : r; sqrt(Pr) laminar, Pr^(1/3) turbulent, 1 at a stagnation point."""
    return np.asarray(temperature) * (1.0 + factor * 0.5 * (GAMMA - 1.0) * np.asarray(mach) ** 2)


def stagnation_pressure(pressure, mach) -> np.ndarray:
    """Return the pressure (Pa) at a stagnation point, behind a normal shock above Mach 1 (Rayleigh; NACA Report 1135, eqs. 44 and 100)."""
    mach = np.asarray(mach, dtype=float)
    slow = (1.0 + 0.5 * (GAMMA - 1.0) * np.minimum(mach, 1.0) ** 2) ** (GAMMA / (GAMMA - 1.0))
    m2 = np.maximum(mach, 1.0) ** 2
    fast = (0.5 * (GAMMA + 1.0) * m2) ** (GAMMA / (GAMMA - 1.0)) * ((GAMMA + 1.0) / (2.0 * GAMMA * m2 - (GAMMA - 1.0))) ** (1.0 / (GAMMA - 1.0))
    return pressure * np.where(mach < 1.0, slow, fast)


def plate(air, distance, wall, *, cone=False) -> Film:
    """Return the film of a flat plate or a cone by Eckert's reference temperature.

    E. R. G. Eckert, J. Aero. Sci. 22, 1955: T* = T + (T_w - T)/2 + 0.22 (T_r - T); Nu = 0.332 Re*^(1/2) Pr^(1/3) laminar, 0.0296 Re*^(4/5) Pr^(1/3)
    turbulent, local, the edge at the free stream.

    air : with temperature (K), density (kg/m^3), airspeed (m/s), mach. distance : from the tip or leading edge, m. wall : temperature of the skin, K.
    """
    turbulent = air.density * air.airspeed * distance / viscosity(air.temperature) > TRANSITION
    recovery = recovery_temperature(air.temperature, air.mach, np.where(turbulent, PRANDTL ** (1.0 / 3.0), math.sqrt(PRANDTL)))
    reference = air.temperature + 0.5 * (wall - air.temperature) + 0.22 * (recovery - air.temperature)
    mu = viscosity(reference)
    reynolds = air.density * air.temperature / reference * air.airspeed * distance / mu
    nusselt = PRANDTL ** (1.0 / 3.0) * np.where(turbulent, 0.0296 * reynolds**0.8, 0.332 * np.sqrt(reynolds))
    more = np.where(cone, np.where(turbulent, CONE_TURBULENT, CONE_LAMINAR), 1.0)
    return Film(more * nusselt * mu * SPECIFIC_HEAT / PRANDTL / distance, recovery)


def gradient(air, radius, *, sphere: bool) -> np.ndarray:
    """Return the velocity gradient at the stagnation point of a sphere or along that of a cylinder, 1/s.

    Below Mach 0.8 3/2 V/R (1 - 0.252 M^2 - 0.0175 M^4) and 2 V/R (1 - 0.416 M^2 - 0.164 M^4) (F. M. White, Viscous Fluid Flow, 1974, from memory); above
    1.2 the modified Newtonian sqrt(2 (p_s - p)/rho_s)/R.
    """
    mach = np.minimum(air.mach, SUBSONIC)
    slow = (1.5 * (1.0 - 0.252 * mach**2 - 0.0175 * mach**4) if sphere else 2.0 * (1.0 - 0.416 * mach**2 - 0.164 * mach**4)) * air.airspeed
    rise = stagnation_pressure(air.pressure, air.mach) - air.pressure
    total = recovery_temperature(air.temperature, air.mach, 1.0)
    fast = np.sqrt(2.0 * rise * GAS_CONSTANT * total / (rise + air.pressure))
    share = np.clip((np.asarray(air.mach) - SUBSONIC) / (SUPERSONIC - SUBSONIC), 0.0, 1.0)
    return ((1.0 - share) * slow + share * fast) / radius


class _Air(NamedTuple):
    temperature: np.ndarray
    density: np.ndarray
    pressure: np.ndarray
    airspeed: np.ndarray
    mach: np.ndarray


def stagnation(air, radius, *, sweep=0.0, sphere: bool) -> Film:
    """Return the film of a blunt tip (sphere) or of a leading edge (cylinder, swept) where it is largest.

    M. Sibulkin, J. Aero. Sci. 19, 1952 (0.763, axisymmetric); E. Reshotko and C. B. Cohen, NACA TN 3513, 1955 (0.570, plane): h = C c_p Pr^-0.6
    sqrt(rho_s mu_s dU/dx), laminar. A swept edge meets the normal part of the stream; along it the layer recovers sqrt(Pr).

    radius : of the tip or edge, m. sweep : rad.
    """
    normal = _Air(air.temperature, air.density, air.pressure, air.airspeed * np.cos(sweep), air.mach * np.cos(sweep))
    share = 1.0 - (1.0 - math.sqrt(PRANDTL)) * np.sin(sweep) ** 2
    recovery = recovery_temperature(air.temperature, air.mach, share)
    pressure = stagnation_pressure(normal.pressure, normal.mach)
    dense = pressure / (GAS_CONSTANT * recovery)
    flow = np.sqrt(dense * viscosity(recovery) * gradient(normal, radius, sphere=sphere))
    return Film((0.763 if sphere else 0.570) * SPECIFIC_HEAT * PRANDTL**-0.6 * flow, recovery)
