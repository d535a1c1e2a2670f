"""One row a flight: a table of what a result says of each flight, with the numbers of the Dataset."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
import xarray as xr
from results_by_hand import staged_ensemble, staged_flight

import sixdof


@pytest.fixture(scope="module")
def ensemble(demo_mission):
    return staged_ensemble(demo_mission, flights=5, disperse={"wind.speed": {"sd": 1.0}, "vehicle.mass": {"sd": 0.01}})


def test_table__holds_the_numbers_of_the_ensemble(ensemble):
    table = sixdof.stats.per_flight(ensemble)
    assert isinstance(table, pd.DataFrame) and table.index.name == "flight" and list(table.index) == list(ensemble["flight"].values)
    np.testing.assert_array_equal(table["apogee_height"], ensemble["apogee_height"])
    np.testing.assert_array_equal(table["wind_speed"], ensemble["wind_speed"])
    np.testing.assert_array_equal(table["vehicle_mass[booster]"], ensemble["vehicle_mass"].sel(stage="booster"))
    np.testing.assert_array_equal(table["body_landing_ground_speed[booster]"], ensemble["body_landing_ground_speed"].sel(body="booster"))
    np.testing.assert_array_equal(table["event_time[booster, landing]"], ensemble["event_time"].sel(body="booster", event="landing"))
    assert set(table["status"]) <= {"landed", "time_over", "no_liftoff", "diverged"} and table["branch"].tolist() == ensemble["branch"].values.tolist()
    assert not [name for name in table if name.startswith(("height", "body_east"))]  # tracks


def test_table__of_every_flight_has_a_row_with_text_and_numbers(demo_ensemble):
    table = sixdof.stats.per_flight(demo_ensemble)
    assert len(table) == 40 and table["apogee_height"].notna().all() and table["apogee_height"].dtype == float
    assert table.groupby("status")["apogee_height"].count().sum() == 40
    assert len(table.columns) == len(set(table.columns))


def test_table__of_one_flight_is_one_row(demo_mission, demo_flight):
    table = sixdof.stats.per_flight(demo_flight)
    assert len(table) == 1 and table["apogee_height"].iloc[0] == float(demo_flight.apogee_height) and table["status"].iloc[0] == "landed"
    assert list(sixdof.stats.per_flight(staged_flight(demo_mission)).index) == [0]


def test_table__of_something_else_is_one_sentence():
    with pytest.raises(TypeError, match="per_flight: ds must be a Dataset"):
        sixdof.stats.per_flight([1])
    with pytest.raises(ValueError, match="per_flight needs status"):
        sixdof.stats.per_flight(xr.Dataset({"x": 1}))
