"""Forces and moments on the vehicle at one moment: air, wind, body, every fin panel, thrust.

No trigonometry: incidence enters through direction cosines (sin a = cross velocity / V), so nothing is singular at zero
speed, at 90 or at 180 degrees.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import Matrix, cell, clip, cross, lerp, matrix_of, scale, small_sin, sub, sym_times, to_body
from sixdof.core.body import Grains
from sixdof.core.types import (
    AIR_DENSITY, AIR_GRAVITY, AIR_PRESSURE, AIR_SOUND, AIR_VISCOSITY, BODY_CA, BODY_CA_BACK, BODY_CA_BURN, BODY_CDC, BODY_S0,
    BODY_S1, BODY_S2, FIN_DB, FIN_DW, FIN_KB, FIN_KW, FIN_SLOPE, FIN_STALL, FIN_X, FIN_XB, PANEL_AREA, PANEL_CANT,
    PANEL_CONTROL, PANEL_COS, PANEL_PLATE, PANEL_SET, PANEL_SIN, PANEL_Y, PANEL_Y_ROLL, Aero, Rail, Servo, Vec3, World,
)  # fmt: skip

START, MIDDLE, END = (np.int64(i) for i in range(3))  # rows of the fin angles; numpy integers as in motion.py
TINY = 1e-12  # keeps a division by the speed finite at rest; its force there is zero
STALL_WIDTH = 0.15  # range of sine over which a panel goes from attached to separated flow


class Craft(NamedTuple):
    """The constants of one flight: the model with this flight's draw applied."""

    world: World
    wind: Vec3  # scale of the wind table, cosine and sine of its turn (clockwise from above)
    aero: Aero
    drag: float  # factor on axial force
    normal: float  # factor on normal forces
    cp_shift: float  # m, aft positive
    cant: float  # rad, added to every panel
    grains: Grains
    thrust_line: Vec3  # unit vector of the thrust, body axes
    exit: Vec3  # nozzle: station (aft positive), y, z
    exit_area: float
    exit_swirl: float  # squared radius of gyration of the exit disc, m^2
    reference_pressure: float
    rail: Rail
    rail_line: Vec3  # unit vector up the rail, world axes
    start: Vec3  # position of the centre of mass at rest on the rail
    guide_x: float  # station of the aft guide
    servo: Servo


class Air(NamedTuple):
    density: float
    pressure: float
    sound: float
    viscosity: float
    gravity: float


class Loads(NamedTuple):
    """What acts, with what an observer wants to know of the flow."""

    matrix: Matrix  # body -> world
    force: Vec3  # aerodynamic + thrust, body axes, N
    moment: Vec3  # about the centre of mass, jet damping included, body axes, N m
    rate: Vec3  # body rates against the turning world axes
    gravity: float
    air_speed: float
    cross_speed: float  # of the air across the body axis
    velocity: Vec3  # through the air, body axes
    mach: float
    pressure: float  # dynamic


@helper
def air_at(world, height):
    """Return the Air at a height above ground, held beyond the table."""
    i, f = cell((height - world.air_z0) * world.air_per_metre, world.air.shape[0])
    t = world.air
    return Air(
        lerp(t, i, f, AIR_DENSITY), lerp(t, i, f, AIR_PRESSURE), lerp(t, i, f, AIR_SOUND), lerp(t, i, f, AIR_VISCOSITY),
        lerp(t, i, f, AIR_GRAVITY),
    )  # fmt: skip


@helper
def wind_at(craft, height):
    """Return the velocity of the air over the ground, world axes; `wind` scales and turns the table."""
    world, k = craft.world, craft.wind
    i, f = cell(sqrt(max(height, 0.0)) * world.wind_per_root, world.wind.shape[0])
    east = k.x * lerp(world.wind, i, f, 0)
    north = k.x * lerp(world.wind, i, f, 1)
    return Vec3(k.y * east + k.z * north, k.y * north - k.z * east, 0.0)


class FinSet(NamedTuple):
    """What the panels of one set have in common at one Mach number."""

    slope: float
    x: float
    panel_incidence: float
    body_incidence: float
    panel_deflection: float
    body_deflection: float
    body_x: float
    stall: float


