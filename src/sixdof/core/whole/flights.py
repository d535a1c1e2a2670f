"""Whole flights, leg by leg: the stack, what goes on after each separation, what stays behind, to the ground.

`fly` does all the integration, a leg at a time; between legs bodies are divided, and what the flight computer knows passes on.
"""

from __future__ import annotations

from math import nan

import numpy as np

from sixdof._jit import borrow, kernel
from sixdof.core.algebra import fill
from sixdof.core.body import Body
from sixdof.core.columns import AirframeColumn, Handover
from sixdof.core.constants import CANOPY, FREE
from sixdof.core.draw import CommonDraw, FlightDraw, JointDraw
from sixdof.core.flight.fly import fly
from sixdof.core.layout import BY_COMMAND, NOT_IGNITED, Ending, Event, EventColumn
from sixdof.core.leg.fence import overran
from sixdof.core.leg.work import Work
from sixdof.core.types import Model
from sixdof.core.whole.dividing import body_now, copy_row, copy_rows, divide, fill_rows, give_up_canopy, is_stretched, pass_on
from sixdof.core.whole.facts import NOT_DOWN, UNREACHED, BodyFact, JointFact, body_facts, canopy_facts, note_failure, rule_facts, separation_facts
from sixdof.core.whole.gap import gap_history
from sixdof.core.whole.harness import break_harness, load_harnesses
from sixdof.core.whole.prepare import prepare
from sixdof.core.whole.stack import fit_airframe, leg_draw
from sixdof.core.whole.tables import FRONT, PIECE, WHOLE, Block, Crew, FleetColumn, FlightColumn, RiggingColumn, SideColumn, Staging, StagingColumn, number_of
from sixdof.core.whole.track import keep_track, widen


@kernel
def fly_flights(models: tuple[Model, ...], works: tuple[Work, ...], staging: Staging, draws: FlightDraw, crew: Crew, block: Block, tracked: float) -> None:
    """Fly all flights of some packed draws; what they leave goes into the rows of `block`.

    models, works, staging, crew : lent; models and works by the number of a body (see core/whole/tables.py). tracked : flights numbered below
    it keep their track.
    """
    draws, block = borrow(draws), borrow(block)
    for i in range(draws.common.shape[0]):
        begin(models, works, staging, draws, i, crew, block)
        b = FRONT
        while b >= 0:
            row = crew.fleet[b]
            model, work = models[number_of(staging.stage.shape[0], row[FleetColumn.FIRST], row[FleetColumn.LAST])], works[row[FleetColumn.WORK]]
            if row[FleetColumn.WHOLE] > 0:
                load_harnesses(staging, row[FleetColumn.FIRST], row[FleetColumn.LAST], draws, i, work, crew.unlit, crew.snatch)
            draw = borrow(leg_draw(staging, model, draws, i, row[FleetColumn.WHOLE], work))
            # only the front body's log is kept where there is room for one
            log = crew.log[b, row[FleetColumn.ROWS] :] if b < crew.log.shape[0] else crew.log[FRONT, crew.log.shape[1] :]
            status, _, rows = fly(model, draw, work, log, block.events[i, b], crew.summary[b])
            widen(log[:rows], work.fin_command.shape[0])
            row[FleetColumn.ROWS] += rows
            row[FleetColumn.STATUS] = Ending.LAW_NONSENSE if overran(work) else status
            if row[FleetColumn.STATUS] == Ending.SEPARATED:
                separate(models, works, staging, draws, i, b, crew, block)
            elif row[FleetColumn.STATUS] == Ending.HARNESS_BROKEN:
                part_pieces(works, staging, draws, i, b, crew, block)
            else:
                b = next_body(crew, b)
        end(works, staging, i, crew, block)
        if draws.common[i, CommonDraw.FLIGHT] < tracked:
            keep_track(crew.log[FRONT, : crew.fleet[FRONT, FleetColumn.ROWS]], crew.track_columns, crew.track_place, block.track[i])


