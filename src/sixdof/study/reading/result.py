"""What studies and figures read from a result: its mission, its events, its directions, quantiles and bands."""

from __future__ import annotations

import math
from collections.abc import Sequence
from difflib import get_close_matches

import numpy as np
import xarray as xr

from sixdof.mission.load import stored_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results.registry import REGISTRY
from sixdof.results.retired import RETIRED, now_called
from sixdof.results.status import Status

THINGS = ("joint", "rule", "canopy", "failure", "fin", "waypoint_number")  # what a vehicle or a mission may have none of
QUANTILES = (0.05, 0.5, 0.95)
MEANINGLESS = (Status.NO_LIFTOFF, Status.DIVERGED)  # ends after which the outcomes say nothing about a flight


def plural(count: int) -> str:
    """Return "1 flight", "2 flights"."""
    return f"{count} flight" if count == 1 else f"{count} flights"


def is_ensemble(ds: xr.Dataset) -> bool:
    """Return whether a result holds many flights."""
    return "flight" in ds.dims


def need_result(ds: xr.Dataset, who: str, *names: str) -> None:
    """Check that a result is a Dataset and holds `names` (see `need_flight`)."""
    if not isinstance(ds, xr.Dataset):
        raise TypeError(f"{who}: ds must be a Dataset that sixdof made, such as sixdof.fly returns, not {shown(ds)}")
    missing = [name for name in names if name not in ds]
    if not missing:
        return
    hint = _hint(missing[0], [str(name) for name in ds.variables])
    raise ValueError(f"{who} needs {', '.join(missing)}, which this result does not hold{hint}")


def _hint(name: str, known: list[str]) -> str:
    old = next((old for old, new in RETIRED.items() if new == name and old in known), None)
    if old is not None:
        return f"; an older version called it {old!r}: read the file with sixdof.open_result"
    if now_called(name):
        return f"; {now_called(name)}"
    near = get_close_matches(name, known, n=1)
    return f"; did you mean {near[0]!r}?" if near else ""


def with_empty(ds: xr.Dataset) -> xr.Dataset:
    """Return a flight with the variables of the registry that it omits because its vehicle has none of what they are along, of length 0.

    Joints, canopies, rules, fins, waypoints: a study that goes through all of them need not ask whether there is one.
    """
    absent = set(THINGS) - set(ds.dims)
    missing = [v for v in REGISTRY.values() if v.name not in ds and absent & set(v.dims)]
    sizes = {dim: ds.sizes.get(dim, 0) for v in missing for dim in v.dims}
    entries = {v.name: (v.dims, np.empty([sizes[dim] for dim in v.dims]), {"units": v.units, "long_name": v.long_name}) for v in missing}
    return ds.assign(entries).assign_coords({dim: (dim, np.empty(0, dtype=str)) for dim in absent})


def need_flight(ds: xr.Dataset, who: str, *names: str) -> None:
    """Check that a result is one flight with its timeline and holds `names`; `who` asks.

    Raises
    ------
    TypeError, ValueError
        In one sentence, for what is no Dataset, for an ensemble or for what is missing.
    """
    need_result(ds, who)
    if is_ensemble(ds):
        raise ValueError(
            f"{who} takes one flight and this is an ensemble of {ds.sizes['flight']}; fly one of them again with sixdof.fly(mission, flight=number, seed=seed)"
        )
    if "time" not in ds.dims:
        raise ValueError(f"{who} needs the timeline of a flight (dim time), as sixdof.fly returns it, and finds none")
    need_result(ds, who, *names)


def need_ensemble(ds: xr.Dataset, who: str, *names: str) -> None:
    """Check that a result is an ensemble and holds `names` (see `need_flight`)."""
    need_result(ds, who)
    if not is_ensemble(ds):
        raise ValueError(f"{who} takes an ensemble (dim flight), as sixdof.disperse returns it, and this is one flight")
    need_result(ds, who, *names)


def need_tracks(ds: xr.Dataset, who: str) -> None:
    """Check that a result is an ensemble whose tracks were kept (see `need_flight`)."""
    need_ensemble(ds, who, "status")
    if "height" not in ds or "time" not in ds:
        raise ValueError(f"{who} needs the tracks of the flights; fly them again with record.track_points above 0")


