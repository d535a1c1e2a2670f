"""What differs from one flight of an ensemble to the next, in the form the kernels read."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Draw(NamedTuple):
    """One leg's departures from its model. In the nominal flight factors are 1 and offsets 0.

    What is drawn for single canopies, rules and stages is worked into Work.canopy, Work.rule_delay and Work.stage.
    """

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
    seed_high: float  # upper and lower half of the seed, and the number of the flight: whole numbers, exact in float64
    seed_low: float
    flight: float
    centring: np.ndarray  # (control fins,) C-contiguous: added to each fin's neutral angle, rad
