"""What one packet holds, whatever it came from: a mapping of names to numbers, or raw text or bytes, with the time stamp of the end that received it."""

from __future__ import annotations

import json
import math
import time
from collections.abc import Callable, Mapping
from typing import Any, NamedTuple

import numpy as np

from sixdof.mission.units import shown

FORMS = ("names", "text", "bytes")
SENT, SEQUENCE = "time", "sequence"  # names in a packet of the sender's clock, s, and of its packet number
MOST_NAMES, MOST_VALUES, LONGEST_TEXT = 200, 64, 200  # of one packet
LATEST, LARGEST_TIME = 1e11, 1e12  # s: of a receiver's clock since 1970, of a sender's
_EXAMPLE = '{"time": 12.3, "sequence": 41, "height": 215.0, "velocity": [4.1, -0.3, 62.0]}'


class Packet(NamedTuple):
    """One packet. received : receiver's clock, s since 1970-01-01 UTC. payload : what was sent, names -> numbers, or raw text or bytes."""

    received: float
    payload: dict[str, Any] | str | bytes

    @property
    def sent(self) -> float:
        """The sender's clock as it sent the packet, s; NaN where the packet does not say."""
        return float(self.payload.get(SENT, math.nan)) if isinstance(self.payload, dict) else math.nan

    @property
    def sequence(self) -> float:
        """The sender's number of the packet; NaN where the packet does not say."""
        return float(self.payload.get(SEQUENCE, math.nan)) if isinstance(self.payload, dict) else math.nan

    @property
    def values(self) -> dict[str, Any]:
        """What was measured: the payload without clock and number; empty for raw text and bytes."""
        return {name: value for name, value in self.payload.items() if name not in (SENT, SEQUENCE)} if isinstance(self.payload, dict) else {}


class Malformed(ValueError):
    """What a packet cannot be, in one sentence."""


def receiver_clock() -> float:
    """Return the receiver's clock, s since 1970-01-01 UTC: the wall clock as this process began and what has passed since, so that no step of it is seen."""
    return _WALL + _passed()


# since the machine started, sleep included where the system has such a clock
_passed: Callable[[], float] = (lambda: time.clock_gettime(time.CLOCK_BOOTTIME)) if hasattr(time, "CLOCK_BOOTTIME") else time.monotonic
_WALL = time.time() - _passed()


def packet_of(what: Any, received: float | None = None, form: str = "names") -> Packet:
    """Return a packet: the one way in, for what comes from a socket, a file, a recording, a simulation or a caller.

    what : a Packet (as it is, with its own time stamp), a mapping of names to numbers, or text or bytes: of form "names" a JSON object (RFC 8259),
    of form "text" or "bytes" anything, kept as it came. received : receiver's clock, s since 1970-01-01 UTC; None: now.

    Raises Malformed, a ValueError, for what cannot be a packet.
    """
    if isinstance(what, Packet):
        return what
    stamp = receiver_clock() if received is None else received
    if isinstance(stamp, bool) or not isinstance(stamp, (int, float)) or not 0.0 <= stamp <= LATEST:
        raise Malformed(f"received = {shown(received)} must be a number of seconds since 1970-01-01 UTC")
    if isinstance(what, Mapping):
        return Packet(float(stamp), checked(what))
    if not isinstance(what, (str, bytes, bytearray)):
        raise Malformed(f"a packet is a mapping of names to numbers, text or bytes, not {shown(what)}")
    if form == "bytes":
        return Packet(float(stamp), what.encode("utf-8", "surrogatepass") if isinstance(what, str) else bytes(what))
    text = what if isinstance(what, str) else _text(bytes(what))
    return Packet(float(stamp), text if form == "text" else checked(_object(text)))


def _text(data: bytes) -> str:
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        raise Malformed("it is not UTF-8 text") from None


def _object(text: str) -> Mapping[str, Any]:
    try:
        found = json.loads(text)
    except (ValueError, RecursionError):
        raise Malformed(f"it is not JSON; a packet is, for example, {_EXAMPLE}") from None
    if not isinstance(found, dict):
        raise Malformed(f"it is not a JSON object; a packet is, for example, {_EXAMPLE}")
    return found


def checked(payload: Mapping[str, Any]) -> dict[str, Any]:
    """Return a mapping of names to numbers as plain Python: numbers, lists of numbers, short text, NaN where nothing was measured. Raises Malformed."""
    if not 1 <= len(payload) <= MOST_NAMES:
        raise Malformed(f"it holds {len(payload)} names; a packet has 1 to {MOST_NAMES}")
    found = {}
    for name, value in payload.items():
        if not isinstance(name, str) or not 1 <= len(name) <= LONGEST_TEXT:
            raise Malformed(f"{shown(name)} is no name")
        found[name] = _value(name, value)
    if SENT in found and not (_finite(found[SENT]) and abs(found[SENT]) <= LARGEST_TIME):
        raise Malformed(f"{SENT} = {shown(found[SENT])} must be the sender's clock, a number of seconds")
    if SEQUENCE in found and not (_finite(found[SEQUENCE]) and float(found[SEQUENCE]).is_integer() and 0 <= found[SEQUENCE] < 2**53):
        raise Malformed(f"{SEQUENCE} = {shown(found[SEQUENCE])} must be the packet's number, a whole number from 0")
    return found


def _finite(value: Any) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value)


def _value(name: str, value: Any) -> Any:
    if isinstance(value, str):
        if len(value) > LONGEST_TEXT:
            raise Malformed(f"{name} is a text of {len(value)} characters; {LONGEST_TEXT} at most")
        return value
    if isinstance(value, (list, tuple, np.ndarray)) and np.ndim(value) > 0:
        if len(value) > MOST_VALUES:
            raise Malformed(f"{name} has {len(value)} numbers; {MOST_VALUES} at most")
        return [_number(name, one) for one in value]
    return _number(name, value)


def _number(name: str, value: Any) -> float | int | bool:
    if value is None:
        return math.nan
    value = value.item() if isinstance(value, np.generic) or (isinstance(value, np.ndarray) and value.ndim == 0) else value
    if not isinstance(value, (bool, int, float)) or (isinstance(value, int) and abs(value) >= 2**63) or (isinstance(value, float) and math.isinf(value)):
        raise Malformed(f"{name} = {shown(value)} is no number; write a finite one, or null where nothing was measured")
    return value


def plain(payload: dict[str, Any]) -> dict[str, Any]:
    """Return a payload as JSON can hold it: null for NaN."""
    return {name: [_or_null(one) for one in value] if isinstance(value, list) else _or_null(value) for name, value in payload.items()}


def _or_null(value: Any) -> Any:
    return None if isinstance(value, float) and math.isnan(value) else value


def datagram(packet: Packet) -> bytes:
    """Return the bytes that a sender would put on the air for a packet: of names to numbers a JSON object, of raw text and bytes what they are.

    Examples
    --------
    >>> sixdof.postflight.datagram(sixdof.postflight.Packet(1.8e9, {"time": 12.3, "sequence": 41, "height": 215.0}))
    b'{"time":12.3,"sequence":41,"height":215.0}'
    """
    payload = packet.payload
    if isinstance(payload, dict):
        return json.dumps(plain(payload), allow_nan=False, separators=(",", ":")).encode("ascii")
    return payload.encode("utf-8", "surrogatepass") if isinstance(payload, str) else payload
