"""When a canopy may come out: loads of deployments from seconds before to seconds after apogee, and the window in which they stay low."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any

import numpy as np
import xarray as xr

from sixdof.draws.table import make_draws
from sixdof.ensemble.request import whole
from sixdof.ensemble.run import fly_rows
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.study.landing.strata import certain, uncertain
from sixdof.study.reading.result import event_values, need_table, plural
from sixdof.study.recovery.deployment_flights import OF_CANOPY, TimedFlights, load_share_of, tell, unbreakable
from sixdof.study.recovery.deployment_loads import INDICES, SHARES, TIMED, canopies_asked, deployment_loads, waiting_for_apogee
from sixdof.study.recovery.zipper import canopy_parts, harness_of, stage_of, why_no_index
from sixdof.study.uncertainty.statistics import check_share

OFFSETS = tuple(np.arange(-3.0, 5.01, 0.5).tolist())  # s about apogee
LOAD_SHARE = 0.5  # of a strength: a factor of safety of 2, common practice for recovery gear
FURTHEST = 60.0  # s


def deployment(
    mission: Mission,
    canopy: str | Iterable[str] | None = None,
    *,
    offsets: Sequence[float | str] = OFFSETS,
    flights: int = 30,
    seed: int = 0,
    failing: int = 10,
    load_share: float | str = LOAD_SHARE,
    share: float = 0.95,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Deploy canopies at times from before to after each flight's own apogee, and say what that does to canopy, harness and tube.

    Each canopy is looked at by itself, all else as the mission says. Flown twice: once without it, which gives each flight's true apogee (of the body
    that carries it), then with the same draws and the same noise, deployed at that time and an offset. All loads are the kernel's; canopy and harness hold
    whatever comes, so that loads beyond their strength are seen. Loads over strengths, where the mission says these:

    * `opening_load_share`: the opening load (Knacke 1992, F = CdS q Cx; the finite mass is in the motion flown) over the canopy's strength;
    * `harness_load_share`: the larger of the snatch of the ejection, v sqrt(k m), and the loose piece's share of the opening load, over the harness's;
    * `zipper_index`: the force on the edge of the tube, 2 T sin(theta/2) for a harness bent over it by theta, over the webbing's width times the wall times
      the bearing strength of the tube's material; a definition of this library (`width` on [[harness]]).

    Parameters
    ----------
    canopy : name, several, or None
        None: those that come out at apogee; of a stage without such all it has.
    offsets : s about apogee, or text such as "-2 s"; rising
    flights, seed : of the draws, the same at each offset
    failing : int
        So many further flights for each uncertain `[[failure]]` of the mission, with it made certain, as the mission deploys.
    load_share : the share of each strength that loads are to stay below; 50 %, a factor of 2, is common practice
    share : of the flights in which they are to
    threads, progress, guidance, control
        As in `sixdof.disperse`.

    Returns
    -------
    Dataset
        Dims `offset`, `canopy`, `flight`: `offset_flown` (s, to the tick), `deployment_airspeed`, `line_stretch_airspeed` (m/s), `deployment_incidence`,
        `line_stretch_incidence` (rad), `opening_load`, `snatch_load`, `harness_load` (N), `opening_load_share`, `harness_load_share`, `zipper_index`,
        `harness_opening_share` (the harness's without the snatch). The same as the mission deploys, `own_...` (canopy, flight), and with each failure
        `failing_...` (failure, canopy, failing_flight).
        `below_share` (offset, canopy): the share of the flights whose loads all stay below; `window_low`, `window_high` (canopy): the first and last offset
        of the longest run that has the share asked for, NaN for none; `timing_window_low`, `timing_window_high` the same without the charge's snatch, which no
        time changes. `lacks` (canopy): what cannot be told, and why; `waits_for_apogee` (canopy).

    Raises
    ------
    TypeError, ValueError, MissionError
        For a mission without canopies, a name that is none, offsets and numbers that cannot be, and as `sixdof.disperse`.

    Examples
    --------
    >>> found = sixdof.workshop.deployment(mission, offsets=[-1.0, 0.0, 2.0], flights=4)
    >>> bool((abs(found.offset_flown - found.offset) < 0.1).all())
    True
    """
    check_mission(mission, "deployment")
    names = canopies_asked(mission, canopy, "deployment", first=True)
    at = _offsets(offsets)
    count, limit = whole(flights, "deployment: flights", 2), load_share_of(load_share, "deployment")
    whole(failing, "deployment: failing", 0)
    check_share(share, "share")
    how = {"threads": threads, "progress": False, "guidance": guidance, "control": control}
    tell(progress, f"{plural(count)} deployed at each of {at.size} times, canopy by canopy: {', '.join(names)}")
    timed = {name: TimedFlights(unbreakable(mission, [name]), name, count, seed, **how) for name in names}
    about = _stacked([_at_offsets(mission, name, timed[name], at) for name in names], ("offset", "canopy", "flight"), 1)
    own, attrs = _as_written(mission, names, timed, count, seed, how)
    tell(progress and failing > 0 and bool(uncertain(mission)), "each failure made certain")
    failed = _failed(mission, names, failing, count, seed, how)
    ds = xr.Dataset({**about, **own, **failed[0]}, _coords(at, names, timed[names[0]], failed[1]))
    ds = ds.assign(_window(ds, limit, share)).assign(lacks=("canopy", [_lacks(mission, name) for name in names], {"long_name": "what cannot be told"}))
    ds = ds.assign_coords(stage=("canopy", [mission.stage[stage_of(mission, name)].name for name in names], {"long_name": "stage that carries the canopy"}))
    waits = np.array([name in waiting_for_apogee(mission) for name in names], dtype=np.int8)
    ds = ds.assign(waits_for_apogee=("canopy", waits, {"units": "1", "long_name": "whether it is deployed at apogee as written"}))
    told = {"flights": count, "failing": int(failing), "load_share": limit, "share": float(share)}
    return ds.assign_attrs({name: attrs[name] for name in ("title", "source", "mission", "seed") if name in attrs} | {"seed": str(seed)} | told)


