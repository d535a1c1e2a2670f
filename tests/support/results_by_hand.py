"""Small results written by hand, so that figures and summaries can be tested without a flight."""

from __future__ import annotations

import numpy as np
import xarray as xr
from two_stages import on_booster

from sixdof.core import layout
from sixdof.core.layout import OUTCOMES, Log, Outcome
from sixdof.draws.table import draw_table
from sixdof.ensemble.block_runner import Block
from sixdof.mission.load import build_mission
from sixdof.results import facts
from sixdof.results.dataset import NOMINAL, ensemble_dataset, flight_dataset
from sixdof.results.facts import BODY_FACTS, Flown
from sixdof.results.names import body_names, canopy_names, event_names, failure_names, joint_names, rule_names
from sixdof.results.registry import BODY, CANOPY, EVENT, FIN, JOINT, OUTCOME, PLACE, RULE, STATUS, TIMELINE, TRACK
from sixdof.results.status import UNREACHED, Descent, Status

EVENTS = ("liftoff", "rail_departure", "fins_enabled", "burnout", "fins_disabled", "apogee", "landing", "deployment main")
EVENT_TIMES = (0.1, 0.4, 0.6, 2.0, 10.0, 10.0, 40.0, 11.0)
ROWS = 81
HELD = ("roll_error_rms", "tilt_error_rms")  # rad, of loops that hold


def _described(v, lead, values):
    return (*lead, *v.dims), values, {"units": v.units, "long_name": v.long_name}


def _facts_by_hand(mission, lead=(), counts=()) -> xr.Dataset:
    """What one body leaves that comes down under its canopies, every rule having fired; no joint, no failure."""
    names = {"body": body_names(mission), "rule": rule_names(mission), "canopy": canopy_names(mission)}
    names |= {"joint": joint_names(mission), "failure": np.array([], dtype=str)}
    values = {"descent": Descent.UNDER_CANOPY, "body_status": Status.LANDED, "rule_acted": 1}
    values |= FALLS
    values |= {"rule_given_up": np.nan, "snatch_load": np.nan, "body_landing_latitude": 38.0, "body_landing_longitude": -117.0}
    ds = xr.Dataset(coords={dim: (dim, np.array(of, dtype=str)) for dim, of in names.items()})
    for v in (*BODY, *PLACE, *JOINT, *RULE, *CANOPY):
        shape = (*counts, ds.sizes[v.dims[0]])
        ds[v.name] = _described(v, lead, np.full(shape, values.get(v.name, 10.0), dtype=np.int8 if v.flags else float))
    ds["failure_happened"] = ((*lead, "failure"), np.zeros((*counts, 0), dtype=np.int8))
    ds["branch"] = (lead, np.full(counts, NOMINAL))
    return ds


def flight_by_hand(mission) -> xr.Dataset:
    """A plausible arc of 40 s that drifts along the rail's azimuth; every other number is a constant."""
    time = np.linspace(0.0, 40.0, ROWS)
    height = np.where(time < 10.0, 10.0 * time * (2.0 - time / 10.0), 100.0 * (40.0 - time) / 30.0)
    azimuth = mission.rail.azimuth
    values = {
        "height": height,
        "east": 3.0 * time * np.sin(azimuth),
        "north": 3.0 * time * np.cos(azimuth),
        "phase": np.where(time > 0.1, 3.0, 0.0),
        "airspeed": np.full(ROWS, 30.0),
        "mach": np.full(ROWS, 0.09),
        "static_margin": np.full(ROWS, 2.0),
        "tilt_pitch": np.linspace(0.0, 0.1, ROWS),
        "wind_east": np.full(ROWS, 4.0),
    }
    sizes = {"time": ROWS, "axis": 3, "quaternion": 4, "fin": 4, "event": len(EVENTS), "body": 1}
    ds = xr.Dataset(coords={"time": ("time", time, {"units": "s", "long_name": "time since ignition"})})
    ds = ds.assign_coords(event=list(EVENTS), fin=[1, 2, 3, 4])
    for v in (*TIMELINE, *FIN, *EVENT):
        ds[v.name] = _described(v, (), values.get(v.name, np.zeros([sizes[d] for d in v.dims])))
    ds["event_time"].values[:] = EVENT_TIMES
    for name in ("east", "north", "height"):
        ds[f"event_{name}"].values[:] = np.interp(EVENT_TIMES, time, ds[name].values)
    for v in OUTCOME:
        ds[v.name] = _described(v, (), 0.02 if v.name in HELD else 1.0)
    ds["status"] = ((), np.int8(Status.LANDED), {"long_name": STATUS.long_name})
    return ds.merge(_facts_by_hand(mission)).assign_attrs(title="by hand", mission=mission.to_toml())


