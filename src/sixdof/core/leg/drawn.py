"""The constants of one flight: the model with its draw applied (filled by core/leg/drawing.py)."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.body import Grains
from sixdof.core.types import Aero, Rail, Servo, Station, Vec3, World


class WindDraw(NamedTuple):
    """The flight's own wind table (m, 2), and what its draw does to it: (e, n) -> scale (e cos + n sin, n cos - e sin), a turn clockwise from above."""

    table: np.ndarray
    scale: float
    cos: float
    sin: float
    at_20_ft: float  # of the turbulence, m/s, -1: the mean wind's own there


class DrawnModel(NamedTuple):
    """The constants of one flight: the model with this flight's draw applied."""

    world: World
    wind: WindDraw
    gust: np.ndarray  # (3, 3) rows start, middle, end of the step; east, north and up
    aero: Aero
    drag: float  # factor on axial force
    normal: float  # factor on normal forces
    damping: float  # factor on what the body's turning does to the air's forces and moments
    control_force: float  # factor on the force of control fins by their deflection
    cp_shift: float  # m, aft positive
    panel_cant: np.ndarray  # (panels,) fixed deflections, rad (Work.cant)
    cant: float  # rad, added to every panel
    grains: Grains
    fore_mass: float  # of the stages ahead of the aft joint, kg
    thrust_line: Vec3  # unit vector of the thrust, body axes
    exit: Station  # of the nozzle
    exit_area: float
    exit_swirl: float  # squared radius of gyration of the exit disc, m^2
    reference_pressure: float
    rail: Rail
    rail_line: Vec3  # unit vector up the rail, world axes
    start: Vec3  # position of the centre of mass at rest on the rail
    guide: Vec3  # aft guide from the centre of mass at rest, body axes
    servo: Servo
