"""Variants on the same draws: the same inputs, one Dataset, nothing lost; pairs against arithmetic; verdicts against `judge`."""

from __future__ import annotations

import math

import numpy as np
import pytest
import xarray as xr
from results_by_hand import ensemble_by_hand
from scipy import stats

import sixdof
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.uncertainty.claims import PASS, UNDECIDED, flights_needed, judge
from sixdof.study.uncertainty.statistics import mean_interval, quantile_interval
from sixdof.study.variants import comparison
from sixdof.study.variants.comparison import compare
from sixdof.study.variants.comparison_text import comparison_text, criteria_text, share_text
from sixdof.study.variants.criteria import own_criterion
from sixdof.study.variants.judging import VERDICTS, judge_criteria
from sixdof.study.variants.motors import comments_of, motor_variants
from sixdof.study.variants.pairs import paired, welch_half_width
from sixdof.study.variants.subjects import NOT_HERE
from sixdof.study.variants.vary import joined_variants, variant_of, vary

FLIGHTS, SEED = 12, 4
ROUNDING = 1e-12  # relative: the same formula in another order
CRITERIA = ["apogee_height < 650 m in 95 % of flights", "rail_departure_speed > 15 m/s in 50 % of flights"]


@pytest.fixture(scope="module")
def rails(demo_mission):
    return vary(demo_mission, {"as written": {}, "short": {"rail.length": "1 m"}})


@pytest.fixture(scope="module")
def flown(rails):
    return compare(rails, FLIGHTS, seed=SEED, criteria=CRITERIA, progress=False)


def by_hand(mission, **values):
    """A comparison whose variants are ensembles by hand: name -> apogees."""
    parts = {}
    for name, apogee in values.items():
        parts[name] = ensemble_by_hand(mission, np.zeros((len(apogee), 2)), points=0)
        parts[name]["apogee_height"].values[:] = apogee
    return joined_variants(parts, [mission] * len(parts))


def bare(ds):
    return ds.drop_attrs(deep=False)


# ---------------------------------------------------------------- the same draws, one Dataset


def test_compare__inputs_are_the_same_to_the_bit(flown):
    inputs = [name for name, v in flown.data_vars.items() if "role" in v.attrs]
    assert len(inputs) > 10
    for name in inputs:
        a, b = (flown[name].sel(variant=v).values for v in ("as written", "short"))
        assert np.ptp(a) > 0.0 and np.array_equal(a, b), name
    assert (flown["rail_departure_speed"].sel(variant="short") < flown["rail_departure_speed"].sel(variant="as written")).all()


def test_variant_of__is_the_ensemble_that_disperse_returns(flown, rails):
    for name, mission in rails.items():
        alone = sixdof.disperse(mission, FLIGHTS, seed=SEED, tracks="none", progress=False)
        again = variant_of(flown, name)
        assert bare(again).identical(bare(alone))
        assert {k: v for k, v in again.attrs.items() if k != "history"} == {k: v for k, v in alone.attrs.items() if k != "history"}


def test_variant_of__flies_again(flown):
    one = variant_of(flown, "short")
    again = sixdof.refly(one, 7)
    assert float(again.apogee_height) == float(one.apogee_height.sel(flight=7))


def test_compare__missions_of_other_build_keep_their_flags_and_dims(demo_mission, stack_mission):
    missions = {"stack": stack_mission, "single": demo_mission}
    ds = compare(missions, 4, seed=SEED, progress=False)
    assert ds["descent"].dtype == np.int8 and ds["status"].dtype == np.int8
    assert (ds["descent"].sel(variant="single", body="drayhorse") == NOT_HERE).all()
    assert ds["descent"].attrs["flag_meanings"].split()[-1] == "not_in_variant" and ds["descent"].attrs["flag_values"][-1] == NOT_HERE
    assert "not_in_variant" not in ds["status"].attrs["flag_meanings"]
    assert ds["body_landing_ground_speed"].sel(variant="single", body="drayhorse").isnull().all()
    assert ds["body"].values[0] == "whinchat" and "rail_departure" in ds["event"].values
    for name, mission in missions.items():
        alone = sixdof.disperse(mission, 4, seed=SEED, tracks="none", progress=False)
        assert bare(variant_of(ds, name)).identical(bare(alone))
    judged = judge_criteria(ds, "descent of drayhorse is not nose_first in 50 % of flights")
    assert judged["missing"].values.ravel().tolist() == [0, 4] and judged["failures"].sel(variant="single").item() == 4


