"""What went wrong in a rehearsal of the flight computer's sequence, and which triggers fired without effect: one sentence each."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from sixdof.autopilot.canopies import canopy_stages
from sixdof.autopilot.rules import burn_order
from sixdof.core import types as ct
from sixdof.core.columns import StageColumn
from sixdof.core.computer.columns import MOST_BURNS, Noticed, RuleColumn, RuleState
from sixdof.core.computer.rules import SOON
from sixdof.core.types import ACTION_IGNITE
from sixdof.rehearsal.bench import Bench, due, seconds, waited

# common practice among builders, not law and not physics
IGNITION_TILT = math.radians(30.0)  # flight computers are set to inhibit ignition between 20 deg and this
# of this project
RELEASE_SPEED = 30.0  # m/s, sensed, as a canopy is released

Finding = tuple[float, str]  # when it shows, inf where at the end, and the sentence


def misfires(bench: Bench) -> list[str]:
    """Return everything that went wrong, in the order of time, what shows only at the end last."""
    checks = (_never_fired, _canopies, _lit, _separated, _fins, _order, _windows)
    found = [finding for check in checks for finding in check(bench)]
    return [text for _, text in sorted(found, key=lambda each: each[0])]


def remarks(bench: Bench) -> list[str]:
    """Return what is worth knowing and no misfire, in the order of time."""
    found = [finding for check in (_second, _waits, _not_needed, _unasked) for finding in check(bench)]
    return [text for _, text in sorted(found, key=lambda each: each[0])]


# ---------------------------------------------------------------- rules that never fired


def _never_fired(bench: Bench) -> Iterator[Finding]:
    for i in bench.own:
        name, state = bench.rule_names[i], bench.rules[i]
        if state[RuleState.FIRED] >= 0.0 or (name in bench.expect and bench.expect[name] is None):
            continue
        if state[RuleState.GIVEN_UP] >= 0.0:
            text = f"gives up at {seconds(state[RuleState.GIVEN_UP])}, held by {waited(bench, i)}"
            yield float(state[RuleState.GIVEN_UP]), f"{name} {text}"
        elif state[RuleState.ARMED] < 0.0:
            yield math.inf, f"{name} never fires: {_not_sensed(bench, i)}"
        elif due(bench, i) > bench.time[-1] + SOON:
            if not _done(bench, i):
                text = f"it is due at {seconds(due(bench, i))}, after the script's end at {_end(bench)}"
                yield math.inf, f"{name} never fires: {text}"
        else:
            yield math.inf, f"{name} never fires: due at {seconds(due(bench, i))}, it is held by {waited(bench, i)}"


def _not_needed(bench: Bench) -> Iterator[Finding]:
    for i in bench.own:
        if bench.rules[i, RuleState.FIRED] < 0.0 and due(bench, i) > bench.time[-1] + SOON and _done(bench, i):
            text = f"is due at {seconds(due(bench, i))}, after the script's end at {_end(bench)}, and another did it"
            yield due(bench, i), f"{bench.rule_names[i]} {text}"


def _end(bench: Bench) -> str:
    return seconds(bench.time[-1])


def _done(bench: Bench, rule: int) -> bool:
    """Return whether what a rule does once and for all has come about by the end."""
    action, target = int(bench.row(rule)[RuleColumn.ACTION]), int(bench.row(rule)[RuleColumn.TARGET])
    if action == ct.ACTION_DEPLOY:
        return bench.opened[target] >= 0.0
    column = {int(ACTION_IGNITE): StageColumn.IGNITE, int(ct.ACTION_SEPARATE): StageColumn.SEPARATE}.get(action)
    return column is not None and bench.stages[target, column] >= 0.0


def _not_sensed(bench: Bench, rule: int) -> str:
    """Return why a rule's trigger was never sensed."""
    row, height = bench.row(rule), bench.reading("height")
    trigger, threshold, order = int(row[RuleColumn.TRIGGER]), row[RuleColumn.THRESHOLD], int(row[RuleColumn.ORDER])
    if trigger == ct.TRIGGER_TIME:
        return f"the script ends at {_end(bench)}, before {seconds(threshold)}"
    if trigger == ct.TRIGGER_EJECTION:
        return f"the motor of {bench.stage_names[order]} does not burn out, by its thrust curve, within the script"
    if not bench.notice[Noticed.LIFTOFF] >= 0.0:
        return "liftoff is never sensed"
    if trigger in (ct.TRIGGER_BURNOUT, ct.TRIGGER_IGNITION):
        return _no_burn(bench, "burnout" if trigger == ct.TRIGGER_BURNOUT else "ignition", order)
    if trigger == ct.TRIGGER_SEPARATION:
        return f"the separation of {bench.stage_names[len(bench.stage_names) - 1 - order]} is never sensed"
    if trigger == ct.TRIGGER_CLIMBING:
        return f"the sensed height never reaches {threshold:g} m and is {height.max():.1f} m at most"
    if trigger == ct.TRIGGER_RAIL or not bench.notice[Noticed.RAIL] >= 0.0:
        return "leaving the rail is never sensed"
    if trigger == ct.TRIGGER_FALLING and bench.notice[Noticed.APOGEE] >= 0.0:
        least = height[bench.tick(bench.notice[Noticed.APOGEE]) :].min()
        return f"after apogee the sensed height never falls to {threshold:g} m and is {least:.1f} m at least"
    return "apogee is never sensed"


