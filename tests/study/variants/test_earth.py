"""A mission over two Earths: how far apart the flights may be, and the page that says so."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from sixdof.study.variants.earth import QUANTITIES, compare_earths, earth_page


@pytest.fixture(scope="module")
def both(demo_mission):
    return compare_earths(demo_mission)


def test_earths__demo_differs_by_what_a_flat_earth_leaves_out(both):
    """Gravity without J4: 1.2e-5 of g at most. A place at height h and distance x lies h x/R nearer in the launch point's plane."""
    apogee = float(both["apogee_height"][0])
    flat, round_ = (both.sel(earth=earth) for earth in ("flat", "wgs84"))
    assert 0.0 < abs(float(round_["apogee_height"] - flat["apogee_height"])) < 1.2e-5 * apogee  # 7 mm
    assert 0.0 < abs(float(round_["apogee_time"] - flat["apogee_time"])) < 1.2e-5 * float(flat["apogee_time"])
    reach = np.hypot(float(flat["landing_east"]), float(flat["landing_north"]))
    moved = np.hypot(*(float(round_[f"landing_{way}"] - flat[f"landing_{way}"]) for way in ("east", "north")))
    assert 0.5 < moved / (apogee * reach / 6.37e6) < 1.5  # 39 mm at apogee's height; it drifts while it falls
    assert abs(float(round_["landing_time"] - flat["landing_time"])) < 1.5e-5 * float(flat["landing_time"])


def test_earths__latitudes_and_longitudes_are_as_far_apart_as_the_places(both):
    lon, lat = both["landing_longitude"].values, both["landing_latitude"].values
    apart = Geod(ellps="WGS84").inv(lon[0], lat[0], lon[1], lat[1])[2]
    moved = np.hypot(*(float(np.diff(both[f"landing_{way}"])[0]) for way in ("east", "north")))
    assert apart == pytest.approx(moved, rel=1e-3)  # the ellipsoid is 1250 m below: 2e-4


def test_page__prints_both_and_the_difference(both):
    page = earth_page(both)
    for name, (unit, text, decimals) in QUANTITIES.items():
        line = next(line for line in page.splitlines() if line.startswith(f"  {text} "))
        flat, round_ = both[name].values
        assert line.split()[-3:] == [f"{flat:.{decimals}f}", f"{round_:.{decimals}f}", f"{round_ - flat:+.{decimals}f}"], name
        assert unit in line
    assert "Thistledown" in page and "nan" not in page


def test_page__of_a_flight_that_does_not_come_down(both):
    page = earth_page(both.assign(landing_time=("earth", [np.nan, 60.0])))
    line = next(line for line in page.splitlines() if "time of landing" in line)
    assert line.split()[-1] == "none"


def test_compare__leaves_the_mission_alone_and_starts_from_either_earth(both, demo_mission):
    other = compare_earths(demo_mission.change({"site.earth": "wgs84"}))
    assert other.identical(both) and demo_mission.site.earth == "flat"
