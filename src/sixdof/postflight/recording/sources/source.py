"""What the live sources have in common: bounded packets at a bounded rate, a count of what was dropped with examples, time-outs, and a polite end."""

from __future__ import annotations

import math
import threading
import time
from abc import ABC, abstractmethod
from collections.abc import Iterator
from typing import Any

from sixdof.mission.units import shown
from sixdof.postflight.recording.packet import FORMS, Malformed, Packet, packet_of, receiver_clock

EXAMPLES, SHOWN = 5, 60  # malformed packets kept, and bytes of each
LOOK = 0.25  # s after which a source that hears nothing looks whether it is to stop


class Source(ABC):
    """An iterator of packets as they come. `received`, `dropped` (reason -> number) and `examples` say what came and what was not taken.

    It ends after `timeout` s without a packet, at `close`, or when `stop` is set; with `tick`, s, it gives None where nothing came for so long.
    """

    def __init__(self, who: str, form: str, most_bytes: int, most_rate: float, timeout: float | None, tick: float | None, stop: threading.Event | None):
        if form not in FORMS:
            raise ValueError(f"{who}: form = {shown(form)} must be one of {', '.join(FORMS)}")
        if isinstance(most_bytes, bool) or not isinstance(most_bytes, int) or not 1 <= most_bytes <= 65507:
            raise ValueError(f"{who}: most_bytes = {shown(most_bytes)} must be a whole number from 1 to 65507, what a datagram can hold")
        self.most_rate = positive(who, "most_rate", most_rate)
        self.timeout = math.inf if timeout is None else positive(who, "timeout", timeout)
        self.tick = None if tick is None else positive(who, "tick", tick)
        self.form, self.most_bytes, self._stop = form, most_bytes, stop or threading.Event()
        self._ends: tuple[threading.Event, ...] = (self._stop,)
        self.received, self.examples = 0, list[str]()
        self.dropped: dict[str, int] = {}
        self._allowed, self._filled = self.most_rate, time.monotonic()
        self._heard: float | None = None  # when the last packet came

    @abstractmethod
    def _take(self, wait: float) -> bytes | None:
        """Return what came next, or None if nothing did within `wait` s."""

    def close(self) -> None:
        """End it: the next packet asked for is not there any more."""
        self._stop.set()

    def ends_with(self, *events: threading.Event) -> None:
        """Let these events end it too."""
        self._ends += events

    def __iter__(self) -> Iterator[Packet | None]:
        return self

    def __next__(self) -> Packet | None:
        asked = time.monotonic()
        self._heard = asked if self._heard is None else self._heard
        while not any(one.is_set() for one in self._ends):
            now = time.monotonic()
            data = self._take(max(min(LOOK, self._heard + self.timeout - now, asked + (self.tick or math.inf) - now), 0.0))
            packet, now = self._admitted(data), time.monotonic()
            if packet is not None:
                self._heard = now
                return packet
            if data is None and now - self._heard >= self.timeout:  # not while something waits to be looked at
                break
            if self.tick is not None and now - asked >= self.tick:
                return None
        self.close()
        raise StopIteration

    def _admitted(self, data: bytes | None) -> Packet | None:
        """Return the packet, or None where there is none or it is dropped, which is counted."""
        if data is None:
            return None
        stamp = receiver_clock()
        if len(data) > self.most_bytes:
            self._drop("too long", data, f"it has more than {self.most_bytes} bytes")
        elif not self._in_time():
            self._drop("too fast", data, f"more than {self.most_rate:g} packets a second")
        else:
            try:
                packet = packet_of(data, stamp, self.form)
                self.received += 1
                return packet
            except Malformed as error:
                self._drop("malformed", data, str(error))
        return None

    def _in_time(self) -> bool:
        """Tell whether a packet is within the rate: a bucket of one second's packets, filled as fast as they may come."""
        now = time.monotonic()
        self._allowed, self._filled = min(self.most_rate, self._allowed + (now - self._filled) * self.most_rate), now
        if self._allowed < 1.0:
            return False
        self._allowed -= 1.0
        return True

    def _drop(self, reason: str, data: bytes, why: str) -> None:
        self.dropped[reason] = self.dropped.get(reason, 0) + 1
        if len(self.examples) < EXAMPLES and reason != "too fast":
            tail = " ..." if len(data) > SHOWN else ""
            self.examples.append(f'"{repr(data[:SHOWN])[2:-1]}{tail}": {why}')

    def __enter__(self) -> Source:
        return self

    def __exit__(self, *_) -> None:
        self.close()


def positive(who: str, name: str, value: Any) -> float:
    """Return a number above 0. Raises ValueError for anything else."""
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not value > 0.0:
        raise ValueError(f"{who}: {name} = {shown(value)} must be a number above 0")
    return float(value)
