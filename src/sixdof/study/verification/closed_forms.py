"""Cases with a closed form, or a printed table, through the vehicle's own kernel.

Steps are the 5 ms of an ordinary flight unless a comment says otherwise. Limits are ten times what RK4 leaves at that step, or,
where that is next to nothing, rounding with room for another machine's. Numbers that are not given by a plain formula below were evaluated
with mpmath at 40 digits, outside this library.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import xarray as xr
from scipy.spatial.transform import Rotation

from sixdof.flight.passive import NOMINAL, handed, model_of, release, world_of
from sixdof.flight.rigid_body import fly_body
from sixdof.flight.separation import divide
from sixdof.study.probes.columns import (
    CANOPY,
    CANOPY_COLUMNS,
    G0,
    GRAIN_COLUMNS,
    CanopyColumn,
    Event,
    GrainColumn,
    Handover,
    Leg,
    Log,
    Model,
    StageColumn,
    Thrust,
    World,
)
from sixdof.study.probes.columns import layout as ly
from sixdof.study.verification.checks import Check
from sixdof.vehicle.motor import running_impulse
from sixdof.world.atmosphere import geometric, standard
from sixdof.world.gravity import EARTH_RATE, ECCENTRICITY_SQUARED, GM, J2, SEMI_MAJOR, normal_gravity

RHO, STEP = 1.225, 0.005  # kg/m^3, s
UNIT_INERTIA = (1.0, 1.0, 1.0)


def closed_form_checks() -> list[Check]:
    """Return the checks of all closed-form cases."""
    return [check for case in CASES for check in case()]


def _at_rest(**arguments) -> xr.Dataset:
    """Fly over a flat Earth that does not turn, under constant gravity."""
    usual = {"earth": "flat at rest", "gravity": G0, "inertia": UNIT_INERTIA, "step": STEP}
    return fly_body(**(usual | arguments))


def _end(ds: xr.Dataset, name: str) -> float:
    """Return the last value of a variable, or of a component: "velocity/down"."""
    name, _, part_ = name.partition("/")
    last = ds[name].isel(time=-1)
    return float(last.sel({last.dims[0]: part_}) if part_ else last)


def _matrices(ds: xr.Dataset) -> np.ndarray:
    """Return the matrices (n, 3, 3) body -> north, east, down."""
    return Rotation.from_euler("ZYX", np.stack([ds["yaw"], ds["pitch"], ds["roll"]], axis=1)).as_matrix()


# ------------------------------------------------------------------ paths


def _vacuum_shot() -> list[Check]:
    name, source = "shot without air", "uniform acceleration: h = v0^2/(2 g), t = 2 v0/g (any text)"
    v0 = 150.0
    up = _at_rest(mass=5.0, height=0.0, velocity=(0.0, 0.0, -v0), density=0.0, duration=v0 / G0)
    down = _at_rest(mass=5.0, height=0.0, velocity=(0.0, 0.0, -v0), density=0.0, duration=60.0)
    side = v0 * math.sqrt(0.5)
    slant = _at_rest(mass=5.0, height=0.0, velocity=(0.0, side, -side), density=0.0, duration=60.0)
    # parabolas: RK4 is exact but for rounding, and for the 1e-12 of a step to which a landing is located
    return [
        Check(name, "apogee", v0**2 / (2.0 * G0), _end(up, "height"), 1e-9, "m", source),
        Check(name, "time of landing", 2.0 * v0 / G0, _end(down, "time"), 1e-11, "s", source),
        Check(name, "speed of landing", v0, _end(down, "velocity/down"), 1e-10, "m/s", source),
        Check(name, "range at 45 deg", v0**2 / G0, _end(slant, "east"), 1e-9, "m", "range v0^2/g (any text)"),
    ]


def _drag_coast() -> list[Check]:
    name = "vertical coast and fall with drag"
    source = "quadratic drag: Mandell, Caporaso, Bengen, Topics in Advanced Model Rocketry, MIT Press 1973"
    m, v0, cd, area = 5.0, 150.0, 0.5, math.pi * 0.1**2 / 4.0
    k = 0.5 * RHO * cd * area
    terminal = math.sqrt(m * G0 / k)
    rise, top = terminal / G0 * math.atan(v0 / terminal), 0.5 * m / k * math.log1p((v0 / terminal) ** 2)
    body = {"mass": m, "height": 0.0, "velocity": (0.0, 0.0, -v0), "density": RHO, "area": area, "drag": cd}
    up, whole = _at_rest(**body, duration=rise), _at_rest(**body, duration=60.0)
    fall = terminal / G0 * math.acosh(math.exp(G0 * top / terminal**2))
    landing = terminal * math.sqrt(-math.expm1(-2.0 * G0 * top / terminal**2))
    return [
        Check(name, "apogee", top, _end(up, "height"), 1e-9, "m", source),
        Check(name, "climb at its time", 0.0, -_end(up, "velocity/down"), 1e-10, "m/s", source),
        Check(name, "time of landing", rise + fall, _end(whole, "time"), 1e-10, "s", source),
        Check(name, "speed of landing", landing, _end(whole, "velocity/down"), 1e-10, "m/s", source),
    ]


def _terminal_velocity() -> list[Check]:
    name, source = "terminal velocity", "weight = drag: v = sqrt(2 m g/(rho CD S)), and v = vt coth(u0 + g t/vt) on the way to it"
    m, cd, area, v0 = 5.0, 1.5, math.pi * 0.6**2, 30.0
    vt = math.sqrt(2.0 * m * G0 / (RHO * cd * area))
    body = {"mass": m, "height": 500.0, "velocity": (0.0, 0.0, v0), "density": RHO, "area": area, "drag": cd}
    slowing, steady = _at_rest(**body, duration=0.5), _at_rest(**body, duration=15.0)
    early = vt / math.tanh(math.atanh(vt / v0) + G0 * 0.5 / vt)
    # it slows down at up to 13 1/s: RK4 at 5 ms errs by 1e-9 of 30 m/s there, and forgets it later
    return [
        Check(name, "speed after 0.5 s from 30 m/s", early, _end(slowing, "velocity/down"), 2.5e-7, "m/s", source),
        Check(name, "speed in the end", vt, _end(steady, "velocity/down"), 1e-11, "m/s", source),
    ]


def _turning_earth() -> list[Check]:
    name, lat = "Coriolis deflection at 45 deg latitude", 0.25 * math.pi
    source = "r'' = g - 2 W x r' by the matrix exponential (Landau, Lifshitz, Mechanics, sec. 39)"
    there = {"earth": "flat", "latitude": lat, "mass": 1.0, "density": 0.0, "duration": 40.0}
    drop, throw = _at_rest(**there, height=100.0), _at_rest(**there, height=0.0, velocity=(0.0, 0.0, -150.0))
    # the references are printed to 1e-12 m
    return [
        Check(name, "drop of 100 m: east", 0.01552393853613, _end(drop, "east"), 1e-12, "m", source),
        Check(name, "drop of 100 m: north", -1.807445e-6, _end(drop, "north"), 1e-12, "m", source),
        Check(name, "throw of 150 m/s: east", -2.412728071432, _end(throw, "east"), 1e-11, "m", source),
        Check(name, "throw of 150 m/s: north", 0.003805813194986, _end(throw, "north"), 1e-11, "m", source),
    ]


def _energy_on_a_turning_earth() -> list[Check]:
    """Return the check that the sum of kinetic energy and of the potential of gravitation and of the turning frame stands (Jacobi's integral)."""
    ds = fly_body(
        mass=1.0, inertia=UNIT_INERTIA, height=100.0, velocity=(300.0, -200.0, -600.0), latitude=0.8, longitude=0.3, density=0.0, duration=100.0, step=STEP
    )
    sine, cosine = np.sin(ds.latitude.values), np.cos(ds.latitude.values)
    prime = SEMI_MAJOR / np.sqrt(1.0 - ECCENTRICITY_SQUARED * sine**2)
    axis, z = (prime + ds.height.values) * cosine, (prime * (1.0 - ECCENTRICITY_SQUARED) + ds.height.values) * sine
    r = np.hypot(axis, z)
    potential = -GM / r * (1.0 - 0.5 * J2 * (SEMI_MAJOR / r) ** 2 * (3.0 * (z / r) ** 2 - 1.0)) - 0.5 * (EARTH_RATE * axis) ** 2
    kinetic = 0.5 * (ds.velocity.values**2).sum(axis=1)
    drift = np.abs(kinetic + potential - kinetic[0] - potential[0]).max() / kinetic[0]
    source = "Jacobi's integral: conserved under gravitation with J2 in the turning frame (any text)"
    # rounding of the potential, 6e7 J/kg, is 1e-13 of the kinetic energy
    return [Check("dragless flight over WGS-84", "drift of energy, of the kinetic", 0.0, float(drift), 2e-12, "1", source)]


# ------------------------------------------------------------------ attitude


def _asymmetric_tops() -> list[Check]:
    source = "Jacobi's elliptic functions: Landau, Lifshitz, Mechanics, sec. 37"
    deg = math.pi / 180.0
    tops = (
        (
            "torque-free brick",
            (0.001894220, 0.006211019, 0.007194665),
            (10.0, 20.0, 30.0),
            "deg/s",
            deg,
            (12.61839077591422, -17.39747476161139, 31.11958888694434),
            (2e-10, 1e-12, 5e-12),
        ),
        (
            "torque-free top 1:2:3",
            (1.0, 2.0, 3.0),
            (2.0, 0.3, 0.5),
            "rad/s",
            1.0,
            (1.839002959243775, 0.8414678341402223, -0.2097076410206705),
            (1.5e-9, 5e-11, 5e-10),
        ),
    )
    checks = []
    for name, inertia, start, unit, factor, expected, (of_rate, of_energy, of_momentum) in tops:
        rates = np.array(start) * factor
        ds = _at_rest(mass=1.0, inertia=inertia, height=10.0, rates=rates, density=0.0, gravity=0.0)
        for axis, reference in zip("xyz", expected):
            checks.append(Check(name, f"rate about {axis} at 30 s", reference, _end(ds, f"rate/{axis}") / factor, of_rate, unit, source))
        # without torque both stand; what is left is RK4's drift over 6000 steps
        momentum = ds.rate.values * inertia
        energy = (momentum * ds.rate.values).sum(axis=1)
        in_space = np.einsum("nij,nj->ni", _matrices(ds), momentum)
        turned = np.linalg.norm(in_space - in_space[0], axis=1).max() / np.linalg.norm(in_space[0])
        law = "conserved without torque (any text)"
        checks.append(Check(name, "drift of energy in 30 s", 0.0, float(np.abs(energy / energy[0] - 1.0).max()), of_energy, "1", law))
        checks.append(Check(name, "drift of angular momentum", 0.0, float(turned), of_momentum, "1", law))
    return checks


def _axisymmetric_top() -> list[Check]:
    name = "torque-free axisymmetric top"
    source = "q = q0 cos nt, r = -q0 sin nt, n = p (It - Ix)/It; precession L/It: Landau, Lifshitz, Mechanics, sec. 35"
    axial, across, spin, q0 = 0.012, 1.5, 20.0, 0.5
    n, t = spin * (across - axial) / across, 12.0
    # a nutation of 20 rad/s asks for steps of 1 ms
    ds = _at_rest(mass=1.0, inertia=(axial, across, across), height=10.0, rates=(spin, q0, 0.0), density=0.0, gravity=0.0, duration=t, step=1e-3)
    momentum = np.array([axial * spin, across * q0, 0.0])
    axis = momentum / np.linalg.norm(momentum)
    nose = _matrices(ds)[:, :, 0]
    side = nose - np.outer(nose @ axis, axis)
    first = side[0] / np.linalg.norm(side[0])
    turned = np.unwrap(np.arctan2(side @ np.cross(axis, first), side @ first))[-1]
    cone = math.degrees(math.atan2(across * q0, axial * spin))
    lean = float(np.degrees(np.arccos(nose @ axis)).max())
    return [
        Check(name, "pitch rate at 12 s", q0 * math.cos(n * t), _end(ds, "rate/y"), 1e-6, "rad/s", source),
        Check(name, "yaw rate at 12 s", -q0 * math.sin(n * t), _end(ds, "rate/z"), 1e-6, "rad/s", source),
        Check(name, "precession in 12 s", np.linalg.norm(momentum) / across * t, float(turned), 1e-6, "rad", source),
        Check(name, "half-angle of its cone, largest", cone, lean, 1e-9, "deg", source),
    ]


# ------------------------------------------------------------------ air and gravity


def _air() -> list[Check]:
    name, table = "standard atmosphere", "U.S. Standard Atmosphere 1976 (NASA-TM-X-74335), table 4, layer bases"
    checks = []
    for km, pressure, density, unit_p, unit_rho in ((11, 22632.0, 0.36392, 1.0, 1e-5), (20, 5474.8, 0.088035, 0.1, 1e-6)):
        air = standard(geometric(1000.0 * km))
        # one unit of the last printed digit
        checks.append(Check(name, f"pressure at {km} km geopotential", pressure, float(air.pressure), unit_p, "Pa", table))
        checks.append(Check(name, f"density at {km} km geopotential", density, float(air.density), unit_rho, "kg/m^3", table))
    formulas = "U.S. Standard Atmosphere 1976, eqs. 18, 23, 33, 42, 50, evaluated outside this library to 7 digits"
    for height, density, sound in ((5000.0, 0.7364284, 320.5455), (10000.0, 0.4135104, 299.5318), (20000.0, 0.08890992, 295.0696)):
        ds = fly_body(mass=1.0, inertia=UNIT_INERTIA, height=height, velocity=(100.0, 0.0, 0.0), duration=0.01)
        felt = 2.0 * float(ds.dynamic_pressure[0]) / 100.0**2
        where = f"felt at {height / 1000.0:g} km"
        checks.append(Check(name, f"density {where}", density, felt, 1e-6 * density, "kg/m^3", formulas))
        checks.append(Check(name, f"speed of sound {where}", sound, 100.0 / float(ds.mach[0]), 1e-6 * sound, "m/s", formulas))
    return checks


def _gravity() -> list[Check]:
    name, source = "normal gravity", "WGS-84 (NIMA TR8350.2), Somigliana's formula, eq. 4-1, and eq. 4-3 aloft"
    checks = []
    for degrees, surface, aloft in ((0, 9.7803253359, 9.7495206), (45, 9.8061977693, 9.7754146), (90, 9.8321849378, 9.8014236)):
        latitude = math.radians(degrees)
        checks.append(Check(name, f"on the ellipsoid at {degrees} deg", surface, float(normal_gravity(latitude, 0.0)), 1e-9, "m/s^2", source))
        checks.append(Check(name, f"10 km up at {degrees} deg", aloft, float(normal_gravity(latitude, 1e4)), 1e-7, "m/s^2", source))
        # gravitation with J2 and the centrifugal part; the normal field's J4 = -2.37e-6 is omitted: 5 J4 of gravity at the poles, 1.2e-4
        ds = fly_body(mass=1.0, inertia=UNIT_INERTIA, height=0.0, latitude=latitude, velocity=(0.0, 0.0, -0.5), density=0.0, duration=0.1)
        felt = (_end(ds, "velocity/down") + 0.5) / 0.1
        checks.append(Check(name, f"as a body falls, at {degrees} deg", surface, felt, 1.5e-4, "m/s^2", source))
    return checks


# ------------------------------------------------------------------ canopies and stages


def _canopy() -> list[Check]:
    source = "T. W. Knacke, Parachute Recovery Systems Design Manual, NWC TP 6575 (1992): F = CD S q Cx at infinite mass"
    area = 0.75 * math.pi * 1.5**2 / 4.0
    steady = _under_canopy(5.0, area, fill=0.0, height=300.0, speed=0.0, gravity=G0, time_limit=100.0)
    # a million tonnes lose 3e-9 of their speed, and the load twice that, while the canopy fills
    heavy = _under_canopy(1e9, area, fill=0.5, height=500.0, speed=25.0, gravity=0.0, time_limit=2.0, factor=1.7)
    speed = -float(steady.log[-1, Log.VELOCITY_UP])
    vt = math.sqrt(2.0 * 5.0 * G0 / (RHO * area))
    load = 0.5 * RHO * 25.0**2 * area * 1.7
    return [
        Check("canopy", "terminal velocity of 5 kg", vt, speed, 1e-10, "m/s", "weight = drag: v = sqrt(2 m g/(rho CD S))"),
        Check("canopy", "opening load at infinite mass", load, float(heavy.work.pull[0]), 5e-5, "N", source),
    ]


def _under_canopy(mass, area, *, fill, height, speed, gravity, time_limit, factor=1.0):
    world = world_of("flat at rest", density=RHO, gravity=gravity)
    row = np.zeros((1, CANOPY_COLUMNS))
    row[0, [CanopyColumn.DRAG_AREA, CanopyColumn.FILL_TIME, CanopyColumn.REEFING_RATIO, CanopyColumn.OPENING_COEFFICIENT]] = area, fill, 1.0, factor
    row[0, [CanopyColumn.STRENGTH, CanopyColumn.HARNESS_STRENGTH]] = math.inf
    model = model_of(world, mass, np.eye(3), step=STEP, time_limit=time_limit, canopy=row)
    return release(model, handed((0.0, 0.0, height), (0.0, 0.0, -speed), phase=CANOPY), opened=0.0)


def _two_stages() -> list[Check]:
    """Return the checks of a stack that burns its aft motor, separates, and burns its front stage: no air, no weight."""
    name, source = "two stages in empty space", "K. E. Tsiolkovsky (1903): dv = ve ln(m0/m1) of each burn"
    ahead, behind = 2.0, 3.0  # kg without propellant
    fore, aft = _Motor(1.0, 1800.0, 2.0), _Motor(4.0, 2000.0, 3.0)
    world = world_of("flat at rest", density=0.0, gravity=0.0)
    part_at, light_at = aft.burn_time + 0.5, aft.burn_time + 1.0
    rows = len(ly.EVENTS)  # of the event table: then ignition, burnout and separation of the joint's stages
    stack = _stage(world, ahead + fore.propellant + behind, aft, Leg(2, 0, 1, 1, -1, int(Event.BURNOUT), rows + 2, *_NO_JOINT))
    alone = _stage(world, ahead, fore, Leg(2, 0, 0, 1, rows, rows + 1, rows + 2, *_NO_JOINT))
    dropped = _stage(world, behind, aft, Leg(2, 1, 1, 0, -1, int(Event.BURNOUT), rows + 2, *_NO_JOINT))
    whole = release(stack, handed((0.0, 0.0, 1000.0), (0.0, 0.0, 0.0), lit=0.0), stage={(1, StageColumn.SEPARATE): part_at})
    halves = divide(whole.work.handover, (stack, NOMINAL), (alone, NOMINAL), (dropped, NOMINAL), 0.0, (0.0, 0.0))
    front = release(alone, halves.fore, stage={(0, StageColumn.IGNITE): light_at})
    first = aft.exhaust * math.log((ahead + fore.propellant + behind + aft.propellant) / (ahead + fore.propellant + behind))
    second = fore.exhaust * math.log((ahead + fore.propellant) / ahead)
    # thrust over mass is smooth between break points, where steps end
    return [
        Check(name, "speed at the separation", first, float(whole.work.handover[Handover.VELOCITY]), 1e-8, "m/s", source),
        Check(name, "speed after both burns", first + second, float(front.log[-1, Log.VELOCITY_EAST]), 1e-8, "m/s", source),
    ]


class _Motor:
    """A motor by its propellant (kg), exhaust speed (m/s) and burn time (s), with a thrust that rises and falls."""

    def __init__(self, propellant: float, exhaust: float, burn_time: float):
        self.propellant, self.exhaust, self.burn_time = propellant, exhaust, burn_time
        time = burn_time * np.array([0.0, 0.1, 0.6, 1.0])
        shape = np.array([0.2, 1.0, 0.7, 0.0])
        force = shape * propellant * exhaust / running_impulse(time, shape)[-1]
        running = running_impulse(time, force)
        self.thrust = Thrust(time, force, running / running[-1], float(running[-1]), propellant, 1.0, 0.0, 0.0, 101325.0)


_NO_JOINT = np.zeros((2, 1)), 0.0, math.inf, 0.0, 0.0  # of Leg: no force at the joint is asked for, the body's ends do not matter


def _stage(world: World, dry: float, motor: _Motor, leg: Leg) -> Model:
    grain = np.zeros((1, GRAIN_COLUMNS))
    grain[0, GrainColumn.MASS] = motor.propellant
    return model_of(world, dry, np.eye(3), step=STEP, time_limit=10.0, thrust=motor.thrust, grain=grain, leg=leg)


CASES: tuple[Callable[[], list[Check]], ...] = (
    _vacuum_shot,
    _drag_coast,
    _terminal_velocity,
    _turning_earth,
    _energy_on_a_turning_earth,
    _asymmetric_tops,
    _axisymmetric_top,
    _air,
    _gravity,
    _canopy,
    _two_stages,
)
