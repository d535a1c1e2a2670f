"""The whole recovery: its page answers first, its parts come out again, what a mission lacks is said."""

from __future__ import annotations

import numpy as np
import pytest

import sixdof
from sixdof.study.landing.strata import strata_of
from sixdof.study.recovery.recovery import PARTS, TROUBLES, recovery, recovery_part
from sixdof.study.recovery.recovery_findings import BREAKS, CHANGE, HOLDS, _rough, findings

FEW = {"failing": 0, "seed": 2}


@pytest.fixture(scope="module")
def spoilt(stack_mission):
    """The demo with a charge half again too strong and a cord a third too weak."""
    return stack_mission.change({"harness.drogue.charge.mass": 1.5 * 0.344e-3, "harness.drogue.strength": 0.7 * 900.0})


@pytest.fixture(scope="module")
def found(spoilt):
    return recovery(spoilt, 8, parts="charge", **FEW)


def words(ds) -> str:
    return " ".join(str(sixdof.report(ds)).split())


def test_page__says_first_that_the_charge_is_too_strong_and_the_cord_too_weak(found):
    page = words(found)
    assert page.index("The charge of 0.516 g is too strong, 2.06 times what the strongest pins need") < page.index("What holds")
    assert page.index("The harness, 5 m of 630 N, holds in all of them, but bears") < page.index("What holds")
    assert "take 0.375 g and a harness of" in page and "where 50 % is wanted: take 1" in page
    assert page.index("What holds") < page.index("Charges and harnesses") < page.index("never a recipe")
    assert len(str(sixdof.report(found)).splitlines()) < 90


def test_findings__of_a_sound_recovery_hold(stack_mission):
    ds = recovery(stack_mission, 6, parts="charge", **FEW)
    assert {one.grade for one in findings(ds)} == {HOLDS}
    assert "Nothing breaks in what was flown" in words(ds) and "no harness and no canopy breaks by its load" in words(ds)


@pytest.mark.slow
def test_troubles__of_a_cord_that_breaks_are_counted_over_all_flights(stack_mission):
    """All flights break a cord of 100 N; those drawn to break it by themselves are not the load's doing."""
    ds = recovery(stack_mission.change({"harness.drogue.strength": "100 N"}), 4, failing=1, parts="charge", seed=2)
    torn = ds.branch_troubles.sel(trouble=TROUBLES[0])
    assert ds.trouble_share.sel(trouble=TROUBLES[0]) == pytest.approx(1.0 - strata_of(stack_mission).weights[-2], abs=0.02)
    assert int(torn.sum()) > 0 and findings(ds)[0].grade == BREAKS and "a harness breaks by its load" in findings(ds)[0].text
    assert "breaks in 100 % of the flights" in words(ds)


def test_troubles__what_falls_without_a_canopy_by_the_probability_of_its_failure(stack_mission):
    ds = recovery(stack_mission, 4, failing=1, parts=[], seed=2)
    falls = ds.branch_troubles.sel(trouble=TROUBLES[2])
    assert int(falls.sel(branch="no_deployment: booster main")) == int(ds.branch_flights.sel(branch="no_deployment: booster main"))
    assert int(falls.sel(branch="nominal")) == 0
    alone = strata_of(stack_mission)
    weight = float(alone.weights[list(alone.names).index("no_deployment: booster main")])
    assert float(ds.trouble_share.sel(trouble=TROUBLES[2])) == pytest.approx(weight, rel=0.02)  # of the strata flown; two failures at once were not


def test_parts__come_out_as_the_studies_themselves(found, spoilt, tmp_path):
    alone = sixdof.workshop.charge(spoilt, flights=8, **FEW)
    assert str(sixdof.report(recovery_part(found, "charge"))) == str(sixdof.report(alone))
    again = sixdof.open_result(sixdof.save(found, tmp_path / "recovery.nc"))
    assert str(sixdof.report(recovery_part(again, "charge"))) == str(sixdof.report(alone))
    assert str(sixdof.report(again)) == str(sixdof.report(found))
    with pytest.raises(ValueError, match="size was not asked for"):
        recovery_part(found, "size")
    with pytest.raises(ValueError, match='there is no part "harnes"'):
        recovery_part(found, "harnes")


@pytest.mark.slow
def test_whole__of_the_demo_stays_short(spoilt):
    ds = recovery(spoilt, 12, failing=1, seed=2)
    page = str(sixdof.report(ds))
    assert len(page.splitlines()) < 90 and "nan" not in page
    for title in ("Charges and harnesses", "Canopies", "Deployment about apogee", "Triggers, s from"):
        assert title in page
    assert {one.grade for one in findings(ds)} == {BREAKS, CHANGE, HOLDS}
    assert all(f"{part}_attributes" in ds.attrs for part in PARTS)


def test_page__of_a_mission_without_harness_says_what_is_lacking(demo_mission):
    ds = recovery(demo_mission, 3, parts="charge", **FEW)
    assert "Not told" in words(ds) and "the mission has no [[harness]]" in words(ds) and "Charges and harnesses" not in words(ds)


def test_recovery__refuses_in_one_sentence(demo_mission):
    with pytest.raises(ValueError, match='there is no part "charges"'):
        recovery(demo_mission, 3, parts="charges")
    bare = demo_mission.change({"recovery": [], "failure": [], "disperse": {}, "rule": []})
    bare = bare.remove("part.drogue").remove("part.main")
    with pytest.raises(ValueError, match="recovery: the mission has no parachute"):
        recovery(bare, 3)


def test_recovery__draws_what_the_ensemble_draws(found, spoilt):
    ds = sixdof.disperse(spoilt, 8, seed=2, tracks="none", progress=False)
    assert int(found.branch_flights.sum()) == 8 and set(found.branch.values) == set(np.unique(ds.branch))


def test_page__canopies_without_a_strength_are_no_sound_recovery(demo_mission):
    bare = demo_mission.change({f"stage.0.part.{part.name}.strength": None for part in demo_mission.stage[0].part if part.kind == "parachute"})
    told = findings(recovery(bare, 2, parts="size", **FEW))
    assert [one.grade for one in told if "says no strength, so that no load breaks it" in one.text] == [CHANGE] * len(bare.recovery)


def test_recovery__of_a_vehicle_that_stays_on_the_rail_is_refused(demo_mission):
    heavy = demo_mission.change({"stage.0.part.air sampler.mass": "60 kg"})
    with pytest.raises(ValueError, match="recovery: none of 2 flights leaves the rail"):
        recovery(heavy, 2, **FEW)


@pytest.mark.parametrize(("share", "words"), [(1.0, "100 %"), (0.61, "61 %"), (0.0123, "1.2 %")])
def test_rough_shares__are_numbers_without_powers_of_ten(share, words):
    assert _rough(share) == words


def test_page__of_a_vehicle_that_tumbles_says_so_first(found):
    margins = found["departure_margin"]
    assert float(margins.min()) > 0.0 and "NOT STABLE" not in sixdof.report(found)
    page = sixdof.report(found.assign(departure_margin=margins - 5.0)).splitlines()
    breaks = page.index("What breaks, and what to do")
    assert page[breaks + 1].startswith("  - NOT STABLE: the static margin at rail departure is -") and "below 0 in" in " ".join(page[breaks : breaks + 4])
