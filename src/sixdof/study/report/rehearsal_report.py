"""A page of text about a rehearsal: its timeline with what was sensed at each moment, and what misfired."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.page import indented
from sixdof.study.reading.page import LAST_LINE

_HEAD = f"  {'time, s':>9}{'height, m':>11}{'speed, m/s':>12}{'tilt, deg':>11}   what"


class Moment(NamedTuple):
    """Something that happened in a rehearsal: when (s), what, and whether a rule fired there or something was only noticed."""

    time: float
    text: str
    fired: bool = False


def timeline(ds: xr.Dataset) -> str:
    """Return the timeline of a rehearsal, then its misfires, redundant triggers, and what else is worth knowing.

    Beside each moment stands what the computer sensed there. Raises ValueError for a Dataset that `sixdof.rehearse` has not made.
    """
    need_rehearsal(ds, "timeline")
    time = ds["time"].values
    lines = [
        ds.attrs.get("title", "untitled"),
        f"rehearsal of {ds.attrs['stage']}'s {'flight computer' if 'fins_live' in ds else 'altimeter'}; {ds.attrs.get('source', '')}",
        f"script: {ds.attrs['script']}; {len(time)} ticks from {time[0]:.2f} s to {time[-1]:.2f} s",
        "",
        "What happens, and what is sensed then",
        _HEAD,
        *(_line(ds, each) for each in moments(ds)),
    ]
    if not moments(ds):
        lines.append("  nothing is noticed and no rule fires")
    lines += ["Misfires", *_listed(ds["misfire"].values, "nothing misfired")]
    lines += ["Worth knowing", *_listed(ds["remark"].values, "no redundant trigger, no wait, no separation without a command")]
    return "\n".join([*lines, "", LAST_LINE])


def need_rehearsal(ds: xr.Dataset, who: str) -> None:
    """Check that a Dataset is a rehearsal; ValueError in one sentence if it is not. `who` asks."""
    if "misfire" not in ds or "rule_due" not in ds:
        raise ValueError(f"{who} takes a rehearsal, as sixdof.rehearse returns it, and this Dataset is not one")


def moments(ds: xr.Dataset) -> list[Moment]:
    """Return everything that happened in a rehearsal, in the order of time; at one time what was noticed comes first."""
    found = [*_noticed(ds), *_of_rules(ds), *_by_law(ds)]
    return sorted(found, key=lambda each: each.time)


def _noticed(ds: xr.Dataset):
    """Yield the phases that the computer noticed."""
    for name, text in (("liftoff_noticed", "liftoff noticed"), ("rail_departure_noticed", "rail left"), ("apogee_noticed", "apogee noticed")):
        if math.isfinite(float(ds[name])):
            yield Moment(float(ds[name]), text)
    apogee = float(ds["apogee_noticed"])
    for k, (begun, ended) in enumerate(zip(ds["ignition_noticed"].values, ds["burnout_noticed"].values), start=1):
        doubt = " (taken for one after apogee)" if begun > apogee else ""
        yield Moment(float(begun), f"ignition {k} noticed{doubt}")
        if math.isfinite(ended):
            yield Moment(float(ended), f"burnout {k} noticed")
    for time in ds["separation_noticed"].values:
        yield Moment(float(time), "separation noticed by the break-wires")


def _by_law(ds: xr.Dataset):
    """Yield what no rule did: then it was a custom control law."""
    fired = {round(float(t), 9) for t in ds["rule_fired"].values if math.isfinite(t)}
    for tick in np.flatnonzero(np.diff(ds["fins_live"].values, prepend=0)) if "fins_live" in ds else ():
        if round(float(ds["time"][tick]), 9) not in fired:
            text = "enable" if ds["fins_live"].values[tick] else "disable"
            yield Moment(float(ds["time"][tick]), f"the control law: {text} the fins", True)
    for name, dim, text in (
        ("deployment_commanded", "canopy", "deploy"),
        ("ignition_commanded", "stage", "ignite"),
        ("separation_commanded", "stage", "separate"),
    ):
        for what, time in zip(ds[dim].values, ds[name].values):
            if math.isfinite(time) and round(float(time), 9) not in fired:
                yield Moment(float(time), f"the control law: {text} {what}", True)


def _of_rules(ds: xr.Dataset):
    digits = _digits(ds)
    for k, name in enumerate(ds["rule"].values):
        one = {v: ds[f"rule_{v}"].values[k] for v in ("armed", "due", "fired", "acted", "given_up", "action", "waited")}
        over = next((t for t in (one["fired"], one["given_up"]) if math.isfinite(t)), math.inf)
        if math.isfinite(one["armed"]) and one["armed"] < over:
            yield Moment(float(one["armed"]), f"{name} is armed, due at {one['due']:.{digits}f} s")
        if one["waited"] and one["due"] < over:
            tick = min(int(np.searchsorted(ds["time"].values, one["due"] - 1e-9)), ds.sizes["time"] - 1)
            yield Moment(float(ds["time"][tick]), f"{name} is due, and held")
        if math.isfinite(one["given_up"]):
            yield Moment(float(one["given_up"]), f"{name} gives up", True)
        if math.isfinite(one["fired"]):
            yield Moment(float(one["fired"]), f"{name} fires: {one['action']}{'' if one['acted'] else ' (already done)'}", True)


def _line(ds: xr.Dataset, moment: Moment) -> str:
    tick = int(np.argmin(np.abs(ds["time"].values - moment.time)))
    height = float(ds["sensed"].sel(reading="height").values[tick])
    speed, tilt = float(ds["sensed_speed"].values[tick]), math.degrees(float(ds["sensed_tilt"].values[tick]))
    mark = ">" if moment.fired else " "
    return f"  {moment.time:>9.{_digits(ds)}f}{height:>z11.1f}{speed:>z12.1f}{tilt:>z11.1f} {mark} {moment.text}"


def _digits(ds: xr.Dataset) -> int:
    """Return the decimals of a time: three where the ticks want them."""
    return 2 if np.allclose(100.0 * ds["time"].values, np.round(100.0 * ds["time"].values), atol=1e-6) else 3


def _listed(sentences, none: str) -> list[str]:
    return indented(f"- {text}" for text in sentences) if len(sentences) else [f"  {none}"]
