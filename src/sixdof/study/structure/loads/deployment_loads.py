"""Loads as canopies come out: on the bulkheads that harness and charge pull and push, and on what stands on them."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.autopilot.canopies import canopies, canopy_stages
from sixdof.flight.harness import cut_of
from sixdof.mission.mission import Mission
from sixdof.results.facts import CANOPY_FACTS, JOINT_FACTS
from sixdof.results.names import canopy_names, event_names
from sixdof.study.probes.columns import G0, HarnessDraw, Log, StageDraw
from sixdof.study.structure.loads.bending_flights import FAILING, FLIGHTS, OneFlight, asked_flights, each_one, flew
from sixdof.vehicle.charge import bay_of, gauge_pressure

SIDES = ("fore", "aft")
CAUSES = ("opening", "snatch", "charge")


class Opened(NamedTuple):
    """What one canopy does in a flight. opening, snatch, charge : N, NaN where there is none. airspeed : at line stretch, m/s. mass : (2,) of the pieces
    fore and aft of the cut, kg; all in the fore one without a harness. acceleration, bulkhead : (CAUSES, 2) of the pieces, m/s^2, and on the bulkhead of
    each, N. items : {number of a mass: side}. canopy_share, cord_share : of its strength as drawn that the canopy, and the cord of its harness, carries."""

    opening: float
    snatch: float
    charge: float
    airspeed: float
    time: float
    canopy_share: float
    cord_share: float
    mass: np.ndarray
    acceleration: np.ndarray
    bulkhead: np.ndarray
    items: dict[int, int]


class Item(NamedTuple):
    """A part of kind mass: stage, name, mass (kg), station in its stage (m)."""

    stage: int
    name: str
    mass: float
    station: float


def deployment_loads(
    mission: Mission | xr.Dataset,
    flights: int = FLIGHTS,
    *,
    seed: int = 0,
    failing: int = FAILING,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Return the loads as canopies come out, in drawn flights and in branches of the mission's failures: what bulkheads and mountings must carry.

    The opening load and the snatch of the harness are the kernel's own. The harness divides the body in two pieces: its snatch pulls on both
    bulkheads; of the opening load the bulkhead of the canopy's piece carries all, the other what its piece weighs of the whole. Accelerations are load
    over mass. A charge presses on both bulkheads with its largest pressure (in the air at the rail) times the bay's section. Left out: how
    bulkheads and harness give way (a stiff body, which makes accelerations shorter and larger than a sensor on foam feels), and whip.

    Parameters
    ----------
    mission : Mission, or an ensemble as `sixdof.disperse` returns it, whose flights are then flown again.
    flights : how many flights are drawn, 0, 1, ... of `seed`.
    failing : so many flights more with each failure of the mission made certain alone (`forced` = 1).
    threads, progress, guidance, control : as in `sixdof.disperse`.

    Returns
    -------
    Dataset
        By (flight, canopy): `deployed_opening`, `deployed_snatch`, `deployed_charge`, N, `deployed_airspeed`, m/s, `deployed_time`, s,
        `canopy_share` and `cord_share` of their strengths, the cord's as drawn. By (flight, canopy, cause, side): `piece_acceleration`,
        m/s^2, and `bulkhead_load`, N; `piece_mass` (flight, canopy, side). By (flight, item), items the parts of kind "mass":
        `item_acceleration`, the larger of a deployment's and the climb's, `item_load` (mass times it), `item_canopy` (number of the canopy,
        -1 the climb). `deployment_acceleration` (flight), the largest of all pieces. NaN where a canopy did not come out; without a harness
        the piece is the whole body and stands on the fore side.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission or an ensemble, or no number of flights, and for a mission without canopies.
    MissionError, LawError
        As `sixdof.fly`.

    Examples
    --------
    >>> found = sixdof.workshop.deployment_loads(mission, 3)
    >>> found.piece_acceleration.dims
    ('flight', 'canopy', 'cause', 'side')
    """
    asked = asked_flights("deployment_loads", mission, flights, seed, failing, (guidance, control))
    if not canopy_names(asked.mission):
        raise ValueError("deployment_loads: the mission has no canopy that could come out; give a part of kind parachute and a [[recovery]]")
    found = each_one(
        asked,
        lambda one: (one.number, one.branch, one.forced, opened_canopies(one), climb_acceleration(one)),
        threads=threads,
        progress=progress,
        guidance=guidance,
        control=control,
    )
    return deployment_dataset(asked.mission, asked.seed, found)


