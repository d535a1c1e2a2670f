"""What `tune` finds: the sets of gains, and the margins before and after."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.loops.linear import CHANNELS
from sixdof.study.loops.margins import holds, margins, within
from sixdof.study.loops.sampled_plant import BendingMode
from sixdof.study.tuning.problem import Answer, DesignProblem

NEARLY = 0.95  # share of a bandwidth that counts as reached: gains are rounded, and flown on a flight a little different


@dataclass(frozen=True)
class Design:
    """One set of gains (p, i, d; rows) for channels that share it, with or without a booster, and what it does at every point."""

    channels: tuple[str, ...]
    booster: bool
    over: str  # "mach", "dynamic_pressure", or "" for a single row
    rows_at: np.ndarray
    gains: np.ndarray
    fastest: np.ndarray  # rad/s, what the specification allows at each point
    answer: Answer
    attained: bool

    def again(self, problem: DesignProblem) -> Design:
        """Return the design with what it does in another problem: on the flight that it makes."""
        return Design(
            self.channels, self.booster, self.over, self.rows_at, self.gains, self.fastest, problem.answer(*problem.at_points(self.gains)), self.attained
        )


@dataclass(frozen=True)
class TunedGains:
    """Gains and what they are good for.

    before : the mission as it was. mission : with the new gains. changes : for `Mission.change`. spec : what was asked. designs : the sets of
    gains. models_before, models : linear models along the nominal flights with old and new gains; drawn : along the drawn flights that were
    designed on, by number. bending : the mode that was borne in mind.
    """

    before: Mission
    mission: Mission
    changes: dict[str, Any]
    spec: Any
    designs: list[Design]
    models_before: xr.Dataset
    models: xr.Dataset
    drawn: dict[int, xr.Dataset]
    bending: BendingMode | None = None

    @cached_property
    def margins(self) -> xr.Dataset:
        """The margins with the new gains, along the flight that they make."""
        return margins(self.models, bending=self.bending)

    @cached_property
    def margins_before(self) -> xr.Dataset:
        """The margins with the old gains, along the old flight."""
        return margins(self.models_before, bending=self.bending)

    @cached_property
    def margins_drawn(self) -> dict[int, xr.Dataset]:
        """The margins with the new gains along the drawn flights that were designed on."""
        return {flight: margins(models, broken_at=("actuator",), bending=self.bending) for flight, models in self.drawn.items()}

    @property
    def met(self) -> bool:
        """Return whether gain and phase margin are as asked in the channels that were designed, wherever the incidence is small enough to judge.

        A bandwidth that was asked for counts too.
        """
        return not any(self.slow(design) for design in self.designs) and all(
            bool(self.holds(found).all()) for found in (self.margins, *self.margins_drawn.values())
        )

    def slow(self, design: Design) -> bool:
        """Return whether a design misses the bandwidth that was asked for."""
        return self.spec.bandwidth is not None and float(design.answer.speed.min()) < NEARLY * self.spec.bandwidth

    def holds(self, found: xr.Dataset) -> xr.DataArray:
        """Return where margins are as asked, bool (point, channel), the designed channels and points of small incidence alone."""
        met = holds(within(found), self.spec.gain_margin_db, math.radians(self.spec.phase_margin_deg))
        return met.sel(channel=list(self.spec.channels))

    def schedule(self) -> xr.Dataset:
        """Return the gains as a Dataset: p, i, d (row, channel) over the schedule's variable; a single row without a schedule."""
        found = {name: np.full((max(len(d.rows_at) for d in self.designs), len(CHANNELS)), np.nan) for name in "pid"}
        alone = [d for d in self.designs if not d.booster] or self.designs
        for design in alone:
            for channel in design.channels:
                for name, values in zip("pid", design.gains):
                    found[name][: len(values), CHANNELS.index(channel)] = values
        over, rows = alone[0].over, alone[0].rows_at
        units = {"p": "1", "i": "1/s", "d": "s"} if self.mission.autopilot.structure == "pid" else {"p": "1/s", "i": "1", "d": "s"}
        words = {"p": "gain p", "i": "gain i", "d": "gain d"}
        axis = {"mach": ("1", "Mach number"), "dynamic_pressure": ("Pa", "dynamic pressure")}.get(over, ("1", "the only row"))
        return xr.Dataset(
            {name: (("row", "channel"), values[: len(rows)], {"units": units[name], "long_name": words[name]}) for name, values in found.items()},
            {"row": ("row", rows, {"units": axis[0], "long_name": axis[1]}), "channel": list(CHANNELS)},
        )
