"""The Dataset of an estimate."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr
from scipy.special import ndtri

from sixdof.postflight.compare.expected import expected
from sixdof.postflight.estimation.channels import at_times
from sixdof.postflight.estimation.fit import Fit, Problem
from sixdof.postflight.estimation.flown_noise import FLIGHTS, flown_moves, mean_square
from sixdof.postflight.estimation.noise import HUBER, whiteness
from sixdof.postflight.estimation.parameters import Parameter, values_of
from sixdof.postflight.estimation.problem import inverse
from sixdof.postflight.estimation.uncertainty import Known, known_of

INNER = 0.05, 0.95  # of what the air does to the vehicle, over Mach


def entries_of(problem: Problem, found: Fit, confidence: float) -> xr.Dataset:
    """Return the variables of an estimate, see `estimate`."""
    asked = np.array([one.asked for one in problem.parameters])
    noise = noise_flown(problem, found)
    known = known_of(problem.blocks, problem.prior, found.point, found.state.colour, asked, mean_square(noise), converged_at(problem, found))
    mach = mach_of(problem, found)
    ds = xr.Dataset(_of_parameters(problem, found, known, asked, confidence, noise) | _of_logs(problem, found, mach))
    ds = ds.assign(_of_directions(known)).assign(_of_turns(found)).assign(_of_carried(problem, found, known, asked))
    names = [one.label for one in problem.parameters if one.asked]
    coords: dict[str, Any] = {dim: (dim, names, {"long_name": "parameter"}) for dim in ("parameter", "parameter_2")}
    coords["log"] = ("log", [block.name for block in problem.blocks], {"long_name": "log of a flight"})
    coords["channel"] = ("channel", channel_names(problem), {"long_name": "column of a log"})
    history, noisy = found.state.history, int(noise.shape[0])
    return ds.assign_coords(coords).assign_attrs(
        converged=int(converged_at(problem, found)), noisy=noisy, turns=len(history), starts=found.costs.size, best_start=found.best
    )


def noise_flown(problem: Problem, found: Fit) -> np.ndarray:
    """Return what the flights' own noise moves a fit by, flown at its end, (flights, n) in z."""
    gain = inverse(found.point.information + problem.prior.precision)
    noisy = problem.flights.with_noise(found.state.z, FLIGHTS)
    return flown_moves(problem.blocks, found.point, found.state.colour, gain, noisy)


def converged_at(problem: Problem, found: Fit) -> bool:
    """Return whether a fit ended before its turns were used up."""
    return len(found.state.history) < problem.settings.most


def channel_names(problem: Problem) -> list[str]:
    """Return the columns of all logs, each once."""
    return list(dict.fromkeys(name for channels in problem.channels for name in channels.names))


def mach_of(problem: Problem, found: Fit) -> list[np.ndarray]:
    """Return the Mach number of the estimated flight at the instants of each log, (rows,)."""

    def read(number: int, flight: xr.Dataset, late: float) -> np.ndarray:
        log = at_times(problem.channels[number].log, late)
        empty = log[[]].assign(mach=("time", np.zeros(log.sizes["time"]))).assign_attrs(log.attrs)
        return expected(flight, empty)["mach"].values

    return problem.flights.each([(number, found.state.z) for number in range(len(problem.blocks))], read)


