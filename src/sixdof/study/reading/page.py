"""Lines of the pages of text about a result: a labelled row of numbers, a wrapped sentence, shares of flights, a place."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.page import SET_IN, indented
from sixdof.study.reading.result import QUANTILES, is_ensemble, plural

WIDTH = 34  # characters of a row's label
LAST_LINE = "A calculation, not a clearance to fly: that is up to the range's rules, its safety officer and the vehicle."


def row_of(ds: xr.Dataset, label: str, unit: str, values: np.ndarray, decimals: int) -> str:
    """Return a row: label, unit, and of values (flights,), NaN where there is none, the one value or the quantiles."""
    values = values[np.isfinite(values)]
    text = f"  {label:<{WIDTH - 1}} {unit:<10}"
    if not values.size:
        return f"{text}{'none':>10}"
    shown = np.quantile(values, QUANTILES) if is_ensemble(ds) else values
    return text + "".join(f"{value:>z10.{decimals}f}" for value in shown)


def counted(which: np.ndarray) -> str:
    """Return "3 of 400 flights (0.8 %)" for a bool array (flights,)."""
    share = 100.0 * which.mean()
    digits = 0 if share in (0.0, 100.0) or 10.0 <= share <= 90.0 else 1
    return f"{int(which.sum())} of {plural(which.size)} ({share:.{digits}f} %)"


def worst(ds: xr.Dataset, values: np.ndarray, unit: str, pick=np.fmin, limit: float = math.nan) -> str:
    """Return ", 3.2 m/s", of many flights ", at worst 3.2 m/s": the smallest of values (flights,), or what `pick` picks.

    limit : what the value is held against in the same sentence; it gets the decimals that tell the two apart ("above 6.1 m/s, 6.13 m/s").
    """
    value = pick.reduce(values)  # NaN where no flight has a value: the check is False then and nothing is said
    decimals = 1
    while decimals < 6 and round(value, decimals) == round(limit, decimals):
        decimals += 1
    return f", at worst {value:z.{decimals}f} {unit}" if is_ensemble(ds) else f", {value:z.{decimals}f} {unit}"


def bearing_of(east: float, north: float) -> float:
    """Return the bearing of a place seen from the rail, degrees true, 0 to 360."""
    return math.degrees(math.atan2(east, north)) % 360.0


def place(east: float, north: float) -> str:
    """Return a place as distance and bearing from the rail."""
    return f"{math.hypot(east, north):.0f} m from the rail, bearing {bearing_of(east, north):.0f} deg true"


def on_map(latitude: float, longitude: float) -> str:
    """Return "38.00123 N, 117.00432 W" of degrees, east positive: five decimals are a metre."""
    return f"{abs(latitude):.5f} {'N' if latitude >= 0.0 else 'S'}, {abs(longitude):.5f} {'E' if longitude >= 0.0 else 'W'}"


def caution_lines(found: list[str], none: str) -> list[str]:
    """Return the section "Cautions": a sentence each, or that there is `none`."""
    return ["Cautions", *(indented(["- " + text for text in found]) or [f"{SET_IN}{none}"])]
