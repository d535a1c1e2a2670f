"""A recording of a flight's telemetry over a poor link: losses in bursts, a restart of the recorder, packets repeated and overtaken."""

from __future__ import annotations

from pathlib import Path

import xarray as xr

from sixdof.postflight import Recorder, read_recording, simulated_packets


def recorded(flight: xr.Dataset, mission, path: Path) -> xr.Dataset:
    """Record a flight's packets into a new file and return what is read of it."""
    packets = simulated_packets(flight, loss=0.2, burst=6.0, repeated=0.02, jitter=0.05, clock_drift=40e-6, seed=3)
    with Recorder(path, site=mission) as recorder:
        recorder.extend(packets[: len(packets) // 2])
    with Recorder(path) as recorder:
        recorder.extend(packets[len(packets) // 2 :])
    return read_recording(path)
