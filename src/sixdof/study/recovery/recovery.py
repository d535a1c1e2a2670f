"""The whole recovery in one call: what breaks as flown, canopies, deployment, charges and harnesses, triggers; over all branches of failures."""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterable
from typing import Any

import numpy as np
import xarray as xr

from sixdof.ensemble.request import whole
from sixdof.mission.errors import MissionError, suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.results.status import Descent
from sixdof.study.landing.strata import fly_failing, strata_of, strata_share, stratum_of
from sixdof.study.reading.result import came_down, fact, meaningful, need_table, outcomes, plural
from sixdof.study.recovery.deployment import deployment
from sixdof.study.recovery.ejection.charge import LOAD_SHARE, charge
from sixdof.study.recovery.sizing.canopy_size import canopy_size
from sixdof.study.recovery.triggers.windows import trigger_windows
from sixdof.study.sweep.sweep import fly_drawn
from sixdof.study.uncertainty.statistics import check_share

PARTS = ("charge", "size", "deployment", "windows")  # besides the flights as they are; each a study of its own
FLOWN = "flown"
MOST = {"size": 40, "deployment": 30, "windows": 60}  # flights of each condition: they fly many
TROUBLES = ("a harness breaks by its load", "a canopy is torn off by its load", "a piece comes down without a canopy")
CONFIDENCE = 0.9


