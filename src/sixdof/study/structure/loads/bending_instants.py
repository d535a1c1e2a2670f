"""The instants of one drawn flight's free flight: how the body moves, what the air and its motor do, all of them the kernel's own."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import NamedTuple

import numpy as np

from sixdof.draws.flight_draw import FlightDraw
from sixdof.flight.laws import Laws
from sixdof.flight.model import log_rows
from sixdof.flight.plan import Plan
from sixdof.flight.runner import FlightRunner
from sixdof.mission.mission import Mission
from sixdof.results.facts import JOINT_FACTS, Flown
from sixdof.results.names import event_names
from sixdof.study.loops.linear_flight import Track, moments_at, track_of
from sixdof.study.probes.columns import FREE, POINT_COLUMNS, Draw, Log, Model, PanelColumn, PointColumn, RateColumn
from sixdof.study.probes.columns import layout as ly
from sixdof.study.probes.free_flight import rates_of

GAS_CONSTANT, HEAT_RATIO = 287.05307, 1.4  # of dry air (US Standard Atmosphere 1976)
LEAST_PRESSURE = 0.01  # of a flight's largest dynamic pressure: below it nothing bends a body
ACROSS = 0.02  # cosine of incidence below which the log does not say which way the air comes


class Instants(NamedTuple):
    """Instants (n) of the stages first .. last flying together.

    row : (n,) of the track's log. fins, carried : (n, controls) angles, rad, and shares of its load that each carries. air : (n, 3) velocity through
    the air, m/s, and spin : rates against it, rad/s; rate, turning : against inertial space, rad/s, rad/s^2; force : specific force, m/s^2; all body
    axes. push : (n, 3) of the motor, N. mass, cg, density, sound, flow (of the motor, kg/s) : (n,), SI. unburnt : share of the propellant that is left.
    """

    model: Model
    draw: Draw
    first: int
    last: int
    row: np.ndarray
    fins: np.ndarray
    carried: np.ndarray
    air: np.ndarray
    spin: np.ndarray
    rate: np.ndarray
    turning: np.ndarray
    force: np.ndarray
    push: np.ndarray
    mass: np.ndarray
    cg: np.ndarray
    density: np.ndarray
    sound: np.ndarray
    unburnt: np.ndarray
    flow: np.ndarray


def flown_track(mission: Mission, plan: Plan, draw: FlightDraw, laws: Laws) -> tuple[Track, Flown]:
    """Fly one draw and return the track of its front body, a row a tick, and what else it left. mission, plan : those of the draw's own paths."""
    runner = FlightRunner(plan, laws, log_rows(plan.model(0, plan.count - 1)))
    flown = runner.run(draw)
    return track_of(mission, plan, draw, flown), flown


def free_rows(log: np.ndarray) -> np.ndarray:
    """Return the rows of a log in free flight where the air pushes by more than a hundredth of its largest dynamic pressure."""
    pressure = np.where(log[:, Log.PHASE] == FREE, log[:, Log.DYNAMIC_PRESSURE], 0.0)
    return np.flatnonzero((pressure > LEAST_PRESSURE * pressure.max(initial=0.0)) & (np.abs(np.cos(log[:, Log.INCIDENCE])) > ACROSS))


def instants_of(track: Track, rows: np.ndarray) -> Iterator[Instants]:
    """Yield the instants at rows of a track, those of the same stages together, the smallest stack first."""
    if not len(rows):
        return
    moments = moments_at(track, rows)
    for number, (model, draw) in enumerate(moments.legs):
        own = moments.leg == number
        if own.any():
            last = int(track.joined[rows[own][0]]) - 1
            yield _instants(track.log[rows[own]], (0, last), (model, draw), rows[own], moments.row[own])


def aft_instants(plan: Plan, draw: FlightDraw, flown: Flown, stage: int) -> Instants | None:
    """Return the instants of a stage behind a joint that has separated, flying alone; None where it never does.

    A stage whose fins a servo moves is left out: without its computer it steers nothing, and no log says how its fins float.
    """
    apart = flown.joint[:, JOINT_FACTS.index("separation_time")]
    behind = apart[stage] if stage < plan.count - 1 else -np.inf
    model, drawn = plan.segment(stage, stage, draw)
    if not (np.isfinite(apart[stage - 1]) and behind < apart[stage - 1]) or (model.aero.panel[:, PanelColumn.CONTROL] >= 0.0).any():
        return None
    log = flown.logs[stage]
    log = log[log[:, Log.TIME] > apart[stage - 1]]
    rows = free_rows(log)
    if not len(rows):
        return None
    points = np.zeros((len(rows), POINT_COLUMNS + 2 * model.computer.mixer.shape[0]))
    points[:, PointColumn.TIME], points[:, PointColumn.IGNITED] = log[rows, Log.TIME], _lit_at(plan, flown, stage)
    points[:, PointColumn.POSITION : PointColumn.POSITION + 3] = log[rows][:, [Log.EAST, Log.NORTH, Log.UP]]
    points[:, PointColumn.VELOCITY : PointColumn.VELOCITY + 3] = log[rows, Log.VELOCITY_EAST : Log.VELOCITY_UP + 1]
    points[:, PointColumn.ATTITUDE : PointColumn.ATTITUDE + 4] = log[rows, Log.Q_W : Log.Q_Z + 1]
    points[:, PointColumn.RATE : PointColumn.RATE + 3] = log[rows, Log.RATE_X : Log.RATE_Z + 1]
    at = _instants(log[rows], (stage, stage), (model, drawn), rows + len(flown.logs[stage]) - len(log), points)
    return at._replace(carried=np.ones_like(at.carried))


