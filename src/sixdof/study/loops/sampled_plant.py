"""Vehicle, servo and sensors between one tick of the autopilot and the next: exact for a linear model and a held command."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import xarray as xr

from sixdof.autopilot.servo import servo_table
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.loops.blocks import Block, beside, joined, modes, pruned, response, through
from sixdof.study.loops.linear import CHANNELS, OF_CHANNEL
from sixdof.study.loops.linear_slopes import GUSTS, STATES
from sixdof.study.probes.controller import switch_delay

PART, TERMS = 0.5, 14  # norm of what the series is taken of, and its length: 0.5^15/15! is 2e-17
RATE_OF = dict(zip(CHANNELS, "pqr"))
FORCE_OF = {"pitch": "w", "yaw": "v"}  # the velocity that a channel's demand pushes sideways


@dataclass(frozen=True)
class BendingMode:
    """The first bending mode of the airframe, as a builder measures or computes it.

    frequency : Hz. damping : ratio. modal_mass : kg. shape_at_fins : deflection of the control fins' place per modal coordinate.
    slope_at_gyro : slope d(deflection)/d(station, aft positive) where the gyros sit, per modal coordinate, 1/m.

    The fins' force drives the mode, and the gyros read the airframe's own turning on top of the vehicle's (e.g. A. L. Greensite,
    Analysis and Design of Space Vehicle Flight Control Systems, 1970, chapter 3). Aerodynamic coupling is omitted.
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


@dataclass(frozen=True)
class Plant:
    """What lies between demand and readings, at every point: three blocks that join by the names of their signals.

    hold : from `pitch_demand` to the commands that the servo has in a tick, `pitch_command` and, until that comes, `pitch_command_before`.
    vehicle : servo and vehicle, exact for held commands and gusts; from both commands and the gusts to `pitch_angle`, `pitch_rate` and
    `pitch_fin`. sensors : from those to what the law is told, `pitch_angle_read` and `pitch_rate_read`.
    """

    channels: tuple[str, ...]
    gusts: tuple[str, ...]
    ticks: int  # that a demand waits, whole ones
    hold: Block
    vehicle: Block
    sensors: Block

    @property
    def blocks(self) -> tuple[Block, ...]:
        """The blocks in the order in which a signal goes through them."""
        return self.hold, self.vehicle, self.sensors

    @property
    def period(self) -> float:
        """Seconds from tick to tick."""
        return self.vehicle.period

    def signals(self, *kinds: str) -> list[str]:
        """Return names of signals of every channel: ("angle", "rate") -> roll_angle, pitch_angle ..., roll_rate ..."""
        return [f"{channel}_{kind}" for kind in kinds for channel in self.channels]

    def at(self, rows) -> Plant:
        """Return the plant at some of its points."""
        return replace(self, **{name: getattr(self, name).at(rows) for name in ("hold", "vehicle", "sensors")})

    @cached_property
    def moved(self) -> Block:
        """The vehicle from commands to angles and rates; of a single channel in its own modes, as far as they can be told apart."""
        block = self.vehicle.only(self.signals("command", "command_before"), self.signals("angle", "rate"))
        return (modes(block) if len(self.channels) == 1 else None) or block

    def response(self, z: np.ndarray, points=slice(None)) -> np.ndarray:
        """Return angles and then rates as the law is told them, per demand: z (n, ...) complex -> (2 channels, demands, n, ...)."""
        hold = self.hold.only(self.signals("demand"), self.signals("command", "command_before"))
        return through(response(self.sensors, z, points), through(response(self.moved, z, points), response(hold, z, points)))

    def gust_response(self, z: np.ndarray) -> np.ndarray:
        """Return angles and then rates as the law is told them, per gust: z (n, ...) complex -> (2 channels, gusts, n, ...)."""
        shaken = self.vehicle.only(self.gusts, self.signals("angle", "rate"))
        return through(response(self.sensors, z), response(shaken, z))


