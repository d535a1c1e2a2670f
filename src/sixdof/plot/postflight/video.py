"""Figures of a video: the picture with what was read and the flights in it, leans over time with the frames that can tell something; a swing."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.plot.style import BAND, CYCLE, DASHES, FONT, GREY, INK, LINE, dress, legend_on_top
from sixdof.postflight.video.from_video import need_video
from sixdof.postflight.video.incidence import NOTHING, SIGN, USABLE
from sixdof.postflight.video.swing_of import need_swing

LINES = 40  # flights that are drawn in the picture
PART = 0.7  # of the longer side that the shorter one shown has at least
BODIES = 12  # frames whose body is drawn in it
MARKS = {USABLE: ("o", CYCLE[0]), SIGN: ("^", CYCLE[5]), NOTHING: ("x", GREY)}
LEAST = 0.1  # deg, and factor: the lower end of a scale of incidences
STEEP = 40.0  # deg: an apparent angle of a larger error says nothing, and is not drawn


def plot_video(ds: xr.Dataset):
    """Draw a video on a page of four panels; return the figure.

    The picture with nose and tail as read and the flights' paths behind them; the apparent lean and the apparent path over time, with the band of the
    flights, marked by what each frame can tell of an incidence; the angle between body and path as it is seen and what it is if square to the sight.

    ds : what `sixdof.postflight.video_band` or `from_video` returned.

    Raises ValueError for anything else.

    Examples
    --------
    >>> lens = dict(place=(200.0, 0.0, 1.5), picture=(1920, 1080), field_of_view="60 deg", frame_rate=60.0, liftoff_frame=30)
    >>> seen = sixdof.postflight.camera(**lens, bearing="270 deg", elevation="20 deg", pointing_error="1 deg")
    >>> table = sixdof.postflight.frames_of(flight, seen, range(30, 200, 10), pixel_error=1.0)
    >>> figure = sixdof.plot.plot_video(sixdof.postflight.from_video(seen, table))
    """
    need_video(ds, "plot_video")
    import matplotlib.pyplot as plt

    both = "apparent_lean" in ds
    figure, axes = plt.subplots(2, 2, figsize=(11.5, 8.4), layout="constrained")
    _picture(axes[0, 0], ds)
    if both:
        _over_time(axes[0, 1], ds, "apparent_lean", "Lean as seen, against the plumb line")
        _over_time(axes[1, 0], ds, "apparent_path", "Path as seen, against the plumb line")
        _incidence(axes[1, 1], ds)
    else:
        for ax, name, title in zip(axes.flat[1:], ("bearing", "elevation", "apparent_path"), ("Bearing", "Elevation", "Path as seen"), strict=True):
            _over_time(ax, ds, name, title)
    title = f"{ds.attrs['title']}: " if ds.attrs.get("title") else ""
    figure.suptitle(f"{title}video from {_from(ds)}", fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _from(ds: xr.Dataset) -> str:
    east, north = ds.attrs["camera_east"], ds.attrs["camera_north"]
    return f"{math.hypot(east, north):.0f} m off the rail, bearing {math.degrees(math.atan2(east, north)) % 360.0:.0f} deg from it"


def _picture(ax, ds: xr.Dataset) -> None:
    """Draw the picture as the camera has it, y down: flights' paths, and the body as it was read."""
    size = ds["picture"].values
    ax.add_patch(_frame(size))
    if "flown_pixel" in ds:
        middle = ds["flown_pixel"].mean("point", skipna=False).values
        inside = ((middle >= 0.0) & (middle <= size)).all(axis=-1, keepdims=True)
        middle = np.where(inside, middle, np.nan)
        for k, path in enumerate(middle[:LINES]):
            name = (
                {"label": "a flight beside it" if middle.shape[0] == 1 else "flights"}
                if k == 0
                else {"gid": "of:" + ("a flight beside it" if middle.shape[0] == 1 else "flights")}
            )
            ax.plot(path[:, 0], path[:, 1], color=CYCLE[2], lw=0.6, zorder=2, **name)
    pixel = ds["pixel"].values
    if pixel.shape[1] == 2:
        rows = np.unique(np.round(np.linspace(0, pixel.shape[0] - 1, min(BODIES, pixel.shape[0]))).astype(int))
        for k, row in enumerate(rows):
            name = {"label": "body as read, tail to nose"} if k == 0 else {"gid": "of:body as read, tail to nose"}
            ax.plot(pixel[row, ::-1, 0], pixel[row, ::-1, 1], color=CYCLE[1], lw=LINE + 0.5, zorder=4, **name)
    centre = pixel.mean(axis=1)
    ax.plot(centre[:, 0], centre[:, 1], ".", color=INK, ms=3.0, label="middle, every frame" if pixel.shape[1] == 2 else "point as read", zorder=3)
    right, down = _shown(ds)
    ax.set(xlim=right, ylim=down[::-1], xlabel="right in the picture (px)", ylabel="down in the picture (px)", aspect="equal")
    ax.locator_params(axis="x", nbins=5)
    dress(ax)
    ax.legend(fontsize=FONT, frameon=False, handlelength=1.8, loc="lower left", bbox_to_anchor=(0.0, 1.0), ncols=3, columnspacing=1.2, borderaxespad=0.2)


