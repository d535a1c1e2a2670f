"""The figure of the air: lines are the numbers of the Dataset, in the units of the labels."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest

from sixdof.plot import plot_air
from sixdof.study.aero.air import air_against_height


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


def line(ax, k=0):
    return np.array(ax.lines[k].get_xdata()), np.array(ax.lines[k].get_ydata())


def test_plot_air__draws_what_the_mission_says(demo_mission):
    axes = plot_air(demo_mission, top=2000.0)
    height = line(axes[0])[1]
    ds = air_against_height(demo_mission, height)
    assert axes[0].get_ylim() == (0.0, 2000.0) and "height above ground (m)" in axes[0].get_ylabel()
    np.testing.assert_allclose(line(axes[0])[0], ds["wind_speed"][0])
    np.testing.assert_allclose(line(axes[1])[0][1:], 255.0)  # on the ground a power law has no wind and no direction
    assert np.isnan(line(axes[1])[0][0])
    np.testing.assert_allclose(line(axes[2])[0], ds["temperature"] - 273.15)
    np.testing.assert_allclose(line(axes[3])[0], ds["density"])
    np.testing.assert_allclose(line(axes[3], 1)[0], ds["standard_density"])
    assert [text.get_text() for text in axes[3].get_legend().get_texts()] == ["this mission", "standard atmosphere"]
    assert "degC" in axes[2].get_xlabel() and "kg/m" in axes[3].get_xlabel()


@pytest.mark.parametrize("count", [2, 9])
def test_plot_air__of_members_puts_the_nominal_on_top(demo_mission, count):
    members = [{"name": f"run {k}", "height": [0.0, 9e3], "east": [k + 1.0, k + 2.0], "north": [0.0, 0.0]} for k in range(count)]
    mission = demo_mission.change({"air.wind": {"profile": "members", "member": members}, "disperse": {}})
    ax = plot_air(mission)[0]
    assert len(ax.lines) == count
    assert line(ax, count - 1)[0][0] == 1.0 and ax.lines[-1].get_linewidth() == max(each.get_linewidth() for each in ax.lines)
    first = ax.get_legend().get_texts()[0].get_text()
    assert first == ("run 0 (nominal)" if count == 2 else "run 0 (nominal), others: 8")


def test_plot_air__marks_gusts_and_breaks_the_line_at_north(demo_mission):
    changes = {"air.gust": [{"speed": 4.0, "height": 300.0, "length": 50.0}], "air.wind.veer": "60 deg/km", "air.wind.blows_from": "340 deg"}
    axes = plot_air(demo_mission.change(changes), top=1000.0)
    assert [text.get_text() for text in axes[0].texts] == ["gust"] and len(axes[0].patches) == len(axes[1].patches) == 1
    low, high = axes[0].patches[0].get_y(), axes[0].patches[0].get_y() + axes[0].patches[0].get_height()
    assert (low, high) == (300.0, 350.0)
    direction = line(axes[1])[0]
    assert np.isnan(direction[1:]).sum() == 1  # where it jumps from 360 to 0
    assert np.nanmax(np.abs(np.diff(direction))) < 1.0 and np.nanmin(direction) < 5.0 and np.nanmax(direction) > 355.0
