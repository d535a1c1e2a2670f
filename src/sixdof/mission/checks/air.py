"""Checks of the site and the air: within one of their tables, and across them and what is dispersed of them."""

from __future__ import annotations

import math
from collections.abc import Iterator

from sixdof.mission import tables
from sixdof.mission.checks.common import problem_of, unused
from sixdof.mission.disperse import CENTRES, leans_on_own, own_problems
from sixdof.mission.errors import Problem
from sixdof.mission.files import curves, levels
from sixdof.mission.tables.base import check_of
from sixdof.mission.tables.dispersible import DISPERSIBLE

MOST_LATITUDE = math.radians(89.99)  # on a round Earth: at the pole itself no direction is north
MOST_TEMPERATURE_OFFSET = 90.0  # K: the coldest reading on record lies 81 K below the standard at its altitude
PRESSURE_RATIO_LIMITS = (0.85, 1.15)  # of the standard at the site: no weather reaches them, a wrong datum does
GROUND = -500.0, 9000.0  # m, of all dry land above mean sea level
MEMBER, WIND_AT_20_FT = "wind.member", "turbulence.wind_at_20_ft"

# ---------------------------------------------------------------- within one table


@check_of(tables.Wind)
def _wind(wind: tables.Wind) -> Iterator[Problem]:
    why = f'profile "{wind.profile}"'
    if wind.profile in ("table", "members"):
        yield from unused(wind, ("speed", "blows_from", "veer"), why)
    if wind.profile == "table":
        yield from _table(wind)
    else:
        yield from unused(wind, ("table",), why)
    if wind.profile != "members":
        yield from unused(wind, ("member",), why)
    elif not wind.member:
        hint = f'{why} needs them: write tables [[air.wind.member]], or member = "forecasts.csv"'
        yield Problem(("member",), None, "there are no members", hint)
    if wind.profile == "log" and wind.roughness >= wind.reference_height:
        message = f"{wind.roughness:g} m is not below reference_height, {wind.reference_height:g} m"
        yield Problem(("roughness",), wind.roughness, message, 'bare dry ground has about "1 mm", short grass "3 cm"')
    if wind.veer != 0.0 and wind.top <= wind.reference_height:
        message = f"{wind.top:g} m is not above reference_height, {wind.reference_height:g} m"
        yield Problem(("top",), wind.top, message, "the wind veers between the two")


def _table(wind: tables.Wind) -> Iterator[Problem]:
    names = [name for name, _ in curves.WIND.columns]
    columns = tuple(zip(*wind.table)) if wind.table else ((), (), ())
    for flaw in curves.WIND.flaws(columns):
        loc = ("table",) if flaw.row is None else ("table", flaw.row, names.index(flaw.column))
        yield Problem(loc, None, flaw.message, flaw.hint)


@check_of(tables.WindMember)
def _member(member: tables.WindMember) -> Iterator[Problem]:
    yield from map(problem_of, levels.wind_flaws({name: getattr(member, name) for name in levels.WIND_UNITS}))


@check_of(tables.Sounding)
def _sounding(sounding: tables.Sounding) -> Iterator[Problem]:
    yield from map(problem_of, levels.air_flaws({name: getattr(sounding, name) for name in levels.AIR_UNITS}))


@check_of(tables.Air)
def _air(air: tables.Air) -> Iterator[Problem]:
    sounding = air.sounding
    if sounding is None:
        return
    heights = any(getattr(sounding, name) for name in levels.HEIGHTS)
    if air.temperature is not None:
        hint = "remove it; to warm or cool the whole sounding, disperse air.temperature"
        yield Problem(("temperature",), air.temperature, "the sounding holds the temperature", hint)
    if heights and sounding.pressure and air.pressure is not None:
        hint = "remove it, or leave the pressure out of the sounding"
        yield Problem(("pressure",), air.pressure, "the sounding holds the pressure", hint)
    if not heights and air.pressure is None:
        hint = 'a sounding over pressure alone needs that of the site to place its levels: write e.g. pressure = "88 kPa"'
        yield Problem(("pressure",), None, "missing", hint)
    if sounding.has_wind and air.wind != tables.Wind():
        hint = "remove [air.wind], or leave the wind out of the sounding"
        yield Problem(("wind",), None, "the sounding holds the wind", hint)


@check_of(tables.Gust)
def _gust(gust: tables.Gust) -> Iterator[Problem]:
    if gust.speed == 0.0 and gust.upward == 0.0:
        yield Problem(("speed",), gust.speed, "the gust blows nothing", 'write speed = "8 m/s" with blows_from, or upward = "3 m/s"')
    if gust.speed == 0.0:
        yield from unused(gust, ("blows_from",), "a gust without speed")


@check_of(tables.AirTurbulence)
def _turbulence(turbulence: tables.AirTurbulence) -> Iterator[Problem]:
    if turbulence.wind_at_20_ft == 0.0 and not turbulence.aloft:
        message = "without wind at 20 ft and without aloft there is no turbulence"
        yield Problem(("wind_at_20_ft",), 0.0, message, "remove [air.turbulence], or write a wind, such as 15 knot")


# ---------------------------------------------------------------- across tables


