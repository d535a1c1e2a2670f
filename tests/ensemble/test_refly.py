"""One flight of an ensemble again, from the ensemble alone, however its inputs were drawn; and shapes that differ from flight to flight."""

from __future__ import annotations

import warnings

import numpy as np
import pytest
from staged import stack
from test_run import assert_same_flight

import sixdof
from sixdof.ensemble import crew

SEED = 5


@pytest.fixture(scope="module")
def shaped(demo_mission):
    """The demo with fins and rail that vary: two of three spans, so that tables are made again, and found again."""
    return demo_mission.change({
        "disperse": {
            "motor.impulse": {"sd": 0.02},
            "stage.thistledown.part.tail.span": {"kind": "discrete", "values": ["62 mm", "70 mm"]},
            "rail.length": {"sd": "0.05 m"},
        }
    })  # fmt: skip


@pytest.mark.parametrize("sampling", ["random", "latin", "sobol"])
def test_refly__from_the_file_alone(demo_mission, tmp_path, sampling):
    flights = sixdof.disperse(demo_mission, 8, seed=SEED, sampling=sampling, out=tmp_path / "a.zarr", progress=False)
    assert_same_flight(sixdof.refly(flights, 5), flights, 5)


def test_refly__of_a_table_that_somebody_edited(demo_mission):
    table = sixdof.make_draws(demo_mission, 6, seed=SEED)
    table["wind.speed"][3] = 0.0
    flights = sixdof.disperse(demo_mission, draws=table, progress=False)
    assert flights.sizes["flight"] == 6 and float(flights.wind_speed[3]) == 0.0
    assert_same_flight(sixdof.refly(flights, 3), flights, 3)
    untouched = sixdof.disperse(demo_mission, 6, seed=SEED, progress=False)
    np.testing.assert_array_equal(flights.apogee[[0, 1, 2, 4, 5]], untouched.apogee[[0, 1, 2, 4, 5]])


def test_refly__with_failures_drawn(demo_mission):
    failing = [{"kind": "no_separation", "of": "booster", "probability": 0.5}]
    mission = stack(demo_mission, failures=failing).change({"disperse": {"motor.impulse": {"sd": 0.02}}})
    flights = sixdof.disperse(mission, 6, seed=SEED, progress=False)
    assert len(set(flights.branch.values)) == 2
    for number in range(6):
        assert_same_flight(sixdof.refly(flights, number), flights, number)


def test_refly__with_cords_and_drags_drawn(demo_mission, tmp_path):
    """Cords of which some part, what hangs and what comes loose with drags of their own, a reefed main, a round Earth in the south."""
    cord = {"canopy": "drogue", "parts_at": 0.7, "length": 6.0, "strength": 120.0, "impulse": 3.0}
    main = next(i for i, part in enumerate(demo_mission.stage[0].part) if getattr(part, "name", "") == "main")
    reefed = {f"stage.0.part.{main}.reef_share": 0.3, f"stage.0.part.{main}.reef_time": 2.0, f"stage.0.part.{main}.opening_delay": 0.4}
    mission = stack(demo_mission, cords=[cord]).change({
        **reefed, "site.earth": "wgs84", "site.latitude": "-33 deg",
        "disperse": {
            "cord.strength": {"kind": "uniform", "low": 0.2, "high": 5.0}, "cord.stiffness": {"sd": 0.3, "low": 0.3},
            "cord.loose_drag": {"kind": "uniform", "low": 0.5, "high": 1.2}, "vehicle.hanging_drag": {"kind": "uniform", "low": 0.5, "high": 1.2},
        },
    })  # fmt: skip
    sixdof.disperse(mission, 2, seed=SEED, out=tmp_path / "a.zarr", progress=False)
    flights = sixdof.disperse(mission, 5, seed=SEED, out=tmp_path / "a.zarr", progress=False)
    assert flights.vehicle_hanging_drag.dims == ("flight", "stage") and flights.cord_stiffness.dims == ("flight",)
    parted = np.array(["cord_parts" in str(name) for name in flights.branch.values])
    assert parted.any() and not parted.all()
    for number in (int(np.argmax(parted)), int(np.argmin(parted))):
        assert_same_flight(sixdof.refly(flights, number), flights, number)


def test_paths__fly_other_shapes_in_processes_to_the_same_bits(shaped):
    """The flights of a pool of processes, which make the tables, are those flown one by one here."""
    flights = sixdof.disperse(shaped, 6, seed=SEED, threads=2, progress=False)
    assert set(np.round(flights.stage_thistledown_part_tail_span.values, 6)) == {0.062, 0.07}
    for number in (0, 3):
        assert_same_flight(sixdof.fly(shaped, flight=number, seed=SEED), flights, number)
        assert_same_flight(sixdof.refly(flights, number), flights, number)
    span = float(flights.stage_thistledown_part_tail_span[0])
    other = shaped.change({"disperse": {}, "stage.thistledown.part.tail.span": span, "rail.length": float(flights.rail_length[0])})
    margin = [float(ds.rail_departure_margin) for ds in (sixdof.fly(other), flights.isel(flight=0))]
    assert margin[0] == pytest.approx(margin[1], abs=0.05)  # the impulse drawn changes the speed, and with it the margin, a little


def test_paths__plans_are_kept_for_shapes_that_come_again(shaped):
    only_fins = shaped.change({"disperse": {"stage.thistledown.part.tail.span": {"kind": "discrete", "values": ["62 mm", "70 mm"]}}})
    from sixdof.ensemble.draws import pack_draws

    table = sixdof.make_draws(only_fins, 8, seed=SEED)
    mine = crew.Crew(only_fins)
    mine.fly(pack_draws(only_fins, table))
    assert len(mine.plans) == 2


def test_paths__a_draw_that_makes_no_vehicle_is_one_sentence(demo_mission):
    odd = demo_mission.change({"disperse": {"stage.thistledown.part.tail.span": {"mean": "70 mm", "sd": "60 mm"}}})
    with pytest.raises(ValueError, match=r"flight \d+.*stage.thistledown.part.tail.span") as error:
        sixdof.disperse(odd, 40, seed=SEED, progress=False)
    assert "\n" not in str(error.value)


def test_refly__wrong_arguments(demo_mission):
    flights = sixdof.disperse(demo_mission, 2, seed=SEED, progress=False)
    with pytest.raises(ValueError, match="there is no flight 7; the numbers of this ensemble go from 0 to 1"):
        sixdof.refly(flights, 7)
    with pytest.raises(ValueError, match="takes an ensemble"):
        sixdof.refly(sixdof.fly(demo_mission), 0)
    with warnings.catch_warnings(record=True) as caught:
        warnings.simplefilter("always")
        sixdof.refly(flights.assign_attrs(source="sixdof 0.0.1, kernels 0"), 1)
    assert any("numbers may differ" in str(each.message) for each in caught)
