"""Readings that are none: flat tops of a saturated sensor, columns that froze, spikes."""

from __future__ import annotations

import numpy as np
from scipy.ndimage import median_filter

from sixdof.postflight.logs.checks.finding import Finding, counted
from sixdof.postflight.logs.columns.names import KNOWN, SI_NAMES

FLAT = 3  # equal readings at the largest value that make a flat top
CORNER = 3.0  # steps of the reading, by which a curve that is cut comes in at its flat top: a rounded top of the same length comes in at 4/3 of one at most
FEW = 0.01  # share of the readings that may be beyond what a sensor can read
NEAR = 0.002  # share of the limit within which a reading is at it
FREEZE = 1.0  # s without a change, of a reading that otherwise changes
LIVELY = 0.8  # share of the steps that change, of such a reading
WINDOW = 7  # readings whose median a spike is held against
SIGMAS = 12.0  # a spike stands out by: one in 1e32 of a normal scatter
LEAST_TOP = {"specific_force": 15.0, "body_rate": 1.0}  # m/s^2 and rad/s: no sensor for a flight has its limit below
# in SI: what does not count as a spike at all
LEAST = {"height": 5.0, "fix_height": 15.0, "altitude": 15.0, "pressure": 60.0, "temperature": 5.0, "velocity": 8.0, "east": 15.0, "north": 15.0}
LEAST |= {"latitude": 3e-6, "longitude": 3e-6, "airspeed": 8.0, "mach": 0.03, "body_rate": 5.0}
IMPOSSIBLE = {"specific_force": 20_000.0, "body_rate": 400.0}  # m/s^2 and rad/s; shocks on a small vehicle may well show more than the limits of usual sensors


def cleaned(name: str, raw: np.ndarray, time: np.ndarray, limit: float | None, others: np.ndarray) -> tuple[np.ndarray, list[Finding]]:
    """Return a reading (rows, parts), in the sensor's axes, with NaN where there is none.

    limit : the largest reading of the sensor, None where not known. others : (rows,) bool, whether another reading changes from a row to the next.
    """
    if "fin" in KNOWN[name].dims:
        return raw, []
    raw, found = raw.copy(), []
    for check in (_impossible, _saturated, _frozen, _spikes):
        bad, text, kind = check(name, raw, time, others if check is _frozen else limit)
        if bad.any():
            rows = np.flatnonzero(bad.any(axis=1))
            done = "kept" if kind == "constant" else "dropped"
            found.append(Finding(kind, text, done, name, float(time[rows[0]]), float(time[rows[-1]]), int(bad.sum())))
            if done == "dropped":
                raw[bad] = np.nan
    return raw, found


def _impossible(name: str, raw: np.ndarray, time: np.ndarray, limit: float | None):
    """Find readings beyond what the sensor can read."""
    most = 1.05 * limit if limit is not None else IMPOSSIBLE.get(name, np.inf)
    bad = np.abs(raw) > most
    if limit is None and bad.mean() > FEW:
        bad[:] = False  # so many are a wrong unit
    return (
        bad,
        f"{counted(int(bad.sum()), 'reading')} of {name} beyond {most:.4g} {SI_NAMES.get(KNOWN[name].unit, KNOWN[name].unit)}, which such a sensor cannot read",
        "impossible",
    )


def _saturated(name: str, raw: np.ndarray, time: np.ndarray, limit: float | None):
    """Find flat tops of gyros and accelerometers: at the limit if it is known, else at the largest reading."""
    bad = np.zeros(raw.shape, dtype=bool)
    if name in ("specific_force", "body_rate"):
        for k in range(raw.shape[1]):
            for sign in (1.0, -1.0):
                bad[:, k] |= _flat_top(sign * raw[:, k], limit, LEAST_TOP[name])
    if not bad.any():
        return bad, "", ""
    level = float(np.abs(raw[bad]).max())
    axes = " and ".join("xyz"[k] for k in range(raw.shape[1]) if bad[:, k].any())
    said = "its limit as given" if limit is not None else "a flat top: probably its limit"
    unit = SI_NAMES.get(KNOWN[name].unit, KNOWN[name].unit)
    text = f"{name} is saturated in {counted(int(bad.sum()), 'reading')} at {level:.4g} {unit} ({said}; the sensor's {axes} axis), the truth is beyond"
    return bad, text, "saturated"


