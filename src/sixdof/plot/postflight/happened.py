"""The figure of what happened: probabilities with their errors, which evidence speaks for which hypothesis, where the flights that agree with it come down."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.units import shown
from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, PALE, dress, legend_above
from sixdof.postflight.hypotheses.findings import too_few, unexplained
from sixdof.postflight.hypotheses.text import factors, happened_text, shown_candidates, times

STRONGEST = math.log(100.0)  # factor at which the colours of the evidence end
COLOURED = 3  # hypotheses that have a colour of their own on the map
SLIGHT = 1e-4  # of the largest weight: flights below are not drawn
_MARKS = {"fix": "P", "recovered": "D", "searched": "s"}


def plot_what_happened(ds: xr.Dataset, body: str | None = None):
    """Draw what happened on a page of three panels; return the figure.

    The probability of each hypothesis before and after the evidence, with its Monte Carlo standard error; how much likelier each piece of evidence is under
    each hypothesis than over all of them; landing places of one body, each flight by its weight, with places of the evidence.

    ds : what `sixdof.postflight.what_happened` returned. body : of the map; None: the front stage.

    Raises ValueError for anything else, and for a body that it has not.

    Examples
    --------
    >>> fix = {"kind": "fix", "time": "20 s", "east": "120 m", "north": "30 m", "horizontal_error": "60 m"}
    >>> found = sixdof.postflight.what_happened(mission, [fix], flights=8, rounds=1, progress=False)
    >>> figure = sixdof.plot.plot_what_happened(found)
    """
    happened_text(ds)  # says in one sentence what it is not
    names = [str(name) for name in ds["body"].values]
    if body is not None and body not in names:
        raise ValueError(f"plot_what_happened: there is no body {shown(body)}; the bodies are {', '.join(names)}")
    import matplotlib.pyplot as plt

    rows = max(len(shown_candidates(ds)) + 1, ds.sizes["evidence"])
    figure = plt.figure(figsize=(12.0, max(4.6 + 0.34 * rows, 6.6)), layout="constrained")
    grid = figure.add_gridspec(2, 2, width_ratios=(1.0, 1.0))
    chances, evidence, places = figure.add_subplot(grid[0, 0]), figure.add_subplot(grid[1, 0]), figure.add_subplot(grid[:, 1])
    _chances(chances, ds)
    _evidence(evidence, ds)
    _places(places, ds, names.index(body) if body else 0)
    title = ds.attrs.get("evidence_title") or ds.attrs.get("title") or ""
    loud = ": too few flights come near the evidence" if too_few(ds) else ": no hypothesis explains all of the evidence" if unexplained(ds) else ""
    figure.suptitle(f"{title}{': ' if title else ''}what happened{loud}", fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _letter(k: int) -> str:
    return chr(ord("A") + k)


def _chances(ax, ds: xr.Dataset) -> None:
    """Draw the probability of every hypothesis shown, before and after."""
    chosen = list(shown_candidates(ds))
    rest = [k for k in range(ds.sizes["candidate"]) if k not in chosen and ds["probability"].values[k] > 0.005]
    rows = [*chosen, *rest]
    p, error, prior = (100.0 * ds[name].values[rows] for name in ("probability", "probability_error", "prior"))
    place = np.arange(len(rows))
    ax.barh(place, p, 0.55, color=CYCLE[0], alpha=0.75, label="after the evidence", zorder=2)
    ax.errorbar(p, place, xerr=error, fmt="none", ecolor=INK, elinewidth=LINE, capsize=2.5, label="one standard error", zorder=4)
    ax.plot(prior, place, "D", color=CYCLE[1], mfc="white", ms=4.5, label="before", zorder=3)
    names = ds["candidate"].values.astype(str)
    marks = [f"{_letter(i)}  {_cut(names[k])}" if k in chosen else _cut(names[k]) for i, k in enumerate(rows)]
    ax.set_yticks(place, marks)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    ax.set_xlim(0.0, 102.0)
    ax.set_xlabel("probability (%)")
    dress(ax)
    ax.legend(loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, fontsize=FONT, frameon=False, columnspacing=1.2, borderaxespad=0.2)


def _cut(name: str, most: int = 34) -> str:
    return name if len(name) <= most else f"{name[: most - 3]}..."


def _evidence(ax, ds: xr.Dataset) -> None:
    """Draw the factors of every piece under every hypothesis shown."""
    from matplotlib.colors import LinearSegmentedColormap

    chosen = shown_candidates(ds)
    values = factors(ds)[chosen].T
    colours = LinearSegmentedColormap.from_list("against, for", [CYCLE[1], "white", CYCLE[0]])
    ax.pcolormesh(
        np.arange(len(chosen) + 1), np.arange(values.shape[0] + 1), np.clip(values, -STRONGEST, STRONGEST), cmap=colours, vmin=-STRONGEST, vmax=STRONGEST
    )
    for j in range(values.shape[0]):
        for k in range(len(chosen)):
            strong = abs(values[j, k]) > 0.6 * STRONGEST
            ax.text(k + 0.5, j + 0.5, times(values[j, k]), ha="center", va="center", fontsize=FONT, color="white" if strong else INK)
    ax.set_xticks(np.arange(len(chosen)) + 0.5, [_letter(k) for k in range(len(chosen))])
    ax.set_yticks(np.arange(values.shape[0]) + 0.5, [_cut(str(name)) for name in ds["evidence"].values])
    ax.set_ylim(values.shape[0], 0.0)
    dress(ax, "Each piece by itself: times likelier (x), less likely (/)")
    ax.grid(False)


def _places(ax, ds: xr.Dataset, body: int) -> None:
    """Draw where the weighted flights come down, and the places that evidence tells of."""
    weight, own = ds["weight"].values, ds["hypothesis"].values.astype(str)
    east, north = ds["body_landing_east"].values[:, body], ds["body_landing_north"].values[:, body]
    drawn = np.isfinite(east + north) & (weight > SLIGHT * weight.max())
    names = ds["candidate"].values.astype(str)
    chosen = [names[k] for k in shown_candidates(ds)]
    groups = [(f"{_letter(k)}  {_cut(name)}", own == name, CYCLE[k]) for k, name in enumerate(chosen[:COLOURED])]
    groups.append(("others", ~np.isin(own, chosen[:COLOURED]), GREY))
    for text, which, colour in groups:
        some = drawn & which
        if some.any():
            size = 8.0 + 150.0 * np.sqrt(weight[some] / weight.max())
            ax.scatter(east[some], north[some], s=size, color=colour, alpha=0.35, lw=0.0, label=text, zorder=3)
    _marks(ax, ds)
    ax.plot(0.0, 0.0, "^", color=INK, ms=7.0, label="rail", zorder=5)
    ax.set(xlabel="east of the rail (m)", ylabel="north of the rail (m)")
    _framed(ax, east[drawn], north[drawn])
    dress(ax)
    legend_above(ax, 2, title=f"Where {ds['body'].values[body]} comes down: the larger, the likelier", title_fontsize=FONT + 0.5, alignment="left")


def _framed(ax, east: np.ndarray, north: np.ndarray) -> None:
    """Give the map equal scales and limits that hold flights, evidence and rail, as high as it is wide."""
    points = [np.concatenate([values, *(line.get_data()[k] for line in ax.lines)]) for k, values in enumerate((east, north))]
    middle = [0.5 * (values.min() + values.max()) for values in points]
    half = 0.55 * max(max(float(np.ptp(values)) for values in points), 20.0)
    ax.set(xlim=(middle[0] - half, middle[0] + half), ylim=(middle[1] - half, middle[1] + half))
    ax.set_aspect("equal", adjustable="box")


def _marks(ax, ds: xr.Dataset) -> None:
    kinds, names = ds["evidence_kind"].values.astype(str), ds["evidence"].values.astype(str)
    east, north = ds["evidence_east"].values, ds["evidence_north"].values
    for k, kind in enumerate(kinds):
        if kind in _MARKS and np.isfinite(east[k] + north[k]):
            ax.plot(east[k], north[k], _MARKS[kind], color=INK, mfc=PALE, ms=7.0, mew=1.0, label=_cut(names[k]), zorder=4)
