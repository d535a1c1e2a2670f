"""Any rigid body flown by the vehicle's own kernel: constant coefficients, any inertia, any start, a flat or a round Earth.

For checks of the flight mechanics, and for questions that need no rocket (where does a dropped camera land?).
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import xarray as xr

from sixdof.core import layout as ly
from sixdof.core import types as ct
from sixdof.core.control import K_HEAD, K_ROW
from sixdof.core.draw import Draw
from sixdof.core.estimator import Estimator
from sixdof.core.flight import fly, make_events, make_log, make_summary, make_work
from sixdof.core.guidance import BY_TIME, LAST_HOLD, PROFILE, WP_COLUMNS, Guidance
from sixdof.core.motion import FREE
from sixdof.core.sensors import Barometer, Gnss, Inertial, Magnetometer, Sensors
from sixdof.vehicle.motor import no_thrust
from sixdof.world.atmosphere import standard
from sixdof.world.build import AIR_BOTTOM, AIR_STEP, AIR_TOP, WIND_PER_ROOT, WIND_TOP, globe_at
from sixdof.world.geodesy import geodetic
from sixdof.world.gravity import ECCENTRICITY_SQUARED, EARTH_RATE, GM, J2, SEMI_MAJOR, normal_gravity

SPHERE_RADIUS = 6_371_007.1809  # m, of equal area
EARTHS = ("wgs84", "sphere", "sphere at rest", "flat")


def fly_body(
    *,
    mass: float,
    inertia,
    height: float,
    velocity: Sequence[float] = (0.0, 0.0, 0.0),
    attitude: Sequence[float] = (0.0, 0.0, 0.0),
    rates: Sequence[float] = (0.0, 0.0, 0.0),
    latitude: float = 0.0,
    longitude: float = 0.0,
    area: float = 1.0,
    drag: float = 0.0,
    lengths: tuple[float, float] = (1.0, 1.0),
    damping: Sequence[float] = (0.0, 0.0, 0.0),
    earth: str = "wgs84",
    wind: Callable | None = None,
    air: bool = True,
    duration: float = 30.0,
    step: float = 0.01,
) -> xr.Dataset:
    """Fly a rigid body of constant coefficients from any state for a time, or to the ground.

    Parameters
    ----------
    mass, inertia : kg; (3,) principal moments or (3, 3) tensor about the centre of mass, kg m^2, body axes.
    height : above the ellipsoid, sphere or flat ground, m. latitude, longitude : geodetic, rad.
    velocity : over the turning ground, north, east, down, m/s.
    attitude : roll, pitch, yaw of the body from north, east, down (3-2-1), rad.
    rates : body rates against inertial space, body axes, rad/s.
    area, drag : m^2 and drag coefficient along the velocity through the air.
    lengths : span (roll, yaw) and chord (pitch) of the damping coefficients, m. damping : C_l_p, C_m_q, C_n_r with rate l/(2V);
        negative damps. They use the rates against the turning Earth, with which the air turns.
    earth : "wgs84" (J2, turning), "sphere" (turning), "sphere at rest", or "flat" (turning, normal gravity along the vertical).
    wind : function of height above ground (m, array) that gives (east, north), m/s, where the air moves TO; None: calm.
    air : US Standard Atmosphere 1976 of the height, or none at all.
    duration, step : s.

    Returns
    -------
    Dataset
        Along `time`: latitude, longitude (rad), height (m), velocity (north, east, down; m/s), roll, pitch, yaw (rad), rate (body axes,
        against inertial space; rad/s), mach, dynamic_pressure.

    Raises
    ------
    ValueError
        For an Earth that is not one of these, a mass or inertia that is no body's, numbers that are not finite.
    """
    tensor = _tensor(mass, inertia)
    numbers = [height, *velocity, *attitude, *rates, latitude, longitude, area, drag, *lengths, *damping, duration, step]
    if not np.isfinite(np.array(numbers, dtype=float)).all():
        raise ValueError("fly_body: every number must be finite; a NaN or an infinity was given")
    if earth not in EARTHS:
        raise ValueError(f"fly_body: earth = {earth!r} must be one of {', '.join(EARTHS)}")
    if not (duration > 0.0 and 0.0 < step <= duration):
        raise ValueError(f"fly_body: step = {step:g} s must be above 0 and at most the duration, {duration:g} s")
    world = _world(earth, latitude, longitude, wind, air)
    model = _model(world, mass, tensor, _plain(area, drag, lengths, damping), step, duration)
    work = make_work(model)
    work.hand[[ly.H_GOES_ON, ly.H_PHASE, ly.H_LIT, ly.H_CLIMBING]] = 1.0, float(FREE), ly.UNLIT, 0.0
    to_world = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, -1.0]])  # north, east, down -> east, north, up
    work.hand[ly.H_RX : ly.H_RX + 3] = 0.0, 0.0, height
    work.hand[ly.H_VX : ly.H_VX + 3] = to_world @ np.asarray(velocity, dtype=float)
    work.hand[ly.H_QW : ly.H_QW + 4] = _quaternion(to_world @ _from_euler(*attitude))
    work.hand[ly.H_WX : ly.H_WX + 3] = rates
    log, events, summary = make_log(model, int(round(duration / step)) + 3), make_events(model), make_summary()
    events[:], summary[:] = np.nan, 0.0
    _, _, rows = fly(model, _draw(), work, log, events, summary)
    return _dataset(log[:rows], world, earth)


def _tensor(mass, inertia) -> np.ndarray:
    tensor = np.asarray(inertia, dtype=float)
    tensor = np.diag(tensor) if tensor.shape == (3,) else tensor
    if tensor.shape != (3, 3) or not np.isfinite(tensor).all() or not np.allclose(tensor, tensor.T):
        raise ValueError("fly_body: inertia must be three principal moments or a symmetric 3 x 3 tensor, kg m^2")
    principal = np.linalg.eigvalsh(tensor)
    if not (mass > 0.0 and principal[0] > 0.0 and principal[2] <= (principal[0] + principal[1]) * (1.0 + 1e-9)):
        raise ValueError(f"fly_body: mass {mass:g} kg and principal moments {principal} kg m^2 are those of no body")
    return tensor


def _plain(area: float, drag: float, lengths, damping) -> ct.Plain:
    span, chord = lengths
    roll, pitch, yaw = damping
    return ct.Plain(area * drag, 0.25 * area * span**2 * roll, 0.25 * area * chord**2 * pitch, 0.25 * area * span**2 * yaw)


def _world(earth: str, latitude: float, longitude: float, wind, air: bool) -> ct.World:
    height = np.arange(AIR_BOTTOM, AIR_TOP + AIR_STEP / 2, AIR_STEP)
    atmosphere = standard(height)
    rows = np.column_stack([atmosphere.density, atmosphere.pressure, atmosphere.sound, atmosphere.viscosity, normal_gravity(latitude, height)])
    if not air:
        rows[:, ct.AIR_DENSITY] = 1e-300
    roots = np.arange(int(np.sqrt(WIND_TOP) * WIND_PER_ROOT) + 1) / WIND_PER_ROOT
    blowing = np.zeros((roots.size, 2))
    if wind is not None:
        blowing[:, 0], blowing[:, 1] = wind(roots**2)
    rate = 0.0 if earth == "sphere at rest" else EARTH_RATE
    shape = {"a": SPHERE_RADIUS, "e2": 0.0, "j2": 0.0} if earth.startswith("sphere") else {"a": SEMI_MAJOR, "e2": ECCENTRICITY_SQUARED, "j2": J2}
    return ct.World(
        air=np.ascontiguousarray(rows), air_z0=AIR_BOTTOM, air_per_metre=1.0 / AIR_STEP, wind=blowing, wind_per_root=WIND_PER_ROOT,
        earth_rate=ct.Vec3(0.0, rate * math.cos(latitude), rate * math.sin(latitude)), ground=0.0,
        globe=globe_at(latitude, longitude, 0.0, round_=earth != "flat", gm=GM, rate=rate, **shape),
        turbulence=ct.Turbulence(0, 0.0, 0.0), gusts=np.zeros((0, ct.GUST_COLUMNS)),
    )  # fmt: skip


def _model(world: ct.World, mass: float, tensor: np.ndarray, plain: ct.Plain, step: float, duration: float) -> ct.Model:
    """Return the model of a passive body: no tables of shape, no motor, no fins, no rules."""
    flat = np.zeros((2, ct.BODY_COLUMNS))
    aero = ct.Aero(
        1.0, 1.0, 1.0, flat, np.zeros((2, 0, ct.FIN_COLUMNS)), np.zeros((2, 2)), 1.0, np.zeros((2, 2)), np.ones((2, 2)),
        np.zeros((0, ct.PANEL_COLUMNS)), np.zeros((0, ct.WAKE_COLUMNS)), np.zeros((0, 2, 3, 3)), 1.0, 0.0, 0.0, plain,
    )  # fmt: skip
    triad = Inertial(0.0, 0.0, 0.0, 0.0, math.inf)
    computer = ct.Computer(
        period=step, steps_per_tick=1, azimuth=0.0,
        guidance=Guidance(
            np.zeros((1, 4)), int(BY_TIME), 0, math.inf, np.zeros((0, WP_COLUMNS)), 0.0, 0.0, 0.0, 0.0, 0.0, int(LAST_HOLD),
            int(PROFILE), 0,
        ),
        gains=np.zeros(K_HEAD + 2 * K_ROW), mixer=np.zeros((0, 3)), roll_first=0, rules=np.zeros((0, ct.RULE_COLUMNS)),
        sensors=Sensors(
            1, triad, triad, Magnetometer(0.0, 0.0, ct.Vec3(0.0, 1.0, 0.0), 0), Barometer(0.0, 0.0, 0.0, 1),
            Gnss(0.0, 0.0, 0, 0, math.inf, math.inf),
        ),
        estimator=Estimator(0.0, 0.0, 0.0, 0.0, 0.0, 0.0), earth_rate=world.earth_rate, booster=0.0,
        detection=ct.Detection(math.inf, math.inf, math.inf, -math.inf, 0.0, 0, 0.0, 0.0), failure=np.zeros((0, 2)),
    )  # fmt: skip
    ixx, iyy, izz = np.diag(tensor)
    return ct.Model(
        world=world, aero=aero,
        mass=ct.Mass(mass, 0.0, 0.0, 0.0, ixx, iyy, izz, tensor[0, 1], tensor[0, 2], tensor[1, 2], np.zeros((0, ct.GRAIN_COLUMNS))),
        thrust=no_thrust(0.0), rail=ct.Rail(0.5 * math.pi, 0.0, 0.0, 1.0, 1.0, 0.0, 0.0),
        servo=ct.Servo(60.0, 0.7, 1.0, math.inf, 0.1, 0.0, 0.0, 0.0, 0.0, math.inf), computer=computer,
        canopy=np.zeros((0, ct.CANOPY_COLUMNS)), tumble_area=0.0,
        leg=ct.Leg(1, 0, 0, 0, -1, ly.E_BURNOUT, 0, np.zeros((2, 1)), 0.0, math.inf, 0.0, 0.0), tolerance=0.0, log_every=1,
        time_limit=duration + 0.5 * step,  # so that the moment itself is logged
    )  # fmt: skip


_FACTORS = {"impulse", "burn_time", "mass", "inertia", "drag", "normal_force", "servo_speed", "servo_rate", "gain_pitch", "gain_yaw",
            "gain_roll", "pressure", "wind_scale", "wind_cos"}  # fmt: skip


def _draw() -> Draw:
    fields = {name: 1.0 if name in _FACTORS else 0.0 for name in Draw._fields[:-1]}
    return Draw(**fields, centring=np.zeros(0))


def _from_euler(roll: float, pitch: float, yaw: float) -> np.ndarray:
    """Return the matrix body -> north, east, down of 3-2-1 angles."""
    (cr, sr), (cp, sp), (cy, sy) = ((math.cos(a), math.sin(a)) for a in (roll, pitch, yaw))
    return np.array(
        [
            [cp * cy, sr * sp * cy - cr * sy, cr * sp * cy + sr * sy],
            [cp * sy, sr * sp * sy + cr * cy, cr * sp * sy - sr * cy],
            [-sp, sr * cp, cr * cp],
        ]
    )


def _quaternion(m: np.ndarray) -> np.ndarray:
    """Return the quaternion, scalar first, of a rotation matrix (Shepperd 1978)."""
    squares = 1.0 + np.array([np.trace(m), *(2.0 * np.diag(m) - np.trace(m))])
    k = int(np.argmax(squares))
    q = np.empty(4)
    q[k] = squares[k]
    skew = np.array([m[2, 1] - m[1, 2], m[0, 2] - m[2, 0], m[1, 0] - m[0, 1]])
    if k == 0:
        q[1:] = skew
    else:
        i = k - 1
        q[0] = skew[i]
        for j in range(3):
            if j != i:
                q[1 + j] = m[i, j] + m[j, i]
    return q / np.linalg.norm(q)


def _dataset(log: np.ndarray, world: ct.World, earth: str) -> xr.Dataset:
    columns = {name: log[:, i] for i, name in enumerate(ly.LOG)}
    globe = world.globe
    turn = np.array(globe.turn).reshape(3, 3)
    place = np.stack([columns["east"], columns["north"], _vertical(log, world)], axis=1)
    latitude, longitude, height = geodetic(place @ turn.T + np.array(globe.origin), globe.a, globe.e2)
    local = _local_axes(latitude, longitude) if globe.round else np.broadcast_to(_local_axes(*_origin(globe)), (len(log), 3, 3))
    velocity = np.stack([columns[f"velocity_{axis}"] for axis in ("east", "north", "up")], axis=1) @ turn.T
    q = np.stack([columns[f"q_{part}"] for part in "wxyz"], axis=1)
    body = np.einsum("nij,jk,nkl->nil", local, turn, _matrices(q))
    if not globe.round:
        height = columns["height"]
    rates = np.stack([columns[f"rate_{axis}"] for axis in "xyz"], axis=1)
    entries = {
        "latitude": (latitude, "rad", "geodetic latitude"),
        "longitude": (longitude, "rad", "longitude"),
        "height": (height, "m", "height above the ellipsoid, sphere or flat ground"),
        "roll": (np.arctan2(body[:, 2, 1], body[:, 2, 2]), "rad", "roll angle, 3-2-1 from north, east, down"),
        "pitch": (-np.arcsin(np.clip(body[:, 2, 0], -1.0, 1.0)), "rad", "pitch angle"),
        "yaw": (np.arctan2(body[:, 1, 0], body[:, 0, 0]), "rad", "yaw angle"),
        "mach": (columns["mach"], "1", "Mach number"),
        "dynamic_pressure": (columns["dynamic_pressure"], "Pa", "dynamic pressure"),
    }
    ds = xr.Dataset(
        {name: ("time", np.ascontiguousarray(values), {"units": unit, "long_name": text}) for name, (values, unit, text) in entries.items()},
        {"time": ("time", columns["time"].copy(), {"units": "s", "long_name": "time"}), "axis": ["x", "y", "z"], "direction": ["north", "east", "down"]},
        {"earth": earth},
    )
    ned = np.einsum("nij,nj->ni", local, velocity)
    ds["velocity"] = (("time", "direction"), ned, {"units": "m/s", "long_name": "velocity over the ground: north, east, down"})
    ds["rate"] = (("time", "axis"), rates, {"units": "rad/s", "long_name": "body rate against inertial space, body axes"})
    return ds


def _vertical(log: np.ndarray, world: ct.World) -> np.ndarray:
    """Return the third Cartesian coordinate of a log's rows: on a round Earth the log's height is that above the ground."""
    height = log[:, ly.L_HEIGHT]
    if not world.globe.round:
        return height
    return log[:, ly.L_UP]


def _origin(globe: ct.Globe):
    latitude, longitude, _ = geodetic(np.array([globe.origin]), globe.a, globe.e2)
    return latitude, longitude


def _local_axes(latitude, longitude) -> np.ndarray:
    """Return the matrices (n, 3, 3) Earth-fixed -> north, east, down."""
    sl, cl, so, co = np.sin(latitude), np.cos(latitude), np.sin(longitude), np.cos(longitude)
    zero = np.zeros_like(sl)
    return np.stack(
        [np.stack([-sl * co, -sl * so, cl], -1), np.stack([-so, co, zero], -1), np.stack([-cl * co, -cl * so, -sl], -1)], axis=-2
    )


def _matrices(q: np.ndarray) -> np.ndarray:
    w, x, y, z = q.T
    return np.stack(
        [
            np.stack([1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - w * z), 2.0 * (x * z + w * y)], -1),
            np.stack([2.0 * (x * y + w * z), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z - w * x)], -1),
            np.stack([2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)], -1),
        ],
        axis=-2,
    )
