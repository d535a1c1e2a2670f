"""Hinged (control) fins over a flight: how far they are from divergence, from flutter, and what free play makes of both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sixdof.study.probes.columns import FinColumn
from sixdof.study.structure.flutter_air import Air
from sixdof.study.structure.hinge_flutter import Slopes, air_matrices, divergence_pressure, flutter_speeds
from sixdof.study.structure.hinge_modes import modes_of, panel_of, play_amplitude
from sixdof.vehicle.aero.blend import TRANSONIC, smoothstep
from sixdof.vehicle.aero.table import fin_columns
from sixdof.vehicle.geometry import FinSet, Shape

MACHS, DENSITIES = 25, 3  # of the table that flights are read from
FACTORS = np.array([0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.7, 0.85])  # shares of the hinge's stiffness that swings within the play's reach meet
LEAST_MACH = 0.05
FARTHEST = 1000.0  # m/s: of a flutter speed far above the speed of sound the slopes of a slow stream say nothing


@dataclass(frozen=True)
class HingeTable:
    """A hinged fin over Mach (n,) and density (m,): dynamic pressure of divergence (n,), flutter speed (n, m), and the same by share of the stiffness.

    frequencies : of the two motions in still air, Hz, the lower first. soft : flutter speeds (factors, n, m) of `FACTORS`, empty without play.
    """

    mach: np.ndarray
    density: np.ndarray
    divergence: np.ndarray
    speed: np.ndarray
    soft: np.ndarray
    frequencies: np.ndarray

    def divergence_margin(self, air: Air) -> np.ndarray:
        """Return V_D/V at Mach number and density of a flight (rows,), inf where the load acts behind the hinge."""
        inverse = np.interp(air.mach, self.mach, 1.0 / self.divergence) * air.dynamic_pressure
        return _inverted(np.sqrt(inverse))

    def flutter_margin(self, air: Air) -> np.ndarray:
        """Return V_F/V at Mach number and density of a flight (rows,), inf where no flutter is found."""
        return _inverted(_over(self, self.speed, air) * air.airspeed)

    def soft_margins(self, air: Air) -> np.ndarray:
        """Return V_F/V by share of the stiffness (factors, rows)."""
        return np.array([_inverted(_over(self, one, air) * air.airspeed) for one in self.soft]).reshape(len(self.soft), len(air.time))


def _inverted(values: np.ndarray) -> np.ndarray:
    return np.where(values > 0.0, 1.0 / np.maximum(values, 1e-300), np.inf)


def _over(table: HingeTable, speed: np.ndarray, air: Air) -> np.ndarray:
    """Return 1/V_F at the rows of a flight, straight lines over Mach number and the logarithm of density: 0 where there is none."""
    inverse = 1.0 / speed
    by_density = np.array([np.interp(air.mach, table.mach, column) for column in inverse.T])  # (m, rows)
    at = np.interp(np.log(air.density), np.log(table.density), np.arange(len(table.density)))
    low = np.minimum(at.astype(int), len(table.density) - 2)
    rows = np.arange(len(at))
    return by_density[low, rows] + (at - low) * (by_density[low + 1, rows] - by_density[low, rows])


def slopes_of(fin: FinSet, shape: Shape, mach: np.ndarray) -> Slopes:
    """Return the panel's slope per deflection and where it acts, as the kernel flies them: slot at the root and the body's part in it included."""
    columns = fin_columns(mach, fin, shape)
    slope = columns[:, FinColumn.SLOPE] * columns[:, FinColumn.DW] * shape.area / fin.area
    return Slopes(slope, (columns[:, FinColumn.X] - fin.x0 - fin.x_mac_le) / fin.mac, 1.0 - smoothstep(mach, *TRANSONIC))


def hinge_table(fin: FinSet, shape: Shape, top: float, densities: tuple[float, float]) -> HingeTable:
    """Return what a hinged fin does up to a Mach number and between two densities (kg/m^3).

    Raises ValueError, in one sentence, where its hinge stiffness, its Young's modulus or its mass is not known.
    """
    part = fin.part
    if part.hinge_stiffness is None:
        raise ValueError(
            f'fins "{part.name}" say no hinge_stiffness, without which nothing is known of their divergence and flutter: hold the servo under power, hang a '
            "weight on the fin's trailing edge and give hinge_stiffness = moment/angle"
        )
    mach = np.linspace(LEAST_MACH, max(top, 2.0 * LEAST_MACH), MACHS)
    density = np.geomspace(0.98 * densities[0], 1.02 * densities[1], DENSITIES)
    panel, slopes = panel_of(fin), slopes_of(fin, shape, mach)
    modes = modes_of(panel, part.hinge_stiffness)
    air = air_matrices(panel, slopes)
    softer = [modes._replace(hinge_stiffness=share * part.hinge_stiffness) for share in FACTORS if part.hinge_play]
    soft = [_near(flutter_speeds(one, panel.semichord, air, density)[0]) for one in softer]
    return HingeTable(
        mach=mach,
        density=density,
        divergence=divergence_pressure(panel, slopes, part.hinge_stiffness),
        speed=_near(flutter_speeds(modes, panel.semichord, air, density)[0]),
        soft=np.array(soft).reshape(-1, MACHS, DENSITIES),
        frequencies=modes.frequencies(),
    )


def _near(speed: np.ndarray) -> np.ndarray:
    """Return flutter speeds with inf in place of those that are too far off to mean anything."""
    return np.where(speed < FARTHEST, speed, np.inf)


def cycle_amplitude(least: np.ndarray, play: float) -> float:
    """Return the amplitude (rad) of the limit cycle that free play allows, 0 where it allows none.

    least : (factors,) least V_F/V over a flight by share of the stiffness. play : rad, from stop to stop. A swing grows until the share of the
    stiffness that it meets is one at which the fin no longer flutters.
    """
    short = FACTORS[: len(least)][np.asarray(least) < 1.0]
    return 0.5 * play * play_amplitude(float(short.max())) if short.size else 0.0
