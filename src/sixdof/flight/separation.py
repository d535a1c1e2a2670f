"""How a body becomes two, for studies that fly legs of their own."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import lend
from sixdof.core.leg.work import make_work
from sixdof.core.whole.segment import divide_stack


class Halves(NamedTuple):
    """The two bodies after a separation: what each leg is handed (columns.Handover), and their relative speed along the axis, m/s."""

    fore: np.ndarray
    aft: np.ndarray
    speed: float


def divide(hand: np.ndarray, stack, fore, aft, impulse: float, turn) -> Halves:
    """Return the two bodies that a stack becomes (see `core.whole.dividing.divide`).

    hand : what the stack's leg left (columns.Handover). stack, fore, aft : (Model, Draw) each. impulse : between the two, along the stack's axis, N s.
    turn : tilt of the aft body's axes about body y and z, rad.
    """
    ahead, behind = np.zeros_like(hand), np.zeros_like(hand)
    models, draws = zip(stack, fore, aft)
    works = [make_work(model) for model in models]
    speed = divide_stack(*map(lend, models), *map(lend, draws), *map(lend, works), hand, float(impulse), float(turn[0]), float(turn[1]), ahead, behind)
    return Halves(ahead, behind, float(speed))
