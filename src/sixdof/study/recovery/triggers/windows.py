"""When each trigger may fire: windows over all branches, gaps between redundant triggers, and how often a backup beats or misses.

    mission -> branches.py (what may happen, one thing at a time) -> flights.py (each flown on the same draws: who fires when, what came of it)
      over outcomes.py (what came of it) and search.py (the last moment that saves a flight)
      -> ends.py (order statistics over the flights) -> the Dataset here -> text.py, plot/workshop/windows.py

A backup's setting is too early where it comes before a sound primary trigger, too late where, alone, it no longer saves the flight. Each flight has its own
two ends, exact to the computer's tick and to `tolerance`; a branch's window holds in `share` of its flights, by the one-sided bounds between
order statistics (H. A. David & H. N. Nagaraja, 2003, Order Statistics, section 7.1; S. S. Wilks, 1941, Ann. Math. Stat. 12, 91-96).
"""

from __future__ import annotations

import math
import sys
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.ensemble.request import whole
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.results.names import rule_names
from sixdof.study.landing.strata import strata_of, weighted_share
from sixdof.study.motor_choice.settings import STAGING_ROOM
from sixdof.study.recovery.triggers.branches import Branch, branches_of, calm
from sixdof.study.recovery.triggers.ends import advice, at_apogee, ends_of, least_setting, most_setting, window_of
from sixdof.study.recovery.triggers.flights import BEATS, MISSES, NOTHING, OUTCOMES, Flown, fly_branch
from sixdof.study.recovery.triggers.search import Sky, can_be_probed
from sixdof.study.recovery.triggers.triggers import SENSED, Action, actions_of, with_a_timer, with_primary
from sixdof.study.uncertainty.statistics import check_share

FIRST_FLIGHTS = 20  # that tell which trigger comes first
_SHARES = {
    "beats": (BEATS, "a backup comes before a sound primary trigger"),
    "misses": (MISSES, "what fires does not save the flight"),
    "nothing": (NOTHING, "nothing fires"),
}


