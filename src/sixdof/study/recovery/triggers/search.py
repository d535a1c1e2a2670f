"""Other settings, flown: triggers put off for good, a backup at any moment of each flight, the first and the last moment that saves it.

What a canopy's or a rule's delay is drawn as is a number of the flight, so a backup can be flown at another moment in each flight without new tables
(`Probe`): with all other triggers of the same thing put off, the last moment that saves the flight is searched flight by flight.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.canopies import canopies
from sixdof.draws.quantities import known_item, things
from sixdof.draws.table import make_draws
from sixdof.ensemble.run import fly_rows
from sixdof.mission.mission import Mission
from sixdof.mission.paths import path_item
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.results.names import canopy_names
from sixdof.study.reading.result import event_values, fact
from sixdof.study.recovery.triggers.branches import Branch
from sixdof.study.recovery.triggers.outcomes import filled_after, saves
from sixdof.study.recovery.triggers.triggers import NEVER, TIMER, Action, Trigger
from sixdof.study.sweep.conditions import conditioned, drawn_values, put_values, settings_of
from sixdof.study.weathercock.drawn import without_draws
from sixdof.study.wind_limit.climb import ended_at

AFTER = 5.0  # s that a flight goes on once a canopy has filled, or a motor could have lit
ENDS_EVERY = 10.0  # s: moments at which flights are given up
FINE = 0.02  # share of the time since apogee or burnout to which a last moment is searched: a minute later a second counts little
LOOKS = 5  # moments at which a flight is looked at before the last one that saves it is searched between two of them


class Sky(NamedTuple):
    """How flights are flown: on which draws, by how many threads. load_share : of its strength that a canopy or harness may bear."""

    flights: int
    seed: int
    sampling: str
    load_share: float
    tolerance: float
    options: dict[str, Any]

    def table(self, branch: Branch, mission: Mission | None = None) -> xr.Dataset:
        """Return the draws of a branch: the same flights, with the same scatter and noise, as those of all others."""
        mission = mission or branch.mission
        draws = make_draws(mission, self.flights, seed=self.seed, sampling=self.sampling)
        return conditioned(mission, draws, settings_of(mission, branch.settings, "trigger_windows"), "trigger_windows")

    def fly(self, mission: Mission, table: xr.Dataset) -> xr.Dataset:
        """Fly a table of draws."""
        return fly_rows(mission, table, **self.options)


def per_thing(mission: Mission, table: xr.Dataset, name: str) -> np.ndarray:
    """Return what is drawn of a quantity for each of its things, (flights, things), of a single thing too."""
    return np.array(drawn_values(mission, table, name)).reshape(table.sizes["flight"], -1)


def _lay(mission: Mission, table: xr.Dataset, name: str, values: np.ndarray) -> None:
    """Lay values (flights, things) into a table of draws."""
    put_values(mission, table, name, values if len(things(mission, known_item(mission, name).each)) > 1 else values[:, 0])


def put_off(branch: Branch, triggers: Sequence[Trigger], sky: Sky, changes: dict[str, Any] | None = None) -> tuple[Mission, xr.Dataset]:
    """Return the mission and the draws of a branch with some triggers put off for good: of canopies in the mission, of rules by their drawn delays."""
    changes = {one.path: NEVER for one in triggers if one.path.startswith("recovery.")} | (changes or {})
    mission = _not_drawn(branch.mission, changes).change(changes) if changes else branch.mission
    table = sky.table(branch, mission)
    rules = [one.number for one in triggers if one.path.startswith("rule.")]
    if rules:
        late = per_thing(mission, table, "rule.delay")
        late[:, rules] += NEVER
        _lay(mission, table, "rule.delay", late)
    return mission, table


def _not_drawn(mission: Mission, paths: Iterable[str]) -> Mission:
    """Return the mission without draws of its own numbers at some paths: what is set there would be drawn over."""
    drawn = {tuple(path_item(mission, name).loc): name for name in mission.disperse if name not in DISPERSIBLE}
    names = [drawn[loc] for path in paths if (loc := tuple(path_item(mission, path).loc)) in drawn] if drawn else []
    return without_draws(mission, names) if names else mission


class Probe:
    """A backup of an action, flown at any moment of each flight, all its other triggers put off."""

    def __init__(self, branch: Branch, action: Action, sky: Sky):
        self.action, self.sky = action, sky
        self.carrier = next(one for one in action.triggers if one.how == TIMER)
        others = [one for one in action.triggers if one is not self.carrier]
        self.mission, self.draws = put_off(branch, others, sky, {self.carrier.path: 0.0})
        self._ended: dict[float, Mission] = {}

    def fly(self, rows: np.ndarray, after: np.ndarray, *, whole: bool = False) -> xr.Dataset:
        """Fly some flights (numbers) with the backup so long after the liftoff that the computer noticed, s; `whole`: to the ground, and not only until it
        is known what came of it.
        """
        table = self.draws.isel(flight=rows)
        deploys = self.action.kind == "deploy"
        name = "canopy.delay" if deploys else "rule.delay"
        column = canopy_names(self.mission).index(self.action.of) if deploys else self.carrier.number
        values = per_thing(self.mission, table, name)
        values[:, column] = np.maximum(after, 0.0)
        _lay(self.mission, table, name, values)
        return self.sky.fly(self.mission if whole else self._until(float(np.max(after))), table)

    def _until(self, after: float) -> Mission:
        """Return the mission with flights given up when it is known what came of a backup so long after liftoff; few of them, for each has tables."""
        limit = ENDS_EVERY * math.ceil((max(after, 0.0) + _shown_after(self.mission, self.action)) / ENDS_EVERY)
        if limit not in self._ended:
            self._ended[limit] = ended_at(self.mission, limit) or self.mission
        return self._ended[limit]


def _shown_after(mission: Mission, action: Action) -> float:
    """Return after what time, s, it is known whether a canopy held and was full, or whether what a separation is for came to be."""
    if action.kind == "deploy":
        part = next(one for one in canopies(mission) if one.name == action.of)
        return AFTER + part.deployment_delay + 2.0 * filled_after(part)
    return AFTER + max((rule.delay + (rule.timeout or 0.0) for rule in mission.rule if rule.action == "ignite"), default=0.0)


def can_be_probed(action: Action) -> bool:
    """Return whether there is a timer from liftoff on, whose moment can be flown flight by flight."""
    return any(one.how == TIMER for one in action.triggers)


def saving_moments(branch: Branch, action: Action, sky: Sky, start: np.ndarray, armed: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the first and the last moment of each flight at which a trigger alone saves it, s, (flights,), to within the tolerance.

    The first is searched for a canopy that is deployed by time alone. NaN where not searched; the last one -inf where not even `start` saves the flight.
    start : true moment that the action is about, (flights,); NaN for a flight that is not searched.
    """
    probe = Probe(branch, action, sky)
    began = armed[:, probe.carrier.number]
    rows = np.flatnonzero(np.isfinite(start) & np.isfinite(began))
    first, last = np.full(start.size, np.nan), np.full(start.size, np.nan)
    if not rows.size:
        return first, last
    alone = probe.fly(rows, np.full(rows.size, NEVER), whole=True)
    down = fact(alone, "body_landing_time", action.stage) if action.kind == "deploy" else event_values(alone, "apogee")
    begin = start[rows]
    down = np.where(np.isfinite(down), down, begin + 1.0)

    def good(at: np.ndarray, which: np.ndarray) -> np.ndarray:
        ds = probe.fly(rows[which], at - began[rows[which]])
        return saves(ds, action, probe.mission, sky.load_share)

    last[rows] = search_last(good, begin, down, sky.tolerance)
    if action.by_time and branch.lost != action.name:
        first[rows] = -search_last(lambda ahead, which: good(-ahead, which), -begin, -began[rows], sky.tolerance)
    return np.where(np.isfinite(first), first, np.nan), last


