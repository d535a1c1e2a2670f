"""The pages of a recording and of a last position: where it was last and what was lost first, then silences, clocks, sessions, and where they are weak."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.postflight.logs.checks.finding import counted
from sixdof.postflight.recording.clocks import FEWEST, SHORTEST
from sixdof.postflight.recording.last import KIND as LAST
from sixdof.postflight.recording.last import MOVING, last_position
from sixdof.postflight.recording.recording import need_recording
from sixdof.study.reading.page import LAST_LINE, on_map, place

_KILLED = "never closed: it is running, was killed or lost its power, and all that was acknowledged is here"
STRANGE = 1e4  # ppm, beyond which no crystal or resonator is off
ROWS = 8  # silences on the page
_CAUTIONS = (
    "A last position is where the body was, not where it is: under a canopy it drifted on with the wind, without one it came down near by and fast.",
    "A body on the ground may hold live charges, igniters and batteries: approach only as the range safety officer says. Ask before you enter private land, "
    "and climb no tree, tower or roof and wade no water for a rocket.",
)
_NUMBERED = {"sequence": "lost ones by packet numbers", "clock": "lost ones by gaps of the sender's clock, an estimate", "": "not numbered"}
_WEAK = (
    "One way alone cannot tell a latency from a clock that is off: latencies are above the least of each run, and ages do not count the least.",
    "A latency that grows steadily reads as a clock that drifts.",
    "Nothing in a datagram proves who sent it: a place that one packet alone says is as good as that packet.",
)


def recording_text(ds: xr.Dataset) -> str:
    """Return the page of what `read_recording` returned. Raises ValueError for anything else."""
    need_recording(ds, "recording_text")
    lines = [ds.attrs.get("title") or "A recording", *wrapped(_heading(ds)), "", *indented([*_last(ds), *_answer(ds)])]
    if "silence" in ds.dims:
        lines += ["", "Silences, the longest first", *table(list(_silences(ds)), words=1, remark=True)]
    lines += ["", "Clocks and the way between them", *indented(list(_clocks(ds)))]
    lines += ["", "Sessions of the recorder", *indented(list(_sessions(ds)))]
    if "finding" in ds:
        lines += ["", "What was dropped or damaged", *indented([f"{text}." for text in ds["finding"].values.astype(str)])]
    return "\n".join([*lines, "", "What to make of it", *indented([*_WEAK, *_CAUTIONS]), "", LAST_LINE])


def last_position_text(ds: xr.Dataset) -> str:
    """Return the page of what `last_position` returned. Raises ValueError for anything else."""
    if not isinstance(ds, xr.Dataset) or ds.attrs.get("kind") != LAST:
        raise ValueError("last_position_text needs what sixdof.postflight.last_position returned")
    title, heading = ds.attrs.get("title"), f"The last known position, of {clock(float(ds['received']))} UTC"
    return "\n".join([*([title] if title else []), heading, "", *indented(said_of(ds)), "", *indented(_CAUTIONS), "", LAST_LINE])


def clock(time: float) -> str:
    """Return a receiver's time as a time of day, UTC."""
    return datetime.fromtimestamp(time, UTC).strftime("%H:%M:%S")


def said_of(last: xr.Dataset) -> list[str]:
    """Return the sentences about a last position: where, how old, how it was moving."""
    east, north, height, age = (float(last[name]) for name in ("east", "north", "height", "age"))
    words = [f"LAST KNOWN: {place(east, north)}"] if math.isfinite(east) else ["LAST KNOWN: no place"]
    if math.isfinite(height):
        apart = float(last["height_age"]) - age
        words.append(f"{height:.0f} m above ground" + (f" (heard {abs(apart):.1f} s {'later' if apart < 0.0 else 'before'})" if abs(apart) > 1.0 else ""))
    sentences = [f"{', '.join(words)}; {_age(age)} old."]
    if math.isfinite(float(last["latitude"])):
        sentences.append(f"On a map: {on_map(float(last['latitude']), float(last['longitude']))}.")
    return [*sentences, _moving(last)]


def _age(age: float) -> str:
    for unit, length, most in (("s", 1.0, 120.0), ("min", 60.0, 7200.0), ("h", 3600.0, 172800.0)):
        if age < most:
            return f"{age / length:.{int(length == 1.0)}f} {unit}"
    return f"{age / 86400.0:.0f} days"


def _moving(last: xr.Dataset) -> str:
    east, north, up = last["velocity"].values
    by = {"packets": "by the packets' own velocity", "positions": "by a line through the last 3 s"}.get(str(last["velocity_by"].values), "")
    if not by:
        return "How it was moving is not known: too few packets before it."
    words = []
    if math.isfinite(up):
        words.append("neither rising nor falling" if abs(up) < MOVING else f"{'rising' if up > 0.0 else 'falling'} at {abs(up):.1f} m/s")
    if math.isfinite(east) and math.isfinite(north):
        speed, way = math.hypot(east, north), math.degrees(math.atan2(east, north)) % 360.0
        words.append("standing over the ground" if speed < MOVING else f"moving over the ground at {speed:.1f} m/s towards {way:.0f} deg true")
    return f"It was {' and '.join(words)} then ({by})."