def trigger_windows(
    mission: Mission,
    flights: int = 60,
    *,
    branches: Sequence[str] | Mapping[str, Mapping[str, Any]] | None = None,
    seed: int = 0,
    share: float = 0.99,
    confidence: float = 0.9,
    margin: str | float = "1 s",
    load_share: float = 1.0,
    tolerance: str | float = "0.1 s",
    sampling: str = "random",
    threads: int | None = None,
    client=None,
    progress: bool = True,
) -> xr.Dataset:
    """Tell when each backup of a recovery, a separation or an ignition may fire: over drawn flights and over all that may go wrong.

    Every branch is flown on the same draws: the mission's failures one at a time, made certain, and, without a probability, a stage that does not light or
    separate, a motor that burns short (70 % of the impulse in 70 % of the time), a bigger motor (another of the mission's that fits, else 125 % of the
    impulse), apogee noticed 4 s late, a drogue lost, and the trigger that senses lost of whatever has a backup.

    Parameters
    ----------
    flights : int
        In each branch. Showing a share of 99 % with confidence 90 % takes 230 flights without an exception.
    branches : list of names, dictionary, or None
        Names of some branches, which alone are flown then besides the nominal one; or branches of your own, name -> changes as `Mission.change` takes
        them, flown besides all others. None: all.
    seed, sampling, threads, client, progress
        As in `sixdof.disperse`.
    share : float
        Of the flights of each branch in which a setting must be right.
    confidence : float
        Of the one-sided bound of each end.
    margin : time
        Between a sound primary trigger and a backup, for the setting that is advised; of separations and ignitions 0.3 s at most.
    load_share : float
        Of its strength that a canopy or harness may bear where a backup deploys it.
    tolerance : time
        To which the last moment that saves a flight is searched, or 2 % of the time since apogee or burnout where that is more.

    Returns
    -------
    Dataset
        Dims branch, flight, action ("deploy drogue", "separate booster"), trigger (of them). `trigger_time` (branch, flight, trigger), s since ignition:
        when a trigger fires or would fire; `trigger_acted`. `reference_time` (branch, flight, action): true apogee, burnout or separation. `outcome`, a flag:
        what came of it. `trigger_gap`, the smallest gap between two triggers. `earliest_of_flight`, `latest_of_flight` (branch, flight, trigger): the ends
        of each flight's own window, as settings, s. `earliest`, `earliest_bound`, `latest`, `latest_bound` (branch, trigger): those that hold in `share`
        of the flights; NaN where a branch asks for no such end. `window_begin`, `window_end` (trigger), by `begin_branch`, `end_branch`; `setting`,
        `advised` (trigger; NaN where no setting satisfies all branches). `beats`, `misses`, `nothing` (branch, action): shares of flights; `*_overall`
        (action, end): those of all flights, with interval, by the probabilities of the failures.

    Raises
    ------
    TypeError, ValueError, MissionError
        For a mission without canopies or stages to act on, a branch that is not known, numbers out of range, and flights none of which leaves the rail.

    Examples
    --------
    >>> found = sixdof.workshop.trigger_windows(mission, 8, branches=["late_apogee: thistledown"], seed=1, progress=False)
    >>> bool(found.window_begin.sel(trigger="deploy drogue: backup") > 10.0)
    True
    """
    check_mission(mission, "trigger_windows")
    sky = _sky(flights, seed, sampling, load_share, tolerance, threads, client)
    check_share(share), check_share(confidence, "confidence")
    room = _time(margin, "margin")
    flown_as = with_a_timer(mission)
    actions = actions_of(flown_as, mission)
    if not actions:
        raise ValueError("trigger_windows: nothing is deployed, separated or lit by a trigger; add [[recovery]] or a [[rule]] that acts on a canopy or a stage")
    actions, source = _ordered(flown_as, actions, sky)
    every = branches_of(flown_as, actions, branches)
    found = []
    for k, branch in enumerate(every):
        if progress:
            print(f"sixdof: branch {k + 1} of {len(every)}, {branch.name}", file=sys.stderr)
        searched = [one.name for one in actions if (branch.fails(one) or one.by_time) and can_be_probed(one)]
        found.append(fly_branch(branch, actions, sky, searched))
    if not found[0].left.any():
        raise ValueError(f"trigger_windows: none of {flights} flights without a failure leaves the rail, so no trigger has a window; choose a stronger motor")
    return _dataset(mission, flown_as, actions, every, found, share, confidence, room, sky).assign_attrs(source=source)


def _sky(flights, seed, sampling, load_share, tolerance, threads, client) -> Sky:
    count = whole(flights, "trigger_windows: flights", 2)
    if isinstance(load_share, bool) or not isinstance(load_share, int | float) or not 0.0 < load_share <= 1.0:
        raise ValueError(f"trigger_windows: load_share = {shown(load_share)} must be above 0 and at most 1, such as 0.5")
    options = {"threads": threads, "client": client, "progress": False}
    return Sky(count, seed, sampling, float(load_share), max(_time(tolerance, "tolerance"), 0.01), options)


def _time(value: str | float, name: str) -> float:
    try:
        found = parse(value, "s")
    except QuantityError as error:
        raise ValueError(f"trigger_windows: {name}: {error}") from None
    if not 0.0 <= found < math.inf:
        raise ValueError(f"trigger_windows: {name} = {shown(value)} must not be less than 0")
    return found


def _ordered(mission: Mission, actions: list[Action], sky: Sky) -> tuple[list[Action], str]:
    """Return the actions, each knowing which trigger comes first in sound flights, and what flew them."""
    some = sky._replace(flights=min(sky.flights, FIRST_FLIGHTS))
    nominal = Branch("nominal", "", calm(mission))
    ds = some.fly(nominal.mission, some.table(nominal))
    return with_primary(actions, ds), str(ds.attrs.get("source", ""))


# ---------------------------------------------------------------- the Dataset


