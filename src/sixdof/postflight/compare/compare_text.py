"""The page of a log against the flights: does the model hold and how far, what to look at first if not, then the numbers, and where they are weak."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.postflight.compare.causes import LEAST_GAIN
from sixdof.postflight.compare.segments import WHOLE
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import need_table, plural

FAST = 0.8  # Mach number
WELL_TOLD = 0.5  # of an input's spread: what a log leaves less of, it tells
ROWS = 10  # of a table of inputs or stretches
NAMED = 5  # inputs in one line

_WEAK = (
    "A log inside the band says that the model is right to the width of the band, not better: a wide band holds any log. What the log can tell of each "
    "input stands above.",
    "Errors of readings are taken as independent from one to the next; an offset that lasts (a warm barometer, a receiver's slow error, a tilted sensor) is "
    "not in the band, and shows among the causes as a bias.",
    "Causes are found by straight lines through the flights' draws, one cause at a time, beside all that varies anyway: they are where to look first, not "
    "proof. Two faults at once, a broken part or a shape of a curve that nothing disperses may show as none of them or as a wrong one.",
    "A late clock and a longer burn move a curve alike: of eight simulated logs 0.1 s late, one (of 100 instants) to five (of 200) named the clock first, the "
    "others the burn time. Where one of the two is named, look at both.",
    "The data end where they end: nothing is said of faster flights or larger incidences than this log's own.",
)


def compare_text(ds: xr.Dataset) -> str:
    """Return the page of what `compare_log` returned. Raises ValueError for anything else."""
    need_table(ds, "compare_text", "postflight.compare_log", "standardised_residual", "log_holds", "coverage")
    lines = [ds.attrs.get("title") or "A flight", *wrapped(_heading(ds)), "", *indented(_answer(ds))]
    causes = list(_causes(ds))
    if causes:
        lines += ["", "What to look at first (candidates, not proof)", *indented(causes)]
    lines += ["", "By variable, whole flight: share of instants inside each band (where 90 % of the flights lie with theirs)"]
    lines += table(list(_variables(ds)), words=1, remark=True)
    for title, rows in (("Stretches of the flight", _stretches(ds)), ("Single numbers", _scalars(ds)), ("What this log can tell", _told(ds))):
        found = list(rows)
        if found:
            lines += ["", title, *table(found, words=1, remark=True)]
    return "\n".join([*lines, "", "What to make of it", *indented([*_notes(ds), *_WEAK]), "", LAST_LINE])


def _heading(ds: xr.Dataset) -> str:
    said = ds.attrs
    logs = "a log" if ds.sizes["log"] == 1 else f"{ds.sizes['log']} logs"
    made = " (made certain)" if said["branch_made"] and said["branch"] != "nominal" else ""
    curves = "1 curve" if ds.sizes["channel"] == 1 else f"{ds.sizes['channel']} curves"
    text = f"{logs} against {plural(said['flights'])} of the branch {said['branch']}{made}; {curves} at {ds.sizes['time']} instants"
    if said["left_out_count"]:
        text += f"; {plural(said['left_out_count'])} of other branches left out ({said['left_out']})"
    return text + (f"; {plural(said['failed'])} that failed left out" if said["failed"] else "")


# ---------------------------------------------------------------- the answer


def _answer(ds: xr.Dataset) -> Iterator[str]:
    several = ds.sizes["log"] > 1
    for k, name in enumerate(ds["log"].values):
        one = ds.isel(log=k)
        yield f"{f'{name}: ' if several else 'ANSWER: '}{verdict(one, ds.attrs)}"
        yield from _aloud(one)
    if several:
        least = min(float(ds["log_p_value"].min()) * ds.sizes["log"], 1.0)
        yield f"All logs together: p = {least:.2g} (the least of them times their number)."


def verdict(one: xr.Dataset, said: dict) -> str:
    """Return the sentence of one log: whether the model holds, how far, and how sure that is."""
    p, data = float(one["log_p_value"]), _reach(float(one["log_mach"]), float(one["log_incidence"]))
    of = f"{p:.2g} of the flights leave the others as far as this log does"
    if int(one["log_holds"]):
        return f"the model holds as far as this log goes: {data}; beyond: no data. ({of}.)"
    mach, incidence = float(one["log_holds_to_mach"]), float(one["log_holds_to_incidence"])
    sure = f"THE MODEL DOES NOT HOLD in this log: only {of}; a log of a true model is called so once in {1.0 / (1.0 - said['confidence']):.0f}."
    if not math.isfinite(float(one["log_mach"])):
        return f"{sure} Nothing is known of Mach number and incidence here."
    if math.isfinite(mach) and mach >= float(one["log_mach"]) and not incidence < float(one["log_incidence"]):
        return f"{sure} Its climb through the air holds ({data}; beyond: no data): look at the rail and the descent."
    parts = [f"to Mach {mach:.2f}" if math.isfinite(mach) else "at no Mach number"]
    if math.isfinite(float(one["log_incidence"])):
        parts.append(f"to {math.degrees(incidence):.0f} deg of incidence" if math.isfinite(incidence) else "at no incidence")
    return f"{sure} Of the climb it holds {' and '.join(parts)}; the data go {data}; beyond: no data."


def _reach(mach: float, incidence: float) -> str:
    if not math.isfinite(mach):
        return "no climb through the air in the data"
    angle = f" and {math.degrees(incidence):.0f} deg of incidence" if math.isfinite(incidence) else ""
    return f"to Mach {mach:.2f}{angle}"


def _aloud(one: xr.Dataset) -> Iterator[str]:
    """Say loudly what is known above Mach 0.8."""
    top = float(one["log_mach"])
    if top < FAST:
        yield f"NOTHING IS SAID ABOVE MACH {top:.2f}: above Mach {FAST:g} the air of this model is an estimate, and this log never was there."
    elif top >= FAST:
        count = int(one["map_instants"].sel(mach_bin=slice(FAST - 1e-9, None)).sum())
        yield (
            f"ABOVE MACH {FAST:g} THE AIR OF THIS MODEL IS AN ESTIMATE: {count} of the instants compared are there. Barometers and static ports read wrongly "
            "in transonic flow: trust accelerometers before heights there."
        )


# ---------------------------------------------------------------- causes


def _causes(ds: xr.Dataset) -> Iterator[str]:
    if bool(ds["log_holds"].all()) or "candidate_gain" not in ds:
        return
    off = set(ds["log"].values[ds["log_holds"].values == 0].astype(str))
    number = 0
    for k in range(ds.sizes["candidate"]):
        one = ds.isel(candidate=k)
        if str(one["candidate_log"].item()) not in off:
            continue
        where = f"{one['candidate_log'].item()}: " if ds.sizes["log"] > 1 else ""
        if float(one["candidate_gain"]) < LEAST_GAIN:
            yield (
                f"{where}No single cause, of the dispersed inputs, clocks and sensors tried, explains what is left better than chance might: look at the "
                f"stretches below, at what is not dispersed in the mission, and at two things at once. The best of all, a weak one: {cause_sentence(one)}"
            )
            continue
        number += 1
        yield f"{number}. {where}{cause_sentence(one)}"


def cause_sentence(one: xr.Dataset) -> str:
    """Return what is said of one candidate."""
    amount, units = float(one["candidate_amount"]), str(one["candidate_units"].item())
    unit = "" if units == "1" else f" {units}"
    text = f"{one['candidate'].item()}: {amount:+.3g}{unit} (+- {float(one['candidate_amount_error']):.1g})"
    if one["candidate_kind"].item() == "input":
        text += f", {abs(float(one['candidate_sd'])):.1f} standard deviations from the mean of its draws ({_odds(float(one['candidate_implausibility']))})"
    text += f", gain {float(one['candidate_gain']):.3g}"
    after = float(one["candidate_p_after"])
    if math.isfinite(after):
        back = "back in the band" if after >= 0.05 else "still off"
        text += f"; with this taken out, and what stands above, {back} (p = {after:.2g})"
    for name, words in (("remark", "it looks as if "), ("alike", "not to be told apart by this log from ")):
        if one[f"candidate_{name}"].item():
            text += f"; {words}{one[f'candidate_{name}'].item()}"
    return text + "."


def _odds(p: float) -> str:
    return f"a draw as far out once in {1.0 / p:.0f}" if p > 1e-6 else "no draw is as far out: its spread is too narrow, or it is not this"


# ---------------------------------------------------------------- tables


def _variables(ds: xr.Dataset) -> Iterator[list[str]]:
    levels = [f"{100.0 * level:g} %" for level in ds["level"].values]
    yield ["variable", "instants", "worth", *levels, "bias", "p", "holds to"]
    whole, alpha = ds.sel(segment=WHOLE), 1.0 - ds.attrs["confidence"]
    for k, name in enumerate(ds["channel"].values):
        one = whole.isel(channel=k)
        if not int(one["instants"]):
            yield [str(name), "0", *[""] * 7, "no instant at which the flights differ"]
            continue
        cover = [
            f"{100.0 * a:.0f} ({100.0 * b:.0f}-{100.0 * c:.0f})"
            for a, b, c in zip(one["coverage"].values, one["coverage_low"].values, one["coverage_high"].values, strict=True)
        ]
        yield [str(name), f"{int(one['instants'])}", f"{float(one['effective_instants']):.1f}", *cover, f"{float(one['bias']):+.1f}", *_standing(one, alpha)]


def _standing(one: xr.Dataset, alpha: float) -> list[str]:
    p, adjusted = float(one["p_value"]), float(one["p_adjusted"])
    mach = float(one["channel_holds_to_mach"])
    if p >= alpha:
        reached = float(one["channel_mach"])
        words = f"Mach {reached:.2f}, its data" if math.isfinite(reached) else "its data"
    else:
        words = ("OFF" if adjusted < alpha else "doubtful") + (f", Mach {mach:.2f}" if math.isfinite(mach) else "")
    return [f"{p:.2g}", words]


def _stretches(ds: xr.Dataset) -> Iterator[list[str]]:
    alpha = 1.0 - ds.attrs["confidence"]
    yield ["stretch", "instants", "in 90 %", "flights'", "least p", "the variable of it, and what to make of it"]
    for k, name in enumerate(ds["segment"].values):
        one = ds.isel(segment=k)
        p = one["p_value"].values
        if not np.isfinite(p).any():
            continue
        at = int(np.nanargmin(p))
        cover, low, high = (float(np.nanmean(one[f"coverage{end}"].sel(level=0.9))) for end in ("", "_low", "_high"))
        adjusted = float(one["p_adjusted"].values[at])
        said = "OFF" if adjusted < alpha else "doubtful" if p[at] < alpha else "holds"
        shares = [f"{100.0 * cover:.0f}", f"{100.0 * low:.0f}-{100.0 * high:.0f}"]
        yield [str(name), f"{int(one['instants'].max())}", *shares, f"{p[at]:.2g}", f"{ds['channel'].values[at]}: {said}"]


def _scalars(ds: xr.Dataset) -> Iterator[list[str]]:
    if "scalar_logged" not in ds:
        return
    yield ["number", "log", "5 %", "50 %", "95 %", "p", "units"]
    for k, name in enumerate(ds["scalar"].values):
        one = ds.isel(scalar=k)
        numbers = [f"{float(one[f'scalar_{key}']):.4g}" for key in ("logged", "low", "median", "high")]
        yield [str(name).replace("_", " "), *numbers, f"{float(one['scalar_p_value']):.2g}", str(one["scalar_units"].item())]


def _told(ds: xr.Dataset) -> Iterator[list[str]]:
    if "told" not in ds:
        return
    best = ds["told"].min("log")
    order = np.argsort(best.values, kind="stable")
    well = [k for k in order if best.values[k] < WELL_TOLD]
    if well:
        yield ["input", "left of its spread", "so a flight like this shows an error of this many of its standard deviations"]
    for k in well[:ROWS]:
        left = float(best.values[k])
        yield [str(ds["input"].values[k]), f"{100.0 * left:.0f} %", f"{2.8 / math.sqrt(1.0 - left**2):.1f}"]
    poor = [str(ds["input"].values[k]) for k in order if best.values[k] > 0.9]
    if poor:
        yield [f"told badly or not at all: {', '.join(poor[:NAMED])}{f' and {len(poor) - NAMED} more' if len(poor) > NAMED else ''}"]


def _notes(ds: xr.Dataset) -> Iterator[str]:
    floor = 1.0 / (ds.attrs["flights"] + 1)
    yield f"With {plural(ds.attrs['flights'])} no p is below {floor:.2g}; more flights tell a rarer log apart."
    yield (
        'Instants of one flight stand and fall together: "worth" is the number of independent ones. A coverage is held against the drawn flights\' own, '
        "not against its level alone."
    )
    if ds.attrs.get("noise"):
        yield f"Nothing is known of the errors of {ds.attrs['noise']}: taken as exact, so that noise counts against the model. Give `error` in the column map."
    if "p_adjusted" in ds:
        yield "p is that of one look; OFF is said where it is small among all variables and stretches together, doubtful where it is small alone."
