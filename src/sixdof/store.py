"""An ensemble on disk as it grows: a zarr group that any xarray opens, written chunk by chunk, checked, and gone on with.

A chunk is a run of flights. Its digest is written last, so a chunk counts once all of it is there; whatever killed the run before,
the chunk is flown again. The digests find what a disk has damaged since. A run that is interrupted politely writes what there is of
the chunks it has begun: flights of `status` NOT_FLOWN in them are left out by every reader here, and such chunks are flown again.
"""

from __future__ import annotations

import hashlib
import json
import math
import os
import shutil
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import xarray as xr

DIGEST = "chunk_digest"  # 0: not flown yet
NOT_FLOWN = -1  # `status` of a flight that is not there
FORMAT = 3  # of zarr
MOST_DIFFERENCES = 5  # said of two missions that are not the same


class StoreError(RuntimeError):
    """An ensemble on disk that cannot be gone on with, read, or written."""


class Store:
    """One ensemble on disk, open for writing by one process.

    path : the folder. flights : how many it is to hold. chunk : flights written at a time. done : (chunks,) which of them are there.
    """

    def __init__(self, path: Path, group, lock):
        self.path, self.group, self._lock = path, group, lock
        self.chunk = int(group.attrs["chunk"])
        self.digests = group[DIGEST][:]
        self.flights = int(group["flight"].shape[0])
        found = sorted(group.arrays())
        self.arrays = {name: array for name, array in found if array.metadata.dimension_names[:1] == ("flight",)}
        flown = self.arrays["status"][:] != NOT_FLOWN
        self.whole = np.array([flown[self.rows(k)].all() for k in range(len(self.digests))])

    # ---------------------------------------------------------------- making and opening

    @classmethod
    def create(cls, path: Path, template: xr.Dataset, numbers: np.ndarray, chunk: int, identity: dict) -> Store:
        """Make an empty store.

        template : any flights of the ensemble, as `results.ensemble_dataset` returns them. numbers : of its flights. identity : what the ensemble is, name -> text;
        a store goes on only with the same.
        """
        import zarr

        making = path.with_name(path.name + ".making")  # half a store is none: it gets its name when it is complete
        shutil.rmtree(making, ignore_errors=True)
        with _writing(path):
            lock = _locked(making)
            try:
                plain = template.drop_dims("flight")
                plain = plain.assign_coords({n: (c.dims, _text(c.values), c.attrs) for n, c in plain.coords.items()})
                plain.to_zarr(making, mode="a", zarr_format=FORMAT, consolidated=False)
                group = zarr.open_group(making, mode="r+")
                group.attrs.update({"chunk": chunk, "identity": json.dumps(identity)})
                for name, values in template.variables.items():
                    if "flight" in values.dims:
                        _create(group, name, values, numbers, chunk)
                _create_digest(group, len(numbers), chunk)
                making.rename(path)
                return cls(path, zarr.open_group(path, mode="r+"), lock)
            except BaseException:
                lock.close()
                shutil.rmtree(making, ignore_errors=True)
                raise

    @classmethod
    def reopen(cls, path: Path, identity: dict) -> Store:
        """Open a store to go on with it.

        Raises
        ------
        StoreError
            If it holds another ensemble (saying what differs), is no store, or another process is writing it.
        """
        import zarr

        if not (path / "zarr.json").is_file():
            raise StoreError(f"{path} is no ensemble of this library; give another name")
        lock = _locked(path)
        try:
            group = zarr.open_group(path, mode="r+")
            differing = differences(json.loads(group.attrs["identity"]), identity)
            if differing:
                raise StoreError(f"{path} holds another ensemble: {'; '.join(differing)}. Give another name, or overwrite it")
            return cls(path, group, lock)
        except (OSError, ValueError, KeyError) as error:
            lock.close()
            raise StoreError(f"{path} is damaged ({error}): it cannot be gone on with; give another name, or overwrite it") from None
        except StoreError:
            lock.close()
            raise

    def close(self) -> None:
        """Let others write it."""
        self._lock.close()

    # ---------------------------------------------------------------- what is there

    @property
    def done(self) -> np.ndarray:
        """Which chunks are there, whole, bool (chunks,)."""
        return (self.digests != 0) & self.whole

    def rows(self, k: int) -> slice:
        """Return the flights of chunk k, counted from the first."""
        return slice(k * self.chunk, min((k + 1) * self.chunk, self.flights))

    def extend(self, numbers: np.ndarray) -> None:
        """Make room for more flights, these in all. A last chunk that was cut short is flown again."""
        flights = len(numbers)
        if flights <= self.flights:
            return
        with _writing(self.path):
            if self.flights % self.chunk:
                self._forget(len(self.digests) - 1)
            for _, array in self.arrays.items():
                array.resize((flights, *array.shape[1:]))
            self.group["flight"][:] = numbers
            more = math.ceil(flights / self.chunk) - len(self.digests)
            self.digests = np.concatenate([self.digests, np.zeros(more, dtype=np.uint64)])
            self.whole = np.concatenate([self.whole, np.zeros(more, dtype=bool)])
            self.group[DIGEST].resize(self.digests.shape)
            self.group[DIGEST][:] = self.digests
        self.flights = flights

    def truncate(self, flights: int) -> None:
        """Keep the first flights only."""
        last = (flights - 1) // self.chunk
        with _writing(self.path):
            kept = {name: array[last * self.chunk : flights] for name, array in self.arrays.items()}
            for _, array in self.arrays.items():
                array.resize((flights, *array.shape[1:]))
            self.group[DIGEST].resize((last + 1,))
            self.flights, self.digests, self.whole = flights, self.digests[: last + 1], self.whole[: last + 1]
            self.digests[last] = digest(kept)
            self.group[DIGEST][:] = self.digests

    def damaged(self) -> Iterator[tuple[int, bool]]:
        """Look at every chunk that is there; yield its number, and whether it is damaged. A damaged one counts as not flown."""
        for k in np.flatnonzero(self.digests):
            sound = self._digest_on_disk(k) == self.digests[k]
            if not sound:
                self._forget(k)
            yield int(k), not sound

    def _forget(self, k: int) -> None:
        self.digests[k] = 0
        self.group[DIGEST][:] = self.digests

    def _digest_on_disk(self, k: int):
        try:
            return digest({name: array[self.rows(k)] for name, array in self.arrays.items()})
        except Exception:  # a damaged chunk raises whatever its codec meets first
            return 0

    # ---------------------------------------------------------------- writing

    def write(self, k: int, ds: xr.Dataset) -> None:
        """Write chunk k. Raises StoreError if the disk does not take it; the chunk does not count then."""
        rows = self.rows(k)
        values = {name: _text(v.values) for name, v in ds.variables.items() if "flight" in v.dims}
        with _writing(self.path):
            for name, array in self.arrays.items():
                array[rows] = values[name]
            self.digests[k], self.whole[k] = digest(values), (values["status"] != NOT_FLOWN).all()
            self.group[DIGEST][:] = self.digests


