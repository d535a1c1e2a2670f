"""One channel of a frozen linear model flown with the flight computer's own law and the servos' own limits, play and steps."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping

import numpy as np
import xarray as xr

from sixdof.autopilot.gains import gains_table
from sixdof.autopilot.mixer import mixer_table
from sixdof.autopilot.servo import servo_table
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.loops.linear import CHANNELS, OF_CHANNEL, check_channel, check_point
from sixdof.study.loops.linear_slopes import GUSTS
from sixdof.study.loops.loop import OF_LOOPS, flown_mission
from sixdof.study.loops.sampled_plant import RATE_OF, sampled_plant
from sixdof.study.probes.columns import GAIN_HEAD, GAIN_ROW, ISSUED, Sensed, Servo
from sixdof.study.probes.controller import Controller, switch_delay
from sixdof.study.reading.result import need_table

SIGNALS = {
    "angle": ("rad", "true angle about the body axis"),
    "rate": ("rad/s", "true body rate"),
    "demand": ("rad", "demand of the control law"),
    "command": ("rad", "command that the servos took"),
    "fin": ("rad", "fin angle"),
}
LONGEST = 600.0  # s: a frozen model of a climbing rocket means nothing for as long
LEFT_LINEAR = 0.5 * math.pi  # rad: beyond, a linear model and the law's small-angle error mean nothing
NOW, BEFORE = np.int64(0), np.int64(1)  # the command in force: that of this tick, or the one before

Signal = float | Callable[[float], float]


def simulate_frozen(
    models: xr.Dataset,
    point: int = 0,
    channel: str = "pitch",
    *,
    gains=None,
    duration: float = 5.0,
    goal: Signal = 0.0,
    gust: Signal = 0.0,
    start: float | Mapping[str, float] | None = None,
    servo: Mapping[str, float] | None = None,
    centring: float = 0.0,
    steps: int | None = None,
) -> xr.Dataset:
    """Return what one channel of a linear model does with the real law and servos of the core: nothing of these is linearised.

    The vehicle is frozen at its point, other channels rest, and the servos carry no air load. Fins that the mixer moves alike are one
    fin; angles of fins are those of the demand that would bring them about. Signals are taken at the ticks.

    Parameters
    ----------
    gains : None, a Mission or changes, see `study.loop.flown_mission`.
    duration : s. goal : rad, of the angle, or a function of time (s); it is 0 before the start. gust : m/s along the body axis of the
        channel (z in pitch, y in yaw), or a function of time; held from tick to tick.
    start : of the angle, rad, or values of the channel's states, such as {"q": 0.1}; SI units. All is at rest there before.
    servo : changes of the servo, such as {"backlash": 0.0}: fields of `core.types.Servo`, SI units.
    centring : where the fin stands at a command of zero, rad; the law has to hold against it.
    steps : integration steps a tick; None: as the mission flies.

    Returns
    -------
    Dataset
        Dim time (s from the start): angle, rate, demand, command, fin. It ends early where the angle leaves +-90 deg.

    Raises
    ------
    ValueError, TypeError
        For a point, channel, state or servo field that there is not, numbers out of range, or a channel that no fin moves.

    Examples
    --------
    >>> answer = sixdof.loops.simulate_frozen(models, 2, "pitch", goal=np.radians(2.0), duration=1.0)
    >>> answer.time.attrs["units"]
    's'
    """
    if isinstance(duration, bool) or not (isinstance(duration, (int, float)) and 0.0 < duration <= LONGEST):
        raise ValueError(f"simulate_frozen: duration = {shown(duration)} must be above 0 and at most {LONGEST:g} s")
    loop = FrozenLoop(models, point, channel, gains=gains, servo=servo, steps=steps, who="simulate_frozen")
    loop.begin(start, centring)
    time, rows = loop.run(max(round(duration / loop.period), 1) + 1, goal, gust)
    entries = {name: ("time", rows[:, k], {"units": units, "long_name": text}) for k, (name, (units, text)) in enumerate(SIGNALS.items())}
    ds = xr.Dataset(entries, {"time": ("time", time, {"units": "s", "long_name": "time from the start"})})
    return ds.assign_attrs(title=models.attrs.get("title", ""), mission=loop.mission.to_toml(), point=int(point), channel=channel)


def fin_groups(models: xr.Dataset, mission: Mission, point: int, channel: str, who: str = "fin_groups") -> tuple[np.ndarray, np.ndarray]:
    """Return (share, weight) of the fins that move alike: angle per demand, and what their angle does to the channel per that of a demand.

    (groups,) each, share above 0, the sum of share times weight is 1. Four fins have one group of share 1; three fins have two in yaw.
    Raises ValueError where no fin that moves acts on the channel.
    """
    one, c = models.isel(point=point), CHANNELS.index(channel)
    mixer = mixer_table(mission, range(int(one["stages"])))[:, c]
    fins = [f"fin_{k + 1}" for k in range(len(mixer))]
    effect = one["input_matrix"].sel(rate_of=RATE_OF[channel], input=fins).values * mixer
    for failure in mission.servo.failure:
        if failure.fin <= len(mixer) and failure.time <= float(one["time"]):
            effect[failure.fin - 1] = 0.0
    share = np.round(np.abs(mixer), 9)
    sizes = np.unique(share[(share > 0.0) & (effect != 0.0)])
    if not sizes.size or not effect.sum():
        raise ValueError(f"{who}: no fin that moves acts on {channel} at point {point}")
    return sizes, np.array([effect[share == size].sum() / size for size in sizes]) / effect.sum()


def changed_servo(servo: Servo, changes: Mapping[str, float] | None, who: str) -> Servo:
    """Return a servo with some fields changed; ValueError for a field that there is not or a number below 0."""
    if changes is not None and not isinstance(changes, Mapping):
        raise TypeError(f'{who}: servo = {shown(changes)} must be changes of the servo, such as {{"backlash": 0.0}}')
    for name, value in dict(changes or {}).items():
        if name not in Servo._fields:
            raise ValueError(f"{who}: servo has no {shown(name)}; it may have {', '.join(Servo._fields)}")
        if isinstance(value, bool) or not isinstance(value, (int, float)) or not value >= 0.0:
            raise ValueError(f"{who}: servo has {name} = {shown(value)}; it must be a number of 0 or more")
    return servo._replace(**{name: float(value) for name, value in dict(changes or {}).items()})


def step_map(a: np.ndarray, b: np.ndarray, g: np.ndarray, h: float) -> np.ndarray:
    """Return one classical Runge-Kutta step of x' = a x + b u + g w as a matrix (n, n + 4) on [x, u at start, middle and end, w]."""
    n = len(a)
    x = np.eye(n, n + 4)
    start, middle, end, gust = np.eye(n + 4)[n:]

    def slope(x, u):
        return a @ x + np.outer(b, u) + np.outer(g, gust)

    k1 = slope(x, start)
    k2 = slope(x + 0.5 * h * k1, middle)
    k3 = slope(x + 0.5 * h * k2, middle)
    k4 = slope(x + h * k3, end)
    return x + h / 6.0 * (k1 + 2.0 * k2 + 2.0 * k3 + k4)


