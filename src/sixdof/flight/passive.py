"""Kernel models of bodies that are not vehicles: no tables of shape, no fins, no flight computer; and letting them go in any
state."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof._jit import lend
from sixdof.core import types as ct
from sixdof.core.columns import (
    BODY_COLUMNS,
    CANOPY_COLUMNS,
    FIN_COLUMNS,
    GRAIN_COLUMNS,
    GUST_COLUMNS,
    HANDOVER_COLUMNS,
    PANEL_COLUMNS,
    SLOPE_COLUMNS,
    WAKE_COLUMNS,
    FinRow,
    Handover,
    StageColumn,
)
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, RULE_COLUMNS, WAYPOINT_COLUMNS
from sixdof.core.computer.estimator import Estimator
from sixdof.core.computer.guidance import BY_TIME, LAST_HOLD, PROFILE, Guidance
from sixdof.core.computer.sensors import Barometer, Gnss, Inertial, Magnetometer, Sensors
from sixdof.core.constants import FREE
from sixdof.core.draw import Draw
from sixdof.core.flight.fly import fly
from sixdof.core.layout import NOT_IGNITED, Event
from sixdof.core.leg.work import Work, make_events, make_log, make_summary, make_work
from sixdof.vehicle.motor import no_thrust
from sixdof.world.atmosphere import standard
from sixdof.world.build import AIR_BOTTOM, AIR_STEP, AIR_TOP, WIND_PER_ROOT, WIND_TOP, globe_at
from sixdof.world.gravity import EARTH_RATE, ECCENTRICITY_SQUARED, GM, J2, SEMI_MAJOR, normal_gravity

SPHERE_RADIUS = 6_371_007.1809  # m, of the area of WGS-84
EARTHS = ("wgs84", "sphere", "sphere at rest", "flat", "flat at rest")
LEAST_DENSITY = 1e-300  # kg/m^3: an empty space has no Reynolds number, this one has
NO_COEFFICIENTS = ct.Plain(0.0, 0.0, 0.0, 0.0)
WHOLE = ct.Leg(1, 0, 0, 0, -1, int(Event.BURNOUT), 0, np.zeros((2, 1)), 0.0, math.inf, 0.0, 0.0)  # one body without stages
NO_CANOPY = np.zeros((0, CANOPY_COLUMNS))
NO_GRAIN = np.zeros((0, GRAIN_COLUMNS))
_FACTORS = {
    "impulse",
    "burn_time",
    "mass",
    "inertia",
    "drag",
    "normal_force",
    "damping",
    "control_force",
    "servo_speed",
    "servo_rate",
    "gain_pitch",
    "gain_yaw",
    "gain_roll",
    "pressure",
    "wind_scale",
    "wind_cos",
}
NOMINAL = Draw(**{name: 1.0 if name in _FACTORS else 0.0 for name in Draw._fields[:-1]}, centring=np.zeros(0))._replace(wind_at_20_ft=-1.0)


def world_of(earth: str, latitude=0.0, longitude=0.0, *, wind=None, density=None, gravity=None) -> ct.World:
    """Return a world around a point on the ground.

    earth : one of EARTHS. latitude, longitude : rad. wind : (rows, 2) east and north components (m/s) at `wind_heights()`, None for calm.
    density : the same at all heights, kg/m^3; None for the U.S. Standard Atmosphere 1976. gravity : likewise, m/s^2, used by flat
    Earths; None for normal gravity.
    """
    height = np.arange(AIR_BOTTOM, AIR_TOP + AIR_STEP / 2, AIR_STEP)
    air = standard(height)
    weight = normal_gravity(latitude, height) if gravity is None else np.full_like(height, gravity)
    thick = air.density if density is None else np.full_like(height, max(density, LEAST_DENSITY))
    rate = 0.0 if earth.endswith("at rest") else EARTH_RATE
    sphere = {"a": SPHERE_RADIUS, "e2": 0.0, "j2": 0.0}
    shape = sphere if earth.startswith("sphere") else {"a": SEMI_MAJOR, "e2": ECCENTRICITY_SQUARED, "j2": J2}
    return ct.World(
        air=np.ascontiguousarray(np.column_stack([thick, air.pressure, air.sound, air.viscosity, weight])),
        air_z0=AIR_BOTTOM,
        air_per_metre=1.0 / AIR_STEP,
        wind=np.zeros((1, len(wind_heights()), 2)) if wind is None else np.ascontiguousarray(wind)[None],
        wind_per_root=WIND_PER_ROOT,
        earth_rate=ct.Vec3(0.0, rate * math.cos(latitude), rate * math.sin(latitude)),
        ground=0.0,
        globe=globe_at(latitude, longitude, 0.0, round_=not earth.startswith("flat"), gm=GM, rate=rate, **shape),
        turbulence=ct.Turbulence(0, 0.0),
        gusts=np.zeros((0, GUST_COLUMNS)),
    )


def wind_heights() -> np.ndarray:
    """Return the heights above ground (m) of the rows of a wind table."""
    return (np.arange(int(np.sqrt(WIND_TOP) * WIND_PER_ROOT) + 1) / WIND_PER_ROOT) ** 2


def model_of(
    world: ct.World,
    mass: float,
    inertia: np.ndarray,
    *,
    step: float,
    time_limit: float,
    plain: ct.Plain = NO_COEFFICIENTS,
    thrust: ct.Thrust | None = None,
    grain: np.ndarray = NO_GRAIN,
    canopy: np.ndarray = NO_CANOPY,
    leg: ct.Leg = WHOLE,
) -> ct.Model:
    """Return the model of a body; mass (kg) and inertia (3, 3, kg m^2, body axes) without the propellant in `grain`."""
    flat = np.zeros((2, BODY_COLUMNS))
    aero = ct.Aero(
        1.0,
        1.0,
        1.0,
        flat,
        np.zeros((2, 0, FIN_COLUMNS)),
        np.zeros((2, 2)),
        1.0,
        np.zeros((2, 2)),
        np.ones((2, 2)),
        np.zeros((0, PANEL_COLUMNS)),
        np.zeros((0, WAKE_COLUMNS)),
        np.zeros((0, 2, 3, 3)),
        np.zeros((2, 1, SLOPE_COLUMNS)),
        1.0,
        0.0,
        0.0,
        plain,
    )
    ixx, iyy, izz = np.diag(inertia)
    return ct.Model(
        world=world,
        aero=aero,
        mass=ct.Mass(mass, 0.0, 0.0, 0.0, ixx, iyy, izz, inertia[0, 1], inertia[0, 2], inertia[1, 2], grain),
        thrust=no_thrust(0.0) if thrust is None else thrust,
        rail=ct.Rail(0.5 * math.pi, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0),
        servo=ct.Servo(60.0, 0.7, 1.0, math.inf, 0.1, 0.0, 0.0, 0.0, 0.0, math.inf),
        computer=_idle_computer(world, step),
        canopy=canopy,
        tumble_area=0.0,
        leg=leg,
        tolerance=0.0,
        log_every=1,
        time_limit=time_limit,
    )


def _idle_computer(world: ct.World, period: float) -> ct.Computer:
    """Return a flight computer without rules, fins and errors: one step per tick."""
    triad = Inertial(0.0, 0.0, 0.0, 0.0, math.inf)
    guidance = Guidance(np.zeros((1, 4)), int(BY_TIME), 0, math.inf, np.zeros((0, WAYPOINT_COLUMNS)), 0.0, 0.0, 0.0, 0.0, 0.0, int(LAST_HOLD), int(PROFILE), 0)
    sensors = Sensors(1, triad, triad, Magnetometer(0.0, 0.0, ct.Vec3(0.0, 1.0, 0.0), 0), Barometer(0.0, 0.0, 0.0, 1), Gnss(0.0, 0.0, 0, 0, math.inf, math.inf))
    return ct.Computer(
        period=period,
        steps_per_tick=1,
        azimuth=0.0,
        guidance=guidance,
        gains=np.zeros(GAIN_HEAD + 2 * GAIN_ROW),
        mixer=np.zeros((0, 3)),
        roll_first=0,
        rules=np.zeros((0, RULE_COLUMNS)),
        sensors=sensors,
        estimator=Estimator(0.0, 0.0, 0.0, 0.0, 0.0, 0.0),
        earth_rate=world.earth_rate,
        booster=0.0,
        detection=ct.Detection(math.inf, math.inf, math.inf, -math.inf, 0.0, 0, 0.0, 0.0),
        failure=np.zeros((0, 2)),
    )


class Released(NamedTuple):
    """What a leg of `release` leaves: the kernel's status, the end's time (s), the log's rows, and its scratch arrays."""

    status: int
    time: float
    log: np.ndarray
    work: Work


