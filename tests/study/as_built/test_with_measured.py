"""What was measured goes back into the mission: values, spreads, what goes together, text to paste; and an ensemble draws it."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest
from strangers import stranger
from workbench import body, readings

import sixdof
from sixdof.study.as_built.as_built import as_built
from sixdof.study.as_built.pasting import decimals, pasted
from sixdof.study.as_built.with_measured import with_measured
from sixdof.vehicle.mounting import case_lump, placed_motors

READINGS = Path(__file__).parents[3] / "configs/whinchat-readings.toml"


@pytest.fixture(scope="module")
def built(stack_mission):
    return as_built(stack_mission, READINGS)


@pytest.fixture(scope="module")
def flown(stack_mission, built):
    return with_measured(stack_mission, built)


def erring(mission, number, **errors):
    """Readings of a stage whose scales and strings err."""
    tables = readings(mission, number, swings=("bifilar pitch",), error=0.05)
    (stage,) = tables["stage"]
    stage["scales"] |= {"support_error": 0.002, "error": 0.004}
    stage["swing"][0] |= {"string_error": 0.001, "length_error": 0.002}
    return tables


def test_values__and_spreads_of_the_measured_stage_alone(stack_mission, built, flown):
    assert flown.stage[0].measured.mass == float(built["value"].sel(row="mass of whinchat"))
    assert flown.stage[0].measured.inertia_yaw == pytest.approx(flown.stage[0].measured.inertia_pitch, rel=1e-14)  # four fins: the parts have the two alike
    assert flown.stage[1] == stack_mission.stage[1]
    for name, spread in flown.disperse.items():
        before = stack_mission.disperse[name]
        assert (spread.kind, spread.sd, spread.mean) == (before.kind, before.sd, before.mean)
        assert list(spread.of) in ([], ["whinchat"])
    tilt = flown.disperse["motor.tilt_y"].of["whinchat"]
    assert tilt.mean == pytest.approx(np.radians(0.08)) and tilt.sd == pytest.approx(np.radians(0.05 / np.sqrt(2.0)))
    assert [group.only for group in flown.correlation] == [("whinchat",)]
    assert sixdof.parts.loads_mission(flown.to_toml()) == flown


@pytest.mark.parametrize("where", ["sampler", "canard", "slender"])
def test_draws__of_a_stage_vary_as_the_bench_errs(where, demo_mission):
    """Drawn stages, their cases taken off again by hand, have the mass, centre and inertia of the bench, its sd and its correlations."""
    mission = demo_mission if where == "sampler" else stranger(where)
    built = as_built(mission, erring(mission, 0))
    measured = with_measured(mission, built)
    draws = sixdof.stats.make_draws(measured, 4000, seed=2)
    (motors,) = placed_motors(measured, [0])
    cases = [case_lump(one) for one in motors]
    mass, centre, inertia = body(measured, 0)
    case_mass, case_moment = sum(one.mass for one in cases), sum(one.mass * one.place[0] for one in cases)
    whole = mass + case_mass
    middle = (mass * centre + case_moment) / whole
    of_cases = sum(one.inertia[1, 1] + one.mass * one.place[2] ** 2 for one in cases)
    spread = sum(one.mass * (one.place[0] - middle) ** 2 for one in cases)
    dry = inertia[1] + mass * (centre - middle) ** 2 + of_cases + spread
    drawn_mass = whole * draws["vehicle.mass"].values - case_mass
    drawn_middle = middle + draws["vehicle.cg"].values
    drawn_centre = (drawn_middle * (drawn_mass + case_mass) - case_moment) / drawn_mass
    far = sum(one.mass * (one.place[0] - drawn_middle) ** 2 for one in cases)
    drawn_dry = dry * draws["vehicle.mass"].values * draws["vehicle.inertia"].values
    drawn_inertia = drawn_dry - of_cases - far - drawn_mass * (drawn_centre - drawn_middle) ** 2
    found = np.array([drawn_mass, drawn_centre, drawn_inertia])
    assert found.std(axis=1) == pytest.approx(built["error"].values, rel=4.0 / np.sqrt(2.0 * 4000))
    assert np.corrcoef(found) == pytest.approx(built["correlation"].values, abs=4.0 / np.sqrt(4000) + 0.002)


def test_ensemble__landing_masses_spread_as_the_scales_err(demo_mission):
    """Whole flights: the mass that lands, which is all that does not burn, has the sd of the bench. A Latin hypercube of 64 knows it to some 3 %."""
    built = as_built(demo_mission, erring(demo_mission, 0))
    measured = with_measured(demo_mission.change({"failure": []}), built)
    flights = sixdof.disperse(measured, 64, seed=4, sampling="latin", progress=False)
    assert float(flights["body_landing_mass"].isel(body=0).std()) == pytest.approx(float(built["error"][0]), rel=0.06)
    before = sixdof.disperse(demo_mission.change({"failure": []}), 64, seed=4, sampling="latin", progress=False)
    assert float(before["body_landing_mass"].isel(body=0).std()) > 1.5 * float(built["error"][0])


@pytest.mark.slow
def test_ensemble__of_two_stages_one_measured(stack_mission):
    """The booster that was not measured goes on as the mission guesses, 1 % of all that does not burn."""
    calm = stack_mission.change({"failure": []})
    built = as_built(calm, erring(calm, 0))
    flights = sixdof.disperse(with_measured(calm, built), 64, seed=4, sampling="latin", progress=False)
    landed = flights["body_landing_mass"].std("flight")
    assert float(landed.sel(body="whinchat")) == pytest.approx(float(built["error"][0]), rel=0.06)
    assert float(landed.sel(body="drayhorse")) == pytest.approx(0.01 * float(flights["body_landing_mass"].sel(body="drayhorse").mean()), rel=0.06)


def test_correlations__of_the_mission_stay_where_they_are_not_replaced(stack_mission):
    pair = {"of": ["vehicle.mass", "vehicle.inertia"], "coefficient": 0.3}
    other = {"of": ["motor.impulse", "motor.burn_time"], "coefficient": -0.5}
    mission = stack_mission.change({"correlation": [pair, other]})
    flown = with_measured(mission, as_built(mission, erring(mission, 0)))
    found = {group.of: group.only for group in flown.correlation}
    assert found[("vehicle.mass", "vehicle.inertia")] == ("drayhorse",)
    assert found[("motor.impulse", "motor.burn_time")] == ()
    assert found[("vehicle.mass", "vehicle.cg", "vehicle.inertia")] == ("whinchat",)


def test_every_stage__measured_at_once():
    mission = stranger("stack")
    tables = [erring(mission, number) for number in range(3)]
    together = {**tables[0], "stage": [one["stage"][0] for one in tables]}
    built = as_built(mission, together)
    flown = with_measured(mission, built)
    assert list(flown.disperse["vehicle.mass"].of) == ["sedge", "bulrush", "tussock"]
    assert flown.disperse["vehicle.inertia"].kind == "fixed"  # the mission draws none: only what was swung varies
    assert [stage.measured is not None for stage in flown.stage] == [True] * 3
    off = built["correlation"].values[np.ix_([0, 1, 2], [3, 4, 5])]
    assert (off == 0.0).all()


# ---------------------------------------------------------------- text to paste


def test_pasted__text_makes_the_same_mission(stack_path, stack_mission, built, flown):
    """Put into the file by hand where the page says: the same mission, to a hundredth of each error."""
    text, lines = stack_path.read_text(), "\n".join(pasted(stack_mission, built))
    measured = re.search(r"\[stage.measured\].*?\n\n", lines, re.S)[0]
    text = text.replace("# from the command to the start of the thrust curve\n", f"\n{measured}", 1)
    cant = re.search(r"cant = .*", lines)[0]
    text = text.replace("control = true\n", f"control = true\n{cant}\n", 1)
    for name, spread in re.findall(r"^((?:vehicle|motor|aero)\.\w+) = (.*)$", lines, re.M):
        text = re.sub(rf"^{re.escape(name)} = .*$", f"{name} = {spread}", text, flags=re.M)
    text += "\n" + lines[lines.index("[[correlation]]") :]
    found = sixdof.parts.loads_mission(text, stack_path.parent)
    one, two = found.stage[0].measured, flown.stage[0].measured
    for key, row in (("mass", 0), ("cg", 1), ("inertia_roll", 4), ("inertia_pitch", 5), ("inertia_yaw", 5)):
        assert abs(getattr(one, key) - getattr(two, key)) < 0.06 * float(built["error"][row])
    for name, spread in flown.disperse.items():
        for stage, own in spread.of.items():
            assert found.disperse[name].of[stage].sd == pytest.approx(own.sd, rel=6e-3)
    assert found.correlation[0].of == flown.correlation[0].of


def test_decimals__show_two_digits_of_an_error():
    assert [decimals(error) for error in (20.0, 1.3, 0.73, 0.00098)] == [0, 1, 2, 5]


def test_with_measured__refuses_what_is_not_its_own(stack_mission, demo_mission, built):
    with pytest.raises(ValueError, match="with_measured needs the result of sixdof.workshop.as_built"):
        with_measured(stack_mission, built[["value"]])
    with pytest.raises(ValueError, match='no stage "whinchat" that was measured; its stages: thistledown'):
        with_measured(demo_mission, built)
