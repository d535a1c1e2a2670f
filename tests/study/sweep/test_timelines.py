"""Drawn flights again with their whole timelines."""

from __future__ import annotations

import numpy as np
import pytest

import sixdof
from sixdof.study.sweep.sweep import fly_conditions, sweep
from sixdof.study.sweep.timelines import each_flight


@pytest.fixture(scope="module")
def stack():
    return sixdof.load_mission("configs/two-stage.toml")


@pytest.fixture(scope="module")
def flights(stack):
    """Flights in which failures were drawn, too."""
    often = stack.change({f"failure.{k}.probability": 0.3 for k in range(len(stack.failure))})
    return sixdof.disperse(often, 6, seed=5, progress=False)


def test_each__is_the_flight_of_the_ensemble_to_the_last_bit(flights):
    told = each_flight(flights, lambda flight: (float(flight.apogee_height), str(flight.branch.values), int(flight.flight)))
    assert [one[0] for one in told] == flights.apogee_height.values.tolist()
    assert [one[1] for one in told] == flights.branch.values.tolist()
    assert len(set(flights.branch.values.tolist())) > 1
    assert [one[2] for one in told] == list(range(6))


def test_rate__makes_finer_rows_and_the_same_flight(flights):
    some = flights.isel(flight=slice(2))

    def told(flight):
        climb = flight.time.values[flight.time.values < float(flight.apogee_time)]
        return round(float(np.median(np.diff(climb))), 6), float(flight.apogee_height)

    coarse, fine = (each_flight(some, told, rate=rate) for rate in (20.0, 100.0))
    assert [one[0] for one in coarse] == [0.05, 0.05] and [one[0] for one in fine] == [0.01, 0.01]
    assert [one[1] for one in coarse] == [one[1] for one in fine]


def test_conditions__are_flown_with_what_they_say(stack):
    ds = fly_conditions(stack, [{}, {"wind.speed": "7 m/s", "motor.impulse": 0.9}], 2, seed=4, progress=False)
    for k in range(2):
        own = ds.isel(condition=k)
        assert each_flight(own, lambda flight: float(flight.apogee_height)) == own.apogee_height.values.tolist()
    assert not np.isclose(*ds.apogee_height.mean("flight").values, rtol=0.02)


def test_point_of_a_grid__whose_input_is_a_coordinate_is_refused(stack):
    """Flown again it would have the nominal wind: neither `refly` nor this may do that without a word."""
    ds = sweep(stack, {"wind.speed": ["2 m/s", "7 m/s"]}, 2, progress=False).isel(wind_speed=1)
    with pytest.raises(ValueError, match="do not hold all that they were flown with"):
        each_flight(ds, len)
    with pytest.raises(ValueError, match="holds no draws"):
        sixdof.refly(ds, 1)
    calm = stack.change({"disperse": {}, "failure": []})
    ds = sweep(calm, {"wind.speed": ["2 m/s", "7 m/s"]}, 2, progress=False).isel(wind_speed=1)
    with pytest.raises(ValueError, match="are not those it was flown with"):
        sixdof.refly(ds, 1)


def test_what_is_no_ensemble_or_function__is_refused(flights):
    with pytest.raises(TypeError, match="must be called with a flight"):
        each_flight(flights, "mach")
    with pytest.raises(ValueError, match="each_flight takes an ensemble"):
        each_flight(flights.isel(flight=0), len)
    with pytest.raises(ValueError, match="each_flight: guidance was"):
        each_flight(flights, len, guidance=lambda t, x, out: None)
    with pytest.raises(ValueError, match="holds no draws"):
        each_flight(flights.drop_vars("motor_impulse"), len)
