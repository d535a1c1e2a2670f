"""The noise of logs: its size by maximum likelihood, its colour, and weights that outliers cannot bend."""

from __future__ import annotations

import numpy as np

from sixdof.postflight.estimation.problem import Block, Slopes

HUBER = 3.0  # standard deviations: a residual beyond pulls no harder than one there (P. J. Huber, "Robust Estimation of a Location Parameter", 1964)
SURE = 3.0  # standard errors by which residuals must exceed the known error before the excess is taken for noise of the model
FEWEST = 8  # samples of a channel, below which its colour is not asked for
LEAST = 1e-12  # times a channel's largest reading: noise below it is the rounding of the log


def robust_weights(residual: np.ndarray, noise: np.ndarray) -> np.ndarray:
    """Return the weight of each residual (rows, channels), 1 within HUBER standard deviations and falling as 1/|residual| beyond; 0 where there is none."""
    size = np.abs(np.nan_to_num(residual)) / np.maximum(noise, 1e-300)
    return np.where(np.isfinite(residual), np.minimum(1.0, HUBER / np.maximum(size, HUBER)), 0.0)


def noise_of(block: Block, slopes: Slopes, weights: np.ndarray, taken: np.ndarray, colour: np.ndarray) -> np.ndarray:
    """Return the standard deviation of the residuals of each channel, (channels,).

    An unknown one is that of maximum likelihood, mean square residual by channel, iterated with the parameters (R. E. Maine, K. W. Iliff, "Application of
    Parameter Estimation to Aircraft Stability and Control: The Output-Error Approach", NASA RP-1168, 1986), with the parameters that the channel itself
    determines, `taken` (channels,), off its count. A known one holds unless the residuals are larger by more than chance: what is over is noise of the
    model (turbulence, what no parameter stands for) and counts as noise.

    With robust weights the residuals beyond HUBER count as if they were there (Huber's second proposal, 1964).

    colour : (channels,), how many samples are worth one independent one.
    """
    count = weights_count(slopes)
    square = np.nansum((weights * slopes.residual) ** 2, axis=0) / np.maximum(count - np.minimum(taken, count - 1.0), 1.0)
    floor = LEAST * np.maximum(np.nanmax(np.abs(np.where(np.isfinite(block.values), block.values, 0.0)), axis=0), 1e-300)
    found = np.sqrt(np.maximum(square, floor**2))
    known = np.isfinite(block.error)
    limit = block.error * np.sqrt(1.0 + SURE * np.sqrt(2.0 * colour / np.maximum(count, 1.0)))
    return np.where(known & ~(found > limit), np.where(known, block.error, found), found)


def middle_size(residual: np.ndarray) -> np.ndarray:
    """Return the standard deviation of each channel by its median absolute residual, (channels,), which half of the readings cannot bend; 0 where all fit."""
    return 1.4826 * np.array([np.median(np.abs(own[np.isfinite(own)])) if np.isfinite(own).any() else 0.0 for own in residual.T])


def weights_count(slopes: Slopes) -> np.ndarray:
    """Return how many residuals each channel has, (channels,)."""
    return np.isfinite(slopes.residual).sum(axis=0).astype(float)


def colour_of(residual: np.ndarray) -> tuple[float, int]:
    """Return how many samples of one channel are worth one independent one, and the lag in samples up to which they go together.

    1 + 2 sum rho(k), the spectrum of the residuals at its low end over that of white noise of the same size, up to the first lag whose autocorrelation is no
    larger than chance (2/sqrt(n)): white residuals give 1. Samples are counted one by one, gaps between them are not seen.
    """
    own = residual[np.isfinite(residual)]
    if own.size < FEWEST:
        return 1.0, 0
    rho = autocorrelation(own)
    small = np.flatnonzero(rho[1:] < 2.0 / np.sqrt(own.size))
    last = int(small[0]) if small.size else rho.size - 1
    return float(max(1.0, 1.0 + 2.0 * rho[1 : last + 1].sum())), last


def autocorrelation(values: np.ndarray) -> np.ndarray:
    """Return the autocorrelation about zero of values (n,) at lags 0 .. n/2, biased towards zero at long lags so that no spectrum becomes negative."""
    size = values.size
    padded = np.fft.rfft(values, 2 * size)
    found = np.fft.irfft(np.abs(padded) ** 2, 2 * size)[: size // 2 + 1]
    return found / found[0] if found[0] > 0.0 else np.eye(1, size // 2 + 1)[0]


def whiteness(residual: np.ndarray, lags: int = 10) -> float:
    """Return the probability that white residuals (n,) go together as much as these over the first lags (G. M. Ljung, G. E. P. Box, Biometrika 65, 1978)."""
    from scipy.stats import chi2

    own = residual[np.isfinite(residual)]
    lags = min(lags, own.size // 4)
    if lags < 1:
        return float("nan")
    rho = autocorrelation(own)[1 : lags + 1]
    statistic = own.size * (own.size + 2.0) * np.sum(rho**2 / (own.size - np.arange(1, lags + 1)))
    return float(chi2.sf(statistic, lags))