def search_last(good: Callable[[np.ndarray, np.ndarray], np.ndarray], begin: np.ndarray, end: np.ndarray, tolerance: float) -> np.ndarray:
    """Return the last moment from `begin` on up to which all is good, by looks at equal steps and bisection between two; -inf where `begin` is not good.

    good : (moments, numbers of flights) -> bool. begin, end : (flights,), s. What is returned was good; within the tolerance, or FINE of the time since
    `begin` where that is more, it no longer is. What is good again after it was not is not looked for.
    """
    every = np.arange(begin.size)
    low, high = begin.copy(), end.copy()
    alive = good(begin, every)
    never = ~alive
    for k in range(1, LOOKS):
        on = np.flatnonzero(alive)
        if not on.size:
            break
        at = begin[on] + (end[on] - begin[on]) * k / LOOKS
        fine = good(at, on)
        low[on[fine]], high[on[~fine]] = at[fine], at[~fine]
        alive[on[~fine]] = False
    while (on := np.flatnonzero(~never & (high - low > np.maximum(tolerance, FINE * (low - begin))))).size:
        at = 0.5 * (low[on] + high[on])
        fine = good(at, on)
        low[on[fine]], high[on[~fine]] = at[fine], at[~fine]
    return np.where(never, -np.inf, low)
