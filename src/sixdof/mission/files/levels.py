"""Columns of air and wind over height: what they are called, and what makes them no sounding and no forecast.

Each check serves the table in the mission file (which entry), the CSV file (which line) and the netCDF file (which level) alike.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence

from sixdof.mission.files.curves import Flaw, equal_lengths, rising
from sixdof.mission.units import shown

Columns = Mapping[str, Sequence[float]]

HEIGHTS = ("height", "altitude", "geopotential_height")
HUMIDITIES = ("relative_humidity", "dew_point", "specific_humidity")
WINDS = (("speed", "blows_from"), ("east", "north"))
WIND_UNITS = {"height": "m", "altitude": "m", "geopotential_height": "m", "speed": "m/s", "blows_from": "rad", "east": "m/s", "north": "m/s"}
AIR_UNITS = WIND_UNITS | {"pressure": "Pa", "temperature": "K", "relative_humidity": "1", "dew_point": "K", "specific_humidity": "1"}
# what files call them besides, in lower case
ALIASES = {
    "height": ("h", "z", "agl"),
    "altitude": ("alt", "msl"),
    "geopotential_height": ("gph", "gh"),
    "pressure": ("p", "pres"),
    "temperature": ("t", "temp"),
    "relative_humidity": ("rh", "humidity"),
    "dew_point": ("td", "dewpoint"),
    "specific_humidity": ("q",),
    "speed": ("wind_speed",),
    "blows_from": ("from", "direction", "wind_direction"),
    "east": ("u", "eastward"),
    "north": ("v", "northward"),
}

# beyond these no air on Earth below 80 km has ever been: a column in other units
LEVELS = -1e4, 1e5  # m, of heights: a plain below a high site, the top of every model
TEMPERATURES = 120.0, 340.0  # K
MOST_PRESSURE, LOWEST_LEVEL_PRESSURE = 115e3, 20e3  # Pa; a sounding begins below 12 km
MOST_SPEED = 150.0  # m/s: the strongest jet streams reach 130
MOST_RELATIVE, MOST_SPECIFIC = 1.1, 0.06  # supersaturated air has a few percent more
SUPERSATURATION = 1.5  # K that a dew point may lie above the temperature


def wind_flaws(columns: Columns) -> Iterator[Flaw]:
    """Find what keeps columns (empty where omitted) from being a wind over height."""
    given = _given(columns)
    yield from _heights(given, (), "a forecast of the wind")
    if not any(name in given for pair in WINDS for name in pair):
        yield Flaw(None, "speed", "missing", "a forecast of the wind needs speed and blows_from, or east and north")
    yield from _common(given)


def air_flaws(columns: Columns) -> Iterator[Flaw]:
    """Find what keeps columns (empty where omitted) from being a sounding."""
    given = _given(columns)
    yield from _heights(given, ("pressure",), "a sounding")
    if "temperature" not in given:
        hint = 'a sounding needs temperature; a wind alone is air.wind, profile "table"'
        yield Flaw(None, "temperature", "missing", hint)
    yield from _at_most_one(given, HUMIDITIES, "how moist the air is")
    yield from _common(given)


def _given(columns: Columns) -> dict[str, Sequence[float]]:
    return {name: values for name, values in columns.items() if len(values)}


def _heights(given: Columns, others: Sequence[str], what: str) -> Iterator[Flaw]:
    yield from _at_most_one(given, HEIGHTS, "how high the levels are")
    if not any(name in given for name in (*HEIGHTS, *others)):
        choices = ", ".join((*HEIGHTS, *others))
        yield Flaw(None, "altitude", "missing", f"{what} needs one of {choices}")


def _at_most_one(given: Columns, names: Sequence[str], what: str) -> Iterator[Flaw]:
    both = [name for name in names if name in given]
    if len(both) > 1:
        yield Flaw(None, both[1], f"{both[0]} and {both[1]} both say {what}", "keep one of them")


def _common(given: Columns) -> Iterator[Flaw]:
    for pair in WINDS:
        if sum(name in given for name in pair) == 1:
            absent = next(name for name in pair if name not in given)
            yield Flaw(None, absent, "missing", f"{pair[0]} and {pair[1]} go together")
    both = [pair[0] for pair in WINDS if all(name in given for name in pair)]
    yield from _at_most_one(given, both, "what the wind is")
    yield from equal_lengths(list(given.values()), list(given))
    counts = {len(values) for values in given.values()}
    if len(counts) != 1:
        return
    if counts == {1}:
        yield Flaw(None, None, "there is one level", "write two or more")
    yield from _order(given)
    for check in _RANGES:
        yield from check(given)


def _order(given: Columns) -> Iterator[Flaw]:
    """Levels go up: heights rise, pressure falls."""
    for name in HEIGHTS:
        yield from rising(given.get(name, ()), name, "m")
    pressure = given.get("pressure", ())
    for row, (below, above) in enumerate(zip(pressure, pressure[1:]), start=1):
        if not above < below:
            message = f"{shown(float(above))} Pa follows {shown(float(below))} Pa"
            yield Flaw(row, "pressure", message, "levels go up from the lowest: pressure must fall from level to level")
            return


def _first(given: Columns, name: str, is_wrong, message: str, hint: str) -> Iterator[Flaw]:
    """Find the first value of a column that `is_wrong`; `message` has its place for the value."""
    for row, value in enumerate(given.get(name, ())):
        if is_wrong(value):
            yield Flaw(row, name, message.format(shown(float(value))), hint)
            return


def _ranges_of_heights(given: Columns) -> Iterator[Flaw]:
    low, high = LEVELS
    for name in HEIGHTS:
        hint = f'name the unit, such as "{name} (m)" in the header of a CSV'
        yield from _first(given, name, lambda h: not low <= h <= high, "{} m is not a height of a level", hint)


def _temperatures(given: Columns) -> Iterator[Flaw]:
    low, high = TEMPERATURES
    for name in ("temperature", "dew_point"):
        hint = f'name the unit, such as "{name} (degC)" in the header of a CSV'
        least = low if name == "temperature" else 0.5 * low  # dew points of dry air lie far lower
        yield from _first(given, name, lambda t: not least <= t <= high, f"{{}} K is not a {name.replace('_', ' ')} of air", hint)
    for row, (dew, air) in enumerate(zip(given.get("dew_point", ()), given.get("temperature", ()))):
        if dew > air + SUPERSATURATION:
            message = f"{shown(float(dew))} K is above the temperature, {shown(float(air))} K"
            yield Flaw(row, "dew_point", message, "air holds no more vapour than at saturation: check the columns")
            return


def _pressures(given: Columns) -> Iterator[Flaw]:
    hint = 'name the unit, such as "pressure (hPa)" in the header of a CSV'
    yield from _first(given, "pressure", lambda p: not 0.0 < p <= MOST_PRESSURE, "{} Pa is not a pressure of air", hint)
    lowest = given.get("pressure", (MOST_PRESSURE,))[0]
    if 0.0 < lowest < LOWEST_LEVEL_PRESSURE:
        yield Flaw(0, "pressure", f"{shown(float(lowest))} Pa is not a pressure of the lowest level", hint)


def _humidities(given: Columns) -> Iterator[Flaw]:
    hint = 'name the unit, such as "relative_humidity (%)" in the header of a CSV'
    yield from _first(given, "relative_humidity", lambda u: not 0.0 <= u <= MOST_RELATIVE, "{} is not 0 to 1", hint)
    hint = "it is the mass of vapour in a kilogram of air, such as 0.008"
    yield from _first(given, "specific_humidity", lambda q: not 0.0 <= q <= MOST_SPECIFIC, "{} is not a specific humidity", hint)


def _speeds(given: Columns) -> Iterator[Flaw]:
    yield from _first(given, "speed", lambda v: v < 0.0, "{} m/s is negative", "speed is 0 m/s or more")
    hint = 'no wind is as strong: name the unit, such as "speed (km/h)" in the header of a CSV'
    for name in ("speed", "east", "north"):
        yield from _first(given, name, lambda v: abs(v) > MOST_SPEED, f"{{}} m/s is more than {MOST_SPEED:g} m/s", hint)
    hint = 'name the unit, such as "blows_from (deg)" in the header of a CSV'
    full = 2.0 * math.pi + 1e-12
    yield from _first(given, "blows_from", lambda a: abs(a) > full, "{} rad is more than a full turn", hint)


_RANGES = (_ranges_of_heights, _temperatures, _pressures, _humidities, _speeds)
