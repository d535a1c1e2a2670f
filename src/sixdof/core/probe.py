"""The kernel's physics without a flight: its aerodynamics in a wind tunnel, and its state's rate at any moment.

Studies use this, so that what they report is what a flight feels.
"""

from __future__ import annotations

from math import cos, sin

from sixdof._jit import kernel
from sixdof.core.body import body_at, burn_segment
from sixdof.core.craft import make_craft
from sixdof.core.flight import segment_at
from sixdof.core.forces.aerodynamics import air_loads
from sixdof.core.forces.loads import START, Air, inline_loads
from sixdof.core.motion import free_rate
from sixdof.core.types import Quat, State, Vec3

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


# columns of one moment of free flight; the fin angles (controls,) and the share of its load that each fin carries (controls,) follow
(
    N_TIME,  # since ignition, s
    N_LIT,  # when the burning motor was lit, s; layout.UNLIT: not yet
    N_RX,  # position, world axes, m
    N_VX,  # velocity over the ground, world axes, m/s
    N_QW,  # attitude, body -> world
    N_WX,  # rates against inertial space, body axes, rad/s
    N_GUST,  # added to the wind: east, north, up, m/s
) = 0, 1, 2, 5, 8, 12, 15
MOMENT_COLUMNS = 18
# columns of what comes of it: acceleration (world axes, m/s^2), turning acceleration (body axes, rad/s^2), velocity through the air
# (body axes, m/s), then single numbers
R_VX, R_WX, R_AIR = 0, 3, 6
R_PRESSURE, R_MACH, R_MASS, R_CG, R_UP = 9, 10, 11, 12, 13  # R_UP: local vertical, world axes
RATE_COLUMNS = 16


@kernel
def rates_at(model, draw, work, moments, out):
    """Fill out (n, RATE_COLUMNS) with the free-flight rates at moments (n, MOMENT_COLUMNS + 2 controls): those `fly` integrates."""
    craft = make_craft(model, draw, work.air, work.seen, work.gust)
    for i in range(moments.shape[0]):
        row, to = moments[i], out[i]
        for j in range(work.fins.shape[1]):
            work.fins[0, j] = row[MOMENT_COLUMNS + j]
            work.fins[3, j] = row[MOMENT_COLUMNS + work.fins.shape[1] + j]
        for j in range(3):
            work.gust[0, j] = row[N_GUST + j]
        t, lit = row[N_TIME], row[N_LIT]
        segment = segment_at(t, lit, model.thrust, draw.burn_time)
        body = body_at(t, burn_segment(model.thrust, segment, lit, draw.impulse, draw.burn_time), craft.grains)
        s = State(
            Vec3(row[N_RX], row[N_RX + 1], row[N_RX + 2]),
            Vec3(row[N_VX], row[N_VX + 1], row[N_VX + 2]),
            Quat(row[N_QW], row[N_QW + 1], row[N_QW + 2], row[N_QW + 3]),
            Vec3(row[N_WX], row[N_WX + 1], row[N_WX + 2]),
        )
        load = inline_loads(s, body, craft, work.fins, START)
        rate = free_rate(s, body, craft, load)
        to[R_VX], to[R_VX + 1], to[R_VX + 2] = rate.v.x, rate.v.y, rate.v.z
        to[R_WX], to[R_WX + 1], to[R_WX + 2] = rate.w.x, rate.w.y, rate.w.z
        to[R_AIR], to[R_AIR + 1], to[R_AIR + 2] = load.velocity.x, load.velocity.y, load.velocity.z
        to[R_PRESSURE], to[R_MACH], to[R_MASS], to[R_CG] = load.pressure, load.mach, body.mass, body.cg.x
        to[R_UP], to[R_UP + 1], to[R_UP + 2] = load.up.x, load.up.y, load.up.z
