"""Flights whose canopy comes out at a chosen time about each flight's true apogee: the same draws and the same noise as the mission's own."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.draws.quantities import attributes_of, coordinate, dims_of, known_item, things
from sixdof.draws.table import make_draws
from sixdof.ensemble.run import fly_rows
from sixdof.mission.mission import Mission
from sixdof.mission.paths import path_item
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.reading.result import event_values, meaningful
from sixdof.study.weathercock.drawn import without_draws
from sixdof.study.wind_limit.climb import ended_at

NEVER = 1e5  # s of a delay, m of a height: a trigger that waits for it never fires
UNBREAKABLE = 1e9  # N
DELAY = "canopy.delay"
AFTER = 8.0  # s that a flight goes on once the canopy has filled: a slow opening pulls most as the fall settles
SLOWEST = 2.0  # times its filling time: spreads of it are within
OF_CANOPY = ("no_deployment", "canopy_lost", "harness_breaks")


def tell(progress: bool, text: str) -> None:
    """Say what is flown next, where progress is wanted."""
    if progress:
        print(f"sixdof: {text}", file=sys.stderr)


def carriers(mission: Mission) -> dict[str, int]:
    """Return the number of the stage that carries each canopy, by its name."""
    return {part.name: k for k, stage in enumerate(mission.stage) for part in stage.part if part.kind == "parachute"}


def part_place(mission: Mission, canopy: str) -> str:
    """Return the path of a canopy's part in the mission: "stage.0.part.7"."""
    stage = carriers(mission)[canopy]
    number = next(k for k, part in enumerate(mission.stage[stage].part) if part.kind == "parachute" and part.name == canopy)
    return f"stage.{stage}.part.{number}"


def load_share_of(value: float | str, who: str) -> float:
    """Return the share of a strength that loads are to stay below. Raises ValueError, naming `who`, for anything else."""
    try:
        found = parse(value, "1")
    except QuantityError as error:
        raise ValueError(f"{who}: load_share: {error}") from None
    if not 0.0 < found <= 1.0:
        raise ValueError(f'{who}: load_share = {shown(value)} must be above 0 and at most 1; write, for example, "50 %"')
    return found


def unbreakable(mission: Mission, canopies: Sequence[str]) -> Mission:
    """Return the mission with canopies, and their harnesses, that hold whatever load comes: loads beyond the strength are flown, not cut off there.

    Failures by which they break by themselves are drawn no more; all else is drawn as before.
    """
    places = {canopy: part_place(mission, canopy) for canopy in canopies}
    stronger = {f"{place}.strength": UNBREAKABLE for place in places.values()}
    stronger |= {f"harness.{k}.strength": UNBREAKABLE for k, harness in enumerate(mission.harness) if harness.canopy in canopies}
    whole = {f"failure.{k}.probability": 0.0 for k, one in enumerate(mission.failure) if one.of in canopies and one.kind in OF_CANOPY[1:]}
    return _without_paths(mission, {tuple(_loc(name)) for name in stronger}).change(stronger | whole)


def on_timer(mission: Mission, canopy: str) -> Mission:
    """Return the mission with a canopy that a timer from liftoff deploys and nothing else; its draw of `canopy.delay` is the timer's time.

    Its own triggers stay, and wait for what never comes: taking one away could move the draws of others.
    """
    changes: dict[str, Any] = {}
    for k, one in enumerate(mission.recovery):
        if one.canopy == canopy:
            changes |= {f"recovery.{k}.delay": NEVER, f"recovery.{k}.backup_time": None, f"recovery.{k}.motor_delay": None}
    for k, rule in enumerate(mission.rule):
        if rule.action == "deploy" and rule.target == canopy:
            changes |= {f"rule.{k}.height_above": NEVER, f"rule.{k}.height_below": None}
    changes |= {f"failure.{k}.probability": 0.0 for k, one in enumerate(mission.failure) if one.of == canopy and one.kind == OF_CANOPY[0]}
    own = _without_paths(mission, {tuple(_loc(name)) for name in changes})
    return (own.change(changes) if changes else own).add("recovery", {"canopy": canopy, "when": "liftoff"})


