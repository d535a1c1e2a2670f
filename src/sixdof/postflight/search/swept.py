"""What a search swept, on the grid: shares of cells inside polygons, coverage along tracks, and the detection that follows."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.postflight.search.detection import LAWS


class Swept(NamedTuple):
    """Of one search: detection (north, east), the probability to find what lies somewhere in a cell; area swept, m^2; effort (coverage times area), m^2."""

    detection: np.ndarray
    area: float
    effort: float


def swept_by(entry: dict[str, Any], ds: xr.Dataset) -> Swept:
    """Return what a search, as `walked.py` makes it, swept of the grid of a map. Cells that are not searchable were not looked into."""
    import shapely

    law = LAWS[entry["law"]]
    east, north, cell = ds["east"].values, ds["north"].values, float(ds.attrs["cell"])
    searchable = ds["searchable"].values > 0
    if entry["kind"] == "area":
        area = area_of(entry)
        share = cell_shares(area, east, north, cell)
        coverage = np.full(share.shape, float(entry["coverage"]))
        effort = float(entry["coverage"]) * area.area
    else:
        passes = passes_of(entry)
        area = shapely.union_all(passes)
        share = np.minimum(cell_shares(area, east, north, cell), 1.0)
        summed = np.zeros(share.shape)
        for one in passes:
            add_shares(summed, one, east, north, cell)
        coverage = float(entry["coverage"]) * np.divide(summed, share, out=np.zeros(share.shape), where=share > 1e-9)
        effort = float(entry["coverage"]) * sum(one.area for one in passes)
    return Swept(np.where(searchable, share * law.probability(coverage), 0.0), float(area.area), effort)


def area_of(entry: dict[str, Any]):
    """Return the polygon that was searched, m."""
    import shapely

    return shapely.MultiPolygon([(polygon[0], polygon[1:]) for polygon in entry["polygons"]]).buffer(0.0)


def passes_of(entry: dict[str, Any]) -> list:
    """Return a rectangle, m, for each straight piece of a track, as wide as its strip: their areas add up to its length times its width."""
    import shapely

    half = 0.5 * float(entry["width"])
    pieces = []
    for line in entry["lines"]:
        at = np.asarray(line, dtype=float)
        along = np.diff(at, axis=0)
        long = np.hypot(*along.T)
        kept = long > 1e-6
        side = half * np.column_stack([-along[kept, 1], along[kept, 0]]) / long[kept, None]
        a, b = at[:-1][kept], at[1:][kept]
        pieces.append(np.stack([a + side, a - side, b - side, b + side], axis=1))
    return list(shapely.polygons(np.concatenate(pieces)))


def cell_shares(area, east: np.ndarray, north: np.ndarray, cell: float) -> np.ndarray:
    """Return the share of each cell (north, east) that lies in an area, 0 to 1."""
    out = np.zeros((north.size, east.size))
    add_shares(out, area, east, north, cell)
    return out


def add_shares(out: np.ndarray, area, east: np.ndarray, north: np.ndarray, cell: float) -> None:
    """Add to each cell (north, east) the share of it that lies in an area."""
    import shapely

    if area.is_empty:
        return
    west, south, far, top = area.bounds
    (i0, i1), (j0, j1) = (
        (max(int((low - axis[0]) / cell) - 1, 0), min(int((high - axis[0]) / cell) + 2, axis.size))
        for low, high, axis in ((west, far, east), (south, top, north))
    )
    if i1 <= i0 or j1 <= j0:
        return
    x, y = np.meshgrid(east[i0:i1], north[j0:j1])
    half = 0.5 * cell
    boxes = shapely.box(x - half, y - half, x + half, y + half)
    if boxes.size > 64:
        shapely.prepare(area)
        full = shapely.contains(area, boxes)
        part = ~full & shapely.intersects(area, boxes)
    else:
        full, part = np.zeros(boxes.shape, dtype=bool), np.ones(boxes.shape, dtype=bool)
    shares = full.astype(float)
    shares[part] = shapely.area(shapely.intersection(boxes[part], area)) / cell**2
    out[j0:j1, i0:i1] += shares
