"""One flight of an ensemble again, from the ensemble alone, however its inputs were drawn; and shapes that differ from flight to flight."""

from __future__ import annotations

import re
import warnings

import numba
import numpy as np
import pytest
import xarray as xr
from staged import stack
from test_run import assert_same_flight

import sixdof
from sixdof.ensemble.block_runner import BlockRunner
from sixdof.mission.errors import MissionError

SEED = 5


@pytest.fixture(scope="module")
def shaped(demo_mission):
    """The demo with fins and rail that vary: two of three spans, so that tables are made again, and found again."""
    return demo_mission.change(
        {
            "disperse": {
                "motor.impulse": {"sd": 0.02},
                "stage.thistledown.part.tail.semispan": {"kind": "discrete", "values": ["62 mm", "70 mm"]},
                "rail.length": {"sd": "0.05 m"},
            }
        }
    )


@pytest.mark.parametrize("sampling", ["random", "latin", "sobol"])
def test_refly__from_the_file_alone(demo_mission, tmp_path, sampling):
    flights = sixdof.disperse(demo_mission, 8, seed=SEED, sampling=sampling, out=tmp_path / "a.zarr", progress=False)
    assert_same_flight(sixdof.refly(flights, 5), flights, 5)


def test_refly__of_a_table_that_somebody_edited(demo_mission):
    table = sixdof.stats.make_draws(demo_mission, 6, seed=SEED)
    table["wind.speed"][3] = 0.0
    flights = sixdof.disperse(demo_mission, draws=table, progress=False)
    assert flights.sizes["flight"] == 6 and float(flights.wind_speed[3]) == 0.0
    assert_same_flight(sixdof.refly(flights, 3), flights, 3)
    untouched = sixdof.disperse(demo_mission, 6, seed=SEED, progress=False)
    np.testing.assert_array_equal(flights.apogee_height[[0, 1, 2, 4, 5]], untouched.apogee_height[[0, 1, 2, 4, 5]])


def test_refly__with_failures_drawn(demo_mission):
    failing = [{"kind": "no_separation", "of": "booster", "probability": 0.5}]
    mission = stack(demo_mission, failures=failing).change({"disperse": {"motor.impulse": {"sd": 0.02}}})
    flights = sixdof.disperse(mission, 6, seed=SEED, progress=False)
    assert len(set(flights.branch.values)) == 2
    for number in range(6):
        assert_same_flight(sixdof.refly(flights, number), flights, number)


def test_refly__with_harnesses_and_drags_drawn(demo_mission, tmp_path):
    """Cords of which some part, what hangs and what comes loose with drags of their own, a reefed main, a round Earth in the south."""
    harness = {"canopy": "drogue", "separation_station": 0.7, "length": 6.0, "strength": 120.0, "impulse": 3.0}
    main = next(i for i, part in enumerate(demo_mission.stage[0].part) if getattr(part, "name", "") == "main")
    reefed = {f"stage.0.part.{main}.reefing_ratio": 0.3, f"stage.0.part.{main}.reefing_time": 2.0, f"stage.0.part.{main}.deployment_delay": 0.4}
    mission = stack(demo_mission, harnesses=[harness]).change(
        {
            **reefed,
            "site.earth": "wgs84",
            "site.latitude": "-33 deg",
            "disperse": {
                "harness.strength": {"kind": "uniform", "low": 0.2, "high": 5.0},
                "harness.stiffness": {"sd": 0.3, "low": 0.3},
                "harness.tumbling_drag": {"kind": "uniform", "low": 0.5, "high": 1.2},
                "vehicle.hanging_drag": {"kind": "uniform", "low": 0.5, "high": 1.2},
            },
        }
    )
    sixdof.disperse(mission, 2, seed=SEED, out=tmp_path / "a.zarr", progress=False)
    flights = sixdof.disperse(mission, 5, seed=SEED, out=tmp_path / "a.zarr", progress=False)
    assert flights.vehicle_hanging_drag.dims == ("flight", "stage") and flights.harness_stiffness.dims == ("flight",)
    parted = np.array(["harness_breaks" in str(name) for name in flights.branch.values])
    assert parted.any() and not parted.all()
    for number in (int(np.argmax(parted)), int(np.argmin(parted))):
        assert_same_flight(sixdof.refly(flights, number), flights, number)


