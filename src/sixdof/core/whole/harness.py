"""Recovery harnesses: what they carry as their canopies are ejected, and the two pieces of a body whose harness has failed."""

from __future__ import annotations

from math import inf, sqrt

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.columns import AirframeColumn, CanopyColumn, Handover, StageColumn
from sixdof.core.constants import CANOPY
from sixdof.core.draw import FlightDraw, HarnessDraw, StageDraw
from sixdof.core.layout import NOT_IGNITED
from sixdof.core.leg.work import Work
from sixdof.core.whole.dividing import copy_row, copy_rows, give_up_canopy, pass_on
from sixdof.core.whole.stack import combine, scale_lump
from sixdof.core.whole.tables import Crew, CutColumn, HarnessColumn, LumpColumn, RiggingColumn, Staging, number_of

LEAST_GYRATION = 0.01  # m, of a loose piece
FORE, AFT = np.int64(0), np.int64(1)  # sides of a cut


@helper
def first_of_side(staging: Staging, h: int, number: int, aft: int) -> int:
    """Return the row of Staging.cut_first of one side of a body's cut by harness h."""
    return 2 * (h * (staging.lump_first.shape[0] - 1) + number) + aft


# ------------------------------------------------------------------ loads


@kernel
def load_harnesses(staging: Staging, first: int, last: int, draws: FlightDraw, i: int, work: Work, unlit: np.ndarray, snatch: np.ndarray) -> None:
    """Fill Work.canopy with what the harnesses of the stages first .. last, flying together, carry as their canopies are ejected.

    unlit : (stages,) scratch. snatch : (canopies,) their snatch loads (N), noted for canopies that are still in.
    """
    for k in range(first, last + 1):
        stage = work.stage[k]
        off = stage[StageColumn.NO_IGNITION] > 0.5 or (k < last and stage[StageColumn.IGNITE] < 0.0)
        unlit[k] = 1.0 if off else 0.0
    for c in range(staging.canopy.shape[0]):
        h, stage = int(staging.canopy[c, RiggingColumn.HARNESS]), staging.canopy[c, RiggingColumn.STAGE]
        if h >= 0 and first <= stage <= last:
            _load_harness(staging, c, h, number_of(staging.stage.shape[0], first, last), draws, i, work, unlit)
            if work.deployed[c] < 0.0:
                snatch[c] = work.canopy[c, CanopyColumn.SNATCH]


@kernel
def _load_harness(staging: Staging, c: int, h: int, number: int, draws: FlightDraw, i: int, work: Work, unlit: np.ndarray) -> None:
    """Fill the row of one canopy whose harness divides the body `number`."""
    own, row = staging.harness[h], work.canopy[c]
    fore = _side_mass(staging, first_of_side(staging, h, number, FORE), draws.stage[i], unlit)
    aft = _side_mass(staging, first_of_side(staging, h, number, AFT), draws.stage[i], unlit)
    if fore <= 0.0 or aft <= 0.0:  # the airframe parts where nothing is ahead: nothing flies off
        row[CanopyColumn.HARNESS_SHARE] = row[CanopyColumn.SNATCH] = 0.0
        return
    loose = aft if own[HarnessColumn.FORE_KEEPS] > 0.5 else fore
    rate = own[HarnessColumn.RATE] * draws.harness[i, h, HarnessDraw.STIFFNESS]
    impulse = own[HarnessColumn.IMPULSE] * draws.harness[i, h, HarnessDraw.IMPULSE]
    reduced = fore * aft / (fore + aft)
    row[CanopyColumn.HARNESS_SHARE] = loose / (fore + aft)
    # the pieces fly apart at impulse/reduced mass until the harness has taken that energy up as a spring
    row[CanopyColumn.SNATCH] = impulse * sqrt(rate / reduced)


@kernel
def _side_mass(staging: Staging, side: int, drawn: np.ndarray, unlit: np.ndarray) -> float:
    """Return the mass of one side of a cut, kg; unlit : (stages,) 1 where the propellant is still there."""
    mass = 0.0
    for r in range(staging.cut_first[side], staging.cut_first[side + 1]):
        row = staging.cut_lump[r]
        k = int(row[LumpColumn.STAGE])
        mass += row[LumpColumn.MASS] * (drawn[k, StageDraw.MASS] if row[LumpColumn.DRY] > 0.5 else unlit[k])
    return mass


# ------------------------------------------------------------------ pieces


