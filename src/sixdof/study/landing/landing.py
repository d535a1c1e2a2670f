"""Where it lands: every body in every branch of failures, held against a field, people, a ceiling and a waiver."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

import numpy as np
import xarray as xr

from sixdof.ensemble.run import disperse
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results.status import Descent, Status
from sixdof.study.landing.field import field_of
from sixdof.study.landing.flights import leaving, places_of
from sixdof.study.landing.geojson import as_feature, collection
from sixdof.study.landing.groups import ALL, NOMINAL, SHARES, group_entries, members
from sixdof.study.landing.limits import Limits, exceeded_by, limits_of
from sixdof.study.landing.strata import fly_failing, strata_of, strata_share, uncertain
from sixdof.study.landing.terrain import Terrain, terrain_of
from sixdof.study.reading.result import came_down, is_ensemble, meaningful, mission_of, need_result
from sixdof.study.uncertainty.statistics import Interval, check_share, share_interval
from sixdof.study.variants.criteria import Criterion, check_names, criteria_of
from sixdof.study.variants.judging import VERDICTS, names_in, verdict_of

DISTANCES = (0.01, 0.05, 0.5)  # quantiles of the distance from people that are told
_CHANCE = {"": "probability of", "_low": "lower end of the interval of the probability of", "_high": "upper end of the interval of the probability of"}


def landing(
    what: Mission | xr.Dataset,
    flights: int | None = None,
    *,
    field: str | Path | Mapping | None = None,
    terrain: str | Path | xr.DataArray | xr.Dataset | None = None,
    people_distance: float | str | None = None,
    ceiling: float | str | None = None,
    waiver: float | str | None = None,
    failing: int = 0,
    criteria: str | Criterion | Iterable[str | Criterion] = (),
    confidence: float = 0.9,
    seed: int = 0,
    threads: int | None = None,
    client=None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Say where every body comes down, in every branch of failures, and how probable it is to leave a field or what else is to be kept.

    Parameters
    ----------
    what : Mission or Dataset
        A mission, which is flown, or an ensemble that `disperse` returned.
    flights : int
        How many are flown of a mission.
    field : path, text or dict
        GeoJSON (RFC 7946). The property `role` of a feature says what it is: "field" (where pieces may land; what a polygon without a role is), "no_go"
        (where none may), "people" (points, lines or polygons to keep away from), "waiver" (a point, with the properties `radius` and `ceiling`).
    terrain : path, DataArray or Dataset
        Heights along latitude and longitude (netCDF, or CSV with the columns latitude, longitude, height). Landing places are moved along the
        straight line of the last descent to where it first meets the ground. None: the ground is as high as the launch point everywhere.
    people_distance : m, or text such as "200 m"
        Which every landing place is to keep from the people of the field.
    ceiling : m, or text
        Which no body's apogee is to pass, above the launch point.
    waiver : m, or text
        Radius of a circle about the rail that no piece is to leave, besides those of the field.
    failing : int
        So many further flights for each `[[failure]]` of the mission, with it made certain and alone, weighted by its probability: they show where a
        rare branch lands, and narrow what is known of leaving the field in it.
    criteria : text, `sixdof.stats.criterion`, or several
        Judged as in `compare`, by the flights as drawn.
    confidence : of every interval and every verdict by itself
    seed, threads, client, progress, guidance, control
        As in `sixdof.disperse`.

    Returns
    -------
    Dataset
        Dims `flight`, `body`, `branch` ("all", then "nominal" and the failures, the most probable first), `share`, and where something was asked `limit`.

        By flight and body: `landing_east`, `landing_north`, `landing_height` (m, with the terrain), `landing_latitude`, `landing_longitude` (degrees),
        `apogee_height` (m), `people_distance` (m), `flies`. By flight: `flight_branch`, `made_certain` (the failure, or ""), `stratum`.
        By branch and body: `flights`, `landed`, `mean_east`, `mean_north`, `cep`, `r95`, `distance_median`, `distance_max`, `contour_area` (share, m^2; NaN
        for too few flights), `ellipse_*` (of one new flight with 95 %; NaN where places are not normal by Mardia's test, of several branches, or fewer
        than 20).
        By branch: `branch_probability` with `_low`, `_high`. By limit: `probability` that it is not kept, with `_low`, `_high`, and the same
        by branch as `branch_exceeded`. A flight that diverged keeps no limit, and neither does a body that does not come down.
        By criterion: `verdict`, `observed`, `observed_low`, `observed_high`.

    Raises
    ------
    TypeError, ValueError
        For what is neither mission nor ensemble, GeoJSON or a grid that cannot be read or that does not hold the landing places, what is no distance,
        and as `disperse`.

    Examples
    --------
    >>> square = [[-117.02, 37.98], [-116.98, 37.98], [-116.98, 38.02], [-117.02, 38.02], [-117.02, 37.98]]
    >>> found = sixdof.preflight.landing(flights, field={"type": "Polygon", "coordinates": [square]})
    >>> float(found.probability.sel(limit="a piece lands outside the field"))
    0.0
    """
    check_share(confidence, "confidence")
    wanted = criteria_of(criteria)
    options = {"threads": threads, "client": client, "progress": progress, "guidance": guidance, "control": control}
    mission, plain = _flown(what, flights, seed, options)
    check_names(wanted, names_in(plain))
    limits = limits_of(field_of(field, mission.site), people_distance, ceiling, waiver)
    ground = None if terrain is None else terrain_of(terrain, mission.site)
    ensembles = [plain, *_failing(what, mission, plain, failing, seed, options)]
    if not sum(leaving(one).size for one in ensembles):
        raise ValueError("landing: none of the flights left the rail, so that nothing lands")
    ds = _by_flight(ensembles, mission, limits, ground)
    ds = _by_group(ds, mission, confidence, stratified=len(ensembles) > 1)
    return ds.assign(_judged(plain, wanted, confidence)).assign_attrs(_attributes(plain, limits, ground, confidence, failing, ds))


