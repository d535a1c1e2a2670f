"""One attitude loop and the servo's play, dead band and resolution in it: the limit cycles that describing functions predict."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.servo import servo_table
from sixdof.mission.units import shown
from sixdof.study.loops import describing
from sixdof.study.loops.blocks import response
from sixdof.study.loops.frozen import fin_groups
from sixdof.study.loops.linear import CHANNELS, check_point
from sixdof.study.loops.loop import broken, flown_mission, loops_of
from sixdof.study.reading.result import need_table

IMPERFECTIONS = ("backlash", "dead_band", "resolution")
TOGETHER = "all"  # the servo as the mission has it
SLOWEST = 0.2  # Hz: the flight itself changes in the time of a slower cycle, and a frozen model says nothing of it
OF_NYQUIST = 0.8  # of half the sampling frequency: above, a sampled sine has a handful of points and no describing function
FINE = 300  # frequencies of the grid on which the loop is given
SIZES, LEAST = 80, 1e-3  # amplitudes of the grid, and the least of them, in sizes of the imperfection
ROUNDS = 8  # in which the servo's gain at a cycle's own frequency is found


class Cycle(NamedTuple):
    """A limit cycle of an attitude loop; amplitudes are those of first harmonics, rad and rad/s, the frequency is in Hz.

    amplitude : of the imperfection's input, the motor's angle for backlash and the law's demand for the others; NaN if simulated.
    stable : predicted: by Loeb's criterion; simulated: whether it settled in the time that was flown. between : predicted: the cycle is
    centred between two levels of the command, not on one.
    """

    amplitude: float
    fin_amplitude: float
    attitude_amplitude: float
    rate_amplitude: float
    frequency: float
    stable: bool
    between: bool = False


class Case:
    """One channel's loop at one point, and the imperfections of its servo."""

    def __init__(self, models: xr.Dataset, point: int, channel: str, gains, who: str):
        need_table(models, who, "loops.linearise", "state_matrix", "input_matrix", "sensed_pressure")
        check_point(models, point, who)
        if not isinstance(channel, str) or channel not in CHANNELS:
            raise ValueError(f'{who}: channel = {shown(channel)} must be "roll", "pitch" or "yaw": a limit cycle is that of one loop')
        self.models, self.point, self.channel, self.who = models, point, channel, who
        self.mission = flown_mission(models, gains, who)
        self.servo = servo_table(self.mission)
        self.share, self.weight = fin_groups(models, self.mission, point, channel, who)
        self.loops = loops_of(models.isel(point=[point]), self.mission, channel)
        own = [name for name in IMPERFECTIONS if self.size(name) > 0.0]
        self.names = [*own, TOGETHER] if len(own) > 1 else own

    def size(self, name: str) -> float:
        """Return the size of an imperfection, rad; of all together the largest."""
        return max(self.size(each) for each in IMPERFECTIONS) if name == TOGETHER else getattr(self.servo, name)

    def frequency(self) -> np.ndarray:
        """Return the frequencies (rad/s) on which the loop is given."""
        return np.geomspace(2.0 * math.pi * SLOWEST, OF_NYQUIST * self.loops.nyquist, FINE)

    def response(self, frequency: np.ndarray) -> np.ndarray:
        """Return the loop broken at the demand, without imperfections, at frequencies (k,) rad/s."""
        return broken(self.loops.parts(frequency[None]), "actuator")[0]

    def element(self, name: str, between: bool = False, gain: float = 1.0) -> Callable[[np.ndarray], np.ndarray]:
        """Return N(A) of an imperfection over all fins, A in demands.

        between : the command's cycle is centred between two levels. gain : command to motor, where all imperfections are together.
        """
        dead_band, resolution, play = (self.size(each) if name in (each, TOGETHER) else 0.0 for each in ("dead_band", "resolution", "backlash"))

        def n(amplitude):
            out = np.zeros(amplitude.shape, dtype=complex)
            for share, weight in zip(self.share, self.weight):
                taken = command_steps(share * amplitude, dead_band, resolution, between)
                out += share * weight * taken * describing.backlash(gain * np.abs(taken) * share * amplitude, play)
            return out

        return n

    def per_demand(self, frequency: float) -> tuple[float, float, float]:
        """Return the amplitudes of motor, attitude (rad) and rate (rad/s) per that of the demand, without imperfections."""
        plant, z = self.loops.plant, self.loops.z(np.array([frequency]))
        seen = plant.vehicle.only(plant.signals("command", "command_before"), plant.signals("fin", "angle", "rate"))
        new, old = response(seen, z)[:, :, 0].T
        return tuple(np.abs(new + old / z).tolist())

    def centres(self, name: str) -> tuple[bool, ...]:
        """Return where a cycle may be centred: on a level of the command (False), between two (True)."""
        return (False,) if name == "backlash" or not max(self.servo.dead_band, self.servo.resolution) else (False, True)

    def amplitudes(self, name: str, count: int = SIZES) -> np.ndarray:
        """Return the amplitudes of an imperfection's input that are looked at, up to the fins' travel; (count,) in demands."""
        least = LEAST * min(self.size(each) for each in IMPERFECTIONS if self.size(each) > 0.0 and name in (each, TOGETHER))
        return np.geomspace(least, max(self.servo.travel / self.share[-1], 1e3 * least), count)

    def predicted(self, name: str) -> list[Cycle]:
        """Return the predicted cycles of an imperfection, smallest first; those centred between levels of the command come last."""
        return [each for between in self.centres(name) for each in self._solved(name, between)]

    def _solved(self, name: str, between: bool) -> list[Cycle]:
        grid = self.frequency()
        response = self.response(grid)
        found, gain = [], 1.0
        for _ in range(ROUNDS):
            element = self.element(name, between, gain)
            cycles = describing.harmonic_balance(response, grid, element, self.amplitudes(name))
            found = [self._cycle(name, each, element, between) for each in cycles]
            chief = largest(found)
            if name != TOGETHER or chief is None:
                break
            last, gain = gain, self.per_demand(2.0 * math.pi * chief.frequency)[0]
            if abs(gain - last) < 1e-4:
                break
        return found

    def _cycle(self, name: str, found: describing.LimitCycle, element: Callable, between: bool) -> Cycle:
        motor, angle, rate = self.per_demand(found.frequency)
        behind = abs(complex(element(np.array([found.amplitude]))[0])) * found.amplitude
        fin = behind if name == "backlash" else behind * motor
        return Cycle(found.amplitude, fin, fin * angle / motor, fin * rate / motor, found.frequency / (2.0 * math.pi), found.stable, between)


