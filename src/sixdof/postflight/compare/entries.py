"""The Dataset of a comparison, put together from what each log says."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import xarray as xr

from sixdof.postflight.compare.bands import LEVELS, SHARES
from sixdof.postflight.compare.causes import implausible
from sixdof.postflight.compare.patterns import Inputs, unit_of_scale
from sixdof.postflight.compare.scalars import units_of
from sixdof.postflight.compare.validity import INCIDENCE_EDGES, MACH_EDGES
from sixdof.postflight.compare.weighing import Weighed

OWN = "as channel_units"


def entries_of(found: list[Weighed], inputs: Inputs, alpha: float) -> xr.Dataset:
    """Return the Dataset of all logs (see `compare_log`)."""
    ds = xr.Dataset(coords=_coords(found))
    ds = ds.assign(_curves(found) | _covered(found) | _reached(found, alpha) | _mapped(found))
    ds = ds.merge(_candidates(found, inputs)).merge(_scalars(found))
    return ds.merge(_told(found, inputs)) if inputs.names else ds


def _names(found: list[Weighed]) -> list[str]:
    return [one.reader.name or "log" for one in found]


def _coords(found: list[Weighed]) -> dict[str, Any]:
    channels = [(one.reader.name or "log", channel) for one in found for channel in one.reader.channels]
    segments = _segments(found)
    groups = {segment.name: segment.group for one in found for segment in one.segments}
    return {
        "channel": ("channel", [channel.name for _, channel in channels], {"long_name": "variable of the log"}),
        "channel_units": ("channel", [channel.units for _, channel in channels], {"long_name": "units of the channel"}),
        "channel_log": ("channel", [name for name, _ in channels], {"long_name": "log that holds the channel"}),
        "channel_words": ("channel", [channel.words for _, channel in channels], {"long_name": "what the channel is"}),
        "time": ("time", np.unique(np.concatenate([one.reader.time for one in found])), {"units": "s", "long_name": "time since liftoff"}),
        "share": ("share", list(SHARES), {"units": "1", "long_name": "quantile of the flights that an edge of the band is"}),
        "level": ("level", list(LEVELS), {"units": "1", "long_name": "level of a band"}),
        "segment": ("segment", segments, {"long_name": "stretch of the flight"}),
        "segment_group": ("segment", [groups[name] for name in segments], {"long_name": "what stretches are told apart by"}),
        "log": ("log", _names(found), {"long_name": "log"}),
        "mach_bin": ("mach_bin", list(MACH_EDGES[:-1]), {"units": "1", "long_name": "Mach number from"}),
        "incidence_bin": ("incidence_bin", np.radians(INCIDENCE_EDGES[:-1]), {"units": "rad", "long_name": "incidence from"}),
    }


def _segments(found: list[Weighed]) -> list[str]:
    return list(dict.fromkeys(segment.name for one in found for segment in one.segments))


# ---------------------------------------------------------------- along time


def _curves(found: list[Weighed]) -> dict[str, Any]:
    time = np.unique(np.concatenate([one.reader.time for one in found]))

    def along(values: Callable[[Weighed], np.ndarray]) -> np.ndarray:
        """Return (..., channel, time) of all logs on their common times."""
        parts = []
        for one in found:
            own = values(one)
            part = np.full((*own.shape[:-1], time.size), np.nan)
            part[..., np.searchsorted(time, one.reader.time)] = own
            parts.append(part)
        return np.concatenate(parts, axis=-2)

    middle = SHARES.index(0.5)
    residual = along(lambda one: one.logged - one.band[middle])
    return {
        "logged": (("channel", "time"), along(lambda one: one.logged), {"units": OWN, "long_name": "log"}),
        "band": (("channel", "share", "time"), np.swapaxes(along(lambda one: one.band), 0, 1), {"units": OWN, "long_name": "quantile of the flights"}),
        "residual": (("channel", "time"), residual, {"units": OWN, "long_name": "log less the flights' median"}),
        "standardised_residual": (
            ("channel", "time"),
            residual / along(lambda one: one.pool.spread),
            {"units": "1", "long_name": "residual over the flights' standard deviation"},
        ),
        "rank": (("channel", "time"), along(lambda one: one.rank), {"units": "1", "long_name": "rank of the log among the flights, 0 below all, 1 above all"}),
        "mach_at": (("log", "time"), _going(found, time, "mach"), {"units": "1", "long_name": "Mach number of the log, or of most flights"}),
        "incidence_at": (("log", "time"), _going(found, time, "incidence"), {"units": "rad", "long_name": "incidence of the log, or of most flights"}),
    }


def _going(found: list[Weighed], time: np.ndarray, name: str) -> np.ndarray:
    out = np.full((len(found), time.size), np.nan)
    for k, one in enumerate(found):
        out[k, np.searchsorted(time, one.reader.time)] = getattr(one.going, name)
    return out


# ---------------------------------------------------------------- by stretch


_COVERED = {
    "coverage": "share of the log's instants inside the band",
    "coverage_claimed": "share that the band claims",
    "coverage_low": "coverage of drawn flights, 5 % below",
    "coverage_high": "coverage of drawn flights, 95 % below",
    "instants": "instants compared",
    "effective_instants": "independent instants that the mean over them is worth",
    "bias": "mean standardised deviation of the log",
    "rms": "root mean square standardised deviation of the log",
    "p_value": "share of curves that leave the others as far as the log does",
    "p_adjusted": "share of curves whose farthest channel and stretch is as far",
}


def _covered(found: list[Weighed]) -> dict[str, Any]:
    names = _segments(found)
    entries = {}
    for name, words in _COVERED.items():
        parts = []
        for one in found:
            own = one.covered[name]
            blank = 0 if name == "instants" else np.nan
            part = np.full((own.shape[0], len(names), *own.shape[2:]), blank, dtype=own.dtype)
            part[:, [names.index(segment.name) for segment in one.segments]] = own
            parts.append(part)
        dims = ("channel", "segment", "level") if parts[0].ndim == 3 else ("channel", "segment")
        entries[name] = (dims, np.concatenate(parts), {"units": "1", "long_name": words})
    return entries


def _reached(found: list[Weighed], alpha: float) -> dict[str, Any]:
    def of_logs(values, units: str, words: str, angle: bool = False):
        return ("log", np.radians(values) if angle else np.array(values), {"units": units, "long_name": words})

    def of_channels(pick: Callable[[Weighed], list[float]], units: str, words: str, angle: bool = False):
        values = np.array([value for one in found for value in pick(one)])
        return ("channel", np.radians(values) if angle else values, {"units": units, "long_name": words})

    top_mach, top_incidence = "largest Mach number of the data", "largest incidence of the data, climbing"
    to_mach, to_incidence = "Mach number to which the model holds", "incidence to which the model holds"
    return {
        "log_p_value": of_logs([one.p_value for one in found], "1", "share of flights whose farthest variable is as far as the log's"),
        "log_holds": of_logs([int(one.p_value >= alpha) for one in found], "1", "whether the model holds in this log"),
        "log_mach": of_logs([one.mach.data for one in found], "1", top_mach),
        "log_holds_to_mach": of_logs([one.mach.holds for one in found], "1", to_mach),
        "log_incidence": of_logs([one.incidence.data for one in found], "rad", top_incidence, True),
        "log_holds_to_incidence": of_logs([one.incidence.holds for one in found], "rad", to_incidence, True),
        "channel_mach": of_channels(lambda one: [r.data for r in one.channel_mach], "1", top_mach),
        "channel_holds_to_mach": of_channels(lambda one: [r.holds for r in one.channel_mach], "1", to_mach),
        "channel_incidence": of_channels(lambda one: [r.data for r in one.channel_incidence], "rad", top_incidence, True),
        "channel_holds_to_incidence": of_channels(lambda one: [r.holds for r in one.channel_incidence], "rad", to_incidence, True),
    }


def _mapped(found: list[Weighed]) -> dict[str, Any]:
    words = {"instants": "instants with data", "inside": "share of values inside the 90 % band", "p_value": "p of all variables together"}
    dims = ("log", "mach_bin", "incidence_bin")
    return {f"map_{name}": (dims, np.array([one.map[name] for one in found]), {"units": "1", "long_name": text}) for name, text in words.items()}


# ---------------------------------------------------------------- causes, single numbers, inputs


def _candidates(found: list[Weighed], inputs: Inputs) -> xr.Dataset:
    rows = []
    for log, one in zip(_names(found), found, strict=True):
        rows += [(log, *pair) for pair in zip(one.causes, one.after, strict=True)]
    if not rows:
        return xr.Dataset()
    columns = [_candidate(log, cause, after, inputs) for log, cause, after in rows]
    entries = {}
    for name, (units, words) in _CANDIDATE.items():
        entries[f"candidate_{name}"] = ("candidate", np.array([column[name] for column in columns]), {"long_name": words} | ({"units": units} if units else {}))
    names = ("candidate", [column["name"] for column in columns], {"long_name": "what to look at, the best explanation first, then the best of what it leaves"})
    return xr.Dataset(entries, {"candidate": names})


_CANDIDATE = {
    "log": ("", "log whose residual it explains"),
    "kind": ("", "input (dispersed), clock, sensor or pressure"),
    "gain": ("1", "how much it explains, -2 log likelihood"),
    "amount": ("as candidate_units", "amount that explains the residual best; of an input the change of its drawn value or factor"),
    "amount_error": ("as candidate_units", "standard error of the amount"),
    "units": ("", "units of the amount"),
    "sd": ("1", "amount in standard deviations of the draws"),
    "implausibility": ("1", "probability of a draw as far out, both sides"),
    "p_after": ("1", "p of the log with it and those before it taken out"),
    "alike": ("", "other explanations that this log cannot tell it from"),
    "remark": ("", "what it looks like"),
}


def _candidate(log: str, cause, after: float, inputs: Inputs) -> dict[str, Any]:
    one, amount, error, sd, units = cause.pattern, cause.amount, cause.error, math.nan, cause.pattern.units
    if one.kind == "input":
        k = inputs.names.index(one.name)
        sd, amount, error, units = amount, amount * inputs.sd[k], error * inputs.sd[k], inputs.units[k]
    looks_like = unit_of_scale(amount, error, one.of_units) if one.kind == "sensor" and one.name.endswith("its scale") else ""
    said = {"log": log, "name": one.name, "kind": one.kind, "gain": cause.gain, "amount": amount, "amount_error": error, "units": units}
    return said | {"sd": sd, "implausibility": implausible(cause), "p_after": after, "alike": cause.alike, "remark": looks_like}


def _scalars(found: list[Weighed]) -> xr.Dataset:
    rows = [(name, *pair) for one in found for name, pair in one.scalars.items() if np.isfinite(pair[0]) and np.isfinite(pair[1]).sum() >= 3]
    if not rows:
        return xr.Dataset()
    ranks, p, quantiles = [], [], []
    for _, own, drawn in rows:
        known = drawn[np.isfinite(drawn)]
        below, above = int((known < own).sum()), int((known > own).sum())
        ranks.append((below + 0.5 * (known.size - below - above) + 0.5) / (known.size + 1))
        p.append(min(2.0 * (min(known.size - below, known.size - above) + 1) / (known.size + 1), 1.0))
        quantiles.append(np.quantile(known, (0.05, 0.5, 0.95)))
    units = [units_of(name.rpartition(": ")[2]) for name, *_ in rows]
    low, middle, high = np.array(quantiles).T
    own = {"units": "as scalar_units"}
    return xr.Dataset(
        {
            "scalar_logged": ("scalar", [value for _, value, _ in rows], own | {"long_name": "of the log"}),
            "scalar_low": ("scalar", low, own | {"long_name": "5 % of the flights below"}),
            "scalar_median": ("scalar", middle, own | {"long_name": "half of the flights below"}),
            "scalar_high": ("scalar", high, own | {"long_name": "95 % of the flights below"}),
            "scalar_rank": ("scalar", ranks, {"units": "1", "long_name": "rank of the log among the flights, 0 below all, 1 above all"}),
            "scalar_p_value": ("scalar", p, {"units": "1", "long_name": "share of flights as far out, both sides"}),
        },
        {"scalar": ("scalar", [name for name, *_ in rows], {"long_name": "single number"}), "scalar_units": ("scalar", units, {"long_name": "units"})},
    )


def _told(found: list[Weighed], inputs: Inputs) -> xr.Dataset:
    words = {"units": "1", "long_name": "standard deviation of the input that the log leaves, over that of its draws"}
    return xr.Dataset(
        {"told": (("log", "input"), np.array([one.told for one in found]), words)},
        {"log": _names(found), "input": ("input", inputs.names, {"long_name": "dispersed input"})},
    )
