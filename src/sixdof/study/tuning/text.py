"""Tuned gains in words, and as lines of a mission file."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.page import table, wrapped
from sixdof.study.loops.margins import MOST_INCIDENCE
from sixdof.study.tuning.design import Design, TunedGains
from sixdof.study.tuning.limits import limiting

_DEG = math.degrees(1.0)
_OVER = {"mach": ("Mach", 1.0, 2), "dynamic_pressure": ("q, Pa", 1.0, 0), "": ("", 1.0, 0)}
CAUTION = (
    "Linear margins of a model, along one flight: they say nothing of what the model omits. Check the gains over an ensemble "
    "(margin_spread, disperse), on the bench with the real servos, and with the range safety officer. A simulation is never a clearance to fly."
)
NO_TRUST = "above Mach 0.8 the aerodynamics, and with them these margins, are estimates"


def report_of(tuned: TunedGains, limits: xr.Dataset) -> str:
    """Return what `tune` found as a page of text. limits : as `limits_of` returns them."""
    lines = [tuned.before.title or "untitled", "gains from a specification", "", *_asked(tuned), ""]
    for design in tuned.designs:
        lines += _table(tuned, design)
    lines += ["", *_margin_lines(tuned), ""]
    for design in tuned.designs:
        if not design.booster:
            lines += wrapped(f"{' and '.join(design.channels)}: {limiting(tuned, limits, design.channels[0])}.")
    for design in tuned.designs:
        lines += _shortfalls(tuned, design)
    if float(tuned.models["mach"].max()) > 0.8:
        lines += wrapped(f"{NO_TRUST}: this flight reaches Mach {float(tuned.models['mach'].max()):.2f}.")
    return "\n".join([*lines, "", *wrapped(CAUTION)])


def _asked(tuned: TunedGains) -> list[str]:
    spec = tuned.spec
    speed = f"{spec.bandwidth:g} rad/s" if spec.bandwidth is not None else f"{100.0 * spec.reserve:.0f} % of the quickest"
    bends = "" if tuned.bending is None else f", a bending mode at {tuned.bending.frequency:g} Hz"
    return wrapped(
        f"asked: {spec.gain_margin_db:g} dB, {spec.phase_margin_deg:g} deg, {speed}, damping {spec.damping:g}, a step of {spec.goal_step_deg:g} deg "
        f"and gusts of {spec.gust:g} m/s within {100.0 * spec.servo_share:.0f} % of the servos{bends}"
    )


def _table(tuned: TunedGains, design: Design) -> list[str]:
    """Return the gains of a design, one line per row of the schedule."""
    p_unit, i_unit = ("", "1/s") if tuned.mission.autopilot.structure == "pid" else ("1/s", "")
    name, factor, digits = _OVER[design.over]
    where = " with the booster on" if design.booster else ""
    pressure = tuned.mission.autopilot.gain_reference_q
    scaled = f", times {pressure:g} Pa/q" if pressure else ""
    rows = [[name, f"p {p_unit}".rstrip(), f"i {i_unit}".rstrip(), "d s"]]
    for at, gains in zip(design.rows_at, design.gains.T):
        rows.append([f"{at * factor:.{digits}f}" if name else "", *(f"{g:.3g}" for g in gains)])
    return [f"{' and '.join(design.channels)}{where}{scaled}", *table(rows)]


def _margin_lines(tuned: TunedGains) -> list[str]:
    rows = [["", "", "gain dB", "phase deg", "delay ms", "|1 + L|", "bandwidth", "worst at"]]
    for channel in tuned.spec.channels:
        for word, found in (("before", tuned.margins_before), ("now", tuned.margins)):
            rows.append(_margin_row(found.sel(channel=channel, broken_at="actuator"), channel, word))
    lines = [*table(rows, words=2, remark=True), _kept(tuned, tuned.margins, "the new flight")]
    lines += [_kept(tuned, found, f"the drawn flight {flight}") for flight, found in tuned.margins_drawn.items()]
    left_out = sum(int((found["incidence"] > MOST_INCIDENCE).sum()) for found in (tuned.margins, *tuned.margins_drawn.values()))
    if left_out:
        lines.append(f"{left_out} points beyond {MOST_INCIDENCE * _DEG:.0f} deg of incidence are omitted: fins stall there, and nothing is linear")
    return lines


def _kept(tuned: TunedGains, found, where: str) -> str:
    met = tuned.holds(found)
    if bool(met.all()):
        return f"the margins asked for hold at every point of {where}"
    bad = met["time"].values[~met.all("channel").values]
    return f"the margins asked for do NOT hold at {len(bad)} of {met.sizes['point']} points of {where}, from {bad.min():.2f} s to {bad.max():.2f} s"


def _margin_row(one, channel: str, word: str) -> list[str]:
    if not bool(one["stable"].all()):
        bad = one["time"].values[~one["stable"].values]
        return [channel, word, f"UNSTABLE at {len(bad)} of {one.sizes['point']} points, first at {bad.min():.2f} s"]
    k = int(one["distance"].values.argmin())
    cells = [_least(one["gain_margin_db"], 1.0, 1), _least(one["phase_margin"], _DEG, 1), _least(one["delay_margin"], 1e3, 0)]
    band = one["bandwidth"].values
    middle = f"{np.nanmedian(band):.1f} rad/s" if np.isfinite(band).any() else "none"
    return [channel, word, *cells, f"{float(one['distance'][k]):.2f}", middle, f"{float(one['time'][k]):.2f} s, Mach {float(one['mach'][k]):.2f}"]


def _least(values, factor: float, digits: int) -> str:
    values = values.values[np.isfinite(values.values)]
    return f"{values.min() * factor:.{digits}f}" if values.size else "none"


def _shortfalls(tuned: TunedGains, design: Design) -> list[str]:
    """Return what a design could not give, a line each."""
    names, lines, a = " and ".join(design.channels), [], design.answer
    if a.margin.min() < 0.98:
        lines.append(
            f"{names}: no gains that were found keep both margins everywhere; at the worst point they keep {100.0 * max(a.margin.min(), 0.0):.0f} % of them."
        )
    if tuned.slow(design):
        lines.append(f"{names}: the {tuned.spec.bandwidth:g} rad/s asked for are NOT reached: {a.speed.min():.3g} rad/s at the slowest point.")
    if a.peak.min() < 0.98:
        lines.append(
            f"{names}: margins came before a calm answer: the angle overshoots sinusoidal goals "
            f"{100.0 * (1.0 / a.peak.min() - 1.0):.0f} % more than the damping asked for."
        )
    if a.servo.min() < 0.98:
        lines.append(f"{names}: at the worst point the step or the gust asked for takes {100.0 / a.servo.min():.0f} % of the servo use allowed.")
    return [line for text in lines for line in wrapped(text)]


def fragment_of(tuned: TunedGains) -> str:
    """Return the changed keys of [autopilot] as TOML, with where they come from."""
    changes = {path.removeprefix("autopilot."): value for path, value in tuned.changes.items()}
    if not changes.get("schedule"):
        changes.pop("schedule_over", None)
    gone = sorted(f"autopilot.{key}" for key, value in changes.items() if value in (None, [], {}))
    spec = tuned.spec
    head = [
        f"# gains for {tuned.before.title or 'this mission'}, from sixdof.tune: {spec.gain_margin_db:g} dB and {spec.phase_margin_deg:g} deg "
        f"{'hold' if tuned.met else 'do NOT hold'} along its nominal flight{_and_drawn(tuned)}.",
        "# Put these keys in the place of the same keys of [autopilot]" + (f"; remove {', '.join(gone)}." if gone else "."),
        "# Linear margins of a model are not a clearance to fly: check them over an ensemble and on the bench.",
        "[autopilot]",
    ]
    return "\n".join([*head, *(line for key, value in changes.items() if value not in (None, [], {}) for line in _toml(key, value)), ""])


def _and_drawn(tuned: TunedGains) -> str:
    return f" and its drawn flights {', '.join(map(str, tuned.drawn))}" if tuned.drawn else ""


def _toml(key: str, value) -> list[str]:
    """Return a key and its value as lines of TOML; a list of tables a line each."""
    if isinstance(value, list) and value and isinstance(value[0], dict):
        return [f"{key} = [", *(f"    {_inline(each)}," for each in value), "]"]
    return [f"{key} = {_inline(value)}"]


def _inline(value) -> str:
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key} = {_inline(each)}" for key, each in value.items() if each is not None) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(_inline(each) for each in value) + "]"
    return f'"{value}"' if isinstance(value, str) else repr(float(value))
