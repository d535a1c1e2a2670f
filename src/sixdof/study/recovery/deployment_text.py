"""The page about when a canopy may come out, in plain words."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import plural, stays_below
from sixdof.study.recovery.deployment import need_deployment
from sixdof.study.recovery.deployment_loads import SHARES
from sixdof.study.uncertainty.statistics import share_interval

CALLED = {"opening_load_share": "the canopy", "harness_load_share": "the harness", "zipper_index": "the tube's edge"}
FEW = 0.67, 1.5  # a load with a failure within these times that as drawn is the scatter of a few flights
CAUTIONS = (
    "Nobody works on a vehicle with live charges or igniters but with its computers off and its pyrotechnics shunted, and nobody stands where it points or "
    "where a charge throws. What comes down without its canopy, or with it torn, comes down fast: keep people out from under the whole of its drift."
)
_COLUMNS = "at line stretch; 95 % of the flights are below each number, of the angle to the air the median; %: of the strength"
_WORTH = (
    "Opening loads are the kernel's: a drag area that fills with the square of time (Knacke 1992), times the opening coefficient, in the motion flown. Filling "
    "time and coefficient are good to some 30 %, and so are these loads. The canopy's own mass jerking at its lines (lines' snatch) and a bag that strips "
    "badly are left out. Canopies and harnesses hold whatever comes here, so that a load beyond the strength is seen and not cut off."
)
_ZIPPER = (
    "The zipper index is this library's own measure, no standard: 2 T sin(theta/2) of a harness bent over the tube's edge by theta, over webbing width times "
    "wall times bearing strength (typical values, good to 30 %). It takes the body's angle to the air at line stretch, before the canopy turns the body: an "
    "upper bound. A ring, a ball or padding at the edge counts for nothing."
)


def deployment_text(ds: xr.Dataset) -> str:
    """Return the page about what `deployment` returned. Raises ValueError for anything else."""
    need_deployment(ds, "deployment_text")
    said = ds.attrs
    lines = [said.get("title", "untitled"), "When a canopy may come out", *wrapped(_flown(ds)), ""]
    for name in ds["canopy"].values:
        lines += _canopy(ds.sel(canopy=name))
    lines += ["What this is worth", *indented([_WORTH, *([_ZIPPER] if np.isfinite(ds["zipper_index"].values).any() else []), _limit(said)])]
    return "\n".join([*lines, "Cautions", *indented([CAUTIONS]), "", LAST_LINE])


def _flown(ds: xr.Dataset) -> str:
    said, at = ds.attrs, ds["offset"].values
    more = f", {said['failing']} more with each failure made certain" if "failure" in ds.dims else ""
    return (
        f"{plural(said['flights'])} deployed at each of {at.size} times from {at[0]:+g} to {at[-1]:+g} s about their own apogee, on the same draws, seed "
        f"{said.get('seed', '?')}{more}; {said.get('source', 'source unknown')}"
    )


def _limit(said) -> str:
    usual = " (a factor of safety of 2: common practice)" if said["load_share"] == 0.5 else ""
    shown = f"If all of {plural(said['flights'])} hold, more than {_percent(all_of(said['flights']))} of all flights do (90 % confidence)."
    return f"Loads are held against {_percent(said['load_share'])} of each strength{usual}, in {_percent(said['share'])} of the flights that opened. {shown}"


def all_of(flights: int) -> float:
    """Return the share of all flights that is shown with 90 % where all of some flights hold (Clopper & Pearson 1934)."""
    return float(share_interval(flights, flights, 0.9, side="lower").low)


def _percent(share: float) -> str:
    return f"{100.0 * share:.3g} %"


# ---------------------------------------------------------------- one canopy


def _canopy(one: xr.Dataset) -> list[str]:
    name, lacks = str(one["canopy"].values), str(one["lacks"].values)
    answers = [_answer(one), *_ends(one), *_failures(one), *([f"Not told: {lacks}."] if lacks else [])]
    return [f"{name}", *indented(answers), *table(list(_rows(one))), *indented([_COLUMNS]), ""]


def _answer(one: xr.Dataset) -> str:
    """Return what the page says first: the window, and what the mission's own deployments do."""
    low, high, name, said = float(one["window_low"]), float(one["window_high"]), str(one["canopy"].values), one.attrs
    own, below = _own(one), f"all loads stay below {_percent(said['load_share'])} of their strengths"
    if not np.isfinite(one["below_share"].values).any():
        return f"Nothing says what {name} holds, so no window can be told; {own}."
    if math.isfinite(low):
        whole = ", all that was flown" if (low, high) == tuple(one["offset"].values[[0, -1]]) else ""
        return f"It may come out from {_signed(low)} to {_signed(high)} s about apogee{whole}: {below} in {_percent(said['share'])} of the flights; {own}."
    share = one["below_share"].values
    best = min(np.flatnonzero(share == np.nanmax(share)), key=lambda k: abs(one["offset"].values[k]))
    at = one["offset"].values[best]
    text = f"No time is right: even {f'at {at:+g} s' if at else 'at apogee'} {below} in no more than {_percent(float(share[best]))} of the flights"
    return f"{text} ({_worst(one.isel(offset=best))}){_always(one)}; {own}.{_by_time(one)}"


