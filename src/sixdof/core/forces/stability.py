"""Static stability as flown: force and moment of `air_loads` at small incidence, and where the least stable plane has its centre."""

from __future__ import annotations

from math import nan
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.columns import FinRow, SlopeColumn, StableColumn, StreamColumn, StreamResult
from sixdof.core.forces.aerodynamics import air_loads, flow_of
from sixdof.core.forces.loads import Air
from sixdof.core.lanes import cell, larger, layer_lerp, select, sqrt
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
    damping: float
    control_force: float
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
        air = Air(DENSITY, 0.0, SPEED / larger(row[StreamColumn.MACH], STILL), VISCOSITY, 0.0)
        tunnel = Tunnel(aero, 1.0, row[StreamColumn.NORMAL], 1.0, 1.0, 0.0, cant, 0.0)
        u = Vec3(SPEED, SPEED * row[StreamColumn.SIDE], SPEED * row[StreamColumn.DOWN])
        rate = Vec3(0.0, row[StreamColumn.RATE] * 2.0 * SPEED / aero.length, 0.0)
        load = air_loads(tunnel, flow_of(aero, u, rate, air), Station(row[StreamColumn.CG], 0.0, 0.0), 0.0, fins, FinRow.START, seen)
        scale = 0.5 * DENSITY * SPEED * SPEED * aero.area
        out[i, StreamResult.SIDE_FORCE], out[i, StreamResult.DOWN_FORCE] = load.force.y / scale, load.force.z / scale
        out[i, StreamResult.PITCH], out[i, StreamResult.YAW] = load.moment.y / (scale * aero.length), load.moment.z / (scale * aero.length)


class Slopes(NamedTuple):
    """A row of Aero.slope (SlopeColumn)."""

    yy: float
    zz: float
    yz: float
    first_yy: float
    first_zz: float
    first_yz: float


@helper
def _term_at(slope: np.ndarray, i: int, f: float, term: int) -> Slopes:
    """Return one term of Aero.slope between Mach rows i and i + 1."""
    return Slopes(
        layer_lerp(slope, i, f, term, SlopeColumn.YY),
        layer_lerp(slope, i, f, term, SlopeColumn.ZZ),
        layer_lerp(slope, i, f, term, SlopeColumn.YZ),
        layer_lerp(slope, i, f, term, SlopeColumn.FIRST_YY),
        layer_lerp(slope, i, f, term, SlopeColumn.FIRST_ZZ),
        layer_lerp(slope, i, f, term, SlopeColumn.FIRST_YZ),
    )


@helper
def _slopes_at(aero: Aero, mach: float, normal: float) -> Slopes:
    """Return the slopes at a Mach number, the terms summed in powers of the normal-force factor, the highest first."""
    i, f = cell(mach * aero.per_mach, aero.slope.shape[0])
    last = aero.slope.shape[1] - 1
    sums = _term_at(aero.slope, i, f, last)
    for k in range(last - 1, -1, -1):
        a = _term_at(aero.slope, i, f, k)
        sums = Slopes(
            a.yy + normal * sums.yy,
            a.zz + normal * sums.zz,
            a.yz + normal * sums.yz,
            a.first_yy + normal * sums.first_yy,
            a.first_zz + normal * sums.first_zz,
            a.first_yz + normal * sums.first_yz,
        )
    return sums


class Planes(NamedTuple):
    """Where the centres of pressure of all planes of incidence lie, m: from x to x_aft, NaN where some plane has no normal force (flat)."""

    x: float
    x_aft: float
    half: float  # of the way between them
    flat: bool


@helper
def _planes_of(a: Slopes) -> Planes:
    """Return the Planes of slopes.

    Incidence in a plane e makes the force e.A.e along e and the moment e.B.e about the nose, so the foremost and the last centre are the
    roots of det(B - x A) = 0.
    """
    area = a.yy * a.zz - a.yz * a.yz
    flat = (a.yy + a.zz < FLAT) | (area < FLAT * FLAT)
    per_area = 1.0 / select(flat, 1.0, area)
    mean = 0.5 * (a.yy * a.first_zz + a.zz * a.first_yy - 2.0 * a.yz * a.first_yz) * per_area
    cyy, czz, cyz = a.first_yy - mean * a.yy, a.first_zz - mean * a.zz, a.first_yz - mean * a.yz
    half = sqrt(larger(cyz * cyz - cyy * czz, 0.0) * per_area)
    x = mean - half
    return Planes(select(flat, nan, x), select(flat, nan, mean + half), half, flat)


@helper
def least_stable(aero: Aero, mach: float, normal: float) -> tuple[float, float, float, float, float]:
    """Return (station of the centre of pressure, CN_alpha, y and z of the cross flow's direction, its station in the plane where it is
    furthest aft) in the plane of incidence where the centre of pressure is foremost.

    Vehicles whose planes are all alike give the direction (0, 1). NaN where some plane has no normal force.
    """
    a = _slopes_at(aero, mach, normal)
    x, x_aft, half, flat = _planes_of(a)
    # B - x A has one direction without a moment, across its larger row
    dyy, dzz, dyz = a.first_yy - x * a.yy, a.first_zz - x * a.zz, a.first_yz - x * a.yz
    steep = abs(dyy) > abs(dzz)
    y, z = select(steep, -dyz, dzz), select(steep, dyy, -dyz)
    size = sqrt(y * y + z * z)
    alike = (half < ALIKE * aero.length) | (size == 0.0) | flat
    per_size = 1.0 / select(alike, 1.0, size)
    y, z = select(alike, 0.0, y * per_size), select(alike, 1.0, z * per_size)
    slope = a.yy * y * y + a.zz * z * z + 2.0 * a.yz * y * z
    return x, slope, y, z, x_aft


@helper
def static_margin(drawn: DrawnModel, mach: float, cg: Station) -> float:
    """Return (foremost centre of pressure - centre of mass)/reference length at small incidence, calibres."""
    planes = _planes_of(_slopes_at(drawn.aero, mach, drawn.normal))
    return (planes.x + drawn.cp_shift - cg.x) / drawn.aero.length


@kernel
def least_stable_at(aero: Aero, mach: np.ndarray, out: np.ndarray) -> None:
    """Fill out (n, 5) with what `least_stable` says at Mach numbers (n,)."""
    for i in range(mach.shape[0]):
        x, slope, y, z, x_aft = least_stable(aero, mach[i], 1.0)
        out[i, StableColumn.X], out[i, StableColumn.SLOPE] = x, slope
        out[i, StableColumn.Y], out[i, StableColumn.Z], out[i, StableColumn.X_AFT] = y, z, x_aft
