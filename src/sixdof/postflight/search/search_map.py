"""`search_map`: where each body lies, as a probability on a grid, out of weighted flights."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.tables import Site
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.postflight.search.areas import SHARES, area_entries
from sixdof.postflight.search.density import effective, heaps_of, on_grid
from sixdof.postflight.search.detection import length_of
from sixdof.postflight.search.places import Places, bodies_of, weighted
from sixdof.postflight.search.position import site_of, spot_of
from sixdof.study.landing.field import Field, field_of
from sixdof.study.landing.geojson import as_feature, collection
from sixdof.study.landing.terrain import Terrain, ground_height, terrain_of

CELL, MOST_CELLS, AIM_CELLS = 10.0, 1_000_000, 160_000  # m; cells of a map at most, and those that a cell of no given size is widened for
TAIL = 0.001  # of the weight that lies beyond each side of a map whose extent is not given
ROOM = 3.0  # widths of the widest heap's kernel about that
FEW = 30.0  # effective flights below which the map says so


class Grid(NamedTuple):
    """Centres of equal cells, m east and north of the rail, and their width."""

    east: np.ndarray
    north: np.ndarray
    cell: float


def search_map(
    flights: xr.Dataset,
    body: str | Sequence[str] | None = None,
    *,
    cell: float | str | None = None,
    extent: Sequence[float | str] | None = None,
    error: float | str = 0.0,
    field: Any = None,
    only_field: bool = False,
    terrain: Any = None,
    steepest: float | str | None = None,
    last_fix: Any = None,
    declination: float | str | None = None,
) -> xr.Dataset:
    """Say how probable each patch of ground is to hold each body, from weighted flights: what `what_happened` returned, or any ensemble.

    Kernels on a grid. Each branch of failures and each hypothesis, and each heap that lies apart within one, has kernels of its own: n^(-1/6) of its standard
    deviations in each direction, n its effective number of flights (Silverman 1986, Scott 1992: in two dimensions both), so that tight clusters stay tight.
    Areas come out wider than the flights' own by n^(-1/3): the honest side.

    Parameters
    ----------
    flights : Dataset
        `body_landing_east`, `body_landing_north` (flight, body), m; where they are there also `weight` (flight), `hypothesis`, `branch`, `status`. Flights that
        never left the rail count nowhere. A body that did not separate lies with the one that it stayed on.
    body : name, or several
        None: all that fly by themselves in 5 % or more and were not recovered, as the evidence of `what_happened` says.
    cell : m, or text
        Width of a cell. None: 10 m, or as much more as keeps the map below some 160,000 cells.
    extent : (west, east, south, north) of the map, m from the rail
        None: all but the last thousandth of the weight on each side, with room for the kernels. What lies outside is told as a probability.
    error : m, or text
        Standard deviation of what no flight knows of the place, in each direction: drift of wind after the forecast, dragging by a canopy.
    field : GeoJSON as in `landing`
        Its no-go areas (water, land that must not be entered) are `searchable` = 0: the probability there is told and never removed.
    only_field : whether ground outside of the field's polygon is not searchable either
    terrain : grid of heights as in `landing`
        Landing places are moved to where the last descent meets the ground.
    steepest : angle
        Ground of the terrain steeper than this is not searchable.
    last_fix : "latitude, longitude" (degrees), (east, north) of the rail (m), or a Dataset such as `last_position` returns
        From which distances and bearings are told too.
    declination : angle by which compass north lies east of true north, such as "11.5 deg"
        The page then tells bearings by compass besides true ones.

    Returns
    -------
    Dataset
        Dims `body`, `north`, `east` (centres of cells, m), `share` (50, 75, 90, 95 %).

        By cell: `prior` and `probability` (body, north, east), of a body to lie in the cell, `searchable` (north, east). By body: `outside`, that it lies
        beyond the map, `unplaced`, of flights that do not say where it lies (they add to 1 with the cells); `in_area`, `unsearchable`, `found_by_now`,
        `carried` (that it never left another body), `effective_flights`, `best_east`, `best_north` (the most probable cell), `mean_east`, `mean_north`.
        By body and share: `area` (m^2; NaN where the map holds less than the share).

    Raises
    ------
    TypeError, ValueError
        In one sentence, for what is no ensemble, a body that is not there, never flies by itself or never comes down, and for arguments of no sense.

    Examples
    --------
    >>> found = sixdof.postflight.search_map(flights, cell="20 m")
    >>> round(float(found.probability.sum() + found.outside.sum() + found.unplaced.sum()), 9)
    1.0
    """
    who = "search_map"
    kept, weight, said = weighted(flights, who)
    site = site_of(kept)
    ground = _ground(terrain, site, who)
    places, more = bodies_of(kept, weight, body, ground, who)
    blur = length_of(error, "error", who, zero=True)
    grid, widened = _grid(places, cell, extent, blur, who)
    prior = np.stack([_prior(one, grid, blur) for one in places])
    limits = _field(field, site, who)
    searchable = _searchable(grid, site, limits, only_field, ground, steepest, who)
    ds = xr.Dataset(_entries(places, prior, searchable), _coords(places, grid))
    attrs = {name: kept.attrs[name] for name in ("title", "mission", "source", "seed") if name in kept.attrs}
    attrs |= {"cell": grid.cell, "flights": kept.sizes["flight"], "error": blur, "finding": "\n".join([*said, *more, *widened, *_few(places)])}
    if limits.features:
        attrs["field"] = collection([as_feature(one) for one in limits.features])
    attrs |= _told(last_fix, declination, site, who)
    return with_posterior(ds.assign_attrs(attrs))


def with_posterior(ds: xr.Dataset) -> xr.Dataset:
    """Return a map with what follows from its prior and `missed` (body, north, east), the probability that all searches missed what lies in a cell.

    Bayes: each cell by its prior times that, what lies outside by its prior, over the sum, which is the probability that nothing was found by now.
    """
    prior = ds["prior"].values
    left = prior * ds["missed"].values if "missed" in ds else prior
    outside, unplaced = ds["prior_outside"].values, ds["prior_unplaced"].values
    whole = left.sum(axis=(1, 2)) + outside + unplaced
    if not (whole > 0.0).all():
        name = str(ds["body"].values[int(np.argmin(whole))])
        raise ValueError(f"with_walked: {name} would have been found for certain wherever it may lie: lower the detection, or let the map reach farther")
    p = left / whole[:, None, None]
    one, body = {"units": "1"}, ("body",)
    flat = p.reshape(len(p), -1).argmax(axis=1)
    row, column = np.unravel_index(flat, p.shape[1:])
    east, north = ds["east"].values, ds["north"].values
    inside = p.sum(axis=(1, 2))
    over = np.where(inside > 0.0, inside, np.nan)
    unsearchable = (p * (ds["searchable"].values == 0)).sum(axis=(1, 2))
    entries = {
        "probability": (("body", "north", "east"), p, one | {"long_name": "probability that the body lies in the cell"}),
        "outside": (body, outside / whole, one | {"long_name": "probability that the body lies outside of the map"}),
        "unplaced": (body, unplaced / whole, one | {"long_name": "probability of flights that do not say where the body lies"}),
        "in_area": (body, inside, one | {"long_name": "probability that the body lies on the map"}),
        "unsearchable": (body, unsearchable, one | {"long_name": "probability that the body lies on the map where it is not searchable"}),
        "found_by_now": (body, 1.0 - whole, one | {"long_name": "probability with which what was walked would have found the body by now"}),
        "best_east": (body, east[column], {"units": "m", "long_name": "most probable cell, east of the rail"}),
        "best_north": (body, north[row], {"units": "m", "long_name": "most probable cell, north of the rail"}),
        "mean_east": (body, (p.sum(axis=1) @ east) / over, {"units": "m", "long_name": "mean place on the map, east of the rail"}),
        "mean_north": (body, (p.sum(axis=2) @ north) / over, {"units": "m", "long_name": "mean place on the map, north of the rail"}),
    }
    return ds.assign(entries | area_entries(p, float(ds.attrs["cell"])))


# ---------------------------------------------------------------- the grid


def _grid(places: list[Places], cell: Any, extent: Any, blur: float, who: str) -> tuple[Grid, list[str]]:
    """Return the grid, and a sentence where its cells were widened."""
    width = CELL if cell is None else length_of(cell, "cell", who)
    west, east, south, north = _extent(places, width, blur) if extent is None else _given_extent(extent, who)
    said = []
    if cell is None and (east - west) * (north - south) > AIM_CELLS * width**2:
        width = _round_up(math.sqrt((east - west) * (north - south) / AIM_CELLS))
        said = [f"cells are {width:g} m wide in place of {CELL:g} m, for the map is {1e-3 * (east - west):.1f} by {1e-3 * (north - south):.1f} km"]
    first = [math.floor(low / width) for low in (west, south)]
    count = [max(math.ceil(high / width) - low, 2) for high, low in ((east, first[0]), (north, first[1]))]
    if count[0] * count[1] > MOST_CELLS:
        raise ValueError(
            f"{who}: cells of {width:g} m on {1e-3 * (east - west):.1f} by {1e-3 * (north - south):.1f} km are {count[0] * count[1] / 1e6:.1f} million, more "
            f"than {MOST_CELLS / 1e6:g} million; make the cell larger or the extent smaller"
        )
    axes = [(first[k] + np.arange(count[k]) + 0.5) * width for k in (0, 1)]
    return Grid(axes[0], axes[1], width), said


def _round_up(width: float) -> float:
    """Return the smallest of 1, 1.5, 2, 2.5, 3, 4, 5, 6, 8 times a power of ten that is no smaller."""
    tens = 10.0 ** math.floor(math.log10(width))
    return next(step * tens for step in (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0) if step * tens >= width * (1.0 - 1e-9))


def _extent(places: list[Places], cell: float, blur: float) -> tuple[float, float, float, float]:
    sides = []
    for one in places:
        widest = max(float(np.linalg.eigvalsh(heap.kernel)[-1]) for heap in heaps_of(one.place, one.weight, one.group, cell))
        room = ROOM * math.hypot(math.sqrt(widest), blur) + cell
        ends = [_weighted_ends(one.place[:, k], one.weight) for k in (0, 1)]
        sides.append([ends[0][0] - room, ends[0][1] + room, ends[1][0] - room, ends[1][1] + room])
    west, east, south, north = np.array(sides).T
    return float(west.min()), float(east.max()), float(south.min()), float(north.max())


def _weighted_ends(values: np.ndarray, weight: np.ndarray) -> tuple[float, float]:
    order = np.argsort(values)
    held = np.cumsum(weight[order]) / weight.sum()
    return float(values[order[np.searchsorted(held, TAIL)]]), float(values[order[min(np.searchsorted(held, 1.0 - TAIL), held.size - 1)]])


def _given_extent(extent: Any, who: str) -> tuple[float, float, float, float]:
    try:
        west, east, south, north = (parse(one, "m") for one in extent)
    except QuantityError as fault:
        raise ValueError(f"{who}: extent: {fault}") from None
    except (TypeError, ValueError):
        raise ValueError(f"{who}: extent = {shown(extent)} must be four lengths from the rail, (west, east, south, north)") from None
    if not (west < east and south < north):
        raise ValueError(f"{who}: extent must go from west to east and from south to north, such as (-500, 800, -200, 900) in metres")
    return west, east, south, north


def _prior(one: Places, grid: Grid, blur: float) -> np.ndarray:
    heaps = heaps_of(one.place, one.weight, one.group, grid.cell)
    return on_grid([heap._replace(kernel=heap.kernel + blur**2 * np.eye(2)) for heap in heaps], grid.east, grid.north)


# ---------------------------------------------------------------- where one may search


def _field(field: Any, site: Site | None, who: str) -> Field:
    if field is not None and site is None:
        raise ValueError(f"{who}: a field is in latitude and longitude, and these flights carry no mission whose site is known")
    return Field() if site is None else field_of(field, site, who)


def _ground(terrain: Any, site: Site | None, who: str) -> Terrain | None:
    if terrain is None:
        return None
    if site is None:
        raise ValueError(f"{who}: a terrain is in latitude and longitude, and these flights carry no mission whose site is known")
    return terrain_of(terrain, site, who)


def _searchable(grid: Grid, site: Site | None, field: Field, only_field: bool, ground: Terrain | None, steepest: Any, who: str) -> np.ndarray:
    """Return whether each cell (north, east) may be searched, by its centre."""
    east, north = np.meshgrid(grid.east, grid.north)
    out = ~field.in_no_go(east, north)
    if only_field:
        if field.inside is None:
            raise ValueError(f'{who}: only_field needs a field with a polygon of the role "field"')
        out &= field.in_field(east, north)
    if steepest is None:
        return out
    if ground is None or site is None:
        raise ValueError(f"{who}: steepest needs a terrain, a grid of heights")
    limit = length_of(steepest, "steepest", who, "rad")
    height = ground_height(ground, site, east, north)
    slope = np.hypot(*np.gradient(height, grid.north, grid.east))
    return out & ~(slope > math.tan(limit))  # beyond the grid of heights nothing is known against it


# ---------------------------------------------------------------- entries


def _entries(places: list[Places], prior: np.ndarray, searchable: np.ndarray) -> dict:
    unplaced = np.array([one.unplaced for one in places])
    outside = np.maximum(1.0 - unplaced - prior.sum(axis=(1, 2)), 0.0)
    one, body = {"units": "1"}, ("body",)
    return {
        "prior": (("body", "north", "east"), prior, one | {"long_name": "probability that the body lies in the cell, before anything was walked"}),
        "prior_outside": (body, outside, one | {"long_name": "the same, outside of the map"}),
        "prior_unplaced": (body, unplaced, one | {"long_name": "the same, of flights that do not say where it lies"}),
        "searchable": (("north", "east"), searchable.astype(np.int8), one | {"long_name": "whether the cell may be searched"}),
        "carried": (body, np.array([each.carried for each in places]), one | {"long_name": "probability that the body never left another, and lies with it"}),
        "carrier": (body, np.array([each.carrier for each in places]), {"long_name": "that other body"}),
        "effective_flights": (body, np.array([effective(each.weight) for each in places]), one | {"long_name": "flights of equal weight that say as much"}),
    }


def _coords(places: list[Places], grid: Grid) -> dict:
    return {
        "body": ("body", [one.name for one in places], {"long_name": "body"}),
        "north": ("north", grid.north, {"units": "m", "long_name": "north of the rail"}),
        "east": ("east", grid.east, {"units": "m", "long_name": "east of the rail"}),
        "share": ("share", list(SHARES), {"units": "1", "long_name": "share of the probability"}),
    }


def _few(places: list[Places]) -> list[str]:
    few = [f"{one.name}: {effective(one.weight):.0f}" for one in places if effective(one.weight) < FEW]
    if not few:
        return []
    return [f"few flights carry the map (effective number {', '.join(few)}): its areas are wide, its corners chance; fly more near the evidence"]


def _told(last_fix: Any, declination: Any, site: Site | None, who: str) -> dict:
    attrs: dict[str, float] = {}
    if last_fix is not None:
        attrs["last_fix_east"], attrs["last_fix_north"] = spot_of(last_fix, site, "last_fix", who)
    if declination is not None:
        try:
            attrs["declination"] = parse(declination, "rad")
        except QuantityError as fault:
            raise ValueError(f"{who}: declination: {fault}") from None
        if abs(attrs["declination"]) > math.pi:
            raise ValueError(f"{who}: declination = {shown(declination)} must be within 180 deg of north")
    return attrs
