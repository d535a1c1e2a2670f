"""One flight's departures from the mission, in the form the flights take, and what of it one call of the kernel takes."""

from __future__ import annotations

import numpy as np

from sixdof.core.columns import labels
from sixdof.core.draw import OTHER_BODY, AirDraw, CanopyDraw, CommonDraw, Draw, FlightDraw, HarnessDraw, JointDraw, StageDraw

__all__ = ["COMMON", "FlightDraw", "OF_AIR", "OF_CANOPY", "OF_HARNESS", "OF_JOINT", "OF_STAGE", "OTHER_BODY", "stage_draw"]
OF_STAGE, OF_JOINT, OF_CANOPY, OF_HARNESS, OF_AIR, COMMON = map(labels, (StageDraw, JointDraw, CanopyDraw, HarnessDraw, AirDraw, CommonDraw))


def stage_draw(draw: FlightDraw, stage: int, controls: int, body: int = 0) -> Draw:
    """Return the kernel's draw of a body that consists of one stage; controls : how many control fins it has."""
    fields = dict(zip(COMMON, draw.common)) | dict(zip(OF_STAGE, draw.stage[stage])) | dict(zip(OF_AIR, draw.air))
    del fields["ignition_delay"], fields["hanging_drag"]
    fields["flight"] += body * OTHER_BODY
    return Draw(**{name: float(value) for name, value in fields.items()}, centring=np.array(draw.centring[:controls]))
