"""Forces and moments of the air: body and every fin panel on its own.

No trigonometry: incidence enters through direction cosines (sin a = cross velocity / V), so nothing is singular at zero
speed, at 90 or at 180 degrees.
"""

from __future__ import annotations

from math import sqrt
from typing import NamedTuple

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import cell, clip, lerp, small_sin, surface
from sixdof.core.columns import BodyColumn, FinColumn, FinRow, PanelColumn, SeenColumn, WakeColumn, WakeLayer
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import Aero, Air, Station, Vec3

TINY = 1e-12  # keeps a division by the speed finite at rest; its force there is zero
STALL_WIDTH = 0.15  # range of sine over which a panel goes from attached to separated flow
BROADSIDE = 0.17  # direction cosine within which forward and backward flow take over from each other: 9.8 deg (ours)


class AirLoads(NamedTuple):
    """What the air does to the vehicle, body axes, about the centre of mass."""

    force: Vec3
    moment: Vec3
    speed: float
    cross_speed: float
    mach: float


class FinSet(NamedTuple):
    """What the panels of one set have in common at one Mach number."""

    slope: float
    x: float
    panel_incidence: float
    body_incidence: float
    panel_deflection: float
    body_deflection: float
    body_x: float
    stall: float
    plate: float
    spin_lost: float  # shares of strip theory's rolling moment that a set has not
    turned_lost: float


@helper
def fin_set_at(aero: Aero, fs: int, i: int, f: float, back: float, drawn: DrawnModel) -> FinSet:
    """Return the FinSet number fs between Mach rows i and i + 1, the draw's factor and shift applied.

    back : share of the flow that comes from behind, 1 or 0 but near broadside, where every panel is stalled.
    """
    a, b = aero.fin[i, fs], aero.fin[i + 1, fs]
    x = a[FinColumn.X] + f * (b[FinColumn.X] - a[FinColumn.X])
    on_body = a[FinColumn.XB] + f * (b[FinColumn.XB] - a[FinColumn.XB])
    turned = a[FinColumn.DW] + f * (b[FinColumn.DW] - a[FinColumn.DW])
    if back > 0.0:
        behind = a[FinColumn.X_BACK] + f * (b[FinColumn.X_BACK] - a[FinColumn.X_BACK])
        x += back * (behind - x)
        on_body += back * (behind - on_body)
    return FinSet(
        (a[FinColumn.SLOPE] + f * (b[FinColumn.SLOPE] - a[FinColumn.SLOPE])) * drawn.normal,
        x + drawn.cp_shift,
        a[FinColumn.KW] + f * (b[FinColumn.KW] - a[FinColumn.KW]),
        a[FinColumn.KB] + f * (b[FinColumn.KB] - a[FinColumn.KB]),
        turned,
        a[FinColumn.DB] + f * (b[FinColumn.DB] - a[FinColumn.DB]),
        on_body + drawn.cp_shift,
        a[FinColumn.STALL] + f * (b[FinColumn.STALL] - a[FinColumn.STALL]),
        a[FinColumn.PLATE] + f * (b[FinColumn.PLATE] - a[FinColumn.PLATE]),
        1.0 - (a[FinColumn.ROLL_DAMP] + f * (b[FinColumn.ROLL_DAMP] - a[FinColumn.ROLL_DAMP])),
        (1.0 - (a[FinColumn.ROLL_DIRECT] + f * (b[FinColumn.ROLL_DIRECT] - a[FinColumn.ROLL_DIRECT]))) * turned,
    )


@helper
def _plane(table: np.ndarray, x: float, y: float) -> float:
    """Return the value of a square table at (x, y), counted in cells from its middle; beyond its rim that of the rim."""
    half = 0.5 * (table.shape[0] - 1.0)
    return surface(table, x + half, y + half)


