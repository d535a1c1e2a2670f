"""A body spinning free of all torque, by the kernel's own step, against Jacobi's elliptic functions.

Source: L. D. Landau and E. M. Lifshitz, Mechanics, sec. 37, evaluated with mpmath 1.4.1 at 40 digits; case A is the
"tumbling brick" of NASA's flight check cases (TM-2015-218675), inertia in slug ft^2, rates in deg/s; case B has the
axes in the other order of energies.
"""

from __future__ import annotations

import math

import models
import numpy as np
import pytest
from drivers import AT_REST, Q, W, let_go

SLUG_FT2 = 1.3558179483314004  # kg m^2 in a slug ft^2
DEG = math.pi / 180.0
STEP = 1e-3  # s: RK4's error over 30 s is then below 1e-10 of the rates (halving it changes the answer by less)
RATE = 2e-9  # of the largest rate: the printed digits of case B end at 1e-9
KEPT = 1e-11  # of energy and angular momentum: RK4's drift over 30,000 steps

A = {
    1: (4.25884189865345, 23.1199428974973, 28.3798177750828),
    5: (-16.9394851494413, 9.63193937741517, 33.4066280794463),
    10: (-2.41890222169288, -23.5525695195605, 28.1285926300414),
    30: (12.6183907759142, -17.3974747616114, 31.1195888869443),
}
B = {
    1: (1.80748482999801, 0.907192696910118, 0.0752803884885174),
    10: (1.8278410302171, -0.865446224935383, 0.174167382848697),
    30: (1.83900295924378, 0.841467834140222, -0.209707641020671),
}
CASES = {
    "A": ((0.001894220 * SLUG_FT2, 0.006211019 * SLUG_FT2, 0.007194665 * SLUG_FT2), (10.0, 20.0, 30.0), DEG, A),
    "B": ((1.0, 2.0, 3.0), (2.0, 0.3, 0.5), 1.0, B),
}


def spin(inertia, rates, unit):
    """Return one row a second, 0..30 s, of a body in empty space."""
    model = models.model(world=models.world(density=0.0, gravity=0.0), mass=models.mass(inertia=(*inertia, 0.0, 0.0, 0.0)), aero=models.aero())
    start = [*AT_REST[:10], *(w * unit for w in rates)]
    return let_go(model, models.draw(), start, h=STEP, until=30.0, rows=30)


@pytest.mark.parametrize("name", CASES)
def test_rates__jacobi(name):
    inertia, start, unit, table = CASES[name]
    rows = spin(inertia, start, unit)
    for second, expected in table.items():
        assert rows[second, W] / unit == pytest.approx(expected, abs=RATE * max(map(abs, start)))


@pytest.mark.parametrize("name, twice_energy, momentum", [("A", 0.002786953333378 * SLUG_FT2, 0.004359006323011 * SLUG_FT2), ("B", 4.93, 2.570992026436)])
def test_energy_and_momentum__kept(name, twice_energy, momentum):
    inertia, start, unit, _ = CASES[name]
    rows = spin(inertia, start, unit)
    h = rows[:, W] * np.array(inertia)
    energy = (h * rows[:, W]).sum(axis=1)
    # the references are printed to 13 digits
    assert energy[0] == pytest.approx(twice_energy, rel=1e-11)
    assert np.linalg.norm(h[0]) == pytest.approx(momentum, rel=1e-11)
    assert np.abs(energy / energy[0] - 1.0).max() < KEPT
    assert np.abs(np.linalg.norm(h, axis=1) / momentum - 1.0).max() < KEPT * 10.0


@pytest.mark.parametrize("name", CASES)
def test_angular_momentum__fixed_in_space(name):
    inertia, start, unit, _ = CASES[name]
    rows = spin(inertia, start, unit)
    w, x, y, z = rows[:, Q].T
    turn = np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - w * z), 2 * (x * z + w * y)],
            [2 * (x * y + w * z), 1 - 2 * (x * x + z * z), 2 * (y * z - w * x)],
            [2 * (x * z - w * y), 2 * (y * z + w * x), 1 - 2 * (x * x + y * y)],
        ]
    )
    h = np.einsum("ijn,nj->ni", turn, rows[:, W] * np.array(inertia))
    assert np.abs(h - h[0]).max() / np.linalg.norm(h[0]) < 1e-9  # attitude and rates err independently, each by RK4's 1e-10


def test_products_of_inertia__same_motion_in_turned_axes():
    """Case B in body axes turned about (1, 2, 3) must spin alike: the full tensor is used."""
    from scipy.spatial.transform import Rotation

    inertia, start, _, _ = CASES["B"]
    c = Rotation.from_rotvec(0.7 * np.array([1.0, 2.0, 3.0]) / math.sqrt(14.0)).as_matrix()
    j = c @ np.diag(inertia) @ c.T
    model = models.model(world=models.world(density=0.0, gravity=0.0), mass=models.mass(inertia=(j[0, 0], j[1, 1], j[2, 2], j[0, 1], j[0, 2], j[1, 2])))
    rows = let_go(model, models.draw(), [*AT_REST[:10], *(c @ start)], h=STEP, until=30.0, rows=30)
    for second, expected in B.items():
        assert c.T @ rows[second, W] == pytest.approx(expected, abs=RATE * 2.0)
