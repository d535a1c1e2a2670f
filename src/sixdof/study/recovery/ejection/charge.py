"""Ejection charges: do the pins hold in flight, does the charge shear them, does the harness survive it, which mass of powder does both."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import xarray as xr

from sixdof.ensemble.request import whole
from sixdof.flight.harness import Ejector, ejection_impulse, ejector_of, hanging_pieces, harness_stage
from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.landing.strata import certain, uncertain
from sixdof.study.reading.result import drawn_factor, event_values, meaningful, need_table
from sixdof.study.recovery.deployment_flights import load_share_of, unbreakable
from sixdof.study.recovery.ejection.harness_loads import FACTORS, HarnessLoads, broken_share, harness_names, loads_of, needed_factors
from sixdof.study.recovery.ejection.masses import STEPS, Masses, held, largest_impulse, mass_grid, masses_of, unit_snatch
from sixdof.study.recovery.ejection.pins import Pulled, pulled
from sixdof.study.sweep.sweep import fly_drawn
from sixdof.study.sweep.timelines import each_flight
from sixdof.study.uncertainty.statistics import check_share
from sixdof.world.sounding import air_over

LOAD_SHARE = 0.5  # of the harness's strength: a factor of safety of 2, common practice for recovery gear
PULL_RATE = 20.0  # Hz, of the timelines that pins are looked at along
TRADES = ("strength", "length", "stiffness")


def charge(
    mission: Mission,
    harness: str | Iterable[str] | None = None,
    *,
    charge_mass: Sequence[float | str] | None = None,
    flights: int = 200,
    failing: int = 10,
    load_share: float | str = LOAD_SHARE,
    share: float = 0.95,
    seed: int = 0,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Say of every ejection whether the pins hold in flight, whether the charge shears them, and whether the harness survives.

    The bay's pressure is that of an ideal gas, all of the powder burnt before anything moves; the gas then pushes the pieces apart over the coupler's
    length, against the air and friction, leaking through the bay's holes. The harness stops them as a spring, F = v sqrt(k m) exactly: the kernel's
    `snatch_load`, of the pieces that hang in each flight, over the strength drawn. Harnesses and canopies hold whatever comes here, so that loads
    beyond their strength are seen.

    Parameters
    ----------
    harness : name of its canopy, several, or None for all
    charge_mass : kg, or text
        Masses of powder that are looked at: two are the ends of a range. None: all that matters.
    flights, seed : of the draws
    failing : int
        So many further flights for each uncertain `[[failure]]`, with it made certain: what a harness carries in rare branches.
    load_share : share of the harness's strength that loads are to stay below; 50 %, a factor of 2, is common practice
    share : of the flights in which they are to
    threads, progress, guidance, control
        As in `sixdof.disperse`.

    Returns
    -------
    Dataset
        By harness: `charge_mass` as written, `least_mass` (shears the strongest pins), `largest_mass` (snatch below `load_share` in `share` of the flights),
        `breaking_mass` (breaks the harness in more than 1 - share of them), `advised_mass`, kg, and `advised_strength` (N) of the harness with it;
        `bay_pressure` over the air's, Pa; `bay_force`,
        `pin_strength_low`, `pin_strength_high` of all pins, `friction`, N; `separation_speed`, m/s; `impulse`, N s, and `impulse_aloft` in the air of the
        flights' own ejections; `largest_impulse`, `breaking_impulse`; `broken`, the share of flights that break it. NaN without a charge's table.
        By harness and flight: `snatch_load`, `opening_share_load`, `harness_load`, `strength_drawn` (N), `harness_load_share`, `pin_pull`, `pin_pull_air` (N,
        largest before the ejection), `ejection_altitude` (m above the sea). With each failure `failing_load_share` (failure, harness, failing_flight).
        By harness and step: `step_mass`, `step_pressure`, `step_force`, `step_speed`, `step_impulse`, `step_held` (share of pins that hold), `step_above`
        (share of flights whose snatch is above `load_share`), `step_broken`.
        By harness, trade ("strength", "length", "stiffness") and factor: `trade_broken`; `needed_factor`, `safe_factor` (harness, trade) for strength as it
        is, and for `load_share` of it. `lacks` (harness): what cannot be told.

    Raises
    ------
    TypeError, ValueError, MissionError
        For a mission without a harness, a name that is none, numbers that cannot be, and as `sixdof.disperse`.

    Examples
    --------
    >>> found = sixdof.workshop.charge(stack, "drogue", flights=6, failing=0)
    >>> bool(found.least_mass[0] < found.charge_mass[0] < found.largest_mass[0])
    True
    """
    check_mission(mission, "charge")
    names = _asked(mission, harness)
    count, limit, asked = whole(flights, "charge: flights", 2), load_share_of(load_share, "charge"), _grid(charge_mass)
    whole(failing, "charge: failing", 0)
    check_share(share, "share")
    how = {"threads": threads, "progress": progress, "guidance": guidance, "control": control}
    whole_gear = unbreakable(mission, [part.name for stage in mission.stage for part in stage.part if part.kind == "parachute"])
    ds = fly_drawn(whole_gear, count, seed=seed, **how)
    numbers = [harness_names(mission).index(name) for name in names]
    laws = {"guidance": guidance, "control": control}
    pulls = each_flight(ds, pulled(whole_gear, numbers), rate=PULL_RATE, threads=threads, **laws)
    rows = [_one(mission, number, ds, [pull[k] for pull in pulls], asked, limit, share) for k, number in enumerate(numbers)]
    found = xr.Dataset({name: (("harness", *rows[0][name][0]), np.stack([row[name][1] for row in rows]), rows[0][name][2]) for name in rows[0]})
    found = found.merge(_failing(mission, whole_gear, numbers, failing, count, seed, how))
    coords = {"harness": ("harness", names, {"long_name": "harness, by its canopy"}), "flight": ds["flight"], "trade": ("trade", list(TRADES))}
    coords |= {"factor": ("factor", FACTORS, {"units": "1", "long_name": "factor on strength, length or stiffness"})}
    told = {"flights": count, "failing": int(failing), "load_share": limit, "share": float(share), "seed": str(seed), "mission": mission.to_toml()}
    return found.assign_coords(coords).assign_attrs({name: ds.attrs[name] for name in ("title", "source") if name in ds.attrs} | told)


