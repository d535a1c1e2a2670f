"""One flight: from a Mission to a Dataset."""

from __future__ import annotations

import warnings
from collections.abc import Iterable, Sequence

import numpy as np
import xarray as xr

from sixdof.draws.drawn import drawn_mission
from sixdof.draws.flight_draw import FlightDraw
from sixdof.draws.given import draws_of
from sixdof.draws.numbers import check_numbers
from sixdof.draws.packed import nominal_draw, one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.flight.law_digest import law_text
from sixdof.flight.laws import Laws, bind
from sixdof.flight.model import log_rows
from sixdof.flight.plan import Plan, plan_of
from sixdof.flight.runner import FlightRunner
from sixdof.mission.load import check_mission, stored_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results.dataset import BUILT_IN, flight_dataset, sealed, source
from sixdof.results.facts import Flown
from sixdof.results.status import FlightError, Status

ROUNDING = 1e-9, 1e-12  # relative and absolute: what another version of numpy or scipy may change of a draw


def fly(mission: Mission, *, flight: int | None = None, seed: int = 0, failures: Sequence[str] = (), guidance=None, control=None) -> xr.Dataset:
    """Fly a mission once, every body of it to the ground, and return everything about it.

    Parameters
    ----------
    mission : Mission
    flight : int or None
        None flies the mission as it is written. A number flies that flight of `disperse(mission, ..., seed=seed)` again,
        alone, bit for bit.
    seed : int
        The ensemble's seed; used only with `flight`.
    failures : names of [[failure]] entries
        What goes wrong in this flight whatever its probability, such as ("no_separation: booster",).
    guidance, control : function, Law, CLaw or None
        Custom laws in place of the built-in ones: see `sixdof.laws.Law`. Plain Python works (slowly, with tracebacks and debuggers),
        so do functions compiled by `numba.njit` and C functions, with the same bits.

    Returns
    -------
    Dataset
        Dims time, axis, quaternion, fin, body, event, joint, rule, canopy; every variable has its unit and a `long_name`.

    Raises
    ------
    FlightError
        If the motion diverged. Other ends that are not a landing give a warning and the flight up to there.
    TypeError, ValueError
        For what is not a mission, a flight or seed that is not such a number, or `failures` that name something the mission does not.
    MissionError
        For air that no weather explains at the site.
    LawError, or what the law raised
        If a custom law cannot be used or fails in flight.

    Examples
    --------
    >>> flight = sixdof.fly(mission)
    >>> round(float(flight.rail_departure_speed), 1)
    22.2
    >>> sixdof.stats.Status(int(flight.status)).name
    'LANDED'
    """
    check_mission(mission, "fly")
    check_numbers("fly", flight, seed)
    if flight is None:
        return _one_flight(mission, nominal_draw(mission), failures, guidance, control)
    draw = one_draw(pack_draws(mission, draw_table(mission, seed, flight, 1)), 0)
    return _one_flight(mission, draw, failures, guidance, control, seed=str(seed), flight=int(flight))


def refly(ds: xr.Dataset, flight: int, *, failures: Sequence[str] = (), guidance=None, control=None) -> xr.Dataset:
    """Fly one flight of an ensemble again, in full detail, from the ensemble alone: its mission, its draws, its seed.

    Nothing that the ensemble names is read or loaded: its mission needs no files, and custom laws must be passed again.

    Parameters
    ----------
    ds : Dataset
        As `disperse` returns it or `open_result` reads it, however its inputs were drawn.
    flight : int
        The flight's number, a value of the coordinate `flight`.
    failures, guidance, control
        As in `fly`. Laws must be those that the ensemble was flown with: its attributes `guidance` and `control` tell them by a digest.

    Returns
    -------
    Dataset
        As `fly` returns it: the same bits as in the ensemble, if this library flew it in this version (else a warning says so).

    Raises
    ------
    ValueError
        If there is no such flight, `ds` is not an ensemble, its mission, seed or draws are not those it was flown with, or a law is another.
    MissionError
        If its mission names files.

    Examples
    --------
    >>> again = sixdof.refly(flights, 17)
    >>> float(again.apogee_height) == float(flights.apogee_height.sel(flight=17))
    True
    """
    if not isinstance(ds, xr.Dataset) or "flight" not in ds.dims or "mission" not in ds.attrs:
        raise ValueError("refly takes an ensemble for ds, as disperse returns it, with its attributes and its dim flight")
    numbers = ds["flight"].values
    if isinstance(flight, bool) or not isinstance(flight, (int, np.integer)) or flight not in numbers:
        raise ValueError(f"refly: there is no flight {shown(flight)}; the numbers of this ensemble go from {numbers.min()} to {numbers.max()}")
    mission = stored_mission(ds.attrs["mission"])
    check_laws(ds, guidance, control, "refly")
    if source() != ds.attrs.get("source"):
        warnings.warn(f"this ensemble was flown by {ds.attrs.get('source')}, and this is {source()}: numbers may differ", stacklevel=2)
    table = draws_of(ds.sel(flight=[flight]), mission)
    _check_origin(ds, mission, table, int(flight))
    draw = one_draw(pack_draws(mission, table), 0)
    return _one_flight(mission, draw, failures, guidance, control, seed=ds.attrs["seed"], flight=int(flight))


