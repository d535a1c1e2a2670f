"""A map, what was walked and the next strips for a phone: GeoJSON (RFC 7946), KML 2.2 (OGC 07-147r2), GPX 1.1."""

from __future__ import annotations

import math
import xml.etree.ElementTree as tree
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.mission.tables import Site
from sixdof.postflight.search.areas import SHARES, outlines
from sixdof.postflight.search.gpx import Track, Waypoint, gpx_text
from sixdof.postflight.search.position import need_site
from sixdof.postflight.search.text import need_map
from sixdof.postflight.search.walked import kept
from sixdof.study.landing.export import Shown, areas_of, degrees_of, nested, written
from sixdof.study.landing.geojson import as_feature, collection, feature, read_features
from sixdof.study.landing.kml import COLOURS, NAMESPACE, child, placemark, style_of
from sixdof.study.landing.text import percent

SAYS = (
    "A calculation, never a clearance: ask before you enter land, go in pairs, climb and wade for nothing, keep off a body on the ground until the range "
    "safety officer says how it is approached."
)
_STYLES = {"rail": ("262626", 2.0, 0x00), "fix": ("cd880b", 2.0, 0x00), "walked": ("7a7a7a", 2.0, 0x44), "strip": ("a32e16", 4.0, 0x00)}
_LIMITS = {"field": ("17ac6a", 2.0, 0x11), "no_go": ("a32e16", 2.0, 0x66), "people": ("cd880b", 3.0, 0x66), "waiver": ("262626", 2.0, 0x00)}


def search_geojson(ds: xr.Dataset, path: str | Path | None = None, *, shares: Sequence[float] = SHARES, overwrite: bool = False) -> str:
    """Return a map as GeoJSON (RFC 7946), and write it: rail, last fix, areas and most probable cell of each body, what was walked, the next strips.

    Positions are longitude and latitude in degrees; `role`, `body`, `share`, `strip`, `bearing` (degrees true), `found` are properties. Features of the role
    "walked" are read again by `with_walked`.

    Parameters
    ----------
    path : a file to write, or None
    shares : of the probability inside each area
    overwrite : replace the file if it exists

    Raises
    ------
    ValueError
        For what is no map, and one whose flights carried no mission.
    FileExistsError
        For a file that exists, if overwrite is not set.

    Examples
    --------
    >>> sixdof.postflight.search_geojson(sixdof.postflight.search_map(flights, cell="20 m"))[:30]
    '{"type": "FeatureCollection", '
    """
    return written(collection([one.feature for one in shown_on(ds, shares, "search_geojson")]), path, overwrite)


def search_kml(ds: xr.Dataset, path: str | Path | None = None, *, shares: Sequence[float] = SHARES, overwrite: bool = False) -> str:
    """Return a map as KML 2.2, and write it: what `search_geojson` holds, in folders, with styles.

    path, shares, overwrite : as in `search_geojson`. Raises ValueError and FileExistsError as that does.

    Examples
    --------
    >>> "<Placemark>" in sixdof.postflight.search_kml(sixdof.postflight.search_map(flights, cell="20 m"))
    True
    """
    things = shown_on(ds, shares, "search_kml")
    tree.register_namespace("", NAMESPACE)
    root = tree.Element(f"{{{NAMESPACE}}}kml")
    document = child(root, "Document")
    child(document, "name", _title(ds))
    child(document, "description", SAYS)
    for name, look in {**_STYLES, **_LIMITS}.items():
        style_of(document, name, *look)
    for k in range(ds.sizes["body"]):
        for name, opacity in (("contour", 0x28), ("mean", 0x00)):
            style_of(document, f"{name}-{k}", COLOURS[k % len(COLOURS)], 2.0, opacity)
    folders: dict[str, list[Shown]] = {}
    for one in things:
        folders.setdefault(str(one.feature["properties"].get("body") or {"strip": "Strips", "walked": "Walked"}.get(one.style, "Site")), []).append(one)
    for name, own in folders.items():
        folder = child(document, "Folder")
        child(folder, "name", name)
        for one in own:
            placemark(folder, one)
    tree.indent(root, " ")
    return written('<?xml version="1.0" encoding="UTF-8"?>\n' + tree.tostring(root, encoding="unicode") + "\n", path, overwrite)


