"""Stages that fly together: what a draw makes of their mass, and how a tilted joint bends the body behind it."""

from __future__ import annotations

from math import cos, sin, sqrt
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import Matrix, Sym, matrix_of
from sixdof.core.columns import AirframeColumn, FinColumn, GrainColumn, PanelColumn
from sixdof.core.draw import OTHER_BODY, AirDraw, CommonDraw, Draw, FlightDraw, JointDraw, StageDraw
from sixdof.core.leg.work import Work
from sixdof.core.types import Model, Quat, Station
from sixdof.core.whole.tables import LumpColumn, Staging, StagingColumn, number_of

SLOW = np.int64(0)  # row of the tables over Mach


class Bend(NamedTuple):
    """How a stage of a stack is turned against the front one, by the small tilts of the joints between.

    turn_y, turn_z : sums of the tilts about body y and z, rad. moment_y, moment_z : sums of tilt times the joint's station, m.
    A point at station x is moved by dy = -(turn_z x - moment_z), dz = turn_y x - moment_y.
    """

    turn_y: float
    turn_z: float
    moment_y: float
    moment_z: float


@helper
def shift_y(bend: Bend, x: float) -> float:
    """Return how far a point at station x is moved along body y, m."""
    return -(bend.turn_z * x - bend.moment_z)


@helper
def shift_z(bend: Bend, x: float) -> float:
    """Return how far a point at station x is moved along body z, m."""
    return bend.turn_y * x - bend.moment_y


@helper
def turn_of(turn_y: float, turn_z: float) -> Quat:
    """Return the turn by the vector (0, turn_y, turn_z): from axes turned by it to those they were turned from."""
    angle = sqrt(turn_y * turn_y + turn_z * turn_z)
    k = sin(0.5 * angle) / angle if angle > 0.0 else 0.0
    return Quat(cos(0.5 * angle), 0.0, k * turn_y, k * turn_z)


@kernel
def turned_tensor(m: Matrix, j: Sym) -> Sym:
    """Return M J M^T, a tensor in axes that M leads to."""
    ax, ay, az = m.xx * j.xx + m.xy * j.xy + m.xz * j.xz, m.xx * j.xy + m.xy * j.yy + m.xz * j.yz, m.xx * j.xz + m.xy * j.yz + m.xz * j.zz
    bx, by, bz = m.yx * j.xx + m.yy * j.xy + m.yz * j.xz, m.yx * j.xy + m.yy * j.yy + m.yz * j.yz, m.yx * j.xz + m.yy * j.yz + m.yz * j.zz
    cx, cy, cz = m.zx * j.xx + m.zy * j.xy + m.zz * j.xz, m.zx * j.xy + m.zy * j.yy + m.zz * j.yz, m.zx * j.xz + m.zy * j.yz + m.zz * j.zz
    return Sym(
        ax * m.xx + ay * m.xy + az * m.xz,
        bx * m.yx + by * m.yy + bz * m.yz,
        cx * m.zx + cy * m.zy + cz * m.zz,
        ax * m.yx + ay * m.yy + az * m.yz,
        ax * m.zx + ay * m.zy + az * m.zz,
        bx * m.zx + by * m.zy + bz * m.zz,
    )


@kernel
def bend_of(staging: Staging, first: int, last: int, draws: FlightDraw, i: int, stage: int) -> Bend:
    """Return how `stage` of the body first .. last is turned and moved by the tilt of the joints ahead of it, in flight i of some draws."""
    starts = staging.start[number_of(staging.stage.shape[0], first, last)]
    turn_y = turn_z = moment_y = moment_z = 0.0
    for k in range(first + 1, stage + 1):
        y, z = draws.joint[i, k, JointDraw.TILT_Y], draws.joint[i, k, JointDraw.TILT_Z]
        turn_y += y
        turn_z += z
        moment_y += y * starts[k]
        moment_z += z * starts[k]
    return Bend(turn_y, turn_z, moment_y, moment_z)


# ------------------------------------------------------------------ lumps


@kernel
def combine(lump: np.ndarray, airframe: np.ndarray) -> None:
    """Fill mass, centre and inertia of an airframe (AIRFRAME_COLUMNS,) with those of lumps (n, LUMP_COLUMNS) as one body."""
    mass = mx = my = mz = 0.0
    for r in range(lump.shape[0]):
        row = lump[r]
        m = row[LumpColumn.MASS]
        mass += m
        mx += m * row[LumpColumn.X]
        my += m * row[LumpColumn.Y]
        mz += m * row[LumpColumn.Z]
    k = 1.0 / mass if mass > 0.0 else 0.0
    x, y, z = mx * k, my * k, mz * k
    jxx = jyy = jzz = jxy = jxz = jyz = 0.0
    for r in range(lump.shape[0]):
        row = lump[r]
        m = row[LumpColumn.MASS]
        if m > 0.0:
            # stations count aft, body x forward
            dx, dy, dz = x - row[LumpColumn.X], row[LumpColumn.Y] - y, row[LumpColumn.Z] - z
            jxx += row[LumpColumn.IXX] + m * (dy * dy + dz * dz)
            jyy += row[LumpColumn.IYY] + m * (dx * dx + dz * dz)
            jzz += row[LumpColumn.IZZ] + m * (dx * dx + dy * dy)
            jxy += row[LumpColumn.IXY] - m * dx * dy
            jxz += row[LumpColumn.IXZ] - m * dx * dz
            jyz += row[LumpColumn.IYZ] - m * dy * dz
    put_mass(airframe, mass, Station(x, y, z), Sym(jxx, jyy, jzz, jxy, jxz, jyz))


