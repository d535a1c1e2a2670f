"""Does it turn into the wind? The turn over the wind, what decides it, what causes it, and what helps: one call."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np
import xarray as xr

from sixdof.draws.numbers import check_numbers
from sixdof.flight.fly import fly
from sixdof.mission.errors import MissionError
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import parse, shown
from sixdof.study.sweep.conditions import reference_height
from sixdof.study.uncertainty.claims import judge
from sixdof.study.variants.criteria import Criterion
from sixdof.study.weathercock.asked import LEANS, USUAL, aim, attained, criteria_on_the_climb, excess
from sixdof.study.weathercock.causes import Setting, causes, setting, theory
from sixdof.study.weathercock.changes import AS_WRITTEN, LOCKED, fin_variants
from sixdof.study.weathercock.cures import possible, tried, written
from sixdof.study.weathercock.departure import lateral_of
from sixdof.study.weathercock.drawn import climb_events, of_the_climb, without_paths
from sixdof.study.weathercock.flights import Flights, angles, crossing, largest_wind, middle, turns
from sixdof.study.weathercock.lateral import speed_needed
from sixdof.vehicle.geometry import shape_of
from sixdof.world.wind import mean_wind

WINDS = (0.0, 2.0, 4.0, 6.0, 8.0, 10.0)  # m/s; the safety codes launch nothing beyond 8.9
THRUSTS = (0.5, 0.65, 0.8, 1.0, 1.25, 1.6, 2.0)  # factors on the impulse of the first motor at its burn time
MARGINS = (1.0, 1.5, 2.0, 3.0, 4.0)  # calibres at rail departure
RAILS = (0.5, 0.75, 1.0, 1.5, 2.0, 3.0)  # times the rail's length
BANDS = (0.05, 0.5, 0.95)
CONFIDENCE = 0.9  # of the bounds of the share that meets a criterion as drawn
ON_MAPS = 20  # flights at a point of a map: a share of 95 % is 19 of them


def weathercock(
    mission: Mission,
    criteria: str | Criterion | Iterable[str | Criterion] = USUAL,
    flights: int = 40,
    *,
    wind: float | str | None = None,
    winds: Sequence[float | str] = WINDS,
    motors=None,
    stage: str | int | None = None,
    maps: bool = True,
    cures: bool = True,
    seed: int = 0,
    threads: int | None = None,
    progress: bool = True,
    guidance=None,
    control=None,
) -> xr.Dataset:
    """Return whether and how far a vehicle turns into the wind, from which wind on, what causes it, and what cures it at what cost.

    All flights fly the same draws (`sixdof.preflight.sweep`), are followed to the end of the climb, and have no failures; draws of the mission's own
    numbers (paths) stay as written. The turn is `lean` (of the nose) or `path_lean` (of the velocity) at an event less the rail's own lean, in
    the plane of the mean wind at 10 m, positive into the wind.

    Parameters
    ----------
    criteria : text, Criterion, or several
        Limits on numbers at events of the climb, such as "lean at burnout < 8 deg in 95 % of flights" (see `sixdof.stats.criterion`). The first
        says at which event the turn is taken apart.
    flights : drawn flights at each point; maps take the first 20 of them.
    wind : speed (m/s, or text with a unit) at which causes and cures are looked at. None: the mission's own draws if the criteria fail in them,
        else the strongest of `winds`.
    winds : speeds at the reference height of the mission's wind (at 10 m where it is told level by level), rising.
    motors, stage : a folder or files of thrust curves, as `sixdof.parts.motor_variants` takes them, tried as cures.
    maps, cures : whether to fly them.
    seed, threads, guidance, control : as in `sixdof.disperse`. progress : say on standard error what is being flown.

    Returns
    -------
    Dataset
        `lean`, `path_lean`, `turn`, `path_turn` (fins, wind, flight, event), rad; `missed` (fins, wind): by how much the criteria are missed, a share
        of the limit, 0 or below where they hold; `wind_limit` (fins), m/s; `drawn_missed` (fins), `drawn_met`, `drawn_low`, `drawn_high`,
        `drawn_more` (fins, criterion): in the mission's own draws, with one-sided bounds of the true share (see `sixdof.stats.judge`).
        `thrust_turn`, `thrust_missed` (thrust_to_weight, wind), `margin_turn`, `margin_missed` (static_margin, wind). `rail_missed` (rail, wind),
        `rail_speed` (rail), `speed_needed` (wind), and `speed_needed_closed` by the closed form. `triangle`, `closed_turn`, `linear_turn`,
        `profile_turn` (wind): the theory beside it. `cause_mean`, `cause_high` (cause), rad. Cures: `cure_meets`, `cure_value`, `cure_turn`,
        `cure_apogee`, `cure_mass`, `cure_margin`, `cure_speed` (cure), ranked. Scalars and attributes say what was asked and found.

    Raises
    ------
    TypeError, ValueError
        For what is not a mission, criteria that are no limits in the climb, winds that are no rising speeds, a mission whose motor burns out on the rail.
    MissionError, FlightError, LawError
        As `sixdof.disperse` and `sixdof.fly`.

    Examples
    --------
    >>> asked = "lean at burnout < 8 deg in 75 % of flights"
    >>> found = sixdof.preflight.weathercock(mission, asked, 4, winds=[0.0, 8.0], maps=False, cures=False, progress=False)
    >>> bool(found.turn.sel(fins="locked", event="burnout").mean("flight").diff("wind").min() > 0.0)
    True
    """
    check_mission(mission, "weathercock")
    check_numbers("weathercock", None, seed)
    if isinstance(flights, bool) or not isinstance(flights, int) or flights < 1:
        raise ValueError(f"weathercock: flights = {shown(flights)} must be a whole number from 1 on")
    speeds = _winds(winds)
    laws = {"guidance": guidance, "control": control}
    plain, left_out = without_paths(mission)
    nominal = fly(plain, **laws)
    events = climb_events(nominal)
    model = lateral_of(plain, nominal)
    asked = criteria_on_the_climb(criteria, events)
    name, event = aim(asked)
    study = Flights(of_the_climb(plain, nominal), events, asked, flights, seed, {**laws, "threads": threads}, progress=progress)
    study.say("the turn over the wind")
    over = _over_wind(study, speeds)
    drawn = {fins: study.missed(one) for fins, one in fin_variants(study.short).items()}
    study.base = _base(wind, drawn[AS_WRITTEN][0], speeds)
    design = study.base.get("wind.speed", _mean_wind(plain))
    at = setting(model, plain, _at(nominal, "rail_departure", "height"), design, _after(nominal, event, model.burn))
    study.say("rails, causes" + ", maps" * maps + ", cures" * cures)
    own = drawn[AS_WRITTEN][1] if not study.base else study.missed(study.short)[1]
    parts = {**over, **_drawn(study, drawn), **_theory(at, speeds, name), **_exits(study, at, speeds, name)}
    parts |= _causes(study, at, event, name, own)
    parts |= _maps(study, at, speeds, event, name) if maps else {}
    parts |= _cures(study, mission, laws, own, (motors, stage), name, event, nominal) if cures else {}
    coords = {"fins": ("fins", list(drawn)), "wind": ("wind", speeds, {"units": "m/s", "long_name": "mean wind speed"}), "event": ("event", events)}
    ds = xr.Dataset(parts, coords | {"flight": ("flight", np.arange(flights))})
    return ds.assign_attrs(_about(mission, study, model, at, name, event, left_out), cures_tried=int(cures))


# ---------------------------------------------------------------- arguments, attributes


def _winds(winds: Sequence[float | str]) -> np.ndarray:
    speeds = np.array([parse(one, "m/s") for one in winds], dtype=float)
    if speeds.size < 2 or not (np.diff(speeds) > 0.0).all() or speeds[0] < 0.0:
        raise ValueError("weathercock: winds must be two or more rising speeds from 0 on, such as [0, 4, 8]")
    return speeds


def _base(wind: float | str | None, missed: float, speeds: np.ndarray) -> dict:
    """Return the condition that causes and cures are looked at under; {} for the mission's own draws."""
    if wind is not None:
        return {"wind.speed": float(parse(wind, "m/s"))}
    return {} if missed > 0.0 else {"wind.speed": float(speeds[-1])}


