"""Numbers of the mission dispersed by their path: geometry drawn, missions of single draws, and sentences for those that cannot be."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy import stats

from sixdof.draws.drawn import drawn_mission, path_names
from sixdof.draws.packed import nominal_draw, one_draw, pack_draws
from sixdof.draws.table import draw_table, make_draws
from sixdof.flight.plan import Plan
from sixdof.mission.errors import MissionError
from sixdof.mission.load import loads_mission
from sixdof.mission.tables.materials import MATERIALS

SPAN, LENGTH, CANT = "stage.thistledown.part.tail.semispan", "rail.length", "stage.0.part.tail.cant"
SEED = 4
UNLIKELY = 1e-4  # p-value of a fixed-seed test


@pytest.fixture
def shaped(demo_mission):
    """The demo with a drawn span, rail and cant besides its motor's impulse."""
    spreads = {SPAN: {"sd": "0.5 mm"}, LENGTH: {"kind": "uniform", "low": "2.9 m", "high": "310 cm"}, CANT: {"sd": "0.1 deg"}, "motor.impulse": {"sd": "2 %"}}
    return demo_mission.change({"disperse": spreads})


def test_paths__come_behind_the_registry_by_name_in_si(shaped):
    assert list(shaped.disperse) == ["motor.impulse", LENGTH, CANT, SPAN]
    assert path_names(shaped) == (LENGTH, CANT, SPAN)
    assert shaped.disperse[SPAN].sd == 0.0005 and shaped.disperse[LENGTH].high == 3.1
    assert shaped.disperse[CANT].sd == pytest.approx(math.radians(0.1), rel=1e-15)


def test_paths__draws_spread_about_the_missions_own_value(shaped):
    table = make_draws(shaped, 5000, seed=SEED)
    assert table[SPAN].dims == ("flight",)
    assert table[SPAN].attrs == {"units": "m", "long_name": 'stage "thistledown", part fins "tail", key semispan', "role": "value"}
    assert stats.kstest(table[SPAN].values, stats.norm(0.048, 0.0005).cdf).pvalue > UNLIKELY
    assert stats.kstest(table[LENGTH].values, stats.uniform(2.9, 0.2).cdf).pvalue > UNLIKELY
    alone = make_draws(shaped.change({"disperse": {SPAN: {"sd": "0.5 mm"}}}), 5000, seed=SEED)
    assert alone[SPAN].identical(table[SPAN])


def test_paths__pack_into_the_draw_and_make_a_mission(shaped):
    table = draw_table(shaped, SEED, 3, 4)
    draw = one_draw(pack_draws(shaped, table), 2)
    np.testing.assert_array_equal(draw.path, [table[name].values[2] for name in path_names(shaped)])
    made = drawn_mission(shaped, draw.path, flight=5)
    tail = next(part for part in made.stage[0].part if part.name == "tail")
    assert (made.rail.length, tail.cant, tail.semispan) == tuple(draw.path)  # bit for bit
    assert list(made.disperse) == ["motor.impulse"] and path_names(made) == ()
    put_back = made.change({SPAN: 0.048, LENGTH: 3.0, CANT: 0.0, "disperse": {}})
    assert put_back == shaped.change({"disperse": {}})  # nothing else of the mission differs


def test_paths__nominal_is_the_mission_itself(shaped, demo_mission):
    assert drawn_mission(demo_mission, ()) is demo_mission
    draw = nominal_draw(shaped)
    np.testing.assert_array_equal(draw.path, [3.0, 0.0, 0.048])
    made = drawn_mission(shaped, draw.path)
    assert made.stage == shaped.stage and made.rail == shaped.rail
    assert drawn_mission(shaped, [np.nan] * 3).stage == shaped.stage  # NaN: the mission's own


def test_paths__a_drawn_span_is_in_the_tables(shaped):
    """A solid trapezoid of (80 + 45)/2 mm chord, 3 mm thick: four fins 16 mm longer weigh 4 x 62.5 x 16 x 3 mm^3 of their material more."""
    small, large = (Plan(drawn_mission(shaped, [3.0, 0.0, span])).model(0, 0) for span in (0.040, 0.056))
    density = MATERIALS["carbon-fibre"]
    assert large.mass.dry - small.mass.dry == pytest.approx(4 * 0.0625 * 0.016 * 0.003 * density, rel=1e-12)