@kernel
def begin(models: tuple[Model, ...], works: tuple[Work, ...], staging: Staging, draws: FlightDraw, i: int, crew: Crew, block: Block) -> None:
    """Put the stack on the rail, and clear what is noted of a flight."""
    stages, bodies = staging.stage.shape[0], crew.fleet.shape[0]
    for b in range(bodies):
        for j in range(crew.fleet.shape[1]):
            crew.fleet[b, j] = 0
        fill_rows(block.events[i, b], nan)
        fill(block.body[i, b], nan)
        block.body[i, b, BodyFact.DESCENT], block.body[i, b, BodyFact.STATUS] = float(NOT_DOWN), UNREACHED
    fill_rows(block.joint[i], nan)
    for k in range(stages):
        crew.sides[k, SideColumn.AHEAD] = crew.sides[k, SideColumn.BEHIND] = -1
        crew.gap_rows[k] = 0
        if k > 0:
            block.joint[i, k - 1, JointFact.CAUSE] = block.joint[i, k - 1, JointFact.RECONTACT] = 0.0
    fill_rows(block.rule[i], nan)
    fill_rows(block.canopy[i], nan)
    fill(crew.snatch, nan)
    fill(block.failure[i], 0.0)
    copy_row(draws.failure[i], block.failure[i])
    number = number_of(stages, FRONT, stages - 1)
    work, model = works[number], models[number]
    prepare(staging, model, draws, i, work)
    fill(work.deployed, -1.0)  # what the flight before left in this scratch: snatch loads are noted for canopies that are still in
    work.handover[Handover.GOES_ON] = 0.0
    fit_airframe(staging, model, draws, i, crew.lump, work)
    crew.flight[FlightColumn.COUNT], crew.flight[FlightColumn.DONE], crew.flight[FlightColumn.LAW_FAILED] = 0, 0, -1
    muster(crew, FRONT, FRONT, stages - 1, number)


@kernel
def muster(crew: Crew, b: int, first: int, last: int, work: int) -> None:
    """Enter a body that comes to be in the fleet, to wait its turn. first, last : its stages. work : number of its scratch."""
    row = crew.fleet[b]
    row[FleetColumn.FIRST], row[FleetColumn.LAST], row[FleetColumn.WORK], row[FleetColumn.WHOLE] = first, last, work, WHOLE
    crew.order[crew.flight[FlightColumn.COUNT]] = b
    crew.flight[FlightColumn.COUNT] += 1


@kernel
def next_body(crew: Crew, b: int) -> int:
    """Note that a body is down; return the one that flies next, -1 when all are."""
    row, flight = crew.fleet[b], crew.flight
    if row[FleetColumn.STATUS] == Ending.LAW_FAILED or row[FleetColumn.STATUS] == Ending.LAW_NONSENSE:
        flight[FlightColumn.LAW_FAILED] = row[FleetColumn.WORK]
    flight[FlightColumn.DONE] += 1
    return crew.order[flight[FlightColumn.DONE]] if flight[FlightColumn.DONE] < flight[FlightColumn.COUNT] else np.int64(-1)


@kernel
def copy_results(crew: Crew, block: Block, i: int, b: int, other: int) -> None:
    """Give a body that has just come to be the events and outcomes of the one it was part of."""
    copy_rows(block.events[i, b], block.events[i, other])
    copy_row(crew.summary[b], crew.summary[other])


@kernel
def separate(models: tuple[Model, ...], works: tuple[Work, ...], staging: Staging, draws: FlightDraw, i: int, b: int, crew: Crew, block: Block) -> None:
    """Divide a body at a joint: it goes on as what is ahead of it, what is behind waits its turn."""
    stages, row = staging.stage.shape[0], crew.fleet[b]
    first, last, number = row[FleetColumn.FIRST], row[FleetColumn.LAST], row[FleetColumn.WORK]
    work = works[number]
    hand = work.handover
    k = int(hand[Handover.WHICH])
    fore, aft = number_of(stages, first, k - 1), number_of(stages, k, last)
    ahead, behind = works[fore], works[aft]
    pass_on(work, ahead)
    pass_on(work, behind)
    fit_airframe(staging, models[fore], draws, i, crew.lump, ahead)
    fit_airframe(staging, models[aft], draws, i, crew.lump, behind)
    charge = staging.stage[k, StagingColumn.JOINT_IMPULSE] * draws.joint[i, k, JointDraw.IMPULSE] if hand[Handover.CAUSE] == BY_COMMAND else 0.0
    turn_y, turn_z = draws.joint[i, k, JointDraw.TILT_Y], draws.joint[i, k, JointDraw.TILT_Z]
    t, lit = hand[Handover.TIME], hand[Handover.IGNITED]
    stack = body_of(models[number_of(stages, first, last)], staging, draws, i, work, t, lit)
    front = body_of(models[fore], staging, draws, i, ahead, t, NOT_IGNITED)
    back = body_of(models[aft], staging, draws, i, behind, t, lit)
    speed = divide(hand, stack, front, back, models[fore].world.earth_rate, charge, turn_y, turn_z, ahead.handover, behind.handover)
    separation_facts(hand, speed, block.events[i, b], block.joint[i, k - 1])
    copy_results(crew, block, i, b, k)
    take_along(staging, first, k - 1, ahead)
    take_along(staging, k, last, behind)
    crew.sides[k, SideColumn.AHEAD], crew.sides[k, SideColumn.BEHIND] = fore, aft
    fill_rows(ahead.trace, nan)
    fill_rows(behind.trace, nan)
    row[FleetColumn.LAST], row[FleetColumn.WORK] = k - 1, fore
    muster(crew, k, k, last, aft)


