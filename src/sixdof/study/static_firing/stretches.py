"""Where a log is quiet, where it burns, and where an ejection charge fired."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.study.static_firing.log import RawLog
from sixdof.vehicle.motor import BURN_SHARE

QUIET = 10  # samples that a quiet stretch needs
FIRST = 0.03  # share of the log's samples whose median is the first guess of its zero
LEVEL = 3.0  # standard deviations of the smoothed noise within which thrust is none
LARGEST_DRIFT = 0.15  # of the largest thrust: a log that ends higher ends in the burn
SPIKE = 12.0  # standard deviations of an ejection charge
AVERAGED = 5  # samples
REST = 0.1  # of the burn, that passes between thrust and a quiet stretch
JOINED = 0.5  # of the longer run, s: runs of thrust no farther apart are one burn


class Stretches(NamedTuple):
    """Slices of a log. before, after : quiet, `after` may be empty. burn : whole thrust between them. first, last : samples at 5 % of the largest.

    ejection : s, NaN for none. sign : -1 where thrust pulls the readings down. noise : N or counts. notes : what to know.
    """

    before: slice
    after: slice
    burn: slice
    first: int
    last: int
    ejection: float
    sign: float
    noise: float
    notes: tuple[str, ...]


def stretches_of(log: RawLog, force: np.ndarray) -> Stretches:
    """Return the parts of a log. force : N, tare and sign as they are.

    Raises ValueError, in one sentence, for a log without thrust, and one with too little before or during the burn.
    """
    zero = float(np.median(force[: max(QUIET, int(FIRST * force.size))]))
    sign = -1.0 if zero - force.min() > force.max() - zero else 1.0
    risen = sign * (force - zero)
    first, last, others = _main_run(log, _steady(risen - _leaning(log, risen)))
    if last >= force.size - 3:
        raise ValueError(f"static_firing: log {log.name}: it ends (or begins) in the burn; a log needs the motor at rest before ignition and after burnout")
    noise, start = _ignition(log, risen, first)
    notes = ["thrust pulls the readings down: their sign is turned"] if sign < 0.0 else []
    end, ejection = _quiet_after(log, risen, first, last, noise)
    stop = int(np.searchsorted(log.time, ejection - 0.02)) if np.isfinite(ejection) else force.size
    after = slice(end, max(stop, end))
    if after.stop - after.start < QUIET:
        after = slice(end, end)
        notes.append("the log ends (or an ejection charge fires) before the readings rest: the drift of the tare is not known, only guessed")
    if others:
        notes.append(f"{others} shorter rise{'s' if others > 1 else ''} of the readings outside the burn (igniter, knocks, ejection) left out")
    rest = max(AVERAGED, int(REST * (last - first)))
    before = slice(0, max(start - rest, QUIET))
    return Stretches(before, after, slice(before.stop - 1, end + 1), first, last, ejection, sign, noise, tuple(notes))


def _leaning(log: RawLog, risen: np.ndarray) -> np.ndarray:
    """Return a straight line from no load at the log's beginning to its end, where that rests higher (or lower) by no more than a drift may be."""
    end = float(np.median(risen[-max(QUIET, int(FIRST * risen.size)) :]))
    if abs(end) > LARGEST_DRIFT * risen.max():
        return np.zeros(risen.size)
    return end * (log.time - log.time[0]) / (log.time[-1] - log.time[0])


def _steady(values: np.ndarray) -> np.ndarray:
    """Return running medians of five: a single wild sample is none."""
    padded = np.pad(values, 2, mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)


def _main_run(log: RawLog, steady: np.ndarray) -> tuple[int, int, int]:
    """Return first and last sample at 5 % of the largest thrust of the run with the greatest impulse, and how many other runs there are."""
    noise = float(np.median(np.abs(np.diff(steady)))) / 0.6745  # neighbours share four of five samples: half of the steady values' own, or more
    above = np.flatnonzero(steady >= max(BURN_SHARE * steady.max(), 2.0 * LEVEL * noise))
    if not steady.max() > 0.0 or above.size < 5:
        raise ValueError(f"static_firing: log {log.name}: there is no thrust in it, or no more than four samples of it")
    cuts = np.flatnonzero(np.diff(above) > 1)
    runs = [[int(above[i]), int(above[j])] for i, j in zip(np.append(0, cuts + 1), np.append(cuts, above.size - 1), strict=True)]
    joined = [runs[0]]
    for run in runs[1:]:
        longer = max(log.time[joined[-1][1]] - log.time[joined[-1][0]], log.time[run[1]] - log.time[run[0]])
        if log.time[run[0]] - log.time[joined[-1][1]] <= JOINED * longer:
            joined[-1][1] = run[1]
        else:
            joined.append(run)
    worth = [np.trapezoid(steady[i : j + 1], log.time[i : j + 1]) + steady[i] * log.step for i, j in joined]
    first, last = joined[int(np.argmax(worth))]
    if last - first < 8:
        raise ValueError(
            f"static_firing: log {log.name}: {last - first + 1} samples in the burn are too few; sample faster than {12.0 / _length(log, first, last):.0f} Hz"
        )
    return first, last, len(joined) - 1


def _length(log: RawLog, first: int, last: int) -> float:
    return float(log.time[last] - log.time[first])


def _ignition(log: RawLog, risen: np.ndarray, first: int) -> tuple[float, int]:
    """Return the noise before ignition and the sample at which thrust leaves it."""
    early = risen[: max(int(0.9 * first), 0)]
    if early.size < QUIET:
        raise ValueError(f"static_firing: log {log.name}: {early.size} samples before ignition are too few for a tare; start the log half a second earlier")
    middle = np.median(early)
    noise = float(1.4826 * np.median(np.abs(early - middle))) or float(early.std())
    smooth = np.convolve(risen - middle, np.ones(AVERAGED) / AVERAGED, mode="same")
    quiet = np.flatnonzero(smooth[:first] <= LEVEL * noise / np.sqrt(AVERAGED) + 1e-3 * (risen.max() - middle))
    return noise, int(quiet[-1]) if quiet.size else first


def _quiet_after(log: RawLog, risen: np.ndarray, first: int, last: int, noise: float) -> tuple[int, float]:
    """Return the first sample at rest after the burn, and the time of an ejection charge, NaN for none."""
    smooth = np.convolve(risen, np.ones(AVERAGED) / AVERAGED, mode="same")
    rest = last + max(AVERAGED, int(REST * (last - first)))
    ejection, stop = np.nan, risen.size
    level = float(np.median(risen[last + (risen.size - last) // 2 :])) if risen.size - last > 2 * QUIET else 0.0
    calm = np.flatnonzero(np.abs(smooth[rest:] - level) <= LEVEL * noise + 1e-3 * risen.max())
    if not calm.size:
        return risen.size - 1, ejection
    end = rest + int(calm[0])
    wild = end + np.flatnonzero(np.abs(risen[end:stop] - level) > SPIKE * noise + 0.02 * risen.max())
    if wild.size and log.time[wild[0]] - log.time[last] > 0.2:
        ejection = float(log.time[wild[0]])
    return min(end + max(AVERAGED, int(REST * (last - first))), risen.size - 1), ejection
