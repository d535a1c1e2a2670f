"""`hold_back`: does what some flights say predict the one that was held back?"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr
from scipy.special import ndtri

from sixdof.mission.mission import Mission
from sixdof.mission.page import indented, table, wrapped
from sixdof.postflight.estimation.entries import noise_flown
from sixdof.postflight.estimation.estimate import logs_of, problem_of
from sixdof.postflight.estimation.fit import Fit, Problem, blocks_of, fit
from sixdof.postflight.estimation.flown import Flights
from sixdof.postflight.estimation.flown_noise import mean_square
from sixdof.postflight.estimation.problem import inverse, slopes_at
from sixdof.postflight.estimation.solver import Settings
from sixdof.postflight.estimation.uncertainty import known_of
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import need_table
from sixdof.study.uncertainty.statistics import check_share

BETTER = 0.9  # of the residuals of before: below, the estimate predicts better
SLACK = 0.1  # of the share that should lie inside: readings of one flight go together


def hold_back(
    mission: Mission | Mapping[str, Mission],
    logs: Any,
    parameters: Sequence[str],
    *,
    priors: Mapping[str, Any] | None = None,
    own: Sequence[str] | None = None,
    use: Sequence[str] | None = None,
    between: tuple[Any, Any] | None = None,
    carry: bool = True,
    robust: bool = True,
    confidence: float = 0.9,
    threads: int | None = None,
    progress: bool = True,
) -> xr.Dataset:
    """Hold back one flight after the other, estimate from the others, and predict it: cross-validation of `estimate`.

    The flight held back is predicted with what the others say of the vehicle, and with what was known before of its own day; how uncertain that prediction is
    follows from the covariance of both, to first order, and the noise.

    Parameters
    ----------
    mission, logs, parameters, priors, own, use, between, carry, robust, confidence, threads, progress
        As in `estimate`; two logs or more.

    Returns
    -------
    Dataset
        (log, channel): `rms_before` and `rms_predicted`, root mean square of the log less the flight by the priors and by the other flights; `covered`, the
        share of its readings inside the interval of `confidence` that was predicted; `covered_before`; `narrowed`, predicted standard deviation over that
        of before. (log, parameter): `estimate` and `sd` from the other flights, of what belongs to the vehicle.

    Raises
    ------
    KeyboardInterrupt, TypeError, ValueError, MissionError
        As `estimate`, and ValueError for fewer than two logs.

    Examples
    --------
    >>> log = sixdof.fly(mission)[["height"]].isel(time=slice(20, 500, 25))
    >>> held = sixdof.postflight.hold_back(mission, {"a": log, "b": log}, ["aero.drag"], carry=False, progress=False)
    >>> held.sizes["log"]
    2
    """
    given, missions = logs_of(logs, mission, "hold_back")
    check_share(confidence, "hold_back: confidence")
    if len(given) < 2:
        raise ValueError("hold_back: one flight is held back and the others are asked: give two logs or more")
    whole = problem_of(missions, given, parameters, priors, own, use, between, carry, Settings(robust=bool(robust)), threads, "hold_back")
    parts = [_predicted(whole, number, confidence, progress) for number in range(len(given))]
    ds = xr.concat([part.expand_dims(log=[name]) for part, name in zip(parts, given, strict=True)], "log", join="outer")
    first = next(iter(missions.values()))
    return ds.assign_attrs(kind="held back", title=first.title, confidence=confidence)


def _without(whole: Problem, number: int) -> Problem:
    """Return the problem of all logs but one."""
    left = [k for k in range(len(whole.blocks)) if k != number]
    names = [whole.blocks[k].name for k in left]
    kept = [k for k, one in enumerate(whole.parameters) if one.log != whole.blocks[number].name]
    parameters, channels = [whole.parameters[k] for k in kept], [whole.channels[k] for k in left]
    flights = Flights([whole.flights.missions[k] for k in left], parameters, names, channels, whole.flights.threads)
    flights.noisy, flights.scales = ([of[k] for k in left] for of in (whole.flights.noisy, whole.flights.scales))
    prior = whole.prior._replace(precision=inverse(inverse(whole.prior.precision)[np.ix_(kept, kept)]), low=whole.prior.low[kept], high=whole.prior.high[kept])
    blocks = blocks_of(parameters, names, [whole.blocks[k].values for k in left], [one.error for one in channels])
    return Problem(parameters, prior, blocks, flights, channels, whole.settings)


def _predicted(whole: Problem, number: int, confidence: float, progress: bool) -> xr.Dataset:
    """Return how well the other logs predict one."""
    others = _without(whole, number)
    found = fit(others.flights, others.blocks, others.prior, whole.settings, progress=progress)
    asked = np.array([one.asked for one in others.parameters])
    known = known_of(others.blocks, others.prior, found.point, found.state.colour, asked, mean_square(noise_flown(others, found)))
    before = inverse(whole.prior.precision)
    z, after = np.zeros(len(whole.parameters)), before.copy()
    place = {one: k for k, one in enumerate(whole.parameters)}
    shared = [(k, place[one]) for k, one in enumerate(others.parameters) if not one.log]
    of, to = (np.array(each) for each in zip(*shared, strict=True))
    z[to] = found.state.z[of]
    after[to] = after[:, to] = 0.0
    after[np.ix_(to, to)] = known.covariance[np.ix_(of, of)]
    block = whole.blocks[number]
    noise = _noise(whole, others, found, number)
    about = {}
    for name, point, spread in (("before", np.zeros_like(z), before), ("predicted", z, after)):
        one = _asked_one(whole, number, point)
        own = spread[np.ix_(block.places, block.places)]
        scale = whole.flights.scales[number]
        about[name] = one.residual * scale, scale * np.sqrt(np.einsum("rci,ij,rcj->rc", one.slope, own, one.slope) + noise**2)
    return _told(whole, number, about, found, known.covariance, others, confidence)


def _asked_one(whole: Problem, number: int, z: np.ndarray):
    """Return residuals and slopes of one log at a point."""

    def model(asked):
        return whole.flights([(number, one) for _, one in asked])

    return slopes_at(model, [whole.blocks[number]], whole.prior, z, whole.settings.step)[0]


def _noise(whole: Problem, others: Problem, found: Fit, number: int) -> np.ndarray:
    """Return the noise of a log's columns, (channels,): as the other logs show it, else as it states itself, else none."""
    seen: dict[str, list[float]] = {}
    for channels, noise in zip(others.channels, found.point.noise, strict=True):
        for name, one in zip(channels.names, noise, strict=True):
            seen.setdefault(name, []).append(float(one))
    own = zip(whole.channels[number].names, whole.channels[number].error, strict=True)
    return np.array([float(np.mean(seen[name])) if name in seen else float(np.nan_to_num(error)) for name, error in own])


