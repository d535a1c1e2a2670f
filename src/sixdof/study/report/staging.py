"""Sections of the page about a result: stages, what lands where, recovery, which rule fired, branches.

Each function takes a flight or an ensemble and returns the section's lines, none where the section does not apply.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.page import indented
from sixdof.mission.tables import Harness, Parachute
from sixdof.study.reading.doings import doings
from sixdof.study.reading.page import counted, on_map, place, row_of
from sixdof.study.reading.result import (
    QUANTILES,
    apart,
    branches,
    came_down,
    drawn_factor,
    event_values,
    fact,
    is_ensemble,
    meaningful,
    mission_of,
    outcomes,
    pieces,
    plural,
)
from sixdof.study.report.hanging import airframe_share
from sixdof.study.uncertainty.scatter import radius

MOST_BRANCHES = 12  # rows of the table of branches; rarer ones are counted together
WAYS = ("not at all", "under a canopy", "nose first", "tail first", "tumbling", "broadside")  # of `descent`
CAUSES = ("not at all", "by command", "by drag", "by the upper motor")  # of `separation_cause`
_LIT, _COLUMN = "ignition ", 26


def _shares(words, codes: np.ndarray) -> str:
    """Return "under a canopy in 37, tumbling in 2 of 39 flights": how often each word's code comes, the most frequent first."""
    count = [(int((codes == code).sum()), word) for code, word in enumerate(words)]
    texts = [f"{word} in {number}" for number, word in sorted(count, key=lambda each: -each[0]) if number]
    return f"{', '.join(texts)} of {plural(codes.size)}"


# ---------------------------------------------------------------- stages


def stage_section(ds: xr.Dataset) -> list[str]:
    """Return how each joint separates and each upper stage ignites."""
    if not ds.sizes.get("joint"):
        return []
    lines = ["Stages and separation"]
    for k, name in reversed(list(enumerate(ds["joint"].values))):  # the last stage goes first
        lines += _joint(ds, k, str(name))
        lines += _ignition(ds, str(ds["body"].values[k]))
    return lines


def _joint(ds: xr.Dataset, k: int, name: str) -> list[str]:
    rows = (
        ("separation", "s", "separation_time", 2),
        ("separation speed", "m/s", "separation_speed", 2),
        ("smallest clearance afterwards", "m", "gap_min", 3),
        ("drag alone would separate it from", "s", "drag_separation_time", 2),
    )
    used = meaningful(ds)
    cause, touched = (fact(ds, name, k)[used] for name in ("separation_cause", "recontact"))
    if not used.any():
        return []
    title = [f"  {name}: separates {_shares(CAUSES, cause) if is_ensemble(ds) else CAUSES[int(cause[0])]}"]
    if (touched > 0.0).any():
        title.append(f"    the pieces touch again{' in ' + counted(touched > 0.0) if is_ensemble(ds) else ''}")
    return title + [row_of(ds, f"  {label}", unit, fact(ds, column, k), decimals) for label, unit, column, decimals in rows]


def _ignition(ds: xr.Dataset, name: str) -> list[str]:
    """Return the rows of an upper stage's ignition; nothing for a stage that has none."""
    event = _LIT + name
    if event not in ds["event"].values:
        return []
    used = meaningful(ds)

    def at(column, factor=1.0):
        return np.where(used, event_values(ds, event, column) * factor, np.nan)

    lit = np.isfinite(at("time"))[used]
    if not lit.any():
        return [f"  {name}: never ignited"]
    degrees = math.degrees(1.0)
    return [
        f"  {name}: ignited{' in ' + counted(lit) if is_ensemble(ds) else ''}",
        row_of(ds, "  time", "s", at("time"), 2),
        row_of(ds, "  tilt at ignition", "deg", at("tilt", degrees), 1),
        row_of(ds, "  tilt by the flight computer", "deg", at("sensed_tilt", degrees), 1),
        row_of(ds, "  airspeed at ignition", "m/s", at("airspeed"), 1),
        row_of(ds, "  height at ignition", "m", at("height"), 0),
    ]


# ---------------------------------------------------------------- landing


