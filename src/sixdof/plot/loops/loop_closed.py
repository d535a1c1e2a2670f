"""Figures of the attitude loops closed: their poles, their answers to steps and disturbances, and the flights that they fly."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.plot.loops.linear import DASHED, DOTTED, need_number, need_one_of, new_axes
from sixdof.plot.loops.loop import BESIDE, DARKEST, PALEST, WORST, Curve, chosen_points, place, s_plane
from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, axes_or_new, blank, dress, label, legend, legend_on_top, unwound
from sixdof.study.loops.linear import CHANNELS, check_point
from sixdof.study.loops.loop import LOWEST, closed_response, flown_mission, open_loop
from sixdof.study.reading.control_metrics import channel_error
from sixdof.study.reading.result import climb, mission_of, need_flight

FACTORS = np.geomspace(0.1, 4.0, 160)
LONGEST = 600.0  # s: a frozen model of a climbing rocket means nothing for as long
FINE = 0.015  # of the figure's reach: longer steps along a branch are divided
_BOX = {"fc": "white", "ec": "none", "alpha": 0.75, "pad": 0.8}


# ---------------------------------------------------------------- closed


def plot_root_locus(models: xr.Dataset, point: int = 0, channel: str = "pitch", *, gains=None, factors=None, bending=None, ax=None):
    """Draw the closed-loop poles of one channel as the law's demand, and with it all its gains, is multiplied by a factor.

    factors : ascending positive numbers, 0.1 to 4 by default. The poles of the sampled loop stand where those of a continuous one with
    the same motion would, log(z)/T, upper half; lines of equal damping ratio; today's gains, and the nearest factors above and below
    at which an oscillation no longer decays. Raises ValueError for such factors, a point or a channel that there is not.

    bending : as `plot_bode`. ax : axes to draw into, or None for a new figure.

    bending : a mode of the airframe, as for `plot_bode`. ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_root_locus(models, 2, "pitch")
    """
    need_one_of(channel, CHANNELS, "channel", "plot_root_locus")
    mission = flown_mission(models, gains, "plot_root_locus")
    check_point(models, point, "plot_root_locus")
    try:
        factors = FACTORS if factors is None else np.asarray(factors, dtype=float)
    except (TypeError, ValueError):
        factors = np.zeros(0)
    if factors.ndim != 1 or factors.size < 2 or not (np.isfinite(factors).all() and factors[0] > 0.0 and (np.diff(factors) > 0.0).all()):
        raise ValueError("plot_root_locus: factors must be two or more positive numbers in ascending order")
    loop = open_loop(models, point, channel, gains=mission, bending=bending)
    ax = axes_or_new(ax, size=(7.6, 5.4))
    reach = 1.5 * 2.0 * math.pi * max(mission.servo.natural_frequency, getattr(bending, "frequency", 0.0))
    _damping_lines(ax, reach)
    factors, poles = _branches(loop, factors, reach)
    _trace(ax, s_plane(poles, loop.dt), factors)
    today = s_plane(closed_poles(loop, [1.0])[0], loop.dt)
    today = today[today.imag >= -1e-9]
    ax.plot(today.real, today.imag, "s", ms=4.5, color=INK, zorder=5, label="today's gains", gid="today")
    for factor, s in critical_factors(loop, factors, poles):
        ax.plot(s.real, s.imag, "D", ms=5.0, color=WORST, zorder=6, label=f"limit: {factor:.2f} times, {s.imag:.3g} rad/s", gid="limit")
    ax.axvline(0.0, color=INK, lw=0.8)
    ax.set(xlim=(-reach, 0.4 * reach), ylim=(-0.01 * reach, reach), xlabel="real part of log(z)/T (1/s)", ylabel="imaginary part (rad/s)")
    legend(ax, loc="upper left", bbox_to_anchor=(0.0, -0.12), ncols=3)
    dress(ax, f"{channel} loop, closed-loop poles at {place(models, point)}")
    return ax


def closed_poles(loop, factors) -> np.ndarray:
    """Return the poles z of an open loop (`sixdof.loops.open_loop`) closed with factors (m,) on it: (m, states), complex."""
    k = np.asarray(factors, dtype=float)[:, None, None]
    return np.linalg.eigvals(loop.A - k / (1.0 + k * loop.D) * (loop.B @ loop.C))


def in_order(poles: np.ndarray) -> np.ndarray:
    """Return poles (m, states) with every column one branch: each row matched to the one before by least distance in all."""
    from scipy.optimize import linear_sum_assignment

    out = np.array(poles, dtype=complex)
    for row in range(1, len(out)):
        out[row] = out[row, linear_sum_assignment(np.abs(out[row - 1][:, None] - out[row][None, :]))[1]]
    return out


def critical_factors(loop, factors: np.ndarray, branches: np.ndarray) -> list[tuple[float, complex]]:
    """Return (factor, pole in the s-plane) nearest below and above 1 at which an oscillation faster than 0.1 rad/s neither grows nor decays.

    Slower ones are drifts that guidance takes out (see `study.margins.DRIFT`). branches : as `in_order` returns them for the factors.
    """
    from scipy.optimize import brentq

    size = np.abs(branches) - 1.0
    found = []
    for row, column in zip(*np.nonzero(size[1:] * size[:-1] < 0.0)):
        near, low, high = branches[row : row + 2, column].mean(), factors[row], factors[row + 1]
        if np.angle(near) < LOWEST * loop.dt:
            continue

        def pole(k, near=near):
            poles = closed_poles(loop, [k])[0]
            return poles[np.abs(poles - near).argmin()]

        def excess(k, pole=pole):
            return np.abs(pole(k)) - 1.0

        k = brentq(excess, low, high, xtol=1e-12) if excess(low) * excess(high) < 0.0 else math.sqrt(low * high)
        found.append((float(k), complex(s_plane(pole(k), loop.dt))))
    found.sort(key=lambda each: each[0])
    return [each for each in found if each[0] < 1.0][-1:] + [each for each in found if each[0] >= 1.0][:1]


def _branches(loop, factors: np.ndarray, reach: float) -> tuple[np.ndarray, np.ndarray]:
    """Return factors and the poles of every branch, with more factors where poles in the figure's reach move fast (they meet and part)."""
    for _ in range(3):
        poles = in_order(closed_poles(loop, factors))
        s = s_plane(poles, loop.dt)
        moved = np.where(np.abs(s[1:]) < 1.5 * reach, np.abs(np.diff(s, axis=0)), 0.0)
        fast = np.flatnonzero(np.nanmax(moved, axis=1) > FINE * reach)
        if not fast.size:
            break
        share = np.arange(1, 6) / 6.0
        between = factors[fast, None] * (factors[fast + 1] / factors[fast])[:, None] ** share
        factors = np.sort(np.concatenate([factors, between.ravel()]))
    return factors, in_order(closed_poles(loop, factors))


