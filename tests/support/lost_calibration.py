"""Lost flights by the hundred: each drawn, flown, logged, reported and analysed as a user would, and what the analysis claimed held against the truth.

The demo's mission with the spreads that matter most: so many flights of so many scores are a night's work. `python tests/support/lost_calibration.py
FILE FIRST LAST` adds cases to a file, a line of JSON each; with `parameters` or `story` behind it that part of them alone.
"""

from __future__ import annotations

import json
import sys
import tempfile
from functools import cache
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from support import lost_evidence as said
from support.lost_flights import MISSION, SEED, readings

import sixdof

SPREADS = ("wind.speed", "wind.blows_from", "motor.impulse", "aero.drag", "canopy.drag", "vehicle.hanging_drag")
PRIORS = {"as planned": 0.4, "harness": 0.3, "no main": 0.3}
FAILED = {"as planned": [], "harness": ["harness_breaks: drogue"], "no main": ["no_deployment: main"]}
ASKED = ("motor.impulse of drayhorse", "wind.speed", "wind.blows_from")
UNTIL = 1.45  # s of the log that parameters are taken from: until the fins go live, and errors of the computer's attitude steer
REACH = 2600.0  # m, of wrong fixes


@cache
def mission():
    """Return what is analysed: the demo with few spreads, nothing certain to fail."""
    demo = sixdof.load_mission(MISSION)
    return demo.change({"disperse": {name: demo.disperse[name] for name in SPREADS}, "failure": None})


@cache
def flown_as(hypothesis: str):
    """Return what is flown: the same, in which exactly this goes wrong."""
    failures = [dict(zip(("kind", "of"), name.split(": "), strict=True)) | {"probability": 1.0} for name in FAILED[hypothesis]]
    return mission().change({"failure": failures or None, "record.rate": 100.0})


def case(number: int, parts: tuple[str, ...] = ("parameters", "story")) -> dict:
    """Fly, log, report and analyse flight `number`; return the truth and what was claimed of it."""
    hypothesis = str(np.random.default_rng([SEED, number]).choice(list(PRIORS), p=list(PRIORS.values())))
    flight = sixdof.fly(flown_as(hypothesis), flight=number, seed=SEED)
    found = {"number": number, "hypothesis": hypothesis}
    if "parameters" in parts:
        draws = sixdof.stats.make_draws(flown_as(hypothesis), 1, seed=SEED, first=number)
        found["parameters"] = parameters(flight, draws, np.random.default_rng([SEED, number, 1]))
    return found | (story(flight, hypothesis, number, np.random.default_rng([SEED, number, 2])) if "story" in parts else {})


def parameters(flight, draws, rng: np.random.Generator) -> dict[str, list[float]]:
    """Return (truth, estimate, standard deviation, low, high) of every parameter asked for, from the log of the first seconds."""
    from postflight.demo import make_lost_flight as made

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_text(made.log_text(readings(flight, draws, rng, 2.0 * UNTIL), rng))
        columns = Path(folder) / "columns.toml"
        columns.write_text(made.COLUMNS.replace('temperature = "72.1 degF"', 'temperature = "24 degC"'))
        log = sixdof.postflight.read_log(path, columns, mission(), liftoff=816.345, remove_bias=True)
    found = sixdof.postflight.estimate(mission(), log, list(ASKED), between=(0.0, UNTIL), threads=1, progress=False)
    return {name: [_true(draws, name), *(float(found[each].values[k]) for each in ("estimate", "sd", "low", "high"))] for k, name in enumerate(ASKED)}


def _true(draws, name: str) -> float:
    quantity, _, stage = name.partition(" of ")
    return float(draws[quantity].sel(stage=stage).values[0] if stage else draws[quantity].values[0])


def story(flight, hypothesis: str, number: int, rng: np.random.Generator) -> dict:
    """Return the probability of every hypothesis, and in which part of the map (by falling probability) the front stage lies."""
    truth = said.Truth(flight)
    pieces = [
        said.fix(truth, rng, rng.uniform(60.0, 110.0), REACH),
        said.landed(truth, rng, rng.uniform(80.0, 150.0)),
        said.main_seen(truth, rng, rng.uniform(90.0, 125.0)),
        said.booster_found(truth, rng),
    ]
    asked = {name: {"failures": FAILED[name], "prior": PRIORS[name]} for name in PRIORS}
    found = sixdof.postflight.what_happened(mission(), pieces, asked, flights=60, rounds=3, enough=40.0, other=0.0, seed=number, threads=1, progress=False)
    area = sixdof.postflight.search_map(found, said.FRONT)
    _, east, north, _ = truth.landing(said.FRONT)
    return {
        "probability": {str(name): float(p) for name, p in zip(found.candidate.values, found.probability.values, strict=True)},
        "effective": [float(one) for one in found.effective_flights.values],
        "rank": rank_in(area, east, north),
    }


def rank_in(area, east: float, north: float) -> float:
    """Return the probability of all ground that is likelier than where the body lies; 1 outside of the map."""
    p = area["probability"].sel(body=said.FRONT)
    if not (p.east.values[0] <= east <= p.east.values[-1] and p.north.values[0] <= north <= p.north.values[-1]):
        return 1.0
    here = float(p.sel(east=east, north=north, method="nearest"))
    return float(p.values[p.values > here].sum() + 0.5 * p.values[p.values == here].sum())


if __name__ == "__main__":
    with open(sys.argv[1], "a") as out:
        for k in range(int(sys.argv[2]), int(sys.argv[3])):
            print(json.dumps(case(k, tuple(sys.argv[4:]) or ("parameters", "story"))), file=out, flush=True)
