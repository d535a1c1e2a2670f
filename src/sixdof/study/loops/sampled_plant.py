"""Vehicle, servo and sensors between one tick of the autopilot and the next: exact for a linear model and a held command."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.servo import servo_table
from sixdof.core.actuator import switch_delay
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.loops.linear import CHANNELS, OF_CHANNEL
from sixdof.study.loops.linear_slopes import GUSTS, STATES

PART, TERMS = 0.5, 14  # norm of what the series is taken of, and its length: 0.5^15/15! is 2e-17
RATE_OF = dict(zip(CHANNELS, "pqr"))
FORCE_OF = {"pitch": "w", "yaw": "v"}  # the velocity that a channel's demand pushes sideways


@dataclass(frozen=True)
class BendingMode:
    """The first bending mode of the airframe, as a builder measures or computes it.

    frequency : Hz. damping : ratio. modal_mass : kg. shape_at_fins : deflection of the control fins' place per modal coordinate.
    slope_at_gyro : slope d(deflection)/d(station, aft positive) where the gyros sit, per modal coordinate, 1/m.

    The fins' force drives the mode, and the gyros read the airframe's own turning on top of the vehicle's (e.g. A. L. Greensite,
    Analysis and Design of Space Vehicle Flight Control Systems, 1970, chapter 3). Aerodynamic coupling is left out.
    """

    frequency: float
    damping: float = 0.01
    modal_mass: float = 1.0
    shape_at_fins: float = 1.0
    slope_at_gyro: float = -1.0

    def __post_init__(self):
        for name in ("frequency", "damping", "modal_mass", "shape_at_fins", "slope_at_gyro"):
            value = getattr(self, name)
            if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
                raise ValueError(f"BendingMode: {name} = {shown(value)} must be a finite number")
            if value <= 0.0 and name in ("frequency", "damping", "modal_mass"):
                raise ValueError(f"BendingMode: {name} = {shown(value)} must be above 0")


class Plant(NamedTuple):
    """What lies between demand and readings, at every point (n).

    x' at the next tick = phi x + new u + old (the command before) + gust g, where u is the command issued `ticks` ticks ago.
    rate, angle : (channels, states) rows that read the true body rates and angles off x. lag : (e, old, new) of the gyros' filter
    (core.sensors.lagged_rate), None for ideal sensors: then the law is told rate and angle; else the angle is the sum of the readings,
    turned by `turn` (n, channels, channels) from tick to tick.
    """

    channels: tuple[str, ...]
    states: tuple[str, ...]
    gusts: tuple[str, ...]
    phi: np.ndarray
    new: np.ndarray
    old: np.ndarray
    gust: np.ndarray
    rate: np.ndarray
    angle: np.ndarray
    ticks: int
    period: float
    lag: tuple[float, float, float] | None
    turn: np.ndarray


def sampled_plant(models: xr.Dataset, mission: Mission, channel: str, bending: BendingMode | None = None) -> Plant:
    """Return one channel alone ("roll", "pitch", "yaw"), or all three coupled ("full"), sampled at the autopilot's rate."""
    channels = CHANNELS if channel == "full" else (channel,)
    rigid = STATES if channel == "full" else OF_CHANNEL[channel][0]
    gusts = GUSTS if channel == "full" else tuple(name for name in OF_CHANNEL[channel][1] if name in GUSTS)
    servo, period = servo_table(mission), 1.0 / mission.autopilot.rate
    frequency = servo.frequency * float(models["servo_factor"])
    states = [*rigid, *(f"{name}_{what}" for name in channels for what in ("fin", "fin_rate"))]
    bends = [name for name in channels if bending is not None and name in FORCE_OF]
    states += [f"{name}_{what}" for name in bends for what in ("bending", "bending_rate")]
    place = {name: k for k, name in enumerate(states)}
    n, size = models.sizes["point"], len(states)
    a, b, g = np.zeros((n, size, size)), np.zeros((n, size, len(channels))), np.zeros((n, size, len(gusts)))
    rate, angle = np.zeros((len(channels), size)), np.zeros((len(channels), size))
    r = len(rigid)
    a[:, :r, :r] = models["state_matrix"].sel(rate_of=list(rigid), state=list(rigid)).values
    g[:, :r] = models["input_matrix"].sel(rate_of=list(rigid), input=list(gusts)).values
    for k, name in enumerate(channels):
        fin, turning = place[f"{name}_fin"], place[f"{name}_fin_rate"]
        a[:, :r, fin] = models["input_matrix"].sel(rate_of=list(rigid), input=f"{name}_demand").values
        a[:, fin, turning] = 1.0
        a[:, turning, fin], a[:, turning, turning] = -(frequency**2), -2.0 * servo.damping * frequency
        b[:, turning, k] = frequency**2
        rate[k, place[RATE_OF[name]]] = angle[k, place[f"{name}_angle"]] = 1.0
        if name in bends:
            force = models["mass"].values * models["input_matrix"].sel(rate_of=FORCE_OF[name], input=f"{name}_demand").values
            _bend(a, place, name, bending, force)
            slope = bending.slope_at_gyro if name == "pitch" else -bending.slope_at_gyro
            rate[k, place[f"{name}_bending_rate"]] = angle[k, place[f"{name}_bending"]] = slope
    ticks, late = switch_delay.py_func(servo, period)
    phi, new, old, gust = _advance(a, b, g, period, late)
    lag = None if mission.sensors is None else _lag(mission.sensors.gyro.lag, period)
    return Plant(channels, tuple(states), gusts, phi, new, old, gust, rate, angle, ticks, period, lag, _turn(models, channels, period))


