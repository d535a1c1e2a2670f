"""Below a canopy the body is a physical pendulum hung by its fore end: what gyros, accelerometers and the estimate then read."""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
from falls import G0, NOSE_DOWN, RHO, fall, terminal

import sixdof
from sixdof.core.layout import Log

MASS, LEVER, INERTIA, LINES, AIRFRAME = 3.0, 0.7, (0.01, 0.3, 0.3, 0.0, 0.0, 0.0), 0.4, 0.1
PULL = MASS * G0 * LINES / (LINES + AIRFRAME)  # N, what the airframe's own drag leaves to the canopy
NATURAL = math.sqrt(PULL * LEVER / INERTIA[1])  # rad/s
DAMPING = 0.15  # the library's own choice
FULL = models.canopy(LINES)


def hang(attitude, rates=(0.0, 0.0, 0.0), *, until=4.0, period=0.002, world=None):
    """Let the body hang, from a moment at which it already sinks as fast as it will."""
    return fall(
        [FULL],
        mass=MASS,
        speed=terminal(MASS, LINES + AIRFRAME),
        hanging=AIRFRAME,
        flown=AIRFRAME,
        world=world,
        attitude=attitude,
        rates=rates,
        time_limit=until,
        inertia=INERTIA,
        cg=LEVER,
        period=period,
    ).log[:-1]


def leaning(angle):
    """The attitude of a nose that leans from the vertical to the east by an angle, rad."""
    half = 0.5 * (0.5 * math.pi - angle)
    return math.cos(half), 0.0, -math.sin(half), 0.0