def _shown(ds: xr.Dataset) -> list[tuple[float, float]]:
    """Return what is shown of the picture, right and down, px: what was read with room about it, the flights in the picture, neither side too short."""
    size = ds["picture"].values
    pixel = ds["pixel"].values.reshape(-1, 2)
    if "flown_pixel" in ds:
        flown = ds["flown_pixel"].values[:LINES].reshape(-1, 2)
        pixel = np.concatenate([pixel, flown[((flown >= 0.0) & (flown <= size)).all(axis=1)]])
    low, high = np.nanmin(pixel, axis=0), np.nanmax(pixel, axis=0)
    wide = np.maximum(1.12 * (high - low), 0.05 * size)
    wide = np.maximum(wide, PART * wide.max())
    return [(float(middle - half), float(middle + half)) for middle, half in zip(0.5 * (low + high), 0.5 * wide, strict=True)]


def _frame(size: np.ndarray):
    from matplotlib.patches import Rectangle

    return Rectangle((0.0, 0.0), size[0], size[1], fc=BAND, ec="none", zorder=0.1)


def _over_time(ax, ds: xr.Dataset, name: str, title: str) -> None:
    """Draw one angle over time with errors, and the flights' band; marks say what a frame can tell."""
    time, value, error = ds["time"].values, np.degrees(ds[name].values), np.degrees(ds[f"{name}_error"].values)
    value = _near(ds, name, np.where(_worth(error), value, np.nan))
    low, middle, high = _band(ds, name, value)
    if name == "apparent_path" and np.isfinite(value).any():  # an angle about the plumb line, near 0 and not near 360
        turns = 360.0 * np.round(np.nanmedian(value) / 360.0)
        value, low, middle, high = value - turns, low - turns, middle - turns, high - turns
    if "band" in ds and not ds.attrs["of_one_flight"]:
        share = f"{100.0 * ds.attrs['share']:g} % of the flights"
        ax.fill_between(time, low, high, color=CYCLE[2], alpha=0.25, lw=0.0, label=share, zorder=1)
        ax.plot(time, middle, color=CYCLE[2], lw=LINE, ls=DASHES[1], label="their median", zorder=2)
    elif "band" in ds:
        ax.plot(time, middle, color=CYCLE[2], lw=LINE, ls=DASHES[1], label="the flight beside it", zorder=2)
    _marks(ax, ds, time, value, error)
    ax.set(xlabel="time since liftoff (s)", ylabel=f"{name.replace('_', ' ')} (deg)")
    _limits(ax, value, error, np.concatenate([low, middle, high]))
    dress(ax, title)
    legend_on_top(ax, 3)


def _band(ds: xr.Dataset, name: str, value: np.ndarray) -> np.ndarray:
    """Return low, middle and high (3, frames) of the flights, deg; a path only where it is read, for at rest it has no direction."""
    if "band" not in ds:
        return np.full((3, value.size), np.nan)
    found = np.degrees(ds["band"].sel(quantity=name).values)
    return np.where(np.isfinite(value), found, np.nan) if name == "apparent_path" else found


def _worth(error: np.ndarray) -> np.ndarray:
    """Return which angles are worth drawing by their errors, deg; all of them where none is."""
    small = error < STEEP
    return small if small.any() else np.full(error.shape, True)


def _near(ds: xr.Dataset, name: str, value: np.ndarray) -> np.ndarray:
    """Return an angle, deg, by whole turns nearest to the flights' median, or to itself a frame before where it goes round."""
    if "band" in ds:
        middle = np.degrees(ds["band"].sel(quantity=name).values[1])
        return np.where(np.isfinite(middle), middle + (value - middle + 180.0) % 360.0 - 180.0, value)
    known = np.isfinite(value)
    out = value.copy()
    if name in ("bearing", "apparent_path"):
        out[known] = np.unwrap(value[known], period=360.0)
    return out


