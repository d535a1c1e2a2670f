"""What is read of every drawn flight: a log's channels at its instants, with its noise and its clock's error, and how the flight was going there."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.postflight.compare.channels import LEAST_REST, REST_ENDS, Channel, channels_of, curves_of, noise_of
from sixdof.postflight.compare.expected import expected
from sixdof.postflight.compare.instants import measured, thinned
from sixdof.postflight.compare.scalars import scalars_of
from sixdof.postflight.logs.readings import tilt_of

READ = 4000  # rows of a log of each rate that are read; single numbers are made of these
GOING = ("mach", "incidence", "airspeed", "phase", "guidance_mode")  # what instants are told apart by


class Read(NamedTuple):
    """One flight, or the log itself, at the log's instants."""

    curves: np.ndarray  # (channels, instants)
    going: dict[str, np.ndarray]  # by name, (instants,)
    burning: np.ndarray  # (instants,) number of the motor that burns, from 1 in the order of burning; 0: none
    scalars: dict[str, float]


class Reader:
    """Reads flights as a log would have been written in them."""

    def __init__(self, name: str, log: xr.Dataset, mission: Mission, like: xr.Dataset, points: int, climb_end: float, clock_error: float, seed: int):
        """like : any one of the flights, which tells what is known of the log's stage. Raises ValueError where the two have nothing in common."""
        self.name, self.stage = name, str(log.attrs.get("stage", ""))
        time = np.asarray(log["time"].values, dtype=float)
        self.channels: list[Channel] = channels_of(log, expected(like, log.isel(time=slice(0, 1))), name)
        patterns = [measured(log[one]) for one in dict.fromkeys(channel.variable for channel in self.channels)]
        self.rows = thinned(time, patterns, READ, climb_end) if self.channels else np.empty(0, dtype=int)
        if not self.rows.size:
            raise ValueError(f"compare_log: {_called(name)} holds nothing after liftoff that a flight of this mission has too; it holds {_held(log)}")
        some = np.union1d(thinned(time, patterns, points, climb_end), self.rows[:1])
        self.rows = np.union1d(self.rows, some)
        self.chosen = np.searchsorted(self.rows, some)
        self.noise, self.noise_from = noise_of(log, self.channels)
        self.motors = motors_of(mission, self.stage)
        self.time = time[self.rows][self.chosen]
        self._log = log.isel(time=self.rows)
        self._asked = _with_going(self._log)
        self._climb_end, self._clock_error, self._seed = climb_end, clock_error, seed
        self._raised = _raised(log, like, self.channels)

    @property
    def clock_error(self) -> float:
        """Return the standard deviation of the log's liftoff, s."""
        return self._clock_error

    def of_log(self) -> Read:
        """Return the log itself; of how the flight was going, what it knows."""
        curves = curves_of(self._log, self.channels) + self._raised[:, None]
        going = {name: np.asarray(self._log[name].values, dtype=float)[self.chosen] for name in GOING if name in self._log and self._log[name].ndim == 1}
        phase = np.asarray(self._log["phase"].values, dtype=float) if "phase" in self._log else None
        return Read(curves[:, self.chosen], going, np.zeros(self.chosen.size, dtype=int), self._scalars(self._log["time"].values, curves, phase))

    def of_flight(self, flight: xr.Dataset) -> Read:
        """Return what the log would be, had it been made in this flight: with noise, and liftoff found early or late, of numbers of the flight's own."""
        stream = np.random.default_rng([self._seed, int(flight["flight"]) if "flight" in flight.coords else 0, len(self.name)])
        late = self._clock_error * stream.standard_normal()
        time = self._log["time"].values
        found = expected(_as_computed(flight, self._log), self._asked.assign_coords(time=time + late))
        curves = curves_of(found, self.channels)
        curves += self.noise[:, None] * stream.standard_normal(curves.shape)
        curves[~np.isfinite(curves_of(self._log, self.channels))] = np.nan
        going = {name: found[name].values[self.chosen] for name in GOING if name in found}
        phase = found["phase"].values if "phase" in self._log and "phase" in found else None
        return Read(curves[:, self.chosen], going, self._burning(flight), self._scalars(time, curves, phase))

    def _scalars(self, time: np.ndarray, curves: np.ndarray, phase: np.ndarray | None) -> dict[str, float]:
        named = {f"{one.variable}[{one.part}]" if one.part else one.variable: curve for one, curve in zip(self.channels, curves, strict=True)}
        found = scalars_of(time, named, self.motors, self._climb_end, phase)
        return {f"{self.name}: {key}" if self.name else key: value for key, value in found.items()}

    def _burning(self, flight: xr.Dataset) -> np.ndarray:
        """Return which motor burns at the instants, 0 for none."""
        out = np.zeros(self.time.size, dtype=int)
        for number, (begin, end) in enumerate(burns_of(flight, self.stage, self.motors), start=1):
            out[(self.time >= begin) & (self.time < end)] = number
        return out


def _raised(log: xr.Dataset, like: xr.Dataset, channels: list[Channel]) -> np.ndarray:
    """Return what lifts each channel of a log, (channels,): a height counts from where the sensor stood before liftoff, a flight's from the ground."""
    out, time = np.zeros(len(channels)), log["time"].values
    for k, one in enumerate(channels):
        if one.variable == "height":
            rest = np.asarray(log["height"].values, dtype=float)[time < REST_ENDS]
            rest = rest[np.isfinite(rest)]
            out[k] = float(like["height"].values[0] - rest.mean()) if rest.size >= LEAST_REST else 0.0
    return out


def motors_of(mission: Mission, stage: str) -> list[str]:
    """Return the stages whose motors a log's stage feels, in the order of burning: those behind it that burn while they are joined, then its own."""
    names = [one.name for one in mission.stage]
    first = names.index(stage) if stage in names else 0
    return names[first:][::-1]


def burns_of(flight: xr.Dataset, stage: str, motors: list[str]) -> list[tuple[float, float]]:
    """Return (begin, end) of every burn that a log's stage feels, s since liftoff, in the order of `motors`; NaN where there is none."""
    bodies, events = [str(name) for name in flight["body"].values], [str(name) for name in flight["event"].values]
    times = flight["event_time"].values[bodies.index(stage) if stage in bodies else 0]
    liftoff = float(flight["event_time"].values[0, events.index("liftoff")])

    def at(event: str) -> float:
        return float(times[events.index(event)]) - liftoff if event in events else np.nan

    return [(0.0, at("burnout")), *((at(f"ignition {motor}"), at(f"burnout {motor}")) for motor in motors[1:])]


def _as_computed(flight: xr.Dataset, log: xr.Dataset) -> xr.Dataset:
    """Return a flight with the attitude that its computer estimated, where the log's was estimated too: both drift as their gyros do."""
    computed = [name for name in ("attitude", "tilt") if name in log and log[name].attrs.get("source") == "computer"]
    if not computed or "estimated_attitude" not in flight:
        return flight
    estimate = flight["estimated_attitude"]
    made = {"attitude": (estimate.dims, estimate.values), "tilt": (("time",), tilt_of(estimate.values))}
    return flight.assign({name: (*made[name], flight[name].attrs) for name in computed})


def _with_going(log: xr.Dataset) -> xr.Dataset:
    """Return a log with room for all that instants are told apart by."""
    blank = np.full(log.sizes["time"], np.nan)
    return log.assign({name: ("time", blank) for name in GOING if name not in log or log[name].ndim != 1})


def _called(name: str) -> str:
    return f"the log {name!r}" if name else "the log"


def _held(log: xr.Dataset) -> str:
    return ", ".join(str(name) for name in log.data_vars) or "no variable at all"
