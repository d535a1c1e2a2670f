"""Skin friction of the body and the fins: flat plates of the same length and wetted area, with form factors."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from sixdof.mission.tables import Stage
from sixdof.vehicle.geometry import FinSet, Segment, Shape

PER_ROOT = 0.5  # columns per unit of the fourth root of the unit Reynolds number
ROOT_TOP = 130.0  # 2.9e8 per metre: Mach 10 at sea level
TRANSITION = 5e5  # Reynolds number where a smooth plate's boundary layer turns turbulent (Schlichting)
LEAST_REYNOLDS = 1e3  # held below: the law's infinity at rest is of no use, the force goes to zero with the pressure
LEAST_CUTOFF = 1e3  # of the roughness cut-off, for grains as large as the plate


def root_grid() -> np.ndarray:
    """Return the fourth roots (66,) of the unit Reynolds number (1/m) of the tables' columns: 0, 2 .. 130."""
    return np.arange(int(round(ROOT_TOP * PER_ROOT)) + 1) / PER_ROOT


def laminar(reynolds) -> np.ndarray:
    """Return the mean friction coefficient of a laminar flat plate, one side: 1.328/sqrt(Re) (Blasius 1908)."""
    return 1.328 / np.sqrt(reynolds)


def turbulent(reynolds) -> np.ndarray:
    """Return the MEAN coefficient of a plate turbulent from its edge: 0.455/(log10 Re)^2.58 (Prandtl-Schlichting)."""
    return 0.455 / np.log10(reynolds) ** 2.58


def laminar_compressibility(mach) -> np.ndarray:
    """Return the factor (1 + 0.045 M^2)^-0.25 on laminar friction (from memory, adiabatic wall)."""
    return (1.0 + 0.045 * np.square(mach)) ** -0.25


def turbulent_compressibility(mach) -> np.ndarray:
    """Return the factor (1 + 0.144 M^2)^-0.65 on turbulent friction (Raymer, Aircraft Design; DATCOM; from memory)."""
    return (1.0 + 0.144 * np.square(mach)) ** -0.65


def cutoff_reynolds(length_over_roughness: float, mach) -> np.ndarray:
    """Return the Reynolds number beyond which roughness stops turbulent friction from falling.

    38.21 (L/k)^1.053, and 44.62 (L/k)^1.053 M^1.16 where that is more (M > 0.875): USAF DATCOM/Raymer, from memory.
    """
    coefficient = np.maximum(38.21, 44.62 * np.asarray(mach, dtype=float) ** 1.16)
    return np.maximum(coefficient * length_over_roughness**1.053, LEAST_CUTOFF)


def plate_friction(reynolds, mach, length: float, roughness: float) -> np.ndarray:
    """Return the mean friction coefficient of one side of a plate of `length` with grains of size `roughness` (m).

    Laminar below Re 5e5; above, turbulent at no more than the cut-off Reynolds number, less 1700/Re for the laminar
    front (Prandtl-Schlichting), and never below the laminar value, which makes the change continuous.
    """
    reynolds = np.maximum(reynolds, LEAST_REYNOLDS)
    smooth = laminar(reynolds) * laminar_compressibility(mach)
    effective = reynolds
    if roughness > 0.0:
        effective = np.minimum(reynolds, cutoff_reynolds(length / roughness, mach))
    mixed = (turbulent(effective) - 1700.0 / reynolds) * turbulent_compressibility(mach)
    return np.where(reynolds < TRANSITION, smooth, np.maximum(smooth, mixed))


def body_form_factor(slenderness: float) -> float:
    """Return 1 + 0.5/f (Barrowman 1967, from memory), f the body's length over its diameter."""
    return 1.0 + 0.5 / slenderness


def fin_form_factor(thickness_ratio: float, streamlined: bool) -> float:
    """Return 1 + 2 t/c, and + 60 (t/c)^4 for an airfoil section (Hoerner 1965, DATCOM; from memory)."""
    return 1.0 + 2.0 * thickness_ratio + (60.0 * thickness_ratio**4 if streamlined else 0.0)


@dataclass(frozen=True)
class Surface:
    """Something wetted: `length` in the stream (m), wetted area x form factor (m^2), grain size of its finish (m)."""

    name: str
    length: float
    area: float
    roughness: float


def wetted_area(segment: Segment) -> float:
    """Return the side area (m^2) of one segment: frustums between 257 stations, dense at both ends (within 1e-4)."""
    turn = np.linspace(0.0, math.pi, 257)
    x = segment.x0 + 0.5 * segment.length * (1.0 - np.cos(turn))
    r = segment.radius(x)
    return float(math.pi * np.sum((r[1:] + r[:-1]) * np.hypot(np.diff(x), np.diff(r))))


def surfaces(shape: Shape, stages: Sequence[Stage]) -> list[Surface]:
    """Return what the air rubs on: the body, a piece per stage with that stage's finish, and every set of fins.

    The body is one plate as long as the whole vehicle; the root's footprint on it is not taken off.
    """
    form = body_form_factor(shape.length / shape.diameter)
    areas = [0.0] * len(stages)
    for segment in shape.segments:
        areas[_stage_at(shape, segment)] += wetted_area(segment)
    body = [Surface("body", shape.length, a * form, stage.roughness) for a, stage in zip(areas, stages)]
    return body + [_fin_surface(fin, stages[fin.stage].roughness) for fin in shape.fins]


def _stage_at(shape: Shape, segment: Segment) -> int:
    return int(np.searchsorted(shape.stage_x0, 0.5 * (segment.x0 + segment.x1), side="right")) - 1


def _fin_surface(fin: FinSet, roughness: float) -> Surface:
    form = fin_form_factor(fin.part.thickness / fin.mac, fin.part.section == "airfoil")
    return Surface("fins", fin.mac, 2.0 * fin.area * fin.part.count * form, roughness)


def friction(items: Sequence[Surface], mach, unit_reynolds, reference: float) -> np.ndarray:
    """Return CA of the surfaces on the area `reference`; `mach` and `unit_reynolds` (1/m) broadcast together."""
    total = np.zeros(np.broadcast_shapes(np.shape(mach), np.shape(unit_reynolds)))
    for item in items:
        total = total + item.area / reference * plate_friction(unit_reynolds * item.length, mach, item.length, item.roughness)
    return total
