"""One flight: from a Mission to a Dataset."""

from __future__ import annotations

import sys
import warnings
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


def fly(mission: Mission, *, flight: int | None = None, seed: int = 0, guidance=None, control=None) -> xr.Dataset:
    """Fly a mission once and return everything about it.

    Parameters
    ----------
    mission : Mission
    flight : int or None
        None flies the mission as it is written. A number flies that flight of `disperse(mission, ..., seed=seed)` again,
        alone, bit for bit.
    seed : int
        The ensemble's seed; used only with `flight`.
    guidance, control : function, Law, CLaw or None
        Laws of your own in place of the built-in ones: see `sixdof.Law`. Plain Python works (slowly, with tracebacks and debuggers),
        so do functions compiled by `numba.njit` and C functions, with the same bits.

    Returns
    -------
    Dataset
        Dims time, axis, quaternion, fin, event; see `sixdof.results.REGISTRY` for every variable.

    Raises
    ------
    FlightError
        If the motion diverged. Other ends that are not a landing give a warning and the flight up to there.
    LawError, or what the law raised
        If a law of your own cannot be used or fails in flight.
    """
    from sixdof.core import flight as core
    from sixdof.ensemble.draws import draw_table, nominal_draw, pack_draws, unpack_draw
    from sixdof.laws import bind
    from sixdof.model import flight_model
    from sixdof.results import flight_dataset

    model = flight_model(mission)
    attrs = {}
    draw = nominal_draw(mission)
    if flight is not None:
        draw = unpack_draw(pack_draws(mission, draw_table(mission, seed, flight, 1))[0])
        attrs = {"seed": str(seed), "flight": int(flight)}
    log = core.make_log(model, log_rows(model))
    events, summary = core.make_events(model), core.make_summary()
    laws = bind(guidance, control)
    work = laws.make_work(model)
    with announced_compilation():
        code, time, rows = core.fly(model, draw, work, log, events, summary)
    if code == Status.LAW_FAILED:
        laws.report(work)
    ds = flight_dataset(mission, log[:rows], events, summary, work.passed, code, **attrs)
    status = Status(code)
    if status is Status.DIVERGED:
        raise FlightError(f"after {time:.2f} s: {status.sentence}", ds)
    if status is not Status.LANDED:
        warnings.warn(f"after {time:.2f} s: {status.sentence}", stacklevel=2)
    return ds


def log_rows(model) -> int:
    """Return how many rows the log of the longest flight can have."""
    return int(np.ceil(model.time_limit / model.computer.period / model.log_every)) + 2
