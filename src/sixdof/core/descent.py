"""Under a canopy: a point mass with a drag area that fills, in the same air and wind."""

from __future__ import annotations

from math import inf, sqrt

from sixdof._jit import helper, kernel
from sixdof.core.algebra import add, axpy, clip, cross, matrix_of, scale, sub, to_world
from sixdof.core.loads import END, MIDDLE, START, around, gust_at, height_of
from sixdof.core.step import MOST_TRIES, ROOT_SHARE, next_bracket
from sixdof.core.types import (
    CANOPY_CORD_SHARE, CANOPY_CORD_STRENGTH, CANOPY_DRAG_AREA, CANOPY_FACTOR, CANOPY_FILL_TIME, CANOPY_REEF_SHARE,
    CANOPY_REEF_TIME, CANOPY_STRENGTH, CANOPY_WAIT, LOST, Quat, State, Vec3,
)  # fmt: skip

INSIDE = 1e-9  # s
SHARE_OF_TIME_CONSTANT = 0.1  # of the slowing-down time 2 m/(rho CdS V): RK4's error per step is then below 1e-7


@helper
def _filled(since, row):
    """Return the share of its drag area that a canopy has `since` its line stretch.

    It fills with the square of time (Knacke 1992, solid canopies), first to its reefed share, then, disreefed, to all of it.
    """
    if since < 0.0:
        return 0.0
    fill = 1.0 if row[CANOPY_FILL_TIME] <= 0.0 else clip(since / row[CANOPY_FILL_TIME], 0.0, 1.0)
    reefed = row[CANOPY_REEF_SHARE]
    share = reefed * fill * fill
    late = since - row[CANOPY_REEF_TIME]
    if reefed < 1.0 and late >= 0.0:
        more = 1.0 if row[CANOPY_FILL_TIME] <= 0.0 else clip(late / row[CANOPY_FILL_TIME], 0.0, 1.0)
        share += (1.0 - reefed) * more * more
    return share


@kernel
def drag_area(t, canopy, opened, hanging):
    """Return the total drag area at t: what hangs under the canopies and each canopy as far as it has filled."""
    total = hanging
    for c in range(canopy.shape[0]):
        if opened[c] >= 0.0:
            total += canopy[c, CANOPY_DRAG_AREA] * _filled(t - opened[c] - canopy[c, CANOPY_WAIT], canopy[c])
    return total


@kernel
def next_change(t, canopy, opened):
    """Return the next moment after t at which a canopy's drag area has a kink: line stretch, full, disreefed, full again."""
    soon = inf
    for c in range(canopy.shape[0]):
        if opened[c] >= 0.0:
            stretch = opened[c] + canopy[c, CANOPY_WAIT]
            cut = stretch + (canopy[c, CANOPY_REEF_TIME] if canopy[c, CANOPY_REEF_SHARE] < 1.0 else 0.0)
            for moment in (stretch, stretch + canopy[c, CANOPY_FILL_TIME], cut, cut + canopy[c, CANOPY_FILL_TIME]):
                if t + 1e-9 < moment < soon:
                    soon = moment
    return soon


@kernel
def opening_load(t, row, released, pressure):
    """Return the pull of one canopy (N) at a dynamic pressure: its drag, times the opening factor until it has filled.

    Knacke (1992): F = (CdS) q Cx X1; the reduction X1 at finite mass comes out of the motion itself, through q.
    """
    since = t - released - row[CANOPY_WAIT]
    last = row[CANOPY_REEF_TIME] if row[CANOPY_REEF_SHARE] < 1.0 else 0.0
    factor = row[CANOPY_FACTOR] if since <= last + row[CANOPY_FILL_TIME] + 1e-9 else 1.0
    return factor * pressure * row[CANOPY_DRAG_AREA] * _filled(since, row)


