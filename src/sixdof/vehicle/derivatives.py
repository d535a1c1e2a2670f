"""The kernel's forces at small incidence as the usual derivatives, worked out from its own tables.

Slopes per radian on the reference area, moments on the reference length d; rates as q d/(2V), p d/(2V); negative is
damping. Held against the kernel itself in tests/vehicle/test_derivatives.py.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.types import (
    BODY_S0, BODY_S1, BODY_S2, FIN_DW, FIN_KB, FIN_KW, FIN_ROLL_DAMP, FIN_ROLL_DIRECT, FIN_SLOPE, FIN_X, FIN_XB, PANEL_SET, PANEL_Y, PANEL_Y_ROLL,
    Aero,
)  # fmt: skip


class Derivatives(NamedTuple):
    """Derivatives over Mach (n,); those of the fin sets are (sets, n), one set at a time."""

    slope: np.ndarray  # CN_alpha
    centre: np.ndarray  # its station, m; NaN where the slope is zero
    body_slope: np.ndarray  # CN_alpha of the body without fins
    fin_slope: np.ndarray  # CN_alpha of every set with what it carries over onto the body
    pitch_damping: np.ndarray  # C_m_q about the given cg
    fin_roll_damping: np.ndarray  # C_l_p of every set
    fin_roll_forcing: np.ndarray  # C_l per rad of the same deflection of every panel of a set


def derivatives(aero: Aero, mach, cg: float) -> Derivatives:
    """Return the derivatives over `mach` (n,) about the station `cg` (m), linear between the table's rows.

    A set's normal force is half its panels' sum: exact in any roll angle for three panels or more; of two, the mean.
    """
    mach = np.asarray(mach, dtype=float)
    body, fin = at_mach(aero, aero.body, mach), at_mach(aero, aero.fin, mach)
    first = _of_set(aero)
    count = np.bincount(aero.panel[:, PANEL_SET].astype(int), minlength=fin.shape[1])
    arm, arm_roll = aero.panel[first, PANEL_Y], aero.panel[first, PANEL_Y_ROLL]
    panels = count * fin[..., FIN_SLOPE]  # (n, sets)
    ahead, ahead_body = cg - fin[..., FIN_X], cg - fin[..., FIN_XB]

    force = 0.5 * panels * (fin[..., FIN_KW] + fin[..., FIN_KB])
    moment = 0.5 * panels * (fin[..., FIN_KW] * fin[..., FIN_X] + fin[..., FIN_KB] * fin[..., FIN_XB])
    slope = body[:, BODY_S0] + force.sum(axis=1)
    spread = body[:, BODY_S0] * cg**2 - 2.0 * body[:, BODY_S1] * cg + body[:, BODY_S2]
    turned = 0.5 * panels * ahead * (fin[..., FIN_KW] * ahead + fin[..., FIN_KB] * ahead_body)
    return Derivatives(
        slope=slope,
        centre=ratio(body[:, BODY_S1] + moment.sum(axis=1), slope),
        body_slope=body[:, BODY_S0],
        fin_slope=force.T,
        pitch_damping=-2.0 * (spread + turned.sum(axis=1)) / aero.length**2,
        fin_roll_damping=-2.0 * (panels * fin[..., FIN_ROLL_DAMP] * arm * arm_roll).T / aero.length**2,
        fin_roll_forcing=(panels * fin[..., FIN_ROLL_DIRECT] * fin[..., FIN_DW] * arm).T / aero.length,
    )


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
    return np.unique(aero.panel[:, PANEL_SET], return_index=True)[1]
