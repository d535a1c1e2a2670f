"""The data the kernels read and write: NamedTuples of float64 scalars and C-contiguous float64 arrays, nothing else.

Frames: world = east, north, up at the launch point; body = x forward, y starboard, z completing the set. Stations are
metres aft of the nose tip. Column numbers of every table are the constants beside it; nobody writes a bare number.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Vec3(NamedTuple):
    x: float
    y: float
    z: float


class Quat(NamedTuple):
    """Unit quaternion, scalar first, body -> world."""

    w: float
    x: float
    y: float
    z: float


class State(NamedTuple):
    """Rigid-body state of one vehicle at its instantaneous centre of mass."""

    r: Vec3  # position in world axes, m
    v: Vec3  # velocity over the ground in world axes, m/s
    q: Quat  # body -> world
    w: Vec3  # body rates against inertial space in body axes, rad/s


# ------------------------------------------------------------------ world

# columns are numpy integers where they are handed to helpers: numba compiles a callee anew for each literal Python integer
AIR_DENSITY, AIR_PRESSURE, AIR_SOUND, AIR_VISCOSITY, AIR_GRAVITY = (np.int64(i) for i in range(5))
AIR_COLUMNS = 5  # kg/m^3, Pa, m/s, Pa s, m/s^2


class Globe(NamedTuple):
    """An ellipsoid (or sphere) with a second zonal harmonic, and where the launch point sits on it.

    turn : world axes (east, north, up at the launch point) -> Earth-fixed Cartesian axes (x through the prime meridian on the equator,
    z through the north pole), row by row. origin : the launch point in those axes, m.
    """

    round: int  # 1: this Earth; 0: flat, gravity down and heights along world z
    a: float  # semi-major axis, m
    e2: float  # first eccentricity squared, 0 for a sphere
    gm: float  # m^3/s^2
    j2: float
    rate: float  # of turning, rad/s
    turn: tuple  # nine numbers
    origin: Vec3


# columns of World.gusts, one row a discrete gust
(
    G_EAST,  # where the air moves TO, m/s, as it blows fully
    G_NORTH,
    G_UP,
    G_START,  # height above ground where it begins, m
    G_LENGTH,  # over which it rises (a rise) or comes and goes (a pulse), m
    G_KIND,  # 0 pulse, 1 rise
) = range(6)
GUST_COLUMNS = 6


class Turbulence(NamedTuple):
    """Dryden turbulence. w20 : wind at 20 ft, m/s, -1: the mean wind's own there. aloft : standard deviation above 2000 ft, m/s, -1: a tenth of w20."""

    on: int
    w20: float
    aloft: float


class World(NamedTuple):
    """Air, gravity, wind and the turning Earth around the launch point.

    air : (n, AIR_COLUMNS) over height above ground z = z0 + i/per_metre, i = 0..n-1.
    wind : (m, 2) east and north component (m/s, where the air moves TO) over sqrt(height above ground): row
        index = sqrt(max(z, 0)) * wind_per_root. Fine near the ground, coarse aloft, one look-up.
    """

    air: np.ndarray
    air_z0: float
    air_per_metre: float
    wind: np.ndarray
    wind_per_root: float
    earth_rate: Vec3  # of the world axes against inertial space, in world axes, rad/s
    ground: float  # height of the ground at the launch point above mean sea level, m; on a round Earth above the ellipsoid
    globe: Globe
    turbulence: Turbulence
    gusts: np.ndarray  # (gusts, GUST_COLUMNS)


# ------------------------------------------------------------------ aerodynamics

# columns of Aero.body over Mach; slopes per radian on the reference area, for the body without fins
(
    BODY_S0,  # sum CN_alpha_i
    BODY_S1,  # sum CN_alpha_i x_i, m (x aft from the nose tip)
    BODY_S2,  # sum CN_alpha_i x_i^2, m^2
    BODY_CA,  # axial force at zero incidence, motor off, without friction: fore pressure, wave, base, fins, guides
    BODY_CA_BURN,  # change of it while the motor burns (negative: jet fills part of the base)
    BODY_CA_BACK,  # magnitude of the axial coefficient flying backwards (base first)
    BODY_S0_BACK,  # the same sums flying backwards, in the same order
    BODY_S1_BACK,
    BODY_S2_BACK,
) = (np.int64(i) for i in range(9))
BODY_COLUMNS = 9

