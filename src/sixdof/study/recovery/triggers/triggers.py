"""Which triggers of a mission may act on the same thing: the one that senses, the timers and delay grains that back it up."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.mission.mission import Mission
from sixdof.results.names import rule_names
from sixdof.study.reading.doings import doings
from sixdof.study.reading.result import event_values, fact

SENSED, TIMER, GRAIN, TIMED = "sensed", "timer", "grain", "timed"
_TIMED = ("burnout", "liftoff", "separation")  # what a canopy's own trigger may count from without looking at the flight again
NEVER = 1e4  # s: a setting that no flight waits for


class Trigger(NamedTuple):
    """One trigger. number : along `rule` of a result. how : SENSED, TIMER (from noticed liftoff), GRAIN (from the burnout of its stage) or
    TIMED (a canopy's first trigger, by a delay from burnout, liftoff or separation).

    path : of its setting, as `Mission.change` takes it; key : the same as the mission file says it. setting : s, NaN where the mission has none. height : m
    above ground of one that waits for it, NaN for others.
    """

    number: int
    name: str
    how: str
    path: str
    key: str
    setting: float
    height: float = math.nan


class Action(NamedTuple):
    """What triggers may do. name : "deploy drogue". kind : "deploy", "separate" or "ignite". of : canopy or stage.

    stage : number of the stage that carries the canopy, or is separated or lit. primary : the place among `triggers` of what the others back up.
    """

    name: str
    kind: str
    of: str
    stage: int
    triggers: tuple[Trigger, ...]
    primary: int = 0

    @property
    def first(self) -> Trigger:
        """Return the trigger that the others back up."""
        return self.triggers[self.primary]

    @property
    def by_time(self) -> bool:
        """Return whether a canopy is deployed by the clock alone, whatever the flight does: its first trigger has a window of its own."""
        return self.kind == "deploy" and self.first.how != SENSED

    @property
    def backups(self) -> tuple[Trigger, ...]:
        """Return all triggers but the primary."""
        return tuple(one for k, one in enumerate(self.triggers) if k != self.primary)


def with_a_timer(mission: Mission) -> Mission:
    """Return a mission in which every canopy that its altimeter deploys before a height is reached has a timer, one that never fires where it had none."""
    lacking = [one.canopy for one in mission.recovery if one.backup_time is None and one.when != "falling_through"]
    return mission.change({f"recovery.{canopy}.backup_time": NEVER for canopy in lacking}) if lacking else mission


def actions_of(mission: Mission, written: Mission) -> list[Action]:
    """Return what the triggers of a mission do to canopies, joints and upper motors, in the order of its rules and its recovery.

    mission : with the timers of `with_a_timer`. written : as the builder wrote it: its settings count.
    """
    every = {one.number: one for one in (*_rules(mission), *_recovery(mission, written))}
    names, owners = [part.name for part in canopies(mission)], canopy_stages(mission)
    stages = [stage.name for stage in mission.stage]
    found = []
    for name, numbers in doings(mission).items():
        kind, _, of = name.partition(" ")
        own = tuple(every[number] for number in numbers)
        stage = owners[names.index(of)] if kind == "deploy" else stages.index(of)
        primary = next((k for k, one in enumerate(own) if one.how in (SENSED, TIMED)), 0)
        found.append(Action(name, kind, of, stage, own, primary))
    return found


def _rules(mission: Mission):
    names = rule_names(mission)
    for number, rule in enumerate(mission.rule):
        how = TIMER if rule.when == "liftoff" else SENSED
        yield Trigger(number, names[number], how, f"rule.{number}.delay", f'delay of the rule "{names[number]}"', float(rule.delay))


def _recovery(mission: Mission, written: Mission):
    """Yield the triggers that recovery stands for, in the order of `sixdof.autopilot.rules.triggers`."""
    names, number = rule_names(mission), len(mission.rule)
    for entry, said in zip(mission.recovery, written.recovery, strict=True):
        path = f"recovery.{entry.canopy}"
        yield Trigger(
            number,
            names[number],
            TIMED if entry.when in _TIMED else SENSED,
            f"{path}.delay",
            f"delay of {entry.canopy}",
            float(entry.delay),
            entry.height or math.nan,
        )
        number += 1
        for key, how in (("backup_time", TIMER), ("motor_delay", GRAIN)):
            if getattr(entry, key) is not None:
                setting = getattr(said, key)
                yield Trigger(number, names[number], how, f"{path}.{key}", f"{key} of {entry.canopy}", math.nan if setting is None else float(setting))
                number += 1


def with_primary(actions: list[Action], ds: xr.Dataset) -> list[Action]:
    """Return the actions with the trigger that comes first in sound flights as primary: of those that sense, or of timers where none does."""
    found = []
    for action in actions:
        own = [[k for k, one in enumerate(action.triggers) if one.how == how] for how in (SENSED, TIMED)]
        sensing = own[0] or own[1] or range(len(action.triggers))
        when = {k: _median(fact(ds, "rule_fired", action.triggers[k].number)) for k in sensing}
        found.append(action._replace(primary=min(when, key=when.__getitem__)))
    return found


def _median(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.median(known)) if known.size else math.inf


def reference_of(action: Action, ds: xr.Dataset, mission: Mission) -> np.ndarray:
    """Return the true moment that an action is about, s, (flights,): apogee of the canopy's body, burnout below a joint, separation before an ignition."""
    names = [stage.name for stage in mission.stage]
    last = len(names) - 1
    if action.kind == "deploy":
        return event_values(ds, "apogee", body=action.stage)
    if action.kind == "separate":
        return event_values(ds, "burnout" if action.stage == last else f"burnout {action.of}")
    return event_values(ds, f"separation {names[action.stage + 1]}") if action.stage < last else event_values(ds, "liftoff")


REFERENCE = {"deploy": "apogee", "separate": "burnout", "ignite": "separation"}
