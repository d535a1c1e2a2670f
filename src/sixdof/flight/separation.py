"""How a body becomes two: momentum and energy across a joint, the tilt of a joint, the gap afterwards."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.core import types as ct
from sixdof.core.body import mass_now
from sixdof.core.columns import FinColumn, GrainColumn, Handover, PanelColumn
from sixdof.core.layout import NOT_IGNITED
from sixdof.vehicle.solids import Lump

JUST_OPEN = 0.002  # m: clearance beyond which two bodies count as apart
TOUCH = -0.001  # m: clearance below which they run into each other


# ---------------------------------------------------------------- the tilt of a joint


class Bend(NamedTuple):
    """How a stage of a stack is turned against the front one, by the small tilts of the joints between.

    turn_y, turn_z : sums of the tilts about body y and z, rad. moment_y, moment_z : sums of tilt times the joint's station, m.
    A point at station x is moved by dy = -(turn_z x - moment_z), dz = turn_y x - moment_y.
    """

    turn_y: float
    turn_z: float
    moment_y: float
    moment_z: float

    def shift(self, x: float) -> tuple[float, float]:
        """Return how far a point at station x is moved along body y and z, m."""
        return -(self.turn_z * x - self.moment_z), self.turn_y * x - self.moment_y


def turning(turn_y: float, turn_z: float) -> np.ndarray:
    """Return the matrix (3, 3) from axes turned by the vector (0, turn_y, turn_z) to those they were turned from."""
    angle = math.hypot(turn_y, turn_z)
    if angle == 0.0:
        return np.eye(3)
    u = np.array([0.0, turn_y, turn_z]) / angle
    k = np.array([[0.0, -u[2], u[1]], [u[2], 0.0, -u[0]], [-u[1], u[0], 0.0]])
    return np.eye(3) + math.sin(angle) * k + (1.0 - math.cos(angle)) * (k @ k)


def bent_lump(lump: Lump, bend: Bend) -> Lump:
    """Return a lump of a tilted stage: moved and turned."""
    y, z = bend.shift(lump.place[0])
    turn = turning(bend.turn_y, bend.turn_z)
    return Lump(lump.mass, lump.place + np.array([0.0, y, z]), turn @ lump.inertia @ turn.T)


def bent_model(model: ct.Model, bend: Bend) -> tuple[ct.Model, dict[str, float]]:
    """Return a stack's model with its last stage tilted, and what that adds to the thrust line's draw.

    Its fins get the tilt as cant, its grains and its nozzle are moved; the normal force of its tilted body is omitted (fins
    make most of it).
    """
    if bend == (0.0, 0.0, 0.0, 0.0):
        return model, {}
    grain = model.mass.grain.copy()
    for row in grain:
        y, z = bend.shift(row[GrainColumn.X])
        row[GrainColumn.Y] += y
        row[GrainColumn.Z] += z
    start = bend.moment_y / bend.turn_y if bend.turn_y else bend.moment_z / bend.turn_z
    panel = model.aero.panel.copy()
    for row in panel:
        if model.aero.fin[0, int(row[PanelColumn.SET]), FinColumn.X] > start:
            # positive deflection turns the leading edge towards the normal (0, -cos, -sin)
            row[PanelColumn.CANT] += row[PanelColumn.SIN] * bend.turn_y - row[PanelColumn.COS] * bend.turn_z
    y, z = bend.shift(model.thrust.exit_x)
    model = model._replace(mass=model.mass._replace(grain=grain), aero=model.aero._replace(panel=panel))
    return model, {"tilt_y": bend.turn_y, "tilt_z": bend.turn_z, "offset_y": y, "offset_z": z}


# ---------------------------------------------------------------- separation


class Halves(NamedTuple):
    """The two bodies after a separation: what each segment is handed (layout.H_*), and their relative speed along the axis, m/s."""

    fore: np.ndarray
    aft: np.ndarray
    speed: float


def divide(hand: np.ndarray, stack, fore, aft, impulse: float, turn) -> Halves:
    """Return the two bodies that a stack becomes.

    hand : what the stack's segment left (layout.H_*). stack, fore, aft : (Model, Draw) each. impulse : between the two, along the stack's axis, N s.
    turn : tilt of the aft body's axes about body y and z, rad.

    Each body keeps the velocity its own centre had in the stack, v + w x d, and its rate; the impulse acts on both alike, along
    the stack's axis, and turns a body whose centre lies off it. So linear and angular momentum stand, and the kinetic energy
    grows by the impulse's work alone.
    """
    t, lit = hand[Handover.TIME], hand[Handover.IGNITED]
    _, *cg = mass_now(*stack, t, lit)[:4]
    m_fore, *of_fore = mass_now(*fore, t, NOT_IGNITED)
    m_aft, *of_aft = mass_now(*aft, t, lit)
    d_fore = np.array([cg[0] - of_fore[0], of_fore[1] - cg[1], of_fore[2] - cg[2]])
    d_aft = -m_fore / m_aft * d_fore  # the common centre stays where it is
    q, w = hand[Handover.ATTITUDE : Handover.ATTITUDE + 4], hand[Handover.RATE : Handover.RATE + 3]
    turned, bent = matrix(q), turning(*turn)
    rate = w - turned.T @ np.array(stack[0].world.earth_rate)
    inverse_aft = bent @ _symmetric(of_aft[3:]) @ bent.T
    halves = []
    for d, mass, inverse, push in ((d_fore, m_fore, _symmetric(of_fore[3:]), impulse), (d_aft, m_aft, inverse_aft, -impulse)):
        mine = hand.copy()
        mine[Handover.POSITION : Handover.POSITION + 3] += turned @ d
        mine[Handover.VELOCITY : Handover.VELOCITY + 3] += turned @ (np.cross(rate, d) + np.array([push / mass, 0.0, 0.0]))
        off_axis = np.array([0.0, cg[1] + d[1], cg[2] + d[2]])
        mine[Handover.RATE : Handover.RATE + 3] += inverse @ np.cross(-off_axis, np.array([push, 0.0, 0.0]))
        halves.append(mine)
    halves[0][Handover.IGNITED] = NOT_IGNITED
    halves[1][Handover.ATTITUDE : Handover.ATTITUDE + 4] = _times(q, turn)
    halves[1][Handover.RATE : Handover.RATE + 3] = bent.T @ halves[1][Handover.RATE : Handover.RATE + 3]
    apart = turned.T @ (halves[0][Handover.VELOCITY : Handover.VELOCITY + 3] - halves[1][Handover.VELOCITY : Handover.VELOCITY + 3])
    return Halves(*halves, float(apart[0]))


def _symmetric(elements) -> np.ndarray:
    xx, yy, zz, xy, xz, yz = elements
    return np.array([[xx, xy, xz], [xy, yy, yz], [xz, yz, zz]])


def matrix(q: np.ndarray) -> np.ndarray:
    """Return the matrix body -> world of a unit quaternion, scalar first."""
    w, x, y, z = q
    return np.array(
        [
            [1.0 - 2.0 * (y * y + z * z), 2.0 * (x * y - w * z), 2.0 * (x * z + w * y)],
            [2.0 * (x * y + w * z), 1.0 - 2.0 * (x * x + z * z), 2.0 * (y * z - w * x)],
            [2.0 * (x * z - w * y), 2.0 * (y * z + w * x), 1.0 - 2.0 * (x * x + y * y)],
        ]
    )


def _times(q: np.ndarray, turn) -> np.ndarray:
    """Return the quaternion q followed by the turn about (0, turn_y, turn_z) in its own axes."""
    angle = math.hypot(*turn)
    if angle == 0.0:
        return q.copy()
    c, s = math.cos(0.5 * angle), math.sin(0.5 * angle) / angle
    w, x, y, z = q
    b, d = s * turn[0], s * turn[1]
    return np.array([w * c - y * b - z * d, x * c + y * d - z * b, y * c + w * b - x * d, z * c + w * d + x * b])


# ---------------------------------------------------------------- the gap afterwards


class Gap(NamedTuple):
    """How two separated bodies drew apart.

    rows : (n, 3) time, distance from the fore body's base to the aft body's fore end along the fore body's axis, clearance (m).
    least : smallest clearance after the bodies were first apart, NaN if they never were. recontact : 1 if they met again.
    """

    rows: np.ndarray
    least: float
    recontact: float


def gap_history(ahead: np.ndarray, behind: np.ndarray, reach: float) -> Gap:
    """Return the gap from the traces of two bodies over the same ticks (time, nose, base; core.flight.tick).

    reach : sum of their radii. The clearance is positive if the aft body lies behind the plane of the fore body's base, or if
    their axes are further apart than their radii; fins are omitted.
    """
    both = np.isfinite(ahead[:, 0]) & np.isfinite(behind[:, 0])
    a, b = ahead[both], behind[both]
    if not len(a):
        return Gap(np.zeros((0, 3)), math.nan, 0.0)
    axis = a[:, 1:4] - a[:, 4:7]
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    gap = np.sum((a[:, 4:7] - b[:, 1:4]) * axis, axis=1)
    tail = np.sum((a[:, 4:7] - b[:, 4:7]) * axis, axis=1)
    aside = segment_distance(a[:, 1:4], a[:, 4:7], b[:, 1:4], b[:, 4:7]) - reach
    clearance = np.maximum(np.minimum(gap, tail), aside)
    opened = np.flatnonzero(clearance > JUST_OPEN)
    after = clearance[opened[0] :] if len(opened) else np.zeros(0)
    met = (after <= 0.0).any() or (clearance < TOUCH).any()
    return Gap(np.column_stack([a[:, 0], gap, clearance]), float(after.min()) if len(after) else math.nan, float(met))


def segment_distance(p0, p1, q0, q1) -> np.ndarray:
    """Return the shortest distance between segments p0-p1 and q0-q1, arrays (n, 3) each.

    The nearest points of the two lines, clamped to the segments one after the other (Ericson, Real-Time Collision Detection,
    2005, section 5.1.9).
    """
    d, e, r = p1 - p0, q1 - q0, p0 - q0
    a, c, f = (np.sum(x * y, axis=1) for x, y in ((d, d), (e, e), (e, r)))
    b, g = np.sum(d * e, axis=1), np.sum(d * r, axis=1)
    across = a * c - b * b
    s = np.clip(np.divide(b * f - g * c, across, out=np.zeros_like(a), where=across > 1e-12 * a * c), 0.0, 1.0)
    t = (b * s + f) / c
    s = np.where(t < 0.0, np.clip(-g / a, 0.0, 1.0), np.where(t > 1.0, np.clip((b - g) / a, 0.0, 1.0), s))
    t = np.clip(t, 0.0, 1.0)
    return np.linalg.norm(r + s[:, None] * d - t[:, None] * e, axis=1)
