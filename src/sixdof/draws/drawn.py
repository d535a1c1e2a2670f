"""The mission of one draw: paths whose numbers were drawn, put into the mission, so that its tables can be made."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from sixdof.mission.errors import Fault, MissionError
from sixdof.mission.mission import Mission
from sixdof.mission.paths import path_item
from sixdof.mission.place import key_of
from sixdof.mission.tables.dispersible import DISPERSIBLE


def path_names(mission: Mission) -> tuple[str, ...]:
    """Return the paths that a mission disperses, by name: what `FlightDraw.path` holds the draws of."""
    return tuple(sorted(name for name in mission.disperse if name not in DISPERSIBLE))


def drawn_mission(mission: Mission, values: Sequence[float], *, flight: int | None = None) -> Mission:
    """Return the mission that one draw of its paths makes: checked, its numbers replaced, those paths no longer dispersed.

    values : SI, in the order of `path_names(mission)`; NaN leaves the mission's own. Without paths it is the mission itself.
    flight : the flight's number, for the sentence.

    Raises
    ------
    MissionError
        If the mission cannot hold the numbers: one fault, the first, which says in which flight and what was drawn.
    """
    names = path_names(mission)
    if not names:
        return mission
    kept = {name: spread for name, spread in mission.disperse.items() if name in DISPERSIBLE}
    drawn = {name: float(value) for name, value in zip(names, values, strict=True) if not np.isnan(value)}
    try:
        return mission.change({**drawn, "disperse": kept, "correlation": []}, shift=False)  # each station has a spread of its own, or none
    except MissionError as error:
        raise MissionError([_with_draw(mission, drawn, flight, error.faults[0])]) from None


def _with_draw(mission: Mission, drawn: dict[str, float], flight: int | None, fault: Fault) -> Fault:
    """Return a fault that names the draws it comes from: that of its own key, or else all of them."""
    items = [path_item(mission, name) for name in drawn]
    to_blame = [item for item in items if key_of(item.loc) == fault.key] or items
    listed = ", ".join(f"{item.name} = {drawn[item.name]:.6g}{'' if item.unit == '1' else ' ' + item.unit}" for item in to_blame)
    hint = f"cut the spread with low and high{'; ' if fault.hint else ''}{fault.hint}"
    file = fault.file if flight is None else f"flight {flight}"
    return replace(fault, file=file, message=f"{fault.message} (drawn: {listed})", hint=hint)
