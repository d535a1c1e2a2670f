"""Mean wind over height above ground, as components of where the air moves TO. Directions are where it comes FROM."""

from __future__ import annotations

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Levels, Wind
from sixdof.world.sounding import level_altitudes


def components(speed, blows_from):
    """Return the east and north components (m/s, where the air moves TO) of a wind from `blows_from` (rad true)."""
    return -speed * np.sin(blows_from), -speed * np.cos(blows_from)


def shape(wind: Wind, height) -> np.ndarray:
    """Return speed over the speed at `reference_height`, at heights above ground (m); 1 everywhere for "uniform".

    "power": (z/z_r)^exponent; "log": ln(z/z0)/ln(z_r/z0), zero below the roughness length z0 (MIL-F-8785C, 1980,
    section 3.7.3, in its own feet and with z_r = 20 ft). Both are held above `top`. Raises ValueError for "table" and "members",
    which have no shape apart from their speeds.
    """
    z = np.clip(np.asarray(height, dtype=float), 0.0, wind.top)
    if wind.profile == "uniform":
        return np.ones_like(z)
    if wind.profile == "power":
        return (z / wind.reference_height) ** wind.exponent
    if wind.profile == "log":
        z = np.maximum(z, wind.roughness)
        return np.log(z / wind.roughness) / np.log(wind.reference_height / wind.roughness)
    raise ValueError(f'a wind of profile "{wind.profile}" has no shape apart from its speeds')


def turned(wind: Wind, height) -> np.ndarray:
    """Return the direction that a wind of one speed and direction comes from (rad true) at heights above ground (m).

    It turns clockwise by `veer` a metre from `reference_height`, below which it is `blows_from`, to `top`, above which it is held.
    """
    z = np.clip(np.asarray(height, dtype=float), wind.reference_height, max(wind.top, wind.reference_height))
    return wind.blows_from + wind.veer * (z - wind.reference_height)


def mean_wind(mission: Mission, height, member: int = 0) -> np.ndarray:
    """Return the mean wind (..., 2) of a mission, east and north components in m/s, at heights above ground (m).

    That of the sounding where it has one; member : which of the forecasts, where `air.wind` holds several (0 in the nominal flight).
    """
    if mission.air.sounded_wind:
        return _of_levels(mission, mission.air.sounding, height)
    if mission.air.wind.profile == "members":
        return _of_levels(mission, mission.air.wind.member[member], height)
    return wind_at(mission.air.wind, height)


def _of_levels(mission: Mission, levels: Levels, height) -> np.ndarray:
    """Return the wind of levels (..., 2), interpolated in components over height and held beyond the ends."""
    above = level_altitudes(mission, levels) - mission.site.altitude
    east, north = (levels.east, levels.north) if levels.east else components(np.array(levels.speed), np.array(levels.blows_from))
    return np.stack([np.interp(height, above, east), np.interp(height, above, north)], axis=-1)


def wind_at(wind: Wind, height) -> np.ndarray:
    """Return the wind of a table [air.wind] (..., 2), east and north components in m/s, at heights above ground (m).

    All profiles but "members", whose heights want a site: `mean_wind`. Rows of a table are interpolated in components and held
    beyond the ends.
    """
    if wind.profile == "table":
        return _from_table(wind, np.asarray(height, dtype=float))
    return wind.speed * unit_wind(wind, height)


def unit_wind(wind: Wind, height) -> np.ndarray:
    """Return the wind (..., 2) of 1 m/s at the reference height from its own direction ("uniform", "power", "log")."""
    return np.stack(components(shape(wind, height), turned(wind, height)), axis=-1)


def wind_draw(mission: Mission, speed=None, blows_from=None, factor=1.0, turn=0.0):
    """Return (scale, cos, sin): what one flight's wind does to the mission's wind table.

    The table of `world_table` holds 1 m/s at the reference height from the mission's own direction (tables, members and soundings:
    the rows as they are). The kernel turns a row (e, n) into scale (e cos + n sin, n cos - e sin), which is the compass direction
    increased (clockwise) by an angle: `turn`, and where the wind has one direction `blows_from - mission.air.wind.blows_from`.

    speed : m/s at the reference height, blows_from : rad true, None = the mission's own. factor, turn (rad, clockwise) : on the wind at
    all heights, whatever tells it. Scalars or arrays of flights.
    Raises ValueError where the wind has no single speed and direction and one of these is given.
    """
    wind = mission.air.wind
    if not mission.air.one_wind:
        if speed is not None or blows_from is not None:
            raise ValueError(
                "a wind given level by level has no single speed and direction to disperse; "
                "disperse wind.factor and wind.turn, which scale and turn it at all heights, or leave wind.speed and wind.blows_from out"
            )
        return factor, np.cos(turn), np.sin(turn)
    turned_by = turn if blows_from is None else blows_from - wind.blows_from + turn
    return factor * (wind.speed if speed is None else speed), np.cos(turned_by), np.sin(turned_by)


def _from_table(wind: Wind, height: np.ndarray) -> np.ndarray:
    rows = np.array(wind.table, dtype=float)
    east, north = components(rows[:, 1], rows[:, 2])
    return np.stack([np.interp(height, rows[:, 0], east), np.interp(height, rows[:, 0], north)], axis=-1)
