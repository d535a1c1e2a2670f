"""Fits with models in closed form: the least-squares code of estimates without a flight."""

from __future__ import annotations

import numpy as np

from sixdof.postflight.estimation.parameters import WIDE
from sixdof.postflight.estimation.problem import Block, Prior
from sixdof.postflight.estimation.solver import Settings, solved, start_of
from sixdof.postflight.estimation.uncertainty import known_of


def no_prior(count: int) -> Prior:
    return Prior(WIDE * np.eye(count), np.full(count, -np.inf), np.full(count, np.inf))


def normal_prior(count: int) -> Prior:
    return no_prior(count)._replace(precision=np.eye(count))


def block_of(values, error=np.nan, count: int = 1, name: str = "log") -> Block:
    """Return a log of one or more columns with `count` parameters."""
    values = np.asarray(values, dtype=float).reshape(len(values), -1)
    return Block(name, values, np.full(values.shape[1], error), np.arange(count))


def fitted(function, blocks, prior, *, asked=None, start=None, **settings):
    """Return state, point and what is known of a fit of function(z) -> (rows,) or (rows, columns), or of one function a block."""
    functions = function if isinstance(function, list) else [function] * len(blocks)
    size = prior.low.size

    def model(questions):
        return [np.asarray(functions[number](z), dtype=float).reshape(blocks[number].values.shape[0], -1) for number, z in questions]

    how = Settings(**{"step": 1e-3, "close": 1e-6, "most": 200, **settings})
    state, point = solved(model, blocks, prior, start_of(blocks, np.zeros(size) if start is None else np.asarray(start, dtype=float), how), how)
    asked = np.ones(size, dtype=bool) if asked is None else np.asarray(asked)
    return state, point, known_of(blocks, prior, point, state.colour, asked)
