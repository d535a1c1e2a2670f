"""What is printed of a motor, what law and codes make of it, and the builder's own columns (price, availability ...)."""

from __future__ import annotations

import csv
import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.errors import printable
from sixdof.mission.tables import Motor
from sixdof.mission.units import QuantityError, example, parse, shown
from sixdof.study.variants.motors import comments_of
from sixdof.vehicle.motor import motor_facts

HIGH_POWER = {"total_impulse": 160.0, "average_thrust": 80.0, "propellant_mass": 0.125}  # beyond any of these (published, second-hand)
LEVELS = {"H": 1, "I": 1, "J": 2, "K": 2, "L": 2}  # certification of the flyer, from M on 3 (published, second-hand)
IMPULSE_SCATTER = 0.067  # NFPA 1125, from memory: standard deviation of the total impulse over its mean, at most
DELAY_SCATTER = 1.5, 0.2  # NFPA 1125, from memory: a pyrotechnic delay is off by this many s or this share, whichever is more
ADAPTER_MASS = "adapter_mass"  # a column that is read as a mass and flies
_NUMBERS = {
    "motor_diameter": ("m", "outer diameter"),
    "motor_length": ("m", "length"),
    "total_impulse": ("N s", "total impulse"),
    "average_thrust": ("N", "average thrust over the burn time"),
    "peak_thrust": ("N", "largest thrust"),
    "burn_time": ("s", "burn time, from the first to the last 5 % of the largest thrust (NFPA 1125)"),
    "specific_impulse": ("s", "specific impulse"),
    "propellant_mass": ("kg", "mass of the propellant"),
    "loaded_mass": ("kg", "mass of the loaded motor"),
    "certification_level": ("1", "level of certification that a class asks of its flyer; 0: none by its impulse"),
}


def fact_entries(motors: list[Motor | None]) -> dict[str, tuple]:
    """Return the variables (motor,) of what a data sheet says; NaN and "" where a file said too little."""
    rows = [_row(motor) for motor in motors]
    found = {
        name: ("motor", [row.get(name, math.nan) for row in rows], {"units": units, "long_name": f"{text} of the motor"})
        for name, (units, text) in _NUMBERS.items()
    }
    found["motor_class"] = ("motor", [row.get("motor_class", "") for row in rows], {"long_name": "class of the motor by its total impulse (NFPA 1125)"})
    high = [row.get("high_power", False) for row in rows]
    found["high_power"] = ("motor", high, {"long_name": "whether the motor is one of high power: over 160 N s, 80 N of average thrust or 125 g of propellant"})
    return found


def _row(motor: Motor | None) -> dict[str, Any]:
    if motor is None:
        return {}
    facts = motor_facts(motor)
    letter = facts.class_letter
    row = {name: getattr(facts, name) for name in _NUMBERS if hasattr(facts, name)}
    low = "/" in letter or (len(letter) == 1 and letter < "H")
    high = any(row[name] > most for name, most in HIGH_POWER.items())
    return row | {
        "motor_diameter": motor.diameter,
        "motor_length": motor.length,
        "motor_class": letter,
        "certification_level": 0 if low else LEVELS.get(letter, 3),
        "high_power": high,
    }


def amount(value: Any, unit: str, where: str) -> float:
    """Return a quantity in SI. Raises ValueError, in one sentence that begins with `where`, for anything else and what is below zero."""
    try:
        found = parse(value, unit)
    except QuantityError as error:
        raise ValueError(f"choose_motor: {where}: {error}") from None
    if found < 0.0:
        raise ValueError(f"choose_motor: {where}: {shown(value)} is below zero; write, for example, {example(unit)}")
    return found


# ---------------------------------------------------------------- free columns