@helper
def fin_set_at(aero, fs, i, f, craft):
    """Return the FinSet number fs between Mach rows i and i + 1, the draw's factor and shift applied."""
    a, b = aero.fin[i, fs], aero.fin[i + 1, fs]
    return FinSet(
        (a[FIN_SLOPE] + f * (b[FIN_SLOPE] - a[FIN_SLOPE])) * craft.normal,
        a[FIN_X] + f * (b[FIN_X] - a[FIN_X]) + craft.cp_shift,
        a[FIN_KW] + f * (b[FIN_KW] - a[FIN_KW]),
        a[FIN_KB] + f * (b[FIN_KB] - a[FIN_KB]),
        a[FIN_DW] + f * (b[FIN_DW] - a[FIN_DW]),
        a[FIN_DB] + f * (b[FIN_DB] - a[FIN_DB]),
        a[FIN_XB] + f * (b[FIN_XB] - a[FIN_XB]) + craft.cp_shift,
        a[FIN_STALL] + f * (b[FIN_STALL] - a[FIN_STALL]),
    )


@helper
def _panel(row, shared, sine, u, rate, cg, q_area, plate):
    """Return (fx, fy, fz, mx, my, mz) of one panel: its own load and what it carries over onto the body.

    row : PANEL_* columns. sine : of its deflection. u : velocity of the centre of mass through the air. q_area : half the
    density times the reference area. plate : separated normal-force coefficient at 90 deg on the reference area.
    """
    s, c = row[PANEL_SIN], row[PANEL_COS]
    y = row[PANEL_Y]
    # normal n = (0, -c, -s): positive force rolls the vehicle positive; span direction e = (0, -s, c)
    arm = cg.x - shared.x
    along = u.x + y * (rate.y * c + rate.z * s)
    across = -c * (u.y + rate.z * arm) - s * (u.z - rate.y * arm) + rate.x * row[PANEL_Y_ROLL]
    speed2 = along * along + across * across
    inverse = 1.0 / sqrt(speed2 + TINY)
    incidence = -across * inverse
    turned = sine * along * inverse
    e = clip(shared.panel_incidence * incidence + shared.panel_deflection * turned, -1.0, 1.0)
    w = clip((abs(e) - shared.stall) * (1.0 / STALL_WIDTH), 0.0, 1.0)
    w = w * w * (3.0 - 2.0 * w)
    q_area *= speed2
    attached = shared.slope * e * sqrt(1.0 - e * e)
    separated = plate * e / (0.56 + 0.44 * abs(e))
    load = q_area * (attached + w * (separated - attached))
    carried = shared.body_incidence * incidence + shared.body_deflection * turned
    carried *= q_area * (1.0 - w) * shared.slope * abs(along) * inverse

    fx = -load * sine
    lever = arm * load + (cg.x - shared.body_x) * carried  # along n: M_y = -X F_z, M_z = X F_y
    total = load + carried
    return fx, -c * total, -s * total, y * load, s * lever + y * c * fx, -c * lever + y * s * fx


