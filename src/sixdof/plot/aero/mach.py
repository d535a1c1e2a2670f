"""Figures of the aerodynamics against Mach, from the Datasets of `sixdof.study.aero.tables`."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.plot.style import BAND, CYCLE, GREY, INK, LINE, PALE, axes_or_new, dress, label, legend_beside, legend_on_top
from sixdof.study.reading.result import need_table

TRANSONIC = (0.8, 1.2)  # where the theories below and above are only joined
SLOW = 0.05  # Mach number below which a coefficient of friction grows without meaning: not drawn
# of the components of drag, by twos of one hue as they lie on each other: the cycle's colours and lighter ones of them
SHADES = (CYCLE[0], "#9fb6dd", CYCLE[1], "#e8b3a8", "#5a5a5a", CYCLE[2], "#a9e3c6", CYCLE[3], "#e2cfe7", CYCLE[5])


def plot_drag_build_up(ds: xr.Dataset, *, ax=None):
    """Draw the axial force's components against Mach, one on the other, with what the flight uses as lines.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_drag_build_up(sixdof.aero.drag_against_mach(mission))
    """
    need_table(ds, "plot_drag_build_up", "aero.drag_against_mach", "drag", "build_up", "axial", "axial_burning")
    ax = axes_or_new(ax, size=(7.0, 4.6))
    ds = ds.isel(mach=ds["mach"].values >= min(SLOW, float(ds["mach"][-1])))
    mach = ds["mach"].values
    parts = [i for i in range(ds.sizes["component"]) if ds["drag"].values[i].any()]
    names = [str(ds["component"].values[i]) for i in parts]
    ax.stackplot(mach, ds["drag"].values[parts], labels=names, colors=[SHADES[i % len(SHADES)] for i in parts], linewidth=0.0)
    ax.plot(mach, ds["axial"], color=INK, lw=LINE + 0.3, label="flown, motor off")
    if not np.array_equal(ds["axial"], ds["axial_burning"]):
        ax.plot(mach, ds["axial_burning"], color=INK, lw=LINE, ls="--", label="flown, motor on")
    shade_transonic(ax)
    ax.set(xlim=(mach[0], mach[-1]), xlabel=label(ds["mach"]), ylabel=label(ds["drag"]))
    ax.set_ylim(0.0, 1.1 * max(float(ds[name].values.max()) for name in ("build_up", "axial", "axial_burning")))
    handles, texts = ax.get_legend_handles_labels()
    legend_beside(ax, handles=handles[::-1], labels=texts[::-1])
    dress(ax, ds.attrs.get("configuration", ""))
    return ax


def plot_stability(ds: xr.Dataset):
    """Draw slopes, stations, pitch and roll derivatives against Mach in one figure; return its axes (2, 2).

    Examples
    --------
    >>> axes = sixdof.plot.plot_stability(sixdof.aero.stability_against_mach(mission))
    """
    import matplotlib.pyplot as plt

    axes = plt.subplots(2, 2, figsize=(10.0, 7.0), layout="constrained")[1]
    for ax, function in zip(axes.flat, (plot_slopes, plot_centres, plot_pitch_damping, plot_roll), strict=True):
        function(ds, ax=ax)
    return axes


def plot_slopes(ds: xr.Dataset, *, ax=None):
    """Draw the normal force's slope against Mach: all, the body alone, every set of fins.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_slopes(sixdof.aero.stability_against_mach(mission))
    """
    ax, mach = _start(ds, "plot_slopes", ax, "slope", "body_slope", "fin_slope")
    ax.plot(mach, ds["slope"], color=INK, lw=LINE + 0.5, label="all")
    ax.plot(mach, ds["body_slope"], color=GREY, lw=LINE, ls="--", label="body alone")
    for name, colour in zip(ds["fin_set"].values, CYCLE):
        ax.plot(mach, ds["fin_slope"].sel(fin_set=name), color=colour, lw=LINE, label=str(name))
    ax.set_ylim(bottom=0.0)
    return _finish(ds, ax, "slope", "normal force")


def plot_centres(ds: xr.Dataset, *, ax=None):
    """Draw the centre of pressure against Mach between the centres of mass, forward up.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_centres(sixdof.aero.stability_against_mach(mission))
    """
    ax, mach = _start(ds, "plot_centres", ax, "centre_of_pressure", "centre_of_mass")
    ax.plot(mach, ds["centre_of_pressure"], color=CYCLE[0], lw=LINE + 0.5, label="centre of pressure")
    for name, style in zip(ds["state"].values, ("--", ":")):
        station = float(ds["centre_of_mass"].sel(state=name))
        ax.axhline(station, color=CYCLE[1], lw=LINE, ls=style, label=f"centre of mass, {name}")
    ax.invert_yaxis()
    _finish(ds, ax, "centre_of_pressure", "stations, forward up")
    ax.set_ylabel("station aft of the nose tip (m)")
    return ax


def plot_pitch_damping(ds: xr.Dataset, *, ax=None):
    """Draw pitch damping about the centre of mass against Mach, loaded and burnt.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_pitch_damping(sixdof.aero.stability_against_mach(mission))
    """
    ax, mach = _start(ds, "plot_pitch_damping", ax, "pitch_damping")
    for name, colour in zip(ds["state"].values, CYCLE):
        ax.plot(mach, ds["pitch_damping"].sel(state=name), color=colour, lw=LINE + 0.3, label=str(name))
    return _finish(ds, ax, "pitch_damping", "pitch, rate as q d/(2V)")


def plot_roll(ds: xr.Dataset, *, ax=None):
    """Draw every fin set's roll damping and roll moment per deflection against Mach.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_roll(sixdof.aero.stability_against_mach(mission))
    """
    ax, mach = _start(ds, "plot_roll", ax, "roll_damping", "roll_forcing")
    for name, colour in zip(ds["fin_set"].values, CYCLE):
        ax.plot(mach, ds["roll_forcing"].sel(fin_set=name), color=colour, lw=LINE, label=f"per rad of deflection, {name}")
        ax.plot(mach, ds["roll_damping"].sel(fin_set=name), color=colour, lw=LINE, ls="--", label=f"damping, {name}")
    ax.axhline(0.0, color=GREY, lw=0.6)
    _finish(ds, ax, "roll_damping", "roll, rate as p d/(2V)")
    ax.set_ylabel("roll moment derivative")
    return ax


def _start(ds, who, ax, *names):
    need_table(ds, who, "aero.stability_against_mach", *names)
    return axes_or_new(ax, size=(6.4, 4.2)), ds["mach"].values


def _finish(ds, ax, name, title):
    """Give axes their labels, shading and a legend in room of its own; return them."""
    mach = ds["mach"].values
    ax.set(xlim=(mach[0], mach[-1]), xlabel=label(ds["mach"]), ylabel=label(ds[name]))
    shade_transonic(ax)
    legend_on_top(ax, 3)
    configuration = ds.attrs.get("configuration", "")
    dress(ax, f"{configuration}: {title}" if configuration else title)
    return ax


def shade_transonic(ax) -> None:
    """Shade the Mach numbers where theories are only joined; the legend says so."""
    ax.axvspan(*TRANSONIC, fc=BAND, ec=PALE, zorder=0.4, lw=0.5, label="theories only joined")
