"""`with_walked`: a map after somebody walked there and found nothing."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from sixdof.postflight.search.position import site_of
from sixdof.postflight.search.search_map import with_posterior
from sixdof.postflight.search.swept import Swept, swept_by
from sixdof.postflight.search.text import need_map
from sixdof.postflight.search.walked import entries_of, kept, stored

_OF_A_PLAN = ("strip", "moment", "hour")


def with_walked(
    map: xr.Dataset,
    walked: Any,
    *,
    cover: str | None = None,
    sweep_width: float | str | None = None,
    law: str | None = None,
    searcher: str | None = None,
    searchers: int | None = None,
    spacing: float | str | None = None,
    body: Any = None,
) -> xr.Dataset:
    """Return a map after searches that found nothing: what was swept falls, all else rises, the ground outside of the map as well (Bayes).

    Several calls and one call with all searches give the same, in any order. Different searchers are independent: the probability that all missed it is the
    product. Of several searches of one named searcher the best counts in a cell: what he overlooked once he overlooks again. Within one search passes add up
    their coverage before the law.

    Parameters
    ----------
    map : Dataset
        What `search_map`, `with_walked` or `next_strips` returned; strips of a plan on it go.
    walked : a search, or several; or a path
        A search is a dictionary. `area`, the corners of a polygon, or `track`, a line, in (east, north) of the rail (m) or "latitude, longitude", or GeoJSON
        or the path of a GPX file. How well one could see: `cover` (open, grass, crop, scrub, forest: this project's own sweep widths) or `sweep_width` of
        your own. How thoroughly an area was walked, one of: `spacing` of the lines, `coverage` (area swept over area), `detection` (probability to find it
        if it is there), `hours` with `speed`. Of a track `width`, of the strip it stands for; its sweep width times `searchers` by itself. Besides `law`,
        `searcher`, `searchers`, `body`, `name`; what else GeoJSON holds is not read, but for keys misspelled.
        A path or a dictionary of GeoJSON (a feature's properties are these keys), a GPX file, or strips of a plan that were walked
        (`plan.isel(strip=[0, 1])`).
    cover, sweep_width, law, searcher, searchers, spacing, body : for all searches that do not say so themselves
        law : "random" (1 - exp(-C), Koopman 1946; the default, the cautious one), "inverse cube" (erf(sqrt(pi)/2 C)), "definite range" (C up to 1).
        searcher : a name; searches without one are taken as of different people. searchers : how many walked abreast. body : what was looked for; all.

    Returns
    -------
    Dataset
        The map, its `probability` and what follows from it made anew. Besides `missed` (body, north, east), the probability that all searches miss what
        lies in a cell; along `search`: `searcher`, `law`, `search_area` (m^2), `search_detection` (mean of the area swept), `search_found` (search, body).

    Raises
    ------
    TypeError, ValueError
        In one sentence, for what is no map, no search, and for a search that would have found the body wherever it may lie.

    Examples
    --------
    >>> found = sixdof.postflight.search_map(flights, cell="20 m")
    >>> walked = sixdof.postflight.with_walked(found, {"area": [(0, 0), (300, 0), (300, 100), (0, 100)], "cover": "grass", "spacing": "20 m"})
    >>> bool(walked.outside.sum() >= found.outside.sum())
    True
    """
    need_map(map, "with_walked")
    before = kept(map)
    usual = {"cover": cover, "sweep_width": sweep_width, "law": law, "searcher": searcher, "searchers": searchers, "spacing": spacing, "body": body}
    entries = [*before, *entries_of(walked, map, site_of(map), usual, len(before) + 1)]
    ds = map.drop_dims([dim for dim in (*_OF_A_PLAN, "search") if dim in map.dims])
    ds = ds.assign_attrs({name: value for name, value in ds.attrs.items() if not name.startswith("plan_")} | {"walked": stored(entries)})
    ds.attrs = {name: value for name, value in ds.attrs.items() if not name.startswith("plan_")}
    swept = [swept_by(entry, ds) for entry in entries]
    missed = _missed(ds, entries, swept)
    ds = ds.assign(missed=(("body", "north", "east"), missed, {"units": "1", "long_name": "probability that all searches miss what lies in the cell"}))
    return with_posterior(ds.assign(_by_search(ds, entries, swept)).assign_coords(search=("search", _names(entries), {"long_name": "search"})))


def _missed(ds: xr.Dataset, entries: list[dict[str, Any]], swept: list[Swept]) -> np.ndarray:
    """Return the probability (body, north, east) that all searches missed it: the product over searchers, of each the best of his searches."""
    bodies = [str(name) for name in ds["body"].values]
    out = np.ones(ds["prior"].shape)
    for k, name in enumerate(bodies):
        best: dict[str, np.ndarray] = {}
        for number, (entry, one) in enumerate(zip(entries, swept, strict=True)):
            if name in entry["body"]:
                who = entry["searcher"] or f"\n{number}"
                best[who] = np.maximum(best.get(who, 0.0), one.detection)
        for who in sorted(best):
            out[k] *= 1.0 - best[who]
    return out


def _names(entries: list[dict[str, Any]]) -> list[str]:
    """Return names of searches, no two of them the same."""
    names: list[str] = []
    for entry in entries:
        name, again = entry["name"], 1
        while name in names:
            again += 1
            name = f"{entry['name']} ({again})"
        names.append(name)
    return names


def _by_search(ds: xr.Dataset, entries: list[dict[str, Any]], swept: list[Swept]) -> dict:
    cell, along = float(ds.attrs["cell"]), ("search",)
    prior, bodies = ds["prior"].values, [str(name) for name in ds["body"].values]
    found = [
        [float((prior[k] * one.detection).sum()) if name in entry["body"] else np.nan for k, name in enumerate(bodies)] for entry, one in zip(entries, swept)
    ]
    mean = [float(one.detection.sum()) * cell**2 / one.area for one in swept]
    return {
        "searcher": (along, [entry["searcher"] or "one more" for entry in entries], {"long_name": "who searched"}),
        "law": (along, [entry["law"] for entry in entries], {"long_name": "law of detection"}),
        "search_area": (along, [one.area for one in swept], {"units": "m^2", "long_name": "area that was swept"}),
        "search_detection": (along, mean, {"units": "1", "long_name": "probability to find what lies there, mean of the area swept"}),
        "search_found": (("search", "body"), found, {"units": "1", "long_name": "probability of finding the body, by itself, before anything else was walked"}),
    }
