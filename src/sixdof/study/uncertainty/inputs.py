"""What an ensemble was given and what came of it: the inputs one by one, and the outcomes that vary."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.study.reading.result import need_ensemble, outcomes

TOGETHER = 0.2  # correlation of two inputs, beyond what chance makes, from which their shares cannot be told apart
CHANCE = 5.0  # standard errors


def inputs_of(ds: xr.Dataset) -> xr.Dataset:
    """Return the drawn inputs of an ensemble, one variable (flight,) each; SI, rad.

    What is drawn stage by stage, fin by fin, ... gives an input for each: "motor_impulse[whinchat]". Inputs that are the same
    in all flights, or unknown in some, are omitted; the attribute `left_out` names them. Failures that were drawn are no
    inputs: choose a branch first, as in `ds.isel(flight=ds.branch == "nominal")`.

    Raises
    ------
    ValueError
        For a single flight, and where no input varies.
    """
    need_ensemble(ds, "inputs_of")
    inputs, left_out = {}, []
    for name, variable in _drawn(ds):
        values = np.asarray(variable.values, dtype=float)
        if not np.isfinite(values).all():
            left_out += [f"{name} (unknown in some flights)"] if np.isfinite(values).any() else []
        elif not varies(values):
            left_out.append(f"{name} (the same in all flights)")
        else:
            inputs[name] = ("flight", values, dict(variable.attrs))
    if not inputs:
        raise ValueError("inputs_of finds no drawn input that varies from flight to flight; disperse something in the mission")
    flight = {"flight": ds["flight"]} if "flight" in ds.coords else {}
    return xr.Dataset(inputs, flight, {"left_out": ", ".join(left_out)})


def _drawn(ds: xr.Dataset):
    """Yield (name, variable (flight,)) of every drawn input: of each thing it is drawn for, where there are several."""
    for name, variable in ds.data_vars.items():
        if "role" not in variable.attrs or "flight" not in variable.dims:
            continue
        more = [dim for dim in variable.dims if dim != "flight"]
        if not more:
            yield str(name), variable
        elif len(more) == 1:
            labels = ds[more[0]].values if more[0] in ds.coords else range(ds.sizes[more[0]])
            for k, label in enumerate(labels):
                yield f"{name}[{label}]", variable.isel({more[0]: k}, drop=True)
        else:
            raise ValueError(f"the input {name} has dims {', '.join(map(str, more))} besides flight; choose one ensemble first")


def varies(values: np.ndarray) -> bool:
    return bool(np.ptp(values) > 1e-12 * np.abs(values).max())


def is_direction(variable: xr.DataArray) -> bool:
    """Return whether an input is a direction all round the circle: one in rad that replaces a value, not a small offset."""
    return variable.attrs.get("role") == "value" and variable.attrs.get("units") == "rad"


def about_mean(angle: np.ndarray) -> tuple[np.ndarray, float]:
    """Return directions as angles from their circular mean, in -pi..pi, and that mean, rad."""
    mean = float(np.angle(np.exp(1j * angle).mean()))
    return np.angle(np.exp(1j * (angle - mean))), mean


def outcome_of(ds: xr.Dataset, name: str, who: str) -> np.ndarray:
    """Return an outcome of every flight, (flights,), NaN where it has none."""
    need_ensemble(ds, who, name, "status")
    if ds[name].dims != ("flight",):
        raise ValueError(f"{who} takes one number per flight, and {name} has dims {', '.join(map(str, ds[name].dims))}")
    values = outcomes(ds, name)
    known = values[np.isfinite(values)]
    if not known.size or not varies(known):
        fault = "is the same" if known.size else "has no value"
        raise ValueError(f"{who} has nothing to explain: {name} {fault} in all flights")
    return np.where(np.isfinite(values), values, np.nan)


def varying_outcomes(ds: xr.Dataset) -> list[str]:
    """Return the names of all numbers per flight that are not inputs and not the same in all flights."""
    need_ensemble(ds, "regression_sensitivity", "status")
    names = []
    for name, variable in ds.data_vars.items():
        if variable.dims == ("flight",) and variable.dtype.kind == "f" and "role" not in variable.attrs:
            known = outcomes(ds, name)
            known = known[np.isfinite(known)]
            names += [str(name)] if known.size and varies(known) else []
    if not names:
        raise ValueError("regression_sensitivity finds no outcome that varies from flight to flight")
    return names


def correlated_inputs(inputs: xr.Dataset) -> list[str]:
    names, n = list(inputs.data_vars), inputs.sizes["flight"]
    straight = [about_mean(v.values)[0] if is_direction(v) else v.values for v in inputs.data_vars.values()]
    r = np.atleast_2d(np.corrcoef(straight)) - np.eye(len(names))
    sure = np.abs(np.arctanh(np.clip(r, -1.0 + 1e-15, 1.0 - 1e-15))) * np.sqrt(max(n - 3, 0)) > CHANCE  # R. A. Fisher (1915)
    return [f"{names[i]} and {names[j]} {r[i, j]:+.2f}" for i, j in np.argwhere(np.triu(sure & (np.abs(r) > TOGETHER)))]
