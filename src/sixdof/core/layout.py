"""What laws, logs, events and summaries hold: each column once, with its name, number, unit and meaning.

`law(t, sensed, memory, gains, command)`: float64 arrays; `memory` and `command` are written in place; called once a tick. The members
are the indices of these arrays, in Python, in laws compiled by numba and, by their numbers, in C: `sensed[Sensed.HEIGHT]`. Results
(`results/registry.py`), the table of laws (`flight/laws.py`) and the pages take names, units and meanings from here.
"""

from __future__ import annotations

from enum import IntEnum

from sixdof.core.columns import Column, labels, width


def _choices(table: type[Column]) -> str:
    """Return the numbers and meanings of a table in one line: 0 held, 1 on the rail, ..."""
    return ", ".join(f"{int(member)} {member.meaning}" for member in table)


MEMORY_SIZE = 64  # numbers a law may keep from tick to tick, unless it asks for more

# ------------------------------------------------------------------ laws


class GuidanceMode(Column):
    """What the built-in guidance follows."""

    PROFILE = "", "profile"
    WAYPOINTS = "", "waypoints"
    HOLD = "", "hold"


_PLACE = "estimated position from the rail's foot, height above ground"
_VELOCITY = "estimated, over the ground"
_ATTITUDE = "estimated attitude, body -> east-north-up, quaternion"
_GYRO, _ACCELEROMETER = "gyro reading, body axes", "accelerometer reading, body axes"
_AIRFLOW = "from the estimated speed over the ground and the standard air at the estimated height"
_FRAME = "launch frame -> east-north-up, quaternion"
_COMMANDED = "commanded attitude, body -> east-north-up, quaternion"
_COMMANDED_RATE = "commanded body rate"
_FIX, _FIX_VELOCITY = "position of the receiver's last fix", "velocity of the receiver's last fix"
_FIELD = "magnetometer, body axes, of the field's strength"


class Sensed(Column):
    """What a law may read. The guidance law's command stands in it when the control law is called."""

    TIME = "s", "since ignition"
    TIME_SINCE_LIFTOFF = "s", "-1 before liftoff is noticed"
    EAST = "m", _PLACE
    NORTH = "m", _PLACE
    HEIGHT = "m", _PLACE
    VELOCITY_EAST = "m/s", _VELOCITY
    VELOCITY_NORTH = "m/s", _VELOCITY
    VELOCITY_UP = "m/s", _VELOCITY
    Q_W = "1", _ATTITUDE
    Q_X = "1", _ATTITUDE
    Q_Y = "1", _ATTITUDE
    Q_Z = "1", _ATTITUDE
    RATE_X = "rad/s", _GYRO
    RATE_Y = "rad/s", _GYRO
    RATE_Z = "rad/s", _GYRO
    SPECIFIC_FORCE_X = "m/s^2", _ACCELEROMETER
    SPECIFIC_FORCE_Y = "m/s^2", _ACCELEROMETER
    SPECIFIC_FORCE_Z = "m/s^2", _ACCELEROMETER
    DYNAMIC_PRESSURE = "Pa", _AIRFLOW
    MACH = "1", _AIRFLOW
    FRAME_W = "1", _FRAME
    FRAME_X = "1", _FRAME
    FRAME_Y = "1", _FRAME
    FRAME_Z = "1", _FRAME
    COMMANDED_W = "1", _COMMANDED
    COMMANDED_X = "1", _COMMANDED
    COMMANDED_Y = "1", _COMMANDED
    COMMANDED_Z = "1", _COMMANDED
    COMMANDED_RATE_X = "rad/s", _COMMANDED_RATE
    COMMANDED_RATE_Y = "rad/s", _COMMANDED_RATE
    COMMANDED_RATE_Z = "rad/s", _COMMANDED_RATE
    PERIOD = "s", "of the tick"
    ENABLED = "1", "1 while the fins are live, 0 while they are centred"
    SATURATED = "1", "1 if the mixer had to cut the last demands to the fins' limits"
    BOOSTER = "1", "1 while a booster is attached"
    MODE = "1", f"of the guidance: {_choices(GuidanceMode)}"
    WAYPOINT = "1", "place of the current waypoint in the list of the mission, from 0"
    BARO_HEIGHT = "m", "barometer, above ground"
    FIX_EAST = "m", _FIX
    FIX_NORTH = "m", _FIX
    FIX_HEIGHT = "m", _FIX
    FIX_VELOCITY_EAST = "m/s", _FIX_VELOCITY
    FIX_VELOCITY_NORTH = "m/s", _FIX_VELOCITY
    FIX_VELOCITY_UP = "m/s", _FIX_VELOCITY
    FIX_AGE = "s", "-1 before the first fix"
    FIELD_X = "1", _FIELD
    FIELD_Y = "1", _FIELD
    FIELD_Z = "1", _FIELD


