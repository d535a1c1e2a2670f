"""Moments of inertia from the periods of swings: two strings, three strings, a pivot. Numbers or arrays of draws alike.

Closed forms of small swings (any text on vibrations, such as J. P. Den Hartog, "Mechanical Vibrations", 1956, problems of chapter 2); the period of a swing
of amplitude A is longer by 2/pi K(sin(A/2)), exactly for a pivot, and for strings as long as they hardly lift what they hold; what they lift is taken to
first order in (r A/L)^2.
"""

from __future__ import annotations

import math

import numpy as np

FOUR_PI_2 = 4.0 * math.pi**2


def amplitude_factor(amplitude):
    """Return the period of a pendulum that swings to `amplitude` (rad) over that of a small swing: 2/pi K(sin(amplitude/2))."""
    from scipy.special import ellipk

    return 2.0 / math.pi * ellipk(np.sin(0.5 * np.abs(amplitude)) ** 2)


def string_factor(amplitude, arms, length, gravity, period):
    """Return the period of a swing to `amplitude` (rad) on vertical strings over that of a small one.

    arms : product of the strings' distances from the axis of turning, m^2. The strings' own geometry stiffens the swing by the share 3/16 (A r/L)^2 of its
    period, and what they lift and lower adds mass to it, (pi A r)^2/(g L T^2): the first terms of the energies of a body on strings in powers of A r/L.
    """
    lifted = amplitude**2 * arms / length**2
    return amplitude_factor(amplitude) * (1.0 + lifted * (math.pi**2 * length / (gravity * period**2) - 3.0 / 16.0))


def bifilar(mass, gravity, arms, length, period):
    """Return the moment of inertia (kg m^2) about the vertical through the centre of mass: m g a b T^2/(4 pi^2 L).

    arms : a b, the product of the strings' distances from the centre of mass (m^2), which need not be equal: the strings carry m g b/(a + b) and
    m g a/(a + b). length : of the strings, m. period : of a small swing, s.
    """
    return mass * gravity * arms * period**2 / (FOUR_PI_2 * length)


def trifilar(mass, gravity, radius, length, period, platform_mass, platform_period, offset):
    """Return the moment of inertia (kg m^2) of a body on a platform about the vertical through its own centre of mass, `offset` (m) off the platform's axis."""
    with_platform = (mass + platform_mass) * gravity * radius**2 * period**2 / (FOUR_PI_2 * length)
    platform = platform_mass * gravity * radius**2 * platform_period**2 / (FOUR_PI_2 * length)
    return with_platform - platform - mass * offset**2


def compound(mass, gravity, arm, period):
    """Return the moment of inertia (kg m^2) about the centre of mass of a body on a pivot at a distance `arm` (m) from it: m g l T^2/(4 pi^2) - m l^2."""
    return mass * gravity * arm * period**2 / FOUR_PI_2 - mass * arm**2


def air_moved(length: float, diameter: float, density: float) -> float:
    """Return the moment of inertia (kg m^2) of the air that swings with a slender body about its middle: rho pi d^2/4 l^3/12.

    Apparent mass of a slender body by its cross sections (M. M. Munk, NACA TR 184, 1924); fins move some more.
    """
    return density * 0.25 * math.pi * diameter**2 * length**3 / 12.0
