"""A map over two gains: the worst margins of a flight's linear models, and how the real flight goes with each pair of gains."""

from __future__ import annotations

import copy
import math
import os
import queue
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import xarray as xr
from tqdm import tqdm

from sixdof.autopilot.gains import gains_table
from sixdof.draws.drawn import drawn_mission
from sixdof.draws.flight_draw import FlightDraw
from sixdof.draws.numbers import check_numbers
from sixdof.draws.packed import nominal_draw, one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.ensemble.signals import interruptible
from sixdof.flight.laws import bind
from sixdof.flight.model import log_rows
from sixdof.flight.plan import Plan, plan_of
from sixdof.flight.runner import FlightRunner
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.paths import NoPath, path_item
from sixdof.mission.units import QuantityError, shown
from sixdof.results.status import Status
from sixdof.study.loops.law_model import joined_gains, law_gains
from sixdof.study.loops.linear import CHANNELS, check_channel, linearise
from sixdof.study.loops.loop import OF_LOOPS, Loops, need_controls
from sixdof.study.loops.many_loops import many_margins
from sixdof.study.loops.sampled_plant import sampled_plant
from sixdof.study.probes.columns import Event, Log
from sixdof.study.probes.columns import layout as ly
from sixdof.study.reading.control_metrics import AT_RATE, AT_STOP, FLOW_SPEED, QUIET
from sixdof.study.reading.oscillation import reversals
from sixdof.study.reading.result import need_table

WHO = "gain_map"
OF_GAINS = ("roll", "pitch", "yaw", "schedule", "with_booster")  # tables of the autopilot that hold gains
MOST = 10_000  # pairs
MARGINS = {
    "gain_margin_db": ("dB", "worst gain margin"),
    "gain_reduction_db": ("dB", "worst gain-reduction margin"),
    "phase_margin": ("rad", "worst phase margin"),
    "delay_margin": ("s", "worst delay margin"),
    "distance": ("1", "least distance to the critical point |1 + L|"),
    "growth": ("1/s", "fastest growth of the least stable motion"),
}
FLOWN = {
    "error_rms": ("rad", "attitude error, root mean square"),
    "error_peak": ("rad", "attitude error, largest"),
    "saturation_share": ("1", "share of the time with a fin commanded to its stop"),
    "rate_limit_share": ("1", "share of the servos' time at their rate limit"),
    "reversals": ("1", "changes of sign of the body rate"),
}
_COLUMNS = {
    "pitch": (Log.COMMANDED_PITCH, Log.TILT_PITCH, Log.RATE_Y),
    "yaw": (Log.COMMANDED_YAW, Log.TILT_YAW, Log.RATE_Z),
    "roll": (Log.COMMANDED_ROLL, Log.ROLL, Log.RATE_X),
}


