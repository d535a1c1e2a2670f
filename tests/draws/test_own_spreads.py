"""Draws of single stages that vary otherwise than the others, and that go together in one stage alone."""

from __future__ import annotations

import numpy as np
import pytest
from draw_missions import staged

import sixdof
from sixdof.draws.spreads import deviation
from sixdof.draws.table import draw_table
from sixdof.mission.tables import Correlation, OwnSpread, Spread

SEED, MANY = 11, 20_000
OWN = {"middle": OwnSpread(mean=1.1, sd=0.002)}
MASS, CG = "vehicle.mass", "vehicle.cg"


def test_own_spread__moves_its_stage_alone():
    plain = draw_table(staged({MASS: Spread(sd=0.01)}), SEED, 0, MANY)[MASS]
    known = draw_table(staged({MASS: Spread(sd=0.01, of=OWN)}), SEED, 0, MANY)[MASS]
    for stage in ("upper", "lower"):
        np.testing.assert_array_equal(plain.sel(stage=stage), known.sel(stage=stage))
    # the same quantiles, about another mean and as much narrower
    np.testing.assert_allclose((known.sel(stage="middle") - 1.1) / 0.002, (plain.sel(stage="middle") - 1.0) / 0.01, atol=1e-9)


def test_own_spread__of_what_is_fixed_else():
    table = draw_table(staged({MASS: Spread(kind="fixed", mean=1.0, of=OWN)}), SEED, 0, MANY)[MASS]
    assert float(table.sel(stage="upper").std()) == 0.0
    assert float(table.sel(stage="middle").std()) == pytest.approx(0.002, rel=4.0 / np.sqrt(2.0 * MANY))  # four standard deviations of it


def test_correlation__in_one_stage_alone():
    spreads = {MASS: Spread(sd=0.01), CG: Spread(sd=0.004)}
    groups = tuple(Correlation(of=(MASS, CG), coefficient=c, only=(stage,)) for stage, c in (("upper", 0.9), ("lower", -0.5)))
    table = draw_table(staged(spreads, correlation=groups), SEED, 0, MANY)
    for stage, wanted in (("upper", 0.9), ("middle", 0.0), ("lower", -0.5)):
        found = np.corrcoef(table[MASS].sel(stage=stage), table[CG].sel(stage=stage))[0, 1]
        assert found == pytest.approx(wanted, abs=4.0 / np.sqrt(MANY))


def test_deviation__of_a_stage():
    spread = Spread(sd=0.01, of=OWN)
    assert deviation(spread, 1.0) == pytest.approx(0.01, rel=1e-4) and deviation(spread, 1.0, "lower") == pytest.approx(0.01, rel=1e-4)
    assert deviation(spread, 1.0, "middle") == pytest.approx(0.002, rel=1e-4) and deviation(None, 1.0) == 0.0


def test_own_spread__survives_text_and_one_stage_alone(stack_mission):
    of = {"whinchat": {"sd": "0.1 %"}, "drayhorse": {"sd": "0.2 %"}}
    pair = {"of": [MASS, CG], "coefficient": 0.4}
    known = stack_mission.change({"disperse.vehicle.mass": {"sd": "1 %", "of": of}, "correlation": [{**pair, "only": [name]} for name in of]})
    assert sixdof.parts.loads_mission(known.to_toml()) == known
    guide = {"kind": "rail_guide", "mass": "4 g", "station": "1 m"}
    with pytest.warns(UserWarning, match="flies alone"):
        alone = known.add("stage.whinchat.part", guide).only("whinchat")
    assert list(alone.disperse[MASS].of) == ["whinchat"] and [group.only for group in alone.correlation] == [("whinchat",)]


def test_own_spread__in_a_table_of_its_own_in_toml(stack_path):
    text = stack_path.read_text().replace('vehicle.mass = { sd = "1 %" }', 'vehicle.mass = { kind = "fixed", mean = 1, of.whinchat.sd = "0.1 %" }')
    found = sixdof.parts.loads_mission(text, stack_path.parent).disperse[MASS]
    assert found.of["whinchat"].sd == 0.001
