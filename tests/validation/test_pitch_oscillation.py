"""Small oscillations about the flight path: frequency, damping and the coupling with roll, against the linear theory.

Source: Mandell, Caporaso and Bengen, Topics in Advanced Model Rocketry (MIT Press 1973): C1 = q S CNa (xcp - xcg),
C2 = (rho V S/2) sum CNa_i (x_i - xcg)^2 + mdot (x_exit - xcg)^2; rolling: tricyclic theory (Murphy, BRL Report 1216,
1963). Numbers with mpmath 1.4.1. Vehicle: 100 m/s, d 0.1 m, nose CNa 2 at 0.25 m, fins CNa 8 at 1.75 m, cg 1.0 m, It
1.2 kg m^2.
"""

from __future__ import annotations

import cmath
import math

import models
import numpy as np
import pytest
from drivers import V, let_go, nose_of

SPEED, HEAVY = 100.0, 1e10  # m/s; kg: so heavy that lift does not bend the path
SMALL = 1e-5  # rad: the kernel's sin a cos a cos(a/2) bends by a^2, 1e-10
STEP = 1e-3  # s: RK4 shifts a root at 13 rad/s by (w h)^4/120 = 3e-10 of it
LINEAR = 1e-7  # relative: what SMALL and STEP leave, with room for the fit
IT, IX, MASS = 1.2, 0.012, 8.0
SAMPLE = 0.02  # s between the samples fitted


def vehicle(mass, *, burning=False):
    grains = [(2.0, 1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)] if burning else ()
    thrust = models.thrust((0.0, 10.0), (1.0, 1.0), propellant=2.0, exit_x=2.0) if burning else models.thrust()
    return models.model(world=models.world(gravity=0.0), thrust=thrust, mass=models.mass(dry=mass, inertia=(IX, IT, IT, 0.0, 0.0, 0.0), grains=grains))


def flow_angles(model, *, alpha, until, rows, roll=0.0):
    """Return the complex angle of the nose off the velocity (up + i times aside), rad, at equal times."""
    half = 0.5 * alpha
    start = [0.0, 0.0, 0.0, SPEED, 0.0, 0.0, math.cos(half), 0.0, math.sin(half), 0.0, roll, 0.0, 0.0]
    out = let_go(model, models.draw(), start, h=STEP if roll == 0.0 else STEP / 4.0, until=until, rows=rows)
    nose, along = nose_of(out), out[:, V] / np.linalg.norm(out[:, V], axis=1)[:, None]
    return -(nose[:, 2] - along[:, 2]) + 1j * (nose[:, 1] - along[:, 1])


def roots_of(samples, dt):
    """Return the two exponents s of c1 exp(s1 t) + c2 exp(s2 t) through equally spaced samples (Prony's method)."""
    a, b = np.linalg.lstsq(np.column_stack([samples[1:-1], samples[:-2]]), samples[2:], rcond=None)[0]
    return sorted((np.log(np.roots([1.0, -a, -b]).astype(complex)) / dt), key=lambda s: s.imag)


@pytest.mark.parametrize("t, degrees", [(0.1, 1.395054904776), (0.2, -3.416470535869), (0.5, 2.706306081109), (1.0, 1.207267774056)])
def test_pinned__angle_from_5_degrees(t, degrees):
    """alpha(0) = 5 deg in the linear equation; flown at SMALL and scaled, for the kernel is not linear."""
    samples = flow_angles(vehicle(HEAVY), alpha=SMALL, until=t, rows=1)
    assert samples[-1].real / samples[0].real == pytest.approx(degrees / 5.0, abs=LINEAR)


@pytest.mark.parametrize("burning, damping, period", [(False, 0.08394476901124, 0.469463509299), (True, 0.09014924535286, 0.4697190655509)])
def test_pinned__frequency_and_damping(burning, damping, period):
    samples = flow_angles(vehicle(HEAVY, burning=burning), alpha=SMALL, until=2.0, rows=100)
    low, high = roots_of(samples.real, SAMPLE)
    assert abs(high) == pytest.approx(13.4311630418, rel=LINEAR)
    assert -high.real / abs(high) == pytest.approx(damping, rel=1e-6)  # a small part of the root: its error counts tenfold
    assert 2.0 * math.pi / high.imag == pytest.approx(period, rel=LINEAR)
    assert low == pytest.approx(high.conjugate(), rel=LINEAR)


