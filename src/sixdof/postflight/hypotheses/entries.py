"""What is found, as variables with units and names."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np

from sixdof.postflight.hypotheses.branches import Hypothesis
from sixdof.postflight.hypotheses.tables import EvidenceFile
from sixdof.postflight.hypotheses.weighing import Case, Verdict

OTHER = "none of these"


def entries(
    cases: Sequence[Case], named: Sequence[Hypothesis], found: Verdict, conflicting: tuple[np.ndarray, np.ndarray, np.ndarray], other: float, read: EvidenceFile
) -> dict[str, Any]:
    """Return the variables and coordinates of a result but those of `disperse`."""
    names = [case.name for case in cases]
    count = [case.log.shape[0] for case in cases]
    priors = np.array([case.prior for case in cases])
    parts: dict[str, Any] = {
        "weight": _of("flight", np.concatenate(found.weights), "weight of the flight, all hypotheses together"),
        "prior_weight": _of("flight", _prior_weights(cases), "weight of the flight before the evidence"),
        "hypothesis": ("flight", np.repeat(names, count), {"long_name": "hypothesis that the flight is of"}),
        "evidence_log_likelihood": _of(("flight", "evidence"), np.concatenate([case.log for case in cases]), "log likelihood of the piece of evidence"),
    }
    parts |= _by_candidate(cases, named, found, priors, other)
    pair = ("candidate", "evidence")
    for name, values, meaning in (
        ("log_alone", found.alone, "log density of the piece of evidence by itself"),
        ("log_alone_error", found.alone_error, "Monte Carlo standard error of log_alone"),
        ("log_given_others", found.left_out, "log density of the piece of evidence given all others"),
        ("log_given_others_error", found.left_out_error, "Monte Carlo standard error of log_given_others"),
        ("tail", found.tail, "probability of missing the flights of the hypothesis by as much as this piece does, or more"),
        ("wrong", found.wrong, "probability that the piece is wrong altogether, if the hypothesis is right"),
    ):
        parts[name] = _of(pair, _with_row(values, other), meaning)
    by_others, by_one, sizes = conflicting
    parts |= {
        "tail_by_others": _of("evidence", by_others, "tail of the piece in what all other pieces predict"),
        "tail_by_one": _of(("evidence", "given"), by_one, "tail of the piece in what one other piece predicts"),
        "tail_by_one_flights": _of(("evidence", "given"), sizes, "effective flights that this tail rests on"),
    }
    pieces = cases[0].question.names
    parts |= {
        "candidate": ("candidate", [*names, OTHER] if other > 0.0 else names, {"long_name": "hypothesis"}),
        "evidence": ("evidence", list(pieces), {"long_name": "piece of evidence"}),
        "given": ("given", list(pieces), {"long_name": "piece of evidence that predicts"}),
        "evidence_kind": ("evidence", [piece.kind for piece in read.evidence], {"long_name": "kind of the piece of evidence"}),
    }
    return parts | _places(cases)


def _of(dims, values: np.ndarray, meaning: str, units: str = "1"):
    return dims, values, {"units": units, "long_name": meaning}


def _with_row(values: np.ndarray, other: float) -> np.ndarray:
    """Return values by hypothesis with a row of NaN for "none of these"."""
    return np.vstack([values, np.full((1, values.shape[1]), np.nan)]) if other > 0.0 else values


def _by_candidate(cases: Sequence[Case], named: Sequence[Hypothesis], found: Verdict, priors: np.ndarray, other: float) -> dict[str, Any]:
    last = [1] if other > 0.0 else []
    flown = np.array([case.log.shape[0] for case in cases] + [0] * len(last))
    return {
        "prior": _of("candidate", np.append(priors, other) if last else priors, "probability before the evidence"),
        "probability": _of("candidate", found.probability, "probability after the evidence"),
        "probability_error": _of("candidate", found.error, "Monte Carlo standard error of the probability"),
        "log_evidence": _of("candidate", found.log_evidence, "log of the mean likelihood of all evidence"),
        "log_evidence_error": _of("candidate", found.relative_error, "Monte Carlo standard error of log_evidence"),
        "effective_flights": _of("candidate", np.append(found.effective, [np.nan] * len(last)), "effective number of flights near the evidence"),
        "flown": _of("candidate", flown, "flights of the hypothesis"),
        "rounds_flown": _of("candidate", np.array([int(case.samples.round.max()) + 1 for case in cases] + [0] * len(last)), "rounds flown of the hypothesis"),
        "enough": ("candidate", np.array([case.samples.enough for case in cases] + [True] * len(last)), {"long_name": "whether the weights are worth enough"}),
        "candidate_what": ("candidate", [one.what for one in named] + ["as little as evidence that has nothing to do with the flight"] * len(last)),
    }


def _prior_weights(cases: Sequence[Case]) -> np.ndarray:
    """Return weights of the flights before the evidence: of each hypothesis its prior, of each flight prior over the density it was drawn with."""
    total = sum(case.prior for case in cases)
    found = []
    for case in cases:
        ratio = np.exp(case.samples.log_ratio - case.samples.log_ratio.max())
        found.append(case.prior / total * ratio / ratio.sum())
    return np.concatenate(found)


def _places(cases: Sequence[Case]) -> dict[str, Any]:
    """Return where each piece of evidence has a place, or its observer stood, m from the rail; NaN of others."""
    judges = cases[0].question.judges
    placed = [hasattr(judge.piece, "latitude") or hasattr(judge.piece, "from_latitude") for judge in judges]
    east, north = (np.where(placed, [getattr(judge, name) for judge in judges], np.nan) for name in ("east", "north"))
    about = [str(getattr(judge.piece, "body", "")) for judge in judges]
    return {
        "evidence_body": ("evidence", about, {"long_name": "body that the piece of evidence is about; empty where it names none"}),
        "evidence_east": _of("evidence", east, "place of the piece of evidence, or of its observer, east of the rail", "m"),
        "evidence_north": _of("evidence", north, "place of the piece of evidence, or of its observer, north of the rail", "m"),
    }
