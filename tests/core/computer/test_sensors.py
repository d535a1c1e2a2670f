"""Sensors one by one: constant errors, noise, range, lag of the barometer, rate, latency and drop-out of the receiver."""

from __future__ import annotations

import math

import numpy as np
import pytest
from control_drivers import barometer, chance, constants_of, fixes, readings, triad

import sixdof
from sixdof.core.computer.columns import ERROR_COLUMNS, ErrorColumn
from sixdof.core.computer.sensors import ACCELEROMETER, GYRO, Barometer, Gnss, Magnetometer, Sensors
from sixdof.core.layout import OUTCOMES
from sixdof.core.types import Vec3

PERIOD = 0.01
TRUTH = (0.3, -2.0, 1.1)
QUIET = Gnss(0.0, 0.0, 0, 1, math.inf, math.inf)


def gyro(sensor, *, constants=None, count=1, **more):
    return readings(TRUTH, sensor, first=ErrorColumn.GYRO, stream=GYRO, count=count, constants=constants, **more)


def sensors(gyro=triad(), accelerometer=triad(), barometer=Barometer(0.0, 0.0, 0.0, 1)):
    return Sensors(0, gyro, accelerometer, Magnetometer(0.0, 0.0, Vec3(0.0, 1.0, 0.0), 0), barometer, QUIET)


def test_inertial__ideal_is_the_truth():
    assert np.array_equal(gyro(triad(), count=3), np.tile(TRUTH, (3, 1)))


def test_inertial__bias_scale_and_misalignment():
    """(1 + s)(w + m x w) + b, axis by axis."""
    constants = np.zeros(ERROR_COLUMNS)
    bias, scale, turn = np.array([0.01, -0.02, 0.03]), np.array([0.1, 0.2, -0.1]), np.array([0.001, 0.002, -0.003])
    constants[:9] = [*bias, *scale, *turn]
    wanted = (1.0 + scale) * (TRUTH + np.cross(turn, TRUTH)) + bias
    assert gyro(triad(), constants=constants)[0] == pytest.approx(wanted, rel=1e-14)


def test_inertial__is_cut_at_its_range():
    assert gyro(triad(range=1.0))[0] == pytest.approx([0.3, -1.0, 1.0])


def test_constants__are_drawn_once_a_flight_with_their_deviations():
    """Over 3,000 flights and three axes mean and deviation of each error are off by 1/sqrt(9000) = 1.1 % of the deviation."""
    case = sensors(triad(bias=0.2, scale=0.01, misalignment=0.003), triad(bias=3.0), Barometer(1.5, 0.0, 0.0, 1))
    rows = np.array([constants_of(case, chance(7, flight)) for flight in range(3000)])
    for first, sd in ((ErrorColumn.GYRO, 0.2), (ErrorColumn.GYRO + 3, 0.01), (ErrorColumn.GYRO + 6, 0.003), (ErrorColumn.ACCELEROMETER, 3.0)):
        values = rows[:, first : first + 3]
        assert values.std() == pytest.approx(sd, rel=4 * 0.0075) and abs(values.mean()) < 4 * 0.0106 * sd
        assert np.abs(np.corrcoef(values.T) - np.eye(3)).max() < 0.08  # 4/sqrt(3000)
    assert rows[:, ErrorColumn.BAROMETER].std() == pytest.approx(1.5, rel=4 * 0.013)
    assert not rows[:, ErrorColumn.ACCELEROMETER + 3 : ErrorColumn.ACCELEROMETER + 9].any()
    assert np.array_equal(rows[11], constants_of(case, chance(7, 11)))


def test_noise__deviation_at_two_rates_and_no_memory():
    """A sample at rate f of noise of density N has the deviation N sqrt(f)."""
    for period in (0.01, 0.0025):
        noise = gyro(triad(noise=0.02), count=20_000, period=period) - TRUTH
        assert noise.std() == pytest.approx(0.02 / math.sqrt(period), rel=4 / math.sqrt(120_000))
        assert abs((noise[1:] * noise[:-1]).mean()) < 4 * noise.var() / math.sqrt(60_000)
    same = gyro(triad(noise=0.02), count=50)
    assert np.array_equal(same, gyro(triad(noise=0.02), count=80)[:50])
    assert not np.any(same == gyro(triad(noise=0.02), count=50, chance=chance(1, 1)))
    felt = readings(TRUTH, triad(noise=0.02), first=ErrorColumn.ACCELEROMETER, stream=ACCELEROMETER, count=50)
    assert not np.any(same == felt)


# ---------------------------------------------------------------- barometer


def test_barometer__lag_of_a_step_and_of_a_climb():
    """First order: a step is followed as 1 - exp(-t/T), a steady climb v stays v T behind, less the mean of a tick's own climb."""
    lag, n = 0.2, 200
    step = barometer([0.0, *np.ones(n)], Barometer(0.0, 0.0, lag, 1))[1:]
    t = PERIOD * np.arange(1, n + 1)
    assert step == pytest.approx(1.0 - np.exp(-t / lag), abs=1e-12)
    climb = 50.0 * PERIOD * np.arange(400)
    behind = (climb - barometer(climb, Barometer(0.0, 0.0, lag, 1)))[-1]
    assert behind == pytest.approx(50.0 * (lag - 0.5 * PERIOD), rel=1e-3)  # next term (tick/T)^2/12


