"""Loads on the rail guides, from rest to the departure of the aft one: statics while both hold, the swing about the aft one."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.study.probes.columns import Log
from sixdof.study.probes.columns import layout as ly
from sixdof.study.structure.loads.bending_air import air_along
from sixdof.study.structure.loads.bending_flights import FLIGHTS, OneFlight, asked_flights, each_one, flew
from sixdof.study.structure.loads.bending_instants import Instants, instants_of
from sixdof.study.structure.loads.bending_mass import spread_of

BUTTON_STRENGTH = 200.0  # N: across the rail, a moulded button on one screw of 4 mm in a backed wall: common practice, between 100 and 400
ENDS = ("fore", "aft")
SOURCES = ("weight", "wind and air", "motor off the axis", "friction")
PHASES = ("on both guides", "on the aft guide alone")


class GuideLoad(NamedTuple):
    """The largest load across the rail on one guide in a flight, N: when, s; how fast, m/s; in which of PHASES; shares of SOURCES."""

    load: float
    time: float
    speed: float
    phase: float
    sources: np.ndarray


NONE = GuideLoad(math.nan, math.nan, math.nan, math.nan, np.full(len(SOURCES), math.nan))


def guide_loads(
    mission: Mission | xr.Dataset, flights: int = FLIGHTS, *, seed: int = 0, threads: int | None = None, progress: bool = True, guidance=None, control=None
) -> xr.Dataset:
    """Return the loads on the first and the last rail guide in drawn flights, at every tick on the rail.

    The rail's force is what the kernel's own motion says: mass times specific force less the air's and the motor's. While both guides hold, the body does
    not turn, and the two forces across the rail follow from the moments about the centre of mass (closed form, both directions across); while the aft
    one alone holds, it carries all. Guides stand on the axis, as in the kernel: couples of friction and of a guide's height are left out, and so are a
    rail that is not straight, play, and shocks where rails are joined.

    Parameters
    ----------
    mission : Mission, or an ensemble as `sixdof.disperse` returns it, whose flights are then flown again.
    flights : how many flights are drawn, 0, 1, ... of `seed`.
    threads, progress, guidance, control : as in `sixdof.disperse`.

    Returns
    -------
    Dataset
        `guide_load` (flight, guide), N, the largest across the rail, with `guide_time`, `guide_speed`, `guide_phase` (0 on both guides, 1 on the aft one
        alone) and `guide_source` (.., guide_cause): weight across the rail, wind and air, motor off the axis, friction (with the swing on the aft guide
        alone in "weight"). `guide_strength`, the mission's `strength` or common practice (`guide_strength_given` 0), and `guide_share` of it.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission or an ensemble, or no number of flights.
    MissionError, LawError
        As `sixdof.fly`.

    Examples
    --------
    >>> found = sixdof.workshop.guide_loads(mission, 3)
    >>> bool((found.guide_load > 0.0).all())
    True
    """
    asked = asked_flights("guide_loads", mission, flights, seed, 0, (guidance, control))
    found = each_one(
        asked, lambda one: (one.number, one.branch, one.forced, loads_on_guides(one)), threads=threads, progress=progress, guidance=guidance, control=control
    )
    return guide_dataset(asked.mission, asked.seed, found)


def guides_of(mission: Mission) -> list[tuple[float, object]]:
    """Return (station in the whole stack, m, part) of every rail guide, from the front; a mission has two or more."""
    found, fore = [], 0.0
    for stage in mission.stage:
        found += [(fore + part.station, part) for part in stage.part if part.kind == "rail_guide"]
        fore += sum(part.length for part in stage.part if part.kind in ("nose", "tube", "transition"))
    return sorted(found, key=lambda one: one[0])


def loads_on_guides(one: OneFlight) -> tuple[GuideLoad, GuideLoad]:
    """Return the largest load on the fore and the aft guide in a flight."""
    log = one.track.log
    rows = np.flatnonzero(np.isin(log[:, Log.PHASE], (ly.Phase.ON_RAIL, ly.Phase.PIVOTING)) & (log[:, Log.AIRSPEED] > 0.0))
    if not flew(one) or not len(rows):
        return NONE, NONE
    (at,) = instants_of(one.track, rows)
    parts = reactions(one, at)
    pivoting = log[rows, Log.PHASE] == ly.Phase.PIVOTING
    return _largest(parts[0], log[rows], pivoting, ~pivoting), _largest(parts[1], log[rows], pivoting, np.ones(len(rows), dtype=bool))


def reactions(one: OneFlight, at: Instants) -> np.ndarray:
    """Return the forces of the rail on the fore and the aft guide across it, by source: (2, rows, SOURCES, 2), body y and z, N.

    While both hold: sum of forces and moments about the centre of mass without turning. Pivoting: all on the aft guide.
    """
    (fore, _), (aft, _) = guides_of(one.mission)[0], guides_of(one.mission)[-1]
    shape = one.plan.shape(0, at.last)
    air = air_along(at, shape, np.array([0.0, shape.length])).load
    dry = spread_of(one.mission, (0, at.last), shape, one.draw, np.array([0.0, shape.length]))
    total = at.mass[:, None]
    off = np.column_stack([dry.dry.y[-1] + at.unburnt * dry.grain.y[-1], dry.dry.z[-1] + at.unburnt * dry.grain.z[-1]]) / total
    held = total * at.force  # weight across the rail; on the aft guide alone with the swing
    friction = (held - air[:, :3] - at.push)[:, 0]
    zero = np.zeros(len(total))
    # what each source asks of the guides: force across (y, z), and moments about body y and z, all of it against its own
    asks = (
        (held[:, 1:], np.column_stack([zero, zero])),
        (-air[:, 1:3], -(air[:, 4:6] + air[:, :1] * np.column_stack([-off[:, 1], off[:, 0]]))),
        (-at.push[:, 1:], -_motor_moment(at, off)),
        (np.zeros((len(total), 2)), -friction[:, None] * np.column_stack([-off[:, 1], off[:, 0]])),
    )
    ahead, behind = at.cg - fore, at.cg - aft  # arms, forward
    pivoting = one.track.log[at.row, Log.PHASE] == ly.Phase.PIVOTING
    found = np.empty((2, len(total), len(SOURCES), 2))
    for k, (force, moment) in enumerate(asks):
        levers = np.column_stack([moment[:, 1], -moment[:, 0]])  # M_z = X F_y, M_y = -X F_z
        on_fore = (levers - behind[:, None] * force) / (ahead - behind)[:, None]
        found[0, :, k] = np.where(pivoting[:, None], 0.0, on_fore)
        found[1, :, k] = force - found[0, :, k]
    return found


def _motor_moment(at: Instants, off: np.ndarray) -> np.ndarray:
    """Return the moments of the motor's force about the centre of mass, body y and z, (rows, 2), N m."""
    x = at.cg - at.model.thrust.exit_x
    y, z = at.draw.offset_y - off[:, 0], at.draw.offset_z - off[:, 1]
    px, py, pz = at.push.T
    return np.column_stack([z * px - x * pz, x * py - y * px])


