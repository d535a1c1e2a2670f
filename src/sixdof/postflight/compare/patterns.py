"""What a cause would do to a log: how dispersed inputs move the flights, and what clocks, sensors and pressure ports do by themselves."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.postflight.compare.channels import Channel
from sixdof.postflight.compare.segments import CLIMBING, Going
from sixdof.study.uncertainty.inputs import inputs_of
from sixdof.study.uncertainty.regression import columns_of

RIDGE = 0.05  # times the number of inputs: how much a slope is drawn towards none, in flights
STANDARD_GRAVITY = 9.80665
OTHER_UNITS = {  # SI -> what a builder's file may hold instead, and how many of it make one of the SI
    "m": {"ft": 1.0 / 0.3048, "km": 1e-3},
    "m/s": {"ft/s": 1.0 / 0.3048, "km/h": 3.6, "mph": 1.0 / 0.44704},
    "m/s^2": {"g": 1.0 / STANDARD_GRAVITY, "ft/s^2": 1.0 / 0.3048},
    "rad": {"degrees": 180.0 / np.pi},
    "rad/s": {"degrees/s": 180.0 / np.pi, "rev/min": 30.0 / np.pi},
    "Pa": {"hPa": 1e-2, "kPa": 1e-3},
}
EXACT_UNIT = 0.01  # share by which a factor may miss that of a unit however small its error
NEAR_UNIT = 0.3  # share by which it may miss it at most, however large
LARGE = 5.0  # of a curve over the flights' spread: from here on the log itself says how its scale is off, else its deviations would


class Pattern(NamedTuple):
    """What one cause does to the standardised residual, per unit of its amount. values (cells,)."""

    kind: str  # "input", "clock", "sensor", "pressure"
    name: str
    units: str  # of the amount; "sd" for an input
    values: np.ndarray
    channel: int = -1  # of a cause in a single one
    of_units: str = ""  # of that channel
    of_log: np.ndarray | None = None  # of a scale: the log itself over the spread, (cells,); a log = (1 + s) truth less s/(1 + s) of itself is the truth


class Inputs(NamedTuple):
    """Drawn inputs of the flights, standardised. x (flights, columns)."""

    names: list[str]
    x: np.ndarray
    mean: np.ndarray
    sd: np.ndarray
    units: list[str]
    roles: list[str]


def inputs_drawn(ensemble: xr.Dataset) -> Inputs:
    """Return the inputs that vary from flight to flight; none at all where the mission disperses nothing."""
    try:
        found = inputs_of(ensemble)
    except ValueError:
        return Inputs([], np.empty((ensemble.sizes["flight"], 0)), np.empty(0), np.empty(0), [], [])
    matrix, parts = columns_of(found, ranks=False)
    names, units, roles = [], [], []
    for (name, variable), own in zip(found.data_vars.items(), parts, strict=True):
        for k in range(len(own)):
            names.append(str(name) if len(own) == 1 else f"{name} ({('across', 'along')[k]} its mean)")
            units.append(str(variable.attrs.get("units", "1")) if len(own) == 1 else "1")
            roles.append(str(variable.attrs["role"]))
    mean, sd = matrix.mean(axis=0), matrix.std(axis=0, ddof=1)
    return Inputs(names, (matrix - mean) / sd, mean, sd, units, roles)


def slopes(x: np.ndarray, d: np.ndarray) -> np.ndarray:
    """Return how deviations d (flights, cells) follow inputs x (flights, columns), (columns, cells): least squares, drawn a little towards none."""
    gram = x.T @ x
    gram[np.diag_indices_from(gram)] += RIDGE * x.shape[1]
    return np.linalg.solve(gram, x.T @ d)


def outside_patterns(
    time: np.ndarray, logged: np.ndarray, mean: np.ndarray, spread: np.ndarray, channels: list[Channel], going: Going, cells: np.ndarray
) -> list[Pattern]:
    """Return what causes outside the inputs do to the cells of a log.

    logged, mean, spread : of the log and of the flights, (channels, instants). cells : bool (channels, instants), those that are compared.
    """
    slope = np.array([_slope(time, row) for row in mean])
    found = [
        Pattern("clock", "the log's clock, offset (its stamps are late)", "s", _cells(-slope, spread, cells)),
        Pattern("clock", "the log's clock, rate (it runs fast)", "1", _cells(-slope * time, spread, cells)),
    ]
    for k, one in enumerate(channels):
        if not cells[k].any():
            continue
        own = np.zeros_like(mean)
        own[k] = 1.0
        found.append(Pattern("sensor", f"{one.name}, a constant bias", one.units, _cells(own, spread, cells), k))
        scale = _cells(own * mean, spread, cells)
        large = np.mean((mean[k] / spread[k])[cells[k]] ** 2) > LARGE**2
        of_log = _cells(own * logged, spread, cells) if large else None
        found.append(Pattern("sensor", f"{one.name}, its scale", "1", scale, k, one.units, of_log))
        if one.source == "barometer" or one.variable == "pressure":
            found += _of_pressure(k, one, mean, spread, going, cells)
    return found


def _of_pressure(k: int, one: Channel, mean, spread, going: Going, cells) -> list[Pattern]:
    """Return the patterns of a pressure error in proportion to the dynamic pressure: all along the climb, and in transonic flow alone."""
    if one.variable not in ("height", "pressure"):
        return []
    height = going.airspeed**2 / (2.0 * STANDARD_GRAVITY)  # of the dynamic pressure: q over the weight of a cubic metre
    moved = 0.7 * mean[k] * going.mach**2 if one.variable == "pressure" else -height
    air = going.climbing & (going.airspeed > CLIMBING)
    found = []
    for words, which in (("static port", air), ("static port in transonic flow", air & (going.mach >= 0.8) & (going.mach <= 1.2))):
        own = np.zeros_like(mean)
        own[k] = np.where(which & np.isfinite(moved), moved, 0.0)
        values = _cells(own, spread, cells)
        if np.any(values):
            found.append(Pattern("pressure", f"{one.name}, {words}, share of the dynamic pressure", "1", values, k))
    return found


def _slope(time: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return the rate of change of a curve at its own instants, 0 elsewhere."""
    known, out = np.isfinite(values), np.zeros_like(values)
    if known.sum() > 2:
        out[known] = np.gradient(values[known], time[known])
    return out


def _cells(moved: np.ndarray, spread: np.ndarray, cells: np.ndarray) -> np.ndarray:
    return (moved[cells] / spread[cells]).astype(float)


def unit_of_scale(amount: float, error: float, units: str) -> str:
    """Return which wrong units of a channel a scale error (the factor less one, with its standard error) looks like, "" for none: within two errors."""
    factors = {f"values are in {other} and were read as {units}": count for other, count in OTHER_UNITS.get(units, {}).items()}
    factors |= {f"values are in {units} and were read as {other}": 1.0 / count for other, count in OTHER_UNITS.get(units, {}).items()}
    factors["the sign is turned"] = -1.0
    near = [words for words, factor in factors.items() if abs((1.0 + amount) / factor - 1.0) < min(max(2.0 * error / abs(factor), EXACT_UNIT), NEAR_UNIT)]
    return ", or ".join(near)
