"""GPX 1.1 (topografix.com/GPX/1/1): tracks of who walked are read, strips and places to go to are written."""

from __future__ import annotations

import math
import xml.etree.ElementTree as tree
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from sixdof.mission.files.incoming import FileFault, check_ordinary

NAMESPACE = "http://www.topografix.com/GPX/1/1"
MOST = 64e6  # bytes of a file that is read
_HOW = "export the track as GPX 1.1 again"


class Waypoint(NamedTuple):
    """A place to go to, degrees, with its name and a sentence."""

    latitude: float
    longitude: float
    name: str
    says: str = ""


class Track(NamedTuple):
    """A line to walk: positions (latitude, longitude) in degrees, name and a sentence."""

    positions: Sequence[tuple[float, float]]
    name: str
    says: str = ""


def read_gpx(path: str | Path) -> list[tuple[str, list[list[tuple[float, float]]]]]:
    """Return the tracks and routes of a GPX file as (name, segments of (latitude, longitude) in degrees).

    Raises
    ------
    ValueError
        In one sentence: what is no GPX, positions that are none, a file without a track.
    """
    try:
        check_ordinary(path, MOST)
        raw = Path(path).read_bytes()
        if b"<!DOCTYPE" in raw or b"<!ENTITY" in raw:
            raise ValueError(f"{path} declares a document type, which GPX has not; {_HOW}")
        root = tree.fromstring(raw)
    except FileFault as fault:
        raise ValueError(f"{path} {fault.message}; {fault.hint}") from None
    except tree.ParseError as error:
        raise ValueError(f"{path} is no XML ({error}); {_HOW}") from None
    except OSError as error:
        raise type(error)(f"{path} cannot be read: {error.strerror or error}; give the path of a GPX file") from None
    if _plain(root.tag) != "gpx":
        raise ValueError(f"{path} is no GPX: its root is {_plain(root.tag)}; {_HOW}")
    found = []
    for each in (one for one in root if _plain(one.tag) in ("trk", "rte")):
        name = next((one.text or "" for one in each if _plain(one.tag) == "name"), "")
        parts = [one for one in each if _plain(one.tag) == "trkseg"] if _plain(each.tag) == "trk" else [each]
        segments = [[_position(point, path) for point in part if _plain(point.tag) in ("trkpt", "rtept")] for part in parts]
        segments = [segment for segment in segments if len(segment) > 1]
        found += [(name.strip(), segments)] if segments else []
    if not found:
        raise ValueError(f"{path} holds no track or route of two positions or more; {_HOW}")
    return found


def _plain(tag: str) -> str:
    return tag.rpartition("}")[2]


def _position(point, path) -> tuple[float, float]:
    try:
        latitude, longitude = float(point.get("lat", "")), float(point.get("lon", ""))
    except ValueError:
        latitude = longitude = math.nan
    if not (abs(latitude) <= 90.0 and abs(longitude) <= 180.0):
        raise ValueError(f"{path} has a position with lat = {point.get('lat')!r}, lon = {point.get('lon')!r}, which is none; {_HOW}")
    return latitude, longitude


def gpx_text(title: str, says: str, waypoints: Sequence[Waypoint], tracks: Sequence[Track]) -> str:
    """Return the text of a GPX 1.1 file. Elements stand in the order that its schema asks for: metadata, wpt, trk."""
    tree.register_namespace("", NAMESPACE)
    root = tree.Element(f"{{{NAMESPACE}}}gpx", {"version": "1.1", "creator": "sixdof"})
    about = _child(root, "metadata")
    _child(about, "name", title)
    _child(about, "desc", says)
    for one in waypoints:
        point = _child(root, "wpt", **_at(one.latitude, one.longitude))
        _named(point, one.name, one.says)
    for line in tracks:
        track = _child(root, "trk")
        _named(track, line.name, line.says)
        segment = _child(track, "trkseg")
        for latitude, longitude in line.positions:
            _child(segment, "trkpt", **_at(latitude, longitude))
    tree.indent(root, " ")
    return '<?xml version="1.0" encoding="UTF-8"?>\n' + tree.tostring(root, encoding="unicode") + "\n"


def _at(latitude: float, longitude: float) -> dict[str, str]:
    return {"lat": f"{latitude:.7f}", "lon": f"{longitude:.7f}"}


def _named(element, name: str, says: str) -> None:
    _child(element, "name", name)
    if says:
        _child(element, "desc", says)


def _child(parent, element: str, text: str | None = None, **attributes: str):
    found = tree.SubElement(parent, f"{{{NAMESPACE}}}{element}", attributes)
    found.text = text
    return found