def ensemble_by_hand(mission, places, *, points=16) -> xr.Dataset:
    """Flights that come down at `places` (n, 2); every other outcome is spread evenly over 1 .. 2; arcs as tracks."""
    places = np.asarray(places, dtype=float)
    n = len(places)
    ds = xr.Dataset(coords={"flight": np.arange(n), "event": list(EVENTS)})
    for v in OUTCOME:
        ds[v.name] = _described(v, ("flight",), np.linspace(1.0, 2.0, n))
    ds["landing_east"].values[:], ds["landing_north"].values[:] = places.T
    ds["status"] = ("flight", np.full(n, Status.LANDED, dtype=np.int8), {"long_name": STATUS.long_name})
    for v in EVENT:
        ds[v.name] = _described(v, ("flight",), np.ones((n, 1, len(EVENTS))))
    if points:
        share = np.linspace(0.0, 1.0, points)
        ends = np.linspace(38.0, 42.0, n)
        ds["time"] = (("flight", "point"), ends[:, None] * share, {"units": "s", "long_name": "time since ignition"})
        arc = 400.0 * share * (1.0 - share) * np.ones((n, 1))
        ds["height"] = (("flight", "point"), arc, {"units": "m", "long_name": "height above ground"})
    return ds.merge(_facts_by_hand(mission, ("flight",), (n,))).assign_attrs(title="by hand", mission=mission.to_toml(), seed="1")


# ---------------------------------------------------------------- two stages

STAGE_TIMES = {  # of the front body and of the booster, s; what both share came before they parted at 2.1 s
    "thistledown": {
        "liftoff": 0.1,
        "rail_departure": 0.4,
        "burnout": 2.0,
        "separation booster": 2.1,
        "ignition thistledown": 3.0,
        "burnout thistledown": 4.5,
        "apogee": 18.0,
        "deployment drogue": 18.5,
        "deployment main": 90.0,
        "landing": 120.0,
    },
    "booster": {
        "liftoff": 0.1,
        "rail_departure": 0.4,
        "burnout": 2.0,
        "separation booster": 2.1,
        "apogee": 8.0,
        "deployment booster canopy": 8.3,
        "landing": 50.0,
    },
}
FALLS = {"descent_incidence": np.nan, "time_falling_incidence": 0.4, "time_falling_mach": 0.0, "time_falling_reynolds": 0.2, "time_falling_crisis": 0.0}
STAGE_FACTS = {
    "thistledown": {
        "body_landing_time": 120.0,
        "body_landing_east": 300.0,
        "body_landing_north": 400.0,
        "body_landing_ground_speed": 6.0,
        "body_landing_energy": 36.0,
        "body_landing_mass": 2.0,
        "fall_time": 102.0,
        "descent": Descent.UNDER_CANOPY,
        "body_status": Status.LANDED,
        **FALLS,
    },
    "booster": {
        "body_landing_time": 50.0,
        "body_landing_east": 60.0,
        "body_landing_north": -80.0,
        "body_landing_ground_speed": 9.0,
        "body_landing_energy": 48.6,
        "body_landing_mass": 1.2,
        "fall_time": 42.0,
        "descent": Descent.UNDER_CANOPY,
        "body_status": Status.LANDED,
        **FALLS,
    },
}
JOINT_FACTS = {
    "separation_time": 2.1,
    "separation_cause": layout.BY_COMMAND,
    "separation_speed": 2.5,
    "drag_separation_time": 2.05,
    "gap_min": 0.03,
    "recontact": 0.0,
}
CANOPY_FACTS = {"drogue": (40.0, np.nan, 12.0, 14.0), "main": (90.0, 140.0, 15.0, 15.5), "booster canopy": (50.0, np.nan, 8.0, 9.0)}
RULE_TIMES = {  # armed, fired, acted
    "fins on": (0.1, 0.5, 1),
    "fins off": (18.0, 18.0, 1),
    "drop booster": (2.0, 2.05, 1),
    "second fire": (2.1, 2.7, 1),
    "deploy drogue: apogee": (18.0, 18.5, 1),
    "deploy drogue: backup": (0.1, 30.0, 0),
    "deploy main: falling through": (90.0, 90.0, 1),
    "deploy booster canopy: apogee": (8.0, 8.3, 1),
    "deploy booster canopy: backup": (0.1, 14.1, 0),
}


def staged_mission(demo, **changes):
    """The demo on a booster with a canopy of its own, dropped before the upper stage is lit; a harness, some failures."""
    tables = on_booster(demo).model_dump()
    canopy = {"kind": "parachute", "name": "booster canopy", "mass": 0.06, "station": 0.2, "diameter": 0.6, "strength": 200.0}
    tables["stage"][1]["part"] = [*tables["stage"][1]["part"], canopy]
    tables["stage"][1]["joint"] = {"impulse": 2.0, "delay": 0.05}
    tables["rule"] = [
        *tables["rule"],
        {"name": "drop booster", "when": "burnout", "stage": "booster", "action": "separate", "target": "booster"},
        {"name": "second fire", "when": "separation", "delay": 0.6, "action": "ignite", "target": "thistledown"},
    ]
    backup = [dict(entry, backup_time=30.0) if entry["canopy"] == "drogue" else entry for entry in tables["recovery"]]
    tables["recovery"] = [*backup, {"canopy": "booster canopy", "when": "apogee", "delay": 0.3, "backup_time": 14.0}]
    tables["harness"] = [{"canopy": "main", "separation_station": 0.61, "length": 4.0, "strength": 900.0, "impulse": 3.0}]
    tables["failure"] = [{"kind": "no_ignition", "of": "thistledown", "probability": 0.2}, {"kind": "no_deployment", "of": "drogue", "probability": 0.2}]
    return build_mission(**(tables | changes))


