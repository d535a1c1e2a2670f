"""Filters of the flight computer: lag of the rate gyros, structural filter, computation delay; alone and in flight."""

from __future__ import annotations

import math

import numpy as np
import pytest
from models import gains
from plain_gains import waypoints
from scipy import signal

from sixdof._jit import kernel
from sixdof.autopilot.gains import gains_table, notch_numbers
from sixdof.autopilot.servo import servo_table
from sixdof.core import layout as ly
from sixdof.core.computer import control as co
from sixdof.core.computer.columns import ControlMemory, Gain
from sixdof.core.computer.sensors import lagged_rate
from sixdof.core.layout import Log, Sensed
from sixdof.core.types import Vec3
from sixdof.draws.packed import nominal_draw
from sixdof.mission.tables import Autopilot, Notch
from sixdof.study.loops.linear_flight import fly_track

PERIOD = 0.01
ROUNDING = 1e-12  # relative, of recursions over some hundred samples: each adds 1e-16, and their poles forget


# ---------------------------------------------------------------- lag of the rate gyros


@kernel
def _lagged(rates, lag, step, state, out):
    for k in range(rates.shape[0]):
        v = lagged_rate(Vec3(rates[k, 0], rates[k, 1], rates[k, 2]), lag, step, state)
        out[k, 0], out[k, 1], out[k, 2] = v.x, v.y, v.z


def lagged(rates, lag, step=PERIOD):
    """Return rates (ticks, 3) behind the gyros' lag, from rest."""
    rates = np.ascontiguousarray(rates, dtype=float)
    out = np.empty_like(rates)
    _lagged(rates, lag, step, np.zeros(6), out)
    return out


def rough(ticks=300):
    return np.random.default_rng(3).normal(size=(ticks, 3)) * [1.0, 0.3, 20.0]


@pytest.mark.parametrize("lag", [0.0004, 0.002, 0.01, 0.3])
def test_lag__is_the_exact_first_order_lag_of_straight_lines(lag):
    """scipy.signal.lsim, which is exact for an input that goes linearly between its samples (matrix exponential)."""
    rates = rough()
    times = PERIOD * np.arange(len(rates) + 1)
    for axis in range(3):
        wanted = signal.lsim(([1.0], [lag, 1.0]), np.concatenate([[0.0], rates[:, axis]]), times)[1][1:]
        assert lagged(rates, lag)[:, axis] == pytest.approx(wanted, rel=1e-9, abs=1e-10)  # lsim's exponential of a stiff matrix


def test_lag__of_a_step_and_of_a_steady_climb():
    """A step, taken within one tick: 1 - exp(-t/T) from its middle on but for (tick/T)^2/24; a ramp stays T behind, to rounding."""
    lag = 0.05
    t = PERIOD * np.arange(400)
    step = lagged(np.ones((400, 3)), lag)[:, 1]
    assert step == pytest.approx(1.0 - np.exp(-(t + 0.5 * PERIOD) / lag), abs=1.05 * (PERIOD / lag) ** 2 / 24.0)
    ramp = np.outer(t, [3.0, -1.0, 0.5])
    assert ramp[-1] - lagged(ramp, lag)[-1] == pytest.approx(lag * np.array([3.0, -1.0, 0.5]), rel=1e-12)


def test_lag__of_an_oscillation():
    """1/(1 + i s T) of all frequencies s that straight lines between samples of one oscillation hold: w and its images, by sinc^2."""
    lag, w = 0.03, 2.0 * math.pi / 0.32
    t = PERIOD * np.arange(32 * 60)
    out = lagged(np.outer(np.sin(w * t), [1.0, 0.0, 0.0]), lag)[:, 0]
    last = slice(-32 * 20, None)  # whole periods, 13 s = 400 lags after the start
    found = 2.0j * (out[last] * np.exp(-1j * w * t[last])).mean()
    images = w + 2.0 * math.pi / PERIOD * np.arange(-200, 201)
    wanted = (np.sinc(0.5 * images * PERIOD / math.pi) ** 2 / (1.0 + 1j * images * lag)).sum()
    assert found == pytest.approx(wanted, abs=1e-9)  # images beyond 200 weigh (w/200 turns)^2 each, and cancel in pairs
    assert found == pytest.approx(1.0 / (1.0 + 1j * w * lag), rel=(w * PERIOD) ** 2 / 12.0 * 1.1)  # what the corners cost


