"""An ensemble as a table: one row per flight."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import xarray as xr

from sixdof.study.reading.result import need_result

if TYPE_CHECKING:
    import pandas as pd

TOO_LONG = {"time", "point", "row", "gap_row", "reading", "axis", "quaternion"}  # dims of timelines and their parts


def per_flight(ds: xr.Dataset) -> pd.DataFrame:
    """Return a result as a pandas table with one row per flight, for a spreadsheet, a `groupby` or a plot.

    Parameters
    ----------
    ds : Dataset
        An ensemble as `disperse` returns it, any flights of it, or a single flight, which is one row.

    Returns
    -------
    DataFrame
        Index: the flight's number. Columns: every outcome, fact and drawn input, in the order of the Dataset and in its units; what there is one of for
        each body, canopy, stage, fin ... has a column for each, named such as "body_landing_ground_speed[booster]", what there is at each event such as
        "event_time[booster, apogee]". Flags (`status`, `descent`) are the words of their meanings. Timelines and tracks are omitted.

    Raises
    ------
    TypeError, ValueError
        If `ds` is not a result of a flight.

    Examples
    --------
    >>> table = sixdof.stats.per_flight(flights)
    >>> len(table), "apogee_height" in table
    (100, True)
    """
    import pandas as pd

    need_result(ds, "per_flight", "status")
    whole = ds if "flight" in ds.dims else ds.expand_dims("flight")
    numbers = whole["flight"].values if "flight" in whole.coords else [int(ds.attrs.get("flight", 0))]
    columns = {}
    for name, array in whole.data_vars.items():
        if "flight" in array.dims and not TOO_LONG & set(array.dims):
            columns |= _columns(str(name), array.transpose("flight", ...))
    return pd.DataFrame(columns, index=pd.Index(numbers, name="flight"))


def _columns(name: str, array: xr.DataArray) -> dict[str, np.ndarray]:
    """Return the columns of a variable (flight, ...): one, or one for each label along its other dims."""
    values = _worded(array)
    if array.ndim == 1:
        return {name: values}
    labels = [array[dim].values if dim in array.coords else np.arange(array.sizes[dim]) for dim in array.dims[1:]]
    places = np.ndindex(*array.shape[1:])
    return {f"{name}[{', '.join(str(of[k]) for of, k in zip(labels, place))}]": values[(slice(None), *place)] for place in places}


def _worded(array: xr.DataArray) -> np.ndarray:
    """Return the values of a variable, those of a flag as words."""
    if "flag_meanings" not in array.attrs:
        return array.values
    words = dict(zip(np.atleast_1d(array.attrs["flag_values"]).tolist(), str(array.attrs["flag_meanings"]).split()))
    return np.array([words.get(int(value), "") for value in array.values.ravel()], dtype=object).reshape(array.shape)