def test_compare__tracks_of_other_lengths_are_filled_up(demo_mission):
    ds = compare(vary(demo_mission, {"few": {"record.track_points": 8}, "many": {"record.track_points": 16}}), 2, tracks="all", progress=False)
    assert ds.sizes["point"] == 16 and ds["height"].sel(variant="few")[:, 8:].isnull().all()


def test_compare__keeps_what_is_asked_for_and_what_criteria_need(rails):
    ds = compare(rails, 3, seed=SEED, criteria="tilt at burnout < 9 deg", keep=["apogee_height"], progress=False)
    assert set(ds.data_vars) == {"apogee_height", "status", "event_tilt", "mission", "guidance", "control"}
    assert judge_criteria(ds).sizes == {"variant": 2, "criterion": 1}
    with pytest.raises(ValueError, match='no variable "apogee_heigth"; did you mean "apogee_height"'):
        compare(rails, 3, keep=["apogee_heigth"], progress=False)


def test_compare__given_draws(rails):
    table = sixdof.stats.make_draws(next(iter(rails.values())), 3, seed=9)
    table["wind.speed"].values[:] = 1.0, 2.0, 3.0
    ds = compare(rails, draws=table, progress=False)
    assert ds["wind_speed"].values.tolist() == [[1.0, 2.0, 3.0]] * 2


def test_compare__own_laws_for_one_variant(rails):
    def still(t, sensed, memory, gains, command):
        command[:] = 0.0

    ds = compare(rails, 2, seed=SEED, laws={"short": {"control": still}}, threads=1, progress=False)
    assert (ds["fin_travel_total"].sel(variant="short") < ds["fin_travel_total"].sel(variant="as written")).all()


def test_compare__goes_on_where_it_stopped(rails, flown, tmp_path, monkeypatch):
    calls = []

    def killed_in_the_second(mission, *args, **options):
        calls.append(options["out"].name)
        if len(calls) == 2:
            raise KeyboardInterrupt
        return sixdof.disperse(mission, *args, **options)

    arguments = dict(seed=SEED, criteria=CRITERIA, progress=False, out=tmp_path / "rails")
    monkeypatch.setattr(comparison, "disperse", killed_in_the_second)
    with pytest.raises(KeyboardInterrupt):
        compare(rails, FLIGHTS, **arguments)
    assert (tmp_path / "rails" / "as written.zarr").is_dir() and not (tmp_path / "rails" / "short.zarr").exists()
    monkeypatch.setattr(comparison, "disperse", sixdof.disperse)
    before = (tmp_path / "rails" / "as written.zarr" / "apogee_height" / "zarr.json").stat().st_mtime_ns
    ds = compare(rails, FLIGHTS, **arguments)
    assert (tmp_path / "rails" / "as written.zarr" / "apogee_height" / "zarr.json").stat().st_mtime_ns == before  # not flown again
    assert bare(ds).identical(bare(flown))


def test_compare__interrupted_returns_the_flights_that_all_have(rails, flown, monkeypatch):
    def few(mission, flights, **options):
        short = mission is rails["short"]
        ds = sixdof.disperse(mission, 5 if short else flights, **options)
        return ds.assign_attrs(interrupted="5 of 12 flights are finished") if short else ds

    monkeypatch.setattr(comparison, "disperse", few)
    ds = compare({**rails, "third": rails["short"]}, FLIGHTS, seed=SEED, progress=False)
    assert ds.sizes["variant"] == 2 and ds.sizes["flight"] == 5
    assert ds.attrs["interrupted"] == "variant short: 5 of 12 flights are finished; 2 of 3 variants begun"
    assert np.array_equal(ds["apogee_height"], flown["apogee_height"].isel(flight=slice(0, 5)))


