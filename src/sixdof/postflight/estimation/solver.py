"""Least squares with priors, noise and colour: damped Gauss-Newton steps whose flights are all flown at once.

Output-error method: the model is flown without noise of its own, all residuals are the log's. Each turn takes the noise anew from the residuals, which makes
the estimate the one of maximum likelihood (posterior mode, with priors); see R. E. Maine, K. W. Iliff, NASA RP-1168, 1986, chapters 2 and 6.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, NamedTuple

import numpy as np

from sixdof.postflight.estimation.noise import HUBER, colour_of, middle_size, noise_of, robust_weights, weights_count
from sixdof.postflight.estimation.problem import Block, Model, Prior, Slopes, inverse, slopes_at

ROUNDS = 3  # the noise as white; with its colour and robust weights; once more with the colour of what is left
DAMPINGS = (1e-3, 0.03, 1.0, 30.0)  # of a turn whose undamped step falls short: all are flown at once, the best is taken
STALLED = 0.1  # of the cost, half a standard deviation: a turn that gains less, and less than promised, ends the round: flights are no smoother
WIDE_STEP = 2.0  # standard deviations of what is known by now, over which differences are taken
IDLE, STILL = 4, 0.05  # turns in a row whose cost differs by less than this end a round: a third of a standard deviation
SHRINKS = 0.5  # times the first of their steps, as the last of them is at most where a fit still converges
LEAST_KEPT = 0.8  # of the samples that a candidate must still answer, or it counts as lost
FINEST = 0.25  # of the first step of the differences: they follow what is known by now, but no nearer to the ticks of the computer
ENOUGH = 0.25  # of the fall that the slopes promise: the undamped step is taken, no others are flown


class Settings(NamedTuple):
    """step : of the differences, in z, at first. close : the last turn moves fewer standard deviations. most : turns. robust : outliers weigh less."""

    step: float = 0.2
    close: float = 0.02
    most: int = 25
    robust: bool = True


class State(NamedTuple):
    """Where a fit stands between two turns, all of it: a fit that goes on from here ends with the same bits."""

    z: np.ndarray
    round: int
    turn: int
    colour: list[np.ndarray]  # of each block, (channels,)
    step: np.ndarray  # of the differences, (n,), in z
    history: list[tuple[float, float]]  # of each turn: half the sum of squares with the prior, the step in standard deviations
    done: bool = False


class Point(NamedTuple):
    """A point of a fit with its noise: slopes, weights (rows, channels) and noise (channels,) of each block, information of the data (n, n), pull (n,)."""

    slopes: list[Slopes]
    weights: list[np.ndarray]
    noise: list[np.ndarray]
    information: np.ndarray
    pull: np.ndarray


def start_of(blocks: Sequence[Block], z: np.ndarray, settings: Settings) -> State:
    """Return the state that a fit starts from."""
    return State(z, 0, 0, [np.ones(block.error.size) for block in blocks], np.full(z.size, settings.step), [])


def solved(
    model: Model, blocks: Sequence[Block], prior: Prior, state: State, settings: Settings, told: Callable[[State, Point], Any] = lambda state, point: None
) -> tuple[State, Point]:
    """Return the state at the end of a fit and the point there. told : called after every turn, with what it came to."""
    slopes: list[Slopes] = []
    at: tuple[bytes, ...] = ()
    while True:
        wanted = state.z.tobytes(), state.step.tobytes()
        if at != wanted:  # a new round begins where the last one ended: nothing is flown again
            slopes, at = slopes_at(model, blocks, prior, state.z, state.step), wanted
        point = point_of(blocks, prior, slopes, state, settings)
        if state.done:
            return state, point
        state = _turned(model, blocks, prior, state, point, settings)
        told(state, point)


def point_of(blocks: Sequence[Block], prior: Prior, slopes: list[Slopes], state: State, settings: Settings) -> Point:
    """Return noise, weights and normal equations at a point; noise, and what each channel determines by it, are settled in a few passes."""
    weights = [np.isfinite(one.residual).astype(float) for one in slopes]
    taken = [np.zeros(block.error.size) for block in blocks]
    if settings.robust and state.round:
        weights = [robust_weights(one.residual, np.fmax(middle_size(one.residual), np.nan_to_num(b.error))) for b, one in zip(blocks, slopes, strict=True)]
    for _ in range(4):
        noise = [noise_of(*each) for each in zip(blocks, slopes, weights, taken, state.colour, strict=True)]
        if settings.robust and state.round:
            weights = [robust_weights(one.residual, size) for one, size in zip(slopes, noise, strict=True)]
        parts = [information_by_channel(*each) for each in zip(slopes, weights, noise, state.colour, strict=True)]
        information = _whole(blocks, [part.sum(axis=0) for part in parts], state.z.size)
        spread = np.linalg.pinv(information + prior.precision)
        taken = [np.einsum("cij,ji->c", part, spread[np.ix_(block.places, block.places)]) for part, block in zip(parts, blocks, strict=True)]
    pull = -prior.precision @ state.z
    for block, one, weight, size, colour in zip(blocks, slopes, weights, noise, state.colour, strict=True):
        own = weight * np.nan_to_num(one.residual) / (size**2 * colour)
        np.add.at(pull, block.places, np.einsum("rc,rci->i", own, one.slope))
    return Point(slopes, weights, noise, information, pull)


def information_by_channel(slopes: Slopes, weights: np.ndarray, noise: np.ndarray, colour: np.ndarray) -> np.ndarray:
    """Return the information that each channel of a block has of the block's own parameters, (channels, own, own)."""
    return np.einsum("rci,rc,rcj->cij", slopes.slope, weights / (noise**2 * colour), slopes.slope)


