"""The columns of every table the kernels read and write: names, numbers, units and meanings, each in one place.

A member of a `Column` is the number of its column, in Python and in compiled kernels alike: `row[PanelColumn.SIN]`. Members that stand
for several columns in a row (`count`) give the first of them. What laws, logs and results see is in `core/layout.py`, the flight
computer's own tables are in `core/computer/columns.py`.
"""

from __future__ import annotations

from enum import IntEnum


class Column(IntEnum):
    """A column of a table: its number, its unit and what stands there; numbers go up in the order of the members."""

    unit: str
    meaning: str
    count: int

    def __new__(cls, unit: str = "1", meaning: str = "", count: int = 1):
        number = sum(member.count for member in cls)
        column = int.__new__(cls, number)
        column._value_ = number
        column.unit, column.meaning, column.count = unit, meaning, count
        return column

    @property
    def label(self) -> str:
        """The name as people write it, in small letters."""
        return self.name.lower()


def width(table: type[Column]) -> int:
    """Return how many columns a table has."""
    return sum(column.count for column in table)


def labels(table: type[Column]) -> tuple[str, ...]:
    """Return the names of a table's columns in their order."""
    return tuple(column.label for column in table)


# ------------------------------------------------------------------ world


class AirColumn(Column):
    """World.air, over the height above ground."""

    DENSITY = "kg/m^3"
    PRESSURE = "Pa"
    SOUND = "m/s", "speed of sound"
    VISCOSITY = "Pa s", "dynamic viscosity"
    GRAVITY = "m/s^2", "with the centrifugal part"


class WindColumn(Column):
    """World.wind, over the square root of the height above ground: where the air moves TO."""

    EAST = "m/s"
    NORTH = "m/s"


class GustColumn(Column):
    """World.gusts, one row per discrete gust."""

    EAST = "m/s", "where the air moves TO, as the gust blows fully"
    NORTH = "m/s"
    UP = "m/s"
    START = "m", "height above ground where it begins"
    LENGTH = "m", "over which it rises (a rise) or comes and goes (a pulse)"
    KIND = "1", "0 pulse, 1 rise"


class TurbulenceColumn(Column):
    """State of the turbulence along the path."""

    PROCESSES = "1", "of each component (east, north, up) the longitudinal process and the two of the transverse one", 9
    NOW = "m/s", "gust at this tick: east, north, up", 3
    NEXT = "m/s", "gust at the next tick", 3


# ------------------------------------------------------------------ aerodynamics


class BodyColumn(Column):
    """Aero.body, over Mach; slopes per radian on the reference area, for the body without fins."""

    S0 = "1/rad", "sum CN_alpha_i"
    S1 = "m/rad", "sum CN_alpha_i x_i (x aft from the nose tip)"
    S2 = "m^2/rad", "sum CN_alpha_i x_i^2"
    CA = "1", "axial force at zero incidence, motor off, without friction: fore pressure, wave, base, fins, guides"
    CA_BURN = "1", "change of it while the motor burns (negative: jet fills part of the base)"
    CA_BACK = "1", "magnitude of the axial coefficient flying backwards (base first)"
    S0_BACK = "1/rad", "the same sums flying backwards, in the same order"
    S1_BACK = "m/rad"
    S2_BACK = "m^2/rad"


class FinColumn(Column):
    """Aero.fin[Mach, set]; factors after NACA Report 1307 (Pitts, Nielsen, Kaattari 1957)."""

    SLOPE = "1/rad", "one panel alone: CN_alpha on the reference area (half of the wing made of two panels)"
    X = "m", "station of its centre of pressure"
    KW = "1", "panel in presence of the body, incidence, K_W(B)"
    KB = "1", "carry-over on the body, incidence, K_B(W)"
    DW = "1", "panel in presence of the body, deflection, k_W(B)"
    DB = "1", "carry-over on the body, deflection, k_B(W)"
    XB = "m", "station of the carried-over load on the body"
    STALL = "1", "sine of the effective incidence where the panel begins to stall"
    PLATE = "1", "normal-force coefficient of the separated panel at 90 deg, on its own area"
    X_BACK = "m", "station where panel and body have their attached load flying backwards (trailing edge first)"
    ROLL_DAMP = "1", "share of strip theory's rolling moment that a roll rate makes"
    ROLL_DIRECT = "1", "share of it that a deflection makes (its normal force stays)"


