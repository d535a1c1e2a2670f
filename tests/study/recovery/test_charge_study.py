"""Charges, pins and harnesses over drawn flights: against what flies, by hand, and what the page says."""

from __future__ import annotations

import math

import numpy as np
import pytest

import sixdof
from sixdof.study.recovery.ejection.charge import charge
from sixdof.study.recovery.ejection.harness_loads import HarnessLoads, broken_share, needed_factors
from sixdof.study.recovery.ejection.masses import largest_impulse
from sixdof.study.recovery.ejection.pins import PinLoads
from sixdof.world.atmosphere import at_site

FLIGHTS = 12


@pytest.fixture(scope="module")
def found(stack_mission):
    return charge(stack_mission, flights=FLIGHTS, failing=1, seed=3)


def test_least_mass__by_hand(found):
    """3 pins of 160 N and 25 N of friction on a bore of 72.6 mm: 505 N, 122 kPa, of which a gram makes 219.3 J in 0.45 L."""
    drogue = found.sel(harness="drogue")
    assert float(drogue.least_mass) == pytest.approx(1e-3 * 505.0 / (0.25 * math.pi * 0.0726**2) * 0.45e-3 / 219.3, rel=1e-6)
    assert float(drogue.bay_force) / 505.0 == pytest.approx(float(drogue.charge_mass / drogue.least_mass), rel=1e-6)
    assert (drogue.step_held.values[0], drogue.step_held.values[-1]) == (1.0, 0.0)


def test_harness__breaks_in_the_flights_in_which_the_study_says_so(stack_mission):
    """A cord so weak that some break: the share by the loads of gear that holds is the share that breaks when it is flown."""
    weak = stack_mission.change({"harness.drogue.strength": "340 N"})
    study = charge(weak, "drogue", flights=FLIGHTS, failing=0, seed=3)
    said = study.squeeze("harness")
    flown = sixdof.disperse(weak, FLIGHTS, seed=3, tracks="none", progress=False)
    broken = flown.failure_happened.sel(failure="harness_breaks: drogue").values > 0
    drawn = flown.failure_drawn.sel(failure="harness_breaks: drogue").values > 0
    assert np.array_equal((said.harness_load_share.values > 1.0)[~drawn], broken[~drawn])
    assert 0.2 < float(said.broken) < 0.8
    assert f"breaks in {100.0 * float(said.broken):.3g} % of the flights" in " ".join(str(sixdof.report(study)).split())


@pytest.mark.slow
def test_window__its_upper_end_is_the_mass_that_flies_at_the_limit(stack_mission):
    """Flown with the largest mass, and with a tenth more: the loads stay below half of the strengths in 95 %, or do not."""
    largest = float(charge(stack_mission, "drogue", flights=2 * FLIGHTS, failing=0, seed=3).largest_mass[0])
    shares = []
    for mass in (largest * 0.999, largest * 1.1):
        flown = charge(stack_mission.change({"harness.drogue.charge.mass": mass}), "drogue", flights=2 * FLIGHTS, failing=0, seed=3)
        shares.append(float(np.mean(flown.harness_load_share.values <= 0.5)))
    assert shares[0] >= 0.95 > shares[1]


def test_snatch__over_strength_is_a_measure_of_criteria(stack_mission):
    ds = sixdof.disperse(stack_mission, 6, seed=3, tracks="none", progress=False)
    share = ds.snatch_load.sel(canopy="drogue") / (900.0 * ds.harness_strength.sel(harness="drogue"))
    one = sixdof.stats.criterion("harness_load_share of drogue < 45 % in 90 % of flights")
    assert np.array_equal(one.holds(ds)[0], share.values < 0.45)


# ---------------------------------------------------------------- another harness


def test_trades__by_brute_force():
    rng = np.random.default_rng(4)
    snatch, opening, strength = rng.uniform(200.0, 500.0, 400), rng.uniform(10.0, 300.0, 400), rng.uniform(250.0, 400.0, 400)
    loads = HarnessLoads(snatch, opening, np.maximum(snatch, opening), strength, np.ones(400), np.ones(400))
    needed = needed_factors(loads, 0.9)
    assert broken_share(loads, strength=needed["strength"]) <= 0.1 < broken_share(loads, strength=0.999 * needed["strength"])
    assert broken_share(loads, length=needed["length"] * (1 + 1e-12)) <= 0.1 < broken_share(loads, length=0.999 * needed["length"])
    assert broken_share(loads, stiffness=needed["stiffness"] * (1 - 1e-12)) <= 0.1 < broken_share(loads, stiffness=1.001 * needed["stiffness"])
    torn = loads._replace(opening=np.full(400, 450.0), peak=np.maximum(snatch, 450.0))
    assert needed_factors(torn, 0.9)["length"] == math.inf and needed_factors(torn, 0.9)["stiffness"] == 0.0


def test_largest_impulse__is_an_order_statistic():
    """Of ten flights that bear 1 .. 10 N s, nine bear 2."""
    assert largest_impulse(np.ones(10), np.arange(1.0, 11.0), 0.9) == 2.0
    assert largest_impulse(np.append(np.ones(10), np.nan), np.append(np.arange(1.0, 11.0), np.nan), 0.9, 0.5) == 1.0


# ---------------------------------------------------------------- pins in flight


