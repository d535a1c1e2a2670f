"""The table of draws: which flight flies with which numbers. Row i depends on nothing but (seed, i), any block can be drawn alone.

With sampling "random" adding or removing one dispersed quantity leaves the draws of all others as they were; with "latin" too, but
row i depends on the number of flights; with "sobol" one more quantity changes all.
"""

from __future__ import annotations

import operator

import numpy as np
import xarray as xr

from sixdof.draws.numbers import LAST_FLIGHT, check_numbers
from sixdof.draws.quantities import Quantity, attributes_of, coordinate, dims_of, flight_coordinate, known_item, nominal_value, quantities, things
from sixdof.draws.sampling import SAMPLINGS, correlated, shares, uniforms
from sixdof.draws.spreads import quantile, spread_of
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.paths import PathItem
from sixdof.mission.tables import Spread
from sixdof.mission.tables.dispersible import Dispersible
from sixdof.mission.units import QuantityError, shown
from sixdof.results.assembly import assembled
from sixdof.vehicle.compiling import compile_first

FAILED = "failure_drawn"  # variable of the table: which of the mission's failures happen
OF_FAILED = {"units": "1", "long_name": "1 where it was drawn to happen"}


def make_draws(mission: Mission, flights: int, *, seed: int = 0, first: int = 0, sampling: str = "random") -> xr.Dataset:
    """Make the table of draws of an ensemble: to look at, to edit, to hand to `sixdof.disperse(..., draws=table)`.

    Parameters
    ----------
    mission : Mission
        What varies is its `disperse`, what goes together its `correlation`, what may go wrong its `failure`.
    flights : int
        How many, numbered first, first + 1, ...
    seed : int
        0 .. 2^64 - 1.
    sampling : "random", "latin" or "sobol"
        "random": row i depends on (seed, i) alone, and the draws of one quantity on no other: missions compared with the same seed
        share their random numbers. "latin": a Latin hypercube; row i depends on (seed, i, flights), first must be 0. "sobol": a
        scrambled Sobol sequence; row i depends on (seed, i) and on how many quantities are dispersed; means of smooth outcomes
        converge faster (take a power of two of flights).

    Returns
    -------
    Dataset
        A variable for each dispersed quantity, dims (flight) or (flight, stage | joint | rule | harness | canopy | fin), with units (SI or
        rad), long_name and role: a "factor" multiplies the mission's number, an "offset" is added, a "value" replaces it.
        `failure_drawn` (flight, failure) is 1 where a failure was drawn. Attributes: seed, sampling, and of "latin" total.

    Raises
    ------
    ValueError
        For numbers of flights, a seed or a sampling that cannot be, and for a spread that draws what the mission cannot hold.

    Examples
    --------
    >>> draws = sixdof.stats.make_draws(mission, 8, seed=1)
    >>> draws.sizes["flight"]
    8
    """
    check_mission(mission, "make_draws")
    if isinstance(flights, bool) or not isinstance(flights, (int, np.integer)) or not 1 <= flights <= LAST_FLIGHT:
        raise ValueError(f"make_draws: flights = {shown(flights)} must be a whole number from 1 to {LAST_FLIGHT}")
    check_numbers("make_draws", first, seed, "first")
    if not isinstance(sampling, str) or sampling not in SAMPLINGS:
        raise ValueError(f"make_draws: sampling = {shown(sampling)} must be one of {', '.join(SAMPLINGS)}")
    return draw_table(mission, seed, first, int(flights), sampling=sampling, total=int(flights) if sampling == "latin" else None)


def draw_table(mission: Mission, seed: int, first: int, count: int, *, sampling: str = "random", total: int | None = None) -> xr.Dataset:
    """Return the draws of flights first .. first + count - 1: one variable for each entry of `mission.disperse`.

    Dims: flight (coordinate: the flight's number), and what the quantity is drawn for one by one (stage, joint, rule, harness,
    canopy, fin), where there are more of them than one. Values are SI or rad; a "factor" multiplies the mission's quantity, an
    "offset" is added, a "value" replaces it. `failure_drawn` (flight, failure) is 1 where a failure was drawn to happen.

    sampling : "random", "latin" or "sobol", see `sixdof.draws.sampling`; total : flights of the whole Latin hypercube sample.
    The columns, which a Sobol sequence counts, are those of `quantities`, thing by thing, then the failures in the mission's order.
    Correlated groups are mixed after sampling, so the strata of a Latin hypercube hold for the first name of a group only.

    Raises ValueError for a name that cannot be dispersed, a spread that cannot be drawn, a draw that the mission cannot hold (with the
    flight's number), and what the sampling cannot make.
    """
    compile_first(mission)  # random numbers are the kernels' own
    dispersed = quantities(mission)
    columns = dispersed_columns(mission) + failure_columns(mission)
    u = mixed(mission, dispersed, shares(sampling, seed, first, count, columns, total))
    attrs = {"seed": str(operator.index(seed)), "sampling": sampling} | ({"total": operator.index(total)} if sampling == "latin" else {})
    return draws_from_shares(mission, u, np.arange(first, first + count)).assign_attrs(attrs)


