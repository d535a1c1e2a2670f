"""The figure of a rehearsal: what it draws, and what it refuses."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
from rehearsed import SECOND, SECOND_END, leaning, profile
from staged import RULES, stack

import sixdof
from sixdof import plot


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def done(demo_mission):
    part, light = RULES
    rules = [part, {**light, "tilt_below": 0.4}, {"name": "off", "when": "apogee", "action": "disable_fins"}]
    time = profile(end=20.0)["time"]
    columns = profile(end=20.0, **leaning(np.where(time < 3.5, 0.6, 0.05)))
    columns["baro_height"] = columns["height"] - np.where((time > 8.0) & (time < 8.5), 60.0, 0.0)
    return sixdof.rehearse(stack(demo_mission, rules=rules), columns, expect={"light": (2.0, 3.0)})


def texts(ax):
    return [text.get_text() for text in ax.texts]


def legends(ax):
    return [text.get_text() for text in ax.get_legend().get_texts()]


def test_rehearsal__what_was_sensed(done):
    motion, force, _ = plot.plot_rehearsal(done)
    lines = {line.get_label(): line for line in motion.lines}
    assert lines["height"].get_ydata() == pytest.approx(done["sensed"].sel(reading="height").values)
    assert lines["barometer"].get_ydata().min() == pytest.approx(done["sensed"].sel(reading="baro_height").values.min())
    fired = done["rule_fired"].values[np.isfinite(done["rule_fired"].values)]
    dots = [line for line in motion.lines if line.get_marker() == "o"]
    assert sorted(float(line.get_xdata()[0]) for line in dots) == pytest.approx(sorted(fired))
    assert {"liftoff", "rail left", "separation", "apogee"} == set(texts(motion))
    assert "m/s" in force.get_ylabel()
    spans = sorted(patch.get_x() for patch in force.patches)
    assert spans == pytest.approx([0.5, SECOND])
    assert force.patches[1].get_x() + force.patches[1].get_width() == pytest.approx(SECOND_END)


def test_rehearsal__a_burn_noticed_after_apogee_is_marked_as_false(done):
    """A canopy's jerk that the computer takes for a burn: hatched, and named in the legend."""
    force = plot.plot_rehearsal(done.assign(apogee_noticed=SECOND - 0.5))[1]
    hatched = [patch for patch in force.patches if patch.get_hatch()]
    assert [patch.get_x() for patch in hatched] == [pytest.approx(SECOND)]
    assert legends(force) == ["burn, as sensed", "false burn: noticed after apogee"]


def test_rehearsal__a_row_for_every_rule_of_this_computer(done):
    rules = plot.plot_rehearsal(done)[2]
    names = [label.get_text() for label in rules.get_yticklabels()]
    assert names == [name for name, stage in zip(done["rule"].values, done["rule_stage"].values) if stage == "thistledown"]
    assert "3.50" in texts(rules) and "never fired" in texts(rules)  # the main is not released by 20 s
    assert legends(rules) == ["expected", "held by its conditions"]
    window = rules.patches[0]
    assert (window.get_x(), window.get_width()) == pytest.approx((2.0, 1.0))


def test_rehearsal__in_axes_of_ones_own_and_of_an_altimeter(demo_mission, done, tmp_path):
    own = plt.subplots(3, 1)[1]
    assert plot.plot_rehearsal(done, axes=own) is own
    axes = plot.plot_rehearsal(sixdof.rehearse(stack(demo_mission), stage="booster"))
    path = tmp_path / "rehearsal.png"
    axes[0].figure.savefig(path)
    assert path.stat().st_size > 10_000
    assert [label.get_text() for label in axes[2].get_yticklabels()] == ["deploy booster main: apogee"]


def test_rehearsal__refuses_a_flight(demo_flight):
    with pytest.raises(ValueError, match="plot_rehearsal takes a rehearsal"):
        plot.plot_rehearsal(demo_flight)