def _marks(ax, ds: xr.Dataset, time: np.ndarray, value: np.ndarray, error: np.ndarray) -> None:
    """Draw readings with one standard deviation, by what their frame can tell of an incidence; errors that leave the scale are left out."""
    bars = np.isfinite(value) & np.isfinite(error)
    ax.errorbar(time[bars], value[bars], error[bars], fmt="none", ecolor=GREY, elinewidth=0.5, alpha=0.6, zorder=2.5)
    if "verdict" not in ds:
        ax.plot(time, value, "o", color=CYCLE[0], ms=3.5, label="as read, with one standard deviation", zorder=3)
        return
    verdict = ds["verdict"].values.astype(str)
    for word, (marker, colour) in MARKS.items():
        which = (verdict == word) & np.isfinite(value)
        if which.any():
            ax.plot(time[which], value[which], marker, color=colour, ms=3.5, label=f"of incidence: {word}", zorder=3 if word == NOTHING else 4)


def _limits(ax, value: np.ndarray, error: np.ndarray, band: np.ndarray) -> None:
    """Set the scale by the readings and the band."""
    known = np.concatenate([value, value + error, value - error, band])
    known = known[np.isfinite(known)]
    room = 0.05 * max(float(np.ptp(known)), 1.0)
    ax.set_ylim(known.min() - room, known.max() + room)


def _incidence(ax, ds: xr.Dataset) -> None:
    """Draw what an incidence must be to be seen, what was seen of it, and by how much the picture enlarges it."""
    time = ds["time"].values
    wanted = math.degrees(ds.attrs["wanted"])
    seen, error = np.degrees(ds["incidence_seen"].values), np.degrees(ds["incidence_seen_error"].values)
    worth = _worth(np.degrees(ds["apparent_incidence_error"].values))
    seen, least = np.where(worth, seen, np.nan), np.where(worth, np.degrees(ds["incidence_detectable"].values), np.nan)
    ax.plot(time, least, color=CYCLE[1], lw=LINE + 0.2, ls=DASHES[1], label="least that would be seen", zorder=3)
    ax.plot(time, ds["amplification"].values, color=CYCLE[3], lw=LINE, ls=DASHES[3], label="times as large in the picture (factor)", zorder=2)
    ax.axhline(wanted, color=INK, lw=0.8, label=f"worth telling: {wanted:g} deg", zorder=1.5)
    told = ds["verdict"].values.astype(str) != NOTHING
    _marks(ax, ds, time, np.where(seen > LEAST, seen, np.nan), np.where(told, error, np.inf))
    known = np.concatenate([seen, ds["amplification"].values, least, [wanted]])
    known = known[np.isfinite(known)]
    ax.set(yscale="log", xlabel="time since liftoff (s)", ylabel="angle between body and path (deg); factor")
    ax.set_ylim(min(max(0.8 * known.min(), LEAST), 0.9), 1.2 * max(min(known.max(), 100.0), 10.0))
    ax.yaxis.set_major_formatter("{x:g}")
    ax.yaxis.set_minor_formatter("")
    dress(ax, "Incidence: as if square to the sight, and what can be told")
    _legend_on_log(ax)


def _legend_on_log(ax) -> None:
    """Give axes with a logarithmic scale a legend in room of its own above what is drawn."""
    low, high = ax.get_ylim()
    ax.set_ylim(low, high * (high / low) ** 0.45)
    ax.legend(fontsize=FONT, frameon=False, handlelength=1.8, loc="upper left", ncols=2, columnspacing=1.2, borderaxespad=0.2)


def plot_swing(ds: xr.Dataset, ax=None):
    """Draw a swing: the readings, the damped oscillation fitted to them, and what was found; return the axes.

    ds : what `sixdof.postflight.swing_of` returned. ax : matplotlib axes; None makes a figure.

    Raises ValueError for anything else.

    Examples
    --------
    >>> time = np.arange(0.0, 3.0, 1.0 / 30.0)
    >>> ax = sixdof.plot.plot_swing(sixdof.postflight.swing_of((time, 0.05 * np.exp(-0.6 * time) * np.cos(9.0 * time))))
    """
    need_swing(ds, "plot_swing")
    from sixdof.plot.style import axes_or_new, label, shown

    ax = axes_or_new(ax, size=(7.4, 4.2))
    time = ds["time"].values
    ax.plot(time, shown(ds["value"]), "o", color=GREY, ms=3.0, label="as read", zorder=2)
    words = f"{float(ds['frequency']):.2f} Hz, damping {float(ds['damping']):.2f}" if ds.attrs["found"] else "best fit: no oscillation told"
    ax.plot(time, shown(ds["fitted"]), color=CYCLE[0], lw=LINE + 0.4, label=words, zorder=3)
    ax.set(xlabel="time since liftoff (s)", ylabel=label(ds["value"]))
    dress(ax, "Swing" + (f": restoring moment {ds.attrs['verdict']}" if "restoring_ratio" in ds else ""))
    legend_on_top(ax, 2)
    return ax
