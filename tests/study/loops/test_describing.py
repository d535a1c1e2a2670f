"""Describing functions against the elements themselves, and predicted limit cycles against simulated loops."""

from __future__ import annotations

import math
from functools import partial

import numpy as np
import pytest
from control_drivers import play_of
from hypothesis import given, settings
from hypothesis import strategies as st
from models import servo

from sixdof.core.actuator import ISSUED, issue
from sixdof.study.loops.describing import backlash, command_dead_band, dead_zone, first_harmonic, harmonic_balance, quantiser, rate_limit, saturation

SAMPLES = 20_000
CORNERS = 1e-6  # first harmonic of a curve with corners: (2 pi/20,000)^2 = 1e-7 each
STEPS = 2e-4  # of a curve with a few steps: each falls within 2 pi/20,000 = 3e-4 of its place, and sizes are below 1
USUAL = 0.10  # what a describing function is usually trusted to; what was measured stands in each test


def issued(signal, **imperfections):
    """Return the commands that `core.actuator.issue` takes of a row of wanted ones."""
    limits = servo(travel=10.0, **imperfections)
    kept, out = np.zeros((ISSUED, 1)), np.empty(signal.size)
    for tick in range(signal.size):
        issue(0.0, signal[tick : tick + 1], kept, np.int64(tick), limits)
        out[tick] = kept[tick % ISSUED, 0]
    return out


# ---------------------------------------------------------------- closed forms against the elements


def test_backlash__is_that_of_the_core():
    amplitude = np.array([0.0501, 0.06, 0.1, 0.4, 3.0])
    found = first_harmonic(partial(play_of, play=0.1), amplitude, samples=SAMPLES)
    assert found == pytest.approx(backlash(amplitude, 0.1), abs=CORNERS)


def test_quantiser__is_that_of_the_core():
    amplitude = np.array([0.0049, 0.0051, 0.0075, 0.02, 0.033])
    found = first_harmonic(partial(issued, resolution=0.01), amplitude, samples=4_000, periods=1)
    assert found == pytest.approx(quantiser(amplitude, 0.01), abs=5.0 * STEPS)  # a fifth of the samples


def test_command_dead_band__is_that_of_the_core():
    amplitude = np.array([0.0099, 0.0101, 0.0149, 0.025, 0.043])
    found = first_harmonic(partial(issued, dead_band=0.01), amplitude, samples=8_000)
    # every step is taken up to one sample late, 2 pi/8,000 = 8e-4 of the amplitude, and carries that on to the next one
    assert found == pytest.approx(command_dead_band(amplitude, 0.01), abs=4e-3)
    assert found[0] == 0.0 and abs(found[1]) > 0.8


def test_saturation_and_dead_zone__are_theirs():
    amplitude = np.array([0.02, 0.1, 0.11, 0.5, 20.0])
    found = first_harmonic(lambda u: np.clip(u, -0.1, 0.1), amplitude, samples=SAMPLES)
    assert found == pytest.approx(saturation(amplitude, 0.1), abs=CORNERS)
    found = first_harmonic(lambda u: u - np.clip(u, -0.1, 0.1), amplitude, samples=SAMPLES)
    assert found == pytest.approx(dead_zone(amplitude, 0.1), abs=CORNERS)


def limited(signal, step):
    """Return a signal followed no faster than `step` a sample."""
    out = np.empty(signal.size)
    y = 0.0
    for k, u in enumerate(signal.tolist()):
        y = min(max(u, y - step), y + step)
        out[k] = y
    return out


@pytest.mark.parametrize("share", [2.0, 0.999, 0.9, 0.7, 0.55, 0.53, 0.3, 0.05])
def test_rate_limit__is_that_of_stepping_it(share):
    """Of the limit in the largest rate of the input; ten periods, because a triangle that began off centre comes back to it slowly."""
    amplitude, w, samples = 0.2, 7.0, 5_000
    limit = share * amplitude * w
    step = limit * 2.0 * math.pi / w / samples
    periods = 40 if share < 0.1 else 10
    found = first_harmonic(partial(limited, step=step), amplitude, samples=samples, periods=periods)
    assert found == pytest.approx(rate_limit(amplitude, w, limit), abs=1e-3)  # the output turns a sample late: 2 pi/5,000


