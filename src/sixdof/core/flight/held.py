"""Held at rest at the foot of the rail: nothing moves until the pull along the rail turns positive."""

from __future__ import annotations

from math import sqrt

from sixdof._jit import helper, kernel
from sixdof.core.algebra import dot, scale, sub
from sixdof.core.body import Body
from sixdof.core.flight.free import acceleration
from sixdof.core.forces.loads import Loads
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import Quat, State, Vec3


@helper
def held_rate() -> State:
    """Return the state's rate at rest."""
    zero = Vec3(0.0, 0.0, 0.0)
    return State(zero, zero, Quat(0.0, 0.0, 0.0, 0.0), zero)


@kernel
def rail_pull(s: State, body: Body, drawn: DrawnModel, load: Loads) -> float:
    """Return the acceleration along the rail, friction against upward motion taken off.

    The rail carries the load across it; friction is that load times the coefficient. Couples between the guides are left out.
    """
    a = acceleration(s, body, drawn, load)
    along = dot(a, drawn.rail_line)
    aside = sub(a, scale(drawn.rail_line, along))
    return along - drawn.rail.friction * sqrt(dot(aside, aside))
