"""Dryden turbulence and 1-cosine gusts of the kernel against the standard: scales, variance, correlation, spectra, exact steps.

Source: MIL-F-8785C (5 Nov 1980), sections 3.7.2 to 3.7.5, as quoted in the reference data (turbulence_wind.md: second-hand, its table and
correlations computed from the formulas). TABLE is copied from reference/dryden_low_altitude.csv, six digits.

Statistics are of long samples with fixed seeds. A limit of 4.5 standard errors (Gaussian: one honest number in 150,000 lies beyond)
uses Bartlett's formula for the error of a correlation; spectra have chi-square limits (P. D. Welch 1967). Both follow from the
wanted process alone.
"""

from __future__ import annotations

from decimal import Decimal, getcontext

import numpy as np
import pytest
from gusts import FOOT, KNOT, Move, beginnings, correlation_across, correlation_along, ride, scales_at, spectrum_across, spectrum_along, steps, world
from scipy.signal import welch
from scipy.stats import chi2

TABLE = [  # height ft, W20 kt, L_u = L_v m, L_w m, sigma_w m/s, sigma_u = sigma_v m/s
    (10, 15, 23.0548, 3.048, 0.771667, 1.51476),
    (10, 45, 23.0548, 3.048, 2.315, 4.54429),
    (20, 15, 43.7659, 6.096, 0.771667, 1.48865),
    (20, 30, 43.7659, 6.096, 1.54333, 2.9773),
    (500, 15, 287.932, 152.4, 0.771667, 0.953962),
    (500, 30, 287.932, 152.4, 1.54333, 1.90792),
    (500, 45, 287.932, 152.4, 2.315, 2.86189),
    (1000, 30, 304.8, 304.8, 1.54333, 1.54333),
]
SIX_DIGITS = 5e-6  # relative, with a digit less where a zero was cut off
ERRORS = 4.5  # standard errors
UP, EAST = (0.0, 0.0, 1.0), (1.0, 0.0, 0.0)
LONG = 1 << 20  # points of a sample


# ---------------------------------------------------------------- scales and strengths


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]}ft-{row[1]}kt")
def test_scales__are_the_standards(row):
    height, w20, length, length_up, up, level = row
    found = scales_at(height * FOOT, w20 * KNOT).ravel()
    assert found == pytest.approx([level, up, length, length_up], rel=SIX_DIGITS)


def test_scales__are_held_below_ten_feet():
    assert (scales_at(10.0 * FOOT, 10.0).ravel() == scales_at([-5.0, 0.0, 5.0 * FOOT], 10.0).T).all()


def test_scales__go_linearly_over_to_those_aloft():
    """Between 1000 and 2000 ft; above, 1750 ft and one strength in every direction (MIL-F-8785C, 3.7.2: isotropic)."""
    heights = np.array([1000.0, 1250.0, 1500.0, 1999.999, 2000.0, 9000.0]) * FOOT
    found = scales_at(heights, 10.0, aloft=3.0)
    share = np.clip((heights / FOOT - 1000.0) / 1000.0, 0.0, 1.0)
    below = np.array([1.0, 1.0, 1000.0 * FOOT, 1000.0 * FOOT])
    above = np.array([3.0, 3.0, 1750.0 * FOOT, 1750.0 * FOOT])
    assert pytest.approx(below + share[:, None] * (above - below), rel=1e-12) == found.T


def test_strength__aloft_is_a_tenth_of_the_wind_at_20_ft_unless_given():
    loud, usual = (ride(50, height=900.0, w20=7.0, around=world(aloft=aloft)) for aloft in (2.1, -1.0))
    assert loud == pytest.approx(3.0 * usual, rel=1e-12)


# ---------------------------------------------------------------- variance and correlation


def covariance_error(wanted, lags, count, cross=None):
    """Standard errors (lags,) of the autocovariance of a Gaussian sample, Bartlett (1946); `cross`: of two unlike processes."""
    m = np.arange(-40 * len(lags), 40 * len(lags) + 1)
    if cross is not None:
        return np.full(len(lags), np.sqrt((wanted(m) * cross(m)).sum() / count))
    return np.array([np.sqrt((wanted(m) ** 2 + wanted(m + k) * wanted(m - k)).sum() / count) for k in lags])


