"""Stacks, separations, harnesses and gaps written a second time, in numpy with whole matrices: lumps that are moved, turned and added up."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from masses import mass_now

from sixdof.core import types as ct
from sixdof.core.columns import GrainColumn, Handover
from sixdof.core.layout import NOT_IGNITED
from sixdof.core.whole import gap as kernel
from sixdof.core.whole.gap import GAP_COLUMNS, JUST_OPEN, TOUCH
from sixdof.draws.flight_draw import OF_JOINT, OF_STAGE, FlightDraw
from sixdof.flight.harness import cut_of
from sixdof.flight.plan import Plan
from sixdof.flight.separation import Halves
from sixdof.vehicle.mass import grain_rows, stage_lumps, table_of
from sixdof.vehicle.solids import Lump, combine

# ---------------------------------------------------------------- the tilt of a joint


class Bend(NamedTuple):
    """How a stage of a stack is turned against the front one: sums of the tilts (rad) and of tilt times the joint's station (m)."""

    turn_y: float
    turn_z: float
    moment_y: float
    moment_z: float

    def shift(self, x: float) -> tuple[float, float]:
        """Return how far a point at station x is moved along body y and z, m."""
        return -(self.turn_z * x - self.moment_z), self.turn_y * x - self.moment_y


def turning(turn_y: float, turn_z: float) -> np.ndarray:
    """Return the matrix (3, 3) from axes turned by the vector (0, turn_y, turn_z) to those they were turned from (Rodrigues' formula)."""
    angle = math.hypot(turn_y, turn_z)
    if angle == 0.0:
        return np.eye(3)
    u = np.array([0.0, turn_y, turn_z]) / angle
    k = np.array([[0.0, -u[2], u[1]], [u[2], 0.0, -u[0]], [-u[1], u[0], 0.0]])
    return np.eye(3) + math.sin(angle) * k + (1.0 - math.cos(angle)) * (k @ k)


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


def bends(plan: Plan, first: int, last: int, draw: FlightDraw) -> list[Bend]:
    """Return how each stage of a stack is turned and moved by the tilt of the joints ahead of it."""
    found, starts = [Bend(0.0, 0.0, 0.0, 0.0)], plan.shape(first, last).stage_x0
    for k in range(first + 1, last + 1):
        y, z = draw.joint[k, OF_JOINT.index("tilt_y")], draw.joint[k, OF_JOINT.index("tilt_z")]
        b, x = found[-1], starts[k - first]
        found.append(Bend(b.turn_y + y, b.turn_z + z, b.moment_y + y * x, b.moment_z + z * x))
    return found


def stack_mass(plan: Plan, first: int, last: int, draw: FlightDraw) -> ct.Mass:
    """Return the mass table of stages that fly together: every stage's dry mass drawn, then moved and turned with its joints."""
    stages, shape = range(first, last + 1), plan.shape(first, last)
    bend, lumps = bends(plan, first, last, draw), []
    for k, own, turned in zip(stages, stage_lumps(plan.mission, stages, shape), bend):
        grains = 0 if k == last else sum(part.count for part in plan.mission.stage[k].part if part.kind == "mount")
        mass, x, y, z, inertia = (draw.stage[k, OF_STAGE.index(name)] for name in ("mass", "cg_x", "cg_y", "cg_z", "inertia"))
        dry = combine(own[: len(own) - grains])
        dry = Lump(dry.mass * mass, dry.place + np.array([x, y, z]), dry.inertia * (mass * inertia))
        for lump in (dry, *own[len(own) - grains :]):
            y, z = turned.shift(lump.place[0])
            turn = turning(turned.turn_y, turned.turn_z)
            lumps.append(Lump(lump.mass, lump.place + np.array([0.0, y, z]), turn @ lump.inertia @ turn.T))
    grain = grain_rows(plan.mission, stages, shape)
    for row in grain:
        y, z = bend[-1].shift(row[GrainColumn.X])
        row[GrainColumn.Y] += y
        row[GrainColumn.Z] += z
    return table_of(lumps, grain)


def pieces(plan: Plan, harness: int, first: int, last: int, unlit: set[int], draw: FlightDraw) -> tuple[Lump, Lump]:
    """Return the piece of a body that keeps the canopy of a harness, and the loose one. unlit : stages whose propellant is still there."""
    own, mass = plan.mission.harness[harness], draw.stage[:, OF_STAGE.index("mass")]
    stage = plan.canopy_stage[plan.canopies.index(own.canopy)]
    cut = cut_of(plan.mission, stage, own.separation_station, first, last, plan.shape(first, last))
    sides = []
    for dry, grains in ((cut.fore, cut.fore_grains), (cut.aft, cut.aft_grains)):
        lumps = [Lump(lump.mass * mass[k], lump.place, lump.inertia * mass[k]) for k, lump in dry]
        sides.append(combine(lumps + [lump for k, lump in grains if k in unlit]))
    return tuple(sides) if own.canopy_on == "fore" else tuple(reversed(sides))


# ---------------------------------------------------------------- separation


def divide(hand: np.ndarray, stack, fore, aft, impulse: float, turn) -> Halves:
    """Return the two bodies that a stack becomes, as `sixdof.flight.separation.divide`; stack, fore, aft : (Model, Draw) each."""
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
    """rows : (n, 3) time, gap and clearance. least : smallest clearance after the bodies were first apart. recontact : 1 if they met again."""

    rows: np.ndarray
    least: float
    recontact: float


def flown_gap(ahead: np.ndarray, behind: np.ndarray, reach: float) -> Gap:
    """Return what the kernel makes of two traces."""
    out = np.full((len(ahead), GAP_COLUMNS), np.nan)
    rows, least, met = kernel.gap_history(ahead, behind, float(reach), out)
    return Gap(out[:rows], least, met)


def gap_history(ahead: np.ndarray, behind: np.ndarray, reach: float) -> Gap:
    """Return the gap from the traces of two bodies over the same ticks, all ticks at once."""
    both = np.isfinite(ahead[:, 0]) & np.isfinite(behind[:, 0])
    a, b = ahead[both], behind[both]
    if not len(a):
        return Gap(np.zeros((0, 3)), math.nan, 0.0)
    axis = a[:, 1:4] - a[:, 4:7]
    axis /= np.linalg.norm(axis, axis=1)[:, None]
    gap = np.sum((a[:, 4:7] - b[:, 1:4]) * axis, axis=1)
    tail = np.sum((a[:, 4:7] - b[:, 4:7]) * axis, axis=1)
    clearance = np.maximum(np.minimum(gap, tail), segment_distance(a[:, 1:4], a[:, 4:7], b[:, 1:4], b[:, 4:7]) - reach)
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
