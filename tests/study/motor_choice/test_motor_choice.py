"""A choice of motors: what is flown, what wins, why the others lost, what turns the answer, and the page."""

from __future__ import annotations

import numpy as np
import pytest

import sixdof
from sixdof.mission.load import stored_mission
from sixdof.study.motor_choice.confirming import measured_draws
from sixdof.study.motor_choice.deciding import STANDINGS
from sixdof.study.motor_choice.motor_choice_text import choice_text, standings_of
from sixdof.study.motor_choice.scatter import with_scatter

choose_motor = sixdof.preflight.choose_motor


def quick(mission, files, criteria=(), prefer=None, flights=8, **options):
    return choose_motor(mission, files, criteria, prefer, flights, **{"seed": 4, "progress": False, "confirm": False, "scatter": (0.0, 0.0, 0.0), **options})


# ---------------------------------------------------------------- the demo


def test_choice__every_motor_has_a_row_and_only_what_fits_is_flown(boosters):
    assert boosters["motor"].values.tolist() == ["mesa-i", "mesa-j-slow", "mesa-j", "playa-h", "playa-i"]
    assert boosters["variant"].values.tolist() == ["mesa-i", "mesa-j-slow", "mesa-j", "playa-h"]
    assert standings_of(boosters)["playa-i"] == "not_known" and "says nothing of propellant_mass" in str(boosters.why.sel(motor="playa-i").values)
    assert float(boosters.adapter_mass.sel(motor="playa-h")) > 0.02 and str(boosters.adapter.sel(motor="mesa-j").values) == ""


def test_choice__is_a_comparison_on_the_same_draws(boosters, stack_mission):
    """Each motor's ensemble is the one that `disperse` flies with it in the mount: the verdicts and figures of comparisons take it as it is."""
    one = sixdof.stats.variant_of(boosters, "mesa-j")
    alone = sixdof.disperse(stack_mission.change({"stage.drayhorse.part.mount.motor": "mesa-j"}), 12, seed=3, tracks="none", progress=False)
    assert one.apogee_height.values.tolist() == alone.apogee_height.values.tolist()
    judged = sixdof.stats.judge_criteria(boosters)
    assert judged.verdict.values.tolist() == boosters.verdict.values.tolist()
    assert "ANSWER" not in sixdof.report(one)  # an ensemble


def test_choice__the_best_fails_nothing_and_the_losers_say_by_how_much(boosters):
    """mesa-j-slow leaves the rail below the limit: the value that 95 % of its flights exceed is what its flights show."""
    assert boosters.attrs["best"] == "mesa-i"
    assert STANDINGS[int(boosters.standing.sel(motor="mesa-j-slow"))] == "fails"
    reached = np.quantile(boosters.rail_departure_speed.sel(variant="mesa-j-slow"), 0.05)
    why = str(boosters.why.sel(motor="mesa-j-slow").values)
    assert f"exceed {reached:.1f} m/s, {30.0 - reached:.2f} m/s too little" in why


def test_choice__settings_that_the_slow_motor_makes_wrong(boosters):
    """Its burn ends at 2.2 s and the backup separates at 2.4 s after liftoff, before the 0.4 s behind burnout are over; the other two burn 1.1 and 1.35 s."""
    paths = boosters["setting"].values.tolist()
    backup = paths.index("rule.part, backup.delay")
    assert boosters.setting_state.isel(setting=backup).sel(variant=["mesa-i", "mesa-j", "mesa-j-slow"]).values.tolist() == [0, 0, 1]
    right = float(boosters.setting_right.isel(setting=backup).sel(variant="mesa-j-slow"))
    fired = boosters.rule_fired.sel(variant="mesa-j-slow", rule="part") - boosters.event_time.sel(variant="mesa-j-slow", event="liftoff").isel(body=0)
    assert 0.3 <= right - float(fired.max()) < 0.4 + 1e-9


def test_choice__page(boosters):
    text = str(sixdof.report(boosters))
    assert "ANSWER: mesa-i. It" in text and "playa-h: an adapter from 38 mm to 54.4 mm, 205 mm long, 33 g (estimated: weigh it)" in text
    for said in ("Why not the others", "Which single measurement", "settings that must change", "from memory", "above Mach 0.8", "not a clearance to fly"):
        assert said in text
    assert max(map(len, text.splitlines())) <= 120
    with pytest.raises(ValueError, match="takes a choice of motors"):
        choice_text(boosters.drop_vars("standing"))


# ---------------------------------------------------------------- a winner one can reason out


def test_winner__by_each_preference(plain, ladder):
    """One vehicle, one drag, one propellant mass: more impulse is more height. Prices say otherwise."""
    prices = {"wick-i": {"price": 48}, "middle": {"price": 40}, "large": {"price": 61}}
    options = {"columns": prices, "flights": 6}
    assert quick(plain, ladder, prefer="most apogee_height", **options).attrs["best"] == "large"
    assert quick(plain, ladder, prefer="least apogee_height", **options).attrs["best"] == "wick-i"
    assert quick(plain, ladder, prefer="least price", **options).attrs["best"] == "middle"
    assert quick(plain, ladder, prefer="most total_impulse then least price", **options).attrs["best"] == "large"


