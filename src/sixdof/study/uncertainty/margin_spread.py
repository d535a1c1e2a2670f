"""Margins of the attitude loops over an ensemble: every drawn flight has its own path, its own linear models, its own loops."""

from __future__ import annotations

import queue
import warnings
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field

import numpy as np
import xarray as xr
from tqdm import tqdm

from sixdof.draws.drawn import drawn_mission
from sixdof.draws.flight_draw import FlightDraw
from sixdof.draws.given import check_draws
from sixdof.draws.numbers import check_numbers
from sixdof.draws.packed import one_draw, pack_draws
from sixdof.draws.table import FAILED, make_draws
from sixdof.ensemble.signals import interruptible
from sixdof.flight.laws import bind
from sixdof.flight.model import log_rows
from sixdof.flight.plan import Plan, plan_of
from sixdof.flight.runner import FlightRunner
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.results.dataset import input_name
from sixdof.results.status import Status
from sixdof.study.loops.law_model import settings
from sixdof.study.loops.linear import CHANNELS, models_along
from sixdof.study.loops.linear_flight import MOST_POINTS, Track, pick_rows, track_of, usable
from sixdof.study.loops.loop import NO_LOOPS, changed_by, check_bending, loops_of
from sixdof.study.loops.many_loops import many_margins, together
from sixdof.study.loops.margins import REQUIRED_GAIN_DB, REQUIRED_PHASE
from sixdof.study.loops.sampled_plant import BendingMode
from sixdof.study.uncertainty.robust_margins import check_requirement, robust_margins, spread_report, worst_draws

__all__ = ["margin_spread", "robust_margins", "spread_report", "with_gains", "worst_draws"]

FLIGHTS = 100  # where no number is given
WORKERS = 2  # threads that fly while this one works on what is flown; more would wait for it
TOGETHER = 8  # flights whose loops are worked on at a time: numpy's cost for each call is shared, Ctrl-C is heard in time
AHEAD = 4  # flights waiting for each worker
WHO = "margin_spread"
VARIABLES = {
    "gain_margin_db": ("dB", "gain margin"),
    "gain_reduction_db": ("dB", "gain-reduction margin"),
    "phase_margin": ("rad", "phase margin"),
    "delay_margin": ("s", "delay margin"),
    "distance": ("1", "least distance to the critical point |1 + L|"),
    "growth": ("1/s", "growth rate of the least stable motion"),
}
ALONG = {"time": ("s", "time since ignition"), "mach": ("1", "Mach number"), "dynamic_pressure": ("Pa", "dynamic pressure"), "incidence": ("rad", "incidence")}


def margin_spread(
    mission: Mission,
    flights: int | None = None,
    *,
    seed: int = 0,
    draws: xr.Dataset | None = None,
    points: int = 15,
    channels: str | Sequence[str] = CHANNELS,
    gains=None,
    bending: BendingMode | None = None,
    gain_db: float = REQUIRED_GAIN_DB,
    phase: float = REQUIRED_PHASE,
    progress: bool = True,
) -> xr.Dataset:
    """Return the margins at the actuator of every drawn flight, from linear models along its own path.

    Flight i is flight i of `disperse(mission, ..., seed=seed)`; its drawn masses, air, servo speed and gain factors are in its loops.

    progress : show a bar.

    Parameters
    ----------
    flights : how many; omitted, 100, or all rows of `draws`.
    draws : a custom table of draws (see `sixdof.stats.make_draws`) in place of the seed.
    points : linear models a flight, equally spaced over the time in which its fins are live.
    gains : None, what `tune` returns, changes as `Mission.change` takes, or a Mission whose autopilot is meant; flown, too.
    bending : a `BendingMode` of the airframe.
    gain_db, phase : the requirement (dB, rad) that `robust_margins` and the figure go by; kept as attributes.

    Returns
    -------
    Dataset
        Dims flight, point, channel: margins (see `margins.margins`), growth and `stable`; time, Mach number, dynamic pressure and
        incidence by flight and point; `status` of each flight and its drawn inputs, named as `disperse` names them. A flight that has no linear models
        (it diverged, or never flew free) is a row of NaN. Ctrl-C returns the flights finished by then, with the attribute
        `interrupted`; a second Ctrl-C stops at once.

    Raises
    ------
    ValueError, TypeError
        For numbers, channels, draws or gains that make no sense. MissionError, naming the flight, where a draw makes no sound mission.

    Examples
    --------
    >>> spread = sixdof.loops.margin_spread(mission, 4, seed=1, points=4, progress=False)
    >>> spread.gain_margin_db.dims
    ('flight', 'point', 'channel')
    """
    check_mission(mission, WHO)
    mission = with_gains(mission, gains, WHO)
    chosen = _channels(channels)
    if isinstance(points, bool) or not isinstance(points, (int, np.integer)) or not 1 <= points <= MOST_POINTS:
        raise ValueError(f"{WHO}: points = {shown(points)} must be a whole number from 1 up, {MOST_POINTS} at most")
    check_requirement(gain_db, phase, WHO)
    check_bending(bending, WHO)
    check_numbers(WHO, None, seed)
    if not any(part.kind == "fins" and part.control for stage in mission.stage for part in stage.part):
        raise ValueError(f"{WHO}: {NO_LOOPS}")
    table = _table(mission, flights, seed, draws)
    found = _Found(mission, table.sizes["flight"], int(points), chosen, bending)
    done = _fly_all(found, pack_draws(mission, table), table["flight"].values, progress)
    ds = found.dataset(table, done)
    ds.attrs = {
        "title": mission.title,
        "mission": mission.to_toml(),
        "seed": str(table.attrs["seed"]),
        "sampling": table.attrs["sampling"],
        "gain_db": float(gain_db),
        "phase": float(phase),
    }
    if done < table.sizes["flight"]:
        ds.attrs["interrupted"] = f"{done} of {table.sizes['flight']} flights are finished"
    return ds