def test_rate_limit__is_continuous_and_takes_arrays():
    onset = 1.0 / math.sqrt(1.0 + 0.25 * math.pi**2)
    below, above = rate_limit(1.0, 1.0, onset * (1.0 - 1e-9)), rate_limit(1.0, 1.0, onset * (1.0 + 1e-9))
    assert below == pytest.approx(above, abs=1e-8)  # slopes of order 1 over 2e-9
    assert rate_limit(1.0, 1.0, 1.0 - 1e-9) == pytest.approx(1.0, abs=1e-8)
    table = rate_limit([[0.0], [0.1], [3.0]], [1.0, 20.0], 1.0)
    assert table.shape == (3, 2) and table[0] == pytest.approx(1.0) and table[1, 0] == 1.0
    assert table[2, 1] == pytest.approx(4.0 / (60.0 * math.pi) * np.exp(-1j * math.acos(math.pi / 120.0)), rel=1e-12)


# ---------------------------------------------------------------- what must hold for any size


@given(amplitude=st.floats(0.0, 1e6), play=st.floats(0.0, 1e3))
@settings(deadline=None)
def test_backlash__never_amplifies_and_never_leads(amplitude, play):
    n = complex(backlash(amplitude, play))
    assert abs(n) <= 1.0 + 1e-12 and n.imag <= 0.0 and n.real >= 0.0  # rounding of asin and sqrt
    assert (n == 0.0) == (play > 0.0 and amplitude <= 0.5 * play) or amplitude < 0.5001 * play  # just above it rounds to zero


@given(share=st.floats(1e-6, 5.0))
@settings(deadline=None)
def test_rate_limit__never_amplifies_and_never_leads(share):
    n = complex(rate_limit(2.0, 3.0, 6.0 * share))
    assert abs(n) <= 1.0 + 1e-12 and n.imag <= 1e-12


def test_large_amplitudes__see_no_imperfection_small_ones_all_of_it():
    far = 1e4
    assert backlash(far, 1.0) == pytest.approx(1.0 - 2.0j / (math.pi * far), abs=1e-6)  # the next term is (play/A)^1.5
    assert quantiser(far, 1.0) == pytest.approx(1.0, abs=far**-1.5)
    assert command_dead_band(far, 1.0) == pytest.approx(1.0 - 2.0j / (math.pi * far), abs=2.0 * far**-1.5)  # as a play
    assert dead_zone(far, 1.0) == pytest.approx(1.0 - 4.0 / (math.pi * far), abs=1e-9)
    assert saturation(far, 1.0) == pytest.approx(4.0 / (math.pi * far), abs=1e-9)  # a relay: 4 M/(pi A)
    assert quantiser(1e7, 1.0) == 1.0
    nothing = [0.0, 0.4]
    for element in (partial(backlash, play=1.0), partial(quantiser, resolution=1.0), partial(command_dead_band, dead_band=1.0)):
        assert not element(nothing).any()
    assert saturation(nothing, 1.0) == pytest.approx(1.0) and not dead_zone(nothing, 1.0).any()


def test_no_imperfection__is_one_whatever_the_amplitude():
    for element in (backlash, quantiser, command_dead_band, dead_zone):
        assert element([0.0, 1e-9, 1.0], 0.0) == pytest.approx(1.0, abs=1e-15)


def test_quantiser__largest_where_one_step_is_seen_at_its_best():
    """4 r/(pi A) sqrt(1 - r^2/(4 A^2)) is largest at A = r/sqrt 2, with 4/pi (first step alone, by hand)."""
    amplitude = np.linspace(0.4, 20.0, 40_001)
    n = quantiser(amplitude, 1.0).real
    assert amplitude[n.argmax()] == pytest.approx(math.sqrt(0.5), abs=5e-4) and n.max() == pytest.approx(4.0 / math.pi, abs=1e-6)


# ---------------------------------------------------------------- limit cycles with a solution by hand


W = np.geomspace(0.01, 100.0, 400)
S = 1j * W


@pytest.mark.parametrize("alpha", [0.1, 1.0, 3.0])
def test_limit_cycle__van_der_pol(alpha):
    """Slotine and Li (1991), section 5.1: amplitude 2 and frequency 1, stable, for any alpha; there N = (A^2/4) j w."""
    w = np.geomspace(0.1, 10.0, 3_000)
    s = 1j * w
    (cycle,) = harmonic_balance(alpha * s / (s * s - alpha * s + 1.0), w, lambda a: 0.25 * a**2 + 0.0j, np.geomspace(0.1, 30.0, 12))
    # the spline: (ln 100/3,000)^4/384 of the fourth derivative, up to 1e5 at alpha = 0.1
    assert cycle.amplitude == pytest.approx(2.0, rel=1e-6) and cycle.frequency == pytest.approx(1.0, rel=1e-8)
    assert cycle.stable