def handed(place, velocity, attitude=(1.0, 0.0, 0.0, 0.0), rates=(0.0, 0.0, 0.0), *, phase=FREE, lit=NOT_IGNITED) -> np.ndarray:
    """Return what a leg is handed (layout.H_*): a body past its apogee in some state, at t = 0.

    place (m), velocity (m/s) : world axes. attitude : quaternion body -> world, scalar first. rates : rad/s, body axes.
    """
    hand = np.zeros(HANDOVER_COLUMNS)
    hand[[Handover.GOES_ON, Handover.PHASE, Handover.IGNITED, Handover.CLIMBING]] = 1.0, float(phase), lit, 0.0
    hand[Handover.POSITION : Handover.POSITION + 3], hand[Handover.VELOCITY : Handover.VELOCITY + 3] = place, velocity
    hand[Handover.ATTITUDE : Handover.ATTITUDE + 4], hand[Handover.RATE : Handover.RATE + 3] = attitude, rates
    return hand


def release(model: ct.Model, hand: np.ndarray, *, stage=None, opened: float = -1.0) -> Released:
    """Let a body go and fly it to the ground, to its separation or to the model's time limit.

    hand : see `handed`. stage : {(stage, layout.ST_*): value} of commands given beforehand. opened : when the canopies were released, s,
    -1 where they were not.
    """
    work = make_work(model)
    work.handover[:] = hand
    work.stage[:, [StageColumn.IGNITE, StageColumn.SEPARATE, StageColumn.BURNOUT]] = -1.0
    for where, value in (stage or {}).items():
        work.stage[where] = value
    work.deployed[:], work.fins[FinRow.CARRIED] = opened, 1.0
    # the first leg of a flight clears these; here the flight is taken up
    events, summary = make_events(model), make_summary()
    events[:], summary[:] = np.nan, 0.0
    log = make_log(model, int(math.ceil((model.time_limit - hand[Handover.TIME]) / model.computer.period)) + 3)
    status, time, rows = fly(lend(model), lend(NOMINAL), lend(work), log, events, summary)
    return Released(status, time, log[:rows], work)
