"""The table of draws: distributions, independence, reproducibility, and its packing for the kernels."""

from __future__ import annotations

import math

import numpy as np
import pytest
from draw_missions import EVERYTHING, FAILURES, GUSTY, mission, staged
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from staged import stack

from sixdof.core import types as ct
from sixdof.core.columns import CANOPY_COLUMNS, CanopyColumn, StageColumn
from sixdof.core.computer.columns import RuleColumn
from sixdof.core.draw import Draw
from sixdof.core.leg.work import make_work
from sixdof.draws.flight_draw import COMMON, OF_AIR, OF_CANOPY, OF_JOINT, OF_STAGE, OTHER_BODY, stage_draw
from sixdof.draws.packed import COLUMNS, FIELDS, draw_table, drawn_failures, kernel_draw, nominal_draw, nominal_value, one_draw, pack_draws, things
from sixdof.draws.sampling import stream_of, uniforms
from sixdof.draws.spreads import quantile
from sixdof.flight.plan import Plan
from sixdof.mission.tables import AirTurbulence, Spread
from sixdof.mission.tables.dispersible import DISPERSIBLE

SEED = 20_241
SAMPLE = 20_000
CHANCE = {"seed_high", "seed_low", "flight"}  # of a Draw: which random numbers the kernels use
UNLIKELY = 1e-4  # p-value of a fixed-seed test: right draws gave more when these tests were written
ROUNDING = 1e-12


DISTRIBUTIONS = [
    (Spread(sd=0.2), stats.norm(3.0, 0.2)),
    (Spread(mean=-1.0, sd=0.2), stats.norm(-1.0, 0.2)),
    (Spread(sd=2.0, low=1.0, high=4.0), stats.truncnorm(-1.0, 0.5, 3.0, 2.0)),
    (Spread(sd=2.0, low=6.0), stats.truncnorm(1.5, np.inf, 3.0, 2.0)),
    (Spread(kind="uniform", low=-2.0, high=5.0), stats.uniform(-2.0, 7.0)),
    (Spread(kind="triangular", low=-2.0, mode=1.0, high=5.0), stats.triang(3.0 / 7.0, -2.0, 7.0)),
    (Spread(kind="triangular", low=0.0, mode=0.0, high=5.0), stats.triang(0.0, 0.0, 5.0)),
    (Spread(kind="triangular", low=0.0, mode=5.0, high=5.0), stats.triang(1.0, 0.0, 5.0)),
]


@pytest.mark.parametrize("spread, expected", DISTRIBUTIONS)
def test_quantile__is_that_of_the_distribution(spread, expected):
    u = np.array([2.0**-53, 1e-9, 0.01, 0.3, 3.0 / 7.0, 0.5, 0.9, 1.0 - 1e-9, 1.0 - 2.0**-53])
    # scipy's own triangular inverse loses digits at the ends: both squared differences and roots
    np.testing.assert_allclose(quantile(spread, u, 3.0), expected.ppf(u), rtol=1e-9, atol=1e-7)


@pytest.mark.parametrize("spread, expected", DISTRIBUTIONS)
def test_draws__follow_the_distribution(spread, expected):
    draws = quantile(spread, uniforms(SEED, 0, SAMPLE, [("aero.cp", 0)])[:, 0], 3.0)
    assert stats.kstest(draws, expected.cdf).pvalue > UNLIKELY


def test_quantile__fixed_is_the_mean():
    np.testing.assert_array_equal(quantile(Spread(kind="fixed", mean=2.0), [0.1, 0.9], 3.0), [2.0, 2.0])


def test_quantile__normal_without_width_is_its_mean():
    np.testing.assert_array_equal(quantile(Spread(sd=0.0), [0.1, 0.9], 3.0), [3.0, 3.0])


def test_quantile__normal_is_cut_at_the_least_meaningful_value():
    u = np.linspace(0.001, 0.999, 99)
    cut = quantile(Spread(sd=2.0), u, 1.0, 0.0)
    assert cut.min() >= 0.0
    np.testing.assert_allclose(cut, quantile(Spread(sd=2.0, low=0.0), u, 1.0), rtol=ROUNDING)


def test_quantile__a_cut_nobody_reaches_changes_no_bit():
    u = np.linspace(1e-16, 1.0 - 1e-16, 101)[1:-1]
    np.testing.assert_array_equal(quantile(Spread(sd=0.03), u, 1.0, 0.0), quantile(Spread(sd=0.03), u, 1.0))


