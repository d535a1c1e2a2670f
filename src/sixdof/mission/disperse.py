"""The `[disperse]` table: its names and numbers, put into one form."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from sixdof.mission.dispersible import DISPERSIBLE, Dispersible
from sixdof.mission.errors import Problem, raise_problems, suggestion
from sixdof.mission.units import QuantityError, parse, parse_difference, shown

NUMBERS = ("mean", "sd", "low", "mode", "high")
_GROUPS = {name.partition(".")[0] for name in DISPERSIBLE}


def joined(table: Any) -> Any:
    """Return the table with nested names joined: `wind.speed = {...}` without quotes is a table in a table to TOML."""
    if not isinstance(table, Mapping):
        return table
    flat: dict[Any, Any] = {}
    for key, value in table.items():
        nested = isinstance(value, Mapping) and bool(value)
        if nested and (key in _GROUPS or all(isinstance(entry, Mapping) for entry in value.values())):
            flat.update({f"{key}.{name}": entry for name, entry in value.items()})
        else:
            flat[key] = value
    return flat


def to_si(spreads: Mapping[str, Any]) -> dict[str, Any]:
    """Return the spreads with every number a float in SI, in the order of the registry.

    Raises
    ------
    PydanticCustomError
        Of type "problems": unknown names, numbers of the wrong unit or beyond what has a meaning.
    """
    problems: list[Problem] = []
    found = {}
    for name, spread in spreads.items():
        item = DISPERSIBLE.get(name)
        if item is None:
            hint = suggestion(name, tuple(DISPERSIBLE), "what can be dispersed")
            problems.append(Problem((name,), None, f"{shown(name)} cannot be dispersed", hint))
            continue
        numbers = {}
        for key in NUMBERS:
            try:
                numbers[key] = _number(item, key, getattr(spread, key))
            except QuantityError as error:
                problems.append(Problem((name, key), getattr(spread, key), error.message, error.hint))
        if len(numbers) == len(NUMBERS):
            found[name] = spread.model_copy(update=numbers)
            problems += _order(item, found[name])
    raise_problems(problems, spreads)
    return {name: found[name] for name in DISPERSIBLE if name in found}


def _number(item: Dispersible, key: str, value) -> float | None:
    if value is None:
        return None
    is_step = key == "sd" or item.role == "offset"
    number = (parse_difference if is_step else parse)(value, item.unit)
    if key == "sd" and number < 0.0:
        raise QuantityError(f"{shown(value)} must not be negative", "a standard deviation is 0 or more")
    if item.whole and number != round(number):
        raise QuantityError(f"{shown(value)} is not a whole number", f"{item.name} is counted from 0")
    if key != "sd" and item.least is not None and number < item.least:
        raise QuantityError(f"{shown(value)} must be at least {item.least:g}", f"{item.name} is {_role(item)}")
    return number


def _role(item: Dispersible) -> str:
    roles = {"value": "the value itself", "factor": "a factor, 1 by default", "offset": "an offset, 0 by default"}
    return roles[item.role]


def _order(item: Dispersible, spread) -> list[Problem]:
    """Return what is wrong with the order of a spread's numbers (SI)."""
    low, high, mode = spread.low, spread.high, spread.mode
    if low is not None and high is not None and low > high:
        return [Problem((item.name, "low"), low, f"{low:g} is more than high, {high:g}", "exchange low and high")]
    centre = item.neutral if spread.mean is None else spread.mean
    if spread.kind == "triangular" and None not in (low, mode, high) and not low <= mode <= high:
        return [Problem((item.name, "mode"), mode, f"{mode:g} is not between low, {low:g}, and high, {high:g}")]
    if spread.kind == "normal" and low is not None and low == high:
        return [Problem((item.name, "low"), low, f"low and high are both {low:g}", 'write kind = "fixed" instead')]
    if spread.kind == "normal" and centre is not None:
        if (low is not None and centre < low) or (high is not None and centre > high):
            hint = f"low and high cut the values themselves; {item.name} is {_role(item)}"
            return [Problem((item.name, "mean"), centre, f"the mean, {centre:g}, is not between low and high", hint)]
    return []
