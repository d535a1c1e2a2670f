"""The fins' actuators: transport delay, dead band, resolution, second order, limits, load, backlash, failure; one loop a fin."""

from __future__ import annotations

from math import inf
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.columns import FailureColumn, FinRow, MotorRow
from sixdof.core.lanes import clip, floor, select
from sixdof.core.types import Servo

ISSUED = 64  # commands kept for the transport delay: it must be shorter than this many ticks
HEALTHY, STUCK, DEAD = (np.int64(i) for i in range(3))  # of a servo: holds its angle; floats with the air and carries no load
LOOKS = 8  # at the actuators' motion in each step, an even number: a limit or the play's end met between two is felt at the later one
TERMS = 10  # of the series of the free motion, whose last is (frequency x time)^9/9!: 3e-6 at 1


class FreeMotion(NamedTuple):
    """How the second-order loop moves without limits from one look to the next: its exact solution, linear in where it starts."""

    time: float  # from look to look, s
    arrival: float  # share of the way to the target gone from rest
    reach: float  # way gone for a rate at the start, s
    pull: float  # rate gained for the way to go, 1/s
    brake: float  # share of the rate lost


@helper
def _free_motion(servo: Servo, x: float) -> FreeMotion:
    """Return the FreeMotion of x seconds, from the series of the unit step response w^2 S: S'' + 2 z w S' + w^2 S = 1 from rest."""
    g, k = 2.0 * servo.damping * servo.frequency * x, servo.frequency * servo.frequency * x * x
    last, term, response, slope = 0.0, 0.5, 0.0, 0.0  # terms, S and S' in units of x^2, x^2 and x
    for n in range(2, TERMS):
        response += term
        slope += n * term
        last, term = term, -(n * g * term + k * last) * (1.0 / (n * (n + 1)))
    return FreeMotion(x, k * response, x * slope, servo.frequency * servo.frequency * x * slope, g * slope + k * response)


@helper
def _advance(angle: float, rate: float, target: float, free: FreeMotion, servo: Servo, up: float, down: float) -> tuple[float, float]:
    """Return (angle, rate) of the motor at the next look: freely where no limit holds it, else at the mean of both rates; at a stop it rests."""
    way, most = target - angle, servo.acceleration_limit * free.time
    gained = free.pull * way - free.brake * rate
    end = clip(rate + clip(gained, -most, most), -down, up)
    beyond = angle + select(end == rate + gained, free.arrival * way + free.reach * rate, 0.5 * free.time * (rate + end))
    inside = clip(beyond, -servo.travel, servo.travel)
    return inside, select(inside == beyond, end, 0.0)


@helper
def with_play(fin: float, motor: float, play: float) -> float:
    """Return the fin's angle: it stays until the motor has taken up the play, then follows half of it behind (hysteresis)."""
    return clip(fin, motor - 0.5 * play, motor + 0.5 * play)


@helper
def speeds(hinge: float, servo: Servo) -> tuple[float, float]:
    """Return the motor's speed limits (up, down) under a hinge moment (N m, positive drives the angle up).

    The torque-speed line of a direct-current motor: no-load speed times (1 - load/stall torque) against the load, never more
    than the no-load speed with it; a stalled servo holds (its gears do not run backwards).
    """
    if servo.stall_torque == inf:
        return servo.rate_limit, servo.rate_limit
    share = hinge / servo.stall_torque
    return servo.rate_limit * clip(1.0 + share, 0.0, 1.0), servo.rate_limit * clip(1.0 - share, 0.0, 1.0)


@kernel
def issue(t: float, command: np.ndarray, issued: np.ndarray, tick: int, servo: Servo) -> None:
    """Take a tick's commands to the servos: dead band against the last one taken, then resolution."""
    now, last = issued[tick % ISSUED], issued[(tick - 1) % ISSUED]
    for i in range(command.shape[0]):
        commanded = command[i]
        if servo.resolution > 0.0:
            commanded = floor(commanded / servo.resolution + 0.5) * servo.resolution
        if tick > 0 and abs(commanded - last[i]) <= servo.dead_band:
            commanded = last[i]
        now[i] = clip(commanded, -servo.travel, servo.travel)