def gain_map(
    mission: Mission,
    path_x: str | Sequence[str],
    values_x: Sequence[float],
    path_y: str | Sequence[str],
    values_y: Sequence[float],
    *,
    models: xr.Dataset | None = None,
    channel: str | None = None,
    points: int = 12,
    flown: bool = True,
    flight: int | None = None,
    seed: int = 0,
    threads: int | None = None,
    progress: bool = True,
) -> xr.Dataset:
    """Return what every pair of two gains does: the worst margins along the flight, and one real flight each.

    progress : show a bar.

    Parameters
    ----------
    path_x, path_y : gains such as "autopilot.pitch.p", or several that are given the same value, such as ("autopilot.pitch.p",
        "autopilot.yaw.p"). values_x, values_y : numbers, SI.
    models : linear models as `linearise` returns them; omitted, `points` of them are taken along the flight as the mission has it.
    channel : "roll", "pitch" or "yaw"; omitted, those that the paths name, and then the worst of them counts.
    flown : fly the mission with each pair as well. flight, seed : a flight of `disperse(mission, ..., seed=seed)` in place of the
        mission as written; the map's values replace what it drew for the gains themselves. threads : that fly; None: one per core.

    Returns
    -------
    Dataset
        Dims named after the gains, such as pitch_p. Margins at the actuator, each the worst of all points (0 where a loop is unstable,
        NaN where nothing limits it), `stable`; with `flown` the attitude error (rad), shares at the fins' stops and at the rate limit and
        reversals of the body rate while the fins are live, as `control_metrics` has them, and `status`: a flight that diverged is NaN.
        Coordinates have the paths as attribute `path` and the mission's own value as `designed` (NaN if the paths have different ones).
        Ctrl-C returns what there is, with the attribute `interrupted`.

    Raises
    ------
    ValueError, TypeError
        For paths that are not gains or change nothing, values that a gain cannot have, or a channel that there is not.

    Examples
    --------
    >>> gains = {"autopilot.pitch.p": [0.3, 0.6], "autopilot.pitch.d": [0.05, 0.1]}
    >>> (x, values_x), (y, values_y) = gains.items()
    >>> shown = sixdof.loops.gain_map(mission, x, values_x, y, values_y, models=models, flown=False, progress=False)
    >>> shown.distance.dims
    ('pitch_p', 'pitch_d')
    """
    check_mission(mission, WHO)
    threads = _whole(threads, "threads", 64) if threads is not None else os.cpu_count() or 1
    _whole(points, "points", 10_000)
    check_numbers(WHO, flight, seed)
    x, y = (_Axis(mission, path, values, which) for path, values, which in ((path_x, values_x, "x"), (path_y, values_y, "y")))
    if set(x.paths) & set(y.paths):
        raise ValueError(f"{WHO}: {sorted(set(x.paths) & set(y.paths))[0]} is in both paths; vary two different gains")
    if x.values.size * y.values.size > MOST:
        raise ValueError(f"{WHO}: {x.values.size} by {y.values.size} pairs are more than {MOST}; take fewer values")
    channels = _channels(channel, x.paths + y.paths)
    draw = nominal_draw(mission) if flight is None else one_draw(pack_draws(mission, draw_table(mission, seed, flight, 1)), 0)
    own = drawn_mission(mission, draw.path, flight=flight)
    missions = _pairs(own, x, y)
    if models is None:
        models = linearise(mission, points=points, draw=draw)
    need_table(models, WHO, "loops.linearise", *OF_LOOPS)
    ds = _linear(own, missions, models, channels, x, y)
    ds.attrs = {"title": mission.title, "mission": mission.to_toml(), "channel": ", ".join(channels)}
    if not flown:
        return ds
    return _flown(ds, missions, draw, channels, (x, y), threads, progress)


def _whole(value, name: str, most: int) -> int:
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or not 1 <= value <= most:
        raise ValueError(f"{WHO}: {name} = {shown(value)} must be a whole number from 1 to {most}")
    return int(value)


def _channels(channel, paths: Sequence[str]) -> tuple[str, ...]:
    if channel is not None:
        check_channel(channel, CHANNELS, WHO)
        return (channel,)
    return tuple(name for name in CHANNELS if any(name in path.split(".") for path in paths))


# ---------------------------------------------------------------- the gains


class _Axis:
    """One axis of the map: its paths, its values (SI, ascending or not), its name and unit."""

    def __init__(self, mission: Mission, path, values, which: str):
        self.paths = (path,) if isinstance(path, str) else tuple(path) if isinstance(path, (tuple, list)) else ()
        if not self.paths or not all(isinstance(one, str) for one in self.paths):
            raise TypeError(f'{WHO}: path_{which} = {shown(path)} must be a path such as "autopilot.pitch.p", or several of them')
        for one in self.paths:
            steps = one.replace("[", ".").split(".")
            if steps[0] != "autopilot" or len(steps) < 3 or steps[1] not in OF_GAINS or steps[-1] not in ("p", "i", "d", "f"):
                raise ValueError(f'{WHO}: path_{which} has {shown(one)}, which is not a gain; a gain is a path such as "autopilot.pitch.p"')
        try:
            self.values = v = np.asarray(values, dtype=float)
        except (TypeError, ValueError):
            self.values = v = np.zeros(0)
        if v.ndim != 1 or not v.size or not np.isfinite(v).all() or np.unique(v).size < v.size:
            raise ValueError(f"{WHO}: values_{which} must be a list of different finite numbers, such as numpy.linspace(0.1, 0.8, 15)")
        names = [one.removeprefix("autopilot.").replace("[", "_").replace("]", "").replace(".", "_") for one in self.paths]
        self.name, self.places = "_and_".join(names), []
        own = {self._look(mission, one, which) for one in self.paths}
        self.own = own.pop() if len(own) == 1 else math.nan

    def _look(self, mission: Mission, path: str, which: str) -> float:
        """Return the mission's own value of a gain, and note its place; check that it can have the values and that it matters."""
        try:
            item = path_item(mission, path)
            for value in self.values:
                item.check(float(value))
        except NoPath as error:
            raise ValueError(f"{WHO}: path_{which} has {shown(path)}: {error}") from None
        except QuantityError as error:
            raise ValueError(f"{WHO}: values_{which}: {path} = {error.message}; {error.hint}") from None
        if np.array_equal(gains_table(_put(mission, item.loc, item.own + 1.0)), gains_table(mission)):
            raise ValueError(f"{WHO}: {path} changes nothing in this mission; a schedule takes the place of pitch, yaw and roll")
        self.places.append(item.loc)
        return float(item.own)

    def coordinate(self) -> tuple:
        unit = {"p": "1", "i": "1/s", "d": "s", "f": "s"}[self.paths[0][-1]]
        text = ", ".join(one.removeprefix("autopilot.").replace(".", " ") for one in self.paths)
        return self.name, self.values, {"units": unit, "long_name": text, "path": ", ".join(self.paths), "designed": float(self.own)}


