"""Under a canopy: a point mass with a drag area that fills, in the same air and wind."""

from __future__ import annotations

from math import sqrt

from sixdof._jit import helper, kernel
from sixdof.core.algebra import add, axpy, clip, cross, matrix_of, scale, sub, to_world
from sixdof.core.loads import air_at, wind_at
from sixdof.core.step import MOST_TRIES, ROOT_SHARE, next_bracket
from sixdof.core.types import CANOPY_DRAG_AREA, CANOPY_FILL_TIME, Quat, State, Vec3

SHARE_OF_TIME_CONSTANT = 0.1  # of the slowing-down time 2 m/(rho CdS V): RK4's error per step is then below 1e-7


@kernel
def drag_area(t, canopy, opened, hanging, factor):
    """Return the total drag area at t: each released canopy fills with the square of time (Knacke 1992, solid canopies)."""
    total = hanging
    for c in range(canopy.shape[0]):
        if opened[c] >= 0.0:
            fill = 1.0
            if canopy[c, CANOPY_FILL_TIME] > 0.0:
                fill = clip((t - opened[c]) / canopy[c, CANOPY_FILL_TIME], 0.0, 1.0)
            total += canopy[c, CANOPY_DRAG_AREA] * factor * fill * fill
    return total


@kernel
def falling_rate(s, craft, mass, push, area):
    """Return the state's rate: weight, Coriolis, drag against the air, any thrust left along the frozen body axis."""
    air = air_at(craft.world, s.r.z)
    u = sub(s.v, wind_at(craft, s.r.z))
    speed = sqrt(u.x * u.x + u.y * u.y + u.z * u.z)
    f = scale(u, -0.5 * air.density * speed * area)
    f = add(f, scale(to_world(matrix_of(s.q), craft.thrust_line), push))
    c = cross(craft.world.earth_rate, s.v)
    a = Vec3(f.x / mass - 2.0 * c.x, f.y / mass - 2.0 * c.y, f.z / mass - 2.0 * c.z - air.gravity)
    return State(s.v, a, Quat(0.0, 0.0, 0.0, 0.0), Vec3(0.0, 0.0, 0.0))


@helper
def longest_fall_step(s, craft, mass, area):
    """Return the longest step that resolves the drag's slowing down."""
    u = sub(s.v, wind_at(craft, s.r.z))
    speed = sqrt(u.x * u.x + u.y * u.y + u.z * u.z)
    rate = 0.5 * air_at(craft.world, s.r.z).density * speed * area / mass
    return SHARE_OF_TIME_CONSTANT / max(rate, 1e-6)


@kernel
def fall_step(t, s, h, craft, body0, body1, body2, canopy, opened, hanging, factor):
    """Return the state h seconds on (RK4). body0, body1, body2: mass and thrust at the start, middle and end."""
    a0 = drag_area(t, canopy, opened, hanging, factor)
    a1 = drag_area(t + 0.5 * h, canopy, opened, hanging, factor)
    a2 = drag_area(t + h, canopy, opened, hanging, factor)
    k1 = falling_rate(s, craft, body0.mass, body0.thrust, a0)
    k2 = falling_rate(axpy(s, k1, 0.5 * h), craft, body1.mass, body1.thrust, a1)
    k3 = falling_rate(axpy(s, k2, 0.5 * h), craft, body1.mass, body1.thrust, a1)
    k4 = falling_rate(axpy(s, k3, h), craft, body2.mass, body2.thrust, a2)
    s = axpy(s, k1, h / 6.0)
    s = axpy(s, k2, h / 3.0)
    s = axpy(s, k3, h / 3.0)
    return axpy(s, k4, h / 6.0)


@kernel
def reach_ground(t, s, h, end_height, craft, body0, body1, body2, canopy, opened, hanging, factor):
    """Return (h, state) at the moment inside a falling step where the height is zero; end_height: the height at its end."""
    low, high, g_low, g_high, last = 0.0, h, s.r.z, end_height, 0
    x, s1 = h, s
    for _ in range(MOST_TRIES):
        x = (low * g_high - high * g_low) / (g_high - g_low)
        s1 = fall_step(t, s, x, craft, body0, body1, body2, canopy, opened, hanging, factor)
        low, high, g_low, g_high, last = next_bracket(low, high, g_low, g_high, x, s1.r.z, last)
        if high - low < ROOT_SHARE * h or s1.r.z == 0.0:
            break
    return x, s1