@helper
def inline_loads(s, body, craft, fins, k):
    """Return the Loads in state s; inlined into the integrator, where a call would copy the whole Craft.

    fins : (3, controls) fin angles at the start, middle and end of the step, rad; k picks the row.
    """
    aero = craft.aero
    m = matrix_of(s.q)
    air = air_at(craft.world, s.r.z)
    wind = wind_at(craft, s.r.z)
    u = to_body(m, sub(s.v, wind))
    rate = sub(s.w, to_body(m, craft.world.earth_rate))
    cg = body.cg

    cross2 = u.y * u.y + u.z * u.z
    speed2 = u.x * u.x + cross2
    speed = sqrt(speed2 + TINY)
    cross_speed = sqrt(cross2 + TINY)
    half = 0.5 * air.density
    mach = speed / air.sound
    mi, mf = cell(mach * aero.per_mach, aero.body.shape[0])
    table = aero.body

    # axial force: friction over Mach and the fourth root of the unit Reynolds number
    root = sqrt(sqrt(speed * air.density / air.viscosity))
    ri, rf = cell(root * aero.per_root, aero.friction.shape[1])
    a = aero.friction[mi, ri] + mf * (aero.friction[mi + 1, ri] - aero.friction[mi, ri])
    b = aero.friction[mi, ri + 1] + mf * (aero.friction[mi + 1, ri + 1] - aero.friction[mi, ri + 1])
    forward = a + rf * (b - a) + lerp(table, mi, mf, BODY_CA) + body.burning * lerp(table, mi, mf, BODY_CA_BURN)
    axial = forward if u.x >= 0.0 else lerp(table, mi, mf, BODY_CA_BACK)
    fx = -half * u.x * abs(u.x) * aero.area * axial * craft.drag

    # body, potential part: Jorgensen (1973), sin 2a' cos(a'/2), summed along the body through the moments of the slope
    s0 = lerp(table, mi, mf, BODY_S0)
    s1 = lerp(table, mi, mf, BODY_S1) + s0 * craft.cp_shift
    s2 = lerp(table, mi, mf, BODY_S2) + (2.0 * lerp(table, mi, mf, BODY_S1) + s0 * craft.cp_shift) * craft.cp_shift
    first = s0 * cg.x - s1
    second = s0 * cg.x * cg.x - 2.0 * s1 * cg.x + s2
    cosine = abs(u.x) / speed
    potential = -half * aero.area * abs(u.x) * sqrt(0.5 * (1.0 + cosine)) * craft.normal
    fy = potential * (s0 * u.y + first * rate.z)
    fz = potential * (s0 * u.z - first * rate.y)
    my = -potential * (first * u.z - second * rate.y)
    mz = potential * (first * u.y + second * rate.z)

    # body, viscous cross-flow (Allen and Perkins 1951) at the planform's centroid; its spread damps a tumbling body
    ci, cf = cell(cross_speed / air.sound * aero.per_mach, aero.body.shape[0])
    cdc = lerp(table, ci, cf, BODY_CDC) * craft.normal
    centroid = aero.plan1 / aero.plan0
    spread2 = aero.plan2 / aero.plan0 - centroid * centroid
    arm = cg.x - centroid - craft.cp_shift
    vy = u.y + rate.z * arm
    vz = u.z - rate.y * arm
    turn2 = (rate.y * rate.y + rate.z * rate.z) * spread2
    viscous = -half * cdc * aero.plan0 * sqrt(vy * vy + vz * vz + turn2)
    fy += viscous * vy
    fz += viscous * vz
    my += -arm * viscous * vz + viscous * spread2 * rate.y
    mz += arm * viscous * vy + viscous * spread2 * rate.z
    mx = 0.0

    current = -1.0
    shared = FinSet(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    half_area = half * aero.area
    per_area = craft.normal / aero.area
    for p in range(aero.panel.shape[0]):
        row = aero.panel[p]
        if row[PANEL_SET] != current:  # panels of a set stand together in the table
            current = row[PANEL_SET]
            shared = fin_set_at(aero, int(current), mi, mf, craft)
        angle = row[PANEL_CANT] + craft.cant
        control = int(row[PANEL_CONTROL])
        if control >= 0:
            angle += fins[k, control]
        plate = row[PANEL_PLATE] * row[PANEL_AREA] * per_area
        px, py, pz, lx, ly, lz = _panel(row, shared, small_sin(angle), u, rate, cg, half_area, plate)
        fx += px
        fy += py
        fz += pz
        mx += lx
        my += ly
        mz += lz

    # the aerodynamic resultant acts on the body axis, which misses an off-axis centre of mass
    mx += cg.z * fy - cg.y * fz
    my -= cg.z * fx
    mz += cg.y * fx

    # thrust, with the nozzle's pressure term, along its own line
    push = body.thrust + body.burning * (craft.reference_pressure - air.pressure) * craft.exit_area
    push = max(push, 0.0)
    t = scale(craft.thrust_line, push)
    nozzle = Vec3(cg.x - craft.exit.x, craft.exit.y - cg.y, craft.exit.z - cg.z)
    tm = cross(nozzle, t)

    # jet damping: the gas leaves with the nozzle's own velocity; the vehicle's inertia shrinks (Thomson, Introduction to Space Dynamics)
    jet = cross(nozzle, cross(s.w, nozzle))
    shrink = sym_times(body.inertia_rate, s.w)
    moment = Vec3(
        mx + tm.x - body.flow * (jet.x + craft.exit_swirl * s.w.x) - shrink.x,
        my + tm.y - body.flow * jet.y - shrink.y,
        mz + tm.z - body.flow * jet.z - shrink.z,
    )
    return Loads(
        m, Vec3(fx + t.x, fy + t.y, fz + t.z), moment, rate, air.gravity, speed, cross_speed, u, mach, half * speed2
    )


@kernel
def loads(s, body, craft, fins, k):
    """Return the Loads in state s (see `inline_loads`)."""
    return inline_loads(s, body, craft, fins, k)
