"""What firings say, as variables of a Dataset."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import xarray as xr
from scipy.special import ndtri

from sixdof.study.probes.columns import G0
from sixdof.study.static_firing.asking import Masses
from sixdof.study.static_firing.burn import DEFINITIONS
from sixdof.study.static_firing.calibration import Calibration
from sixdof.study.static_firing.firing import Firing
from sixdof.study.static_firing.impulse import SOURCES
from sixdof.study.static_firing.plausible import Nozzle, class_words, coefficients, implausible, off_the_scale, specific_impulse
from sixdof.study.static_firing.spread import burning_part, correlation_of, mean_curve, outliers, scatter_of, usual_scatter
from sixdof.study.static_firing.thinning import thinned

QUANTITIES = "total_impulse", "burn_time"
STEP_ERROR = 0.002  # of the largest thrust, by which a cell's rest may move by itself (this project's guess)
_NUMBERS = {
    "total_impulse": ("N s", "total impulse"),
    "total_impulse_error": ("N s", "standard deviation of the total impulse"),
    "total_impulse_low": ("N s", "lower end of the total impulse"),
    "total_impulse_high": ("N s", "upper end of the total impulse"),
    "peak_thrust": ("N", "largest thrust, filtered"),
    "peak_thrust_raw": ("N", "largest thrust, as read"),
    "propellant_mass": ("kg", "mass of the propellant"),
    "propellant_mass_error": ("kg", "standard deviation of the propellant's mass"),
    "spent_mass": ("kg", "mass of the motor after the firing"),
    "specific_impulse": ("s", "specific impulse"),
    "specific_impulse_error": ("s", "standard deviation of the specific impulse"),
    "exhaust_velocity": ("m/s", "effective exhaust velocity"),
    "thrust_coefficient": ("1", "thrust coefficient over the burn"),
    "characteristic_velocity": ("m/s", "characteristic velocity"),
    "ignition_delay": ("s", "time from the igniter's current to the first 5 % of the largest thrust"),
    "delay": ("s", "time from burnout (5 %) to the ejection charge"),
    "tare_before": ("N", "reading at rest before ignition"),
    "tare_after": ("N", "reading at rest after burnout"),
    "drift": ("N", "drift of the tare between the quiet stretches, the propellant's weight set aside"),
    "noise": ("N", "standard deviation of the readings before ignition"),
    "smoothed_noise": ("N", "standard deviation of the filtered readings before ignition"),
    "reading_step": ("N", "least step between two readings"),
    "sample_rate": ("Hz", "samples a second, by the median step"),
    "ringing_frequency": ("Hz", "natural frequency of the stand"),
    "ringing_damping": ("1", "damping ratio of the stand"),
    "notch": ("Hz", "frequency taken out"),
    "lowpass": ("Hz", "frequency at which the low-pass passes half of the power"),
    "clipped": ("1", "samples at the limit of the cell"),
}
_SCATTER = {
    "mean": "mean over the firings",
    "mean_low": "lower end of the mean (Student)",
    "mean_high": "upper end of the mean (Student)",
    "scatter": "standard deviation over the firings",
    "scatter_low": "lower end of the standard deviation (chi-square)",
    "scatter_high": "upper end of the standard deviation (chi-square)",
    "own_scatter": "standard deviation of the motors, that of measuring taken out",
    "tolerance_low": "above this lie 95 % of all such motors (one-sided tolerance bound, normal)",
}


def firing_entries(
    firings: Sequence[Firing], masses: Masses, nozzle: Nozzle, fired: np.ndarray, calibration: Calibration, weight: float, confidence: float
) -> dict[str, tuple]:
    """Return the variables along `firing`; fired : times of the igniter's current, s, NaN where not given."""
    z = float(ndtri(0.5 + 0.5 * confidence))
    rows, letters, notes = [], [], []
    for k, one in enumerate(firings):
        row, letter, said = _row(one, masses, k, nozzle, float(fired[k]), weight, z)
        rows.append(row)
        letters.append(letter)
        notes.append("\n".join([*one.notes, *said]))
    found = {name: ("firing", np.array([row[name] for row in rows]), {"units": u, "long_name": text}) for name, (u, text) in _NUMBERS.items()}
    found["motor_class"] = ("firing", np.array(letters, dtype=str), {"long_name": "class by the total impulse (NFPA 1125)"})
    found["note"] = ("firing", np.array(notes, dtype=str), {"long_name": "what was put right, and what to know, a line each"})
    out = outliers(np.array([row["total_impulse"] for row in rows])) | outliers(np.array([one.burn_times[0] for one in firings]))
    found["outlier"] = ("firing", out, {"long_name": "whether impulse or burn time is an outlier (Grubbs, 5 %)"})
    return found | _by_definition(firings) | _by_source(firings) | _samples(firings)