def air_problems(mission: tables.MissionTables) -> Iterator[Problem]:
    """Yield what is wrong with site and air across the tables of `mission`; paths start from the mission."""
    site = mission.site
    if not GROUND[0] <= site.altitude <= GROUND[1]:
        message = f"{site.altitude:g} m is not an altitude of the ground"
        hint = f"it is the height above mean sea level, from {GROUND[0]:g} to {GROUND[1]:g} m"
        yield Problem(("site", "altitude"), site.altitude, message, hint)
    if site.earth == "wgs84" and abs(site.latitude) > MOST_LATITUDE:
        message = f"{math.degrees(site.latitude):g} deg is a pole, where no direction is north"
        yield Problem(("site", "latitude"), site.latitude, message, 'with earth = "wgs84" stay a hundredth of a degree away')
    yield from _reach(mission)
    yield from _wind_spread(mission)
    yield from _member_spread(mission)
    yield from _turbulence_strength(mission)


def _reach(mission: tables.MissionTables) -> Iterator[Problem]:
    """The highest level of a column is above the ground: heights above the ground given as altitudes mostly are not."""
    columns = [(("air", "sounding"), mission.air.sounding)] if mission.air.sounding else []
    columns += [(("air", "wind", "member", i), member) for i, member in enumerate(mission.air.wind.member)]
    for loc, column in columns:
        for name, ground in (("height", 0.0), ("altitude", mission.site.altitude), ("geopotential_height", mission.site.altitude)):
            heights = getattr(column, name)
            if heights and heights[-1] <= ground:
                message = f"the highest level, {heights[-1]:g} m, is not above the ground, {ground:g} m"
                hint = "height counts from the ground, altitude and geopotential_height from mean sea level"
                yield Problem((*loc, name), None, message, hint)


def _wind_spread(mission: tables.MissionTables) -> Iterator[Problem]:
    air = mission.air
    for name, mean in (("wind.speed", air.wind.speed), ("wind.blows_from", air.wind.blows_from)):
        spread = mission.disperse.get(name)
        if spread is None:
            continue
        if not air.one_wind:
            what = "a sounding" if air.sounded_wind else "a wind table" if air.wind.profile == "table" else "a wind of members"
            hint = 'remove it, or take the profile "uniform", "power" or "log"'
            yield Problem(("disperse", name), None, f"{what} has no single speed and direction to replace", hint)
            continue
        item = DISPERSIBLE[name]
        yield from (Problem(("disperse", name, *p.loc), p.value, p.message, p.hint) for p in own_problems(item, spread, mean))


def _member_spread(mission: tables.MissionTables) -> Iterator[Problem]:
    spread, wind = mission.disperse.get(MEMBER), mission.air.wind
    if spread is None:
        return
    if wind.profile != "members":
        hint = 'take the profile "members", or remove it'
        yield Problem(("disperse", MEMBER), None, "there are no members to draw from", hint)
        return
    if spread.kind not in ("uniform", "fixed", "discrete"):
        hint = f'write {{ kind = "uniform", low = 0, high = {len(wind.member) - 1} }}, or "discrete" with values and weights'
        yield Problem(("disperse", MEMBER, "kind"), spread.kind, "members are drawn one as often as another, or by weights", hint)
        return
    numbers = {(key,): getattr(spread, key) for key in ("mean", "low", "high")} | {("values", i): v for i, v in enumerate(spread.values)}
    for loc, number in numbers.items():
        if number is not None and number > len(wind.member) - 1:
            message = f"there is no member {number:g}"
            hint = f"they are counted from 0 to {len(wind.member) - 1}"
            yield Problem(("disperse", MEMBER, *loc), number, message, hint)


def _turbulence_strength(mission: tables.MissionTables) -> Iterator[Problem]:
    """Turbulence needs something that its strength follows from."""
    turbulence, spread = mission.air.turbulence, mission.disperse.get(WIND_AT_20_FT)
    if turbulence is None:
        if spread is not None:
            yield Problem(("disperse", WIND_AT_20_FT), None, "there is no turbulence", "add a table [air.turbulence]")
        return
    if turbulence.wind_at_20_ft is not None:
        return
    if spread is not None and leans_on_own(spread):
        key = CENTRES[spread.kind] or "value"
        hint = f"the mission has no own value to spread about: write {'' if key == 'value' else f'a {key}, or '}air.turbulence.wind_at_20_ft"
        yield Problem(("disperse", WIND_AT_20_FT, key), None, "missing", hint)
    if spread is None and not turbulence.aloft and _is_calm(mission):
        hint = 'write wind_at_20_ft = "15 knot" (light), or a wind for it to follow from'
        yield Problem(("air", "turbulence", "wind_at_20_ft"), None, "missing, and there is no wind", hint)


def _is_calm(mission: tables.MissionTables) -> bool:
    """Whether no flight of the mission has any wind."""
    air, wind = mission.air, mission.air.wind
    if air.one_wind:
        return wind.speed == 0.0 and "wind.speed" not in mission.disperse
    if air.sounded_wind:
        return not any((*air.sounding.speed, *air.sounding.east, *air.sounding.north))
    if wind.profile == "table":
        return not any(speed for _, speed, _ in wind.table)
    return not any(any((*each.speed, *each.east, *each.north)) for each in wind.member)
