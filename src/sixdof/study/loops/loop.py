"""The attitude loops as they fly: the sampled law, its hold and delays, the servo and the vehicle, broken or closed at any point."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.loops.law_model import LAW_STATES, LawGains, law_gains, law_matrices, law_response
from sixdof.study.loops.linear import CHANNELS, DEMANDS, check_channel, check_point
from sixdof.study.loops.sampled_plant import BendingMode, Plant, plant_response, sampled_plant
from sixdof.study.reading.result import mission_of, need_table

# of linear models: what a loop is made of
OF_LOOPS = ("state_matrix", "input_matrix", "sensed_pressure", "sensed_mach", "booster", "gain_factor", "servo_factor", "body_rate")
NO_LOOPS = "no control fins work along this flight, there are no loops: set control = true on a fin set, and enable the fins"
BREAKS = ("actuator", "attitude", "rate")  # where a loop may be broken: at the demand, at the attitude, at the rate reading
LOWEST = 0.1  # rad/s: slower than this a frozen model of a climbing rocket means nothing
SWING = 1.0  # rad/s: what swings faster than this and grows is the loop's own doing, however slowly it grows
ROUNDED = 1e-6  # 1/s: a growth below it is rounding
FREQUENCIES = 320  # of the grid that is scanned for crossings; what is found is refined
SHARP = 0.05  # damping ratio: a resonance below it is narrower than the grid is fine
ABOUT = np.array([-16.0, -8.0, -4.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0])  # half widths about such a resonance


def flown_mission(models: xr.Dataset, gains, who: str) -> Mission:
    """Return the mission whose autopilot is meant: that of the models, another Mission, or changes of the models' own.

    gains : None, a Mission, a dictionary of changes as `Mission.change` takes, or anything that has such a dictionary as `changes`.
    Raises TypeError for anything else, ValueError where no demand of the law turns the vehicle.
    """
    need_table(models, who, "loops.linear.linearise", *OF_LOOPS)
    need_controls(models, who)
    if isinstance(gains, Mission):
        return gains
    return changed_by(mission_of(models, who), gains, who)


def need_controls(models: xr.Dataset, who: str) -> None:
    """Raise ValueError where no demand does anything at any point of the models: margins of such loops would be those of nothing."""
    if not models["input_matrix"].sel(input=list(DEMANDS)).values.any():
        raise ValueError(f"{who}: {NO_LOOPS}")


def changed_by(mission: Mission, gains, who: str) -> Mission:
    """Return a mission with the changes that gains stand for; itself for None. Raises TypeError for what stands for none."""
    changes = getattr(gains, "changes", gains)
    if changes is None:
        return mission
    if not isinstance(changes, Mapping):
        raise TypeError(f'{who}: gains must be a Mission, what `tune` returns, or changes such as {{"autopilot.pitch.p": 0.5}}, not {shown(gains)}')
    return mission.change(dict(changes))


def check_bending(bending, who: str) -> None:
    """Raise TypeError for what is neither None nor a bending mode."""
    if bending is not None and not isinstance(bending, BendingMode):
        raise TypeError(f"{who}: bending = {shown(bending)} must be a BendingMode, such as BendingMode(frequency=40.0), or None")


@dataclass(frozen=True)
class Loops:
    """The loops of some channels at every point of the models. Made by `loops_of`; studies work with it, people with `open_loop`."""

    plant: Plant
    gains: LawGains

    @property
    def numbers(self) -> list[int]:
        """The columns of the channels in the law's gains."""
        return [CHANNELS.index(name) for name in self.plant.channels]

    @property
    def nyquist(self) -> float:
        """Half the sampling frequency, rad/s."""
        return np.pi / self.plant.period

    def z(self, frequency: np.ndarray) -> np.ndarray:
        """Return the points of the unit circle at frequencies (rad/s)."""
        return np.exp(1j * np.asarray(frequency) * self.plant.period)

    def parts(self, frequency: np.ndarray, points: np.ndarray | None = None) -> dict[str, np.ndarray]:
        """Return the parts of the loop by angle and by rate, and the answer of the angle to the goal before the loop closes.

        frequency : (n, ...) rad/s -> (n, ..., channels, channels). points : which points the rows are of.
        """
        z = self.z(frequency)
        angle, rate = plant_response(self.plant, z, points)
        gains = self.gains if points is None else _of_points(self.gains, points)
        law = [law_response(gains, c, z) for c in self.numbers]
        k_angle, k_rate, k_goal = (np.stack([each[i] for each in law], axis=-1) for i in range(3))
        return {"angle": k_angle[..., :, None] * angle, "rate": k_rate[..., :, None] * rate, "goal": angle * k_goal[..., None, :]}

    def matrices(self) -> ClosedLoop:
        """Return the closed loop of every point as matrices of one tick."""
        return closed_loop(self.plant, self.gains)


