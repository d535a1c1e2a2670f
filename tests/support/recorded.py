"""A recording of a flight's telemetry over a poor link: losses in bursts, a restart of the recorder, packets repeated and overtaken."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
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


def flight_by_hand() -> xr.Dataset:
    """A flight by hand: up at 50 m/s for 10 s, down at 5 m/s."""
    time = np.arange(0.0, 110.01, 0.1)
    height = np.where(time < 10.0, 50.0 * time, 500.0 - 5.0 * (time - 10.0))
    up = np.where(time < 10.0, 50.0, -5.0)
    velocity = np.stack([np.full(time.size, 2.0), np.zeros(time.size), up], axis=-1)
    phase = np.where(time < 10.0, 3.0, 4.0)
    roll = (2.0 * time + math.pi) % (2.0 * math.pi) - math.pi
    columns = {"height": height, "east": 2.0 * time, "north": 0.0 * time, "tilt": np.full(time.size, np.inf), "phase": phase, "roll": roll}
    return xr.Dataset({name: ("time", values) for name, values in columns.items()} | {"velocity": (("time", "axis"), velocity)}, {"time": time})
