"""Margins of very many loops of one channel at once: many gains on the same plants, or many flights' plants side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np

from sixdof.study.loops.crossings import response_margins
from sixdof.study.loops.law_model import LawGains, law_response
from sixdof.study.loops.linear import CHANNELS
from sixdof.study.loops.loop import Loops, closed_loop, scan
from sixdof.study.loops.margins import DRIFT
from sixdof.study.loops.sampled_plant import Plant, plant_response

OF_POINTS = ("p", "i", "d", "f", "scale")  # fields of LawGains with points in front
TRIED = 12  # frequencies at which the sum of modes is held against the plant itself
EXACT = 1e-9  # share by which they may differ: some digits beyond what a margin is read to
MOST = 4000  # loops worked on at a time: a grid of complex numbers for each (20 MB)


class Modes(NamedTuple):
    """A plant's answer as a sum over its modes: residue/(z - pole), (points, states) each, for angle and rate, new and old command."""

    pole: np.ndarray
    angle_new: np.ndarray
    angle_old: np.ndarray
    rate_new: np.ndarray
    rate_old: np.ndarray


def plant_modes(plant: Plant) -> Modes | None:
    """Return the modes of a one-channel plant; None where they are too close to each other to be told apart."""
    pole, shape = np.linalg.eig(plant.phi)
    try:
        new, old = (np.linalg.solve(shape, part.astype(complex))[..., 0] for part in (plant.new, plant.old))
    except np.linalg.LinAlgError:
        return None
    angle, rate = plant.angle[0] @ shape, plant.rate[0] @ shape
    modes = Modes(pole, angle * new, angle * old, rate * new, rate * old)
    z = np.exp(1j * np.geomspace(1e-3, 0.999 * np.pi, TRIED)) * np.ones((len(pole), 1))
    exact = plant_response(plant, z)
    with np.errstate(invalid="ignore"):
        error = np.stack([np.abs(ours - theirs[..., 0, 0]) / np.abs(theirs[..., 0, 0]) for ours, theirs in zip(_answer(plant, modes, z), exact)])
    return modes if error[~np.isnan(error)].max(initial=0.0) < EXACT else None  # NaN: a fin without effect answers 0, exactly and in modes


def _answer(plant: Plant, modes: Modes, z: np.ndarray, points=slice(None)) -> tuple[np.ndarray, np.ndarray]:
    """Return (angle, rate) as `plant_response` of a single channel, without matrices: z (n, ...) -> (n, ...)."""
    picked = Modes(*(x[points].reshape(len(z), *[1] * (z.ndim - 1), -1) for x in modes))
    back = 1.0 / z
    angle, rate = np.zeros_like(z), np.zeros_like(z)
    for k in range(modes.pole.shape[1]):
        below = 1.0 / (z - picked.pole[..., k])
        angle += (picked.angle_new[..., k] + picked.angle_old[..., k] * back) * below
        rate += (picked.rate_new[..., k] + picked.rate_old[..., k] * back) * below
    late = back**plant.ticks
    if plant.lag is None:
        return angle * late, rate * late
    e, before, now = plant.lag
    read = rate * late * (now + before * back) / (1.0 - e * back)
    return 0.5 * plant.period * (1.0 + back) / (1.0 - back) * read, read


@dataclass(frozen=True)
class ManyLoops:
    """Loops of one channel: plant number of[k] of `plant` with gains number k of `gains`."""

    plant: Plant
    gains: LawGains
    of: np.ndarray

    @cached_property
    def modes(self) -> Modes | None:
        """The plant's modes, None where it has to be solved frequency by frequency."""
        return plant_modes(self.plant)

    @property
    def channel(self) -> int:
        """The column of the channel in the law's gains."""
        return CHANNELS.index(self.plant.channels[0])

    def answer(self, frequency: np.ndarray, points=slice(None)) -> tuple[np.ndarray, np.ndarray]:
        """Return (angle, rate) of the plants per demand at frequencies (n, ...), rad/s."""
        z = np.exp(1j * frequency * self.plant.period)
        if self.modes is not None:
            return _answer(self.plant, self.modes, z, points)
        return tuple(part[..., 0, 0] for part in plant_response(self.plant, z, None if isinstance(points, slice) else points))

    def margins(self) -> dict[str, np.ndarray]:
        """Return the margins at the actuator, growth and stability of every loop, (n,) each: as `margins.margins` has them."""
        frequency = scan(Loops(self.plant, self.gains))
        plants = self.answer(np.broadcast_to(frequency, (len(self.plant.phi), len(frequency))))
        parts = [self._some(slice(a, a + MOST), frequency, plants) for a in range(0, len(self.of), MOST)]
        return {name: np.concatenate([part[name] for part in parts]) for name in parts[0]}

    def _some(self, rows: slice, frequency: np.ndarray, plants) -> dict[str, np.ndarray]:
        of, gains = self.of[rows], picked(self.gains, rows)

        def loop(w, k, angle, rate):
            by_angle, by_rate, _ = law_response(picked(gains, k), self.channel, np.exp(1j * w * self.plant.period))
            return by_angle * angle + by_rate * rate

        values = loop(np.broadcast_to(frequency, (len(of), len(frequency))), slice(None), *(part[of] for part in plants))
        found = response_margins(lambda w, k: loop(w, k, *self.answer(w, of[k])), frequency, values)
        plant = self.plant._replace(**{name: getattr(self.plant, name)[of] for name in ("phi", "new", "old", "gust", "turn")})
        growth, stable = closed_loop(plant, gains).fate(DRIFT)
        names = ("gain_margin_db", "gain_reduction_db", "phase_margin", "delay_margin", "distance")
        return {name: np.where(stable, getattr(found, name), 0.0) for name in names} | {"growth": growth, "stable": stable}


def picked(gains: LawGains, rows) -> LawGains:
    """Return the gains of some points."""
    return gains._replace(**{name: getattr(gains, name)[rows] for name in OF_POINTS})


def beside(loops: Sequence[Loops]) -> ManyLoops:
    """Return the loops of one channel of several flights, one after the other; all of one autopilot and servo delay."""
    first = loops[0]
    plant = first.plant._replace(**{name: np.concatenate([getattr(each.plant, name) for each in loops]) for name in ("phi", "new", "old", "gust", "turn")})
    return ManyLoops(plant, joined([each.gains for each in loops]), np.arange(len(plant.phi)))


def joined(gains: Sequence[LawGains]) -> LawGains:
    """Return gains that differ in nothing but their numbers at points, one after the other."""
    return gains[0]._replace(**{name: np.concatenate([getattr(each, name) for each in gains]) for name in OF_POINTS})
