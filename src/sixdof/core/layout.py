"""Published layouts of the arrays that laws, logs, events and summaries use: names to indices.

`law(t, sensed, memory, gains, command)`: float64 arrays; `memory` and `command` are written in place; called once a tick.
"""

from __future__ import annotations

import numpy as np

# ---- sensed: what a law may read (the guidance law's goal is in it when the control law is called)
SENSED = (
    "time",  # since ignition, s
    "time_since_liftoff",  # s, -1 before liftoff is detected
    "east",
    "north",
    "height",  # estimated position from the rail's foot, m (height above ground)
    "velocity_east",
    "velocity_north",
    "velocity_up",  # estimated, over the ground, m/s
    "q_w",
    "q_x",
    "q_y",
    "q_z",  # estimated attitude, body -> world
    "rate_x",
    "rate_y",
    "rate_z",  # gyro reading, body axes, rad/s
    "specific_force_x",
    "specific_force_y",
    "specific_force_z",  # accelerometer reading, body axes, m/s^2
    "dynamic_pressure",  # from the estimated speed over the ground and the standard density of the height, Pa
    "mach",  # likewise
    "frame_w",
    "frame_x",
    "frame_y",
    "frame_z",  # launch frame -> world
    "commanded_w",
    "commanded_x",
    "commanded_y",
    "commanded_z",  # attitude wanted, body -> world
    "commanded_rate_x",
    "commanded_rate_y",
    "commanded_rate_z",  # body rates wanted, rad/s
    "period",  # of the tick, s
    "enabled",  # 1 while the fins are live, 0 while they are centred
    "saturated",  # 1 if the mixer had to cut the last demands
    "booster",  # 1 while a booster is attached
    "mode",  # of the guidance: 0 profile, 1 waypoints, 2 hold
    "waypoint",  # number of the current waypoint, from 0
    "baro_height",  # barometer, m above ground
    "fix_east",
    "fix_north",
    "fix_height",
    "fix_velocity_east",
    "fix_velocity_north",
    "fix_velocity_up",  # last GNSS fix
    "fix_age",  # s, -1 before the first one
    "field_x",
    "field_y",
    "field_z",  # magnetometer, body axes, in units of the field's strength
)
# numpy integers: helpers that take one would be compiled again for each Python integer
(
    S_TIME,
    S_LIFTOFF,
    S_EAST,
    S_NORTH,
    S_HEIGHT,
    S_VE,
    S_VN,
    S_VU,
    S_QW,
    S_QX,
    S_QY,
    S_QZ,
    S_P,
    S_Q,
    S_R,
    S_FX,
    S_FY,
    S_FZ,
    S_PRESSURE,
    S_MACH,
    S_FRAME_W,
    S_FRAME_X,
    S_FRAME_Y,
    S_FRAME_Z,
    S_GOAL_W,
    S_GOAL_X,
    S_GOAL_Y,
    S_GOAL_Z,
    S_GOAL_P,
    S_GOAL_Q,
    S_GOAL_R,
    S_PERIOD,
    S_ENABLED,
    S_SATURATED,
    S_BOOSTER,
    S_MODE,
    S_WAYPOINT,
    S_BARO,
    S_FIX_EAST,
    S_FIX_NORTH,
    S_FIX_HEIGHT,
    S_FIX_VE,
    S_FIX_VN,
    S_FIX_VU,
    S_FIX_AGE,
    S_FIELD_X,
    S_FIELD_Y,
    S_FIELD_Z,
) = (np.int64(i) for i in range(48))

