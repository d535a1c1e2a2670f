"""One integration step of the rigid body, and finding the moment of an event inside it."""

from __future__ import annotations

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import add, axpy, dot, matrix_of, normalised, to_world
from sixdof.core.body import Body
from sixdof.core.columns import FinRow
from sixdof.core.forces.loads import climb_of, height_of, loads
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.motion import deriv, rail_pull
from sixdof.core.types import State

# what a step may be cut short for: each is a quantity that goes from positive to negative
GAP_FORE, GAP_AFT, GAP_CLIMB, GAP_GROUND, GAP_SLIP = (np.int64(i) for i in range(5))
NO, YES = (np.int64(i) for i in range(2))  # a Python bool or integer would be a literal, and compile its callee twice
ROOT_SHARE = 1e-12  # of a step: how closely an event is located
MOST_TRIES = 60


@kernel
def rk4_step(
    phase: int, s: State, h: float, k1: State, fresh: int, body0: Body, body1: Body, body2: Body, drawn: DrawnModel, fins: np.ndarray, out: np.ndarray
) -> State:
    """Return the state h seconds on (classical Runge-Kutta 4), the attitude normalised.

    k1 : rate at the start, used if fresh is YES (worked out here if NO). body0, body1, body2 : mass and thrust at the start, the
    middle and the end. fins : rows start, middle, end. out : scratch, what each panel does (see `inline_loads`).
    """
    # one loop body, not four calls: the derivative is inlined once, which halves both its cost and the compilation
    k = k1
    body = body0
    weight, reach, row = h / 6.0, 0.0, FinRow.START
    total = s
    for stage in range(4):
        if stage > 0 or fresh == NO:
            k = deriv(phase, axpy(s, k, reach), body, drawn, fins, row, out)
        total = axpy(total, k, weight)
        if stage < 2:
            weight, reach, row, body = h / 3.0, 0.5 * h, FinRow.MIDDLE, body1
        else:
            weight, reach, row, body = h / 6.0, h, FinRow.END, body2
    return State(total.r, total.v, normalised(total.q), total.w)


@helper
def guide_travel(s: State, drawn: DrawnModel) -> float:
    """Return how far the aft guide has run up the rail since rest, m.

    The state has moved as the body has, from where the centre of mass was at rest: its way inside the body is no travel.
    """
    guide = add(s.r, to_world(matrix_of(s.q), drawn.guide))
    return dot(guide, drawn.rail_line) - (drawn.rail.base_x - drawn.rail.aft_x)


@kernel
def gap(kind: int, s: State, drawn: DrawnModel) -> float:
    """Return the event function of `kind`: positive before, negative after."""
    if kind == GAP_FORE:
        return drawn.rail.fore_travel - guide_travel(s, drawn)
    if kind == GAP_AFT:
        return drawn.rail.aft_travel - guide_travel(s, drawn)
    if kind == GAP_CLIMB:
        return climb_of(drawn.world, s.r, s.v)
    if kind == GAP_SLIP:
        return dot(s.v, drawn.rail_line)
    return height_of(drawn.world, s.r)


@helper
def next_bracket(low: float, high: float, g_low: float, g_high: float, x: float, g: float, last: int) -> tuple[float, float, float, float, int]:
    """Return the bracket narrowed by g at x (Illinois rule: halve the value at an end kept twice), and which end moved."""
    if g > 0.0:
        if last > 0:
            g_high *= 0.5
        return x, high, g, g_high, 1
    if last < 0:
        g_low *= 0.5
    return low, x, g_low, g, -1


@kernel
def liftoff_time(t: float, t_end: float, s: State, body: Body, body_end: Body, drawn: DrawnModel, fins: np.ndarray, out: np.ndarray) -> float:
    """Return when the pull along the rail turns positive between t and t_end, thrust taken as linear in between."""
    pull0 = rail_pull(s, body, drawn, loads(s, body, drawn, fins, FinRow.START, out))
    pull1 = rail_pull(s, body_end, drawn, loads(s, body_end, drawn, fins, FinRow.START, out))
    if pull0 >= 0.0:
        return t
    return t + (t_end - t) * pull0 / (pull0 - pull1)
