"""The vehicle as built: what was measured against what the parts add up to, which reading decides the error; and ballast for a margin."""

from __future__ import annotations

import math
import textwrap

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, PALE, axes_or_new, dress, legend
from sixdof.study.as_built.as_built_text import APART, name_of, read_unit, shown
from sixdof.study.as_built.ballast_text import when
from sixdof.study.reading.result import need_table

ROW, HEAD = 0.42, 1.5  # inches of a row, and of what is above and below all
SPAN = 2.0  # standard deviations of the bars
FURTHEST = 8.0  # standard deviations that the axis reaches to; what is further is an arrow
NAMED = 3  # readings of a budget that are named
LETTERS = 26.0  # of a reading's name that a bar of full length holds
BUDGET = (CYCLE[0], CYCLE[3], CYCLE[4])


def plot_as_built(ds: xr.Dataset, *, axes=None):
    """Draw what was measured against the parts, a row a quantity, and which readings make its error; return the axes (2,).

    Left: what the parts add up to is 0, in standard deviations that the mission draws it with (of the measurement where it draws none); the pale bar is
    that guess, the point the measurement with its error, both to 2 sd. Right: the share of each reading in the variance.

    ds : what `sixdof.workshop.as_built` returns. axes : two axes to draw into, or None for a new figure.

    Examples
    --------
    >>> stack = sixdof.load_mission("configs/two-stage.toml")
    >>> axes = sixdof.plot.plot_as_built(sixdof.workshop.as_built(stack, "configs/whinchat-readings.toml"))
    """
    need_table(ds, "plot_as_built", "workshop.as_built", "difference_by_guess", "budget")
    if axes is None:
        import matplotlib.pyplot as plt

        size = (11.5, HEAD + ROW * ds.sizes["row"])
        axes = plt.subplots(1, 2, figsize=size, width_ratios=(1.25, 1.0), layout="constrained")[1]
    left, right = np.ravel(axes)
    _against(left, ds)
    _budget(right, ds)
    return np.array([left, right])


def _against(ax, ds: xr.Dataset) -> None:
    names, notes = [], []
    for k in range(ds.sizes["row"]):
        one = ds.isel(row=k)
        guess, error, off = (float(one[name]) for name in ("guess", "error", "difference"))
        size = guess if guess > 0.0 else error
        unit = str(one["unit"].values)
        if guess > 0.0:
            ax.barh(k, 2.0 * SPAN, left=-SPAN, height=0.62, color=PALE, label="what the mission draws, 2 sd" if not names or "guess" not in notes else None)
            notes.append("guess")
        apart = abs(float(one["difference_by_guess"])) > APART
        at, colour = np.clip(off / size, -FURTHEST, FURTHEST), CYCLE[1] if apart else CYCLE[2]
        if abs(off / size) > FURTHEST:
            ax.plot(at, k, ">" if at > 0 else "<", ms=6.0, color=colour)
        else:
            ax.errorbar(at, k, xerr=SPAN * error / size, fmt="s" if apart else "o", ms=4.5, color=colour, lw=LINE + 0.2, capsize=2.5)
        unit_shown = read_unit(unit)
        text = f"{shown(float(one['value']), unit, error)} {unit_shown}  (sd {shown(error, unit, error)}, {shown(off, unit, error, '+')})"
        ax.text(1.02, k, text, transform=ax.get_yaxis_transform(), fontsize=FONT, color=INK, va="center")
        names.append(_label(ds, k))
    ax.axvline(0.0, color=INK, lw=0.9)
    apart = np.abs(ds["difference_by_guess"].values) > APART
    for which, mark, colour, text in ((~apart, "o", CYCLE[2], "measured, agrees (bar: 2 sd)"), (apart, "s", CYCLE[1], "measured, more than 2 sd apart")):
        if which.any():
            ax.plot([], [], mark, ms=4.5, color=colour, label=text)
    reach = max(SPAN + 1.0, *(1.15 * min(abs(x), FURTHEST) for x in np.nan_to_num(_places(ds))))
    ax.set(yticks=range(len(names)), yticklabels=names, ylim=(len(names) - 0.5, -0.5), xlim=(-reach, reach))
    ax.set_xlabel("measured less what the parts add up to, in sd of the guess\n(of the measurement where the mission draws none)")
    dress(ax)
    ax.grid(False, axis="y")
    legend(ax, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3)


def _places(ds: xr.Dataset) -> np.ndarray:
    size = np.where(ds["guess"].values > 0.0, ds["guess"].values, ds["error"].values)
    return np.divide(np.abs(ds["difference"].values) + SPAN * ds["error"].values, size, out=np.zeros(len(size)), where=size > 0.0)