def covariance(x, y, most):
    """Return sum x_i y_(i+k)/n for k = 0 .. most (the mean is known to be zero)."""
    size = 2 * len(x)
    product = np.fft.irfft(np.conj(np.fft.rfft(x, size)) * np.fft.rfft(y, size), size)
    return product[: most + 1] / len(x)


# (height, path, step m): low and aloft, climbing and level, short and long steps
SAMPLES = {
    "climb at 500 ft, 15 m": (500.0 * FOOT, UP, 15.0),
    "climb at 20 ft, 2 m": (20.0 * FOOT, UP, 2.0),
    "level at 500 ft, 40 m": (500.0 * FOOT, EAST, 40.0),
    "level at 3000 ft, 100 m": (3000.0 * FOOT, EAST, 100.0),
}


@pytest.fixture(scope="module", params=SAMPLES)
def sample(request):
    """Gusts (n, 3) over their strengths, one step's share of the scale length of each, and which component the path runs along."""
    height, way, step = SAMPLES[request.param]
    level, up, length, length_up = scales_at(height, 10.0).ravel()
    found = ride(LONG, height=height, way=way, speed=step / 0.1, seconds=0.1)
    return found / [level, level, up], step / np.array([length, length, length_up]), int(np.argmax(way))


def wanted_of(component, sample):
    _, shares, along = sample
    law = correlation_along if component == along else correlation_across
    return lambda k: law(np.asarray(k) * shares[component])


@pytest.mark.parametrize("component", range(3))
def test_correlation__of_each_component(sample, component):
    """R = sigma^2 exp(-x/L) along the path and sigma^2 exp(-x/L) (1 - x/2L) across it, the variance at x = 0."""
    wanted, lags = wanted_of(component, sample), np.arange(25)
    x = sample[0][:, component]
    off = (covariance(x, x, lags[-1]) - wanted(lags)) / covariance_error(wanted, lags, LONG)
    assert np.abs(off).max() < ERRORS
    assert covariance_error(wanted, lags, LONG)[0] < 0.012  # sharp enough: the variance to 5 %, two steps of L to as much


@pytest.mark.parametrize(("x", "along", "across"), [(0.25, 0.778801, 0.681451), (0.5, 0.606531, 0.454898), (1.0, 0.367879, 0.183940), (2.0, 0.135335, 0.0)])
def test_correlation__is_the_reference_tables(x, along, across):
    """The laws used above, six digits; and the kernel's own states, exactly: c carry^T stationary c."""
    assert correlation_along(x) == pytest.approx(along, abs=5e-7) and correlation_across(x) == pytest.approx(across, abs=5e-7)
    move = Move(x)
    assert move.value @ (move.carry @ STATIONARY) @ move.value == pytest.approx(correlation_across(x), abs=1e-14)
    assert move.fall == pytest.approx(correlation_along(x), abs=1e-15)


def test_components__are_independent(sample):
    found = sample[0]
    for i, j in ((0, 1), (1, 2), (0, 2)):
        error = covariance_error(wanted_of(i, sample), np.arange(25), LONG, cross=wanted_of(j, sample))
        for a, b in ((i, j), (j, i)):
            assert np.abs(covariance(found[:, a], found[:, b], 24) / error).max() < ERRORS


def test_components__share_no_random_numbers():
    """All six processes seen at once, in steps of two lengths that leave hardly a memory: no tick, no component knows of another."""
    found = ride(LONG, height=1000.0 * FOOT, way=(1.0, 1.0, 1.0), speed=2000.0 * FOOT, seconds=1.0)
    for i in range(3):
        for j in range(3):
            if i != j:
                assert np.abs(covariance(found[:, i], found[:, j], 5) * np.sqrt(LONG)).max() < 1.1 * ERRORS  # memory adds 5 %


def test_path__at_an_angle_mixes_both_by_the_squares_of_its_direction():
    """45 deg up: east and up are half the one and half the other, north is across."""
    length = float(scales_at(1000.0 * FOOT, 10.0)[2, 0])
    assert length == pytest.approx(1000.0 * FOOT)
    found = ride(LONG, height=1000.0 * FOOT, w20=10.0, way=(1.0, 0.0, 1.0), speed=0.2 * length, seconds=1.0)
    half = lambda k: 0.5 * correlation_along(0.2 * np.asarray(k)) + 0.5 * correlation_across(0.2 * np.asarray(k))  # noqa: E731
    across = lambda k: correlation_across(0.2 * np.asarray(k))  # noqa: E731
    for component, wanted in ((0, half), (1, across), (2, half)):
        x, lags = found[:, component], np.arange(25)
        assert np.abs((covariance(x, x, 24) - wanted(lags)) / covariance_error(wanted, lags, LONG)).max() < ERRORS


