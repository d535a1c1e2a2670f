"""The kernel's forces at small incidence as the usual derivatives: of the whole as flown, of its parts from the tables.

Slopes per radian on the reference area, moments on the reference length d; rates as q d/(2V), p d/(2V); negative is
damping. Held against the kernel itself in tests/vehicle/test_derivatives.py.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.columns import BodyColumn, FinColumn, PanelColumn
from sixdof.core.types import Aero
from sixdof.vehicle.stability import Plane, least_stable_plane, pitch_damping


class Derivatives(NamedTuple):
    """Derivatives over Mach (n,); those of the fin sets are (sets, n), one set at a time.

    Normal force is that in `plane`: of incidence where the centre of pressure lies foremost. slope is body_slope and all fin_slope, and what
    the downwash of fins takes from fins behind them.
    """

    slope: np.ndarray  # CN_alpha
    centre: np.ndarray  # its station, m; NaN where some plane has no normal force
    body_slope: np.ndarray  # CN_alpha of the body without fins
    fin_slope: np.ndarray  # CN_alpha of every set alone with what it carries over onto the body
    downwash_slope: np.ndarray  # what fins take from fins behind them, negative as a rule
    pitch_damping: np.ndarray  # C_m_q about the given cg
    fin_roll_damping: np.ndarray  # C_l_p of every set
    fin_roll_forcing: np.ndarray  # C_l per rad of the same deflection of every panel of a set
    plane: Plane


def derivatives(aero: Aero, mach, cg: float) -> Derivatives:
    """Return the derivatives over `mach` (n,) about the station `cg` (m), linear between the table's rows."""
    mach = np.asarray(mach, dtype=float)
    body, fin = at_mach(aero, aero.body, mach), at_mach(aero, aero.fin, mach)
    first = _of_set(aero)
    count = np.bincount(aero.panel[:, PanelColumn.SET].astype(int), minlength=fin.shape[1])
    arm, arm_roll = aero.panel[first, PanelColumn.Y], aero.panel[first, PanelColumn.Y_ROLL]
    panels = count * fin[..., FinColumn.SLOPE]  # (n, sets)
    plane = least_stable_plane(aero, mach)
    force = facing(aero, plane) * fin[..., FinColumn.SLOPE] * (fin[..., FinColumn.KW] + fin[..., FinColumn.KB])
    alone = body[:, BodyColumn.S0] + force.sum(axis=1)
    return Derivatives(
        slope=plane.slope,
        centre=plane.centre,
        body_slope=body[:, BodyColumn.S0],
        fin_slope=force.T,
        downwash_slope=plane.slope - alone if len(aero.wake_pair) else np.zeros_like(alone),
        pitch_damping=pitch_damping(aero, mach, cg),
        fin_roll_damping=-2.0 * (panels * fin[..., FinColumn.ROLL_DAMP] * arm * arm_roll).T / aero.length**2,
        fin_roll_forcing=(panels * fin[..., FinColumn.ROLL_DIRECT] * fin[..., FinColumn.DW] * arm).T / aero.length,
        plane=plane,
    )


def facing(aero: Aero, plane: Plane) -> np.ndarray:
    """Return how many panels' worth of normal force each set has in a plane of incidence (n, sets): half of three or more."""
    along = np.outer(plane.side, aero.panel[:, PanelColumn.COS]) + np.outer(plane.down, aero.panel[:, PanelColumn.SIN])
    sets = aero.panel[:, PanelColumn.SET].astype(int)
    return np.array([(along[:, sets == number] ** 2).sum(axis=1) for number in range(aero.fin.shape[1])]).reshape(-1, len(along)).T


def at_mach(aero: Aero, table: np.ndarray, mach) -> np.ndarray:
    """Return rows of a table over Mach at `mach` (n,), straight lines between them and held beyond, as the kernel does."""
    place = np.clip(np.asarray(mach, dtype=float) * aero.per_mach, 0.0, table.shape[0] - 1.0)
    row = np.minimum(place.astype(int), table.shape[0] - 2)
    share = (place - row).reshape(-1, *[1] * (table.ndim - 1))
    return table[row] + share * (table[row + 1] - table[row])


def ratio(moment, force) -> np.ndarray:
    """Return moment/force, NaN where there is no force to speak of."""
    return np.divide(moment, force, out=np.full(np.shape(force), np.nan), where=np.abs(force) > 1e-12)


def _of_set(aero: Aero) -> np.ndarray:
    """Return the first panel's row of every set."""
    return np.unique(aero.panel[:, PanelColumn.SET], return_index=True)[1]
