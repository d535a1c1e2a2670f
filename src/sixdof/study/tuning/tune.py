"""`tune`: from a specification to gains with a schedule, checked on the flight that they fly."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np
import xarray as xr
from tqdm import tqdm

from sixdof.draws.numbers import check_numbers
from sixdof.mission.errors import suggestion
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import shown
from sixdof.study.loops.linear import CHANNELS, linearise
from sixdof.study.loops.linear_flight import MOST_POINTS
from sixdof.study.loops.loop import check_bending
from sixdof.study.loops.margins import margins, within
from sixdof.study.loops.sampled_plant import BendingMode
from sixdof.study.tuning.design import Design
from sixdof.study.tuning.problem import Demands, DesignProblem, make_problem
from sixdof.study.tuning.search import NoDesign, search
from sixdof.study.tuning.tuned import Tuned

SCHEDULES = ("mach", "dynamic_pressure", "scale", "none")
PASSES = 3  # new gains fly another flight: design, fly, look, at most so often
PATIENCE = 4.0  # s before a bar is shown
DIGITS = 3  # of a gain, as a person types it
SETTLED = 0.03  # a least |1 + L| that changes by less from one flight to the next has settled


@dataclass(frozen=True)
class Specification:
    """What is asked of the attitude loops.

    bandwidth : rad/s, at least: of the first-order lag that follows a step of the goal with the same integral of the squared error; None:
        `reserve` of the quickest that the rest allows, where quick is how fast a goal is followed times how stiff an offset of the fins is borne.
    damping : of the second-order answer with the highest peak allowed (angle per goal).
    gain_margin_db, phase_margin_deg : and everything between the two in the Nichols plane (an ellipse about the critical point).
    servo_share : of the servos' travel and rate that may be used by a step of the goal (goal_step_deg) and by a sinusoidal gust across the
        axis (gust, m/s) at its worst frequency. integral : least i/p (in a cascade i/d), 1/s; 0 designs without an integral part.
    schedule : "mach" (rows over Mach number, scaled by dynamic pressure), "dynamic_pressure" (rows over it), "scale" (one set, scaled by
        dynamic pressure), "none" (one set). rows : of the schedule. channels : what is designed; others stay as they are.
    """

    bandwidth: float | None = None
    damping: float = 0.5
    gain_margin_db: float = 6.0
    phase_margin_deg: float = 45.0
    servo_share: float = 0.8
    goal_step_deg: float = 3.0
    gust: float = 2.0
    integral: float = 0.5
    reserve: float = 0.8
    schedule: str = "mach"
    rows: int = 5
    channels: tuple[str, ...] = ("pitch", "yaw", "roll")

    def __post_init__(self):
        for name in ("damping", "gain_margin_db", "phase_margin_deg", "servo_share", "goal_step_deg", "reserve", "bandwidth"):
            value = getattr(self, name)
            if not (name == "bandwidth" and value is None) and not _number(value, above=0.0):
                raise ValueError(f"tune: {name} = {shown(value)} must be a number above 0")
        for name, most in (("gain_margin_db", 100.0), ("damping", 1.0), ("phase_margin_deg", 90.0), ("servo_share", 1.0), ("reserve", 1.0)):
            if getattr(self, name) > most:
                raise ValueError(f"tune: {name} = {shown(getattr(self, name))} must be at most {most:g}")
        for name in ("gust", "integral"):
            if not _number(getattr(self, name), least=0.0):
                raise ValueError(f"tune: {name} = {shown(getattr(self, name))} must be a number from 0 up")
        if not isinstance(self.schedule, str) or self.schedule not in SCHEDULES:
            raise ValueError(f"tune: schedule = {shown(self.schedule)}; {suggestion(str(self.schedule), SCHEDULES, 'it may be')}")
        if isinstance(self.rows, bool) or not isinstance(self.rows, int) or not 2 <= self.rows <= 20:
            raise ValueError(f"tune: rows = {shown(self.rows)} must be a whole number from 2 to 20")
        try:
            channels = (self.channels,) if isinstance(self.channels, str) else tuple(self.channels)
        except TypeError:
            channels = ()
        if not channels or any(not isinstance(c, str) or c not in CHANNELS for c in channels):
            raise ValueError(f"tune: channels = {shown(self.channels)} must name some of pitch, yaw, roll")
        object.__setattr__(self, "channels", channels)


def _number(value, *, above: float = -math.inf, least: float = -math.inf) -> bool:
    return isinstance(value, (int, float)) and not isinstance(value, bool) and math.isfinite(value) and value > above and value >= least


def specification_of(spec) -> Specification:
    """Return a Specification from one, from a dictionary of its fields, or from None. Raises ValueError for a field there is not."""
    if spec is None or isinstance(spec, Specification):
        return spec or Specification()
    if not isinstance(spec, Mapping):
        raise TypeError(f'tune: spec must be a Specification or a dictionary such as {{"phase_margin_deg": 50.0}}, not {shown(spec)}')
    known = [field.name for field in fields(Specification)]
    for name in spec:
        if name not in known:
            raise ValueError(f"tune: there is no {shown(name)} in a specification; {suggestion(str(name), known, 'it has')}")
    return Specification(**spec)


def tune(
    mission: Mission,
    spec: Specification | Mapping[str, Any] | None = None,
    *,
    points: int = 30,
    flights: Sequence[int] = (),
    seed: int = 0,
    bending: BendingMode | None = None,
    progress: bool = True,
) -> Tuned:
    """Return gains for the built-in control law that meet a specification along the flight they make, and what limits them.

    The loops are those that fly: linear models of the kernel at `points` moments of the flight, the sampled law in the structure the
    mission has (pid or cascade, filters, notch), hold, delays, servo, gyro lag. Pole placements that are exact in the sampled loop give
    a start; a sequence of linear programs then makes it as quick as the specification allows, and spends what `reserve` gives up
    on the worst margin. Pitch and yaw share their gains. The new gains are flown, linearised and judged again, up to three times; they
    are rounded to three digits before they are judged.

    Parameters
    ----------
    spec : Specification, a dictionary of its fields, or None for 6 dB, 45 deg and the rest as `Specification` says.
    points : linear models of the nominal flight; a third as many of each drawn one.
    flights, seed : flights of `disperse(mission, seed=seed)` on which the gains must hold as well as on the mission as written, such as the
        worst ones that `sixdof.loops.worst_draws` names.
    bending : a `BendingMode` to be borne as well. progress : a bar on stderr, if it takes longer than some seconds.

    Returns
    -------
    Tuned
        `mission` with the new gains, `changes` for `Mission.change`, `fragment()` for the mission file, margins before and after; printed,
        it explains itself.

    Raises
    ------
    ValueError
        For what is not a specification, a vehicle without control fins, or loops that no gains make stable all along.

    Examples
    --------
    >>> asked = {"phase_margin_deg": 45.0, "gain_margin_db": 6.0, "schedule": "none", "channels": ["roll"]}
    >>> tuned = sixdof.tune(mission, asked, points=4, progress=False)
    >>> tuned.met
    True
    """
    check_mission(mission, "tune")
    spec = specification_of(spec)
    check_bending(bending, "tune")
    if isinstance(points, bool) or not isinstance(points, (int, np.integer)) or not 1 <= points <= MOST_POINTS:
        raise ValueError(f"tune: points = {shown(points)} must be a whole number from 1 up, {MOST_POINTS} at most")
    drawn = _numbers(flights, seed)
    count = {flight: points if flight is None else max(points // 3, min(points, 8)) for flight in drawn}
    before = [_models(mission, count[flight], flight, seed) for flight in drawn]
    models, new, designs, last = before, mission, [], math.inf
    with tqdm(total=PASSES, unit="pass", desc="tune", delay=PATIENCE, disable=not progress) as bar:
        for number in range(PASSES):
            changes, designs = _design([within(each) for each in models], mission, spec, bending)
            new = mission.change(changes)
            models = [linearise(new, points=count[flight], flight=flight, seed=seed) for flight in drawn]
            worst = min(_least_distance(each, spec, bending) for each in models)
            bar.update()
            if number and abs(worst - last) < SETTLED:
                break
            last = worst
    inside = [within(each) for each in models]
    judged = [design.again(_problem(inside, new, design.channels, design.rows_at, design.over, spec, bending, design.booster)) for design in designs]
    return Tuned(mission, new, changes, spec, judged, before[0], models[0], dict(zip(drawn[1:], models[1:])), bending)


def _numbers(flights, seed) -> list[int | None]:
    """Return the flights to design on, the nominal one (None) first."""
    if isinstance(flights, (int, np.integer)) and not isinstance(flights, bool):
        flights = (flights,)
    try:
        found = [None, *flights]
    except TypeError:
        raise ValueError(f"tune: flights = {shown(flights)} must be numbers of flights, such as [3, 17]") from None
    for flight in found:
        check_numbers("tune", flight, seed)
    return [None, *(int(flight) for flight in dict.fromkeys(found[1:]))]


def _least_distance(models: xr.Dataset, spec: Specification, bending) -> float:
    return float(margins(within(models), channels=spec.channels, broken_at=("actuator",), bending=bending)["distance"].min())


def _models(mission: Mission, points: int, flight, seed) -> xr.Dataset:
    """Return linear models along the mission's own flight, or, where its gains fly it to pieces, along one without control."""
    try:
        models = linearise(mission, points=points, flight=flight, seed=seed)
    except ValueError:
        calm = mission.change({"autopilot.schedule": [], "autopilot.pitch": {}, "autopilot.yaw": {}, "autopilot.roll": {}, "autopilot.with_booster": None})
        models = linearise(calm, points=points, flight=flight, seed=seed).assign_attrs(mission=mission.to_toml())
    if not models.sizes["fin"] or not np.abs(models["effectiveness"].values).max() > 0.0:
        raise ValueError("tune: this vehicle has no control fins that work along its flight: set control = true on a fin set, and enable the fins")
    return models