def _create(group, name: str, values: xr.Variable, numbers: np.ndarray, chunk: int) -> None:
    kind = "T" if values.dtype.kind in "UOT" else values.dtype
    shape = (len(numbers), *values.shape[1:])
    whole = name == "flight"  # every opening reads it: in one piece, not in hundreds
    fill = NOT_FLOWN if name == "status" else {"T": "", "f": np.nan}.get(np.dtype(kind).kind, 0)
    array = group.create_array(
        name, shape=shape, chunks=(len(numbers) if whole else chunk, *(max(n, 1) for n in shape[1:])), dtype=kind, fill_value=fill,
        dimension_names=values.dims,
        attributes={key: v.tolist() if isinstance(v, (np.ndarray, np.generic)) else v for key, v in values.attrs.items()},
    )  # fmt: skip
    if whole:
        array[:] = numbers


def _create_digest(group, flights: int, chunk: int) -> None:
    count = math.ceil(flights / chunk)
    array = group.create_array(
        DIGEST, shape=(count,), chunks=(max(count, 1 << 16),), dtype="uint64", fill_value=0, dimension_names=("chunk",)
    )
    array.attrs["long_name"] = "digest of each chunk of flights, 0 where it is not flown yet"
    array[:] = np.zeros(count, dtype=np.uint64)


def _text(values: np.ndarray) -> np.ndarray:
    return values.astype(np.dtypes.StringDType()) if values.dtype.kind in "UO" else values


def digest(values: dict[str, np.ndarray]) -> np.uint64:
    """Return a digest of arrays by name, never 0: 64 bits of BLAKE2b over names and bytes."""
    sum_ = hashlib.blake2b(digest_size=8)
    for name in sorted(values):
        array = values[name]
        sum_.update(f"{name} {array.shape} ".encode())
        if array.dtype.kind in "UOT":
            sum_.update("\x00".join(map(str, array.ravel())).encode())
        else:
            sum_.update(np.ascontiguousarray(array).data)
    return np.uint64(int.from_bytes(sum_.digest(), "little") or 1)


@contextmanager
def _writing(path: Path):
    """Turn what a disk may say into one sentence."""
    try:
        yield
    except OSError as error:
        why = error.strerror or str(error)
        raise StoreError(
            f"{path} cannot be written: {why}. What was finished before is kept; make room and call again to go on"
        ) from error


class _Lock:
    """A lock on a folder that dies with its process."""

    def __init__(self, path: Path):
        self.file = os.open(path, os.O_RDONLY) if hasattr(os, "O_DIRECTORY") else None  # Windows opens no folders

    def close(self) -> None:
        if self.file is not None:
            os.close(self.file)
            self.file = None


