"""Adaptive importance sampling in score space: fly, weigh, draw anew where the evidence points, until the weights are worth enough flights.

It knows nothing of rockets. `fly` is any function from scores (n, d), independent standard normal before the evidence, to predicted numbers (n, m); a `Target`
says how well such numbers agree with what was observed. Straight lines and mixtures of normals are fitted to what was flown (`proposal.py`); of far
evidence the errors are first taken wider than they are, by as much as leaves some flights with weight, and narrowed from round to round (tempering:
R. M. Neal 2001, Annealed importance sampling, Statistics and Computing 11).
"""

from __future__ import annotations

from collections.abc import Callable
from typing import NamedTuple, Protocol

import numpy as np

from sixdof.postflight.hypotheses.sampling.nearest import nearest
from sixdof.postflight.hypotheses.sampling.proposal import Linear, Normal, Proposal, directions, fitted, least_square, lines_near_best, prior, solved
from sixdof.postflight.hypotheses.sampling.weights import Mean, effective_size, mean_of, normalised, pooled_log_ratio

WIDEST = 1e4  # times the errors, at most, that evidence is taken wider by
FAR = 1e4  # standard deviations: a residual beyond counts as this in fits
FEWEST = 12.0  # effective flights that a fit is made of
MOST_SOFT, MOST_BROAD = 30.0, 100.0  # effective flights that normals, and straight lines, are fitted to at most: more of them would lie farther off
SURE_ROUNDS = 3  # in which flights that explain the evidence are looked for
EXPLAINED = 9.0  # mean square, in standard deviations, up to which flights are near the evidence
HOPELESS = 150.0  # least sum of squares, of scores and of what is missed, beyond which straight lines promise nothing: e^-75
SHARES = (0.7, 0.1, 0.4)  # of flights drawn by straight lines, by a fit to the evidence taken wider, by one to the weights as they are
MOST_DIRECTIONS = 8
MOST_LOOKS = 2  # for the nearest scores, each as many flights as there are scores, and that several times
MOST_NORMALS = 3


class Target(Protocol):
    """What was observed."""

    def log_likelihood(self, numbers: np.ndarray) -> np.ndarray:
        """Return the log likelihood (n,) of predicted numbers (n, m), gross errors and all."""

    def residuals(self, numbers: np.ndarray) -> np.ndarray:
        """Return what the numbers miss the evidence by, (n, k), in standard deviations; NaN where a flight has no such number. It only guides draws."""

    def doubts(self, numbers: np.ndarray) -> np.ndarray:
        """Return the probability (n, k) that what each residual is of has nothing to do with the flight."""


class Samples(NamedTuple):
    """What was flown. Arrays are (n,), but scores (n, d) and numbers (n, m).

    log_likelihood; log_ratio : log of prior over the density they were drawn with, all rounds together; round : which drew them. enough : whether the
    effective size asked for was reached.
    """

    scores: np.ndarray
    numbers: np.ndarray
    log_likelihood: np.ndarray
    log_ratio: np.ndarray
    round: np.ndarray
    enough: bool

    @property
    def effective(self) -> float:
        """Return the effective number of flights."""
        return effective_size(self.log_likelihood + self.log_ratio)

    @property
    def evidence(self) -> Mean:
        """Return the mean likelihood over the prior: what the hypothesis makes of all the evidence."""
        return mean_of(self.log_likelihood + self.log_ratio, self.round)

    @property
    def weights(self) -> np.ndarray:
        """Return the posterior weights, which add up to 1."""
        return normalised(self.log_likelihood + self.log_ratio)


