"""Tables of draws that come from outside: edited, made with numpy or xarray, or read back from an ensemble."""

from __future__ import annotations

import operator

import numpy as np
import xarray as xr

from sixdof.draws.drawn import path_names
from sixdof.draws.quantities import attributes_of, coordinate, dims_of, flight_coordinate, known_item, things
from sixdof.draws.sampling import FLIGHTS, SEEDS
from sixdof.draws.table import FAILED, OF_FAILED, refuse_beyond
from sixdof.mission.former import DISPERSED, KEYS, current_name
from sixdof.mission.mission import Mission
from sixdof.mission.paths import PathItem
from sixdof.mission.tables.dispersible import DISPERSIBLE, Dispersible
from sixdof.results.assembly import assembled
from sixdof.results.dataset import input_name

GIVEN = "given"  # attribute `sampling` of a table that somebody made


def check_draws(mission: Mission, table: xr.Dataset, *, repeated: bool = False) -> xr.Dataset:
    """Return a table of draws in the form `make_draws` gives it, after checking it against the mission.

    Parameters
    ----------
    mission : Mission
    table : Dataset
        Variables named as in `[disperse]` (or as any name that can be dispersed; paths must be those the mission disperses), dims
        `flight` and what the quantity is drawn for one by one, values in SI or rad; `failure_drawn` (flight, failure) of 0 and 1. A
        quantity that is omitted is nominal. Without a coordinate flights are numbered 0, 1, ...; the attribute `seed` and these numbers choose the
        noise of sensors and turbulence.
    repeated : bool
        Flights may come again: the same flight under other conditions, which shares its noise.

    Returns
    -------
    Dataset
        float64, in the order of `make_draws`, with units, long_name and role; attributes seed and sampling = "given".

    Raises
    ------
    ValueError
        One sentence, with the number of the first flight in which something is wrong.
    """
    if not isinstance(table, xr.Dataset):
        raise ValueError(f"a table of draws is an xarray.Dataset as sixdof.stats.make_draws returns it, not a {type(table).__name__}")
    flights = _flights(table, repeated)
    variables, coords = {}, {"flight": flight_coordinate(flights)}
    for name in _in_order(mission, table):
        item = known_item(mission, name)
        _fits_the_mission(mission, item)
        names = things(mission, item.each)
        dims = dims_of(item, names)
        values = _numbers(table[name], dims, {item.each: names}, flights)
        _check_values(mission, item, values, flights)
        if len(dims) == 2:
            coords[item.each] = coordinate(item.each, names)
        variables[name] = (dims, values, attributes_of(item))
    if FAILED in table:
        names = [failure.name for failure in mission.failure]
        values = _numbers(table[FAILED], ("flight", "failure"), {"failure": names}, flights)
        _first_bad(~np.isin(values, (0.0, 1.0)), FAILED, values, flights, "is neither 0 nor 1", "1 where the failure happens")
        coords["failure"] = coordinate("failure", names)
        variables[FAILED] = (("flight", "failure"), values.astype(np.int8), dict(OF_FAILED))
    return assembled(variables, coords, {"seed": _seed(table), "sampling": GIVEN})


def _flights(table: xr.Dataset, repeated: bool) -> np.ndarray:
    count = table.sizes.get("flight", 0)
    if not count:
        raise ValueError("the table of draws has no flights: its variables need a dim flight")
    numbers = table["flight"].values if "flight" in table.coords else np.arange(count)
    whole = numbers.dtype.kind in "iu" or (numbers.dtype.kind == "f" and np.all(numbers == np.round(numbers)))
    if not whole or numbers.min() < 0 or numbers.max() >= FLIGHTS:
        raise ValueError(f"the coordinate flight of the table of draws must hold whole numbers from 0 to {FLIGHTS - 1}")
    found, how_often = np.unique(numbers, return_counts=True)
    if found.size < count and not repeated:
        twice = int(found[np.argmax(how_often > 1)])
        raise ValueError(f"flight {twice} comes {how_often.max()} times in the table of draws; number the flights differently")
    return numbers.astype(np.int64)


def _seed(table: xr.Dataset) -> str:
    written = table.attrs.get("seed", "0")
    try:
        seed = int(written) if isinstance(written, str) else operator.index(written)
    except (TypeError, ValueError):
        seed = -1
    if not 0 <= seed < SEEDS:
        raise ValueError(f"the attribute seed = {written!r} of the table of draws must be a whole number from 0 to {SEEDS - 1}")
    return str(seed)


def _in_order(mission: Mission, table: xr.Dataset) -> list[str]:
    """Return the quantities of a table in the order of `make_draws`; raise ValueError for what the mission does not know."""
    names, paths = [name for name in table.data_vars if name != FAILED], path_names(mission)
    for name in names:
        if name not in DISPERSIBLE and name not in paths:
            known_item(mission, name)
            raise ValueError(f'"{name}" is a path that the mission does not disperse; add it to its [disperse]')
    if FAILED in table and not mission.failure:
        raise ValueError(f"the table of draws holds {FAILED}, and the mission has no [[failure]]; drop it")
    return [name for name in (*DISPERSIBLE, *paths) if name in names]


def _fits_the_mission(mission: Mission, item: Dispersible) -> None:
    wanted = {
        "wind.speed": (mission.air.one_wind, "its wind has no single speed and direction to replace"),
        "wind.blows_from": (mission.air.one_wind, "its wind has no single speed and direction to replace"),
        "wind.member": (mission.air.wind.profile == "members", "its wind has no members"),
        "turbulence.wind_at_20_ft": (mission.air.turbulence is not None, "it has no turbulence"),
    }
    sound, why = wanted.get(item.name, (True, ""))
    if not sound:
        raise ValueError(f'"{item.name}" of the table of draws does not fit the mission: {why}; drop it')


