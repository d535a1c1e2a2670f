"""The design of gains as a problem in numbers: what a schedule of gains does at every point of the flight, quickly enough to search.

Everything comes from the exact sampled frequency response of the loop as it flies; the plant's part does not depend on the gains and is
computed once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.loops.blocks import Block, response
from sixdof.study.loops.law_model import LawGains, law_block, law_gains, picked
from sixdof.study.loops.linear import CHANNELS
from sixdof.study.loops.loop import LOWEST, Loops
from sixdof.study.loops.margins import DRIFT
from sixdof.study.loops.sampled_plant import BendingMode, Plant, sampled_plant

GRID, BANDS = 216, 9  # frequencies; bands of them
_SIGNS = np.array([1.0, -1.0, -1.0])[:, None, None]  # of goal, angle, rate: a loop closes by negative feedback
TRIED_FREQUENCIES, TRIED_DAMPING = 14, (0.5, 0.65, 0.8, 1.0)  # of the pole placements that a design starts from
TOP_SHARE = 0.12  # of the sampling frequency (rad/s): the fastest pair of poles that is tried


class Answer(NamedTuple):
    """What gains do at every point (n). Each of `margin`, `peak`, `servo` meets the specification at 1.

    margin : least distance of L from the critical point in the Nichols plane, gain over the required gain margin, phase over the required
        phase margin: 1 keeps both, and what lies between them.
    speed : bandwidth of the first-order lag that follows a step of the goal with the same integral of the squared error, rad/s.
    stiffness : how well a steady offset of the fins is borne: 1/(2 int angle^2 dt) for an offset of 1 rad from one moment on, 1/(rad^2 s).
    peak : allowed peak of angle per goal over the actual one. servo : allowed use of the servos over the actual one.
    """

    margin: np.ndarray
    speed: np.ndarray
    stiffness: np.ndarray
    peak: np.ndarray
    servo: np.ndarray


class Demands(NamedTuple):
    """What is asked of a channel: margins (dB, rad), highest peak of angle per goal, and what the servos must bear within their limits.

    travel, rate : rad, rad/s that may be used. step : of the goal, rad. gust : amplitude of a gust across the axis, m/s. integral : least
    i/p, 1/s; 0: no integral part at all.
    """

    gain_db: float
    phase: float
    peak: float
    travel: float
    rate: float
    step: float
    gust: float
    integral: float


@dataclass
class DesignProblem:
    """One set of gains for one channel, or for pitch and yaw alike, over points of the flight.

    weights : (points, rows) share of every row of the schedule in the gains at a point.
    """

    channels: tuple[str, ...]
    demands: Demands
    weights: np.ndarray
    gains: LawGains
    frequency: np.ndarray
    z: np.ndarray
    angle: np.ndarray
    rate: np.ndarray
    gust: tuple[np.ndarray, np.ndarray] | None
    plants: list[Plant]
    effect: np.ndarray  # (points,) turning acceleration per demand, 1/s^2

    @property
    def points(self) -> int:
        """Return the number of points of all channels together."""
        return len(self.weights)

    @property
    def parts(self) -> list[slice]:
        """Which points are those of each plant."""
        ends = np.cumsum([len(plant.vehicle.a) for plant in self.plants]).tolist()
        return [slice(start, stop) for start, stop in zip([0, *ends], ends)]

    def law(self, p, i, d) -> Block:
        """Return the law with gains at every point, from goal, angle and rate to the demand."""
        return law_block(self.with_gains(p, i, d), CHANNELS.index(self.channels[0]))

    def with_gains(self, p, i, d) -> LawGains:
        """Return the law's gains with those of this channel at every point; the goal's own rate is answered as the vehicle's."""

        def each(values):
            return np.broadcast_to(np.asarray(values, dtype=float)[:, None], (self.points, 3))

        feeds = self.gains.feed and not self.gains.cascade
        return self.gains._replace(p=each(p), i=each(i), d=each(d), f=each(d if feeds else np.zeros(self.points)))

    def at_points(self, rows: np.ndarray) -> np.ndarray:
        """Return gains (p, i, d; points) of a schedule (p, i, d; rows): straight lines between rows, as the law takes them."""
        return rows @ self.weights.T

    def stable(self, p, i, d) -> bool:
        """Return whether gains at every point make stable loops everywhere."""
        gains = self.with_gains(p, i, d)
        return all(Loops(plant, picked(gains, part)).fate(DRIFT)[1].all() for plant, part in zip(self.plants, self.parts))

    def answer(self, p, i, d) -> Answer:
        """Return what gains at every point do; of loops that are stable (see `stable`)."""
        margin, speed, stiffness, peak, servo = self.measures(p, i, d)
        return Answer(margin.min(axis=0), speed, stiffness, peak.min(axis=0), servo.min(axis=0))

    def measures(self, p, i, d) -> tuple[np.ndarray, ...]:
        """Return the parts of `Answer`, margin and peak for every band of frequencies, servo for every limit: (parts, n), the others (n,).

        A search that knows the parts is not led astray where the worst frequency jumps from one to another.
        """
        law = self.law(p, i, d)
        k_goal, k_angle, k_rate = response(law, self.z)[0] * _SIGNS
        kick = np.abs(law.d[:, 0, 0])  # the law's first answer to a step of the goal
        loop = k_angle * self.angle + k_rate * self.rate
        with np.errstate(divide="ignore"):
            gain = 20.0 * np.log10(np.abs(loop)) / self.demands.gain_db
        phase = (np.mod(np.angle(loop), 2.0 * np.pi) - np.pi) / self.demands.phase
        margin = _bands(np.hypot(gain, phase)).min(axis=-1)
        follow = k_goal * self.angle / (1.0 + loop)
        peak = self.demands.peak / np.maximum(_bands(np.abs(follow)).max(axis=-1), 1e-12)
        speed, stiffness = self._slowness(1.0 - follow), self._slowness(self.angle / (1.0 + loop))
        return margin, 1.0 / speed, 1.0 / stiffness, peak, self._servo(kick, k_angle, k_rate, loop)

    def _slowness(self, error: np.ndarray) -> np.ndarray:
        """Return 2 int e^2 dt of what answers a unit step, by Parseval's theorem; below the grid's first frequency the error stays as there."""
        w = self.frequency
        density = np.abs(error) ** 2 / np.abs(1.0 - self.z) ** 2 * self.gains.period**2
        return 2.0 / np.pi * (np.trapezoid(density, w, axis=1) + density[:, 0] * w[0])

    def _servo(self, kick: np.ndarray, k_angle, k_rate, loop: np.ndarray) -> np.ndarray:
        """Return allowed over actual use, (limits, n): travel at the first kick of a goal step, travel and rate in a sinusoidal gust."""
        d = self.demands
        room = [d.travel / np.maximum(kick * d.step, 1e-12)]
        if self.gust is not None and d.gust > 0.0:
            fin = np.abs((k_angle * self.gust[0] + k_rate * self.gust[1]) / (1.0 + loop)) * d.gust
            room += [d.travel / np.maximum(fin.max(axis=1), 1e-12), d.rate / np.maximum((fin * self.frequency).max(axis=1), 1e-12)]
        return np.array(room)

    # ------------------------------------------------------------ a first design

    def placed(self, frequency: float, damping: float) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Return p, i, d at every point that put a pair of closed-loop poles at a natural frequency (rad/s) and damping; exact.

        1 + L(z) = 0 at z = exp(s T) is linear in the gains once i/p is chosen: two real equations for p and d. What would need a
        negative gain is cut to zero: then the pair lies elsewhere.
        """
        s = frequency * (-damping + 1j * math.sqrt(max(1.0 - damping**2, 1e-6)))
        z = np.full((self.points, 1), np.exp(s * self.gains.period))
        ratio = max(self.demands.integral, 0.1 * frequency) if self.demands.integral > 0.0 else 0.0
        angle, rate = self._plant_at(z)
        one, none = np.ones(self.points), np.zeros(self.points)

        def of(p, i, d):
            return -response(self.law(p, i, d), z)[0, 1:]

        if self.gains.cascade:
            # d (1 + r) (p angle + rate): unknown d p and d
            _, part = of(none, ratio * one, one)
            columns = part * angle, part * rate
        else:
            by_p, by_d = of(one, ratio * one, none), of(none, none, one)
            columns = by_p[0] * angle, by_d[0] * angle + by_d[1] * rate
        a, b = (column[:, 0] for column in columns)
        matrix = np.stack([np.stack([a.real, b.real], axis=1), np.stack([a.imag, b.imag], axis=1)], axis=1)
        p, d = np.linalg.solve(matrix, np.broadcast_to([[-1.0], [0.0]], (self.points, 2, 1)))[..., 0].T
        p, d = np.maximum(p, 0.0), np.maximum(d, 0.0)
        if self.gains.cascade:
            return p / np.maximum(d, 1e-9), ratio * d, d
        return p, ratio * p, d

    def _plant_at(self, z: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        return _one_after_another([plant.response(z[part]) for plant, part in zip(self.plants, self.parts)])

    def first_design(self) -> np.ndarray | None:
        """Return gains (p, i, d; points) to start from, None if none that was tried is stable at every point.

        A start is one pair of poles for the whole flight: its gains are those of its placement at the points, in the median, times the
        effectiveness of the control, so that every point has the same loop but for its airframe. Each is tried at a half and a quarter of
        its size too: an airframe stiffer than its servos are fast bears no pair faster than its own. The best is the one that falls
        least short of the specification anywhere; of those that meet it, the quickest.
        """
        found = []
        top = TOP_SHARE * 2.0 * np.pi / self.gains.period
        for frequency in np.geomspace(0.06 * top, top, TRIED_FREQUENCIES):
            for damping in TRIED_DAMPING:
                placed = self._evened(np.stack(self.placed(frequency, damping)))
                if placed is None:
                    continue
                for share in (1.0, 0.5, 0.25):
                    tried = placed * (np.array([[1.0], [share], [share]]) if self.gains.cascade else share)
                    a = self.answer(*tried)
                    short = max(0.0, 1.0 - float(np.minimum(np.minimum(a.margin, a.peak), a.servo).min()))
                    found.append((short, -float(np.log(a.speed * a.stiffness).mean()), tried))
        found.sort(key=lambda each: each[:2])
        return next((tried for _, _, tried in found if self.stable(*tried)), None)

    def _evened(self, placed: np.ndarray) -> np.ndarray | None:
        """Return gains at every point that all make the median answer of the placed ones, None if p or d is mostly zero there."""
        power = np.abs(self.effect) * self.gains.scale
        p, i, d = placed * (np.stack([np.ones_like(power), power, power]) if self.gains.cascade else power)
        if np.median(p) <= 0.0 or np.median(d) <= 0.0:
            return None
        levels = np.median(p[p > 0.0]), np.median(i[p > 0.0]), np.median(d[d > 0.0])
        even = np.stack([level / power for level in levels])
        if self.gains.cascade:
            even[0] = levels[0]
        return even


def _bands(values: np.ndarray) -> np.ndarray:
    """Return values (n, frequencies) as (bands, n, frequencies/bands)."""
    return values.reshape(len(values), BANDS, -1).swapaxes(0, 1)


def _grid(top: float, bending: BendingMode | None) -> np.ndarray:
    """Return the frequencies at which loops are looked at, rad/s; more of them about a bending mode, which is sharp."""
    even = np.geomspace(LOWEST, top, GRID)
    if bending is None:
        return even
    about = 2.0 * np.pi * bending.frequency * (1.0 + bending.damping * np.linspace(-12.0, 12.0, 4 * BANDS))
    return np.sort(np.concatenate([even, np.clip(about, LOWEST, top)]))


def make_problem(
    models: Sequence[xr.Dataset], mission: Mission, channels: tuple[str, ...], demands: Demands, weights: Sequence[np.ndarray], bending: BendingMode | None
) -> DesignProblem:
    """Return the problem of one set of gains for channels of linear models, with the limits and filters of the mission's autopilot.

    models : of one flight or of several, each with its own drawn gain factors and servo speed. weights : of each, (points, rows).
    """
    pairs = [(each, channel) for channel in channels for each in models]
    plants = [sampled_plant(each, mission, channel, bending) for each, channel in pairs]
    laws = [law_gains(each, mission) for each, _ in pairs]
    # a drawn factor multiplies all gains of its channel, as the scale does
    scale = np.concatenate([law.scale * float(each["gain_factor"].sel(channel=channel)) for law, (each, channel) in zip(laws, pairs)])
    frequency = _grid(Loops(plants[0], laws[0]).nyquist * (1.0 - 1e-6), bending)
    z = np.broadcast_to(np.exp(1j * frequency * laws[0].period), (len(scale), len(frequency)))
    rows = [z[: len(plant.vehicle.a)] for plant in plants]
    angle, rate = _one_after_another([plant.response(part) for plant, part in zip(plants, rows)])
    gusts = _one_after_another([plant.gust_response(part) for plant, part in zip(plants, rows)]) if plants[0].gusts else None
    effect = np.concatenate([each["effectiveness"].sel(channel=channel).values for each, channel in pairs])
    return DesignProblem(
        channels, demands, np.concatenate(list(weights) * len(channels)), laws[0]._replace(scale=scale), frequency, z, angle, rate, gusts, plants, effect
    )


def _one_after_another(answers) -> tuple[np.ndarray, np.ndarray]:
    """Return angle and rate of single channels per their one input, the points of one plant after those of another."""
    return tuple(np.concatenate([each[k, 0] for each in answers]) for k in range(2))
