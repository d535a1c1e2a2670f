"""Impulse, burn and ringing against closed forms and against logs whose truth is known."""

from __future__ import annotations

import numpy as np
import pytest
from firing_logs import G, impulse_of, log_of, trapezium
from scipy.optimize import brentq

import sixdof
from sixdof.study.static_firing.burn import burns
from sixdof.study.static_firing.signal import cell_means, filtered, kernel, ringing_of, slow_density
from sixdof.study.static_firing.thinning import thinned
from sixdof.vehicle.motor import running_impulse

PLATEAU, RISE, HOLD, FALL = 600.0, 0.03, 0.8, 0.12
# four stands: what a log has in it, and what is said of it
STANDS = {
    "plain": {"noise": 3.0},
    "ringing": {"noise": 1.0, "shaken": 10.0, "ring": (60.0, 0.03), "drift": 3.0, "jitter": 0.5},
    "nozzle up": {"noise": 1.0, "stand": 1.0, "propellant": 0.27, "drift": -4.0, "quantum": 0.5},
    "nozzle down": {"noise": 1.0, "stand": -1.0, "propellant": 0.27, "quantum": 0.5},
    "coarse": {"noise": 2.0, "rate": 80.0, "jitter": 0.8},
}


def scores(case: str, logs: int) -> np.ndarray:
    """Return errors of the impulse over the standard deviation said, of logs whose scale and clock are off as is said."""
    found, options = [], STANDS[case]
    for seed in range(logs):
        rng = np.random.default_rng(seed)
        time, reading = log_of(trapezium(), rng, **options)
        scale, clock = 1.0 + 0.003 * rng.standard_normal(), 1.0 + 0.001 * rng.standard_normal()
        weighed = {"propellant_mass": options["propellant"] + 0.0005 * rng.standard_normal()} if "propellant" in options else {}
        stand = case if case.startswith("nozzle") else "horizontal"
        ds = sixdof.workshop.static_firing({"one": (np.round(time * clock, 4), reading * scale)}, calibration="0.3 %", stand=stand, **weighed)
        found.append((ds.total_impulse - impulse_of(trapezium())).item() / ds.total_impulse_error.item())
    return np.array(found)


@pytest.mark.parametrize("case", STANDS)
def test_impulse__is_within_its_own_error(case):
    """Of 8 logs none is beyond 4 standard deviations, and their root mean square is not above 1.8 (chi-square: 1 in 1000)."""
    found = scores(case, 8)
    assert np.abs(found).max() < 4.0 and np.sqrt(np.mean(found**2)) < 1.8


@pytest.mark.slow
@pytest.mark.parametrize("case", STANDS)
def test_impulse__holds_the_truth_as_often_as_it_says(case):
    """Of 300 logs 90 % lie within the 90 % interval: 0.9 -+ 0.052 (three standard deviations), more where the error is a careful one (coarse logs)."""
    share = float(np.mean(np.abs(scores(case, 300)) < 1.645))
    assert share > 0.848 and (case == "coarse" or share < 0.952)


@pytest.mark.parametrize(("stand", "sign"), [("horizontal", 0.0), ("nozzle up", 1.0), ("nozzle down", -1.0)])
def test_impulse__loses_the_weight_of_what_burnt(stand, sign):
    """Without noise the impulse is the trapezium's to the sampling; uncorrected it is off by m g times the mean burnt share and what the tare tilts."""
    curve = trapezium()
    log = log_of(curve, np.random.default_rng(0), noise=0.0, stand=sign, propellant=2.0, rate=2000.0)
    right = sixdof.workshop.static_firing({"one": log}, propellant_mass="2 kg", stand=stand, lowpass="none").isel(firing=0)
    assert float(right.total_impulse) == pytest.approx(impulse_of(curve), rel=2e-5)  # linear between samples of 0.5 ms
    assert float(right.tare_after - right.tare_before) == pytest.approx(-sign * 2.0 * G, abs=1e-6)
    assert float(right.drift) == pytest.approx(0.0, abs=1e-6)
    if sign:
        wrong = sixdof.workshop.static_firing({"one": log}, propellant_mass="2 kg").isel(firing=0)
        assert f"as on a stand with the motor {stand}, not horizontal" in str(wrong.note.values)
        told = sixdof.workshop.static_firing({"one": log}, stand=stand).isel(firing=0)
        assert "the tare tells 2000 g" in str(told.note.values)


