"""Limit cycles of the attitude loops from the servos' play, dead band and resolution: predicted, and measured in simulations."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.load import stored_mission
from sixdof.mission.units import shown
from sixdof.study.loops.frozen import SIGNALS, FrozenLoop
from sixdof.study.loops.loop import flown_mission
from sixdof.study.loops.servo_cycles import IMPERFECTIONS, SLOWEST, TOGETHER, Case, Cycle, largest
from sixdof.study.reading.result import need_table

WORDS = {"backlash": "backlash", "dead_band": "the dead band", "resolution": "the resolution", TOGETHER: "all of them together"}
STARTS = (0.5, 2.0, 5.0)  # of a simulation: times the predicted amplitude of the attitude
UNPREDICTED = math.radians(1.0)  # amplitude in place of a predicted one
BLOCK, SHORTEST = 6.0, 1.0 / SLOWEST  # periods a block of a simulation, and its least length, s
EARLY, LONGEST = 3, 90.0  # blocks of a simulation at least, seconds at most
STEADY = 0.01  # a cycle has settled when amplitude and frequency of two blocks in a row differ by no more than this share
STILL = 0.01  # of the imperfection: a fin that moves less than this stands still
APART = 0.25  # a prediction further off than this is said to differ: describing functions are usually good to 10 or 20 %
CURVE = 600  # points of a curve of -1/N
NOTHING = 1e-3  # deg: a swing that is not worth a word
_AMPLITUDES = {
    "fin_amplitude": ("rad", "amplitude of the fin"),
    "attitude_amplitude": ("rad", "amplitude of the attitude"),
    "rate_amplitude": ("rad/s", "amplitude of the body rate"),
    "frequency": ("Hz", "frequency of the limit cycle"),
}


# ---------------------------------------------------------------- predicted


def limit_cycles(models: xr.Dataset, point: int = 0, channel: str = "pitch", *, gains=None) -> xr.Dataset:
    """Return the limit cycles that describing functions predict for each imperfection of the mission's servo, one at a time and all.

    The loop is that of `study.loop`, exact for the sampled law; servo and play are in series and the loop is scalar, so that N(A)
    multiplies all of it. Amplitudes behind the imperfection are those of the linear responses. The command's steps come twice, for a
    cycle centred on one of its levels and for one between two. "all" takes the first harmonic of the command through the servo to the
    play. Left out: cycles larger than the fins' travel, slower than 0.2 Hz, faster than 0.8 of half the sampling frequency.

    Parameters
    ----------
    gains : None, a Mission or changes, see `study.loop.flown_mission`.

    Returns
    -------
    Dataset
        Dim cycle, empty if there is none: imperfection, its size (rad; of "all" the largest), amplitude of its input, fin, attitude and
        rate amplitudes (rad, rad/s), frequency (Hz), stable (Loeb's criterion; the others are bounds that a start must pass).

    Raises
    ------
    ValueError, TypeError
        For a point, a channel or gains that there are not, or a channel that no fin moves.

    Examples
    --------
    >>> cycles = sixdof.loops.limit_cycles(models, 2, "pitch", gains={"servo.backlash": "1 deg"})
    >>> cycles.frequency.attrs["units"]
    'Hz'
    """
    case = Case(models, point, channel, gains, "limit_cycles")
    found = [(name, each) for name in case.names for each in case.predicted(name)]
    names = [name for name, _ in found]
    entries = {
        "imperfection": ("cycle", np.array(names, dtype="U10"), {"long_name": "what keeps the cycle going"}),
        "size": ("cycle", np.array([case.size(name) for name in names], dtype=float), {"units": "rad", "long_name": "size of the imperfection"}),
    }
    texts = {"amplitude": ("rad", "amplitude of the imperfection's input")} | _AMPLITUDES
    for name, (units, text) in texts.items():
        entries[name] = ("cycle", np.array([getattr(each, name) for _, each in found], dtype=float), {"units": units, "long_name": text})
    between = np.array([each.between for _, each in found], dtype=bool)
    entries["between"] = ("cycle", between, {"units": "1", "long_name": "centred between two levels of the command"})
    entries["stable"] = ("cycle", np.array([each.stable for _, each in found], dtype=bool), {"units": "1", "long_name": "the cycle is stable"})
    ds = xr.Dataset(entries)
    return ds.assign_attrs(title=models.attrs.get("title", ""), mission=case.mission.to_toml(), point=int(point), channel=channel)


def limit_cycle_curves(models: xr.Dataset, point: int = 0, channel: str = "pitch", *, gains=None) -> xr.Dataset:
    """Return the loop and -1/N of each imperfection in gain and phase: they cross where `limit_cycles` finds cycles.

    Of "all", the command's part is taken with the servo's gain 1. Raises as `limit_cycles`.

    point, channel, gains : as for `limit_cycles`.

    Returns
    -------
    Dataset
        Dim frequency (Hz): loop_gain (dB), loop_phase (rad, within a turn below 0 at the crossover). Dims curve, step: amplitude (rad) of the
        imperfection's input, inverse_gain (dB) and inverse_phase (rad) of -1/N, NaN where nothing comes out; imperfection and between of
        each curve.

    Examples
    --------
    >>> curves = sixdof.loops.limit_cycle_curves(models, 2, "pitch", gains={"servo.backlash": "1 deg"})
    >>> "inverse_phase" in curves
    True
    """
    case = Case(models, point, channel, gains, "limit_cycle_curves")
    grid = case.frequency()
    loop = case.response(grid)
    gain, phase = 20.0 * np.log10(np.abs(loop)), np.unwrap(np.angle(loop))
    phase -= 2.0 * math.pi * math.ceil(phase[np.abs(gain).argmin()] / (2.0 * math.pi))
    kinds = [(name, between) for name in case.names for between in case.centres(name)]
    sizes = np.array([case.amplitudes(name, CURVE) for name, _ in kinds]).reshape(len(kinds), CURVE)
    n = np.array([case.element(name, between)(size) for (name, between), size in zip(kinds, sizes)]).reshape(sizes.shape)
    out = np.where(n != 0.0, n, np.nan)
    ds = xr.Dataset(
        {
            "loop_gain": ("frequency", gain, {"units": "dB", "long_name": "gain of the loop"}),
            "loop_phase": ("frequency", phase, {"units": "rad", "long_name": "phase of the loop"}),
            "amplitude": (("curve", "step"), sizes, {"units": "rad", "long_name": "amplitude of the imperfection's input"}),
            "inverse_gain": (("curve", "step"), -20.0 * np.log10(np.abs(out)), {"units": "dB", "long_name": "gain of -1/N"}),
            "inverse_phase": (("curve", "step"), -math.pi - np.angle(out), {"units": "rad", "long_name": "phase of -1/N"}),
            "imperfection": ("curve", np.array([name for name, _ in kinds], dtype="U10"), {"long_name": "what keeps the cycle going"}),
            "between": ("curve", np.array([b for _, b in kinds], dtype=bool), {"units": "1", "long_name": "centred between two levels"}),
        },
        {"frequency": ("frequency", grid / (2.0 * math.pi), {"units": "Hz", "long_name": "frequency"})},
    )
    return ds.assign_attrs(title=models.attrs.get("title", ""), point=int(point), channel=channel)


# ---------------------------------------------------------------- simulated


class Simulated(NamedTuple):
    """What simulations from a few starts come to: the largest steady cycle, None if there is none, and how far the attitude still swings.

    swing : half of the attitude's range at the end, rad, its drift taken out; without a cycle it is a wander, or what is left of a decay.
    """

    cycle: Cycle | None
    swing: float


def simulated_cycle(
    models: xr.Dataset,
    point: int = 0,
    channel: str = "pitch",
    *,
    gains=None,
    only: str | None = None,
    starts: Sequence[float] | None = None,
    period: float | None = None,
) -> Simulated:
    """Return the limit cycle that `frozen.FrozenLoop` settles on, the largest of a few starts, and how far the attitude swings at the end.

    Cycles slower than 0.2 Hz are none, as in `limit_cycles`: their swing is told. Where the command is rounded, each start is flown with
    the servo's centre on a level and between two. Amplitudes are first harmonics of the signals at the ticks, their drift taken out.

    point, channel, gains : as for `limit_cycles`.

    Parameters
    ----------
    only : "backlash", "dead_band" or "resolution" alone; None: the servo as the mission has it.
    starts : of the attitude, rad; None: half, twice and five times the predicted amplitude (1 deg if none is predicted).
    period : about that of the cycle, s; None: as predicted, or twice that of the loop's crossover.

    Raises
    ------
    ValueError, TypeError
        As `limit_cycles`; for starts or an imperfection that there are not; and where the attitude leaves +-90 deg.

    Examples
    --------
    >>> cycle = sixdof.loops.simulated_cycle(models, 2, "pitch", gains={"servo.dead_band": "0.2 deg"})
    >>> cycle.swing < 0.1
    True
    """
    case = Case(models, point, channel, gains, "simulated_cycle")
    if only is not None and (not isinstance(only, str) or only not in IMPERFECTIONS):
        raise ValueError(f"simulated_cycle: only = {shown(only)} must be {', '.join(IMPERFECTIONS)}")
    name = only or TOGETHER
    return _simulated(case, name, case.predicted(name) if case.size(name) > 0.0 else [], starts, period)


def _simulated(case: Case, name: str, predicted: Sequence[Cycle], starts=None, period=None) -> Simulated:
    kept = {each: 0.0 for each in IMPERFECTIONS if name not in (each, TOGETHER)}
    loop = FrozenLoop(case.models, case.point, case.channel, gains=case.mission, servo=kept, who=case.who)
    chief = largest(predicted)
    if starts is None:
        starts = [share * (chief.attitude_amplitude if chief else UNPREDICTED) for share in STARTS]
    several = isinstance(starts, (Sequence, np.ndarray)) and getattr(starts, "ndim", 1) == 1 and len(starts)
    if not several or not all(isinstance(each, (int, float)) and 0.0 < abs(each) < 1.0 for each in starts):
        raise ValueError(f"{case.who}: starts = {shown(starts)} must be angles other than 0, below 1 rad")
    if period is None:
        period = 1.0 / chief.frequency if chief else _unhurried(case)
    if isinstance(period, bool) or not isinstance(period, (int, float)) or not 0.0 < period <= LONGEST:
        raise ValueError(f"{case.who}: period = {shown(period)} must be a number of seconds above 0, {LONGEST:g} at most")
    rounded = loop.servo.resolution
    off = (0.0, 0.5 * rounded) if rounded else (0.0,)  # the mean command that is needed: a level, and the middle between two
    found = [_settled(loop, float(start), centring, period, STILL * case.size(name)) for start in starts for centring in off]
    cycles = [each.cycle for each in found if each.cycle is not None]
    return Simulated(max(cycles, key=lambda each: each.fin_amplitude, default=None), max(each.swing for each in found))


def _unhurried(case: Case) -> float:
    """Return twice the period of the loop's slowest crossover, s; 1 s where it has none."""
    grid = case.frequency()
    above = np.abs(case.response(grid)) > 1.0
    at = np.flatnonzero(above[1:] != above[:-1])
    return 4.0 * math.pi / grid[at[0]] if at.size else 1.0


def _settled(loop: FrozenLoop, start: float, centring: float, period: float, still: float) -> Simulated:
    """Return what a start comes to; `stable` of the cycle tells whether two blocks in a row agreed."""
    loop.begin(start, centring)
    length = max(BLOCK * period, SHORTEST)
    ticks, last, calm, seen = max(math.ceil(length / loop.period), 8), None, 0, []
    for k in range(max(math.ceil(LONGEST / length), EARLY + 1)):
        time, rows = loop.run(ticks)
        if len(rows) < ticks:
            raise ValueError(f"{loop.who}: the attitude leaves +-90 deg from a start of {math.degrees(start):.3g} deg: the loop does not hold it")
        seen = [*seen[-2:], rows[:, list(SIGNALS).index("angle")]]
        fin = rows[:, list(SIGNALS).index("fin")]
        now = first_harmonics(time, rows)
        calm = calm + 1 if fin.max() - fin.min() <= still else 0
        if calm == 2:
            return Simulated(None, _swing(seen[-1]))
        if k >= EARLY and now is not None and last is not None and _change(now, last) < STEADY:
            last = now._replace(stable=True)
            break
        last = now
    creeps = last is None or last.frequency < SLOWEST or 2.0 * last.fin_amplitude <= still
    # what neither repeats itself nor carries most of the motion is not a cycle
    swing = _swing(np.concatenate(seen)) if creeps or not last.stable else _swing(seen[-1])
    if creeps or (not last.stable and last.attitude_amplitude < 0.5 * swing):
        return Simulated(None, swing)
    return Simulated(last, swing)


def _swing(angle: np.ndarray) -> float:
    """Return half the range of an angle about its own straight line."""
    time = np.arange(len(angle))
    return 0.5 * float(np.ptp(angle - np.polyval(np.polyfit(time, angle, 1), time)))


def _change(now: Cycle, last: Cycle) -> float:
    return max(abs(now.fin_amplitude / last.fin_amplitude - 1.0), abs(now.frequency / last.frequency - 1.0))


def first_harmonics(time: np.ndarray, rows: np.ndarray) -> Cycle | None:
    """Return the first harmonics of signals (ticks, 5) at their own frequency, drift taken out; None where they make no two periods.

    The frequency is that of the attitude's crossings of its own straight line, upwards; amplitudes are fitted to whole periods.
    """
    names = list(SIGNALS)
    angle = rows[:, names.index("angle")]
    off = angle - np.polyval(np.polyfit(time, angle, 1), time)
    up = np.flatnonzero((off[:-1] < 0.0) & (off[1:] >= 0.0))
    if up.size < 3:
        return None
    moments = time[up] - off[up] * (time[up + 1] - time[up]) / (off[up + 1] - off[up])
    frequency = (up.size - 1) / (moments[-1] - moments[0])
    part = slice(up[0], up[-1])
    phase = 2.0 * math.pi * frequency * time[part]
    wave = np.stack([np.ones_like(phase), time[part] - time[part].mean(), np.cos(phase), np.sin(phase)], axis=1)
    fit = np.linalg.lstsq(wave, rows[part], rcond=None)[0]
    size = dict(zip(names, np.hypot(fit[2], fit[3]).tolist()))
    return Cycle(math.nan, size["fin"], size["angle"], size["rate"], frequency, False)


# ---------------------------------------------------------------- side by side


def limit_cycle_table(models: xr.Dataset, channel: str = "pitch", *, gains=None, points: Sequence[int] | None = None) -> xr.Dataset:
    """Return predicted and simulated limit cycles side by side, for every imperfection of the servo alone and all of them together.

    points : of the models; None: all. A point costs some seconds.

    channel, gains : as for `limit_cycles`. points : numbers of the models; all by default.

    Returns
    -------
    Dataset
        Dims point, imperfection (those that the mission has, and "all" where there are several): `simulated_...` is the cycle of
        `simulated_cycle`, `predicted_...` the stable one of `limit_cycles` that is closest to it, the largest if it came to rest; NaN
        where there is none. `settled`: of the simulation.

    Raises
    ------
    ValueError, TypeError
        As `simulated_cycle`; and for a servo without any of them.

    Examples
    --------
    >>> table = sixdof.loops.limit_cycle_table(models, "pitch", points=[2], gains={"servo.dead_band": "0.2 deg"})
    >>> table.predicted_frequency.dims
    ('point', 'imperfection')
    """
    who = "limit_cycle_table"
    mission = flown_mission(models, gains, who)
    if points is not None and not (isinstance(points, (Sequence, np.ndarray)) and getattr(points, "ndim", 1) == 1):
        raise TypeError(f"{who}: points = {shown(points)} must be numbers of points, such as [0, 3]")
    chosen = list(range(models.sizes["point"])) if points is None else list(points)
    cases = [Case(models, point, channel, mission, who) for point in chosen]
    if not cases or not cases[0].names:
        raise ValueError(f"{who}: the servo has no backlash, dead band or resolution, or no point is named: there is nothing to tell")
    names = cases[0].names
    rows = [[_pair(case, name) for name in names] for case in cases]
    entries = {}
    for which, what in enumerate(("predicted", "simulated")):
        for name, (units, text) in _AMPLITUDES.items():
            values = [[math.nan if pair[which] is None else getattr(pair[which], name) for pair in row] for row in rows]
            entries[f"{what}_{name}"] = (("point", "imperfection"), np.array(values, dtype=float), {"units": units, "long_name": f"{text}, {what}"})
    swing = np.array([[pair[2] for pair in row] for row in rows])
    entries["attitude_swing"] = (("point", "imperfection"), swing, {"units": "rad", "long_name": "swing of the attitude at the end, simulated"})
    settled = [[pair[1] is None or pair[1].stable for pair in row] for row in rows]
    entries["settled"] = (("point", "imperfection"), np.array(settled), {"units": "1", "long_name": "the simulation settled"})
    entries["size"] = ("imperfection", [cases[0].size(name) for name in names], {"units": "rad", "long_name": "size of the imperfection"})
    coords = {name: ("point", models[name].values[chosen], models[name].attrs) for name in ("time", "mach", "dynamic_pressure")}
    ds = xr.Dataset(entries, coords | {"point": ("point", chosen), "imperfection": ("imperfection", names)})
    return ds.assign_attrs(title=models.attrs.get("title", ""), mission=cases[0].mission.to_toml(), channel=channel)


def _pair(case: Case, name: str) -> tuple[Cycle | None, Cycle | None, float]:
    predicted = case.predicted(name)
    found, swing = _simulated(case, name, predicted)
    stable = [each for each in predicted if each.stable]
    if found is None or not stable:
        return largest(predicted), found, swing

    def off(each: Cycle) -> float:
        return abs(math.log(each.frequency / found.frequency)) + abs(math.log(each.fin_amplitude / found.fin_amplitude))

    return min(stable, key=off), found, swing


def limit_cycle_report(table: xr.Dataset) -> str:
    """Return what `limit_cycle_table` found, in words; ValueError for anything else."""
    need_table(table, "limit_cycle_report", "loops.limit_cycle_table", "predicted_frequency", "simulated_frequency", "settled", "size")
    autopilot = stored_mission(table.attrs["mission"]).autopilot
    integral = max(getattr(each, table.attrs["channel"]).i for each in autopilot.schedule or (autopilot,))
    lines = [f"Limit cycles of the {table.attrs['channel']} loop: {table.attrs.get('title', '')}"]
    for name in table["imperfection"].values.tolist():
        part = table.sel(imperfection=name)
        size = f" ({math.degrees(float(part['size'])):.3g} deg)" if name != TOGETHER else ""
        lines += ["", f"From {WORDS[name]}{size}:"]
        lines += [f"  {float(part['time'][k]):7.2f} s  {_sentence(part.isel(point=k))}" for k in range(part.sizes["point"])]
    lines += ["", _verdict(table, integral)]
    return "\n".join(lines)


def _sentence(row: xr.Dataset) -> str:
    """Return one point and imperfection in words."""
    predicted, simulated = (_words(row, what) for what in ("predicted", "simulated"))
    swing = math.degrees(float(row["attitude_swing"]))
    rest = f"no steady cycle, swing {swing:.2g} deg" if swing > NOTHING else "none"
    if predicted is simulated is None:
        return "no limit cycle, predicted or simulated" if rest == "none" else f"predicted none; simulated {rest}"
    text = f"predicted {predicted or 'none'}; simulated {simulated or rest}"
    if not bool(row["settled"]):
        text += " (not settled)"
    return text + ("" if _agree(row) else "; they differ, trust the simulation")


def _agree(row: xr.Dataset) -> bool:
    """Return whether prediction and simulation lie within what describing functions are usually good for."""
    pairs = [(float(row[f"predicted_{name}"]), float(row[f"simulated_{name}"])) for name in ("fin_amplitude", "attitude_amplitude", "frequency")]
    return all(abs(math.log(p / s)) <= math.log(1.0 + APART) for p, s in pairs if p == p or s == s)  # a comparison with NaN is false


def _words(row: xr.Dataset, what: str) -> str | None:
    frequency = float(row[f"{what}_frequency"])
    if math.isnan(frequency):
        return None
    attitude, fin = (math.degrees(float(row[f"{what}_{name}_amplitude"])) for name in ("attitude", "fin"))
    return f"{frequency:.2f} Hz, attitude {attitude:.2g} deg, fin {fin:.2g} deg"


def _verdict(table: xr.Dataset, integral: float) -> str:
    swing = table["attitude_swing"]
    if math.degrees(float(swing.max())) <= NOTHING:
        return "The loop comes to rest everywhere."
    k, name = (int(each) for each in np.unravel_index(int(swing.values.argmax()), swing.shape))
    at = table.isel(point=k, imperfection=name)
    cause = WORDS[str(at["imperfection"].values)]
    text = f"Largest swing of the attitude: +-{math.degrees(float(swing[k, name])):.2g} deg at {float(at['time']):.2f} s, from {cause}."
    if integral and "backlash" in table["imperfection"].values:
        text += " The law has an integral: it works its way through the play again and again for as long as the fins are live."
    return text
