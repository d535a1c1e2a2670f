"""Slender-body interference factors against a table of their closed forms.

Source: W. C. Pitts, J. N. Nielsen, G. E. Kaattari, NACA Report 1307, 1957. The table was evaluated apart from this
library and agrees with the slender-body cross-flow potential (K to 1e-12, k to 1e-4).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import dblquad

from sixdof.vehicle.aero import interference

PRINTED = 1e-6  # the table has six decimals
ROUNDING = 1e-9  # cancellation in (1 - x)^-2 at x = 0.999

# r/s, K_W(B), K_B(W), k_W(B), k_B(W)
TABLE = np.array(
    [
        (0.00, 1.000000, 0.000000, 1.000000, 0.000000),
        (0.05, 1.037442, 0.065058, 0.978153, 0.059288),
        (0.10, 1.076973, 0.133027, 0.962750, 0.114223),
        (0.15, 1.118425, 0.204075, 0.951655, 0.166770),
        (0.20, 1.161639, 0.278361, 0.943873, 0.217765),
        (0.25, 1.206464, 0.356036, 0.938758, 0.267706),
        (0.35, 1.300408, 0.522092, 0.934737, 0.365672),
        (0.40, 1.349279, 0.610721, 0.935165, 0.414114),
        (0.45, 1.399268, 0.703232, 0.936879, 0.462389),
        (0.50, 1.450275, 0.799725, 0.939675, 0.510601),
        (0.55, 1.502210, 0.900290, 0.943383, 0.558827),
        (0.65, 1.608540, 1.113960, 0.952986, 0.655554),
        (0.70, 1.662793, 1.227207, 0.958657, 0.704136),
        (0.75, 1.717686, 1.344814, 0.964784, 0.752903),
        (0.80, 1.773165, 1.466835, 0.971293, 0.801872),
        (0.85, 1.829179, 1.593321, 0.978120, 0.851059),
        (0.90, 1.885683, 1.724317, 0.985211, 0.900472),
        (0.95, 1.942636, 1.859864, 0.992517, 0.950118),
        (1.00, 2.000000, 2.000000, 1.000000, 1.000000),
    ]
)
FACTORS = ("panel_incidence", "body_incidence", "panel_deflection", "body_deflection")


@pytest.mark.parametrize("column, name", list(enumerate(FACTORS, start=1)))
def test_factor__table(column, name):
    found = getattr(interference, name)(TABLE[:, 0])
    np.testing.assert_allclose(found, TABLE[:, column], atol=PRINTED)


@given(st.floats(0.0, 1.0))
def test_factor__wing_and_body_together_give_spreiters_lift(x):
    """L/(q alpha) = 2 pi s^2 (1 - x^2 + x^4) (Spreiter, NACA Report 962): nose 2 pi r^2, panels (pi/2)(2(s - r))^2."""
    together = interference.panel_incidence(x) + interference.body_incidence(x)
    lift = 2 * math.pi * x**2 + together * 2 * math.pi * (1 - x) ** 2
    assert lift == pytest.approx(2 * math.pi * (1 - x**2 + x**4), rel=ROUNDING)


@pytest.mark.parametrize("name", FACTORS)
def test_factor__smooth_to_the_limits(name):
    """No jump where the closed form hands over to the straight line at x = 0.999."""
    x = np.linspace(0.99, 1.0, 2001)
    slopes = np.diff(getattr(interference, name)(x)) / np.diff(x)
    assert np.ptp(slopes) < 0.025  # the second derivatives are 2 at most, over a width of 0.01


def test_afterbody__planar_model_by_quadrature():
    """The pressure acos(beta y/x) of an unswept edge, over the strip with scipy instead of in closed form."""
    mach, chord, radius, afterbody = 1.8, 0.3, 0.05, 0.02
    beta = math.sqrt(mach**2 - 1)

    def end(y):
        return max(min(chord + beta * y, chord + afterbody), beta * y)

    load = dblquad(lambda x, y: math.acos(min(beta * y / x, 1.0)), 0, 2 * radius, lambda y: beta * y, end)[0]
    moment = dblquad(lambda x, y: x * math.acos(min(beta * y / x, 1.0)), 0, 2 * radius, lambda y: beta * y, end)[0]
    share, centre = interference.afterbody_share(np.array([mach]), chord, radius, afterbody)
    # 24 Gauss points against the logarithm at y = 0 and the corner at the body's end
    assert share[0] == pytest.approx(load / (math.pi * radius * chord), rel=2e-3)
    assert centre[0] == pytest.approx(moment / load, rel=2e-3)


def test_afterbody__limits():
    mach = np.linspace(0, 5, 251)
    none, _ = interference.afterbody_share(mach, 0.1, 0.03, 0.0)
    long, centre = interference.afterbody_share(mach, 0.1, 0.03, 10.0)
    assert np.all(none[mach <= 1] == 1) and np.all(long[mach <= 1] == 1)
    assert np.all(none <= long + 1e-12) and np.all(none > 0) and np.all(long <= 1)
    assert np.all(np.diff(none) <= 1e-12) and np.all(np.diff(centre[mach >= 1]) > 0)
    assert centre[0] == pytest.approx(0.05, rel=1e-12)  # mid-root where the flow is slender


def test_afterbody__no_body_keeps_everything():
    share, centre = interference.afterbody_share(np.array([0.5, 1.0, 3.0]), 0.1, 0.0, 0.0)
    np.testing.assert_allclose(share, 1.0, rtol=1e-12)
    np.testing.assert_allclose(centre, 0.05, rtol=1e-12)
