"""The instant of liftoff, with its uncertainty: from specific force, a velocity, a height, or the computer's own notice."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

QUIET = 1.0  # s at the beginning of a log that are taken for rest, at least
FEWEST = 10  # readings of it
PUSH, GAIN = 5.0, 5.0  # m/s^2 of excess, and m/s within a second, that are a launch and no bump
MOVES = 5.0  # m/s up or down that nothing at rest shows
CLIMB = 20.0  # m that a flight reaches at least
FLOOR = 0.05  # s: uncertainty of a liftoff from heights at least, for a thrust that is not constant and a barometer that lags


class Liftoff(NamedTuple):
    """time : s of the log's clock. error : standard deviation, s. by : how it was found, in words."""

    time: float
    error: float
    by: str


def liftoffs(time: np.ndarray, values: dict[str, np.ndarray]) -> list[Liftoff]:
    """Return the liftoff by each reading that shows one, the best first. time : (rows,) s. values : readings in SI."""
    if _moving(time, values):
        return []
    found = []
    if "specific_force" in values:
        found.append(_by_force(time, values["specific_force"]))
    if "velocity" in values:
        found.append(_by_climb(time, values["velocity"][:, 2]))
    for name in ("height", "fix_height"):
        if name in values:
            found.append(_by_height(time, values[name], name))
    if "phase" in values:
        found.append(_by_phase(time, values["phase"]))
    return [one for one in found if one is not None]


def _moving(time: np.ndarray, values: dict[str, np.ndarray]) -> bool:
    """Tell whether the log begins in flight: the height goes up or down at once, or the climb rate is none of rest."""
    rates = [np.median(v[:FEWEST]) for v in [_known(time, values["velocity"][:, 2])[1] if "velocity" in values else time[:0]] if v.size]
    for name in ("height", "fix_height"):
        t, h = _known(time, values[name]) if name in values else (time[:0], time[:0])
        count = max(FEWEST, int(np.searchsorted(t, t[0] + QUIET))) if t.size else 0
        if t.size > count > 0 and np.ptp(t[:count]) > 0.0:
            slope, cover = np.polyfit(t[:count] - t[0], h[:count], 1, cov=True)
            rates.append(slope[0] if abs(slope[0]) > 4.0 * math.sqrt(cover[0, 0]) else 0.0)
    return bool(rates) and max(map(abs, rates)) > MOVES


def _rest(t: np.ndarray, y: np.ndarray) -> tuple[float, float]:
    """Return level and standard deviation of the beginning."""
    count = max(FEWEST, int(np.searchsorted(t, t[0] + QUIET)))
    first = y[:count]
    level = float(np.median(first))
    return level, 1.4826 * float(np.median(np.abs(first - level)))