def test_lag__none_is_the_input_to_the_bit_a_short_one_nearly():
    rates = rough()
    assert np.array_equal(lagged(rates, 0.0), rates)
    late = 1e-9 * np.diff(rates, axis=0, prepend=0.0) / PERIOD  # a line's slope times the lag
    assert lagged(rates, 1e-9) == pytest.approx(rates - late, abs=1e-13)


def test_lag__two_ticks_in_one_step_or_in_two():
    """Where the computer takes ticks in pairs, a straight line between them gives the same."""
    rates = np.repeat(rough(100), 2, axis=0)
    rates[1:-1:2] = 0.5 * (rates[:-2:2] + rates[2::2])
    fine = lagged(np.concatenate([0.5 * rates[:1], rates]), 0.02)[1::2]
    assert lagged(rates[::2], 0.02, 2.0 * PERIOD) == pytest.approx(fine, rel=ROUNDING, abs=1e-12)


# ---------------------------------------------------------------- structural filter


@kernel
def _notched(demands, numbers, memory, channel, out):
    for k in range(demands.shape[0]):
        out[k] = co.notched(demands[k], numbers, memory, channel)


def notched(demands, numbers, channel=1):
    """Return demands (ticks,) behind the structural filter of five numbers."""
    demands = np.ascontiguousarray(demands, dtype=float)
    out = np.empty_like(demands)
    _notched(demands, head(numbers), np.zeros(ly.MEMORY_SIZE), np.int64(channel), out)
    return out


def head(numbers, **more):
    out = gains(**more)
    out[Gain.NOTCH_C0 : Gain.NOTCH_C0 + 5] = numbers
    return out


def polynomials(numbers):
    """Return (b, a) of 1 + (c0 + c1/z + c2/z^2)/(1 + a1/z + a2/z^2)."""
    c, a = np.array(numbers[:3]), np.array([1.0, *numbers[3:]])
    return c + a, a


@pytest.mark.parametrize("channel", [1, 2])
@pytest.mark.parametrize("numbers", [(-0.2, 0.3, 0.1, -1.1, 0.5), notch_numbers(Autopilot(notch=Notch(frequency=17.0)))])
def test_notched__is_the_difference_equation(numbers, channel):
    demands = rough()[:, 0]
    wanted = signal.lfilter(*polynomials(numbers), demands)
    assert notched(demands, numbers, channel) == pytest.approx(wanted, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    ("rate", "frequency", "depth", "width"), [(100.0, 17.0, 0.1, 0.5), (400.0, 31.0, 0.0, 0.1), (100.0, 49.0, 0.3, 2.0), (50.0, 0.5, 0.7, 0.05)]
)
def test_notch_numbers__are_the_bilinear_transform_prewarped(rate, frequency, depth, width):
    autopilot = Autopilot(rate=rate, notch=Notch(frequency=frequency, depth=depth, width=width))
    b, a = polynomials(notch_numbers(autopilot))
    w = 2.0 * rate * math.tan(math.pi * frequency / rate)
    wanted_b, wanted_a = signal.bilinear([1.0, 2.0 * depth * width * w, w * w], [1.0, 2.0 * width * w, w * w], fs=rate)
    assert b == pytest.approx(wanted_b, abs=1e-12) and a == pytest.approx(wanted_a, abs=1e-12)
    assert np.abs(np.roots(a)).max() < 1.0
    centre, level, top = signal.freqz(b, a, worN=[frequency, 0.0, 0.5 * rate], fs=rate, include_nyquist=True)[1]
    # rounding of the numbers, over the smallest |denominator| there, t^2 = 1e-3 at the worst
    assert abs(centre) == pytest.approx(depth, abs=1e-11)
    assert level == pytest.approx(1.0, abs=1e-11) and top == pytest.approx(1.0, abs=1e-11)
    # half power of a deep notch: w^2 - 1 = 2 width w in units of the centre, in analog frequency
    edge = w * (width + math.sqrt(width**2 + 1.0))
    side = signal.freqz(b, a, worN=[math.atan(edge / (2.0 * rate)) * rate / math.pi], fs=rate)[1]
    assert abs(side[0]) == pytest.approx(math.sqrt(0.5 * (1.0 + depth**2)), abs=1e-10)


