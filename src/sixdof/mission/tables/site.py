"""The tables of the place: the site and the launch rail."""

from __future__ import annotations

from typing import Literal

from sixdof.mission.tables.base import Table
from sixdof.mission.units import Direction, Elevation, Latitude, Length, NonNegativeNumber, PositiveLength


class Site(Table):
    """Where the rail stands. `altitude` is the ground's height above mean sea level.

    earth "flat": gravity straight down, its size by latitude and height; the Earth turns. "wgs84": the ellipsoid with J2, heights
    and wind along the local vertical (altitude counts as height above the ellipsoid).
    """

    name: str = ""
    latitude: Latitude
    longitude: Direction = 0.0
    altitude: Length = 0.0
    earth: Literal["flat", "wgs84"] = "flat"


class Rail(Table):
    """The launch rail. `elevation` is its angle above the horizontal, `azimuth` where it leans to, degrees true."""

    length: PositiveLength
    elevation: Elevation = 1.5707963267948966
    azimuth: Direction = 0.0
    friction: NonNegativeNumber = 0.1
