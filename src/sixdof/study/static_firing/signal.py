"""Noise of a log and the ringing of its stand; filters without delay that keep the impulse."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.optimize import minimize
from scipy.signal import find_peaks

from sixdof.study.static_firing.log import RawLog
from sixdof.vehicle.motor import running_impulse

FINE = 20.0  # points of the grid a period of the ringing
TAIL = 4.0  # standard deviations of a Gaussian that are kept
LOWPASS = 100.0  # Hz, where nothing is asked for and the log is sampled four times as fast
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
STRIDES = np.array([0.01, 0.4, 0.4, 0.4])  # of the search, in logarithms of frequency, damping, variances: about what each is known to
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
        mean = np.maximum(mean, 1e-9 * self.variance)  # rounding may take it below zero between narrow peaks
        near = np.abs(self.frequency - guess) < BAND * guess
        return float(np.sum(np.log(mean[near]) + self.power[near] / mean[near]))


def _fitted(spectra: Sequence[_Spectrum], guess: float) -> Ringing:
    start = np.log([guess, 0.03, 0.7 * spectra[0].variance, 0.3 * spectra[0].variance])

    def unlikely(x: np.ndarray) -> float:
        own, damping, ringing, white = np.exp(start + STRIDES * x)
        if not (abs(np.log(own / guess)) < 0.3 and damping < 0.9):
            return np.inf
        return sum(one.unlikely(own, damping, ringing, white, guess) for one in spectra)

    corners = np.vstack([np.zeros(4), np.eye(4)])
    found = minimize(unlikely, corners[0], method="Nelder-Mead", options={"initial_simplex": corners, "maxiter": 300, "xatol": 0.05, "fatol": 0.02}).x
    own, damping = np.exp(start + STRIDES * found)[:2]
    if damping > DAMPED:
        return NO_RINGING
    length = max(one.size * one.step for one in spectra)
    return Ringing(float(own), float(damping) if 2.0 * damping * own * length > RESOLVED else np.nan)


# ---------------------------------------------------------------- filters: averages over even grids, with symmetric weights that add up to one


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
