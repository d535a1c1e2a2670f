"""Which way to lean the rail: the probability of leaving the field over a grid of rail azimuths and elevations, on the same drawn flights."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from sixdof.ensemble.run import disperse
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.page import indented, table
from sixdof.study.landing.field import field_of
from sixdof.study.landing.flights import places_of
from sixdof.study.landing.limits import ANY, Limits, exceeded_by, limits_of
from sixdof.study.landing.terrain import Terrain, terrain_of
from sixdof.study.landing.text import percent
from sixdof.study.reading.page import LAST_LINE
from sixdof.study.reading.result import need_table
from sixdof.study.uncertainty.statistics import check_share, share_interval

AZIMUTHS = tuple(math.radians(angle) for angle in range(0, 360, 30))
LEANS = tuple(math.radians(angle) for angle in (90, 87, 84, 80))  # elevations
STEEPEST = math.radians(70.0)  # elevation below which ranges do not launch: 20 deg off the vertical at most, common practice
FAR = 0.95  # quantile of the distance by which cells that keep the limits alike are told apart


def rail_map(
    mission: Mission,
    flights: int,
    *,
    azimuths: Sequence[float | str] = AZIMUTHS,
    elevations: Sequence[float | str] = LEANS,
    field: str | Path | Mapping | None = None,
    terrain: str | Path | xr.DataArray | xr.Dataset | None = None,
    people_distance: float | str | None = None,
    ceiling: float | str | None = None,
    waiver: float | str | None = None,
    confidence: float = 0.9,
    seed: int = 0,
    threads: int | None = None,
    client=None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Fly the same drawn flights from every direction of the rail, and say how probable it is that the limits of `landing` are not kept.

    Parameters
    ----------
    flights : int
        How many at each point of the grid.
    azimuths, elevations : sequences of rad, or text such as "75 deg"
        Where the rail leans to, true, and its angle above the horizontal; every 30 deg, and 90, 87, 84 and 80 deg. What is drawn about them stays.
    field, terrain, people_distance, ceiling, waiver
        As in `landing`; without any limit the map is of the distance alone.
    confidence : of each interval by itself
    seed, threads, client, progress, guidance, control
        As in `sixdof.disperse`.

    Returns
    -------
    Dataset
        Dims rail_azimuth, rail_elevation (rad), and `limit` where something was asked. `probability` that a limit is not kept, with `_low`, `_high`;
        `landing_distance_median`, `landing_distance_95` (m): quantiles of the distance of each flight's farthest piece from the rail. The attributes
        `best_azimuth`, `best_elevation` (rad) are those of the least probability of the last limit, and of the least `landing_distance_95` among equals;
        `written_azimuth`, `written_elevation` the mission's.

    Raises
    ------
    KeyboardInterrupt
        After Ctrl-C.
    TypeError, ValueError
        As `landing`, and for no directions.
    MissionError
        For directions that cannot be.

    Examples
    --------
    >>> leans = sixdof.preflight.rail_map(mission, 3, azimuths=["90 deg", "270 deg"], elevations=["85 deg"], progress=False)
    >>> dict(leans.landing_distance_95.sizes)
    {'rail_azimuth': 2, 'rail_elevation': 1}
    """
    check_mission(mission, "rail_map")
    check_share(confidence, "confidence")
    limits = limits_of(field_of(field, mission.site, "rail_map"), people_distance, ceiling, waiver, "rail_map")
    ground = None if terrain is None else terrain_of(terrain, mission.site, "rail_map")
    names = {"rail.azimuth": list(azimuths), "rail.elevation": list(elevations)}
    missions = [[mission.change(dict(zip(names, (one, other)))) for other in names["rail.elevation"]] for one in names["rail.azimuth"]]
    if not missions or not missions[0]:
        raise ValueError("rail_map: there are no directions to fly; give azimuths and elevations, one of each at least")
    options: dict[str, Any] = {"seed": seed, "tracks": "none", "threads": threads, "client": client, "guidance": guidance, "control": control}
    cells, plain = _cells(missions, flights, limits, ground, options, progress)
    ds = _dataset(cells, missions, confidence)
    return ds.assign_attrs(_attributes(ds, plain, mission, flights, confidence))


def _cells(missions: list[list[Mission]], flights: int, limits: Limits, ground: Terrain | None, options: dict, progress: bool):
    """Return what was found for each direction, [[...], ...], and the ensemble of the last.

    Every direction is a mission of its own, for the flight computer's launch frame turns with the rail; draws are the same, by seed, flight and name.
    """
    from tqdm import tqdm

    cells, ensemble = [], xr.Dataset()
    with tqdm(total=len(missions) * len(missions[0]), desc="directions", unit="rail", disable=not progress) as bar:
        for row in missions:
            cells.append([])
            for one in row:
                ensemble = disperse(one, flights, progress=False, **options)
                if "interrupted" in ensemble.attrs:
                    raise KeyboardInterrupt
                cells[-1].append(_cell(ensemble, one, limits, ground))
                bar.update()
    return cells, ensemble


def _cell(ds: xr.Dataset, mission: Mission, limits: Limits, ground: Terrain | None) -> dict[str, Any]:
    """Return in how many flights of how many each limit is not kept, and two quantiles of the distance."""
    places = places_of(ds, mission, ground, "rail_map")
    exceeded = exceeded_by(limits, ds, places)
    distance = np.hypot(places["landing_east"].values, places["landing_north"].values)
    farthest = np.fmax.reduce(distance, axis=1) if distance.size else np.array([])
    known = farthest[np.isfinite(farthest)]
    far = np.quantile(known, (0.5, FAR)) if known.size else np.full(2, np.nan)
    return {"names": list(exceeded), "hits": [int(one.sum()) for one in exceeded.values()], "flights": places.sizes["flight"], "far": far}


