"""The attitude loops as they fly: the sampled law, its hold and delays, the servo and the vehicle, broken or closed at any point."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.loops.blocks import Block, linked, response
from sixdof.study.loops.law_model import LawGains, law_block, law_gains
from sixdof.study.loops.linear import CHANNELS, DEMANDS, check_channel, check_point
from sixdof.study.loops.sampled_plant import BendingMode, Plant, sampled_plant
from sixdof.study.reading.result import mission_of, need_table

# of linear models: what a loop is made of
OF_LOOPS = ("state_matrix", "input_matrix", "sensed_pressure", "sensed_mach", "booster", "gain_factor", "servo_factor", "body_rate")
NO_LOOPS = "no control fins work along this flight, there are no loops: set control = true on a fin set, and enable the fins"
SIGNALS = {"actuator": "demand", "attitude": "angle_read", "rate": "rate_read"}  # where a loop may be broken, and the signal that is cut there
BREAKS = tuple(SIGNALS)
LOWEST = 0.1  # rad/s: slower than this a frozen model of a climbing rocket means nothing
FREQUENCIES = 320  # of the grid that is scanned for crossings; what is found is refined
SHARP = 0.05  # damping ratio: a resonance below it is narrower than the grid is fine
ABOUT = np.array([-16.0, -8.0, -4.0, -2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0, 4.0, 8.0, 16.0])  # half widths about such a resonance


def flown_mission(models: xr.Dataset, gains, who: str) -> Mission:
    """Return the mission whose autopilot is meant: that of the models, another Mission, or changes of the models' own.

    gains : None, a Mission, a dictionary of changes as `Mission.change` takes, or anything that has such a dictionary as `changes`.
    Raises TypeError for anything else, ValueError where no demand of the law turns the vehicle.
    """
    need_table(models, who, "loops.linearise", *OF_LOOPS)
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
    """Loops of some channels: each has gains of its own, and a plant. Made by `loops_of`; studies work with it, notebooks with `open_loop`.

    of : (loops,) number of each loop's plant among the points of `plant`; None: one each, in order.
    """

    plant: Plant
    gains: LawGains
    of: np.ndarray | None = None

    @property
    def count(self) -> int:
        """Return how many loops there are."""
        return len(self.gains.scale)

    @property
    def nyquist(self) -> float:
        """Return half the sampling frequency, rad/s."""
        return np.pi / self.plant.period

    @cached_property
    def laws(self) -> list[Block]:
        """The law of each channel."""
        return [law_block(self.gains, CHANNELS.index(name)) for name in self.plant.channels]

    def z(self, frequency: np.ndarray) -> np.ndarray:
        """Return the points of the unit circle at frequencies (rad/s)."""
        return np.exp(1j * np.asarray(frequency) * self.plant.period)

    def parts(self, frequency: np.ndarray, points=slice(None)) -> dict[str, np.ndarray]:
        """Return the parts of the loops by angle and by rate, and the answer of the angle to the goal before the loop closes.

        frequency : (n, ...) rad/s -> (n, ..., channels, channels). points : which loops the rows are of.
        """
        z = self.z(frequency)
        return self._parts(z, points, self.plant.response(z, points if self.of is None else self.of[points]))

    def on_grid(self, frequency: np.ndarray) -> dict[str, np.ndarray]:
        """Return the parts of all loops at frequencies (k,) that they have in common; each plant is asked once."""
        plants = self.plant.response(self.z(np.broadcast_to(frequency, (len(self.plant.vehicle.a), len(frequency)))))
        z = self.z(np.broadcast_to(frequency, (self.count, len(frequency))))
        return self._parts(z, slice(None), plants if self.of is None else plants[:, :, self.of])

    def _parts(self, z: np.ndarray, points, told: np.ndarray) -> dict[str, np.ndarray]:
        """Return the parts from what plants tell per demand, (2 channels, demands, n, ...)."""
        goal, angle, rate = np.stack([response(law, z, points)[0] for law in self.laws], axis=1)
        angles, rates = np.split(told, 2)
        # negative feedback: what is told comes back into the demand of its own channel with the law's sign turned
        parts = {"angle": -angle[:, None] * angles, "rate": -rate[:, None] * rates, "goal": angles * goal[None, :]}
        return {name: np.moveaxis(part, (0, 1), (-2, -1)) for name, part in parts.items()}

    def blocks(self) -> list[Block]:
        """Return the loops as blocks, in the order in which a signal goes round."""
        return [*(self.plant if self.of is None else self.plant.at(self.of)).blocks, *self.laws]

    def matrices(self) -> Block:
        """Return the closed loops: from goals, gusts, and what is added to demands and readings, to angles, rates (true), demands and fins."""
        signals = self.plant.signals
        added = {f"{name}_added": signal for name, signal in zip(signals("demand", "angle", "rate"), signals("demand", "angle_read", "rate_read"))}
        closed = linked(self.blocks(), [*signals("goal"), *self.plant.gusts, *added.values()], signals("angle", "rate", "demand", "fin"))
        return replace(closed, inputs=(*signals("goal"), *self.plant.gusts, *added))

    def fate(self, drift: float) -> tuple[np.ndarray, np.ndarray]:
        """Return (growth, stable) of every closed loop (see `Block.fate`)."""
        return linked(self.blocks(), (), ()).fate(drift)


def loops_of(models: xr.Dataset, mission: Mission, channel: str, bending: BendingMode | None = None) -> Loops:
    """Return the loops of one channel ("roll", "pitch", "yaw") or of all three coupled ("full")."""
    return Loops(sampled_plant(models, mission, channel, bending), law_gains(models, mission))


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
    z = np.linalg.eigvals(loops.plant.vehicle.a).ravel()
    s = np.log(z[z.imag > 0.0]) / loops.plant.period
    s = s[np.abs(s.real) < SHARP * np.abs(s)]
    share = np.maximum(np.abs(s.real) / s.imag, 1e-4)[:, None]
    # a quarter of a half width apart at most, on steps that many loops have in common: their resonances share points
    step = 2.0 ** np.floor(np.log2(0.25 * share))
    about = np.exp(np.round(np.log(s.imag[:, None] * np.maximum(1.0 + share * ABOUT, 0.1)) / step) * step).ravel()
    return np.unique(np.concatenate([even, about[(about > LOWEST) & (about < top)]]))


# ---------------------------------------------------------------- user-facing: python-control's own objects


def open_loop(models: xr.Dataset, point: int = 0, channel: str = "pitch", *, gains=None, broken_at: str = "actuator", bending: BendingMode | None = None):
    """Return the loop of one channel at one point, broken at a place, as a sampled `control.StateSpace` (negative feedback closes it).

    gains : see `flown_mission`. broken_at : "actuator" (the demand), "attitude" (with the rate loop closed) or "rate" (with the attitude
    loop closed). bending : a `BendingMode` of the airframe.

    Raises
    ------
    ValueError
        For a point, a channel or a place to break that there is not.

    Examples
    --------
    >>> loop = sixdof.loops.open_loop(models, 2, "pitch")
    >>> round(loop.dt, 3), loop.ninputs
    (0.01, 1)
    """
    where = _check(models, point, channel, broken_at, "open_loop")
    check_bending(bending, "open_loop")
    mission = flown_mission(models, gains, "open_loop")
    loops = loops_of(models.isel(point=[point]), mission, channel, bending)
    return _broken_at(loops, where, f"{channel}_{point}_open_at_{broken_at}")


def closed_response(models: xr.Dataset, point: int = 0, channel: str = "pitch", *, gains=None, bending: BendingMode | None = None):
    """Return the closed loop at one point as a sampled `control.StateSpace` with named inputs and outputs.

    channel : "roll", "pitch", "yaw", or "full" for all three coupled. Inputs: goals (rad), gusts along body axes (m/s), what is added to
    demands (rad) and to readings. Outputs: angles and rates (true), demands, fin angles. Raises ValueError as `open_loop`.

    gains, bending : as for `open_loop`.

    Examples
    --------
    >>> closed = sixdof.loops.closed_response(models, 2, "pitch")
    >>> bool((abs(closed.poles()) < 1.0).all())
    True
    """
    need_table(models, "closed_response", "loops.linearise", *OF_LOOPS)
    check_point(models, point, "closed_response")
    check_channel(channel, ("full", *CHANNELS), "closed_response")
    check_bending(bending, "closed_response")
    import control

    mission = flown_mission(models, gains, "closed_response")
    m = loops_of(models.isel(point=[point]), mission, channel, bending).matrices()
    return control.ss(
        m.a[0], m.b[0], m.c[0], m.d[0], m.period, states=list(m.states), inputs=list(m.inputs), outputs=list(m.outputs), name=f"{channel}_{point}_closed"
    )


def _check(models, point, channel, broken_at, who: str) -> str:
    need_table(models, who, "loops.linearise", *OF_LOOPS)
    check_point(models, point, who)
    check_channel(channel, CHANNELS, who, ": a loop is broken one at a time")
    if not isinstance(broken_at, str) or broken_at not in BREAKS:
        raise ValueError(f'{who}: broken_at = {shown(broken_at)} must be "actuator", "attitude" or "rate"')
    return broken_at


def _broken_at(loops: Loops, where: str, name: str):
    """Return the loop broken at a place: from what enters behind the cut to minus what arrives before it."""
    import control

    signal = [f"{loops.plant.channels[0]}_{SIGNALS[where]}"]
    cut = linked(loops.blocks(), signal, signal, broken=signal)
    return control.ss(cut.a[0], cut.b[0], -cut.c[0], -cut.d[0], cut.period, states=list(cut.states), inputs="in", outputs="out", name=name)
