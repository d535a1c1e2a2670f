"""Mean wind over height: published forms, ratios evaluated outside this library.

Log law in feet: MIL-F-8785C (5 Nov 1980), section 3.7.3: u(h) = W20 ln(h/z0)/ln(20/z0). Ratios to 10 m: the log law
and the power law by their closed forms, 5 decimals.
"""

from __future__ import annotations

import pytest

from sixdof.mission.tables import Wind
from sixdof.world.wind import shape

FOOT = 0.3048  # m, exact
SIX_DECIMALS = 6e-7
FIVE_DECIMALS = 6e-6

# roughness (ft) -> u/W20 at h (ft)
MIL_HEIGHTS = (3.0, 10.0, 20.0, 50.0, 100.0, 500.0, 1000.0)
MIL = {0.15: (0.612267, 0.858335, 1.0, 1.187271, 1.328937, 1.657873, 1.799538), 2.0: (0.176091, 0.698970, 1.0, 1.397940, 1.698970, 2.397940, 2.698970)}
# roughness (m) or exponent -> ratio to 10 m at 2, 50, 100, 300 m
HEIGHTS = (2.0, 50.0, 100.0, 300.0)
LOG = {
    0.0002: (0.85125, 1.14875, 1.21281, 1.31435),
    0.03: (0.72295, 1.27705, 1.39637, 1.58549),
    0.1: (0.65051, 1.34949, 1.50000, 1.73856),
    0.4: (0.50000, 1.50000, 1.71534, 2.05664),
}
POWER = {
    0.10: (0.85134, 1.17462, 1.25893, 1.40512),
    1.0 / 7.0: (0.79460, 1.25850, 1.38950, 1.62561),
    0.20: (0.72478, 1.37973, 1.58489, 1.97435),
    0.35: (0.56933, 1.75647, 2.23872, 3.28846),
}


@pytest.mark.parametrize("roughness", MIL)
def test_log_profile__matches_the_specification(roughness):
    wind = Wind(profile="log", reference_height=20.0 * FOOT, roughness=roughness * FOOT)
    got = shape(wind, [h * FOOT for h in MIL_HEIGHTS])
    assert got == pytest.approx(MIL[roughness], abs=SIX_DECIMALS)


@pytest.mark.parametrize("roughness", LOG)
def test_log_profile__matches_the_ratios(roughness):
    assert shape(Wind(profile="log", roughness=roughness), HEIGHTS) == pytest.approx(LOG[roughness], abs=FIVE_DECIMALS)


@pytest.mark.parametrize("exponent", POWER)
def test_power_profile__matches_the_ratios(exponent):
    assert shape(Wind(profile="power", exponent=exponent), HEIGHTS) == pytest.approx(POWER[exponent], abs=FIVE_DECIMALS)
