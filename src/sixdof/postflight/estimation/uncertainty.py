"""How well parameters are known: covariance with the colour of the residuals, the Cramer-Rao bound, what the data cannot separate."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from sixdof.postflight.estimation.noise import colour_of
from sixdof.postflight.estimation.problem import Block, Prior, inverse
from sixdof.postflight.estimation.solver import Point, information_by_channel

NOTHING = 1e-6  # precision in z of a parameter of which nothing was known before
UNSETTLED = 2.0  # times the standard deviations of a fit that did not converge: a rule of thumb
SEEN = 1e-12  # of the largest eigenvalue of the scaled information: a direction below it is not seen at all


class Known(NamedTuple):
    """What is known of the parameters z after a fit.

    covariance : (n, n), with the colour of the residuals and the step that was left at the end. white : as if they were white, the weights as they are.
    bound : (n,), Cramer-Rao bound with nothing known before of what was asked for, white noise, standard deviations; infinite where the data do not tell.
    directions (asked, asked): rows are unit vectors in z of what was asked for, the least seen first, with the `information` that the data have of each over
    that of the prior: below 1 the prior knows more.
    """

    covariance: np.ndarray
    white: np.ndarray
    bound: np.ndarray
    directions: np.ndarray
    information: np.ndarray


def known_of(
    blocks: Sequence[Block],
    prior: Prior,
    point: Point,
    colour: Sequence[np.ndarray],
    asked: np.ndarray,
    flown: np.ndarray | float = 0.0,
    converged: bool = True,
) -> Known:
    """Return what is known after a fit. asked : (n,) bool, what was asked for; the others are integrated out where directions are told.

    flown : (n, n), covariance of what the flights' own noise moves the estimate by. converged : a fit that is not has standard deviations twice as wide.
    """
    white = inverse(point.information + prior.precision)
    middle = sum_of_products(blocks, point, colour)
    directions, information = directions_of(white, prior, asked)
    left = white @ point.pull  # the step that was left at the end: of rough flights more than nothing
    covariance = white @ (middle + prior.precision) @ white + np.outer(left, left) + flown
    covariance *= 1.0 if converged else UNSETTLED**2
    return Known(0.5 * (covariance + covariance.T), white, bound_of(blocks, point, prior, asked), directions, information)


def sum_of_products(blocks: Sequence[Block], point: Point, colour: Sequence[np.ndarray]) -> np.ndarray:
    """Return the covariance of the pull of the data on the parameters (n, n), from the autocorrelations of the residuals themselves.

    sum_i sum_j S_i' W R(i - j) W S_j with R(k) the residuals' estimated correlations at lag k, between channels too, in place of R(0) at k = 0 alone:
    E. A. Morelli, V. Klein, "Accuracy of Aerodynamic Model Parameters Estimated from Flight Test Data", J. Guidance, Control, and Dynamics 20(1), 1997; that
    white-noise theory promises too much is R. E. Maine, K. W. Iliff, NASA RP-1077, 1981. Lags up to the channels' own correlation count in
    full, those up to twice that less and less (a flat top: D. N. Politis, J. P. Romano, J. Time Series Analysis 16, 1995).
    """
    size = point.pull.size
    found = np.zeros((size, size))
    for block, slopes, weights, noise, own in zip(blocks, point.slopes, point.weights, point.noise, colour, strict=True):
        lag = max(rows_together(slopes.residual[:, c] * weights[:, c]) for c in range(noise.size))
        found[np.ix_(block.places, block.places)] += products_of_block(slopes.residual, weights, slopes.slope, noise, own, lag)
    return found


def products_of_block(residual: np.ndarray, weights: np.ndarray, slope: np.ndarray, noise: np.ndarray, colour: np.ndarray, lag: int) -> np.ndarray:
    """Return the sum of `sum_of_products` for one block, (own, own). lag : rows up to which residuals go together."""
    rows, channels = residual.shape
    there = np.isfinite(residual)
    size = 1 << (2 * rows - 1).bit_length()  # a circle long enough that its ends do not meet
    pulled = np.fft.rfft(slope * (weights / (noise**2 * colour))[:, :, None] * there[:, :, None], size, axis=0)
    seen, present = (np.fft.rfft(each, size, axis=0) for each in (np.where(there, residual * weights, 0.0), there.astype(float)))
    lags = np.minimum(np.arange(size), size - np.arange(size))
    taper = np.clip(2.0 - lags / max(lag, 1), 0.0, 1.0) if lag else (lags == 0).astype(float)
    own = np.fft.irfft(pulled, size, axis=0)
    found = np.zeros((slope.shape[2], slope.shape[2]))
    for a in range(channels):
        for b in range(a + 1):
            products = np.fft.irfft(np.conj(seen[:, a]) * seen[:, b], size)
            pairs = np.round(np.fft.irfft(np.conj(present[:, a]) * present[:, b], size))
            together = taper * np.where(pairs > 0.5, products / np.maximum(pairs, 1.0), 0.0)
            part = own[:, a].T @ np.fft.irfft(np.conj(np.fft.rfft(together, size))[:, None] * pulled[:, b], size, axis=0)
            found += part if a == b else part + part.T
    return _positive(found)


def _positive(matrix: np.ndarray) -> np.ndarray:
    """Return the nearest symmetric matrix without negative eigenvalues: correlations at different rates need not add up to one."""
    values, vectors = np.linalg.eigh(0.5 * (matrix + matrix.T))
    return (vectors * np.maximum(values, 0.0)) @ vectors.T


def rows_together(residual: np.ndarray) -> int:
    """Return the lag in rows up to which the residuals of a channel (rows,) go together."""
    there = np.flatnonzero(np.isfinite(residual))
    _, lag = colour_of(residual)
    return int(np.ceil(lag * np.median(np.diff(there)))) if lag and there.size > 1 else 0


def bound_of(blocks: Sequence[Block], point: Point, prior: Prior, asked: np.ndarray) -> np.ndarray:
    """Return the Cramer-Rao bound as standard deviations (n,): the noise white, nothing known before of what was asked for; infinite where it is not told.

    What was not asked for keeps its prior: without it no log would tell drag from mass.
    """
    size = point.pull.size
    whole = np.zeros((size, size))
    whole[np.ix_(~asked, ~asked)] = prior.precision[np.ix_(~asked, ~asked)]
    for block, slopes, weights, noise in zip(blocks, point.slopes, point.weights, point.noise, strict=True):
        there = (weights > 0.0).astype(float)
        whole[np.ix_(block.places, block.places)] += information_by_channel(slopes, there, noise, np.ones_like(noise)).sum(axis=0)
    scale = np.sqrt(np.diag(whole))
    seen = scale > 0.0
    bound = np.full(size, np.inf)
    if not seen.any():
        return bound
    scaled = whole[np.ix_(seen, seen)] / np.outer(scale[seen], scale[seen])
    values, vectors = np.linalg.eigh(scaled)
    lost = values < SEEN * values[-1]
    spread = np.sum(vectors[:, ~lost] ** 2 / values[~lost], axis=1)
    untold = np.any(np.abs(vectors[:, lost]) > 1e-6, axis=1)
    bound[seen] = np.where(untold, np.inf, np.sqrt(spread) / scale[seen])
    return bound


def directions_of(white: np.ndarray, prior: Prior, asked: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return unit vectors in z of what was asked for, along which data and prior are independent (rows, least seen first), and the data's information.

    The information is that of the data over that of the prior, all that was not asked for integrated out; where nothing was known before, over that of a
    prior one scale wide.
    """
    after = inverse(white[np.ix_(asked, asked)])
    before = inverse(inverse(prior.precision)[np.ix_(asked, asked)])
    reference = before + np.diag(np.where(np.diag(before) < NOTHING, 1.0, 0.0))
    root = np.linalg.cholesky(inverse(reference))
    values, vectors = np.linalg.eigh(root.T @ (after - before) @ root)
    rows = (root @ vectors).T
    rows /= np.linalg.norm(rows, axis=1, keepdims=True)
    return rows * np.sign(rows[np.arange(rows.shape[0]), np.abs(rows).argmax(axis=1)])[:, None], np.maximum(values, 0.0)