def _known(time: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    good = np.isfinite(y)
    return time[good], y[good]


def _by_force(time: np.ndarray, force: np.ndarray) -> Liftoff | None:
    """At rest on the rail the specific force is gravity's reaction and stays so until thrust exceeds weight: where it grows is liftoff."""
    seen = np.isfinite(force).any(axis=0)
    t, f = _known(time, np.linalg.norm(force[:, seen], axis=1)) if seen.any() else (time[:0], time[:0])
    if t.size < 2 * FEWEST:
        return None
    level, scatter = _rest(t, f)
    excess = f - level
    ahead = np.searchsorted(t, t + 1.0)
    gained = np.concatenate([[0.0], np.cumsum(0.5 * (excess[1:] + excess[:-1]) * np.diff(t))])
    gain = gained[np.minimum(ahead, t.size - 1)] - gained
    strong = (excess > max(PUSH, 8.0 * scatter)) & (gain > GAIN)
    strong[1:] &= np.append(excess[2:] > PUSH, True) | (np.diff(t) > 0.05)
    if not strong.any():
        return None
    k, quiet = int(np.argmax(strong)), max(0.3, 4.0 * scatter)
    while k > 0 and excess[k] > quiet:
        k -= 1
    if excess[k] > quiet:  # the log begins under thrust
        return None
    step = float(t[k + 1] - t[k])
    slope = max(float(excess[k + 1] - excess[k]) / step, 1e-9)
    error = math.hypot(step / math.sqrt(12.0), scatter / slope)
    return Liftoff(float(t[k] + 0.5 * step), error, "specific force")


def _by_climb(time: np.ndarray, up: np.ndarray) -> Liftoff | None:
    t, v = _known(time, up)
    if t.size < 2 * FEWEST:
        return None
    level, scatter = _rest(t, v)
    k = _first_lasting(t, v - level, max(6.0 * scatter, 3.0), 0.3)
    if k is None or v.max() - level < 2.0 * PUSH:
        return None
    some = np.arange(k, min(k + max(4, int(np.searchsorted(t[k:], t[k] + 0.3))), t.size))
    slope, begin = np.polyfit(t[some] - t[k], v[some] - level, 1)
    if slope <= 0.0:
        return None
    # a receiver's velocity may go in steps, on which a line goes astray: liftoff lies behind the last reading of rest all the same
    quiet = float(t[:k][(v[:k] - level) < max(3.0 * scatter, 0.5)][-1:].max(initial=t[0]))
    step = float(np.median(np.diff(t)))
    start = float(np.clip(t[k] - begin / slope, quiet, t[k]))
    error = max(math.hypot(scatter / slope, step / math.sqrt(12.0)), FLOOR, (t[k] - quiet) / math.sqrt(12.0))
    return Liftoff(start, error, "climb rate")


def _by_height(time: np.ndarray, height: np.ndarray, name: str) -> Liftoff | None:
    """Under a constant acceleration the root of the height goes straight up from liftoff: where that line begins is liftoff."""
    t, h = _known(time, height)
    if t.size < 2 * FEWEST:
        return None
    level, scatter = _rest(t, h)
    rise = h - level
    k = _first_lasting(t, rise, max(6.0 * scatter, 3.0), 0.5)
    if k is None or rise.max() < CLIMB:
        return None
    end = max(k + 4, int(np.searchsorted(t, t[k] + 0.8)))
    some = np.arange(k, min(end, t.size))
    root = np.sqrt(np.maximum(rise[some], 0.0))
    step = float(np.median(np.diff(t)))
    if some.size < 3 or np.ptp(t[some]) == 0.0:
        return Liftoff(float(t[max(k - 1, 0)]), max(step, FLOOR), _words(name))
    slope, begin = np.polyfit(t[some] - t[k], root, 1)
    if slope <= 0.0:
        return None
    left = root - begin - slope * (t[some] - t[k])
    spread = math.sqrt(float(left @ left) / max(some.size - 2, 1)) / slope
    back = max(begin / slope, 0.0)
    error = max(math.hypot(spread * (1.0 + back / max(np.ptp(t[some]), 1e-9)), step / math.sqrt(12.0)), FLOOR)
    return Liftoff(float(t[k] - back), error, _words(name))


def _words(name: str) -> str:
    return "height by the receiver" if name == "fix_height" else "height"


def _first_lasting(t: np.ndarray, y: np.ndarray, level: float, lasting: float) -> int | None:
    """Return where a reading first goes above a level and stays there for so long, s."""
    above = y > level
    for k in np.flatnonzero(above & ~np.concatenate([[False], above[:-1]])):
        end = min(int(np.searchsorted(t, t[k] + lasting)) + 1, t.size)
        if end - k >= 3 and above[k:end].all():
            return int(k) if k > 0 else None
    return None


def _by_phase(time: np.ndarray, phase: np.ndarray) -> Liftoff | None:
    t, p = _known(time, phase)
    moving = np.flatnonzero(p >= 1.0)
    if not moving.size or moving[0] == 0:
        return None
    k = int(moving[0])
    step = float(t[k] - t[k - 1])
    return Liftoff(float(t[k] - 0.5 * step), max(step, FLOOR), "the computer's own notice, which comes later than liftoff")