def _of_parameters(problem: Problem, found: Fit, known: Known, asked: np.ndarray, confidence: float, noise: np.ndarray) -> dict[str, Any]:
    own = [one for one in problem.parameters if one.asked]
    scale = np.array([one.scale for one in own])
    value = values_of(problem.parameters, found.state.z)[asked]
    covariance = known.covariance[np.ix_(asked, asked)] * np.outer(scale, scale)
    sd, before = np.sqrt(np.diag(covariance)), np.array([one.sd for one in own])
    reach = float(ndtri(0.5 + 0.5 * confidence)) * sd
    of = {
        "estimate": (value, "most probable value, SI"),
        "sd": (sd, "standard deviation after the flight, colour of the residuals counted, SI"),
        "low": (np.maximum(value - reach, [one.low for one in own]), "lower end of the interval, SI"),
        "high": (np.minimum(value + reach, [one.high for one in own]), "upper end of the interval, SI"),
        "flown_sd": (np.sqrt(np.diag(mean_square(noise)))[asked] * scale, "of sd, what turbulence and errors of the computer's sensors make, as flown, SI"),
        "prior_mean": (np.array([one.mean for one in own]), "mean before the flight, SI"),
        "prior_sd": (before, "standard deviation before the flight, SI; infinite where nothing was known"),
        "moved": ((value - [one.mean for one in own]) / before, "how far it moved from the mean before, in standard deviations of before"),
        "shrunk": (1.0 - (sd / before) ** 2, "1 - variance after over variance before"),
        "cramer_rao": (
            known.bound[asked] * scale,
            "Cramer-Rao bound without a prior of what was asked for, noise white, SI; infinite where the data do not tell it",
        ),
        "white_sd": (np.sqrt(np.diag(known.white))[asked] * scale, "standard deviation with the weights of the fit taken as they are, SI"),
    }
    found_entries: dict[str, Any] = {name: ("parameter", values, {"units": "SI", "long_name": text}) for name, (values, text) in of.items()}
    for name in ("moved", "shrunk"):
        found_entries[name][2]["units"] = "1"
    words = {"unit": [one.item.unit for one in own], "role": [one.item.role for one in own], "quantity": [one.name for one in own]}
    words |= {"thing": [one.thing for one in own], "only_in": [one.log for one in own], "meaning": [one.item.doc for one in own]}
    found_entries["daily"] = ("parameter", np.array([one.daily for one in own], dtype=np.int8), {"units": "1", "long_name": "1: of one flight's day or motor"})
    found_entries |= {name: ("parameter", np.array(values), {"long_name": name.replace("_", " ")}) for name, values in words.items()}
    pair = ("parameter", "parameter_2")
    found_entries["covariance"] = (pair, covariance, {"units": "SI", "long_name": "covariance after the flight"})
    found_entries["correlation"] = (pair, correlation_of(covariance), {"units": "1", "long_name": "correlation after the flight"})
    return found_entries


def correlation_of(covariance: np.ndarray) -> np.ndarray:
    """Return correlations, ones on the diagonal."""
    sd = np.sqrt(np.diag(covariance))
    found = covariance / np.maximum(np.outer(sd, sd), 1e-300)
    np.fill_diagonal(found, 1.0)
    return found


def _of_logs(problem: Problem, found: Fit, mach: list[np.ndarray]) -> dict[str, Any]:
    """Return noise and residuals of every column of every log, NaN where a log has no such column or no more rows."""
    names, count = channel_names(problem), max(block.values.shape[0] for block in problem.blocks)
    shape = (len(problem.blocks), len(names))
    one = {name: np.full(shape, np.nan) for name in ("noise", "known_error", "rms_before", "rms_after", "colour", "whiteness", "samples", "outliers")}
    each = {name: np.full((*shape, count), np.nan) for name in ("residual_before", "residual_after", "weight", "noise_factor")}
    times = {name: np.full((shape[0], count), np.nan) for name in ("sample_time", "sample_mach")}
    reach = {name: np.full(shape[0], np.nan) for name in ("mach_low", "mach_high", "mach_most")}
    for k, (channels, block, slopes) in enumerate(zip(problem.channels, problem.blocks, found.point.slopes, strict=True)):
        rows = block.values.shape[0]
        times["sample_time"][k, :rows], times["sample_mach"][k, :rows] = channels.log["time"].values, mach[k]
        for what, value in zip(reach, _reach(channels.log["time"].values, mach[k]), strict=True):
            reach[what][k] = value
        for c, name in enumerate(channels.names):
            at = names.index(name)
            before, after, weight = found.before[k][:, c], slopes.residual[:, c], found.point.weights[k][:, c]
            scale = problem.flights.scales[k][:, c]
            whole = {"residual_before": before * scale, "residual_after": after * scale, "weight": weight, "noise_factor": scale}
            for what, values in whole.items():
                each[what][k, at, :rows] = values
            rms = {"rms_before": _rms(before * scale), "rms_after": _rms(after * scale)}
            own = rms | {"noise": found.point.noise[k][c], "known_error": block.error[c]}
            own |= {"colour": found.state.colour[k][c], "whiteness": whiteness(after), "samples": np.isfinite(after).sum()}
            own["outliers"] = np.sum(np.isfinite(after) & (np.abs(after) > HUBER * found.point.noise[k][c]))
            for what, value in own.items():
                one[what][k, at] = value
    said = {
        "noise": "standard deviation that residuals are weighted by, where noise of the flight itself adds nothing, SI",
        "known_error": "standard deviation that the log states, SI",
        "rms_before": "root mean square residual at the means of before, SI",
        "rms_after": "root mean square residual of the estimate, SI",
        "colour": "samples that are worth one independent one",
        "whiteness": "probability that white residuals go together as much (Ljung and Box)",
        "samples": "readings compared",
        "outliers": f"readings farther than {HUBER:g} standard deviations from the estimate",
        "residual_before": "log less flight at the means of before, SI",
        "residual_after": "log less flight of the estimate, SI",
        "noise_factor": "by what noise of the flight itself (turbulence, errors of the computer's sensors) makes it larger",
        "weight": "weight of a reading, 1 if it is no outlier",
        "sample_time": "time since liftoff",
        "sample_mach": "Mach number of the estimate's flight",
        "mach_low": "Mach number below which a twentieth of the impulse of the air's forces falls",
        "mach_high": "Mach number above which a twentieth of the impulse of the air's forces falls",
        "mach_most": "largest Mach number of the estimate's flight at the instants compared",
    }
    units = dict.fromkeys(("colour", "whiteness", "samples", "outliers", "weight", "noise_factor", "sample_mach", *reach), "1") | {"sample_time": "s"}
    dims = (
        dict.fromkeys(one, ("log", "channel"))
        | dict.fromkeys(each, ("log", "channel", "sample"))
        | dict.fromkeys(times, ("log", "sample"))
        | dict.fromkeys(reach, ("log",))
    )
    return {name: (dims[name], values, {"units": units.get(name, "SI"), "long_name": said[name]}) for name, values in (one | each | times | reach).items()}


