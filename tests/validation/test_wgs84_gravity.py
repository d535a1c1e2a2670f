"""WGS-84 normal gravity (NIMA TR8350.2, third edition): Somigliana's formula and the series in height, eq. 4-3.

The table below was evaluated outside this library from the formula with ge = 9.7803253359, gp = 9.8321849378,
a = 6378137, 1/f = 298.257223563, GM = 3.986004418e14, omega = 7.292115e-5.
"""

from __future__ import annotations

import numpy as np
import pytest

from sixdof.world import gravity

# latitude (deg), normal gravity (m/s^2) at heights 0, 1, 5, 10, 30 km
TABLE = [
    (0.0, 9.7803253359, 9.7772384, 9.7649049, 9.7495206, 9.6883437),
    (30.0, 9.7932472692, 9.7901614, 9.7778322, 9.7624533, 9.7012986),
    (45.0, 9.8061977693, 9.8031129, 9.7907881, 9.7754146, 9.7142821),
    (55.0, 9.8150729471, 9.8119889, 9.7996670, 9.7842972, 9.7231800),
    (90.0, 9.8321849378, 9.8291023, 9.8167861, 9.8014236, 9.7403358),
]
TEN_DECIMALS = 1e-10  # printed digits on the ellipsoid
SEVEN_DECIMALS = 6e-8  # printed digits aloft


@pytest.mark.parametrize("row", TABLE, ids=lambda row: f"{row[0]:g}deg")
def test_normal_gravity__matches_the_table(row):
    latitude, surface, *aloft = row
    got = gravity.normal_gravity(np.deg2rad(latitude), np.array([0.0, 1e3, 5e3, 1e4, 3e4]))
    assert got[0] == pytest.approx(surface, abs=TEN_DECIMALS)
    np.testing.assert_allclose(got[1:], aloft, atol=SEVEN_DECIMALS, rtol=0.0)


def test_constants__match_the_published_derived_ones():
    assert pytest.approx(6_356_752.31425, abs=1e-5) == gravity.SEMI_MINOR  # TR8350.2 table 3.3
    assert pytest.approx(0.00669437999013, abs=2e-14) == gravity.ECCENTRICITY_SQUARED  # table 3.3
    assert pytest.approx(0.00344978650684, abs=2e-14) == gravity.RATIO  # table 3.4
    assert pytest.approx(0.00193185265241, abs=1e-11) == gravity.SOMIGLIANA  # table 3.4; its last digits are rounding


def test_normal_gravity__follows_the_gradient_of_the_true_potential():
    """Over the equator the field of the level ellipsoid is GM/r^2 plus its J2 term less the centrifugal part."""
    j2 = 1.082629821e-3  # TR8350.2 table 3.3, from C20 = -0.484166774985e-3 times -sqrt(5)
    height = np.array([0.0, 1e4, 4e4])
    r = gravity.SEMI_MAJOR + height
    expected = gravity.GM / r**2 * (1 + 1.5 * j2 * (gravity.SEMI_MAJOR / r) ** 2) - gravity.EARTH_RATE**2 * r
    neglected = 1e-5  # the J4 term (4e-6 of gravity) and the third power of height (1e-6)
    np.testing.assert_allclose(gravity.normal_gravity(0.0, height), expected, rtol=neglected)