def derivatives(mass):
    """Return (Za, Zq, Ma, Mq): a' = -Za a + (1 - Zq) q, q' = Ma a + Mq q."""
    s, q = math.pi * 0.1**2 / 4.0, 0.5 * models.RHO * SPEED**2
    first, second = 2.0 * 0.75 - 8.0 * 0.75, (2.0 + 8.0) * 0.75**2
    k = q * s / SPEED
    return q * s * 10.0 / (mass * SPEED), -k * first / (mass * SPEED), q * s * first / IT, -k * second / IT


def test_free_flight__frequency_and_damping_with_lift():
    """The path bends too. The printed numbers omit the lift of the pitch rate, Zq, 0.3 % of the rate's effect."""
    za, zq, ma, mq = derivatives(MASS)
    assert (za, ma, mq) == pytest.approx((0.6013204688512, -180.3961406554, -2.254951758192), rel=1e-12)
    assert math.sqrt(-ma - za * mq) == pytest.approx(13.48154625048, rel=1e-11)
    assert (za - mq) / (2.0 * 13.48154625048) == pytest.approx(0.1059326643241, rel=1e-11)
    exact = np.linalg.eigvals(np.array([[-za, 1.0 - zq], [ma, mq]]))
    high = roots_of(flow_angles(vehicle(MASS), alpha=SMALL, until=2.0, rows=100).real, SAMPLE)[1]
    assert high == pytest.approx(exact[np.argmax(exact.imag)], rel=LINEAR)
    assert abs(high) == pytest.approx(13.48154625048, rel=0.5 * abs(zq) * 1.05)


def test_rolling__two_modes():
    """At p = 60 rad/s the plane motion splits into a fast and a slow circle.

    s^2 + (Za - Mq - iP)s - (Ma + Za Mq) - i P Za = 0, P = Ix p/It = 0.6: -1.446634406096 + 13.70905883095i and
    -1.409637820947 - 13.10905883095i, again without Zq.
    """
    za, zq, ma, mq = derivatives(MASS)
    p = IX * 60.0 / IT
    printed = np.roots([1.0, za - mq - 1j * p, -(ma + za * mq) - 1j * p * za])
    assert sorted(printed, key=lambda s: s.imag) == pytest.approx([-1.409637820947 - 13.10905883095j, -1.446634406096 + 13.70905883095j], rel=1e-12)
    exact = sorted(np.linalg.eigvals(np.array([[-za, 1.0 - zq], [ma, mq + 1j * p]])), key=lambda s: s.imag)
    samples = flow_angles(vehicle(MASS), alpha=SMALL, until=2.0, rows=100, roll=60.0)
    found = roots_of(samples, SAMPLE)
    turned = [s.conjugate() for s in reversed(found)]  # whichever way the imaginary axis points
    nearest = min((found, turned), key=lambda pair: abs(pair[0] - exact[0]))
    assert nearest == pytest.approx(exact, rel=1e-6)
    assert nearest == pytest.approx(sorted(printed, key=lambda s: s.imag), rel=2.0 * abs(zq))


def test_roll_resonance__gyroscope_and_pitch_in_step():
    """p = wn/sqrt(1 - Ix/It) = 13.49882675992 rad/s: one mode then turns with the body."""
    wn, p = 13.4311630418, 13.49882675992
    modes = [0.5 * 1j * IX * p / IT + sign * cmath.sqrt(-(0.25 * (IX * p / IT) ** 2) - wn**2) for sign in (1.0, -1.0)]
    assert max(s.imag for s in modes) == pytest.approx(p, rel=1e-11)
    samples = flow_angles(vehicle(HEAVY), alpha=SMALL, until=2.0, rows=100, roll=p)
    found = roots_of(samples, SAMPLE)
    fast = max(abs(s.imag) for s in found)
    assert fast == pytest.approx(p, rel=5e-3)  # damping (0.084 critical) shifts the frequency by half its square, 0.35 %
