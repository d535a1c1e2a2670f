"""How large a canopy: the diameter that keeps a descent speed and a drift, from the flights' own masses, air and winds."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.ensemble.request import whole
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.landing.strata import certain, uncertain
from sixdof.study.reading.result import need_table, plural, stays_below
from sixdof.study.recovery.deployment_flights import OF_CANOPY, tell
from sixdof.study.recovery.deployment_loads import canopies_asked
from sixdof.study.recovery.sizing.cures import cures_of
from sixdof.study.recovery.sizing.flights import KEEP, LANDED, Limits, crossings, diameter_for, landed, smallest_for
from sixdof.study.recovery.zipper import canopy_parts, stage_of
from sixdof.study.sweep.sweep import fly_conditions
from sixdof.study.uncertainty.statistics import check_share

SIZES = tuple(np.linspace(0.6, 1.4, 9).tolist())  # of the first guess
ROUNDS, HAIR = 4, 1e-4  # of confirming the diameter to take


def canopy_size(
    mission: Mission,
    canopy: str | Iterable[str] | None = None,
    *,
    descent_speed: float | str = "6 m/s",
    landing_energy: float | str | None = None,
    drift: float | str | None = None,
    sizes: Sequence[float] = SIZES,
    flights: int = 40,
    seed: int = 0,
    failing: int = 10,
    share: float = 0.95,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Say how large canopies must be for a descent speed at the ground, and may be for a drift, by flights of the mission with other sizes.

    A first guess is the closed form of a steady fall, S0 = 2 m g/(rho v^2 CD0) (Knacke 1992, NWC TP 6575), with the mass as it hangs (drawn, with the
    propellant of a motor that did not ignite) and the air at the ground, of the flights as written. The flights are then flown with sizes about it, always the
    same draws and the same noise: what else hangs there (airframe, drogue), the wind each flight meets, the height each canopy comes out at. The canopy's
    mass stays what it is. Flights in which it does not bring its body down count in no share of a size: no size cures that.

    Parameters
    ----------
    canopy : name, several, or None
        None: of every stage the one with the largest drag area among those that something deploys.
    descent_speed : m/s, or text
        Downwards, as the body lands, that is not to be passed.
    landing_energy : J, text such as "75 J", or None
        Of the body as it lands, its drift with the wind included, that is not to be passed; None: any.
    drift : m, text such as "400 m", or None
        Over the ground from the body's apogee to its landing, that is not to be passed; None: any.
    sizes : rising numbers
        Diameters that are flown, over the first guess; two at least.
    flights, seed : of the draws, the same for each size
    failing : int
        So many further flights with each uncertain `[[failure]]` made certain, with the diameter that is to be taken.
    share : of the flights that are to keep both
    threads, progress, guidance, control
        As in `sixdof.disperse`.

    Returns
    -------
    Dataset
        Dims `canopy`, `size`, `flight`. By size and flight: `descent_speed` (m/s), `landing_energy` (J), `drift` (m), `opened`; by size `diameter` (m),
        `speed_share` (of the flights that land under it: descent speed, and energy where that is asked for), `drift_share`, `both_share`. By canopy:
        `written_diameter`, `first_guess` (m, closed form of the descent speed), `needed_diameter` (the smallest that
        keeps the speed, NaN for none flown), `largest_diameter` (the largest that keeps the drift, inf for any, 0 for none), `taken_diameter` (the smallest
        that keeps both; where none does the needed one), `best_share`, `taken_both_share` (flown). By canopy and flight, as written (`written_...`) and with
        the diameter taken (`taken_...`): the numbers of a landing with `hanging_mass` (kg) and `ground_density` (kg/m^3); with each failure
        `failing_...` (failure, canopy, failing_flight). Where speed and drift cannot be kept together, along `cure` what was flown to keep them: its text,
        `cure_canopy`, `cure_speed_share`, `cure_drift_share`, `cure_both_share`, `cure_opened_share` and `cure_drift` (m, of 95 %).

    Raises
    ------
    TypeError, ValueError, MissionError
        For a mission without canopies, a name that is none, numbers that cannot be, a canopy under which nothing lands, and as `sixdof.disperse`.

    Examples
    --------
    >>> found = sixdof.workshop.canopy_size(mission, "main", descent_speed="6 m/s", flights=6, failing=0)
    >>> bool(0.8 < found.taken_diameter.item() < 1.6)
    True
    """
    check_mission(mission, "canopy_size")
    names = canopies_asked(mission, canopy, "canopy_size", first=False)
    limits = Limits(*(_asked(*one) for one in ((descent_speed, "m/s", "descent_speed"), (landing_energy, "J", "landing_energy"), (drift, "m", "drift"))))
    over, count = _sizes(sizes), whole(flights, "canopy_size: flights", 2)
    whole(failing, "canopy_size: failing", 0)
    check_share(share, "share")
    tell(progress, f"{plural(count)} with each of {over.size} diameters of {', '.join(names)}")
    how = {"seed": seed, "threads": threads, "progress": False, "guidance": guidance, "control": control}
    study = _Sizing(mission, names, count, how)
    written, attrs = study.fly([np.array([one.diameter for one in study.parts])])
    guess = _first_guess(study, written, limits.speed)
    at = guess[:, None] * over  # (canopies, sizes)
    flown, _ = study.fly(list(at.T))
    ds = _by_size(names, over, at, flown, limits, attrs)
    ds = ds.assign(_answers(ds, study, guess, limits, share))
    ds = ds.assign(_told(written, "written_", "as written", ("canopy", "flight"), 0))
    ds, taken = _confirmed(study, ds, limits, share)
    ds = ds.assign(_told(taken, "taken_", "with the diameter to take", ("canopy", "flight"), 0)).assign(_kept(taken, limits))
    ds = ds.assign(_failed(study, ds["taken_diameter"].values, failing))
    tell(progress and np.isfinite(limits.drift) and bool((ds["taken_both_share"] < share).any()), "what may keep both descent speed and drift")
    ds = ds.assign(cures_of(mission, study, ds, limits, share))
    said = {
        "descent_speed": limits.speed,
        "landing_energy": limits.energy,
        "drift": limits.drift,
        "share": float(share),
        "flights": count,
        "failing": int(failing),
    }
    return ds.assign_attrs({name: attrs[name] for name in ("title", "source") if name in attrs} | {"mission": mission.to_toml(), "seed": str(seed)} | said)