def search_gpx(ds: xr.Dataset, path: str | Path | None = None, *, overwrite: bool = False) -> str:
    """Return a map as GPX 1.1, and write it: waypoints of rail, last fix, most probable cells and starts of strips; a track for each strip.

    path, overwrite : as in `search_geojson`. Raises ValueError and FileExistsError as that does.

    Examples
    --------
    >>> "<wpt " in sixdof.postflight.search_gpx(sixdof.postflight.search_map(flights, cell="20 m"))
    True
    """
    points, tracks = [], []
    for one in shown_on(ds, (), "search_gpx"):
        kind, at, said = one.feature["geometry"]["type"], one.feature["geometry"]["coordinates"], one.feature["properties"]
        if one.style == "strip":
            name, says = f"strip {said['strip']}", said["name"]
            points.append(Waypoint(at[0][1], at[0][0], f"start of {name}", says))
            tracks.append(Track([(latitude, longitude) for longitude, latitude in at], name, says))
        elif kind == "Point" and one.style in ("rail", "fix", "mean"):
            points.append(Waypoint(at[1], at[0], said["name"], SAYS if one.style == "mean" else ""))
    return written(gpx_text(_title(ds), SAYS, points, tracks), path, overwrite)


def _title(ds: xr.Dataset) -> str:
    return f"Where to search: {ds.attrs.get('title', 'untitled')}"


def shown_on(ds: xr.Dataset, shares: Sequence[float], who: str) -> list[Shown]:
    """Return all that is shown of a map. Raises ValueError for anything else, and for one without a site."""
    need_map(ds, who)
    site = need_site(ds, who)
    return [*_site(ds, site), *_bodies(ds, site, shares), *_walked(ds, site), *_strips(ds, site)]


def _point(site: Site, east: float, north: float, style: str, number: int = 0, **said) -> Shown:
    return Shown(feature("Point", degrees_of(np.array([[east, north]]), site)[0], **said), style, number)


def _site(ds: xr.Dataset, site: Site) -> Iterator[Shown]:
    for one in read_features(ds.attrs["field"], "search_map") if "field" in ds.attrs else ():
        yield Shown(as_feature(one), one.role)
    yield _point(site, 0.0, 0.0, "rail", name="rail", role="rail")
    if "last_fix_east" in ds.attrs:
        yield _point(site, ds.attrs["last_fix_east"], ds.attrs["last_fix_north"], "fix", name="last fix", role="last_fix")


def _bodies(ds: xr.Dataset, site: Site, shares: Sequence[float]) -> Iterator[Shown]:
    for k, body in enumerate(ds["body"].values.astype(str)):
        one = ds.sel(body=body)
        for share, rings in sorted(outlines(ds, body, shares).items(), reverse=True) if len(shares) else ():
            name = f"{body}: lies here with {100.0 * share:g} %"
            yield from areas_of(nested(rings), site, "contour", k, name=name, role="search_area", share=share, body=body)
        name = f"{body}: most probable cell"
        yield _point(site, float(one["best_east"]), float(one["best_north"]), "mean", k, name=name, role="most_probable", body=body)


def _walked(ds: xr.Dataset, site: Site) -> Iterator[Shown]:
    for entry in kept(ds):
        said = {"name": entry["name"], "role": "walked", "law": entry["law"], "coverage": entry["coverage"]}
        said |= {"searcher": entry["searcher"]} if entry["searcher"] else {}
        if entry["kind"] == "area":
            yield from areas_of([[np.asarray(ring) for ring in polygon] for polygon in entry["polygons"]], site, "walked", **said)
        else:
            del said["coverage"]
            for line in entry["lines"]:
                sweep = {"sweep_width": entry["coverage"] * entry["width"], "width": entry["width"]}
                yield Shown(feature("LineString", degrees_of(np.asarray(line), site), **said, **sweep), "walked")


def _strips(ds: xr.Dataset, site: Site) -> Iterator[Shown]:
    names = [str(name) for name in ds["body"].values]
    for k in range(ds.sizes.get("strip", 0)):
        one = ds.isel(strip=k)
        ends = np.array([[float(one[f"strip_{end}_{axis}"]) for axis in ("east", "north")] for end in ("start", "end")])
        bearing, number = math.degrees(float(one["strip_bearing"])), int(one["strip"])
        found = {name: float(one["strip_found"].sel(body=name)) for name in names}
        finds = ", ".join(f"{name} {percent(value)}" for name, value in found.items() if value > 0.0)
        words = f"strip {number}: {float(one['strip_length']):.0f} m along {bearing:03.0f} deg true, finds {finds}"
        said = {"name": words, "role": "strip", "strip": number, "bearing": round(bearing, 1), "length": round(float(one["strip_length"]), 1)}
        yield Shown(feature("LineString", degrees_of(ends, site), **said, found=round(sum(found.values()), 6)), "strip")