def test_burn__of_a_trapezium_by_each_definition():
    """Straight lines: 5 % and 10 % ends by proportion; the bisector starts at the corner, which lies on the curve."""
    time = np.linspace(0.0, 1.0, 20001)
    found = burns(time, np.interp(time, *trapezium(PLATEAU, RISE, HOLD, FALL)))
    end = RISE + HOLD + FALL
    wanted = [(0.05 * RISE, end - 0.05 * FALL), (0.1 * RISE, end - 0.1 * FALL), (0.1 * RISE, RISE + HOLD)]
    np.testing.assert_allclose(found, wanted, atol=5e-5)  # the grid's step


def test_burn__tangent_bisector_of_a_hyperbola_is_its_vertex():
    """A hyperbola's axes halve the angle of its asymptotes: plateau F = P and tail-off of slope -k, joined by v (v - k u) = (k c)^2 with v = P - F.

    In the units of the figure (action time, mean thrust) the vertex lies where both asymptotes are as far away: v = k c (1 + k^2)^(-1/4).
    """
    corner, k, c = 0.9, 5000.0, 0.004
    time = np.linspace(0.0, 1.1, 22001)
    u = time - corner
    below = 0.5 * k * (u + np.sqrt(u**2 + 4.0 * c**2))
    force = np.clip(np.minimum(PLATEAU - below, PLATEAU * time / 0.02), 0.0, None)
    (_, _), (start, end), (_, web) = burns(time, force)
    inside = (time >= start) & (time <= end)
    length, mean = end - start, np.trapezoid(force[inside], time[inside]) / (end - start)
    slope, small = k * length / mean, c / length
    v = slope * small / (1.0 + slope**2) ** 0.25
    wanted = corner + length * v * (1.0 - np.sqrt(1.0 + slope**2)) / slope
    # the lines are laid through the curve, not through its asymptotes: a tenth of the distance between corner and vertex
    assert web == pytest.approx(wanted, abs=0.15 * abs(wanted - corner)) and wanted < corner


def test_burn__without_a_tail_off_has_no_tangent_bisector():
    time = np.linspace(0.0, 2.0, 4001)
    assert np.isnan(burns(time, np.interp(time, [0.0, 0.02, 2.0], [0.0, 500.0, 0.0]))[2, 1])


def test_thrust__peak_average_and_ends_of_a_ringing_stand():
    """The stand overshoots by 30 % and more; filtered, the plateau is what it was."""
    log = log_of(trapezium(), np.random.default_rng(3), noise=0.3, shaken=4.0, ring=(55.0, 0.02), rate=1000.0)
    ds = sixdof.workshop.static_firing({"one": log}, calibration="0.1 %").isel(firing=0)
    assert float(ds.peak_thrust_raw) > 1.15 * PLATEAU and float(ds.peak_thrust) == pytest.approx(PLATEAU, rel=0.03)
    assert float(ds.ringing_frequency) == pytest.approx(55.0, rel=0.02)
    assert float(ds.burn_time[0]) == pytest.approx(0.95 * (RISE + FALL) + HOLD, abs=0.01)
    mean = impulse_of(trapezium()) / (0.95 * (RISE + FALL) + HOLD)
    assert float(ds.average_thrust[0]) == pytest.approx(mean, rel=0.01)


# ---------------------------------------------------------------- filters, noise


def test_filter__keeps_the_impulse_and_has_no_delay():
    rng = np.random.default_rng(5)
    time = np.sort(rng.uniform(0.0, 2.0, 900))
    force = np.interp(time, [0.3, 0.35, 1.4, 1.6], [0.0, 300.0, 250.0, 0.0])
    for notch, lowpass in ((0.0, 0.0), (37.0, 0.0), (0.0, 60.0), (37.0, 60.0)):
        at, smooth = filtered(time, force, 0.001, kernel(0.001, notch, lowpass))
        whole = running_impulse(time, force)[-1]
        assert smooth.sum() * 0.001 == pytest.approx(whole, rel=1e-12)
        middle = np.trapezoid(time * force, time) / whole
        assert (at @ smooth) * 0.001 / whole == pytest.approx(middle, abs=2e-4)  # straight lines' own second-order error


