"""From readings with errors to results with errors: linear, with all correlations, and by drawing.

A measurement is a function of inputs that are independent of each other: readings, lengths, stations, each with its standard deviation. To first order
the covariance of its results is J diag(u^2) J^T, J the derivatives by the inputs: the law of propagation of uncertainty (JCGM 100:2008, GUM, eq. 10 and
appendix F.1.2.3). The same function of drawn inputs shows whether first order is enough (JCGM 101:2008).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from typing import Any, NamedTuple

import numpy as np

DRAWS = 20_000
STEP = 0.01  # of an input's standard deviation: what derivatives are taken over
BY_CHANCE = 0.99  # a scatter of repeated readings beyond this quantile is not by chance

Solve = Callable[[Mapping[str, Any]], dict[str, Any]]


class Input(NamedTuple):
    """A number that a measurement starts from, and its standard deviation."""

    value: float
    sd: float


class Propagated(NamedTuple):
    """Results of a measurement: values (n,), covariance (n, n), share of each input in each variance (n, inputs), standard deviations by drawing (n,)."""

    names: list[str]
    inputs: list[str]
    value: np.ndarray
    covariance: np.ndarray
    budget: np.ndarray
    drawn: np.ndarray

    @property
    def sd(self) -> np.ndarray:
        """Standard deviations (n,), to first order."""
        return np.sqrt(np.diag(self.covariance))


def propagate(solve: Solve, inputs: Mapping[str, Input], draws: int = DRAWS, seed: int = 0) -> Propagated:
    """Return the results of a measurement with their errors. solve : from inputs (floats, or arrays of draws) to results by name."""
    at = {name: one.value for name, one in inputs.items()}
    value = solve(at)
    names, moving = list(value), [name for name, one in inputs.items() if one.sd > 0.0]
    jacobian = np.zeros((len(names), len(moving)))
    for k, name in enumerate(moving):
        step = STEP * inputs[name].sd
        up, down = (solve({**at, name: at[name] + sign * step}) for sign in (1.0, -1.0))
        jacobian[:, k] = [(up[result] - down[result]) / (2.0 * step) for result in names]
    moved = jacobian * np.array([inputs[name].sd for name in moving])
    covariance = moved @ moved.T
    variance = np.diag(covariance)[:, None]
    budget = np.divide(moved**2, variance, out=np.zeros_like(moved), where=variance > 0.0)
    rng = np.random.default_rng(seed)
    drawn = solve({name: rng.normal(one.value, one.sd, draws) if one.sd > 0.0 else one.value for name, one in inputs.items()})
    deviations = np.array([np.std(np.broadcast_to(drawn[result], (draws,))) for result in names])
    return Propagated(names, moving, np.array([float(value[result]) for result in names]), covariance, budget, deviations)


def mean_of(readings: Sequence[float], stated: float, step: float = 0.0) -> Input:
    """Return the mean of repeated readings with its error.

    stated : standard deviation of a single one. step : of the display, whose rounding (uniform, step/sqrt(12), GUM F.2.2.1) all of them may share. Readings
    that scatter by more than chance explains are taken with their own scatter.
    """
    scatter = unexplained(readings, stated, step)
    single = stated if scatter is None else scatter
    return Input(float(np.mean(readings)), math.sqrt(single**2 / len(readings) + step**2 / 12.0))


def unexplained(readings: Sequence[float], stated: float, step: float = 0.0) -> float | None:
    """Return the standard deviation of repeated readings where it is larger than what is stated explains, else None."""
    from scipy.special import chdtri  # a tenth of a second to import

    count = len(readings)
    if count < 2:
        return None
    scatter, known = float(np.std(readings, ddof=1)), math.hypot(stated, step / math.sqrt(12.0))
    return scatter if scatter**2 * (count - 1) > known**2 * chdtri(count - 1, 1.0 - BY_CHANCE) else None
