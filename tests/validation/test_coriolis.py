"""The turning Earth: a dropped and a thrown body in a vacuum, constant gravity, latitude 45 deg.

Source: the linear equation r'' = g - 2 W x r' by the matrix exponential (mpmath 1.4.1, 40 digits); leading orders
(omega cos(lat)/3) sqrt(8 h^3/g) east and -(4/3) omega cos(lat) v0^3/g^2 (Landau and Lifshitz, Mechanics, sec. 39).
"""

from __future__ import annotations

import math

import models
import pytest
from drivers import AT_REST, R, let_go

OMEGA = 7.292115e-5  # rad/s
SIDE = OMEGA * math.sqrt(0.5)
ROUND = 1e-11  # m: RK4 is exact to rounding for these almost parabolic paths
HEIGHT = 1e-8  # m: the printed times end at 1e-11 s, the speeds are below 150 m/s


def drift(start, until):
    model = models.model(world=models.world(density=0.0, earth_rate=(0.0, SIDE, SIDE)))
    return let_go(model, models.draw(), start, h=1e-2, until=until)[-1][R]


def test_drop__east_and_south():
    r = drift([0.0, 0.0, 100.0, *AT_REST[3:]], 4.51600759833)
    assert r[:2] == pytest.approx([0.01552393853613, -1.807445e-6], abs=ROUND)
    assert r[2] == pytest.approx(0.0, abs=HEIGHT)
    assert r[0] == pytest.approx(0.01552393845195, rel=1e-8)  # the leading order is that close


def test_throw__lands_west():
    r = drift([0.0, 0.0, 0.0, 0.0, 0.0, 150.0, *AT_REST[6:]], 30.59146101723)
    assert r[:2] == pytest.approx([-2.412728071432, 0.003805813194986], abs=1e-10)  # m: twelve digits are printed
    assert r[2] == pytest.approx(0.0, abs=HEIGHT)
    assert r[0] == pytest.approx(-2.412735275335, rel=4e-6)
