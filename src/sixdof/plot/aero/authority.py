"""Figures of what the control fins can do, from the Datasets of `sixdof.study.aero.authority`."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.plot.aero.mach import shade_transonic
from sixdof.plot.style import DASHES, GREY, INK, LINE, axes_or_new, dress, label, legend_on_top, shades, shown
from sixdof.study.reading.result import need_table

REVERSED_SHADE = "#f7e3d8"


def plot_authority(ds: xr.Dataset, *, channel: str = "pitch", ax=None):
    """Draw the moment per degree of demand of one channel against Mach, a line an incidence.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_authority(sixdof.aero.moment_slopes(mission), channel="roll")
    """
    name = f"{channel}_moment"
    need_table(ds, "plot_authority", "aero.moment_slopes", name)
    ax = axes_or_new(ax)
    _lines(ax, ds[name], "incidence", "mach")
    ax.axhline(0.0, color=GREY, lw=0.6)
    return _against_mach(ds, ax, ds[name], f"{channel} authority")


def plot_authorities(ds: xr.Dataset, *, axes=None):
    """Draw the authority in roll and pitch side by side; return the two axes.

    Examples
    --------
    >>> axes = sixdof.plot.plot_authorities(sixdof.aero.moment_slopes(mission))
    """
    axes = _pair(axes)
    for ax, channel in zip(axes, ("roll", "pitch")):
        plot_authority(ds, channel=channel, ax=ax)
    return axes


def plot_trim(ds: xr.Dataset, *, axes=None):
    """Draw trimmed incidence and load factor against Mach, one line per demand; return the two axes.

    Examples
    --------
    >>> axes = sixdof.plot.plot_trim(sixdof.aero.trim(mission))
    """
    need_table(ds, "plot_trim", "aero.trim", "incidence", "load_factor")
    axes = _pair(axes)
    for ax, name, title in zip(axes, ("incidence", "load_factor"), ("trimmed incidence", "trimmed load factor")):
        _lines(ax, ds[name], "demand", "mach", marker=".")
        _against_mach(ds, ax, ds[name], title)
    return axes


def plot_hinge_moments(moment: xr.DataArray, *, stall_torque: float | None = None, ax=None):
    """Draw the largest hinge moment against Mach, one line per fin angle (worst incidence), and the servo's stall torque
    (N m).

    stall_torque : of the servo, N m, or None. ax : axes to draw into, or None for a new figure.

    moment : as `aero.hinge_moments` returns it. stall_torque : of the servo, N m; no line by default. ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_hinge_moments(sixdof.aero.hinge_moments(mission), stall_torque=0.6)
    """
    if not isinstance(moment, xr.DataArray) or "deflection" not in moment.dims:
        raise ValueError("plot_hinge_moments needs the result of sixdof.aero.hinge_moments")
    ax = axes_or_new(ax)
    _lines(ax, moment.max("incidence", keep_attrs=True), "deflection", "mach")
    if stall_torque is not None:
        ax.axhline(stall_torque, color=INK, lw=LINE + 0.5, ls="--", label="the servo's stall torque")
    ax.set_ylim(bottom=0.0)
    return _against_mach(moment, ax, moment, "worst incidence")


def plot_survival(ds: xr.Dataset, *, axes=None):
    """Draw the share of commanded roll and pitch moment that survives the stack against incidence, one line per demand.

    Below zero the stack answers the wrong way round: that part is shaded.

    axes : two axes, or None for a new figure.

    axes : two, to draw into; new ones by default.

    Examples
    --------
    >>> axes = sixdof.plot.plot_survival(sixdof.aero.survival(stack))
    """
    need_table(ds, "plot_survival", "aero.survival", "roll_moment", "pitch_moment")
    if "mach" in ds["roll_moment"].dims:
        raise ValueError("plot_survival draws one Mach number: choose one, such as survival(...).sel(mach=0.3)")
    axes = _pair(axes)
    for ax, channel in zip(axes, ("roll", "pitch")):
        share = ds[f"{channel}_moment"]
        _lines(ax, share, "demand", "incidence")
        ax.axhline(1.0, color=GREY, lw=0.6, ls=":")
        low = min(float(share.min()), 0.0)
        ax.set_ylim(1.1 * low if low < 0.0 else -0.1, 1.1 * max(float(share.max()), 1.1))
        ax.axhspan(ax.get_ylim()[0], 0.0, color=REVERSED_SHADE, zorder=0.4, lw=0.0, label="REVERSED")
        ax.set(xlabel=label(ds["incidence"]), ylabel=label(share))
        _keyed(ax, f"{channel}, 1 is untouched")
    return axes


def _lines(ax, values: xr.DataArray, over: str, against: str, **options) -> None:
    """Draw a line for every value of the axis `over`, in degrees, light to dark."""
    colours = shades(values.sizes[over])
    for angle, colour, dashes in zip(values[over].values, colours, DASHES * len(colours), strict=False):
        line = values.sel({over: angle})
        text = f"{over} {round(np.degrees(angle), 1):g} deg"
        ax.plot(shown(line[against]), shown(line), color=colour, ls=dashes, lw=LINE + 0.3, label=text, **options)


def _against_mach(ds, ax, values, title):
    ax.set(xlim=(float(ds["mach"][0]), float(ds["mach"][-1])), xlabel=label(ds["mach"]), ylabel=label(values))
    shade_transonic(ax)
    _keyed(ax, title)
    return ax


def _keyed(ax, title: str) -> None:
    legend_on_top(ax, 3)
    dress(ax, title)


def _pair(axes):
    if axes is not None:
        return axes
    import matplotlib.pyplot as plt

    return plt.subplots(1, 2, figsize=(10.0, 4.2), layout="constrained")[1]
