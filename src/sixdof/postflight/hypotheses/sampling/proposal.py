"""Where to draw the next flights from: a mixture of normals in the few directions of score space that the evidence informs, and a share of the prior.

Scores are independent standard normal before the evidence. What the evidence says nothing of stays so: a proposal moves scores within a subspace and leaves
the prior across it, so that its density over the prior's depends on a few coordinates however many scores there are. A share of every proposal is the prior
itself (a defensive mixture: T. Hesterberg 1995, Weighted average importance sampling and defensive mixture distributions, Technometrics 37), so that no
weight exceeds the likelihood over that share.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.special import logsumexp

DEFENSIVE = 0.15  # share of every proposal that is the prior
INFLATION = 1.2  # of fitted covariances: tails that are too light cost more than those that are too heavy
INFORMED = 0.3  # least slope, in standard deviations of the residual per score, of a direction that is moved along: it narrows the score by 4 %
MOST_BENT = 6  # directions along which residuals may bend
NEWTON_ROUNDS = 12
SPARSE_ROUNDS = 30  # of the widths of slopes
SPARSE_LEAST = 0.3  # a slope whose width explains less than this share of the scatter of one flight is left out
LEAST_VARIANCE = 1e-4  # of a fitted component in any direction, of the prior's 1


class Normal(NamedTuple):
    """One component: its share among the components, mean (k,) and covariance (k, k) of the coordinates in the subspace."""

    share: float
    mean: np.ndarray
    covariance: np.ndarray


class Proposal(NamedTuple):
    """basis (d, k): orthonormal directions; components, whose shares add up to 1. Without components it is the prior."""

    basis: np.ndarray
    components: tuple[Normal, ...]

    def draw(self, count: int, rng: np.random.Generator) -> np.ndarray:
        """Return scores (count, d)."""
        scores = rng.standard_normal((count, self.basis.shape[0]))
        if not self.components:
            return scores
        shares = np.array([DEFENSIVE, *((1.0 - DEFENSIVE) * one.share for one in self.components)])
        numbers = np.searchsorted(np.cumsum(shares), (np.arange(count) + rng.random()) / count * shares.sum())  # shares kept to within a flight
        own = scores @ self.basis
        placed = own.copy()
        for k, one in enumerate(self.components, start=1):
            which = numbers == k
            placed[which] = one.mean + own[which] @ np.linalg.cholesky(one.covariance).T
        return scores + (placed - own) @ self.basis.T

    def log_over_prior(self, scores: np.ndarray) -> np.ndarray:
        """Return the log of this density over the prior's at scores (n, d)."""
        if not self.components:
            return np.zeros(scores.shape[0])
        own = scores @ self.basis
        prior = -0.5 * np.sum(own**2, axis=1)
        logs = [np.full(own.shape[0], np.log(DEFENSIVE))]
        for one in self.components:
            factor = np.linalg.cholesky(one.covariance)
            away = np.linalg.solve(factor, (own - one.mean).T)
            density = -0.5 * np.sum(away**2, axis=0) - np.sum(np.log(np.diag(factor)))
            logs.append(np.log((1.0 - DEFENSIVE) * one.share) + density - prior)
        return logsumexp(np.stack(logs), axis=0)


def prior(columns: int) -> Proposal:
    """Return the proposal that is the prior itself."""
    return Proposal(np.zeros((columns, 0)), ())


# ---------------------------------------------------------------- directions


class Linear(NamedTuple):
    """Residuals as straight lines of the scores: r = offset + slope s, (m,), (m, d), with the covariance of what is left (m, m)."""

    offset: np.ndarray
    slope: np.ndarray
    rest: np.ndarray


def straight_lines(scores: np.ndarray, residuals: np.ndarray, weights: np.ndarray) -> Linear:
    """Fit residuals (n, m) by scores (n, d) with weights (n,), each slope with a width of its own that the flights choose: most scores get none.

    M. E. Tipping 2001, Sparse Bayesian learning and the relevance vector machine, J. Machine Learning Research 1 (equations 16 to 18). Of eighty scores a
    fix feels some eight: a ridge, which shrinks all alike, needs ten times the flights.
    """
    share = weights / weights.sum()
    many = 1.0 / np.sum(share**2)  # flights that the weights are worth
    centre_s, centre_r = share @ scores, share @ residuals
    root = np.sqrt(many * share)[:, None]
    x, y = root * (scores - centre_s), root * (residuals - centre_r)
    gram, product = x.T @ x, x.T @ y
    found = [_sparse(gram, product[:, k], float(y[:, k] @ y[:, k]), many) for k in range(y.shape[1])]
    slope = np.array([one[0] for one in found]).reshape(y.shape[1], scores.shape[1])
    left = y - x @ slope.T
    rest = left.T @ left / many
    wider = np.sqrt(np.array([one[1] for one in found]) / np.maximum(np.diag(rest), 1e-12))  # by the slopes that were fitted
    return Linear(centre_r - slope @ centre_s, slope, rest * np.outer(wider, wider))