def _reach(time: np.ndarray, mach: np.ndarray) -> tuple[float, float, float]:
    """Return the Mach numbers between which the inner nine tenths of the air's forces act, by Mach squared times time, and the largest."""
    known = np.isfinite(mach)
    if known.sum() < 2:
        return np.nan, np.nan, np.nan
    at, share = mach[known], mach[known] ** 2 * np.gradient(time[known])
    order = np.argsort(at)
    total = np.cumsum(share[order])
    low, high = (at[order][min(int(np.searchsorted(total, part * total[-1])), at.size - 1)] for part in INNER)
    return float(low), float(high), float(at.max())


def _rms(values: np.ndarray) -> float:
    known = values[np.isfinite(values)]
    return float(np.sqrt(np.mean(known**2))) if known.size else np.nan


def _of_directions(known: Known) -> dict[str, Any]:
    return {
        "direction_part": (("direction", "parameter"), known.directions, {"units": "1", "long_name": "unit vector, in standard deviations of before"}),
        "direction_information": (
            "direction",
            known.information,
            {"units": "1", "long_name": "information of the data over that of before; below 1 they say less"},
        ),
    }


def _of_turns(found: Fit) -> dict[str, Any]:
    cost, step = np.array(found.state.history).T
    return {
        "turn_cost": ("turn", cost, {"units": "1", "long_name": "minus the logarithm of the posterior density, up to a constant"}),
        "turn_step": ("turn", step, {"units": "1", "long_name": "step of the turn, in standard deviations of the estimate"}),
        "start_cost": ("start", found.costs, {"units": "1", "long_name": "minus the logarithm of the posterior density where each start came to"}),
    }


def _of_carried(problem: Problem, found: Fit, known: Known, asked: np.ndarray) -> dict[str, Any]:
    """Return what was carried along: how far it moved, how much it shrank, how it goes together with what was asked for."""
    others: list[Parameter] = [one for one in problem.parameters if not one.asked]
    if not others:
        return {}
    sd, scale = np.sqrt(np.diag(known.covariance)), np.array([one.scale for one in others])
    together = correlation_of(known.covariance)
    of = {
        "estimate": (values_of(problem.parameters, found.state.z)[~asked], "SI", "most probable value, SI"),
        "sd": (sd[~asked] * scale, "SI", "standard deviation after the flight, SI"),
        "moved": (found.state.z[~asked], "1", "how far it moved, in standard deviations of before"),
        "shrunk": (1.0 - sd[~asked] ** 2, "1", "1 - variance after over variance before"),
        "daily": (np.array([one.daily for one in others], dtype=np.int8), "1", "1: of one flight's day or motor"),
    }
    entries: dict[str, Any] = {f"carried_{name}": ("carried", values, {"units": units, "long_name": text}) for name, (values, units, text) in of.items()}
    words = {"quantity": [one.name for one in others], "thing": [one.thing for one in others], "only_in": [one.log for one in others]}
    entries |= {f"carried_{name}": ("carried", np.array(values), {"long_name": name.replace("_", " ")}) for name, values in words.items()}
    about = {"units": "1", "long_name": "correlation after the flight"}
    labels = [one.label for one in others]
    return entries | {
        "carried": ("carried", labels, {"long_name": "what was estimated along with it"}),
        "carried_2": ("carried_2", labels, {"long_name": "what was estimated along with it"}),
        "carried_correlation": (("parameter", "carried"), together[np.ix_(asked, ~asked)], about),
        "carried_together": (("carried", "carried_2"), together[np.ix_(~asked, ~asked)], about),
    }
