"""The tables of a mission file, all together."""

from __future__ import annotations

from sixdof.mission.tables.air import Air
from sixdof.mission.tables.base import Table, key
from sixdof.mission.tables.flight import Autopilot, Detection, Estimator, Guidance, Sensors, Servo
from sixdof.mission.tables.record import Record, Solver
from sixdof.mission.tables.rules import Failure, Recovery, Rule
from sixdof.mission.tables.site import Rail, Site
from sixdof.mission.tables.spread import Correlation, Spread
from sixdof.mission.tables.vehicle import Harness, Motor, Stage


class MissionTables(Table):
    """The tables of the mission file, one field each. Users see it as `sixdof.Mission`, which adds what one does with a mission."""

    title: str = key("what results and figures are headed with", "Sandpiper, an invented vehicle with three fins", default="")
    site: Site = key("where the rail stands")
    air: Air = key("temperature, pressure, wind and turbulence of the day", factory=Air)
    rail: Rail = key("the launch rail")
    motor: dict[str, Motor] = key("the motors, by name; a mount says which one it holds")
    stage: tuple[Stage, ...] = key("the stages, from the front one aft, each with its parts")
    harness: tuple[Harness, ...] = key("recovery harnesses, a table for each canopy that has one", default=())
    servo: Servo = key("the actuator of every control fin", factory=Servo)
    sensors: Sensors | None = key("the flight computer's sensors; it is told the truth if omitted", default=None)
    estimator: Estimator = key("how attitude, position and velocity are estimated from the sensors", factory=Estimator)
    guidance: Guidance = key("what attitude is commanded, and its limits", factory=Guidance)
    autopilot: Autopilot = key("tick rate, attitude profile, gains and mixer of the flight computer", factory=Autopilot)
    detection: Detection = key("how the phases of flight are noticed", factory=Detection)
    rule: tuple[Rule, ...] = key("event rules of the flight computer, in order", default=())
    recovery: tuple[Recovery, ...] = key("when each canopy is deployed", default=())
    failure: tuple[Failure, ...] = key("what goes wrong in some flights of an ensemble", default=())
    disperse: dict[str, Spread] = key("what varies from flight to flight, by name", factory=dict)
    correlation: tuple[Correlation, ...] = key("dispersed quantities that go together", default=())
    record: Record = key("what is kept of a flight", factory=Record)
    solver: Solver = key("how the motion is integrated", factory=Solver)