def _flown(what, flights, seed: int, options: dict) -> tuple[Mission, xr.Dataset]:
    if isinstance(what, Mission):
        if flights is None:
            raise TypeError("landing: say how many flights of the mission are flown, such as landing(mission, 400)")
        return what, disperse(what, flights, seed=seed, **options)
    if not isinstance(what, xr.Dataset):
        raise TypeError(f"landing takes a mission or an ensemble that sixdof.disperse returned, not {shown(what)}")
    need_result(what, "landing", "status")
    if not is_ensemble(what):
        raise ValueError("landing takes many flights and this is one; fly more with sixdof.disperse(mission, 400)")
    if flights is not None:
        raise TypeError("landing: flights is for a mission; this ensemble is flown already")
    return mission_of(what, "landing"), what


def _failing(what, mission: Mission, plain: xr.Dataset, failing: int, seed: int, options: dict) -> list[xr.Dataset]:
    if not isinstance(failing, int) or isinstance(failing, bool) or failing < 0:
        raise ValueError(f"landing: failing = {shown(failing)} must be a number of flights for each failure, 0 or more")
    if not failing:
        return []
    if not uncertain(mission):
        raise ValueError("landing: failing is for missions with [[failure]] entries that are not certain, and this one has none; leave it out")
    if isinstance(what, xr.Dataset):
        if plain.attrs.get("guidance", "built in") != "built in" or plain.attrs.get("control", "built in") != "built in":
            raise ValueError("landing: failing flies further flights, and this ensemble was flown with custom laws; give the mission and the laws")
        seed = int(plain.attrs.get("seed", seed))
    return fly_failing(mission, failing, first=int(plain["flight"].max()) + 1, seed=seed, **options)


# ---------------------------------------------------------------- by flight


