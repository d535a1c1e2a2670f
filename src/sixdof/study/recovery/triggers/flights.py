"""Flights of one branch as triggers see them: when each fires or would fire, and what came of it.

A timer that comes after another trigger has acted is fired by the flight computer all the same, until the body is down; what fires later than that, or in
the quiet descent between two looks, is told by what it counts from and its delay: `due`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.results.names import canopy_names, rule_names
from sixdof.study.landing.flights import leaving
from sixdof.study.reading.result import fact
from sixdof.study.recovery.triggers.branches import Branch
from sixdof.study.recovery.triggers.outcomes import at_action, breaks, came_to_be, full_height, saves
from sixdof.study.recovery.triggers.search import Sky, per_thing, put_off, saving_moments
from sixdof.study.recovery.triggers.triggers import NEVER, Action, reference_of

OUTCOMES = ("nothing", "primary", "late_primary", "backup", "beats", "misses", "in_vain")
NOTHING, PRIMARY, LATE_PRIMARY, BACKUP, BEATS, MISSES, IN_VAIN = range(len(OUTCOMES))


class Flown(NamedTuple):
    """One branch, flown. Arrays have a row for every flight that was asked for; NaN, or NOTHING, where one did not leave the rail.

    left : whether it left the rail. due, fired, acted, armed, drawn : (flights, rules): when a trigger fires or would, fired, whether it acted, when it was
    armed, what is drawn on top of its delay. All others are (flights, actions). primary : when the trigger that others back up fires or would without them,
    NaN where it does not. reference : true moment. outcome : of OUTCOMES. gap : the smallest between two triggers. height (m) and airspeed (m/s) at
    deployment. broke : whether loads were beyond what is allowed. full : the least height at which the canopy is, m. first, latest : first and last
    moment that saves the flight, s; NaN where not searched, latest -inf where none does.
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
    height, airspeed = (np.stack([at_action(ds, action, name) for action in actions], axis=1) for name in ("height", "airspeed"))
    broke = np.stack([breaks(ds, action, mission, sky.load_share) for action in actions], axis=1)
    full = np.stack([full_height(ds, action, mission) for action in actions], axis=1)
    for k, action in enumerate(actions):
        good = saves(ds, action, mission, sky.load_share)
        outcome[:, k] = np.where(left, _outcome(action, branch.fails(action), acted, primary[:, k], good, came_to_be(ds, action)), NOTHING)
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


def smallest_gap(times: np.ndarray) -> np.ndarray:
    """Return the smallest gap between any two of times (flights, triggers), s; NaN where fewer than two are known."""
    if times.shape[1] < 2:
        return np.full(times.shape[0], np.nan)
    ordered = np.sort(np.where(np.isfinite(times), times, np.inf), axis=1)  # unknown ones last
    with np.errstate(invalid="ignore"):
        gaps = np.diff(ordered, axis=1)
    least = np.min(np.where(np.isfinite(gaps), gaps, np.inf), axis=1)
    return np.where(np.isfinite(least), least, np.nan)


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
