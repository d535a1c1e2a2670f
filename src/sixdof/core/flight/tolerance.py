"""Steps whose length is chosen by their error."""

from __future__ import annotations

from math import sqrt

from sixdof._jit import borrow, kernel
from sixdof.core.actuator import keep_fins, move_fins
from sixdof.core.algebra import norm, sub
from sixdof.core.body import body_at
from sixdof.core.columns import FIN_ROWS, MOTOR_ROWS
from sixdof.core.constants import NO
from sixdof.core.flight.record import Flight, Setup
from sixdof.core.flight.rk4 import rk4_step
from sixdof.core.forces.turbulence import blow

MOST_HALVINGS = 8  # of a step whose error is controlled


@kernel
def step_error(h: float, flight: Flight, setup: Setup) -> float:
    """Return by how much one step of h and two of h/2 differ: m, with 1 s on speeds and the vehicle's length on angles."""
    work, drawn, t, s = setup.work, setup.drawn, flight.t, flight.s
    burn, grains, body, phase, rig = flight.burn, drawn.grains, flight.body, flight.phase, flight.rig
    middle, end = borrow(body_at(t + 0.5 * h, burn, grains)), borrow(body_at(t + h, burn, grains))
    tick_end, span = flight.t_tick, flight.stride * setup.period
    fins, motors = work.trial[:FIN_ROWS], work.trial[FIN_ROWS:]
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
            whole = rk4_step(phase, t, s, length, s, NO, body, middle, end, rig, drawn, fins, work.seen)
        else:
            first = body if part == 1 else middle
            last = middle if part == 1 else end
            between = body_at(start + 0.5 * length, burn, grains)
            half = rk4_step(phase, start, half, length, s, NO, first, borrow(between), last, rig, drawn, fins, work.seen)
    q = sqrt((whole.q.w - half.q.w) ** 2 + (whole.q.x - half.q.x) ** 2 + (whole.q.y - half.q.y) ** 2 + (whole.q.z - half.q.z) ** 2)
    reach = drawn.rail.base_x
    return norm(sub(whole.r, half.r)) + norm(sub(whole.v, half.v)) + reach * (2.0 * q + norm(sub(whole.w, half.w)))


@kernel
def trusted_step(h: float, flight: Flight, setup: Setup) -> float:
    """Return the longest of h, h/2, h/4 .. whose error, by halving it, is within the model's tolerance (m a step)."""
    for _ in range(MOST_HALVINGS):
        # the error of the halves is a fifteenth of the difference, that of the whole step sixteen times as much
        if step_error(h, flight, setup) * 16.0 / 15.0 <= setup.model.tolerance:
            break
        h *= 0.5
    return h