def columns_of(given: str | Path | Mapping[str, Mapping[str, Any]] | None, files: Mapping[str, Path]) -> dict[str, dict[str, Any]]:
    """Return the free columns of motors: motor -> column -> number or text.

    given : a CSV whose column `motor` names them, or a dictionary of motors; what it says comes before comments in a motor's own CSV.

    Raises ValueError for a table without the column `motor`, a motor named twice, and a mass of an adapter that is none.
    """
    found = {name: {} if file is None or not file.is_file() else _comments(file) for name, file in files.items()}
    for name, row in _given(given).items():
        found.setdefault(name, {}).update(row)
    return {name: {column: _value(column, value, name) for column, value in row.items()} for name, row in found.items()}


def _comments(file: Path) -> dict[str, Any]:
    try:
        return comments_of(file)[1]
    except ValueError:  # what is wrong with it is said where its curve is read
        return {}


def _given(given) -> dict[str, dict[str, Any]]:
    if given is None:
        return {}
    if isinstance(given, Mapping):
        odd = [name for name, row in given.items() if not isinstance(name, str) or not isinstance(row, Mapping)]
        if odd:
            raise ValueError(f'choose_motor: columns: write {{"mesa-j": {{"price": 61}}}}, a dictionary for each motor; {shown(odd[0])} has none')
        return {name: dict(row) for name, row in given.items()}
    if not isinstance(given, str | Path):
        raise ValueError(f"choose_motor: columns must be the path of a CSV or a dictionary, not {shown(given)}")
    return _table(Path(given))


def _table(path: Path) -> dict[str, dict[str, Any]]:
    try:
        lines = [line for line in path.read_text(encoding="utf-8-sig").splitlines() if line.strip() and not line.lstrip().startswith("#")]
    except (OSError, UnicodeDecodeError) as error:
        raise ValueError(f"choose_motor: columns: {path} cannot be read ({printable(str(error))})") from None
    separator = ";" if lines and ";" in lines[0] else ","
    rows = [[cell.strip() for cell in row] for row in csv.reader(lines, delimiter=separator)]
    if not rows or "motor" not in rows[0]:
        raise ValueError(f'choose_motor: columns: {path}: there is no column motor; write a first line such as "motor, price, availability"')
    place, found = rows[0].index("motor"), {}
    for row in rows[1:]:
        if len(row) != len(rows[0]):
            raise ValueError(f"choose_motor: columns: {path}: a row has {len(row)} cells and the first line {len(rows[0])}: {shown(', '.join(row))}")
        if row[place] in found:
            raise ValueError(f"choose_motor: columns: {path}: {shown(row[place])} has two rows")
        found[row[place]] = {name: cell for name, cell in zip(rows[0], row, strict=True) if name != "motor" and cell}
    return found


def _value(column: str, value: Any, motor: str) -> Any:
    if column == ADAPTER_MASS:
        return amount(value, "kg", f"columns: {ADAPTER_MASS} of {motor}")
    try:
        number = float(value)
    except (TypeError, ValueError):
        return str(value)
    return number if math.isfinite(number) else str(value)


def column_entries(columns: Mapping[str, Mapping[str, Any]], motors: list[str], taken: set[str]) -> dict[str, tuple]:
    """Return the free columns as variables (motor,): numbers where every value is one, else text.

    Raises ValueError for a column called as something else in the Dataset.
    """
    found = {}
    for column in dict.fromkeys(column for name in motors for column in columns.get(name, {}) if column != ADAPTER_MASS):
        if column in taken:
            raise ValueError(f'choose_motor: columns: "{column}" is the name of something else in the result; call it otherwise, such as "my_{column}"')
        values = [columns.get(name, {}).get(column) for name in motors]
        text = {"long_name": column.replace("_", " "), "given": 1}
        if all(value is None or isinstance(value, float) for value in values):
            found[column] = ("motor", np.array([math.nan if value is None else value for value in values]), {"units": "as given", **text})
        else:
            found[column] = ("motor", np.array(["" if v is None else f"{v:g}" if isinstance(v, float) else v for v in values], dtype=str), text)
    return found


def given_columns(ds: xr.Dataset) -> list[str]:
    """Return the names of the free columns of a choice."""
    return [str(name) for name, v in ds.data_vars.items() if v.attrs.get("given")]
