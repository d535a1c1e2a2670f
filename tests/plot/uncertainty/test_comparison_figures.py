"""Figures of a comparison: what is drawn is what `paired` and `judge_criteria` say, in the units that the labels name."""

from __future__ import annotations

import matplotlib.pyplot as plt
import numpy as np
import pytest
from matplotlib.figure import Figure
from results_by_hand import ensemble_by_hand

from sixdof.plot.uncertainty.comparison import plot_comparison, plot_paired, plot_verdicts
from sixdof.study.variants.judging import judge_criteria
from sixdof.study.variants.pairs import paired
from sixdof.study.variants.vary import joined_variants

FLIGHTS = 60
CRITERIA = ["apogee_height < 640 m in 90 % of flights", "tilt_max < 12 deg in 90 % of flights", "status is landed in 99 % of flights"]


@pytest.fixture(autouse=True)
def unchanged():
    before = dict(plt.rcParams)
    yield
    assert dict(plt.rcParams) == before
    plt.close("all")


@pytest.fixture(scope="module")
def compared(demo_mission):
    rng = np.random.default_rng(2)
    shared, parts = rng.normal(600.0, 30.0, FLIGHTS), {}
    for k, name in enumerate(("first", "second", "third")):
        ds = ensemble_by_hand(demo_mission, np.zeros((FLIGHTS, 2)), points=0)
        ds["apogee_height"].values[:] = shared + 20.0 * k + rng.normal(0.0, 2.0, FLIGHTS)
        ds["tilt_max"].values[:] = np.radians(rng.uniform(5.0, 10.0, FLIGHTS))
        parts[name] = ds
    parts["second"]["apogee_height"].values[:3] = np.nan
    return joined_variants(parts, [demo_mission] * 3).assign_attrs(criteria="\n".join(CRITERIA))


def drawn():
    figure = Figure(layout="constrained")  # outside pyplot: nothing may be opened there
    return figure, figure.subplots()


def test_plot_comparison__quantiles_and_the_limit_of_its_own_criterion(compared):
    figure, ax = drawn()
    assert plot_comparison(compared, "apogee_height", ax=ax) is ax and plt.get_fignums() == []
    figure.canvas.draw()
    assert ax.get_xlabel() == "apogee above ground (m)"
    assert [t.get_text() for t in ax.get_yticklabels()] == ["first", "second\n(3 without a value)", "third"]
    wide, half, tick = (line.get_xdata() for line in ax.lines[:3])
    q = np.quantile(compared["apogee_height"].sel(variant="first"), [0.05, 0.25, 0.5, 0.75, 0.95])
    assert list(wide) == pytest.approx([q[0], q[4]]) and list(half) == pytest.approx([q[1], q[3]]) and tick[0] == pytest.approx(q[2])
    limits = [line for line in ax.lines if line.get_label().startswith("limit")]
    assert [line.get_xdata()[0] for line in limits] == [640.0]


def test_plot_comparison__angles_in_degrees(compared):
    _, ax = drawn()
    plot_comparison(compared, "tilt_max", ax=ax)
    assert ax.get_xlabel().endswith("(deg)")
    assert [line.get_xdata()[0] for line in ax.lines if line.get_label().startswith("limit")] == [pytest.approx(12.0)]
    assert min(ax.lines[0].get_xdata()) >= 5.0 and max(ax.lines[0].get_xdata()) <= 10.0


def test_plot_comparison__a_variant_without_a_value_says_so(compared):
    ds = compared.copy(deep=True)
    ds["apogee_height"].loc[dict(variant="third")] = np.nan
    _, ax = drawn()
    plot_comparison(ds, "apogee_height", criteria=(), ax=ax)
    assert [t.get_text() for t in ax.texts] == ["no flight has a value"]


def test_plot_comparison__of_the_first_criterion_where_no_outcome_is_named(compared):
    _, ax = drawn()
    plot_comparison(compared, ax=ax)
    assert ax.get_xlabel() == "apogee above ground (m)"
    assert [line.get_xdata()[0] for line in ax.lines if line.get_label().startswith("limit")] == [640.0]
    with pytest.raises(ValueError, match="name an outcome"):
        plot_comparison(compared, criteria=["status is landed"])


def test_plot_paired__means_and_intervals(compared):
    figure, ax = drawn()
    plot_paired(compared, "apogee_height", baseline="second", confidence=0.8, ax=ax)
    figure.canvas.draw()
    found = paired(compared, "apogee_height", baseline="second", confidence=0.8)
    points = next(c for c in ax.containers if c.lines[0] is not None)
    assert list(points.lines[0].get_xdata()) == found["mean"].values.tolist()
    ends = [segment[:, 0].tolist() for segment in points.lines[2][0].get_segments()]
    assert ends == [pytest.approx(pair) for pair in zip(found["mean_low"].values, found["mean_high"].values)]
    wide = next(c for c in ax.containers if c.lines[0] is None).lines[2][0].get_segments()
    ratio = [np.ptp(w[:, 0]) / np.ptp(e) for w, e in zip(wide, ends)]
    assert ratio == pytest.approx(found["narrowing"].values)
    assert ax.get_xlabel() == "apogee above ground, less that of second (m)"


def test_plot_verdicts__words_in_every_cell(compared):
    judged = judge_criteria(compared)
    figure, ax = drawn()
    plot_verdicts(judged, ax=ax)
    figure.canvas.draw()
    words = [t.get_text().split("\n")[0] for t in ax.texts]
    assert words == [("pass", "fail", "undecided")[v] for v in judged["verdict"].values.ravel()]
    assert set(words) == {"pass", "fail", "undecided"}  # this set of flights shows all three
    assert len({patch.get_facecolor() for patch in ax.patches}) == 3
    assert [t.get_text() for t in ax.get_yticklabels()] == ["first", "second", "third"]
    more = [t.get_text() for t in ax.texts if "not enough" in t.get_text()]
    assert all(f"at least {n} more" in text for text, n in zip(more, judged["more_flights"].values.ravel()[judged["verdict"].values.ravel() == 2]))


def test_figures__refuse_what_is_no_comparison(compared):
    one = compared.isel(variant=0)
    for function in (plot_comparison, plot_paired):
        with pytest.raises(ValueError, match="takes a comparison"):
            function(one, "apogee_height")
    with pytest.raises(ValueError, match="plot_verdicts takes verdicts"):
        plot_verdicts(compared)
