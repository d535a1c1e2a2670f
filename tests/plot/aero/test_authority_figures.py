"""Figures of the control fins' authority: axes back, labels with units, one sentence for the wrong Dataset."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
from colour_blind import lab
from two_stages import on_booster

from sixdof import plot
from sixdof.study.aero import authority as au

MACH = [0.3, 0.9, 1.5]


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def stack(demo_mission):
    return on_booster(demo_mission)


def test_authority__a_line_an_incidence(demo_mission):
    ds = au.moment_slopes(demo_mission, mach=MACH, incidence=np.radians([0.0, 10.0]))
    ax = plot.plot_authority(ds, channel="roll")
    lines = [line for line in ax.get_lines() if line.get_label().startswith("incidence")]
    assert [line.get_label() for line in lines] == ["incidence 0 deg", "incidence 10 deg"]
    np.testing.assert_array_equal(lines[0].get_ydata(), ds.roll_moment.sel(incidence=0.0))
    assert ax.get_xlabel() == "Mach number" and "(1/deg)" in ax.get_ylabel()
    assert len(plot.plot_authorities(ds)) == 2


def test_trim__two_axes_in_degrees(demo_mission):
    ds = au.trim(demo_mission, mach=MACH, demand=np.radians([0.0, 3.0]))
    left, right = plot.plot_trim(ds)
    assert left.get_ylabel() == "trimmed incidence (deg)" and "load factor" in right.get_ylabel()


def test_trim__the_transonic_band_is_named_in_the_legend(demo_mission):
    ds = au.trim(demo_mission, mach=MACH, demand=np.radians([0.0, 3.0]))
    for ax in plot.plot_trim(ds):
        assert "theories only joined" in [text.get_text() for text in ax.get_legend().get_texts()]


def test_lines__of_an_ordered_quantity_go_from_light_to_dark(demo_mission):
    ds = au.trim(demo_mission, mach=MACH, demand=np.radians([0.0, 2.5, 5.0, 7.5]))
    lines = [line for line in plot.plot_trim(ds)[0].get_lines() if line.get_label().startswith("demand")]
    assert [line.get_label() for line in lines] == ["demand 0 deg", "demand 2.5 deg", "demand 5 deg", "demand 7.5 deg"]
    light = [lab(line.get_color())[0] for line in lines]
    assert (np.diff(light) < -10.0).all()  # CIELAB L, of 0 to 100


def test_hinge__stall_torque_is_a_line(demo_mission):
    moment = au.hinge_moments(demo_mission, mach=MACH, incidence=[0.0, 0.1])
    ax = plot.plot_hinge_moments(moment, stall_torque=0.7)
    (line,) = [line for line in ax.get_lines() if line.get_label() == "the servo's stall torque"]
    assert set(line.get_ydata()) == {0.7} and "(N m)" in ax.get_ylabel()


def test_survival__reversal_is_called_reversal(stack):
    roll, pitch = plot.plot_survival(au.survival(stack))
    for ax in (roll, pitch):
        assert "REVERSED" in [text.get_text() for text in ax.get_legend().get_texts()] and ax.get_xlabel() == "incidence (angle of attack) (deg)"
        assert ax.get_ylim()[0] < 0.0 < 1.0 < ax.get_ylim()[1]


def test_wrong_dataset__one_sentence(stack):
    trim = au.trim(stack, mach=MACH, demand=[0.0])
    for function, maker in ((plot.plot_authority, "moment_slopes"), (plot.plot_survival, "survival"), (plot.plot_hinge_moments, "hinge_moments")):
        with pytest.raises(ValueError, match=f"needs the result of sixdof.aero.{maker}"):
            function(trim)
    with pytest.raises(ValueError, match="draws one Mach number"):
        plot.plot_survival(au.survival(stack, mach=[0.3, 0.9], incidence=[0.0, 0.1]))


def test_all_figures__of_a_stack(stack):
    names = set(plot.aero_figures(stack))
    one = {"drag", "stability", "authority", "trim", "hinge"}
    assert names == one | {"survival"} | {f"{name}_without_booster" for name in one}
