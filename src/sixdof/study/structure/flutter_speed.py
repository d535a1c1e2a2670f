"""The speed at which a plain fin flutters after NACA TN 4197, and the margin that measured flutter demands of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from sixdof.mission.tables.materials import property_of
from sixdof.vehicle.geometry import FinSet
from sixdof.world.atmosphere import GAMMA

PSI = 6894.757293168  # Pa
MARTIN = 39.3 * PSI  # Pa: 24 eps gamma p0/pi with the centre of mass a quarter of a chord behind the quarter-chord (eps), as printed
SEA_LEVEL = 14.696 * PSI  # Pa

# what TN 4197 gives over the speed at which a plate-like wing fluttered in a tunnel: AGARD standard configuration 445.6, weakened model 3, in air
# (E. C. Yates, NASA TM 100492, 1987, after NASA TN D-1616, 1963)
MEASURED_MACH = (0.499, 0.678, 0.901, 0.960, 1.072, 1.141)
MEASURED_RATIO = (1.07, 1.14, 1.29, 1.55, 1.49, 1.18)

# Margin on TN 4197's speed that is demanded over Mach. These lines run above all six points, and above the straight lines between them, by 5 % (the
# wing's shear modulus is known to 10 %); 1.25 is the least anywhere (common practice: 1.2 to 1.5), and nothing was measured beyond Mach 1.14.
REQUIRED_MACH = (0.0, 0.68, 0.90, 0.95, 1.10, 1.20, 1.40)
REQUIRED_MARGIN = (1.25, 1.25, 1.40, 1.65, 1.65, 1.40, 1.30)


def required_margin(mach) -> np.ndarray:
    """Return the margin V_f/V that is demanded of TN 4197's speed at Mach numbers `mach`, straight lines between the points, constant outside."""
    return np.interp(np.asarray(mach, dtype=float), REQUIRED_MACH, REQUIRED_MARGIN)


@dataclass(frozen=True)
class Plate:
    """What TN 4197 asks of a panel: its aspect ratio (semispan over mean chord), taper, thickness over root chord, shear modulus (Pa).

    An ellipse or a polygon counts as the trapezoid of the same root chord, semispan and area; one with more area than the rectangle on its root
    has a taper above 1, one with less than the triangle 0.
    """

    aspect_ratio: float
    taper: float
    thickness_ratio: float
    shear_modulus: float

    @property
    def critical_pressure(self) -> float:
        """The dynamic pressure (Pa) at which it flutters, whatever the air: V_f = a sqrt(G/(D p)) is q_f = gamma G/(2 D), since q = gamma p M^2/2."""
        shape = MARTIN * self.aspect_ratio**3 / (self.thickness_ratio**3 * (self.aspect_ratio + 2.0)) * 0.5 * (self.taper + 1.0) / SEA_LEVEL
        return 0.5 * GAMMA * self.shear_modulus / shape

    def flutter_speed(self, pressure, sound_speed) -> np.ndarray:
        """Return the flutter speed (m/s) in air of a static pressure (Pa) and a sound speed (m/s).

        D. J. Martin, NACA TN 4197, 1958, eq. 18: V_f = a sqrt(G/[39.3 psi A^3/((t/c)^3 (A + 2)) (lambda + 1)/2 p/p0]), as printed. A
        form that goes around halves the constant (a rectangular section's stiffness in torsion) and gives sqrt(2) more; it is not used: measured
        flutter lies below even this one (see `required_margin`).
        """
        return np.asarray(sound_speed) * np.sqrt(2.0 * self.critical_pressure / (GAMMA * np.asarray(pressure)))


def plate_of(fin: FinSet) -> Plate:
    """Return the plate of a panel. Raises ValueError, in one sentence, where its shear modulus is not known."""
    part = fin.part
    tip = max(2.0 * fin.mean_chord - fin.root_chord, 0.0)
    return Plate(fin.span / fin.mean_chord, tip / fin.root_chord, part.thickness / fin.root_chord, property_of(part, "shear_modulus"))


def thickness_needed(thickness: float, reserve: float) -> float:
    """Return the thickness (m) that makes a reserve (margin over the demanded one) 1: V_f goes as t^(3/2), so t/reserve^(2/3)."""
    return thickness / reserve ** (2.0 / 3.0) if reserve > 0.0 else math.nan


def modulus_needed(modulus: float, reserve: float) -> float:
    """Return the shear modulus (Pa) that makes a reserve 1: V_f goes as sqrt(G), so G/reserve^2."""
    return modulus / reserve**2 if reserve > 0.0 else math.nan