def draws_from_shares(mission: Mission, u: np.ndarray, flights: np.ndarray) -> xr.Dataset:
    """Return the table of draws (see `draw_table`) that numbers on (0, 1), (flights, columns), make of the mission's spreads."""
    dispersed = quantities(mission)
    variables, coords = {}, {"flight": flight_coordinate(flights)}
    for each, start in zip(dispersed, _starts(dispersed)):
        values = _values(mission, each, u[:, start : start + len(each.things)])
        refuse_beyond(each.item, values, flights)
        dims = dims_of(each.item, each.things)
        if len(dims) == 2:
            coords[each.item.each] = coordinate(each.item.each, each.things)
        variables[each.name] = (dims, values if len(dims) == 2 else values[:, 0], attributes_of(each.item))
    if mission.failure:
        coords["failure"] = coordinate("failure", [failure.name for failure in mission.failure])
        variables[FAILED] = (("flight", "failure"), _happened(mission, u[:, u.shape[1] - len(mission.failure) :]), dict(OF_FAILED))
    return assembled(variables, coords)


def _starts(dispersed: list[Quantity]) -> list[int]:
    """Return the first column of each quantity."""
    return [sum(len(before.things) for before in dispersed[:i]) for i in range(len(dispersed))]


def mixed(mission: Mission, dispersed: list[Quantity], u: np.ndarray) -> np.ndarray:
    """Return the numbers on (0, 1) of all columns with those of correlated groups mixed, thing by thing."""
    start = {each.name: first for each, first in zip(dispersed, _starts(dispersed))}
    count = {each.name: len(each.things) for each in dispersed}
    for group in mission.correlation:
        names = things(mission, known_item(mission, group.of[0]).each)
        for k in range(count[group.of[0]]):
            if group.only and str(names[k]) not in group.only:
                continue
            columns = [start[name] + k for name in group.of]
            u[:, columns] = correlated(u[:, columns], group)
    return u


def _values(mission: Mission, each: Quantity, u: np.ndarray) -> np.ndarray:
    try:
        nominal = nominal_value(mission, each.item)
        values = _drawn(each.spread, u, nominal, each.item)
        for k, name in enumerate(each.things):
            if str(name) in each.spread.of:
                values[:, k] = _drawn(spread_of(each.spread, str(name)), u[:, k], nominal, each.item)
        return values
    except ValueError as error:
        raise ValueError(f'disperse."{each.name}": {error}') from None


def _drawn(spread: Spread, u: np.ndarray, nominal: float, item: Dispersible) -> np.ndarray:
    """Return the draws of an item; whole numbers of a uniform spread each have the same share of (0, 1)."""
    if item.whole and spread.kind == "uniform":
        return np.minimum(spread.low + np.floor(u * (spread.high - spread.low + 1.0)), spread.high)  # minimum: rounding
    return quantile(spread, u, nominal, item.least)


def refuse_beyond(item: Dispersible, values: np.ndarray, flights: np.ndarray) -> None:
    """Raise ValueError for the first draw of a path that its place in the mission cannot hold: limits have no holes, so ends will do."""
    if not isinstance(item, PathItem) or values.size == 0:
        return
    column = values.reshape(len(flights), -1)[:, 0]
    for row in (int(np.argmin(column)), int(np.argmax(column))):
        try:
            item.check(float(column[row]))
        except QuantityError as error:
            hint = f'cut the spread with low and high, or change its draw: disperse."{item.name}"'
            raise ValueError(f"flight {flights[row]}: {item.name} = {error.message}; {hint}") from None


def dispersed_columns(mission: Mission) -> list[tuple[str, int]]:
    """Return the columns of random numbers of the dispersed quantities, thing by thing."""
    return [(each.name, k) for each in quantities(mission) for k in range(len(each.things))]


def failure_columns(mission: Mission) -> list[tuple[str, int]]:
    """Return the columns of random numbers that say which failures happen: one stream each."""
    return [(f"failure {failure.name}", 0) for failure in mission.failure]


def drawn_failures(mission: Mission, seed: int, first: int, count: int) -> np.ndarray:
    """Return which of the mission's failures happen in each flight, int8 (count, failures): a draw of its own for each, plain random."""
    return _happened(mission, uniforms(seed, first, count, failure_columns(mission)))


def _happened(mission: Mission, u: np.ndarray) -> np.ndarray:
    return (u < np.array([failure.probability for failure in mission.failure])).astype(np.int8)