def axes(log):
    """Return the matrices body -> world of the rows of a log, (n, 3, 3)."""
    w, x, y, z = log[:, Log.Q_W : Log.Q_Z + 1].T
    return np.moveaxis(
        np.array(
            [
                [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
                [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
                [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
            ]
        ),
        -1,
        0,
    )


def test_small_swing__is_the_damped_oscillation_of_a_physical_pendulum():
    """J a'' + 2 D w0 J a' + F l a = 0 below a pull F: w0 = sqrt(F l/J). The next term of sin a is a/24 of a^2: 2e-5."""
    log = hang(leaning(0.02), until=3.0)
    t, angle = log[:, Log.TIME], np.arcsin(axes(log)[:, 0, 0])
    swing = NATURAL * math.sqrt(1.0 - DAMPING**2)
    expected = 0.02 * np.exp(-DAMPING * NATURAL * t) * (np.cos(swing * t) + DAMPING * NATURAL / swing * np.sin(swing * t))
    assert np.abs(angle - expected).max() < 1e-4 * 0.02
    assert 2.0 < NATURAL < 10.0


@pytest.mark.parametrize("period", [0.01, 0.02])
def test_small_swing__in_the_steps_of_a_real_flight_computer(period):
    """Looks 50 and 100 ms apart. Steps of at most 0.4 rad of the swing: RK4 errs by 0.4^4/120 of a radian a radian, 2e-4, and what is left
    of the amplitude after x radians, exp(-0.15 x) x, is at most 2.5 of it: 6e-4.
    """
    log = hang(leaning(0.02), until=3.0, period=period)
    t, angle = log[:, Log.TIME], np.arcsin(axes(log)[:, 0, 0])
    swing = NATURAL * math.sqrt(1.0 - DAMPING**2)
    expected = 0.02 * np.exp(-DAMPING * NATURAL * t) * (np.cos(swing * t) + DAMPING * NATURAL / swing * np.sin(swing * t))
    assert len(t) < 100 * 0.01 / period  # looks far enough apart for steps to be the swing's
    assert np.abs(angle - expected).max() < 1e-3 * 0.02


@pytest.mark.parametrize("earth_rate", [(0.0, 0.0, 0.0), (0.05, 0.2, -0.1)])
def test_attitude__turns_at_the_rate_the_gyros_read(earth_rate):
    """dq/dt by differences is half of q times the rate, less the world's own turning: here a thousand times the Earth's."""
    log = hang(leaning(1.2), (2.0, 0.5, -0.7), until=2.0, world=models.world(earth_rate=earth_rate))
    q, t = log[:, Log.Q_W : Log.Q_Z + 1], log[:, Log.TIME]
    even = np.flatnonzero(np.isclose(np.diff(t)[1:], np.diff(t)[:-1])) + 1
    slope = (q[even + 1] - q[even - 1]) / (t[even + 1] - t[even - 1])[:, None]
    w, v = q[even, :1], q[even, 1:]
    rate = 2.0 * (w * slope[:, 1:] - slope[:, :1] * v - np.cross(v, slope[:, 1:]))
    own = np.einsum("nji,j->ni", axes(log)[even], np.array(earth_rate))
    read = log[even, Log.RATE_X : Log.RATE_Z + 1] - own
    assert np.abs(rate - read).max() < 2e-3 * np.abs(read).max()  # (w h)^2/6 of the differences, h 10 ms at the most


def test_large_swing__loses_what_the_damping_takes():
    """Energy w I w/2 - F l cos(a) falls by the damping's work, the integral of 2 D w0 w I w; roll and precession are in it."""
    log = hang(leaning(1.5), (1.0, 0.0, 2.0), until=1.5)
    w, inertia = log[:, Log.RATE_X : Log.RATE_Z + 1], np.array(INERTIA[:3])
    twice_kinetic = w**2 @ inertia
    energy = 0.5 * twice_kinetic - PULL * LEVER * axes(log)[:, 2, 0]
    power = 2.0 * DAMPING * NATURAL * twice_kinetic
    t = log[:, Log.TIME]
    lost = np.append(0.0, np.cumsum(0.5 * (power[1:] + power[:-1]) * np.diff(t)))
    assert lost[-1] > 0.3 * PULL * LEVER
    assert np.abs(energy - energy[0] + lost).max() < 1e-3 * PULL * LEVER


def test_nose_down__turns_over_and_hangs():
    log = hang(NOSE_DOWN, (0.0, 0.01, 0.0), until=15.0, period=0.01)
    assert axes(log)[0, 2, 0] == pytest.approx(-1.0) and axes(log)[-1, 2, 0] == pytest.approx(1.0, abs=1e-6)
    assert np.abs(log[-1, Log.RATE_X : Log.RATE_Z + 1]).max() < 1e-3


@pytest.mark.parametrize("wind", [(0.0, 0.0), (6.0, -3.0)])
def test_steady_hang__the_accelerometers_read_one_g_along_the_axis(wind):
    """Whatever the wind: the body drifts with it."""
    fell = fall(
        [FULL],
        mass=MASS,
        height=400.0,
        speed=7.0,
        hanging=AIRFRAME,
        world=models.world(wind=wind),
        inertia=INERTIA,
        cg=LEVER,
        attitude=leaning(0.8),
        time_limit=40.0,
    )
    steady = fell.log[(fell.log[:, Log.TIME] > 25.0)][:-1]
    np.testing.assert_allclose(steady[:, Log.SPECIFIC_FORCE_X : Log.SPECIFIC_FORCE_Z + 1], [[G0, 0.0, 0.0]] * len(steady), atol=1e-4)
    assert len(steady) > 50


def test_opening_shock__is_felt_as_the_drag_over_the_mass():
    """In the axes of the body, wherever it points: the length of what is felt is rho V^2 A/(2 m)."""
    log = fall([models.canopy(LINES, 0.4)], mass=MASS, speed=60.0, hanging=AIRFRAME, inertia=INERTIA, cg=LEVER, attitude=leaning(2.0), time_limit=1.5).log[:-1]
    felt = np.linalg.norm(log[:, Log.SPECIFIC_FORCE_X : Log.SPECIFIC_FORCE_Z + 1], axis=1)
    speed = np.linalg.norm(log[:, Log.VELOCITY_EAST : Log.VELOCITY_UP + 1], axis=1)
    np.testing.assert_allclose(felt, 0.5 * RHO * speed**2 * log[:, Log.DRAG_AREA] / MASS, rtol=1e-9)
    # turned back into world axes it points against the way through the air
    back = np.einsum("nij,nj->ni", axes(log), log[:, Log.SPECIFIC_FORCE_X : Log.SPECIFIC_FORCE_Z + 1])
    along = -np.einsum("ni,ni->n", back, log[:, Log.VELOCITY_EAST : Log.VELOCITY_UP + 1]) / (felt * speed).clip(1e-12)
    assert along[felt > 0.1].min() > 1.0 - 1e-9


# ------------------------------------------------------------------ what the flight computer makes of it


def under_canopies(ds):
    return ds.isel(time=(ds.phase >= 4.0).values)


@pytest.fixture(scope="module")
def with_sensors(demo_path):
    """The demo that flies through waypoints, with real sensors."""
    mission = sixdof.load_mission(demo_path.with_name("waypoints.toml"))
    return mission, sixdof.fly(mission)


def test_estimate__of_sensors_without_errors_stays_the_truth(demo_mission):
    """Gyros and accelerometers that tell no lies: integrated from the rail to the ground they keep attitude and velocity.

    Attitude: trapezoids over ticks of 10 and 50 ms, (w h)^2/12 of swings of half a radian. Velocity: the computer's 9.80665 m/s^2 against the
    gravity of the place, 0.01 m/s^2 for 65 s.
    """
    ds = under_canopies(sixdof.fly(demo_mission.change({"sensors": {}, "estimator": {"baro_position": 0.0, "baro_velocity": 0.0}})))
    assert np.degrees(float(ds.attitude_error.max())) < 1.0
    assert float(ds.velocity_error.max()) < 1.2


def test_estimate__of_real_sensors_drifts_as_the_gyros_do(with_sensors):
    """Three standard deviations of bias over the whole flight, and of scale errors over the turns of the opening; not half a turn."""
    mission, ds = with_sensors
    drift = math.degrees(3.0 * mission.sensors.gyro.bias * float(ds.flight_time))
    hanging = under_canopies(ds)
    assert np.degrees(float(hanging.attitude_error.max())) < drift + 10.0 < 40.0
    assert float(hanging.velocity_error.max()) < 3.0


def test_rehearsal__of_the_recorded_flight_shows_one_burn(with_sensors):
    """The pull of an opening along the nose is not an ignition: after apogee none is noticed."""
    mission, ds = with_sensors
    bench = sixdof.rehearse(mission, ds)
    for what in ("ignition_noticed", "burnout_noticed"):
        assert np.isfinite(bench[what].values).sum() == 1
    assert float(under_canopies(ds)["specific_force"][:, 0].max()) > mission.detection.ignition_specific_force
