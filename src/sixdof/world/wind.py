"""Mean wind over height above ground, as components of where the air moves TO. Directions are where it comes FROM."""

from __future__ import annotations

import numpy as np

from sixdof.mission.schema import Mission, Wind


def components(speed, blows_from):
    """Return the east and north components (m/s, where the air moves TO) of a wind from `blows_from` (rad true)."""
    return -speed * np.sin(blows_from), -speed * np.cos(blows_from)


def shape(wind: Wind, height) -> np.ndarray:
    """Return speed over the speed at `reference_height`, at heights above ground (m); 1 everywhere for "uniform".

    "power": (z/z_r)^exponent; "log": ln(z/z0)/ln(z_r/z0), zero below the roughness length z0 (MIL-F-8785C, 1980,
    section 3.7.3, in its own feet and with z_r = 20 ft). Both are held above `top`. Raises ValueError for "table",
    which has no shape apart from its speeds.
    """
    z = np.clip(np.asarray(height, dtype=float), 0.0, wind.top)
    if wind.profile == "uniform":
        return np.ones_like(z)
    if wind.profile == "power":
        return (z / wind.reference_height) ** wind.exponent
    if wind.profile == "log":
        z = np.maximum(z, wind.roughness)
        return np.log(z / wind.roughness) / np.log(wind.reference_height / wind.roughness)
    raise ValueError('a wind of profile "table" has no shape apart from its speeds')


def wind_at(wind: Wind, height) -> np.ndarray:
    """Return the mean wind (..., 2), east and north components in m/s, at heights above ground (m).

    Rows of a table are interpolated in components and held beyond the ends.
    """
    if wind.profile == "table":
        return _from_table(wind, np.asarray(height, dtype=float))
    return wind.speed * unit_wind(wind, height)


def unit_wind(wind: Wind, height) -> np.ndarray:
    """Return the wind (..., 2) of 1 m/s at the reference height from its own direction (profiles but "table")."""
    return np.stack(components(shape(wind, height), wind.blows_from), axis=-1)


def wind_draw(mission: Mission, speed=None, blows_from=None):
    """Return (scale, cos, sin): what one flight's wind does to the mission's wind table.

    The table of `world_table` holds 1 m/s at the reference height from the mission's own direction (profile "table":
    the rows as they are). The kernel turns a row (e, n) into scale (e cos + n sin, n cos - e sin), which is the
    compass direction increased (clockwise) by the angle `blows_from - mission.air.wind.blows_from`.

    speed : m/s at the reference height, blows_from : rad true; scalars or arrays of flights, None = the mission's own.
    Raises ValueError where the profile is a table and either is given.
    """
    wind = mission.air.wind
    if wind.profile == "table":
        if speed is not None or blows_from is not None:
            raise ValueError(
                "a wind table has no single speed and direction to disperse; "
                'use the profile "uniform", "power" or "log", or leave wind.speed and wind.blows_from out'
            )
        return 1.0, 1.0, 0.0
    turn = 0.0 if blows_from is None else blows_from - wind.blows_from
    return wind.speed if speed is None else speed, np.cos(turn), np.sin(turn)


def _from_table(wind: Wind, height: np.ndarray) -> np.ndarray:
    rows = np.array(wind.table, dtype=float)
    east, north = components(rows[:, 1], rows[:, 2])
    return np.stack([np.interp(height, rows[:, 0], east), np.interp(height, rows[:, 0], north)], axis=-1)
