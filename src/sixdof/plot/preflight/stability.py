"""The static margin as flown: over time, Mach number and incidence, and at the events that matter."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.plot.style import BAND, CYCLE, DASHES, GREY, INK, LINE, PALE, dress, events_above, label, legend_beside, legend_on_top
from sixdof.study.reading.practice import LEAST_MARGIN, MOST_MARGIN
from sixdof.study.reading.result import need_table

VALID_INCIDENCE = 15.0  # deg
PRACTICE = "common practice, 1 to 3 calibres"
MOTOR_DASHES = (DASHES[3], DASHES[0], DASHES[1])  # unlit, burning, burnt out
_NEEDED = ("margin", "margin_band", "margin_over_mach", "margin_at", "margin_over_incidence")


def plot_stability_in_flight(ds: xr.Dataset, *, axes=None):
    """Draw the static margin as flown over time, over Mach number and over incidence, and per cent of the length over time; return the axes (4,).

    Lines are the flight as written, bands 5 to 95 % of the drawn flights.

    ds : what `sixdof.preflight.stability` returns. axes : four axes to draw into, or None for a new figure.

    Examples
    --------
    >>> axes = sixdof.plot.plot_stability_in_flight(sixdof.preflight.stability(mission, 4))
    """
    need_table(ds, "plot_stability_in_flight", "preflight.stability", *_NEEDED)
    if axes is None:
        import matplotlib.pyplot as plt

        axes = plt.subplots(2, 2, figsize=(12.0, 8.0), layout="constrained")[1]
    axes = np.ravel(axes)
    for ax, draw in zip(axes, (_over_time, _share_over_time, _over_mach, _over_incidence), strict=True):
        draw(ax, ds)
    return axes


def _over_time(ax, ds: xr.Dataset) -> None:
    low, middle, high = ds["margin_band"].values
    ax.fill_between(ds["time"], low, high, color=CYCLE[0], alpha=0.18, lw=0.0, label="5 to 95 % of the drawn flights")
    ax.plot(ds["time"], ds["margin"], color=CYCLE[0], lw=LINE + 0.4, label="as written")
    _practice(ax)
    tops = [np.nanmax(values) for values in (high, ds["margin"].values) if np.isfinite(values).any()]
    ax.set(xlabel=label(ds["time"]), ylabel=label(ds["margin"]), xlim=(0.0, float(ds["time"][-1])))
    ax.set_ylim(min(0.0, 1.1 * float(ds["margin"].min())), 1.08 * max(MOST_MARGIN, *map(float, tops)))
    dress(ax, "over time")
    legend_on_top(ax, 2)
    events_above(ax, _moments(ds))


def _share_over_time(ax, ds: xr.Dataset) -> None:
    share, (low, _, high) = 100.0 * ds["margin_share"].values, 100.0 * ds["margin_share_band"].values
    ax.fill_between(ds["time"], low, high, color=CYCLE[2], alpha=0.18, lw=0.0, label="5 to 95 % of the drawn flights")
    ax.plot(ds["time"], share, color=CYCLE[2], lw=LINE + 0.4, label="as written")
    ax.axhline(10.0, color=GREY, lw=0.9, ls=":", label="common practice for long, thin vehicles: 10 %")
    ax.set(xlabel=label(ds["time"]), ylabel="static margin (% of the length of what flies together)", xlim=(0.0, float(ds["time"][-1])))
    ax.set_ylim(min(0.0, 1.1 * float(np.nanmin(share))), 1.08 * max(12.0, float(np.nanmax(share)), *high[np.isfinite(high)]))
    dress(ax, "in per cent of the length")
    legend_on_top(ax, 1)
    events_above(ax, _moments(ds))


def _moments(ds: xr.Dataset) -> dict[str, float]:
    return {str(name).replace("_", " "): float(time) for name, time in zip(ds["event"].values, ds["time_at"].values)}


def _over_mach(ax, ds: xr.Dataset) -> None:
    tops, bottom = [MOST_MARGIN], 0.0
    for k, name in enumerate(ds["configuration"].values):
        for j, motor in enumerate(ds["motor"].values):
            one = ds[["margin_over_mach", "band_over_mach"]].sel(configuration=name, motor=motor)
            values = one["margin_over_mach"].values
            if not np.isfinite(values).any():
                continue
            colour = CYCLE[k % len(CYCLE)]
            low, _, high = one["band_over_mach"].values
            ax.fill_between(ds["mach"], low, high, color=colour, alpha=0.12, lw=0.0)
            ax.plot(ds["mach"], values, color=colour, lw=LINE + 0.3, ls=MOTOR_DASHES[j], label=f"{name}, {motor}")
            tops += [float(np.nanmax(values)), float(np.nanmax(high)) if np.isfinite(high).any() else 0.0]
            bottom = min(bottom, 1.1 * float(np.nanmin(values)))
    _practice(ax, named=False)
    ax.set(xlabel=label(ds["mach"]), ylabel=label(ds["margin"]), xlim=(0.0, float(ds["mach"][-1])))
    ax.set_ylim(bottom, 1.08 * max(tops))
    dress(ax, "over Mach number")
    legend_on_top(ax, 2)


def _over_incidence(ax, ds: xr.Dataset) -> None:
    degrees = np.degrees(ds["incidence"].values)
    for k, name in enumerate(ds["configuration"].values):
        for j, state in enumerate(ds["state"].values):
            values = ds["margin_over_incidence"].sel(configuration=name, state=state)
            ax.plot(degrees, values, color=CYCLE[k % len(CYCLE)], lw=LINE + 0.3, ls=DASHES[j], label=f"{name}, {state}")
    if degrees[-1] > VALID_INCIDENCE:
        ax.axvspan(VALID_INCIDENCE, degrees[-1], fc=BAND, ec=PALE, lw=0.5, zorder=0.4, label="model less sure")
    ax.axhline(0.0, color=INK, lw=0.8)
    ax.set(xlabel="incidence (deg)", ylabel=label(ds["margin"]), xlim=(0.0, float(degrees[-1])))
    dress(ax, f"over incidence at Mach {ds.attrs['incidence_mach']:.2f}")
    legend_beside(ax)


def _practice(ax, *, named: bool = True) -> None:
    for k, usual in enumerate((LEAST_MARGIN, MOST_MARGIN)):
        ax.axhline(usual, color=GREY, lw=0.9, ls=":", label=PRACTICE if named and not k else None)