@kernel
def body_of(model: Model, staging: Staging, draws: FlightDraw, i: int, work: Work, t: float, ignited: float) -> Body:
    """Return a body at time t in flight i of some draws, its last motor ignited at `ignited`."""
    return body_now(model, borrow(leg_draw(staging, model, draws, i, WHOLE, work)), work, t, ignited)


@kernel
def take_along(staging: Staging, first: int, last: int, work: Work) -> None:
    """Leave a body its own canopies alone, and let it go on as it hangs or flies."""
    work.handover[Handover.PHASE] = float(FREE)
    for c in range(staging.canopy.shape[0]):
        if not first <= staging.canopy[c, RiggingColumn.STAGE] <= last:
            give_up_canopy(work, c)  # a command reaches no canopy on the other side
        elif is_stretched(work, c):
            work.handover[Handover.PHASE] = float(CANOPY)
    # a part has no more than it can have
    work.handover[Handover.DRAG_AREA] = min(work.handover[Handover.DRAG_AREA], work.airframe[AirframeColumn.HANGING_AREA])


@kernel
def part_pieces(works: tuple[Work, ...], staging: Staging, draws: FlightDraw, i: int, b: int, crew: Crew, block: Block) -> None:
    """Divide a body whose harness has failed: it goes on with the canopy, the loose piece waits its turn."""
    stages, row = staging.stage.shape[0], crew.fleet[b]
    first, last = row[FleetColumn.FIRST], row[FleetColumn.LAST]
    work = works[row[FleetColumn.WORK]]
    c = int(work.handover[Handover.WHICH])
    h = int(staging.canopy[c, RiggingColumn.HARNESS])
    note_failure(staging.canopy[c, RiggingColumn.HARNESS_BREAKS], block.failure[i])
    other, number = stages + h, (h + 1) * stages * stages + number_of(stages, first, last)
    break_harness(staging, c, first, last, draws, i, work, works[number], crew)
    copy_results(crew, block, i, b, other)
    muster(crew, other, first, last, number)
    row[FleetColumn.WHOLE] = crew.fleet[other, FleetColumn.WHOLE] = PIECE


@kernel
def end(works: tuple[Work, ...], staging: Staging, i: int, crew: Crew, block: Block) -> None:
    """Note what is known of the bodies when all are down."""
    stages = staging.stage.shape[0]
    for n in range(crew.flight[FlightColumn.COUNT]):
        b = crew.order[n]
        row = crew.fleet[b]
        first, last, work = row[FleetColumn.FIRST], row[FleetColumn.LAST], works[row[FleetColumn.WORK]]
        events = block.events[i, b]
        body_facts(staging, first, last, row[FleetColumn.STATUS], work, events, block.body[i, b])
        if b < stages:
            for k in range(b + 1, last + 1):  # stages that never separated share the fate of the body they are in
                copy_rows(events, block.events[i, k])
                copy_row(block.body[i, b], block.body[i, k])
            rule_facts(staging, first, last, work, block.rule[i])
            if last > first:
                block.joint[i, last - 1, JointFact.BY_DRAG_TIME] = events[Event.DRAG_SEPARATION, EventColumn.TIME]
        canopy_facts(staging, work, events, crew.snatch, block.canopy[i], block.failure[i])
    for k in range(1, stages):
        if crew.sides[k, SideColumn.AHEAD] >= 0:
            reach = staging.stage[k - 1, StagingColumn.RADIUS] + staging.stage[k, StagingColumn.RADIUS]
            rows, least, met = gap_history(works[crew.sides[k, SideColumn.AHEAD]].trace, works[crew.sides[k, SideColumn.BEHIND]].trace, reach, crew.gap[k])
            crew.gap_rows[k] = rows
            block.joint[i, k - 1, JointFact.GAP_MIN], block.joint[i, k - 1, JointFact.RECONTACT] = least, met
    block.status[i] = crew.fleet[FRONT, FleetColumn.STATUS]
    copy_row(crew.summary[FRONT], block.summary[i])
    copy_rows(works[crew.fleet[FRONT, FleetColumn.WORK]].passed, block.passed[i])
