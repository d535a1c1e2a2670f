"""What an observer writes down of the flow: incidence and its two parts, from attitude, velocity and wind of the same row."""

from __future__ import annotations

import math

import numpy as np
import pytest
from drivers import Flown
from scipy.spatial.transform import Rotation

from sixdof.core import layout as la
from sixdof.core.layout import Log, Sensed
from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model

BRIEF = 1.2  # s: off the rail and into the wind


@pytest.fixture(scope="module")
def rows(demo_mission):
    """The demo in a wind from the right of its azimuth and from ahead, at every tick off the rail."""
    mission = demo_mission.change({"air.wind.blows_from": "120 deg", "air.wind.speed": "7 m/s"})  # azimuth 75 deg
    model = build_model(mission)._replace(log_every=1, time_limit=BRIEF)
    log = Flown(model, kernel_draw(mission)).log
    return log[log[:, Log.TIME] > 0.5]


def through_the_air(rows):
    """Return the velocity through the air in body axes, (n, 3), by scipy's rotations."""
    velocity = rows[:, Log.VELOCITY_EAST : Log.VELOCITY_UP + 1].copy()
    velocity[:, 0] -= rows[:, Log.WIND_EAST]
    velocity[:, 1] -= rows[:, Log.WIND_NORTH]
    return Rotation.from_quat(rows[:, Log.Q_W : Log.Q_Z + 1], scalar_first=True).inv().apply(velocity)


def test_incidence__in_both_planes(rows):
    x, y, z = through_the_air(rows).T
    assert rows[:, Log.INCIDENCE_YAW] == pytest.approx(np.arctan2(y, x), abs=1e-14)
    assert rows[:, Log.INCIDENCE_PITCH] == pytest.approx(np.arctan2(z, x), abs=1e-14)
    assert rows[:, Log.INCIDENCE] == pytest.approx(np.arctan2(np.hypot(y, z), x), abs=1e-14)
    assert np.tan(rows[:, Log.INCIDENCE]) == pytest.approx(np.hypot(np.tan(rows[:, Log.INCIDENCE_PITCH]), np.tan(rows[:, Log.INCIDENCE_YAW])), rel=1e-12)


def test_incidence__is_positive_on_the_side_that_the_wind_comes_from(rows):
    """As it leaves the rail, body z points downrange and body y to the right of the azimuth (the launch frame): in a wind from ahead and
    from the right it moves forward and to the right through the air."""
    assert rows[0, Log.INCIDENCE_PITCH] > math.radians(3.0) and rows[0, Log.INCIDENCE_YAW] > math.radians(3.0)


# ---------------------------------------------------------------- round Earth

FELT = 1e-7  # m: heights over the ellipsoid are good to 2e-8


@pytest.fixture(scope="module")
def leaning(demo_mission):
    """The demo over WGS-84, let go so far from upright that plane and ground part by some 20 um in the first second."""
    return demo_mission.change({"site.earth": "wgs84", "rail.elevation": "70 deg"})


def flown(mission):
    model = build_model(mission)._replace(log_every=1, time_limit=BRIEF)
    return model, Flown(model, kernel_draw(mission)).log


def test_position_error__of_ideal_sensors_is_none_over_a_round_earth(leaning):
    """The estimate's height is that above the ground, not above the plane that touches it at the rail."""
    _, log = flown(leaning)
    assert np.abs(log[:, Log.UP] - log[:, Log.HEIGHT]).max() > 100.0 * FELT
    assert log[:, Log.POSITION_ERROR].max() < FELT


def test_receiver__tells_the_height_above_the_ground_of_a_round_earth(leaning):
    """As a barometer does: fixes without noise or latency, every tick."""
    receiver = {"rate": 100.0, "latency": 0.0, "position_noise": 0.0, "velocity_noise": 0.0}
    model, log = flown(leaning.change({"sensors": {"receiver": receiver}}))
    sensed = log[:, la.LOG_COLUMNS + 3 * len(model.computer.mixer) :]
    assert np.abs(log[:, Log.UP] - log[:, Log.HEIGHT]).max() > 100.0 * FELT
    assert np.abs(sensed[1:, Sensed.FIX_HEIGHT] - log[1:, Log.HEIGHT]).max() < FELT
    assert np.abs(sensed[1:, Sensed.FIX_EAST] - log[1:, Log.EAST]).max() < 1e-12
