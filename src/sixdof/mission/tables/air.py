"""The tables of the air: measured or forecast columns, mean wind, turbulence, gusts."""

from __future__ import annotations

from typing import Literal

from sixdof.mission.tables.base import Table, key
from sixdof.mission.units import Direction, Length, NonNegativeLength, NonNegativeNumber, NonNegativeSpeed, PositiveLength, Pressure, Speed, Temperature, Twist

# ---------------------------------------------------------------- level by level


class Levels(Table):
    """The wind level by level, lowest level first; one entry for each level in each list.

    How high the levels are is told by one of `height`, `altitude` and `geopotential_height`. The wind is told by `speed` and `blows_from`
    (where it comes FROM), or by `east` and `north` (where the air moves TO). It is interpolated in components and held below the lowest
    level and above the highest.
    """

    height: tuple[Length, ...] = key("heights of the levels above the ground at the launch point, rising", ["0 m", "500 m", "2 km"], default=())
    altitude: tuple[Length, ...] = key("altitudes of the levels above mean sea level, rising", ["1300 m", "1800 m", "3300 m"], default=())
    geopotential_height: tuple[Length, ...] = key("geopotential heights of the levels above mean sea level, rising", ["1300 m", "1800 m", "3300 m"], default=())
    speed: tuple[NonNegativeSpeed, ...] = key("wind speed at each level", ["2 m/s", "5 m/s", "9 m/s"], default=())
    blows_from: tuple[Direction, ...] = key("direction the wind comes FROM at each level, true", ["250 deg", "265 deg", "280 deg"], default=())
    east: tuple[Speed, ...] = key("wind towards the east at each level, in place of speed and direction", ["2 m/s", "5 m/s", "9 m/s"], default=())
    north: tuple[Speed, ...] = key("wind towards the north at each level, in place of speed and direction", ["0 m/s", "-1 m/s", "-2 m/s"], default=())

    @property
    def has_wind(self) -> bool:
        """Whether the levels say what the wind is."""
        return bool(self.speed or self.east)


class WindMember(Levels):
    """One forecast of the wind among several, such as a member of a weather service's ensemble."""

    name: str = key("what the forecast is called", "run 3", default="")


class Sounding(Levels):
    """The air over the site as it was measured or forecast.

    `temperature` is needed, all else but the height of the levels may be omitted. Pressure follows hydrostatically through temperature
    and humidity, from the sounding's own `pressure` at the level nearest to the site, or, where it has none, from `air.pressure` (the
    standard's if omitted). Levels known by `pressure` alone are placed by the same law, from `air.pressure`.

    Between levels temperature, the share of vapour and the wind's components are linear in height. Below the lowest level and above
    the highest the wind is held, temperature goes on as the standard atmosphere's, shifted to be continuous; the share of vapour is
    held, but is never above saturation and never grows with height above the highest level.

    A sounding with wind stands in place of `[air.wind]`, one without leaves it in force. `air.temperature` stays out. Dispersed
    air.temperature and air.pressure act on the sounding as on any air.
    """

    pressure: tuple[Pressure, ...] = key("air pressure at each level", ["865 hPa", "815 hPa", "680 hPa"], default=())
    temperature: tuple[Temperature, ...] = key("air temperature at each level", ["18 degC", "14 degC", "3 degC"], default=())
    relative_humidity: tuple[NonNegativeNumber, ...] = key(
        "relative humidity over water at each level; dry air if no humidity is given", ["40 %", "45 %", "60 %"], default=()
    )
    dew_point: tuple[Temperature, ...] = key("dew point at each level, in place of relative humidity", ["4 degC", "2 degC", "-4 degC"], default=())
    specific_humidity: tuple[NonNegativeNumber, ...] = key("specific humidity at each level, in place of relative humidity", [0.006, 0.005, 0.004], default=())


# ---------------------------------------------------------------- wind, turbulence, gusts


class Gust(Table):
    """A discrete gust of 1-cosine shape (MIL-F-8785C), met as the vehicle climbs or falls through its height and length.

    It is felt once every tick of the flight computer and linear between: one that the vehicle crosses in less than a few ticks is not felt in full.
    """

    speed: NonNegativeSpeed = key("horizontal speed of the gust at its peak", "5 m/s", default=0.0)
    blows_from: Direction = key("direction the gust comes FROM, true", "340 deg", default=0.0)
    upward: Speed = key("vertical speed of the gust at its peak, upward positive", "2 m/s", default=0.0)
    height: NonNegativeLength = key("height above ground at which it begins", "160 m")
    length: PositiveLength = key("height over which it comes (rise), or comes and goes (pulse)", "120 m")
    shape: Literal["pulse", "rise"] = key("pulse: it comes and goes; rise: it stays", "rise", default="pulse")