def need_charge(ds: xr.Dataset, who: str) -> None:
    """Check that a Dataset is what `charge` returns. Raises ValueError for another."""
    need_table(ds, who, "workshop.charge", "least_mass", "step_broken", "trade_broken")


# ---------------------------------------------------------------- what is asked


def _asked(mission: Mission, harness) -> list[str]:
    known = harness_names(mission)
    if not known:
        raise ValueError(
            "charge: the mission has no [[harness]], so that nothing says where a charge separates the airframe; `sixdof keys harness` explains it"
        )
    asked = known if harness is None else [harness] if isinstance(harness, str) else list(harness)
    for name in asked:
        if name not in known:
            raise ValueError(f"charge: there is no harness {shown(name)}; {suggestion(str(name), known, 'harnesses, by their canopies')}")
    return list(dict.fromkeys(asked))


def _grid(masses: Sequence[float | str] | None) -> tuple[float, ...] | None:
    if masses is None:
        return None
    if isinstance(masses, str) or not isinstance(masses, Iterable):
        raise TypeError(f'charge: charge_mass = {shown(masses)} must be a list of masses, such as ["0.3 g", "1 g"]')
    try:
        found = tuple(float(parse(one, "kg")) for one in masses)
    except QuantityError as error:
        raise ValueError(f"charge: charge_mass: {error}") from None
    if len(found) < 2 or not all(0.0 < a < b for a, b in zip(found, found[1:])) or found[-1] > 0.1:
        raise ValueError('charge: charge_mass must be two or more rising masses above 0 and below 100 g, such as ["0.3 g", "1 g"]')
    return found


# ---------------------------------------------------------------- one harness

_NONE = math.nan


def _one(mission: Mission, number: int, ds: xr.Dataset, pulls: list[Pulled], asked, limit: float, share: float) -> dict:
    """Return name: (dims besides harness, values, attributes) of one harness."""
    harness, name = mission.harness[number], mission.harness[number].canopy
    loads = loads_of(ds, mission, number)
    unit = unit_snatch(mission, number, loads, *(drawn_factor(ds, f"harness_{key}", "harness", name) for key in ("stiffness", "impulse")))
    safe, breaking = (largest_impulse(unit, loads.strength, share, part) for part in (limit, 1.0))
    found = {
        "impulse": ((), ejection_impulse(mission, number), _said("N s", "impulse of the ejection, as flown")),
        "largest_impulse": ((), safe, _said("N s", "largest impulse whose snatch stays below the share of the strength")),
        "breaking_impulse": ((), breaking, _said("N s", "impulse whose snatch breaks the harness in more flights than may be")),
        "broken": ((), broken_share(loads), _said("1", "share of the flights with its canopy out in which the harness breaks")),
        "strength_nominal": ((), harness.strength, _said("N", "strength of the harness as written")),
        "length_nominal": ((), harness.length, _said("m", "length of the harness as written")),
        "stiffness_nominal": ((), harness.stiffness, _said("N", "stiffness of the harness as written")),
        "reduced_mass": ((), _reduced(*hanging_pieces(mission, number)), _said("kg", "reduced mass of the pieces, nominal")),
    }
    altitude = _altitude(ds, mission, number)
    found |= _flights(loads, pulls, altitude)
    found |= _trades(loads, share, limit)
    found["lacks"] = ((), _lacks(harness), {"long_name": "lacking"})
    return found | _charged(mission, number, loads, unit, asked, (safe, breaking), share, limit, altitude)


