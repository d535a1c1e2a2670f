"""The study of flutter over drawn flights: against a second statement from the flights themselves, its page, measures, refusals."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

import sixdof
from sixdof.cli.line import main
from sixdof.study.structure.flutter_air import air_of_stages
from sixdof.study.structure.flutter_speed import required_margin
from sixdof.study.variants.judging import judge_criteria


@pytest.fixture(scope="module")
def ensemble(demo_mission):
    keys = {"hinge_stiffness": "25 N*m/rad", "hinge_play": "0.2 deg"}
    mission = demo_mission.change({f"stage.0.part.tail.{key}": value for key, value in keys.items()})
    return sixdof.disperse(mission, 4, seed=3, progress=False)


@pytest.fixture(scope="module")
def found(ensemble):
    return sixdof.workshop.flutter(ensemble, progress=False)


def test_flutter__least_margin_is_that_of_the_kernels_own_largest_dynamic_pressure(ensemble, found):
    # TN 4197 written out anew for the demo's fins: root 80, tip 45, span 48, 3 mm of carbon-fibre (4.5 GPa), no Mach number near 1
    a, taper, ratio = 48.0 / 62.5, 45.0 / 80.0, 3.0 / 80.0
    fluttering = 0.7 * 4.5e9 / (39.3 * 6894.757 * a**3 / (ratio**3 * (a + 2.0)) * (taper + 1.0) / 2.0 / (14.696 * 6894.757))
    expected = np.sqrt(fluttering / ensemble["dynamic_pressure_max"].values)
    assert found["flutter_margin"].sel(fins="tail").values == pytest.approx(expected, rel=4e-3)  # rows 0.02 s apart
    assert float(found["critical_pressure"][0]) == pytest.approx(fluttering, rel=1e-5)
    demanded = required_margin(found["worst_mach"].values)
    assert found["flutter_reserve"].values == pytest.approx(found["flutter_margin"].values / demanded, rel=1e-9)


def test_flutter__spread_holds_the_scatter_of_the_shear_modulus(demo_mission, found):
    assert float(found["modulus_scatter"][0]) == 0.3
    low, middle, high = found["margin_spread"].sel(fins="tail").values
    # 15 % (one sigma) of G is 7.5 % of speed; the flights spread far less
    assert middle == pytest.approx(float(found["flutter_margin"].median()), rel=0.03)
    assert 0.10 < (high - low) / (2.0 * middle) < 0.18
    measured = demo_mission.change({"stage.0.part.tail.shear_modulus": "4.5 GPa"})
    alone = sixdof.workshop.flutter(measured, 2, seed=3, progress=False)
    assert float(alone["modulus_scatter"][0]) == 0.0
    assert alone["margin_spread"].values.min() == pytest.approx(float(alone["flutter_margin"].min()), rel=0.05)


def test_flutter__draws_of_thickness_and_modulus_are_each_flights_own(demo_mission):
    draws = {
        "stage.0.part.tail.shear_modulus": {"mean": "4 GPa", "sd": "0.4 GPa"},
        "stage.0.part.tail.thickness": {"kind": "discrete", "values": ["2.8 mm", "3.2 mm"]},
    }
    mission = demo_mission.change({"stage.0.part.tail.shear_modulus": "4 GPa", "disperse": {**demo_mission.disperse, **draws}})
    flights = sixdof.disperse(mission, 3, seed=2, progress=False, threads=1)
    ds = sixdof.workshop.flutter(flights, progress=False, threads=1)
    modulus, thickness = (flights[f"stage_0_part_tail_{key}"].values for key in ("shear_modulus", "thickness"))
    assert ds["shear_modulus"].values[:, 0] == pytest.approx(modulus)
    expected = np.sqrt(modulus / flights["dynamic_pressure_max"].values) * thickness**1.5
    margin = ds["flutter_margin"].values[:, 0]
    assert margin / margin[0] == pytest.approx(expected / expected[0], rel=5e-3)


def test_flutter__hinged_fins_and_the_page(found):
    text = str(sixdof.report(found))
    assert "No set of fins comes near flutter" in text.splitlines()[3]
    assert "1.55 times unsafe" in text and "25 N m/rad" in text and "MIL-A-8870" in text and "not a clearance" in text and "nan" not in text
    assert float(found["hinge_divergence_margin"].min()) > 1.0 and (found["hinge_frequency"].values > 50.0).all()
    assert (found["cycle_amplitude"].values >= 0.0).all()


def test_flutter__thin_soft_fins_are_said_to_flutter(demo_mission):
    thin = {"thickness": "1 mm", "shear_modulus": "1.2 GPa", "hinge_stiffness": None}
    mission = demo_mission.change({f"stage.0.part.tail.{key}": value for key, value in thin.items()})
    ds = sixdof.workshop.flutter(mission, 3, seed=1, progress=False)
    assert float(ds["flutter_share"][0]) == 1.0 == float(ds["short_share"][0])
    text = str(sixdof.report(ds))
    assert 'The fins "tail" FLUTTER in 100 % of flights' in text and "hinge_stiffness" in text
    enough = mission.change({"stage.0.part.tail.thickness": 1.001 * float(ds["thickness_needed"][0])})
    again = sixdof.workshop.flutter(enough, 3, seed=1, progress=False)
    assert float(again["flutter_reserve"].min()) == pytest.approx(1.0, abs=0.05)  # a heavier fin flies a little slower


def test_page__worst_flight_is_told_with_the_typical_modulus_and_its_failures_by_name(found):
    # 6 % flutter by the scatter of the modulus alone: what the flights themselves met is then no worst of those
    rows = found.sizes["flight"]
    few = {"flutter_share": 0.06 + 0.0 * found["flutter_share"], "short_share": 0.5 + 0.0 * found["short_share"]}
    text = " ".join(str(sixdof.report(found.assign(flight_branch=("flight", ["late_apogee: a + no_deployment: b"] * rows), **few))).split())
    assert "FLUTTER in 6.0 % of flights" in text and "allows; with the typical shear modulus, at worst at" in text
    assert "(a flight with late_apogee: a, no_deployment: b)" in text


def test_air__of_a_booster_is_the_airs_own(stack_mission, stack_flight):
    front, booster = air_of_stages(stack_flight, 2)
    parted = float(stack_flight["separation_time"][0])
    same = front.time < parted
    assert booster.mach[: same.sum()] == pytest.approx(front.mach[same]) and (np.diff(booster.time) > 0.0).all()
    after = booster.part(booster.time > parted)
    air = sixdof.aero.air_against_height(stack_mission, after.height[::50])
    assert after.pressure[::50] == pytest.approx(air.pressure.values, rel=2e-4)
    assert after.temperature[::50] == pytest.approx(air.temperature.values, rel=2e-3)
    assert after.density[::50] == pytest.approx(air.density.values, rel=2e-3)


@pytest.mark.slow
def test_measures__in_criteria(demo_mission, found):
    asked = [
        "flutter_margin of tail > 1.6 in 60 % of flights",
        "flutter_reserve of tail > 40 in 60 % of flights",
        "hinge_divergence_margin of tail > 2 in 60 %",
    ]
    stiff = demo_mission.change({"stage.0.part.tail.hinge_stiffness": "25 N*m/rad"})
    verdicts = judge_criteria(sixdof.compare({"stiff": stiff}, 3, seed=3, criteria=asked, progress=False))
    assert verdicts["observed"].values.ravel() == pytest.approx([1.0, 0.0, 1.0])
    assert float(found["flutter_margin"].min()) > 1.6


def test_flutter__branches_of_failures_made_certain(demo_mission):
    falls = demo_mission.change({"failure": [{"kind": "no_deployment", "of": "main", "probability": 0.001}], "stage.0.part.tail.thickness": "2 mm"})
    ds = sixdof.workshop.flutter(falls, 2, seed=1, failing=2, progress=False)
    assert ds.sizes["flight"] == 2 and set(ds["branch"].values) == {"nominal", "no_deployment: main"}
    assert float(ds["branch_reserve"].sel(branch="nominal", fins="tail")) == pytest.approx(float(ds["flutter_reserve"].min()))
    with pytest.raises(ValueError, match="failing = -1 must be a whole number of 0 or more"):
        sixdof.workshop.flutter(falls, 1, failing=-1, progress=False)


def test_flutter__refuses_in_a_sentence(demo_mission, demo_flight):
    nothing = demo_mission.change({"stage.0.part.tail.material": None, "stage.0.part.tail.mass": "60 g"})
    with pytest.raises(ValueError, match=r'flutter: fins "tail" says no material, so its shear modulus is not known; give material'):
        sixdof.workshop.flutter(nothing, 2, progress=False)
    with pytest.raises(ValueError, match="takes a mission or many flights, and this is one flight"):
        sixdof.workshop.flutter(demo_flight)
    with pytest.raises(ValueError, match=r"required = 0.5 must be a margin of 1 or more"):
        sixdof.workshop.flutter(demo_mission, 2, required=0.5, progress=False)
    with pytest.raises(ValueError, match="flights = 0 must be a whole number"):
        sixdof.workshop.flutter(demo_mission, 0)
    with pytest.raises(ValueError, match=r"plot_flutter needs the result of sixdof.workshop.flutter"):
        sixdof.plot.plot_flutter(xr.Dataset())


def test_verb__pages_and_figures_of_flutter_and_skin(demo_path, tmp_path, capsys):
    for about, name in (("flutter", "flutter"), ("skin", "skin-temperature")):
        asked = ["structure", str(demo_path), "--about", about, "--flights", "1", "--failing", "0", "--quiet", "--figures", str(tmp_path)]
        assert main(asked) == 0
        assert (tmp_path / f"{name}.png").stat().st_size > 10000
    said = capsys.readouterr().out
    assert "No set of fins comes near flutter" in said and "Nothing gets too hot" in said


def test_page__of_a_vehicle_that_stays_on_the_rail_tells_nothing(demo_mission):
    heavy = demo_mission.change({"stage.0.part.air sampler.mass": "60 kg"})
    text = str(sixdof.report(sixdof.workshop.flutter(heavy, 2, progress=False)))
    assert "Nothing is told: none of 2 flights leaves the rail." in text and "nan" not in text


def test_page__failures_that_are_certain_are_compared_with_no_nominal_flight(found):
    only = found.sel(branch=["nominal"]).assign_coords(branch=["late_apogee: a"])
    assert "Nearer to flutter" not in str(sixdof.report(only))
