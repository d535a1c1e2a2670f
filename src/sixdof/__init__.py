"""sixdof: flights of small, actively controlled rockets in six degrees of freedom, one or a million.

    mission = sixdof.load_mission("sampler.toml")
    flight = sixdof.fly(mission)                                   # xarray.Dataset
    flights = sixdof.disperse(mission, 1000, out="flights.nc")    # the same names, with `flight` in front
"""

from __future__ import annotations

from importlib import import_module

_HOME = {
    "load_mission": "sixdof.mission.load",
    "loads_mission": "sixdof.mission.load",
    "build_mission": "sixdof.mission.load",
    "Mission": "sixdof.mission.schema",
    "MissionError": "sixdof.mission.errors",
    "fly": "sixdof.flying",
    "refly": "sixdof.flying",
    "fly_body": "sixdof.bodies",
    "disperse": "sixdof.ensemble.run",
    "make_draws": "sixdof.ensemble.table",
    "compare": "sixdof.study.comparison",
    "motor_variants": "sixdof.study.motors",
    "linearise": "sixdof.study.linear",
    "margins": "sixdof.study.margins",
    "tune": "sixdof.study.tuning",
    "vary": "sixdof.study.variants",
    "rehearse": "sixdof.rehearsal",
    "describe": "sixdof.vehicle.describe",
    "summarize": "sixdof.study.summary",
    "per_flight": "sixdof.study.per_flight",
    "StoreError": "sixdof.store_disk",
    "open_result": "sixdof.results",
    "save": "sixdof.results",
    "Law": "sixdof.laws",
    "CLaw": "sixdof.laws",
    "LawError": "sixdof.laws",
    "Status": "sixdof.status",
    "FlightError": "sixdof.status",
    "verify": "sixdof.study.verification",
}
__all__ = sorted(_HOME)


def __getattr__(name: str):
    # loaded on first use: `import sixdof` stays quick, and a notebook pays only for what it calls
    if name in _HOME:
        value = getattr(import_module(_HOME[name]), "build" if name == "build_mission" else name)
        globals()[name] = value
        return value
    raise AttributeError(f"module 'sixdof' has no attribute {name!r}")


def __dir__():
    return __all__
