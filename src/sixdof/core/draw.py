"""What differs from one flight of an ensemble to the next, in the form the kernels read."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.columns import Column

OTHER_BODY = 1 << 32  # added to the number of the flight: another body's altimeter has other noise


class Draw(NamedTuple):
    """One leg's departures from its model. In the nominal flight factors are 1 and offsets 0.

    What is drawn for single canopies, rules and stages is worked into Work.canopy, Work.rule_delay and Work.stage, what is drawn for stages
    that fly together into Work.airframe, Work.grain and Work.cant.
    """

    passing = True  # kernels make it anew for every leg; what Python lends has the same type to them, so that `fly` is compiled once

    impulse: float  # factor on the total impulse, burn time kept
    burn_time: float  # factor on the burn time, impulse kept
    tilt_y: float  # thrust line turned about body y, then z, rad
    tilt_z: float
    offset_y: float  # thrust line moved along body y and z, m
    offset_z: float
    mass: float  # factor on the dry mass; inertia goes with it
    cg_x: float  # offset of the dry centre of mass's STATION (aft positive), m
    cg_y: float  # and off the axis along body y and z, m
    cg_z: float
    inertia: float  # factor on the dry inertia
    drag: float  # factor on the axial force
    normal_force: float  # factor on the normal force of body and fins
    damping: float  # factor on what the body's turning does to the air's forces and moments
    control_force: float  # factor on the force that control fins make by their deflection
    cp: float  # offset of the station of the centre of pressure (aft positive), m
    cant: float  # added to the cant of every panel, rad
    elevation: float  # of the rail itself, rad above the horizontal: the mission's own plus the offset drawn
    azimuth: float  # of the rail itself, rad true: likewise
    servo_speed: float  # factor on the servos' natural frequency
    servo_rate: float  # factor on their rate limit
    gain_pitch: float  # factors on the autopilot's gains
    gain_yaw: float
    gain_roll: float
    temperature: float  # added to the air temperature at all heights, K
    pressure: float  # factor on the air pressure at all heights
    wind_scale: float  # factor on the wind table,
    wind_cos: float  # and its turn: (e, n) -> scale (e cos + n sin, n cos - e sin)
    wind_sin: float
    member: float  # number of the wind table (World.wind), from 0: which forecast blows
    wind_at_20_ft: float  # of the turbulence, m/s, -1: the mean wind's own there
    seed_high: float  # upper and lower half of the seed, and the number of the flight: whole numbers, exact in float64
    seed_low: float
    flight: float
    centring: np.ndarray  # (control fins,) C-contiguous: added to each fin's neutral angle, rad


# ------------------------------------------------------------------ whole flights


class CommonDraw(Column):
    """FlightDraw.common: what all bodies of a flight share, as in `Draw`."""

    ELEVATION = "rad"
    AZIMUTH = "rad"
    SERVO_SPEED = "1"
    SERVO_RATE = "1"
    GAIN_PITCH = "1"
    GAIN_YAW = "1"
    GAIN_ROLL = "1"
    TEMPERATURE = "K"
    PRESSURE = "1"
    WIND_SCALE = "1"
    WIND_COS = "1"
    WIND_SIN = "1"
    SEED_HIGH = "1"
    SEED_LOW = "1"
    FLIGHT = "1"


class StageDraw(Column):
    """FlightDraw.stage: of each stage, as in `Draw` but for the last two."""

    IMPULSE = "1"
    BURN_TIME = "1"
    TILT_Y = "rad"
    TILT_Z = "rad"
    OFFSET_Y = "m"
    OFFSET_Z = "m"
    MASS = "1"
    CG_X = "m"
    CG_Y = "m"
    CG_Z = "m"
    INERTIA = "1"
    DRAG = "1"
    NORMAL_FORCE = "1"
    DAMPING = "1"
    CONTROL_FORCE = "1"
    CP = "m"
    CANT = "rad"
    IGNITION_DELAY = "s", "added to the mission's own"
    HANGING_DRAG = "1", "factor on the drag coefficient of the side"


class JointDraw(Column):
    """FlightDraw.joint: of each joint, by the stage behind it."""

    IMPULSE = "1"
    DELAY = "s"
    TILT_Y = "rad", "of the stages behind it, about body y"
    TILT_Z = "rad"


class CanopyDraw(Column):
    """FlightDraw.canopy."""

    DRAG = "1"
    DELAY = "s"
    FILL_TIME = "1"


class HarnessDraw(Column):
    """FlightDraw.harness."""

    STRENGTH = "1"
    STIFFNESS = "1"
    TUMBLING_DRAG = "1"
    IMPULSE = "1"


class AirDraw(Column):
    """FlightDraw.air: what stands in place of the mission's own."""

    MEMBER = "1", "which forecast of the wind"
    WIND_AT_20_FT = "m/s", "-1: the mean wind's own there"


class FlightDraw(NamedTuple):
    """One flight's departures from the mission. Factors are 1 and offsets 0 in the nominal flight.

    common : (CommonDraw,). stage : (stages, StageDraw). joint : (stages, JointDraw), row 0 not used. canopy : (canopies, CanopyDraw).
    harness : (harnesses, HarnessDraw). rule : (rules,) added to their delays, s. failure : (failures,) 1 where it happens. centring : (control
    fins,). air : (AirDraw,). path : (paths,) numbers of the mission that were drawn, in the order of `draws.drawn.path_names`: a `Plan` knows
    nothing of them, and must be that of the mission with these numbers (`draws.drawn.drawn_mission`). Packed draws are the same with
    flights in front.
    """

    common: np.ndarray
    stage: np.ndarray
    joint: np.ndarray
    canopy: np.ndarray
    harness: np.ndarray
    rule: np.ndarray
    failure: np.ndarray
    centring: np.ndarray
    air: np.ndarray
    path: np.ndarray