def landing_section(ds: xr.Dataset) -> list[str]:
    """Return where, how fast and how every piece comes down, of results with more than one body."""
    if ds.sizes["body"] < 2 or not meaningful(ds).any():
        return []
    of_one = _pieces_landing if is_ensemble(ds) else _piece_landing
    return ["Where every piece lands", *(line for k in pieces(ds) for line in of_one(ds, k)), *_attached(ds)]


def _attached(ds: xr.Dataset) -> list[str]:
    never = [str(name) for k, name in enumerate(ds["body"].values[: ds.sizes.get("joint", 0) + 1]) if k not in pieces(ds)]
    return [f"  {name} stays joined to the stage ahead of it" for name in never]


def _piece_landing(ds: xr.Dataset, k: int) -> list[str]:
    name = ds["body"].values[k]
    if not came_down(ds, k)[0]:
        return [f"  {name} does not come down"]
    facts = ("body_landing_east", "body_landing_north", "body_landing_time", "body_landing_ground_speed", "body_landing_energy", "fall_time", "descent")
    east, north, time, speed, energy, fall, way = (float(fact(ds, column, k)[0]) for column in facts)
    text = (
        f"{name} comes down {place(east, north)}, {WAYS[int(way)]}{_leaning(ds, k)}, at {speed:.1f} m/s with {energy:.0f} J, "
        f"{fall:.1f} s after its apogee, {time:.1f} s after ignition"
    )
    if "body_landing_latitude" in ds:
        text += f"; {on_map(*(float(fact(ds, f'body_landing_{name}', k)[0]) for name in ('latitude', 'longitude')))}"
    return indented([text])


def _leaning(ds: xr.Dataset, k: int) -> str:
    """Return " at 113 deg of incidence" of a body of a single flight that fell without a canopy."""
    incidence = fact(ds, "descent_incidence", k)[0] if "descent_incidence" in ds else math.nan
    return f" at {math.degrees(incidence):.0f} deg of incidence" if math.isfinite(incidence) else ""


def _pieces_landing(ds: xr.Dataset, k: int) -> list[str]:
    name, used = str(ds["body"].values[k]), meaningful(ds) & apart(ds, k)
    down = came_down(ds, k)[used]
    ways = _shares(WAYS, fact(ds, "descent", k)[used])
    east, north = (fact(ds, f"body_landing_{way}", k) for way in ("east", "north"))
    values = {
        "body_landing_ground_speed": ("speed at the ground", "m/s", 1),
        "body_landing_energy": ("energy at the ground", "J", 0),
        "fall_time": ("time from its apogee", "s", 1),
    }
    own = apart(ds, k)
    lines = indented([f"{name} comes down {ways}"])
    lines.append(row_of(ds, "  distance from the rail", "m", np.where(own, np.hypot(east, north), np.nan), 0))
    for column, (label, unit, decimals) in values.items():
        lines.append(row_of(ds, f"  {label}", unit, np.where(own, fact(ds, column, k), np.nan), decimals))
    if down.any():
        sub = ds[["body_landing_east", "body_landing_north", "status"]].isel(body=k, flight=own)
        centre = place(*(float(np.nanmean(outcomes(sub, f"body_landing_{way}"))) for way in ("east", "north")))
        reach = radius(sub, 0.95, x="body_landing_east", y="body_landing_north")
        lines.append(f"    mean place {centre}; 95 % of these lie within {reach:.0f} m of it")
    return lines


def way_section(ds: xr.Dataset) -> list[str]:
    """Return how a vehicle of one body comes down and with which energy; `landing_section` says it of several."""
    if ds.sizes["body"] > 1 or not came_down(ds, 0).any():
        return []
    down = meaningful(ds) & came_down(ds, 0)
    ways = fact(ds, "descent", 0)[down]
    text = _shares(WAYS, ways) if is_ensemble(ds) else WAYS[int(ways[0])] + _leaning(ds, 0)
    return [row_of(ds, "energy at the ground", "J", np.where(down, fact(ds, "body_landing_energy", 0), np.nan), 0), f"  comes down {text}"]


# ---------------------------------------------------------------- recovery


def canopies_of(mission: Mission) -> Iterator[tuple[Parachute, Harness | None]]:
    """Yield every canopy of a mission in the order of the dim `canopy`, and its harness."""
    harnesses = {harness.canopy: harness for harness in mission.harness}
    for stage in mission.stage:
        yield from ((part, harnesses.get(part.name)) for part in stage.part if part.kind == "parachute")


