"""Fuzzed arguments of the studies of attitude loops and of their figures: each is accepted, or refused by a sentence that names it."""

from __future__ import annotations

import math
import random
import warnings
from functools import cache, wraps
from importlib import import_module
from pathlib import Path

import numpy as np
import xarray as xr
from fuzz_arguments import ODD, REFUSALS, VEHICLE, demo, refusal_names, short
from fuzz_judge import Unclear, attempt

import sixdof
from sixdof import MissionError
from sixdof.study.loops.frozen import simulate_frozen
from sixdof.study.loops.limit_cycle import limit_cycle_curves, limit_cycles
from sixdof.study.tuning.gain_map import gain_map
from sixdof.study.uncertainty.margin_spread import margin_spread


@cache
def _models() -> xr.Dataset:
    return sixdof.loops.linearise(demo(), at=[2.0, 5.0])


@cache
def _spread() -> xr.Dataset:
    return margin_spread(demo(), 3, points=2, progress=False)


@cache
def _map() -> xr.Dataset:
    return gain_map(demo(), *PAIR.values(), models=_models(), flown=False)


@cache
def _frozen() -> xr.Dataset:
    return simulate_frozen(_models(), duration=0.2, start=0.01)


@cache
def _cycles() -> xr.Dataset:
    return limit_cycles(_models())


@cache
def _curves() -> xr.Dataset:
    return limit_cycle_curves(_models())


@cache
def _margins() -> xr.Dataset:
    return sixdof.loops.margins(_models())


@cache
def _unguided() -> sixdof.Mission:
    """Return a mission that `tune` refuses once it has taken its arguments: gains for it would take half a minute."""
    fixed = "stage.dottrel.part.canards" if VEHICLE == "canard" else "stage.thistledown.part.tail"
    return demo().change({f"{fixed}.control": False, f"{fixed}.hinge": None})


PITCH = "autopilot.schedule.1.pitch" if VEHICLE == "canard" else "autopilot.pitch"
PAIR = {"path_x": f"{PITCH}.p", "values_x": [0.2, 0.4], "path_y": f"{PITCH}.d", "values_y": [0.05, 0.1]}
FINITE = ("growth", "distance", "state_matrix", "input_matrix", "angle", "rate", "fin", "command", "loop_gain", "flight_probability")
NEAR = (
    3,
    0.3,
    "pitch",
    "roll",
    "full",
    ["pitch"],
    ["pitch", "yaw"],
    "actuator",
    {"autopilot.pitch.p": math.nan},
    {"autopilot.pitch.p": 0.3},
    {"q": 0.1},
    {"backlash": -1.0},
    {"frequency": 0.0},
    [1, 2, 2],
    (0, 1),
    [-1],
    np.float64(0.5),
    np.int64(1),
    np.array([1.0, 2.0]),
)
# of functions in sixdof.study: what they are given when all is well, and which of that is made odd as well as the rest
STUDIES = {
    "loops": {
        "loops.linear.linearise": (lambda: {"mission": short(demo())}, "at mach dynamic_pressure points flight seed draw step"),
        "loops.linear.state_space": (lambda: {"models": _models()}, "point channel"),
        "loops.loop.open_loop": (lambda: {"models": _models()}, "point channel gains broken_at bending"),
        "loops.loop.closed_response": (lambda: {"models": _models()}, "point channel gains bending"),
        "loops.margins.margins": (lambda: {"models": _models()}, "gains channels broken_at bending"),
        "loops.margins.coupled_margins": (lambda: {"models": _models()}, "gains bending"),
        "loops.margins.margin_report": (lambda: {"found": _margins()}, "gain_db phase"),
        "loops.margins.worst_point": (lambda: {"found": _margins()}, "variable"),
        "loops.margins.holds": (lambda: {"found": _margins()}, "gain_db phase"),
    },
    "cycles": {
        "loops.frozen.simulate_frozen": (lambda: {"models": _models(), "duration": 0.1}, "point channel gains duration goal gust start servo centring steps"),
        "loops.limit_cycle.limit_cycles": (lambda: {"models": _models()}, "point channel gains"),
        "loops.limit_cycle.limit_cycle_curves": (lambda: {"models": _models()}, "point channel gains"),
        "loops.limit_cycle.simulated_cycle": (
            lambda: {"models": _models(), "only": "backlash", "starts": [0.02], "period": 0.2},
            "point channel gains only starts period",
        ),
        "loops.limit_cycle.limit_cycle_table": (lambda: {"models": _models(), "points": []}, "channel gains points"),
        "loops.limit_cycle.limit_cycle_report": (lambda: {"table": _cycles()}, ""),
        "loops.describing.backlash": (lambda: {"amplitude": 0.1, "play": 0.02}, "amplitude play"),
        "loops.describing.quantiser": (lambda: {"amplitude": 0.1, "resolution": 0.02}, "amplitude resolution"),
        "loops.describing.command_dead_band": (lambda: {"amplitude": 0.1, "dead_band": 0.02}, "amplitude dead_band"),
        "loops.describing.saturation": (lambda: {"amplitude": 0.1, "limit": 0.02}, "amplitude limit"),
        "loops.describing.dead_zone": (lambda: {"amplitude": 0.1, "half_width": 0.02}, "amplitude half_width"),
        "loops.describing.rate_limit": (lambda: {"amplitude": 0.1, "frequency": 3.0, "limit": 0.02}, "amplitude frequency limit"),
    },
    "spreads": {
        "uncertainty.margin_spread.margin_spread": (
            lambda: {"mission": short(demo()), "flights": 1, "points": 1, "progress": False},
            "flights seed draws points channels gains bending gain_db phase",
        ),
        "uncertainty.margin_spread.robust_margins": (lambda: {"spread": _spread()}, "gain_db phase confidence"),
        "uncertainty.margin_spread.worst_draws": (lambda: {"spread": _spread()}, "count"),
        "uncertainty.margin_spread.spread_report": (lambda: {"spread": _spread()}, "gain_db phase count"),
        "tuning.gain_map.gain_map": (
            lambda: {"mission": demo(), **PAIR, "models": _models(), "flown": False, "progress": False},
            "path_x values_x path_y values_y models channel points flight seed threads",
        ),
    },
    "tune": {
        "tuning.tune.tune": (lambda: {"mission": _unguided()}, "spec points flights seed bending"),
        "tuning.tune.Specification": (
            lambda: {},
            "gain_margin_db phase_margin_deg damping bandwidth servo_share goal_step_deg gust integral reserve schedule rows channels",
        ),
    },
}


