"""What a mission is made of: the tables of the mission file as classes, materials, motors, and ways to build and vary a mission.

    sixdof.parts.keys("fins")                                   # every key of a table: unit, default, range, meaning, example
    sixdof.parts.new_mission("single", "mine.toml")              # a commented mission file that flies as written
    longer = mission.add("part", sixdof.parts.Tube(length="10 cm", diameter="75 mm", wall_thickness="1.2 mm", material="fibreglass"), shift=True)
    motors = sixdof.parts.motor_variants(mission, "motors")     # a mission for each thrust curve of a folder
    sixdof.parts.motor_facts(mission.motor["playa-h"])                # impulse, burn time and class, as a data sheet has them

A class takes what its table in the file takes, quantities with units ("75 mm", "5 deg") or bare SI numbers, and is frozen; `Mission.change`,
`add` and `remove` make new, checked missions.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import show

if TYPE_CHECKING:
    from sixdof.mission.explain.json_schema import json_schema as json_schema
    from sixdof.mission.explain.keys import keys as keys
    from sixdof.mission.explain.templates import TEMPLATES as TEMPLATES
    from sixdof.mission.explain.templates import new_mission as new_mission
    from sixdof.mission.load import build_mission as build_mission
    from sixdof.mission.load import loads_mission as loads_mission
    from sixdof.mission.tables.air import Air as Air
    from sixdof.mission.tables.air import AirTurbulence as AirTurbulence
    from sixdof.mission.tables.air import Gust as Gust
    from sixdof.mission.tables.air import Levels as Levels
    from sixdof.mission.tables.air import Sounding as Sounding
    from sixdof.mission.tables.air import Wind as Wind
    from sixdof.mission.tables.air import WindMember as WindMember
    from sixdof.mission.tables.flight import Accelerometer as Accelerometer
    from sixdof.mission.tables.flight import AttitudeProfile as AttitudeProfile
    from sixdof.mission.tables.flight import Autopilot as Autopilot
    from sixdof.mission.tables.flight import Barometer as Barometer
    from sixdof.mission.tables.flight import Detection as Detection
    from sixdof.mission.tables.flight import Estimator as Estimator
    from sixdof.mission.tables.flight import Gains as Gains
    from sixdof.mission.tables.flight import GainSet as GainSet
    from sixdof.mission.tables.flight import Guidance as Guidance
    from sixdof.mission.tables.flight import Magnetometer as Magnetometer
    from sixdof.mission.tables.flight import Notch as Notch
    from sixdof.mission.tables.flight import RateGyro as RateGyro
    from sixdof.mission.tables.flight import SatelliteReceiver as SatelliteReceiver
    from sixdof.mission.tables.flight import Sensors as Sensors
    from sixdof.mission.tables.flight import Servo as Servo
    from sixdof.mission.tables.flight import ServoFailure as ServoFailure
    from sixdof.mission.tables.flight import Waypoint as Waypoint
    from sixdof.mission.tables.materials import MATERIALS as MATERIALS
    from sixdof.mission.tables.record import Record as Record
    from sixdof.mission.tables.record import Solver as Solver
    from sixdof.mission.tables.rules import Failure as Failure
    from sixdof.mission.tables.rules import Recovery as Recovery
    from sixdof.mission.tables.rules import Rule as Rule
    from sixdof.mission.tables.site import Rail as Rail
    from sixdof.mission.tables.site import Site as Site
    from sixdof.mission.tables.spread import Correlation as Correlation
    from sixdof.mission.tables.spread import OwnSpread as OwnSpread
    from sixdof.mission.tables.spread import Spread as Spread
    from sixdof.mission.tables.vehicle import AxialCurve as AxialCurve
    from sixdof.mission.tables.vehicle import BodyCurve as BodyCurve
    from sixdof.mission.tables.vehicle import DragCurve as DragCurve
    from sixdof.mission.tables.vehicle import Fins as Fins
    from sixdof.mission.tables.vehicle import Harness as Harness
    from sixdof.mission.tables.vehicle import Ignition as Ignition
    from sixdof.mission.tables.vehicle import Joint as Joint
    from sixdof.mission.tables.vehicle import Measured as Measured
    from sixdof.mission.tables.vehicle import Motor as Motor
    from sixdof.mission.tables.vehicle import Mount as Mount
    from sixdof.mission.tables.vehicle import Nose as Nose
    from sixdof.mission.tables.vehicle import PanelCurve as PanelCurve
    from sixdof.mission.tables.vehicle import Parachute as Parachute
    from sixdof.mission.tables.vehicle import PointMass as PointMass
    from sixdof.mission.tables.vehicle import RailGuide as RailGuide
    from sixdof.mission.tables.vehicle import RollDampingCurve as RollDampingCurve
    from sixdof.mission.tables.vehicle import RollForcingCurve as RollForcingCurve
    from sixdof.mission.tables.vehicle import Stage as Stage
    from sixdof.mission.tables.vehicle import ThrustCurve as ThrustCurve
    from sixdof.mission.tables.vehicle import Transition as Transition
    from sixdof.mission.tables.vehicle import Tube as Tube
    from sixdof.study.variants.motors import motor_variants as motor_variants
    from sixdof.study.variants.vary import vary as vary
    from sixdof.vehicle.mass import mass_at as mass_at
    from sixdof.vehicle.mass import mass_table as mass_table
    from sixdof.vehicle.mass import part_masses as part_masses
    from sixdof.vehicle.motor import motor_facts as motor_facts

show(
    __name__,
    {
        "The mission file: one to start from, its keys explained": ("new_mission", "TEMPLATES", "keys", "json_schema"),
        "Missions from Python, and variants of one": ("build_mission", "loads_mission", "vary", "motor_variants"),
        "Motors, materials and masses": ("motor_facts", "MATERIALS", "mass_table", "mass_at", "part_masses"),
        "Vehicle": (
            "Stage",
            "Nose",
            "Tube",
            "Transition",
            "Fins",
            "RailGuide",
            "PointMass",
            "Mount",
            "Parachute",
            "Joint",
            "Ignition",
            "Harness",
            "Measured",
            "DragCurve",
            "AxialCurve",
            "BodyCurve",
            "PanelCurve",
            "RollDampingCurve",
            "RollForcingCurve",
        ),
        "Motor": ("Motor", "ThrustCurve"),
        "Place and air": ("Site", "Rail", "Air", "Wind", "WindMember", "Levels", "Sounding", "AirTurbulence", "Gust"),
        "Flight computer": (
            "Servo",
            "ServoFailure",
            "Sensors",
            "RateGyro",
            "Accelerometer",
            "Barometer",
            "SatelliteReceiver",
            "Magnetometer",
            "Estimator",
            "Detection",
            "Guidance",
            "AttitudeProfile",
            "Waypoint",
            "Autopilot",
            "Gains",
            "GainSet",
            "Notch",
        ),
        "Events and recovery": ("Rule", "Recovery", "Failure"),
        "Draws, log and steps": ("Spread", "OwnSpread", "Correlation", "Record", "Solver"),
    },
)