def test_paths__fly_other_shapes_in_processes_to_the_same_bits(shaped):
    """The flights of a pool of processes, which make the tables, are those flown one by one here."""
    flights = sixdof.disperse(shaped, 6, seed=SEED, threads=2, progress=False)
    assert set(np.round(flights.stage_thistledown_part_tail_semispan.values, 6)) == {0.062, 0.07}
    for number in (0, 3):
        assert_same_flight(sixdof.fly(shaped, flight=number, seed=SEED), flights, number)
        assert_same_flight(sixdof.refly(flights, number), flights, number)
    span = float(flights.stage_thistledown_part_tail_semispan[0])
    other = shaped.change({"disperse": {}, "stage.thistledown.part.tail.semispan": span, "rail.length": float(flights.rail_length[0])})
    margin = [float(ds.rail_departure_margin) for ds in (sixdof.fly(other), flights.isel(flight=0))]
    assert margin[0] == pytest.approx(margin[1], abs=0.05)  # the impulse drawn changes the speed, and with it the margin, a little


def test_paths__plans_are_kept_for_shapes_that_come_again(shaped):
    only_fins = shaped.change({"disperse": {"stage.thistledown.part.tail.semispan": {"kind": "discrete", "values": ["62 mm", "70 mm"]}}})
    from sixdof.draws.packed import pack_draws

    table = sixdof.stats.make_draws(only_fins, 8, seed=SEED)
    mine = BlockRunner(only_fins)
    mine.run(pack_draws(only_fins, table))
    assert len(mine.plans.made) == 2
    again = BlockRunner(only_fins, in_threads=True)
    assert again.plans is mine.plans and not again.wants_processes and mine.wants_processes
    assert BlockRunner(only_fins.change({"title": "another"})).plans is not mine.plans


def test_paths__a_plan_that_cannot_be_made_is_tried_again(shaped):
    plans = BlockRunner(shaped).plans
    with pytest.raises(ZeroDivisionError):
        plans.of(b"none", lambda: 1 / 0)
    assert plans.of(b"none", lambda: "a plan") == "a plan" == plans.of(b"none", lambda: 1 / 0)


def test_paths__a_draw_that_makes_no_vehicle_is_one_sentence(demo_mission):
    odd = demo_mission.change({"disperse": {"stage.thistledown.part.tail.semispan": {"mean": "70 mm", "sd": "60 mm"}}})
    with pytest.raises(ValueError, match=r"flight \d+.*stage.thistledown.part.tail.semispan") as error:
        sixdof.disperse(odd, 40, seed=SEED, progress=False)
    assert "\n" not in str(error.value)


# ---------------------------------------------------------------- what flew, and what flies again


def leaning(gain):
    """Return a custom law: the built-in demands do not fly with it."""

    @numba.njit
    def lean(t, sensed, memory, gains, command):
        command[1] = gain * sensed[1]

    return lean


@pytest.fixture(scope="module")
def short(demo_mission):
    return demo_mission.change({"solver.time_limit": 3.0})


def again(flights, number, **laws):
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a flight of three seconds does not land
        return sixdof.refly(flights, number, **laws)


def refusal(flights, number) -> str:
    """Return why a flight is not flown again, or that it was."""
    try:
        again(flights, number)
    except (TypeError, ValueError) as error:
        return str(error)
    return "it flew"


