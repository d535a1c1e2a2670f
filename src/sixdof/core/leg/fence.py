"""Numbers around the arrays of a custom law that nobody may write: whether one was written over."""

from __future__ import annotations

from sixdof._jit import kernel
from sixdof.core.computer.columns import Switch
from sixdof.core.leg.work import FENCE, UNTOUCHED, FenceColumn, Work


@kernel
def overran(work: Work) -> bool:
    """Return whether a law wrote outside its arrays in the leg just flown: noted in Work.switches for a report, and mended.

    FAILED then holds -1 less the number of the array in Work.fence_at, STATUS the index from that array's start.
    """
    found = False
    for number in range(work.fence_at.shape[0]):
        start, size = work.fence_at[number, FenceColumn.START], work.fence_at[number, FenceColumn.SIZE]
        for j in range(2 * FENCE):
            index = j - FENCE if j < FENCE else size + j - FENCE
            if work.fenced[start + index] != UNTOUCHED:
                if not found:
                    work.switches[Switch.FAILED], work.switches[Switch.STATUS] = float(-1 - number), float(index)
                found = True
                work.fenced[start + index] = UNTOUCHED
    return found
