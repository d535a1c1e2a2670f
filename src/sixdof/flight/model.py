"""From a Mission to the Models that the kernel flies: one for every body a flight may consist of."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from sixdof.autopilot.canopies import canopy_table
from sixdof.autopilot.computer import computer_table
from sixdof.autopilot.servo import servo_table
from sixdof.core import types as ct
from sixdof.core.layout import EVENTS, Event
from sixdof.mission.mission import Mission
from sixdof.vehicle.aero.blend import mach_grid
from sixdof.vehicle.aero.drag import fore_axial
from sixdof.vehicle.aero.table import aero_table
from sixdof.vehicle.compiling import compile_first
from sixdof.vehicle.geometry import Shape, planform, shape_of
from sixdof.vehicle.mass import mass_table, stage_lumps
from sixdof.vehicle.motor import no_thrust, thrust_table
from sixdof.vehicle.mounting import placed_motors
from sixdof.world.build import world_table


def build_model(mission: Mission, *, stages: Sequence[int] | None = None, log_rate: float | None = None, shape: Shape | None = None) -> ct.Model:
    """Return the tables and constants of the stages that fly together, ready for `sixdof.core.flight.fly.fly`.

    stages : their numbers, front first; all of them by default. Only the last one's motors burn; the others' grains count as
    full. log_rate : rows of the log a second (Hz), the mission's own `record.rate` by default. shape : of these stages, where it is
    there already.
    """
    compile_first(mission)  # before any kernel is used
    stages = list(range(len(mission.stage)) if stages is None else stages)
    shape = shape_of([mission.stage[i] for i in stages]) if shape is None else shape
    rate = mission.record.rate if log_rate is None else log_rate
    has_motor = bool(placed_motors(mission, stages, shape)[-1])
    return ct.Model(
        world=world_table(mission),
        aero=aero_table(mission, stages, shape),
        mass=mass_table(mission, stages, shape),
        thrust=thrust_table(mission, stages[-1], stages, shape) if has_motor else no_thrust(shape.length),
        rail=rail_table(mission, stages, shape),
        servo=servo_table(mission),
        computer=computer_table(mission, stages, shape),
        canopy=canopy_table(mission),
        tumble_area=float(hanging_areas(mission, stages).sum()),
        leg=leg_table(mission, stages, shape),
        tolerance=mission.solver.tolerance,
        log_every=max(1, round(mission.autopilot.rate / rate)),
        time_limit=mission.solver.time_limit,
    )


def hanging_areas(mission: Mission, stages: Sequence[int]) -> np.ndarray:
    """Return the drag area (m^2) of the body of each stage as it hangs under a canopy, (stages,): coefficient times side area, no fins."""
    return np.array([mission.stage[i].hanging_drag * planform(shape_of([mission.stage[i]]))[0] for i in stages])


def leg_table(mission: Mission, stages: Sequence[int], shape: Shape) -> ct.Leg:
    """Return which stages a model is of, where its events go in the table, and what its aft joint feels."""
    count, first, last = len(mission.stage), stages[0], stages[-1]
    openings = len(EVENTS) + 2 * len(canopy_table(mission))
    upper = last < count - 1
    joined = len(stages) > 1
    axial = fore_axial(mission, stages, mach_grid(), shape) if joined else np.zeros(2)
    ahead = [lump for each in stage_lumps(mission, stages, shape)[:-1] for lump in each] if joined else []
    hold = mission.stage[last].joint.retention_force if joined else None
    return ct.Leg(
        stages=count,
        first=first,
        last=last,
        main=1 if first == 0 else 0,
        ignition_row=openings + 2 * last if upper else -1,
        burnout_row=openings + 2 * last + 1 if upper else int(Event.BURNOUT),
        separation_row=openings + 2 * (count - 1),
        fore_axial=np.ascontiguousarray(axial.reshape(-1, 1)),
        fore_mass=float(sum(lump.mass for lump in ahead)),
        retention_force=math.inf if hold is None else hold,
        nose_x=0.0,
        base_x=float(shape.length),
    )


def rail_table(mission: Mission, stages: Sequence[int], shape) -> ct.Rail:
    """Return the rail's constants: the vehicle stands with its aft end at the rail's foot and runs on its first and last guides."""
    stations = sorted(fore + part.station for fore, number in zip(shape.stage_x0, stages) for part in mission.stage[number].part if part.kind == "rail_guide")
    rail, foot = mission.rail, shape.length
    stations = stations or [foot]  # a stage that never stands on the rail has no guides
    return ct.Rail(
        elevation=rail.elevation,
        azimuth=rail.azimuth,
        friction=rail.friction,
        fore_travel=max(rail.length - (foot - stations[0]), 0.0),
        aft_travel=max(rail.length - (foot - stations[-1]), 0.0),
        aft_x=stations[-1],
        base_x=foot,
    )


def log_rows(model) -> int:
    """Return how many rows the log of the longest flight can have."""
    return int(np.ceil(model.time_limit / model.computer.period / model.log_every)) + 2
