"""What the stated margin owes to carry-over and downwash, as numbers beside a hand calculation."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from sixdof.mission.mission import Mission
from sixdof.mission.page import wrapped
from sixdof.study.probes.columns import BodyColumn, FinColumn
from sixdof.vehicle.aero.table import aero_table
from sixdof.vehicle.derivatives import at_mach, facing
from sixdof.vehicle.describe import MACH, totals
from sixdof.vehicle.geometry import shape_of
from sixdof.vehicle.stability import least_stable_plane


class Margins(NamedTuple):
    """Loaded static margins in calibres at one Mach number: as flown, without downwash, and by hand with 1 + x in place of carry-over."""

    flown: float
    without_downwash: float
    by_hand: float


def margins_by_hand(mission: Mission, stages: Sequence[int], mach: float = MACH) -> Margins:
    """Return the margin of `stages` as flown and in two simpler ways, all in the plane where the flown one is least.

    By hand: every set's own normal force times 1 + x at its panels' centre (Barrowman 1967), x the body's radius over the tip's, in place of
    K_W(B) + K_B(W) = (1 + x)^2 (NACA Report 1307, 1957); body and panels as flown.
    """
    aero, shape = aero_table(mission, stages), shape_of([mission.stage[i] for i in stages])
    at = np.array([mach])
    plane = least_stable_plane(aero, at)
    body, fin = at_mach(aero, aero.body, at)[0], at_mach(aero, aero.fin, at)[0]
    panels = facing(aero, plane)[0] * fin[:, FinColumn.SLOPE]
    x = np.array([each.body_radius / (each.body_radius + each.span) for each in shape.fins])
    cg = totals(mission, stages)[0].centre[0]

    def margin(force, moment) -> float:
        return float(((body[BodyColumn.S1] + moment.sum()) / (body[BodyColumn.S0] + force.sum()) - cg) / aero.length)

    carried = (
        panels * (fin[:, FinColumn.KW] + fin[:, FinColumn.KB]),
        panels * (fin[:, FinColumn.KW] * fin[:, FinColumn.X] + fin[:, FinColumn.KB] * fin[:, FinColumn.XB]),
    )
    plain = panels * (1.0 + x), panels * (1.0 + x) * fin[:, FinColumn.X]
    return Margins(float((plane.centre[0] - cg) / aero.length), margin(*carried), margin(*plain))


def margin_sentences(mission: Mission, stages: Sequence[int]) -> list[str]:
    """Return how far the margin is from that of a hand calculation, and what downwash takes of it; nothing without fins."""
    if not shape_of([mission.stage[i] for i in stages]).fins:
        return []
    found = margins_by_hand(mission, stages)
    more = found.without_downwash - found.by_hand
    lines = wrapped(
        f"Carry-over between fins and body after NACA Report 1307, (1 + x)^2, gives {more:+.2f} calibres of margin at Mach {MACH:g} against "
        f"the 1 + x of a hand calculation after Barrowman: that would say {found.by_hand:.2f} loaded, here it is {found.without_downwash:.2f}"
        f"{' before downwash' if len(aero_table(mission, stages).wake_pair) else ''}."
    )
    if len(aero_table(mission, stages).wake_pair):
        lines += wrapped(
            f"Downwash of fins on the fins behind them gives {found.flown - found.without_downwash:+.2f} calibres: as flown, and in all margins "
            f"above, it is {found.flown:.2f} (a vortex lattice has the downwash within 15 %)."
        )
    return lines
