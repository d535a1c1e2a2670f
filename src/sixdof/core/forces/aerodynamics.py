"""Forces and moments of the air: body and every fin panel on its own.

No trigonometry: incidence enters through direction cosines (sin a = cross velocity / V), so nothing is singular at zero
speed, at 90 or at 180 degrees.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import helper
from sixdof.core.algebra import add, scale, small_sin
from sixdof.core.columns import BodyColumn, FinColumn, FinRow, PanelColumn, SeenColumn, WakeColumn, WakeLayer
from sixdof.core.lanes import cell, clip, layer_lerp, lerp, like, select, smaller, some, sqrt, strip, surface
from sixdof.core.leg.drawn import DrawnModel
from sixdof.core.types import Aero, Air, Station, Vec3

TINY = 1e-12  # keeps a division by the speed finite at rest; its force there is zero
STALL_WIDTH = 0.15  # range of sine over which a panel goes from attached to separated flow
BROADSIDE = 0.17  # direction cosine within which forward and backward flow take over from each other: 9.8 deg (ours)


class Flow(NamedTuple):
    """The air as it meets the vehicle, body axes, and where the tables are read for it; reciprocals because divisions are slow."""

    u: Vec3  # velocity of the centre of mass through the air
    rate: Vec3  # body rates against the air
    speed: float
    per_speed: float
    cross_speed: float  # of the air across the body axis
    half: float  # half the density
    per_metre: float  # unit Reynolds number over speed, s/m^2
    per_sound: float
    mach: float
    row: int  # of the tables over Mach, and the fraction of a row beyond it
    part: float
    aligned: float  # 1, but going smoothly to zero at 90 deg within BROADSIDE
    back: float  # share of the flow that comes from behind, 1 or 0 but near broadside, where every panel is stalled


class AirLoads(NamedTuple):
    """What the air does to the vehicle, body axes, about the centre of mass."""

    force: Vec3
    moment: Vec3


class FinSet(NamedTuple):
    """What the panels of one set have in common at one Mach number."""

    slope: float
    x: float
    panel_incidence: float
    per_incidence: float  # 1/panel_incidence
    body_incidence: float
    panel_deflection: float
    body_deflection: float
    body_x: float
    stall: float
    plate: float  # separated normal-force coefficient at 90 deg, on a panel's own area
    spin_lost: float  # shares of strip theory's rolling moment that a set has not
    turned_lost: float


class PanelLoad(NamedTuple):
    """What one panel does: its own load and what it carries over onto the body."""

    force: Vec3
    moment: Vec3
    load: float  # normal force of the panel, N
    x: float  # station where it acts, m
    stall: float  # weight of separated flow
    excess: float  # what the load has over its rolling moment's, N


@helper
def flow_of(aero: Aero, u: Vec3, rate: Vec3, air: Air) -> Flow:
    """Return the Flow of a velocity u through the air and rates against it, both body axes."""
    cross2 = u.y * u.y + u.z * u.z
    speed = sqrt(u.x * u.x + cross2 + TINY)
    per_speed, per_sound = 1.0 / speed, 1.0 / air.sound
    mach = speed * per_sound
    row, part = cell(mach * aero.per_mach, aero.body.shape[0])
    aligned, back = like(1.0, speed), like(0.0, speed)
    if some(u.x < BROADSIDE * speed):  # otherwise the panels need not wait for the quotient
        aligned = smaller(abs(u.x) * per_speed * (1.0 / BROADSIDE), 1.0)
        aligned *= aligned * (3.0 - 2.0 * aligned)
        back = 0.5 - 0.5 * aligned
        back = select(u.x < 0.0, 1.0 - back, back)
    return Flow(u, rate, speed, per_speed, sqrt(cross2 + TINY), 0.5 * air.density, air.density / air.viscosity, per_sound, mach, row, part, aligned, back)


@helper
def fin_set_at(drawn: DrawnModel, fs: int, flow: Flow) -> FinSet:
    """Return the FinSet number fs in a flow, the draw's factor and shift applied."""
    fin, i, f = drawn.aero.fin, flow.row, flow.part
    x, on_body = layer_lerp(fin, i, f, fs, FinColumn.X), layer_lerp(fin, i, f, fs, FinColumn.XB)
    if some(flow.back > 0.0):
        behind = layer_lerp(fin, i, f, fs, FinColumn.X_BACK)
        x += flow.back * (behind - x)
        on_body += flow.back * (behind - on_body)
    upwash = layer_lerp(fin, i, f, fs, FinColumn.KW)
    turned = layer_lerp(fin, i, f, fs, FinColumn.DW)
    return FinSet(
        layer_lerp(fin, i, f, fs, FinColumn.SLOPE) * drawn.normal,
        x + drawn.cp_shift,
        upwash,
        1.0 / upwash,
        layer_lerp(fin, i, f, fs, FinColumn.KB),
        turned,
        layer_lerp(fin, i, f, fs, FinColumn.DB),
        on_body + drawn.cp_shift,
        layer_lerp(fin, i, f, fs, FinColumn.STALL),
        layer_lerp(fin, i, f, fs, FinColumn.PLATE),
        1.0 - layer_lerp(fin, i, f, fs, FinColumn.ROLL_DAMP),
        (1.0 - layer_lerp(fin, i, f, fs, FinColumn.ROLL_DIRECT)) * turned,
    )