@given(st.sampled_from([row[0] for row in DISTRIBUTIONS]), st.floats(1e-15, 1 - 1e-15), st.floats(1e-15, 1 - 1e-15))
def test_quantile__rises_with_its_share(spread, one, other):
    low, high = quantile(spread, np.sort([one, other]), 3.0)
    assert low <= high


def test_draw_table__a_cut_that_leaves_nothing_is_one_sentence():
    spread = Spread.model_construct(kind="normal", sd=1.0, high=-2.0)
    with pytest.raises(ValueError, match="no draw lies above 0 and below high = -2") as caught:
        draw_table(mission({"wind.speed": spread}), SEED, 0, 4)
    assert str(caught.value).startswith('disperse."wind.speed": ')


def test_draw_table__holds_what_is_dispersed_with_units():
    table = draw_table(mission({"wind.speed": Spread(sd=1.0), "servo.centring": Spread(sd=0.005)}), SEED, 10, 5)
    assert set(table.data_vars) == {"wind.speed", "servo.centring"}
    assert table["wind.speed"].dims == ("flight",) and table["servo.centring"].dims == ("flight", "fin")
    assert list(table.flight.values) == [10, 11, 12, 13, 14] and list(table.fin.values) == [1, 2, 3, 4]
    assert table["wind.speed"].attrs["units"] == "m/s" and table["wind.speed"].attrs["long_name"]


def test_draw_table__unknown_name_is_an_error():
    with pytest.raises(ValueError, match="cannot be dispersed; use one of wind.speed"):
        draw_table(mission({"wind.sped": Spread(sd=1.0)}), SEED, 0, 1)


ONE_BY_ONE = {
    "stage": ["upper", "middle", "lower"],
    "joint": ["middle", "lower"],
    "rule": ["rule 1", "second"],
    "harness": ["main", "lower main"],
    "canopy": ["main", "middle main", "lower main"],
    "fin": [1, 2, 3, 4],
}


@pytest.mark.parametrize("name", DISPERSIBLE)
def test_draw_table__what_is_drawn_one_by_one_has_a_dim_of_its_own(name):
    item = DISPERSIBLE[name]
    table = draw_table(staged({name: EVERYTHING[name]}), SEED, 0, 5)
    assert table[name].dims == (("flight", item.each) if item.each else ("flight",))
    if item.each:
        assert list(table[item.each].values) == ONE_BY_ONE[item.each] and table[item.each].attrs["long_name"]
        assert len(np.unique(table[name].values)) == table[name].size


@pytest.mark.parametrize("name", DISPERSIBLE)
def test_draw_table__one_thing_alone_needs_no_dim(name):
    """One stage, one joint, one canopy ...: a number a flight, but fins are always numbered. None at all: an empty dim."""
    each, table = DISPERSIBLE[name].each, draw_table(mission({name: EVERYTHING[name]}), SEED, 0, 5)
    some = {"joint": 0, "rule": 0, "harness": 0, "fin": 4}  # of each in that mission; there is one of everything else
    assert table[name].dims == (("flight", each) if each in some else ("flight",))
    assert table[name].size == 5 * some.get(each, 1)
    pair = staged({name: EVERYTHING[name]}, stage=staged().stage[:2], rule=staged().rule[:1], harness=staged().harness[:1])
    if each in ("joint", "rule", "harness"):
        assert draw_table(pair, SEED, 0, 5)[name].dims == ("flight",)


@settings(deadline=None)  # the first draw loads scipy
@given(st.integers(0, 40), st.integers(1, 9))
def test_draw_table__does_not_depend_on_the_block(first, count):
    m = staged(EVERYTHING, failure=FAILURES)
    whole = draw_table(m, SEED, 0, 50)
    assert draw_table(m, SEED, first, count).identical(whole.isel(flight=slice(first, first + count)))


@pytest.mark.parametrize("name", DISPERSIBLE)
@pytest.mark.parametrize("made", [mission, staged])
def test_draw_table__a_quantity_alone_has_the_draws_it_has_among_all(made, name):
    alone = draw_table(made({name: EVERYTHING[name]}), SEED, 0, 20)
    assert alone[name].identical(draw_table(made(EVERYTHING, failure=FAILURES), SEED, 0, 20)[name])