def _by_flight(ensembles: list[xr.Dataset], mission: Mission, limits: Limits, ground: Terrain | None) -> xr.Dataset:
    """Return the landing places of all flights, and which limits each of them does not keep."""
    parts = []
    for number, ensemble in enumerate(ensembles):
        if not leaving(ensemble).size:
            continue
        places = places_of(ensemble, mission, ground)
        names = strata_of(mission).names
        certain = names[int(places["stratum"].values[0])] if number else ""
        places["made_certain"] = ("flight", np.full(places.sizes["flight"], certain, dtype=object), {"units": "1", "long_name": "failure made certain"})
        if limits.field.people is not None:
            distance = limits.field.from_people(places["landing_east"].values, places["landing_north"].values)
            places["people_distance"] = (("flight", "body"), distance, {"units": "m", "long_name": "distance of the landing place from the nearest people"})
        exceeded = exceeded_by(limits, ensemble, places)
        if exceeded:
            attrs = {"units": "1", "long_name": "whether the limit is not kept"}
            places["exceeded"] = (("flight", "limit"), np.stack(list(exceeded.values()), axis=1).astype(np.int8), attrs)
            places = places.assign_coords(limit=("limit", list(exceeded), {"long_name": "what is not kept"}))
        parts.append(places)
    ds = xr.concat(parts, "flight", data_vars="minimal", coords="minimal", compat="override", join="override") if len(parts) > 1 else parts[0]
    return ds.assign({name: ds[name].astype(str) for name in ("made_certain", "flight_branch")})


# ---------------------------------------------------------------- by branch and limit


def _by_group(ds: xr.Dataset, mission: Mission, confidence: float, *, stratified: bool) -> xr.Dataset:
    strata = strata_of(mission)
    stratum = ds["stratum"].values

    def chance(which: np.ndarray) -> Interval:
        if stratified:
            return strata_share(which, stratum, strata.weights, confidence)
        return share_interval(int(which.sum()), which.size, confidence)

    names, count = np.unique(ds["flight_branch"].values, return_counts=True)
    chances = {str(name): chance(ds["flight_branch"].values == name) for name in names}
    order = sorted(chances, key=lambda name: (name != NOMINAL, -chances[name].estimate, name))
    entries = group_entries(ds, [ALL, *order])
    entries |= _chances("branch_probability", ("branch",), [Interval(1.0, 1.0, 1.0), *(chances[name] for name in order)], "the branch")
    if "limit" in ds.dims:
        exceeded = ds["exceeded"].values > 0
        entries |= _chances("probability", ("limit",), [chance(exceeded[:, k]) for k in range(exceeded.shape[1])], "not keeping the limit")
        entries["exceeding"] = ("limit", exceeded.sum(axis=0), {"units": "1", "long_name": "flights in which it is not kept"})
        entries |= _within_branches(ds, [ALL, *order], exceeded, confidence)
    if "people_distance" in ds:
        entries |= _people(ds, [ALL, *order])
    coords = {"branch": ("branch", [ALL, *order], {"long_name": "branch of failures"}), "share": ("share", list(SHARES), {"units": "1", "long_name": "share"})}
    return ds.assign(entries).assign_coords(coords)


def _chances(name: str, dims: tuple[str, ...], found: list[Interval], of: str) -> dict:
    ends = dict(zip(_CHANCE, ("estimate", "low", "high"), strict=True))
    return {
        f"{name}{end}": (dims, np.array([getattr(one, ends[end]) for one in found]), {"units": "1", "long_name": f"{text} {of}"})
        for end, text in _CHANCE.items()
    }


def _within_branches(ds: xr.Dataset, branches: list[str], exceeded: np.ndarray, confidence: float) -> dict:
    """Return `branch_exceeded`, the share of a branch's own flights that do not keep a limit, with its interval (Clopper-Pearson)."""
    own = np.stack([members(ds, branch) for branch in branches])
    found = share_interval(own.astype(int) @ exceeded.astype(int), np.broadcast_to(own.sum(axis=1)[:, None], (len(branches), exceeded.shape[1])), confidence)
    ends = zip(_CHANCE.items(), (found.estimate, found.low, found.high), strict=True)
    text = "not keeping the limit in a flight of the branch"
    return {f"branch_exceeded{end}": (("branch", "limit"), values, {"units": "1", "long_name": f"{words} {text}"}) for (end, words), values in ends}