def test_winner__the_missions_own_motor_takes_part_unless_it_is_in_the_folder(plain, ladder):
    assert quick(plain, ladder, flights=2)["motor"].values.tolist() == ["large", "middle", "wick-i"]
    assert quick(plain, ladder[1:], flights=2)["motor"].values.tolist() == ["wick-i", "large", "middle"]


def test_winner__a_criterion_comes_before_the_preference(plain, ladder):
    """A ceiling between what the middle and the large motor reach takes the large one out, however high it flies."""
    heights = quick(plain, ladder).apogee_height.max("flight")
    ceiling = float(heights.sel(variant="middle")) + 1.0
    found = quick(plain, ladder, f"apogee_height < {ceiling} m in 70 % of flights", "most apogee_height")
    assert found.attrs["best"] == "middle"
    assert standings_of(found)["large"] == "fails"


def test_winner__none_leaves_the_rail(plain, ladder):
    """Of 60 kg none is lifted, and that is no motor that fits, though nothing is asked of it."""
    heavy = plain.change({"stage.0.part.altimeter and beacon.mass": "60 kg"})
    found = quick(heavy, ladder[:2], flights=2, threads=1)
    assert found.attrs["best"] == "" and "does not leave the rail in 100 % of the flights" in str(found.why.values[0])
    assert "ANSWER: no motor. Every one that fits fails." in sixdof.report(found)


def test_page__without_criterion_and_preference_no_measurement_is_asked_about(plain, ladder):
    """The mission disperses what can be measured: that is not why."""
    page = sixdof.report(quick(plain, ladder, flights=2, threads=1))
    assert "not asked: without a criterion and a preference no number decides" in page and "disperses nothing" not in page


def test_winner__none_without_a_preference_where_several_stand_alike(plain, ladder):
    found = quick(plain, ladder, flights=2)
    assert found.attrs["best"] == "" and "say what you prefer" in sixdof.report(found)


def test_nothing_fits__is_said_and_nothing_is_flown(plain, ladder):
    found = quick(plain, ladder, prefer="most apogee_height", limits={"propellant_mass": "100 g"})
    assert "variant" not in found.dims and found.attrs["best"] == ""
    assert "ANSWER: no motor. None of them fits" in sixdof.report(found) and "is over the limit of 0.1 kg" in str(found.why.values[0])


def test_criterion__thrust_over_weight_by_its_names(plain, ladder):
    """The middle motor has 4 % more thrust than the small one on the same weight: a limit between the two tells them apart."""
    ratios = quick(plain, ladder[:2], flights=2).thrust_to_weight_start.mean("flight")
    limit = float(ratios.mean())
    assert float(ratios.sel(variant="middle") / ratios.sel(variant="wick-i")) == pytest.approx(1.04, abs=1e-9)
    found = quick(plain, ladder[:2], f"thrust_to_weight_start > {limit} in 70 % of flights")
    assert standings_of(found) == {"middle": "best", "wick-i": "fails"}
    for wrong, said in (("thrust_to_weight > 5", 'there is no ratio "thrust_to_weight"'), ("thrust_to_weight_rail > much", "write, for example")):
        with pytest.raises(ValueError, match=said):
            quick(plain, ladder, wrong)


def test_why__of_the_preference_says_in_how_many_of_the_same_flights(plain, ladder):
    found = quick(plain, ladder[:2], prefer="most apogee_height")
    assert "(less in 100 % of the same flights)" in str(found.why.sel(motor="wick-i").values)


def test_folder__may_hold_the_table_of_columns(plain, ladder, tmp_path):
    for path in ladder[:2]:
        (tmp_path / path.name).write_text(path.read_text())
    (tmp_path / "prices.csv").write_text("motor, price\nmiddle, 40\nwick-i, 50\n")
    found = quick(plain, tmp_path, prefer="least price", columns=tmp_path / "prices.csv", flights=2)
    assert found.attrs["best"] == "middle" and found["motor"].values.tolist() == ["middle", "wick-i"]


# ---------------------------------------------------------------- scatter


def test_scatter__is_added_where_the_mission_has_none_and_drawn_together(plain):
    mission, said = with_scatter(plain, ("1 %", "5 %", -0.3))
    draws = sixdof.stats.make_draws(mission, 4000, seed=1)
    impulse, burn = draws["motor.impulse"].values, draws["motor.burn_time"].values
    assert impulse.std() == pytest.approx(0.01, rel=0.05) and burn.std() == pytest.approx(0.05, rel=0.05)  # 4 standard errors of 4000 draws
    assert np.corrcoef(impulse, burn)[0, 1] == pytest.approx(-0.3, abs=0.06)
    assert "added here" in said[0] and "correlation -0.3" in said[0] and "within it" in said[1]


def test_scatter__leaves_what_the_mission_says(stack_mission):
    assert with_scatter(stack_mission, (0.01, 0.05, -0.3))[0] is stack_mission
    own = stack_mission.change({"disperse": {"motor.impulse": {"sd": "8 %"}}})
    mission, said = with_scatter(own, (0.01, 0.05, -0.3))
    assert mission.disperse["motor.impulse"].sd == 0.08 and mission.disperse["motor.burn_time"].sd == 0.05
    assert "MORE than that" in said[1]  # than the 6.7 % that NFPA 1125 allows