def _put(node, loc: tuple, value: float):
    """Return a mission, or a table or list of it, with the number at a place replaced; what lies beside the way is shared."""
    if not loc:
        return value
    if isinstance(node, tuple):
        return tuple(_put(each, loc[1:], value) if k == loc[0] else each for k, each in enumerate(node))
    return node.model_copy(update={loc[0]: _put(getattr(node, loc[0]), loc[1:], value)})


def _pairs(mission: Mission, x: _Axis, y: _Axis) -> list[Mission]:
    """Return the mission of every pair, those of one x after the other; the ends of both ranges together are checked as missions."""
    for a in (x.values.min(), x.values.max()):
        for b in (y.values.min(), y.values.max()):
            mission.change(dict.fromkeys(x.paths, float(a)) | dict.fromkeys(y.paths, float(b)))
    found = []
    for a in x.values:
        for b in y.values:
            each = mission
            for axis, value in ((x, a), (y, b)):
                for loc in axis.places:
                    each = _put(each, loc, float(value))
            found.append(each)
    return found


# ---------------------------------------------------------------- linear


def _linear(own: Mission, missions: Sequence[Mission], models: xr.Dataset, channels, x: _Axis, y: _Axis) -> xr.Dataset:
    """Return the worst margins of every pair; the plants' answers are computed once."""
    need_controls(models, WHO)
    gains = joined_gains([law_gains(models, each) for each in missions])
    n, pairs = models.sizes["point"], len(missions)
    each = [many_margins(Loops(sampled_plant(models, own, channel), gains, np.tile(np.arange(n), pairs))) for channel in channels]
    shape, dims = (x.values.size, y.values.size), (x.name, y.name)
    stacked = {name: np.stack([one[name].reshape(pairs, n) for one in each], axis=2).reshape(pairs, -1) for name in each[0]}
    entries = {}
    for name, (units, text) in MARGINS.items():
        worst = stacked[name].max(axis=1) if name == "growth" else np.fmin.reduce(stacked[name], axis=1)
        entries[name] = (dims, worst.reshape(shape), {"units": units, "long_name": text})
    entries["stable"] = (dims, stacked["stable"].all(axis=1).reshape(shape), {"units": "1", "long_name": "the loops are stable at all points"})
    return xr.Dataset(entries, {axis.name: axis.coordinate() for axis in (x, y)})


# ---------------------------------------------------------------- flown


def _flown(ds: xr.Dataset, missions: Sequence[Mission], draw: FlightDraw, channels, axes, threads: int, progress: bool) -> xr.Dataset:
    """Fly every pair and add what came of it."""
    x, y = axes
    runner = _GainRunner(missions[0], draw, channels)
    values, status = np.full((len(missions), len(FLOWN)), np.nan), np.full(len(missions), -1, dtype=np.int8)
    bar, done = tqdm(total=len(missions), unit="flight", disable=not progress, desc="gain map"), 0
    pool = ThreadPoolExecutor(threads)
    try:
        with interruptible() as stop:
            first = pool.submit(runner.run, missions[0])
            first.result()  # compiles, or loads what is compiled, once
            for start in range(0, len(missions), 4 * threads):
                if stop.is_set():
                    break
                rows = range(start, min(start + 4 * threads, len(missions)))
                for k, (code, found) in zip(rows, pool.map(runner.run, [missions[k] for k in rows])):
                    status[k], values[k] = code, found
                done += len(rows)
                bar.update(len(rows))
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        bar.close()
    shape, dims = (x.values.size, y.values.size), (x.name, y.name)
    entries = {name: (dims, values[:, k].reshape(shape), {"units": units, "long_name": text}) for k, (name, (units, text)) in enumerate(FLOWN.items())}
    meanings = " ".join(["not_flown", *(s.name.lower() for s in Status)])
    codes = {"flag_values": np.array([-1, *(int(s) for s in Status)], dtype=np.int8), "flag_meanings": meanings}
    entries["status"] = (dims, status.reshape(shape), {"units": "1", "long_name": "how the flight ended", **codes})
    ds = ds.assign(entries)
    if done < len(missions):
        ds.attrs["interrupted"] = f"{done} of {len(missions)} pairs are flown"
    return ds


