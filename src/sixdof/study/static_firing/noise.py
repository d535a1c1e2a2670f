"""Noise of a quiet stretch: its size, what of it lasts as long as a burn, and the ringing of the stand in its spectrum."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize
from scipy.signal import find_peaks

CLEAR = 12.0  # times the median of the smoothed spectrum, that a peak must stand out
LEAST = 128  # samples of a stretch in which ringing is looked for
LOWEST, HIGHEST = 6.0, 0.42  # periods in the stretch, share of the sampling rate: between them a ringing can be told
DAMPED = 0.3  # damping ratio beyond which a peak is no ringing
ORDINATES = 10  # of a periodogram that tell slow noise
RESOLVED = 0.5  # of the width of one ordinate: a narrower peak has a damping too small to be told
SMOOTH = 5  # ordinates of the spectrum that are averaged as a peak is looked for


class Ringing(NamedTuple):
    """Frequency in Hz, damping ratio, NaN where none is found (the damping alone: where it is too small to be told)."""

    frequency: float
    damping: float


NO_RINGING = Ringing(np.nan, np.nan)
BAND = 0.5  # of the frequency, either way, that a ringing is fitted in


def straightened(time: np.ndarray, force: np.ndarray) -> np.ndarray:
    """Return a quiet stretch without its straight line of least squares."""
    t = time - time.mean()
    return force - force.mean() - t * (t @ force) / (t @ t)


def slow_density(stretches: list[tuple[np.ndarray, np.ndarray]]) -> float:
    """Return the density of noise at low frequencies, N^2 s: the variance of a mean over a time T is that over T, ringing and slow noise seen as they are.

    The mean of the lowest ordinates of the periodograms of quiet stretches, the very lowest left out, for a straight line was taken out of it.
    """
    found = []
    for time, force in stretches:
        power = np.abs(np.fft.rfft(force)) ** 2 * (time[-1] - time[0]) / max(force.size - 1, 1) / force.size
        found += list(power[2 : 2 + ORDINATES])
    return float(np.mean(found)) if found else 0.0


def ringing_of(stretches: Sequence[tuple[np.ndarray, np.ndarray]]) -> Ringing:
    """Return the ringing of quiet stretches (time, force): the clearest peak of the spectrum of the first that has one, fitted in all of them.

    A second-order stand shaken by broad noise has the autocovariance a exp(-zeta w t) (cos w' t + zeta w/w' sin w' t), w' = w sqrt(1 - zeta^2), and white noise
    b on top. Its numbers are those of greatest likelihood by the periodograms' ordinates, exponentially distributed about their mean, in which the stretch's
    length is accounted for (A. M. Sykulski et al., 2019, Biometrika 106, 251-266).
    """
    spectra = [_Spectrum(*one) for one in stretches if one[0].size >= LEAST]
    guesses = [guess for guess in (one.clearest() for one in spectra) if guess > 0.0]
    return _fitted(spectra, guesses[0]) if guesses else NO_RINGING


class _Spectrum:
    """The periodogram of a quiet stretch on even times."""

    def __init__(self, time: np.ndarray, force: np.ndarray):
        self.size, self.step = time.size, float(time[-1] - time[0]) / (time.size - 1)
        series = np.interp(time[0] + self.step * np.arange(time.size), time, force)
        self.variance = float(series.var())
        self.power = np.abs(np.fft.rfft(series - series.mean())) ** 2 / time.size
        self.frequency = np.fft.rfftfreq(time.size, self.step)

    def clearest(self) -> float:
        """Return the frequency of the clearest peak, Hz, 0 for none."""
        length = self.size * self.step
        usable = (self.frequency > LOWEST / length) & (self.frequency < HIGHEST / self.step)
        smooth = np.convolve(self.power[usable], np.ones(SMOOTH) / SMOOTH, mode="same")
        if smooth.size < 4 * SMOOTH or not smooth.any():
            return 0.0
        peaks, _ = find_peaks(smooth, height=CLEAR * np.median(smooth))
        return float(self.frequency[usable][peaks[np.argmax(smooth[peaks])]]) if peaks.size else 0.0

    def unlikely(self, own: float, damping: float, ringing: float, white: float, guess: float) -> float:
        """Return minus the logarithm of the likelihood of a ringing (Hz, damping ratio, variance) in white noise (variance), by ordinates near `guess`, Hz."""
        lag = self.step * np.arange(self.size)
        w = 2.0 * np.pi * own
        damped = w * np.sqrt(1.0 - damping**2)
        covariance = ringing * np.exp(-damping * w * lag) * (np.cos(damped * lag) + damping * w / damped * np.sin(damped * lag))
        covariance *= 1.0 - np.arange(self.size) / self.size
        mean = 2.0 * np.fft.rfft(covariance).real - covariance[0] + white
        near = np.abs(self.frequency - guess) < BAND * guess
        return float(np.sum(np.log(mean[near]) + self.power[near] / mean[near]))


def _fitted(spectra: Sequence[_Spectrum], guess: float) -> Ringing:
    def unlikely(x: np.ndarray) -> float:
        own, damping, ringing, white = np.exp(x)
        if not (abs(np.log(own / guess)) < 0.3 and damping < 0.9):
            return np.inf
        return sum(one.unlikely(own, damping, ringing, white, guess) for one in spectra)

    variance = spectra[0].variance
    start = np.log([guess, 0.03, 0.7 * variance, 0.3 * variance])
    own, damping = np.exp(minimize(unlikely, start, method="Nelder-Mead", options={"maxiter": 400, "xatol": 1e-3, "fatol": 1e-3}).x)[:2]
    if damping > DAMPED:
        return NO_RINGING
    length = max(one.size * one.step for one in spectra)
    return Ringing(float(own), float(damping) if 2.0 * damping * own * length > RESOLVED else np.nan)