def test_limit_cycle__solves_the_equation_to_eight_digits():
    """Three equal lags and an integrator: K/(s (s + 1)^2) has phase -180 deg at w = 1, where it is K/2."""
    gain, frequency = 6.0, np.geomspace(0.01, 100.0, 4_000)
    s = 1j * frequency
    (cycle,) = harmonic_balance(gain / (s * (s + 1.0) ** 2), frequency, partial(saturation, limit=0.3), np.geomspace(0.01, 10.0, 20))
    assert cycle.frequency == pytest.approx(1.0, rel=1e-8)
    assert complex(saturation(cycle.amplitude, 0.3)) == pytest.approx(2.0 / gain, rel=1e-8)
    assert cycle.stable


def test_limit_cycle__of_a_dead_zone_is_unstable_and_found_close_to_where_it_begins():
    """K/(s (s + 1)^2) with K/2 = 1e4: N = 1e-4 is 3e-3 above the half width, far inside one chord of the amplitudes given."""
    (cycle,) = harmonic_balance(2e4 / (S * (S + 1.0) ** 2), W, partial(dead_zone, half_width=1.0), np.geomspace(0.1, 10.0, 8))
    assert complex(dead_zone(cycle.amplitude, 1.0)).real == pytest.approx(1e-4, rel=1e-6)
    assert 1.0 < cycle.amplitude < 1.01 and not cycle.stable


def test_limit_cycle__at_a_jump_of_n_is_the_place_of_the_jump():
    """A gain that falls from 1 to 1/3 at A = 1, in a loop that is at its limit with 1/2."""
    (cycle,) = harmonic_balance(4.0 / (S * (S + 1.0) ** 2), W, lambda a: np.where(a < 1.0, 1.0, 1.0 / 3.0) + 0j, [0.1, 0.5, 3.0])
    assert cycle.amplitude == pytest.approx(1.0, rel=1e-8) and cycle.frequency == pytest.approx(1.0, rel=1e-6) and cycle.stable


def test_limit_cycles__of_a_quantiser_in_a_loop_that_is_stable_without_it():
    """K/(s (s + 1)^2): needs N = 2/K. With K = 1.8, N of the first step alone, by hand: x^2 - x^4/4 = (pi/(2 K))^2, x = r/A."""
    cycles = harmonic_balance(1.8 / (S * (S + 1.0) ** 2), W, partial(quantiser, resolution=0.01), np.geomspace(1e-3, 1.0, 30))
    square = 2.0 * (1.0 + np.array([1.0, -1.0]) * math.sqrt(1.0 - (math.pi / 3.6) ** 2))
    assert [c.amplitude for c in cycles[:2]] == pytest.approx(0.01 / np.sqrt(square), rel=1e-8)
    assert [c.stable for c in cycles[:2]] == [False, True] and len(cycles) % 2 == 0  # in pairs: N ends as it began, below 2/K
    assert harmonic_balance(1.5 / (S * (S + 1.0) ** 2), W, partial(quantiser, resolution=0.01), np.geomspace(1e-3, 1.0, 30)) == []


def test_limit_cycles__none():
    assert harmonic_balance(1.5 / (S * (S + 1.0) ** 2), W, partial(saturation, limit=1.0), np.geomspace(0.1, 100.0, 30)) == []
    assert harmonic_balance(-1.0 / W**2 + 0j, W, partial(saturation, limit=1.0), np.geomspace(0.1, 100.0, 30)) == []  # along each other
    assert harmonic_balance(1.0 / S, W, partial(backlash, play=5.0), [0.1, 1.0]) == []  # N = 0 throughout


# ---------------------------------------------------------------- limit cycles against simulated loops


def simulate(poles, numerator, element, start, *, step, count):
    """Return (count,) the element's input u in the loop u = -c x, x' = companion x + b y, y = element(u, y of the step's start).

    The plant is (n1 s + n0)/((s + p) (s + q) (s + r)), `poles` p, q, r. RK4 with the element inside each stage: exact hysteresis as long
    as u does not turn within a step.
    """
    n0, n1 = numerator
    _, a2, a1, a0 = np.poly(-np.array(poles)).tolist()

    def slopes(x0, x1, x2, held):
        return x1, x2, element(-n0 * x0 - n1 * x1, held) - a0 * x0 - a1 * x1 - a2 * x2

    x, y = (start, 0.0, 0.0), 0.0
    out = np.empty(count)
    for k in range(count):
        x0, x1, x2 = x
        f0, f1, f2 = slopes(x0, x1, x2, y)
        h = 0.5 * step
        g0, g1, g2 = slopes(x0 + h * f0, x1 + h * f1, x2 + h * f2, y)
        k0, k1, k2 = slopes(x0 + h * g0, x1 + h * g1, x2 + h * g2, y)
        l0, l1, l2 = slopes(x0 + step * k0, x1 + step * k1, x2 + step * k2, y)
        h = step / 6.0
        x = (x0 + h * (f0 + 2 * (g0 + k0) + l0), x1 + h * (f1 + 2 * (g1 + k1) + l1), x2 + h * (f2 + 2 * (g2 + k2) + l2))
        out[k] = -n0 * x[0] - n1 * x[1]
        y = element(out[k], y)
    return out


