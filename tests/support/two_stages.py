"""An invented stack for tests: the demo on a booster with four big fins."""

from __future__ import annotations

from sixdof.mission.load import build_mission
from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Mount, RailGuide, Stage, Transition, Tube


def booster(**fins) -> Stage:
    """Return a booster of 100 mm; `fins` change its four fins."""
    shape = dict(count=4, station=0.6, root_chord=0.18, tip_chord=0.09, semispan=0.13, tip_offset=0.09, thickness=0.004)
    shape["clocking"] = 0.785
    return Stage(
        name="booster",
        part=(
            Transition(length=0.08, fore_diameter=0.075, aft_diameter=0.1, mass=0.1),
            Tube(length=0.7, diameter=0.1, mass=0.5),
            Fins(name="booster fins", section="double-wedge", mass=0.3, **{**shape, **fins}),
            RailGuide(station=0.5, mass=0.004),
            Mount(motor="playa-i", station=0.45, length=0.33, inner_diameter=0.0384, mass=0.05),
        ),
    )


def on_booster(demo: Mission, **fins) -> Mission:
    """Return the demo mission with the booster under it."""
    tables = demo.model_dump()
    tables["stage"] = [tables["stage"][0], booster(**fins).model_dump()]
    return build_mission(**tables)