def _mean_wind(mission: Mission) -> float:
    return mission.air.wind.speed if mission.air.one_wind else float(np.hypot(*mean_wind(mission, 10.0)))


def _at(ds: xr.Dataset, event: str, name: str) -> float:
    return float(ds[f"event_{name}"].isel(body=0).sel(event=event))


def _after(nominal: xr.Dataset, event: str, burn: float) -> float:
    """Return how long after rail departure the theory is asked, s: at the event, at burnout at the latest."""
    return min(max(_at(nominal, event, "time") - _at(nominal, "rail_departure", "time"), 0.0), burn)


def _about(mission: Mission, study: Flights, model, at: Setting, name: str, event: str, left_out: list[str]) -> dict:
    about = {f"exit_{key}": float(value) for key, value in model._asdict().items()}
    about |= {"title": mission.title, "mission": mission.to_toml(), "seed": str(study.seed), "flights_flown": study.flown}
    about |= {"criteria": "\n".join(map(str, study.criteria)), "angle": name, "at_event": event, "design_wind": at.wind, "as_drawn": int(not study.base)}
    about |= {"reference_height": reference_height(mission), "level_by_level": int(not mission.air.one_wind)}
    return about | {"left_as_written": ", ".join(left_out), "bound": float(study.criteria[0].limit), "share": study.criteria[0].share}


