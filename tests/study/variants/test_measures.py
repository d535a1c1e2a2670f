"""Numbers that studies make of whole flights, in criteria."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

import sixdof
from sixdof.results.registry import Variable
from sixdof.study.reading.result import mission_of
from sixdof.study.variants import measures, subjects
from sixdof.study.variants.criteria import criterion

CALLS = []


def twice_the_apogee(ds: xr.Dataset) -> np.ndarray:
    CALLS.append(ds.sizes["flight"])
    return 2.0 * ds["apogee_height"].values


def by_harness(ds: xr.Dataset) -> xr.DataArray:
    names = [harness.canopy for harness in mission_of(ds, "by_harness").harness]
    return xr.DataArray(np.array([ds["apogee_height"].values * (k + 1) for k in range(len(names))]), {"harness": names}, ("harness", "flight"))


def nothing(ds: xr.Dataset) -> np.ndarray:
    raise ValueError("there is nothing to be measured")


@pytest.fixture(autouse=True)
def three_measures(monkeypatch):
    CALLS.clear()
    told = {
        "apogee_twice": ("m", "twice the apogee", "", __name__, "twice_the_apogee"),
        "apogee_times": ("m", "apogee times the harness's number", "harness", __name__, "by_harness"),
        "not_there": ("m", "what cannot be made", "", __name__, "nothing"),
    }
    for name, (units, meaning, thing, module, function) in told.items():
        monkeypatch.setitem(measures._TOLD, name, (units, meaning, thing, module, function))
        variable = Variable(name, (thing,) if thing else (), units, meaning)
        for table in (measures.MEASURES, subjects._KNOWN, subjects._FACTS if thing else subjects._OUTCOMES):
            monkeypatch.setitem(table, name, variable)
    monkeypatch.setattr(measures, "_known", type(measures._known)())


@pytest.fixture(scope="module")
def stack():
    return sixdof.load_mission("configs/two-stage.toml")


@pytest.fixture(scope="module")
def flights(stack):
    return sixdof.disperse(stack, 5, seed=1, progress=False)


def test_criterion__speaks_of_a_measure_of_the_flight_and_of_a_thing(flights):
    half = float(flights.apogee_height.median())
    assert criterion(f"apogee_twice <= {2 * half} m").holds(flights)[0].sum() == 3
    assert criterion(f"apogee_times of booster main <= {2 * half} m").holds(flights)[0].sum() == 3
    assert criterion(f"apogee_times of drogue <= {half} m").subject.variable.units == "m"
    with pytest.raises(ValueError, match="apogee_times belongs to a harness"):
        criterion("apogee_times < 3 m")


def test_measure__is_made_once_of_the_same_flights_and_again_of_others(flights):
    one = criterion("apogee_twice < 3 km")
    one.holds(flights)
    one.holds(flights)
    assert CALLS == [5]
    one.holds(flights.isel(flight=slice(2)))
    assert CALLS == [5, 2]


def test_compare__holds_the_measure_of_each_variant_and_judges_by_it(stack):
    less = {"as it is": stack, "heavier": stack.add("stage.0.part", {"kind": "mass", "name": "lead", "mass": "200 g", "station": "300 mm"})}
    text = ["apogee_times of drogue > 1 m in 50 % of flights", "apogee_twice > 1 m in 50 % of flights"]
    compared = sixdof.compare(less, 3, seed=1, criteria=text, keep=["apogee_height"], progress=False)
    assert np.array_equal(compared.apogee_twice.values, 2.0 * compared.apogee_height.values)
    assert np.array_equal(compared.apogee_times.sel(harness="booster main").values, 2.0 * compared.apogee_height.values)
    assert sixdof.stats.judge_criteria(compared).verdict.values.ravel().tolist() is not None
    with pytest.raises(ValueError, match='there is no harness "main"'):
        sixdof.compare(less, 3, criteria="apogee_times of main > 1 m", progress=False)


def test_conditions__hold_a_measure_that_is_kept(stack):
    ds = sixdof.preflight.sweep(stack, {"wind.speed": ["2 m/s", "7 m/s"]}, 2, keep=["apogee_twice", "apogee_height"], progress=False)
    assert np.array_equal(ds.apogee_twice.values, 2.0 * ds.apogee_height.values)


def test_measure__that_cannot_be_made_says_its_name(flights):
    with pytest.raises(ValueError, match="not_there: there is nothing"):
        criterion("not_there < 3 m").holds(flights)
