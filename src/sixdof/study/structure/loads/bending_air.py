"""The loads of the air along a body, piece by piece: slender body, cross flow, every panel with what it carries over; together the kernel's own."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from sixdof.study.probes.columns import BodyColumn, Draw, FinColumn, Model, PanelColumn, SeenColumn, WakeColumn
from sixdof.study.probes.tunnel import Flow, air_loads
from sixdof.study.structure.loads.bending_instants import GAS_CONSTANT, HEAT_RATIO, Instants
from sixdof.vehicle.aero.body import attached_share
from sixdof.vehicle.geometry import Shape

BROADSIDE = 0.17  # as core.forces.aerodynamics: direction cosine within which forward and backward flow take over from each other
STEPS = 400  # along the body, of what is summed along it


class Section(NamedTuple):
    """What acts on the body ahead of stations (rows, stations): forces across, N, and moments about the station, N m, body y and z."""

    fy: np.ndarray
    fz: np.ndarray
    my: np.ndarray
    mz: np.ndarray

    def __add__(self, other: Section) -> Section:
        return Section(*(a + b for a, b in zip(self, other)))


class Along(NamedTuple):
    """Loads of the air along a body. section : ahead of stations. load : the kernel's own force and moment about the centre of mass, (rows, 6),
    body axes. panels : force across of each panel, N, (rows, panels)."""

    section: Section
    load: np.ndarray
    panels: np.ndarray


def point_load(stations: np.ndarray, x: np.ndarray, force: np.ndarray, couple: np.ndarray | None = None) -> Section:
    """Return what forces (rows, 3) at stations x (rows,), and couples (rows, 3), do ahead of stations; at the last of them wherever they act."""
    ahead = x[:, None] < stations[None, :]
    ahead[:, -1] = True
    arm = np.where(ahead, stations[None, :] - x[:, None], 0.0)
    couple = np.zeros_like(force) if couple is None else couple
    return Section(ahead * force[:, 1:2], ahead * force[:, 2:3], ahead * couple[:, 1:2] - arm * force[:, 2:3], ahead * couple[:, 2:3] + arm * force[:, 1:2])


def air_along(at: Instants, shape: Shape, stations: np.ndarray, fins: np.ndarray | None = None) -> Along:
    """Return the loads of the air at instants ahead of stations (n,), m. fins : other angles of the control fins, rad, than those flown."""
    fins = at.fins if fins is None else fins
    kinds, which = np.unique(at.carried < 0.5, axis=0, return_inverse=True)
    found = []
    for number, dead in enumerate(kinds):
        rows = np.flatnonzero(which.ravel() == number)
        one = at._replace(**{name: getattr(at, name)[rows] for name in ("air", "spin", "cg", "density", "sound", "push")})
        found.append((rows, _along(one, without_fins(at.model, dead), shape, stations, fins[rows], len(at.model.aero.panel))))
    order = np.argsort(np.concatenate([rows for rows, _ in found]), kind="stable")
    section = Section(*(np.concatenate([getattr(one.section, name) for _, one in found])[order] for name in Section._fields))
    return Along(section, *(np.concatenate([getattr(one, name) for _, one in found])[order] for name in ("load", "panels")))


def without_fins(model: Model, dead: np.ndarray) -> Model:
    """Return a model without the panels of fins that float, (controls,) true: they carry nothing and shed no vortex."""
    if not dead.any():
        return model
    panel = model.aero.panel
    control = panel[:, PanelColumn.CONTROL].astype(int)
    kept = ~((control >= 0) & dead[np.maximum(control, 0)])
    pairs = model.aero.wake_pair.copy()
    for pair in pairs:
        first, count = int(pair[WakeColumn.FIRST]), int(pair[WakeColumn.COUNT])
        pair[WakeColumn.FIRST], pair[WakeColumn.COUNT] = kept[:first].sum(), kept[first : first + count].sum()
    some = pairs[:, WakeColumn.COUNT] > 0.5 if len(pairs) else np.zeros(0, dtype=bool)
    aero = model.aero._replace(panel=panel[kept].copy(), wake_pair=pairs[some].copy(), wake=model.aero.wake[some].copy())
    return model._replace(aero=aero)


def _along(at: Instants, model: Model, shape: Shape, stations: np.ndarray, fins: np.ndarray, panels: int) -> Along:
    flow = _flow(at)
    whole = air_loads(model, at.draw, flow, fins)
    section = _slender(at, model, shape, stations) + _across(at, model, shape, stations, flow, fins, whole.load)
    if len(model.aero.panel):
        section += _panels(model, at.draw, stations, fins, whole.panel)
        for number in range(model.aero.fin.shape[1]):
            section += _carried_over(at, model, stations, flow, fins, whole.load, number)
    force = np.zeros((len(fins), panels))
    force[:, : whole.panel.shape[1]] = whole.panel[:, :, SeenColumn.LOAD]
    return Along(section, whole.load, force)


def _flow(at: Instants) -> Flow:
    """Return the conditions of the kernel's wind tunnel; viscosity by Sutherland's law (US Standard Atmosphere 1976)."""
    ux, uy, uz = at.air.T
    across = np.hypot(uy, uz)
    heat = at.sound**2 / (HEAT_RATIO * GAS_CONSTANT)
    viscosity = 1.458e-6 * heat**1.5 / (heat + 110.4)
    burning = (at.push[:, 0] > 0.0).astype(float)
    return Flow(np.hypot(ux, across), np.arctan2(across, ux), np.arctan2(uy, uz), *at.spin.T, at.cg, at.density, at.sound, viscosity, burning)


# ---------------------------------------------------------------- the body


class _Profile(NamedTuple):
    """Sums ahead of stations, (k, n): of slender theory's slope times x^k, 1/rad m^k, k = 0 .. 2; of the planform's width times x^k, k = 0 .. 4."""

    slope: np.ndarray
    plan: np.ndarray


def _profile(shape: Shape, stations: np.ndarray, shift: float) -> _Profile:
    """Return the sums over the body, moved aft by `shift`, m, ahead of stations (n,); at the last of them over all of it."""
    x, slope = _slope_points(shape)
    plan_x, width = _plan_points(shape)
    return _Profile(_sums(x + shift, slope, stations, 3), _sums(plan_x + shift, width, stations, 5))


def _sums(x: np.ndarray, weight: np.ndarray, stations: np.ndarray, powers: int) -> np.ndarray:
    order = np.argsort(x, kind="stable")
    count = np.searchsorted(x[order], stations)
    count[-1] = len(x)
    rows = weight[order] * x[order] ** np.arange(powers)[:, None]
    return np.concatenate([np.zeros((powers, 1)), np.cumsum(rows, axis=1)], axis=1)[:, count]


def _slope_points(shape: Shape) -> tuple[np.ndarray, np.ndarray]:
    """Return stations and 2 dS/A between them, boattails reduced: what `vehicle.aero.body.body_components` sums below Mach 0.8."""
    x, gained, before = [], [], 0.0
    for segment in shape.segments:
        if abs(segment.r0 - before) > 1e-9:
            x.append([segment.x0])
            gained.append([(segment.r0**2 - before**2) * (attached_share(0.5 * np.pi) if segment.r0 < before else 1.0)])
        ends = segment.x0 + segment.length * np.linspace(0.0, 1.0, STEPS + 1)
        square = segment.radius(ends) ** 2
        angle = max(float(np.arctan2(segment.r0 - segment.r1, segment.length)), 0.0)
        x.append(0.5 * (ends[1:] + ends[:-1]))
        gained.append(np.diff(square) * (attached_share(angle) if angle > 0.0 else 1.0))
        before = segment.r1
    return np.concatenate(x), 2.0 * np.pi / shape.area * np.concatenate(gained)


def _plan_points(shape: Shape) -> tuple[np.ndarray, np.ndarray]:
    """Return stations and the planform's area between them, m^2."""
    x, area = [], []
    for segment in shape.segments:
        ends = segment.x0 + segment.length * np.linspace(0.0, 1.0, STEPS + 1)
        middle = 0.5 * (ends[1:] + ends[:-1])
        x.append(middle)
        area.append(2.0 * segment.radius(middle) * segment.length / STEPS)
    return np.concatenate(x), np.concatenate(area)


