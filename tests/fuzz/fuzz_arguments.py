"""Fuzzed arguments of the public functions: each is accepted, or refused by a sentence that names it."""

from __future__ import annotations

import math
import os
import random
import warnings
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from fuzz_jail import inside
from fuzz_judge import Unclear, attempt, check_flight
from fuzz_missions import path_of

import sixdof
from sixdof import FlightError, MissionError, StoreError
from sixdof.laws import LawError

REFUSALS = (TypeError, ValueError, MissionError, LawError, FlightError, StoreError, FileExistsError, FileNotFoundError)


def _idle(*numbers) -> None:
    """A law, or a wind, that does nothing."""


ODD = (
    None,
    True,
    0,
    1,
    -1,
    2,
    1.5,
    -0.5,
    1e-9,
    1e30,
    1e308,
    10**40,
    math.inf,
    -math.inf,
    math.nan,
    "",
    "x",
    "5 m",
    "wgs84",
    b"x",
    [],
    [1],
    [1.0, 2.0],
    [1.0, 2.0, 3.0],
    [math.nan] * 3,
    [1, "a", None],
    (),
    {},
    {"a": 1},
    {1: 2},
    set(),
    object(),
    np.zeros(0),
    np.zeros(3),
    np.eye(3),
    np.zeros((2, 2, 2)),
    np.array(math.nan),
    np.array(["a", "b", "c"]),
    1 + 2j,
    len,
    _idle,
    xr.Dataset(),
    Path("/nowhere/at/all"),
    "/nowhere/at/all.nc",
    "\0",
    range(3),
    slice(0, 1),
    int,
    Ellipsis,
)


VEHICLE = os.environ.get("FUZZ_VEHICLE", "sampler")  # which mission is called with odd arguments


@cache
def demo(name: str = VEHICLE) -> sixdof.Mission:
    return sixdof.load_mission(path_of(name))


@cache
def _flight() -> xr.Dataset:
    return sixdof.fly(demo())


@cache
def _flights() -> xr.Dataset:
    return sixdof.disperse(demo(), 3, progress=False)


@cache
def _rehearsal() -> xr.Dataset:
    return sixdof.rehearse(demo(), {"time": [0.0, 1.0, 2.0], "baro_height": [0.0, 10.0, 5.0]})


def short(mission: sixdof.Mission) -> sixdof.Mission:
    return mission.change({"solver.time_limit": 3.0})


def refusal_names(error: Exception, name: str, given: dict) -> None:
    """Raise Unclear unless an error's text tells which argument it is about."""
    words = {word.lower() for word in (name, *(key for key in given))}
    if not any(word.replace("_", " ") in str(error).lower().replace("_", " ") for word in words):
        raise Unclear(f"{type(error).__name__} names none of {sorted(words)}: {error}")


def _attempt(call, given: dict, who: str):
    how, found = attempt(lambda: call(**given), REFUSALS)
    if how == "refused" and not isinstance(found, (FlightError, MissionError)):
        refusal_names(found, next(iter(given), who), given)
    return how, found


SOUND_BODY = {
    "mass": 2.0,
    "inertia": (0.01, 0.2, 0.2),
    "height": 300.0,
    "velocity": (10.0, 0.0, -20.0),
    "attitude": (0.0, 0.1, 0.0),
    "rates": (0.1, 0.0, 0.0),
    "latitude": 0.6,
    "longitude": -2.0,
    "area": 0.01,
    "drag": 0.5,
    "lengths": (0.1, 0.1),
    "damping": (-0.1, -1.0, -1.0),
    "earth": "flat",
    "wind": None,
    "density": None,
    "gravity": None,
    "duration": 1.0,
    "step": 0.05,
}


def body(rng: random.Random, folder: Path) -> str:
    """Fly a body with one argument that is odd."""
    name = rng.choice(tuple(SOUND_BODY))
    odd = rng.choice(ODD) if rng.random() < 0.7 else rng.choice((1, -1)) * 10 ** rng.uniform(-15, 15)
    if name in ("inertia", "velocity", "attitude", "rates", "damping") and rng.random() < 0.5:
        odd = [rng.choice((1, -1)) * 10 ** rng.uniform(-12, 12) for _ in range(3)]
    given = SOUND_BODY | {name: odd}
    if rng.random() < 0.3:
        given["earth"] = rng.choice(("wgs84", "sphere", "sphere at rest", "flat at rest"))
    how, found = attempt(lambda: sixdof.aero.fly_body(**given), REFUSALS)
    if how == "refused":
        if not isinstance(found, FlightError):
            refusal_names(found, name, {})
        return how
    for key, values in found.variables.items():
        if values.dtype.kind == "f" and not np.isfinite(values.values).all():
            raise Unclear(f"fly_body({name}={odd!r}): {key} is not finite")
    return "flown"


