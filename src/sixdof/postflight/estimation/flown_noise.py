"""What the noise of a flight itself (turbulence, sensors of the computer that steers it) moves an estimate by: flown, and put through the gain of the fit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sixdof.postflight.estimation.noise import robust_weights
from sixdof.postflight.estimation.problem import Block
from sixdof.postflight.estimation.solver import Point

SMOOTHED = 5  # rows that the scatter of noisy flights is averaged over: of 16 flights each row's own is known to 18 % only
FLIGHTS = 16  # of each log: a standard deviation of them is known to 18 %


def flown_moves(blocks: Sequence[Block], point: Point, colour: Sequence[np.ndarray], gain: np.ndarray, noisy: Sequence[Sequence[np.ndarray]]) -> np.ndarray:
    """Return by how much each noisy flight moves an estimate, to first order: gain S' W (noisy - quiet), (flights, n) in z.

    The mean square of these moves, about zero, is what a fit of quiet flights cannot know of itself: gusts and errors of the computer's sensors make whole
    stretches of a log different in ways that a parameter may follow, and then leave no residual (sandwich: P. J. Huber, Proc. 5th Berkeley Symposium 1,
    1967; H. White, Econometrica 50, 1982; parametric bootstrap, by one linear solve for each flight: B. Efron, Annals of Statistics 7, 1979).

    blocks : that were fitted, n parameters. point : the estimate, with its slopes S and weights W. colour : samples that are worth one, (channels,) of each
    block. gain : (n, n), the inverse of the whole information, prior and all. noisy : for each block what flights with a noise of their own say in place of
    the log, (rows, channels) each; as many for each block, none where no noise is flown. As in the fit, what is farther than three standard deviations pulls
    no harder than what is there.
    """
    count = max((len(flights) for flights in noisy), default=0)
    pulls = np.zeros((count, gain.shape[0]))
    for block, slopes, noise, own, flights in zip(blocks, point.slopes, point.noise, colour, noisy, strict=True):
        for k, flight in enumerate(flights):
            apart = flight - (block.values - slopes.residual)
            pulled = robust_weights(apart, noise) * np.nan_to_num(apart) / (noise**2 * own)
            pulls[k, block.places] += np.einsum("rc,rci->i", pulled, slopes.slope)
    return pulls @ gain


def mean_square(moves: np.ndarray) -> np.ndarray:
    """Return the covariance that moves (flights, n) add to an estimate's, (n, n); nothing where no noise was flown."""
    return moves.T @ moves / max(len(moves), 1)


def row_scales(quiet: np.ndarray, noisy: Sequence[np.ndarray], error: np.ndarray) -> np.ndarray:
    """Return how many times the error of its channel the standard deviation of each reading is, (rows, channels), 1 or more.

    sqrt(error^2 + scatter^2)/error with the scatter of the noisy flights about the quiet one, smoothed over a few rows. quiet : (rows, channels). noisy : of
    each flight the same. error : (channels,), as the log states it; where it does not, the middle of the scatter over time stands for it.
    """
    if not noisy:
        return np.ones_like(quiet)
    apart = np.stack(noisy) - quiet
    there = np.isfinite(apart)
    square = np.sum(np.where(there, apart, 0.0) ** 2, axis=0) / np.maximum(there.sum(axis=0), 1)
    near = np.lib.stride_tricks.sliding_window_view(np.pad(square, ((SMOOTHED // 2, SMOOTHED // 2), (0, 0)), mode="edge"), SMOOTHED, axis=0)
    square = near.mean(axis=2)
    own = np.where(np.isfinite(error), error, np.sqrt(np.median(square, axis=0)))
    return np.where(own > 0.0, np.sqrt(1.0 + square / np.where(own > 0.0, own, 1.0) ** 2), 1.0)
