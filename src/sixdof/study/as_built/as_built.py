"""The vehicle as built against its parts: measured values with errors, what the parts add up to, and how far apart they are."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import xarray as xr

from sixdof.draws.spreads import deviation
from sixdof.mission.edit import toml_of
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Stage
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.study.as_built.bench import AXES, Bench, cant_name, measured_stage, stage_number
from sixdof.study.as_built.propagation import DRAWS, Propagated
from sixdof.study.as_built.readings import readings_of
from sixdof.study.as_built.swings import air_moved
from sixdof.study.as_built.tables import Readings
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.mass import airframe

UNITS = {"mass": "kg", "cg": "m", "cg_y": "m", "cg_z": "m", "inertia_roll": "kg m2", "inertia_pitch": "kg m2", "inertia_yaw": "kg m2"}
AIR_DENSITY = 1.2  # kg/m^3, of a workshop
SPREADS = {"mass": "vehicle.mass", "cg": "vehicle.cg", "cg_y": "vehicle.cg_y", "cg_z": "vehicle.cg_z", "tilt_y": "motor.tilt_y", "tilt_z": "motor.tilt_z"}


def as_built(mission: Mission, readings: Readings | str | Path | Mapping[str, Any]) -> xr.Dataset:
    """Return what was measured of the finished vehicle, with errors, beside what its parts add up to.

    Mass, centre of mass (on and off the axis), moments of inertia about it, angles of fins and thrust line, for each stage that there are readings of, without
    its motors. Errors are standard deviations to first order, with all correlations (GUM), and again by drawing every reading.

    Parameters
    ----------
    mission : the vehicle as designed. Motors that were in while it was measured are taken off with this mission's masses and places.
    readings : what `readings_of` returns, or what it takes.

    Returns
    -------
    Dataset
        Along `row`, one quantity of one stage each (coordinates `stage`, `quantity`, `unit`; SI, rad): `value`, `error`, `drawn_error` (by drawing), `parts`
        (what the parts add up to), `guess` (standard deviation that the mission's [disperse] gives it, 0 where none), `difference` (value - parts),
        `difference_by_error` and `difference_by_guess` (in standard deviations of the reading, and of the guess and the reading together).
        `correlation` (row, other): of the errors, 0 between stages. `budget` (row, reading): share of each reading in the variance. `panel_angle` (panel),
        rad, with `panel_stage`, `panel_set`: mean angle of each fin. `swing_value`, `swing_error` (swing), kg m2: each swing by itself, and
        `swing_air`, the air that swings along, a share of it. Attributes: title, mission and readings as text, remarks.

    Raises
    ------
    TypeError
        For what is not a mission.
    MissionError
        For faults of the readings, and for readings that do not fit the mission.

    Examples
    --------
    >>> stack = sixdof.load_mission("configs/two-stage.toml")
    >>> built = sixdof.workshop.as_built(stack, "configs/whinchat-readings.toml")
    >>> bool(built.error.sel(row="mass of whinchat") < 0.002)
    True
    """
    check_mission(mission, "as_built")
    readings = readings_of(readings)
    stages = [_measured(mission, readings, one) for one in readings.stage]
    rows = [row for one in stages for row in one.rows]
    parts = {**_columns(rows), **_correlations(stages), **_budgets(stages), **_panels(stages), **_swings(mission, stages)}
    remarks = [f"{one.bench.stage.name}: {text}" for one in stages for text in one.bench.remarks]
    about = {"title": readings.title or f"{mission.title}, as built", "mission": mission.to_toml(), "readings": toml_of(readings)}
    about |= {"remarks": "\n".join(remarks), "drawn": DRAWS, "stages": len(mission.stage)}
    return xr.Dataset(parts, attrs=about)


class Row(NamedTuple):
    """One quantity of one stage: measured, what the parts add up to, and the standard deviation that the mission guesses."""

    stage: str
    quantity: str
    unit: str
    value: float
    error: float
    drawn: float
    parts: float
    guess: float


class _Stage(NamedTuple):
    number: int
    bench: Bench
    found: Propagated
    alone: Propagated | None
    rows: list[Row]


def _measured(mission: Mission, readings: Readings, stage) -> _Stage:
    bench, found, alone = measured_stage(mission, readings, stage)
    number = stage_number(mission, stage)
    plain = parts_of(mission.stage[number]) | {cant_name(part): part.cant for part in bench.sets}
    rows = [
        Row(stage.name, name, UNITS.get(name, "rad"), value, error, drawn, plain[name], guess_of(mission, stage.name, name, plain[name]))
        for name, value, error, drawn in zip(found.names, found.value, found.sd, found.drawn)
    ]
    return _Stage(number, bench, found, alone, rows)


def parts_of(stage: Stage) -> dict[str, float]:
    """Return what the parts of a stage add up to without motors and before any measurement: the quantities of `as_built`."""
    built = airframe(shape_of([stage]), 0, stage.model_copy(update={"measured": None}))
    found = {"mass": float(built.mass)} | dict(zip(("cg", "cg_y", "cg_z"), map(float, built.place)))
    found |= {f"inertia_{axis}": float(built.inertia[k, k]) for k, axis in enumerate(AXES)}
    return found | {"tilt_y": 0.0, "tilt_z": 0.0}


def guess_of(mission: Mission, stage: str, quantity: str, parts: float) -> float:
    """Return the standard deviation of a quantity of a stage that the mission's [disperse] draws, 0 where it draws none."""

    def drawn(name: str) -> float:
        return deviation(mission.disperse.get(name), DISPERSIBLE[name].neutral, stage)

    if quantity.startswith("inertia"):
        return abs(parts) * math.hypot(drawn("vehicle.mass"), drawn("vehicle.inertia"))
    if quantity.startswith("fin_cant"):
        return drawn("aero.fin_cant")
    return drawn(SPREADS[quantity]) * (parts if quantity == "mass" else 1.0)


# ---------------------------------------------------------------- what goes into the Dataset


def _columns(rows: list[Row]) -> dict:
    value, error, drawn, parts, guess = (np.array([getattr(row, name) for row in rows]) for name in ("value", "error", "drawn", "parts", "guess"))
    off = value - parts
    said = {"units": "1", "long_name": "difference over the standard deviation of the measurement"}
    return {
        "row": ("row", [f"{row.quantity} of {row.stage}" for row in rows], {"long_name": "quantity and stage"}),
        "stage": ("row", [row.stage for row in rows], {"long_name": "stage"}),
        "quantity": ("row", [row.quantity for row in rows], {"long_name": "quantity"}),
        "unit": ("row", [row.unit for row in rows], {"long_name": "unit of the row"}),
        "value": ("row", value, _of_row("measured")),
        "error": ("row", error, _of_row("standard deviation of the measurement, to first order")),
        "drawn_error": ("row", drawn, _of_row("standard deviation of the measurement, every reading drawn")),
        "parts": ("row", parts, _of_row("what the parts add up to")),
        "guess": ("row", guess, _of_row("standard deviation that the mission draws, 0 where it draws none")),
        "difference": ("row", off, _of_row("measured less what the parts add up to")),
        "difference_by_error": ("row", _over(off, error), said),
        "difference_by_guess": ("row", _over(off, np.hypot(error, guess)), said | {"long_name": "difference over guess and measurement together"}),
    }


def _of_row(text: str) -> dict:
    return {"units": "unit of the row", "long_name": text}


def _over(a: np.ndarray, b: np.ndarray) -> np.ndarray:
    return np.divide(a, b, out=np.full_like(a, np.nan), where=b > 0.0)


def _correlations(stages: list[_Stage]) -> dict:
    count = sum(len(one.rows) for one in stages)
    whole, start = np.eye(count), 0
    for one in stages:
        own = slice(start, start + len(one.rows))
        whole[own, own] = np.nan_to_num(_over(one.found.covariance, np.outer(one.found.sd, one.found.sd)))  # what has no error goes with nothing
        start = own.stop
    np.fill_diagonal(whole, 1.0)
    return {"correlation": (("row", "other"), whole, {"units": "1", "long_name": "correlation of the errors of two quantities"})}


def _budgets(stages: list[_Stage]) -> dict:
    names = list(dict.fromkeys(name for one in stages for name in one.found.inputs))
    table, start = np.zeros((sum(len(one.rows) for one in stages), len(names))), 0
    for one in stages:
        table[start : start + len(one.rows), [names.index(name) for name in one.found.inputs]] = one.found.budget
        start += len(one.rows)
    text = {"units": "1", "long_name": "share of the reading in the variance of the quantity"}
    return {"reading": ("reading", names, {"long_name": "reading"}), "budget": (("row", "reading"), table, text)}


def _panels(stages: list[_Stage]) -> dict:
    found = [
        (one.bench.stage.name, cant_name(part).removeprefix("fin_cant of "), float(np.mean(angles)))
        for one in stages
        for part, fins in zip(one.bench.sets, one.bench.stage.fins, strict=True)
        for angles in fins.panels
    ]
    stage, own, angle = zip(*found, strict=True) if found else ((), (), ())
    return {
        "panel_stage": ("panel", list(stage), {"long_name": "stage"}),
        "panel_set": ("panel", list(own), {"long_name": "set of fins"}),
        "panel_angle": ("panel", np.array(angle, dtype=float), {"units": "rad", "long_name": "mean measured angle of the fin"}),
    }


def _swings(mission: Mission, stages: list[_Stage]) -> dict:
    names, about, values, errors, air = [], [], [], [], []
    for one in stages:
        if one.alone is None:
            continue
        shape = shape_of([mission.stage[one.number]])
        along = air_moved(shape.length, shape.diameter, AIR_DENSITY)
        for swing, name, value, error in zip(one.bench.stage.swing, one.alone.names, one.alone.value, one.alone.sd):
            names.append(f"{one.bench.stage.name}, {name}")
            about.append(f"inertia_{swing.about} of {one.bench.stage.name}")
            values.append(value)
            errors.append(error)
            air.append(0.0 if swing.about == "roll" else along / value)
    return {
        "swing": ("swing", names, {"long_name": "swing"}),
        "swing_row": ("swing", about, {"long_name": "quantity that it measures"}),
        "swing_value": ("swing", np.array(values, dtype=float), {"units": "kg m2", "long_name": "moment of inertia by this swing alone"}),
        "swing_error": (
            "swing",
            np.array(errors, dtype=float),
            {"units": "kg m2", "long_name": "standard deviation of the moment of inertia by this swing alone"},
        ),
        "swing_air": ("swing", np.array(air, dtype=float), {"units": "1", "long_name": "air that swings along, as a share of the moment of inertia"}),
    }
