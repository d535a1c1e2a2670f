"""What every panel does in a steady stream, by the kernel, for tests."""

from __future__ import annotations

import numpy as np

from sixdof._jit import lend
from sixdof.core import probe
from sixdof.core.columns import CONDITION_COLUMNS, SEEN_COLUMNS
from sixdof.core.leg.work import make_work
from sixdof.draws.packed import kernel_draw
from sixdof.flight.model import build_model

SPEED, DENSITY, SOUND, VISCOSITY = 30.0, 1.2, 340.0, 1.8e-5


def panels(mission, *, incidence=0.0, roll=0.0, angles=None, speed=SPEED, stages=None):
    """Return (force and moment (6,), rows SEEN_* of every panel (panels, SEEN_COLUMNS), the model) at one condition."""
    model = build_model(mission, stages=stages)
    controls = model.computer.mixer.shape[0]
    row = np.zeros((1, CONDITION_COLUMNS + controls))
    row[0, :CONDITION_COLUMNS] = speed, incidence, roll, 0.0, 0.0, 0.0, 1.0, DENSITY, SOUND, VISCOSITY, 0.0
    row[0, CONDITION_COLUMNS:] = np.zeros(controls) if angles is None else angles
    out, seen = np.empty((1, 6)), np.empty((1, model.aero.panel.shape[0], SEEN_COLUMNS))
    probe.probe(lend(model), lend(kernel_draw(mission)), lend(make_work(model)), row, out, seen)
    return out[0], seen[0], model
