"""How large a canopy: closed forms with their published numbers, roots by hand, flights that keep what was asked for with the diameter taken."""

from __future__ import annotations

import math

import numpy as np
import pytest

import sixdof
from sixdof.study.recovery.sizing.canopy_size import canopy_size
from sixdof.study.recovery.sizing.flights import crossings, diameter_for, smallest_for, terminal_speed

FEW = {"sizes": [0.8, 0.95, 1.1, 1.3], "flights": 8, "failing": 0}


@pytest.fixture(scope="module")
def found(demo_mission):
    return canopy_size(demo_mission, descent_speed="5.5 m/s", seed=3, share=0.8, **FEW)


# ---------------------------------------------------------------- closed forms


@pytest.mark.parametrize(("mass", "diameter", "coefficient", "speed"), [(5.0, 1.5, 0.75, 7.771869), (1.5, 0.9, 0.75, 7.094713), (10.0, 2.4, 0.80, 6.651294)])
def test_terminal_speed__after_knacke(mass, diameter, coefficient, speed):
    """T. W. Knacke, Parachute Recovery Systems Design Manual, NWC TP 6575 (1991): values at 1.225 kg/m^3 and 9.80665 m/s^2, to the digits given."""
    assert terminal_speed(mass, diameter, coefficient, 1.225) == pytest.approx(speed, abs=1e-6)
    assert diameter_for(mass, speed, coefficient, 1.225) == pytest.approx(diameter, abs=1e-6)


def test_first_guess__is_the_closed_form_of_the_flights_own_mass_and_air(found, demo_mission):
    mass, density = float(found["written_hanging_mass"].median()), float(found["written_ground_density"].median())
    assert 1.0 < density < 1.1  # 1250 m, 24 degC
    area = 2.0 * mass * 9.80665 / (density * 5.5**2 * 0.8)
    assert float(found["first_guess"].item()) == pytest.approx(math.sqrt(4.0 * area / math.pi), rel=1e-12)
    assert mass == pytest.approx(float(sixdof.fly(demo_mission)["mass"][-1]), rel=0.02)  # 1 % of the drawn masses


# ---------------------------------------------------------------- roots and ranks


def test_crossings__of_powers_are_exact_and_ends_are_told():
    """v = c/D falls as a power, so a straight line between logarithms meets the limit at D = c/limit to rounding; drift = k D the other way."""
    at, c = np.array([0.8, 1.0, 1.2]), np.array([5.0, 6.3, 9.0, 3.0])
    np.testing.assert_allclose(crossings(at, c / at[:, None], 6.0, falling=True), [5.0 / 6.0, 1.05, np.inf, 0.8])
    k = np.array([300.0, 500.0, 100.0])
    np.testing.assert_allclose(crossings(at, k * at[:, None], 330.0, falling=False), [1.1, 0.0, np.inf])


def test_smallest_for__holds_both_in_the_share_of_the_flights():
    need, allowed = np.array([0.8, 0.9, 1.0, 1.1]), np.array([1.0, 1.2, 1.2, 1.3])
    assert smallest_for(need, allowed, 0.75) == (1.0, 0.75)
    diameter, best = smallest_for(need, allowed, 0.95)
    assert math.isnan(diameter) and best == 0.75
    assert smallest_for(need, np.full(4, np.inf), 1.0) == (1.1, 1.0)


# ---------------------------------------------------------------- flown


def test_diameter_taken__keeps_the_speed_and_a_smaller_one_does_not(found):
    taken = found["taken_diameter"].item()
    assert found["taken_speed_share"].item() >= 0.8
    at = np.argmax(found["diameter"].values[0] > taken)  # the next smaller one flown lies ahead of it
    assert at == 0 or found["speed_share"].values[0, at - 1] < 0.8


def test_speed__falls_as_the_closed_form_does_with_the_airframe_on_top(found):
    """All of it that hangs drags: slower than the canopy alone, by no more than the page's share of airframe and drogue; v D nearly constant."""
    speed, at = found["descent_speed"].values[0], found["diameter"].values[0]
    mass, density = found["hanging_mass"].values[0], found["ground_density"].values[0]
    alone = terminal_speed(mass, at[:, None], 0.8, density)
    assert (speed < 1.25 * alone).all() and (np.median(speed / alone, axis=1) < 1.0).all() and (np.median(speed / alone, axis=1) > 0.8).all()
    assert (np.diff(speed, axis=0) < 0.0).all()


def test_diameter__flown_by_the_mission_file_is_that_of_the_study(found, demo_mission):
    """The mission with the diameter written into it, dispersed anew: the same landings, flight by flight (a factor on the drag area is a diameter)."""
    own = demo_mission.change({"part.main.diameter": found["taken_diameter"].item()})
    flights = sixdof.disperse(own, 8, seed=3, progress=False, tracks="none")
    np.testing.assert_allclose(-flights["event_velocity_up"].sel(event="landing").values[:, 0], found["taken_descent_speed"].values[0], rtol=1e-9)
    apogee, down = (flights[["event_east", "event_north"]].sel(event=event).isel(body=0) for event in ("apogee", "landing"))
    drift = np.hypot(down["event_east"] - apogee["event_east"], down["event_north"] - apogee["event_north"])
    np.testing.assert_allclose(drift, found["taken_drift"].values[0], rtol=1e-9)
    np.testing.assert_allclose(flights["body_landing_energy"].values[:, 0], found["taken_landing_energy"].values[0], rtol=1e-9)


