"""Many flights: draws in, one Dataset out; threads over all cores, the same bits for any number of them."""

from __future__ import annotations

import os
import queue
import threading
from concurrent.futures import ThreadPoolExecutor, as_completed
from pathlib import Path

import numpy as np
import xarray as xr
from tqdm import tqdm

from sixdof.flying import announced_compilation, log_rows
from sixdof.mission.schema import Mission

BLOCK = 8  # flights a thread takes at a time: short enough for Ctrl-C and the progress bar, long enough to cost nothing
TRACK_RATE = 5.0  # rows of the log a second from which the points of a track are picked, Hz


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
    threads : int or None
        None: one a core.
    progress : bool
        Show a bar with rate and time left.

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
    """
    from sixdof.core import flight as core
    from sixdof.ensemble.draws import draw_table, pack_draws
    from sixdof.model import flight_model
    from sixdof.results import check_path, ensemble_dataset, save, track_columns

    flights = _whole(flights, "flights", 1)
    threads = _whole(threads, "threads", 1) if threads is not None else os.cpu_count() or 1
    if out is not None:
        check_path(out, overwrite=overwrite)
    table = draw_table(mission, seed, first, flights)
    model = flight_model(mission, log_rate=TRACK_RATE)
    points = mission.record.track_points
    store = _Store(model, pack_draws(mission, table), points, track_columns(), core)
    with announced_compilation():
        store.fly(0, 0)  # compiles, or loads from the cache, before the threads start
    interrupted = _fly_all(store, flights, threads, progress)

    done = np.flatnonzero(store.done)
    attrs = {"seed": str(seed)}
    if interrupted:
        attrs["interrupted"] = f"{done.size} of {flights} flights were finished when the run was interrupted"
    ds = ensemble_dataset(
        mission, table.isel(flight=done), store.track[done], store.events[done], store.summary[done], store.status[done],
        **attrs,
    )  # fmt: skip
    if out is not None:
        save(ds, out, overwrite=overwrite)
    return ds


def _whole(value, name: str, least: int) -> int:
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or value < least:
        raise ValueError(f"{name} = {value!r} must be a whole number of {least} or more")
    return int(value)


class _Store:
    """The arrays of an ensemble, filled block by block; each thread borrows a set of scratch arrays."""

    def __init__(self, model, draws, points, columns, core):
        flights = draws.shape[0]
        self.model, self.draws, self.core = model, draws, core
        self.points = points
        self.rows = log_rows(model) if points else 0
        self.events = np.empty((flights, *core.make_events(model).shape))
        self.summary = np.empty((flights, core.make_summary().size))
        self.status = np.empty(flights, dtype=np.int64)
        self.columns = columns
        self.track = np.empty((flights, points, len(self.columns)))
        self.done = np.zeros(flights, dtype=bool)
        self.scratch = queue.SimpleQueue()

    def fly(self, start: int, count: int) -> int:
        """Fly the flights of rows start .. start + count - 1; return how many."""
        try:
            work, log, written = self.scratch.get_nowait()
        except queue.Empty:
            work, written = self.core.make_work(self.model), np.zeros(BLOCK, dtype=np.int64)
            log = np.empty((BLOCK, *self.core.make_log(self.model, self.rows).shape))
        s = slice(start, start + count)
        fins = self.model.computer.mixer.shape[0]
        self.core.fly_block(
            self.model, self.draws, written, start, count, fins, work, log, self.events[s], self.summary[s], self.status[s]
        )
        for i in range(count):
            self.track[start + i] = thinned(log[i, : written[i], self.columns].T, self.points)
        self.done[s] = True
        self.scratch.put((work, log, written))
        return count


def thinned(log: np.ndarray, points: int) -> np.ndarray:
    """Return `points` rows of a log, evenly spread from its first to its last; all of a shorter one, then NaN."""
    out = np.full((points, log.shape[1]), np.nan)
    if len(log) <= points:
        out[: len(log)] = log
    else:
        out[:] = log[np.round(np.linspace(0, len(log) - 1, points)).astype(int)]
    return out


def _fly_all(store: _Store, flights: int, threads: int, progress: bool) -> bool:
    """Fly every block; return whether Ctrl-C cut it short."""
    stop = threading.Event()

    def task(start):
        return 0 if stop.is_set() else store.fly(start, min(BLOCK, flights - start))

    bar = tqdm(total=flights, unit="flight", disable=not progress, desc="flying")
    pool = ThreadPoolExecutor(threads)
    try:
        for future in as_completed([pool.submit(task, start) for start in range(0, flights, BLOCK)]):
            bar.update(future.result())
    except KeyboardInterrupt:
        stop.set()
        return True
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        bar.close()
    return False