def test_compare__interrupted_before_a_variants_first_flight_keeps_the_others(rails, flown, monkeypatch):
    def none(mission, flights, **options):
        ds = sixdof.disperse(mission, flights, **options)
        return ds.isel(flight=[]).assign_attrs(interrupted="0 of 12 flights are finished") if mission is rails["short"] else ds

    monkeypatch.setattr(comparison, "disperse", none)
    ds = compare(rails, FLIGHTS, seed=SEED, progress=False)
    assert ds["variant"].values.tolist() == ["as written"] and ds.sizes["flight"] == FLIGHTS
    assert ds.attrs["interrupted"] == "variant short: 0 of 12 flights are finished; 2 of 2 variants begun"


def test_compare__survives_a_file(flown, tmp_path):
    path = sixdof.save(flown, tmp_path / "comparison.nc")
    again = sixdof.open_result(path)
    assert np.array_equal(again["apogee_height"], flown["apogee_height"])
    assert judge_criteria(again).identical(judge_criteria(flown))


def test_compare__says_which_variant_flies(rails, capsys):
    compare(rails, 2, progress=True)
    assert "variant as written (1 of 2)" in (said := capsys.readouterr().err) and "variant short (2 of 2)" in said


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (dict(variants={}), "there are no variants"),
        (dict(variants=[1]), "must be a dictionary"),
        (dict(variants={"a": 3}), 'variant "a": mission must be'),
        (dict(laws={"shrt": {}}), 'no variant "shrt"; did you mean "short"'),
        (dict(laws={"short": {"contrl": None}}), 'is neither "guidance" nor "control"'),
        (dict(criteria="apogee_heigth < 3 m"), 'did you mean "apogee_height"'),
        (dict(criteria="tilt at burnut < 3 deg"), 'there is no event "burnut"; did you mean "burnout"'),
        (dict(criteria="landing_ground_speed of booster < 3 m/s"), 'there is no body "booster"; did you mean|bodys are'),
    ],
)
def test_compare__one_sentence_before_anything_is_flown(rails, wrong, said, monkeypatch):
    monkeypatch.setattr(comparison, "disperse", lambda *a, **k: pytest.fail("flown"))
    with pytest.raises((ValueError, TypeError), match=said):
        compare(**{"variants": rails, "flights": 3, **wrong})


def test_compare__names_that_are_no_file_names(rails, tmp_path):
    with pytest.raises(ValueError, match='variant "a/b" cannot name a file'):
        compare({"a/b": rails["short"]}, 2, out=tmp_path / "x")
    (tmp_path / "file").write_text("")
    with pytest.raises(FileExistsError, match="is a file"):
        compare(rails, 2, out=tmp_path / "file")
    with pytest.raises(FileNotFoundError, match="make it first"):
        compare(rails, 2, out=tmp_path / "no" / "x")


def test_vary__every_fault_names_its_variant(demo_mission):
    with pytest.raises(sixdof.MissionError) as caught:
        vary(demo_mission, {"good": {}, "a": {"rail.lenght": 3.0}, "b": {"rail.length": "-1 m"}})
    lines = str(caught.value).splitlines()
    assert len(lines) == 2 and 'variant "a"' in lines[0] and 'variant "b"' in lines[1]


# ---------------------------------------------------------------- motors


CURVE = "time (s), thrust (N)\n0, 0\n0.02, 400\n1.0, 380\n1.2, 0\n"
FACTS = "# propellant_mass = 220 g\n# case_mass = 180 g\n# length = 200 mm\n# diameter = 38 mm\n# an invented motor\n"


def test_motor_variants__from_the_mission_and_from_comments(demo_mission, tmp_path):
    (tmp_path / "other.csv").write_text(FACTS + CURVE)
    (tmp_path / "playa-i.csv").write_text("# case_mass = 999 g\n" + CURVE)
    found = motor_variants(demo_mission, tmp_path)
    assert list(found) == ["playa-h", "other", "playa-i"] and found["playa-h"] is demo_mission
    mounted = {name: next(part.motor for part in m.stage[-1].part if part.kind == "mount") for name, m in found.items()}
    assert mounted == {name: name for name in found}
    assert found["other"].motor["other"].propellant_mass == 0.22 and found["other"].motor["other"].thrust_curve.thrust[1] == 400.0
    assert found["playa-i"].motor["playa-i"].case_mass == 0.999
    assert found["playa-i"].motor["playa-i"].length == demo_mission.motor["playa-i"].length
    assert list(motor_variants(demo_mission, [tmp_path / "other.csv"], nominal=False)) == ["other"]


