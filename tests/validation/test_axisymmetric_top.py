"""A spinning axisymmetric body: nutation and precession, by the kernel's own step.

Source: q(t) = q0 cos nt, r(t) = -q0 sin nt, n = p (It - Ix)/It; precession L/It about the angular momentum, half-angle
atan(It q0/(Ix p)) (Landau and Lifshitz, Mechanics, sec. 35); numbers with mpmath 1.4.1.
"""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
from drivers import AT_REST, W, let_go, nose_of

IX, IT, SPIN, Q0 = 0.012, 1.5, 20.0, 0.5
STEP = 2.5e-4  # s: RK4 errs by 1e-10 at a nutation of 20 rad/s over 2 s
RATE = 1e-9  # rad/s
RATES = {0.1: (-0.2007727163991, -0.4579195522684), 1.0: (0.2741592726806, -0.4181347787535), 2.0: (-0.1993467728129, -0.4585421073021)}
PRECESSION = 0.5249761899363  # rad/s
HALF_ANGLE = 72.25532837494  # deg


def spun(until, rows):
    model = models.model(world=models.world(density=0.0, gravity=0.0), mass=models.mass(inertia=(IX, IT, IT, 0.0, 0.0, 0.0)))
    return let_go(model, models.draw(), [*AT_REST[:10], SPIN, Q0, 0.0], h=STEP, until=until, rows=rows)


def test_nutation__rates():
    rows = spun(2.0, 20)
    for t, expected in RATES.items():
        assert rows[round(10 * t), W][1:] == pytest.approx(expected, abs=RATE)
    assert np.all(rows[:, W][:, 0] == SPIN)


def test_precession__nose_circles_the_angular_momentum():
    rows = spun(12.0, 120)
    axis = np.array([IX * SPIN, IT * Q0, 0.0]) / math.hypot(IX * SPIN, IT * Q0)  # body and world axes agree at the start
    nose = nose_of(rows)
    off = np.degrees(np.arccos(nose @ axis))
    assert off == pytest.approx(HALF_ANGLE, abs=1e-7)
    across = nose - np.outer(nose @ axis, axis)
    first, second = across[0] / np.linalg.norm(across[0]), np.cross(axis, across[0]) / np.linalg.norm(across[0])
    turned = np.unwrap(np.arctan2(across @ second, across @ first))
    assert turned[-1] == pytest.approx(PRECESSION * rows[-1, 0], abs=1e-7)  # rad after 12 s; RK4's phase error is 1e-9
