"""The page about a whole recovery: what breaks and what to change first, then each part short."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import plural
from sixdof.study.recovery.ejection.text import CAUTIONS, grams, percent
from sixdof.study.recovery.recovery import need_recovery, recovery_part
from sixdof.study.recovery.recovery_findings import BREAKS, CHANGE, HOLDS, findings
from sixdof.study.recovery.triggers.triggers import SENSED

_HEADS = {BREAKS: ("What breaks, and what to do", "Nothing breaks in what was flown"), CHANGE: ("What else to change", ""), HOLDS: ("What holds", "")}
_WORTH = (
    "Loads, speeds and times are the kernel's, with their spread over the drawn flights. Opening loads are good to some 30 % (filling times scatter), the "
    "bay's pressure to tens of per cent (typical powder, nothing soaked up, no leak at the coupler), pins and knots to what a pull test says. The page of each "
    "part (`sixdof.report(sixdof.workshop.recovery_part(found, PART))`) says more of what it leaves out."
)


def recovery_text(ds: xr.Dataset) -> str:
    """Return the page about what `recovery` returned. Raises ValueError for anything else."""
    need_recovery(ds, "recovery_text")
    said = ds.attrs
    more = f", {said['failing']} more with each failure made certain" if said["failing"] else ""
    head = f"{plural(said['flights'])}, seed {said['seed']}{more}; loads held against {percent(said['load_share'])} of each strength in "
    head += f"{percent(said['share'])} of them"
    lines = [said.get("title", "untitled"), "Recovery: what breaks, and what to change", *wrapped(f"{head}; {said.get('source', 'source unknown')}"), ""]
    lines += _answers(ds)
    for part, title, rows in (
        ("charge", "Charges and harnesses", _charges),
        ("size", "Canopies", _sizes),
        ("deployment", "Deployment about apogee", _deployments),
        ("windows", "Triggers, s from noticed liftoff (timer) or from burnout (grain)", _windows),
    ):
        if f"{part}_attributes" in said:
            lines += ["", title, *table(list(rows(recovery_part(ds, part))), remark=part == "windows")]
    lines += _lacking(ds)
    return "\n".join([*lines, "", "What this is worth", *indented([_WORTH]), "Cautions", *indented(CAUTIONS), "", LAST_LINE])


def _answers(ds: xr.Dataset) -> list[str]:
    found, lines = findings(ds), []
    for grade, (title, none) in _HEADS.items():
        own = [one.text for one in found if one.grade == grade]
        if own or none:
            lines += [title if own else none, *indented([f"- {text}" for text in own])]
    return lines


def _lacking(ds: xr.Dataset) -> list[str]:
    missing = [str(text) for text in ds["lacking"].values if str(text)]
    if "charge_attributes" in ds.attrs:
        missing += [str(text) for text in recovery_part(ds, "charge")["lacks"].values if str(text)]
    if "deployment_attributes" in ds.attrs:
        missing += [str(text) for text in recovery_part(ds, "deployment")["lacks"].values if str(text) and "[[harness]]" not in str(text)]
    return ["", "Not told", *indented([f"- {text}" for text in missing])] if missing else []


# ---------------------------------------------------------------- parts


def _number(value: float, decimals: int = 0) -> str:
    return f"{value:.{decimals}f}" if math.isfinite(value) else "-"


def _high(values: np.ndarray, share: float = 0.95) -> float:
    known = values[np.isfinite(values)]
    return float(np.quantile(known, share)) if known.size else math.nan


def _charges(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["harness", "powder", "least", "largest", "bay kPa", "force N", "pins N", "flight N", "apart m/s", "snatch N", "strength N", "% at 95 %", "broken %"]
    for name in ds["harness"].values:
        one = ds.sel(harness=name)
        mass = [grams(float(one[f"{key}_mass"])) if math.isfinite(float(one[f"{key}_mass"])) else "-" for key in ("charge", "least", "largest")]
        low, high = (_number(float(one[f"pin_strength_{end}"])) for end in ("low", "high"))
        yield [
            str(name),
            *mass,
            _number(1e-3 * float(one["bay_pressure"])),
            _number(float(one["bay_force"])),
            f"{low} to {high}" if low != "-" else "-",
            _number(float(np.nanmax(one["pin_pull"].values))),
            _number(float(one["separation_speed"]), 1),
            _number(_high(one["snatch_load"].values)),
            _number(float(one["strength_nominal"])),
            _number(100.0 * _high(one["harness_load_share"].values)),
            _number(100.0 * float(one["broken"]), 1),
        ]


def _sizes(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["canopy", "as written cm", "take cm", "down m/s: 5 %", "50 %", "95 %", "energy J, 95 %", "drift m, 95 %", "slow enough %"]
    for name in ds["canopy"].values:
        one = ds.sel(canopy=name)
        speed = one["written_descent_speed"].values
        opened = np.isfinite(speed)
        quantiles = np.quantile(speed[opened], (0.05, 0.5, 0.95)) if opened.any() else np.full(3, math.nan)
        slow = 100.0 * float(np.mean(speed[opened] <= ds.attrs["descent_speed"])) if opened.any() else math.nan
        sizes = [_number(100.0 * float(one[f"{key}_diameter"])) for key in ("written", "taken")]
        landing = [_number(_high(one[f"written_{key}"].values)) for key in ("landing_energy", "drift")]
        yield [str(name), *sizes, *(_number(q, 1) for q in quantiles), *landing, _number(slow)]


def _deployments(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["canopy", "window s", "as written s", "line stretch m/s, 95 %", "opening N, 95 %", "canopy %", "harness %", "zipper %", "all below limit %"]
    for name in ds["canopy"].values:
        one = ds.sel(canopy=name)
        low, high, at = float(one["window_low"]), float(one["window_high"]), one["own_offset_flown"].values
        at = at[np.isfinite(at)]
        shares = [one[f"own_{key}"].values for key in ("opening_load_share", "harness_load_share", "zipper_index")]
        known = np.any([np.isfinite(row) for row in shares], axis=0)
        below = np.all([np.where(np.isfinite(row), row, 0.0) < ds.attrs["load_share"] for row in shares], axis=0)[known]
        yield [
            str(name),
            f"{low:+g} to {high:+g}" if math.isfinite(low) else "none",
            f"{at.min():+.1f} to {at.max():+.1f}" if at.size else "never",
            _number(_high(one["own_line_stretch_airspeed"].values)),
            _number(_high(one["own_opening_load"].values)),
            *(_number(100.0 * _high(row)) for row in shares),
            _number(100.0 * float(below.mean())) if below.size else "-",
        ]


def _windows(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["trigger", "set", "from", "to", "take", "decided by"]
    for k in range(ds.sizes["trigger"]):
        one = ds.isel(trigger=k)
        if bool(one["primary"]) or str(one["trigger_how"].values) == SENSED:
            continue
        by = [str(ds["branch"].values[int(one[name])]) for name in ("begin_branch", "end_branch") if int(one[name]) >= 0]
        cells = [_number(float(one[name]), 1) for name in ("setting", "window_begin", "window_end", "advised")]
        yield [f"{one['trigger'].values} ({one['trigger_how'].values})", *cells, "; ".join(by)]
