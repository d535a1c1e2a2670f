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
UNIT_FACTORS = {
    0.3048: "feet taken as metres the wrong way round: values are in m and were read as ft",
    1.0 / 0.3048: "values are in ft and were read as m",
    0.44704: "values are in m/s and were read as mph",
    1.0 / 0.44704: "values are in mph and were read as m/s",
    3.6: "values are in km/h and were read as m/s",
    1.0 / 3.6: "values are in m/s and were read as km/h",
    STANDARD_GRAVITY: "values are in m/s^2 and were read as g",
    1.0 / STANDARD_GRAVITY: "values are in g and were read as m/s^2",
    180.0 / np.pi: "values are in degrees and were read as radians",
    np.pi / 180.0: "values are in radians and were read as degrees",
    -1.0: "the sign is turned",
}
NEAR_UNIT = 0.04  # share by which a factor may miss that of a unit


class Pattern(NamedTuple):
    """What one cause does to the standardised residual, per unit of its amount. values (cells,)."""

    kind: str  # "input", "clock", "sensor", "pressure"
    name: str
    units: str  # of the amount; "sd" for an input
    values: np.ndarray
    channel: int = -1  # of a cause in a single one


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


def outside_patterns(time: np.ndarray, mean: np.ndarray, spread: np.ndarray, channels: list[Channel], going: Going, cells: np.ndarray) -> list[Pattern]:
    """Return what causes outside the inputs do to the cells of a log.

    mean, spread : of the flights, (channels, instants). cells : bool (channels, instants), those that are compared.
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
        found.append(Pattern("sensor", f"{one.name}, its scale", "1", _cells(own * mean, spread, cells), k))
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


def unit_of_scale(amount: float) -> str:
    """Return which wrong unit a scale error (the factor less one) looks like, "" for none."""
    for factor, words in UNIT_FACTORS.items():
        if abs((1.0 + amount) / factor - 1.0) < NEAR_UNIT:
            return words
    return ""
