"""One flight: from a Mission to a Dataset."""

from __future__ import annotations

import sys
import warnings
from collections.abc import Sequence
from contextlib import contextmanager

import numpy as np
import xarray as xr

from sixdof._jit import is_compiled_here
from sixdof.mission.schema import Mission
from sixdof.status import FlightError, Status


@contextmanager
def announced_compilation():
    """Tell a person why the first flight after an installation or an upgrade takes so long."""
    if not is_compiled_here():
        print("sixdof: compiling the flight kernels, once for this version (about a minute) ...", file=sys.stderr)
    yield


def fly(
    mission: Mission,
    *,
    flight: int | None = None,
    seed: int = 0,
    failures: Sequence[str] = (),
    guidance=None,
    control=None,
) -> xr.Dataset:
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
        Laws of your own in place of the built-in ones: see `sixdof.Law`. Plain Python works (slowly, with tracebacks and debuggers),
        so do functions compiled by `numba.njit` and C functions, with the same bits.

    Returns
    -------
    Dataset
        Dims time, axis, quaternion, fin, body, event, joint, rule, canopy; see `sixdof.results.REGISTRY` for every variable.

    Raises
    ------
    FlightError
        If the motion diverged. Other ends that are not a landing give a warning and the flight up to there.
    ValueError
        If `failures` names something the mission does not.
    LawError, or what the law raised
        If a law of your own cannot be used or fails in flight.
    """
    from sixdof.ensemble.draws import draw_table, nominal_draw, one_draw, pack_draws
    from sixdof.laws import bind
    from sixdof.legs import Flier, Plan
    from sixdof.results import flight_dataset

    attrs = {}
    draw = nominal_draw(mission)
    if flight is not None:
        draw = one_draw(pack_draws(mission, draw_table(mission, seed, flight, 1)), 0)
        attrs = {"seed": str(seed), "flight": int(flight)}
    draw = draw._replace(failure=forced_failures(mission, draw.failure, failures))
    laws = bind(guidance, control)
    plan = Plan(mission)
    flier = Flier(plan, laws, log_rows(plan.model(0, plan.count - 1)))
    with announced_compilation():
        flown = flier.fly(draw)
    if flown.status == Status.LAW_FAILED:
        laws.report(flier.failed)
    ds = flight_dataset(mission, flown, **attrs)
    status = Status(flown.status)
    if status is Status.DIVERGED:
        raise FlightError(f"after {flown.time:.2f} s: {status.sentence}", ds)
    if status is not Status.LANDED:
        warnings.warn(f"after {flown.time:.2f} s: {status.sentence}", stacklevel=2)
    return ds


def forced_failures(mission: Mission, drawn: np.ndarray, failures: Sequence[str]) -> np.ndarray:
    """Return the failures of a flight with those added that the caller asks for."""
    names = [failure.name for failure in mission.failure]
    happens = drawn.copy()
    for name in [failures] if isinstance(failures, str) else failures:
        if name not in names:
            raise ValueError(
                f"failures: {name!r} is not one of this mission's [[failure]] entries; it has {', '.join(map(repr, names)) or 'none'}"
            )
        happens[names.index(name)] = 1.0
    return happens


def log_rows(model) -> int:
    """Return how many rows the log of the longest flight can have."""
    return int(np.ceil(model.time_limit / model.computer.period / model.log_every)) + 2
