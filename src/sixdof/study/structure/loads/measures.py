"""Loads of an ensemble's flights as measures, for criteria in words: what each takes is flown again with its own draws."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.results.names import joint_names
from sixdof.study.reading.result import mission_of
from sixdof.study.structure.loads.bending import bending
from sixdof.study.structure.loads.deployment_loads import deployment_loads
from sixdof.study.structure.loads.guides import guide_loads


def bending_moment_max(ds: xr.Dataset) -> np.ndarray:
    """Return the largest bending moment of every flight, N m, (flights,)."""
    found = bending(ds, failing=0, progress=False)["moment_max"].values
    return np.where(np.isfinite(found).any(axis=1), np.fmax.reduce(found, axis=1), np.nan)


def bending_share(ds: xr.Dataset) -> xr.DataArray:
    """Return the largest bending moment at every joint between stages over what it carries, (flights, joints). Raises ValueError where none says."""
    found = bending(ds, failing=0, progress=False)
    stages = np.flatnonzero(found["joint_kind"].values == "stage") if "joint" in found.dims else np.zeros(0, dtype=int)
    share = found["joint_share"].isel(joint=stages) if stages.size else None
    if share is None or not np.isfinite(found["joint_strength"].isel(joint=stages)).any():
        raise ValueError("no joint between stages says what it carries; give joint = { bending_strength = ... } of the stage behind it")
    return xr.DataArray(share.values, dims=("flight", "joint"), coords={"joint": joint_names(mission_of(ds, "bending_share"))})


def guide_load_max(ds: xr.Dataset) -> np.ndarray:
    """Return the largest load across the rail on either guide of every flight, N, (flights,)."""
    return guide_loads(ds, progress=False)["guide_load"].max("guide").values


def deployment_acceleration_max(ds: xr.Dataset) -> np.ndarray:
    """Return the largest acceleration of any piece at a deployment of every flight, m/s^2, (flights,)."""
    return deployment_loads(ds, failing=0, progress=False)["deployment_acceleration"].values