def _trace(ax, s: np.ndarray, factors: np.ndarray) -> None:
    """Draw branches (m, states) in colours that tell the factor, with a scale."""
    from matplotlib.collections import LineCollection
    from matplotlib.colors import LinearSegmentedColormap, LogNorm

    xy = np.stack([s.real, s.imag], axis=-1)
    pieces = np.stack([xy[:-1], xy[1:]], axis=2)
    colour = np.repeat(np.sqrt(factors[:-1] * factors[1:]), s.shape[1])
    keep = (np.isfinite(pieces).all(axis=(2, 3)) & (pieces[..., 1].min(axis=2) >= -1e-9)).ravel()
    scale = LogNorm(factors[0], factors[-1])
    lines = LineCollection(
        pieces.reshape(-1, 2, 2)[keep],
        array=colour[keep],
        cmap=LinearSegmentedColormap.from_list("blue", [PALEST, DARKEST]),
        norm=scale,
        lw=LINE + 0.7,
        capstyle="round",
        zorder=3,
    )
    ax.add_collection(lines)
    bar = ax.figure.colorbar(lines, ax=ax, pad=0.02, aspect=30)
    bar.outline.set_visible(False)
    ticks = [k for k in (0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0) if factors[0] <= k <= factors[-1]]
    bar.set_ticks(ticks or [factors[0], factors[-1]], labels=[f"{k:g}" for k in ticks or (factors[0], factors[-1])])
    bar.ax.minorticks_off()
    bar.ax.tick_params(labelsize=FONT, width=0.6, length=2.0)
    bar.set_label("factor on all gains", fontsize=FONT + 0.5, color=INK)


def _damping_lines(ax, reach: float) -> None:
    for ratio in (0.1, 0.2, 0.3, 0.5, 0.7, 0.9):
        x, y = -ratio, math.sqrt(1.0 - ratio**2)
        end = 0.97 * reach / max(y, -x)
        ax.plot([0.0, end * x], [0.0, end * y], color=GREY, lw=0.6, ls=DOTTED, zorder=1)
        ax.text(end * x, end * y, f"{ratio:g}", fontsize=FONT - 1.0, color=GREY, ha="center", va="center", bbox=_BOX, zorder=2, clip_on=True)


