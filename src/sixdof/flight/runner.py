"""Flights of one mission: the scratch of a thread, and the kernel that flies them leg by leg.

What happens between legs is in `core/whole/`; here are the arrays it works on, and what a single flight leaves of them.
"""

from __future__ import annotations

import math

import numpy as np

from sixdof._jit import lend, lend_all
from sixdof.core import layout as ly
from sixdof.core.columns import Handover
from sixdof.core.leg.work import TRACE_ROWS, Work, make_events, make_log, make_work
from sixdof.core.whole.flights import fly_flights
from sixdof.core.whole.gap import GAP_COLUMNS
from sixdof.core.whole.tables import FLEET_COLUMNS, FLIGHT_COLUMNS, LUMP_COLUMNS, Block, Crew, FleetColumn, FlightColumn
from sixdof.draws.flight_draw import FlightDraw
from sixdof.flight.laws import Laws
from sixdof.flight.plan import Plan, packed_one
from sixdof.results.facts import BODY_FACTS, CANOPY_FACTS, JOINT_FACTS, RULE_FACTS, Flown

FACTS = tuple(name for name in Block._fields if name not in ("track", "status"))
ALL, NONE = math.inf, -math.inf  # flights numbered below it keep their track


class FlightRunner:
    """Flies draws of one mission; not shared between threads (`Plan` and `Laws` are).

    log_rows : rows there is room for in a log. track : (columns of the log that a track holds, where its points lie in a log of length 1, all
    zero for every n-th row), see core/whole/track.py; None where no tracks are kept.
    """

    def __init__(self, plan: Plan, laws: Laws, log_rows: int, track: tuple[np.ndarray, np.ndarray] | None = None):
        self.plan, self.laws, self.log_rows = plan, laws, log_rows
        self.track = (np.zeros(0, dtype=np.int64), np.zeros(0)) if track is None else track
        self.works = self._make_works()
        count = plan.count
        pieces = [self._piece_works(h) for h in range(len(plan.mission.harness))]
        rows = [each.get(divmod(number, count), self.works[0, count - 1]) for each in (self.works, *pieces) for number in range(count**2)]
        self.all_works, self.lent_works = rows, lend_all(rows)
        self.crews: dict[int, tuple[Crew, object]] = {}
        self.failed: Work | None = None  # scratch of a flight whose law failed

    def _make_works(self) -> dict[tuple[int, int], Work]:
        """Return scratch for the body of every stages (first, last); the air of a flight is that of all its bodies."""
        works = {key: self.laws.make_work(self.plan.model(*key)) if key[0] == 0 else make_work(self.plan.model(*key)) for key in self.plan.stacks}
        air = works[0, self.plan.count - 1].air
        return {key: work._replace(air=air) for key, work in works.items()}

    def _piece_works(self, harness: int) -> dict[tuple[int, int], Work]:
        """Return scratch for the loose piece of every body that a harness may divide."""
        stage = self.plan.canopy_stage[self.plan.canopies.index(self.plan.mission.harness[harness].canopy)]
        bodies = {key: work for key, work in self.works.items() if key[0] <= stage <= key[1]}
        return {key: make_work(self.plan.model(*key))._replace(air=work.air) for key, work in bodies.items()}

    def _crew(self, logs: int) -> tuple[Crew, object]:
        """Return what is gathered of a flight, as it is and as the kernels take it; logs : of how many bodies there is a log."""
        if logs not in self.crews:
            plan, whole = self.plan, self.plan.model(0, self.plan.count - 1)
            bodies, log = len(plan.bodies), make_log(whole, self.log_rows)
            crew = Crew(
                fleet=np.zeros((bodies, FLEET_COLUMNS), dtype=np.int64),
                order=np.zeros(bodies, dtype=np.int64),
                flight=np.zeros(FLIGHT_COLUMNS, dtype=np.int64),
                summary=np.zeros((bodies, len(ly.OUTCOMES))),
                log=np.empty((logs, *log.shape)),
                lump=np.zeros((plan.most_lumps, LUMP_COLUMNS)),
                unlit=np.zeros(plan.count),
                snatch=np.zeros(len(plan.canopies)),
                sides=np.zeros((plan.count, 2), dtype=np.int64),
                gap=np.zeros((plan.count, TRACE_ROWS, GAP_COLUMNS)),
                gap_rows=np.zeros(plan.count, dtype=np.int64),
                track_columns=self.track[0],
                track_place=self.track[1],
            )
            self.crews[logs] = crew, lend(crew)
        return self.crews[logs]

    def fly(self, draws: FlightDraw, block: Block, *, tracked: float = NONE, logs: int = 1) -> None:
        """Fly packed draws; what they leave goes into the rows of `block`. No lock is held meanwhile but by plain Python laws.

        tracked : flights numbered below it keep their track. logs : of how many bodies the last flight's logs are kept.
        """
        crew, lent = self._crew(logs)
        draws = FlightDraw(*(np.array(a, dtype=float) for a in draws))  # what came over a network cannot be written, and is another type to the kernels
        fly_flights(self.plan.lent_models(), self.lent_works, self.plan.staging, draws, lent, block, float(tracked))
        number = crew.flight[FlightColumn.LAW_FAILED]
        self.failed = self.all_works[number] if number >= 0 else None

    def run(self, draw: FlightDraw, *, log_others: bool = True) -> Flown:
        """Fly once. log_others : keep the logs of the other bodies too, not of the front one alone."""
        block, bodies = blank_block(self.plan, 1, self.track), len(self.plan.bodies)
        logs = bodies if log_others else 1
        self.fly(packed_one(draw), block, logs=logs)
        crew, _ = self._crew(logs)
        facts = {name: getattr(block, name)[0] for name in FACTS}
        time = float(self.all_works[crew.fleet[0, FleetColumn.WORK]].handover[Handover.TIME])
        gaps = [crew.gap[k, : crew.gap_rows[k]].copy() for k in range(1, self.plan.count)]
        return Flown(int(block.status[0]), time, **facts, logs=self._logs(crew, logs), gaps=gaps)

    def _logs(self, crew: Crew, kept: int) -> list[np.ndarray]:
        """Return the log of each body; stages that never separated share that of the body they are in."""
        logs = [crew.log[0, :0]] * len(self.plan.bodies)
        for b in crew.order[: crew.flight[FlightColumn.COUNT]]:
            stages = range(b, crew.fleet[b, FleetColumn.LAST] + 1) if b < self.plan.count else (b,)
            own = crew.log[b, : crew.fleet[b, FleetColumn.ROWS]].copy() if b < kept else crew.log[0, :0]
            for k in stages:
                logs[k] = own
        return logs


def blank_block(plan: Plan, count: int, track: tuple[np.ndarray, np.ndarray]) -> Block:
    """Return the empty results of `count` flights of a plan. track : as for `FlightRunner`."""
    whole, bodies = plan.model(0, plan.count - 1), len(plan.bodies)
    shapes = {
        "track": (track[1].size, track[0].size),
        "events": (bodies, *make_events(whole).shape),
        "summary": (len(ly.OUTCOMES),),
        "passed": (len(whole.computer.guidance.waypoint), 2),
        "body": (bodies, len(BODY_FACTS)),
        "joint": (plan.count - 1, len(JOINT_FACTS)),
        "rule": (len(plan.triggers), len(RULE_FACTS)),
        "canopy": (len(plan.canopies), len(CANOPY_FACTS)),
        "failure": (len(plan.names),),
    }
    return Block(**{name: np.full((count, *shape), np.nan) for name, shape in shapes.items()}, status=np.zeros(count, dtype=np.int8))
