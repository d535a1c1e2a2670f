"""The figure of a recording: height with silences and losses, share of packets that came, time on the way, track with the last known position."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.plot.style import CYCLE, DASHES, FONT, GREY, INK, LINE, PALE, blank, dress, legend_above, legend_on_top
from sixdof.postflight.recording.last import last_position
from sixdof.postflight.recording.recording import need_recording

CAME, LAST, SILENT, LATE = CYCLE[0], CYCLE[1], "#f6d9d2", CYCLE[5]
BINS = 60  # of the panel of losses
ARROW = 3.0  # s of motion that the arrow at the last position shows


def plot_recording(recording: xr.Dataset):
    """Draw a recording on a page of four panels; return the figure.

    Height as packets said it, with silences shaded and restarts of the recorder marked; the share of packets that came, over time; what each took on the way
    above the least, late ones marked; and the track over the ground with the last known position and where the body was as the longest silence began.

    recording : what `sixdof.postflight.read_recording` returned.

    Raises ValueError for anything else.

    Examples
    --------
    >>> packets = sixdof.postflight.simulated_packets(flight, loss=0.2, burst=5.0, seed=1)
    >>> recorded = sixdof.postflight.record(packets, "drawn.rec", progress=False)
    >>> figure = sixdof.plot.plot_recording(sixdof.postflight.read_recording("drawn.rec"))
    """
    ds = need_recording(recording, "plot_recording")
    import matplotlib.pyplot as plt

    figure, ((height, track), (came, latency)) = plt.subplots(2, 2, figsize=(11.5, 8.0), layout="constrained")
    _height(height, ds)
    _track(track, ds)
    _came(came, ds)
    _latency(latency, ds)
    title = ds.attrs.get("title") or "Recording"
    figure.suptitle(f"{title}: what came by radio", fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _since(ds: xr.Dataset, values: xr.DataArray | np.ndarray) -> np.ndarray:
    """Return receiver's times as seconds since the first packet."""
    return np.asarray(values, dtype=float) - float(ds["received"].min())


def _shade(ax, ds: xr.Dataset, top: float) -> None:
    """Shade silences and mark restarts of the recorder, up to `top`, by the first packet that each recorded."""
    if "silence" in ds.dims:
        begin, length = _since(ds, ds["silence_begin"].values), ds["silence_length"].values
        for k in range(begin.size):
            ax.axvspan(begin[k], begin[k] + length[k], color=SILENT, lw=0.0, zorder=0.5, label="silence" if k == 0 else "_")
    session = ds["session"].values
    restarts = _since(ds, ds["received"].values[1:])[np.diff(session) > 0]
    if restarts.size:
        ax.vlines(restarts, 0.0, top, color=GREY, lw=LINE, ls=DASHES[2], zorder=1, label="restart of the recorder")


def _height(ax, ds: xr.Dataset) -> None:
    ax.set(xlabel="time since the first packet, receiver's clock (s)", ylabel="height above ground (m)")
    if "height" not in ds:
        blank(ax, "no packet holds a height")
        return
    time, height = _since(ds, ds["received"]), ds["height"].values
    _shade(ax, ds, float(np.nanmax(height)))
    ax.plot(time, height, ".", ms=2.5, color=CAME, label="packet", zorder=2)
    row = np.flatnonzero(np.isfinite(height))[-1]
    ax.plot(time[row], height[row], "o", ms=6.0, mfc="none", mec=LAST, mew=1.4, label=f"last known: {height[row]:.0f} m", zorder=3)
    dress(ax, "Height, as packets said it")
    legend_on_top(ax, 2)


