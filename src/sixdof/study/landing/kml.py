"""Landing places as KML 2.2 (OGC 07-147r2): a folder for each body, styles that can be told apart, all of it on the ground."""

from __future__ import annotations

import xml.etree.ElementTree as tree
from collections.abc import Sequence
from pathlib import Path

import xarray as xr

from sixdof.study.landing.export import SAYS, Shown, shown_features, written
from sixdof.study.landing.groups import ALL, SHARES

NAMESPACE = "http://www.opengis.net/kml/2.2"
# of bodies, as red, green, blue; the figures' colours
COLOURS = ("03428c", "b17fbc", "6a73fa", "cd880b", "a32e16", "17ac6a")
_AREAS = {"field": ("17ac6a", 2.0, 0x22), "no_go": ("a32e16", 2.0, 0x66), "people": ("cd880b", 3.0, 0x66), "waiver": ("262626", 2.0, 0x00)}
_FIELD = ("field", "no_go", "people", "waiver")


def landing_kml(
    ds: xr.Dataset,
    path: str | Path | None = None,
    *,
    branches: Sequence[str] = (ALL,),
    shares: Sequence[float] = SHARES,
    places: int = 0,
    overwrite: bool = False,
) -> str:
    """Return what `landing` found as KML 2.2, and write it: what `landing_geojson` holds, in folders, with styles.

    path, branches, shares, places, overwrite : as in `landing_geojson`. Raises ValueError and FileExistsError as that does.

    Examples
    --------
    >>> found = sixdof.preflight.landing(flights)
    >>> "<Placemark>" in sixdof.preflight.landing_kml(found)
    True
    """
    tree.register_namespace("", NAMESPACE)
    root = tree.Element(f"{{{NAMESPACE}}}kml")
    document = child(root, "Document")
    child(document, "name", f"Where it lands: {ds.attrs.get('title', 'untitled')}")
    child(document, "description", f"{SAYS} {ds.attrs.get('source', '')}".strip())
    things = shown_features(ds, branches, shares, places, "landing_kml")
    _styles(document, ds.sizes["body"])
    for name, own in _folders(ds, things):
        folder = child(document, "Folder")
        child(folder, "name", name)
        for one in own:
            placemark(folder, one)
    tree.indent(root, " ")
    return written(tree.tostring(root, encoding="unicode", xml_declaration=True).replace("encoding='us-ascii'", "encoding='UTF-8'") + "\n", path, overwrite)


def child(parent, element: str, text: str | None = None, **attributes):
    found = tree.SubElement(parent, f"{{{NAMESPACE}}}{element}", attributes)
    found.text = text
    return found


def _folders(ds: xr.Dataset, things: list[Shown]) -> list[tuple[str, list[Shown]]]:
    """Return the names of folders and what is in them, none of them empty."""
    found = [("Field", [one for one in things if one.style in _FIELD]), ("Rail", [one for one in things if one.style == "rail"])]
    for name in map(str, ds["body"].values):
        found.append((name, [one for one in things if one.feature["properties"].get("body") == name]))
    return [(name, own) for name, own in found if own]


# ---------------------------------------------------------------- styles


def _styles(document, bodies: int) -> None:
    for name, (colour, width, opacity) in _AREAS.items():
        style_of(document, name, colour, width, opacity)
    style_of(document, "rail", "262626", 2.0, 0x00)
    for k in range(bodies):
        style_of(document, f"contour-{k}", COLOURS[k % len(COLOURS)], 2.0, 0x28)
        style_of(document, f"mean-{k}", COLOURS[k % len(COLOURS)], 2.0, 0x00)
        style_of(document, f"place-{k}", COLOURS[k % len(COLOURS)], 2.0, 0x00, scale=0.3)


def style_of(document, name: str, colour: str, width: float, opacity: int, scale: float = 1.0) -> None:
    """Add a style: icons, `scale` times as large as usual, and lines in a colour (red, green, blue), areas in the same one with an opacity."""
    style = child(document, "Style", id=name)
    icon = child(style, "IconStyle")
    child(icon, "color", colour_of(colour))
    child(icon, "scale", f"{scale:g}")
    line = child(style, "LineStyle")
    child(line, "color", colour_of(colour))
    child(line, "width", f"{width:g}")
    area = child(style, "PolyStyle")
    child(area, "color", colour_of(colour, opacity))
    child(area, "fill", "1" if opacity else "0")


def colour_of(colour: str, opacity: int = 0xFF) -> str:
    """Return a colour as KML has it: opacity, blue, green, red."""
    return f"{opacity:02x}{colour[4:6]}{colour[2:4]}{colour[0:2]}"


# ---------------------------------------------------------------- placemarks


def placemark(folder, one: Shown) -> None:
    mark = child(folder, "Placemark")
    properties = one.feature["properties"]
    child(mark, "name", properties.get("name") or properties["role"])
    child(mark, "styleUrl", f"#{one.style}-{one.body}" if one.style in ("contour", "mean", "place") else f"#{one.style}")
    extended = child(mark, "ExtendedData")
    for name, value in properties.items():
        if name != "name":
            child(child(extended, "Data", name=name), "value", f"{value:g}" if isinstance(value, float) else str(value))
    geometry = one.feature["geometry"]
    _geometry(mark, geometry["type"], geometry["coordinates"])


def _geometry(parent, kind: str, coordinates) -> None:
    if kind.startswith("Multi"):
        several = child(parent, "MultiGeometry")
        for each in coordinates:
            _geometry(several, kind.removeprefix("Multi"), each)
    elif kind == "Polygon":
        polygon = child(parent, "Polygon")
        child(polygon, "tessellate", "1")
        for k, ring in enumerate(coordinates):
            border = child(polygon, "innerBoundaryIs" if k else "outerBoundaryIs")
            child(child(border, "LinearRing"), "coordinates", _positions(ring))
    else:
        found = child(parent, kind)
        if kind == "LineString":
            child(found, "tessellate", "1")
        child(found, "coordinates", _positions([coordinates] if kind == "Point" else coordinates))


def _positions(ring) -> str:
    return " ".join(f"{longitude:.7f},{latitude:.7f}" for longitude, latitude in ring)
