"""The model of the fit: the kernel's own flights, without noise, and what each would have logged."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.draws.drawn import drawn_mission, path_names
from sixdof.draws.packed import things
from sixdof.draws.scores import draws_from_scores, score_columns
from sixdof.mission.errors import MissionError
from sixdof.mission.mission import Mission
from sixdof.mission.paths import PathItem
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.postflight.estimation.channels import Channels, predicted
from sixdof.postflight.estimation.parameters import CLOCK, COUNTED, Parameter, values_of
from sixdof.postflight.estimation.problem import Asked
from sixdof.study.sweep.conditions import drawn_values, put_values
from sixdof.study.sweep.timelines import each_draw

# what an unknown seed draws in flight; lags, ranges and rates of the sensors stay
NOISE = {
    "gyro": ("bias", "noise", "scale", "misalignment"),
    "accelerometer": ("bias", "noise", "scale", "misalignment"),
    "barometer": ("bias", "noise"),
    "receiver": ("position_noise", "velocity_noise"),
    "magnetometer": ("bias", "noise"),
}
BEYOND = 1.2, 1.0  # a flight of the fit is followed for so many times the end of its log, and so many seconds more
RATES = 50.0, 200.0  # rows of a flight's timeline per second, as the log has them


def quiet(mission: Mission) -> Mission:
    """Return the mission as the fit flies it: without turbulence and without noise, biases and misalignments of the computer's sensors.

    Both have mean zero and a seed that nobody knows of the flight that was flown; to first order its mean is this flight, and what they did to the real one
    is in the residuals, whose size and colour say how much. Lags, ranges, rates, gusts, servos, play and failures that are certain stay.
    """
    changes: dict[str, Any] = {}
    if mission.sensors is not None:
        fitted = {name: names for name, names in NOISE.items() if getattr(mission.sensors, name) is not None}
        changes |= {f"sensors.{name}.{each}": 0.0 for name, names in fitted.items() for each in names if getattr(getattr(mission.sensors, name), each)}
    if mission.estimator.heading:
        changes["estimator.heading"] = 0.0
    if mission.air.turbulence is not None:
        changes["air.turbulence"] = None
        changes["disperse"] = {name: spread for name, spread in mission.disperse.items() if name != "turbulence.wind_at_20_ft"}
        changes["correlation"] = [group for group in mission.correlation if "turbulence.wind_at_20_ft" not in group.of]
    return mission.change(changes) if changes else mission


class Fitted(NamedTuple):
    """A mission as the fit flies it. held : one row of draws of what is not estimated, at the middle of its spread."""

    mission: Mission
    held: xr.Dataset


def fitted(mission: Mission, parameters: Sequence[Parameter], *, noisy: bool = False) -> Fitted:
    """Return a mission as the fit flies it: quiet, estimated paths open to draws, all else that is dispersed at the middle of its spread.

    noisy : with turbulence and the errors of the computer's sensors instead, another one for each number of a flight.
    """
    calm = mission if noisy else quiet(mission)
    middle = draws_from_scores(calm, np.zeros((1, len(score_columns(calm)))), np.zeros(1, dtype=int))
    asked = {one.name: one for one in parameters if isinstance(one.item, PathItem)}
    paths = path_names(calm)
    if paths:
        calm = drawn_mission(calm, [np.nan if name in asked else float(middle[name].values[0]) for name in paths])
    spreads = {name: {"kind": "normal", "mean": one.mean, "sd": one.scale} for name, one in asked.items()}
    calm = calm.change({"disperse": spreads, "correlation": []})
    return Fitted(calm, middle[[name for name in middle.data_vars if name in DISPERSIBLE and name not in COUNTED]])


def ending(own: Fitted, end: float) -> Fitted:
    """Return a mission whose flights end soon after the log (s since liftoff), where its rules allow an early end."""
    limit = BEYOND[0] * end + BEYOND[1]
    if limit >= own.mission.solver.time_limit:
        return own
    try:
        return own._replace(mission=own.mission.change({"solver.time_limit": limit}))
    except MissionError:
        return own


def rate_of(mission: Mission, log: xr.Dataset) -> float:
    """Return the rows per second of the timelines that a log is compared with."""
    wanted = 1.0 / float(np.median(np.diff(log["time"].values))) if log.sizes["time"] > 1 else RATES[0]
    return float(np.clip(max(wanted, mission.record.rate), *RATES))


def table_of(own: Fitted, parameters: Sequence[Parameter], log: str, points: Sequence[np.ndarray]) -> xr.Dataset:
    """Return the table of draws of some flights of one log, a row for each z (all parameters, those of other logs left out)."""
    count, mission = len(points), own.mission
    values = np.array([values_of(parameters, z) for z in points])
    table = own.held.isel(flight=np.zeros(count, dtype=int)).assign_coords(flight=np.arange(count)).assign_attrs(seed="0")
    table = table.copy(deep=True)
    for k, one in enumerate(parameters):
        if one.log not in ("", log) or one.name == CLOCK.name:
            continue
        base = drawn_values(mission, table, one.name).copy()
        if base.ndim == 1:
            base[:] = values[:, k]
        elif one.thing:
            base[:, [str(each) for each in things(mission, one.item.each)].index(one.thing)] = values[:, k]
        else:
            base[:] = values[:, k][:, None]
        put_values(mission, table, one.name, base)
    return table


def clock_at(parameters: Sequence[Parameter], log: str, z: np.ndarray) -> float:
    """Return what is added to a log's times at a point, s."""
    values = values_of(parameters, z)
    return float(sum(values[k] for k, one in enumerate(parameters) if one.name == CLOCK.name and one.log in ("", log)))


