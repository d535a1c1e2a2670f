"""Many flights: draws in, one Dataset out; the same bits for any number of workers, in memory or on disk.

Threads fly built-in, jitted and C laws (kernels hold no lock). A plain Python law, and tables made anew for every draw, need the
interpreter's lock: they fly in processes. A cluster flies anything.
"""

from __future__ import annotations

import os
import sys
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import FIRST_COMPLETED, wait
from contextlib import closing, nullcontext
from pathlib import Path
from typing import NamedTuple

import numpy as np
import xarray as xr
from tqdm import tqdm

from sixdof.ensemble.crew import Block, Crew, rows_of
from sixdof.ensemble.signals import interruptible, orderly_end
from sixdof.ensemble.workers import AHEAD, Workers, workers
from sixdof.flight.fly import LAST_FLIGHT, LAST_SEED, announced_compilation
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown

POLL = 0.2  # s between looks whether Ctrl-C was pressed
CHUNK_SECONDS = 10.0  # of flying that a chunk on disk holds: what a killed run may lose, and what writing it is small against
CHUNKS, MOST_IN_CHUNK = 500, 8192  # no more chunks than this (each is a file for each variable), no larger ones
FIRST_LOOK, NEXT_LOOK = 200, 1.25  # flights after which `until` is asked first, and the factor to the next time
LAWS = ("guidance", "control")
SAMPLINGS = ("random", "latin", "sobol")
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
    """Fly a mission many times, each time with its own draw of `mission.disperse`.

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
        A table of draws of your own, as `make_draws` returns it, in place of seed and sampling for the inputs; its attribute `seed`
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
        there, such as `lambda ds: precise_enough(ds.apogee_height, 5.0)` with `sixdof.study.uncertainty.convergence.precise_enough`.
    threads : int or None
        None: one a core. With a plain Python law or dispersed paths: processes, if more than one; a script then needs its calls under
        `if __name__ == "__main__":`.
    client : dask.distributed.Client or None
        A cluster to fly on, in place of this machine's cores.
    progress : bool
        Show a bar with rate and time left.
    guidance, control : function, Law, CLaw or None
        Laws of your own, as in `sixdof.fly`. A flight whose law fails is a row with that status. The attributes `guidance` and `control` tell them
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
        For a mission that is none, a number of flights, a seed or threads that make no sense, draws that are none of this mission's,
        an `out` that is no path, an `until` that cannot be called.
    FileExistsError
        If `out` exists and is not an unfinished ensemble that can be gone on with, and overwrite is not set, or it is no file of this library;
        nothing is flown then.
    StoreError
        If `out` holds another ensemble (saying what differs), another process is writing it, or the disk is full: what was finished is kept.
    MissionError
        If a draw of a dispersed path makes no sound mission, naming flight and path.
    LawError
        If a law of your own cannot be used.
    """
    wanted = _order(mission, flights, seed, first, sampling, draws, tracks)
    if until is not None and not callable(until):
        raise TypeError(f"until = {shown(until)} must be a function of a Dataset, such as lambda ds: precise_enough(ds.apogee_height, 5.0), or None")
    threads = _whole(threads, "threads", 1, MOST_THREADS) if threads is not None else os.cpu_count() or 1
    with _ending(out) as ended, closing(_target(wanted, out, overwrite, guidance, control)) as target:
        crew = Crew(mission, guidance, control, wanted.tracked)
        with workers(crew, threads, client) as pool:
            seconds = _seconds_a_flight(wanted, pool)
            target.begin(crew, seconds, pool.count, progress)
            count = _fly_until(wanted, target, pool, until, progress, ended)
        return target.finish(count)


def _ending(out):
    """Return the context of a run: one that writes puts away what it has before a request to terminate ends it."""
    return nullcontext(threading.Event()) if out is None else orderly_end()


class Order(NamedTuple):
    """What is to be flown. given : the table of draws where there is one. tracked : flights numbered below it keep their track."""

    mission: Mission
    flights: int
    seed: int
    first: int
    sampling: str
    given: xr.Dataset | None
    tracked: int | None

    @property
    def total(self) -> int | None:
        """How many flights the draws depend on, None where they do not."""
        return self.flights if self.sampling == "latin" else None

    @property
    def numbers(self) -> np.ndarray:
        """The numbers of the flights, rising."""
        return self.first + np.arange(self.flights) if self.given is None else self.given["flight"].values

    def table(self, rows: slice) -> xr.Dataset:
        """Return the draws of some of the flights, counted from the first."""
        from sixdof.draws.table import draw_table

        if self.given is not None:
            return self.given.isel(flight=rows)
        start, count = self.first + rows.start, rows.stop - rows.start
        return draw_table(self.mission, self.seed, start, count, sampling=self.sampling, total=self.total)


