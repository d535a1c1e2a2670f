"""Skin temperatures over time along drawn flights, and the largest of each against what the material bears."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.plot.style import BAND, CYCLE, DASHES, FONT, GREY, INK, LINE, dress, label, legend_on_top, need_numbers
from sixdof.study.reading.result import need_table

ZERO = 273.15  # K
SHOWN = 5  # places over time
_NEEDED = ("skin_temperature", "skin_band", "wall_band", "recovery_band", "service_temperature")


def plot_skin_temperature(ds: xr.Dataset, *, axes=None):
    """Draw the largest temperatures of every place of the skin, and surface, wall and air over time of the five nearest to what they bear; return the axes.

    Bands are 5 to 95 % of the drawn flights.

    ds : what `sixdof.workshop.skin_temperature` returns. axes : one more than there are walls, six at most, to draw into, or None for a new figure.

    Examples
    --------
    >>> axes = sixdof.plot.plot_skin_temperature(sixdof.workshop.skin_temperature(mission, 2, progress=False))
    """
    need_table(ds, "plot_skin_temperature", "workshop.skin_temperature", *_NEEDED)
    need_numbers(ds, "plot_skin_temperature", "skin_temperature")
    room = ds["service_temperature"].values - np.nanmax(ds["skin_temperature"].values, axis=0)
    nearest = sorted(np.argsort(room)[:SHOWN])
    count, columns = len(nearest) + 1, min(3, len(nearest) + 1)
    if axes is None:
        import matplotlib.pyplot as plt

        rows = math.ceil(count / columns)
        axes = plt.subplots(rows, columns, figsize=(4.2 * columns, 0.6 + 3.4 * rows), layout="constrained", squeeze=False)[1]
    axes = np.ravel(axes)
    _side_by_side(axes[0], ds)
    for ax, k in zip(axes[1:], nearest, strict=False):
        _over_time(ax, ds.isel(wall=int(k)))
    for ax in axes[count:]:
        ax.set_axis_off()
    return axes[:count]


def _over_time(ax, one: xr.Dataset) -> None:
    time = one["time"].values
    looks = (
        ("recovery_band", GREY, DASHES[2], "air (recovery)"),
        ("skin_band", CYCLE[1], DASHES[0], "surface"),
        ("wall_band", CYCLE[0], DASHES[1], "wall, mean"),
    )
    for name, colour, dashes, text in looks:
        low, middle, high = one[name].values - ZERO
        ax.fill_between(time, low, high, color=colour, alpha=0.18, lw=0.0)
        ax.plot(time, middle, color=colour, lw=LINE + 0.3, ls=dashes, label=text)
    bears = float(one["service_temperature"]) - ZERO
    ax.axhline(bears, color=INK, lw=0.9, ls=":", label=f"{one['material'].item()} bears")
    ax.set(xlabel=label(one["time"]), ylabel="temperature (degC)", xlim=(0.0, float(time[-1])))
    dress(ax, f"{one['wall'].item()}: too hot in {100.0 * float(one['soft_share']):.0f} % of flights")
    legend_on_top(ax, 2)


def _side_by_side(ax, ds: xr.Dataset) -> None:
    places = np.arange(ds.sizes["wall"])
    bears = ds["service_temperature"].values - ZERO
    for name, colour, shift, text in (("skin_temperature", CYCLE[1], -0.14, "surface"), ("wall_temperature", CYCLE[0], 0.14, "wall, mean")):
        low, middle, high = np.nanquantile(ds[name].values, (0.05, 0.5, 0.95), axis=0) - ZERO
        error = np.maximum([middle - low, high - middle], 0.0)
        ax.errorbar(middle, places + shift, xerr=error, fmt="o", color=colour, ms=3.5, lw=LINE, capsize=2.0, label=f"{text}, 5 to 95 % of flights")
    ax.plot(bears, places, "|", color=INK, ms=14.0, mew=1.4, label="what the material bears")
    ax.barh(places, 1e3, left=bears, height=0.7, color=BAND, zorder=0.4)
    ax.set_yticks(places, [str(name) for name in ds["wall"].values])
    ax.set(xlabel="largest temperature of each flight (degC)", ylim=(len(places) - 0.4, -0.6))
    hottest = np.nanquantile(ds["skin_temperature"].values, 0.95, axis=0) - ZERO
    ax.set_xlim(0.0, 1.1 * max(float(np.max(bears)), float(np.nanmax(np.append(hottest, 0.0)))))
    dress(ax, "the hottest of each flight")
    ax.tick_params(axis="y", labelsize=FONT - 1.0)
    ax.grid(False, axis="y")
    ax.legend(loc="upper center", bbox_to_anchor=(0.4, -0.13), ncols=1, fontsize=FONT, frameon=False)
