"""Where the flights of an ensemble go: arrays in memory, or a store on disk that grows chunk by chunk."""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import xarray as xr
from tqdm import tqdm

from sixdof.ensemble.block_runner import Block, BlockRunner, some_of
from sixdof.ensemble.request import EnsembleRequest
from sixdof.mission.units import shown

CHUNK_SECONDS = 10.0  # of flying that a chunk on disk holds: what a killed run may lose, and what writing it is small against
CHUNKS, MOST_IN_CHUNK = 500, 8192  # no more chunks than this (each is a file for each variable), no larger ones
LAWS = ("guidance", "control")


class InMemory:
    """Flights gathered in arrays. laws : which ones fly, as attributes of the result."""

    def __init__(self, wanted: EnsembleRequest, laws: dict[str, str]):
        self.wanted, self.laws = wanted, laws

    def begin(self, runner: BlockRunner, seconds: float, workers: int, progress: bool) -> None:
        """Get ready; seconds : what a flight takes one of the workers."""
        self.runner, self.block, self.done = runner, runner.blank(0), np.zeros(0, dtype=bool)

    def missing(self, count: int) -> Iterator[slice]:
        """Return the runs of flights not flown yet among the first `count`, for which room is made: `until` may want few of many."""
        more = count - self.done.size
        if more > 0:
            room = self.runner.blank(more)
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
        table = self.wanted.table(slice(0, count))
        table = table if kept.size == count else table.isel(flight=kept)
        return ensemble_dataset(self.wanted.mission, table, some_of(self.block, kept), **_attributes(self.wanted), **self.laws)

    def finish(self, count: int) -> xr.Dataset:
        """Return the result; count : flights that were wanted in the end."""
        ds = self.dataset(count)
        if ds.sizes["flight"] < count:
            ds.attrs["interrupted"] = f"{ds.sizes['flight']} of {count} flights are finished"
        return ds

    def close(self) -> None:
        """Do nothing: there is no store to close."""


class OnDisk:
    """Flights written to a store, a chunk as soon as all of it is flown; with `netcdf` the store becomes that file at the end.

    lock : on the store's path, held from before anything is looked at to the end.
    """

    def __init__(self, wanted: EnsembleRequest, path: Path, identity: dict, netcdf: Path | None, lock):
        self.wanted, self.path, self.netcdf, self.identity, self.lock = wanted, path, netcdf, identity, lock
        self.laws = {name: identity[name] for name in LAWS}
        self.store = None
        self.open: dict[int, tuple[Block, np.ndarray]] = {}  # chunks begun: their results, and which flights of them are done

    def begin(self, runner: BlockRunner, seconds: float, workers: int, progress: bool) -> None:
        """Open the store, or make it with chunks of some seconds of flying."""
        from sixdof.results.store import Store

        self.runner = runner
        template = self._chunk_dataset(runner.blank(1), slice(0, 1))
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
            self.open[k] = self.runner.blank(whole.stop - whole.start), np.zeros(whole.stop - whole.start, dtype=bool)
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


def _attributes(wanted: EnsembleRequest) -> dict:
    return {"seed": str(wanted.seed), "sampling": wanted.sampling if wanted.total is None else f"{wanted.sampling} of {wanted.total}"}


def target_of(wanted: EnsembleRequest, out, overwrite: bool, guidance, control):
    """Return where the flights go. Raises before anything is flown if they cannot go there."""
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
    identity = _identity(wanted, guidance, control)
    _check_target(out, netcdf, path, overwrite)
    lock = locked(path)
    try:
        _clear(path, netcdf, overwrite)
    except BaseException:
        lock.close()
        raise
    return OnDisk(wanted, path, identity, netcdf, lock)


def _identity(wanted: EnsembleRequest, guidance, control) -> dict[str, str]:
    """Return everything that the bits of an ensemble depend on."""
    from sixdof.ensemble.identity import identity_of

    return identity_of(
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


def digest_of(wanted: EnsembleRequest, guidance, control) -> str:
    """Return a name, 16 hexadecimal digits, for all that the bits of an ensemble depend on."""
    text = json.dumps(_identity(wanted, guidance, control), sort_keys=True)
    return hashlib.blake2b(text.encode(), digest_size=8).hexdigest()


def _check_target(out: Path, netcdf: Path | None, path: Path, overwrite: bool) -> None:
    from sixdof.results.dataset import check_netcdf_path, check_path

    if netcdf is not None:
        check_netcdf_path(out, overwrite=overwrite or path.is_dir())  # of a run that goes on the file may be there already
    elif path.exists() and not path.is_dir():
        raise FileExistsError(f"{out} is not a folder, and a zarr store is one; choose another name")
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