def _no_burn(bench: Bench, what: str, order: int) -> str:
    name = bench.stage_names[burn_order(bench.mission)[order]]
    begun, ended = (int((bench.notice[first : first + MOST_BURNS] >= 0.0).sum()) for first in (Noticed.IGNITION, Noticed.BURNOUT))
    text = f"the {what} of {name} is never sensed, of {_counted(begun, 'ignition')} and {_counted(ended, 'burnout')} sensed"
    return text if "specific_force_x" in bench.given else f"{text}, because the script has no column specific_force_x"


def _counted(number: int, what: str) -> str:
    return f"{number} {what}" if number == 1 else f"{number} {what}s"


# ---------------------------------------------------------------- canopies


def _canopies(bench: Bench) -> Iterator[Finding]:
    """Yield canopies that are deployed never, too early, or too fast."""
    wanted = {int(bench.row(i)[RuleColumn.TARGET]) for i in bench.own if bench.row(i)[RuleColumn.ACTION] == ct.ACTION_DEPLOY}
    for c, (name, stage) in enumerate(zip(bench.canopy_names, canopy_stages(bench.mission))):
        if stage != bench.stage and c not in wanted:
            continue
        if bench.opened[c] >= 0.0:
            yield from _release(bench, name, float(bench.opened[c]))
        else:
            yield _no_release(bench, c, name, c in wanted)


def _no_release(bench: Bench, c: int, name: str, wanted: bool) -> Finding:
    fired = [i for i in bench.own if _is(bench, i, ct.ACTION_DEPLOY, c) and bench.rules[i, RuleState.FIRED] >= 0.0]
    if fired and bench.fails[c] > 0.5:
        first = min(fired, key=lambda i: bench.rules[i, RuleState.FIRED])
        at = float(bench.rules[first, RuleState.FIRED])
        return at, f"{name} is never deployed: {bench.rule_names[first]} fires its charge at {seconds(at)}, and it fails"
    return math.inf, f"{name} is never deployed{'' if wanted else ', and no rule would'}"


def _release(bench: Bench, name: str, t: float) -> Iterator[Finding]:
    apogee, speed = bench.noticed(Noticed.APOGEE), bench.speed()[bench.tick(t)]
    early = not apogee <= t
    if early:
        when = f", at {seconds(apogee)}" if math.isfinite(apogee) else ", which it never is"
        yield t, f"{name} is deployed at {seconds(t)}, before apogee is noticed{when}"
    if speed > RELEASE_SPEED:
        text = f"{name} is deployed at {seconds(t)} at a sensed speed of {speed:.1f} m/s, more than {RELEASE_SPEED:.0f} m/s"
        yield t, f"{text} (a project threshold)"


def _is(bench: Bench, rule: int, action, target: int) -> bool:
    return bench.row(rule)[RuleColumn.ACTION] == action and bench.row(rule)[RuleColumn.TARGET] == target


# ---------------------------------------------------------------- stages, of the front stage's computer


def _wanted_stages(bench: Bench, action) -> list[int]:
    """Return the stages that a rule is there to ignite or to separate, and those that a law has commanded."""
    column = StageColumn.SEPARATE if action == ct.ACTION_SEPARATE else StageColumn.IGNITE
    wanted = {int(bench.row(i)[RuleColumn.TARGET]) for i in bench.own if bench.row(i)[RuleColumn.ACTION] == action}
    return sorted(wanted | set(np.flatnonzero(bench.stages[:, column] >= 0.0).tolist()), reverse=True)