class Commanded(Column):
    """Command of a guidance law: the attitude, and the body rates that belong to it."""

    Q_W = "1", _COMMANDED
    Q_X = "1", _COMMANDED
    Q_Y = "1", _COMMANDED
    Q_Z = "1", _COMMANDED
    RATE_X = "rad/s", _COMMANDED_RATE
    RATE_Y = "rad/s", _COMMANDED_RATE
    RATE_Z = "rad/s", _COMMANDED_RATE


_DEMAND = "demand of fin angle, before the mixer"
_FIN = "angle of a control fin, used if direct is 1"


class Demand(Column):
    """Command of a control law."""

    ROLL = "rad", _DEMAND
    PITCH = "rad", _DEMAND
    YAW = "rad", _DEMAND
    DIRECT = "1", "1: the fins take the angles at fin_1 .. instead of the mixer's"
    ENABLE = "1", "1 makes the fins live, -1 centres them, 0 leaves them to the event rules"
    DEPLOY = "1", "k deploys canopy k, from 1; 0: none"
    SEPARATE = "1", "1 fires the separation"
    IGNITE = "1", "1 ignites the next motor"
    FIN_1 = "rad", _FIN
    FIN_2 = "rad", _FIN
    FIN_3 = "rad", _FIN
    FIN_4 = "rad", _FIN
    FIN_5 = "rad", _FIN
    FIN_6 = "rad", _FIN
    FIN_7 = "rad", _FIN
    FIN_8 = "rad", _FIN


# ------------------------------------------------------------------ the log


class Phase(Column):
    """How a body moves; kernels compare the numpy integers that core/constants.py makes of them."""

    HELD = "", "held"
    ON_RAIL = "", "on the rail"
    PIVOTING = "", "pivoting"
    FREE = "", "free"
    UNDER_CANOPY = "", "under a canopy"
    LANDED = "", "landed"


class Log(Column):
    """One row of the log; the fins' angles, commands and hinge moments, and everything sensed, follow these columns."""

    TIME = "s", "time since ignition"
    PHASE = "1", f"flight phase: {_choices(Phase)}"
    EAST = "m", "position east of the rail"
    NORTH = "m", "position north of the rail"
    HEIGHT = "m", "height above ground"
    VELOCITY_EAST = "m/s", "velocity over the ground, east"
    VELOCITY_NORTH = "m/s", "velocity over the ground, north"
    VELOCITY_UP = "m/s", "velocity over the ground, up"
    Q_W = "1", "attitude quaternion, body to east-north-up, scalar first"
    Q_X = "1"
    Q_Y = "1"
    Q_Z = "1"
    RATE_X = "rad/s", "body rate against inertial space, body axes"
    RATE_Y = "rad/s"
    RATE_Z = "rad/s"
    TILT_PITCH = "rad", "tilt, nose leans downrange"
    TILT_YAW = "rad", "tilt, nose leans right of the launch azimuth"
    ROLL = "rad", "roll angle"
    TILT = "rad", "angle of the nose from the vertical"
    COMMANDED_PITCH = "rad", "commanded tilt downrange"
    COMMANDED_YAW = "rad", "commanded tilt to the right"
    COMMANDED_ROLL = "rad", "commanded roll angle"
    TILT_ERROR = "rad", "angle between the nose and its commanded direction"
    AIRSPEED = "m/s", "airspeed"
    MACH = "1", "Mach number"
    DYNAMIC_PRESSURE = "Pa", "dynamic pressure"
    INCIDENCE = "rad", "incidence, the total angle of attack (body axis against the flow)"
    INCIDENCE_PITCH = "rad", "incidence in the body's x-z plane"
    INCIDENCE_YAW = "rad", "incidence in the body's x-y plane"
    STATIC_MARGIN = "1", "static margin, calibres"
    THRUST = "N", "thrust at the reference pressure"
    MASS = "kg", "mass"
    CG = "m", "station of the centre of mass, aft from the nose tip"
    SPECIFIC_FORCE_X = "m/s^2", "specific force, body axes (what an accelerometer reads)"
    SPECIFIC_FORCE_Y = "m/s^2"
    SPECIFIC_FORCE_Z = "m/s^2"
    WIND_EAST = "m/s", "wind towards east"
    WIND_NORTH = "m/s", "wind towards north"
    DRAG_AREA = "m^2", "drag area of deployed canopies and hanging airframe"
    JOINT_FORCE = "N", "force of the stages behind the aft joint on those ahead, negative where drag pulls them apart"
    UP = "m", "position along the vertical of the launch point"
    GUIDANCE_MODE = "1", f"guidance: {_choices(GuidanceMode)}"
    WAYPOINT = "1", "number of the current waypoint, from 1; past the last, one more than there are"
    ESTIMATED_EAST = "m", "estimated position east of the rail"
    ESTIMATED_NORTH = "m", "estimated position north of the rail"
    ESTIMATED_HEIGHT = "m", "estimated height above ground"
    ESTIMATED_Q_W = "1", "estimated attitude quaternion, body to east-north-up, scalar first"
    ESTIMATED_Q_X = "1"
    ESTIMATED_Q_Y = "1"
    ESTIMATED_Q_Z = "1"
    ATTITUDE_ERROR = "rad", "error of the estimated attitude"
    POSITION_ERROR = "m", "error of the estimated position"
    VELOCITY_ERROR = "m/s", "error of the estimated velocity"
    ROLL_DEMAND = "rad", "roll demand of the control law"
    PITCH_DEMAND = "rad", "pitch demand of the control law"
    YAW_DEMAND = "rad", "yaw demand of the control law"


