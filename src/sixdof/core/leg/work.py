"""The scratch arrays of one thread, and the arrays a flight fills."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.actuator import ISSUED
from sixdof.core.columns import (
    FIN_ROWS,
    HANDOVER_COLUMNS,
    MOTOR_ROWS,
    SEEN_COLUMNS,
    STAGE_COLUMNS,
    TALLY_COLUMNS,
    TRACE_COLUMNS,
    TURBULENCE_COLUMNS,
    Column,
    PanelColumn,
)
from sixdof.core.computer.columns import ERROR_COLUMNS, ESTIMATE_COLUMNS, FIX_COLUMNS, NOTICED_COLUMNS, RULE_STATES, SWITCHES, RuleColumn
from sixdof.core.computer.sensors import HISTORY
from sixdof.core.layout import COMMANDED_SIZE, DEMAND_SIZE, EVENT_COLUMNS, EVENTS, LOG_COLUMNS, MEMORY_SIZE, OUTCOMES, SENSED

FENCE = 64  # numbers before and behind each array of a custom law that nobody may write
UNTOUCHED = -7.25e210  # what stands there
TRACE_ROWS = 512  # ticks after a separation at which time, nose and base (world axes, m) are kept


class FenceColumn(Column):
    """Work.fence_at, one row per array that a custom law may write."""

    START = "1", "where it begins in Work.fenced"
    SIZE = "1"


class Work(NamedTuple):
    """Scratch arrays of one thread, made by `make_work`; a flight fills them anew (but for laws and guidance_gains)."""

    sensed: np.ndarray
    commanded: np.ndarray  # what a custom guidance law writes
    command: np.ndarray  # what the control law writes
    memory: np.ndarray  # of the control law
    guidance_memory: np.ndarray
    gains: np.ndarray
    guidance_gains: np.ndarray  # of a custom guidance law
    fenced: np.ndarray  # the memory that what a custom law may write lies in, with the fences between; (0,) without one
    fence_at: np.ndarray  # (arrays, FenceColumn) int64
    centring: np.ndarray  # (controls,) of the leg, as Draw.centring
    laws: np.ndarray  # (2,) int64: addresses of the custom guidance and control laws, 0: the built-in one
    fin_command: np.ndarray  # (controls,)
    issued: np.ndarray  # (ISSUED, controls): commands of the last ticks
    targets: np.ndarray  # (controls,): what the servos now go to
    fins: np.ndarray  # (FIN_ROWS, controls): angles of a step and at its end, share of its load each fin carries
    motors: np.ndarray  # (MOTOR_ROWS, controls)
    health: np.ndarray  # (controls,): failure in force
    hinge: np.ndarray  # (controls,)
    estimate: np.ndarray
    history: np.ndarray
    constants: np.ndarray
    notice: np.ndarray
    rules: np.ndarray  # (rules, RULE_STATES)
    rule_delay: np.ndarray  # (rules,) this flight's
    switches: np.ndarray
    stage: np.ndarray  # (stages, STAGE_COLUMNS)
    airframe: np.ndarray  # (AIRFRAME_COLUMNS,) this flight's, of the body
    grain: np.ndarray  # (motors, GRAIN_COLUMNS) likewise
    cant: np.ndarray  # (panels,) likewise, rad: the panels' own and what a tilted joint adds
    canopy: np.ndarray  # (canopies, CANOPY_COLUMNS) this flight's
    deployed: np.ndarray  # (canopies,): time of deployment, -1 before, LOST
    pull: np.ndarray  # (canopies,): largest opening load, N
    handover: np.ndarray  # what the leg before hands over, and this one to the next (columns.Handover)
    turbulence: np.ndarray  # state of the gusts, see core.turbulence
    trial: np.ndarray  # (FIN_ROWS + MOTOR_ROWS, controls) scratch of the step control
    gust: np.ndarray  # (3, 3) at the start, middle and end of a step, east, north and up, m/s
    trace: np.ndarray  # (TRACE_ROWS, TRACE_COLUMNS): where the body's ends are after a separation
    passed: np.ndarray  # (waypoints, 2): time and miss distance
    tally: np.ndarray
    air: np.ndarray
    seen: np.ndarray  # (panels, SEEN_COLUMNS): what each panel did at the last evaluation of the loads


class LawSize(NamedTuple):
    """How much memory a custom law wants, and its gains."""

    memory: int = MEMORY_SIZE
    gains: np.ndarray | None = None


def _gains(size: LawSize) -> np.ndarray:
    return np.zeros(0) if size.gains is None else np.array(size.gains, dtype=float)


def make_work(model, guidance: LawSize = LawSize(), control: LawSize | None = None) -> Work:
    """Return the scratch arrays for flights of `model`; one set a thread. guidance, control : of custom laws."""
    controls = model.computer.mixer.shape[0]
    gains = np.zeros_like(model.computer.gains) if control is None else _gains(control)
    return Work(
        sensed=np.zeros(len(SENSED)),
        commanded=np.zeros(COMMANDED_SIZE),
        command=np.zeros(DEMAND_SIZE),
        memory=np.zeros(MEMORY_SIZE if control is None else max(control.memory, 1)),
        guidance_memory=np.zeros(max(guidance.memory, MEMORY_SIZE)),
        gains=gains,
        guidance_gains=_gains(guidance),
        fenced=np.zeros(0),
        fence_at=np.zeros((0, 2), dtype=np.int64),
        centring=np.zeros(controls),
        laws=np.zeros(2, dtype=np.int64),
        fin_command=np.zeros(controls),
        issued=np.zeros((ISSUED, controls)),
        targets=np.zeros(controls),
        fins=np.zeros((FIN_ROWS, controls)),
        motors=np.zeros((MOTOR_ROWS, controls)),
        health=np.zeros(controls),
        hinge=np.zeros(controls),
        estimate=np.zeros(ESTIMATE_COLUMNS),
        history=np.zeros((HISTORY, FIX_COLUMNS)),
        constants=np.zeros(ERROR_COLUMNS),
        notice=np.zeros(NOTICED_COLUMNS),
        rules=np.zeros((model.computer.rules.shape[0], RULE_STATES)),
        rule_delay=model.computer.rules[:, RuleColumn.DELAY].copy(),
        switches=np.zeros(SWITCHES),
        stage=np.zeros((model.leg.stages, STAGE_COLUMNS)),
        airframe=airframe_of(model),
        grain=model.mass.grain.copy(),
        cant=model.aero.panel[:, PanelColumn.CANT].copy(),
        canopy=model.canopy.copy(),
        deployed=np.zeros(model.canopy.shape[0]),
        pull=np.zeros(model.canopy.shape[0]),
        handover=np.zeros(HANDOVER_COLUMNS),
        turbulence=np.zeros(TURBULENCE_COLUMNS),
        trial=np.zeros((FIN_ROWS + MOTOR_ROWS, controls)),
        gust=np.zeros((3, 3)),
        trace=np.zeros((TRACE_ROWS, TRACE_COLUMNS)),
        passed=np.zeros((model.computer.guidance.waypoint.shape[0], 2)),
        tally=np.zeros(TALLY_COLUMNS),
        air=np.zeros_like(model.world.air),
        seen=np.zeros((model.aero.panel.shape[0], SEEN_COLUMNS)),
    )


def airframe_of(model) -> np.ndarray:
    """Return the airframe (AIRFRAME_COLUMNS,) of a model as it stands."""
    return np.array([*model.mass[:10], model.leg.fore_mass, model.tumble_area, model.leg.nose_x])


def make_log(model, rows: int) -> np.ndarray:
    """Return an empty log of `rows` rows for flights of `model` (0 rows: nothing is logged)."""
    return np.empty((rows, LOG_COLUMNS + 3 * model.computer.mixer.shape[0] + len(SENSED)))


def make_events(model) -> np.ndarray:
    """Return an empty event table of one body.

    Rows: layout.EVENTS, the deployments of the canopies, their line stretches, ignition and burnout of each stage but the last, the
    separation of each but the front one.
    """
    return np.empty((len(EVENTS) + 2 * model.canopy.shape[0] + 3 * (model.leg.stages - 1), len(EVENT_COLUMNS)))


def make_summary() -> np.ndarray:
    """Return an empty row of outcomes (OUTCOMES)."""
    return np.empty(len(OUTCOMES))
