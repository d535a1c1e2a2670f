"""What to look at first: which single cause would explain a log's residual best, beside all that varies from flight to flight anyway.

Deviations of the flights from their mean follow the drawn inputs, d = B'x + e, with x normal(0, 1) (Gaussian, to first order). So the residual of a
further flight has the covariance C = B'B + R, and a cause of pattern a and unknown amount explains it by a gain g = (a'C^-1 d)^2 / (a'C^-1 a) in
-2 log likelihood (the score test; C. R. Rao, 1948, Proc. Camb. Phil. Soc. 44, 50-57), at the amount a'C^-1 d / (a'C^-1 a). Without a cause g is about
chi-square with one degree of freedom. R is what the inputs do not explain, made larger by a factor found on the flights themselves: each is taken for a
log, and its known draws must come out as far off as their errors say.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from sixdof.postflight.compare.patterns import Inputs, Pattern, slopes

LEAST_REST = 0.05  # standard deviation of what the inputs do not explain, over the flights' own, at least: slopes are those of small changes
LEAST_GAIN = 12.0  # of some sixty causes, one of a true model reaches it once in thirty logs
STEPS = 6  # causes, one after the other
WIDE = 1e3  # standard deviations that a cause found may have before a log is seen
FREED = 1e-4  # of a pattern's information: below it a cause found before has taken all of it
ALIKE = 0.9  # correlation of two patterns, beyond which a log does not tell them apart
WIDEST = (1.0, 1e5)  # factor on R


class Cause(NamedTuple):
    """A pattern, how much it explains, at which amount (of an input: standard deviations of its draws) with its own standard error."""

    pattern: Pattern
    gain: float
    amount: float
    error: float
    alike: str  # names of other explanations that this log cannot tell it from
    put: np.ndarray = np.empty(0)  # what it puts into the residual, (cells,)


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
        """Return the causes of a residual (cells,), step by step: the best explanation, then the best of what it leaves, as long as one is beyond chance.

        Amounts are those of the steps together. Where none is beyond chance the best one is told all the same.
        """
        rows = np.array([one.values for one in patterns])
        found: list[Cause] = []
        chosen: list[int] = []
        for _ in range(STEPS):
            weighed = self.weighed(rows)
            size, along = np.einsum("kc,kc->k", weighed, rows), weighed @ residual
            with np.errstate(invalid="ignore", divide="ignore"):
                gain = np.where(size > FREED, along**2 / size, -1.0)
            gain[chosen] = -1.0
            best = int(np.argmax(gain))
            if gain[best] < (LEAST_GAIN if found else 0.0):
                break
            with np.errstate(invalid="ignore", divide="ignore"):
                like = np.abs(weighed[best] @ rows.T) / np.sqrt(size[best] * size)
            alike = [patterns[j].name for j in np.flatnonzero((like > ALIKE) & (gain >= LEAST_GAIN)) if j != best]
            found.append(Cause(patterns[best], float(gain[best]), math.nan, math.nan, "; ".join(alike)))
            chosen.append(best)
            if gain[best] < LEAST_GAIN:
                break
            self._free(_taken(patterns[best]) / np.sqrt(size[best]))
        return self._together(residual, found)

    def _free(self, pattern: np.ndarray) -> None:
        """Take a pattern for one that may have any amount, from here on."""
        self._slopes = np.vstack([self._slopes, WIDE * pattern])
        self._inner = self._posterior()

    def _together(self, residual: np.ndarray, found: list[Cause]) -> list[Cause]:
        """Return causes with their amounts and errors, of all of them together."""
        self._slopes = self._slopes[: len(self.inputs.names)]
        self._inner = self._posterior()
        if not found:
            return found
        rows = np.array([_taken(one.pattern) for one in found])
        weighed = self.weighed(rows)
        covariance = np.linalg.pinv(weighed @ rows.T)
        amounts, errors = covariance @ (weighed @ residual), np.sqrt(np.diag(covariance))
        return [_with_amount(one, float(amount), float(error), row) for one, amount, error, row in zip(found, amounts, errors, rows, strict=True)]


def _taken(pattern: Pattern) -> np.ndarray:
    """Return what a cause takes out of a residual per unit: a scale a share of the log itself, whose flight deviates from the mean as any does."""
    return pattern.values if pattern.of_log is None else pattern.of_log


def _with_amount(cause: Cause, amount: float, error: float, row: np.ndarray) -> Cause:
    """Return a cause with its amount: of a scale s, from the share s/(1 + s) of the log that is too much."""
    put = amount * row
    if cause.pattern.of_log is None:
        return cause._replace(amount=amount, error=error, put=put)
    truth = 1.0 - amount
    return cause._replace(amount=amount / truth, error=error / truth**2, put=put)


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
