"""What `static_firing` was asked, in SI: numbers of every log, filters, masses."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

from sixdof.mission.units import QuantityError, example, parse, shown
from sixdof.study.static_firing.firing import Smoothing
from sixdof.study.static_firing.impulse import STANDS

MASS_ERROR = 0.0005  # kg, standard deviation of a weighing where none is given (this project's guess)


class Masses(NamedTuple):
    """Of every log, kg, (logs,), NaN where not given. propellant_error : standard deviation. spent : of the motor after the firing."""

    propellant: np.ndarray
    propellant_error: np.ndarray
    spent: np.ndarray


def amount(value: Any, unit: str, name: str, least: float = 0.0, above: bool = False) -> float:
    """Return a quantity in SI. Raises ValueError, in one sentence that names it, for anything else and what is below `least` (or not above it)."""
    try:
        found = parse(float(value) if isinstance(value, np.generic) else value, unit)
    except QuantityError as error:
        raise ValueError(f"static_firing: {name}: {error}") from None
    if found < least or (above and found == least) or not math.isfinite(found):
        word = "not more than" if above else "below"
        raise ValueError(f"static_firing: {name}: {shown(value)} is {word} {least:g} {unit}; write, for example, {example(unit)}")
    return found


def each_of(value: Any, names: Sequence[str], unit: str, name: str) -> np.ndarray:
    """Return a quantity of every log, (logs,): one for all, a list in their order, or a dictionary by their names; NaN where there is none."""
    if value is None:
        return np.full(len(names), np.nan)
    if isinstance(value, Mapping):
        unknown = [one for one in value if one not in names]
        if unknown:
            raise ValueError(f"static_firing: {name}: there is no log {shown(unknown[0])}; the logs are {', '.join(names)}")
        return np.array([amount(value[one], unit, f"{name} of {one}", above=True) if one in value else np.nan for one in names])
    if isinstance(value, Sequence | np.ndarray) and not isinstance(value, str):
        if len(value) != len(names):
            raise ValueError(f"static_firing: {name}: {len(value)} values for {len(names)} logs; give one for all, or one for each")
        return np.array([amount(one, unit, name, above=True) for one in value])
    return np.full(len(names), amount(value, unit, name, above=True))


def masses_of(propellant: Any, before: Any, after: Any, error: Any, names: Sequence[str]) -> Masses:
    """Return the masses of every log: the propellant's own, or what the motor lost.

    Raises ValueError for both at once, a weighing alone, and a motor that is not lighter after its firing.
    """
    loaded, spent = each_of(before, names, "kg", "mass_before"), each_of(after, names, "kg", "mass_after")
    sd = MASS_ERROR if error is None else amount(error, "kg", "mass_error")
    if before is None and after is None:
        mass = each_of(propellant, names, "kg", "propellant_mass")
        return Masses(mass, np.full(len(names), sd), spent)
    if propellant is not None:
        raise ValueError("static_firing: give propellant_mass, or mass_before and mass_after, not both: they are two truths")
    if before is None or after is None:
        raise ValueError("static_firing: mass_before and mass_after go together: the motor as it is lit, and as it is taken off the stand")
    for name, first, last in zip(names, loaded, spent, strict=True):
        if last >= first:
            raise ValueError(f"static_firing: {name}: the motor weighs {last:g} kg after its firing and {first:g} kg before; it must have lost its propellant")
    return Masses(loaded - spent, np.full(len(names), math.sqrt(2.0) * sd), spent)


def stand_of(word: Any) -> float:
    """Return what the motor's weight adds to the reading, of STANDS. Raises ValueError for another word."""
    if word not in STANDS:
        raise ValueError(f"static_firing: stand = {shown(word)} must be one of {', '.join(STANDS)}: how the motor stands on its cell")
    return STANDS[word]


def smoothing_of(notch: Any, lowpass: Any) -> Smoothing:
    """Return the filters asked for; "none" leaves one out, None leaves the choice to the log."""
    found = [None if one is None else 0.0 if one == "none" else amount(one, "Hz", name, above=True) for one, name in ((notch, "notch"), (lowpass, "lowpass"))]
    return Smoothing(*found)