def _order(mission, flights, seed, first, sampling, draws, tracks) -> Order:
    from sixdof.draws.given import check_draws

    check_mission(mission, "disperse")
    if draws is not None:
        draws = check_draws(mission, draws)
        rows = draws.sizes["flight"]
        if flights is not None and _whole(flights, "flights", 1) > rows:
            raise ValueError(f"flights = {flights} is more than the {rows} rows of draws")
        draws = draws.sortby("flight").isel(flight=slice(0, flights))
        seed, first, sampling = int(draws.attrs["seed"]), int(draws["flight"][0]), "given"
        flights = draws.sizes["flight"]
    elif not isinstance(sampling, str) or sampling not in SAMPLINGS:
        raise ValueError(f"sampling = {shown(sampling)} must be one of {', '.join(SAMPLINGS)}")
    first, seed = _whole(first, "first", 0, LAST_FLIGHT), _whole(seed, "seed", 0, LAST_SEED)
    flights = _whole(flights, "flights", 1, LAST_FLIGHT - first + 1 if draws is None else None)
    order = Order(mission, flights, seed, first, sampling, draws, None)
    order.table(slice(0, 1))  # a seed or a spread that cannot be is said before anything is flown
    return order._replace(tracked=_tracked(tracks, order))


def _tracked(tracks, order: Order) -> int | None:
    """Return the number below which flights keep their track."""
    if isinstance(tracks, str) and tracks in ("all", "none"):
        return None if tracks == "all" else 0
    count = _whole(tracks, 'tracks ("all", "none" or a number)', 0)
    if order.given is None or not count:
        return order.first + count if count else 0
    return int(order.numbers[min(count, order.flights) - 1]) + 1


def _whole(value, name: str, least: int, most: int | None = None) -> int:
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or not least <= value <= (value if most is None else most):
        span = f"of {least} or more" if most is None else f"from {least} to {most}"
        raise ValueError(f"{name} = {shown(value)} must be a whole number {span}")
    return int(value)


# ---------------------------------------------------------------- where the flights go


class InMemory:
    """Flights gathered in arrays. laws : which ones fly, as attributes of the result."""

    def __init__(self, wanted: Order, laws: dict[str, str]):
        self.wanted, self.laws = wanted, laws

    def begin(self, crew: Crew, seconds: float, workers: int, progress: bool) -> None:
        """Get ready; seconds : what a flight takes one of the workers."""
        self.crew, self.block, self.done = crew, crew.blank(0), np.zeros(0, dtype=bool)

    def missing(self, count: int) -> Iterator[slice]:
        """Return the runs of flights not flown yet among the first `count`, for which room is made: `until` may want few of many."""
        more = count - self.done.size
        if more > 0:
            room = self.crew.blank(more)
            self.block = Block(*(np.concatenate(pair) for pair in zip(self.block, room))) if self.done.size else room
            self.done = np.concatenate([self.done, np.zeros(more, dtype=bool)])
        todo = np.flatnonzero(~self.done[:count])
        if todo.size:
            yield slice(int(todo[0]), count)

    def take(self, rows: slice, part: Block) -> None:
        """Keep what some flights left."""
        for whole, piece in zip(self.block, part):
            whole[rows] = piece
        self.done[rows] = True

    def dataset(self, count: int) -> xr.Dataset:
        """Return those of the first `count` flights that are done."""
        from sixdof.results.dataset import ensemble_dataset

        kept = np.flatnonzero(self.done[:count])
        table = self.wanted.table(slice(0, count)).isel(flight=kept)
        return ensemble_dataset(self.wanted.mission, table, rows_of(self.block, kept), **_attributes(self.wanted), **self.laws)

    def finish(self, count: int) -> xr.Dataset:
        """Return the result; count : flights that were wanted in the end."""
        ds = self.dataset(count)
        if ds.sizes["flight"] < count:
            ds.attrs["interrupted"] = f"{ds.sizes['flight']} of {count} flights are finished"
        return ds

    def close(self) -> None:
        """Nothing to let go of."""