def test_motor_variants__the_shipped_boosters(stack_path, stack_mission):
    found = motor_variants(stack_mission, (stack_path.parent / "motors").glob("mesa-*.csv"))
    assert sorted(found) == ["mesa-i", "mesa-j", "mesa-j-slow"]
    assert found["mesa-i"] == stack_mission  # the file's own motor, put there again, changes nothing
    assert "mesa-j" in str(motor_variants(stack_mission, (stack_path.parent / "motors").glob("mesa-*.csv"), stage="drayhorse")["mesa-j"].stage[1])


def test_motor_variants__one_sentence_for_each_file(demo_mission, tmp_path):
    (tmp_path / "bare.csv").write_text(CURVE)
    (tmp_path / "big.csv").write_text(FACTS.replace("38 mm", "54 mm") + CURVE)
    (tmp_path / "no-curve.csv").write_text(CURVE.replace("380", "much"))
    (tmp_path / "typo.csv").write_text("# propelant_mass = 3 g\n" + CURVE)
    with pytest.raises(sixdof.MissionError) as caught:
        motor_variants(demo_mission, tmp_path)
    lines = str(caught.value).splitlines()
    assert len(lines) == 4
    for line, (name, said) in zip(
        lines,
        {"bare": "says nothing of propellant_mass", "big": "does not go into", "no-curve": "is not a number", "typo": 'did you mean "propellant_mass"'}.items(),
    ):
        assert name in line and said in line


def test_motor_variants__a_bad_header_is_answered_with_a_right_one(demo_mission, tmp_path):
    (tmp_path / "odd.csv").write_text(FACTS + CURVE.replace("thrust (N)", "push (N)"))
    with pytest.raises(sixdof.MissionError, match=r'there is no column thrust.*begins with a header such as "time \(s\), thrust \(N\)"'):
        motor_variants(demo_mission, tmp_path)


def test_motor_variants__other_words_in_comments_are_free_columns(demo_mission, tmp_path):
    (tmp_path / "other.csv").write_text("# price = 61\n# in_stock = yes\n" + FACTS + CURVE)
    assert comments_of(tmp_path / "other.csv")[1] == {"price": "61", "in_stock": "yes"}
    assert list(motor_variants(demo_mission, tmp_path)) == ["playa-h", "other"]


def test_motor__is_replaced_by_hand_as_the_help_says(stack_path, stack_mission):
    """The two steps that motor_variants' help names, with the table of a shipped motor."""
    table = {"propellant_mass": "356 g", "case_mass": "335 g", "length": "236 mm", "diameter": "54 mm", "thrust_curve": {"time": [0, 1.2], "thrust": [600, 0]}}
    changed = stack_mission.change({"motor.new": table, "stage.drayhorse.part.mount.motor": "new"})
    assert next(part.motor for part in changed.stage[1].part if part.kind == "mount") == "new"


@pytest.mark.parametrize(
    ("folder", "options", "said"),
    [
        ("nowhere", {}, "there is no folder"),
        ("", {}, "holds no CSV file"),
        ([], {}, "no files of motors"),
        (["a.csv"], {"stage": "thistldown"}, 'did you mean "thistledown"'),
        (["a.csv"], {"stage": 3}, "there is no stage 3"),
    ],
)
def test_motor_variants__refuses(demo_mission, tmp_path, folder, options, said):
    with pytest.raises(ValueError, match=said):
        motor_variants(demo_mission, tmp_path / folder if isinstance(folder, str) else folder, **options)


# ---------------------------------------------------------------- pairs


