"""What a worker does: fly packed draws of one mission, and keep of each flight what an ensemble keeps."""

from __future__ import annotations

import queue
import threading
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import Future

import numpy as np

from sixdof.core.whole.tables import Block
from sixdof.draws.drawn import drawn_mission, path_names
from sixdof.draws.flight_draw import COMMON, FlightDraw
from sixdof.flight.laws import bind
from sixdof.flight.model import log_rows
from sixdof.flight.plan import Plan, plan_of
from sixdof.flight.runner import ALL, FlightRunner, blank_block
from sixdof.mission.mission import Mission
from sixdof.results.dataset import track_columns

TRACK_RATE = 10.0  # rows of the log per second from which the points of a track are picked, Hz
TRACK_CROWDING = 1.7  # points of a track stand closer at its start, where more happens: place ~ (k/n)^1.7
PLANS = 256  # vehicles of other shapes whose tables are kept, of each mission: some 100 kB each
MISSIONS = 4  # whose plans are kept from one call to the next


def some_of(arrays, s):
    """Return some rows of a Block or of packed draws."""
    return type(arrays)(*(a[s] for a in arrays))


class BlockRunner:
    """Flies packed draws of one mission; threads share one, each process makes its own.

    tracked : the flights numbered below it keep their track (None: all, 0: none). in_threads : tables made anew for a draw come again so often
    that threads, which share what was made, do better than processes.
    """

    def __init__(self, mission: Mission, guidance=None, control=None, tracked: int | None = None, *, in_threads: bool = False):
        self.recipe = (mission, guidance, control, tracked)
        self.rate = mission.record.track_rate
        self.mission, self.laws = mission, bind(guidance, control)
        self.plan = plan_of(mission, log_rate=self.rate or TRACK_RATE)
        points = 0 if tracked == 0 else mission.record.track_points
        self.tracked = ALL if tracked is None else tracked
        self.rows = log_rows(self.plan.model(0, self.plan.count - 1)) if points else 0
        self.track = np.array(track_columns()), places(points) if self.rate is None else np.zeros(points)
        self.scratch = queue.SimpleQueue()
        self.in_threads = in_threads
        self.plans = _plans_of(mission, self.plan.log_rate)

    @property
    def plain(self) -> bool:
        """Return whether a law needs the interpreter's lock."""
        return any(b is not None and b.law.plain for b in (self.laws.guidance, self.laws.control))

    @property
    def wants_processes(self) -> bool:
        """Return whether flights need the interpreter's lock for most of their time: plain Python laws, tables made anew for each draw."""
        return self.plain or bool(path_names(self.mission)) and not self.in_threads

    def flight_runner(self) -> FlightRunner:
        """Return a FlightRunner that nobody else is using."""
        try:
            return self.scratch.get_nowait()
        except queue.Empty:
            return FlightRunner(self.plan, self.laws, self.rows, self.track)

    def blank(self, count: int) -> Block:
        """Return the empty results of `count` flights."""
        return blank_block(self.plan, count, self.track)

    def run(self, draws: FlightDraw) -> Block:
        """Return what the flights of some packed draws leave."""
        runner = self.flight_runner()
        block = self.blank(len(draws.common))
        if not draws.path.size:
            runner.fly(draws, block, tracked=self.tracked)
        else:  # each flight has tables of its own
            for i, number in enumerate(draws.common[:, COMMON.index("flight")]):
                runner.plan = self.plan_of(draws.path[i], int(number))
                one = slice(i, i + 1)
                runner.fly(some_of(draws, one), some_of(block, one), tracked=self.tracked)
        self.scratch.put(runner)
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
        return self.plans.of(path.tobytes(), lambda: Plan(drawn_mission(self.mission, path, flight=number), log_rate=self.plan.log_rate))


class _Plans:
    """Plans by the numbers they were made for, those used last; a plan that one thread is making is waited for by the others."""

    def __init__(self) -> None:
        self.made: OrderedDict[bytes, Future] = OrderedDict()
        self.lock = threading.Lock()

    def of(self, key: bytes, make: Callable[[], Plan]) -> Plan:
        """Return the plan of a key, made if it is not kept. Raises what making it raises."""
        with self.lock:
            found = self.made.get(key)
            mine = found is None
            if found is None:
                found = self.made[key] = Future()
            self.made.move_to_end(key)
            while len(self.made) > PLANS:
                self.made.popitem(last=False)
        if mine:
            try:
                found.set_result(make())
            except BaseException as error:
                with self.lock:
                    self.made.pop(key, None)
                found.set_exception(error)
        return found.result()


# by identity of a mission and of its motors, whose dictionary Python cannot freeze; both are kept too: an id is nobody else's as long
_kept: OrderedDict[tuple, tuple[Mission, tuple, _Plans]] = OrderedDict()
_keeping = threading.Lock()


def _plans_of(mission: Mission, log_rate: float | None) -> _Plans:
    """Return the plans of a mission's draws, those made before if this very mission was flown lately."""
    motors = tuple(mission.motor.values())
    key = (id(mission), log_rate, *map(id, motors))
    with _keeping:
        found = _kept.setdefault(key, (mission, motors, _Plans()))[2]
        _kept.move_to_end(key)
        while len(_kept) > MISSIONS:
            _kept.popitem(last=False)
    return found


def places(points: int) -> np.ndarray:
    """Return where the points of a track lie in a log of length 1, closer at its start."""
    return np.linspace(0.0, 1.0, points) ** TRACK_CROWDING