@helper
def put_mass(airframe: np.ndarray, mass: float, cg: Station, j: Sym) -> None:
    """Write mass, centre and inertia about it into an airframe."""
    airframe[AirframeColumn.DRY] = mass
    airframe[AirframeColumn.CG_X], airframe[AirframeColumn.CG_Y], airframe[AirframeColumn.CG_Z] = cg.x, cg.y, cg.z
    airframe[AirframeColumn.IXX], airframe[AirframeColumn.IYY], airframe[AirframeColumn.IZZ] = j.xx, j.yy, j.zz
    airframe[AirframeColumn.IXY], airframe[AirframeColumn.IXZ], airframe[AirframeColumn.IYZ] = j.xy, j.xz, j.yz


@helper
def scale_lump(row: np.ndarray, mass: float, inertia: float) -> None:
    """Multiply a lump's mass (its inertia goes with it), and its inertia for itself."""
    row[LumpColumn.MASS] *= mass
    for j in range(LumpColumn.IXX, row.shape[0]):
        row[j] *= mass * inertia


@kernel
def draw_lump(row: np.ndarray, drawn: np.ndarray, bend: Bend, out: np.ndarray) -> None:
    """Fill `out` with a stage's lump: its draw (StageDraw) applied where it is dry (inertia goes with mass), then moved and turned with its stage."""
    for j in range(out.shape[0]):
        out[j] = row[j]
    if row[LumpColumn.DRY] > 0.5:
        scale_lump(out, drawn[StageDraw.MASS], drawn[StageDraw.INERTIA])
        out[LumpColumn.X] += drawn[StageDraw.CG_X]
        out[LumpColumn.Y] += drawn[StageDraw.CG_Y]
        out[LumpColumn.Z] += drawn[StageDraw.CG_Z]
    x = out[LumpColumn.X]
    out[LumpColumn.Y] += shift_y(bend, x)
    out[LumpColumn.Z] += shift_z(bend, x)
    j = Sym(out[LumpColumn.IXX], out[LumpColumn.IYY], out[LumpColumn.IZZ], out[LumpColumn.IXY], out[LumpColumn.IXZ], out[LumpColumn.IYZ])
    j = turned_tensor(matrix_of(turn_of(bend.turn_y, bend.turn_z)), j)
    out[LumpColumn.IXX], out[LumpColumn.IYY], out[LumpColumn.IZZ] = j.xx, j.yy, j.zz
    out[LumpColumn.IXY], out[LumpColumn.IXZ], out[LumpColumn.IYZ] = j.xy, j.xz, j.yz


# ------------------------------------------------------------------ a body and its draw


@kernel
def fit_airframe(staging: Staging, model: Model, draws: FlightDraw, i: int, lump: np.ndarray, work: Work) -> None:
    """Fill airframe, grains and cants of `work` for a body in flight i of some draws; lump : (n, LUMP_COLUMNS) scratch.

    Each stage has draws of its own, so those of mass are worked into a stack's airframe; a single stage's are left to its `Draw`. A
    stack's last stage is tilted with its joints: its fins get the tilt as cant, its grains are moved; the normal force of its tilted body is
    omitted (fins make most of it).
    """
    first, last = model.leg.first, model.leg.last
    as_modelled(model, work)
    hanging = 0.0
    for k in range(first, last + 1):
        hanging += staging.stage[k, StagingColumn.HANGING_AREA] * draws.stage[i, k, StageDraw.HANGING_DRAG]
    work.airframe[AirframeColumn.HANGING_AREA] = hanging
    if last == first:
        return
    number = number_of(staging.stage.shape[0], first, last)
    begin, count = staging.lump_first[number], staging.lump_first[number + 1] - staging.lump_first[number]
    ahead = 0.0
    for r in range(count):
        row = staging.lump[begin + r]
        k = int(row[LumpColumn.STAGE])
        draw_lump(row, draws.stage[i, k], bend_of(staging, first, last, draws, i, k), lump[r])
        if k < last:
            ahead += lump[r, LumpColumn.MASS]
    combine(lump[:count], work.airframe)
    work.airframe[AirframeColumn.FORE_MASS] = ahead
    _bend_last(model, bend_of(staging, first, last, draws, i, last), work)


