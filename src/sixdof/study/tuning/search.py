"""The search for a schedule of gains: as fast as the specification allows, then as much margin as that leaves."""

from __future__ import annotations

from functools import cached_property
from typing import NamedTuple

import numpy as np
from scipy.linalg import block_diag
from scipy.optimize import linprog, nnls

from sixdof.study.tuning.problem import BANDS, Answer, DesignProblem

ROUNDS = 80  # linear programs at most
FIRST_STEP, LONGEST_STEP, SHORTEST_STEP = 0.25, 0.6, 3e-4  # of the logarithms of gains in one round
PENALTY, PEAK_PENALTY = 30.0, 3.0  # weight of what falls short against what is wanted; margins come before a calm answer to the goal
ROUGHNESS = 0.02  # weight of kinks of the logarithms from row to row: of equals, the smooth schedule
NEAR = 1.0  # of a limit: what is farther off does not enter a round's program
SHRINKS = 8  # halvings of a start until it is stable
NUDGE = 1e-5  # of the logarithms, for slopes
SPREAD_OF_RATIO = 12.0  # the integral's share may be so many times the least one
MOST = 10.0  # beyond it, more of what has a limit counts for nothing
NEARLY = 0.02  # shortfall that counts as met: the grid of frequencies is no finer
# rows of the answers: margins by band, quickness (speed and stiffness alike), speed, peaks by band, uses of the servos
MARGIN, QUICK, SPEED = slice(0, BANDS), BANDS, BANDS + 1
PEAKS, LIMITS = slice(BANDS + 2, 2 * BANDS + 2), slice(BANDS + 2, None)


class NoDesign(ValueError):
    """No placement of poles is stable at every point."""


class Found(NamedTuple):
    """Gains of a schedule (p, i, d; rows), what they do at every point, and the fastest that met the specification there, rad/s."""

    rows: np.ndarray
    answer: Answer
    fastest: np.ndarray
    attained: bool  # the specification is met at every point


class _Search:
    """Logarithms of gains (p, d, and i over p or, in a cascade, over d) to what they do, with slopes."""

    def __init__(self, problem: DesignProblem, rows: int):
        self.problem, self.rows = problem, rows
        self.integral = problem.demands.integral > 0.0

    def gains(self, x: np.ndarray) -> np.ndarray:
        """Return the gains (p, i, d; rows) of logarithms."""
        p, d = np.exp(x[: self.rows]), np.exp(x[self.rows : 2 * self.rows])
        ratio = np.exp(x[2 * self.rows :]) if self.integral else np.zeros(self.rows)
        return np.stack([p, ratio * (d if self.problem.gains.cascade else p), d])

    def logs(self, gains: np.ndarray) -> np.ndarray:
        """Return the logarithms of gains (p, i, d; rows)."""
        p, i, d = np.maximum(gains, 1e-9)
        low, high = self._ratios()
        ratio = np.clip(i / (d if self.problem.gains.cascade else p), low, high)
        return np.log(np.concatenate([p, d, ratio] if self.integral else [p, d]))

    def _ratios(self) -> tuple[float, float]:
        least = self.problem.demands.integral or 1.0
        return least, least * SPREAD_OF_RATIO

    def room(self, x: np.ndarray, step: float) -> list[tuple[float, float]]:
        """Return how far each logarithm may go from x in a round."""
        low, high = np.full(len(x), -step), np.full(len(x), step)
        if self.integral:
            least, most = np.log(self._ratios())
            low[2 * self.rows :] = np.clip(least - x[2 * self.rows :], -step, 0.0)
            high[2 * self.rows :] = np.clip(most - x[2 * self.rows :], 0.0, step)
        return list(zip(low, high))

    @cached_property
    def kinks(self) -> np.ndarray:
        """Return the matrix of second differences of the logarithms along the schedule, (kinks, logs)."""
        one = np.diff(np.eye(self.rows), n=2, axis=0) if self.rows > 2 else np.zeros((0, self.rows))
        return block_diag(*[one] * (3 if self.integral else 2))

    def answer(self, x: np.ndarray) -> np.ndarray:
        """Return what gains do at every point, (rows, points): margins, logarithms of quickness and speed, what has a limit."""
        margin, speed, stiffness, peak, servo = self.problem.measures(*self.problem.at_points(self.gains(x)))
        quick = 0.5 * np.log(speed * stiffness)
        return np.concatenate([np.minimum(margin, MOST), [quick, np.log(speed)], np.minimum(peak, MOST), np.minimum(servo, MOST)])

    def stable(self, x: np.ndarray) -> bool:
        """Return whether all loops are stable."""
        return self.problem.stable(*self.problem.at_points(self.gains(x)))

    def merit(self, aim: _Aim, x: np.ndarray) -> float:
        """Return what gains are worth to an aim: its value, less what falls short and how much the schedule kinks."""
        a = self.answer(x)
        short = np.maximum((aim.rule - a).max(axis=1), 0.0)  # -inf where there is no rule
        hard = np.delete(short, PEAKS).max()
        value = a[MARGIN].min() if aim.worst_margin else a[QUICK].mean()
        return float(value - PENALTY * hard - PEAK_PENALTY * short[PEAKS].max() - ROUGHNESS * np.abs(self.kinks @ x).sum())

    def slope(self, x: np.ndarray, base: np.ndarray) -> np.ndarray:
        """Return the slopes of `answer` by the logarithms, (rows, points, logs)."""
        return np.stack([(self.answer(x + NUDGE * e) - base) / NUDGE for e in np.eye(len(x))], axis=-1)


