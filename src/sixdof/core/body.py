"""Mass properties and thrust of the burning vehicle as functions of time only, evaluated once for all stages of a step."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import Sym, offset, sym_inverse
from sixdof.core.columns import GrainColumn
from sixdof.core.constants import INSTANT
from sixdof.core.layout import NOT_IGNITED
from sixdof.core.types import Mass, Station, Thrust, Vec3


class Grains(NamedTuple):
    """Dry mass and all grains of one flight, its draw applied; distances from the dry centre of mass, body axes.

    With f the unburnt fraction: mass = dry + f propellant; first moment = f moment; inertia about the dry cg
    = inertia + f linear + f^2 (square_roll, square_pitch, square_pitch).
    """

    dry: float
    cg: Station  # of the dry vehicle
    inertia: Sym
    propellant: float
    moment: Vec3
    linear: Sym
    square_roll: float
    square_pitch: float


class Burn(NamedTuple):
    """The segment of the thrust curve a step lies in, its draw applied (steps end on the break points)."""

    start: float  # s since ignition
    force: float  # N at the start, at the reference pressure
    slope: float  # N/s
    unburnt: float  # fraction at the start
    per_impulse: float  # 1 / total impulse, 1/(N s)
    burning: float  # 1 or 0


class Body(NamedTuple):
    """The vehicle at one moment."""

    mass: float
    cg: Station
    inertia: Sym  # about the centre of mass
    inverse: Sym
    inertia_rate: Sym
    thrust: float  # N at the reference pressure
    flow: float  # kg/s
    burning: float


@helper
def _spread(d: Vec3) -> Sym:
    """Return |d|^2 E - d d^T."""
    return Sym(d.y * d.y + d.z * d.z, d.x * d.x + d.z * d.z, d.x * d.x + d.y * d.y, -d.x * d.y, -d.x * d.z, -d.y * d.z)


@kernel
def gather_grains(mass: Mass, mass_factor: float, inertia_factor: float, shift_x: float, shift_y: float, shift_z: float) -> Grains:
    """Return the Grains of a flight: dry mass times mass_factor, its cg moved (aft, y, z), dry inertia times inertia_factor."""
    k = mass_factor * inertia_factor
    cg = Station(mass.cg_x + shift_x, mass.cg_y + shift_y, mass.cg_z + shift_z)
    total = mx = my = mz = 0.0
    jxx = jyy = jzz = jxy = jxz = jyz = roll_b = pitch_b = 0.0
    for i in range(mass.grain.shape[0]):
        g = mass.grain[i]
        m = g[GrainColumn.MASS]
        d = offset(cg, Station(g[GrainColumn.X], g[GrainColumn.Y], g[GrainColumn.Z]))
        j = _spread(d)
        total += m
        mx += m * d.x
        my += m * d.y
        mz += m * d.z
        jxx += g[GrainColumn.ROLL_A] + m * j.xx
        jyy += g[GrainColumn.PITCH_A] + m * j.yy
        jzz += g[GrainColumn.PITCH_A] + m * j.zz
        jxy += m * j.xy
        jxz += m * j.xz
        jyz += m * j.yz
        roll_b += g[GrainColumn.ROLL_B]
        pitch_b += g[GrainColumn.PITCH_B]
    return Grains(
        mass.dry * mass_factor,
        cg,
        Sym(mass.ixx * k, mass.iyy * k, mass.izz * k, mass.ixy * k, mass.ixz * k, mass.iyz * k),
        total,
        Vec3(mx, my, mz),
        Sym(jxx, jyy, jzz, jxy, jxz, jyz),
        roll_b,
        pitch_b,
    )


@kernel
def body_at(t: float, burn: Burn, grains: Grains) -> Body:
    """Return the Body at t seconds since ignition, inside the segment `burn`.

    Mass leaves in proportion to impulse; the centre of mass and the inertia tensor follow from the parallel-axis theorem.
    """
    x = t - burn.start
    force = burn.force + burn.slope * x
    f = burn.unburnt - (burn.force + 0.5 * burn.slope * x) * x * burn.per_impulse
    f_rate = -force * burn.per_impulse
    mass = grains.dry + f * grains.propellant
    k = f / mass
    m = grains.moment
    cg = Station(grains.cg.x - k * m.x, grains.cg.y + k * m.y, grains.cg.z + k * m.z)
    s = _spread(m)
    a, b = grains.inertia, grains.linear
    c = f * k  # weight of the parallel-axis term, and its derivative by f
    c_f = k * (2.0 - k * grains.propellant)
    roll, pitch = grains.square_roll, grains.square_pitch
    inertia = Sym(
        a.xx + f * (b.xx + f * roll) - c * s.xx,
        a.yy + f * (b.yy + f * pitch) - c * s.yy,
        a.zz + f * (b.zz + f * pitch) - c * s.zz,
        a.xy + f * b.xy - c * s.xy,
        a.xz + f * b.xz - c * s.xz,
        a.yz + f * b.yz - c * s.yz,
    )
    rate = Sym(
        f_rate * (b.xx + 2.0 * f * roll - c_f * s.xx),
        f_rate * (b.yy + 2.0 * f * pitch - c_f * s.yy),
        f_rate * (b.zz + 2.0 * f * pitch - c_f * s.zz),
        f_rate * (b.xy - c_f * s.xy),
        f_rate * (b.xz - c_f * s.xz),
        f_rate * (b.yz - c_f * s.yz),
    )
    return Body(mass, cg, inertia, sym_inverse(inertia), rate, force, -f_rate * grains.propellant, burn.burning)


@kernel
def burn_segment(thrust: Thrust, i: int, ignited: float, impulse_factor: float, burn_factor: float) -> Burn:
    """Return the Burn of segment i (between break points i and i + 1), the motor ignited at time `ignited`, draw applied.

    Past the last segment it is burnt out; i = -1 is the motor before its ignition. Time is stretched by burn_factor and force
    scaled so that the impulse is impulse_factor times the nominal, exactly.
    """
    n = thrust.time.shape[0]
    total = thrust.total_impulse * impulse_factor
    if i < 0:
        return Burn(0.0, 0.0, 0.0, 1.0, 1.0 / total, 0.0)
    if i >= n - 1:
        return Burn(ignited + thrust.time[n - 1] * burn_factor, 0.0, 0.0, 0.0, 1.0 / total, 0.0)
    k = impulse_factor / burn_factor
    start = ignited + thrust.time[i] * burn_factor
    width = ignited + thrust.time[i + 1] * burn_factor - start
    force = thrust.force[i] * k
    slope = (thrust.force[i + 1] * k - force) / width
    return Burn(start, force, slope, 1.0 - thrust.impulse[i], 1.0 / total, 1.0)


@helper
def segment_at(t: float, ignited: float, thrust: Thrust, burn_time: float) -> int:
    """Return the segment of the thrust curve that time t lies in, -1 before ignition."""
    segment = np.int64(-1)
    if ignited != NOT_IGNITED:
        segment = np.int64(0)
        while segment < thrust.time.shape[0] - 1 and t >= ignited + thrust.time[segment + 1] * burn_time - INSTANT:
            segment += 1
    return segment
