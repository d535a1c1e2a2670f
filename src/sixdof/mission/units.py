"""Quantities of the mission file: text such as "75 mm" becomes a float in SI or radians."""

from __future__ import annotations

import json
import math
import re
from dataclasses import dataclass
from decimal import Decimal
from functools import cache
from typing import Annotated

from pydantic import BeforeValidator, PlainValidator, WithJsonSchema
from pydantic_core import PydanticCustomError

from sixdof.mission import unit_names


class QuantityError(ValueError):
    """What is wrong with a quantity (`message`) and what would be right (`hint`)."""

    def __init__(self, message: str, hint: str):
        super().__init__(f"{message}; {hint}")
        self.message = message
        self.hint = hint


# a motor or a planet, both are within: what lies beyond is a slip, and its square or its inverse may be no number
LARGEST, SMALLEST = 1e12, 1e-12  # in the unit wanted; SMALLEST of what must be more than 0
LONGEST = 200  # characters of a quantity or a unit: none has more, and matching grows with the square

_EXAMPLES = {
    "m": '"75 mm"',
    "kg": '"1.9 kg"',
    "rad": '"5 deg"',
    "m/s": '"12 mph"',
    "s": '"0.3 s"',
    "Hz": '"100 Hz"',
    "Pa": '"88 kPa"',
    "K": '"24 degC"',
    "kg/m**3": '"1800 kg/m^3"',
    "kg*m**2": '"0.04 kg*m^2"',
    "rad/s": '"400 deg/s"',
    "1": '"2 %" or 0.02',
    "N": '"300 N"',
    "m**2": '"0.8 m^2"',
    "1/m": '"0.1 1/m"',
    "N*s": '"320 N*s"',
    "rad/s/Hz**0.5": '"0.01 deg/s/sqrt(Hz)"',
    "m/s**2/Hz**0.5": '"0.002 m/s^2/sqrt(Hz)"',
    "m/s**2": '"160 m/s^2"',
    "rad/s**2": '"20000 deg/s^2"',
    "N*m": '"0.2 N*m"',
    "N*m/rad": '"30 N*m/rad"',
    "J": '"5 J"',
    "J/kg": '"510 kJ/kg"',
    "m**3": '"0.6 L"',
    "1/s": '"0.5 1/s"',
    "1/rad": '"0.05 1/deg"',
    "rad/m": '"12 deg/km"',
}

_NUMBER = re.compile(r"\s*([+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?)\s*(.*?)\s*", re.DOTALL)
_TERM = r"[A-Za-zµμ%_]+(?:\s*(?:\^|\*\*)\s*(?:-?[0-9]{1,2}|0\.5))?"
# the same for a JSON schema, which cannot know all units: that there is one
_PLAIN = r"^\s*[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?"
_SOME_UNIT = r"\s*(1\s*)?/?\s*[A-Za-zµμ°√%].*$"
_WITH_UNIT, _PURE_NUMBER = f"{_PLAIN}{_SOME_UNIT}", rf"{_PLAIN}(\s*|{_SOME_UNIT})$"
# products and quotients of units
_UNIT = re.compile(rf"(?:1\s*/\s*)?{_TERM}(?:\s*[*/·]\s*{_TERM}|\s+{_TERM})*")
_SPELLINGS = {
    "°C": "degC",
    "°F": "degF",
    "°": "deg",
    "µ": "u",
    "μ": "u",
    "²": "^2",
    "³": "^3",
    "·": "*",
    "%": "percent",
    "sqrt(Hz)": "Hz^0.5",
    "√Hz": "Hz^0.5",  # of a noise density
}


def example(unit: str) -> str:
    """Return one spelling of a quantity in the dimension of `unit`, as one would write it in a mission file."""
    return _EXAMPLES.get(unit, f'"1 {unit}"')


def shown(value) -> str:
    """Return `value` as the user would have written it in TOML, on one line and not too long."""
    if isinstance(value, bool):
        text = str(value).lower()
    elif isinstance(value, str):
        text = json.dumps(value, ensure_ascii=False)
    elif isinstance(value, float):
        text = f"{value:.6g}"
    elif isinstance(value, int) and abs(value) >= 10**18:
        text = "a whole number of that size"
    else:
        text = re.sub(r"\s+", " ", repr(value))
        if re.search(r"<(class|function|built-in)| object at 0x", text):  # what no mission file can hold
            text = f"a Python {type(value).__name__}"
    return text if len(text) <= 60 else f"{text[:56]} ..."