def test_paired__by_hand(demo_mission):
    a, b = np.array([10.0, 20.0, 30.0, 40.0, 50.0]), np.array([11.0, 23.0, 30.0, np.nan, 54.0])
    ds = paired(by_hand(demo_mission, a=a, b=b), "apogee_height", confidence=0.8)
    difference = np.array([1.0, 3.0, 0.0, 4.0])
    assert ds["variant"].values.tolist() == ["b"] and (ds["pairs"].item(), ds["dropped"].item()) == (4, 1)
    assert (ds["mean"].item(), ds["median"].item(), ds["larger"].item()) == (2.0, 2.0, 0.75)
    assert (ds["mean_low"].item(), ds["mean_high"].item()) == mean_interval(difference, 0.8)[1:]
    assert (ds["median_low"].item(), ds["median_high"].item()) == quantile_interval(difference, 0.5, 0.8)[1:]
    assert ds["mean"].attrs["units"] == "m"
    # the t interval of differences is that of scipy's paired test, and the other one that of its Welch test (scipy 1.17)
    reference = stats.ttest_rel([11.0, 23.0, 30.0, 54.0], [10.0, 20.0, 30.0, 50.0]).confidence_interval(0.8)
    assert (ds["mean_low"].item(), ds["mean_high"].item()) == pytest.approx(reference, rel=ROUNDING)
    welch = stats.ttest_ind([11.0, 23.0, 30.0, 54.0], [10.0, 20.0, 30.0, 50.0], equal_var=False).confidence_interval(0.8)
    assert ds["narrowing"].item() == pytest.approx((welch.high - welch.low) / (reference.high - reference.low), rel=ROUNDING)


def test_paired__another_baseline_turns_the_sign(demo_mission):
    ds = by_hand(demo_mission, a=[1.0, 2.0, 4.0], b=[2.0, 4.0, 7.0], c=[0.0, 0.0, 0.0])
    assert paired(ds, "apogee_height")["mean"].values.tolist() == [2.0, -7.0 / 3.0]
    back = paired(ds, "apogee_height", baseline="b")
    assert back["variant"].values.tolist() == ["a", "c"] and back["mean"].sel(variant="a").item() == -2.0


def test_paired__equal_variants_have_no_difference(demo_mission):
    ds = paired(by_hand(demo_mission, a=[1.0, 2.0, 4.0], b=[1.0, 2.0, 4.0]), "apogee_height")
    assert ds["mean"].item() == 0.0 == ds["mean_high"].item() and math.isnan(ds["narrowing"].item()) and ds["larger"].item() == 0.0


def test_welch_half_width__scipy():
    rng = np.random.default_rng(1)
    a, b = rng.normal(0.0, 1.0, 40), rng.normal(0.0, 5.0, 40)
    found = stats.ttest_ind(a, b, equal_var=False).confidence_interval(0.9)  # scipy 1.17
    assert welch_half_width(a, b, 0.9) == pytest.approx(0.5 * (found.high - found.low), rel=ROUNDING)


def test_paired__same_draws_narrow_the_interval(flown):
    # thrust and mass of a flight move both variants' speeds the same way: their covariance is what pairs take out
    assert paired(flown, "rail_departure_speed")["narrowing"].item() > 1.0


@pytest.mark.parametrize(
    ("outcome", "options", "said"),
    [
        ("apogee_heigth", {}, "did you mean"),
        ("status", {}, "is a flag"),
        ("apogee_height", {"baseline": "shrt"}, 'did you mean "short"'),
        ("apogee_height", {"confidence": 2.0}, "confidence"),
        ("tilt at burnut", {}, 'did you mean "burnout"'),
    ],
)
def test_paired__refuses(flown, outcome, options, said):
    with pytest.raises(ValueError, match=said):
        paired(flown, outcome, **options)


def test_paired__needs_a_comparison_of_two(flown):
    with pytest.raises(ValueError, match="takes a comparison"):
        paired(variant_of(flown, "short"), "apogee_height")
    with pytest.raises(ValueError, match="this comparison has one"):
        paired(flown.isel(variant=[0]), "apogee_height")


# ---------------------------------------------------------------- verdicts