def items_of(mission: Mission) -> list[Item]:
    """Return the parts of kind mass of all stages."""
    return [
        Item(k, f"{stage.name}: {part.name or 'mass'}", part.mass, part.station)
        for k, stage in enumerate(mission.stage)
        for part in stage.part
        if part.kind == "mass"
    ]


def opened_canopies(one: OneFlight) -> list[Opened | None]:
    """Return what each canopy does in a flight, None where its lines were never stretched."""
    if not flew(one):
        return [None] * len(one.plan.canopies)
    return [_opened(one, c) for c in range(len(one.plan.canopies))]


def climb_acceleration(one: OneFlight) -> np.ndarray:
    """Return the largest specific force that each stage feels from ignition to apogee while it flies with the front one, (stages,), m/s^2."""
    if not flew(one):
        return np.full(one.plan.count, math.nan)
    log = one.track.log
    size = np.linalg.norm(log[:, Log.SPECIFIC_FORCE_X : Log.SPECIFIC_FORCE_Z + 1], axis=1)
    apogee = one.flown.events[0, event_names(one.mission).index("apogee"), 0]
    apart = one.flown.joint[:, JOINT_FACTS.index("separation_time")] if len(one.flown.joint) else np.zeros(0)
    until = [np.fmin.reduce([apogee, *apart[:k]]) for k in range(one.plan.count)]
    return np.array([np.max(size[log[:, Log.TIME] < end], initial=0.0) if math.isfinite(end) else math.nan for end in until])


def _opened(one: OneFlight, c: int) -> Opened | None:
    facts = dict(zip(CANOPY_FACTS, one.flown.canopy[c]))
    if not math.isfinite(facts["line_stretch_airspeed"]):
        return None
    mission, name = one.mission, one.plan.canopies[c]
    stage = canopy_stages(mission)[c]
    times = one.flown.events[:, event_names(mission).index(f"line stretch {name}"), 0]
    if not math.isfinite(times[stage]):
        body = int(np.flatnonzero(np.isfinite(times))[0])
        return _on_loose_piece(one, facts, c, body - one.plan.count, stage, times[body])
    time = times[stage]
    first, last = _together(one, stage, time)
    number = next((h for h, harness in enumerate(mission.harness) if harness.canopy == name), None)
    mass, cut = _pieces(one, stage, number, first, last, time)
    opening = max(facts["opening_load"], 0.0)
    harnessed = number is not None and mass.min() > 0.0
    snatch = facts["snatch_load"] if harnessed else math.nan
    charge = _charge_force(mission, stage, number) if harnessed else math.nan
    acceleration, bulkhead = _loads(opening, snatch, charge, mass, harnessed and mission.harness[number].canopy_on == "aft")
    items = {k: _side(one, item, first, last, cut) for k, item in enumerate(items_of(mission)) if first <= item.stage <= last}
    return Opened(opening, snatch, charge, facts["line_stretch_airspeed"], time, *_strained(one, c, number, bulkhead), mass, acceleration, bulkhead, items)


def _charge_force(mission: Mission, stage: int, number: int) -> float:
    """Return the largest force of a harness's charge on either bulkhead, N: its gas in the shut bay, NaN without a charge."""
    harness = mission.harness[number]
    if harness.charge is None:
        return math.nan
    bay = bay_of(mission.stage[stage], harness)
    return gauge_pressure(harness.charge, bay) * bay.area


def _strained(one: OneFlight, c: int, number: int | None, bulkhead: np.ndarray) -> tuple[float, float]:
    """Return the shares of their drawn strengths that a canopy and the cord of its harness carry, NaN where there is no strength."""
    strength = canopies(one.mission)[c].strength
    of_canopy = np.fmax.reduce(bulkhead[0]) / strength if strength is not None else math.nan
    if number is None or not np.isfinite(bulkhead[1]).any():
        return of_canopy, math.nan
    harness = one.mission.harness[number]
    loose = 1 if harness.canopy_on == "fore" else 0
    load = np.fmax(bulkhead[0, loose], bulkhead[1, loose])
    return of_canopy, load / (harness.strength * one.draw.harness[number, HarnessDraw.STRENGTH])