def _came(ax, ds: xr.Dataset) -> None:
    """Draw the share of packets that came, by numbers or by the sender's clock, in equal stretches of time."""
    ax.set(xlabel="time since the first packet, receiver's clock (s)", ylabel="share of packets that came (%)")
    lost = float(ds["lost"])
    if not math.isfinite(lost):
        blank(ax, "packets bear neither a number nor the sender's clock: nothing tells what was lost")
        return
    new = ~ds["repeated"].values
    sent = _since(ds, _sent_at(ds))[new]
    number = np.arange(sent.size, dtype=float) if ds.attrs["numbered_by"] != "sequence" else ds["sequence"].values[new]
    edges = np.linspace(0.0, max(float(sent.max()), 1e-3), min(BINS, max(sent.size // 5, 4)) + 1)
    came = np.histogram(sent, edges)[0].astype(float)
    gaps = _lost_times(sent, number, ds)
    gone = np.histogram(gaps, edges)[0]
    share = 100.0 * np.divide(came, came + gone, out=np.full(came.size, np.nan), where=came + gone > 0)
    ax.stairs(np.nan_to_num(share), edges, fill=True, color=CAME, alpha=0.25, lw=0.0)
    ax.stairs(np.nan_to_num(share), edges, color=CAME, lw=LINE, label="came")
    ax.set_ylim(0.0, 105.0)
    dress(ax, f"{100.0 * (1.0 - float(ds['loss_share'])):.1f} % came; {lost:.0f} lost, gaps of {float(ds['burst_length']):.1f} on average")


def _sent_at(ds: xr.Dataset) -> np.ndarray:
    """Return when packets were sent, by the receiver's clock; when they came, where they do not say."""
    told = ds["received"].values - ds["latency"].values
    return np.where(np.isfinite(told), told, ds["received"].values)


def _lost_times(sent: np.ndarray, number: np.ndarray, ds: xr.Dataset) -> np.ndarray:
    """Return about when each lost packet was sent: evenly between those that came before and behind it."""
    order = np.argsort(sent)
    sent, number = sent[order], number[order]
    step = np.diff(sent)
    if ds.attrs["numbered_by"] == "sequence":
        many = np.diff(number).astype(int) - 1
    else:
        many = np.round(step / np.median(step)).astype(int) - 1
    many = np.where((many > 0) & (many < 1e6), many, 0)
    return np.concatenate([[], *(sent[k] + step[k] * np.arange(1, many[k] + 1) / (many[k] + 1) for k in np.flatnonzero(many))])


def _latency(ax, ds: xr.Dataset) -> None:
    ax.set(xlabel="time since the first packet, receiver's clock (s)", ylabel="time on the way above the least (ms)")
    latency = 1e3 * ds["latency"].values
    if not np.isfinite(latency).any():
        blank(ax, "packets bear no clock of the sender: nothing tells what they took on the way")
        return
    time, late = _since(ds, ds["received"]), ds["late"].values
    _shade(ax, ds, float(np.nanmax(latency)))
    ax.plot(time[~late], latency[~late], ".", ms=2.5, color=CAME, label="packet", zorder=2)
    if late.any():
        ax.plot(time[late], latency[late], "x", ms=4.0, color=LATE, label="overtaken", zorder=3)
    drift = ds["clock_drift"].values
    known = drift[np.isfinite(drift)]
    words = f", sender's clock {1e6 * known[0]:+.0f} ppm" if known.size == 1 else f", {drift.size} runs of the sender's clock" if drift.size > 1 else ""
    dress(ax, f"On the way: median {np.nanmedian(latency):.0f} ms{words}")
    legend_on_top(ax, 2)


def _track(ax, ds: xr.Dataset) -> None:
    ax.set(xlabel="east of the rail (m)", ylabel="north of the rail (m)")
    if "east" not in ds or "north" not in ds or not np.isfinite((ds["east"] + ds["north"]).values).any():
        blank(ax, "no packet holds a place")
        return
    last = last_position(ds)
    ax.plot(0.0, 0.0, "^", ms=6.0, color=INK, label="rail", zorder=3)
    ax.plot(ds["east"], ds["north"], ".", ms=2.5, color=CAME, label="packet", zorder=2)
    if "silence_east" in ds:
        k = int(ds["silence_length"].values.argmax())
        words = f"as the longest silence began ({float(ds['silence_length'][k]):.1f} s)"
        ax.plot(ds["silence_east"][k], ds["silence_north"][k], "s", ms=6.0, mfc="none", mec=LATE, mew=1.2, label=words, zorder=3)
    words = f"last known: {float(last['distance']):.0f} m from the rail, bearing {math.degrees(float(last['bearing'])):.0f} deg"
    ax.plot(last["east"], last["north"], "o", ms=7.0, mfc="none", mec=LAST, mew=1.4, label=words, zorder=4)
    east, north = last["velocity"].values[:2] * ARROW
    if math.hypot(east, north) > ARROW:
        arrow = {"arrowstyle": "->", "color": LAST, "lw": LINE}
        ax.annotate("", (float(last["east"]) + east, float(last["north"]) + north), (float(last["east"]), float(last["north"])), arrowprops=arrow, zorder=4)
    ax.set_aspect("equal", adjustable="datalim")
    ax.axhline(0.0, color=PALE, lw=0.6, zorder=0)
    dress(ax)
    legend_above(ax, 2)
