"""Results: the one place that turns a flight's arrays into Datasets, writes them to disk and reads them back."""

from __future__ import annotations

import datetime
import hashlib
import json
import math
import os
from functools import cache
from importlib.metadata import PackageNotFoundError, version
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.core import layout
from sixdof.mission.files.incoming import FileFault, check_ordinary, is_own_netcdf
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results import names
from sixdof.results.assembly import assembled
from sixdof.results.facts import BODY_FACTS, Flown
from sixdof.results.netcdf import as_characters, read, write
from sixdof.results.registry import (
    BODY,
    BRANCH,
    CANOPY,
    DRAWN,
    EVENT,
    FAILURE,
    FIN,
    GAP,
    JOINT,
    OUTCOME,
    PIECE,
    PLACE,
    READING_UNITS,
    REGISTRY,
    RULE,
    SENSED,
    STATUS,
    TIMELINE,
    TRACK,
    WAYPOINT,
    Variable,
)
from sixdof.results.retired import renamed
from sixdof.results.source import code_hash
from sixdof.world.geodesy import place_on_earth

__all__ = [
    "BUILT_IN",
    "NOMINAL",
    "REGISTRY",
    "check_netcdf_path",
    "check_path",
    "ensemble_dataset",
    "flight_dataset",
    "input_name",
    "open_result",
    "save",
    "sealed",
    "source",
    "track_columns",
]
NOMINAL = "nominal"  # the branch without a failure
BUILT_IN = "built in"  # a law that is the library's own


@cache
def library_version() -> str:
    """Return the installed version of sixdof."""
    try:
        return version("sixdof")
    except PackageNotFoundError:  # run from a source tree
        return "unpackaged"


def source() -> str:
    """Return what flies here: version and code, as the attribute `source` of a result says it."""
    return f"sixdof {library_version()}, code {code_hash()}"


def attributes(mission: Mission, *, guidance: str = BUILT_IN, control: str = BUILT_IN, **more) -> dict:
    """Return the attributes of a result: enough to know what made it and to fly it again.

    guidance, control : which laws flew, as `law_digest.law_text` says it.
    """
    found = {
        "Conventions": "CF-1.11",
        "title": mission.title,
        "source": source(),
        "history": f"{datetime.datetime.now(datetime.UTC):%Y-%m-%dT%H:%M:%SZ} flown",
        "mission": mission.to_toml(),
        "guidance": guidance,
        "control": control,
        **more,
    }
    return found | {"seal": sealed(found)}


def sealed(attrs: dict) -> str:
    """Return a digest of those attributes of a result that it can be flown again from: none of them can be changed without its being seen."""
    names = ("mission", "seed", "sampling", "guidance", "control")
    return hashlib.blake2b(json.dumps([str(attrs.get(name)) for name in names]).encode(), digest_size=8).hexdigest()


def _dataset(entries: dict, coords: dict, attrs: dict) -> xr.Dataset:
    """Return a Dataset of entries in the order of the registry, then the inputs; what the vehicle has none of is omitted.

    A dim of length 0 (joints of one stage, fins of none) would make every table of the result empty, and no reader wants it.
    """
    sizes = {dim: np.shape(values)[k] for dims, values, *_ in coords.values() for k, dim in enumerate(_dims(dims))}
    sizes |= {dim: np.shape(values)[k] for dims, values, *_ in entries.values() for k, dim in enumerate(_dims(dims))}
    empty = {dim for dim, size in sizes.items() if size == 0 and dim not in ("flight", "time")}
    kept = {name: entry for name, entry in entries.items() if not empty & set(_dims(entry[0]))}
    order = {name: place for place, name in enumerate(REGISTRY)}
    names = sorted(kept, key=lambda name: order.get(name, len(order)))
    coords = {name: entry for name, entry in coords.items() if not empty & set(_dims(entry[0]))}
    return as_characters(assembled({name: kept[name] for name in names}, coords, attrs))


def _dims(dims) -> tuple[str, ...]:
    return (dims,) if isinstance(dims, str) else tuple(dims)


def _described(variable: Variable, dims, values):
    attrs = {"long_name": variable.long_name, "units": variable.units}
    if variable.flags:
        attrs["flag_values"] = (variable.first_flag + np.arange(len(variable.flags))).astype(np.int8)
        attrs["flag_meanings"] = " ".join(variable.flags)
        values = np.nan_to_num(np.asarray(values, dtype=float)).astype(np.int8)
    return dims, values, attrs


def track_columns() -> list[int]:
    """Return the columns of the log that the track of an ensemble keeps: time, then those of TRACK."""
    return [layout.LOG.index(name) for name in ("time", *TRACK)]


