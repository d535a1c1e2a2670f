"""The aerodynamic tables that the kernel reads, and the same numbers as reports: components, centre of pressure.

All coefficients are on the area of the largest body diameter; stations in m aft of the nose tip; slopes per radian.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from sixdof.core.columns import BODY_COLUMNS, FIN_COLUMNS, PANEL_COLUMNS, SLOPE_COLUMNS, BodyColumn, FinColumn, PanelColumn
from sixdof.core.types import Aero, Plain
from sixdof.mission.mission import Mission
from sixdof.vehicle.aero import fin as aero_fin
from sixdof.vehicle.aero import interference
from sixdof.vehicle.aero.blend import PER_MACH, TRANSONIC, mach_grid, smoothstep
from sixdof.vehicle.aero.body import backward_moments, body_components, body_moments
from sixdof.vehicle.aero.cross_flow import cross_table
from sixdof.vehicle.aero.drag import axial_columns, drag_breakdown
from sixdof.vehicle.aero.friction import PER_ROOT
from sixdof.vehicle.aero.measured import axial_shape, body_curve_of, measured_body, measured_panel, measured_roll
from sixdof.vehicle.aero.roll import roll_factors
from sixdof.vehicle.aero.wake import front_to_back, wake_tables
from sixdof.vehicle.compiling import compile_first
from sixdof.vehicle.derivatives import facing, ratio
from sixdof.vehicle.geometry import FinSet, Shape, planform, shape_of
from sixdof.vehicle.stability import least_stable_plane, with_slopes

DOWNWASH = "downwash on fins"
__all__ = ["DOWNWASH", "aero_table", "centre_of_pressure", "component_table", "drag_breakdown"]


def aero_table(mission: Mission, stages: Sequence[int], shape: Shape | None = None) -> Aero:
    """Return the tables of `stages` (numbers, front first) flying together: a row per 0.02 Mach from 0 to 5."""
    compile_first(mission)  # slopes are the kernel's own
    shape = shape_of([mission.stage[i] for i in stages]) if shape is None else shape
    mach = mach_grid()
    body = np.zeros((mach.size, BODY_COLUMNS))
    body[:, [BodyColumn.S0, BodyColumn.S1, BodyColumn.S2]] = sum(m for _, m in _body_rows(mission, stages, shape, mach))
    body[:, [BodyColumn.S0_BACK, BodyColumn.S1_BACK, BodyColumn.S2_BACK]] = backward_moments(shape)
    coasting, burning, backward, friction = axial_columns(mission, stages, shape, mach)
    body[:, BodyColumn.CA], body[:, BodyColumn.CA_BURN], body[:, BodyColumn.CA_BACK] = coasting, burning, backward
    fin = np.zeros((mach.size, len(shape.fins), FIN_COLUMNS))
    for number, one in enumerate(shape.fins):
        fin[:, number, :] = fin_columns(mach, one, shape)
    plan0, plan1, plan2 = planform(shape)
    cross = cross_table(shape)
    wake_pair, wake = wake_tables(shape)
    return with_slopes(
        Aero(
            area=float(shape.area),
            length=float(shape.diameter),
            per_mach=PER_MACH,
            body=body,
            fin=fin,
            friction=np.ascontiguousarray(friction),
            per_root=PER_ROOT,
            cross=np.ascontiguousarray(cross),
            axial_shape=axial_shape(mission, stages, mach),
            panel=panel_rows(shape),
            wake_pair=wake_pair,
            wake=wake,
            slope=np.zeros((mach.size, 1, SLOPE_COLUMNS)),
            plan0=plan0,
            plan1=plan1,
            plan2=plan2,
            plain=Plain(0.0, 0.0, 0.0, 0.0),
        )
    )


def _body_rows(mission: Mission, stages: Sequence[int], shape: Shape, mach) -> list[tuple[str, np.ndarray]]:
    """Return (name, S0 S1 S2 (n, 3)) of the body's pieces, or of "body, measured" where that is given."""
    curve = body_curve_of(mission, stages)
    if curve is not None:
        return [("body, measured", measured_body(curve, mach, body_moments(shape, mach)))]
    return body_components(shape, mach)


def fin_columns(mach, fin: FinSet, shape: Shape) -> np.ndarray:
    """Return the columns (n, FIN_COLUMNS) of one set of fins over `mach`.

    The load carried over onto the body acts at the panel's own centre below Mach 0.8 and where the planar model of
    `interference.afterbody_share` puts it above 1.2; backwards at the panel's own centre, its size as forwards.
    A slot at the root takes its share of all four factors.
    """
    ratio = fin.body_radius / (fin.body_radius + fin.span)
    afterbody = shape.length - fin.x0 - fin.root_chord
    share, centre = interference.afterbody_share(mach, fin.root_chord, fin.body_radius, afterbody)
    columns = np.empty((mach.size, FIN_COLUMNS))
    if fin.part.panel_curve is None:
        columns[:, FinColumn.SLOPE] = aero_fin.panel_slope(mach, fin, shape.area)
        columns[:, FinColumn.X] = aero_fin.centre_station(mach, fin)
    else:
        columns[:, FinColumn.SLOPE], columns[:, FinColumn.X] = measured_panel(fin, mach, shape.area)
    kept = interference.gap_share(fin.part.root_gap, fin.span)
    columns[:, FinColumn.KW] = interference.panel_incidence(ratio) * kept
    columns[:, FinColumn.KB] = interference.body_incidence(ratio) * share * kept
    columns[:, FinColumn.DW] = interference.panel_deflection(ratio) * kept
    columns[:, FinColumn.DB] = interference.body_deflection(ratio) * share * kept
    carried = columns[:, FinColumn.X] + smoothstep(mach, *TRANSONIC) * (fin.x0 + centre - columns[:, FinColumn.X])
    columns[:, FinColumn.XB] = np.minimum(carried, max(shape.length, fin.x0 + 0.5 * fin.root_chord))
    columns[:, FinColumn.X_BACK] = aero_fin.backward_station(mach, fin)
    columns[:, FinColumn.PLATE] = aero_fin.plate_normal(mach)
    columns[:, FinColumn.STALL] = aero_fin.stall_sine(mach, fin.aspect_ratio)
    columns[:, FinColumn.ROLL_DAMP], columns[:, FinColumn.ROLL_DIRECT] = _roll_columns(mach, fin, columns, shape)
    return columns


