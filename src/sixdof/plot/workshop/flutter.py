"""Flutter speed and flight speed along drawn flights, and the margin over Mach against the one demanded and the one measured."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.plot.style import BAND, CYCLE, DASHES, GREY, INK, LINE, dress, label, legend_on_top
from sixdof.study.reading.result import need_table
from sixdof.study.structure.flutter_speed import MEASURED_MACH, MEASURED_RATIO

_NEEDED = ("margin_band", "airspeed_band", "flutter_speed_band", "required_margin", "track_mach", "flutter_reserve")


def plot_flutter(ds: xr.Dataset, *, axes=None):
    """Draw for each set of fins airspeed and flutter speed over time, and the margin over Mach number; return the axes (fins, 2).

    Bands are 5 to 95 % of the drawn flights, lines the flight with the least to spare.

    ds : what `sixdof.workshop.flutter` returns. axes : (fins, 2) axes to draw into, or None for a new figure.

    Examples
    --------
    >>> axes = sixdof.plot.plot_flutter(sixdof.workshop.flutter(mission, 2, progress=False))
    """
    need_table(ds, "plot_flutter", "workshop.flutter", *_NEEDED)
    count = ds.sizes["fins"]
    if axes is None:
        import matplotlib.pyplot as plt

        axes = plt.subplots(count, 2, figsize=(12.0, 1.0 + 3.6 * count), layout="constrained", squeeze=False)[1]
    axes = np.asarray(axes, dtype=object).reshape(count, 2)
    for k in range(count):
        _over_time(axes[k, 0], ds.isel(fins=k))
        _over_mach(axes[k, 1], ds.isel(fins=k))
    return axes


def _over_time(ax, one: xr.Dataset) -> None:
    time, end = one["time"].values, float(one["time"][-1])
    for name, colour, text in (("airspeed_band", CYCLE[0], "airspeed"), ("flutter_speed_band", CYCLE[1], "flutter speed")):
        low, _, high = one[name].values
        ax.fill_between(time, low, high, color=colour, alpha=0.18, lw=0.0, label=f"{text}, 5 to 95 % of flights")
    lines = (("airspeed", CYCLE[0], DASHES[0], "airspeed"), ("flutter_speed", CYCLE[1], DASHES[0], "flutter speed"))
    for name, colour, dashes, text in (*lines, ("required", CYCLE[1], DASHES[2], "flutter speed over the margin demanded")):
        ax.plot(one["track_time"], one[f"track_{name}"], color=colour, lw=LINE + 0.4, ls=dashes, label=f"{text}, flight with least to spare")
    ax.set(xlabel=label(one["time"]), ylabel="speed (m/s)", xlim=(0.0, end))
    known = [values[np.isfinite(values)].max(initial=1.0) for values in (one["airspeed_band"].values, one["track_airspeed"].values)]
    limits = [values[np.isfinite(values)].max(initial=1.0) for values in (one["flutter_speed_band"].values, one["track_flutter_speed"].values)]
    ax.set_ylim(0.0, 1.05 * min(max(limits), 6.0 * max(known)))
    dress(ax, f"{one['fins'].item()}: how fast it flies, how fast it may")
    legend_on_top(ax, 2)


def _over_mach(ax, one: xr.Dataset) -> None:
    top = 1.05 * max(float(np.nanmax(np.append(one["worst_mach"].values, 0.1))), float(np.nanmax(np.append(one["track_mach"].values, 0.1))))
    mach = np.linspace(0.0, max(top, 1.2), 200)
    required = np.interp(mach, one["mach"].values, one["required_margin"].values)
    ax.fill_between(mach, 0.0, required, color=BAND, lw=0.0, zorder=0.4)
    ax.plot(mach, required, color=INK, lw=LINE + 0.3, ls=DASHES[1], label="margin demanded")
    ax.plot(MEASURED_MACH, MEASURED_RATIO, "o", color=GREY, ms=4.0, label="below it a measured wing fluttered (AGARD 445.6)")
    ax.axhline(1.0, color=GREY, lw=0.9, ls=":")
    high = max(2.5, 2.2 * float(np.nanmin(np.append(one["flutter_margin"].values, 10.0))))
    margin = one["track_flutter_speed"].values / one["track_airspeed"].values
    ax.plot(one["track_mach"], np.where(margin < high, margin, np.nan), color=CYCLE[1], lw=LINE + 0.3, label="flight with least to spare")
    ax.plot(one["worst_mach"], one["worst_speed"] / one["worst_airspeed"], ".", color=CYCLE[0], ms=4.0, label="each flight where it has least to spare")
    ax.set_ylim(0.0, high)
    ax.set(xlabel="Mach number", ylabel="flutter speed over airspeed (times)", xlim=(0.0, mach[-1]))
    dress(ax, f"{one['fins'].item()}: margin, short of it in {100.0 * float(one['short_share']):.0f} % of flights")
    legend_on_top(ax, 2)