def test_barometer__without_lag_reads_the_height_bias_and_noise():
    heights = np.linspace(0.0, 100.0, 5000)
    constants = np.zeros(ERROR_COLUMNS)
    constants[ErrorColumn.BAROMETER] = 2.5
    off = barometer(heights, Barometer(0.0, 0.4, 0.0, 1), constants=constants) - heights
    assert off.mean() == pytest.approx(2.5, abs=4 * 0.4 / math.sqrt(5000))
    assert off.std() == pytest.approx(0.4, rel=4 / math.sqrt(10_000))


# ---------------------------------------------------------------- receiver


def path(ticks):
    t = PERIOD * np.arange(ticks)
    return np.stack([3.0 * t, -t, 100.0 * t, 3.0 + 0.0 * t, -1.0 + 0.0 * t, 100.0 + 0.0 * t], axis=1)


@pytest.mark.parametrize(("every", "latency"), [(1, 0), (10, 0), (10, 7), (20, 30), (1, 255)])
def test_receiver__rate_and_latency_exactly(every, latency):
    places = path(700)
    out = fixes(places, QUIET._replace(every=every, latency=latency))
    at = np.flatnonzero(out[:, 0])
    assert np.array_equal(at, [k for k in range(700) if k % every == 0 and k >= latency])
    assert np.array_equal(out[at, 1:], places[at - latency])
    between = np.flatnonzero(out[:, 0] == 0.0)
    between = between[between > at[0]]
    assert np.array_equal(out[between, 1:], out[between - 1, 1:])  # the last fix stands


def test_receiver__is_silent_above_a_force_or_a_speed():
    force, speed = np.zeros(100), np.zeros(100)
    force[20:40], speed[60:80] = 51.0, 301.0
    out = fixes(path(100), QUIET._replace(specific_force_limit=50.0, speed_limit=300.0), force=force, speed=speed)
    silent = np.flatnonzero(out[:, 0] == 0.0)
    assert np.array_equal(silent, [*range(20, 40), *range(60, 80)])


def test_receiver__not_fitted():
    assert not fixes(path(50), QUIET._replace(every=0)).any()


def test_receiver__noise_of_position_and_velocity():
    out = fixes(path(4000), QUIET._replace(position=1.2, velocity=0.1))[:, 1:] - path(4000)
    tolerance = 4 / math.sqrt(24_000)
    assert out[:, :3].std() == pytest.approx(1.2, rel=tolerance) and out[:, 3:].std() == pytest.approx(0.1, rel=tolerance)


def test_receiver__six_errors_have_nothing_to_do_with_each_other():
    n = 4000
    out = fixes(path(n), QUIET._replace(position=1.2, velocity=0.1))[:, 1:] - path(n)
    assert np.abs(np.corrcoef(out.T) - np.eye(6)).max() < 4.0 / math.sqrt(n)  # four standard errors of a correlation of zero
    late = np.corrcoef(np.hstack([out[1:], out[:-1]]).T)[:6, 6:]  # nor with the fix before
    assert np.abs(late).max() < 4.0 / math.sqrt(n)


# ---------------------------------------------------------------- whole flights


@pytest.fixture(scope="module")
def mission(demo_path):
    return sixdof.load_mission(demo_path.with_name("waypoints.toml"))


def test_flight__flown_again_alone_has_the_same_sensors_to_the_bit(mission):
    flights = sixdof.disperse(mission, 9, seed=21, threads=2, progress=False)
    for number in (0, 5, 8):
        alone = sixdof.fly(mission, flight=number, seed=21)
        for name in (*OUTCOMES, "waypoint_time", "waypoint_miss"):
            np.testing.assert_array_equal(alone[name].values, flights[name].sel(flight=number).values, err_msg=name)
    again = sixdof.fly(mission, flight=5, seed=21)
    other = sixdof.fly(mission, flight=5, seed=22)
    for name in ("estimated_height", "estimated_attitude", "attitude_error"):
        assert np.array_equal(again[name].values, sixdof.fly(mission, flight=5, seed=21)[name].values)
        assert not np.array_equal(again[name].values, other[name].values)


def test_flight__ideal_sensors_have_no_errors(demo_flight):
    ticks = demo_flight.isel(time=slice(None, -1))  # the landing lies between two ticks of the computer
    assert float(ticks.attitude_error.max()) < 1e-14  # a unit quaternion's rounding
    assert float(ticks.position_error.max()) == float(ticks.velocity_error.max()) == 0.0


def test_flight__the_estimate_stays_near_the_truth(mission):
    """Bounds from the sensors: 1 deg of heading, 0.05/9.8 rad of levelling twice, 0.1 deg/s over 11 s, 0.3 deg of the rest."""
    ds = sixdof.disperse(mission, 30, seed=4, progress=False)
    degrees = math.hypot(1.0, math.degrees(0.05 / 9.8) * 2.0, 0.1 * 11.0, 0.3)
    assert np.degrees(ds.attitude_error_max.values).max() < 3.0 * degrees
    assert ds.position_error_max.values.max() < 10.0  # fixes of 1 m and a barometer of 0.5 m
    # 0.3 % of scale and 0.3 deg of levelling on the 90 m/s of the burn, three deviations of both together, before the fixes pull them back
    assert ds.velocity_error_max.values.max() < 2.0
