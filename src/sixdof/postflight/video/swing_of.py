"""`swing_of`: how fast a body swung in a video and how fast the swing died away, and whether the mission's own restoring moment agrees."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.draws.numbers import check_numbers
from sixdof.flight.fly import fly
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.postflight.video.asking import amount, whole
from sixdof.postflight.video.damped import LEAST_CYCLES, Damped, aliases, fit, sampling_rate
from sixdof.study.loops.linear import linearise
from sixdof.study.reading.result import event_values

FREE, FAST = 3, 20.0  # phase, and m/s, in which linear models are made
MOMENTS = 25  # at which the mission's own frequency is worked out
CHANCE = 0.01  # of noise alone, above which an oscillation is not believed
AGREES = 2.0  # standard deviations
HEAVY = 0.5  # damping ratio from which a swing is no more than a bend
MODEL = 0.04  # of the frequency: what a chain of frozen linear models may be off by (this project's measure: slender vehicles, their own flights fitted)
CHANGES = 0.3  # of the frequency within a cycle: faster, and it is not one oscillation (this project's choice)
ALIAS = 0.05  # of the frequency: nearer than this another candidate is taken to agree
STILL = math.radians(0.05)  # fins that move by more have a hand in the swing


class _Series(NamedTuple):
    time: np.ndarray
    value: np.ndarray
    error: np.ndarray | None
    text: str
    units: str


def swing_of(
    series: Any,
    *,
    start: float | str | None = None,
    end: float | str | None = None,
    highest: float | str | None = None,
    mission: Mission | None = None,
    flights: int = 0,
    seed: int = 0,
) -> xr.Dataset:
    """Fit a damped oscillation to what a video shows of the lean, and hold its frequency against the mission's own.

    The square of the frequency is the restoring moment over the inertia: half of it, and the static margin that was believed is not there. Of a
    video the least true lean is taken, whose swing is that of the body across the line of sight whatever the camera's elevation.

    Parameters
    ----------
    series : what `from_video` or `video_band` returned; or (time, values), s and rad; or a DataArray along `time`, such as a flight's tilt
    start, end : s since liftoff, of the stretch that is fitted; all of it
    highest : frequency that is looked for, Hz or text; half the rate of the frames. Above that another one looks the same: `candidate` has them
    mission : whose own short period is worked out over the same stretch, by linear models along its flight
    flights, seed : drawn flights of the mission besides, for how far its own frequency spreads

    Returns
    -------
    Dataset
        `frequency` (damped), `natural_frequency` (Hz), `damping` (ratio), `decrement` (logarithmic), each with `_error`; `amplitude` and `noise`; `chance`
        that noise alone fits as well; `candidate` (candidate), the frequencies that look the same at this rate; along `sample` `time`, `value`,
        `fitted`. With a mission `model_time`, `model_frequency`, `model_damping` (moment), `model_mean`, `model_spread` (Hz) and `restoring_ratio`,
        the restoring moment over the mission's own, with `restoring_ratio_error`. Attribute `verdict`: "consistent", "not consistent", "not told".

    Raises
    ------
    ValueError
        In one sentence, for what is no series, too few readings, and a stretch in which the mission's flight has no linear model.

    Examples
    --------
    >>> time = np.arange(0.0, 3.0, 1.0 / 30.0)
    >>> swing = sixdof.postflight.swing_of((time, 0.05 * np.exp(-0.6 * time) * np.cos(9.0 * time)))
    >>> round(float(swing.frequency), 3), round(float(swing.damping), 3)
    (1.432, 0.067)
    """
    given = _within(_series(series), start, end)
    top = None if highest is None else amount(highest, "Hz", "swing_of: highest", least=0.0, above=True)
    check_numbers("swing_of", None, seed)
    drawn = whole(flights, "swing_of: flights", 0)
    try:
        found = fit(given.time, given.value, given.error, top)
    except ValueError as error:
        raise ValueError(f"swing_of: {error}") from None
    ds = _dataset(given, found)
    if mission is None:
        return ds
    check_mission(mission, "swing_of")
    return _against(ds, given, mission, drawn, seed)


def _series(series: Any) -> _Series:
    """Return what is to be fitted. Raises ValueError for anything else."""
    if isinstance(series, xr.Dataset) and "lean_across" in series:
        error = np.maximum(series["lean_across_error_reading"].values, 1e-9)
        return _Series(series["time"].values, series["lean_across"].values, error, "least true lean from the vertical, across the sight", "rad")
    if isinstance(series, xr.Dataset):
        raise ValueError("swing_of: this Dataset has no lean_across; give a video with nose and tail, or (time, values)")
    if isinstance(series, xr.DataArray):
        if series.dims != ("time",):
            raise ValueError(f"swing_of: the DataArray must lie along time alone, not along {', '.join(map(str, series.dims)) or 'nothing'}")
        text, units = str(series.attrs.get("long_name", series.name or "series")), str(series.attrs.get("units", "1"))
        return _Series(np.asarray(series["time"].values, dtype=float), np.asarray(series.values, dtype=float), None, text, units)
    try:
        time, value = (np.asarray(one, dtype=float) for one in series)
    except (TypeError, ValueError):
        raise ValueError(f"swing_of: series must be a video, (time, values), or a DataArray along time, not {shown(series)}") from None
    if time.ndim != 1 or time.shape != value.shape:
        raise ValueError("swing_of: time and values must be two rows of numbers of one length")
    return _Series(time, value, None, "series", "rad")


def _within(given: _Series, start: Any, end: Any) -> _Series:
    """Return the part between two times that has numbers. Raises ValueError for times that do not rise."""
    first, last = (
        default if one is None else amount(one, "s", f"swing_of: {name}") for one, name, default in ((start, "start", -math.inf), (end, "end", math.inf))
    )
    use = np.isfinite(given.time) & np.isfinite(given.value) & (given.time >= first) & (given.time <= last)
    use &= True if given.error is None else np.isfinite(given.error)
    time = given.time[use]
    if (np.diff(time) <= 0.0).any():
        raise ValueError("swing_of: the times of the series must rise")
    return given._replace(time=time, value=given.value[use], error=None if given.error is None else given.error[use])


def _dataset(given: _Series, found: Damped) -> xr.Dataset:
    rate = sampling_rate(given.time)
    candidates = aliases(found.frequency, rate) if math.isfinite(rate) else np.array([found.frequency])
    said = {
        "frequency": ("Hz", "frequency of the swing"),
        "natural": ("Hz", "frequency that it would have undamped"),
        "damping": ("1", "damping ratio of the swing"),
        "decrement": ("1", "logarithmic decrement of the swing"),
    }
    entries: dict[str, Any] = {}
    for name, (units, text) in said.items():
        label = "natural_frequency" if name == "natural" else name
        entries[label] = ((), getattr(found, name), {"units": units, "long_name": text})
        entries[f"{label}_error"] = ((), getattr(found, f"{name}_error"), {"units": units, "long_name": f"standard deviation: {text}"})
    own = {"units": given.units}
    entries |= {
        "amplitude": ((), found.amplitude, own | {"long_name": "amplitude of the swing in the middle of the stretch"}),
        "noise": ((), found.noise, own | {"long_name": "standard deviation of what the fit leaves"}),
        "chance": ((), found.chance, {"units": "1", "long_name": "chance that noise alone fits as well at some frequency"}),
        "sampling_rate": ((), rate, {"units": "Hz", "long_name": "rate of even readings"}),
        "candidate": ("candidate", candidates, {"units": "Hz", "long_name": "frequency that looks like this one at this rate"}),
        "time": ("sample", given.time, {"units": "s", "long_name": "time since liftoff"}),
        "value": ("sample", given.value, own | {"long_name": given.text}),
        "fitted": ("sample", found.fitted, own | {"long_name": "damped oscillation fitted to it"}),
    }
    cycles = found.frequency * (given.time[-1] - given.time[0])
    believed = found.chance < CHANCE and found.frequency_error < 0.2 * found.frequency and cycles > LEAST_CYCLES and abs(found.damping) < HEAVY
    return xr.Dataset(entries).assign_attrs(kind="swing", found=int(believed), verdict="not told", reason="no mission was given to hold it against")


# ---------------------------------------------------------------- against the mission


def _against(ds: xr.Dataset, given: _Series, mission: Mission, flights: int, seed: int) -> xr.Dataset:
    """Return the swing with the mission's own short period over the same stretch, and whether the two agree.

    The vehicle's frequency changes with its speed, so the swing is fitted once more over the phase that the mission's own frequency runs through: a swing
    that agrees goes through one cycle for each of the mission's, however many seconds it takes.
    """
    times, liftoff, moved = _moments(mission, float(given.time[0]), float(given.time[-1]))
    own, damping = _short_period(mission, times)
    drawn = [_short_period(mission, times, flight=k, seed=seed)[0].mean() for k in range(flights)]
    spread = float(np.std(drawn, ddof=1)) if flights > 1 else 0.0
    mean = float(np.trapezoid(own, times) / (times[-1] - times[0]))
    factor, factor_error, change = _factor(given, times - liftoff, own, mean)
    total = math.hypot(factor_error, factor * spread / mean)
    ds = ds.assign(
        model_time=("moment", times - liftoff, {"units": "s", "long_name": "time since liftoff"}),
        model_frequency=("moment", own, {"units": "Hz", "long_name": "the mission's own natural frequency, mean of both planes"}),
        model_damping=("moment", damping, {"units": "1", "long_name": "the mission's own damping ratio, mean of both planes"}),
        model_mean=((), mean, {"units": "Hz", "long_name": "the mission's own natural frequency, mean over the stretch"}),
        model_spread=((), spread, {"units": "Hz", "long_name": "standard deviation of that mean over drawn flights"}),
        restoring_ratio=((), factor**2, {"units": "1", "long_name": "restoring moment over the mission's own"}),
        restoring_ratio_error=((), 2.0 * factor * total, {"units": "1", "long_name": "standard deviation of that ratio"}),
    )
    verdict, reason = _verdict(ds, factor, total, moved, change)
    return ds.assign_attrs(ds.attrs | {"verdict": verdict, "reason": reason, "fins_moved": int(moved), "drawn": flights, "mission": mission.to_toml()})


def _factor(given: _Series, times: np.ndarray, own: np.ndarray, mean: float) -> tuple[float, float, float]:
    """Return the factor on the mission's own frequency that fits best, its standard deviation, and by which share that frequency changes within a cycle,
    where the swing is large; NaN where there is no such frequency."""
    if not np.isfinite(own).all():
        return math.nan, math.nan, math.nan
    use = (given.time >= times[0]) & (given.time <= times[-1])
    phase = np.concatenate([[0.0], np.cumsum(0.5 * (own[1:] + own[:-1]) * np.diff(times))])
    try:
        found = fit(np.interp(given.time[use], times, phase) / mean, given.value[use], None if given.error is None else given.error[use])
    except ValueError as error:
        raise ValueError(f"swing_of: where the mission's flight has linear models, {error}") from None
    large = np.exp(-4.0 * math.pi * found.natural * found.damping * (phase - phase[0]) / mean)
    change = np.abs(np.gradient(own, times)) / own**2
    return found.natural / mean, found.natural_error / mean, float(np.sum(large * change) / np.sum(large))


def _moments(mission: Mission, first: float, last: float) -> tuple[np.ndarray, float, bool]:
    """Return times since ignition within a stretch at which the mission's flight has linear models, its liftoff, and whether its fins move in it."""
    flight = fly(mission)
    liftoff = float(event_values(flight, "liftoff")[0])
    time = flight["time"].values
    usable = (flight["phase"].values == FREE) & (flight["velocity"].values[:, 2] > 0.0) & (flight["airspeed"].values > FAST)
    within = usable & (time >= first + liftoff) & (time <= last + liftoff)
    if np.count_nonzero(within) < 2:
        some = time[usable] - liftoff
        where = f"from {some[0]:.1f} to {some[-1]:.1f} s after liftoff" if some.size else "at no time"
        raise ValueError(f"swing_of: the mission's flight is free, climbing and faster than {FAST:g} m/s {where}, not from {first:.1f} to {last:.1f} s")
    rows = np.flatnonzero(within)
    times = time[rows[np.unique(np.round(np.linspace(0, rows.size - 1, MOMENTS)).astype(int))]]
    moved = bool("fin" in flight.dims and np.ptp(flight["fin_angle"].values[within], axis=0).max() > STILL)
    return times, liftoff, moved


