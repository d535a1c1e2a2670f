"""The columns of the flight computer's own tables (see `core/columns.py` for what a `Column` is)."""

from __future__ import annotations

from sixdof.core.columns import Column, width

MOST_BURNS = 8  # burns and separations that are told apart

# ------------------------------------------------------------------ control law and mixer


class Gain(Column):
    """Head of the gains of the built-in control law; then for each configuration (alone, with a booster) so many rows of `GainRow`."""

    OVER = "1", "what the rows run over: 0 nothing (one row), 1 dynamic pressure, 2 Mach number"
    ROWS = "1", "rows per configuration"
    PRESSURE = "Pa", "dynamic pressure at which gains hold as written; 0: gains are not scaled by it"
    LOW = "1", "limits of that scaling"
    HIGH = "1"
    INTEGRAL = "rad", "limit of the integral's part of a demand"
    FILTER = "s", "time constant of the derivative's filter; 0: none"
    ON_ERROR = "1", "1: D acts on the error's change; 0: on the measured rate"
    CASCADE = "1", "1: the attitude loop commands a rate (p, limited), the rate loop answers with d and i; 0: one PID"
    RATE_LIMIT = "rad/s", "of the rate commanded in a cascade"
    DEMAND_LIMIT = "rad", "of each demand"
    NOTCH_C0 = "1", "of the structural filter of pitch and yaw, all five 0: none (see control.notched)"
    NOTCH_C1 = "1"
    NOTCH_C2 = "1"
    NOTCH_A1 = "1"
    NOTCH_A2 = "1"


class GainRow(Column):
    """One row of the schedule: gains on the error, its integral, the rate and the commanded rate."""

    VALUE = "1", "of the schedule's variable"
    ROLL_P = "1"
    ROLL_I = "1/s"
    ROLL_D = "s"
    ROLL_F = "s"
    PITCH_P = "1"
    PITCH_I = "1/s"
    PITCH_D = "s"
    PITCH_F = "s"
    YAW_P = "1"
    YAW_I = "1/s"
    YAW_D = "s"
    YAW_F = "s"


class ControlMemory(Column):
    """Memory of the built-in control law."""

    ROLL_INTEGRAL = "rad"
    ROLL_DERIVATIVE = "rad", "filtered"
    ROLL_ERROR = "rad", "of the last tick"
    PITCH_INTEGRAL = "rad"
    PITCH_DERIVATIVE = "rad"
    PITCH_ERROR = "rad"
    YAW_INTEGRAL = "rad"
    YAW_DERIVATIVE = "rad"
    YAW_ERROR = "rad"
    NOTCH = "rad", "two states of the structural filter per channel", 6


class MixerColumn(Column):
    """Computer.mixer: fin angle per demand."""

    ROLL = "1"
    PITCH = "1"
    YAW = "1"


# ------------------------------------------------------------------ guidance


class ProfileColumn(Column):
    """Guidance.profile."""

    AT = "s or m", "time or height"
    TILT_PITCH = "rad"
    TILT_YAW = "rad"
    ROLL = "rad"


class WaypointColumn(Column):
    """Guidance.waypoint."""

    EAST = "m"
    NORTH = "m"
    HEIGHT = "m", "above ground"
    RADIUS = "m"
    TIMEOUT = "s"


class PassedColumn(Column):
    """What became of each waypoint (Work.passed)."""

    TIME = "s"
    MISS = "m"


class GuidanceMemory(Column):
    """Memory of the built-in guidance."""

    WAYPOINT = "1", "number of the current one, from 0"
    SINCE = "s", "time it became current"
    CLOSEST = "m", "closest distance to it so far"
    HELD = "1", "attitude held: quaternion, body -> world", 4
    LAST = "1", "attitude commanded at the last tick", 4
    MODE = "1"
    MODE_TIME = "s", "when the mode began"


# ------------------------------------------------------------------ sensors and estimator


class ErrorColumn(Column):
    """Errors of the sensors that stay for a whole flight (Work.constants); of a triad: bias, scale error, misalignment, three each."""

    GYRO = "rad/s", "", 9
    ACCELEROMETER = "m/s^2", "", 9
    MAGNETOMETER = "1", "bias, of the field's strength", 3
    BAROMETER = "m", "bias"


class FixColumn(Column):
    """A fix of the GNSS receiver, and the truth it is told of (Work.history)."""

    EAST = "m"
    NORTH = "m"
    HEIGHT = "m", "above ground"
    VELOCITY_EAST = "m/s"
    VELOCITY_NORTH = "m/s"
    VELOCITY_UP = "m/s"


