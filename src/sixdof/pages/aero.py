"""A page about aerodynamics against Mach, whatever they are: a row for each variable and place along its other dims."""

from __future__ import annotations

from itertools import product

import numpy as np
import xarray as xr

from sixdof.study.aero.text import table

COLUMNS, PLACES = 12, 4  # Mach numbers, and places along each further dim of numbers, that a page shows


def against_mach(ds: xr.Dataset | xr.DataArray) -> str:
    """Return coefficients against Mach as a table, the source of each row beside it; long dims are thinned to what a page holds."""
    ds = ds.to_dataset(name=ds.name or "value") if isinstance(ds, xr.DataArray) else ds
    ds = ds.isel({dim: _thinned(ds, dim) for dim in ds.dims})
    names = [name for name in ds.data_vars if "mach" in ds[name].dims]
    title = ds.attrs.get("configuration") or (str(names[0]).replace("_", " ") if len(names) == 1 else "Against Mach")
    rows = [row for name in names for row in _rows(ds[name], "" if len(names) == 1 else str(name).replace("_", " "))]
    return "\n".join(table(title, ds["mach"].values, rows, ""))


def _thinned(ds: xr.Dataset, dim) -> np.ndarray:
    """Return the indices of a dim that are shown: all names, and of numbers as many as a page holds."""
    size = ds.sizes[dim]
    if dim != "mach" and (dim not in ds.coords or ds[dim].dtype.kind not in "fiu"):
        return np.arange(size)
    return np.unique(np.linspace(0, size - 1, min(size, COLUMNS if dim == "mach" else PLACES)).round().astype(int))


def _rows(variable: xr.DataArray, called: str) -> list[tuple[str, np.ndarray, str]]:
    """Return a row for each place along the variable's other dims: label, values over Mach (angles in degrees), what it is and its source."""
    others = [dim for dim in variable.dims if dim != "mach"]
    factor = np.degrees(1.0) if variable.attrs.get("units") == "rad" else 1.0
    rows = []
    for places in product(*(range(variable.sizes[dim]) for dim in others)):
        one = variable.isel(dict(zip(others, places)))
        label = " ".join(filter(None, [called, *(_place(one, dim) for dim in others)]))
        rows.append((label or str(variable.name).replace("_", " "), factor * one.values, _said(one)))
    return rows


def _place(one: xr.DataArray, dim) -> str:
    """Return a place along a dim, short: a name as it is, a number after three letters of its dim."""
    value = one[dim].item() if dim in one.coords else ""
    if isinstance(value, str):
        return value
    return f"{dim[:3]} {np.degrees(value):.3g}" if one[dim].attrs.get("units") == "rad" else f"{dim[:3]} {value:g}"


def _said(one: xr.DataArray) -> str:
    """Return what a row is, and where it comes from: as its component says, or its variable."""
    unit = {"rad": "deg", "1": ""}.get(one.attrs.get("units", "1"), one.attrs.get("units"))
    text = one.attrs.get("long_name", "") + (f" ({unit})" if unit else "")
    source, accuracy = (str(one[name].item()) if name in one.coords else one.attrs.get(name, "") for name in ("source", "accuracy"))
    return f"{text}: {source} ({accuracy})" if source else text
