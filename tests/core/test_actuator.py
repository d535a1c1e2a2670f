"""One actuator against the closed forms of a second-order loop and of its limits; load, play, commands on their way."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drivers import servo_response
from hypothesis import given, settings
from hypothesis import strategies as st
from independent_servo import Fin, move, speeds_under
from models import servo as servo_of

from sixdof.core.actuator import ISSUED, LOOKS, issue, move_fins, pick_targets, speeds, switch_delay
from sixdof.core.columns import FIN_ROWS, MOTOR_ROWS, FinRow, MotorRow

STEP = 1e-4  # s: limits are felt an eighth of it late
EXACT = 1e-10  # relative
FREE = servo_of(frequency=60.0, damping=0.6, rate_limit=1e3, travel=10.0)


def test_step_response__overshoot_and_its_time():
    """Peak exp(-pi z/sqrt(1 - z^2)) over the command at pi/(w sqrt(1 - z^2)) (any control text)."""
    damped = 60.0 * math.sqrt(1.0 - 0.36)
    peak = math.pi / damped
    out = servo_response(FREE, 0.1, h=peak / 500.0, steps=500)
    assert out[-1, 0] == pytest.approx(0.1 * (1.0 + math.exp(-math.pi * 0.6 / 0.8)), rel=1e-9)
    assert out[-1, 1] == pytest.approx(0.0, abs=1e-8)  # rad/s, of 6


def test_step_response__critically_damped():
    """1 - (1 + w t) exp(-w t)."""
    out = servo_response(FREE._replace(damping=1.0), 0.1, h=STEP, steps=500)
    assert out[-1, 0] == pytest.approx(0.1 * (1.0 - 4.0 * math.exp(-3.0)), rel=EXACT)


@pytest.mark.parametrize("h", [0.01, 0.005, 0.0017])
def test_free_motion__exact_whatever_the_step(h):
    """1 - exp(-z w t) (cos wd t + z/sqrt(1 - z^2) sin wd t), wd = w sqrt(1 - z^2) (any control text)."""
    out = servo_response(FREE, 0.1, h=h, steps=20)
    t = h * np.arange(21)
    wave = np.cos(48.0 * t) + 0.75 * np.sin(48.0 * t)
    assert out[:, 0] == pytest.approx(0.1 * (1.0 - np.exp(-36.0 * t) * wave), abs=1e-13)


def test_rate_limit__ramp():
    servo = FREE._replace(rate_limit=2.0)
    out = servo_response(servo, 1.0, h=STEP, steps=8000)
    assert out[:, 1].max() == 2.0
    ramp = out[500:2000, 0]
    assert np.diff(ramp) == pytest.approx(2.0 * STEP, rel=1e-10)
    assert out[-1, 0] == pytest.approx(1.0, rel=0.05)  # and it arrives


def test_acceleration_limit__parabola():
    servo = FREE._replace(acceleration_limit=50.0)
    out = servo_response(servo, 1.0, h=STEP, steps=500)
    t = STEP * np.arange(501)
    assert out[:, 0] == pytest.approx(25.0 * t * t, rel=1e-9, abs=1e-15)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_stops__hold_and_let_go(side):
    servo = FREE._replace(travel=0.2)
    out = servo_response(servo, 0.5 * side, h=STEP, steps=2000)
    assert out[-1, 0] == 0.2 * side and out[-1, 1] == 0.0
    assert np.abs(out[:, 0]).max() == 0.2
    back = servo_response(servo, 0.0, h=STEP, steps=2000, angle=0.2 * side)
    assert abs(back[-1, 0]) < 1e-3  # 12 time constants later


angles, rates = st.floats(-0.2, 0.2), st.floats(-0.7, 0.7)


@given(angle=angles, rate=rates, command=st.floats(-0.25, 0.25), limited=st.booleans())
@settings(max_examples=60, deadline=None)
def test_any_command__as_the_exact_pieces(angle, rate, command, limited):
    """All limits at once against the piecewise closed form."""
    servo = servo_of(56.0, 0.75, 0.7, 80.0 if limited else math.inf, 0.2)
    out = servo_response(servo, command, h=STEP, steps=100, angle=angle, rate=rate)
    pieces = move(0.0, 0.01, angle, rate, command, servo)
    # a limit is met inside a step and felt at its end: the rate is off by at most the largest acceleration,
    # 1,500 rad/s^2, times a step where the actuator leaves a stop, and by a square of the step elsewhere
    # (whether it was there is asked of the pieces: the kernel may have left again within its first step)
    hit = max(abs(piece.angle) for piece in pieces) >= servo.travel * (1.0 - 1e-9)
    late = 1500.0 * STEP * (0.01 if hit else 2.0 * STEP)
    assert out[-1, 0] == pytest.approx(pieces[-1].at(0.01)[0], abs=late)


@given(angle=angles, rate=rates, command=st.floats(-1.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_limits__never_passed(angle, rate, command):
    servo = servo_of(56.0, 0.3, 0.7, 80.0, 0.2)
    out = servo_response(servo, command, h=5e-3, steps=60, angle=angle, rate=rate)
    assert np.abs(out[:, 0]).max() <= 0.2 and np.abs(out[:, 1]).max() <= 0.7
    mirrored = servo_response(servo, -command, h=5e-3, steps=60, angle=-angle, rate=-rate)
    assert np.array_equal(mirrored, -out)


# ------------------------------------------------------------------ load and play


@pytest.mark.parametrize("hinge, up, down", [(0.0, 7.0, 7.0), (-0.5, 5.25, 7.0), (0.5, 7.0, 5.25), (-3.0, 0.0, 7.0)])
def test_load__slows_the_motor_against_it_only(hinge, up, down):
    """A direct-current motor, 7 rad/s without load, 2 N m at rest: a quarter of the torque costs a quarter of it."""
    assert speeds(hinge, servo_of(stall_torque=2.0)) == pytest.approx((up, down))


@pytest.mark.parametrize("hinge", [-0.5, 0.7, -2.5])
@pytest.mark.parametrize("target", [0.2, -0.2])
def test_load__as_the_exact_pieces(hinge, target):
    servo = servo_of(80.0, 0.7, 3.0, travel=0.3, stall_torque=2.0)
    out = servo_response(servo, target, h=STEP, steps=400, hinge=hinge)
    last = move(0.0, 0.04, 0.0, 0.0, target, servo, hinge)[-1]
    met = 3.0 * STEP**2 * 80.0**2 * 0.2  # rad: the limit is met inside a step
    assert out[-1, 0] == pytest.approx(last.at(0.04)[0], abs=met)
    down, up = speeds_under(hinge, servo)
    assert -down <= out[:, 1].min() and out[:, 1].max() <= up


def test_load__stalled_motor_holds_its_angle():
    out = servo_response(servo_of(stall_torque=1.0), 0.2, h=STEP, steps=200, angle=0.05, hinge=-1.5)
    assert np.all(out[:, 0] == 0.05)


def test_play__fin_waits_and_goes_half_of_it_behind():
    servo = servo_of(60.0, 1.0, 50.0, backlash=0.02)
    out = servo_response(servo, 0.1, h=STEP, steps=3000)
    moving = out[:, 0] > 0.01
    assert np.all(out[~moving, 2] == 0.0)
    assert out[moving, 2] == pytest.approx(out[moving, 0] - 0.01, abs=1e-15)
    back = servo_response(servo, 0.0, h=STEP, steps=3000, angle=out[-1, 0], fin=out[-1, 2])
    assert back[-1, 2] == pytest.approx(0.01, abs=1e-6) and np.all(np.diff(back[:, 2]) <= 0.0)


@given(target=st.floats(-0.2, 0.2), rate=rates, play=st.floats(1e-3, 0.05), share=st.floats(-0.5, 0.5))
@settings(max_examples=60, deadline=None)
def test_play__as_the_exact_pieces(target, rate, play, share):
    servo = servo_of(60.0, 0.3, 50.0, travel=1.0, backlash=play)
    out = servo_response(servo, target, h=STEP, steps=500, rate=rate, fin=share * play)
    fin = Fin(move(0.0, 0.05, 0.0, rate, target, servo), 0.05, share * play)
    # where the motor turns round inside a half step its last bit of way, a t^2/2 with 720 rad/s^2, is not seen
    assert out[-1, 2] == pytest.approx(fin.at(0.05), abs=0.5 * 720.0 * (0.5 * STEP) ** 2)


# ------------------------------------------------------------------ what a fin's motion means for a step


def step_means(servo, target, h, *, angle=0.0, rate=0.0, fin=0.0):
    """Return (F0, F1) that a Runge-Kutta step makes of the three angles it is given: of the change of rates and of that of angles."""
    fins, motors = np.full((FIN_ROWS, 1), float(fin)), np.zeros((MOTOR_ROWS, 1))
    motors[MotorRow.ANGLE_START], motors[MotorRow.RATE_START] = angle, rate
    move_fins(fins, motors, np.array([float(target)]), np.zeros(1), np.zeros(1), servo, h)
    first, middle, last = fins[FinRow.START, 0], fins[FinRow.MIDDLE, 0], fins[FinRow.END, 0]
    return (first + 4.0 * middle + last) / 6.0, (first + 2.0 * middle) / 6.0


@pytest.mark.parametrize("start", [0.0, 0.25, 0.5, 0.75, 0.125, 0.3, 0.97])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_step__stands_for_the_fin_as_it_moves(start, side):
    """A motor at its limit of rate takes up the play at t0: f = v (t - t0), int f dt/h = v (h - t0)^2/2h, int (h - t) f dt/h^2 = v (h - t0)^3/6h^2.

    Exact where t0 is a look at which a panel of Simpson's rule ends; elsewhere a corner costs it at most v x^2/6 of each integral.
    """
    v, h = 7.0, 0.005
    servo = servo_of(60.0, 0.75, v, travel=10.0, backlash=2.0 * v * h * start)
    found = step_means(servo, 5.0 * side, h, rate=v * side)
    left = 1.0 - start
    corner = 1e-12 if start * LOOKS % 2 == 0 else 1.001 * v * h / LOOKS**2 / 6.0
    assert found[0] == pytest.approx(side * v * h * left**2 / 2.0, abs=corner)
    assert found[1] == pytest.approx(side * v * h * left**3 / 6.0, abs=corner)


@given(target=st.floats(-0.25, 0.25), angle=st.floats(-0.15, 0.15), rate=rates, play=st.floats(0.0, 0.02), share=st.floats(-0.5, 0.5))
@settings(max_examples=40, deadline=None)
def test_step__means_of_the_exact_pieces(target, angle, rate, play, share):
    """Rate, stops and play met inside one step of 5 ms, integrated over 800 points of the piecewise closed form."""
    servo, h = servo_of(56.0, 0.75, 0.7, travel=0.2, backlash=play), 0.005
    start = angle + share * play
    fin = Fin(move(0.0, h, angle, rate, target, servo), h, start)
    t = np.linspace(0.0, h, 801)
    f = np.array([fin.at(each) for each in t])
    found = step_means(servo, target, h, angle=angle, rate=rate, fin=start)
    # from look to look: a corner of 0.7 rad/s, and what the motor at 1,400 rad/s^2 goes unseen as it meets its limit or turns round
    x = h / LOOKS
    off = 0.7 * x * x / h + 1400.0 * x * x / 8.0
    assert found[0] == pytest.approx(np.trapezoid(f, t) / h, abs=off)
    assert found[1] == pytest.approx(np.trapezoid(f * (h - t), t) / h**2, abs=off)


# ------------------------------------------------------------------ commands on their way


def issued_by(servo, commands):
    """Return what the servos take of a sequence of commands."""
    ring = np.zeros((ISSUED, 1))
    taken = []
    for tick, command in enumerate(commands):
        issue(0.0, np.array([command]), ring, tick, servo)
        taken.append(ring[tick % ISSUED, 0])
    return taken


def test_command__dead_band_resolution_and_travel():
    assert issued_by(servo_of(dead_band=0.01), [0.1, 0.105, 0.109, 0.111, 0.1]) == [0.1, 0.1, 0.1, 0.111, 0.1]
    assert issued_by(servo_of(resolution=0.02), [0.011, -0.011, 0.049]) == pytest.approx([0.02, -0.02, 0.04])
    assert issued_by(servo_of(travel=0.2), [0.3, -0.3]) == [0.2, -0.2]


DELAYS = [(0.0, 9, 9, 0.0), (0.02, 7, 7, 0.0), (0.025, 6, 7, 0.005), (0.3, -1, -1, 0.0)]


@pytest.mark.parametrize("delay, before, after, late", DELAYS)
def test_delay__target_is_the_command_of_so_long_ago(delay, before, after, late):
    """At tick 9 of 10 ms; before and after the part of a tick that is left of the delay."""
    servo, ring, target = servo_of(delay=delay), np.zeros((ISSUED, 1)), np.zeros(1)
    for tick in range(10):
        ring[tick, 0] = 1.0 + tick
    assert switch_delay(servo, 0.01)[1] == pytest.approx(late, abs=1e-12)
    for is_late, expected in ((1 if late else 0, before), (0, after)):
        pick_targets(ring, 9, is_late, servo, 0.01, np.array([0.5]), target)
        assert target[0] == (0.5 + 1.0 + expected if expected >= 0 else 0.5)
