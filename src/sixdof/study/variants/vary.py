"""Variants of a mission: made by changing it, put side by side in one Dataset, and taken out of it again."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.draws.packed import things
from sixdof.mission.errors import Fault, MissionError, suggestion
from sixdof.mission.load import check_mission, stored_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.mission.units import shown
from sixdof.results.dataset import sealed
from sixdof.results.names import body_names, canopy_names, event_names, failure_names, fin_set_names, harness_names, joint_names, rule_names
from sixdof.study.variants.subjects import NOT_HERE

LAWS = ("guidance", "control")
MISSING = "not_in_variant"  # what NOT_HERE is called among a flag's meanings
JUDGED = ("criterion", "motor", "setting", "measurement")  # dims of what a study says of variants, which no ensemble has
NAMES = {
    "body": body_names,
    "event": event_names,
    "joint": joint_names,
    "rule": rule_names,
    "canopy": canopy_names,
    "failure": failure_names,
    "harness": harness_names,
    "fins": fin_set_names,
}


def vary(mission: Mission, changes: Mapping[str, Mapping[str, Any]]) -> dict[str, Mission]:
    """Return variants of a mission for `compare`: name -> the mission with those changes.

    `vary(mission, {"as written": {}, "long rail": {"rail.length": "6 m"}, "soft": {"autopilot.pitch.p": 0.6}})`; see `Mission.change`.

    Raises
    ------
    MissionError
        If a change leads nowhere or makes no sound mission: every fault of every variant, each naming its variant.

    Examples
    --------
    >>> rails = sixdof.parts.vary(mission, {"3 m": {"rail.length": "3 m"}, "5 m": {"rail.length": "5 m"}})
    >>> [each.rail.length for each in rails.values()]
    [3.0, 5.0]
    """
    check_mission(mission, "vary")
    if not isinstance(changes, Mapping):
        raise TypeError(f'vary: changes must be a dictionary such as {{"long rail": {{"rail.length": "6 m"}}}}, not {shown(changes)}')
    found, faults = {}, []
    for name, change in changes.items():
        try:
            found[name] = mission.change(change)
        except MissionError as error:
            faults += [fault_of_variant(fault, name) for fault in error.faults]
    if faults:
        raise MissionError(faults)
    return found


def fault_of_variant(fault: Fault, variant: str) -> Fault:
    """Return a fault of a variant's mission with its place naming the variant."""
    return Fault(f"variant {shown(variant)}", fault.key, fault.value, fault.message, fault.hint, fault.place)


# ---------------------------------------------------------------- side by side


def joined_variants(flown: Mapping[str, xr.Dataset], missions: Sequence[Mission]) -> xr.Dataset:
    """Return ensembles of variants as one Dataset: the flights that all have, and every body, event ... that any has."""
    numbers = [ds["flight"].values for ds in flown.values()]
    common = numbers[0][np.all([np.isin(numbers[0], other) for other in numbers], axis=0)]
    parts = [ds.sel(flight=common) for ds in flown.values()]
    found = [(name, v.dims) for ds in parts for name, v in ds.data_vars.items()]
    dims = dict(sorted(found, key=lambda pair: len(pair[1])))  # of each name the most dims that a variant has
    parts = [_with_own_dims(ds, mission, dims) for ds, mission in zip(parts, missions, strict=True)]
    coords = {dim: _in_order([ds for ds in parts if dim in ds.coords], dim) for ds in parts for dim in ds.coords if dim != "flight"}
    points = max(ds.sizes.get("point", 0) for ds in parts)
    parts = [_filled(ds, coords, points) for ds in parts]
    template = {name: v for ds in parts for name, v in ds.data_vars.items()}
    parts = [ds.assign({name: _blank(v) for name, v in template.items() if name not in ds}) for ds in parts]
    names = xr.IndexVariable("variant", list(flown), {"long_name": "variant of the mission"})
    ds = xr.concat(parts, names, data_vars="all", coords="minimal", compat="override", join="exact", combine_attrs="override")
    for v in ds.data_vars.values():
        if "flag_values" in v.attrs and (v.values == NOT_HERE).any():
            values = np.append(np.atleast_1d(v.attrs["flag_values"]), NOT_HERE).astype(np.int8)
            v.attrs.update(flag_values=values, flag_meanings=f"{v.attrs['flag_meanings']} {MISSING}")
    ds["mission"] = ("variant", [mission.to_toml() for mission in missions], {"long_name": "mission file of the variant"})
    for name in LAWS:
        ds[name] = ("variant", [one.attrs.get(name, "") for one in flown.values()], {"long_name": f"{name} law of the variant"})
    ds.attrs = {key: value for key, value in ds.attrs.items() if key not in ("mission", "seal", *LAWS)}
    return ds


def _with_own_dims(ds: xr.Dataset, mission: Mission, dims: Mapping[str, tuple]) -> xr.Dataset:
    """Return a variant with the dims that inputs have in others: what has one stage, say, draws for that stage without a dim."""
    for name, v in ds.data_vars.items():
        for dim in set(dims[name]) - set(v.dims):
            owner = DISPERSIBLE[v.attrs["disperses"]].each
            ds[name] = v.expand_dims({dim: things(mission, owner)}, axis=dims[name].index(dim))
    return ds


