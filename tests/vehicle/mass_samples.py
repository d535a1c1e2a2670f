"""Invented vehicles for the tests of geometry, mass and motors."""

from __future__ import annotations

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Fins, Motor, Mount, Nose, Parachute, PointMass, Rail, RailGuide, Site, Stage, ThrustCurve, Transition, Tube
from sixdof.vehicle.geometry import Segment, stage_segments


def segment_of(part) -> Segment:
    """Return the one segment of a stage made of `part` alone."""
    return stage_segments(Stage(name="alone", part=(part,)))[0]


def motor(time=(0.0, 0.1, 1.0, 1.4), thrust=(0.0, 300.0, 250.0, 0.0), **changed) -> Motor:
    numbers = {"propellant_mass": 0.16, "case_mass": 0.14, "length": 0.24, "diameter": 0.038, "nozzle_exit_diameter": 0.016, "bore_diameter": 0.010}
    return Motor(thrust_curve=ThrustCurve(time=time, thrust=thrust), **{**numbers, **changed})


def sustainer(*extra, **changed) -> Stage:
    parts = (
        Nose(name="nose", length=0.25, diameter=0.066, wall_thickness=0.002, density=1200.0),
        Tube(name="body", length=0.85, diameter=0.066, wall_thickness=0.0015, density=1600.0),
        Fins(name="fins", count=4, station=0.94, root_chord=0.14, tip_chord=0.06, semispan=0.08, tip_offset=0.07, thickness=0.003, density=1850.0),
        RailGuide(name="fore guide", station=0.60, mass=0.005),
        RailGuide(name="aft guide", station=1.05, mass=0.005),
        PointMass(name="computer", mass=0.25, station=0.38, length=0.1, diameter=0.05),
        PointMass(name="battery", mass=0.10, station=0.45, offset_y=0.012, offset_z=-0.008),
        Parachute(name="canopy", mass=0.12, station=0.60, diameter=1.1, packed_length=0.12),
        Mount(name="mount", motor="H-demo", station=0.85, length=0.24, inner_diameter=0.0385, protrusion=0.01, density=900.0),
    )
    return Stage(name="sustainer", part=parts + extra, **changed)


def booster(count: int = 3) -> Stage:
    parts = (
        Transition(name="shoulder", length=0.06, fore_diameter=0.066, aft_diameter=0.10, wall_thickness=0.002, density=1600.0),
        Tube(name="booster body", length=0.50, diameter=0.10, wall_thickness=0.002, density=1600.0),
        Fins(name="booster fins", count=3, station=0.38, root_chord=0.16, tip_chord=0.08, semispan=0.11, tip_offset=0.06, thickness=0.004, mass=0.18),
        RailGuide(name="low guide", station=0.50, mass=0.006),
        Mount(
            name="ring",
            motor="H-demo",
            station=0.28,
            length=0.26,
            inner_diameter=0.0385,
            count=count,
            ring_radius=0.026 if count > 1 else 0.0,
            clocking=0.3,
            mass=0.09,
        ),
    )
    return Stage(name="booster", part=parts)


def mission(*stages: Stage, **motors: Motor) -> Mission:
    return Mission(site=Site(latitude=0.7), rail=Rail(length=2.0), motor={"H-demo": motor(), **motors}, stage=stages or (sustainer(),))
