"""The kernel's equations of motion at points of a flight, without flying: what changes how fast."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from sixdof._jit import lend
from sixdof.core import probe as kernel
from sixdof.core.columns import RATE_COLUMNS
from sixdof.core.draw import Draw
from sixdof.core.leg.work import make_work
from sixdof.core.types import Model


def rates_of(model: Model, draw: Draw) -> Callable[[np.ndarray], np.ndarray]:
    """Return the function that gives the rates (n, RATE_COLUMNS, by `RateColumn`) at points of free flight (n, POINT_COLUMNS + 2 controls).

    They are the rates that a flight integrates. One thread at a time may call the function: it keeps the kernel's scratch arrays.
    """
    lent = lend(model), lend(draw), lend(make_work(model))

    def rates(points: np.ndarray) -> np.ndarray:
        out = np.empty((len(points), RATE_COLUMNS))
        kernel.rates_at(*lent, np.ascontiguousarray(points), out)
        return out

    return rates