def timer_name(canopy: str) -> str:
    """Return what the timer of `on_timer` is called among the rules."""
    return f"deploy {canopy}: liftoff"


def _loc(path: str) -> list[Any]:
    return [int(step) if step.isdecimal() else step for step in path.split(".")]


def _without_paths(mission: Mission, places: set[tuple]) -> Mission:
    """Return the mission without draws of its own numbers at some places: what is set there would be drawn over."""
    paths = [name for name in mission.disperse if name not in DISPERSIBLE]
    return without_draws(mission, [name for name in paths if tuple(path_item(mission, name).loc) in places])


def with_delays(mission: Mission, table: xr.Dataset, canopy: str, delays: np.ndarray) -> xr.Dataset:
    """Return a table of draws in which one canopy's delay is `delays` (flights,), s, and those of the others are as they were."""
    item = known_item(mission, DELAY)
    names = [str(name) for name in things(mission, item.each)]
    dims = dims_of(item, names)
    values = np.zeros((table.sizes["flight"], len(names)))
    if DELAY in table:
        values = table[DELAY].transpose(*dims).values.reshape(values.shape).copy()
    values[:, names.index(canopy)] = delays
    table = table.copy()
    if len(dims) == 2:
        table.coords[item.each] = coordinate(item.each, names)
    table[DELAY] = (dims, values if len(dims) == 2 else values[:, 0], attributes_of(item))
    return table


class TimedFlights:
    """Flies a canopy at offsets about each flight's true apogee, that of the same flight in which this canopy never comes out.

    mission : of unbreakable canopies. table : its draws. how : threads, progress and laws, as `fly_rows` takes them.
    """

    def __init__(self, mission: Mission, canopy: str, flights: int, seed: int, **how: Any) -> None:
        self.canopy, self.how = canopy, how
        self.mission = on_timer(mission, canopy)
        self.table = make_draws(self.mission, flights, seed=seed)
        self.stage = carriers(mission)[canopy]
        first = fly_rows(self.mission, with_delays(self.mission, self.table, canopy, np.full(flights, NEVER)), **how)
        armed = np.asarray(first["rule_armed"].sel(rule=timer_name(canopy)).values, dtype=float)
        self.armed = np.where(meaningful(first), armed, np.nan)
        self.apogee = np.where(meaningful(first), event_values(first, "apogee", body=self.stage), np.nan)

    def fly(self, offsets: np.ndarray) -> xr.Dataset:
        """Return the flights (offset, flight) deployed at each offset, s; where that is before its liftoff it is not deployed."""
        delays = self.apogee + offsets[:, None] - self.armed  # (offsets, flights)
        known = np.where(delays >= 0.0, delays, NEVER)
        count = offsets.size
        rows = np.repeat(np.arange(self.apogee.size), count)  # flight by flight: tables of what is dispersed by path are made once for each
        table = with_delays(self.mission, self.table.isel(flight=rows), self.canopy, known.T.ravel())
        ds = fly_rows(self._short(offsets), table, **self.how)
        order = np.arange(rows.size).reshape(-1, count)
        return ds.isel(flight=order.T.ravel())

    def _short(self, offsets: np.ndarray) -> Mission:
        """Return the mission with flights given up once the canopy has filled and the fall has settled."""
        place = part_place(self.mission, self.canopy)
        part = self.mission.stage[self.stage].part[int(place.rpartition(".")[2])]
        opening = part.deployment_delay + SLOWEST * part.fill_time + (part.reefing_time + SLOWEST * part.fill_time if part.reefing_ratio is not None else 0.0)
        if not np.isfinite(self.apogee).any():
            return self.mission
        return ended_at(self.mission, float(np.nanmax(self.apogee) + offsets.max() + opening + AFTER)) or self.mission
