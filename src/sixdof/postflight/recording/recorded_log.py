"""`recorded_log`: what telemetry measured, as a flight log by the same reader that reads the log of a flight computer."""

from __future__ import annotations

from os import PathLike
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.postflight.logs.columns.names import FINS, KNOWN
from sixdof.postflight.logs.read_log import read_log
from sixdof.postflight.recording.loss import unwrapped
from sixdof.postflight.recording.packet import SENT, SEQUENCE
from sixdof.postflight.recording.recording import need_recording


def recorded_log(recording: xr.Dataset | str | PathLike, mission: Mission | None = None, *, liftoff: float | str | None = None) -> xr.Dataset:
    """Return a recording as a flight log, aligned to liftoff, in the sender's own time: what `compare`, `estimate` and the others after a flight take.

    It goes through `read_log`, which puts packets in order, drops those that came twice, finds gaps, resets and liftoff, and says so.

    Parameters
    ----------
    recording : what `read_recording` returned, or the path of a recording
    mission : the mission flown, as of `read_log`
    liftoff : time of liftoff by the sender's clock, s or with a unit; None: found

    Returns
    -------
    Dataset
        As `read_log`: along `time`, s since liftoff. Where packets bear no clock of the sender the receiver's is taken, latency and all.

    Raises
    ------
    ValueError, MissionError
        As `read_log`, and for a recording whose packets hold nothing of a flight's timeline.

    Examples
    --------
    >>> packets = sixdof.postflight.simulated_packets(flight, loss=0.1, seed=1)
    >>> recorded = sixdof.postflight.record(packets, "as-log.rec", progress=False)
    >>> log = sixdof.postflight.recorded_log("as-log.rec", mission)
    >>> abs(float(log.height.max()) - float(flight.apogee_height)) < 1.0
    True
    """
    ds = need_recording(recording, "recorded_log")
    names = [name for name in KNOWN if name in ds and np.isfinite(ds[name].values).any()]
    if not names:
        raise ValueError("recorded_log: no packet of this recording holds anything of a flight's timeline; give columns to read_recording")
    table = {"received": ds["received"].values}
    columns: dict[str, Any] = {"clock": {"column": "received", "unit": "s"}, "read": {}}
    if np.isfinite(ds["sent"].values).any():
        table[SENT] = ds["sent"].values
        columns |= {"clock": {"column": SENT, "unit": "s"}, "second_clock": {"column": "received", "unit": "s"}}
    if np.isfinite(ds["sequence"].values).any():
        table[SEQUENCE] = _numbers(ds)
        columns["counter"] = {"column": SEQUENCE}
    for name in names:
        parts = ds[name].values.reshape(ds.sizes["packet"], -1)
        headings = [name] if parts.shape[1] == 1 and name not in FINS else [f"{name}.{k + 1}" for k in range(parts.shape[1])]
        table |= dict(zip(headings, parts.T))
        columns["read"][name] = {"column": name} if headings == [name] else {"columns": headings}
        columns["read"][name] |= {"held": False} | ({} if KNOWN[name].unit == "1" else {"unit": KNOWN[name].unit}) | _about(ds[name])
    return read_log(table, columns, mission, liftoff=liftoff).assign_attrs(log=ds.attrs["path"])


def _numbers(ds: xr.Dataset) -> np.ndarray:
    """Return packet numbers that go on where the sender's counter began again from 0."""
    numbers, run = ds["sequence"].values.copy(), ds["run"].values
    for each in np.unique(run):
        rows = np.flatnonzero((run == each) & np.isfinite(numbers))
        numbers[rows] = unwrapped(numbers[rows], ds["sent"].values[rows])
    return numbers


def _about(variable: xr.DataArray) -> dict[str, Any]:
    """Return what the recording's own column map said of a reading's sensor."""
    keys = {"source": "source", "error": "error", "limit": "limit", "sensor_station": "station"}
    return {key: variable.attrs[name] for name, key in keys.items() if name in variable.attrs}
