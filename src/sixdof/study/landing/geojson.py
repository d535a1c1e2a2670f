"""Fields as GeoJSON (RFC 7946): read, looked through, and written.

A file holds features; the property `role` of each says what it is:

    "field"     Polygon, MultiPolygon: where pieces may land; a polygon without a role is taken for one
    "no_go"     Polygon, MultiPolygon: where none may land
    "people"    any geometry: where people, roads, houses are; landing places are held a distance away from them
    "waiver"    Point: the centre of a waiver's circle, with the properties `radius` and, where there is one, `ceiling` above the
                launch point, "1.5 km" or a number in metres

A feature of any other kind without a role is an error, so that nothing on a map is overlooked. `name` is shown. Positions are longitude, latitude in
degrees (WGS-84), edges are straight in them, as RFC 7946 has it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from sixdof.mission.errors import suggestion
from sixdof.mission.files.incoming import FileFault, check_ordinary
from sixdof.mission.units import QuantityError, parse, shown

ROLES = ("field", "no_go", "people", "waiver")
AREAS = ("Polygon", "MultiPolygon")
_DEPTH = {"Point": 0, "MultiPoint": 1, "LineString": 1, "MultiLineString": 2, "Polygon": 2, "MultiPolygon": 3}  # lists about a position
_DECIMALS = 7  # of a degree: a centimetre
_HOW = "give a Polygon, a MultiPolygon, a Feature or a FeatureCollection of RFC 7946"


@dataclass(frozen=True)
class Feature:
    """One feature: its role, its name, the type of its geometry and the coordinates as RFC 7946 nests them. radius, ceiling : of a waiver, m."""

    role: str
    name: str
    kind: str
    coordinates: Any
    radius: float = math.nan
    ceiling: float = math.inf


def read_features(field: str | Path | Mapping, who: str = "landing") -> tuple[Feature, ...]:
    """Return the features of a field: the path of a GeoJSON file, its text, or what `json.load` makes of it.

    Raises
    ------
    ValueError
        In one sentence that names the file and the feature: what is no JSON or no GeoJSON, coordinates that are no longitude and latitude, rings
        that are open or cross themselves, a role that there is not, a waiver without a radius.
    TypeError
        For anything else.
    """
    file, found = loaded(field, who)
    try:
        features = tuple(_features(found))
        if not features:
            raise ValueError("holds no feature with a geometry; draw the field as a Polygon")
        return features
    except ValueError as error:
        raise ValueError(f"{file}: {error}") from None


def loaded(field, who: str) -> tuple[str, Any]:
    """Return what a field is called in messages, and its JSON as Python has it."""
    if isinstance(field, Mapping):
        return f"{who}: field", field
    if not isinstance(field, str | Path):
        raise TypeError(f"{who}: field must be a GeoJSON file, its text or a dictionary, not {shown(field)}")
    written = isinstance(field, str) and field.lstrip().startswith("{")
    file = f"{who}: field" if written else str(field)
    try:
        text = field if written else _text(field)
        return file, json.loads(text)
    except FileFault as fault:
        raise ValueError(f"{file} {fault.message}; {fault.hint}") from None
    except json.JSONDecodeError as error:
        raise ValueError(f"{file} is no JSON: line {error.lineno}, {error.msg.lower()}; {_HOW}") from None
    except UnicodeDecodeError:
        raise ValueError(f"{file} is no text in UTF-8; {_HOW}") from None
    except RecursionError:
        raise ValueError(f"{file} is nested without end; {_HOW}") from None
    except OSError as error:
        raise type(error)(f"{file} cannot be read: {error.strerror or error}; give the path of a GeoJSON file") from None


def _text(path: str | Path) -> str:
    check_ordinary(path)
    return Path(path).read_text(encoding="utf-8-sig")


# ---------------------------------------------------------------- what a file must hold


def _features(found: Any) -> Iterator[Feature]:
    if not isinstance(found, dict) or not isinstance(found.get("type"), str):
        raise ValueError(f"is no GeoJSON, for it has no type; {_HOW}")
    if "crs" in found and "CRS84" not in str(found["crs"]) and "4326" not in str(found["crs"]):
        raise ValueError("names a coordinate reference system of its own (crs), which RFC 7946 has not; convert it to WGS-84 longitude and latitude")
    if found["type"] == "FeatureCollection":
        listed = found.get("features")
        if not isinstance(listed, list):
            raise ValueError(f"is a FeatureCollection without a list of features; {_HOW}")
        for number, each in enumerate(listed, 1):
            yield from _feature(each, f"feature {number}")
    elif found["type"] == "Feature":
        yield from _feature(found, "the feature")
    else:
        yield from _of_geometry(found, {}, "the geometry")


def _feature(found: Any, where: str) -> Iterator[Feature]:
    if not isinstance(found, dict) or found.get("type") != "Feature":
        raise ValueError(f"{where} has the type {shown(found.get('type') if isinstance(found, dict) else found)}; write Feature")
    properties = found.get("properties") or {}
    if not isinstance(properties, dict):
        raise ValueError(f"{where} has properties that are no object: {shown(properties)}; write names and values in braces")
    if isinstance(properties.get("name"), str) and properties["name"]:
        where += f" ({properties['name']})"
    if found.get("geometry") is not None:  # RFC 7946, 3.2: an unlocated feature
        yield from _of_geometry(found["geometry"], properties, where)


def _of_geometry(found: Any, properties: dict, where: str) -> Iterator[Feature]:
    kind = found.get("type") if isinstance(found, dict) else None
    if kind == "GeometryCollection":
        for each in found.get("geometries") or []:
            yield from _of_geometry(each, properties, where)
        return
    if kind not in _DEPTH:
        raise ValueError(f"{where}: {shown(kind)} is no geometry of GeoJSON; {suggestion(str(kind), (*_DEPTH, 'GeometryCollection'), 'types')}")
    coordinates = _checked(found.get("coordinates"), _DEPTH[kind], where)
    for ring in _rings(kind, coordinates):
        _check_ring(ring, where)
    role = _role(kind, properties.get("role"), where)
    if kind in AREAS:
        _check_simple(kind, coordinates, where)
    sizes = _waiver(properties, where) if role == "waiver" else {}
    yield Feature(role, str(properties.get("name") or ""), kind, coordinates, **sizes)


def _checked(found: Any, depth: int, where: str):
    """Return coordinates as nested lists of (longitude, latitude); heights are left out, for all is about places on the ground."""
    if not isinstance(found, list) or (depth and not found):
        raise ValueError(f"{where}: its coordinates are {shown(found)}; write lists of [longitude, latitude]")
    if depth:
        return [_checked(each, depth - 1, where) for each in found]
    numbers = [one for one in found if isinstance(one, int | float) and not isinstance(one, bool) and math.isfinite(one)]
    if len(numbers) != len(found) or len(found) < 2:
        raise ValueError(f"{where}: the position {shown(found)} is none; write [longitude, latitude] in degrees")
    longitude, latitude = float(numbers[0]), float(numbers[1])
    if abs(longitude) > 180.0 or abs(latitude) > 90.0:
        raise ValueError(
            f"{where}: the position ({longitude:.10g}, {latitude:.10g}) is no longitude within 180 and latitude within 90 degrees; these look like "
            "projected coordinates (metres), or latitude stands first: convert them to WGS-84 longitude, latitude"
        )
    return [longitude, latitude]


def _rings(kind: str, coordinates) -> Iterator[list]:
    for polygon in [coordinates] if kind == "Polygon" else coordinates if kind == "MultiPolygon" else []:
        yield from polygon


def _check_ring(ring: list, where: str) -> None:
    if ring[0] != ring[-1]:
        raise ValueError(f"{where}: a ring is open, from {shown(ring[0])} to {shown(ring[-1])}; repeat the first position at its end (RFC 7946, 3.1.6)")
    if len(ring) < 4:
        raise ValueError(f"{where}: a ring has {len(ring)} positions; a closed ring has 4 or more (RFC 7946, 3.1.6)")


def _check_simple(kind: str, coordinates, where: str) -> None:
    import shapely

    area = shapely.geometry.shape({"type": kind, "coordinates": coordinates})
    if not area.is_valid:
        reason = shapely.is_valid_reason(area).replace("[", " at ").replace("]", "")
        raise ValueError(f"{where}: the polygon is not simple ({reason.lower()}); draw it without crossing itself, holes inside their outline")
    if not area.area > 0.0:
        raise ValueError(f"{where}: the polygon has no area; draw a ring about a place")


def _role(kind: str, role: Any, where: str) -> str:
    if role is None and kind in AREAS:
        return "field"
    if role not in ROLES:
        told = "has no role" if role is None else f"role {shown(role)} is none"
        raise ValueError(f"{where}: {told}; write one of {', '.join(ROLES)} as its property `role`")
    if role in ("field", "no_go") and kind not in AREAS:
        raise ValueError(f"{where}: a {kind} is no {role}; draw it as a Polygon")
    if role == "waiver" and kind != "Point":
        raise ValueError(f"{where}: a {kind} is no waiver's centre; write a Point and the property `radius`")
    return role


def _waiver(properties: dict, where: str) -> dict[str, float]:
    sizes = {}
    for name in ("radius", "ceiling"):
        if name in properties:
            try:
                sizes[name] = parse(properties[name], "m")
            except QuantityError as error:
                raise ValueError(f"{where}: {name} = {error}") from None
            if not sizes[name] > 0.0:
                raise ValueError(f'{where}: {name} = {shown(properties[name])} is no distance; write, for example, "1.5 km"')
    if "radius" not in sizes:
        raise ValueError(f'{where}: a waiver needs a radius; write the property `radius`, such as "1.5 km"')
    return sizes


# ---------------------------------------------------------------- written


def feature(kind: str, coordinates, **properties) -> dict:
    """Return a Feature of RFC 7946 with rounded positions; rings run anticlockwise outside and clockwise round holes (3.1.6)."""
    return {"type": "Feature", "geometry": {"type": kind, "coordinates": _written(kind, coordinates)}, "properties": properties}


def _written(kind: str, coordinates):
    if kind == "Polygon":
        return [turned(_rounded(ring), hole=k > 0) for k, ring in enumerate(coordinates)]
    if kind == "MultiPolygon":
        return [_written("Polygon", polygon) for polygon in coordinates]
    return _rounded(coordinates)


def _rounded(coordinates):
    return np.round(np.asarray(coordinates, dtype=float), _DECIMALS).tolist()


def turned(ring: list, *, hole: bool = False) -> list:
    """Return a closed ring of positions by the right-hand rule: anticlockwise, or clockwise for a hole."""
    x, y = (np.asarray(ring) - ring[0]).T
    anticlockwise = float(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) > 0.0
    return ring if anticlockwise != hole else ring[::-1]


def as_feature(one: Feature) -> dict:
    """Return a feature that was read as it is written."""
    properties = {"name": one.name, "role": one.role}
    if one.role == "waiver":
        properties |= {"radius": one.radius} | ({"ceiling": one.ceiling} if math.isfinite(one.ceiling) else {})
    return feature(one.kind, one.coordinates, **properties)


def collection(features: list[dict]) -> str:
    """Return the text of a FeatureCollection; JSON has no NaN, and RFC 7946 no `crs`."""
    lines = ",\n".join(json.dumps(one, ensure_ascii=False, allow_nan=False) for one in features)
    return f'{{"type": "FeatureCollection", "features": [\n{lines}\n]}}\n'