@helper
def _wash(aero: Aero, receiver: float, s: float, c: float, u: Vec3, seen: np.ndarray) -> tuple[float, float]:
    """Return the velocities (m/s, along the panel's normal) that the vortices of the sets ahead give the air at one panel.

    Two means over the panel: for its force and for its rolling moment.

    A vortex leaves its panel's trailing edge and follows the free stream past the body (NACA Report 1307, 1957); its
    image in the body is in the table. In backward flight nothing reaches the panel.
    """
    for_force = for_roll = 0.0
    if u.x <= 0.0:
        return for_force, for_roll
    for pair in range(aero.wake_pair.shape[0]):
        row = aero.wake_pair[pair]
        if row[WakeColumn.RECEIVER] == receiver:
            drift = row[WakeColumn.LENGTH] / u.x
            first = int(row[WakeColumn.FIRST])
            for q in range(first, first + int(row[WakeColumn.COUNT])):
                y = seen[q, SeenColumn.Y] - u.y * drift
                z = seen[q, SeenColumn.Z] - u.z * drift
                spanwise, normal = (c * z - s * y) * row[WakeColumn.PER_METRE], (-c * y - s * z) * row[WakeColumn.PER_METRE]
                for_force += seen[q, SeenColumn.VORTEX] * _plane(aero.wake[pair, WakeLayer.FORCE], spanwise, normal)
                for_roll += seen[q, SeenColumn.VORTEX] * _plane(aero.wake[pair, WakeLayer.ROLL], spanwise, normal)
    return for_force, for_roll


@helper
def _shed(aero: Aero, p: int, load: float, sine: float, double_density: float, speed: float, seen: np.ndarray) -> None:
    """Note strength and place of the vortex that panel p sheds, if a set behind feels it.

    One rolled-up vortex a panel: the load is rho V Gamma times the distance from the body to it (NACA Report 1307); its
    counterpart is the image in the body. Positive about x where the load is positive.
    """
    for pair in range(aero.wake_pair.shape[0]):
        row = aero.wake_pair[pair]
        if row[WakeColumn.FIRST] <= p < row[WakeColumn.FIRST] + row[WakeColumn.COUNT]:
            s, c = aero.panel[p, PanelColumn.SIN], aero.panel[p, PanelColumn.COS]
            lateral = row[WakeColumn.LATERAL]
            aside = -row[WakeColumn.LEVER] * sine
            seen[p, SeenColumn.VORTEX] = load / (double_density * speed * (lateral - row[WakeColumn.BODY]))
            seen[p, SeenColumn.Y] = -s * lateral - c * aside
            seen[p, SeenColumn.Z] = c * lateral - s * aside


@kernel
def _shed_roll(wake_pair: np.ndarray, p: int, excess: float, double_density_speed: float, seen: np.ndarray) -> None:
    """Weaken the vortices of the set that ends with panel p alike, for its loads have `excess` (N, summed) over what its rolling
    moment says: in a roll a panel carries less than alone.
    """
    for pair in range(wake_pair.shape[0]):
        row = wake_pair[pair]
        first, count = int(row[WakeColumn.FIRST]), int(row[WakeColumn.COUNT])
        if first + count == p + 1:
            for q in range(first, first + count):
                seen[q, SeenColumn.VORTEX] -= excess / (count * double_density_speed * (row[WakeColumn.LATERAL] - row[WakeColumn.BODY]))
            return  # a set sheds the same onto all sets behind it


