"""`last_position`: where the body was as it was last heard, how old that is, and how it was moving."""

from __future__ import annotations

import math
from os import PathLike
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.tables import Site
from sixdof.mission.units import shown
from sixdof.postflight.recording.packet import receiver_clock
from sixdof.postflight.recording.recording import need_recording
from sixdof.world.geodesy import place_on_earth

LOOKED_AT = 3.0  # s of positions that a motion is taken from where the packets say none
OLD = 2.0  # s between a motion that packets say and the position, beyond which it is not that of the position
MOVING = 1.0  # m/s below which a body stands still, by its positions
KIND = "last position"


def last_position(recording: xr.Dataset | str | PathLike, now: float | str | None = None) -> xr.Dataset:
    """Return the last known position, its age, and how the body was moving there: by the sender's clock, so a packet that came late is not taken for the last.

    Where it is now is another question: a body with a canopy drifts with the wind and one without comes down beside its last position. `search_map` weighs it.

    Parameters
    ----------
    recording : what `read_recording` returned, or the path of a recording
    now : receiver's clock, s since 1970-01-01 UTC, that the age is counted to; "now"; None: the end of the recording

    Returns
    -------
    Dataset
        `east`, `north` (m from the rail), `height` (m above ground), `distance` (m), `bearing` (rad, true), NaN where no packet said; `latitude`, `longitude`
        (degrees) where the site is known or the packets said. `age`, `height_age` (s): since they were sent, the least latency left out, for one way cannot
        tell it; `heard_age` since the last packet of any kind. `received` (s since 1970-01-01 UTC), `sent` (sender's clock, s). `velocity` (axis): east,
        north, up (m/s) there, with `velocity_by`: "packets", "positions" (a line through the last 3 s) or "nothing".

    Raises
    ------
    ValueError
        In one sentence, for what is no recording, and for one whose packets hold neither a place nor a height.

    Examples
    --------
    >>> with sixdof.postflight.Recorder("lost.rec", site=mission) as recorder:
    ...     recorded = recorder.extend(sixdof.postflight.simulated_packets(flight.isel(time=slice(700)), after=0.0))
    >>> last = sixdof.postflight.last_position("lost.rec")
    >>> bool(last.height > 400.0), str(last.velocity_by.values)
    (True, 'packets')
    """
    ds = need_recording(recording, "last_position")
    end = _now(ds, now)
    when = _sent_times(ds)
    place, height = _latest(ds, when, "east", "north"), _latest(ds, when, "height")
    on_map = _latest(ds, when, "latitude", "longitude")
    at = place if place is not None else on_map if on_map is not None else height
    if at is None:
        raise ValueError("last_position: no packet of this recording holds a place (east and north) or a height")
    moving = _velocity(ds, when, at)
    east, north = (float(ds[name][place]) if place is not None else math.nan for name in ("east", "north"))
    up = float(ds["height"][height]) if height is not None else math.nan
    latitude, longitude = _on_map(ds, place, on_map, east, north, up)
    numbers = {
        "east": (east, "m", "last known position east of the rail"),
        "north": (north, "m", "last known position north of the rail"),
        "height": (up, "m", "last known height above ground"),
        "distance": (math.hypot(east, north), "m", "distance of the last known position from the rail"),
        "bearing": (math.atan2(east, north) % (2.0 * math.pi) if place is not None else math.nan, "rad", "bearing of the last position from the rail, true"),
        "latitude": (latitude, "degrees_north", "latitude of the last known position"),
        "longitude": (longitude, "degrees_east", "longitude of the last known position"),
        "age": (end - when[at], "s", "age of the last known position"),
        "height_age": (end - when[height] if height is not None else math.nan, "s", "age of the last known height"),
        "heard_age": (end - float(ds["received"].max()), "s", "time since the last packet came"),
        "received": (float(ds["received"][at]), "s", "receiver's clock as the last position came, since 1970-01-01 UTC"),
        "sent": (float(ds["sent"][at]), "s", "sender's clock of the last position"),
    }
    found = xr.Dataset({name: ((), value, {"units": units, "long_name": text}) for name, (value, units, text) in numbers.items()})
    found["velocity"] = ("axis", moving.velocity, {"units": "m/s", "long_name": "velocity over the ground at the last known position: east, north, up"})
    found["velocity_by"] = ((), np.array(moving.by), {"long_name": "what the velocity is taken from"})
    return found.assign_coords(axis=["x", "y", "z"]).assign_attrs(kind=KIND, title=ds.attrs.get("title", ""), path=ds.attrs.get("path", ""))


