"""One fit from logs to a point: what is carried along, the starts, the turns with their bar."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from tqdm import tqdm

from sixdof.postflight.estimation.channels import Channels
from sixdof.postflight.estimation.flown import Flights
from sixdof.postflight.estimation.keeping import Kept
from sixdof.postflight.estimation.parameters import Parameter
from sixdof.postflight.estimation.problem import Block, Model, Prior, slopes_at
from sixdof.postflight.estimation.solver import Point, Settings, State, cost_of, solved, start_of

STILL = 1e-9  # of a reading's own size: what moves a log less, moves it not at all
FARTHEST_START = 2.0  # standard deviations of the prior


class Problem(NamedTuple):
    """All that a fit takes: made once, for one fit or for those of a cross-validation."""

    parameters: list[Parameter]
    prior: Prior
    blocks: list[Block]
    flights: Flights
    channels: list[Channels]
    settings: Settings


class Fit(NamedTuple):
    """A fit at its end. before : residuals at the prior's means, of each block (rows, channels). ends (starts, n): where every start came to, with its cost."""

    state: State
    point: Point
    before: list[np.ndarray]
    ends: np.ndarray
    costs: np.ndarray
    best: int


def blocks_of(parameters: Sequence[Parameter], logs: Sequence[str], values: Sequence[np.ndarray], errors: Sequence[np.ndarray]) -> list[Block]:
    """Return the logs as blocks, each with the numbers of its own parameters."""
    places = [np.array([k for k, one in enumerate(parameters) if one.log in ("", log)]) for log in logs]
    return [Block(*each) for each in zip(logs, values, errors, places, strict=True)]


def that_move(flights: Model, blocks: Sequence[Block], prior: Prior, parameters: Sequence[Parameter], step: float) -> np.ndarray:
    """Return which parameters are kept (n,) bool: those asked for, and what else moves any reading of any log at all."""
    moves = np.array([one.asked for one in parameters])
    for block, slopes in zip(blocks, slopes_at(flights, blocks, prior, np.zeros(len(parameters)), step), strict=True):
        size = np.nanmax(np.abs(np.where(np.isfinite(block.values), block.values, 0.0)), axis=0, initial=0.0) + 1e-9
        moves[block.places] |= (np.abs(slopes.slope) > STILL * size[:, None]).any(axis=(0, 1))
    return moves


def fit(
    flights: Flights | Model,
    blocks: Sequence[Block],
    prior: Prior,
    settings: Settings,
    *,
    starts: int = 1,
    seed: int = 0,
    kept: Kept | None = None,
    progress: bool = False,
) -> Fit:
    """Return the best of the fits from the prior's means and from further points drawn from the prior."""
    kept = Kept(None, []) if kept is None else kept
    size = prior.low.size
    rng = np.random.default_rng(seed)
    points = [np.zeros(size), *np.clip(rng.standard_normal((starts - 1, size)), -FARTHEST_START, FARTHEST_START)]
    found = []
    bar = tqdm(total=None, desc="sixdof: turns of the estimate", unit="", disable=not progress)
    with bar:
        for number, start in enumerate(points):
            state = kept.states.get(number, start_of(blocks, np.clip(start, prior.low, prior.high), settings))

            def told(state: State, point: Point, number: int = number) -> None:
                kept.save(number, state)
                bar.update()
                bar.set_postfix_str(f"step {state.history[-1][1]:.2g} sd" + (f", start {number + 1} of {starts}" if starts > 1 else ""))

            found.append(solved(flights, blocks, prior, state, settings, told))
    costs = np.array([cost_of(blocks, point, state, prior) for state, point in found])
    best = int(np.argmin(costs))
    before = [block.values - answer for block, answer in zip(blocks, flights([(k, np.zeros(size)) for k in range(len(blocks))]), strict=True)]
    return Fit(*found[best], before, np.array([state.z for state, _ in found]), costs, best)
