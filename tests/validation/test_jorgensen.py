"""A cone-cylinder from 2 to 178 degrees through the kernel, against the numbers of Jorgensen's method.

L. H. Jorgensen, NASA TN D-6996, 1973 (formulas from memory; numbers computed from them by hand, apart from this
library): cone of 3 diameters, 12 in all, d = 1 m; eta 0.69, Cdn 1.2; moments about 6.0 m from the nose, nose up.
CN = (A_b/A) sin 2a' cos(a'/2) + eta Cdn (A_p/A) sin^2 a; a' = a, beyond 90 deg (NASA TR R-474, 1977) 180 deg - a, and the
potential part's moment -[V - A_b x_m]/(A d) sin 2a' cos(a'/2) for [V - A_b (l - x_m)]/(A d) sin 2a' cos(a'/2).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from tunnel import coefficients

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Nose, Stage, Tube
from sixdof.vehicle.aero.table import aero_table

PRINTED = 2e-6  # absolute: six decimals
CASES = [
    (2, 0.083228, 0.269353),
    (5, 0.257569, 0.633870),
    (20, 1.927913, 1.607167),
    (45, 6.458652, -0.257891),
    (60, 9.052158, -2.930113),
    (90, 11.069545, -7.906818),
    (100, 10.997760, -8.716408),
    (120, 9.052158, -8.930113),
    (135, 6.458652, -7.648927),
    (160, 1.927913, -3.457011),
    (175, 0.257569, -0.753993),
    (178, 0.083228, -0.288614),
]


@pytest.fixture(scope="module")
def cone_cylinder():
    parts = Nose(mass=1.0, shape="cone", length=3.0, diameter=1.0), Tube(mass=1.0, length=9.0, diameter=1.0)
    stage = Stage.model_construct(name="one", part=parts)
    aero = aero_table(Mission.model_construct(motor={}, stage=(stage,)), [0])
    aero.cross[:] = 0.69 * 1.2
    return aero


@pytest.mark.parametrize("degrees, normal, moment", CASES)
def test_sample__normal_force_and_moment(cone_cylinder, degrees, normal, moment):
    found = coefficients(cone_cylinder, 0.3, math.radians(degrees), cg=6.0)
    assert -found[2] == pytest.approx(normal, abs=PRINTED)
    assert found[4] == pytest.approx(moment, abs=PRINTED)


@pytest.mark.parametrize("degrees", [20, 60, 120, 160])
def test_sample__axial_force_falls_with_the_square_of_the_cosine(cone_cylinder, degrees):
    """CA = CA0 cos^2 a, beyond 90 deg CA180 cos^2 a (Jorgensen)."""
    level, inclined = (coefficients(cone_cylinder, 0.3, math.radians(a)) for a in (0.0 if degrees < 90 else 180.0, degrees))
    assert inclined[0] == pytest.approx(level[0] * math.cos(math.radians(degrees)) ** 2, rel=1e-9)


def test_sample__mirrored_flow_gives_the_mirrored_force(cone_cylinder):
    up, down, side = (coefficients(cone_cylinder, 0.3, 0.5, roll=roll, cg=6.0) for roll in (0.0, math.pi, math.pi / 2))
    np.testing.assert_allclose(down[[2, 4]], -up[[2, 4]], rtol=1e-9)
    assert side[1] == pytest.approx(up[2], rel=1e-9) and side[5] == pytest.approx(-up[4], rel=1e-9)
