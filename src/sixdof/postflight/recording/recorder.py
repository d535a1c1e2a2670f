"""`Recorder`: packets onto the disk as they come. What is acknowledged survives a kill, a crash and a full disk."""

from __future__ import annotations

import os
import threading
import time
from collections.abc import Iterable, Iterator
from contextlib import contextmanager, suppress
from os import PathLike
from pathlib import Path
from typing import Any, NamedTuple

from sixdof.mission.units import shown
from sixdof.postflight.logs.checks.finding import counted
from sixdof.postflight.recording.describing import described
from sixdof.postflight.recording.lines import FORMAT, Damage, line_of, packet_record, scan
from sixdof.postflight.recording.packet import Packet, packet_of, receiver_clock
from sixdof.results.store_disk import locked

WAIT = 0.1  # s that packets wait for others, to be acknowledged together
MOST_WAITING = 1000  # packets
KEPT = 256  # bytes of what is cut from a file that stand in the record of the restart
DROPS_EVERY = 2.0  # s between two notes of what a source dropped


class _Noted(NamedTuple):
    """What a source dropped as far as it is recorded: when it was noted, by reason, and how many examples."""

    at: float
    dropped: dict[str, int]
    examples: int


class Recorder:
    """A recording under way: packets are appended to one file, and are on the disk before they are acknowledged.

    A kill at any moment, or the loss of power on a disk that keeps its word, loses nothing that was acknowledged. A file that is there is gone on with: the
    restart is recorded, and a half-written end is cut first. A lock beside the file lets one recorder at a time write it. The file is text, a JSON record a
    line with its length and CRC-32.

    To be sure of a packet the disk must be asked (fsync), which takes a fraction of a millisecond on a good drive and 5 to 100 ms on a memory card:
    `append` asks for each packet, `extend` once for many, `through` once for what came within 0.1 s. `sync_mean` and `sync_worst` (s) say what it took here,
    and the page of the recording does.

    Parameters
    ----------
    path : of the recording, there or not
    site : a Mission, or {"latitude": "41 deg", "longitude": ..., "altitude": ...}: where the rail stands, for places on a map
    columns : a column map as `read_log` takes it (path of a TOML, or its tables), for packets of other names or units, or of raw text
    names : of the columns of raw text, in their order, where no first line of the source says them
    title : of the flight

    Attributes
    ----------
    acknowledged : packets of this session that are safe on the disk
    before : packets that the file held as it was opened
    notes : sentences about what was found as the file was opened

    Raises
    ------
    ValueError
        If the file is no recording, or another recorder has it.
    OSError
        If it cannot be written, in one sentence; what was acknowledged is safe, and the same call goes on once there is room.

    Examples
    --------
    >>> with sixdof.postflight.Recorder("bench.rec") as recorder:
    ...     recorder.append({"time": 0.1, "sequence": 0, "height": 1.2})
    ...     recorder.extend([{"time": 0.2, "sequence": 1, "height": 1.3}, {"time": 0.3, "sequence": 2, "height": 1.5}])
    1
    3
    """

    def __init__(self, path: str | PathLike, *, site: Any = None, columns: Any = None, names: Iterable[str] | None = None, title: str = ""):
        self.path = Path(path)
        about = described(site, columns, names, title)
        if self.path.exists() and not self.path.is_file():
            raise ValueError(f"Recorder: {self.path} is no ordinary file; name a file to record into")
        if not self.path.parent.is_dir():
            raise ValueError(f"Recorder: there is no folder {self.path.parent}; make it first")
        self._lock = locked(self.path)
        try:
            self._open(about)
        except BaseException:
            self._lock.close()
            raise

    def _open(self, about: dict[str, Any]) -> None:
        self.acknowledged, self.before, self.notes = 0, 0, []
        self.syncs, self.sync_total, self.sync_worst = 0, 0.0, 0.0
        self._number, self._file, self._alone = 0, -1, threading.RLock()
        start: dict[str, Any] = {"n": 0, "session": 0, "began": receiver_clock(), "format": FORMAT, **about}
        if not self.path.exists() or self.path.stat().st_size == 0:
            self._create(line_of(start))
        else:
            start |= self._examine() | about
        self.about = {name: start[name] for name in ("site", "columns", "names", "title") if name in start}
        self._file = os.open(self.path, os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0))
        self._end = os.fstat(self._file).st_size
        if start["n"]:
            self._write([line_of(start)], "the restart")
        self._number = start["n"] + 1

    def _create(self, line: bytes) -> None:
        """Make the file with its first record, at once or not at all."""
        draft = self.path.with_name(self.path.name + ".draft")
        with self._disk("its first record"):
            with draft.open("wb") as file:
                file.write(line)
                file.flush()
                os.fsync(file.fileno())
            os.replace(draft, self.path)
            if os.name == "posix":  # elsewhere a folder cannot be asked
                folder = os.open(self.path.parent, os.O_RDONLY)
                os.fsync(folder)
                os.close(folder)

    def _examine(self) -> dict[str, Any]:
        """Look through a file that is there, cut a half-written end, and return what the record of the restart says of it."""
        found, damage = None, []
        session, end, about = 0, 0, {}
        for piece in scan(self.path):
            if isinstance(piece, Damage):
                damage.append(piece)
                continue
            found, end = piece.record, piece.end
            self.before += "received" in found
            if "session" in found:
                session = found["session"]
                about = {name: found[name] for name in ("site", "columns", "names", "title") if name in found}
        if found is None:
            raise ValueError(f"Recorder: {self.path} is no recording, and is left as it is; name a new file, or one that a Recorder has made")
        self.notes.append(f"{self.path} is gone on with: it holds {counted(self.before, 'packet')}")
        for one in damage:
            if not one.tail:
                gone = f", {counted(one.missing, 'record')} gone" if one.missing > 0 else ""
                self.notes.append(f"{one.length} bytes in its middle, from byte {one.start}, are damaged and left as they are{gone}")
        return {"n": found["n"] + 1, "session": session + 1, **about, **self._cut(damage, end)}

    def _cut(self, damage: list[Damage], end: int) -> dict[str, Any]:
        """Cut what stands behind the last intact record; what it was is kept in the record of the restart as far as it is short."""
        if not damage or not damage[-1].tail:
            return {}
        length = damage[-1].length
        with self._disk("the cut of its damaged end"), self.path.open("r+b") as file:
            file.seek(end)
            kept = file.read(KEPT)
            file.truncate(end)
            file.flush()
            os.fsync(file.fileno())
        self.notes.append(f"{length} bytes at its end were half written or damaged, never acknowledged as they stand, and are cut")
        return {"cut": length, "cut_at": end, "cut_hex": kept.hex()}

    # ---------------------------------------------------------------- packets in

    def append(self, packet: Any, received: float | None = None) -> int:
        """Record one packet; return how many of this session are safe, it among them. Arguments and errors as of `extend`."""
        return self.extend([packet], received)

    def extend(self, packets: Iterable[Any], received: float | None = None) -> int:
        """Record packets and acknowledge them together, with one request to the disk; return how many of this session are safe.

        packets : each a mapping of the timeline's names to numbers (SI; `time` is the sender's clock and `sequence` its packet number), or raw text or bytes,
        or a Packet of a source. received : receiver's clock, s since 1970-01-01 UTC, of all of them; None: now, and of a Packet its own.

        Raises ValueError for what cannot be a packet (none is recorded then), and for a recorder that is closed; OSError if the disk takes no more.
        """
        with self._alone:
            self._need_open()
            made = [packet_of(one, received, "text" if isinstance(one, str) else "bytes") for one in packets]
            lines = [line_of(packet_record(self._number + k, one)) for k, one in enumerate(made)]
            if lines:
                self._write(lines, f"packet {self.acknowledged + 1} of this session" + (" and those behind it" if len(lines) > 1 else ""))
            self.acknowledged += len(lines)
            return self.acknowledged

    def through(self, source: Iterable[Packet | None]) -> Iterator[Packet | None]:
        """Record what a source gives and yield it on, each packet once it is safe: `for packet in recorder.through(listen(4567))`.

        Packets that come within 0.1 s are acknowledged together where the source has a `tick`; what it dropped is noted too.
        """
        waiting: list[Packet] = []
        since = time.monotonic()
        noted = _Noted(-DROPS_EVERY, {}, 0)
        patient = getattr(source, "tick", None) is not None
        try:
            for packet in source:
                if packet is not None:
                    since = since if waiting else time.monotonic()
                    waiting.append(packet)
                if packet is None or not patient or len(waiting) >= MOST_WAITING or time.monotonic() - since >= WAIT:
                    self.extend(waiting)
                    safe, waiting = waiting, []
                    noted = self._note_drops(source, noted)
                    yield from safe
                    if packet is None:
                        yield None
        finally:  # of an interruption too: nothing that came is left behind
            if self._file >= 0:
                self.extend(waiting)
                self._note_drops(source, noted._replace(at=-DROPS_EVERY))
        yield from waiting

    def _note_drops(self, source: Any, noted: _Noted) -> _Noted:
        """Record what a source has dropped since it was noted last; return what is noted now."""
        dropped, now = dict(getattr(source, "dropped", {})), time.monotonic()
        more = {reason: count - noted.dropped.get(reason, 0) for reason, count in dropped.items() if count > noted.dropped.get(reason, 0)}
        if not more or now - noted.at < DROPS_EVERY:
            return noted
        examples = list(getattr(source, "examples", []))
        with self._alone:
            record = {"n": self._number, "at": receiver_clock(), "dropped": more, "examples": examples[noted.examples :]}
            self._write([line_of(record)], "a note of dropped packets")
        return _Noted(now, dropped, len(examples))

    # ---------------------------------------------------------------- the disk

    def _write(self, lines: list[bytes], what: str) -> None:
        """Append lines and have them safe on the disk, or leave the file as it was."""
        data, done = memoryview(b"".join(lines)), 0
        start = time.perf_counter()
        try:
            with self._disk(what):
                self._trim()
                while done < len(data):
                    done += os.write(self._file, data[done:])
                os.fsync(self._file)
        except BaseException:
            with suppress(OSError):  # else it goes before the next record
                self._trim()
            raise
        took = time.perf_counter() - start
        self._end += len(data)
        self._number += len(lines)
        self.syncs, self.sync_total, self.sync_worst = self.syncs + 1, self.sync_total + took, max(self.sync_worst, took)

    @contextmanager
    def _disk(self, what: str) -> Iterator[None]:
        """Turn what a disk may say into one sentence."""
        try:
            yield
        except OSError as error:
            safe = f"{counted(self.before + self.acknowledged, 'packet')} recorded before {'is' if self.before + self.acknowledged == 1 else 'are'} safe"
            why = error.strerror or str(error)
            raise OSError(f"{self.path}: {what} cannot be recorded: {why}. {safe}; make room and record on into the same file") from error

    def _trim(self) -> None:
        """Take off what stands behind the last acknowledged record: a part that a full disk took, or what an interruption left."""
        if os.fstat(self._file).st_size != self._end:
            os.ftruncate(self._file, self._end)

    @property
    def sync_mean(self) -> float:
        """What it took on average to have packets safe on the disk, s."""
        return self.sync_total / max(self.syncs, 1)

    def _need_open(self) -> None:
        if self._file < 0:
            raise ValueError(f"Recorder: {self.path} is closed; open it again with Recorder({shown(str(self.path))})")

    def close(self) -> None:
        """Record the end of the session, and let go of the file; a second time does nothing."""
        with self._alone:
            if self._file < 0:
                return
            cost = {"syncs": self.syncs, "sync_mean": self.sync_mean, "sync_worst": self.sync_worst}
            try:
                self._write([line_of({"n": self._number, "closed": receiver_clock(), **cost})], "the end of the session")
            finally:
                os.close(self._file)
                self._file = -1
                self._lock.close()

    def __enter__(self) -> Recorder:
        return self

    def __exit__(self, *_) -> None:
        self.close()