def test_pull__at_the_joint_of_the_stages_is_what_the_kernel_says_of_it(stack_mission, stack_flight):
    """A cut a millimetre into the booster: the kernel's force of the joint, with its own drag of the stages ahead and drawn masses."""
    loads = PinLoads(stack_mission.change({"harness.booster main.separation_station": "1 mm", "harness.booster main.charge.bay_diameter": "70 mm"}), 1)
    time, pull, _ = loads._in_front(stack_flight)
    kernel = stack_flight.joint_force.sel(time=time).values
    free = (time > 0.3) & (time < 1.5)
    assert pull[free] == pytest.approx(-kernel[free], abs=0.02 * np.abs(kernel[free]).max())
    assert float(stack_flight.separation_time[0]) < 1.6


def test_pull__of_air_shut_up_in_a_bay_without_holes(stack_mission, stack_flight):
    """A (p0 - p): the standard's column over the site, at the height of the ejection."""
    sealed = stack_mission.change({"harness.drogue.charge.vent_area": 0.0})
    pulled = PinLoads(sealed, 0)(stack_flight)
    top = float(stack_flight.event_height.isel(body=0).sel(event="apogee"))
    air = at_site(np.array([1250.0, 1250.0 + top]), 1250.0, 297.15, 87.6e3)
    area = 0.25 * math.pi * 0.0726**2
    assert pulled.air == pytest.approx(area * float(air.pressure[0] - air.pressure[1]), rel=0.005)  # heights every 50 m, rows every 20 ms
    assert pulled.both > pulled.flight and PinLoads(stack_mission, 0)(stack_flight).air < 0.1


def test_pins__too_few_open_in_flight_and_the_page_says_so(stack_mission):
    loose = {"vent_area": 0.0, "pins": 1, "pin_strength_low": "30 N", "pin_strength_high": "40 N"}
    page = str(sixdof.report(charge(stack_mission.change({f"harness.drogue.charge.{k}": v for k, v in loose.items()}), "drogue", flights=4, failing=0)))
    assert "It opens in flight, before its charge" in page and "air shut up in the bay" in page and "a hole in the bay" in page


# ---------------------------------------------------------------- the page


def test_page__says_what_is_right_as_written(found):
    page = " ".join(str(sixdof.report(found)).split())
    assert "The charge of 0.344 g is right: 1.37 times what the strongest pins need; below 0.25 g the strongest pins hold" in page
    assert "The harness, 5 m of 900 N, holds" in page and "The bay stays shut in flight" in page
    assert "never a recipe" in page and "with nobody near" in page and "km black powder burns" not in page


def test_page__of_a_charge_half_again_too_strong_and_a_cord_a_third_too_weak(stack_mission):
    mission = stack_mission.change({"harness.drogue.charge.mass": 1.5 * 0.344e-3, "harness.drogue.strength": 0.7 * 900.0})
    page = " ".join(str(sixdof.report(charge(mission, "drogue", flights=FLIGHTS, failing=0, seed=3))).split())
    assert "The charge of 0.516 g is too strong, 2.06 times what the strongest pins need" in page and "take 0.375 g and a harness of" in page
    assert "The harness, 5 m of 630 N, holds in all of them, but bears" in page and "where 50 % is wanted: take 1" in page


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"mass": "0.2 g"}, "is too weak, the strongest pins hold it: take"),
        ({"mass": "0.27 g"}, "times what the strongest pins need, which is little: take"),
        ({"friction": "400 N", "stroke": "30 m"}, "No charge of a sensible size opens this bay"),
    ],
)
def test_page__of_a_weak_charge_and_of_a_bay_that_nothing_opens(stack_mission, changes, words):
    mission = stack_mission.change({f"harness.drogue.charge.{key}": value for key, value in changes.items()})
    assert words in " ".join(str(sixdof.report(charge(mission, "drogue", flights=3, failing=0))).split())


def test_page__high_above_the_sea_names_the_powder(stack_mission):
    high = stack_mission.change({"site.altitude": "5 km", "air.pressure": None, "air.temperature": None, "disperse": {}})
    assert "black powder burns badly" in " ".join(str(sixdof.report(charge(high, "drogue", flights=2, failing=0))).split())


def test_charge__of_one_stage_with_its_harness_aft_and_without_a_table(demo_mission):
    canopy = demo_mission.recovery[0].canopy
    tables = {"canopy": canopy, "separation_station": "0.6 m", "length": 5.0, "strength": 400.0, "impulse": 3.0, "canopy_on": "aft"}
    ds = charge(demo_mission.change({"failure": []}).add("harness", tables), flights=3, failing=0)
    assert np.isnan(ds.charge_mass).all() and float(ds.snatch_load.min()) > 50.0 and float(ds.largest_impulse[0]) > 0.0
    page = " ".join(str(sixdof.report(ds)).split())
    assert f'the harness of "{canopy}" has no charge table' in page and "its fit must hold" in page


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ({"harness": "mian"}, 'there is no harness "mian"'),
        ({"load_share": 1.5}, "load_share = 1.5 must be above 0 and at most 1"),
        ({"charge_mass": ["1 g", "0.5 g"]}, "two or more rising masses"),
        ({"charge_mass": ["1 N", "2 N"]}, 'charge_mass: "1 N" has the wrong unit'),
        ({"flights": 1}, "flights"),
    ],
)
def test_charge__refuses_in_one_sentence(stack_mission, arguments, message):
    with pytest.raises(ValueError, match=message.replace("[", r"\[")):
        charge(stack_mission, **({"flights": 2} | arguments))


def test_charge__masses_as_asked(stack_mission):
    ds = charge(stack_mission, "drogue", charge_mass=["0.2 g", "0.4 g", "0.8 g"], flights=2, failing=0)
    assert ds.step_mass.values.tolist() == [[0.2e-3, 0.4e-3, 0.8e-3]]
