"""Trigger windows as a page of text: what to set, which branches decide it, how often backups beat or miss, what the model leaves out."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.mission.tables import Parachute
from sixdof.study.motor_choice.settings import HEIGHT_STEP, STAGING_ROOM
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import mission_of, need_table, plural
from sixdof.study.recovery.triggers.flights import OUTCOMES
from sixdof.study.recovery.triggers.outcomes import FULL_ABOVE
from sixdof.study.recovery.triggers.triggers import GRAIN
from sixdof.study.uncertainty.claims import flights_needed

CLOSE = 1.0  # s: a gap between two triggers below it is told of (common practice leaves one second or more)
ROUNDING = 1e-9  # s
_CAUTIONS = (
    "Charges and igniters injure: arm on the pad alone, with a switch for each, and take a backup's own battery and charge. A backup that is set right here "
    "still has to be tested on the ground.",
    "A body that falls without a canopy comes down where nobody expects it.",
)


def need_windows(ds: xr.Dataset, who: str) -> None:
    """Check that a Dataset is what `trigger_windows` returned. Raises ValueError for anything else."""
    need_table(ds, who, "workshop.trigger_windows", "window_begin", "earliest_of_flight", "outcome")


def windows_text(ds: xr.Dataset) -> str:
    """Return the page about what `trigger_windows` returned. Raises ValueError for anything else."""
    need_windows(ds, "windows_text")
    said = ds.attrs
    head = [said.get("title", "untitled"), "When triggers may fire: what to set, over all branches"]
    head += wrapped(
        f"{said['flights']} flights on the same draws in each of {ds.sizes['branch']} branches, seed {said['seed']}; a setting must be right in "
        f"{100.0 * said['share']:g} % of each branch's flights; {said.get('source', 'source unknown')}"
    )
    lines = [*head, "", "What to set", *indented([*setting_sentences(ds)])]
    windows = [*_windows(ds)]
    if len(windows) > 1:
        lines += ["", "Windows, s from noticed liftoff (timer) or from burnout (grain)", *table(windows, words=1, remark=True)]
    for k in range(ds.sizes["action"]):
        lines += ["", *_branches(ds.isel(action=k))]
    lines += ["", "Of all flights, by the probabilities of the failures", *table([*_overall(ds)], words=1)]
    return "\n".join([*lines, "", "What to make of it", *indented([*_doubts(ds), *_CAUTIONS]), "", LAST_LINE])


# ---------------------------------------------------------------- what to set


def setting_sentences(ds: xr.Dataset) -> Iterator[str]:
    """Yield a sentence for each backup, and one for each action that has none."""
    for k in range(ds.sizes["trigger"]):
        one = ds.isel(trigger=k)
        if bool(one["judged"]):
            yield _setting(ds, one)
    yield from _heights(ds)
    for action in ds["action"].values.astype(str):
        own = ds.isel(trigger=np.flatnonzero((ds["trigger_action"].values == action) & (ds["primary"].values | np.isfinite(ds["setting"].values))))
        if own.sizes["trigger"] == 1:
            yield f'Nothing backs up "{own["trigger"].values[0]}": where it does not act, nothing does.'


def _heights(ds: xr.Dataset) -> Iterator[str]:
    """Yield for each canopy that a height deploys where it is full at the lowest, over all branches in which it comes out and holds."""
    for k in np.flatnonzero(ds["primary"].values & np.isfinite(ds["trigger_height"].values)):
        one, names = ds.isel(trigger=k), ds["branch"].values.astype(str)
        own = ds.sel(action=str(one["trigger_action"].values))
        out, broke = np.isfinite(own["full_height"].values), own["broke"].values > 0
        lowest = np.array([_lowest(row, ds.attrs["share"]) for row in np.where(out & ~broke, own["full_height"].values, np.nan)])
        key = f"height of {str(own['action'].values).partition(' ')[2]} = {float(one['trigger_height']):g} m"
        if np.isfinite(lowest).any():
            worst = int(np.nanargmin(lowest))
            more = math.ceil((FULL_ABOVE - lowest[worst]) / HEIGHT_STEP) * HEIGHT_STEP
            raised = f"; raise it by {more:g} m, so that it is full {FULL_ABOVE:g} m above the ground (ours)" if more > 0 else ""
            yield f'{key}: full at {lowest[worst]:.0f} m or more, at the lowest in "{names[worst]}"{raised}.'
        torn = np.divide((out & broke).sum(axis=1), out.sum(axis=1), out=np.zeros(len(names)), where=out.any(axis=1))
        if torn.any():
            worst = int(np.argmax(torn))
            yield f'{key}: in {_percent(torn[worst])} of the flights of "{names[worst]}" a canopy or harness of its stage does not hold.'


def _lowest(values: np.ndarray, share: float) -> float:
    known = values[np.isfinite(values)]
    return float(np.quantile(known, 1.0 - share, method="lower")) if known.size else math.nan


def _setting(ds: xr.Dataset, one: xr.Dataset) -> str:
    key, now, begin, end = str(one["trigger_key"].values), float(one["setting"]), float(one["window_begin"]), float(one["window_end"])
    take, name = float(one["advised"]), ds["branch"].values.astype(str)
    from_branch, to_branch = (name[int(one[which])] if int(one[which]) >= 0 else "" for which in ("begin_branch", "end_branch"))
    if math.isnan(begin) and bool(one["primary"]):
        begin, from_branch = 0.0, "any"
    if math.isnan(begin):
        return f"{key}: what it backs up never comes in these flights, so nothing says how early it may fire."
    if begin >= end:
        least = f'{_down(end)} s or less in "{to_branch}"' if math.isfinite(end) else f'no setting saves enough flights of "{to_branch}"'
        here = f". {now:g} s{_now(one, now)}" if math.isfinite(now) else ""
        return f'No {key} satisfies all branches: it would have to be {_up(begin)} s or more in "{from_branch}", and {least}{here}.'
    between = f'from {_up(begin)} s ("{from_branch}")' + (f' to {_down(end)} s ("{to_branch}")' if math.isfinite(end) else " on")
    if math.isnan(now):
        return f"{key} is not set: it would be right {between}; {take:g} s leaves room."
    if begin < now <= end:
        return f"{key} = {now:g} s is right in all branches: {between}{_close(one, now, begin, end, _margin(ds, one), take)}."
    return f"{key} = {now:g} s{_now(one, now)}. It does neither {between}: take {take:g} s."


def _margin(ds: xr.Dataset, one: xr.Dataset) -> float:
    kind = str(ds["action_kind"].sel(action=str(one["trigger_action"].values)).values)
    return float(ds.attrs["margin"]) if kind == "deploy" else min(float(ds.attrs["margin"]), STAGING_ROOM)


def _close(one: xr.Dataset, now: float, begin: float, end: float, margin: float, take: float) -> str:
    if str(one["trigger_how"].values) == GRAIN:
        return "" if now >= take - 1e-9 else f"; what delay grains scatter (1.5 s or 20 %, NFPA 1125, from memory) may carry it out of them: take {take:g} s"
    if min(now - begin, end - now) < margin and not math.isclose(now, take, abs_tol=0.06):
        return f", but within {margin:g} s of an end: {take:g} s leaves room"
    return ""


def _now(one: xr.Dataset, now: float) -> str:
    """Return what a setting does in the branches in which it is wrong most often, and in flights without a failure."""
    said = []
    words_of = "comes too early" if bool(one["primary"]) else "beats a sound trigger", "comes too late"
    for shares, words in zip(early_and_late(one, now), words_of, strict=True):
        if np.nanmax(shares, initial=0.0) > 0.0:
            worst = int(np.nanargmax(np.where(np.isnan(shares), -1.0, shares)))
            calm = "" if worst == 0 or np.isnan(shares[0]) else f" ({_percent(shares[0]) if shares[0] > 0.0 else 'none'} of those without a failure)"
            said.append(f'{words} in {_percent(shares[worst])} of the flights of "{one["branch"].values[worst]}"{calm}')
    return f" {' and '.join(said)}" if said else " is within what the flights seen bear, but not within what may be claimed of them"


def early_and_late(one: xr.Dataset, setting: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the shares of each branch's flights in which a trigger set so beats a sound primary, and comes too late, (branches,); NaN where not asked."""
    shares = []
    for name, wrong in (("earliest_of_flight", np.greater_equal), ("latest_of_flight", np.less)):
        values = one[name].values
        known = ~np.isnan(values)
        count = known.sum(axis=1)
        with np.errstate(invalid="ignore"):
            hits = (wrong(values + ROUNDING, setting) & known).sum(axis=1)
        shares.append(np.divide(hits, count, out=np.full(count.shape, np.nan), where=count > 0))
    return shares[0], shares[1]