def _dataset(mission, flown_as, actions, every, found, share, confidence, room, sky) -> xr.Dataset:
    triggers = [(k, one) for k, action in enumerate(actions) for one in action.triggers]
    numbers = [one.number for _, one in triggers]
    ds = xr.Dataset(coords=_coords(flown_as, actions, every, triggers, sky))
    three, facts = ("branch", "flight", "trigger"), ("branch", "flight", "action")

    def put(name: str, dims, values, units: str, text: str, **attrs) -> None:
        ds[name] = (dims, np.asarray(values), {"units": units, "long_name": text, **attrs})

    put("trigger_time", three, [one.due[:, numbers] for one in found], "s", "time at which the trigger fires or would fire, since ignition")
    put("trigger_acted", three, [one.acted[:, numbers].astype(np.int8) for one in found], "1", "whether the trigger did what it is for")
    put("reference_time", facts, [one.reference for one in found], "s", "true apogee, burnout or separation that the action is about, since ignition")
    put("primary_time", facts, [one.primary for one in found], "s", "time at which the primary trigger fires, or would without backups")
    put("outcome", facts, [one.outcome for one in found], "1", "what came of the action", **_flags(OUTCOMES))
    put("sound", ("branch", "action"), [[not branch.fails(action) for action in actions] for branch in every], "1", "whether the primary trigger is sound")
    put("trigger_gap", facts, [one.gap for one in found], "s", "smallest gap between two triggers of the action")
    put("action_height", facts, [one.height for one in found], "m", "height above ground at deployment, separation or ignition")
    put("action_airspeed", facts, [one.airspeed for one in found], "m/s", "airspeed at deployment, separation or ignition")
    put("full_height", facts, [one.full for one in found], "m", "height above ground at which the canopy is full, at least")
    put("broke", facts, [one.broke.astype(np.int8) for one in found], "1", "whether a canopy or harness of the stage was loaded beyond what it may bear")
    put("left_rail", ("branch", "flight"), [one.left.astype(np.int8) for one in found], "1", "whether the flight left the rail")
    _put_windows(put, actions, every, found, triggers, share, confidence, room, 1.0 / mission.autopilot.rate)
    _put_shares(put, mission, every, found, confidence)
    said = {"share": share, "confidence": confidence, "margin": room, "load_share": sky.load_share, "flights": sky.flights, "seed": sky.seed}
    ds.attrs = {"title": mission.title or "untitled", **said, "sampling": sky.sampling, "mission": mission.to_toml()}
    return ds


def _flags(words: Sequence[str]) -> dict[str, Any]:
    return {"flag_values": np.arange(len(words), dtype=np.int8), "flag_meanings": " ".join(words)}


def _coords(mission, actions, every, triggers, sky) -> dict[str, Any]:
    names = rule_names(mission)
    return {
        "branch": ("branch", [one.name for one in every], {"long_name": "branch"}),
        "branch_what": ("branch", [one.what for one in every], {"long_name": "what happens in the branch"}),
        "branch_weight": ("branch", [one.weight for one in every], {"units": "1", "long_name": "share of all flights; NaN where the branch has none"}),
        "flight": ("flight", np.arange(sky.flights), {"long_name": "flight"}),
        "action": ("action", [one.name for one in actions], {"long_name": "what triggers act on"}),
        "action_kind": ("action", [one.kind for one in actions], {"long_name": "deploy, separate or ignite"}),
        "trigger": ("trigger", [names[one.number] for _, one in triggers], {"long_name": "trigger"}),
        "trigger_action": ("trigger", [actions[k].name for k, _ in triggers], {"long_name": "what the trigger acts on"}),
        "trigger_how": ("trigger", [one.how for _, one in triggers], {"long_name": "sensed, timer from liftoff, or delay grain from burnout"}),
        "trigger_key": ("trigger", [one.key for _, one in triggers], {"long_name": "key of the mission that sets it"}),
        "judged": (
            "trigger",
            [actions[k].by_time if one is actions[k].first else one.how != SENSED for k, one in triggers],
            {"long_name": "whether it has a window"},
        ),
        "trigger_height": ("trigger", [one.height for _, one in triggers], {"units": "m", "long_name": "height above ground that the trigger waits for"}),
        "primary": ("trigger", [one is actions[k].first for k, one in triggers], {"long_name": "whether the others back it up"}),
    }