# columns of Aero.fin[Mach, set]
(
    FIN_SLOPE,  # one panel alone: CN_alpha on the reference area, 1/rad (half of the wing made of two panels)
    FIN_X,  # station of its centre of pressure, m
    FIN_KW,  # panel in presence of the body, incidence (NACA 1307 K_W(B))
    FIN_KB,  # carry-over on the body, incidence (K_B(W))
    FIN_DW,  # panel in presence of the body, deflection (k_W(B))
    FIN_DB,  # carry-over on the body, deflection (k_B(W))
    FIN_XB,  # station of the carried-over load on the body, m
    FIN_STALL,  # sine of the effective incidence where the panel begins to stall
    FIN_PLATE,  # normal-force coefficient of the separated panel at 90 deg, on its own area
    FIN_X_BACK,  # station where panel and body have their attached load flying backwards (trailing edge first), m
    FIN_ROLL_DAMP,  # share of strip theory's rolling moment that a roll rate makes, and
    FIN_ROLL_DIRECT,  # that a deflection makes (its normal force stays)
) = range(12)
FIN_COLUMNS = 12

# columns of Aero.panel, one row per panel of every set
(
    PANEL_SET,  # row of the set in Aero.fin
    PANEL_SIN,  # sine and
    PANEL_COS,  # cosine of the panel's angle, clockwise from body +z seen from behind
    PANEL_Y,  # distance of its centre of pressure from the body axis, m
    PANEL_Y_ROLL,  # arm at which roll rate makes its mean incidence, m: int c y^2 dy / int c y dy
    PANEL_CANT,  # fixed deflection, rad
    PANEL_CONTROL,  # index of its actuator, -1 where it is fixed
    PANEL_AREA,  # exposed area, m^2
    PANEL_HINGE,  # station of the hinge line at the root, m (nan where fixed)
    PANEL_X_PLATE,  # station of its area's centroid, where the load of separated flow acts, m
) = range(10)
PANEL_COLUMNS = 10

# columns of Aero.wake_pair, one row for a set of panels and a set behind it that flies through its vortices
(
    WAKE_FIRST,  # first row of Aero.panel of the shedding set
    WAKE_COUNT,  # how many panels shed
    WAKE_RECEIVER,  # row in Aero.fin of the set behind
    WAKE_LATERAL,  # distance of the rolled-up vortex from the body axis as it leaves, m
    WAKE_BODY,  # body radius at the shedding set, m
    WAKE_LENGTH,  # from the shedding trailing edge to the receiving panels, m
    WAKE_LEVER,  # from the hinge line to the shedding trailing edge, m (0 where fixed)
    WAKE_PER_METRE,  # table cells a metre
) = range(8)
WAKE_COLUMNS = 8

# columns of Aero.slope: coefficient slope of the force across the axis (1/rad) and its first moment about the nose tip (m/rad), by the
# directions of incidence and force (y, z: body axes; yz: the mean of both crossed terms)
SLOPE_YY, SLOPE_ZZ, SLOPE_YZ, FIRST_YY, FIRST_ZZ, FIRST_YZ = range(6)
SLOPE_COLUMNS = 6

# columns of Craft.seen, what each panel did at the last evaluation of the loads
SEEN_LOAD, SEEN_X, SEEN_HINGE, SEEN_STALL, SEEN_VORTEX, SEEN_Y, SEEN_Z = range(7)
SEEN_COLUMNS = 7


class Plain(NamedTuple):
    """Constant coefficients of a body that is no rocket (a sphere, a brick), on top of the tables; all zero for vehicles.

    drag_area : CD S, along the velocity, m^2. roll, pitch, yaw : damping, S l^2 C/4 with the moment C (rate) l/(2V) q S l, m^4.
    """

    drag_area: float
    roll: float
    pitch: float
    yaw: float


class Aero(NamedTuple):
    """Aerodynamic tables of one configuration.

    body : (n, BODY_COLUMNS), fin : (n, sets, FIN_COLUMNS) over Mach = i/per_mach.
    friction : (n, k) CA from skin friction over Mach and the fourth root of the unit Reynolds number (1/m):
        column index = (V rho/mu)^(1/4) * per_root. Multiplied by nothing: it holds wetted areas and form factors.
    cross : (n, k) eta times the cross-flow drag coefficient of the body, over the CROSS-FLOW Mach number M sin(a) and the
        fourth root of the cross flow's unit Reynolds number (grids as friction).
    axial_shape : (n, m) factor on the axial force over Mach and the sine of incidence, 0..1, beside the cos^2 that is always
        there (Jorgensen 1973); ones unless measured, and never used backwards.
    panel : (panels, PANEL_COLUMNS); the panels of a set stand together, sets from the front to the back.
    wake_pair : (pairs, WAKE_COLUMNS). wake : (pairs, 2, 2 m + 1, 2 m + 1) mean velocity along a receiving panel's
        normal for unit circulation (1/m) of a vortex and its image in the body, as it counts for the panel's force and for its
        rolling moment, over the vortex's place along the panel's span direction and along its normal, from -m to m cells.
    slope : (n, terms, SLOPE_COLUMNS) what all of it makes at small incidence with fins at neutral, downwash included, over Mach; terms go
        with powers of the factor on the normal force (0, 1 ..), over that factor: a fin behind k others in turn feels their downwash with
        its power k (vehicle/stability.py). Read by `core.stability` for the static margin; the flight itself does not need it.
    plan0, plan1, plan2 : planform area of the body (no fins), its first and second moment about the nose tip (m^2, m^3, m^4).
    """

    area: float  # reference area, m^2
    length: float  # reference length (largest body diameter), m
    per_mach: float
    body: np.ndarray
    fin: np.ndarray
    friction: np.ndarray
    per_root: float
    cross: np.ndarray
    axial_shape: np.ndarray
    panel: np.ndarray
    wake_pair: np.ndarray
    wake: np.ndarray
    slope: np.ndarray
    plan0: float
    plan1: float
    plan2: float
    plain: Plain


