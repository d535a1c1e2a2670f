"""The page of an estimate: what the numbers are and what cannot be told first, then how it was found, and where it is weak."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.postflight.estimation.telling import estimated, expected_outliers, inseparable, learned, logs_word, stretches
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import need_table

TRANSONIC = 0.8  # Mach number above which static ports, drag and stability are least sure
SHOWN_STRETCHES = 6
LARGER = 1.3  # times the error that a log states, from which on residuals are told
SURE_WHITE = 0.01  # probability below which residuals are no white noise
ROUGH = 0.3  # standard deviations that the last step left, from which on it is told
DOUBTED = 2.0  # times the noise that is explained: an estimate that leaves so much is not trusted
FAR = 2.5  # standard deviations of before

_WEAK = (
    "The flights laid against the log fly without turbulence and without noise of the computer's sensors: of the real flight nobody knows either. What they "
    "did to it is counted by the residuals and by noisy flights at the estimate: no better than the mission's own numbers of that noise, and to first order. "
    "Of 48 intervals of 90 % from 12 guided trial flights 75 % held (38 % without flown noise); some flights came to a wrong end, up to 38 standard deviations "
    "off: compare with starts=3, and with the part of the log before guidance starts (between=).",
    "An estimate answers only for what the model can do: a cause that no parameter stands for is laid on the parameters that look most like it.",
    "One factor stands for all Mach numbers and incidences that were flown; outside of what the log reached it is as unknown as before.",
    "Intervals are as wide as the slopes at the estimate say (normal, to first order); residuals beyond 3 standard deviations pull no harder than one there.",
)


def estimate_text(ds: xr.Dataset) -> str:
    """Return the page of what `estimate` returned. Raises ValueError for anything else."""
    need_estimate(ds, "estimate_text")
    lines = [ds.attrs.get("title") or "An estimate", *wrapped(_heading(ds)), "", *indented(list(_answer(ds)))]
    hidden = list(inseparable(ds)) or [f"All that was asked for can be told from {logs_word(ds)}."]
    lines += ["", "What cannot be told apart", *indented(hidden)]
    lines += ["", "How far the data reach", *indented(list(_reach(ds)))]
    lines += ["", "Parameters, SI", *table(list(_parameters(ds)), words=2)]
    lines += ["", "Residuals, standard deviations (SI) at the means of before and after", *table(list(_channels(ds)), words=2)]
    lines += ["", "What stands out", *indented(list(_outliers(ds)))]
    lines += ["", "How it was found", *indented(list(_found(ds)))]
    return "\n".join([*lines, "", "What to make of it", *indented([*_next(ds), *_WEAK]), "", LAST_LINE])


def need_estimate(ds: xr.Dataset, who: str) -> None:
    """Check that a Dataset is what `estimate` returns."""
    need_table(ds, who, "postflight.estimate", "direction_information", "cramer_rao", "residual_after")


def _heading(ds: xr.Dataset) -> str:
    logs, readings = ds.sizes["log"], int(np.nansum(ds["samples"].values))
    time = ds["sample_time"].values
    span = f"{np.nanmin(time):.1f} to {np.nanmax(time):.1f} s after liftoff"
    what = "the log of 1 flight" if logs == 1 else f"the logs of {logs} flights"
    count = ds.sizes["parameter"]
    parameters = "1 parameter" if count == 1 else f"{count} parameters"
    return f"{parameters} from {what}, {readings} readings, {span}; intervals of {100.0 * ds.attrs['confidence']:g} %"


def _answer(ds: xr.Dataset) -> Iterator[str]:
    if not ds.attrs["converged"]:
        yield (
            "NOT CONVERGED: the turns were used up; give more turns, better priors or fewer parameters before you use a number. Standard deviations are "
            "doubled, by rule of thumb."
        )
    for k, name in enumerate(ds["parameter"].values):
        one = ds.isel(parameter=k)
        start = "ANSWER: " if k == 0 else ""
        yield f"{start}{name} is {estimated(one)}; {logs_word(ds)} {'say' if ds.sizes['log'] > 1 else 'says'} {learned(one)} about it."
    if ds.attrs["noisy"]:
        yield _noisy(ds)
    if float((ds["noise"] / ds["known_error"]).max()) > DOUBTED:
        yield (
            "DOUBTED: the log is farther from this estimate than stated errors and flown noise explain, see what stands out below: intervals then promise too "
            "much. Look for another end (starts=3), ask for what may be missing, or leave out the part of the log that does not fit."
        )
    far = [str(name) for name, moved in zip(ds["parameter"].values, ds["moved"].values, strict=True) if math.isfinite(moved) and abs(moved) > FAR]
    if far:
        yield f"SURPRISING: {', '.join(far)} moved more than {FAR:g} standard deviations of before: doubt the prior, the log and the model, in turn."


def _noisy(ds: xr.Dataset) -> str:
    """Return the sentence about what the flights' own noise makes of the standard deviations."""
    share = ds["flown_sd"].values / ds["sd"].values
    listed = ", ".join(f"{100.0 * one:.0f} % of {name}" for name, one in zip(ds["parameter"].values, share, strict=True))
    return (
        f"NOISE OF THE FLIGHT: {ds.attrs['noisy']} flights with turbulence and errors of the computer's sensors, as the mission draws them, were flown at the "
        f"estimate; what they move it by is counted (Huber, 1967; White, 1982; Efron, 1979). Flown noise makes so much of each standard deviation: {listed}."
    )