def _put_windows(put, actions, every, found, triggers, share, confidence, room, tick) -> None:
    many = (len(every), len(triggers))
    own = np.full((2, len(every), found[0].left.size, len(triggers)), np.nan)
    ends, windows, advised = np.full((4, *many), np.nan), [], []
    for j, (k, trigger) in enumerate(triggers):
        judged = actions[k].by_time if trigger is actions[k].first else trigger.how != SENSED
        for b, (branch, one) in enumerate(zip(every, found, strict=True)):
            if not judged:
                continue
            earliest, latest = ends_of(trigger, actions[k], k, branch, one, tick)
            own[:, b, :, j] = earliest, latest
            ends[:, b, j] = *least_setting(earliest, share, confidence), *most_setting(latest, share, confidence)
        seen = np.where(np.isposinf(ends[1, :, j]), np.fmax.reduce(own[0, :, :, j], axis=1), ends[1, :, j])  # too few flights for a bound: the latest seen
        last = np.where(np.isneginf(ends[3, :, j]), np.fmin.reduce(own[1, :, :, j], axis=1), ends[3, :, j])
        windows.append(window_of(seen, last))
        behind = room if actions[k].kind == "deploy" else min(room, STAGING_ROOM)
        if trigger is actions[k].first and judged:
            advised.append(
                at_apogee(windows[-1], trigger.how, found[0].reference[:, k] - found[0].armed[:, trigger.number] - found[0].drawn[:, trigger.number])
            )
        else:
            advised.append(advice(windows[-1], trigger.how, behind, trigger.setting) if judged else math.nan)
    each, two = ("branch", "flight", "trigger"), ("branch", "trigger")
    put("earliest_of_flight", each, own[0], "s", "setting up to which the backup beats a sound primary trigger")
    put("latest_of_flight", each, own[1], "s", "setting after which the backup alone no longer saves the flight; -inf where none does")
    put("earliest", two, ends[0], "s", "least setting that beats no sound primary trigger in the share of the flights asked for")
    put("earliest_bound", two, ends[1], "s", "upper bound of the least setting; infinite where the flights are too few")
    put("latest", two, ends[2], "s", "largest setting that saves the share of the flights asked for")
    put("latest_bound", two, ends[3], "s", "lower bound of the largest setting; -inf where the flights are too few")
    put("setting", "trigger", [one.setting for _, one in triggers], "s", "setting of the mission, from noticed liftoff or from burnout")
    put("window_begin", "trigger", [one.begin for one in windows], "s", "least setting that fits all branches")
    put("window_end", "trigger", [one.end for one in windows], "s", "largest setting that fits all branches; infinite where none bounds it")
    put("begin_branch", "trigger", [one.begin_by for one in windows], "1", "number of the branch that sets the least setting, -1 for none")
    put("end_branch", "trigger", [one.end_by for one in windows], "1", "number of the branch that sets the largest setting, -1 for none")
    put("advised", "trigger", advised, "s", "setting that fits all branches; NaN where none does")


def _put_shares(put, mission: Mission, every: list[Branch], found: list[Flown], confidence: float) -> None:
    for name, (code, text) in _SHARES.items():
        hits = np.array([[np.sum((one.outcome[:, k] == code) & one.left) for k in range(one.outcome.shape[1])] for one in found])
        flown = np.array([int(one.left.sum()) for one in found])
        shares = np.divide(hits, flown[:, None], out=np.full(hits.shape, np.nan), where=flown[:, None] > 0)
        put(name, ("branch", "action"), shares, "1", f"share of the branch's flights in which {text}")
        overall = [_overall(mission, every, hits[:, k], flown, confidence) for k in range(hits.shape[1])]
        put(f"{name}_overall", ("action", "end"), overall, "1", f"share of all flights in which {text}: estimate, lower and upper end")


def _overall(mission: Mission, every: list[Branch], hits: np.ndarray, flown: np.ndarray, confidence: float) -> list[float]:
    """Return the share of all flights by the probabilities of the failures: estimate, low, high; what was not flown widens it."""
    strata = strata_of(mission)
    names = [one.name for one in every]
    places = [0 if k == 0 else names.index(name) if name in names else -1 for k, name in enumerate(strata.names)]
    own = [(int(hits[k]), int(flown[k])) if k >= 0 else (0, 0) for k in places]
    return list(weighted_share([h for h, _ in own], [n for _, n in own], strata.weights, confidence))
