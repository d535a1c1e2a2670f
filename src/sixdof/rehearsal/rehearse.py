"""A rehearsal: the flight computer's own rules and laws on sensed values that are given, without any physics."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof._jit import lend
from sixdof.autopilot.rules import rules_table, triggers
from sixdof.core import layout as ly
from sixdof.core.algebra import launch_frame
from sixdof.core.columns import CanopyColumn, StageColumn
from sixdof.core.computer.columns import MOST_BURNS, REHEARSAL_COLUMNS, Noticed, RehearsalColumn, RuleState
from sixdof.core.computer.rehearsal import rehearse as run_over
from sixdof.core.layout import Ending
from sixdof.core.leg.fence import overran
from sixdof.draws.flight_draw import FlightDraw
from sixdof.draws.packed import nominal_draw
from sixdof.flight.fly import forced_failures
from sixdof.flight.laws import Laws, bind
from sixdof.flight.model import log_rows
from sixdof.flight.plan import Plan, plan_of
from sixdof.flight.runner import FlightRunner
from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.rehearsal.bench import Bench, Window, doing, due, waited
from sixdof.rehearsal.logged import columns_of_log, is_log, lead_of
from sixdof.rehearsal.misfires import misfires, remarks
from sixdof.rehearsal.script import FLIGHT, READ, Script, checked_script, on_ticks, read_script, unit_of
from sixdof.results.dataset import attributes
from sixdof.results.facts import Flown
from sixdof.results.names import rule_names as names_of_rules
from sixdof.results.status import FlightError, Status
from sixdof.vehicle.motor import thrust_table
from sixdof.vehicle.mounting import placed_motors

_GOAL, _DEMANDS = slice(7, 11), slice(11, 14)  # columns of a tick of the kernel's


def rehearse(
    mission: Mission,
    script=None,
    *,
    stage: str | None = None,
    failures: Sequence[str] = (),
    expect: Mapping[str, Window] | None = None,
    guidance=None,
    control=None,
    columns=None,
    lead: float | str = 0.0,
) -> xr.Dataset:
    """Run the event rules and laws of a mission over sensed values without physics, and say what misfired.

    Parameters
    ----------
    mission : Mission
    script : None, Dataset, mapping of columns, or path of a CSV or netCDF file
        What the computer senses. None flies the mission once as written and takes what its computer sensed at every tick; a
        result of `sixdof.fly` (or of this function) is taken for its `sensed`. Otherwise columns named like the entries of
        `sixdof.core.layout.SENSED`, SI, of which only `time` (s since ignition, rising, from 0) must be there; in a CSV file
        their heads may name units, as in `time (ms), baro_height (ft)`.
        Between rows values are taken linear (`booster` and `fix_*`: the row before), attitudes along the shorter way.
        Left out: height is baro_height, or the integral of velocity_up, or 0; east and north 0; velocities the rates of the places;
        baro_height the height; fix_* place and velocity; attitude that of the rail; forces what a vehicle at rest on the rail feels;
        rates and magnetic field 0. booster (stages attached behind, 0: all gone) omitted or -1: the break-wires follow the computer's own commands
        after joint.delay. Under an altimeter, which commands none, the stages then stay joined. What the computer computes itself
        (goal, mode, enabled, time since liftoff, dynamic pressure, ...) is not read.
    stage : name or None
        Whose computer runs: the front stage's, or the altimeter of another stage. Rules of others never fire.
        A flight log is a script too: what `sixdof.postflight.read_log` returned, or with `columns` what it reads. What the log holds becomes what is
        sensed (linear between its readings), what it lacks is filled as above.
    failures : names of [[failure]] entries
        What goes wrong, as for `sixdof.fly`; after a no_separation break-wires follow the commands whatever the script says.
    expect : mapping of a rule's name to (earliest, latest), s since ignition, or None
        When it must fire; None: it must not.
    guidance, control : function, Law, CLaw or None
        Custom laws, called once per tick.
    columns : column map of `sixdof.postflight.read_log`, or None
        Reads `script` as a flight log.
    lead : time from ignition to the log's liftoff, s or with a unit
        Of a flight log alone, whose own times count from liftoff; rows earlier than ignition are left out.

    Returns
    -------
    Dataset
        Dims time (the ticks), reading, rule, canopy, stage, burn, separation, misfire, remark, and for the front stage quaternion and
        fin. `misfire` holds a sentence for everything that went wrong, `remark` for redundant triggers, waits, and separations without a command.
        `sixdof.report` prints it.

    Raises
    ------
    TypeError, ValueError, MissionError
        For what is not a mission, a script, stage, failure or window that cannot be, in one sentence.
    FlightError
        If the flight flown for the script diverged.
    LawError, or what the law raised
        If a custom law cannot be used or fails.

    Notes
    -----
    A flight looks at its rules every fifth tick in a quiet descent under canopies, a rehearsal at every tick. With three stages or more, `booster`
    of the script tells only when the last of them has gone: omitted, the commands tell of each.

    Examples
    --------
    >>> bench = sixdof.rehearse(mission)
    >>> list(bench.misfire.values)
    []
    """
    check_mission(mission, "rehearse")
    which = _stage_number(mission, stage, guidance, control)
    windows = _windows(mission, expect, which)
    draw = nominal_draw(mission)
    draw = draw._replace(failure=forced_failures(mission, draw.failure, failures))
    laws = bind(guidance, control)
    plan = plan_of(mission, mission.autopilot.rate)
    if script is None and columns is not None:
        raise ValueError("columns: there is no log that they are about; give its path as script")
    if script is None:
        found = _flown(plan, draw, laws, which)
    else:
        found = read_script(script) if columns is None and not is_log(script) else _logged(script, columns, mission, lead)
        _check_whose(found, mission, which)
    rows = on_ticks(mission, _own_wires(found, mission, which, plan.names, draw))
    return _dataset(_run(plan, draw, laws, which, rows, frozenset(found.columns), windows), found.origin)


# ---------------------------------------------------------------- what the user asks for


def _stage_number(mission: Mission, stage: str | None, guidance, control) -> int:
    names = [each.name for each in mission.stage]
    if stage is None:
        return 0
    if not isinstance(stage, str):
        raise TypeError(f"stage: {shown(stage)} must be the name of a stage, such as {names[0]!r}")
    if stage not in names:
        raise ValueError(f"stage: there is no stage {stage!r}; {suggestion(stage, names, 'stages')}")
    which = names.index(stage)
    if which and not any(each.owner == which for each in triggers(mission)):
        raise ValueError(f"stage: {stage} has nothing to rehearse, for no [[recovery]] names a canopy of it")
    if which and (guidance is not None or control is not None):
        raise ValueError(f"stage: {stage} has an altimeter and steers nothing; custom laws run in the computer of {names[0]}")
    return which


def _windows(mission: Mission, expect, which: int) -> dict[str, Window]:
    """Return the windows of `expect`, checked."""
    names, owners = names_of_rules(mission), [each.owner for each in triggers(mission)]
    found: dict[str, Window] = {}
    if expect is not None and not isinstance(expect, Mapping):
        raise TypeError(f"expect: {shown(expect)} must be a mapping of a rule's name to (earliest, latest) in seconds, or None")
    for name, window in (expect or {}).items():
        if not isinstance(name, str):
            raise TypeError(f"expect: {shown(name)} must be the name of a rule")
        if name not in names:
            raise ValueError(f"expect: there is no rule {name!r}; {suggestion(name, names, 'rules')}")
        owner = owners[names.index(name)]
        if owner != which:
            hint = f"rehearse with stage={mission.stage[owner].name!r}"
            raise ValueError(f"expect: {name!r} is run by {mission.stage[owner].name}, not by {mission.stage[which].name}; {hint}")
        found[name] = None if window is None else _window(name, window)
    return found


def _window(name: str, window) -> tuple[float, float]:
    try:
        earliest, latest = (float(t) for t in window)
    except (TypeError, ValueError, OverflowError):
        text = f"must be (earliest, latest) in seconds, or None, not {shown(window)}"
        raise ValueError(f"expect: the window of {name!r} {text}") from None
    if not earliest <= latest:
        text = f"begins at {earliest:g} s, after its end at {latest:g} s; give (earliest, latest)"
        raise ValueError(f"expect: the window of {name!r} {text}")
    return earliest, latest


def _logged(script, columns, mission: Mission, lead: float | str) -> Script:
    """Return a flight log as a script."""
    found, stage = columns_of_log(script, columns, mission, lead_of(lead))
    return checked_script(Script(found, str(script) if isinstance(script, (str, Path)) else "a flight log", stage or mission.stage[0].name))


def _check_whose(script: Script, mission: Mission, which: int) -> None:
    """Raise ValueError for a recording of another stage's computer."""
    names = [stage.name for stage in mission.stage]
    if script.of is not None and (script.of or names[0]) != names[which]:
        hint = "leave the script out (the mission is flown for it), or give columns"
        raise ValueError(f"{script.source}: this is what the computer of {script.of or names[0]} sensed, not {names[which]}'s; {hint}")


