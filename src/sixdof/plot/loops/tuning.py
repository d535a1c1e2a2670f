"""Figures of tuned gains: the schedule, and what the new gains do beside the old ones."""

from __future__ import annotations

import math

import numpy as np

from sixdof.mission.units import shown
from sixdof.plot.loops.linear import CHANNEL_COLOURS, DASHED, need_one_of, new_axes, plot_margins
from sixdof.plot.loops.loop import place
from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, dress, label, legend, legend_beside, legend_on_top, widths
from sixdof.study.loops.loop import closed_response
from sixdof.study.tuning.tuned import Tuned

OLD, NEW = CYCLE[1], CYCLE[0]
STEP_DEG, LONG = 5.0, 2.5  # deg, s: of the commanded step in the overview
SEEN = (-0.4 * STEP_DEG, 2.4 * STEP_DEG)  # deg: what is shown of the angle


def _need_tuned(tuned, who: str) -> None:
    if not isinstance(tuned, Tuned):
        raise TypeError(f"{who}: tuned must be what sixdof.tune returns, not {shown(tuned)}")


def plot_schedule(tuned: Tuned, *, axes=None):
    """Draw the gains p, i, d of every channel that was designed over the schedule's variable, on logarithmic scales.

    axes : three axes, or None for a new figure. Where the autopilot scales them by dynamic pressure, they are those at its reference.
    Returns the axes. Raises TypeError for what `tune` did not return.

    Examples
    --------
    >>> axes = sixdof.plot.plot_schedule(tuned)
    """
    from matplotlib.ticker import LogLocator, NullLocator

    _need_tuned(tuned, "plot_schedule")
    axes = new_axes(axes, 1, 3, size=(9.6, 3.2), who="plot_schedule").ravel()
    schedule = tuned.schedule()
    channels = [c for c in CHANNEL_COLOURS if c in tuned.spec.channels]
    pressure = tuned.mission.autopilot.gain_reference_q
    for ax, name in zip(axes, "pid"):
        for channel, width in zip(channels, widths(len(channels))):
            values = schedule[name].sel(channel=channel)
            ax.plot(schedule["row"], np.where(values > 0.0, values, np.nan), color=CHANNEL_COLOURS[channel], lw=width, marker="o", ms=3.5, label=channel)
        ax.set_yscale("log")
        ax.yaxis.set_major_locator(LogLocator(subs=(1.0, 2.0, 5.0)))
        ax.yaxis.set_major_formatter("{x:g}")
        ax.yaxis.set_minor_locator(NullLocator())
        ax.set(xlabel=label(schedule["row"]), ylabel=label(schedule[name]))
        dress(ax, f"at {pressure:g} Pa, as 1/q elsewhere" if pressure and ax is axes[0] else "")
    legend_beside(axes[-1])
    return axes


def plot_tuning(tuned: Tuned, channel: str = "pitch"):
    """Draw what tuning did for one channel: margins along the flight and a commanded step at the old worst point, before and now; the schedule.

    Returns the figure. Raises TypeError for what `tune` did not return, ValueError for a channel that there is not.

    Examples
    --------
    >>> figure = sixdof.plot.plot_tuning(tuned, "pitch")
    """
    _need_tuned(tuned, "plot_tuning")
    need_one_of(channel, CHANNEL_COLOURS, "channel", "plot_tuning")
    import matplotlib.pyplot as plt

    figure = plt.figure(figsize=(12.0, 8.4), layout="constrained")
    panels = figure.subplot_mosaic(
        [
            ["gain", "gain", "gain", "angle", "angle", "angle"],
            ["phase", "phase", "phase", "fin", "fin", "fin"],
            ["distance", "distance", "distance", "budget", "budget", "budget"],
            ["p", "p", "i", "i", "d", "d"],
        ]
    )
    spec = tuned.spec
    plot_margins(
        {"before": tuned.margins_before, "now": tuned.margins},
        channel=channel,
        required=(spec.gain_margin_db, math.radians(spec.phase_margin_deg)),
        colours=(OLD, NEW),
        axes=[panels[name] for name in ("gain", "phase", "distance")],
    )
    for name in ("gain", "phase", "angle"):
        panels[name].tick_params(labelbottom=False)  # as the panel below
    _steps(panels["angle"], panels["fin"], tuned, channel)
    plot_lags(tuned, ax=panels["budget"])
    plot_schedule(tuned, axes=[panels[name] for name in "pid"])
    figure.suptitle(f"{tuned.before.title or 'untitled'}: {channel}", fontsize=FONT + 3.0, color=INK, x=0.01, ha="left")
    return figure