@pytest.mark.parametrize("name", DISPERSIBLE)
def test_draw_table__stream_of_the_name_index_of_the_thing(name):
    """How draws were made before there were stages: index 0 of the name's stream, of fins index k. So they stay."""
    item = DISPERSIBLE[name]
    for m in (mission(EVERYTHING), staged(EVERYTHING)):
        count = len(things(m, item.each))
        u = uniforms(SEED, 0, 20, [(name, k) for k in range(count)])
        wanted = quantile(EVERYTHING[name], u, nominal_value(m, item), item.least)
        np.testing.assert_array_equal(draw_table(m, SEED, 0, 20)[name].values.reshape(20, count), wanted)


@pytest.mark.parametrize("name", [name for name, item in DISPERSIBLE.items() if item.each in ("stage", "canopy")])
def test_draw_table__another_stage_or_canopy_changes_no_draw_of_the_first(name):
    one, more = (draw_table(made(EVERYTHING), SEED, 0, 20)[name].values for made in (mission, staged))
    np.testing.assert_array_equal(more[:, 0], one)


def test_draw_table__changes_with_the_seed():
    one, other = (draw_table(mission({"aero.cp": Spread(sd=1.0)}), seed, 0, 50)["aero.cp"] for seed in (1, 2))
    assert not np.any(one.values == other.values)


def test_streams__are_different_and_apart_from_the_kernels():
    streams = [stream_of(name) for name in (*DISPERSIBLE, *(f"failure {f.name}" for f in FAILURES))]
    assert len(set(streams)) == len(streams)
    assert all(2**31 <= stream < 2**32 for stream in streams)


def test_streams__are_fixed_for_good():
    """CRC-32 of the name with the top bit set; the published check value of CRC-32 for "123456789" is cbf43926."""
    assert stream_of("123456789") == 0xCBF43926


def test_draws__of_different_quantities_and_things_are_uncorrelated():
    table = draw_table(staged(EVERYTHING), SEED, 0, SAMPLE)
    columns = np.concatenate([table[name].values.reshape(SAMPLE, -1) for name in DISPERSIBLE], axis=1)
    assert columns.shape[1] == 15 + 19 * 3 + 4 * 2 + 3 * 3 + 4 * 2 + 2 + 4  # once, by stage, joint, canopy, harness, rule, fin
    correlation = np.corrcoef(columns.T)[np.triu_indices(columns.shape[1], 1)]
    assert np.abs(correlation).max() < 5.0 / math.sqrt(SAMPLE)  # five standard deviations, some 3,500 pairs


@pytest.mark.parametrize("seed, first, count", [(-1, 0, 1), (2**64, 0, 1), (0, -1, 1), (0, 2**32 - 1, 2)])
def test_uniforms__out_of_range_is_an_error(seed, first, count):
    with pytest.raises(ValueError, match="must (be a whole number|lie within)"):
        uniforms(seed, first, count, [("aero.cp", 0)])


def test_uniforms__largest_seed_and_flight():
    assert 0.0 < uniforms(2**64 - 1, 2**32 - 1, 1, [("aero.cp", 0)])[0, 0] < 1.0


# ---------------------------------------------------------------- failures

KINDS = ("no_ignition", "no_separation", "late_apogee", "no_deployment", "harness_breaks", "canopy_lost")


def test_failures__happen_in_their_share_of_the_flights():
    share = drawn_failures(mission(failure=FAILURES), SEED, 0, SAMPLE).mean(axis=0)
    for found, failure in zip(share, FAILURES):
        spread = math.sqrt(failure.probability * (1.0 - failure.probability) / SAMPLE)
        assert abs(found - failure.probability) <= 4.0 * spread, failure.name


def test_failures__have_draws_of_their_own():
    """Two failures of the same probability do not go together, nor with any quantity."""
    m = mission({"aero.drag": Spread(sd=0.1)}, failure=FAILURES[:3])
    table = draw_table(m, SEED, 0, SAMPLE)
    columns = [*table["failure_drawn"].values.T, table["aero.drag"].values]
    correlation = np.corrcoef(columns)[np.triu_indices(4, 1)]
    assert np.abs(correlation).max() < 5.0 / math.sqrt(SAMPLE)


