"""Missions as far as draws need one, and what is dispersed and fails in them."""

from __future__ import annotations

from sixdof.mission.mission import Mission
from sixdof.mission.tables import Air, AirTurbulence, Failure, Fins, Harness, Parachute, Rail, Recovery, Rule, Site, Spread, Stage, Wind, WindMember
from sixdof.mission.tables.dispersible import DISPERSIBLE

PANEL = {"root_chord": 0.1, "tip_chord": 0.05, "semispan": 0.08, "thickness": 0.003, "mass": 0.05}


def canopy(name):
    return Parachute(name=name, mass=0.1, station=0.5, diameter=1.0)


def mission(disperse=None, fins=4, **tables):
    """A mission of one stage and one canopy as far as draws need one: its other tables are left unmade."""
    parts = [Fins(count=3, station=0.9, **PANEL), canopy("main")]
    if fins:
        parts.append(Fins(count=fins, station=0.3, hinge=0.05, control=True, **PANEL))
    usual = {"stage": (Stage.model_construct(name="upper", part=tuple(parts)),), "rule": (), "recovery": (), "harness": ()}
    return Mission.model_construct(
        site=Site(latitude=0.6),
        air=tables.pop("air", Air(wind=Wind(profile="power", speed=4.0, blows_from=1.0))),
        rail=Rail(length=3.0, elevation=1.5, azimuth=0.7),
        disperse=disperse or {},
        failure=tables.pop("failure", ()),
        **(usual | tables),
    )


def staged(disperse=None, **tables):
    """A mission of three stages, three canopies, two harnesses, two rules, and four control fins in front."""
    upper = mission().stage[0]
    behind = [Stage.model_construct(name=name, part=(Fins(count=3, station=0.4, **PANEL), canopy(f"{name} main"))) for name in ("middle", "lower")]
    usual = {
        "stage": (upper, *behind),
        "rule": (Rule(when="burnout", action="separate"), Rule(name="second", when="separation", action="ignite", target="upper")),
        "recovery": (Recovery(canopy="main", when="apogee", backup_time=30.0),),
        "harness": tuple(Harness(canopy=name, separation_station=0.3, length=3.0, strength=900.0) for name in ("main", "lower main")),
    }
    return mission(disperse, **(usual | tables))


EVERYTHING = {name: Spread(sd=0.01) for name in DISPERSIBLE}
FAILURES = (
    Failure(kind="no_ignition", of="upper", probability=0.3),
    Failure(kind="no_deployment", of="main", probability=0.05),
    Failure(kind="no_deployment", of="lower main", probability=0.05),
    Failure(kind="late_apogee", of="upper", probability=0.0, late_by=2.0),
    Failure(kind="no_separation", of="lower", probability=1.0),
)
CALM = {"altitude": (0.0, 9e3), "east": (0.0, 0.0), "north": (0.0, 0.0)}
GUSTY = Air(wind=Wind(profile="members", member=tuple(WindMember(**CALM) for _ in range(5))), turbulence=AirTurbulence(wind_at_20_ft=7.0))
