"""The tables of the air: measured or forecast columns, mean wind, turbulence, gusts."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from sixdof.mission.tables.base import Table
from sixdof.mission.units import Direction, Length, NonNegativeLength, NonNegativeNumber, NonNegativeSpeed, PositiveLength, Pressure, Speed, Temperature, Twist

# ---------------------------------------------------------------- level by level


class Levels(Table):
    """The wind level by level, lowest level first; one entry a level in each list.

    How high the levels are: `height` above the ground at the launch point, `altitude` above mean sea level, or `geopotential_height`
    above mean sea level; one of the three. The wind: `speed` and `blows_from` (where it comes FROM, true), or `east` and `north`
    (where the air moves TO). It is interpolated in components and held below the lowest level and above the highest.
    """

    height: tuple[Length, ...] = ()
    altitude: tuple[Length, ...] = ()
    geopotential_height: tuple[Length, ...] = ()
    speed: tuple[NonNegativeSpeed, ...] = ()
    blows_from: tuple[Direction, ...] = ()
    east: tuple[Speed, ...] = ()
    north: tuple[Speed, ...] = ()

    @property
    def has_wind(self) -> bool:
        """Whether the levels say what the wind is."""
        return bool(self.speed or self.east)


class WindMember(Levels):
    """One forecast of the wind among several, such as a member of a weather service's ensemble."""

    name: str = ""


class Sounding(Levels):
    """The air over the site as it was measured or forecast. In the file `sounding` may be the path of a CSV or a netCDF file.

    `temperature` is needed, all else but the height of the levels may be left out. Humidity is `relative_humidity` (over water, as
    weather services give it), `dew_point` or `specific_humidity`; left out, the air is dry. Pressure follows hydrostatically through
    temperature and humidity, from the sounding's own `pressure` at the level nearest to the site, or, where it has none, from
    `air.pressure` (the standard's if left out). Levels known by `pressure` alone are placed by the same law, from `air.pressure`.

    Between levels temperature, the share of vapour and the wind's components are linear in height. Below the lowest level and above
    the highest the wind is held, temperature goes on as the standard atmosphere's, shifted to be continuous; the share of vapour is
    held, but is never above saturation and never grows with height above the highest level.

    A sounding with wind stands in place of `[air.wind]`, one without leaves it in force. `air.temperature` stays out. Dispersed
    air.temperature and air.pressure act on the sounding as on any air.
    """

    pressure: tuple[Pressure, ...] = ()
    temperature: tuple[Temperature, ...] = ()
    relative_humidity: tuple[NonNegativeNumber, ...] = ()
    dew_point: tuple[Temperature, ...] = ()
    specific_humidity: tuple[NonNegativeNumber, ...] = ()


# ---------------------------------------------------------------- wind, turbulence, gusts


class Gust(Table):
    """A discrete gust of 1-cosine shape (MIL-F-8785C), met as the vehicle climbs or falls through `height` to `height` + `length`.

    `shape` "pulse" comes and goes over the length, "rise" stays. `upward` is its vertical part. It is felt once a tick of the flight
    computer and linear between: one that the vehicle crosses in less than a few ticks is not felt in full.
    """

    speed: NonNegativeSpeed = 0.0
    blows_from: Direction = 0.0
    upward: Speed = 0.0
    height: NonNegativeLength
    length: PositiveLength
    shape: Literal["pulse", "rise"] = "pulse"


class AirTurbulence(Table):
    """Dryden turbulence (MIL-F-8785C, low altitude and above), felt along the flight path at the airspeed.

    Its strength below 1000 ft follows from the wind at 20 ft (6.1 m) above ground: `wind_at_20_ft`, or the mean wind's own there if
    left out (of each flight, where the wind is dispersed). `aloft` is the standard deviation from 2000 ft up (a tenth of that wind if
    left out). Published winds at 20 ft: 15 kt light, 30 kt moderate, 45 kt severe turbulence.
    """

    model: Literal["dryden"] = "dryden"
    wind_at_20_ft: NonNegativeSpeed | None = None
    aloft: NonNegativeSpeed | None = None


class Wind(Table):
    """Mean wind over height above ground. `blows_from` is where it comes FROM, true ("270 deg" is a west wind).

    profile "uniform": the same at all heights; "power": speed (z/reference_height)^exponent (held above `top`);
    "log": speed ln(z/roughness)/ln(reference_height/roughness) (held above `top`); "table": rows of
    [height, speed, blows_from], interpolated in components and held beyond the ends. In the file `table` may be the
    path of a CSV with these columns.

    `veer` turns the direction of the first three clockwise with height, from `blows_from` at `reference_height` (and below it) up to
    `top`, above which it is held: "12 deg/km" (negative: the wind backs).

    "members": one of the forecasts in `member` (a list of tables [[air.wind.member]], or in the file the path of a CSV with a column
    `member` or of a netCDF file with such a dimension). A flight flies the first, or the one that `wind.member` in `[disperse]` draws
    for it: `{ kind = "uniform", low = 0, high = 9 }` takes each of the first ten as often as any other.
    """

    profile: Literal["uniform", "power", "log", "table", "members"] = "uniform"
    speed: NonNegativeSpeed = 0.0
    blows_from: Direction = 0.0
    reference_height: PositiveLength = 10.0
    exponent: NonNegativeNumber = 1.0 / 7.0
    roughness: PositiveLength = 0.03
    top: PositiveLength = 1000.0
    veer: Twist = 0.0
    table: tuple[tuple[NonNegativeLength, NonNegativeSpeed, Direction], ...] = ()
    member: tuple[WindMember, ...] = ()


class Air(Table):
    """Air at the site. Temperature and pressure left out are the US Standard Atmosphere 1976 at the site's altitude.

    `sounding` is a measured or forecast column in place of the standard's.
    """

    temperature: Temperature | None = None
    pressure: Pressure | None = None
    sounding: Sounding | None = None
    wind: Wind = Field(default_factory=Wind)
    turbulence: AirTurbulence | None = None
    gust: tuple[Gust, ...] = ()

    @property
    def sounded_wind(self) -> bool:
        """Whether the wind is the sounding's."""
        return self.sounding is not None and self.sounding.has_wind

    @property
    def one_wind(self) -> bool:
        """Whether one speed and one direction say what the wind is, so that they can be dispersed."""
        return self.wind.profile in ("uniform", "power", "log") and not self.sounded_wind
