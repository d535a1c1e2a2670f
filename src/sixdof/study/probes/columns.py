"""What the columns and constants of the kernels' arrays are called, for studies that read logs and tables of a flight."""

from __future__ import annotations

from sixdof.core import layout, observe
from sixdof.core.actuator import ISSUED
from sixdof.core.columns import (
    CANOPY_COLUMNS,
    GRAIN_COLUMNS,
    POINT_COLUMNS,
    RATE_COLUMNS,
    BodyColumn,
    CanopyColumn,
    FinColumn,
    GrainColumn,
    Handover,
    PanelColumn,
    PointColumn,
    RateColumn,
    SeenColumn,
    StageColumn,
    WakeColumn,
)
from sixdof.core.computer.columns import GAIN_HEAD, GAIN_ROW, Gain, RuleColumn
from sixdof.core.constants import CANOPY, FREE, G0
from sixdof.core.draw import Draw, HarnessDraw, JointDraw, StageDraw
from sixdof.core.layout import Event, Log, Outcome, Sensed
from sixdof.core.types import ACTION_DEPLOY, ACTION_IGNITE, ACTION_SEPARATE, Leg, Model, Servo, Thrust, World

__all__ = [
    "ACTION_DEPLOY",
    "ACTION_IGNITE",
    "ACTION_SEPARATE",
    "BodyColumn",
    "CANOPY",
    "CANOPY_COLUMNS",
    "CanopyColumn",
    "Draw",
    "Event",
    "FREE",
    "FinColumn",
    "G0",
    "GAIN_HEAD",
    "GAIN_ROW",
    "GRAIN_COLUMNS",
    "Gain",
    "GrainColumn",
    "Handover",
    "HarnessDraw",
    "ISSUED",
    "JointDraw",
    "Leg",
    "Log",
    "Model",
    "Outcome",
    "POINT_COLUMNS",
    "PanelColumn",
    "PointColumn",
    "RATE_COLUMNS",
    "RateColumn",
    "RuleColumn",
    "SeenColumn",
    "Sensed",
    "Servo",
    "StageColumn",
    "StageDraw",
    "Thrust",
    "WakeColumn",
    "World",
    "layout",
    "observe",
]
