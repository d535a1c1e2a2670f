"""Loads at deployments: masses of the pieces by hand, load over mass, the charge's push, branches, a canopy on a loose piece."""

from __future__ import annotations

import math

import numpy as np
import pytest
from strangers import stranger

import sixdof


@pytest.fixture(scope="module")
def opened(stack_mission):
    return sixdof.workshop.deployment_loads(stack_mission, 2, seed=1)


def test_pieces__weigh_what_lies_on_either_side(stack_mission):
    """The nominal sustainer's pieces ahead of 700 mm and behind it, and the booster's ahead of 180 mm: sums over the mission's own parts."""
    mission = stack_mission.change({"disperse": {}})
    found = sixdof.workshop.deployment_loads(mission, 1, failing=0, progress=False)
    rows = [(row.mass, row.station) for row in sixdof.parts.part_masses(mission, [0]) if row.kind != "propellant"]
    fore = sum(mass for mass, station in rows if station < 0.7)
    aft = sum(mass for mass, station in rows if station >= 0.7)
    assert found["piece_mass"].sel(canopy="drogue").values[0] == pytest.approx([fore, aft], rel=1e-12)
    flight = sixdof.fly(mission)
    assert fore + aft == pytest.approx(float(flight["mass"].values[-1]), rel=1e-9)  # burnt out
    own = [(row.mass, row.station) for row in sixdof.parts.part_masses(mission, [1]) if row.kind != "propellant"]
    assert found["piece_mass"].sel(canopy="booster main").values[0] == pytest.approx(
        [sum(m for m, x in own if x < 0.18), sum(m for m, x in own if x >= 0.18)], rel=1e-12
    )
    assert found["deployed_snatch"].sel(canopy="drogue").values[0] == float(flight["snatch_load"].sel(canopy="drogue"))
    assert found["deployed_opening"].values[0] == pytest.approx(flight["opening_load"].values, rel=1e-12)


def test_loads__are_the_kernels_over_the_masses(opened):
    mass = opened["piece_mass"]
    felt = opened["piece_acceleration"].sel(cause="snatch")
    assert (felt * mass).values == pytest.approx(np.broadcast_to(opened["deployed_snatch"].values[..., None], mass.shape), nan_ok=True)
    drogue = opened.sel(canopy="drogue")
    total = drogue["piece_mass"].sum("side")
    opening = drogue["bulkhead_load"].sel(cause="opening")
    sound = np.isfinite(drogue["deployed_opening"].values)
    # canopy on the fore piece: its bulkhead pulls all, the aft piece's by its harness what that piece weighs of the whole
    assert opening.sel(side="fore").values[sound] == pytest.approx(drogue["deployed_opening"].values[sound])
    expected = drogue["deployed_opening"] * drogue["piece_mass"].sel(side="aft") / total
    assert opening.sel(side="aft").values[sound] == pytest.approx(expected.values[sound])
    assert (drogue["piece_acceleration"].sel(cause="opening") * total).values[sound, 0] == pytest.approx(drogue["deployed_opening"].values[sound])


def test_charge__pushes_both_bulkheads_by_its_pressure_on_the_bay(stack_mission, opened):
    """m s f/V0 over the section of the bay, from the mission's own numbers: p = m s f/V0 (ideal gas), F = p pi d^2/4."""
    harness = next(one for one in stack_mission.harness if one.canopy == "drogue")
    charge = harness.charge
    diameter = charge.bay_diameter or 0.075 - 2.0 * 0.0012
    area = 0.25 * math.pi * diameter**2
    volume = charge.free_volume or area * (charge.bay_length - 0.05)  # the drogue is packed in 50 mm
    expected = charge.mass * charge.gas_share * charge.impetus / volume * area
    loads = opened["bulkhead_load"].sel(canopy="drogue", cause="charge").values
    assert loads[np.isfinite(loads)] == pytest.approx(expected, rel=0.3 if charge.free_volume is None else 1e-9)


def test_items__feel_the_piece_they_stand_in(opened):
    drogue = opened["piece_acceleration"].sel(canopy="drogue").max("cause")
    main = opened["piece_acceleration"].sel(canopy="main").max("cause").isel(side=0)
    computer = opened["item_acceleration"].sel(item="whinchat: flight computer and battery").values
    assert computer == pytest.approx(np.fmax(drogue.sel(side="fore"), main).values)
    assert opened["item_load"].values == pytest.approx(opened["item_acceleration"].values * opened["item_mass"].values, nan_ok=True)
    assert opened["deployment_acceleration"].values == pytest.approx(opened["piece_acceleration"].max(("canopy", "cause", "side")).values)


def test_branches__late_apogee_opens_faster_and_a_lost_drogue_hardest(opened):
    by_branch = opened["deployed_opening"].groupby(opened["branch"]).max()
    drogue = by_branch.sel(canopy="drogue")
    assert float(drogue.sel(branch="late_apogee: whinchat")) > 1.2 * float(drogue.sel(branch="nominal"))
    assert np.isnan(opened["deployed_opening"].sel(canopy="main").values[opened["branch"].values == "no_deployment: main"]).all()
    page = str(sixdof.report(opened))
    assert "late_apogee: whinchat" in page and "test a charge on the ground with nobody near" in page


def test_loose_piece__opens_its_canopy_with_its_own_mass():
    mission = stranger("stack")
    found = sixdof.workshop.deployment_loads(mission, 1, seed=0)
    broken = np.flatnonzero(["harness_breaks: sedge drogue" in name for name in found["branch"].values])
    mass = found["piece_mass"].sel(canopy="sedge main").values[broken]
    aft = found["piece_mass"].sel(canopy="sedge drogue", side="aft").values[broken]
    assert mass[:, 0] == pytest.approx(aft) and (mass[:, 1] == 0.0).all()


def test_deployment_loads__refuses_a_mission_without_canopies(demo_mission):
    mission = demo_mission.change({"recovery": []})
    parts = [part for part in mission.stage[0].part if part.kind != "parachute"]
    bare = mission.change({"stage.0.part": [part.model_dump(exclude_unset=True) for part in parts]})
    with pytest.raises(ValueError, match="the mission has no canopy that could come out; give a part of kind parachute"):
        sixdof.workshop.deployment_loads(bare, 1)


def test_items__of_a_vehicle_without_charges_feel_the_climb_most():
    """The boost asks more of a mounting than a soft deployment: the flight's own specific force, by the flight itself."""
    mission = stranger("canard")
    found = sixdof.workshop.deployment_loads(mission, 2, seed=3, failing=0, progress=False)
    for row in range(2):
        flight = sixdof.fly(mission, flight=row, seed=3)
        climb = np.linalg.norm(flight.specific_force.values, axis=1)[flight.time.values < float(flight.apogee_time)].max()
        assert found["item_acceleration"].values[row] == pytest.approx(climb, rel=0.02)  # a row a tick here, 50 a second there
    assert (found["item_canopy"].values == -1).all() and found["deployment_acceleration"].max() < found["item_acceleration"].min()
    page = sixdof.report(found)
    assert "the climb" in page


def test_canopy__without_a_harness_is_held_against_its_strength():
    found = sixdof.workshop.deployment_loads(stranger("canard"), 2, seed=3, failing=0, progress=False)
    main = found.sel(canopy="main")
    assert main["canopy_share"].values == pytest.approx(main["deployed_opening"].values / 1200.0)