def _largest(parts: np.ndarray, log: np.ndarray, pivoting: np.ndarray, rows: np.ndarray) -> GuideLoad:
    """Return the largest load among rows. parts : (rows, SOURCES, 2)."""
    whole = parts.sum(axis=1)
    size = np.where(rows, np.linalg.norm(whole, axis=1), -1.0)
    k = int(np.argmax(size))
    if size[k] <= 0.0:
        return NONE
    shares = parts[k] @ whole[k] / size[k] ** 2
    speed = np.linalg.norm(log[k, Log.VELOCITY_EAST : Log.VELOCITY_UP + 1])
    return GuideLoad(float(size[k]), float(log[k, Log.TIME]), float(speed), float(pivoting[k]), shares)


def guide_dataset(mission: Mission, seed: str, found: list) -> xr.Dataset:
    """Return the Dataset of `guide_loads`. found : (number, branch, forced, (fore, aft)) of every flight."""
    ends = [guides_of(mission)[0], guides_of(mission)[-1]]
    own = [part.strength for _, part in ends]
    strength = np.array([BUTTON_STRENGTH if one is None else one for one in own])
    dims = ("flight", "guide")
    told = {
        "load": ("N", "largest load across the rail"),
        "time": ("s", "time since ignition of the largest load"),
        "speed": ("m/s", "speed over the ground at the largest load"),
        "phase": ("1", f"phase of the largest load: {', '.join(f'{k} {name}' for k, name in enumerate(PHASES))}"),
    }
    entries = {
        f"guide_{name}": (dims, np.array([[getattr(load, name) for load in loads] for *_, loads in found]), {"units": units, "long_name": meaning})
        for name, (units, meaning) in told.items()
    }
    sources = np.array([[load.sources for load in loads] for *_, loads in found])
    entries["guide_source"] = ((*dims, "guide_cause"), sources, {"units": "1", "long_name": "share of the largest load on the guide"})
    entries["guide_strength"] = ("guide", strength, {"units": "N", "long_name": "load across the rail that the guide with its screw carries"})
    given = np.array([int(one is not None) for one in own])
    entries["guide_strength_given"] = ("guide", given, {"units": "1", "long_name": "1: the mission's own strength, 0: common practice"})
    entries["guide_share"] = (dims, entries["guide_load"][1] / strength, {"units": "1", "long_name": "largest load over what the guide carries"})
    entries["guide_station"] = ("guide", np.array([x for x, _ in ends]), {"units": "m", "long_name": "station of the guide in the whole stack"})
    entries["branch"] = ("flight", np.array([one[1] for one in found], dtype=str), {"long_name": "failures of the flight, joined by +, or nominal"})
    entries["forced"] = ("flight", np.array([int(one[2]) for one in found]), {"units": "1", "long_name": "1: a failure was made to happen"})
    coords = {
        "flight": ("flight", np.arange(len(found)), {"long_name": "flight"}),
        "guide": ("guide", [f"{end} guide" for end in ENDS], {"long_name": "rail guide"}),
        "guide_cause": ("guide_cause", list(SOURCES), {"long_name": "what loads the guide"}),
    }
    return xr.Dataset(entries, coords, {"title": mission.title, "seed": seed, "flights": len(found), "mission": mission.to_toml()})
