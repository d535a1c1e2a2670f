"""From an estimate back into the mission: means, spreads and correlations of `[disperse]`, for the next ensemble."""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.draws.packed import nominal_value, things
from sixdof.draws.quantities import known_item
from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission, stored_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.postflight.estimation.estimate_text import need_estimate
from sixdof.postflight.estimation.parameters import CLOCK
from sixdof.postflight.estimation.telling import estimated, learned

LEAST = 0.02  # correlations nearer to 0 are left out
MOST = 0.999  # times the correlations: draws that go together as one are no group
CUT = 3.0  # standard deviations that a cut of the spread must leave on either side


class Found(NamedTuple):
    """One estimated quantity: mean and sd in SI; thing "" for all, row in the correlations."""

    name: str
    thing: str
    mean: float
    sd: float
    row: int


def with_estimated(mission: Mission, found: xr.Dataset, *, log: str | None = None, carried: bool = False) -> Mission:
    """Return the mission whose `[disperse]` has the estimated means and standard deviations, and whose [[correlation]] has their correlations.

    So the next ensemble is drawn from what the logs say. What belongs to the day or to one motor (wind, air, rail, ignition, impulse, burn time; see `own` of
    `estimate`) stays as the mission has it, for the next flight has another; `log` names the flight whose day is meant, to fly that one again.

    Correlations are kept among quantities that are drawn for the same thing (a stage, a joint, the flight as a whole): only such draws can go together. One
    number for all stages becomes a spread that each stage draws for itself.

    Parameters
    ----------
    mission : that the estimate was made with, or one of the same stages.
    found : what `estimate` returned.
    log : name of a log, whose day is laid in too; "log" where there was one without a name.
    carried : lay in what was carried along too: an ensemble is then as narrow as the log says of all quantities together.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission or not an estimate, and where nothing is left that belongs to the vehicle.
    MissionError
        If the mission cannot hold what was estimated.

    Examples
    --------
    >>> log = sixdof.fly(mission)[["height"]].isel(time=slice(20, 500, 10))
    >>> found = sixdof.postflight.estimate(mission, log, ["aero.drag"], carry=False, progress=False)
    >>> flown = sixdof.postflight.with_estimated(mission, found)
    >>> flown.disperse["aero.drag"].mean == found.estimate.item()
    True
    """
    check_mission(mission, "with_estimated")
    need_estimate(found, "with_estimated")
    wanted, together = _wanted(mission, found, log, carried)
    spreads = _spreads(mission, wanted)
    groups = [*_others(mission, wanted), *_groups(mission, wanted, together)]
    drawn = {f"disperse.{name}": spread for name, spread in spreads.items()}
    return mission.change({"correlation": ()}).change(drawn).change({"correlation": groups})


def _wanted(mission: Mission, found: xr.Dataset, log: str | None, carried: bool) -> tuple[list[Found], np.ndarray]:
    """Return what is laid in, and the correlations of all rows."""
    logs = [str(name) for name in found["log"].values]
    if log is not None and log not in logs:
        raise ValueError(f"with_estimated: there is no log {shown(log)}; {suggestion(log, logs, 'logs')}")
    tables, together = [("", found)], found["correlation"].values
    if carried and "carried" in found.dims:
        tables.append(("carried_", found))
        side = found["carried_correlation"].values
        together = np.block([[together, side], [side.T, found["carried_together"].values]])
    out, row = [], 0
    for ahead, ds in tables:
        columns = zip(*(ds[f"{ahead}{name}"].values for name in ("quantity", "thing", "only_in", "daily", "estimate", "sd")), strict=True)
        for name, thing, only_in, daily, mean, sd in columns:
            if name != CLOCK.name and (not daily or (log is not None and only_in in ("", log))):
                out.append(Found(str(name), _thing(mission, str(name), str(thing)), float(mean), float(sd), row))
            row += 1
    if not out:
        raise ValueError("with_estimated: all that was estimated is of one flight's day, and the next has another; name the log to fly that flight again")
    return out, together


def _thing(mission: Mission, name: str, thing: str) -> str:
    """Return the thing that a quantity is of, "" where the mission has just one: its spread is the whole then."""
    known = [str(each) for each in things(mission, known_item(mission, name).each)]
    if thing and thing not in known:
        raise ValueError(f'with_estimated: {name} was estimated of "{thing}", which this mission has not; it has {", ".join(known) or "none"}')
    return "" if len(known) == 1 else thing


