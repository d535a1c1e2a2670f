"""The hypotheses against the evidence: which goes on being flown, and what all flights together say."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np
from scipy.special import logsumexp
from tqdm import tqdm

from sixdof.postflight.hypotheses.question import Question
from sixdof.postflight.hypotheses.sampling.sampler import SURE_ROUNDS, Sampler, Samples
from sixdof.postflight.hypotheses.sampling.weights import Mean, effective_size, mean_of, normalised, probabilities

FOLLOWED = 1e-3  # probability below which no more than the sure rounds are flown of a hypothesis


class Case(NamedTuple):
    """One hypothesis that was flown. log (flights, pieces): log likelihood of every piece; tails, wrong : as `Question` gives them."""

    name: str
    prior: float
    samples: Samples
    question: Question
    log: np.ndarray
    tails: np.ndarray
    wrong: np.ndarray

    def evidence(self, which: np.ndarray | None = None) -> Mean:
        """Return the mean likelihood of some pieces (bool), of all for None."""
        return mean_of(self.log_weights(which), self.samples.round)

    def log_weights(self, which: np.ndarray | None = None) -> np.ndarray:
        """Return the log weights of the flights by some pieces (bool), of all for None."""
        return self.samples.log_ratio + (self.log if which is None else self.log[:, which]).sum(axis=1)


def flown_rounds(samplers: Sequence[Sampler], names: Sequence[str], priors: np.ndarray, *, flights: int, rounds: int, progress: bool) -> list[Samples]:
    """Fly every hypothesis once, then those whose weights are worth too little again, until they are worth enough or `rounds` were flown."""
    with tqdm(unit="flight", disable=not progress, desc="sixdof: what happened") as bar:

        def step(k: int) -> Samples:
            bar.set_postfix_str(f"{names[k]}, round {samplers[k].rounds + 1}", refresh=False)
            made = samplers[k].step(flights)
            bar.update(flights)
            return made

        found = [step(k) for k in range(len(samplers))]
        while True:
            p, _ = probabilities(priors, [one.evidence for one in found])
            lacking = [k for k, one in enumerate(found) if not one.enough and samplers[k].rounds < rounds]
            wanted = [k for k in lacking if samplers[k].rounds < SURE_ROUNDS or p[k] > FOLLOWED]
            if not wanted:
                return found
            for k in wanted:
                found[k] = step(k)


def case_of(name: str, prior: float, samples: Samples, question: Question) -> Case:
    """Return a hypothesis as flown, every piece judged."""
    log, tails = question.each_log_likelihood(samples.numbers), question.tails(samples.numbers)
    return Case(name, prior, samples, question, log, tails, question.wrong(samples.numbers))


class Verdict(NamedTuple):
    """What the evidence says. Arrays are (hypotheses,), or (hypotheses, pieces).

    probability, error : of each hypothesis, "none of these" last where it has a prior; log_evidence, relative_error; effective : flights. alone, left_out :
    log likelihood of each piece by itself, and of it given all others, with alone_error, left_out_error. tail : how far in its tail each piece is under
    what is left of the hypothesis. wrong : the probability that the piece is. weights : of all flights, one array a hypothesis, adding up to 1 together.
    """

    probability: np.ndarray
    error: np.ndarray
    log_evidence: np.ndarray
    relative_error: np.ndarray
    effective: np.ndarray
    alone: np.ndarray
    alone_error: np.ndarray
    left_out: np.ndarray
    left_out_error: np.ndarray
    tail: np.ndarray
    wrong: np.ndarray
    weights: list[np.ndarray]


def verdict_of(cases: Sequence[Case], other: float, log_broad: np.ndarray) -> Verdict:
    """Return what the evidence says. other : prior of "none of these", in the measure of the others; log_broad : what it makes of each piece, (pieces,)."""
    means = [case.evidence() for case in cases]
    priors = np.array([case.prior for case in cases])
    everything = [*means, Mean(float(log_broad.sum()), 0.0)] if other > 0.0 else means
    p, error = probabilities(np.append(priors, other) if other > 0.0 else priors, everything)
    named = p[: len(cases)]
    shares = named / named.sum() if named.sum() > 0.0 else np.full(len(cases), 1.0 / len(cases))
    pieces = log_broad.size
    alone, left = np.full((2, len(cases), pieces), np.nan), np.full((2, len(cases), pieces), np.nan)
    tail, wrong = np.full((len(cases), pieces), np.nan), np.full((len(cases), pieces), np.nan)
    for h, case in enumerate(cases):
        weights = normalised(case.log_weights())
        tail[h], wrong[h] = weights @ case.tails, weights @ case.wrong
        for k in range(pieces):
            only = np.arange(pieces) == k
            alone[:, h, k] = case.evidence(only)
            left[:, h, k] = _given_others(case, only, means[h])
    return Verdict(
        p,
        error,
        np.array([mean.log for mean in everything]),
        np.array([mean.relative_error for mean in everything]),
        np.array([effective_size(case.log_weights()) for case in cases]),
        alone[0],
        alone[1],
        left[0],
        left[1],
        tail,
        wrong,
        [share * normalised(case.log_weights()) for share, case in zip(shares, cases, strict=True)],
    )


def _given_others(case: Case, only: np.ndarray, whole: Mean) -> tuple[float, float]:
    """Return the log likelihood of a piece given all others, with its relative error: that of a ratio of means of the same flights."""
    others = case.log_weights(~only)
    value = whole.log - mean_of(others, case.samples.round).log
    if not np.isfinite(value):
        return value, np.inf
    first, second = normalised(case.log_weights()), normalised(others)
    return value, float(np.sqrt(np.sum((first - second) ** 2)))


# ---------------------------------------------------------------- what contradicts what


def predicted(cases: Sequence[Case], piece: int, given: np.ndarray, seed: int) -> tuple[float, float]:
    """Return how far in its tail a piece is by what other pieces (bool) say of all hypotheses together, and the effective flights behind that.

    Of a number: the share of flights, each weighted by what the other pieces make of it, that would have given a number at least as far from the mean of
    all predictions, in their covariance (a predictive check: G. E. P. Box 1980, Sampling and Bayes' inference in scientific modelling and robustness,
    JRSS A 143); one flight counts for what was observed, so the tail is never 0. Of a yes or no: its probability.
    """
    logs = [np.log(case.prior) + case.log_weights(given) - np.log(case.log.shape[0]) for case in cases]
    weights = normalised(np.concatenate(logs))
    size = effective_size(np.concatenate(logs))
    judge = cases[0].question.judges[piece]
    if judge.counted:
        tails = np.concatenate([case.tails[:, piece] for case in cases])
        return float(weights @ tails), size
    own = [case.question.judges[piece].residuals(case.question.of(case.samples.numbers, piece)) for case in cases]
    misses = np.concatenate(own)
    known = np.isfinite(misses).all(axis=1)
    if not (weights[known].sum() > 0.0):
        return 1.0 / (1.0 + size), size
    share = weights[known] / weights[known].sum()
    mean = share @ misses[known]
    away = misses[known] - mean
    covariance = (share[:, None] * away).T @ away + np.eye(misses.shape[1])
    noise = np.random.default_rng([seed, piece]).standard_normal(away.shape)
    inverse = np.linalg.inv(covariance)
    drawn = away - noise
    farther = np.einsum("ij,jk,ik->i", drawn, inverse, drawn) >= mean @ inverse @ mean
    return float((1.0 + size * (weights[known] @ farther)) / (1.0 + size)), size


def conflicts(cases: Sequence[Case], seed: int) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return the tails of every piece by all others together (pieces,), by each other piece alone (pieces, given), NaN of itself, and the flights behind it."""
    pieces = cases[0].log.shape[1]
    each = np.arange(pieces)
    together = np.array([predicted(cases, k, each != k, seed)[0] for k in each])
    pairs, sizes = np.full((pieces, pieces), np.nan), np.full((pieces, pieces), np.nan)
    for k in each:
        for other in each[each != k]:
            pairs[k, other], sizes[k, other] = predicted(cases, k, each == other, seed)
    return together, pairs, sizes


def mixed(values: np.ndarray, shares: np.ndarray) -> np.ndarray:
    """Return the log of the mean over hypotheses (hypotheses, pieces) of likelihoods given by their logs, weighted by shares (hypotheses,)."""
    with np.errstate(divide="ignore"):
        return logsumexp(values + np.log(shares / shares.sum())[:, None], axis=0)