@pytest.mark.parametrize(
    ("scatter", "said"), [((0.01, 0.05), "two standard deviations and a correlation"), ((3, 5, 0), "of 500 %"), ((0.01, 0.05, 2), "between -1 and 1")]
)
def test_scatter__one_sentence_on_what_is_wrong(plain, ladder, scatter, said):
    with pytest.raises(ValueError, match=said):
        quick(plain, ladder, scatter=scatter)


# ---------------------------------------------------------------- the measurement that turns the answer


@pytest.fixture(scope="module")
def ceiling(plain, ladder):
    """A ceiling that the middle motor keeps with the drag as written, and breaks with some per cent less: the choice as estimated, and as flown."""
    height = float(quick(plain.change({"disperse": {}}), ladder[1:2], flights=1).apogee_height.sel(variant="middle").item())
    criterion = f"apogee_height < {1.045 * height} m in 50 % of flights"
    return 1.045 * height, *(quick(plain, ladder[:2], criterion, "most apogee_height", flights=40, confirm=confirm) for confirm in (False, True))


def test_measurement__drag_turns_the_answer_where_it_must(ceiling):
    """By flights with each drag as measured, flown here one by one: the height of the middle motor reaches the ceiling at the drag found."""
    most, _, found = ceiling
    assert found.attrs["best"] == "middle" and found.sizes.get("measurement") and found["measurement"].values[0] == "aero_drag"
    first = found.isel(measurement=0)
    assert bool(first.flip_below) and bool(first.flip_flown) and str(first.flip_to.values) == "wick-i"
    middle = stored_mission(sixdof.stats.variant_of(found, "middle").attrs["mission"])

    def height(drag):
        return float(sixdof.disperse(middle.change({"disperse": {"aero.drag": {"kind": "fixed", "mean": drag}}}), 1, progress=False).apogee_height[0])

    step = (float(first.flip_middle) - float(found.aero_drag.quantile(0.01))) / 16.0  # four halvings of the way to the 1 % quantile
    assert height(float(first.flip_value)) > most > height(float(first.flip_value) + step)


def test_measurement__the_estimate_is_near_what_flights_give(ceiling):
    _, estimated, flown = ceiling
    assert [found.sizes.get("measurement", 0) > 0 for found in (estimated, flown)] == [True, True]
    assert not bool(estimated.flip_flown[0])
    assert float(estimated.flip_value[0]) == pytest.approx(float(flown.flip_value[0]), abs=0.03)  # a third of the standard deviation: nearly straight


def test_measurement__nothing_turns_what_is_far_from_its_limits(plain, ladder):
    found = quick(plain, ladder[:2], "apogee_height > 100 m in 60 % of flights", "most total_impulse", flights=10)
    assert "measurement" not in found.dims and "none of the 1 asked about" in sixdof.report(found)


def test_measured_draws__hold_one_thing_alone(stack_mission):
    table = sixdof.stats.make_draws(stack_mission, 5, seed=1)
    found = measured_draws(table, "vehicle_mass[drayhorse]", 1.03)
    assert (found["vehicle.mass"].sel(stage="drayhorse") == 1.03).all()
    assert found["vehicle.mass"].sel(stage="whinchat").equals(table["vehicle.mass"].sel(stage="whinchat"))
    assert found.drop_vars("vehicle.mass").equals(table.drop_vars("vehicle.mass"))


# ---------------------------------------------------------------- settings put right


def test_adjust__flies_with_the_settings_that_are_right(plain, ladder):
    """A backup of 6 s after liftoff opens on the way up; put right it comes behind every apogee."""
    early = plain.change({"recovery.streamer.backup_time": "6 s"})
    as_written, adjusted = (quick(early, ladder[:1], prefer="most apogee_height", adjust=adjust) for adjust in (False, True))
    path = as_written["setting"].values.tolist().index("recovery.streamer.backup_time")
    assert int(as_written.setting_state.isel(setting=path).max()) == 1 and int(adjusted.setting_state.isel(setting=path).max()) == 0
    assert (adjusted.apogee_height > as_written.apogee_height).all() and "put right" in sixdof.report(adjusted)


def test_choice__one_sentence_on_what_is_wrong(plain, ladder, tmp_path):
    for wrong, said in (
        ({"prefer": "cheap"}, "begins with neither most nor least"),
        ({"limits": {"noise": 3}}, 'limits: there is no "noise"'),
        ({"criteria": "apogee < 3 m"}, "criterion"),
        ({"stage": "nobody"}, "there is no stage"),
    ):
        with pytest.raises(ValueError, match=said):
            quick(plain, ladder, **wrong)
    (tmp_path / "odd").mkdir()
    (tmp_path / "odd" / "text.csv").write_text("nothing, here\n")
    assert "there is no column" in str(quick(plain, tmp_path / "odd", flights=1).fit_reason.sel(motor="text").values)
