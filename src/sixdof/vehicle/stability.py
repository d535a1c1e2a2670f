"""Stability as flown: the slopes of the kernel's own forces at small incidence, as a table over Mach and as numbers for display.

One definition for everything that says margin, slope or centre of pressure: central differences of `core.aerodynamics.air_loads`, the
downwash of fins on fins behind them included, fins at neutral (the mission's own cant, no command), in the plane of incidence where the
centre of pressure lies foremost. With three equal fins or more in every set, or four in line, all planes are alike; two fins, or sets that
do not fit one another, are stable in some planes more than in others.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.columns import FIN_ROWS, SEEN_COLUMNS, STREAM_COLUMNS, FinRow, PanelColumn, StreamColumn, WakeColumn
from sixdof.core.forces import stability as kernel
from sixdof.core.types import Aero

SMALL = 1e-8  # rad: what vortices do by moving off the axis goes with its square; differences keep eight digits
DIFFERENT = 0.01  # reference lengths: planes whose centres of pressure are closer are not worth a word


class Plane(NamedTuple):
    """Stability over Mach (n,) in the plane of incidence where the centre of pressure lies foremost."""

    slope: np.ndarray  # CN_alpha, 1/rad
    centre: np.ndarray  # its station, m; NaN where some plane has no normal force
    side: np.ndarray  # direction of the cross flow in that plane: along body y
    down: np.ndarray  # and along body z; 0, 1 where all planes are alike
    aft: np.ndarray  # station of the centre of pressure in the plane where it lies furthest aft, m

    def differs(self, length: float) -> np.ndarray:
        """Tell (n,) whether planes differ by more than a hundredth of the reference length (m)."""
        return self.aft - self.centre > DIFFERENT * length


def with_slopes(aero: Aero) -> Aero:
    """Return the tables with `slope` computed from all the others."""
    rows = aero.body.shape[0]
    terms = _chain(aero)
    factors = np.array([1.0]) if terms == 1 else np.linspace(0.5, 1.5, terms)
    mach = np.arange(rows) / aero.per_mach
    found = np.array([_matrices(aero, mach, factor) / factor for factor in factors])  # (factors, n, columns)
    powers = np.linalg.inv(np.vander(factors, increasing=True))
    return aero._replace(slope=np.ascontiguousarray(np.einsum("tf,fnc->ntc", powers, found)))


def _chain(aero: Aero) -> int:
    """Return how many sets stand in the longest row of fins behind fins: the powers of the normal force that come in."""
    depth = np.ones(aero.fin.shape[1], dtype=int)
    for pair in sorted(aero.wake_pair, key=lambda row: row[WakeColumn.FIRST]):  # panels stand from front to back
        source, receiver = int(aero.panel[int(pair[WakeColumn.FIRST]), PanelColumn.SET]), int(pair[WakeColumn.RECEIVER])
        depth[receiver] = max(depth[receiver], depth[source] + 1)
    return int(depth.max(initial=1))


def _near(aero: Aero, conditions: np.ndarray) -> np.ndarray:
    """Return C_Y, C_Z, C_m, C_n (n, 4) of conditions (n, STREAM_COLUMNS), without viscous cross-flow, which goes with the square."""
    controls = int(aero.panel[:, PanelColumn.CONTROL].max(initial=-1.0)) + 1
    fins = np.zeros((FIN_ROWS, controls))
    fins[FinRow.CARRIED] = 1.0
    out = np.empty((len(conditions), 4))
    aero = aero._replace(cross=np.zeros_like(aero.cross))
    cant = np.ascontiguousarray(aero.panel[:, PanelColumn.CANT])
    kernel.near_axis(aero, cant, np.zeros((len(aero.panel), SEEN_COLUMNS)), fins, np.ascontiguousarray(conditions), out)
    return out


def _slopes(aero: Aero, mach: np.ndarray, column: int, *, factor: float = 1.0, cg: float = 0.0) -> np.ndarray:
    """Return the derivatives (n, 4) of C_Y, C_Z, C_m, C_n by a column of the conditions."""
    rows = np.zeros((2, len(mach), STREAM_COLUMNS))
    rows[..., StreamColumn.MACH], rows[..., StreamColumn.NORMAL], rows[..., StreamColumn.CG] = mach, factor, cg
    rows[0, :, column], rows[1, :, column] = SMALL, -SMALL
    up, down = _near(aero, rows.reshape(-1, STREAM_COLUMNS)).reshape(2, len(mach), 4)
    return (up - down) / (2.0 * SMALL)


def _matrices(aero: Aero, mach: np.ndarray, factor: float) -> np.ndarray:
    """Return the columns of types.Aero.slope (n, SLOPE_COLUMNS) at one factor on the normal force: against the cross flow, so positive."""
    y, z = (_slopes(aero, mach, column, factor=factor) for column in (StreamColumn.SIDE, StreamColumn.DOWN))
    force_yz = -0.5 * (y[:, 1] + z[:, 0])
    # about the nose tip M_y = x F_z and M_z = -x F_y, x the station
    moment = aero.length * np.array([y[:, 3], -z[:, 2], 0.5 * (z[:, 3] - y[:, 2])])
    return np.column_stack([-y[:, 0], -z[:, 1], force_yz, *moment])


def least_stable_plane(aero: Aero, mach) -> Plane:
    """Return slope and centre of pressure as flown over `mach` (n,), straight lines between the table's rows."""
    mach = np.ascontiguousarray(mach, dtype=float)
    out = np.empty((len(mach), 5))
    kernel.least_stable_at(aero, mach, out)
    return Plane(out[:, 1], out[:, 0], *out[:, 2:].T)


def pitch_damping(aero: Aero, mach, cg: float) -> np.ndarray:
    """Return C_m_q about the station `cg` (m) over `mach` (n,), per q d/(2V); the downwash follows without a lag."""
    return _slopes(aero, np.asarray(mach, dtype=float), StreamColumn.RATE, cg=cg)[:, 2]