# ---------------------------------------------------------------- one design


def _design(models: list[xr.Dataset], mission: Mission, spec: Specification, bending) -> tuple[dict, list[Design]]:
    """Return the changes that put new gains into the mission, and how they were found."""
    groups = [g for g in (tuple(c for c in ("pitch", "yaw") if c in spec.channels), tuple(c for c in ("roll",) if c in spec.channels)) if g]
    structure = _structure(models, mission, spec)
    base = mission.change(structure)
    alone, joined = (_where(models, booster) for booster in (False, True))
    over, rows = _rows(alone, spec) if alone else ("", np.zeros(1))
    designs = []
    for channels in groups:
        if alone:
            designs.append(_searched(models, base, channels, rows, over, spec, bending, False))
        if joined:
            designs.append(_searched(models, base, channels, np.zeros(1), "", spec, bending, True))
    return structure | _gains(mission, designs, rows, over), designs


def _where(models: list[xr.Dataset], booster: bool) -> list[xr.Dataset]:
    """Return the models with, or without, a booster attached; flights that have none are omitted."""
    parts = [each.isel(point=np.flatnonzero((each["booster"].values > 0.5) == booster)) for each in models]
    return [part for part in parts if part.sizes["point"]]


def _searched(models, base: Mission, channels, rows, over: str, spec: Specification, bending, booster: bool) -> Design:
    problem = _problem(models, base, channels, rows, over, spec, bending, booster)
    bad = problem.effect <= 0.0
    if bad.any():
        where = "with the booster on, " if booster else ""
        raise ValueError(
            f"tune: {where}{channels[0]} demands turn the vehicle the wrong way at {int(bad.sum())} of {bad.size} points: no positive gains can "
            f'hold it; leave {channels[0]} out of channels, or keep the fins centred there (a rule with booster = "separated")'
        )
    try:
        found = search(problem, len(rows), spec.bandwidth, spec.reserve)
    except NoDesign:
        raise ValueError(
            f"tune: no gains of {' and '.join(channels)} that were tried are stable all along the flight; shorter delays, a faster servo, or more "
            "static margin would help: see sixdof.study.loops.linear.modes for what diverges"
        ) from None
    rounded = np.array([[_rounded(value) for value in row] for row in found.rows])
    return Design(channels, booster, over, rows, rounded, found.fastest, problem.answer(*problem.at_points(rounded)), found.attained)