def _spreads(mission: Mission, wanted: list[Found]) -> dict[str, dict[str, Any]]:
    """Return the spreads that change, by name."""
    spreads: dict[str, dict[str, Any]] = {}
    for one in wanted:
        old = mission.disperse.get(one.name)
        if one.thing:
            nominal = float(nominal_value(mission, known_item(mission, one.name)))
            table = spreads.setdefault(one.name, {"kind": "fixed", "mean": nominal} if old is None else old.model_dump(exclude_defaults=True))
            table["of"] = {**table.get("of", {}), one.thing: {"mean": one.mean, "sd": one.sd}}
            continue
        ends = {} if old is None or old.kind not in ("normal", "lognormal") else {"low": old.low, "high": old.high}
        kept = {
            name: end for name, end in ends.items() if end is not None and (end < one.mean - CUT * one.sd if name == "low" else end > one.mean + CUT * one.sd)
        }
        spreads[one.name] = {"mean": one.mean, "sd": one.sd} | kept
    return spreads


def _groups(mission: Mission, wanted: list[Found], together: np.ndarray) -> list[dict[str, Any]]:
    """Return the [[correlation]] of what was estimated: a group for each kind of thing that draws are made for."""
    kinds: dict[tuple[str, str], list[Found]] = {}
    for one in wanted:
        kinds.setdefault((known_item(mission, one.name).each, one.thing), []).append(one)
    groups = []
    for (_, thing), members in kinds.items():
        rows = [one.row for one in members]
        matrix = MOST * together[np.ix_(rows, rows)]
        np.fill_diagonal(matrix, 1.0)
        if len(members) < 2 or np.abs(matrix - np.eye(len(rows))).max() < LEAST:
            continue
        table = {"of": [one.name for one in members]} | ({"only": [thing]} if thing else {})
        if len(members) == 2:
            groups.append(table | {"coefficient": float(matrix[0, 1])})
        else:
            groups.append(table | {"matrix": [[float(one) for one in row] for row in matrix]})
    return groups


def _others(mission: Mission, wanted: list[Found]) -> list[dict[str, Any]]:
    """Return the mission's groups without those that name what was estimated, of the things that it was estimated of."""
    kept = []
    for group in mission.correlation:
        hit = [one.thing for one in wanted if one.name in group.of]
        if not hit:
            kept.append(group.model_dump(exclude_defaults=True))
            continue
        known = [str(each) for each in things(mission, known_item(mission, group.of[0]).each)]
        left = [name for name in group.only or known if "" not in hit and name not in hit]
        if left:
            kept.append(group.model_dump(exclude_defaults=True) | {"only": left})
    return kept


# ---------------------------------------------------------------- as text


def estimate_toml(found: xr.Dataset, *, log: str | None = None, carried: bool = False) -> str:
    """Return the part of a mission file that an estimate makes, with its source in comments: `[disperse]` entries and [[correlation]]. SI.

    Entries replace those of the same name in the mission file.

    Parameters
    ----------
    found : what `estimate` returned. log, carried : as in `with_estimated`.

    Raises
    ------
    ValueError
        As `with_estimated`.

    Examples
    --------
    >>> log = sixdof.fly(mission)[["height"]].isel(time=slice(20, 500, 10))
    >>> found = sixdof.postflight.estimate(mission, log, ["aero.drag"], carry=False, progress=False)
    >>> print(sixdof.postflight.estimate_toml(found).splitlines()[3][:32])
    [disperse]
    """
    need_estimate(found, "estimate_toml")
    mission = stored_mission(found.attrs["mission"])
    wanted, together = _wanted(mission, found, log, carried)
    spreads, groups = _spreads(mission, wanted), _groups(mission, wanted, together)
    said = {one.name: found.isel(parameter=one.row) for one in wanted if one.row < found.sizes["parameter"]}
    lines = [*_source(found), "[disperse]"]
    for name, spread in spreads.items():
        about = f"  # {estimated(said[name])}: the log says {learned(said[name])}" if name in said else "  # carried along"
        lines.append(f'"{name}" = {_toml(spread)}{about}')
    for group in groups:
        lines += ["", "[[correlation]]", *(f"{key} = {_toml(value)}" for key, value in group.items())]
    return "\n".join(lines) + "\n"


def _source(found: xr.Dataset) -> list[str]:
    time, most = found["sample_time"].values, float(np.nanmax(found["mach_most"].values, initial=0.0))
    logs = ", ".join(str(name) for name in found["log"].values)
    count = int(np.nansum(found["samples"].values))
    return [
        f"# estimated from flight logs ({logs}): {count} readings from {np.nanmin(time):.1f} to {np.nanmax(time):.1f} s after liftoff",
        f"# data reach Mach {most:.2f}; beyond nothing is known better than before. Least squares with priors, output-error method,",
        f"# {found.attrs['source']}; covariance with the colour of the residuals. SI units.",
    ]


def _toml(value: Any) -> str:
    """Return a value as TOML on one line."""
    if isinstance(value, dict):
        return "{ " + ", ".join(f"{key if key.replace('_', '').isalnum() else _toml(key)} = {_toml(one)}" for key, one in value.items()) + " }"
    if isinstance(value, list | tuple):
        return "[" + ", ".join(_toml(one) for one in value) + "]"
    return f'"{value}"' if isinstance(value, str) else f"{float(value):.8g}"
