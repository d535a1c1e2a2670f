"""What breaks first: section loads, joints, guides, deployments, fins and skin over the same drawn flights and branches, each held against its strength."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.results.names import canopy_names
from sixdof.study.probes.columns import layout as ly
from sixdof.study.reading.result import stays_below
from sixdof.study.structure.flutter import flutter
from sixdof.study.structure.loads.bending import bent_flight, fastest
from sixdof.study.structure.loads.bending_dataset import bending_dataset
from sixdof.study.structure.loads.bending_flights import FAILING, FLIGHTS, OneFlight, asked_flights, each_one
from sixdof.study.structure.loads.deployment_loads import climb_acceleration, deployment_dataset, opened_canopies
from sixdof.study.structure.loads.guides import guide_dataset, loads_on_guides
from sixdof.study.structure.skin import skin_temperature
from sixdof.study.sweep.sweep import fly_drawn

FACTOR = 1.5  # of strength over load that is asked for: common practice of light structures with strengths as measured
WARM = 293.15  # K, from which rises of skin temperatures are counted
SHARE = 0.95  # of the drawn flights that must keep it


class Check(NamedTuple):
    """One thing held against what it carries. share : (flights,) of it. time, mach : (flights,) of the largest share, NaN where not known."""

    name: str
    kind: str
    share: np.ndarray
    time: np.ndarray
    mach: np.ndarray


class _Seen(NamedTuple):
    number: int
    branch: str
    forced: bool
    airspeed: float
    bent: list
    guides: tuple
    opened: list
    climbed: np.ndarray
    margin: float


def structure(
    mission: Mission | xr.Dataset,
    flights: int = FLIGHTS,
    *,
    seed: int = 0,
    failing: int = FAILING,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Return what breaks first, and by which margin: all loads of drawn flights and of branches of the mission's failures against what carries them.

    One pass over the flights for what `bending`, `guide_loads` and `deployment_loads` return, which see; `flutter` and `skin_temperature` of the drawn
    flights besides. Of flutter the load is the margin demanded over the one there is, of skin the rise above 20 degC over that which its material stands.

    Parameters
    ----------
    mission : Mission, or an ensemble as `sixdof.disperse` returns it, whose flights are then flown again.
    flights : how many flights are drawn, 0, 1, ... of `seed`.
    failing : so many flights more with each failure of the mission made certain alone (`forced` = 1); no quantile counts them.
    threads, progress, guidance, control : as in `sixdof.disperse`.

    Returns
    -------
    Dataset
        What the studies return, on the same flights, and along `check`, the nearest to breaking first: `check_share` (flight, check), load over what is
        carried, with `check_time` and `check_mach`; `check_95`, its 95 % quantile over the drawn flights; `check_worst` with `check_branch`, over all;
        `check_kind`; `worst_first`, the name of the first. `lacks`: what the mission does not say, in sentences.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission or an ensemble, or no number of flights, and where no flight leaves the rail.
    MissionError, LawError
        As `sixdof.fly`.

    Examples
    --------
    >>> found = sixdof.workshop.structure(mission, 3)
    >>> bool(found.check_95.max() < 1.0)
    True
    """
    asked = asked_flights("structure", mission, flights, seed, failing, (guidance, control))
    seen = each_one(asked, _seen, threads=threads, progress=progress, guidance=guidance, control=control)
    parts = [
        bending_dataset("structure", asked.mission, asked.seed, [(s.number, s.branch, s.forced, s.airspeed, s.bent) for s in seen]),
        guide_dataset(asked.mission, asked.seed, [(s.number, s.branch, s.forced, s.guides) for s in seen]),
    ]
    if canopy_names(asked.mission):
        parts.append(deployment_dataset(asked.mission, asked.seed, [(s.number, s.branch, s.forced, s.opened, s.climbed) for s in seen]))
    ds = xr.merge(parts, combine_attrs="override", compat="override", join="exact")
    ds["departure_margin"] = ("flight", np.array([s.margin for s in seen]), {"units": "1", "long_name": "static margin at rail departure, calibres"})
    heat, silent = fins_and_skin(mission, flights, len(seen), seed, {"threads": threads, "guidance": guidance, "control": control})
    return with_checks(ds, [*checks_of(ds), *heat], [*lacking(asked.mission), *silent])


def _seen(one: OneFlight) -> _Seen:
    return _Seen(
        one.number,
        one.branch,
        one.forced,
        fastest(one),
        bent_flight(one),
        loads_on_guides(one),
        opened_canopies(one),
        climb_acceleration(one),
        float(one.flown.summary[ly.Outcome.RAIL_DEPARTURE_MARGIN]),
    )


def checks_of(ds: xr.Dataset) -> list[Check]:
    """Return everything in a Dataset of loads that is held against a strength."""
    found: list[Check] = []
    for dim, kind, name, share, time, mach in (
        ("part", "wall", "wall of {}", "wall_share", "wall_time", "wall_mach"),
        ("joint", "joint", "{}", "joint_share", "joint_time", "joint_mach"),
        ("guide", "guide", "{}", "guide_share", "guide_time", ""),
        ("canopy", "canopy", "canopy {}", "canopy_share", "deployed_time", ""),
        ("canopy", "cord", "cord of {}", "cord_share", "deployed_time", ""),
    ):
        if share not in ds:
            continue
        for k, label in enumerate(ds[dim].values):
            one = ds[share].isel({dim: k}).values
            if np.isfinite(one).any():
                nothing = np.full(one.shape, math.nan)
                found.append(
                    Check(
                        name.format(label), kind, one, ds[time].isel({dim: k}).values if time else nothing, ds[mach].isel({dim: k}).values if mach else nothing
                    )
                )
    return found