@helper
def switch_delay(servo: Servo, period: float) -> tuple[int, float]:
    """Return (ticks, seconds): a command takes effect so many whole ticks and seconds after the tick that issued it."""
    ticks = int(servo.delay / period + 1e-9)
    return ticks, max(servo.delay - ticks * period, 0.0)


@kernel
def pick_targets(issued: np.ndarray, tick: int, late: int, servo: Servo, period: float, centring: np.ndarray, targets: np.ndarray) -> None:
    """Fill the servos' targets: the command issued the transport delay ago; late = 1 before the delay's part of a tick has passed."""
    ticks, _ = switch_delay(servo, period)
    k = tick - ticks - late
    for i in range(targets.shape[0]):
        targets[i] = centring[i] + (issued[k % ISSUED, i] if k >= 0 else 0.0)


@kernel
def fail_fins(t: float, failure: np.ndarray, state: np.ndarray, fins: np.ndarray) -> None:
    """Apply the failures that are due: failure (controls, FailureColumn); state (controls,) the kind in force."""
    for i in range(state.shape[0]):
        if failure[i, FailureColumn.KIND] > 0.0 and t >= failure[i, FailureColumn.TIME] and state[i] == 0.0:
            state[i] = failure[i, FailureColumn.KIND]
            if int(failure[i, FailureColumn.KIND]) == DEAD:
                fins[FinRow.CARRIED, i] = 0.0


@kernel
def move_fins(fins: np.ndarray, motors: np.ndarray, targets: np.ndarray, state: np.ndarray, hinge: np.ndarray, servo: Servo, h: float) -> None:
    """Move fins and motors h seconds on from the start of a step: fill the ends, and the angles that stand for the step.

    The actuators do not feel the vehicle's motion inside a step, so they move first and the rigid body gets three known angles; their load
    is that of the last tick. MIDDLE and END of `fins` are not the angles at these moments: a fin that starts, stops or turns inside the step
    has a corner there, of which three angles know nothing. They are what gives the Runge-Kutta step the mean of the fin's motion over the
    step, F0 = int f dt/h, and over what is left of it, F1 = int (h - t) f dt/h^2: the step takes the change of rates from (f0 + 4 f1 + f2)/6
    and that of angles from (f0 + 2 f1)/6. Of a smooth motion they differ from the angles by its third derivative times h^3/240 and h^3/60.
    Both means are by Simpson's rule over the looks.
    """
    free, start = _free_motion(servo, h / LOOKS), fins[FinRow.START]
    now, middle, end = fins[FinRow.NEXT], fins[FinRow.MIDDLE], fins[FinRow.END]
    angles, rates, ups, downs = motors[MotorRow.ANGLE_END], motors[MotorRow.RATE_END], motors[MotorRow.UP], motors[MotorRow.DOWN]
    for i in range(fins.shape[1]):
        up, down = speeds(hinge[i], servo)
        ups[i], downs[i] = select(state[i] > 0.0, 0.0, up), select(state[i] > 0.0, 0.0, down)  # a failed servo keeps its angle
        angles[i], rates[i] = motors[MotorRow.ANGLE_START, i], clip(motors[MotorRow.RATE_START, i], -downs[i], ups[i])
        now[i] = middle[i] = end[i] = start[i]
    for look in range(1, LOOKS + 1):  # outside the loop over fins, which do not wait for each other
        past, weight = look / LOOKS, (1.0 if look == LOOKS else 2.0 + 2.0 * (look % 2)) / (3.0 * LOOKS)
        to_middle, to_end = 3.0 * weight * (1.0 - past), 6.0 * weight * (2.0 * past - 1.0)
        for i in range(fins.shape[1]):
            angles[i], rates[i] = _advance(angles[i], rates[i], targets[i], free, servo, ups[i], downs[i])
            now[i] = with_play(now[i], angles[i], servo.backlash)
            middle[i] += to_middle * (now[i] - start[i])
            end[i] += to_end * (now[i] - start[i])


@kernel
def keep_fins(fins: np.ndarray, motors: np.ndarray) -> None:
    """Make the end of a step the start of the next."""
    for i in range(fins.shape[1]):
        fins[FinRow.START, i] = fins[FinRow.NEXT, i]
        motors[MotorRow.ANGLE_START, i] = motors[MotorRow.ANGLE_END, i]
        motors[MotorRow.RATE_START, i] = motors[MotorRow.RATE_END, i]
