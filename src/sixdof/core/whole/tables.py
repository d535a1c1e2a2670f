"""What a flight of several bodies needs beyond their models: tables of a mission, the bodies under way, and what they leave.

A body of the stages first .. last (from 0, front first) has the number first * stages + last, in the row of models, in that of scratch arrays and in every
table here; a piece that a failed harness h lets go has scratch of its own, (h + 1) stages^2 further on.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import helper
from sixdof.core.columns import Column, width


class LumpColumn(Column):
    """A rigid part of a stage that does not burn in the leg at hand."""

    STAGE = "1"
    DRY = "1", "1: its stage's draw of mass applies, 0: a full grain"
    MASS = "kg"
    X = "m", "station of its centre in the body"
    Y = "m"
    Z = "m"
    IXX = "kg m^2", "about it, as in types.Mass"
    IYY = "kg m^2"
    IZZ = "kg m^2"
    IXY = "kg m^2"
    IXZ = "kg m^2"
    IYZ = "kg m^2"


class StagingColumn(Column):
    """Staging.stage, one row per stage; failures by their number, -1 where there is none such."""

    IGNITION_DELAY = "s"
    NO_IGNITION = "1", "failure"
    NO_SEPARATION = "1", "failure"
    JOINT_DELAY = "s", "of the joint ahead of it"
    JOINT_IMPULSE = "N s"
    HANGING_AREA = "m^2", "drag area of its side"
    RADIUS = "m"


class RiggingColumn(Column):
    """Staging.canopy, one row per canopy."""

    STAGE = "1"
    HARNESS = "1", "-1: none"
    NO_DEPLOYMENT = "1", "failure"
    LOST = "1", "failure"
    HARNESS_BREAKS = "1", "failure"


class HarnessColumn(Column):
    """Staging.harness, one row per harness."""

    STRENGTH = "N"
    RATE = "N/m", "of the harness as a spring"
    IMPULSE = "N s", "of the charge that throws the pieces apart"
    TUMBLING_DRAG = "1", "of the loose piece, on its side area"
    HANGING_DRAG = "1", "of the piece that keeps the canopy"
    FORE_KEEPS = "1", "1: the canopy is on the fore piece"


class CutColumn(Column):
    """Staging.cut[harness, body]: where the ejection divides a body."""

    STATION = "m"
    FORE_AREA = "m^2", "side area ahead of it"
    AFT_AREA = "m^2"


class OwnRuleColumn(Column):
    """Staging.rule, one row per rule."""

    OWNER = "1", "stage whose computer runs it"
    DELAY = "s"
    DRAWN = "1", "1: FlightDraw.rule has a delay for it"
    CANOPY = "1", "that it deploys, -1: none"
    APOGEE = "1", "1: it waits for the apogee"


class LateColumn(Column):
    """Staging.late, one row per failure of an apogee noticed late."""

    FAILURE = "1"
    STAGE = "1"
    LATE_BY = "s"


class Staging(NamedTuple):
    """What a mission's stages, joints, canopies and harnesses are; the same for all flights."""

    stage: np.ndarray  # (stages, STAGING_COLUMNS)
    start: np.ndarray  # (bodies, stages) stations of the stages' fore ends, m
    lump: np.ndarray  # (lumps, LUMP_COLUMNS) what does not burn of every body, stage by stage, dry first
    lump_first: np.ndarray  # (bodies + 1,) int64: first row of each
    canopy: np.ndarray  # (canopies, RIGGING_COLUMNS)
    keeps: np.ndarray  # (canopies, canopies) 1: as the harness of the first fails, the second stays with it
    harness: np.ndarray  # (harnesses, HARNESS_COLUMNS)
    cut: np.ndarray  # (harnesses, bodies, CUT_COLUMNS)
    cut_lump: np.ndarray  # (lumps, LUMP_COLUMNS) parts of every stage ahead of a cut, then those behind it
    cut_first: np.ndarray  # (2 harnesses bodies + 1,) int64: first row of each side
    rule: np.ndarray  # (rules, OWN_RULE_COLUMNS)
    late: np.ndarray  # (failures, LATE_COLUMNS)