class PanelColumn(Column):
    """Aero.panel, one row per panel of every set."""

    SET = "1", "row of the set in Aero.fin"
    SIN = "1", "sine of the panel's angle, clockwise from body +z seen from behind"
    COS = "1", "cosine of it"
    Y = "m", "distance of its centre of pressure from the body axis"
    Y_ROLL = "m", "arm at which roll rate makes its mean incidence: int c y^2 dy / int c y dy"
    CANT = "rad", "fixed deflection"
    CONTROL = "1", "index of its actuator, -1 where it is fixed"
    AREA = "m^2", "exposed area"
    HINGE = "m", "station of the hinge line at the root (nan where fixed)"
    X_PLATE = "m", "station of its area's centroid, where the load of separated flow acts"


class WakeColumn(Column):
    """Aero.wake_pair, one row for a set of panels and a set behind it that flies through its vortices."""

    FIRST = "1", "first row of Aero.panel of the shedding set"
    COUNT = "1", "how many panels shed"
    RECEIVER = "1", "row in Aero.fin of the set behind"
    LATERAL = "m", "distance of the rolled-up vortex from the body axis as it leaves"
    BODY = "m", "body radius at the shedding set"
    LENGTH = "m", "from the shedding trailing edge to the receiving panels"
    LEVER = "m", "from the hinge line to the shedding trailing edge (0 where fixed)"
    PER_METRE = "1/m", "table cells per metre"


class WakeLayer(Column):
    """Layers of Aero.wake[pair]: mean velocity along a receiving panel's normal for unit circulation of a vortex and its image in the body."""

    FORCE = "1/m", "as it counts for the panel's force"
    ROLL = "1/m", "as it counts for its rolling moment"


class SlopeColumn(Column):
    """Aero.slope: the force across the axis and its first moment about the nose tip, by the directions of incidence and force.

    y, z: body axes; yz: the mean of both crossed terms.
    """

    YY = "1/rad", "coefficient slope of the force"
    ZZ = "1/rad"
    YZ = "1/rad"
    FIRST_YY = "m/rad", "first moment of it"
    FIRST_ZZ = "m/rad"
    FIRST_YZ = "m/rad"


class SeenColumn(Column):
    """What each panel did at the last evaluation of the loads (Work.seen)."""

    LOAD = "N", "normal force of the panel"
    X = "m", "station where it acts"
    HINGE = "N m", "moment about the hinge line"
    STALL = "1", "weight of separated flow, 0 to 1"
    VORTEX = "m^2/s", "circulation of the vortex it sheds"
    Y = "m", "place of that vortex as it leaves, body y"
    Z = "m", "and body z"


class StreamColumn(Column):
    """One condition close to the axis, fins neutral (core.forces.stability.near_axis)."""

    MACH = "1"
    NORMAL = "1", "factor on the normal force of body and fins"
    SIDE = "1", "cross flow over the speed: along body y"
    DOWN = "1", "and along body z"
    RATE = "1", "pitch rate, q d/(2V)"
    CG = "m", "station of the moment centre"


class StreamResult(Column):
    """What the air does in such a condition: coefficients on reference area and length."""

    SIDE_FORCE = "1", "C_Y"
    DOWN_FORCE = "1", "C_Z"
    PITCH = "1", "C_m"
    YAW = "1", "C_n"


class StableColumn(Column):
    """The plane of incidence where the centre of pressure is foremost (core.forces.stability.least_stable)."""

    X = "m", "station of the centre of pressure"
    SLOPE = "1/rad", "CN_alpha"
    Y = "1", "direction of the cross flow, body y"
    Z = "1", "and body z"
    X_AFT = "m", "station of it in the plane where it is furthest aft"


# ------------------------------------------------------------------ mass, motors, actuators


class GrainColumn(Column):
    """Mass.grain, one row per motor; inertia about the grain's own centre is A f + B f^2 of the unburnt fraction f."""

    MASS = "kg", "propellant mass"
    X = "m", "station of its centre (fixed while it burns)"
    Y = "m"
    Z = "m"
    ROLL_A = "kg m^2"
    ROLL_B = "kg m^2"
    PITCH_A = "kg m^2", "pitch and yaw alike"
    PITCH_B = "kg m^2"