def plot_steps(
    models: xr.Dataset, points=None, channel: str = "pitch", *, gains=None, size_deg: float = 5.0, duration: float | None = None, bending=None, axes=None
):
    """Draw how angle and fins answer a step of the commanded angle (deg) at some points, in the linear closed loop: no stop, no limit of rate.

    points, gains : as `plot_bode`. duration : s; from the slowest crossover by default. axes : two axes, or None. Returns the two axes.

    size_deg : of the step, deg. channel, bending : as `plot_bode`.

    models, points, channel, gains, bending : as for `plot_bode`. size_deg : of the step, deg.

    Examples
    --------
    >>> axes = sixdof.plot.plot_steps(models, [2], "pitch", duration=1.0)
    """
    size_deg = need_number(size_deg, "size_deg", "plot_steps")
    mission, curves = chosen_points("plot_steps", models, points, channel, gains, "actuator", bending)
    axes = new_axes(axes, 2, 1, size=(7.0, 6.0), who="plot_steps", sharex=True).ravel()
    duration = _duration(curves, duration, "plot_steps")
    for curve in curves:
        _respond(axes, models, curve, channel, mission, bending, f"{channel}_goal", size_deg, duration)
    axes[0].axhline(size_deg, color=INK, lw=LINE, ls=DOTTED, label="commanded")
    _mark_travel(axes[1], mission)
    _dress_responses(axes, channel, f"{channel} loop, commanded step of {size_deg:g} deg")
    return axes


def plot_disturbances(
    models: xr.Dataset,
    points=None,
    channel: str = "pitch",
    *,
    gains=None,
    gust: float = 5.0,
    offset_deg: float = 1.0,
    duration: float | None = None,
    bending=None,
    axes=None,
):
    """Draw how angle and fins answer a gust that sets in across the body (m/s), and an offset of the fins (deg), in the linear closed loop.

    axes : (2, 2) axes, or None: angle above fins, gust left of offset. In roll no gust acts. Else as `plot_steps`. Returns the axes.

    points, channel, gains, duration, bending : as `plot_steps`. offset_deg : of the fins, deg.

    models, points, channel, gains, bending : as for `plot_bode`. gust : m/s. offset_deg : deg. duration : s; long enough to settle by default.

    Examples
    --------
    >>> axes = sixdof.plot.plot_disturbances(models, [2], "pitch", duration=1.0)
    """
    gust, offset_deg = need_number(gust, "gust", "plot_disturbances"), need_number(offset_deg, "offset_deg", "plot_disturbances")
    mission, curves = chosen_points("plot_disturbances", models, points, channel, gains, "actuator", bending)
    axes = new_axes(axes, 2, 2, size=(10.0, 6.0), who="plot_disturbances", sharex=True)
    duration = _duration(curves, duration, "plot_disturbances")
    across = {"pitch": "gust_w", "yaw": "gust_v"}.get(channel)
    kinds = [(across, gust, f"gust of {gust:g} m/s across"), (f"{channel}_demand_added", offset_deg, f"fins off by {offset_deg:g} deg")]
    for pair, (name, size, text) in zip(axes.T, kinds):
        if name is None:
            for ax in pair:
                blank(ax, "no gust acts on the roll channel alone")
            continue
        # the answer to a gust is in rad per m/s, to an angle in deg per deg
        size = math.degrees(size) if name == across else size
        for curve in curves:
            _respond(pair, models, curve, channel, mission, bending, name, size, duration)
        pair[0].axhline(0.0, color=INK, lw=0.8)
        _dress_responses(pair, channel, f"{channel}: {text}", entries=name != across or channel == "roll")
    return axes


def _respond(axes, models, curve: Curve, channel, mission, bending, given: str, size: float, duration: float) -> None:
    """Draw angle and fin angle of one point after a step of an input, from the closed loop itself."""
    import control

    closed = closed_response(models, curve.point, channel, gains=mission, bending=bending)
    time = np.arange(round(duration / closed.dt) + 1) * closed.dt
    answer = control.step_response(closed[[f"{channel}_angle", f"{channel}_fin"], given], time)
    for ax, values in zip(axes, answer.outputs.reshape(2, -1)):
        ax.plot(time, size * values, color=curve.colour, lw=curve.width, label=curve.text, zorder=3 if curve.worst else 2)


def _duration(curves: list[Curve], duration, who: str) -> float:
    if duration is not None:
        if isinstance(duration, bool) or not (isinstance(duration, (int, float)) and 0.0 < duration <= LONGEST):
            raise ValueError(f"{who}: duration = {shown(duration)} must be a number of seconds above 0, {LONGEST:g} at most")
        return float(duration)
    crossover = np.array([float(curve.margins["crossover"]) for curve in curves])
    slowest = np.nanmin(crossover) if np.isfinite(crossover).any() else 5.0
    return float(np.clip(15.0 / slowest, 0.5, 6.0))


