"""An ensemble on disk as it grows: a zarr group that any xarray opens, written chunk by chunk, checked, and gone on with.

A chunk is a run of flights. Its digest is written last, so a chunk counts once all of it is there; whatever killed the run before,
the chunk is flown again. The digests find what a disk has damaged since. A run that is interrupted politely writes what there is of
the chunks it has begun: flights of `status` NOT_FLOWN in them are omitted by every reader here, and such chunks are flown again.

How many flights there are is the length of `flight`, whatever lengths a killed run left the other arrays: a store grows with `flight` last and shrinks with
it first, and whoever opens it next cuts the others to it. Whoever makes, opens or removes a store for writing holds its lock.
"""

from __future__ import annotations

import json
import math
import shutil
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.mission.files.incoming import FileFault, check_zarr
from sixdof.results.differences import differences
from sixdof.results.store_disk import DIGEST, FORMAT, NOT_FLOWN, StoreError, digest_of_flown, digest_of_names, draft, locked, text_type, writing

__all__ = ["Store", "StoreError", "cut_to_flights"]


class Store:
    """One ensemble on disk, open for writing; who opens it holds its lock.

    path : the folder. flights : how many it is to hold. chunk : flights written at a time. done : (chunks,) which of them are there.
    """

    def __init__(self, path: Path, group):
        self.path, self.group = path, group
        self.chunk = int(group.attrs["chunk"])
        self._look()

    # ---------------------------------------------------------------- making and opening

    @classmethod
    def create(cls, path: Path, template: xr.Dataset, numbers: np.ndarray, chunk: int, identity: dict) -> Store:
        """Make an empty store.

        template : any flights of the ensemble, as `results.ensemble_dataset` returns them. numbers : of its flights. identity : what the ensemble
        is, name -> text; a store goes on only with the same.
        """
        import zarr

        with writing(path):
            making = _drafted(path, template, numbers, chunk, identity)
            try:
                making.rename(path)
            except BaseException:
                shutil.rmtree(making, ignore_errors=True)
                raise
            return cls(path, zarr.open_group(path, mode="r+", zarr_format=FORMAT))

    @classmethod
    def reopen(cls, path: Path, identity: dict, template: xr.Dataset, numbers: np.ndarray) -> Store:
        """Open a store to go on with it, after mending what a killed run or a damaged disk has left of its metadata.

        template, numbers : as for `create`, what it would be made of.

        Raises
        ------
        StoreError
            If it holds another ensemble (saying what differs), or is not a store.
        """
        import zarr

        try:
            found = check_zarr(path)
            group = zarr.open_group(path, mode="r+", zarr_format=FORMAT)
            if not {"chunk", "identity"} <= set(group.attrs):
                raise StoreError(f"{path} is not an ensemble that can be gone on with; give another name")
            differing = differences(json.loads(group.attrs["identity"]), identity)
            if differing:
                raise StoreError(f"{path} holds another ensemble: {'; '.join(differing)}. Give another name, or overwrite it")
            _mend(path, group, set(found), template, numbers, identity)
            return cls(path, group)
        except FileFault as fault:
            raise StoreError(f"{path} {fault.message}; it is not an ensemble of this library that can be gone on with; give another name") from None
        except (OSError, ValueError, KeyError) as error:
            raise StoreError(f"{path} is damaged ({error}): it cannot be gone on with; give another name, or overwrite it") from None

    # ---------------------------------------------------------------- what is there

    @property
    def done(self) -> np.ndarray:
        """Return which chunks are there, whole, bool (chunks,)."""
        return (self.digests != 0) & self.whole

    def rows(self, k: int) -> slice:
        """Return the flights of chunk k, counted from the first."""
        return slice(k * self.chunk, min((k + 1) * self.chunk, self.flights))

    def extend(self, numbers: np.ndarray) -> None:
        """Make room for more flights, these in all. A last chunk that was cut short is flown again."""
        flights = len(numbers)
        if flights > self.flights:
            with writing(self.path):
                _resize(self.group, self.arrays, self.chunk, flights)
                self.group["flight"].resize((flights,))
        if flights >= self.flights:
            with writing(self.path):
                if not np.array_equal(self.group["flight"][:], numbers):  # killed before they were written
                    self.group["flight"][:] = numbers
            self._look()

    def truncate(self, flights: int) -> None:
        """Keep the first flights only."""
        last = (flights - 1) // self.chunk
        with writing(self.path):
            kept = {name: array[last * self.chunk : flights] for name, array in self.arrays.items()}
            self.group["flight"].resize((flights,))
            _resize(self.group, self.arrays, self.chunk, flights)
            self._look()
            self.digests[last] = digest_of_flown(kept)
            self.group[DIGEST][:] = self.digests

    def damaged(self) -> Iterator[tuple[int, bool]]:
        """Look at every chunk that is there; yield its number, and whether it is damaged. A damaged one counts as not flown."""
        for k in np.flatnonzero(self.digests):
            sound = self._digest_on_disk(k) == self.digests[k]
            if not sound:
                self.digests[k] = 0
                self.group[DIGEST][:] = self.digests
            yield int(k), not sound

    def _look(self) -> None:
        self.arrays, self.digests = _along_flights(self.group), self.group[DIGEST][:]
        self.flights = int(self.arrays["flight"].shape[0])
        flown = self.arrays["status"][:] != NOT_FLOWN
        self.whole = np.array([flown[self.rows(k)].all() for k in range(len(self.digests))])

    def _digest_on_disk(self, k: int):
        try:
            return digest_of_flown({name: array[self.rows(k)] for name, array in self.arrays.items()})
        except Exception:  # a damaged chunk raises whatever its codec meets first
            return 0

    # ---------------------------------------------------------------- writing

    def write(self, k: int, ds: xr.Dataset) -> None:
        """Write chunk k. Raises StoreError if the disk does not take it; the chunk does not count then."""
        rows = self.rows(k)
        values = {name: text_type(v.values) for name, v in ds.variables.items() if "flight" in v.dims}
        with writing(self.path):
            for name, array in self.arrays.items():
                array[rows] = values[name]
            self.digests[k], self.whole[k] = digest_of_flown(values), (values["status"] != NOT_FLOWN).all()
            self.group[DIGEST][:] = self.digests