def _said(units: str, text: str) -> dict:
    return {"units": units, "long_name": text}


def _reduced(fore: float, aft: float) -> float:
    return fore * aft / (fore + aft) if fore > 0.0 and aft > 0.0 else 0.0


def _altitude(ds: xr.Dataset, mission: Mission, number: int) -> np.ndarray:
    stage = harness_stage(mission, number)
    at = event_values(ds, f"deployment {mission.harness[number].canopy}", "height", body=stage)
    return np.where(meaningful(ds), at, np.nan) + mission.site.altitude


def _flights(loads: HarnessLoads, pulls: list[Pulled], altitude: np.ndarray) -> dict:
    dims = ("flight",)
    return {
        "snatch_load": (dims, loads.snatch, _said("N", "load of the harness as the ejection throws the pieces apart")),
        "opening_share_load": (dims, loads.opening, _said("N", "the harness's part of the opening load")),
        "harness_load": (dims, loads.peak, _said("N", "largest load of the harness")),
        "strength_drawn": (dims, loads.strength, _said("N", "strength of the harness as drawn")),
        "harness_load_share": (dims, loads.share, _said("1", "largest load of the harness over its strength")),
        "pin_pull": (dims, np.array([one.both for one in pulls]), _said("N", "largest pull on the pins before the ejection")),
        "pin_pull_air": (dims, np.array([one.air for one in pulls]), _said("N", "largest force of air shut up in the bay before the ejection")),
        "pin_pull_time": (dims, np.array([one.time for one in pulls]), _said("s", "time of the largest pull on the pins")),
        "ejection_altitude": (dims, altitude, _said("m", "altitude of the ejection above the sea")),
    }


def _trades(loads: HarnessLoads, share: float, limit: float) -> dict:
    broken = [[broken_share(loads, **{trade: factor}) for factor in FACTORS] for trade in TRADES]
    tighter = loads._replace(strength=limit * loads.strength)
    needed, safe = (needed_factors(one, share) for one in (loads, tighter))
    words = "factor on strength, length or stiffness with which"
    return {
        "trade_broken": (("trade", "factor"), np.array(broken), _said("1", "share of the flights in which the harness breaks")),
        "needed_factor": (("trade",), np.array([needed[trade] for trade in TRADES]), _said("1", f"{words} it holds in enough flights")),
        "safe_factor": (("trade",), np.array([safe[trade] for trade in TRADES]), _said("1", f"{words} its load stays below the share of its strength")),
    }


_STEPS = {
    "step_mass": ("kg", "mass of powder"),
    "step_pressure": ("Pa", "pressure in the bay over the air's"),
    "step_force": ("N", "force of the bay's pressure on either piece"),
    "step_speed": ("m/s", "speed of the pieces apart"),
    "step_impulse": ("N s", "impulse of the ejection"),
    "step_held": ("1", "share of pins, evenly between low and high, that hold"),
    "step_above": ("1", "share of the flights whose snatch is above the share of the strength"),
    "step_broken": ("1", "share of the flights whose snatch breaks the harness"),
}
_WRITTEN = {
    "charge_mass": ("kg", "mass of powder as written"),
    "least_mass": ("kg", "mass of powder that shears the strongest pins"),
    "largest_mass": ("kg", "mass of powder whose snatch stays below the share of the strength"),
    "breaking_mass": ("kg", "mass of powder whose snatch breaks the harness in more flights than may be"),
    "advised_mass": ("kg", "mass of powder advised"),
    "advised_strength": ("N", "strength of the harness that bears the advised mass"),
    "bay_area": ("m^2", "section of the bay"),
    "bay_volume": ("m^3", "free volume of the bay"),
    "bay_pressure": ("Pa", "pressure in the bay over the air's"),
    "bay_force": ("N", "force of the bay's pressure on either piece"),
    "pin_strength_low": ("N", "least force that all pins hold"),
    "pin_strength_high": ("N", "largest force that all pins hold"),
    "friction": ("N", "friction of the coupler"),
    "separation_speed": ("m/s", "speed of the pieces apart"),
    "leaked": ("1", "share of the gas that leaks before the pieces are apart"),
    "impulse_aloft": ("N s", "impulse of the ejection in the air where flights have it, median"),
}


