"""How large a canopy: descent speed and drift over its diameter, and the share of the flights that keep them."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.units import shown
from sixdof.plot.style import CYCLE, DASHES, GREY, INK, LINE, dress, legend_on_top
from sixdof.study.recovery.sizing.canopy_size import need_sizes

QUANTILES = (0.05, 0.5, 0.95)
_SHARES = (("speed_share", "descent speed"), ("drift_share", "drift"), ("both_share", "both"))


def plot_canopy_size(ds: xr.Dataset, canopy: str | None = None, *, axes=None):
    """Draw descent speed, drift and the share of the flights that keep them over a canopy's diameter; return the axes (3,).

    Bands are 5 to 95 % of the flights that land under it, lines the median; upright lines are the diameter as written, the closed form's and that to take.

    ds : what `sixdof.workshop.canopy_size` returned. canopy : its name, None: the first. axes : three axes to draw into, or None for a new figure.

    Raises ValueError for another Dataset, and for a canopy that it is not about.

    Examples
    --------
    >>> found = sixdof.workshop.canopy_size(mission, "main", sizes=[0.8, 1.0, 1.2], flights=4, failing=0)
    >>> axes = sixdof.plot.plot_canopy_size(found)
    """
    need_sizes(ds, "plot_canopy_size")
    names = [str(name) for name in ds["canopy"].values]
    if canopy is not None and canopy not in names:
        raise ValueError(f"plot_canopy_size: there is no canopy {shown(canopy)}; {suggestion(str(canopy), names, 'canopies')}")
    one = ds.sel(canopy=names[0] if canopy is None else canopy)
    if axes is None:
        import matplotlib.pyplot as plt

        axes = plt.subplots(3, 1, figsize=(7.2, 9.0), layout="constrained", sharex=True)[1]
    speed, drift, share = np.ravel(axes)
    limit = one.attrs["drift"]
    _band(speed, one, "descent_speed", "descent speed (m/s)", CYCLE[0], one.attrs["descent_speed"])
    _band(drift, one, "drift", "drift from apogee to the ground (m)", CYCLE[1], limit)
    _shares(share, one, np.isfinite(limit))
    said = f"{one.attrs['flights']} flights with each diameter, on the same draws"
    dress(speed, f"{one.attrs.get('title', 'untitled')}\n{one['canopy'].item()} of {one['stage'].item()}: {said}")
    for ax in (drift, share):
        dress(ax)
    for ax in (speed, drift, share):
        _marks(ax, one, named=ax is speed)
        legend_on_top(ax, 2)
    return np.array([speed, drift, share])


def _centimetres(one: xr.Dataset) -> np.ndarray:
    return 100.0 * one["diameter"].values


def _band(ax, one: xr.Dataset, name: str, text: str, colour: str, limit: float) -> None:
    known = np.isfinite(one[name].values).any(axis=1)
    at = _centimetres(one)[known]
    low, middle, high = one[name].isel(size=known).quantile(QUANTILES, "flight", skipna=True).values
    ax.fill_between(at, low, high, color=colour, alpha=0.18, lw=0.0, label="5 to 95 % of the flights")
    ax.plot(at, middle, color=colour, lw=LINE + 0.4, label="median")
    if np.isfinite(limit):
        ax.axhline(limit, color=INK, lw=1.0, ls=":", label=f"asked for: at most {limit:.4g} {one[name].attrs['units']}")
    ax.set_ylim(0.0, 1.05 * max(float(np.nanmax(high)), limit if np.isfinite(limit) else 0.0))
    ax.set_ylabel(text)


def _shares(ax, one: xr.Dataset, drift: bool) -> None:
    energy = f" and {one.attrs['landing_energy']:.4g} J" if np.isfinite(one.attrs["landing_energy"]) else ""
    for k, (name, text) in enumerate(_SHARES if drift else _SHARES[:1]):
        ax.plot(
            _centimetres(one),
            100.0 * one[name].values,
            color=CYCLE[k],
            ls=DASHES[k],
            lw=LINE + 0.4,
            marker="osD"[k],
            ms=3.5,
            label=f"keep {text}{energy if name == 'speed_share' else ''}",
        )
    ax.axhline(100.0 * one.attrs["share"], color=INK, lw=1.0, ls=":", label=f"asked for: {100.0 * one.attrs['share']:g} %")
    ax.set(xlabel="nominal diameter (cm)", ylabel="share of the flights that land under it (%)")
    ax.set_ylim(-3.0, 103.0)


def _marks(ax, one: xr.Dataset, *, named: bool) -> None:
    """Draw the diameters that matter, upright up to where the legend begins, where they lie within the axes."""
    at = _centimetres(one)
    room = 0.04 * (at[-1] - at[0])
    ends = at[0] - room, at[-1] + room
    looks = ("written_diameter", "as written", GREY, DASHES[1]), ("first_guess", "closed form", GREY, DASHES[3]), ("taken_diameter", "to take", INK, DASHES[0])
    for name, text, colour, dashes in looks:
        d = 100.0 * float(one[name])
        if ends[0] <= d <= ends[1]:
            ax.plot([d, d], ax.get_ylim(), color=colour, lw=1.2, ls=dashes, label=f"{text}: {d:.1f} cm" if named else None, zorder=1.5)
    ax.set_xlim(*ends)
