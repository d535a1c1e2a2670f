"""The kernel's aerodynamics in a steady flow: what the air does to a vehicle, and what each control fin feels."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof._jit import lend
from sixdof.core import probe as kernel
from sixdof.core.columns import CONDITION_COLUMNS, SEEN_COLUMNS, PanelColumn, SeenColumn
from sixdof.core.draw import Draw
from sixdof.core.leg.work import make_work
from sixdof.core.types import Model


class Flow(NamedTuple):
    """Conditions (n,) of a steady flow, in the order of the kernel's columns.

    speed : through the air, m/s. incidence : between body axis and velocity, rad, 0..pi. roll : direction of the cross flow, rad. p, q, r :
    body rates, rad/s. cg : station of the moment centre, m. density, sound, viscosity : of the air, SI. burning : 1 with the motor alight.
    """

    speed: np.ndarray
    incidence: np.ndarray
    roll: np.ndarray
    p: np.ndarray
    q: np.ndarray
    r: np.ndarray
    cg: np.ndarray
    density: np.ndarray
    sound: np.ndarray
    viscosity: np.ndarray
    burning: np.ndarray


class AirLoads(NamedTuple):
    """What the air does (n conditions): force (N) and moment (N m) in body axes, (n, 6); on each control fin the moment about its hinge
    line, N m, (n, controls); the largest weight of separated flow on any panel, 0..1, (n,); what each panel did, (n, panels, SeenColumn)."""

    load: np.ndarray
    hinge_moment: np.ndarray
    stall: np.ndarray
    panel: np.ndarray


def air_loads(model: Model, draw: Draw, flow: Flow, fins: np.ndarray) -> AirLoads:
    """Return the loads of the air on a vehicle in steady flows. fins : angles of the control fins, rad, (n, controls)."""
    count, controls = fins.shape
    rows = np.empty((count, CONDITION_COLUMNS + controls))
    rows[:, :CONDITION_COLUMNS] = np.column_stack(flow)
    rows[:, CONDITION_COLUMNS:] = fins
    out = np.empty((count, 6))
    panels = np.empty((count, model.aero.panel.shape[0], SEEN_COLUMNS))
    kernel.probe(lend(model), lend(draw), lend(make_work(model)), rows, out, panels)
    control = model.aero.panel[:, PanelColumn.CONTROL].astype(int)
    hinge = np.zeros((count, controls))
    for i in range(controls):
        own = np.flatnonzero(control == i)
        hinge[:, i] = panels[:, own[0], SeenColumn.HINGE] if own.size else 0.0  # a vehicle whose fin was taken off
    return AirLoads(out, hinge, panels[:, :, SeenColumn.STALL].max(axis=1, initial=0.0), panels)