@helper
def _plane(table: np.ndarray, x: float, y: float) -> float:
    """Return the value of a square table at (x, y), counted in cells from its middle; beyond its rim that of the rim."""
    half = 0.5 * (table.shape[0] - 1.0)
    return surface(table, x + half, y + half)


@helper
def _wash(aero: Aero, receiver: float, s: float, c: float, u: Vec3, vortices: np.ndarray) -> tuple[float, float]:
    """Return the velocities (m/s, along the panel's normal) that the vortices of the sets ahead give the air at one panel.

    Two means over the panel: for its force and for its rolling moment.

    A vortex leaves its panel's trailing edge and follows the free stream past the body (NACA Report 1307, 1957); its
    image in the body is in the table. In backward flight nothing reaches the panel. vortices : (panels, SEEN_COLUMNS).
    """
    for_force, for_roll = like(0.0, u.x), like(0.0, u.x)
    ahead = u.x > 0.0
    per_ahead = 1.0 / select(ahead, u.x, 1.0)
    for pair in range(aero.wake_pair.shape[0]):
        row = aero.wake_pair[pair]
        if row[WakeColumn.RECEIVER] == receiver:
            drift = row[WakeColumn.LENGTH] * per_ahead
            first = int(row[WakeColumn.FIRST])
            for q in range(first, first + int(row[WakeColumn.COUNT])):
                y = vortices[q, SeenColumn.Y] - u.y * drift
                z = vortices[q, SeenColumn.Z] - u.z * drift
                spanwise, normal = (c * z - s * y) * row[WakeColumn.PER_METRE], (-c * y - s * z) * row[WakeColumn.PER_METRE]
                for_force += vortices[q, SeenColumn.VORTEX] * _plane(aero.wake[pair, WakeLayer.FORCE], spanwise, normal)
                for_roll += vortices[q, SeenColumn.VORTEX] * _plane(aero.wake[pair, WakeLayer.ROLL], spanwise, normal)
    return select(ahead, for_force, 0.0), select(ahead, for_roll, 0.0)


@helper
def _shed(aero: Aero, p: int, load: float, sine: float, per_density_speed: float, out: np.ndarray) -> None:
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
            out[p, SeenColumn.VORTEX] = load * per_density_speed / (lateral - row[WakeColumn.BODY])
            out[p, SeenColumn.Y] = -s * lateral - c * aside
            out[p, SeenColumn.Z] = c * lateral - s * aside


@helper
def _shed_roll(wake_pair: np.ndarray, p: int, excess: float, per_density_speed: float, out: np.ndarray) -> None:
    """Weaken the vortices of the set that ends with panel p alike, for its loads have `excess` (N, summed) over what its rolling
    moment says: in a roll a panel carries less than alone.
    """
    for pair in range(wake_pair.shape[0]):
        row = wake_pair[pair]
        first, count = int(row[WakeColumn.FIRST]), int(row[WakeColumn.COUNT])
        if first + count == p + 1:
            less = excess * per_density_speed / (count * (row[WakeColumn.LATERAL] - row[WakeColumn.BODY]))
            for q in range(first, first + count):
                out[q, SeenColumn.VORTEX] -= less
            return  # a set sheds the same onto all sets behind it


