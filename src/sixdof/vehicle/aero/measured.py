"""Measured coefficients in place of the build-up: the body's normal force, a panel's, a set's roll, the axial force at incidence.

Curves are straight lines between their points and held beyond both ends. The axial force's at none are read in
`aero_drag`.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.tables import AxialCurve, BodyCurve, Measured
from sixdof.vehicle.geometry import FinSet

SINES = 201  # columns of the factor on the axial force
# beyond, the square of the cosine alone: the factor would grow without limit at 90 deg
LAST_INCIDENCE = math.radians(80.0)


def measured_of(mission: Mission, stages: Sequence[int]) -> Measured | None:
    """Return the measurements that hold for the aerodynamics of `stages` flying together, None if there are none.

    They are the aft stage's, and belong to that stage with every stage that stands on it; a stage that flies without
    the ones in front of it has none.
    """
    return mission.stage[stages[-1]].measured if list(stages) == list(range(len(stages))) else None


def body_curve_of(mission: Mission, stages: Sequence[int]) -> BodyCurve | None:
    """Return the measured normal force of the body of `stages` flying together, None where there is none."""
    measured = measured_of(mission, stages)
    return None if measured is None else measured.body_curve


def measured_body(curve: BodyCurve, mach, built: np.ndarray) -> np.ndarray:
    """Return S0, S1, S2 (n, 3) over `mach` (n,) of a body with a measured slope and centre of pressure.

    The spread about the centre, which damps, is the build-up's, S2/S0 - (S1/S0)^2, where the build-up `built` (n, 3)
    has a force to spread.
    """
    slope = np.interp(mach, curve.mach, curve.slope)
    centre = np.interp(mach, curve.mach, curve.centre)
    has = np.abs(built[:, 0]) > 1e-6
    usual = np.where(has, built[:, 0], 1.0)
    spread = np.where(has, built[:, 2] / usual - (built[:, 1] / usual) ** 2, 0.0)
    return np.column_stack([slope, slope * centre, slope * (centre**2 + spread)])


def measured_panel(fin: FinSet, mach, reference: float) -> tuple[np.ndarray, np.ndarray]:
    """Return (slope on the area `reference`, station of the centre of pressure) over `mach` of a set with a curve."""
    curve = fin.part.panel_curve
    slope = np.interp(mach, curve.mach, curve.slope) * fin.area / reference
    return slope, fin.x0 + np.interp(mach, curve.mach, curve.centre)


def measured_roll(fin: FinSet, mach) -> tuple[np.ndarray | None, np.ndarray | None]:
    """Return a set's measured rolling moments over dynamic pressure over `mach` (n,), None where not given: damping per p/V
    (m^4, against the roll), and per rad of deflection (m^3).
    """
    damping, forcing = fin.part.roll_damping_curve, fin.part.roll_forcing_curve
    length = 2.0 * fin.body_radius
    moment = 0.25 * math.pi * length**3
    return (
        None if damping is None else -0.5 * length * moment * np.interp(mach, damping.mach, damping.damping),
        None if forcing is None else moment * np.interp(mach, forcing.mach, forcing.forcing),
    )


def axial_grid(curve: AxialCurve) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return (Mach numbers (m,), incidences (k,) in rad, coefficients (m, k)) of a measured axial force, both rising."""
    mach, incidence = np.unique(curve.mach), np.unique(curve.incidence)
    order = np.lexsort((curve.incidence, curve.mach))
    return mach, incidence, np.array(curve.coefficient)[order].reshape(mach.size, incidence.size)


def axial_at_none(curve: AxialCurve, mach) -> np.ndarray:
    """Return the measured axial coefficient at zero incidence over `mach` (n,)."""
    known, _, coefficient = axial_grid(curve)
    return np.interp(mach, known, coefficient[:, 0])


def axial_shape(mission: Mission, stages: Sequence[int], mach) -> np.ndarray:
    """Return the factor on the axial force over `mach` (n,) and the sine of incidence 0..1 (n, columns).

    The kernel multiplies by the cosine's square (L. H. Jorgensen, NASA TN D-6996, 1973), so a measured force gives
    C_A(M, a)/(C_A(M, 0) cos^2 a), held beyond the last incidence and beyond 80 deg; ones where none is given.
    """
    measured = measured_of(mission, stages)
    if measured is None or measured.axial_curve is None:
        return np.ones((np.size(mach), 2))
    known, incidence, coefficient = axial_grid(measured.axial_curve)
    angle = np.minimum(np.arcsin(np.linspace(0.0, 1.0, SINES)), min(incidence[-1], LAST_INCIDENCE))
    over_angle = np.array([np.interp(angle, incidence, row) for row in coefficient])
    table = np.array([np.interp(mach, known, column) for column in over_angle.T]).T
    return np.ascontiguousarray(table / (table[:, :1] * np.cos(angle) ** 2))
