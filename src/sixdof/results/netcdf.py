"""Results as netCDF-4 files, written at once or not at all, and opened by any reader any number of times."""

from __future__ import annotations

import os
import shutil
import uuid
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.mission.files.incoming import FileFault, check_ordinary, is_own, read_apart
from sixdof.results.store_disk import StoreError, locked

LITTLE = 1e6  # bytes left on a disk that is as good as full
TEXT = {"dtype": "S1"}  # texts as fixed-width characters: of names as strings, the netCDF library frees one twice as the third reader opens the file
PARTIAL = ".partial-"  # what a file's name goes on with until it is complete


def as_characters(ds: xr.Dataset) -> xr.Dataset:
    """Return a Dataset whose texts go into a netCDF file as characters, whoever writes it; nothing else of its encoding is kept."""
    ds = ds.drop_encoding()
    for variable in ds.variables.values():
        if variable.dtype.kind in "UO":
            variable.encoding = dict(TEXT)
    return ds


def fixed_texts(ds: xr.Dataset) -> xr.Dataset:
    """Return a Dataset that was read with its texts in numpy's ordinary type, as a result in memory has them."""
    found = {name: (v.dims, _fixed(v.values), v.attrs) if v.dtype.kind in "OT" else v for name, v in ds.variables.items()}
    coords = {name: v for name, v in found.items() if name in ds.coords}
    return as_characters(xr.Dataset({name: v for name, v in found.items() if name not in coords}, coords, ds.attrs))


def _fixed(texts: np.ndarray) -> np.ndarray:
    return np.array([str(text) for text in texts.ravel()], dtype=str).reshape(texts.shape)


def write(ds: xr.Dataset, path: Path, source: str) -> None:
    """Write a Dataset as netCDF-4. The file appears when it is complete; what an earlier try left beside it is cleared.

    source : who wrote it, for a Dataset that does not say that it is a result of this library.

    Raises
    ------
    StoreError
        If the disk does not take it, or another process is writing the same file: one sentence, and nothing is left.
    """
    if not is_own(ds.attrs):
        ds = ds.assign_attrs({"source" if "source" not in ds.attrs else "written_by": source})
    ds = as_characters(ds)
    encoding = {name: {"zlib": True, "complevel": 1} for name, v in ds.variables.items() if v.dtype.kind == "f" and v.ndim}
    with locked(path):
        clear_partial(path)
        partial = path.with_name(f"{path.name}{PARTIAL}{uuid.uuid4().hex[:8]}")
        try:
            ds.to_netcdf(partial, format="NETCDF4", engine="netcdf4", encoding=encoding)
            partial.replace(path)
        except (OSError, RuntimeError) as error:
            raise StoreError(f"{path} cannot be written: {_why(path, error)}. Make room and call again") from error
        finally:
            partial.unlink(missing_ok=True)


def _why(path: Path, error: Exception) -> str:
    if shutil.disk_usage(path.parent).free < LITTLE:
        return "no space left on the disk"
    return getattr(error, "strerror", None) or f"the disk or the netCDF library refuses ({' '.join(str(error).split())})"


def clear_partial(path: Path) -> None:
    """Remove what tries to write `path` that were killed have left beside it; its lock must be held."""
    for entry in os.scandir(path.parent):
        if entry.name.startswith(path.name + PARTIAL) and entry.is_file(follow_symlinks=False):
            os.unlink(entry.path)


def read(path: Path, *, own: bool = False) -> xr.Dataset:
    """Return what a netCDF file holds, complete in memory.

    own : this process has just written it. Raises ValueError for another file, or a damaged one.
    """
    try:
        if not own:
            check_ordinary(path, float("inf"))
            if not _is_classic(path):  # scipy reads those, and never hung
                read_apart(path)
        return fixed_texts(xr.load_dataset(path, engine="scipy" if _is_classic(path) else "netcdf4"))
    except FileFault as fault:
        raise ValueError(f"path: {path} {fault.message}; give a file that sixdof.save wrote") from None
    except MemoryError:
        raise
    except Exception:  # of damage each of the libraries that read it complains in its own way
        raise ValueError(f"path: {path} is not a netCDF file, or is damaged; give a file that sixdof.save wrote") from None


def _is_classic(path: Path) -> bool:
    with open(path, "rb") as file:
        return file.read(3) == b"CDF"
