"""The air and the wind of a mission in words and numbers."""

from __future__ import annotations

import math

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.page import table
from sixdof.world.atmosphere import density_altitude
from sixdof.world.humidity import saturation_pressure
from sixdof.world.sounding import air_over
from sixdof.world.wind import mean_wind

ALOFT = (10.0, 100.0, 300.0, 1000.0, 3000.0)  # m above ground
TWENTY_FEET = 6.096  # m
CALM = 0.05  # m/s: below it a direction says nothing


def rail_top(mission: Mission) -> float:
    """Return the height of the rail's upper end above ground (m)."""
    return mission.rail.length * math.sin(mission.rail.elevation)


def speed_and_direction(wind) -> tuple[np.ndarray, np.ndarray]:
    """Return speed (m/s) and the direction it comes from (rad true, 0 to 2 pi) of a wind's east and north components (..., 2)."""
    east, north = np.moveaxis(np.asarray(wind, dtype=float), -1, 0)
    return np.hypot(east, north), np.arctan2(-east, -north) % (2.0 * math.pi)


def air_lines(mission: Mission) -> list[str]:
    """Return density and density altitude of the site, the wind at the rail's top and aloft, turbulence and gusts as lines of text.

    Raises ValueError as `air_over`.
    """
    return ["", *_site_lines(mission), *_wind_lines(mission), *_turbulence_lines(mission), *_gust_lines(mission)]


def _site_lines(mission: Mission) -> list[str]:
    ground = mission.site.altitude
    air, vapour = air_over(mission, ground)
    humidity = 100.0 * float(vapour * air.pressure / saturation_pressure(air.temperature))
    damp = f", humidity {humidity:.0f} %" if vapour > 0.0 else ""
    source = "of the sounding" if mission.air.sounding else "at the site"
    return [
        f"Air {source}, {ground:.0f} m above mean sea level: {float(air.temperature) - 273.15:.1f} degC, "
        f"{float(air.pressure) / 100.0:.1f} hPa{damp}, density {float(air.density):.4f} kg/m^3, "
        f"density altitude {round(float(density_altitude(air.density)))} m"
    ]


def _wind_lines(mission: Mission) -> list[str]:
    top = rail_top(mission)
    heights = [top, *(height for height in ALOFT if height > top)]
    speed, direction = speed_and_direction(mean_wind(mission, heights))
    degrees = np.round(np.degrees(direction)) % 360.0
    cells = [f"{angle:.0f}" if fast > CALM else "-" for angle, fast in zip(degrees, speed)]
    members = mission.air.wind.member
    of = f', member 0 of {len(members)}, "{members[0].name}"' if members else ""
    rows = [
        ["height above ground m", *(f"{height:.{height % 1.0 > 0.0:d}f}" for height in heights), "(the first: the rail's top)"],
        ["speed m/s", *(f"{each:.1f}" for each in speed), ""],
        ["comes from deg true", *cells, ""],
    ]
    if len(members) > 1:
        speeds = np.array([speed_and_direction(mean_wind(mission, heights, k))[0] for k in range(len(members))])
        for word, each in (("least", speeds.min(axis=0)), ("most", speeds.max(axis=0))):
            rows.append([f"speed m/s, {word}", *(f"{value:.1f}" for value in each), "(of all members)"])
    return [f"Mean wind{of}", *table(rows, remark=True)]


def _turbulence_lines(mission: Mission) -> list[str]:
    turbulence = mission.air.turbulence
    if turbulence is None:
        return []
    own = turbulence.wind_at_20_ft is None
    wind = float(np.hypot(*mean_wind(mission, TWENTY_FEET))) if own else turbulence.wind_at_20_ft
    aloft = 0.1 * wind if turbulence.aloft is None else turbulence.aloft
    return [
        f"Turbulence (Dryden): {wind:.1f} m/s at 20 ft{' (the mean wind there)' if own else ''}; vertical standard deviation "
        f"{0.1 * wind:.2f} m/s up to 1000 ft, {aloft:.2f} m/s from 2000 ft"
    ]


def _gust_lines(mission: Mission) -> list[str]:
    lines = []
    for gust in mission.air.gust:
        parts = [f"{gust.speed:.1f} m/s from {math.degrees(gust.blows_from) % 360.0:.0f} deg"] if gust.speed else []
        parts += [f"{abs(gust.upward):.1f} m/s {'up' if gust.upward > 0.0 else 'down'}wards"] if gust.upward else []
        stays = ", which stays" if gust.shape == "rise" else ""
        lines.append(f"Gust: {' and '.join(parts)}, {gust.height:.0f} to {gust.height + gust.length:.0f} m above ground{stays}")
    return lines
