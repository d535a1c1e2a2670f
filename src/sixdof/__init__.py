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
    "Mission": "sixdof.mission.mission",
    "MissionError": "sixdof.mission.errors",
    "fly": "sixdof.flight.fly",
    "refly": "sixdof.flight.fly",
    "fly_body": "sixdof.flight.bodies",
    "disperse": "sixdof.ensemble.run",
    "make_draws": "sixdof.draws.table",
    "compare": "sixdof.study.variants.comparison",
    "motor_variants": "sixdof.study.variants.motors",
    "linearise": "sixdof.study.loops.linear",
    "margins": "sixdof.study.loops.margins",
    "tune": "sixdof.study.tuning.tune",
    "vary": "sixdof.study.variants.vary",
    "rehearse": "sixdof.rehearsal.rehearse",
    "describe": "sixdof.vehicle.describe",
    "summarise": "sixdof.study.report.summary",
    "per_flight": "sixdof.study.reading.per_flight",
    "StoreError": "sixdof.results.store_disk",
    "open_result": "sixdof.results.dataset",
    "save": "sixdof.results.dataset",
    "Law": "sixdof.flight.laws",
    "CLaw": "sixdof.flight.laws",
    "LawError": "sixdof.flight.laws",
    "Status": "sixdof.results.status",
    "FlightError": "sixdof.results.status",
    "verify": "sixdof.study.verification.verify",
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