def _problem(models, mission: Mission, channels, rows, over: str, spec: Specification, bending, booster: bool) -> DesignProblem:
    own = _where(models, booster)
    weights = []
    for each in own:
        x = each["sensed_mach" if over == "mach" else "sensed_pressure"].values
        weights.append(np.stack([np.interp(x, rows, e) for e in np.eye(len(rows))], axis=1) if over else np.ones((len(x), 1)))
    return make_problem(own, mission, channels, _demands(mission, spec), weights, bending)


def _demands(mission: Mission, spec: Specification) -> Demands:
    servo = mission.servo
    return Demands(
        spec.gain_margin_db,
        math.radians(spec.phase_margin_deg),
        _peak_of(spec.damping),
        spec.servo_share * servo.deflection_limit,
        spec.servo_share * servo.rate_limit,
        math.radians(spec.goal_step_deg),
        spec.gust,
        spec.integral,
    )


def _peak_of(damping: float) -> float:
    """Return the resonance peak of a second-order lag, 1/(2 z sqrt(1 - z^2)), 1 from z = sqrt(1/2) up (any text, e.g. Ogata 2010, section 7.7)."""
    return 1.0 / (2.0 * damping * math.sqrt(1.0 - damping**2)) if damping < math.sqrt(0.5) else 1.0