def call_of(where: str):
    """Return a study by its place below sixdof.study, that says nothing of kinks in the flight's tables."""
    module, _, function = where.rpartition(".")
    called = getattr(import_module(f"sixdof.study.{module}"), function)

    @wraps(called)
    def call(**given):
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", r"linearise: at [\d.]+ s a derivative changes", UserWarning)
            return called(**given)

    return call


def _study(family: str):
    """Return the fuzzer of a family of studies: one argument is odd, or variables of a table are missing."""

    def fuzz(rng: random.Random, folder: Path) -> str:
        where = rng.choice(tuple(STUDIES[family]))
        sound, more = STUDIES[family][where]
        given = sound()
        name = rng.choice((*more.split(), *list(given)[:1]))
        worn = isinstance(given.get(name), xr.Dataset) and rng.random() < 0.1
        given[name] = _worn(rng, given[name]) if worn else rng.choice(ODD + NEAR)
        if name in ("goal", "gust") and (given[name] is len or given[name] is int):
            return "not tried"  # what a function of time raises is its own
        try:
            how, found = attempt(lambda: call_of(where)(**given), REFUSALS)
            if how == "refused":
                if not isinstance(found, MissionError):
                    refusal_names(found, name, {where.rpartition(".")[2]: 0, "the result of": 0, "flights": 0})
                return how
            _finite(found)
        except Unclear as error:
            raise Unclear(f"{where}({name}={given[name]!r:.200}): {error}") from error
        return "done"

    fuzz.__doc__ = f"Call a study of the family {family!r} with an odd argument."
    return fuzz


def _worn(rng: random.Random, data: xr.Dataset) -> xr.Dataset:
    """Return a table with variables that are missing."""
    return data.drop_vars(rng.sample(list(data.data_vars), min(rng.choice((1, 5, 40)), len(data.data_vars))))


def _finite(found) -> None:
    """Raise Unclear for a number of a study that is not finite where it always should be."""
    if isinstance(found, xr.Dataset):
        parts = {name: found[name].values for name in FINITE if name in found}
    elif isinstance(found, np.ndarray):
        parts = {"N": found}
    else:
        parts = {name: getattr(found, name) for name in "ABCD" if hasattr(found, name)}
    for name, values in parts.items():
        if not np.isfinite(values).all():
            raise Unclear(f"{name} is not finite")


LOOP_PLOTS = {
    "plot_modes": (_models, ""),
    "plot_margins": (_margins, "channel broken_at required"),
    "plot_bode": (_models, "points channel gains broken_at bending"),
    "plot_nyquist": (_models, "points channel gains broken_at bending required"),
    "plot_nichols": (_models, "points channel gains broken_at bending required"),
    "plot_root_locus": (_models, "point channel gains factors bending"),
    "plot_steps": (_models, "points channel gains size_deg duration bending"),
    "plot_disturbances": (_models, "points channel gains gust offset_deg duration bending"),
    "plot_responses": (lambda: {"a": sixdof.fly(demo())}, "channel"),
    "plot_margin_spread": (_spread, "channel over gain_db phase worst"),
    "plot_gain_map": (_map, "variables gain_db phase"),
    "plot_limit_cycle": (_frozen, "cycles cycle"),
    "plot_describing": (_curves, "cycles"),
    "plot_schedule": (dict, ""),
    "plot_lags": (dict, ""),
    "plot_tuning": (dict, "channel"),
}


def loop_plots(rng: random.Random, folder: Path) -> str:
    """Draw figures of loops with an odd argument, or from a table with variables that are missing."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    import sixdof.plot

    function = rng.choice(tuple(LOOP_PLOTS))
    make, more = LOOP_PLOTS[function]
    data, name = make(), rng.choice((*more.split(), "the data", "the data"))
    given = {}
    if name == "the data":
        data = _worn(rng, data) if isinstance(data, xr.Dataset) and rng.random() < 0.6 else rng.choice(ODD)
    else:
        given[name] = rng.choice(ODD + NEAR)
    try:
        return attempt(lambda: getattr(sixdof.plot, function)(data, **given), REFUSALS)[0]
    except Unclear as error:
        raise Unclear(f"{function}({name}={given.get(name, data)!r:.200}): {error}") from error
    finally:
        plt.close("all")


FUZZERS = {family: _study(family) for family in STUDIES} | {"plots": loop_plots}
