"""Event rules: which phases of the flight the computer has noticed, which rules that fires, and what they do."""

from __future__ import annotations

from math import inf

import numpy as np

from sixdof._jit import helper, kernel
from sixdof.core.algebra import fill
from sixdof.core.columns import CanopyColumn, StageColumn
from sixdof.core.computer.columns import MOST_BURNS, Noticed, RuleColumn, RuleState, Switch
from sixdof.core.computer.reading import sensed_attitude, sensed_frame, tilt_angles
from sixdof.core.layout import Sensed
from sixdof.core.types import (
    ACTION_DISABLE,
    ACTION_ENABLE,
    ACTION_GUIDE,
    ACTION_IGNITE,
    ACTION_SEPARATE,
    FAILED,
    TRIGGER_APOGEE,
    TRIGGER_BURNOUT,
    TRIGGER_CLIMBING,
    TRIGGER_EJECTION,
    TRIGGER_FALLING,
    TRIGGER_IGNITION,
    TRIGGER_LIFTOFF,
    TRIGGER_RAIL,
    TRIGGER_SEPARATION,
    TRIGGER_TIME,
    Detection,
)

SOON = 1e-9  # s: rounding of sums of times


@kernel
def start_notice(notice: np.ndarray, attached: float) -> None:
    """Fill `notice` before a flight: nothing noticed, so many stages behind the first."""
    fill(notice, -1.0)
    notice[Noticed.BURNS] = notice[Noticed.THRUSTING] = notice[Noticed.SEPARATIONS] = 0.0
    notice[Noticed.HIGHEST] = -inf
    notice[Noticed.ATTACHED] = attached


@kernel
def notice_phases(sensed: np.ndarray, aft_travel: float, detection: Detection, attached: float, notice: np.ndarray) -> None:
    """Update what the computer has noticed (liftoff, rail, ignitions, burnouts, separations, apogee) from sensed values alone.

    attached : stages behind this one, as the break-wires tell.
    """
    t = sensed[Sensed.TIME]
    if notice[Noticed.LIFTOFF] < 0.0:
        if not (sensed[Sensed.SPECIFIC_FORCE_X] > detection.liftoff_specific_force or sensed[Sensed.HEIGHT] > detection.liftoff_height):
            return
        notice[Noticed.LIFTOFF] = notice[Noticed.IGNITION] = t
        notice[Noticed.THRUSTING] = 1.0
    while attached < notice[Noticed.ATTACHED]:  # several stages may go at once
        k = int(notice[Noticed.SEPARATIONS])
        notice[Noticed.ATTACHED] -= 1.0
        if k < MOST_BURNS:
            notice[Noticed.SEPARATION + k] = t
            notice[Noticed.SEPARATIONS] += 1.0
    e, n, h = sensed[Sensed.EAST], sensed[Sensed.NORTH], sensed[Sensed.HEIGHT]
    if notice[Noticed.RAIL] < 0.0 and e * e + n * n + h * h > aft_travel * aft_travel:
        notice[Noticed.RAIL] = t
    _notice_burns(t, sensed[Sensed.SPECIFIC_FORCE_X], detection, notice)
    if notice[Noticed.APOGEE] < 0.0 and notice[Noticed.RAIL] >= 0.0:
        _notice_apogee(t, sensed, detection, notice)


@helper
def _notice_burns(t: float, force: float, detection: Detection, notice: np.ndarray) -> None:
    k = int(notice[Noticed.BURNS])
    if k >= MOST_BURNS:
        return
    if notice[Noticed.THRUSTING] > 0.5:
        if force >= detection.burnout_specific_force:
            notice[Noticed.QUIET] = -1.0
        else:
            if notice[Noticed.QUIET] < 0.0:
                notice[Noticed.QUIET] = t
            if t - notice[Noticed.QUIET] >= detection.burnout_debounce - SOON:
                notice[Noticed.BURNOUT + k] = t
                notice[Noticed.BURNS], notice[Noticed.THRUSTING], notice[Noticed.QUIET] = k + 1.0, 0.0, -1.0
    elif notice[Noticed.APOGEE] < 0.0 and force > detection.ignition_specific_force:  # later it is a canopy that pulls the nose
        notice[Noticed.IGNITION + k] = t
        notice[Noticed.THRUSTING] = 1.0


@helper
def _notice_apogee(t: float, sensed: np.ndarray, detection: Detection, notice: np.ndarray) -> None:
    sinking = sensed[Sensed.VELOCITY_UP] < 0.0
    if detection.by_barometer > 0:
        notice[Noticed.HIGHEST] = max(notice[Noticed.HIGHEST], sensed[Sensed.BARO_HEIGHT])
        sinking = sensed[Sensed.BARO_HEIGHT] < notice[Noticed.HIGHEST] - detection.apogee_drop
    if not sinking:
        notice[Noticed.SINKING] = -1.0
        return
    if notice[Noticed.SINKING] < 0.0:
        notice[Noticed.SINKING] = t
    if t - notice[Noticed.SINKING] >= detection.apogee_debounce - SOON:
        notice[Noticed.APOGEE] = t


