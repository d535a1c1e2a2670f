"""The step's order: RK4's error goes with the fourth power of the step in a smooth six-degree-of-freedom flight.

Source: the order of the classical method (W. Kutta, 1901); on smooth air, constant coefficients and a straight thrust
curve nothing in the kernel may spoil it.
"""

from __future__ import annotations

import models
import numpy as np
import pytest
from drivers import let_go

ORDER = 4
SPREAD = 0.04  # of the ratio 16: the next term of the error is that of the pitch frequency times the step, 13 rad/s x 2.5 ms
STEPS = (0.0025, 0.00125, 0.000625)  # s


def smooth_vehicle():
    """Spinning, misaligned, off axis, burning, in a wind on a turning Earth: every term at work, no kink reached."""
    panels = [[0, s, c, 0.08, 0.09, 0.01, -1, 0.003, np.nan, 1.8] for s, c in ((0.0, 1.0), (1.0, 0.0), (0.0, -1.0), (-1.0, 0.0))]
    fin = np.array([[3.0, 1.75, 1.3, 0.3, 0.9, 0.25, 1.7, 1.0, 2.0, 1.75, 0.7, 0.75]])
    return models.model(
        world=models.world(wind=(4.0, -2.0), earth_rate=(0.0, 5.7e-5, 4.5e-5)),
        aero=models.aero(ca=0.4, slopes=((2.0, 0.25),), panels=panels, fins=fin),
        mass=models.mass(inertia=(0.02, 1.2, 1.25, 0.002, -0.003, 0.001), grains=[(1.0, 1.6, 0.001, 0.0, 4e-4, 2e-4, 0.01, 2e-3)]),
        thrust=models.thrust((0.0, 2.0), (300.0, 100.0), propellant=1.0, exit_x=2.0, exit_area=1e-4, exit_radius=0.01),
    )


def test_rk4_step__fourth_order():
    draw = models.draw(tilt_y=0.004, tilt_z=-0.003, offset_y=0.001, cg_y=0.001, cg_z=-0.0005)
    start = [0.0, 0.0, 10.0, 80.0, 5.0, 20.0, 1.0, 0.0, -0.1, 0.02, 2.0, 0.1, -0.2]
    start[6:10] = np.array(start[6:10]) / np.linalg.norm(start[6:10])
    ends = [let_go(smooth_vehicle(), draw, start, h=h, until=1.6)[-1][1:] for h in STEPS]
    coarse, fine = ends[0] - ends[1], ends[1] - ends[2]
    for part in (slice(0, 3), slice(3, 6), slice(6, 10), slice(10, 13)):
        ratio = np.linalg.norm(coarse[part]) / np.linalg.norm(fine[part])
        assert ratio == pytest.approx(2.0**ORDER, rel=SPREAD)
