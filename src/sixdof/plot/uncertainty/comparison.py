"""Figures of variants flown on the same draws. Each takes what `sixdof.compare` returned, or its verdicts."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, axes_or_new, dress, label, legend, shown
from sixdof.study.uncertainty.claims import FAIL, PASS, UNDECIDED
from sixdof.study.variants.comparison_text import share_text
from sixdof.study.variants.criteria import Criterion, percent
from sixdof.study.variants.judging import VERDICTS, wanted_criteria
from sixdof.study.variants.pairs import outcome_by_variant, paired

SPAN, HALF, MIDDLE = (0.05, 0.95), (0.25, 0.75), 0.5  # shares of the flights that bars and ticks hold
ROW = 0.42  # inches of a variant's row
# verdict -> colour of its cell, and of the words on it: they differ in lightness too, and the words say it all
CELLS = {PASS: ("#d6e6f2", INK), FAIL: (CYCLE[1], "white"), UNDECIDED: ("#efefef", INK)}


def plot_comparison(ds: xr.Dataset, outcome: str | None = None, *, criteria: str | Criterion | Iterable[str | Criterion] | None = None, ax=None):
    """Draw how an outcome spreads in each variant: thin bar 5 to 95 % of the flights, thick bar 25 to 75 %, tick median.

    Limits of criteria on this outcome are drawn as lines. Angles in degrees.

    ax : to draw into; new ones by default.

    Parameters
    ----------
    outcome : such as "apogee_height", "tilt at burnout", "landing" or "landing_ground_speed of booster"; see `sixdof.stats.criterion`.
        None: that of the first criterion that limits one
    criteria : None takes those given to `compare`; those on other outcomes are omitted

    ax : axes to draw into, or None for a new figure.

    Raises ValueError for what is not a comparison, an unknown outcome or a flag, and criteria that do not fit.

    Examples
    --------
    >>> ax = sixdof.plot.plot_comparison(compared, "rail_departure_speed")
    """
    given = ds.attrs.get("criteria") if criteria is None and isinstance(ds, xr.Dataset) else criteria
    every = wanted_criteria(ds, criteria, "plot_comparison") if given else []
    of, values = outcome_by_variant(ds, _first_subject(every) if outcome is None else outcome, "plot_comparison")
    limits = [one for one in every if one.subject == of and not one.words]
    names = [str(name) for name in values["variant"].values]
    ax = axes_or_new(ax, size=(6.4, 1.3 + ROW * (len(names) + len(limits))))
    numbers = shown(values)
    for row, one in enumerate(numbers):
        _draw_spread(ax, row, one[np.isfinite(one)])
    for k, one in enumerate(limits):
        _draw_limit(ax, one, shown(values[:1, :1].copy(data=[[one.limit]]))[0, 0], CYCLE[(k + 1) % len(CYCLE)])
    _name_rows(ax, _with_missing(names, numbers))
    ax.set(xlabel=label(values))
    ax.margins(x=0.06)
    dress(ax)
    ax.grid(False, axis="y")
    legend(ax, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3 if not limits else 1)
    return ax


def _first_subject(criteria):
    """Return the outcome of the first criterion that is a limit; ValueError where there is none."""
    for one in criteria:
        if one.subject is not None and not one.words:
            return one.subject
    raise ValueError('plot_comparison: name an outcome, such as "apogee_height", or compare with a criterion that limits one')


def _draw_spread(ax, row: int, values: np.ndarray) -> None:
    """Draw the quantiles of one variant in its row; the first names them for the legend."""
    if not values.size:
        ax.text(0.5, row, "no flight has a value", transform=ax.get_yaxis_transform(), fontsize=FONT, color=GREY, ha="center", va="center")
        return
    low, high, lower, upper, middle = np.quantile(values, (*SPAN, *HALF, MIDDLE))
    named = {} if ax.lines else {"5": "5 to 95 % of the flights", "25": "25 to 75 %", "50": "median"}
    ax.plot([low, high], [row, row], color=CYCLE[0], lw=LINE + 0.4, solid_capstyle="butt", label=named.get("5"), zorder=2)
    ax.plot([lower, upper], [row, row], color=CYCLE[0], lw=6.0, solid_capstyle="butt", label=named.get("25"), zorder=3)
    ax.plot([middle], [row], "|", color=INK, ms=13.0, mew=LINE + 0.7, label=named.get("50"), zorder=4)


def _draw_limit(ax, one: Criterion, at: float, colour: str) -> None:
    line = ax.axvline(at, color=colour, lw=LINE + 0.3, ls=(0, (5, 2)), zorder=1)
    line.set_label(textwrap.fill(f"limit: {one}", 90))


def _with_missing(names: list[str], numbers: np.ndarray) -> list[str]:
    missing = np.sum(~np.isfinite(numbers), axis=1)
    return [f"{name}\n({count} without a value)" if count else name for name, count in zip(names, missing, strict=True)]


def _name_rows(ax, names: list[str]) -> None:
    """Put names on the rows 0, 1, ... from the top down."""
    ax.set_yticks(range(len(names)), names)
    ax.set_ylim(len(names) - 0.4, -0.6)


def plot_paired(ds: xr.Dataset, outcome: str, *, baseline: str | None = None, confidence: float = 0.9, ax=None):
    """Draw how an outcome of each variant differs from the baseline's in the same flights. Angles in degrees.

    A grey bar holds 5 to 95 % of the differences flight by flight; a point and its bar the mean difference with its interval; the pale
    bar is the interval of the mean that two ensembles on different draws would have had (see `sixdof.stats.paired`).

    confidence : of the intervals. ax : axes to draw into, or None for a new figure.

    confidence : of the interval of the mean difference. ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_paired(compared, "rail_departure_speed")
    """
    found = paired(ds, outcome, baseline=baseline, confidence=confidence)
    of, values = outcome_by_variant(ds, outcome, "plot_paired")
    names, base = [str(name) for name in found["variant"].values], found.attrs["baseline"]
    ax = axes_or_new(ax, size=(6.4, 1.5 + ROW * len(names)))
    numbers = values.copy(data=shown(values))
    rest = {name: numbers.sel(variant=name).values - numbers.sel(variant=base).values for name in names}
    for row, difference in enumerate(rest.values()):
        _draw_difference(ax, row, difference[np.isfinite(difference)])
    _draw_means(ax, found, confidence)
    ax.axvline(0.0, color=INK, lw=0.7, zorder=1)
    _name_rows(ax, _with_missing(names, np.array(list(rest.values()))))
    ax.set(xlabel=label(values.assign_attrs(long_name=f"{values.attrs['long_name']}, less that of {base}")))
    dress(ax)
    ax.grid(False, axis="y")
    legend(ax, loc="lower left", bbox_to_anchor=(0.0, 1.0))
    return ax


def _draw_difference(ax, row: int, difference: np.ndarray) -> None:
    if difference.size:
        ends = np.quantile(difference, SPAN)
        text = None if ax.lines else "5 to 95 % of the differences, flight by flight"
        ax.plot(ends, [row, row], color=GREY, lw=LINE, label=text, zorder=2)


def _draw_means(ax, found: xr.Dataset, confidence: float) -> None:
    """Draw the mean differences with their intervals, over those of independent ensembles."""
    mean, low, high = (shown(found[name]) for name in ("mean", "mean_low", "mean_high"))
    half, rows = 0.5 * (high - low), np.arange(found.sizes["variant"])
    known = np.isfinite(half)
    wide = np.nan_to_num(half * found["narrowing"].values)[known]
    ax.errorbar(
        mean[known],
        rows[known],
        xerr=wide,
        fmt="none",
        ecolor=CYCLE[4],
        elinewidth=7.0,
        alpha=0.45,
        zorder=2.5,
        label="its confidence interval from two ensembles on different draws",
    )
    ax.errorbar(
        mean[known],
        rows[known],
        xerr=half[known],
        fmt="o",
        ms=4.0,
        color=CYCLE[1],
        elinewidth=LINE + 0.5,
        capsize=4.0,
        zorder=3,
        label=f"mean difference on the same draws, {100.0 * confidence:g} % confidence interval",
    )


def plot_verdicts(judged: xr.Dataset, *, ax=None):
    """Draw verdicts as a grid, variants by criteria: each cell says pass, fail or undecided, and the share that meets it.

    judged : what `sixdof.stats.judge_criteria` returned. Raises ValueError for anything else.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_verdicts(sixdof.stats.judge_criteria(compared, "apogee_height > 100 m in 50 % of flights"))
    """
    if not isinstance(judged, xr.Dataset) or "verdict" not in judged or judged["verdict"].dims != ("variant", "criterion"):
        raise ValueError("plot_verdicts takes verdicts (dims variant and criterion), as judge_criteria returns them")
    names = [str(name) for name in judged["variant"].values]
    texts = [str(text) for text in judged["criterion"].values]
    ax = axes_or_new(ax, size=(max(1.2 + 1.55 * len(texts), 4.4), 1.5 + 0.5 * len(names)))
    for row in range(len(names)):
        for column in range(len(texts)):
            _draw_cell(ax, row, column, judged.isel(variant=row, criterion=column))
    ax.set(xlim=(-0.5, len(texts) - 0.5), ylim=(len(names) - 0.5, -0.5))
    ax.set_yticks(range(len(names)), names)
    ax.set_xticks(range(len(texts)), [textwrap.fill(text, 20) for text in texts])
    ax.tick_params(labelsize=FONT, length=0.0, labelcolor=INK, labeltop=True, labelbottom=False)
    ax.spines[:].set_visible(False)
    confidence = f"each judged with {percent(float(judged.attrs['confidence']))} confidence by itself"
    ax.set_xlabel(confidence, fontsize=FONT, color=GREY, loc="left")
    return ax


def _draw_cell(ax, row: int, column: int, one: xr.Dataset) -> None:
    from matplotlib.patches import Rectangle

    verdict = VERDICTS[int(one["verdict"])]
    fill, ink = CELLS[verdict]
    ax.add_patch(Rectangle((column - 0.5, row - 0.5), 1.0, 1.0, fc=fill, ec="white", lw=2.0))
    more = f"\nat least {int(one['more_flights'])} more" if verdict == UNDECIDED else ""
    ax.text(
        column,
        row,
        f"{verdict}\n{share_text(one)}{more}",
        fontsize=FONT - 0.5,
        color=ink,
        ha="center",
        va="center",
        fontweight="bold" if verdict == FAIL else "normal",
    )