class AirframeColumn(Column):
    """Work.airframe: what a body weighs and drags in this flight, as its stages and their draws make it; of one stage before its own draw of mass."""

    DRY = "kg", "everything but the propellant that burns"
    CG_X = "m", "station of its centre"
    CG_Y = "m"
    CG_Z = "m"
    IXX = "kg m^2", "about it, as in types.Mass"
    IYY = "kg m^2"
    IZZ = "kg m^2"
    IXY = "kg m^2"
    IXZ = "kg m^2"
    IYZ = "kg m^2"
    FORE_MASS = "kg", "of the stages ahead of the aft joint, 0 without one"
    HANGING_AREA = "m^2", "drag area of the airframe hanging under a canopy or tumbling"
    NOSE_X = "m", "station of its fore end"


class FinRow(Column):
    """Rows of the fins' array (Work.fins): the angles that a step takes, where the next begins, and what each fin carries."""

    START = "rad", "at the start of the step"
    MIDDLE = "rad", "of the step's middle stages: with END, what the fin's motion means for the step (core.actuator.move_fins)"
    END = "rad", "of its last stage"
    NEXT = "rad", "at the end of the step"
    CARRIED = "1", "share of its load that the fin carries: 0 where a dead servo lets it float"


class MotorRow(Column):
    """Rows of the servo motors' array (Work.motors): angle and rate at the start and the end of a step."""

    ANGLE_START = "rad"
    RATE_START = "rad/s"
    ANGLE_END = "rad"
    RATE_END = "rad/s"
    UP = "rad/s", "limit of its rate upwards in this step"
    DOWN = "rad/s", "and downwards"


class FailureColumn(Column):
    """Computer.failure, one row per control fin."""

    KIND = "1", "of the servo's failure (core.actuator: STUCK, DEAD), 0 none"
    TIME = "s", "when it happens"


# ------------------------------------------------------------------ canopies and stages


class CanopyColumn(Column):
    """Model.canopy, and of a flight's own canopies Work.canopy (the draw applied)."""

    DRAG_AREA = "m^2"
    FILL_TIME = "s", "from line stretch to full"
    WAIT = "s", "from deployment to line stretch"
    REEFING_RATIO = "1", "share of its drag area while reefed, 1 where it is not"
    REEFING_TIME = "s", "from line stretch to disreefing"
    OPENING_COEFFICIENT = "1", "peak load over drag at infinite mass"
    STRENGTH = "N", "load at which the canopy or its lines fail, inf where not given"
    FAILS = "1", "1: its deployment does nothing"
    HARNESS_SHARE = "1", "share of the opening load that its harness carries, 0 without one"
    HARNESS_STRENGTH = "N", "inf without a harness"
    SNATCH = "N", "load of the harness as the ejection charge throws the pieces apart"


class StageColumn(Column):
    """Work.stage, one row per stage: what was commanded and what became of it."""

    IGNITE = "s", "time its ignition was commanded, -1 before"
    IGNITION_DELAY = "s", "to the start of the thrust curve, this flight's"
    NO_IGNITION = "1", "1: the igniter fails"
    SEPARATE = "s", "time its separation from the stage ahead was commanded, -1 before"
    SEPARATION_DELAY = "s", "this flight's"
    NO_SEPARATION = "1", "1: the joint does not let go"
    BURNOUT = "s", "true burnout of its motor, -1 before"


class Handover(Column):
    """What a leg of a flight hands over to the next (Work.handover)."""

    TIME = "s"
    TICK = "1"
    PHASE = "1"
    POSITION = "m", "world axes", 3
    VELOCITY = "m/s", "world axes", 3
    ATTITUDE = "1", "quaternion, body -> world", 4
    RATE = "rad/s", "body axes", 3
    IGNITED = "s", "when the body's motor was ignited, NOT_IGNITED before"
    NEXT_LOG = "1", "tick"
    CLIMBING = "1", "1 before apogee"
    SWITCH = "s", "when the servos take the last commands"
    SWITCHED = "1", "1: they have"
    TICK_END = "s", "when the tick under way ends"
    GOES_ON = "1", "1 for a leg that takes up another"
    CAUSE = "1", "of the separation: BY_COMMAND, BY_DRAG, BY_UPPER_MOTOR"
    WHICH = "1", "the stage behind the joint that separated, or the canopy whose harness broke"
    MASS = "kg", "at the leg's end"
    TURNING = "rad/s", "size of the body rate at the leg's end"
    STRIDE = "1", "ticks of the interval the leg ended in"
    DRAG_AREA = "m^2", "with which the body flew up to line stretch"


class TraceColumn(Column):
    """Work.trace: where the body's ends are at the ticks after a separation, world axes."""

    TIME = "s"
    NOSE = "m", "world axes", 3
    BASE = "m", "world axes", 3