def fly(rng: random.Random, folder: Path) -> str:
    """Fly with an odd argument."""
    name = rng.choice(("mission", "flight", "seed", "failures", "guidance", "control"))
    odd = rng.choice(ODD)
    if name in ("guidance", "control") and (odd is len or odd is int):
        return "not tried"  # what a law raises is its own
    given = {"mission": short(demo("two-stage") if name == "failures" and VEHICLE == "sampler" else demo()), "flight": 1} | {name: odd}
    how, found = attempt(lambda: sixdof.fly(**given), REFUSALS)
    if how == "refused":
        if name not in ("guidance", "control"):  # what a law raises is its own
            refusal_names(found, name, {})
        return how
    check_flight(found)
    return "flown"


def disperse(rng: random.Random, folder: Path) -> str:
    """Disperse with an odd argument."""
    name = rng.choice(("mission", "flights", "seed", "first", "sampling", "draws", "tracks", "until", "out", "threads"))
    given = {"mission": short(demo()), "flights": 2, "threads": 1, "progress": False} | {name: rng.choice(ODD)}
    if "out" in given:
        given["out"] = inside(folder, given["out"])
    how, found = attempt(lambda: sixdof.disperse(**given), REFUSALS)
    if how == "refused":
        refusal_names(found, name, {"out": 0, "folder": 0, "exists": 0} if name == "out" else {})
    return how


def rehearse(rng: random.Random, folder: Path) -> str:
    """Rehearse with an odd argument."""
    name = rng.choice(("mission", "script", "stage", "failures", "expect", "guidance", "control"))
    odd = rng.choice(ODD)
    if name in ("guidance", "control") and (odd is len or odd is int):
        return "not tried"  # what a law raises is its own
    script = {"time": [0.0, 1.0, 2.0], "baro_height": [0.0, 10.0, 5.0]}
    given = {"mission": demo(), "script": script} | {name: odd}
    if name == "script" and rng.random() < 0.6:
        given["script"] = script | {rng.choice(("time", "baro_height", "q_w", "x", "specific_force_x", "booster")): rng.choice(ODD)}
    how, found = attempt(lambda: sixdof.rehearse(**given), REFUSALS)
    return how


def refly(rng: random.Random, folder: Path) -> str:
    """Fly a flight of an ensemble again with an odd argument."""
    name = rng.choice(("ds", "flight"))
    given = {"ds": _flights(), "flight": 1} | {name: rng.choice(ODD)}
    how, found = attempt(lambda: sixdof.refly(**given), REFUSALS)
    if how == "refused":
        refusal_names(found, name, {})
    return how


def change(rng: random.Random, folder: Path) -> str:
    """Change a mission at an odd path, or to an odd value."""
    paths = (
        "rail.length",
        "stage.0.part.tail.semispan",
        "air",
        "disperse",
        "disperse.wind.speed",
        "motor",
        "stage",
        "rule.0",
        "x",
        "",
        ".",
        "stage.99",
        "stage.-1",
        "stage[0]",
        "stage.0.part.nose",
        "rail.length.x",
        "rail..length",
        "a" * 3000,
        "\n",
        "motor.new",
        "failure.no",
        5,
        None,
        ("rail", "length"),
        "air.sounding",
        "title",
    )
    changes = {rng.choice(paths): rng.choice(ODD) for _ in range(rng.choice((1, 1, 2)))}
    how, _ = attempt(lambda: demo().change(changes if rng.random() < 0.9 else rng.choice(ODD)), REFUSALS)
    return how


def build(rng: random.Random, folder: Path) -> str:
    """Build a mission with an odd table, load odd text or an odd path."""
    pick = rng.random()
    odd = rng.choice(ODD)
    if pick < 0.5:
        tables = {name: getattr(demo(), name) for name in ("site", "rail", "motor", "stage", "servo")} | {
            rng.choice(("site", "rail", "motor", "stage", "title", "x")): odd
        }
        return attempt(lambda: sixdof.parts.build_mission(**tables), REFUSALS)[0]
    if pick < 0.75:
        return attempt(lambda: sixdof.load_mission(odd), REFUSALS)[0]
    return attempt(lambda: sixdof.parts.loads_mission(odd), REFUSALS)[0]


def files(rng: random.Random, folder: Path) -> str:
    """Save odd data or to an odd path; open odd files."""
    odd = rng.choice(ODD)
    pick = rng.random()
    if pick < 0.3:
        return attempt(lambda: sixdof.save(_flight(), inside(folder, odd), overwrite=True), REFUSALS)[0]
    if pick < 0.5:
        return attempt(lambda: sixdof.save(odd, folder / "odd.nc", overwrite=True), REFUSALS)[0]
    if pick < 0.65:
        return attempt(lambda: sixdof.open_result(odd), REFUSALS)[0]
    whole = folder / "whole.nc"
    if not whole.exists():
        sixdof.save(_flights(), whole)
    raw = bytearray(whole.read_bytes())
    for _ in range(rng.choice((1, 5, 50))):
        raw[rng.randrange(len(raw))] = rng.randrange(256)
    path = folder / "damaged.nc"
    path.unlink(missing_ok=True)  # the netCDF library keeps a broken file open, and would read that one again if it were written over
    path.write_bytes(bytes(raw[: rng.randrange(len(raw))]) if rng.random() < 0.3 else bytes(raw))
    return attempt(lambda: sixdof.open_result(path), REFUSALS)[0]


