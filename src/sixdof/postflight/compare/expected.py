"""What a simulated flight would have logged: read at a log's instants, liftoff to liftoff, where the log's sensors sit."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.results.assembly import assembled

HELD = ("phase", "guidance_mode", "waypoint")  # states: the row before counts, not a value between two of them
ROUND = ("roll", "commanded_roll", "tilt_yaw", "commanded_yaw")  # angles that go round
OF_BODIES = ("east", "north", "height", "airspeed", "tilt", "incidence", "mach")  # what is known of a body that is not the front stage


def expected(flight: xr.Dataset, log: xr.Dataset) -> xr.Dataset:
    """Return what a log would hold had it been made in a simulated flight.

    Parameters
    ----------
    flight : Dataset
        One flight with its timeline, as `sixdof.fly` gives it, or `each_flight` hands to its function.
    log : Dataset
        A flight log: `time` in s since liftoff, variables named as in a flight. Of its attributes `stage` says whose it is, and `sensor_station` (m aft
        of the nose tip), `sensor_y` and `sensor_z` (m, body axes) of `specific_force` where the accelerometer sits.

    Returns
    -------
    Dataset
        The variables that the log and the flight have in common, dims as in the log, at the log's `time`. Straight lines between rows of the timeline
        (attitudes along the shorter way); before ignition the vehicle stands on the rail; NaN after its landing, and of another stage than the front
        one where its track holds no such variable. A specific force is that at the sensor's place, f + w' x r + w x (w x r).
    """
    rows, columns = _rows_of(flight, str(log.attrs.get("stage", "")))
    wanted = np.asarray(log["time"].values, dtype=float) + _liftoff(flight)
    found = {}
    for name in log.data_vars:
        name = str(name)
        if name in columns and "time" in log[name].dims:
            found[name] = (log[name].dims, _read(name, _placed(name, columns, rows, log[name]), rows, wanted), dict(flight[name].attrs))
    coords = {name: (log[name].dims, log[name].values, dict(log[name].attrs)) for name in ("time", "axis", "quaternion", "fin") if name in log.coords}
    return assembled(found, coords)


def _liftoff(flight: xr.Dataset) -> float:
    """Return the time of liftoff, s since ignition; 0 where nothing moved."""
    times = flight["event_time"].sel(event="liftoff").values
    return float(times[0]) if np.isfinite(times[0]) else 0.0


def _rows_of(flight: xr.Dataset, stage: str) -> tuple[np.ndarray, dict[str, np.ndarray]]:
    """Return times (rising, s since ignition) and columns of the body that carries a stage."""
    names = [str(name) for name in flight["body"].values]
    time = flight["time"].values
    kept = _rising(time)
    columns = ((name, v) for name, v in flight.variables.items() if v.dims[:1] == ("time",) and name not in flight.coords)
    front = {str(name): v.values[kept] for name, v in columns}  # of variables: arrays with coordinates take longer to make than a flight
    if stage in ("", names[0]):
        return time[kept], front
    if stage not in names:
        raise ValueError(f"the log is of the stage {stage!r}, and the flight has no such body; it has {', '.join(map(repr, names))}")
    k = names.index(stage)
    own_time = flight["body_time"].values[k]
    own = {name: flight[f"body_{name}"].values[k] for name in OF_BODIES}
    there = np.isfinite(own_time)
    before = time[kept] < (own_time[there][0] if there.any() else np.inf)  # joined to the stages ahead of it
    rows = np.concatenate([time[kept][before], own_time[there]])
    columns = {name: np.concatenate([front[name][before], own[name][there]]) for name in OF_BODIES}
    last = _rising(rows)
    return rows[last], {name: values[last] for name, values in columns.items()}


def _rising(time: np.ndarray) -> np.ndarray:
    """Return the rows whose times rise; of two at the same instant, as at an event, the later state."""
    good = np.flatnonzero(np.isfinite(time))
    return good[np.append(np.diff(time[good]) > 0.0, True)] if good.size else good


def _placed(name: str, columns: dict[str, np.ndarray], rows: np.ndarray, measured: xr.DataArray) -> np.ndarray:
    """Return a column as it is felt where it is measured: specific force off the centre of mass turns with the body."""
    values = columns[name]
    if name != "specific_force" or "sensor_station" not in measured.attrs or rows.size < 3:
        return values
    arm = np.zeros_like(values)
    arm[:, 0] = columns["cg"] - float(measured.attrs["sensor_station"])
    arm[:, 1], arm[:, 2] = float(measured.attrs.get("sensor_y", 0.0)), float(measured.attrs.get("sensor_z", 0.0))
    w = columns["body_rate"]
    turning = np.gradient(w, rows, axis=0)
    return values + np.cross(turning, arm) + np.cross(w, np.cross(w, arm))


def _read(name: str, values: np.ndarray, rows: np.ndarray, wanted: np.ndarray) -> np.ndarray:
    """Return a column (rows, ...) at the instants wanted: the first row before it, NaN behind the last."""
    if rows.size == 0:
        return np.full((wanted.size, *values.shape[1:]), np.nan)
    at = np.clip(np.searchsorted(rows, wanted, side="right") - 1, 0, max(rows.size - 2, 0))
    beyond = np.minimum(at + 1, rows.size - 1)
    if name in HELD:
        held = np.where(wanted >= rows[beyond], beyond, at)
        out = values[held].astype(float)
    else:
        width = np.where(beyond > at, rows[beyond] - rows[at], 1.0)
        share = np.clip((wanted - rows[at]) / width, 0.0, 1.0).reshape(-1, *[1] * (values.ndim - 1))
        first, second = values[at].astype(float), values[beyond].astype(float)
        if name == "attitude":
            second = np.where(np.sum(first * second, axis=1, keepdims=True) < 0.0, -second, second)
        step = np.angle(np.exp(1j * (second - first))) if name in ROUND else second - first
        out = first + share * step
        if name == "attitude":
            out = out / np.linalg.norm(out, axis=1, keepdims=True)
        elif name in ROUND:
            out = np.angle(np.exp(1j * out))
    out[wanted > rows[-1]] = np.nan
    return out
