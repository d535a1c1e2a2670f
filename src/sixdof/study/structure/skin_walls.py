"""The walls of a vehicle that the air heats, and how heat goes into them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.tables.materials import MATERIALS, property_of
from sixdof.mission.tables.vehicle import Nose, Transition
from sixdof.study.aero.tables import fin_names
from sixdof.vehicle.geometry import FinSet, Segment, shape_of

CELLS, GROWTH = 10, 1.35  # of a wall from its skin inwards, each thicker than the one before
TIP_SHARE, LEAST_TIP = 0.05, 1.5e-3  # radius of a nose's tip over that of its base where nobody says, and the least (m)
ALONG = 0.25  # of a body's length, where its skin is looked at: nearer to the tip it is hotter, farther aft cooler
SHARP = 0.25  # radius of the leading edge of an airfoil or double wedge over its thickness; half of it else
EMISSIVITY = 0.85  # paint, plastics, laminates: common practice
TIP, SKIN, EDGE = range(3)


class Wall(NamedTuple):
    """One place of the skin.

    kind : TIP, SKIN or EDGE. stage : that it belongs to. station : of the stack, m. radius : of tip or edge, m. sweep : rad. cone : on a nose or
    shoulder. depth : of what takes up heat, m; insulated inside. Then kg/m^3, J/(kg K), W/(m K), K.
    """

    name: str
    material: str
    kind: int
    stage: int
    station: float
    radius: float
    sweep: float
    cone: bool
    depth: float
    density: float
    specific_heat: float
    conductivity: float
    service_temperature: float


def walls_of(mission: Mission, tip_radius: float | None, notes: list[str]) -> list[Wall]:
    """Return the walls of a mission's vehicle, tip first; what says no material is left out, with a sentence in `notes`."""
    found = []
    for name, part, place in _places(mission, tip_radius):
        try:
            heat = [property_of(part, key) for key in ("specific_heat", "conductivity", "service_temperature")]
        except ValueError as error:
            notes.append(str(error))
            continue
        density = MATERIALS[part.material] if part.density is None else part.density
        found.append(Wall(name, part.material, **place, density=density, specific_heat=heat[0], conductivity=heat[1], service_temperature=heat[2]))
    return found


def _places(mission: Mission, tip_radius: float | None) -> Iterator[tuple[str, object, dict]]:
    shape = shape_of(mission.stage)
    starts = [*shape.stage_x0[1:], math.inf]
    for segment in shape.segments:
        stage = next(k for k, end in enumerate(starts) if segment.x0 < end - 1e-9)
        if isinstance(segment.part, Nose):
            yield "nose tip", segment.part, _tip(segment, stage, tip_radius)
        yield _called(segment, mission, stage), segment.part, _skin(segment, stage)
    for name, fin in zip(fin_names(shape), shape.fins, strict=True):
        yield f"{name}, edge", fin.part, _edge(fin)


def _called(segment: Segment, mission: Mission, stage: int) -> str:
    own = segment.part.name or segment.part.kind
    return f"{own} of {mission.stage[stage].name}" if stage and not segment.part.name else own


def _tip(segment: Segment, stage: int, radius: float | None) -> dict:
    radius = max(TIP_SHARE * segment.r1, LEAST_TIP) if radius is None else radius
    wall = segment.part.wall_thickness
    return dict(kind=TIP, stage=stage, station=segment.x0, radius=radius, sweep=0.0, cone=False, depth=radius if wall is None else min(wall, radius))


def _skin(segment: Segment, stage: int) -> dict:
    at = segment.x0 + ALONG * segment.length
    radius = float(segment.radius(at))
    wall = segment.part.wall_thickness
    cone = isinstance(segment.part, Nose) or (isinstance(segment.part, Transition) and segment.r1 > segment.r0)
    return dict(kind=SKIN, stage=stage, station=at, radius=math.nan, sweep=0.0, cone=cone, depth=radius if wall is None else min(wall, radius))


def _edge(fin: FinSet) -> dict:
    thickness = fin.part.thickness
    radius = thickness * (SHARP if fin.part.section in ("airfoil", "double-wedge") else 0.5)
    edges = fin.leading_edge(np.array([0.2, 0.8]) * fin.span)
    sweep = math.atan2(max(float(edges[1] - edges[0]), 0.0), 0.6 * fin.span)
    return dict(kind=EDGE, stage=fin.stage, station=fin.x0, radius=radius, sweep=sweep, cone=False, depth=radius)


# ---------------------------------------------------------------- conduction


class Conduction:
    """Heat going into walls of one material each, insulated inside: cells that grow from the skin inwards, implicit steps in time."""

    def __init__(self, walls: list[Wall], temperature: float):
        depth, self.conductivity = (np.array([getattr(wall, key) for wall in walls]) for key in ("depth", "conductivity"))
        capacity = np.array([wall.density * wall.specific_heat for wall in walls])
        width = GROWTH ** np.arange(CELLS)
        self.width = depth[:, None] * width / width.sum()
        self.capacity = capacity[:, None] * self.width  # J/(m^2 K)
        self.temperature = np.full(self.width.shape, float(temperature))
        between = self.conductivity[:, None] / (0.5 * (self.width[:, 1:] + self.width[:, :-1]))
        count = len(walls)
        self._matrix = np.zeros((count, CELLS, CELLS))
        for k in range(CELLS - 1):
            self._matrix[:, k, k] += between[:, k]
            self._matrix[:, k + 1, k + 1] += between[:, k]
            self._matrix[:, k, k + 1] -= between[:, k]
            self._matrix[:, k + 1, k] -= between[:, k]
        self._into = self.conductivity / (0.5 * self.width[:, 0])  # from the skin to the middle of the first cell
        self.surface = self.temperature[:, 0].copy()

    @property
    def mean(self) -> np.ndarray:
        """Temperature averaged through the wall, K, (walls,)."""
        return np.sum(self.temperature * self.width, axis=1) / np.sum(self.width, axis=1)

    def step(self, seconds: float, coefficient: np.ndarray, recovery: np.ndarray, lost: np.ndarray) -> None:
        """Go on in time under a film (W/(m^2 K)) to a recovery temperature (K), with a flux `lost` (W/m^2) from the skin besides."""
        through = coefficient * self._into / (coefficient + self._into)
        drive = recovery - lost / np.maximum(coefficient, 1e-9)
        system = self._matrix * seconds
        system[:, np.arange(CELLS), np.arange(CELLS)] += self.capacity
        system[:, 0, 0] += through * seconds
        right = self.capacity * self.temperature
        right[:, 0] += through * seconds * drive
        self.temperature = np.linalg.solve(system, right[..., None])[..., 0]
        self.surface = (coefficient * drive + self._into * self.temperature[:, 0]) / (coefficient + self._into)