def joined_plants(plants: Sequence[Plant]) -> Plant:
    """Return plants of one make, of different points, as one of all the points."""
    return replace(plants[0], **{name: joined([getattr(each, name) for each in plants]) for name in ("hold", "vehicle", "sensors")})


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
    rate, angle, fins = (np.zeros((len(channels), size)) for _ in range(3))
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
        fins[k, fin] = 1.0
    ticks, late = switch_delay.py_func(servo, period)
    phi, new, old, gust = _advance(a, b, g, period, late)
    inputs = (*(f"{name}_{what}" for what in ("command", "command_before") for name in channels), *gusts)
    outputs = tuple(f"{name}_{what}" for what in ("angle", "rate", "fin") for name in channels)
    seen = np.broadcast_to(np.concatenate([angle, rate, fins]), (n, len(outputs), size))
    vehicle = Block(phi, np.concatenate([new, old, gust], axis=2), seen, np.zeros((n, len(outputs), len(inputs))), tuple(states), inputs, outputs, period)
    lag = None if mission.sensors is None else _lag(mission.sensors.gyro.lag, period)
    return Plant(channels, gusts, ticks, hold_block(channels, ticks, late > 0.0, n, period), vehicle, sensor_block(channels, lag, models, n, period))


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


def hold_block(channels: Sequence[str], ticks: int, late: bool, n: int, period: float) -> Block:
    """Return the line of demands that wait: `ticks` whole ticks, and one more for what is in force until a `late` command comes."""
    lines = []
    for name in channels:
        states = tuple(f"{name}_waiting_{k}" for k in range(1, ticks + 1 + late))
        row = np.eye(len(states) + 1)  # the demand, and those that wait
        before = row[ticks + 1] if late else np.zeros(len(row))
        whole = np.stack([*row[:-1], row[ticks], before])
        parts = np.broadcast_to(whole, (n, *whole.shape))
        s, outputs = len(states), (f"{name}_command", f"{name}_command_before")
        lines.append(Block(parts[:, :s, 1:], parts[:, :s, :1], parts[:, s:, 1:], parts[:, s:, :1], states, (f"{name}_demand",), outputs, period))
    return beside(lines)


def sensor_block(channels: Sequence[str], lag: tuple[float, float, float] | None, models: xr.Dataset, n: int, period: float) -> Block:
    """Return the sensors: from true angles and rates to what the law is told.

    lag : (e, old, new) of the gyros' filter (core.sensors.lagged_rate); the angle is then the sum of the readings by the trapezoidal rule,
    as it turns from tick to tick with the body. None for ideal sensors: the law is told the truth.
    """
    m = len(channels)
    inputs = tuple(f"{name}_{what}" for what in ("angle", "rate") for name in channels)
    outputs = tuple(f"{name}_read" for name in inputs)
    if lag is None:
        none = np.zeros((n, 0, 2 * m))
        return Block(np.zeros((n, 0, 0)), none, none.transpose(0, 2, 1), np.broadcast_to(np.eye(2 * m), (n, 2 * m, 2 * m)), (), inputs, outputs, period)
    e, old, new = lag
    states = tuple(f"{name}_{what}" for what in ("read", "last_rate", "estimate") for name in channels)
    # rows by [last readings, last rates, last estimates, angles, rates]
    last_read, last_rate, estimate, _, rate = (np.broadcast_to(part, (n, m, 5 * m)) for part in np.split(np.eye(5 * m), 5))
    read = e * last_read + old * last_rate + new * rate
    angle = _turn(models, channels, period) @ (estimate + 0.5 * period * last_read) + 0.5 * period * read
    after, told = np.concatenate([read, rate, angle], axis=1), np.concatenate([angle, read], axis=1)
    return pruned(Block(after[:, :, : 3 * m], after[:, :, 3 * m :], told[:, :, : 3 * m], told[:, :, 3 * m :], states, inputs, outputs, period))
