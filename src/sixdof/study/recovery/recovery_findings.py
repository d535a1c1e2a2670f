"""What the parts of a recovery study come to, as sentences in order: what breaks, what to change, what holds."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.load import stored_mission
from sixdof.study.reading.practice import not_stable
from sixdof.study.reading.result import plural
from sixdof.study.recovery.ejection.masses import NARROW
from sixdof.study.recovery.ejection.text import PULL_MARGIN, harness, percent, pins, powder, thin_air
from sixdof.study.recovery.recovery import recovery_part
from sixdof.study.recovery.triggers.text import early_and_late
from sixdof.study.recovery.triggers.triggers import SENSED
from sixdof.study.recovery.zipper import canopy_parts

BREAKS, CHANGE, HOLDS = 0, 1, 2


class Finding(NamedTuple):
    """One sentence. grade : BREAKS, CHANGE or HOLDS."""

    grade: int
    text: str


def findings(ds: xr.Dataset) -> list[Finding]:
    """Return what all parts of a `recovery` Dataset come to, what breaks first."""
    found = [*_flown(ds)]
    for part, tell in (("charge", _charges), ("size", _sizes), ("deployment", _deployments), ("windows", _windows)):
        if f"{part}_attributes" in ds.attrs:
            found += tell(recovery_part(ds, part))
    return sorted(found, key=lambda one: one.grade)


def _flown(ds: xr.Dataset) -> Iterator[Finding]:
    """Yield that it does not fly straight, what breaks as flown, and what comes down without a canopy."""
    if unstable := not_stable(ds["departure_margin"].values):
        yield Finding(BREAKS, unstable)
    for k, trouble in enumerate(ds["trouble"].values):
        share, low, high = (float(ds[f"trouble_{end}"].values[k]) for end in ("share", "low", "high"))
        if share > 0.0:
            by = ds["branch_troubles"].values[:, k]
            rate = by / np.maximum(ds["branch_flights"].values, 1)
            text = f"In {_rough(share)} of all flights ({_rough(low)} to {_rough(high)}, 90 %) {trouble}"
            worst = [f"{name} ({int(hits)} of {int(count)})" for name, hits, count in _most(ds, by, rate)]
            yield Finding(BREAKS, f"{text}; by branch: {', '.join(worst)}.")
    if not (ds["trouble_share"].values > 0.0).any():
        yield Finding(HOLDS, f"In {plural(ds.attrs['left'])}, failures included, no harness and no canopy breaks by its load, and nothing falls without one.")
    for part in canopy_parts(stored_mission(ds.attrs["mission"])):
        if part.strength is None:
            yield Finding(CHANGE, f"{part.name}: says no strength, so that no load breaks it in these flights, whatever it is: give it.")


def _rough(share: float) -> str:
    return f"{100.0 * share:.0f} %" if share >= 0.1 else f"{100.0 * share:.2g} %"


def _most(ds: xr.Dataset, by: np.ndarray, rate: np.ndarray) -> list[tuple[str, int, int]]:
    order = [k for k in np.argsort(-rate, kind="stable") if by[k] > 0][:3]
    return [(str(ds["branch"].values[k]), int(by[k]), int(ds["branch_flights"].values[k])) for k in order]


# ---------------------------------------------------------------- each part


def _charges(ds: xr.Dataset) -> Iterator[Finding]:
    for name in ds["harness"].values:
        one = ds.sel(harness=name)
        for text in powder(one):
            mass, least, largest = (float(one[f"{key}_mass"]) for key in ("charge", "least", "largest"))
            right = NARROW * least <= mass <= largest
            yield Finding(HOLDS if right else BREAKS if mass < least or float(one["broken"]) > 0.0 else CHANGE, f"{name}: {text}")
        share = one["harness_load_share"].values
        known = np.sort(share[np.isfinite(share)])
        if known.size:
            holds = known[math.ceil(ds.attrs["share"] * known.size - 1e-9) - 1] <= ds.attrs["load_share"]
            yield Finding(BREAKS if float(one["broken"]) > 0.0 else HOLDS if holds else CHANGE, f"{name}: {harness(one)}")
        yield from _shut(one, str(name))


def _shut(one: xr.Dataset, name: str) -> Iterator[Finding]:
    """Yield that pins do not hold in flight, or that the air is thin; nothing where all is well."""
    pull, low = float(np.nanmax(one["pin_pull"].values)), float(one["pin_strength_low"])
    if math.isfinite(low):
        held = low if low > 0.0 else float(one["friction"])
        if held < PULL_MARGIN * pull:
            yield Finding(BREAKS if held < pull else CHANGE, f"{name}: {pins(one)}")
    for text in thin_air(one):
        yield Finding(CHANGE, f"{name}: {text}")


def _sizes(ds: xr.Dataset) -> Iterator[Finding]:
    said = ds.attrs
    wanted = f"{said['descent_speed']:.3g} m/s in {percent(said['share'])} of the flights"
    for name in ds["canopy"].values:
        one = ds.sel(canopy=name)
        written, needed, taken, largest = (100.0 * float(one[f"{key}_diameter"]) for key in ("written", "needed", "taken", "largest"))
        opened = one["written_opened"].values > 0
        slow = int((one["written_descent_speed"].values[opened] <= said["descent_speed"]).sum())
        if not math.isfinite(needed):
            yield Finding(CHANGE, f"{name}: no diameter that was flown comes down at {wanted}; as written {slow} of {plural(int(opened.sum()))} do.")
        elif written < needed * 0.999:
            yield Finding(CHANGE, f"{name}: too small for {wanted} ({slow} of {int(opened.sum())} keep it): take {taken:.0f} cm in place of {written:.0f} cm.")
        elif written > largest * 1.001:
            yield Finding(CHANGE, f"{name}: too large for the drift: take {taken:.0f} cm in place of {written:.0f} cm.")
        else:
            yield Finding(HOLDS, f"{name}: {written:.0f} cm are enough for {wanted} ({needed:.0f} cm needed).")
        if math.isfinite(needed) and largest < needed:
            yield Finding(CHANGE, f"{name}: descent speed and drift cannot be kept together: {needed:.0f} cm at least, {largest:.0f} cm at most for the drift.")


def _deployments(ds: xr.Dataset) -> Iterator[Finding]:
    limit = percent(ds.attrs["load_share"])
    for name in ds["canopy"].values:
        one = ds.sel(canopy=name)
        low, high, at = float(one["window_low"]), float(one["window_high"]), one["own_offset_flown"].values
        at = at[np.isfinite(at)]
        if not np.isfinite(one["below_share"].values).any():
            continue
        if math.isfinite(low):
            out = int(((at < low - 0.05) | (at > high + 0.05)).sum())
            span = f"{low:+g} to {high:+g} s about apogee keep all loads below {limit} of their strengths"
            own = f"as written it comes out {at.min():+.1f} to {at.max():+.1f} s" if at.size else "as written it never comes out"
            yield Finding(CHANGE if out else HOLDS, f"{name}: {span}; {own}{f', outside in {out} of {at.size} flights' if out else ''}.")
        elif not _charge_alone(one):
            best = float(np.nanmax(one["below_share"].values))
            yield Finding(CHANGE, f"{name}: no time about apogee keeps all loads below {limit} of their strengths in more than {percent(best)} of the flights.")


def _charge_alone(one: xr.Dataset) -> bool:
    """Return whether the harness is loaded too much at any time alike: by its charge, of which another finding speaks."""
    shares = one["harness_load_share"].quantile(0.95, "flight").values
    return bool(np.isfinite(shares).all() and np.ptp(shares) < 0.02 * shares.max() and shares.min() >= one.attrs["load_share"])


def _windows(ds: xr.Dataset) -> Iterator[Finding]:
    branches, right = ds["branch"].values.astype(str), []
    for k in range(ds.sizes["trigger"]):
        one = ds.isel(trigger=k)
        now, begin, end = (float(one[name]) for name in ("setting", "window_begin", "window_end"))
        if bool(one["primary"]) or str(one["trigger_how"].values) == SENSED or not math.isfinite(now) or math.isnan(begin):
            continue
        key = f"{one['trigger_key'].values} = {now:g} s"
        if begin < now <= end:
            right.append(key)
            continue
        early, late = early_and_late(one, now)
        calm = max(np.nan_to_num(early[0]), np.nan_to_num(late[0])) > 0.0
        where = branches[int(one["begin_branch" if now <= begin else "end_branch"])]
        advised = float(one["advised"])
        take = f"take {advised:g} s (right from {begin:.1f} to {end:.1f} s)" if begin < end else "no setting is right in all branches"
        yield Finding(BREAKS if calm else CHANGE, f'{key} is too {"early" if now <= begin else "late"} in "{where}": {take}.')
    if right:
        yield Finding(HOLDS, f"Right in all branches: {', '.join(right)}.")
