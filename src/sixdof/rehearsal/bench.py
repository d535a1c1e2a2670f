"""What a rehearsal leaves, and what the flight computer read, waited for and did, in user-facing words."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.autopilot.canopies import canopies
from sixdof.autopilot.rules import RuleRow
from sixdof.core import layout as ly
from sixdof.core import types as ct
from sixdof.core.computer.columns import Noticed, RuleColumn, RuleState
from sixdof.core.computer.guidance import HOLD_DIRECTION, PROFILE, WAYPOINTS
from sixdof.core.computer.rules import SOON
from sixdof.core.types import ACTION_IGNITE
from sixdof.mission.mission import Mission

Window = tuple[float, float] | None  # s since ignition; None: must not fire


class Bench(NamedTuple):
    """What a rehearsal leaves.

    stage : whose computer ran. triggers, rule_names, delays, rules : (rules,) entries, names, s, and states (rules, RULE_STATES).
    time : (ticks,). rows : (ticks, SENSED), what was read. attached : (ticks,) stages behind, as the break-wires told. live :
    (ticks,). notice : (NOTICED_COLUMNS,). stages : (stages, STAGE_COLUMNS). opened : (canopies,). fails : (canopies,) 1 where the
    charge does nothing.
    given : columns that the script held. expect : windows by rule name.
    """

    mission: Mission
    stage: int
    triggers: list[RuleRow]
    rule_names: list[str]
    delays: np.ndarray
    rules: np.ndarray
    time: np.ndarray
    rows: np.ndarray
    attached: np.ndarray
    live: np.ndarray
    notice: np.ndarray
    stages: np.ndarray
    opened: np.ndarray
    fails: np.ndarray
    given: frozenset[str]
    expect: dict[str, Window]

    @property
    def own(self) -> list[int]:
        """Return the rules that this computer runs."""
        return [i for i, each in enumerate(self.triggers) if each.owner == self.stage]

    @property
    def stage_names(self) -> list[str]:
        """Return the stages' names, front first."""
        return [stage.name for stage in self.mission.stage]

    @property
    def canopy_names(self) -> list[str]:
        """Return the canopies' names, in file order."""
        return [part.name for part in canopies(self.mission)]

    def row(self, rule: int) -> np.ndarray:
        """Return the columns RULE_* of a rule."""
        return np.asarray(self.triggers[rule].row)

    def tick(self, t: float) -> int:
        """Return the tick at t, or the first after it; the last one where there is none."""
        return min(int(np.searchsorted(self.time, t - SOON)), len(self.time) - 1)

    def reading(self, name: str) -> np.ndarray:
        """Return what was sensed at every tick."""
        return self.rows[:, ly.SENSED.index(name)]

    def noticed(self, index: int) -> float:
        """Return when the computer noticed something (N_*), NaN where it did not."""
        return _or_nan(self.notice[index])

    def speed(self) -> np.ndarray:
        """Return the sensed speed over the ground, m/s (ticks,)."""
        return np.linalg.norm([self.reading(f"velocity_{way}") for way in ("east", "north", "up")], axis=0)

    def tilt(self) -> np.ndarray:
        """Return the sensed angle of the nose from the vertical, rad (ticks,)."""
        w, x, y, z = (self.reading(f"q_{part}") for part in "wxyz")
        return np.arccos(np.clip(2.0 * (x * z - w * y), -1.0, 1.0))  # the nose's upward component

    def since_liftoff(self) -> np.ndarray:
        """Return the time since liftoff was noticed, -1 before, s (ticks,)."""
        lifted = self.notice[Noticed.LIFTOFF]
        return np.where((lifted >= 0.0) & (self.time >= lifted), self.time - lifted, -1.0)


def _or_nan(value: float) -> float:
    return float(value) if value >= 0.0 else math.nan


def seconds(t: float) -> str:
    """Return a time as text: two decimals, three where the tick wants them."""
    return f"{t:.2f} s" if abs(t - round(t, 2)) < 1e-6 else f"{t:.3f} s"


