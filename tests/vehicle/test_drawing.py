"""The drawing: to scale, labelled, and nothing left open or set globally."""

from __future__ import annotations

import matplotlib

matplotlib.use("Agg")

import matplotlib.pyplot as plt
import numpy as np
import pytest
from mass_samples import booster, mission, sustainer

from sixdof.plot.vehicle.drawing import draw_vehicle
from sixdof.vehicle.describe import balance


@pytest.fixture(autouse=True)
def closed():
    yield
    plt.close("all")


def test_draw_vehicle__is_to_scale_and_as_long_as_the_vehicle():
    ax = draw_vehicle(mission(sustainer(), booster()))
    assert ax.get_aspect() == 1.0
    outline = max((patch.get_xy() for patch in ax.patches), key=len)  # the whole body has the most points
    assert outline[:, 0].min() == 0.0 and outline[:, 0].max() == pytest.approx(1.66, rel=1e-12)
    assert outline[:, 1].max() == pytest.approx(0.05, rel=1e-12)
    left, right = ax.get_xlim()
    assert left < 0.0 and right > 1.66


def test_draw_vehicle__labels_what_is_inside_and_the_centres():
    demo = mission(sustainer(), booster())
    ax = draw_vehicle(demo)
    texts = {text.get_text() for text in ax.texts}
    state = balance(demo, (0, 1))
    wanted = {
        "computer",
        "battery",
        "canopy",
        "H-demo",
        "3 x H-demo",
        f"cg loaded {state.loaded.centre[0]:.3f} m",
        f"cg burnt {state.burnt.centre[0]:.3f} m",
        f"cp {state.cp:.3f} m",
    }
    assert wanted <= texts


def test_draw_vehicle__labels_do_not_run_into_each_other_or_out_of_the_axes():
    ax = draw_vehicle(mission(sustainer(), booster()))
    ax.figure.canvas.draw()
    frame = ax.get_window_extent()
    boxes = [text.get_window_extent() for text in ax.texts]
    for n, box in enumerate(boxes):
        assert frame.x0 < box.x0 and box.x1 < frame.x1 and frame.y0 < box.y0 and box.y1 < frame.y1
        for other in boxes[n + 1 :]:
            assert not box.overlaps(other)


def test_draw_vehicle__uses_the_axes_it_is_given_and_sets_no_style():
    before = dict(matplotlib.rcParams)
    figure, ax = plt.subplots()
    size = figure.get_size_inches().copy()
    assert draw_vehicle(mission(), ax=ax) is ax
    np.testing.assert_array_equal(figure.get_size_inches(), size)
    assert dict(matplotlib.rcParams) == before
    assert len(plt.get_fignums()) == 1