@kernel
def break_harness(staging: Staging, c: int, first: int, last: int, draws: FlightDraw, i: int, work: Work, loose: Work, crew: Crew) -> None:
    """Divide a body whose harness of canopy c has failed: `work` becomes the piece that keeps it, `loose` that which falls away.

    Each has the drag of its side area whichever way it turns; that which keeps the canopy hangs from it by its fore end. What is left
    falls as it is: it separates and burns no more.
    """
    h = int(staging.canopy[c, RiggingColumn.HARNESS])
    for k in range(first, last + 1):
        lit = work.handover[Handover.IGNITED] != NOT_IGNITED if k == last else work.stage[k, StageColumn.BURNOUT] >= 0.0
        crew.unlit[k] = 0.0 if lit else 1.0
    pass_on(work, loose)
    copy_row(work.handover, loose.handover)
    copy_row(work.airframe, loose.airframe)
    copy_row(work.cant, loose.cant)
    copy_rows(work.trace, loose.trace)
    fore_keeps = staging.harness[h, HarnessColumn.FORE_KEEPS] > 0.5
    _make_piece(staging, c, h, first, last, FORE if fore_keeps else AFT, 1.0, draws, i, work, crew)
    _make_piece(staging, c, h, first, last, AFT if fore_keeps else FORE, 0.0, draws, i, loose, crew)


@kernel
def _make_piece(staging: Staging, c: int, h: int, first: int, last: int, aft: int, kept: float, draws: FlightDraw, i: int, work: Work, crew: Crew) -> None:
    """Make `work` that of one side of a body's cut; kept : 1 for the piece that keeps canopy c."""
    stages = staging.stage.shape[0]
    number = number_of(stages, first, last)
    side, cut, own = first_of_side(staging, h, number, aft), staging.cut[h, number], staging.harness[h]
    count = _draw_side(staging, side, draws.stage[i], crew.unlit, crew.lump)
    frame = work.airframe
    combine(crew.lump[:count], frame)
    for j in (AirframeColumn.IXX, AirframeColumn.IYY, AirframeColumn.IZZ):  # nothing but point masses on the axis: that of a small ball
        frame[j] = max(frame[j], frame[AirframeColumn.DRY] * LEAST_GYRATION**2)
    for r in range(work.grain.shape[0]):
        for j in range(work.grain.shape[1]):
            work.grain[r, j] = 0.0
    stage = int(staging.canopy[c, RiggingColumn.STAGE])
    hanging = own[HarnessColumn.HANGING_DRAG] * draws.stage[i, stage, StageDraw.HANGING_DRAG]
    tumbling = own[HarnessColumn.TUMBLING_DRAG] * draws.harness[i, h, HarnessDraw.TUMBLING_DRAG]
    area = (hanging if kept > 0.5 else tumbling) * cut[CutColumn.AFT_AREA if aft > 0 else CutColumn.FORE_AREA]
    frame[AirframeColumn.HANGING_AREA], frame[AirframeColumn.NOSE_X] = area, cut[CutColumn.STATION] if aft > 0 else 0.0
    work.handover[Handover.PHASE], work.handover[Handover.DRAG_AREA], work.handover[Handover.IGNITED] = float(CANOPY), area, NOT_IGNITED
    for k in range(stages):
        work.stage[k, StageColumn.NO_SEPARATION] = work.stage[k, StageColumn.NO_IGNITION] = 1.0
    for each in range(staging.canopy.shape[0]):
        if staging.keeps[c, each] != kept:
            give_up_canopy(work, each)
        work.canopy[each, CanopyColumn.HARNESS_SHARE] = work.canopy[each, CanopyColumn.SNATCH] = 0.0
        work.canopy[each, CanopyColumn.HARNESS_STRENGTH] = inf


@kernel
def _draw_side(staging: Staging, side: int, drawn: np.ndarray, unlit: np.ndarray, out: np.ndarray) -> int:
    """Fill `out` with what lies on one side of a cut, draws of mass applied; return how many lumps those are."""
    count = 0
    for r in range(staging.cut_first[side], staging.cut_first[side + 1]):
        row = staging.cut_lump[r]
        k = int(row[LumpColumn.STAGE])
        dry = row[LumpColumn.DRY] > 0.5
        if dry or unlit[k] > 0.5:
            copy_row(row, out[count])
            scale_lump(out[count], drawn[k, StageDraw.MASS] if dry else 1.0, 1.0)
            count += 1
    return count
