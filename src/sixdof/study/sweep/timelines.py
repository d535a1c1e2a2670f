"""The whole timelines of drawn flights, one after the other: what a study reduces to a number or two of each."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import TypeVar

import xarray as xr
from tqdm import tqdm

from sixdof.draws.given import check_draws, draws_of
from sixdof.draws.packed import one_draw, pack_draws
from sixdof.flight.fly import check_laws, fly_draw
from sixdof.flight.laws import bind
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.results.dataset import BUILT_IN, sealed
from sixdof.study.reading.result import mission_of, need_ensemble

Reduced = TypeVar("Reduced")


def each_flight(
    flights: xr.Dataset,
    function: Callable[[xr.Dataset], Reduced],
    *,
    rate: float | None = None,
    threads: int | None = None,
    progress: bool = False,
    guidance=None,
    control=None,
) -> list[Reduced]:
    """Fly every flight of an ensemble again, with its whole timeline, and return what a function makes of each.

    A timeline of each of a thousand flights would fill the memory; a largest load or temperature of each does not.

    Parameters
    ----------
    flights : Dataset
        An ensemble as `disperse` returns it, any flights of it, or one condition of `fly_conditions`, with its inputs.
    function : callable
        Takes a flight as `sixdof.fly` returns it, its number as the coordinate `flight`, with the draws, failures and noise that it had in the
        ensemble, and returns anything. Called in several threads at once. A flight that diverged or ran out of time goes up to there; its `status`
        says so.
    rate : float or None
        Rows of the timeline per second; None: the mission's `record.rate`.
    threads : int or None
        None: one per core.
    progress : bool
        Show a bar.
    guidance, control
        The laws that the ensemble was flown with, as for `refly`.

    Returns
    -------
    list
        What `function` returned, in the order of the flights.

    Raises
    ------
    TypeError, ValueError
        For what is no ensemble, and one whose mission, inputs or laws are not those that it was flown with.

    Examples
    --------
    >>> peaks = sixdof.stats.each_flight(flights.isel(flight=slice(3)), lambda flight: float(flight.dynamic_pressure.max()))
    >>> len(peaks)
    3
    """
    need_ensemble(flights, "each_flight", "status")
    if not callable(function):
        raise TypeError(f"each_flight: function must be called with a flight, such as lambda flight: float(flight.mach.max()), not {function!r}")
    mission = mission_of(flights, "each_flight")
    check_laws(flights, guidance, control, "each_flight")
    if flights.attrs.get("seal") != sealed(flights.attrs):
        raise ValueError("each_flight: these flights do not hold all that they were flown with; take an ensemble of disperse, or a condition of fly_conditions")
    attrs = {name: flights.attrs[name] for name in ("seed", "guidance", "control")}
    return _each(mission, draws_of(flights, mission, repeated=True), function, bind(guidance, control), rate, threads, progress, attrs)


def each_draw(
    mission: Mission,
    table: xr.Dataset,
    function: Callable[[xr.Dataset], Reduced],
    *,
    rate: float | None = None,
    threads: int | None = None,
    progress: bool = False,
) -> list[Reduced]:
    """Fly every row of a table of draws, with its whole timeline, and return what a function makes of each, in the order of the rows.

    As `each_flight`, but of a table as `make_draws` gives it, edited or put together; flights may come again (two rows with the same number share the
    noise of sensors and turbulence). The mission's own laws fly.

    Raises
    ------
    TypeError, ValueError
        For a table that does not fit the mission.
    """
    check_mission(mission, "each_draw")
    table = check_draws(mission, table, repeated=True)
    return _each(mission, table, function, bind(None, None), rate, threads, progress, {"seed": table.attrs["seed"], "guidance": BUILT_IN, "control": BUILT_IN})


def _each(mission, table: xr.Dataset, function, laws, rate, threads, progress: bool, attrs: dict) -> list:
    """Fly the rows of a table in threads, and return what the function makes of each."""
    packed, numbers = pack_draws(mission, table), table["flight"].values
    flown_by = mission if rate is None else mission.change({"record.rate": float(rate)})

    def one(row: int):
        flight, _ = fly_draw(flown_by, one_draw(packed, row), laws, flight=int(numbers[row]), **attrs)
        return function(flight.assign_coords(flight=numbers[row]))

    with ThreadPoolExecutor(threads or os.cpu_count() or 1) as pool:
        return list(tqdm(pool.map(one, range(numbers.size)), total=numbers.size, desc="sixdof: flights again", unit="", disable=not progress))
