"""From the model and one draw to the constants of one flight."""

from __future__ import annotations

from math import cos, sin

import numpy as np

from sixdof._jit import kernel
from sixdof.core.algebra import arm, launch_frame, matrix_of, multiply, tilt_quaternion, to_body, to_world
from sixdof.core.body import gather_grains
from sixdof.core.columns import AirColumn, AirframeColumn
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, GainRow
from sixdof.core.computer.control import GAINS_EACH
from sixdof.core.computer.sensors import Chance
from sixdof.core.draw import Draw
from sixdof.core.leg.drawn import DrawnModel, WindDraw
from sixdof.core.leg.work import Work
from sixdof.core.types import Mass, Model, Quat, Servo, State, Station, Vec3, World

GAS_CONSTANT = 287.05307  # of dry air, J/(kg K) (US Standard Atmosphere 1976)
HEAT_RATIO = 1.4
VISCOSITY_EXPONENT = 0.76  # mu ~ T^0.76 near 280 K (from Sutherland's law), for small offsets of temperature
RIGHT_ANGLE = 1.5707963267948966


@kernel
def dispersed_air(world: World, temperature_offset: float, pressure_factor: float, rows: np.ndarray) -> None:
    """Fill `rows` with the air warmed by an offset at all heights, its pressure rebuilt hydrostatically from the ground up and down.

    Pressure at the ground is pressure_factor times the nominal; gravity keeps its column.
    """
    old = world.air
    n = old.shape[0]
    ground = int(-world.air_z0 * world.air_per_metre + 0.5)
    for i in range(n):
        for j in range(old.shape[1]):
            rows[i, j] = old[i, j]
    rows[ground, AirColumn.PRESSURE] = old[ground, AirColumn.PRESSURE] * pressure_factor
    for side in range(2):
        i = ground
        while (side == 0 and i < n - 1) or (side == 1 and i > 0):
            k = i + 1 if side == 0 else i - 1
            # ln p falls by the same layer thickness times T/T': exact for the table's own hydrostatic column
            a, b = old[i, AirColumn.SOUND], old[k, AirColumn.SOUND]
            cold = (a * a + b * b) * 0.5 / (HEAT_RATIO * GAS_CONSTANT)
            ratio = cold / (cold + temperature_offset)
            rows[k, AirColumn.PRESSURE] = rows[i, AirColumn.PRESSURE] * (old[k, AirColumn.PRESSURE] / old[i, AirColumn.PRESSURE]) ** ratio
            i = k
    for i in range(n):
        cold = old[i, AirColumn.SOUND] ** 2 / (HEAT_RATIO * GAS_CONSTANT)
        warm = (cold + temperature_offset) / cold
        rows[i, AirColumn.DENSITY] = old[i, AirColumn.DENSITY] * rows[i, AirColumn.PRESSURE] / old[i, AirColumn.PRESSURE] / warm
        rows[i, AirColumn.SOUND] = old[i, AirColumn.SOUND] * warm**0.5
        rows[i, AirColumn.VISCOSITY] = old[i, AirColumn.VISCOSITY] * warm**VISCOSITY_EXPONENT


@kernel
def drawn_world(world: World, draw: Draw, rows: np.ndarray) -> World:
    """Return the World of one flight; `rows` (as world.air) is its scratch space for air that differs from the model's."""
    air = world.air
    if draw.temperature != 0.0 or draw.pressure != 1.0:
        dispersed_air(world, draw.temperature, draw.pressure, rows)
        air = rows
    return World(
        air, world.air_z0, world.air_per_metre, world.wind, world.wind_per_root, world.earth_rate, world.ground, world.globe, world.turbulence, world.gusts
    )


@kernel
def drawn_gains(gains: np.ndarray, draw: Draw, out: np.ndarray) -> None:
    """Fill `out` with the built-in control law's gains times this flight's factors."""
    for i in range(gains.shape[0]):
        out[i] = gains[i]
    for first in range(GAIN_HEAD, gains.shape[0], GAIN_ROW):
        for j in range(GAINS_EACH):
            out[first + GainRow.ROLL_P + j] *= draw.gain_roll
            out[first + GainRow.PITCH_P + j] *= draw.gain_pitch
            out[first + GainRow.YAW_P + j] *= draw.gain_yaw


