"""The lines of the page about the next strips: what to walk first, hour by hour, strip by strip, and how near to the best that is."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table
from sixdof.postflight.search.position import bearing_text, site_of, way
from sixdof.study.landing.text import percent
from sixdof.study.reading.page import on_map
from sixdof.world.geodesy import place_on_earth

WORTH = 0.02  # of an hour's walk: what it finds, below which the page says stop (this project's measure)
MOST_ROWS = 30  # strips that the page lists


def looked_for(ds: xr.Dataset) -> list[str]:
    """Return the bodies that a plan looks for."""
    return str(ds.attrs["plan_bodies"]).split("\n")


def plan_answer(ds: xr.Dataset) -> Iterator[str]:
    """Yield the first answers where there is a plan."""
    if "strip" not in ds.dims:
        return
    first = ds.isel(strip=0)
    start = (ds.attrs["plan_start_east"], ds.attrs["plan_start_north"])
    to = way(site_of(ds), start, (float(first["strip_start_east"]), float(first["strip_start_north"])))
    bearing = math.degrees(float(first["strip_bearing"]))
    declination = ds.attrs.get("declination")
    yield (
        f"ANSWER: walk strip 1, {to.distance:.0f} m at {bearing_text(to.bearing, declination)} from where you stand, then {float(first['strip_length']):.0f} m "
        f"along {bearing_text(bearing, declination)}, and the strips after it in their order."
    )
    hours = ds.attrs["plan_seconds"] / 3600.0
    for name in looked_for(ds):
        one = ds.sel(body=name)
        found = percent(float(one["hour_found"].isel(hour=0)))
        yield (
            f"{name} is found with {found} in the first hour, {percent(1.0 - float(one['rest']))} within {hours:g} h; if it is, after {_hours(one)} of walking "
            f"on average."
        )
    yield _stop(ds)


def _hours(one: xr.Dataset) -> str:
    mean = float(one["time_to_find"])
    return f"{mean / 3600.0:.1f} h" if mean >= 3600.0 else f"{mean / 60.0:.0f} min"


def _stop(ds: xr.Dataset) -> str:
    """Say when to stop: after the last hour that is worth its walk."""
    gained = ds["hour_found"].sel(body=looked_for(ds)).sum("body").values
    poor = np.flatnonzero(gained < WORTH)
    rest = [percent(float(ds["rest"].sel(body=name))) for name in looked_for(ds)]
    left = ", ".join(f"{name} {each}" for name, each in zip(looked_for(ds), rest, strict=True))
    if poor.size:
        return (
            f"Stop after hour {poor[0]}: the next one finds less than {100.0 * WORTH:g} % (this project's measure). Not found by the end of the plan: {left}; "
            "then ask what the map may have wrong rather than walk on."
        )
    return f"The last hour still finds {percent(float(gained[-1]))}: a further one may be worth its walk. Not found by the end of the plan: {left}."


def plan_lines(ds: xr.Dataset) -> list[str]:
    """Return the section about the strips, nothing where there are none."""
    if "strip" not in ds.dims:
        return []
    said = ds.attrs
    people = "1 searcher" if said["plan_searchers"] == 1 else f"{said['plan_searchers']} searchers abreast"
    cover = f" ({said['plan_cover']})" if said["plan_cover"] else ""
    how = (
        f"{people} at {3.6 * said['plan_speed']:.1f} km/h, sweep width {said['plan_sweep_width']:g} m each{cover}, strips {said['plan_width']:g} m wide, "
        f"coverage {said['plan_coverage']:.2f}, law {said['plan_law']}"
    )
    lines = ["The next strips", *indented([how]), *table(list(_rows(ds)), words=1, remark=True)]
    hidden = ds.sizes["strip"] - MOST_ROWS
    lines += indented([f"{hidden} further strips are in the Dataset and in what is exported"]) if hidden > 0 else []
    return [*lines, "", "Hour by hour", *table(_by_hour(ds)), *indented(list(_best(ds))), ""]


def _rows(ds: xr.Dataset) -> Iterator[list[str]]:
    site, declination, names = site_of(ds), ds.attrs.get("declination"), looked_for(ds)
    yield ["strip", "from the rail", "length m", "along", "walk there m", "done at", *(f"finds {name}" for name in names), *(["start"] if site else [])]
    for k in range(min(ds.sizes["strip"], MOST_ROWS)):
        one = ds.isel(strip=k)
        at = (float(one["strip_start_east"]), float(one["strip_start_north"]))
        rail = way(site, (0.0, 0.0), at)
        row = [str(int(one["strip"])), f"{rail.distance:.0f} m, {rail.bearing:03.0f} deg", f"{float(one['strip_length']):.0f}"]
        row += [bearing_text(math.degrees(float(one["strip_bearing"])), declination), f"{float(one['strip_approach']):.0f}", _clock(float(one["strip_end"]))]
        row += [percent(float(one["strip_found"].sel(body=name))) for name in names]
        yield [*row, on_map(*(float(each) for each in place_on_earth(site, np.array(at[0]), np.array(at[1]), 0.0)))] if site else row


def _clock(seconds: float) -> str:
    minutes = round(seconds / 60.0)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def _by_hour(ds: xr.Dataset) -> list[list[str]]:
    names = looked_for(ds)
    gathered = np.cumsum(ds["hour_found"].sel(body=names).values, axis=0)
    rows = [["hour", *(f"{words} {name}" for name in names for words in ("finds", "found by then,"))]]
    for k, hour in enumerate(ds["hour"].values):
        own = ds["hour_found"].sel(body=names).values[k]
        rows.append([str(int(hour)), *(percent(float(each)) for pair in zip(own, gathered[k], strict=True) for each in pair)])
    return rows


def _best(ds: xr.Dataset) -> Iterator[str]:
    """Say how near the plan is to the best that there can be."""
    found, best, swept = (float(ds[f"moment_{name}"][-1]) for name in ("expected", "best", "best_swept"))
    way_there = float(ds["strip_approach"].sum() / (ds["strip_approach"].sum() + ds["strip_length"].sum()))
    yield (
        f"The best allocation of the same length swept (Lagrange multipliers: Koopman 1957, Stone 1975), which no plan beats, finds {_number(swept, ds)}; this "
        f"plan finds {_number(found, ds)}, {100.0 * found / max(swept, 1e-300):.0f} % of it. With all of the time swept, no ways between strips "
        f"({100.0 * way_there:.0f} % of the walk here), it would be {_number(best, ds)}."
    )
    yield "Strips are taken as independent of each other and of what was walked before; ways between them are straight, and nothing is looked for on them."
    searchable = ds["searchable"].values > 0
    reach = [f"{name} {percent(float((ds['probability'].sel(body=name).values * searchable).sum()))}" for name in looked_for(ds)]
    yield f"However long anyone walks, no more can be found than what lies on the searchable part of this map: {', '.join(reach)}."


def _number(expected: float, ds: xr.Dataset) -> str:
    return f"{expected:.2f} bodies" if len(looked_for(ds)) > 1 else percent(expected)
