"""What of an ensemble on disk is there, read when it is asked for."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.mission.files.incoming import FileFault, check_zarr, is_own
from sixdof.results.netcdf import fixed_texts
from sixdof.results.store import cut_to_flights
from sixdof.results.store_disk import BOOKS, DIGEST, NOT_FLOWN, StoreError, digest_of_flown, digest_of_names


def open_store(path: Path, *, check: bool = False) -> xr.Dataset:
    """Return the flights that are there, read when they are asked for; of a store that `Dataset.to_zarr` wrote, all that it holds.

    check : look at every chunk first, and at names and attributes. Raises StoreError if it is not a store of this library, or is damaged.
    """
    try:
        found = check_zarr(path)
    except FileFault as fault:
        raise StoreError(f"{path} is not an ensemble of this library: it {fault.message}") from None
    attributes = found[""].get("attributes", {})
    if not is_own(attributes):
        raise StoreError(f"{path} is not an ensemble of this library: another program wrote it")
    grown = {"chunk", "identity"} <= set(attributes)
    if grown:
        _look_at_lengths(path, found)
    try:
        ds = xr.open_dataset(path, engine="zarr", chunks=None, consolidated=False, cache=False)
        return _flown(path, ds, check) if grown else _whole(path, ds, check)
    except (OSError, ValueError, KeyError) as error:
        raise StoreError(f"{path} is damaged: {error}") from None


def _look_at_lengths(path: Path, found: dict) -> None:
    """Mend a store of which a killed run has left arrays of different lengths, and refuse one that lacks some."""
    attributes = found[""]["attributes"]
    lost = [name for name in (*attributes.get("variables", ()), DIGEST) if name not in found]
    if lost:
        raise StoreError(f"{path} is damaged: {lost[0]}/zarr.json is not there; the call that made the ensemble mends it")
    flights = found["flight"]["shape"][0]
    lengths = {each["shape"][0] for name, each in found.items() if name and (each.get("dimension_names") or [None])[0] == "flight"}
    if lengths != {flights} or found[DIGEST]["shape"] != [math.ceil(flights / int(attributes["chunk"]))]:
        cut_to_flights(path)


def _whole(path: Path, ds: xr.Dataset, check: bool) -> xr.Dataset:
    if check:
        raise StoreError(f"{path} holds no digests to check it against: Dataset.to_zarr wrote it, not sixdof.disperse")
    return fixed_texts(ds)


def _flown(path: Path, ds: xr.Dataset, check: bool) -> xr.Dataset:
    digests, chunk, variables = ds[DIGEST].values, int(ds.attrs["chunk"]), ds.attrs["variables"]
    ds.attrs = {key: value for key, value in ds.attrs.items() if key not in BOOKS}
    ds = ds[[name for name in variables if name in ds.data_vars]].assign_coords({name: ds[name] for name in variables if name in ds.coords})
    if check:
        _raise_damage(path, ds, digests, chunk)
    there = np.repeat(digests != 0, chunk)[: ds.sizes["flight"]] & (ds["status"].values != NOT_FLOWN)
    if not there.all():
        ds.attrs["interrupted"] = f"{there.sum()} of {there.size} flights are finished; the same call goes on"
        ds = ds.isel(flight=np.flatnonzero(there))
    return fixed_texts(ds)


def _raise_damage(path: Path, ds: xr.Dataset, digests: np.ndarray, chunk: int) -> None:
    import zarr

    group = zarr.open_group(path, mode="r", zarr_format=3)
    if digest_of_names(group) != group.attrs.get("names"):
        raise StoreError(f"{path} is damaged in its names or attributes; the call that made it mends them")
    damaged = []
    for k in np.flatnonzero(digests):
        part = ds.isel(flight=slice(k * chunk, (k + 1) * chunk))
        try:
            sound = digest_of_flown({name: v.values for name, v in part.variables.items() if "flight" in v.dims}) == digests[k]
        except Exception:  # a damaged chunk raises whatever its codec meets first
            sound = False
        if not sound:
            damaged.append(f"{k * chunk} to {min((k + 1) * chunk, ds.sizes['flight']) - 1}")
    if damaged:
        raise StoreError(f"{path} is damaged at flights {', '.join(damaged)} counted from the first; the call that made it flies them again")