@kernel
def chance_of(draw: Draw) -> Chance:
    """Return which random numbers a flight uses."""
    return Chance(np.uint64(draw.seed_high) * np.uint64(1 << 32) + np.uint64(draw.seed_low), np.uint64(draw.flight))


@kernel
def airframe_mass(airframe: np.ndarray, grain: np.ndarray) -> Mass:
    """Return the mass table of a body in this flight (Work.airframe, Work.grain)."""
    return Mass(
        airframe[AirframeColumn.DRY],
        airframe[AirframeColumn.CG_X],
        airframe[AirframeColumn.CG_Y],
        airframe[AirframeColumn.CG_Z],
        airframe[AirframeColumn.IXX],
        airframe[AirframeColumn.IYY],
        airframe[AirframeColumn.IZZ],
        airframe[AirframeColumn.IXY],
        airframe[AirframeColumn.IXZ],
        airframe[AirframeColumn.IYZ],
        grain,
    )


@kernel
def draw_model(model: Model, draw: Draw, work: Work) -> DrawnModel:
    """Return the DrawnModel of one leg; work holds the body's own airframe, and room for its air and the gusts it feels."""
    rail, servo, thrust = model.rail, model.servo, model.thrust
    grains = gather_grains(airframe_mass(work.airframe, work.grain), draw.mass, draw.inertia, draw.cg_x, draw.cg_y, draw.cg_z)
    ce, se, ca, sa = cos(draw.elevation), sin(draw.elevation), cos(draw.azimuth), sin(draw.azimuth)
    line = Vec3(ce * sa, ce * ca, se)
    cty, sty, ctz, stz = cos(draw.tilt_y), sin(draw.tilt_y), cos(draw.tilt_z), sin(draw.tilt_z)
    total = grains.dry + grains.propellant
    cg = Station(grains.cg.x - grains.moment.x / total, grains.cg.y + grains.moment.y / total, grains.cg.z + grains.moment.z / total)
    frame = matrix_of(rail_attitude(draw.elevation, draw.azimuth))
    start = to_world(frame, Vec3(rail.base_x - cg.x, cg.y, cg.z))
    return DrawnModel(
        drawn_world(model.world, draw, work.air),
        WindDraw(model.world.wind[int(draw.member)], draw.wind_scale, draw.wind_cos, draw.wind_sin, draw.wind_at_20_ft),
        work.gust,
        model.aero,
        draw.drag,
        draw.normal_force,
        draw.damping,
        draw.control_force,
        draw.cp,
        work.cant,
        draw.cant,
        grains,
        work.airframe[AirframeColumn.FORE_MASS],
        Vec3(cty * ctz, stz, -sty * ctz),
        Station(thrust.exit_x, draw.offset_y, draw.offset_z),
        thrust.exit_area,
        0.5 * thrust.exit_radius * thrust.exit_radius,
        thrust.reference_pressure,
        rail,
        line,
        start,
        arm(cg, rail.aft_x),
        Servo(
            servo.frequency * draw.servo_speed,
            servo.damping,
            servo.rate_limit * draw.servo_rate,
            servo.acceleration_limit,
            servo.travel,
            servo.delay,
            servo.backlash,
            servo.dead_band,
            servo.resolution,
            servo.stall_torque,
        ),
    )


@kernel
def rail_attitude(elevation: float, azimuth: float) -> Quat:
    """Return the attitude of the vehicle on a rail: leaning from the vertical towards the azimuth, no roll."""
    return multiply(launch_frame(azimuth), tilt_quaternion(RIGHT_ANGLE - elevation, 0.0, 0.0))


@kernel
def state_at_rest(drawn: DrawnModel, draw: Draw) -> State:
    """Return the state on the rail before ignition, at rest on the turning Earth."""
    q = rail_attitude(draw.elevation, draw.azimuth)
    w = to_body(matrix_of(q), drawn.world.earth_rate)
    return State(drawn.start, Vec3(0.0, 0.0, 0.0), q, w)