def _lit(bench: Bench) -> Iterator[Finding]:
    """Yield stages that are never ignited, or with a booster attached, or while they lean."""
    for k in _wanted_stages(bench, ACTION_IGNITE):
        name, t = bench.stage_names[k], bench.stages[k, StageColumn.IGNITE]
        if t < 0.0:
            yield math.inf, f"{name} is never ignited"
            continue
        if bench.stages[k, StageColumn.NO_IGNITION] > 0.5:
            yield float(t), f"{name} is commanded to ignite at {seconds(t)} and does not: its ignition fails"
        tick = bench.tick(t)
        if bench.attached[tick] > k:
            behind = bench.stage_names[int(bench.attached[tick])]
            yield float(t), f"{name} is ignited at {seconds(t)} while {behind} is still attached"
        tilt = bench.tilt()[tick]
        if tilt > IGNITION_TILT:
            text = f"{name} is ignited at {seconds(t)} at a sensed tilt of {math.degrees(tilt):.1f} deg"
            yield float(t), f"{text} (common practice inhibits ignition beyond 20 to 30 deg): give its rule tilt_below"


def _separations(bench: Bench) -> list[tuple[int, int]]:
    """Return (tick, stage that leaves) of every separation that the break-wires told, in order of time."""
    found = []
    before = len(bench.stage_names) - 1
    for tick, now in enumerate(bench.attached.astype(int)):
        if now < before:
            # an altimeter that is left alone has itself left the stage ahead
            found.append((tick, bench.stage if bench.stage and now == 0 else now + 1))
        before = now
    return found


def _burning(bench: Bench, t: float) -> bool:
    """Return whether a burn is sensed at t."""
    begun, ended = (bench.notice[first : first + MOST_BURNS] for first in (Noticed.IGNITION, Noticed.BURNOUT))
    return bool(((begun >= 0.0) & (begun <= t + SOON) & ~((ended >= 0.0) & (ended <= t + SOON))).any())


def _separated(bench: Bench) -> Iterator[Finding]:
    """Yield stages that never separate, or do while a burn is sensed."""
    gone = {stage: tick for tick, stage in _separations(bench)}
    for stage, tick in gone.items():
        t = float(bench.time[tick])
        if _burning(bench, t):
            yield t, f"{bench.stage_names[stage]} separates at {seconds(t)} while a burn is still sensed"
    for k in _wanted_stages(bench, ct.ACTION_SEPARATE) if bench.stage == 0 else ():
        name, t = bench.stage_names[k], bench.stages[k, StageColumn.SEPARATE]
        if k in gone or bench.attached[-1] < k:
            continue
        if t < 0.0:
            yield math.inf, f"{name} is never separated"
        elif bench.stages[k, StageColumn.NO_SEPARATION] > 0.5:
            yield float(t), f"{name} is commanded to separate at {seconds(t)} and does not: its separation fails"
        else:
            yield float(t), f"{name} is commanded to separate at {seconds(t)}, and its break-wires never tell that it has"


def _unasked(bench: Bench) -> Iterator[Finding]:
    """Yield separations that no command had asked for, of the front stage's computer."""
    for tick, stage in _separations(bench) if bench.stage == 0 else ():
        commands = bench.stages[1 : stage + 1, StageColumn.SEPARATE]
        if not ((commands >= 0.0) & (commands <= bench.time[tick] + SOON)).any():
            t = float(bench.time[tick])
            yield t, f"{bench.stage_names[stage]} has separated at {seconds(t)} without a command"


def _fins(bench: Bench) -> Iterator[Finding]:
    """Yield fins that are live on the rail."""
    live = np.flatnonzero(bench.live > 0.5)
    if live.size and not bench.noticed(Noticed.RAIL) <= bench.time[live[0]] + SOON:
        left, t = bench.noticed(Noticed.RAIL), float(bench.time[live[0]])
        when = f"it leaves at {seconds(left)}" if math.isfinite(left) else "it never leaves"
        yield t, f"the fins are enabled at {seconds(t)} while still on the rail, which {when} by what is sensed"


# ---------------------------------------------------------------- order, windows


def _order(bench: Bench) -> Iterator[Finding]:
    """Yield rules that take an event for sensed before it is commanded, and backups that come first."""
    for i in bench.own:
        if bench.stage == 0:
            yield from _too_soon(bench, i)
        if i >= len(bench.mission.rule) and bench.triggers[i].name.endswith(": backup"):
            yield from _backup_first(bench, i, i - 1)  # the trigger it backs up stands right before it


