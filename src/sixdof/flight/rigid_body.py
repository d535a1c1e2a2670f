"""Any rigid body flown by the vehicle's own kernel: constant coefficients, any inertia, any start, a flat or a round Earth.

For checks of the flight mechanics, and for questions that need no rocket (where does a dropped camera land?).
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Callable, Sequence

import numpy as np
import xarray as xr

from sixdof.core import types as ct
from sixdof.core.layout import Log
from sixdof.flight.passive import EARTHS, handed, model_of, release, wind_heights, world_of
from sixdof.results.status import FlightError, Status
from sixdof.world.build import AIR_TOP
from sixdof.world.geodesy import geodetic

MOST_STEPS = 500_000  # every step is logged: 0.5 GB
TO_WORLD = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, -1.0]])  # north, east, down -> east, north, up


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
    lengths: Sequence[float] = (1.0, 1.0),
    damping: Sequence[float] = (0.0, 0.0, 0.0),
    earth: str = "wgs84",
    wind: Callable | None = None,
    density: float | None = None,
    gravity: float | None = None,
    duration: float = 30.0,
    step: float = 0.01,
) -> xr.Dataset:
    """Fly a rigid body of constant coefficients from any state for a time, or to the ground.

    Parameters
    ----------
    mass, inertia : kg; (3,) principal moments or (3, 3) tensor about the centre of mass, kg m^2, body axes (products as they stand in
        the tensor).
    height : above the ellipsoid, sphere or flat ground, m, 0 to 40 km. latitude, longitude : geodetic, rad.
    velocity : over the turning ground, north, east, down, m/s.
    attitude : roll, pitch, yaw of the body from north, east, down (3-2-1: yaw first), rad.
    rates : body rates against inertial space, body axes, rad/s.
    area, drag : m^2 and drag coefficient, along the velocity through the air.
    lengths : span (roll, yaw) and chord (pitch) of the damping coefficients, m. damping : C_l_p, C_m_q, C_n_r with rate l/(2V);
        negative damps. They use the rates against the turning Earth, with which the air turns.
    earth : "wgs84" (J2, turning), "sphere" (turning), "sphere at rest", "flat" (turning, gravity along the vertical at the start) or
        "flat at rest".
    wind : function of height above ground (m, an array) that gives (east, north), m/s, where the air moves TO; None: calm. It is
        tabulated over the square root of height and held above 40 km.
    density : of the air at all heights, kg/m^3, 0 for none; None: U.S. Standard Atmosphere 1976.
    gravity : at all heights of a flat Earth, m/s^2; None: normal gravity of WGS-84.
    duration, step : s; the longest step, made a little shorter so that a whole number of them fits the duration.

    Returns
    -------
    Dataset
        Along `time`, at every step: latitude, longitude (rad), height (m), east, north (m, from the start in its tangent plane), velocity
        (north, east, down; m/s), roll, pitch, yaw (rad; take ds["roll"]: ds.roll is xarray's own method), rate (body axes, against
        inertial space; rad/s), mach, dynamic_pressure (Pa). On a flat Earth north, east and down are those of the start. Its attribute
        `end` says what ended the flight: "duration", "landing" (the last row is the moment itself) or "top of the air".

    Raises
    ------
    ValueError
        For an Earth that is not one of these, a mass or inertia that no body can have, numbers that are not finite or out of their range.
    FlightError
        If the motion diverged.

    Notes
    -----
    Moments are 0.25 rho V S l^2 C rate, which is q S l C rate l/(2V) without a division by V.

    Examples
    --------
    >>> ball = sixdof.aero.fly_body(mass=1.0, inertia=np.eye(3), height=100.0, duration=1.0)
    >>> round(float(ball.height[-1]), 1)
    95.1
    """
    mass, tensor = _mass_and_tensor(mass, inertia)
    height, velocity, attitude, rates = _finite(height=height, velocity=velocity, attitude=attitude, rates=rates)
    area, drag, lengths, damping = _finite(area=area, drag=drag, lengths=lengths, damping=damping)
    latitude, longitude, density, gravity = _finite(latitude=latitude, longitude=longitude, density=density, gravity=gravity)
    duration, step = _finite(duration=duration, step=step)
    _check_ranges(height, latitude, area, drag, lengths, density, gravity, earth, duration, step)
    blowing = None if wind is None else _wind_rows(wind)
    around = world_of(earth, latitude, longitude, wind=blowing, density=density, gravity=gravity)
    steps = max(int(math.ceil(duration / step - 1e-9)), 1)
    period = duration / steps
    # a flight ends at the first tick past its limit, and logs a tick as it begins: half a step more brings the last moment
    model = model_of(around, mass, tensor, step=period, time_limit=duration + 0.5 * period, plain=_plain(area, drag, lengths, damping))
    start = handed((0.0, 0.0, height), TO_WORLD @ velocity, _quaternion(TO_WORLD @ _from_euler(*attitude)), rates)
    flown = release(model, start)
    rows = flown.log[flown.log[:, Log.TIME] <= duration + 1e-6 * period]
    ds = _dataset(rows, around, earth)
    ds.attrs["end"] = _end(Status(flown.status), flown.time, duration, ds)
    return ds


SIZES = {"velocity": 3, "attitude": 3, "rates": 3, "lengths": 2, "damping": 3}
OPTIONAL = ("density", "gravity")  # None: the Earth's own


def _finite(**arguments) -> list:
    """Return the arguments as floats and arrays of them. Raises ValueError for one that is not as many finite numbers as it takes."""
    found = []
    for name, value in arguments.items():
        if value is None and name in OPTIONAL:
            found.append(None)
            continue
        size = SIZES.get(name)
        numbers = _as_floats(value)
        if numbers.shape != (() if size is None else (size,)) or not np.isfinite(numbers).all():
            raise ValueError(f"fly_body: {name} = {_told(value)} must be {'a finite number' if size is None else f'{size} finite numbers'}")
        found.append(float(numbers) if size is None else numbers)
    return found


def _told(value) -> str:
    """Return what was given, in a few words: numbers and texts as they are, anything else by its kind."""
    plain = value is None or isinstance(value, (bool, int, float, str))
    return repr(value)[:60] if plain else f"a Python {type(value).__name__}"


def _as_floats(value) -> np.ndarray:
    """Return what was given as floats, NaN where it is not a number or a table of them."""
    try:
        return np.asarray(value, dtype=float)
    except (TypeError, ValueError, OverflowError):
        return np.array(np.nan)


def _check_ranges(height, latitude, area, drag, lengths, density, gravity, earth, duration, step) -> None:
    if not isinstance(earth, str) or earth not in EARTHS:
        raise ValueError(f"fly_body: earth = {_told(earth)} must be one of {', '.join(map(repr, EARTHS))}")
    if not 0.0 <= height <= AIR_TOP:
        raise ValueError(f"fly_body: height = {height:g} m must be from 0, the ground, to {AIR_TOP:g}, where the air tables end")
    if abs(latitude) > 0.5 * math.pi:
        raise ValueError(f"fly_body: latitude = {latitude:g} rad lies beyond a pole; it is in radians, from -pi/2 to pi/2")
    named = {"area": area, "drag": drag, "lengths": min(lengths), "density": density or 0.0, "gravity": gravity or 0.0}
    for name, value in named.items():
        if value < 0.0:
            raise ValueError(f"fly_body: {name} = {value:g} must not be negative")
    if gravity is not None and not earth.startswith("flat"):
        raise ValueError(f'fly_body: gravity goes with a flat Earth; earth = "{earth}" has its own')
    if not (duration > 0.0 and 0.0 < step <= duration):
        raise ValueError(f"fly_body: step = {step:g} s must be above 0 and at most the duration, {duration:g} s")
    if duration / step > MOST_STEPS:
        raise ValueError(f"fly_body: {duration / step:.3g} steps are more than {MOST_STEPS}; take a longer step or a shorter duration")


def _mass_and_tensor(mass, inertia) -> tuple[float, np.ndarray]:
    tensor, heavy = _as_floats(inertia), _as_floats(mass)
    if tensor.ndim == 0 or heavy.ndim > 0 or np.isnan(heavy):
        raise ValueError(f"fly_body: mass = {_told(mass)} and inertia = {_told(inertia)} must be numbers, kg and kg m^2")
    mass = float(heavy)
    tensor = np.diag(tensor) if tensor.shape == (3,) else tensor
    if tensor.shape != (3, 3) or not np.isfinite(tensor).all() or not np.allclose(tensor, tensor.T, atol=0.0):
        raise ValueError(f"fly_body: inertia = {_told(inertia)} must be three principal moments or a symmetric 3 x 3 tensor, kg m^2")
    principal = np.linalg.eigvalsh(tensor)
    if not (0.0 < mass < math.inf and principal[0] > 0.0):
        raise ValueError(f"fly_body: mass = {mass:g} kg and the principal moments {principal} kg m^2 of inertia must be above 0")
    if principal[2] > (principal[0] + principal[1]) * (1.0 + 1e-9):
        raise ValueError(f"fly_body: inertia: no body has the principal moments {principal} kg m^2: the largest exceeds the sum of the others")
    return mass, tensor


def _wind_rows(wind: Callable) -> np.ndarray:
    """Return the rows of the wind table, or raise ValueError for a function that gives no wind."""
    if not callable(wind):
        raise ValueError(f"fly_body: wind = {_told(wind)} must be a function of height (m) that gives (east, north), m/s")
    heights = wind_heights()
    blowing = np.zeros((len(heights), 2))
    try:
        blowing[:, 0], blowing[:, 1] = wind(heights)
    except (TypeError, ValueError) as error:
        raise ValueError(f"fly_body: wind must take an array of heights (m) and give (east, north), m/s; it failed with: {error}") from error
    if not np.isfinite(blowing).all():
        raise ValueError("fly_body: wind gave numbers that are not finite between the ground and 40 km")
    return blowing


def _plain(area: float, drag: float, lengths, damping) -> ct.Plain:
    span, chord = lengths
    roll, pitch, yaw = damping
    return ct.Plain(area * drag, 0.25 * area * span**2 * roll, 0.25 * area * chord**2 * pitch, 0.25 * area * span**2 * yaw)


def _end(status: Status, time: float, duration: float, ds: xr.Dataset) -> str:
    """Return what ended the flight; the kernel goes half a step further than asked."""
    if status is Status.DIVERGED:
        raise FlightError(f"fly_body: after {time:g} s the motion grew without bound; a shorter step may follow it", ds)
    if status is Status.LANDED and time <= duration:
        return "landing"
    if status is Status.ABOVE_AIR and time < duration:
        warnings.warn(f"after {time:.2f} s: {status.sentence}", stacklevel=3)
        return "top of the air"
    return "duration"


def _from_euler(roll: float, pitch: float, yaw: float) -> np.ndarray:
    """Return the matrix body -> north, east, down of 3-2-1 angles."""
    (cr, sr), (cp, sp), (cy, sy) = ((math.cos(a), math.sin(a)) for a in (roll, pitch, yaw))
    return np.array(
        [[cp * cy, sr * sp * cy - cr * sy, cr * sp * cy + sr * sy], [cp * sy, sr * sp * sy + cr * cy, cr * sp * sy - sr * cy], [-sp, sr * cp, cr * cp]]
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
    """Return the user-facing columns of a log: places over the Earth, attitude and velocity from north, east, down."""
    globe = world.globe
    turn = np.array(globe.turn).reshape(3, 3)
    place = log[:, [Log.EAST, Log.NORTH, Log.UP]]
    latitude, longitude, _ = geodetic(place @ turn.T + np.array(globe.origin), globe.a, globe.e2)
    local = _local_axes(latitude, longitude) if globe.round else np.broadcast_to(_local_axes(*_origin(globe)), (len(log), 3, 3))
    velocity = log[:, [Log.VELOCITY_EAST, Log.VELOCITY_NORTH, Log.VELOCITY_UP]] @ turn.T
    body = local @ turn @ _matrices(log[:, Log.Q_W : Log.Q_W + 4])
    lines = {
        "latitude": (latitude, "rad", "geodetic latitude"),
        "longitude": (longitude, "rad", "longitude"),
        "height": (log[:, Log.HEIGHT], "m", "height above the ellipsoid, sphere or flat ground"),
        "east": (log[:, Log.EAST], "m", "east of the start, in its tangent plane"),
        "north": (log[:, Log.NORTH], "m", "north of the start, in its tangent plane"),
        "roll": (np.arctan2(body[:, 2, 1], body[:, 2, 2]), "rad", "roll angle, 3-2-1 from north, east, down"),
        "pitch": (-np.arcsin(np.clip(body[:, 2, 0], -1.0, 1.0)), "rad", "pitch angle"),
        "yaw": (np.arctan2(body[:, 1, 0], body[:, 0, 0]), "rad", "yaw angle"),
        "mach": (log[:, Log.MACH], "1", "Mach number"),
        "dynamic_pressure": (log[:, Log.DYNAMIC_PRESSURE], "Pa", "dynamic pressure"),
    }
    vectors = {
        "velocity": ("direction", np.einsum("nij,nj->ni", local, velocity), "m/s", "velocity over the ground: north, east, down"),
        "rate": ("axis", log[:, Log.RATE_X : Log.RATE_X + 3], "rad/s", "body rate against inertial space, body axes"),
    }
    ds = xr.Dataset(
        coords={
            "time": ("time", log[:, Log.TIME].copy(), {"units": "s", "long_name": "time"}),
            "axis": ["x", "y", "z"],
            "direction": ["north", "east", "down"],
        },
        attrs={"earth": earth},
    )
    for name, (values, unit, text) in lines.items():
        ds[name] = ("time", np.ascontiguousarray(values), {"units": unit, "long_name": text})
    for name, (dim, values, unit, text) in vectors.items():
        ds[name] = (("time", dim), np.ascontiguousarray(values), {"units": unit, "long_name": text})
    return ds


def _origin(globe: ct.Globe):
    latitude, longitude, _ = geodetic(np.array([globe.origin]), globe.a, globe.e2)
    return latitude, longitude


def _local_axes(latitude, longitude) -> np.ndarray:
    """Return the matrices (n, 3, 3) Earth-fixed -> north, east, down."""
    sl, cl, so, co = np.sin(latitude), np.cos(latitude), np.sin(longitude), np.cos(longitude)
    zero = np.zeros_like(sl)
    return np.stack([np.stack([-sl * co, -sl * so, cl], -1), np.stack([-so, co, zero], -1), np.stack([-cl * co, -cl * so, -sl], -1)], axis=-2)


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