# ---- command of a guidance law: the attitude wanted, body -> world, and the body rates wanted (rad/s)
GOAL = ("q_w", "q_x", "q_y", "q_z", "rate_x", "rate_y", "rate_z")
GOAL_SIZE = 7
# ---- command of a control law
DEMAND = (
    "roll",
    "pitch",
    "yaw",  # demands, rad of fin, before the mixer
    "direct",  # 1: the fins take the angles at fin_1 .. instead of the mixer's
    "enable",  # 1 makes the fins live, -1 centres them, 0 leaves them to the event rules
    "deploy",  # k releases canopy k (from 1), 0 none
    "separate",  # 1 fires the separation
    "light",  # 1 lights the next motor
    "fin_1",
    "fin_2",
    "fin_3",
    "fin_4",
    "fin_5",
    "fin_6",
    "fin_7",
    "fin_8",  # rad, used if direct is 1
)
(D_ROLL, D_PITCH, D_YAW, D_DIRECT, D_ENABLE, D_DEPLOY, D_SEPARATE, D_LIGHT, D_FIN) = range(9)
DEMAND_SIZE = 16
MEMORY_SIZE = 64  # numbers a law may keep from tick to tick, unless it asks for more

# ---- one row of the log; the fins' angles, commands and hinge moments follow these columns
LOG = (
    "time",
    "phase",
    "east",
    "north",
    "height",
    "velocity_east",
    "velocity_north",
    "velocity_up",
    "q_w",
    "q_x",
    "q_y",
    "q_z",
    "rate_x",
    "rate_y",
    "rate_z",
    "tilt_pitch",
    "tilt_yaw",
    "roll",
    "tilt",
    "commanded_pitch",
    "commanded_yaw",
    "commanded_roll",
    "tilt_error",
    "airspeed",
    "mach",
    "dynamic_pressure",
    "incidence",
    "incidence_pitch",
    "incidence_yaw",
    "static_margin",
    "thrust",
    "mass",
    "cg",
    "specific_force_x",
    "specific_force_y",
    "specific_force_z",
    "wind_east",
    "wind_north",
    "drag_area",
    "joint_force",
    "up",
    "guidance_mode",
    "waypoint",
    "estimated_east",
    "estimated_north",
    "estimated_height",
    "estimated_q_w",
    "estimated_q_x",
    "estimated_q_y",
    "estimated_q_z",
    "attitude_error",
    "position_error",
    "velocity_error",
    "roll_demand",
    "pitch_demand",
    "yaw_demand",
)
(
    L_TIME,
    L_PHASE,
    L_EAST,
    L_NORTH,
    L_HEIGHT,
    L_VE,
    L_VN,
    L_VU,
    L_QW,
    L_QX,
    L_QY,
    L_QZ,
    L_P,
    L_Q,
    L_R,
    L_TILT_PITCH,
    L_TILT_YAW,
    L_ROLL,
    L_TILT,
    L_GOAL_PITCH,
    L_GOAL_YAW,
    L_GOAL_ROLL,
    L_ERROR,
    L_SPEED,
    L_MACH,
    L_PRESSURE,
    L_INCIDENCE,
    L_INCIDENCE_PITCH,
    L_INCIDENCE_YAW,
    L_MARGIN,
    L_THRUST,
    L_MASS,
    L_CG,
    L_FX,
    L_FY,
    L_FZ,
    L_WIND_EAST,
    L_WIND_NORTH,
    L_DRAG_AREA,
    L_JOINT,
    L_UP,
    L_MODE,
    L_WAYPOINT,
    L_EST_EAST,
    L_EST_NORTH,
    L_EST_HEIGHT,
    L_EST_QW,
    L_EST_QX,
    L_EST_QY,
    L_EST_QZ,
    L_ATTITUDE_ERROR,
    L_POSITION_ERROR,
    L_VELOCITY_ERROR,
    L_ROLL_DEMAND,
    L_PITCH_DEMAND,
    L_YAW_DEMAND,
) = range(56)
LOG_COLUMNS = 56

# ---- events of a body; releases of canopies and their line stretches, then ignitions, burnouts and partings of stages follow these rows.
# "burnout" is that of the motor lit on the rail; "drag_separation" the moment from which drag alone would part the aft joint
EVENTS = ("liftoff", "fore_guide_leaves", "rail_departure", "fins_enabled", "burnout", "fins_disabled", "apogee", "landing", "drag_separation")
(E_LIFTOFF, E_FORE_GUIDE, E_RAIL, E_ENABLED, E_BURNOUT, E_DISABLED, E_APOGEE, E_LANDING, E_DRAG_PARTING) = range(9)

