"""Dryden turbulence against the standard's spectra, variances and correlations (MIL-F-8785C, section 3.7), and the 1-cosine gust."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

import models
import sixdof
from sixdof._jit import kernel
from sixdof.core import types as ct
from sixdof.core.sensors import Chance
from sixdof.core.turbulence import T_NEXT, T_NOW, TURBULENCE_SIZE, advance_gust, blow, scales, start_turbulence, transverse
from sixdof.core.types import Vec3

FOOT, KNOT = 0.3048, 1852.0 / 3600.0
HIGH = 900.0  # m: above 2000 ft every scale is 1750 ft
LENGTH = 1750.0 * FOOT


@kernel
def _run(world, w20, height, speed, x, y, z, seconds, seed, out):
    chance = Chance(np.uint64(seed), np.uint64(0))
    state = out[out.shape[0] - 1]  # the last row is scratch
    start_turbulence(state, chance)
    for i in range(out.shape[0] - 1):
        advance_gust(state, world, w20, height, 0.0, speed, Vec3(x, y, z), seconds, i, chance)
        for c in range(3):
            out[i, c] = state[T_NEXT + c]


def samples(n, *, speed=100.0, seconds=0.05, way=(0.0, 0.0, 1.0), height=HIGH, w20=10.0, aloft=1.0, seed=1):
    """Return n gusts (n, 3) east, north, up, at one height and speed along one way."""
    world = models.world()._replace(turbulence=ct.Turbulence(1, w20, aloft))
    out = np.zeros((n + 1, TURBULENCE_SIZE))
    _run(world, w20, height, speed, *way, seconds, seed, out)
    return out[:-1, :3].copy()


@pytest.mark.parametrize(
    # reference/turbulence_wind.md, section 1 (computed): h ft, L_u m, L_w m, W20 kt, sigma_w and sigma_u m/s
    ("height", "level_length", "up_length", "w20", "up", "level"),
    [(20.0, 43.76587, 6.096, 15.0, 0.771667, 1.488652), (20.0, 43.76587, 6.096, 45.0, 2.315, 4.465957),
     (500.0, 287.9315, 152.4, 30.0, 1.543333, 1.907924), (1000.0, 304.8, 304.8, 15.0, 0.771667, 0.771667)],
)  # fmt: skip
def test_scales__low_altitude(height, level_length, up_length, w20, up, level):
    found = scales(height * FOOT, w20 * KNOT, 9.9)
    assert found == pytest.approx((level, up, level_length, up_length), rel=2e-6)  # the reference's digits


def test_scales__above_and_between():
    w20, aloft = 30.0 * KNOT, 2.0
    assert scales(5000.0 * FOOT, w20, aloft) == pytest.approx((aloft, aloft, LENGTH, LENGTH))
    assert scales(3.0, w20, aloft) == scales(10.0 * FOOT, w20, aloft)  # held below 10 ft
    low, high = np.array(scales(1000.0 * FOOT, w20, aloft)), np.array(scales(2000.0 * FOOT, w20, aloft))
    assert scales(1500.0 * FOOT, w20, aloft) == pytest.approx(tuple(0.5 * (low + high)))


# n samples of a process of correlation length L, a step d apart, hold about n d/(2 L) independent ones: for 400,000 steps of 5 m and
# L = 533 m some 1,900, so a variance is known to 3.3 % (one standard deviation). Bounds are four of them.
COUNT, CONFIDENT = 400_000, 0.13


@pytest.mark.parametrize(("way", "along"), [((0.0, 0.0, 1.0), 2), ((1.0, 0.0, 0.0), 0), ((0.0, 1.0, 0.0), 1)])
def test_variance_and_correlation(way, along):
    """R = s^2 exp(-x/L) along the path, s^2 exp(-x/L) (1 - x/2L) across it (reference/turbulence_wind.md, computed)."""
    gust = samples(COUNT, way=way)
    step = 100.0 * 0.05
    for c in range(3):
        assert gust[:, c].var() == pytest.approx(1.0, abs=CONFIDENT)
        for lag in (50.0, 200.0, 500.0, 1000.0):
            k = int(lag / step)
            x = k * step / LENGTH
            expected = np.exp(-x) * (1.0 if c == along else 1.0 - 0.5 * x)
            assert np.mean(gust[:-k, c] * gust[k:, c]) == pytest.approx(expected, abs=CONFIDENT)
    assert np.abs(np.corrcoef(gust.T) - np.eye(3)).max() < CONFIDENT


def test_spectrum__is_the_standards():
    """Welch's estimate against Phi_u = s^2 (2L/pi)/(1 + (L Om)^2), Phi_w = s^2 (L/pi) (1 + 3 (L Om)^2)/(1 + (L Om)^2)^2.

    The estimate averages 390 segments half overlapping, some 210 independent ones: 7 % standard deviation a line, and
    30 % bounds are more than four of them.
    """
    gust = samples(COUNT, way=(0.0, 0.0, 1.0))
    for c in (0, 2):
        f, density = signal.welch(gust[:, c], fs=1.0 / 5.0, nperseg=2048, detrend=False)  # over way, per (1/m)
        omega = 2.0 * np.pi * f
        keep = (omega > 3.0 * omega[1]) & (omega < 0.1)  # far from the fold at 0.63 rad/m
        x2 = (LENGTH * omega) ** 2
        form = 2.0 * LENGTH / np.pi / (1.0 + x2) if c == 2 else LENGTH / np.pi * (1.0 + 3.0 * x2) / (1.0 + x2) ** 2
        ratio = density[keep] / (2.0 * np.pi * form[keep])  # per (1/m) and per (rad/m)
        assert np.abs(ratio - 1.0).max() < 0.3 and ratio.mean() == pytest.approx(1.0, abs=0.03)


@kernel
def _moments(h, halves, out):
    """Fill out with the map of (p, q) over a way h, and the covariance it adds, by `halves` steps, found with unit inputs."""
    for i in range(2):
        p, q = 1.0 if i == 0 else 0.0, 0.0 if i == 0 else 1.0
        for _ in range(halves):
            p, q = transverse(p, q, h / halves, 0.0, 0.0)
        out[0, i], out[1, i] = p, q
    vp = vpq = vq = 0.0
    for k in range(halves):  # noise put in at step k, carried to the end
        for j in range(2):
            p, q = transverse(0.0, 0.0, h / halves, 1.0 if j == 0 else 0.0, 0.0 if j == 0 else 1.0)
            for _ in range(halves - 1 - k):
                p, q = transverse(p, q, h / halves, 0.0, 0.0)
            vp += p * p
            vpq += p * q
            vq += q * q
    out[2, 0], out[2, 1], out[3, 0] = vp, vpq, vq


@pytest.mark.parametrize("h", [1e-6, 5e-4, 2e-3, 0.1, 1.0, 8.0])
def test_discretisation__two_half_steps_are_one(h):
    one, two = np.zeros((4, 2)), np.zeros((4, 2))
    _moments(h, 1, one)
    _moments(h, 2, two)
    np.testing.assert_allclose(one[:2], two[:2], rtol=1e-12, atol=1e-15)
    # the smallest element, 2 h^3/3, is a difference of numbers of the size 1/2: 1e-16/h^3; below 1e-3 a series to the order h^2
    np.testing.assert_allclose(one[2:], two[2:], rtol=max(3e-16 / h**3, 1e-9) if h > 1e-3 else 1e-8, atol=1e-300)


def test_gust__is_linear_and_continuous_from_tick_to_tick():
    state, gust = np.zeros(TURBULENCE_SIZE), np.zeros((3, 3))
    state[T_NOW : T_NOW + 3], state[T_NEXT : T_NEXT + 3] = (1.0, 2.0, 3.0), (3.0, 2.0, 1.0)
    blow(gust, state, 0.25, 0.75)
    np.testing.assert_allclose(gust, [[1.5, 2.0, 2.5], [2.0, 2.0, 2.0], [2.5, 2.0, 1.5]])


def test_turbulence__is_a_function_of_seed_and_flight(demo_mission):
    rough = demo_mission.change({"air.turbulence": {"wind_at_20_ft": "6 m/s"}})
    one, again, other = (sixdof.fly(rough, flight=k, seed=2) for k in (3, 3, 4))
    assert one["attitude"].equals(again["attitude"]) and not one["wind_east"].equals(other["wind_east"])
    calm = demo_mission.change({"air.turbulence": {"wind_at_20_ft": 0.0, "aloft": 0.0}})
    assert float(sixdof.fly(calm).apogee) == float(sixdof.fly(demo_mission).apogee)


def test_discrete_gust__has_the_standards_shape(demo_mission):
    """(V/2)(1 - cos(pi x/d)): 0.1464466, 0.5, 0.8535534 of V at x/d = 1/4, 1/2, 3/4 (reference/turbulence_wind.md, computed)."""
    still = demo_mission.change({"air.wind.speed": 0.0, "record.rate": "100 Hz"})
    for shape, at in (("rise", {0.25: 0.1464466, 0.5: 0.5, 0.75: 0.8535534, 2.0: 1.0}), ("pulse", {0.125: 0.1464466, 0.5: 1.0, 2.0: 0.0})):
        gust = {"speed": "8 m/s", "blows_from": "270 deg", "height": "100 m", "length": "100 m", "shape": shape}
        ds = sixdof.fly(still.change({"air.gust": [gust]}))
        climb = ds.where(ds.time < ds.apogee_time, drop=True)
        blown = np.interp([100.0 + 100.0 * x for x in at], climb.height, climb.wind_east)
        # linear between ticks 1 m apart: (pi/100)^2/8 of the speed
        np.testing.assert_allclose(blown, 8.0 * np.array(list(at.values())), atol=0.02)


def test_discrete_gust__is_felt_at_its_height_as_a_canopy_opens(demo_mission):
    """From that tick on the flight computer looks every fifth tick; the gust is worked out for the tick that comes, not for the next one."""
    gust = {"speed": "8 m/s", "blows_from": "270 deg", "height": "60 m", "length": "200 m"}
    early = [{"name": "early", "when": "climbing_through", "threshold": "140 m", "action": "deploy", "target": "main"}]
    ds = sixdof.fly(demo_mission.change({"air.wind.speed": 0.0, "air.gust": [gust], "rule": early, "record.rate": "100 Hz"}))
    climb = ds.where((ds.time < ds.apogee_time) & (ds.height > 70.0) & (ds.height < 250.0), drop=True)
    assert (climb["phase"] == 4.0).any()
    x = (climb.height.values - 60.0) / 200.0
    # a tick ahead the height is taken from the present climb rate, which the canopy brakes by some 300 m/s^2: up to 0.4 m in 50 ms
    np.testing.assert_allclose(climb.wind_east.values, 4.0 * (1.0 - np.cos(2.0 * np.pi * x)), atol=0.1)


def test_gust__on_the_round_earth_blows_from_where_it_says(demo_mission):
    """Local east lies within 2e-5 rad of the launch point's over the demo's flight: the same push to a part in ten thousand."""
    windy = demo_mission.change({"air.wind.speed": 0.0, "air.gust": [{"speed": "8 m/s", "blows_from": "200 deg", "height": "60 m", "length": "300 m"}]})
    flat, ball = (sixdof.fly(windy.change({"site.earth": earth})) for earth in ("flat", "wgs84"))
    for axis in ("wind_east", "wind_north"):
        n = min(flat.sizes["time"], ball.sizes["time"])
        np.testing.assert_allclose(ball[axis].values[: n - 100], flat[axis].values[: n - 100], atol=0.01)
    assert abs(float(flat.wind_north.max())) > 5.0


def test_gust__that_blows_nothing_is_refused(demo_mission):
    with pytest.raises(sixdof.MissionError, match="the gust blows nothing"):
        demo_mission.change({"air.gust": [{"height": "50 m", "length": "10 m"}]})