def loops_of(models: xr.Dataset, mission: Mission, channel: str, bending: BendingMode | None = None) -> Loops:
    """Return the loops of one channel ("roll", "pitch", "yaw") or of all three coupled ("full")."""
    return Loops(sampled_plant(models, mission, channel, bending), law_gains(models, mission))


def _of_points(gains: LawGains, points: np.ndarray) -> LawGains:
    return gains._replace(**{name: getattr(gains, name)[points] for name in ("p", "i", "d", "f", "scale")})


def broken(parts: dict[str, np.ndarray], where: str) -> np.ndarray:
    """Return the loop of a single channel broken at a place, (n, ...), from `Loops.parts`; the other path stays closed."""
    angle, rate = parts["angle"][..., 0, 0], parts["rate"][..., 0, 0]
    if where == "attitude":
        return angle / (1.0 + rate)
    if where == "rate":
        return rate / (1.0 + angle)
    return angle + rate


def scan(loops: Loops, count: int = FREQUENCIES) -> np.ndarray:
    """Return the frequencies (rad/s) at which loops are scanned.

    `count` even in the logarithm, denser towards half the sampling frequency, and more about every resonance too sharp for those.
    """
    top = loops.nyquist * (1.0 - 1e-9)
    low = np.geomspace(LOWEST, 0.3 * top, 2 * count // 3, endpoint=False)
    even = np.concatenate([low, np.geomspace(0.3 * top, top, count - len(low))])
    z = np.linalg.eigvals(loops.plant.phi).ravel()
    s = np.log(z[z.imag > 0.0]) / loops.plant.period
    s = s[np.abs(s.real) < SHARP * np.abs(s)]
    share = np.maximum(np.abs(s.real) / s.imag, 1e-4)[:, None]
    # a quarter of a half width apart at most, on steps that many loops have in common: their resonances share points
    step = 2.0 ** np.floor(np.log2(0.25 * share))
    about = np.exp(np.round(np.log(s.imag[:, None] * np.maximum(1.0 + share * ABOUT, 0.1)) / step) * step).ravel()
    return np.unique(np.concatenate([even, about[(about > LOWEST) & (about < top)]]))


# ---------------------------------------------------------------- closed


@dataclass(frozen=True)
class ClosedLoop:
    """One tick of the closed loop at every point: x' = a x + b [goals, gusts, demand added, readings added], y = c x + d [..].

    outputs : angles, rates (true), demands, fin angles of the channels.
    """

    a: np.ndarray
    b: np.ndarray
    c: np.ndarray
    d: np.ndarray
    states: list[str]
    inputs: list[str]
    outputs: list[str]
    period: float

    def growth(self) -> np.ndarray:
        """Return how fast the least stable motion grows (1/s, negative: all decay), (n,)."""
        return self.fate()[0]

    def fate(self, drift: float = 0.0) -> tuple[np.ndarray, np.ndarray]:
        """Return (growth, stable), (n,) each: stable where no swing (SWING) grows, and nothing slower by more than `drift` (1/s)."""
        z = np.linalg.eigvals(self.a)
        rate = np.log(np.maximum(np.abs(z), 1e-300)) / self.period
        swings = np.abs(np.angle(z)) > SWING * self.period
        return rate.max(axis=1), (rate <= np.where(swings, ROUNDED, max(drift, ROUNDED))).all(axis=1)


def closed_loop(plant: Plant, gains: LawGains) -> ClosedLoop:
    """Return the closed loop of every point (see `ClosedLoop`)."""
    return _Assembly(plant, gains).closed()


class _Assembly:
    """Rows of everything that is worked out in a tick, by [states.., inputs..]; every signal is one row of numbers at each point."""

    def __init__(self, plant: Plant, gains: LawGains):
        self.plant, self.gains, self.n = plant, gains, len(gains.scale)
        names = list(plant.states)
        for c in plant.channels:
            names += [f"{c}_command_{k}" for k in range(1, plant.ticks + 2)]
            if plant.lag is not None:
                names += [f"{c}_lagged", f"{c}_last_rate", f"{c}_estimate", f"{c}_last_read"]
            names += [f"{c}_{state}" for state in LAW_STATES]
        self.states = names
        self.inputs = [f"{c}_goal" for c in plant.channels] + list(plant.gusts)
        self.inputs += [f"{c}_{what}" for what in ("demand_added", "angle_added", "rate_added") for c in plant.channels]
        self.place = {name: k for k, name in enumerate((*self.states, *self.inputs))}
        self.next: dict[str, np.ndarray] = {}

    def one(self, name: str) -> np.ndarray:
        out = np.zeros((self.n, len(self.place)))
        out[:, self.place[name]] = 1.0
        return out

    def of_plant(self, matrix: np.ndarray) -> np.ndarray:
        """Return rows (n, k, all) from rows over the plant's states."""
        out = np.zeros((self.n, matrix.shape[-2], len(self.place)))
        out[:, :, : len(self.plant.states)] = matrix
        return out

    def closed(self) -> ClosedLoop:
        plant, channels = self.plant, self.plant.channels
        angle, rate = self.readings()
        demand = []
        for k, c in enumerate(channels):
            read = {"goal": self.one(f"{c}_goal"), "angle": angle[k] + self.one(f"{c}_angle_added"), "rate": rate[k] + self.one(f"{c}_rate_added")}
            demand.append(self.law(c, read) + self.one(f"{c}_demand_added"))
        line = [[demand[k], *(self.one(f"{c}_command_{j}") for j in range(1, plant.ticks + 2))] for k, c in enumerate(channels)]
        new, old = (np.stack([each[plant.ticks + late] for each in line], axis=1) for late in (0, 1))
        moved = self.of_plant(plant.phi) + plant.new @ new + plant.old @ old
        for j, name in enumerate(plant.gusts):
            moved += plant.gust[:, :, j, None] * self.one(name)[:, None, :]
        self.next |= {name: moved[:, i] for i, name in enumerate(plant.states)}
        for k, c in enumerate(channels):
            self.next |= {f"{c}_command_{j + 1}": line[k][j] for j in range(plant.ticks + 1)}
        whole = np.stack([self.next[name] for name in self.states], axis=1)
        seen = np.concatenate(
            [self.of_plant(plant.angle), self.of_plant(plant.rate), np.stack(demand, axis=1), np.stack([self.one(f"{c}_fin") for c in channels], axis=1)],
            axis=1,
        )
        outputs = [f"{c}_{what}" for what in ("angle", "rate", "demand", "fin") for c in channels]
        s = len(self.states)
        return ClosedLoop(whole[:, :, :s], whole[:, :, s:], seen[:, :, :s], seen[:, :, s:], self.states, self.inputs, outputs, plant.period)

    def readings(self) -> tuple[list[np.ndarray], list[np.ndarray]]:
        """Return angle and rate of each channel as the law is told them; notes what the sensors keep."""
        plant, channels = self.plant, self.plant.channels
        true_rate = self.of_plant(plant.rate)
        if plant.lag is None:
            return list(self.of_plant(plant.angle).transpose(1, 0, 2)), list(true_rate.transpose(1, 0, 2))
        e, old, new = plant.lag
        read = [e * self.one(f"{c}_lagged") + old * self.one(f"{c}_last_rate") + new * true_rate[:, k] for k, c in enumerate(channels)]
        last = np.stack([self.one(f"{c}_estimate") + 0.5 * plant.period * self.one(f"{c}_last_read") for c in channels], axis=1)
        angle = plant.turn @ last
        angles = [angle[:, k] + 0.5 * plant.period * read[k] for k in range(len(channels))]
        for k, c in enumerate(channels):
            self.next |= {f"{c}_lagged": read[k], f"{c}_last_rate": true_rate[:, k], f"{c}_estimate": angles[k], f"{c}_last_read": read[k]}
        return angles, read

    def law(self, c: str, read: dict[str, np.ndarray]) -> np.ndarray:
        """Return the law's demand in a channel; notes what it remembers."""
        a, b, out, direct = law_matrices(self.gains, CHANNELS.index(c))
        kept = np.stack([self.one(f"{c}_{state}") for state in LAW_STATES], axis=1)
        given = np.stack([read[name] for name in ("goal", "angle", "rate")], axis=1)
        after = a @ kept + b @ given
        self.next |= {f"{c}_{state}": after[:, i] for i, state in enumerate(LAW_STATES)}
        return (out @ kept + direct @ given)[:, 0]


# ---------------------------------------------------------------- for people: python-control's own objects


def open_loop(models: xr.Dataset, point: int = 0, channel: str = "pitch", *, gains=None, broken_at: str = "actuator", bending: BendingMode | None = None):
    """Return the loop of one channel at one point, broken at a place, as a sampled `control.StateSpace` (negative feedback closes it).

    gains : see `flown_mission`. broken_at : "actuator" (the demand), "attitude" (with the rate loop closed) or "rate" (with the attitude
    loop closed). bending : a `BendingMode` of the airframe.

    Raises
    ------
    ValueError
        For a point, a channel or a place to break that there is not.
    """
    where = _check(models, point, channel, broken_at, "open_loop")
    check_bending(bending, "open_loop")
    mission = flown_mission(models, gains, "open_loop")
    loops = loops_of(models.isel(point=[point]), mission, channel, bending)
    return _opened(loops, where, f"{channel}_{point}_open_at_{broken_at}")


def closed_response(models: xr.Dataset, point: int = 0, channel: str = "pitch", *, gains=None, bending: BendingMode | None = None):
    """Return the closed loop at one point as a sampled `control.StateSpace` with named inputs and outputs.

    channel : "roll", "pitch", "yaw", or "full" for all three coupled. Inputs: goals (rad), gusts along body axes (m/s), what is added to
    demands (rad) and to readings. Outputs: angles and rates (true), demands, fin angles. Raises ValueError as `open_loop`.
    """
    need_table(models, "closed_response", "loops.linear.linearise", *OF_LOOPS)
    check_point(models, point, "closed_response")
    check_channel(channel, ("full", *CHANNELS), "closed_response")
    check_bending(bending, "closed_response")
    import control

    mission = flown_mission(models, gains, "closed_response")
    m = loops_of(models.isel(point=[point]), mission, channel, bending).matrices()
    return control.ss(m.a[0], m.b[0], m.c[0], m.d[0], m.period, states=m.states, inputs=m.inputs, outputs=m.outputs, name=f"{channel}_{point}_closed")


def _check(models, point, channel, broken_at, who: str) -> str:
    need_table(models, who, "loops.linear.linearise", *OF_LOOPS)
    check_point(models, point, who)
    check_channel(channel, CHANNELS, who, ": a loop is broken one at a time")
    if not isinstance(broken_at, str) or broken_at not in BREAKS:
        raise ValueError(f'{who}: broken_at = {shown(broken_at)} must be "actuator", "attitude" or "rate"')
    return broken_at


def _opened(loops: Loops, where: str, name: str):
    """Return the loop broken at a place: from what enters behind the cut to minus what arrives before it."""
    import control

    (c,), gains = loops.plant.channels, loops.gains
    added = {"actuator": "demand_added", "attitude": "angle_added", "rate": "rate_added"}[where]
    cut = _Opened(loops.plant, gains, where).closed()
    i, o = cut.inputs.index(f"{c}_{added}"), 0
    return control.ss(
        cut.a[0], cut.b[0][:, [i]], -cut.c[0][[o]], -cut.d[0][[o], i : i + 1], cut.period, states=cut.states, inputs="in", outputs="out", name=name
    )


class _Opened(_Assembly):
    """As `_Assembly`, with the signal cut at one place: what arrives there is the first output and goes no further."""

    def __init__(self, plant: Plant, gains: LawGains, where: str):
        super().__init__(plant, gains)
        self.where, self.arrives = where, None

    def readings(self):
        angle, rate = super().readings()
        for name, signals in (("attitude", angle), ("rate", rate)):
            if self.where == name:
                self.arrives, signals[0] = signals[0], np.zeros_like(signals[0])
        return angle, rate

    def law(self, c, read):
        demand = super().law(c, read)
        if self.where == "actuator":
            self.arrives, demand = demand, np.zeros_like(demand)
        return demand

    def closed(self) -> ClosedLoop:
        whole = super().closed()
        s = len(whole.states)
        row = self.arrives[:, None, :]
        return ClosedLoop(whole.a, whole.b, row[:, :, :s], row[:, :, s:], whole.states, whole.inputs, ["arrives"], whole.period)
