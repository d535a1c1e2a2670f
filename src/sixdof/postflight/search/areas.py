"""Areas of highest density of a map: how large they are, at what level they end, and their outlines."""

from __future__ import annotations

import numpy as np
import xarray as xr

SHARES = (0.5, 0.75, 0.9, 0.95)


def levels_of(probability: np.ndarray, shares=SHARES) -> tuple[np.ndarray, np.ndarray]:
    """Return for each share the probability of the last cell that the area of highest density holding it takes, and how many cells it takes.

    (R. J. Hyndman, 1996, Am. Statistician 50, 120-126.) The last cell counts in part. NaN where the whole map holds less than the share.
    """
    order = np.sort(np.asarray(probability, dtype=float), axis=None)[::-1]
    held = np.cumsum(order)
    level, cells = np.full(len(shares), np.nan), np.full(len(shares), np.nan)
    for k, share in enumerate(shares):
        if share <= held[-1]:
            last = int(np.searchsorted(held, share))
            before = held[last - 1] if last else 0.0
            level[k] = order[last]
            cells[k] = last + (share - before) / order[last]
    return level, cells


def area_entries(probability: np.ndarray, cell: float) -> dict:
    """Return the variables along (body, share) of a posterior (body, north, east)."""
    found = [levels_of(one) for one in probability]
    level, cells = (np.stack([pair[k] for pair in found]) for k in (0, 1))
    text = "area of the region of highest density that holds the share of all probability; NaN where the map holds less"
    return {
        "area": (("body", "share"), cells * cell**2, {"units": "m^2", "long_name": text}),
        "level": (("body", "share"), level, {"units": "1", "long_name": "probability of the cell at the border of that region"}),
    }


def outlines(ds: xr.Dataset, body: str, shares=SHARES) -> dict[float, list[np.ndarray]]:
    """Return the outlines of the areas of a body's map, share -> closed rings [(k, 2), ...] in m, anticlockwise about places, clockwise about holes."""
    from contourpy import LineType, contour_generator

    one = ds.sel(body=body)
    east, north, cell = ds["east"].values, ds["north"].values, float(ds.attrs["cell"])
    x, y = (np.concatenate([[axis[0] - cell], axis, [axis[-1] + cell]]) for axis in (east, north))
    framed = np.pad(one["probability"].values, 1)
    level, _ = levels_of(one["probability"].values, shares)
    lines = contour_generator(x, y, framed, line_type=LineType.Separate)
    found = {float(share): lines.lines(each * (1.0 - 1e-9)) for share, each in zip(shares, level, strict=True) if np.isfinite(each)}
    return {share: rings for share, rings in found.items() if rings}
