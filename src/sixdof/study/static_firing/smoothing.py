"""Filters without delay that keep the impulse: averages over even grids, with symmetric weights that add up to one."""

from __future__ import annotations

import math

import numpy as np

from sixdof.study.static_firing.log import RawLog
from sixdof.vehicle.motor import running_impulse

FINE = 20.0  # points of the grid a period of the ringing
TAIL = 4.0  # standard deviations of a Gaussian that are kept
LOWPASS = 100.0  # Hz, where nothing is asked for and the log is sampled four times as fast


def cell_means(time: np.ndarray, force: np.ndarray, edges: np.ndarray) -> np.ndarray:
    """Return the means (m - 1,) between edges (m,) of straight lines through (time, force), zero outside of them: their impulse is kept exactly."""
    running = running_impulse(time, force)
    inside = np.clip(edges, time[0], time[-1])
    k = np.clip(np.searchsorted(time, inside, side="right") - 1, 0, time.size - 2)
    past = inside - time[k]
    slope = (force[k + 1] - force[k]) / (time[k + 1] - time[k])
    return np.diff(running[k] + past * (force[k] + 0.5 * slope * past)) / np.diff(edges)


def kernel(step: float, notch: float, lowpass: float) -> np.ndarray:
    """Return symmetric weights, adding up to one, on a grid of step s: what is averaged for each point.

    notch : Hz, the mean over one period of it, whose gain is sin(pi f/notch)/(pi f/notch): nothing passes at the notch and its multiples. lowpass : Hz, at
    which a Gaussian passes half of the power. 0 leaves either out.
    """
    weights = np.ones(1)
    if notch > 0.0:
        half = 0.5 / (notch * step)  # cells on either side of the middle one's centre, the last of them in part
        whole = math.floor(half - 0.5) if half > 0.5 else 0
        box = np.ones(2 * whole + 3)
        box[[0, -1]] = max(half - 0.5 - whole, 0.0)
        weights = box / box.sum()
    if lowpass > 0.0:
        sd = math.sqrt(math.log(2.0)) / (2.0 * math.pi * lowpass)
        reach = math.ceil(TAIL * sd / step)
        bell = np.exp(-0.5 * (np.arange(-reach, reach + 1) * step / sd) ** 2)
        weights = np.convolve(weights, bell / bell.sum())
    return weights


def grid_step(log: RawLog, notch: float) -> float:
    """Return the step of the even grid, s: the samples', or finer where a period of the ringing needs it."""
    return min(log.step, 1.0 / (FINE * notch)) if notch > 0.0 else log.step


def usual_lowpass(log: RawLog) -> float:
    """Return the low-pass where none is asked for, Hz; 0 where the log is too coarse for one."""
    return LOWPASS if log.step <= 0.25 / LOWPASS else 0.0


def filtered(time: np.ndarray, force: np.ndarray, step: float, weights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the centres of an even grid, s, and the filtered force on it, N; its sum times the step is the impulse of what came in."""
    reach = len(weights) // 2
    cells = math.ceil((time[-1] - time[0]) / step) + 2 * reach
    edges = time[0] + step * (np.arange(cells + 1) - reach)
    smooth = np.convolve(cell_means(time, force, edges), weights, mode="same")
    return 0.5 * (edges[1:] + edges[:-1]), smooth