@helper
def _panel(
    row: np.ndarray, shared: FinSet, sine: float, u: Vec3, rate: Vec3, cg: Station, wash: float, roll_wash: float, q_area: float, plate: float, out: np.ndarray
) -> tuple[float, float, float, float, float, float]:
    """Return (fx, fy, fz, mx, my, mz) of one panel: its own load and what it carries over onto the body; note `out`.

    row : PanelColumn. sine : of its deflection. u : velocity of the centre of mass through the air. wash, roll_wash : velocity of the
    air along the panel's normal made by vortices of panels ahead, for force and roll. q_area : half the density times the reference area.
    plate : separated normal-force coefficient at 90 deg on the reference area.
    """
    s, c = row[PanelColumn.SIN], row[PanelColumn.COS]
    y = row[PanelColumn.Y]
    # normal n = (0, -c, -s): positive force rolls the vehicle positive; span direction e = (0, -s, c)
    arm = cg.x - shared.x
    along = u.x + y * (rate.y * c + rate.z * s)
    across = -c * (u.y + rate.z * arm) - s * (u.z - rate.y * arm)
    spin = rate.x * row[PanelColumn.Y_ROLL]
    speed2 = along * along + (across + spin) * (across + spin)
    inverse = 1.0 / sqrt(speed2 + TINY)
    incidence = -across * inverse
    # neither goes with K_W(B): a rolling body makes no upwash, and a vortex's image in the body is in the wash already
    stirred = (wash - spin) * inverse
    turned = sine * along * inverse
    e = clip(shared.panel_incidence * incidence + stirred + shared.panel_deflection * turned, -1.0, 1.0)
    w = clip((abs(e) - shared.stall) * (1.0 / STALL_WIDTH), 0.0, 1.0)
    w = w * w * (3.0 - 2.0 * w)
    q_area *= speed2
    attached = q_area * (1.0 - w) * shared.slope
    straight = attached * sqrt(1.0 - e * e)
    load = straight * e + q_area * w * plate * e / (0.56 + 0.44 * abs(e))
    carried = shared.body_incidence * (incidence + stirred / shared.panel_incidence) + shared.body_deflection * turned
    carried *= attached * abs(along) * inverse

    x = shared.x + w * (row[PanelColumn.X_PLATE] - shared.x)
    out[SeenColumn.LOAD], out[SeenColumn.X], out[SeenColumn.STALL] = load, x, w
    out[SeenColumn.HINGE] = load * (row[PanelColumn.HINGE] - x)
    fx = -load * sine
    lever = (cg.x - x) * load + (cg.x - shared.body_x) * carried  # along n: M_y = -X F_z, M_z = X F_y
    total = load + carried
    # a rolling moment is not the panel's load times its arm: vehicle/aero/roll.py, and vehicle/aero/wake.py for vortices from ahead
    uneven = (roll_wash - wash + shared.spin_lost * spin) * inverse - shared.turned_lost * turned
    roll = y * (load + straight * uneven)
    return fx, -c * total, -s * total, roll, s * lever + y * c * fx, -c * lever + y * s * fx


