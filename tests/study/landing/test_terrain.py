"""Landing places moved to the ground's own surface: closed forms on a slope, the first ridge on the way, grids that cannot be used."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from landing_by_hand import grid_of

from sixdof.study.landing.terrain import ground_height, settle, terrain_of


def test_flat_ground__moves_nothing(demo_mission):
    terrain = terrain_of(grid_of(demo_mission.site, lambda e, n: 0.0 * e, base=812.0), demo_mission.site)
    place = np.array([[300.0, -40.0, 0.0], [math.nan] * 3])
    moved = settle(terrain, demo_mission.site, place, np.array([[3.0, 1.0, -6.0], [0.0, 0.0, -1.0]]))
    assert terrain.rail_height == pytest.approx(812.0)
    assert moved[0] == pytest.approx(place[0], abs=1e-5) and np.isnan(moved[1]).all()


@pytest.mark.parametrize("earth", ["flat", "wgs84"])
def test_slope__is_met_where_the_closed_form_says(demo_mission, earth):
    """On z = a east + b north the line r + v t meets the ground at t = (a e + b n - h)/(vz - a vx - b vy)."""
    site = demo_mission.change({"site.earth": earth}).site
    a, b = 0.06, -0.03
    terrain = terrain_of(grid_of(site, lambda e, n: a * e + b * n), site)
    place = np.array([[800.0, 500.0, 0.0], [-600.0, 900.0, 0.0], [1500.0, -700.0, 0.0]])
    velocity = np.array([[4.0, 1.0, -5.0], [-3.0, 2.0, -6.5], [0.0, 0.0, -20.0]])
    time = (a * place[:, 0] + b * place[:, 1] - place[:, 2]) / (velocity[:, 2] - a * velocity[:, 0] - b * velocity[:, 1])
    expected = place + velocity * time[:, None]
    moved = settle(terrain, site, place, velocity)
    assert np.abs(moved - expected).max() < 0.02  # m: linear between grid points 200 m apart, of a plane that is bent in degrees by some mm
    assert (np.sign(moved[:, 2]) == np.sign(expected[:, 2])).all() and abs(expected[0, 2]) > 20.0


def test_ridge__is_met_before_what_lies_behind_it(demo_mission):
    """A wall 60 m high across the way, 400 m before the flat place: the descent at 1 in 4 passes it at 100 m, at 1 in 10 it hits."""
    site = demo_mission.site
    terrain = terrain_of(grid_of(site, lambda e, n: np.where(np.abs(e - 600.0) < 60.0, 60.0, 0.0), step=4e-4), site)
    place = np.array([[1000.0, 0.0, 0.0]] * 2)
    steep, shallow = settle(terrain, site, place, np.array([[8.0, 0.0, -2.0], [10.0, 0.0, -1.0]]))
    assert steep == pytest.approx([1000.0, 0.0, 0.0], abs=1e-3)
    assert 530.0 < shallow[0] < 600.0 and 35.0 < shallow[2] < 60.0  # the wall's near side, as high as the line is there


def test_heights__count_from_the_launch_point_by_the_grid_itself(demo_mission):
    site = demo_mission.site
    plain, raised = (terrain_of(grid_of(site, lambda e, n: 0.05 * e, base=base), site) for base in (0.0, 5000.0))
    east = np.array([-400.0, 0.0, 700.0])
    assert ground_height(plain, site, east, 0.0 * east) == pytest.approx(0.05 * east, abs=0.02)
    assert np.allclose(plain.height, raised.height, atol=1e-9)


@pytest.mark.parametrize("kind", ["nc", "nc3", "csv", "dataset", "turned"])
def test_grid__of_every_kind(demo_mission, tmp_path, kind):
    site = demo_mission.site
    grid = grid_of(site, lambda e, n: 0.02 * e + 0.01 * n).rename("height")
    given = tmp_path / f"grid.{kind}"
    if kind == "nc":
        grid.to_netcdf(given, engine="netcdf4")
    elif kind == "nc3":
        grid.rename(latitude="lat", longitude="lon").to_netcdf(given, engine="scipy")
    elif kind == "csv":
        rows = [
            f"{lat:.6f},{lon:.6f},{float(grid.sel(latitude=lat, longitude=lon)):.4f}" for lat in grid["latitude"].values for lon in grid["longitude"].values
        ]
        given.write_text("latitude (deg), longitude (deg), height (m)\n" + "\n".join(rows))
    elif kind == "dataset":
        given = xr.Dataset({"elevation": grid, "mask": grid * 0.0})
    else:
        given = grid.transpose("longitude", "latitude").isel(latitude=slice(None, None, -1)).assign_coords(longitude=grid["longitude"] + 360.0)
    found = terrain_of(given, site)
    assert found.height == pytest.approx(terrain_of(grid, site).height, abs=1e-3)


# ---------------------------------------------------------------- what is wrong


def test_grid__that_does_not_cover_the_landing_places(demo_mission):
    site = demo_mission.site
    terrain = terrain_of(grid_of(site, lambda e, n: 0.0 * e), site)
    with pytest.raises(ValueError, match=r"does not cover 1 of 2 landing places; it reaches from latitude 37\.95"):
        settle(terrain, site, np.array([[0.0, 0.0, 0.0], [9000.0, 0.0, 0.0]]), np.array([[0.0, 0.0, -5.0]] * 2))


def test_grid__faults(demo_mission, tmp_path):
    site = demo_mission.site
    grid = grid_of(site, lambda e, n: 0.0 * e)
    (tmp_path / "holes.csv").write_text("latitude,longitude,height\n38,-117,1\n38.1,-117,1\n38,-116.9,1\n")
    (tmp_path / "names.csv").write_text("latitude,longitude,depth\n38,-117,1\n")
    (tmp_path / "bad.nc").write_bytes(b"\x89HDF\r\n\x1a\nnothing")
    cases = [
        (grid.assign_coords(longitude=grid["longitude"] + 3.0), "does not cover the rail"),
        (grid.rename(latitude="y"), "has no coordinate latitude"),
        (grid.expand_dims("time"), "has the dims time"),
        (grid.assign_attrs(units="ft"), "convert them to metres"),
        (xr.Dataset({"a": grid, "b": grid}), "holds 2 grids"),
        (grid.isel(latitude=[0]), "two values or more"),
        (grid.assign_coords(latitude=grid["latitude"] * 1e5), "is no latitude in degrees"),
        (tmp_path / "holes.csv", "write each point of the grid once"),
        (tmp_path / "names.csv", "has no column height"),
        (tmp_path / "bad.nc", "is not a netCDF file, or is damaged"),
    ]
    for given, words in cases:
        with pytest.raises(ValueError, match=words):
            terrain_of(given, site)
    with pytest.raises(OSError, match="cannot be read|cannot be opened|No such file"):
        terrain_of(tmp_path / "none.nc", site)
    with pytest.raises(TypeError, match="terrain must be"):
        terrain_of(3.0, site)


def test_body__that_does_not_sink(demo_mission):
    terrain = terrain_of(grid_of(demo_mission.site, lambda e, n: 0.0 * e), demo_mission.site)
    with pytest.raises(ValueError, match="do not sink as they land"):
        settle(terrain, demo_mission.site, np.zeros((1, 3)), np.zeros((1, 3)))
