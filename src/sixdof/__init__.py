"""Flights of small, actively controlled rockets in six degrees of freedom, one or a million.

    mission = sixdof.load_mission("sampler.toml")
    flight = sixdof.fly(mission)                                  # xarray.Dataset
    flights = sixdof.disperse(mission, 1000, out="flights.nc")   # the same names, with `flight` in front
    sixdof.report(flights)                                       # a page to decide from, of whatever sixdof made

What is needed daily stands here; the rest by subject: `print(sixdof.loops)` lists what that façade holds, `print(sixdof)` what is here.
The examples in the help of every name start from these, made from the demos in `configs/` and numpy as np:

    mission = sixdof.load_mission("configs/sampler.toml")
    flight = sixdof.fly(mission)
    flights = sixdof.disperse(mission, 100, seed=1, progress=False)
    compared = sixdof.compare({"as it is": mission, "long rail": mission.change({"rail.length": "5 m"})}, 20, seed=1, progress=False)
    models = sixdof.loops.linearise(mission, points=6)
    spread = sixdof.loops.margin_spread(mission, 4, seed=1, points=4, progress=False)
    tuned = sixdof.tune(mission, {"schedule": "none"}, points=6, progress=False)
    stack = sixdof.load_mission("configs/two-stage.toml")
    staged = sixdof.fly(stack)

Everything is loaded on first use: `import sixdof` is quick, and a notebook pays only for what it calls.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

from sixdof.surface.lazy import PAGES, show

if TYPE_CHECKING:
    from sixdof import aero as aero
    from sixdof import laws as laws
    from sixdof import loops as loops
    from sixdof import parts as parts
    from sixdof import plot as plot
    from sixdof import postflight as postflight
    from sixdof import preflight as preflight
    from sixdof import stats as stats
    from sixdof import workshop as workshop
    from sixdof.ensemble.run import disperse as disperse
    from sixdof.flight.fly import fly as fly
    from sixdof.flight.fly import refly as refly
    from sixdof.mission.errors import MissionError as MissionError
    from sixdof.mission.load import load_mission as load_mission
    from sixdof.mission.mission import Mission as Mission
    from sixdof.pages.report import report as report
    from sixdof.rehearsal.rehearse import rehearse as rehearse
    from sixdof.results.dataset import open_result as open_result
    from sixdof.results.dataset import save as save
    from sixdof.results.status import FlightError as FlightError
    from sixdof.results.store_disk import StoreError as StoreError
    from sixdof.study.tuning.tune import tune as tune
    from sixdof.study.variants.comparison import compare as compare
    from sixdof.study.verification.verify import verify as verify

PAGES["mission"] = ("sixdof.pages.mission", "mission_html")
show(
    __name__,
    {
        "A mission": ("load_mission", "Mission"),
        "Flights of it": ("fly", "refly", "rehearse", "disperse", "compare", "tune"),
        "What came out": ("report", "save", "open_result"),
        "Errors": ("MissionError", "FlightError", "StoreError"),
        "The kernel against what is known": ("verify",),
        "By subject": ("parts", "aero", "preflight", "workshop", "postflight", "loops", "stats", "laws", "plot"),
    },
)