def test_judge_criteria__is_judge(demo_mission):
    apogee = np.linspace(1.0, 100.0, 100)
    ds = by_hand(demo_mission, a=apogee, b=np.where(apogee > 99.5, np.nan, apogee))
    judged = judge_criteria(ds, ["apogee_height < 95.5 m in 90 % of flights", "apogee_height < 97.5 m in 99 % of flights"], 0.95)
    for name, missing in (("a", 0), ("b", 1)):
        for k, (limit, share) in enumerate(((95.5, 0.9), (97.5, 0.99))):
            wanted, one = judge(apogee < limit, share, 0.95), judged.sel(variant=name).isel(criterion=k)
            assert VERDICTS[int(one["verdict"])] == wanted.verdict
            assert (one["observed"], one["low"], one["high"]) == (wanted.share, wanted.low, wanted.high)
            assert (one["flights"], one["failures"], one["missing"]) == (100, wanted.failures, missing)
            assert (one["more_flights"], one["more_flights_at_this_rate"]) == (wanted.more_flights, wanted.more_flights_at_this_rate)
    assert judged["required"].values.tolist() == [0.9, 0.99]


def test_judge_criteria__as_many_more_flights_decide(demo_mission):
    few = by_hand(demo_mission, a=np.ones(30))
    judged = judge_criteria(few, "apogee_height < 2 m in 95 % of flights")
    assert VERDICTS[judged["verdict"].item()] == UNDECIDED
    assert judged["more_flights"].item() == flights_needed(0.95, 0.9) - 30 == 15
    enough = by_hand(demo_mission, a=np.ones(45))
    assert VERDICTS[judge_criteria(enough, "apogee_height < 2 m in 95 % of flights")["verdict"].item()] == PASS


def test_judge_criteria__takes_those_of_the_comparison_and_functions(flown):
    assert judge_criteria(flown)["criterion"].values.tolist() == CRITERIA
    own = own_criterion("even flights", lambda ds: ds.flight % 2 == 0, 0.5)
    judged = judge_criteria(flown, [*CRITERIA, own])
    assert judged["observed"].sel(criterion="even flights in 50 % of flights").values.tolist() == [0.5, 0.5]


def test_judge_criteria__refuses(flown):
    with pytest.raises(ValueError, match="needs criteria"):
        judge_criteria(flown.drop_attrs(deep=False))
    with pytest.raises(ValueError, match='no event "burnut"'):
        judge_criteria(flown, "tilt at burnut < 3 deg")
    with pytest.raises(ValueError, match="takes a comparison"):
        judge_criteria(xr.Dataset())


# ---------------------------------------------------------------- the page


def test_comparison_text__table_verdicts_and_what_to_do(flown):
    text = comparison_text(flown)
    lines = text.splitlines()
    assert lines[1].startswith("2 variants, 12 flights each on the same draws, seed 4; sixdof")
    assert lines[-1] == LAST_LINE and max(map(len, lines)) <= 110
    row = next(line for line in lines if line.startswith("  short "))
    low, middle, high = np.quantile(flown["apogee_height"].sel(variant="short"), [0.05, 0.5, 0.95])
    assert f"{middle:.0f}  {low:.0f} to {high:.0f}" in row
    assert "  1  apogee_height < 650 m in 95 % of flights" in lines


def test_comparison_text__sentences(demo_mission):
    ds = by_hand(demo_mission, good=np.ones(50), bad=np.full(50, 3.0), gone=np.r_[np.ones(46), [3.0] * 2, [np.nan] * 2])
    text = criteria_text(judge_criteria(ds, ["apogee_height < 2 m in 95 % of flights", "apogee_height < 9 m in 95 % of flights"]))
    assert "good passes both." in text
    assert "bad fails 1 (met in 0 % of flights); passes the other." in text
    more = judge(np.r_[np.ones(46), np.zeros(4)], 0.95)
    assert f"add {more.more_flights} flights if none of them fails" in " ".join(text.split())
    assert "A flight without a value counts as not meeting a criterion: 2 per variant at most" in " ".join(text.split())


def test_share_text__never_rounds_to_all_or_none():
    def one(failures, flights):
        return share_text(xr.Dataset({"flights": flights, "failures": failures, "observed": (flights - failures) / flights}))

    assert (one(0, 9), one(9, 9), one(1, 10000), one(9999, 10000), one(1, 3)) == ("100 %", "0 %", "99.99 %", "0.01 %", "66.7 %")


def test_compare__without_a_number_of_flights_says_so():
    mission = sixdof.load_mission("configs/sampler.toml")
    with pytest.raises(ValueError, match=r"say how many flights of each variant; sixdof.stats.compare_nominal"):
        compare({"as it is": mission})
