"""The page of a static firing: what the motor is and what the flight feels of it first, then the numbers, what they rest on, and where they are weak."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.study.motor_choice.facts import IMPULSE_SCATTER
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.static_firing.entries import QUANTITIES
from sixdof.study.static_firing.felt import FELT
from sixdof.study.static_firing.spread import FEWEST
from sixdof.study.static_firing.with_firing import WIDEST, need_firing

_CAUTIONS = (
    "A motor on a stand may burst: pieces fly hundreds of metres. Stand off and behind cover as your code says for its class, hold the motor by a stand "
    "that is proven to several times the thrust, fire by wire with a key that you carry, and wait before you go near after a misfire.",
    "Static firings, like propellants and igniters, are a matter of law, permits and licensed practice; fire motors made and certified by others.",
)
_WEAK = (
    "A stand's ringing changes no impulse, but hides what is faster than itself: the steepness of ignition and short peaks are the stand's and the filter's.",
    "Taken as given: that the cell's gain is the same at rest and while it is shaken, that thrust acts along the cell's axis (2 deg off reads 0.06 % less, "
    "friction of a guided sledge more), that hoses, cables and hot gas bear on nothing, and that all firings were of the same lot at the same temperature.",
    "Errors of the motor's temperature, age and lot are those of the next motor, not of this page: cold grains burn slower.",
)
_WORDS = {
    "rail_departure_speed": ("leaves the rail at", "m/s", 1),
    "airspeed_max": ("flies at most", "m/s", 1),
    "burnout_airspeed": ("has at burnout", "m/s", 1),
    "apogee_height": ("reaches", "m", 0),
}


def static_firing_text(ds: xr.Dataset) -> str:
    """Return the page of what `static_firing` returned. Raises ValueError for anything else."""
    need_firing(ds, "static_firing_text")
    lines = [ds.attrs.get("title") or "A static firing", *wrapped(_heading(ds)), "", *indented(_answer(ds)), "", *table(list(_firings(ds)), words=2)]
    lines += ["", "Ignition and end by definition, mean of the firings", *table(list(_definitions(ds)), words=1, remark=True)]
    lines += ["", "What the impulse is uncertain by, standard deviations, mean of the firings", *table(list(_errors(ds)), words=1, remark=True)]
    lines += ["", "The stand", *indented(_stand(ds)), "", "Thrust curve and spread", *indented(_curve(ds))]
    notes = _notes(ds)
    if notes:
        lines += ["", "What was put right, and what to know", *indented(notes)]
    return "\n".join([*lines, "", "What to make of it", *indented([*_WEAK, *_CAUTIONS]), "", LAST_LINE])


def counted_firings(ds: xr.Dataset) -> str:
    """Return "1 firing", "4 firings"."""
    count = ds.sizes["firing"]
    return "1 firing" if count == 1 else f"{count} firings"


def _heading(ds: xr.Dataset) -> str:
    said = ds.attrs
    points, share = said["calibration_points"], 100.0 * said["calibration_error"]
    cell = (
        f"calibrated by {points} points, scale known to {share:.2g} %"
        if points
        else f"readings in N, scale known to {share:.2g} %"
        if share
        else "readings in N"
    )
    air = f"air at {1e-3 * said['reference_pressure']:.1f} kPa" if math.isfinite(said["reference_pressure"]) else "air pressure not given"
    rate = f"{float(ds['sample_rate'].min()):.0f} samples a second"
    motor = f' of the motor "{said["motor"]}"' if "motor" in said else ""
    return f"{counted_firings(ds)}{motor} on a stand, {said['stand']}; load cell {cell}; {rate}; {air}; {said.get('source', 'nothing flown')}"


# ---------------------------------------------------------------- the answer


def _answer(ds: xr.Dataset) -> Iterator[str]:
    impulse, burn = (ds.sel(quantity=name) for name in QUANTITIES)
    letters = "/".join(dict.fromkeys(ds["motor_class"].values.astype(str)))
    level = f"{100.0 * ds.attrs['confidence']:g} %"
    isp = _mean(ds["specific_impulse"])
    burnt = f", {isp:.0f} s of specific impulse" if math.isfinite(isp) else ""
    at_least = "AT LEAST " if float(ds["clipped"].sum()) else ""
    if ds.sizes["firing"] == 1:
        one = ds.isel(firing=0)
        ends = f"{level} interval {float(one['total_impulse_low']):.1f} to {float(one['total_impulse_high']):.1f}"
        yield f"ANSWER: class {letters}, {at_least}{float(one['total_impulse']):.1f} N s ({ends}), burning {float(burn['mean']):.2f} s{burnt}."
        yield "One firing says nothing of how the next one will differ: drawn is this project's scatter of commercial motors with the error of measuring."
    else:
        ends = f"{level} interval of the mean {float(impulse['mean_low']):.1f} to {float(impulse['mean_high']):.1f}"
        yield f"ANSWER: class {letters}, {at_least}{float(impulse['mean']):.1f} N s ({ends}), burning {float(burn['mean']):.2f} s{burnt}."
        out = ds["firing"].values[ds["outlier"].values.astype(bool)].astype(str)
        if out.size:
            yield f"OUTLIER: {', '.join(out)} (Grubbs, 5 %). It is counted; find out why before you leave it out or fly such a motor."
        yield f"Firings differ by {_percent(impulse)} in impulse and {_percent(burn)} in burn time (standard deviations)."
    yield from _felt(ds)


def _percent(one: xr.Dataset) -> str:
    return f"{100.0 * float(one['scatter'] / one['mean']):.1f} %"


def _mean(values: xr.DataArray) -> float:
    known = values.values[np.isfinite(values.values)]
    return float(known.mean()) if known.size else math.nan


def _felt(ds: xr.Dataset) -> Iterator[str]:
    """Say what the flight feels of the motor as fired, in place of as the mission has it."""
    if "motor_as" not in ds.dims:
        return
    change = {name: float(ds[f"flown_motor_{name}"][1] / ds[f"flown_motor_{name}"][0] - 1.0) for name in ("total_impulse", "burn_time", "average_thrust")}
    words = ", ".join(f"{100.0 * share:+.1f} % {name.replace('_', ' ')}" for name, share in change.items())
    yield f'Against "{ds.attrs["motor"]}" as the mission has it: {words}.'
    parts = []
    for name in FELT:
        before, after = ds[f"flown_{name}"].values
        text, unit, digits = _WORDS[name]
        if np.isfinite([before, after]).all():
            parts.append(f"{text} {after:.{digits}f} {unit} in place of {before:.{digits}f}")
    if math.isfinite(ds.attrs["reference_pressure"]):
        yield f"As fired the curve counts as measured in air of {1e-3 * ds.attrs['reference_pressure']:.1f} kPa."
    yield f"The flight feels it, nominal and as flown: it {'; '.join(parts)}."
    if "drawn_apogee_height" in ds:
        before, after = (_range(row) for row in ds["drawn_apogee_height"].values)
        yield f"Over {ds.attrs['flights']} drawn flights (5 %, 50 %, 95 %) it reaches {after} m in place of {before} m."


def _range(quantiles: np.ndarray) -> str:
    return ", ".join(f"{value:.0f}" for value in quantiles)


# ---------------------------------------------------------------- numbers


def _firings(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["firing", "class", "impulse N s", "+- sd", "burn time s", "average N", "peak N", "Isp s", "+- sd", "delay s"]
    for name in ds["firing"].values:
        one = ds.sel(firing=name)
        first = one.isel(definition=0)
        numbers = [(one["total_impulse"], 1), (one["total_impulse_error"], 1), (first["burn_time"], 3), (first["average_thrust"], 1), (one["peak_thrust"], 1)]
        numbers += [(one["specific_impulse"], 1), (one["specific_impulse_error"], 1), (one["delay"], 1)]
        outlier = " (outlier)" if bool(one["outlier"]) else ""
        yield [f"{name}{outlier}", str(one["motor_class"].values), *(_number(float(value), digits) for value, digits in numbers)]


def _number(value: float, digits: int) -> str:
    return f"{value:.{digits}f}" if math.isfinite(value) else "-"


def _definitions(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["definition", "burn time s", "+- sd of one", "average N", "what it says"]
    for k, name in enumerate(ds["definition"].values):
        one = ds.isel(definition=k)
        numbers = [_mean(one["burn_time"]), _mean(one["burn_time_error"]), _mean(one["average_thrust"])]
        yield [str(name), *(_number(value, digits) for value, digits in zip(numbers, (3, 3, 1), strict=True)), str(one["definition_text"].values)]


def _errors(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["source", "N s", "%", "what it is"]
    mean, total = ds["impulse_error"].mean("firing"), float(ds["total_impulse"].mean())
    for k in np.argsort(-mean.values):
        value = float(mean[k])
        yield [str(ds["error_source"].values[k]), f"{value:.2f}", f"{100.0 * value / total:.2f}", str(ds["error_source_text"].values[k])]
    value = float(ds["total_impulse_error"].mean())
    yield ["together", f"{value:.2f}", f"{100.0 * value / total:.2f}", "root of the sum of squares"]


def _stand(ds: xr.Dataset) -> Iterator[str]:
    noise, smooth, step = _mean(ds["noise"]), _mean(ds["smoothed_noise"]), _mean(ds["reading_step"])
    yield f"Noise before ignition: {noise:.2f} N, {smooth:.2f} N once filtered; readings step by {step:.2g} N."
    found = ds["ringing_frequency"].values[np.isfinite(ds["ringing_frequency"].values)]
    if found.size:
        damping = _mean(ds["ringing_damping"])
        words = f"damped by {100.0 * damping:.1f} % of critical" if math.isfinite(damping) else "damped too little to be told"
        yield f"The stand rings at {found.mean():.1f} Hz, {words} (found in {found.size} of {counted_firings(ds)})."
    else:
        yield "No ringing of the stand stands out of the noise."
    notch, low = _mean(ds["notch"]), _mean(ds["lowpass"])
    filters = [f"the mean over one period of {notch:.1f} Hz"] if notch > 0.0 else []
    filters += [f"a low-pass that lets half the power through at {low:.0f} Hz"] if low > 0.0 else []
    yield f"Filtered without delay by {' and '.join(filters)}, which keep the impulse." if filters else "Nothing is filtered."
    if np.isfinite(ds["ignition_delay"]).any():
        yield f"From the igniter's current to the first 5 % of the largest thrust: {_mean(ds['ignition_delay']):.2f} s (mean)."


def _curve(ds: xr.Dataset) -> Iterator[str]:
    miss, rms, points = 100.0 * float(ds["curve_miss"]), 100.0 * float(ds["curve_miss_rms"]), ds.sizes["curve_point"]
    of = (
        ""
        if ds.sizes["firing"] == 1
        else ", the mean of the firings " + ("stretched to the mean burn time" if ds.attrs["alignment"] == "burn_time" else "from ignition on")
    )
    yield f"{points} points keep the impulse and miss the filtered curve{of} by at most {miss:.1f} % of its peak (rms {rms:.1f} %)."
    for name, unit, digits in zip(QUANTITIES, ("N s", "s"), (1, 3), strict=True):
        one = ds.sel(quantity=name)
        if ds.sizes["firing"] > 1:
            low, high = (_number(float(one[end]), digits + 1) for end in ("scatter_low", "scatter_high"))
            yield (
                f"{name.replace('_', ' ')}: standard deviation {float(one['scatter']):.{digits + 1}f} {unit} ({low} to {high}), without that of measuring "
                f"{float(one['own_scatter']):.{digits + 1}f}; 95 % of such motors have more than {float(one['tolerance_low']):.{digits}f} {unit}"
            )
    spreads = ds["spread"].values
    wide = " This is so wide because the firings are so few: more of them narrow it." if 1 < ds.sizes["firing"] < FEWEST or spreads.max() > WIDEST else ""
    drawn = f"motor.impulse sd {100.0 * spreads[0]:.1f} %, motor.burn_time sd {100.0 * spreads[1]:.1f} %"
    yield f"For [disperse]: {drawn}; sixdof.workshop.with_firing puts them in.{wide}"
    if ds.sizes["firing"] > 1:
        most, share = 100.0 * IMPULSE_SCATTER, float(ds["scatter"][0] / ds["mean"][0])
        verdict = "these are within it" if share <= IMPULSE_SCATTER else "these scatter MORE"
        yield f"NFPA 1125 (from memory) certifies a motor whose impulse has a standard deviation of at most {most:.1f} % of its mean: {verdict}."
    tie = float(ds["correlation"])
    if math.isfinite(tie):
        yield f"Impulse and burn time go together with a correlation of {tie:+.2f}."


def _notes(ds: xr.Dataset) -> list[str]:
    """Return what is said of the logs; what is said of all of them once."""
    found: dict[str, list[str]] = {}
    for name, note in zip(ds["firing"].values.astype(str), ds["note"].values.astype(str), strict=True):
        for sentence in note.splitlines():
            found.setdefault(sentence, []).append(name)
    said = [f"- {'all' if len(who) == ds.sizes['firing'] > 1 else ', '.join(who)}: {sentence}" for sentence, who in found.items()]
    return [*([f"- {ds.attrs['calibration_note']}"] if ds.attrs["calibration_note"] else []), *said]
