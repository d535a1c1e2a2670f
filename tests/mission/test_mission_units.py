"""Quantities: any spelling of a value is the same float in SI; everything else is one sentence."""

from __future__ import annotations

import math
import re
from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from sixdof.mission import unit_names
from sixdof.mission.units import QuantityError, parse, parse_difference

# exact by definition: international foot, pound and mile; NIST SP 811 (2008), appendix B.8
SPELLINGS = [
    ("mm", "m", 1e-3),
    ("cm", "m", 1e-2),
    ("km", "m", 1e3),
    ("in", "m", 0.0254),
    ("ft", "m", 0.3048),
    ("µm", "m", 1e-6),
    ("g", "kg", 1e-3),
    ("lb", "kg", 0.45359237),
    ("oz", "kg", 0.45359237 / 16.0),
    ("ms", "s", 1e-3),
    ("min", "s", 60.0),
    ("mph", "m/s", 0.44704),
    ("km/h", "m/s", 1.0 / 3.6),
    ("ft/s", "m/s", 0.3048),
    ("deg", "rad", math.pi / 180.0),
    ("°", "rad", math.pi / 180.0),
    ("%", "1", 1e-2),
    ("hPa", "Pa", 100.0),
    ("kPa", "Pa", 1e3),
    ("bar", "Pa", 1e5),
    ("lbf", "N", 0.45359237 * 9.80665),
    ("deg/s", "rad/s", math.pi / 180.0),
    ("g*cm^2", "kg*m**2", 1e-7),
    ("g cm²", "kg*m**2", 1e-7),
    ("g/cm^3", "kg/m**3", 1e3),
    ("kHz", "Hz", 1e3),
    ("1/min", "1/s", 1.0 / 60.0),
    ("mi", "m", 1609.344),
]
ROUNDING = 4e-16  # relative: the factors above are themselves rounded products


@given(st.sampled_from(SPELLINGS), st.floats(1e-6, 1e6), st.booleans(), st.sampled_from(["", " ", "  "]))
def test_parse__every_spelling_is_the_si_value(spelling, number, negative, gap):
    written, unit, factor = spelling
    value = -number if negative else number
    gap = gap or " " * written[0].isdigit()
    assert parse(f"{value!r}{gap}{written}", unit) == pytest.approx(value * factor, rel=ROUNDING)
    assert parse(value, unit) == value


@given(st.integers(-10_000, 10_000))
def test_parse__decimals_give_the_nearest_float(tenths):
    assert parse(f"{tenths / 10} mm", "m") == float(f"{tenths}e-4")


def test_parse__a_quotient_may_stand_at_the_number():
    assert parse("0.5/s", "1/s") == parse("0.5 /s", "1/s") == parse("0.5 1/s", "1/s") == 0.5


def test_parse__temperatures_have_an_offset():
    assert parse("24 degC", "K") == 297.15
    assert parse("24 °C", "K") == 297.15
    assert parse("32 degF", "K") == pytest.approx(273.15, rel=ROUNDING)
    assert parse_difference("2 K", "K") == 2.0
    with pytest.raises(QuantityError, match='"2 degC" is a temperature, not a difference; write "2 K"'):
        parse_difference("2 degC", "K")


@pytest.mark.parametrize(
    ("value", "unit", "message", "hint"),
    [
        ("75 kg", "m", "wrong unit", '"75 mm"'),
        ("5 %", "rad", "wrong unit", '"5 deg"'),  # an angle is no pure number
        ("5 deg", "1", "wrong unit", "0.02"),
        ("60 rad/s", "Hz", "wrong unit", '"100 Hz"'),  # which would be 60 Hz, wrong by 2 pi
        ("60 Hz", "rad/s", "wrong unit", '"400 deg/s"'),
        ("5", "m", "has no unit", '"75 mm"'),
        ("5", "rad", "has no unit", "bare number in rad"),
        ("1,5 m", "m", "is not a quantity", "point for the decimals"),  # read as 15 m once
        ("seven m", "m", "is not a quantity", '"75 mm"'),
        ("5 furlings", "m", 'unknown unit "furlings"', '"75 mm"'),
        ("3 m + 2 m", "m", "is not a quantity", '"75 mm"'),
        ("9**9**9 m", "m", "is not a quantity", '"75 mm"'),
        ("", "m", "is not a quantity", '"75 mm"'),
        ("nan m", "m", "is not a quantity", '"75 mm"'),
        ("1e999 m", "m", "is not finite", "finite number"),
        (math.nan, "m", "is not finite", "finite number"),
        (math.inf, "m", "is not finite", "finite number"),
        (10**400, "m", "is not finite", "finite number"),
        (True, "m", "true is not a quantity", '"75 mm"'),
        ([1.0], "m", "is not a quantity", '"75 mm"'),
        (None, "kg", "is not a quantity", '"1.9 kg"'),
    ],
)
def test_parse__what_is_no_quantity_is_one_sentence(value, unit, message, hint):
    with pytest.raises(QuantityError) as caught:
        parse(value, unit)
    assert message in caught.value.message
    assert hint in caught.value.hint
    assert "\n" not in str(caught.value)


@given(st.text(max_size=20), st.sampled_from(["m", "rad", "1", "K", "Hz", "kg*m**2"]))
def test_parse__any_text_gives_a_float_or_a_sentence(text, unit):
    try:
        assert math.isfinite(parse(text, unit))
    except QuantityError as error:
        assert error.message and error.hint


NAMES = [name for table in (unit_names._WITH_PREFIX, unit_names._ALONE, unit_names._FROM_ANOTHER_ZERO) for known in table for name in re.split(r";?\s+", known)]
OURS = {
    "amps",
    "gn",
    "rev",
    "kmh",
    "kilometre_per_hour",
    "miles_per_hour",
    "feet_per_second",
    "lbm",
    "kp",
    "psf",
}  # the library has no such name, or another meaning
SURVEY_FOOT = {"furlong", "furlongs"}  # which the library's is made of: 2 parts in a million


def test_names__are_what_an_independent_library_has():
    """Factor, dimension and zero of every name, and of prefixes before some, against pint's definitions."""
    registry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True, non_int_type=Decimal)
    prefixed = [
        f"{prefix}{name}"
        for prefix in ("k", "m", "u", "M", "h")
        for name in ("m", "g", "s", "Pa", "N", "Hz", "deg", "bar", "J", "K", "rad")
        if prefix + name not in ("min", "hbar")
    ]
    words = ["kilometer", "millimetre", "microsecond", "kilonewton", "megapascal", "milliradian", "centimeters"]
    for name in sorted({*NAMES, *prefixed, *words} - OURS):
        ours, theirs = unit_names.unit(name), registry.Quantity(Decimal(1), registry.Unit(name)).to_base_units()
        assert float((1 + ours.offset) * ours.factor) == pytest.approx(float(theirs.magnitude), rel=3e-6 if name in SURVEY_FOOT else ROUNDING, abs=0.0), name
        powers = {"meter": 0, "kilogram": 1, "second": 2, "kelvin": 3, "radian": 4, "ampere": 5}
        assert {powers[base]: float(power) for base, power in theirs._units.items()} == {k: power for k, power in enumerate(ours.powers) if power}, name


def test_names__a_temperature_from_another_zero_stands_alone():
    with pytest.raises(unit_names.NoProduct):
        unit_names.unit("degC/m")
    with pytest.raises(unit_names.UnknownUnit):
        unit_names.unit("kdegC")