def test_gusts__are_gaussian(sample):
    """Skewness and excess kurtosis, with errors from the correlation: sqrt(6 sum R^3/n), sqrt(24 sum R^4/n)."""
    for component in range(3):
        x, r = sample[0][:, component], wanted_of(component, sample)(np.arange(-2000, 2001))
        assert abs((x**3).mean() - 3.0 * x.mean()) < ERRORS * np.sqrt(6.0 * (r**3).sum() / LONG)
        assert abs((x**4).mean() - 6.0 * (x**2).mean() + 3.0) < ERRORS * np.sqrt(24.0 * (r**4).sum() / LONG)


# ---------------------------------------------------------------- spectra

SEGMENT = 2048
IMAGES = 400  # of the spectrum, either way: those omitted add less than 1e-3


def folded(spectrum, number, step, sigma, length):
    """The standard's spectrum as samples every `step` metres show it: folded at the Nyquist frequency."""
    turn = 2.0 * np.pi / step
    return sum(spectrum(np.abs(number + k * turn), sigma, length) for k in range(-IMAGES, IMAGES + 1))


@pytest.mark.parametrize(("height", "way", "step"), [(500.0, UP, 25.0), (500.0, EAST, 25.0), (60.0, UP, 6.0), (4000.0, EAST, 60.0)])
def test_spectrum__by_welch(height, way, step):
    """Hann windows overlapped by half: nu = 36/19 K degrees of freedom of K segments (Welch 1967), 3.2 % standard error of one estimate.

    Every estimate within its limit of confidence 1 - 1e-7, 95 % (+- 4) of them within that of 95 %, octaves within 4.5 errors.
    """
    level, up, length, length_up = scales_at(height * FOOT, 10.0).ravel()
    found = ride(LONG, height=height * FOOT, way=way, speed=step / 0.1, seconds=0.1, seed=8)
    segments = 2 * LONG // SEGMENT - 1
    freedom = 36.0 / 19.0 * segments
    for component, (sigma, scale) in enumerate(((level, length), (level, length), (up, length_up))):
        cycles, power = welch(found[:, component], 1.0 / step, "hann", SEGMENT, detrend=False)
        number, density = 2.0 * np.pi * cycles[1:-1], power[1:-1] / (2.0 * np.pi)
        law = spectrum_along if component == int(np.argmax(way)) else spectrum_across
        ratio = density / folded(law, number, step, sigma, scale)
        wide, usual = (chi2.ppf([0.5 * p, 1.0 - 0.5 * p], freedom) / freedom for p in (1e-7, 0.05))
        assert wide[0] < ratio.min() and ratio.max() < wide[1]
        assert ((ratio > usual[0]) & (ratio < usual[1])).mean() == pytest.approx(0.95, abs=0.04)
        edges = np.append(2 ** np.arange(10), len(ratio))
        for first, last in zip(edges[:-1], edges[1:]):
            octave = ratio[first - 1 : last - 1] if last < len(ratio) else ratio[first - 1 :]
            # neighbours share 4/9 of their error (Hann): the mean's variance is at most 17/9 of independent ones'
            assert abs(octave.mean() - 1.0) < ERRORS * np.sqrt(2.0 / freedom * 17.0 / 9.0 / len(octave)) + 2e-3


@pytest.mark.parametrize("number", [0.0, 0.3, 1.0, 7.0])
def test_spectrum__of_the_kernels_states_is_the_standards(number):
    """|c (i w - A)^-1 b|^2/pi with the states' equations dp = -p ds + sqrt(2) dW, dq = (p - q) ds; exact."""
    a, b = np.array([[-1.0, 0.0], [1.0, -1.0]]), np.array([np.sqrt(2.0), 0.0])
    answer = Move(1.0).value @ np.linalg.solve(1j * number * np.eye(2) - a, b)
    assert abs(answer) ** 2 / np.pi == pytest.approx(spectrum_across(number, 1.0, 1.0), rel=1e-14)


# ---------------------------------------------------------------- exact steps

