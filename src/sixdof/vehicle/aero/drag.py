"""Axial force at zero incidence: what each part of the vehicle adds, and the table's columns made from it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Mount, RailGuide, Stage
from sixdof.vehicle.aero import fin_drag as fin_drag
from sixdof.vehicle.aero import pressure as pressure
from sixdof.vehicle.aero.friction import friction, root_grid, surfaces
from sixdof.vehicle.aero.measured import axial_at_none, measured_of
from sixdof.vehicle.geometry import Shape, shape_of

SEA_LEVEL_REYNOLDS = 340.294 * 1.225 / 1.7894e-5  # per metre and Mach number (U.S. Standard Atmosphere 1976)
BACKWARD_REYNOLDS = 2e6  # 1/m, at which the friction of backward flight is taken: some 30 m/s near the ground
GUIDE_DRAG = 0.8  # of a guide's frontal area, per stagnation pressure; partly in the boundary layer (common practice)


# ---------------------------------------------------------------- the whole vehicle


def exit_area(mission: Mission, stage: Stage) -> float:
    """Return the area (m^2) of all nozzle exits of a stage together; 0 where the motors' exits are not given."""
    mounts = [part for part in stage.part if isinstance(part, Mount)]
    return sum(0.25 * math.pi * mission.motor[m.motor].nozzle_exit_diameter ** 2 * m.count for m in mounts)


def guide_area(stages: Sequence[Stage]) -> float:
    """Return the frontal area (m^2) of the rail guides."""
    return sum(part.width * part.height for stage in stages for part in stage.part if isinstance(part, RailGuide))


def pressure_parts(mission: Mission, stages: Sequence[Stage], shape: Shape, mach) -> dict[str, np.ndarray]:
    """Return CA over `mach` of everything but friction, by name; "base, burning" is the change that the jet makes.

    While the motor burns its exit fills that part of the base (common practice: no further change of the base's
    pressure); burnt out, the hollow nozzle counts as base.
    """
    mach = np.asarray(mach, dtype=float)
    pieces = pressure.outline(shape.segments)
    base = math.pi * shape.segments[-1].r1 ** 2
    suction = pressure.base_share(shape.segments) * pressure.base_pressure(mach)

    def every(part):
        return sum((part(mach, fin) for fin in shape.fins), np.zeros(mach.shape))

    drag_areas = {
        "nose and shoulders": pressure.fore_body(mach, pieces),
        "boattail": pressure.aft_body(mach, pieces),
        "base": base * suction,
        "fins, edges": every(fin_drag.edges),
        "fins, wave": every(fin_drag.wave),
        "fins, junctions": every(fin_drag.junctions),
        "fins, slots": every(fin_drag.slots),
        "guides": GUIDE_DRAG * guide_area(stages) * pressure.stagnation(mach),
        "base, burning": -min(exit_area(mission, stages[-1]), base) * suction,
    }
    return {name: area / shape.area for name, area in drag_areas.items()}


def backward(stages: Sequence[Stage], shape: Shape, mach) -> np.ndarray:
    """Return CA over `mach` of the vehicle flying base first: about 1.

    The base is a flat face, the nose a boattail, the fins have square leading edges; junctions and slots as forwards;
    friction at a unit Reynolds number of 2e6/m.
    """
    pieces = pressure.reversed_outline(pressure.outline(shape.segments))
    area = pressure.fore_body(mach, pieces) + pressure.aft_body(mach, pieces)
    area = area + GUIDE_DRAG * guide_area(stages) * pressure.stagnation(mach)
    for fin in shape.fins:
        area = area + fin_drag.edges(mach, fin, "flat") + fin_drag.junctions(mach, fin) + fin_drag.slots(mach, fin)
    return area / shape.area + friction(surfaces(shape, stages), mach, BACKWARD_REYNOLDS, shape.area)