def recovery_section(ds: xr.Dataset) -> list[str]:
    """Return speed and loads of each canopy's opening; one row where nothing is known that could break or come apart."""
    if not ds.sizes.get("canopy"):
        return []
    mission = mission_of(ds, "summarise") if "mission" in ds.attrs else None
    known = list(canopies_of(mission)) if mission is not None else [(None, None)] * ds.sizes["canopy"]
    if ds.sizes["body"] < 2 and not any(harness or (part and part.strength) for part, harness in known):
        loads = np.array([fact(ds, "opening_load", k) for k in range(ds.sizes["canopy"])])
        lines = [row_of(ds, "largest load of a canopy", "N", np.fmax.reduce(loads), 0)]
        if mission is not None:
            most = np.max([airframe_share(ds, mission, k) for k in range(len(known))], axis=0)
            lines.append(row_of(ds, "airframe's part in the drag", "%", 100.0 * most, 0))
        return lines
    lines = ["Recovery"]
    for k, (part, harness) in enumerate(known):
        lines += _canopy(ds, mission, k, part, harness)
    return lines


def _canopy(ds: xr.Dataset, mission: Mission | None, k: int, part: Parachute | None, harness: Harness | None) -> list[str]:
    name = ds["canopy"].values[k]
    load, snatch = (fact(ds, column, k) for column in ("opening_load", "snatch_load"))
    lines = [
        f"  {name}",
        row_of(ds, "  airspeed at deployment", "m/s", fact(ds, "deployment_airspeed", k), 1),
        row_of(ds, "  airspeed at line stretch", "m/s", fact(ds, "line_stretch_airspeed", k), 1),
        row_of(ds, "  opening load", "N", load, 0),
    ]
    if part is not None and part.strength is not None:
        lines += _against(ds, "of its strength", load, part.strength)
    if mission is not None:
        lines.append(row_of(ds, "  airframe's part in the drag", "%", 100.0 * airframe_share(ds, mission, k), 0))
    if harness is not None:
        lines.append(row_of(ds, "  snatch of the ejection", "N", snatch, 0))
        lines += _against(ds, "of the harness's strength", snatch, harness_strength(ds, harness))
        loose = harness.tumbling_drag * drawn_factor(ds, "harness_tumbling_drag", "harness", harness.canopy)
        lines.append(row_of(ds, "  CD of a loose piece on its side", "", loose, 2))
    return lines


def harness_strength(ds: xr.Dataset, harness: Harness) -> np.ndarray:
    """Return the strength of a harness in every flight, (flights,), N: the mission's, times its draw where that is dispersed."""
    return harness.strength * drawn_factor(ds, "harness_strength", "harness", harness.canopy)


def _against(ds: xr.Dataset, label: str, load: np.ndarray, strength) -> list[str]:
    """Return the row of a load over a strength, and in an ensemble how many flights exceed it."""
    share = load / strength
    lines = [row_of(ds, f"    {label}", "%", 100.0 * share, 0)]
    there = np.isfinite(share)
    return [*lines, f"      exceeded in {counted(share[there] > 1.0)}"] if is_ensemble(ds) and there.any() else lines


# ---------------------------------------------------------------- what fired


def came_about(ds: xr.Dataset, what: str) -> np.ndarray:
    """Return for each flight whether one of `doings` came about, bool (flights,): a charge or an igniter may fail."""
    verb, name = what.split(" ", 1)
    event = {"deploy": f"deployment {name}", "ignite": f"ignition {name}", "separate": f"separation {name}"}[verb]
    bodies = range(ds.sizes["body"])
    return np.any([np.isfinite(event_values(ds, event, body=k)) for k in bodies], axis=0)


def fired_section(ds: xr.Dataset) -> list[str]:
    """Return which rule deployed each canopy, separated and ignited each stage.

    Of one stage only what has several rules, without a title: the page of a simple flight stays short.
    """
    if "mission" not in ds.attrs or not meaningful(ds).any():
        return []
    staged = ds.sizes["body"] > 1
    found = {what: rules for what, rules in doings(mission_of(ds, "summarise")).items() if staged or len(rules) > 1}
    told = _told_shares if is_ensemble(ds) else _told
    lines = [f"{what}: {told(ds, what, rules)}" for what, rules in found.items()]
    return ["Rules that fired", *indented(lines)] if staged and lines else indented(lines)


