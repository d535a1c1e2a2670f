"""One leg of a flight for itself: what studies and rehearsals ask of a draw without flying it."""

from __future__ import annotations

import numpy as np

from sixdof._jit import borrow, kernel
from sixdof.core.columns import Handover
from sixdof.core.draw import Draw, FlightDraw
from sixdof.core.layout import NOT_IGNITED
from sixdof.core.leg.work import Work
from sixdof.core.types import Model
from sixdof.core.whole.dividing import body_now, divide
from sixdof.core.whole.harness import load_harnesses
from sixdof.core.whole.prepare import prepare
from sixdof.core.whole.stack import fit_airframe, leg_draw
from sixdof.core.whole.tables import WHOLE, Staging

ALONE = np.int64(0)  # the flight of packed draws of one


@kernel
def fit_segment(staging: Staging, model: Model, draws: FlightDraw, lump: np.ndarray, work: Work) -> tuple[float, ...]:
    """Fill airframe, grains, cants and centring of `work` for the first of some packed draws; return the numbers of its `Draw`.

    lump : (n, LUMP_COLUMNS) scratch.
    """
    draws = borrow(draws)
    fit_airframe(staging, model, draws, ALONE, lump, work)
    draw = leg_draw(staging, model, draws, ALONE, WHOLE, work)
    return draw[:-1]


@kernel
def prepare_first(staging: Staging, model: Model, draws: FlightDraw, work: Work) -> None:
    """Fill Work.stage, canopy and rule_delay for the first of some packed draws (see `prepare`)."""
    prepare(staging, model, borrow(draws), ALONE, work)


@kernel
def load_first(staging: Staging, first: int, last: int, draws: FlightDraw, work: Work, unlit: np.ndarray, snatch: np.ndarray) -> None:
    """Fill Work.canopy with what harnesses carry in the first of some packed draws (see `load_harnesses`)."""
    load_harnesses(staging, first, last, borrow(draws), ALONE, work, unlit, snatch)


@kernel
def divide_stack(
    stack: Model,
    fore: Model,
    aft: Model,
    stack_draw: Draw,
    fore_draw: Draw,
    aft_draw: Draw,
    stack_work: Work,
    fore_work: Work,
    aft_work: Work,
    hand: np.ndarray,
    impulse: float,
    turn_y: float,
    turn_z: float,
    ahead: np.ndarray,
    behind: np.ndarray,
) -> float:
    """Divide a stack whose leg left `hand` (see `divide`)."""
    t, lit = hand[Handover.TIME], hand[Handover.IGNITED]
    whole = body_now(stack, stack_draw, stack_work, t, lit)
    front, back = body_now(fore, fore_draw, fore_work, t, NOT_IGNITED), body_now(aft, aft_draw, aft_work, t, lit)
    return divide(hand, whole, front, back, stack.world.earth_rate, impulse, turn_y, turn_z, ahead, behind)