def need_sizes(ds: xr.Dataset, who: str) -> None:
    """Check that a Dataset is what `canopy_size` returns. Raises ValueError for another."""
    need_table(ds, who, "workshop.canopy_size", "needed_diameter", "first_guess")


# ---------------------------------------------------------------- what is asked


def _asked(value: float | str | None, unit: str, name: str) -> float:
    if value is None and name != "descent_speed":
        return np.inf
    try:
        found = parse(value, unit)
    except QuantityError as error:
        raise ValueError(f"canopy_size: {name}: {error}") from None
    if not found > 0.0:
        raise ValueError(f"canopy_size: {name} = {shown(value)} must be above 0")
    return found


def _sizes(sizes: Sequence[float]) -> np.ndarray:
    if isinstance(sizes, str) or not isinstance(sizes, Iterable):
        raise TypeError(f"canopy_size: sizes = {shown(sizes)} must be a list of diameters over the first guess, such as [0.7, 1.0, 1.3]")
    found = np.array(list(sizes), dtype=float)
    if found.size < 2 or (np.diff(found) <= 0.0).any() or not (found[0] > 0.0 and np.isfinite(found).all()):
        raise ValueError("canopy_size: sizes must be two or more diameters over the first guess, above 0 and rising")
    return found


# ---------------------------------------------------------------- flown


