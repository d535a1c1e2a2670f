"""From measurements back into the mission: `measured` tables in place of the parts, and spreads from the errors in place of guesses."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import numpy as np
import xarray as xr

from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins
from sixdof.study.as_built.as_built import parts_of
from sixdof.study.as_built.bench import AXES, set_name
from sixdof.study.reading.result import need_table
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mounting import case_lump, placed_motors

MASS, CG, INERTIA, CANT = "vehicle.mass", "vehicle.cg", "vehicle.inertia", "aero.fin_cant"
OF_STAGE = {"cg_y": "vehicle.cg_y", "cg_z": "vehicle.cg_z", "tilt_y": "motor.tilt_y", "tilt_z": "motor.tilt_z"}
TRANSVERSE = ("inertia_pitch", "inertia_yaw")
LEAST = 0.02  # correlations nearer to 0 are left out
MOST = 0.999  # times the correlations: draws that go together as one are no group


def with_measured(mission: Mission, built: xr.Dataset) -> Mission:
    """Return the mission with what was measured in place of what its parts add up to, and with the errors as spreads in place of guesses.

    For each measured stage: mass, cg and moments of inertia go into its `measured` table, the mean angle of a set of fins into its `cant`. The spreads
    `vehicle.mass`, `vehicle.cg`, `vehicle.inertia`, `vehicle.cg_y`, `vehicle.cg_z`, `aero.fin_cant`, `motor.tilt_y`, `motor.tilt_z` get a normal spread
    for that stage (a centre off the axis and a thrust line off it are the spread's mean: they fly in drawn flights), and a [[correlation]] of that
    stage where their errors go together. What was not measured keeps its spread. Where one of pitch and yaw was swung the other follows as the parts have
    the two.

    A draw of `vehicle.mass` acts on all of a stage that does not burn, motor cases too: the spreads are such that the drawn stage varies as the measurement
    does. `vehicle.inertia` is a factor besides that of the mass, so its spread is that of inertia over mass.

    Parameters
    ----------
    mission : that `built` was made with, or one of the same stages.
    built : what `as_built` returned.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission, or not what `as_built` returns.
    MissionError
        If the mission has no such stage or set of fins, or cannot hold what was measured.

    Examples
    --------
    >>> stack = sixdof.load_mission("configs/two-stage.toml")
    >>> built = sixdof.workshop.as_built(stack, "configs/whinchat-readings.toml")
    >>> flown = sixdof.workshop.with_measured(stack, built)
    >>> flown.stage[0].measured.mass == float(built.value.sel(row="mass of whinchat"))
    True
    """
    check_mission(mission, "with_measured")
    need_table(built, "with_measured", "workshop.as_built", "difference_by_guess", "correlation")
    stages = list(dict.fromkeys(map(str, built["stage"].values)))
    changes: dict[str, Any] = {}
    for name in stages:
        changes |= values_of(mission, built, name)
    measured = mission.change(changes)
    spreads = {name: spreads_of(measured, built, name) for name in stages}
    correlations = _others(measured, {stage: set(found) for stage, found in spreads.items()})
    correlations += [group for name in stages for group in correlation_of(measured, built, name)]
    drawn = {f"disperse.{name}": spread for name, spread in merged(measured, spreads).items()}
    return measured.change({"correlation": ()}).change(drawn).change({"correlation": correlations})


def values_of(mission: Mission, built: xr.Dataset, stage: str) -> dict[str, float]:
    """Return the changes of a mission's values, path -> SI, that the measurements of a stage make."""
    number, found = _number(mission, stage), _rows(built, stage, "value")
    table = {name: found[name] for name in ("mass", "cg", *(f"inertia_{axis}" for axis in AXES)) if name in found}
    if len(table.keys() & set(TRANSVERSE)) == 1:
        (known,) = table.keys() & set(TRANSVERSE)
        other = TRANSVERSE[1 - TRANSVERSE.index(known)]
        parts = parts_of(mission.stage[number])
        table[other] = table[known] * parts[other] / parts[known]
    changes = {f"stage.{number}.measured.{name}": value for name, value in table.items()}
    for j, part in enumerate(mission.stage[number].part):
        if isinstance(part, Fins) and f"fin_cant of {set_name(part)}" in found:
            changes[f"stage.{number}.part.{j}.cant"] = found[f"fin_cant of {set_name(part)}"]
    return changes


def spreads_of(mission: Mission, built: xr.Dataset, stage: str) -> dict[str, dict[str, float]]:
    """Return the normal spreads (mean, sd, SI) of a measured stage by name. mission : with the measured values in it."""
    errors, value = _rows(built, stage, "error"), _rows(built, stage, "value")
    names, covariance = _of_draws(mission, built, stage)
    found = {name: {"sd": float(sd)} for name, sd in zip(names, np.sqrt(np.diag(covariance)))}
    parts = parts_of(mission.stage[_number(mission, stage)])
    found |= {name: {"mean": value[row] - parts[row], "sd": errors[row]} for row, name in OF_STAGE.items() if row in errors}
    cants = [error for row, error in errors.items() if row.startswith("fin_cant")]
    return found | ({CANT: {"sd": max(cants)}} if cants else {})


def correlation_of(mission: Mission, built: xr.Dataset, stage: str) -> list[dict[str, Any]]:
    """Return the [[correlation]] of a measured stage's draws, none where no two go together."""
    names, covariance = _of_draws(mission, built, stage)
    sd = np.sqrt(np.diag(covariance))
    moving = [k for k in range(len(names)) if sd[k] > 0.0]
    together = MOST * covariance[np.ix_(moving, moving)] / np.outer(sd[moving], sd[moving])
    np.fill_diagonal(together, 1.0)
    if len(moving) < 2 or np.abs(together - np.eye(len(moving))).max() < LEAST:
        return []
    table = {"of": [names[k] for k in moving]} | ({"only": [stage]} if len(mission.stage) > 1 else {})
    if len(moving) == 2:
        return [table | {"coefficient": float(together[0, 1])}]
    return [table | {"matrix": [[1.0 if j == k else float(one) for j, one in enumerate(row)] for k, row in enumerate(together)]}]


# ---------------------------------------------------------------- from the bench to what is drawn


def _of_draws(mission: Mission, built: xr.Dataset, stage: str) -> tuple[list[str], np.ndarray]:
    """Return the names of the draws of mass, cg and inertia that the errors give a stage, and their covariance: that of the bench, mapped to first order."""
    rows = [k for k, name in enumerate(built["stage"].values) if name == stage and str(built["quantity"].values[k]) in ("mass", "cg", *TRANSVERSE)]
    quantities = [str(built["quantity"].values[k]) for k in rows]
    if "mass" not in quantities:
        return [], np.zeros((0, 0))
    error, value = built["error"].values[rows], built["value"].values[rows]
    covariance = built["correlation"].values[np.ix_(rows, rows)] * np.outer(error, error)
    draws = _draws_from(mission, stage, quantities)
    names = [MASS, CG] + ([INERTIA] if set(quantities) & set(TRANSVERSE) else [])
    jacobian = np.empty((len(names), len(rows)))
    for k in range(len(rows)):
        step = np.zeros(len(rows))
        step[k] = 0.01 * error[k] if error[k] > 0.0 else 1e-6 * abs(value[k])
        jacobian[:, k] = (draws(value + step) - draws(value - step)) / (2.0 * step[k])
    return names, jacobian @ covariance @ jacobian.T


def _draws_from(mission: Mission, stage: str, quantities: list[str]) -> Callable[[np.ndarray], np.ndarray]:
    """Return the function from measured mass, cg and inertia of an airframe (n,) to ln mass, cg and ln inertia/mass of it with its motor cases."""
    number = _number(mission, stage)
    cases = [case_lump(placed) for placed in placed_motors(mission, [number], shape_of([mission.stage[number]]))[0]]

    def draws(at: np.ndarray) -> np.ndarray:
        mass, cg = at[quantities.index("mass")], at[quantities.index("cg")]
        whole = mass + sum(case.mass for case in cases)
        middle = (mass * cg + sum(case.mass * case.place[0] for case in cases)) / whole
        found = [math.log(whole), middle]
        swung = [(name, at[quantities.index(name)]) for name in TRANSVERSE if name in quantities]
        if swung:
            name, own = swung[0]
            axis = 1 + TRANSVERSE.index(name)
            inertia = own + mass * (cg - middle) ** 2
            inertia += sum(case.inertia[axis, axis] + case.mass * ((case.place[0] - middle) ** 2 + case.place[3 - axis] ** 2) for case in cases)
            found.append(math.log(inertia / whole))
        return np.array(found)

    return draws


# ---------------------------------------------------------------- into the mission


def _number(mission: Mission, stage: str) -> int:
    names = [one.name for one in mission.stage]
    if stage not in names:
        raise ValueError(f'with_measured: the mission has no stage "{stage}" that was measured; its stages: {", ".join(names)}')
    return names.index(stage)


def _rows(built: xr.Dataset, stage: str, name: str) -> dict[str, float]:
    """Return one variable of a stage's rows by quantity."""
    own = built["stage"].values == stage
    return dict(zip(map(str, built["quantity"].values[own]), map(float, built[name].values[own])))


def merged(mission: Mission, spreads: dict[str, dict[str, dict]]) -> dict[str, Any]:
    """Return the spreads of the mission that the measurements change: of one stage whole, of several for the measured ones alone."""
    merged: dict[str, Any] = {}
    for stage, found in spreads.items():
        for name, own in found.items():
            if len(mission.stage) == 1:
                merged[name] = own
                continue
            old = mission.disperse.get(name)
            guess = {"kind": "fixed", "mean": 1.0 if name in (MASS, INERTIA) else 0.0} if old is None else old.model_dump(exclude_defaults=True)
            table = merged.setdefault(name, guess)
            table["of"] = {**table.get("of", {}), stage: own}
    return merged


def _others(mission: Mission, measured: dict[str, set[str]]) -> list[dict[str, Any]]:
    """Return the groups of draws that the mission says go together, without those that the measurements replace in a stage."""
    kept = []
    for group in mission.correlation:
        names = set(group.of)
        gone = {stage for stage, found in measured.items() if names & found}
        left = [name for name in group.only or [stage.name for stage in mission.stage] if name not in gone]
        if not gone:
            kept.append(group.model_dump(exclude_defaults=True))
        elif left:
            kept.append(group.model_dump(exclude_defaults=True) | {"only": left})
    return kept