@helper
def _triggered(trigger: int, threshold: float, order: int, sensed: np.ndarray, notice: np.ndarray, stage: np.ndarray) -> bool:
    if trigger == TRIGGER_TIME:
        return sensed[Sensed.TIME] >= threshold
    if trigger == TRIGGER_LIFTOFF:
        return notice[Noticed.LIFTOFF] >= 0.0
    if trigger == TRIGGER_RAIL:
        return notice[Noticed.RAIL] >= 0.0
    if trigger == TRIGGER_BURNOUT:
        return notice[Noticed.BURNOUT + order] >= 0.0
    if trigger == TRIGGER_APOGEE:
        return notice[Noticed.APOGEE] >= 0.0
    if trigger == TRIGGER_CLIMBING:
        return notice[Noticed.LIFTOFF] >= 0.0 and sensed[Sensed.HEIGHT] >= threshold
    if trigger == TRIGGER_FALLING:
        return notice[Noticed.APOGEE] >= 0.0 and sensed[Sensed.HEIGHT] <= threshold
    if trigger == TRIGGER_SEPARATION:
        return notice[Noticed.SEPARATION + order] >= 0.0
    if trigger == TRIGGER_IGNITION:
        return notice[Noticed.IGNITION + order] >= 0.0
    if trigger == TRIGGER_EJECTION:
        return stage[order, StageColumn.BURNOUT] >= 0.0
    return False


@kernel
def run_rules(
    rules: np.ndarray,
    delays: np.ndarray,
    state: np.ndarray,
    sensed: np.ndarray,
    notice: np.ndarray,
    stage: np.ndarray,
    canopy: np.ndarray,
    switches: np.ndarray,
    deployed: np.ndarray,
) -> None:
    """Fire the rules that are due.

    delays : (rules,) of this flight. state : (rules, RULE_STATES). stage : (stages, STAGE_COLUMNS), whose commands are filled in.
    canopy : (canopies, CANOPY_COLUMNS). switches: columns.Switch. deployed[c]: time canopy c was deployed, -1 before.
    """
    t = sensed[Sensed.TIME]
    for i in range(rules.shape[0]):
        rule = rules[i]
        if state[i, RuleState.FIRED] >= 0.0 or state[i, RuleState.GIVEN_UP] >= 0.0:
            continue
        if state[i, RuleState.ARMED] < 0.0:
            order = int(rule[RuleColumn.ORDER])
            if not _triggered(int(rule[RuleColumn.TRIGGER]), rule[RuleColumn.THRESHOLD], order, sensed, notice, stage):
                continue
            state[i, RuleState.ARMED] = t
        due = state[i, RuleState.ARMED] + delays[i]
        if t < due - SOON:
            continue
        if _inhibited(rule, sensed):
            if t - due >= rule[RuleColumn.TIMEOUT] - SOON or sensed[Sensed.TIME_SINCE_LIFTOFF] > rule[RuleColumn.BEFORE]:
                state[i, RuleState.GIVEN_UP] = t
            continue
        state[i, RuleState.FIRED] = t
        state[i, RuleState.ACTED] = act(int(rule[RuleColumn.ACTION]), int(rule[RuleColumn.TARGET]), t, stage, canopy, switches, deployed)


@kernel
def act(action: int, target: int, t: float, stage: np.ndarray, canopy: np.ndarray, switches: np.ndarray, deployed: np.ndarray) -> float:
    """Do what a rule or a law says; return 1 if it changed anything, 0 if another had done it before."""
    done = False
    if action == ACTION_ENABLE:
        done = switches[Switch.FINS] < 0.5
        switches[Switch.FINS] = 1.0
    elif action == ACTION_DISABLE:
        done = switches[Switch.FINS] > 0.5
        switches[Switch.FINS] = 0.0
    elif action == ACTION_GUIDE:
        done = switches[Switch.MODE] != target
        switches[Switch.MODE] = float(target)
    elif action == ACTION_SEPARATE:
        done = stage[target, StageColumn.SEPARATE] < 0.0
        if done:
            stage[target, StageColumn.SEPARATE] = t
    elif action == ACTION_IGNITE:
        done = stage[target, StageColumn.IGNITE] < 0.0
        if done:
            stage[target, StageColumn.IGNITE] = t
    elif 0 <= target < deployed.shape[0] and deployed[target] == -1.0:
        done = True
        deployed[target] = t if canopy[target, CanopyColumn.FAILS] < 0.5 else FAILED
    return 1.0 if done else 0.0


@helper
def _inhibited(rule: np.ndarray, sensed: np.ndarray) -> bool:
    if sensed[Sensed.HEIGHT] < rule[RuleColumn.HEIGHT_ABOVE] or sensed[Sensed.HEIGHT] > rule[RuleColumn.HEIGHT_BELOW]:
        return True
    if sensed[Sensed.TIME_SINCE_LIFTOFF] < rule[RuleColumn.AFTER] or sensed[Sensed.TIME_SINCE_LIFTOFF] > rule[RuleColumn.BEFORE]:
        return True
    if rule[RuleColumn.BOOSTER] >= 0.0 and (sensed[Sensed.BOOSTER] > 0.5) != (rule[RuleColumn.BOOSTER] > 0.5):
        return True
    low, high = max(rule[RuleColumn.SPEED_ABOVE], 0.0), rule[RuleColumn.SPEED_BELOW]
    speed2 = sensed[Sensed.VELOCITY_EAST] ** 2 + sensed[Sensed.VELOCITY_NORTH] ** 2 + sensed[Sensed.VELOCITY_UP] ** 2
    if speed2 < low * low or (high < inf and speed2 > high * high):
        return True
    if rule[RuleColumn.TILT_BELOW] < inf:
        _, _, _, tilt = tilt_angles(sensed_frame(sensed), sensed_attitude(sensed))
        return tilt > rule[RuleColumn.TILT_BELOW]
    return False