def _now(ds: xr.Dataset, now: Any) -> float:
    if now is None:
        return max(float(ds["session_end"][-1]), float(ds["received"].max()))
    if now == "now":
        return receiver_clock()
    if isinstance(now, bool) or not isinstance(now, (int, float)) or not math.isfinite(now):
        raise ValueError(f'last_position: now = {shown(now)} must be seconds since 1970-01-01 UTC, "now", or left out: the end of the recording')
    return float(now)


def _sent_times(ds: xr.Dataset) -> np.ndarray:
    """Return when each packet was sent by the receiver's clock, s; when it came, where it does not say."""
    run, sent = ds["run"].values, ds["sent"].values
    origin, offset, slope = (ds[f"clock_{name}"].values[run] for name in ("origin", "offset", "slope"))
    told = sent + offset + slope * (sent - origin)
    return np.where(np.isfinite(told), told, ds["received"].values)


def _latest(ds: xr.Dataset, when: np.ndarray, *names: str) -> int | None:
    """Return the packet sent last of those that measured all of these; None where none did."""
    if any(name not in ds for name in names):
        return None
    known = np.logical_and.reduce([np.isfinite(ds[name].values) for name in names])
    rows = np.flatnonzero(known)
    return int(rows[np.argmax(when[rows])]) if rows.size else None


class _Moving(NamedTuple):
    velocity: np.ndarray
    by: str


def _velocity(ds: xr.Dataset, when: np.ndarray, at: int) -> _Moving:
    """Return the velocity (3,) at a packet: what packets say near it, else a straight line through the last positions, part by part."""
    if "velocity" in ds and ds["velocity"].dims == ("packet", "axis"):
        known = np.flatnonzero(np.isfinite(ds["velocity"].values).all(axis=1) & (np.abs(when - when[at]) <= OLD))
        if known.size:
            return _Moving(ds["velocity"].values[known[np.argmin(np.abs(when[known] - when[at]))]], "packets")
    found = np.array([_slope(ds, when, at, name) for name in ("east", "north", "height")])
    return _Moving(found, "positions" if np.isfinite(found).any() else "nothing")


def _slope(ds: xr.Dataset, when: np.ndarray, at: int, name: str) -> float:
    if name not in ds:
        return math.nan
    values = ds[name].values
    rows = np.flatnonzero(np.isfinite(values) & (when <= when[at]) & (when >= when[at] - LOOKED_AT) & ~ds["repeated"].values)
    if rows.size < 3 or np.ptp(when[rows]) < 0.2:
        return math.nan
    return float(np.polyfit(when[rows] - when[at], values[rows], 1)[0])


def _on_map(ds: xr.Dataset, place: int | None, on_map: int | None, east: float, north: float, up: float) -> tuple[float, float]:
    """Return latitude and longitude, degrees, of the last place; NaN where nothing tells."""
    if place is not None and "site_latitude" in ds.attrs:
        said = ds.attrs
        site = Site(
            latitude=math.radians(said["site_latitude"]),
            longitude=math.radians(said["site_longitude"]),
            altitude=said["site_altitude"],
            earth=said["site_earth"],
        )
        latitude, longitude = place_on_earth(site, east, north, up if math.isfinite(up) else 0.0)
        return float(latitude), float(longitude)
    if on_map is not None:
        return math.degrees(float(ds["latitude"][on_map])), math.degrees(float(ds["longitude"][on_map]))
    return math.nan, math.nan