# ------------------------------------------------------------------ events and outcomes


class Event(Column):
    """Events of a body: deployments of canopies and their line stretches, then ignitions, burnouts and separations of stages follow."""

    LIFTOFF = "", "the vehicle starts to move"
    FORE_GUIDE_LEAVES = "", "the forward rail guide leaves the rail"
    RAIL_DEPARTURE = "", "the aft rail guide leaves the rail"
    FINS_ENABLED = "", "the control fins become live"
    BURNOUT = "", "of the motor ignited on the rail"
    FINS_DISABLED = "", "the control fins are centred"
    APOGEE = "", "the climb ends"
    LANDING = "", "the body reaches the ground"
    DRAG_SEPARATION = "", "from here on drag alone would separate the aft joint"


class EventColumn(Column):
    """What is noted of an event."""

    TIME = "s", "time since ignition"
    EAST = "m", "position east of the rail"
    NORTH = "m", "position north of the rail"
    HEIGHT = "m", "height above ground"
    VELOCITY_EAST = "m/s", "velocity east"
    VELOCITY_NORTH = "m/s", "velocity north"
    VELOCITY_UP = "m/s", "climb rate"
    AIRSPEED = "m/s", "airspeed"
    MACH = "1", "Mach number"
    DYNAMIC_PRESSURE = "Pa", "dynamic pressure"
    TILT = "rad", "angle of the nose from the vertical"
    INCIDENCE = "rad", "incidence"
    STATIC_MARGIN = "1", "static margin, calibres"
    SENSED_HEIGHT = "m", "height by the flight computer"
    SENSED_SPEED = "m/s", "speed by the flight computer"
    SENSED_TILT = "rad", "angle of the nose from the vertical by the flight computer"
    LEAN = "rad", "angle of the nose from the vertical in the plane of the mean wind at 10 m, positive into the wind"
    PATH_LEAN = "rad", "angle of the velocity over the ground from the vertical in the plane of the mean wind at 10 m, positive into the wind"


