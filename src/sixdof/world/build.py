"""The world around the launch point as the uniform tables that the kernel reads."""

from __future__ import annotations

import numpy as np

from sixdof.core.columns import AIR_COLUMNS, GUST_COLUMNS, AirColumn, GustColumn
from sixdof.core.types import Globe, Turbulence, Vec3, World
from sixdof.mission.mission import Mission
from sixdof.world.gravity import EARTH_RATE, ECCENTRICITY_SQUARED, GM, J2, SEMI_MAJOR, normal_gravity
from sixdof.world.sounding import air_over
from sixdof.world.wind import components, mean_wind, unit_wind

AIR_BOTTOM, AIR_TOP = -200.0, 40_000.0  # height above the launch point, m
AIR_STEP = 20.0  # m
WIND_PER_ROOT = 4.0  # rows per square root of a metre
WIND_TOP = 40_000.0  # m


def world_table(mission: Mission) -> World:
    """Return the world of a mission: air, gravity, wind and the turning Earth over height above the launch point.

    Air and gravity run from -200 m to 40 km in steps of 20 m. Linear interpolation between the rows errs by at most
    1.4e-6 of density and pressure, 2e-8 of sound and viscosity, 1e-11 of gravity; in the one step that holds the
    tropopause by at most 1.5e-4 of density, 8e-5 of sound, 1.3e-4 of viscosity (measured, tests/world/test_build.py).
    The wind table holds 1 m/s at the reference height where the wind has one speed and direction, which are applied by
    `wind_draw`'s factor and rotation, else the wind itself (a table a member). From 1 m up it errs by at most 2.5e-3 of the speed
    at the reference; between the levels of a table or sounding by what a kink in the middle of a step (sqrt(z)/2 metres at z) makes.
    """
    air = air_rows(mission, np.arange(AIR_BOTTOM, AIR_TOP + AIR_STEP / 2, AIR_STEP))
    latitude = mission.site.latitude
    return World(
        air=np.ascontiguousarray(air),
        air_z0=AIR_BOTTOM,
        air_per_metre=1.0 / AIR_STEP,
        wind=np.stack([wind_rows(mission, k) for k in range(max(len(mission.air.wind.member), 1))]),
        wind_per_root=WIND_PER_ROOT,
        earth_rate=Vec3(0.0, EARTH_RATE * float(np.cos(latitude)), EARTH_RATE * float(np.sin(latitude))),
        ground=float(mission.site.altitude),
        globe=globe_table(mission),
        turbulence=turbulence_table(mission),
        gusts=gust_rows(mission),
    )


def wind_rows(mission: Mission, member: int = 0) -> np.ndarray:
    """Return the rows (n, 2) of one table of World.wind; member : which of the forecasts, where `air.wind` holds several."""
    roots = np.arange(int(np.sqrt(WIND_TOP) * WIND_PER_ROOT) + 1) / WIND_PER_ROOT
    rows = unit_wind(mission.air.wind, roots**2) if mission.air.one_wind else mean_wind(mission, roots**2, member)
    return np.ascontiguousarray(rows)


def globe_table(mission: Mission) -> Globe:
    """Return the Earth of a mission: WGS-84 with J2 where `site.earth` says so, else flat."""
    site = mission.site
    return globe_at(site.latitude, site.longitude, site.altitude, round_=site.earth == "wgs84")


def globe_at(
    latitude: float, longitude: float, height: float, *, round_: bool = True, a=SEMI_MAJOR, e2=ECCENTRICITY_SQUARED, gm=GM, j2=J2, rate=EARTH_RATE
) -> Globe:
    """Return an Earth with the launch point at a geodetic latitude and longitude (rad) and height above the ellipsoid (m)."""
    sl, cl, so, co = np.sin(latitude), np.cos(latitude), np.sin(longitude), np.cos(longitude)
    prime = a / np.sqrt(1.0 - e2 * sl**2)
    origin = (prime + height) * cl * co, (prime + height) * cl * so, (prime * (1.0 - e2) + height) * sl
    turn = (-so, -sl * co, cl * co, co, -sl * so, cl * so, 0.0, cl, sl)
    return Globe(1 if round_ else 0, a, e2, gm, j2, rate, tuple(map(float, turn)), Vec3(*map(float, origin)))


def turbulence_table(mission: Mission) -> Turbulence:
    """Return the turbulence of a mission."""
    t = mission.air.turbulence
    if t is None:
        return Turbulence(0, 0.0)
    return Turbulence(1, -1.0 if t.aloft is None else t.aloft)


def gust_rows(mission: Mission) -> np.ndarray:
    """Return the rows (gusts, GUST_COLUMNS) of the discrete gusts."""
    rows = np.zeros((len(mission.air.gust), GUST_COLUMNS))
    for row, gust in zip(rows, mission.air.gust):
        east, north = components(gust.speed, gust.blows_from)
        row[[GustColumn.EAST, GustColumn.NORTH, GustColumn.UP, GustColumn.START, GustColumn.LENGTH]] = east, north, gust.upward, gust.height, gust.length
        row[GustColumn.KIND] = 1.0 if gust.shape == "rise" else 0.0
    return rows


def air_rows(mission: Mission, height) -> np.ndarray:
    """Return the exact air and gravity (n, AIR_COLUMNS) at heights above the launch point (m)."""
    site = mission.site
    altitude = site.altitude + np.asarray(height, dtype=float)
    air, _ = air_over(mission, altitude)
    rows = np.empty((altitude.size, AIR_COLUMNS))
    rows[:, AirColumn.DENSITY] = air.density
    rows[:, AirColumn.PRESSURE] = air.pressure
    rows[:, AirColumn.SOUND] = air.sound
    rows[:, AirColumn.VISCOSITY] = air.viscosity
    rows[:, AirColumn.GRAVITY] = normal_gravity(site.latitude, altitude)
    return rows