class OnDisk:
    """Flights written to a store, a chunk as soon as all of it is flown; with `netcdf` the store becomes that file at the end.

    lock : on the store's path, held from before anything is looked at to the end.
    """

    def __init__(self, wanted: Order, path: Path, identity: dict, netcdf: Path | None, lock):
        self.wanted, self.path, self.netcdf, self.identity, self.lock = wanted, path, netcdf, identity, lock
        self.laws = {name: identity[name] for name in LAWS}
        self.store = None
        self.open: dict[int, tuple[Block, np.ndarray]] = {}  # chunks begun: their results, and which flights of them are done

    def begin(self, crew: Crew, seconds: float, workers: int, progress: bool) -> None:
        """Open the store, or make it with chunks of some seconds of flying."""
        from sixdof.results.store import Store

        self.crew = crew
        template = self._chunk_dataset(crew.blank(1), slice(0, 1))
        if self.path.exists():
            self.store = Store.reopen(self.path, self.identity, template, self.wanted.numbers)
            self._look_for_damage(progress)
            self.store.extend(self.wanted.numbers)
            return
        flights = self.wanted.flights
        chunk = int(np.clip(CHUNK_SECONDS * workers / max(seconds, 1e-6), max(flights / CHUNKS, 8), MOST_IN_CHUNK))
        self.store = Store.create(self.path, template, self.wanted.numbers, min(chunk, flights), self.identity)

    def _look_for_damage(self, progress: bool) -> None:
        total = int((self.store.digests != 0).sum())
        looked = tqdm(self.store.damaged(), total=total, unit="chunk", desc="checking", leave=False, disable=not progress)
        bad = [k for k, damaged in looked if damaged]
        if bad:
            print(f"sixdof: {len(bad)} of {len(self.store.done)} chunks of {self.path} were damaged and are flown again", file=sys.stderr)

    def missing(self, count: int) -> Iterator[slice]:
        """Return the chunks not there yet among the first `count` flights."""
        for k in np.flatnonzero(~self.store.done):
            rows = self.store.rows(int(k))
            if rows.start < count:
                yield rows

    def take(self, rows: slice, part: Block) -> None:
        """Keep what some flights of one chunk left, and write the chunk when it is complete."""
        k = rows.start // self.store.chunk
        whole = self.store.rows(k)
        if k not in self.open:
            self.open[k] = self.crew.blank(whole.stop - whole.start), np.zeros(whole.stop - whole.start, dtype=bool)
        block, done = self.open[k]
        own = slice(rows.start - whole.start, rows.stop - whole.start)
        for target, piece in zip(block, part):
            target[own] = piece
        done[own] = True
        if done.all():
            self._write(k)

    def _write(self, k: int) -> None:
        """Write what there is of a chunk."""
        from sixdof.results.store_disk import NOT_FLOWN

        block, done = self.open.pop(k)
        block.status[~done] = NOT_FLOWN
        self.store.write(k, self._chunk_dataset(block, self.store.rows(k)))

    def _chunk_dataset(self, block: Block, rows: slice) -> xr.Dataset:
        from sixdof.results.dataset import ensemble_dataset

        return ensemble_dataset(self.wanted.mission, self.wanted.table(rows), block, **_attributes(self.wanted), **self.laws)

    def dataset(self, count: int) -> xr.Dataset:
        """Return those of the first `count` flights that are there."""
        from sixdof.results.store_reading import open_store

        ds = open_store(self.path)
        kept = np.flatnonzero(ds["flight"].values <= self.wanted.numbers[count - 1])
        return ds if kept.size == ds.sizes["flight"] else ds.isel(flight=kept)

    def finish(self, count: int) -> xr.Dataset:
        """Return the result, opened; count : flights that were wanted in the end."""
        from sixdof.results.dataset import source
        from sixdof.results.netcdf import read, write
        from sixdof.results.store_disk import remove

        for k in list(self.open):  # of an interrupted run
            self._write(k)
        if count < self.wanted.flights:  # `until` stopped there
            self.store.truncate(count)
        ds = self.dataset(count)
        if self.netcdf is None or not self.store.done.all():
            return ds
        write(ds, self.netcdf, source())
        remove(self.path)
        return read(self.netcdf, own=True)

    def close(self) -> None:
        """Let others write the store."""
        self.lock.close()


def _attributes(wanted: Order) -> dict:
    return {"seed": str(wanted.seed), "sampling": wanted.sampling if wanted.total is None else f"{wanted.sampling} of {wanted.total}"}


