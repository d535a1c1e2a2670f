"""Stand-ins for flights: numbers that are straight lines of independent standard normal scores, observed with normal errors; all in closed form."""

from __future__ import annotations

import numpy as np
from scipy.stats import multivariate_normal, norm


class Observed:
    """Numbers y observed with independent errors sd; a share `gross` of each is spread evenly over a width instead."""

    def __init__(self, y, sd, gross: float = 0.0, width: float = 200.0):
        self.y, self.sd = np.atleast_1d(np.asarray(y, dtype=float)), np.broadcast_to(np.asarray(sd, dtype=float), np.shape(np.atleast_1d(y)))
        self.gross, self.width = gross, width

    def _each(self, numbers):
        core = norm.logpdf(numbers, self.y, self.sd) + np.log1p(-self.gross)
        return core if self.gross == 0.0 else np.logaddexp(core, np.log(self.gross / self.width))

    def log_likelihood(self, numbers):
        return self._each(numbers).sum(axis=1)

    def residuals(self, numbers):
        return (self.y - numbers) / self.sd

    def doubts(self, numbers):
        if self.gross == 0.0:
            return np.zeros(numbers.shape)
        return np.exp(np.log(self.gross / self.width) - self._each(numbers))


class Line:
    """Flights whose numbers are offset + slope scores; counts how many were flown."""

    def __init__(self, slope, offset=0.0):
        self.slope, self.offset, self.flown = np.atleast_2d(np.asarray(slope, dtype=float)), offset, 0

    @property
    def columns(self) -> int:
        return self.slope.shape[1]

    def __call__(self, scores, first):
        assert first == self.flown
        self.flown += len(scores)
        return self.offset + scores @ self.slope.T

    def log_evidence(self, y, sd) -> float:
        """Return the log density of y: normal, covariance slope slope' + sd^2."""
        y = np.atleast_1d(np.asarray(y, dtype=float))
        sd = np.broadcast_to(np.asarray(sd, dtype=float), y.shape)
        return float(multivariate_normal.logpdf(y, np.broadcast_to(self.offset, y.shape), self.slope @ self.slope.T + np.diag(sd**2)))

    def posterior(self, y, sd) -> tuple[np.ndarray, np.ndarray]:
        """Return mean and covariance of the scores."""
        weight = self.slope.T / np.broadcast_to(np.asarray(sd, dtype=float), np.shape(np.atleast_1d(y))) ** 2
        covariance = np.linalg.inv(np.eye(self.columns) + weight @ self.slope)
        return covariance @ weight @ (np.atleast_1d(y) - self.offset), covariance