def fins_and_skin(mission: Mission | xr.Dataset, flights: int, count: int, seed: int, laws: dict) -> tuple[list[Check], list[str]]:
    """Return the checks of flutter and of skin temperatures over the drawn flights, NaN beyond them up to `count`, and why there are none.

    Flutter: the margin demanded over the one there is. Skin: the rise above 20 degC over that which the material stands.
    """
    ensemble = mission if isinstance(mission, xr.Dataset) else fly_drawn(mission, flights, seed=seed, progress=False, **laws)
    found, silent = [], []

    def padded(values: np.ndarray) -> np.ndarray:
        return np.concatenate([values, np.full(count - len(values), math.nan)])

    try:
        fins = flutter(ensemble, failing=0, progress=False, **laws)
        for k, name in enumerate(fins["fins"].values):
            share, time, mach = (fins[column].isel(fins=k).values for column in ("flutter_reserve", "worst_time", "worst_mach"))
            found.append(Check(f"flutter of {name}", "flutter", padded(1.0 / share), padded(time), padded(mach)))
    except ValueError as error:
        silent.append(f"Nothing is told of flutter: {error}.")
    try:
        skin = skin_temperature(ensemble, failing=0, progress=False, **laws)
        for k, name in enumerate(skin["wall"].values):
            hot, time = (skin[column].isel(wall=k).values for column in ("skin_temperature", "skin_time"))
            share = (hot - WARM) / (float(skin["service_temperature"][k]) - WARM)
            found.append(Check(f"skin of {name}", "skin", padded(share), padded(time), np.full(count, math.nan)))
    except ValueError as error:
        silent.append(f"Nothing is told of skin temperatures: {error}.")
    return found, silent


def lacking(mission: Mission) -> list[str]:
    """Return what the mission does not say and the checks would need, a sentence each."""
    found = []
    unknown = [
        f"{stage.name}: {part.name or part.kind}"
        for stage in mission.stage
        for part in stage.part
        if part.kind in ("nose", "tube", "transition") and part.material is None
    ]
    if unknown:
        found.append(f"The walls of {', '.join(unknown)} say no material, so nothing is known of their strength: give material beside mass.")
    weak = [f"joint of {stage.name}" for k, stage in enumerate(mission.stage) if k and stage.joint.bending_strength is None]
    weak += [f"slip fit of {harness.canopy}" for harness in mission.harness if harness.bending_strength is None]
    if weak:
        found.append(f"{', '.join(weak)}: no bending_strength is given, so the moment is told that each must carry, and no margin.")
    if canopy_names(mission) and not mission.harness:
        found.append("The mission has no [[harness]]: what a canopy's opening does is told for the whole body, and no snatch and no charge.")
    elif any(harness.charge is None for harness in mission.harness):
        without = [harness.canopy for harness in mission.harness if harness.charge is None]
        found.append(f"No [harness.charge] is given for {', '.join(without)}: the pressure on the bulkheads there is not told.")
    if not canopy_names(mission):
        found.append("The mission has no canopy: nothing is told of deployments.")
    return found


def with_checks(ds: xr.Dataset, checks: list[Check], lacks: list[str]) -> xr.Dataset:
    """Return a Dataset of loads with its checks along `check`, the nearest to breaking first, and with what the mission lacks as attribute `lacks`."""
    ds = ds.assign_attrs(lacks="\n".join(lacks), factor=FACTOR)
    if not checks:
        return ds.assign(worst_first=((), "", {"long_name": "what is nearest to breaking"}))
    drawn = ds["forced"].values == 0

    def upper(share: np.ndarray) -> float:
        return stays_below(share[drawn], SHARE)

    order = sorted(checks, key=lambda check: -np.nan_to_num(upper(check.share), nan=-1.0))
    shares = np.array([check.share for check in order])
    filled = np.where(np.isfinite(shares), shares, -1.0)
    worst = filled.argmax(axis=1)
    dims = ("check", "flight")
    return ds.assign(
        worst_first=((), order[0].name, {"long_name": "what is nearest to breaking"}),
        check_share=(dims, shares, {"units": "1", "long_name": "load over what is carried"}),
        check_time=(dims, np.array([check.time for check in order]), {"units": "s", "long_name": "time since ignition of the largest share"}),
        check_mach=(dims, np.array([check.mach for check in order]), {"units": "1", "long_name": "Mach number at the largest share"}),
        check_95=("check", [upper(check.share) for check in order], {"units": "1", "long_name": "load over what is carried, 95 % quantile of drawn flights"}),
        check_worst=("check", filled.max(axis=1), {"units": "1", "long_name": "load over what is carried, the worst of all flights and branches"}),
        check_branch=("check", ds["branch"].values[worst], {"long_name": "branch of the worst flight"}),
        check_flight=("check", worst, {"units": "1", "long_name": "the worst flight"}),
        check_kind=("check", [check.kind for check in order], {"long_name": "kind of what is held against its strength"}),
    ).assign_coords(check=("check", [check.name for check in order], {"long_name": "what may break"}))
