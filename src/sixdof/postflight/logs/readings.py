"""From the columns of a log, in order, to readings in SI and body axes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
import pandas as pd
from scipy.spatial.transform import Rotation

from sixdof.mission.units import shown
from sixdof.postflight.logs.checks.faults import cleaned
from sixdof.postflight.logs.checks.finding import Finding, counted
from sixdof.postflight.logs.columns.mapping import error_of, si_of, to_body
from sixdof.postflight.logs.columns.names import FLAGS, KNOWN, VECTORS
from sixdof.postflight.logs.columns.tables import ColumnMapTables, Reading
from sixdof.postflight.logs.columns.units import amount, in_si

NED = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, -1.0]])  # north, east, down to east, north, up
HOLDS = 0.9  # share of the readings that come again as often as the usual, from which a logger is taken to hold them


class Column(NamedTuple):
    """Where a reading's part stands: heading in the table ("": missing), sign, unit."""

    heading: str
    sign: float
    unit: str


class Made(NamedTuple):
    """Readings by name, (rows,) or (rows, parts), SI, NaN where not measured; and what was found.

    force : the specific force with what lies on a flat top too, which is no reading, and tells a push all the same; None where there is none.
    """

    values: dict[str, np.ndarray]
    findings: list[Finding]
    force: np.ndarray | None


def made(table: ColumnMapTables, columns: dict[str, list[Column]], frame: pd.DataFrame, time: np.ndarray) -> Made:
    """Return every reading of a column map. frame : the log's columns in order of time (rows,), as they stand in the log."""
    values: dict[str, np.ndarray] = {}
    found: list[Finding] = []
    raw: dict[str, np.ndarray] = {}
    for name, one in table.read.items():
        if name in FLAGS:
            values[name], more = _flag(name, one, frame[columns[name][0].heading].to_numpy(), time)
        else:
            raw[name], more = _read(name, one, columns[name], frame, time)
        found += more
    changing = {name: _changes(each) for name, each in raw.items()}
    for name, each in raw.items():
        one = table.read[name]
        others = np.any([changing[other] for other in raw if other != name], axis=0) if len(raw) > 1 else np.zeros(len(time), dtype=bool)
        clean, more = cleaned(name, each, time, None if one.limit is None else amount(one.limit, KNOWN[name].unit), others)
        values[name] = _turned(name, one, clean)
        if values[name].shape[1] == 1 and "fin" not in KNOWN[name].dims:
            values[name] = values[name][:, 0]
        found += more
    force = _turned("specific_force", table.read["specific_force"], raw["specific_force"]) if "specific_force" in raw else None
    return Made(values, found, force)


def _read(name: str, one: Reading, columns: list[Column], frame: pd.DataFrame, time: np.ndarray) -> tuple[np.ndarray, list[Finding]]:
    raw = np.column_stack([_part(name, part, frame, si_of(name, one)) for part in columns])
    return (raw, []) if one.held is False else _unheld(name, raw, time, one.held is True)


def _changes(raw: np.ndarray) -> np.ndarray:
    """Return whether a reading changes from each row to the next; a row without one counts as the row before."""
    rows = np.flatnonzero(np.isfinite(raw).any(axis=1))
    if rows.size < 2:
        return np.zeros(len(raw), dtype=bool)
    new = (np.diff(np.nan_to_num(raw[rows]), axis=0) != 0.0).any(axis=1)
    before = np.searchsorted(rows, np.arange(len(raw)), side="right") - 1
    return (before >= 0) & (before < new.size) & new[np.clip(before, 0, new.size - 1)]


def _part(name: str, part: Column, frame: pd.DataFrame, unit: str) -> np.ndarray:
    if not part.heading:
        return np.full(len(frame), np.nan)
    raw = frame[part.heading].to_numpy()
    if raw.dtype.kind != "f":
        raise ValueError(f"read_log: the column {shown(part.heading)} of {name} holds words, not numbers; is it the right one?")
    return part.sign * raw if name == "magnetic_field" else part.sign * in_si(raw, part.unit, unit)


def _flag(name: str, one: Reading, raw: np.ndarray, time: np.ndarray) -> tuple[np.ndarray, list[Finding]]:
    """Return states of the log as the timeline's numbers, NaN where a state has no meaning."""
    words = FLAGS[name]
    meaning = {text.strip().lower(): float(words.index(value) if isinstance(value, str) else value) for text, value in one.states.items()}
    if not meaning:
        meaning = {word: float(k) for k, word in enumerate(words)} | {str(k): float(k) for k in range(len(words))}
    missing = pd.isna(raw) if raw.dtype.kind == "f" else raw == ""
    texts = [f"{value:g}" if isinstance(value, float) else str(value).strip().lower() for value in raw]
    out = np.array([np.nan if gone else meaning.get(text, np.nan) for text, gone in zip(texts, missing)])
    strange = np.isnan(out) & ~missing
    if not strange.any():
        return out, []
    unknown = sorted({str(raw[k]) for k in np.flatnonzero(strange)})[:5]
    text = f"states of {name} without a meaning in the column map: {', '.join(map(shown, unknown))}, in {counted(int(strange.sum()), 'row')}"
    return out, [Finding("state", text, "dropped", name, float(time[strange].min()), float(time[strange].max()), int(strange.sum()))]


