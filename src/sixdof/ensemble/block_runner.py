"""What a worker does: fly packed draws of one mission, and keep of each flight what an ensemble keeps."""

from __future__ import annotations

import queue
import threading
from collections import OrderedDict
from typing import NamedTuple

import numpy as np

from sixdof.draws.drawn import drawn_mission, path_names
from sixdof.draws.flight_draw import COMMON, FlightDraw
from sixdof.draws.packed import one_draw
from sixdof.flight.laws import bind
from sixdof.flight.model import log_rows
from sixdof.flight.plan import Plan
from sixdof.flight.runner import FlightRunner
from sixdof.mission.mission import Mission
from sixdof.results.dataset import track_columns

TRACK_RATE = 10.0  # rows of the log per second from which the points of a track are picked, Hz
TRACK_CROWDING = 1.7  # points of a track stand closer at its start, where more happens: place ~ (k/n)^1.7
PLANS = 64  # vehicles of other shapes whose tables are kept: some 100 kB each


class Block(NamedTuple):
    """What a block of flights leaves, flights first: thinned tracks of the front body, and the facts of `facts.Flown`."""

    track: np.ndarray
    events: np.ndarray
    summary: np.ndarray
    passed: np.ndarray
    body: np.ndarray
    joint: np.ndarray
    rule: np.ndarray
    canopy: np.ndarray
    failure: np.ndarray
    status: np.ndarray


FACTS = Block._fields[1:-1]


def some_of(arrays, s):
    """Return some rows of a Block or of packed draws."""
    return type(arrays)(*(a[s] for a in arrays))


class BlockRunner:
    """Flies packed draws of one mission; threads share one, each process makes its own.

    tracked : the flights numbered below it keep their track (None: all, 0: none).
    """

    def __init__(self, mission: Mission, guidance=None, control=None, tracked: int | None = None):
        self.recipe = (mission, guidance, control, tracked)
        self.rate = mission.record.track_rate
        self.mission, self.laws = mission, bind(guidance, control)
        self.plan = Plan(mission, log_rate=self.rate or TRACK_RATE)
        self.points = 0 if tracked == 0 else mission.record.track_points
        self.tracked, self.columns = tracked, track_columns()
        self.rows = log_rows(self.plan.model(0, self.plan.count - 1)) if self.points else 0
        self.scratch = queue.SimpleQueue()
        self.shapes = FlightRunner(self.plan, self.laws, 0).shapes()
        self.plans: OrderedDict[bytes, Plan] = OrderedDict()
        self.plans_lock = threading.Lock()

    @property
    def plain(self) -> bool:
        """Return whether a law needs the interpreter's lock."""
        return any(b is not None and b.law.plain for b in (self.laws.guidance, self.laws.control))

    @property
    def wants_processes(self) -> bool:
        """Return whether flights need the interpreter's lock for most of their time: plain Python laws, tables made anew for each draw."""
        return self.plain or bool(path_names(self.mission))

    def flight_runner(self) -> FlightRunner:
        """Return a FlightRunner that nobody else is using."""
        try:
            return self.scratch.get_nowait()
        except queue.Empty:
            return FlightRunner(self.plan, self.laws, self.rows, self.columns)

    def blank(self, count: int) -> Block:
        """Return the empty results of `count` flights."""
        facts = {name: np.full((count, *self.shapes[name]), np.nan) for name in FACTS}
        track = np.full((count, self.points, len(self.columns)), np.nan)
        return Block(track=track, status=np.zeros(count, dtype=np.int8), **facts)

    def run(self, draws: FlightDraw) -> Block:
        """Return what the flights of some packed draws leave."""
        block, flight_runner = self.blank(len(draws.common)), self.flight_runner()
        numbers = draws.common[:, COMMON.index("flight")]
        for i, number in enumerate(numbers):
            draw = one_draw(draws, i)
            flight_runner.plan = self.plan_of(draw.path, int(number))
            flown = flight_runner.run(draw, log_others=False)
            for name in FACTS:
                getattr(block, name)[i] = getattr(flown, name)
            block.status[i] = flown.status
            if self.points and (self.tracked is None or number < self.tracked):
                log = flown.logs[0]
                block.track[i] = thinned(log, self.points) if self.rate is None else every_nth(log, self.points)
        self.scratch.put(flight_runner)
        return block

    def plan_of(self, path: np.ndarray, number: int) -> Plan:
        """Return the tables of one draw: the mission's own, or those of another shape, kept for when it comes again.

        Raises
        ------
        MissionError
            If the values drawn make no sound mission, naming the flight.
        """
        if not path.size:
            return self.plan
        key = path.tobytes()
        with self.plans_lock:
            if key in self.plans:
                self.plans.move_to_end(key)
                return self.plans[key]
        plan = Plan(drawn_mission(self.mission, path, flight=number), log_rate=self.plan.log_rate)
        with self.plans_lock:
            self.plans[key] = plan
            if len(self.plans) > PLANS:
                self.plans.popitem(last=False)
        return plan


def thinned(log: np.ndarray, points: int) -> np.ndarray:
    """Return `points` rows of a log from its first to its last, closer at the start; all of a shorter one, then NaN."""
    out = np.full((points, log.shape[1]), np.nan)
    if len(log) > points:
        place = np.linspace(0.0, 1.0, points) ** TRACK_CROWDING * (len(log) - 1)
        log = log[np.unique(np.round(place).astype(int))]
    out[: len(log)] = log
    return out


def every_nth(log: np.ndarray, points: int) -> np.ndarray:
    """Return every row of a log, then NaN; of one too long for `points` every second, third ... row, so that its end is there."""
    out = np.full((points, log.shape[1]), np.nan)
    step = -(-len(log) // points) or 1
    out[: len(log[::step])] = log[::step]
    return out
