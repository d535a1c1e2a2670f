"""A climb and fall made by hand for rehearsals; every time at which something must fire can be read off it.

On the rail to 0.5 s; a burn to 2 s; another from 3.2 s to 4.7 s; up at 40 m/s to 12.5 s, 480.1 m high; down at 20 m/s.
"""

from __future__ import annotations

import numpy as np

LIFTOFF, FIRST_END, SECOND, SECOND_END, TOP = 0.5, 2.0, 3.2, 4.7, 12.5


def profile(end: float = 40.0, **columns) -> dict[str, np.ndarray]:
    """Return the columns every 10 ms; columns : others or instead, arrays or functions of the times. None leaves a column out."""
    time = np.arange(round(100 * end) + 1) / 100.0
    after = time - TOP
    found = {
        "time": time,
        "height": np.where(after <= 0.0, 40.0 * np.clip(time - LIFTOFF, 0.0, None) + 0.1, 480.1 - 20.0 * after),
        "velocity_up": np.where(time < LIFTOFF, 0.0, np.where(after <= 0.0, 40.0, -20.0)),
        "specific_force_x": np.full(len(time), -5.0),
    }
    found["specific_force_x"][time < LIFTOFF] = 9.8
    found["specific_force_x"][(time >= LIFTOFF) & (time < FIRST_END)] = 60.0
    found["specific_force_x"][(time >= SECOND) & (time < SECOND_END)] = 50.0
    found |= {name: values(time) if callable(values) else values for name, values in columns.items()}
    return {name: values for name, values in found.items() if values is not None}


def leaning(tilt: np.ndarray) -> dict[str, np.ndarray]:
    """Return the attitude of a nose that leans north by `tilt`, rad: body x is (0, sin, cos) in east, north, up."""
    # a turn about east by a takes north (0, 1, 0) to (0, cos a, sin a); body x starts along east, so turn it to north first
    half = 0.25 * np.pi
    turn = 0.5 * (0.5 * np.pi - tilt)
    zeros = np.zeros_like(tilt)
    return dict(zip(("q_w", "q_x", "q_y", "q_z"), _times((np.cos(turn), np.sin(turn), zeros, zeros), (np.cos(half), 0.0, 0.0, np.sin(half)))))


def _times(a, b):
    """Return the product of two quaternions."""
    return (
        a[0] * b[0] - a[1] * b[1] - a[2] * b[2] - a[3] * b[3],
        a[0] * b[1] + a[1] * b[0] + a[2] * b[3] - a[3] * b[2],
        a[0] * b[2] - a[1] * b[3] + a[2] * b[0] + a[3] * b[1],
        a[0] * b[3] + a[1] * b[2] - a[2] * b[1] + a[3] * b[0],
    )
