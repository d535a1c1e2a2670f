"""Thrust without tare and weight, its impulse, and what the impulse is uncertain by."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.study.probes.columns import G0
from sixdof.study.static_firing.calibration import Calibration
from sixdof.study.static_firing.log import RawLog
from sixdof.study.static_firing.signal import slow_density, straightened
from sixdof.study.static_firing.stretches import Stretches
from sixdof.vehicle.motor import running_impulse

STANDS = {"horizontal": 0.0, "nozzle up": 1.0, "nozzle down": -1.0}  # what the motor's own weight adds to the reading
SOURCES = {
    "calibration": "scale of the load cell",
    "noise": "noise of the readings during the burn",
    "tare": "means of the quiet stretches",
    "drift": "course of the drift between them, which is not known",
    "propellant": "weight of the propellant burnt",
    "sampling": "straight lines between samples, and gaps",
    "time": "clock, and coarseness of its stamps",
}
GUESSED_DRIFT = 0.005  # of the largest thrust either way, where nothing is known of it (this project's guess)
GUESSED_MASS = 0.3  # standard deviation of a propellant mass that the tare tells, over itself (this project's guess)
ROUNDS = 6  # of the burnt share that follows from the thrust that follows from it


class Stand(NamedTuple):
    """weight : of STANDS. propellant, propellant_error : kg, NaN where not given. clock : standard deviation of the clock's rate."""

    weight: float
    propellant: float
    propellant_error: float
    clock: float


class Thrust(NamedTuple):
    """A log's thrust, N, along its samples, with its tare line (in the readings' sense), and its errors, N s, in the order of SOURCES.

    tare_before, tare_after : N, NaN for none. drift : N, what is left of their difference without the weight burnt. propellant : kg as used.
    """

    force: np.ndarray
    tare: np.ndarray
    total: float
    errors: np.ndarray
    tare_before: float
    tare_after: float
    drift: float
    propellant: float
    notes: tuple[str, ...]

    @property
    def error(self) -> float:
        """Return the standard deviation of the impulse, N s."""
        return float(np.sqrt(np.sum(self.errors**2)))


def thrust_of(log: RawLog, force: np.ndarray, parts: Stretches, stand: Stand, calibration: Calibration) -> Thrust:
    """Return the thrust of a log. force : N, as calibrated.

    On a stand that holds the motor upright the cell feels its weight: reading - tare = F + s (m - m0) g, s = 1 nozzle up (the motor presses on the cell),
    -1 nozzle down. Propellant burns with the impulse, as in flight (constant exhaust velocity).
    """
    t, r = log.time, parts.sign * force
    at, level = _rests(t, r, parts)
    propellant, spread, notes = _propellant(stand, level)
    lost = stand.weight * G0 * propellant
    drift = level[1] + lost - level[0] if len(level) == 2 else math.nan
    share = (t - at[0]) / (at[1] - at[0]) if len(level) == 2 else np.zeros(t.size)
    tare = level[0] + share * (drift if len(level) == 2 else 0.0)
    thrust, burnt = _with_weight(t, r - tare, parts, lost)
    inside = parts.burn
    window, total = t[inside], float(running_impulse(t[inside], thrust[inside])[-1])
    if not total > 0.0:
        raise ValueError(f"static_firing: log {log.name}: its impulse is {total:.3g} N s, nothing a motor gives; does the log hold a firing?")
    length = float(t[parts.last] - t[parts.first])
    quiet = [(t[one], straightened(t[one], r[one])) for one in (parts.before, parts.after) if one.stop - one.start > 2]
    density = slow_density(quiet)
    errors = np.array(
        [
            calibration.share * total,
            math.sqrt(density * (window[-1] - window[0])),
            _of_tare(t, parts, share[inside], density),
            length * (abs(drift) / math.sqrt(12.0) if len(level) == 2 else GUESSED_DRIFT * thrust.max() / math.sqrt(3.0)),
            abs(stand.weight) * G0 * spread * abs(float(np.trapezoid(burnt[inside] - share[inside], window))),
            _of_sampling(window, thrust[inside], float(np.mean(quiet[0][1] ** 2))),
            math.hypot(stand.clock * total, _of_stamps(log, thrust[inside])),
        ]
    )
    after = level[1] if len(level) == 2 else math.nan
    return Thrust(thrust, parts.sign * tare, total, errors, parts.sign * level[0], parts.sign * after, drift, propellant, tuple(notes))


def _rests(t: np.ndarray, r: np.ndarray, parts: Stretches) -> tuple[list[float], list[float]]:
    """Return the middle times and the means of the quiet stretches, one or two."""
    there = [one for one in (parts.before, parts.after) if one.stop > one.start]
    return [float(t[one].mean()) for one in there], [float(r[one].mean()) for one in there]


def _propellant(stand: Stand, level: list[float]) -> tuple[float, float, list[str]]:
    """Return the propellant mass for the weight, kg, its standard deviation, and what to say; 0 where it does not matter or is not known."""
    if math.isfinite(stand.propellant):
        return stand.propellant, stand.propellant_error, []
    if stand.weight == 0.0:
        return 0.0, 0.0, []
    told = stand.weight * (level[0] - level[1]) / G0 if len(level) == 2 else 0.0
    if told <= 0.0:
        return 0.0, 0.0, ["the propellant mass is not given, and the tare does not tell it: the weight that burns is left out"]
    return told, GUESSED_MASS * told, [f"the propellant mass is not given: the tare tells {1e3 * told:.0f} g, as if the cell did not drift"]


def _with_weight(t: np.ndarray, bare: np.ndarray, parts: Stretches, lost: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the thrust, N, and the burnt share of the propellant along the samples; lost : N, weight of all propellant in the readings' sense."""
    force = burnt = bare
    for _ in range(ROUNDS):
        running = running_impulse(t[parts.burn], force[parts.burn])
        burnt = np.where(np.arange(t.size) < parts.burn.start, 0.0, 1.0)
        burnt[parts.burn] = np.clip(running / running[-1], 0.0, 1.0)
        force = bare + lost * burnt
    return force, burnt


def _of_tare(t: np.ndarray, parts: Stretches, share: np.ndarray, density: float) -> float:
    """Return the error of the impulse by the means of the quiet stretches, N s; share : of the second one along the burn."""
    window = t[parts.burn]
    variance = 0.0
    for one, weight in ((parts.before, 1.0 - share), (parts.after, share)):
        if one.stop - one.start > 1:
            variance += density / float(t[one.stop - 1] - t[one.start]) * float(np.trapezoid(weight, window)) ** 2
    return math.sqrt(variance)


def _of_sampling(t: np.ndarray, force: np.ndarray, noise: float) -> float:
    """Return the error by straight lines between samples, N s: where the force jumps inside a step is not known (uniform), noise (N^2) set aside."""
    jumps = np.maximum(np.diff(force) ** 2 - 2.0 * noise, 0.0)
    return float(np.sqrt(np.sum(jumps * np.diff(t) ** 2) / 12.0))


def _of_stamps(log: RawLog, force: np.ndarray) -> float:
    """Return the error by stamps rounded to the log's resolution, N s: the impulse is sum F_i (t_{i+1} - t_{i-1})/2, so a stamp weighs half a difference."""
    return log.resolution / math.sqrt(12.0) * float(np.sqrt(np.sum((0.5 * (force[2:] - force[:-2])) ** 2)))
