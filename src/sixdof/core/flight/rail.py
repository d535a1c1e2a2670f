"""On the rail: along it while both guides hold, then pivoting about the aft guide until that leaves too."""

from __future__ import annotations

from math import sqrt

from sixdof._jit import helper, kernel
from sixdof.core.algebra import add, arm, cross, dot, matrix_of, quaternion_rate, scale, sym_times, to_body, to_world
from sixdof.core.body import Body
from sixdof.core.flight.free import acceleration, turn_rate
from sixdof.core.flight.held import rail_pull
from sixdof.core.forces.loads import Loads
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import Quat, State, Vec3

FRICTION_ROUNDS = 4  # of the forces at the aft guide: each shrinks the error by the friction coefficient times the lean: to rounding


@helper
def guide_travel(s: State, drawn: DrawnModel) -> float:
    """Return how far the aft guide has run up the rail since rest, m.

    The state has moved as the body has, from where the centre of mass was at rest: its way inside the body is no travel.
    """
    guide = add(s.r, to_world(matrix_of(s.q), drawn.guide))
    return dot(guide, drawn.rail_line) - (drawn.rail.base_x - drawn.rail.aft_x)


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

    a0 = to_body(load.matrix, acceleration(s, body, drawn, load))
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
    along = to_world(load.matrix, add(a0, scale(f, 1.0 / body.mass)))
    turn = add(turn0, sym_times(body.inverse, cross(guide, f)))
    return State(s.v, along, quaternion_rate(s.q, load.rate), turn)
