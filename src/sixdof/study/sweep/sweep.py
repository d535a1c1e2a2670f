"""One mission under many conditions, on the same draws: a list of them, or a grid.

Flight i has under every condition the same scatter of masses, thrust and rail, and the same noise of sensors and turbulence (common random
numbers), so what differs between two conditions is the conditions' own doing.
"""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping, Sequence
from itertools import product
from typing import Any

import numpy as np
import xarray as xr

from sixdof.draws.quantities import known_item
from sixdof.draws.table import make_draws
from sixdof.ensemble.request import whole
from sixdof.ensemble.run import fly_rows
from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.paths import NoPath, path_item
from sixdof.mission.units import shown
from sixdof.results.dataset import input_name
from sixdof.study.sweep.conditions import Setting, changed, conditioned, drawn_values, settings_of
from sixdof.study.variants.measures import with_measures

MOST = 1_000_000  # flights at once: each is some kB in memory


def sweep(
    mission: Mission,
    grid: Mapping[str, Sequence[Any]],
    flights: int = 1,
    *,
    seed: int = 0,
    first: int = 0,
    sampling: str = "random",
    keep: Iterable[str] | None = None,
    threads: int | None = None,
    client=None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Fly a mission at every point of a grid of conditions, the same drawn flights at each.

    Parameters
    ----------
    grid : dict
        Name -> values, with units or in SI. A name is one that can be dispersed ("wind.speed", "vehicle.cg", "motor.impulse of drayhorse": of one
        stage, joint, canopy ... alone): a value replaces what is drawn, a factor multiplies it, an offset is added to it. "rail.elevation" and
        "rail.azimuth" are the mission's numbers, what is drawn about them stays. "wind.speed" and "wind.blows_from" hold for every flight; where the
        mission tells its wind level by level they are those at 10 m, and all levels are scaled and turned alike. Any other name is a path of the
        mission, as in `Mission.change`, whose tables are made anew for each value.
    flights, seed, first, sampling
        As in `sixdof.disperse`: how many at each point, and their draws.
    keep : names of variables or None
        What is held besides `status`; None: all but the tracks, some 3 to 12 kB a flight.
    threads, client, progress, guidance, control
        As in `sixdof.disperse`.

    Returns
    -------
    Dataset
        The names of `disperse` with a dim for each name of the grid in front (dots and blanks become underscores: `wind_speed`), its values in SI as the
        coordinate. An input of the same name is left out. `mission` is a variable where values change the mission (see `fly_conditions`).

    Raises
    ------
    KeyboardInterrupt
        After Ctrl-C; within `sixdof.preflight.keeping` the same call goes on.
    TypeError, ValueError, MissionError, LawError
        For a grid without values, names and values that cannot be, and as `sixdof.disperse`.

    Examples
    --------
    >>> winds = sixdof.preflight.sweep(mission, {"wind.speed": ["2 m/s", "8 m/s"]}, 4, seed=1, keep=["event_lean"], progress=False)
    >>> lean = winds.event_lean.sel(event="burnout").isel(body=0).mean("flight")
    >>> (lean.diff("wind_speed") > 0.0).item()
    True
    """
    check_mission(mission, "sweep")
    if not isinstance(grid, Mapping) or not grid:
        raise TypeError(f'sweep: grid must be a dictionary such as {{"wind.speed": ["2 m/s", "6 m/s"]}}, not {shown(grid)}')
    values = {str(name): _values(str(name), each) for name, each in grid.items()}
    conditions = [dict(zip(values, point, strict=True)) for point in product(*values.values())]
    ds = fly_conditions(
        mission,
        conditions,
        flights,
        seed=seed,
        first=first,
        sampling=sampling,
        keep=keep,
        threads=threads,
        client=client,
        progress=progress,
        guidance=guidance,
        control=control,
        who="sweep",
    )
    dims = [dim_of(name) for name in values]
    lost = [name for name in (*dims, "condition") if name in ds.variables]
    ds = ds.drop_vars(lost)
    if set(lost) - {"condition"}:  # of a grid point alone nobody would know all inputs: `refly` would fly nominal ones
        ds.attrs.pop("seal", None)
    settings = {name: [settings_of(mission, {name: value}, "sweep")[0] for value in each] for name, each in values.items()}
    coords = {dim: _coordinate(mission, dim, own) for dim, own in zip(dims, settings.values(), strict=True)}
    sizes = [len(each) for each in values.values()]
    return _unstacked(ds, dims, sizes).assign_coords(coords)


def fly_conditions(
    mission: Mission,
    conditions: Sequence[Mapping[str, Any]],
    flights: int = 1,
    *,
    seed: int = 0,
    first: int = 0,
    sampling: str = "random",
    keep: Iterable[str] | None = None,
    threads: int | None = None,
    client=None,
    progress: bool = True,
    guidance=None,
    control=None,
    who: str = "fly_conditions",
) -> xr.Dataset:
    """Fly a mission under each of some conditions, the same drawn flights under each; as `sweep`, with a list in place of a grid.

    Parameters
    ----------
    conditions : list of dict
        Each name -> value, as the names of `sweep`'s grid; {} is the mission as written. They need not have the same names.
    flights, seed, first, sampling, keep, threads, client, progress, guidance, control
        As in `sweep`.
    who : str
        Whom messages of what is wrong name.

    Returns
    -------
    Dataset
        The names of `disperse` with the dim `condition` in front, counted from 0. Where conditions change the mission, each in another way, `mission`
        (condition) holds the missions as text, and there is no attribute of that name; else a condition can be flown again by `sixdof.refly`.

    Raises
    ------
    KeyboardInterrupt, TypeError, ValueError, MissionError, LawError
        As `sweep`.

    Examples
    --------
    >>> rails = sixdof.preflight.fly_conditions(mission, [{}, {"rail.elevation": "84 deg", "wind.speed": 0.0}], 3, progress=False)
    >>> dict(rails.apogee_height.sizes)
    {'condition': 2, 'flight': 3}
    """
    check_mission(mission, who)
    conditions = list(conditions) if isinstance(conditions, Iterable) and not isinstance(conditions, str | Mapping) else []
    if not conditions:
        raise ValueError(f'{who}: there are no conditions to fly; give a list such as [{{"wind.speed": "6 m/s"}}]')
    settings = [settings_of(mission, each, who) for each in conditions]
    if len(conditions) * whole(flights, f"{who}: flights", 1) > MOST:
        raise ValueError(f"{who}: {len(conditions)} conditions of {flights} flights are more than {MOST} flights at once; take fewer of one or the other")
    parts, places, missions = [], [], []
    for which in _alike(settings):
        own = changed(mission, settings[which[0]])
        draws = make_draws(own, flights, seed=seed, first=first, sampling=sampling)
        table = _interleaved(own, [conditioned(own, draws, settings[k], who) for k in which])
        if progress and len(which) < len(conditions):
            print(f"sixdof: {_said(settings[which[0]])}", file=sys.stderr)
        ds = fly_rows(own, table, threads=threads, client=client, progress=progress, guidance=guidance, control=control)
        parts.append(_apart(_kept(ds, keep, who), len(which), draws["flight"].values))
        places += which
        missions += [own.to_toml()] * len(which)
    ds = parts[0] if len(parts) == 1 else xr.concat(parts, "condition", data_vars="all", coords="minimal", compat="override", combine_attrs="override")
    ds = ds.isel(condition=np.argsort(places))
    if len(parts) > 1:  # no one mission made them all: an attribute would have `refly` fly a condition by another's
        ds.attrs = {name: value for name, value in ds.attrs.items() if name not in ("mission", "seal")}
        texts = [text for _, text in sorted(zip(places, missions, strict=True))]
        ds["mission"] = ("condition", texts, {"long_name": "mission file of the condition"})
    return ds.assign_coords(condition=("condition", np.arange(len(conditions)), {"long_name": "number of the condition"}))


def fly_drawn(mission: Mission, flights: int, *, seed: int = 0, first: int = 0, **how: Any) -> xr.Dataset:
    """Return the flights of `disperse`, to the same bits, without tracks and flown in threads whatever is dispersed: a study asks for no processes.

    how : threads, client, progress, guidance, control, as `sweep` takes them. Raises what `disperse` does.
    """
    return fly_rows(mission, make_draws(mission, flights, seed=seed, first=first), **how)


def _alike(settings: Sequence[Sequence[Setting]]) -> list[list[int]]:
    """Return the numbers of conditions together that change the mission alike: they share its tables."""
    groups: dict[str, list[int]] = {}
    for k, each in enumerate(settings):
        groups.setdefault(repr(sorted((one.name, repr(one.value)) for one in each if not one.drawn)), []).append(k)
    return list(groups.values())


def _interleaved(mission: Mission, tables: Sequence[xr.Dataset]) -> xr.Dataset:
    """Return tables of the same flights as one, flight by flight: tables of what is dispersed by path are made once for each flight then."""
    first, flights, count = tables[0], tables[0].sizes["flight"], len(tables)
    names = dict.fromkeys(name for table in tables for name in table.data_vars)
    coords = {name: c for table in tables for name, c in table.coords.items() if name != "flight"}
    parts = {}
    for name in names:
        example = next(table[name] for table in tables if name in table)
        rows = [table[name].values if name in table else drawn_values(mission, table, name) for table in tables]
        values = np.stack(rows, axis=1)  # (flights, conditions, ...)
        parts[name] = (example.dims, values.reshape(flights * count, *values.shape[2:]), example.attrs)
    return xr.Dataset(parts, coords | {"flight": np.repeat(first["flight"].values, count)}, first.attrs)


def _apart(ds: xr.Dataset, count: int, numbers: np.ndarray) -> xr.Dataset:
    """Return rows of conditions flight by flight as dims condition, flight."""
    rows = np.arange(ds.sizes["flight"]).reshape(numbers.size, count)
    flight = ds["flight"].attrs
    parts = {}
    for name, v in ds.data_vars.items():
        values = v.values
        parts[name] = (("condition", *v.dims), values[rows.T], v.attrs) if v.dims[:1] == ("flight",) else v
    coords = {name: c for name, c in ds.coords.items() if name != "flight"}
    return xr.Dataset(parts, coords | {"flight": ("flight", numbers, flight)}, ds.attrs)


def _kept(ds: xr.Dataset, keep: Iterable[str] | None, who: str) -> xr.Dataset:
    if keep is None:
        return ds
    ds = with_measures(ds, [keep] if isinstance(keep, str) else keep)
    wanted = {"status", *keep} if not isinstance(keep, str) else {"status", keep}
    strange = sorted(wanted - set(ds.data_vars))
    if strange:
        raise ValueError(f"{who}: keep: there is no variable {shown(strange[0])}; {suggestion(strange[0], tuple(map(str, ds.data_vars)), 'variables')}")
    return ds[[name for name in ds.data_vars if name in wanted]]


def _said(settings: Sequence[Setting]) -> str:
    changes = [f"{one.name} = {one.value}" for one in settings if not one.drawn]
    return ", ".join(changes) or "as written"


# ---------------------------------------------------------------- a grid


def dim_of(name: str) -> str:
    """Return the dim of a grid's name: "motor.impulse of drayhorse" -> "motor_impulse_of_drayhorse"."""
    return input_name(name).replace(" ", "_")


def _values(name: str, values: Any) -> list[Any]:
    if isinstance(values, str) or not isinstance(values, Iterable):
        raise TypeError(f'sweep: {name} must have a list of values, such as ["2 m/s", "6 m/s"], not {shown(values)}')
    found = [value.item() if isinstance(value, np.generic) else value for value in values]
    if not found:
        raise ValueError(f"sweep: {name} has no values; give one at least")
    return found


def _coordinate(mission: Mission, dim: str, settings: Sequence[Setting]):
    """Return the coordinate of a grid's dim: numbers in SI with their unit, or what was written."""
    name = settings[0].name
    if settings[0].drawn:
        return dim, np.array([one.value for one in settings], dtype=float), {"units": known_item(mission, name).unit, "long_name": name}
    try:
        items = [path_item(changed(mission, [one]), name) for one in settings]
    except NoPath:  # no quantity: the name of a motor, a profile, a count
        values = [one.value for one in settings]
        plain = all(isinstance(value, int | float) for value in values)
        return dim, np.array(values if plain else [str(value) for value in values]), {"long_name": name}
    return dim, np.array([np.nan if item.own is None else item.own for item in items]), {"units": items[0].unit, "long_name": name}


def _unstacked(ds: xr.Dataset, dims: Sequence[str], sizes: Sequence[int]) -> xr.Dataset:
    """Return a Dataset with the dim `condition` cut into the grid's dims, the last fastest."""
    parts = {}
    for name, v in ds.data_vars.items():
        cut = v.dims[:1] == ("condition",)
        parts[name] = ((*dims, *v.dims[1:]), v.values.reshape(*sizes, *v.shape[1:]), v.attrs) if cut else v
    return xr.Dataset(parts, {name: c for name, c in ds.coords.items() if "condition" not in c.dims}, ds.attrs)