def check_laws(ds: xr.Dataset, guidance, control, who: str) -> None:
    """Raise ValueError unless these are the laws that an ensemble was flown with. who : asks."""
    for slot, (name, law) in enumerate((("guidance", guidance), ("control", control))):
        there, now = ds.attrs.get(name), law_text(law, slot)
        if there is None:
            raise ValueError(f"{who}: this ensemble does not say which {name} law flew it: its attribute {name} is missing")
        if there != now:
            hint = f"pass {name}=, the law it was flown with" if now == BUILT_IN else "sixdof.fly(mission, flight=number, seed=seed) takes any law"
            raise ValueError(f'{who}: {name} was "{there}" in this ensemble and is "{now}" now; {hint}')


def _check_origin(ds: xr.Dataset, mission: Mission, table: xr.Dataset, flight: int) -> None:
    """Raise ValueError for an ensemble whose seed, mission or draws are not those that it was flown with."""
    if ds.attrs.get("seal") != sealed(ds.attrs):
        raise ValueError("refly: the attributes of this ensemble (seed, sampling, mission, guidance, control) are not those it was flown with")
    sampling, _, total = ds.attrs["sampling"].partition(" of ")
    if sampling == "given":
        return
    drawn = draw_table(mission, int(ds.attrs["seed"]), flight, 1, sampling=sampling, total=int(total) if total else None)
    changed = [name for name in drawn.data_vars if name not in table or not np.allclose(drawn[name].values, table[name].values, *ROUNDING)]
    if changed:
        raise ValueError(f"refly: {changed[0]} of flight {flight} is not what seed {ds.attrs['seed']} draws; fly an edited table with draws=")


def _one_flight(mission: Mission, draw: FlightDraw, failures: Sequence[str], guidance, control, **attrs) -> xr.Dataset:
    """Return one draw of a mission with the failures and laws asked for; say what is to be said of how it ended."""
    draw = draw._replace(failure=forced_failures(mission, draw.failure, failures))
    laws = bind(guidance, control)
    attrs |= {"guidance": law_text(guidance, 0), "control": law_text(control, 1)}  # before the flight: a plain law may change what it holds
    ds, flown = fly_draw(mission, draw, laws, **attrs)
    status = Status(flown.status)
    if status is Status.DIVERGED:
        raise FlightError(f"after {flown.time:.2f} s: {status.sentence}", ds)
    if status is not Status.LANDED:
        warnings.warn(f"after {flown.time:.2f} s: {status.sentence}", stacklevel=3)
    return ds


def fly_draw(mission: Mission, draw: FlightDraw, laws: Laws, **attrs) -> tuple[xr.Dataset, Flown]:
    """Return one drawn flight of a mission, however it ended, and what the runner says of it. Raises what a custom law raised.

    attrs : of the Dataset; the flight's number among them, if it has one.
    """
    flown_mission = drawn_mission(mission, draw.path, flight=attrs.get("flight"))
    plan = plan_of(mission) if flown_mission is mission else Plan(flown_mission)  # no other flight has these numbers
    runner = FlightRunner(plan, laws, log_rows(plan.model(0, plan.count - 1)))
    flown = runner.run(draw)
    if Status(flown.status).by_law:
        laws.report(runner.failed, Status(flown.status))
    return flight_dataset(mission, flown, **attrs), flown


def forced_failures(mission: Mission, drawn: np.ndarray, failures: Sequence[str]) -> np.ndarray:
    """Return the failures of a flight with those added that the caller asks for."""
    names = [failure.name for failure in mission.failure]
    happens = drawn.copy()
    asked = [failures] if isinstance(failures, str) else failures
    if isinstance(asked, dict) or not isinstance(asked, Iterable):
        raise TypeError(f"failures: {shown(failures)} must be a list of names of [[failure]] entries")
    for name in asked:
        if not isinstance(name, str) or name not in names:
            raise ValueError(f"failures: {shown(name)} is not one of this mission's [[failure]] entries; it has {', '.join(map(repr, names)) or 'none'}")
        happens[names.index(name)] = 1.0
    return happens
