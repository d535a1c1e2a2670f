"""An invented vehicle for tests: the demo with a second set of fins ahead of the centre of mass."""

from __future__ import annotations

from sixdof.mission.load import build_mission
from sixdof.mission.mission import Mission

FORWARD = {
    "kind": "fins",
    "name": "canard",
    "count": 4,
    "station": 0.35,
    "root_chord": 0.06,
    "tip_chord": 0.035,
    "semispan": 0.05,
    "tip_offset": 0.02,
    "thickness": 0.003,
    "clocking": 0.0,
    "material": "carbon-fibre",
}
TAIL = {"count": 4, "station": 1.16, "root_chord": 0.14, "tip_chord": 0.07, "semispan": 0.1, "tip_offset": 0.06, "clocking": 0.0, "root_gap": 0.0}


def with_canards(demo: Mission, *, control: str = "canard", tail=None, more=(), first: bool = False, **forward) -> Mission:
    """Return the demo with canards (`forward` changes them) and a larger tail (`tail` changes it); `control`: the set that moves.

    more : further sets, as changes of the canards. first : whether they stand before the tail in the file too.
    """
    tables = demo.model_dump(exclude_none=True)
    parts = tables["stage"][0]["part"]
    for part in parts:
        if part.get("name") == "tail":
            part.update({**TAIL, **(tail or {})})
            part["control"] = control == "tail"
            if control != "tail":
                part.pop("hinge", None)
    ahead = [{**FORWARD, **forward}] + [{**FORWARD, **each} for each in more]
    for part in ahead:
        if part["name"] == control:
            part.update(control=True, hinge=0.5 * part["root_chord"])
    place = [part.get("name") for part in parts].index("tail") if first else len(parts)
    tables["stage"][0]["part"] = (*parts[:place], *ahead, *parts[place:])
    return build_mission(**tables)
