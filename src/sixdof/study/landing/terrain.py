"""Landing places on the ground as it is: a grid of heights, and the last descent carried on or back to its surface.

A flight ends where it is back at the launch point's height. What lies above or below that is reached earlier or later: the body is taken along a
straight line at its velocity over the ground at landing, and comes down where this line first meets the ground. That is right for a steady
descent under a canopy in a steady wind; for a body that falls it leaves out how its path curves.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.files.incoming import HDF5, FileFault, check_ordinary, read_apart
from sixdof.mission.files.table_csv import read_known
from sixdof.mission.tables import Site
from sixdof.mission.units import shown
from sixdof.world.geodesy import place_on_earth

CLASSIC = b"CDF"
LATITUDES, LONGITUDES, HEIGHTS = ("latitude", "lat"), ("longitude", "lon"), ("height", "elevation", "z", "altitude")
_COLUMNS = {"latitude": "deg", "longitude": "deg", "height": "m"}
_ALIASES = {"latitude": ("lat",), "longitude": ("lon",), "height": HEIGHTS[1:]}
STEPS = 400  # of the way between the heights of the grid in which the first meeting is looked for
HALVINGS = 40  # of such a step: to a micrometre
LEVEL = 1e-3  # m/s of descent below which there is no line down
MOST = 200e6  # bytes of a grid


class Terrain(NamedTuple):
    """A grid of heights: latitude (n,), longitude (m,), deg, rising; height (n, m), m above the launch point, by the grid itself.

    rail_height : what the grid has at the rail, m, in its own reference. name : file or "the grid".
    """

    latitude: np.ndarray
    longitude: np.ndarray
    height: np.ndarray
    rail_height: float
    name: str


def terrain_of(given: Any, site: Site, who: str = "landing") -> Terrain:
    """Return a grid about a site: a netCDF or CSV file, or a DataArray of heights (m) along latitude and longitude (degrees).

    A CSV file has columns latitude, longitude, height, a line for each point of a full grid. Heights count from the grid's own height at the rail, by
    linear interpolation, so its reference does not matter.

    Raises
    ------
    ValueError
        In one sentence: a file that cannot be read, no grid of latitude and longitude, heights that are missing, a grid that does not hold the rail.
    TypeError
        For anything else.
    """
    grid, name = _grid(given, who)
    latitude, longitude = (np.asarray(grid[dim].values, dtype=float) for dim in ("latitude", "longitude"))
    longitude = site_longitude(longitude, np.degrees(site.longitude))
    order = np.argsort(latitude), np.argsort(longitude)
    latitude, longitude, height = latitude[order[0]], longitude[order[1]], np.asarray(grid.values, dtype=float)[np.ix_(*order)]
    if min(height.shape) < 2 or (np.diff(latitude) <= 0.0).any() or (np.diff(longitude) <= 0.0).any():
        raise ValueError(f"{name}: latitude and longitude must be two values or more each, none of them twice")
    if np.abs(latitude).max() > 90.0 or np.ptp(longitude) > 180.0:
        raise ValueError(f"{name}: latitude {latitude[0]:g} to {latitude[-1]:g} is no latitude in degrees; convert the grid to WGS-84 latitude and longitude")
    terrain = Terrain(latitude, longitude, height, 0.0, name)
    rail = _looked_up(terrain, np.degrees(site.latitude), np.degrees(site.longitude)).item()
    if not np.isfinite(rail):
        raise ValueError(f"{name} does not cover the rail at {np.degrees(site.latitude):.5f}, {np.degrees(site.longitude):.5f}; {_reach(terrain)}")
    return terrain._replace(height=height - rail, rail_height=rail)


def site_longitude(longitude, about: float):
    """Return longitudes within 180 deg of that of the site, so that a grid of 0 to 360 deg or across the date line is one piece."""
    return about + (np.asarray(longitude, dtype=float) - about + 180.0) % 360.0 - 180.0


def _reach(terrain: Terrain) -> str:
    (south, north), (west, east) = terrain.latitude[[0, -1]], terrain.longitude[[0, -1]]
    return f"it reaches from latitude {south:.5f} to {north:.5f} and longitude {west:.5f} to {east:.5f}"


# ---------------------------------------------------------------- files


def _grid(given: Any, who: str) -> tuple[xr.DataArray, str]:
    if isinstance(given, str | Path):
        name = str(given)
        return _named(_read(Path(given), name), name), name
    if isinstance(given, xr.Dataset | xr.DataArray):
        return _named(given, f"{who}: terrain"), f"{who}: terrain"
    raise TypeError(f"{who}: terrain must be a netCDF or CSV file, or a DataArray of heights along latitude and longitude, not {shown(given)}")


def _read(path: Path, name: str):
    try:
        check_ordinary(path, MOST)
        with open(path, "rb") as file:
            head = file.read(len(HDF5))
        if head == HDF5:
            read_apart(path, MOST)
        if head == HDF5 or head.startswith(CLASSIC):
            with xr.open_dataset(path if head == HDF5 else io.BytesIO(path.read_bytes()), decode_times=False) as ds:
                return ds.load()
    except FileFault as fault:
        raise ValueError(f"{name} {fault.message}; {fault.hint}") from None
    except OSError as error:
        raise type(error)(f"{name} cannot be read: {error.strerror or error}; give a netCDF or CSV file of heights") from None
    except Exception:  # of a dozen kinds, from the file's library up: the user needs one sentence
        raise ValueError(f"{name} is not a netCDF file, or is damaged; write it again") from None
    return _from_csv(path, name)


def _from_csv(path: Path, name: str) -> xr.DataArray:
    rows = read_known(path, _COLUMNS, _ALIASES).columns
    missing = [column for column in _COLUMNS if column not in rows]
    if missing:
        raise ValueError(f"{name} has no column {missing[0]}; write a first line that names latitude (deg), longitude (deg), height (m)")
    latitude, longitude, height = (np.array(rows[column]) for column in _COLUMNS)
    (south, row), (west, column) = (np.unique(each, return_inverse=True) for each in (latitude, longitude))
    out = np.full((len(south), len(west)), np.nan)
    out[row, column] = height
    if len(height) != out.size or np.isnan(out).any():
        raise ValueError(f"{name} has {len(height)} points, and {len(south)} latitudes by {len(west)} longitudes; write each point of the grid once")
    return xr.DataArray(out, {"latitude": south, "longitude": west}, ("latitude", "longitude"))


def _named(found: xr.Dataset | xr.DataArray, name: str) -> xr.DataArray:
    """Return the heights along latitude and longitude under these names."""
    array = _heights(found, name) if isinstance(found, xr.Dataset) else found
    dims = {}
    for wanted, names in (("latitude", LATITUDES), ("longitude", LONGITUDES)):
        own = next((dim for dim in array.dims if str(dim).lower() in names and dim in array.coords), None)
        if own is None:
            raise ValueError(f"{name} has no coordinate {wanted} along a dim of its own; give heights along latitude and longitude in degrees")
        dims[own] = wanted
    if array.ndim != 2:
        raise ValueError(f"{name} has the dims {', '.join(map(str, array.dims))}; select heights along latitude and longitude alone")
    if array.attrs.get("units", "m") not in ("m", "metre", "meter", "metres", "meters"):
        raise ValueError(f"{name} has heights in {shown(array.attrs['units'])}; convert them to metres")
    return array.rename(dims).transpose("latitude", "longitude")


def _heights(ds: xr.Dataset, name: str) -> xr.DataArray:
    flat = [str(v) for v in ds.data_vars if ds[v].ndim == 2]
    chosen = [v for v in flat if v.lower() in HEIGHTS] or flat
    if len(chosen) != 1:
        raise ValueError(f"{name} holds {len(chosen)} grids of two dims; give one of heights, named height")
    return ds[chosen[0]]


# ---------------------------------------------------------------- landing places


def _looked_up(terrain: Terrain, latitude, longitude) -> np.ndarray:
    """Return heights (m) of places (degrees), linear in each direction; NaN outside of the grid."""
    from scipy.interpolate import RegularGridInterpolator

    look = RegularGridInterpolator((terrain.latitude, terrain.longitude), terrain.height, bounds_error=False)
    middle = 0.5 * (terrain.longitude[0] + terrain.longitude[-1])
    return look(np.stack(np.broadcast_arrays(np.asarray(latitude, dtype=float), site_longitude(longitude, middle)), axis=-1))


def ground_height(terrain: Terrain, site: Site, east, north) -> np.ndarray:
    """Return the ground's height above the launch point (m) at places east and north of the rail (m); NaN outside of the grid."""
    latitude, longitude = place_on_earth(site, east, north, np.zeros(np.shape(east)))
    return _looked_up(terrain, latitude, longitude)


