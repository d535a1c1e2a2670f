"""Measured values to draw from: a column of a CSV file, or a variable of a past ensemble (netCDF or zarr)."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from sixdof.mission.errors import Fault, MissionError, suggestion
from sixdof.mission.files.incoming import MOST_UNPACKED, FileFault, check_zarr, read_apart
from sixdof.mission.files.level_files import cf_unit
from sixdof.mission.files.table_csv import read_column

ENGINES = {  # by how the file's name ends: what xarray opens it with
    ".nc": {"engine": "netcdf4"},
    ".zarr": {"engine": "zarr", "consolidated": False},  # a store that was written piece by piece has no summary of itself
}


def read_values(path: str | Path, name: str) -> tuple[tuple[float, ...], str]:
    """Return the values of a column or variable, finite floats in the order of the file, and their unit ("": none is given).

    A file that ends in .nc or .zarr is a past ensemble: a variable of one number per flight, by its own name or, for a drawn input, by
    that of the quantity ("wind.speed"). Any other is a CSV file with a header.

    Raises
    ------
    MissionError
        If the file cannot be read, there is no such column, or a value is not finite.
    """
    options = ENGINES.get(Path(path).suffix.lower())
    return read_column(path, name) if options is None else _from_ensemble(path, options, name)


def _from_ensemble(path: str | Path, options: dict, name: str) -> tuple[tuple[float, ...], str]:
    import xarray as xr

    try:
        check_zarr(Path(path)) if options["engine"] == "zarr" else read_apart(path)
        with xr.open_dataset(path, decode_times=False, **options) as ds:
            return _values_of(str(path), ds, name)
    except MissionError:
        raise
    except FileFault as fault:
        raise _fault(path, f"cannot be read as a past ensemble: it {fault.message}", fault.hint) from None
    except Exception:  # of a dozen kinds, from the file's library up: the user needs one sentence
        raise _fault(path, "cannot be read as a past ensemble", "give a file that sixdof.disperse wrote, or a CSV file") from None


def _values_of(file: str, ds, name: str) -> tuple[tuple[float, ...], str]:
    known = {str(variable): str(variable) for variable in ds.data_vars}
    known |= {ds[variable].attrs["disperses"]: variable for variable in known if "disperses" in ds[variable].attrs}
    if name not in known:
        raise _fault(file, f'there is no variable "{name}"', suggestion(name, tuple(known), "variables"))
    array = ds[known[name]]
    if array.dims != ("flight",):
        sizes = ", ".join(f"{dim} ({size})" for dim, size in array.sizes.items()) or "none"
        raise _fault(file, f'variable "{name}" has the dimensions {sizes}', "a spread is drawn from one number per flight: select it first")
    if array.dtype.kind not in "fiu":
        raise _fault(file, f'variable "{name}" holds no numbers', "give a variable of numbers")
    if array.nbytes > MOST_UNPACKED:
        raise _fault(file, f'variable "{name}" has {array.size} values', f"a spread takes up to {MOST_UNPACKED / 8:.0f}")
    values = array.values.astype(float)
    if values.size == 0:
        raise _fault(file, "holds no flights", "give an ensemble with flights")
    if not np.all(np.isfinite(values)):
        row = int(np.argmin(np.isfinite(values)))
        flight = ds["flight"].values[row] if "flight" in ds.coords else row
        hint = "leave such flights out of the file: ds.isel(flight=np.isfinite(ds[...]))"
        raise _fault(file, f'variable "{name}" is {values[row]} in flight {flight}', hint)
    return tuple(values.tolist()), _unit(array)


def _unit(array) -> str:
    unit = cf_unit(str(array.attrs.get("units", "")))
    return "" if unit == "1" else unit


def _fault(path, message: str, hint: str) -> MissionError:
    return MissionError([Fault(str(path), "", None, message, hint)])
