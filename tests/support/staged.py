"""Small stacks for tests of parting and descent: the two-stage demo vehicle of tests, and its models in worlds made by hand."""

from __future__ import annotations

import numpy as np
from two_stages import on_booster

from sixdof.draws.packed import nominal_draw
from sixdof.flight.laws import bind
from sixdof.flight.plan import Plan
from sixdof.flight.runner import FlightRunner
from sixdof.mission.load import build_mission
from sixdof.mission.mission import Mission

RULES = [
    {"name": "part", "when": "burnout", "delay": 0.5, "action": "separate"},
    {"name": "light", "when": "separation", "delay": 0.3, "action": "ignite", "target": "thistledown", "booster": "separated"},
]
NEVER_LIT = {"name": "light", "when": "burnout", "delay": 500.0, "action": "ignite", "target": "thistledown", "booster": "separated"}
BOOSTER_MAIN = {"kind": "parachute", "name": "booster main", "mass": 0.1, "station": 0.2, "diameter": 0.8}


def stack(demo: Mission, *, rules=RULES, joint=None, harnesses=(), failures=(), changes=None) -> Mission:
    """Return the demo on a booster that parts and lights; joint : keys of the booster's joint."""
    tables = on_booster(demo).model_dump()
    tables["stage"][1]["joint"] = {"impulse": 3.0, "delay": 0.0} | (joint or {})
    tables["stage"][1]["part"] = [*tables["stage"][1]["part"], BOOSTER_MAIN]
    tables["rule"] = list(rules)
    tables["recovery"] = [*tables["recovery"], {"canopy": "booster main", "when": "apogee"}]
    tables["harness"], tables["failure"] = list(harnesses), list(failures)
    tables |= changes or {}
    return build_mission(**tables)


def runner(mission: Mission, *, rows=6000, **parts) -> FlightRunner:
    """Return a FlightRunner of the mission; parts : of the models of every body, replaced (a function of (first, last), or the part)."""
    plan = Plan(mission)
    for key in [(i, j) for i in range(plan.count) for j in range(i, plan.count)]:
        model = plan.model(*key)
        new = {name: part(key, model) if callable(part) else part for name, part in parts.items()}
        plan.models[key] = model._replace(**new)
    return FlightRunner(plan, bind(None, None), rows)


def flown(mission: Mission, draw=None, **parts):
    """Fly once; return what it leaves."""
    return runner(mission, **parts).run(nominal_draw(mission) if draw is None else draw)


def drawn(mission: Mission, **groups):
    """Return the nominal draw with some rows replaced: stage=[(index, column, value)], joint=..., failure=[..]."""
    draw = nominal_draw(mission)
    for group, entries in groups.items():
        array = getattr(draw, group)
        for *where, value in entries:
            array[tuple(where)] = value
    return draw


def fixed_axial(area_ratio):
    """Return a part `aero` of constant axial coefficients without any normal force; area_ratio(key, model): CA."""

    def aero(key, model):
        a = model.aero
        body = np.zeros_like(a.body)
        body[:, 3] = body[:, 5] = area_ratio(key, model)
        return a._replace(
            body=body,
            fin=np.zeros_like(a.fin),
            friction=np.zeros_like(a.friction),
            cross=np.zeros_like(a.cross),
            panel=np.ascontiguousarray(a.panel[:0]),
            wake_pair=np.ascontiguousarray(a.wake_pair[:0]),
            wake=np.ascontiguousarray(a.wake[:0]),
        )

    return aero


def coasting(mission: Mission) -> Mission:
    """Return the stack straight up in still air, parting half a second after burnout, its sustainer never lit, no canopies."""
    return mission.change({"rule": [RULES[0], NEVER_LIT], "recovery": [], "rail.elevation": "90 deg", "air.wind.speed": 0.0})
