"""The servo chain against closed forms: delay, second order, rate limit, backlash, dead band, steps, stall torque, failure.

Second-order step: any control text, e.g. K. Ogata, Modern Control Engineering (2010), section 5.3 (overshoot, rise time).
Backlash: A. Gelb, W. E. Vander Velde, Multiple-Input Describing Functions (1968), section 2.3 (describing function of friction-
controlled backlash). Torque-speed line of a direct-current motor: speed = no-load speed times (1 - torque/stall torque).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from control_drivers import play_of, servo_chain
from hypothesis import given, settings
from hypothesis import strategies as st
from models import servo

import sixdof

FAST = servo(frequency=2000.0, damping=1.0, rate_limit=1e4, travel=10.0)  # follows at once: its lag is 2 z/w = 1 ms
STEPS = 20  # a tick: RK4 needs less than 2.8/w = 1.4 ms to be stable
FREQUENCY, DAMPING = 60.0, 0.6
SECOND = servo(frequency=FREQUENCY, damping=DAMPING, rate_limit=1e3, travel=10.0)
PERIOD = 0.01
RK4 = 1e-7  # of a step of 1: (60 rad/s x 0.5 ms)^5/120 a step, some hundred steps


def steps_at(commands, servo, **options):
    return servo_chain(commands, servo, period=PERIOD, steps=STEPS, **options)


# ---------------------------------------------------------------- second order


def test_step__overshoot_and_rise_time():
    """Overshoot exp(-pi z/sqrt(1 - z^2)); rise time 0 to 100 % (pi - acos z)/wd."""
    t, fin, _, _ = steps_at(np.full(30, 0.1), SECOND)
    damped = FREQUENCY * math.sqrt(1.0 - DAMPING**2)
    x = fin[:, 0] / 0.1
    peak = int(x.argmax())
    assert x[peak] - 1.0 == pytest.approx(math.exp(-math.pi * DAMPING / math.sqrt(1.0 - DAMPING**2)), rel=1e-3)  # between rows
    assert t[peak] == pytest.approx(math.pi / damped, abs=PERIOD / STEPS)
    first = int(np.argmax(x >= 1.0))
    rise = t[first - 1] + (1.0 - x[first - 1]) / (x[first] - x[first - 1]) * (t[first] - t[first - 1])
    assert rise == pytest.approx((math.pi - math.acos(DAMPING)) / damped, rel=1e-3)  # linear between rows 0.5 ms apart


# ---------------------------------------------------------------- transport delay


def second_order_step(t):
    """Return the unit step response at t, zero before zero."""
    t = np.maximum(t, 0.0)
    damped = FREQUENCY * math.sqrt(1.0 - DAMPING**2)
    wave = np.cos(damped * t) + DAMPING / math.sqrt(1.0 - DAMPING**2) * np.sin(damped * t)
    return 1.0 - np.exp(-DAMPING * FREQUENCY * t) * wave


@pytest.mark.parametrize("delay", [0.0, 0.0025, 0.005, 0.0073, 0.01, 0.012, 0.03, 0.62])
def test_delay__shifts_the_response_exactly(delay):
    t, fin, _, _ = steps_at(np.full(90, 0.1), SECOND._replace(delay=delay))
    assert fin[:, 0] / 0.1 == pytest.approx(second_order_step(t - delay), abs=RK4)


def test_delay__of_whole_ticks_gives_the_same_angles_later():
    rng = np.random.default_rng(3)
    commands = rng.uniform(-0.2, 0.2, (40, 3))
    now = steps_at(commands, SECOND)[1]
    late = steps_at(commands, SECOND._replace(delay=7 * PERIOD))[1]
    shift = 7 * STEPS
    assert late[shift:] == pytest.approx(now[:-shift], abs=1e-12) and not late[:shift].any()  # steps' ends round elsewhere


# ---------------------------------------------------------------- rate limit


def test_rate_limit__a_large_sine_becomes_a_triangle():
    """Where the command outruns the limit R all the time, the output is a triangle of slope R and amplitude R T/4."""
    limit, cycle = 2.0, 0.4  # rad/s, s
    ticks = np.arange(int(6 * cycle / PERIOD))
    commands = 5.0 * np.sign(np.sin(2.0 * math.pi * (ticks + 0.5) * PERIOD / cycle))
    t, fin, _, _ = steps_at(commands, FAST._replace(rate_limit=limit))
    last = fin[t > 3 * cycle, 0]
    assert np.ptp(last) == pytest.approx(2.0 * limit * cycle / 4.0, rel=0.01)  # the turn takes the servo's 1 ms of 100
    slopes = np.abs(np.diff(last)) / (t[1] - t[0])
    assert np.median(slopes) == pytest.approx(limit, rel=1e-9) and slopes.max() <= limit * (1.0 + 1e-9)


# ---------------------------------------------------------------- backlash

AMPLITUDE = 0.1


@pytest.mark.parametrize("play", [0.02, 0.08, 0.15])
def test_backlash__loop_area_and_describing_function(play):
    """Half-play b = play/2, m = 1 - 2 b/A: real part (pi/2 + asin m + m sqrt(1 - m^2))/pi, imaginary -4 b (1 - b/A)/(pi A).

    The loop fin over motor is a parallelogram of area 4 b (A - b).
    """
    n = 40_000
    phase = 2.0 * math.pi * np.arange(2 * n) / n
    motor = AMPLITUDE * np.sin(phase)
    fin = play_of(motor, play)[n:]  # the second turn: the first starts from rest
    phase, motor = phase[n:], motor[n:]
    b = 0.5 * play
    m = 1.0 - 2.0 * b / AMPLITUDE
    real = 2.0 * np.mean(fin * np.sin(phase)) / AMPLITUDE
    imaginary = 2.0 * np.mean(fin * np.cos(phase)) / AMPLITUDE
    grid = 1e-6  # a sum over 40,000 points of a curve with corners
    assert real == pytest.approx((0.5 * math.pi + math.asin(m) + m * math.sqrt(1.0 - m * m)) / math.pi, abs=grid)
    assert imaginary == pytest.approx(-4.0 * b / (math.pi * AMPLITUDE) * (1.0 - b / AMPLITUDE), abs=grid)
    area = np.sum(motor * (np.roll(fin, -1) - fin))  # closed curve
    assert abs(area) == pytest.approx(4.0 * b * (AMPLITUDE - b), rel=1e-3)
    assert fin.max() == pytest.approx(AMPLITUDE - b, rel=1e-6)


def test_backlash__in_the_chain_the_fin_lags_by_half_of_it():
    """A slow ramp up, then down: the fin stays half the play behind, and stands still while the play is taken up."""
    up = 0.2 * np.linspace(0.0, 1.0, 200)
    t, fin, motor, _ = steps_at(np.concatenate([up, up[::-1]]), FAST._replace(backlash=0.01))
    rising = (t > 0.5) & (t < 1.9)
    assert (motor - fin)[rising, 0] == pytest.approx(0.005, rel=1e-12)
    assert (fin - motor)[t > 2.5, 0] == pytest.approx(0.005, rel=1e-12)
    turn = (t > 2.01) & (t < 2.05)  # 0.1 rad/s takes 0.1 s through 0.01 rad of play
    assert np.ptp(fin[turn]) == 0.0 < np.ptp(motor[turn])


@given(seed=st.integers(0, 10**6), play=st.floats(0.0, 0.2))
@settings(deadline=None)
def test_backlash__never_more_than_half_the_play_apart(seed, play):
    motor = np.cumsum(np.random.default_rng(seed).normal(0.0, 0.03, 300))
    fin = play_of(motor, play)
    assert np.abs(fin - motor).max() <= 0.5 * play + 1e-15
    moved = np.diff(fin) != 0.0  # it moves only when it is pushed: at one end of the play
    assert np.abs(fin - motor)[1:][moved] == pytest.approx(0.5 * play, abs=1e-12)


# ---------------------------------------------------------------- steps of the command


def test_resolution__the_nearest_multiple():
    commands = np.linspace(-0.1, 0.1, 81)
    _, fin, _, _ = steps_at(commands, FAST._replace(resolution=0.008))
    settled = fin[STEPS - 1 :: STEPS, 0]
    assert settled == pytest.approx(0.008 * np.floor(commands / 0.008 + 0.5), abs=1e-6)  # 20 time constants a tick


def test_dead_band__only_larger_changes_are_taken():
    commands = [0.10, 0.104, 0.106, 0.101, 0.1, 0.0949, 0.0951]
    _, fin, _, _ = steps_at(commands, FAST._replace(dead_band=0.005))
    assert fin[STEPS - 1 :: STEPS, 0] == pytest.approx([0.10, 0.10, 0.106, 0.106, 0.1, 0.0949, 0.0949], abs=1e-6)


def test_centring__turns_every_command():
    _, fin, _, _ = steps_at(np.full(20, 0.05), FAST, centring=0.01)
    assert fin[-1, 0] == pytest.approx(0.06, abs=1e-9)


# ---------------------------------------------------------------- load


@pytest.mark.parametrize("share", [-1.2, -1.0, -0.6, -0.25, 0.0, 0.25, 1.0, 3.0])
@pytest.mark.parametrize("side", [1.0, -1.0])
def test_stall_torque__speed_falls_on_a_straight_line(share, side):
    """Against the load speed = no-load speed (1 - load/stall torque), zero beyond; with it the no-load speed."""
    limit, stall = 3.0, 0.2
    loaded = FAST._replace(rate_limit=limit, stall_torque=stall)
    t, fin, _, _ = steps_at(np.full(60, 9.0 * side), loaded, hinge=share * stall * side)
    speed = np.abs(fin[-1, 0] - fin[-11, 0]) / (t[-1] - t[-11])
    assert speed == pytest.approx(limit * min(max(1.0 + share, 0.0), 1.0), abs=1e-9)


# ---------------------------------------------------------------- failures


def test_failure__stuck_holds_and_dead_carries_nothing():
    t = PERIOD * np.arange(60)
    commands = np.tile(0.1 * np.sin(20.0 * t)[:, None], (1, 3))
    times, fin, _, carried = steps_at(commands, SECOND, failure=[[1.0, 0.2], [2.0, 0.3], [0.0, 0.0]])
    for i, when in ((0, 0.2), (1, 0.3)):
        before, after = times <= when + 1e-9, times > when + 1e-9
        assert np.ptp(fin[after, i]) == 0.0 < np.ptp(fin[before, i])
        assert np.array_equal(fin[before, i], fin[before, 2])
    assert carried.tolist() == [1.0, 0.0, 1.0]


def test_failure__in_flight(demo_mission):
    """A fin stuck at 0.6 s stays where it was; a dead one makes no hinge moment any more."""
    mission = demo_mission.change({"servo.failure": [{"fin": 2, "kind": "stuck", "time": "0.6 s"}, {"fin": 3, "kind": "dead", "time": "1 s"}]})
    ds, sound = sixdof.fly(mission), sixdof.fly(demo_mission)
    up = ds.sel(time=slice(None, float(ds.apogee_time)))
    angle = up.fin_angle.values[up.time.values > 0.61]
    assert np.ptp(angle[:, 1]) == 0.0 != angle[0, 1]
    assert np.ptp(angle[:, 0]) > math.radians(0.5)
    early = slice(None, 0.6)
    assert np.array_equal(ds.fin_angle.sel(time=early).values, sound.fin_angle.sel(time=early).values)
    dead = up.hinge_moment.values[up.time.values > 1.01]
    assert np.abs(dead[:, 2]).max() == 0.0 < np.abs(dead[:, 3]).max()