def _in_order(parts: Sequence[xr.Dataset], dim: str) -> xr.Variable:
    """Return the names along a dim of any of the datasets, those of the first in front."""
    names = dict.fromkeys(name for ds in parts for name in ds[dim].values.tolist())
    return xr.Variable(dim, list(names), parts[0][dim].attrs)


def _filled(ds: xr.Dataset, coords: Mapping[str, xr.Variable], points: int) -> xr.Dataset:
    """Return a variant with room for what only others have."""
    fills = {name: _fill(v) for name, v in ds.data_vars.items()}
    there = {dim: names for dim, names in coords.items() if dim in ds.dims}
    ds = ds.reindex({dim: names.values for dim, names in there.items()}, fill_value=fills)
    if 0 < ds.sizes.get("point", 0) < points:
        ds = ds.pad(point=(0, points - ds.sizes["point"]))
    return ds.assign_coords({dim: (dim, names.values, names.attrs) for dim, names in coords.items()})


def _fill(v) -> object:
    return NOT_HERE if v.dtype.kind in "iu" else "" if v.dtype.kind == "U" else np.nan


def _blank(v: xr.DataArray) -> xr.Variable:
    """Return a variable of something that a variant does not have."""
    return xr.Variable(v.dims, np.full(v.shape, _fill(v), dtype=v.dtype), v.attrs)


# ---------------------------------------------------------------- one variant again


def need_comparison(ds: xr.Dataset, who: str) -> None:
    """Raise ValueError for what is not a result of `compare`; `who` asks."""
    if not isinstance(ds, xr.Dataset) or "variant" not in ds.dims or "flight" not in ds.dims or "mission" not in ds:
        raise ValueError(f"{who} takes a comparison (dims variant and flight), as sixdof.compare returns it")


def variant_of(ds: xr.Dataset, name: str) -> xr.Dataset:
    """Return one variant of a comparison as the ensemble that `disperse` returned: for `summarise`, `refly` and every figure.

    Raises ValueError for what is not a comparison, and for a name that is not a variant.

    Examples
    --------
    >>> sixdof.stats.variant_of(compared, "long rail").sizes["flight"]
    20
    """
    need_comparison(ds, "variant_of")
    known = [str(one) for one in ds["variant"].values]
    if name not in known:
        raise ValueError(f"there is no variant {shown(name)}; {suggestion(name, known, 'variants')}")
    one = ds.isel(variant=known.index(name), drop=True).drop_dims(JUDGED, errors="ignore")
    own = {key: str(one[key].values) for key in ("mission", *LAWS)}
    mission = stored_mission(own["mission"])
    one = one.drop_vars(list(own))
    one.attrs = {key: value for key, value in one.attrs.items() if key != "criteria"} | {"title": mission.title} | own
    one.attrs["seal"] = sealed(one.attrs)
    own = {dim: names(mission) for dim, names in NAMES.items() if dim in one.dims}
    first = int(one["waypoint_number"].min()) if one.sizes.get("waypoint_number") else 1  # older files count from 0
    own["waypoint_number"] = range(first, first + len(mission.guidance.waypoint))
    there = {dim: one[dim].values.tolist() for dim in own if dim in one.dims}
    one = one.sel({dim: [name for name in own[dim] if name in names] for dim, names in there.items() if names != list(own[dim])})
    return _without_others(one.drop_dims([dim for dim, size in one.sizes.items() if not size and dim != "flight"]), mission)


def _without_others(ds: xr.Dataset, mission: Mission) -> xr.Dataset:
    """Drop the inputs of other variants, what they are drawn for there, and that a flag may belong to others."""
    for name, v in _variables(ds).items():
        meanings = str(v.attrs.get("flag_meanings", ""))
        if meanings.endswith(f" {MISSING}"):
            ds[name] = ds[name].assign_attrs(flag_values=v.attrs["flag_values"][:-1], flag_meanings=meanings.removesuffix(f" {MISSING}"))
    blank = [name for name, v in _variables(ds).items() if v.size and (v.isnull().all() if "role" in v.attrs else (v == NOT_HERE).all())]
    ds = ds.drop_vars(blank + [name for name in ("failure_drawn",) if name in ds and not mission.failure])
    for name, v in _variables(ds).items():
        each = DISPERSIBLE[v.attrs["disperses"]].each if v.attrs.get("disperses") in DISPERSIBLE else ""
        if each in v.dims and each != "fin" and len(things(mission, each)) == 1:
            ds[name] = ds[name].sel({each: things(mission, each)[0]}, drop=True)
    own = {dim: things(mission, dim) for dim in ("stage", "harness", "fin") if dim in ds.dims}
    used = {dim for v in _variables(ds).values() for dim in v.dims}
    ds = ds.sel({dim: names for dim, names in own.items() if dim in used and ds[dim].values.tolist() != names})
    return ds.drop_dims([dim for dim in own if dim not in used])


def _variables(ds: xr.Dataset) -> dict:
    """Return the variables of a Dataset by name, without the coordinates that a DataArray of each looks up: that takes most of the time."""
    return {name: ds.variables[name] for name in ds.data_vars}