def with_gains(mission: Mission, gains, who: str) -> Mission:
    """Return the mission with other gains: None for its own, a Mission whose autopilot is taken, changes, or what has `changes`."""
    if isinstance(gains, Mission):
        return mission.change({"autopilot": gains.autopilot.model_dump()})
    return changed_by(mission, gains, who)


def _channels(names) -> tuple[str, ...]:
    try:
        chosen = (names,) if isinstance(names, str) else tuple(names)
    except TypeError:
        chosen = ()
    wrong = [name for name in chosen if not isinstance(name, str) or name not in CHANNELS]
    if wrong or not chosen or len(set(chosen)) < len(chosen):
        raise ValueError(f"{WHO}: channels = {shown(names)} must name some of {', '.join(CHANNELS)}, each once")
    return chosen


def _table(mission: Mission, flights, seed, draws) -> xr.Dataset:
    if draws is None and flights is not None and (isinstance(flights, bool) or not isinstance(flights, (int, np.integer)) or flights < 1):
        raise ValueError(f"{WHO}: flights = {shown(flights)} must be a whole number from 1 up")
    if draws is None:
        return make_draws(mission, FLIGHTS if flights is None else flights, seed=seed)
    table = check_draws(mission, draws).sortby("flight")
    if flights is not None and (isinstance(flights, bool) or not isinstance(flights, (int, np.integer)) or not 1 <= flights <= table.sizes["flight"]):
        raise ValueError(f"{WHO}: flights = {shown(flights)} must be a whole number from 1 to the {table.sizes['flight']} rows of draws")
    return table.isel(flight=slice(0, flights))


# ---------------------------------------------------------------- flying


class TrackRunner:
    """Flies draws of one mission for linear models: threads share it, tables are made once where no dispersed path changes them."""

    def __init__(self, mission: Mission):
        self.mission, self.laws = mission, bind(None, None)
        self.plan = plan_of(mission, log_rate=mission.autopilot.rate)
        self.rows = log_rows(self.plan.model(0, self.plan.count - 1))
        self.runners = queue.SimpleQueue()

    def run(self, draw: FlightDraw, number: int) -> tuple[Status, Track | None]:
        """Return how one flight ended, and its track; None where nothing can be linearised along it."""
        try:
            runner = self.runners.get_nowait()
        except queue.Empty:
            runner = FlightRunner(self.plan, self.laws, self.rows)
        mission, plan = self.mission, self.plan
        if draw.path.size:
            mission = drawn_mission(mission, draw.path, flight=number)
            plan = Plan(mission, log_rate=self.plan.log_rate)
        runner.plan = plan
        flown = runner.run(draw, log_others=False)
        self.runners.put(runner)
        status = Status(flown.status)
        if status in (Status.NO_LIFTOFF, Status.DIVERGED) or not len(flown.logs[0]):
            return status, None
        track = track_of(mission, plan, draw, flown)
        return status, track if usable(track).any() else None