def _on_loose_piece(one: OneFlight, facts: dict, c: int, number: int, stage: int, time: float) -> Opened:
    """Return what a canopy does that opens on what a broken harness let go: that side of its cut by itself."""
    first, last = _together(one, stage, time)
    mass, cut = _pieces(one, stage, number, first, last, time)
    loose = 1 if one.mission.harness[number].canopy_on == "fore" else 0
    own, opening = np.array([mass[loose], 0.0]), max(facts["opening_load"], 0.0)
    items = {k: 0 for k, item in enumerate(items_of(one.mission)) if first <= item.stage <= last and _side(one, item, first, last, cut) == loose}
    acceleration, bulkhead = _loads(opening, math.nan, math.nan, own, False)
    whole = _strained(one, c, None, bulkhead)
    return Opened(opening, math.nan, math.nan, facts["line_stretch_airspeed"], time, *whole, own, acceleration, bulkhead, items)


def _loads(opening: float, snatch: float, charge: float, mass: np.ndarray, on_aft: bool) -> tuple[np.ndarray, np.ndarray]:
    """Return accelerations of the pieces, m/s^2, and loads on their bulkheads, N, (CAUSES, 2). mass : (2,), kg. on_aft : the aft piece keeps the canopy."""
    there = np.where(mass > 0.0, 1.0, np.nan)
    total = mass.sum()
    share = np.where([not on_aft, on_aft], 1.0, mass / total)  # the loose piece pulls by its harness as much of the load as it weighs of the whole
    bulkhead = np.array([opening * share, [snatch, snatch], [charge, charge]]) * there
    acceleration = np.array([np.full(2, opening / total), snatch / np.where(mass > 0.0, mass, 1.0), charge / np.where(mass > 0.0, mass, 1.0)]) * there
    return acceleration, bulkhead


def _together(one: OneFlight, stage: int, time: float) -> tuple[int, int]:
    """Return the first and the last stage that fly with a stage at a time."""
    apart = one.flown.joint[:, JOINT_FACTS.index("separation_time")] if len(one.flown.joint) else np.zeros(0)
    parted = [False, *(apart < time), False]  # parted[k]: stage k from stage k - 1; NaN is never
    first = max((k for k in range(1, stage + 1) if parted[k]), default=0)
    last = min((k - 1 for k in range(stage + 1, one.plan.count) if parted[k]), default=one.plan.count - 1)
    return first, last


def _pieces(one: OneFlight, stage: int, number: int | None, first: int, last: int, time: float) -> tuple[np.ndarray, float]:
    """Return the masses (2,) fore and aft of a harness's cut, kg, and the cut's station in the body, m; the whole body and its end without a harness.

    As drawn, with the propellant of motors that were not lit. The front body weighs what its log says, which knows what broke off before.
    """
    shape = one.plan.shape(first, last)
    station = one.mission.harness[number].separation_station if number is not None else shape.length
    cut = cut_of(one.mission, stage if number is not None else first, station, first, last, shape)
    unlit = {k for k in range(first, last + 1) if not _lit(one, k)}

    def weighed(dry, grains) -> float:
        return sum(lump.mass * one.draw.stage[k, StageDraw.MASS] for k, lump in dry) + sum(lump.mass for k, lump in grains if k in unlit)

    mass = np.array([weighed(cut.fore, cut.fore_grains), weighed(cut.aft, cut.aft_grains)])
    if number is None and first == 0:
        log = one.track.log
        mass = np.array([log[np.abs(log[:, Log.TIME] - time).argmin(), Log.MASS], 0.0])
    return mass, cut.at


def _lit(one: OneFlight, stage: int) -> bool:
    if stage == one.plan.count - 1:
        return True
    row = event_names(one.mission).index(f"ignition {one.mission.stage[stage].name}")
    return bool(np.isfinite(one.flown.events[:, row, 0]).any())


def _side(one: OneFlight, item: Item, first: int, last: int, cut: float) -> int:
    return int(one.plan.shape(first, last).stage_x0[item.stage - first] + item.station >= cut)


# ---------------------------------------------------------------- the Dataset


