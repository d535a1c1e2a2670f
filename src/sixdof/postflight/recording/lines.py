"""The file of a recording: one record a line, its length in bytes and its CRC-32 ahead of it, so that what is damaged or half written is known as such.

    131 5a1f09c3 {"n": 17, "received": 1796090000.25, "payload": {"time": 12.3, "sequence": 41, "height": 215.0}}

A record is a JSON object (RFC 8259, ASCII), the checksum that of RFC 1952. Records are numbered (`n`) and only ever appended, so a gap in the numbers says how
many are missing. A record holds a packet (`received` with `payload`, `text` or `bytes` in base64), the begin of a session (`session`), what a source dropped
(`dropped`) or the end of a session (`closed`). Any editor shows it; `grep payload` and any language's JSON read it.
"""

from __future__ import annotations

import base64
import binascii
import json
import zlib
from collections.abc import Iterator
from pathlib import Path
from typing import Any, BinaryIO, NamedTuple

from sixdof.postflight.recording.packet import Packet, plain

FORMAT = "sixdof recording, version 1"
LONGEST_LINE = 1 << 20  # bytes; longer is damage, and is never held in memory


class Damage(NamedTuple):
    """A stretch of the file that holds no intact record. start, length : bytes. missing : records that the numbers behind it say are gone; -1: not known.

    tail : nothing intact comes behind it.
    """

    start: int
    length: int
    missing: int
    tail: bool


class Placed(NamedTuple):
    """An intact record, and where the line behind it begins, bytes."""

    record: dict[str, Any]
    end: int


def line_of(record: dict[str, Any]) -> bytes:
    """Return the line of a record."""
    text = json.dumps(record, allow_nan=False, separators=(",", ":")).encode("ascii")
    return _framed(text)


def _framed(text: bytes) -> bytes:
    return b"%d %08x %b\n" % (len(text), zlib.crc32(text), text)


def record_of(line: bytes) -> dict[str, Any] | None:
    """Return the record of a line, or None for one that is damaged or half written: every byte must be what `line_of` writes."""
    parts = line.split(b" ", 2)
    if len(parts) < 3 or not line.endswith(b"\n") or _framed(parts[2][:-1]) != line:
        return None
    try:
        record = json.loads(parts[2])
    except ValueError:
        return None
    return record if isinstance(record, dict) and isinstance(record.get("n"), int) else None


def packet_record(number: int, packet: Packet) -> dict[str, Any]:
    """Return the record of a packet."""
    payload = packet.payload
    if isinstance(payload, dict):
        return {"n": number, "received": packet.received, "payload": plain(payload)}
    if isinstance(payload, str):
        return {"n": number, "received": packet.received, "text": payload}
    return {"n": number, "received": packet.received, "bytes": base64.b64encode(payload).decode("ascii")}


def payload_of(record: dict[str, Any]) -> dict[str, Any] | str | bytes | None:
    """Return what the packet of a record was, as it came from the source; None for a record of something else."""
    if "payload" in record:
        return record["payload"]
    if "text" in record:
        return record["text"]
    try:
        return base64.b64decode(record["bytes"], validate=True) if "bytes" in record else None
    except (binascii.Error, ValueError, TypeError):
        return None


def scan(path: Path) -> Iterator[Placed | Damage]:
    """Yield the intact records of a file in their order, and the stretches between them that are damaged; a line is all that is held in memory."""
    with path.open("rb") as file:
        yield from scanned(file)


def scanned(file: BinaryIO) -> Iterator[Placed | Damage]:
    """Yield what `scan` does of a file that is open."""
    place, last = 0, -1
    bad = -1  # where the damage at hand began; -1: none
    while line := file.readline(LONGEST_LINE):
        record = record_of(line)
        if record is None or record["n"] <= last:
            bad = place if bad < 0 else bad
        else:
            missing = record["n"] - last - 1
            if bad >= 0 or missing:
                yield Damage(bad if bad >= 0 else place, place - bad if bad >= 0 else 0, missing, tail=False)
            bad, last = -1, record["n"]
            yield Placed(record, place + len(line))
        place += len(line)
    if bad >= 0:
        yield Damage(bad, place - bad, -1, tail=True)