def _own_wires(script: Script, mission: Mission, which: int, failures: list[str], draw: FlightDraw) -> Script:
    """Return a script whose break-wires follow the commands where what it tells of them does not hold or is not enough."""
    failed = any(draw.failure[failures.index(each.name)] > 0.0 for each in mission.failure if each.kind == "no_separation")
    # a flight's flag tells only whether anything is attached, and of three stages two part
    if failed or (script.of == FLIGHT and len(mission.stage) > 2 and which == 0):
        return script._replace(columns={name: values for name, values in script.columns.items() if name != "booster"})
    if script.of is not None and "booster" in script.columns:  # a flag: all of them, or none
        flag = script.columns["booster"]
        attached = np.where(flag > 0.5, float(len(mission.stage)), flag)
        return script._replace(columns=script.columns | {"booster": attached})
    return script


# ---------------------------------------------------------------- a flight flown for it


def _flown(plan: Plan, draw: FlightDraw, laws: Laws, which: int) -> Script:
    """Fly once and return what the computer of a stage sensed at every tick."""
    runner = FlightRunner(plan, laws, log_rows(plan.model(0, plan.count - 1)))
    flown = runner.run(draw)
    if Status(flown.status).by_law:
        laws.report(runner.failed, flown.status)
    if flown.status == Status.DIVERGED:
        raise FlightError(f"the flight flown for the script ends after {flown.time:.2f} s: {Status.DIVERGED.sentence}")
    rows = _sensed_by(flown, which)
    columns = {name: rows[:, i] for i, name in enumerate(ly.SENSED) if name in READ}
    return Script(columns, f"one flight of the mission as written, to {flown.time:.2f} s", FLIGHT)


