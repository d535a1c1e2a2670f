"""The data the kernels read and write: NamedTuples of float64 scalars and C-contiguous float64 arrays, nothing else.

Frames: world = east, north, up at the launch point; body = x forward, y starboard, z completing the set. Stations are
metres aft of the nose tip. The columns of every table are in `core/columns.py` and `core/computer/columns.py`; nobody writes a bare number.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np


class Vec3(NamedTuple):
    x: float
    y: float
    z: float


class Station(NamedTuple):
    """A place on the vehicle: its station, metres aft of the nose tip, and its distance off the axis along body y and z."""

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


class Air(NamedTuple):
    """The air at one height (AirColumn)."""

    density: float
    pressure: float
    sound: float
    viscosity: float
    gravity: float


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


class Turbulence(NamedTuple):
    """Dryden turbulence; its wind at 20 ft is drawn. aloft : standard deviation above 2000 ft, m/s, -1: a tenth of the wind at 20 ft."""

    on: int
    aloft: float


class World(NamedTuple):
    """Air, gravity, wind and the turning Earth around the launch point.

    air : (n, AIR_COLUMNS) over height above ground z = z0 + i/per_metre, i = 0..n-1.
    wind : (members, m, 2) of each forecast east and north component (m/s, where the air moves TO) over sqrt(height above ground): row
        index = sqrt(max(z, 0)) * wind_per_root. Fine near the ground, coarse aloft, one look-up. A flight's draw says which it is.
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

    liftoff_specific_force: float  # specific force along the axis that counts as liftoff, m/s^2
    liftoff_height: float  # m: liftoff is also noticed by the height gained
    ignition_specific_force: float  # specific force along the axis that counts as the next motor's ignition, m/s^2
    burnout_specific_force: float  # below it a burn has ended, m/s^2
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


# what a rule waits for (RuleColumn.TRIGGER)
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

# what it does (RuleColumn.ACTION); numpy integers: they are handed to a kernel
ACTION_ENABLE, ACTION_DISABLE, ACTION_DEPLOY, ACTION_GUIDE, ACTION_SEPARATE, ACTION_IGNITE = (np.int64(i) for i in range(6))

LOST, FAILED = -2.0, -3.0  # in Work.deployed: the canopy is gone; its deployment did nothing


class Leg(NamedTuple):
    """Which part of a flight a Model is of: one body from one separation to the next, or to the ground.

    Stage numbers count from the front of the mission. ignition_row, burnout_row, separation_row : rows of the event table, -1
    where there is none. fore_axial : (n, 1) axial-force coefficient of the stages ahead of the aft joint as they stand in the
    stack, over Mach on the grid of Aero; fore_mass their mass, kg (both zero without a joint).
    """

    stages: int  # of the whole mission
    first: int  # foremost stage
    last: int  # aft-most stage: its motor is the one that may burn
    main: int  # 1 with the front stage: this body has the flight computer
    ignition_row: int
    burnout_row: int
    separation_row: int
    fore_axial: np.ndarray
    fore_mass: float
    retention_force: float  # tension at which the aft joint separates by itself, N; inf where it holds
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
