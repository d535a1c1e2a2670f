"""Forces and moments on the vehicle at one moment: air, wind, aerodynamics, thrust."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import Matrix, add, cross, dot, matrix_of, offset, scale, sub, sym_times, to_body, vector_at
from sixdof.core.body import Body
from sixdof.core.columns import AirColumn, FinRow, GustColumn, WindColumn
from sixdof.core.forces.aerodynamics import AirLoads, Flow, air_loads, flow_of
from sixdof.core.lanes import cell, larger, lerp, like, sqrt
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import Air, Globe, State, Vec3, World


class Loads(NamedTuple):
    """What acts, with what an observer wants to know of the flow."""

    matrix: Matrix  # body -> world
    force: Vec3  # aerodynamic + thrust, body axes, N
    moment: Vec3  # about the centre of mass, jet damping included, body axes, N m
    rate: Vec3  # body rates against the turning world axes
    gravity: Vec3  # with the centrifugal part, world axes
    wind: Vec3  # with gusts, world axes
    up: Vec3  # local vertical, world axes
    height: float  # above ground
    air_speed: float
    cross_speed: float  # of the air across the body axis
    velocity: Vec3  # through the air, body axes
    mach: float
    pressure: float  # dynamic
    reynolds: float  # unit Reynolds number, 1/m


class Place(NamedTuple):
    """Where a point is on the Earth: height above ground, local vertical, gravity with the centrifugal part, world axes."""

    height: float
    up: Vec3
    east: Vec3
    gravity: Vec3  # points down


@helper
def _round_place(globe: Globe, ground: float, r: Vec3) -> Place:
    """Return the Place of a point over a round Earth.

    Height by Bowring's (1985) closed form (below 1e-7 m to 40 km); gravitation with J2 (NIMA TR8350.2), and W x (W x r).
    """
    m = globe.turn
    x = globe.origin.x + m[0] * r.x + m[1] * r.y + m[2] * r.z
    y = globe.origin.y + m[3] * r.x + m[4] * r.y + m[5] * r.z
    z = globe.origin.z + m[6] * r.x + m[7] * r.y + m[8] * r.z
    p2 = x * x + y * y
    p = sqrt(p2) + 1e-9
    d = sqrt(p2 + z * z)
    # reduced latitude, then geodetic latitude, both as tangents
    flat = sqrt(1.0 - globe.e2)
    more = globe.e2 / (1.0 - globe.e2)
    b = globe.a * flat
    tan_u = z / p * flat * (1.0 + more * b / d)
    cos_u = 1.0 / sqrt(1.0 + tan_u * tan_u)
    sin_u = tan_u * cos_u
    tan_l = (z + more * b * sin_u * sin_u * sin_u) / (p - globe.e2 * globe.a * cos_u * cos_u * cos_u)
    cos_l = 1.0 / sqrt(1.0 + tan_l * tan_l)
    sin_l = tan_l * cos_l
    height = p * cos_l + z * sin_l - globe.a * sqrt(1.0 - globe.e2 * sin_l * sin_l)
    k = -globe.gm / (d * d * d)
    ratio = globe.a / d
    w = 1.5 * globe.j2 * ratio * ratio
    q = 5.0 * z * z / (d * d)
    turning = globe.rate * globe.rate
    gx = k * x * (1.0 + w * (1.0 - q)) + turning * x
    gy = k * y * (1.0 + w * (1.0 - q)) + turning * y
    gz = k * z * (1.0 + w * (3.0 - q))
    ux, uy = cos_l * x / p, cos_l * y / p
    ex, ey = -y / p, x / p
    return Place(
        height - ground,
        Vec3(m[0] * ux + m[3] * uy + m[6] * sin_l, m[1] * ux + m[4] * uy + m[7] * sin_l, m[2] * ux + m[5] * uy + m[8] * sin_l),
        Vec3(m[0] * ex + m[3] * ey, m[1] * ex + m[4] * ey, m[2] * ex + m[5] * ey),
        Vec3(m[0] * gx + m[3] * gy + m[6] * gz, m[1] * gx + m[4] * gy + m[7] * gz, m[2] * gx + m[5] * gy + m[8] * gz),
    )


@kernel
def place_of(world: World, r: Vec3) -> Place:
    """Return the Place of a point over the round Earth (see `_round_place`)."""
    return _round_place(world.globe, world.ground, r)


@helper
def climb_of(world: World, r: Vec3, v: Vec3) -> float:
    """Return the climb rate along the local vertical."""
    if world.globe.round == 0:
        return v.z
    return dot(v, place_of(world, r).up)


@helper
def height_of(world: World, r: Vec3) -> float:
    """Return a point's height above the ground at the launch point: along the local vertical of a round Earth."""
    if world.globe.round == 0:
        return r.z
    return place_of(world, r).height


@helper
def air_at(world: World, height: float) -> Air:
    """Return the Air at a height above ground, held beyond the table."""
    i, f = cell((height - world.air_z0) * world.air_per_metre, world.air.shape[0])
    t = world.air
    return Air(
        lerp(t, i, f, AirColumn.DENSITY),
        lerp(t, i, f, AirColumn.PRESSURE),
        lerp(t, i, f, AirColumn.SOUND),
        lerp(t, i, f, AirColumn.VISCOSITY),
        lerp(t, i, f, AirColumn.GRAVITY),
    )


