"""`what_happened`: named hypotheses against all that is known of a flight, each with its probability and what speaks for and against it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from sixdof.draws.numbers import check_numbers
from sixdof.mission.load import check_mission
from sixdof.mission.mission import Mission
from sixdof.mission.units import QuantityError, parse, shown
from sixdof.postflight.hypotheses.branches import PAIRS, hypotheses_of
from sixdof.postflight.hypotheses.entries import entries
from sixdof.postflight.hypotheses.evidence import read_evidence
from sixdof.postflight.hypotheses.flying import Flyer, together
from sixdof.postflight.hypotheses.question import broad_of, question_of
from sixdof.postflight.hypotheses.sampling.sampler import Sampler
from sixdof.postflight.hypotheses.tables import EvidenceFile
from sixdof.postflight.hypotheses.weighing import case_of, conflicts, flown_rounds, verdict_of

FLIGHTS, ENOUGH, ROUNDS, OTHER = 200, 30.0, 8, 0.02


def what_happened(
    mission: Mission,
    evidence: str | Path | Mapping[str, Any] | Sequence[Mapping[str, Any]] | EvidenceFile,
    hypotheses: Any = None,
    *,
    flights: int = FLIGHTS,
    rounds: int = ROUNDS,
    enough: float = ENOUGH,
    pairs: int = PAIRS,
    other: float | str = OTHER,
    seed: int = 0,
    threads: int | None = None,
    progress: bool = True,
) -> xr.Dataset:
    """Say what happened in a flight: how probable each hypothesis is after all that is known, which evidence speaks for which, and what contradicts what.

    Every hypothesis is flown with its own failures made certain and all else drawn as the mission disperses it. Its probability is its prior times the mean
    likelihood of the evidence over these flights, with the Monte Carlo error of that mean. Where few flights come near the evidence, further ones are
    drawn near it and weighted by the prior over the density they were drawn with. A flight agrees with a piece of evidence within the piece's error, and every
    piece may be wrong altogether with a small probability, so that one wrong fix does not rule out what happened.

    Parameters
    ----------
    evidence : path of a TOML file with tables `[[evidence]]`, such tables as a list of dictionaries, or what `read_evidence` returned. Times are since
        liftoff; `evidence_keys` explains the kinds.
    hypotheses : None: the branches of the mission's failures: nominal, each `[[failure]]` alone, and the most probable pairs, with the probabilities that
        follow from theirs. Or a list of failures ("no_deployment: main") or of lists of them. Or a dictionary name -> Mission, or a table: `failures`
        ("kind: of", also ones the mission does not tell of), `change` (as `Mission.change` takes it), `mission` (another one), `prior` (a number or "20 %",
        not normalised; 1), `what` (in words); or the path of a TOML file with such tables. Failures of a mission that a hypothesis does not
        name do not happen in it, unless they are certain.
    flights : of each hypothesis in each round
    rounds : at most so many of each; the first is drawn as `disperse` draws
    enough : effective flights at which no more rounds are flown of a hypothesis
    pairs : how many pairs of failures are weighed
    other : prior of "none of these", a share of all (2 %); 0 leaves it out. It makes of every piece what a piece makes that has nothing to do with the
        flight: a measure of this project, no model of anything
    seed : of all draws and noise
    threads : that fly; None: one per core
    progress : show a bar

    Returns
    -------
    Dataset
        All flights of all hypotheses with the variables that `disperse` gives (dims flight, body, ...), and `weight` (flight), which adds up to 1,
        `hypothesis` (flight), `prior_weight` (flight), the same before the evidence, and `evidence_log_likelihood` (flight, evidence).

        Along `candidate` (the hypotheses, "none of these" last): `prior`, `probability` with `probability_error` (one standard error), `log_evidence`,
        `effective_flights`, `flown`, `enough`. Along (candidate, evidence): `log_alone`, `log_given_others` (natural log of the density of the piece, by
        itself and given all others) with `_error`, `tail` (how far in its tail the piece is left), `wrong` (the probability that the piece is). Along
        `evidence`: `tail_by_others`; (evidence, given): `tail_by_one`, with `tail_by_one_flights`, the effective flights behind it.

    Raises
    ------
    TypeError, ValueError, MissionError
        In one sentence each, for evidence, hypotheses and numbers that cannot be.
    KeyboardInterrupt
        After Ctrl-C; within `sixdof.preflight.keeping` the same call finds the rounds flown before.

    Examples
    --------
    >>> fix = {"kind": "fix", "time": "20 s", "east": "120 m", "north": "30 m", "horizontal_error": "60 m"}
    >>> found = sixdof.postflight.what_happened(mission, [fix], flights=8, rounds=1, progress=False)
    >>> round(float(found.weight.sum()), 6), round(float(found.probability.sum()), 6)
    (1.0, 1.0)
    """
    check_mission(mission, "what_happened")
    check_numbers("what_happened", 0, seed, "first")
    for name, value, least in (("flights", flights, 2), ("rounds", rounds, 1), ("pairs", pairs, 0)):
        if isinstance(value, bool) or not isinstance(value, int | np.integer) or value < least:
            raise ValueError(f"what_happened: {name} = {shown(value)} must be a whole number, {least} or more")
    if isinstance(enough, bool) or not isinstance(enough, int | float) or not enough > 0.0:
        raise ValueError(f"what_happened: enough = {shown(enough)} must be a number of effective flights above 0")
    read, share = read_evidence(evidence), _share(other)
    named = hypotheses_of(mission, hypotheses, pairs=pairs)
    broad = broad_of(mission)
    questions = [question_of(read, one.mission, broad) for one in named]
    flyers = [Flyer(one, place, question, seed, threads) for place, (one, question) in enumerate(zip(named, questions, strict=True))]
    samplers = [Sampler(one, one.question, one.columns, enough=enough, seed=seed, stream=k, probe=one.probe) for k, one in enumerate(flyers)]
    priors = np.array([one.prior for one in named]) / sum(one.prior for one in named) * (1.0 - share)
    samples = flown_rounds(samplers, [one.name for one in named], priors, flights=int(flights), rounds=int(rounds), progress=progress)
    cases = [case_of(one.name, prior, each, question) for one, prior, each, question in zip(named, priors, samples, questions, strict=True)]
    found = verdict_of(cases, share, questions[0].log_broad())
    ds = together([one.kept for one in flyers], mission)
    ds = ds.assign(entries(cases, named, found, conflicts(cases, seed), share, read))
    return ds.assign_attrs(evidence_title=read.title, other=share, enough=float(enough), rounds=int(rounds), reach=broad.reach)


def _share(other: Any) -> float:
    try:
        found = parse(other, "1")
    except QuantityError as error:
        raise ValueError(f"what_happened: other: {error}") from None
    if not 0.0 <= found < 1.0:
        raise ValueError(f'what_happened: other = {shown(other)} must be a share from 0 up to, not including, 1, such as "2 %"')
    return found