STATIONARY = np.array([[1.0, 0.5], [0.5, 0.5]])  # covariance of p, q
LENGTHS = [1e-7, 1e-5, 9.99e-4, 1.001e-3, 0.03, 0.7, 4.0, 40.0]
SERIES = 2e-12  # h^4 of the first term that the series of short steps omits, at 1e-3


def exact_spread(h):
    """Covariance of one step's noise: stationary - carry stationary carry^T, in 60 digits."""
    getcontext().prec = 60
    h = Decimal(h)
    fall = (-2 * h).exp()
    half = Decimal(1) / 2
    off = half - fall * (half + h)
    return np.array([[1 - fall, off], [off, half - fall * (half + h + h * h)]], dtype=float)


@pytest.mark.parametrize("h", LENGTHS)
def test_step__of_any_length_is_exact(h):
    move = Move(h)
    assert move.carry == pytest.approx(np.exp(-h) * np.array([[1.0, 0.0], [h, 1.0]]), rel=1e-15, abs=0.0)
    assert np.abs(move.spread - exact_spread(h)).max() < SERIES
    assert np.abs(move.carry @ STATIONARY @ move.carry.T + move.spread - STATIONARY).max() < SERIES
    assert move.fall**2 + move.kick**2 == pytest.approx(1.0, abs=1e-15)


@pytest.mark.parametrize("h", LENGTHS[:-1])
def test_step__two_of_h_are_one_of_2h(h):
    once, twice = Move(h), Move(2.0 * h)
    assert twice.carry == pytest.approx(once.carry @ once.carry, rel=1e-13)
    assert np.abs(twice.spread - once.carry @ once.spread @ once.carry.T - once.spread).max() < 3.0 * SERIES
    assert twice.fall == pytest.approx(once.fall**2, rel=1e-14)
    assert twice.kick**2 == pytest.approx(once.fall**2 * once.kick**2 + once.kick**2, rel=1e-13)


def test_step__series_of_short_steps_joins_the_closed_form():
    """Each entry of the noise on its own scale: 1, h, h^2 in p; the series errs by h^2 (p with q) and 1.5 h (q) of itself."""
    for h in (1e-9, 1e-6, 9.99e-4):
        ratio = Move(h).spread / exact_spread(h)
        assert np.abs(ratio - 1.0).max() < 1.6 * h + 1e-15 and abs(ratio[0, 1] - 1.0) < 1.1 * h * h + 1e-12
    ratio = Move(1.001e-3).spread / exact_spread(1.001e-3)
    assert np.abs(ratio - 1.0).max() < 1e-6  # h^3 of a difference of halves: rounding of 1e-16 over 7e-10


def test_step__of_nothing_changes_nothing():
    move = Move(0.0)
    assert (move.carry == np.eye(2)).all() and (move.noise == 0.0).all() and (move.fall, move.kick) == (1.0, 0.0)


def test_step__speed_and_tick_matter_only_by_the_way_they_make():
    kept = {"height": 150.0, "way": (0.6, 0.0, 0.8)}
    slow, fast = ride(200, speed=20.0, seconds=0.02, **kept), ride(200, speed=200.0, seconds=0.002, **kept)
    assert slow == pytest.approx(fast, rel=1e-11)


@pytest.mark.parametrize("step", [0.02, 0.1, 0.5])
def test_step__does_not_change_the_statistics(step):
    """The variance, and the correlation one scale length on, of ways of 20,000 lengths and more in steps of any length."""
    length = 1000.0 * FOOT  # of all components at that height
    found = ride(LONG, height=length, speed=step * length, seconds=1.0, seed=11)
    k = round(1.0 / step)
    for component in range(3):
        law = correlation_along if component == 2 else correlation_across
        wanted = lambda m: law(step * np.asarray(m))  # noqa: E731
        m = np.arange(-40 * k, 40 * k + 1)
        for lag in (0, k):
            error = np.sqrt((wanted(m) ** 2 + wanted(m + lag) * wanted(m - lag)).sum() / LONG)
            x = found[:, component]
            assert abs((x[lag:] * x[: LONG - lag]).mean() - wanted(lag)) < ERRORS * error