def _sparse(gram: np.ndarray, product: np.ndarray, square: float, many: float) -> tuple[np.ndarray, float]:
    """Return slopes (d,) and the variance of what is left, from x'x, x'y and y'y of `many` flights."""
    slope, rest = np.zeros(product.size), max(square / many, 1e-12)
    width = np.full(product.size, rest)  # prior variances of the slopes
    used = np.arange(product.size)
    for _ in range(SPARSE_ROUNDS):
        covariance = np.linalg.inv(gram[np.ix_(used, used)] / rest + np.diag(1.0 / width[used]))
        own = covariance @ product[used] / rest
        known = 1.0 - np.diag(covariance) / width[used]  # how much of each slope the flights tell, 0 to 1
        slope = np.zeros(product.size)
        slope[used] = own
        left = square - 2.0 * own @ product[used] + own @ gram[np.ix_(used, used)] @ own
        rest = max(left, 1e-9 * square, 1e-12) / max(many - known.sum(), 0.1 * many)
        width[used] = np.maximum(own**2, 1e-300) / np.maximum(known, 1e-3)
        used = used[width[used] * np.diag(gram)[used] > SPARSE_LEAST * rest]
        if not used.size:
            return np.zeros(product.size), square / many
    return slope, rest * (1.0 + used.size / many)


def lines_near_best(scores: np.ndarray, residuals: np.ndarray, weights: np.ndarray) -> Linear:
    """Return straight lines that touch residuals, fitted with bends along the directions that matter most, where they and the scores are least together."""
    lines = straight_lines(scores, residuals, weights)
    basis = directions(lines, np.zeros(scores.shape[1]), MOST_BENT)
    first, second = np.triu_indices(basis.shape[1])
    if not first.size:
        return lines
    d = scores.shape[1]
    own = scores @ basis
    fit = straight_lines(np.hstack([scores, own[:, first] * own[:, second]]), residuals, weights)
    bends = np.zeros((fit.slope.shape[0], basis.shape[1], basis.shape[1]))
    bends[:, first, second] += 0.5 * fit.slope[:, d:]
    bends[:, second, first] += 0.5 * fit.slope[:, d:]

    white = _whitening(fit)

    def touching(point: np.ndarray) -> tuple[Linear, float]:
        place = point @ basis
        slope = fit.slope[:, :d] + 2.0 * (bends @ place) @ basis.T
        value = fit.offset + fit.slope[:, :d] @ point + (bends @ place) @ place
        return Linear(value - slope @ point, slope, fit.rest), float(np.sum((white @ value) ** 2) + point @ point)

    point = np.zeros(d)
    found, least = touching(point)
    for _ in range(NEWTON_ROUNDS):
        step = best_point(found) - point
        for _ in range(5):
            tried, square = touching(point + step)
            if square < least:
                point, found, least = point + step, tried, square
                break
            step = 0.5 * step
        else:
            break
    return found


def _error(lines: Linear) -> np.ndarray:
    """Return the covariance of residuals about straight lines: of the evidence's own errors, 1 each, and of what is left of the flights, (m, m)."""
    return np.eye(lines.offset.size) + lines.rest


def _whitening(lines: Linear) -> np.ndarray:
    """Return the matrix that makes errors of residuals independent, of variance 1."""
    return np.linalg.inv(np.linalg.cholesky(_error(lines)))


def best_point(lines: Linear) -> np.ndarray:
    """Return the scores (d,) at which they and what straight lines miss are least together."""
    covariance = lines.slope @ lines.slope.T + _error(lines)
    return -lines.slope.T @ np.linalg.solve(covariance, lines.offset)


