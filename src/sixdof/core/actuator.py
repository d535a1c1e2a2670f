"""The fins' actuators: second order, with rate, acceleration and travel limits, one independent loop a fin."""

from __future__ import annotations

from sixdof._jit import helper, kernel
from sixdof.core.algebra import clip


@helper
def _rates(angle, rate, command, servo):
    """Return (d angle/dt, d rate/dt): the limits hold by taking away whatever would push through them."""
    r = clip(rate, -servo.rate_limit, servo.rate_limit)
    pull = servo.frequency * (servo.frequency * (command - angle) - 2.0 * servo.damping * r)
    pull = clip(pull, -servo.acceleration_limit, servo.acceleration_limit)
    if (r >= servo.rate_limit and pull > 0.0) or (r <= -servo.rate_limit and pull < 0.0):
        pull = 0.0
    return r, pull


@helper
def _advance(angle, rate, command, servo, h):
    """Return (angle, rate) h seconds on: one RK4 step, then the stops."""
    a1, b1 = _rates(angle, rate, command, servo)
    a2, b2 = _rates(angle + 0.5 * h * a1, rate + 0.5 * h * b1, command, servo)
    a3, b3 = _rates(angle + 0.5 * h * a2, rate + 0.5 * h * b2, command, servo)
    a4, b4 = _rates(angle + h * a3, rate + h * b3, command, servo)
    angle += h / 6.0 * (a1 + 2.0 * a2 + 2.0 * a3 + a4)
    rate += h / 6.0 * (b1 + 2.0 * b2 + 2.0 * b3 + b4)
    rate = clip(rate, -servo.rate_limit, servo.rate_limit)
    if angle >= servo.travel:
        return servo.travel, min(rate, 0.0)
    if angle <= -servo.travel:
        return -servo.travel, max(rate, 0.0)
    return angle, rate


@kernel
def move_fins(fins, rates, command, servo, h):
    """Fill rows 1 and 2 of `fins` and `rates` (3, controls) with the state after h/2 and h, from row 0 and a held command.

    The actuators do not feel the vehicle's motion, so a step can move them first and hand the rigid body three known angles.
    """
    for i in range(fins.shape[1]):
        a, r = _advance(fins[0, i], rates[0, i], command[i], servo, 0.5 * h)
        fins[1, i] = a
        rates[1, i] = r
        a, r = _advance(a, r, command[i], servo, 0.5 * h)
        fins[2, i] = a
        rates[2, i] = r
