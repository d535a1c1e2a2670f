"""The tables of a mission file, all together."""

from __future__ import annotations

from pydantic import Field

from sixdof.mission.tables.air import Air
from sixdof.mission.tables.base import Table
from sixdof.mission.tables.flight import Autopilot, Detection, Estimator, Guidance, Sensors, Servo
from sixdof.mission.tables.record import Record, Solver
from sixdof.mission.tables.rules import Failure, Recovery, Rule
from sixdof.mission.tables.site import Rail, Site
from sixdof.mission.tables.spread import Correlation, Spread
from sixdof.mission.tables.vehicle import Harness, Motor, Stage


class MissionTables(Table):
    """The tables of the mission file, one field each. Users see it as `sixdof.Mission`, which adds what one does with a mission."""

    title: str = ""
    site: Site
    air: Air = Field(default_factory=Air)
    rail: Rail
    motor: dict[str, Motor]
    stage: tuple[Stage, ...]
    harness: tuple[Harness, ...] = ()
    servo: Servo = Field(default_factory=Servo)
    sensors: Sensors | None = None
    estimator: Estimator = Field(default_factory=Estimator)
    guidance: Guidance = Field(default_factory=Guidance)
    autopilot: Autopilot = Field(default_factory=Autopilot)
    detection: Detection = Field(default_factory=Detection)
    rule: tuple[Rule, ...] = ()
    recovery: tuple[Recovery, ...] = ()
    failure: tuple[Failure, ...] = ()
    disperse: dict[str, Spread] = Field(default_factory=dict)
    correlation: tuple[Correlation, ...] = ()
    record: Record = Field(default_factory=Record)
    solver: Solver = Field(default_factory=Solver)