class FrozenLoop:
    """A channel of one linear model with the flight computer's law and servos. `begin` puts it at rest, `run` goes on from there."""

    def __init__(self, models: xr.Dataset, point: int, channel: str, *, gains=None, servo=None, steps: int | None = None, who: str = "FrozenLoop"):
        need_table(models, who, "loops.linearise", *OF_LOOPS, "stages", "time")
        check_point(models, point, who)
        check_channel(channel, CHANNELS, who, ": one channel flies at a time")
        if steps is not None and (isinstance(steps, bool) or not isinstance(steps, int) or not 1 <= steps <= 1000):
            raise ValueError(f"{who}: steps = {shown(steps)} must be a whole number from 1 to 1000")
        self.who, self.mission = who, flown_mission(models, gains, who)
        one = models.isel(point=[point])
        self.sensors = sampled_plant(one, self.mission, channel).sensors
        self.channel, self.axis, self.period = channel, CHANNELS.index(channel), self.sensors.period
        table = servo_table(self.mission)
        table = table._replace(frequency=table.frequency * float(models["servo_factor"]))
        self.servo = changed_servo(table, servo, who)
        if self.servo.delay > (ISSUED - 2) * self.period:
            most = (ISSUED - 2) * self.period
            raise ValueError(f"{who}: servo has delay = {self.servo.delay:g} s; it must be at most {ISSUED - 2} ticks, {most:g} s")
        self.share, self.weight = fin_groups(models, self.mission, point, channel, who)
        self.gains = self._gains(models)
        self.maps = self._maps(one, steps or self.mission.solver.steps_per_tick)
        self.known = {name: float(one[f"sensed_{name}"][0]) for name in ("pressure", "mach")} | {"booster": float(one["booster"][0])}
        self.begin()

    def _gains(self, models: xr.Dataset) -> np.ndarray:
        out = gains_table(self.mission).copy()
        blocks = out[GAIN_HEAD:].reshape(-1, GAIN_ROW)
        blocks[:, 1:] *= np.repeat(models["gain_factor"].values, 4)
        return out

    def _maps(self, one: xr.Dataset, steps: int) -> list[tuple[int, float, np.ndarray]]:
        """Return (steps, length, map) before and after the moment in a tick at which a new command is taken."""
        names, inputs = OF_CHANNEL[self.channel]
        self.states, gusts = list(names), [name for name in inputs if name in GUSTS]
        a = one["state_matrix"].sel(rate_of=self.states, state=self.states).values[0]
        given = one["input_matrix"].sel(rate_of=self.states)
        b = given.sel(input=f"{self.channel}_demand").values[0]
        self.gusts = bool(gusts)
        g = given.sel(input=gusts[0]).values[0] if gusts else np.zeros_like(b)
        _, late = switch_delay.py_func(self.servo, self.period)
        parts, longest = [], self.period / steps
        for length in (late, self.period - late):
            count = math.ceil(length / longest - 1e-9)
            h = length / max(count, 1)
            parts.append((count, h, step_map(a, b, g, h)))
        return parts

    def begin(self, start: float | Mapping[str, float] | None = None, centring: float = 0.0) -> None:
        """Put the vehicle where it starts (see `simulate_frozen`), the servos at rest, the law's memory empty."""
        self.x = np.zeros(len(self.states) + 4)
        given = start if isinstance(start, Mapping) else {} if start is None else {f"{self.channel}_angle": start}
        for name, value in given.items():
            if name not in self.states:
                raise ValueError(f"{self.who}: start has {shown(name)}; the {self.channel} channel has {', '.join(self.states)}")
            if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
                raise ValueError(f"{self.who}: start has {name} = {shown(value)}; it must be a finite number")
            self.x[self.states.index(name)] = value
        self.angle_at, self.rate_at = self.states.index(f"{self.channel}_angle"), self.states.index(RATE_OF[self.channel])
        angle, rate = float(self.x[self.angle_at]), float(self.x[self.rate_at])
        # the gyros have settled and the estimate is right at the first tick; the law knows its error and is not kicked by it
        settled = {"estimate": angle - self.period * rate}
        self.sensing = np.array([settled.get(name.removeprefix(f"{self.channel}_"), rate) for name in self.sensors.states])
        if isinstance(centring, bool) or not isinstance(centring, (int, float)) or not abs(centring) <= self.servo.travel:
            raise ValueError(f"{self.who}: centring = {shown(centring)} must be an angle within the travel, {self.servo.travel:g} rad")
        mixer = np.zeros((len(self.share), 3))
        mixer[:, self.axis] = self.share
        first = 1 if self.mission.autopilot.priority == "roll" else 0
        self.controller = Controller(self.servo, self.gains, mixer, centring * self.share, self.period, first)
        self.controller.memory[3 * self.axis + 2] = -2.0 * math.sin(0.5 * angle)
        sensed = self.controller.sensed
        sensed[[Sensed.Q_W, Sensed.COMMANDED_W, Sensed.ENABLED]] = 1.0
        sensed[Sensed.PERIOD], sensed[Sensed.BOOSTER] = self.period, self.known["booster"]
        sensed[Sensed.DYNAMIC_PRESSURE], sensed[Sensed.MACH] = self.known["pressure"], self.known["mach"]
        self.goal = 0.0

    def run(self, ticks: int, goal: Signal = 0.0, gust: Signal = 0.0) -> tuple[np.ndarray, np.ndarray]:
        """Return (time (ticks,), signals (ticks, 5) in the order of SIGNALS) of so many ticks more; fewer where the angle leaves +-90 deg."""
        if not self.gusts and (callable(gust) or self._value(gust, self.controller.tick * self.period, "gust")):
            raise ValueError(f"{self.who}: gust: no gust acts on the roll channel of a linear model; leave it 0")
        controller = self.controller
        rows, first = np.empty((ticks, len(SIGNALS))), controller.tick
        for k in range(ticks):
            t = controller.tick * self.period
            angle, rate = float(self.x[self.angle_at]), float(self.x[self.rate_at])
            if not abs(angle) < LEFT_LINEAR:
                rows = rows[:k]
                break
            fin = float(self.weight @ controller.fins[0])
            self._think(t, angle, rate, self._value(goal, t, "goal"))
            self.x[-1] = self._value(gust, t, "gust")
            rows[k] = angle, rate, controller.command[self.axis], self.weight @ controller.newest, fin
            self._move()
            controller.tick += 1
        return self.period * np.arange(first, first + len(rows)), rows

    def _value(self, signal: Signal, t: float, name: str) -> float:
        given = signal(t) if callable(signal) else signal
        try:
            value = math.nan if isinstance(given, (str, bytes, bool)) else float(given)
        except (TypeError, ValueError):
            value = math.nan
        if not math.isfinite(value):
            raise ValueError(f"{self.who}: {name} is {shown(given)} at {t:g} s; it must be a finite number, or a function of time that returns one")
        return value

    def _think(self, t: float, angle: float, rate: float, goal: float) -> None:
        """Read the sensors and run the control law, as core.computer does at a tick."""
        sensors, true = self.sensors, np.array([angle, rate])
        angle, rate = sensors.c[0] @ self.sensing + sensors.d[0] @ true
        self.sensing = sensors.a[0] @ self.sensing + sensors.b[0] @ true
        s, c = self.controller.sensed, self.axis
        s[Sensed.TIME], s[Sensed.RATE_X + c] = t, rate
        s[Sensed.Q_W], s[Sensed.Q_X + c] = math.cos(0.5 * angle), math.sin(0.5 * angle)
        s[Sensed.COMMANDED_W], s[Sensed.COMMANDED_X + c] = math.cos(0.5 * goal), math.sin(0.5 * goal)
        if self.mission.guidance.rate_feedforward:
            s[Sensed.COMMANDED_RATE_X + c] = 2.0 * math.sin(0.5 * (goal - self.goal)) / self.period
        self.goal = goal
        self.controller.think(t)

    def _move(self) -> None:
        """Advance servos and vehicle to the next tick: the fins first, then the vehicle with their angles, as core.flight.step does."""
        x, n, controller = self.x, len(self.states), self.controller
        for (count, h, step), which in zip(self.maps, (BEFORE, NOW)):
            if count:
                controller.aim(which)
            for _ in range(count):
                x[n : n + 3] = controller.move(h) @ self.weight
                x[:n] = step @ x
                controller.keep()