def test_failures__a_draw_is_that_of_its_name_alone():
    """Other failures, their order and what is dispersed change nothing; a larger probability only adds flights."""
    all_of_them = drawn_failures(mission(failure=FAILURES), SEED, 0, 500)
    for k, failure in enumerate(FAILURES):
        np.testing.assert_array_equal(drawn_failures(mission(failure=(failure,)), SEED, 0, 500)[:, 0], all_of_them[:, k])
    turned = drawn_failures(mission(EVERYTHING, failure=FAILURES[::-1]), SEED, 0, 500)
    np.testing.assert_array_equal(turned[:, ::-1], all_of_them)
    more = drawn_failures(mission(failure=(FAILURES[0].model_copy(update={"probability": 0.5}),)), SEED, 0, 500)[:, 0]
    assert (more >= all_of_them[:, 0]).all() and more.sum() > all_of_them[:, 0].sum()


def test_draw_table__tells_the_failures_that_were_drawn():
    table = draw_table(mission(EVERYTHING, failure=FAILURES), SEED, 7, 9)
    assert table["failure_drawn"].dims == ("flight", "failure") and table["failure_drawn"].dtype == np.int8
    assert list(table["failure"].values) == [
        "no_ignition: upper",
        "no_deployment: main",
        "no_deployment: lower main",
        "late_apogee: upper",
        "no_separation: lower",
    ]
    np.testing.assert_array_equal(table["failure_drawn"].values, drawn_failures(mission(failure=FAILURES), SEED, 7, 9))
    assert "failure_drawn" not in draw_table(mission(EVERYTHING), SEED, 7, 9)


def test_pack_draws__failures():
    m = mission(failure=FAILURES)
    table = draw_table(m, SEED, 0, 50)
    np.testing.assert_array_equal(pack_draws(m, table).failure, table["failure_drawn"].values)
    assert list(nominal_draw(m).failure) == [0.0, 0.0, 0.0, 0.0, 1.0]  # the certain one happens in the nominal flight too
    left_out = pack_draws(m, table.drop_vars("failure_drawn")).failure
    np.testing.assert_array_equal(left_out, np.tile([0.0, 0.0, 0.0, 0.0, 1.0], (50, 1)))


# ---------------------------------------------------------------- packing


def test_fields__every_dispersible_has_its_place():
    apart = {"wind.speed", "wind.blows_from", "wind.factor", "wind.turn"}
    assert set(FIELDS) | apart == set(DISPERSIBLE)
    assert len(set(FIELDS.values())) == len(FIELDS)
    for group, columns in COLUMNS.items():
        fields = {field for owner, field in FIELDS.values() if owner == group}
        assert fields | ({"wind_scale", "wind_cos", "wind_sin"} | CHANCE if group == "common" else set()) == set(columns)
        if group not in ("common", "air"):
            assert {DISPERSIBLE[name].each for name, (owner, _) in FIELDS.items() if owner == group} == {group}


def test_columns__of_the_kernels_draw_are_shared_or_a_stages():
    assert Draw._fields[-1] == "centring"
    groups = set(COMMON), set(OF_STAGE) - {"ignition_delay", "hanging_drag"}, set(OF_AIR)
    assert sum(map(len, groups)) == len(Draw._fields[:-1]) and set.union(*groups) == set(Draw._fields[:-1])


@pytest.mark.parametrize("seed", [0, SEED, 2**64 - 1])
def test_pack_draws__tells_kernels_seed_and_flight(seed):
    """Halves of the seed and numbers of the flights are whole and below 2^32: exact in a float64."""
    packed = pack_draws(mission(), draw_table(mission(), seed, 2**32 - 3, 2))
    rows = [kernel_draw(mission(), one_draw(packed, i)) for i in range(2)]
    assert [(int(r.seed_high) << 32) + int(r.seed_low) for r in rows] == [seed, seed]
    assert [int(r.flight) for r in rows] == [2**32 - 3, 2**32 - 2]


def test_nominal_draw__factors_are_one_and_offsets_zero():
    for m in (mission(), staged()):
        draw = nominal_draw(m)
        shapes = dict.fromkeys(("stage", "joint", "canopy"), len(m.stage)) | {"harness": len(m.harness), "rule": len(m.rule)}
        assert {name: len(getattr(draw, name)) for name in shapes} == shapes
        found = dict(zip(COMMON, draw.common))
        assert (found["elevation"], found["azimuth"]) == (1.5, 0.7)
        assert (found["wind_scale"], found["wind_cos"], found["wind_sin"]) == (4.0, 1.0, 0.0)
        np.testing.assert_array_equal(draw.centring, np.zeros(4))
        np.testing.assert_array_equal(draw.air, [0.0, 0.0])  # the first forecast; no turbulence, no wind that it follows from
        for name, (group, field) in FIELDS.items():
            if not name.startswith("rail.") and group != "air":
                assert np.all(column_of(draw, group, field) == DISPERSIBLE[name].neutral), name