# ---------------------------------------------------------------- over the wind


def _entry(dims, values, units: str, text: str):
    return dims, np.asarray(values, dtype=float), {"units": units, "long_name": text}


def _over_wind(study: Flights, speeds: np.ndarray) -> dict:
    """Return the turn over wind with fins as written, locked and live, by how much it misses, and from which wind on it does."""
    dims = ("fins", "wind", "flight", "event")
    rows: dict[str, list] = {key: [] for key in ("lean", "path_lean", "turn", "path_turn", "missed", "wind_limit")}
    for mission in fin_variants(study.short).values():
        ds = study.fly(mission, [{"wind.speed": float(speed)} for speed in speeds])
        missed = study.excesses(ds)
        rows["missed"].append(missed)
        for key in ("lean", "path_lean"):
            rows[key].append(angles(ds, key, study.events))
            rows[key.replace("lean", "turn")].append(turns(ds, key, study.events))

        same = next((k for k, other in enumerate(rows["missed"][:-1]) if np.array_equal(other, missed)), None)
        if same is not None:  # fins that come alive after what is asked for make no difference
            rows["wind_limit"].append(rows["wind_limit"][same])
            continue

        def again(wind: float, mission=mission) -> float:
            return float(study.excesses(study.fly(mission, [{"wind.speed": wind}]))[0])

        rows["wind_limit"].append(largest_wind(again, speeds, missed))
    what = {"lean": "lean of the nose into the wind", "path_lean": "lean of the path into the wind", "turn": "turn of the nose into the wind since the rail"}
    what["path_turn"] = "turn of the path into the wind since the rail"
    found = {key: _entry(dims, rows[key], "rad", text) for key, text in what.items()}
    found["missed"] = _entry(dims[:2], rows["missed"], "1", "share of the limit by which the criteria are missed, 0 or below where they hold")
    found["wind_limit"] = _entry("fins", rows["wind_limit"], "m/s", "largest wind up to which the criteria hold; inf: in all tried, -inf: in none")
    return found


def _drawn(study: Flights, drawn: dict) -> dict:
    held = [[float(one.holds(ds)[0].mean()) for one in study.criteria] for _, ds in drawn.values()]
    verdicts = [[judge(one.holds(ds)[0], one.share, CONFIDENCE) for one in study.criteria] for _, ds in drawn.values()]
    return {
        "criterion": ("criterion", [str(one) for one in study.criteria], {"long_name": "criterion"}),
        "drawn_missed": _entry("fins", [missed for missed, _ in drawn.values()], "1", "share of the limit by which the criteria are missed as drawn"),
        "drawn_met": _entry(("fins", "criterion"), held, "1", "share of the flights as drawn that meet a criterion"),
        "drawn_low": _entry(("fins", "criterion"), [[v.low for v in row] for row in verdicts], "1", "lower bound of the true share, one-sided, 90 %"),
        "drawn_high": _entry(("fins", "criterion"), [[v.high for v in row] for row in verdicts], "1", "upper bound of the true share, one-sided, 90 %"),
        "drawn_more": _entry(("fins", "criterion"), [[v.more_flights for v in row] for row in verdicts], "1", "further flights that decide it at best"),
        "required": ("criterion", [one.share for one in study.criteria], {"units": "1", "long_name": "share of the flights asked for"}),
    }