def _locked(path: Path) -> _Lock:
    path.mkdir(exist_ok=True)
    lock = _Lock(path)
    if lock.file is None:  # no such lock on this system: one's own care must do
        return lock
    import fcntl

    try:
        fcntl.flock(lock.file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
        raise StoreError(f"{path} is being written by another process; wait for it, or give another name") from None
    return lock


def remove(path: Path) -> None:
    """Delete a store. Raises StoreError for a folder that is none, or that another process is writing."""
    if not (path / "zarr.json").is_file() and any(path.iterdir()):
        raise StoreError(f"{path} is no ensemble of this library, so it is not overwritten; give another name")
    _locked(path).close()
    shutil.rmtree(path)


# ---------------------------------------------------------------- reading


def unfinished(path: Path) -> Path:
    """Return the store in which the flights of an ensemble gather before they become one netCDF file at `path`."""
    return path.with_name(path.name + ".unfinished")


def open_store(path: Path, *, check: bool = False) -> xr.Dataset:
    """Return the flights that are there, read when they are asked for.

    check : look at every chunk first. Raises StoreError if it is no store or a chunk is damaged.
    """
    if not (path / "zarr.json").is_file():
        raise StoreError(f"{path} is no ensemble of this library: the folder holds no zarr group")
    try:
        ds = xr.open_dataset(path, engine="zarr", chunks=None, consolidated=False, cache=False)
        digests, chunk = ds[DIGEST].values, int(ds.attrs.pop("chunk"))
        ds.attrs.pop("identity")
    except (OSError, ValueError, KeyError) as error:
        raise StoreError(f"{path} is no ensemble of this library, or is damaged: {error}") from None
    ds = ds.drop_vars(DIGEST)
    if check:
        _raise_damage(path, ds, digests, chunk)
    there = np.repeat(digests != 0, chunk)[: ds.sizes["flight"]] & (ds["status"].values != NOT_FLOWN)
    if not there.all():
        ds.attrs["interrupted"] = f"{there.sum()} of {there.size} flights are finished; the same call goes on"
        ds = ds.isel(flight=np.flatnonzero(there))
    texts = {name: (v.dims, _fixed(v.values), v.attrs) for name, v in ds.variables.items() if v.dtype.kind in "OT"}
    coords = {name: v for name, v in texts.items() if name in ds.coords}
    return ds.assign({name: v for name, v in texts.items() if name not in coords}).assign_coords(coords)


def _fixed(texts: np.ndarray) -> np.ndarray:
    """Return texts in numpy's ordinary type, as a result in memory has them."""
    return np.array([str(text) for text in texts.ravel()], dtype=str).reshape(texts.shape)


def _raise_damage(path: Path, ds: xr.Dataset, digests: np.ndarray, chunk: int) -> None:
    damaged = []
    for k in np.flatnonzero(digests):
        part = ds.isel(flight=slice(k * chunk, (k + 1) * chunk))
        try:
            sound = digest({name: v.values for name, v in part.variables.items() if "flight" in v.dims}) == digests[k]
        except Exception:  # a damaged chunk raises whatever its codec meets first
            sound = False
        if not sound:
            damaged.append(f"{k * chunk} to {min((k + 1) * chunk, ds.sizes['flight']) - 1}")
    if damaged:
        raise StoreError(f"{path} is damaged at flights {', '.join(damaged)} counted from the first; the call that made it flies them again")


# ---------------------------------------------------------------- what differs


def differences(written: dict, now: dict) -> list[str]:
    """Say what differs between the identities of two ensembles."""
    found = []
    for key in dict.fromkeys((*written, *now)):
        a, b = written.get(key, "nothing"), now.get(key, "nothing")
        if a == b:
            continue
        found += mission_differences(a, b) if key == "mission" else [f"{key} is {a} there, {b} now"]
    return found


def mission_differences(there: str, now: str) -> list[str]:
    """Say in which values two missions, as TOML text, differ: the first few."""
    import tomllib

    a, b = (dict(_leaves(tomllib.loads(text))) for text in (there, now))
    paths = [path for path in dict.fromkeys((*a, *b)) if a.get(path) != b.get(path)]
    said = [f"{path} is {_shown(a.get(path))} there, {_shown(b.get(path))} now" for path in paths[:MOST_DIFFERENCES]]
    return said + ([f"and {len(paths) - MOST_DIFFERENCES} more"] if len(paths) > MOST_DIFFERENCES else [])


def _leaves(node, path: str = "") -> Iterator[tuple[str, object]]:
    if isinstance(node, dict):
        for key, value in node.items():
            yield from _leaves(value, f"{path}.{key}" if path else key)
    elif isinstance(node, list) and node and isinstance(node[0], dict):
        for i, value in enumerate(node):
            yield from _leaves(value, f"{path}[{value.get('name', i) if isinstance(value, dict) else i}]")
    else:
        yield path, node


def _shown(value) -> str:
    text = "left out" if value is None else json.dumps(value)
    return text if len(text) < 60 else text[:57] + "..."