def test_landing_energy__asks_for_a_larger_one_where_it_binds(found, demo_mission):
    """Of the same flights: with the energy that the speed leaves at the median as a limit, the diameter grows, and the flights keep both."""
    limit = float(np.round(found["taken_landing_energy"].median()))
    light = canopy_size(demo_mission, descent_speed="5.5 m/s", landing_energy=f"{limit:.2f} J", seed=3, share=0.8, sizes=[0.95, 1.3, 1.8], flights=8, failing=0)
    assert light["taken_diameter"].item() > 1.02 * found["taken_diameter"].item()
    assert np.sort(light["taken_landing_energy"].values[0])[6] <= limit * 1.0001 and light["taken_speed_share"].item() >= 0.8
    assert f"land with at most {limit:.3g} J" in " ".join(str(sixdof.report(light)).split())


def test_two_stages__unburnt_propellant_hangs_there_and_two_canopies_are_sized_at_once(stack_mission):
    unlit = stack_mission.change({"failure": [one for one in stack_mission.failure if one.kind == "no_ignition"]})
    found = canopy_size(unlit, descent_speed="7 m/s", sizes=[0.9, 1.2], flights=2, failing=1, seed=1)
    assert list(found["canopy"].values) == ["main", "booster main"] and list(found["stage"].values) == ["whinchat", "drayhorse"]
    third = sixdof.disperse(unlit, 1, first=2, seed=1, progress=False)  # the draw of the failing flight: burnt out there, with the grain here
    dry = float(third["body_landing_mass"].sel(body="whinchat").item()) if "no_ignition" not in str(third["branch"].item()) else math.nan
    heavy = float(found["failing_hanging_mass"].sel(failure="no_ignition: whinchat", canopy="main").item())
    assert heavy - dry == pytest.approx(0.141, abs=1e-6)
    page = " ".join(str(sixdof.report(found)).split())
    assert "main (whinchat) Take" in page and "booster main (drayhorse) Take" in page


def test_both__where_they_cannot_be_kept_cures_are_flown(stack_mission):
    """A main alone at apogee: reefed, or behind a drogue."""
    alone = canopy_size(stack_mission, "booster main", descent_speed="5 m/s", drift="300 m", sizes=[0.9, 1.3], flights=3, failing=0)
    assert {"reefed", "a drogue of"} == {word for text in alone["cure"].values for word in ("reefed", "a drogue of") if word in str(text)}
    assert (alone["cure_drift_share"] >= alone["taken_drift_share"].item()).all() and (alone["cure_opened_share"] == 1.0).all()
    text = " ".join(str(sixdof.report(alone)).split())
    assert "Both cannot be kept together" in text and ("keeps both:" in text or "the nearest:" in text)


@pytest.mark.slow
def test_both__of_a_main_behind_a_drogue_lower_or_behind_a_smaller_one(stack_mission):
    behind = canopy_size(stack_mission, "main", descent_speed="5 m/s", drift="250 m", sizes=[0.9, 1.1, 1.3], flights=2, failing=0)
    assert any("instead of 200 m" in str(one) for one in behind["cure"].values) and any("instead of 32 cm" in str(one) for one in behind["cure"].values)


def test_canopy_not_deployed__is_no_question_of_size(demo_mission):
    """Half of these flights never let the main out: those count in no share."""
    failing = demo_mission.add("failure", {"kind": "no_deployment", "of": "main", "probability": "50 %"})
    found = canopy_size(failing, sizes=[1.0, 1.2], flights=6, failing=0, seed=2)
    opened = found["opened"].values[0] > 0
    assert 0 < opened[0].sum() < 6 and np.isnan(found["descent_speed"].values[0][~opened]).all()
    kept = found["descent_speed"].values[0, 1] <= 6.0
    assert found["speed_share"].values[0, 1] == pytest.approx(kept.sum() / opened[1].sum())
    assert "no size cures that" in " ".join(str(sixdof.report(found)).split())


def test_canopy_size__says_what_is_wrong(demo_mission):
    bare = demo_mission.remove("recovery.drogue", "recovery.main")
    with pytest.raises(ValueError, match='nothing deploys the canopy "drogue"'):
        canopy_size(bare)
    with pytest.raises(ValueError, match="has no parachute"):
        canopy_size(bare.remove("part.drogue", "part.main"))
    for wrong, match in (
        ({"canopy": "mian"}, "there is no canopy .mian."),
        ({"descent_speed": "6 m"}, "descent_speed"),
        ({"drift": -1.0}, "must be above 0"),
        ({"descent_speed": None}, "descent_speed"),
        ({"sizes": [1.0]}, "two or more"),
        ({"sizes": "1"}, "list of diameters"),
        ({"flights": 1}, "flights"),
    ):
        with pytest.raises((ValueError, TypeError), match=match):
            canopy_size(demo_mission, **wrong)
