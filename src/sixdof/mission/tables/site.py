"""The tables of the place: the site and the launch rail."""

from __future__ import annotations

from typing import Literal

from sixdof.mission.tables.base import Table, key
from sixdof.mission.units import Direction, Elevation, Latitude, Length, NonNegativeNumber, PositiveLength


class Site(Table):
    """Where the rail stands.

    Over the flat Earth gravity goes by latitude and height, and the Earth turns. Over WGS-84 the altitude counts as height above the ellipsoid.
    """

    name: str = key("what the place is called", "Heron Flat, an invented dry lake", default="")
    latitude: Latitude = key("latitude, north positive", "41 deg")
    longitude: Direction = key("longitude, east positive", "-112 deg", default=0.0)
    altitude: Length = key("height of the ground above mean sea level", "1300 m", default=0.0)
    earth: Literal["flat", "wgs84"] = key(
        "flat: gravity straight down; wgs84: the ellipsoid with J2, heights and wind along the local vertical", "wgs84", default="flat"
    )


class Rail(Table):
    """The launch rail: how far the vehicle is guided, and where to."""

    length: PositiveLength = key("length of the guided run, from the vehicle's start to the rail's end", "3 m")
    elevation: Elevation = key("angle of the rail above the horizontal", "86 deg", default=1.5707963267948966)
    azimuth: Direction = key("direction the rail leans to, true", "90 deg", default=0.0)
    friction: NonNegativeNumber = key("coefficient of friction between rail guides and rail", 0.1, default=0.1)
