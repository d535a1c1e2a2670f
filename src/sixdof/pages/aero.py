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
    rows = [row for name in ds.data_vars if "mach" in ds[name].dims for row in _rows(ds[name])]
    return "\n".join(table(ds.attrs.get("configuration", "Against Mach"), ds["mach"].values, rows, ""))


def _thinned(ds: xr.Dataset, dim) -> np.ndarray:
    """Return the indices of a dim that are shown: all names, and of numbers as many as a page holds."""
    size = ds.sizes[dim]
    if dim != "mach" and (dim not in ds.coords or ds[dim].dtype.kind not in "fiu"):
        return np.arange(size)
    return np.unique(np.linspace(0, size - 1, min(size, COLUMNS if dim == "mach" else PLACES)).round().astype(int))


def _rows(variable: xr.DataArray) -> list[tuple[str, np.ndarray, str]]:
    """Return a row for each place along the variable's other dims: label, values over Mach, source."""
    others = [dim for dim in variable.dims if dim != "mach"]
    rows = []
    for places in product(*(range(variable.sizes[dim]) for dim in others)):
        one = variable.isel(dict(zip(others, places)))
        where = ", ".join(_place(one, dim) for dim in others)
        text = str(variable.name).replace("_", " ")
        source = _source(one)
        rows.append((f"{text}, {where}" if where else text, one.values, source))
    return rows


def _place(one: xr.DataArray, dim) -> str:
    value = one[dim].item() if dim in one.coords else ""
    if isinstance(value, str):
        return value
    return f"{np.degrees(value):.3g} deg" if one[dim].attrs.get("units") == "rad" else f"{value:g}"


def _source(one: xr.DataArray) -> str:
    """Return where a row comes from: as the variable says, or as its component does."""
    source, accuracy = (one.attrs.get(name) or (str(one[name].item()) if name in one.coords else "") for name in ("source", "accuracy"))
    unit = one.attrs.get("units", "1")
    text = one.attrs.get("long_name", "")
    said = f"{text}{'' if unit in ('1', '') else f' ({unit})'}"
    return f"{said}: {source} ({accuracy})" if source else said