class _GainRunner:
    """Flies one draw with other gains: threads share the tables of everything else."""

    def __init__(self, mission: Mission, draw: FlightDraw, channels: Sequence[str]):
        self.draw, self.channels = draw, channels
        self.plan, self.laws = plan_of(mission), bind(None, None)
        for last in range(self.plan.count):  # the front body in every state that it may fly in
            self.plan.model(0, last)
        self.rows = log_rows(self.plan.model(0, self.plan.count - 1))
        self.runners = queue.SimpleQueue()

    def plan_of(self, mission: Mission) -> Plan:
        """Return the plan of a mission that differs in its gains alone."""
        plan, gains = copy.copy(self.plan), gains_table(mission)
        plan.mission = mission
        plan.models = {key: model._replace(computer=model.computer._replace(gains=gains)) for key, model in list(self.plan.models.items())}
        return plan

    def run(self, mission: Mission) -> tuple[int, list[float]]:
        """Return how the flight ended, and the values of FLOWN; NaN for a flight that means nothing."""
        try:
            runner = self.runners.get_nowait()
        except queue.Empty:
            runner = FlightRunner(self.plan, self.laws, self.rows)
        runner.plan = self.plan_of(mission)
        flown = runner.run(self.draw, log_others=False)
        if flown.status in (Status.NO_LIFTOFF, Status.DIVERGED):
            found = [math.nan] * len(FLOWN)
        else:
            found = live_metrics(flown.logs[0], flown.events[0], mission, self.channels)
        self.runners.put(runner)
        return int(flown.status), found


def live_metrics(log: np.ndarray, events: np.ndarray, mission: Mission, channels: Sequence[str]) -> list[float]:
    """Return the values of FLOWN, as `control_metrics` defines them for the phase "live", from a body's log; the worst channel counts.

    log : (rows, all columns), fins behind LOG_COLUMNS. events : (events, EVENT_COLUMNS). NaN where the fins were never live.
    """
    time = log[:, Log.TIME]
    start, stop, apogee = (events[k, 0] for k in (Event.FINS_ENABLED, Event.FINS_DISABLED, Event.APOGEE))
    # comparisons with NaN are false
    live = log[(time >= start) & ~(time > stop) & ~(time > apogee) & (log[:, Log.AIRSPEED] > FLOW_SPEED)]
    fins = (log.shape[1] - ly.LOG_COLUMNS - len(ly.SENSED)) // 3
    if len(live) < 2 or not fins:
        return [math.nan] * len(FLOWN)
    errors, turns = [], []
    for goal, angle, rate in (_COLUMNS[name] for name in channels):
        errors.append(np.mod(live[:, goal] - live[:, angle] + math.pi, 2.0 * math.pi) - math.pi)
        turns.append(reversals(live[:, rate], QUIET))
    position, command = (live[:, ly.LOG_COLUMNS + k * fins : ly.LOG_COLUMNS + (k + 1) * fins] for k in (0, 1))
    moved, step = np.abs(np.diff(position, axis=0)), np.diff(live[:, Log.TIME])[:, None]
    there = np.isfinite(moved)
    return [
        max(float(np.sqrt(np.mean(np.square(error)))) for error in errors),
        max(float(np.abs(error).max()) for error in errors),
        float((np.fmax.reduce(np.abs(command), axis=1) >= AT_STOP * mission.servo.deflection_limit).mean()),
        float((moved > AT_RATE * mission.servo.rate_limit * step)[there].mean()) if there.any() else math.nan,
        float(max(turns)),
    ]
