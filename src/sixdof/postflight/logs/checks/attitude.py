"""An attitude that starts again upright in flight: the computer was reset and takes itself for standing on the rail."""

from __future__ import annotations

import math

import numpy as np

from sixdof.postflight.logs.checks.finding import Finding, counted

UPRIGHT = math.radians(10.0)  # tilt that a computer that starts anew may take itself for
LEANT = math.radians(25.0)  # tilt before: from less there is no jump to be told
FASTEST = 20.0  # rad/s: what turns faster from a row to the next has not turned
TOLD = ("attitude", "tilt", "roll")  # what is integrated on board from the start


def upright_again(time: np.ndarray, values: dict[str, np.ndarray], resets: list[float]) -> list[Finding]:
    """Cut attitude, tilt and roll in place from where the computer starts anew: by its clock (`resets`, times of the rows before), or by a jump to upright.

    Returns what was found. time : (rows,) s of the log's clock.
    """
    names = [name for name in TOLD if name in values]
    if not names:
        return []
    jumped = _jump(time, values["tilt"]) if "tilt" in values else math.inf
    start = min([*resets, jumped])
    behind = time > start
    if not behind.any():
        return []
    count = max((int(np.isfinite(values[name][behind]).reshape(behind.sum(), -1).any(axis=1).sum()) for name in names), default=0)
    if not count:
        return []
    for name in names:
        values[name] = values[name].copy()
        values[name][behind] = np.nan
    why = "jumps to upright from one row to the next" if jumped <= start else "starts again with the clock"
    text = f"the attitude on board {why}: the computer was reset and takes itself for standing; {', '.join(names)} of {counted(count, 'row')} behind it"
    return [Finding("attitude", text, "cut", "attitude" if "attitude" in names else names[0], start, float(time[-1]), count)]


def _jump(time: np.ndarray, tilt: np.ndarray) -> float:
    """Return the time of the last row before a tilt jumps to upright, infinite where none does."""
    rows = np.flatnonzero(np.isfinite(tilt))
    if rows.size < 3:
        return math.inf
    t, a = time[rows], tilt[rows]
    steps = np.diff(t)
    fast = (a[:-1] - a[1:]) / np.maximum(steps, 1e-3) > FASTEST
    found = np.flatnonzero(fast & (a[:-1] > LEANT) & (a[1:] < UPRIGHT) & (steps < 10.0 * np.median(steps)))
    return float(t[found[0]]) if found.size else math.inf