class _Sizing:
    """Flies a mission with diameters of some canopies, always the same draws."""

    def __init__(self, mission: Mission, names: list[str], flights: int, how: dict[str, Any]) -> None:
        self.mission, self.names, self.flights, self.how = mission, names, flights, how
        self.parts = [next(one for one in canopy_parts(mission) if one.name == name) for name in names]

    def condition(self, diameters: np.ndarray) -> dict[str, float]:
        """Return what is done to the draws so that the canopies have these diameters, m."""
        return {f"canopy.drag of {part.name}": float((d / part.diameter) ** 2) for part, d in zip(self.parts, diameters, strict=True)}

    def fly(self, diameters: list[np.ndarray], mission: Mission | None = None, more: dict[str, Any] | None = None, flights: int | None = None, first: int = 0):
        """Return the numbers of landings for each set of diameters, each (canopy, set, flight), and the attributes of the flights."""
        own = self.mission if mission is None else mission
        conditions = [self.condition(one) | (more or {}) for one in diameters]
        count = self.flights if flights is None else flights
        ds = fly_conditions(own, conditions, count, first=first, keep=None, who="canopy_size", **self.how)
        ds = ds[[name for name in (*KEEP, "status") if name in ds]]
        parts = [[landed(ds.isel(condition=k), own, name) for k in range(len(conditions))] for name in self.names]
        return {name: np.stack([[one[name] for one in row] for row in parts]) for name in (*LANDED, "opened")}, ds.attrs


def _confirmed(study: _Sizing, ds: xr.Dataset, limits: Limits, share: float) -> tuple[xr.Dataset, dict[str, np.ndarray]]:
    """Fly the diameters to take; where these are a hair too small, as lines between sizes make them, take what the flights themselves ask for."""
    for _ in range(ROUNDS):
        needed, diameters = ds["needed_diameter"].values, ds["taken_diameter"].values
        taken, _ = study.fly([np.where(np.isfinite(diameters), diameters, ds["diameter"].values[:, -1])])
        last = np.array([stays_below(one, share) for one in limits.hardness(taken)[:, 0]])
        more = np.where(np.isfinite(diameters) & (last > 1.0), last * (1.0 + HAIR), 1.0)
        if (more == 1.0).all():
            break
        grown = {name: ("canopy", values * more, ds[name].attrs) for name, values in (("taken_diameter", diameters), ("needed_diameter", needed))}
        ds = ds.assign(grown)
    return ds, taken


def _rank(share: float, count: int) -> int:
    return max(int(np.ceil(share * count - 1e-9)), 1) - 1


def _first_guess(study: _Sizing, written: dict[str, np.ndarray], speed: float) -> np.ndarray:
    """Return the closed form's diameters (canopies,), m, by the medians of masses and air at the ground of the flights as written."""
    found = []
    for k, part in enumerate(study.parts):
        mass, density = written["hanging_mass"][k, 0], written["ground_density"][k, 0]
        if not np.isfinite(mass * density).any():
            raise ValueError(f'canopy_size: in none of the flights does a body land under the canopy "{part.name}"; see the page of sixdof.disperse for why')
        found.append(diameter_for(np.nanmedian(mass), speed, part.drag_coefficient, np.nanmedian(density)))
    return np.array(found)


# ---------------------------------------------------------------- the Dataset


def _told(numbers: dict[str, np.ndarray], before: str, after: str, dims: tuple[str, ...], only: int | None = None) -> dict:
    """Return variables of landings; only : the set of diameters that is meant, None for all."""
    values = {name: one if only is None else one[:, only] for name, one in numbers.items()}
    entries = {f"{before}{name}": (dims, values[name], {"units": unit, "long_name": f"{text}, {after}"}) for name, (unit, text) in LANDED.items()}
    opened = {"units": "1", "long_name": f"whether the body lands under the canopy, {after}"}
    return entries | {f"{before}opened": (dims, values["opened"].astype(np.int8), opened)}


def _by_size(names: list[str], over: np.ndarray, at: np.ndarray, flown: dict[str, np.ndarray], limits: Limits, attrs) -> xr.Dataset:
    dims = ("canopy", "size", "flight")
    entries = _told(flown, "", "by size", dims) | _shares(flown, limits, dims[:2], "")
    entries["diameter"] = (dims[:2], at, {"units": "m", "long_name": "nominal diameter"})
    coords = {
        "canopy": ("canopy", names, {"long_name": "canopy"}),
        "size": ("size", over, {"units": "1", "long_name": "diameter over the first guess"}),
        "flight": ("flight", np.arange(flown["drift"].shape[-1]), {"long_name": "number of the flight"}),
    }
    return xr.Dataset(entries, coords)