def _names(dim: str, names, long_name: str):
    return dim, np.array(list(names), dtype=str), {"long_name": long_name}


def _coordinates(mission: Mission, waypoints: int) -> dict:
    """Return the coordinates that a flight and an ensemble share."""
    return {
        "body": _names("body", names.body_names(mission), "body: a stage, or what a broken harness lets go"),
        "event": _names("event", names.event_names(mission), "event"),
        "joint": _names("joint", names.joint_names(mission), "joint, named by the stage behind it"),
        "rule": _names("rule", names.rule_names(mission), "event rule, or trigger of a recovery"),
        "canopy": _names("canopy", names.canopy_names(mission), "canopy"),
        "failure": _names("failure", names.failure_names(mission), "failure"),
        "waypoint_number": ("waypoint_number", np.arange(1, waypoints + 1), {"long_name": "number of the waypoint"}),
    }


def _facts(mission: Mission, flown, lead: tuple[str, ...]) -> dict:
    """Return the entries made of the last axis of what one flight (a Flown) or many (a Block, `lead` in front) leave."""
    entries = {}
    for variables, array in (
        (OUTCOME, flown.summary),
        (EVENT, flown.events),
        (WAYPOINT, flown.passed),
        (BODY, flown.body),
        (JOINT, flown.joint),
        (RULE, flown.rule),
        (CANOPY, flown.canopy),
    ):
        entries |= _by_column(variables, array, lead)
    where = [flown.body[..., BODY_FACTS.index(name)] for name in ("body_landing_east", "body_landing_north")]
    on_earth = np.stack(place_on_earth(mission.site, *where, 0.0), axis=-1)  # a body comes down at no height above the ground
    entries |= _by_column(PLACE, on_earth, lead)
    entries["status"] = _described(STATUS, lead, flown.status)
    entries["failure_happened"] = _described(FAILURE, (*lead, "failure"), flown.failure)
    entries["branch"] = _described(BRANCH, lead, branch_names(names.failure_names(mission), flown.failure))
    return entries


def _by_column(variables, array: np.ndarray, lead: tuple[str, ...] = ()) -> dict:
    """Return the entries of variables that are the columns, along its last axis, of an array."""
    return {v.name: _described(v, (*lead, *v.dims), array[..., i].copy()) for i, v in enumerate(variables)}


def branch_names(failures, happened) -> np.ndarray:
    """Return the branch of each row of `happened` (..., failures), bool or 0/1: the failures' names joined, or "nominal"."""
    happened = np.asarray(happened, dtype=bool)
    rows = happened.reshape(math.prod(happened.shape[:-1]), happened.shape[-1])
    names = [" + ".join(name for name, so in zip(failures, row, strict=True) if so) or NOMINAL for row in rows]
    return np.array(names, dtype=str).reshape(happened.shape[:-1])


def _timeline(log: np.ndarray, variables, lead: tuple[str, ...], names=layout.LOG):
    """Return the Dataset entries of a log (..., rows, columns named `names`); `lead` replaces the dim `time`."""
    entries = {}
    for v in variables:
        columns = [names.index(name) for name in v.columns]
        values = log[..., columns[0]] if len(columns) == 1 else log[..., columns]
        entries[v.name] = _described(v, (*lead, *v.dims[1:]), np.ascontiguousarray(values))
    return entries


def flight_dataset(mission: Mission, flown: Flown, **attrs) -> xr.Dataset:
    """Return the Dataset of one flight. Its timeline is that of the front body; tracks of all bodies lie along (body, row)."""
    log, fins = flown.logs[0], (flown.logs[0].shape[1] - layout.LOG_COLUMNS - len(layout.SENSED)) // 3
    entries = _timeline(log, TIMELINE, ("time",))
    dims, numbers, attrs = entries["waypoint"]
    entries["waypoint"] = dims, numbers + 1.0, attrs  # the computer counts from 0, people from 1
    first = layout.LOG_COLUMNS
    for i, v in enumerate(FIN):
        entries[v.name] = _described(v, v.dims, log[:, first + i * fins : first + (i + 1) * fins].copy())
    entries["sensed"] = _described(SENSED, SENSED.dims, log[:, first + 3 * fins :].copy())
    entries |= _facts(mission, flown, ())
    of_track = [layout.LOG.index(v.columns[0]) for v in PIECE]
    entries |= _by_column(PIECE, _padded([rows[:, of_track] for rows in flown.logs], len(PIECE)))
    entries |= _by_column(GAP, _padded(flown.gaps, len(GAP)))
    coords = {
        "time": ("time", log[:, 0].copy(), {"units": "s", "long_name": "time since ignition"}),
        "axis": _names("axis", ("x", "y", "z"), "axis: east, north, up or body x, y, z"),
        "quaternion": _names("quaternion", ("w", "x", "y", "z"), "quaternion part"),
        "fin": ("fin", np.arange(1, fins + 1), {"long_name": "number of the control fin"}),
        "reading": _names("reading", layout.SENSED, "what a control law may read"),
        "reading_units": _names("reading", READING_UNITS, "unit of the reading"),
        **_coordinates(mission, flown.passed.shape[0]),
    }
    return _dataset(entries, coords, attributes(mission, **attrs))


