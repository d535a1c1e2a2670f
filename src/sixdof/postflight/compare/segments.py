"""Stretches of a flight: the climb and the descent, by phase, guidance mode, motor, Mach number and incidence."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.core.layout import Phase

WHOLE, CLIMB, DESCENT = "whole flight", "climb", "descent"
MACH_BANDS = ((0.0, 0.8), (0.8, 1.2), (1.2, math.inf))
INCIDENCE_BANDS = ((0.0, 5.0), (5.0, 15.0), (15.0, 180.0))  # deg
CLIMBING = 20.0  # m/s of airspeed: slower than this, Mach number and incidence tell nothing of the model of the air
MODES = ("profile", "waypoints", "hold")


class Segment(NamedTuple):
    """group : what it is told apart by. which : bool (instants,)."""

    group: str
    name: str
    which: np.ndarray


class Going(NamedTuple):
    """How the flight was going at the log's instants: what the log says where it does, else what most flights or their median say."""

    time: np.ndarray
    climbing: np.ndarray  # bool: before apogee
    mach: np.ndarray  # NaN where nothing is known
    incidence: np.ndarray  # rad
    airspeed: np.ndarray
    phase: np.ndarray
    mode: np.ndarray
    burning: np.ndarray  # number of the motor, 0 none

    @property
    def in_the_air(self) -> np.ndarray:
        """Return at which instants it climbs through the air fast enough for Mach number and incidence to tell anything."""
        return self.climbing & (self.airspeed > CLIMBING) & np.isfinite(self.mach)


def segments_of(going: Going, motors: list[str]) -> list[Segment]:
    """Return the stretches that hold any instant."""
    found = [Segment("part", WHOLE, np.ones(going.time.size, dtype=bool)), Segment("part", CLIMB, going.climbing), Segment("part", DESCENT, ~going.climbing)]
    found += [Segment("phase", _phase(code), going.phase == code) for code in (int(one) for one in Phase)]
    found += [Segment("guidance", f"guidance: {mode}", going.climbing & (going.mode == code)) for code, mode in enumerate(MODES)]
    found += [Segment("motor", f"{motor} burns", going.burning == number) for number, motor in enumerate(motors, start=1)]
    coasting = going.climbing & (going.burning == 0)
    found += [Segment("motor", name, which) for name, which in _coasts(going, coasting, motors)]
    air = going.in_the_air
    for low, high in MACH_BANDS:
        found.append(Segment("Mach", _span("Mach", low, high), air & (going.mach >= low) & (going.mach < high)))
    angle = np.degrees(going.incidence)
    for low, high in INCIDENCE_BANDS:
        name = _span("incidence", low, high if high < 180.0 else math.inf, " deg")
        found.append(Segment("incidence", name, air & (angle >= low) & (angle < high)))
    return [one for one in found if one.which.any()]


def _phase(code: int) -> str:
    return f"phase: {Phase(code).name.lower().replace('_', ' ')}"


def _coasts(going: Going, coasting: np.ndarray, motors: list[str]):
    """Yield each stretch without thrust of the climb: behind each motor's burn, up to the next one's."""
    last = np.maximum.accumulate(going.burning) if going.burning.size else going.burning
    for number, motor in enumerate(motors, start=1):
        yield f"coast behind {motor}", coasting & (last == number)


def _span(word: str, low: float, high: float, unit: str = "") -> str:
    if low == 0.0:
        return f"{word} below {high:g}{unit}"
    return f"{word} {low:g} to {high:g}{unit}" if math.isfinite(high) else f"{word} above {low:g}{unit}"


def going_of(time: np.ndarray, of_log: dict[str, np.ndarray], of_flights: list[dict[str, np.ndarray]], burning: np.ndarray, climb_end: float) -> Going:
    """Return how the flight was going. of_flights : of each flight, by name (instants,). burning : (flights, instants)."""
    typical = {name: _middle(name, np.array([one[name] for one in of_flights])) for name in of_flights[0]}
    blank = np.full(time.size, np.nan)

    def best(name: str) -> np.ndarray:
        own, other = of_log.get(name, blank), typical.get(name, blank)
        return np.where(np.isfinite(own), own, other)

    climbing = time <= climb_end
    columns = [best(name) for name in ("mach", "incidence", "airspeed", "phase", "guidance_mode")]
    return Going(time, climbing, *columns, _most(burning).astype(int))


def _middle(name: str, values: np.ndarray) -> np.ndarray:
    if name in ("phase", "guidance_mode"):
        return _most(values)
    known = np.isfinite(values)
    ordered = np.sort(values, axis=0)
    count = known.sum(axis=0)
    at = np.clip((count - 1) // 2, 0, None)
    return np.where(count > 0, np.take_along_axis(ordered, at[None], axis=0)[0], np.nan)


def _most(values: np.ndarray) -> np.ndarray:
    """Return the most frequent code of each column, NaN where none is known."""
    codes = np.unique(values[np.isfinite(values)])
    if not codes.size:
        return np.full(values.shape[1], np.nan)
    counts = np.array([(values == code).sum(axis=0) for code in codes])
    return np.where(counts.max(axis=0) > 0, codes[counts.argmax(axis=0)], np.nan)