class AirTurbulence(Table):
    """Dryden turbulence (MIL-F-8785C, low altitude and above), felt along the flight path at the airspeed.

    Its strength below 1000 ft follows from the wind at 20 ft (6.1 m) above ground, that of each flight where the wind is dispersed.
    Published winds at 20 ft: 15 kt light, 30 kt moderate, 45 kt severe turbulence.
    """

    model: Literal["dryden"] = key("spectrum of the turbulence", "dryden", default="dryden")
    wind_at_20_ft: NonNegativeSpeed | None = key(
        "wind at 20 ft above ground, from which its strength follows; the mean wind there if omitted", "15 kt", default=None
    )
    aloft: NonNegativeSpeed | None = key("standard deviation from 2000 ft up; a tenth of the wind at 20 ft if omitted", "0.8 m/s", default=None)


class Wind(Table):
    """Mean wind over height above ground.

    profile "uniform": the same at all heights; "power": speed (z/reference_height)^exponent; "log":
    speed ln(z/roughness)/ln(reference_height/roughness); both held above `top`. `veer` turns the direction of these three. "table": rows
    interpolated in components and held beyond the ends. "members": a flight flies the first forecast, or the one that `wind.member` in
    `[disperse]` draws for it: `{ kind = "uniform", low = 0, high = 9 }` takes each of the first ten as often as any other.
    """

    profile: Literal["uniform", "power", "log", "table", "members"] = key(
        "how the wind changes with height; members: one of several forecasts", "power", default="uniform"
    )
    speed: NonNegativeSpeed = key("wind speed at `reference_height`", "4 m/s", default=0.0)
    blows_from: Direction = key("direction the wind comes FROM, true: 270 deg is a west wind", "270 deg", default=0.0)
    reference_height: PositiveLength = key("height above ground of `speed` and `blows_from`", "10 m", default=10.0)
    exponent: NonNegativeNumber = key("exponent of the power profile: speed (z/reference_height)^exponent", 0.15, default=1.0 / 7.0)
    roughness: PositiveLength = key("roughness length of the log profile: speed ln(z/roughness)/ln(reference_height/roughness)", "30 mm", default=0.03)
    top: PositiveLength = key("height above ground from which on the wind is held", "1 km", default=1000.0)
    veer: Twist = key("clockwise turning of the direction with height, from `reference_height` to `top`; negative: the wind backs", "12 deg/km", default=0.0)
    table: tuple[tuple[NonNegativeLength, NonNegativeSpeed, Direction], ...] = key(
        "rows of height, speed and direction it comes from, lowest first, or the path of a CSV with these columns",
        [["0 m", "2 m/s", "250 deg"], ["1 km", "8 m/s", "280 deg"]],
        default=(),
    )
    member: tuple[WindMember, ...] = key(
        "several forecasts, or the path of a CSV or netCDF file with them; `wind.member` in [disperse] draws one for each flight", default=()
    )


class Air(Table):
    """The air at the site on the day."""

    temperature: Temperature | None = key("air temperature at the site; the US Standard Atmosphere 1976 if omitted", "18 degC", default=None)
    pressure: Pressure | None = key("air pressure at the site; the US Standard Atmosphere 1976 if omitted", "865 hPa", default=None)
    sounding: Sounding | None = key(
        "a measured or forecast column of air in place of the standard's, or the path of a CSV or netCDF file with it", default=None
    )
    wind: Wind = key("the mean wind; calm if omitted", factory=Wind)
    turbulence: AirTurbulence | None = key("turbulence; none if omitted", default=None)
    gust: tuple[Gust, ...] = key("discrete gusts", default=())

    @property
    def sounded_wind(self) -> bool:
        """Whether the wind is the sounding's."""
        return self.sounding is not None and self.sounding.has_wind

    @property
    def one_wind(self) -> bool:
        """Whether one speed and one direction say what the wind is, so that they can be dispersed."""
        return self.wind.profile in ("uniform", "power", "log") and not self.sounded_wind
