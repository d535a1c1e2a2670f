"""Rolling moment of a set of fins on a round body at Mach 0 to 0.8: a vortex lattice of one panel.

In a roll all panels of a set do the same, so one panel's circulation is the unknown and the others repeat it at their
angles. Horseshoes at the quarter chord of every cell, no flow through its three-quarter point; each has its image in the
body between the inverse points (exact for the trailing legs; for the bound ones some 0.5 % of the moment,
tests/validation/test_roll.py). Spanwise cells crowd towards the tip and are controlled at the middle of that spacing
(C. E. Lan, J. Aircraft 11, 1974), so 8 by 3 cells are within 1 % of 20 by 6.
"""

from __future__ import annotations

import numpy as np

from sixdof.vehicle.geometry import strips

ROWS, COLUMNS = 8, 3
LEAST_CHORD = 1e-3  # of the root's: a pointed tip keeps its cells apart


def lattice_moments(count: int, radius: float, points: np.ndarray, stretch) -> np.ndarray:
    """Return the rolling moment of one of `count` panels over dynamic pressure (2, k): per rad of the same deflection of
    all of them (m^3), and per p/V of a roll rate p, against it (m^4).

    points : (m, 2) outline as in `geometry.FinSet`, m. radius : of the body, m. stretch : (k,) factors on the lengths along x, 1/beta in a flow
    of Mach sqrt(1 - beta^2) (Prandtl and Glauert; H. Goethert, 1940: circulations are those of the stretched wing).
    """
    along = np.asarray(stretch, dtype=float)[:, None, None]
    span = points[:, 1].max()
    edge, middle = (np.sin(0.5 * np.pi * (np.arange(n) + s) / ROWS) for n, s in ((ROWS + 1, 0.0), (ROWS, 0.5)))
    edge, middle = radius + span * edge, radius + span * middle
    cell = np.arange(COLUMNS)

    def station(y, share):
        lead, chord = strips(points, y - radius)
        return (lead + np.maximum(chord, LEAST_CHORD * points[-1, 0]) * (cell[:, None] + share) / COLUMNS).ravel()

    quarter = [station(edge[:-1], 0.25), station(edge[1:], 0.25)]
    inner, outer, control = (np.tile(y, COLUMNS) for y in (edge[:-1], edge[1:], middle))
    at = station(middle, 0.75)[:, None] * along, control[:, None]
    fore, aft = quarter[0] * along, quarter[1] * along
    flow = 0.0
    for turn in range(count // 2 + 1):  # panels to the left and to the right do the same to this one
        angle, times = 2.0 * np.pi * turn / count, 1.0 if turn in (0, count / 2) else 2.0
        own = _horseshoe(at, (fore, inner), (aft, outer), angle)
        flow = flow + times * (own + _horseshoe(at, (aft, radius**2 / outer), (fore, radius**2 / inner), angle))
    circulation = np.linalg.solve(flow, np.broadcast_to(-np.stack([np.ones_like(control), control], -1), (along.size, control.size, 2)))
    return 2.0 * np.einsum("i,kim->mk", (outer - inner) * 0.5 * (outer + inner), circulation)


def _horseshoe(at, a, b, angle):
    """Return the velocity along the panel's normal at its points `at` (x, y) of unit horseshoes in the plane at `angle`
    to it: from infinity to a, to b and back aft; a and b are (x, distance from the axis).
    """
    sine, cosine = np.sin(angle), np.cos(angle)
    (x1, y1, z1), (x2, y2, z2) = ((at[0] - x, at[1] - y * cosine, -y * sine) for x, y in (a, b))
    d1, d2 = np.sqrt(x1**2 + y1**2 + z1**2), np.sqrt(x2**2 + y2**2 + z2**2)
    bound = (x1 * y2 - y1 * x2) * (1.0 / d1 + 1.0 / d2) / (d1 * d2 + x1 * x2 + y1 * y2 + z1 * z2)
    return (bound + y2 / (d2 * (d2 - x2)) - y1 / (d1 * (d1 - x1))) / (4.0 * np.pi)
