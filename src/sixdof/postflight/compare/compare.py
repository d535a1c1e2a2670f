"""`compare_log`: does the model hold in the flight that was logged, how far, and if not, what to look at first."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from sixdof.ensemble.request import whole
from sixdof.mission.mission import Mission
from sixdof.mission.units import checked
from sixdof.postflight.compare.asking import NOMINAL, WHO, Flights, flights_of, logs_of
from sixdof.postflight.compare.channels import Channel
from sixdof.postflight.compare.entries import entries_of
from sixdof.postflight.compare.patterns import inputs_drawn
from sixdof.postflight.compare.reading import Reader
from sixdof.postflight.compare.weighing import weighed
from sixdof.study.reading.result import event_values, mission_of
from sixdof.study.sweep.timelines import each_flight
from sixdof.study.uncertainty.statistics import check_share

POINTS = 400


def compare_log(
    what: Mission | xr.Dataset,
    log: Any,
    *,
    flights: int = 200,
    branch: str = NOMINAL,
    seed: int = 0,
    points: int = POINTS,
    clock_error: float | str | None = None,
    confidence: float = 0.95,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Hold a flight log against drawn flights: the band they make of each variable, where in it the log lies, whether the model holds, and how far.

    A log is one flight, and its instants stand and fall together. So the test is of whole curves: the log among the flights, each by how far it leaves
    all the others (Monte Carlo rank test, p = (b + 1)/(n + 1)), and a share of instants inside a band is held against what the flights' own shares are.

    Parameters
    ----------
    what : Mission, flown with its draws, or an ensemble as `sixdof.disperse` returns it, which is flown again with whole timelines.
    log : a flight log as `sixdof.postflight.read_log` gives it, several in a list or {"name": log} (of one flight, or of several): each is weighed for itself.
    flights : drawn flights of a mission, 20 or more; with n flights no p is below 1/(n + 1).
    branch : what failed in the logged flight, as the variable `branch` of an ensemble says it ("nominal", "no_ignition: sustainer"). Flights of other
        branches are left out and counted; of a mission the failures of this branch are made certain and no others happen.
    seed : of draws, and of the noise that each flight gets.
    points : instants of each rate that are compared at most, two thirds of them in the climb.
    clock_error : standard deviation of the log's time of liftoff, s or text, which every flight is read with; None: the log's own `liftoff_error`.
    confidence : that a log is called off the model only with: 0.95 calls one in twenty logs of a true model so.
    threads, progress, guidance, control : as in `sixdof.disperse`.

    Noise: where a variable of the log has no attribute `error`, its scatter at rest before liftoff is taken, and where it has no rest, none; flights get it,
    independent from reading to reading. Angles that go round are compared where the flights agree on a direction; an attitude by where the nose points;
    a height from where the sensor stood before liftoff. What the computer made of its gyros (attitude, tilt) is held against what the flights' would have.

    Returns
    -------
    Dataset
        Dims channel (a variable, or a part of one: "velocity[up]"), time (s since liftoff), share, level (0.5, 0.8, 0.9, 0.95), segment, log, candidate,
        scalar, input, mach_bin, incidence_bin. `logged` and `band` (in `channel_units`), `residual` against the median, `standardised_residual` (over the
        flights' standard deviation), `rank` (the log's among the flights, 0 to 1). By channel and segment: `instants`, `effective_instants` (independent ones),
        `coverage` with what is claimed and the ends between which 90 % of the flights' own lie, `bias`, `rms`, `p_value`, `p_adjusted` (for looking at
        many at once). By log: `log_p_value`, `log_holds`, `log_mach`, `log_incidence` (rad; the largest in the data), `log_holds_to_mach`,
        `log_holds_to_incidence`; the same by channel; `map_instants`, `map_inside`, `map_p_value` over Mach number and incidence. `candidate_...`: causes,
        the best explanation first. `scalar_...`: apogee, burnouts, largest speeds. `told` (log, input): what the log leaves of an input's spread.

    Raises
    ------
    TypeError, ValueError
        For what is no mission, ensemble or log, flights with weights, a log with nothing in common with the flights, a branch that none took, too few flights.
    MissionError, FlightError, LawError
        As `sixdof.disperse`.

    Examples
    --------
    >>> log = sixdof.postflight.read_log(*sixdof.postflight.log_of(flight, what=["height"], rate=5.0), mission)
    >>> found = sixdof.postflight.compare_log(mission, log, flights=20, points=40, progress=False)
    >>> [str(name) for name in found.channel.values]
    ['height']
    """
    logs = logs_of(log)
    check_share(confidence, f"{WHO}: confidence")
    points = whole(points, f"{WHO}: points", 10)
    how = {"threads": threads, "progress": progress, "guidance": guidance, "control": control}
    clock_errors = [clock_error_of(one, clock_error) for one in logs.values()]
    used = flights_of(what, flights, branch, seed=seed, **how)
    mission, climb_end = mission_of(used.ensemble, WHO), climb_end_of(used.ensemble)
    like = each_flight(used.ensemble.isel(flight=[0]), lambda flight: flight, guidance=guidance, control=control)[0]
    readers = [Reader(name, one, mission, like, points, climb_end, late, seed) for (name, one), late in zip(logs.items(), clock_errors, strict=True)]
    reads = each_flight(used.ensemble, lambda flight: [reader.of_flight(flight) for reader in readers], **how)
    inputs, alpha = inputs_drawn(used.ensemble), 1.0 - confidence
    found = [weighed(reader, [one[k] for one in reads], inputs, climb_end, alpha) for k, reader in enumerate(readers)]
    attrs = _attributes(used, branch, confidence, mission, seed)
    return entries_of(found, inputs, alpha).assign_attrs(attrs, noise=_noise(readers))


def climb_end_of(ensemble: xr.Dataset) -> float:
    """Return the median time of apogee, s since liftoff; inf where none comes down."""
    times = event_values(ensemble, "apogee") - event_values(ensemble, "liftoff")
    known = times[np.isfinite(times)]
    return float(np.median(known)) if known.size else np.inf


def clock_error_of(log: xr.Dataset, given: float | str | None) -> float:
    """Return the standard deviation of a log's liftoff, s: what is given, what the log says, or that of a time known to one step (over root 12)."""
    if given is not None:
        try:
            return checked(given, "s", least=0.0)
        except ValueError as error:
            raise ValueError(f"{WHO}: clock_error: {error}") from None
    if np.isfinite(log.attrs.get("liftoff_error", np.nan)):
        return float(log.attrs["liftoff_error"])
    steps = np.diff(log["time"].values)
    return float(np.median(steps)) / np.sqrt(12.0) if steps.size else 0.0


def _attributes(used: Flights, branch: str, confidence: float, mission: Mission, seed: int) -> dict[str, Any]:
    return {
        "title": mission.title,
        "mission": used.ensemble.attrs["mission"],
        "flights": used.ensemble.sizes["flight"],
        "branch": branch,
        "branch_made": int(used.made),
        "left_out": "; ".join(f"{count} {name}" for name, count in used.others.items()),
        "left_out_count": sum(used.others.values()),
        "failed": used.failed,
        "confidence": confidence,
        "seed": str(used.ensemble.attrs.get("seed", seed)),
    }


def _noise(readers: list[Reader]) -> str:
    """Return, for the page, which channels have no measured noise: "name, name"."""
    silent: list[Channel] = [one for reader in readers for one, source in zip(reader.channels, reader.noise_from, strict=True) if source == "none"]
    return ", ".join(one.name for one in silent)