def _slender(at: Instants, model: Model, shape: Shape, stations: np.ndarray) -> Section:
    """Return the body's potential part (Jorgensen 1973, 1977), where it acts: as the sections grow, what Mach adds at its own centre, what is left of
    the tables' sums (a measured slope, flight base first) spread smoothly over the planform."""
    profile = _profile(shape, stations, at.draw.cp)
    ux, uy, uz = at.air.T
    speed = np.linalg.norm(at.air, axis=1)
    table = _over_mach(model.aero.body, speed / at.sound, model.aero.per_mach)
    backward = ux < 0.0
    columns = [BodyColumn.S0, BodyColumn.S1, BodyColumn.S2]
    totals = np.where(backward[:, None], table[:, [BodyColumn.S0_BACK, BodyColumn.S1_BACK, BodyColumn.S2_BACK]], table[:, columns]).T
    c = at.draw.cp
    totals = np.array([totals[0], totals[1] + c * totals[0], totals[2] + 2.0 * c * totals[1] + c * c * totals[0]])
    sums = _distributed(totals, profile, backward, stations)
    cosine = np.abs(ux) / speed
    aligned = np.minimum(cosine / BROADSIDE, 1.0)
    aligned = aligned**2 * (3.0 - 2.0 * aligned)
    k = -0.5 * at.density * model.aero.area * np.abs(ux) * aligned * np.sqrt(0.5 * (1.0 + cosine)) * at.draw.normal_force
    return _linear(k, at, sums, stations)


