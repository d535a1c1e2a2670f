"""How far flights at one step are from the same flights at a finer one, and whether a servo's dead band decided otherwise on the way."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from sixdof.core.constants import FREE
from sixdof.core.layout import LOG_COLUMNS, SENSED, Log, Outcome
from sixdof.draws.flight_draw import OF_STAGE
from sixdof.draws.packed import nominal_draw, one_draw, pack_draws
from sixdof.draws.table import draw_table
from sixdof.flight.laws import bind
from sixdof.flight.plan import Plan
from sixdof.flight.runner import FlightRunner
from sixdof.mission.load import load_mission

BOUNDS = 0.05, 0.01, 1e-4  # m, deg, s: what the default step has to keep to on the shipped demos
SEED, REFERENCE = 7, 16  # of the draws; steps a tick
HEAVIER = 1e-8  # of the dry mass: 10 to 30 micrograms


class StepError(NamedTuple):
    """Differences of one flight from its reference.

    apogee : of its height, m. attitude : largest angle between the two attitudes, roll with it, tick by tick from ignition to apogee, deg.
    events : largest of all events of all bodies to the ground, s. parted : whether a servo's dead band took a command in one of the flights
    and not in the other, on the way to apogee.
    """

    apogee: float
    attitude: float
    events: float
    parted: bool


def drawn(mission, count: int) -> list:
    """Return the draws of the nominal flight and of `count` drawn ones."""
    rows = pack_draws(mission, draw_table(mission, SEED, 0, count))
    return [nominal_draw(mission)] + [one_draw(rows, i) for i in range(count)]


def heavier(draw, share: float):
    """Return a draw with every stage's dry mass larger by a share."""
    stage = draw.stage.copy()
    stage[:, OF_STAGE.index("mass")] *= 1.0 + share
    return draw._replace(stage=stage)


def runner(mission, steps: int) -> FlightRunner:
    """Return what flies a mission at so many steps a tick, every tick in the log."""
    at_step = mission.change({"solver.steps_per_tick": steps})
    rows = int(mission.solver.time_limit * mission.autopilot.rate) + 2
    return FlightRunner(Plan(at_step, log_rate=mission.autopilot.rate), bind(None, None), rows)


def step_error(servo, flown, reference) -> StepError:
    """Return how far a flight is from its reference; servo : that of the model."""
    a, b = flown.logs[0], reference.logs[0]
    n = min(len(a), len(b))
    a, b = a[:n], b[:n]
    up = (b[:, Log.TIME] <= reference.summary[Outcome.APOGEE_TIME]) & (b[:, Log.PHASE] <= FREE)
    first, second = a[:, Log.Q_W : Log.Q_Z + 1], b[:, Log.Q_W : Log.Q_Z + 1]
    # the chord between unit quaternions: well conditioned where the cosine is not
    chord = np.minimum(np.linalg.norm(first - second, axis=1), np.linalg.norm(first + second, axis=1))
    angle = np.where(up, np.degrees(4.0 * np.arcsin(0.5 * chord)), 0.0)
    return StepError(
        abs(flown.summary[Outcome.APOGEE_HEIGHT] - reference.summary[Outcome.APOGEE_HEIGHT]),
        angle.max(),
        np.nanmax(np.abs(flown.events[..., 0] - reference.events[..., 0])),
        servo.dead_band > 0.0 and bool((taken(servo, a) != taken(servo, b))[up].any()),
    )


def taken(servo, log: np.ndarray) -> np.ndarray:
    """Return (ticks, fins) whether the servos took the tick's command: the rule of the dead band written out again."""
    fins = (log.shape[1] - LOG_COLUMNS - len(SENSED)) // 3
    last, found = np.zeros(fins), []
    for wanted in log[:, LOG_COLUMNS + fins : LOG_COLUMNS + 2 * fins]:
        found.append(np.abs(wanted - last) > servo.dead_band)
        last = np.where(found[-1], np.clip(wanted, -servo.travel, servo.travel), last)
    return np.array(found)


def largest(errors: list[StepError]) -> StepError:
    """Return the largest of each; parted: whether one is."""
    return StepError(*(max(each) for each in zip(*errors)))


def within(error: StepError) -> bool:
    """Return whether an error keeps to the bounds of the default step."""
    return all(value < bound for value, bound in zip(error, BOUNDS))


class Demo:
    """The nominal and `count` drawn flights of a mission, flown at any step. servo : changes of its servo."""

    def __init__(self, path, count: int, **servo):
        self.mission = load_mission(path).change({f"servo.{name}": value for name, value in servo.items()})
        self.draws = drawn(self.mission, count)

    def fly(self, steps: int, heavier_by: float = 0.0) -> list:
        """Return the flights at so many steps a tick; heavier_by : share by which every stage's dry mass is larger."""
        fly = runner(self.mission, steps)
        return [fly.run(heavier(draw, heavier_by)) for draw in self.draws]

    def errors(self, flown: list, reference: list) -> list[StepError]:
        """Return how far each flight is from its reference."""
        servo = Plan(self.mission).model(0, len(self.mission.stage) - 1).servo
        return [step_error(servo, *pair) for pair in zip(flown, reference)]