def _numbers(array: xr.DataArray, dims: tuple[str, ...], names: dict[str, list], flights: np.ndarray) -> np.ndarray:
    """Return the values of a variable along `dims`, things in the mission's order, as floats."""
    name = array.name
    single = [dim for dim in array.dims if dim not in dims and array.sizes[dim] == 1]  # one stage alone may be named
    array = array.squeeze(single, drop=True)
    if set(array.dims) != set(dims):
        found = ", ".join(map(str, array.dims)) or "none"
        raise ValueError(f'"{name}" of the table of draws has the dims {found}; it needs {", ".join(dims)}')
    if array.dtype.kind not in "fiub":
        raise ValueError(f'"{name}" of the table of draws holds no numbers')
    for dim in dims[1:]:
        wanted = [str(each) for each in names[dim]]
        there = [str(each) for each in array[dim].values] if dim in array.coords else wanted
        if sorted(there) != sorted(wanted) or array.sizes[dim] != len(wanted):
            raise ValueError(f'"{name}" of the table of draws must have, along {dim}, {", ".join(wanted) or "nothing"}')
        array = array.isel({dim: [there.index(each) for each in wanted]})
    values = np.array(array.transpose(*dims).values, dtype=float)
    _first_bad(~np.isfinite(values), name, values, flights, "is not finite", "give every flight a number")
    return values


def _first_bad(bad: np.ndarray, name: str, values: np.ndarray, flights: np.ndarray, message: str, hint: str) -> None:
    if bad.any():
        row = int(np.argmax(bad.reshape(len(flights), -1).any(axis=1)))
        value = values[row][bad[row]].flat[0] if values.ndim > 1 else values[row]
        raise ValueError(f"flight {flights[row]}: {name} = {value:g} {message}; {hint}")


def _check_values(mission: Mission, item: Dispersible, values: np.ndarray, flights: np.ndarray) -> None:
    if isinstance(item, PathItem):
        refuse_beyond(item, values, flights)
        return
    if item.least is not None:
        hint = f"a draw of it is {item.least:g} or more"
        _first_bad(values < item.least, item.name, values, flights, f"is less than {item.least:g}", hint)
    if item.whole:
        _first_bad(values != np.round(values), item.name, values, flights, "is not a whole number", "it is counted from 0")
    if item.name == "wind.member":
        last = len(mission.air.wind.member) - 1
        _first_bad(values > last, item.name, values, flights, "is not a member", f"they are counted from 0 to {last}")


# ---------------------------------------------------------------- from an ensemble


def draws_of(ds: xr.Dataset, mission: Mission, *, repeated: bool = False) -> xr.Dataset:
    """Return the table of draws of an ensemble's flights, checked: with it they fly again, from the file alone.

    ds : what `sixdof.disperse` returned, or any flights of it (`ds.sel(flight=[3, 8])`; a single flight may lack the dim). mission : its
    mission, that of the attribute `mission`. Inputs are read back bit for bit. repeated : flights may come again, as in `check_draws`.

    Raises
    ------
    ValueError
        If an input that the mission disperses is missing, or does not belong to the mission.
    """
    if "flight" not in ds.dims:
        if "flight" not in ds.coords:
            raise ValueError("rows_of takes flights of an ensemble, which have a coordinate flight; this Dataset has none")
        ds = ds.expand_dims("flight")
    if "flight" not in ds.coords:
        raise ValueError("rows_of takes flights of an ensemble, which have a coordinate flight; this Dataset has none")
    ds = _in_words_of_today(ds)
    names = {input_name(name): name for name in (*DISPERSIBLE, *path_names(mission))}
    names = {str(found): ds[found].attrs.get("disperses", names.get(found)) for found in ds.data_vars if "disperses" in ds[found].attrs or found in names}
    lost = [name for name in mission.disperse if name not in names.values()]
    if lost:
        raise ValueError(f'the ensemble holds no draws of "{lost[0]}", which the mission disperses')
    variables = {name: _own_things(mission, name, ds[found]) for found, name in names.items()}
    if mission.failure:
        variables[FAILED] = _failures(mission, ds)
    return check_draws(mission, xr.Dataset(variables, {"flight": ds["flight"].values}, {"seed": ds.attrs.get("seed", "0")}), repeated=repeated)


def _in_words_of_today(ds: xr.Dataset) -> xr.Dataset:
    """Return an ensemble with the inputs that a version before called otherwise under their names of today."""
    old = {input_name(then): input_name(now) for then, now in DISPERSED.items() if input_name(then) in ds}
    ds = ds.rename(old | {then: now for then, now in KEYS[""].items() if then in ds.dims or then in ds.coords})
    for name in [name for name in ds.data_vars if "disperses" in ds[name].attrs]:
        path = ds[name].attrs["disperses"]
        if current_name(path) != path:
            ds = ds.assign({name: ds[name].assign_attrs(disperses=current_name(path))})
    return ds


def _own_things(mission: Mission, name: str, array: xr.DataArray) -> xr.Variable:
    """Return the draws of a quantity for what it is drawn for: an ensemble has room for more, such as the rules of recoveries."""
    each = known_item(mission, name).each
    if each not in array.dims:
        return array.variable
    wanted = [str(one) for one in things(mission, each)]
    there = [str(one) for one in array[each].values]
    return array.isel({each: [there.index(one) for one in wanted if one in there]}).variable


def _failures(mission: Mission, ds: xr.Dataset) -> xr.Variable:
    if FAILED not in ds:
        raise ValueError(f"the ensemble holds no {FAILED}, and the mission has failures")
    return ds[FAILED].isel(failure=slice(0, len(mission.failure))).variable
