"""One actuator against the closed forms of a second-order loop and of its limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drivers import servo_response
from hypothesis import given, settings
from hypothesis import strategies as st
from independent_servo import move

from sixdof.core.types import Servo

STEP = 1e-4  # s: RK4 at 60 rad/s then errs by 1e-12 of the step
EXACT = 1e-10  # relative
FREE = Servo(frequency=60.0, damping=0.6, rate_limit=1e3, acceleration_limit=math.inf, travel=10.0)


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
    servo = Servo(56.0, 0.75, 0.7, 80.0 if limited else math.inf, 0.2)
    out = servo_response(servo, command, h=STEP, steps=100, angle=angle, rate=rate)
    pieces = move(0.0, 0.01, angle, rate, command, servo)
    # a limit is met inside a step and felt at its end: the rate is off by at most the largest acceleration,
    # 1,500 rad/s^2, times a step where the actuator leaves a stop, and by a square of the step elsewhere
    hit = np.abs(out[:, 0]).max() == servo.travel
    late = 1500.0 * STEP * (0.01 if hit else 2.0 * STEP)
    assert out[-1, 0] == pytest.approx(pieces[-1].at(0.01)[0], abs=late)


@given(angle=angles, rate=rates, command=st.floats(-1.0, 1.0))
@settings(max_examples=60, deadline=None)
def test_limits__never_passed(angle, rate, command):
    servo = Servo(56.0, 0.3, 0.7, 80.0, 0.2)
    out = servo_response(servo, command, h=5e-3, steps=60, angle=angle, rate=rate)
    assert np.abs(out[:, 0]).max() <= 0.2 and np.abs(out[:, 1]).max() <= 0.7
    mirrored = servo_response(servo, -command, h=5e-3, steps=60, angle=-angle, rate=-rate)
    assert np.array_equal(mirrored, -out)