class EstimateColumn(Column):
    """State of the estimator (Work.estimate)."""

    ATTITUDE = "1", "quaternion, body -> world", 4
    POSITION = "m", "east, north, height above ground", 3
    VELOCITY = "m/s", "world axes", 3
    RATE = "rad/s", "of the last tick, against the world axes, body axes", 3
    ACCELERATION = "m/s^2", "of the last tick, world axes", 3
    BARO_LAG = "m", "what the barometer's lag has reached"
    BARO = "m", "last reading of the barometer"
    FIX = "m, m/s", "last fix, as FixColumn", 6
    FIX_AGE = "s", "-1 before the first one"
    MAGNET = "1", "reading of the magnetometer, body axes", 3
    GYRO = "rad/s", "what the gyros' lag has reached, and the rates of the last tick (sensors.lagged_rate)", 6


# ------------------------------------------------------------------ events


class Noticed(Column):
    """What the computer has noticed so far (Work.notice): times, -1 before; burns and separations in their order."""

    LIFTOFF = "s"
    RAIL = "s", "departure from the rail"
    APOGEE = "s"
    BURNS = "1", "burnouts so far"
    THRUSTING = "1", "1 while a motor burns"
    QUIET = "s", "since when the thrust has been gone, -1 while it is there"
    HIGHEST = "m", "largest reading of the barometer"
    SINKING = "s", "since when it has sunk, -1 while it has not"
    ATTACHED = "1", "stages attached behind the first"
    SEPARATIONS = "1", "separations so far"
    IGNITION = "s", "of each burn", MOST_BURNS
    BURNOUT = "s", "of each burn", MOST_BURNS
    SEPARATION = "s", "each", MOST_BURNS


class RuleColumn(Column):
    """Computer.rules, one row per event rule; inhibits are inf or -inf where not used."""

    TRIGGER = "1", "types.TRIGGER_*"
    THRESHOLD = "s or m"
    ORDER = "1", "of the burn (burnout, ignition) or the separation that is meant, from 0; of EJECTION the stage"
    DELAY = "s"
    ACTION = "1", "types.ACTION_*"
    TARGET = "1", "of DEPLOY the canopy, of GUIDE the mode, of SEPARATE and IGNITE the stage"
    TILT_BELOW = "rad"
    SPEED_ABOVE = "m/s"
    SPEED_BELOW = "m/s"
    HEIGHT_ABOVE = "m"
    HEIGHT_BELOW = "m"
    BOOSTER = "1", "1: only with a booster attached, 0: only without, -1: either"
    AFTER = "s", "window since liftoff"
    BEFORE = "s"
    TIMEOUT = "s", "for which the rule waits for an inhibit to lift"


class RuleState(Column):
    """What became of each rule (Work.rules): times, -1 before."""

    ARMED = "s", "when its trigger was sensed"
    FIRED = "s"
    ACTED = "1", "1: it did what it is for, 0: another had before"
    GIVEN_UP = "s"


class Slot(Column):
    """Of a custom law (Work.laws)."""

    GUIDANCE = ""
    CONTROL = ""


class Switch(Column):
    """What rules and laws switch (Work.switches)."""

    FINS = "1", "1 while the fins are live"
    MODE = "1", "of the guidance"
    FAILED = "1", "which custom law failed: 1 guidance, 2 control"
    STATUS = "1", "its status, or the index of what it wrote"


class RehearsalColumn(Column):
    """One tick of a rehearsal; the fin commands (controls,) follow."""

    TIME = "s"
    LIFTOFF = "s"
    BURNS = "1"
    APOGEE = "s"
    ATTACHED = "1"
    LIVE = "1"
    MODE = "1"
    COMMANDED = "1", "attitude commanded: quaternion, body -> world", 4
    DEMAND = "rad", "roll, pitch, yaw", 3


GAIN_HEAD, GAIN_ROW, MIXER_COLUMNS = width(Gain), width(GainRow), width(MixerColumn)
WAYPOINT_COLUMNS, GUIDANCE_MEMORY = width(WaypointColumn), width(GuidanceMemory)
ERROR_COLUMNS, FIX_COLUMNS, ESTIMATE_COLUMNS = width(ErrorColumn), width(FixColumn), width(EstimateColumn)
NOTICED_COLUMNS, RULE_COLUMNS, RULE_STATES, SWITCHES = width(Noticed), width(RuleColumn), width(RuleState), width(Switch)
REHEARSAL_COLUMNS = width(RehearsalColumn)