# ------------------------------------------------------------------ mass and thrust

# columns of Mass.propellant, one row per motor
(
    GRAIN_MASS,  # propellant mass, kg
    GRAIN_X,  # station of its centre, m (fixed while it burns)
    GRAIN_Y,
    GRAIN_Z,
    GRAIN_ROLL_A,  # inertia about its own centre as a function of the unburnt fraction f:
    GRAIN_ROLL_B,  # roll  = A f + B f^2
    GRAIN_PITCH_A,  # pitch = yaw = A f + B f^2
    GRAIN_PITCH_B,
) = range(8)
GRAIN_COLUMNS = 8


class Mass(NamedTuple):
    """Mass of one configuration: everything but propellant (`dry`, motor cases included) and the grains.

    Inertia is about the dry centre of mass, body axes: xx, yy, zz, xy, xz, yz with the products as they stand in the
    tensor (off-diagonal elements J_xy = -sum m x y, x forward).
    cg_x is a STATION (aft positive); cg_y, cg_z are body coordinates off the axis.
    """

    dry: float
    cg_x: float
    cg_y: float
    cg_z: float
    ixx: float
    iyy: float
    izz: float
    ixy: float
    ixz: float
    iyz: float
    grain: np.ndarray  # (motors, GRAIN_COLUMNS)


class Thrust(NamedTuple):
    """One thrust curve for all motors of the burning stage together (they light as one).

    time, force : (n,) break points, s and N, at the reference pressure. impulse : (n,) running integral as a fraction of the total.
    """

    time: np.ndarray
    force: np.ndarray
    impulse: np.ndarray
    total_impulse: float
    propellant: float  # mass burnt by the end, kg
    exit_x: float  # station of the nozzle exit plane, m
    exit_area: float  # all nozzles together, m^2
    exit_radius: float  # of one nozzle, m: the gas leaves with the roll rate of that radius
    reference_pressure: float


# ------------------------------------------------------------------ rail, actuators, flight computer, recovery


class Rail(NamedTuple):
    elevation: float  # rad above the horizontal
    azimuth: float  # rad, true
    friction: float
    fore_travel: float  # travel at which the forward guide leaves, m
    aft_travel: float  # travel at which the aft guide leaves, m
    aft_x: float  # station of the aft guide, m
    base_x: float  # station that stands at the foot of the rail at rest, m


class Servo(NamedTuple):
    frequency: float  # natural, rad/s
    damping: float
    rate_limit: float  # without load, rad/s
    acceleration_limit: float  # rad/s^2, inf where unlimited
    travel: float  # rad
    delay: float  # from command to motion, s
    backlash: float  # play between motor and fin, rad
    dead_band: float  # smaller changes of the command are not taken, rad
    resolution: float  # of the command, rad; 0: continuous
    stall_torque: float  # N m at the fin, inf where the load does not matter


class Detection(NamedTuple):
    """How the flight computer notices the phases of a flight from its sensed values."""

    liftoff_force: float  # specific force along the axis that counts as liftoff, m/s^2
    liftoff_height: float  # m: liftoff is also noticed by the height gained
    ignition_force: float  # specific force along the axis that counts as the next motor's ignition, m/s^2
    burnout_force: float  # below it a burn has ended, m/s^2
    burnout_debounce: float  # for so long, s
    by_barometer: int  # 1: apogee from the barometer, 0: from the estimated climb rate
    apogee_drop: float  # the barometer's reading lies so far below its highest, m
    apogee_debounce: float  # for so long, s


class Computer(NamedTuple):
    """The flight computer's constants; arrays are read only."""

    period: float  # s between ticks
    steps_per_tick: int
    azimuth: float  # of the launch frame, rad true
    guidance: NamedTuple  # core.guidance.Guidance
    gains: np.ndarray  # the control law's gains; see core.control
    mixer: np.ndarray  # (fins, 3): fin angle per roll, pitch, yaw demand
    roll_first: int  # 1: roll gets its travel before pitch and yaw
    rules: np.ndarray  # (rules, RULE_COLUMNS)
    sensors: NamedTuple  # core.sensors.Sensors
    estimator: NamedTuple  # core.estimator.Estimator
    earth_rate: Vec3  # as the computer knows it, world axes, rad/s
    booster: float  # 1 while a booster is attached
    detection: Detection
    failure: np.ndarray  # (fins, 2): kind of a servo's failure (0 none) and its time, s