@kernel
def pull_canopies(t, s, craft, canopy, opened, most):
    """Note each canopy's largest pull; lose a canopy beyond its strength; return the canopy whose cord parts, or -1."""
    near = around(craft, s.r, gust_at(craft, END))
    u = sub(s.v, near.wind)
    pressure = 0.5 * near.air.density * (u.x * u.x + u.y * u.y + u.z * u.z)
    for c in range(canopy.shape[0]):
        if opened[c] < 0.0:
            continue
        pull = opening_load(t, canopy[c], opened[c], pressure)
        most[c] = max(most[c], pull)
        if pull > canopy[c, CANOPY_STRENGTH]:
            opened[c] = LOST
        elif pull * canopy[c, CANOPY_CORD_SHARE] > canopy[c, CANOPY_CORD_STRENGTH]:
            return c
    return -1


@kernel
def falling_rate(s, craft, mass, push, area, k):
    """Return the state's rate: weight, Coriolis, drag against the air, any thrust left along the frozen body axis."""
    near = around(craft, s.r, gust_at(craft, k))
    u, g = sub(s.v, near.wind), near.gravity
    speed = sqrt(u.x * u.x + u.y * u.y + u.z * u.z)
    f = scale(u, -0.5 * near.air.density * speed * area)
    f = add(f, scale(to_world(matrix_of(s.q), craft.thrust_line), push))
    c = cross(craft.world.earth_rate, s.v)
    a = Vec3(f.x / mass - 2.0 * c.x + g.x, f.y / mass - 2.0 * c.y + g.y, f.z / mass - 2.0 * c.z + g.z)
    return State(s.v, a, Quat(0.0, 0.0, 0.0, 0.0), Vec3(0.0, 0.0, 0.0))


@helper
def longest_fall_step(s, craft, mass, area):
    """Return the longest step that resolves the drag's slowing down."""
    near = around(craft, s.r, gust_at(craft, START))
    u = sub(s.v, near.wind)
    speed = sqrt(u.x * u.x + u.y * u.y + u.z * u.z)
    rate = 0.5 * near.air.density * speed * area / mass
    return SHARE_OF_TIME_CONSTANT / max(rate, 1e-6)


@kernel
def fall_step(t, s, h, craft, body0, body1, body2, canopy, opened, hanging):
    """Return the state h seconds on (RK4). body0, body1, body2: mass and thrust at the start, middle and end."""
    # a step ends where the area jumps (`next_change`): its ends are seen from inside
    a0 = drag_area(t + INSIDE, canopy, opened, hanging)
    a1 = drag_area(t + 0.5 * h, canopy, opened, hanging)
    a2 = drag_area(t + h - INSIDE, canopy, opened, hanging)
    k1 = falling_rate(s, craft, body0.mass, body0.thrust, a0, START)
    k2 = falling_rate(axpy(s, k1, 0.5 * h), craft, body1.mass, body1.thrust, a1, MIDDLE)
    k3 = falling_rate(axpy(s, k2, 0.5 * h), craft, body1.mass, body1.thrust, a1, MIDDLE)
    k4 = falling_rate(axpy(s, k3, h), craft, body2.mass, body2.thrust, a2, END)
    s = axpy(s, k1, h / 6.0)
    s = axpy(s, k2, h / 3.0)
    s = axpy(s, k3, h / 3.0)
    return axpy(s, k4, h / 6.0)


@kernel
def reach_ground(t, s, h, end_height, craft, body0, body1, body2, canopy, opened, hanging):
    """Return (h, state) at the moment inside a falling step where the height is zero; end_height: the height at its end."""
    low, high, g_low, g_high, last = 0.0, h, height_of(craft.world, s.r), end_height, 0
    x, s1 = h, s
    for _ in range(MOST_TRIES):
        x = (low * g_high - high * g_low) / (g_high - g_low)
        s1 = fall_step(t, s, x, craft, body0, body1, body2, canopy, opened, hanging)
        height = height_of(craft.world, s1.r)
        low, high, g_low, g_high, last = next_bracket(low, high, g_low, g_high, x, height, last)
        if high - low < ROOT_SHARE * h or height == 0.0:
            break
    return x, s1