def need_deployment(ds: xr.Dataset, who: str) -> None:
    """Check that a Dataset is what `deployment` returns. Raises ValueError for another."""
    need_table(ds, who, "workshop.deployment", "below_share", "own_offset_flown")


# ---------------------------------------------------------------- what is asked


def _offsets(offsets: Sequence[float | str]) -> np.ndarray:
    if isinstance(offsets, str) or not isinstance(offsets, Iterable):
        raise TypeError(f'deployment: offsets = {shown(offsets)} must be a list of times about apogee, such as [-2, 0, "3 s"]')
    try:
        found = np.array([parse(one.item() if isinstance(one, np.generic) else one, "s") for one in offsets])
    except QuantityError as error:
        raise ValueError(f"deployment: offsets: {error}") from None
    if not found.size or (np.diff(found) <= 0.0).any() or np.abs(found).max() > FURTHEST:
        raise ValueError(f"deployment: offsets must be one or more times about apogee, rising, within {FURTHEST:g} s of it")
    return found


def _lacks(mission: Mission, canopy: str) -> str:
    """Return what a mission does not say of a canopy, as sentences; "" where nothing is missing."""
    part = next(one for one in canopy_parts(mission) if one.name == canopy)
    missing = []
    if part.strength is None:
        missing.append(f'the load of "{canopy}" is held against nothing: the parachute says no strength')
    if harness_of(mission, canopy) is None:
        missing.append(f'no harness load and no zipper index: the mission has no [[harness]] of "{canopy}"')
    elif why := why_no_index(mission, canopy):
        missing.append(f"no zipper index: {why}")
    return "; ".join(missing)


# ---------------------------------------------------------------- flown


def _at_offsets(mission: Mission, canopy: str, timed: TimedFlights, at: np.ndarray) -> dict[str, np.ndarray]:
    """Return the indices of one canopy, each (offset, flight)."""
    ds = timed.fly(at)
    found = deployment_loads(ds, mission, canopy, np.tile(timed.apogee, at.size))
    return {name: values.reshape(at.size, -1) for name, values in found.items()}


def _as_written(mission: Mission, names: list[str], timed: dict[str, TimedFlights], flights: int, seed: int, how: dict[str, Any]):
    """Return the indices as the mission deploys, and the attributes of these flights."""
    own = unbreakable(mission, names)
    ds = fly_rows(own, make_draws(own, flights, seed=seed), **how)
    found = _stacked([deployment_loads(ds, mission, name, timed[name].apogee) for name in names], ("canopy", "flight"), 0, "own_")
    return found, ds.attrs | {"mission": mission.to_toml()}


