"""Latin hypercube, Sobol and random numbers, blocks of them, and correlated groups."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
import xarray as xr
from draw_missions import EVERYTHING, FAILURES, mission, staged
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats
from scipy.stats import qmc

from sixdof.draws.sampling import correlated, latin, shares, shuffle_keys, shuffled, sobol
from sixdof.draws.table import draw_table, make_draws
from sixdof.mission.tables import Correlation, Spread
from sixdof.mission.tables.dispersible import DISPERSIBLE

SEED = 20_241
UNLIKELY = 1e-4  # p-value of a fixed-seed test: right draws gave more when these tests were written
FIVE = [(name, 0) for name in ("aero.drag", "aero.cp", "motor.impulse", "vehicle.mass", "wind.speed")]
SEEDS = st.integers(0, 2**64 - 1)


# ---------------------------------------------------------------- Latin hypercube


@given(SEEDS, st.integers(1, 300))
@settings(max_examples=60, deadline=None)
def test_latin__one_number_in_every_stratum_of_every_column(seed, total):
    u = latin(seed, 0, total, FIVE, total)
    assert np.all((u > 0.0) & (u < 1.0))
    for column in u.T:
        np.testing.assert_array_equal(np.sort(np.floor(column * total)), np.arange(total))


@given(SEEDS, st.integers(1, 200), st.data())
@settings(max_examples=60, deadline=None)
def test_latin__a_block_is_that_of_the_whole(seed, total, data):
    first = data.draw(st.integers(0, total - 1))
    count = data.draw(st.integers(0, total - first))
    np.testing.assert_array_equal(latin(seed, first, count, FIVE, total), latin(seed, 0, total, FIVE, total)[first : first + count])


def test_latin__other_columns_change_nothing():
    np.testing.assert_array_equal(latin(SEED, 0, 50, FIVE[2:3], 50)[:, 0], latin(SEED, 0, 50, FIVE, 50)[:, 2])


def test_latin__needs_to_know_how_many():
    with pytest.raises(ValueError, match='"latin" needs total'):
        latin(SEED, 0, 5, FIVE, None)
    with pytest.raises(ValueError, match="flights 5 to 10 are not among the 10 of this Latin hypercube sample, 0 to 9"):
        latin(SEED, 5, 6, FIVE, 10)


def test_shuffled__every_order_comes_equally_often():
    """All 24 orders of four, of 24,000 keys: what a Latin hypercube needs of two columns is that no order is preferred."""
    orders = dict.fromkeys(itertools.permutations(range(4)), 0)
    for order in shuffled(np.arange(4), 4, shuffle_keys([[SEED, k] for k in range(24_000)], 4)).T:
        orders[tuple(order.tolist())] += 1
    assert stats.chisquare(list(orders.values())).pvalue > UNLIKELY


def test_shuffled__pairs_of_a_long_one_go_everywhere_together():
    """Where 0 and 1 of 1000 go, in 10 x 10 boxes: neighbours are sent apart as any two."""
    counts = np.zeros((10, 10))
    a, b = shuffled(np.array([0, 1]), 1000, shuffle_keys([[SEED, k] for k in range(20_000)], 1000))
    np.add.at(counts, (a // 100, b // 100), 1)
    same, other = 100 * 99 / (1000 * 999), 100 * 100 / (1000 * 999)
    expected = 20_000 * np.where(np.eye(10, dtype=bool), same, other)
    assert stats.chisquare(counts.ravel(), expected.ravel()).pvalue > UNLIKELY


def test_latin__columns_are_independent():
    u = latin(SEED, 0, 5000, FIVE, 5000)
    correlation = np.corrcoef(u.T)[np.triu_indices(5, 1)]
    assert np.abs(correlation).max() < 4.0 / math.sqrt(5000)  # four standard deviations, ten pairs


# ---------------------------------------------------------------- Sobol


def test_sobol__is_scipys_sequence_in_the_middles_of_its_lattice():
    engine = qmc.Sobol(5, scramble=True, bits=32, seed=np.random.default_rng(SEED))
    np.testing.assert_array_equal(sobol(SEED, 0, 64, FIVE), engine.random(64) + 2.0**-33)


@given(SEEDS, st.integers(0, 120), st.integers(0, 40))
@settings(max_examples=40, deadline=None)  # the first call imports scipy.stats
def test_sobol__a_block_is_that_of_the_whole(seed, first, count):
    np.testing.assert_array_equal(sobol(seed, first, count, FIVE), sobol(seed, 0, 160, FIVE)[first : first + count])


def test_sobol__seeds_differ_and_each_column_is_uniform():
    u = sobol(SEED, 0, 1024, FIVE)
    assert not np.any(u == sobol(SEED + 1, 0, 1024, FIVE))
    for column in u.T:
        np.testing.assert_array_equal(np.sort(np.floor(column * 1024)), np.arange(1024))  # a (t, m, s)-net: one in each of 2^m strata


def test_sobol__too_many_columns_are_one_sentence():
    columns = [("aero.cp", k) for k in range(qmc.Sobol.MAXDIM + 1)]
    with pytest.raises(ValueError, match=f"has {qmc.Sobol.MAXDIM} columns at most, and this mission draws {len(columns)}; take"):
        sobol(SEED, 0, 1, columns)


@pytest.mark.parametrize("seed, first, count", [(-1, 0, 1), (2**64, 0, 1), (0, -1, 1), (0, 2**32 - 1, 2)])
@pytest.mark.parametrize("sampling", ["latin", "sobol"])
def test_shares__out_of_range_is_an_error(sampling, seed, first, count):
    with pytest.raises(ValueError, match="must (be a whole number|lie within)"):
        shares(sampling, seed, first, count, FIVE, 10)


def test_shares__unknown_sampling_is_one_sentence():
    with pytest.raises(ValueError, match="sampling = 'halton' must be one of random, latin, sobol"):
        shares("halton", 0, 0, 1, FIVE, None)


# ---------------------------------------------------------------- how fast means converge


def smooth(u):
    """Prod (1 + c_k (u_k - 1/2)), mean 1: an outcome that every input drives, alone and with others."""
    return np.prod(1.0 + np.array([1.0, 0.8, 0.6, 0.4, 0.2]) * (u - 0.5), axis=1)


def slope(sampling, sizes=2 ** np.arange(5, 12), seeds=24):
    """The slope of log root mean square error of the mean against log of the number of flights."""
    error = [math.sqrt(np.mean([(smooth(shares(sampling, s, 0, int(n), FIVE, int(n))).mean() - 1.0) ** 2 for s in range(seeds)])) for n in sizes]
    return np.polyfit(np.log(sizes), np.log(error), 1)[0], error


def test_convergence__sobol_is_faster_than_random_and_latin_better_by_a_factor():
    """Random: n^-1/2. Sobol: about n^-1 (n^-3/2 for very smooth ones, A. Owen, "Scrambled net variance", 1997). 24 seeds: slopes to 0.1."""
    random, of_random = slope("random")
    fast, of_sobol = slope("sobol")
    _, of_latin = slope("latin")
    assert random == pytest.approx(-0.5, abs=0.12)
    assert fast < -0.9
    assert of_sobol[-1] < of_random[-1] / 10.0
    # Latin hypercube removes the additive part of the variance (M. Stein, 1987): of 0.2106 here all but what the products make
    parts = np.array([1.0, 0.8, 0.6, 0.4, 0.2]) ** 2 / 12.0
    left = (np.prod(1.0 + parts) - 1.0 - parts.sum()) / (np.prod(1.0 + parts) - 1.0)
    gain = np.mean(np.array(of_latin) ** 2) / np.mean(np.array(of_random) ** 2)
    assert gain == pytest.approx(left, rel=0.75)  # a ratio of two variances from 24 seeds, mostly of the smallest size


# ---------------------------------------------------------------- tables


@pytest.mark.parametrize("sampling", ["random", "latin", "sobol"])
@given(first=st.integers(0, 40), count=st.integers(1, 9))
@settings(max_examples=8, deadline=None)
def test_draw_table__does_not_depend_on_the_block(sampling, first, count):
    m = staged(EVERYTHING, failure=FAILURES, correlation=GROUPS)
    whole = draw_table(m, SEED, 0, 50, sampling=sampling, total=50)
    assert draw_table(m, SEED, first, count, sampling=sampling, total=50).identical(whole.isel(flight=slice(first, first + count)))


names = st.sampled_from(sorted(DISPERSIBLE))


@pytest.mark.parametrize("sampling", ["random", "latin"])
@given(kept=st.sets(names, min_size=1, max_size=6), more=names)
@settings(max_examples=15, deadline=None)
def test_draw_table__another_quantity_changes_no_other(sampling, kept, more):
    few = draw_table(staged({name: EVERYTHING[name] for name in kept}, failure=FAILURES[:1]), SEED, 0, 12, sampling=sampling, total=12)
    many = draw_table(staged({name: EVERYTHING[name] for name in kept | {more}}, failure=FAILURES), SEED, 0, 12, sampling=sampling, total=12)
    for name in kept:
        assert few[name].identical(many[name])
    np.testing.assert_array_equal(few["failure_drawn"].values[:, 0], many["failure_drawn"].values[:, 0])


def test_draw_table__sobol_columns_are_in_the_order_of_the_registry_then_failures():
    m = staged(dict(reversed(EVERYTHING.items())), failure=FAILURES)
    table = draw_table(m, SEED, 0, 8, sampling="sobol")
    assert [name for name in table.data_vars if name != "failure_drawn"] == list(DISPERSIBLE)
    assert table.identical(draw_table(staged(EVERYTHING, failure=FAILURES), SEED, 0, 8, sampling="sobol"))
    happened = table["failure_drawn"].values
    columns = sum(table[name].size // 8 for name in DISPERSIBLE) + len(FAILURES)
    u = sobol(SEED, 0, 8, [("any", k) for k in range(columns)])[:, -len(FAILURES) :]
    np.testing.assert_array_equal(happened, u < [f.probability for f in FAILURES])


def test_draw_table__says_how_it_was_drawn():
    assert make_draws(mission(EVERYTHING), 4, seed=9).attrs == {"seed": "9", "sampling": "random"}
    assert make_draws(mission(EVERYTHING), 4, seed=9, sampling="latin").attrs == {"seed": "9", "sampling": "latin", "total": 4}
    assert make_draws(mission(EVERYTHING), 4, seed=9, sampling="sobol").attrs == {"seed": "9", "sampling": "sobol"}
    assert list(make_draws(mission(EVERYTHING), 4, first=7)["flight"].values) == [7, 8, 9, 10]
    with pytest.raises(ValueError, match="make_draws: flights = 0 must be a whole number from 1"):
        make_draws(mission(EVERYTHING), 0)


def test_missions_compared__share_their_random_numbers():
    """Two missions with spreads of other widths: the same quantiles, so differences between them have little noise."""
    one, other = (make_draws(mission({"aero.drag": Spread(sd=sd), "wind.speed": EVERYTHING["wind.speed"]}), 50, seed=3) for sd in (0.01, 0.02))
    np.testing.assert_allclose(2.0 * (one["aero.drag"] - 1.0), other["aero.drag"] - 1.0, atol=1e-15)
    assert one["wind.speed"].identical(other["wind.speed"])


# ---------------------------------------------------------------- what goes together

MATRIX = ((1.0, 0.8, -0.3), (0.8, 1.0, 0.1), (-0.3, 0.1, 1.0))
GROUPS = (Correlation(of=("motor.impulse", "motor.burn_time"), coefficient=-0.6), Correlation(of=("aero.drag", "aero.cp", "aero.normal_force"), matrix=MATRIX))
MANY = 20_000


def with_groups(*groups):
    spreads = {
        "motor.impulse": Spread(sd=0.02),
        "motor.burn_time": Spread(kind="triangular", low=0.9, mode=1.0, high=1.2),
        "aero.drag": Spread(kind="lognormal", log_sd=0.1),
        "aero.cp": Spread(kind="uniform", low=-0.01, high=0.02),
        "aero.normal_force": Spread(sd=0.05, low=0.9, high=1.1),
        "wind.speed": Spread(sd=1.0),
    }
    return staged(spreads, correlation=groups)


@pytest.fixture(scope="module")
def together() -> xr.Dataset:
    return draw_table(with_groups(*GROUPS), SEED, 0, MANY)


@pytest.fixture(scope="module")
def apart() -> xr.Dataset:
    return draw_table(with_groups(), SEED, 0, MANY)


def scores(values):
    """Normal scores of a sample: quantiles of its ranks."""
    return stats.norm.ppf((stats.rankdata(values, axis=0) - 0.5) / len(values))


def test_correlation__is_that_of_the_normal_scores_and_of_the_ranks_as_pearson_has_it(together):
    wanted = {
        ("motor.impulse", "motor.burn_time"): -0.6,
        ("aero.drag", "aero.cp"): 0.8,
        ("aero.drag", "aero.normal_force"): -0.3,
        ("aero.cp", "aero.normal_force"): 0.1,
        ("aero.drag", "motor.impulse"): 0.0,
    }
    for (one, other), rho in wanted.items():
        for stage in range(3):  # thing by thing
            x, y = together[one].values[:, stage], together[other].values[:, stage]
            spread = 5.0 * (1.0 - rho**2) / math.sqrt(MANY) + 1e-3  # five standard errors; 1e-3: scores of ranks are a little short
            assert np.corrcoef(scores(x), scores(y))[0, 1] == pytest.approx(rho, abs=spread)
            # standard error of Spearman's at most 1.06 (1 - rho^2)/sqrt(n) (E. C. Fieller et al., 1957)
            assert stats.spearmanr(x, y).statistic == pytest.approx(6.0 / math.pi * math.asin(rho / 2.0), abs=1.1 * spread)
    across = np.corrcoef(together["motor.impulse"].values[:, 0], together["motor.burn_time"].values[:, 1])[0, 1]
    assert abs(across) < 5.0 / math.sqrt(MANY)  # one stage's motor says nothing of another's


def test_correlation__leaves_every_marginal_as_it_was(together, apart):
    for name in together.data_vars:
        for column, alone in zip(np.atleast_2d(together[name].values.T), np.atleast_2d(apart[name].values.T)):
            assert stats.ks_2samp(column, alone).pvalue > UNLIKELY, name


def test_correlation__other_draws_and_the_first_of_a_group_are_untouched(together, apart):
    for name in ("motor.impulse", "aero.drag", "wind.speed"):
        assert together[name].identical(apart[name])
    assert not np.any(together["motor.burn_time"].values == apart["motor.burn_time"].values)
    alone = draw_table(with_groups(GROUPS[0]), SEED, 0, MANY)
    assert alone["motor.burn_time"].identical(together["motor.burn_time"])  # another group changes nothing either


@pytest.mark.parametrize("rho", [-0.95, -0.3, 0.4, 0.8])
def test_correlated__coefficient_is_that_of_the_normal_scores_number_by_number(rho):
    """The second name's score is rho z0 + sqrt(1 - rho^2) z1, z0 and z1 those of the independent numbers."""
    u = np.random.default_rng(8).uniform(0.02, 0.98, (200, 2))
    z = stats.norm.ppf(u)
    mixed = correlated(u, Correlation(of=("a", "b"), coefficient=rho))
    np.testing.assert_array_equal(mixed[:, 0], u[:, 0])
    np.testing.assert_allclose(stats.norm.ppf(mixed[:, 1]), rho * z[:, 0] + math.sqrt(1.0 - rho**2) * z[:, 1], rtol=0.0, atol=1e-12)
    same = correlated(u, Correlation(of=("a", "b"), matrix=((1.0, rho), (rho, 1.0))))
    np.testing.assert_allclose(same, mixed, rtol=0.0, atol=1e-14)


def test_correlation__none_is_independence(apart):
    none = draw_table(with_groups(Correlation(of=("motor.impulse", "motor.burn_time"), coefficient=0.0)), SEED, 0, 100)
    np.testing.assert_allclose(none["motor.burn_time"], apart["motor.burn_time"][:100], rtol=1e-12)


@settings(deadline=None)
@given(st.floats(-0.999, 0.999), st.lists(st.tuples(*[st.floats(2.0**-53, 1.0 - 2.0**-53)] * 2), min_size=1, max_size=4))
def test_correlated__stays_inside_zero_and_one(rho, pairs):
    u = correlated(np.array(pairs), Correlation(of=("a", "b"), coefficient=rho))
    assert np.all((u > 0.0) & (u < 1.0))


def test_correlated__sobol_points_keep_their_evenness_in_the_first_name():
    m = with_groups(GROUPS[0])
    table = draw_table(m, SEED, 0, 256, sampling="sobol")
    u = stats.norm.cdf((table["motor.impulse"].values[:, 0] - 1.0) / 0.02)
    np.testing.assert_array_equal(np.sort(np.floor(u * 256)), np.arange(256))