def _theory(at: Setting, speeds: np.ndarray, name: str) -> dict:
    steps = [theory(at._replace(wind=float(speed)), name) for speed in speeds]
    names = {
        "triangle": ("triangle", "wind triangle at rail departure"),
        "closed_turn": ("closed", "turn by the closed form"),
        "linear_turn": ("linear", "turn by the linear equations in the wind at departure"),
        "profile_turn": ("lean", "turn by the linear equations with the wind's profile and gravity"),
    }
    return {key: _entry("wind", [each[step] for each in steps], "rad", text) for key, (step, text) in names.items()}


def _exits(study: Flights, at: Setting, speeds: np.ndarray, name: str) -> dict:
    """Return the speed needed at rail departure, found by the rail's length: it changes the speed there and hardly anything else. Fins are locked."""
    length, rows, own = study.short.rail.length, [], fin_variants(study.short)
    locked, spread = own.get(LOCKED, study.short), [0.0] * len(speeds)
    for factor in RAILS:
        try:
            mission = locked.change({"rail.length": factor * length})
        except MissionError:  # shorter than the vehicle's guides need
            continue
        ds = study.fly(mission, [{"wind.speed": float(speed)} for speed in speeds])
        rows.append((factor * length, float(middle(ds["rail_departure_speed"].values.ravel())), study.excesses(ds)))
        spread = [_spread(study, ds.isel(condition=k)) for k in range(len(speeds))] if factor == 1.0 else spread
    lengths, exits, missed = (np.array(column) for column in zip(*rows, strict=True))
    order = np.argsort(exits)
    needed = [crossing(exits[order], missed[order, k]) for k in range(len(speeds))]
    allowed, damped = float(study.criteria[0].limit) - at.model.lean - np.array(spread), _damped(at, name)
    across = [at._replace(wind=float(speed)).profile(0.0) for speed in speeds]
    closed = [
        speed_needed(wind, turn, at.model.acceleration, at.model.wavenumber, damped=damped) if turn > 0.0 else math.inf for wind, turn in zip(across, allowed)
    ]
    return {
        "rail": ("rail", lengths, {"units": "m", "long_name": "rail length"}),
        "rail_speed": _entry("rail", exits, "m/s", "speed at rail departure, mean of the flights"),
        "rail_missed": _entry(("rail", "wind"), missed, "1", "share of the limit by which the criteria are missed"),
        "speed_needed": _entry("wind", needed, "m/s", "speed at rail departure from which on the criteria hold; -inf: any tried, inf: none tried"),
        "speed_needed_closed": _entry("wind", closed, "m/s", "the same by the closed form, damped as the linear equations are, with the flights' spread"),
    }


def _spread(study: Flights, ds: xr.Dataset) -> float:
    """Return how far the value that the first criterion's share of the flights keeps lies above the mean of them (rad); 0 for what is no lean."""
    one = study.criteria[0]
    if one.subject.name not in LEANS:
        return 0.0
    values = one.subject.array(ds).values
    return attained(one, values) - float(middle(values))


def _damped(at: Setting, name: str) -> float:
    """Return the linear equations' turn, with the wind's profile, over that of the closed form in a wind of 1 m/s."""
    steps = theory(at._replace(wind=1.0), name)
    return steps["profile"] / steps["closed"] if steps["closed"] > 0.0 else 1.0


# ---------------------------------------------------------------- causes, maps, cures