@helper
def level_wind(drawn: DrawnModel, height: float) -> tuple[float, float]:
    """Return the east and north components of the air's velocity over the ground; `wind` scales and turns the table."""
    world, k = drawn.world, drawn.wind
    i, f = cell(sqrt(larger(height, 0.0)) * world.wind_per_root, k.table.shape[0])
    east = k.scale * lerp(k.table, i, f, WindColumn.EAST)
    north = k.scale * lerp(k.table, i, f, WindColumn.NORTH)
    return k.cos * east + k.sin * north, k.cos * north - k.sin * east


class Surroundings(NamedTuple):
    """What is around a point: air, its velocity over the ground and gravity (world axes), height above ground, local vertical."""

    air: Air
    wind: Vec3
    gravity: Vec3
    height: float
    up: Vec3


@helper
def around(drawn: DrawnModel, r: Vec3, gust: Vec3) -> Surroundings:
    """Return the Surroundings of a point; gust : added to the wind, east, north and up at the point, m/s."""
    world = drawn.world
    if world.globe.round == 0:
        air = air_at(world, r.z)
        east, north = level_wind(drawn, r.z)
        wind = Vec3(east + gust.x, north + gust.y, gust.z)
        zero, one = like(0.0, r.z), like(1.0, r.z)
        return Surroundings(air, wind, Vec3(zero, zero, -air.gravity), r.z, Vec3(zero, zero, one))
    place = place_of(world, r)
    air = air_at(world, place.height)
    east, north = level_wind(drawn, place.height)
    level = add(scale(place.east, east + gust.x), scale(cross(place.up, place.east), north + gust.y))
    wind = add(level, scale(place.up, gust.z))
    return Surroundings(air, wind, place.gravity, place.height, place.up)


@helper
def gust_at(drawn: DrawnModel, k: int) -> Vec3:
    """Return the gust at the start, middle or end of the step, world axes, m/s."""
    return vector_at(drawn.gust[k], GustColumn.EAST)


@helper
def flow_at(s: State, drawn: DrawnModel, k: int) -> tuple[Matrix, Surroundings, Flow]:
    """Return the attitude's matrix, the Surroundings and the Flow in state s; k picks the gust."""
    m = matrix_of(s.q)
    near = around(drawn, s.r, gust_at(drawn, k))
    u = to_body(m, sub(s.v, near.wind))
    rate = sub(s.w, to_body(m, drawn.world.earth_rate))
    return m, near, flow_of(drawn.aero, u, rate, near.air)


@helper
def _jet(s: State, body: Body, drawn: DrawnModel, pressure: float) -> AirLoads:
    """Return what the motor does: thrust with the nozzle's pressure term along its own line, and jet damping.

    The gas leaves with the nozzle's own velocity; the vehicle's inertia shrinks (Thomson, Introduction to Space Dynamics).
    """
    push = larger(body.thrust + body.burning * (drawn.reference_pressure - pressure) * drawn.exit_area, 0.0)
    t = scale(drawn.thrust_line, push)
    nozzle = offset(body.cg, drawn.exit)
    tm = cross(nozzle, t)
    jet = cross(nozzle, cross(s.w, nozzle))
    shrink = sym_times(body.inertia_rate, s.w)
    moment = Vec3(tm.x - body.flow * (jet.x + drawn.exit_swirl * s.w.x) - shrink.x, tm.y - body.flow * jet.y - shrink.y, tm.z - body.flow * jet.z - shrink.z)
    return AirLoads(t, moment)


@helper
def _gathered(m: Matrix, force: Vec3, moment: Vec3, near: Surroundings, flow: Flow) -> Loads:
    """Return the Loads of a force and a moment in a flow."""
    return Loads(
        m,
        force,
        moment,
        flow.rate,
        near.gravity,
        near.wind,
        near.up,
        near.height,
        flow.speed,
        flow.cross_speed,
        flow.u,
        flow.mach,
        flow.half * dot(flow.u, flow.u),
        flow.speed * flow.per_metre,
    )


@helper
def inline_loads(s: State, body: Body, drawn: DrawnModel, fins: np.ndarray, k: int, out: np.ndarray) -> Loads:
    """Return the Loads in state s; inlined into the integrator.

    fins : (4, controls) fin angles at the start, middle and end of the step, rad; k picks the row. out : (panels, SEEN_COLUMNS),
    filled with what each panel did.
    """
    m, near, flow = flow_at(s, drawn, k)
    air = air_loads(drawn, flow, body.cg, body.burning, fins, k, out)
    motor = _jet(s, body, drawn, near.air.pressure)
    return _gathered(m, add(air.force, motor.force), add(air.moment, motor.moment), near, flow)


@kernel
def calm_loads(s: State, drawn: DrawnModel) -> Loads:
    """Return the Loads of a body whose attitude the air does not turn (under a canopy): the flow alone, no force and no moment."""
    m, near, flow = flow_at(s, drawn, FinRow.START)
    zero = like(0.0, s.r.z)
    none = Vec3(zero, zero, zero)
    return _gathered(m, none, none, near, flow)


@kernel
def loads(s: State, body: Body, drawn: DrawnModel, fins: np.ndarray, k: int, out: np.ndarray) -> Loads:
    """Return the Loads in state s (see `inline_loads`)."""
    return inline_loads(s, body, drawn, fins, k, out)