def _flat_top(x: np.ndarray, limit: float | None, least: float) -> np.ndarray:
    """Return which readings lie on a flat top at the upper end."""
    out = np.zeros(x.size, dtype=bool)
    known = np.flatnonzero(np.isfinite(x))
    if known.size < 10:
        return out
    y = x[known]
    if limit is not None:
        out[known[y >= (1.0 - NEAR) * limit]] = True
        return out
    top = float(y.max())
    at = y >= top - 1e-9 * max(abs(top), 1.0)
    if top <= least or at.sum() < FLAT or at.sum() > 0.5 * y.size:
        return out
    steps = np.abs(np.diff(y))
    quantum = float(steps[steps > 1e-9 * max(abs(top), 1.0)].min(initial=np.inf))
    edges = np.flatnonzero(np.diff(np.concatenate([[0], at.astype(int), [0]])))
    flat = False
    for first, end in edges.reshape(-1, 2):
        into = y[first - 1] - y[first - 2] if first > 1 else 0.0
        out_of = y[end] - y[end + 1] if end + 1 < y.size else 0.0
        if end - first >= FLAT and max(into, out_of) >= CORNER * quantum:
            flat = True
    if flat:
        out[known[at]] = True
    return out


def _frozen(name: str, raw: np.ndarray, time: np.ndarray, others: np.ndarray):
    """Find stretches in which a lively reading does not change at all, all parts together, while others do; their first reading is one still."""
    bad = np.zeros(raw.shape, dtype=bool)
    rows = np.flatnonzero(np.isfinite(raw).any(axis=1))
    if rows.size < 20:
        return bad, "", ""
    change = (np.diff(np.nan_to_num(raw[rows]), axis=0) != 0.0).any(axis=1)
    if not change.any():
        bad[rows] = others.any()
        return bad, f"{name} is the same in all {rows.size} readings: nothing measured it", "constant"
    edges = np.flatnonzero(np.diff(np.concatenate([[1], change.astype(int), [1]])))
    # a reading may stand still before launch
    stretches = [
        (a, b) for a, b in edges.reshape(-1, 2) if a > 0 and time[rows[b]] - time[rows[a]] >= FREEZE and b - a >= 10 and others[rows[a] : rows[b]].mean() > 0.5
    ]
    still = sum(b - a for a, b in edges.reshape(-1, 2) if b - a >= 10)
    if not stretches or change.sum() < LIVELY * (change.size - still):
        return bad, "", ""
    for a, b in stretches:
        bad[rows[a + 1 : b + 1]] = True
    longest = max(time[rows[b]] - time[rows[a]] for a, b in stretches)
    count = counted(sum(b - a for a, b in stretches), "row")
    text = f"{name} is frozen for {longest:.3g} s{' and more' if len(stretches) > 1 else ''}: it does not change in {count} while other readings do"
    return bad & np.isfinite(raw), text, "frozen"


def _spikes(name: str, raw: np.ndarray, time: np.ndarray, limit: float | None):
    """Find one or two readings that stand out of those on both sides."""
    bad = np.zeros(raw.shape, dtype=bool)
    if name in LEAST:
        for k in range(raw.shape[1]):
            rows = np.flatnonzero(np.isfinite(raw[:, k]))
            if rows.size > 2 * WINDOW:
                bad[rows, k] = _stand_out(raw[rows, k], LEAST[name])
    worst = int(bad.sum())
    return bad, f"{counted(worst, 'spike')} of {name}: one or two readings far from those on both sides", "spike"


def _stand_out(y: np.ndarray, least: float) -> np.ndarray:
    """Return which readings are spikes: far from the median about them, at most two side by side."""
    off = y - median_filter(y, WINDOW, mode="nearest")
    scatter = 1.4826 * float(np.median(np.abs(off - np.median(off))))
    # where it moves fast the median lags: what counts as far grows with the steps about
    steps = median_filter(np.abs(np.diff(y, prepend=y[0])), WINDOW, mode="nearest")
    out = np.abs(off) > np.maximum(max(least, SIGMAS * scatter), 3.0 * steps)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], out.astype(int), [0]]))).reshape(-1, 2)
    for a, b in edges:
        if b - a > 2 or a < 2 or b > y.size - 2:
            out[a:b] = False
    return out