def _target(wanted: Order, out, overwrite: bool, guidance, control):
    """Return where the flights go. Raises before anything is flown if they cannot go there."""
    from sixdof.ensemble.identity import identity_of
    from sixdof.flight.law_digest import law_text
    from sixdof.results.dataset import as_path
    from sixdof.results.store_disk import locked, unfinished

    if out is None:
        return InMemory(wanted, {name: law_text(law, slot) for slot, (name, law) in enumerate(zip(LAWS, (guidance, control)))})
    out = as_path(out, "out")
    if not out.name:
        raise ValueError(f"out = {shown(str(out))} must be the name of a file or folder to be written, such as flights.zarr")
    netcdf = None if out.suffix == ".zarr" else out
    path = out if netcdf is None else unfinished(out)
    identity = identity_of(
        wanted.mission,
        seed=wanted.seed,
        first=wanted.first,
        sampling=wanted.sampling,
        total=wanted.total,
        given=wanted.given,
        tracked=wanted.tracked,
        guidance=guidance,
        control=control,
    )
    _check_target(out, netcdf, path, overwrite)
    lock = locked(path)
    try:
        _clear(path, netcdf, overwrite)
    except BaseException:
        lock.close()
        raise
    return OnDisk(wanted, path, identity, netcdf, lock)


def _check_target(out: Path, netcdf: Path | None, path: Path, overwrite: bool) -> None:
    from sixdof.results.dataset import check_netcdf_path, check_path

    if netcdf is not None:
        check_netcdf_path(out, overwrite=overwrite or path.is_dir())  # of a run that goes on the file may be there already
    elif path.exists() and not path.is_dir():
        raise FileExistsError(f"{out} is no folder, and a zarr store is one; choose another name")
    elif not path.is_dir():
        check_path(out)


def _clear(path: Path, netcdf: Path | None, overwrite: bool) -> None:
    """Remove what runs that were killed have left, and with `overwrite` the store that is there; the lock must be held."""
    from sixdof.results.netcdf import clear_partial
    from sixdof.results.store_disk import clear_leftovers, remove

    clear_leftovers(path.resolve())
    if netcdf is not None:
        clear_partial(netcdf)
    if overwrite and path.is_dir():
        remove(path)


# ---------------------------------------------------------------- flying


def _seconds_a_flight(wanted: Order, pool: Workers) -> float:
    """Return what a flight takes one worker, from flying one twice: the first time compiles, loads the cache or starts a process."""
    from sixdof.draws.packed import pack_draws

    packed = pack_draws(wanted.mission, wanted.table(slice(0, 1)))
    with announced_compilation():
        pool.submit(packed).result()
    begun = time.perf_counter()
    pool.submit(packed).result()
    return time.perf_counter() - begun


def _fly_until(wanted: Order, target, pool: Workers, until, progress: bool, ended: threading.Event) -> int:
    """Fly all flights, or as many as `until` asks for; return how many that is."""
    for count in _looks(wanted.flights) if until else (wanted.flights,):
        if not _fly(wanted, target, pool, count, progress, ended):
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


def _batches(wanted: Order, target, count: int, size: int) -> Iterator[tuple[slice, object]]:
    """Return the flights to fly, a few at a time, with their packed draws."""
    from sixdof.draws.packed import pack_draws

    for run in target.missing(count):
        for start in range(run.start, run.stop, MOST_IN_CHUNK):
            stop = min(start + MOST_IN_CHUNK, run.stop)
            packed = pack_draws(wanted.mission, wanted.table(slice(start, stop)))
            for a in range(start, stop, size):
                b = min(a + size, stop)
                yield slice(a, b), rows_of(packed, slice(a - start, b - start))


def _fly(wanted: Order, target, pool: Workers, count: int, progress: bool, ended: threading.Event) -> bool:
    """Fly what is missing of the first `count` flights; return whether all was flown (neither Ctrl-C nor `ended` came between)."""
    todo = sum(run.stop - run.start for run in target.missing(count))
    bar = tqdm(total=todo, unit="flight", disable=not progress, desc="flying")
    waiting: dict = {}
    batches = _batches(wanted, target, count, pool.batch)
    try:
        with interruptible() as stop, announced_compilation():
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


def _result(future, wanted: Order, rows: slice) -> Block:
    """Return what a worker brought. Raises RuntimeError if the worker died of it."""
    try:
        return future.result()
    except Exception as error:
        if type(error).__name__ not in ("BrokenProcessPool", "KilledWorker"):
            raise
        flights = f"flights {wanted.numbers[rows.start]} to {wanted.numbers[rows.stop - 1]}"
        raise RuntimeError(f"a worker died flying {flights}, perhaps for lack of memory; what was finished before is kept") from error
