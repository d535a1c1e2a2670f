"""What to look at first: which single cause would explain a log's residual best, beside all that varies from flight to flight anyway.

Deviations of the flights from their mean follow the drawn inputs, d = B'x + e, with x normal(0, 1) (Gaussian, to first order). So the residual of a
further flight has the covariance C = B'B + R, and a cause of pattern a and unknown amount explains it by a gain g = (a'C^-1 d)^2 / (a'C^-1 a) in
-2 log likelihood (the score test; C. R. Rao, 1948, Proc. Camb. Phil. Soc. 44, 50-57), at the amount a'C^-1 d / (a'C^-1 a). Without a cause g is about
chi-square with one degree of freedom. R is what the inputs do not explain, made larger by a factor found on the flights themselves: each is taken for a
log, and its known draws must come out as far off as their errors say.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from sixdof.postflight.compare.patterns import Inputs, Pattern, slopes

LEAST_REST = 0.2  # standard deviation of what the inputs do not explain, over the flights' own, at least: slopes are those of small changes
LEAST_GAIN = 12.0  # of some sixty causes, one of a true model reaches it once in thirty logs
ALIKE = 0.9  # correlation of two patterns, beyond which a log does not tell them apart
WIDEST = (1.0, 1e5)  # factor on R


class Cause(NamedTuple):
    """A pattern, how much it explains, at which amount (of an input: standard deviations of its draws) with its own standard error."""

    pattern: Pattern
    gain: float
    amount: float
    error: float
    alike: str  # names of better explanations that this log cannot tell it from


class Explainer:
    """Explains residuals by the flights' own draws. d (flights, cells): their deviations over their spread."""

    def __init__(self, inputs: Inputs, d: np.ndarray):
        self.inputs = inputs
        self._slopes = slopes(inputs.x, d) if inputs.names else np.empty((0, d.shape[1]))
        rest = d - inputs.x @ self._slopes
        self._rest = np.maximum((rest * rest).sum(axis=0) / max(len(d) - 1 - len(inputs.names) // 2, 1), LEAST_REST**2)
        self._weight = 1.0 / (self._rest * _widened(inputs.x, d))
        self._inner = self._posterior()

    def _posterior(self) -> np.ndarray:
        """Return the covariance of the inputs after a log was seen, (columns, columns); before, it is 1."""
        return np.linalg.inv((self._slopes * self._weight) @ self._slopes.T + np.eye(len(self._slopes)))

    def told(self) -> np.ndarray:
        """Return what a log leaves of the standard deviation of every input, (columns,): 1 where it says nothing of it."""
        return np.sqrt(np.diag(self._inner))

    def input_patterns(self) -> list[Pattern]:
        return [Pattern("input", name, "sd", row) for name, row in zip(self.inputs.names, self._slopes, strict=True)]

    def weighed(self, v: np.ndarray) -> np.ndarray:
        """Return C^-1 v of cells (cells,) or (rows, cells)."""
        scaled = v * self._weight
        return scaled - (scaled @ self._slopes.T @ self._inner @ self._slopes) * self._weight

    def causes(self, residual: np.ndarray, patterns: list[Pattern]) -> list[Cause]:
        """Return what each pattern explains of a residual (cells,), the most first."""
        rows = np.array([one.values for one in patterns])
        weighed = self.weighed(rows)
        size, along = np.einsum("kc,kc->k", weighed, rows), weighed @ residual
        with np.errstate(invalid="ignore", divide="ignore"):
            gain, amount, error = along**2 / size, along / size, 1.0 / np.sqrt(size)
        order = [k for k in np.argsort(-np.where(np.isfinite(gain), gain, -1.0)) if np.isfinite(gain[k])]
        found: list[Cause] = []
        for place, k in enumerate(order):
            better = [j for j in order[:place] if abs(weighed[k] @ rows[j]) > ALIKE * np.sqrt(size[k] * size[j])]
            found.append(Cause(patterns[k], float(gain[k]), float(amount[k]), float(error[k]), "; ".join(patterns[j].name for j in better)))
        return found


def _widened(x: np.ndarray, d: np.ndarray) -> float:
    """Return the factor on R with which draws of flights that had no part in the slopes come out as sure as is said of them."""
    half = len(d) // 2
    if not x.shape[1] or half < 8:
        return 1.0
    order = np.argsort(np.arange(len(d)) % 2, kind="stable")
    fitted, tried = order[: len(d) - half], order[len(d) - half :]
    b = slopes(x[fitted], d[fitted])
    rest = np.maximum(((d[tried] - x[tried] @ b) ** 2).mean(axis=0), LEAST_REST**2)

    def too_sure(log_factor: float) -> float:
        weight = 1.0 / (rest * np.exp(log_factor))
        covariance = np.linalg.inv((b * weight) @ b.T + np.eye(len(b)))
        guess = (d[tried] * weight) @ b.T @ covariance
        return float(np.mean((guess - x[tried]) ** 2 / np.diag(covariance))) - 1.0

    low, high = np.log(WIDEST)
    if too_sure(low) <= 0.0:
        return WIDEST[0]
    return float(np.exp(brentq(too_sure, low, high, xtol=0.01))) if too_sure(high) < 0.0 else WIDEST[1]


def implausible(cause: Cause) -> float:
    """Return the probability that a draw lies as far out as an input would have to, both sides (normal draws); NaN for other causes."""
    return float(2.0 * ndtr(-abs(cause.amount))) if cause.pattern.kind == "input" else np.nan
