"""The static margin as flown, as a page in plain words."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, underlined
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.practice import LEAST_MARGIN, MOST_MARGIN
from sixdof.study.reading.result import plural

LOW_SHARE = 0.10  # of the length: common practice for long, thin vehicles, whose calibres are short
VALID_INCIDENCE = 15.0  # deg: beyond it the aerodynamics is an estimate
SHOWN = (1.0, 4.0, 8.0, 15.0, 25.0)  # deg


def stability_page(ds: xr.Dataset) -> str:
    """Return what `stability` found as a page."""
    drawn = f"quantiles of {plural(int(ds['flights_used']))} drawn, seed {ds.attrs['seed']}"
    lines = [ds.attrs["title"], f"Static margin as flown: the flight as written, and {drawn}", "", *_at_events(ds), "", *_over_incidence(ds)]
    return "\n".join([*lines, "", "What it means", *indented([*_verdict(ds), *_weak(ds)]), "", LAST_LINE])


def _at_events(ds: xr.Dataset) -> list[str]:
    head = ["", "at (s)", "calibres", "% of length", *(f"{100.0 * share:.0f} %" for share in ds["share"].values)]
    rows = [head]
    for name in ds["event"].values:
        one = ds.sel(event=name)
        band = [f"{value:.2f}" for value in one["band_at"].values]
        rows.append([said(name), f"{float(one['time_at']):.2f}", f"{float(one['margin_at']):.2f}", f"{100.0 * float(one['margin_share_at']):.1f}", *band])
    return underlined(table(rows))


def _over_incidence(ds: xr.Dataset) -> list[str]:
    degrees = np.degrees(ds["incidence"].values)
    shown = [x for x in SHOWN if degrees[0] <= x <= degrees[-1]]
    rows = [[f"calibres at incidence (Mach {ds.attrs['incidence_mach']:.2f})", "", *(f"{x:g} deg" for x in shown), "zero at"]]
    for name in ds["configuration"].values:
        for state in ds["state"].values:
            values = ds["margin_over_incidence"].sel(configuration=name, state=state).values
            zero = falls_through(degrees, values)
            cells = [f"{np.interp(x, degrees, values):.2f}" for x in shown]
            rows.append([str(name), str(state), *cells, "none" if np.isnan(zero) else f"{zero:.0f} deg"])
    return underlined(table(rows, words=2))


def falls_through(x: np.ndarray, y: np.ndarray, level: float = 0.0) -> float:
    """Return where y (n,) first falls through a level over x (n,), straight lines between points; NaN where it does not, x[0] where it begins below."""
    below = np.flatnonzero(y < level)
    if not below.size:
        return float("nan")
    k = int(below[0])
    return float(x[0]) if k == 0 else float(x[k - 1] + (x[k] - x[k - 1]) * (y[k - 1] - level) / (y[k - 1] - y[k]))


def said(event) -> str:
    """Return an event's name as words."""
    return str(event).replace("_", " ")


def _verdict(ds: xr.Dataset) -> list[str]:
    margin, low, share = ds["margin_at"].values, ds["band_at"].values[0], ds["margin_share_at"].values
    names = [said(name) for name in ds["event"].values]
    least, most, thin = (int(pick(values)) for pick, values in ((np.nanargmin, low), (np.nanargmax, margin), (np.nanargmin, share)))
    if low[least] > 0.0:
        drawn = f"{margin[least]:.2f} calibres as written and {low[least]:.2f} or more in 95 % of the drawn flights"
        lines = [f"Stable: the least margin is at {names[least]}, {drawn}."]
    else:
        which = "NOT STABLE" if margin[least] < 0.0 else "Not stable in all drawn flights"
        lines = [f"{which}: at {names[least]} the margin is {margin[least]:.2f} calibres as written and {low[least]:.2f} or less in 5 % of the drawn flights."]
    if 0.0 < low[least] < LEAST_MARGIN:
        lines.append(f"That is less than {LEAST_MARGIN:g} calibre, which common practice wants: move the balance point forward, or make the fins larger.")
    if margin[most] > MOST_MARGIN:
        what = f"The margin reaches {margin[most]:.1f} calibres at {names[most]}, more than the 1 to 3 of common practice"
        lines.append(f"{what}: not unsafe by itself, but the more margin, the harder it turns into the wind (see the study of the turn).")
    if share[thin] < LOW_SHARE:
        what = f"At {names[thin]} it is {100.0 * share[thin]:.1f} % of the length"
        lines.append(f"{what}; common practice for long, thin vehicles asks for {100.0 * LOW_SHARE:.0f} % beside the calibre.")
    return lines + _at_angles(ds)


def _at_angles(ds: xr.Dataset) -> list[str]:
    """Return what incidence does to the margin of what steers by its own fins: the front stages together."""
    degrees, lines = np.degrees(ds["incidence"].values), []
    for name in ds["configuration"].values[: ds.sizes["configuration"] // 2 + 1]:
        values = ds["margin_over_incidence"].sel(configuration=name, state="loaded").values
        one, none = falls_through(degrees, values, LEAST_MARGIN), falls_through(degrees, values)
        if np.isfinite(one) and values[0] > LEAST_MARGIN:
            more = f", and is gone at {none:.0f} deg" if np.isfinite(none) else ""
            what = f"{name}, loaded: the margin falls below 1 calibre at {one:.0f} deg of incidence{more}"
            lines.append(f"{what}: do not let a gust or a slow exit take it there.")
    return lines


def _weak(ds: xr.Dataset) -> list[str]:
    lines = [
        f"The centre of pressure is known to half a diameter (one from Mach 0.8 to 1.2); beyond {VALID_INCIDENCE:g} deg of incidence it is an estimate. "
        "Fins stand at neutral here; wind, bending of the body and the jet are left out of a margin."
    ]
    if ds.attrs["left_as_written"]:
        lines.append(f"Left as written in the drawn flights: {ds.attrs['left_as_written']}.")
    return lines