def _row(one: Firing, masses: Masses, k: int, nozzle: Nozzle, fired: float, weight: float, z: float) -> tuple[dict[str, float], str, list[str]]:
    thrust, mass, mass_error = one.thrust, float(masses.propellant[k]), float(masses.propellant_error[k])
    low, high = thrust.total - z * thrust.error, thrust.total + z * thrust.error
    letter, doubt = class_words(low, thrust.total, high)
    isp, isp_error = specific_impulse(thrust.total, thrust.error, mass, mass_error)
    coefficient, velocity = coefficients(nozzle, thrust.total, float(one.averages[0]), mass)
    step = thrust.tare_after - thrust.tare_before
    said = implausible(thrust.total, isp, coefficient, velocity) + ([doubt] if doubt else [])
    said += off_the_scale(one.parts.sign * step, STEP_ERROR * float(one.force.max()), mass, weight)
    row = {
        "total_impulse": thrust.total,
        "total_impulse_error": thrust.error,
        "total_impulse_low": low,
        "total_impulse_high": high,
        "peak_thrust": float(one.force.max()),
        "peak_thrust_raw": float(thrust.force.max()),
        "propellant_mass": mass,
        "propellant_mass_error": mass_error if math.isfinite(mass) else math.nan,
        "spent_mass": float(masses.spent[k]),
        "specific_impulse": isp,
        "specific_impulse_error": isp_error,
        "exhaust_velocity": isp * G0,
        "thrust_coefficient": coefficient,
        "characteristic_velocity": velocity,
        "ignition_delay": float(one.ends[0, 0]) - fired,
        "delay": one.parts.ejection - float(one.ends[0, 1]),
        "tare_before": thrust.tare_before,
        "tare_after": thrust.tare_after,
        "drift": thrust.drift,
        "noise": one.noise,
        "smoothed_noise": one.smooth_noise,
        "reading_step": one.quantum,
        "sample_rate": 1.0 / one.log.step,
        "ringing_frequency": one.ringing.frequency,
        "ringing_damping": one.ringing.damping,
        "notch": one.notch,
        "lowpass": one.lowpass,
        "clipped": float(one.clipped),
    }
    return row, letter, said


def _by_definition(firings: Sequence[Firing]) -> dict[str, tuple]:
    dims = ("firing", "definition")
    return {
        "burn_start": (dims, np.array([one.ends[:, 0] for one in firings]), {"units": "s", "long_name": "beginning of the burn, by the log's clock"}),
        "burn_end": (dims, np.array([one.ends[:, 1] for one in firings]), {"units": "s", "long_name": "end of the burn, by the log's clock"}),
        "burn_time": (dims, np.array([one.burn_times for one in firings]), {"units": "s", "long_name": "burn time"}),
        "burn_time_error": (dims, np.array([one.burn_time_errors for one in firings]), {"units": "s", "long_name": "standard deviation of the burn time"}),
        "average_thrust": (dims, np.array([one.averages for one in firings]), {"units": "N", "long_name": "average thrust over the burn time"}),
        "definition": ("definition", np.array(list(DEFINITIONS)), {"long_name": "definition of ignition and end of the burn"}),
        "definition_text": ("definition", np.array(list(DEFINITIONS.values())), {"long_name": "what the definition says, and who"}),
    }


def _by_source(firings: Sequence[Firing]) -> dict[str, tuple]:
    text = {"units": "N s", "long_name": "standard deviation of the total impulse, by source"}
    return {
        "impulse_error": (("firing", "error_source"), np.array([one.thrust.errors for one in firings]), text),
        "error_source": ("error_source", np.array(list(SOURCES)), {"long_name": "source of error"}),
        "error_source_text": ("error_source", np.array(list(SOURCES.values())), {"long_name": "what the source is"}),
    }


