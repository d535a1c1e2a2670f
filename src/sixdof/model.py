"""From a Mission to the Model that the kernel flies."""

from __future__ import annotations

from collections.abc import Sequence


from sixdof.autopilot.build import canopy_table, computer_table, servo_table
from sixdof.core import types as ct
from sixdof.mission.schema import Mission
from sixdof.vehicle.aero import aero_table
from sixdof.vehicle.geometry import planform, shape_of
from sixdof.vehicle.mass import mass_table
from sixdof.vehicle.motor import thrust_table
from sixdof.world.build import world_table

HANGING_DRAG = 1.0  # drag coefficient of the airframe under a canopy on its side area (common practice: 0.5-1.2)


def build_model(mission: Mission, *, stages: Sequence[int] | None = None, log_rate: float | None = None) -> ct.Model:
    """Return the tables and constants of a mission, ready for `sixdof.core.flight.fly`.

    stages : numbers of the stages that fly together, front first; all of them if left out. The last one's motors burn.
    log_rate : rows of the log a second (Hz), the mission's own `record.rate` if left out.
    """
    stages = range(len(mission.stage)) if stages is None else list(stages)
    shape = shape_of([mission.stage[i] for i in stages])
    computer = computer_table(mission, stages)
    rate = mission.record.rate if log_rate is None else log_rate
    return ct.Model(
        world=world_table(mission),
        aero=aero_table(mission, stages),
        mass=mass_table(mission, stages),
        thrust=thrust_table(mission, stages[-1], stages),
        rail=rail_table(mission, stages, shape),
        servo=servo_table(mission),
        computer=computer,
        canopy=canopy_table(mission),
        tumble_area=float(HANGING_DRAG * planform(shape)[0]),
        log_every=max(1, round(mission.autopilot.rate / rate)),
        time_limit=mission.solver.time_limit,
    )


def flight_model(mission: Mission, *, log_rate: float | None = None) -> ct.Model:
    """Return the Model of a whole flight.

    Raises
    ------
    ValueError
        If the mission has more than one stage: separation is not flown by this version.
    """
    if len(mission.stage) > 1:
        raise ValueError(
            f"the mission has {len(mission.stage)} stages, and this version flies one; "
            "checks, descriptions and aerodynamics take more"
        )
    return build_model(mission, log_rate=log_rate)


def rail_table(mission: Mission, stages: Sequence[int], shape) -> ct.Rail:
    """Return the rail's constants: the vehicle stands with its aft end at the rail's foot and runs on its first and last guides."""
    stations = sorted(
        fore + part.station
        for fore, number in zip(shape.stage_x0, stages)
        for part in mission.stage[number].part
        if part.kind == "guide"
    )
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
