"""Does it turn into the wind? One page of figures: over wind, at events, speed needed, causes, maps, cures, and where the theory fails."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Sequence

import numpy as np
import xarray as xr

from sixdof.mission.units import shown
from sixdof.plot.style import BAND, CYCLE, DASHES, FONT, GREY, INK, LINE, PALE, blank, dress, label, legend, legend_on_top
from sixdof.study.reading.practice import RAIL_INCIDENCE, WIND_RATIO
from sixdof.study.reading.result import need_table
from sixdof.study.weathercock.changes import AS_WRITTEN, LOCKED
from sixdof.study.weathercock.flights import middle

PANELS = (("wind", "events", "speeds", "theory"), ("causes", "thrust", "margin", "cures"))
NO_MAPS = (("wind", "events", "speeds"), ("causes", "theory", "cures"))
FEW = (("wind", "events", "speeds"), ("causes", "theory", "theory"))
COLOURS = "cividis_r"
LETTERS = 11.0  # of the title, an inch of figure
THEORY = (("triangle", "wind triangle"), ("closed_turn", "closed form"), ("profile_turn", "linear theory"))


def plot_weathercock(ds: xr.Dataset, *, panels: Sequence[Sequence[str]] | None = None, width: float | None = None):
    """Draw whether a vehicle turns into the wind, what causes it and what cures it, on one page; return the figure.

    Lines over wind are means of the flights, bands 5 to 95 % of them; beside them stand the wind triangle at rail departure, the closed form and
    the linear theory. Maps are of the median turn, with the line on which what is asked for is just met. A panel without numbers says why.

    ds : what `sixdof.preflight.weathercock` returns.
    width : of the figure, inches; None: 4.75 a panel.
    panels : rows of names of panels, such as [["wind", "causes"], ["events", "cures"]]: wind, events, speeds, theory, causes, thrust, margin, cures.
        None: all that were flown.

    Raises ValueError for anything else.

    Examples
    --------
    >>> found = sixdof.preflight.weathercock(mission, flights=2, winds=[0.0, 8.0], maps=False, cures=False, progress=False)
    >>> figure = sixdof.plot.plot_weathercock(found)
    """
    need_table(ds, "plot_weathercock", "preflight.weathercock", "turn", "missed", "cause_mean", "speed_needed", "triangle")
    import matplotlib.pyplot as plt

    rows = [list(row) for row in (panels if panels is not None else PANELS if "thrust_turn" in ds else NO_MAPS if ds.attrs["cures_tried"] else FEW)]
    strange = sorted({name for row in rows for name in row} - set(_DRAW))
    if strange or not rows or len({len(row) for row in rows}) != 1:
        raise ValueError(f"plot_weathercock: panels must be rows, equally long, of {', '.join(_DRAW)}, not {shown(strange[0] if strange else rows)}")
    figure = plt.figure(figsize=(width or 4.75 * len(rows[0]), 4.6 * len(rows)), layout="constrained")
    for name, ax in figure.subplot_mosaic(rows).items():
        _DRAW[name](ax, ds)
    asked = "; ".join(ds.attrs["criteria"].split("\n"))
    text = f"{ds.attrs['title']}: does it turn into the wind?  asked for: {asked}"
    text = textwrap.fill(text, int(LETTERS * figure.get_size_inches()[0]))
    figure.suptitle(text, fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _said(event) -> str:
    return str(event).replace("_", " ")


def _turn(ds: xr.Dataset) -> xr.DataArray:
    """Return the turn that is asked about (fins, wind, flight), deg."""
    name = "path_turn" if ds.attrs["angle"] == "path_lean" else "turn"
    return np.degrees(ds[name].sel(event=ds.attrs["at_event"]))


def _wind(ax, ds: xr.Dataset) -> None:
    turned, wind = _turn(ds), ds["wind"].values
    for k, fins in enumerate(ds["fins"].values):
        one = turned.sel(fins=fins).values
        text = "as written" if fins == AS_WRITTEN else f"fins {fins}"
        ax.fill_between(wind, middle(one, quantile=0.05), middle(one, quantile=0.95), color=CYCLE[k], alpha=0.15, lw=0.0)
        ax.plot(wind, middle(one), color=CYCLE[k], lw=LINE + 0.6 - 0.3 * k, ls=DASHES[k], marker="o", ms=3.0, label=text)
    for dash, (name, text) in zip(DASHES[1:], THEORY):
        ax.plot(wind, np.degrees(ds[name].values), color=INK if name == "profile_turn" else GREY, lw=LINE, ls=dash, label=text)
    ax.set(xlabel=label(ds["wind"]), ylabel=f"turn since the rail (deg), to {_said(ds.attrs['at_event'])}", xlim=(wind[0], wind[-1]))
    dress(ax, "turn into the wind: mean, 5 to 95 %")
    legend_on_top(ax, 2)


def _events(ax, ds: xr.Dataset) -> None:
    wind = float(ds["wind"][int(np.argmin(np.abs(ds["wind"].values - ds.attrs["design_wind"])))])
    at = np.arange(ds.sizes["event"] + 1)
    rail = math.degrees(ds.attrs["exit_lean"])
    for k, fins in enumerate(ds["fins"].values):
        for key, text, dash in (("lean", "nose", "-"), ("path_lean", "path", DASHES[3])):
            if key == "path_lean" and fins != AS_WRITTEN:
                continue
            values = np.degrees(middle(ds[key].sel(fins=fins, wind=wind).values, axis=0))
            name = f"{text}, as written" if fins == AS_WRITTEN else f"{text}, fins {fins}"
            ax.plot(at, [rail, *values], color=CYCLE[k], lw=LINE + 0.6 - 0.3 * k, ls=dash if fins == AS_WRITTEN else DASHES[k], marker="o", ms=3.0, label=name)
    ax.axhline(0.0, color=INK, lw=0.6)
    ax.set_xticks(at, ["rail", *(textwrap.fill(_said(event), 12) for event in ds["event"].values)], rotation=90 if len(at) > 4 else 0)
    ax.set(ylabel="lean into the wind (deg), mean")
    dress(ax, f"at events, in {wind:g} m/s")
    legend_on_top(ax, 2)


def _speeds(ax, ds: xr.Dataset) -> None:
    wind, flown, closed = (ds[name].values for name in ("wind", "speed_needed", "speed_needed_closed"))
    low, high = float(ds["rail_speed"].min()), float(ds["rail_speed"].max())
    fins = ", fins locked" if LOCKED in ds["fins"].values else ""
    ax.plot(wind, np.clip(flown, low, high), color=CYCLE[0], lw=LINE + 0.6, marker="o", ms=4.0, label=f"flown{fins}; ends: of the rails tried")
    if np.isfinite(closed).any():
        ax.plot(wind, np.where(np.isfinite(closed), closed, np.nan), color=GREY, lw=LINE, ls=DASHES[2], label="closed form, with the flights' spread")
    ax.plot(wind, WIND_RATIO * wind, color=GREY, lw=0.9, ls=":", label=f"common practice, {WIND_RATIO:g} times the wind")
    ax.axhline(ds.attrs["exit_speed"], color=CYCLE[1], lw=LINE, ls=DASHES[1], label="as written")
    ax.set(xlabel=label(ds["wind"]), ylabel="speed needed at rail departure (m/s)", xlim=(wind[0], wind[-1]))
    ax.set_ylim(0.0, 1.05 * max(high, float(WIND_RATIO * wind[-1]), float(np.nanmax(np.where(np.isfinite(closed), closed, 0.0)))))
    dress(ax, "speed needed at rail departure")
    legend_on_top(ax, 1)


def _errors(ax, ds: xr.Dataset) -> None:
    fins = LOCKED if LOCKED in ds["fins"].values else AS_WRITTEN
    flown = middle(_turn(ds).sel(fins=fins).values)
    incidence = np.degrees(ds["triangle"].values)
    for colour, dash, (name, text) in zip((CYCLE[3], CYCLE[5], CYCLE[0]), DASHES, THEORY):
        ax.plot(incidence, np.degrees(ds[name].values) - flown, color=colour, lw=LINE + 0.3, ls=dash, marker="o", ms=3.0, label=text)
    ax.axhline(0.0, color=INK, lw=0.6)
    top = max(float(incidence.max()), 1.0)
    if top > math.degrees(RAIL_INCIDENCE):
        ax.axvspan(math.degrees(RAIL_INCIDENCE), top, fc=BAND, ec=PALE, lw=0.5, zorder=0.4, label="model less sure")
    ax.set(xlabel="incidence at rail departure (deg), wind triangle", ylabel="theory less flights (deg)")
    dress(ax, f"where the theory fails{', fins locked' if fins == LOCKED else ''}")
    legend_on_top(ax, 2)


def _causes(ax, ds: xr.Dataset) -> None:
    names = [textwrap.fill(str(name), 30) for name in ds["cause"].values] + ["turn as flown"]
    values = np.degrees([*ds["cause_mean"].values, float(ds["base_turn"])])
    colours = [CYCLE[4] if str(how) == "linear theory" else CYCLE[0] for how in ds["cause_how"].values] + [INK]
    colours[-2] = GREY
    rows = np.arange(len(names))
    ax.barh(rows, values, height=0.66, color=colours, zorder=2)
    ax.axvline(0.0, color=INK, lw=0.6, zorder=3)
    for colour, text in ((CYCLE[4], "linear theory"), (CYCLE[0], "flown without it"), (GREY, "rest")):
        ax.barh([math.nan], [0.0], color=colour, label=text)
    where = "in the mission's own draws" if ds.attrs["as_drawn"] else f"in {ds.attrs['design_wind']:.1f} m/s"
    ax.set_yticks(rows, names, fontsize=FONT - 1.0)
    ax.set_ylim(len(names) - 0.4, -0.6)
    ax.set(xlabel="turn into the wind (deg), mean")
    dress(ax, f"what causes it, {where}")
    ax.tick_params(axis="y", labelsize=FONT - 1.0)
    ax.grid(False, axis="y")
    legend(ax, loc="upper center", bbox_to_anchor=(0.5, -0.12), ncols=3)


def _map(ax, ds: xr.Dataset, key: str, dim: str, own: str) -> None:
    if f"{key}_turn" not in ds:
        blank(ax, "the maps were not flown")
        return
    wind, y, turned, missed = ds["wind"].values, ds[dim].values, np.degrees(ds[f"{key}_turn"].values), ds[f"{key}_missed"].values
    low, high = np.nanquantile(turned, (0.02, 0.95))
    mesh = ax.pcolormesh(wind, y, turned, shading="gouraud", cmap=COLOURS, vmin=low, vmax=high, rasterized=True, zorder=1)
    bar = ax.figure.colorbar(mesh, ax=ax, pad=0.02, aspect=28, extend="both")
    bar.set_label("median turn into the wind (deg)", fontsize=FONT + 0.5, color=INK)
    bar.ax.tick_params(labelsize=FONT, width=0.6, length=3.0, color=GREY, labelcolor=INK)
    bar.outline.set_linewidth(0.0)
    met = np.clip(np.nan_to_num(missed, posinf=1.0), -1.0, 1.0)
    if met.min() < 0.0 < met.max():
        ax.contour(wind, y, met, levels=[0.0], colors=["white"], linewidths=LINE + 1.6, zorder=3)
        ax.contour(wind, y, met, levels=[0.0], colors=[CYCLE[1]], linewidths=LINE + 0.6, zorder=3)
        ax.plot([], [], color=CYCLE[1], lw=LINE + 0.6, label="just as asked for")
    line = ax.axhline(ds.attrs[own], color=INK, lw=LINE, ls=DASHES[1], label="as written")
    line.set_clip_on(True)
    ax.set(xlim=(wind[0], wind[-1]), ylim=(float(y.min()), float(y.max())), xlabel=label(ds["wind"]), ylabel=_axis(ds[dim]))
    dress(ax)
    ax.grid(False)
    legend(ax, loc="lower left", bbox_to_anchor=(-0.02, 1.0), ncols=2)


def _axis(variable: xr.DataArray) -> str:
    text = variable.attrs["long_name"]
    return text if "calibres" in text else f"{text} (-)"


def _cures(ax, ds: xr.Dataset) -> None:
    if "cure_meets" not in ds:
        blank(ax, "no cure is needed in the wind looked at" if ds.attrs["cures_tried"] else "the cures were not flown")
        return
    angle = ds["cure_value"].attrs["units"] == "rad"
    unit = "deg" if angle else ds["cure_value"].attrs["units"]
    scale = math.degrees(1.0) if angle else 1.0
    values, rows = scale * ds["cure_value"].values, np.arange(ds.sizes["cure"])
    meets = ds["cure_meets"].values.astype(bool)
    for which, colour, text in ((meets, CYCLE[2], "cures it"), (~meets, PALE, "not alone")):
        ax.barh(rows[which], values[which], height=0.6, color=colour, label=text if which.any() else None, zorder=2)
    ax.axvline(scale * ds.attrs["bound"], color=CYCLE[1], lw=LINE + 0.3, ls=DASHES[1], label="asked for", zorder=3)
    names = [f"{textwrap.fill(str(says), 34)}\n({apogee:+.0f} m of apogee)" for says, apogee in zip(ds["cure_says"].values, ds["cure_apogee"].values)]
    ax.set_yticks(rows, names)
    ax.set_ylim(len(rows) - 0.4, -0.6)
    first = ds.attrs["criteria"].split("\n")[0].split("<")[0].split(">")[0].strip()
    ax.set(xlabel=f"{first} ({unit}), in {100.0 * ds.attrs['share']:g} % of flights")
    dress(ax, "what cures it, each alone")
    ax.tick_params(axis="y", labelsize=FONT - 1.0)
    ax.grid(False, axis="y")
    legend(ax, loc="upper center", bbox_to_anchor=(0.3, -0.12), ncols=3)


_DRAW = {
    "wind": _wind,
    "events": _events,
    "speeds": _speeds,
    "theory": _errors,
    "causes": _causes,
    "thrust": lambda ax, ds: _map(ax, ds, "thrust", "thrust_to_weight", "exit_thrust_to_weight"),
    "margin": lambda ax, ds: _map(ax, ds, "margin", "static_margin", "exit_margin"),
    "cures": _cures,
}