def column_of(draw, group, field):
    """Return what a FlightDraw holds of one field: a number, or one a stage, joint, canopy ..."""
    array = getattr(draw, group)
    found = array if field is None else array[..., COLUMNS[group].index(field)]
    return found[1:] if group == "joint" else found  # the front stage has none


@pytest.mark.parametrize("made", [mission, staged])
def test_pack_draws__puts_every_draw_in_its_column(made):
    m = made(EVERYTHING)
    table = draw_table(m, SEED, 3, 6)
    packed = pack_draws(m, table)
    assert all(len(array) == 6 and array.dtype == np.float64 for array in packed)
    for i in range(6):
        draw = one_draw(packed, i)
        for name, (group, field) in FIELDS.items():
            own = {"rail.elevation": 1.5, "rail.azimuth": 0.7}.get(name, 0.0)
            np.testing.assert_array_equal(column_of(draw, group, field), own + table[name].values[i], err_msg=name)
        drawn = {name: table[f"wind.{name}"].values[i] for name in ("speed", "blows_from", "factor", "turn")}
        turn = drawn["blows_from"] - m.air.wind.blows_from + drawn["turn"]
        wind = drawn["factor"] * drawn["speed"], math.cos(turn), math.sin(turn)
        found = dict(zip(COMMON, draw.common))
        assert (found["wind_scale"], found["wind_cos"], found["wind_sin"]) == pytest.approx(wind, rel=ROUNDING)


def test_draws__members_are_whole_numbers_one_as_often_as_another():
    m = mission({"wind.member": Spread(kind="uniform", low=1.0, high=4.0)})
    drawn = draw_table(m, SEED, 0, SAMPLE)["wind.member"].values
    numbers, counts = np.unique(drawn, return_counts=True)
    assert list(numbers) == [1.0, 2.0, 3.0, 4.0]  # both ends, and nothing between whole numbers
    assert stats.chisquare(counts).pvalue > UNLIKELY
    u = uniforms(SEED, 0, SAMPLE, [("wind.member", 0)])[:, 0]
    np.testing.assert_array_equal(drawn, 1.0 + np.digitize(u, [0.25, 0.5, 0.75]))  # quarters of (0, 1), of the name's stream
    fixed = draw_table(mission({"wind.member": Spread(kind="fixed", mean=3.0)}), SEED, 0, 5)["wind.member"].values
    np.testing.assert_array_equal(fixed, np.full(5, 3.0))


def test_draws__the_last_member_is_the_highest_number_however_large_the_uniform(monkeypatch):
    """60 + floor(3 (1 - 2^-53)): the sum before the floor would round up to 63."""
    monkeypatch.setattr("sixdof.draws.sampling.uniforms", lambda *_: np.array([[2.0**-53], [1.0 - 2.0**-53]]))
    m = mission({"wind.member": Spread(kind="uniform", low=60.0, high=62.0)})
    assert list(draw_table(m, SEED, 0, 2)["wind.member"].values) == [60.0, 62.0]


def test_pack_draws__values_of_the_air_replace_the_missions():
    spreads = {"wind.member": Spread(kind="uniform", low=0.0, high=4.0), "turbulence.wind_at_20_ft": Spread(sd=1.0)}
    m = mission(spreads, air=GUSTY)
    np.testing.assert_array_equal(nominal_draw(m).air, [0.0, 7.0])
    table = draw_table(m, SEED, 0, 40)
    packed = pack_draws(m, table)
    np.testing.assert_array_equal(packed.air[:, OF_AIR.index("member")], table["wind.member"].values)
    np.testing.assert_array_equal(packed.air[:, OF_AIR.index("wind_at_20_ft")], table["turbulence.wind_at_20_ft"].values)
    assert table["turbulence.wind_at_20_ft"].values.mean() == pytest.approx(7.0, abs=0.8)  # five standard errors of the mean
    assert nominal_draw(mission(air=GUSTY.model_copy(update={"turbulence": AirTurbulence()}))).air[1] == -1.0  # the mean wind's own