def axial_columns(mission: Mission, stages: Sequence[int], shape: Shape, mach):
    """Return (CA, its change while burning, CA backwards) over `mach` (n,), and friction (n, k) over (Re/m)^(1/4).

    A measured drag curve (straight lines, held beyond its ends) replaces CA and friction, a powered one also the
    change.
    """
    chosen = [mission.stage[i] for i in stages]
    parts = pressure_parts(mission, chosen, shape, mach)
    burning = parts.pop("base, burning")
    coasting = sum(parts.values())
    rubbing = friction(surfaces(shape, chosen), mach[:, None], root_grid()[None, :] ** 4, shape.area)
    curve, powered = measured_axial(mission, stages, mach)
    if curve is not None:
        coasting, rubbing = curve, np.zeros_like(rubbing)
        burning = burning if powered is None else powered - coasting
    return coasting, burning, backward(chosen, shape, mach), rubbing


def fore_axial(mission: Mission, stages: Sequence[int], mach, shape: Shape | None = None) -> np.ndarray:
    """Return CA over `mach` of all stages but the last as they stand in the stack: no base, the stack's boundary layer.

    On the stack's reference area; friction at the standard atmosphere's sea-level Reynolds number. This is what the fore
    stages' own drag pulls at the aft joint; a measured curve of the stack does not change it.
    """
    chosen = [mission.stage[i] for i in stages]
    shape, ahead = shape_of(chosen) if shape is None else shape, len(chosen) - 1
    fins = [fin for fin in shape.fins if fin.stage < ahead]
    pieces = pressure.outline([s for s in shape.segments if 0.5 * (s.x0 + s.x1) < shape.stage_x0[ahead]])
    area = pressure.fore_body(mach, pieces) + pressure.aft_body(mach, pieces)
    area = area + GUIDE_DRAG * guide_area(chosen[:ahead]) * pressure.stagnation(mach)
    for fin in fins:
        area = area + sum(part(mach, fin) for part in (fin_drag.edges, fin_drag.wave, fin_drag.junctions, fin_drag.slots))
    wetted = surfaces(shape, chosen)
    wetted = wetted[:ahead] + [each for each, fin in zip(wetted[len(chosen) :], shape.fins) if fin.stage < ahead]
    return area / shape.area + friction(wetted, mach, SEA_LEVEL_REYNOLDS * mach, shape.area)


def measured_axial(mission: Mission, stages: Sequence[int], mach) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Return the measured CA over `mach` coasting and with the motor alight, None where the curve is not given."""
    measured = measured_of(mission, stages)
    if measured is None or (measured.drag_curve is None and measured.axial_curve is None):
        return None, None
    curves = measured.drag_curve, measured.drag_curve_powered
    coasting, powered = (None if curve is None else np.interp(mach, curve.mach, curve.coefficient) for curve in curves)
    return axial_at_none(measured.axial_curve, mach) if coasting is None else coasting, powered


def drag_breakdown(mission: Mission, stages: Sequence[int], mach, unit_reynolds=None) -> dict[str, np.ndarray]:
    """Return the build-up of CA over `mach`, by name, on the reference area; "total" is that of the coasting vehicle.

    Parameters
    ----------
    stages : numbers of the stages that fly together, front first.
    mach : (n,)
    unit_reynolds : (n,) or scalar, V rho/mu in 1/m; that of the standard atmosphere at sea level if omitted.

    A measured drag curve is not part of it: with one, the flight uses the curve, under "measured", in place of "total".
    """
    chosen = [mission.stage[i] for i in stages]
    mach = np.atleast_1d(np.asarray(mach, dtype=float))
    reynolds = SEA_LEVEL_REYNOLDS * mach if unit_reynolds is None else np.asarray(unit_reynolds, dtype=float)
    shape = shape_of(chosen)
    items = surfaces(shape, chosen)
    result = {f"friction, {name}": friction([i for i in items if i.name == name], mach, reynolds, shape.area) for name in ("body", "fins")}
    result |= pressure_parts(mission, chosen, shape, mach)
    result["total"] = sum(value for name, value in result.items() if name != "base, burning")
    curve, _ = measured_axial(mission, stages, mach)
    return result if curve is None else result | {"measured": curve}
