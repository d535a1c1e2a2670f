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

from sixdof.core.actuator import ISSUED, issue, pick_targets, speeds, switch_delay

STEP = 1e-4  # s: RK4 at 60 rad/s then errs by 1e-12 of the step
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
