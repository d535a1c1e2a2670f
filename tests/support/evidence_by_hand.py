"""Pieces of evidence as somebody would have written them down who knew a flight."""

from __future__ import annotations

import numpy as np
import xarray as xr


def pieces_of(flight: xr.Dataset, *, time: float = 12.0) -> list[dict]:
    """Return a fix of the front body, a find of the last stage that came down, a report of the landing, apogee, a sound and a silence, all true."""
    liftoff = float(flight["event_time"].sel(event="liftoff").values[0])
    down = np.flatnonzero(np.isfinite(flight["body_landing_time"].values))
    front, last = down[0], down[-1]
    east, north, height = (float(np.interp(time + liftoff, flight["time"], flight[name])) for name in ("east", "north", "height"))
    landing = float(flight["body_landing_time"].values[front]) - liftoff
    return [
        {"kind": "fix", "time": time, "east": east, "north": north, "height": height, "horizontal_error": 40.0},
        {"kind": "logged", "quantity": "apogee_height", "value": float(flight["apogee_height"]), "error": 30.0},
        {"kind": "landed", "time": landing + 6.0},
        {"kind": "silence", "start": landing + 1.0},
        {
            "kind": "recovered",
            "body": str(flight["body"].values[last]),
            "east": float(flight["body_landing_east"].values[last]),
            "north": float(flight["body_landing_north"].values[last]),
            "error": 60.0,
        },
    ]
