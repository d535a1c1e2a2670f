"""The page of a swing: what frequency, whether it agrees with the mission's restoring moment, and what the frames cannot tell."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.postflight.video.swing_of import MODEL, need_swing
from sixdof.study.reading.page import LAST_LINE

_WEAK = (
    "The square of the frequency goes with the restoring moment over the inertia: static margin times normal-force slope times dynamic pressure. A "
    "margin that is half as large swings 0.71 times as fast at the same speed; a wrong speed or inertia looks the same.",
    "A rolling body shows its swing at its own frequency plus and minus that of the roll; a single point on a tumbling body shows anything.",
)


def swing_text(ds: xr.Dataset) -> str:
    """Return the page of what `swing_of` returned. Raises ValueError for anything else."""
    need_swing(ds, "swing_text")
    time = ds["time"].values
    head = f"{ds['value'].attrs['long_name']}; {time.size} readings from {time[0]:.2f} to {time[-1]:.2f} s after liftoff"
    lines = ["A swing", *wrapped(head), "", *indented(list(_answer(ds))), "", *table(list(_rows(ds)), words=1, remark=True), ""]
    return "\n".join([*lines, "What to make of it", *indented([*_told(ds), *_WEAK]), "", LAST_LINE])


def _answer(ds: xr.Dataset) -> Iterator[str]:
    chance = float(ds["chance"])
    if not ds.attrs["found"]:
        why = f"noise alone fits as well in {100.0 * chance:.2g} % of cases" if chance >= 0.01 else "what is there is a bend, or too short to be a swing"
        yield f"ANSWER: NO OSCILLATION can be told: {why}."
        return
    yield (
        f"ANSWER: it swings at {float(ds['frequency']):.2f} Hz (+- {float(ds['frequency_error']):.2f}), damping ratio {float(ds['damping']):.2f} "
        f"(+- {float(ds['damping_error']):.2f})."
    )
    if "restoring_ratio" in ds:
        said = {"consistent": "The restoring moment is CONSISTENT with the mission's", "not consistent": "The restoring moment is NOT the mission's"}
        yield f"{said.get(ds.attrs['verdict'], 'Whether the restoring moment is the mission' + chr(39) + 's is NOT TOLD')}: {ds.attrs['reason']}."
    if float(ds["damping"]) + 2.0 * float(ds["damping_error"]) < 0.0:
        yield "IT GROWS: the damping is negative by more than two standard deviations."


def _rows(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["", "", "+- sd", "unit", ""]
    rows = [
        ("frequency", "Hz", 3, "as it swings"),
        ("natural_frequency", "Hz", 3, "as it would swing undamped"),
        ("damping", "1", 3, "of critical"),
        ("decrement", "1", 2, "logarithm of one swing over the next"),
    ]
    if "restoring_ratio" in ds:
        rows.append(("restoring_ratio", "1", 2, "fitted over the phase that the mission's own frequency runs through"))
    for name, unit, digits, text in rows:
        value, error = float(ds[name]), float(ds[f"{name}_error"])
        if math.isfinite(value):
            yield [name.replace("_", " "), f"{value:.{digits}f}", f"{error:.{digits}f}", unit, text]
    if "model_mean" in ds and math.isfinite(float(ds["model_mean"])):
        low, high = float(ds["model_frequency"].min()), float(ds["model_frequency"].max())
        spread = f"{float(ds['model_spread']):.3f}" if ds.attrs["drawn"] > 1 else "-"
        yield ["the mission's own", f"{float(ds['model_mean']):.3f}", spread, "Hz", f"undamped, {low:.2f} to {high:.2f} over the stretch"]


def _told(ds: xr.Dataset) -> Iterator[str]:
    rate = float(ds["sampling_rate"])
    if math.isfinite(rate):
        others = ", ".join(f"{value:.2f}" for value in ds["candidate"].values[1:])
        yield (
            f"At {rate:.4g} readings a second a swing at {others} Hz would look the same: {ds['candidate'].values[0]:.2f} Hz is the slowest of them, "
            "not the only one."
        )
    else:
        yield "The readings are not evenly spaced, so that no other frequency looks quite the same; those near the rate of the frames nearly do."
    noise, amplitude = (math.degrees(float(ds[name])) if ds["value"].attrs["units"] == "rad" else float(ds[name]) for name in ("noise", "amplitude"))
    unit = "deg" if ds["value"].attrs["units"] == "rad" else ds["value"].attrs["units"]
    yield f"Amplitude in the middle of the stretch {amplitude:.2g} {unit}, noise of a reading {noise:.2g} {unit}."
    if "restoring_ratio" in ds:
        yield (
            f"Linear models along the flight are granted {100.0 * MODEL:g} % of the frequency, {200.0 * MODEL:g} % of the restoring moment (this "
            "project's measure)."
        )
        if ds.attrs["fins_moved"]:
            yield "The mission's fins move in this stretch: under control the loop, not the airframe, sets the frequency."
    if np.isfinite(ds["damping"].values) and float(ds["damping_error"]) > 0.5 * abs(float(ds["damping"])):
        yield "The damping is not told: its error is half of it or more."
