"""Under a canopy: a drag area that fills, in the same air and wind, and the body swinging below it by its fore end."""

from __future__ import annotations

from math import inf, isnan
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import add, arm, cross, dot, matrix_of, norm, quaternion_rate, scale, sub, to_body, to_world
from sixdof.core.body import Body
from sixdof.core.columns import CanopyColumn, FinRow
from sixdof.core.constants import FREE
from sixdof.core.flight.free import turn_rate
from sixdof.core.forces.loads import Loads, around, gust_at
from sixdof.core.lanes import larger, like, opposite, select, smaller, some, sqrt
from sixdof.core.layout import EVENTS, EventColumn
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import LOST, State, Vec3

SHARE_OF_TIME_CONSTANT = 0.1  # of the slowing-down time 2 m/(rho CdS V): RK4's error per step is then below 1e-7
SHARE_OF_SWING = 0.25  # rad of the swing, and of the body's own turning, a step: RK4 errs by 8e-6 of it
SHARE_AT_REST, AT_REST = 0.5, 0.05  # the same of a body that turns at less than that, rad/s: 3e-4 of a swing of some mrad
SWING_DAMPING = 0.15  # ratio to the critical damping, our own choice: a swing under a canopy is gone after three or four
LEAST_SWING_STEP = 1e-4  # s: a body that turns faster than a thousand radians a second is not resolved
QUIET_TURN = 0.25  # rad between two looks of the flight computer: beyond it, it looks at every tick
SLOW_FLOW = 1.0  # Pa: below it a body's drag area says nothing


class Rig(NamedTuple):
    """What a body hangs by: this flight's canopies (see Work.canopy, Work.deployed), and the drag of the airframe itself."""

    canopy: np.ndarray
    deployed: np.ndarray
    hanging: float  # drag area of the airframe once a canopy has filled, m^2
    before: float  # that with which it flew up to line stretch, m^2
    fore_x: float  # station by which it hangs, m


@helper
def _fill(since: float, row: np.ndarray) -> float:
    """Return how far a canopy has filled `since` seconds after it began to, 0 to 1 of its filling time."""
    slow = row[CanopyColumn.FILL_TIME] > 0.0
    filled = select(slow, smaller(since / select(slow, row[CanopyColumn.FILL_TIME], 1.0), 1.0), 1.0)
    return select(since < 0.0, 0.0, filled)


@helper
def _filled(since: float, row: np.ndarray) -> float:
    """Return the share of its drag area that a canopy has `since` its line stretch.

    It fills with the square of time (Knacke 1992, solid canopies), first to its reefed share, then, disreefed, to all of it.
    """
    fill, reefed = _fill(since, row), row[CanopyColumn.REEFING_RATIO]
    share = reefed * fill * fill
    more = _fill(since - row[CanopyColumn.REEFING_TIME], row)
    return select(reefed < 1.0, share + (1.0 - reefed) * more * more, share)


@kernel
def drag_areas(t: float, rig: Rig) -> tuple[float, float]:
    """Return the drag areas (m^2) at t of all canopies, each as far as it has filled, and of the airframe.

    The airframe's goes from that with which it flew at line stretch to that with which it hangs as the first canopy fills, for it is the
    canopy's pull that turns and opens it.
    """
    total, share = like(0.0, rig.before), like(0.0, rig.before)
    for c in range(rig.canopy.shape[0]):
        out = rig.deployed[c] >= 0.0
        if some(out):
            row = rig.canopy[c]
            since = t - rig.deployed[c] - row[CanopyColumn.WAIT]
            fill = _fill(since, row)
            total += select(out, row[CanopyColumn.DRAG_AREA] * _filled(since, row), 0.0)
            share = select(out, larger(share, fill * fill), share)
    return total, rig.before + (rig.hanging - rig.before) * share


@kernel
def flown_area(drawn: DrawnModel, body: Body, load: Loads) -> float:
    """Return the drag area with which a body flies, m^2: the air's force against its way through the air, over q."""
    if load.pressure < SLOW_FLOW:
        return 0.0
    air = sub(load.force, scale(drawn.thrust_line, body.thrust))  # the nozzle's pressure term, a newton, stays in it
    return max(-dot(air, load.velocity) / (load.air_speed * load.pressure), 0.0)