def _people(ds: xr.Dataset, branches: list[str]) -> dict:
    """Return quantiles of each body's distance from people in each branch, NaN where it does not come down, and the smallest."""
    values = ds["people_distance"].values
    out = np.full((len(DISTANCES) + 1, len(branches), values.shape[1]), np.nan)
    for k, branch in enumerate(branches):
        for body in range(values.shape[1]):
            known = values[members(ds, branch), body]
            known = known[np.isfinite(known)]
            if known.size:
                out[:, k, body] = [known.min(), *np.quantile(known, DISTANCES)]
    text = "distance of the landing places from the nearest people, of which the quantile's share is nearer; the first is the smallest"
    return {
        "people_distance_quantile": (("quantile", "branch", "body"), out, {"units": "m", "long_name": text}),
        "quantile": ("quantile", [0.0, *DISTANCES], {"units": "1", "long_name": "quantile"}),
    }


# ---------------------------------------------------------------- criteria and attributes


def _judged(plain: xr.Dataset, wanted: list[Criterion], confidence: float) -> dict:
    if not wanted:
        return {}
    found = [verdict_of(one, plain, confidence)[0] for one in wanted]
    flag = {"units": "1", "long_name": "verdict", "flag_values": np.arange(len(VERDICTS), dtype=np.int8), "flag_meanings": " ".join(VERDICTS)}
    rows = {"observed": "share", "observed_low": "low", "observed_high": "high"}
    text = "share of the flights that meet the criterion"
    entries = {name: ("criterion", [getattr(one, key) for one in found], {"units": "1", "long_name": text}) for name, key in rows.items()}
    entries["verdict"] = ("criterion", np.array([VERDICTS.index(one.verdict) for one in found], dtype=np.int8), flag)
    return entries | {"criterion": ("criterion", [str(one) for one in wanted], {"long_name": "criterion"})}


def _attributes(plain: xr.Dataset, limits: Limits, ground: Terrain | None, confidence: float, failing: int, ds: xr.Dataset) -> dict:
    attrs = {name: plain.attrs[name] for name in ("Conventions", "title", "source", "history", "mission", "seed", "interrupted") if name in plain.attrs}
    attrs |= _less_sure(plain) | {"confidence": confidence, "failing": failing, "flown": plain.sizes["flight"], "never_left_the_rail": _held(plain)}
    attrs |= {"field": collection([as_feature(one) for one in limits.field.features])} if limits.field.features else {}
    attrs |= {"waiver_radius": limits.waiver} if limits.waiver is not None else {}
    attrs |= {"people_distance_required": limits.people_distance} if limits.people_distance is not None else {}
    attrs |= {"ceiling": limits.ceiling} if limits.ceiling is not None else {}
    if ground is not None:
        height = ds["landing_height"].values
        attrs |= {"terrain": ground.name, "terrain_rail_height": ground.rail_height, "terrain_highest": float(np.nanmax(height, initial=-np.inf))}
        attrs |= {"terrain_lowest": float(np.nanmin(height, initial=np.inf))}
    return attrs


def _held(plain: xr.Dataset) -> int:
    return int((plain["status"].values == Status.NO_LIFTOFF).sum())


def _less_sure(plain: xr.Dataset) -> dict:
    """Return in how many of the flights as drawn the model is less sure: above Mach 0.8, beyond 15 deg of incidence, in falls without a canopy."""
    used = meaningful(plain)
    found = {
        "above_mach_08": int((plain["time_above_mach_08"].values[used] > 0.0).sum()) if "time_above_mach_08" in plain else 0,
        "beyond_incidence": int((plain["time_beyond_incidence"].values[used] > 0.0).sum()) if "time_beyond_incidence" in plain else 0,
    }
    if "descent" in plain:
        falls = [came_down(plain, k) & (plain["descent"].isel(body=k).values != Descent.UNDER_CANOPY) for k in range(plain.sizes["body"])]
        found["falling"] = int((np.any(falls, axis=0) & used).sum())
    return found
