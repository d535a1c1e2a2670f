"""Ends of windows: of each flight, of a branch by order statistics, over all branches, and the setting to take between them."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from sixdof.study.motor_choice.facts import DELAY_SCATTER
from sixdof.study.recovery.triggers.branches import Branch
from sixdof.study.recovery.triggers.flights import Flown
from sixdof.study.recovery.triggers.triggers import GRAIN, Action, Trigger
from sixdof.study.uncertainty.statistics import quantile_interval

STEP, GRAIN_STEP = 0.1, 1.0  # s, of a setting that is advised
NO_END = -1


class Window(NamedTuple):
    """The window of one trigger over all branches. begin, end : s; NaN, inf where nothing bounds it. By : numbers of the branches that set them, -1: none."""

    begin: float
    end: float
    begin_by: int
    end_by: int


def ends_of(trigger: Trigger, action: Action, place: int, branch: Branch, one: Flown, tick: float) -> tuple[np.ndarray, np.ndarray]:
    """Return the ends of each flight's window as settings, s, (flights,): up to the first it is too early, after the second too late.

    A backup is too early where it beats a sound primary, too late where, the primary failing, it no longer saves the flight; a canopy's first trigger by time
    alone, where it does not save the flight in any branch. NaN where the flight bounds nothing. -inf as latest: no setting saves it. tick : of the
    computer, s; at the same tick the rule that stands first acts.
    """
    counted = one.armed[:, trigger.number] + one.drawn[:, trigger.number]
    own = trigger is action.first
    last = one.primary[:, place] - (tick if action.first.number < trigger.number else 0.0)
    begin = one.first[:, place] if own else np.full(counted.shape, np.nan) if branch.fails(action) else last
    earliest = np.where(one.left, begin - counted, np.nan)
    searched = one.left & ~np.isnan(one.latest[:, place]) & (branch.lost != action.name if own else branch.fails(action))
    latest = np.where(searched, np.where(np.isfinite(counted), one.latest[:, place] - counted, -np.inf), np.nan)
    return earliest, latest


def least_setting(earliest: np.ndarray, share: float, confidence: float) -> tuple[float, float]:
    """Return the least setting that beats no sound primary in `share` of the flights: estimate, and the bound that holds with the confidence (inf: too few)."""
    known = earliest[np.isfinite(earliest)]
    if not known.size:
        return math.nan, math.nan
    return float(np.quantile(known, share, method="higher")), float(quantile_interval(known, share, confidence, "upper").high)


def most_setting(latest: np.ndarray, share: float, confidence: float) -> tuple[float, float]:
    """Return the largest setting that still saves `share` of the flights: estimate and bound (-inf: too few flights, or none that saves enough of them)."""
    known = latest[~np.isnan(latest)]
    if not known.size:
        return math.nan, math.nan
    lowest = min(float(known[np.isfinite(known)].min(initial=0.0)), 0.0) - 1.0  # a flight that nothing saves is below any that something does
    low = quantile_interval(np.where(np.isfinite(known), known, lowest), 1.0 - share, confidence, "lower").low
    return float(np.quantile(known, 1.0 - share, method="lower")), float(low) if low > lowest else -math.inf


def window_of(least: np.ndarray, most: np.ndarray) -> Window:
    """Return the window that fits all branches; least, most : (branches,), NaN where a branch asks for no such end."""
    begin_by = int(np.nanargmax(least)) if np.isfinite(least).any() else NO_END
    end_by = int(np.nanargmin(most)) if not np.isnan(most).all() else NO_END
    return Window(float(least[begin_by]) if begin_by >= 0 else math.nan, float(most[end_by]) if end_by >= 0 else math.inf, begin_by, end_by)


def advice(window: Window, how: str, room: float, now: float = math.nan) -> float:
    """Return the setting to take, s: behind the window's begin by the margin, a delay grain by what such delays scatter; NaN where none fits.

    Where margin or scatter do not fit into the window, its middle, rounded to a step where one lies inside. now : the setting as it is, which stays
    where both ends are as far from it.
    """
    begin, end = window.begin, window.end
    if math.isnan(begin) or not begin < end:
        return math.nan
    step = GRAIN_STEP if how == GRAIN else STEP
    room = max(room, DELAY_SCATTER[0], DELAY_SCATTER[1] * begin / (1.0 - DELAY_SCATTER[1])) if how == GRAIN else room
    wanted = step * math.ceil((begin + room) / step - 1e-9)
    if begin + room <= now <= end - (max(DELAY_SCATTER[0], DELAY_SCATTER[1] * now) if how == GRAIN else room):
        return now
    late = end - (max(DELAY_SCATTER[0], DELAY_SCATTER[1] * wanted) if how == GRAIN else 0.0)
    if wanted <= late:
        return round(wanted, 6)
    middle = round(step * round(0.5 * (begin + end) / step), 6)
    return middle if begin < middle <= end else 0.5 * (begin + end)


def at_apogee(window: Window, how: str, apogees: np.ndarray) -> float:
    """Return the setting of a trigger by time alone, s: that of the median apogee as far as the window allows, NaN where no setting fits.

    apogees : (flights,), as settings.
    """
    known = apogees[np.isfinite(apogees)]
    begin = 0.0 if math.isnan(window.begin) else window.begin
    if not known.size or not begin < window.end:
        return math.nan
    step = GRAIN_STEP if how == GRAIN else STEP
    wanted = round(step * round(float(np.median(known)) / step), 6)
    return wanted if begin < wanted <= window.end else float(np.clip(wanted, begin + 0.01, window.end))