def _fly_all(found: _Found, packed: FlightDraw, numbers: np.ndarray, progress: bool) -> int:
    """Fly all draws and take their margins; return how many are done."""
    runner = TrackRunner(found.mission)
    bar = tqdm(total=len(numbers), unit="flight", disable=not progress, desc="margins")
    pool = ThreadPoolExecutor(WORKERS)
    try:
        with interruptible() as stop:
            for batch in _batches(pool, runner, packed, numbers):
                if stop.is_set():
                    break
                found.take(batch)
                bar.update(len(batch))
    finally:
        pool.shutdown(wait=True, cancel_futures=True)
        bar.close()
    return found.done


def _batches(pool, runner: TrackRunner, packed: FlightDraw, numbers: np.ndarray) -> Iterator[list]:
    """Yield what the flights left, a few at a time in their order; the next ones fly meanwhile."""
    count, waiting = len(numbers), []
    for start in range(0, count, TOGETHER):
        stop = min(start + TOGETHER, count)
        for i in range(start + len(waiting), min(stop + AHEAD * WORKERS, count)):
            waiting.append(pool.submit(runner.run, one_draw(packed, i), int(numbers[i])))
        own, waiting = waiting[: stop - start], waiting[stop - start :]
        yield [future.result() for future in own]


@dataclass
class _Found:
    """What flights left so far: margins (flights, points, channels), what lies along them, how each ended."""

    mission: Mission
    flights: int
    points: int
    channels: tuple[str, ...]
    bending: BendingMode | None
    done: int = 0
    values: dict[str, np.ndarray] = field(default_factory=dict)

    def __post_init__(self):
        shape = (self.flights, self.points)
        self.values = {name: np.full((*shape, len(self.channels)), np.nan) for name in VARIABLES}
        self.values |= {name: np.full(shape, np.nan) for name in ALONG}
        self.values["stable"] = np.zeros((*shape, len(self.channels)), dtype=bool)
        self.status = np.zeros(self.flights, dtype=np.int8)

    def take(self, batch: list[tuple[Status, Track | None]]) -> None:
        """Take linear models and margins of the next flights."""
        rows = range(self.done, self.done + len(batch))
        models = {}
        for i, (status, track) in zip(rows, batch):
            self.status[i] = status
            if track is not None:
                with warnings.catch_warnings():  # a kink at one point of one flight of many is not worth a warning
                    warnings.simplefilter("ignore", UserWarning)
                    models[i] = (track.mission, models_along(track, pick_rows(track, WHO, points=self.points)))
                for name in ALONG:
                    self.values[name][i, : models[i][1].sizes["point"]] = models[i][1][name].values
        self.done += len(batch)
        for c, channel in enumerate(self.channels if models else ()):
            self._channel(c, channel, models)

    def _channel(self, c: int, channel: str, models: dict) -> None:
        loops = [loops_of(each, mission, channel, self.bending) for mission, each in models.values()]
        alike = len({(one.plant.ticks, one.plant.period, *(each.states for each in one.plant.blocks), *settings(one.gains)) for one in loops}) == 1
        found = many_margins(together(loops)) if alike else None
        start = 0
        for (i, (_, each)), one in zip(models.items(), loops):
            n = each.sizes["point"]
            own = many_margins(one) if found is None else {name: values[start : start + n] for name, values in found.items()}
            start += n
            for name, values in own.items():
                self.values[name][i, :n, c] = values

    def dataset(self, table: xr.Dataset, done: int) -> xr.Dataset:
        """Return the flights that are done, with their draws."""
        dims = ("flight", "point", "channel")
        entries = {name: (dims, self.values[name][:done], {"units": units, "long_name": text}) for name, (units, text) in VARIABLES.items()}
        entries["stable"] = (dims, self.values["stable"][:done], {"units": "1", "long_name": "the closed loop is stable"})
        meanings = {"flag_values": np.array([int(s) for s in Status], dtype=np.int8), "flag_meanings": " ".join(s.name.lower() for s in Status)}
        entries["status"] = ("flight", self.status[:done], {"units": "1", "long_name": "how the flight ended", **meanings})
        table = table.isel(flight=slice(0, done))
        for name, variable in table.data_vars.items():
            if "role" in variable.attrs:
                entries[input_name(str(name))] = (variable.dims, variable.values, {**variable.attrs, "disperses": name})
        if FAILED in table:
            entries[FAILED] = table[FAILED].variable
        coords = {name: (dim.dims, dim.values, dict(dim.attrs)) for name, dim in table.coords.items()}
        coords |= {name: (dims[:2], self.values[name][:done], {"units": u, "long_name": text}) for name, (u, text) in ALONG.items()}
        return xr.Dataset(entries, coords | {"channel": ("channel", list(self.channels), {"long_name": "channel"})})
