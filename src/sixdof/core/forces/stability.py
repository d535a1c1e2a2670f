"""Static stability as flown: force and moment of `air_loads` at small incidence, and where the least stable plane has its centre."""

from __future__ import annotations

from math import nan, sqrt
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.columns import FinRow, SlopeColumn, StableColumn, StreamColumn, StreamResult
from sixdof.core.forces.aerodynamics import air_loads, flow_of
from sixdof.core.forces.loads import Air
from sixdof.core.lanes import cell
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import Aero, Station, Vec3

SPEED, DENSITY, VISCOSITY = 100.0, 1.2, 1.8e-5  # of a stream in which no coefficient at small incidence depends on the speed
STILL = 1e-9  # a Mach number that is none
FLAT = 1e-9  # 1/rad: less than this is no normal force
ALIKE = 1e-6  # of the reference length: planes whose centres are closer than that have no foremost one


class Tunnel(NamedTuple):
    """What `air_loads` asks of a DrawnModel, for tables alone."""

    aero: Aero
    drag: float
    normal: float
    cp_shift: float
    panel_cant: np.ndarray
    cant: float


@kernel
def near_axis(aero: Aero, cant: np.ndarray, seen: np.ndarray, fins: np.ndarray, conditions: np.ndarray, out: np.ndarray) -> None:
    """Fill out (n, 4) with C_Y, C_Z, C_m, C_n of conditions (n, STREAM_COLUMNS) close to the axis, fins at their neutral angles.

    cant : (panels,) fixed deflections, rad. seen : (panels, SEEN_COLUMNS) scratch. fins : (4, controls), the last row ones.
    """
    for i in range(conditions.shape[0]):
        row = conditions[i]
        air = Air(DENSITY, 0.0, SPEED / max(row[StreamColumn.MACH], STILL), VISCOSITY, 0.0)
        tunnel = Tunnel(aero, 1.0, row[StreamColumn.NORMAL], 0.0, cant, 0.0)
        u = Vec3(SPEED, SPEED * row[StreamColumn.SIDE], SPEED * row[StreamColumn.DOWN])
        rate = Vec3(0.0, row[StreamColumn.RATE] * 2.0 * SPEED / aero.length, 0.0)
        load = air_loads(tunnel, flow_of(aero, u, rate, air), Station(row[StreamColumn.CG], 0.0, 0.0), 0.0, fins, FinRow.START, seen)
        scale = 0.5 * DENSITY * SPEED * SPEED * aero.area
        out[i, StreamResult.SIDE_FORCE], out[i, StreamResult.DOWN_FORCE] = load.force.y / scale, load.force.z / scale
        out[i, StreamResult.PITCH], out[i, StreamResult.YAW] = load.moment.y / (scale * aero.length), load.moment.z / (scale * aero.length)


@helper
def _sum_at(aero: Aero, i: int, f: float, normal: float, column: int) -> float:
    """Return a column of Aero.slope between Mach rows i and i + 1, its terms summed in powers of the normal-force factor."""
    total, power = 0.0, 1.0
    for k in range(aero.slope.shape[1]):
        a, b = aero.slope[i, k, column], aero.slope[i + 1, k, column]
        total += power * (a + f * (b - a))
        power *= normal
    return total


@helper
def least_stable(aero: Aero, mach: float, normal: float) -> tuple[float, float, float, float, float]:
    """Return (station of the centre of pressure, CN_alpha, y and z of the cross flow's direction, its station in the plane where it is
    furthest aft) in the plane of incidence where the centre of pressure is foremost.

    Incidence in a plane e makes the force e.A.e along e and the moment e.B.e about the nose, so the foremost centre is the least root of
    det(B - x A) = 0. Vehicles whose planes are all alike give the direction (0, 1). NaN where some plane has no normal force.
    """
    i, f = cell(mach * aero.per_mach, aero.slope.shape[0])
    ayy, azz = _sum_at(aero, i, f, normal, SlopeColumn.YY), _sum_at(aero, i, f, normal, SlopeColumn.ZZ)
    ayz, byz = _sum_at(aero, i, f, normal, SlopeColumn.YZ), _sum_at(aero, i, f, normal, SlopeColumn.FIRST_YZ)
    byy, bzz = (_sum_at(aero, i, f, normal, SlopeColumn.FIRST_YY), _sum_at(aero, i, f, normal, SlopeColumn.FIRST_ZZ))
    area = ayy * azz - ayz * ayz
    if ayy + azz < FLAT or area < FLAT * FLAT:
        return nan, azz, 0.0, 1.0, nan
    mean = 0.5 * (ayy * bzz + azz * byy - 2.0 * ayz * byz) / area
    cyy, czz, cyz = byy - mean * ayy, bzz - mean * azz, byz - mean * ayz
    half = sqrt(max(cyz * cyz - cyy * czz, 0.0) / area)
    x = mean - half
    # B - x A has one direction without a moment, across its larger row
    dyy, dzz, dyz = byy - x * ayy, bzz - x * azz, byz - x * ayz
    y, z = (-dyz, dyy) if abs(dyy) > abs(dzz) else (dzz, -dyz)
    size = sqrt(y * y + z * z)
    if half < ALIKE * aero.length or size == 0.0:
        y, z, size = 0.0, 1.0, 1.0
    y, z = y / size, z / size
    return x, ayy * y * y + azz * z * z + 2.0 * ayz * y * z, y, z, mean + half


@kernel
def static_margin(drawn: DrawnModel, mach: float, cg: Station) -> float:
    """Return (foremost centre of pressure - centre of mass)/reference length at small incidence, calibres."""
    x, _, _, _, _ = least_stable(drawn.aero, mach, drawn.normal)
    return (x + drawn.cp_shift - cg.x) / drawn.aero.length


@kernel
def least_stable_at(aero: Aero, mach: np.ndarray, out: np.ndarray) -> None:
    """Fill out (n, 5) with what `least_stable` says at Mach numbers (n,)."""
    for i in range(mach.shape[0]):
        x, slope, y, z, x_aft = least_stable(aero, mach[i], 1.0)
        out[i, StableColumn.X], out[i, StableColumn.SLOPE] = x, slope
        out[i, StableColumn.Y], out[i, StableColumn.Z], out[i, StableColumn.X_AFT] = y, z, x_aft
