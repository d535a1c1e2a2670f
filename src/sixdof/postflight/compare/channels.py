"""A log as single curves: one channel for each variable and part of it, in units and words of its own."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.postflight.compare.expected import HELD, ROUND

LEAST_REST = 10  # rows before liftoff that tell a sensor's noise
REST_ENDS = -0.05  # s: from here on the liftoff itself may be felt
ONE_WAY = 0.7  # mean of the unit vectors of angles, below which they point all round and have no middle
PARTS = {"velocity": ("east", "north", "up")}


class Channel(NamedTuple):
    """One curve of a log. name : "height", "velocity[up]". log : the log's name, "" of a single one."""

    log: str
    variable: str
    part: str
    units: str
    words: str
    source: str
    error: float  # one standard deviation of a reading, SI; NaN where nobody says
    round: bool  # an angle that goes round

    @property
    def name(self) -> str:
        own = f"{self.variable}[{self.part}]" if self.part else self.variable
        return f"{self.log}: {own}" if self.log else own


def channels_of(log: xr.Dataset, like: xr.Dataset, name: str = "") -> list[Channel]:
    """Return the channels that a log and what a flight would have logged (`like`) have in common."""
    found = []
    for variable in log.data_vars:
        variable = str(variable)
        if variable in HELD or variable not in like or log[variable].dims[:1] != ("time",):
            continue
        attrs = log[variable].attrs
        parts = _parts(log, variable)
        errors = np.broadcast_to(np.asarray(attrs.get("error", np.nan), dtype=float), (len(parts),))
        words = str(attrs.get("long_name", like[variable].attrs.get("long_name", variable)))
        units = str(like[variable].attrs.get("units", attrs.get("units", "1")))
        for part, error in zip(parts, errors, strict=True):
            found.append(Channel(name, variable, part, units, words, str(attrs.get("source", "")), float(error), variable in ROUND))
    return found


def _parts(log: xr.Dataset, variable: str) -> tuple[str, ...]:
    if variable == "attitude":
        return ("nose east", "nose north")
    others = log[variable].dims[1:]
    if not others:
        return ("",)
    labels = log[others[0]].values if others[0] in log.coords else range(log.sizes[others[0]])
    return PARTS.get(variable, tuple(str(label) for label in labels))


def curves_of(ds: xr.Dataset, channels: list[Channel]) -> np.ndarray:
    """Return the channels of a log, or of what a flight would have logged, (channels, time)."""
    out = np.full((len(channels), ds.sizes["time"]), np.nan)
    whole: dict[str, np.ndarray] = {}
    for k, one in enumerate(channels):
        if one.variable not in whole:
            values = np.asarray(ds[one.variable].values, dtype=float)
            whole[one.variable] = _nose(values) if one.variable == "attitude" else values.reshape(values.shape[0], -1)
        first = next(i for i, other in enumerate(channels) if other.variable == one.variable)
        out[k] = whole[one.variable][:, k - first]
    return out


def _nose(attitude: np.ndarray) -> np.ndarray:
    """Return where the nose points, east and north parts of a unit vector, (time, 2), of quaternions body to east-north-up, scalar first."""
    w, x, y, z = attitude.T
    return np.stack([w * w + x * x - y * y - z * z, 2.0 * (x * y + w * z)], axis=1)


def noise_of(log: xr.Dataset, channels: list[Channel]) -> tuple[np.ndarray, list[str]]:
    """Return the standard deviation of a reading of each channel, (channels,), and where it is from: "error", "rest" before liftoff, or "none" (0)."""
    time = log["time"].values
    rest = time < REST_ENDS
    values = curves_of(log.isel(time=rest), channels) if rest.any() else np.empty((len(channels), 0))
    sizes, sources = np.zeros(len(channels)), []
    for k, one in enumerate(channels):
        known = values[k][np.isfinite(values[k])]
        if np.isfinite(one.error) and one.error >= 0.0:
            sizes[k] = one.error
            sources.append("error")
        elif known.size >= LEAST_REST and np.ptp(known) > 0.0:  # a value that is held says nothing
            sizes[k] = float(known.std(ddof=1))
            sources.append("rest")
        else:
            sources.append("none")
    return sizes, sources


def made_straight(logged: np.ndarray, drawn: np.ndarray, channels: list[Channel]) -> None:
    """Lay angles that go round beside the flights' mean direction, in place; NaN where the flights point all round and there is none.

    logged : (channels, instants). drawn : (flights, channels, instants).
    """
    for k, one in enumerate(channels):
        if not one.round:
            continue
        turn = np.exp(1j * drawn[:, k])
        with np.errstate(invalid="ignore"):
            mean = np.nansum(turn, axis=0) / np.maximum(np.isfinite(drawn[:, k]).sum(axis=0), 1)
        about = np.angle(mean)
        lost = np.abs(mean) < ONE_WAY
        smooth = np.unwrap(about)
        for values in (logged[k], *drawn[:, k]):
            values[...] = np.where(lost, np.nan, smooth + np.angle(np.exp(1j * (values - about))))