def _bend(a: np.ndarray, place: dict, name: str, bending: BendingMode, force: np.ndarray) -> None:
    w = 2.0 * math.pi * bending.frequency
    at, speed = place[f"{name}_bending"], place[f"{name}_bending_rate"]
    a[:, at, speed] = 1.0
    a[:, speed, at], a[:, speed, speed] = -(w**2), -2.0 * bending.damping * w
    a[:, speed, place[f"{name}_fin"]] = bending.shape_at_fins * force / bending.modal_mass


def _advance(a, b, g, period: float, late: float):
    """Return (phi, new, old, gust): the old command is held for `late` seconds of a tick, the new one for the rest."""
    n, size, m = b.shape
    whole = np.zeros((n, size + m + g.shape[2], size + m + g.shape[2]))
    whole[:, :size, :size], whole[:, :size, size : size + m], whole[:, :size, size + m :] = a, b, g
    rest = expm(whole * (period - late))[:, :size]
    phi2, new, gust = rest[:, :, :size], rest[:, :, size : size + m], rest[:, :, size + m :]
    if late <= 0.0:
        return phi2, new, np.zeros_like(new), gust
    first = expm(whole * late)[:, :size]
    phi1, held, gust1 = first[:, :, :size], first[:, :, size : size + m], first[:, :, size + m :]
    return phi2 @ phi1, new, phi2 @ held, gust + phi2 @ gust1


def expm(a: np.ndarray) -> np.ndarray:
    """Return the exponentials of small matrices (n, k, k): Taylor's series of a part of each, squared again (to 1e-13 here).

    scipy's own takes them one by one through threads that wait for each other: on a busy machine a hundred times as long.
    """
    halvings = max(0, math.ceil(math.log2(max(np.abs(a).sum(axis=-1).max(initial=0.0), 1e-300) / PART)))
    part, eye = a / 2.0**halvings, np.eye(a.shape[-1])
    out = np.broadcast_to(eye, a.shape)
    for k in range(TERMS, 0, -1):
        out = eye + part @ out / k
    for _ in range(halvings):
        out = out @ out
    return out


def _lag(lag: float, period: float) -> tuple[float, float, float]:
    """Return (e, old, new) of the gyros' lag, exact for rates that go linearly from tick to tick."""
    if lag <= 0.0:
        return 0.0, 0.0, 1.0
    e = math.exp(-period / lag)
    new = 1.0 - lag / period * (1.0 - e)
    return e, 1.0 - e - new, new


def _turn(models: xr.Dataset, channels, period: float) -> np.ndarray:
    """Return how small angles about the body axes turn into each other in a tick as the body itself turns."""
    n = models.sizes["point"]
    if len(channels) == 1:
        return np.ones((n, 1, 1))
    x, y, z = models["body_rate"].values.T
    zero = np.zeros(n)
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)
    return expm(-cross * period)


def plant_response(plant: Plant, z: np.ndarray, points: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
    """Return (angle, rate) as the law is told them, per demand: z (n, ...) complex -> (n, ..., channels, demands).

    points : which of the plant's points the rows of z belong to, all in order if left out.
    """
    pick = slice(None) if points is None else points
    around = [1] * (z.ndim - 1)
    phi, new, old = (x[pick].reshape(len(z), *around, *x.shape[1:]) for x in (plant.phi, plant.new, plant.old))
    back = (1.0 / z)[..., None, None]
    size = phi.shape[-1]
    x = np.linalg.solve(z[..., None, None] * np.eye(size) - phi, new + old * back) * back**plant.ticks
    rate = plant.rate @ x
    if plant.lag is None:
        return plant.angle @ x, rate
    e, before, now = plant.lag
    read = rate * (now + before * back) / (1.0 - e * back)
    turn = plant.turn[pick].reshape(len(z), *around, *plant.turn.shape[1:]) * back
    eye = np.eye(len(plant.channels))
    return np.linalg.solve(eye - turn, 0.5 * plant.period * ((eye + turn) @ read)), read
