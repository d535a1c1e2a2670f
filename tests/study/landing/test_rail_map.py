"""The map of rail directions: each cell is what an ensemble from that rail says, and the best one is."""

from __future__ import annotations

import math

import numpy as np
import pytest

import sixdof
from sixdof.preflight import landing, rail_map

FIELD = {"type": "Polygon", "coordinates": [[[-117.004, 37.997], [-116.998, 37.997], [-116.998, 38.003], [-117.004, 38.003], [-117.004, 37.997]]]}
AZIMUTHS, ELEVATIONS, FLIGHTS = ("90 deg", "270 deg"), ("89 deg", "84 deg"), 25


@pytest.fixture(scope="module")
def leans(demo_mission):
    return rail_map(demo_mission, FLIGHTS, azimuths=AZIMUTHS, elevations=ELEVATIONS, field=FIELD, waiver="500 m", seed=2, progress=False)


def test_cell__is_what_an_ensemble_from_that_rail_says(leans, demo_mission):
    """Against `disperse` and `landing` of the mission with that rail, whose launch frame turns with it."""
    for azimuth, elevation in ((90.0, 89.0), (270.0, 84.0)):
        turned = demo_mission.change({"rail.azimuth": f"{azimuth:g} deg", "rail.elevation": f"{elevation:g} deg"})
        ensemble = sixdof.disperse(turned, FLIGHTS, seed=2, tracks="none", progress=False)
        own = landing(ensemble, field=FIELD, waiver="500 m")
        cell = leans.sel(rail_azimuth=math.radians(azimuth), rail_elevation=math.radians(elevation))
        for name in ("probability", "probability_low", "probability_high"):
            assert np.array_equal(cell[name].values, own[name].values), name
        distance = np.hypot(ensemble.landing_east.values, ensemble.landing_north.values)
        assert float(cell.landing_distance_95) == pytest.approx(np.quantile(distance, 0.95), rel=1e-9)


def test_best__is_the_least_of_all(leans):
    p, far = leans["probability"].isel(limit=-1).values, leans["landing_distance_95"].values
    i = leans["rail_azimuth"].values.tolist().index(leans.attrs["best_azimuth"])
    j = leans["rail_elevation"].values.tolist().index(leans.attrs["best_elevation"])
    assert p[i, j] == p.min() and far[i, j] == far[p == p.min()].min()
    assert p.max() > p.min()  # there is something to choose


def test_page__names_the_best(leans, demo_mission):
    page = sixdof.report(leans)
    assert page.startswith("Which way to lean the rail: ") and f"azimuth {math.degrees(leans.attrs['best_azimuth']):.0f} deg" in page
    assert f"the mission has azimuth {math.degrees(demo_mission.rail.azimuth):.0f} deg" in page and "cannot be told from it" in page


def test_map__without_limits_goes_by_distance(demo_mission):
    leans = rail_map(demo_mission, 2, azimuths=["10 deg"], elevations=["65 deg", "85 deg"], progress=False)
    assert "limit" not in leans.dims and leans.attrs["best_elevation"] == leans["rail_elevation"].values[np.argmin(leans["landing_distance_95"].values)]
    assert "elevations below 70 deg are not for use" in sixdof.report(leans)


def test_map__says_what_is_wrong(demo_mission, leans):
    with pytest.raises(ValueError, match="rail_map: people_distance needs people"):
        rail_map(demo_mission, 2, people_distance="5 m")
    with pytest.raises(sixdof.MissionError, match="120 deg"):
        rail_map(demo_mission, 2, elevations=["120 deg"], azimuths=[0.0], progress=False)
    with pytest.raises(ValueError, match="there is no limit 'wind'"):
        sixdof.plot.plot_rail_map(leans, limit="wind")
    with pytest.raises(ValueError, match="needs the result of sixdof.preflight.rail_map"):
        sixdof.plot.plot_rail_map(landing(sixdof.disperse(demo_mission, 2, progress=False)))
