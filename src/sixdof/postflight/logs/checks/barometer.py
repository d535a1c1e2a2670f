"""A barometer that reads something else than the air outside: pressed by an ejection charge, or pulled by the flow about Mach 1."""

from __future__ import annotations

import math

import numpy as np
from scipy.ndimage import median_filter

from sixdof.postflight.logs.checks.finding import Finding

WINDOW = 2.0  # s about a reading, whose median it is held against
SHORT = 1.0  # s that the pulse of an ejection lasts at most, some way to leak out counted in
LEAST = 8.0  # m: excursions that are no more are left
SIGMAS = 8.0
MOST_EVENTS = 8
TAIL = 0.25  # of its largest, down to which an excursion is followed; the bend of the height as a canopy opens stands off as well
TRANSONIC = 0.8  # Mach number from which on a static port on a body reads what the shocks make of it
SOUND = 340.0  # m/s, near enough to find the stretch
MISFIT = 10.0, 0.02  # m, and share of the rise, by which height and integrated speed may differ across that stretch


def pulled(time: np.ndarray, values: dict[str, np.ndarray], liftoff: float, doubted: set[str]) -> list[Finding]:
    """Take out of height and pressure what the charge or the transonic flow made, in place; return what was found. time : s since liftoff.

    doubted : readings whose units are in doubt: nothing is taken out by them.
    """
    if "height" not in values or {"height", "pressure"} & doubted:
        return []
    good = np.isfinite(values["height"])
    if good.sum() < 50:
        return []
    found = []
    for check in (_by_charge, *([] if {"velocity", "specific_force"} & doubted else [_by_transonic_flow])):
        bad, text, done = check(time, values, good)
        if text:
            rows = np.flatnonzero(bad)
            found.append(Finding("barometer", text, done, "height", float(time[rows[0]] + liftoff), float(time[rows[-1]] + liftoff), rows.size))
            if done == "dropped":
                for name in ("height", "pressure"):
                    if name in values:
                        values[name] = np.where(bad, np.nan, values[name])
                good = np.isfinite(values["height"])
    return found


def _by_charge(time: np.ndarray, values: dict[str, np.ndarray], good: np.ndarray):
    """Find short excursions after apogee, or a second before it."""
    t, h = time[good], values["height"][good]
    bad = np.zeros(time.size, dtype=bool)
    size = 2 * int(0.5 * WINDOW / float(np.median(np.diff(t)))) + 1
    if size < 7 or size > t.size:
        return bad, "", ""
    # next to a gap the median is of other times
    whole = np.convolve(np.diff(t, prepend=t[0]) > 0.2 * WINDOW, np.ones(size), mode="same") < 0.5
    apogee = t[int(np.argmax(median_filter(h, size, mode="nearest")))]
    out, worst, events = np.zeros(t.size, dtype=bool), 0.0, 0
    for _ in range(MOST_EVENTS):  # the largest first: it pulls at the median beside it
        off = h - median_filter(np.interp(t, t[~out], h[~out]), size, mode="nearest")
        found = _largest(t, np.where(out, 0.0, off), whole & (t > apogee - 1.0))
        if found is None:
            break
        worst, events = max(worst, float(np.abs(off[found]).max())), events + 1
        out[found] = True
    bad[np.flatnonzero(good)[out]] = True
    times = "once" if events == 1 else f"{events} times"
    return bad, f"the barometer jumps by up to {worst:.0f} m {times} for less than a second, as an ejection charge makes it" if events else "", "dropped"


