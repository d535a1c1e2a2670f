"""What was measured as text to paste into a mission file, rounded far below its error."""

from __future__ import annotations

import math
from typing import Any

import xarray as xr

from sixdof.mission.explain.walk import as_toml
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins
from sixdof.mission.tables.dispersible import DISPERSIBLE
from sixdof.study.as_built.bench import set_name
from sixdof.study.as_built.with_measured import correlation_of, merged, spreads_of, values_of

SHOWN = {"kg": ("g", 1e3), "m": ("mm", 1e3), "kg m2": ("kg*m^2", 1.0), "rad": ("deg", 180.0 / math.pi), "1": ("%", 100.0)}


def decimals(error: float, least: int = 0) -> int:
    """Return the decimals that show a number to a hundredth of its error, and the error to two digits."""
    return max(least, 1 - math.floor(math.log10(error))) if 0.0 < error < math.inf else max(least, 3)


def quantity_text(value: float, unit: str, error: float) -> str:
    """Return a quantity as it stands in a mission file: "1921.3 g"."""
    name, size = SHOWN[unit]
    return f"{size * value:z.{min(decimals(size * error), 9)}f} {name}"


def pasted(mission: Mission, built: xr.Dataset) -> list[str]:
    """Return the lines that put what was measured into a mission file."""
    stages = list(dict.fromkeys(map(str, built["stage"].values)))
    lines: list[str] = []
    for stage in stages:
        lines += _of_stage(mission, built, stage)
    spreads = merged(mission, {stage: spreads_of(mission, built, stage) for stage in stages})
    if spreads:
        lines += ["[disperse]", *(f"{name} = {_spread(name, table)}" for name, table in spreads.items())]
    for group in (group for stage in stages for group in correlation_of(mission, built, stage)):
        rounded = {key: _rounded(value) for key, value in group.items()}
        lines += ["", "[[correlation]]", *(f"{key} = {as_toml(value)}" for key, value in rounded.items())]
    return lines


def _of_stage(mission: Mission, built: xr.Dataset, stage: str) -> list[str]:
    number = [one.name for one in mission.stage].index(stage)
    own = built.isel(row=built["stage"].values == stage)
    known = {str(name): (str(unit), float(error)) for name, unit, error in zip(own["quantity"].values, own["unit"].values, own["error"].values)}
    table, lines = {}, []
    for path, value in values_of(mission, built, stage).items():
        key = path.split(".")[-1]
        if key != "cant":
            unit, error = known.get(key) or known[{"inertia_pitch": "inertia_yaw", "inertia_yaw": "inertia_pitch"}[key]]
            table[key] = quantity_text(value, unit, error)
            continue
        part = mission.stage[number].part[int(path.split(".")[3])]
        assert isinstance(part, Fins)
        lines.append(f'cant = "{quantity_text(value, "rad", known[f"fin_cant of {set_name(part)}"][1])}"     # into the part {set_name(part)} of {stage}')
    head = f"[stage.measured]     # of {stage}, between its own keys and its first [[stage.part]]"
    measured = [head, *(f'{key} = "{value}"' for key, value in table.items())]
    return [*(measured if table else []), *(["", *lines] if lines else []), ""]


def _spread(name: str, table: dict[str, Any]) -> str:
    unit = DISPERSIBLE[name].unit
    return as_toml({key: _number(key, value, unit) if key != "of" else {stage: _of(own, unit) for stage, own in value.items()} for key, value in table.items()})


def _of(own: Any, unit: str) -> dict[str, str]:
    numbers = own if isinstance(own, dict) else own.model_dump(exclude_none=True)
    return {key: _number(key, value, unit) for key, value in numbers.items()}


def _number(key: str, value: Any, unit: str) -> Any:
    if not isinstance(value, float):
        return value
    if unit == "1" and key != "sd":
        return value
    name, size = SHOWN[unit]
    return f"{size * value:.3g} {name}"


def _rounded(value: Any) -> Any:
    if isinstance(value, float):
        return round(value, 5)
    return [_rounded(one) for one in value] if isinstance(value, list) else value
