"""What was lost, repeated or overtaken on the way, by packet numbers, and where there are none by the sender's clock."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

WRAPS = (2**8, 2**16, 2**32)  # at which counters of senders begin again from 0
NEAR = 16  # packets, within which the usual step of the clock is taken
SILENT = 5.0  # usual intervals without a packet that are a silence ...
SHORTEST = 0.5  # ... of this many seconds at least


class Loss(NamedTuple):
    """repeated, late : (packets,), whether a packet was there before, or came behind a later one. lost : packets; NaN where nothing numbers them.

    bursts : (n,) packets lost in a row. between : (n, 2) the packets, by their place, between whose numbers each burst was lost. by : "sequence", "clock", "".
    """

    repeated: np.ndarray
    late: np.ndarray
    lost: float
    bursts: np.ndarray
    between: np.ndarray
    by: str

    @property
    def expected(self) -> float:
        """Packets sent between the first and the last that came."""
        return self.lost + float((~self.repeated).sum())


def loss_of(sequence: np.ndarray, sent: np.ndarray, runs: np.ndarray) -> Loss:
    """Return what happened on the way to packets in the order in which they came, each run of the sender for itself."""
    by = "sequence" if np.isfinite(sequence).any() else "clock" if np.isfinite(sent).any() else ""
    repeated, late = np.zeros(sent.size, dtype=bool), np.zeros(sent.size, dtype=bool)
    bursts: list[int] = []
    between: list[tuple[int, int]] = []
    for run in np.unique(runs):
        rows = np.flatnonzero((runs == run) & np.isfinite(sequence if by == "sequence" else sent))
        if not by or not rows.size:
            continue
        number = unwrapped(sequence[rows], sent[rows]) if by == "sequence" else sent[rows]
        first = np.zeros(rows.size, dtype=bool)
        first[np.unique(number, return_index=True)[1]] = True
        highest = np.maximum.accumulate(number)
        repeated[rows] = ~first
        late[rows] = first & (number < highest)
        order = rows[first][np.argsort(number[first])]
        missing = _missing(np.sort(number[first]), by)
        bursts += missing[missing > 0].tolist()
        between += list(zip(order[:-1][missing > 0].tolist(), order[1:][missing > 0].tolist()))
    lost = float(sum(bursts)) if by else math.nan
    return Loss(repeated, late, lost, np.array(bursts, dtype=int), np.array(between, dtype=int).reshape(-1, 2), by)


def _missing(number: np.ndarray, by: str) -> np.ndarray:
    """Return how many packets are missing between each and the next; by the clock as many of its usual step as fit between."""
    step = np.diff(number)
    if by == "sequence" or not step.size:
        return np.maximum(step.astype(int) - 1, 0)
    return np.maximum(np.round(step / np.median(step)).astype(int) - 1, 0)


def unwrapped(sequence: np.ndarray, sent: np.ndarray) -> np.ndarray:
    """Return packet numbers of one run that go on where a counter of 8, 16 or 32 bits began again from 0, in the order in which packets came.

    A counter that fell by more than half its range has begun again. Where the sender's clock is known, whole rounds that a long silence hid are counted too.
    """
    if sequence.size < 2:
        return sequence.copy()
    wrap = next((one for one in WRAPS if sequence.max() < one), math.inf)
    fell = np.diff(sequence) < -0.5 * wrap
    if not fell.any():
        return sequence.copy()
    # nearest to the number before: what is overtaken goes back a little, what begins anew goes on
    steps = (np.diff(sequence) + 0.5 * wrap) % wrap - 0.5 * wrap
    pause = np.diff(sent)
    near = (steps > 0.0) & (steps < NEAR) & (pause > 0.0)
    if near.any():
        usual = np.median(pause[near] / steps[near])
        rounds = np.round((np.nan_to_num(pause, nan=0.0) / usual - steps) / wrap)
        steps += np.where(np.isfinite(pause), wrap * np.maximum(rounds, 0.0), 0.0)
    return sequence[0] + np.concatenate([[0.0], np.cumsum(steps)])


def silences(received: np.ndarray) -> np.ndarray:
    """Return the packets, by their place in the order of reception, after which nothing came for longer than usual: SILENT usual intervals, and SHORTEST."""
    pause = np.diff(received)
    if not pause.size:
        return np.zeros(0, dtype=int)
    return np.flatnonzero(pause > max(SILENT * float(np.median(pause)), SHORTEST))
