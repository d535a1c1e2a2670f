"""The flights that loads are taken along: drawn as an ensemble draws them, and a few of every branch of the mission's failures."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import NamedTuple, TypeVar

import numpy as np
import xarray as xr
from tqdm import tqdm

from sixdof.draws.drawn import drawn_mission
from sixdof.draws.flight_draw import FlightDraw
from sixdof.draws.given import draws_of
from sixdof.draws.numbers import check_numbers
from sixdof.draws.packed import one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.ensemble.request import whole
from sixdof.flight.fly import check_laws
from sixdof.flight.laws import bind
from sixdof.flight.plan import Plan, plan_of
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.results.dataset import branch_names
from sixdof.results.facts import Flown
from sixdof.results.names import failure_names
from sixdof.results.status import Status
from sixdof.study.loops.linear_flight import Track
from sixdof.study.reading.result import mission_of, need_ensemble
from sixdof.study.structure.loads.bending_instants import flown_track

FLIGHTS = 40  # drawn, where the caller does not say
FAILING = 3  # with each failure made certain besides
Reduced = TypeVar("Reduced")


class OneFlight(NamedTuple):
    """One flown flight. number : of its draw. forced : whether its failure was made to happen. mission, plan : of its own draws of paths."""

    number: int
    branch: str
    forced: bool
    mission: Mission
    plan: Plan
    draw: FlightDraw
    track: Track
    flown: Flown


class Asked(NamedTuple):
    """What flights were asked for. rows : (number, forced, draw) of each."""

    mission: Mission
    seed: str
    rows: list[tuple[int, bool, FlightDraw]]


def asked_flights(who: str, mission: Mission | xr.Dataset, flights: int, seed: int, failing: int, laws: tuple = (None, None)) -> Asked:
    """Return the draws of the flights that a study was asked for.

    mission : whose flights 0, 1, ... of `seed` are drawn, or an ensemble, whose own draws are taken. failing : so many flights more of every failure,
    made certain alone.
    laws : of guidance and control, which must be those of an ensemble.

    Raises
    ------
    TypeError, ValueError
        For what is no mission or ensemble, number or seed.
    """
    if isinstance(mission, xr.Dataset):
        asked = of_ensemble(who, mission, laws)
    else:
        check_mission(mission, who)
        check_numbers(who, None, seed)
        count = whole(flights, f"{who}: flights", 1)
        packed = pack_draws(mission, draw_table(mission, seed, 0, count))
        asked = Asked(mission, str(seed), [(k, False, one_draw(packed, k)) for k in range(count)])
    return asked._replace(rows=[*asked.rows, *_forced(asked, whole(failing, f"{who}: failing", 0))])


def of_ensemble(who: str, ds: xr.Dataset, laws: tuple = (None, None)) -> Asked:
    """Return the draws of an ensemble's flights, as it was flown."""
    need_ensemble(ds, who, "status")
    mission = mission_of(ds, who)
    check_laws(ds, *laws, who)
    packed = pack_draws(mission, draws_of(ds, mission, repeated=True))
    return Asked(mission, str(ds.attrs.get("seed", "")), [(int(number), False, one_draw(packed, k)) for k, number in enumerate(ds["flight"].values)])


def _forced(asked: Asked, failing: int) -> Iterator[tuple[int, bool, FlightDraw]]:
    for failure in range(len(asked.mission.failure)):
        for number, _, draw in asked.rows[:failing]:
            happens = np.zeros(len(asked.mission.failure))
            happens[failure] = 1.0
            yield number, True, draw._replace(failure=happens)


def each_one(
    asked: Asked, function: Callable[[OneFlight], Reduced], *, threads: int | None = None, progress: bool = False, guidance=None, control=None
) -> list[Reduced]:
    """Fly each of the flights asked for, a row of the log a tick, and return what a function makes of it; flights that diverged or never left count too.

    threads : None: one per core. progress : show a bar.
    """
    laws, rate = bind(guidance, control), asked.mission.autopilot.rate
    names = failure_names(asked.mission)

    def one(row: tuple[int, bool, FlightDraw]) -> Reduced:
        number, forced, draw = row
        mission = drawn_mission(asked.mission, draw.path)
        plan = plan_of(mission, rate) if mission is asked.mission else Plan(mission, rate)
        track, flown = flown_track(mission, plan, draw, laws)
        branch = str(branch_names(names, flown.failure))
        return function(OneFlight(number, branch, forced, mission, plan, draw, track, flown))

    with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
        return list(tqdm(pool.map(one, asked.rows), total=len(asked.rows), desc="sixdof: loads", unit="", disable=not progress))


def flew(one: OneFlight) -> bool:
    """Return whether a flight left the rail and did not diverge."""
    return one.flown.status not in (Status.NO_LIFTOFF, Status.DIVERGED)