@pytest.mark.parametrize("made", [lambda: mission(fins=0), mission, staged])
def test_pack_draws__without_dispersion_is_nominal(made):
    m = made()
    packed, nominal = pack_draws(m, draw_table(m, SEED, 0, 3)), nominal_draw(m)
    same = [k for k, field in enumerate(COMMON) if field not in CHANCE]
    for i in range(3):
        found = one_draw(packed, i)
        np.testing.assert_array_equal(found.common[same], nominal.common[same])
        for one, other in zip(found[1:], nominal[1:]):
            np.testing.assert_array_equal(one, other)


def test_kernel_draw__is_that_of_the_stage_whose_motor_burns():
    """What all bodies share, and the row of the last stage; another stage alone has its own row and other random numbers."""
    m = staged(EVERYTHING)
    draw = one_draw(pack_draws(m, draw_table(m, SEED, 3, 1)), 0)
    for stage, found in ((2, kernel_draw(m, draw)), (1, stage_draw(draw, 1, 2, body=1))):
        wanted = dict(zip(COMMON, draw.common)) | dict(zip(OF_STAGE, draw.stage[stage])) | dict(zip(OF_AIR, draw.air))
        if stage == 1:
            wanted["flight"] = 3.0 + OTHER_BODY
        assert list(found[:-1]) == [wanted[name] for name in Draw._fields[:-1]]
        np.testing.assert_array_equal(found.centring, draw.centring[: 4 if stage == 2 else 2])
        assert found.centring.flags.c_contiguous and all(type(value) is float for value in found[:-1])
    assert kernel_draw(mission()) == kernel_draw(mission(), nominal_draw(mission()))[:-1] + (pytest.approx(np.zeros(4)),)


# ---------------------------------------------------------------- what a draw becomes in flight


@pytest.fixture(scope="module")
def flown_stack(demo_mission):
    """The demo on a booster: three canopies, one harness, its rules, recovery with backup, and failures of every kind."""
    names = {
        "no_ignition": "thistledown",
        "no_separation": "booster",
        "late_apogee": "thistledown",
        "no_deployment": "booster main",
        "harness_breaks": "drogue",
        "canopy_lost": "main",
    }
    failures = [{"kind": kind, "of": names[kind], "probability": 0.1} for kind in KINDS]
    failures[KINDS.index("late_apogee")]["late_by"] = 1.7
    harnesses = [{"canopy": "drogue", "separation_station": 0.6, "length": 4.0, "strength": 800.0}]
    return stack(demo_mission, failures=failures, harnesses=harnesses, joint={"delay": 0.25, "impulse": 3.0}, changes={"disperse": {}})


def prepared(plan, draw):
    work = make_work(plan.model(0, plan.count - 1))
    plan.prepare(work, draw)
    return work


def test_prepare__nominal_is_the_mission(flown_stack):
    plan = Plan(flown_stack)
    work, model = prepared(plan, nominal_draw(flown_stack)), plan.model(0, 1)
    own = np.delete(np.arange(CANOPY_COLUMNS), [CanopyColumn.HARNESS_SHARE, CanopyColumn.HARNESS_STRENGTH, CanopyColumn.SNATCH])
    np.testing.assert_array_equal(work.canopy[:, own], model.canopy[:, own])
    np.testing.assert_array_equal(work.rule_delay, model.computer.rules[:, RuleColumn.DELAY])
    assert list(work.stage[:, StageColumn.SEPARATION_DELAY]) == [0.0, 0.25] and not work.stage[:, StageColumn.IGNITION_DELAY].any()
    assert not work.stage[:, [StageColumn.NO_IGNITION, StageColumn.NO_SEPARATION]].any()
    strengths = [name in [harness.canopy for harness in flown_stack.harness] for name in plan.canopies]
    assert [bool(np.isfinite(x)) for x in work.canopy[:, CanopyColumn.HARNESS_STRENGTH]] == strengths