def need_table(ds: xr.Dataset, who: str, maker: str, *names: str) -> None:
    """Check that a Dataset is what `maker` ("aero.drag_against_mach") returns: it holds `names` (see `need_flight`)."""
    missing = [name for name in names if not isinstance(ds, xr.Dataset) or name not in ds]
    if missing:
        raise ValueError(f"{who} needs the result of sixdof.{maker} and finds no {', '.join(missing)}")


def mission_of(ds: xr.Dataset, who: str) -> Mission:
    """Return the mission that made a result, from its attribute `mission`; ValueError where it has none."""
    if "mission" not in ds.attrs:
        raise ValueError(f"{who} needs the mission that made this result, and its attribute `mission` is missing")
    return stored_mission(ds.attrs["mission"])


def meaningful(ds: xr.Dataset) -> np.ndarray:
    """Return for each flight (one entry for a single flight) whether its outcomes mean something, bool (flights,)."""
    status = np.atleast_1d(ds["status"].values)
    return ~np.isin(status, [int(s) for s in MEANINGLESS])


def outcomes(ds: xr.Dataset, name: str) -> np.ndarray:
    """Return one outcome of every flight, (flights,), NaN where the flight failed; one entry for a single flight."""
    return np.where(meaningful(ds), np.atleast_1d(ds[name].values).astype(float), np.nan)


def fact(ds: xr.Dataset, name: str, which: int) -> np.ndarray:
    """Return a fact of one body, joint, rule or canopy (its number) of every flight, (flights,), NaN where the flight failed."""
    dim = next(d for d in ds[name].dims if d != "flight")
    return outcomes(ds[[name, "status"]].isel({dim: which}), name)


def drawn_factor(ds: xr.Dataset, name: str, dim: str, label: str) -> np.ndarray:
    """Return a dispersed factor of one thing (`label` along `dim`) in every flight, (flights,); ones where it is not dispersed.

    name : of the variable, "harness_strength".
    """
    factor = ds[name] if name in ds else xr.DataArray(1.0)
    if dim in factor.dims:
        factor = factor.sel({dim: label})
    return np.broadcast_to(np.asarray(factor, dtype=float), meaningful(ds).shape)


def quantiles(ds: xr.Dataset, name: str, shares: Sequence[float] = QUANTILES) -> np.ndarray:
    """Return quantiles (shares,) of an outcome over the flights that have it; NaN where none has."""
    values = outcomes(ds, name)
    values = values[np.isfinite(values)]
    return np.quantile(values, shares) if values.size else np.full(len(shares), np.nan)


def stays_below(values: np.ndarray, share: float) -> float:
    """Return the smallest of the known values that at least a share of them do not exceed (an order statistic: never between two); NaN for none."""
    known = np.sort(values[np.isfinite(values)], axis=None)
    return float(known[max(math.ceil(share * known.size - 1e-9), 1) - 1]) if known.size else math.nan


# ---------------------------------------------------------------- events and bodies


def event_values(ds: xr.Dataset, event: str, name: str = "time", *, body: int | str = 0) -> np.ndarray:
    """Return `event_<name>` of a body at an event of every flight, (flights,); NaN where it did not happen or is unknown.

    body : number or name; 0 is the front body, which begins as the whole stack.

    Examples
    --------
    >>> times = sixdof.stats.event_values(flights, "burnout")
    >>> times.shape
    (100,)
    """
    if event not in ds["event"].values:
        return np.full(ds.sizes.get("flight", 1), np.nan)
    return np.atleast_1d(body_of(ds[[f"event_{name}"]], body)[f"event_{name}"].sel(event=event).values).astype(float)


def body_of(ds: xr.Dataset, body: int | str = 0) -> xr.Dataset:
    """Return a result with what belongs to one body alone: the dim `body` is gone. ValueError for a body it does not hold."""
    names = [str(name) for name in ds["body"].values]
    if isinstance(body, str) and body not in names:
        raise ValueError(f"there is no body {body!r} in this result; use one of {', '.join(names)}")
    return ds.isel(body=names.index(body) if isinstance(body, str) else body)


def happened(ds: xr.Dataset, body: int | str = 0) -> list[tuple[str, int]]:
    """Return the events of a body of a single flight that happened, in time order, as (name, index along `event`)."""
    time = body_of(ds[["event_time"]], body)["event_time"].values
    return [(str(ds["event"].values[i]), int(i)) for i in np.argsort(time, kind="stable") if math.isfinite(time[i])]


