"""`estimate`: parameters of the model out of logs of flights, with their covariance and what the logs cannot tell."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.postflight.estimation.channels import channels_of, need_log
from sixdof.postflight.estimation.entries import entries_of
from sixdof.postflight.estimation.fit import Fit, Problem, blocks_of, fit, that_move
from sixdof.postflight.estimation.flown import Fitted, Flights, ending, fitted, quiet
from sixdof.postflight.estimation.flown_noise import FLIGHTS, row_scales
from sixdof.postflight.estimation.keeping import Kept
from sixdof.postflight.estimation.parameters import carried, clocks_of, parameters_of, prior_of
from sixdof.postflight.estimation.solver import Settings
from sixdof.results.dataset import source
from sixdof.study.sweep.timelines import each_draw
from sixdof.study.uncertainty.statistics import check_share

OF_THE_DESCENT = ("canopy.", "harness.", "vehicle.hanging_drag")  # parameters that only a descent tells
LAST = 1e9  # s, no log is longer


def estimate(
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
    starts: int = 1,
    seed: int = 0,
    turns: int = 25,
    confidence: float = 0.9,
    keep: Any = None,
    threads: int | None = None,
    progress: bool = True,
) -> xr.Dataset:
    """Estimate parameters of the model from logs of one or several flights: least squares with priors on the kernel's own flights.

    Output-error method (R. E. Maine, K. W. Iliff, NASA RP-1168, 1986): flights without turbulence and sensor noise are laid against the logs, residuals are
    weighted by the errors that the logs state, and by noise estimated from the residuals themselves where they state none or a smaller one. The covariance
    is corrected for the colour of the residuals (E. A. Morelli, V. Klein, J. Guidance, Control, and Dynamics 20(1), 1997), and what turbulence and the errors
    of the computer's sensors move the estimate by is flown: rows that it scatters more weigh
    less, and its moves are added. Everything else that `[disperse]` varies is carried along with its spread as prior, so that the intervals hold what it is
    uncertain by.

    Parameters
    ----------
    mission : Mission
        What was flown, or {name of the log: mission} where flights differ in their motor, rail or site; stages must have the same names.
    logs : Dataset, list, or {"name": Dataset}
        Flight logs as `read_log` gives them.
    parameters : list of str
        Names as in `[disperse]` ("aero.drag", "motor.impulse", "wind.speed"; "aero.drag of drayhorse" is one stage's), or paths of the mission. Without
        "of" one number holds for all stages.
    priors : dict
        name -> standard deviation, [mean, standard deviation], or "none"; by default the mission's `[disperse]`.
    own : list of str
        Names that every flight has for itself, where there are several; by default the wind, the air, the rail, ignition, impulse and burn time.
    use : list of str
        Variables of the logs that are compared; by default all that are measured and not said twice.
    between : (time, time)
        Of the logs that are compared, s since liftoff or text; by default from liftoff to apogee, to the end where a canopy is asked for.
    carry : bool
        Carry the rest of `[disperse]` along, and the clock of each log by its `liftoff_error`. Without it the rest is held at its mean, and intervals are as
        if it were known.
    robust : bool
        Residuals beyond 3 standard deviations pull no harder than one there.
    starts, seed : int
        How many starting points, the prior's means first, then points drawn from the prior; the best end is taken, all are told.
    turns : int
        At most, for each start.
    confidence : float
        Of intervals.
    keep : path
        A file that turns are kept in: interrupted or killed, the same call goes on.
    threads : int
        Flights at once; None: one per core.
    progress : bool
        Show a bar.

    Returns
    -------
    Dataset
        Along `parameter`: `estimate`, `sd`, `low`, `high`, `prior_mean`, `prior_sd` (SI, `unit`), `moved` (in standard deviations of the prior), `flown_sd`
        (what of `sd` noise of the flight itself makes), `shrunk` (1 - variance after over variance before), `cramer_rao` (without a prior of what was asked
        for, white noise), `white_sd`, `covariance` and `correlation` (parameter, parameter_2). Along `direction`: what the data see least first,
        `direction_part` (in standard deviations of the prior), `direction_information` (over the prior's). (log): `mach_low`, `mach_high` (between which the
        air's forces acted), `mach_most`. (log, channel): `noise`, `known_error`, `rms_before`, `rms_after`, `colour`, `whiteness`, `samples`, `outliers`;
        (log, channel, sample): `residual_before`, `residual_after`, `weight`, `noise_factor`; (log, sample): `sample_time`, `sample_mach`. Along `carried`:
        what was estimated along with it.

    Raises
    ------
    KeyboardInterrupt
        After Ctrl-C, in one sentence.
    TypeError, ValueError, MissionError
        For logs, names, priors and times of which nothing can be made, in one sentence.

    Examples
    --------
    >>> log = sixdof.fly(mission)[["height"]].isel(time=slice(20, 500, 10))
    >>> found = sixdof.postflight.estimate(mission, log, ["aero.drag"], carry=False, progress=False)
    >>> bool(abs(found.estimate.item() - 1.0) < 0.05)
    True
    """
    given, missions = logs_of(logs, mission, "estimate")
    check_share(confidence, "estimate: confidence")
    for name, value in (("starts", starts), ("turns", turns)):
        if isinstance(value, bool) or not isinstance(value, int) or value < 1:
            raise ValueError(f"estimate: {name} = {shown(value)} must be a whole number, 1 or more")
    problem = problem_of(missions, given, parameters, priors, own, use, between, carry, Settings(robust=bool(robust), most=turns), threads, "estimate")
    kept = Kept(keep, _identity(problem, missions, starts, seed))
    try:
        found = fit(problem.flights, problem.blocks, problem.prior, problem.settings, starts=starts, seed=seed, kept=kept, progress=progress)
    except KeyboardInterrupt:
        after = f"{keep} holds the turns so far, the same call goes on" if keep is not None else "give keep= a file, and the same call goes on where it stopped"
        raise KeyboardInterrupt(f"estimate: interrupted; {after}") from None
    need_answers(problem, found)
    return finished(problem, found, missions, confidence)


def logs_of(logs: Any, mission: Any, who: str) -> tuple[dict[str, xr.Dataset], dict[str, Mission]]:
    """Return logs by name, and the mission of each. Raises TypeError, ValueError for anything else."""
    if isinstance(logs, xr.Dataset):
        logs = {"log": logs}
    elif isinstance(logs, list | tuple):
        logs = {f"log {k}": one for k, one in enumerate(logs, 1)}
    if not isinstance(logs, Mapping) or not logs:
        raise TypeError(f'{who}: logs must be a flight log, a list of them or {{"name": log}}, not {shown(logs)}')
    given = {str(name): need_log(log, who, f'"{name}"' if len(logs) > 1 else "") for name, log in logs.items()}
    missions = dict(mission) if isinstance(mission, Mapping) else dict.fromkeys(given, mission)
    if set(missions) != set(given):
        raise ValueError(f"{who}: missions are given for {', '.join(missions)}, logs for {', '.join(given)}; give one mission, or one for each log by its name")
    for one in missions.values():
        check_mission(one, who)
    first, *others = missions.values()
    if any([stage.name for stage in one.stage] != [stage.name for stage in first.stage] for one in others):
        raise ValueError(f"{who}: the missions of the logs must have the same stages: what is estimated belongs to the vehicle")
    return given, {name: missions[name] for name in given}


def problem_of(missions, given, wanted, priors, own, use, between, carry: bool, settings: Settings, threads, who: str) -> Problem:
    """Return all that a fit takes, from what `estimate` is called with."""
    names, first = list(given), next(iter(missions.values()))
    asked = parameters_of(first, wanted, priors, own, names, who)
    numbers = [*asked, *([*carried(first, asked, names), *clocks_of(given)] if carry else [])]
    open_ended = any(one.name.startswith(OF_THE_DESCENT) for one in asked)
    flown: dict[int, Fitted] = {}
    fits, channels, noisy = [], [], []
    for name in names:
        mission = missions[name]
        own_fit = flown.setdefault(id(mission), fitted(mission, numbers))
        flight = each_draw(own_fit.mission, own_fit.held, lambda one: one)[0]
        times = times_of(between, given[name], flight, open_ended, who)
        channels.append(channels_of(given[name], flight, use, times, who))
        end = float(channels[-1].log["time"].values[-1])
        fits.append(ending(own_fit, end))
        noisy.append(ending(fitted(mission, numbers, noisy=True), end) if quiet(mission) is not mission else None)
    flights = Flights(fits, numbers, names, channels, threads)
    flights.noisy = noisy
    values, errors = [one.values for one in channels], [one.error for one in channels]
    moves = that_move(flights, blocks_of(numbers, names, values, errors), prior_of(first, numbers), numbers, settings.step)
    numbers = [one for one, kept in zip(numbers, moves, strict=True) if kept]
    flights.parameters = numbers
    flights.scales = scales_of(flights, errors, len(numbers))
    values = [one / scale for one, scale in zip(values, flights.scales, strict=True)]
    return Problem(numbers, prior_of(first, numbers), blocks_of(numbers, names, values, errors), flights, channels, settings)


def scales_of(flights: Flights, errors: Sequence[np.ndarray], size: int) -> list[np.ndarray]:
    """Return by what each row of each log is weighed less, (rows, channels): what noisy flights at the means of before scatter by over time."""
    middle = np.zeros(size)
    noisy = flights.with_noise(middle, FLIGHTS)
    quiet = flights([(number, middle) for number in range(len(errors))])
    return [row_scales(*each) for each in zip(quiet, noisy, errors, strict=True)]


def times_of(between: Any, log: xr.Dataset, flight: xr.Dataset, open_ended: bool, who: str) -> tuple[float, float]:
    """Return from when to when a log is compared, s since liftoff."""
    if between is None:
        return 0.0, LAST if open_ended else apogee_of(log, flight)
    if not isinstance(between, tuple | list) or len(between) != 2:
        raise ValueError(f'{who}: between must be two times since liftoff, such as ("0.5 s", "9 s"), not {shown(between)}')
    try:
        first, last = (float(parse(one, "s")) for one in between)
    except QuantityError as error:
        raise ValueError(f"{who}: between: {error}") from None
    if not first < last:
        raise ValueError(f"{who}: between: {first:g} s is not before {last:g} s")
    time = log["time"].values
    if np.sum((time >= first) & (time <= last)) < 2:
        raise ValueError(f"{who}: between {first:g} s and {last:g} s the log holds no two instants; it goes from {time[0]:.4g} s to {time[-1]:.4g} s")
    return first, last


def apogee_of(log: xr.Dataset, flight: xr.Dataset) -> float:
    """Return the time since liftoff of the apogee of the body whose log it is: where its height is largest, or else the mission's own flight's."""
    if "height" in log and np.isfinite(log["height"].values).any():
        height = log["height"].values
        last = int(np.nanargmax(height))
        if last < np.flatnonzero(np.isfinite(height))[-1]:
            return float(log["time"].values[last])
    names = [str(name) for name in flight["body"].values]
    body = names.index(log.attrs["stage"]) if log.attrs.get("stage", "") in names else 0
    times = flight["event_time"].isel(body=body)
    apogee, liftoff = float(times.sel(event="apogee")), float(flight["event_time"].isel(body=0).sel(event="liftoff"))
    return apogee - (liftoff if np.isfinite(liftoff) else 0.0) if np.isfinite(apogee) else LAST


def need_answers(problem: Problem, found: Fit) -> None:
    """Raise ValueError where flights answer too little of the logs to say anything."""
    for block, slopes in zip(problem.blocks, found.point.slopes, strict=True):
        if np.isfinite(slopes.residual).sum() < len(problem.parameters) / 4 + 3:
            raise ValueError(
                f"estimate: flights of the mission answer only {int(np.isfinite(slopes.residual).sum())} readings of {block.name}: they end too soon, or "
                "the log is too short; look at `compare_log` first"
            )


def finished(problem: Problem, found: Fit, missions: Mapping[str, Mission], confidence: float) -> xr.Dataset:
    """Return the Dataset of a fit."""
    first = next(iter(missions.values()))
    return entries_of(problem, found, confidence).assign_attrs(
        kind="estimate",
        title=first.title,
        source=source(),
        mission=first.to_toml(),
        confidence=confidence,
        flown=problem.flights.flown,
        held=", ".join(name for name in first.disperse if name not in {one.name for one in problem.parameters}),
    )


def _identity(problem: Problem, missions: Mapping[str, Mission], starts: int, seed: int) -> list[Any]:
    """Return what a kept turn depends on."""
    texts = [mission.to_toml() for mission in missions.values()]
    numbers = [each for channels in problem.channels for each in (channels.values, channels.error, channels.log["time"].values)]
    told = [tuple(one[k] for k in (0, 1, 2, 4, 5, 6, 7, 8)) for one in problem.parameters]
    return [*texts, told, *numbers, problem.settings, starts, seed, source()]
