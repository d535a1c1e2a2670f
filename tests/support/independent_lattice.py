"""A vortex lattice of sets of fins on an endless cylinder, apart from the library: incompressible, linear, straight
wakes.

Horseshoes at the quarter chord of each cell, no flow through its three-quarter point. Each has its image in the
cylinder between the inverse points (exact for the trailing legs, C. E. Lan and others' common practice for the bound
part). Checked against closed forms in tests/validation/test_shed_vortices.py before it is used.
"""

from __future__ import annotations

import numpy as np


class Fins:
    """One set: count panels, first at `phase` from z clockwise seen from behind; a trapezoid on a cylinder of radius
    r.
    """

    def __init__(self, x, root, tip, span, sweep, r, count=4, phase=0.0, rows=10, columns=4, edges=None):
        self.r, self.count = r, count
        self.angle = phase + 2.0 * np.pi * np.arange(count) / count
        edge = r + span * 0.5 * (1.0 - np.cos(np.pi * np.arange(rows + 1) / rows))  # fine at both ends
        edge = edge if edges is None else np.asarray(edges)
        y0, y1 = np.repeat(edge[:-1], columns), np.repeat(edge[1:], columns)
        k = np.tile(np.arange(columns), len(edge) - 1)
        ym = 0.5 * (y0 + y1)
        self.edges = edge

        def at(y, share):
            out = (y - r) / span
            return x + sweep * out + (root + (tip - root) * out) * share

        self.cells = len(y0)
        self.bound = (at(y0, (k + 0.25) / columns), y0, at(y1, (k + 0.25) / columns), y1)
        self.control = (at(ym, (k + 0.75) / columns), ym)
        self.width, self.arm, self.at = y1 - y0, 0.5 * (y0 + y1), 0.5 * (self.bound[0] + self.bound[2])


def _place(x, y, angle):
    """Return points (.., 3) at distance y from the axis in the plane of a panel; x runs AFT here."""
    return np.stack(np.broadcast_arrays(x, -y * np.sin(angle), y * np.cos(angle)), -1)


def _leg(p, a):
    """Return the velocity at p of unit vortices from a aft to infinity (turning about +x aft)."""
    d = p - a
    h2 = d[..., 1] ** 2 + d[..., 2] ** 2
    far = (1.0 + d[..., 0] / np.sqrt((d**2).sum(-1))) / (4.0 * np.pi * np.maximum(h2, 1e-18))
    return np.stack([0.0 * h2, -d[..., 2] * far, d[..., 1] * far], -1)


def _segment(p, a, b):
    """Return the velocity at p of unit vortices from a to b."""
    u, v = p - a, p - b
    c = np.cross(u, v)
    k = np.linalg.norm(u, axis=-1), np.linalg.norm(v, axis=-1)
    share = ((b - a) * (u / k[0][..., None] - v / k[1][..., None])).sum(-1)
    return c * (share / (4.0 * np.pi * np.maximum((c**2).sum(-1), 1e-18)))[..., None]


def _horseshoe(p, x0, y0, x1, y1, angle):
    a, b = _place(x0, y0, angle), _place(x1, y1, angle)
    return _segment(p, a, b) + _leg(p, b) - _leg(p, a)


def wash(receiver: Fins, source: Fins) -> np.ndarray:
    """Return the velocities (receiver panels, cells, source panels, cells) along the receivers' normals of unit
    horseshoes.
    """
    out = np.empty((receiver.count, receiver.cells, source.count, source.cells))
    x0, y0, x1, y1 = source.bound
    inner = x1, source.r**2 / y1, x0, source.r**2 / y0
    for i, at in enumerate(receiver.angle):
        p = _place(*receiver.control, at)[:, None, :]
        normal = np.array([0.0, -np.cos(at), -np.sin(at)])
        for j, angle in enumerate(source.angle):
            both = _horseshoe(p, *source.bound, angle) + _horseshoe(p, *inner, angle)
            out[i, :, j, :] = both @ normal
    return out


def solve(sets: list[Fins], slope: list[np.ndarray]) -> list[np.ndarray]:
    """Return the circulations (panels, cells) of unit-speed flow; slope: per set the normal flow to be cancelled,
    (panels, cells).
    """
    size = [s.count * s.cells for s in sets]
    rows = [[wash(a, b).reshape(n, m) for b, m in zip(sets, size)] for a, n in zip(sets, size)]
    found = np.linalg.solve(np.block(rows), -np.concatenate([np.broadcast_to(s, (f.count, f.cells)).ravel() for f, s in zip(sets, slope)]))
    parts = np.split(found, np.cumsum(size)[:-1])
    return [part.reshape(f.count, f.cells) for f, part in zip(sets, parts)]


def force(fins: Fins, circulation) -> np.ndarray:
    """Return every panel's load over dynamic pressure, m^2 (panels,), along its normal."""
    return 2.0 * circulation @ fins.width


def roll(fins: Fins, circulation) -> float:
    """Return the rolling moment of the panels over dynamic pressure, m^3."""
    return float((2.0 * circulation @ (fins.width * fins.arm)).sum())
