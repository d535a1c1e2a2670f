"""Ensembles: the same bits whatever the threads, blocks or company; nothing lost; one flight re-flown alone."""

from __future__ import annotations

import signal
import threading
import time
from contextlib import contextmanager

import numpy as np
import pytest
import xarray as xr
from staged import stack

import sixdof
from sixdof.core import layout
from sixdof.core.layout import OUTCOMES
from sixdof.draws.table import draw_table
from sixdof.ensemble import run, workers
from sixdof.results.dataset import REGISTRY, check_path
from sixdof.results.facts import BODY_FACTS, CANOPY_FACTS, RULE_FACTS

FLIGHTS, SEED = 24, 11


@pytest.fixture(scope="module")
def flights(demo_mission):
    return sixdof.disperse(demo_mission, FLIGHTS, seed=SEED, threads=1, progress=False)


def bare(ds):
    return ds.drop_attrs(deep=False)


def test_disperse__two_threads_give_the_bits_of_one(demo_mission, flights):
    assert bare(sixdof.disperse(demo_mission, FLIGHTS, seed=SEED, threads=2, progress=False)).identical(bare(flights))


def test_disperse__block_size_changes_nothing(demo_mission, flights, monkeypatch):
    monkeypatch.setattr(workers, "LOCAL_BATCH", 5)
    assert bare(sixdof.disperse(demo_mission, FLIGHTS, seed=SEED, threads=2, progress=False)).identical(bare(flights))


def test_disperse__a_part_of_the_flights_is_the_same_part(demo_mission, flights):
    part = sixdof.disperse(demo_mission, 6, seed=SEED, first=10, progress=False)
    assert bare(part).identical(bare(flights.sel(flight=slice(10, 15))))


def test_disperse__another_seed_is_another_ensemble(demo_mission, flights):
    other = sixdof.disperse(demo_mission, 4, seed=SEED + 1, progress=False)
    assert not np.any(other.apogee_height.values == flights.apogee_height.values[:4])


@pytest.mark.parametrize("number", [0, 7, FLIGHTS - 1])
def test_fly__reflies_one_flight_bit_for_bit(demo_mission, flights, number):
    assert_same_flight(sixdof.fly(demo_mission, flight=number, seed=SEED), flights, number)


def assert_same_flight(alone, flights, number):
    """Hold every number that a flight of an ensemble has and a single flight too to the bit; tracks are thinned apart."""
    names = [name for name, values in flights.data_vars.items() if name in alone and "point" not in values.dims]
    expected = {*OUTCOMES, *(f"event_{c}" for c in layout.EVENT_COLUMNS), *BODY_FACTS, *RULE_FACTS, *CANOPY_FACTS}
    assert {name for name in expected if name in REGISTRY} <= set(names)
    for name in names:
        np.testing.assert_array_equal(alone[name].values, flights[name].sel(flight=number).values, err_msg=name)


# ---------------------------------------------------------------- two stages

OFTEN = [
    {"kind": "no_ignition", "of": "thistledown", "probability": 0.4},
    {"kind": "no_separation", "of": "booster", "probability": 0.3},
    {"kind": "no_deployment", "of": "booster main", "probability": 0.5},
]
VARIED = {
    "motor.impulse": {"sd": 0.02},
    "vehicle.mass": {"sd": 0.02},
    "joint.delay": {"sd": "30 ms"},
    "joint.impulse": {"sd": 0.1},
    "joint.tilt_y": {"sd": "0.1 deg"},
    "ignition.delay": {"kind": "uniform", "low": "0 s", "high": "0.3 s"},
    "rule.delay": {"sd": "0.05 s"},
    "canopy.drag": {"sd": 0.05},
    "wind.speed": {"mean": "4 m/s", "sd": "1 m/s"},
}


@pytest.fixture(scope="module")
def stacked(demo_mission):
    return stack(demo_mission, failures=OFTEN).change({"disperse": VARIED})


@pytest.fixture(scope="module")
def stacked_flights(stacked):
    return sixdof.disperse(stacked, FLIGHTS, seed=SEED, threads=1, progress=False)


def test_stack__two_threads_give_the_bits_of_one(stacked, stacked_flights):
    """Other branches, other bodies in each flight, on scratch arrays that the flight before has used."""
    again = sixdof.disperse(stacked, FLIGHTS, seed=SEED, threads=2, progress=False)
    assert bare(again).identical(bare(stacked_flights))
    assert len(set(stacked_flights.branch.values)) > 4


@pytest.mark.parametrize("number", [0, 1, 2, 3, FLIGHTS - 1])
def test_stack__reflies_one_flight_bit_for_bit(stacked, stacked_flights, number):
    assert_same_flight(sixdof.fly(stacked, flight=number, seed=SEED), stacked_flights, number)


