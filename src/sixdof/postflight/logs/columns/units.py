"""Units as logs write them, made those of `mission.units`; whole columns at once."""

from __future__ import annotations

import re

import numpy as np

from sixdof.mission import unit_names
from sixdof.mission.units import QuantityError, converter, parse

# what headers of logs say, by the SI unit wanted: "g" is a gram in a mission file and the standard gravity here
_SPELLINGS = {
    "m/s**2": {"g": "gn", "gs": "gn", "g's": "gn", "mg": "mgn", "m/s2": "m/s^2", "m/s/s": "m/s^2", "mps2": "m/s^2", "ft/s2": "ft/s^2"},
    "rad/s": {"dps": "deg/s", "°/s": "deg/s", "degps": "deg/s", "mdps": "mdeg/s", "rads": "rad/s"},
    "K": {"c": "degC", "f": "degF", "°c": "degC", "°f": "degF", "deg c": "degC", "deg f": "degF"},
    "Pa": {"mb": "mbar", "hpa": "hPa", "pa": "Pa", "kpa": "kPa"},
    "m/s": {"mps": "m/s", "fps": "ft/s", "kts": "knot"},
    "s": {"msec": "ms", "millis": "ms", "usec": "us", "micros": "us", "secs": "s", "sec": "s"},
    "m": {"agl": "m"},
}


def spelled(written: str, unit: str) -> str:
    """Return a unit as a log writes it in the spelling of `mission.units`; as it is where no spelling is known. "" is the SI unit itself."""
    written = written.strip()
    return _SPELLINGS.get(unit, {}).get(written.lower(), written) if written else unit


def is_unit(written: str, unit: str) -> bool:
    """Tell whether a text is a unit of the dimension of `unit`."""
    try:
        converter(spelled(written, unit), unit)
    except (QuantityError, unit_names.UnknownUnit, unit_names.NoProduct):
        return False
    return True


def in_si(values: np.ndarray, written: str, unit: str) -> np.ndarray:
    """Return numbers in the unit written as numbers in `unit`. Raises QuantityError for what is no such unit."""
    name = spelled(written, unit)
    if name == unit:
        return values
    convert = converter(name, unit)
    zero = convert(0.0)
    return values * (convert(1.0) - zero) + zero if zero else values * convert(1.0)


_AMOUNT = re.compile(r"([+-]?[0-9.]+(?:e[+-]?[0-9]+)?)\s*(\S.*)", re.IGNORECASE)


def amount(value: str | float, unit: str) -> float:
    """Return a quantity in SI, its unit in any spelling of a log ("16 g" of a specific force). Raises QuantityError for anything else."""
    if not isinstance(value, str):
        return parse(float(value) if isinstance(value, int | np.generic) else value, unit)
    found = _AMOUNT.fullmatch(value.strip())
    return parse(f"{found[1]} {spelled(found[2], unit)}" if found else value, unit)


def amount_of_error(value: str | float, unit: str) -> float:
    """Return a standard deviation in SI: a difference, so that degrees of a temperature are kelvins. Raises QuantityError for anything else."""
    found = _AMOUNT.fullmatch(value.strip()) if isinstance(value, str) else None
    return amount(value, unit) - (amount(f"0 {found[2]}", unit) if found else 0.0)