def deployment_dataset(mission: Mission, seed: str, found: list) -> xr.Dataset:
    """Return the Dataset of `deployment_loads`. found : (number, branch, forced, [Opened or None], accelerations of the
    climb) of every flight."""
    blank = Opened(*[math.nan] * 7, np.full(2, math.nan), np.full((len(CAUSES), 2), math.nan), np.full((len(CAUSES), 2), math.nan), {})
    rows = [[blank if one is None else one for one in opened] for *_, opened, _ in found]

    def table(field: str) -> np.ndarray:
        return np.array([[getattr(one, field) for one in row] for row in rows])

    by_canopy, by_piece = ("flight", "canopy"), ("flight", "canopy", "cause", "side")
    acceleration = table("acceleration")
    entries = {
        "deployed_opening": (by_canopy, table("opening"), {"units": "N", "long_name": "largest load of the opening canopy"}),
        "deployed_snatch": (by_canopy, table("snatch"), {"units": "N", "long_name": "snatch load of the harness"}),
        "deployed_charge": (by_canopy, table("charge"), {"units": "N", "long_name": "largest force of the charge on either bulkhead"}),
        "deployed_airspeed": (by_canopy, table("airspeed"), {"units": "m/s", "long_name": "airspeed at line stretch"}),
        "deployed_time": (by_canopy, table("time"), {"units": "s", "long_name": "time of line stretch"}),
        "canopy_share": (by_canopy, table("canopy_share"), {"units": "1", "long_name": "opening load over the canopy's strength"}),
        "cord_share": (by_canopy, table("cord_share"), {"units": "1", "long_name": "load of the harness's cord over its strength as drawn"}),
        "piece_mass": (("flight", "canopy", "side"), table("mass"), {"units": "kg", "long_name": "mass of the piece on that side of the cut"}),
        "piece_acceleration": (by_piece, acceleration, {"units": "m/s^2", "long_name": "largest acceleration of the piece"}),
        "bulkhead_load": (by_piece, table("bulkhead"), {"units": "N", "long_name": "largest load on the bulkhead of the piece"}),
        "branch": ("flight", np.array([one[1] for one in found], dtype=str), {"long_name": "failures of the flight, joined by +, or nominal"}),
        "forced": ("flight", np.array([int(one[2]) for one in found]), {"units": "1", "long_name": "1: a failure was made to happen"}),
        "draw_number": ("flight", np.array([one[0] for one in found]), {"units": "1", "long_name": "number of the draw"}),
        "deployment_acceleration": (
            "flight",
            _most(acceleration.reshape(len(rows), -1)),
            {"units": "m/s^2", "long_name": "largest acceleration of any piece at a deployment"},
        ),
    }
    items = items_of(mission)
    coords = {
        "flight": ("flight", np.arange(len(found)), {"long_name": "flight: those drawn, then those of the failures"}),
        "canopy": ("canopy", canopy_names(mission), {"long_name": "canopy"}),
        "cause": ("cause", list(CAUSES), {"long_name": "what makes the load"}),
        "side": ("side", list(SIDES), {"long_name": "piece ahead of the cut, or behind it"}),
    }
    if items:
        entries |= _items(items, rows, np.array([one[4] for one in found]))
        coords["item"] = ("item", [item.name for item in items], {"long_name": "part of kind mass"})
    forced = entries["forced"][1]
    return xr.Dataset(entries, coords, {"title": mission.title, "seed": seed, "flights": int((forced == 0).sum()), "mission": mission.to_toml()})


def _most(rows: np.ndarray) -> np.ndarray:
    """Return the largest of each row, NaN of one without a number."""
    return np.where(np.isfinite(rows).any(axis=1), np.fmax.reduce(rows, axis=1), np.nan)


def _items(items: list[Item], rows: list[list[Opened]], climb: np.ndarray) -> dict:
    """Return what the parts feel; climb : (flights, stages), m/s^2."""
    felt = np.full((len(rows), len(items), len(rows[0])), math.nan)
    for i, row in enumerate(rows):
        for c, one in enumerate(row):
            for k, side in one.items.items():
                felt[i, k, c] = np.fmax.reduce(one.acceleration[:, side])
    opened = _most(felt.reshape(-1, felt.shape[2])).reshape(felt.shape[:2])
    which = np.where(np.isfinite(opened), np.argmax(np.where(np.isfinite(felt), felt, -1.0), axis=2), -1)
    flown = climb[:, [item.stage for item in items]]
    worst = np.fmax(opened, flown)
    mass = np.array([item.mass for item in items])
    dims = ("flight", "item")
    return {
        "item_acceleration": (dims, worst, {"units": "m/s^2", "long_name": "largest acceleration of the part, in the climb or at a deployment"}),
        "item_load": (dims, worst * mass, {"units": "N", "long_name": "largest load that the part's mounting carries"}),
        "item_canopy": (dims, np.where(flown >= opened, -1, which), {"units": "1", "long_name": "number of the canopy whose deployment it is; -1 the climb"}),
        "item_mass": ("item", mass, {"units": "kg", "long_name": "mass of the part"}),
    }


def in_g(acceleration: float) -> float:
    """Return an acceleration, m/s^2, in standard gravities."""
    return acceleration / G0