def staged_flown(mission) -> Flown:
    """What a flight of `staged_mission` leaves: the numbers above, straight lines as tracks, the piece on its harness."""
    bodies, names = body_names(mission), event_names(mission)
    events = np.full((len(bodies), len(names), len(layout.EVENT_COLUMNS)), np.nan)
    body = np.full((len(bodies), len(BODY_FACTS)), np.nan)
    body[:, BODY_FACTS.index("descent")], body[:, BODY_FACTS.index("body_status")] = Descent.NOT_DOWN, UNREACHED
    for k, name in enumerate(bodies[:2]):
        body[k] = [STAGE_FACTS[name][fact] for fact in BODY_FACTS]
        for event, time in STAGE_TIMES[name].items():
            events[k, names.index(event)] = 0.1
            events[k, names.index(event), :4] = time, 3.0 * time, 4.0 * time, _height(time)
    joint = np.array([[JOINT_FACTS[fact] for fact in facts.JOINT_FACTS]])
    rule = np.array([(*RULE_TIMES[name], np.nan) for name in rule_names(mission)])
    canopy = np.array([CANOPY_FACTS[name] for name in canopy_names(mission)])
    summary = np.ones(len(OUTCOMES))
    summary[[Outcome.LANDING_EAST, Outcome.LANDING_NORTH]] = 300.0, 400.0
    summary[[Outcome.RAIL_DEPARTURE_SPEED, Outcome.STATIC_MARGIN_MIN, Outcome.SATURATION_SHARE, Outcome.RAIL_DEPARTURE_INCIDENCE]] = 40.0, 2.0, 0.0, 0.1
    summary[[Outcome.ROLL_ERROR_RMS, Outcome.TILT_ERROR_RMS]] = 0.02
    logs = [_log(0.0, 120.0, 61), _log(2.1, 50.0, 25), _log(0.0, 0.0, 0)]
    since = np.linspace(0.01, 1.0, 34)
    gap = np.column_stack([2.1 + since, 4.0 * since, 4.0 * since - 0.01])
    failure = np.zeros(len(failure_names(mission)))
    return Flown(Status.LANDED, 120.0, events, summary, np.zeros((0, 2)), body, joint, rule, canopy, failure, logs, [gap])


def _height(time):
    """Up to 300 m at 18 s, then down to the ground at 120 s, straight."""
    return np.interp(time, [0.0, 18.0, 120.0], [0.0, 300.0, 0.0])


def _log(start, end, rows):
    """A log of four fins: their columns hold 1, 2, 3, ... and the readings 100, 101, ..."""
    log = np.zeros((rows, layout.LOG_COLUMNS + 12 + len(layout.SENSED)))
    time = np.linspace(start, end, rows)
    log[:, Log.TIME], log[:, Log.EAST], log[:, Log.NORTH] = time, 3.0 * time, 4.0 * time
    log[:, Log.HEIGHT], log[:, Log.AIRSPEED] = _height(time), 30.0
    log[:, layout.LOG_COLUMNS : layout.LOG_COLUMNS + 12] = np.arange(1.0, 13.0)
    log[:, layout.LOG_COLUMNS + 12 :] = 100.0 + np.arange(len(layout.SENSED))
    return log


def staged_flight(demo, **changes) -> xr.Dataset:
    """The Dataset of `staged_flown`; `changes` are those of the mission."""
    mission = staged_mission(demo, **changes)
    return flight_dataset(mission, staged_flown(mission))


def staged_ensemble(demo, flights=20, **changes) -> xr.Dataset:
    """Flights that all are `staged_flown`, their pieces strewn about where that one's come down."""
    mission = staged_mission(demo, **changes)
    one = staged_flown(mission)
    facts = {name: np.repeat(np.asarray(getattr(one, name))[None], flights, axis=0) for name in Block._fields[1:]}
    east, north = BODY_FACTS.index("body_landing_east"), BODY_FACTS.index("body_landing_north")
    facts["body"][:, :, [east, north]] += np.random.default_rng(3).normal(size=(flights, 3, 2)) * (30.0, 10.0)
    facts["summary"][:, [Outcome.LANDING_EAST, Outcome.LANDING_NORTH]] = facts["body"][:, 0, [east, north]]
    track = np.zeros((flights, 0, 1 + len(TRACK)))
    return ensemble_dataset(mission, draw_table(mission, 1, 0, flights), Block(track=track, **facts), seed="1")