def directions(lines: Linear, shift: np.ndarray, most: int) -> np.ndarray:
    """Return an orthonormal basis (d, k), k at most `most`, of the directions that residuals (in standard deviations) tell something of.

    shift : (d,) another direction to keep, zeros for none: where the weighted flights lie, whatever straight lines say.
    """
    scaled = _whitening(lines) @ lines.slope
    rows = np.vstack([scaled, shift[None, :]]) if np.any(shift) else scaled
    if not rows.size:
        return np.zeros((shift.size, 0))
    _, values, vt = np.linalg.svd(rows, full_matrices=False)
    return vt[: min(int(np.sum(values > INFORMED)), most)].T


def least_square(lines: Linear) -> float:
    """Return the least sum of squares of scores and of what residuals are then, were they these straight lines."""
    covariance = lines.slope @ lines.slope.T + _error(lines)
    return float(lines.offset @ np.linalg.solve(covariance, lines.offset))


def solved(lines: Linear, basis: np.ndarray) -> Normal:
    """Return where the scores would lie if residuals were these straight lines: the conjugate normal posterior, within the subspace."""
    white = _whitening(lines)
    scaled, aim = white @ lines.slope @ basis, white @ lines.offset
    covariance = np.linalg.inv(np.eye(basis.shape[1]) + scaled.T @ scaled)
    return Normal(1.0, -covariance @ scaled.T @ aim, _wider(covariance))


def fitted(own: np.ndarray, weights: np.ndarray, most: int) -> list[Normal]:
    """Fit normals to weighted coordinates (n, k), weights adding up to 1: as many as the weights can bear, at most `most`, shrunk to the prior's width.

    Expectation-maximisation from the heaviest points that lie far apart (population Monte Carlo: O. Cappe, A. Guillin, J.-M. Marin & C. P. Robert 2004,
    Population Monte Carlo, J. Comput. Graph. Stat. 13).
    """
    size = 1.0 / np.sum(weights**2)
    count = int(np.clip(size // (6 + 2 * own.shape[1]), 1, most))
    components = [Normal(1.0 / count, mean, _moments(own, weights, size)[1]) for mean in _seeds(own, weights, count)]
    for _ in range(12 if count > 1 else 1):
        belongs = _responsibilities(own, components) * weights[:, None]
        components = [_component(own, column, size) for column in belongs.T if column.sum() > 0.02]
        total = sum(one.share for one in components)
        components = [one._replace(share=one.share / total) for one in components]
    return [one._replace(covariance=_wider(one.covariance)) for one in components]


def _seeds(own: np.ndarray, weights: np.ndarray, count: int) -> list[np.ndarray]:
    if count == 1:
        return [weights @ own]
    chosen = [int(np.argmax(weights))]
    while len(chosen) < count:
        away = np.min([np.sum((own - own[k]) ** 2, axis=1) for k in chosen], axis=0)
        chosen.append(int(np.argmax(weights * away)))
    return [own[k] for k in chosen]


def _responsibilities(own: np.ndarray, components: list[Normal]) -> np.ndarray:
    logs = []
    for one in components:
        factor = np.linalg.cholesky(one.covariance)
        away = np.linalg.solve(factor, (own - one.mean).T)
        logs.append(np.log(one.share) - 0.5 * np.sum(away**2, axis=0) - np.sum(np.log(np.diag(factor))))
    stacked = np.stack(logs, axis=1)
    return np.exp(stacked - logsumexp(stacked, axis=1, keepdims=True))


def _component(own: np.ndarray, column: np.ndarray, size: float) -> Normal:
    share = column.sum()
    mean, covariance = _moments(own, column / share, size * share)
    return Normal(float(share), mean, covariance)


def _moments(own: np.ndarray, weights: np.ndarray, size: float) -> tuple[np.ndarray, np.ndarray]:
    """Return mean and covariance, shrunk towards an even width by as much as few flights leave unknown."""
    mean = weights @ own
    away = own - mean
    covariance = (weights[:, None] * away).T @ away
    k = own.shape[1]
    even = np.eye(k) * max(np.trace(covariance) / max(k, 1), LEAST_VARIANCE)
    kept = size / (size + k + 1.0)
    return mean, kept * covariance + (1.0 - kept) * even + LEAST_VARIANCE * np.eye(k)


def _wider(covariance: np.ndarray) -> np.ndarray:
    return INFLATION * covariance + 1e-6 * np.eye(covariance.shape[0])