@kernel
def as_modelled(model: Model, work: Work) -> None:
    """Fill airframe, grains and cants of `work` with those of a model as it stands."""
    mass, frame = model.mass, work.airframe
    inertia = Sym(mass.ixx, mass.iyy, mass.izz, mass.ixy, mass.ixz, mass.iyz)
    put_mass(frame, mass.dry, Station(mass.cg_x, mass.cg_y, mass.cg_z), inertia)
    frame[AirframeColumn.FORE_MASS], frame[AirframeColumn.HANGING_AREA], frame[AirframeColumn.NOSE_X] = model.leg.fore_mass, model.tumble_area, model.leg.nose_x
    for r in range(mass.grain.shape[0]):
        for c in range(mass.grain.shape[1]):
            work.grain[r, c] = mass.grain[r, c]
    for p in range(model.aero.panel.shape[0]):
        work.cant[p] = model.aero.panel[p, PanelColumn.CANT]


@kernel
def _bend_last(model: Model, bend: Bend, work: Work) -> None:
    """Move the grains of a stack's tilted last stage, and give its fins the tilt as cant."""
    for r in range(work.grain.shape[0]):
        x = work.grain[r, GrainColumn.X]
        work.grain[r, GrainColumn.Y] += shift_y(bend, x)
        work.grain[r, GrainColumn.Z] += shift_z(bend, x)
    if bend.turn_y == 0.0 and bend.turn_z == 0.0:
        return
    # the station about which it is turned
    start = bend.moment_y / bend.turn_y if bend.turn_y != 0.0 else bend.moment_z / bend.turn_z
    panel = model.aero.panel
    for p in range(panel.shape[0]):
        if model.aero.fin[SLOW, int(panel[p, PanelColumn.SET]), FinColumn.X] > start:
            # positive deflection turns the leading edge towards the normal (0, -cos, -sin)
            work.cant[p] += panel[p, PanelColumn.SIN] * bend.turn_y - panel[p, PanelColumn.COS] * bend.turn_z


@kernel
def leg_draw(staging: Staging, model: Model, draws: FlightDraw, i: int, whole: int, work: Work) -> Draw:
    """Return the draw of one leg in flight i of some draws; whole : 0 for a piece that a harness has let go.

    Thrust and air of a stack take the draw of its last stage, whose motor burns. A stack's airframe and a piece's hold the draws of mass
    already. Only the body with the flight computer has its fins off centre.
    """
    first, last = model.leg.first, model.leg.last
    s, c, a = draws.stage[i, last], draws.common[i], draws.air[i]
    for k in range(work.centring.shape[0]):
        work.centring[k] = draws.centring[i, k] if first == 0 else 0.0
    bend = bend_of(staging, first, last, draws, i, last)
    x = model.thrust.exit_x
    mass, cg_x, cg_y, cg_z, inertia = 1.0, 0.0, 0.0, 0.0, 1.0
    if whole > 0 and first == last:
        mass, cg_x, cg_y, cg_z, inertia = s[StageDraw.MASS], s[StageDraw.CG_X], s[StageDraw.CG_Y], s[StageDraw.CG_Z], s[StageDraw.INERTIA]
    return Draw(
        s[StageDraw.IMPULSE],
        s[StageDraw.BURN_TIME],
        s[StageDraw.TILT_Y] + bend.turn_y,
        s[StageDraw.TILT_Z] + bend.turn_z,
        s[StageDraw.OFFSET_Y] + shift_y(bend, x),
        s[StageDraw.OFFSET_Z] + shift_z(bend, x),
        mass,
        cg_x,
        cg_y,
        cg_z,
        inertia,
        s[StageDraw.DRAG],
        s[StageDraw.NORMAL_FORCE],
        s[StageDraw.DAMPING],
        s[StageDraw.CONTROL_FORCE],
        s[StageDraw.CP],
        s[StageDraw.CANT],
        c[CommonDraw.ELEVATION],
        c[CommonDraw.AZIMUTH],
        c[CommonDraw.SERVO_SPEED],
        c[CommonDraw.SERVO_RATE],
        c[CommonDraw.GAIN_PITCH],
        c[CommonDraw.GAIN_YAW],
        c[CommonDraw.GAIN_ROLL],
        c[CommonDraw.TEMPERATURE],
        c[CommonDraw.PRESSURE],
        c[CommonDraw.WIND_SCALE],
        c[CommonDraw.WIND_COS],
        c[CommonDraw.WIND_SIN],
        a[AirDraw.MEMBER],
        a[AirDraw.WIND_AT_20_FT],
        c[CommonDraw.SEED_HIGH],
        c[CommonDraw.SEED_LOW],
        c[CommonDraw.FLIGHT] + float(first * OTHER_BODY),
        work.centring,
    )