def _called(ds: xr.Dataset, what: str, rule: int) -> str:
    return str(ds["rule"].values[rule]).removeprefix(f"{what}: ")


_DONE = {"deploy": "opened", "separate": "separated", "ignite": "ignited"}


def _told(ds: xr.Dataset, what: str, rules: list[int]) -> str:
    """Return in words which rule did something in one flight, and what became of the others."""
    texts, worked, verb = [], came_about(ds, what)[0], _DONE[what.split(" ", 1)[0]]
    for rule in sorted(rules, key=lambda r: float(np.nan_to_num(fact(ds, "rule_fired", r)[0], nan=math.inf))):
        fired, acted, given_up = (float(fact(ds, f"rule_{x}", rule)[0]) for x in ("fired", "acted", "given_up"))
        name = f"'{_called(ds, what, rule)}'"
        if math.isfinite(given_up):
            texts.append(f"{name} gave up waiting at {given_up:.2f} s")
        elif not math.isfinite(fired):
            texts.append(f"{name} never fired")
        elif not acted:
            texts.append(f"{name} fired at {fired:.2f} s (already {'open' if verb == 'opened' else verb})")
        else:
            texts.append(f"{verb} by {name} at {fired:.2f} s" if worked else f"{name} fired at {fired:.2f} s without effect")
    return "; ".join(texts)


def _told_shares(ds: xr.Dataset, what: str, rules: list[int]) -> str:
    """Return in words how often each rule did something in an ensemble, and how often none did."""
    used = meaningful(ds)
    worked = came_about(ds, what)[used]
    did = np.array([fact(ds, "rule_acted", rule)[used] > 0.0 for rule in rules]) & worked
    texts = [f"'{_called(ds, what, rule)}' in {int(row.sum())}" for rule, row in zip(rules, did, strict=True)]
    none = int((~did.any(axis=0)).sum())
    return f"{_DONE[what.split(' ', 1)[0]]} by {'; '.join(texts)}{f'; not at all in {none}' if none else ''} of {plural(int(used.sum()))}"


# ---------------------------------------------------------------- branches


def branch_section(ds: xr.Dataset) -> list[str]:
    """Return how often each branch of failures came, and apogee and landing of the front body within it."""
    found = list(branches(ds).items()) if is_ensemble(ds) else []
    if len(found) < 2:
        return []
    head = f"  {'':<{_COLUMN}}{'flights':>8}{'share':>8}   {'apogee, m':^24}   {'from the rail, m':^24}"
    marks = "".join(f"{100.0 * share:>6.0f} %" for share in QUANTILES)
    lines = ["Branches", head.rstrip(), f"  {'':<{_COLUMN + 16}}   {marks}   {marks}"]
    for name, which in found[:MOST_BRANCHES]:
        lines += _branch(ds, name, which)
    rest = [which for _, which in found[MOST_BRANCHES:]]
    if rest:
        lines.append(f"  {len(rest)} rarer branches in {counted(np.any(rest, axis=0))}")
    return lines


def _branch(ds: xr.Dataset, name: str, which: np.ndarray) -> list[str]:
    distance = np.hypot(outcomes(ds, "landing_east"), outcomes(ds, "landing_north"))
    cells = "".join("   " + _quantiles(values[which]) for values in (outcomes(ds, "apogee_height"), distance))
    numbers = f"{int(which.sum()):>8}{100.0 * which.mean():>6.1f} %{cells}"
    if len(name) <= _COLUMN:
        return [f"  {name:<{_COLUMN}}{numbers}"]
    return [*indented([name]), f"  {'':<{_COLUMN}}{numbers}"]


def _quantiles(values: np.ndarray) -> str:
    values = values[np.isfinite(values)]
    if not values.size:
        return f"{'none':>8}{'':>16}"
    return "".join(f"{value:>8.0f}" for value in np.quantile(values, QUANTILES))
