"""All that may happen to a flight, one thing at a time: failures the mission names, and others that every flyer should have thought of.

Failures of the mission have a probability; what is added here has none, and is told apart: a motor that burns short or is bigger, a stage that does not
light or separate, apogee noticed late, a canopy lost, the trigger that senses of a canopy or joint lost.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, NamedTuple

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.mission.errors import MissionError, suggestion
from sixdof.mission.mission import Mission
from sixdof.mission.place import failure_name
from sixdof.mission.tables import Mount
from sixdof.mission.units import shown
from sixdof.study.landing.strata import certain, strata_of, uncertain
from sixdof.study.motor_choice.fit import fit_of
from sixdof.study.recovery.triggers.triggers import Action
from sixdof.vehicle.motor import motor_facts

NOMINAL, LATE = "nominal", "late_apogee"
LATE_BY = 4.0  # s, of a late apogee that no failure of the mission tells of (ours)
SHORT, BIGGER = 0.7, 1.25  # of the impulse (ours); a short burn is as much shorter
LOST = "trigger lost"


class Branch(NamedTuple):
    """One branch. mission : that flies it. settings : names that are drawn -> value, as `sixdof.preflight.sweep` takes them.

    what : in words, for a page. weight : share of all flights, NaN where the branch has none. late : stages whose apogee is noticed late. lost : the
    action whose primary trigger does not act, "" for none.
    """

    name: str
    what: str
    mission: Mission
    settings: dict[str, float] = {}
    weight: float = math.nan
    late: tuple[int, ...] = ()
    lost: str = ""

    def fails(self, action: Action) -> bool:
        """Return whether the primary trigger of an action is not to be relied on in this branch."""
        return action.name == self.lost or (action.kind == "deploy" and action.stage in self.late and "apogee" in action.first.name.rpartition(":")[2])


def calm(mission: Mission) -> Mission:
    """Return a mission in which no failure happens but those that are certain."""
    return mission.change({f"failure.{k}.probability": 0.0 for k in uncertain(mission)}) if uncertain(mission) else mission


def branches_of(mission: Mission, actions: Sequence[Action], wanted: Sequence[str] | Mapping[str, Mapping[str, Any]] | None = None) -> list[Branch]:
    """Return the branches of a mission: nominal first, then its failures, then those without a probability.

    wanted : names of some of them, which are then flown besides the nominal one; or further branches, name -> changes of the mission as
    `Mission.change` takes them, which are flown besides all those.

    Raises ValueError for a name that is none of them, TypeError for another thing.
    """
    stages = [stage.name for stage in mission.stage]
    always = tuple(stages.index(one.of) for one in mission.failure if one.kind == LATE and one.probability >= 1.0)
    found = [one._replace(late=one.late + always) for one in (_nominal(mission), *_failures(mission), *_without_probability(mission, actions))]
    if wanted is None:
        return found
    if isinstance(wanted, Mapping):
        return found + [Branch(str(name), "as given", calm(mission).change(dict(changes)), late=always) for name, changes in wanted.items()]
    if isinstance(wanted, str) or not all(isinstance(one, str) for one in wanted):
        raise TypeError(f'trigger_windows: branches must be a list of names, or a dictionary such as {{"heavy": {{...changes}}}}, not {shown(wanted)}')
    known = [one.name for one in found]
    for name in wanted:
        if name not in known:
            raise ValueError(f"trigger_windows: there is no branch {shown(name)}; {suggestion(name, known, 'branches')}")
    return [one for one in found if one.name == NOMINAL or one.name in wanted]


def _nominal(mission: Mission) -> Branch:
    return Branch(NOMINAL, "no failure", calm(mission), weight=float(strata_of(mission).weights[0]))


def _failures(mission: Mission):
    weights, stages = strata_of(mission).weights, [stage.name for stage in mission.stage]
    for stratum, k in enumerate(uncertain(mission), start=1):
        one = mission.failure[k]
        late = (stages.index(one.of),) if one.kind == LATE else ()
        yield Branch(one.name, _said(one.kind, one.of, one.late_by), certain(mission, k), weight=float(weights[stratum]), late=late)


_KINDS = {
    "no_ignition": "{} does not light",
    "no_separation": "{} does not separate",
    "late_apogee": "apogee of {} noticed {:g} s late",
    "no_deployment": "the charge of {} does not fire",
    "harness_breaks": "the harness of {} breaks",
    "canopy_lost": "{} is torn off as it opens",
}


def _said(kind: str, of: str, late_by: float | None) -> str:
    return _KINDS[kind].format(of, late_by or 0.0)


def _without_probability(mission: Mission, actions: Sequence[Action]):
    base, stages = calm(mission), [stage.name for stage in mission.stage]
    known = {failure.name for failure in mission.failure}
    for kind, of in _other_failures(mission, actions):
        if failure_name(kind, of) not in known:
            entry = {"kind": kind, "of": of, "probability": 1.0} | ({"late_by": LATE_BY} if kind == LATE else {})
            late = (stages.index(of),) if kind == LATE else ()
            yield Branch(failure_name(kind, of), _said(kind, of, LATE_BY), base.add("failure", entry), late=late)
    for name in stages:
        yield Branch(
            f"short burn: {name}",
            f"the motor of {name} gives {100 * SHORT:g} % of its impulse in as much of its time",
            base,
            {f"motor.impulse of {name}": SHORT, f"motor.burn_time of {name}": SHORT},
        )
        yield _bigger(base, name)
    for action in actions:
        if action.backups:
            yield Branch(f"{LOST}: {action.name}", f'"{action.first.name}" does not act', base, lost=action.name)


def _other_failures(mission: Mission, actions: Sequence[Action]):
    """Yield kind and thing of what may fail, whether the mission tells of it or not."""
    for stage in mission.stage[:-1]:
        if any(action.kind == "ignite" and action.of == stage.name for action in actions):
            yield "no_ignition", stage.name
    for stage in mission.stage[1:]:
        yield "no_separation", stage.name
    owners, names = canopy_stages(mission), [part.name for part in canopies(mission)]
    for number, stage in enumerate(mission.stage):
        own = [entry for entry in mission.recovery if owners[names.index(entry.canopy)] == number]
        if any(entry.when == "apogee" for entry in own):
            yield LATE, stage.name
        if len(own) > 1:
            yield "canopy_lost", own[0].canopy


def _bigger(mission: Mission, name: str) -> Branch:
    """Return the branch of a bigger motor in a stage: the one of the mission's others that fits and has most impulse, else a factor on its own."""
    which = [stage.name for stage in mission.stage].index(name)
    mounts = [part for part in mission.stage[which].part if isinstance(part, Mount)]
    if len(mounts) == 1:
        impulse = {other: motor_facts(motor).total_impulse for other, motor in mission.motor.items()}
        for other in sorted(impulse, key=impulse.__getitem__, reverse=True):
            if impulse[other] <= impulse[mounts[0].motor]:
                break
            try:
                fit = fit_of(mission, other, which, None, {})
            except (MissionError, ValueError):
                continue
            if fit.mission is not None:
                return Branch(f"bigger motor: {name}", f"{other} in {name}", fit.mission)
    return Branch(f"bigger motor: {name}", f"the motor of {name} gives {100 * BIGGER:g} % of its impulse", mission, {f"motor.impulse of {name}": BIGGER})