def _sensed_by(flown: Flown, stage: int) -> np.ndarray:
    """Return the readings (rows, SENSED) of a stage from the start: of those ahead while it was joined to them, then its own."""
    rows, ahead = flown.logs[stage], stage
    while ahead > 0 and (not len(rows) or rows[0, 0] > 0.0):
        ahead -= 1
        earlier = flown.logs[ahead]
        rows = np.concatenate([earlier[earlier[:, 0] < rows[0, 0]] if len(rows) else earlier, rows])
    return rows[:, -len(ly.SENSED) :]


# ---------------------------------------------------------------- the run


def _run(plan: Plan, draw: FlightDraw, laws: Laws, which: int, rows: np.ndarray, given: frozenset[str], expect) -> Ran:
    """Run one stage's computer over the rows of a script."""
    mission, last = plan.mission, plan.count - 1
    model, own_draw = plan.segment(0, last, draw)
    model = model._replace(computer=model.computer._replace(rules=rules_table(mission, [which])), leg=model.leg._replace(main=1 if which == 0 else 0))
    work = laws.make_work(model)
    plan.prepare(work, draw)
    out, lent = np.zeros((len(rows), REHEARSAL_COLUMNS + work.fin_command.size)), lend(work)
    code = run_over(lend(model), lend(own_draw), lent, launch_frame(model.computer.azimuth), rows, _burn_times(mission), out)
    if overran(lent):
        code = Ending.LAW_NONSENSE
    if code != 0:
        laws.report(work, code)
    bench = Bench(
        mission,
        which,
        plan.triggers,
        names_of_rules(mission),
        work.rule_delay,
        work.rules,
        rows[:, 0],
        rows,
        out[:, RehearsalColumn.ATTACHED],
        out[:, RehearsalColumn.LIVE],
        work.notice,
        work.stage,
        work.deployed,
        work.canopy[:, CanopyColumn.FAILS],
        given,
        expect,
    )
    return Ran(bench, out)