class FleetColumn(Column):
    """Crew.fleet, one row per body that may come to be: the stages, then what each harness may let go."""

    FIRST = "1"
    LAST = "1"
    WORK = "1", "its scratch"
    WHOLE = "1", "1 until a harness of it fails"
    STATUS = "1", "how its flight ended"
    ROWS = "1", "of its log"


class FlightColumn(Column):
    """Crew.flight: how far a flight is."""

    COUNT = "1", "bodies so far"
    DONE = "1", "those that are down"
    LAW_FAILED = "1", "scratch of the body in which a custom law failed, -1: none"


class SideColumn(Column):
    """Crew.sides: of a joint that separated, the scratch of the bodies on either side, -1 before."""

    AHEAD = "1"
    BEHIND = "1"


class Crew(NamedTuple):
    """The scratch of one thread beyond that of single bodies: the bodies under way, and what is gathered of the flight meanwhile."""

    fleet: np.ndarray  # (bodies, FLEET_COLUMNS) int64
    order: np.ndarray  # (bodies,) int64: in which they came to be
    flight: np.ndarray  # (FLIGHT_COLUMNS,) int64
    summary: np.ndarray  # (bodies, OUTCOMES)
    log: np.ndarray  # (bodies or 1, rows, columns): of all bodies, or of the front one alone
    lump: np.ndarray  # (lumps, LUMP_COLUMNS) parts with their draws
    unlit: np.ndarray  # (stages,) 1: its propellant is still there
    snatch: np.ndarray  # (canopies,) of their harnesses, N
    sides: np.ndarray  # (stages, 2) int64: SideColumn
    gap: np.ndarray  # (stages, TRACE_ROWS, GAP_COLUMNS)
    gap_rows: np.ndarray  # (stages,) int64
    track_columns: np.ndarray  # (columns,) int64: of the log, that a track holds
    track_place: np.ndarray  # (points,) of a log of length 1: where the points of a track lie; all zero for every n-th row


class Block(NamedTuple):
    """What flights leave, flights first: thinned tracks of the front body, and the facts of `results.facts.Flown`."""

    track: np.ndarray  # (flights, points, columns)
    events: np.ndarray  # (flights, bodies, events, EVENT_COLUMNS)
    summary: np.ndarray  # (flights, OUTCOMES) of the front body
    passed: np.ndarray  # (flights, waypoints, 2)
    body: np.ndarray  # (flights, bodies, BODY_FACT_COLUMNS)
    joint: np.ndarray  # (flights, joints, JOINT_FACT_COLUMNS)
    rule: np.ndarray  # (flights, rules, RULE_STATES)
    canopy: np.ndarray  # (flights, canopies, CANOPY_FACT_COLUMNS)
    failure: np.ndarray  # (flights, failures)
    status: np.ndarray  # (flights,) int8


FRONT, PIECE, WHOLE = np.int64(0), np.int64(0), np.int64(1)  # the front body; what FleetColumn.WHOLE says


@helper
def number_of(stages: int, first: int, last: int) -> int:
    """Return the number of the body of the stages first .. last."""
    return first * stages + last


@helper
def happens(failure: np.ndarray, number: float) -> float:
    """Return whether a failure (by its number, -1: none such) was drawn to happen: 1 or 0."""
    return failure[int(number)] if 0.0 <= number < failure.shape[0] else 0.0


LUMP_COLUMNS, STAGING_COLUMNS, RIGGING_COLUMNS, HARNESS_COLUMNS = width(LumpColumn), width(StagingColumn), width(RiggingColumn), width(HarnessColumn)
CUT_COLUMNS, OWN_RULE_COLUMNS, LATE_COLUMNS = width(CutColumn), width(OwnRuleColumn), width(LateColumn)
FLEET_COLUMNS, FLIGHT_COLUMNS = width(FleetColumn), width(FlightColumn)
