"""Numbers that studies make out of whole flights, as criteria in words may speak of them: "flutter_margin of tail > 1.5 in 99 % of flights".

A measure is a number of every flight that no kernel notes. Whoever judges criteria has it made while the flights' inputs are there (`with_measures`);
from then on it is a variable like any other.
"""

from __future__ import annotations

import hashlib
from collections import OrderedDict
from collections.abc import Iterable
from importlib import import_module

import numpy as np
import xarray as xr

from sixdof.results.registry import Variable

# name: (unit, meaning, the thing it belongs to ("" the flight), module and function that make it of an ensemble: an array (flight) or a DataArray
# (flight, thing) with the things' names). The function's room is above this one: the way up goes through this table of names
_TOLD: dict[str, tuple[str, str, str, str, str]] = {
    "opening_load_share": ("1", "opening load over the strength of the canopy", "canopy", "sixdof.study.recovery.zipper", "opening_load_share"),
    "zipper_index": ("1", "force of the harness on the edge of the tube over what it bears", "canopy", "sixdof.study.recovery.zipper", "zipper_index"),
    "harness_load_share": (
        "1",
        "largest load of the harness over its strength",
        "harness",
        "sixdof.study.recovery.ejection.harness_loads",
        "harness_load_share",
    ),
    "trigger_gap_min": ("s", "smallest gap between two triggers of the canopy", "canopy", "sixdof.study.recovery.triggers.measures", "trigger_gap_min"),
    "backup_beats": (
        "1",
        "whether a backup deploys the canopy before a sound primary trigger",
        "canopy",
        "sixdof.study.recovery.triggers.measures",
        "backup_beats",
    ),
    "skin_temperature_max": ("K", "largest skin temperature", "", "sixdof.study.structure.skin", "skin_temperature_max"),
    "skin_reserve": ("K", "least distance of the skin below its service temperature", "", "sixdof.study.structure.skin", "skin_reserve"),
    "flutter_margin": ("1", "least flutter speed over airspeed", "fins", "sixdof.study.structure.flutter", "flutter_margin"),
    "flutter_reserve": ("1", "least flutter margin over the one demanded", "fins", "sixdof.study.structure.flutter", "flutter_reserve"),
    "hinge_divergence_margin": ("1", "least divergence speed over airspeed", "fins", "sixdof.study.structure.flutter", "hinge_divergence_margin"),
    "bending_moment_max": ("N m", "largest bending moment along what flies together", "", "sixdof.study.structure.loads.measures", "bending_moment_max"),
    "bending_share": ("1", "largest bending moment at the joint over what it carries", "joint", "sixdof.study.structure.loads.measures", "bending_share"),
    "guide_load_max": ("N", "largest load across the rail on a rail guide", "", "sixdof.study.structure.loads.measures", "guide_load_max"),
    "deployment_acceleration_max": (
        "m/s^2",
        "largest acceleration of a piece as a canopy comes out",
        "",
        "sixdof.study.structure.loads.measures",
        "deployment_acceleration_max",
    ),
}
MEASURES = {name: Variable(name, (thing,) if thing else (), units, meaning) for name, (units, meaning, thing, _, _) in _TOLD.items()}
KEPT = 64  # measures of so many ensembles are remembered: each may have flown all flights again
_known: OrderedDict[str, xr.DataArray] = OrderedDict()


def with_measures(ds: xr.Dataset, names: Iterable[str]) -> xr.Dataset:
    """Return an ensemble with those of `names` that are measures and that it does not hold yet.

    Raises ValueError, naming the measure, for an ensemble that lacks what it is made of.
    """
    wanted = [name for name in dict.fromkeys(names) if name in MEASURES and name not in ds]
    return ds.assign({name: measured(ds, name) for name in wanted}) if wanted else ds


def measured(ds: xr.Dataset, name: str) -> xr.DataArray:
    """Return a measure of every flight of an ensemble, with unit and long name: (flight), or (flight, thing)."""
    key = _digest(ds, name)
    if key in _known:
        _known.move_to_end(key)
        return _known[key]
    *_, module, function = _TOLD[name]
    try:
        values = getattr(import_module(module), function)(ds)
    except ValueError as error:
        raise ValueError(f"{name}: {error}") from None
    own = MEASURES[name]
    dims = ("flight", *own.dims)
    found = values if isinstance(values, xr.DataArray) else xr.DataArray(np.asarray(values, dtype=float), dims=dims)
    _known[key] = found.transpose(*dims).drop_vars("flight", errors="ignore").assign_attrs(units=own.units, long_name=own.long_name)
    while len(_known) > KEPT:
        _known.popitem(last=False)
    return _known[key]


def _digest(ds: xr.Dataset, name: str) -> str:
    """Return what tells one ensemble's measure from another's: its attributes, inputs, failures and ends."""
    found = hashlib.sha256(repr((name, sorted((key, str(value)) for key, value in ds.attrs.items()), ds["flight"].values.tolist())).encode())
    for key, v in ds.data_vars.items():
        if "disperses" in v.attrs or "failure" in v.dims or v.dims == ("flight",):
            values = v.values.astype(float) if v.dtype.kind in "fiub" else v.values.astype("U")
            found.update(f"{key}{v.dims}{v.shape}".encode() + np.ascontiguousarray(values).tobytes())
    return found.hexdigest()
