"""Altimeter and delay settings that another motor makes wrong: what the rules say against when things happened in the flights flown.

Only flights in which nothing was drawn to fail are judged: a timer is there for those in which something does. A timer that backs something up is too
early where it comes before what it backs up, too late where it comes long after it; what would be right leaves room behind the latest flight. Where
one comes first it changes the flight (a canopy that opens on the way up makes its own apogee), so what is right is then read off flights without
timers (`without_timers`). Thresholds are the project's own:

    backup of a canopy     1 s behind the latest opening that it backs up (rounded up to 0.5 s), at most 5 s behind it
    motor's delay grain    as a backup; what would be right leaves room for what such delays scatter (NFPA 1125, from memory: 1.5 s or 20 %), in whole seconds
    backup timer of stages 0.3 s behind the latest separation or ignition, at most 2 s behind it
    fins live by a timer   behind the rail's end, by 0.1 s
    height of a canopy     50 m below the lowest apogee; full 30 m above the ground
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Recovery, Rule
from sixdof.results.names import rule_names
from sixdof.study.motor_choice.facts import DELAY_SCATTER
from sixdof.study.reading.doings import doings
from sixdof.study.reading.result import event_values, fact, meaningful

BACKUP_ROOM, BACKUP_LATE, BACKUP_STEP = 1.0, 5.0, 0.5  # s
STAGING_ROOM, STAGING_LATE, STAGING_STEP = 0.3, 2.0, 0.1
FINS_ROOM, FINS_STEP = 0.1, 0.1
BELOW_APOGEE, FULL_ABOVE, HEIGHT_STEP = 50.0, 30.0, 10.0  # m
TOLERATED = 0.01  # share of the flights that may be wrong
OK, EARLY, LATE, HIGH, LOW = "ok", "too early", "too late", "too high", "too low"
STATES = (OK, EARLY, LATE, HIGH, LOW)


class Setting(NamedTuple):
    """One setting. path : as `Mission.change` takes it. now, right : s or m. state : of STATES. share : of the flights in which it is wrong."""

    path: str
    what: str
    unit: str
    now: float
    right: float
    state: str
    share: float


def settings_of(mission: Mission, ds: xr.Dataset) -> list[Setting]:
    """Return the settings of a mission that depend on its motors, judged by an ensemble of it."""
    sound = meaningful(ds)
    if "branch" in ds:
        calm = sound & (ds["branch"].values.astype(str) == "nominal")
        sound = calm if calm.any() else sound
    if not sound.any():
        return []
    chosen = ds.isel(flight=np.flatnonzero(sound))
    return [*_of_recovery(mission, chosen), *_of_rules(mission, chosen)]


# ---------------------------------------------------------------- recovery


def _of_recovery(mission: Mission, ds: xr.Dataset) -> Iterator[Setting]:
    for entry in mission.recovery:
        path = f"recovery.{entry.canopy}"
        opened = _opening(mission, ds, entry)
        if entry.backup_time is not None:
            due = opened - event_values(ds, "liftoff")
            yield _timer(f"{path}.backup_time", f'backup of "{entry.canopy}", after liftoff', entry.backup_time, due, BACKUP_ROOM, BACKUP_LATE, BACKUP_STEP)
        if entry.motor_delay is not None:
            yield _grain(path, entry, opened - _burnout(mission, ds, entry))
        if entry.when == "falling_through":
            yield _height(mission, ds, entry)


def _opening(mission: Mission, ds: xr.Dataset, entry: Recovery) -> np.ndarray:
    """Return when the trigger that is not a timer deploys a canopy, or would have, s (flights,)."""
    fired = _fired(ds, f"deploy {entry.canopy}: {entry.when.replace('_', ' ')}")
    if entry.when != "apogee":
        return fired
    return np.where(np.isfinite(fired), fired, event_values(ds, "apogee", body=_owner(mission, entry)) + entry.delay)


def _fired(ds: xr.Dataset, rule: str) -> np.ndarray:
    """Return when a rule fired, by its name, s (flights,); NaN where it did not, or is not there."""
    names = [str(name) for name in ds["rule"].values]
    return fact(ds, "rule_fired", names.index(rule)) if rule in names else np.full(ds.sizes["flight"], np.nan)


def _owner(mission: Mission, entry: Recovery) -> int:
    return canopy_stages(mission)[[part.name for part in canopies(mission)].index(entry.canopy)]


def _burnout(mission: Mission, ds: xr.Dataset, entry: Recovery) -> np.ndarray:
    owner = _owner(mission, entry)
    return event_values(ds, "burnout" if owner == len(mission.stage) - 1 else f"burnout {mission.stage[owner].name}")


def _grain(path: str, entry: Recovery, due: np.ndarray) -> Setting:
    """Judge a pyrotechnic delay as it is marked; what would be right comes late enough however such delays scatter."""
    known = due[np.isfinite(due)]
    now = entry.motor_delay
    what = f'delay grain that ejects "{entry.canopy}", after burnout'
    if not known.size:
        return Setting(f"{path}.motor_delay", what, "s", now, math.nan, OK, 0.0)
    latest = float(known.max())
    right = float(math.ceil(max(latest + DELAY_SCATTER[0], latest / (1.0 - DELAY_SCATTER[1])) - 1e-9))
    early = float(np.mean(now < known))
    state = EARLY if early > TOLERATED else LATE if now > right + BACKUP_LATE else OK
    return Setting(f"{path}.motor_delay", what, "s", now, now if state == OK else right, state, {EARLY: early, LATE: 1.0}.get(state, 0.0))


def _height(mission: Mission, ds: xr.Dataset, entry: Recovery) -> Setting:
    """Judge the height at which a canopy is deployed by the apogees and by where it is full."""
    body = _owner(mission, entry)
    canopy = next(part for part in canopies(mission) if part.name == entry.canopy)
    apogee = event_values(ds, "apogee", "height", body=body)
    stretch, sink = (event_values(ds, f"line stretch {entry.canopy}", name, body=body) for name in ("height", "velocity_up"))
    full = stretch + sink * canopy.fill_time  # it sinks ever slower as it fills: the height is above this
    high, low = (float(np.mean(wrong)) for wrong in (apogee < entry.height, full < FULL_ABOVE))
    known, filled = apogee[np.isfinite(apogee)], full[np.isfinite(full)]
    most = HEIGHT_STEP * math.floor((known.min() - BELOW_APOGEE) / HEIGHT_STEP) if known.size else math.inf
    most = most if most > FULL_ABOVE else math.nan  # too low an apogee for any height
    least = entry.height + HEIGHT_STEP * math.ceil((FULL_ABOVE - filled.min()) / HEIGHT_STEP) if filled.size else entry.height
    state = HIGH if high > TOLERATED else LOW if low > TOLERATED else OK
    right = {HIGH: most, LOW: least}.get(state, entry.height)
    share = {HIGH: high, LOW: low}.get(state, 0.0)
    return Setting(f"recovery.{entry.canopy}.height", f'height at which "{entry.canopy}" is deployed', "m", entry.height, float(right), state, share)


# ---------------------------------------------------------------- event rules


def _of_rules(mission: Mission, ds: xr.Dataset) -> Iterator[Setting]:
    names, groups = rule_names(mission), list(doings(mission).values())
    for number, rule in enumerate(mission.rule):
        path = f"rule.{rule.name or number}.delay"
        if others := _backed_up(mission, number, groups):
            due = np.fmin.reduce([_fired(ds, names[k]) for k in others]) - event_values(ds, "liftoff")
            yield _timer(path, f'"{names[number]}", after liftoff', rule.delay, due, STAGING_ROOM, STAGING_LATE, STAGING_STEP)
        elif rule.when == "liftoff" and rule.action == "enable_fins":
            yield _fins(path, rule, _fired(ds, names[number]), ds, names[number])


def _backed_up(mission: Mission, number: int, groups: list[list[int]]) -> list[int]:
    """Return the rules that a rule backs up by a timer from liftoff on, [] for one that is no backup."""
    if mission.rule[number].when != "liftoff" or mission.rule[number].action not in ("separate", "ignite"):
        return []
    alike = next((group for group in groups if number in group), [])
    return [k for k in alike if k != number and (k >= len(mission.rule) or mission.rule[k].when not in ("liftoff", "time"))]


def without_timers(mission: Mission) -> Mission:
    """Return a mission without timers that back something up: of canopies, and of separations and ignitions."""
    changes = {
        f"recovery.{entry.canopy}.{key}": None for entry in mission.recovery for key in ("backup_time", "motor_delay") if getattr(entry, key) is not None
    }
    groups = list(doings(mission).values())
    rules = [f"rule.{k}" for k in range(len(mission.rule)) if _backed_up(mission, k, groups)]
    calm = mission.change(changes) if changes else mission
    return calm.remove(*rules) if rules else calm


def _fins(path: str, rule: Rule, fired: np.ndarray, ds: xr.Dataset, name: str) -> Setting:
    """Judge when the fins become live: not on the rail."""
    left = event_values(ds, "rail_departure")
    early = float(np.mean(fired < left))
    due = left - event_values(ds, "liftoff")
    right = _up(float(np.nanmax(due)) + FINS_ROOM, FINS_STEP) if early > TOLERATED else rule.delay
    return Setting(path, f'"{name}", after liftoff: the fins are live on the rail before it', "s", rule.delay, right, EARLY if early > TOLERATED else OK, early)


def _timer(path: str, what: str, now: float, due: np.ndarray, room: float, late: float, step: float) -> Setting:
    """Judge a timer by when what it backs up came, both counted from liftoff, s."""
    known = due[np.isfinite(due)]
    if not known.size:
        return Setting(path, what, "s", now, math.nan, OK, 0.0)
    latest = float(known.max())
    early, tardy = float(np.mean(now < known)), float(np.mean(now > known + late))
    state = EARLY if early > TOLERATED else LATE if now > latest + late else OK
    right = now if state == OK else _up(latest + room, step)
    return Setting(path, what, "s", now, right, state, {EARLY: early, LATE: tardy}.get(state, 0.0))


def _up(value: float, step: float) -> float:
    return round(step * math.ceil(value / step - 1e-9), 6)


# ---------------------------------------------------------------- as variables


def setting_entries(found: list[list[Setting]]) -> tuple[dict[str, tuple], list[str]]:
    """Return the settings of variants as variables (variant, setting), and the paths. found : of each variant, in one order."""
    paths = list(dict.fromkeys(one.path for row in found for one in row))
    table = [{one.path: one for one in row} for row in found]
    units = {one.path: one.unit for row in found for one in row}
    texts = {one.path: one.what for row in found for one in row}

    def values(field: str, blank) -> np.ndarray:
        return np.array([[getattr(row[path], field) if path in row else blank for path in paths] for row in table]).reshape(len(found), len(paths))

    states = np.array([[STATES.index(row[path].state) if path in row else 0 for path in paths] for row in table], dtype=np.int8).reshape(len(found), len(paths))
    flag = {"units": "1", "flag_values": np.arange(len(STATES), dtype=np.int8), "flag_meanings": " ".join(word.replace(" ", "_") for word in STATES)}
    both = ("variant", "setting")
    entries = {
        "setting_now": (both, values("now", math.nan), {"long_name": "setting as the mission has it", "units": "as setting_units"}),
        "setting_right": (both, values("right", math.nan), {"long_name": "setting that would be right", "units": "as setting_units"}),
        "setting_state": (both, states, {"long_name": "what is wrong with the setting", **flag}),
        "setting_share": (both, values("share", 0.0), {"long_name": "share of the flights in which the setting is wrong", "units": "1"}),
        "setting_units": ("setting", [units[path] for path in paths], {"long_name": "unit of the setting"}),
        "setting_what": ("setting", [texts[path] for path in paths], {"long_name": "what the setting sets"}),
    }
    return entries, paths