def _unheld(name: str, raw: np.ndarray, time: np.ndarray, told: bool) -> tuple[np.ndarray, list[Finding]]:
    """Return readings with NaN where the logger only repeats the last one; found where readings of a regular number of rows are the same."""
    known = np.isfinite(raw).all(axis=1)
    if known.sum() < 20:
        return raw, []
    rows = np.flatnonzero(known)
    new = np.append(True, (np.diff(raw[rows], axis=0) != 0.0).any(axis=1))
    starts = np.flatnonzero(new)
    lengths = np.diff(starts)
    if not told:
        if lengths.size < 20:
            return raw, []
        usual = float(np.median(lengths))
        moving = lengths[lengths <= 4.0 * usual]
        if usual < 2.0 or (np.abs(moving - usual) <= 1.0).mean() < HOLDS or moving.size < 0.5 * lengths.size:
            return raw, []
    repeats = int((~new).sum())
    if not repeats:
        return raw, []
    out = raw.copy()
    # what stands still for longer than a hold is read again at the pace of the hold
    pace = max(float(np.median(lengths)) if lengths.size else 1.0, 1.0)
    since = np.arange(rows.size) - np.maximum.accumulate(np.where(new, np.arange(rows.size), 0))
    out[rows[~new & (np.mod(since, round(pace)) != 0)]] = np.nan
    left = int((~new & (np.mod(since, round(pace)) != 0)).sum())
    text = f"each reading of {name} stands in {pace:g} rows until the next: the repeats are no readings"
    return out, [Finding("held", text, "dropped", name, float(time[0]), float(time[-1]), left)] if left else []


def _turned(name: str, one: Reading, raw: np.ndarray) -> np.ndarray:
    """Return a reading in body axes, or in east, north and up."""
    if name in VECTORS:
        matrix = to_body(one)
        out = np.full_like(raw, np.nan)
        for k in range(3):  # an axis that is missing spoils only those it goes into
            used = matrix[k] != 0.0
            out[:, k] = raw[:, used] @ matrix[k][used]
        whole = np.isfinite(out).all(axis=1)
        strength = float(np.median(np.linalg.norm(out[whole], axis=1))) if name == "magnetic_field" and whole.any() else 1.0
        return out / strength if strength > 0.0 else np.full_like(out, np.nan)
    if name == "velocity":
        return np.column_stack([raw[:, 1], raw[:, 0], -raw[:, 2]]) if one.frame == "north east down" else raw
    return _attitude(one, raw) if name == "attitude" else raw


def _attitude(one: Reading, raw: np.ndarray) -> np.ndarray:
    """Return quaternions (rows, 4), body to east-north-up, scalar first, each of the sign nearest to the one before."""
    known = np.isfinite(raw).all(axis=1)
    length = np.linalg.norm(raw, axis=1) if raw.shape[1] == 4 else np.ones(len(raw))
    known &= length > 0.5
    out = np.full((len(raw), 4), np.nan)
    if not known.any():
        return out
    if raw.shape[1] == 4:
        turn = Rotation.from_quat(raw[known][:, [1, 2, 3, 0]])
        matrix = turn.as_matrix()
        if one.frame == "north east down":
            matrix = NED @ matrix
    else:  # heading, elevation and roll are from north, east and down by definition
        matrix = NED @ Rotation.from_euler("ZYX", raw[known]).as_matrix()
    q = Rotation.from_matrix(matrix @ to_body(one).T).as_quat()[:, [3, 0, 1, 2]]
    signs = np.cumprod(np.append(1.0 if q[0, 0] >= 0.0 else -1.0, np.where((q[1:] * q[:-1]).sum(axis=1) < 0.0, -1.0, 1.0)))
    out[known] = q * signs[:, None]
    return out


def tilt_of(attitude: np.ndarray) -> np.ndarray:
    """Return the angle of the nose from the vertical, rad (rows,), of quaternions (rows, 4)."""
    w, x, y, z = attitude.T
    up = 2.0 * (x * z - w * y)
    level = np.hypot(1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y + w * z))
    return np.arctan2(level, up)


def moved_to_axis(force: np.ndarray, rate: np.ndarray, time: np.ndarray, off: tuple[float, float]) -> np.ndarray:
    """Return the specific force (rows, 3) on the roll axis beside a sensor at (0, y, z) from it: less what turning makes, dw/dt x r + w x (w x r)."""
    good = np.isfinite(rate).all(axis=1)
    if good.sum() < 3:
        return np.full_like(force, np.nan)
    w = np.column_stack([np.interp(time, time[good], rate[good, k]) for k in range(3)])
    change = np.gradient(w, time, axis=0, edge_order=2)
    arm = np.array([0.0, *off])
    return force - np.cross(change, arm) - np.cross(w, np.cross(w, arm))


def attributes_of(name: str, one: Reading) -> dict:
    """Return what a map says of a reading: source, error, place of the sensor, limit."""
    known = KNOWN[name]
    found: dict = {"source": one.source or known.source}
    if one.error is not None:
        found["error"] = error_of(name, one)
    if one.station is not None:
        found["sensor_station"] = one.station
    if one.limit is not None:
        found["limit"] = amount(one.limit, known.unit)
    return found
