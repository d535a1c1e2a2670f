"""Checks of staging: joints, motors that something must ignite, and event rules that cannot be or contradict each other.

Only what is certain is a fault: a rule is refused where no flight of the mission can ever make it act.
"""

from __future__ import annotations

from collections.abc import Iterator

from sixdof.mission import tables
from sixdof.mission.checks.within import CONDITIONS
from sixdof.mission.errors import Problem, suggestion
from sixdof.mission.units import shown

LIFTOFF_WITHIN = 0.5  # s of the start of the thrust curve: by then a vehicle is off its rail, or never leaves it


class Staging:
    """What can happen to the stages of a mission, by name: which have a `motor`, which are `lit`, which can part.

    `lit` and `separable` (stages that can leave the one in front of them) follow from the rules whose own triggers can come,
    from joints that slip or break, and from the last stage, which is ignited at the start.
    """

    def __init__(self, mission: tables.MissionTables):
        self.names = tuple(stage.name for stage in mission.stage)
        self.motor = {stage.name for stage in mission.stage if any(part.kind == "mount" for part in stage.part)}
        self.lit = self.motor & {self.names[-1]}
        self.separable = {stage.name for stage in mission.stage[1:] if stage.joint.retention_force is not None}
        orders = [rule for rule in mission.rule if rule.action in ("ignite", "separate")]
        self.staged = bool(self.separable or orders)
        for _ in orders:  # each pass may make another order possible
            for rule in filter(self.comes, orders):
                (self.lit if rule.action == "ignite" else self.separable).add(self.target(rule))
        self.lit &= self.motor
        self.separable &= set(self.names[1:])

    def target(self, rule: tables.Rule) -> str:
        """Return the stage that a rule ignites or separates."""
        return rule.target or self.names[-1]

    def stage(self, rule: tables.Rule) -> str:
        """Return the stage whose burnout or separation a rule waits for, "" where its text leaves that to the flight."""
        if rule.stage or rule.when not in ("burnout", "separation"):
            return rule.stage
        if rule.when == "burnout":
            return self.names[-1]  # lit at the start, it burns out before one that is lit by a rule counts as the first
        return self.names[1] if len(self.names) == 2 else ""

    def comes(self, rule: tables.Rule) -> bool:
        """Return whether the trigger of a rule and the booster it asks for can be (True for stages of unknown name)."""
        if rule.booster == "separated" and not self.separable:
            return False
        if rule.when not in ("ignition", "burnout", "separation") or (rule.stage and rule.stage not in self.names):
            return True
        found = self.separable if rule.when == "separation" else self.lit
        return rule.stage in found if rule.stage else bool(found)


def rule_problems(mission: tables.MissionTables, staging: Staging) -> Iterator[Problem]:
    """Yield what is wrong with joints, ignition and event rules; paths start from the mission."""
    yield from _front(mission)
    yield from _motors(mission, staging)
    for i, rule in enumerate(mission.rule):
        for problem in (*_target(rule, staging), *_trigger(rule, staging), *_booster(rule, staging), *_times(rule, mission)):
            yield Problem(("rule", i, *problem.loc), problem.value, problem.message, problem.hint)
    yield from _contradictions(mission, staging)


# ---------------------------------------------------------------- stages


def _front(mission: tables.MissionTables) -> Iterator[Problem]:
    if mission.stage[0].joint != tables.Joint():
        message = "the front stage has no stage in front of it"
        hint = "a joint belongs to the stage behind it: move the table there"
        yield Problem(("stage", 0, "joint"), None, message, hint)


def _motors(mission: tables.MissionTables, staging: Staging) -> Iterator[Problem]:
    """Motors that nothing ignites (once the mission says how it stages), and ignition of no motor."""
    for i, stage in enumerate(mission.stage):
        has_motor = stage.name in staging.motor
        if not has_motor and stage.ignition != tables.Ignition():
            yield Problem(("stage", i, "ignition"), None, "the stage has no motor to ignite", "add a mount, or remove it")
        elif i == len(mission.stage) - 1 and stage.ignition != tables.Ignition():
            message = "the clock of a flight starts with the last stage's ignition, so it has no delay"
            yield Problem(("stage", i, "ignition"), None, message, "remove the table; stages that rules ignite may have one")
        if has_motor and staging.staged and stage.name not in staging.lit:
            message = "no rule that can act ignites the stage's motor"
            hint = f'add a rule with action = "ignite" and target = "{stage.name}"; only the last stage is ignited at the start'
            yield Problem(("stage", i, "part"), None, message, hint)


# ---------------------------------------------------------------- one rule

_Problems = Iterator[Problem]  # their paths start from the rule


def _target(rule: tables.Rule, staging: Staging) -> _Problems:
    """The stage that a rule ignites or separates."""
    names, target = staging.names, rule.target
    if rule.action not in ("ignite", "separate"):
        return
    if len(names) == 1:
        message = f"there is one stage: none to {rule.action}"
        hint = "it is ignited at the start" if rule.action == "ignite" else "add a second [[stage]], or remove the rule"
        yield Problem(("action",), rule.action, message, hint)
    elif target and target not in names:
        yield Problem(("target",), target, f"there is no stage {shown(target)}", suggestion(target, names, "stages"))
    elif rule.action == "separate" and target == names[0]:
        hint = f"name the stage that leaves it with all behind it: {', '.join(names[1:])}"
        yield Problem(("target",), target, f"{shown(target)} is the front stage, with none to separate from", hint)
    elif rule.action == "ignite" and target == names[-1]:
        hint = f"remove the rule, or ignite one in front of it: {', '.join(names[:-1])}"
        yield Problem(("target",), target, f"{shown(target)} is the last stage, which is ignited at the start", hint)
    elif rule.action == "ignite" and target not in staging.motor:
        yield Problem(("target",), target, f"stage {shown(target)} has no motor to ignite", "add a mount, or remove the rule")


