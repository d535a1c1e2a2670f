"""One integration step of the rigid body: the state's rate in every phase, and classical Runge-Kutta on it."""

from __future__ import annotations

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import axpy, normalised
from sixdof.core.body import Body
from sixdof.core.columns import FinRow
from sixdof.core.constants import CANOPY, FREE, HOLD, NO, PIVOT
from sixdof.core.flight.canopy import Rig, drag_areas, falling_rate
from sixdof.core.flight.free import free_rate
from sixdof.core.flight.held import held_rate
from sixdof.core.flight.rail import pivot_rate, rail_rate
from sixdof.core.forces.loads import Loads, inline_loads
from sixdof.core.lanes import like
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import State

INSIDE = 1e-9  # s: a step ends where a canopy's area jumps: its ends are seen from inside


@helper
def rate_under(phase: int, s: State, body: Body, drawn: DrawnModel, load: Loads) -> State:
    """Return the state's rate under the given loads, in free flight and on the rail."""
    if phase == FREE:
        return free_rate(s, body, drawn, load)
    if phase == PIVOT:
        return pivot_rate(s, body, drawn, load)
    return rail_rate(s, body, drawn, load)


@helper
def hanging_rate(t: float, s: State, body: Body, drawn: DrawnModel, rig: Rig, k: int) -> State:
    """Return the state's rate at t under the canopies of a rig."""
    lines, airframe = drag_areas(t, rig)
    return falling_rate(s, drawn, body, lines, airframe, rig.fore_x, k)


@kernel
def rate_at_tick(phase: int, t: float, s: State, body: Body, drawn: DrawnModel, load: Loads, rig: Rig) -> State:
    """Return the state's rate at a tick, whose loads are known, in any phase."""
    if phase == HOLD:
        return held_rate()
    if phase == CANOPY:
        return hanging_rate(t, s, body, drawn, rig, FinRow.START)
    return rate_under(phase, s, body, drawn, load)


@kernel
def bound_rate(phase: int, t: float, s: State, body: Body, rig: Rig, drawn: DrawnModel, fins: np.ndarray, k: int, out: np.ndarray) -> State:
    """Return the state's rate at t on the rail or under canopies: called, so that the loop of free flight keeps the registers."""
    if phase == CANOPY:
        return hanging_rate(t, s, body, drawn, rig, k)
    return rate_under(phase, s, body, drawn, inline_loads(s, body, drawn, fins, k, out))


@kernel
def rk4_step(
    phase: int,
    t: float,
    s: State,
    h: float,
    rate: State,
    fresh: int,
    body0: Body,
    body1: Body,
    body2: Body,
    rig: Rig,
    drawn: DrawnModel,
    fins: np.ndarray,
    out: np.ndarray,
) -> State:
    """Return the state h seconds after t (classical Runge-Kutta 4), the attitude normalised.

    rate : that at the start, used if fresh is YES (worked out here if NO). body0, body1, body2 : mass and thrust at the start, the
    middle and the end, borrowed. rig : canopies, where the phase is CANOPY. fins : rows start, middle, end. out : scratch, what each panel does
    (see `inline_loads`).
    """
    # one loop body, not four calls: the derivative is inlined once, which halves both its cost and the compilation
    k, body, moment = rate, body0, t + INSIDE
    weight, reach, row = h / 6.0, like(0.0, h), FinRow.START
    total = s
    for stage in range(4):
        if stage > 0 or fresh == NO:
            x = axpy(s, k, reach)
            if phase == FREE:
                k = free_rate(x, body, drawn, inline_loads(x, body, drawn, fins, row, out))
            else:
                k = bound_rate(phase, moment, x, body, rig, drawn, fins, row, out)
        total = axpy(total, k, weight)
        if stage < 2:
            weight, reach, row, body, moment = h / 3.0, 0.5 * h, FinRow.MIDDLE, body1, t + 0.5 * h
        else:
            weight, reach, row, body, moment = h / 6.0, h, FinRow.END, body2, t + h - INSIDE
    return State(total.r, total.v, normalised(total.q), total.w)