def _short_period(mission: Mission, times: np.ndarray, **draw: int) -> tuple[np.ndarray, np.ndarray]:
    """Return natural frequency (Hz) and damping ratio at times since ignition, means of both planes (NaN where one is not stable)."""
    models = linearise(mission, at=times.tolist(), **draw)
    return models["short_period_frequency"].values.mean(axis=1) / (2.0 * math.pi), models["short_period_damping"].values.mean(axis=1)


def _verdict(ds: xr.Dataset, factor: float, error: float, moved: bool, change: float) -> tuple[str, str]:
    """Return whether what was seen agrees with the mission's own restoring moment, and why."""
    if not ds.attrs["found"]:
        return "not told", "no oscillation stands out of the noise"
    if not math.isfinite(factor):
        return "not told", "the mission's own vehicle is not statically stable somewhere in this stretch, and has no frequency there"
    candidates = factor * ds["candidate"].values / float(ds["frequency"])
    if abs(factor - 1.0) <= AGREES * math.hypot(error, MODEL):
        return "consistent", "the swing has the frequency that the mission's restoring moment gives it"
    if moved:
        return "not told", "the mission's fins move in this stretch: a swing under control has the frequency of the loop, not that of the airframe"
    if change > CHANGES:
        return (
            "not told",
            f"the mission's own frequency changes by {100.0 * change:.0f} % within a cycle there, too fast for a swing of one kind: take a later stretch",
        )
    near = np.abs(candidates - 1.0) <= AGREES * math.hypot(error, MODEL)
    if near.any() and abs(factor - 1.0) > ALIAS:
        alias = float(ds["candidate"].values[near.argmax()])
        return "not told", f"the swing as read does not agree, but one at {alias:.2f} Hz, which looks the same at this rate, would: read more frames"
    return "not consistent", "the swing has another frequency than the mission's restoring moment gives it"


def need_swing(ds: Any, who: str) -> None:
    """Raise ValueError for what `swing_of` did not return."""
    if not isinstance(ds, xr.Dataset) or ds.attrs.get("kind") != "swing":
        raise ValueError(f"{who} needs what sixdof.postflight.swing_of returned, not {'another Dataset' if isinstance(ds, xr.Dataset) else shown(ds)}")
