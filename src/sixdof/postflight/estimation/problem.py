"""What a fit is asked: logs as blocks of numbers, parameters measured in spreads of their prior, a model that predicts the logs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

NEAR = 9  # rows over which the roughness of slopes is taken


class Block(NamedTuple):
    """One log: what was measured, and which parameters its flight has.

    values : (rows, channels), NaN where nothing was measured. error : (channels,), the known standard deviation of a reading, NaN where it is estimated.
    places : numbers of its parameters in the whole vector.
    """

    name: str
    values: np.ndarray
    error: np.ndarray
    places: np.ndarray


class Prior(NamedTuple):
    """What is known before: parameters are z = (value - mean)/scale with the density exp(-z precision z/2), cut at low and high (both of z).

    precision : (n, n); a row of zeros where nothing is known of a parameter.
    """

    precision: np.ndarray
    low: np.ndarray
    high: np.ndarray


# a question: number of the block, and the whole vector z that its flight is flown with; the answers: (rows, channels) for each
Asked = tuple[int, np.ndarray]
Model = Callable[[Sequence[Asked]], list[np.ndarray]]


class Slopes(NamedTuple):
    """Residuals and slopes of one block at a point: residual (rows, channels), NaN where either side has nothing; slope (rows, channels, own parameters)."""

    residual: np.ndarray
    slope: np.ndarray


def slopes_at(model: Model, blocks: Sequence[Block], prior: Prior, z: np.ndarray, step: float | np.ndarray) -> list[Slopes]:
    """Return residuals and slopes of all blocks at z: central differences over `step` either way (one-sided at a cut), all flights asked for at once.

    step : in z, one for all or (n,).
    """
    steps = np.broadcast_to(step, z.shape)
    asked: list[Asked] = []
    for number, block in enumerate(blocks):
        asked.append((number, z))
        for place in block.places:
            asked += [(number, moved(z, place, -steps[place], prior)), (number, moved(z, place, steps[place], prior))]
    answers = iter(model(asked))
    found = []
    for block in blocks:
        base = next(answers)
        slope = np.empty((*base.shape, block.places.size))
        for k, place in enumerate(block.places):
            below, above = next(answers), next(answers)
            distance = moved(z, place, steps[place], prior)[place] - moved(z, place, -steps[place], prior)[place]
            bend = above + below - 2.0 * base
            slope[:, :, k] = sure_of((above - below) / distance, bend / distance)
        residual = block.values - base
        residual[~np.isfinite(slope).all(axis=2)] = np.nan
        found.append(Slopes(residual, np.where(np.isfinite(residual)[:, :, None], slope, 0.0)))
    return found


def sure_of(slope: np.ndarray, bend: np.ndarray) -> np.ndarray:
    """Return slopes (rows, channels) less what chance makes of them where flights are rough.

    A computer's ticks, play and dead bands turn a small change into another limit cycle: differences of such flights are large, and would pass for information.
    What a second difference holds beyond three readings' roughness is none: of independent roughness the slope's variance is a third of the bend's, so that a
    slope keeps the share 1 - var/square of its size, both taken over a few rows (N. Wiener, 1949). bend : second difference over the same distance.
    """
    square, rough = (_smooth(np.nan_to_num(one) ** 2) for one in (slope, bend))
    return slope * np.clip(1.0 - rough / 3.0 / np.maximum(square, 1e-300), 0.0, 1.0)


def _smooth(values: np.ndarray) -> np.ndarray:
    """Return running means over NEAR rows."""
    ends = np.pad(values, ((NEAR // 2, NEAR // 2), (0, 0)), mode="edge")
    return np.lib.stride_tricks.sliding_window_view(ends, NEAR, axis=0).mean(axis=2)


def moved(z: np.ndarray, place: int, step: float, prior: Prior) -> np.ndarray:
    """Return z with one parameter moved, no farther than its cuts."""
    out = z.copy()
    out[place] = np.clip(z[place] + step, prior.low[place], prior.high[place])
    return out


def inverse(matrix: np.ndarray) -> np.ndarray:
    """Return the inverse of a positive definite matrix, scaled to a unit diagonal first: information may span twenty orders of magnitude."""
    scale = 1.0 / np.sqrt(np.diag(matrix))
    found = np.linalg.inv(matrix * np.outer(scale, scale)) * np.outer(scale, scale)
    return 0.5 * (found + found.T)
