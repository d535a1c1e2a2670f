"""Margins of sampled open loops from their exact frequency response: crossings found on a grid, then refined."""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple

import numpy as np

ROUNDS = 40  # of bracketing at most: to rounding
REAL = 1e-6  # share: an imaginary part below this is none
REFINED = 6  # rounds in which the neighbourhood of the closest approach is cut to a quarter


class ResponseMargins(NamedTuple):
    """Margins of loops (n,). NaN where a loop has no such crossing; dB and rad.

    gain_margin_db : by how much the gain may rise. gain_reduction_db : the gain-reduction margin, by how much it may fall (a positive
    number), infinite where nothing limits it. phase_margin, delay_margin : the least of all gain crossings. distance : least |1 + L|;
    disk_margin : 2 min |1 + L|/|1 - L|.
    """

    gain_margin_db: np.ndarray
    phase_crossover: np.ndarray
    gain_reduction_db: np.ndarray
    phase_margin: np.ndarray
    crossover: np.ndarray
    delay_margin: np.ndarray
    distance: np.ndarray
    distance_frequency: np.ndarray
    disk_margin: np.ndarray


def response_margins(response: Callable, frequency: np.ndarray, values: np.ndarray) -> ResponseMargins:
    """Return the margins of loops.

    response(frequency (k,), loop (k,)) -> (k,) complex. frequency : (m,) rad/s, ascending. values : (n, m) the response on that grid.

    Definitions as usual (e.g. K. J. Astrom, R. M. Murray, Feedback Systems, 2008, section 9.3); the disk margin is the symmetric one of
    P. Seiler, A. Packard, P. Gahinet, "An Introduction to Disk Margins", IEEE Control Systems 40(5), 2020, eq. 12 with no skew.
    """
    n = len(values)
    with np.errstate(divide="ignore"):
        size = np.log(np.abs(values))
    loop, omega = _roots(lambda w, k: np.log(np.abs(response(w, k))), frequency, size)
    at = response(omega, loop)
    phase = np.mod(np.angle(at), 2.0 * np.pi)  # 0 .. 2 pi; pi is the critical one
    margin = phase - np.pi
    phase_margin = _least(np.abs(margin), loop, n)
    lag = np.where(margin > 0.0, margin, margin + 2.0 * np.pi)
    delay = _least(lag / omega, loop, n)
    crossover = _most(omega, loop, n)

    loop, omega = _roots(lambda w, k: response(w, k).imag, frequency, values.imag)
    at = response(omega, loop).real
    true = (at < 0.0) & np.isfinite(at)  # a pole between two points of the grid changes the sign as well
    # at half the sampling frequency a sampled loop is real and turns back: there it may meet the critical point without a change of sign
    last = values[:, -1]
    ends = np.flatnonzero((last.real < 0.0) & (np.abs(last.imag) < REAL * np.abs(last.real)))
    loop, omega = np.append(loop[true], ends), np.append(omega[true], np.full(len(ends), frequency[-1]))
    at = -20.0 * np.log10(-np.append(at[true], last.real[ends]))
    gain = _least(np.where(at >= 0.0, at, np.inf), loop, n)
    gain[~np.isfinite(gain)] = np.nan
    where = np.full(n, np.nan)
    for k, w, db in zip(loop, omega, at):
        if db == gain[k]:
            where[k] = w
    less = _least(np.where(at < 0.0, -at, np.inf), loop, n)
    less[np.isnan(less)] = np.inf
    distance, closest = nearest(lambda w, k: np.abs(1.0 + response(w, k)), frequency, np.abs(1.0 + values))
    disk, _ = nearest(lambda w, k: _disk(response(w, k)), frequency, _disk(values))
    return ResponseMargins(gain, where, less, phase_margin, crossover, delay, distance, closest, disk)


def _disk(values: np.ndarray) -> np.ndarray:
    return 2.0 * np.abs(1.0 + values) / np.abs(1.0 - values)


def _roots(function: Callable, frequency: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (loop, frequency) of every change of sign of values (n, m) along the grid, refined (regula falsi, Illinois)."""
    loop, cell = np.nonzero(np.sign(values[:, 1:]) * np.sign(values[:, :-1]) < 0.0)
    low, high = frequency[cell].astype(float), frequency[cell + 1].astype(float)
    f_low, f_high = values[loop, cell].copy(), values[loop, cell + 1].copy()
    x = low
    for _ in range(ROUNDS):
        if not loop.size or (high - low <= 1e-13 * high).all():
            break
        x = (low * f_high - high * f_low) / (f_high - f_low)
        x = np.where((x > low) & (x < high), x, 0.5 * (low + high))
        f = function(x, loop)
        left = np.sign(f) == np.sign(f_low)
        # the end that stays gets half its weight, so that the bracket closes from both sides
        f_low, f_high = np.where(left, f, 0.5 * f_low), np.where(left, 0.5 * f_high, f)
        low, high = np.where(left, x, low), np.where(left, high, x)
        done = f == 0.0
        low, high = np.where(done, x, low), np.where(done, x, high)
    return loop, np.asarray(x, dtype=float)


def nearest(function: Callable, frequency: np.ndarray, values: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return (least value, frequency) of positive functions of frequency, refined about the least on the grid."""
    n, m = values.shape
    k = values.argmin(axis=1)
    low, high = frequency[np.maximum(k - 1, 0)], frequency[np.minimum(k + 1, m - 1)]
    best, where = values[np.arange(n), k], frequency[k].astype(float)
    for _ in range(REFINED):
        grid = low[:, None] + (high - low)[:, None] * np.linspace(0.0, 1.0, 9)
        found = function(grid.ravel(), np.repeat(np.arange(n), 9)).reshape(n, 9)
        j = found.argmin(axis=1)
        better = found[np.arange(n), j] < best
        best = np.where(better, found[np.arange(n), j], best)
        where = np.where(better, grid[np.arange(n), j], where)
        half = (high - low) / 8.0
        low, high = np.maximum(where - half, frequency[0]), np.minimum(where + half, frequency[-1])
    return best, where


def _least(values: np.ndarray, loop: np.ndarray, n: int) -> np.ndarray:
    out = np.full(n, np.inf)
    np.minimum.at(out, loop, values)
    return np.where(np.isfinite(out), out, np.nan)


def _most(values: np.ndarray, loop: np.ndarray, n: int) -> np.ndarray:
    out = np.full(n, -np.inf)
    np.maximum.at(out, loop, values)
    return np.where(np.isfinite(out), out, np.nan)
