"""What strip theory's rolling moments of a set of fins are multiplied by: damping and direct roll, over Mach.

Strip theory with the panel's slope (Barrowman 1967) has a panel's rolling moment as slope times arm times incidence. It is
too large below Mach 1, by a quarter to two and a half times: in a roll the load falls off more steeply along the span, and
each panel blows on the next. The factors are the moments of a vortex lattice to Mach 0.8 and of linear supersonic theory
from 1.2, over strip theory's; a cubic joins them. The set's moment is then right for any deflections of its panels: rolling
moments add, and by symmetry only the mean deflection rolls.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from sixdof.vehicle.aero import interference
from sixdof.vehicle.aero.blend import monotone, smoothstep
from sixdof.vehicle.aero.fin import panel_slope, roll_arm
from sixdof.vehicle.aero.roll_lattice import lattice_moments
from sixdof.vehicle.aero.roll_waves import wave_moments
from sixdof.vehicle.geometry import FinSet

SLOW = np.array([0.0, 0.4, 0.6, 0.8])  # Mach numbers of the lattice
SLENDER = 0.01  # beta of slender bodies
FAST = np.array([1.2, 1.35, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0, 5.0])  # of linear supersonic theory; held beyond
MACH = np.concatenate([SLOW, FAST])
RINGING = (2.0, 5.0)  # length of a fin over beta and its exposed span: waves below, slender-body theory above (ours)
LEAST = 0.1  # a set of fins damps, whatever the waves of long fins close together make


def roll_factors(mach, fin: FinSet) -> tuple[np.ndarray, np.ndarray]:
    """Return the factors (n,) over `mach` (n,) on strip theory's damping and direct roll of a set of fins.

    Strip theory is that with the panel's slope in the set; a measured panel is one alone, so that its factors hold the
    crowding too. Between the Mach numbers of the theories the factors are monotone cubics, so that between 0.8 and 1.2 the moments go with the panel's slope.

    Accuracy (ours): 5 % below Mach 0.8, 10 % above 1.2 where the leading edge is ahead of its Mach cone, 20 % elsewhere.
    """
    direct, damping = _moments(fin.part.count, fin.body_radius, fin.points.tobytes())
    strip = (fin.body_radius + fin.y_mac) * panel_slope(MACH, fin, 1.0, fin.part.count if fin.part.panel_curve is None else 1)
    turned = interference.panel_deflection(fin.body_radius / (fin.body_radius + fin.span))
    factors = np.maximum([damping / (strip * roll_arm(fin)), direct / (strip * turned)], LEAST)
    return tuple(monotone(np.minimum(mach, MACH[-1]), MACH, row) for row in factors)


@lru_cache(maxsize=256)
def _moments(count: int, radius: float, points: bytes) -> np.ndarray:
    """Return one panel's moments (2, k) at MACH, direct m^3 and damping m^4; kept, for a set of fins flies in many missions
    and stacks.
    """
    outline = np.frombuffer(points).reshape(-1, 2)
    beta = np.append(np.sqrt(1.0 - SLOW**2), SLENDER)
    slow = lattice_moments(count, radius, outline, 1.0 / beta)
    return np.concatenate([slow[:, :-1], _of_waves(count, radius, outline, slow[:, -1:])], axis=1)


def _of_waves(count: int, radius: float, outline: np.ndarray, slender: np.ndarray) -> np.ndarray:
    """Return the moments (2, k) at FAST.

    Between body and neighbours the waves of a straight leading edge ring on, by up to half of the mean, for many spans
    behind it. Linear theory alone says so: long fins get what the ringing tends to, the slender moments (2, 1) (ours).
    """
    x, y = outline.T
    length = np.ptp(x) / np.ptp(y)
    beta = np.sqrt(FAST**2 - 1.0)
    waves = wave_moments(count, radius, outline, np.maximum(beta, length / RINGING[1]))
    return waves + smoothstep(length / beta, *RINGING) * (slender - waves)