def own_events(ds: xr.Dataset, body: int) -> list[tuple[str, int]]:
    """Return as `happened` the events of a body that it does not share with one in front of it, from their common past."""
    times = ds["event_time"].values
    return [(name, i) for name, i in happened(ds, body) if not (times[:body, i] == times[body, i]).any()]


def apart(ds: xr.Dataset, body: int) -> np.ndarray:
    """Return for each flight whether a body flies on its own at its end, not as part of one in front of it, bool (flights,)."""
    if body == 0:
        return np.ones(meaningful(ds).size, dtype=bool)
    if body <= ds.sizes.get("joint", 0):
        return np.isfinite(np.atleast_1d(ds["separation_time"].isel(joint=body - 1).values))
    return np.atleast_1d(ds["body_status"].isel(body=body).values) >= 0  # a piece that a harness may let go


def pieces(ds: xr.Dataset) -> list[int]:
    """Return the numbers of the bodies that fly on their own in any flight that means something."""
    return [k for k in range(ds.sizes["body"]) if (apart(ds, k) & meaningful(ds)).any()]


def came_down(ds: xr.Dataset, body: int) -> np.ndarray:
    """Return for each flight whether a body of its own reaches the ground, bool (flights,)."""
    return apart(ds, body) & np.isfinite(np.atleast_1d(ds["body_landing_time"].isel(body=body).values))


def branches(ds: xr.Dataset) -> dict[str, np.ndarray]:
    """Return which flights, bool (flights,), took each branch (failures that happened, or "nominal"), the most frequent first."""
    names, inverse, count = np.unique(np.atleast_1d(ds["branch"].values).astype(str), return_inverse=True, return_counts=True)
    return {str(names[k]): inverse == k for k in np.argsort(-count, kind="stable")}


def climb(ds: xr.Dataset) -> slice:
    """Return the label slice of `time` from ignition to apogee of a flight, all of it where there is no apogee."""
    apogee = float(event_values(ds, "apogee")[0])
    return slice(None, apogee if math.isfinite(apogee) else None)


def downrange(ds: xr.Dataset, east: str = "east", north: str = "north", who: str = "downrange") -> xr.DataArray:
    """Return the distance from the rail along its azimuth, m: positive to where the rail leans; dims as `east`."""
    azimuth = mission_of(ds, who).rail.azimuth
    distance = ds[east] * math.sin(azimuth) + ds[north] * math.cos(azimuth)
    return distance.assign_attrs(units="m", long_name="downrange distance")


def height_bands(ds: xr.Dataset, shares: Sequence[float] = (0.05, 0.25, 0.5, 0.75, 0.95), *, points: int = 240) -> xr.Dataset:
    """Return quantiles of the height at equal times over the flights of an ensemble with tracks.

    A landed flight stays at its last height; any other end leaves the bands at its last point. Between the points of a
    track the height is taken linear. Failed flights (not lifted off, diverged) are omitted and counted in `dropped`.

    shares : of the flights below each height.

    Returns
    -------
    Dataset
        `height` (share, time), m, and the number of flights `used` and `dropped`.

    Examples
    --------
    >>> bands = sixdof.stats.height_bands(flights, [0.1, 0.5, 0.9], points=20)
    >>> dict(bands.sizes)
    {'share': 3, 'time': 20}
    """
    need_tracks(ds, "height_bands")
    time, height = ds["time"].values, ds["height"].values
    known = np.isfinite(time) & np.isfinite(height)
    use = np.flatnonzero(meaningful(ds) & (known.sum(axis=1) > 1))
    if not use.size:
        raise ValueError("height_bands finds no flight with a track: all of them failed")
    grid = np.linspace(0.0, np.nanmax(time[use]), points)
    landed = ds["status"].values == Status.LANDED
    rows = np.array([np.interp(grid, time[i, known[i]], height[i, known[i]], right=None if landed[i] else np.nan) for i in use])
    attrs = {"units": "m", "long_name": "height above ground"}
    return xr.Dataset(
        {
            "height": (("share", "time"), np.nanquantile(rows, shares, axis=0), attrs),
            "used": ((), use.size, {"long_name": "flights used"}),
            "dropped": ((), ds.sizes["flight"] - use.size, {"long_name": "flights without a usable track"}),
        },
        {"share": ("share", list(shares), {"long_name": "quantile"}), "time": ("time", grid, {"units": "s", "long_name": "time since ignition"})},
    )
