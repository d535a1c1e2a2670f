"""What a file of a recording holds, read in its order, and played back: the same packets, through the same code, as when they came."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterable, Iterator
from os import PathLike
from pathlib import Path
from typing import Any

from sixdof.mission.units import shown
from sixdof.postflight.recording.lines import Damage, Placed, payload_of, scan
from sixdof.postflight.recording.packet import Malformed, Packet, packet_of, receiver_clock


def file_of(path: Any, who: str) -> Path:
    """Return the path of a recording. Raises ValueError in one sentence for what is no file, TypeError for what is no path."""
    if not isinstance(path, (str, PathLike)):
        raise TypeError(f"{who}: path must be the path of a recording, not {shown(path)}")
    path = Path(path)
    if not path.is_file():
        raise ValueError(f"{who}: there is no file {path}; a recording is made by `python -m sixdof record --out {path}`")
    return path


def pieces(path: Path, who: str) -> Iterator[Placed | Damage]:
    """Yield what `scan` does. Raises ValueError for a file without a record: it is no recording."""
    known = False
    for piece in scan(path):
        known = known or isinstance(piece, Placed)
        if isinstance(piece, Damage) and piece.tail and not known:
            break
        yield piece
    if not known:
        raise ValueError(f"{who}: {path} is no recording: no line of it is a record with its length and checksum")


def packet_in(record: dict[str, Any]) -> Packet | None:
    """Return the packet of a record, made as a source's is; None for a record of something else, or one that no recorder has written."""
    payload = payload_of(record)
    if payload is None:
        return None
    try:
        return packet_of(payload, record.get("received", math.nan), "text" if isinstance(payload, str) else "bytes")
    except Malformed:
        return None


def packets(source: Any, *, form: str = "names") -> Iterator[Packet]:
    """Yield the packets of anything that gives some: a recording (its path), a source, or any iterable; what cannot be a packet is passed over."""
    if isinstance(source, (str, PathLike)):
        source = (packet_in(piece.record) for piece in pieces(file_of(source, "replay"), "replay") if isinstance(piece, Placed))
    for one in source:
        try:
            if one is not None:
                yield packet_of(one, form=form)
        except Malformed:
            continue


def replay(source: Any, speed: float = 1.0, *, longest_wait: float = math.inf, stop: threading.Event | None = None) -> Iterator[Packet]:
    """Play packets back at any speed: the recorded packets, bit for bit and in the order they came, as a live source would give them.

    Parameters
    ----------
    source : path of a recording, or packets, such as those of `simulated_packets`
    speed : 1 as they came, 10 ten times as fast; 0 or inf as fast as can be
    longest_wait : s that a silence is played at most, in the time of the replay; between sessions hours may lie
    stop : an event that ends the replay

    Yields
    ------
    Packet
        With `received` (s since 1970-01-01 UTC, as recorded), `payload`, and read off it `sent` (s), `sequence` and `values`.

    Raises
    ------
    ValueError
        If the file is no recording, and for a speed below 0.

    Examples
    --------
    >>> flown = sixdof.postflight.simulated_packets(flight, loss=0.1, seed=1)
    >>> heights = [packet.values["height"] for packet in sixdof.postflight.replay(flown, speed=0)]
    >>> round(max(heights), -1)
    580.0
    """
    if isinstance(speed, bool) or not isinstance(speed, (int, float)) or not speed >= 0.0:
        raise ValueError(f"replay: speed = {shown(speed)} must be 0 or more: 1 as they came, 10 ten times as fast, 0 as fast as can be")
    if isinstance(longest_wait, bool) or not isinstance(longest_wait, (int, float)) or not longest_wait >= 0.0:
        raise ValueError(f"replay: longest_wait = {shown(longest_wait)} must be a number of seconds, 0 or more")
    if isinstance(source, (str, PathLike)):
        file_of(source, "replay")
    elif not isinstance(source, Iterable):
        raise TypeError(f"replay: source must be the path of a recording, or packets, not {shown(source)}")
    return _paced(packets(source), speed, longest_wait, stop or threading.Event())


def _paced(played: Iterator[Packet], speed: float, longest: float, stop: threading.Event) -> Iterator[Packet]:
    """Yield packets when they are due; lateness is caught up with, a wait that is cut short puts off all that follows."""
    due, before = receiver_clock(), math.nan
    for packet in played:
        if 0.0 < speed < math.inf and math.isfinite(before):
            due += min(max(packet.received - before, 0.0) / speed, longest)
            stop.wait(max(due - receiver_clock(), 0.0))
        if stop.is_set():
            return
        before = packet.received
        yield packet