def command_steps(amplitude: np.ndarray, dead_band: float, resolution: float, between: bool = False) -> np.ndarray:
    """Return N (complex) of what `core.actuator.issue` does to a slow sine: rounding, then a dead band against the last one taken.

    Commands taken are levels with the step D, the least multiple of the resolution r above the dead band; the n-th is left upwards at
    D - r/2 from it, and taken again r/2 from it. Every such pair of levels is a relay with hysteresis, as in
    `describing.command_dead_band`, and `describing.quantiser` and that are the two ends. between : the sine is centred between two
    levels instead of on one, where it settles if the mean command that the vehicle needs lies there. amplitude (k,), rad.
    """
    a = np.asarray(amplitude, dtype=float)
    if dead_band <= 0.0 and resolution <= 0.0:
        return np.ones(a.shape, dtype=complex)
    step = dead_band if resolution <= 0.0 else (math.floor(dead_band / resolution + 1e-9) + 1.0) * resolution
    half = 0.5 * (step - resolution)
    out = np.zeros(a.shape, dtype=complex)
    for k, size in enumerate(a):
        if size > describing.MOST_STEPS * step:
            out[k] = 1.0
            continue
        first = 0.0 if between else 0.5
        middle = (np.arange(max(math.floor((size - half) / step - first) + 1, 0)) + first) * step
        up, down = (middle + half) / size, (middle - half) / size
        pairs = np.where(middle > 0.0, 2.0, 1.0)  # what is not in the middle is there on both sides
        heights = np.sqrt(np.maximum(1.0 - up * up, 0.0)) + np.sqrt(np.maximum(1.0 - down * down, 0.0))
        out[k] = step / (math.pi * size) * (pairs * (heights - 1j * (up - down))).sum()
    return out


def largest(cycles: Sequence[Cycle]) -> Cycle | None:
    """Return the largest stable cycle, None if there is none that is stable."""
    return max((each for each in cycles if each.stable), key=lambda each: each.fin_amplitude, default=None)
