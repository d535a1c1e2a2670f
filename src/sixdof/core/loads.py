"""Forces and moments on the vehicle at one moment: air, wind, aerodynamics, thrust."""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.aerodynamics import air_loads
from sixdof.core.algebra import Matrix, cell, cross, dot, lerp, matrix_of, scale, sub, sym_times, to_body
from sixdof.core.body import Grains
from sixdof.core.types import (
    AIR_DENSITY, AIR_GRAVITY, AIR_PRESSURE, AIR_SOUND, AIR_VISCOSITY, Aero, Rail, Servo, Vec3, World,
)  # fmt: skip

START, MIDDLE, END = (np.int64(i) for i in range(3))  # rows of the fin angles; numpy integers as in motion.py


class Craft(NamedTuple):
    """The constants of one flight: the model with this flight's draw applied."""

    world: World
    wind: Vec3  # scale of the wind table, cosine and sine of its turn (clockwise from above)
    aero: Aero
    drag: float  # factor on axial force
    normal: float  # factor on normal forces
    cp_shift: float  # m, aft positive
    cant: float  # rad, added to every panel
    seen: np.ndarray  # (panels, SEEN_COLUMNS) scratch: what each panel did at the last evaluation
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
    reynolds: float  # unit Reynolds number, 1/m


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


@helper
def inline_loads(s, body, craft, fins, k):
    """Return the Loads in state s; inlined into the integrator, where a call would copy the whole Craft.

    fins : (4, controls) fin angles at the start, middle and end of the step, rad; k picks the row.
    """
    m = matrix_of(s.q)
    air = air_at(craft.world, s.r.z)
    wind = wind_at(craft, s.r.z)
    u = to_body(m, sub(s.v, wind))
    rate = sub(s.w, to_body(m, craft.world.earth_rate))
    cg = body.cg

    flow = air_loads(craft, u, rate, cg, air, body.burning, fins, k)
    f = flow.force

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
        flow.moment.x + tm.x - body.flow * (jet.x + craft.exit_swirl * s.w.x) - shrink.x,
        flow.moment.y + tm.y - body.flow * jet.y - shrink.y,
        flow.moment.z + tm.z - body.flow * jet.z - shrink.z,
    )
    return Loads(
        m, Vec3(f.x + t.x, f.y + t.y, f.z + t.z), moment, rate, air.gravity, flow.speed, flow.cross_speed, u, flow.mach,
        0.5 * air.density * dot(u, u), flow.speed * air.density / air.viscosity,
    )


@kernel
def loads(s, body, craft, fins, k):
    """Return the Loads in state s (see `inline_loads`)."""
    return inline_loads(s, body, craft, fins, k)
