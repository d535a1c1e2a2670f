"""The kernel's aerodynamics in a wind tunnel: any flow, any rates, any fin angles, no flight.

Studies use this, so that what they report is what a flight feels.
"""

from __future__ import annotations

from math import cos, sin

from sixdof._jit import kernel
from sixdof.core.aerodynamics import air_loads
from sixdof.core.craft import make_craft
from sixdof.core.loads import START, Air
from sixdof.core.types import Vec3

# columns of one condition; the fin angles (controls,) follow
(
    P_SPEED,  # through the air, m/s
    P_INCIDENCE,  # between the body axis and the velocity, rad, 0..pi
    P_ROLL,  # direction of the cross flow: the velocity leans towards body z at 0, towards body y at pi/2, rad
    P_RATE_X,  # rates against the air, rad/s
    P_RATE_Y,
    P_RATE_Z,
    P_CG,  # station of the moment centre, m
    P_DENSITY,
    P_SOUND,
    P_VISCOSITY,
    P_BURNING,  # 1 with the motor alight, 0 without
) = range(11)
PROBE_COLUMNS = 11


@kernel
def probe(model, draw, work, conditions, out, panels):
    """Fill out (n, 6) with force (N) and moment (N m) of the air, body axes, for conditions (n, PROBE_COLUMNS + controls).

    panels : (n, panels, SEEN_COLUMNS), filled with what each panel did (load, hinge moment, stall ..).

    Moments are about the body axis at the station P_CG.
    """
    craft = make_craft(model, draw, work.air, work.seen, work.gust)
    for i in range(conditions.shape[0]):
        row = conditions[i]
        for j in range(work.fins.shape[1]):
            work.fins[0, j] = row[PROBE_COLUMNS + j]
            work.fins[3, j] = 1.0
        side = row[P_SPEED] * sin(row[P_INCIDENCE])
        u = Vec3(row[P_SPEED] * cos(row[P_INCIDENCE]), side * sin(row[P_ROLL]), side * cos(row[P_ROLL]))
        rate = Vec3(row[P_RATE_X], row[P_RATE_Y], row[P_RATE_Z])
        air = Air(row[P_DENSITY], 0.0, row[P_SOUND], row[P_VISCOSITY], 0.0)
        load = air_loads(craft, u, rate, Vec3(row[P_CG], 0.0, 0.0), air, row[P_BURNING], work.fins, START)
        out[i, 0], out[i, 1], out[i, 2] = load.force.x, load.force.y, load.force.z
        out[i, 3], out[i, 4], out[i, 5] = load.moment.x, load.moment.y, load.moment.z
        for p in range(panels.shape[1]):
            for j in range(panels.shape[2]):
                panels[i, p, j] = work.seen[p, j]