PLOTS = (
    "draw_vehicle",
    "plot_track",
    "plot_ground_track",
    "plot_tilt",
    "plot_fins",
    "plot_margin",
    "plot_mach",
    "plot_height",
    "plot_speed",
    "plot_acceleration",
    "plot_thrust",
    "plot_behind",
    "plot_path",
    "plot_map",
    "plot_static_margins",
    "plot_rule_times",
    "plot_flight",
    "plot_attitude_error",
    "plot_demands",
    "plot_estimate_error",
    "plot_waypoints",
    "plot_fan",
    "plot_landing",
    "plot_ensemble",
    "plot_separation",
    "plot_bodies",
    "plot_timeline",
    "plot_landings",
    "plot_rehearsal",
    "plot_air",
    "plot_control",
    "plot_drag_build_up",
    "plot_slopes",
    "plot_authority",
    "plot_trim",
    "plot_hinge_moments",
    "plot_survival",
    "aero_figures",
)


def plots(rng: random.Random, folder: Path) -> str:
    """Draw odd data: no result at all, one of another kind, or one with variables that are missing or NaN."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    import sixdof.plot

    pick = rng.random()
    if pick < 0.3:
        data: Any = rng.choice(ODD)
    else:
        data = rng.choice((_flight, _flights, _rehearsal))()
        for name in rng.sample(list(data.data_vars), min(rng.choice((0, 1, 5, 40)), len(data.data_vars))):
            data = data.drop_vars(name) if rng.random() < 0.5 else data.assign({name: data[name] * math.nan} if data[name].dtype.kind in "fi" else {})
    name = rng.choice(PLOTS)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return attempt(lambda: getattr(sixdof.plot, name)(data), REFUSALS)[0]
    except Unclear as error:
        raise Unclear(f"{name}: {error}") from error
    finally:
        plt.close("all")


def words(rng: random.Random, folder: Path) -> str:
    """Describe odd things."""
    return attempt(lambda: sixdof.report(rng.choice(ODD)), REFUSALS)[0]


def draws(rng: random.Random, folder: Path) -> str:
    """Make draws with an odd argument."""
    name = rng.choice(("mission", "flights", "seed", "first", "sampling"))
    how, found = attempt(lambda: sixdof.stats.make_draws(**{"mission": demo(), "flights": 2} | {name: rng.choice(ODD)}), REFUSALS)
    if how == "refused":
        refusal_names(found, name, {})
    return how


def laws(rng: random.Random, folder: Path) -> str:
    """Make a law of odd things; none is flown."""
    kind, names = rng.choice(((sixdof.laws.Law, ("function", "memory", "gains")), (sixdof.laws.CLaw, ("path", "name", "memory", "gains"))))
    name = rng.choice(names)
    sound = {"function": _idle} if kind is sixdof.laws.Law else {"path": "law.so", "name": "law"}
    how, found = attempt(lambda: kind(**sound | {name: rng.choice(ODD)}), REFUSALS)
    if how == "refused":
        refusal_names(found, name, {})
    return how


def variants(rng: random.Random, folder: Path) -> str:
    """Compare with an odd argument, or make variants of odd motors."""
    if rng.random() < 0.3:
        return attempt(lambda: sixdof.parts.motor_variants(demo(), rng.choice(ODD)), REFUSALS)[0]
    name = rng.choice(("variants", "flights", "seed", "out", "criteria", "keep", "tracks", "laws", "threads"))
    given = {"variants": {"one": short(demo())}, "flights": 1, "threads": 1, "progress": False} | {name: rng.choice(ODD)}
    if "out" in given:
        given["out"] = inside(folder, given["out"])
    return attempt(lambda: sixdof.compare(**given), REFUSALS)[0]


def edit(rng: random.Random, folder: Path) -> str:
    """Add or remove odd things."""
    where = rng.choice(("part", "recovery", "rule", "stage", "stage.0.part", "guidance.waypoint", "rail", "x", "", 5, None))
    if rng.random() < 0.5:
        table = rng.choice((*ODD, {"kind": "tube", "length": "20 cm"}, {"kind": "nose"}, {"kind": "mass", "mass": "1 g", "station": 0.2}))
        options = {rng.choice(("after", "before", "shift")): rng.choice((*ODD, "tail", "airframe"))}
        return attempt(lambda: demo().add(where, table, **options), REFUSALS)[0]
    paths = [rng.choice((where, "part.tail", "part.main", "recovery.main", "rule.0", *ODD)) for _ in range(rng.choice((0, 1, 2)))]
    return attempt(lambda: demo().remove(*paths, shift=rng.choice((True, False))), REFUSALS)[0]


FUZZERS = {
    "body": body,
    "fly": fly,
    "disperse": disperse,
    "rehearse": rehearse,
    "refly": refly,
    "change": change,
    "build": build,
    "files": files,
    "plots": plots,
    "words": words,
    "draws": draws,
    "laws": laws,
    "variants": variants,
    "edit": edit,
}
