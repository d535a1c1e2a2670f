"""`follow`: packets that another program writes into a file, line by line, as the file grows."""

from __future__ import annotations

import os
import threading
import time
from collections import deque
from io import BufferedReader
from os import PathLike
from pathlib import Path
from typing import Any

from sixdof.mission.units import shown
from sixdof.postflight.recording.sources.source import Source

MOST_BYTES, MOST_RATE = 8192, 100_000.0
POLL = 0.05  # s between two looks at a file that has not grown
CHUNK = 65536  # bytes read at once


def follow(
    path: str | PathLike,
    *,
    begin: str = "start",
    form: str = "names",
    most_bytes: int = MOST_BYTES,
    most_rate: float = MOST_RATE,
    timeout: float | None = None,
    tick: float | None = None,
    stop: threading.Event | None = None,
) -> Follower:
    """Follow a file that grows, a packet a line; an iterator of `Packet`, with `received`, `dropped` and `examples` of what was not taken.

    A line counts once it has its end. A file that does not exist yet is waited for. One that was moved away and begun anew is read to its end and the new one
    from its start; one that became shorter, from its start; `restarts` counts both. Looked at 20 times a second.

    Parameters
    ----------
    path : of the file
    begin : "start" takes what it holds already, "end" only what comes
    form : "names", a JSON object of names and numbers a line, as of `listen`; "text" or "bytes", anything, such as a row of a CSV, kept as it came
    most_bytes : of a line; longer ones are dropped
    most_rate : packets a second, on average over a second; what is above is dropped
    timeout : s without a packet after which it ends; None: never
    tick : s without a packet after which it gives None, so that a display can say how old its picture is; None: never
    stop : an event that ends it; Ctrl-C does as everywhere

    Raises
    ------
    ValueError
        In one sentence, for arguments that cannot be.

    Examples
    --------
    >>> with open("growing.jsonl", "w") as file:
    ...     _ = file.write('{"time": 0.5, "height": 12.0}\\n{"time": 0.6, "hei')  # half a line is waited for
    >>> [packet.values for packet in sixdof.postflight.follow("growing.jsonl", timeout=0.1)]
    [{'height': 12.0}]
    """
    if begin not in ("start", "end"):
        raise ValueError(f"follow: begin = {shown(begin)} must be start or end")
    if not isinstance(path, (str, PathLike)):
        raise TypeError(f"follow: path must be the path of a file, not {shown(path)}")
    if Path(path).exists() and not Path(path).is_file():
        raise ValueError(f"follow: {path} is no ordinary file; name a file that another program appends lines to")
    return Follower(Path(path), begin == "end", form, most_bytes, most_rate, timeout, tick, stop)


class Follower(Source):
    """A file that grows as a source of packets. restarts : how often the file began anew."""

    def __init__(self, path: Path, at_end: bool, form: str, most_bytes: int, *rest: Any):
        super().__init__("follow", form, most_bytes, *rest)
        self.path, self.restarts = path, 0
        self._file: BufferedReader | None = None
        self._lines: deque[bytes] = deque()
        self._part, self._too_long = b"", False
        self._open()
        if at_end and self._file is not None:
            self._file.seek(0, os.SEEK_END)

    def _open(self) -> None:
        try:
            self._file = self.path.open("rb")
        except FileNotFoundError:
            self._file = None
        except OSError as error:
            raise ValueError(f"follow: {self.path} cannot be read: {error.strerror or error}") from None

    def _take(self, wait: float) -> bytes | None:
        until = time.monotonic() + wait
        while not self._lines and not self._read():
            left = until - time.monotonic()
            if left <= 0.0 or self._stop.wait(min(POLL, left)):
                return None
        return self._lines.popleft() if self._lines else None

    def _read(self) -> bool:
        """Read on where there is more; where there is not, look whether the file is still the one of that name. Tell whether something came."""
        if self._file is None:
            self._open()
            return False
        data = self._file.read(CHUNK)
        if not data and self._is_another():
            data = self._file.read(CHUNK)  # written between the last look and the move
            if not data:
                self._begin_anew()
                return False
        self._split(data)
        return bool(data)

    def _is_another(self) -> bool:
        assert self._file is not None
        mine = os.fstat(self._file.fileno())
        try:
            there = os.stat(self.path)
        except FileNotFoundError:
            return False  # moved away; what comes in its place is waited for
        return (there.st_ino, there.st_dev) != (mine.st_ino, mine.st_dev) or there.st_size < self._file.tell()

    def _begin_anew(self) -> None:
        if self._part:
            self._drop("malformed", self._part, "the file began anew behind half a line")
        self.restarts, self._part, self._too_long = self.restarts + 1, b"", False
        assert self._file is not None
        self._file.close()
        self._open()

    def _split(self, data: bytes) -> None:
        """Put whole lines into the queue; what is longer than a line may be is passed over as it comes, so that it is never held."""
        *whole, rest = (self._part + data).split(b"\n")
        for line in whole:
            if self._too_long:
                self._too_long = False
            elif line.strip():
                self._lines.append(line.rstrip(b"\r"))
        if len(rest) > self.most_bytes and not self._too_long:
            self._too_long = True
            self._drop("too long", rest, f"a line of more than {self.most_bytes} bytes")
        self._part = b"" if self._too_long else rest

    def close(self) -> None:
        """Let go of the file; a second time does nothing."""
        super().close()
        if self._file is not None:
            self._file.close()
