"""Many flights: draws in, one Dataset out; the same bits for any number of workers, in memory or on disk.

Threads fly built-in, jitted and C laws (kernels hold no lock). A plain Python law, and tables made anew for every draw, need the
interpreter's lock: they fly in processes. A cluster flies anything.
"""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, wait
from contextlib import closing, contextmanager, nullcontext
from contextvars import ContextVar
from pathlib import Path

import numpy as np
import xarray as xr
from tqdm import tqdm

from sixdof.draws.given import GIVEN, check_draws
from sixdof.draws.packed import pack_draws
from sixdof.ensemble.block_runner import Block, BlockRunner, some_of
from sixdof.ensemble.request import EnsembleRequest, checked_request, whole
from sixdof.ensemble.signals import interruptible, orderly_end
from sixdof.ensemble.targets import MOST_IN_CHUNK, digest_of, target_of
from sixdof.ensemble.workers import AHEAD, Workers, workers
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results.dataset import as_path

POLL = 0.2  # s between looks whether Ctrl-C was pressed
FIRST_LOOK, NEXT_LOOK = 200, 1.25  # flights after which `until` is asked first, and the factor to the next time
MOST_THREADS = 10_000  # far more than any machine has cores


def disperse(
    mission: Mission,
    flights: int | None = None,
    *,
    seed: int = 0,
    first: int = 0,
    sampling: str = "random",
    draws: xr.Dataset | None = None,
    out: str | Path | None = None,
    overwrite: bool = False,
    tracks: str | int = "all",
    until: Callable[[xr.Dataset], bool] | None = None,
    threads: int | None = None,
    client=None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Fly a Monte Carlo ensemble of a mission: each flight with its own draw of `mission.disperse`.

    Flight i depends on (seed, i) alone: more flights, other threads or another machine of the same kind change nothing.

    Parameters
    ----------
    flights : int
        How many; they are numbered first, first + 1, ... Left out: one for each row of `draws`.
    seed : int
        0 .. 2^64 - 1.
    sampling : "random", "latin" or "sobol"
        How inputs are drawn: at random; by Latin hypercube (each flight then depends on the number of flights too); or by a scrambled
        Sobol sequence, whose means converge faster (take a power of two of flights).
    draws : Dataset or None
        A custom table of draws, as `make_draws` returns it, in place of seed and sampling for the inputs; its attribute `seed`
        still chooses the noise of sensors and turbulence.
    out : path or None
        Where to write. "name.zarr": a zarr folder to which flights are added while they finish; a run that was killed goes on with
        the same call, to the same bits, and a larger `flights` adds to it. "name.nc": the same, put into one netCDF-4 file at the end.
        None: all stays in memory.
    overwrite : bool
        Replace what `out` names, if this library wrote all of it.
    tracks : "all", "none" or int
        Whose track is kept: of all flights, of none, or of the first so many. `record.track_points` and `record.track_rate` of the mission
        say how many points.
    until : function of a Dataset, or None
        Asked now and then with the flights so far (always the first ones, at the same numbers on any machine): True ends the run
        there, such as `lambda ds: precise_enough(ds.apogee_height, 5.0)` with `sixdof.stats.precise_enough`.
    threads : int or None
        None: one per core. With a plain Python law or dispersed paths: processes, if more than one; a script then needs its calls under
        `if __name__ == "__main__":`.
    client : dask.distributed.Client or None
        A cluster to fly on, in place of this machine's cores.
    progress : bool
        Show a bar with rate and time left.
    guidance, control : function, Law, CLaw or None
        Custom laws, as in `sixdof.fly`. A flight whose law fails is a row with that status. The attributes `guidance` and `control` tell them
        by name, gains and a digest of all that they do.

    Returns
    -------
    Dataset
        Dim `flight` in front of the names of a single flight; `status` says how each ended, and a flight that failed is a
        row like any other. With `out` its variables are read from disk when they are used. Ctrl-C returns the flights finished by
        then, with the attribute `interrupted`; SIGTERM, with `out`, puts them away before the process ends.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission, a number of flights, a seed or threads that make no sense, draws of another mission,
        an `out` that is not a path, an `until` that cannot be called.
    FileExistsError
        If `out` exists and is not an unfinished ensemble that can be gone on with, and overwrite is not set, or it is not a file of this library;
        nothing is flown then.
    StoreError
        If `out` holds another ensemble (saying what differs), another process is writing it, or the disk is full: what was finished is kept.
    MissionError
        If a draw of a dispersed path makes no sound mission, naming flight and path.
    LawError
        If a custom law cannot be used.

    Examples
    --------
    >>> flights = sixdof.disperse(mission, 8, seed=1, progress=False)
    >>> flights.apogee_height.dims
    ('flight',)
    """
    wanted = checked_request(mission, flights, seed, first, sampling, draws, tracks)
    if until is not None and not callable(until):
        raise TypeError(f"until = {shown(until)} must be a function of a Dataset, such as lambda ds: precise_enough(ds.apogee_height, 5.0), or None")
    return _flown(BlockRunner(mission, guidance, control, wanted.tracked), wanted, out, overwrite, until, threads, client, progress)


_kept_in: ContextVar[Path | None] = ContextVar("kept_in", default=None)


@contextmanager
def keeping(folder: str | Path) -> Iterator[Path]:
    """Keep in a folder what is flown inside `with keeping(folder):`, by any study, and find it there again.

    A study that was killed goes on with the same call, to the same bits; one that asks for flights that were flown before has them at once. Each
    ensemble that is not given an `out` of its own goes into a store named by a digest of all that its bits depend on: mission, draws,
    seed, laws, code. The folder may be removed at any time.

    Parameters
    ----------
    folder : path
        Made if it is not there; its parent must be.

    Raises
    ------
    FileExistsError, FileNotFoundError
        If it is a file, or its parent is not there.
    StoreError
        Inside, if the disk is full, or another process is writing the same flights.

    Examples
    --------
    >>> with sixdof.preflight.keeping("flown"):
    ...     first = sixdof.disperse(mission, 8, seed=1, progress=False)
    ...     again = sixdof.disperse(mission, 8, seed=1, progress=False)  # flies nothing
    >>> first.apogee_height.equals(again.apogee_height)
    True
    """
    folder = as_path(folder, "keeping: folder")
    if folder.exists() and not folder.is_dir():
        raise FileExistsError(f"keeping: {folder} is a file; give the folder in which flights are kept")
    if not folder.absolute().parent.is_dir():
        raise FileNotFoundError(f"keeping: the folder {folder.parent} for {folder.name} does not exist; make it first")
    folder.mkdir(exist_ok=True)
    token = _kept_in.set(folder)
    try:
        yield folder
    finally:
        _kept_in.reset(token)


def fly_rows(
    mission: Mission, table: xr.Dataset, *, tracks: bool = False, threads: int | None = None, client=None, progress: bool = True, guidance=None, control=None
) -> xr.Dataset:
    """Fly a table of draws whose flights may come again, once for each row: the same flight, with its own noise, under several conditions.

    Parameters
    ----------
    table : Dataset
        Draws as `disperse` takes them, along `flight`; numbers may repeat.
    tracks : bool
        Whether the flights' tracks are kept.
    threads, client, progress, guidance, control
        As in `disperse`.

    Returns
    -------
    Dataset
        As of `disperse`, its rows in the order of the table's.

    Raises
    ------
    KeyboardInterrupt
        After Ctrl-C, once the flights in the air have ended.
    TypeError, ValueError, MissionError, LawError, StoreError
        As `disperse`.
    """
    table = check_draws(mission, table, repeated=True)
    numbers = table["flight"].values
    tracked = None if tracks else 0
    wanted = EnsembleRequest(mission, numbers.size, int(table.attrs["seed"]), int(numbers[0]), GIVEN, table, tracked)
    runner = BlockRunner(mission, guidance, control, tracked, in_threads=True)
    ds = _flown(runner, wanted, None, False, None, threads, client, progress)
    if "interrupted" in ds.attrs:
        raise KeyboardInterrupt
    return ds


def _flown(runner: BlockRunner, wanted: EnsembleRequest, out, overwrite: bool, until, threads: int | None, client, progress: bool) -> xr.Dataset:
    """Fly what is wanted of an ensemble, as `disperse` says it."""
    threads = whole(threads, "threads", 1, MOST_THREADS) if threads is not None else os.cpu_count() or 1
    _, guidance, control, _ = runner.recipe
    folder = _kept_in.get() if out is None and until is None else None
    if folder is not None:
        out = folder / f"{digest_of(wanted, guidance, control)}.zarr"
    with _ending(out) as ended, closing(target_of(wanted, out, overwrite, guidance, control)) as target:
        with workers(runner, threads, client) as pool:
            seconds = 0.0 if out is None else _seconds_a_flight(wanted, pool)  # how long a chunk on disk takes
            target.begin(runner, seconds, pool.count, progress)
            count = _run_until(wanted, target, pool, until, progress, ended)
        ds = target.finish(count)
        return ds if folder is None else ds.load()


def _ending(out):
    """Return the context of a run: one that writes puts away what it has before a request to terminate ends it."""
    return nullcontext(threading.Event()) if out is None else orderly_end()


# ---------------------------------------------------------------- flying


def _seconds_a_flight(wanted: EnsembleRequest, pool: Workers) -> float:
    """Return what a flight takes one worker, from flying one twice: the first time compiles, loads the cache or starts a process."""
    packed = pack_draws(wanted.mission, wanted.table(slice(0, 1)))
    pool.submit(packed).result()
    begun = time.perf_counter()
    pool.submit(packed).result()
    return time.perf_counter() - begun


def _run_until(wanted: EnsembleRequest, target, pool: Workers, until, progress: bool, ended: threading.Event) -> int:
    """Fly all flights, or as many as `until` asks for; return how many that is."""
    for count in _looks(wanted.flights) if until else (wanted.flights,):
        if not _run_missing(wanted, target, pool, count, progress, ended):
            break
        if until and count < wanted.flights and until(target.dataset(count)):
            return count
    return wanted.flights


def _looks(flights: int) -> Iterator[int]:
    """Return after how many flights `until` is asked: numbers that depend on nothing but the last."""
    count = FIRST_LOOK
    while count < flights:
        yield count
        count = int(np.ceil(count * NEXT_LOOK))
    yield flights


def _batches(wanted: EnsembleRequest, target, count: int, size: int) -> Iterator[tuple[slice, object]]:
    """Return the flights to fly, a few at a time, with their packed draws."""
    for run in target.missing(count):
        for start in range(run.start, run.stop, MOST_IN_CHUNK):
            stop = min(start + MOST_IN_CHUNK, run.stop)
            packed = pack_draws(wanted.mission, wanted.table(slice(start, stop)))
            for a in range(start, stop, size):
                b = min(a + size, stop)
                yield slice(a, b), some_of(packed, slice(a - start, b - start))


def _run_missing(wanted: EnsembleRequest, target, pool: Workers, count: int, progress: bool, ended: threading.Event) -> bool:
    """Fly what is missing of the first `count` flights; return whether all was flown (neither Ctrl-C nor `ended` came between)."""
    todo = sum(run.stop - run.start for run in target.missing(count))
    bar = tqdm(total=todo, unit="flight", disable=not progress, desc="flying")
    waiting: dict = {}
    batches = _batches(wanted, target, count, pool.batch)
    try:
        with interruptible() as stop:
            while not (stop.is_set() or ended.is_set()):
                while len(waiting) < AHEAD * pool.count and (batch := next(batches, None)) is not None:
                    waiting[pool.submit(batch[1])] = batch[0]
                if not waiting:
                    return True
                for future in wait(list(waiting), POLL, FIRST_COMPLETED).done:
                    rows = waiting.pop(future)
                    target.take(rows, _result(future, wanted, rows))
                    bar.update(rows.stop - rows.start)
            return False
    finally:
        for future in waiting:
            future.cancel()
        bar.close()


def _result(future, wanted: EnsembleRequest, rows: slice) -> Block:
    """Return what a worker brought. Raises RuntimeError if the worker died of it."""
    try:
        return future.result()
    except Exception as error:
        if type(error).__name__ not in ("BrokenProcessPool", "KilledWorker"):
            raise
        flights = f"flights {wanted.numbers[rows.start]} to {wanted.numbers[rows.stop - 1]}"
        raise RuntimeError(f"a worker died flying {flights}, perhaps for lack of memory; what was finished before is kept") from error