def _lit_at(plan: Plan, flown: Flown, stage: int) -> float:
    """Return when a stage's motor was lit, `NOT_IGNITED` where it never was."""
    if stage == plan.count - 1:
        return 0.0
    row = event_names(plan.mission).index(f"ignition {plan.mission.stage[stage].name}")
    time = flown.events[stage, row, 0]
    return float(time) if np.isfinite(time) else ly.NOT_IGNITED


def _instants(log: np.ndarray, stages: tuple[int, int], leg: tuple[Model, Draw], rows: np.ndarray, points: np.ndarray) -> Instants:
    model, draw = leg
    axes = matrices(log[:, [Log.Q_W, Log.Q_X, Log.Q_Y, Log.Q_Z]])
    air = air_of(log)
    rates = _with_gusts(rates_of(model, draw), points, axes, air)
    turn = np.array([model.world.earth_rate.x, model.world.earth_rate.y, model.world.earth_rate.z])
    rate = log[:, [Log.RATE_X, Log.RATE_Y, Log.RATE_Z]]
    speed = log[:, Log.AIRSPEED]
    density, sound = 2.0 * log[:, Log.DYNAMIC_PRESSURE] / speed**2, speed / log[:, Log.MACH]
    propellant = model.mass.grain[:, 0].sum() if len(model.mass.grain) else 0.0
    dry = model.mass.dry * draw.mass
    mass, controls = log[:, Log.MASS], (points.shape[1] - POINT_COLUMNS) // 2
    impulse = model.thrust.total_impulse * draw.impulse
    return Instants(
        model,
        draw,
        *stages,
        rows,
        points[:, POINT_COLUMNS : POINT_COLUMNS + controls],
        points[:, POINT_COLUMNS + controls :],
        air,
        rate - np.einsum("nji,j->ni", axes, turn),
        rate,
        rates[:, RateColumn.TURNING : RateColumn.TURNING + 3],
        log[:, [Log.SPECIFIC_FORCE_X, Log.SPECIFIC_FORCE_Y, Log.SPECIFIC_FORCE_Z]],
        push_of(model, draw, log[:, Log.THRUST], density * sound**2 / HEAT_RATIO),
        mass,
        log[:, Log.CG],
        density,
        sound,
        (mass - dry) / propellant if propellant > 0.0 else np.zeros(len(rows)),
        log[:, Log.THRUST] * propellant / impulse if impulse > 0.0 else np.zeros(len(rows)),
    )


def air_of(log: np.ndarray) -> np.ndarray:
    """Return the velocity through the air (n, 3), body axes, m/s, from the incidences that a log notes."""
    along, across = np.cos(log[:, Log.INCIDENCE]), np.sin(log[:, Log.INCIDENCE])
    side = np.sign(along)[:, None] * np.tan(log[:, [Log.INCIDENCE_YAW, Log.INCIDENCE_PITCH]])
    size = np.linalg.norm(side, axis=1)
    side = side / np.where(size > 0.0, size, 1.0)[:, None]
    return log[:, Log.AIRSPEED, None] * np.column_stack([along, across[:, None] * side])


def push_of(model: Model, draw: Draw, thrust: np.ndarray, pressure: np.ndarray) -> np.ndarray:
    """Return the force of the motor (n, 3), body axes, N: its curve's with the nozzle's pressure term, along its drawn line."""
    burning = thrust > 0.0
    size = np.maximum(thrust + burning * (model.thrust.reference_pressure - pressure) * model.thrust.exit_area, 0.0)
    y, z = draw.tilt_y, draw.tilt_z
    return size[:, None] * np.array([np.cos(y) * np.cos(z), np.sin(z), -np.sin(y) * np.cos(z)])


def _with_gusts(rates: Callable[[np.ndarray], np.ndarray], points: np.ndarray, axes: np.ndarray, air: np.ndarray) -> np.ndarray:
    """Return the kernel's rates at points, with the gusts that the flight had there: what its air is beside that of the mean wind."""
    calm = rates(points)[:, RateColumn.AIR : RateColumn.AIR + 3]
    gusty = points.copy()
    gusty[:, PointColumn.GUST : PointColumn.GUST + 3] = np.einsum("nij,nj->ni", axes, calm - air)
    return rates(gusty)


def matrices(q: np.ndarray) -> np.ndarray:
    """Return the rotation matrices body -> world (n, 3, 3) of quaternions (n, 4)."""
    w, v = q[:, :1, None], q[:, 1:]
    zero = np.zeros(len(q))
    x, y, z = v.T
    cross = np.stack([zero, -z, y, z, zero, -x, -y, x, zero], axis=1).reshape(-1, 3, 3)
    return np.eye(3) + 2.0 * w * cross + 2.0 * cross @ cross