def search(problem: DesignProblem, rows: int, bandwidth: float | None, reserve: float) -> Found:
    """Return the gains of a schedule.

    First the quickest that keeps margins, peak and servo use everywhere: speed at the goal times stiffness against offsets, the mean of
    their logarithms over the points. Then, not less quick than `reserve` of that at each point (or, where a `bandwidth`, rad/s, is asked
    for, not slower than that, if the quickest is no slower), the one whose worst margin is largest.
    Both are minimax problems, solved by a sequence of linear programs in a trust region (e.g. R. E. Griffith, R. A. Stewart, Management
    Science 7, 1961; scipy's HiGHS). Raises NoDesign if nothing is stable everywhere.
    """
    points = problem.first_design()
    if points is None:
        raise NoDesign()
    it = _Search(problem, rows)
    start = _start(it, points)
    quickest = _quickest(it.answer(start))
    first = _climb(it, start, quickest)
    second = _climb(it, first, _not_slower(it.answer(first), bandwidth, reserve))
    again = _climb(it, second, quickest)  # what has more margin can be hurried from there: the first climb may have stuck at a corner
    if it.merit(quickest, again) > it.merit(quickest, first) + 1e-3:
        first = again
        second = _climb(it, first, _not_slower(it.answer(first), bandwidth, reserve))
    a, gains = it.answer(second), it.gains(second)
    met = bool(min(a[MARGIN].min(), a[LIMITS].min()) >= 1.0 - NEARLY)
    return Found(gains, problem.answer(*problem.at_points(gains)), np.exp(it.answer(first)[SPEED]), met)


def _start(it: _Search, points: np.ndarray) -> np.ndarray:
    """Return logarithms to start from: a schedule fitted to gains at points, made smaller where the fit has lost stability."""
    rows = _rows_of(points, it.problem.weights)
    shrink = np.array([[1.0], [0.5], [0.5]]) if it.problem.gains.cascade else 0.5
    for _ in range(SHRINKS):
        x = it.logs(rows)
        if it.stable(x):
            return x
        rows = rows * shrink
    raise NoDesign()


