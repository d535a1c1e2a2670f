"""`read_recording`: a recording as a Dataset along its packets: what they held, both clocks, what was lost, silences, sessions."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from os import PathLike
from typing import Any

import numpy as np
import xarray as xr

from sixdof.postflight.logs.checks.finding import counted
from sixdof.postflight.recording.clocks import Clock, clock_of, sender_runs
from sixdof.postflight.recording.describing import site_of
from sixdof.postflight.recording.held import Held, held_in
from sixdof.postflight.recording.loss import Loss, loss_of, silences
from sixdof.postflight.recording.measured import measured
from sixdof.postflight.recording.replaying import file_of

MOST_SILENCES = 50  # that are kept, the longest
KIND = "recording"


def read_recording(path: str | PathLike, *, columns: Any = None, names: Any = None, decode: Callable[[Any], Mapping[str, Any]] | None = None) -> xr.Dataset:
    """Read a recording: what came, what was lost and when, how the clocks run, and where the body was.

    What is damaged is passed over and said; every record has its own checksum, so whatever is read is as it was written.

    Parameters
    ----------
    path : of the recording, one that is being written too
    columns : a column map, for packets of other names or units; None: the recording's own, if it has one
    names : of the columns of raw text, in their order; None: the recording's own
    decode : your own function from a raw payload (text, bytes, or the mapping that came) to a mapping of the timeline's names to numbers in SI, for radios that
        send bytes; what it raises ValueError for counts as malformed

    Returns
    -------
    Dataset
        Along `packet`, in the order in which they came: `received` (receiver's clock, s since 1970-01-01 UTC), `sent` (sender's clock, s), `sequence`,
        `session` and `run` (of the recorder and of the sender's clock, from 0), `repeated` and `late` (bool), `latency` (s above the least of its run), and
        what the packets measured under the timeline's names (NaN where a packet did not). Along `silence`: `silence_begin` (s of the receiver's clock),
        `silence_length` (s), `silence_lost` (packets), and `silence_height`, `_east`, `_north` where the body was known to be as it began. Along `run`:
        `clock_offset` (s, receiver's less sender's at its begin, the least latency within), `clock_drift` (a share, the sender's clock fast),
        `clock_drift_error` (standard deviation). Along `session`: `session_begin`, `session_end` (s), `session_packets`, `session_closed`, `session_cut`
        (bytes), `sync_mean`, `sync_worst` (s). Numbers: `lost`, `loss_share`, `burst_length` (packets lost in a row, mean) and `burst_longest`. `finding`:
        sentences about damage and what was dropped. Attributes: the site, if known.

    Raises
    ------
    ValueError
        In one sentence: no file, no recording, no packets in it.

    Examples
    --------
    >>> with sixdof.postflight.Recorder("flown.rec", site=mission) as recorder:
    ...     recorded = recorder.extend(sixdof.postflight.simulated_packets(flight, loss=0.2, burst=3.0, seed=1))
    >>> recording = sixdof.postflight.read_recording("flown.rec")
    >>> recorded == recording.sizes["packet"], round(float(recording.loss_share), 1)
    (True, 0.2)
    """
    file = file_of(path, "read_recording")
    held = held_in(file, "read_recording")
    if not held.packets:
        raise ValueError(f"read_recording: {file} holds no packets: the recorder heard nothing")
    about = held.about | {name: given for name, given in (("columns", columns), ("names", names)) if given is not None}
    site = site_of(about["site"]) if "site" in about else None
    values = measured(held.packets, about, site, decode)
    ds = xr.Dataset(values.variables | _packets(held, values.sent, values.sequence))
    ds = ds.assign_coords({dim: list(parts) for dim, parts in (("axis", "xyz"), ("quaternion", "wxyz")) if dim in ds.dims})
    runs = sender_runs(ds["sent"].values, ds["received"].values)
    ds = ds.assign(_clocks(ds, runs) | _sessions(held))
    loss = loss_of(ds["sequence"].values, ds["sent"].values, runs)
    ds = ds.assign(_losses(loss)).assign(_silences(ds, loss))
    findings = [*_findings(held, file.name), *values.findings]
    if findings:
        ds = ds.assign(finding=("finding", np.array(findings), {"long_name": "what was found wrong, and done about it"}))
    place = {} if site is None else {"site_name": site.name, "site_latitude": math.degrees(site.latitude), "site_longitude": math.degrees(site.longitude)}
    place |= {} if site is None else {"site_altitude": site.altitude, "site_earth": site.earth}
    return ds.assign_attrs(kind=KIND, path=str(file), title=_printable(about.get("title", "")), numbered_by=loss.by, **place)


def _printable(text: str) -> str:
    """Return a text as it may stand on a terminal."""
    return "".join(letter if letter.isprintable() else " " for letter in text)


def need_recording(recording: Any, who: str) -> xr.Dataset:
    """Return the Dataset of a recording, read where a path is given. Raises ValueError, in the name of `who`, for anything else."""
    if isinstance(recording, (str, PathLike)):
        return read_recording(recording)
    if not isinstance(recording, xr.Dataset) or recording.attrs.get("kind") != KIND:
        raise ValueError(f"{who} needs what sixdof.postflight.read_recording returned, or the path of a recording")
    return recording


def _packets(held: Held, sent: np.ndarray, sequence: np.ndarray) -> dict[str, tuple]:
    received = np.array([one.received for one in held.packets])
    return {
        "received": ("packet", received, {"units": "s", "long_name": "receiver's clock, since 1970-01-01 UTC"}),
        "sent": ("packet", sent, {"units": "s", "long_name": "sender's clock"}),
        "sequence": ("packet", sequence, {"units": "1", "long_name": "sender's number of the packet"}),
        "session": ("packet", np.array(held.session), {"units": "1", "long_name": "session of the recorder, from 0"}),
    }


def _clocks(ds: xr.Dataset, runs: np.ndarray) -> dict[str, tuple]:
    """Return the clock of each run of the sender, and what packets took above the least."""
    sent, received = ds["sent"].values, ds["received"].values
    latency = np.full(sent.size, np.nan)
    clocks = []
    for run in range(int(runs.max()) + 1):
        rows = np.flatnonzero((runs == run) & np.isfinite(sent))
        if not rows.size:
            clocks.append(Clock(math.nan, math.nan, 0.0, math.nan, math.nan))
            continue
        clocks.append(clock_of(sent[rows], received[rows]))
        latency[rows] = received[rows] - clocks[-1].at_receiver(sent[rows])
    return {
        "run": ("packet", runs, {"units": "1", "long_name": "run of the sender's clock, from 0"}),
        "latency": ("packet", np.maximum(latency, 0.0), {"units": "s", "long_name": "time on the way above the least of the run"}),
        "clock_origin": ("clock", np.array([one.origin for one in clocks]), {"units": "s", "long_name": "sender's clock as a run begins"}),
        "clock_offset": (
            "clock",
            np.array([one.offset for one in clocks]),
            {"units": "s", "long_name": "receiver's clock less sender's as a run begins, the least latency within"},
        ),
        "clock_slope": ("clock", np.array([one.slope for one in clocks]), {"units": "1", "long_name": "growth of the offset with the sender's clock"}),
        "clock_drift": ("clock", np.array([one.drift for one in clocks]), {"units": "1", "long_name": "by how much the sender's clock runs fast"}),
        "clock_drift_error": ("clock", np.array([one.drift_error for one in clocks]), {"units": "1", "long_name": "standard deviation of the drift"}),
    }


def _sessions(held: Held) -> dict[str, tuple]:
    last = {k: packet.received for k, packet in zip(held.session, held.packets)}
    numbers = {
        "session_begin": ([one.began for one in held.sessions], "s", "begin of a session of the recorder, by the receiver's clock"),
        "session_end": (
            [one.closed if one.closed is not None else last.get(k, one.began) for k, one in enumerate(held.sessions)],
            "s",
            "end of a session, by the receiver's clock: its last packet where it was not closed",
        ),
        "session_packets": ([one.packets for one in held.sessions], "1", "packets recorded in a session"),
        "session_closed": ([one.closed is not None for one in held.sessions], "1", "whether a session was closed, or killed"),
        "session_cut": ([one.cut for one in held.sessions], "1", "half-written bytes cut as a session began"),
        "sync_mean": ([one.sync_mean or math.nan for one in held.sessions], "s", "time to have packets safe on the disk, mean"),
        "sync_worst": ([one.sync_worst or math.nan for one in held.sessions], "s", "time to have packets safe on the disk, worst"),
    }
    return {name: ("recorder_session", np.array(values), {"units": units, "long_name": text}) for name, (values, units, text) in numbers.items()}


def _losses(loss: Loss) -> dict[str, tuple]:
    count = loss.bursts.size
    mean, longest = (float(loss.bursts.mean()), float(loss.bursts.max())) if count else (0.0, 0.0)
    return {
        "repeated": ("packet", loss.repeated, {"units": "1", "long_name": "whether the packet had come before"}),
        "late": ("packet", loss.late, {"units": "1", "long_name": "whether a later packet came before it"}),
        "lost": ((), loss.lost, {"units": "1", "long_name": "packets lost between the first and the last that came"}),
        "loss_share": ((), loss.lost / max(loss.expected, 1.0), {"units": "1", "long_name": "share of packets lost"}),
        "bursts": ((), count, {"units": "1", "long_name": "how often packets were lost in a row, or one alone"}),
        "burst_length": ((), mean if loss.by else math.nan, {"units": "1", "long_name": "packets lost in a row, mean"}),
        "burst_longest": ((), longest if loss.by else math.nan, {"units": "1", "long_name": "packets lost in a row, most"}),
    }


def _silences(ds: xr.Dataset, loss: Loss) -> dict[str, tuple]:
    """Return the silences, the longest where there are many, in order of time; none where there was none."""
    # heard by a recorder that ran on, nothing is a silence too
    received = np.append(ds["received"].values, max(float(ds["session_end"][-1]), float(ds["received"].values[-1])))
    rows = silences(received)
    if not rows.size:
        return {}
    length = np.diff(received)[rows]
    rows = np.sort(rows[np.argsort(-length, kind="stable")[:MOST_SILENCES]])
    begin, end = received[rows], received[rows + 1]
    times = received[loss.between].mean(axis=1)  # of each burst, about
    lost = [float(loss.bursts[(times >= a) & (times < b)].sum()) if loss.by and b < received[-1] else math.nan for a, b in zip(begin, end)]
    session = np.append(ds["session"].values, ds["session"].values[-1])
    down = session[rows] != session[rows + 1]
    found = {
        "silence_begin": ("silence", begin, {"units": "s", "long_name": "begin of a silence: the last packet before it, by the receiver's clock"}),
        "silence_length": ("silence", end - begin, {"units": "s", "long_name": "length of a silence"}),
        "silence_lost": ("silence", np.array(lost), {"units": "1", "long_name": "packets lost in a silence"}),
        "silence_recorder": ("silence", down, {"units": "1", "long_name": "whether the recorder was not running for a part of it"}),
    }
    for name in ("height", "east", "north"):
        if name in ds:
            known = [_last(ds[name].values[: row + 1]) for row in rows]
            found[f"silence_{name}"] = ("silence", np.array(known), {"units": "m", "long_name": f"{name} as last known as a silence began"})
    return found


def _last(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(known[-1]) if known.size else math.nan


def _findings(held: Held, name: str) -> list[str]:
    found = []
    for one in held.damage:
        gone = f", with {counted(one.missing, 'record')} of the file" if one.missing > 0 else ""
        if one.tail:
            found.append(f"the last {one.length} bytes of {name} are half written or damaged and are passed over (a recorder that opens it cuts them)")
        elif one.length:
            found.append(f"{one.length} bytes of {name}, from byte {one.start}, are damaged and are passed over{gone}; all behind them is intact")
        else:
            found.append(f"{counted(one.missing, 'record')} of {name} missing ahead of byte {one.start}")
    found += [f"{one.cut} half-written bytes were cut as session {k + 1} began" for k, one in enumerate(held.sessions) if one.cut]
    if held.strange:
        found.append(f"{counted(held.strange, 'record')} intact and of no kind that this version knows: passed over")
    found += [f"{counted(count, 'packet')} dropped as they came: {reason}" for reason, count in sorted(held.dropped.items())]
    return found + [f"dropped, for example: {one}" for one in held.examples]