class Tally(Column):
    """Running sums of a flight (Work.tally). The last eight tell of the two last pieces of a fall without a canopy."""

    BOOST = "rad^2", "tilt error squared, over ticks with live fins and a burning motor"
    BOOST_TICKS = "1"
    COAST = "rad^2", "likewise without a burning motor"
    COAST_TICKS = "1"
    ROLL = "rad^2", "roll error squared"
    CUT = "1", "ticks at which the mixer cut the demands"
    LIVE = "1", "ticks with live fins"
    SIGN_PITCH = "1", "side on which the pitch rate was last clearly"
    SIGN_YAW = "1"
    REVERSALS = "1"
    AT_RATE = "s", "servos' time at their rate limit"
    MOVING = "s", "servos' time with live fins"
    TRAVEL = "rad"
    ENERGY = "J"
    FALL_INCIDENCE = "s", "time falling without a canopy beyond the limit of incidence"
    FALL_MACH = "s"
    FALL_REYNOLDS = "s"
    FALL_CRISIS = "s"
    TICKS = "1", "of the last piece of the fall"
    INCIDENCE = "rad", "sum over them"
    LEAST = "rad", "least incidence"
    MOST = "rad", "largest incidence"
    TICKS_BEFORE = "1", "the same of the piece before it"
    INCIDENCE_BEFORE = "rad"
    LEAST_BEFORE = "rad"
    MOST_BEFORE = "rad"


# ------------------------------------------------------------------ probes


class ConditionColumn(Column):
    """One condition of the wind tunnel (core.probe.probe); the fin angles (controls,) follow."""

    SPEED = "m/s", "through the air"
    INCIDENCE = "rad", "between the body axis and the velocity, 0..pi"
    ROLL = "rad", "direction of the cross flow: the velocity leans towards body z at 0, towards body y at pi/2"
    RATE_X = "rad/s", "against the air"
    RATE_Y = "rad/s"
    RATE_Z = "rad/s"
    CG = "m", "station of the moment centre"
    DENSITY = "kg/m^3"
    SOUND = "m/s"
    VISCOSITY = "Pa s"
    BURNING = "1", "1 with the motor burning, 0 without"


class TunnelColumn(Column):
    """What the air does in it, body axes."""

    FORCE = "N", "", 3
    MOMENT = "N m", "", 3


class PointColumn(Column):
    """One point of free flight (core.probe.rates_at); fin angles (controls,) and the share of its load that each fin carries follow."""

    TIME = "s", "since ignition"
    IGNITED = "s", "when the burning motor was ignited; NOT_IGNITED: not yet"
    POSITION = "m", "world axes", 3
    VELOCITY = "m/s", "over the ground, world axes", 3
    ATTITUDE = "1", "quaternion, body -> world", 4
    RATE = "rad/s", "against inertial space, body axes", 3
    GUST = "m/s", "added to the wind: east, north, up", 3


class RateColumn(Column):
    """What comes of it."""

    ACCELERATION = "m/s^2", "world axes", 3
    TURNING = "rad/s^2", "body axes", 3
    AIR = "m/s", "velocity through the air, body axes", 3
    DYNAMIC_PRESSURE = "Pa"
    MACH = "1"
    MASS = "kg"
    CG = "m", "station"
    UP = "1", "local vertical, world axes", 3


AIR_COLUMNS, GUST_COLUMNS, TURBULENCE_COLUMNS = width(AirColumn), width(GustColumn), width(TurbulenceColumn)
BODY_COLUMNS, FIN_COLUMNS, PANEL_COLUMNS = width(BodyColumn), width(FinColumn), width(PanelColumn)
WAKE_COLUMNS, SLOPE_COLUMNS, SEEN_COLUMNS = width(WakeColumn), width(SlopeColumn), width(SeenColumn)
STREAM_COLUMNS, CONDITION_COLUMNS, POINT_COLUMNS, RATE_COLUMNS = width(StreamColumn), width(ConditionColumn), width(PointColumn), width(RateColumn)
AIRFRAME_COLUMNS, GRAIN_COLUMNS, FIN_ROWS, MOTOR_ROWS = width(AirframeColumn), width(GrainColumn), width(FinRow), width(MotorRow)
CANOPY_COLUMNS, STAGE_COLUMNS, HANDOVER_COLUMNS = width(CanopyColumn), width(StageColumn), width(Handover)
TRACE_COLUMNS, TALLY_COLUMNS = width(TraceColumn), width(Tally)
