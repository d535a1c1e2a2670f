"""A fin that turns about a hinge, as two motions: bending of the panel, and turning against the hinge's stiffness."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.mission.tables.materials import MATERIALS, property_of
from sixdof.vehicle.geometry import FinSet

STRIPS = 24


class Panel(NamedTuple):
    """A panel in strips across the span, lengths in m; (n,) each but the last three.

    width, chord : of each strip. edge : its leading edge aft of the root's. shape : deflection of the bending motion, 1 at the tip. curvature :
    of that deflection, 1/m^2. hinge : aft of the root's leading edge. areal_mass : kg/m^2. rigidity : of the plate in bending per chord, N m.
    """

    width: np.ndarray
    chord: np.ndarray
    edge: np.ndarray
    shape: np.ndarray
    curvature: np.ndarray
    hinge: float
    areal_mass: float
    rigidity: float

    @property
    def semichord(self) -> float:
        """The mean one, m."""
        return 0.5 * float(np.sum(self.width * self.chord) / np.sum(self.width))


class Modes(NamedTuple):
    """Mass and stiffness of the two motions: bending (generalised kg, N/m, per metre at the tip) and turning (kg m^2, N m/rad), and what couples them.

    coupling : kg m; positive with the centre of mass behind the hinge.
    """

    bending_mass: float
    coupling: float
    inertia: float
    bending_stiffness: float
    hinge_stiffness: float

    @property
    def mass_matrix(self) -> np.ndarray:
        """(2, 2), bending first."""
        return np.array([[self.bending_mass, self.coupling], [self.coupling, self.inertia]])

    @property
    def stiffness(self) -> np.ndarray:
        """(2,), bending first."""
        return np.array([self.bending_stiffness, self.hinge_stiffness])

    def frequencies(self) -> np.ndarray:
        """Return the natural frequencies in still air, Hz, coupled, (2,), the lower first."""
        squares = np.linalg.eigvals(np.linalg.solve(self.mass_matrix, np.diag(self.stiffness)))
        return np.sort(np.sqrt(squares.real)) / (2.0 * math.pi)


def panel_of(fin: FinSet) -> Panel:
    """Return a panel in strips. Raises ValueError, in one sentence, where its Young's modulus or its mass is not known.

    The bending motion is the deflection of a uniform cantilever under an even load (6 x^2 - 4 x^3 + x^4)/3, clamped at the root: with a stiff shaft.
    Its frequency is 0.4 % above the exact one of a uniform panel (3.530 for 3.516; Bisplinghoff, Ashley and Halfman 1955, ch. 3).
    """
    part = fin.part
    node, weight = np.polynomial.legendre.leggauss(STRIPS)
    share, width = 0.5 * (node + 1.0), 0.5 * weight * fin.span
    shape = (6.0 * share**2 - 4.0 * share**3 + share**4) / 3.0
    curvature = 4.0 * (1.0 - share) ** 2 / fin.span**2
    y = share * fin.span
    areal = (
        part.mass / (part.count * fin.area) if part.mass is not None else (MATERIALS[part.material] if part.density is None else part.density) * part.thickness
    )
    rigidity = property_of(part, "youngs_modulus") * part.thickness**3 / 12.0
    return Panel(width, fin.chord(y), fin.leading_edge(y), shape, curvature, part.hinge, areal, rigidity)


def modes_of(panel: Panel, hinge_stiffness: float) -> Modes:
    """Return mass and stiffness of a panel's two motions: w = shape(y) u + (x - hinge) theta, down positive, integrated over the plate."""
    arm = panel.edge - panel.hinge
    first = panel.chord * (arm + 0.5 * panel.chord)
    second = ((arm + panel.chord) ** 3 - arm**3) / 3.0
    return Modes(
        bending_mass=float(panel.areal_mass * np.sum(panel.width * panel.chord * panel.shape**2)),
        coupling=float(panel.areal_mass * np.sum(panel.width * panel.shape * first)),
        inertia=float(panel.areal_mass * np.sum(panel.width * second)),
        bending_stiffness=float(panel.rigidity * np.sum(panel.width * panel.chord * panel.curvature**2)),
        hinge_stiffness=hinge_stiffness,
    )


# ---------------------------------------------------------------- free play


def play_factor(amplitude) -> np.ndarray:
    """Return the share of the hinge's stiffness that a swing of an amplitude meets, in half plays: 0 up to 1, 1 for large ones.

    Describing function of a dead zone: 1 - 2/pi (asin(1/A) + sqrt(1 - 1/A^2)/A) (A. Gelb and W. E. Vander Velde, Multiple-Input Describing Functions
    and Nonlinear System Design, 1968, app. B).
    """
    inverse = 1.0 / np.maximum(np.asarray(amplitude, dtype=float), 1.0)
    return 1.0 - 2.0 / math.pi * (np.arcsin(inverse) + inverse * np.sqrt(1.0 - inverse**2))


def play_amplitude(factor: float) -> float:
    """Return the amplitude, in half plays, of the swing that meets a share of the hinge's stiffness, 0 to below 1: the inverse of `play_factor`."""
    low, high = 1.0, 1e6
    for _ in range(80):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if play_factor(middle) < factor else (low, middle)
    return low
