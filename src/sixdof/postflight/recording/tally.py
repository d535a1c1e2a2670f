"""A running count of packets as they come, for a line that says how things stand."""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Mapping
from typing import Any

from sixdof.postflight.recording.clocks import JUMP
from sixdof.postflight.recording.packet import Packet, receiver_clock

REMEMBERED = 2000  # packet numbers that are known as having come


class Tally:
    """What has come so far, in bounded memory: `take` each packet, `line` says it. The page of a recording counts exactly; this is the count at a glance."""

    def __init__(self) -> None:
        self.packets, self.lost, self.heard = 0, 0, math.nan
        self.latest: dict[str, tuple[float, Any]] = {}
        self._highest, self._sent = -1, -math.inf
        self._known: deque[int] = deque(maxlen=REMEMBERED)

    def take(self, packet: Packet, values: Mapping[str, Any] | None = None) -> None:
        """Count a packet. values : what it measured, where its payload is raw."""
        self.packets, self.heard = self.packets + 1, packet.received
        if math.isfinite(packet.sequence):
            self._number(int(packet.sequence), packet.sent)
        if not packet.sent < self._sent - JUMP or packet.sent != packet.sent:
            for name, value in (packet.values if values is None else values).items():
                self.latest[name] = (packet.received, value)
        self._sent = packet.sent if math.isfinite(packet.sent) else self._sent

    def _number(self, number: int, sent: float) -> None:
        anew = sent < self._sent - JUMP or number < self._highest - REMEMBERED  # the sender began anew, or its counter did
        if anew or self._highest < 0:
            self._known.clear()
        elif number > self._highest:
            self.lost += number - self._highest - 1
        elif number not in self._known:
            self.lost -= 1  # it was only late
        self._highest = number if anew else max(number, self._highest)
        self._known.append(number)

    def line(self, dropped: int = 0, now: float | None = None) -> str:
        """Return how things stand: counts, height, place, motion, age."""
        now = receiver_clock() if now is None else now
        if not self.packets:
            return "no packet yet" + (f", {dropped} dropped" if dropped else "")
        expected = self.packets + self.lost
        parts = [f"{self.packets} packets", f"{self.lost} lost ({100.0 * self.lost / max(expected, 1):.0f} %)"]
        parts += [f"{dropped} dropped"] if dropped else []
        height, east, north = (self._number_of(name) for name in ("height", "east", "north"))
        if math.isfinite(height):
            parts.append(f"height {height:.0f} m")
        if math.isfinite(east) and math.isfinite(north):
            parts.append(f"{math.hypot(east, north):.0f} m at {math.degrees(math.atan2(east, north)) % 360.0:.0f} deg")
        velocity = self.latest.get("velocity", (0.0, None))[1]
        if isinstance(velocity, list) and len(velocity) == 3 and math.isfinite(velocity[2]):
            parts.append(f"{velocity[2]:+.0f} m/s")
        return f"{', '.join(parts)}; last {max(now - self.heard, 0.0):.1f} s ago"

    def _number_of(self, name: str) -> float:
        value = self.latest.get(name, (0.0, math.nan))[1]
        return float(value) if isinstance(value, (int, float)) else math.nan
