"""The built-in estimator: levelling, and errors that follow from those of the sensors in closed form."""

from __future__ import annotations

import math

import numpy as np
import pytest
from control_drivers import aligned, estimates, estimator
from scipy.spatial.transform import Rotation

from sixdof.core.computer.columns import ERROR_COLUMNS, ErrorColumn, EstimateColumn
from sixdof.core.constants import G0

PERIOD = 0.01
N = 1000
UP = (1.0, 0.0, 0.0, 0.0)  # body axes along east, north, up
REST = np.tile([0.0, 0.0, G0], (N, 1))


def turned(states):
    """Return the attitudes as Rotations."""
    return Rotation.from_quat(states[:, :4], scalar_first=True)


def test_gyro_bias__turns_the_attitude_by_b_t():
    bias = np.array([0.002, -0.001, 0.003])
    states = estimates(np.tile(bias, (N, 1)), REST)
    # the first tick's mean rate is half of it: the computer starts from rest
    assert turned(states)[-1].as_rotvec() == pytest.approx(bias * PERIOD * (N - 0.5), rel=1e-12)


def test_accelerometer_bias__moves_by_half_a_t_squared():
    bias = np.array([0.05, -0.02, 0.1])
    states = estimates(np.zeros((N, 3)), REST + bias)
    t = PERIOD * (N - 0.5)  # the first tick's mean is half of it
    assert states[-1, EstimateColumn.VELOCITY : EstimateColumn.VELOCITY + 3] == pytest.approx(bias * t, rel=1e-9)
    assert states[-1, EstimateColumn.POSITION : EstimateColumn.POSITION + 3] == pytest.approx(0.5 * bias * t * t, rel=1e-3)  # half a tick in the first 10 s


def test_tilted_attitude__leaks_gravity():
    """An attitude off by a about north takes g sin a of gravity for a horizontal acceleration, and g (1 - cos a) for a fall."""
    a = 0.01
    states = estimates(np.zeros((N, 3)), REST, start=(math.cos(a / 2), 0.0, math.sin(a / 2), 0.0))
    t = PERIOD * (N - 0.5)
    assert states[-1, EstimateColumn.VELOCITY] == pytest.approx(G0 * math.sin(a) * t, rel=1e-9)
    assert states[-1, EstimateColumn.VELOCITY + 2] == pytest.approx(-G0 * (1.0 - math.cos(a)) * t, rel=1e-6)


def test_earth_rate__is_taken_out():
    earth = (0.0, 5.8e-5, 4.5e-5)
    start = Rotation.from_euler("ZYX", [0.7, -1.3, 0.2])
    states = estimates(np.tile(start.inv().apply(earth), (N, 1)), REST, earth=earth, start=start.as_quat(scalar_first=True))
    assert (start.inv() * turned(states)[-1]).magnitude() < 1e-12


def test_turn__of_any_size_is_exact_about_a_fixed_axis():
    """90 deg in 0.1 s: the tick's turn by its exact formula to the sixth order, 0.157^7/(7! 2^6) a tick."""
    rate = np.array([9.0, -10.0, 8.0])
    rate *= 0.5 * math.pi / 0.1 / np.linalg.norm(rate)
    rates = np.tile(rate, (11, 1))
    states = estimates(rates, np.zeros((11, 3)))
    turn = (turned(states)[0].inv() * turned(states)[-1]).as_rotvec()  # the first tick starts from rest
    assert turn == pytest.approx(rate * 0.1, rel=1e-8)


# ---------------------------------------------------------------- aiding


def test_barometer__pulls_height_and_climb_to_it():
    """The gap decays; with gains k and c it settles for a steady acceleration error a at a T/c (steady climb rate)."""
    aids = estimator(baro_position=0.05, baro_velocity=0.5)
    still = estimates(np.zeros((3000, 3)), np.tile([0.0, 0.0, G0], (3000, 1)), aids=aids, heights=np.full(3000, 12.0))
    assert still[-1, EstimateColumn.POSITION + 2] == pytest.approx(12.0, abs=1e-3)
    error = 0.1
    off = estimates(np.zeros((3000, 3)), np.tile([0.0, 0.0, G0 + error], (3000, 1)), aids=aids, heights=np.zeros(3000))
    # steady: v gains error T and loses c gap a tick, so the gap before the pull is error T/c; after it (1 - k) of that
    assert off[-1, EstimateColumn.POSITION + 2] == pytest.approx(0.95 * error * PERIOD / 0.5, rel=1e-2)
    assert not off[:, EstimateColumn.POSITION : EstimateColumn.POSITION + 2].any()