@helper
def _panel(row: np.ndarray, shared: FinSet, sine: float, flow: Flow, cg: Station, wash: float, roll_wash: float, q_area: float, plate: float) -> PanelLoad:
    """Return the PanelLoad of one panel.

    row : PanelColumn. sine : of its deflection. wash, roll_wash : velocity of the air along the panel's normal made by vortices of
    panels ahead, for force and roll. q_area : half the density times the reference area, zero for a fin that floats.
    plate : separated normal-force coefficient at 90 deg on the reference area.
    """
    u, rate = flow.u, flow.rate
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
    carried = shared.body_incidence * (incidence + stirred * shared.per_incidence) + shared.body_deflection * turned
    carried *= attached * abs(along) * inverse

    x = shared.x + w * (row[PanelColumn.X_PLATE] - shared.x)
    fx = -load * sine
    lever = (cg.x - x) * load + (cg.x - shared.body_x) * carried  # along n: M_y = -X F_z, M_z = X F_y
    total = load + carried
    # a rolling moment is not the panel's load times its arm: vehicle/aero/roll.py, and vehicle/aero/wake.py for vortices from ahead
    uneven = straight * ((roll_wash - wash + shared.spin_lost * spin) * inverse - shared.turned_lost * turned)
    roll = y * (load + uneven)
    return PanelLoad(Vec3(fx, -c * total, -s * total), Vec3(roll, s * lever + y * c * fx, -c * lever + y * s * fx), load, x, w, -uneven)


@helper
def _axial(drawn: DrawnModel, flow: Flow, burning: float) -> float:
    """Return the force along the axis: friction over Mach and the fourth root of the unit Reynolds number, base, wave .."""
    aero, table, i, f = drawn.aero, drawn.aero.body, flow.row, flow.part
    sine = flow.cross_speed * flow.per_speed
    root = sqrt(sqrt(flow.speed * flow.per_metre))
    friction = strip(aero.friction, i, f, root * aero.per_root)
    forward = friction + lerp(table, i, f, BodyColumn.CA) + burning * lerp(table, i, f, BodyColumn.CA_BURN)
    forward *= strip(aero.axial_shape, i, f, sine * (aero.axial_shape.shape[1] - 1))
    axial = select(flow.u.x >= 0.0, forward, lerp(table, i, f, BodyColumn.CA_BACK))
    return -flow.half * flow.u.x * abs(flow.u.x) * aero.area * axial * drawn.drag


@helper
def _potential(drawn: DrawnModel, flow: Flow, cg: Station) -> AirLoads:
    """Return the body's potential part: Jorgensen (1973, 1977), sin 2a' cos(a'/2), a' from the end that flies ahead.

    It is summed along the body through the moments of the slope, which are others base first; its two ends at 90 deg meet smoothly, at zero.
    """
    u, rate, table, i, f = flow.u, flow.rate, drawn.aero.body, flow.row, flow.part
    s0, s1, s2 = lerp(table, i, f, BodyColumn.S0), lerp(table, i, f, BodyColumn.S1), lerp(table, i, f, BodyColumn.S2)
    behind = u.x < 0.0
    if some(behind):
        s0 = select(behind, lerp(table, i, f, BodyColumn.S0_BACK), s0)
        s1 = select(behind, lerp(table, i, f, BodyColumn.S1_BACK), s1)
        s2 = select(behind, lerp(table, i, f, BodyColumn.S2_BACK), s2)
    s2 += (2.0 * s1 + s0 * drawn.cp_shift) * drawn.cp_shift
    s1 += s0 * drawn.cp_shift
    first = s0 * cg.x - s1
    second = s0 * cg.x * cg.x - 2.0 * s1 * cg.x + s2
    cosine = abs(u.x) * flow.per_speed
    k = -flow.half * drawn.aero.area * abs(u.x) * flow.aligned * sqrt(0.5 * (1.0 + cosine)) * drawn.normal
    zero = like(0.0, k)
    return AirLoads(
        Vec3(zero, k * (s0 * u.y + first * rate.z), k * (s0 * u.z - first * rate.y)),
        Vec3(zero, -k * (first * u.z - second * rate.y), k * (first * u.y + second * rate.z)),
    )


@helper
def _cross_flow(drawn: DrawnModel, flow: Flow, cg: Station) -> AirLoads:
    """Return the body's viscous cross-flow (Allen and Perkins 1951) at the planform's centroid; its spread damps a tumbling body."""
    aero, u, rate = drawn.aero, flow.u, flow.rate
    root = sqrt(sqrt(flow.cross_speed * flow.per_metre))
    cdc = surface(aero.cross, flow.cross_speed * flow.per_sound * aero.per_mach, root * aero.per_root) * drawn.normal
    centroid = aero.plan1 / aero.plan0
    spread2 = aero.plan2 / aero.plan0 - centroid * centroid
    arm = cg.x - centroid - drawn.cp_shift
    vy = u.y + rate.z * arm
    vz = u.z - rate.y * arm
    turn2 = (rate.y * rate.y + rate.z * rate.z) * spread2
    k = -flow.half * cdc * aero.plan0 * sqrt(vy * vy + vz * vz + turn2)
    zero = like(0.0, k)
    return AirLoads(Vec3(zero, k * vy, k * vz), Vec3(zero, -arm * k * vz + k * spread2 * rate.y, arm * k * vy + k * spread2 * rate.z))