EVENT_COLUMNS = (
    "time",
    "east",
    "north",
    "height",
    "velocity_east",
    "velocity_north",
    "velocity_up",
    "airspeed",
    "mach",
    "dynamic_pressure",
    "tilt",
    "incidence",
    "static_margin",
    "sensed_height",
    "sensed_speed",
    "sensed_tilt",
)

# ---- outcomes of a flight, one number each
SUMMARY = (
    "apogee_height",
    "apogee_time",
    "apogee_east",
    "apogee_north",
    "rail_departure_speed",
    "rail_departure_incidence",
    "rail_departure_margin",
    "burnout_airspeed",
    "burnout_height",
    "airspeed_max",
    "mach_max",
    "dynamic_pressure_max",
    "specific_force_max",
    "incidence_max",
    "tilt_max",
    "tilt_error_rms",
    "tilt_error_max",
    "roll_error_max",
    "saturation_share",
    "static_margin_min",
    "landing_east",
    "landing_north",
    "landing_ground_speed",
    "flight_time",
    "time_above_mach_08",
    "time_beyond_incidence",
    "opening_airspeed",
    "time_transonic",
    "time_stalled",
    "time_beyond_reynolds",
    "hinge_moment_max",
    "tilt_error_boost_rms",
    "tilt_error_coast_rms",
    "roll_error_rms",
    "rate_reversals",
    "rate_limit_share",
    "fin_travel_total",
    "servo_energy",
    "attitude_error_max",
    "position_error_max",
    "velocity_error_max",
    "load_factor_max",
    "waypoints_captured",
    "waypoint_miss_max",
)
(
    X_APOGEE,
    X_APOGEE_TIME,
    X_APOGEE_EAST,
    X_APOGEE_NORTH,
    X_RAIL_SPEED,
    X_RAIL_INCIDENCE,
    X_RAIL_MARGIN,
    X_BURNOUT_SPEED,
    X_BURNOUT_HEIGHT,
    X_MAX_SPEED,
    X_MAX_MACH,
    X_MAX_PRESSURE,
    X_MAX_FORCE,
    X_MAX_INCIDENCE,
    X_MAX_TILT,
    X_ERROR_RMS,
    X_ERROR_MAX,
    X_ROLL_ERROR_MAX,
    X_SATURATION,
    X_MIN_MARGIN,
    X_LANDING_EAST,
    X_LANDING_NORTH,
    X_LANDING_SPEED,
    X_FLIGHT_TIME,
    X_TIME_MACH,
    X_TIME_INCIDENCE,
    X_OPENING_SPEED,
    X_TIME_TRANSONIC,
    X_TIME_STALLED,
    X_TIME_REYNOLDS,
    X_HINGE,
    X_ERROR_BOOST,
    X_ERROR_COAST,
    X_ROLL_RMS,
    X_REVERSALS,
    X_RATE_SHARE,
    X_SERVO_TRAVEL,
    X_SERVO_ENERGY,
    X_ATTITUDE_ERROR,
    X_POSITION_ERROR,
    X_VELOCITY_ERROR,
    X_LOAD_FACTOR,
    X_CAPTURED,
    X_MISS,
) = range(44)

# ---- how a flight ended; PARTED and CORD_PARTED end a leg only: the flight goes on as two bodies
LANDED_OK, NO_LIFTOFF, DIVERGED, OUT_OF_TIME, ABOVE_AIR, LAW_FAILED, LAW_NONSENSE, PARTED, CORD_PARTED = range(9)

NOT_IGNITED = -1.0  # in Handover.IGNITED
BY_COMMAND, BY_DRAG, BY_UPPER_MOTOR = 1, 2, 3  # in Handover.CAUSE