def settle(terrain: Terrain, site: Site, place: np.ndarray, velocity: np.ndarray) -> np.ndarray:
    """Return where bodies meet the ground: east, north and height (m) of each, (n, 3), NaN where it has no place.

    Each goes on a straight line through its `place` (n, 3) (east, north, height above the launch point, m) along its `velocity` over the ground (n, 3),
    m/s. The line is followed from above the highest point of the grid to below the lowest; where it first is no longer above the ground is the place,
    found by steps and then by halving.

    Raises ValueError where a line leaves the grid before it meets the ground.
    """
    out = np.full(place.shape, np.nan)
    which = np.flatnonzero(np.isfinite(place).all(axis=1))
    if not which.size:
        return out
    at, along = place[which], velocity[which]
    if not (along[:, 2] < -LEVEL).all():
        raise ValueError(f"{terrain.name}: {int((~(along[:, 2] < -LEVEL)).sum())} bodies do not sink as they land; terrain cannot be told without a descent")
    known = terrain.height[np.isfinite(terrain.height)]
    first, last = ((level - at[:, 2]) / along[:, 2] for level in (known.max() + 1.0, known.min() - 1.0))

    def above(time):
        return at[:, 2] + along[:, 2] * time - ground_height(terrain, site, at[:, 0] + along[:, 0] * time, at[:, 1] + along[:, 1] * time)

    low, high, met = first, first, np.zeros(which.size, dtype=bool)
    for share in np.linspace(0.0, 1.0, STEPS + 1)[1:]:
        time = first + share * (last - first)
        low = np.where(met, low, high)
        high = np.where(met, high, time)
        met = met | (above(time) <= 0.0)
    if not met.all():
        raise ValueError(f"{terrain.name} does not cover {int((~met).sum())} of {which.size} landing places; {_reach(terrain)}")
    for _ in range(HALVINGS):
        middle = 0.5 * (low + high)
        under = above(middle) <= 0.0
        low, high = np.where(under, low, middle), np.where(under, middle, high)
    out[which] = at + along * high[:, None]
    return out
