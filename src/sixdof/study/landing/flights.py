"""What is needed of every flight to say where its pieces land: places, heights, branch, stratum."""

from __future__ import annotations

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.results.status import Status
from sixdof.study.landing.field import Field
from sixdof.study.landing.strata import stratum_of
from sixdof.study.landing.terrain import Terrain, settle
from sixdof.study.reading.result import apart, event_values, meaningful, need_ensemble
from sixdof.world.geodesy import place_on_earth

NEEDED = ("body_landing_east", "body_landing_north", "body_status", "event_height", "event_east", "event_north", "status", "branch")
_LANDING = "landing"  # the row of the event table


def places_of(ds: xr.Dataset, mission: Mission, terrain: Terrain | None = None, who: str = "landing") -> xr.Dataset:
    """Return the landing places of an ensemble, of every body where it flies by itself; flights that never left the rail are left out.

    Returns
    -------
    Dataset
        Dims flight, body. `landing_east`, `landing_north`, `landing_height` (m; NaN where the body does not come down by itself), `landing_latitude`,
        `landing_longitude` (degrees), `apogee_height` (m, of each body by itself), `flies` (whether it does), and by flight `flight_branch`,
        `stratum`, `known` (whether the flight can be told).
    """
    need_ensemble(ds, who, *NEEDED)
    ds = ds.isel(flight=leaving(ds))
    count = ds.sizes["body"]
    flies = np.stack([apart(ds, k) & meaningful(ds) for k in range(count)], axis=1)
    place = np.stack([np.where(flies, ds[f"body_landing_{way}"].values, np.nan) for way in ("east", "north")] + [np.zeros(flies.shape)], axis=-1)
    place[~np.isfinite(place).all(axis=-1)] = np.nan
    if terrain is not None:
        along = np.stack([_at_landing(ds, f"velocity_{way}") for way in ("east", "north", "up")], axis=-1)
        place = settle(terrain, mission.site, place.reshape(-1, 3), along.reshape(-1, 3)).reshape(place.shape)
    latitude, longitude = place_on_earth(mission.site, place[..., 0], place[..., 1], place[..., 2])
    apogee = np.stack([event_values(ds, "apogee", "height", body=k) for k in range(count)], axis=1)
    two = ("flight", "body")
    entries = {
        "landing_east": (two, place[..., 0], {"units": "m", "long_name": "landing place east of the rail"}),
        "landing_north": (two, place[..., 1], {"units": "m", "long_name": "landing place north of the rail"}),
        "landing_height": (two, place[..., 2], {"units": "m", "long_name": "height of the landing place above the launch point"}),
        "landing_latitude": (two, latitude, {"units": "degrees_north", "long_name": "geodetic latitude of the landing place"}),
        "landing_longitude": (two, longitude, {"units": "degrees_east", "long_name": "geodetic longitude of the landing place"}),
        "apogee_height": (two, np.where(flies, apogee, np.nan), {"units": "m", "long_name": "apogee of the body above the launch point"}),
        "flies": (two, flies.astype(np.int8), {"units": "1", "long_name": "whether the body flies by itself"}),
        "flight_branch": ("flight", ds["branch"].values.astype(str), {"units": "1", "long_name": "failures of the flight, joined by +, or nominal"}),
        "stratum": ("flight", stratum_of(ds, mission), {"units": "1", "long_name": "stratum of the failures drawn"}),
        "known": ("flight", meaningful(ds).astype(np.int8), {"units": "1", "long_name": "whether the flight can be told"}),
    }
    return xr.Dataset(entries, {"flight": ds["flight"], "body": ds["body"].astype(str)})


def leaving(ds: xr.Dataset) -> np.ndarray:
    """Return the numbers of the flights that left the rail."""
    return np.flatnonzero(~np.isin(ds["status"].values, (int(Status.NO_LIFTOFF), -1)))


def _at_landing(ds: xr.Dataset, name: str) -> np.ndarray:
    """Return a column of the event table at the landing of each body, (flight, body)."""
    return np.stack([event_values(ds, _LANDING, name, body=k) for k in range(ds.sizes["body"])], axis=1)


def leaves_waiver(ds: xr.Dataset, places: xr.Dataset, field: Field) -> np.ndarray:
    """Return for each flight of `places` whether any point known of it is outside of the waiver: events of all bodies, track, landing places."""
    own = ds.sel(flight=places["flight"])
    count = own.sizes["flight"]
    flat = [[own[f"event_{name}"].values.reshape(count, -1)] for name in ("east", "north", "height")]
    for column, name in zip(flat, ("landing_east", "landing_north", "landing_height"), strict=True):
        column.append(places[name].values)
    if all(name in own and "point" in own[name].dims for name in ("east", "north", "height")):
        for column, name in zip(flat, ("east", "north", "height"), strict=True):
            column.append(own[name].values)
    return ~field.in_waiver(*(np.concatenate(column, axis=1) for column in flat)).all(axis=1)
