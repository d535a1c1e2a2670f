"""Attitude loops of the canard vehicle, and one clear sentence where there are none."""

from __future__ import annotations

import math

import numpy as np
import pytest

import sixdof
from sixdof.study.loops.frozen import simulate_frozen
from sixdof.study.loops.limit_cycle import limit_cycle_curves, limit_cycle_report, limit_cycle_table, limit_cycles
from sixdof.study.loops.loop import closed_response, open_loop
from sixdof.study.loops.margins import coupled_margins, margin_report, margins
from sixdof.study.tuning.gain_map import gain_map
from sixdof.study.uncertainty.margin_spread import margin_spread, robust_margins, spread_report

PAIR = ("autopilot.schedule.1.pitch.p", [0.2, 0.4], "autopilot.schedule.1.pitch.d", [0.01, 0.03])
PASSIVE = pytest.mark.parametrize("name", ["slender", "stack"])
NONE = "no control fins work along this flight, there are no loops"


@pytest.fixture(scope="module")
def passive(missions):
    return {name: sixdof.loops.linearise(missions[name], points=3) for name in ("slender", "stack")}


# ---------------------------------------------------------------- of canards


def test_models__canards_push_the_nose_where_they_push(models):
    """A demand turns the nose its way, and, ahead of the centre of mass, pushes the vehicle the same way; a tail would push it back."""
    b, a = models.input_matrix, models.state_matrix
    assert (models.effectiveness > 0.0).all() and (models.short_period_frequency > 0.0).all()
    up = b.sel(input="pitch_demand")
    assert (up.sel(rate_of="q") > 0.0).all()
    panel = b.sel(input="fin_1", rate_of="p")
    assert (panel > 0.0).all() and (a.sel(rate_of="p", state="p") < 0.0).all()


def test_margins__hold_and_agree_with_the_coupled_loops(models):
    found, together = margins(models), coupled_margins(models)
    assert found.stable.all() and (found.gain_margin_db.sel(broken_at="actuator") > 3.0).all()
    one = found.phase_margin.sel(broken_at="actuator")
    # the canards' X carries little from channel to channel below two degrees of incidence
    np.testing.assert_allclose(together.phase_margin.sel(channel=one.channel), one, atol=math.radians(15.0))
    assert "dottrel" not in margin_report(found) and "Dottrel" in margin_report(found)


def test_loops__opened_and_closed(models):
    for channel in ("roll", "pitch", "yaw"):
        assert open_loop(models, 1, channel).ninputs == 1
    assert np.abs(closed_response(models, 1).poles()).max() < 1.01


def test_margin_spread__and_its_report(missions):
    found = margin_spread(missions["canard"], 3, points=2, seed=2, progress=False)
    assert int(robust_margins(found)["used"]) == 3 and "over 3 flights" in spread_report(found)


def test_gain_map__and_what_flies_there(missions, models):
    found = gain_map(missions["canard"], *PAIR, models=models.isel(point=[1, 2]), progress=False)
    assert np.isfinite(found.distance).all() and found.stable.all()


def test_limit_cycles__of_play(models):
    cycles, curves = limit_cycles(models, 2), limit_cycle_curves(models, 2)
    assert cycles.sizes["cycle"] >= 1 and curves.sizes
    frozen = simulate_frozen(models, 2, duration=1.0, start=0.02)
    assert np.isfinite(frozen.angle).all() and float(abs(frozen.angle[-1])) < 0.02


@pytest.mark.slow
def test_limit_cycles__against_the_frozen_flight(models):
    table = limit_cycle_table(models, points=[2])
    assert "Limit cycles of the pitch loop" in limit_cycle_report(table)
    both = table.where(np.isfinite(table.simulated_amplitude), drop=True) if "simulated_amplitude" in table else table
    assert both.sizes["cycle"] >= 1


@pytest.mark.slow
def test_tune__finds_gains(missions):
    tuned = sixdof.tune(missions["canard"], {"phase_margin_deg": 30.0, "rows": 2, "channels": ("pitch",)}, points=4, progress=False)
    assert "pitch" in str(tuned) and sixdof.parts.loads_mission(missions["canard"].change(tuned.changes).to_toml())


# ---------------------------------------------------------------- of nothing


@PASSIVE
def test_passive__has_modes_but_no_loops(passive, missions, name):
    models = passive[name]
    assert (models.short_period_frequency > 0.0).all() and (models.effectiveness == 0.0).all()
    calls = [
        lambda: margins(models),
        lambda: coupled_margins(models),
        lambda: open_loop(models, 0),
        lambda: closed_response(models, 0),
        lambda: limit_cycles(models),
        lambda: limit_cycle_curves(models),
        lambda: simulate_frozen(models),
        lambda: limit_cycle_table(models),
        lambda: margin_spread(missions[name], 2, progress=False),
    ]
    for call in calls:
        with pytest.raises(ValueError, match=NONE):
            call()
    with pytest.raises(ValueError, match="tune: .*no control fins that work along its flight"):
        sixdof.tune(missions[name], progress=False)