class Flights:
    """A `Model` whose answers are flown: called with questions it flies all of them at once, in threads."""

    def __init__(self, missions: Sequence[Fitted], parameters: Sequence[Parameter], logs: Sequence[str], channels: Sequence[Channels], threads: int | None):
        """Take the mission and the columns of each log, in the order of the logs' names."""
        self.noisy: list[Fitted | None] = [None] * len(missions)
        self.scales: list[np.ndarray] = [np.ones_like(one.values) for one in channels]
        self.missions, self.parameters, self.logs, self.channels, self.threads = missions, parameters, logs, channels, threads
        self.flown = 0

    def __call__(self, asked: Sequence[Asked]) -> list[np.ndarray]:
        """Return what the flights of the questions say in place of the logs."""
        return self.each(asked, self._read)

    def _read(self, number: int, flight: xr.Dataset, late: float) -> np.ndarray:
        """Return what a flight says in place of a log, as the fit weighs its rows: over `scales`, each (rows, channels)."""
        return predicted(flight, self.channels[number], late) / self.scales[number]

    def each(self, asked: Sequence[Asked], function) -> list:
        """Return what function(number of the log, flight, what its clock is late, s) makes of each flight."""
        return self._flown(self.missions, asked, function)

    def with_noise(self, z: np.ndarray, count: int) -> list[list[np.ndarray]]:
        """Return what flights with noise say in place of each log, `count` of each at one point; none where the mission has no noise to fly."""
        logs = [number for number, own in enumerate(self.noisy) if own is not None]
        answers = self._flown(self.noisy, [(number, z) for number in logs for _ in range(count)], self._read)
        return [answers[logs.index(number) * count :][:count] if number in logs else [] for number in range(len(self.noisy))]

    def _flown(self, missions: Sequence[Fitted | None], asked: Sequence[Asked], function) -> list:
        answers: list[Any] = [None] * len(asked)
        for number, own in enumerate(missions):
            rows = [row for row, (which, _) in enumerate(asked) if which == number]
            if not rows or own is None:
                continue
            table = table_of(own, self.parameters, self.logs[number], [asked[row][1] for row in rows])
            rate = rate_of(own.mission, self.channels[number].log)
            late = [clock_at(self.parameters, self.logs[number], asked[row][1]) for row in rows]

            def read(flight, number=number, late=late):
                return function(number, flight, late[int(flight["flight"])])

            found = each_draw(own.mission, table, read, rate=rate, threads=self.threads)
            self.flown += len(rows)
            for row, one in zip(rows, found, strict=True):
                answers[row] = one
        return answers