def test_paths__correlate_with_each_other(demo_mission):
    spreads = {SPAN: {"sd": "0.5 mm"}, "stage.thistledown.part.tail.root_chord": {"sd": "1 mm"}}
    both = demo_mission.change({"disperse": spreads, "correlation": [{"of": list(spreads), "coefficient": 0.9}]})
    table = make_draws(both, 4000, seed=SEED)
    rho = np.corrcoef(*(table[name].values for name in spreads))[0, 1]
    assert rho == pytest.approx(0.9, abs=5.0 * 0.19 / math.sqrt(4000))  # five standard errors of a correlation
    assert drawn_mission(both, [0.08, 0.048]).correlation == ()


def test_paths__of_a_name_with_blanks_a_rule_and_a_motor(demo_mission):
    spreads = {
        "stage.thistledown.part.air sampler.mass": {"sd": "5 g"},
        "rule.fins on.delay": {"sd": "10 ms", "low": "0 s"},
        "motor.playa-h.propellant_mass": {"sd": "1 g"},
        "autopilot.pitch.p": {"sd": 0.01},
    }
    table = make_draws(demo_mission.change({"disperse": spreads}), 3)
    assert [table[name].attrs["units"] for name in sorted(spreads)] == ["1", "kg", "s", "kg"]


def test_paths__threshold_of_a_rule_has_the_unit_of_its_trigger(demo_mission):
    rules = [{"name": "low", "when": "falling_through", "threshold": "200 m", "action": "disable_fins"}]
    m = demo_mission.change({"rule": rules, "disperse": {"rule.low.threshold": {"sd": "5 m"}}})
    assert make_draws(m, 2)["rule.low.threshold"].attrs["units"] == "m"
    with pytest.raises(MissionError, match='"5 s" has the wrong unit'):
        demo_mission.change({"rule": rules, "disperse": {"rule.low.threshold": {"sd": "5 s"}}})


def test_paths__spread_changed_by_its_key(demo_mission):
    m = demo_mission.change({"disperse": {}}).change({f"disperse.{SPAN}.sd": "1 mm"})
    assert m.disperse[SPAN].sd == 0.001
    assert m.change({f"disperse.{SPAN}.low": "47 mm"}).disperse[SPAN].low == 0.047
    assert m.change({f"disperse.{SPAN}": {"kind": "fixed", "mean": "50 mm"}}).disperse[SPAN].mean == 0.05


def test_paths__survive_as_text(shaped):
    assert loads_mission(shaped.to_toml()) == shaped


# ---------------------------------------------------------------- draws that no mission can hold


def test_draw_beyond_its_limit__is_one_sentence_before_anything_flies(demo_mission):
    m = demo_mission.change({"disperse": {SPAN: {"sd": "40 mm"}}})
    with pytest.raises(ValueError, match="^flight [0-9]+: stage.thistledown.part.tail.semispan = -.* must be more than 0 m; cut the spread") as caught:
        make_draws(m, 100, seed=SEED)
    flight = int(str(caught.value).split()[1].rstrip(":"))
    narrow = make_draws(demo_mission.change({"disperse": {SPAN: {"sd": "1 um"}}}), 100, seed=SEED)
    assert flight == int(np.argmin(narrow[SPAN].values))  # the same draw, by another width
    assert "\n" not in str(caught.value)
    cut = demo_mission.change({"disperse": {SPAN: {"sd": "40 mm", "low": "1 mm"}}})
    assert make_draws(cut, 100, seed=SEED)[SPAN].min() >= 0.001


def test_draw_beyond_the_vehicle__is_one_sentence_with_flight_path_and_value(demo_mission):
    """A guide drawn off the body: only the whole mission can tell."""
    path = "stage.thistledown.part.aft guide.station"
    m = demo_mission.change({"disperse": {path: {"sd": "10 mm"}, LENGTH: {"sd": "1 mm"}}})
    with pytest.raises(MissionError) as caught:
        drawn_mission(m, [3.0, 9.0], flight=12)
    (fault,) = caught.value.faults
    assert str(fault).startswith('flight 12: stage "thistledown", part rail_guide "aft guide", key station: 9 m is not on the stage')
    assert f"(drawn: {path} = 9 m)" in str(fault) and "low and high" in str(fault) and "\n" not in str(fault)


def test_draw_beyond_the_vehicle__names_all_draws_where_none_is_to_blame_alone(demo_mission):
    path = "stage.thistledown.part.airframe.length"
    m = demo_mission.change({"disperse": {path: {"sd": "10 mm"}, LENGTH: {"sd": "1 mm"}}})
    with pytest.raises(MissionError) as caught:
        drawn_mission(m, [3.0, 0.2], flight=1)
    assert f"(drawn: {LENGTH} = 3 m, {path} = 0.2 m)" in str(caught.value)