@helper
def _panels(drawn: DrawnModel, flow: Flow, cg: Station, fins: np.ndarray, k: int, out: np.ndarray) -> AirLoads:
    """Return the loads of all panels, and fill `out` with what each did; see `air_loads`."""
    aero = drawn.aero
    wakes = aero.wake_pair.shape[0] > 0
    zero = like(0.0, flow.speed)
    force, moment, excess = Vec3(zero, zero, zero), Vec3(zero, zero, zero), zero
    shared = FinSet(zero, zero, zero, zero, zero, zero, zero, zero, zero, zero, zero, zero)
    half_area = flow.half * aero.area
    per_area = drawn.normal / aero.area
    current = -1.0
    per_density_speed = 0.5 * flow.per_speed / flow.half if wakes else zero
    for p in range(aero.panel.shape[0]):
        row = aero.panel[p]
        if row[PanelColumn.SET] != current:  # panels of a set stand together in the table
            current = row[PanelColumn.SET]
            shared = fin_set_at(drawn, int(current), flow)
            excess = zero
        angle, q_area = drawn.panel_cant[p] + drawn.cant, half_area
        control = int(row[PanelColumn.CONTROL])
        if control >= 0:
            angle += drawn.control_force * fins[k, control]
            q_area = half_area * fins[FinRow.CARRIED, control]  # a dead servo lets its fin float: no load
        sine = small_sin(angle)
        wash, roll_wash = zero, zero
        if wakes:
            wash, roll_wash = _wash(aero, current, row[PanelColumn.SIN], row[PanelColumn.COS], flow.u, out)
        panel = _panel(row, shared, sine, flow, cg, wash, roll_wash, q_area, shared.plate * row[PanelColumn.AREA] * per_area)
        if wakes:
            excess += panel.excess
            _shed(aero, p, panel.load, sine, per_density_speed, out)
            _shed_roll(aero.wake_pair, p, excess, per_density_speed, out)
        out[p, SeenColumn.LOAD], out[p, SeenColumn.X], out[p, SeenColumn.STALL] = panel.load, panel.x, panel.stall
        out[p, SeenColumn.HINGE] = panel.load * (row[PanelColumn.HINGE] - panel.x)
        force, moment = add(force, panel.force), add(moment, panel.moment)
    return AirLoads(force, moment)


@helper
def _plain(drawn: DrawnModel, flow: Flow) -> AirLoads:
    """Return the loads of the constant coefficients (types.Plain)."""
    plain, u, rate = drawn.aero.plain, flow.u, flow.rate
    k = -flow.half * flow.speed * plain.drag_area * drawn.drag
    damping = 2.0 * flow.half * flow.speed
    return AirLoads(Vec3(k * u.x, k * u.y, k * u.z), Vec3(damping * plain.roll * rate.x, damping * plain.pitch * rate.y, damping * plain.yaw * rate.z))


@helper
def _damped(drawn: DrawnModel, flow: Flow) -> Flow:
    """Return the flow as a body feels it whose turning counts `damping` times: of a rigid body every rate in the loads damps."""
    rate = scale(flow.rate, drawn.damping)
    return Flow(
        flow.u,
        rate,
        flow.speed,
        flow.per_speed,
        flow.cross_speed,
        flow.half,
        flow.per_metre,
        flow.per_sound,
        flow.mach,
        flow.row,
        flow.part,
        flow.aligned,
        flow.back,
    )


@helper
def air_loads(drawn: DrawnModel, flow: Flow, cg: Station, burning: float, fins: np.ndarray, k: int, out: np.ndarray) -> AirLoads:
    """Return the AirLoads in a flow.

    cg : station (aft positive), y, z. burning : 1 with the motor alight. fins : (FinRow, controls), k picks the row of the angles.
    out : (panels, SEEN_COLUMNS), filled with what each panel did; the vortices of the front sets, which the sets behind feel, are in it.
    """
    flow = _damped(drawn, flow)
    axial = _axial(drawn, flow, burning)
    body, across = _potential(drawn, flow, cg), _cross_flow(drawn, flow, cg)
    panels, plain = _panels(drawn, flow, cg, fins, k, out), _plain(drawn, flow)
    force = add(add(add(body.force, across.force), panels.force), plain.force)
    moment = add(add(add(body.moment, across.moment), panels.moment), plain.moment)
    fx, fy, fz = axial + force.x, force.y, force.z
    # the aerodynamic resultant acts on the body axis, which misses an off-axis centre of mass
    return AirLoads(Vec3(fx, fy, fz), Vec3(moment.x + cg.z * fy - cg.y * fz, moment.y - cg.z * fx, moment.z + cg.y * fx))