def parse(value, unit: str) -> float:
    """Return `value` as a float in `unit` (SI or rad).

    Parameters
    ----------
    value : float or str
        A bare number is taken as already in `unit`; text needs a number and a unit of the same dimension.
    unit : str
        The unit wanted ("m", "rad", "1" for a pure number). An angle is a dimension of its own here: neither "5 %" is
        an angle nor "60 rad/s" a frequency in Hz.

    Raises
    ------
    QuantityError
        If the text is not a quantity, has another dimension, is not finite, or is out of all proportion.
    """
    if isinstance(value, str):
        number = _parse_text(value, unit)
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        try:
            number = float(value)
        except OverflowError:
            number = math.inf
    else:
        raise QuantityError(f"{shown(value)} is not a quantity", f"write a number or text, for example {example(unit)}")
    if not math.isfinite(number):
        raise QuantityError(f"{shown(value)} is not finite", "write a finite number")
    if abs(number) > LARGEST:
        raise QuantityError(f"{shown(value)} is far too large", f"write, for example, {example(unit)}")
    return number


def parse_difference(value, unit: str) -> float:
    """Return `value` as a difference in `unit`: as `parse`, but "2 degC" (a temperature, no step of 2 K) is refused."""
    if unit == "K" and isinstance(value, str) and re.search(r"deg(ree_)?_?[CF]|°[CF]|celsius|fahrenheit", value, re.I):
        raise QuantityError(f"{shown(value)} is a temperature, not a difference", 'write "2 K"')
    return parse(value, unit)


def _parse_text(text: str, unit: str) -> float:
    match = _NUMBER.fullmatch(text) if len(text) <= LONGEST else None
    if match is None:
        raise QuantityError(f"{shown(text)} is not a quantity", f"write a number and a unit, for example {example(unit)}")
    number, written = match.groups()
    if written.startswith(","):
        hint = f"write a point for the decimals and a unit, for example {example(unit)}"
        raise QuantityError(f"{shown(text)} is not a quantity", hint)
    if not written:
        if unit == "1":
            return float(number)
        raise QuantityError(f"{shown(text)} has no unit", f"write {example(unit)} or a bare number in {unit}")
    try:
        return converter(written, unit)(number) if math.isfinite(float(number)) else math.inf
    except QuantityError as error:
        raise QuantityError(f"{shown(text)} {error.message}", error.hint) from None


@cache
def converter(written: str, unit: str):
    """Return the function from a number (float, or text of one) in the unit the user wrote to a float in `unit`.

    Raises
    ------
    QuantityError
        If `written` is not a unit, or is of another dimension.
    """
    if len(written) > LONGEST:
        raise QuantityError("is not a unit", f"write e.g. {example(unit)}")
    spelled = written
    for sign, name in _SPELLINGS.items():
        spelled = spelled.replace(sign, name)
    spelled = f"1{spelled}" if spelled.startswith("/") else spelled  # "0.5/s"
    if _UNIT.fullmatch(spelled) is None:
        raise QuantityError("is not a quantity", f"write a number and a unit, for example {example(unit)}")
    try:
        source, wanted = unit_names.unit(spelled), unit_names.unit(unit)
    except unit_names.UnknownUnit:
        raise QuantityError(f"has an unknown unit {shown(written)}", f"write e.g. {example(unit)}") from None
    except unit_names.NoProduct:
        raise QuantityError("is not a quantity", f"write a number and a unit, for example {example(unit)}") from None
    if source.powers != wanted.powers:
        raise QuantityError("has the wrong unit", f"expected a quantity such as {example(unit)}")
    return lambda number: float((Decimal(str(number)) + source.offset) * source.factor / wanted.factor - wanted.offset)


def _quantity_error(error: QuantityError) -> PydanticCustomError:
    return PydanticCustomError("quantity", "{text}", {"text": str(error), "message": error.message, "hint": error.hint})


def checked(value, unit: str, *, above: float | None = None, least: float | None = None, most: float | None = None):
    """Return `parse(value, unit)` if it is within the limits (above: exclusive; least, most: inclusive).

    Raises
    ------
    PydanticCustomError
        Of type "quantity", its context holding message and hint.
    """
    try:
        number = parse(value, unit)
        if above is not None and not number > above:
            raise QuantityError(f"{shown(value)} must be more than {_limit(above, unit)}", _bare(value, unit))
        if above == 0.0 and number < SMALLEST:
            raise QuantityError(f"{shown(value)} is far too small", _bare(value, unit))
        if least is not None and number < least - 1e-12:  # 90 deg spelled in another unit may round up
            raise QuantityError(f"{shown(value)} must be at least {_limit(least, unit)}", _bare(value, unit))
        if most is not None and number > most + 1e-12:
            raise QuantityError(f"{shown(value)} must be at most {_limit(most, unit)}", _bare(value, unit))
    except QuantityError as error:
        raise _quantity_error(error) from None
    return number


def _limit(limit: float, unit: str) -> str:
    if unit == "rad":
        return f"{math.degrees(limit):g} deg"
    return f"{limit:g}" if unit == "1" else f"{limit:g} {unit}"


