"""Axial force at zero incidence: what each part of the vehicle adds, and the table's columns made from it."""

from __future__ import annotations

import math
from typing import Sequence

import numpy as np

from sixdof.mission.schema import DragCurve, Guide, Mission, Mount, Stage
from sixdof.vehicle import aero_pressure as pressure
from sixdof.vehicle.aero_blend import TRANSONIC, bridge, smoothstep
from sixdof.vehicle.aero_friction import friction, surfaces
from sixdof.vehicle.geometry import FinSet, Shape, shape_of

PER_ROOT = 0.5  # friction columns per unit of the fourth root of the unit Reynolds number
ROOT_TOP = 130.0  # 2.9e8 per metre: Mach 10 at sea level
SEA_LEVEL_REYNOLDS = 340.294 * 1.225 / 1.7894e-5  # per metre and Mach number (U.S. Standard Atmosphere 1976)
BACKWARD_REYNOLDS = 2e6  # 1/m, at which the friction of backward flight is taken: some 30 m/s near the ground
EDGE_SLOW = 0.65  # mean over stagnation pressure of a square leading edge, subsonic (Hoerner 1965, ch. 3, from memory)
ROUND_SUPERSONIC = 2.0 / 3.0  # the same of a half-round one, modified Newtonian flow: int cos^2 over its height
ROUND_TRAILING = 0.5  # base drag left behind a rounded trailing edge (common practice)
GUIDE_DRAG = 0.8  # of a guide's frontal area, per stagnation pressure; partly in the boundary layer (common practice)


# ---------------------------------------------------------------- fins


def thickness_drag(mach, thickness_ratio: float, section: str) -> np.ndarray:
    """Return a section's wave drag on the fin's area over `mach` > 1 (Ackeret 1925).

    Double wedge 4 (t/c)^2/beta, biconvex 16/3 (t/c)^2/beta; "wedge" is a double wedge, "airfoil" taken as biconvex, the
    others have flat faces and none.
    """
    factor = {"wedge": 4.0, "airfoil": 16.0 / 3.0}.get(section, 0.0)
    return factor * thickness_ratio**2 / np.sqrt(np.square(mach) - 1.0)


def leading_edge(mach, section: str, sweep: float) -> np.ndarray:
    """Return the pressure coefficient of a leading edge on its frontal area, over `mach`; sharp ones have none.

    Flat: 0.65 (subsonic) to 0.9 of the stagnation pressure. Rounded: none (leading-edge suction, M < 0.8) to 2/3 of it.
    Both times cos^2 of the sweep: only the flow across the edge is stopped (R. T. Jones's independence principle).
    """
    slow, fast = {"flat": (EDGE_SLOW, pressure.FACE_FAST), "rounded": (0.0, ROUND_SUPERSONIC)}.get(section, (0.0, 0.0))
    return (slow + (fast - slow) * smoothstep(mach, *TRANSONIC)) * pressure.stagnation(mach) * math.cos(sweep) ** 2


def fin_pressure(mach, fin: FinSet, section: str | None = None) -> np.ndarray:
    """Return the drag area (m^2) of a set's edges and thickness (its friction is with the surfaces), over `mach`.

    The trailing edge is a base as wide as the fin is thick: all of it if flat, half if rounded, none if sharp. The
    thickness's wave drag rises from 0 at Mach 0.8 to Ackeret's at 1.2 (a cubic; his has a pole at 1). Sweep's relief of
    it, the junction with the body and hinge gaps are left out.
    """
    section = section or fin.part.section
    ratio = fin.part.thickness / fin.mac
    frontal = fin.part.thickness * fin.span
    sweep = math.atan2(fin.x_mac_le, fin.y_mac)
    behind = {"flat": 1.0, "rounded": ROUND_TRAILING}.get(section, 0.0) * pressure.base_pressure(mach)
    wave = bridge(mach, np.zeros_like, lambda m: thickness_drag(m, ratio, section))
    return fin.part.count * (frontal * (leading_edge(mach, section, sweep) + behind) + fin.area * wave)


# ---------------------------------------------------------------- the whole vehicle


def exit_area(mission: Mission, stage: Stage) -> float:
    """Return the area (m^2) of all nozzle exits of a stage together; 0 where the motors' exits are not given."""
    mounts = [part for part in stage.part if isinstance(part, Mount)]
    return sum(0.25 * math.pi * mission.motor[m.motor].nozzle_exit_diameter ** 2 * m.count for m in mounts)


def guide_area(stages: Sequence[Stage]) -> float:
    """Return the frontal area (m^2) of the rail guides."""
    return sum(part.width * part.height for stage in stages for part in stage.part if isinstance(part, Guide))


