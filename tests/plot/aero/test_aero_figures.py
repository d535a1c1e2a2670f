"""Figures of the aerodynamics: axes back, labels with units, one sentence for the wrong Dataset."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
from two_stages import on_booster

from sixdof import plot
from sixdof.study.aero.tables import drag_against_mach, stability_against_mach

MACH = np.linspace(0.05, 3.0, 60)
LABELS = {
    "plot_slopes": "normal force slope (1/rad)",
    "plot_centres": "station aft of the nose tip (m)",
    "plot_pitch_damping": "pitch damping C_m_q",
    "plot_roll": "roll moment derivative",
}


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


@pytest.fixture(scope="module")
def stability(demo_mission):
    return stability_against_mach(on_booster(demo_mission), mach=MACH)


@pytest.mark.parametrize("name", LABELS)
def test_figure__labels_and_given_axes(name, stability):
    ax = plt.figure().subplots()
    assert getattr(plot, name)(stability, ax=ax) is ax
    assert ax.get_xlabel() == "Mach number" and ax.get_ylabel() == LABELS[name]
    assert ax.get_legend() is not None


def test_drag__stack_reaches_the_lines(demo_mission):
    ds = drag_against_mach(demo_mission, mach=MACH)
    ax = plot.plot_drag_build_up(ds)
    top = np.max([c.get_paths()[0].vertices[:, 1].max() for c in ax.collections])
    assert top == pytest.approx(float(ds["build_up"].max()), rel=1e-9)
    names = [text.get_text() for text in ax.get_legend().get_texts()]
    assert "base" in names and "flown, motor on" in names and "boattail" not in names  # none on this vehicle


def test_stability__four_panels(stability):
    axes = plot.plot_stability(stability)
    assert axes.shape == (2, 2) and all(ax.get_title(loc="left") for ax in axes.flat)


def test_wrong_dataset__one_sentence(stability):
    with pytest.raises(ValueError, match="needs the result of sixdof.aero.drag_against_mach"):
        plot.plot_drag_build_up(stability)
