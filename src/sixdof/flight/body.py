"""One body on its way, and what passes on from it to the bodies it divides into."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from sixdof.core import layout as ly
from sixdof.core import types as ct
from sixdof.core.columns import CanopyColumn, Handover
from sixdof.core.constants import INSTANT
from sixdof.core.draw import Draw
from sixdof.core.leg.work import Work
from sixdof.results.status import UNREACHED

AHEAD, BEHIND = "ahead", "behind"  # sides of a joint
_OF_FINS = ("fin_command", "issued", "targets", "fins", "motors", "health", "hinge")  # last axis: control fins, front stage first
_OWN = ("laws", "guidance_gains", "gains", "memory", "air", "seen", "trace", "handover", "trial")


@dataclass
class FlyingBody:
    """One body on its way: which stages it has, its scratch arrays, its model where that is not the stages' own."""

    index: int
    first: int
    last: int
    work: Work
    events: np.ndarray
    summary: np.ndarray
    model: ct.Model | None = None
    draw: Draw | None = None
    since: tuple[int, str] | None = None  # the joint whose separation began the present segment, and the side of it
    log: list[np.ndarray] = field(default_factory=list)
    status: int = UNREACHED
    whole: bool = True  # no harness of it has failed


def is_stretched(work: Work, canopy: int) -> bool:
    """Return whether a canopy pulls at the end of a segment: it has been released and its lines are stretched."""
    released = work.deployed[canopy]
    return released >= 0.0 and released + work.canopy[canopy, CanopyColumn.WAIT] <= work.handover[Handover.TIME] + INSTANT


def pass_on(source: Work, target: Work) -> None:
    """Copy what a flight computer and its servos know from one body to another; fins that are not there are omitted."""
    for name, values in source._asdict().items():
        mine = getattr(target, name)
        if name in _OF_FINS:
            kept = min(values.shape[-1], mine.shape[-1])
            mine[..., :kept] = values[..., :kept]
        elif name not in _OWN:
            mine[...] = values
    if source.memory.shape == target.memory.shape:
        target.memory[:] = source.memory


def copy_of(work: Work) -> Work:
    """Return a copy of a body's scratch arrays."""
    return Work(*(values.copy() for values in work))


def wide_log(rows: np.ndarray, fins: int) -> np.ndarray:
    """Return rows of a body's log with places for `fins` control fins, NaN for those the body does not have."""
    readings = len(ly.SENSED)
    own = (rows.shape[1] - ly.LOG_COLUMNS - readings) // 3
    wide = np.full((len(rows), ly.LOG_COLUMNS + 3 * fins + readings), np.nan)
    wide[:, : ly.LOG_COLUMNS] = rows[:, : ly.LOG_COLUMNS]
    for k in range(3):
        first = ly.LOG_COLUMNS + k * fins
        wide[:, first : first + own] = rows[:, ly.LOG_COLUMNS + k * own : ly.LOG_COLUMNS + (k + 1) * own]
    wide[:, ly.LOG_COLUMNS + 3 * fins :] = rows[:, ly.LOG_COLUMNS + 3 * own :]
    return wide
