"""Sentences about an estimate: amounts with their units, what the logs cannot separate, which stretches stand out."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.postflight.estimation.noise import HUBER

SHOWN = {"rad": (math.degrees(1.0), "deg"), "m": (1e3, "mm"), "rad/s": (math.degrees(1.0), "deg/s")}  # unit -> factor and unit on a page
UNSEEN = 1.0  # information of the data over that of before, below which the prior knows more
TOGETHER = 0.9  # correlation from which on two are told better together than apart
CARRIED = 0.7  # correlation with something not asked for, from which on it is named
PART = 0.3  # of a direction, from which on a parameter belongs to it
APART = 0.3  # s between two stretches of outliers, below which they are one
FACTORS = "1"


def amount(value: float, sd: float, unit: str) -> str:
    """Return "5.26 +- 0.12 m/s": a value and its standard deviation, two of whose digits are told, with the unit."""
    factor, name = SHOWN.get(unit, (1.0, "" if unit == FACTORS else unit))
    if unit == "m" and abs(value) >= 2.0:
        factor, name = 1.0, "m"
    size = abs(sd) * factor
    digits = int(np.clip(1 - math.floor(math.log10(size)), 0, 6)) if math.isfinite(size) and size > 0.0 else 3
    return f"{value * factor:z.{digits}f} +- {size:.{digits}f}" + (f" {name}" if name else "")


def estimated(one: xr.Dataset) -> str:
    """Return "1.12 +- 0.03 times the mission's (before 1.00 +- 0.08)" of one parameter."""
    unit, before = str(one["unit"].item()), float(one["prior_sd"])
    value = amount(float(one["estimate"]), float(one["sd"]), unit)
    kind = {"factor": " times the mission's", "offset": " added to the mission's", "value": ""}[str(one["role"].item())]
    known = amount(float(one["prior_mean"]), before, unit) if math.isfinite(before) else "not known"
    return f"{value}{kind} (before: {known})"


def learned(one: xr.Dataset) -> str:
    """Return how much a log says about one parameter, in words."""
    shrunk = float(one["shrunk"])
    if not math.isfinite(shrunk):
        return "nothing known before" if float(one["sd"]) < math.inf else "nothing"
    return "next to nothing" if shrunk < 0.1 else "a little" if shrunk < 0.5 else "a good deal" if shrunk < 0.9 else "nearly all"


def inseparable(ds: xr.Dataset) -> Iterator[str]:
    """Yield what the logs cannot separate, most hidden first; then what goes together, and what else it hangs on."""
    names = [str(name) for name in ds["parameter"].values]
    said: set[frozenset[str]] = set()
    for direction, information in zip(ds["direction_part"].values, ds["direction_information"].values, strict=True):
        if information < UNSEEN:
            parts = [k for k in np.argsort(-np.abs(direction)) if abs(direction[k]) >= PART]
            said.add(frozenset(names[k] for k in parts))
            yield hidden(ds, direction, parts)
    for a in range(len(names)):
        for b in range(a):
            rho = float(ds["correlation"][a, b])
            same = ds["quantity"].values[a] == ds["quantity"].values[b]
            if abs(rho) >= TOGETHER and not same and frozenset((names[a], names[b])) not in said:
                yield f"{names[b]} and {names[a]} are hard to tell apart (correlation {rho:+.2f}): {_what(ds, a, b, rho)} is known better than either."
    yield from hangs_on(ds)


def hidden(ds: xr.Dataset, direction: np.ndarray, parts: list[int]) -> str:
    """Return the sentence of a direction that the data see less of than was known before."""
    names = [str(ds["parameter"].values[k]) for k in parts]
    if len(parts) == 1:
        return f"{names[0]} cannot be told from {logs_word(ds)}: more was known before the flight than the data say."
    moves = " with ".join(f"{_step(ds, k, direction[k])} of {name}" for k, name in zip(parts, names, strict=True))
    heading = f"{' and '.join(names) if len(names) == 2 else ', '.join(names)} cannot be told apart by {logs_word(ds)}"
    if len(parts) == 2:
        return f"{heading}: {moves} changes next to nothing; only {_what(ds, *parts, float(direction[parts[0]] * direction[parts[1]]))} is known."
    return f"{heading}: {moves} changes next to nothing."


def logs_word(ds: xr.Dataset) -> str:
    """Return "this log" or "these logs"."""
    return "this log" if ds.sizes["log"] == 1 else "these logs"


def _what(ds: xr.Dataset, a: int, b: int, sign: float) -> str:
    """Return what is known of two together, by the sign with which they hide each other: of factors that both rise unseen, their ratio."""
    factors = all(str(ds["role"].values[k]) == "factor" for k in (a, b))
    if sign > 0.0:
        return "their ratio" if factors else "their difference, each in its measure,"
    return "their product" if factors else "their sum, each in its measure,"


def _step(ds: xr.Dataset, k: int, part: float) -> str:
    """Return a move along a direction of one prior standard deviation, for one parameter: "+5.6 %", "-3 mm"."""
    before = float(ds["prior_sd"][k])
    size = part * before if math.isfinite(before) else part * max(float(ds["sd"][k]), 1e-12)
    unit = str(ds["unit"].values[k])
    if unit == FACTORS:
        return f"{100.0 * size:+.2g} %"
    factor, name = SHOWN.get(unit, (1.0, unit))
    return f"{size * factor:+.2g} {name}"


def hangs_on(ds: xr.Dataset) -> Iterator[str]:
    """Yield which quantities that were not asked for a parameter hangs on."""
    if "carried" not in ds.dims:
        return
    for k, name in enumerate(ds["parameter"].values):
        together = ds["carried_correlation"].values[k]
        others = [(float(together[j]), str(ds["carried"].values[j])) for j in np.argsort(-np.abs(together)) if abs(together[j]) >= CARRIED]
        if others:
            listed = ", ".join(f"{other} ({rho:+.2f})" for rho, other in others[:3])
            yield f"{name} hangs on what was not asked for: {listed}. Measure that, and {name} is known better."


# ---------------------------------------------------------------- stretches of a log


def stretches(ds: xr.Dataset) -> list[tuple[str, str, float, float, int, float]]:
    """Return where readings stand out: log, channel, first and last time (s), how many, the farthest in standard deviations; most readings first."""
    found = []
    for log in ds["log"].values:
        one = ds.sel(log=log)
        time = one["sample_time"].values
        for channel in ds["channel"].values:
            own = one.sel(channel=channel)
            size = np.abs(own["residual_after"].values) / (float(own["noise"]) * own["noise_factor"].values)
            rows = np.flatnonzero(np.nan_to_num(size) > HUBER)
            if rows.size:
                runs = np.split(rows, np.flatnonzero(np.diff(time[rows]) > APART) + 1)
                found += [(str(log), str(channel), float(time[run[0]]), float(time[run[-1]]), run.size, float(size[run].max())) for run in runs]
    return sorted(found, key=lambda one: (-one[4], -one[5]))


def expected_outliers(ds: xr.Dataset) -> float:
    """Return how many readings beyond HUBER standard deviations chance alone would make."""
    return float(np.nansum(ds["samples"].values)) * math.erfc(HUBER / math.sqrt(2.0))