def _largest(t: np.ndarray, off: np.ndarray, where: np.ndarray) -> slice | None:
    """Return the rows of the largest short excursion, with its tail; None where there is none."""
    scatter = 1.4826 * float(np.median(np.abs(off)))
    level = max(LEAST, SIGMAS * scatter)
    runs = [run for sign in (1.0, -1.0) for run in _runs((sign * off > level) & where) if run[0] > 0 and run[1] < t.size]
    runs = [(a, b) for a, b in runs if t[b - 1] - t[a] <= SHORT]
    if not runs:
        return None
    a, b = max(runs, key=lambda one: float(np.abs(off[one[0] : one[1]]).max()))
    peak = float(max(off[a:b], key=abs))
    level = max(3.0 * scatter + 1.0, TAIL * abs(peak))
    same_way = np.copysign(1.0, peak) * off
    first, last = _edge(same_way, a, -1, level), _edge(same_way, b - 1, 1, level) + 1
    return slice(first, last) if t[last - 1] - t[first] <= 2.0 * SHORT else slice(a, b)


def _runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """Return first row and end of every stretch of rows that are set."""
    return [(int(a), int(b)) for a, b in np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(int), [0]]))).reshape(-1, 2)]


def _edge(off: np.ndarray, k: int, way: int, level: float) -> int:
    """Return the last reading in a direction that still stands off."""
    while 0 <= k + way < off.size and off[k + way] > level:
        k += way
    return k


def _by_transonic_flow(time: np.ndarray, values: dict[str, np.ndarray], good: np.ndarray):
    """Hold the height against the integral of the speed over the stretch above Mach 0.8."""
    bad = np.zeros(time.size, dtype=bool)
    up = climb(time, values)
    if up is None:
        return bad, "", ""
    mach = values["mach"] if "mach" in values else np.abs(up) / SOUND
    fast = np.flatnonzero(np.nan_to_num(mach) > TRANSONIC)
    if fast.size < 3:
        return bad, "", ""
    first, last = time[fast[0]] - 0.1, time[fast[-1]] + 0.1
    bad = good & (time >= first) & (time <= last)
    before, after = good & (time > first - 0.5) & (time < first), good & (time > last) & (time < last + 0.5)
    if bad.sum() < 3 or not (before.any() and after.any()):
        return np.zeros(time.size, dtype=bool), "", ""
    way = np.concatenate([[0.0], np.cumsum(0.5 * (up[1:] + up[:-1]) * np.diff(time))])
    off = values["height"] - way
    line = np.interp(time, [first, last], [np.median(off[before]), np.median(off[after])])
    worst, rise = float(np.nanmax(np.abs((off - line)[bad]))), float(np.interp(last, time, way) - np.interp(first, time, way))
    span = f"above Mach {TRANSONIC:g} by the log's own speed"
    if worst <= max(MISFIT[0], MISFIT[1] * abs(rise)):
        return bad, f"{span} the barometer follows the integral of the speed within {worst:.0f} m; a static port is weak there all the same", "kept"
    return bad, f"{span} the barometer is off the integral of the speed by up to {worst:.0f} m: shocks at its port, no height", "dropped"


def climb(time: np.ndarray, values: dict[str, np.ndarray]) -> np.ndarray | None:
    """Return the climb rate (rows,) m/s: as logged, or from liftoff the integral of the specific force along the body less gravity; None where neither is.

    The integral takes the way as vertical, and is used for the climb alone.
    """
    for name, column in (("velocity", 2), ("specific_force", 0)):
        if name not in values:
            continue
        y = values[name][:, column]
        good = np.isfinite(y)
        if good.sum() < 20:
            continue
        y = np.interp(time, time[good], y[good])
        if name == "velocity":
            return y
        rest = y[time < -0.1]
        level = float(np.median(rest)) if rest.size > 5 else 9.81
        pushed = np.where(time > 0.0, y - level, 0.0)
        return np.concatenate([[0.0], np.cumsum(0.5 * (pushed[1:] + pushed[:-1]) * np.diff(time))])
    return None


def apogee_time(time: np.ndarray, height: np.ndarray) -> float:
    """Return the time of the largest height of a smoothed curve, s; NaN where there is none."""
    good = np.isfinite(height)
    if good.sum() < 10:
        return math.nan
    smooth = median_filter(height[good], 5, mode="nearest")
    return float(time[good][int(np.argmax(smooth))])