def _up(begin: float) -> str:
    """Return the least setting behind a window's begin, to 0.1 s."""
    return f"{math.floor(10.0 * begin + 1e-6) / 10.0 + 0.1:.1f}"


def _down(end: float) -> str:
    return f"{math.floor(10.0 * end + 1e-6) / 10.0:.1f}"


def _percent(share: float) -> str:
    return f"{100.0 * share:.{0 if share in (0.0, 1.0) or share >= 0.1 else 1}f} %"


# ---------------------------------------------------------------- tables


def _windows(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["trigger", "set", "from", "to", "take", "decided by"]
    for k in range(ds.sizes["trigger"]):
        one = ds.isel(trigger=k)
        if not bool(one["judged"]):
            continue
        now, begin, end, take = (float(one[name]) for name in ("setting", "window_begin", "window_end", "advised"))
        cells = [f"{now:.1f}", _up(begin) if math.isfinite(begin) else "-", _down(end) if math.isfinite(end) else "-", f"{take:.1f}"]
        by = [str(ds["branch"].values[int(one[name])]) if int(one[name]) >= 0 else "nothing" for name in ("begin_branch", "end_branch")]
        yield [f"{one['trigger'].values} ({one['trigger_how'].values})", *("-" if cell == "nan" else cell for cell in cells), f"{by[0]}; {by[1]}"]


def _branches(ds: xr.Dataset) -> list[str]:
    """Return what came of one action in every branch; numbers are those of the flights that left the rail."""
    action, kind = str(ds["action"].values), str(ds["action_kind"].values)
    backed = np.isfinite(ds["trigger_gap"].values).any()
    what = "height, airspeed at deployment" if kind == "deploy" else "height, airspeed"
    head = ["branch", "share", "primary", "backup", "beats", "misses", "nothing", "in vain", *(["least gap s"] if backed else []), "height m", "airspeed m/s"]
    rows, alike = [head], []
    for b in range(ds.sizes["branch"]):
        row = _row(ds.isel(branch=b), backed)
        if len(rows) > 1 and row[2:] == rows[1][2:]:
            alike.append(row[0] if row[1] == "-" else f"{row[0]} ({row[1]})")
        else:
            rows.append(row)
    flights = f"{action}: of {plural(int(ds.attrs['flights']))} in each branch ({what}: 5 to 95 %)"
    return [flights, *table(rows, words=1), *(wrapped(f"as nominal: {', '.join(alike)}", "  ", "    ") if alike else [])]


def _row(one: xr.Dataset, backed: bool) -> list[str]:
    left, weight = one["left_rail"].values > 0, float(one["branch_weight"])
    begin = [str(one["branch"].values), f"{100.0 * weight:.3g} %" if math.isfinite(weight) else "-"]
    if not left.any():
        return [*begin, "no flight leaves the rail"]
    return [*begin, *_counts(one, left), *([_least(one["trigger_gap"].values[left])] if backed else []), *_spreads(one, left)]


def _counts(one: xr.Dataset, left: np.ndarray) -> list[str]:
    count = np.bincount(one["outcome"].values[left], minlength=len(OUTCOMES))
    by = dict(zip(OUTCOMES, count, strict=True))
    return [str(n) for n in (by["primary"] + by["late_primary"], by["backup"], by["beats"], by["misses"], by["nothing"], by["in_vain"])]


def _least(values: np.ndarray) -> str:
    known = values[np.isfinite(values)]
    return f"{known.min():.1f}" if known.size else "-"


def _spreads(one: xr.Dataset, left: np.ndarray) -> Iterator[str]:
    for name, decimals in (("action_height", 0), ("action_airspeed", 0)):
        values = one[name].values[left]
        known = values[np.isfinite(values)]
        yield " to ".join(f"{v:.{decimals}f}" for v in np.quantile(known, (0.05, 0.95))) if known.size else "-"


def _overall(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["", "backup beats", f"{100.0 * ds.attrs['confidence']:g} % interval", "too late", "interval", "nothing fires", "interval"]
    for k, action in enumerate(ds["action"].values):
        row = [str(action)]
        for name in ("beats", "misses", "nothing"):
            estimate, low, high = 100.0 * ds[f"{name}_overall"].values[k]
            row += [f"{estimate:.2g} %", f"{low:.2g} to {high:.2g} %"]
        yield row


# ---------------------------------------------------------------- what to make of it


def _doubts(ds: xr.Dataset) -> Iterator[str]:
    said = ds.attrs
    needed = flights_needed(said["share"], said["confidence"])
    if said["flights"] < needed:
        yield (
            f"{said['flights']} flights are too few to show {100.0 * said['share']:g} % with {100.0 * said['confidence']:g} % confidence, which takes {needed} "
            "without an exception: the ends are those of the flights seen, and more flights can only narrow the windows."
        )
    close = _closest(ds)
    if close:
        yield close
    yield (
        "A setting is too early where it comes before a sound primary trigger in any branch, and too late where, alone, it no longer saves the flight in a "
        f"branch where the primary fails: nothing breaks by load (up to {100.0 * said['load_share']:g} % of its strength), the canopy is full "
        f"{FULL_ABOVE:g} m above the ground (ours) and out before one that a height deploys; a joint parts and motors light while they still climb."
    )
    silent = _without_strength(ds)
    if silent:
        yield f"No strength in the mission, so nothing there breaks by load, however late or early: {', '.join(silent)}."
    if (ds["judged"] & ds["primary"]).any():
        yield "A canopy that time alone deploys has to hold and be full in every branch: it is too early, or too late, where it does not."
    yield (
        "Branches with a dash have no probability in the mission: they are flown to see whether a setting bears them, and count in no share of all flights. "
        "Two failures at once are not flown but where the mission makes one certain."
    )
    yield (
        "Delay grains scatter by 1.5 s or 20 %, whichever is more (NFPA 1125, from memory); flights here have them as marked. What is drawn as canopy.delay is "
        "common to all triggers of a canopy. False apogees by pressure waves, wrong wiring and flat batteries are not in the model."
    )


def _without_strength(ds: xr.Dataset) -> list[str]:
    """Return the canopies and harnesses of which the mission says no strength."""
    mission = mission_of(ds, "windows_text")
    packed = [f"canopy {part.name}" for stage in mission.stage for part in stage.part if isinstance(part, Parachute) and part.strength is None]
    return packed + [f"harness of {one.canopy}" for one in mission.harness if one.strength is None]


def _closest(ds: xr.Dataset) -> str:
    deploys = ds["action_kind"].values == "deploy"
    known = (ds["left_rail"].values[:, :, None] > 0) & ds["sound"].values[:, None, :] & deploys
    gap = np.where(known, ds["trigger_gap"].values, np.nan)
    if not np.isfinite(gap).any() or np.nanmin(gap) >= CLOSE:
        return ""
    b, _, k = np.unravel_index(np.nanargmin(gap), gap.shape)
    return (
        f'The two closest triggers of "{ds["action"].values[k]}" come within {gap[b, :, k][np.isfinite(gap[b, :, k])].min():.2f} s of each other in "'
        f'{ds["branch"].values[b]}": charges that fire together load the airframe twice (common practice leaves {CLOSE:g} s or more).'
    )
