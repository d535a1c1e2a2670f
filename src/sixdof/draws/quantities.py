"""What a mission disperses: quantity by quantity, what each is drawn for one by one, and how the table of draws holds it."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.mission.disperse import item_of
from sixdof.mission.mission import Mission
from sixdof.mission.paths import NoPath, PathItem, is_path
from sixdof.mission.tables import Fins, Spread
from sixdof.mission.tables.dispersible import DISPERSIBLE, Dispersible
from sixdof.results.names import canopy_names, joint_names, rule_names

CALLED = {
    "stage": "stage",
    "joint": "joint, by the stage behind it",
    "rule": "event rule",
    "harness": "harness, by its canopy",
    "canopy": "canopy",
    "fin": "number of the control fin",
    "failure": "what may go wrong",
}


def control_fin_count(mission: Mission) -> int:
    """Return how many fins of the mission have an actuator."""
    return sum(p.count for stage in mission.stage for p in stage.part if isinstance(p, Fins) and p.control)


def things(mission: Mission, each: str) -> list:
    """Return the names of what a dispersible is drawn for one by one: stages, joints, rules, harnesses, canopies, control fins."""
    if each == "fin":
        return list(range(1, control_fin_count(mission) + 1))
    return {
        "": [""],
        "stage": [stage.name for stage in mission.stage],
        "joint": joint_names(mission),
        "rule": rule_names(mission)[: len(mission.rule)],
        "harness": [harness.canopy for harness in mission.harness],
        "canopy": canopy_names(mission),
    }[each]


class Quantity(NamedTuple):
    """One dispersed quantity of a mission: its name, what it is, what it has a draw of its own for, how it varies."""

    name: str
    item: Dispersible
    things: list
    spread: Spread


def quantities(mission: Mission) -> list[Quantity]:
    """Return what a mission disperses, in the order of the columns of its table: the registry's, then paths by name.

    Raises ValueError for a name that cannot be dispersed.
    """
    order = list(DISPERSIBLE)
    names = sorted(mission.disperse, key=lambda name: (order.index(name), "") if name in DISPERSIBLE else (len(order), name))
    items = [known_item(mission, name) for name in names]
    return [Quantity(name, item, things(mission, item.each), mission.disperse[name]) for name, item in zip(names, items)]


def known_item(mission: Mission, name: str) -> Dispersible:
    """Return what a name of the mission's `[disperse]` stands for. Raises ValueError for a name that stands for nothing."""
    if name not in DISPERSIBLE and not is_path(name):
        raise ValueError(f'disperse."{name}" cannot be dispersed; use one of {", ".join(DISPERSIBLE)}')
    try:
        return item_of(mission, name)
    except NoPath as error:
        raise ValueError(f"{error}; {error.hint}") from None


def nominal_value(mission: Mission, item: Dispersible) -> float:
    """Return the draw that changes nothing: the mission's own value (NaN where it has none), 1 for a factor, 0 for an offset."""
    if isinstance(item, PathItem):
        return np.nan if item.own is None else item.own
    own = {"wind.speed": mission.air.wind.speed, "wind.blows_from": mission.air.wind.blows_from}
    own |= dict(zip(("wind.member", "turbulence.wind_at_20_ft"), nominal_air(mission)))
    return own[item.name] if item.role == "value" else item.neutral


def nominal_air(mission: Mission) -> tuple[float, float]:
    """Return what FlightDraw.air holds in the nominal flight: the first forecast, and the turbulence's own wind at 20 ft (m/s)."""
    turbulence = mission.air.turbulence
    if turbulence is None:
        return 0.0, 0.0
    return 0.0, -1.0 if turbulence.wind_at_20_ft is None else turbulence.wind_at_20_ft


def dims_of(item: Dispersible, names: list) -> tuple[str, ...]:
    """Return the dims of a quantity in the table: fins are always numbered, of other things one alone needs no dim."""
    return ("flight", item.each) if item.each == "fin" or len(names) != 1 else ("flight",)


def flight_coordinate(flights):
    """Return the coordinate `flight` of a table."""
    return "flight", flights, {"long_name": "number of the flight"}


def coordinate(dim: str, names: list):
    """Return the coordinate that names what is drawn one by one."""
    return dim, names, {"long_name": CALLED[dim]}


def attributes_of(item: Dispersible) -> dict:
    """Return the attributes of a quantity's variable."""
    text = f"{item.role} {item.doc}" if item.doc.startswith("on ") else item.doc
    return {"units": item.unit, "long_name": text, "role": item.role}