def _whole(blocks: Sequence[Block], parts: Sequence[np.ndarray], size: int) -> np.ndarray:
    """Return the sum of matrices of the blocks' own parameters as one of all."""
    found = np.zeros((size, size))
    for block, part in zip(blocks, parts, strict=True):
        found[np.ix_(block.places, block.places)] += part
    return found


# ---------------------------------------------------------------- one turn


def _turned(model: Model, blocks: Sequence[Block], prior: Prior, state: State, point: Point, settings: Settings) -> State:
    """Return the state after one turn: a step, or the next round where no step is worth while."""
    whole = point.information + prior.precision
    step = _within(state.z, _solve(whole, point.pull), prior)
    size = float(np.sqrt(max(step @ whole @ step, 0.0)))
    history = [*state.history, (cost_of(blocks, point, state, prior), size)]
    if size < settings.close or state.turn + 1 >= settings.most or stands_still(history):
        return _next_round(state, point, history, settings)
    spread = np.sqrt(np.diag(inverse(whole)))
    state = state._replace(step=np.clip(WIDE_STEP * spread, settings.step * FINEST, settings.step))
    steps = [step]
    gains = gains_of(model, blocks, prior, state, point, [state.z + step], settings)
    if gains[0] < ENOUGH * 0.5 * size**2:
        scale = np.diag(np.maximum(np.diag(whole), 1e-30))
        steps += [_within(state.z, _solve(whole + damping * scale, point.pull), prior) for damping in DAMPINGS]
        gains = np.append(gains, gains_of(model, blocks, prior, state, point, [state.z + one for one in steps[1:]], settings))
    best = int(np.argmax(gains))
    z = state.z + steps[best] if gains[best] > 0.0 else state.z
    if gains[best] < min(STALLED, ENOUGH * 0.5 * size**2):
        return _next_round(state._replace(z=z), point, history, settings)
    return state._replace(z=z, turn=state.turn + 1, history=history)


def stands_still(history: Sequence[tuple[float, float]]) -> bool:
    """Return whether the cost of the last turns differs by less than STILL while their steps do not shrink: such turns go nowhere."""
    costs, steps = np.array(history[-IDLE:]).T
    return costs.size == IDLE and bool(np.ptp(costs) < STILL and steps[-1] > SHRINKS * steps[0])


def _next_round(state: State, point: Point, history: list, settings: Settings) -> State:
    """Return the state that begins the next round, with the colour of the residuals as they are now; after the last one it is done."""
    if state.round + 1 >= ROUNDS or state.turn + 1 >= settings.most:
        return state._replace(turn=state.turn + 1, history=history, done=True)
    colour = [
        np.array([colour_of((weight * one.residual)[:, c])[0] for c in range(one.residual.shape[1])])
        for one, weight in zip(point.slopes, point.weights, strict=True)
    ]
    return state._replace(round=state.round + 1, turn=state.turn + 1, colour=colour, history=history)


def _solve(matrix: np.ndarray, pull: np.ndarray) -> np.ndarray:
    return np.linalg.lstsq(matrix, pull, rcond=1e-14)[0]


def _within(z: np.ndarray, step: np.ndarray, prior: Prior) -> np.ndarray:
    return np.clip(z + step, prior.low, prior.high) - z


def cost_of(blocks: Sequence[Block], point: Point, state: State, prior: Prior) -> float:
    """Return minus the logarithm of the posterior density at a point, constants left out: half the sum of squares with the prior, and the noise's share."""
    found = 0.5 * float(state.z @ prior.precision @ state.z)
    for one, size, colour in zip(point.slopes, point.noise, state.colour, strict=True):
        found += float(np.sum(_costs(one.residual, size, colour)) + np.sum(weights_count(one) / colour * np.log(size)))
    return found


def _costs(residual: np.ndarray, noise: np.ndarray, colour: np.ndarray, robust: bool = True) -> np.ndarray:
    """Return what each residual costs, (rows, channels): half its square, and in a line beyond HUBER standard deviations; 0 where there is none."""
    size = np.abs(np.nan_to_num(residual)) / noise
    beyond = HUBER * size - 0.5 * HUBER**2
    return np.where((size > HUBER) & robust, beyond, 0.5 * size**2) / colour


def gains_of(
    model: Model, blocks: Sequence[Block], prior: Prior, state: State, point: Point, candidates: Sequence[np.ndarray], settings: Settings
) -> np.ndarray:
    """Return by how much the cost falls at each candidate, noise and weights held; over the samples that both answer, for a flight may end sooner."""
    asked = [(number, z) for z in candidates for number in range(len(blocks))]
    answers = iter(model(asked))
    robust = bool(settings.robust and state.round)
    gains = np.array([0.5 * (state.z @ prior.precision @ state.z - z @ prior.precision @ z) for z in candidates])
    for k in range(len(candidates)):
        for number, block in enumerate(blocks):
            before, after = point.slopes[number].residual, block.values - next(answers)
            both = np.isfinite(before) & np.isfinite(after)
            if both.sum() < LEAST_KEPT * np.isfinite(before).sum():
                gains[k] = -np.inf
                continue
            noise, colour = point.noise[number], state.colour[number]
            change = _costs(before, noise, colour, robust) - _costs(after, noise, colour, robust)
            gains[k] += float(np.sum(np.where(both, change, 0.0)))
    return gains