def swing(u, step):
    """Return (amplitude, frequency) of the last quarter of a signal, by its extremes and its upward zero crossings."""
    last = u[-u.size // 4 :]
    up = np.flatnonzero((last[:-1] < 0.0) & (last[1:] >= 0.0))
    when = up - last[up] / (last[up + 1] - last[up])
    return 0.5 * np.ptp(last), 2.0 * math.pi * (when.size - 1) / ((when[-1] - when[0]) * step)


def play(half):
    """Return the exact hysteresis of a total play of 2 half."""
    return lambda u, y: min(max(y, u - half), u + half)


@pytest.mark.parametrize(("gain", "zero", "pole"), [(4.0, 0.5, 6.0), (12.0, 1.0, 5.0)])
def test_limit_cycle__of_a_double_integrator_with_backlash(gain, zero, pole):
    """L = K (s + z)/(s^2 (s + p)): the simulated cycle is reached from within and from without, so it is stable.

    Simulated less predicted: amplitude -7.4 and -6.0 %, frequency -8.4 and -5.7 %.
    """
    found = harmonic_balance(gain * (S + zero) / (S * S * (S + pole)), W, partial(backlash, play=0.2), np.geomspace(0.05, 50.0, 30))
    assert [c.stable for c in found] == [True]
    cycle = found[0]
    step = 2.0 * math.pi / cycle.frequency / 400.0
    for factor in (0.7, 1.5):
        x0 = factor * cycle.amplitude / (gain * zero)
        u = simulate((0.0, 0.0, pole), (gain * zero, gain), play(0.1), x0, step=step, count=16_000)
        amplitude, frequency = swing(u, step)
        assert amplitude == pytest.approx(cycle.amplitude, rel=USUAL)
        assert frequency == pytest.approx(cycle.frequency, rel=USUAL)


def test_limit_cycle__predicted_to_have_none_decays():
    """K/((s + p)(s + q) s) with backlash and a small gain: the loop comes to rest within the play."""
    gain, (p, q) = 0.8, (2.0, 5.0)
    assert harmonic_balance(gain / (S * (S + p) * (S + q)), W, partial(backlash, play=0.2), np.geomspace(0.05, 50.0, 30)) == []
    u = simulate((0.0, p, q), (gain, 0.0), play(0.1), 2.0, step=0.05, count=12_000)  # its slow mode is K/(p q) = 0.08 a second
    assert np.abs(u[:10]).max() > 1.0 and np.ptp(u[-1_000:]) < 1e-6 and abs(u[-1]) <= 0.1 + 1e-6


def test_limit_cycles__two_of_a_dead_zone_with_a_stop_divide_decay_from_growth():
    """K/(s (s + 1)^2), K/2 = 4: below the unstable cycle the loop comes to rest, above it goes to the stable one.

    Simulated less predicted, of the stable one: amplitude 2.8 %, frequency -1.8 %.
    """
    h, top, gain = 0.1, 1.1, 8.0
    inner, outer = harmonic_balance(gain / (S * (S + 1.0) ** 2), W, lambda a: saturation(a, top) - saturation(a, h), np.geomspace(0.01, 100.0, 40))
    assert (inner.stable, outer.stable) == (False, True)
    assert inner.frequency == pytest.approx(1.0, rel=1e-6) and outer.frequency == pytest.approx(1.0, rel=1e-6)

    def element(u, y):
        return min(max(u, -top), top) - min(max(u, -h), h)

    def run(factor, amplitude):
        # let go at rest where x of the cycle, (A/K) cos t, is largest; the other mode dies out within a cycle
        return simulate((0.0, 1.0, 1.0), (gain, 0.0), element, factor * amplitude / gain, step=0.02, count=15_000)

    amplitude, frequency = swing(run(2.0, outer.amplitude), 0.02)
    assert amplitude == pytest.approx(outer.amplitude, rel=USUAL) and frequency == pytest.approx(outer.frequency, rel=USUAL)
    # simulated, the border lies between 1.0 and 1.1 of the unstable amplitude
    assert np.abs(run(0.9, inner.amplitude)[-3_000:]).max() < h
    assert swing(run(1.1, inner.amplitude), 0.02)[0] == pytest.approx(amplitude, rel=1e-3)  # samples miss the peak by up to 1e-4


def follow(most):
    """Return the element that follows its input by at most so much a step."""
    return lambda u, y: min(max(u, y - most), y + most)


def test_limit_cycle__of_a_rate_limit_that_bounds_a_growing_loop():
    """K/(s + 1)^3 with K = 10 > 8 grows while the limit is not met; with it, it swings at the predicted A w and w.

    Simulated less predicted: A w 0.7 %, w -1.3 %.
    """
    limit, step = 0.5, 0.005
    (cycle,) = harmonic_balance(10.0 / (S + 1.0) ** 3, W, lambda v: rate_limit(v, 1.0, limit), np.geomspace(0.1, 100.0, 30))
    u = simulate((1.0, 1.0, 1.0), (10.0, 0.0), follow(limit * step), 0.01, step=step, count=40_000)
    amplitude, frequency = swing(u, step)
    assert cycle.stable and frequency == pytest.approx(cycle.frequency, rel=USUAL)
    assert amplitude * frequency == pytest.approx(cycle.amplitude, rel=USUAL)


def test_limit_cycle__of_a_rate_limit_that_undoes_a_stable_loop():
    """K/(s (s + 1)^2) with K = 1.5 < 2 decays, unless it swings so far that the limit's lag takes its margin away."""
    limit, gain, step = 0.5, 1.5, 0.01
    (cycle,) = harmonic_balance(gain / (S * (S + 1.0) ** 2), W, lambda v: rate_limit(v, 1.0, limit), np.geomspace(0.1, 100.0, 30))
    assert not cycle.stable
    largest = cycle.amplitude / cycle.frequency

    def last(factor):
        start = factor * largest / gain
        return np.abs(simulate((0.0, 1.0, 1.0), (gain, 0.0), follow(limit * step), start, step=step, count=20_000)[-1_000:]).max()

    # let go at rest, the border is between 1.1 and 1.2 of the predicted cycle
    assert last(0.8) < 1e-3 * largest and last(1.3) > 10.0 * largest


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("call", "sentence"),
    [
        (lambda: backlash([0.1, -0.1], 0.1), "amplitude must be finite and 0 or more"),
        (lambda: quantiser(math.nan, 0.1), "amplitude must be finite"),
        (lambda: backlash(0.1, -0.1), "play = -0.1 must be"),
        (lambda: quantiser(0.1, math.inf), "resolution = inf must be"),
        (lambda: command_dead_band(0.1, math.nan), "dead_band = nan must be"),
        (lambda: dead_zone(0.1, -1.0), "half_width = -1.0 must be"),
        (lambda: saturation(0.1, -1.0), "limit = -1.0 must be 0 or more"),
        (lambda: rate_limit(0.1, 1.0, 0.0), "limit = 0.0 must be positive"),
        (lambda: rate_limit(0.1, [1.0, 0.0], 1.0), "frequency must be positive"),
        (lambda: first_harmonic(np.sin, 0.0), "amplitude must be positive"),
        (lambda: first_harmonic(np.sin, 1.0, samples=3), "samples = 3 must be"),
        (lambda: first_harmonic(lambda u: u[1:], 1.0), "the element returned shape"),
        (lambda: harmonic_balance(1.0 / S[1:], W, saturation, [1.0, 2.0]), "response has shape"),
        (lambda: harmonic_balance(0.0 * S, W, saturation, [1.0, 2.0]), "response must be finite and not zero"),
        (lambda: harmonic_balance(1.0 / S, W[::-1], saturation, [1.0, 2.0]), "frequency must be 4 or more positive"),
        (lambda: harmonic_balance(1.0 / S, W, saturation, [0.0, 2.0]), "amplitudes must be 2 or more positive"),
        (lambda: harmonic_balance(1.0 / (S * S + 1.0), W, np.sign, [1.0, 2.0]), "response turns by 3.14 rad between 0.98"),
        (lambda: harmonic_balance(1.0 / S, W, lambda a: 1.0, [1.0, 2.0]), "element must return a finite N for each of 2 amplitudes"),
    ],
)
def test_bad_input__is_told_in_a_sentence(call, sentence):
    with pytest.raises(ValueError, match=sentence):
        call()
