"""`static_firing`: raw logs of a load cell to a thrust curve, with what it is uncertain by."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.static_firing.asking import amount, each_of, masses_of, smoothing_of, stand_of
from sixdof.study.static_firing.calibration import calibration_of
from sixdof.study.static_firing.entries import curve_entries, firing_entries, scatter_entries
from sixdof.study.static_firing.felt import felt_entries
from sixdof.study.static_firing.firing import Firing, worked_out
from sixdof.study.static_firing.impulse import Stand
from sixdof.study.static_firing.log import logs_of, read_log
from sixdof.study.static_firing.plausible import Nozzle
from sixdof.study.static_firing.spread import ALIGNMENTS
from sixdof.study.static_firing.thinning import POINTS
from sixdof.study.static_firing.with_firing import motor_of
from sixdof.study.uncertainty.statistics import check_share


def static_firing(
    logs: Any,
    *,
    calibration: Any = None,
    propellant_mass: Any = None,
    mass_before: Any = None,
    mass_after: Any = None,
    mass_error: Any = None,
    stand: str = "horizontal",
    units: Sequence[str] | None = None,
    cell_limit: float | str | None = None,
    clock_error: float | str = 0.001,
    notch: float | str | None = None,
    lowpass: float | str | None = None,
    air_pressure: float | str | None = None,
    fired_at: Any = None,
    throat_diameter: float | str | None = None,
    chamber_pressure: float | str | None = None,
    alignment: str = "burn_time",
    points: int = POINTS,
    confidence: float = 0.9,
    mission: Mission | None = None,
    motor: str | None = None,
    flights: int = 0,
    seed: int = 0,
) -> xr.Dataset:
    """Turn raw logs of a load cell into a thrust curve: tare, noise, ringing, impulse with error, burn by three published definitions, spread over firings.

    A log is a CSV with a column of time and one of force or counts; "time (ms), force (lbf)" names units, and without a header they are s and N. Stamps may
    be uneven, double or out of order, samples missing, the sign turned: what was put right is in `note` and on the page, what cannot be is an error.

    Parameters
    ----------
    logs : path of a CSV, several, or {"name": path or (time, reading)}, all of the same kind of motor and the same cell
    calibration : points [(reading, force, error), ...], two or more, or the path of a CSV with columns reading (or counts), force, error; or of a log in N the
        standard deviation of its scale ("0.5 %"). None: N as they stand, without an error of their scale, which the page says
    propellant_mass : kg or text, one for all logs, a list, or {"name": mass}
    mass_before, mass_after : of the motor as lit and as taken off the stand, in place of propellant_mass
    mass_error : standard deviation of one weighing; 0.5 g
    stand : how the motor lies: "horizontal", "nozzle up" (its weight presses on the cell) or "nozzle down" (hangs from it): burnt propellant weighs no more
    units : of time and reading where no header says them, ("ms", "lbf") or ("s", "counts")
    cell_limit : largest force the cell can read, N; readings there are cut off. Without it a flat top is found where noise would move it
    clock_error : standard deviation of the rate of the logger's clock, a share; 0.1 %
    notch : Hz, the mean over one period is taken, which nothing of that frequency passes; None: at the ringing of the stand, if there is any; "none"
    lowpass : Hz, at which a filter without delay passes half of the power; None: 100 Hz where sampled at 400 Hz or faster; "none". Both keep the impulse
    air_pressure : at the stand, Pa or text: the curve's `reference_pressure`
    fired_at : time of the log at which the igniter got its current, for the ignition delay, s; as propellant_mass
    throat_diameter, chamber_pressure : of the nozzle, and the mean over the burn: thrust coefficient and characteristic velocity are judged
    alignment : of several curves: "burn_time", each stretched from its 5 % points to the mean burn time, or "ignition", each from its first 5 % on
    points : that the thrust curve has at most
    confidence : of intervals
    mission, motor : a mission, and the name of its motor that was fired (may be left out where it has one): what the flight feels of it, flown
    flights, seed : how many flights are drawn besides, as written and as fired with the spread of the firings, and the seed of their draws

    Returns
    -------
    Dataset
        Along `firing`: `total_impulse` (N s) with `total_impulse_error` (standard deviation; `impulse_error` by source), `total_impulse_low` and `_high`,
        `specific_impulse`, `motor_class`, `peak_thrust`, `delay`, noise and ringing; (firing, definition): `burn_start`, `burn_end`, `burn_time`,
        `average_thrust`; (firing, sample): `log_time`, `reading`, `tare`, `thrust`, `smoothed_thrust`. Along `quantity` (total_impulse, burn_time): `mean`,
        `scatter`, with intervals, and `spread`, the standard deviation for `[disperse]` over the mean. `curve_time` (s), `curve_thrust` (N): the thrust
        curve, whose impulse is the mean; `curve_miss` says how much its few points miss. With a mission also what flies, as written and as fired.

    Raises
    ------
    ValueError, MissionError
        In one sentence, for arguments and logs of which nothing can be made.

    Examples
    --------
    >>> time = np.linspace(0.0, 3.0, 1201)
    >>> cell = np.interp(time, [1.0, 1.02, 1.8, 1.9], [2.0, 302.0, 302.0, 2.0]) + 0.1 * np.sin(400.0 * time)
    >>> fired = sixdof.workshop.static_firing({"first": (time, cell)}, calibration="0.5 %", propellant_mass="125 g")
    >>> fired.motor_class.item(), round(fired.total_impulse.item())
    ('H', 252)
    """
    given = logs_of(logs)
    names = list(given)
    if alignment not in ALIGNMENTS:
        raise ValueError(f"static_firing: alignment = {shown(alignment)} must be one of {', '.join(ALIGNMENTS)}")
    if isinstance(points, bool) or not isinstance(points, int) or points < 5:
        raise ValueError(f"static_firing: points = {shown(points)} must be a whole number, 5 or more")
    if isinstance(flights, bool) or not isinstance(flights, int) or flights < 0:
        raise ValueError(f"static_firing: flights = {shown(flights)} must be a whole number, 0 or more")
    check_share(confidence, "static_firing: confidence")
    chosen = motor_of(mission, motor)
    weight, smoothing = stand_of(stand), smoothing_of(notch, lowpass)
    masses = masses_of(propellant_mass, mass_before, mass_after, mass_error, names)
    clock = amount(clock_error, "1", "clock_error")
    limit = math.inf if cell_limit is None else amount(cell_limit, "N", "cell_limit", above=True)
    fired, pressure = each_of(fired_at, names, "s", "fired_at"), _or_nan(air_pressure, "Pa", "air_pressure")
    throat, chamber = _or_nan(throat_diameter, "m", "throat_diameter"), _or_nan(chamber_pressure, "Pa", "chamber_pressure")
    raw = [read_log(name, one, units) for name, one in given.items()]
    if len({log.counts for log in raw}) > 1:
        raise ValueError("static_firing: some logs hold counts and others forces; turn one call into two")
    line = calibration_of(calibration, raw[0].counts)
    stands = [Stand(weight, *pair, clock) for pair in zip(masses.propellant, masses.propellant_error, strict=True)]
    firings: list[Firing] = [worked_out(log, line, one, smoothing, limit) for log, one in zip(raw, stands, strict=True)]
    found = xr.Dataset(firing_entries(firings, masses, Nozzle(0.25 * math.pi * throat**2, chamber), fired, line, weight, confidence))
    found = found.assign_coords(firing=("firing", names, {"long_name": "log"}))
    found = found.merge(scatter_entries(firings, line.share, clock, confidence)).merge(curve_entries(firings, alignment, points))
    found = found.assign_attrs(
        stand=stand,
        alignment=alignment,
        confidence=confidence,
        calibration_error=line.share,
        calibration_points=len(line.points),
        calibration_note="; ".join(line.notes),
        reference_pressure=pressure,
        clock_error=clock,
    )
    return found if mission is None else felt_entries(found, mission, chosen, flights, seed)


def _or_nan(value: Any, unit: str, name: str) -> float:
    return math.nan if value is None else amount(value, unit, name, above=True)
