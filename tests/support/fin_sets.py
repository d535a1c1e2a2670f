"""A trapezoidal set of fins on a cylinder, by its numbers alone."""

from __future__ import annotations

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Nose, Stage, Tube
from sixdof.vehicle.geometry import FinSet, shape_of


def on_a_cylinder(count, radius, root, tip, span, sweep, **more) -> Mission:
    """Return a mission that has a vehicle alone, which is enough for aerodynamics: nose, tube, fins (m)."""
    body = Nose(mass=0.1, length=4.0 * radius, diameter=2.0 * radius), Tube(mass=0.1, length=10.0 * radius + 2.0 * root, diameter=2.0 * radius)
    outline = dict(root_chord=root, tip_chord=tip, semispan=span, tip_offset=sweep, thickness=0.01 * root)
    fins = Fins(mass=0.1, count=count, station=8.0 * radius, **outline, **more)
    return Mission.model_construct(motor={}, stage=(Stage.model_construct(name="one", part=(*body, fins)),))


def fin_set(*numbers, **more) -> FinSet:
    """Return the fins of `on_a_cylinder`."""
    return shape_of(on_a_cylinder(*numbers, **more).stage).fins[0]