def _by_time(one: xr.Dataset) -> str:
    """Return the window of what the time of deployment changes, the charge's snatch left out."""
    low, high = float(one["timing_window_low"]), float(one["timing_window_high"])
    if not math.isfinite(low):
        return ""
    return f" By what the time itself changes (opening, its part in the harness, the tube's edge) it may come out from {_signed(low)} to {_signed(high)} s."


def _own(one: xr.Dataset) -> str:
    """Return when the canopy comes out as written, and in how many of these flights the loads stay below the limit then."""
    at = one["own_offset_flown"].values
    opened = np.isfinite(at)
    if not opened.any():
        return "as written it never comes out in these flights"
    loads = np.stack([one[f"own_{name}"].values[opened] for name in SHARES])
    text = f"as written it comes out {_span(at[opened])} after apogee"
    if not np.isfinite(loads).any():
        return text
    kept = (np.where(np.isfinite(loads), loads, 0.0) < one.attrs["load_share"]).all(axis=0)
    return f"{text}, and they do in {int(kept.sum())} of {plural(int(opened.sum()))}"


def _always(one: xr.Dataset) -> str:
    """Return that the charge alone makes the harness's load at any time, where that is so."""
    harness = np.array([_high(values) for values in one["harness_load_share"].values])
    if not (np.isfinite(harness).all() and np.ptp(harness) < 0.02 * harness.max() and harness.min() >= one.attrs["load_share"]):
        return ""
    return ", for the charge's snatch on the harness is the same at any time: a longer or stronger harness, or a weaker charge, cures that, and no timer does"


def _signed(value: float) -> str:
    return f"{value:+g}" if value else "0"


def _span(values: np.ndarray) -> str:
    low, high = float(values.min()), float(values.max())
    return f"{low:+.1f} s" if high - low < 0.05 else f"{low:+.1f} to {high:+.1f} s"


def _worst(here: xr.Dataset) -> str:
    """Return the largest load over strength of flights at one offset, in words; 95 % of them stay below it."""
    top = {name: _high(here[name].values) for name in SHARES}
    name = max(top, key=lambda key: -1.0 if math.isnan(top[key]) else top[key])
    return f"{CALLED[name]} at {_percent(top[name])}" if math.isfinite(top[name]) else "no strength is known"


def _high(values: np.ndarray) -> float:
    return stays_below(values, 0.95)


def _middle(values: np.ndarray) -> float:
    return stays_below(values, 0.5)


def _ends(one: xr.Dataset) -> Iterator[str]:
    """Yield what happens at the first and the last offset, against apogee's own."""
    at = one["offset"].values
    middle = int(np.argmin(np.abs(at)))
    for k in dict.fromkeys((0, at.size - 1)):
        here, load = one.isel(offset=k), _high(one["opening_load"].values[k])
        if k == middle or not math.isfinite(load):
            continue
        times = load / _high(one["opening_load"].values[middle])
        when = "early" if at[k] < 0.0 else "late"
        speed, angle = _high(here["line_stretch_airspeed"].values), math.degrees(_middle(here["line_stretch_incidence"].values))
        yield (
            f"{abs(at[k]):g} s {when}: lines stretch at up to {speed:.0f} m/s, the body at {angle:.0f} deg to the air (median); it opens with up to "
            f"{load:.0f} N, {times:.1f} times as at apogee; the most loaded is {_worst(here)}."
        )


def _failures(one: xr.Dataset) -> Iterator[str]:
    """Yield what each failure made certain does to the deployment, a late apogee first; no line for one that does nothing to it."""
    if "failure" not in one.dims:
        return
    late = f"late_apogee: {one['stage'].item()}" if int(one["waits_for_apogee"]) else ""
    names = [str(name) for name in one["failure"].values if not str(name).startswith("late_apogee") or str(name) == late]
    own_load, own_at = _high(one["own_opening_load"].values), _middle(one["own_offset_flown"].values)
    for name in sorted(names, key=lambda word: word != late):
        here = one.sel(failure=name)
        at, load = here["failing_offset_flown"].values, _high(here["failing_opening_load"].values)
        at = at[np.isfinite(at)]
        if not at.size:
            yield f"With {name} it does not come out on {one['stage'].item()}."
        elif name == late or not FEW[0] < load / own_load < FEW[1]:
            moved = f" ({np.median(at) - own_at:+.1f} s against the flights as drawn)" if math.isfinite(own_at) else ""
            loaded = _worst(xr.Dataset({key: here[f"failing_{key}"] for key in SHARES}))
            yield f"With {name} it comes out {_span(at)} after apogee{moved} and opens with up to {load:.0f} N (as drawn {own_load:.0f} N); {loaded}."


def _rows(one: xr.Dataset) -> Iterator[list[str]]:
    yield ["about apogee, s", "airspeed m/s", "angle deg", "opening N", "canopy %", "harness %", "zipper %", "below limit %"]
    for k, offset in enumerate(one["offset"].values):
        here = one.isel(offset=k)
        cells = [_high(here["line_stretch_airspeed"].values), math.degrees(_middle(here["line_stretch_incidence"].values)), _high(here["opening_load"].values)]
        cells += [100.0 * _high(here[name].values) for name in SHARES] + [100.0 * float(here["below_share"])]
        yield [f"{offset:+.1f}", *(_cell(value) for value in cells)]


def _cell(value: float) -> str:
    return "-" if not math.isfinite(value) else f"{value:.0f}" if abs(value) >= 9.95 or value == 0.0 else f"{value:.1f}"
