"""Invented flights that came home in pieces: drawn from the two-stage demo's own spreads, logged and reported with errors whose sizes are known.

A second statement of what the library undoes: the place of an accelerometer by rigid-body kinematics, pressure by the closed form of a column of even
lapse, axes of a board that was mounted askew, units that nobody would choose. Nothing here reads a log or weighs evidence.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path
from typing import NamedTuple

import numpy as np

import sixdof

MISSION = Path(__file__).parents[2] / "configs" / "two-stage.toml"
SEED = 1907  # of the draws of all these flights
RATE = 20.0  # Hz, packets of the radio log
REST = 4.0  # s of rest in it
STATION = 0.43  # m: the accelerometer, aft of the nose tip
G, AIR, LAPSE = 9.80665, 287.05287, 0.0065  # of the standard atmosphere

# hypothesis -> failures that are certain in it
FAILURES = {
    "as planned": (),
    "harness": (("harness_breaks", "drogue"),),
    "no canopy": (("harness_breaks", "drogue"), ("canopy_lost", "drogue")),
    "no main": (("no_deployment", "main"),),
}
ERRORS = {  # standard deviations of a reading, SI
    "pressure": 8.0,
    "temperature": 0.5,
    "specific_force": 0.3,
    "body_rate": np.radians(0.4),
    "position": 2.0,
    "altitude": 4.0,
    "velocity": 0.25,
    "fin_angle": np.radians(0.1),
}
GYRO_BIAS = np.radians([0.8, -0.5, 0.3])


class Readings(NamedTuple):
    """What the bay would have sent, in SI: vectors along body axes or east, north, up. time : s since liftoff; fresh : rows with a new fix."""

    time: np.ndarray
    pressure: np.ndarray
    temperature: np.ndarray
    specific_force: np.ndarray
    body_rate: np.ndarray
    place: np.ndarray
    velocity: np.ndarray
    fin_angle: np.ndarray
    mode: np.ndarray
    fresh: np.ndarray


@cache
def mission_of(hypothesis: str = "as planned", rate: float = 100.0):
    """Return the demo's mission in which exactly this goes wrong, nothing else."""
    failures = [{"kind": kind, "of": of, "probability": 1.0} for kind, of in FAILURES[hypothesis]]
    return sixdof.load_mission(MISSION).change({"failure": failures or None, "record.rate": rate})


def flown(hypothesis: str, number: int):
    """Return flight `number` with its draws, and the table (one row) of these draws."""
    mission = mission_of(hypothesis)
    return sixdof.fly(mission, flight=number, seed=SEED), sixdof.stats.make_draws(mission, 1, seed=SEED, first=number)


def readings(flight, draws, rng: np.random.Generator, end: float) -> Readings:
    """Return what the bay sent from its rest to `end`, s since liftoff, with noise, packets lost and all."""
    time = np.arange(-REST, end, 1.0 / RATE)
    kept = rng.random(time.size) > 0.03
    kept &= ~((time > 1.5) & (time < 1.9))  # the charge of the joint shakes a connector
    time = time[kept]
    at = np.clip(time, 0.0, None) + float(flight.event_time.sel(event="liftoff").values[0])
    fresh = np.diff(np.floor((time + REST) * 5.0 + 1e-6), prepend=-1.0) > 0.0  # five fixes a second, each of its packet's instant
    force, rate = _at_station(flight), flight.body_rate.values
    height = _column(flight, "height", at)
    pressure, temperature = _air(flight, draws, height)
    place = np.stack([_column(flight, name, at) for name in ("east", "north", "height")], axis=-1)
    velocity = _columns(flight, flight.velocity.values, at)
    noise = rng.standard_normal
    held = np.maximum.accumulate(np.where(fresh, np.arange(time.size), 0))  # what a receiver sent is sent again until the next
    place += noise(place.shape) * [ERRORS["position"], ERRORS["position"], ERRORS["altitude"]]
    velocity += noise(velocity.shape) * ERRORS["velocity"]
    return Readings(
        time,
        pressure + noise(time.size) * ERRORS["pressure"],
        temperature + noise(time.size) * ERRORS["temperature"],
        np.where(time[:, None] < 0.0, force[0], _columns(flight, force, at)) + noise((time.size, 3)) * ERRORS["specific_force"],
        np.where(time[:, None] < 0.0, 0.0, _columns(flight, rate, at)) + GYRO_BIAS + noise((time.size, 3)) * ERRORS["body_rate"],
        place[held],
        velocity[held],
        _columns(flight, flight.fin_angle.values, at) + noise((time.size, 4)) * ERRORS["fin_angle"],
        flight.guidance_mode.values[np.searchsorted(flight.time.values, at, side="right") - 1],
        fresh,
    )


def _rows(flight) -> np.ndarray:
    """Return rows whose times rise; of two at an instant the later."""
    return np.flatnonzero(np.append(np.diff(flight.time.values) > 0.0, True))


def _columns(flight, values: np.ndarray, at: np.ndarray) -> np.ndarray:
    kept = _rows(flight)
    return np.stack([np.interp(at, flight.time.values[kept], column[kept]) for column in values.T], axis=-1)


def _column(flight, name: str, at: np.ndarray) -> np.ndarray:
    return _columns(flight, flight[name].values[:, None], at)[:, 0]


def _at_station(flight) -> np.ndarray:
    """Return the specific force at the accelerometer, f + w' x r + w x (w x r), r from the centre of mass."""
    kept = _rows(flight)
    w, time = flight.body_rate.values, flight.time.values
    turning = np.zeros_like(w)
    turning[kept] = np.gradient(w[kept], time[kept], axis=0)
    r = np.stack([flight.cg.values - STATION, np.zeros(time.size), np.zeros(time.size)], axis=-1)
    return flight.specific_force.values + np.cross(turning, r) + np.cross(w, np.cross(w, r))


def _air(flight, draws, height: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return pressure and temperature: a column of the standard's lapse from the day's air at the ground, p = p0 (T/T0)^(g/(R L))."""
    air = mission_of().air
    ground = air.temperature + (float(draws["air.temperature"].values[0]) if "air.temperature" in draws else 0.0)
    at_ground = air.pressure * (float(draws["air.pressure"].values[0]) if "air.pressure" in draws else 1.0)
    temperature = ground - LAPSE * height
    return at_ground * (temperature / ground) ** (G / (AIR * LAPSE)), temperature