class Outcome(Column):
    """Outcomes of a flight, one number each."""

    APOGEE_HEIGHT = "m", "apogee above ground"
    APOGEE_TIME = "s", "time of apogee since ignition"
    APOGEE_EAST = "m", "apogee, distance east of the rail"
    APOGEE_NORTH = "m", "apogee, distance north of the rail"
    RAIL_DEPARTURE_SPEED = "m/s", "speed as the aft guide leaves the rail"
    RAIL_DEPARTURE_INCIDENCE = "rad", "incidence as the aft guide leaves the rail"
    RAIL_DEPARTURE_MARGIN = "1", "static margin as the aft guide leaves the rail, calibres"
    BURNOUT_AIRSPEED = "m/s", "airspeed at burnout"
    BURNOUT_HEIGHT = "m", "height above ground at burnout"
    AIRSPEED_MAX = "m/s", "largest airspeed"
    MACH_MAX = "1", "largest Mach number"
    DYNAMIC_PRESSURE_MAX = "Pa", "largest dynamic pressure"
    SPECIFIC_FORCE_MAX = "m/s^2", "largest specific force in free flight"
    INCIDENCE_MAX = "rad", "largest incidence while climbing faster than 20 m/s through the air"
    TILT_MAX = "rad", "largest tilt from the vertical while climbing faster than 20 m/s through the air"
    TILT_ERROR_RMS = "rad", "root mean square of the tilt error while the fins are live"
    TILT_ERROR_MAX = "rad", "largest tilt error while the fins are live"
    ROLL_ERROR_MAX = "rad", "largest roll error while the fins are live"
    SATURATION_SHARE = "1", "share of ticks with live fins at which a fin was commanded to its stop"
    STATIC_MARGIN_MIN = "1", "smallest static margin while climbing faster than 20 m/s, calibres"
    LANDING_EAST = "m", "landing place east of the rail"
    LANDING_NORTH = "m", "landing place north of the rail"
    LANDING_GROUND_SPEED = "m/s", "speed over the ground at landing"
    FLIGHT_TIME = "s", "time from ignition to the end of the flight"
    TIME_ABOVE_MACH_08 = "s", "time above Mach 0.8, where the aerodynamic model is less sure"
    TIME_BEYOND_INCIDENCE = "s", "time climbing beyond 15 deg incidence, where the aerodynamic model is less sure"
    OPENING_AIRSPEED = "m/s", "airspeed at line stretch of the first canopy"
    TIME_TRANSONIC = "s", "time between Mach 0.8 and 1.2 (transonic), where the tables are interpolated between theories"
    TIME_STALLED = "s", "time climbing with a stalled fin"
    TIME_BEYOND_REYNOLDS = "s", "time climbing at a Reynolds number on length outside 5e5 to 1e8"
    HINGE_MOMENT_MAX = "N m", "largest moment of the air about a control fin's hinge line in the climb"
    TILT_ERROR_BOOST_RMS = "rad", "root mean square of the tilt error while the fins are live and a motor burns"
    TILT_ERROR_COAST_RMS = "rad", "root mean square of the tilt error while the fins are live and no motor burns"
    ROLL_ERROR_RMS = "rad", "root mean square of the roll error while the fins are live"
    RATE_REVERSALS = "1", "changes of sign of pitch and yaw rate while the fins are live"
    RATE_LIMIT_SHARE = "1", "share of the servos' time at their rate limit while the fins are live"
    FIN_TRAVEL_TOTAL = "rad", "total fin travel while live"
    SERVO_ENERGY = "J", "work of all fins against the air while live"
    ATTITUDE_ERROR_MAX = "rad", "largest error of the estimated attitude in the climb"
    POSITION_ERROR_MAX = "m", "largest error of the estimated position in the climb"
    VELOCITY_ERROR_MAX = "m/s", "largest error of the estimated velocity in the climb"
    LOAD_FACTOR_MAX = "1", "largest specific force across the axis in the climb, over standard gravity"
    WAYPOINTS_CAPTURED = "1", "waypoints flown through within their radius"
    WAYPOINT_MISS_MAX = "m", "largest miss distance of the waypoints flown to"


class Ending(IntEnum):
    """How a leg of a flight ended. After SEPARATED and HARNESS_BROKEN the flight goes on as two bodies (see `results.status.Status`)."""

    LANDED = 0
    NO_LIFTOFF = 1
    DIVERGED = 2
    OUT_OF_TIME = 3
    ABOVE_AIR = 4
    LAW_FAILED = 5
    LAW_NONSENSE = 6
    SEPARATED = 7
    HARNESS_BROKEN = 8


class Descent(IntEnum):
    """How a body comes down."""

    NOT_DOWN = 0
    UNDER_CANOPY = 1
    NOSE_FIRST = 2
    TAIL_FIRST = 3
    TUMBLING = 4
    BROADSIDE = 5


NOT_IGNITED = -1.0  # in Handover.IGNITED
BY_COMMAND, BY_DRAG, BY_UPPER_MOTOR = 1, 2, 3  # in Handover.CAUSE

# the names of what a law may read, in the order of `sensed`
SENSED = labels(Sensed)
# the names of what a guidance law writes, in the order of `command`
COMMANDED = labels(Commanded)
# the names of what a control law writes, in the order of `command`
DEMAND = labels(Demand)
LOG, EVENTS, EVENT_COLUMNS, OUTCOMES = labels(Log), labels(Event), labels(EventColumn), labels(Outcome)
COMMANDED_SIZE, DEMAND_SIZE, LOG_COLUMNS = width(Commanded), width(Demand), width(Log)