def _too_soon(bench: Bench, rule: int) -> Iterator[Finding]:
    row, armed = bench.row(rule), float(bench.rules[rule, RuleState.ARMED])
    trigger, order = int(row[RuleColumn.TRIGGER]), int(row[RuleColumn.ORDER])
    if armed < 0.0 or trigger not in (ct.TRIGGER_BURNOUT, ct.TRIGGER_IGNITION, ct.TRIGGER_SEPARATION):
        return
    if trigger == ct.TRIGGER_SEPARATION:
        k, column, what, done = len(bench.stage_names) - 1 - order, StageColumn.SEPARATE, "separation", "separated"
        if k not in _wanted_stages(bench, ct.ACTION_SEPARATE):
            return  # it separates by itself
    else:
        k, column, done = burn_order(bench.mission)[order], StageColumn.IGNITE, "ignited"
        what = "burnout" if trigger == ct.TRIGGER_BURNOUT else "ignition"
        if k == len(bench.stage_names) - 1:
            return  # ignited at the start
    command = float(bench.stages[k, column])
    if command < 0.0 or armed < command - SOON:
        then = f"though nothing has {done} it"
        if command >= 0.0:
            then = f"before it is commanded to be {done} at {seconds(command)}"
        verb = "fires on" if bench.rules[rule, RuleState.FIRED] >= 0.0 else "waits after"
        text = f"{bench.rule_names[rule]} {verb} the {what} of {bench.stage_names[k]}, taken for sensed at {seconds(armed)}"
        yield armed, f"{text}, {then}"


def _backup_first(bench: Bench, backup: int, first: int) -> Iterator[Finding]:
    at, then = bench.rules[backup, RuleState.FIRED], bench.rules[first, RuleState.FIRED]
    if 0.0 <= at < then:
        text = f"{bench.rule_names[backup]} fires at {seconds(at)}, before what it backs up"
        yield float(at), f"{text}, {bench.rule_names[first]}, at {seconds(then)}"


def _windows(bench: Bench) -> Iterator[Finding]:
    for name, window in bench.expect.items():
        fired = float(bench.rules[bench.rule_names.index(name), RuleState.FIRED])
        if window is None:
            if fired >= 0.0:
                yield fired, f"{name} fires at {seconds(fired)}, and it must not"
            continue
        within = f"between {seconds(window[0])} and {seconds(window[1])}"
        if fired < 0.0:
            yield window[1], f"{name} is expected {within}, and never fires"
        elif not window[0] - SOON <= fired <= window[1] + SOON:
            yield fired, f"{name} fires at {seconds(fired)}, and is expected {within}"


# ---------------------------------------------------------------- what is not a misfire


def _second(bench: Bench) -> Iterator[Finding]:
    """Yield redundant triggers that fired when what they do was done."""
    for i in bench.own:
        state = bench.rules[i]
        if state[RuleState.FIRED] >= 0.0 and state[RuleState.ACTED] < 0.5:
            yield float(state[RuleState.FIRED]), f"{bench.rule_names[i]} fires at {seconds(state[RuleState.FIRED])} without effect: {_before(bench, i)}"


def _before(bench: Bench, rule: int) -> str:
    """Return who had done what a rule does."""
    row, fired = bench.row(rule), bench.rules[rule, RuleState.FIRED]
    same = (i for i in bench.own if _is(bench, i, row[RuleColumn.ACTION], row[RuleColumn.TARGET]))
    did = [i for i in same if bench.rules[i, RuleState.ACTED] > 0.5 and bench.rules[i, RuleState.FIRED] <= fired]
    if not did:
        return "it was done already"
    last = max(did, key=lambda i: bench.rules[i, RuleState.FIRED])
    return f"{bench.rule_names[last]} did it at {seconds(bench.rules[last, RuleState.FIRED])}"


def _waits(bench: Bench) -> Iterator[Finding]:
    for i in bench.own:
        reasons = waited(bench, i)
        if reasons and bench.rules[i, RuleState.FIRED] >= 0.0:
            text = f"{bench.rule_names[i]} is due at {seconds(due(bench, i))} and waits until {seconds(bench.rules[i, RuleState.FIRED])}"
            yield due(bench, i), f"{text}, held by {reasons}"