# ---------------------------------------------------------------- into the mission


def _rounded(value: float, digits: int = DIGITS) -> float:
    return float(f"{value:.{digits}g}")


def _rows(models: list[xr.Dataset], spec: Specification) -> tuple[str, np.ndarray]:
    """Return what the schedule runs over ("" for one set) and its rows, rounded outwards so that they span the flight."""
    if spec.schedule in ("scale", "none"):
        return "", np.zeros(1)
    mach = spec.schedule == "mach"
    values = np.concatenate([each["sensed_mach" if mach else "sensed_pressure"].values for each in models])
    low, high = values.min(), values.max()
    if not high > 1.05 * low:
        return "", np.zeros(1)  # the flight stays at one place of the schedule
    rows = np.linspace(low, high, spec.rows) if mach else np.geomspace(low, high, spec.rows)
    return spec.schedule, np.array([_rounded(row) for row in rows])


def _structure(models: list[xr.Dataset], mission: Mission, spec: Specification) -> dict:
    """Return the changes that make the autopilot's schedule what the specification says, without gains yet."""
    autopilot = mission.autopilot
    scaled = spec.schedule in ("mach", "scale")
    changes: dict[str, Any] = {"autopilot.schedule": [], "autopilot.schedule_over": "dynamic_pressure"}
    if not scaled:
        if autopilot.gain_reference_q is not None and autopilot.with_booster is not None:
            raise ValueError(
                f'tune: the gains with a booster of this mission are scaled by gain_reference_q, and schedule = "{spec.schedule}" leaves that out; '
                'use "mach" or "scale", or remove autopilot.with_booster'
            )
        return changes | {"autopilot.gain_reference_q": None}
    pressure = np.concatenate([each["sensed_pressure"].values for each in models])
    reference = autopilot.gain_reference_q or _rounded(math.sqrt(pressure.min() * pressure.max()), 2)
    limits = [_outwards(reference / pressure.max(), math.floor), _outwards(reference / pressure.min(), math.ceil)]
    return changes | {"autopilot.gain_reference_q": reference, "autopilot.gain_scale_limits": limits}


def _outwards(value: float, up_or_down) -> float:
    """Return a positive number rounded to two digits, up or down."""
    unit = 10.0 ** (math.floor(math.log10(value)) - 1)
    return _rounded(unit * up_or_down(value / unit), 2)


def _gains(mission: Mission, designs: list[Design], rows: np.ndarray, over: str) -> dict:
    """Return the changes that put the gains of designs into the mission; channels that were not designed keep theirs."""
    autopilot, changes = mission.autopilot, {}
    feeds = mission.guidance.rate_feedforward and autopilot.structure == "pid"
    found: dict[tuple[str, bool], list[dict]] = {}
    for design in designs:
        table = [{"p": p, "i": i, "d": d} | ({"f": d} if feeds else {}) for p, i, d in design.gains.T]
        found |= {(channel, design.booster): table for channel in design.channels}
    kept = {c: _kept(mission, c) for c in CHANNELS}
    alone = [{c: found[c, False][k] if (c, False) in found else kept[c] for c in CHANNELS} for k in range(len(rows))]
    if over:
        changes["autopilot.schedule_over"] = over
        changes["autopilot.schedule"] = [{"at": float(at)} | gains for at, gains in zip(rows, alone)]
        changes |= {f"autopilot.{c}": {} for c in CHANNELS}
    elif any(not design.booster for design in designs):
        changes |= {f"autopilot.{c}": alone[0][c] for c in CHANNELS}
    with_booster = {c: found[c, True][0] for c in CHANNELS if (c, True) in found}
    if with_booster:
        own = autopilot.with_booster.model_dump() if autopilot.with_booster is not None else {}
        changes["autopilot.with_booster"] = {c: own.get(c) or {} for c in CHANNELS} | with_booster
    return changes


def _kept(mission: Mission, channel: str) -> dict:
    """Return a channel's own gains; the middle row of a schedule that is replaced."""
    autopilot = mission.autopilot
    rows = autopilot.schedule
    own = getattr(rows[len(rows) // 2] if rows else autopilot, channel)
    return own.model_dump()
