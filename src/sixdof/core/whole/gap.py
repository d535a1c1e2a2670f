"""How two separated bodies draw apart: the gap along the axis, and the least clearance."""

from __future__ import annotations

from math import isfinite, nan, sqrt

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import dot, norm, scale, sub, vector_at
from sixdof.core.columns import Column, TraceColumn, width
from sixdof.core.types import Vec3

JUST_OPEN = 0.002  # m: clearance beyond which two bodies count as apart
TOUCH = -0.001  # m: clearance below which they run into each other
PARALLEL = 1e-12  # squared sine of the angle between two axes below which they count as parallel


class GapColumn(Column):
    """How the gap of a joint goes."""

    TIME = "s"
    GAP = "m", "from the fore body's base to the aft body's fore end along the fore body's axis"
    CLEARANCE = "m"


GAP_COLUMNS = width(GapColumn)


@helper
def _share(x: float) -> float:
    return min(max(x, 0.0), 1.0)


@kernel
def segment_distance(p0: Vec3, p1: Vec3, q0: Vec3, q1: Vec3) -> float:
    """Return the shortest distance between the segments p0-p1 and q0-q1, m.

    The nearest points of the two lines, clamped to the segments one after the other (Ericson, Real-Time Collision Detection,
    2005, section 5.1.9).
    """
    d, e, r = sub(p1, p0), sub(q1, q0), sub(p0, q0)
    a, c, f, b, g = dot(d, d), dot(e, e), dot(e, r), dot(d, e), dot(d, r)
    across = a * c - b * b
    s = _share((b * f - g * c) / across) if across > PARALLEL * a * c else 0.0
    t = (b * s + f) / c
    if t < 0.0:
        s = _share(-g / a)
    elif t > 1.0:
        s = _share((b - g) / a)
    t = _share(t)
    return norm(Vec3(r.x + s * d.x - t * e.x, r.y + s * d.y - t * e.y, r.z + s * d.z - t * e.z))


@kernel
def gap_history(ahead: np.ndarray, behind: np.ndarray, reach: float, out: np.ndarray) -> tuple[int, float, float]:
    """Fill `out` (n, GAP_COLUMNS) from the traces of two bodies over the same ticks; return rows, least clearance (m), and 1 if they met again.

    reach : sum of their radii. The clearance is positive if the aft body lies behind the plane of the fore body's base, or if
    their axes are further apart than their radii; fins are omitted. The least one counts from when they were first apart, NaN if they never
    were.
    """
    rows, opened, least, met = 0, False, nan, 0.0
    for i in range(min(ahead.shape[0], behind.shape[0])):
        if not (isfinite(ahead[i, TraceColumn.TIME]) and isfinite(behind[i, TraceColumn.TIME])):
            continue
        nose, base = vector_at(ahead[i], TraceColumn.NOSE), vector_at(ahead[i], TraceColumn.BASE)
        fore_end, aft_end = vector_at(behind[i], TraceColumn.NOSE), vector_at(behind[i], TraceColumn.BASE)
        axis = sub(nose, base)
        axis = scale(axis, 1.0 / sqrt(dot(axis, axis)))
        gap, tail = dot(sub(base, fore_end), axis), dot(sub(base, aft_end), axis)
        clearance = max(min(gap, tail), segment_distance(nose, base, fore_end, aft_end) - reach)
        out[rows, GapColumn.TIME], out[rows, GapColumn.GAP], out[rows, GapColumn.CLEARANCE] = ahead[i, TraceColumn.TIME], gap, clearance
        rows += 1
        opened = opened or clearance > JUST_OPEN
        if opened:
            least = clearance if not isfinite(least) else min(least, clearance)
        if clearance < TOUCH or (opened and clearance <= 0.0):
            met = 1.0
    return rows, least, met
