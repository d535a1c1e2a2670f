"""The fins' actuators: transport delay, dead band, resolution, second order, limits, load, backlash, failure; one loop a fin."""

from __future__ import annotations

from math import inf

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.columns import FailureColumn, FinRow, MotorRow
from sixdof.core.lanes import clip, floor
from sixdof.core.types import Servo

ISSUED = 64  # commands kept for the transport delay: it must be shorter than this many ticks
HEALTHY, STUCK, DEAD = (np.int64(i) for i in range(3))  # of a servo: holds its angle; floats with the air and carries no load


@helper
def _rates(angle: float, rate: float, target: float, servo: Servo, up: float, down: float) -> tuple[float, float]:
    """Return (d angle/dt, d rate/dt): the limits hold by taking away whatever would push through them."""
    r = clip(rate, -down, up)
    pull = servo.frequency * (servo.frequency * (target - angle) - 2.0 * servo.damping * r)
    pull = clip(pull, -servo.acceleration_limit, servo.acceleration_limit)
    if (r >= up and pull > 0.0) or (r <= -down and pull < 0.0):
        pull = 0.0
    return r, pull


@helper
def _advance(angle: float, rate: float, target: float, servo: Servo, up: float, down: float, h: float) -> tuple[float, float]:
    """Return (angle, rate) of the motor h seconds on: one RK4 step, then the stops."""
    a1, b1 = _rates(angle, rate, target, servo, up, down)
    a2, b2 = _rates(angle + 0.5 * h * a1, rate + 0.5 * h * b1, target, servo, up, down)
    a3, b3 = _rates(angle + 0.5 * h * a2, rate + 0.5 * h * b2, target, servo, up, down)
    a4, b4 = _rates(angle + h * a3, rate + h * b3, target, servo, up, down)
    angle += h / 6.0 * (a1 + 2.0 * a2 + 2.0 * a3 + a4)
    rate += h / 6.0 * (b1 + 2.0 * b2 + 2.0 * b3 + b4)
    rate = clip(rate, -down, up)
    if angle >= servo.travel:
        return servo.travel, min(rate, 0.0)
    if angle <= -servo.travel:
        return -servo.travel, max(rate, 0.0)
    return angle, rate


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
    """Fill the middle and end of `fins` and `motors` with the state after h/2 and h, from the start.

    The actuators do not feel the vehicle's motion inside a step, so they move first and the rigid body gets three known angles;
    their load is that of the last tick.
    """
    for i in range(fins.shape[1]):
        a, r = motors[MotorRow.ANGLE_START, i], motors[MotorRow.RATE_START, i]
        if state[i] > 0.0:
            r = 0.0
            motors[MotorRow.ANGLE_MIDDLE, i], motors[MotorRow.RATE_MIDDLE, i] = a, r
            motors[MotorRow.ANGLE_END, i], motors[MotorRow.RATE_END, i] = a, r
            fins[FinRow.MIDDLE, i] = fins[FinRow.END, i] = fins[FinRow.START, i]
            continue
        up, down = speeds(hinge[i], servo)
        a, r = _advance(a, r, targets[i], servo, up, down, 0.5 * h)
        motors[MotorRow.ANGLE_MIDDLE, i], motors[MotorRow.RATE_MIDDLE, i] = a, r
        fins[FinRow.MIDDLE, i] = with_play(fins[FinRow.START, i], a, servo.backlash)
        a, r = _advance(a, r, targets[i], servo, up, down, 0.5 * h)
        motors[MotorRow.ANGLE_END, i], motors[MotorRow.RATE_END, i] = a, r
        fins[FinRow.END, i] = with_play(fins[FinRow.MIDDLE, i], a, servo.backlash)


@kernel
def keep_fins(fins: np.ndarray, motors: np.ndarray) -> None:
    """Make the end of a step the start of the next."""
    for i in range(fins.shape[1]):
        fins[FinRow.START, i] = fins[FinRow.END, i]
        motors[MotorRow.ANGLE_START, i] = motors[MotorRow.ANGLE_END, i]
        motors[MotorRow.RATE_START, i] = motors[MotorRow.RATE_END, i]
