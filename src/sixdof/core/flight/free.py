"""Free flight: the equations of motion of a rigid body whose mass changes, over a turning Earth."""

from __future__ import annotations

from sixdof._jit import helper
from sixdof.core.algebra import cross, quaternion_rate, scale, sub, sym_times, to_body, to_world
from sixdof.core.body import Body
from sixdof.core.forces.loads import Loads
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import State, Vec3


@helper
def acceleration(s: State, body: Body, drawn: DrawnModel, load: Loads) -> Vec3:
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
    return State(s.v, acceleration(s, body, drawn, load), quaternion_rate(s.q, load.rate), turn_rate(s, body, load.moment))


@helper
def felt_force(s: State, rate: State, drawn: DrawnModel, load: Loads) -> Vec3:
    """Return the specific force (what an accelerometer at the centre of mass reads), body axes, m/s^2, in any phase."""
    c = cross(drawn.world.earth_rate, s.v)
    g = load.gravity
    a = Vec3(rate.v.x + 2.0 * c.x - g.x, rate.v.y + 2.0 * c.y - g.y, rate.v.z + 2.0 * c.z - g.z)
    return to_body(load.matrix, a)
