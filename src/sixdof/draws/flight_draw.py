"""One flight's departures from the mission, in the form the flights take, and what of it one call of the kernel takes."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.draw import Draw

OTHER_BODY = 1 << 32  # added to the number of the flight: another body's altimeter has other noise
OF_STAGE = (
    "impulse",
    "burn_time",
    "tilt_y",
    "tilt_z",
    "offset_y",
    "offset_z",
    "mass",
    "cg_x",
    "cg_y",
    "cg_z",
    "inertia",
    "drag",
    "normal_force",
    "cp",
    "cant",
    "ignition_delay",
    "hanging_drag",
)
OF_JOINT = ("impulse", "delay", "tilt_y", "tilt_z")
OF_CANOPY = ("drag", "delay", "fill_time")
OF_HARNESS = ("strength", "stiffness", "tumbling_drag")
OF_AIR = ("member", "wind_at_20_ft")  # which forecast of the wind; m/s, -1: the mean wind's own there
COMMON = tuple(name for name in Draw._fields[:-1] if name not in OF_STAGE)
OF_MASS = ("mass", "cg_x", "cg_y", "cg_z", "inertia")
NEUTRAL_MASS = {name: 1.0 if name in ("mass", "inertia") else 0.0 for name in OF_MASS}


class FlightDraw(NamedTuple):
    """One flight's departures from the mission. Factors are 1 and offsets 0 in the nominal flight.

    common : (len(COMMON),) fields of core.draw.Draw that all bodies share. stage : (stages, len(OF_STAGE)). joint : (stages,
    len(OF_JOINT)), row 0 not used. canopy : (canopies, len(OF_CANOPY)). harness : (harnesses, len(OF_HARNESS)). rule : (rules,). failure : (failures,)
    1 where it happens. centring : (control fins,). air : (len(OF_AIR),) what stands in place of the mission's own. path : (paths,)
    numbers of the mission that were drawn, in the order of `draws.drawn.path_names`: a `Plan` knows nothing of them, and must be
    that of the mission with these numbers (`draws.drawn.drawn_mission`).
    """

    common: np.ndarray
    stage: np.ndarray
    joint: np.ndarray
    canopy: np.ndarray
    harness: np.ndarray
    rule: np.ndarray
    failure: np.ndarray
    centring: np.ndarray
    air: np.ndarray
    path: np.ndarray


def stage_draw(draw: FlightDraw, stage: int, controls: int, body: int = 0) -> Draw:
    """Return the kernel's draw of a body that consists of one stage; controls : how many control fins it has."""
    fields = dict(zip(COMMON, draw.common)) | dict(zip(OF_STAGE, draw.stage[stage]))
    del fields["ignition_delay"], fields["hanging_drag"]
    fields["flight"] += body * OTHER_BODY
    return Draw(**{name: float(value) for name, value in fields.items()}, centring=np.array(draw.centring[:controls]))
