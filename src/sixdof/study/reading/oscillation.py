"""The oscillation in a stretch of a log: how often it crosses zero, its frequency and its damping."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

LEAST_SAMPLES = 24  # of a stretch that can tell a frequency
MOST_SAMPLES = 250  # longer stretches are thinned: the fit costs their cube
PENCIL_SHARE = 0.4  # of the samples: the pencil's width (between 1/3 and 1/2 noise matters least, Hua and Sarkar 1990)
CUT = 0.02  # singular values below this share of the largest are noise
MOST_MODES = 12  # sinusoids and decays together
LEAST_EXPLAINED = 0.6  # share of the signal's energy the fit must reproduce to be believed
LEAST_SHARE = 0.2  # of it that the oscillation itself must hold
LEAST_CYCLES = 0.8  # of it in the stretch


class Oscillation(NamedTuple):
    """The strongest oscillation of a signal; NaN where there is none."""

    frequency: float  # damped, Hz
    damping: float  # ratio; negative where it grows
    share: float  # of the signal's energy


NONE = Oscillation(math.nan, math.nan, math.nan)


def reversals(signal: np.ndarray, threshold: float) -> int:
    """Return how often a signal (n,) changes sign, each time passing the threshold on the other side."""
    sides = np.sign(np.where(np.abs(signal) > threshold, signal, 0.0))
    sides = sides[sides != 0.0]
    return int(np.count_nonzero(np.diff(sides)))


def strongest_oscillation(signal: np.ndarray, step: float) -> Oscillation:
    """Return the strongest oscillation of an evenly sampled signal (n,), `step` seconds apart.

    A sum of damped sinusoids is fitted (matrix pencil: Y. Hua, T. K. Sarkar, IEEE Trans. ASSP 38, 1990, eqs. 5-17); the pair of
    poles that holds most of the energy counts. NaN if the stretch is short, the fit poor, or nothing oscillates.
    """
    thin = max(1, -(-signal.size // MOST_SAMPLES))
    y, step = np.asarray(signal, dtype=float)[::thin], step * thin
    if y.size < LEAST_SAMPLES or not np.isfinite(y).all() or not np.any(y):
        return NONE
    y = y / np.abs(y).max()
    poles = _poles(y)
    basis = np.power(poles[None, :], np.arange(y.size)[:, None])
    amplitude = np.linalg.lstsq(basis, y.astype(complex), rcond=None)[0]
    parts = basis * amplitude
    energy = float(y @ y)
    left = y - parts.sum(axis=1).real
    if 1.0 - float(left @ left) / energy < LEAST_EXPLAINED:
        return NONE
    best = NONE
    for k, pole in enumerate(poles):
        log = np.log(pole) / step
        wave = 2.0 * parts[:, k].real
        share = float(wave @ wave) / energy
        frequency = log.imag / (2.0 * math.pi)
        swings = log.imag > 0.0 and share > LEAST_SHARE and frequency * y.size * step > LEAST_CYCLES
        if swings and not best.share > share:
            best = Oscillation(float(frequency), float(-log.real / abs(log)), share)
    return best


def _poles(y: np.ndarray) -> np.ndarray:
    """Return the poles z (one a sample) of the signal."""
    width = int(PENCIL_SHARE * y.size)
    rows = np.lib.stride_tricks.sliding_window_view(y, width + 1)
    _, values, right = np.linalg.svd(rows, full_matrices=False)
    order = min(int(np.count_nonzero(values > CUT * values[0])), MOST_MODES)
    basis = right[:order]
    poles = np.linalg.eigvals(basis[:, 1:] @ np.linalg.pinv(basis[:, :-1]))
    return poles[np.abs(poles) > 1e-6]  # a pole at zero is a single sample