@kernel
def line_stretch(c: int, canopy: np.ndarray, deployed: np.ndarray) -> float:
    """Return when the lines of canopy c are stretched by what was deployed so far, inf if they are not."""
    return deployed[c] + canopy[c, CanopyColumn.WAIT] if deployed[c] >= 0.0 else inf


@kernel
def next_stretch(phase: int, events: np.ndarray, canopy: np.ndarray, deployed: np.ndarray) -> float:
    """Return when lines not stretched so far will be, by what was deployed, inf if none will; on the rail none are."""
    soon, canopies = inf, deployed.shape[0]
    if phase >= FREE:
        for c in range(canopies):
            if isnan(events[len(EVENTS) + canopies + c, EventColumn.TIME]):
                soon = min(soon, line_stretch(c, canopy, deployed))
    return soon


@kernel
def opens(t: float, canopy: np.ndarray, deployed: np.ndarray) -> bool:
    """Return whether a canopy is on its way at t, from its deployment to full, or from disreefing to full."""
    opening = like(0.0, t) > 0.0
    for c in range(canopy.shape[0]):
        row = canopy[c]
        since = t - deployed[c] - row[CanopyColumn.WAIT]
        late = select(row[CanopyColumn.REEFING_RATIO] < 1.0, since - row[CanopyColumn.REEFING_TIME], -1.0)
        fills = (since < row[CanopyColumn.FILL_TIME]) | ((late >= 0.0) & (late < row[CanopyColumn.FILL_TIME]))
        opening = opening | ((deployed[c] >= 0.0) & fills)
    return opening


@kernel
def next_change(t: float, canopy: np.ndarray, deployed: np.ndarray) -> float:
    """Return the next moment after t at which a canopy's drag area has a kink: line stretch, full, disreefed, full again."""
    soon = like(inf, t)
    for c in range(canopy.shape[0]):
        row = canopy[c]
        stretch, fill = deployed[c] + row[CanopyColumn.WAIT], row[CanopyColumn.FILL_TIME]
        cut = stretch + select(row[CanopyColumn.REEFING_RATIO] < 1.0, row[CanopyColumn.REEFING_TIME], 0.0)
        for moment in (stretch, stretch + fill, cut, cut + fill):
            soon = select((deployed[c] >= 0.0) & (moment > t + 1e-9) & (moment < soon), moment, soon)
    return soon


@kernel
def opening_load(t: float, row: np.ndarray, deployed: float, pressure: float) -> float:
    """Return the pull of one canopy (N) at a dynamic pressure: its drag, times the opening factor until it has filled.

    Knacke (1992): F = (CdS) q Cx X1; the reduction X1 at finite mass comes out of the motion itself, through q.
    """
    since = t - deployed - row[CanopyColumn.WAIT]
    last = select(row[CanopyColumn.REEFING_RATIO] < 1.0, row[CanopyColumn.REEFING_TIME], 0.0)
    factor = select(since <= last + row[CanopyColumn.FILL_TIME] + 1e-9, row[CanopyColumn.OPENING_COEFFICIENT], 1.0)
    return factor * pressure * row[CanopyColumn.DRAG_AREA] * _filled(since, row)


@helper
def canopy_pressure(s: State, drawn: DrawnModel) -> float:
    """Return the dynamic pressure of the fall at the end of a step, Pa."""
    near = around(drawn, s.r, gust_at(drawn, FinRow.END))
    u = sub(s.v, near.wind)
    return 0.5 * near.air.density * dot(u, u)


@helper
def note_pulls(t: float, pressure: float, rig: Rig, most: np.ndarray) -> bool:
    """Note each canopy's largest pull; return whether one is beyond the strength of its canopy or harness: then nothing has been noted."""
    broken = like(0.0, pressure) > 0.0
    for c in range(rig.canopy.shape[0]):
        row = rig.canopy[c]
        pull = opening_load(t, row, rig.deployed[c], pressure)
        beyond = (pull > row[CanopyColumn.STRENGTH]) | (pull * row[CanopyColumn.HARNESS_SHARE] > row[CanopyColumn.HARNESS_STRENGTH])
        broken = broken | ((rig.deployed[c] >= 0.0) & beyond)
    for c in range(rig.canopy.shape[0]):
        pull = opening_load(t, rig.canopy[c], rig.deployed[c], pressure)
        most[c] = select(opposite(broken) & (rig.deployed[c] >= 0.0), larger(most[c], pull), most[c])
    return broken


