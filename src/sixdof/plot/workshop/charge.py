"""Ejection charges: what powder does to pins and harness, and what another harness would make of it."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.units import shown
from sixdof.plot.style import CYCLE, DASHES, GREY, INK, LINE, PALE, blank, dress, legend_on_top
from sixdof.study.recovery.ejection.charge import need_charge

MASSES = (0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 1.0, 2.0, 3.0, 5.0, 10.0, 20.0, 50.0)  # g, that are named
SHARES = (0.0, 20.0, 40.0, 60.0, 80.0, 100.0)
FACTORS = (0.25, 0.5, 1.0, 2.0, 4.0)  # of a harness's strength, length, stiffness that are named


def plot_charge(ds: xr.Dataset, harness: str | None = None, *, axes=None):
    """Draw against the mass of powder the force on the pins and the shares of pins and flights that hold or break, and beside it what another harness
    would do; return the axes (3,), of a harness without a charge (1,).

    The masses that shear the strongest pins and leave the harness its reserve are shaded; upright lines are the mass as written and the one advised.

    ds : what `sixdof.workshop.charge` returned. harness : its canopy, None: the first. axes : so many to draw into, or None for a new figure.

    Raises ValueError for another Dataset, and for a harness that it is not about.

    Examples
    --------
    >>> axes = sixdof.plot.plot_charge(sixdof.workshop.charge(stack, "drogue", flights=4, failing=0))
    """
    need_charge(ds, "plot_charge")
    names = [str(name) for name in ds["harness"].values]
    if harness is not None and harness not in names:
        raise ValueError(f"plot_charge: there is no harness {shown(harness)}; {suggestion(str(harness), names, 'harnesses')}")
    one = ds.sel(harness=names[0] if harness is None else harness)
    charged = math.isfinite(float(one["charge_mass"]))
    if axes is None:
        import matplotlib.pyplot as plt

        rows = 3 if charged else 1
        axes = plt.subplots(rows, 1, figsize=(7.2, 3.2 * rows), layout="constrained")[1]
    *others, trades = np.ravel(axes)
    if charged:
        _force(others[0], one)
        _shares(others[1], one)
    for ax in [] if charged else others:
        blank(ax, f"{one['harness'].item()} has no charge table: its impulse is taken as written")
    _trades(trades, one)
    if not charged:
        trades.set_title(_title(one), fontsize=9.0, color=INK, loc="left")
    return np.array([*others, trades])


def _title(one: xr.Dataset) -> str:
    return f"{one.attrs.get('title', 'untitled')}\n{one['harness'].item()}: ejection charge, pins and harness, {one.attrs['flights']} flights"


def _force(ax, one: xr.Dataset) -> None:
    mass = 1e3 * one["step_mass"].values
    ax.plot(mass, one["step_force"].values, color=CYCLE[0], lw=LINE + 0.4, label="force of the bay's gas on either piece")
    friction, low, high = (float(one[name]) for name in ("friction", "pin_strength_low", "pin_strength_high"))
    if high > low:
        ax.axhspan(friction + low, friction + high, color=CYCLE[1], alpha=0.25, lw=0.0, label="all pins and friction, weakest to strongest")
    else:
        ax.axhline(friction + high, color=CYCLE[1], lw=LINE, ls=DASHES[1], label="all pins and friction" if high > 0.0 else "friction; no pins")
    ax.axhline(np.nanmax(one["pin_pull"].values), color=CYCLE[2], lw=LINE, ls=DASHES[3], label="largest pull in flight before the ejection")
    _marks(ax, one, float(np.max(one["step_force"].values)))
    _masses(ax, mass)
    ax.set_ylabel("force along the axis (N)")
    ax.set_ylim(bottom=0.0)
    dress(ax, _title(one))
    legend_on_top(ax, 2)


def _shares(ax, one: xr.Dataset) -> None:
    mass = 1e3 * one["step_mass"].values
    lines = (
        ("step_held", "pins that hold, of all strengths"),
        ("step_above", f"flights above {100.0 * one.attrs['load_share']:g} % of the harness's strength"),
        ("step_broken", "flights whose harness breaks"),
    )
    for k, (name, text) in enumerate(lines):
        ax.plot(mass, 100.0 * one[name].values, color=CYCLE[k], ls=DASHES[k], lw=LINE + 0.4, label=text)
    _marks(ax, one, 100.0)
    _masses(ax, mass)
    ax.set(ylabel="share (%)", ylim=(-2.0, 102.0))
    ax.set_yticks(SHARES)
    dress(ax)
    legend_on_top(ax, 2)


def _masses(ax, mass: np.ndarray) -> None:
    """Give axes a logarithmic scale of masses, g."""
    ax.set_xscale("log")
    named = [tick for tick in MASSES if mass[0] <= tick <= mass[-1]]
    ax.set_xticks(named, [f"{tick:g}" for tick in named])
    ax.xaxis.minorticks_off()
    ax.set(xlabel="mass of powder (g), logarithmic scale", xlim=(mass[0], mass[-1]))


def _marks(ax, one: xr.Dataset, top: float) -> None:
    """Shade the window of masses, and mark the mass as written and the one advised, up to a height."""
    least, largest = 1e3 * float(one["least_mass"]), 1e3 * float(one["largest_mass"])
    written, advised = 1e3 * float(one["charge_mass"]), 1e3 * float(one["advised_mass"])
    if largest > least:
        ends = [least, min(largest, 1e3 * float(one["step_mass"].values[-1]))]
        ax.fill_between(ends, 0.0, top, color=PALE, alpha=0.6, lw=0.0, zorder=0.3, label="window: pins shear, harness keeps its reserve")
    ax.plot([written, written], [0.0, top], color=INK, lw=1.0, label=f"as written, {written:.3g} g")
    if abs(advised - written) > 0.01 * written:
        ax.plot([advised, advised], [0.0, top], color=INK, lw=1.0, ls=DASHES[2], label=f"advised, {advised:.3g} g")


def _trades(ax, one: xr.Dataset) -> None:
    factor = one["factor"].values
    named = {
        "strength": f"strength, {float(one['strength_nominal']):g} N",
        "length": f"length, {float(one['length_nominal']):g} m",
        "stiffness": f"stiffness, {float(one['stiffness_nominal']) / 1e3:g} kN",
    }
    for k, (trade, text) in enumerate(named.items()):
        ax.plot(factor, 100.0 * one["trade_broken"].sel(trade=trade).values, color=CYCLE[k + 3], ls=DASHES[k], lw=LINE + 0.4, label=text)
    ax.plot([1.0, 1.0], [0.0, 100.0], color=GREY, lw=0.8, label="as written")
    ax.set_xscale("log")
    ax.set_xticks(FACTORS, [f"{one:g}" for one in FACTORS])
    ax.xaxis.minorticks_off()
    ax.set(xlabel="factor on one of them alone, logarithmic scale", ylabel="flights whose harness breaks (%)", xlim=(factor[0], factor[-1]), ylim=(-2.0, 102.0))
    ax.set_yticks(SHARES)
    dress(ax)
    legend_on_top(ax, 4)
