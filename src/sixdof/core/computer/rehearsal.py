"""A bench test of the flight computer: its rules and laws at every tick on readings that are given, without any physics."""

from __future__ import annotations

import numpy as np

from sixdof._jit import fixed, kernel
from sixdof.core.algebra import fill, put_quaternion, put_vector, quaternion_at, vector_at
from sixdof.core.columns import StageColumn
from sixdof.core.computer.columns import REHEARSAL_COLUMNS, Noticed, RehearsalColumn, Slot, Switch
from sixdof.core.computer.guidance import start_guidance
from sixdof.core.computer.rules import start_notice
from sixdof.core.computer.tick import control, decide, steer
from sixdof.core.draw import Draw
from sixdof.core.forces.loads import air_at
from sixdof.core.layout import Commanded, Demand, Sensed
from sixdof.core.leg.drawing import draw_model, drawn_gains, rail_attitude
from sixdof.core.leg.work import Work
from sixdof.core.types import Model, Quat

OWN_WIRES = -1.0  # in a script's column `booster` (stages attached behind): the break-wires follow the computer's own commands


@kernel
def rehearse(model: Model, draw: Draw, work: Work, frame: Quat, script: np.ndarray, burn_time: np.ndarray, out: np.ndarray) -> int:
    """Run the flight computer of `model` over a script; return 0, or how a custom law ends it (LAW_FAILED, LAW_NONSENSE).

    work : as for a flight, Work.stage, canopy and rule_delay filled. frame : launch frame -> world. script : (ticks, SENSED)
    readings; commanded attitude, mode, enabled, saturated, time since liftoff, dynamic pressure and Mach are the computer's own. burn_time :
    (stages,) s, for the pyrotechnic delays of the motors. out : (ticks, REHEARSAL_COLUMNS + fins), filled.
    """
    drawn = fixed(draw_model(model, draw, work))
    last = model.leg.last
    fill(work.sensed, 0.0)
    fill(work.command, 0.0)
    fill(work.memory, 0.0)
    fill(work.switches, 0.0)
    fill(work.deployed, -1.0)
    for i in range(work.rules.shape[0]):
        fill(work.rules[i], -1.0)
    for i in range(work.stage.shape[0]):
        work.stage[i, StageColumn.IGNITE] = work.stage[i, StageColumn.SEPARATE] = work.stage[i, StageColumn.BURNOUT] = -1.0
    for i in range(work.issued.shape[0]):
        fill(work.issued[i], 0.0)
    start_notice(work.notice, float(last - model.leg.first))
    start_guidance(work.guidance_memory, rail_attitude(model.rail.elevation, model.rail.azimuth))
    if work.laws[Slot.GUIDANCE] != 0:
        fill(work.guidance_memory, 0.0)
    work.switches[Switch.MODE] = float(model.computer.guidance.start_mode)
    work.sensed[Sensed.COMMANDED_W] = work.commanded[Commanded.Q_W] = 1.0
    if work.laws[Slot.CONTROL] == 0:
        drawn_gains(model.computer.gains, draw, work.gains)
    sensed = work.sensed
    for tick in range(script.shape[0]):
        attached = _read(script[tick], sensed, model, work.stage)
        _burn(sensed[Sensed.TIME], last, burn_time, work.stage)
        decide(sensed, drawn.rail.aft_travel, model.computer, attached, work)
        if model.leg.main > 0:
            ended = steer(sensed[Sensed.TIME], model, frame, work)
            if ended == 0:
                ended = control(sensed[Sensed.TIME], tick, model, drawn, work)
            if ended != 0:
                return ended
        _write(out[tick], sensed, attached, work)
    return 0


@kernel
def _read(row: np.ndarray, sensed: np.ndarray, model: Model, stage: np.ndarray) -> float:
    """Take one row of the script; return how many stages are attached behind the first."""
    leg = model.leg
    for i in range(sensed.shape[0]):
        if not (Sensed.COMMANDED_W <= i < Sensed.COMMANDED_RATE_X + 3 or i == Sensed.SATURATED or i == Sensed.MODE or i == Sensed.TIME_SINCE_LIFTOFF):
            sensed[i] = row[i]
    air = air_at(model.world, sensed[Sensed.HEIGHT])
    speed2 = sensed[Sensed.VELOCITY_EAST] ** 2 + sensed[Sensed.VELOCITY_NORTH] ** 2 + sensed[Sensed.VELOCITY_UP] ** 2
    sensed[Sensed.DYNAMIC_PRESSURE], sensed[Sensed.MACH] = 0.5 * air.density * speed2, (speed2**0.5) / air.sound
    sensed[Sensed.PERIOD] = model.computer.period
    attached = float(leg.last - leg.first)
    if row[Sensed.BOOSTER] == OWN_WIRES:
        for k in range(leg.last, leg.first, -1):
            separated = stage[k, StageColumn.SEPARATE] >= 0.0 and stage[k, StageColumn.NO_SEPARATION] < 0.5
            if separated and sensed[Sensed.TIME] >= stage[k, StageColumn.SEPARATE] + stage[k, StageColumn.SEPARATION_DELAY]:
                attached = float(k - 1 - leg.first)
    else:
        attached = min(row[Sensed.BOOSTER], attached)  # how many the script says
    sensed[Sensed.BOOSTER] = 1.0 if attached > 0.0 else 0.0
    return attached


@kernel
def _burn(t: float, last: int, burn_time: np.ndarray, stage: np.ndarray) -> None:
    """Note when motors have burnt out by their data sheets: the last stage's from the start, the others' from their command."""
    for k in range(stage.shape[0]):
        ignited = 0.0 if k == last else stage[k, StageColumn.IGNITE]
        if ignited < 0.0 or stage[k, StageColumn.NO_IGNITION] > 0.5 or burn_time[k] <= 0.0:
            continue
        end = ignited + burn_time[k] + (stage[k, StageColumn.IGNITION_DELAY] if k != last else 0.0)
        if t >= end and stage[k, StageColumn.BURNOUT] < 0.0:
            stage[k, StageColumn.BURNOUT] = end


@kernel
def _write(row: np.ndarray, sensed: np.ndarray, attached: float, work: Work) -> None:
    row[RehearsalColumn.TIME], row[RehearsalColumn.LIFTOFF] = sensed[Sensed.TIME], work.notice[Noticed.LIFTOFF]
    row[RehearsalColumn.BURNS], row[RehearsalColumn.APOGEE], row[RehearsalColumn.ATTACHED] = work.notice[Noticed.BURNS], work.notice[Noticed.APOGEE], attached
    row[RehearsalColumn.LIVE], row[RehearsalColumn.MODE] = work.switches[Switch.FINS], work.switches[Switch.MODE]
    put_quaternion(row, RehearsalColumn.COMMANDED, quaternion_at(sensed, Sensed.COMMANDED_W))
    put_vector(row, RehearsalColumn.DEMAND, vector_at(work.command, Demand.ROLL))
    for i in range(work.fin_command.shape[0]):
        row[REHEARSAL_COLUMNS + i] = work.fin_command[i]
