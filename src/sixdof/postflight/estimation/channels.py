"""What of a log is compared: variables as columns of numbers, angles the short way round, attitudes as the small turn between two."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.units import shown
from sixdof.postflight.compare.expected import HELD, ROUND, expected

ANGLES = (*ROUND, "tilt", "tilt_pitch", "commanded_pitch")
BY_ATTITUDE = ("tilt", "tilt_yaw", "tilt_pitch", "roll")  # say again what `attitude` says
NOT_FITTED = (*HELD, "commanded_roll", "commanded_yaw", "commanded_pitch", "incidence")
AXES = {"velocity": ("east", "north", "up"), "attitude": ("x", "y", "z")}


class Channels(NamedTuple):
    """A log as columns. log : with the rows and variables that are compared. names : of the columns. values (rows, channels), error (channels,)."""

    log: xr.Dataset
    names: list[str]
    values: np.ndarray
    error: np.ndarray


def need_log(log: Any, who: str, name: str = "") -> xr.Dataset:
    """Check that a Dataset is a flight log. Raises TypeError, ValueError in one sentence."""
    said = f" {name}" if name else ""
    if not isinstance(log, xr.Dataset):
        raise TypeError(f"{who}: the log{said} must be a Dataset as sixdof.postflight.read_log gives it, not {shown(log)}")
    if "time" not in log.dims or "time" not in log.coords:
        raise ValueError(f"{who}: the log{said} has no coordinate time (s since liftoff); read it with sixdof.postflight.read_log")
    return log


def channels_of(log: xr.Dataset, flight: xr.Dataset, use: Sequence[str] | None, between: tuple[float, float], who: str) -> Channels:
    """Return the columns of a log that a flight of the mission answers.

    use : names of variables, None for all that are measured and not said twice. between : times since liftoff, s. Raises ValueError where nothing is left.
    """
    log = log.isel(time=(log["time"].values >= between[0]) & (log["time"].values <= between[1]))
    answered = expected(flight, log)
    names = _chosen(log, [str(name) for name in answered.data_vars], use, who)
    log = log[names].assign_attrs(log.attrs)
    columns, values, error = [], [], []
    for name in names:
        own = _columns(name, log[name])
        columns += own
        values.append(np.zeros((log.sizes["time"], 3)) if name == "attitude" else log[name].values.reshape(log.sizes["time"], -1).astype(float))
        if name == "attitude":
            values[-1][~np.isfinite(log[name].values).all(axis=1)] = np.nan
        error += [_error(log[name])] * len(own)
    return Channels(log, columns, np.hstack(values), np.array(error))


def _chosen(log: xr.Dataset, answered: Sequence[str], use: Sequence[str] | None, who: str) -> list[str]:
    """Return the variables that are compared."""
    measured = [name for name in answered if name not in NOT_FITTED and log[name].dtype.kind == "f" and np.isfinite(log[name].values).any()]
    if use is not None:
        wanted = [use] if isinstance(use, str) else list(use)
        lost = [name for name in wanted if name not in measured]
        if lost:
            raise ValueError(f"{who}: use: the log measures no {shown(lost[0])} that a flight answers there; {suggestion(lost[0], measured, 'variables')}")
        return wanted
    if "attitude" in measured:
        measured = [name for name in measured if name not in BY_ATTITUDE]
    if "airspeed" in measured:
        measured = [name for name in measured if name != "mach"]
    if not measured:
        raise ValueError(
            f"{who}: the log measures nothing that a flight answers in the time asked for; it holds {', '.join(map(str, log.data_vars)) or 'nothing'}"
        )
    return measured


def _columns(name: str, array: xr.DataArray) -> list[str]:
    """Return the names of the columns of a variable: "velocity east"."""
    if name == "attitude":
        return [f"attitude {axis}" for axis in AXES["attitude"]]
    rest = [dim for dim in array.dims if dim != "time"]
    if not rest:
        return [name]
    plain = ["x", "y", "z"] if array.sizes[rest[0]] == 3 and rest[0] == "axis" else [str(k) for k in range(1, array.sizes[rest[0]] + 1)]
    labels = AXES.get(name) or ([str(each) for each in array[rest[0]].values] if rest[0] in array.coords else plain)
    return [f"{name} {label}" for label in labels]


def _error(array: xr.DataArray) -> float:
    """Return the known standard deviation of a reading, NaN where it is not known; of an attitude that of a turn, rad."""
    found = float(array.attrs.get("error", np.nan))
    return found if found > 0.0 else np.nan


def predicted(flight: xr.Dataset, channels: Channels, late: float = 0.0) -> np.ndarray:
    """Return what a flight says in place of a log's values, (rows, channels): angles the short way from the log's, attitudes as the turn from the log's.

    late : s, added to the log's times.
    """
    answered = expected(flight, at_times(channels.log, late))
    found = []
    for name in channels.log.data_vars:
        own, measured = answered[name].values.astype(float), channels.log[name].values.astype(float)
        if name == "attitude":
            own = turn_between(measured, own)
        elif name in ANGLES:
            own = measured + np.angle(np.exp(1j * (own - measured)))
        found.append(own.reshape(own.shape[0], -1))
    return np.hstack(found)


def at_times(log: xr.Dataset, late: float) -> xr.Dataset:
    """Return a log with its times moved, s."""
    return log.assign_coords(time=log["time"] + late) if late else log


def turn_between(first: np.ndarray, second: np.ndarray) -> np.ndarray:
    """Return the turns (rows, 3), rad about body axes of the first, that take attitudes first to second (rows, 4), scalar first."""
    w, v = first[:, :1], -first[:, 1:]
    scalar = w[:, 0] * second[:, 0] - np.sum(v * second[:, 1:], axis=1)
    vector = w * second[:, 1:] + second[:, :1] * v + np.cross(v, second[:, 1:])
    vector = np.where(scalar[:, None] < 0.0, -vector, vector)
    sine = np.linalg.norm(vector, axis=1)
    angle = 2.0 * np.arctan2(sine, np.abs(scalar))
    return vector * np.where(sine > 1e-12, angle / np.maximum(sine, 1e-300), 2.0)[:, None]
