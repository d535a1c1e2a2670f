"""The kernel's aerodynamics in a tunnel, for tests: coefficients of given tables at given conditions."""

from __future__ import annotations

import math

import models
import numpy as np

from sixdof._jit import lend
from sixdof.core import probe as tunnel
from sixdof.core.columns import SEEN_COLUMNS, PanelColumn
from sixdof.core.leg.work import make_work

SOUND, DENSITY, VISCOSITY = 340.0, 1.2, 1.8e-5


def coefficients(aero, mach, incidence=0.0, *, roll=0.0, rates=(0.0, 0.0, 0.0), cg=0.0, burning=0.0, fins=None, viscosity=VISCOSITY, cant=0.0, **drawn):
    """Return (C_X, C_Y, C_Z, C_l, C_m, C_n) at a flow; rates are p, q, r times d/(2V), fins the angles (controls,), drawn : other numbers of the Draw."""
    controls = int(aero.panel[:, PanelColumn.CONTROL].max(initial=-1.0)) + 1
    model = models.model(aero=aero, controls=controls)
    speed = mach * SOUND
    turn = [rate * 2.0 * speed / aero.length for rate in rates]
    row = [speed, incidence, roll, *turn, cg, DENSITY, SOUND, viscosity, burning, *(np.zeros(controls) if fins is None else fins)]
    out, panels = np.empty((1, 6)), np.empty((1, len(aero.panel), SEEN_COLUMNS))
    tunnel.probe(lend(model), lend(models.draw(cant=cant, **drawn)), lend(make_work(model)), np.array([row], dtype=float), out, panels)
    scale = 0.5 * DENSITY * speed**2 * aero.area
    return out[0] / (scale * np.array([1.0, 1.0, 1.0, *[aero.length] * 3]))


def unit_reynolds(mach: float) -> float:
    """Return V rho/mu (1/m) of the tunnel."""
    return mach * SOUND * DENSITY / VISCOSITY


def degrees(*angles):
    return [math.radians(angle) for angle in angles]
