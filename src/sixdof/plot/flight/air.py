"""The figure of the air: wind, direction, temperature and density over height."""

from __future__ import annotations

import numpy as np

from sixdof.mission.load import check_mission
from sixdof.plot.style import BAND, CYCLE, FONT, GREY, INK, LINE, dress, label, legend, unwound

CALM = 0.05  # m/s: below it a direction says nothing
MANY = 6  # members up to which each has a name and a colour of its own


def plot_air(mission, *, top: float = 3000.0):
    """Draw what air the mission's vehicle meets up to a height `top` (m) above ground; return the axes (4,).

    Mean wind and where it comes from (of every member where there are several, the nominal flight's on top), temperature and density,
    with the standard atmosphere's dashed. Discrete gusts are bands at their heights.

    Examples
    --------
    >>> axes = sixdof.plot.plot_air(mission, top=1000.0)
    """
    import matplotlib.pyplot as plt

    from sixdof.study.aero.air import air_against_height

    check_mission(mission, "plot_air")
    ds = air_against_height(mission, np.linspace(0.0, top, 301))
    axes = plt.subplots(1, 4, figsize=(11.0, 4.6), sharey=True, layout="constrained")[1]
    _winds(ds, axes[0], axes[1])
    _beside_standard(axes[2], ds, "temperature", 273.15, "air temperature (degC)")
    _beside_standard(axes[3], ds, "density", 0.0, "air density (kg/m$^3$)")
    legend(axes[3], loc="lower left")  # free, as air thins out upwards
    for gust in mission.air.gust:
        for ax in axes[:2]:
            ax.axhspan(gust.height, gust.height + gust.length, color=BAND, zorder=0)
        axes[0].text(0.98, gust.height + 0.5 * gust.length, "gust", transform=axes[0].get_yaxis_transform(), ha="right", va="center", fontsize=FONT, color=GREY)
    axes[0].set(ylim=(0.0, top), ylabel=label(ds["height"]), xlim=(0.0, None))
    for ax, title in zip(axes, ("Wind", "Direction", "Temperature", "Density"), strict=True):
        dress(ax, title)
    return axes


def _winds(ds, speeds, directions) -> None:
    """Draw speed and direction of every member, the first on top."""
    count = ds.sizes["member"]
    for k in range(count - 1, -1, -1):
        several = k > 0 and count > MANY
        style = {"color": GREY if several else CYCLE[k % len(CYCLE)], "lw": 0.6 if several else LINE + 0.5 * (k == 0)}
        style["label"] = None if several or count == 1 else str(ds["member"].values[k])
        speed = ds["wind_speed"].values[k]
        speeds.plot(speed, ds["height"], **style)
        direction = np.where(speed > CALM, np.degrees(ds["wind_from"].values[k]), np.nan)
        directions.plot(unwound(direction), ds["height"], **style)
    speeds.set_xlabel("mean wind (m/s)")
    directions.set(xlabel="comes from (deg true)", xlim=(0.0, 360.0), xticks=range(0, 361, 90))
    if count > 1:
        handles, names = speeds.get_legend_handles_labels()
        names = [f"{name} (nominal)" if i == len(names) - 1 else name for i, name in enumerate(names)]
        names[-1] += f", others: {count - 1}" if count > MANY else ""
        legend(speeds, handles=handles[::-1], labels=names[::-1], loc="best")


def _beside_standard(ax, ds, name: str, zero: float, text: str) -> None:
    ax.plot(ds[name] - zero, ds["height"], color=CYCLE[0], lw=LINE + 0.5, label="this mission")
    ax.plot(ds[f"standard_{name}"] - zero, ds["height"], color=INK, lw=LINE, ls="--", label="standard atmosphere")
    ax.set_xlabel(text)
