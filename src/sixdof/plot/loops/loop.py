"""Figures of the attitude loops as they fly, broken at one place: Bode, Nyquist, Nichols; and which points of a flight they show."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.plot.loops.linear import DASHED, FORBIDDEN_SHADE, need_one_of, need_required, new_axes
from sixdof.plot.style import CYCLE, FONT, GREY, INK, LINE, PALE, axes_or_new, dress, legend, legend_beside
from sixdof.study.loops.linear import CHANNELS, check_point
from sixdof.study.loops.loop import BREAKS, LOWEST, flown_mission, open_loop
from sixdof.study.loops.margins import REQUIRED_GAIN_DB, REQUIRED_PHASE, margins

MOST_POINTS = 5  # that are laid over each other when none are named
GRID = 300  # frequencies of a curve, besides those round resonances
NARROW = 0.15  # damping ratio of a pole or zero below which the curve gets frequencies of its own round it
PALEST, DARKEST = (0.66, 0.81, 0.90), (0.03, 0.25, 0.50)  # of the points that are not the worst, early to late
WORST = CYCLE[1]
WHERE = {"actuator": "at the demand", "attitude": "at the attitude", "rate": "at the rate reading"}
SPAN_DB = 40.0  # of the gain, on both sides of 0 dB, that a Nichols chart shows
REQUIRED = (REQUIRED_GAIN_DB, REQUIRED_PHASE)
BESIDE = {"loc": "center left", "bbox_to_anchor": (1.0, 0.5)}
_BOX = {"fc": "white", "ec": "none", "alpha": 0.75, "pad": 0.8}


class Curve(NamedTuple):
    """One point of a flight in a figure: how it is drawn, what is known of its margins (scalars), and its open loop, if wanted."""

    point: int
    text: str
    colour: str | tuple
    width: float
    worst: bool
    margins: xr.Dataset
    frequency: np.ndarray | None = None
    values: np.ndarray | None = None

    @property
    def phase(self) -> np.ndarray:
        """Return the phase in degrees, without jumps, on the turn that puts the gain crossover between -360 and 0."""
        phase = np.degrees(np.unwrap(np.angle(self.values)))
        crossover = float(self.margins["crossover"])
        k = np.abs(self.frequency - crossover).argmin() if math.isfinite(crossover) else np.abs(self.values).argmax()
        return phase - 360.0 * math.ceil(phase[k] / 360.0)

    @property
    def gain_db(self) -> np.ndarray:
        """Return the gain in decibels."""
        return 20.0 * np.log10(np.maximum(np.abs(self.values), 1e-300))

    def margin(self, name: str) -> float:
        """Return a margin, NaN where the closed loop is unstable and has none."""
        return float(self.margins[name]) if self.margins["stable"] else math.nan


# ---------------------------------------------------------------- open


def plot_bode(models: xr.Dataset, points=None, channel: str = "pitch", *, gains=None, broken_at: str = "actuator", bending=None, axes=None):
    """Draw gain and phase of an open loop at some points of the flight; the worst point (least |1 + L|) with its margins.

    points : numbers of points, or None for five along the flight with the worst of all among them. gains, broken_at, bending : as
    `sixdof.loops.open_loop`. axes : two axes, or None. Returns the two axes: dB and degrees against rad/s, Hz above.

    channel : "pitch", "yaw" or "roll".

    channel : "roll", "pitch" or "yaw".

    Raises
    ------
    ValueError, TypeError
        As `sixdof.loops.open_loop`.

    Examples
    --------
    >>> axes = sixdof.plot.plot_bode(models, [1, 3], "pitch")
    """
    from matplotlib.ticker import LogLocator

    curves = _open_loops("plot_bode", models, points, channel, gains, broken_at, bending)
    axes = new_axes(axes, 2, 1, size=(7.4, 6.6), who="plot_bode", sharex=True).ravel()
    size, phase = axes
    for curve in curves:
        for ax, values in ((size, curve.gain_db), (phase, curve.phase)):
            ax.plot(curve.frequency, values, color=curve.colour, lw=curve.width, label=curve.text, zorder=3 if curve.worst else 2, gid="cut")
    size.axhline(0.0, color=INK, lw=0.8)
    _critical_phases(phase, phase.axhline)
    for curve in curves:
        if curve.worst:
            _mark_on_bode(size, phase, curve)
    for ax in axes:
        ax.set(xscale="log", xlim=(curves[0].frequency[0], curves[0].frequency[-1]))
    phase.xaxis.set_minor_locator(LogLocator(subs=(2.0, 5.0)))  # all nine would take as long to draw as the curves
    size.set(ylabel="gain (dB)", ylim=(max(size.get_ylim()[0], -2.0 * SPAN_DB), min(size.get_ylim()[1], 1.5 * SPAN_DB)))
    phase.set(ylabel="phase (deg)", xlabel="frequency (rad/s), up to half the sampling rate")
    phase.yaxis.set_major_locator(_steps_of(phase, 45.0))
    legend_beside(size)
    dress(size, _title(channel, broken_at))
    dress(phase)
    _hertz_above(size)
    return axes


def plot_nyquist(models: xr.Dataset, points=None, channel: str = "pitch", *, gains=None, broken_at: str = "actuator", bending=None, required=REQUIRED, ax=None):
    """Draw an open loop in the complex plane (positive frequencies) round -1, where it comes closest, and what it has to keep clear of.

    required : (dB, rad): the bars on the real axis and the unit circle are not to be crossed; who stays out of the shaded disk, the
    symmetric one of P. Seiler, A. Packard, P. Gahinet (2020), meets both with gain and phase changing together. Else as `plot_bode`.

    points, channel, gains, broken_at, bending : as `plot_bode`. ax : axes to draw into, or None for a new figure.

    models, points, channel, gains, broken_at, bending : as for `plot_bode`. ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_nyquist(models, [1, 3], "pitch")
    """
    required = need_required(required, "plot_nyquist")
    curves = _open_loops("plot_nyquist", models, points, channel, gains, broken_at, bending)
    ax = axes_or_new(ax, size=(9.6, 5.4))
    _forbid_in_plane(ax, *required)
    for curve in curves:
        ax.plot(curve.values.real, curve.values.imag, color=curve.colour, lw=curve.width, label=curve.text, zorder=3 if curve.worst else 2, gid="cut")
    ax.plot(-1.0, 0.0, "+", ms=9.0, mew=1.4, color=INK, zorder=5)
    for curve in curves:
        if curve.worst and math.isfinite(curve.margin("distance")):
            w = float(curve.margins["distance_frequency"])
            at = curve.values[np.abs(curve.frequency - w).argmin()]
            ax.plot([-1.0, at.real], [0.0, at.imag], color=INK, lw=LINE, marker="o", ms=3.0, markevery=[1], zorder=4, gid="margin")
            text = f"worst: |1 + L| = {curve.margin('distance'):.2f} at {w:.3g} rad/s ({w / (2.0 * math.pi):.2g} Hz)"
            ax.text(0.015, 0.98, text, transform=ax.transAxes, va="top", fontsize=FONT, color=INK, bbox=_BOX, zorder=6)
    ax.set_aspect("equal", adjustable="box")
    ax.set(xlim=(-3.5, 1.5), ylim=(-2.5, 2.0), xlabel="real part of L", ylabel="imaginary part of L")
    legend(ax, **BESIDE)
    dress(ax, _title(channel, broken_at))
    return ax


def plot_nichols(models: xr.Dataset, points=None, channel: str = "pitch", *, gains=None, broken_at: str = "actuator", bending=None, required=REQUIRED, ax=None):
    """Draw gain (dB) over phase (deg) of an open loop, with the ellipse of the required margins (dB, rad) that it must keep out of.

    Else as `plot_bode`; the worst point has its margins marked.

    points, channel, gains, broken_at, bending : as `plot_bode`. ax : axes to draw into, or None for a new figure.

    models, points, channel, gains, broken_at, bending : as for `plot_bode`. ax : to draw into; new ones by default.

    Examples
    --------
    >>> ax = sixdof.plot.plot_nichols(models, [1, 3], "pitch")
    """
    required = need_required(required, "plot_nichols")
    curves = _open_loops("plot_nichols", models, points, channel, gains, broken_at, bending)
    ax = axes_or_new(ax, size=(8.4, 5.4))
    for curve in curves:
        seen = np.abs(curve.gain_db) <= SPAN_DB
        ax.plot(curve.phase, curve.gain_db, color=curve.colour, lw=curve.width, label=curve.text, zorder=3 if curve.worst else 2, gid="cut")
        ax.update_datalim(np.stack([curve.phase, curve.gain_db], axis=1)[seen])
    phases = np.concatenate([curve.phase[np.abs(curve.gain_db) <= SPAN_DB] for curve in curves] + [np.array([-240.0, -120.0])])
    ax.set(xlim=(phases.min() - 10.0, phases.max() + 10.0), ylim=(-SPAN_DB, SPAN_DB))
    for centre in _critical_phases(ax, ax.axvline):
        _forbid_in_chart(ax, centre, *required)
    ax.axhline(0.0, color=INK, lw=0.8)
    for curve in curves:
        if curve.worst:
            _mark_in_chart(ax, curve)
    ax.xaxis.set_major_locator(_steps_of(ax, 45.0, "x"))
    ax.set(xlabel="phase (deg)", ylabel="gain (dB)")
    legend(ax, **BESIDE)
    dress(ax, _title(channel, broken_at))
    return ax


def _hertz_above(ax) -> None:
    from matplotlib.ticker import NullLocator

    above = ax.secondary_xaxis("top", functions=(lambda w: w / (2.0 * math.pi), lambda f: f * 2.0 * math.pi))
    low, high = np.array(ax.get_xlim()) / (2.0 * math.pi)
    marks = [k * 10.0**power for power in range(-3, 5) for k in (1.0, 2.0, 5.0)]
    marks = [mark for mark in marks if low <= mark <= high]
    above.set_xticks(marks, [f"{mark:g}" for mark in marks])
    above.xaxis.set_minor_locator(NullLocator())
    above.tick_params(labelsize=FONT - 1.0, width=0.6, length=2.0, color=GREY, labelcolor=GREY, pad=1.0)
    above.spines["top"].set(linewidth=0.6, color=PALE)
    above.set_xlabel("Hz", fontsize=FONT - 0.5, color=GREY, loc="right", labelpad=2.0)


def _title(channel: str, broken_at: str) -> str:
    return f"{channel} loop, broken {WHERE[broken_at]}"


def _forbid_in_plane(ax, gain_db: float, phase: float) -> None:
    from matplotlib.patches import Arc, Circle

    g = 10.0 ** (gain_db / 20.0)
    alpha = max(2.0 * (g - 1.0) / (g + 1.0), 2.0 * math.tan(0.5 * phase))
    low, high = -(2.0 + alpha) / (2.0 - alpha), -(2.0 - alpha) / (2.0 + alpha)
    text = f"{gain_db:g} dB and {math.degrees(phase):g} deg"
    ax.add_patch(Circle((0.5 * (low + high), 0.0), 0.5 * (high - low), fc=FORBIDDEN_SHADE, ec="none", zorder=0.5, label=f"disk that holds\n{text}"))
    ax.add_patch(Circle((0.0, 0.0), 1.0, fill=False, ec=GREY, lw=LINE, ls=DASHED, zorder=1.0, label="unit circle"))
    half = math.degrees(phase)
    ax.add_patch(Arc((0.0, 0.0), 2.0, 2.0, theta1=180.0 - half, theta2=180.0 + half, ec=GREY, lw=3.0, zorder=1.1))
    ax.plot([-g, -1.0 / g], [0.0, 0.0], color=GREY, lw=3.0, solid_capstyle="butt", zorder=1.1, label=f"{text}:\nnot to be crossed")


def _forbid_in_chart(ax, centre: float, gain_db: float, phase: float) -> None:
    from matplotlib.patches import Ellipse

    text = f"{gain_db:g} dB, {math.degrees(phase):g} deg\naround -180 deg, 0 dB" if centre == -180.0 else "_"
    ax.add_patch(Ellipse((centre, 0.0), 2.0 * math.degrees(phase), 2.0 * gain_db, fc=FORBIDDEN_SHADE, ec=GREY, lw=0.6, zorder=0.5, label=text))
    ax.plot(centre, 0.0, "+", ms=9.0, mew=1.4, color=INK, zorder=5)


def _critical_phases(ax, line) -> list[float]:
    """Draw a line at every -180 deg plus whole turns that the axes show; return them. line : ax.axhline or ax.axvline."""
    low, high = ax.get_ylim() if line == ax.axhline else ax.get_xlim()
    shown = [-180.0 + 360.0 * k for k in range(math.ceil((low + 180.0) / 360.0), math.floor((high + 180.0) / 360.0) + 1)]
    for value in shown:
        line(value, color=INK, lw=0.8)
    return shown


def _steps_of(ax, step: float, axis: str = "y"):
    from matplotlib.ticker import MultipleLocator

    low, high = ax.get_ylim() if axis == "y" else ax.get_xlim()
    return MultipleLocator(step * max(1, math.ceil((high - low) / step / 12.0)))


def _marks(curve: Curve) -> list[tuple[float, float, float, str]]:
    """Return (frequency, gain dB, phase deg, what it says) of the gain margin, the gain-reduction margin and the least phase margin."""
    gain, phase, out = curve.gain_db, curve.phase, []
    if math.isfinite(curve.margin("gain_margin_db")):
        k = np.abs(curve.frequency - float(curve.margins["phase_crossover"])).argmin()
        out.append((curve.frequency[k], gain[k], phase[k], f"{curve.margin('gain_margin_db'):.1f} dB"))
    if math.isfinite(curve.margin("gain_reduction_db")):
        turns = np.floor((phase + 180.0) / 360.0)
        k = np.flatnonzero((np.diff(turns) != 0.0) & (gain[1:] > 0.0))
        if k.size:
            k = k[np.abs(gain[k] - curve.margin("gain_reduction_db")).argmin()]
            out.append((curve.frequency[k], gain[k], phase[k], f"{curve.margin('gain_reduction_db'):.1f} dB less"))
    least = curve.margin("phase_margin")
    k = np.flatnonzero(np.diff(np.sign(gain)) != 0.0)
    if math.isfinite(least) and k.size:
        share = gain[k] / (gain[k] - gain[k + 1])
        at = phase[k] + share * (phase[k + 1] - phase[k])
        best = np.abs(np.abs((at + 360.0) % 360.0 - 180.0) - math.degrees(least)).argmin()
        frequency = curve.frequency[k] + share * (curve.frequency[k + 1] - curve.frequency[k])
        out.append((frequency[best], 0.0, at[best], f"{math.degrees(least):.0f} deg"))
    return out


def _mark_on_bode(size, phase, curve: Curve) -> None:
    for w, gain, angle, text in _marks(curve):
        critical = -180.0 + 360.0 * round((angle + 180.0) / 360.0)
        ax, ends = (phase, (critical, angle)) if text.endswith("deg") else (size, (0.0, gain))
        ax.plot([w, w], ends, color=INK, lw=LINE + 0.3, marker="o", ms=3.0, zorder=5, gid="margin")
        put = {"textcoords": "offset points", "va": "bottom", "fontsize": FONT, "bbox": _BOX, "zorder": 6}
        ax.annotate(text, (w, max(ends)), (6.0, 4.0), **put)


def _mark_in_chart(ax, curve: Curve) -> None:
    for _, gain, angle, text in _marks(curve):
        critical = -180.0 + 360.0 * round((angle + 180.0) / 360.0)
        ends = ([critical, angle], [gain, gain]) if text.endswith("deg") else ([critical, critical], [0.0, gain])
        ax.plot(*ends, color=INK, lw=LINE + 0.3, marker="o", ms=3.0, zorder=5, gid="margin")
        offset = (4.0, 8.0) if text.endswith("deg") else (5.0, -9.0 if gain < 0.0 else 6.0)
        ax.annotate(text, (angle, gain), offset, textcoords="offset points", fontsize=FONT, bbox=_BOX, zorder=6)


# ---------------------------------------------------------------- which points


def place(models: xr.Dataset, point: int) -> str:
    one = models.isel(point=point)
    return f"{float(one['time']):.2f} s, Mach {float(one['mach']):.2f}"


def chosen_points(who: str, models, points, channel, gains, broken_at, bending) -> tuple[Mission, list[Curve]]:
    """Return the mission that is meant and the points to draw, their margins with them; the worst stands out and comes last."""
    need_one_of(channel, CHANNELS, "channel", who)
    need_one_of(broken_at, BREAKS, "broken_at", who)
    mission = flown_mission(models, gains, who)
    count = models.sizes["point"]
    if points is not None:
        points = list(points) if isinstance(points, (list, tuple, range, np.ndarray, xr.DataArray)) and getattr(points, "ndim", 1) else [points]
        if not points:
            raise ValueError(f"{who}: points is empty; name at least one, or leave it out for {MOST_POINTS} along the flight")
        for point in points:
            check_point(models, point, who)
    numbers = list(range(count)) if points is None else sorted({int(point) % count for point in points})
    found = margins(models.isel(point=numbers), mission, channels=channel, broken_at=broken_at, bending=bending)
    found = found.isel(channel=0, broken_at=0)
    worst = int(np.lexsort((-found["growth"].values, found["distance"].values))[0])
    keep = np.arange(len(numbers))
    if points is None:
        keep = np.unique(np.linspace(0, count - 1, MOST_POINTS).round().astype(int))
        keep[np.abs(keep - worst).argmin()] = worst
    shade = np.linspace(0.0, 1.0, max(len(keep) - 1, 1))
    out = []
    for k in keep[keep != worst]:
        colour = tuple(np.add(PALEST, shade[len(out)] * np.subtract(DARKEST, PALEST)))
        out.append(_curve(models, numbers[k], found.isel(point=k), colour, LINE + 0.2))
    out.append(_curve(models, numbers[worst], found.isel(point=worst), WORST, LINE + 1.0, worst=True, alone=not out))
    return mission, out


def _curve(models, number: int, found: xr.Dataset, colour, width: float, *, worst: bool = False, alone: bool = False) -> Curve:
    text = place(models, number) + ("" if not worst or alone else ", worst") + ("" if found["stable"] else ", UNSTABLE")
    return Curve(number, text, colour, width, worst, found)


def _open_loops(who: str, models, points, channel, gains, broken_at, bending) -> list[Curve]:
    """Return the points to draw with the frequency response of their open loops."""
    import control

    mission, chosen = chosen_points(who, models, points, channel, gains, broken_at, bending)
    out = []
    for curve in chosen:
        loop = open_loop(models, curve.point, channel, gains=mission, broken_at=broken_at, bending=bending)
        answer = control.frequency_response(loop, frequencies(loop, curve.margins))
        out.append(curve._replace(frequency=answer.omega, values=answer.magnitude * np.exp(1j * answer.phase)))
    return out


def frequencies(loop, found: xr.Dataset | None = None) -> np.ndarray:
    """Return where a loop's curve is computed, rad/s up to half the sampling rate: denser at resonances, and where its margins are."""
    top = math.pi / loop.dt * (1.0 - 1e-9)
    s = s_plane(np.concatenate([loop.poles(), loop.zeros()]), loop.dt)
    s = s[np.isfinite(s) & (s.imag > LOWEST)]
    s = s[np.abs(s.real) < NARROW * np.abs(s)]
    # tan: as many frequencies in every part of the half turn that a resonance adds
    near = s.imag[:, None] + np.maximum(np.abs(s.real), 1e-6 * s.imag)[:, None] * np.tan(np.linspace(-1.5, 1.5, 40))
    known = [] if found is None else [float(found[name]) for name in ("crossover", "phase_crossover", "distance_frequency")]
    every = np.concatenate([np.geomspace(LOWEST, top, GRID), near.ravel(), np.array(known)])
    return np.unique(every[(every >= LOWEST) & (every <= top)])  # NaN goes as well


def s_plane(z: np.ndarray, period: float) -> np.ndarray:
    """Return log(z)/T, 1/s; NaN for poles that are pure delays (z = 0)."""
    gone = np.abs(z) < 1e-6
    return np.where(gone, np.nan, np.log(np.where(gone, 1.0, z)) / period)