def _roll_columns(mach, fin: FinSet, columns: np.ndarray, shape: Shape) -> tuple[np.ndarray, np.ndarray]:
    """Return what damping and direct roll of strip theory are multiplied by, (n,) each: theory's, or what makes the measured ones."""
    damping, direct = roll_factors(mach, fin)
    strip = fin.part.count * columns[:, FinColumn.SLOPE] * shape.area * (fin.body_radius + fin.y_mac)
    measured = measured_roll(fin, mach)
    return (
        damping if measured[0] is None else measured[0] / (strip * aero_fin.roll_arm(fin)),
        direct if measured[1] is None else measured[1] / (strip * columns[:, FinColumn.DW]),
    )


def panel_rows(shape: Shape) -> np.ndarray:
    """Return the rows (panels, PANEL_COLUMNS) of every panel, sets from front to back; control panels take actuators 0, 1 .. in the order of
    the file.
    """
    rows = {}
    actuators = 0
    for number, fin in enumerate(shape.fins):
        row = np.zeros(PANEL_COLUMNS)
        row[[PanelColumn.SET, PanelColumn.CANT, PanelColumn.AREA]] = number, fin.part.cant, fin.area
        row[PanelColumn.Y] = fin.body_radius + fin.y_mac
        row[PanelColumn.Y_ROLL] = aero_fin.roll_arm(fin)
        row[PanelColumn.X_PLATE] = aero_fin.area_centre(fin)
        row[PanelColumn.HINGE] = fin.x0 + fin.part.hinge if fin.part.control else np.nan
        rows[number] = []
        for angle in fin.angles():
            row[[PanelColumn.SIN, PanelColumn.COS]] = np.sin(angle), np.cos(angle)
            row[PanelColumn.CONTROL] = actuators if fin.part.control else -1
            actuators += fin.part.control
            rows[number].append(row.copy())
    return np.array([row for number in front_to_back(shape) for row in rows[number]]).reshape(-1, PANEL_COLUMNS)


# ---------------------------------------------------------------- reports


def component_table(mission: Mission, stages: Sequence[int], mach: float = 0.3) -> list[tuple[str, float, float]]:
    """Return (name, CN_alpha, x_cp) of every part that has a normal force at small incidence, and of the total, last.

    All in the plane of incidence where the centre of pressure lies foremost. The total is what is flown; with fins behind fins a row
    DOWNWASH says what they take from it. A tube has none below Mach 0.8, the cylinder behind the nose some above. x_cp is NaN where the
    slope is zero.
    """
    shape = shape_of([mission.stage[i] for i in stages])
    at = np.array([mach], dtype=float)
    aero = aero_table(mission, stages, shape)
    plane = least_stable_plane(aero, at)
    rows = [(name, *moments[0, :2]) for name, moments in _body_rows(mission, stages, shape, at)]
    rows = [row for row in rows if abs(row[1]) > 1e-9]
    for number, fin in enumerate(shape.fins):
        row = fin_columns(at, fin, shape)[0]
        panels = facing(aero, plane)[0, number] * row[FinColumn.SLOPE]
        moment = panels * (row[FinColumn.KW] * row[FinColumn.X] + row[FinColumn.KB] * row[FinColumn.XB])
        rows.append((fin.part.name or fin.part.kind, panels * (row[FinColumn.KW] + row[FinColumn.KB]), moment))
    total = plane.slope[0], plane.slope[0] * plane.centre[0]
    if len(aero.wake_pair):
        rows.append((DOWNWASH, *(whole - sum(row[i] for row in rows) for i, whole in enumerate(total, start=1))))
    rows.append(("total", *total))
    return [(name, float(force), float(ratio(moment, force))) for name, force, moment in rows]


def centre_of_pressure(aero: Aero, mach) -> tuple[np.ndarray, np.ndarray]:
    """Return (CN_alpha, x_cp) of the whole vehicle at small incidence over `mach`, linear between the table's rows.

    In the plane of incidence where it lies foremost. x_cp is NaN where some plane has no normal force (a body closed at both ends, no fins).
    """
    mach = np.asarray(mach, dtype=float)
    found = least_stable_plane(aero, mach.ravel())
    return found.slope.reshape(mach.shape)[()], found.centre.reshape(mach.shape)[()]
