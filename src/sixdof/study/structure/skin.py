"""How hot does the skin get? Nose tip, bodies and leading edges along every drawn flight, against what their materials bear."""

from __future__ import annotations

import math

import numpy as np
import xarray as xr

from sixdof.mission.mission import Mission
from sixdof.mission.units import checked, shown
from sixdof.study.reading.result import QUANTILES, meaningful, mission_of
from sixdof.study.structure.flutter import ensemble_of, failing_of
from sixdof.study.structure.flutter_summary import by_branch
from sixdof.study.structure.skin_flights import Heated, heated
from sixdof.study.structure.skin_walls import TIP, Wall, walls_of
from sixdof.study.sweep.timelines import each_flight
from sixdof.vehicle.geometry import shape_of

RATE = 25.0  # Hz, of the timelines that are looked at: the film's steps are as long
TIMES = 200
LONGEST = 3.0  # times of the largest recovery temperature that bands go on for


def skin_temperature(
    mission: Mission | xr.Dataset,
    flights: int = 40,
    *,
    tip_radius: float | str | None = None,
    initial: float | str | None = None,
    failing: int = 3,
    seed: int = 0,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Return how hot the skin gets along drawn flights: nose tip, every body of revolution, the leading edge of every set of fins.

    The air's recovery temperature T (1 + r (gamma - 1)/2 M^2) drives heat through a film (Eckert's reference temperature on bodies, Sibulkin's
    stagnation point at the tip, Reshotko and Cohen's stagnation line on edges) into the wall, through which it spreads by conduction; what radiates off is
    taken away. Each flight's own speed, Mach number and air, from ignition to the ground.

    Parameters
    ----------
    mission : Mission, or an ensemble as `sixdof.disperse` returns it, which is then flown again.
    flights : drawn flights 0, 1, ... of `seed`, failures included.
    tip_radius : of the nose's tip, m or text ("3 mm"); None: a twentieth of its base's, 1.5 mm at the least.
    initial : temperature of the vehicle at ignition, K or text ("45 degC"; a dark one in the sun is 20 to 30 K above the air); None: the air's.
    failing : so many further flights with each `[[failure]]` made certain, which show what rare branches do; they count in `branch_reserve` alone.
    seed, threads, progress, guidance, control : as in `sixdof.disperse`.

    Returns
    -------
    Dataset
        Dims wall, flight. `skin_temperature` (largest, K, of the outer surface), `skin_time` (s), `wall_temperature` (largest mean through the wall),
        `recovery_temperature` (largest, K), `heat_flux` (largest, W/m^2). By flight `skin_temperature_max` and `skin_reserve` (K; the least distance of a
        surface below its material's service temperature); `branch_reserve` (branch, wall), the least by what failed. By wall: `material`,
        `service_temperature` (K), `depth` (m), `soft_share` and `hot_share` (of flights whose surface, and whose mean through the wall, passes the
        service temperature). Over `time`: `skin_band`, `wall_band`, `recovery_band` (share, wall, time), K. Notes on what is not known in the attribute
        `notes`.

    Raises
    ------
    TypeError, ValueError
        For what is no mission or ensemble, numbers that make no sense, and a vehicle of which no part says its material.
    MissionError, FlightError, LawError
        As `sixdof.disperse`.

    Examples
    --------
    >>> found = sixdof.workshop.skin_temperature(mission, 2, progress=False)
    >>> bool((found.skin_temperature < found.recovery_temperature + 1.0).all())
    True
    """
    radius = None if tip_radius is None else _quantity("tip_radius", tip_radius, "m")
    start = None if initial is None else _quantity("initial", initial, "K")
    how = {"threads": threads, "progress": progress, "guidance": guidance, "control": control}
    ensemble = ensemble_of(mission, flights, "skin_temperature", seed=seed, **how)
    own, notes = mission_of(ensemble, "skin_temperature"), []
    walls = walls_of(own, radius, notes)
    if not walls:
        raise ValueError(f"skin_temperature: {'; '.join(dict.fromkeys(notes)) or 'this vehicle has no skin'}")
    starts = shape_of(own.stage).stage_x0
    ensembles = [ensemble, *failing_of(ensemble, failing, "skin_temperature", **how)]
    found = [_flown(one, lambda flight: heated(flight, walls, starts, start), how) for one in ensembles]
    ds = _dataset(walls, ensemble, found[0])
    hottest = np.array([_surface(one, len(walls)) for more in found for one in more])
    names = [str(name) for one in ensembles for name in one["branch"].values]
    ds = ds.assign(by_branch(names, ds["service_temperature"].values - hottest, "branch_reserve", "wall", "K"))
    tip = next((wall.radius for wall in walls if wall.kind == TIP), math.nan)
    attrs = {"title": own.title, "mission": ensemble.attrs["mission"], "seed": str(ensemble.attrs.get("seed", seed)), "flights": len(found[0])}
    attrs |= {"tip_radius": tip, "tip_assumed": int(radius is None), "initial": math.nan if start is None else start, "notes": "\n".join(notes)}
    return ds.assign_attrs(attrs)


def _flown(ensemble: xr.Dataset, function, how: dict) -> list[Heated | None]:
    """Return what every flight of an ensemble does to the skin, None of one that says nothing."""
    found = each_flight(ensemble, function, rate=RATE, **how)
    return [one if told else None for one, told in zip(found, meaningful(ensemble), strict=True)]


def _surface(one: Heated | None, count: int) -> np.ndarray:
    return np.full(count, np.nan) if one is None else one.surface.max(axis=0)


def _quantity(name: str, value, unit: str) -> float:
    from pydantic_core import PydanticCustomError

    try:
        return checked(value, unit, above=0.0)
    except PydanticCustomError as error:
        raise ValueError(f"skin_temperature: {name} = {shown(value)}: {error.message()}") from None


def _dataset(walls: list[Wall], ensemble: xr.Dataset, found: list[Heated | None]) -> xr.Dataset:
    none = np.full(len(walls), np.nan)
    names = {
        "skin_temperature": (lambda one: one.surface.max(axis=0), "K", "largest temperature of the surface"),
        "skin_time": (lambda one: one.time[one.surface.argmax(axis=0)], "s", "time of the largest temperature of the surface"),
        "wall_temperature": (lambda one: one.mean.max(axis=0), "K", "largest mean temperature through the wall"),
        "recovery_temperature": (lambda one: one.recovery.max(axis=0), "K", "largest recovery temperature of the air"),
        "heat_flux": (lambda one: one.flux.max(axis=0), "W m-2", "largest heat flux from the air"),
    }
    entries = {
        name: (("flight", "wall"), np.array([none if one is None else make(one) for one in found]), {"units": units, "long_name": text})
        for name, (make, units, text) in names.items()
    }
    service = np.array([wall.service_temperature for wall in walls])
    surface, mean = entries["skin_temperature"][1], entries["wall_temperature"][1]
    known = np.isfinite(surface).all(axis=1)
    entries |= {
        "skin_temperature_max": ("flight", np.where(known, surface.max(axis=1), np.nan), {"units": "K", "long_name": "largest skin temperature"}),
        "skin_reserve": (
            "flight",
            np.where(known, (service - surface).min(axis=1), np.nan),
            {"units": "K", "long_name": "least distance of the skin below the service temperature of its material"},
        ),
        "material": ("wall", [wall.material for wall in walls], {"long_name": "material"}),
        "service_temperature": ("wall", service, {"units": "K", "long_name": "service temperature of the material"}),
        "depth": ("wall", [wall.depth for wall in walls], {"units": "m", "long_name": "thickness of what takes up heat"}),
    }
    for name, values, text in (("soft_share", surface, "whose surface passes"), ("hot_share", mean, "whose wall passes, on average through it,")):
        share = (values[known] > service).mean(axis=0) if known.any() else none
        entries[name] = ("wall", share, {"units": "1", "long_name": f"share of flights {text} the service temperature"})
    entries |= _bands([one for one in found if one is not None], len(walls))
    entries["flight_branch"] = ("flight", ensemble["branch"].values.astype(str), {"units": "1", "long_name": "failures of the flight, joined by +, or nominal"})
    coords = {
        "flight": ("flight", ensemble["flight"].values),
        "wall": ("wall", [wall.name for wall in walls], {"long_name": "place of the skin"}),
        "share": ("share", list(QUANTILES), {"long_name": "quantile"}),
    }
    return xr.Dataset(entries, coords)


def _bands(found: list[Heated], count: int) -> dict:
    """Return quantiles of the temperatures over time, to some time after the air was hottest."""
    hottest = [float(one.time[one.recovery.max(axis=1).argmax()]) for one in found]
    grid = np.linspace(0.0, LONGEST * max(float(np.median(hottest)) if hottest else 1.0, 1.0), TIMES)
    texts = {"skin_band": ("surface", "temperature of the surface"), "wall_band": ("mean", "mean temperature through the wall")}
    texts["recovery_band"] = ("recovery", "recovery temperature of the air")
    bands = {}
    for name, (field, text) in texts.items():
        values = np.full((len(QUANTILES), count, TIMES), np.nan)
        for k in range(count):
            rows = [np.interp(grid, one.time, getattr(one, field)[:, k]) for one in found]
            if rows:
                values[:, k] = np.quantile(rows, QUANTILES, axis=0)
        bands[name] = (("share", "wall", "time"), values, {"units": "K", "long_name": f"{text}, quantiles of the flights"})
    return bands | {"time": ("time", grid, {"units": "s", "long_name": "time since ignition"})}


# ---------------------------------------------------------------- measures


def skin_temperature_max(ds: xr.Dataset) -> np.ndarray:
    """Return the measure of an ensemble: largest skin temperature, K, (flights,)."""
    return skin_temperature(ds, progress=False)["skin_temperature_max"].values


def skin_reserve(ds: xr.Dataset) -> np.ndarray:
    """Return the measure of an ensemble: least distance of the skin below its material's service temperature, K, (flights,)."""
    return skin_temperature(ds, progress=False)["skin_reserve"].values