class Ran(NamedTuple):
    """A rehearsal and the kernel's columns of every tick."""

    bench: Bench
    out: np.ndarray


def _burn_times(mission: Mission) -> np.ndarray:
    """Return how long the thrust curve of each stage's motors lasts together, s (stages,), 0 without a motor."""
    stages = range(len(mission.stage))
    return np.array([thrust_table(mission, k, [k]).time[-1] if placed_motors(mission, [k])[0] else 0.0 for k in stages])


# ---------------------------------------------------------------- the Dataset


def _dataset(ran: Ran, origin: str) -> xr.Dataset:
    bench, mission = ran.bench, ran.bench.mission
    entries = _over_time(ran) | _of_rules(bench) | _of_stages(bench) | _noticed(bench)
    for name, found in (("misfire", misfires(bench)), ("remark", remarks(bench))):
        entries[name] = (name, np.array(found, dtype=str), {"units": "1", "long_name": _SENTENCES[name]})
    coords = {
        "time": ("time", bench.time, {"units": "s", "long_name": "time since ignition"}),
        "reading": ("reading", np.array(READ), {"long_name": "what the flight computer reads"}),
        "reading_units": ("reading", np.array([unit_of(name) for name in READ]), {"long_name": "unit of the reading"}),
        "rule": ("rule", np.array(bench.rule_names, dtype=str), {"long_name": "event rule, or trigger of a recovery"}),
        "canopy": ("canopy", np.array(bench.canopy_names, dtype=str), {"long_name": "canopy"}),
        "stage": ("stage", np.array(bench.stage_names, dtype=str), {"long_name": "stage"}),
    }
    attrs = attributes(mission, stage=bench.stage_names[bench.stage], script=origin)
    attrs["history"] = attrs["history"].replace("flown", "rehearsed")
    return xr.Dataset(entries, coords, attrs)


_SENTENCES = {"misfire": "what went wrong", "remark": "redundant triggers, waits, and separations without a command"}


def _plain(dims, values, units: str, long_name: str):
    return dims, np.asarray(values), {"units": units, "long_name": long_name}


def _flag(dims, values, long_name: str, *meanings: str):
    attrs = {"flag_values": np.arange(len(meanings), dtype=np.int8), "flag_meanings": " ".join(meanings)}
    return dims, np.asarray(values).astype(np.int8), {"units": "1", "long_name": long_name} | attrs


def _times(dims, values, long_name: str):
    """Return an entry of times, NaN for those that the kernel holds as negative: it never happened."""
    values = np.asarray(values, dtype=float)
    return _plain(dims, np.where(values < 0.0, math.nan, values), "s", long_name)


def _over_time(ran: Ran) -> dict:
    bench, out = ran.bench, ran.out
    read = [ly.SENSED.index(name) for name in READ]
    entries = {
        "sensed": _plain(("time", "reading"), bench.rows[:, read], "as reading_units", "what the flight computer reads"),
        "sensed_speed": _plain("time", bench.speed(), "m/s", "speed over the ground by what is sensed"),
        "sensed_tilt": _plain("time", bench.tilt(), "rad", "angle of the nose from the vertical by what is sensed"),
        "attached": _plain("time", bench.attached.astype(int), "1", "stages attached behind, by the break-wires"),
    }
    if bench.stage:
        return entries  # an altimeter steers nothing
    fins = out[:, REHEARSAL_COLUMNS:]
    entries["fins_live"] = _flag("time", out[:, RehearsalColumn.LIVE], "whether the fins are live", "no", "yes")
    entries["guidance_mode"] = _flag("time", out[:, RehearsalColumn.MODE], "guidance", "profile", "waypoints", "hold")
    text = "commanded attitude, body to east-north-up, scalar first"
    entries["commanded_attitude"] = _plain(("time", "quaternion"), out[:, _GOAL].copy(), "1", text)
    for name, values in zip(("roll", "pitch", "yaw"), out[:, _DEMANDS].T):
        entries[f"{name}_demand"] = _plain("time", values.copy(), "rad", f"{name} demand of the control law")
    entries["fin_command"] = _plain(("time", "fin"), fins.copy(), "rad", "commanded fin angle")
    entries["quaternion"] = ("quaternion", np.array(["w", "x", "y", "z"]), {"long_name": "quaternion part"})
    entries["fin"] = ("fin", np.arange(1, fins.shape[1] + 1), {"long_name": "number of the control fin"})
    return entries