def recovery(
    mission: Mission,
    flights: int = 200,
    *,
    descent_speed: float | str = "6 m/s",
    drift: float | str | None = None,
    failing: int = 10,
    load_share: float | str = LOAD_SHARE,
    share: float = 0.95,
    parts: str | Iterable[str] = PARTS,
    seed: int = 0,
    threads: int | None = None,
    progress: bool = False,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Look at a mission's recovery as a whole: what breaks, and what to change.

    The flights as drawn, and further ones with each failure made certain, say what breaks by its load and what comes down without a canopy; then each of
    `charge`, `canopy_size`, `deployment` and `trigger_windows` is asked. What a mission does not say (no harness, no charge) is told on the page, and the rest
    is done all the same.

    Parameters
    ----------
    flights : of the ensemble and of the harnesses' loads; studies that fly many conditions take 30 to 60 at most of each
    descent_speed, drift : as in `canopy_size`
    failing : int
        So many further flights with each uncertain `[[failure]]` made certain, weighted by its probability.
    load_share : share of a strength that loads are to stay below; 50 %, a factor of 2, is common practice
    share : of the flights in which they are to, and in which descent speed and drift are to be kept
    parts : of "charge", "size", "deployment", "windows"; those that are asked
    seed, threads, progress, guidance, control
        As in `sixdof.disperse`; with custom laws trigger windows cannot be told.

    Returns
    -------
    Dataset
        By branch of the flights as drawn and with failures made certain: `branch_flights`, and how many have each trouble, `branch_troubles` (branch, trouble).
        By trouble its share of all flights by the probabilities of the failures, `trouble_share`, `trouble_low`, `trouble_high`. The parts' own Datasets with
        their names behind the part's ("charge_least_mass"); `sixdof.workshop.recovery_part` takes one out again. `lacking` (part): what cannot be told.

    Raises
    ------
    TypeError, ValueError, MissionError
        For a mission without a canopy, a part that there is not, numbers that cannot be, and as `sixdof.disperse`.

    Examples
    --------
    >>> found = sixdof.workshop.recovery(stack, 6, failing=0, parts="charge")
    >>> found.trouble_share.dims
    ('trouble',)
    """
    check_mission(mission, "recovery")
    if not any(part.kind == "parachute" for stage in mission.stage for part in stage.part):
        raise ValueError('recovery: the mission has no parachute; give a stage a part of kind = "parachute" and a [[recovery]] that deploys it')
    count, asked = whole(flights, "recovery: flights", 2), _asked(parts)
    whole(failing, "recovery: failing", 0)
    check_share(share, "share")
    speed, limit = _above("descent_speed", descent_speed, "m/s"), _above("load_share", load_share, "1", most=1.0)
    far = None if drift is None else _above("drift", drift, "m")
    how = {"seed": seed, "threads": threads, "progress": progress}
    laws = {"guidance": guidance, "control": control}
    common = {"failing": failing, "share": share, **how, **laws}
    held = {**common, "load_share": limit}
    studies: dict[str, Callable[[], xr.Dataset]] = {
        "charge": lambda: charge(mission, flights=count, **held),
        "size": lambda: canopy_size(mission, descent_speed=speed, drift=far, flights=min(count, MOST["size"]), **common),
        "deployment": lambda: deployment(mission, flights=min(count, MOST["deployment"]), **held),
        "windows": lambda: _windows(mission, min(count, MOST["windows"]), how, laws),
    }
    found = _as_flown(mission, count, failing, {**how, **laws})
    lacking = {}
    for part in asked:
        try:
            found = found.merge(_packed(part, studies[part]()), combine_attrs="no_conflicts")
        except MissionError:
            raise
        except ValueError as error:  # what was asked is checked above: this is what the mission lacks
            lacking[part] = str(error)
    entry = ("part", [lacking.get(part, "") for part in asked], {"long_name": "what cannot be told, and why"})
    told = {"load_share": limit, "share": float(share), "flights": count, "failing": int(failing)}
    return found.assign(lacking=entry).assign_coords(part=("part", list(asked), {"long_name": "study"})).assign_attrs(told)


def need_recovery(ds: xr.Dataset, who: str) -> None:
    """Check that a Dataset is what `recovery` returns. Raises ValueError for another."""
    need_table(ds, who, "workshop.recovery", "trouble_share", "branch_troubles", "lacking")


def _asked(parts) -> list[str]:
    asked = [parts] if isinstance(parts, str) else list(parts)
    for part in asked:
        if part not in PARTS:
            raise ValueError(f"recovery: there is no part {shown(part)}; {suggestion(str(part), PARTS, 'parts')}")
    return [part for part in PARTS if part in asked]


def _above(name: str, value: float | str, unit: str, *, most: float = math.inf) -> float:
    """Return a quantity in SI. Raises ValueError for one that cannot be read, is not above 0, or is above `most`."""
    try:
        found = float(parse(value, unit))
    except QuantityError as error:
        raise ValueError(f"recovery: {name}: {error}") from None
    if not 0.0 < found <= most:
        raise ValueError(f"recovery: {name} = {shown(value)} must be above 0{f' and at most {most:g}' if math.isfinite(most) else ''}")
    return found


def _windows(mission: Mission, flights: int, how: dict, laws: dict) -> xr.Dataset:
    if any(law is not None for law in laws.values()):
        raise ValueError("trigger_windows flies the built-in laws alone")
    return trigger_windows(mission, flights, **how)


# ---------------------------------------------------------------- as flown


def _as_flown(mission: Mission, flights: int, failing: int, how: dict) -> xr.Dataset:
    """Return what breaks and what falls in the flights as they are, by branch and over all of them."""
    own = fly_drawn(mission, flights, **how)
    ensembles = [own, *(fly_failing(mission, failing, first=flights, **how) if failing else [])]
    troubles = np.concatenate([_troubles(one) for one in ensembles])
    branch = np.concatenate([one["branch"].values.astype(str) for one in ensembles])
    stratum = np.concatenate([stratum_of(one, mission) for one in ensembles])
    flew = np.concatenate([meaningful(one) for one in ensembles])
    if not flew.any():
        raise ValueError(f"recovery: none of {plural(flew.size)} leaves the rail, so there is nothing to recover; choose a stronger motor")
    weights = strata_of(mission).weights
    shares = [strata_share(which & flew, stratum, weights, CONFIDENCE) for which in troubles.T]
    names = sorted(set(branch[flew]), key=lambda name: (name != "nominal", -np.sum(branch == name), name))
    entries = {
        "branch_flights": (("branch",), [int(np.sum(flew & (branch == name))) for name in names], {"units": "1", "long_name": "flights of the branch"}),
        "branch_troubles": (
            ("branch", "trouble"),
            [troubles[flew & (branch == name)].sum(axis=0) for name in names],
            {"units": "1", "long_name": "flights of the branch with a trouble"},
        ),
    }
    for end, text in (("estimate", "trouble_share"), ("low", "trouble_low"), ("high", "trouble_high")):
        values = [float(getattr(one, end)) for one in shares]
        entries[text] = (("trouble",), values, {"units": "1", "long_name": "share of all flights with a trouble, by the failures' probabilities"})
    margins = np.concatenate([outcomes(one, "rail_departure_margin") for one in ensembles])
    entries["departure_margin"] = (("flown_flight",), margins, {"units": "1", "long_name": "static margin at rail departure, calibres"})
    coords = {"branch": ("branch", names, {"long_name": "branch"}), "trouble": ("trouble", list(TROUBLES), {"long_name": "trouble"})}
    attrs = {name: own.attrs[name] for name in ("title", "source", "mission") if name in own.attrs} | {"seed": str(how["seed"]), "left": int(flew.sum())}
    return xr.Dataset(entries, coords, attrs)


def _troubles(ds: xr.Dataset) -> np.ndarray:
    """Return which flights have each of TROUBLES, bool (flights, troubles). What was drawn to fail is no load's doing."""
    torn = [np.zeros(ds.sizes["flight"], dtype=bool) for _ in range(2)]
    for name in ds["failure"].values if "failure" in ds.dims else ():
        kind = str(name).partition(":")[0]
        if kind in ("harness_breaks", "canopy_lost"):
            drawn = ds["failure_drawn"].sel(failure=name).values > 0 if "failure_drawn" in ds and name in ds["failure"].values else False
            torn[kind == "canopy_lost"] |= (ds["failure_happened"].sel(failure=name).values > 0) & ~np.asarray(drawn)
    falls = np.zeros(ds.sizes["flight"], dtype=bool)
    for body in range(ds.sizes["body"]):
        falls |= came_down(ds, body) & (fact(ds, "descent", body) != Descent.UNDER_CANOPY)
    return np.stack([*torn, falls & meaningful(ds)], axis=1)


# ---------------------------------------------------------------- parts of one Dataset


def _packed(part: str, ds: xr.Dataset) -> xr.Dataset:
    """Return a part's Dataset under names that begin with the part's; its attributes as text."""
    attrs = {key: value for key, value in ds.attrs.items() if key not in ("mission", "title", "source")}
    plain = {key: value.item() if isinstance(value, np.generic) else value for key, value in attrs.items()}
    names = {name: f"{part}_{name}" for name in {*ds.dims, *ds.variables}}
    return ds.rename(names).drop_attrs(deep=False).assign_attrs({f"{part}_attributes": json.dumps(plain)})


def recovery_part(ds: xr.Dataset, part: str) -> xr.Dataset:
    """Return one part of what `recovery` returned as the study of its own would have returned it, for its page and its figures.

    part : "charge", "size", "deployment" or "windows".

    Raises
    ------
    ValueError
        For another Dataset, and for a part that it does not hold, with what was lacking.

    Examples
    --------
    >>> found = sixdof.workshop.recovery(stack, 6, failing=0, parts="charge")
    >>> str(sixdof.report(sixdof.workshop.recovery_part(found, "charge"))).splitlines()[4]
    'drogue'
    """
    need_recovery(ds, "recovery_part")
    if part not in PARTS:
        raise ValueError(f"recovery_part: there is no part {shown(part)}; {suggestion(str(part), PARTS, 'parts')}")
    if f"{part}_attributes" not in ds.attrs:
        asked = part in ds["part"].values
        raise ValueError(f"recovery_part: {ds['lacking'].sel(part=part).item() if asked else f'{part} was not asked for; parts={shown(part)} asks'}")
    first = f"{part}_"
    own = ds[[name for name in ds.variables if str(name).startswith(first) and str(name) not in ds.dims]]
    own = own.drop_vars([name for name in own.coords if not str(name).startswith(first)])
    attrs: dict[str, Any] = json.loads(ds.attrs[f"{part}_attributes"])
    attrs |= {key: ds.attrs[key] for key in ("title", "source", "mission") if key in ds.attrs}
    renamed = own.rename({name: str(name).removeprefix(first) for name in {*own.dims, *own.variables}})
    return renamed.drop_attrs(deep=False).assign_attrs({key: math.inf if value == "inf" else value for key, value in attrs.items()})
