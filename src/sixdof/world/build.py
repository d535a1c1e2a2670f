"""The world around the launch point as the uniform tables that the kernel reads."""

from __future__ import annotations

import numpy as np

from sixdof.core.types import (
    AIR_COLUMNS, AIR_DENSITY, AIR_GRAVITY, AIR_PRESSURE, AIR_SOUND, AIR_VISCOSITY, Vec3, World,
)  # fmt: skip
from sixdof.mission.schema import Mission
from sixdof.world.atmosphere import at_site
from sixdof.world.gravity import EARTH_RATE, normal_gravity
from sixdof.world.wind import unit_wind, wind_at

AIR_BOTTOM, AIR_TOP = -200.0, 40_000.0  # height above the launch point, m
AIR_STEP = 20.0  # m
WIND_PER_ROOT = 4.0  # rows per square root of a metre
WIND_TOP = 40_000.0  # m


def world_table(mission: Mission) -> World:
    """Return the world of a mission: air, gravity, wind and the turning Earth over height above the launch point.

    Air and gravity run from -200 m to 40 km in steps of 20 m. Linear interpolation between the rows errs by at most
    1.4e-6 of density and pressure, 2e-8 of sound and viscosity, 1e-11 of gravity; in the one step that holds the
    tropopause by at most 1.5e-4 of density, 8e-5 of sound, 1.3e-4 of viscosity (measured, tests/world/test_build.py).
    The wind table holds 1 m/s at the reference height for all profiles but "table": a flight's speed and direction are
    applied by `wind_draw`'s factor and rotation. From 1 m up it errs by at most 2.5e-3 of the speed at the reference.
    """
    air = air_rows(mission, np.arange(AIR_BOTTOM, AIR_TOP + AIR_STEP / 2, AIR_STEP))
    roots = np.arange(int(np.sqrt(WIND_TOP) * WIND_PER_ROOT) + 1) / WIND_PER_ROOT
    wind = mission.air.wind
    rows = wind_at(wind, roots**2) if wind.profile == "table" else unit_wind(wind, roots**2)
    latitude = mission.site.latitude
    return World(
        air=np.ascontiguousarray(air),
        air_z0=AIR_BOTTOM,
        air_per_metre=1.0 / AIR_STEP,
        wind=np.ascontiguousarray(rows),
        wind_per_root=WIND_PER_ROOT,
        earth_rate=Vec3(0.0, EARTH_RATE * float(np.cos(latitude)), EARTH_RATE * float(np.sin(latitude))),
        ground=float(mission.site.altitude),
    )


def air_rows(mission: Mission, height) -> np.ndarray:
    """Return the exact air and gravity (n, AIR_COLUMNS) at heights above the launch point (m)."""
    site = mission.site
    altitude = site.altitude + np.asarray(height, dtype=float)
    air = at_site(altitude, site.altitude, mission.air.temperature, mission.air.pressure)
    rows = np.empty((altitude.size, AIR_COLUMNS))
    rows[:, AIR_DENSITY] = air.density
    rows[:, AIR_PRESSURE] = air.pressure
    rows[:, AIR_SOUND] = air.sound
    rows[:, AIR_VISCOSITY] = air.viscosity
    rows[:, AIR_GRAVITY] = normal_gravity(site.latitude, altitude)
    return rows