def test_filter__gains_are_those_said():
    """At the notch and twice it nothing passes, at half of it 2/pi; the low-pass lets half of the power through at its frequency."""
    step = 0.0005
    time = np.arange(0.0, 4.0, step)

    def gain(frequency, **filters):
        _, smooth = filtered(time, np.sin(2.0 * np.pi * frequency * time), step, kernel(step, **filters))
        return np.sqrt(2.0) * smooth[2000:6000].std()

    assert gain(40.0, notch=40.0, lowpass=0.0) < 2e-3 and gain(80.0, notch=40.0, lowpass=0.0) < 4e-3
    assert gain(20.0, notch=40.0, lowpass=0.0) == pytest.approx(2.0 / np.pi, rel=2e-3)
    assert gain(50.0, notch=0.0, lowpass=50.0) == pytest.approx(np.sqrt(0.5), rel=5e-3)  # cells and straight lines of 0.5 ms take 0.3 %


def test_cell_means__of_straight_lines_are_exact():
    edges = np.array([0.0, 0.5, 1.5, 3.0])
    np.testing.assert_allclose(cell_means(np.array([0.0, 1.0, 2.0]), np.array([0.0, 2.0, 0.0]), edges), [0.5, 1.5, 0.25 / 1.5])


def test_noise__density_of_white_noise():
    """S = sd^2 dt; 20 ordinates know it to 22 %."""
    rng = np.random.default_rng(2)
    stretches = [(np.arange(2000) * 0.002, 3.0 * rng.standard_normal(2000)) for _ in range(2)]
    assert slow_density(stretches) == pytest.approx(9.0 * 0.002, rel=0.7)


def test_ringing__is_that_of_the_stand():
    """Two stretches of 1 s: a band of 2 zeta f = 3.3 Hz is seen by some 7 ordinates, so a damping scatters by 40 %, its median over 8 logs by 18 %."""
    found = []
    for seed in range(8):
        rng = np.random.default_rng(seed)
        time, reading = log_of(trapezium(), rng, noise=0.5, shaken=6.0, ring=(55.0, 0.03), rate=400.0, before=2.0)
        calm = (time > 0.2) & (time < 1.9)
        found.append(ringing_of([(time[calm], reading[calm] - reading[calm].mean())]))
    assert np.median([one.frequency for one in found]) == pytest.approx(55.0, rel=0.01)
    assert np.nanmedian([one.damping for one in found]) == pytest.approx(0.03, rel=0.5)


def test_ringing__is_not_found_in_white_noise():
    rng = np.random.default_rng(4)
    assert not any(np.isfinite(ringing_of([(np.arange(800) / 400.0, rng.standard_normal(800))]).frequency) for _ in range(40))


# ---------------------------------------------------------------- few points


def test_thinned__keeps_the_impulse_and_says_what_it_misses():
    time = np.linspace(0.0, 1.2, 1201)
    force = 500.0 * np.sqrt(np.clip(np.sin(np.pi * np.clip(time / 1.15, 0.0, 1.0)), 0.0, None))
    for points in (6, 12, 24):
        found = thinned(time, force, 321.0, points)
        assert found.time.size <= points and (found.force >= 0.0).all() and found.force[0] == found.force[-1] == 0.0
        assert np.trapezoid(found.force, found.time) == pytest.approx(321.0, rel=1e-12)
    own = np.trapezoid(force, time)
    misses = [thinned(time, force, own, points) for points in (6, 12, 24)]
    assert misses[0].largest > misses[1].largest > misses[2].largest and misses[2].rms < 0.01
    one = misses[1]
    assert np.abs(np.interp(time, one.time, one.force) - force)[1:-1].max() / force.max() == pytest.approx(one.largest)


def test_thinned__of_a_trapezium_is_the_trapezium():
    curve = trapezium()
    time = np.linspace(0.0, curve[0][-1], 1901)
    found = thinned(time, np.interp(time, *curve), impulse_of(curve), 8)
    assert found.largest < 0.01
    knee = brentq(lambda t: np.interp(t, found.time, found.force) - 0.5 * PLATEAU, 0.8, 0.95)
    assert knee == pytest.approx(RISE + HOLD + 0.5 * FALL, abs=1e-3)