def _stronger(ejector: Ejector, mass: float, loads: HarnessLoads, unit: np.ndarray, share: float, limit: float) -> float:
    """Return the factor on a harness's strength with which its load stays below a share of it in enough flights, with another mass of powder."""
    snatch = ejector.fire(mass).impulse * unit
    other = loads._replace(snatch=snatch, peak=np.fmax(snatch, loads.opening), strength=limit * loads.strength)
    return needed_factors(other, share)["strength"]


def _charged(mission: Mission, number: int, loads, unit, asked, bounds: tuple[float, float], share: float, limit: float, altitude: np.ndarray) -> dict:
    ejector = ejector_of(mission, number)
    size = STEPS if asked is None or len(asked) == 2 else len(asked)
    if ejector is None:
        values = dict.fromkeys(_WRITTEN, _NONE)
        steps = {name: np.full(size, _NONE) for name in _STEPS}
    else:
        masses = masses_of(ejector, *bounds)
        values = _written(mission, ejector, masses, altitude)
        steps = _steps(ejector, mass_grid(asked, masses, ejector.charge.mass), unit, loads.strength, limit)
        values["advised_strength"] = mission.harness[number].strength * _stronger(ejector, masses.advised, loads, unit, share, limit)
    entries = {name: ((), float(values[name]), _said(*about)) for name, about in _WRITTEN.items()}
    return entries | {name: (("step",), steps[name], _said(*about)) for name, about in _STEPS.items()}


def _written(mission: Mission, ejector: Ejector, masses: Masses, altitude: np.ndarray) -> dict[str, float]:
    found = ejector.fire()
    values = {"charge_mass": ejector.charge.mass, "bay_area": ejector.bay.area, "bay_volume": ejector.bay.volume, "leaked": found.leaked}
    values |= {f"{name}_mass": mass for name, mass in masses._asdict().items()}
    values |= {"bay_pressure": found.pressure, "bay_force": found.force, "friction": found.friction, "separation_speed": found.speed}
    values |= {"pin_strength_low": found.pins[0], "pin_strength_high": found.pins[1], "impulse_aloft": math.nan}
    if np.isfinite(altitude).any():
        air, _ = air_over(mission, np.array([np.nanmedian(altitude)]))
        values["impulse_aloft"] = ejector.fire(air=(float(air.pressure[0]), float(air.density[0]))).impulse
    return values


def _steps(ejector: Ejector, grid: np.ndarray, unit: np.ndarray, strength: np.ndarray, limit: float) -> dict[str, np.ndarray]:
    each = [ejector.fire(float(mass)) for mass in grid]
    unit, strength = unit[np.isfinite(unit)], strength[np.isfinite(unit)]
    above, broken = ([float(np.mean(one.impulse * unit > part * strength)) if unit.size else _NONE for one in each] for part in (limit, 1.0))
    rows = {"step_mass": grid, "step_above": above, "step_broken": broken, "step_held": [held(one) for one in each]}
    rows |= {f"step_{name}": [getattr(one, name) for one in each] for name in ("pressure", "force", "speed", "impulse")}
    return {name: np.asarray(values, dtype=float) for name, values in rows.items()}


def _lacks(harness) -> str:
    if harness.charge is None:
        return f'the harness of "{harness.canopy}" has no charge table: its impulse is taken as written, and pressure, pins and powder cannot be told'
    return ""


# ---------------------------------------------------------------- failures


def _failing(mission: Mission, whole_gear: Mission, numbers: list[int], failing: int, first: int, seed: int, how: dict) -> xr.Dataset:
    """Return what the harnesses carry, over their strength, with each uncertain failure made certain; {} for none."""
    chosen = uncertain(whole_gear) if failing else []
    if not chosen:
        return xr.Dataset()
    flown = [fly_drawn(certain(whole_gear, k), failing, first=first + i * failing, seed=seed, **how) for i, k in enumerate(chosen)]
    rows = np.stack([np.stack([loads_of(one, mission, number).share for number in numbers]) for one in flown])
    attrs = _said("1", "largest load of the harness over its strength, with a failure made certain")
    names = [whole_gear.failure[k].name for k in chosen]
    return xr.Dataset(
        {"failing_load_share": (("failure", "harness", "failing_flight"), rows, attrs)}, {"failure": ("failure", names, {"long_name": "failure"})}
    )
