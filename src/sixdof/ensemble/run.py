"""Many flights: draws in, one Dataset out; the same bits for any number of workers.

Threads fly built-in, jitted and C laws (kernels hold no lock); a plain Python law needs the interpreter's lock, so it flies in
processes.
"""

from __future__ import annotations

import os
import queue
import signal
import threading
from collections.abc import Iterator
from concurrent.futures import FIRST_COMPLETED, Executor, ProcessPoolExecutor, ThreadPoolExecutor, wait
from contextlib import contextmanager
from multiprocessing import get_context
from pathlib import Path
from typing import NamedTuple

import numpy as np
import xarray as xr
from tqdm import tqdm

from sixdof.flying import announced_compilation, log_rows
from sixdof.legs import FlightDraw
from sixdof.mission.schema import Mission

BLOCK = 8  # flights a worker takes at a time: short enough for Ctrl-C and the progress bar, long enough to cost nothing
POLL = 0.2  # s between looks whether Ctrl-C was pressed
TRACK_RATE = 10.0  # rows of the log a second from which the points of a track are picked, Hz
TRACK_CROWDING = 1.7  # points of a track stand closer at its start, where more happens: place ~ (k/n)^1.7


def disperse(
    mission: Mission,
    flights: int,
    *,
    seed: int = 0,
    first: int = 0,
    out: str | Path | None = None,
    overwrite: bool = False,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Fly a mission many times, each time with its own draw of `mission.disperse`.

    Flight i depends on (seed, i) alone: more flights, other threads or another machine of the same kind change nothing.

    Parameters
    ----------
    flights : int
        How many; they are numbered first, first + 1, ...
    seed : int
        0 .. 2^64 - 1.
    out : path or None
        A netCDF-4 file to write. It appears when all is done, or when Ctrl-C ends the run early.
    overwrite : bool
        Replace the file if it exists.
    threads : int or None
        None: one a core. With a plain Python law: processes.
    progress : bool
        Show a bar with rate and time left.
    guidance, control : function, Law, CLaw or None
        Laws of your own, as in `sixdof.fly`. A flight whose law fails is a row with that status.

    Returns
    -------
    Dataset
        Dim `flight` in front of the names of a single flight; `status` says how each ended, and a flight that failed is a
        row like any other. Ctrl-C returns (and writes) the flights finished by then, with the attribute `interrupted`.

    Raises
    ------
    ValueError
        For a number of flights, a seed or threads that make no sense.
    FileExistsError
        If `out` exists and overwrite is not set; nothing is flown then.
    LawError
        If a law of your own cannot be used.
    """
    from sixdof.ensemble.draws import draw_table, pack_draws
    from sixdof.results import check_path, ensemble_dataset, save

    flights = _whole(flights, "flights", 1)
    threads = _whole(threads, "threads", 1) if threads is not None else os.cpu_count() or 1
    if out is not None:
        check_path(out, overwrite=overwrite)
    table = draw_table(mission, seed, first, flights)
    crew = Crew(mission, guidance, control)
    result = crew.blank(flights)
    done = np.zeros(flights, dtype=bool)
    interrupted = _fly_all(crew, pack_draws(mission, table), result, done, threads, progress)

    kept = np.flatnonzero(done)
    attrs = {"seed": str(seed)}
    if interrupted:
        attrs["interrupted"] = f"{kept.size} of {flights} flights were finished when the run was interrupted"
    ds = ensemble_dataset(mission, table.isel(flight=kept), Block(*(a[kept] for a in result)), **attrs)
    if out is not None:
        save(ds, out, overwrite=overwrite)
    return ds


def _whole(value, name: str, least: int) -> int:
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or value < least:
        raise ValueError(f"{name} = {value!r} must be a whole number of {least} or more")
    return int(value)


class Block(NamedTuple):
    """What a block of flights leaves, flights first: thinned tracks of the front body, and the facts of `legs.Flown`."""

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


class Crew:
    """Flies packed draws of one mission; threads share one, each process makes its own."""

    def __init__(self, mission: Mission, guidance=None, control=None):
        from sixdof.laws import bind
        from sixdof.legs import Plan
        from sixdof.results import track_columns

        self.recipe = (mission, guidance, control)
        self.plan, self.laws = Plan(mission, log_rate=TRACK_RATE), bind(guidance, control)
        self.points, self.columns = mission.record.track_points, track_columns()
        self.rows = log_rows(self.plan.model(0, self.plan.count - 1)) if self.points else 0
        self.scratch = queue.SimpleQueue()

    @property
    def plain(self) -> bool:
        """Whether a law needs the interpreter's lock."""
        return any(b is not None and b.law.plain for b in (self.laws.guidance, self.laws.control))

    def flier(self):
        """Return a Flier nobody else is using."""
        from sixdof.legs import Flier

        try:
            return self.scratch.get_nowait()
        except queue.Empty:
            return Flier(self.plan, self.laws, self.rows)

    def blank(self, count: int) -> Block:
        """Return the empty results of `count` flights."""
        shapes = self.flier().shapes()
        facts = {name: np.empty((count, *shapes[name])) for name in FACTS}
        track = np.full((count, self.points, len(self.columns)), np.nan)
        return Block(track=track, status=np.empty(count, dtype=np.int8), **facts)

    def fly(self, draws: FlightDraw) -> Block:
        """Return what the flights of some packed draws leave."""
        from sixdof.ensemble.draws import one_draw

        block, flier = self.blank(len(draws.common)), self.flier()
        for i in range(len(draws.common)):
            flown = flier.fly(one_draw(draws, i), log_others=False)
            for name in FACTS:
                getattr(block, name)[i] = getattr(flown, name)
            block.status[i] = flown.status
            block.track[i] = thinned(flown.logs[0][:, self.columns], self.points)
        self.scratch.put(flier)
        return block


def thinned(log: np.ndarray, points: int) -> np.ndarray:
    """Return `points` rows of a log from its first to its last, closer at the start; all of a shorter one, then NaN."""
    out = np.full((points, log.shape[1]), np.nan)
    if len(log) > points:
        place = np.linspace(0.0, 1.0, points) ** TRACK_CROWDING * (len(log) - 1)
        log = log[np.unique(np.round(place).astype(int))]
    out[: len(log)] = log
    return out


_process_crew: Crew | None = None


def _start_process(recipe: bytes) -> None:
    import cloudpickle

    global _process_crew
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is the parent's to handle
    _process_crew = Crew(*cloudpickle.loads(recipe))


def _fly_in_process(draws: FlightDraw) -> Block:
    return _process_crew.fly(draws)


def _workers(crew: Crew, threads: int) -> tuple[Executor, object]:
    """Return a pool of workers and the function they run on rows of draws."""
    if not crew.plain:
        return ThreadPoolExecutor(threads), crew.fly
    import cloudpickle  # takes functions of a notebook along, which pickle does not

    recipe = cloudpickle.dumps(crew.recipe)
    return ProcessPoolExecutor(threads, get_context("spawn"), _start_process, (recipe,)), _fly_in_process


def _rows(draws: FlightDraw, s: slice) -> FlightDraw:
    return FlightDraw(*(a[s] for a in draws))


def _blocks(flights: int) -> Iterator[slice]:
    for start in range(0, flights, BLOCK):
        yield slice(start, min(start + BLOCK, flights))


@contextmanager
def interruptible() -> Iterator[threading.Event]:
    """Give an event that Ctrl-C sets, once; a second Ctrl-C interrupts as usual. Outside the main thread nothing is caught.

    A KeyboardInterrupt may come up anywhere, inside a callback that swallows it too: a flag is never lost.
    """
    stop = threading.Event()
    if threading.current_thread() is not threading.main_thread():
        yield stop
        return
    before = signal.getsignal(signal.SIGINT)

    def note(*_):
        stop.set()
        signal.signal(signal.SIGINT, before)

    signal.signal(signal.SIGINT, note)
    try:
        yield stop
    finally:
        signal.signal(signal.SIGINT, before)


def _fly_all(crew: Crew, draws: FlightDraw, result: Block, done: np.ndarray, threads: int, progress: bool) -> bool:
    """Fly every row of draws into `result`; return whether Ctrl-C cut it short."""
    with announced_compilation():
        crew.fly(_rows(draws, slice(0, 0 if crew.plain else 1)))  # compiles, or loads from the cache, before the workers start
    count = len(draws.common)
    bar = tqdm(total=count, unit="flight", disable=not progress, desc="flying")
    pool, function = _workers(crew, threads)
    waiting: dict = {}
    blocks = _blocks(count)
    try:
        with interruptible() as stop:
            while not stop.is_set():
                while len(waiting) < 4 * threads and (s := next(blocks, None)) is not None:
                    waiting[pool.submit(function, _rows(draws, s))] = s
                if not waiting:
                    return False
                for future in wait(list(waiting), POLL, FIRST_COMPLETED).done:
                    s = waiting.pop(future)
                    for whole, part in zip(result, future.result()):
                        whole[s] = part
                    done[s] = True
                    bar.update(s.stop - s.start)
            return True
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        bar.close()