# columns of Computer.rules
(
    RULE_TRIGGER,
    RULE_THRESHOLD,
    RULE_ORDER,  # of the burn (burnout, ignition) or of the parting (separation) that is meant, from 0; of EJECTION the stage
    RULE_DELAY,
    RULE_ACTION,
    RULE_TARGET,  # of DEPLOY the canopy, of GUIDE the mode, of SEPARATE and LIGHT the stage
    RULE_TILT_BELOW,  # inhibits: inf or -inf where not used
    RULE_SPEED_ABOVE,
    RULE_SPEED_BELOW,
    RULE_HEIGHT_ABOVE,
    RULE_HEIGHT_BELOW,
    RULE_BOOSTER,  # 1: only with a booster attached, 0: only without, -1: either
    RULE_AFTER,  # window, s since liftoff
    RULE_BEFORE,
    RULE_PATIENCE,  # s that the rule waits for an inhibit to lift
) = range(15)
RULE_COLUMNS = 15

(
    TRIGGER_TIME,
    TRIGGER_LIFTOFF,
    TRIGGER_RAIL,
    TRIGGER_BURNOUT,
    TRIGGER_APOGEE,
    TRIGGER_CLIMBING,
    TRIGGER_FALLING,
    TRIGGER_SEPARATION,
    TRIGGER_IGNITION,
    TRIGGER_EJECTION,  # the pyrotechnic delay of a motor: counts from its true burnout
    TRIGGER_NEVER,  # a rule of another body's flight computer
) = range(11)

# numpy integers: they are handed to a kernel
ACTION_ENABLE, ACTION_DISABLE, ACTION_DEPLOY, ACTION_GUIDE, ACTION_SEPARATE, ACTION_LIGHT = (np.int64(i) for i in range(6))

# columns of Model.canopy, and of a flight's own canopies in Work.canopy (the draw applied)
(
    CANOPY_DRAG_AREA,
    CANOPY_FILL_TIME,  # from line stretch to full, s
    CANOPY_WAIT,  # from release to line stretch, s
    CANOPY_REEF_SHARE,  # of its drag area while reefed, 1 where it is not
    CANOPY_REEF_TIME,  # from line stretch to disreefing, s
    CANOPY_FACTOR,  # peak load over drag at infinite mass
    CANOPY_STRENGTH,  # load at which the canopy or its lines fail, N, inf where not given
    CANOPY_FAILS,  # 1: its release does nothing
    CANOPY_CORD_SHARE,  # share of the opening load that its cord carries, 0 without a cord
    CANOPY_CORD_STRENGTH,  # N, inf without a cord
    CANOPY_SNATCH,  # load of the cord as the ejection charge throws the pieces apart, N
) = range(11)
CANOPY_COLUMNS = 11
LOST, FAILED = -2.0, -3.0  # in Work.opened: the canopy is gone; its release did nothing


class Leg(NamedTuple):
    """Which part of a flight a Model is of: one body from one parting to the next, or to the ground.

    Stage numbers count from the front of the mission. ignition_row, burnout_row, parting_row : rows of the event table, -1
    where there is none. fore_axial : (n, 1) axial-force coefficient of the stages ahead of the aft joint as they stand in the
    stack, over Mach on the grid of Aero; fore_mass their mass, kg (both zero without a joint).
    """

    stages: int  # of the whole mission
    first: int  # foremost stage
    last: int  # aft-most stage: its motor is the one that may burn
    main: int  # 1 with the front stage: this body has the flight computer
    ignition_row: int
    burnout_row: int
    parting_row: int
    fore_axial: np.ndarray
    fore_mass: float
    hold: float  # tension at which the aft joint parts by itself, N; inf where it holds
    nose_x: float  # stations of the body's ends, m
    base_x: float


class Model(NamedTuple):
    """Everything one flight needs, the same for all flights of an ensemble."""

    world: World
    aero: Aero
    mass: Mass
    thrust: Thrust
    rail: Rail
    servo: Servo
    computer: Computer
    canopy: np.ndarray  # (canopies, CANOPY_COLUMNS), those of the whole mission
    tumble_area: float  # drag area of the airframe hanging under a canopy or tumbling, m^2
    leg: Leg
    tolerance: float  # of one step, m (with 1 s on speeds and the length on angles); 0: steps of fixed length
    log_every: int  # ticks per row of the log
    time_limit: float