@helper
def air_loads(drawn: DrawnModel, u: Vec3, rate: Vec3, cg: Station, air: Air, burning: float, fins: np.ndarray, k: int, out: np.ndarray) -> AirLoads:
    """Return the AirLoads of a velocity u through the air and rates against it (both body axes).

    cg : station (aft positive), y, z. air : Air. burning : 1 with the motor alight. fins : (FinRow, controls), k
    picks the row of the angles. out : (panels, SEEN_COLUMNS), filled with what each panel did.
    """
    aero = drawn.aero
    cross2 = u.y * u.y + u.z * u.z
    speed2 = u.x * u.x + cross2
    speed = sqrt(speed2 + TINY)
    cross_speed = sqrt(cross2 + TINY)
    half = 0.5 * air.density
    mach = speed / air.sound
    mi, mf = cell(mach * aero.per_mach, aero.body.shape[0])
    table = aero.body

    # axial force: friction over Mach and the fourth root of the unit Reynolds number
    root = sqrt(sqrt(speed * air.density / air.viscosity))
    friction = surface(aero.friction, mach * aero.per_mach, root * aero.per_root)
    forward = friction + lerp(table, mi, mf, BodyColumn.CA) + burning * lerp(table, mi, mf, BodyColumn.CA_BURN)
    forward *= surface(aero.axial_shape, mach * aero.per_mach, cross_speed / speed * (aero.axial_shape.shape[1] - 1))
    axial = forward if u.x >= 0.0 else lerp(table, mi, mf, BodyColumn.CA_BACK)
    fx = -half * u.x * abs(u.x) * aero.area * axial * drawn.drag

    # body, potential part: Jorgensen (1973, 1977), sin 2a' cos(a'/2), a' from the end that flies ahead, summed along the body
    # through the moments of the slope, which are others base first; its two ends at 90 deg meet smoothly, at zero
    aligned, back = 1.0, 0.0
    s0, s1, s2 = lerp(table, mi, mf, BodyColumn.S0), lerp(table, mi, mf, BodyColumn.S1), lerp(table, mi, mf, BodyColumn.S2)
    if u.x < BROADSIDE * speed:  # a branch, which the processor foresees; selected, all of the panels would wait for the quotient
        aligned = min(abs(u.x) / (BROADSIDE * speed), 1.0)
        aligned *= aligned * (3.0 - 2.0 * aligned)
        back = 0.5 - 0.5 * aligned
        if u.x < 0.0:
            back = 1.0 - back
            s0, s1, s2 = lerp(table, mi, mf, BodyColumn.S0_BACK), lerp(table, mi, mf, BodyColumn.S1_BACK), lerp(table, mi, mf, BodyColumn.S2_BACK)
    s2 += (2.0 * s1 + s0 * drawn.cp_shift) * drawn.cp_shift
    s1 += s0 * drawn.cp_shift
    first = s0 * cg.x - s1
    second = s0 * cg.x * cg.x - 2.0 * s1 * cg.x + s2
    cosine = abs(u.x) / speed
    potential = -half * aero.area * abs(u.x) * aligned * sqrt(0.5 * (1.0 + cosine)) * drawn.normal
    fy = potential * (s0 * u.y + first * rate.z)
    fz = potential * (s0 * u.z - first * rate.y)
    my = -potential * (first * u.z - second * rate.y)
    mz = potential * (first * u.y + second * rate.z)

    # body, viscous cross-flow (Allen and Perkins 1951) at the planform's centroid; its spread damps a tumbling body
    cross_root = sqrt(sqrt(cross_speed * air.density / air.viscosity))
    cdc = surface(aero.cross, cross_speed / air.sound * aero.per_mach, cross_root * aero.per_root) * drawn.normal
    centroid = aero.plan1 / aero.plan0
    spread2 = aero.plan2 / aero.plan0 - centroid * centroid
    arm = cg.x - centroid - drawn.cp_shift
    vy = u.y + rate.z * arm
    vz = u.z - rate.y * arm
    turn2 = (rate.y * rate.y + rate.z * rate.z) * spread2
    viscous = -half * cdc * aero.plan0 * sqrt(vy * vy + vz * vz + turn2)
    fy += viscous * vy
    fz += viscous * vz
    my += -arm * viscous * vz + viscous * spread2 * rate.y
    mz += arm * viscous * vy + viscous * spread2 * rate.z
    mx = 0.0

    wakes = aero.wake_pair.shape[0] > 0
    current = -1.0
    excess = 0.0
    shared = FinSet(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0)
    half_area = half * aero.area
    per_area = drawn.normal / aero.area
    for p in range(aero.panel.shape[0]):
        row = aero.panel[p]
        if row[PanelColumn.SET] != current:  # panels of a set stand together in the table
            current = row[PanelColumn.SET]
            shared = fin_set_at(aero, int(current), mi, mf, back, drawn)
            excess = 0.0
        angle = drawn.panel_cant[p] + drawn.cant
        carried = 1.0
        control = int(row[PanelColumn.CONTROL])
        if control >= 0:
            angle += fins[k, control]
            carried = fins[FinRow.CARRIED, control]  # a dead servo lets its fin float: no load
        plate = shared.plate * row[PanelColumn.AREA] * per_area
        sine = small_sin(angle)
        wash = roll_wash = 0.0
        if wakes:
            wash, roll_wash = _wash(aero, current, row[PanelColumn.SIN], row[PanelColumn.COS], u, out)
        px, py, pz, lx, ly, lz = _panel(row, shared, sine, u, rate, cg, wash, roll_wash, half_area * carried, plate, out[p])
        if wakes:
            _shed(aero, p, out[p, SeenColumn.LOAD], sine, 2.0 * half, speed, out)
            excess += out[p, SeenColumn.LOAD] - lx / row[PanelColumn.Y]
            _shed_roll(aero.wake_pair, p, excess, 2.0 * half * speed, out)
        fx += px
        fy += py
        fz += pz
        mx += lx
        my += ly
        mz += lz

    plain = aero.plain
    k = -half * speed * plain.drag_area * drawn.drag
    damping = air.density * speed
    fx += k * u.x
    fy += k * u.y
    fz += k * u.z
    mx += damping * plain.roll * rate.x
    my += damping * plain.pitch * rate.y
    mz += damping * plain.yaw * rate.z

    # the aerodynamic resultant acts on the body axis, which misses an off-axis centre of mass
    mx += cg.z * fy - cg.y * fz
    my -= cg.z * fx
    mz += cg.y * fx

    return AirLoads(Vec3(fx, fy, fz), Vec3(mx, my, mz), speed, cross_speed, mach)
