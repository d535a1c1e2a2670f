"""Gyro noise against its density by the Allan deviation, and the attitude under coning against its exact solution.

Allan deviation of white rate noise of density N: sigma(tau) = N/sqrt(tau) (IEEE Std 952-1997, annex C.1.1, angle random walk).
Coning: J. E. Bortz, "A new mathematical formulation for strapdown inertial navigation", IEEE Trans. AES 7, 1971; the body's axes
nod by an angle a about an axis that turns at the rate W, attitude q = (cos a/2, sin a/2 cos Wt, sin a/2 sin Wt, 0).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from control_drivers import estimates, readings, triad
from scipy.spatial.transform import Rotation

from sixdof.core.computer.columns import ErrorColumn
from sixdof.core.computer.sensors import GYRO

DENSITY = math.radians(0.01)  # rad/s/sqrt(Hz)
PERIOD = 0.01


def allan_deviation(rate, period, size):
    """Return the overlapping Allan deviation of a rate at clusters of `size` samples (IEEE Std 952, eq. C.2)."""
    angle = np.concatenate([[0.0], np.cumsum(rate) * period])
    second = angle[2 * size :] - 2.0 * angle[size:-size] + angle[: -2 * size]
    return math.sqrt(np.mean(second**2) / 2.0) / (size * period)


@pytest.mark.parametrize("size", [1, 4, 20, 100])
def test_gyro_noise__allan_deviation(size):
    count = 100_000
    rates = readings((0.1, 0.0, -0.2), triad(noise=DENSITY), first=ErrorColumn.GYRO, stream=GYRO, count=count, period=PERIOD)
    tau = size * PERIOD
    # relative error of one axis 1/sqrt(2 (n/m - 1)) (IEEE Std 952, eq. C.4); three axes, four deviations
    tolerance = 4.0 / math.sqrt(2.0 * 3.0 * (count / size - 1.0))
    found = math.sqrt(np.mean([allan_deviation(axis, PERIOD, size) ** 2 for axis in rates.T]))
    assert found == pytest.approx(DENSITY / math.sqrt(tau), rel=max(tolerance, 0.01))


# ---------------------------------------------------------------- coning

NOD, TURN = math.radians(5.0), 2.0 * math.pi * 3.0  # rad, rad/s


def coning(t):
    """Return exact attitudes and body rates (from w = 2 conj(q) dq/dt)."""
    s, c = math.sin(0.5 * NOD), math.cos(0.5 * NOD)
    quaternion = np.stack([c + 0.0 * t, s * np.cos(TURN * t), s * np.sin(TURN * t), 0.0 * t], axis=1)
    rates = np.stack([-2.0 * s * c * TURN * np.sin(TURN * t), 2.0 * s * c * TURN * np.cos(TURN * t), -2.0 * s * s * TURN + 0.0 * t], axis=1)
    return Rotation.from_quat(quaternion, scalar_first=True), rates


def drift(period, seconds=10.0):
    """Return the attitude's error vector after some seconds of coning, rad."""
    t = period * np.arange(round(seconds / period) + 1)
    truth, rates = coning(t)
    states = estimates(rates, np.zeros_like(rates), start=truth[0].as_quat(scalar_first=True), period=period)
    # the first tick turns by half its rate from rest: what follows is measured from there
    found = Rotation.from_quat(states[:, :4], scalar_first=True)
    return (truth[0] * (found[0].inv() * found[-1])).inv() * truth[-1]


def test_coning__rates_are_those_of_the_attitude():
    t = np.array([0.1, 0.1 + 1e-7])
    truth, rates = coning(t)
    assert (truth[0].inv() * truth[1]).as_rotvec() / 1e-7 == pytest.approx(rates[0], rel=1e-5)


def test_coning__drifts_little_and_less_with_the_square_of_the_tick():
    """A computer without the cross rate of the axes would drift by (1 - cos a) W = 0.072 rad/s, 0.72 rad in 10 s."""
    full = (1.0 - math.cos(NOD)) * TURN * 10.0
    coarse, fine = (drift(period).magnitude() for period in (0.01, 0.005))
    assert coarse < 0.05 * full
    assert coarse / fine == pytest.approx(4.0, rel=0.25)  # second order: rates are sampled, not integrated
