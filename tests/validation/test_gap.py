"""The slot at a hinged fin's root against slender theory with a slit, computed in tests/support/independent_gap.py."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from independent_gap import panel_factor

from sixdof.vehicle.aero import interference

DIGITS = 2e-3  # the table has three digits
OTHER_BODIES = 0.04  # the table, of r/s 0.34, stands for all


def test_theory__no_body_and_a_wide_slot_leave_two_wings_alone():
    """A lone panel of width b in the cross plane has half the load of one joined to its mirror image: k = (1 - g)^2/2."""
    lone = 0.5 * (1.0 - 0.98) ** 2
    assert panel_factor(1e-4, 0.98) == pytest.approx(lone, rel=1e-3)  # as far apart as 1:100 of their width


@pytest.mark.parametrize("gap, kept", list(zip(interference.GAP, interference.GAP_KEPT)))
def test_table__against_vortex_sheets(gap, kept):
    assert panel_factor(0.34, gap) / interference.panel_deflection(0.34) == pytest.approx(kept, abs=DIGITS)


@pytest.mark.parametrize("ratio", [0.1, 0.25, 0.6])
def test_table__stands_for_other_bodies(ratio):
    for gap, kept in zip(interference.GAP[1:], interference.GAP_KEPT[1:]):
        assert panel_factor(ratio, gap) / interference.panel_deflection(ratio) == pytest.approx(kept, rel=OTHER_BODIES)


@given(st.floats(0.0, 0.3), st.floats(1e-4, 0.3))
def test_share__falls_with_the_slot(gap, more):
    narrow, wide = interference.gap_share(gap, 1.0), interference.gap_share(gap + more, 1.0)
    assert 0.0 < wide < narrow <= 1.0


def test_share__sealed_and_common_practice():
    assert interference.gap_share(0.0, 0.05) == 1.0
    small = interference.gap_share(1e-9, 0.05)
    assert small == pytest.approx(1.0, abs=1e-5)  # closed by viscosity
    loss = 1.0 - np.array([interference.gap_share(g, 1.0) for g in (0.01, 0.03)])
    assert np.all((loss > 0.1) & (loss < 0.2))  # common practice: 10 to 20 %