def _shares(numbers: dict[str, np.ndarray], limits: Limits, dims: tuple[str, ...], before: str) -> dict:
    """Return the shares of the flights that opened which keep descent speed and energy, drift, and all of it; NaN of none."""
    opened = numbers["opened"].astype(bool)
    slow, near = opened & limits.soft(numbers), opened & limits.near(numbers)
    count = opened.sum(axis=-1)
    entries = {}
    for name, which in (("speed", slow), ("drift", near), ("both", slow & near)):
        share = np.divide(which.sum(axis=-1), count, out=np.full(count.shape, np.nan), where=count > 0)
        said = {"speed": "descent speed and energy", "drift": "the drift", "both": "all that is asked for"}[name]
        entries[f"{before}{name}_share"] = (dims, share, {"units": "1", "long_name": f"share of the flights that opened which keep {said}"})
    return entries


def _kept(taken: dict[str, np.ndarray], limits: Limits) -> dict:
    found = _shares(taken, limits, ("canopy", "set"), "taken_")
    return {name: (("canopy",), values[:, 0], attrs) for name, (_, values, attrs) in found.items()}


def _answers(ds: xr.Dataset, study: _Sizing, guess: np.ndarray, limits: Limits, share: float) -> dict:
    """Return which diameters keep what, of each canopy."""
    rows = []
    for k in range(len(study.names)):
        one, at = ds.isel(canopy=k), ds["diameter"].values[k]
        need = crossings(at, limits.hardness(one), 1.0, falling=True)
        allowed = crossings(at, one["drift"].values, limits.drift, falling=False)
        known = need[~np.isnan(need)]
        rank = _rank(share, known.size)
        slow = float(np.sort(known)[rank]) if known.size else np.nan
        near = float(np.sort(allowed[~np.isnan(allowed)])[::-1][rank]) if known.size else np.nan
        both, best = smallest_for(need, allowed, share)
        slow = slow if np.isfinite(slow) else np.nan
        rows.append((study.parts[k].diameter, guess[k], slow, near, both if np.isfinite(both) else slow, best))
    meant = (
        ("written_diameter", "nominal diameter as written"),
        ("first_guess", "diameter by the closed form of a steady fall under the canopy alone"),
        ("needed_diameter", "smallest diameter that keeps descent speed and energy in the share of flights asked for"),
        ("largest_diameter", "largest diameter that keeps the drift in the share of flights asked for"),
        ("taken_diameter", "diameter to take: the smallest that keeps all, or descent speed and energy where none keeps all"),
        ("best_share", "largest share of the flights that any one diameter lets keep all that is asked for"),
    )
    columns = np.array(rows).T
    entries = {name: ("canopy", column, {"units": "m", "long_name": text}) for (name, text), column in zip(meant, columns, strict=True)}
    entries["best_share"] = ("canopy", columns[-1], {"units": "1", "long_name": meant[-1][1]})
    stages = [study.mission.stage[stage_of(study.mission, name)].name for name in study.names]
    return entries | {"stage": ("canopy", stages, {"long_name": "stage that carries the canopy"})}


def _failed(study: _Sizing, diameters: np.ndarray, failing: int) -> dict:
    """Return landings with each uncertain failure made certain, with the diameters to take."""
    rows = [k for k in uncertain(study.mission) if failing and study.mission.failure[k].kind not in OF_CANOPY]
    rows += [k for k in uncertain(study.mission) if failing and study.mission.failure[k].kind in OF_CANOPY and study.mission.failure[k].of not in study.names]
    if not rows:
        return {}
    sizes = np.where(np.isfinite(diameters), diameters, [part.diameter for part in study.parts])
    flown = [study.fly([sizes], certain(study.mission, k), flights=failing, first=study.flights)[0] for k in rows]
    numbers = {name: np.stack([one[name][:, 0] for one in flown]) for name in flown[0]}
    entries = _told(numbers, "failing_", "with the failure and the diameter to take", ("failure", "canopy", "failing_flight"))
    return entries | {"failure": ("failure", [study.mission.failure[k].name for k in rows], {"long_name": "failure made certain"})}
