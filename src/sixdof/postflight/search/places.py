"""What weighted flights say of where a body lies: landing places with weights and groups, and what they cannot say."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.errors import suggestion
from sixdof.mission.units import shown
from sixdof.results.status import Status
from sixdof.study.landing.flights import places_of
from sixdof.study.landing.terrain import Terrain
from sixdof.study.reading.result import apart, mission_of, need_ensemble, plural

NEEDED = ("body_landing_east", "body_landing_north")
OFTEN = 0.05  # probability of flying by itself from which on a body has a map without being asked for
_LOOSE = ": loose by "  # in the name of a piece that its harness may let go


class Places(NamedTuple):
    """Of one body: place (n, 2) m, weight (n,) and group (n,) of flights in which it has one; the weights of all flights add to 1.

    unplaced : weight of flights that do not say where it lies. carried : weight of flights in which it lies with the body that it never left.
    """

    name: str
    place: np.ndarray
    weight: np.ndarray
    group: np.ndarray
    unplaced: float
    carried: float
    carrier: str


def weighted(ds: Any, who: str) -> tuple[xr.Dataset, np.ndarray, list[str]]:
    """Return the flights that left the rail, their weights, which add to 1, and sentences of what was left out.

    Raises TypeError, ValueError, in one sentence, for what is no ensemble, weights that are none, and flights of which none left the rail.
    """
    need_ensemble(ds, who, *NEEDED)
    if "body" not in ds["body_landing_east"].dims:
        raise ValueError(f"{who}: body_landing_east must go along the dims flight and body")
    weight = np.full(ds.sizes["flight"], 1.0) if "weight" not in ds else np.asarray(ds["weight"].values, dtype=float)
    if weight.shape != (ds.sizes["flight"],) or not np.isfinite(weight).all() or (weight < 0.0).any() or not weight.sum() > 0.0:
        raise ValueError(f"{who}: weight must be a number of 0 or more for each flight, with a sum above 0")
    flown = np.ones(weight.size, dtype=bool)
    if "status" in ds:
        flown = ~np.isin(ds["status"].values, (int(Status.NO_LIFTOFF), -1))
    if not weight[flown].sum() > 0.0:
        raise ValueError(f"{who}: none of the flights left the rail, so that nothing is to be searched for")
    held = weight[~flown].sum() / weight.sum()
    said = [f"{plural(int((~flown).sum()))} never left the rail and count nowhere ({100.0 * held:.2g} % of the weight)"] if not flown.all() else []
    return ds.isel(flight=flown), weight[flown] / weight[flown].sum(), said


def bodies_of(ds: xr.Dataset, weight: np.ndarray, body: Any, terrain: Terrain | None, who: str) -> tuple[list[Places], list[str]]:
    """Return the places of the bodies asked for (None: all that fly by themselves often enough), and sentences of what has no map.

    Raises ValueError for a body that there is not, one that never flies by itself, and one without any landing place.
    """
    names = [str(name) for name in ds["body"].values]
    wanted = names if body is None else [body] if isinstance(body, str) else list(body)
    for name in wanted:
        if name not in names:
            raise ValueError(f"{who}: there is no body {shown(name)}; {suggestion(str(name), names, 'bodies')}")
    found, said = [], []
    east, north = _landings(ds, terrain, who)
    home = _recovered(ds, names) if body is None else set()
    for name in dict.fromkeys(wanted):
        if name in home and home < set(names):
            said.append(f"{name} was recovered, as the evidence says, and has no map here; ask for it by name")
            continue
        alone = float(weight[_by_itself(ds, names.index(name))].sum())
        carrier = names[_carrier(names, names.index(name))]
        if name != carrier and alone <= 0.0:
            why = f"never flies by itself in these flights: it stays with {carrier}, and lies where that lies"
            if body is not None:
                raise ValueError(f"{who}: {name} {why}; search for {carrier}")
            said += [f"{name} {why}"] if _LOOSE not in name else []
            continue
        if body is None and alone < OFTEN and len(names) > 1:
            said.append(f"{name} flies by itself with a probability of only {100.0 * alone:.2g} % and has no map here; ask for it by name")
            continue
        one = _places(ds, names, names.index(name), east, north, weight)
        if not one.weight.size:
            why = f"{name} does not come down in any of these flights: let the mission fly longer (simulation.end_time)"
            if body is not None or len(wanted) == 1:
                raise ValueError(f"{who}: {why}")
            said.append(why)
            continue
        found.append(one)
    if not found:
        raise ValueError(f"{who}: no body of these flights has a landing place, so that there is nothing to make a map of")
    return found, said


def _recovered(ds: xr.Dataset, names: list[str]) -> set[str]:
    """Return the bodies that evidence of `what_happened` says were recovered."""
    if "evidence_body" not in ds or "evidence_kind" not in ds:
        return set()
    pairs = zip(ds["evidence_kind"].values.astype(str), ds["evidence_body"].values.astype(str), strict=True)
    return {body or names[0] for kind, body in pairs if kind == "recovered"}


def _landings(ds: xr.Dataset, terrain: Terrain | None, who: str) -> tuple[np.ndarray, np.ndarray]:
    """Return landing places east and north (flight, body), on the ground of a grid of heights where there is one."""
    if terrain is None:
        return (np.asarray(ds[name].transpose("flight", "body").values, dtype=float) for name in NEEDED)
    moved = places_of(ds, mission_of(ds, who), terrain, who)
    return moved["landing_east"].values, moved["landing_north"].values


def _by_itself(ds: xr.Dataset, body: int) -> np.ndarray:
    """Return in which flights a body flies by itself; all of them where the flights do not tell."""
    told = body == 0 or ("separation_time" in ds if body <= ds.sizes.get("joint", 0) else "body_status" in ds)
    return apart(ds, body) if told and "status" in ds else np.ones(ds.sizes["flight"], dtype=bool)


def _carrier(names: list[str], body: int) -> int:
    """Return the number of the body that one belongs to as long as it is not by itself: the one ahead, or the one whose harness holds it."""
    if _LOOSE in names[body]:
        return names.index(names[body].split(_LOOSE)[0])
    return max(body - 1, 0)


def _places(ds: xr.Dataset, names: list[str], body: int, east: np.ndarray, north: np.ndarray, weight: np.ndarray) -> Places:
    own = _by_itself(ds, body)
    from_body, still = np.full(weight.size, body), ~own
    at = body
    while still.any() and at != _carrier(names, at):
        at = _carrier(names, at)
        from_body[still] = at
        still = still & ~_by_itself(ds, at)
    row = np.arange(weight.size)
    place = np.column_stack([east[row, from_body], north[row, from_body]])
    known = np.isfinite(place).all(axis=1) & (weight > 0.0)
    if "status" in ds:
        known &= ds["status"].values != int(Status.DIVERGED)
    group = _groups(ds, from_body)
    unplaced = max(1.0 - float(weight[known].sum()), 0.0)
    return Places(
        names[body],
        place[known],
        weight[known],
        group[known],
        unplaced if unplaced > 1e-12 else 0.0,
        float(weight[known & ~own].sum()),
        names[_carrier(names, body)],
    )


def _groups(ds: xr.Dataset, from_body: np.ndarray) -> np.ndarray:
    """Return the number of the group of each flight: same hypothesis, same branch of failures, same body that it lies with."""
    keys = [from_body]
    for name in ("hypothesis", "branch"):
        if name in ds and ds[name].dims == ("flight",):
            keys.append(np.unique(ds[name].values.astype(str), return_inverse=True)[1].ravel())
    return np.unique(np.column_stack(keys), axis=0, return_inverse=True)[1].ravel()