def _causes(study: Flights, at: Setting, event: str, name: str, own: xr.Dataset) -> dict:
    found, calm = causes(study, at, event, name, own)
    turn = turns(own, name, [event])[:, 0]
    return {
        "cause": ("cause", [one.name for one in found]),
        "cause_how": ("cause", [one.how for one in found]),
        "cause_mean": _entry("cause", [one.mean for one in found], "rad", "what a cause adds to the mean turn"),
        "cause_high": _entry("cause", [one.high for one in found], "rad", "what a cause adds to the turn in the share of flights asked for"),
        "base_turn": _entry((), middle(turn), "rad", "mean turn that the causes add up to"),
        "base_high": _entry((), middle(turn, quantile=study.criteria[0].share), "rad", "turn that the share of flights asked for keeps"),
        "calm_turn": _entry((), calm, "rad", "mean turn in calm air, flown"),
    }


def _maps(study: Flights, at: Setting, speeds: np.ndarray, event: str, name: str) -> dict:
    """Return the turn over wind and thrust-to-weight, and over wind and margin: draws of the last stage's impulse, and of the centre of pressure."""
    last = study.short.stage[-1].name
    of = f" of {last}" if len(study.short.stage) > 1 else ""
    diameter = _diameter(study.short)
    shifts = [(margin - at.model.margin) * diameter for margin in MARGINS]
    grids = {
        "thrust": ("thrust_to_weight", [factor * at.model.thrust_to_weight for factor in THRUSTS], [{f"motor.impulse{of}": factor} for factor in THRUSTS]),
        "margin": ("static_margin", list(MARGINS), [{f"aero.cp{of}": shift} for shift in shifts]),
    }
    found = {}
    for key, (dim, values, changes) in grids.items():
        conditions = [{**change, "wind.speed": float(speed)} for change in changes for speed in speeds]
        ds = study.fly(study.short, conditions, min(study.count, ON_MAPS))
        shape = (len(changes), len(speeds))
        turned = middle(turns(ds, name, [event])[..., 0], axis=1, quantile=0.5).reshape(shape)
        found[f"{key}_turn"] = _entry((dim, "wind"), turned, "rad", f"median turn into the wind at {event}")
        found[f"{key}_missed"] = _entry((dim, "wind"), study.excesses(ds).reshape(shape), "1", "share of the limit by which the criteria are missed")
        text = "mean thrust over weight at rail departure (burn time kept)" if key == "thrust" else "static margin at rail departure, calibres"
        found[dim] = (dim, values, {"units": "1", "long_name": text})
    return found


def _diameter(mission: Mission) -> float:
    return shape_of(list(mission.stage)).diameter


def _cures(study: Flights, mission: Mission, laws: dict, own: xr.Dataset, motors: tuple, name: str, event: str, nominal: xr.Dataset) -> dict:
    """Return the cures, those that meet the criteria first, by the apogee they cost; nothing where none is needed."""
    if excess(study.criteria, own) <= 0.0:
        return {}
    before, base_turn = written(mission, laws), float(middle(turns(own, name, [event])[:, 0]))
    trials = list(possible(mission, float(nominal["mass"][0]), *motors))
    found = [tried(study, mission, cure, laws, before, base_turn, name, event) for cure in trials]
    without = [cure.name for cure, one in zip(trials, found, strict=True) if one is None]
    found = sorted((one for one in found if one is not None), key=lambda one: (not one.meets, -one.apogee if one.meets else one.value))
    numbers = {
        "value": (_units(study), "what the share of flights asked for keeps, with the cure"),
        "turn": ("rad", "change of the mean turn"),
        "apogee": ("m", "change of the apogee as written"),
        "mass": ("kg", "change of the mass at liftoff"),
        "margin": ("1", "change of the static margin at rail departure, calibres"),
        "speed": ("m/s", "change of the speed at rail departure"),
    }
    parts = {f"cure_{key}": _entry("cure", [getattr(one, key) for one in found], units, text) for key, (units, text) in numbers.items()}
    parts["cures_without_room"] = ((), "; ".join(without), {"long_name": "cures that the mission has no room for"})
    parts["cure"] = ("cure", [one.name for one in found])
    parts["cure_says"] = ("cure", [one.says for one in found])
    parts["cure_meets"] = ("cure", [one.meets for one in found], {"long_name": "whether the criteria hold with it"})
    return parts


def _units(study: Flights) -> str:
    return study.criteria[0].subject.variable.units