def test_prepare__each_canopy_rule_joint_and_harness_has_its_own_draw(flown_stack):
    plan, draw = Plan(flown_stack), nominal_draw(flown_stack)
    model, rules = plan.model(0, 1), plan.model(0, 1).computer.rules
    draw.canopy[:, OF_CANOPY.index("drag")] = [0.8, 1.1, 1.3]
    draw.canopy[:, OF_CANOPY.index("fill_time")] = [0.5, 2.0, 3.0]
    draw.canopy[:, OF_CANOPY.index("delay")] = [0.1, 0.2, 0.3]
    draw.rule[:] = [0.01, 0.02]
    draw.joint[1, OF_JOINT.index("delay")] = 0.05
    draw.stage[:, OF_STAGE.index("ignition_delay")] = [0.4, -0.4]
    draw.harness[:] = 0.7, 1.3, 0.9, 1.2  # strength, stiffness, drag of the loose piece, impulse of the ejection
    nominal, work = prepared(plan, nominal_draw(flown_stack)), prepared(plan, draw)
    for column, factors in ((CanopyColumn.DRAG_AREA, [0.8, 1.1, 1.3]), (CanopyColumn.FILL_TIME, [0.5, 2.0, 3.0])):
        assert work.canopy[:, column] == pytest.approx(model.canopy[:, column] * factors, rel=ROUNDING)
    own = np.r_[0.01, 0.02, np.zeros(len(rules) - 2)]
    deploys = rules[:, RuleColumn.ACTION] == ct.ACTION_DEPLOY
    late = np.where(deploys, np.array([0.1, 0.2, 0.3])[rules[:, RuleColumn.TARGET].astype(int)], 0.0)
    assert deploys.sum() >= 4 and not deploys[:2].any()
    assert work.rule_delay == pytest.approx(rules[:, RuleColumn.DELAY] + own + late, rel=ROUNDING)
    assert list(work.stage[:, StageColumn.SEPARATION_DELAY]) == pytest.approx([0.0, 0.3])
    assert list(work.stage[:, StageColumn.IGNITION_DELAY]) == [0.4, 0.0]  # no motor lights before it is told to
    harness = plan.canopies.index("drogue")
    assert work.canopy[harness, CanopyColumn.HARNESS_STRENGTH] == pytest.approx(0.7 * 800.0)
    assert nominal.canopy[harness, CanopyColumn.HARNESS_STRENGTH] == 800.0


@pytest.mark.parametrize("kind", KINDS)
def test_prepare__each_failure_does_its_one_thing(flown_stack, kind):
    """What differs from the nominal flight's tables is what the failure is of; the next flight has none of it."""
    plan, draw = Plan(flown_stack), nominal_draw(flown_stack)
    clean = prepared(plan, draw)
    draw.failure[KINDS.index(kind)] = 1.0
    work = prepared(plan, draw)
    rules = plan.model(0, 1).computer.rules
    wanted = {name: getattr(clean, name).copy() for name in ("canopy", "stage", "rule_delay")}
    canopy = plan.canopies.index({"no_deployment": "booster main", "harness_breaks": "drogue"}.get(kind, "main"))
    if kind == "no_ignition":
        wanted["stage"][0, StageColumn.NO_IGNITION] = 1.0
    elif kind == "no_separation":
        wanted["stage"][1, StageColumn.NO_SEPARATION] = 1.0
    elif kind == "late_apogee":
        front = np.array([each.owner == 0 for each in plan.triggers]) & (rules[:, RuleColumn.TRIGGER] == ct.TRIGGER_APOGEE)
        assert front.any() and not front.all()
        wanted["rule_delay"][front] += 1.7
    else:
        column, value = {
            "no_deployment": (CanopyColumn.FAILS, 1.0),
            "harness_breaks": (CanopyColumn.HARNESS_STRENGTH, 0.0),
            "canopy_lost": (CanopyColumn.STRENGTH, 0.0),
        }[kind]
        wanted["canopy"][canopy, column] = value
    for name, values in wanted.items():
        np.testing.assert_array_equal(getattr(work, name), values, err_msg=name)
        assert np.array_equal(getattr(work, name), getattr(clean, name)) == (name != CHANGES[kind])
    plan.prepare(work, nominal_draw(flown_stack))
    for name in wanted:
        np.testing.assert_array_equal(getattr(work, name), getattr(clean, name), err_msg=name)


CHANGES = {
    "no_ignition": "stage",
    "no_separation": "stage",
    "late_apogee": "rule_delay",
    "no_deployment": "canopy",
    "harness_breaks": "canopy",
    "canopy_lost": "canopy",
}