def _told(whole: Problem, number: int, about, found: Fit, covariance: np.ndarray, others: Problem, confidence: float) -> xr.Dataset:
    """Return the numbers of one log held back."""
    reach = float(ndtri(0.5 + 0.5 * confidence))
    names = whole.channels[number].names
    entries = {}
    for name, (residual, sd) in about.items():
        inside = np.where(np.isfinite(residual), np.abs(residual) <= reach * sd, np.nan)
        entries[f"rms_{name}"] = ("channel", np.sqrt(np.nanmean(residual**2, axis=0)), {"units": "SI", "long_name": "log less flight, root mean square, SI"})
        words = {"units": "1", "long_name": "share of the readings inside the interval"}
        entries["covered" if name == "predicted" else "covered_before"] = ("channel", np.nanmean(inside, axis=0), words)
    narrowed = np.mean(about["predicted"][1], axis=0) / np.mean(about["before"][1], axis=0)
    entries["narrowed"] = ("channel", narrowed, {"units": "1", "long_name": "predicted standard deviation over that of before"})
    vehicle = [k for k, one in enumerate(others.parameters) if one.asked and not one.log]
    value = {k: others.parameters[k].mean + others.parameters[k].scale * found.state.z[k] for k in vehicle}
    sd = {k: others.parameters[k].scale * float(np.sqrt(covariance[k, k])) for k in vehicle}
    coords = {"channel": ("channel", names, {"long_name": "column of a log"})}
    if vehicle:
        coords["parameter"] = ("parameter", [others.parameters[k].label for k in vehicle], {"long_name": "parameter"})
        entries["estimate"] = ("parameter", list(value.values()), {"units": "SI", "long_name": "from the other flights, SI"})
        entries["sd"] = ("parameter", list(sd.values()), {"units": "SI", "long_name": "standard deviation from the other flights, SI"})
    return xr.Dataset(entries, coords)


# ---------------------------------------------------------------- its page


def hold_back_text(ds: xr.Dataset) -> str:
    """Return the page of what `hold_back` returned. Raises ValueError for anything else."""
    need_table(ds, "hold_back_text", "postflight.hold_back", "rms_predicted", "covered_before", "narrowed")
    share, wanted = float(ds["covered"].mean()), float(ds.attrs["confidence"])
    ratio = float(np.exp(np.nanmean(np.log(ds["rms_predicted"].values / ds["rms_before"].values))))
    better = "predict the one held back better than what was known before" if ratio < BETTER else "do NOT predict the one held back better"
    covers = "intervals hold" if share > wanted - SLACK else "intervals are TOO NARROW: flights differ by more than the parameters say"
    lines = [ds.attrs.get("title") or "Flights held back", *wrapped(f"{ds.sizes['log']} flights, each held back once and predicted from the others"), ""]
    answer = f"ANSWER: the other flights {better}: residuals are {ratio:.2f} times those of before; {100.0 * share:.0f} % of the readings lie inside their"
    lines += indented([f"{answer} {100.0 * wanted:g} % intervals: {covers}."])
    rows = [["held back", "column", "before", "predicted", "inside", "inside before", "narrowed to"]]
    for log in ds["log"].values:
        for channel in ds["channel"].values:
            one = ds.sel(log=log, channel=channel)
            if np.isfinite(float(one["rms_predicted"])):
                numbers = [f"{float(one[name]):.3g}" for name in ("rms_before", "rms_predicted")]
                shares = [f"{100.0 * float(one[name]):.0f} %" for name in ("covered", "covered_before", "narrowed")]
                rows.append([str(log), str(channel), *numbers, *shares])
    lines += ["", "Log less flight, root mean square, SI", *table(rows, words=2)]
    if "parameter" in ds.dims:
        rows = [["held back", *map(str, ds["parameter"].values)]]
        for log in ds["log"].values:
            one = ds.sel(log=log)
            rows.append([str(log), *(f"{float(a):.4g} +- {float(b):.2g}" for a, b in zip(one["estimate"].values, one["sd"].values, strict=True))])
        lines += ["", "Estimates without the flight held back, SI", *table(rows)]
    return "\n".join([*lines, "", LAST_LINE])
