"""A wind limit as a page of text: the table by direction, what binds, what to make of it, what the model leaves out."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.practice import SAFETY_CODE_WIND
from sixdof.study.wind_limit.allowed import compass, need_limits, wind_allowed
from sixdof.study.wind_limit.first_failure import BEYOND, NOT_IN_CALM
from sixdof.study.wind_limit.ranks import SHOWN, flights_to_hold

MPH = 0.44704  # m/s
_GUSTS = {
    "grows": "turbulence that grows with the wind",
    "as written": "turbulence as the mission has it",
    "none": "no turbulence, so no gusts but those written in the mission",
}
_SCALED = (
    "The mission tells its wind level by level (a sounding, a table): all levels are scaled and turned together, by the wind at 10 m. Where the wind near the "
    "ground drops and the one aloft does not, a flight meets more than is counted here: take a new sounding."
)
_LEFT_OUT = (
    "Left out: wakes of trees, buildings and hills, thermals and squalls, a mean wind that changes during the flight, and how the wind changes with "
    "height other than in the mission's profile or sounding. What fails and holds again between two winds flown is not seen. The interval is about the "
    "flights drawn, not about errors of the model."
)


def wind_limit_text(ds: xr.Dataset) -> str:
    """Return the page about what `wind_limit` returned. Raises ValueError for anything else."""
    need_limits(ds, "wind_limit_text")
    lines = [*heading(ds, "the largest mean wind"), "", *table(list(_rows(ds)), words=1, remark=True), "", *criteria_lines(ds), "", *_each_alone(ds)]
    return "\n".join([*lines, "", "What to make of it", *indented([*_sentences(ds), *model_sentences(ds)]), "", LAST_LINE])


def heading(ds: xr.Dataset, what: str) -> list[str]:
    """Return what was asked, and what it rests on."""
    said = ds.attrs
    rail = f"rail {math.degrees(said['rail_elevation']):.1f} deg up towards {math.degrees(said['rail_azimuth']):.0f} deg"
    drawn = f"{said['flights']} flights at each wind on the same draws, seed {said.get('seed', '?')}, winds up to {said['highest']:.1f} m/s"
    return [
        said.get("title", "untitled"),
        f"How much wind: {what}, at {said['reference_height']:g} m above ground, for which all criteria hold",
        *wrapped(f"{drawn}; {_GUSTS[said['turbulence']]}; {rail}; {said.get('source', 'source unknown')}"),
    ]


def _rows(ds: xr.Dataset) -> Iterator[list[str]]:
    yield ["wind from", "at most m/s", "mph", f"{100.0 * ds.attrs['confidence']:g} % interval", "fails first"]
    for k in range(ds.sizes["direction"]):
        here = ds.isel(direction=k)
        low, high, binds = float(here["limit_low"]), float(here["limit_high"]), int(here["binds"])
        ends = f"{low:.1f} to {high:.1f}" if math.isfinite(high) else f"{low:.1f} or more"
        limit = float(here["limit"])
        more = ">= " if int(here["limit_kind"]) == BEYOND else ""
        yield [
            direction_text(float(here["direction"])),
            f"{more}{limit:.1f}",
            f"{more}{math.floor(limit / MPH + 1e-6)}",
            ends,
            str(binds + 1) if binds >= 0 else "none",
        ]


def direction_text(angle: float) -> str:
    """Return "SSW, 202 deg" of an angle in rad."""
    return f"{compass(angle)}, {math.degrees(angle) % 360.0:.0f} deg"


def criteria_lines(ds: xr.Dataset) -> list[str]:
    """Return the criteria by number."""
    practice = ds.attrs["criteria_source"] != "given"
    head = "Criteria: those of common practice, for none were given" if practice else "Criteria"
    return [head, *(f"  {k + 1}  {text}" for k, text in enumerate(ds["criterion"].values))]


def _each_alone(ds: xr.Dataset) -> list[str]:
    """Return the limit of each criterion by itself, directions by row."""
    rows = [["wind from", *(str(k + 1) for k in range(ds.sizes["criterion"]))]]
    for k in range(ds.sizes["direction"]):
        alone = ds["criterion_limit"].values[k]
        rows.append([direction_text(float(ds["direction"][k])), *(f"{v:.1f}" if math.isfinite(v) else f">= {ds.attrs['highest']:.1f}" for v in alone)])
    return ["Each criterion by itself, m/s (between the winds flown: less sharp where it does not bind)", *table(rows, words=1)]


def _sentences(ds: xr.Dataset) -> Iterator[str]:
    limit, kind, names = ds["limit"].values, ds["limit_kind"].values, [direction_text(float(one)) for one in ds["direction"].values]
    calm = kind == NOT_IN_CALM
    if calm.any():
        fails = sorted({int(one) + 1 for one in ds["binds"].values[calm]})
        which = f"criterion {fails[0]} fails" if len(fails) == 1 else f"criteria {', '.join(map(str, fails))} fail"
        yield f"{_from(names, calm)} {which} in calm already: wind is not the reason, and less wind is no cure."
    if limit.size > 1 and not calm.all():
        least, most = int(np.argmin(limit)), int(np.argmax(limit))
        yield (
            f"Least wind is allowed from {names[least]}, {limit[least]:.1f} m/s, most from {names[most]}, {limit[most]:.1f} m/s. Between two "
            "directions, and for a wind whose direction wanders, the lower limit counts."
        )
    if (kind == BEYOND).any():
        yield f"{_from(names, kind == BEYOND)} all criteria hold up to the highest wind looked at, {ds.attrs['highest']:.1f} m/s: a bound, not a limit."
    for k in np.flatnonzero(np.isfinite(ds["holds_again"].values)):
        yield (
            f"From {names[k]} the criteria fail from {limit[k]:.1f} m/s on and hold again at {float(ds['holds_again'][k]):.1f} m/s: more wind is no "
            "cure, the first failure is what is told."
        )
    yield from _too_few(ds)
    yield f"Safety codes launch nothing in more than 20 mph ({SAFETY_CODE_WIND:.1f} m/s), whatever holds (common practice where no code is in force)."
    yield from _as_written(ds)


def _from(names: list[str], which: np.ndarray) -> str:
    return "From every direction" if which.all() else "From " + "; ".join(name for name, one in zip(names, which, strict=True) if one)


def _too_few(ds: xr.Dataset) -> Iterator[str]:
    flights, confidence = int(ds.attrs["flights"]), float(ds.attrs["confidence"])
    shares = [float(share) for share in ds["required"].values if flights_to_hold(flights, float(share), confidence)[SHOWN] > flights]
    if shares:
        enough = math.ceil(math.log(0.5 * (1.0 - confidence)) / math.log(max(shares)))
        yield (
            f"{flights} flights are too few to show that {100.0 * max(shares):g} % of all hold, even if every one does: the lower end of the interval is 0. "
            f"{enough} flights are enough."
        )


def _as_written(ds: xr.Dataset) -> Iterator[str]:
    speed, blows_from = ds.attrs["wind_speed"], ds.attrs["wind_blows_from"]
    try:
        allowed = wind_allowed(ds, blows_from)
    except ValueError:  # it lies between none of the directions asked for
        return
    verdict = "above" if speed > allowed.limit else "below"
    unsure = ", but within its interval" if allowed.low < speed <= allowed.high else ""
    said = f"{'at least ' if allowed.at_least else ''}{allowed.limit:.1f} m/s from {direction_text(allowed.direction)}"
    whose = "sounding's or table's" if ds.attrs["level_by_level"] else "mission's"
    yield f"The {whose} own mean wind, {speed:.1f} m/s from {math.degrees(blows_from):.0f} deg, is {verdict} the limit, {said}{unsure}."


def model_sentences(ds: xr.Dataset) -> Iterator[str]:
    """Yield what the wind is measured by, what the model leaves out, and where it is weak."""
    height, share = ds.attrs["reference_height"], ds.attrs["share_at_2_m"]
    if math.isfinite(share):
        yield f"The wind is the mean wind at {height:g} m above ground; an anemometer held at 2 m reads {share:.2f} of it in this profile."
    if ds.attrs["level_by_level"]:
        yield _SCALED
    elif share == 1.0:
        yield "The mission has one wind at all heights, which no wind is: over open ground it is some 1.25 times as strong at 10 m as at 2 m."
    yield _LEFT_OUT
    fast, steep = ds.attrs["time_above_mach_08"], ds.attrs["time_beyond_incidence"]
    if fast > 0.0:
        yield f"Flights were above Mach 0.8 for up to {fast:.1f} s, where the aerodynamics are an estimate."
    if steep > 0.0:
        yield f"Flights climbed beyond 15 deg of incidence for up to {steep:.1f} s in the strongest winds flown, where the aerodynamics are an estimate."