def test_stack__failures_are_those_drawn_and_have_their_consequences(stacked, stacked_flights):
    drawn = draw_table(stacked, SEED, 0, FLIGHTS)["failure_drawn"].values > 0
    ds = stacked_flights
    np.testing.assert_array_equal(ds.failure_happened.values[:, : len(OFTEN)] > 0, drawn)
    unlit, joined, packed = drawn.T
    assert all(0 < column.sum() < FLIGHTS for column in (unlit, joined, packed))
    times = ds.event_time.transpose("flight", "body", "event")
    lit = np.isfinite(times.sel(event="ignition thistledown").values[:, 0])
    parted = np.isfinite(ds.separation_time.values[:, 0])
    np.testing.assert_array_equal(parted, ~joined)
    np.testing.assert_array_equal(lit, ~unlit & ~joined)  # the rule that lights it waits for the separation
    assert not np.isfinite(times.sel(event="deployment booster main").values[packed]).any()
    same = ds.body_landing_time.values[:, 0] == ds.body_landing_time.values[:, 1]
    np.testing.assert_array_equal(same, joined)  # what never parts comes down as one


def test_reopening__gives_the_same_dataset(demo_mission, tmp_path):
    path = tmp_path / "flights.nc"
    ds = sixdof.disperse(demo_mission, 5, seed=SEED, out=path, progress=False)
    assert sixdof.open_result(path).identical(ds)
    with xr.open_dataset(path) as plain:  # by anybody's xarray, without this library
        assert plain.sizes["flight"] == 5
    assert not list(tmp_path.glob("*.partial"))


def test_result__is_enough_to_fly_again(flights):
    mission = sixdof.parts.loads_mission(flights.attrs["mission"])
    again = sixdof.fly(mission, flight=3, seed=int(flights.attrs["seed"]))
    assert float(again.apogee_height) == float(flights.apogee_height.sel(flight=3))


def test_out__is_refused_before_anything_is_flown(demo_mission, tmp_path, monkeypatch):
    path = tmp_path / "flights.nc"
    path.write_text("precious")
    monkeypatch.setattr(run, "_run_until", lambda *_: pytest.fail("flew first"))
    with pytest.raises(FileExistsError, match="overwrite=True"):
        sixdof.disperse(demo_mission, 2, out=path, progress=False)
    assert path.read_text() == "precious"
    with pytest.raises(FileNotFoundError, match="does not exist"):
        sixdof.disperse(demo_mission, 2, out=tmp_path / "no" / "flights.nc", progress=False)
    with pytest.raises(FileExistsError, match="is a folder"):
        check_path(tmp_path)


@pytest.mark.parametrize(
    "arguments", [{"flights": 0}, {"flights": 2.5}, {"flights": True}, {"flights": 2, "threads": 0}, {"flights": 2, "seed": -1}, {"flights": 2, "first": -3}]
)
def test_disperse__wrong_numbers_are_one_sentence(demo_mission, arguments):
    with pytest.raises(ValueError, match=r"\d|True") as error:
        sixdof.disperse(demo_mission, progress=False, **arguments)
    assert "\n" not in str(error.value)


def test_failures__are_rows_with_a_status(demo_mission):
    # a motor at a tenth of its impulse never lifts the vehicle; half of the draws are that weak
    weak = demo_mission.change({"disperse": {"motor.impulse": {"kind": "uniform", "low": 0.005, "high": 1.0}}})
    ds = sixdof.disperse(weak, 60, seed=1, progress=False)
    stayed = ds.status == sixdof.stats.Status.NO_LIFTOFF
    assert 0 < int(stayed.sum()) < 60
    assert ds.sizes["flight"] == 60
    assert bool(np.isnan(ds.apogee_height.where(stayed, drop=True)).all())
    assert bool(np.isfinite(ds.apogee_height.where(~stayed, drop=True)).all())


def test_interrupt__keeps_what_is_finished(demo_mission, tmp_path, monkeypatch):
    """Ctrl-C a second after the first flights have set out (drawing them all takes its own time before)."""
    path = tmp_path / "flights.nc"
    if threading.current_thread() is not threading.main_thread():
        pytest.skip("Ctrl-C reaches the main thread only")
    caught, timer = run.interruptible, threading.Timer(3.0, lambda: signal.raise_signal(signal.SIGINT))

    @contextmanager
    def interrupted_soon():
        with caught() as stop:
            timer.start()
            yield stop

    monkeypatch.setattr(run, "interruptible", interrupted_soon)
    begun = time.monotonic()
    ds = sixdof.disperse(demo_mission, 100_000, seed=SEED, out=path, progress=False)
    assert time.monotonic() - begun < 60.0  # all of them would take many minutes
    assert 0 < ds.sizes["flight"] < 100_000
    assert "interrupted" in ds.attrs
    assert sixdof.open_result(path).identical(ds)
    assert float(ds.apogee_height[0]) == float(sixdof.fly(demo_mission, flight=int(ds.flight[0]), seed=SEED).apogee_height)


def test_dataset__follows_the_registry(flights, demo_flight):
    for ds, lead in ((flights, ("flight",)), (demo_flight, ())):
        for name, values in ds.data_vars.items():
            if name not in REGISTRY:
                assert "disperses" in values.attrs or name == "time"
                continue
            entry = REGISTRY[name]
            dims = tuple("point" if d == "time" and lead else d for d in entry.dims)
            assert values.dims == (*lead, *dims), name
            assert values.attrs["long_name"] == entry.long_name
            assert name == "status" or values.attrs["units"] == entry.units
        assert ds.attrs["Conventions"].startswith("CF")


def test_inputs__sit_beside_outcomes(flights):
    frame = flights[["wind_speed", "apogee_height"]].to_dataframe()
    assert len(frame) == FLIGHTS
    assert flights.wind_speed.attrs["disperses"] == "wind.speed"