def test_refly__takes_the_law_that_flew_and_no_other(short):
    law = leaning(0.05)
    flights = sixdof.disperse(short, 3, seed=SEED, control=law, progress=False)
    assert flights.attrs["control"].startswith("lean (digest ") and flights.attrs["guidance"] == "built in"
    assert float(again(flights, 1, control=law).airspeed_max) == float(flights.airspeed_max[1])
    assert float(again(flights, 1, control=leaning(0.05)).airspeed_max) == float(flights.airspeed_max[1])  # made again: the same law
    with pytest.raises(ValueError, match=r'control was "lean \(digest .*\)" in this ensemble and is "built in" now; pass control='):
        sixdof.refly(flights, 1)
    with pytest.raises(ValueError, match=r'control was "lean .*" in .* and is "lean \(digest .*\)" now'):
        sixdof.refly(flights, 1, control=leaning(0.06))
    with pytest.raises(ValueError, match='guidance was "built in" in this ensemble and is "lean'):
        sixdof.refly(flights, 1, control=law, guidance=law)


def test_resume__with_another_closure_is_refused(short, tmp_path):
    out = tmp_path / "a.zarr"
    sixdof.disperse(short, 4, seed=SEED, control=leaning(0.0), out=out, progress=False)
    with pytest.raises(sixdof.StoreError, match="control is lean .* there, lean .* now") as error:
        sixdof.disperse(short, 8, seed=SEED, control=leaning(0.05), out=out, progress=False)
    assert "\n" not in str(error.value)
    assert sixdof.disperse(short, 8, seed=SEED, control=leaning(0.0), out=out, progress=False).sizes["flight"] == 8


@pytest.mark.parametrize("change", [{"seed": "6"}, {"seed": None}, {"sampling": "latin of 3"}, {"control": None}, {"seal": None}, {"mission": 3}])
def test_refly__of_an_ensemble_whose_attributes_were_changed(short, change):
    flights = sixdof.disperse(short.change({"disperse": {}}), 2, seed=SEED, progress=False)
    name, value = next(iter(change.items()))
    flights.attrs = {key: kept for key, kept in flights.attrs.items() if key != name} | ({} if value is None else change)
    said = refusal(flights, 1)
    assert re.search("are not those it was flown with|does not say which|must be the text", said) and "\n" not in said


def test_refly__of_two_ensembles_in_one(short):
    mission = short.change({"disperse": {"wind.speed": {"sd": 1.0}}})
    one, other = (sixdof.disperse(mission, 2, seed=seed, first=first, progress=False) for seed, first in ((SEED, 0), (6, 2)))
    both = xr.concat([one, other], "flight", data_vars="minimal", coords="minimal", compat="override", join="exact", combine_attrs="override")
    assert float(again(both, 1).airspeed_max) == float(one.airspeed_max[1])
    assert "wind.speed of flight 3 is not what seed 5 draws" in refusal(both, 3)


def test_refly__follows_no_path_in_the_mission_of_a_result(short, tmp_path):
    (tmp_path / "secret.csv").write_text("password of somebody\n")
    flights = sixdof.disperse(short, 2, seed=SEED, progress=False)
    text = flights.attrs["mission"] + f'\n[disperse."rail.length"]\nkind = "empirical"\ndata = "{tmp_path}/secret.csv"\ncolumn = "x"\n'
    flights.attrs["mission"] = text
    for read in (lambda: sixdof.refly(flights, 1), lambda: sixdof.report(flights)):
        with pytest.raises(MissionError, match="names a file, and none is read from here") as error:
            read()
        assert "password" not in str(error.value)


def test_refly__wrong_arguments(demo_mission):
    flights = sixdof.disperse(demo_mission, 2, seed=SEED, progress=False)
    with pytest.raises(ValueError, match="there is no flight 7; the numbers of this ensemble go from 0 to 1"):
        sixdof.refly(flights, 7)
    with pytest.raises(ValueError, match="takes an ensemble"):
        sixdof.refly(sixdof.fly(demo_mission), 0)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        sixdof.refly(flights.assign_attrs(source="sixdof 0.0.1, code 0"), 1)
    assert any("numbers may differ" in str(each.message) for each in caught)
