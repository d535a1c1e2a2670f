"""Steps whose length is chosen by their error, and steps cut short where an event happens."""

from __future__ import annotations

from math import sqrt

from sixdof._jit import kernel
from sixdof.core.actuator import keep_fins, move_fins
from sixdof.core.algebra import norm, sub
from sixdof.core.body import Body, Burn, Grains, body_at
from sixdof.core.columns import FIN_ROWS, MOTOR_ROWS
from sixdof.core.forces.turbulence import blow
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.leg.work import Work
from sixdof.core.step import MOST_TRIES, NO, ROOT_SHARE, gap, next_bracket, rk4_step
from sixdof.core.types import State

MOST_HALVINGS = 8  # of a step whose error is controlled


@kernel
def step_error(
    phase: int, t: float, s: State, h: float, burn: Burn, grains: Grains, body: Body, drawn: DrawnModel, tick_end: float, span: float, work: Work
) -> float:
    """Return by how much one step of h and two of h/2 differ: m, with 1 s on speeds and the vehicle's length on angles."""
    fins, motors = work.trial[:FIN_ROWS], work.trial[FIN_ROWS:]
    middle, end = body_at(t + 0.5 * h, burn, grains), body_at(t + h, burn, grains)
    whole = half = s
    for part in range(3):  # the whole step, then its halves
        if part < 2:
            for i in range(FIN_ROWS):
                for j in range(fins.shape[1]):
                    fins[i, j] = work.fins[i, j]
            for i in range(MOTOR_ROWS):
                for j in range(fins.shape[1]):
                    motors[i, j] = work.motors[i, j]
        else:
            keep_fins(fins, motors)
        length = h if part == 0 else 0.5 * h
        start = t if part < 2 else t + 0.5 * h
        move_fins(fins, motors, work.targets, work.health, work.hinge, drawn.servo, length)
        blow(work.gust, work.turbulence, 1.0 - (tick_end - start) / span, 1.0 - (tick_end - start - length) / span)
        if part == 0:
            whole = rk4_step(phase, s, length, s, NO, body, middle, end, drawn, fins, work.seen)
        else:
            first = body if part == 1 else middle
            last = middle if part == 1 else end
            half = rk4_step(phase, half, length, s, NO, first, body_at(start + 0.5 * length, burn, grains), last, drawn, fins, work.seen)
    q = sqrt((whole.q.w - half.q.w) ** 2 + (whole.q.x - half.q.x) ** 2 + (whole.q.y - half.q.y) ** 2 + (whole.q.z - half.q.z) ** 2)
    reach = drawn.rail.base_x
    return norm(sub(whole.r, half.r)) + norm(sub(whole.v, half.v)) + reach * (2.0 * q + norm(sub(whole.w, half.w)))


@kernel
def trusted_step(
    phase: int,
    t: float,
    s: State,
    h: float,
    burn: Burn,
    grains: Grains,
    body: Body,
    drawn: DrawnModel,
    tick_end: float,
    span: float,
    tolerance: float,
    work: Work,
) -> float:
    """Return the longest of h, h/2, h/4 .. whose error, by halving it, is within the tolerance (m a step)."""
    for _ in range(MOST_HALVINGS):
        # the error of the halves is a fifteenth of the difference, that of the whole step sixteen times as much
        if step_error(phase, t, s, h, burn, grains, body, drawn, tick_end, span, work) * 16.0 / 15.0 <= tolerance:
            break
        h *= 0.5
    return h


@kernel
def cut_step(
    kind: int, phase: int, t: float, s: State, h: float, burn: Burn, grains: Grains, body: Body, drawn: DrawnModel, work: Work
) -> tuple[float, State, Body]:
    """Return (h, state, body) at the moment inside a step where the event function of `kind` crosses zero."""
    low, high = 0.0, h
    g_low = gap(kind, s, drawn)
    x, s1, body1 = h, s, body
    g_high, last, g = -1.0, 0, -1.0
    for i in range(MOST_TRIES):
        if i > 0:
            x = (low * g_high - high * g_low) / (g_high - g_low)
            if not (low < x < high):
                x = 0.5 * (low + high)
        move_fins(work.fins, work.motors, work.targets, work.health, work.hinge, drawn.servo, x)
        body1 = body_at(t + x, burn, grains)
        half = body_at(t + 0.5 * x, burn, grains)
        s1 = rk4_step(phase, s, x, s, NO, body, half, body1, drawn, work.fins, work.seen)
        g = gap(kind, s1, drawn)
        if i == 0:
            g_high = g
            continue
        low, high, g_low, g_high, last = next_bracket(low, high, g_low, g_high, x, g, last)
        if high - low < ROOT_SHARE * h or g == 0.0:
            break
    return x, s1, body1