def _steps(angle_ax, fin_ax, tuned: Tuned, channel: str) -> None:
    """Draw a commanded step with old and new gains on the same vehicle, where the old margin was least."""
    import control

    before = tuned.margins_before.sel(channel=channel, broken_at="actuator")
    point = int(before["distance"].values.argmin())
    travel = math.degrees(tuned.mission.servo.deflection_limit)
    for text, mission, colour in (("before", tuned.before, OLD), ("now", tuned.mission, NEW)):
        loop = closed_response(tuned.models_before, point, channel, gains=mission, bending=tuned.bending)
        out = control.step_response(loop, np.arange(0.0, LONG, loop.dt), input=loop.input_labels.index(f"{channel}_goal"))
        for ax, what, (low, high) in ((angle_ax, "angle", SEEN), (fin_ax, "fin", (-1.2 * travel, 1.2 * travel))):
            values = np.squeeze(out.outputs)[loop.output_labels.index(f"{channel}_{what}")] * STEP_DEG
            values = np.where((values > low) & (values < high), values, np.nan)  # what grows without end would leave room for nothing else
            ax.plot(out.time, values, color=colour, lw=LINE + 0.3, label=text)
            ax.set_ylim(low, high)
    angle_ax.axhline(STEP_DEG, color=GREY, lw=LINE, ls=DASHED, label="commanded")
    for sign in (-1.0, 1.0):
        fin_ax.axhline(sign * travel, color=INK, lw=LINE, ls=":", label="stop" if sign > 0.0 else None)
    angle_ax.set(ylabel="angle (deg)")
    fin_ax.set(ylabel="fin (deg)", xlabel="time since the step (s)")
    legend_on_top(angle_ax, 3)
    legend_on_top(fin_ax, 3)
    dress(angle_ax, f"commanded step of {STEP_DEG:g} deg, {place(tuned.models_before, point)}, linear, cut where it grows out of the panel")
    dress(fin_ax)


def plot_lags(tuned: Tuned, *, ax=None):
    """Draw where the phase goes at the gain crossover of each channel's worst point: servo, delays, hold, gyro, filter; degrees, stacked.

    Returns the axes. Raises TypeError for what `tune` did not return.

    ax : axes to draw into, or None for a new figure.

    ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_lags(tuned)
    """
    from sixdof.plot.style import axes_or_new
    from sixdof.study.tuning.limits import LAG_WORDS

    _need_tuned(tuned, "plot_lags")
    ax = axes_or_new(ax, size=(6.4, 2.6))
    limits = tuned.limits
    channels = [c for c in CHANNEL_COLOURS if c in tuned.spec.channels][::-1]
    left = np.zeros(len(channels))
    for name, colour in zip(limits["lag"].values, CYCLE):
        lost = np.degrees(np.nan_to_num([float(limits["phase_lost"].sel(lag=name, channel=c)) for c in channels]))
        if lost.any():
            ax.barh(channels, lost, left=left, height=0.55, color=colour, label=LAG_WORDS[str(name)])
        left += lost
    ax.set(xlabel="phase lost at the crossover (deg)")
    dress(ax, "phase lost per element, worst point")
    ax.set_ylim(-0.6, len(channels) - 0.1)
    ax.set_xlim(0.0, 1.45 * max(left.max(), 1.0))
    legend(ax, loc="center right")
    return ax
