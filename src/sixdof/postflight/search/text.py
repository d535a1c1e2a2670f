"""The page about where to search: what to walk first, areas, places with distance and bearing, what was walked, what it is worth."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import xarray as xr

from sixdof.mission.page import indented, table, wrapped
from sixdof.mission.tables import Site
from sixdof.postflight.search.detection import COVERS_SAY, LAWS
from sixdof.postflight.search.plan_text import plan_answer, plan_lines
from sixdof.postflight.search.position import Way, bearing_text, site_of, way
from sixdof.study.landing.text import percent
from sixdof.study.reading.page import LAST_LINE, caution_lines, on_map
from sixdof.study.reading.result import need_table, plural
from sixdof.world.geodesy import place_on_earth

CAUTIONS = [
    "A body on the ground may hold live charges, a motor that has not burnt, a battery that heats: keep off and keep others off, and approach only as the "
    "range safety officer says; photograph it before anything is moved.",
    "Private land: ask before you go, whatever the map says. Crops, fences and animals are somebody's.",
    "Nobody is sent to climb or to wade for a rocket; power lines, water, roads and railways end a strip. Of a line, call its owner and do nothing.",
    "Nobody goes alone: go in pairs with telephone or radio, water and an hour to turn back, and tell somebody where you walk.",
]


def need_map(ds: xr.Dataset, who: str) -> None:
    """Raise ValueError for what is no result of `search_map`, `with_walked` or `next_strips`."""
    need_table(ds, who, "postflight.search_map", "probability", "searchable", "prior_outside")


def search_text(ds: xr.Dataset) -> str:
    """Return the page about a map, what was walked on it and the next strips. Raises ValueError for anything else."""
    need_map(ds, "search_text")
    site = site_of(ds)
    lines = [f"Where to search: {ds.attrs.get('title', 'untitled')}", *wrapped(_heading(ds)), "", *indented([*plan_answer(ds), *_answer(ds, site)]), ""]
    lines += ["Areas that hold so much of all probability", *table(_areas(ds)), "", "Places", *table(_places(ds, site), words=2, remark=True), ""]
    if "search" in ds.dims:
        lines += ["Walked so far", *table(_walked(ds), words=2, remark=True), *indented(_walked_says(ds)), ""]
    lines += plan_lines(ds)
    lines += ["What this is worth", *indented(list(_worth(ds))), *caution_lines(CAUTIONS, "")]
    return "\n".join([*lines, "", LAST_LINE])


def _heading(ds: xr.Dataset) -> str:
    seed = f", seed {ds.attrs['seed']}" if "seed" in ds.attrs else ""
    error = f"; {ds.attrs['error']:g} m of error added to every place" if ds.attrs["error"] else ""
    size = [1e-3 * ds.attrs["cell"] * ds.sizes[dim] for dim in ("east", "north")]
    return (
        f"{plural(ds.attrs['flights'])}{seed}; map of {size[0]:.2f} by {size[1]:.2f} km, cells of {ds.attrs['cell']:g} m{error}; {ds.attrs.get('source', '')}"
    )


def declination_of(ds: xr.Dataset) -> float | None:
    """Return the declination that a map was given, rad; None without one."""
    return ds.attrs.get("declination")


# ---------------------------------------------------------------- answers


def _answer(ds: xr.Dataset, site: Site | None) -> Iterator[str]:
    for name in ds["body"].values.astype(str):
        one = ds.sel(body=name)
        best = way(site, (0.0, 0.0), (float(one["best_east"]), float(one["best_north"])))
        yield f"{name}: {_ninety(one)}; the most probable cell lies {_way(best, declination_of(ds))} from the rail{_fix(ds, site, one)}."
        if float(one["found_by_now"]) > 0.0005:
            yield f"  It would have been found by now with {percent(float(one['found_by_now']))}; it lies on this map with {percent(float(one['in_area']))}."
        elif float(one["in_area"]) < 0.9:
            yield f"  It lies on this map with {percent(float(one['in_area']))} only."
        if float(one["unsearchable"]) > 0.005:
            yield f"  With {percent(float(one['unsearchable']))} it lies where nobody may search (water, no-go land, steep ground); the map keeps that."


def _ninety(one: xr.Dataset) -> str:
    area = float(one["area"].sel(share=0.9))
    if math.isfinite(area):
        return f"90 % area is {area_text(area)}"
    return f"no area of this map holds 90 %, for it holds {percent(float(one['in_area']))} altogether"


def _fix(ds: xr.Dataset, site: Site | None, one: xr.Dataset) -> str:
    if "last_fix_east" not in ds.attrs:
        return ""
    fix = (ds.attrs["last_fix_east"], ds.attrs["last_fix_north"])
    return f", {_way(way(site, fix, (float(one['best_east']), float(one['best_north']))), declination_of(ds))} from the last fix"


def _way(one: Way, declination: float | None) -> str:
    return f"{one.distance:.0f} m at {bearing_text(one.bearing, declination)}"


def area_text(area: float) -> str:
    """Return an area (m^2) as one walks it: m^2 below a hectare, ha, km^2."""
    if area < 1e4:
        return f"{area:.0f} m^2"
    return f"{1e-4 * area:.1f} ha" if area < 1e6 else f"{1e-6 * area:.2f} km^2"


# ---------------------------------------------------------------- tables


def _areas(ds: xr.Dataset) -> list[list[str]]:
    rows = [["body", *(f"{100.0 * share:g} %" for share in ds["share"].values), "on the map", "outside", "not told", "not searchable", "found by now"]]
    for name in ds["body"].values.astype(str):
        one = ds.sel(body=name)
        areas = [area_text(area) if math.isfinite(area) else "beyond" for area in one["area"].values]
        shares = [percent(float(one[which])) for which in ("in_area", "outside", "unplaced", "unsearchable", "found_by_now")]
        rows.append([name, *areas, *shares])
    return rows


def _places(ds: xr.Dataset, site: Site | None) -> list[list[str]]:
    fix = (ds.attrs["last_fix_east"], ds.attrs["last_fix_north"]) if "last_fix_east" in ds.attrs else None
    rows = [["body", "place", "from the rail", *(["from the last fix"] if fix else []), *(["latitude, longitude"] if site else [])]]
    for name in ds["body"].values.astype(str):
        one = ds.sel(body=name)
        for words, which in (("most probable cell", "best"), ("mean place", "mean")):
            at = (float(one[f"{which}_east"]), float(one[f"{which}_north"]))
            if math.isfinite(at[0]):
                ways = [_way(way(site, start, at), declination_of(ds)) for start in ((0.0, 0.0), fix) if start is not None]
                rows.append([name, words, *ways, *([where(site, *at)] if site else [])])
    if fix:
        rows.append(["", "last fix", _way(way(site, (0.0, 0.0), fix), declination_of(ds)), "", *([where(site, *fix)] if site else [])])
    return rows


def where(site: Site, east: float, north: float) -> str:
    """Return the latitude and longitude of a place, m east and north of the rail, as text."""
    return on_map(*(float(one) for one in place_on_earth(site, np.array(east), np.array(north), 0.0)))


def _walked(ds: xr.Dataset) -> list[list[str]]:
    rows = [["search", "by", "swept", "probability to see it there", *(f"found {name}" for name in ds["body"].values.astype(str)), "law"]]
    for k in range(ds.sizes["search"]):
        one = ds.isel(search=k)
        chances = [percent(float(value)) if np.isfinite(value) else "not looked for" for value in np.atleast_1d(one["search_found"].values)]
        area, mean = float(one["search_area"]), float(one["search_detection"])
        rows.append([str(one["search"].values), str(one["searcher"].values), area_text(area), percent(mean), *chances, str(one["law"].values)])
    return rows


def _walked_says(ds: xr.Dataset) -> Iterator[str]:
    yield (
        "Each search alone, by the map before anything was walked. Different searchers are taken as independent: what one missed the other finds with the "
        "same chance. Of one searcher's several searches only the best counts in a cell: what he overlooked once he is taken to overlook again."
    )
    for law in dict.fromkeys(ds["law"].values.astype(str)):
        yield f"Law {law}: the probability to see it, by the coverage C (width swept over width walked): {LAWS[law].says}."
    yield "What was swept and held nothing makes all else more probable, the ground outside of the map as well."


# ---------------------------------------------------------------- what it is worth


def _worth(ds: xr.Dataset) -> Iterator[str]:
    yield from (line for line in str(ds.attrs.get("finding", "")).split("\n") if line)
    for name in ds["body"].values.astype(str):
        one = ds.sel(body=name)
        if float(one["carried"]) > 0.0005:
            yield f"{name} never leaves {one['carrier'].item()} with {percent(float(one['carried']))}, and lies with it then"
    effective = ", ".join(f"{name} {float(ds['effective_flights'].sel(body=name)):.0f}" for name in ds["body"].values.astype(str))
    yield (
        f"the map is made of flights that count like so many of one weight: {effective}. Kernels are as wide as Scott (1992) and Silverman (1986) have it for "
        "that number, in every branch and hypothesis by itself, so that areas are somewhat wide rather than narrow"
    )
    yield "a map is as good as its flights: a wind that blew otherwise moves all of it; drift after landing and what people or animals carry off are left out"
    yield f"sweep widths by cover are {COVERS_SAY}"
