"""`next_strips`: where to walk next, hour by hour, and what it is worth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.postflight.search.allocation import optimal_allocation
from sixdof.postflight.search.detection import law_of, length_of, sweep_width_of
from sixdof.postflight.search.position import site_of, spot_of
from sixdof.postflight.search.strips import Strip, Walk, box_of, strips_of
from sixdof.postflight.search.text import need_map
from sixdof.postflight.search.walked import seconds_of

WHO = "next_strips"
LONGEST, TURNS = 500.0, 4  # bearings that strips have where none are given: along the map's long axis, across, and between
MOST_WALKED = 40e3  # m of walking that a plan may hold: a plan is for a day


def next_strips(
    map: xr.Dataset,
    body: str | Sequence[str] | None = None,
    *,
    hours: float | str = 4.0,
    speed: float | str = "2.5 km/h",
    cover: str | None = None,
    sweep_width: float | str | None = None,
    searchers: int = 2,
    spacing: float | str | None = None,
    longest: float | str | None = None,
    bearings: Sequence[float | str] | None = None,
    start: Any = "rail",
    law: str = "random",
    progress: bool = True,
) -> xr.Dataset:
    """Plan the next strips to walk: each the one that finds most for its time, the walk there counted, from where one stands.

    Held against the best there can be: as much effort spread over the cells by Lagrange multipliers (Koopman 1957, Stone 1975), which no plan beats.

    Parameters
    ----------
    map : Dataset
        What `search_map` or `with_walked` returned.
    body : name, or several
        What is looked for; all bodies of the map: then strips are those that find the largest expected number of bodies.
    hours : of walking, a number, or text such as "90 min"
    speed : of searching on foot, m/s or text
    cover, sweep_width : as in `with_walked`; one of them is needed
    searchers : how many walk abreast; nobody goes alone
    spacing : between them, m; one sweep width by itself. A strip is as wide as all of them take.
    longest : strip, m; None: 500 m, or the long side of what holds 90 % of what is looked for, where that is shorter
    bearings : of strips, true, such as ["20 deg", "110 deg"]: along rows of a crop, along a fence. None: the map's long axis, across it, and between.
    start : where one stands, a place as `last_fix` of `search_map`, or "rail"
    law : of detection, as in `with_walked`
    progress : whether a bar is shown

    Returns
    -------
    Dataset
        The map, and along `strip` (from 1): `strip_start_east`, `strip_start_north`, `strip_end_east`, `strip_end_north`, `strip_length`, `strip_approach` (the
        walk to its start), m; `strip_bearing` (rad, true); `strip_begin`, `strip_end`, s of walking; `strip_found` (strip, body), the probability that it
        finds the body. Along `moment` (the start, then after each strip): `moment_time`, s; `moment_found` (moment, body); `moment_expected`, bodies found;
        `moment_best`, by the best allocation of all of that time; `moment_best_swept`, of the length swept alone. Along `hour`: `hour_found` (hour, body).
        By body `time_to_find` (s, the mean if it is found), `rest` (probability that the plan does not find it).

    Raises
    ------
    TypeError, ValueError
        In one sentence, for what is no map, arguments of no sense, and where nothing on the map is within reach.

    Examples
    --------
    >>> found = sixdof.postflight.search_map(flights, cell="20 m")
    >>> plan = sixdof.postflight.next_strips(found, hours=1, cover="open", progress=False)
    >>> bool((plan.moment_expected <= plan.moment_best + 1e-9).all())
    True
    """
    need_map(map, WHO)
    detect = law_of(law, WHO)
    bodies = _bodies(map, body)
    sweep = sweep_width_of(cover, sweep_width, WHO)
    if isinstance(searchers, bool) or not isinstance(searchers, int | np.integer) or searchers < 1:
        raise ValueError(f"{WHO}: searchers = {shown(searchers)} must be a number of people abreast, 1 or more")
    width = searchers * (sweep if spacing is None else length_of(spacing, "spacing", WHO))
    coverage = searchers * sweep / width
    pace, detection = length_of(speed, "speed", WHO, "m/s"), float(detect.probability(np.array(coverage)))
    seconds, begin = seconds_of(hours, "hours", WHO), spot_of(start, site_of(map), "start", WHO)
    if pace * seconds > MOST_WALKED:
        raise ValueError(f"{WHO}: {1e-3 * pace * seconds:.0f} km of walking are more than {1e-3 * MOST_WALKED:.0f}; plan a day, walk it, plan again")
    ds = map.drop_dims([dim for dim in ("strip", "moment", "hour") if dim in map.dims])
    value = ds["probability"].sel(body=bodies).values.sum(axis=0)
    searchable = (ds["searchable"].values > 0).astype(float)
    if not (value * searchable).sum() > 0.0:
        raise ValueError(f"{WHO}: nothing of {', '.join(bodies)} lies on the searchable part of this map; make a map that reaches farther (extent)")
    walk = Walk(pace, width, detection, _longest(value * searchable, ds, width) if longest is None else length_of(longest, "longest", WHO))
    turned = _bearings(bearings, value * searchable, ds)
    with _bar(seconds / 3600.0, progress) as show:
        found = strips_of(
            value, searchable, ds["east"].values, ds["north"].values, begin, walk.speed * seconds, walk, turned, lambda way: show(way / walk.speed / 3600.0)
        )
    if not found:
        raise ValueError(f"{WHO}: no strip lies within {1e-3 * walk.speed * seconds:.1f} km of walking from the start; start nearer, or give more hours")
    ds = ds.assign(_entries(ds, found, walk, bodies, seconds, sweep * searchers, detect, value * searchable))
    ds = ds.assign_coords(strip=("strip", np.arange(1, len(found) + 1), {"long_name": "strip"}))
    plan = {"speed": walk.speed, "seconds": seconds, "sweep_width": sweep, "width": width, "searchers": int(searchers), "law": law, "bodies": "\n".join(bodies)}
    plan |= {"start_east": begin[0], "start_north": begin[1], "cover": cover or "", "coverage": coverage}
    return ds.assign_attrs({f"plan_{name}": each for name, each in plan.items()})


def _bodies(ds: xr.Dataset, body: Any) -> list[str]:
    names = [str(name) for name in ds["body"].values]
    wanted = names if body is None else [body] if isinstance(body, str) else list(body)
    for name in wanted:
        if name not in names:
            raise ValueError(f"{WHO}: there is no body {shown(name)} on this map; {suggestion(str(name), names, 'bodies')}")
    return list(dict.fromkeys(wanted))


def _longest(value: np.ndarray, ds: xr.Dataset, width: float) -> float:
    west, east, south, north = box_of(value, ds["east"].values, ds["north"].values, 0.9)
    return min(LONGEST, max(east - west, north - south, 2.0 * width))


def _bearings(given: Any, value: np.ndarray, ds: xr.Dataset) -> list[float]:
    """Return the bearings of strips, rad: those given, or the long axis of what lies on the map and turns of it."""
    if given is None:
        east, north = ds["east"].values, ds["north"].values
        x, y = (value.sum(axis=k) / value.sum() for k in (0, 1))
        mean = np.array([x @ east, y @ north])
        off = [east - mean[0], north - mean[1]]
        mixed = off[1] @ value @ off[0] / value.sum()
        _, axes = np.linalg.eigh(np.array([[x @ off[0] ** 2, mixed], [mixed, y @ off[1] ** 2]]))
        return [math.atan2(*axes[:, 1]) + math.pi * k / TURNS for k in range(TURNS)]
    try:
        found = [parse(one, "rad") for one in ([given] if isinstance(given, str | int | float) else given)]
    except (QuantityError, TypeError) as fault:
        raise ValueError(f"{WHO}: bearings: {fault}") from None
    if not found:
        raise ValueError(f'{WHO}: bearings is empty; give at least one, such as ["20 deg"], or leave it out')
    return found


class _bar:
    """A progress bar over hours of walking that goes on to where the plan is."""

    def __init__(self, hours: float, shown_: bool):
        from tqdm import tqdm

        self.bar = tqdm(total=round(hours, 2), desc="strips", unit="h", disable=not shown_)

    def __enter__(self):
        return lambda hours: self.bar.update(round(hours, 2) - self.bar.n)

    def __exit__(self, *_):
        self.bar.close()


# ---------------------------------------------------------------- what a plan is worth


def _entries(ds: xr.Dataset, strips: list[Strip], walk: Walk, bodies: list[str], seconds: float, sweep: float, detect, value: np.ndarray) -> dict:
    names = [str(name) for name in ds["body"].values]
    p = np.where(np.isin(names, bodies)[:, None, None], ds["probability"].values, 0.0)
    missed, found = np.ones(value.shape), np.zeros((len(strips), len(names)))
    for k, strip in enumerate(strips):
        found[k] = ((p * missed) * (strip.shares * walk.detection)).sum(axis=(1, 2))
        missed = missed * (1.0 - strip.shares * walk.detection)
    lengths, approach = (np.array([getattr(strip, name) for strip in strips]) for name in ("length", "approach"))
    end = np.cumsum(lengths + approach) / walk.speed
    begin = end - lengths / walk.speed
    moments = np.concatenate([[0.0], end])
    gathered = np.concatenate([np.zeros((1, len(names))), np.cumsum(found, axis=0)])
    per_cell = sweep / float(ds.attrs["cell"]) ** 2  # cells swept for a metre walked
    swept = np.concatenate([[0.0], np.cumsum(lengths)])
    best = [[optimal_allocation(value, per_cell * way, detect).found for way in ways] for ways in (walk.speed * moments, swept)]
    total = gathered[-1]
    with np.errstate(invalid="ignore"):
        mean = np.where(total > 0.0, (found * (0.5 * (begin + end))[:, None]).sum(axis=0) / total, np.nan)
    ends = {
        f"strip_{name}_{axis}": np.array([getattr(one, name)[k] for one in strips]) for name in ("start", "end") for k, axis in enumerate(("east", "north"))
    }
    along = np.array([one.end - one.start for one in strips])
    hours = np.arange(1, max(math.ceil(seconds / 3600.0 - 1e-9), 1) + 1)
    by_hour = _by_hour(hours, moments, begin, gathered)
    metres = {"units": "m"}
    entries = {
        name: ("strip", each, metres | {"long_name": f"{name.split('_')[1]} of the strip, {name.split('_')[2]} of the rail"}) for name, each in ends.items()
    }
    return entries | {
        "strip_length": ("strip", lengths, metres | {"long_name": "length of the strip"}),
        "strip_approach": ("strip", approach, metres | {"long_name": "walk to the start of the strip"}),
        "strip_bearing": ("strip", np.arctan2(*along.T) % (2.0 * math.pi), {"units": "rad", "long_name": "true bearing of the strip"}),
        "strip_begin": ("strip", begin, {"units": "s", "long_name": "time of walking at its start"}),
        "strip_end": ("strip", end, {"units": "s", "long_name": "time of walking at its end"}),
        "strip_found": (("strip", "body"), found, {"units": "1", "long_name": "probability that the strip finds the body"}),
        "moment_time": ("moment", moments, {"units": "s", "long_name": "time of walking"}),
        "moment_found": (("moment", "body"), gathered, {"units": "1", "long_name": "probability that the body is found by then"}),
        "moment_expected": ("moment", gathered.sum(axis=1), {"units": "1", "long_name": "expected number of bodies found by then"}),
        "moment_best": ("moment", np.array(best[0]), {"units": "1", "long_name": "the same by the best allocation of all of that time"}),
        "moment_best_swept": ("moment", np.array(best[1]), {"units": "1", "long_name": "the same by the best allocation of the length swept alone"}),
        "hour_found": (("hour", "body"), by_hour, {"units": "1", "long_name": "probability that the body is found in that hour"}),
        "hour": ("hour", hours, {"long_name": "hour of walking"}),
        "time_to_find": ("body", mean, {"units": "s", "long_name": "mean time of walking until the body is found, if the plan finds it"}),
        "rest": (
            "body",
            np.where(np.isin(names, bodies), 1.0 - total, np.nan),
            {"units": "1", "long_name": "probability that the plan does not find the body"},
        ),
    }


def _by_hour(hours: np.ndarray, moments: np.ndarray, begin: np.ndarray, gathered: np.ndarray) -> np.ndarray:
    """Return what is found in each hour (hour, body): evenly along a strip, nothing on the way to it."""
    times = np.stack([begin, moments[1:]], axis=1).ravel()
    values = np.repeat(gathered, 2, axis=0)[1:-1]
    edges = np.concatenate([[0.0], 3600.0 * hours])
    at = np.stack([np.interp(edges, np.concatenate([[0.0], times]), np.concatenate([[0.0], values[:, k]])) for k in range(gathered.shape[1])], axis=1)
    return np.diff(at, axis=0)
