"""A canopy that opens while the vehicle still climbs: where the apogee is, and what its fins feel.

The row of the apogee is held to what apogee means (no climb), not to the step that found it.
"""

from __future__ import annotations

import numpy as np
import pytest

import sixdof
from sixdof.core.layout import Phase

STILL = 1e-6  # m/s: an event is located to 1e-12 of a step of some centiseconds; the rest is rounding


@pytest.fixture(scope="module")
def early(demo_mission):
    """The demo whose backup timer releases the drogue on the way up."""
    return sixdof.fly(demo_mission.change({"recovery.0.backup_time": "8 s"}))


def test_apogee__under_a_canopy_is_where_the_climb_ends(early):
    apogee = early.isel(body=0).sel(event="apogee")
    stretched = float(early.event_time.isel(body=0).sel(event="line stretch drogue"))
    assert stretched < float(apogee.event_time) - 0.1  # it hangs by then
    assert abs(float(apogee.event_velocity_up)) < STILL
    np.testing.assert_allclose(float(apogee.event_height), float(early.apogee_height), rtol=1e-12)
    logged = early.height.values[np.abs(early.time.values - float(apogee.event_time)) < 0.1]
    assert float(apogee.event_height) >= logged.max() - 1e-9


def test_hinges__under_canopies_carry_nothing(early):
    under = early.phase == int(Phase.UNDER_CANOPY)
    assert int(under.sum()) > 100
    assert float(abs(early.hinge_moment.where(under, 0.0)).max()) == 0.0
    assert float(abs(early.hinge_moment.where(~under, 0.0)).max()) > 0.0