def _heading(ds: xr.Dataset) -> str:
    first, last = float(ds["received"].min()), float(ds["received"].max())
    day = datetime.fromtimestamp(first, UTC).strftime("%Y-%m-%d")
    count, sessions = ds.sizes["packet"], ds.sizes["recorder_session"]
    more = f" in {sessions} sessions" if sessions > 1 else ""
    numbered = _NUMBERED[ds.attrs["numbered_by"]]
    return f"{counted(count, 'packet')}{more} from {clock(first)} to {clock(last)} UTC on {day} ({last - first:.1f} s); {numbered}; {ds.attrs['path']}"


def _last(ds: xr.Dataset) -> list[str]:
    try:
        return said_of(last_position(ds))
    except ValueError:
        return ["LAST KNOWN: nothing: no packet holds a place or a height."]


def _answer(ds: xr.Dataset) -> Iterator[str]:
    count, repeated, late = ds.sizes["packet"], int(ds["repeated"].sum()), int(ds["late"].sum())
    lost = float(ds["lost"])
    if math.isfinite(lost):
        new = count - repeated
        mean, most = float(ds["burst_length"]), float(ds["burst_longest"])
        bursts = f", in {counted(int(ds['bursts']), 'gap')} of {mean:.1f} packets on average, at most {most:.0f}" if lost else ""
        yield f"Of {new + lost:.0f} packets sent between the first and the last, {lost:.0f} were lost ({100.0 * float(ds['loss_share']):.1f} %){bursts}."
    else:
        yield "How many packets were lost nothing tells: they bear neither a number (sequence) nor the sender's clock (time)."
    if repeated or late:
        yield f"{repeated} came twice, {late} behind a later one."
    if "silence" in ds.dims:
        k = int(ds["silence_length"].values.argmax())
        begin, length, where = float(ds["silence_begin"][k]), float(ds["silence_length"][k]), _where(ds, k)
        yield f"The longest silence took {length:.1f} s from {clock(begin)} UTC on" + (f", as the body was {where}." if where else ".")
    else:
        yield "There was no silence: packets came at their usual pace throughout."


def _where(ds: xr.Dataset, k: int) -> str:
    """Return where the body was as a silence began, "" where nothing tells."""
    words = []
    if "silence_height" in ds and math.isfinite(float(ds["silence_height"][k])):
        words.append(f"{float(ds['silence_height'][k]):.0f} m above ground")
    if "silence_east" in ds and "silence_north" in ds and math.isfinite(float(ds["silence_east"][k] + ds["silence_north"][k])):
        words.append(place(float(ds["silence_east"][k]), float(ds["silence_north"][k])))
    return ", ".join(words)


def _silences(ds: xr.Dataset) -> Iterator[list[str]]:
    start = float(ds["received"].min())
    yield ["from", "since the first", "length", "lost", "where the body was last"]
    for k in np.argsort(-ds["silence_length"].values, kind="stable")[:ROWS]:
        begin, lost = float(ds["silence_begin"][k]), float(ds["silence_lost"][k])
        note = " (the recorder was not running)" if bool(ds["silence_recorder"][k]) else ""
        many = f"{lost:.0f}" if math.isfinite(lost) else "?"
        yield [f"{clock(begin)} UTC", f"{begin - start:.1f} s", f"{float(ds['silence_length'][k]):.1f} s", many, (_where(ds, k) or "not known") + note]


def _clocks(ds: xr.Dataset) -> Iterator[str]:
    if not np.isfinite(ds["sent"].values).any():
        yield "The packets bear no clock of the sender (time), so nothing tells what they took on the way."
        return
    several = ds.sizes["clock"] > 1
    if several:
        yield f"The sender's clock began anew {counted(ds.sizes['clock'] - 1, 'time')}: it was reset, lost its power, or was set."
    for k in range(ds.sizes["clock"]):
        drift, error = 1e6 * float(ds["clock_drift"][k]), 1e6 * float(ds["clock_drift_error"][k])
        name = f"In run {k + 1} the" if several else "The"
        if abs(drift) > STRANGE:
            times = f"{1.0 + 1e-6 * drift:.3g} times as fast"
            yield f"{name} sender's clock ran {times} as the receiver's: this was a replay, or its times are in another unit than s."
        elif math.isfinite(drift):
            way = "fast" if drift > 0.0 else "slow"
            yield f"{name} sender's clock ran {abs(drift):.0f} ppm {way} against the receiver's (standard deviation {error:.0f} ppm)."
        else:
            yield f"{name} packets are too few to tell how the sender's clock ran: {FEWEST} over {SHORTEST:g} s are needed."
    latency = ds["latency"].values[np.isfinite(ds["latency"].values)]
    median, most = np.quantile(latency, [0.5, 0.95])
    yield f"On the way packets took, above the least, {1e3 * median:.0f} ms (median), {1e3 * most:.0f} ms (95 %), {1e3 * latency.max():.0f} ms (worst)."


def _sessions(ds: xr.Dataset) -> Iterator[str]:
    for k in range(ds.sizes["recorder_session"]):
        one = ds.isel(recorder_session=k)
        began, ended = clock(float(one["session_begin"])), clock(float(one["session_end"]))
        mean, worst = 1e3 * float(one["sync_mean"]), 1e3 * float(one["sync_worst"])
        end = f"closed at {ended} UTC, each wait for the disk {mean:.1f} ms on average, {worst:.0f} ms at worst" if bool(one["session_closed"]) else _KILLED
        yield f"{'Begun' if k == 0 else 'Restarted'} at {began} UTC, {int(one['session_packets'])} packets, {end}."