def _mark_travel(ax, mission: Mission) -> None:
    """Mark a fin's stops where the answers come near them."""
    travel = math.degrees(mission.servo.deflection_limit)
    reached = max(np.abs(line.get_ydata()).max() for line in ax.lines)
    for k, stop in enumerate((travel, -travel) if reached > 0.5 * travel else ()):
        ax.axhline(stop, color=GREY, lw=LINE, ls=DASHED, label=None if k else "stop of a fin")


def _dress_responses(axes, channel: str, title: str, *, entries: bool = True) -> None:
    axes[0].set_ylabel(f"{channel} angle (deg)")
    axes[1].set(xlabel="time since the step (s)", ylabel=f"fins in {channel} (deg)")
    axes[1].axhline(0.0, color=INK, lw=0.8)
    for ax in axes:
        ax.set_xlim(0.0, ax.lines[0].get_xdata()[-1])
    if entries:
        legend(axes[0], **BESIDE)
        extra = [(h, t) for h, t in zip(*axes[1].get_legend_handles_labels()) if t == "stop of a fin"]
        if extra:
            legend(axes[1], handles=[extra[0][0]], **BESIDE)
    dress(axes[0], title)
    dress(axes[1])


# ---------------------------------------------------------------- flown


def plot_responses(flights: Mapping[str, xr.Dataset], channel: str = "pitch", *, axes=None):
    """Draw flights over each other up to apogee: commanded angle (dashed) and angle, error, command of the fin that works most; degrees.

    flights : name -> Dataset of `sixdof.fly`. axes : three axes, or None. Dotted: the fins' stops. Returns the three axes.
    Raises ValueError for a channel that there is not, or what is not a flight.

    Examples
    --------
    >>> axes = sixdof.plot.plot_responses({"as it is": flight}, "pitch")
    """
    need_one_of(channel, CHANNELS, "channel", "plot_responses")
    if not isinstance(flights, Mapping) or isinstance(flights, xr.Dataset) or not flights:
        raise ValueError('plot_responses: flights must be a dictionary such as {"before": flight, "after": other}')
    angle = "roll" if channel == "roll" else f"tilt_{channel}"
    for name, ds in flights.items():
        if not ds.sizes.get("fin") and "event_time" in ds:
            raise ValueError(f"plot_responses ({name}) needs control fins, and this vehicle has none (fins with control = true)")
        need_flight(ds, f"plot_responses ({name})", angle, f"commanded_{channel}", "fin_command", "event_time", "event", "body")
    axes = new_axes(axes, 3, 1, size=(7.4, 7.4), who="plot_responses", sharex=True).ravel()
    travels = set()
    for (name, ds), colour in zip(flights.items(), CYCLE * (1 + len(flights) // len(CYCLE))):
        part = ds.sel(time=climb(ds))
        time = part["time"].values
        axes[0].plot(time, unwound(np.degrees(part[angle].values)), color=colour, lw=LINE + 0.3, label=name)
        axes[0].plot(time, unwound(np.degrees(part[f"commanded_{channel}"].values)), color=colour, lw=LINE, ls=DASHED, gid=f"of:{name}")
        axes[1].plot(time, np.degrees(channel_error(part, channel)), color=colour, lw=LINE + 0.3, label=name)
        command = np.degrees(part["fin_command"].values)
        fin = int(np.nansum(np.abs(np.diff(command, axis=0)), axis=0).argmax())
        axes[2].plot(time, command[:, fin], color=colour, lw=LINE, label=f"{name}: fin {int(part['fin'].values[fin])}")
        travels.add(math.degrees(mission_of(ds, "plot_responses").servo.deflection_limit))
    axes[0].plot([], [], color=GREY, lw=LINE, ls=DASHED, label="commanded")
    for k, stop in enumerate(sign * travel for travel in sorted(travels) for sign in (1.0, -1.0)):
        axes[2].axhline(stop, color=INK, lw=LINE, ls=DOTTED, label=None if k else "stops")
    axes[1].axhline(0.0, color=INK, lw=0.8)
    for ax, text in zip(axes, (f"{channel} angle (deg)", "commanded minus true (deg)", "command of a fin (deg)")):
        ax.set_ylabel(text)
        legend_on_top(ax, 4)
        dress(ax, f"{channel} in flight" if ax is axes[0] else "")
    axes[2].set_xlabel(label(next(iter(flights.values()))["time"]))
    return axes