def test_notched__zeros_change_no_bit():
    demands = rough()[:, 2]
    assert notch_numbers(Autopilot()) == (0.0,) * 5
    assert np.array_equal(notched(demands, (0.0,) * 5), demands)


@kernel
def _law(sensed, gains, memory, out, kept):
    for k in range(sensed.shape[0]):
        co.built_in_control(k * 0.01, sensed[k], memory, gains, out[k])
        for j in range(memory.shape[0]):
            kept[k, j] = memory[j]


def law(numbers, live, seed=5):
    """Return (demands (ticks, 3), memory (ticks, MEMORY_SIZE)) of the built-in law on rough attitudes and rates."""
    rng, n = np.random.default_rng(seed), len(live)
    sensed = np.zeros((n, len(ly.SENSED)))
    sensed[:, [Sensed.Q_W, Sensed.COMMANDED_W]] = 1.0
    sensed[:, Sensed.COMMANDED_X : Sensed.COMMANDED_X + 3] = 0.05 * rng.normal(size=(n, 3))
    sensed[:, Sensed.RATE_X : Sensed.RATE_X + 3] = 0.2 * rng.normal(size=(n, 3))
    sensed[:, Sensed.ENABLED], sensed[:, Sensed.PERIOD] = live, PERIOD
    out, kept = np.zeros((n, ly.DEMAND_SIZE)), np.empty((n, ly.MEMORY_SIZE))
    pd = (0.3, 0.0, 0.1, 0.0)
    _law(sensed, head(numbers, roll=pd, pitch=pd, yaw=pd, INTEGRAL=0.1), np.zeros(ly.MEMORY_SIZE), out, kept)
    return out[:, :3], kept


DEEP = notch_numbers(Autopilot(notch=Notch(frequency=12.0, depth=0.05)))


def test_law__filters_pitch_and_yaw_apart_and_leaves_roll():
    plain, filtered = law((0.0,) * 5, np.ones(80))[0], law(DEEP, np.ones(80))[0]
    assert np.array_equal(plain[:, 0], filtered[:, 0])
    wanted = signal.lfilter(*polynomials(DEEP), plain[:, 1:], axis=0)
    assert filtered[:, 1:] == pytest.approx(wanted, rel=1e-9, abs=1e-13)


def test_law__idle_fins_clear_the_filter():
    live = np.ones(90)
    live[30:60] = 0.0
    demands, memory = law(DEEP, live)
    state = slice(ControlMemory.NOTCH, ControlMemory.NOTCH + 6)
    assert memory[29, state][2:].all() and not memory[30:60, state].any() and not demands[30:60].any()
    plain = law((0.0,) * 5, live)[0]
    again = signal.lfilter(*polynomials(DEEP), plain[60:, 1:], axis=0)  # from rest, whatever came before
    assert demands[60:, 1:] == pytest.approx(again, rel=1e-9, abs=1e-13)


# ---------------------------------------------------------------- in flight


@pytest.fixture(scope="module")
def mission(demo_path):
    return waypoints(demo_path.parent)


def track_of(mission):
    return fly_track(mission, nominal_draw(mission), "test")


@pytest.fixture(scope="module")
def plain(mission):
    return track_of(mission).log


def same(a, b):
    return a.shape == b.shape and np.array_equal(a, b, equal_nan=True)


def test_gyro_lag__of_zero_flies_the_same_bits(mission, plain):
    assert same(track_of(mission.change({"sensors.gyro.lag": "0 s"})).log, plain)


