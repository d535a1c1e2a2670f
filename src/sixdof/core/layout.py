"""Published layouts of the arrays that laws, logs, events and summaries use: names to indices.

`law(t, sensed, memory, gains, command)`: float64 arrays; `memory` and `command` are written in place; called once a tick.
"""

from __future__ import annotations

# ---- sensed: what a law may read (the guidance law's goal is in it when the control law is called)
SENSED = (
    "time",  # since ignition, s
    "time_since_liftoff",  # s, negative before liftoff is detected
    "east", "north", "height",  # position from the rail's foot, m (height above ground)
    "velocity_east", "velocity_north", "velocity_up",  # m/s
    "q_w", "q_x", "q_y", "q_z",  # attitude body -> world
    "rate_x", "rate_y", "rate_z",  # body rates, rad/s
    "force_x", "force_y", "force_z",  # specific force (what an accelerometer reads), m/s^2
    "dynamic_pressure",  # from the speed over the ground and the standard density of the height, Pa
    "frame_w", "frame_x", "frame_y", "frame_z",  # launch frame -> world
    "goal_w", "goal_x", "goal_y", "goal_z",  # attitude wanted, body -> world
    "period",  # of the tick, s
    "enabled",  # 1 while the fins are live, 0 while they are centred
)  # fmt: skip
# ---- command: what a guidance law writes, and what a control law writes (rad of fin, before the mixer)
GOAL = ("q_w", "q_x", "q_y", "q_z")
DEMAND = ("roll", "pitch", "yaw")

S_TIME, S_LIFTOFF, S_EAST, S_NORTH, S_HEIGHT, S_VE, S_VN, S_VU = range(8)
S_QW, S_QX, S_QY, S_QZ, S_P, S_Q, S_R, S_FX, S_FY, S_FZ, S_PRESSURE = range(8, 19)
S_FRAME_W, S_FRAME_X, S_FRAME_Y, S_FRAME_Z, S_GOAL_W, S_GOAL_X, S_GOAL_Y, S_GOAL_Z, S_PERIOD, S_ENABLED = range(19, 29)

# ---- gains of the built-in control law, a flat array
GAINS = (
    "roll_p", "roll_i", "roll_d", "pitch_p", "pitch_i", "pitch_d", "yaw_p", "yaw_i", "yaw_d",
    "pressure", "scale_low", "scale_high", "integral_limit",
)  # fmt: skip
G_ROLL, G_PITCH, G_YAW, G_PRESSURE, G_LOW, G_HIGH, G_LIMIT = 0, 3, 6, 9, 10, 11, 12
MEMORY_SIZE = 16

# ---- one row of the log; the fins' angles, commands and hinge moments follow these columns
LOG = (
    "time", "phase", "east", "north", "height", "velocity_east", "velocity_north", "velocity_up",
    "q_w", "q_x", "q_y", "q_z", "rate_x", "rate_y", "rate_z",
    "tilt_pitch", "tilt_yaw", "roll", "tilt", "goal_pitch", "goal_yaw", "goal_roll", "tilt_error",
    "air_speed", "mach", "dynamic_pressure", "incidence", "incidence_pitch", "incidence_yaw",
    "static_margin", "thrust", "mass", "cg", "force_x", "force_y", "force_z", "wind_east", "wind_north", "drag_area",
)  # fmt: skip
(
    L_TIME, L_PHASE, L_EAST, L_NORTH, L_HEIGHT, L_VE, L_VN, L_VU, L_QW, L_QX, L_QY, L_QZ, L_P, L_Q, L_R,
    L_TILT_PITCH, L_TILT_YAW, L_ROLL, L_TILT, L_GOAL_PITCH, L_GOAL_YAW, L_GOAL_ROLL, L_ERROR,
    L_SPEED, L_MACH, L_PRESSURE, L_INCIDENCE, L_INCIDENCE_PITCH, L_INCIDENCE_YAW,
    L_MARGIN, L_THRUST, L_MASS, L_CG, L_FX, L_FY, L_FZ, L_WIND_EAST, L_WIND_NORTH, L_DRAG_AREA,
) = range(39)  # fmt: skip
LOG_COLUMNS = 39

# ---- events in time order of a usual flight; openings of canopies follow these rows
EVENTS = (
    "liftoff", "fore_guide_leaves", "rail_departure", "fins_enabled", "burnout", "fins_disabled", "apogee", "landing",
)  # fmt: skip
(
    E_LIFTOFF, E_FORE_GUIDE, E_RAIL, E_ENABLED, E_BURNOUT, E_DISABLED, E_APOGEE, E_LANDING,
) = range(8)  # fmt: skip

EVENT_COLUMNS = (
    "time", "east", "north", "height", "velocity_east", "velocity_north", "velocity_up", "air_speed", "mach",
    "dynamic_pressure", "tilt", "incidence", "static_margin",
)  # fmt: skip

# ---- outcomes of a flight, one number each
SUMMARY = (
    "apogee", "apogee_time", "apogee_east", "apogee_north", "rail_departure_speed", "rail_departure_incidence",
    "rail_departure_margin", "burnout_speed", "burnout_height", "max_speed", "max_mach", "max_dynamic_pressure",
    "max_force", "max_incidence", "max_tilt", "tilt_error_rms", "tilt_error_max", "roll_error_max", "saturation_share",
    "min_static_margin", "landing_east", "landing_north", "landing_speed", "flight_time",
    "time_above_mach_08", "time_beyond_incidence", "opening_speed", "time_transonic", "time_stalled",
    "time_beyond_reynolds", "hinge_moment_max",
)  # fmt: skip
(
    X_APOGEE, X_APOGEE_TIME, X_APOGEE_EAST, X_APOGEE_NORTH, X_RAIL_SPEED, X_RAIL_INCIDENCE, X_RAIL_MARGIN,
    X_BURNOUT_SPEED, X_BURNOUT_HEIGHT, X_MAX_SPEED, X_MAX_MACH, X_MAX_PRESSURE, X_MAX_FORCE, X_MAX_INCIDENCE, X_MAX_TILT,
    X_ERROR_RMS, X_ERROR_MAX, X_ROLL_ERROR_MAX, X_SATURATION, X_MIN_MARGIN, X_LANDING_EAST, X_LANDING_NORTH,
    X_LANDING_SPEED, X_FLIGHT_TIME, X_TIME_MACH, X_TIME_INCIDENCE, X_OPENING_SPEED, X_TIME_TRANSONIC, X_TIME_STALLED,
    X_TIME_REYNOLDS, X_HINGE,
) = range(31)  # fmt: skip

# ---- how a flight ended
LANDED_OK, NO_LIFTOFF, DIVERGED, OUT_OF_TIME, ABOVE_AIR = range(5)
