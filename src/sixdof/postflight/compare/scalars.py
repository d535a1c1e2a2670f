"""Single numbers of a log: apogee, burnouts, largest speeds, the times of what happened; of the log and of every flight by the same rule."""

from __future__ import annotations

import numpy as np

BURNS, BURNT = 15.0, 0.0  # m/s^2 along the axis: above the first a motor burns (at rest it is 9.8), below the second it does not
PHASES = {3.0: "rail_departure_time", 4.0: "canopy_time", 5.0: "landing_time"}
UNITS = {"apogee_height": "m", "climb_rate_max": "m/s", "airspeed_max": "m/s", "mach_max": "1", "specific_force_max": "m/s^2"}


def scalars_of(time: np.ndarray, curves: dict[str, np.ndarray], motors: list[str], climb_end: float, phase: np.ndarray | None = None) -> dict[str, float]:
    """Return single numbers of curves over time (s since liftoff), NaN where they do not happen or are not known.

    curves : "height", "velocity[up]", "airspeed", "mach", "specific_force[x]", those that were logged. motors : names in the order of burning. climb_end : s,
    behind which shocks and descents count no more. phase : (time,) of the log, if it holds one.
    """
    found: dict[str, float] = {}
    if "height" in curves:
        found["apogee_height"], found["apogee_time"] = _largest(time, curves["height"])
    climb = time <= climb_end
    for name, curve in (("climb_rate_max", "velocity[up]"), ("airspeed_max", "airspeed"), ("mach_max", "mach"), ("specific_force_max", "specific_force[x]")):
        if curve in curves:
            found[name] = _largest(time[climb], curves[curve][climb])[0]
    if "specific_force[x]" in curves:
        ends = burnouts(time[climb], curves["specific_force[x]"][climb])
        found |= {f"burnout_time[{motor}]": ends[k] if k < len(ends) else np.nan for k, motor in enumerate(motors)}
    if phase is not None:
        for code, name in PHASES.items():
            reached = np.flatnonzero(phase >= code)
            found[name] = float(time[reached[0]]) if reached.size else np.nan
    return found


def units_of(name: str) -> str:
    """Return the unit of a scalar."""
    return UNITS.get(name, "s")


def _largest(time: np.ndarray, values: np.ndarray) -> tuple[float, float]:
    if not np.isfinite(values).any():
        return np.nan, np.nan
    at = int(np.nanargmax(values))
    return float(values[at]), float(time[at])


def burnouts(time: np.ndarray, force: np.ndarray) -> list[float]:
    """Return the times at which a motor's push ends: the specific force along the axis falls below nothing after it was that of a burning motor."""
    known = np.isfinite(force)
    time, force = time[known], force[known]
    ends, burning = [], False
    for k in range(force.size):
        if force[k] > BURNS:
            burning = True
        elif force[k] < BURNT and burning:
            burning = False
            share = force[k - 1] / (force[k - 1] - force[k])
            ends.append(float(time[k - 1] + share * (time[k] - time[k - 1])))
    return ends
