"""What was walked, as a user has it: polygons, tracks, GeoJSON, GPX, or strips of a plan; made into plain entries, metres and SI, that a map keeps."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.tables import Site
from sixdof.mission.units import shown
from sixdof.postflight.search.detection import COVERS, LAWS, coverage_for, law_of, length_of, sweep_width_of
from sixdof.postflight.search.gpx import read_gpx
from sixdof.postflight.search.position import spot_of
from sixdof.study.landing.field import field_of
from sixdof.study.landing.geojson import loaded, read_features

WHO = "with_walked"
KEYS = ("area", "track", "name", "searcher", "body", "cover", "sweep_width", "spacing", "coverage", "detection", "hours", "speed", "searchers", "width", "law")
_THOROUGH = "coverage, spacing, detection, or hours with speed"
_LINES = ("LineString", "MultiLineString")


def entries_of(walked: Any, ds: xr.Dataset, site: Site | None, usual: Mapping[str, Any], first: int) -> list[dict[str, Any]]:
    """Return the searches of what a user gave as entries. usual : what holds for all that do not say otherwise. first : number of the first without a name.

    Raises ValueError, TypeError in one sentence for anything that is none.
    """
    bodies = [str(name) for name in ds["body"].values]
    given = list(_given(walked, site))
    if not given:
        raise ValueError(
            f"{WHO}: nothing was walked; give an area or a track, such as {{'area': [(0, 0), (200, 0), (200, 100)], 'cover': 'grass', 'spacing': 10}}"
        )
    return [_entry({**{k: v for k, v in usual.items() if v is not None}, **each}, first + k, site, bodies) for k, each in enumerate(given)]


def _given(walked: Any, site: Site | None) -> Iterator[dict[str, Any]]:
    """Yield each search as a dictionary of `KEYS`, its geometry still as given or in metres."""
    if isinstance(walked, xr.Dataset):
        yield from _strips(walked)
    elif isinstance(walked, Mapping) and "type" not in walked:
        yield dict(walked)
    elif isinstance(walked, Mapping | str | Path):
        yield from _file(walked, site)
    elif isinstance(walked, Sequence) and all(isinstance(one, Mapping | str | Path | xr.Dataset) for one in walked):
        for one in walked:
            yield from _given(one, site)
    else:
        raise TypeError(f"{WHO}: walked must be searches (dictionaries), GeoJSON, a GPX file or strips of next_strips, not {shown(walked)}")


def _strips(ds: xr.Dataset) -> Iterator[dict[str, Any]]:
    if "strip_start_east" not in ds or "strip" not in ds["strip_start_east"].dims:
        raise ValueError(f"{WHO}: this Dataset holds no strips; give what next_strips returned, or strips of it: plan.isel(strip=[0, 1])")
    ends = [ds[f"strip_{end}_{axis}"].values for end in ("start", "end") for axis in ("east", "north")]
    for number, a, b, c, d in zip(ds["strip"].values, *ends, strict=True):
        yield {
            "track": [(float(a), float(b)), (float(c), float(d))],
            "name": f"strip {int(number)}",
            "sweep_width": float(ds.attrs["plan_sweep_width"]),
            "searchers": int(ds.attrs["plan_searchers"]),
            "width": float(ds.attrs["plan_width"]),
            "law": str(ds.attrs["plan_law"]),
            "body": str(ds.attrs["plan_bodies"]).split("\n"),
        }


def _file(walked: Any, site: Site | None) -> Iterator[dict[str, Any]]:
    if site is None:
        raise ValueError(f"{WHO}: GeoJSON and GPX are in latitude and longitude, and the map's flights carry no mission whose site is known; give metres")
    if isinstance(walked, str | Path) and str(walked).lower().endswith(".gpx"):
        for name, segments in read_gpx(walked):
            lines = [[spot_of(f"{a:.8f}, {b:.8f}", site, "track", WHO) for a, b in one] for one in segments]
            yield {"lines": lines} | ({"name": name} if name else {})
        return
    file, found = loaded(walked, WHO)
    listed = found.get("features", []) if isinstance(found, dict) and found.get("type") == "FeatureCollection" else [found]
    for one in listed if isinstance(listed, list) else []:
        properties = (one.get("properties") or {}) if isinstance(one, dict) else {}
        geometry = one.get("geometry", one) if isinstance(one, dict) else one
        if properties.get("role", "walked") != "walked" or geometry is None:
            continue  # a map that was written before holds areas and strips too
        feature = {"type": "Feature", "properties": {"role": "people", "name": str(properties.get("name") or "")}, "geometry": geometry}
        for kind, shape in _shapes(feature, file, site):
            yield {**{k: v for k, v in properties.items() if k != "role" and _meant(k)}, kind: shape}


def _meant(key: str) -> bool:
    """Return whether a property of GeoJSON is a key, or one misspelled: phones and maps write others of their own, which are not read."""
    return bool(get_close_matches(key, KEYS, cutoff=0.75))


def _shapes(feature: dict, file: str, site: Site) -> Iterator[tuple[str, list]]:
    try:
        read = read_features(feature, WHO)
    except ValueError as error:
        raise ValueError(str(error).replace(f"{WHO}: field: the feature", f"{file}: a feature")) from None
    for one in read:
        if one.kind in ("Point", "MultiPoint"):
            raise ValueError(f"{file}: a {one.kind} is nothing that was walked; draw a Polygon or a LineString")
        shape = field_of((one,), site, WHO).people
        parts = list(getattr(shape, "geoms", [shape]))
        if one.kind in _LINES:
            yield "lines", [np.asarray(part.coords).tolist() for part in parts]
        else:
            yield "polygons", [[np.asarray(ring.coords).tolist() for ring in (part.exterior, *part.interiors)] for part in parts]


# ---------------------------------------------------------------- one search


def _entry(given: dict[str, Any], number: int, site: Site | None, bodies: list[str]) -> dict[str, Any]:
    name = str(given.get("name") or f"search {number}")
    who = f"{WHO}: {name}"
    for key in given:
        if key not in (*KEYS, "lines", "polygons"):
            raise ValueError(f"{who}: {shown(key)} is no key of a search; {suggestion(str(key), list(KEYS), 'keys')}")
    law = str(given.get("law", "random"))
    law_of(law, who)
    shape = _shape(given, site, who)
    searchers = _count(given.get("searchers", 1), who)
    out = {
        "name": name,
        "searcher": str(given.get("searcher") or ""),
        "law": law,
        "body": _bodies(given.get("body"), bodies, who),
        "searchers": searchers,
        **shape,
    }
    out["cover"] = str(given.get("cover") or "")
    if out["cover"] and out["cover"] not in COVERS and given.get("sweep_width") is None and given.get("detection") is None:
        sweep_width_of(out["cover"], None, who)
    return out | (_track(given, law, searchers, who) if shape["kind"] == "track" else _area(given, law, searchers, shape, who))


def _shape(given: dict[str, Any], site: Site | None, who: str) -> dict[str, Any]:
    """Return the kind of a search and where it went: "polygons" [[ring, ...], ...] or "lines" [[place, ...], ...], m, to the centimetre."""
    kinds = [key for key in ("area", "track", "polygons", "lines") if given.get(key) is not None]
    if len(kinds) != 1:
        raise ValueError(f"{who}: give either an area (a polygon) or a track (a line)")
    kind = kinds[0]
    if kind in ("area", "track"):
        if isinstance(given[kind], str | Path | Mapping):
            return _shape_of_file(given[kind], kind, site, who)
        places = _places(given[kind], site, kind, who)
        if kind == "track":
            return {"kind": "track", "lines": [_centimetres(places)]}
        return {"kind": "area", "polygons": [[_centimetres(_ring(places, who))]]}
    if kind == "lines":
        return {"kind": "track", "lines": [_centimetres(line) for line in given[kind]]}
    return {"kind": "area", "polygons": [[_centimetres(ring) for ring in polygon] for polygon in given[kind]]}


def _shape_of_file(given: Any, kind: str, site: Site | None, who: str) -> dict[str, Any]:
    found = list(_file(given, site))
    wanted = "polygons" if kind == "area" else "lines"
    parts = [part for one in found for part in one.get(wanted, [])]
    if not parts:
        raise ValueError(f"{who}: {shown(given)} holds no {'polygon' if kind == 'area' else 'line'}")
    return _shape({wanted: parts}, site, who)


def _places(given: Any, site: Site | None, kind: str, who: str) -> list[tuple[float, float]]:
    least = 3 if kind == "area" else 2
    if isinstance(given, np.ndarray):
        given = given.tolist()
    if not isinstance(given, Sequence) or len(given) < least:
        raise ValueError(f"{who}: {kind} = {shown(given)} must be {least} places or more, (east, north) of the rail in metres")
    return [spot_of(one, site, kind, who) for one in given]


def _ring(places: list[tuple[float, float]], who: str) -> list[tuple[float, float]]:
    import shapely

    ring = places if places[0] == places[-1] else [*places, places[0]]
    if len(ring) < 4 or not shapely.Polygon(ring).is_valid or not shapely.Polygon(ring).area > 0.0:
        raise ValueError(f"{who}: the area is no simple polygon; give its corners in their order, without crossing itself")
    return ring


def _centimetres(line: Sequence[Sequence[float]]) -> list[list[float]]:
    """Return places rounded, those in a line with their neighbours left out: a track of a receiver has thousands."""
    import shapely

    at = np.round(np.asarray(line, dtype=float)[:, :2], 2)
    simple = shapely.LineString(at).simplify(0.5) if len(at) > 50 else shapely.LineString(at)
    return np.asarray(simple.coords).tolist()


def _bodies(given: Any, bodies: list[str], who: str) -> list[str]:
    wanted = bodies if given is None else [given] if isinstance(given, str) else list(given)
    for name in wanted:
        if name not in bodies:
            raise ValueError(f"{who}: there is no body {shown(name)} on this map; {suggestion(str(name), bodies, 'bodies')}")
    return list(wanted)


def _count(value: Any, who: str) -> int:
    if isinstance(value, bool) or not isinstance(value, int | np.integer) or value < 1:
        raise ValueError(f"{who}: searchers = {shown(value)} must be a number of people abreast, 1 or more")
    return int(value)


# ---------------------------------------------------------------- how thoroughly


def _track(given: dict[str, Any], law: str, searchers: int, who: str) -> dict[str, float]:
    """Return the width of the strip about a track and the coverage of one pass of it."""
    for key in ("coverage", "hours", "speed"):
        if given.get(key) is not None:
            raise ValueError(f"{who}: {key} is about an area; a track is covered by its sweep width over the width of its strip")
    if given.get("detection") is not None:
        sweep = None if given.get("width") is not None else searchers * sweep_width_of(given.get("cover"), given.get("sweep_width"), who)
        width = sweep if sweep is not None else length_of(given["width"], "width", who)
        return {"width": width, "coverage": _by_detection(given["detection"], law, who)}
    sweep = searchers * sweep_width_of(given.get("cover"), given.get("sweep_width"), who)
    spaced = sweep if given.get("spacing") is None else searchers * length_of(given["spacing"], "spacing", who)
    width = spaced if given.get("width") is None else length_of(given["width"], "width", who)
    return {"width": width, "coverage": sweep / width}


def _area(given: dict[str, Any], law: str, searchers: int, shape: dict[str, Any], who: str) -> dict[str, float]:
    """Return the coverage of an area, by whichever one way it is told."""
    hours = given.get("hours") is not None or given.get("speed") is not None
    ways = [key for key in ("coverage", "spacing", "detection") if given.get(key) is not None] + (["hours with speed"] if hours else [])
    if len(ways) != 1:
        told = f"{' and '.join(ways)} are two truths" if ways else "nothing says how thoroughly the area was walked"
        raise ValueError(f"{who}: {told}; give one of {_THOROUGH}")
    if ways[0] == "detection":
        return {"coverage": _by_detection(given["detection"], law, who)}
    if ways[0] == "coverage":
        return {"coverage": length_of(given["coverage"], "coverage", who, "1")}
    sweep = sweep_width_of(given.get("cover"), given.get("sweep_width"), who)
    if ways[0] == "spacing":
        return {"coverage": sweep / length_of(given["spacing"], "spacing", who)}
    if given.get("hours") is None or given.get("speed") is None:
        raise ValueError(f"{who}: hours and speed go together: how long somebody walked there, and how fast")
    walked = seconds_of(given["hours"], "hours", who) * length_of(given["speed"], "speed", who, "m/s")
    from sixdof.postflight.search.swept import area_of

    return {"coverage": searchers * sweep * walked / area_of(shape).area}


def seconds_of(hours: Any, name: str, who: str) -> float:
    """Return a time in s: a number of hours, or text with a unit such as "90 min"."""
    if isinstance(hours, str):
        return length_of(hours, name, who, "s")
    return 3600.0 * length_of(hours, name, who, "1")


def _by_detection(value: Any, law: str, who: str) -> float:
    chance = length_of(value, "detection", who, "1")
    if chance >= 1.0:
        raise ValueError(f"{who}: detection = {shown(value)} must be below 1: nobody finds all that there is")
    return coverage_for(chance, LAWS[law])


def stored(entries: list[dict[str, Any]]) -> str:
    """Return entries as text that a Dataset's attribute keeps."""
    return json.dumps(entries)


def kept(ds: xr.Dataset) -> list[dict[str, Any]]:
    """Return the entries that a map keeps of what was walked before."""
    return json.loads(ds.attrs["walked"]) if "walked" in ds.attrs else []
