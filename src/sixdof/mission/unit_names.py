"""Units by name: what "kPa", "ft" or "deg/s/Hz^0.5" is in SI, in decimals.

A library of units would do the same, at the price of half a second in every process that reads a mission. Factors that are
defined (SI brochure, 9th edition, 2019; NIST SP 811, 2008, appendix B) are exact here; a decimal has 28 digits, so that "205 mm" is
the float nearest to 0.205 and not its neighbour.
"""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache
from typing import NamedTuple


class Unit(NamedTuple):
    """One unit: factor to SI, powers of m, kg, s, K, rad, A (an angle is a dimension of its own), and what is added before the factor."""

    factor: Decimal
    powers: tuple[float, ...]
    offset: Decimal = Decimal(0)


class UnknownUnit(ValueError):
    """A name that is no unit here."""


class NoProduct(ValueError):
    """A product of units that has no meaning: a temperature counted from another zero stands alone."""


BASE = ("m", "kg", "s", "K", "rad", "A")
_PI = Decimal("3.141592653589793238462643383279502884")
# prefixes go with the units of the first table: symbols with symbols, words with words
_PREFIXES = {
    **{"Y": 24, "Z": 21, "E": 18, "P": 15, "T": 12, "G": 9, "M": 6, "k": 3, "h": 2, "da": 1},
    **{"d": -1, "c": -2, "m": -3, "u": -6, "n": -9, "p": -12, "f": -15, "a": -18},
}
_LONG_PREFIXES = {
    **{"tera": 12, "giga": 9, "mega": 6, "kilo": 3, "hecto": 2, "deca": 1},
    **{"deci": -1, "centi": -2, "milli": -3, "micro": -6, "nano": -9, "pico": -12},
}
_WITH_PREFIX = {  # symbols, then words: what it is
    "m; meter metre meters metres": "1 m",
    "g; gram grams": "0.001 kg",
    "s; second seconds sec": "1 s",
    "K; kelvin kelvins": "1 K",
    "rad; radian radians": "1 rad",
    "A; ampere amperes amp amps": "1 A",
    "Hz; hertz": "1 1/s",
    "N; newton newtons": "1 kg*m/s^2",
    "Pa; pascal pascals": "1 N/m^2",
    "J; joule joules": "1 N*m",
    "W; watt watts": "1 J/s",
    "V; volt volts": "1 W/A",
    "L l; liter litre liters litres": "0.001 m^3",
    "t; tonne tonnes metric_ton": "1000 kg",
    "bar; bar bars": "1e5 Pa",
    "deg; degree degrees": "PI/180 rad",
    "gn g_n; gravity standard_gravity": "9.80665 m/s^2",
    "eV; electron_volt": "1.602176634e-19 J",
}
_ALONE = {
    "percent": "0.01",
    "permille": "0.001",
    "ppm": "1e-6",
    "dimensionless": "1",
    "min minute minutes": "60 s",
    "h hr hour hours": "3600 s",
    "d day days": "86400 s",
    "week weeks": "604800 s",
    "turn turns revolution revolutions rev cycle cycles circle": "2PI rad",
    "arcmin arcminute arcminutes arc_minute": "PI/10800 rad",
    "arcsec arcsecond arcseconds arc_second": "PI/648000 rad",
    "gon grad grads grade": "PI/200 rad",
    "rpm revolutions_per_minute": "PI/30 rad/s",
    "rps revolutions_per_second": "2PI rad/s",
    "kph kmh kilometer_per_hour kilometre_per_hour": "1 km/h",
    "inch inches in": "0.0254 m",
    "thou": "2.54e-5 m",
    "ft foot feet": "0.3048 m",
    "yd yard yards": "0.9144 m",
    "furlong furlongs": "201.168 m",
    "mi mile miles": "1609.344 m",
    "nmi nautical_mile nautical_miles": "1852 m",
    "angstrom": "1e-10 m",
    "mph mile_per_hour miles_per_hour": "0.44704 m/s",
    "fps foot_per_second feet_per_second": "0.3048 m/s",
    "kt knot knots kn": "1852 m/h",
    "hectare hectares ha": "10000 m^2",
    "gallon gallons gal": "0.003785411784 m^3",
    "gr grain grains": "6.479891e-5 kg",
    "lb lbs lbm pound pounds": "0.45359237 kg",
    "oz ounce ounces": "0.028349523125 kg",
    "ton short_ton": "907.18474 kg",
    "long_ton": "1016.0469088 kg",
    "slug slugs": "1 lbf*s^2/ft",
    "lbf pound_force force_pound": "4.4482216152605 N",
    "ozf ounce_force force_ounce": "0.27801385095378125 N",
    "kip": "4448.2216152605 N",
    "kgf kilogram_force force_kilogram kp kilopond": "9.80665 N",
    "gf gram_force force_gram": "0.00980665 N",
    "dyn dyne": "1e-5 N",
    "psi pound_force_per_square_inch": "1 lbf/in^2",
    "ksi": "1000 psi",
    "psf": "1 lbf/ft^2",
    "mbar millibar millibars": "100 Pa",
    "ubar microbar": "0.1 Pa",
    "atm atmosphere atmospheres standard_atmosphere": "101325 Pa",
    "at technical_atmosphere": "98066.5 Pa",
    "torr": "101325/760 Pa",
    "mmHg millimeter_Hg": "133.322387415 Pa",
    "inHg inch_Hg": "3386.388640341 Pa",
    "erg": "1e-7 J",
    "cal calorie calories": "4.184 J",
    "Btu": "1055.056 J",
    "hp horsepower": "550 ft*lbf/s",
    "ohm": "1 V/A",
    "degR rankine degree_Rankine": "1/1.8 K",
}
_FROM_ANOTHER_ZERO = {  # factor to K, and what is added before it
    "degC celsius degree_Celsius degreeC": ("1", "273.15"),
    "degF fahrenheit degree_Fahrenheit degreeF": ("1/1.8", "459.67"),
}
_FACTOR = re.compile(r"(2?PI|[0-9.]+(?:e[+-]?[0-9]+)?)(?:/([0-9.]+))?\s*(.*)")
_PART = re.compile(r"\s*([*/]?)\s*([A-Za-z_]+|1)\s*(?:(?:\^|\*\*)\s*(-?[0-9.]+))?")


