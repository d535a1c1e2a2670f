"""Ballast for a wanted margin, as a page in plain words."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, underlined
from sixdof.study.as_built.ballast import IN_FLIGHT
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.practice import LEAST_MARGIN, MOST_MARGIN
from sixdof.study.reading.result import plural


def ballast_page(ds: xr.Dataset) -> str:
    """Return what `ballast` found as a page."""
    head = f"{plural(ds.sizes['flight'])} drawn with every amount, the same draws, seed {ds.attrs['seed']}; fins at neutral, no failures"
    lines = [ds.attrs["title"], f"Ballast for a static margin of {ds.attrs['wanted']:g} calibres {when(ds)}", head, "", *indented(_answer(ds)), ""]
    return "\n".join([*lines, *_price(ds), "", *_tried(ds), "", "Where this is weak", *indented(_weak(ds)), "", LAST_LINE])


def when(ds: xr.Dataset) -> str:
    """Return where the margin is asked for, in words."""
    at = ds.attrs["at_event"]
    what = "throughout the climb (the least faster than 20 m/s)" if at == IN_FLIGHT else f"at {at.replace('_', ' ')}"
    return f"{what} in {100.0 * ds.attrs['share']:.0f} % of flights"


def _answer(ds: xr.Dataset) -> list[str]:
    mass, wanted, have = float(ds["ballast_mass"]), ds.attrs["wanted"], float(ds["margin_tried"][0])
    where = f"in {ds.attrs['place']} ({1000.0 * float(ds['ballast_station']):.0f} mm aft of the fore end of {ds.attrs['stage']})"
    kept = f"{have:.2f} calibres or more in {100.0 * ds.attrs['share']:.0f} % of flights" if math.isfinite(have) else "no margin: some flights tumble"
    if ds.attrs["met"] and mass == 0.0:
        return [f"None is needed: as it is the vehicle has {kept}."]
    if not ds.attrs["met"]:
        nearest, most = float(ds["ballast"][1]), ds.attrs["most"]
        best = float(ds["margin_tried"].sel(tried=int(np.flatnonzero(ds["mass_tried"].values == nearest)[0])))
        come = f"{1000.0 * nearest:.0f} g come nearest with {best:.2f} calibres (as it is: {have:.2f})"
        lines = [f"Nothing {where} does it: up to {1000.0 * most:.0f} g were flown, {come}."]
        cure = "Larger fins, or fins further aft, do." if best < wanted else "Smaller fins do."
        return [*lines, cure]
    if have < wanted:
        return [f"Add {1000.0 * mass:.0f} g {where}: as it is the vehicle has {kept}.", *_beyond(wanted)]
    why = "less margin turns less into the wind; leave it as it is if it does not turn too far (sixdof.preflight.weathercock)"
    return [f"It has more than that: {kept}. {1000.0 * mass:.0f} g {where} would bring it down to {wanted:g}; {why}.", *_beyond(wanted)]


def _beyond(wanted: float) -> list[str]:
    if wanted < LEAST_MARGIN:
        return [f"{wanted:g} calibres are less than {LEAST_MARGIN:g}, which common practice wants."]
    if wanted > MOST_MARGIN:
        return [f"{wanted:g} calibres are more than {MOST_MARGIN:g}, which common practice stays below: the more margin, the harder it turns into the wind."]
    return []


def _price(ds: xr.Dataset) -> list[str]:
    rows = [["the price, flights as written", "without", "with", "change"]]
    for label, key, unit, digits, size in (
        ("apogee above ground", "apogee", "m", 0, 1.0),
        ("speed at rail departure", "departure_speed", "m/s", 2, 1.0),
        ("mass at liftoff", "liftoff_mass", "g", 0, 1000.0),
    ):
        one, two = size * ds[key].values
        rows.append([f"{label} ({unit})", f"{one:.{digits}f}", f"{two:.{digits}f}", f"{two - one:+z.{digits}f}"])
    drawn = [np.quantile(row[np.isfinite(row)], (0.05, 0.5, 0.95)) if np.isfinite(row).any() else np.full(3, np.nan) for row in ds["margin"].values]
    spans = [f"{low:.2f} ({middle:.2f}) {high:.2f}" for low, middle, high in drawn]
    rows.append([f"static margin {_short(ds)} (5 %, median, 95 %)", *spans, f"{drawn[1][1] - drawn[0][1]:+z.2f}"])
    return underlined(table(rows))


def _short(ds: xr.Dataset) -> str:
    return "least in flight" if ds.attrs["at_event"] == IN_FLIGHT else f"at {ds.attrs['at_event'].replace('_', ' ')}"


def _tried(ds: xr.Dataset) -> list[str]:
    rows = [["flown with (g)", *(f"{1000.0 * one:.0f}" for one in ds["mass_tried"].values)]]
    rows.append([f"calibres that {100.0 * ds.attrs['share']:.0f} % of flights have", *(f"{one:.2f}" for one in ds["margin_tried"].values)])
    return table(rows)


def _weak(ds: xr.Dataset) -> list[str]:
    lines = [
        "The centre of pressure is known to half a diameter (one from Mach 0.8 to 1.2), which is more than the scatter of the balance point: measured masses "
        "make the ballast exact, not the margin.",
        "Ballast counts as a point on the axis that stays where it is: fasten it for the hardest deceleration, and weigh again with it in.",
        f"A share of {plural(ds.sizes['flight'])}: more flights tell it closer.",
    ]
    if ds.attrs["left_as_written"]:
        lines.append(f"Left as written in the drawn flights: {ds.attrs['left_as_written']}.")
    return lines
