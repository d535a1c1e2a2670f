"""Datasets put together from arrays, without asking xarray what kind of arrays they are."""

from __future__ import annotations

import numpy as np
import pandas as pd
import xarray as xr


def assembled(entries: dict, coords: dict, attrs: dict | None = None) -> xr.Dataset:
    """Return `xr.Dataset(entries, coords, attrs)` of numpy arrays.

    For each array given as a tuple xarray looks whether it may be one of dask or of another library, and imports these to know, where they
    are installed: a flight's Dataset then costs half a second in each process. Variables and indexes made here are taken as they are.

    entries, coords : name -> (dims, values) or (dims, values, attributes)
    """
    made = {name: _variable(*entry) for name, entry in (coords | entries).items()}
    indexes = {name: xr.indexes.PandasIndex(pd.Index(made[name].values), name, coord_dtype=made[name].dtype) for name in coords if made[name].dims == (name,)}
    for name, index in indexes.items():
        made |= index.create_variables({name: made[name]})
    return xr.Dataset({name: made[name] for name in entries}, xr.Coordinates({name: made[name] for name in coords}, indexes), attrs)


def _variable(dims, values, attrs=None) -> xr.Variable:
    return xr.Variable(dims, np.asarray(values), attrs, fastpath=True)