def _along_flights(group) -> dict:
    found = sorted(group.arrays())
    return {name: array for name, array in found if array.metadata.dimension_names[:1] == ("flight",)}


# ---------------------------------------------------------------- lengths


def _resize(group, arrays: dict, chunk: int, flights: int) -> None:
    """Give all arrays but `flight` the length that goes with a number of flights; those that have it are left alone."""
    for name, array in arrays.items():
        if name != "flight" and array.shape[0] != flights:
            array.resize((flights, *array.shape[1:]))
    chunks = math.ceil(flights / chunk)
    if group[DIGEST].shape != (chunks,):
        group[DIGEST].resize((chunks,))


def cut_to_flights(path: Path) -> None:
    """Give all arrays of a store the length of `flight`. Raises StoreError if another process is writing it, or it cannot be written."""
    import zarr

    with locked(path), writing(path):
        group = zarr.open_group(path, mode="r+", zarr_format=FORMAT)
        _resize(group, _along_flights(group), int(group.attrs["chunk"]), int(group["flight"].shape[0]))


# ---------------------------------------------------------------- metadata


def _drafted(path: Path, template: xr.Dataset, numbers: np.ndarray, chunk: int, identity: dict) -> Path:
    """Return the folder of an empty store under a name of its own beside `path`."""
    import zarr

    making = draft(path)
    try:
        plain = template.drop_dims("flight").drop_encoding()
        plain = plain.assign_coords({n: (c.dims, text_type(c.values), c.attrs) for n, c in plain.coords.items()})
        plain.to_zarr(making, mode="a", zarr_format=FORMAT, consolidated=False)
        group = zarr.open_group(making, mode="r+", zarr_format=FORMAT)
        for name, values in template.variables.items():
            if "flight" in values.dims:
                _create(group, name, values, numbers, chunk)
        _create_digest(group, len(numbers), chunk)
        books = {"chunk": chunk, "identity": json.dumps(identity), "variables": list(map(str, template.variables))}
        group.attrs.update(books | {"names": digest_of_names(group)})
    except BaseException:
        shutil.rmtree(making, ignore_errors=True)
        raise
    return making


def _create(group, name: str, values: xr.Variable, numbers: np.ndarray, chunk: int) -> None:
    kind = "T" if values.dtype.kind in "UOT" else values.dtype
    shape = (len(numbers), *values.shape[1:])
    whole = name == "flight"  # every opening reads it: in one piece, not in hundreds
    fill = NOT_FLOWN if name == "status" else {"T": "", "f": np.nan}.get(np.dtype(kind).kind, 0)
    array = group.create_array(
        name,
        shape=shape,
        chunks=(len(numbers) if whole else chunk, *shape[1:]),
        dtype=kind,
        fill_value=fill,
        dimension_names=values.dims,
        attributes={key: v.tolist() if isinstance(v, (np.ndarray, np.generic)) else v for key, v in values.attrs.items()},
    )
    if whole:
        array[:] = numbers


def _create_digest(group, flights: int, chunk: int) -> None:
    count = math.ceil(flights / chunk)
    array = group.create_array(DIGEST, shape=(count,), chunks=(max(count, 1 << 16),), dtype="uint64", fill_value=0, dimension_names=("chunk",))
    array.attrs["long_name"] = "digest of each chunk of flights, 0 where it is not flown yet"
    array[:] = np.zeros(count, dtype=np.uint64)


def _mend(path: Path, group, there: set[str], template: xr.Dataset, numbers: np.ndarray, identity: dict) -> None:
    """Put right what is missing or damaged of a store's metadata and coordinates, from a new one; then cut all to one length."""
    chunk = int(group.attrs["chunk"])
    known = {*map(str, template.variables), DIGEST}
    if not known <= there or digest_of_names(group) != group.attrs.get("names"):
        flights = next(group[name].shape[0] for name in ("flight", "status") if name in there)
        with writing(path):
            fresh = _drafted(path, template, numbers[:flights], chunk, identity)
            try:
                _restore(path, group, fresh, known - there)
            finally:
                shutil.rmtree(fresh, ignore_errors=True)
    with writing(path):
        _resize(group, _along_flights(group), chunk, int(group["flight"].shape[0]))


def _restore(path: Path, group, fresh: Path, missing: set[str]) -> None:
    """Take over from a fresh store the metadata of what is missing, and names and attributes of all; numbers of flights stay."""
    import zarr

    new = zarr.open_group(fresh, mode="r", zarr_format=FORMAT)
    for name, array in new.arrays():
        along = array.metadata.dimension_names[:1]
        if name in missing and along == ("flight",) and name != "flight":
            (path / name).mkdir(exist_ok=True)
            shutil.copyfile(fresh / name / "zarr.json", path / name / "zarr.json")
        elif name in missing or along not in (("flight",), ("chunk",)):
            shutil.rmtree(path / name, ignore_errors=True)
            shutil.copytree(fresh / name, path / name)
        else:
            group[name].attrs.put(dict(array.attrs))
    kept = {key: group.attrs[key] for key in ("history",) if key in group.attrs}
    group.attrs.put(dict(new.attrs) | kept)
    group.attrs["names"] = digest_of_names(group)