def _of_rules(bench: Bench) -> dict:
    count, own = len(bench.triggers), bench.own
    texts = [waited(bench, i) if i in own else "" for i in range(count)]
    stages, actions = [bench.stage_names[each.owner] for each in bench.triggers], [doing(bench, i) for i in range(count)]
    ready, acted = [due(bench, i) for i in range(count)], "whether the rule did what it says, or another had before"
    windows = [bench.expect.get(name) or (math.nan, math.nan) for name in bench.rule_names]
    earliest, latest = np.array(windows, dtype=float).reshape(-1, 2).T
    return {
        "rule_stage": _plain("rule", np.array(stages, dtype=str), "1", "stage whose computer runs the rule"),
        "rule_action": _plain("rule", np.array(actions, dtype=str), "1", "what the rule does"),
        "rule_armed": _times("rule", bench.rules[:, RuleState.ARMED], "time at which the rule's trigger was sensed"),
        "rule_due": _plain("rule", np.array(ready, dtype=float), "s", "time at which the rule's delay had run out"),
        "rule_fired": _times("rule", bench.rules[:, RuleState.FIRED], "time at which the rule fired"),
        "rule_acted": _flag("rule", bench.rules[:, RuleState.ACTED] > 0.5, acted, "no", "yes"),
        "rule_given_up": _times("rule", bench.rules[:, RuleState.GIVEN_UP], "time at which the rule gave up waiting for its conditions"),
        "rule_waited": _plain("rule", np.array(texts, dtype=str), "1", "conditions that held the rule when it was due"),
        "rule_earliest": _plain("rule", earliest, "s", "start of the window in which the rule is expected"),
        "rule_latest": _plain("rule", latest, "s", "end of the window in which the rule is expected"),
    }


def _of_stages(bench: Bench) -> dict:
    return {
        "deployment_commanded": _times("canopy", bench.opened, "time at which the canopy's deployment is commanded"),
        "ignition_commanded": _times("stage", bench.stages[:, StageColumn.IGNITE], "time at which the stage's ignition is commanded"),
        "separation_commanded": _times("stage", bench.stages[:, StageColumn.SEPARATE], "time at which the stage's separation is commanded"),
    }


def _noticed(bench: Bench) -> dict:
    def row(first: int) -> np.ndarray:
        return bench.notice[first : first + MOST_BURNS]

    burns, separations = (int((row(first) >= 0.0).sum()) for first in (Noticed.IGNITION, Noticed.SEPARATION))
    return {
        "liftoff_noticed": _times((), bench.notice[Noticed.LIFTOFF], "time at which liftoff is noticed"),
        "rail_departure_noticed": _times((), bench.notice[Noticed.RAIL], "time at which the rail has been left by the sensed place"),
        "apogee_noticed": _times((), bench.notice[Noticed.APOGEE], "time at which apogee is noticed"),
        "ignition_noticed": _times("burn", row(Noticed.IGNITION)[:burns], "time at which an ignition is noticed"),
        "burnout_noticed": _times("burn", row(Noticed.BURNOUT)[:burns], "time at which a burnout is noticed"),
        "separation_noticed": _times("separation", row(Noticed.SEPARATION)[:separations], "time at which a separation is noticed"),
    }