@kernel
def pull_canopies(t: float, s: State, drawn: DrawnModel, rig: Rig, most: np.ndarray) -> tuple[int, int]:
    """Note each canopy's largest pull; lose a canopy beyond its strength.

    Return (the canopy whose harness breaks, or -1; 1 if a canopy was lost).
    """
    pressure = canopy_pressure(s, drawn)
    if note_pulls(t, pressure, rig, most):
        return lose_canopies(t, pressure, rig, most)
    return np.int64(-1), np.int64(0)


@kernel
def lose_canopies(t: float, pressure: float, rig: Rig, most: np.ndarray) -> tuple[int, int]:
    """Note the pulls of a moment at which something breaks: a canopy, or a harness; see `pull_canopies`."""
    lost = np.int64(0)
    for c in range(rig.canopy.shape[0]):
        if rig.deployed[c] < 0.0:
            continue
        pull = opening_load(t, rig.canopy[c], rig.deployed[c], pressure)
        most[c] = max(most[c], pull)
        if pull > rig.canopy[c, CanopyColumn.STRENGTH]:
            rig.deployed[c] = LOST
            lost = np.int64(1)
        elif pull * rig.canopy[c, CanopyColumn.HARNESS_SHARE] > rig.canopy[c, CanopyColumn.HARNESS_STRENGTH]:
            return c, lost
    return np.int64(-1), lost


@helper
def swing_rate(pull: float, lever: float, body: Body) -> float:
    """Return the natural frequency (rad/s) of a body's small swing below a pull (N): sqrt(F l/J), the physical pendulum."""
    return sqrt(pull * abs(lever) / body.inertia.yy)


@helper
def falling_rate(s: State, drawn: DrawnModel, body: Body, lines: float, airframe: float, fore_x: float, k: int) -> State:
    """Return the state's rate under canopies of the drag area `lines`, the airframe's own being `airframe` (m^2).

    The centre of mass: weight, Coriolis, both drags against the air, any thrust left along the body. The attitude: Euler's equations
    with the canopies' pull, against the air, at the station `fore_x`, and a damping of the turning in proportion to the swing's own
    frequency. The canopies move as the centre of mass does.
    """
    near = around(drawn, s.r, gust_at(drawn, k))
    u, g, m = sub(s.v, near.wind), near.gravity, matrix_of(s.q)
    speed = norm(u)
    thickness = 0.5 * near.air.density * speed
    f = scale(u, -thickness * (lines + airframe))
    f = scale(add(f, scale(to_world(m, drawn.thrust_line), body.thrust)), 1.0 / body.mass)
    c = cross(drawn.world.earth_rate, s.v)
    a = Vec3(f.x - 2.0 * c.x + g.x, f.y - 2.0 * c.y + g.y, f.z - 2.0 * c.z + g.z)
    rate = sub(s.w, to_body(m, drawn.world.earth_rate))
    lever = arm(body.cg, fore_x)
    turn = turn_rate(s, body, cross(lever, to_body(m, scale(u, -thickness * lines))))
    damping = 2.0 * SWING_DAMPING * swing_rate(thickness * speed * lines, lever.x, body)
    return State(s.v, a, quaternion_rate(s.q, rate), sub(turn, scale(rate, damping)))


@helper
def longest_fall_step(s: State, drawn: DrawnModel, body: Body, lines: float, airframe: float, fore_x: float) -> float:
    """Return the longest step that resolves the drag's slowing down, the body's swing and its turning."""
    near = around(drawn, s.r, gust_at(drawn, FinRow.START))
    speed = norm(sub(s.v, near.wind))
    thickness = 0.5 * near.air.density * speed
    slowing = thickness * (lines + airframe) / body.mass
    turning = norm(s.w)
    swing = swing_rate(thickness * speed * lines, body.cg.x - fore_x, body) + turning
    share = select(turning < AT_REST, SHARE_AT_REST, SHARE_OF_SWING)
    return smaller(SHARE_OF_TIME_CONSTANT / larger(slowing, 1e-6), larger(share / larger(swing, 1e-6), LEAST_SWING_STEP))