@pytest.mark.parametrize("latency", [0.0, 0.08, 0.29])
def test_fix__of_a_steady_acceleration_leaves_the_estimate_at_the_truth(latency):
    """Ideal readings, fixes that are the truth of `latency` ago: they are carried over it exactly, so nothing moves the estimate."""
    acceleration, n = np.array([3.0, -2.0, 40.0]), 200
    t = PERIOD * np.arange(1, n + 1)
    first = 0.5 * acceleration * PERIOD  # the first tick's mean is half of it: so fast after it, and a quarter of a tick's way on

    def truth(time):
        since = (time - PERIOD)[:, None]
        return np.hstack([0.5 * first * PERIOD + first * since + 0.5 * acceleration * since**2, first + acceleration * since])

    fixes = truth(t - latency)
    fixes[np.arange(n) % 10 != 9] = np.nan
    aids = estimator(gnss_position=0.5, gnss_velocity=0.7)
    states = estimates(np.zeros((n, 3)), REST[:n] + acceleration, aids=aids, fixes=fixes, latency=latency)
    off = states[:, EstimateColumn.POSITION : EstimateColumn.POSITION + 6] - truth(t)
    assert np.abs(off).max() < 1e-11  # rounding of some 80 m after 200 ticks
    assert states[9, EstimateColumn.FIX_AGE] == latency and states[12, EstimateColumn.FIX_AGE] == pytest.approx(latency + 3 * PERIOD, rel=1e-12)


def test_fix__pulls_place_and_velocity_to_it():
    """At rest with latency, a gap that decays as (1 - share)^fixes; the velocity's own carry is none here."""
    n, aids = 100, estimator(gnss_position=0.1, gnss_velocity=0.25)
    there = np.tile([5.0, -3.0, 2.0, 0.0, 0.0, 0.0], (n, 1))
    states = estimates(np.zeros((n, 3)), REST[:n], aids=aids, fixes=there, latency=0.08)
    k = np.arange(1, n + 1)
    assert states[:, EstimateColumn.POSITION : EstimateColumn.POSITION + 3] == pytest.approx(there[:, :3] * (1.0 - 0.9 ** k[:, None]), abs=1e-12)
    assert not states[:, EstimateColumn.VELOCITY : EstimateColumn.VELOCITY + 3].any()
    moving = estimates(np.zeros((n, 3)), REST[:n], aids=aids._replace(gnss_position=0.0), fixes=there + [0, 0, 0, 1.0, 2.0, 0.0])
    assert moving[:, EstimateColumn.VELOCITY : EstimateColumn.VELOCITY + 3] == pytest.approx(np.array([1.0, 2.0, 0.0]) * (1.0 - 0.75 ** k[:, None]), abs=1e-12)


def test_magnetometer__turns_a_wrong_heading_back():
    """Share k a tick: the part of the error across the field decays as (1 - k)^n; that along the field stays."""
    share, n, heading = 0.02, 150, 0.02
    start = (math.cos(heading / 2), 0.0, 0.0, math.sin(heading / 2))
    field = np.array([0.0, 0.6, -0.8])
    states = estimates(np.zeros((n, 3)), np.zeros((n, 3)), start=start, aids=estimator(magnetic=share), magnets=np.tile(field, (n, 1)), field=field)
    error = turned(states).as_rotvec()
    along = error @ field
    across = np.linalg.norm(error - along[:, None] * field, axis=1)
    assert along == pytest.approx(np.full(n, -0.8 * heading), rel=1e-2)  # second order in the error
    assert across[-1] == pytest.approx(0.6 * heading * (1.0 - share) ** n, rel=2e-2)


# ---------------------------------------------------------------- on the rail


def test_alignment__the_heading_is_off_by_its_drawn_error():
    q = Rotation.random(random_state=2)
    est = Rotation.from_quat(aligned(q.as_quat(scalar_first=True), np.zeros(ERROR_COLUMNS), heading=0.02), scalar_first=True)
    turn = (est * q.inv()).as_rotvec()
    assert np.abs(turn[:2]).max() < 1e-12 < abs(turn[2]) < 0.08
    assert aligned((1.0, 0.0, 0.0, 0.0), np.zeros(ERROR_COLUMNS)) == pytest.approx([1.0, 0.0, 0.0, 0.0])


def test_alignment__is_level_by_its_own_accelerometers():
    """At rest what the biased accelerometers read must look like straight up: that is what levelling means."""
    q = Rotation.random(random_state=5)
    bias = np.array([0.1, -0.05, 0.08])
    constants = np.zeros(ERROR_COLUMNS)
    constants[ErrorColumn.ACCELEROMETER : ErrorColumn.ACCELEROMETER + 3] = bias
    est = Rotation.from_quat(aligned(q.as_quat(scalar_first=True), constants), scalar_first=True)
    seen = est.apply(q.inv().apply([0.0, 0.0, G0]) + bias)
    assert seen[:2] == pytest.approx([0.0, 0.0], abs=5e-3)  # m/s^2: second order, 0.13^2/9.8
