"""As `fault_cases.py`: mistakes of the site and the air."""

from __future__ import annotations

from fault_cases import WIND

NO_SPREAD = '"wind.speed" = { kind = "uniform", low = "2 m/s", high = "12 mph" }'
AIR = "[air.wind]\n" + WIND
COLUMN = "altitude = [0, 5000], temperature = [288, 255]"
MEMBERS = 'profile = "members"\nmember = [{ name = "a", height = [0, 900], east = [1, 2], north = [0, 0] }]'


def sounding(entries: str) -> str:
    """The table [air] with a sounding in place of [air.wind]."""
    return f"[air]\nsounding = {{ {entries} }}"


def gust(entries: str) -> str:
    return f"[[air.gust]]\n{entries}\n{AIR}"


# name: (old text, new text, the fault's key, part of its message, part of its hint)
SITE_AND_AIR = {
    "earth of another shape": ('latitude = "38 deg"', 'latitude = "38 deg"\nearth = "sphere"', "site.earth", '"sphere" is not one of', "choices: flat, wgs84"),
    "a pole of the round Earth": ('latitude = "38 deg"', 'latitude = "90 deg"\nearth = "wgs84"', "site.latitude", "no direction is north", "a hundredth"),
    "veer of a table": (WIND, 'profile = "table"\ntable = [[0, 1, 0], [9, 2, 0]]\nveer = "9 deg/km"', "air.wind.veer", "does not use it", "remove it"),
    "veer in degrees": (WIND, WIND + '\nveer = "9 deg"', "air.wind.veer", '"9 deg" has the wrong unit', "deg/km"),
    "veer that ends before it begins": (
        WIND,
        WIND + '\nveer = "9 deg/km"\ntop = "8 m"',
        "air.wind.top",
        "8 m is not above reference_height, 10 m",
        "veers between",
    ),
    "no members": (WIND, 'profile = "members"', "air.wind.member", "there are no members", "[[air.wind.member]]"),
    "members not used": (WIND, MEMBERS.replace("members", "power"), "air.wind.member", 'profile "power" does not use it', "remove it"),
    "a member as a table": (WIND, MEMBERS.replace("[{", "{").replace("}]", "}"), "air.wind.member", "is not a list", "write [[air.wind.member]]"),
    "a member without wind": (
        WIND,
        MEMBERS.replace(", east = [1, 2], north = [0, 0]", ""),
        "air.wind.member[0].speed",
        "missing",
        "speed and blows_from, or east",
    ),
    "half a wind": (WIND, MEMBERS.replace(", north = [0, 0]", ""), "air.wind.member[0].north", "missing", "east and north go together"),
    "a member without heights": (WIND, MEMBERS.replace("height = [0, 900], ", ""), "air.wind.member[0].altitude", "missing", "needs one of height, altitude"),
    "two heights": (
        WIND,
        MEMBERS.replace("height = [0, 900]", "height = [0, 900], altitude = [0, 900]"),
        "air.wind.member[0].altitude",
        "height and altitude both say",
        "keep one",
    ),
    "levels of two lengths": (WIND, MEMBERS.replace("[1, 2]", "[1, 2, 3]"), "air.wind.member[0]", "differ in length (height 2, east 3, north 2)", "one entry"),
    "one level": (
        WIND,
        MEMBERS.replace("[0, 900]", "[9]").replace("[1, 2]", "[1]").replace("[0, 0]", "[0]"),
        "air.wind.member[0]",
        "there is one level",
        "two or more",
    ),
    "levels not rising": (WIND, MEMBERS.replace("[0, 900]", "[900, 0]"), "air.wind.member[0].height[1]", "0 m follows 900 m", "must rise"),
    "members below the ground": (WIND, MEMBERS.replace("[0, 900]", "[-9, 0]"), "air.wind.member[0].height", "0 m, is not above the ground", "mean sea level"),
    "speed of members": (WIND, MEMBERS, "disperse.wind.speed", "a wind of members has no single speed", '"power"'),
    "no members to draw": (
        NO_SPREAD,
        'wind.member = { kind = "uniform", low = 0, high = 3 }',
        "disperse.wind.member",
        "no members to draw from",
        'profile "members"',
    ),
    "temperature and sounding": (
        AIR,
        sounding(COLUMN).replace("[air]", "[air]\ntemperature = 290"),
        "air.temperature",
        "the sounding holds the temperature",
        "disperse air.temperature",
    ),
    "pressure and sounding": (
        AIR,
        sounding(COLUMN + ", pressure = [101000, 54000]").replace("[air]", "[air]\npressure = 101000"),
        "air.pressure",
        "the sounding holds the pressure",
        "leave the pressure out",
    ),
    "wind and sounding": (AIR, sounding(COLUMN + ", east = [1, 2], north = [0, 0]") + "\n" + AIR, "air.wind", "the sounding holds the wind", "[air.wind]"),
    "speed of a sounding": (AIR, sounding(COLUMN + ", east = [1, 2], north = [0, 0]"), "disperse.wind.speed", "a sounding has no single speed", '"power"'),
    "pressure alone": (AIR, sounding("pressure = [101000, 54000], temperature = [288, 255]"), "air.pressure", "missing", "place its levels"),
    "no temperature": (AIR, sounding("altitude = [0, 5000]"), "air.sounding.temperature", "missing", 'profile "table"'),
    "temperature in degrees": (AIR, sounding("altitude = [0, 5000], temperature = [15, -18]"), "air.sounding.temperature[1]", "must be more than 0 K", ""),
    "temperature in positive degrees": (
        AIR,
        sounding("altitude = [0, 500], temperature = [15, 12]"),
        "air.sounding.temperature[0]",
        "15 K is not a temperature",
        "(degC)",
    ),
    "pressure in hPa": (
        AIR,
        sounding("pressure = [1010, 540], temperature = [288, 255]").replace("[air]", "[air]\npressure = 101000"),
        "air.sounding.pressure[0]",
        "1010 Pa is not a pressure of the lowest level",
        "(hPa)",
    ),
    "pressure that rises": (AIR, sounding(COLUMN + ", pressure = [54000, 101000]"), "air.sounding.pressure[1]", "101000 Pa follows 54000 Pa", "must fall"),
    "humidity in percent": (AIR, sounding(COLUMN + ", relative_humidity = [50, 20]"), "air.sounding.relative_humidity[0]", "50 is not 0 to 1", "(%)"),
    "humidity twice": (
        AIR,
        sounding(COLUMN + ", relative_humidity = [0.5, 0.2], dew_point = [270, 240]"),
        "air.sounding.dew_point",
        "both say how moist",
        "keep one",
    ),
    "dew point above the temperature": (
        AIR,
        sounding(COLUMN + ", dew_point = [280, 260]"),
        "air.sounding.dew_point[1]",
        "260 K is above the temperature, 255 K",
        "saturation",
    ),
    "speeds in km/h": (AIR, sounding(COLUMN + ", speed = [20, 200], blows_from = [0, 1]"), "air.sounding.speed[1]", "200 m/s is more than 150", "(km/h)"),
    "sounding below the ground": (
        'latitude = "38 deg"\n\n' + AIR,
        'latitude = "38 deg"\naltitude = 6000\n\n' + sounding(COLUMN),
        "air.sounding.altitude",
        "the highest level, 5000 m, is not above the ground, 6000 m",
        "mean sea level",
    ),
    "a gust without speed": (AIR, gust("height = 9\nlength = 9"), "air.gust[0].speed", "the gust blows nothing", "upward"),
    "a gust straight up from somewhere": (
        AIR,
        gust('upward = 3\nblows_from = "9 deg"\nheight = 9\nlength = 9'),
        "air.gust[0].blows_from",
        "does not use it",
        "remove it",
    ),
    "a gust as a table": (AIR, gust("height = 9").replace("[[air.gust]]", "[air.gust]"), "air.gust", "is not a list", "write [[air.gust]]"),
    "turbulence of nothing": (
        AIR,
        "[air.turbulence]\nwind_at_20_ft = 0\n" + AIR,
        "air.turbulence.wind_at_20_ft",
        "there is no turbulence",
        "remove [air.turbulence]",
    ),
    "turbulence that is not there": (
        NO_SPREAD,
        "turbulence.wind_at_20_ft = { sd = 1 }",
        "disperse.turbulence.wind_at_20_ft",
        "there is no turbulence",
        "[air.turbulence]",
    ),
}
