"""The vehicle in words."""

from __future__ import annotations

import math
import re

import pytest
from mass_samples import booster, mission, sustainer

from sixdof.mission.tables import Measured
from sixdof.vehicle.aero.table import component_table
from sixdof.vehicle.describe import balance, describe, margin_word, totals
from sixdof.vehicle.mass import mass_at, mass_table


@pytest.mark.parametrize(
    ("calibres", "word"),
    [(-0.1, "unstable"), (0.0, "low"), (0.99, "low"), (1.0, "usual"), (3.0, "usual"), (math.nan, "unstable"), (3.01, "overstable: turns into the wind")],
)
def test_margin_word__at_its_thresholds(calibres, word):
    assert margin_word(calibres) == word


def test_balance__margin_is_the_distance_in_calibres():
    demo = mission()
    state = balance(demo, (0,))
    rows = component_table(demo, (0,), 0.3)
    assert (state.slope, state.cp) == pytest.approx(rows[-1][1:], rel=1e-14)  # sums of the same numbers in another order: a rounding apart
    cg = mass_at(mass_table(demo, (0,)), 1.0)[1][0]
    assert state.margin_loaded == pytest.approx((state.cp - cg) / 0.066, rel=1e-12)
    assert state.margin_burnt > state.margin_loaded  # the propellant sits at the back


def test_totals__of_a_stack_burn_the_aft_stage_only():
    loaded, burnt = totals(mission(sustainer(), booster()), (0, 1))
    assert loaded.mass - burnt.mass == pytest.approx(3 * 0.16, rel=1e-12)


def test_describe__names_every_part_configuration_and_motor():
    demo = mission(sustainer(), booster())
    text = describe(demo)
    for name in ("nose", "body", "fins", "computer", "battery", "canopy", "ring", "booster fins"):
        assert re.search(rf"^{name}\s", text, re.MULTILINE), name
    assert text.count("Configuration:") == 2 and "Configuration: sustainer + booster" in text
    assert 'Motor "H-demo": class H (160 to 320 N s)' in text and "static margin" in text
    mass = mass_at(mass_table(demo, (0, 1)), 1.0)[0]
    assert f"mass {mass:.4f} kg" in text
    assert "nan" not in text and max(map(len, text.splitlines())) <= 130


def test_describe__fin_line_carries_its_normal_force():
    demo = mission()
    slope, cp = next(row[1:] for row in component_table(demo, (0,), 0.3) if row[0] == "fins")
    line = next(line for line in describe(demo).splitlines() if line.startswith("fins "))
    assert line.split()[-2:] == [f"{slope:.3f}", f"{cp:.3f}"]


def test_describe__says_what_was_measured():
    demo = mission(sustainer(measured=Measured(mass=1.8, cg=0.6)))
    assert "measured and used 1.8000 kg at 0.600 m" in describe(demo)
    assert "measured" not in describe(mission())