def _rows_of(points: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Return positive gains (3, rows) that fit gains at points (3, points), errors counted as shares; rows with few points keep near others."""
    rows = weights.shape[1]
    smooth = 0.1 * np.diff(np.eye(rows), axis=0) if rows > 1 else np.zeros((0, 1))
    found = []
    for wanted in np.maximum(points, 1e-9):
        level = weights.T @ wanted / np.maximum(weights.sum(axis=0), 1e-9)
        level = np.where(level > 0.0, level, wanted.mean())  # what each row is measured by
        left = np.concatenate([weights * level / wanted[:, None], smooth])
        found.append(level * nnls(left, np.concatenate([np.ones(len(wanted)), np.zeros(len(smooth))]))[0])
    return np.array(found)


class _Aim(NamedTuple):
    """What a round wants: the mean quickness, or the worst margin; and what the answers should at least be."""

    worst_margin: bool
    rule: np.ndarray  # (rows, points), -inf where there is none


def _quickest(a: np.ndarray) -> _Aim:
    """Return the aim of most quickness within the specification; a : answers, for their shape."""
    rule = np.ones_like(a)
    rule[[QUICK, SPEED]] = -np.inf
    return _Aim(False, rule)


def _not_slower(a: np.ndarray, bandwidth: float | None, reserve: float) -> _Aim:
    """Return the aim of most margin; a : answers of the quickest, whose limits, where they fall short, are not to fall shorter."""
    rule = np.minimum(a, 1.0)
    rule[MARGIN], rule[[QUICK, SPEED]] = 1.0, -np.inf
    if bandwidth is None:
        rule[QUICK] = a[QUICK] + np.log(reserve)
    else:
        rule[SPEED] = np.minimum(np.log(bandwidth), a[SPEED])
    return _Aim(True, rule)


def _climb(it: _Search, x: np.ndarray, aim: _Aim) -> np.ndarray:
    """Return the logarithms of the best gains found from a start."""
    a, merit, step, slope = it.answer(x), it.merit(aim, x), FIRST_STEP, None
    for _ in range(ROUNDS):
        if step < SHORTEST_STEP:
            break
        slope = it.slope(x, a) if slope is None else slope
        there = x + _program(aim, a, slope, it.room(x, step), it.kinks, it.kinks @ x)
        gained = it.merit(aim, there) - merit
        if gained > 1e-6 and it.stable(there):
            x, a, merit, slope = there, it.answer(there), merit + gained, None
            step = min(1.6 * step, LONGEST_STEP)
        else:
            step *= 0.35
    return x


def _program(aim: _Aim, a: np.ndarray, slope: np.ndarray, room, kinks: np.ndarray, kinked: np.ndarray) -> np.ndarray:
    """Return the best move within the trust region by the slopes.

    Variables are the move, what falls short of limits, what peaks fall short, the level of the margin, and the sizes of the kinks.
    """
    n = slope.shape[-1]
    near = np.isfinite(aim.rule) & (a < aim.rule + NEAR)  # what is far from its limit cannot reach it in a step
    soft = np.zeros_like(near)
    soft[PEAKS] = near[PEAKS]
    left, right = [], []

    def bound(by_move, by_slack, most):
        slack = np.zeros((len(by_move), 3 + len(kinks)))
        slack[:, : len(by_slack)] = by_slack
        left.append(np.column_stack([by_move, slack]))
        right.append(most)

    for which, by_slack in ((near & ~soft, (-1.0,)), (soft, (0.0, -1.0))):  # rule - a - slope move <= short
        bound(-slope[which], by_slack, (a - aim.rule)[which])
    if aim.worst_margin:  # level - margin - slope move <= 0
        which = a[MARGIN] < a[MARGIN].min() + NEAR
        bound(-slope[MARGIN][which], (0.0, 0.0, 1.0), a[MARGIN][which])
    for sign in (1.0, -1.0):  # +-(kinks of x + move) <= size
        left.append(np.column_stack([sign * kinks, np.zeros((len(kinks), 3)), -np.eye(len(kinks))]))
        right.append(-sign * kinked)
    wanted = np.zeros(n) if aim.worst_margin else -slope[QUICK].mean(axis=0)
    cost = np.concatenate([wanted, [PENALTY, PEAK_PENALTY, -1.0 if aim.worst_margin else 0.0], np.full(len(kinks), ROUGHNESS)])
    bounds = [*room, (0.0, None), (0.0, None), (-MOST, MOST), *[(0.0, None)] * len(kinks)]
    done = linprog(cost, A_ub=np.concatenate(left), b_ub=np.concatenate(right), bounds=bounds, method="highs")
    return done.x[:n] if done.status == 0 else np.zeros(n)  # a program that cannot be solved asks for a shorter step
