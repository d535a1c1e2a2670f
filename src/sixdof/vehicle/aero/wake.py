"""Vortices that a set of fins sheds onto a set behind it: the pairs of sets, and what one vortex does to one panel.

Each panel sheds one rolled-up vortex; its strength, path and image are computed in flight (core/forces/aerodynamics.py).
Left out: the roll-up's own length, the mutual motion of the vortices, the load they put on the body between the sets,
the delay of the wake, and the vortices of bodies at high incidence.
"""

from __future__ import annotations

import numpy as np

from sixdof.core.columns import WAKE_COLUMNS, WakeColumn
from sixdof.vehicle.aero.fin import roll_arm
from sixdof.vehicle.aero.roll import roll_factors
from sixdof.vehicle.geometry import FinSet, Shape

LATERAL_SHARE = np.pi / 4.0  # of the exposed span: slender planar panel (NACA Report 1307, from memory; +-0.03)
CORE_SHARE = 0.05  # core radius of the rolled-up vortex over the exposed span of its panel (common practice)
REACH = 3.0  # half side of the table over the receiver's tip radius; the influence fades to zero over the last sixth
CELLS = 48  # from the middle of the table to its rim
QUADRATURE = 64


def wake_tables(shape: Shape) -> tuple[np.ndarray, np.ndarray]:
    """Return (wake_pair (pairs, WAKE_COLUMNS), wake (pairs, 2, 2 CELLS + 1, 2 CELLS + 1)) of every set with a set
    behind it.
    """
    first, rows, tables = {}, [], []
    for number in front_to_back(shape):
        first[number] = sum(shape.fins[i].part.count for i in first)
    for i, source in enumerate(shape.fins):
        for j, receiver in enumerate(shape.fins):
            if source.x0 + source.root_chord <= receiver.x0:
                rows.append(_pair(source, first[i], receiver, j))
                tables.append(influence(receiver, core=CORE_SHARE * source.span))
    side = 2 * CELLS + 1
    return (
        np.ascontiguousarray(np.array(rows, dtype=float).reshape(-1, WAKE_COLUMNS)),
        np.ascontiguousarray(np.array(tables, dtype=float).reshape(-1, 2, side, side)),
    )


def front_to_back(shape: Shape) -> list[int]:
    """Return the numbers of the sets in the order in which the air meets them: what one sheds must be known before the next feels it."""
    return sorted(range(len(shape.fins)), key=lambda number: shape.fins[number].x0)


def _pair(source: FinSet, first: int, receiver: FinSet, number: int) -> np.ndarray:
    out = LATERAL_SHARE * source.span
    chord, edge = (float(np.atleast_1d(f(out))[0]) for f in (source.chord, source.leading_edge))
    trailing = source.x0 + edge + chord
    hinge = source.x0 + source.part.hinge if source.part.control and source.part.hinge is not None else trailing
    row = np.empty(WAKE_COLUMNS)
    row[WakeColumn.FIRST], row[WakeColumn.COUNT], row[WakeColumn.RECEIVER] = first, source.part.count, number
    row[WakeColumn.LATERAL], row[WakeColumn.BODY] = source.body_radius + out, source.body_radius
    row[WakeColumn.LENGTH] = max(receiver.x0 + receiver.x_mac_le + 0.25 * receiver.mac - trailing, 0.0)
    row[WakeColumn.LEVER] = trailing - hinge
    row[WakeColumn.PER_METRE] = CELLS / (REACH * tip_radius(receiver))
    return row


def tip_radius(fin: FinSet) -> float:
    """Return the distance of a panel's tip from the body axis, m."""
    return fin.body_radius + fin.span


def span_weights(fin: FinSet) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return distances y from the axis (k,), and what air moving along the normal there counts for force and roll (k,).

    Force: share of the panel's chord (strip theory). Roll: by the reverse-flow theorem (M. A. Heaslet and J. R.
    Spreiter, NACA Report 1119, 1953) the moment is the integral of the wash times the load that a steady roll makes,
    which goes with y sqrt(1 - (out/span)^2) (ours) and has the vortex lattice's moment at Mach 0 (`aero_roll`). Uniform
    wash has the weights' sum: 1 in force, less in roll.
    """
    r, tip = fin.body_radius, tip_radius(fin)
    node, weight = np.polynomial.legendre.leggauss(QUADRATURE)
    y = 0.5 * (tip + r) + 0.5 * (tip - r) * node
    chord = weight * fin.chord(y - r)
    elliptic = weight * np.sqrt(1.0 - ((y - r) / fin.span) ** 2)
    rolling = elliptic * y
    damping = float(roll_factors(np.zeros(1), fin)[0][0])
    return y, chord / chord.sum(), rolling * damping * roll_arm(fin) / (rolling * y).sum()


def influence(receiver: FinSet, *, core: float) -> np.ndarray:
    """Return two means (2, n, n) of the velocity along the receiver's normal for unit circulation (1/m), over the
    vortex's place.

    The first is the mean for the panel's force, the second for the rolling moment, by `span_weights`: the wash is
    uneven, and its rolling moment is not its force times the usual arm. Rows: the vortex's distance along the panel's
    span direction from the body axis, columns: along its normal, both from -REACH to REACH tip radii. A straight
    vortex along x, positive about x, and its image of opposite sense at the inverse point of the body's circle
    (Milne-Thomson's circle theorem without the vortex at the centre: the shed system of a panel has no net
    circulation). `core` (m) keeps the velocity finite.
    """
    r, tip = receiver.body_radius, tip_radius(receiver)
    y, *weights = span_weights(receiver)
    place = np.linspace(-REACH * tip, REACH * tip, 2 * CELLS + 1)
    s, h = place[:, None], place[None, :]
    d2 = s**2 + h**2
    inverse = r * r / np.maximum(d2, r * r)  # a vortex pressed into the body meets its image and is gone

    def mean(s, h):
        across = y[:, None, None] - s
        return np.tensordot(np.array(weights), across / (across**2 + h**2 + core**2), 1) / (2.0 * np.pi)

    outside = np.where(d2 >= r * r, 1.0, 0.0)
    rim = np.clip((REACH - np.maximum(abs(s), abs(h)) / tip) / (REACH / 6.0), 0.0, 1.0)
    return outside * rim**2 * (3.0 - 2.0 * rim) * (mean(s, h) - mean(s * inverse, h * inverse))