def _bare(value, unit: str) -> str:
    if isinstance(value, str) or unit == "1":
        return f"write, for example, {example(unit)}"
    meant = f'"{value:g} deg"' if unit == "rad" and abs(value) <= 360.0 else example(unit)
    return f"a bare number is in {unit}: write a unit, such as {meant}"


@dataclass(frozen=True)
class Limits:
    """The limits of a quantity, in its unit: `above` exclusive, `least` and `most` inclusive; None where there is none."""

    above: float | None = None
    least: float | None = None
    most: float | None = None

    def json_schema(self) -> dict[str, float]:
        """Return them in the words of a JSON schema."""
        named = {"exclusiveMinimum": self.above, "minimum": self.least, "maximum": self.most}
        return {name: limit for name, limit in named.items() if limit is not None}


def quantity(unit: str, *, above: float | None = None, least: float | None = None, most: float | None = None):
    """Return the annotated float type of a quantity in `unit`, with optional limits (in the same unit).

    above: exclusive lower limit; least, most: inclusive limits. Unit and limits are found again among the type's annotations.
    """

    def check(value):
        return checked(value, unit, above=above, least=least, most=most)

    limits = Limits(above, least, most)
    bare = {"type": "number"} | limits.json_schema()
    text = {"type": "string", "pattern": _PURE_NUMBER if unit == "1" else _WITH_UNIT}
    return Annotated[float, BeforeValidator(check), unit, limits, WithJsonSchema({"anyOf": [text, bare]})]


def _as_written(value):
    if value is None or isinstance(value, str):
        return value
    return checked(value, "1")


Written = Annotated[
    float | str | None, PlainValidator(_as_written), WithJsonSchema({"type": ["number", "string"]})
]  # its unit is known only to the table above

Length = quantity("m")
PositiveLength = quantity("m", above=0.0)
NonNegativeLength = quantity("m", least=0.0)
Area = quantity("m**2", above=0.0)
NonNegativeArea = quantity("m**2", least=0.0)
Volume = quantity("m**3", above=0.0)
Mass = quantity("kg", above=0.0)
NonNegativeMass = quantity("kg", least=0.0)
Inertia = quantity("kg*m**2", above=0.0)
Density = quantity("kg/m**3", above=0.0)
Angle = quantity("rad")
Direction = quantity("rad", least=-2.0 * math.pi, most=2.0 * math.pi)
Latitude = quantity("rad", least=-0.5 * math.pi, most=0.5 * math.pi)
Elevation = quantity("rad", least=0.0, most=0.5 * math.pi)
Incidence = quantity("rad", least=0.0, most=0.5 * math.pi)
Cant = quantity("rad", least=-0.25 * math.pi, most=0.25 * math.pi)
Travel = quantity("rad", above=0.0, most=0.5 * math.pi)
PositiveAngle = quantity("rad", above=0.0)
Tilt = quantity("rad", above=0.0, most=math.pi)
Speed = quantity("m/s")
NonNegativeSpeed = quantity("m/s", least=0.0)
Time = quantity("s")
NonNegativeTime = quantity("s", least=0.0)
PositiveTime = quantity("s", above=0.0)
NonNegativeFrequency = quantity("1/s", least=0.0)
Frequency = quantity("Hz", above=0.0)
Pressure = quantity("Pa", above=0.0)
Temperature = quantity("K", above=0.0)
AngularRate = quantity("rad/s", above=0.0)
NonNegativeAngle = quantity("rad", least=0.0)
NonNegativeAngularRate = quantity("rad/s", least=0.0)
GyroNoise = quantity("rad/s/Hz**0.5", least=0.0)
AccelerometerNoise = quantity("m/s**2/Hz**0.5", least=0.0)
Acceleration = quantity("m/s**2", above=0.0)
NonNegativeAcceleration = quantity("m/s**2", least=0.0)
SpecificForce = quantity("m/s**2")
Torque = quantity("N*m", above=0.0)
HingeStiffness = quantity("N*m/rad", above=0.0)
AngularAcceleration = quantity("rad/s**2", above=0.0)
Force = quantity("N")
PositiveForce = quantity("N", above=0.0)
NonNegativeForce = quantity("N", least=0.0)
NonNegativeImpulse = quantity("N*s", least=0.0)
SpecificEnergy = quantity("J/kg", above=0.0)
SlopePerAngle = quantity("1/rad")
Twist = quantity("rad/m")
Number = quantity("1")
NonNegativeNumber = quantity("1", least=0.0)
PositiveNumber = quantity("1", above=0.0)
Share = quantity("1", least=0.0, most=1.0)
PositiveShare = quantity("1", above=0.0, most=1.0)