def test_gyro_lag__in_flight_is_that_of_the_rates_flown(mission, plain):
    """Without other errors the gyros tell the rates of the log behind the lag; the flight is another one, and close."""
    clean = {f"sensors.gyro.{name}": 0.0 for name in ("bias", "noise", "scale", "misalignment")}
    track = track_of(mission.change(clean | {"sensors.gyro.lag": "20 ms"}))
    times = track.log[:, Log.TIME]
    ticks = np.arange(int(4.0 / PERIOD))
    assert times[ticks] == pytest.approx(PERIOD * ticks, abs=1e-12)  # a row a tick, from ignition on
    true, told = track.log[ticks, Log.RATE_X : Log.RATE_Z + 1], track.log[:, ly.LOG_COLUMNS + 3 * track.fins + Sensed.RATE_X :][ticks, :3]
    assert told == pytest.approx(lagged(true, 0.02), rel=1e-12, abs=1e-15)
    assert np.abs(told - true).max() > 0.01  # rad/s: the lag is felt
    without = track_of(mission.change(clean)).log
    places = [Log.EAST, Log.NORTH, Log.HEIGHT]
    apart = np.abs(track.log[ticks][:, places] - without[ticks][:, places]).max()
    assert 1e-4 < apart < 1.0  # m, over 4 s: a lag of 20 ms against a closed loop of some 10 rad/s


def test_computation_delay__adds_to_that_of_the_servos(mission, plain):
    assert mission.servo.delay == 0.012
    assert servo_table(mission.change({"autopilot.computation_delay": "4 ms"})).delay == 0.012 + 0.004
    here = track_of(mission.change({"autopilot.computation_delay": "12 ms", "servo.delay": "0 s"})).log
    assert same(here, plain)
    assert not same(track_of(mission.change({"autopilot.computation_delay": "4 ms"})).log, plain)


def test_computation_delay__is_refused_where_it_outlasts_what_is_kept(mission):
    late = mission.autopilot.model_copy(update={"computation_delay": 0.61})
    with pytest.raises(ValueError, match=r"servo.delay and autopilot.computation_delay, together 0\.622 s, must be at most 62 ticks"):
        servo_table(mission.model_copy(update={"autopilot": late}))


def test_notch__of_full_depth_flies_the_same_bits_a_deep_one_does_not(mission, plain):
    """depth = 1 passes everything: its numbers are zeros but for the denominator, and zeros times anything change no bit."""
    through = mission.change({"autopilot.notch": {"frequency": "20 Hz", "depth": 1.0}})
    assert gains_table(through)[Gain.NOTCH_C0 : Gain.NOTCH_C0 + 3].tolist() == [0.0] * 3
    assert same(track_of(through).log, plain)
    assert not same(track_of(mission.change({"autopilot.notch": {"frequency": "20 Hz"}})).log, plain)


def test_notch__in_flight_takes_its_frequency_out_of_the_demands(mission):
    """A law's demand in flight before and behind the filter: the log's demand is the filtered one of the same errors and rates."""
    deep = {"frequency": "12 Hz", "depth": 0.05}
    gains = {"autopilot.pitch": {"p": 0.0, "d": "0.03 s"}, "autopilot.yaw": {"p": 0.0, "d": "0.03 s"}, "autopilot.gain_reference_q": None}
    track = track_of(mission.change(gains | {"autopilot.notch": deep}))
    sensed = track.log[:, ly.LOG_COLUMNS + 3 * track.fins :]
    on = np.flatnonzero(sensed[:, Sensed.ENABLED] > 0.5)[:300]
    assert np.diff(on).max() == 1
    numbers = gains_table(mission.change({"autopilot.notch": deep}))[Gain.NOTCH_C0 : Gain.NOTCH_C0 + 5]
    for axis, column in ((1, Log.PITCH_DEMAND), (2, Log.YAW_DEMAND)):
        plain = -0.03 * sensed[on, Sensed.RATE_X + axis]
        assert track.log[on, column] == pytest.approx(signal.lfilter(*polynomials(numbers), plain), rel=1e-9, abs=1e-12)