def _samples(firings: Sequence[Firing]) -> dict[str, tuple]:
    """Return the logs along `sample`, the shorter ones filled with NaN."""
    most = max(one.log.time.size for one in firings)

    def filled(rows: list[np.ndarray], units: str, text: str) -> tuple:
        table = np.full((len(rows), most), np.nan)
        for k, row in enumerate(rows):
            table[k, : row.size] = row
        return ("firing", "sample"), table, {"units": units, "long_name": text}

    smooth = [np.interp(one.log.time, one.time, one.force, left=0.0, right=0.0) for one in firings]
    return {
        "log_time": filled([one.log.time for one in firings], "s", "time of the log"),
        "reading": filled([one.reading for one in firings], "N", "reading of the load cell"),
        "tare": filled([one.parts.sign * one.thrust.tare for one in firings], "N", "tare"),
        "thrust": filled([one.thrust.force for one in firings], "N", "thrust, tare and weight taken out"),
        "smoothed_thrust": filled(smooth, "N", "thrust, filtered without delay"),
    }


def scatter_entries(firings: Sequence[Firing], calibration: float, clock: float, confidence: float) -> xr.Dataset:
    """Return mean and scatter along `quantity`; calibration, clock : shares that all firings have in common."""
    impulse, burn = np.array([one.thrust.total for one in firings]), np.array([one.burn_times[0] for one in firings])
    random = np.array([math.sqrt(max(one.thrust.error**2 - (calibration**2 + clock**2) * one.thrust.total**2, 0.0)) for one in firings])
    of_burn = np.array([math.sqrt(max(one.burn_time_errors[0] ** 2 - (clock * one.burn_times[0]) ** 2, 0.0)) for one in firings])
    usual = usual_scatter()
    both = [scatter_of(impulse, random, math.hypot(calibration, clock), usual[0], confidence), scatter_of(burn, of_burn, clock, usual[1], confidence)]
    rows = [[*(s.mean.estimate, s.mean.low, s.mean.high), *(s.deviation.estimate, s.deviation.low, s.deviation.high), s.own, s.bound] for s in both]
    found = {
        name: ("quantity", np.array(values), {"units": "as quantity", "long_name": text})
        for (name, text), values in zip(_SCATTER.items(), zip(*rows, strict=True), strict=True)
    }
    found["spread"] = ("quantity", np.array([s.spread for s in both]), {"units": "1", "long_name": "standard deviation for [disperse], over the mean"})
    coords = {"quantity": ("quantity", list(QUANTITIES), {"long_name": "what scatters (N s, s)"})}
    return xr.Dataset(found, coords).assign(
        correlation=((), correlation_of(impulse, burn), {"units": "1", "long_name": "correlation of impulse and burn time"})
    )


def curve_entries(firings: Sequence[Firing], alignment: str, points: int) -> xr.Dataset:
    """Return the mean curve, each firing's aligned with it, and the thrust curve of few points."""
    mean = mean_curve(firings, alignment)
    noise = float(np.mean([one.smooth_noise for one in firings])) / math.sqrt(len(firings))
    time, force = burning_part(mean, noise)
    curve = thinned(time, force, float(np.mean([one.thrust.total for one in firings])), points)
    since = {"units": "s", "long_name": "time since the first 5 % of the largest thrust"}
    found = {
        "mean_thrust": ("mean_time", mean.force, {"units": "N", "long_name": "mean thrust of the firings"}),
        "aligned_thrust": (("firing", "mean_time"), mean.each, {"units": "N", "long_name": "thrust of each firing, aligned"}),
        "curve_time": ("curve_point", curve.time, {"units": "s", "long_name": "time since ignition"}),
        "curve_thrust": ("curve_point", curve.force, {"units": "N", "long_name": "thrust"}),
        "curve_start": ((), float(time[0]), {"units": "s", "long_name": "time of the curve's zero since the first 5 % of the largest thrust"}),
        "curve_miss": ((), curve.largest, {"units": "1", "long_name": "largest miss of the curve's points, over the largest thrust"}),
        "curve_miss_rms": ((), curve.rms, {"units": "1", "long_name": "root mean square miss of the curve's points, over the largest thrust"}),
    }
    return xr.Dataset(found, {"mean_time": ("mean_time", mean.time, since)})
