"""Variants flown once each: a mission over two Earths, how far apart the flights may be, and the page that says so."""

from __future__ import annotations

import numpy as np
import pytest
from pyproj import Geod

from sixdof.study.variants.nominal import QUANTITIES, compare_nominal, nominal_page


def over(mission):
    return {earth: mission.change({"site.earth": earth}) for earth in ("flat", "wgs84")}


@pytest.fixture(scope="module")
def both(demo_mission):
    return compare_nominal(over(demo_mission))


def test_earths__demo_differs_by_what_a_flat_earth_leaves_out(both):
    """Gravity without J4: 1.2e-5 of g at most. A place at height h and distance x lies h x/R nearer in the launch point's plane."""
    apogee = float(both["apogee_height"][0])
    flat, round_ = (both.sel(variant=earth) for earth in ("flat", "wgs84"))
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
    page = nominal_page(both)
    lines = page.splitlines()
    for name, (unit, text, decimals) in QUANTITIES.items():
        head = next(i for i, line in enumerate(lines) if text in line)
        place = lines[head].index(text)
        flat, round_ = both[name].values
        assert lines[head + 1][place:].split()[0].startswith("(") and unit in lines[head + 1][place:]
        assert lines[head + 2][place:].split()[0] == f"{flat:.{decimals}f}", name
        assert lines[head + 3][place:].split()[:2] == [f"{round_:.{decimals}f}", f"{round_ - flat:+.{decimals}f}"], name
    assert "Thistledown" in page and "nan" not in page and max(map(len, lines)) <= 120


def test_page__of_a_flight_that_does_not_come_down(both):
    page = nominal_page(both.assign(landing_time=("variant", [np.nan, 60.0])))
    lines = page.splitlines()
    head = next(i for i, line in enumerate(lines) if "time of landing" in line)
    place = lines[head].index("time of landing")
    assert lines[head + 2][place:].split()[0] == "none" and lines[head + 3][place:].split()[0] == "60.0000"


def test_report__knows_them(both):
    import sixdof

    assert sixdof.report(both) == nominal_page(both)


def test_compare_nominal__refuses_what_is_no_variants(demo_mission):
    with pytest.raises(TypeError, match="must be a dictionary"):
        compare_nominal(demo_mission)
    with pytest.raises(ValueError, match="no variants"):
        compare_nominal({})