def _padded(tables, columns: int) -> np.ndarray:
    """Return a list of tables (rows, columns) as one array (tables, most rows, columns), NaN below the shorter ones."""
    out = np.full((len(tables), max((len(table) for table in tables), default=0), columns), np.nan)
    for whole, table in zip(out, tables, strict=True):
        whole[: len(table)] = table
    return out


def ensemble_dataset(mission: Mission, draws: xr.Dataset, block, **attrs) -> xr.Dataset:
    """Return the Dataset of an ensemble: the names of a single flight with `flight` in front, and the drawn inputs.

    block : arrays `summary`, `events`, `passed`, `body`, `joint`, `rule`, `canopy`, `failure`, `status` as in `facts.Flown` with
    flights in front, and `track` (flights, points, 1 + TRACK), rows picked from the front body's log, `track_columns` of it;
    NaN past its end.
    """
    entries = _facts(mission, block, ("flight",))
    if block.track.shape[1]:
        chosen = [REGISTRY[name] for name in TRACK]
        entries |= _timeline(block.track, chosen, ("flight", "point"), ("time", *TRACK))
        time_attrs = {"units": "s", "long_name": "time since ignition"}
        entries["time"] = (("flight", "point"), block.track[..., 0].copy(), time_attrs)
    coords = {"flight": ("flight", draws["flight"].values, {"long_name": "number of the flight"}), **_coordinates(mission, block.passed.shape[1])}
    own, coords_of_draws = _inputs(draws, coords)
    return _dataset(entries | own, coords | coords_of_draws, attributes(mission, **attrs))


def _inputs(draws: xr.Dataset, coords: dict):
    """Return the drawn inputs as entries, and their coordinates that `coords` lacks.

    Inputs that are drawn for some names of a dim only (a rule's delay, not a recovery's) are NaN at its other names.
    """
    inputs = draws[[name for name, values in draws.data_vars.items() if "role" in values.attrs]]
    names = {dim: coords[dim][1].tolist() for dim in inputs.dims if dim in coords and dim != "flight"}
    entries = {input_name(name): (values.dims, _named(values, names), {**values.attrs, "disperses": name}) for name, values in inputs.data_vars.items()}
    if DRAWN.name in draws:
        happened = draws[DRAWN.name].reindex(failure=coords["failure"][1], fill_value=0)
        entries[DRAWN.name] = _described(DRAWN, ("flight", "failure"), happened.values)
    more = {dim: (dim, c.values, dict(c.attrs)) for dim, c in inputs.coords.items() if dim not in coords}
    return entries, more


def _named(values: xr.DataArray, names: dict[str, list[str]]) -> np.ndarray:
    """Return an input along all `names` of its dims, NaN where nothing is drawn. xarray's `reindex` loads other libraries to know its arrays."""
    whole = values.values
    for axis, dim in enumerate(values.dims):
        own = values[dim].values.tolist()
        if dim in names and own != names[dim]:
            drawn = np.moveaxis(whole, axis, 0)
            rows = [drawn[own.index(name)] if name in own else np.full(drawn.shape[1:], np.nan) for name in names[dim]]
            whole = np.ascontiguousarray(np.moveaxis(np.array(rows), 0, axis))
    return whole


def input_name(dispersible: str) -> str:
    """Return the variable that holds the draws of a dispersible ("wind.speed" -> "wind_speed")."""
    return dispersible.replace(".", "_")


