"""The table of draws: distributions, independence, reproducibility, and its packing for the kernels."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from sixdof._jit import kernel
from sixdof.core.draw import DRAW_COLUMNS, DRAW_SCALARS, Draw, draw_of
from sixdof.ensemble.draws import (
    FIELDS, draw_table, nominal_draw, pack_draws, quantile, stream_of, uniforms, unpack_draw,
)  # fmt: skip
from sixdof.mission.dispersible import DISPERSIBLE
from sixdof.mission.schema import Air, Fins, Mission, Rail, Site, Spread, Stage, Wind
from sixdof.world.wind import wind_draw

SEED = 20_241
SAMPLE = 20_000
CHANCE = {"seed_high", "seed_low", "flight"}  # of a Draw: which random numbers the kernels use
UNLIKELY = 1e-4  # p-value of a fixed-seed test: right draws gave more when these tests were written
ROUNDING = 1e-12


def mission(disperse=None, fins=4):
    """A mission as far as draws need one: its other tables are left unmade."""
    panel = {"root_chord": 0.1, "tip_chord": 0.05, "span": 0.08, "thickness": 0.003, "mass": 0.05}
    parts = [Fins(count=3, station=0.9, **panel)]
    if fins:
        parts.append(Fins(count=fins, station=0.3, hinge=0.05, control=True, **panel))
    return Mission.model_construct(
        site=Site(latitude=0.6),
        air=Air(wind=Wind(profile="power", speed=4.0, blows_from=1.0)),
        rail=Rail(length=3.0, elevation=1.5, azimuth=0.7),
        stage=(Stage.model_construct(part=tuple(parts)),),
        disperse=disperse or {},
    )


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
    assert str(caught.value).startswith("disperse.\"wind.speed\": ")


def test_draw_table__holds_what_is_dispersed_with_units():
    table = draw_table(mission({"wind.speed": Spread(sd=1.0), "servo.centring": Spread(sd=0.005)}), SEED, 10, 5)
    assert set(table.data_vars) == {"wind.speed", "servo.centring"}
    assert table["wind.speed"].dims == ("flight",) and table["servo.centring"].dims == ("flight", "fin")
    assert list(table.flight.values) == [10, 11, 12, 13, 14] and list(table.fin.values) == [1, 2, 3, 4]
    assert table["wind.speed"].attrs["units"] == "m/s" and table["wind.speed"].attrs["long_name"]


def test_draw_table__unknown_name_is_an_error():
    with pytest.raises(ValueError, match="cannot be dispersed; use one of wind.speed"):
        draw_table(mission({"wind.sped": Spread(sd=1.0)}), SEED, 0, 1)


EVERYTHING = {name: Spread(sd=0.01) for name in DISPERSIBLE}


@given(st.integers(0, 40), st.integers(1, 9))
def test_draw_table__does_not_depend_on_the_block(first, count):
    m = mission(EVERYTHING)
    whole = draw_table(m, SEED, 0, 50)
    assert draw_table(m, SEED, first, count).identical(whole.isel(flight=slice(first, first + count)))


@pytest.mark.parametrize("name", DISPERSIBLE)
def test_draw_table__a_quantity_alone_has_the_draws_it_has_among_all(name):
    alone = draw_table(mission({name: EVERYTHING[name]}), SEED, 0, 20)
    assert alone[name].identical(draw_table(mission(EVERYTHING), SEED, 0, 20)[name])


def test_draw_table__changes_with_the_seed():
    one, other = (draw_table(mission({"aero.cp": Spread(sd=1.0)}), seed, 0, 50)["aero.cp"] for seed in (1, 2))
    assert not np.any(one.values == other.values)


def test_streams__are_different_and_apart_from_the_kernels():
    streams = [stream_of(name) for name in DISPERSIBLE]
    assert len(set(streams)) == len(streams)
    assert all(2**31 <= stream < 2**32 for stream in streams)


def test_streams__are_fixed_for_good():
    """CRC-32 of the name with the top bit set; the published check value of CRC-32 for "123456789" is cbf43926."""
    assert stream_of("123456789") == 0xCBF43926


def test_draws__of_different_quantities_and_fins_are_uncorrelated():
    table = draw_table(mission(EVERYTHING), SEED, 0, SAMPLE)
    columns = [table[name].values for name in DISPERSIBLE if name != "servo.centring"]
    columns += list(table["servo.centring"].values.T)
    correlation = np.corrcoef(columns)[np.triu_indices(len(columns), 1)]
    assert np.abs(correlation).max() < 5.0 / math.sqrt(SAMPLE)  # five standard deviations, 500 pairs


@pytest.mark.parametrize("seed, first, count", [(-1, 0, 1), (2**64, 0, 1), (0, -1, 1), (0, 2**32 - 1, 2)])
def test_uniforms__out_of_range_is_an_error(seed, first, count):
    with pytest.raises(ValueError, match="must (be a whole number|lie within)"):
        uniforms(seed, first, count, [("aero.cp", 0)])


def test_uniforms__largest_seed_and_flight():
    assert 0.0 < uniforms(2**64 - 1, 2**32 - 1, 1, [("aero.cp", 0)])[0, 0] < 1.0


def test_fields__every_dispersible_has_its_place():
    apart = {"wind.speed", "wind.blows_from", "servo.centring"}
    assert set(FIELDS) | apart == set(DISPERSIBLE)
    assert set(FIELDS.values()) | {"wind_scale", "wind_cos", "wind_sin"} | CHANCE == set(DRAW_COLUMNS)
    assert len(set(FIELDS.values())) == len(FIELDS)


@pytest.mark.parametrize("seed", [0, SEED, 2**64 - 1])
def test_pack_draws__tells_kernels_seed_and_flight(seed):
    """Halves of the seed and numbers of the flights are whole and below 2^32: exact in a float64."""
    rows = [unpack_draw(row) for row in pack_draws(mission(), draw_table(mission(), seed, 2**32 - 3, 2))]
    assert [(int(r.seed_high) << 32) + int(r.seed_low) for r in rows] == [seed, seed]
    assert [int(r.flight) for r in rows] == [2**32 - 3, 2**32 - 2]


def test_nominal_draw__factors_are_one_and_offsets_zero():
    m = mission()
    draw = nominal_draw(m)
    assert (draw.elevation, draw.azimuth) == (1.5, 0.7)
    assert (draw.wind_scale, draw.wind_cos, draw.wind_sin) == (4.0, 1.0, 0.0)
    np.testing.assert_array_equal(draw.centring, np.zeros(4))
    for name, field in FIELDS.items():
        if not name.startswith("rail."):
            assert getattr(draw, field) == DISPERSIBLE[name].neutral, name


def test_pack_draws__puts_every_draw_in_its_column():
    m = mission(EVERYTHING)
    table = draw_table(m, SEED, 3, 6)
    rows = pack_draws(m, table)
    assert rows.shape == (6, DRAW_SCALARS + 4) and rows.flags.c_contiguous and rows.dtype == np.float64
    for i in range(6):
        draw = unpack_draw(rows[i])
        drawn = {name: table[name].values[i] for name in DISPERSIBLE}
        for name, field in FIELDS.items():
            own = {"rail.elevation": 1.5, "rail.azimuth": 0.7}.get(name, 0.0)
            assert getattr(draw, field) == own + drawn[name], name
        wind = wind_draw(m, drawn["wind.speed"], drawn["wind.blows_from"])
        assert (draw.wind_scale, draw.wind_cos, draw.wind_sin) == pytest.approx(wind, rel=ROUNDING)
        np.testing.assert_array_equal(draw.centring, drawn["servo.centring"])


@pytest.mark.parametrize("fins", [0, 4])
def test_pack_draws__without_dispersion_is_nominal(fins):
    m = mission(fins=fins)
    rows = pack_draws(m, draw_table(m, SEED, 0, 3))
    for row in rows:
        packed, nominal = unpack_draw(row), nominal_draw(m)
        same = [f for f in nominal._fields[:-1] if f not in CHANCE]
        assert [getattr(packed, f) for f in same] == [getattr(nominal, f) for f in same]
        np.testing.assert_array_equal(packed.centring, nominal.centring)


def _read(rows, i, fins, scalars, centring):
    draw = draw_of(rows[i], fins)
    scalars[0], scalars[1], scalars[2] = draw.impulse, draw.elevation, draw.wind_sin
    for k in range(fins):
        centring[k] = draw.centring[k]


def test_draw_of__is_unpack_draw_inside_a_kernel():
    rows = np.arange(3.0 * (DRAW_SCALARS + 2)).reshape(3, -1)
    scalars, centring = np.empty(3), np.empty(2)
    kernel(_read)(rows, 1, 2, scalars, centring)
    draw = unpack_draw(rows[1])
    np.testing.assert_array_equal(scalars, [draw.impulse, draw.elevation, draw.wind_sin])
    np.testing.assert_array_equal(centring, draw.centring)


def test_draw__fields_are_in_the_order_of_the_columns():
    row = np.arange(DRAW_SCALARS + 2, dtype=float)
    draw = unpack_draw(row)
    assert Draw._fields[-1] == "centring"
    assert list(draw[:-1]) == list(range(DRAW_SCALARS)) == list(DRAW_COLUMNS.values())
    np.testing.assert_array_equal(draw.centring, row[DRAW_SCALARS:])