def _failed(mission: Mission, names: list[str], failing: int, first: int, seed: int, how: dict[str, Any]) -> tuple[dict, list[str]]:
    """Return the indices of flights with each uncertain failure made certain, as the mission deploys, and what the failures are called."""
    own = unbreakable(mission, names)
    rows = uncertain(mission) if failing else []
    rows = [k for k in rows if not (mission.failure[k].kind in OF_CANOPY and mission.failure[k].of in names)]
    if not rows:
        return {}, []
    parts = []
    for k in rows:
        sure = certain(own, k)
        ds = fly_rows(sure, make_draws(sure, failing, seed=seed, first=first), **how)
        of_each = [deployment_loads(ds, mission, name, event_values(ds, "apogee", body=stage_of(mission, name))) for name in names]
        parts.append({name: np.stack([one[name] for one in of_each]) for name in INDICES})
    return _stacked(parts, ("failure", "canopy", "failing_flight"), 0, "failing_"), [mission.failure[k].name for k in rows]


def _stacked(parts: list[dict[str, np.ndarray]], dims: tuple[str, ...], axis: int, before: str = "") -> dict:
    """Return the variables of a Dataset from the indices of several, stacked along an axis."""
    more = {"own_": ", as the mission deploys", "failing_": ", as the mission deploys, with the failure"}.get(before, "")
    entries = {}
    for name, (units, meaning) in INDICES.items():
        entries[f"{before}{name}"] = (dims, np.stack([one[name] for one in parts], axis=axis), {"units": units, "long_name": f"{meaning}{more}"})
    return entries


def _coords(at: np.ndarray, names: list[str], timed: TimedFlights, failures: list[str]) -> dict:
    coords: dict[str, Any] = {
        "offset": ("offset", at, {"units": "s", "long_name": "deployment after apogee"}),
        "canopy": ("canopy", names, {"long_name": "canopy"}),
        "flight": ("flight", timed.table["flight"].values, {"long_name": "number of the flight"}),
    }
    return coords | ({"failure": ("failure", failures, {"long_name": "failure made certain"})} if failures else {})


# ---------------------------------------------------------------- the window


def _window(ds: xr.Dataset, limit: float, share: float) -> dict:
    """Return the share of flights whose loads all stay below the limit at each offset, and the longest run of offsets that has the share asked for."""
    below = _below(ds, SHARES, limit)
    entries = {"below_share": (("offset", "canopy"), below, {"units": "1", "long_name": "share of the flights whose loads all stay below the limit"})}
    for name, shares, what in (("window", below, "all loads"), ("timing_window", _below(ds, TIMED, limit), "all loads but the charge's snatch")):
        ends = np.array([_longest(shares[:, c] >= share, ds["offset"].values) for c in range(ds.sizes["canopy"])])
        text = f"offset of the longest run in which {what} stay below the limit in the share of flights asked for"
        for end, side, values in (("low", "first", ends[:, 0]), ("high", "last", ends[:, 1])):
            entries[f"{name}_{end}"] = ("canopy", values, {"units": "s", "long_name": f"{side} {text}"})
    return entries


def _below(ds: xr.Dataset, names: tuple[str, ...], limit: float) -> np.ndarray:
    """Return the share of the flights that came out whose loads over strengths all stay below a limit, (offset, canopy); NaN where none is known."""
    loads = np.stack([ds[name].values for name in names])  # (shares, offset, canopy, flight)
    known = np.isfinite(loads).any(axis=0)
    kept = (np.where(np.isfinite(loads), loads, 0.0) < limit).all(axis=0) & known
    count = known.sum(axis=-1)
    return np.divide(kept.sum(axis=-1), count, out=np.full(count.shape, np.nan), where=count > 0)


def _longest(holds: np.ndarray, at: np.ndarray) -> tuple[float, float]:
    """Return the ends of the longest run of offsets that hold, NaN for none."""
    best, start = (np.nan, np.nan, -1), None
    for k, one in enumerate([*holds, False]):
        if one and start is None:
            start = k
        elif not one and start is not None:
            best = max(best, (at[start], at[k - 1], k - start), key=lambda run: run[2])
            start = None
    return best[:2]