def _dataset(cells: list[list[dict]], missions: list[list[Mission]], confidence: float) -> xr.Dataset:
    two = ("rail_azimuth", "rail_elevation")
    far = np.array([[cell["far"] for cell in row] for row in cells])
    text = "of the distance from the rail of each flight's farthest piece"
    entries = {
        "landing_distance_median": (two, far[..., 0], {"units": "m", "long_name": f"median {text}"}),
        "landing_distance_95": (two, far[..., 1], {"units": "m", "long_name": f"95 % quantile {text}"}),
    }
    names = cells[0][0]["names"]
    rails = {"azimuth": [row[0].rail.azimuth for row in missions], "elevation": [one.rail.elevation for one in missions[0]]}
    coords = {f"rail_{name}": (f"rail_{name}", values, {"units": "rad", "long_name": f"rail {name}"}) for name, values in rails.items()}
    coords |= {"limit": ("limit", names, {"long_name": "what is not kept"})} if names else {}
    if names:
        hits = np.array([[cell["hits"] for cell in row] for row in cells])
        count = np.array([[cell["flights"] for cell in row] for row in cells])[..., None]
        found = share_interval(hits, np.broadcast_to(count, hits.shape), confidence)
        for end, values in (("", found.estimate), ("_low", found.low), ("_high", found.high)):
            what = {"": "probability", "_low": "lower end of the interval of the probability", "_high": "upper end of the interval of the probability"}[end]
            entries[f"probability{end}"] = ((*two, "limit"), values, {"units": "1", "long_name": f"{what} of not keeping the limit"})
    return xr.Dataset(entries, coords)


def _attributes(ds: xr.Dataset, plain: xr.Dataset, mission: Mission, flights: int, confidence: float) -> dict:
    first = ds["probability"].isel(limit=-1).values if "limit" in ds.dims else np.zeros(ds["landing_distance_95"].shape)
    order = np.lexsort((ds["landing_distance_95"].values.ravel(), np.nan_to_num(first.ravel(), nan=np.inf)))
    i, j = np.unravel_index(order[0], first.shape)
    kept = {name: plain.attrs[name] for name in ("Conventions", "title", "source", "history", "seed") if name in plain.attrs}
    return kept | {
        "mission": mission.to_toml(),
        "flights": flights,
        "confidence": confidence,
        "best_azimuth": float(ds["rail_azimuth"].values[i]),
        "best_elevation": float(ds["rail_elevation"].values[j]),
        "written_azimuth": mission.rail.azimuth,
        "written_elevation": mission.rail.elevation,
    }


# ---------------------------------------------------------------- the page


def rail_map_text(ds: xr.Dataset) -> str:
    """Return the page about what `rail_map` returned. Raises ValueError for anything else."""
    need_table(ds, "rail_map_text", "preflight.rail_map", "landing_distance_95")
    heads = ["azimuth, deg", *(f"{math.degrees(one):.0f} deg" for one in ds["rail_elevation"].values)]
    lines = [f"Which way to lean the rail: {ds.attrs.get('title', 'untitled')}"]
    lines += indented([f"{ds.attrs['flights']} flights at each direction, the same draws at all of them"])
    if "limit" in ds.dims:
        last = ds.isel(limit=-1)
        rows = [[f"{math.degrees(a):.0f}", *map(percent, row)] for a, row in zip(ds["rail_azimuth"].values, last["probability"].values)]
        what = "a limit is not kept" if str(last["limit"].values) == ANY else last["limit"].values
        lines += [f"Probability that {what}, by azimuth and elevation of the rail", *table([heads, *rows])]
    rows = [[f"{math.degrees(a):.0f}", *(f"{d:.0f}" for d in row)] for a, row in zip(ds["rail_azimuth"].values, ds["landing_distance_95"].values)]
    lines += ["Distance from the rail of a flight's farthest piece, 95 % quantile, m", *table([heads, *rows])]
    return "\n".join([*lines, "Best of these", *indented(_best(ds)), "", LAST_LINE])


def _best(ds: xr.Dataset) -> list[str]:
    azimuth, elevation = ds.attrs["best_azimuth"], ds.attrs["best_elevation"]
    best = ds.sel(rail_azimuth=azimuth, rail_elevation=elevation)
    lines = [f"azimuth {math.degrees(azimuth):.0f} deg, elevation {math.degrees(elevation):.0f} deg: 95 % within {float(best.landing_distance_95):.0f} m"]
    if "limit" in ds.dims:
        one = best.isel(limit=-1)
        low, high = float(one.probability_low), float(one.probability_high)
        lines[0] += f", {percent(float(one.probability))} ({100.0 * ds.attrs['confidence']:.0f} % interval {percent(low)} to {percent(high)})"
        alike = int((ds["probability_low"].isel(limit=-1).values <= high).sum()) - 1
        lines.append(f"{alike} other directions cannot be told from it with so many flights, each interval by itself; fly more before a close choice")
    written = math.degrees(ds.attrs["written_azimuth"]), math.degrees(ds.attrs["written_elevation"])
    lines.append(f"the mission has azimuth {written[0]:.0f} deg, elevation {written[1]:.0f} deg")
    if min(ds["rail_elevation"].values) < STEEPEST:
        lines.append("ranges launch within 20 deg of the vertical (common practice): elevations below 70 deg are not for use")
    return lines