def _label(ds: xr.Dataset, k: int) -> str:
    name = name_of(str(ds["quantity"].values[k]))
    return f"{name}\n{ds['stage'].values[k]}" if ds.attrs["stages"] > 1 else name


def _budget(ax, ds: xr.Dataset) -> None:
    for k in range(ds.sizes["row"]):
        shares, start = ds["budget"].isel(row=k).values, 0.0
        order = np.argsort(-shares)
        for j, which in enumerate(order[:NAMED]):
            share = float(shares[which])
            if share <= 0.0:
                continue
            ax.barh(k, share, left=start, height=0.62, color=BUDGET[j], edgecolor="white", lw=0.8)
            _write(ax, start + 0.5 * share, k, share, str(ds["reading"].values[which]))
            start += share
        if start < 1.0 - 1e-6:
            ax.barh(k, 1.0 - start, left=start, height=0.62, color=PALE, edgecolor="white", lw=0.8)
    ax.set(xlim=(0.0, 1.0), ylim=(ds.sizes["row"] - 0.5, -0.5), yticks=[], xlabel="share of each reading in the variance (grey: all others)")
    ax.xaxis.set_major_formatter(lambda share, _: f"{100.0 * share:.0f} %")
    dress(ax, "which reading to improve first")
    ax.grid(False)


def _write(ax, x: float, k: int, share: float, text: str) -> None:
    """Write a reading's name into its part of the bar where there is room for it, on two lines at most."""
    width = int(LETTERS * 2.2 * share)
    lines = textwrap.wrap(text, width) if width >= 6 else []
    if 0 < len(lines) <= 2 and max(map(len, lines)) <= width:
        ax.text(x, k, "\n".join(lines), fontsize=FONT - 1.0, color="white", ha="center", va="center", linespacing=0.95)


# ---------------------------------------------------------------- ballast


def plot_ballast(ds: xr.Dataset, *, ax=None):
    """Draw the static margin of the drawn flights without ballast and with it, beside what is wanted, and what the ballast costs.

    ds : what `sixdof.workshop.ballast` returns. ax : to draw into, or None for a new figure.

    Examples
    --------
    >>> ax = sixdof.plot.plot_ballast(sixdof.workshop.ballast(mission, "2.2 calibres", flights=4, progress=False))
    """
    need_table(ds, "plot_ballast", "workshop.ballast", "ballast_mass", "margin_tried")
    ax = axes_or_new(ax, size=(7.6, 4.2))
    grams, wanted = 1000.0 * ds["mass_tried"].values, ds.attrs["wanted"]
    known = np.isfinite(ds["margin_tried"].values)
    ax.axhline(wanted, color=CYCLE[1], lw=LINE, ls="--", label=f"wanted: {wanted:g} calibres")
    ax.plot(grams[known], ds["margin_tried"].values[known], "o-", ms=4.0, color=CYCLE[0], label=f"what {100.0 * ds.attrs['share']:.0f} % of the flights have")
    width = 0.03 * max(float(grams.max()), 1.0)
    for at, row, colour in zip(1000.0 * ds["ballast"].values, ds["margin"].values, (GREY, CYCLE[2])):
        values = row[np.isfinite(row)]
        if values.size:
            ax.plot(np.full(values.size, at) + width * np.linspace(-0.5, 0.5, values.size), values, ".", ms=3.0, color=colour, zorder=1)
    ax.plot([], [], ".", color=GREY, label="flights without")
    if float(ds["ballast"][1]) > 0.0:
        ax.plot([], [], ".", color=CYCLE[2], label=f"flights with {1000.0 * float(ds['ballast'][1]):.0f} g")
    ax.set(xlabel=f"ballast in {ds.attrs['place']} (g)", ylabel=f"static margin (calibres)\n{textwrap.shorten(when(ds), 60)}")
    ax.margins(x=0.05, y=0.08)
    dress(ax, _headline(ds))
    legend(ax, loc="best")
    return ax


def _headline(ds: xr.Dataset) -> str:
    mass = float(ds["ballast_mass"])
    if math.isnan(mass):
        return f"nothing in {ds.attrs['place']} gives {ds.attrs['wanted']:g} calibres"
    if mass == 0.0:
        return "no ballast is needed"
    apogee, speed = (float(ds[name][1] - ds[name][0]) for name in ("apogee", "departure_speed"))
    return f"{1000.0 * mass:.0f} g in {ds.attrs['place']}: apogee {apogee:+.0f} m, speed at rail departure {speed:+.1f} m/s"
