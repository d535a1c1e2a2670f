"""The kernel's tables of the world against the exact functions."""

from __future__ import annotations

import numpy as np
import pytest

from sixdof.core.columns import AirColumn
from sixdof.core.types import World
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Air, Site, Wind
from sixdof.world.atmosphere import geometric, standard
from sixdof.world.build import AIR_STEP, air_rows, world_table
from sixdof.world.gravity import normal_gravity
from sixdof.world.wind import unit_wind, wind_at

# largest relative errors of linear interpolation over 20 m: h^2/8 of the relative curvature away from layer bases,
# and a quarter of the step times the kink's slope where a base stands mid-step (lapse 6.5 K/km at 216 K)
SMOOTH = {AirColumn.DENSITY: 1.5e-6, AirColumn.PRESSURE: 1.5e-6, AirColumn.SOUND: 1e-7, AirColumn.VISCOSITY: 1e-7, AirColumn.GRAVITY: 1e-10}
KINK = {AirColumn.DENSITY: 1.6e-4, AirColumn.PRESSURE: 1.5e-6, AirColumn.SOUND: 8e-5, AirColumn.VISCOSITY: 1.3e-4, AirColumn.GRAVITY: 1e-10}


def mission(altitude=1400.0, latitude=0.6, temperature=None, pressure=None, **wind):
    air = Air(temperature=temperature, pressure=pressure, wind=Wind(**wind))
    return Mission.model_construct(site=Site(latitude=latitude, altitude=altitude), air=air)


def interpolated(world: World, height):
    place = (height - world.air_z0) * world.air_per_metre
    row = np.clip(place.astype(int), 0, len(world.air) - 2)
    share = (place - row)[:, None]
    return world.air[row] * (1.0 - share) + world.air[row + 1] * share


def test_world_table__is_standard_air_and_normal_gravity_over_sea_level():
    world = world_table(mission(altitude=0.0, latitude=0.5))
    row = world.air[int((500.0 - world.air_z0) * world.air_per_metre)]
    air = standard(500.0)
    assert row[AirColumn.DENSITY] == pytest.approx(float(air.density), rel=1e-12)
    assert row[AirColumn.PRESSURE] == pytest.approx(float(air.pressure), rel=1e-12)
    assert row[AirColumn.SOUND] == pytest.approx(float(air.sound), rel=1e-12)
    assert row[AirColumn.VISCOSITY] == pytest.approx(float(air.viscosity), rel=1e-12)
    assert row[AirColumn.GRAVITY] == pytest.approx(float(normal_gravity(0.5, 500.0)), rel=1e-12)


def test_world_table__heights_are_above_the_site():
    world = world_table(mission(altitude=2500.0, temperature=290.0, pressure=75_000.0))
    ground = world.air[int(-world.air_z0 * world.air_per_metre)]
    assert ground[AirColumn.PRESSURE] == pytest.approx(75_000.0, rel=1e-12)
    assert ground[AirColumn.GRAVITY] == pytest.approx(float(normal_gravity(0.6, 2500.0)), rel=1e-12)
    assert world.ground == 2500.0


# sites whose tropopause stands in the middle of a step, and at a row of the table
@pytest.mark.parametrize("above_row", [10.0, 0.0])
def test_world_table__interpolation_error_is_small(above_row):
    site = float(geometric(11_000.0)) - 9_000.0 - above_row
    m = mission(altitude=site)
    height = np.arange(-200.0, 40_000.0, 1.0)
    error = np.abs(interpolated(world_table(m), height) / air_rows(m, height) - 1.0)
    bases = geometric([11e3, 20e3, 32e3]) - site
    near = np.min(np.abs(height[:, None] - bases), axis=1) <= AIR_STEP
    for column in SMOOTH:
        assert error[~near, column].max() < SMOOTH[column]
        assert error[near, column].max() < KINK[column]


def test_world_table__arrays_are_what_the_kernel_takes():
    world = world_table(mission(profile="log", speed=3.0))
    for array in (world.air, world.wind):
        assert array.dtype == np.float64 and array.flags.c_contiguous and np.all(np.isfinite(array))
    assert world.air_z0 + (len(world.air) - 1) / world.air_per_metre == pytest.approx(40_000.0)
    assert ((len(world.wind[0]) - 1) / world.wind_per_root) ** 2 == pytest.approx(40_000.0)


@pytest.mark.parametrize("profile, tolerance", [("uniform", 1e-12), ("power", 2e-3), ("log", 2.5e-3)])
def test_world_table__wind_is_one_metre_a_second_at_reference_and_close_between_rows(profile, tolerance):
    """From 1 m up; the profiles are singular at the ground, where rows a quarter of a root apart err by a tenth."""
    m = mission(profile=profile, speed=9.0, blows_from=2.0)
    world = world_table(m)
    height = np.geomspace(1.0, 30_000.0, 5000)
    place = np.sqrt(height) * world.wind_per_root
    got = np.stack([np.interp(place, np.arange(len(world.wind[0])), world.wind[0, :, k]) for k in (0, 1)], axis=-1)
    np.testing.assert_allclose(got, unit_wind(m.air.wind, height), atol=tolerance)
    at_reference = np.interp(np.sqrt(10.0) * world.wind_per_root, np.arange(len(world.wind[0])), np.hypot(*world.wind[0].T))
    assert at_reference == pytest.approx(1.0, abs=tolerance)


def test_world_table__wind_rows_of_a_table_are_taken_as_they_are():
    m = mission(profile="table", table=((0.0, 2.0, 1.0), (400.0, 6.0, 1.5)))
    world = world_table(m)
    row = int(np.sqrt(400.0) * world.wind_per_root)
    np.testing.assert_allclose(world.wind[0, row], wind_at(m.air.wind, 400.0), rtol=1e-12)


@pytest.mark.parametrize("latitude", [-1.2, 0.0, 0.6, np.pi / 2])
def test_world_table__earth_turns_eastward_about_the_pole(latitude):
    rate = world_table(mission(latitude=latitude)).earth_rate
    assert rate.x == 0.0
    assert np.hypot(rate.y, rate.z) == pytest.approx(7.292115e-5, rel=1e-12)  # WGS-84
    assert rate.z == pytest.approx(7.292115e-5 * np.sin(latitude), rel=1e-12)
