"""The wind measured at the rail, and what it is at the height that the mission's wind is told at."""

from __future__ import annotations

import math
import re
from typing import NamedTuple

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.world.sounding import level_altitudes
from sixdof.world.wind import mean_wind, shape, turned

HAND = 2.0  # m: of an anemometer held up in the hand, where a text names no height
LEVELS_AT = 10.0  # m: height at which a wind given level by level is told as one speed and direction
OPEN_GROUND = 1.0 / 7.0  # exponent of the power law over open ground, where a profile has no level below (common practice)
UNIFORM = "uniform profile, as measured"
CALM = 0.1  # m/s: a profile as calm as that cannot be scaled to a measured wind
_TEXT = re.compile(r"(?P<speed>\S.*?)\s+from\s+(?P<blows_from>\S.*?)(?:\s+at\s+(?P<height>\S.*))?")
_HOW = 'write, for example, "5 m/s from 250 deg" or "5 m/s from 250 deg at 2 m"'


class MeasuredWind(NamedTuple):
    """A wind as it was measured: m/s, rad true (where it comes from), m above ground."""

    speed: float
    blows_from: float
    height: float

    def __str__(self) -> str:
        return f"{self.speed:.1f} m/s from {math.degrees(self.blows_from) % 360.0:.0f} deg at {self.height:g} m"


class ReferenceWind(NamedTuple):
    """A measured wind at the height that the mission's wind is told at: m/s, rad true, m; `factor` on the speed, and in words by which law.

    hand : height above ground that it was measured at, m.
    """

    speed: float
    blows_from: float
    height: float
    factor: float
    law: str
    hand: float


def measured_wind(text: str | MeasuredWind) -> MeasuredWind:
    """Return the wind that a text such as "5 m/s from 250 deg at 2 m" tells; without a height it is that of a raised hand, 2 m.

    Raises TypeError for what is not text, ValueError in one sentence for what is not a wind.
    """
    if isinstance(text, MeasuredWind):
        return text
    if not isinstance(text, str):
        raise TypeError(f"wind = {shown(text)} is not the text of a measured wind; {_HOW}")
    found = _TEXT.fullmatch(" ".join(text.split()))
    if found is None:
        raise ValueError(f"wind = {shown(text)} is not a measured wind; {_HOW}")
    try:
        speed, blows_from = parse(found["speed"], "m/s"), parse(found["blows_from"], "rad")
        height = HAND if found["height"] is None else parse(found["height"], "m")
    except QuantityError as error:
        raise ValueError(f"wind = {shown(text)}: {error}") from None
    if speed < 0.0 or not height > 0.0:
        wrong = "a wind speed is not negative" if speed < 0.0 else "it is measured above the ground, at more than 0 m"
        raise ValueError(f"wind = {shown(text)}: {wrong}; {_HOW}")
    return MeasuredWind(speed, blows_from % (2.0 * math.pi), height)


def at_reference(mission: Mission, measured: MeasuredWind) -> ReferenceWind:
    """Return a measured wind at the reference height of the mission's wind, by the mission's own profile.

    "power" and "log" by their laws (`world.wind.shape`), "uniform" as it is. A wind given level by level (sounding, table, forecasts) is told at
    10 m: by its levels, and where it has none below, by the power law with the exponent 1/7 of open ground, for the levels hold their wind
    down to the ground and a hand does not feel so much.

    Raises
    ------
    ValueError
        If the profile has no wind at the height it was measured at.
    """
    return _by_shape(mission, measured) if mission.air.one_wind else _by_levels(mission, measured)


def _by_shape(mission: Mission, measured: MeasuredWind) -> ReferenceWind:
    wind = mission.air.wind
    share = float(shape(wind, measured.height))
    if not share > 0.0:
        raise ValueError(
            f"wind: the mission's log profile has no wind at {measured.height:g} m, below its roughness length {wind.roughness:g} m; measure higher up"
        )
    veered = float(turned(wind, measured.height)) - wind.blows_from
    law = {"power": f"power law, exponent {wind.exponent:.2g}", "log": f"log law, roughness length {wind.roughness:g} m", "uniform": UNIFORM}[wind.profile]
    return _at(measured, wind.reference_height, 1.0 / share, veered, law)


def _by_levels(mission: Mission, measured: MeasuredWind) -> ReferenceWind:
    lowest = lowest_level(mission)
    known_from = min(max(lowest, measured.height), max(LEVELS_AT, measured.height))  # below it nothing was measured or forecast
    (e1, n1), (e2, n2) = mean_wind(mission, np.array([known_from, LEVELS_AT]))
    if min(math.hypot(e1, n1), math.hypot(e2, n2)) < CALM:
        raise ValueError("wind: the mission's wind is calm near the ground, so no profile brings a measured wind up; give [air.wind] a power or log profile")
    factor = (known_from / measured.height) ** OPEN_GROUND * math.hypot(e2, n2) / math.hypot(e1, n1)
    veered = math.atan2(e1, n1) - math.atan2(e2, n2)
    held = known_from > measured.height
    law = f"power law, exponent 1/7, up to {known_from:g} m" + (", then by its levels" if known_from < LEVELS_AT else "") if held else "by its levels"
    return _at(measured, LEVELS_AT, factor, veered, law)


def _at(measured: MeasuredWind, height: float, factor: float, veered: float, law: str) -> ReferenceWind:
    """Return a wind brought to a height. veered : direction where it was measured less that at the height, rad."""
    return ReferenceWind(factor * measured.speed, (measured.blows_from - veered) % (2.0 * math.pi), height, factor, law, measured.height)


def lowest_level(mission: Mission) -> float:
    """Return the height above ground of the lowest level of a wind given level by level, m; 0 where it is below."""
    air = mission.air
    if not air.sounded_wind and air.wind.profile == "table":
        return max(air.wind.table[0][0], 0.0)
    levels = air.sounding if air.sounded_wind else air.wind.member[0]
    return max(float(level_altitudes(mission, levels)[0]) - mission.site.altitude, 0.0)