def test_start__is_a_draw_of_the_stationary_process():
    """All nine states over flights, from which the first gust is made; then what becomes of it on a way of a length or so."""
    flights = 200_000
    found = beginnings(flights)
    wanted = np.kron(np.eye(3), np.block([[np.ones((1, 1)), np.zeros((1, 2))], [np.zeros((2, 1)), STATIONARY]]))
    error = np.sqrt((wanted**2 + np.outer(np.diag(wanted), np.diag(wanted))) / flights)
    assert np.abs((found.T @ found / flights - wanted) / error).max() < ERRORS
    assert np.abs(found.mean(axis=0) * np.sqrt(flights / np.diag(wanted))).max() < ERRORS
    level, up, length, length_up = scales_at(500.0 * FOOT, 10.0).ravel()
    pair = np.array([ride(40, height=500.0 * FOOT, speed=500.0, flight=i)[[0, 39]] for i in range(4000)]) / [level, level, up]
    x = 5.0 * 39 / np.array([length, length, length_up])
    wanted = np.array([correlation_across(x[0]), correlation_across(x[1]), correlation_along(x[2])])
    assert np.abs(((pair[:, 0] * pair[:, 1]).mean(axis=0) - wanted) / np.sqrt((1.0 + wanted**2) / 4000)).max() < ERRORS


# ---------------------------------------------------------------- same numbers again


def test_numbers__belong_to_seed_and_flight():
    one = ride(300, height=100.0, seed=4, flight=9)
    assert (one == ride(300, height=100.0, seed=4, flight=9)).all()
    assert (one[:100] == ride(100, height=100.0, seed=4, flight=9)).all()
    for seed, flight in ((5, 9), (4, 10)):
        other = ride(300, height=100.0, seed=seed, flight=flight)
        assert not (one == other).any()


# ---------------------------------------------------------------- within a tick


def test_gust__is_continuous_within_ticks_and_across_them():
    around = world(gusts=[{"east": 4.0, "up": -1.0, "start": 20.0, "length": 30.0}])
    found = steps(np.arange(60) * 1.0, [0.0, 0.31, 0.5, 0.97, 1.0], around=around, climb=100.0)
    start, middle, end = (found[:, :, k] for k in range(3))
    assert np.abs(start[:, 1:] - end[:, :-1]).max() < 1e-15
    assert np.abs(start[1:, 0] - end[:-1, -1]).max() < 1e-15
    assert np.abs(middle - 0.5 * (start + end)).max() < 1e-15
    assert np.abs(end - start).max() > 1e-3  # it does change


def test_gust__none_without_turbulence():
    around = world(turbulence=False)
    assert (steps(np.arange(20.0), [0.0, 0.5, 1.0], around=around, climb=100.0) == 0.0).all()


# ---------------------------------------------------------------- discrete gusts


@pytest.mark.parametrize(("share", "value"), [(-0.1, 0.0), (0.0, 0.0), (0.25, 0.1464466), (0.5, 0.5), (0.75, 0.8535534), (1.0, 1.0), (3.0, 1.0)])
def test_rise__is_one_minus_cosine_over_its_length(share, value):
    """Values/Vm of the reference data, seven digits; it stays. A pulse rises over half its length and falls over the other."""
    calm = {"turbulence": False}
    blow = {"east": 2.0, "north": -3.0, "up": 0.5, "start": 100.0, "length": 40.0}
    rise = ride(1, height=100.0 + 40.0 * share, around=world(gusts=[blow | {"rise": 1.0}], **calm))[0]
    assert rise == pytest.approx(np.array([2.0, -3.0, 0.5]) * value, abs=3 * 5e-8)
    for way in (0.5 * share, 1.0 - 0.5 * share):
        pulse = ride(1, height=100.0 + 40.0 * way, around=world(gusts=[blow], **calm))[0]
        wanted = value if share <= 1.0 else 0.0
        assert pulse == pytest.approx(np.array([2.0, -3.0, 0.5]) * wanted, abs=3 * 5e-8)


def test_gusts__add_up_and_are_met_where_the_vehicle_will_be():
    """A tick ahead: 0.01 s at a climb of 250 m/s is 2.5 m, half of the length."""
    a, b = {"east": 2.0, "start": 100.0, "length": 5.0, "rise": 1.0}, {"north": 1.5, "start": 90.0, "length": 25.0}
    around = world(turbulence=False, gusts=[a, b])
    assert ride(1, height=100.0, climb=250.0, around=around)[0] == pytest.approx([1.0, 1.5, 0.0], abs=1e-12)
    mixed = ride(1, height=100.0, climb=250.0, around=world(gusts=[a, b]))[0]
    assert mixed - ride(1, height=100.0, climb=250.0)[0] == pytest.approx([1.0, 1.5, 0.0], abs=1e-12)