def pressure_parts(mission: Mission, stages: Sequence[Stage], shape: Shape, mach) -> dict[str, np.ndarray]:
    """Return CA over `mach` of everything but friction, by name; "base, burning" is the change that the jet makes.

    While the motor burns its exit fills that part of the base (common practice: no further change of the base's
    pressure).
    """
    mach = np.asarray(mach, dtype=float)
    pieces = pressure.outline(shape.segments)
    base = math.pi * shape.segments[-1].r1 ** 2
    drag_areas = {
        "nose and shoulders": pressure.fore_body(mach, pieces),
        "boattail": pressure.aft_body(mach, pieces),
        "base": base * pressure.base_pressure(mach),
        "fins, pressure": sum((fin_pressure(mach, fin) for fin in shape.fins), np.zeros(mach.shape)),
        "guides": GUIDE_DRAG * guide_area(stages) * pressure.stagnation(mach),
        "base, burning": -min(exit_area(mission, stages[-1]), base) * pressure.base_pressure(mach),
    }
    return {name: area / shape.area for name, area in drag_areas.items()}


def backward(stages: Sequence[Stage], shape: Shape, mach) -> np.ndarray:
    """Return CA over `mach` of the vehicle flying base first: about 1.

    The base is a flat face, the nose a boattail, the fins have square leading edges; friction at a unit Reynolds number
    of 2e6/m.
    """
    pieces = pressure.reversed_outline(pressure.outline(shape.segments))
    area = pressure.fore_body(mach, pieces) + pressure.aft_body(mach, pieces)
    area = area + GUIDE_DRAG * guide_area(stages) * pressure.stagnation(mach)
    area = area + sum((fin_pressure(mach, fin, "flat") for fin in shape.fins), np.zeros(np.shape(mach)))
    return area / shape.area + friction(surfaces(shape, stages), mach, BACKWARD_REYNOLDS, shape.area)


def measured_curves(stages: Sequence[Stage]) -> tuple[DragCurve | None, DragCurve | None]:
    """Return the (coasting, powered) curves of the first stage that has a measured drag curve, or (None, None)."""
    for stage in stages:
        if stage.measured is not None and stage.measured.drag_curve is not None:
            return stage.measured.drag_curve, stage.measured.drag_curve_powered
    return None, None


def axial_columns(mission: Mission, stages: Sequence[Stage], shape: Shape, mach):
    """Return (CA, its change while burning, CA backwards) over `mach` (n,), and friction (n, k) over (Re/m)^(1/4).

    A measured drag curve (straight lines, held beyond its ends) replaces CA and friction, a powered one also the
    change.
    """
    parts = pressure_parts(mission, stages, shape, mach)
    burning = parts.pop("base, burning")
    coasting = sum(parts.values())
    roots = np.arange(int(round(ROOT_TOP * PER_ROOT)) + 1) / PER_ROOT
    rubbing = friction(surfaces(shape, stages), mach[:, None], roots[None, :] ** 4, shape.area)
    curve, powered = measured_curves(stages)
    if curve is not None:
        coasting, rubbing = np.interp(mach, curve.mach, curve.coefficient), np.zeros_like(rubbing)
        if powered is not None:
            burning = np.interp(mach, powered.mach, powered.coefficient) - coasting
    return coasting, burning, backward(stages, shape, mach), rubbing


def drag_breakdown(mission: Mission, stages: Sequence[int], mach, unit_reynolds=None) -> dict[str, np.ndarray]:
    """Return the build-up of CA over `mach`, by name, on the reference area; "total" is that of the coasting vehicle.

    Parameters
    ----------
    stages : numbers of the stages that fly together, front first.
    mach : (n,)
    unit_reynolds : (n,) or scalar, V rho/mu in 1/m; that of the standard atmosphere at sea level if left out.

    A measured drag curve is not part of it: with one, the flight uses the curve, under "measured", in place of "total".
    """
    chosen = [mission.stage[i] for i in stages]
    mach = np.atleast_1d(np.asarray(mach, dtype=float))
    reynolds = SEA_LEVEL_REYNOLDS * mach if unit_reynolds is None else np.asarray(unit_reynolds, dtype=float)
    shape = shape_of(chosen)
    items = surfaces(shape, chosen)
    result = {
        f"friction, {name}": friction([i for i in items if i.name == name], mach, reynolds, shape.area)
        for name in ("body", "fins")
    }
    result |= pressure_parts(mission, chosen, shape, mach)
    result["total"] = sum(value for name, value in result.items() if name != "base, burning")
    curve, _ = measured_curves(chosen)
    if curve is not None:
        result["measured"] = np.interp(mach, curve.mach, curve.coefficient)
    return result