def save(ds: xr.Dataset, path: str | Path, *, overwrite: bool = False) -> Path:
    """Write a result as netCDF-4 and return its path. The file appears only when it is complete.

    An ensemble opened from a zarr store is converted a variable at a time. For zarr there is xarray's own `ds.to_zarr`.

    Parameters
    ----------
    overwrite : bool
        Replace a netCDF file that this library wrote. Any other file is left alone.

    Raises
    ------
    FileExistsError
        If the path exists and overwrite is not set, or it is not a netCDF file of this library.
    StoreError
        If the disk does not take it, or another process is writing it; no half file is left.
    TypeError
        If `ds` is no Dataset, or `path` no path.

    Examples
    --------
    >>> sixdof.save(flight, "one.nc").name
    'one.nc'
    """
    if not isinstance(ds, xr.Dataset):
        raise TypeError(f"save: ds must be a Dataset as sixdof.fly or sixdof.disperse returns it, not {shown(ds)}")
    path = check_netcdf_path(path, overwrite=overwrite)
    write(ds, path, source())
    return path


def check_path(path: str | Path, *, overwrite: bool = False) -> Path:
    """Return `path` if a file may be written there; long work asks this before it begins.

    Raises
    ------
    FileExistsError, FileNotFoundError
        If the file exists and overwrite is not set, it is not an ordinary file, or its folder does not exist.
    TypeError, ValueError
        If it is not a path, or one that no file can have.

    Examples
    --------
    >>> sixdof.stats.check_path("new.csv").name
    'new.csv'
    """
    path = as_path(path)
    if path.is_dir():
        raise FileExistsError(f"{path} is a folder; give the name of a file in it, such as {path / 'flights.nc'}")
    if path.exists() and not overwrite:
        raise FileExistsError(f"{path} exists; choose another name, or pass overwrite=True to replace it")
    try:
        check_ordinary(path, math.inf)
    except FileFault as fault:
        raise FileExistsError(f"{path} {fault.message}, so it is not overwritten; choose another name") from None
    if not path.parent.is_dir():
        raise FileNotFoundError(f"the folder {path.parent} for {path.name} does not exist; make it first")
    return path


def check_netcdf_path(path: str | Path, *, overwrite: bool = False) -> Path:
    """Return `path` if a result may be written there as netCDF (see `check_path`): overwriting spares what this library did not write.

    Raises ValueError, too, for a name that ends in .zarr.

    overwrite : allow a file that is there, if it is one of this library's.

    Examples
    --------
    >>> sixdof.stats.check_netcdf_path("new.nc").name
    'new.nc'
    """
    path = check_path(path, overwrite=overwrite)
    if path.suffix == ".zarr":
        raise ValueError(f"{path} names a zarr folder, and this is written as netCDF; end the name in .nc")
    if path.exists() and not is_own_netcdf(path):
        raise FileExistsError(f"{path} is not a netCDF file of this library, so it is not overwritten; choose another name, or remove it yourself")
    return path


def as_path(path: str | Path, name: str = "path") -> Path:
    """Return the argument `name` of some function as a Path. Raises TypeError or ValueError for what can be none."""
    if not isinstance(path, (str, os.PathLike)):
        raise TypeError(f"{name} must be the path of a file or folder, as text or as a pathlib.Path, not {shown(path)}")
    path = Path(path)
    try:
        path.stat()
    except (FileNotFoundError, NotADirectoryError):
        pass  # whoever needs it to be there says so
    except (OSError, ValueError):  # a name too long, or with a zero byte
        raise ValueError(f"{name} = {shown(str(path))} cannot be read or written; check the name and who may enter its folder") from None
    return path


def open_result(path: str | Path, *, check: bool = False) -> xr.Dataset:
    """Return a result read from disk: a netCDF file complete in memory, a zarr store variable by variable as they are used.

    Of an ensemble that was interrupted, the flights that were finished; the attribute `interrupted` says how many. A netCDF-4 file is read in a
    process of its own first, for its library may hang on a damaged one. Variables that an older version named otherwise get the names of this one,
    with a warning.

    Parameters
    ----------
    check : bool
        Of a zarr store, hold every chunk of flights against its digest first.

    Raises
    ------
    FileNotFoundError
        If there is nothing of that name.
    TypeError, ValueError
        If `path` is not a path, or the file there no netCDF file or damaged.
    StoreError
        If it is a store and damaged.

    Examples
    --------
    >>> path = sixdof.save(flight, "kept.nc")
    >>> sixdof.open_result(path).apogee_height.equals(flight.apogee_height)
    True
    """
    from sixdof.results.store_disk import unfinished
    from sixdof.results.store_reading import open_store

    path = as_path(path)
    if not path.exists() and path.name and unfinished(path).is_dir():
        path = unfinished(path)
    if path.is_dir():
        return renamed(open_store(path, check=check), path)
    if not path.exists():
        raise FileNotFoundError(f"path: there is no file or folder {shown(str(path))}; check the name and the folder")
    return renamed(read(path), path)
