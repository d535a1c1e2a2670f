"""The figure of a choice of motors: every motor looked at in a row, what it is worth, what became of it and why."""

from __future__ import annotations

import textwrap

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, axes_or_new, dress, label, legend, shown
from sixdof.study.motor_choice.deciding import BEST, FAILS, MEETS, OPEN, UNFIT, UNKNOWN
from sixdof.study.motor_choice.motor_choice_text import need_choice, short_why, standings_of
from sixdof.study.motor_choice.preference import wishes_of
from sixdof.study.reading.result import plural
from sixdof.study.variants.judging import ensembles
from sixdof.study.variants.subjects import subject

SPAN, HALF = (0.05, 0.95), (0.25, 0.75)  # shares of the flights
ROW = 0.72  # inches of a motor's row
USUAL = "apogee_height"  # what is drawn where the preference is no outcome and no number
WRAP = 62  # characters of why a motor lost
COLOURS = {BEST: CYCLE[2], MEETS: CYCLE[0], OPEN: CYCLE[5], FAILS: CYCLE[1], UNFIT: GREY, UNKNOWN: GREY}
_WORDS = {BEST: "the best", MEETS: "meets all criteria", OPEN: "undecided", FAILS: "fails", UNFIT: "does not fit", UNKNOWN: "not known"}


def plot_motor_choice(ds: xr.Dataset, *, ax=None):
    """Draw a choice of motors: a row each, with the spread of what is preferred, what became of the motor, and why.

    Thin bar 5 to 95 % of the flights, thick bar 25 to 75 %, tick median; a number of the motor (a price) is a point. Colours say what became of a motor,
    and so do the words beside it.

    ds : what `sixdof.preflight.choose_motor` returned. Raises ValueError for anything else, and where no motor fits.

    ax : axes to draw into, or None for a new figure.

    Examples
    --------
    >>> files = ["configs/motors/mesa-i.csv", "configs/motors/mesa-j.csv"]
    >>> choice = sixdof.preflight.choose_motor(stack, files, prefer="most apogee_height", flights=4, confirm=False, progress=False)
    >>> ax = sixdof.plot.plot_motor_choice(choice)
    """
    need_choice(ds, "plot_motor_choice")
    if "variant" not in ds.dims:
        raise ValueError("plot_motor_choice has nothing to draw: no motor fits, and none was flown; sixdof.report says why")
    names, standings = [str(name) for name in ds["motor"].values], standings_of(ds)
    ax = axes_or_new(ax, size=(8.6, 1.5 + ROW * len(names)))
    variable, rows = _worth(ds)
    for k, name in enumerate(names):
        _draw_row(ax, k, rows.get(name, np.empty(0)), standings[name])
    _draw_medians(ax, [rows.get(name, np.empty(0)) for name in names])
    _name_rows(ax, ds, names, standings)
    for k, name in enumerate(names):
        text = textwrap.fill(short_why(ds, name), WRAP)
        ax.text(1.03, k, text, transform=ax.get_yaxis_transform(), fontsize=FONT - 0.5, color=INK, ha="left", va="center")
    ax.set(xlabel=label(variable), ylim=(len(names) - 0.4, -0.6))
    ax.margins(x=0.06)
    dress(ax)
    ax.grid(False, axis="y")
    if ax.get_legend_handles_labels()[1]:  # nothing is drawn where no flight has a value
        legend(ax, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=4)
    ax.set_title(_headline(ds), fontsize=FONT + 1.0, color=INK, loc="left", pad=26.0)
    return ax


def _headline(ds: xr.Dataset) -> str:
    """Return the answer in a line: which motor of which stage, and by what it was preferred."""
    best, flights = ds.attrs["best"], plural(ds.sizes["flight"])
    answer = f"{best} is the best for {ds.attrs['stage']}" if best else f"no motor for {ds.attrs['stage']} stands out"
    return f"{answer}: {ds.attrs['prefer'] or 'no preference'}, {flights} each on the same draws"


def _worth(ds: xr.Dataset) -> tuple[xr.DataArray, dict[str, np.ndarray]]:
    """Return the variable of what is preferred, for its label, and its values by motor, as a figure shows them."""
    numbers = [str(name) for name, v in ds.data_vars.items() if v.dims == ("motor",) and v.dtype.kind == "f"]
    wishes = wishes_of(ds.attrs["prefer"] or None, numbers)
    if wishes and wishes[0].subject is None:
        found = ds[wishes[0].what]
        return found, {str(name): values[np.isfinite(values)] for name, values in zip(ds["motor"].values, shown(found)[:, None], strict=True)}
    of = wishes[0].subject if wishes else subject(USUAL)
    arrays = {name: of.array(one) for name, one in ensembles(ds).items()}
    rows = {name: (values := shown(array))[np.isfinite(values)] for name, array in arrays.items()}
    return next(iter(arrays.values())), rows


def _draw_row(ax, row: int, values: np.ndarray, standing: str) -> None:
    """Draw the quantiles of one motor in its row; the first of a standing names it for the legend."""
    if not values.size:
        return
    colour, known = COLOURS[standing], {line.get_label() for line in ax.lines}
    named = _WORDS[standing] if _WORDS[standing] not in known else None
    if values.size == 1:
        ax.plot(values, [row], "o", color=colour, ms=7.0, label=named, zorder=3)
        return
    low, high, lower, upper = np.quantile(values, (*SPAN, *HALF))
    ax.plot([lower, upper], [row, row], color=colour, lw=6.0, solid_capstyle="butt", label=named, zorder=3)
    ax.plot([low, high], [row, row], color=colour, lw=LINE + 0.4, solid_capstyle="butt", zorder=2, gid=f"of:{_WORDS[standing]}")


def _draw_medians(ax, rows: list[np.ndarray]) -> None:
    """Draw the medians of motors that have many values, last, so that they are behind the colours in the legend."""
    found = [(float(np.median(values)), k) for k, values in enumerate(rows) if values.size > 1]
    if found:
        ax.plot(*zip(*found), "|", color=INK, ms=13.0, mew=LINE + 0.7, label="median", zorder=4)


def _name_rows(ax, ds: xr.Dataset, names: list[str], standings: dict[str, str]) -> None:
    """Name the rows by motor and class, the best one bold, in the colour of what became of it."""
    called = [f"{name} ({of})" if of else name for name, of in zip(names, ds["motor_class"].values.astype(str), strict=True)]
    ax.set_yticks(range(len(names)), [f"{name}\n{_WORDS[word]}" for name, word in zip(called, standings.values(), strict=True)])
    for text, name in zip(ax.get_yticklabels(), names, strict=True):
        text.set_fontweight("bold" if standings[name] == BEST else "normal")
