"""Flight logs of flights whose truth is known: what a flight of given parameters would have logged, with noise added."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.postflight.compare.expected import expected
from sixdof.postflight.estimation.flown import Fitted, fitted, table_of
from sixdof.postflight.estimation.parameters import parameters_of
from sixdof.study.sweep.timelines import each_draw

ERRORS = {"height": 1.0, "velocity": 0.3}


def empty_log(time: np.ndarray, flight: xr.Dataset, names) -> xr.Dataset:
    """Return a log with room for some variables at instants (s since liftoff)."""
    variables = {name: (flight[name].dims, np.zeros((time.size, *flight[name].shape[1:]))) for name in names}
    return xr.Dataset(variables, {"time": time}, {"kind": "flight log", "stage": "", "liftoff_time": 0.0})


def true_flight(mission, truth: dict[str, float]) -> tuple[Fitted, xr.Dataset]:
    """Return a mission as the fit flies it, and the flight of it with parameters at their true values."""
    parameters = parameters_of(mission, list(truth), {name: [1.0, 0.1] for name in truth if name not in mission.disperse} or None, None, ["log"], "test")
    own = fitted(mission, parameters)
    z = np.array([(value - one.mean) / one.scale for value, one in zip(truth.values(), parameters, strict=True)])
    return own, each_draw(own.mission, table_of(own, parameters, "log", [z]), lambda flight: flight)[0]


def noisy_log(flight: xr.Dataset, time: np.ndarray, seed: int, errors=ERRORS, stated=("height",)) -> xr.Dataset:
    """Return what a flight would have logged, with white noise of these standard deviations; of those `stated` the log says them."""
    log = empty_log(time, flight, errors)
    answered, rng = expected(flight, log), np.random.default_rng(seed)
    for name, sd in errors.items():
        about = {"error": sd} if name in stated else {}
        log[name] = (log[name].dims, answered[name].values + sd * rng.standard_normal(answered[name].shape), about)
    return log
