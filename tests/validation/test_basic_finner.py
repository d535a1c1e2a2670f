"""The Army-Navy Basic Finner against a THEORY band: a sanity check, not a measurement.

Geometry from memory of BRL Report 934 (MacAllister 1955): 10 deg cone of 2.836 calibres, 10 calibres long, four square
fins of one calibre flush with the base. Band: nose 2 at 2/3 of the cone, rectangular fins of ratio 2 in linear theory,
with K_W(B) alone (low) or with the full slender K_W(B) + K_B(W) (high). Measured slopes lie between or up to some 15 %
above.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Nose, Stage, Tube
from sixdof.vehicle.aero.drag import drag_breakdown
from sixdof.vehicle.aero.table import aero_table, centre_of_pressure

D = 0.03
WIDENED = 0.15  # the band itself omits the growth of the body's slope with Mach
# Mach, CN_alpha low and high, centre of pressure in calibres with either
BAND = [
    (1.5, 11.0850, 14.5751, 8.0877, 8.4144),
    (2.0, 8.4631, 10.9459, 7.6802, 8.0866),
    (2.5, 7.0868, 9.0409, 7.3378, 7.8007),
    (3.0, 6.2166, 7.8364, 7.0409, 7.5459),
]


def _finner() -> Mission:
    cone = 0.5 / math.tan(math.radians(10)) * D
    parts = (
        Nose(mass=0.1, shape="cone", length=cone, diameter=D),
        Tube(mass=0.1, length=10 * D - cone, diameter=D),
        Fins(mass=0.1, count=4, station=9 * D, root_chord=D, tip_chord=D, semispan=D, thickness=0.08 * D, section="double-wedge"),
    )
    return Mission.model_construct(motor={}, stage=(Stage.model_construct(name="finner", part=parts),))


@pytest.mark.parametrize("mach, low, high, fore, aft", BAND)
def test_slope_and_centre__within_the_theory_band(mach, low, high, fore, aft):
    slope, centre = centre_of_pressure(aero_table(_finner(), [0]), mach)
    assert low * (1 - WIDENED) < slope < high * (1 + WIDENED)
    assert fore - 0.5 < centre / D < aft + 0.5  # half a calibre: the body's own load is not in the band


def test_slope__barrowman_at_rest_is_a_lower_bound():
    """10.837 with K = 1 + r/(s + r) = 4/3, the straight-line stand-in for (4/3)^2."""
    slope, _ = centre_of_pressure(aero_table(_finner(), [0]), 0.0)
    fins = 10.837 - 2.0
    assert slope == pytest.approx(2.0 + fins * 4 / 3, rel=1e-4)  # printed to five digits


def test_wave_drag__cone_of_ten_degrees():
    """Taylor-Maccoll 0.12382 at Mach 1.5 and 0.10447 at 2; the fit is within 2.5 % there."""
    found = drag_breakdown(_finner(), [0], np.array([1.5, 2.0]))["nose and shoulders"]
    np.testing.assert_allclose(found, [0.12382, 0.10447], rtol=0.025)