def _trigger(rule: tables.Rule, staging: Staging) -> _Problems:
    """Events of stages that never come."""
    names, name = staging.names, rule.stage
    if rule.when not in ("ignition", "burnout", "separation"):
        return
    loc, value = (("stage",), name) if name else (("when",), rule.when)
    whose = f"stage {shown(name)}" if name else "a stage"
    if name and name not in names:
        yield Problem(loc, name, f"there is no stage {shown(name)}", suggestion(name, names, "stages"))
    elif rule.when == "separation":
        found = name in staging.separable if name else staging.separable
        if found:
            return
        if len(names) == 1:
            yield Problem(loc, value, "there is one stage: none ever separates", "the rule can never act: remove it")
        elif name == names[0]:
            hint = f"a separation is that of the stage which is left behind: {', '.join(names[1:])}"
            yield Problem(loc, value, f"{shown(name)} is the front stage, with none to separate from", hint)
        else:
            hint = 'the rule can never act: add one with action = "separate", or give the joint a retention_force'
            yield Problem(loc, value, f"{whose} never separates", hint)
    elif not (name in staging.lit if name else staging.lit):
        why = "nothing ignites it" if not name or name in staging.motor else "it has no motor"
        hint = 'the rule can never act: name a stage that burns, or add a rule with action = "ignite"'
        yield Problem(loc, value, f"{whose} never burns: {why}", hint)


def _booster(rule: tables.Rule, staging: Staging) -> _Problems:
    """A booster that a rule wants attached or separated."""
    loc, value, names = ("booster",), rule.booster, staging.names
    if value is None:
        return
    if len(names) == 1:
        yield Problem(loc, value, "there is one stage: no booster to be attached or separated", "remove it")
    elif value == "separated" and not staging.separable:
        hint = 'the rule can never act: add one with action = "separate", or give the joint a retention_force'
        yield Problem(loc, value, "no stage ever separates", hint)
    elif value == "attached" and rule.when == "separation" and _is_last_joint(staging, rule):
        message = f"no booster is attached once {shown(names[1])} has separated"
        yield Problem(loc, value, message, 'the rule can never act: write booster = "separated", or remove it')


def _is_last_joint(staging: Staging, rule: tables.Rule) -> bool:
    """Return whether the separation that a rule waits for leaves the front stage alone."""
    return staging.names[1] in ({rule.stage} if rule.stage else staging.separable if len(staging.separable) == 1 else ())


def _times(rule: tables.Rule, mission: tables.MissionTables) -> _Problems:
    """Moments that never come: after the window has closed, or after the flight has been given up."""
    limit = mission.solver.time_limit
    is_time = rule.when == "time" and rule.threshold is not None
    earliest = rule.delay + (rule.threshold if is_time else 0.0)
    key = "threshold" if is_time and rule.threshold >= limit else "delay"
    if earliest >= limit:
        message = f"{earliest:g} s is not before solver.time_limit, {limit:g} s"
        yield Problem((key,), getattr(rule, key), message, "the rule can never act: lower it, or raise the limit")
    if rule.after is not None and rule.after >= limit:
        message = f"{rule.after:g} s is not before solver.time_limit, {limit:g} s"
        yield Problem(("after",), rule.after, message, "the rule can never act: lower it, or raise the limit")
    last = mission.stage[-1]
    if is_time or (rule.when == "ignition" and rule.stage == last.name):  # these count from ignition, the window from liftoff
        earliest -= LIFTOFF_WITHIN
    if rule.before is not None and earliest >= rule.before:
        what = "threshold and delay" if is_time else "delay"
        message = f"the window closes {rule.before:g} s after liftoff, before the rule's {what} can be over"
        yield Problem(("before",), rule.before, message, f"the rule can never act: raise it, or lower {what}")


# ---------------------------------------------------------------- two rules


def _contradictions(mission: tables.MissionTables, staging: Staging) -> Iterator[Problem]:
    """Two rules that do opposite things at the same moment."""
    seen: dict[tuple, tuple[int, tables.Rule]] = {}
    for i, rule in enumerate(mission.rule):
        what = {"enable_fins": "fins", "disable_fins": "fins"}.get(rule.action, rule.action.partition("_")[0])
        if what not in ("fins", "guide"):
            continue
        moment = (what, rule.when, rule.threshold, staging.stage(rule), rule.delay)
        moment += tuple(getattr(rule, name) for name in CONDITIONS)
        j, other = seen.setdefault(moment, (i, rule))
        if other.action != rule.action:
            called = f'rule "{other.name}"' if other.name else f"rule[{j}]"
            message = f'"{rule.action}" contradicts {called}, which says "{other.action}" at the same moment'
            yield Problem(("rule", i, "action"), rule.action, message, "change when, delay or the conditions of one of them")