def _distributed(totals: np.ndarray, profile: _Profile, backward: np.ndarray, stations: np.ndarray) -> np.ndarray:
    """Return the sums (3, rows, stations) of a slope whose totals are (3, rows)."""
    base = profile.slope[:, None, :] * ~backward[None, :, None]
    left = totals - base[:, :, -1]
    grown = ~backward & (left[0] > 1e-3)
    centre = np.where(grown, left[1] / np.where(grown, left[0], 1.0), 0.0)
    grown &= (centre > stations[0]) & (centre < stations[-1])
    powers = np.arange(3)[:, None]
    point = np.where(grown, left[0] * centre**powers, 0.0)
    ahead = centre[:, None] < stations[None, :]
    rest = left - point
    plan = profile.plan[:, -1]
    weights = np.linalg.solve(plan[np.add.outer(range(3), range(3))], rest)  # of 1, x, x^2 over the planform
    smooth = np.stack([np.einsum("ir,is->rs", weights, profile.plan[k : k + 3]) for k in range(3)])
    return base + point[:, :, None] * ahead[None] + smooth


def _linear(k: np.ndarray, at: Instants, sums: np.ndarray, stations: np.ndarray) -> Section:
    """Return the loads k (u + rates x arm) dS along the body: kernel's signs, arm from the centre of mass. sums : (3, rows, stations)."""
    (_, uy, uz), (_, q, r) = at.air.T, at.draw.damping * at.spin.T
    vy, vz = (uy + r * at.cg)[:, None], (uz - q * at.cg)[:, None]
    first = stations * sums[0] - sums[1]
    second = stations * sums[1] - sums[2]
    k, q, r = k[:, None], q[:, None], r[:, None]
    fy, fz = k * (vy * sums[0] - r * sums[1]), k * (vz * sums[0] + q * sums[1])
    return Section(fy, fz, -k * (vz * first + q * second), k * (vy * first - r * second))


def _across(at: Instants, model: Model, shape: Shape, stations: np.ndarray, flow: Flow, fins: np.ndarray, whole: np.ndarray) -> Section:
    """Return the viscous cross flow (Allen and Perkins 1951) over the planform; its size is what the kernel's loads lose without it."""
    without = model._replace(aero=model.aero._replace(cross=np.zeros_like(model.aero.cross)))
    lost = whole - air_loads(without, at.draw, flow, fins).load
    plan = _profile(shape, stations, at.draw.cp).plan[:3]
    (_, uy, uz), (_, q, r) = at.air.T, at.draw.damping * at.spin.T
    arm = at.cg - plan[1, -1] / plan[0, -1]
    vy, vz = uy + r * arm, uz - q * arm
    square = vy**2 + vz**2
    k = np.where(square > 1e-12, (lost[:, 1] * vy + lost[:, 2] * vz) / np.maximum(square, 1e-12), 0.0) / plan[0, -1]
    return _linear(k, at, np.broadcast_to(plan[:, None, :], (3, len(k), len(stations))), stations)


def _over_mach(table: np.ndarray, mach: np.ndarray, per_mach: float) -> np.ndarray:
    """Return rows of a table over Mach, straight lines between its own, held beyond its end."""
    at = np.clip(mach * per_mach, 0.0, len(table) - 1.0)
    row = np.minimum(at.astype(int), len(table) - 2)
    share = (at - row).reshape(-1, *[1] * (table.ndim - 1))
    return table[row] + share * (table[row + 1] - table[row])


# ---------------------------------------------------------------- fins


def _panels(model: Model, draw: Draw, stations: np.ndarray, fins: np.ndarray, seen: np.ndarray) -> Section:
    """Return the panels' own loads at their stations, and the couples of what a turned panel pulls aft beside the axis."""
    sections: Sequence[Section] = []
    for p, row in enumerate(model.aero.panel):
        angle = np.full(len(fins), row[PanelColumn.CANT] + draw.cant)
        control = int(row[PanelColumn.CONTROL])
        angle = angle + fins[:, control] if control >= 0 else angle
        load, s, c = seen[:, p, SeenColumn.LOAD], row[PanelColumn.SIN], row[PanelColumn.COS]
        back = -load * np.sin(angle)
        zero = np.zeros(len(load))
        couple = row[PanelColumn.Y] * back[:, None] * np.array([0.0, c, s])
        sections.append(point_load(stations, seen[:, p, SeenColumn.X], np.column_stack([zero, -c * load, -s * load]), couple))
    return sum(sections[1:], sections[0])


def _carried_over(at: Instants, model: Model, stations: np.ndarray, flow: Flow, fins: np.ndarray, whole: np.ndarray, number: int) -> Section:
    """Return what one set carries over onto the body: what the kernel's loads lose without it, where its moment says."""
    fin = model.aero.fin.copy()
    fin[:, number, [FinColumn.KB, FinColumn.DB]] = 0.0
    lost = whole - air_loads(model._replace(aero=model.aero._replace(fin=fin)), at.draw, flow, fins).load
    (fy, fz), (my, mz) = lost[:, 1:3].T, lost[:, 4:6].T
    square = fy**2 + fz**2
    arm = np.where(square > 1e-12, (mz * fy - my * fz) / np.maximum(square, 1e-12), 0.0)
    return point_load(stations, at.cg - arm, lost[:, :3])
