"""The air that each stage of a flight flies through: speed, Mach number, pressure and sound speed, on whichever body it stands."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.world.atmosphere import GAMMA, GAS_CONSTANT

SLOWEST = 0.02  # Mach number: below it a pressure from q and Mach number is taken from the height


class Air(NamedTuple):
    """What a stage meets over a flight, (n,) each: time (s), height (m), airspeed (m/s), Mach number, static pressure (Pa), sound speed (m/s), and
    `lead`, the number of the stage at the head of what it flies with."""

    time: np.ndarray
    height: np.ndarray
    airspeed: np.ndarray
    mach: np.ndarray
    pressure: np.ndarray
    sound_speed: np.ndarray
    lead: np.ndarray

    @property
    def dynamic_pressure(self) -> np.ndarray:
        """Pa; gamma p M^2/2, which is rho V^2/2 of a gas of that gamma."""
        return 0.5 * GAMMA * self.pressure * self.mach**2

    @property
    def temperature(self) -> np.ndarray:
        """Virtual temperature of the air, K: dry air of that density."""
        return self.sound_speed**2 / (GAMMA * GAS_CONSTANT)

    @property
    def density(self) -> np.ndarray:
        """kg/m^3."""
        return GAMMA * self.pressure / self.sound_speed**2

    def part(self, rows) -> Air:
        """Return some rows of it."""
        return Air(*(column[rows] for column in self))


def air_of_stages(flight: xr.Dataset, stages: int) -> list[Air]:
    """Return for every stage of a flight what it meets from ignition to its landing, on the body that it stands on at each time.

    flight : with its whole timeline, as `sixdof.fly` returns it. Pressure and sound speed are the flight's own (dynamic pressure, Mach number,
    airspeed); of bodies behind a joint, by the pressure that the front body met at the same height.
    """
    front = _front(flight)
    bodies = [front, *(_behind(flight, k, front) for k in range(1, stages))]
    parted = np.atleast_1d(flight["separation_time"].values) if "separation_time" in flight else np.zeros(0)
    return [_own(bodies, [0.0, *parted[:k]]) for k in range(stages)]


def _front(flight: xr.Dataset) -> Air:
    time, height, speed, mach, q = (flight[name].values for name in ("time", "height", "airspeed", "mach", "dynamic_pressure"))
    moves = mach > SLOWEST
    if moves.sum() < 2:
        return Air(*np.zeros((7, 0)))
    pressure, sound = (np.where(moves, one, np.nan) for one in (2.0 * q / (GAMMA * np.maximum(mach, SLOWEST) ** 2), speed / np.maximum(mach, SLOWEST)))
    for column in (pressure, sound):
        column[~moves] = _over_height(height[~moves], height[moves], column[moves])
    return Air(time, height, speed, mach, pressure, sound, np.zeros(time.size))


def _behind(flight: xr.Dataset, body: int, front: Air) -> Air:
    """Return what a body behind a joint meets on its own track."""
    time, height, speed, mach = (flight[f"body_{name}"].values[body] for name in ("time", "height", "airspeed", "mach"))
    known = np.isfinite(time) & (mach > SLOWEST)
    time, height, speed, mach = time[known], height[known], speed[known], mach[known]
    if not time.size or not front.time.size:
        return Air(*np.zeros((7, 0)))
    return Air(time, height, speed, mach, _over_height(height, front.height, front.pressure), speed / mach, np.full(time.size, float(body)))


def _over_height(at: np.ndarray, height: np.ndarray, values: np.ndarray) -> np.ndarray:
    """Return values that fall with height as an exponential between the heights where they are known, the end values beyond."""
    order = np.argsort(height, kind="stable")
    return np.exp(np.interp(at, height[order], np.log(values[order])))


def _own(bodies: list[Air], parted: list[float]) -> Air:
    """Return what a stage meets: on body j from when joint j separated, until one nearer to it does. parted : times (s) by joint, NaN for never."""
    times = np.array(parted)
    order = [j for j in np.argsort(times, kind="stable") if np.isfinite(times[j])]
    order = [j for i, j in enumerate(order) if all(j > k for k in order[:i])]  # a joint farther ahead changes nothing any more
    ends = [*times[order[1:]], np.inf]
    rows = [bodies[j].part((bodies[j].time >= times[j]) & (bodies[j].time < end)) for j, end in zip(order, ends, strict=True)]
    return Air(*(np.concatenate(columns) for columns in zip(*rows, strict=True)))