class Sampler:
    """The rounds of one hypothesis, flown one at a time, so that whoever weighs several can choose which goes on."""

    def __init__(
        self,
        fly: Callable[[np.ndarray, int], np.ndarray],
        target: Target,
        columns: int,
        *,
        enough: float,
        seed: int,
        stream: int = 0,
        probe: Callable[[np.ndarray, bool], np.ndarray] | None = None,
    ):
        """Take the function that flies scores (n, d), the first of them flight number `first`, and what was observed.

        probe : flies scores that are no draws, all with the same noise or each with its own, to look for the point nearest to the evidence; None: that is
        left to fits of what was drawn.
        """
        self._fly, self._target, self._columns, self._probe = fly, target, columns, probe
        self._near: Linear | None = None
        self._looks = 0
        self._enough, self._entropy = enough, (seed, stream)
        self._proposals: list[Proposal] = []
        self._scores: list[np.ndarray] = []
        self._numbers: list[np.ndarray] = []

    @property
    def rounds(self) -> int:
        """Return how many rounds were flown."""
        return len(self._proposals)

    def step(self, flights: int) -> Samples:
        """Fly a round more, of so many flights, and return all there is."""
        rng = np.random.default_rng([*self._entropy, self.rounds])
        proposal = self._next() if self._proposals and self._columns else prior(self._columns)
        scores = proposal.draw(flights, rng)
        numbers = self._fly(scores, sum(map(len, self._scores)))
        self._proposals.append(proposal)
        self._scores.append(scores)
        self._numbers.append(numbers)
        return self.samples()

    def samples(self) -> Samples:
        """Return all flown so far."""
        scores, numbers = np.concatenate(self._scores), np.concatenate(self._numbers)
        counts = [len(each) for each in self._scores]
        ratio = pooled_log_ratio([one.log_over_prior(scores) for one in self._proposals], counts)
        own = np.repeat(np.arange(len(counts)), counts)
        found = Samples(scores, numbers, self._target.log_likelihood(numbers), ratio, own, False)
        return found._replace(enough=bool(found.effective >= self._enough and not self._unexplored(found)))

    def _unexplored(self, found: Samples) -> bool:
        """Return whether the flights, however many they are worth, leave the evidence far off, and others that were not looked for might not.

        All flights alike are far from the evidence where gross errors alone explain it, and their weights are even: an effective size tells nothing then.
        """
        if self.rounds >= SURE_ROUNDS or not self._columns:
            return False
        misses = _filled(self._target.residuals(found.numbers))
        if found.weights @ np.sum(misses**2, axis=1) <= EXPLAINED * misses.shape[1]:
            return False
        return least_square(self._lines(found, misses)) < HOPELESS

    def _lines(self, found: Samples, misses: np.ndarray) -> Linear:
        """Return straight lines through the flights that are nearest to the evidence."""
        log_weights = _widened(misses, found.log_ratio, min(max(FEWEST, 0.4 * misses.shape[0]), MOST_BROAD))
        known = np.isfinite(self._target.residuals(found.numbers)).all(axis=1)
        return lines_near_best(found.scores, misses, normalised(np.where(known, log_weights, -np.inf) if known.sum() > 2 else log_weights))

    def _next(self) -> Proposal:
        """Return where the next round is drawn from: straight lines solved, a fit to the evidence taken wider, and one to the weights as they are."""
        found = self.samples()
        misses = _filled(self._target.residuals(found.numbers))
        kept = found.weights @ self._target.doubts(found.numbers) < 0.5
        if kept.any() and (self.rounds % 2 == 0 or self.rounds >= SURE_ROUNDS):
            misses = misses[:, kept]  # what the best flights take for wrong would pull all others off
        soft = _widened(misses, found.log_ratio, min(max(FEWEST, 0.1 * misses.shape[0]), MOST_SOFT))
        weights = normalised(soft)
        lines = self._nearest(found) if self._probe and 2 * len(found.scores) >= self._columns else self._lines(found, misses)
        basis = directions(lines, _sure_shift(found.scores, weights), MOST_DIRECTIONS)
        if not basis.shape[1]:
            return prior(self._columns)
        own = found.scores @ basis
        parts = [[solved(lines, basis)], fitted(own, weights, MOST_NORMALS)]
        if found.effective >= FEWEST:
            parts.append(fitted(own, found.weights, MOST_NORMALS))
        total = sum(SHARES[: len(parts)])
        components = [Normal(share / total * one.share, one.mean, one.covariance) for share, part in zip(SHARES, parts) for one in part]
        return Proposal(basis, tuple(components))

    def _nearest(self, found: Samples) -> Linear:
        """Return straight lines about the scores nearest to the evidence; looked for anew from the best flight where the last ones left few flights."""
        if self._near is not None and (found.effective >= FEWEST or self._looks >= MOST_LOOKS):
            return self._near
        self._looks += 1
        squares = np.sum(_filled(self._target.residuals(found.numbers)) ** 2, axis=1) + np.sum(found.scores**2, axis=1)
        start = np.argmin(squares) if self._near is None else np.argmax(found.log_likelihood - 0.5 * np.sum(found.scores**2, axis=1))
        point, lines = nearest(lambda scores, same: _filled(self._target.residuals(self._probe(scores, same))), found.scores[start])
        sure = self._target.doubts(self._probe(point[None, :], True))[0] < 0.5
        if sure.any() and not sure.all():  # what is taken for wrong there would pull all else off
            point, lines = nearest(lambda scores, same: _filled(self._target.residuals(self._probe(scores, same)))[:, sure], point)
        self._near = lines
        return lines


def _filled(misses: np.ndarray) -> np.ndarray:
    """Return residuals without NaN: what a flight does not have counts as the worst that any flight has, and more."""
    known = np.isfinite(misses)
    worst = np.max(np.abs(np.where(known, misses, 0.0)), axis=0, initial=0.0)
    return np.clip(np.where(known, misses, 1.5 * worst + 3.0), -FAR, FAR)


def _widened(misses: np.ndarray, log_ratio: np.ndarray, wanted: float) -> np.ndarray:
    """Return log weights (n,) under errors just so much wider that they are worth the effective flights wanted."""
    squares = -0.5 * np.sum(misses**2, axis=1)

    def at(wider: float) -> np.ndarray:
        return squares / wider**2 + log_ratio

    if effective_size(at(1.0)) >= wanted:
        return at(1.0)
    low, high = 0.0, float(np.log(WIDEST))
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if effective_size(at(np.exp(middle))) >= wanted else (middle, high)
    return at(np.exp(high))


def _sure_shift(scores: np.ndarray, weights: np.ndarray) -> np.ndarray:
    """Return the mean (d,) of weighted scores, less what chance makes of so few flights: most of its entries are 0."""
    mean = weights @ scores
    chance = 2.5 * np.sqrt(np.sum(weights**2))
    return np.sign(mean) * np.maximum(np.abs(mean) - chance, 0.0)


def sample(fly: Callable[[np.ndarray, int], np.ndarray], target: Target, columns: int, *, flights: int, enough: float, rounds: int, seed: int) -> Samples:
    """Fly rounds of so many flights until their weights are worth `enough`, or `rounds` were flown; the first round is drawn from the prior."""
    sampler = Sampler(fly, target, columns, enough=enough, seed=seed)
    found = sampler.step(flights)
    while not found.enough and sampler.rounds < rounds:
        found = sampler.step(flights)
    return found