def _reach(ds: xr.Dataset) -> Iterator[str]:
    for k, log in enumerate(ds["log"].values):
        low, high, most = (float(ds[name][k]) for name in ("mach_low", "mach_high", "mach_most"))
        if not math.isfinite(most):
            yield f"{log}: its Mach numbers are not known."
            continue
        yield f"{log}: up to Mach {most:.2f}; nine tenths of what the air did to it between Mach {low:.2f} and {high:.2f}. Beyond: no data."
    most = float(np.nanmax(ds["mach_most"].values, initial=0.0))
    if most > TRANSONIC:
        yield (
            f"MACH {most:.2f} IS ABOVE MACH {TRANSONIC:g}: drag, stability and damping change with Mach there faster than one factor can follow, and "
            "static ports of barometers read wrong around Mach 1. Estimate the part below Mach 0.8 alone (between=) and compare, before you trust a number."
        )


def _parameters(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["", "unit", "estimate", "sd", "low", "high", "before", "sd", "moved", "shrunk", "bound", "flown noise"]
    for k, name in enumerate(ds["parameter"].values):
        one = ds.isel(parameter=k)
        numbers = [f"{float(one[what]):.4g}" for what in ("estimate", "sd", "low", "high", "prior_mean", "prior_sd")]
        bound = float(one["cramer_rao"])
        yield [
            str(name),
            str(one["unit"].item()),
            *numbers,
            f"{float(one['moved']):+.1f}",
            f"{100.0 * float(one['shrunk']):.0f} %",
            f"{bound:.3g}",
            f"{float(one['flown_sd']):.2g}",
        ]


def _channels(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["log", "column", "before", "after", "stated", "noise", "readings", "colour", "outliers"]
    for log in ds["log"].values:
        for channel in ds["channel"].values:
            one = ds.sel(log=log, channel=channel)
            if np.isfinite(float(one["samples"])):
                stated = float(one["known_error"])
                numbers = [f"{float(one[name]):.3g}" for name in ("rms_before", "rms_after")]
                known = f"{stated:.3g}" if math.isfinite(stated) else "none"
                counts = [f"{float(one['samples']):.0f}", f"{float(one['colour']):.1f}", f"{float(one['outliers']):.0f}"]
                yield [str(log), str(channel), *numbers, known, f"{float(one['noise']):.3g}", *counts]


def _outliers(ds: xr.Dataset) -> Iterator[str]:
    found = stretches(ds)
    total, chance = sum(one[4] for one in found), expected_outliers(ds)
    yield f"{total} readings lie more than 3 standard deviations from the estimate; chance alone would make {chance:.0f}."
    for log, channel, first, last, count, most in found[:SHOWN_STRETCHES]:
        if count > 1:
            yield f"{log}: {channel} from {first:.2f} to {last:.2f} s ({count} readings, up to {most:.1f} standard deviations)."
    ratio = (ds["noise"] / ds["known_error"]).values
    for k, log in enumerate(ds["log"].values):
        loud = np.flatnonzero(ratio[k] > LARGER)
        if loud.size:
            listed = ", ".join(f"{ds['channel'].values[c]} ({ratio[k, c]:.1f})" for c in loud[np.argsort(-ratio[k, loud])])
            yield (
                f"{log}: residuals larger than stated errors and flown noise make them, times: {listed}. The model lacks something there, or the fit found no "
                "way out of a wrong end (starts=3 tells), or the stated errors are too small. They are weighted by what they are."
            )
    coloured = [str(ds["channel"].values[c]) for c in np.flatnonzero((ds["whiteness"].values < SURE_WHITE).any(axis=0))]
    if coloured:
        most = float(np.nanmax(ds["colour"].values))
        yield f"No white noise: {', '.join(coloured)}; up to {most:.0f} readings are worth one. White-noise theory would promise too much; intervals count it."


def _found(ds: xr.Dataset) -> Iterator[str]:
    state = "converged" if ds.attrs["converged"] else "NOT converged"
    yield (
        f"Output-error method (Maine and Iliff, NASA RP-1168, 1986): {ds.attrs['flown']} flights in {ds.attrs['turns']} turns, {state}; last step "
        f"{float(ds['turn_step'][-1]):.2g} standard deviations. Covariance with the residuals' own colour (Morelli and Klein, 1997; Maine and Iliff, 1981)."
    )
    left, count = float(ds["turn_step"][-1]), ds.sizes["parameter"] + ds.sizes.get("carried", 0)
    if ds.attrs["converged"] and left > ROUGH:
        yield (
            f"The flights are rough at this scale (play, dead bands, ticks of the computer): slopes promise a last step of {left:.1f} standard deviations, "
            f"shared by {count} numbers, that no flight keeps. The intervals hold it."
        )
    if ds.sizes["start"] > 1:
        apart = ds["start_cost"].values - ds["start_cost"].values.min()
        same = int((apart < 1.0).sum())
        yield f"{same} of {ds.sizes['start']} starting points came to the same end" + ("." if same == ds.sizes["start"] else "; the best of them is told.")
    if "carried" in ds.dims:
        moved = np.argsort(-np.abs(ds["carried_moved"].values))[:3]
        listed = ", ".join(f"{ds['carried'].values[j]} ({float(ds['carried_moved'][j]):+.1f} sd)" for j in moved)
        yield f"Carried along, as the mission says they are uncertain: {ds.sizes['carried']} more numbers; moved most: {listed}."
    if ds.attrs.get("held"):
        yield f"Held at the middle of their spreads, for the log does not see them, or they have no continuous one: {ds.attrs['held']}."


def _next(ds: xr.Dataset) -> Iterator[str]:
    yield (
        "`with_estimated(mission, found)` lays means, spreads and correlations into the mission's [disperse], so that the next ensemble is drawn from them; "
        "what is of the day alone (wind, air, the motor burnt) stays as the mission has it."
    )
    bound = ds["cramer_rao"].values
    untold = [str(name) for name, one in zip(ds["parameter"].values, bound, strict=True) if not math.isfinite(one)]
    if untold:
        yield f"Without the prior the data alone would not tell {', '.join(untold)} at all: the number is the prior's."