def unit(text: str) -> Unit:
    """Return a product of units, such as "kg*m/s^2", "1/s" or "g cm**2"; as in a formula, what follows a "/" alone is divided by.

    Raises
    ------
    UnknownUnit
        If a name in it is no unit.
    NoProduct
        If a temperature counted from another zero does not stand alone.
    """
    parts = _PART.findall(text)
    found = [(_named(name), float(power or 1.0) * (-1.0 if sign == "/" else 1.0)) for sign, name, power in parts]
    if len(found) == 1 and found[0][1] == 1.0:
        return found[0][0]
    if any(each.offset for each, _ in found):
        raise NoProduct(text)
    factor = Decimal(1)
    for each, power in found:
        factor *= each.factor ** Decimal(str(power))
    return Unit(factor, tuple(sum(each.powers[k] * power for each, power in found) for k in range(len(BASE))))


@cache
def _named(name: str) -> Unit:
    """Return the unit of one name, with or without a prefix."""
    if name in BASE or name == "1":
        return Unit(Decimal(1), tuple(float(name == base) for base in BASE))
    for known, (factor, offset) in _FROM_ANOTHER_ZERO.items():
        if name in known.split():
            return Unit(_valued(factor).factor, _named("K").powers, Decimal(offset))
    for known, value in _ALONE.items():
        if name in known.split():
            return _valued(value)
    for known, value in _WITH_PREFIX.items():
        for names, prefixes in zip(known.split(";"), (_PREFIXES, _LONG_PREFIXES)):
            for each in names.split():
                if name.endswith(each) and (name == each or name.removesuffix(each) in prefixes):
                    base = _valued(value)
                    return base._replace(factor=base.factor.scaleb(prefixes.get(name.removesuffix(each), 0)))
    raise UnknownUnit(name)


def _valued(text: str) -> Unit:
    """Return what "0.3048 m", "PI/180 rad" or "101325/760 Pa" is."""
    number, divisor, written = _FACTOR.fullmatch(text).groups()
    value = {"PI": _PI, "2PI": 2 * _PI}.get(number) or Decimal(number)
    found = unit(written or "1")
    return found._replace(factor=value / Decimal(divisor or 1) * found.factor)
