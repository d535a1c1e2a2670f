"""Flights of one branch as triggers see them: when each fires or would fire, what came of it, until when a backup still saves the flight.

A timer that comes after another trigger has acted is fired by the flight computer all the same, until the body is down; what fires later than that, or in
the quiet descent between two looks, is told by what it counts from and its delay: `due`.

What a canopy's or a rule's delay is drawn as is a number of the flight, so a backup can be flown at another moment in each flight without new tables
(`Probe`): with all other triggers of the same thing put off, the last moment that saves the flight is searched flight by flight.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.draws.quantities import known_item, things
from sixdof.draws.table import make_draws
from sixdof.ensemble.run import fly_rows
from sixdof.mission.mission import Mission
from sixdof.mission.paths import path_item
from sixdof.mission.tables import Parachute
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.results.names import canopy_names, rule_names
from sixdof.study.landing.flights import leaving
from sixdof.study.reading.result import event_values, fact
from sixdof.study.recovery.triggers.branches import Branch
from sixdof.study.recovery.triggers.triggers import NEVER, TIMER, Action, Trigger, reference_of
from sixdof.study.sweep.conditions import conditioned, drawn_values, put_values, settings_of
from sixdof.study.weathercock.drawn import without_draws
from sixdof.study.wind_limit.climb import ended_at

FULL_ABOVE = 30.0  # m above ground at which a canopy must be full (ours)
AFTER = 5.0  # s that a flight goes on once a canopy has filled, or a motor could have lit
ENDS_EVERY = 10.0  # s: moments at which flights are given up
FINE = 0.02  # share of the time since apogee or burnout to which a last moment is searched: a minute later a second counts little
LOOKS = 5  # moments at which a flight is looked at before the last one that saves it is searched between two of them
OUTCOMES = ("nothing", "primary", "late_primary", "backup", "beats", "misses", "in_vain")
NOTHING, PRIMARY, LATE_PRIMARY, BACKUP, BEATS, MISSES, IN_VAIN = range(len(OUTCOMES))


class Flown(NamedTuple):
    """One branch, flown. Arrays have a row for every flight that was asked for; NaN, or NOTHING, where one did not leave the rail.

    left : whether it left the rail. due, fired, acted : (flights, rules). primary : (flights, actions), when the trigger that others back up fires or would
    without them, NaN where it does not. reference, outcome, gap, opened, airspeed : (flights, actions): true moment, of OUTCOMES, smallest gap
    between two triggers, height (m) and airspeed (m/s) at deployment; full, the least height at which the canopy is, m. first, latest : (flights, actions), first and last moment that saves it, s; NaN where
    not searched, latest -inf where none does.
    """

    left: np.ndarray
    due: np.ndarray
    fired: np.ndarray
    acted: np.ndarray
    armed: np.ndarray
    drawn: np.ndarray
    primary: np.ndarray
    reference: np.ndarray
    outcome: np.ndarray
    gap: np.ndarray
    height: np.ndarray
    airspeed: np.ndarray
    broke: np.ndarray
    full: np.ndarray
    first: np.ndarray
    latest: np.ndarray


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


def fly_branch(branch: Branch, actions: Sequence[Action], sky: Sky, searched: Sequence[str]) -> Flown:
    """Fly one branch: as set, again without backups where one came first, and the last moments of the actions named `searched`."""
    mission, table = put_off(branch, [action.first for action in actions if action.name == branch.lost], sky)
    ds = sky.fly(mission, table)
    left = np.isin(np.arange(ds.sizes["flight"]), leaving(ds))
    rules = range(len(rule_names(mission)))
    armed, fired = (np.stack([fact(ds, f"rule_{what}", r) for r in rules], axis=1) for what in ("armed", "fired"))
    acted = np.stack([fact(ds, "rule_acted", r) for r in rules], axis=1) > 0.5
    drawn = drawn_delays(mission, table)
    settings = np.full(len(rules), np.nan)
    for one in (one for action in actions for one in action.triggers):
        settings[one.number] = one.setting
    due = np.where(np.isfinite(fired), fired, armed + settings + drawn)
    due[due >= NEVER] = np.nan  # put off for good
    primary = _primary_times(branch, actions, sky, ds, fired, acted)
    shape = (ds.sizes["flight"], len(actions))
    outcome, (gap, first, latest) = np.zeros(shape, dtype=np.int8), (np.full(shape, np.nan) for _ in range(3))
    reference = np.stack([reference_of(action, ds, mission) for action in actions], axis=1)
    height, airspeed = (np.stack([_at_action(ds, action, name) for action in actions], axis=1) for name in ("height", "airspeed"))
    broke = np.stack([breaks(ds, action, mission, sky.load_share) for action in actions], axis=1)
    full = np.stack([full_height(ds, action, mission) for action in actions], axis=1)
    for k, action in enumerate(actions):
        good = saves(ds, action, mission, sky.load_share)
        outcome[:, k] = np.where(left, _outcome(action, branch.fails(action), acted, primary[:, k], good, _came(ds, action)), NOTHING)
        gap[:, k] = smallest_gap(np.stack([due[:, one.number] for one in action.triggers if math.isfinite(one.setting)] or [np.full(shape[0], np.nan)], axis=1))
        if action.name in searched and left.any():
            first[:, k], latest[:, k] = saving_moments(branch, action, sky, np.where(left, reference[:, k], np.nan), armed)
    return Flown(left, due, fired, acted, armed, drawn, primary, reference, outcome, gap, height, airspeed, broke, full, first, latest)


def drawn_delays(mission: Mission, table: xr.Dataset) -> np.ndarray:
    """Return what is drawn on top of each trigger's delay, s, (flights, rules): of a canopy's triggers the same for all."""
    names, canopy = rule_names(mission), canopy_names(mission)
    found = np.zeros((table.sizes["flight"], len(names)))
    count = len(mission.rule)
    if count:
        found[:, :count] = per_thing(mission, table, "rule.delay")
    if canopy and mission.recovery:
        own = per_thing(mission, table, "canopy.delay")
        number = count
        for entry in mission.recovery:
            many = 1 + (entry.backup_time is not None) + (entry.motor_delay is not None)
            found[:, number : number + many] = own[:, [canopy.index(entry.canopy)]]
            number += many
    return found


def per_thing(mission: Mission, table: xr.Dataset, name: str) -> np.ndarray:
    """Return what is drawn of a quantity for each of its things, (flights, things), of a single thing too."""
    return np.array(drawn_values(mission, table, name)).reshape(table.sizes["flight"], -1)


def _lay(mission: Mission, table: xr.Dataset, name: str, values: np.ndarray) -> None:
    """Lay values (flights, things) into a table of draws."""
    put_values(mission, table, name, values if len(things(mission, known_item(mission, name).each)) > 1 else values[:, 0])


def smallest_gap(times: np.ndarray) -> np.ndarray:
    """Return the smallest gap between any two of times (flights, triggers), s; NaN where fewer than two are known."""
    if times.shape[1] < 2:
        return np.full(times.shape[0], np.nan)
    ordered = np.sort(np.where(np.isfinite(times), times, np.inf), axis=1)  # unknown ones last
    with np.errstate(invalid="ignore"):
        gaps = np.diff(ordered, axis=1)
    least = np.min(np.where(np.isfinite(gaps), gaps, np.inf), axis=1)
    return np.where(np.isfinite(least), least, np.nan)


# ---------------------------------------------------------------- what came of it


def _at_action(ds: xr.Dataset, action: Action, name: str) -> np.ndarray:
    """Return height or airspeed at deployment, separation or ignition, (flights,)."""
    event = {"deploy": f"deployment {action.of}", "separate": f"separation {action.of}", "ignite": f"ignition {action.of}"}[action.kind]
    return event_values(ds, event, name, body=action.stage if action.kind == "deploy" else 0)


def _came(ds: xr.Dataset, action: Action) -> np.ndarray:
    """Return whether what was commanded came to be: the canopy out, the joint apart, the motor lit."""
    return np.isfinite(_at_action(ds, action, "height"))


def saves(ds: xr.Dataset, action: Action, mission: Mission, load_share: float) -> np.ndarray:
    """Return whether an action came out well, bool (flights,).

    A canopy: its lines stretch, nothing of its stage breaks by load, it is full FULL_ABOVE the ground, and no canopy that a height deploys comes before it.
    A joint: it separates while the stack climbs, the pieces do not touch again, and every stage ahead that is to light does. An ignition: it happens, and
    on the way up.
    """
    if action.kind == "deploy":
        return _opens(ds, action, mission) & ~breaks(ds, action, mission, load_share)
    climbs = _at_action(ds, action, "velocity_up") > 0.0
    if action.kind == "ignite":
        return climbs
    apart = climbs & ~(fact(ds, "recontact", action.stage - 1) > 0.5)
    for rule in mission.rule:
        if rule.action == "ignite" and (of := rule.target) and [stage.name for stage in mission.stage].index(of) < action.stage:
            apart &= (event_values(ds, f"ignition {of}", "velocity_up") > 0.0) | _drawn(ds, f"no_ignition: {of}")
    return apart


def full_height(ds: xr.Dataset, action: Action, mission: Mission) -> np.ndarray:
    """Return the height above ground at which a canopy is full, at least, m, (flights,); NaN without line stretch.

    The larger of two that it cannot be below, for it sinks ever slower: that of a fall as fast as at line stretch, and that of a descent from full canopy
    to the ground as slow as at landing.
    """
    if action.kind != "deploy":
        return np.full(ds.sizes["flight"], np.nan)
    lasts = filled_after(next(one for one in canopies(mission) if one.name == action.of))
    time, height, sink = (event_values(ds, f"line stretch {action.of}", name, body=action.stage) for name in ("time", "height", "velocity_up"))
    down, slow = (event_values(ds, "landing", name, body=action.stage) for name in ("time", "velocity_up"))
    return np.fmax(height + np.minimum(sink, 0.0) * lasts, np.where(np.isfinite(height), -slow * (down - time - lasts), np.nan))


def filled_after(part: Parachute) -> float:
    """Return the time from line stretch until a canopy is full, s, as the mission has it."""
    return part.fill_time + (part.reefing_time + part.fill_time if part.reefing_ratio is not None else 0.0)


def _opens(ds: xr.Dataset, action: Action, mission: Mission) -> np.ndarray:
    stretched = np.isfinite(event_values(ds, f"line stretch {action.of}", body=action.stage))
    aloft = ~np.isfinite(fact(ds, "body_landing_time", action.stage))  # some 30 m of descent after it was full, where the flight was given up
    good = stretched & (aloft | (full_height(ds, action, mission) >= FULL_ABOVE))
    own = event_values(ds, f"deployment {action.of}", body=action.stage)
    owners, names = canopy_stages(mission), canopy_names(mission)
    for entry in mission.recovery:
        if entry.when == "falling_through" and entry.canopy != action.of and owners[names.index(entry.canopy)] == action.stage:
            good &= ~(event_values(ds, f"deployment {entry.canopy}", body=action.stage) < own)
    return good


def breaks(ds: xr.Dataset, action: Action, mission: Mission, load_share: float) -> np.ndarray:
    """Return whether a canopy or a harness of the stage is loaded beyond that share of its strength, or breaks, by load alone, bool (flights,)."""
    hit = np.zeros(ds.sizes["flight"], dtype=bool)
    if action.kind != "deploy":
        return hit
    owners = canopy_stages(mission)
    own = {part.name: part.strength for part, owner in zip(canopies(mission), owners, strict=True) if owner == action.stage}
    happened = ds["failure_happened"].values > 0 if "failure_happened" in ds else None
    for k, name in enumerate(ds["failure"].values.astype(str) if happened is not None else ()):
        kind, _, of = name.partition(": ")
        if kind in ("harness_breaks", "canopy_lost") and of in own:
            hit |= happened[:, k] & ~_drawn(ds, name)
    names = canopy_names(mission)
    for name, strength in own.items():
        if strength is not None:
            hit |= fact(ds, "opening_load", names.index(name)) > load_share * strength
    for harness in mission.harness:
        if harness.canopy in own and harness.strength is not None:
            pull = np.fmax(fact(ds, "opening_load", names.index(harness.canopy)), fact(ds, "snatch_load", names.index(harness.canopy)))
            hit |= pull > load_share * harness.strength
    return hit


def _drawn(ds: xr.Dataset, failure: str) -> np.ndarray:
    """Return whether a failure was drawn, bool (flights,)."""
    names = ds["failure"].values.astype(str).tolist() if "failure_drawn" in ds else []
    return ds["failure_drawn"].values[:, names.index(failure)] > 0 if failure in names else np.zeros(ds.sizes["flight"], dtype=bool)


def _outcome(action: Action, fails: bool, acted: np.ndarray, primary: np.ndarray, good: np.ndarray, came: np.ndarray) -> np.ndarray:
    """Return which of OUTCOMES each flight is. primary : when the trigger fires, or would without backups; fails : it is not sound in this branch."""
    by_backup = acted[:, [one.number for one in action.backups]].any(axis=1)
    by_primary = acted[:, action.first.number]
    sound = np.isfinite(primary) & (not fails)
    found = np.full(acted.shape[0], NOTHING)
    found[by_primary] = LATE_PRIMARY if fails else PRIMARY
    found[by_backup] = BACKUP
    found[(by_backup | by_primary) & ~good] = MISSES
    found[by_backup & sound] = BEATS
    found[(by_backup | by_primary) & ~came] = IN_VAIN
    return found


# ---------------------------------------------------------------- other settings, flown


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


def _primary_times(branch: Branch, actions: Sequence[Action], sky: Sky, ds: xr.Dataset, fired: np.ndarray, acted: np.ndarray) -> np.ndarray:
    """Return when each action's primary trigger fires, (flights, actions); flights in which a backup came first are flown again without any backup."""
    found = np.stack([fired[:, action.first.number] for action in actions], axis=1)
    early = np.stack([acted[:, [one.number for one in action.backups]].any(axis=1) for action in actions], axis=1)
    early &= ~np.array([action.name == branch.lost for action in actions])
    rows = np.flatnonzero(early.any(axis=1))
    if rows.size:
        off = [one for action in actions for one in action.backups] + [action.first for action in actions if action.name == branch.lost]
        mission, table = put_off(branch, off, sky)
        alone = sky.fly(mission, table.isel(flight=rows))
        again = np.stack([fact(alone, "rule_fired", action.first.number) for action in actions], axis=1)
        found[rows] = np.where(early[rows], again, found[rows])
    return found


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
