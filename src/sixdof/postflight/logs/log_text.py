"""The pages of a flight log, of a proposed column map, and of the rest before launch."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.postflight.logs.checks.barometer import TRANSONIC, apogee_time, climb
from sixdof.postflight.logs.checks.finding import counted
from sixdof.postflight.logs.columns.names import KNOWN
from sixdof.postflight.logs.columns.proposing import ColumnMap
from sixdof.postflight.logs.dataset import need_log
from sixdof.postflight.logs.rest import gyro_bias, still

LAST_LINE = "A log says what its sensors said. It is no clearance to fly, and no leave to approach: a body on the ground may hold live charges."
_SHORT = {"rad": ("deg", 180.0 / math.pi), "rad/s": ("deg/s", 180.0 / math.pi)}


def log_text(log: xr.Dataset) -> str:
    """Return the page of a flight log: what is in it, what was wrong, what was done, what cannot be used for what. Raises ValueError for anything else."""
    need_log(log, "report")
    lines = [log.attrs.get("title") or "A flight log", *wrapped(_heading(log)), "", *indented(list(_answer(log))), ""]
    lines += ["What is in it", *table(list(_contents(log)), words=2, remark=True), ""]
    if "finding" in log:
        lines += ["What was found, and what was done about it", *indented([f"- {text}" for text in log["finding"].values.astype(str)]), ""]
    lines += ["The rest before launch", *indented(list(_rest(log))), ""]
    return "\n".join([*lines, "What it cannot be used for", *indented([f"- {text}" for text in _limits(log)]), "", LAST_LINE])


def _heading(log: xr.Dataset) -> str:
    time = log["time"].values
    whose = f"stage {log.attrs['stage']}" if log.attrs["stage"] else "the front stage"
    return f"flight log of {whose}, {Path(str(log.attrs.get('log', 'a table'))).name}: {time.size} rows from {time[0]:.2f} to {time[-1]:.2f} s since liftoff"


def _answer(log: xr.Dataset) -> Iterator[str]:
    error, by = log.attrs["liftoff_error"], log.attrs["liftoff_by"]
    known = f" +- {error:.3f} s" if error > 0.0 else ""
    yield f"ANSWER: liftoff at {log.attrs['liftoff_time']:.3f} s of the log's clock{known}, by {by}. {_apogee(log)}"
    if "height_by" in log.attrs:
        yield f"Heights by the barometer: {log.attrs['height_by']}."
    if "finding" not in log:
        yield "Nothing was found wrong in it; what no check looks for may be wrong all the same."
        return
    done = log["finding_done"].values.astype(str)
    words = [f"{(done == word).sum()} {word}" for word in ("corrected", "dropped", "cut", "kept") if (done == word).any()]
    yield f"{counted(done.size, 'finding')}: {', '.join(words)}. What is kept is still in the log as it was, whatever is said of it."
    units = log["finding_of"].values.astype(str)[log["finding_kind"].values == "unit"]
    if units.size:
        yield f"LOOK FIRST at the units of {', '.join(dict.fromkeys(units))}: they do not fit physics, and nothing was changed. Mend the column map."
    if (done == "cut").any():
        yield "CUT: the log was cut where its clock began anew; reset_gap, or another clock, brings the rest back."


def _apogee(log: xr.Dataset) -> str:
    name = next((one for one in ("height", "fix_height") if one in log), None)
    if name is None:
        return "The log has no height."
    top = apogee_time(log["time"].values, log[name].values)
    height = float(np.nanmax(log[name].values))
    if not math.isfinite(top):
        return "Its heights are too few for an apogee."
    if top > log["time"].values[-1] - 0.5:
        return f"It ends climbing, at {height:.0f} m."
    return f"Apogee by the {log[name].attrs.get('source', 'log')} {height:.0f} m, {top:.1f} s after liftoff."


# ---------------------------------------------------------------- contents


def _contents(log: xr.Dataset) -> Iterator[list[str]]:
    yield ["reading", "source", "readings", "rate Hz", "from s", "to s", "least", "most", "error", "unit"]
    time = log["time"].values
    for name in (one for one in KNOWN if one in log):
        values = log[name].values
        rows = np.isfinite(values.reshape(len(time), -1)).any(axis=1)
        t = time[rows]
        rate = 1.0 / np.median(np.diff(t)) if t.size > 1 else math.nan
        unit = log[name].attrs["units"]
        unit, factor = _SHORT.get(unit, (unit, 1.0))
        low, high = factor * np.nanmin(values), factor * np.nanmax(values)
        cells = [name, log[name].attrs.get("source", ""), str(t.size), f"{rate:.3g}", f"{t[0]:.2f}", f"{t[-1]:.2f}", f"{low:.4g}", f"{high:.4g}"]
        error = log[name].attrs.get("error")
        yield [*cells, "" if error is None else f"{factor * float(error):.2g}", unit if unit != "1" else ""]


# ---------------------------------------------------------------- rest


def _rest(log: xr.Dataset) -> Iterator[str]:
    if not {"body_rate", "specific_force"} & set(log):
        yield "The log has neither rates nor specific force: there is nothing that a rest would tell."
        return
    try:
        found = gyro_bias(log)
    except ValueError:
        yield "There is no rest of a second before liftoff: biases of gyros and accelerometers cannot be told from this log."
        return
    yield from rest_sentences(found, removed="finding_kind" in log and "bias" in log["finding_kind"].values)


def rest_sentences(found: xr.Dataset, removed: bool = False) -> Iterator[str]:
    """Yield what the rest before launch tells."""
    yield f"{found.attrs['readings']} readings from {found.attrs['rest_start']:.1f} to {found.attrs['rest_end']:.1f} s."
    if "bias" in found:
        bias, error, density = (np.degrees(found[name].values) for name in ("bias", "bias_error", "noise_density"))
        words = ", ".join(f"{axis} {b:+.4f} +- {e:.4f}" for axis, b, e in zip("xyz", bias, error) if math.isfinite(b))
        left = "what is left after taking it off: " if removed else ""
        yield f"Gyro bias, {left}{words} deg/s; noise density {np.nanmean(density):.2g} deg/s/sqrt(Hz)."
        if not removed and (np.abs(bias) > 5.0 * error).any():
            turned = 10.0 * np.nanmax(np.abs(bias))
            yield f"It is still in the log: integrated over 10 s it turns the attitude by {turned:.1f} deg (remove_bias=True takes it off)."
        yield _earth(found)
    if "force_scale" in found:
        scale, error = float(found["force_scale"]), float(found["force_scale_error"])
        said = f"{100.0 * scale:.2f} +- {100.0 * error:.2f} % of gravity"
        yield f"Specific force at rest is {said}: scale and bias together; a rest in one attitude cannot tell them apart."
        if math.isfinite(float(found["rail_elevation"])):
            lean, spread = (math.degrees(float(found[name])) for name in ("rail_elevation", "rail_elevation_error"))
            yield f"By it the body stood at {lean:.2f} +- {spread:.2f} deg above the horizontal (noise alone; a bias of 0.01 g adds 0.6 deg)."


def _earth(found: xr.Dataset) -> str:
    counts = "counts beside" if found.attrs["earth_counts"] else "is lost in"
    known = np.isfinite(found["earth_rate"].values).all()
    return f"The Earth's turning, 0.0042 deg/s, {counts} the standard error{' and is taken off' if known else '; without a mission it is part of the bias'}."


def rest_text(found: xr.Dataset) -> str:
    """Return the page of what `gyro_bias` returned."""
    return "\n".join(["The rest before launch", *indented(list(rest_sentences(found))), "", LAST_LINE])


# ---------------------------------------------------------------- limits


def _limits(log: xr.Dataset) -> Iterator[str]:
    """Yield what the log cannot be used for, and why."""
    kinds = set(log["finding_kind"].values.astype(str)) if "finding" in log else set()
    if "height" not in log and "fix_height" not in log:
        yield "heights, apogee and descent rates: nothing measured a height."
    if "specific_force" not in log:
        yield "thrust, drag and the instants of burns: there is no specific force."
    elif still(log, "specific_force") is None:
        yield "drag to a few per cent: without a rest before launch the accelerometer's bias is not known."
    if "body_rate" not in log:
        yield "damping, swinging, and where it pointed: there are no rates."
    if "saturated" in kinds:
        yield "attitudes integrated through the saturated stretch, and loads there: the truth lay beyond what the sensor reads."
    if not {"east", "north"} <= set(log):
        yield "drift and landing place: nothing measured a place over the ground."
    if log.attrs["liftoff_error"] > 0.1:
        yield f"timing to better than {log.attrs['liftoff_error']:.1f} s: liftoff is not known better."
    fast = _fastest(log)
    if fast > TRANSONIC:
        yield f"heights by the barometer ABOVE MACH {TRANSONIC:g} (it reached about Mach {fast:.1f}): a static port is wrong there by tens of metres."
    if "reset" in kinds:
        yield "attitudes behind the reset: a computer that starts anew takes itself for upright."
    yield "what no sensor of it felt: a log is evidence of its sensors, and these of the vehicle where they sit."


def _fastest(log: xr.Dataset) -> float:
    if "mach" in log:
        return float(log["mach"].max())
    up = climb(log["time"].values, {name: log[name].values for name in ("velocity", "specific_force") if name in log})
    return 0.0 if up is None else float(np.nanmax(up)) / 340.0


# ---------------------------------------------------------------- a proposed map


def map_text(proposed: ColumnMap) -> str:
    """Return the page of what `column_map` proposed: what was taken for what, and what no header can say."""
    rows = [["column", "taken for", "unit", "why"], *([one.heading, one.what, one.unit, one.why] for one in proposed.taken)]
    lines = [f"A column map proposed for {proposed.source}", "", "What was taken for what", *table(rows, words=3, remark=True), ""]
    left = ", ".join(proposed.left) if proposed.left else "nothing"
    lines += ["Left out, for its name says nothing that a log holds", *indented([left]), ""]
    asked = ["- axes, station and off_axis of the accelerometer and the gyros (taken as the body's own)", "- limit and error of each sensor"]
    asked += ["- what the states of the computer mean (read.phase.states)", "- the day's ground pressure, if the log does not begin at rest"]
    return "\n".join([*lines, "What no header says: look at it, and write it into the map", *indented(asked), "", "As a file:", "", str(proposed)])