_MODES = {int(PROFILE): "profile", int(WAYPOINTS): "waypoints", int(HOLD_DIRECTION): "hold"}


def doing(bench: Bench, rule: int) -> str:
    """Return what a rule does, "deploy main" or "enable the fins"."""
    action, target = int(bench.row(rule)[RuleColumn.ACTION]), int(bench.row(rule)[RuleColumn.TARGET])
    if action == ct.ACTION_GUIDE:
        return f"guide by {_MODES[target]}"
    if action == ct.ACTION_DEPLOY:
        return f"deploy {bench.canopy_names[target]}"
    if action in (ct.ACTION_SEPARATE, ACTION_IGNITE):
        return f"{'separate' if action == ct.ACTION_SEPARATE else 'ignite'} {bench.stage_names[target]}"
    return "enable the fins" if action == ct.ACTION_ENABLE else "disable the fins"


# ---------------------------------------------------------------- conditions that held a rule


def due(bench: Bench, rule: int) -> float:
    """Return when a rule's delay has run out, NaN where its trigger was never sensed."""
    armed = bench.rules[rule, RuleState.ARMED]
    return float(armed + bench.delays[rule]) if armed >= 0.0 else math.nan


def waited(bench: Bench, rule: int) -> str:
    """Return which conditions held a rule after its delay, each with its value then and until when; "" where none did."""
    start, state = due(bench, rule), bench.rules[rule]
    if not start <= bench.time[-1] + SOON:
        return ""
    over = next((t for t in (state[RuleState.FIRED], state[RuleState.GIVEN_UP]) if t >= 0.0), math.inf)
    # the tick at which it gave up still counts: a condition held there
    ends = SOON if state[RuleState.GIVEN_UP] >= 0.0 else -SOON
    waiting = np.flatnonzero((bench.time >= start - SOON) & (bench.time < over + ends))
    texts = []
    for holds, text in _conditions(bench, bench.row(rule)):
        ticks = waiting[holds[waiting]]
        if ticks.size:
            first, last = ticks[0], ticks[-1]
            later = "" if first == waiting[0] else f"from {seconds(bench.time[first])} "
            until = f"until {seconds(bench.time[last])}" if last > first else f"at {seconds(bench.time[last])}"
            texts.append(f"{text(first)} ({later}{until})")
    return ", ".join(texts)


def _conditions(bench: Bench, row: np.ndarray):
    """Yield (bool (ticks,), text of a tick) of each condition of a rule: where it is not met, and what to say of it."""
    height, since, speed, tilt = bench.reading("height"), bench.since_liftoff(), bench.speed(), bench.tilt()
    low, high = row[RuleColumn.SPEED_ABOVE], row[RuleColumn.SPEED_BELOW]
    steep = row[RuleColumn.TILT_BELOW]
    up, down, after, before = (row[i] for i in (RuleColumn.HEIGHT_ABOVE, RuleColumn.HEIGHT_BELOW, RuleColumn.AFTER, RuleColumn.BEFORE))
    attached, wanted = bench.attached > 0.0, row[RuleColumn.BOOSTER]
    yield height < up, lambda i: f"a height of {height[i]:.1f} m, not above {up:g} m"
    yield height > down, lambda i: f"a height of {height[i]:.1f} m, not below {down:g} m"
    yield since < after, lambda i: f"less than {after:g} s since liftoff"
    yield since > before, lambda i: f"more than {before:g} s since liftoff"
    if wanted >= 0.0:
        what = "no booster attached" if wanted > 0.5 else "the booster attached"
        yield attached != (wanted > 0.5), lambda i: what
    yield speed < low, lambda i: f"a speed of {speed[i]:.1f} m/s, not above {low:g} m/s"
    yield speed > high, lambda i: f"a speed of {speed[i]:.1f} m/s, not below {high:g} m/s"
    yield tilt > steep, lambda i: f"a tilt of {math.degrees(tilt[i]):.1f} deg, not below {math.degrees(steep):.4g} deg"
