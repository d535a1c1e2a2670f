"""Equations of motion: free flight, along the rail, pivoting about the aft guide. State in, its rate out."""

from __future__ import annotations

from math import sqrt

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import add, arm, cross, dot, quaternion_rate, scale, sub, sym_times, to_body, to_world
from sixdof.core.body import Body
from sixdof.core.forces.loads import Loads, inline_loads
from sixdof.core.layout import Phase
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import Quat, State, Vec3

# numpy integers: numba would compile every callee once more for each literal Python integer it is called with
HOLD, ON_RAIL, PIVOT, FREE, CANOPY, LANDED = (np.int64(phase) for phase in Phase)
FRICTION_ROUNDS = 4  # of the forces at the aft guide: each shrinks the error by the friction coefficient times the lean: to rounding


@helper
def _acceleration(s: State, body: Body, drawn: DrawnModel, load: Loads) -> Vec3:
    """Return dv/dt of the centre of mass in the turning world axes: F/m + g - 2 W x v (g holds the centrifugal part)."""
    f = scale(to_world(load.matrix, load.force), 1.0 / body.mass)
    c = cross(drawn.world.earth_rate, s.v)
    g = load.gravity
    return Vec3(f.x - 2.0 * c.x + g.x, f.y - 2.0 * c.y + g.y, f.z - 2.0 * c.z + g.z)


@helper
def turn_rate(s: State, body: Body, moment: Vec3) -> Vec3:
    """Return dw/dt from Euler's equations with the full tensor."""
    h = sym_times(body.inertia, s.w)
    return sym_times(body.inverse, sub(moment, cross(s.w, h)))


@helper
def free_rate(s: State, body: Body, drawn: DrawnModel, load: Loads) -> State:
    """Return the state's rate in free flight."""
    return State(s.v, _acceleration(s, body, drawn, load), quaternion_rate(s.q, load.rate), turn_rate(s, body, load.moment))


@kernel
def rail_pull(s: State, body: Body, drawn: DrawnModel, load: Loads) -> float:
    """Return the acceleration along the rail, friction against upward motion taken off.

    The rail carries the load across it; friction is that load times the coefficient. Couples between the guides are left out.
    """
    a = _acceleration(s, body, drawn, load)
    along = dot(a, drawn.rail_line)
    aside = sub(a, scale(drawn.rail_line, along))
    return along - drawn.rail.friction * sqrt(dot(aside, aside))


@kernel
def rail_rate(s: State, body: Body, drawn: DrawnModel, load: Loads) -> State:
    """Return the state's rate while both guides hold: motion along the rail, no turning."""
    pull = rail_pull(s, body, drawn, load)
    return State(s.v, scale(drawn.rail_line, pull), Quat(0.0, 0.0, 0.0, 0.0), Vec3(0.0, 0.0, 0.0))


@kernel
def pivot_rate(s: State, body: Body, drawn: DrawnModel, load: Loads) -> State:
    """Return the state's rate while only the aft guide holds: it runs on the rail's line, the body swings about it.

    The two constraint forces across the rail are those that leave the guide no acceleration across it; roll is free.
    """
    u = drawn.rail_line
    # two directions across the rail, in body axes
    side = Vec3(0.0, 0.0, 1.0) if abs(u.z) < 0.9 else Vec3(1.0, 0.0, 0.0)
    w1 = cross(u, side)
    w1 = scale(w1, 1.0 / sqrt(dot(w1, w1)))
    e1 = to_body(load.matrix, w1)
    e2 = to_body(load.matrix, cross(u, w1))
    guide = arm(body.cg, drawn.rail.aft_x)

    a0 = to_body(load.matrix, _acceleration(s, body, drawn, load))
    turn0 = turn_rate(s, body, load.moment)
    point = add(add(a0, cross(turn0, guide)), cross(load.rate, cross(load.rate, guide)))
    t1 = sym_times(body.inverse, cross(guide, e1))
    t2 = sym_times(body.inverse, cross(guide, e2))
    p1 = add(scale(e1, 1.0 / body.mass), cross(t1, guide))
    p2 = add(scale(e2, 1.0 / body.mass), cross(t2, guide))
    a11, a12, a21, a22 = dot(e1, p1), dot(e1, p2), dot(e2, p1), dot(e2, p2)
    k = 1.0 / (a11 * a22 - a12 * a21)
    # friction pulls at the guide down the rail and turns the vehicle too, which changes the forces it comes from
    down = scale(to_body(load.matrix, u), -1.0)
    pd = add(scale(down, 1.0 / body.mass), cross(sym_times(body.inverse, cross(guide, down)), guide))
    drag = n1 = n2 = 0.0
    for _ in range(FRICTION_ROUNDS):
        b1, b2 = -dot(e1, point) - drag * dot(e1, pd), -dot(e2, point) - drag * dot(e2, pd)
        n1 = (b1 * a22 - b2 * a12) * k
        n2 = (a11 * b2 - a21 * b1) * k
        drag = drawn.rail.friction * sqrt(n1 * n1 + n2 * n2)
    f = add(add(scale(e1, n1), scale(e2, n2)), scale(down, drag))
    acceleration = to_world(load.matrix, add(a0, scale(f, 1.0 / body.mass)))
    turn = add(turn0, sym_times(body.inverse, cross(guide, f)))
    return State(s.v, acceleration, quaternion_rate(s.q, load.rate), turn)


@helper
def state_rate(phase: int, s: State, body: Body, drawn: DrawnModel, load: Loads) -> State:
    """Return the state's rate in the given phase."""
    if phase == FREE:
        return free_rate(s, body, drawn, load)
    if phase == PIVOT:
        return pivot_rate(s, body, drawn, load)
    return rail_rate(s, body, drawn, load)


@helper
def deriv(phase: int, s: State, body: Body, drawn: DrawnModel, fins: np.ndarray, k: int, out: np.ndarray) -> State:
    """Return the state's rate with the loads evaluated in s; out : what each panel did (see `inline_loads`)."""
    return state_rate(phase, s, body, drawn, inline_loads(s, body, drawn, fins, k, out))
