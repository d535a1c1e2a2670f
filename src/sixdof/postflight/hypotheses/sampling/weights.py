"""Importance weights: how many flights they are worth, what they say of the evidence, and how sure that is.

A flight's weight is its likelihood times prior density over the density it was drawn with. Of several rounds, each drawn in its own way, the density is that of
all rounds together, as if every flight had been drawn from their mixture (the balance heuristic: E. Veach & L. J. Guibas 1995, Optimally combining sampling
techniques for Monte Carlo rendering, SIGGRAPH; A. Owen & Y. Zhou 2000, Safe and effective importance sampling, JASA 95): no round can spoil the others.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.special import logsumexp


class Mean(NamedTuple):
    """The mean of what is at least 0, as a logarithm, with its relative standard error (infinite where nothing is above 0)."""

    log: float
    relative_error: float


def normalised(log_weights: np.ndarray) -> np.ndarray:
    """Return weights (n,) that add up to 1 from their logarithms; equal ones where all are -inf."""
    top = np.max(log_weights, initial=-np.inf)
    if not np.isfinite(top):
        return np.full(log_weights.shape, 1.0 / max(log_weights.size, 1))
    weights = np.exp(log_weights - top)
    return weights / weights.sum()


def effective_size(log_weights: np.ndarray) -> float:
    """Return the effective sample size (sum w)^2 / sum w^2 of weights given by their logarithms; 0 where all are -inf.

    A. Kong 1992, A note on importance sampling using standardized weights, University of Chicago, technical report 348.
    """
    if not np.isfinite(np.max(log_weights, initial=-np.inf)):
        return 0.0
    weights = normalised(log_weights)
    return float(1.0 / np.sum(weights**2))


def mean_of(log_values: np.ndarray, rounds: np.ndarray | None = None) -> Mean:
    """Return the mean of values given by their logarithms (n,), with its relative error.

    rounds : (n,) whole numbers: flights of the same round scatter about a mean of their own, so only their scatter within rounds counts.
    """
    top = np.max(log_values, initial=-np.inf)
    if not np.isfinite(top):
        return Mean(-np.inf, np.inf)
    values = np.exp(log_values - top)
    own = np.zeros(values.size, dtype=int) if rounds is None else rounds
    variance = 0.0
    for number in np.unique(own):
        some = values[own == number]
        variance += some.size * (np.var(some, ddof=1) if some.size > 1 else some.item() ** 2)
    mean = values.mean()
    return Mean(float(top + np.log(mean)), float(np.sqrt(variance) / values.size / mean))


def pooled_log_ratio(log_densities: Sequence[np.ndarray], counts: Sequence[int]) -> np.ndarray:
    """Return the log of prior over mixture density, (n,).

    log_densities : for each round that of its proposal over the prior, at all flights (n,). counts : flights drawn in each round.
    """
    shares = np.log(np.asarray(counts, dtype=float) / np.sum(counts))
    return -logsumexp(np.stack(log_densities) + shares[:, None], axis=0)


def probabilities(priors: np.ndarray, means: Sequence[Mean]) -> tuple[np.ndarray, np.ndarray]:
    """Return probabilities (k,) that are prior times mean likelihood, normalised, and their Monte Carlo standard errors.

    The errors follow from those of the means by the delta method: p_k (1 - p_k) d log z_k - p_k sum over the others of p_j d log z_j.
    """
    logs = np.log(priors) + np.array([mean.log for mean in means])
    p = normalised(logs)
    relative = np.array([mean.relative_error for mean in means])
    relative = np.where(np.isfinite(relative), relative, 0.0)  # of what is impossible in all flights: told by its effective size of 0
    spread = (p * relative) ** 2
    return p, np.sqrt(p**2 * np.maximum(spread.sum() - spread + ((1.0 - p) * relative) ** 2, 0.0))
