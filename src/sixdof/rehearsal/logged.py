"""A flight log as the script of a rehearsal: what its sensors read, in time since ignition."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse

# readings of a log that a computer's estimate is made of, and those that it computed itself: the same name of a log is either, by its source
_VECTORS = {"body_rate": "rate", "specific_force": "specific_force", "magnetic_field": "field"}
_PLACES = {"east": "east", "north": "north", "height": "height"}
_WAYS = ("east", "north", "up")


def is_log(script) -> bool:
    """Tell whether a script is a flight log."""
    return isinstance(script, xr.Dataset) and script.attrs.get("kind") == "flight log"


def lead_of(lead: float | str) -> float:
    """Return the time from ignition to liftoff, s. Raises ValueError for anything else."""
    try:
        found = parse(float(lead) if isinstance(lead, int | np.generic) else lead, "s")
    except QuantityError as error:
        raise ValueError(f"lead: {error}") from None
    if not 0.0 <= found < 3600.0:
        raise ValueError(f"lead: {found:g} s must be 0 s or more, the time from ignition to the log's liftoff")
    return found


def columns_of_log(script, columns, mission: Mission, lead: float) -> tuple[dict[str, np.ndarray], str]:
    """Return the readings of a log as columns of a script, at every instant at which it holds any, and the stage whose log it is.

    script : a log, or what `read_log` reads by the column map `columns`. lead : time from ignition to liftoff, s; what is earlier than ignition is left out.

    A reading that is missing at an instant is taken linear between its neighbours, what a receiver gives stays as it was; before its first and after its
    last reading it stands still. Heights by a barometer, places and velocities by a receiver are readings; those by the computer are its own estimate.

    Raises ValueError for a log with nothing that a computer reads from ignition on.
    """
    from sixdof.postflight.logs.read_log import read_log  # with what it loads it would double the time of a rehearsal's start

    log = script if is_log(script) else read_log(script, columns, mission)
    time = log["time"].values + lead
    found = {name: values for part in (_vectors(log), _attitude(log), _places(log)) for name, values in part.items()}
    known = {name: np.isfinite(values) for name, values in found.items()}
    some = np.any(list(known.values()), axis=0) & (time >= 0.0) if found else np.zeros(time.size, dtype=bool)
    if some.sum() < 2:
        raise ValueError("script: the log holds nothing that a flight computer reads from ignition on")
    made = {name: _filled(time[some], time[known[name]], values[known[name]], name.startswith("fix_")) for name, values in found.items() if known[name].any()}
    return {"time": time[some]} | made, str(log.attrs["stage"])


def _filled(at: np.ndarray, time: np.ndarray, values: np.ndarray, held: bool) -> np.ndarray:
    if not held:
        return np.interp(at, time, values)
    return values[np.clip(np.searchsorted(time, at, side="right") - 1, 0, None)]


def _vectors(log: xr.Dataset) -> dict[str, np.ndarray]:
    return {f"{stem}_{axis}": log[name].values[:, k] for name, stem in _VECTORS.items() if name in log for k, axis in enumerate("xyz")}


def _attitude(log: xr.Dataset) -> dict[str, np.ndarray]:
    return {f"q_{part}": log["attitude"].values[:, k] for k, part in enumerate("wxyz")} if "attitude" in log else {}


def _places(log: xr.Dataset) -> dict[str, np.ndarray]:
    """Return heights, places and velocities under the names that their sources have on board."""
    found: dict[str, np.ndarray] = {}
    for name in _PLACES:
        if name in log:
            source = log[name].attrs.get("source")
            found[{"barometer": f"baro_{name}", "receiver": f"fix_{name}"}.get(source, name)] = log[name].values
    if "fix_height" in log:
        found["fix_height"] = log["fix_height"].values
    if "velocity" in log:
        stem = "fix_velocity" if log["velocity"].attrs.get("source") == "receiver" else "velocity"
        found |= {f"{stem}_{way}": log["velocity"].values[:, k] for k, way in enumerate(_WAYS)}
    # the estimate that rules wait for is made of what there is, as a script without it is filled
    for name, fix in (("east", "fix_east"), ("north", "fix_north"), ("height", "fix_height")):
        if name not in found and fix in found and not (name == "height" and "baro_height" in found):
            found[name] = found[fix]
    for way in _WAYS:
        if f"velocity_{way}" not in found and f"fix_velocity_{way}" in found:
            found[f"velocity_{way}"] = found[f"fix_velocity_{way}"]
    return found
